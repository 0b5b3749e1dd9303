//! The watch: from readings to facts, from facts to outputs.

use super::beside::BesideWatch;
use super::clock::{Clock, Tick};
use super::decide::{Air, Change, Decider, Durations, Facts, Leak, ZeroState};
use super::event::{Event, Fault, GaugePa, Reason, State, TimeUs, What};
use super::filter::{Fall, Quick, SLOT_S, STOP_SLOTS, Slots, Trend};
use super::input::{EVENTS, Input, Output, Start};
use super::landing::{Landing, LandingDetector};
use super::plausibility::{Bounds, Plausibility, TEMPERATURE_DEGC};
use super::settings::WatchSettings;
use super::signal::{pins, trial};
use super::thresholds::Thresholds;
use super::tube::Tube;
use super::zero::Zero;
use crate::error::InputError;

/// A sensor may take this long after the start to give its first readings. *Assumed*.
pub const START_GRACE_US: u64 = 500_000;
/// The pressure must be high this long to count as high: longer than any landing's spike.
pub const HIGH_MS: u32 = 2500;
/// Bins of the slow trend: 1 s, of which 60 are kept. *Assumed*.
pub const SLOW_BIN_SLOTS: u16 = 50;
/// Windows of the slow trend, and how many bins in each must be at rest: the short one catches a leak that has
/// just begun, the long one a slow one. *Assumed*.
pub const SLOW_WINDOWS: [(usize, u16); 2] = [(20, 8), (60, 10)];
/// The line must fall by this many deadbands within the window. *Assumed*.
pub const SLOW_DEADBANDS: f32 = 1.5;
/// Bins of the fast trend: 0.1 s, eight of them. *Assumed*.
pub const FAST_BIN_SLOTS: u16 = 5;
/// How many.
pub const FAST_BINS: usize = 8;
/// The permit goes when the slow trend reaches the stop pressure within this many times `needed_s`. *Assumed*.
pub const LEAK_FACTOR: f32 = 2.0;
/// The button is stuck when it has been down for longer than this.
pub const BUTTON_STUCK_MS: u32 = 30_000;
/// A bag whose pressure is under this share of the stop pressure lies flat. *Assumed*.
const FLAT_SHARE: f32 = 0.25;

/// The watch over one bag. See the [module text](super).
#[derive(Clone, Debug)]
pub struct Watch {
    settings: WatchSettings,
    levels: Levels,
    bounds: Bounds,
    times: Durations,
    start: Start,
    decider: Decider,
    clock: Clock,
    plausibility: Plausibility,
    tube: Tube,
    zero: Zero,
    beside: BesideWatch,
    slots: Slots,
    quick: Quick,
    landing: LandingDetector,
    slow_trend: Trend<60>,
    fast_trend: Trend<FAST_BINS>,
    last_empty: Fault,
    off_bits: u8,
    no_sense: u8,
    button_ms: u32,
    high_ms: u32,
    over_ms: u32,
    forecast_s: Option<f32>,
    fast_forecast_s: Option<f32>,
    entered_us: u64,
    trial_us: u64,
    landed_us: Option<u64>,
    was_landing: bool,
    withheld: bool,
    top: Option<Reason>,
}

/// Levels computed once from the settings.
#[derive(Clone, Copy, Debug)]
struct Levels {
    trip_pa: f32,
    hold_pa: f32,
    ready_pa: f32,
    half_pa: f32,
    deadband_pa: f32,
}

impl Levels {
    fn of(settings: &WatchSettings) -> Self {
        Self {
            trip_pa: settings.trip_pa(),
            hold_pa: settings.hold_pa(),
            ready_pa: settings.ready_pa(),
            half_pa: settings.half_way_pa + settings.sensor_error_pa,
            deadband_pa: settings.deadband_pa(),
        }
    }
}

