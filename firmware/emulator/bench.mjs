// The box on its bench: image, parts, line and the counting of what holds.
import fs from 'node:fs';
import { Board } from './board.mjs';
import { Flash } from './flash.mjs';
import { Bridge, Several } from './parts.mjs';
import * as link from './link.mjs';

/** An invented bag: 1 kPa operating, 600 Pa stop. */
export const SITE = { version: 2, site_id: 7, revision: 1, stop_pa: 600, wait_pa: 750, half_way_pa: 800, operating_pa: 1000, high_pa: 1300, pressure_max_pa: 1400,
  needed_s: 4, recovery_s: 5, landing_dip_pa: 120, landing_spike_pa: 150, landing_peak_pa: 3500, interval_s: 20, supply_sense: true, sensor_low_pa: -60,
  sensor_high_pa: 4900, sensor_step_pa: 0.2, sensor_error_pa: 12, noise_low_pa: 0.5, noise_high_pa: 20, rate_limit_paps: 100000, zero_limit_pa: 30, sensor_noise_pa: 0.15 };

/** Pressure over time: a level that glides, and landings on top. */
export class World {
  noise = 1.5; landings = []; glide = { from: 0, to: 0, begin: 0, end: 0 };
  now() { return 0; }
  level() { const g = this.glide, t = this.now(); return t >= g.end ? g.to : g.from + ((g.to - g.from) * (t - g.begin)) / (g.end - g.begin); }
  to(pa, seconds = 0) { const from = this.level(), begin = this.now(); this.glide = { from, to: pa, begin, end: begin + seconds * 1e9 }; }
  land(peak = 1500, dip = 90, recovery = 3) { this.landings.push({ t: this.now(), peak, dip, recovery }); }
  gauge() {
    let pa = this.level();
    for (const l of this.landings) {
      const s = (this.now() - l.t) / 1e9;
      if (s >= 0 && s < 0.3) pa += l.peak * Math.sin((Math.PI * s) / 0.3);
      else if (s >= 0.3 && s < 0.3 + 2 * l.recovery) pa -= l.dip * Math.exp((-3 * (s - 0.3)) / l.recovery);
    }
    return pa;
  }
}

const image = fs.readFileSync(process.env.IMAGE ?? new URL('./build/rp2040.bin', import.meta.url));
export const counts = { passed: 0, failed: 0 };
export const results = {};

export function check(what, good, detail = '') {
  counts[good ? 'passed' : 'failed']++;
  console.log(`${good ? 'pass' : 'FAIL'}  ${what}${detail === '' ? '' : `  [${detail}]`}`);
  return good;
}
/** A time in milliseconds that must exist and be at most `most`. */
export function within(what, seconds, most_ms, least_ms = 0) {
  const ms = seconds === null ? null : seconds * 1000;
  return check(what, ms !== null && ms <= most_ms && ms >= least_ms, `${ms === null ? 'never' : ms.toFixed(1)} ms, limit ${least_ms ? `${least_ms} to ` : ''}${most_ms} ms`);
}

export class Bench {
  constructor({ Sensor = Bridge, Second = null, relay = null, flash = new Flash(), senseFitted = true } = {}) {
    this.world = new World();
    this.sensor = new Sensor(this.world);
    this.second = Second && new Second(this.world);
    const sensor = this.second ? new Several(this.sensor, this.second) : this.sensor;
    this.board = new Board({ image, flash, sensor, world: this.world, senseFitted, relay });
    this.receiver = new link.Receiver(); this.messages = []; this.read = 0; this.boots = 1;
  }
  get flash() { return this.board.flash; }
  get permit() { return this.board.levels.permit; }
  get t() { return this.board.now / 1e9; }
  /** Messages that have come until now. */
  poll() {
    const { received } = this.board;
    if (this.board.boots !== this.boots) { this.boots = this.board.boots; this.receiver.bytes = []; }
    for (; this.read < received.length && received[this.read].t <= this.board.now; this.read++) {
      const m = this.receiver.push(received[this.read].b);
      if (m) this.messages.push({ t: received[this.read].t / 1e9, ...m });
    }
    return this.messages;
  }
  run(seconds) { this.board.run(seconds); this.poll(); }
  until(condition, seconds) { const s = this.board.until(condition, seconds); this.poll(); return s; }
  /** Seconds until `pin` has the level `on`. */
  pin(name, on, seconds) {
    if (this.board.levels[name] === on) return 0;
    const begin = this.board.now;
    if (this.until(() => this.board.levels[name] === on, seconds) === null) return null;
    // To the instant, as the condition is looked at only when the processor sleeps.
    return (this.board.edges.find((e) => e.pin === name && e.on === on && e.t >= begin).t - begin) / 1e9;
  }
  /** The next message that `test` takes, waiting for it. */
  hear(test, seconds) {
    const from = this.poll().length;
    let found = null;
    this.board.until(() => (found = this.poll().slice(from).find(test)) !== undefined, seconds);
    return found ?? null;
  }
  last(is) { return this.poll().findLast((m) => m.is === is) ?? null; }
  status() { return this.hear((m) => m.is === 'status', 0.3); }
  state() { return this.status()?.state?.[0]; }
  /** Sends bytes and gives the first answer of the kinds. */
  ask(bytes, kinds, seconds = 1) { this.board.send(bytes); return this.hear((m) => kinds.includes(m.is), seconds); }
  press(seconds) { this.board.setButton(true); this.run(seconds); this.board.setButton(false); }
  /** Sends settings and confirms them with the button held. */
  arm(settings = SITE) {
    this.run(0.1); this.board.setButton(true); this.run(1.2);
    const staged = this.ask(link.offer(settings), ['staged', 'refused']);
    const stored = this.ask(link.confirm(settings), ['stored', 'refused'], 2);
    this.board.setButton(false);
    return { staged, stored };
  }
  /** From a vented bag to riding. */
  ride() {
    this.world.to(0); this.run(4.5);
    this.world.to(SITE.operating_pa, 2);
    return this.pin('permit', true, 20);
  }
  acknowledge() { this.run(5.5); this.press(2.5); return this.pin('permit', true, 20); }
}
