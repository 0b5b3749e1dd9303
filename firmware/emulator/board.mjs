// The RP2040 board in rp2040js, headless and repeatable to the bit.
//
// What rp2040js 1.4.1 does not model as the silicon does is repaired here, each with its reason beside it.
import { RP2040 } from 'rp2040js';
import { SimulationClock } from './node_modules/rp2040js/dist/esm/clock/simulation-clock.js';
import { attach } from './flash.mjs';

export const PINS = { red: 10, amber: 11, green: 12, siren: 13, permit: 14 };
const SUPPLY = 15, BUTTON = 16, SENSE_FITTED = 17, CONTACT = 18, BLOWERS = [19, 20, 21, 22], SDA = 4, SCL = 5;

export class Board {
  constructor({ image, flash, sensor, world, senseFitted = true, relay = null }) {
    Object.assign(this, { image, flash, sensor, world, senseFitted, relay });
    this.blowers = [true, true, true, true]; this.battery = 12.8; this.khz = { processor: 125000, ring: 6500 }; this.stuckBit = null;
    this.base = 0; this.boots = 0; this.levels = {}; this.edges = []; this.received = []; this.toBox = []; this.warnings = new Map();
    this.instructions = 0; this.lowestStack = Infinity; this.supply = true; this.button = false; this.flashFetches = 0;
    this.period = { instructions: 0, cycles: 0, misses: 0, flash: 0, begin: 0 }; this.periods = []; this.cache = new Int32Array(2048).fill(-1); this.measure = false;
    flash.bytes.set(image);
    flash.now = () => this.now; world.now = () => this.now;
    this.boot('power');
  }
  get now() { return this.base + this.mcu.clock.nanos; }

  /** why: 'power' (RAM is lost), 'dip' (RAM is kept) or 'watchdog'. */
  boot(why) {
    const before = this.mcu;
    if (before) this.base += before.clock.nanos;
    this.boots++; this.began = this.base; this.firstStep = null;
    const clock = new SimulationClock(), mcu = new RP2040(clock), board = this;
    this.mcu = mcu; this.stuck = null;
    const note = (where, what) => { const k = `${where}: ${what.replace(/0x?[0-9a-f]+/gi, 'N')}`; board.warnings.set(k, (board.warnings.get(k) ?? 0) + 1); };
    mcu.logger = { debug() {}, info() {}, warn: note, error: (w, m) => { throw new Error(`${w}: ${m}`); } };
    mcu.flash = this.flash.bytes; mcu.flash16 = new Uint16Array(mcu.flash.buffer); mcu.flashView = new DataView(mcu.flash.buffer);
    if (before && why !== 'power') mcu.sram.set(before.sram); else for (let i = 0; i < mcu.sram.length; i += 4) mcu.sramView.setUint32(i, Math.imul(i + this.boots, 2654435761) >>> 0, true);
    this.ssi = attach(mcu, this.flash);
    // Reset cause: bit 8 power-on or brown-out. rp2040js has a stub there.
    mcu.peripherals[0x40064] = { readUint32: (o) => (o === 8 && why !== 'watchdog' ? 1 << 8 : 0), writeUint32() {}, writeUint32Atomic() {} };
    // The ring oscillator's random bit; rp2040js has none.
    let word = (this.boots * 2654435761 + (this.seed ?? 1)) >>> 0;
    mcu.peripherals[0x40060] = { readUint32: (o) => (o === 0x1c ? (word = (Math.imul(word, 1664525) + 1013904223) >>> 0) >>> 31 : 0), writeUint32() {}, writeUint32Atomic() {} };
    const dog = mcu.peripherals[0x40058];
    if (why === 'watchdog') { dog.scratchData.set(before.peripherals[0x40058].scratchData); dog.reason = 1; }
    // After it fired, the watchdog's alarm would come again at once and for ever.
    dog.onWatchdogTrigger = () => { dog.alarm.enable = false; dog.timer.enable = false; board.pending = 'watchdog'; };
    this.repairInterrupts(mcu.core);
    // Timer alarms come up to 1 µs early, as the distance is truncated to whole microseconds.
    for (const a of mcu.peripherals[0x40054].alarms) {
      const schedule = a.clockAlarm.schedule.bind(a.clockAlarm);
      a.clockAlarm.schedule = (d) => { const us = clock.nanos / 1000; schedule(d + (Math.ceil(us) - us) * 1000 + 0.01); };
    }
    mcu.onBreak = (code) => { throw new Error(`breakpoint ${code} at ${mcu.core.PC.toString(16)}`); };
    // As the boot ROM does: the second boot stage runs from RAM and jumps to the program.
    mcu.sram.set(this.flash.bytes.subarray(0, 256), 0x41f00);
    mcu.core.SP = 0x20041f00; mcu.core.LR = 0; mcu.core.PC = 0x20041f00;
    for (const [name, pin] of Object.entries(PINS)) {
      if (this.levels[name]) { this.edges.push({ t: this.now, pin: name, on: false }); if (name === 'permit') this.relay?.edge(this.now, false); }
      this.levels[name] = false;
      mcu.gpio[pin].addListener(() => {
        const on = mcu.gpio[pin].outputEnable && mcu.gpio[pin].outputValue;
        if (on !== board.levels[name]) {
          board.levels[name] = on; board.edges.push({ t: board.now, pin: name, on });
          if (name === 'permit') board.relay?.edge(board.now, on);
        }
      });
    }
    mcu.gpio[SCL].addListener(() => this.clockedByHand());
    this.countClocks(mcu); this.watchRelay(mcu);
    // A bit of memory that stays set.
    const view = mcu.sramView;
    view.getUint32 = (at, little) => DataView.prototype.getUint32.call(view, at, little) | (board.stuckBit?.at === at ? board.stuckBit.mask : 0);
    this.applyInputs(); this.wireUart(mcu.uart[0]); this.wireI2c(mcu.i2c[0]);
    this.edges.push({ t: this.now, boot: why });
    this.attached?.();
    this.cache.fill(-1);
  }

