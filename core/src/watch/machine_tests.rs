//! Behaviour of the whole watch, one test per promise.
extern crate std;
use super::*;
use crate::watch::settings::tests::sample;
use crate::watch::{Beside, Reason, ResetCause, SensorFault};
use core::f32::consts::PI;
use std::vec::Vec;

/// Drives a watch with invented, reproducible readings.
struct Rig {
    watch: Watch,
    now_us: u64,
    noise: u32,
    supply: Option<bool>,
    button: bool,
    last: Option<Output>,
    events: Vec<Event>,
}

impl Rig {
    fn with(start: Start) -> Self {
        Self {
            watch: Watch::new(sample(), start).unwrap(),
            now_us: 5_000_000,
            noise: 1,
            supply: Some(true),
            button: false,
            last: None,
            events: Vec::new(),
        }
    }

    fn new() -> Self {
        Self::with(Start::default())
    }

    /// About -3..3 Pa, uniform.
    fn jitter(&mut self) -> f32 {
        self.noise = self.noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (self.noise >> 16) as f32 / 65_536.0 * 6.0 - 3.0
    }

    fn put(&mut self, reading: Result<GaugePa, SensorFault>) -> Output {
        let input = Input {
            now: TimeUs(self.now_us),
            reading,
            supply: self.supply,
            button: self.button,
            test: false,
            temperature_degc: Some(20.0),
            beside: Beside::NOTHING,
        };
        self.now_us += 20_000;
        let out = self.watch.step(&input);
        assert_eq!(out.permit, out.state == State::Ride);
        assert_eq!(out.pins.permit, out.permit);
        assert_eq!(out.siren, matches!(out.state, State::Stop | State::Fault));
        self.events.extend(out.events.iter().copied());
        self.last = Some(out.clone());
        out
    }

    fn pa(&mut self, p: f32) -> Output {
        let j = self.jitter();
        self.put(Ok(GaugePa(p + j)))
    }

    /// `n` steps at a steady pressure; the last output.
    fn hold(&mut self, p: f32, n: usize) -> Output {
        let mut out = self.pa(p);
        for _ in 1..n {
            out = self.pa(p);
        }
        out
    }

    fn ready() -> Self {
        Self::new().filled()
    }

    /// Tried, zeroed, blown up and riding.
    fn filled(self) -> Self {
        let mut rig = self;
        rig.hold(0.0, 150);
        for i in 0..200 {
            rig.pa(5.0 * i as f32);
        }
        let out = rig.hold(1000.0, 300);
        assert_eq!(out.state, State::Ride, "{:?}", out.reason);
        rig
    }

    /// Steps until the state is `state`; how many that took.
    fn until(&mut self, state: State, limit: usize, mut p: impl FnMut(usize) -> f32) -> usize {
        for i in 0..limit {
            if self.pa(p(i)).state == state {
                return i + 1;
            }
        }
        panic!("{state:?} not reached: {:?}", self.last);
    }

    /// A landing: half a sine up to `peak`, then a dip that recovers.
    fn landing(&mut self, rest: f32, peak: f32, dip: f32, tau_s: f32) -> Vec<Output> {
        let mut outs = Vec::new();
        for i in 0..20 {
            let p = rest + (peak - rest) * libm::sinf(i as f32 / 20.0 * PI);
            outs.push(self.pa(p));
        }
        for i in 0..400 {
            let p = rest - dip * libm::expf(-(i as f32) * 0.02 / tau_s);
            outs.push(self.pa(p));
        }
        outs
    }
}

#[test]
fn start_checks_fills_and_rides() {
    let mut rig = Rig::new();
    let first = rig.pa(4.0);
    assert_eq!((first.state, first.permit), (State::Check, false));
    assert!(first.pins.red && matches!(first.events[0].what, What::Started { revision: 1, .. }));
    rig.until(State::Fill, 140, |_| 4.0);
    assert!(
        rig.events
            .iter()
            .any(|e| matches!(e.what, What::Zeroed { offset_pa, stored: false } if (offset_pa - 4.0).abs() < 2.0))
    );
    let out = rig.hold(700.0, 500);
    assert_eq!((out.state, out.reason), (State::Fill, Reason::LowAir));
    // Ready for the recovery time (5 s) before the first ride, a few steps more for the filter.
    let steps = rig.until(State::Ride, 400, |_| 1000.0);
    assert!((250..=256).contains(&steps), "{steps}");
}