impl Watch {
    /// Begins a watch. For new settings make a new one, with the last output's zero and `unacknowledged`.
    ///
    /// # Errors
    /// What [`WatchSettings::validate`] finds.
    pub fn new(settings: WatchSettings, start: Start) -> Result<Self, InputError> {
        settings.validate()?;
        let mut zero = Zero::new(start.stored_zero_pa, settings.zero_limit_pa, settings.noise_high_pa);
        if start.duty {
            zero.resume();
        }
        Ok(Self {
            levels: Levels::of(&settings),
            bounds: Bounds {
                low_pa: settings.sensor_low_pa,
                high_pa: settings.sensor_high_pa,
                rate_paps: settings.rate_limit_paps,
                frozen_span_pa: settings.noise_low_pa,
                noise_high_pa: settings.noise_high_pa,
            },
            times: Durations::standard(settings.recovery_s, settings.needed_s),
            decider: Decider::new(start.unacknowledged, start.duty),
            clock: Clock::new(),
            plausibility: Plausibility::new(),
            tube: Tube::new(settings.sensor_noise_pa, start.duty),
            zero,
            beside: BesideWatch::new(&settings, start.duty),
            slots: Slots::new(),
            quick: Quick::new(),
            landing: LandingDetector::new(settings.landing_spike_pa, settings.deadband_pa(), settings.recovery_s),
            slow_trend: Trend::new(SLOW_BIN_SLOTS),
            fast_trend: Trend::new(FAST_BIN_SLOTS),
            last_empty: Fault::NotReady,
            off_bits: 0,
            no_sense: 0,
            button_ms: 0,
            high_ms: 0,
            over_ms: 0,
            forecast_s: None,
            fast_forecast_s: None,
            entered_us: 0,
            trial_us: 0,
            landed_us: None,
            was_landing: false,
            withheld: false,
            top: None,
            settings,
            start,
        })
    }

    /// Withholds the permit, or no more: for air in which no pressure is known to ride at. All else goes on, and a stop
    /// is acknowledged as ever.
    pub fn withhold(&mut self, withheld: bool) {
        self.withheld = withheld;
    }

    /// What is wrong with the board at the top, or nothing: it withholds the permit as [`Watch::withhold`] does, and says so.
    pub fn hear_of_top(&mut self, wrong: Option<Reason>) {
        self.top = wrong;
    }

    /// Takes other thresholds of the same site and revision under way, for [`in_force`](super::in_force). False, and
    /// nothing has changed, while the permit is on, the siren is called for or a person must acknowledge, and where the
    /// set is refused.
    pub fn adopt(&mut self, settings: &WatchSettings) -> bool {
        let same = settings.site_id == self.settings.site_id && settings.revision == self.settings.revision;
        let quiet = matches!(self.decider.state(), State::Check | State::Fill | State::Wait | State::Ended)
            && !(self.decider.permit() || self.decider.siren());
        // Thresholds only: what a site's box measures with stays.
        let next = Thresholds::of(settings).put_into(&self.settings);
        if !(same && quiet && next.validate().is_ok()) {
            return false;
        }
        self.settings = next;
        self.levels = Levels::of(&self.settings);
        self.times = Durations::standard(self.settings.recovery_s, self.settings.needed_s);
        self.landing.expect(self.settings.landing_spike_pa, self.levels.deadband_pa, self.settings.recovery_s);
        true
    }

    /// The settings in use.
    #[must_use]
    pub fn settings(&self) -> &WatchSettings {
        &self.settings
    }

    /// Nobody rides, and nothing is being tried: the board may stand still for a moment. Say so with [`Watch::pause`].
    #[must_use]
    pub fn may_pause(&self) -> bool {
        let idle = matches!(self.decider.state(), State::Fill | State::Ended);
        idle && !self.decider.duty() && !self.decider.testing() && self.button_ms == 0
    }

    /// The board stood still until `now`: the steps that are missing are not counted as late. Heeded where
    /// [`Watch::may_pause`].
    pub fn pause(&mut self, now: TimeUs) {
        if self.may_pause() && self.clock.started {
            self.plausibility.skip(self.clock.skip(now));
        }
    }

    /// The finite part, for display and tests.
    #[must_use]
    pub fn decider(&self) -> &Decider {
        &self.decider
    }

