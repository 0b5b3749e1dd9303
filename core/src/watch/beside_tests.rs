//! The whole watch with parts beside, one test per promise.
extern crate std;
use crate::watch::parts::{Beside, Parts};
use crate::watch::settings::tests::{ALL, sample};
use crate::watch::{
    Event, Fault, GaugePa, Input, Output, Reason, SelfTest, SensorFault, Start, State, Tested, TimeUs, Watch, What,
};
use std::vec::Vec;

const GOOD: SelfTest = SelfTest { program: Tested::Good, memory: Tested::Good, clock: Tested::Good };

/// A bag, a relay that follows, and parts that can be set.
struct Rig {
    watch: Watch,
    us: u64,
    noise: u32,
    button: bool,
    supply: bool,
    pa: f32,
    second: Option<Result<f32, SensorFault>>,
    beside: Beside,
    /// The relay follows, after so many steps; none: it stays as `beside.contact` is.
    relay_steps: Option<u8>,
    told: Vec<bool>,
    events: Vec<Event>,
}

impl Rig {
    fn new(parts: Parts, start: Start) -> Self {
        let beside = Beside { contact: false, second: None, battery_v: Some(12.8), running: 0b111, self_test: GOOD };
        Self {
            watch: Watch::new(sample().with_parts(parts), start).unwrap(),
            us: 0,
            noise: 1,
            button: false,
            supply: true,
            pa: 0.0,
            second: Some(Ok(0.0)),
            beside,
            relay_steps: Some(3),
            told: Vec::new(),
            events: Vec::new(),
        }
    }

    fn step(&mut self) -> Output {
        self.noise = self.noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let wobble_pa = (self.noise >> 16) as f32 / 65_536.0 * 6.0 - 3.0;
        if let Some(steps) = self.relay_steps {
            self.beside.contact = self.told.iter().rev().nth(usize::from(steps)).copied().unwrap_or(false);
        }
        let second = self.second.map(|reading| reading.map(|off_pa| GaugePa(self.pa + off_pa + 0.9 * wobble_pa)));
        let input = Input {
            button: self.button,
            supply: Some(self.supply),
            beside: Beside { second, ..self.beside },
            ..Input::reading(TimeUs(self.us), self.pa + wobble_pa)
        };
        self.us += 20_000;
        let output = self.watch.step(&input);
        self.told.push(output.permit);
        self.events.extend(output.events.iter().copied());
        output
    }

    fn run(&mut self, seconds: f32) -> Output {
        let mut output = self.step();
        for _ in 1..(seconds * 50.0) as u32 {
            output = self.step();
        }
        output
    }

    /// Steps until the state is `state`, s.
    fn until(&mut self, state: State, seconds: f32) -> f32 {
        let steps = (1..=(seconds * 50.0) as u32).find(|_| self.step().state == state);
        steps.unwrap_or_else(|| panic!("{state:?} not reached: {:?}", self.watch.decider())) as f32 * 0.02
    }

    fn fill(&mut self) -> Output {
        self.run(3.0);
        self.pa = 1000.0;
        self.run(8.0)
    }

    fn riding(parts: Parts) -> Self {
        let mut rig = Self::new(parts, Start::default());
        let output = rig.fill();
        assert_eq!(output.state, State::Ride, "{:?} {:?}", output.reason, output.fault);
        rig
    }

    fn hold_button(&mut self, seconds: f32) {
        self.button = true;
        self.run(seconds);
        self.button = false;
        self.run(0.1);
    }
}

#[test]
fn with_everything_fitted_and_well_the_day_is_as_without() {
    let mut with = Rig::riding(ALL);
    let mut without = Rig::riding(Parts::NONE);
    for _ in 0..3 {
        for (pa, s) in [(1000.0, 3.0), (1800.0, 0.1), (900.0, 0.5), (1000.0, 8.0)] {
            (with.pa, without.pa) = (pa, pa);
            let (one, other) = (with.run(s), without.run(s));
            assert_eq!((one.state, one.permit, one.siren), (other.state, other.permit, other.siren));
        }
    }
    let output = with.step();
    assert_eq!((output.state, output.fault), (State::Ride, None));
    let seen = output.beside;
    assert_eq!((seen.contact, seen.still, seen.self_test), (Some(true), 0, GOOD));
    assert!(seen.second_pa.is_some_and(|pa| (pa - 1000.0).abs() < 10.0));
    assert!(seen.left_s.is_some_and(|left_s| left_s > 14_400.0));
    // And a box without any takes no notice of what such pins would say.
    without.beside = Beside { contact: true, second: None, battery_v: Some(0.0), running: 0, self_test: GOOD };
    without.relay_steps = None;
    assert_eq!(without.run(5.0).state, State::Ride);
}