#[test]
fn stop_pressure_sounds_within_four_steps_and_latches() {
    let mut rig = Rig::ready();
    let steps = rig.until(State::Stop, 10, |_| 550.0);
    assert!(steps <= 4, "{steps}");
    let out = rig.hold(1000.0, 1000);
    assert_eq!((out.state, out.siren, out.permit, out.unacknowledged), (State::Stop, true, false, true));
}

/// Seven readings of exactly this zeroed pressure, coming down in small steps from rest.
fn exactly(pa: f32) -> Output {
    let mut rig = Rig::ready();
    let mut at = 1000.0;
    while at - 0.05 > pa + 5.0 {
        at -= 0.05;
        rig.pa(at);
    }
    // A zero of exactly 0, so that nothing is rounded.
    rig.watch.zero = Zero::new(Some(0.0), 30.0, 20.0);
    for _ in 0..50 {
        rig.watch.zero.push(900.0);
    }
    for _ in 0..7 {
        rig.put(Ok(GaugePa(pa)));
    }
    rig.last.unwrap()
}

#[test]
fn levels_are_inclusive_on_the_side_of_danger() {
    let s = sample();
    assert_eq!(exactly(s.trip_pa()).reason, Reason::AirLost);
    assert_ne!(exactly(s.trip_pa() + 0.1).reason, Reason::AirLost);
    assert_eq!(exactly(s.hold_pa()).state, State::Wait);
    assert_eq!(exactly(s.hold_pa() + 12.0).state, State::Ride);
}

#[test]
fn any_reset_on_duty_goes_on_in_wait_and_still_sees_an_empty_bag() {
    for cause in [ResetCause::Watchdog, ResetCause::BrownOut, ResetCause::PowerOn, ResetCause::Unknown] {
        let start = Start { cause, stored_zero_pa: Some(2.0), unacknowledged: false, duty: true };
        let mut rig = Rig::with(start);
        for _ in 0..10 {
            assert_eq!(rig.put(Err(SensorFault::NotReady)).state, State::Wait);
        }
        rig.until(State::Ride, 320, |_| 1000.0);
        let mut rig = Rig::with(start);
        let steps = rig.until(State::Stop, 20, |_| 300.0);
        assert_eq!(steps, 3);
        // And a sensor that never comes is a fault.
        let mut rig = Rig::with(start);
        for _ in 0..30 {
            rig.put(Err(SensorFault::NotReady));
        }
        assert_eq!(rig.last.unwrap().state, State::Fault);
    }
    let mut rig = Rig::with(Start { cause: ResetCause::PowerOn, ..Start::default() });
    assert_eq!(rig.pa(0.0).state, State::Check);
}

#[test]
fn a_brown_out_in_the_first_fill_is_no_alarm() {
    for cause in [ResetCause::BrownOut, ResetCause::Watchdog] {
        let mut rig = Rig::with(Start { cause, stored_zero_pa: Some(2.0), ..Start::default() });
        for i in 0..2000 {
            assert!(!rig.pa((0.5 * i as f32).min(1000.0)).siren, "step {i}");
        }
        assert_eq!(rig.last.unwrap().state, State::Ride);
    }
}

/// Ends the day with a long hold; the last output before it ended and the first after.
fn end_by_hand(rig: &mut Rig, pa: f32) {
    rig.button = false;
    rig.hold(pa, 5);
    rig.button = true;
    let steps = rig.until(State::Ended, 450, |_| pa);
    assert!((399..=402).contains(&steps), "{steps}");
    let out = rig.last.clone().unwrap();
    assert!(!out.permit && !out.siren && !out.unacknowledged && !out.duty);
}