  applyInputs() {
    const g = this.mcu.gpio;
    g[SUPPLY].setInputValue(this.supply); g[BUTTON].setInputValue(!this.button); g[SENSE_FITTED].setInputValue(this.senseFitted);
    g[SDA].setInputValue(!this.stuck); g[SCL].setInputValue(true);
    g[CONTACT].setInputValue(this.relay?.closed ?? false);
    BLOWERS.forEach((pin, i) => g[pin].setInputValue(this.blowers[i]));
    // Divided by 122/22, and 3.3 V are 4096 counts.
    this.mcu.adc.channelValues[0] = Math.max(0, Math.min(4095, Math.round(((this.battery * 22) / 122 / 3.3) * 4096)));
  }
  setBlower(which, runs) { this.blowers[which] = runs; this.applyInputs(); }
  setBattery(volts) { this.battery = volts; this.applyInputs(); }

  /** The frequency counter, which rp2040js lacks: a result 2 ms after a source was chosen. */
  countClocks(mcu) {
    const clocks = mcu.peripherals[0x40008], { readUint32, writeUint32 } = clocks;
    let source = 0, begun = 0;
    clocks.writeUint32 = (o, v) => { if (o === 0x94) { source = v; begun = this.now; } else if (o < 0x80 || o > 0x9c) writeUint32.call(clocks, o, v); };
    clocks.readUint32 = (o) => {
      if (o === 0x98) return source && this.now - begun >= 2e6 ? 1 << 4 : 0;
      if (o === 0x9c) return (source === 9 ? this.khz.processor : source === 3 ? this.khz.ring : 0) << 5;
      return readUint32.call(clocks, o);
    };
  }