    /// One step: call it every 20 ms.
    pub fn step(&mut self, input: &Input) -> Output {
        let first = !self.clock.started;
        let tick = self.clock.tick(input.now);
        let mut events = heapless::Vec::new();
        let mut log = |what| {
            // Room for every event that a step can bring; one too many would be dropped.
            let _ = events.push(Event { at: input.now, what });
        };
        if first {
            let (site_id, revision) = (self.settings.site_id, self.settings.revision);
            log(What::Started { cause: self.start.cause, site_id, revision });
            if self.zero.state() == ZeroState::Known {
                log(What::Zeroed { offset_pa: self.zero.offset_pa(), stored: true });
            }
        }
        self.button_ms = if input.button {
            self.button_ms.saturating_add(u32::from(tick.dt_ms)).min(2 * BUTTON_STUCK_MS)
        } else {
            0
        };
        let mut landing = None;
        if tick.slots > 0 {
            if self.take(input, &tick) {
                log(What::Zeroed { offset_pa: self.zero.offset_pa(), stored: self.zero.from_store() });
            }
            landing = self.analyse(&tick);
        }
        let told = self.decider.told();
        self.beside.step(&input.beside, tick.dt_ms, told, &mut log);
        let gauge_pa = self.slots.median_pa();
        let facts = self.facts(input, &tick, gauge_pa);
        let change = self.decider.step(&facts, &self.times);
        if let Some(fault) = change.fault_began {
            log(What::Faulted(fault));
        }
        if let Some(landing) = landing {
            log(What::Landed(landing));
        }
        if change.acknowledged {
            log(What::Acknowledged);
        }
        if let Some(from) = change.from {
            log(What::Changed { from, to: self.decider.state(), reason: self.decider.reason(), gauge_pa });
        }
        self.apply(&change);
        self.output(gauge_pa, landing, events)
    }

    /// Enters the slots since the last step; true when the zero has just become known.
    fn take(&mut self, input: &Input, tick: &Tick) -> bool {
        for _ in 1..tick.slots {
            self.last_empty = Fault::Late;
            self.enter(None);
            self.tube.push(None, 0);
        }
        // The supply's last three slots, one bit each, set when off; missed ones are taken to have been as now.
        for _ in 0..tick.slots {
            self.off_bits = (self.off_bits << 1 | u8::from(input.supply == Some(false))) & 0b111;
        }
        self.no_sense =
            if self.settings.supply_sense && input.supply.is_none() { self.no_sense.saturating_add(1) } else { 0 };
        let mut zeroed = false;
        let reading = match self.believe(input, tick) {
            Ok(raw_pa) => {
                zeroed = self.zero.push(raw_pa);
                Some(raw_pa - self.zero.offset_pa())
            }
            Err(fault) => {
                self.last_empty = fault;
                None
            }
        };
        self.tube.push(reading, tick.dt_ms);
        let zero_known = self.zero.state() == ZeroState::Known;
        self.beside.compare(reading.filter(|_| zero_known), input.beside.second);
        self.enter(reading);
        zeroed
    }

    fn believe(&mut self, input: &Input, tick: &Tick) -> Result<f32, Fault> {
        let warm = input.temperature_degc.is_none_or(|t| t >= TEMPERATURE_DEGC.0 && t <= TEMPERATURE_DEGC.1);
        let reading = match input.reading {
            _ if tick.wrong => Err(Fault::Clock),
            Err(fault) => Err(Fault::from_sensor(fault)),
            Ok(_) if !warm => Err(Fault::Temperature),
            Ok(GaugePa(raw_pa)) => return self.plausibility.take(raw_pa, tick.dt_us, &self.bounds_now()),
        };
        self.plausibility.skip(tick.dt_us);
        reading
    }

    /// Wind draws a flat bag's pressure below the outside's; only a bag that has air cannot be there.
    fn bounds_now(&self) -> Bounds {
        let flat = match self.slots.median_pa() {
            Some(pa) => pa <= FLAT_SHARE * self.settings.stop_pa,
            None => !self.decider.duty() || self.decider.state() == State::Stop,
        };
        let low_pa = self.bounds.low_pa;
        Bounds { low_pa: if flat { (3.0 * low_pa).min(-0.5 * self.settings.stop_pa) } else { low_pa }, ..self.bounds }
    }