#[test]
fn the_long_hold_ends_the_day_and_the_next_morning_begins_with_the_trial() {
    let mut rig = Rig::ready();
    rig.button = true;
    // No new rider from 2 s into the hold on.
    rig.until(State::Wait, 103, |_| 1000.0);
    assert_eq!(rig.last.as_ref().unwrap().reason, Reason::Ending);
    rig.until(State::Ended, 310, |_| 1000.0);
    rig.button = false;
    let ended = |e: &Event| matches!(e.what, What::Changed { to: State::Ended, reason: Reason::Ending, .. });
    assert!(rig.events.iter().any(ended));
    // The blowers go off, the bag goes flat: nobody rides, no alarm.
    rig.supply = Some(false);
    for i in 0..2000 {
        assert!(!rig.pa((1000.0 - i as f32).max(0.0)).siren);
    }
    // Switched off and on in the morning: the trial, the zero, the fill, the ride.
    let last = rig.last.clone().unwrap();
    let start = Start {
        cause: ResetCause::PowerOn,
        stored_zero_pa: last.zero_pa,
        unacknowledged: last.unacknowledged,
        duty: last.duty,
    };
    let mut rig = Rig::with(start);
    let trial: Vec<_> = (0..150).map(|_| rig.pa(0.0)).collect();
    assert!(trial.iter().any(|o| o.pins.green) && trial.iter().any(|o| o.pins.siren) && !trial[0].siren);
    for i in 0..2000 {
        let out = rig.pa((i as f32).min(1000.0));
        assert!(!out.siren && !out.pins.siren, "step {i}");
    }
    assert_eq!(rig.last.unwrap().state, State::Ride);
}

#[test]
fn a_box_that_stays_on_begins_the_next_day_with_the_supply_or_a_tap() {
    let mut rig = Rig::ready();
    end_by_hand(&mut rig, 1000.0);
    rig.button = false;
    rig.supply = Some(false);
    assert_eq!(rig.hold(0.0, 5000).state, State::Ended);
    rig.supply = Some(true);
    assert_eq!(rig.hold(0.0, 5).state, State::Check);
    rig.until(State::Fill, 140, |_| 0.0);
    end_by_hand(&mut rig, 0.0);
    assert_eq!(rig.hold(0.0, 500).state, State::Ended, "held on: nothing begins");
    rig.button = false;
    assert_eq!(rig.hold(0.0, 500).state, State::Ended);
    rig.button = true;
    rig.hold(0.0, 20);
    rig.button = false;
    assert_eq!(rig.hold(0.0, 3).state, State::Check);
}

#[test]
fn a_stop_may_be_ended_by_the_long_hold_with_the_air_gone() {
    let mut rig = Rig::ready();
    rig.supply = Some(false);
    rig.hold(500.0, 100);
    assert!(rig.last.as_ref().unwrap().siren);
    end_by_hand(&mut rig, 0.0);
}

#[test]
fn left_alone_the_siren_ends_but_the_stop_waits_for_a_person() {
    let mut rig = Rig::ready();
    rig.supply = Some(false);
    rig.hold(500.0, 20);
    let steps = rig.until(State::Ended, 15_100, |_| 0.0);
    assert!(steps >= 14_900, "{steps}: five minutes");
    let last = rig.last.clone().unwrap();
    assert_eq!((last.reason, last.unacknowledged, last.duty), (Reason::LeftOff, true, false));
    // With the supply on the bag stays flat without an end: only off and flat is left.
    let mut other = Rig::ready();
    other.hold(0.0, 20_000);
    assert_eq!(other.last.unwrap().state, State::Stop);
    // The next morning: the trial and a silent fill, and then somebody must acknowledge.
    let start = Start { stored_zero_pa: last.zero_pa, unacknowledged: true, ..Start::default() };
    let mut rig = Rig::with(start);
    for i in 0..2000 {
        assert!(!rig.pa((i as f32 - 200.0).clamp(0.0, 1000.0)).siren, "step {i}");
    }
    let waits = rig.last.clone().unwrap();
    assert_eq!((waits.state, waits.reason, waits.permit), (State::Fill, Reason::Unacknowledged, false));
    assert!(waits.pins.red && waits.pins.amber);
    rig.button = true;
    rig.hold(1000.0, 110);
    rig.button = false;
    rig.until(State::Ride, 300, |_| 1000.0);
    assert!(!rig.last.unwrap().unacknowledged);
}

#[test]
fn a_button_held_for_half_a_minute_is_a_fault() {
    let mut rig = Rig::new();
    rig.button = true;
    let steps = rig.until(State::Fault, 1600, |_| 0.0);
    assert!((1500..=1503).contains(&steps), "{steps}");
    assert_eq!(rig.last.as_ref().unwrap().fault, Some(Fault::ButtonStuck));
}

