//! The marks and pressures to ride by, over some forty varied sites: the box gets the plan's own numbers and never refuses
//! what the plan calls inside; from both start marks of each the plan has no stop; every stop has a row among the limits.
#![allow(clippy::panic)]

use landfall_box::arm::{ArmError, NEEDED, arm};
use landfall_plan::plan::compute;
use landfall_plan::plan::limits::limits;
use landfall_plan::plan::results::{Level, Results, RideBy, Standing};
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Site, demo, read_site};
use landfall_sampling::Stop;
use rayon::prelude::*;
use std::path::Path;

/// Runs: enough for a miss in a thousand.
const SAMPLES: &str = "20000";

/// Changes to the demo: blowers, openings, riders, wind, units, sensors, measured and settled bags.
const CHANGES: [&[(&str, &str)]; 26] = [
    &[],
    &[("site.units", "imperial"), ("site.gauge", "inH2O")],
    &[("site.gauge", "psi"), ("bag.gap", "1.0 m")],
    &[("site.gauge", "mmH2O"), ("bag.skin_stretch", "1e-4 /Pa")],
    &[("site.gauge", "mbar"), ("watch.supply_sense", "false")],
    &[("site.gauge", "Pa"), ("watch.sensor", "barometers")],
    &[("watch.sensor", "thermal500")],
    &[("watch.sensor", "bridge10")],
    &[("session.interval", "4 s")],
    &[("session.interval", "61.5 s")],
    &[("blower.count", "1")],
    &[("blower.count", "3")],
    &[("blower.speed", "0.8")],
    &[("bag.vent_area", "400 cm2")],
    &[("bag.vent_area", "1200 cm2")],
    &[("unknown.area", "0.3"), ("unknown.skin_stretch", "0.4")],
    &[("bag.front_height", "1.4 m"), ("bag.back_height", "1.4 m")],
    &[("bag.front_height", "3.2 m"), ("bag.back_height", "3.2 m")],
    &[("bag.front_height", "2.0 m"), ("bag.back_height", "2.6 m")],
    &[("bag.front_height", "2.6 m"), ("bag.back_height", "2.0 m")],
    &[("roll_in.start_height", "5.0 m")],
    &[("roll_in.start_height", "7.0 m"), ("bag.gap", "1.6 m")],
    &[("roll_in.start_height", "2.0 m")],
    &[("rider.lightest", "35 kg"), ("rider.heaviest", "120 kg")],
    &[("wind.across", "4 m/s")],
    &[("unknown.area", "0.02"), ("unknown.skin_stretch", "0")],
];

fn planned(site: &Site) -> Results {
    compute(site, NEEDED, &Stop::default()).unwrap_or_else(|error| panic!("{}: {error}", site.site.name))
}

/// With the winds to hold in, which no box needs and people do.
fn planned_to_ride(site: &Site) -> Results {
    let parts = landfall_plan::plan::Parts { hold_winds: true, ..NEEDED };
    compute(site, parts, &Stop::default()).unwrap_or_else(|error| panic!("{}: {error}", site.site.name))
}

fn sites() -> Vec<(String, Site)> {
    let mut list: Vec<(String, Site)> = Vec::new();
    for changes in CHANGES {
        let mut site = demo().with_value("spread.samples", SAMPLES).unwrap();
        for (key, value) in changes {
            // What the demo states and a change does not go together with is left out, as an editor would.
            site = match site.with_value(key, *value) {
                Ok(site) => site,
                Err(faults) => panic!("{key} = {value}: {faults}"),
            };
        }
        list.push((format!("demo {changes:?}"), site));
    }
    // The same bag, and nobody measured it.
    let unmeasured: String = landfall_plan::site::demo_text()
        .lines()
        .filter(|line| !line.starts_with("area = "))
        .map(|line| format!("{line}\n"))
        .collect();
    for gap in ["0.2 m", "0.8 m"] {
        let site = read_site(&unmeasured, "unmeasured").unwrap_or_else(|faults| panic!("{faults}"));
        assert!(!site.bag.force_area.is_measured());
        let site = site.with_value("bag.gap", gap).unwrap().with_value("spread.samples", SAMPLES).unwrap();
        list.push((format!("unmeasured {gap}"), site));
    }
    list.push(("groups that all keep their limits".to_owned(), two_groups()));
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/sites");
    let mut paths: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    for path in paths.iter().step_by(2) {
        let text = std::fs::read_to_string(path).unwrap();
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let site = read_site(&text, &name).unwrap().with_value("spread.samples", SAMPLES).unwrap();
        list.push((name, site));
    }
    assert!(list.len() >= 40, "{}", list.len());
    list
}