  /** The relay goes on in time, whatever the pins do: looked at every millisecond where there is one. */
  watchRelay(mcu) {
    if (!this.relay) return;
    const alarm = mcu.clock.createAlarm(() => {
      if (this.mcu !== mcu) return;
      const closed = this.relay.advance(this.now);
      if (closed !== this.levels.loop) { this.levels.loop = closed; this.edges.push({ t: this.now, pin: 'loop', on: closed }); mcu.gpio[CONTACT].setInputValue(closed); }
      alarm.schedule(1e6);
    });
    alarm.schedule(1e6);
  }
  setSupply(on) { this.supply = on; this.applyInputs(); }
  setButton(down) { this.button = down; this.applyInputs(); }

  /** With interrupts masked a handler must not run, but a pending one must end WFI. */
  repairInterrupts(core) {
    const pending = () => (core.pendingInterrupts & core.enabledInterrupts) || core.pendingSystick || core.pendingPendSV || core.pendingNMI;
    const check = core.checkForInterrupts.bind(core);
    core.checkForInterrupts = () => {
      if (!core.PM || core.pendingNMI) return check();
      core.interruptsUpdated = false;
      return core.waiting && !!pending();
    };
    // The lowest bit of a vector says Thumb and is no part of the address: left in, it shifts every table read relative to
    // the program counter within a handler.
    const enter = core.exceptionEntry.bind(core);
    core.exceptionEntry = (n) => { enter(n); core.PC = (core.PC & ~1) >>> 0; };
    this.wakes = () => { if (!pending()) return false; core.waiting = false; core.interruptsUpdated = true; return true; };
  }

  /** A queue of 32 bytes each way at the real speed; rp2040js sends at once. */
  wireUart(uart) {
    const clock = this.mcu.clock, byteNs = () => 10e9 / (uart.baudRate || 115200);
    let free = 0;
    uart.onByte = (b) => { free = Math.max(free, clock.nanos) + byteNs(); this.received.push({ t: this.base + free, b }); };
    Object.defineProperty(uart, 'flags', { get: () => {
      const waiting = (free - clock.nanos) / byteNs();
      return (uart.rxFIFO.full ? 64 : 0) | (uart.rxFIFO.empty ? 16 : 0) | (waiting <= 1 ? 128 : 0) | (waiting >= 32 ? 32 : 0) | (waiting > 0 ? 8 : 0);
    } });
    const alarm = clock.createAlarm(() => {
      if (!this.toBox.length) return;
      const b = this.toBox.shift();
      if (uart.rxFIFO.full) this.overruns = (this.overruns ?? 0) + 1; else uart.feedByte(b);
      if (this.toBox.length) alarm.schedule(byteNs());
    });
    this.kick = () => alarm.schedule(byteNs());
  }
  send(bytes) { const idle = !this.toBox.length; this.toBox.push(...bytes); if (idle) this.kick(); }

  /** True bit times; a held line never completes. */
  wireI2c(i2c) {
    const clock = this.mcu.clock; let next = null;
    const alarm = clock.createAlarm(() => { const f = next; next = null; f(); });
    const bitNs = () => (1e9 * (i2c.sclLowPeriod + i2c.sclHighPeriod)) / this.mcu.clkSys;
    const held = () => this.stuck || this.sensor.fault === 'held';
    const later = (bits, f) => { next = () => { if (!held()) f(); }; alarm.schedule(bits * bitNs()); };
    i2c.onStart = () => { this.firstStep ??= this.now - this.began; later(1, () => i2c.completeStart()); };
    i2c.onConnect = (address, mode) => later(9, () => i2c.completeConnect(this.sensor.answers(address) && this.sensor.start(address, mode === 1)));
    i2c.onWriteByte = (v) => later(9, () => i2c.completeWrite(this.sensor.take(v)));
    i2c.onReadByte = () => later(9, () => i2c.completeRead(this.sensor.give()));
    i2c.onStop = () => later(1, () => i2c.completeStop());
    // Disabling the block ends a transfer; rp2040js leaves its state machine where it was.
    const write = i2c.writeUint32.bind(i2c);
    i2c.writeUint32 = (o, v) => {
      write(o, v);
      if (o === 0x6c && !(v & 1) && i2c.state !== 0) { alarm.cancel(); next = null; i2c.state = 0; i2c.busy = i2c.stop = i2c.pendingRestart = false; }
    };
  }
  /** A part that lost count holds the data line until it has seen `clocks` pulses. */
  stickBus(clocks) { this.stuck = { clocks, low: false }; this.pulses = 0; this.applyInputs(); }
  clockedByHand() {
    const low = this.mcu.gpio[SCL].outputEnable && !this.mcu.gpio[SCL].outputValue;
    if (low === this.sclLow) return;
    this.sclLow = low;
    if (low) return;
    this.pulses = (this.pulses ?? 0) + 1;
    if (this.stuck && --this.stuck.clocks <= 0) { this.stuck = null; this.applyInputs(); }
  }

