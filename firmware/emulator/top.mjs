// The line to the board at the top: its frames, written from LINK.md and not from the program, and the two wires between two
// emulated boards, with what can go wrong on them.

// --- frames
const MASK = (1n << 64n) - 1n;
const rotate = (x, n) => ((x << n) | (x >> (64n - n))) & MASK;
/** SipHash-2-4 of bytes. */
export function sip(k0, k1, bytes) {
  let [a, b, c, d] = [k0 ^ 0x736f6d6570736575n, k1 ^ 0x646f72616e646f6dn, k0 ^ 0x6c7967656e657261n, k1 ^ 0x7465646279746573n];
  const round = () => {
    a = (a + b) & MASK; b = rotate(b, 13n) ^ a; a = rotate(a, 32n); c = (c + d) & MASK; d = rotate(d, 16n) ^ c;
    a = (a + d) & MASK; d = rotate(d, 21n) ^ a; c = (c + b) & MASK; b = rotate(b, 17n) ^ c; c = rotate(c, 32n);
  };
  const padded = [...bytes]; while (padded.length % 8 !== 7) padded.push(0); padded.push(bytes.length & 255);
  for (let i = 0; i < padded.length; i += 8) {
    const word = padded.slice(i, i + 8).reduceRight((w, x) => (w << 8n) | BigInt(x), 0n);
    d ^= word; round(); round(); a ^= word;
  }
  c ^= 0xffn; round(); round(); round(); round();
  return a ^ b ^ c ^ d;
}
const word64 = (text) => [...text].reduceRight((w, x) => (w << 8n) | BigInt(x.charCodeAt(0)), 0n);
const KEY = [word64('Landfall'), word64('the  top')];
const le = (value, n) => Array.from({ length: n }, (_, i) => Number((BigInt(value) >> BigInt(8 * i)) & 255n));
const number = (bytes) => bytes.reduceRight((w, x) => w * 256 + x, 0);
export const SAYS = ['wait', 'ride', 'danger', 'held'];
/** The 33 bytes of a message. */
export function encode({ from, says, site, session, counter, echo }) {
  const signed = [(from === 'box' ? 0xb0 : 0x70) | SAYS.indexOf(says), ...[site, session, counter, ...echo].flatMap((w) => le(w, 4)), 0];
  const body = [...signed, ...le(sip(...KEY, signed), 8), 0], out = [0];
  for (let block = [], i = 0; i < body.length; i++) { if (body[i]) block.push(body[i]); else { out.push(block.length + 1, ...block); block = []; } }
  return [...out, 0];
}
/** Collects bytes of one direction; gives messages. */
export class Frames {
  bytes = []; broken = 0;
  push(b) {
    if (b) { this.bytes.push(b); return null; }
    const stuffed = this.bytes; this.bytes = [];
    if (stuffed.length === 0) return null;
    const body = [];
    for (let i = 0; i < stuffed.length; i += stuffed[i]) { body.push(...stuffed.slice(i + 1, i + stuffed[i])); body.push(0); }
    body.pop();
    if (body.length !== 30 || sip(...KEY, body.slice(0, 22)) !== BigInt(number(body.slice(22, 26))) + (BigInt(number(body.slice(26))) << 32n)) { this.broken++; return null; }
    const word = (i) => number(body.slice(1 + 4 * i, 5 + 4 * i));
    return { from: body[0] >> 4 === 0xb ? 'box' : 'top', says: SAYS[body[0] & 15], site: word(0), session: word(1), counter: word(2), echo: [word(3), word(4)] };
  }
}

// --- the wires
const DRIVE = 7;
/** Two boards on two wires: a byte arrives when its last bit is out, if its driver was on until then, the other's off, and the
 * receiver listens (its own driver is off). */
