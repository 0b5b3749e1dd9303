//! Behaviour of the whole watch when the sensor, the clock or the zero is not to be believed.
use super::*;

#[test]
fn missing_supply_sense_is_a_fault() {
    let mut rig = Rig::ready();
    rig.supply = None;
    rig.until(State::Fault, 6, |_| 1000.0);
    assert_eq!(rig.last.unwrap().fault, Some(Fault::SenseMissing));
}

#[test]
fn three_bad_readings_are_bridged_the_fourth_is_a_fault() {
    for kind in SensorFault::ALL {
        let mut rig = Rig::ready();
        for _ in 0..3 {
            assert_eq!(rig.put(Err(kind)).state, State::Ride);
        }
        let out = rig.put(Err(kind));
        assert_eq!((out.state, out.permit, out.siren), (State::Fault, false, true));
        assert_eq!(out.fault, Some(Fault::from_sensor(kind)));
        let mut rig = Rig::ready();
        rig.put(Err(kind));
        rig.put(Err(kind));
        rig.put(Err(kind));
        assert_eq!(rig.hold(1000.0, 20).state, State::Ride);
    }
}

#[test]
fn range_rate_and_temperature() {
    for (bad, fault) in [(6000.0, Fault::OutOfRange), (-100.0, Fault::OutOfRange), (f32::NAN, Fault::OutOfRange)] {
        let mut rig = Rig::ready();
        for _ in 0..4 {
            rig.put(Ok(GaugePa(bad)));
        }
        assert_eq!(rig.last.as_ref().unwrap().fault, Some(fault), "{bad}");
    }
    // 20 kPa/s allow 400 Pa in 20 ms, 800 in 40 ms, and so on: a jump by 1900 Pa stays unbelieved for four steps.
    let mut rig = Rig::ready();
    rig.watch.bounds.rate_paps = 20_000.0;
    assert_eq!(rig.pa(1350.0).state, State::Ride);
    assert_eq!(rig.slots_empty(), 0);
    for _ in 0..4 {
        rig.pa(3250.0);
    }
    assert_eq!(rig.last.as_ref().unwrap().fault, Some(Fault::Rate));
    let mut rig = Rig::ready();
    for _ in 0..4 {
        let now = TimeUs(rig.now_us);
        rig.now_us += 20_000;
        let out = rig.watch.step(&Input { temperature_degc: Some(90.0), ..Input::reading(now, 1000.0) });
        rig.last = Some(out);
    }
    assert_eq!(rig.last.unwrap().fault, Some(Fault::Temperature));
}

#[test]
fn range_is_inclusive() {
    let s = sample();
    for (pa, taken) in [(s.sensor_low_pa, true), (s.sensor_low_pa - 0.1, false)] {
        let mut rig = Rig::ready();
        rig.watch.bounds.rate_paps = 1e7;
        rig.put(Ok(GaugePa(pa)));
        assert_eq!(rig.slots_empty() == 0, taken, "{pa}");
    }
    for (pa, taken) in [(s.sensor_high_pa, true), (s.sensor_high_pa + 0.1, false)] {
        let mut rig = Rig::ready();
        rig.watch.bounds.rate_paps = 1e7;
        rig.put(Ok(GaugePa(pa)));
        assert_eq!(rig.slots_empty() == 0, taken, "{pa}");
    }
}

#[test]
fn frozen_reading_is_a_fault_within_three_seconds() {
    let mut rig = Rig::ready();
    let mut steps = 0;
    while rig.put(Ok(GaugePa(1000.0))).state != State::Fault {
        steps += 1;
        assert!(steps <= 150, "not seen");
    }
    assert_eq!(rig.last.as_ref().unwrap().fault, Some(Fault::Frozen));
    // One count of sensor noise (0.2 Pa) on a blocked tube does not hide it.
    let mut rig = Rig::ready();
    let mut steps = 0;
    while rig.put(Ok(GaugePa(1000.0 + 0.2 * (steps % 2) as f32))).state != State::Fault {
        steps += 1;
        assert!(steps <= 150, "not seen");
    }
}