  powerCut(kind = 'power') { this.flash.cut(); this.boot(kind); }
  /** The program runs away: an endless loop in RAM, as after a bit flip. */
  runAway() { this.mcu.sramView.setUint16(0x41e00, 0xe7fe, true); this.mcu.core.PC = 0x20041e00; this.mcu.core.waiting = false; }

  /** Runs until the emulated time, ns, or until `stop` says so (asked at every wake). */
  runTo(end, stop) {
    let { mcu } = this, { core, clock } = mcu, until = end - this.base;
    // What is done for each instruction is written out: it is most of the time that the emulator takes.
    while (clock.nanosCounter < until) {
      if (core.waiting && !this.wakes()) {
        if (stop?.()) return true;
        const rest = until - clock.nanosCounter;
        clock.tick(clock.nextAlarm ? Math.min(clock.nanosToNextAlarm, rest) : rest);
      } else {
        const pc = core.PC;
        if (pc >>> 28 === 1) {
          if (this.ssi.away()) this.flashFetches++;
          if (this.measure) this.touch(pc >>> 3);
        }
        const cycles = core.executeInstruction(), nanos = (cycles * 1e9) / mcu.clkSys, { nextAlarm } = clock;
        if (nextAlarm !== null && nextAlarm.nanos <= clock.nanosCounter + nanos) clock.tick(nanos); else clock.nanosCounter += nanos;
        this.instructions++;
        const sp = core.registers[13];
        if (sp < this.lowestStack && sp < 0x20040000) this.lowestStack = sp;
        if (this.measure) { this.period.instructions++; this.period.cycles += cycles; if (pc >>> 28 === 2) this.period.flash += cycles; if (this.now - this.period.begin >= 20e6) this.closePeriod(); }
        // A processor that computes does not sleep.
        if (this.busy && (this.instructions & 511) === 0 && stop?.()) return true;
      }
      if (this.pending) { const why = this.pending; this.pending = null; this.flash.cut(); this.boot(why); ({ mcu } = this); ({ core, clock } = mcu); until = end - this.base; }
    }
    return false;
  }
  run(seconds) { this.runTo(this.now + seconds * 1e9); }
  /** Runs until `condition`, at most `seconds`; gives the time it took in seconds, or null. */
  until(condition, seconds) {
    const begin = this.now;
    return this.runTo(begin + seconds * 1e9, condition) || condition() ? (this.now - begin) / 1e9 : null;
  }

  /** The cache of code: 16 KiB, two ways, lines of eight bytes. */
  touch(line) {
    const set = (line & 1023) * 2, c = this.cache;
    if (c[set] === line) return;
    if (c[set + 1] === line) { c[set + 1] = c[set]; c[set] = line; return; }
    c[set + 1] = c[set]; c[set] = line; this.period.misses++;
  }
  closePeriod() { this.periods.push(this.period); this.period = { instructions: 0, cycles: 0, misses: 0, flash: 0, begin: this.now }; }
}
