// The box's image with a line to the top and the image of the board at the top, both in the emulator, joined by two wires that
// fail in all the ways that were thought of. In emulated time, at the pins: how soon the top is red, and that it is never green
// without the permit. Prints one line per check and a closing count. IMAGE and SIGNAL name the images.
import fs from 'node:fs';
import { Bench, SITE, check, counts, within } from './bench.mjs';
import { Board } from './board.mjs';
import { Flash } from './flash.mjs';
import * as link from './link.mjs';
import { Line, encode, sip } from './top.mjs';

/** After the newest instant at which the box is known to have had the permit, and a look of 2 ms. */
const HOLD_MS = 350 + 4;
const SLICE_NS = 1e5;
const WITH_TOP = { ...SITE, version: SITE.version | 0x100 };
const signalImage = fs.readFileSync(process.env.SIGNAL ?? new URL('./build/signal.bin', import.meta.url));
const only = process.argv[2] ?? '';
const part = (name, f) => {
  if (!name.includes(only)) return;
  console.log(`--    ${name}`);
  try { f(); } catch (e) { check(`${name}: ran to its end`, false, e.stack); }
};
/** Nothing hangs on the bus at the top. */
const NO_SENSOR = { answers: () => false, start: () => false, take: () => false, give: () => 0xff };
let deepest = 0;

/** Both boards, in step. */
class Pair extends Bench {
  constructor({ flash = new Flash(), topFlash = new Flash(), seed = 1 } = {}) {
    super({ flash });
    this.top = new Board({ image: signalImage, flash: topFlash, sensor: NO_SENSOR, world: { now: () => 0 } });
    this.top.seed = seed;
    this.line = new Line(this.board, this.top);
    this.permitAt = -1; this.worst = 0; this.greenTime = 0;
    this.between = null;
    const box = this.board, alone = box.runTo.bind(box);
    box.runTo = (end, stop) => {
      while (box.now < end) {
        const slice = Math.min(box.now + SLICE_NS, end), done = alone(slice, stop);
        this.top.runTo(box.now);
        this.line.deliver(Math.min(box.now, this.top.now));
        this.between?.(box.now);
        this.observe();
        if (done) return true;
      }
      return false;
    };
  }
  get green() { return this.top.levels.green || this.top.levels.permit; }
  get red() { return this.top.levels.red && !this.top.levels.permit; }
  observe() {
    const now = this.board.now;
    if (this.permit) this.permitAt = now;
    if (this.green) { this.greenTime += SLICE_NS; this.worst = Math.max(this.worst, this.permitAt < 0 ? Infinity : now - this.permitAt); }
  }
  /** Processor time of the top in the next 20 ms periods, cycles each. */
  cost(seconds) { this.top.measure = true; this.top.periods = []; this.run(seconds); this.top.measure = false; return this.top.periods.slice(1).map((p) => p.cycles); }
  /** Seconds until the top is not green, at most `seconds`. */
  redAfter(seconds) { return this.until(() => !this.green, seconds); }
  greenAfter(seconds) { return this.until(() => this.green, seconds); }
  reason() { return this.status()?.state?.[1]; }
  pressTop(down) { this.top.setButton(down); }
  holdTop(seconds) { this.pressTop(true); this.run(seconds); this.pressTop(false); }
}
let prepared = null;
/** A box with the key in its settings, and a top that is paired with it. */
const pair = (options = {}) => {
  if (!prepared) {
    const b = new Pair({ flash: Object.assign(new Flash(), { slow: 0.1 }), topFlash: Object.assign(new Flash(), { slow: 0.1 }) });
    b.run(16);
    const { stored } = b.arm(WITH_TOP);
    check('a box with the line takes settings with the key', stored?.is === 'stored' && stored.settings.version === WITH_TOP.version);
    b.run(1);
    check('a top that was never paired is red and amber', b.red && b.top.levels.amber && !b.green);
    check('and the box says that it is silent', b.line.told.every((m) => m.from === 'box') && b.line.told.length > 5, `${b.line.told.length} heartbeats`);
    b.pressTop(true); b.top.powerCut(); b.run(5); b.pressTop(false); b.run(1);
    check('held from its start on it learns the site of the box that it hears, and answers', b.line.told.filter((m) => m.from === 'top' && m.site === SITE.site_id).length > 5 && !b.top.levels.amber && b.red);
    check('one sector of its flash, once', b.top.flash.erases.size === 1 && b.top.flash.faults.length === 0 && b.top.flashFetches === 0);
    b.flash.cut(); b.top.flash.cut();
    prepared = [b.flash, b.top.flash];
  }
  const copy = (from) => { const to = new Flash(); to.bytes.set(from.bytes); return to; };
  return new Pair({ flash: copy(prepared[0]), topFlash: copy(prepared[1]), ...options });
};
let rides = 0;
const riding = () => {
  const b = pair({ seed: ++rides });
  if (b.ride() === null) throw new Error(`does not get to ride: ${JSON.stringify(b.last('status'))}`);
  b.run(1 + 0.0137 * (rides % 8));
  if (!b.green) throw new Error('the top is not green');
  return b;
};
/** Closes a part: at no time was the top green longer than stated after the permit, or neither red nor green. */
const close = (b, what) => {
  const ms = b.worst / 1e6;
  check(`${what}: never green longer than ${HOLD_MS} ms after the permit`, ms <= HOLD_MS, `${ms.toFixed(1)} ms at most, green for ${(b.greenTime / 1e9).toFixed(1)} s`);
  deepest = Math.max(deepest, 0x20040000 - b.top.lowestStack);
};