export class Line {
  constructor(box, top) {
    this.ends = [{ board: box, name: 'box' }, { board: top, name: 'top' }];
    this.flying = []; this.late = []; this.fault = null; this.seed = 7; this.lost = 0; this.collisions = 0; this.overruns = 0; this.carried = 0; this.told = [];
    for (const end of this.ends) { end.frames = new Frames(); end.board.attached = () => this.attach(end); this.attach(end); }
  }
  random() { this.seed = (Math.imul(this.seed, 1664525) + 1013904223) >>> 0; return this.seed / 2 ** 32; }
  other(end) { return this.ends[end === this.ends[0] ? 1 : 0]; }
  /** True if the driver of `end` was on all the time from `from` to `to`, or at any time in it. */
  drove(end, from, to, all) {
    let on = false, before = -Infinity, hit = false, miss = false;
    for (const e of [...end.drive, { t: Infinity, on: null }]) { if (e.t > from && before < to) { if (on) hit = true; else miss = true; } before = e.t; on = e.on; }
    return all ? hit && !miss : hit;
  }
  attach(end) {
    const { board } = end, { mcu } = board, { clock } = mcu, uart = mcu.uart[1], pin = mcu.gpio[DRIVE];
    const byteNs = () => 10e9 / (uart.baudRate || 57600);
    let free = 0;
    end.uart = uart; end.drive = [{ t: -Infinity, on: false }]; end.byteNs = byteNs; end.pressed = null;
    pin.addListener(() => {
      const on = !!(pin.outputEnable && pin.outputValue);
      if (on !== end.drive.at(-1).on) end.drive.push({ t: board.now, on });
      if (end.drive.length > 40) end.drive.splice(1, 20);
    });
    uart.onByte = (b) => { const start = Math.max(free, clock.nanos); free = start + byteNs(); this.flying.push({ end, from: board.base + start, to: board.base + free, b }); };
    Object.defineProperty(uart, 'flags', { get: () => {
      const waiting = (free - clock.nanos) / byteNs();
      return (uart.rxFIFO.full ? 64 : 0) | (uart.rxFIFO.empty ? 16 : 0) | (waiting <= 1 ? 128 : 0) | (waiting >= 32 ? 32 : 0) | (waiting > 1e-6 ? 8 : 0);
    } });
  }
  feed(end, b) { if (end.uart.rxFIFO.full) this.overruns++; else end.uart.feedByte(b); }
  /** Somebody else puts bytes on the wires toward `name`, one after the other from now on. */
  inject(name, bytes, now) {
    const end = this.ends.find((e) => e.name === name);
    bytes.forEach((b, i) => this.late.push({ end, at: now + (i + 1) * end.byteNs(), b }));
  }
  /** What has arrived until `now`. */
  deliver(now) {
    const due = this.flying.filter((x) => x.to <= now); this.flying = this.flying.filter((x) => x.to > now);
    for (const { end, from, to, b } of due) {
      const far = this.other(end);
      if (!this.drove(end, from, to - 1, true)) { this.lost++; continue; }
      let byte = b;
      if (this.drove(far, from, to, false)) { this.collisions++; byte ^= 0x5a; }
      const m = end.frames.push(byte); if (m) this.told.push({ t: to / 1e9, ...m });
      if (this.drove(far, to - 1000, to, false)) continue;
      this.carried++;
      const f = this.fault;
      if (f?.kind === 'cut' || f?.kind === 'shorted' || (f?.kind === 'one way' && f.to !== far.name)) continue;
      if (f?.kind === 'instead' && far.name === 'top') continue;
      if (f?.kind === 'noise' && this.random() < f.share) byte ^= 1 << Math.floor(this.random() * 8);
      if (f?.kind === 'open') byte = Math.floor(this.random() * 256);
      if (f?.kind === 'late') this.late.push({ end: far, at: to + f.ms * 1e6, b: byte }); else this.feed(far, byte);
    }
    if (this.fault?.kind === 'low') {
      // A wire that holds the line in the other state: zeros without end.
      for (const end of this.ends) { end.pressed = Math.max(end.pressed ?? 0, now - 1e6); while (end.pressed + end.byteNs() <= now) { end.pressed += end.byteNs(); this.feed(end, 0); } }
    }
    const ripe = this.late.filter((x) => x.at <= now); this.late = this.late.filter((x) => x.at > now);
    ripe.sort((a, b) => a.at - b.at).forEach((x) => this.feed(x.end, x.b));
    if (this.told.length > 4000) this.told.splice(0, 2000);
  }
}