    fn enter(&mut self, reading_pa: Option<f32>) {
        self.slots.push(reading_pa);
        if let Some(p) = reading_pa {
            self.quick.push(p);
        }
    }

    /// Landings and trends, once per step with a slot.
    fn analyse(&mut self, tick: &Tick) -> Option<Landing> {
        let Some(median_pa) = self.slots.median_pa() else {
            self.slow_trend.clear();
            self.fast_trend.clear();
            return None;
        };
        let dt_ms = u32::from(tick.dt_ms);
        let on_duty = matches!(self.decider.state(), State::Ride | State::Wait | State::Stop);
        if !on_duty || (self.decider.state() == State::Stop && !self.landing.active()) {
            self.landing.forget();
        }
        let landing = self.landing.step(self.quick.median_pa(), median_pa, dt_ms);
        if self.landing.active() && !self.was_landing {
            self.landed_us = Some(self.clock.us);
        }
        self.was_landing = self.landing.active();
        self.follow_trends(median_pa, on_duty);
        let lower_pa = self.levels.deadband_pa;
        self.high_ms = held(self.high_ms, dt_ms, median_pa, self.settings.high_pa, lower_pa);
        self.over_ms = held(self.over_ms, dt_ms, median_pa, self.settings.pressure_max_pa, lower_pa);
        landing
    }

    fn follow_trends(&mut self, median_pa: f32, on_duty: bool) {
        if !on_duty || self.decider.state() == State::Stop {
            self.slow_trend.clear();
            self.fast_trend.clear();
            self.forecast_s = None;
            self.fast_forecast_s = None;
            return;
        }
        let resting = (!self.landing.active()).then_some(median_pa);
        if self.slow_trend.push(resting.filter(|_| !self.landing.slow())) {
            self.forecast_s = None;
            for (newest, least) in SLOW_WINDOWS {
                let fall = self.slow_trend.fall(newest, least, SLOW_DEADBANDS * self.levels.deadband_pa);
                if let Some(t) = self.forecast(fall, SLOW_BIN_SLOTS) {
                    self.forecast_s = Some(self.forecast_s.map_or(t, |other| other.min(t)));
                }
            }
        }
        if self.fast_trend.push(resting) {
            let fall = self.fast_trend.fall(FAST_BINS, 6, self.levels.deadband_pa);
            self.fast_forecast_s = self.forecast(fall, FAST_BIN_SLOTS);
        }
    }

    fn forecast(&self, fall: Option<Fall>, bin_slots: u16) -> Option<f32> {
        let bin_s = SLOT_S * f32::from(bin_slots);
        fall.map(|f| (f.now_pa - self.settings.stop_pa).max(0.0) / f.per_bin_pa * bin_s)
    }

    fn facts(&self, input: &Input, tick: &Tick, gauge_pa: Option<f32>) -> Facts {
        let settling_in = self.clock.us < START_GRACE_US;
        let fault = if tick.wrong {
            Some(Fault::Clock)
        } else if self.slots.is_silent() && !settling_in {
            Some(self.last_empty)
        } else if self.plausibility.noisy() {
            Some(Fault::Noisy)
        } else if self.plausibility.frozen() && gauge_pa.is_some_and(|p| p >= self.settings.stop_pa) {
            // An empty bag is as still as a frozen sensor.
            Some(Fault::Frozen)
        } else if self.tube_dead() && gauge_pa.is_some_and(|p| p >= self.settings.stop_pa) {
            Some(Fault::Frozen)
        } else if self.button_ms > BUTTON_STUCK_MS {
            Some(Fault::ButtonStuck)
        } else if self.zero.state() == ZeroState::Refused {
            Some(Fault::ZeroRefused)
        } else if self.no_sense > 4 {
            Some(Fault::SenseMissing)
        } else {
            self.beside.fault()
        };
        let air = self.air(gauge_pa, settling_in);
        let past_half = gauge_pa.is_some_and(|p| p <= self.levels.half_pa);
        let needed_s = self.settings.needed_s;
        Facts {
            dt_ms: tick.dt_ms,
            fault,
            supply_cut: self.off_bits.count_ones() >= 2,
            air,
            falling: past_half && !self.landing.active() && self.fast_forecast_s.is_some_and(|t| t <= needed_s),
            landing: self.landing.active(),
            slow: self.landing.slow(),
            leak: match self.forecast_s {
                None => Leak::No,
                Some(t) if t <= LEAK_FACTOR * needed_s => Leak::Soon,
                Some(_) => Leak::Seen,
            },
            button: input.button,
            gap: tick.slots > 2 || tick.wrong,
            test: input.test,
            zero: self.zero.state(),
            unproven: self.tube.unproven(),
            top: self.top,
            blowers_still: self.beside.all_still(),
            held: self.beside.held(self.decider.duty()),
        }
    }

