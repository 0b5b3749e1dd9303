// The image with the advisory: the box computes its thresholds in the air that its barometers measure. They are compared,
// bit for bit, with those of the planner for that air, and the steps are timed while it computes.
// usage: IMAGE=IMAGE LANDFALL=COMMAND today.mjs
import fs from 'node:fs';
import { execFileSync } from 'node:child_process';
import { Bench, check, counts, within } from './bench.mjs';
import { Barometers } from './parts.mjs';
import * as link from './link.mjs';

const planner = (...more) => JSON.parse(execFileSync(process.env.LANDFALL,
  ['arm', '--demo', '--sensor', 'barometers', '--revision', '1', '--samples', '5000', '--format', 'json', ...more], { encoding: 'utf8' }));
const { settings, form } = planner();
const bits = (t) => link.THRESHOLDS.map((k) => Buffer.from(new Float32Array([t[k]]).buffer).toString('hex')).join(' ');
const HOT = { pa: 88000, degc: 31 };

const bench = (air, parts = form) => {
  const b = new Bench({ Sensor: Barometers });
  b.board.busy = true;
  Object.assign(b.sensor, { outside_pa: air.pa, degc: air.degc });
  b.hear((m) => m.is === 'hello', 4);
  b.board.setButton(true); b.run(1.2);
  const kinds = ['staged', 'staged_site', 'staged_bags', 'staged_curve', 'stored', 'refused'];
  b.armed = [link.offer(settings), link.offerSite(parts.site), link.offerBags(parts.bags), link.offerCurve(parts.curve), link.confirmWith(settings, parts)].map((bytes) => b.ask(bytes, kinds, 2));
  b.board.setButton(false);
  return b;
};
/** Distances between the steps that were told from a time on, ms. */
const gaps = (b, from, to = Infinity) => {
  const at = b.messages.filter((m) => m.is === 'fed' && m.t >= from && m.t <= to).flatMap((m) => m.steps.map((s) => m.at_us + s.after_us));
  return at.slice(1).map((t, i) => (t - at[i]) / 1000);
};
const regular = (what, all, least) => check(what, all.length >= least && Math.min(...all) > 19 && Math.max(...all) < 21, `${all.length} steps, ${Math.min(...all).toFixed(2)} to ${Math.max(...all).toFixed(2)} ms`);

console.log('--    a hot day high up');
const b = bench(HOT);
check('settings, site, bags and curve come back as understood and are stored', b.armed.map((m) => m?.is).join() === 'staged,staged_site,staged_bags,staged_curve,stored', b.armed.map((m) => m?.kind ?? m?.is).join());
const same = (was, now, bytes) => now !== undefined && JSON.stringify(bytes(now)) === JSON.stringify(bytes(was));
check('site, bags and curve are those that were sent', same(form.site, b.armed[1]?.site, link.formBytes) && same(form.bags, b.armed[2]?.bags, link.bagsBytes)
  && same(form.curve, b.armed[3]?.curve, link.curveBytes));
const computing = b.hear((m) => m.is === 'today' && m.verdict === 'computing', 6);
const found = b.hear((m) => m.is === 'today' && m.verdict === 'today', 30);
check('today\'s thresholds are computed and hold', found !== null, `${found?.verdict}, computed in ${(found?.t - computing?.t).toFixed(2)} s, ${(found?.air[0] / 100).toFixed(2)} hPa, ${(found?.air[1] - 273.15).toFixed(2)} °C`);
if (found) {
  const of = planner('--today-pressure', `${found.air[0]} Pa`, '--today-temperature', `${found.air[1]} K`);
  check('the planned ones are the planner\'s to the bit', bits(found.planned) === bits(of.settings));
  check('computed on the box: the planner\'s bits for this air', bits(found.computed) === bits(of.today.computed), `rest ${found.computed.operating_pa.toFixed(1)}, stop ${found.computed.stop_pa.toFixed(1)}, wait ${found.computed.wait_pa.toFixed(1)} Pa`);
  check('what holds: the planner\'s bits', bits(found.in_force) === bits(of.today.in_force) && of.today.refused === null);
  check('it differs from the plan, and no limit is laxer', bits(found.in_force) !== bits(found.planned) && found.in_force.stop_pa > found.planned.stop_pa && found.in_force.wait_pa >= found.planned.wait_pa && found.in_force.high_pa <= found.planned.high_pa,
    `rest ${found.planned.operating_pa.toFixed(1)} to ${found.in_force.operating_pa.toFixed(1)}, stop ${found.planned.stop_pa.toFixed(1)} to ${found.in_force.stop_pa.toFixed(1)}, wait ${found.planned.wait_pa.toFixed(1)} to ${found.in_force.wait_pa.toFixed(1)} Pa`);
  regular('steps every 20 ms while it computed', gaps(b, computing.t - 0.3, found.t + 0.3), 25);
  const noted = b.hear((m) => m.is === 'event' && m.kind === 'today', 1) ?? b.messages.find((m) => m.is === 'event' && m.kind === 'today' && m.verdict === 'today');
  check('and it is noted in the log', noted?.stop_pa === found.in_force.stop_pa);
  b.run(2); b.world.to(found.in_force.operating_pa, 2);
  check('rides at today\'s resting pressure', b.pin('permit', true, 25) !== null);
  b.run(1);
  // Between the two stop pressures, with the sensor's error above each: only today's stops.
  b.world.to(found.in_force.stop_pa + settings.sensor_error_pa - 3);
  within('stops at today\'s stop pressure', b.pin('siren', true, 1), 200);
  check('the settings in flash are the planned ones', b.ask(link.readSettings(), ['settings'])?.settings?.stop_pa === Math.fround(settings.stop_pa));
}

