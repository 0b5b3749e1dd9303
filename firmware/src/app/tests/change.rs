//! A change of settings, and forgetting them.

use super::*;

#[test]
fn settings_need_the_button_and_the_right_site_and_age() {
    let mut bench = Bench::new();
    let settings = sample();
    let check = check_of(&settings).unwrap();
    bench.send(&ToBox::Confirm { check });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::NotStaged]);
    bench.send(&ToBox::Offer(settings));
    assert!(bench.run(0.1).contains(&FromBox::Staged(settings)));
    bench.send(&ToBox::Confirm { check });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Button]);
    bench.world.button.set(true);
    bench.run(0.5);
    bench.send(&ToBox::Confirm { check });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Button], "half a second is not held");
    bench.run(1.0);
    bench.send(&ToBox::Confirm { check: check ^ 1 });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::NotStaged]);
    bench.send(&ToBox::Confirm { check });
    assert!(bench.run(0.1).contains(&FromBox::Stored(settings)));
    bench.world.button.set(false);
    bench.run(0.1);

    let old = WatchSettings { revision: 2, ..settings };
    assert_eq!(refusals(&bench.arm(old)), [Refusal::NotStaged]);
    bench.run(0.1);
    bench.send(&ToBox::Offer(old));
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Stale { revision: 3 }]);
    bench.send(&ToBox::Offer(WatchSettings { site_id: 8, revision: 9, ..settings }));
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Foreign { site_id: 7 }]);
    bench.send(&ToBox::Offer(WatchSettings { revision: 9, stop_pa: f32::NAN, ..settings }));
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Impossible]);
    bench.world.range_pa.set(500.0);
    bench.send(&ToBox::Offer(WatchSettings { revision: 9, ..settings }));
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::SensorRange { range_pa: 500.0 }]);
    bench.send(&ToBox::ReadSettings);
    assert!(bench.run(0.1).contains(&FromBox::Settings(Some(settings))));
}

#[test]
fn staged_settings_are_dropped_after_a_minute() {
    let mut bench = Bench::new();
    bench.send(&ToBox::Offer(sample()));
    bench.run(59.0);
    bench.world.button.set(true);
    bench.run(2.0);
    bench.send(&ToBox::Confirm { check: check_of(&sample()).unwrap() });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::NotStaged]);
}

#[test]
fn storing_settings_while_riding_opens_the_permit() {
    let mut bench = Bench::armed_and_riding();
    let newer = WatchSettings { revision: 4, needed_s: 5.0, ..sample() };
    assert!(bench.arm(newer).contains(&FromBox::Stored(newer)));
    assert!(!bench.permit());
    // Somebody may be riding: no trial, and the air is watched at once.
    assert_eq!(bench.app.status.state.map(|s| s.0), Some(State::Wait));
}

#[test]
fn a_power_cut_at_any_byte_of_an_upload_leaves_one_or_the_other() {
    let first = sample();
    let second = WatchSettings { revision: 4, needed_s: 5.0, ..first };
    let (mut old, mut new) = (0, 0);
    let mut armed = Bench::new();
    armed.arm(first);
    let image = armed.world.flash.borrow().clone();
    for cut in 1..700 {
        let mut bench = Bench::new();
        bench.world.flash.borrow_mut().clone_from(&image);
        bench.restart(ResetCause::PowerOn);
        bench.run(0.06);
        bench.world.button.set(true);
        bench.run(1.2);
        bench.send(&ToBox::Offer(second));
        bench.run(0.06);
        bench.world.power.set(cut);
        bench.send(&ToBox::Confirm { check: check_of(&second).unwrap() });
        let confirmed = bench.run(0.1).contains(&FromBox::Stored(second));
        bench.world.button.set(false);
        bench.restart(ResetCause::PowerOn);
        match bench.app.settings {
            Some(s) if s == second => new += 1,
            Some(s) if s == first && !confirmed => old += 1,
            other => panic!("cut {cut}: {other:?}, confirmed {confirmed}"),
        }
    }
    assert!(old > 100 && new > 100, "{old} {new}");
}

#[test]
fn a_box_forgets_by_line_and_button_together_and_keeps_the_revision() {
    let mut bench = Bench::armed_and_riding();
    // By the button alone, held since the start: nothing is forgotten.
    bench.world.button.set(true);
    bench.restart(ResetCause::PowerOn);
    bench.run(15.0);
    assert_eq!(bench.app.settings, Some(sample()));
    bench.send(&ToBox::Forget { site_id: 7 });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::OnDuty]);
    bench.world.button.set(false);
    bench.run(0.1);
    bench.world.button.set(true);
    bench.run(9.0);
    assert_eq!(bench.app.status.state.map(|s| s.0), Some(State::Ended));
    bench.world.button.set(false);
    bench.run(0.1);
    // By the line alone, and for another site: neither.
    bench.send(&ToBox::Forget { site_id: 7 });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Button]);
    bench.world.button.set(true);
    bench.run(1.5);
    bench.send(&ToBox::Forget { site_id: 8 });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Foreign { site_id: 7 }]);
    bench.send(&ToBox::Forget { site_id: 7 });
    assert!(bench.run(0.1).contains(&FromBox::Forgot { floor: 3 }));
    assert!(bench.app.settings.is_none() && bench.app.watch.is_none());
    bench.world.button.set(false);
    bench.restart(ResetCause::PowerOn);
    assert!(bench.app.settings.is_none());
    // What the box has had it does not take again, of this site or another.
    let other = WatchSettings { site_id: 8, revision: 3, ..sample() };
    bench.send(&ToBox::Offer(other));
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Stale { revision: 3 }]);
    let other = WatchSettings { revision: 4, ..other };
    assert!(bench.arm(other).contains(&FromBox::Stored(other)));
}

#[test]
fn a_shorted_button_does_not_store_settings() {
    let lax = WatchSettings { stop_pa: 100.0, half_way_pa: 550.0, revision: 9, ..sample() };
    let confirm = |bench: &mut Bench| {
        bench.send(&ToBox::Offer(lax));
        bench.run(0.1);
        bench.send(&ToBox::Confirm { check: check_of(&lax).unwrap() });
        refusals(&bench.run(0.1))
    };
    // Shorted since the start.
    let mut bench = Bench::new();
    bench.world.button.set(true);
    bench.restart(ResetCause::PowerOn);
    bench.run(5.0);
    assert_eq!(confirm(&mut bench), [Refusal::Button]);
    // Shorted while it was held for the settings before.
    let mut bench = Bench::new();
    bench.arm(sample());
    bench.world.button.set(true);
    bench.run(5.0);
    assert_eq!(confirm(&mut bench), [Refusal::Button]);
    // Shorted later: held for longer than anybody does.
    let mut bench = Bench::new();
    bench.arm(sample());
    bench.run(0.1);
    bench.world.button.set(true);
    bench.run(31.0);
    assert_eq!(confirm(&mut bench), [Refusal::Button]);
    assert_eq!(bench.app.status.fault, Some(landfall_core::watch::Fault::ButtonStuck));
    assert_eq!(bench.app.settings, Some(sample()));
}
