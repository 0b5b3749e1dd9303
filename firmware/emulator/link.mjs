// The link's messages, written from LINK.md and not from the program.

export function crc32(bytes) {
  let c = 0xffffffff;
  for (const b of bytes) { c ^= b; for (let i = 0; i < 8; i++) c = c & 1 ? (c >>> 1) ^ 0xedb88320 : c >>> 1; }
  return ~c >>> 0;
}
const le32 = (v) => [v & 255, (v >>> 8) & 255, (v >>> 16) & 255, v >>> 24];

function stuff(bytes) {
  const out = [0]; let mark = 0;
  for (const b of bytes) {
    if (b !== 0) out.push(b);
    if (b === 0 || out.length - mark === 255) { out[mark] = out.length - mark; mark = out.length; out.push(0); }
  }
  out[mark] = out.length - mark;
  return out;
}
function unstuff(bytes) {
  const out = [];
  for (let i = 0; i < bytes.length;) {
    const n = bytes[i];
    if (n === 0 || i + n > bytes.length) return null;
    out.push(...bytes.slice(i + 1, i + n)); i += n;
    if (n < 255 && i < bytes.length) out.push(0);
  }
  return out;
}
export const frame = (body) => [...stuff([...body, ...le32(crc32(body))]), 0];

// --- to the box
const varint = (v) => { const out = []; let x = BigInt(v); do { const b = Number(x & 127n); x >>= 7n; out.push(x ? b | 128 : b); } while (x); return out; };
const f32 = (v) => [...new Uint8Array(new Float32Array([v]).buffer)];
/** In the order of the settings' fields. */
export const SETTINGS = ['stop_pa', 'wait_pa', 'half_way_pa', 'operating_pa', 'high_pa', 'pressure_max_pa', 'needed_s', 'recovery_s', 'landing_dip_pa',
  'landing_spike_pa', 'landing_peak_pa', 'interval_s', 'supply_sense', 'sensor_low_pa', 'sensor_high_pa', 'sensor_step_pa', 'sensor_error_pa',
  'noise_low_pa', 'noise_high_pa', 'rate_limit_paps', 'zero_limit_pa', 'sensor_noise_pa'];
export const settingsBytes = (s) => [...varint(s.version), ...varint(s.site_id), ...varint(s.revision),
  ...SETTINGS.flatMap((k) => (k === 'supply_sense' ? [+s[k]] : f32(s[k]))), ...((s.version & 255) >= 3 ? partsBytes(s.parts) : [])];
/** Behind settings of layout 3: what else is fitted. */
const SECONDS = ['bridge', 'barometers'];
const optional = (v, f) => (v === null ? [0] : [1, ...f(v)]);
const partsBytes = (p) => [+p.permit_pulses, ...optional(p.readback_s, f32),
  ...optional(p.second, (s) => [SECONDS.indexOf(s.kind), ...f32(s.error_pa), ...f32(s.noise_pa), ...f32(s.zero_limit_pa)]),
  ...optional(p.battery, (b) => [...f32(b.full_v), ...f32(b.empty_v), ...f32(b.lasts_s), ...f32(b.session_s)]), p.blowers];
export const identify = () => frame([0]);
export const readSettings = () => frame([1]);
export const readLog = (from) => frame([2, ...varint(from)]);
export const offer = (s) => frame([3, ...settingsBytes(s)]);
export const confirm = (s) => frame([4, ...varint(crc32(settingsBytes(s)))]);

/** The compact site's fields in their order; those that are no f32 with their kind, and the parts with theirs. */
export const FORM = ['version:int', 'air_pressure_pa', 'air_temperature_k',
  { openings: ['vent_area_m2', 'relief_area_m2', 'relief_opens_pa', 'relief_full_pa', 'leak_coefficient', 'leak_exponent', 'discharge:discharge'] },
  { blowers: ['count:u8', 'speed', 'duct_loss', 'duct_diameter_m', 'closing_flap:bool', 'backflow_area_m2:opt'] },
  { bag: ['volume_m3', 'skin_kgpm2', 'skin_loss', 'pressure_min_pa', 'pressure_max_pa', 'depth_limit', 'load_stop_g', 'stop_floor', 'thickness_m', 'slope_rad'] },
  { riders: ['heaviest_kg', 'lightest_kg', 'hard_speed_mps', 'mean_landing:mean', 'commitment_s:opt', 'reaction_s'] },
  'soft_speed_mps', { sensing: ['supply_sense:bool', 'sensor:sensor'] }];