console.log('--    riding while it computes, with a bag that nobody has measured and blowers behind a long duct');
// The duct is what makes it compute for longest. A shorter way to the bag, so that this bag can be ridden as well.
const assumed = { Assumed: { body_m2: 0.5, growth_m: 6, limit_m2: 4 } };
const r = bench({ pa: 96000, degc: 17 }, { ...form, site: { ...form.site, riders: { ...form.site.riders, commitment_s: 0.2 }, blowers: { ...form.site.blowers, duct_loss: 1.8, duct_diameter_m: 0.3 } },
  bags: { ...form.bags, area: assumed, soft: { area: [0.8, 0.8, 0.8], stretch: 1.1 }, firm: { area: [1.3, 1.3, 1.3], stretch: 0.9 } } });
const first = r.hear((m) => m.is === 'today' && m.verdict === 'computing', 6);
const done = r.hear((m) => m.is === 'today' && m.verdict !== 'computing', 90);
console.log(`--    three bags: ${(done.t - first.t).toFixed(2)} s; ${done.verdict}`);
check('today\'s thresholds are computed from three bags', done.verdict === 'today', done.verdict);
const resting = (done.in_force ?? done.planned).operating_pa;
r.run(2); r.world.to(resting, 1);
check('rides', r.pin('permit', true, 30) !== null);
r.run(1);
r.sensor.outside_pa = 94000;
r.run(4);
check('while the permit is on nothing is computed', r.last('today').verdict === done.verdict, r.last('today').verdict);
r.world.land(400, 40, 1);
check('a landing opens the permit, and it computes', r.hear((m) => m.is === 'today' && m.verdict === 'computing', 3) !== null);
const began = r.t;
r.run(0.3);
r.world.to(300, 0.05);
within('the bag goes down meanwhile: siren', r.pin('siren', true, 1), 200);
check('still computing', r.last('today').verdict === 'computing');
r.hear((m) => m.is === 'today' && m.verdict !== 'computing', 5); r.run(1);
check('what it has found waits until a person has acknowledged', r.last('today').verdict === 'waiting' && r.state() === 'stop', r.last('today').verdict);
regular('steps every 20 ms meanwhile', gaps(r, began), 50);

console.log('--    air in which the bag rests too low');
const thin = bench({ pa: 65000, degc: 40 });
const none = thin.hear((m) => m.is === 'today' && m.air && !['computing', 'waiting'].includes(m.verdict), 30);
check('computed: no pressure to ride at', ['no_wait', 'out_of_order', 'no_stop'].includes(none?.verdict), none?.verdict);
thin.run(1); thin.world.to(settings.operating_pa, 2);
check('no permit even at the planned pressure', thin.pin('permit', true, 25) === null && thin.last('status').state?.[1] === 'no_band', String(thin.last('status').state));
check('no byte was lost on the line, no frame broken', !r.board.overruns && !b.board.overruns && r.receiver.broken + b.receiver.broken === 0);
check('no reset, no instruction from flash while it was busy', r.board.boots === 1 && b.board.boots === 1 && r.board.flashFetches + b.board.flashFetches === 0);
const longest = Math.max(...r.messages.filter((m) => m.is === 'status' && m.t > began).map((m) => m.step_us));
console.log(`--    longest step while computing: ${longest} us`);
console.log(`--    deepest stack seen: ${0x20040000 - Math.min(r.board.lowestStack, b.board.lowestStack)} bytes`);
console.log(`${counts.passed} passed, ${counts.failed} failed`);
process.exit(counts.failed ? 1 : 0);
