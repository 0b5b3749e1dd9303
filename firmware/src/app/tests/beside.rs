//! The box with parts beside: permit in pulses and read back, second sensor, battery, blowers, tests of itself.

use super::*;
use crate::link::tests::most_parts;
use landfall_core::watch::{BesideSeen, Fault as Trouble, Parts, SelfTest, Tested};

impl Bench {
    /// Armed with `parts` and on the vented bag, the battery full.
    fn with_parts(parts: Parts) -> Self {
        let mut bench = Self::new();
        let settings = sample().with_parts(parts);
        assert!(bench.arm(settings).contains(&FromBox::Stored(settings)));
        bench.world.battery.set(Some(12.8));
        bench
    }

    fn riding_with(parts: Parts) -> Self {
        let mut bench = Self::with_parts(parts);
        bench.run(5.0);
        bench.world.reading.set(Ok(1000.0));
        bench.run(12.0);
        assert_eq!(bench.state(), (State::Ride, Reason::Normal), "{:?}", bench.app.status);
        bench
    }

    fn state(&self) -> (State, Reason) {
        self.app.status.state.unwrap()
    }
}

/// The last that was told of the parts.
fn beside(said: &[FromBox]) -> Option<BesideSeen> {
    said.iter().rev().find_map(|m| if let FromBox::Beside(seen) = m { Some(*seen) } else { None })
}

#[test]
fn with_all_parts_it_rides_and_tells_of_them_and_without_any_it_tells_nothing() {
    let mut bench = Bench::riding_with(most_parts());
    let seen = beside(&bench.run(2.0)).unwrap();
    assert_eq!((seen.contact, seen.still), (Some(true), 0));
    assert!((seen.second_pa.unwrap() - 1000.0).abs() < 10.0 && (seen.battery_v.unwrap() - 12.8).abs() < 1e-3);
    assert!(seen.left_s.unwrap() > 30_000.0);
    bench.restart(ResetCause::PowerOn);
    let said = bench.run(0.1);
    assert!(said.iter().any(|m| matches!(m, FromBox::Hello(h) if h.settings == Some((7, 3)))), "they outlive a reset");
    assert_eq!(bench.app.settings, Some(sample().with_parts(most_parts())));
    assert_eq!(beside(&Bench::armed_and_riding().run(5.0)), None);
}

#[test]
fn the_permit_is_a_train_of_pulses_that_ends_with_the_steps_and_with_the_permit() {
    let parts = Parts { permit_pulses: true, ..Parts::NONE };
    let mut bench = Bench::riding_with(parts);
    let before = bench.world.edges.get();
    bench.run(1.0);
    // Two looks at the line in each of this bench's steps.
    assert!(bench.world.edges.get() - before >= 50, "{}", bench.world.edges.get() - before);
    // The program goes round without its steps: fifteen edges at most, and then none.
    let before = bench.world.edges.get();
    for _ in 0..1000 {
        bench.app.pump();
    }
    assert!(bench.world.edges.get() - before <= 15);
    bench.run(0.2);
    bench.world.reading.set(Ok(500.0));
    bench.run(0.2);
    let after = bench.world.edges.get();
    assert!(!bench.permit());
    bench.run(1.0);
    assert_eq!((bench.world.edges.get(), bench.permit()), (after, false), "no edge without the permit");
    // As a level it has one edge.
    let mut level = Bench::armed_and_riding();
    let before = level.world.edges.get();
    level.run(1.0);
    assert_eq!(level.world.edges.get(), before);
}

#[test]
fn a_welded_relay_is_found_before_anybody_rides_and_in_use() {
    for pulses in [false, true] {
        let parts = Parts { permit_pulses: pulses, readback_s: Some(0.15), ..Parts::NONE };
        let mut bench = Bench::with_parts(parts);
        bench.world.welded.set(true);
        bench.run(1.0);
        assert_eq!((bench.state().0, bench.app.status.fault), (State::Fault, Some(Trouble::PermitStuck)));
        let mut bench = Bench::riding_with(parts);
        bench.world.welded.set(true);
        bench.run(2.0);
        assert_eq!(bench.state().0, State::Ride, "nothing shows while it should be closed");
        bench.world.reading.set(Ok(700.0));
        let said = bench.run(0.5);
        assert_eq!((bench.state().0, bench.app.status.fault), (State::Fault, Some(Trouble::PermitStuck)));
        let faulted = Noted::Watch(What::Faulted(Trouble::PermitStuck));
        assert!(said.iter().any(|m| matches!(m, FromBox::Event(entry) if entry.what == faulted)));
        // A reset finds it again.
        bench.restart(ResetCause::Watchdog);
        bench.run(0.5);
        assert!(!bench.permit());
        assert_eq!(bench.app.status.fault, Some(Trouble::PermitStuck));
    }
}