#[test]
fn wind_on_a_flat_bag_is_no_fault_and_swapped_ports_are() {
    let mut rig = Rig::new();
    rig.hold(0.0, 200);
    for i in 0..3000 {
        let out = rig.pa(-60.0 - 60.0 * libm::sinf(i as f32 * 0.02));
        assert_eq!(out.state, State::Fill, "step {i}: {:?}", out.fault);
    }
    // A bag that fills with the tube on the wrong port.
    rig.until(State::Fault, 1000, |i| -(i as f32));
}

#[test]
fn gusts_are_no_landings() {
    let mut rig = Rig::ready();
    let mut landings = 0;
    for i in 0..30_000_u32 {
        let (phase, sign) = ((i % 300) as f32 * 0.02, if i / 300 % 2 == 0 { 1.0 } else { -1.0 });
        let gust = if phase < 3.0 { 75.0 * (1.0 - libm::cosf(2.0 * PI * phase / 3.0)) } else { 0.0 };
        landings = rig.pa(1000.0 + sign * gust).landings;
    }
    assert_eq!(landings, 0);
}

/// Rides on a live bag until the tube is shut: from then on its pressure, a slow drift and the sensor's noise.
/// Seconds until the permit is off, up to 15 minutes.
fn shut_tube(noise_pa: f32, bag_pa: f32, drift_paps: f32) -> Option<(f32, State)> {
    let settings = WatchSettings { sensor_noise_pa: noise_pa, sensor_step_pa: 0.05, ..sample() };
    let mut rig = Rig::new();
    rig.watch = Watch::new(settings, Start::default()).unwrap();
    let (mut seed, mut air) = (9_u64, 0.0_f32);
    let mut normal = || {
        (0..12).fold(0.0, |sum, _| {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            sum + (seed >> 40) as f32 / 8_388_608.0 - 1.0
        }) * 0.5
    };
    let keep = libm::expf(-0.02 / 0.15);
    for i in 0..3000 {
        air = keep * air + bag_pa * libm::sqrtf(1.0 - keep * keep) * normal();
        let rest = (4.0 * (i as f32 - 200.0)).clamp(0.0, 1000.0);
        rig.put(Ok(GaugePa(rest + air * rest / 1000.0 + noise_pa * normal())));
    }
    assert_eq!(rig.last.as_ref().unwrap().state, State::Ride);
    for i in 0..45_000_u32 {
        let pa = 1000.0 + drift_paps * 0.02 * i as f32 + noise_pa * normal();
        let out = rig.put(Ok(GaugePa(pa)));
        if !out.permit {
            return Some((i as f32 * 0.02, out.state));
        }
    }
    None
}

#[test]
fn a_shut_tube_is_found_whatever_the_sensors_noise() {
    // The quietest bag that the settings count on, 0.5 Pa, is seen over a sensor's noise of up to 0.33 Pa.
    for noise_pa in [0.1, 0.15, 0.2, 0.33] {
        for drift_paps in [0.0, 0.05, -0.05] {
            let (found_s, state) = shut_tube(noise_pa, 0.5, drift_paps).expect("never found");
            assert!(found_s <= 40.0 && state == State::Fault, "{noise_pa} Pa: {found_s} s, {state:?}");
        }
    }
    // Above it only the time since the last landing tells: no new rider, and somebody must sit down on the bag.
    for noise_pa in [0.5, 0.7, 1.0] {
        let (found_s, state) = shut_tube(noise_pa, 0.5, 0.0).expect("never found");
        assert!(found_s <= 601.0 && state == State::Wait, "{noise_pa} Pa: {found_s} s, {state:?}");
    }
}

#[test]
fn acknowledging_needs_the_supply() {
    let mut rig = Rig::ready();
    rig.supply = Some(false);
    rig.hold(1000.0, 100);
    rig.button = true;
    assert_eq!(rig.hold(1000.0, 200).state, State::Stop);
    rig.button = false;
    rig.supply = Some(true);
    rig.hold(1000.0, 60);
    rig.button = true;
    rig.until(State::Wait, 110, |_| 1000.0);
}

#[test]
fn supply_cut_while_filling_is_no_alarm_but_no_ride() {
    let mut rig = Rig::new();
    rig.supply = Some(false);
    rig.hold(0.0, 150);
    let out = rig.hold(1000.0, 500);
    assert_eq!((out.state, out.reason), (State::Fill, Reason::SupplyCut));
}

