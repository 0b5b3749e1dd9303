//! The box made of software: what it does, step by step.

use super::super::arm::{ArmError, NEEDED, arm, look};
use super::super::port::Decoder;
use super::*;
use landfall_core::watch::Reason;
use landfall_firmware::link::{FromBox, Status};
use landfall_plan::plan::compute;
use landfall_plan::site::{Second, Sensor, demo};
use landfall_sampling::Stop;

#[test]
fn the_demo_can_be_armed_with_the_plans_own_figures() {
    let site = demo().with_value("spread.samples", "5000").unwrap();
    let results = compute(&site, NEEDED, &Stop::default()).unwrap();
    let s = arm(&site, &results, Sensor::Bridge20, 1).unwrap().settings;
    // From the plan: needed is commitment, 0.1 s of alarm delay with the supply sensed, and 1 s of reaction.
    let p = &results.pressures;
    assert!((f64::from(s.needed_s) - p.commitment_s.get().unwrap() - 1.1).abs() < 1e-3);
    assert_eq!(Some(s.stop_pa), p.stop_pa.get().map(|pa| pa as f32));
    assert_eq!(Some(s.wait_pa), p.levels.get().map(|levels| levels.acting_wait_pa as f32));
    let t = results.touchdown.as_ref().unwrap();
    // The hard landing is no softer than the mean one.
    assert!(f64::from(s.landing_peak_pa) >= t.peak_pressure_pa);
    assert!((f64::from(s.recovery_s) - t.recovery_s.get().unwrap().max(3.0)).abs() < 1e-3);
    let dip_pa = f64::from(s.operating_pa) - t.dip_pa.get().unwrap();
    assert!((f64::from(s.landing_dip_pa) - dip_pa.max(10.0)).abs() < 0.01);
    assert!(
        matches!(arm(&site, &results, Sensor::Thermal500, 1), Err(ArmError::Stop(why)) if why[0].contains("bridge10"))
    );
    let notes = arm(&site, &results, Sensor::Bridge20, 1).unwrap().notes;
    assert!(!notes.iter().any(|note| note.contains("above the stop pressure")), "{notes:?}");
}

fn last_status(sim: &mut Sim, decoder: &mut Decoder, seconds: f64) -> Status {
    let mut last = Status::default();
    for _ in 0..(seconds / STEP_S) as u64 {
        sim.step();
        for message in decoder.take(&sim.said()) {
            if let Ok(FromBox::Status(status)) = message {
                last = status;
            }
        }
    }
    last
}

/// The demo's box with every part, armed from its plan; and its riders.
fn fitted() -> (Site, WatchSettings, Option<Riders>) {
    let mut site = demo().with_value("spread.samples", "5000").unwrap();
    site.blower.count = 2;
    site.watch.second = Second::Bridge;
    (site.watch.permit_pulses, site.watch.permit_readback, site.watch.blower_sense) = (true, true, true);
    (site.watch.battery_full_v, site.watch.battery_empty_v) = (Some(12.8), Some(11.6));
    site.watch.battery_lasts_s = Some(43_200.0);
    let results = compute(&site, NEEDED, &Stop::default()).unwrap();
    let settings = look(&site, &results, Some(Sensor::Bridge20), 1).unwrap().settings;
    let riders = Riders::of(&site, &results);
    (site, settings, riders)
}