part('frames by the page', () => {
  check('SipHash-2-4 of the page gives the paper\'s example', sip(0x0706050403020100n, 0x0f0e0d0c0b0a0908n, [...Array(15).keys()]) === 0xa129ca6149be45e5n);
});

part('start, ride, wait, stop', () => {
  const b = pair();
  b.run(0.2);
  check('the top starts red, and amber flashes', b.red && !b.green);
  const up = b.ride();
  check('permit, with a top that answers', up !== null && b.permit);
  const lag = b.greenAfter(1);
  within('green at the top after the permit', lag, 60);
  check('green means green lamp and relay, and no red', b.top.levels.green && b.top.levels.permit && !b.top.levels.red && !b.top.levels.amber);
  b.run(10);
  const talk = b.line.told.filter((m) => m.t > b.t - 9), beats = talk.filter((m) => m.from === 'box'), answers = talk.filter((m) => m.from === 'top');
  check('ten heartbeats a second, each answered', Math.abs(beats.length - 90) <= 1 && Math.abs(answers.length - beats.length) <= 1, `${beats.length}, ${answers.length} in 9 s`);
  check('each echoes the newest of the other, and counts up', answers.every((m, i) => i === 0 || m.counter === answers[i - 1].counter + 1)
    && answers.every((m) => beats.some((h) => h.session === m.echo[0] && h.counter === m.echo[1]) || m === answers[0]) && beats.slice(1).every((m, i) => m.counter === beats[i].counter + 1 && m.echo[1] > 0));
  check('no byte lost, overrun or met by another', b.line.lost === 0 && b.line.collisions === 0 && b.line.overruns === 0 && b.line.ends.every((e) => e.frames.broken === 0), `${b.line.carried} bytes`);
  let worst = 0;
  for (let i = 0; i < 5; i++) {
    b.run(2 + 0.0071 * i); b.world.land();
    b.pin('permit', false, 1); const took = b.redAfter(1); worst = Math.max(worst, took ?? 9);
    b.pin('permit', true, 12); b.greenAfter(1);
  }
  within('landings: red at the top after the permit goes', worst, 60);
  check('and green again', b.green);
  b.run(1);
  // The air goes.
  b.world.to(500, 0.2);
  b.pin('siren', true, 2);
  within('stop: red at the top after the siren begins', b.redAfter(1), 60);
  b.run(0.2);
  const pwm = b.top.mcu.peripherals[0x40050], heard = [];
  for (let i = 0; i < 12; i++) { b.run(0.02); heard.push(Math.round(1e6 / (pwm.readUint32(6 * 0x14 + 0x10) + 1))); }
  check('and the buzzer rises', heard.every((hz) => hz >= 590 && hz <= 2450) && heard.slice(1).filter((hz, i) => hz > heard[i]).length >= 9, heard.join(' '));
  const loud = b.cost(4), most = Math.max(...loud);
  check('the top works for at most 2 % of its time, buzzer and line included', most <= 0.02 * 2_500_000, `${most} cycles of 2,500,000 in 20 ms`);
  console.log(`--    of 20 ms with the buzzer on: ${Math.max(...loud.filter((c) => c < most * 2))} cycles at most, ${Math.round(loud.reduce((a, c) => a + c, 0) / loud.length)} on average`);
  close(b, 'all that');
});

