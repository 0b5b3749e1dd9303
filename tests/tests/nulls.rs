//! Every null of a plan carries its reason, and a finding says it: over plans in which much is null.
#![allow(clippy::panic)] // helpers of tests

use landfall_plan::plan::csv::flatten;
use landfall_plan::plan::results::{About, Null, Results, Why, nulls};
use landfall_plan::plan::{Parts, compute};
use landfall_plan::site::{Site, demo, read_site};
use landfall_sampling::Stop;
use std::collections::BTreeSet;

/// Samples of a plan: enough for every search to be made.
const SAMPLES: f64 = 4_000.0;

/// Keys that may be null without a reason, where they were not asked for.
const PLAIN: [&str; 8] = [
    "spread.sampling",
    "spread.tails",
    "placement.miss_now",
    "placement.gap_runs",
    "riders.lightest.miss",
    "riders.lightest.misses",
    "riders.heaviest.miss",
    "riders.heaviest.misses",
];

/// The reference sites by their names.
fn reference() -> Vec<(String, Site)> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/reference/sites");
    let mut paths: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    let read = |path: &std::path::PathBuf| {
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let text = std::fs::read_to_string(path).unwrap();
        let site = read_site(&text, &name).unwrap_or_else(|faults| panic!("{name}: {faults}"));
        (name, site)
    };
    paths.iter().map(read).collect()
}

/// The demo with some values changed, each as the site file has it.
fn changed(changes: &[(&str, &str)]) -> Site {
    changes.iter().fold(demo(), |site, (key, value)| site.with_value(key, *value).unwrap())
}

/// The nulls of what is printed, which are those found by walking over the results; without what findings say of
/// themselves.
fn nulls_of(name: &str, results: &Results) -> Vec<Null> {
    let printed: Vec<String> =
        flatten(results).into_iter().filter(|(_, value)| value.is_null()).map(|(key, _)| key).collect();
    let found = nulls(results);
    assert_eq!(found.iter().map(|null| null.key.clone()).collect::<Vec<_>>(), printed, "{name}");
    found.into_iter().filter(|null| !null.key.starts_with("findings.")).collect()
}

/// The keys that findings say have no value, each once.
fn told(name: &str, results: &Results) -> BTreeSet<String> {
    let mut keys = BTreeSet::new();
    for finding in results.findings.iter().filter(|finding| finding.topic == About::NoValue) {
        let (_, list) = finding.text.trim_end_matches('.').rsplit_once(": ").unwrap();
        for key in list.split(", ") {
            assert!(keys.insert(key.to_owned()), "{name}: {key} is told twice");
        }
    }
    keys
}

#[test]
fn no_null_of_a_whole_plan_is_without_a_reason_that_is_told() {
    let mut sites = reference();
    let odd: [(&str, &[(&str, &str)]); 16] = [
        ("the demo", &[]),
        ("a stall", &[("roll_in.start_height", "1.2 m")]),
        ("hardly over the lip", &[("roll_in.start_height", "3.2 m")]),
        ("too fast", &[("roll_in.start_height", "12 m")]),
        ("too far", &[("bag.gap", "9 m")]),
        ("windy", &[("wind.along", "9 m/s")]),
        ("a weak blower", &[("blower.speed", "0.3")]),
        ("no blower to speak of", &[("blower.speed", "0.1"), ("bag.skin_weight", "5 kg/m2")]),
        ("a heavy skin", &[("bag.skin_weight", "10 kg/m2"), ("blower.speed", "0.3")]),
        ("a high front", &[("bag.front_height", "6 m"), ("bag.back_height", "6 m")]),
        ("a front above the flight", &[("bag.front_height", "4.5 m"), ("bag.back_height", "4.5 m")]),
        ("nothing senses the supply", &[("watch.supply_sense", "false"), ("roll_in.start_height", "3.4 m")]),
        ("a small bag", &[("bag.volume", "30 m3"), ("bag.vent_area", "3000 cm2")]),
        ("a high floor", &[("bag.depth_limit", "0.1")]),
        ("a narrow range", &[("bag.load_limit", "2"), ("bag.load_stop", "3")]),
        ("a load that nothing reaches", &[("bag.load_stop", "60"), ("bag.load_limit", "59")]),
    ];
    sites.extend(odd.iter().map(|(name, changes)| ((*name).to_owned(), changed(changes))));
    let mut seen: BTreeSet<&str> = BTreeSet::new();
    for (name, site) in &sites {
        let site = site.with_value("spread.samples", SAMPLES).unwrap();
        let parts = Parts { cures: false, ..Parts::ALL };
        let results = compute(&site, parts, &Stop::default()).unwrap_or_else(|error| panic!("{name}: {error}"));
        let mut with_reason = BTreeSet::new();
        for null in nulls_of(name, &results) {
            match null.why {
                Some(why) => {
                    assert_ne!(why, Why::NotAsked, "{name}: {}", null.key);
                    seen.insert(why.name());
                    with_reason.insert(null.key);
                }
                None => panic!("{name}: {} is null without a reason", null.key),
            }
        }
        assert_eq!(told(name, &results), with_reason, "{name}");
    }
    println!("{} of {} reasons: {seen:?}", seen.len(), Why::ALL.len());
    assert!(seen.len() > 25, "{seen:?}");
}

/// Of a plan of which little was asked for, what was not is passed over.
#[test]
fn what_was_not_asked_for_is_not_told() {
    for (name, site) in &reference() {
        let results = compute(site, Parts::QUICK, &Stop::default()).unwrap_or_else(|error| panic!("{name}: {error}"));
        let mut with_reason = BTreeSet::new();
        for null in nulls_of(name, &results) {
            match null.why {
                Some(Why::NotAsked) => {}
                Some(_) => drop(with_reason.insert(null.key)),
                None => {
                    assert!(PLAIN.contains(&null.key.as_str()), "{name}: {} is null without a reason", null.key);
                }
            }
        }
        assert_eq!(told(name, &results), with_reason, "{name}");
    }
}