#[test]
fn acknowledging_needs_air_an_edge_and_a_hold() {
    let mut rig = Rig::ready();
    rig.hold(500.0, 20);
    // Held since before the air came back: nothing.
    rig.button = true;
    rig.hold(500.0, 100);
    assert_eq!(rig.hold(1000.0, 250).state, State::Stop);
    // Too short.
    rig.button = false;
    rig.hold(1000.0, 10);
    rig.button = true;
    rig.hold(1000.0, 90);
    rig.button = false;
    assert_eq!(rig.hold(1000.0, 100).state, State::Stop);
    // Held, but the air goes again.
    rig.button = true;
    rig.hold(1000.0, 50);
    rig.hold(700.0, 20);
    assert_eq!(rig.hold(1000.0, 250).state, State::Stop);
    // Held long enough.
    rig.button = false;
    rig.hold(1000.0, 60);
    rig.button = true;
    let steps = rig.until(State::Wait, 110, |_| 1000.0);
    assert!((100..=102).contains(&steps), "{steps}");
    assert!(rig.events.iter().any(|e| e.what == What::Acknowledged));
    // And the recovery time before riding goes on.
    let steps = rig.until(State::Ride, 300, |_| 1000.0);
    assert!((249..=252).contains(&steps), "{steps}");
}

#[test]
fn button_stuck_from_power_on_does_nothing() {
    let mut rig = Rig::with(Start { unacknowledged: true, duty: true, stored_zero_pa: Some(0.0), ..Start::default() });
    rig.button = true;
    assert_eq!(rig.hold(1000.0, 1000).state, State::Stop);
    assert_eq!(rig.last.as_ref().unwrap().reason, Reason::Unacknowledged);
    rig.button = false;
    rig.hold(1000.0, 60);
    rig.button = true;
    rig.until(State::Wait, 110, |_| 1000.0);
}

#[test]
fn a_late_step_breaks_the_hold() {
    let mut rig = Rig::ready();
    rig.hold(500.0, 20);
    rig.hold(1000.0, 100);
    rig.button = true;
    rig.hold(1000.0, 60);
    rig.now_us += 60_000;
    assert_eq!(rig.hold(1000.0, 100).state, State::Stop);
}

#[test]
fn wait_under_the_wait_pressure_and_back_by_itself() {
    let mut rig = Rig::ready();
    let steps = rig.until(State::Wait, 10, |_| 800.0);
    assert!(steps <= 3, "{steps}");
    assert_eq!(rig.hold(842.0, 200).state, State::Wait, "the deadband holds it");
    let steps = rig.until(State::Ride, 100, |_| 1000.0);
    assert!((50..=60).contains(&steps), "{steps}");
    for i in 0..155 {
        rig.pa(1000.0 - i as f32);
    }
    assert_eq!(rig.hold(845.0, 200).state, State::Ride, "the deadband is no reason to leave");
}

#[test]
fn supply_cut_stops_within_two_steps() {
    let mut rig = Rig::ready();
    rig.supply = Some(false);
    assert_eq!(rig.pa(1000.0).state, State::Ride, "one step may be a glitch");
    let out = rig.pa(1000.0);
    assert_eq!((out.state, out.reason, out.permit, out.siren), (State::Stop, Reason::SupplyCut, false, true));
}

#[test]
fn supply_flicker_of_one_step_is_bridged() {
    let mut rig = Rig::ready();
    for _ in 0..50 {
        rig.supply = Some(false);
        rig.pa(1000.0);
        rig.supply = Some(true);
        assert_eq!(rig.hold(1000.0, 3).state, State::Ride);
    }
}

#[test]
fn two_cuts_of_three_steps_are_a_cut() {
    // A loose contact: off, on, off. The last two alone would never say so.
    let mut rig = Rig::ready();
    let states = [false, true, false].map(|on| {
        rig.supply = Some(on);
        rig.pa(1000.0).state
    });
    assert_eq!(states, [State::Ride, State::Ride, State::Stop]);
}

impl Rig {
    fn slots_empty(&self) -> usize {
        self.watch.slots.empty()
    }
}