part('what the box withholds', () => {
  const b = riding();
  b.line.fault = { kind: 'cut' };
  const red = b.redAfter(1), off = b.permit ? b.pin('permit', false, 1) : 0;
  within('line cut: red', red, HOLD_MS);
  check('and the permit is off', off !== null && off + red < 0.38, `${((red + off) * 1000).toFixed(0)} ms`);
  b.run(1);
  check('the box says why: wait, top_silent, without the siren', b.reason() === 'top_silent' && b.state() === 'wait' && !b.board.levels.siren);
  check('it is in the log', b.messages.some((m) => m.kind === 'changed' && m.reason === 'top_silent' && m.to === 'wait'));
  b.run(20);
  check('it stays so', b.red && !b.permit);
  b.line.fault = null;
  check('whole again: permit and green come back by themselves', b.pin('permit', true, 5) !== null && b.greenAfter(1) !== null);
  // The bag goes down while the top is away.
  b.line.fault = { kind: 'cut' }; b.run(1);
  b.world.to(500, 0.2);
  within('the siren does not wait for the top', b.pin('siren', true, 2), 400);
  close(b, 'line cut');
});

part('line cut at many phases', () => {
  let worst = 0, least = 9;
  const b = riding();
  for (let i = 0; i < 12; i++) {
    b.run(0.4 + 0.0083 * i);
    b.line.fault = { kind: 'cut' };
    const took = b.redAfter(1); worst = Math.max(worst, took ?? 9); least = Math.min(least, took ?? 9);
    b.run(0.5); b.line.fault = null;
    if (b.greenAfter(6) === null) throw new Error('green does not come back');
  }
  within('red', worst, HOLD_MS, 100);
  check('and not before two heartbeats are missing', least > 0.15, `${(least * 1000).toFixed(0)} ms at least`);
  close(b, 'cuts');
});

for (const [name, fault] of [
  ['two wires shorted', { kind: 'shorted' }], ['one wire broken: nothing but noise', { kind: 'open' }], ['one wire stuck: zeros without end', { kind: 'low' }],
  ['only the way to the top is whole', { kind: 'one way', to: 'top' }], ['only the way to the box is whole', { kind: 'one way', to: 'box' }],
  ['200 ms late each way', { kind: 'late', ms: 200 }], ['2 s late each way', { kind: 'late', ms: 2000 }],
  ['every tenth byte wrong', { kind: 'noise', share: 0.1 }],
]) {
  part(name, () => {
    const b = riding();
    b.line.fault = fault;
    const heavy = fault.kind !== 'noise';
    const red = b.redAfter(3);
    if (heavy) within('red', red, HOLD_MS); else within('red in time', red, 3000);
    const begin = b.greenTime; b.run(8);
    if (heavy) check('stays red, and the permit off', b.greenTime === begin && b.red && !b.permit && ['top_silent', 'top_strange'].includes(b.reason()), b.reason());
    check('neither board restarts or hangs', b.board.boots === 1 && b.top.boots === 1);
    b.line.fault = null;
    check('whole again: green comes back', b.pin('permit', true, 8) !== null && b.greenAfter(3) !== null);
    close(b, name);
  });
}

