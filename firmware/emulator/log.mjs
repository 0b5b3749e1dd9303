// Runs the image with logs for a moment and decodes what it logs: defmt's frames (rzCOBS) hold the number of
// a format string, which the ELF file names. usage: log.mjs ELF
import fs from 'node:fs';
import { execFileSync } from 'node:child_process';
import { Board } from './board.mjs';
import { Flash } from './flash.mjs';
import { Bridge } from './parts.mjs';

/** Symbols of the .defmt section: number to format string. */
function strings(file) {
  const elf = fs.readFileSync(file), v = new DataView(elf.buffer, elf.byteOffset, elf.length), out = new Map();
  const at = v.getUint32(32, true), count = v.getUint16(48, true);
  const header = (i) => ({ type: v.getUint32(at + i * 40 + 4, true), offset: v.getUint32(at + i * 40 + 16, true), size: v.getUint32(at + i * 40 + 20, true), link: v.getUint32(at + i * 40 + 24, true) });
  for (let i = 0; i < count; i++) {
    const h = header(i);
    if (h.type !== 2) continue;
    const names = header(h.link).offset;
    for (let p = h.offset; p < h.offset + h.size; p += 16) {
      let q = names + v.getUint32(p, true), name = '';
      while (elf[q]) name += String.fromCharCode(elf[q++]);
      if (name.startsWith('{')) { const j = JSON.parse(name); if (j.tag?.startsWith('defmt_')) out.set(v.getUint32(p + 4, true), j); }
    }
  }
  return out;
}
/** Reverse zero-compressing COBS. */
function unpack(bytes) {
  const out = []; let p = bytes.length;
  while (p > 0) {
    const x = bytes[--p];
    if (x === 0) return null;
    if (x < 0x80) { for (let i = 0; i < 7; i++) { if (x & (1 << (6 - i))) out.push(0); else if (p > 0) out.push(bytes[--p]); else return null; } }
    else if (x < 0xfe) { const n = (x & 0x7f) + 7; out.push(0); for (let i = 0; i < n; i++) { if (p === 0) return null; out.push(bytes[--p]); } }
    else { for (let i = 0; i < 134; i++) { if (p === 0) return null; out.push(bytes[--p]); } if (x === 0xfe) out.push(0); }
  }
  return out.reverse();
}
const NUMBERS = { bool: [1, (v) => v.getUint8(0) === 1], u8: [1, (v) => v.getUint8(0)], u16: [2, (v) => v.getUint16(0, true)], u32: [4, (v) => v.getUint32(0, true)],
  u64: [8, (v) => v.getBigUint64(0, true)], i8: [1, (v) => v.getInt8(0)], i16: [2, (v) => v.getInt16(0, true)], i32: [4, (v) => v.getInt32(0, true)], f32: [4, (v) => v.getFloat32(0, true)] };
/** A frame's values put into its format strings, nested ones too; throws where it does not work out. */
function tell(bytes, table) {
  const v = new DataView(Uint8Array.from(bytes).buffer); let at = 0;
  const take = (type) => {
    if (!(type in NUMBERS)) throw new Error(`no type ${type}`);
    const [size, read] = NUMBERS[type], value = read(new DataView(v.buffer, at, size)); at += size; return value;
  };
  const fill = (text) => text.replace(/\{\{|\}\}|\{(?:=([^:{}]*))?(?::[^{}]*)?\}/g, (whole, type) =>
    (whole === '{{' ? '{' : whole === '}}' ? '}' : type === undefined || type === '?' ? nested() : take(type)));
  const nested = () => {
    const j = table.get(take('u16')), variants = j.data.split('|');
    return fill(variants.length > 1 ? variants[take('u8')] : j.data);
  };
  const j = table.get(take('u16')), us = take('u64');
  const told = `${(Number(us) / 1e6).toFixed(3)} s ${j.tag.slice(6)} ${fill(j.data)}`;
  // The packing works in sevens, and fills up with zeros.
  if (bytes.length - at > 6 || bytes.slice(at).some((b) => b !== 0)) throw new Error(`${bytes.length - at} bytes left over in ${told}`);
  return told;
}
const file = process.argv[2], bin = `${file}.bin`;
execFileSync('arm-none-eabi-objcopy', ['-O', 'binary', file, bin]);
const world = { gauge: () => 0, noise: 2 };
const board = new Board({ image: fs.readFileSync(bin), flash: Object.assign(new Flash(), { slow: 0.1 }), sensor: new Bridge(world), world });
const bytes = [];
board.mcu.uart[1].onByte = (b) => bytes.push(b);
board.run(1);
board.send([1, 2, 3, 0]);   // a broken frame is worth a warning
board.run(0.2);
const table = strings(file), seen = [];
let frame = [];
for (const b of bytes) {
  if (b !== 0) { frame.push(b); continue; }
  const body = frame.length ? unpack(frame) : null; frame = [];
  if (body) seen.push(tell(body, table));
}
for (const line of seen) console.log(`--    log: ${line}`);
const has = (end) => seen.some((line) => line.endsWith(end));
const good = has('s info start: PowerOn') && has('s warn line: Checksum') && seen.some((line) => line.includes('Booted(PowerOn)')) && board.flashFetches === 0;
console.log(`${good ? 'pass' : 'FAIL'}  logs come out of the emulated board and decode  [${bytes.length} bytes, ${seen.length} lines]`);
process.exit(good ? 0 : 1);