/// The demo's bag, a little closer, with two groups that start from marks of their own and keep every limit.
fn two_groups() -> Site {
    let text = landfall_plan::site::demo_text().replace("gap = \"0.8 m\"", "gap = \"0.6 m\"")
        + "\n[[group]]\nname = \"new\"\nstart_height = \"5.8 m\"\nmass = \"72 kg\"\nlightest = \"64 kg\"\nheaviest = \"84 kg\"\n\
           \n[[group]]\nname = \"practised\"\nmass = \"80 kg\"\nlightest = \"64 kg\"\nheaviest = \"95 kg\"\n";
    let site = read_site(&text, "groups").unwrap_or_else(|faults| panic!("{faults}"));
    assert!((site.bag.gap_m.unwrap() - 0.6).abs() < 1e-6);
    site.with_value("spread.samples", SAMPLES).unwrap()
}

/// The first mark's numbers against the settings of the box, which it acts on.
fn same_as_the_box(name: &str, site: &Site, by: &RideBy, results: &Results) {
    let armed = arm(site, results, site.watch.sensor, 1).unwrap_or_else(|error| panic!("{name}: {error}"));
    let s = armed.settings;
    let shown = Shown::of(site);
    let up = |pa: f32| shown.pressure(f64::from(pa), Toward::Up);
    let marked = |pa: Option<f64>| shown.pressure(pa.unwrap_or(f64::NAN), Toward::Nearest);
    assert_eq!(marked(by.everybody_off_under_pa.get()), up(s.trip_pa()), "{name}: everybody off");
    assert_eq!(marked(by.next_rider_from_pa.get()), up(s.ready_pa()), "{name}: next rider");
    assert!(
        by.seconds_between >= f64::from(s.interval_s) && by.seconds_between < f64::from(s.interval_s) + 1.0,
        "{name}"
    );
    assert!(f64::from(s.recovery_s) + 2.0 <= by.seconds_between, "{name}");
}

/// A plan from another start, for one crew.
fn from_start(site: &Site, start_m: f64) -> Results {
    planned(&site.with_value("roll_in.start_height", start_m).unwrap())
}

fn stops(results: &Results) -> Vec<String> {
    let stops = results.findings.iter().filter(|finding| finding.level == Level::Stop);
    stops.map(|finding| format!("{}: {}", finding.id, finding.text)).collect()
}

#[test]
fn the_box_and_the_marks_are_the_plans_own() {
    let seen: Vec<[usize; 3]> = sites()
        .par_iter()
        .map(|(name, site)| {
            let results = planned_to_ride(site);
            let rows = limits(site, &results);
            crate::one_voice::hear(name, site, &results);
            for finding in results.findings.iter().filter(|finding| finding.level == Level::Stop) {
                assert!(
                    rows.iter()
                        .any(|row| row.broken()
                            && (row.findings.contains(&finding.id) || row.what == finding.topic.name())),
                    "{name}: {} has no row among the limits\n{rows:#?}",
                    finding.id
                );
            }
            let broken = rows.iter().filter(|row| row.broken()).count();
            assert_eq!(
                (results.verdict.limits_broken, results.verdict.limits_kept),
                (broken, rows.len() - broken),
                "{name}"
            );
            assert_eq!(
                results.verdict.standing == Standing::Outside,
                broken > 0,
                "{name}: {:?}\n{rows:#?}",
                stops(&results)
            );
            let cause = results.verdict.first_cause.get();
            assert_eq!(cause.is_some(), broken > 0, "{name}");
            if results.verdict.standing == Standing::Outside {
                let refused = arm(site, &results, site.watch.sensor, 1);
                assert!(
                    matches!(refused, Err(ArmError::Stop(_) | ArmError::Plan(_))),
                    "{name}: armed although outside"
                );
                return [0, 0, 1];
            }
            for by in &results.ride_by {
                same_as_the_box(name, site, by, &results);
                // Both ends of the marks, each planned for itself.
                let (Some(low), Some(high)) = (by.start_low_m.get(), by.start_high_m.get()) else {
                    panic!("{name}: a plan that is not outside has no marks: {by:?}");
                };
                assert!(
                    low <= high + 1.0e-6 && (low / 0.05 - (low / 0.05).round()).abs() < 1.0e-6 || low == high,
                    "{name}"
                );
                for start_m in [low, high] {
                    let there = from_start(site, start_m);
                    let found = stops(&there);
                    assert!(found.is_empty(), "{name} from {start_m}: {found:?}");
                }
            }
            [
                usize::from(results.verdict.standing == Standing::Inside),
                usize::from(results.verdict.standing == Standing::Provisional),
                0,
            ]
        })
        .collect();
    let count = |i: usize| seen.iter().map(|one| one[i]).sum::<usize>();
    let (inside, provisional, outside) = (count(0), count(1), count(2));
    println!("{inside} inside, {provisional} provisional, {outside} outside");
    // All three kinds are among them.
    assert!(inside + provisional >= 8 && outside >= 8, "{inside} inside, {provisional} provisional, {outside} outside");
}