#[test]
fn a_welded_relay_is_found_at_the_trial_and_in_use() {
    let mut rig = Rig::new(ALL, Start::default());
    (rig.relay_steps, rig.beside.contact) = (None, true);
    // The relay's 150 ms and a step.
    assert!(rig.until(State::Fault, 2.0) <= 0.2);
    assert_eq!(rig.step().fault, Some(Fault::PermitStuck));

    let mut rig = Rig::riding(ALL);
    rig.relay_steps = None;
    assert_eq!(rig.run(5.0).state, State::Ride, "it is closed, as it should be");
    // A landing takes the permit away, and the loop stays closed.
    rig.pa = 1800.0;
    let waited = rig.until(State::Wait, 1.0);
    let found = rig.until(State::Fault, 1.0);
    assert!(found <= 0.2, "{waited} {found}");
    let output = rig.step();
    assert_eq!((output.fault, output.siren, output.permit), (Some(Fault::PermitStuck), true, false));
}

#[test]
fn a_permit_fault_is_acknowledged_by_nobody_and_a_new_day_tries_again() {
    let mut rig = Rig::riding(ALL);
    (rig.relay_steps, rig.beside.contact) = (None, false);
    assert!(rig.until(State::Fault, 1.0) <= 0.2);
    assert_eq!(rig.step().fault, Some(Fault::PermitOpen));
    rig.relay_steps = Some(3);
    rig.run(10.0);
    rig.hold_button(3.0);
    assert_eq!(rig.run(2.0).state, State::Fault, "the relay did not do what it was told: it must be tried anew");
    rig.hold_button(10.0);
    assert_eq!(rig.step().state, State::Ended);
    rig.pa = 0.0;
    rig.run(4.0);
    rig.hold_button(0.3);
    assert_eq!(rig.step().state, State::Check);
    assert_eq!(rig.fill().state, State::Ride);
}

#[test]
fn the_first_permit_of_a_day_must_close_the_loop() {
    let mut rig = Rig::new(ALL, Start::default());
    (rig.relay_steps, rig.beside.contact) = (None, false);
    rig.run(3.0);
    rig.pa = 1000.0;
    rig.until(State::Ride, 10.0);
    assert!(rig.until(State::Fault, 1.0) <= 0.2);
    assert_eq!(rig.step().fault, Some(Fault::PermitOpen));
}

#[test]
fn two_sensors_that_drift_apart_stop_the_riding_and_need_a_person() {
    let mut rig = Rig::riding(ALL);
    for tenth in 0..200_u32 {
        rig.second = Some(Ok(0.2 * tenth as f32));
        if rig.run(0.1).state == State::Fault {
            break;
        }
    }
    let output = rig.step();
    assert_eq!((output.state, output.fault), (State::Fault, Some(Fault::Disagree)));
    // 12 + 12.5 + 4 · 0.3 = 25.7 Pa, and the wobble that both have.
    let apart_pa = output.beside.second_pa.unwrap() - output.gauge_pa.unwrap();
    assert!((25.0..36.0).contains(&apart_pa), "{apart_pa}");
    rig.second = Some(Ok(0.0));
    assert_eq!(rig.run(5.0).state, State::Fault);
    rig.hold_button(3.0);
    assert_eq!(rig.run(8.0).state, State::Ride);
    rig.second = Some(Err(SensorFault::Nack));
    assert!(rig.until(State::Fault, 1.0) <= 0.24);
    assert_eq!(rig.step().fault, Some(Fault::SecondLost));
}

#[test]
fn a_shut_tube_no_longer_hides_that_the_bag_goes_down() {
    // The first sensor keeps its pressure and the bag falls by 200 Pa a second: the siren, above the stop pressure.
    let mut rig = Rig::riding(ALL);
    let (mut fell_pa, mut at_s) = (0.0, None);
    for step in 0..100_u32 {
        fell_pa += 4.0;
        rig.second = Some(Ok(-fell_pa));
        if rig.step().siren {
            at_s = Some(step as f32 * 0.02);
            break;
        }
    }
    assert!(at_s.is_some_and(|s| s < 0.6) && fell_pa < 120.0, "{at_s:?} {fell_pa}");
}