part('the permit goes while the line is not well', () => {
  const b = riding();
  let worst = 0;
  for (const fault of [{ kind: 'late', ms: 80 }, { kind: 'noise', share: 0.01 }, { kind: 'one way', to: 'box' }, { kind: 'cut' }]) {
    for (let i = 0; i < 4; i++) {
      b.run(0.0237 * i); b.line.fault = { kind: fault.kind === 'late' ? 'late' : null, ms: fault.ms }; b.run(2);
      if (fault.kind === 'late') check('80 ms late each way: still green', b.green && b.permit);
      b.worst = 0; b.line.fault = fault; b.board.setSupply(false);
      const off = b.pin('permit', false, 1); b.run(1);
      if (off === null || b.green) throw new Error('no stop');
      worst = Math.max(worst, b.worst / 1e6);
      b.line.fault = null; b.board.setSupply(true);
      if (b.acknowledge() === null || b.greenAfter(5) === null) throw new Error('does not come back');
    }
  }
  check('supply cut and line at once, 16 times: red in time', worst > 1 && worst <= HOLD_MS, `${worst.toFixed(1)} ms after the permit at most`);
  b.worst = worst * 1e6;
  close(b, 'both at once');
});

part('a few bytes wrong', () => {
  const b = riding();
  b.line.fault = { kind: 'noise', share: 0.002 };
  const begin = b.t, green = b.greenTime; b.run(20);
  const share = (b.greenTime - green) / 1e9 / (b.t - begin);
  check('one frame in fifteen lost: green nearly all the time', share > 0.9 && b.line.ends.every((e) => e.frames.broken === 0), `${(100 * share).toFixed(1)} %`);
  close(b, 'a few bytes wrong');
});

part('replay', () => {
  const b = riding();
  const tape = [];
  b.run(6);
  for (const m of b.line.told.filter((x) => x.from === 'box' && x.says === 'ride').slice(-50)) tape.push(encode(m));
  check('50 frames of riding recorded', tape.length === 50);
  // Instead of the box, at its pace, and then beside it.
  b.line.fault = { kind: 'instead' };
  let next = 0, at = 0;
  b.between = (now) => { if (now >= at) { at = now + 100e6; b.line.inject('top', tape[next++ % 50], now); } };
  within('old frames instead of the box: red', b.redAfter(2), HOLD_MS);
  let green = b.greenTime; b.run(12);
  check('and stays red', b.greenTime === green && b.red && !b.permit);
  b.top.powerCut(); b.run(8);
  check('also after a restart of the top', b.greenTime === green && b.red);
  b.between = null; b.line.fault = null;
  check('with the box back it is green again', b.pin('permit', true, 8) !== null && b.greenAfter(3) !== null);
  b.run(0.05); b.line.inject('top', tape[3], b.board.now);
  within('one old frame beside those of the box: red', b.redAfter(1), 40);
  check('for a second', Math.abs((b.greenAfter(3) ?? 9) - 1) < 0.6);
  // The frame that has just been sent, once more.
  b.run(1);
  const last = b.line.told.findLast((m) => m.from === 'box');
  b.line.inject('top', encode(last), b.board.now);
  within('the newest frame twice: red', b.redAfter(1), 40);
  close(b, 'replay');
});

