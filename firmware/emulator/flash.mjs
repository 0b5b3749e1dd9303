// Serial NOR flash behind the RP2040's SSI block, in enough detail for a program that drives it itself:
// write enable, page program, sector erase, status; busy times; what a power cut leaves half done.

const PROGRAM_NS = 0.7e6, ERASE_NS = 45e6;   // typical values of common 2 MiB parts
const SS_CTRL = 0x0c;

/** The chip. It keeps its bytes over power cuts. */
export class Flash {
  constructor(size = 2 * 1024 * 1024) {
    this.bytes = new Uint8Array(size).fill(0xff);
    this.erases = new Map(); this.programs = 0; this.faults = []; this.seed = 1; this.working = null; this.writeEnabled = false;
    this.work = 0;              // programmed bytes and erases so far
    this.slow = 1;              // factor on the busy times
    this.dead = false;          // takes no command and stays busy for ever
    this.deselect();
  }
  random() { this.seed = (Math.imul(this.seed, 1664525) + 1013904223) >>> 0; return this.seed >>> 24; }
  deselect() {
    const c = this.command; this.command = [];
    if (!c || c.length === 0 || this.dead) return;
    const address = (c[1] << 16) | (c[2] << 8) | c[3];
    if (c[0] === 0x06) { if (this.working) this.faults.push('write enable while busy'); this.writeEnabled = true; }
    else if (c[0] === 0x02 || c[0] === 0x20) {
      if (!this.writeEnabled) { this.faults.push('not write enabled'); return; }
      if (this.working) { this.faults.push('command while busy'); return; }
      this.writeEnabled = false;
      const erase = c[0] === 0x20;
      if (address + (erase ? 4096 : c.length - 4) > this.bytes.length) this.faults.push('beyond the end');
      if (!erase && (address & 255) + c.length - 4 > 256) this.faults.push('page wrapped');
      this.working = { erase, address, data: c.slice(4), begin: this.now(), end: this.now() + this.slow * (erase ? ERASE_NS : PROGRAM_NS) };
    } else if (c[0] !== 0x05) this.faults.push(`command ${c[0].toString(16)}`);
  }
  /** One byte each way. */
  exchange(byte) {
    this.command.push(byte);
    if (this.dead) return 0xff;
    if (this.command[0] === 0x05 && this.command.length > 1) { this.settle(); return this.working ? 0x03 : 0x00; }
    return 0xff;
  }
  /** Completes what is due. */
  settle() { if (this.working && this.now() >= this.working.end) this.finish(1); }
  finish(share) {
    const { erase, address, data } = this.working; this.working = null;
    if (erase) {
      const sector = address & ~4095; this.erases.set(sector, (this.erases.get(sector) ?? 0) + 1); this.work++;
      for (let i = 0; i < 4096; i++) {
        if (share >= 1) this.bytes[sector + i] = 0xff;
        else if (share > 0.3) this.bytes[sector + i] |= share > 0.8 ? this.random() | this.random() : this.random() & this.random();
      }
    } else {
      this.programs++; this.work += data.length;
      const n = Math.floor(data.length * share);
      data.forEach((b, i) => { if (i < n) this.bytes[address + i] &= b; else if (i === n && share < 1) this.bytes[address + i] &= b | this.random(); });
    }
  }
  /** The supply goes: a running operation stays half done. */
  cut() {
    if (this.working) { const w = this.working; this.finish(Math.min(1, (this.now() - w.begin) / (w.end - w.begin))); }
    this.command = []; this.writeEnabled = false;
  }
  now() { return 0; }
}

/** SSI, the chip select's override and the cache's flush register, as memory-mapped blocks of one chip. */
export function attach(mcu, flash) {
  const ssi = { enabled: true, ctrlr0: 31 << 16 | 3 << 8, ctrlr1: 0, spi: 0x03000218, baudr: 4, rx: [], xip: true, selected: false };
  const block = (read, write) => ({
    readUint32: read,
    writeUint32: write,
    writeUint32Atomic(offset, value, kind) {
      const old = kind ? this.readUint32(offset) : 0;
      write(offset, kind === 0 ? value : kind === 1 ? old ^ value : kind === 2 ? old | value : old & ~value);
    },
  });
  const mode = () => { ssi.xip = ssi.enabled && ((ssi.ctrlr0 >>> 8) & 3) === 3; };
  mcu.peripherals[0x18000] = block(
    (o) => ({ 0x00: () => ssi.ctrlr0, 0x04: () => ssi.ctrlr1, 0x08: () => +ssi.enabled, 0x14: () => ssi.baudr, 0xf4: () => ssi.spi,
      0x28: () => 0x06 | (ssi.rx.length ? 8 : 0), 0x60: () => ssi.rx.shift() ?? 0 }[o] ?? (() => 0))(),
    (o, v) => {
      if (o === 0x08) { ssi.enabled = !!(v & 1); ssi.rx = []; }
      else if (o === 0x00) { if (ssi.enabled) flash.faults.push('CTRLR0 written while enabled'); ssi.ctrlr0 = v; }
      else if (o === 0x04) ssi.ctrlr1 = v;
      else if (o === 0xf4) ssi.spi = v;
      else if (o === 0x14) ssi.baudr = v;
      else if (o === 0x60) {
        // The second boot stage also writes here while it sets up another mode; only byte frames reach the chip.
        if (!ssi.enabled || ((ssi.ctrlr0 >>> 16) & 31) !== 7) flash.faults.push('data written in another mode');
        else if (!ssi.selected) flash.faults.push('data written with the chip not selected');
        else ssi.rx.push(flash.exchange(v & 255));
      }
      mode();
    });
  let ss = 0x1f;
  mcu.peripherals[0x40018] = block(
    (o) => (o === SS_CTRL ? ss : 0),
    (o, v) => {
      if (o !== SS_CTRL) return;
      ss = v;
      const low = ((v >>> 8) & 3) === 2;
      if (ssi.selected && !low) flash.deselect();
      ssi.selected = low;
    });
  mcu.peripherals[0x14000] = block(() => 1, () => { ssi.flushes = (ssi.flushes ?? 0) + 1; });
  /** True while the flash cannot be read as memory. */
  ssi.away = () => !ssi.xip || ssi.selected || flash.working !== null;
  return ssi;
}