#[test]
fn one_blower_of_three_stops_new_riders_and_all_of_them_everything() {
    let mut rig = Rig::riding(ALL);
    rig.beside.running = 0b101;
    assert!(rig.until(State::Wait, 1.0) <= 0.54);
    assert_eq!((rig.step().reason, rig.step().siren), (Reason::BlowerStill, false));
    let told = |rig: &Rig| -> Vec<What> {
        rig.events.iter().map(|event| event.what).filter(|what| matches!(what, What::Blower { .. })).collect()
    };
    let began = [0, 1, 2].map(|which| What::Blower { which, runs: true });
    assert_eq!(told(&rig)[..3], began, "each once as they began");
    assert_eq!(told(&rig)[3..], [What::Blower { which: 1, runs: false }], "then the one that stands still alone");
    rig.beside.running = 0b111;
    assert!(rig.until(State::Ride, 3.0) <= 2.0);
    assert_eq!(told(&rig).last(), Some(&What::Blower { which: 1, runs: true }));
    assert_eq!(told(&rig).len(), 5);
    rig.beside.running = 0;
    assert!(rig.until(State::Stop, 1.0) <= 0.54);
    let output = rig.step();
    assert_eq!((output.reason, output.siren), (Reason::BlowerStill, true), "the supply is on all the while");
    rig.hold_button(3.0);
    assert_eq!(rig.step().state, State::Stop, "nothing blows: nobody can acknowledge");
    rig.beside.running = 0b111;
    rig.run(3.0);
    rig.hold_button(3.0);
    assert_eq!(rig.run(8.0).state, State::Ride);
    rig.supply = false;
    assert!(rig.until(State::Stop, 1.0) <= 0.06, "the mains are sensed apart, and sooner");
    assert_eq!(rig.step().reason, Reason::SupplyCut);
}

#[test]
fn a_battery_that_does_not_last_withholds_the_first_permit_and_a_session_goes_on() {
    let mut rig = Rig::new(ALL, Start::default());
    rig.beside.battery_v = Some(12.2);
    let output = rig.run(3.5);
    assert_eq!((output.state, output.reason), (State::Fill, Reason::BatteryLow), "it is seen before the bag is up");
    rig.pa = 1000.0;
    let output = rig.run(20.0);
    assert_eq!((output.state, output.reason, output.siren), (State::Fill, Reason::BatteryLow, false));
    assert!(rig.events.iter().any(|event| matches!(event.what, What::Battery { left_s, .. } if left_s < 14_400.0)));
    rig.beside.battery_v = Some(12.8);
    rig.until(State::Ride, 60.0);
    rig.beside.battery_v = Some(12.2);
    assert_eq!(rig.run(120.0).state, State::Ride, "it has begun");
    rig.beside.battery_v = Some(11.7);
    rig.until(State::Wait, 200.0);
    assert_eq!((rig.step().reason, rig.step().siren), (Reason::BatteryLow, false));
}

#[test]
fn a_failed_self_test_withholds_the_permit_and_one_under_way_delays_nothing() {
    let failed = SelfTest { program: Tested::Failed, ..GOOD };
    let mut rig = Rig::new(Parts::NONE, Start::default());
    rig.beside.self_test = SelfTest { program: Tested::Failed, ..SelfTest::default() };
    let output = rig.fill();
    assert_eq!((output.state, output.reason, output.siren), (State::Fill, Reason::SelfTestFailed, false));
    rig.beside.self_test = failed;
    rig.run(1.0);
    let told: Vec<What> =
        rig.events.iter().map(|e| e.what).filter(|what| matches!(what, What::SelfTested(_))).collect();
    assert_eq!(told.last(), Some(&What::SelfTested(failed)), "{told:?}");
    // After a reset while people ride: watching at once, riding before it is over, and off when it fails.
    let start = Start { duty: true, stored_zero_pa: Some(0.0), ..Start::default() };
    let mut rig = Rig::new(Parts::NONE, start);
    rig.beside.self_test = SelfTest::default();
    rig.pa = 1000.0;
    assert_eq!(rig.run(8.0).state, State::Ride);
    rig.beside.self_test = failed;
    let output = rig.run(0.1);
    assert_eq!((output.state, output.reason, output.siren), (State::Wait, Reason::SelfTestFailed, false));
    rig.pa = 400.0;
    assert_eq!(rig.run(0.2).state, State::Stop, "the bag is watched all the same");
}
