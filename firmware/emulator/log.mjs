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
  const j = body && table.get(body[0] | (body[1] << 8));
  if (j) seen.push(`${j.tag.slice(6)} ${j.data}`);
}
const good = seen.includes('info start: {}') && seen.includes('warn line: {}') && board.flashFetches === 0;
console.log(`${good ? 'pass' : 'FAIL'}  logs come out of the emulated board and decode  [${bytes.length} bytes: ${seen.join(', ')}]`);
process.exit(good ? 0 : 1);