#[test]
fn a_second_sensor_that_drifts_or_goes_is_a_fault() {
    let parts = Parts { second: most_parts().second, ..Parts::NONE };
    let mut bench = Bench::riding_with(parts);
    bench.world.second.set(Ok(20.0));
    bench.run(3.0);
    assert_eq!(bench.state().0, State::Ride, "within the two errors");
    bench.world.second.set(Ok(-60.0));
    bench.run(0.5);
    assert_eq!((bench.state().0, bench.app.status.fault), (State::Fault, Some(Trouble::Disagree)));
    let mut bench = Bench::riding_with(parts);
    bench.world.second.set(Err(Fault::NoAnswer));
    bench.run(0.5);
    assert_eq!((bench.state().0, bench.app.status.fault), (State::Fault, Some(Trouble::SecondLost)));
    // With one sensor nobody asks for the other.
    let mut bench = Bench::armed_and_riding();
    bench.world.second.set(Err(Fault::NoAnswer));
    bench.run(2.0);
    assert!(bench.permit());
}

#[test]
fn one_blower_that_stands_still_takes_the_permit_without_the_siren() {
    let mut bench = Bench::riding_with(Parts { blowers: 3, ..Parts::NONE });
    bench.world.running.set(0b1101);
    let said = bench.run(2.0);
    assert_eq!((bench.state(), bench.app.status.siren), ((State::Wait, Reason::BlowerStill), false));
    assert_eq!(beside(&said).map(|seen| seen.still), Some(0b010));
    bench.world.running.set(0b1000);
    bench.run(0.6);
    assert_eq!((bench.state(), bench.app.status.siren), ((State::Stop, Reason::BlowerStill), true));
    assert_eq!(bench.app.status.supply, Some(true));
}

#[test]
fn a_low_battery_keeps_the_first_permit_back() {
    let mut bench = Bench::with_parts(Parts { battery: most_parts().battery, ..Parts::NONE });
    bench.world.battery.set(Some(12.2));
    bench.run(5.0);
    bench.world.reading.set(Ok(1000.0));
    let said = bench.run(20.0);
    assert_eq!((bench.state(), bench.permit()), ((State::Fill, Reason::BatteryLow), false));
    assert!(beside(&said).unwrap().left_s.unwrap() < 14_400.0);
    bench.world.battery.set(None);
    bench.run(5.0);
    assert_eq!(bench.state().1, Reason::BatteryLow, "a battery that cannot be measured is none");
}

#[test]
fn a_failed_test_of_itself_is_in_the_log_and_keeps_the_permit_back() {
    let failed = SelfTest { program: Tested::Failed, memory: Tested::Good, clock: Tested::Good };
    let mut bench = Bench::new();
    bench.arm(sample());
    bench.app.self_tested(failed);
    let said = bench.run(5.0);
    let record = Noted::Watch(What::SelfTested(failed));
    assert!(said.iter().any(|m| matches!(m, FromBox::Event(entry) if entry.what == record)));
    bench.world.reading.set(Ok(1000.0));
    bench.run(15.0);
    assert_eq!((bench.state(), bench.permit()), ((State::Fill, Reason::SelfTestFailed), false));
    bench.send(&ToBox::ReadLog { from: 0 });
    let log = bench.run(3.0);
    assert!(log.iter().any(|m| matches!(m, FromBox::Logged { entry, .. } if entry.what == record)));
    bench.app.self_tested(SelfTest { program: Tested::Good, ..failed });
    bench.run(10.0);
    assert!(bench.permit());
}

#[test]
fn a_reset_while_people_ride_is_no_stop_where_each_blower_is_sensed() {
    for cause in [ResetCause::Watchdog, ResetCause::BrownOut] {
        let mut bench = Bench::riding_with(Parts { blowers: 2, ..Parts::NONE });
        bench.restart(cause);
        for _ in 0..100 {
            bench.run(0.02);
            assert!(!bench.app.status.siren, "{cause:?}: {:?}", bench.state());
        }
        bench.run(8.0);
        assert_eq!(bench.state(), (State::Ride, Reason::Normal), "{cause:?}");
        // And blowers that are still indeed are found as fast as ever.
        bench.world.running.set(0);
        bench.restart(cause);
        bench.run(0.7);
        assert_eq!((bench.state(), bench.app.status.siren), ((State::Stop, Reason::BlowerStill), true), "{cause:?}");
    }
}

#[test]
fn a_battery_that_is_measured_no_more_is_none() {
    let mut bench = Bench::riding_with(Parts { battery: most_parts().battery, ..Parts::NONE });
    bench.world.battery.set(None);
    bench.run(2.5);
    assert_eq!((bench.state().1, bench.permit()), (Reason::BatteryLow, false));
}

#[test]
fn a_sense_that_chatters_takes_no_room_from_a_stop() {
    let mut bench = Bench::riding_with(Parts { blowers: 1, ..Parts::NONE });
    let mut told = 0;
    for flip in 0..400_u16 {
        bench.world.running.set(u8::from(flip % 2 == 1));
        let said = bench.run(0.6);
        told += said
            .iter()
            .filter(|m| matches!(m, FromBox::Event(e) if matches!(e.what, Noted::Watch(What::Blower { .. }))))
            .count();
    }
    assert!(told > 200, "every change is told on the line: {told}");
    bench.send(&ToBox::ReadLog { from: 0 });
    let said = bench.run(30.0);
    let is_blower = |m: &&FromBox| matches!(m, FromBox::Logged { entry, .. } if matches!(entry.what, Noted::Watch(What::Blower { .. })));
    let logged = said.iter().filter(is_blower).count();
    assert!((1..=61).contains(&logged), "{logged} of {told} in the log");
}