const DISCHARGES = ['low_pressure', 'isentropic', 'isentropic_rising'];
const WRITE = { int: varint, u8: (v) => [v], opt: (v) => (v === null ? [0] : [1, ...f32(v)]), bool: (v) => [+v], sensor: (v) => [...f32(v.error_pa), ...f32(v.noise_pa)],
  mean: (v) => (v === null ? [0] : [1, ...f32(v.mass_kg), ...f32(v.normal_speed_mps), ...f32(v.thickness_m)]),
  discharge: (v) => (typeof v === 'string' ? [DISCHARGES.indexOf(v)] : Object.entries(v).flatMap(([law, { coefficient }]) => [DISCHARGES.indexOf(law), ...f32(coefficient)])) };
/** Each field, or part of several, of a list like FORM: its name, its kind, and the list of a part. */
const fields = (list) => list.map((field) => { if (typeof field === 'string') { const [key, kind] = field.split(':'); return { key, kind }; } const [[key, part]] = Object.entries(field); return { key, part }; });
export const formBytes = (site, list = FORM) => fields(list).flatMap(({ key, kind, part }) => (part ? formBytes(site[key], part) : (WRITE[kind] ?? f32)(site[key])));
const areaBytes = ({ Assumed: a, Measured: m }) => (a ? [0, ...f32(a.body_m2), ...f32(a.growth_m), ...f32(a.limit_m2)]
  : [1, ...f32(m.start_m2), m.count, ...m.knots.flatMap((k) => [...f32(k.depth_m), ...f32(k.area_m2)])]);
const factorBytes = (f) => [...f.area.flatMap(f32), ...f32(f.stretch)];
export const bagsBytes = (b) => [...areaBytes(b.area), ...f32(b.stretch_per_pa), ...factorBytes(b.soft), ...factorBytes(b.firm)];
export const curveBytes = (c) => [c.count, ...c.flow_m3ps.flatMap(f32), ...c.pressure_pa.flatMap(f32)];
export const forget = (id) => frame([5, ...varint(id)]);
export const offerSite = (site) => frame([6, ...formBytes(site)]);
export const offerBags = (bags) => frame([7, ...bagsBytes(bags)]);
export const offerCurve = (curve) => frame([8, ...curveBytes(curve)]);
export const readToday = () => frame([9]);
export const stateAir = (pa, k) => frame([10, ...f32(pa), ...f32(k)]);
export const readCalibration = () => frame([11]);
export const calibrationBytes = (c) => [...le32(c.version).slice(0, 2), ...f32(c.span), ...le32(c.at_s), c.reference, ...[...c.name.padEnd(16, '\0')].map((x) => x.charCodeAt(0)),
  ...[c.reference_pa, c.reference_error_pa, c.zero_pa, c.span_error].flatMap(f32)];
export const calibrate = (bytes) => frame([12, ...bytes]);
export const confirmWith = (s, { site, bags, curve }) => frame([4, ...varint(crc32([...settingsBytes(s), ...formBytes(site), ...bagsBytes(bags), ...curveBytes(curve)]))]);

// --- from the box
const STATES = ['check', 'fill', 'ride', 'wait', 'stop', 'fault', 'ended'];
const REASONS = ['normal', 'starting', 'filling', 'settling', 'testing', 'low_air', 'landing', 'slow_recovery', 'slow_leak', 'too_firm', 'over_pressure', 'air_lost',
  'air_falling', 'supply_cut', 'unacknowledged', 'not_believed', 'no_band', 'ending', 'left_off', 'tube_unproven',
  'top_silent', 'top_strange', 'top_held',
  'blower_still', 'battery_low', 'self_test_failed'];
const FAULTS = ['nack', 'crc', 'bus_stuck', 'out_of_range', 'not_ready', 'stale', 'identity', 'disagree', 'rate', 'frozen', 'noisy', 'temperature', 'late', 'clock',
  'zero_refused', 'sense_missing', 'button_stuck', 'permit_stuck', 'permit_open', 'second_lost'];
const CAUSES = ['power_on', 'brown_out', 'watchdog', 'software', 'unknown'];
const VERDICTS = ['today', 'no_settings', 'no_site', 'no_air', 'air_not_believed', 'computing', 'waiting', 'refused', 'not_converged', 'no_stop', 'no_wait', 'no_high',
  'never_back', 'out_of_order'];
export const THRESHOLDS = ['operating_pa', 'stop_pa', 'wait_pa', 'high_pa', 'needed_s', 'recovery_s', 'landing_dip_pa', 'landing_spike_pa', 'landing_peak_pa'];
const TESTED = ['pending', 'good', 'failed', 'impossible'];
const SENSORS = ['bridge', 'thermal', 'barometers'];