    fn tube_dead(&self) -> bool {
        self.tube.dead() && self.tube.sees_ripple(self.settings.noise_low_pa)
    }

    /// Where the pressure stands; `settling_in`: the sensor may still be silent, and that is not yet danger.
    fn air(&self, gauge_pa: Option<f32>, settling_in: bool) -> Air {
        let l = &self.levels;
        let low = self.slots.at_or_under(l.trip_pa);
        let unknown = if settling_in { 0 } else { self.slots.empty() };
        if low > 0 && low + unknown >= STOP_SLOTS {
            return Air::Gone;
        }
        let Some(p) = gauge_pa else { return if settling_in { Air::Low } else { Air::Gone } };
        if p <= l.trip_pa {
            Air::Gone
        } else if p <= l.hold_pa || self.quick.median_pa() <= l.hold_pa || self.quick.ahead_pa() <= l.half_pa {
            Air::Low
        } else if self.over_ms >= HIGH_MS {
            Air::Over
        } else if self.high_ms >= HIGH_MS {
            Air::Firm
        } else if self.withheld && !self.decider.siren() && !self.decider.unacknowledged() {
            Air::Unsuited
        } else if p < l.ready_pa {
            Air::Between
        } else {
            Air::Ready
        }
    }

    fn apply(&mut self, change: &Change) {
        if change.from.is_some() {
            self.entered_us = self.clock.us;
        }
        if change.test_began {
            self.trial_us = self.clock.us;
        }
        if change.rezero {
            self.zero.again();
            self.beside.again();
        }
    }

    fn output(&self, gauge_pa: Option<f32>, landing: Option<Landing>, events: heapless::Vec<Event, EVENTS>) -> Output {
        let d = &self.decider;
        let pins = if d.testing() {
            trial(ms(self.clock.us.saturating_sub(self.trial_us)))
        } else {
            pins(d.state(), d.reason(), ms(self.clock.us.saturating_sub(self.entered_us)))
        };
        Output {
            pins,
            state: d.state(),
            reason: d.reason(),
            permit: d.permit(),
            siren: d.siren(),
            gauge_pa,
            forecast_s: self.forecast_s,
            landing,
            landings: self.landing.count(),
            since_landing_s: self.landed_us.map(|at| ms(self.clock.us.saturating_sub(at)) as f32 * 1e-3),
            fault: d.fault(),
            zero_pa: (self.zero.state() == ZeroState::Known).then_some(self.zero.offset_pa()),
            unacknowledged: d.unacknowledged(),
            duty: d.duty(),
            beside: self.beside.seen(),
            events,
        }
    }
}

/// Time for which `value` has been at or over `level`; falls back to 0 a deadband lower.
fn held(held_ms: u32, dt_ms: u32, value: f32, level: f32, deadband: f32) -> u32 {
    if value >= level || (held_ms >= HIGH_MS && value > level - deadband) {
        held_ms.saturating_add(dt_ms).min(2 * HIGH_MS)
    } else {
        0
    }
}

fn ms(us: u64) -> u32 {
    (us / 1000) as u32
}

#[cfg(test)]
#[path = "machine_tests.rs"]
mod tests;