#[test]
fn a_box_with_every_part_rides_on_a_computed_bag_and_each_fault_is_told() {
    let (site, settings, riders) = fitted();
    let parts = settings.parts;
    assert!(parts.permit_pulses && parts.readback_s == Some(0.15) && parts.blowers == 2, "{parts:?}");
    assert!(parts.second.is_some() && parts.battery.is_some_and(|battery| battery.session_s == 10_800.0));
    let plan = |script: &str| Plan {
        settings: Some(settings),
        range_pa: 4982.0,
        riders,
        script: crate::script::parse(script).unwrap(),
        seed: 1,
        full: false,
    };
    let run = |script: &str, seconds: f64| {
        let mut sim = Sim::new(&site, plan(script)).unwrap();
        let (mut decoder, mut seen) = (Decoder::default(), crate::live::Seen::new("box"));
        for _ in 0..(seconds / STEP_S) as u64 {
            sim.step();
            for message in decoder.take(&sim.said()) {
                seen.take(&crate::live::Brought::Message(Box::new(message.unwrap())));
            }
        }
        (seen, sim.landings())
    };
    let (well, landings) = run("", 300.0);
    let status = well.status.unwrap();
    assert_eq!(status.fault, None, "{status:?}");
    assert!(landings >= 3 && status.landings >= 3, "{landings} {}", status.landings);
    let beside = well.beside.unwrap();
    assert!(beside.second_pa.is_some() && beside.contact.is_some() && beside.still == 0, "{beside:?}");
    assert!(beside.left_s.is_some_and(|left_s| left_s > 10_800.0), "{beside:?}");
    assert!(well.line().contains("left by estimate"), "{}", well.line());
    for (script, head, todo, line) in [
        ("1 s: welded", "ALL STOP", "welded relay", "fault: permit stuck"),
        ("100 s: apart 60 Pa", "ALL STOP", "two pressure sensors do not agree", "second sensor"),
        ("100 s: still 2", "WAIT", "A blower stands still", "BLOWER 2 STANDS STILL"),
        ("0 s: battery 12.0 V", "WAIT", "does not last the session", "battery 12.0 V"),
        ("100 s: stall", "ALL STOP", "No blower runs", "BLOWERS 1, 2 STAND STILL"),
    ] {
        let (seen, _) = run(script, if script.starts_with('1') && script.contains("00") { 108.0 } else { 60.0 });
        let told = seen.first();
        assert_eq!(told.head, head, "{script}: {}", seen.line());
        assert!(told.todo.contains(todo) && seen.line().contains(line), "{script}: {} {}", told.todo, seen.line());
    }
}

#[test]
fn a_site_that_asks_for_the_top_rides_with_it_and_not_without() {
    let site = demo().with_value("spread.samples", "5000").unwrap().with_value("watch.top_signal", "true").unwrap();
    let results = compute(&site, NEEDED, &Stop::default()).unwrap();
    let armed = arm(&site, &results, Sensor::Bridge20, 1).unwrap();
    assert!(armed.settings.with_top() && armed.lines.iter().any(|line| line.what.contains("at the top")));
    let away = Scripted { at_s: 120.0, until_s: 130.0, what: Happening::TopAway };
    let plan = Plan {
        settings: Some(armed.settings),
        range_pa: 4982.0,
        riders: None,
        script: vec![away],
        seed: 1,
        full: true,
    };
    let mut sim = Sim::new(&site, plan).unwrap();
    let mut decoder = Decoder::default();
    let status = last_status(&mut sim, &mut decoder, 119.0);
    assert!(status.permit && sim.green_at_top(), "{status:?}");
    let status = last_status(&mut sim, &mut decoder, 5.0);
    assert!(!status.permit && !sim.green_at_top());
    assert_eq!(status.state.map(|(_, reason)| reason), Some(Reason::TopSilent));
    let status = last_status(&mut sim, &mut decoder, 10.0);
    assert!(status.permit && sim.green_at_top());
}

#[test]
fn a_box_without_settings_shows_red_and_gives_no_permit() {
    let plan = Plan { settings: None, range_pa: 4982.0, riders: None, script: vec![], seed: 1, full: false };
    let mut sim = Sim::new(&demo(), plan).unwrap();
    let status = last_status(&mut sim, &mut Decoder::default(), 5.0);
    assert_eq!(status.state, None);
    assert!(sim.pins().red && !sim.pins().permit);
    assert_ne!(status.at, TimeUs(0));
}