#[test]
fn landing_waits_then_rides_and_is_measured() {
    let mut rig = Rig::ready();
    let outs = rig.landing(1000.0, 2500.0, 100.0, 0.8);
    assert!(outs.iter().all(|o| !o.siren));
    let first_wait = outs.iter().position(|o| o.state == State::Wait).unwrap();
    assert!(first_wait <= 4, "{first_wait}");
    assert_eq!(outs[first_wait].reason, Reason::Landing);
    assert_eq!(outs.last().unwrap().state, State::Ride);
    let landing = outs.iter().find_map(|o| o.landing).unwrap();
    assert_eq!(landing.count, 1);
    assert!((landing.peak_pa - 2500.0).abs() < 60.0, "{landing:?}");
    assert!((landing.dip_pa - 100.0).abs() < 15.0, "{landing:?}");
    // 100 Pa fall to a quarter in 0.8·ln 4 = 1.1 s.
    assert!((landing.recovery_s.unwrap() - 1.1).abs() < 0.3, "{landing:?}");
    assert!(rig.events.iter().any(|e| matches!(e.what, What::Landed(_))));
}

#[test]
fn a_landing_is_what_lifts_the_pressure_by_the_settings_spike() {
    // The settings say 150 Pa; half as much again is a landing, half of it none.
    for (lift_pa, landings) in [(225.0, 1), (75.0, 0)] {
        let mut rig = Rig::ready();
        rig.landing(1000.0, 1000.0 + lift_pa, 40.0, 0.5);
        assert_eq!(rig.last.unwrap().landings, landings, "{lift_pa}");
    }
}

#[test]
fn dip_below_wait_but_above_stop_is_no_stop() {
    let mut rig = Rig::ready();
    let outs = rig.landing(1000.0, 3000.0, 360.0, 1.0);
    assert!(outs.iter().all(|o| !o.siren));
    assert_eq!(outs.last().unwrap().state, State::Ride);
}

#[test]
fn dip_to_the_stop_pressure_is_a_stop() {
    let mut rig = Rig::ready();
    let outs = rig.landing(1000.0, 3000.0, 450.0, 1.0);
    assert!(outs.iter().any(|o| o.siren));
}

#[test]
fn bounce_is_one_landing_and_two_riders_are_two() {
    let mut rig = Rig::ready();
    for peak in [2500.0, 1800.0] {
        for i in 0..20 {
            rig.pa(1000.0 + (peak - 1000.0) * libm::sinf(i as f32 / 20.0 * PI));
        }
        rig.hold(960.0, 10);
    }
    assert_eq!(rig.hold(1000.0, 200).landings, 1);
    rig.landing(1000.0, 2000.0, 50.0, 0.5);
    assert_eq!(rig.last.unwrap().landings, 2);
}

#[test]
fn dip_that_does_not_recover_is_slow() {
    let mut rig = Rig::ready();
    for i in 0..20 {
        rig.pa(1000.0 + 1500.0 * libm::sinf(i as f32 / 20.0 * PI));
    }
    let mut seen = false;
    for i in 0..500 {
        let out = rig.pa(930.0 - 0.1 * i as f32);
        if let Some(l) = out.landing {
            assert_eq!(l.recovery_s, None);
        }
        seen |= out.reason == Reason::SlowRecovery;
    }
    assert!(seen);
}

#[test]
fn too_firm_and_over_pressure_wait() {
    let mut rig = Rig::ready();
    let mut p = 1000.0;
    rig.until(State::Wait, 1000, |_| {
        p = (p + 1.0f32).min(1330.0);
        p
    });
    assert_eq!(rig.last.as_ref().unwrap().reason, Reason::TooFirm);
    rig.until(State::Ride, 400, |_| 1200.0);
    let mut p = 1200.0;
    rig.until(State::Wait, 1000, |_| {
        p = (p + 1.0f32).min(1450.0);
        p
    });
    let out = rig.hold(1450.0, 200);
    assert_eq!((out.state, out.reason), (State::Wait, Reason::OverPressure));
}

#[test]
fn slow_leak_is_forecast_and_takes_the_permit_in_time() {
    let mut rig = Rig::ready();
    let mut p = 1000.0;
    let mut worst: f32 = 0.0;
    let mut seen = 0;
    for _ in 0..3000 {
        p -= 0.02; // 1 Pa/s
        let out = rig.pa(p);
        if let (Some(t), State::Ride) = (out.forecast_s, out.state) {
            worst = worst.max((t / (p - 600.0) - 1.0).abs());
            assert_eq!(out.reason, Reason::SlowLeak);
            seen += 1;
        }
    }
    assert!(seen > 1000 && worst < 0.15, "{seen} {worst}");
}