part('the wrong box', () => {
  // A top of site 7 on the line of a box of site 8.
  const other = { ...WITH_TOP, site_id: 8 }, b = pair();
  const flash = new Flash(); flash.slow = 0.1;
  const box = new Pair({ flash, topFlash: Object.assign(new Flash(), {}) });
  box.top.flash.bytes.set(b.top.flash.bytes); box.top.powerCut();
  box.run(16); box.arm(other); box.world.to(0); box.run(4.5); box.world.to(SITE.operating_pa, 2); box.run(15);
  check('the box of another site gets no permit with this top', !box.permit && box.reason() === 'top_silent', box.reason());
  check('and the top is red and amber', box.red && box.top.levels.amber && box.greenTime === 0);
  close(box, 'the wrong box');
  // Both on one line: frames of site 8 between those of site 7.
  const c = riding();
  let counter = 0, at = 0;
  c.between = (now) => { if (now >= at) { at = now + 100e6; counter++; const m = { from: 'box', says: 'ride', site: 8, session: 99, counter, echo: [0, 0] }; c.line.inject('top', encode(m), now); c.line.inject('box', encode(m), now); } };
  within('a second box on the line: red', c.redAfter(2), 200);
  c.run(3);
  check('the box hears it too: no permit, top_strange', !c.permit && c.reason() === 'top_strange', c.reason());
  const green = c.greenTime; c.run(5);
  check('for as long as it lasts', c.greenTime === green);
  c.between = null;
  check('without it green comes back', c.pin('permit', true, 8) !== null && c.greenAfter(3) !== null);
  close(c, 'two boxes');
});

part('restarts', () => {
  for (const why of ['power', 'dip', 'watchdog']) {
    const b = riding();
    if (why === 'watchdog') b.top.runAway(); else b.top.powerCut(why);
    within(`top, ${why}: red`, b.redAfter(1), 140);
    b.run(0.3);
    check('and stays red until three heartbeats in a row count', b.red && b.top.boots === 2);
    const first = b.greenAfter(5);
    check('then green again', first !== null && b.permit, `${first?.toFixed(2)} s`);
    if (why === 'watchdog') b.board.runAway(); else b.board.powerCut(why);
    within(`box, ${why}: red`, b.redAfter(1), HOLD_MS);
    check('then green again, with the permit', b.pin('permit', true, 10) !== null && b.greenAfter(3) !== null && b.board.boots === 2);
    close(b, `restarts by ${why}`);
  }
});

part('the button at the top', () => {
  const b = riding();
  b.pressTop(true);
  within('down: red', b.redAfter(1), 10);
  b.run(1.2); b.pressTop(false); b.run(3);
  check('after a second it holds riders back: no permit, top_held, no siren', !b.permit && b.red && b.reason() === 'top_held' && !b.board.levels.siren, b.reason());
  b.top.powerCut(); b.run(4);
  check('also over a restart of the top', !b.permit && b.red && b.reason() === 'top_held', b.reason());
  b.board.powerCut('dip'); b.run(8);
  check('and of the box', !b.permit && b.red && b.reason() === 'top_held', b.reason());
  b.holdTop(2.3);
  check('held for two seconds it lets them go', b.pin('permit', true, 5) !== null && b.greenAfter(3) !== null);
  close(b, 'button');
});

part('the plain box', () => {
  // Settings without the key: the line is not used, and nothing waits for it.
  const b = new Pair({ flash: Object.assign(new Flash(), { slow: 0.1 }), topFlash: new Flash() });
  b.run(16); b.arm(SITE);
  check('without the key it rides as ever, and sends nothing', b.ride() !== null && b.line.carried === 0 && b.red);
  const plain = process.env.PLAIN ? fs.readFileSync(process.env.PLAIN) : null;
  if (plain) {
    const c = new Bench(); c.board.image = plain; c.board.flash.bytes.set(plain); c.board.powerCut();
    c.run(1.5);
    check('a box without the line refuses the key', c.ask(link.offer(WITH_TOP), ['staged', 'refused'])?.kind === 'impossible');
  }
  close(b, 'plain');
});

console.log(`--    deepest stack seen at the top: ${deepest} bytes`);
console.log(`${counts.passed} passed, ${counts.failed} failed`);
process.exit(counts.failed ? 1 : 0);