/// What a plan names as a cure leaves no stop when it is done.
#[test]
fn cures_cure() {
    let parts = landfall_plan::plan::Parts { tails: false, hold_winds: false, ..landfall_plan::plan::Parts::ALL };
    let mut cured = 0;
    for change in [("blower.speed", "0.6"), ("bag.gap", "3.5 m"), ("anchors.count", "4"), ("session.interval", "4 s")] {
        let site = demo().with_value("spread.samples", SAMPLES).unwrap().with_value(change.0, change.1).unwrap();
        let results = compute(&site, parts, &Stop::default()).unwrap();
        assert!(results.verdict.stops > 0, "{change:?}");
        assert!(!results.cures.is_empty(), "{change:?}: nothing was tried");
        for cure in results.cures.iter().filter(|cure| cure.leaves_stops == 0 && cure.change != "bag turned") {
            assert_eq!(Some(cure.finding), results.verdict.first_cause.get());
            let mended = planned(&site.with_value(cure.key, cure.to.as_str()).unwrap());
            assert!(stops(&mended).is_empty(), "{change:?}, {}: {:?}", cure.change, stops(&mended));
            cured += 1;
        }
    }
    assert!(cured >= 3, "{cured} cures");
}

/// One bag and one card: the line and the winds of whom they bind most.
#[test]
fn groups_share_the_strictest_line_and_winds() {
    let results = planned_to_ride(&two_groups());
    assert_eq!(results.verdict.standing, Standing::Inside);
    let of =
        |take: fn(&RideBy) -> Option<f64>| -> Vec<f64> { results.ride_by.iter().map(|by| take(by).unwrap()).collect() };
    let (lines, winds) = (of(|by| by.stop_line_before_foot_m.get()), of(|by| by.hold_along_head_mps.get()));
    assert!(lines[1] > lines[0] + 0.1 && winds[0] < winds[1] - 0.1, "{lines:?} {winds:?}");
    // The gap that suits all, and not the one of a rider in neither group.
    let highs: Vec<f64> = results.groups.iter().map(|(_, own)| own.placement.gap_high_m.get().unwrap()).collect();
    assert!(highs[0] < highs[1] - 0.01, "{highs:?}");
    assert_eq!(results.gap_band_m().map(|band| band.1), Some(highs[0]));
    let everybody = results.for_everybody().unwrap();
    assert_eq!(everybody.stop_line_before_foot_m.get(), Some(lines[1]));
    assert_eq!(everybody.hold_along_head_mps.get(), Some(winds[0]));
}

/// Each group has its own marks and findings; the bag and the box serve all.
#[test]
fn groups_have_their_own_marks() {
    let text = landfall_plan::site::demo_text().to_owned()
        + "\n[[group]]\nname = \"kids\"\nmass = \"45 kg\"\nlightest = \"35 kg\"\nheaviest = \"55 kg\"\n\
           \n[[group]]\nname = \"adults\"\nmass = \"80 kg\"\nlightest = \"65 kg\"\nheaviest = \"95 kg\"\n";
    let site = read_site(&text, "groups").unwrap().with_value("spread.samples", SAMPLES).unwrap();
    let results = planned(&site);
    let names: Vec<&str> = results.ride_by.iter().map(|by| by.group.as_str()).collect();
    assert_eq!(names, ["kids", "adults"]);
    let [kids, adults] = [&results.ride_by[0], &results.ride_by[1]];
    assert_eq!((kids.lightest_kg, adults.heaviest_kg), (35.0, 95.0));
    assert_eq!(kids.everybody_off_under_pa.get(), adults.everybody_off_under_pa.get());
    assert_eq!(kids.next_rider_from_pa.get(), adults.next_rider_from_pa.get());
    // The lightest of all make the light landing, the heaviest of all the hard one.
    let demanded = results.pressures.demanded.as_ref().unwrap();
    assert!((demanded.lightest_kg - 35.0).abs() < 1e-4 && (demanded.heaviest_kg - 109.0).abs() < 1e-4, "{demanded:?}");
    assert!(results.findings.iter().any(|finding| finding.group.as_deref() == Some("kids")));
    let json = serde_json::to_value(&results).unwrap();
    assert!(json["ride_by"]["kids"]["lightest_kg"].is_f64() && json["ride_by"]["adults"].is_object());
}