class Reader {
  constructor(bytes) { this.b = bytes; this.i = 0; }
  u8() { if (this.i >= this.b.length) throw new Error('message too short'); return this.b[this.i++]; }
  bool() { const v = this.u8(); if (v > 1) throw new Error('not a bool'); return v === 1; }
  int() { let v = 0n, s = 0n, b; do { b = this.u8(); v |= BigInt(b & 127) << s; s += 7n; } while (b & 128); return Number(v); }
  f32() { const v = new DataView(new Uint8Array([this.u8(), this.u8(), this.u8(), this.u8()]).buffer).getFloat32(0, true); return v; }
  opt(f) { return this.bool() ? f() : null; }
  word(list) { const i = this.int(); if (!(i in list)) throw new Error(`no word ${i}`); return list[i]; }
  settings() { const s = { version: this.int(), site_id: this.int(), revision: this.int() }; for (const k of SETTINGS) s[k] = k === 'supply_sense' ? this.bool() : this.f32(); if ((s.version & 255) >= 3) s.parts = this.parts(); return s; }
  parts() {
    return { permit_pulses: this.bool(), readback_s: this.opt(() => this.f32()),
      second: this.opt(() => ({ kind: this.word(SECONDS), error_pa: this.f32(), noise_pa: this.f32(), zero_limit_pa: this.f32() })),
      battery: this.opt(() => ({ full_v: this.f32(), empty_v: this.f32(), lasts_s: this.f32(), session_s: this.f32() })), blowers: this.u8() };
  }
  tested() { return { program: this.word(TESTED), memory: this.word(TESTED), clock: this.word(TESTED) }; }
  what() {
    switch (this.int()) {
      case 0: return { kind: 'started', cause: this.word(CAUSES), site_id: this.int(), revision: this.int() };
      case 1: return { kind: 'zeroed', offset_pa: this.f32(), stored: this.bool() };
      case 2: return { kind: 'changed', from: this.word(STATES), to: this.word(STATES), reason: this.word(REASONS), gauge_pa: this.opt(() => this.f32()) };
      case 3: return { kind: 'faulted', fault: this.word(FAULTS) };
      case 4: return { kind: 'acknowledged' };
      case 5: return { kind: 'landed', count: this.int(), ago_s: this.f32(), peak_pa: this.f32(), dip_pa: this.f32(), recovery_s: this.opt(() => this.f32()) };
      case 6: return { kind: 'self_tested', ...this.tested() };
      case 7: return { kind: 'blower', which: this.u8(), runs: this.bool() };
      case 8: return { kind: 'battery', voltage_v: this.f32(), left_s: this.f32() };
      default: throw new Error('unknown event');
    }
  }
  entry() {
    const e = { boot: this.int(), at_us: this.int() };
    switch (this.int()) {
      case 0: return { ...e, ...this.what() };
      case 1: return { ...e, kind: 'kept', zero_pa: this.opt(() => this.f32()), unacknowledged: this.bool(), duty: this.bool() };
      case 2: return { ...e, kind: 'booted', cause: this.word(CAUSES) };
      case 3: return { ...e, kind: 'settings', site_id: this.int(), revision: this.int() };
      case 4: return { ...e, kind: 'forgotten' };
      case 5: return { ...e, kind: 'hour', landings: this.int(), slow: this.int(), waits: this.int(), permit_steps: this.int(), least_pa: this.f32(), peak_pa: this.f32(), dip_pa: this.f32(), recovery_s: this.f32() };
      case 6: return { ...e, kind: 'today', verdict: this.word(VERDICTS), air: this.opt(() => [this.f32(), this.f32()]), stop_pa: this.f32(), wait_pa: this.f32(), high_pa: this.f32() };
      case 7: return { ...e, kind: 'calibrated', span: this.f32() };
      default: throw new Error('unknown entry');
    }
  }
  form(list = FORM) {
    const READ = { int: () => this.int(), u8: () => this.u8(), opt: () => this.opt(() => this.f32()), bool: () => this.bool(),
      mean: () => this.opt(() => ({ mass_kg: this.f32(), normal_speed_mps: this.f32(), thickness_m: this.f32() })), sensor: () => ({ error_pa: this.f32(), noise_pa: this.f32() }),
      discharge: () => { const law = this.word(DISCHARGES); return law === 'isentropic_rising' ? law : { [law]: { coefficient: this.f32() } }; } };
    return Object.fromEntries(fields(list).map(({ key, kind, part }) => [key, part ? this.form(part) : kind ? READ[kind]() : this.f32()]));
  }
  bags() {
    const area = this.word(['assumed', 'measured']) === 'assumed' ? { Assumed: { body_m2: this.f32(), growth_m: this.f32(), limit_m2: this.f32() } }
      : { Measured: { start_m2: this.f32(), count: this.u8(), knots: Array.from({ length: 12 }, () => ({ depth_m: this.f32(), area_m2: this.f32() })) } };
    const factors = () => ({ area: [this.f32(), this.f32(), this.f32()], stretch: this.f32() });
    return { area, stretch_per_pa: this.f32(), soft: factors(), firm: factors() };
  }
  thresholds() { return Object.fromEntries(THRESHOLDS.map((k) => [k, this.f32()])); }
  reading() { return this.int() === 0 ? { pa: this.f32() } : { fault: this.word(FAULTS.slice(0, 8)) }; }
  refusal() {
    const kind = this.word(['impossible', 'foreign', 'stale', 'sensor_range', 'not_staged', 'button', 'flash', 'frame', 'on_duty']);
    if (kind === 'foreign' || kind === 'stale') return { kind, has: this.int() };
    return kind === 'sensor_range' ? { kind, range_pa: this.f32() } : { kind };
  }
  message() {
    const kind = this.int();
    switch (kind) {
      case 0: return { is: 'hello', protocol: this.u8(), program: [this.u8(), this.u8(), this.u8()], boot: this.int(), cause: this.word(CAUSES),
        sensor: this.opt(() => this.word(SENSORS)), range_pa: this.f32(), settings: this.opt(() => [this.int(), this.int()]) };
      case 1: return { is: 'status', at_us: this.int(), state: this.opt(() => [this.word(STATES), this.word(REASONS)]), permit: this.bool(), siren: this.bool(),
        fault: this.opt(() => this.word(FAULTS)), gauge_pa: this.opt(() => this.f32()), supply: this.opt(() => this.bool()), button: this.bool(), landings: this.int(),
        since_landing_s: this.opt(() => this.f32()), forecast_s: this.opt(() => this.f32()), density_kgpm3: this.opt(() => this.f32()), temperature_degc: this.opt(() => this.f32()), step_us: this.int(), lost: this.int() };
      case 2: return { is: 'event', ...this.entry() };
      case 3: return { is: 'logged', sequence: this.int(), ...this.entry() };
      case 4: return { is: 'log_end', next: this.int(), sent: this.int() };
      case 5: return { is: 'settings', settings: this.opt(() => this.settings()) };
      case 6: return { is: 'staged', settings: this.settings() };
      case 7: return { is: 'stored', settings: this.settings() };
      case 8: return { is: 'refused', ...this.refusal() };
      case 9: return { is: 'fed', at_us: this.int(), steps: Array.from({ length: 5 }, () => ({ after_us: this.int(), ...this.reading(),
        supply: this.opt(() => this.bool()), button: this.bool() })) };
      case 10: return { is: 'reading', sent: this.int() };
      case 11: return { is: 'forgot', floor: this.int() };
      case 12: return { is: 'staged_site', site: this.form() };
      case 13: return { is: 'staged_bags', bags: this.bags() };
      case 14: return { is: 'staged_curve', curve: { count: this.u8(), flow_m3ps: Array.from({ length: 16 }, () => this.f32()), pressure_pa: Array.from({ length: 16 }, () => this.f32()) } };
      case 15: { const thresholds = () => this.opt(() => this.thresholds());
        return { is: 'today', verdict: this.word(VERDICTS), air: this.opt(() => [this.f32(), this.f32()]), planned: thresholds(), computed: thresholds(), in_force: thresholds() }; }
      case 16: return { is: 'beside', contact: this.opt(() => this.bool()), second_pa: this.opt(() => this.f32()), battery_v: this.opt(() => this.f32()),
        left_s: this.opt(() => this.f32()), still: this.u8(), self_test: this.tested() };
      case 17: return { is: 'calibration', bytes: Array.from({ length: 43 }, () => this.u8()) };
      default: throw new Error(`unknown message ${kind}`);
    }
  }
}

/** Collects frames; broken ones are counted. */
export class Receiver {
  bytes = []; broken = 0;
  push(b) {
    if (b !== 0) { this.bytes.push(b); return null; }
    const body = unstuff(this.bytes); const empty = this.bytes.length === 0; this.bytes = [];
    if (empty) return null;
    if (!body || body.length < 4 || crc32(body.slice(0, -4)) !== (new DataView(new Uint8Array(body.slice(-4)).buffer)).getUint32(0, true)) { this.broken++; return null; }
    const reader = new Reader(body.slice(0, -4)), message = reader.message();
    if (reader.i !== reader.b.length) throw new Error('message too long');
    return message;
  }
}