#[test]
fn an_empty_calm_bag_is_not_frozen() {
    let mut rig = Rig::new();
    for _ in 0..2000 {
        assert_ne!(rig.put(Ok(GaugePa(0.0))).state, State::Fault);
    }
}

#[test]
fn heavy_noise_is_a_fault_and_usual_noise_is_not() {
    let mut rig = Rig::ready();
    for _ in 0..3000 {
        let j = rig.jitter() * 10.0; // uniform ± 30 Pa: sd 17 Pa
        assert_ne!(rig.put(Ok(GaugePa(1000.0 + j))).state, State::Fault);
    }
    let mut steps = 0;
    loop {
        let j = rig.jitter() * 40.0; // sd 69 Pa
        if rig.put(Ok(GaugePa(1050.0 + j))).state == State::Fault {
            break;
        }
        steps += 1;
        assert!(steps <= 100, "not seen");
    }
    assert_eq!(rig.last.unwrap().fault, Some(Fault::Noisy));
}

#[test]
fn silence_and_a_clock_gone_wrong_are_faults() {
    let mut rig = Rig::ready();
    rig.now_us += 60_000;
    assert_eq!(rig.pa(1000.0).state, State::Ride, "three missed steps are bridged");
    let mut rig = Rig::ready();
    rig.now_us += 80_000;
    assert_eq!(rig.pa(1000.0).fault, Some(Fault::Late));
    let mut rig = Rig::ready();
    rig.now_us += 3_600_000_000;
    assert_eq!(rig.pa(1000.0).fault, Some(Fault::Late));
    let mut rig = Rig::ready();
    rig.now_us -= 1_000_000;
    assert_eq!(rig.pa(1000.0).fault, Some(Fault::Clock));
    let mut rig = Rig::ready();
    for _ in 0..=crate::watch::clock::IDLE_STEPS {
        rig.pa(1000.0);
        rig.now_us -= 20_000;
    }
    assert_eq!(rig.pa(1000.0).fault, Some(Fault::Clock), "time stands still");
}

#[test]
fn fault_needs_trust_air_and_button() {
    let mut rig = Rig::ready();
    for _ in 0..4 {
        rig.put(Err(SensorFault::Crc));
    }
    assert_eq!(rig.hold(1000.0, 1000).state, State::Fault, "not by itself");
    rig.button = true;
    rig.until(State::Wait, 110, |_| 1000.0);
    // Believed again and the air is gone: a stop.
    let mut rig = Rig::ready();
    for _ in 0..4 {
        rig.put(Err(SensorFault::Nack));
    }
    let steps = rig.until(State::Stop, 200, |_| 300.0);
    assert!(steps >= 150, "only once it is believed: {steps}");
}

#[test]
fn fault_in_a_stop_does_not_end_it() {
    let mut rig = Rig::ready();
    rig.hold(500.0, 20);
    for _ in 0..20 {
        assert_eq!(rig.put(Err(SensorFault::Crc)).state, State::Stop);
    }
    rig.hold(1000.0, 20);
    rig.button = true;
    assert_eq!(rig.hold(1000.0, 120).state, State::Stop, "pressed before it was believed");
}

#[test]
fn fault_before_anybody_rode_goes_back_to_check() {
    let mut rig = Rig::new();
    for _ in 0..60 {
        rig.put(Err(SensorFault::Nack));
    }
    let out = rig.last.clone().unwrap();
    assert_eq!((out.state, out.siren, out.unacknowledged), (State::Fault, true, false));
    rig.hold(0.0, 300);
    rig.button = true;
    rig.until(State::Check, 110, |_| 0.0);
    rig.button = false;
    rig.until(State::Fill, 140, |_| 0.0);
}

