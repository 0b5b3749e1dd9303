// Parts on the I²C bus, on the level of their registers. They keep running while the processor is reset.

export function crc8(bytes) {
  let c = 0xff;
  for (const b of bytes) { c ^= b; for (let i = 0; i < 8; i++) c = c & 0x80 ? ((c << 1) ^ 0x31) & 0xff : (c << 1) & 0xff; }
  return c;
}

/** What every part shares: the bag's pressure, noise that repeats, and a fault. */
class Part {
  constructor(world) { this.world = world; this.fault = null; this.seed = 12345; this.reads = 0; this.last = 0; this.out = []; this.written = []; }
  random() { this.seed = (Math.imul(this.seed, 1664525) + 1013904223) >>> 0; return this.seed / 2 ** 32; }
  /** Gauge pressure with noise, Pa: sum of three even ones, 2 Pa standard deviation. */
  gauge() {
    if (this.fault === 'frozen') return this.last;
    this.last = this.world.gauge() + this.world.noise * (this.random() + this.random() + this.random() - 1.5) * 2;
    return this.last;
  }
  answers(address) { return this.addresses.includes(address) && this.fault !== 'nack'; }
  start(address, reading) { this.at = address; if (reading) { this.out = this.read(); this.reads++; } else this.written = []; return true; }
  take(byte) { this.written.push(byte); return this.wrote(); }
  give() { return this.out.length ? this.out.shift() : 0xff; }
}

/** 24-bit bridge sensor, ±20 inH2O. */
export class Bridge extends Part {
  addresses = [0x29];
  /** Drift, Pa. */
  off = 0;
  gauge() { return super.gauge() + this.off; }
  started = -1; counts = 0x800000; twice = 0;
  wrote() { if (this.written[0] >= 0xaa && this.written[0] <= 0xaf) { this.convert(); return true; } return false; }
  convert() {
    this.started = this.world.now(); this.twice = 0;
    const share = this.gauge() / (1.25 * 40 * 249.08891) + 0.5;
    this.counts = this.fault === 'range' ? 0xffffff : Math.max(0, Math.min(0xffffff, Math.round(share * 2 ** 24)));
  }
  read() {
    const busy = this.world.now() - this.started < 8.2e6;
    const c = this.counts, frame = [busy ? 0x60 : 0x40, c >> 16, (c >> 8) & 255, c & 255, 0x80, 0, 0];
    if (this.fault === 'corrupt' && this.twice++ % 2) frame[3] ^= 0x10;   // the second reading of the two differs
    if (this.fault === 'memory') frame[0] |= 0x04;
    return frame;
  }
}

/** A bridge of the same kind with another address, on a tube of its own. */
export class SecondBridge extends Bridge {
  addresses = [0x28];
  constructor(world) { super(world); this.seed = 777; }
}

/** Several parts on one bus; faults are set at each. */
export class Several {
  constructor(...parts) { this.parts = parts; this.active = parts[0]; }
  get fault() { return this.parts[0].fault; }
  set fault(fault) { this.parts[0].fault = fault; }
  answers(address) { return this.parts.some((p) => p.answers(address)); }
  start(address, reading) { this.active = this.parts.find((p) => p.answers(address)); return this.active.start(address, reading); }
  take(byte) { return this.active.take(byte); }
  give() { return this.active.give(); }
}

/**
 * What hangs on the permit's pin: a charge pump into a gate (two diodes, 1 µF, 330 nF and 100 kΩ), the transistor and the relay; or,
 * without the pump, the transistor at the pin. The transistor is taken at its worst: it needs 2.0 V to pull the relay and holds it down
 * to 0.8 V. The relay takes 10 ms either way.
 */