#[test]
fn a_leak_takes_the_permit_twice_the_needed_time_before_the_stop() {
    // Down by 2.4 Pa a second; a minute is needed, the stop is at 600 Pa: two minutes before it the bag stands at
    // 888 Pa, one minute before it at 744 Pa, and the next rider waits for low air at 832 Pa anyway.
    let mut rig = Rig::new();
    rig.watch = Watch::new(WatchSettings { needed_s: 60.0, ..sample() }, Start::default()).unwrap();
    let mut rig = rig.filled();
    let mut pa = 1000.0;
    rig.until(State::Wait, 6_000, |_| {
        pa -= 0.048;
        pa
    });
    assert_eq!(rig.last.unwrap().reason, Reason::SlowLeak, "{pa}");
    assert!((870.0..=900.0).contains(&pa), "{pa}");
}

#[test]
fn fast_fall_past_half_way_sounds_before_the_stop_pressure() {
    let mut rig = Rig::ready();
    rig.supply = Some(true);
    let mut p = 1000.0;
    rig.until(State::Stop, 400, |_| {
        p -= 2.0; // 100 Pa/s: half-way after 2 s, stop after 4 s
        p
    });
    assert_eq!(rig.last.unwrap().reason, Reason::AirFalling);
    assert!(p > 700.0, "{p}");
}

#[test]
fn tap_tries_lamps_and_siren_but_not_in_ride() {
    let mut rig = Rig::ready();
    rig.button = true;
    rig.hold(1000.0, 10);
    rig.button = false;
    assert_eq!(rig.hold(1000.0, 10).state, State::Ride);
    assert!(!rig.last.as_ref().unwrap().pins.red);
    assert_eq!(rig.hold(825.0, 10).state, State::Wait);
    rig.button = true;
    rig.hold(825.0, 10);
    rig.button = false;
    let out = rig.pa(825.0);
    assert!(out.pins.red && !out.siren && !out.permit);
    // A real stop ends the trial.
    assert!(rig.hold(500.0, 5).siren);
}

#[test]
fn watch_is_small() {
    let size = core::mem::size_of::<Watch>();
    std::println!("watch {size} bytes, output {} bytes", core::mem::size_of::<Output>());
    assert!(size <= 1536, "{size} bytes");
}

#[path = "machine_fault_tests.rs"]
mod faults;

#[test]
fn other_thresholds_are_taken_before_riding_and_never_while_it_goes_on() {
    let stricter = WatchSettings { stop_pa: 640.0, half_way_pa: 820.0, ..sample() };
    let mut rig = Rig::new();
    rig.put(Ok(GaugePa(0.0)));
    // Another site, another revision, an order that cannot work.
    assert!(!rig.watch.adopt(&WatchSettings { site_id: 8, ..stricter }));
    assert!(!rig.watch.adopt(&WatchSettings { revision: 2, ..stricter }));
    assert!(!rig.watch.adopt(&WatchSettings { stop_pa: 990.0, ..stricter }));
    assert_eq!(*rig.watch.settings(), sample());
    // What it measures with stays as it was armed.
    assert!(rig.watch.adopt(&WatchSettings { sensor_error_pa: 0.5, noise_high_pa: 500.0, ..stricter }));
    assert_eq!(*rig.watch.settings(), stricter);
    for step in 0..1500 {
        let jitter = rig.jitter();
        rig.put(Ok(GaugePa(if step < 300 { jitter } else { 1000.0 + jitter })));
    }
    assert_eq!(rig.last.as_ref().unwrap().state, State::Ride);
    assert!(!rig.watch.adopt(&sample()), "taken while riding");
    // The new stop pressure sounds the siren, 635 + 12 Pa of sensor error being under it, and it is not taken back.
    for _ in 0..50 {
        let jitter = rig.jitter();
        rig.put(Ok(GaugePa(635.0 + jitter)));
    }
    assert!(rig.last.as_ref().unwrap().siren);
    assert!(!rig.watch.adopt(&sample()), "taken while the siren sounds");
}