#[test]
fn zero_of_a_bag_under_air() {
    let mut rig = Rig::new();
    rig.until(State::Fault, 60, |_| 900.0);
    assert_eq!(rig.last.as_ref().unwrap().fault, Some(Fault::ZeroRefused));
    let mut rig = Rig::with(Start { stored_zero_pa: Some(6.0), ..Start::default() });
    rig.until(State::Ride, 700, |_| 1000.0);
    assert_eq!(rig.last.unwrap().zero_pa, Some(6.0));
}

#[test]
fn the_top_withholds_the_permit_and_hides_no_stop() {
    for reason in [Reason::TopSilent, Reason::TopStrange, Reason::TopHeld] {
        let mut rig = Rig::ready();
        rig.watch.hear_of_top(Some(reason));
        let out = rig.pa(1000.0);
        assert_eq!((out.state, out.reason, out.permit, out.siren), (State::Wait, reason, false, false));
        // Also where the pressure lies between wait and ready pressure.
        let mut between = Rig::ready();
        (0..50).for_each(|i| {
            between.pa(995.0 - 3.0 * i as f32);
        });
        between.hold(845.0, 5);
        assert_eq!(between.last.as_ref().map(|out| out.state), Some(State::Ride));
        between.watch.hear_of_top(Some(reason));
        assert_eq!(between.pa(845.0).state, State::Wait);
        // It goes by itself.
        rig.watch.hear_of_top(None);
        assert_eq!(rig.hold(1000.0, 60).state, State::Ride);
        // The air goes while the top is away: siren as ever.
        rig.watch.hear_of_top(Some(reason));
        rig.hold(1000.0, 10);
        let steps = rig.until(State::Stop, 20, |_| 400.0);
        assert!(steps <= 5, "{steps}");
        assert!(rig.last.as_ref().is_some_and(|out| out.siren && out.reason == Reason::AirLost));
        // No ride from a fill either, and the reason is told when the bag is up.
        let mut rig = Rig::new();
        rig.watch.hear_of_top(Some(reason));
        rig.hold(0.0, 150);
        (0..200).for_each(|i| {
            rig.pa(5.0 * i as f32);
        });
        let out = rig.hold(1000.0, 600);
        assert_eq!((out.state, out.reason), (State::Fill, reason));
    }
}

#[test]
fn the_board_may_pause_only_where_nobody_rides_and_nothing_is_tried() {
    let mut rig = Rig::new();
    rig.pa(0.0);
    assert!(!rig.watch.may_pause(), "the trial at the start");
    rig.until(State::Fill, 140, |_| 0.0);
    rig.pa(0.0);
    assert!(rig.watch.may_pause(), "filling");
    rig.button = true;
    rig.hold(0.0, 10);
    assert!(!rig.watch.may_pause(), "the button is down");
    rig.button = false;
    rig.hold(0.0, 10);
    assert!(!rig.watch.may_pause(), "a tap: lamps and siren are tried");
    rig.hold(0.0, 150);
    assert!(rig.watch.may_pause());
    // Five seconds without a step, told: not a fault, and untold one.
    let at_us = rig.now_us;
    rig.watch.pause(TimeUs(at_us + 5_000_000));
    rig.now_us += 5_000_000;
    let told = rig.hold(0.0, 20);
    assert_eq!((told.state, told.fault), (State::Fill, None));
    let mut rig = Rig::ready();
    assert!(!rig.watch.may_pause(), "somebody may be riding");
    end_by_hand(&mut rig, 1000.0);
    rig.button = false;
    assert_eq!(rig.hold(1000.0, 5).state, State::Ended);
    assert!(rig.watch.may_pause(), "the day is over");
}

#[test]
fn steps_within_one_slot_are_one_reading() {
    let mut rig = Rig::ready();
    for _ in 0..4 {
        // A millisecond after the last step in place of 20.
        rig.now_us -= 19_000;
        assert_eq!(rig.put(Err(SensorFault::ALL[0])).state, State::Ride);
    }
    assert!(rig.slots_empty() <= 1, "{}", rig.slots_empty());
}