export class Relay {
  volts = 0; high = false; pulled = false; closed = false; since = 0; at = 0; welded = false; shorted = false; open = false;
  constructor({ pump = true } = {}) { this.pump = pump; }
  edge(t, high) {
    this.advance(t);
    if (this.pump && high && !this.high) this.volts += (2.7 - this.volts) * 0.75;
    if (!this.pump) this.volts = high ? 3.3 : 0;
    this.high = high;
  }
  advance(t) {
    if (this.pump) this.volts *= Math.exp(-(t - this.at) / 33e6);
    this.at = t;
    const pulled = this.shorted || this.volts >= (this.pulled ? 0.8 : 2.0);
    if (pulled !== this.pulled) { this.pulled = pulled; this.since = t; }
    if (t - this.since >= 10e6) this.closed = (this.pulled && !this.open) || this.welded;
    return this.closed;
  }
}

/** 16-bit thermal sensor with checksums, ±500 Pa. */
export class Thermal extends Part {
  addresses = [0x25];
  running = false; identify = 0;
  wrote() {
    if (this.written.length < 2) return true;
    const c = (this.written[0] << 8) | this.written[1];
    if (c === 0x3ff9) { const was = this.running; this.running = false; return was; }
    if (this.running) return false;
    if (c === 0x367c) { this.identify = 1; return true; }
    if (c === 0xe102) { this.identify = 2; return true; }
    if (c === 0x3615) { this.running = true; return true; }
    return false;
  }
  start(address, reading) {
    if (reading && !this.running && this.identify !== 2) return false;
    return super.start(address, reading);
  }
  read() {
    const words = this.running ? [Math.max(-32768, Math.min(32767, Math.round(this.gauge() * 60))), 5000, 60] : [0x0302, 0x0a01, 0, 1, 0x2345, 0x6789];
    this.identify = 0;
    const out = words.flatMap((w) => { const b = [(w >> 8) & 255, w & 255]; return [...b, crc8(b)]; });
    if (this.fault === 'corrupt') out[2] ^= 1;
    return out;
  }
}

/** Two 24-bit barometers. Their calibration makes one count at scale 2^k worth a simple pressure. */
export class Barometers extends Part {
  addresses = [0x77, 0x76]; outside_pa = 95000; degc = 20;
  constructor(world) { super(world); this.registers = { 0x77: this.fresh(), 0x76: this.fresh() }; this.ready = { 0x77: 0, 0x76: 0 }; }
  fresh() {
    const r = new Uint8Array(0x80);
    r[0x0d] = 0x10; r[0x08] = 0xc0; r[0x28] = 0x80;
    // c0 = 40 (20 °C, or `degc`), c1 = 0, c00 = 100 000, c10 = −50 000; all others 0.
    const c0 = 2 * this.degc, c00 = 100000, c10 = (-50000 + (1 << 20)) & 0xfffff;
    r.set([c0 >> 4, (c0 & 15) << 4, 0, c00 >> 12, (c00 >> 4) & 255, ((c00 & 15) << 4) | (c10 >> 16), (c10 >> 8) & 255, c10 & 255], 0x10);
    return r;
  }
  wrote() {
    const r = this.registers[this.at];
    if (this.written.length === 1) { this.pointer = this.written[0]; return true; }
    const [where, value] = this.written;
    if (where === 0x0c && value === 0x09) this.registers[this.at] = this.fresh();
    else if (where === 0x08) { r[0x08] = 0xc0 | (value & 7); this.ready[this.at] = this.world.now(); }
    else r[where] = value;
    return true;
  }
  read() {
    const r = this.registers[this.at];
    if (r[0x08] & 1 && this.world.now() - this.ready[this.at] >= 15.6e6) {
      this.ready[this.at] = this.world.now();
      const pa = this.outside_pa + (this.at === 0x77 ? this.gauge() : this.world.noise * (this.random() - 0.5));
      const counts = (Math.round(((100000 - pa) / 50000) * 3670016) + (1 << 24)) & 0xffffff;
      r.set([counts >> 16, (counts >> 8) & 255, counts & 255, 0, 0, 0], 0);
      r[0x08] |= 0x30;
    }
    // A result that is read takes its flag away, also within one burst: who reads on sees none.
    if (this.pointer <= 2) r[0x08] &= ~0x30;
    return [...r.subarray(this.pointer, this.pointer + 18)];
  }
}
