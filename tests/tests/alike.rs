//! What must come out alike, or in order, at 300 random sites: written in other units, mirrored, with more blowers, from
//! higher up, in every format, at any number of threads.
#![allow(clippy::panic)] // helpers of tests

use std::collections::BTreeMap;
use std::sync::LazyLock;

use landfall_plan::plan::results::Results;
use landfall_plan::plan::{Parts, compute};
use landfall_plan::site::{KEYS, Kind, Site, SiteFile, demo, demo_text};
use landfall_sampling::Stop;
use landfall_tests::mutated::Dice;
use landfall_tests::site_text::imperial;
use rayon::prelude::*;
use serde_json::Value;

/// How many sites.
const SITES: usize = 300;

/// Keys that are drawn, each from this share of the demo's value to that one (or from and to, where the demo's is 0).
const DRAWN: [(&str, f64, f64); 26] = [
    ("site.altitude", 0.0, 2500.0),
    ("site.air_temperature", 0.95, 1.05),
    ("rider.mass", 0.6, 1.3),
    ("rider.bike_mass", 0.7, 1.3),
    ("rider.drag_area_rolling", 0.7, 1.4),
    ("rider.pop", -0.3, 0.6),
    ("rider.carry", 0.5, 1.0),
    ("roll_in.start_height", 0.85, 1.15),
    ("roll_in.rolling_resistance", 0.5, 2.0),
    ("takeoff.radius", 0.9, 1.2),
    ("bag.length", 0.9, 1.4),
    ("bag.width", 0.8, 1.5),
    ("bag.gap", 0.6, 1.3),
    ("bag.offset", -0.6, 0.6),
    ("bag.vent_area", 0.5, 1.5),
    ("bag.leak_coefficient", 0.5, 2.0),
    ("bag.skin_weight", 0.6, 1.6),
    ("bag.skin_stretch", 0.5, 2.0),
    ("blower.speed", 0.8, 1.0),
    ("wind.along", -2.0, 2.0),
    ("wind.across", -2.0, 2.0),
    ("wind.gust", 0.0, 3.0),
    ("spread.lip_speed", 0.5, 1.5),
    ("spread.pop", 0.5, 1.5),
    ("spread.line", 0.5, 1.5),
    ("session.interval", 0.7, 2.0),
];

/// The demo with about half of these drawn; the same for the same number.
fn drawn(number: u64) -> Option<Site> {
    let mut dice = Dice::new(number);
    let base = demo();
    let mut site = base.clone();
    for (key, low, high) in DRAWN {
        let (draw, share) = (dice.share() < 0.5, dice.share());
        if !draw {
            continue;
        }
        let now = KEYS.iter().find(|known| known.dotted == key).unwrap_or_else(|| panic!("no key {key}")).get(&base);
        let by = low + (high - low) * share;
        // Shares of a value that is there; else the value itself.
        let si = match now {
            Some(now) if now != 0.0 && low > 0.0 => now * by,
            _ => by,
        };
        // One that does not go with the others is left as it was.
        if let Ok(with) = site.with_value(key, si) {
            site = with;
        }
    }
    (site != base).then_some(site)
}

/// Sites of which everything quick can be computed.
static ALL: LazyLock<Vec<(Site, Results)>> = LazyLock::new(|| {
    let tried: Vec<Option<(Site, Results)>> = (0..SITES as u64 * 3)
        .into_par_iter()
        .map(|number| {
            let site = drawn(number)?;
            let results = quick(&site)?;
            Some((site, results))
        })
        .collect();
    let all: Vec<(Site, Results)> = tried.into_iter().flatten().take(SITES).collect();
    assert_eq!(all.len(), SITES, "too few of the sites that were drawn can be computed");
    all
});

fn quick(site: &Site) -> Option<Results> {
    compute(site, Parts::QUICK, &Stop::default()).ok()
}

fn set(site: &Site, key: &str, si: f64) -> Option<Site> {
    site.with_value(key, si).ok()
}

fn value(site: &Site, key: &str) -> f64 {
    KEYS.iter().find(|known| known.dotted == key).and_then(|key| key.get(site)).unwrap_or_default()
}

/// Every number of the results under its dotted key.
fn numbers(results: &Results) -> BTreeMap<String, f64> {
    landfall_plan::plan::csv::flatten(results)
        .into_iter()
        .filter_map(|(key, value)| Some((key, value.as_f64()?)))
        .collect()
}

/// How far two results are apart: the key that differs most by more than a share of its value.
fn apart(a: &Results, b: &Results, share: f64, leave: impl Fn(&str) -> bool) -> Option<String> {
    let (a, b) = (numbers(a), numbers(b));
    if a.keys().ne(b.keys()) {
        let other = a.keys().filter(|key| !b.contains_key(*key)).chain(b.keys().filter(|key| !a.contains_key(*key)));
        return Some(format!("keys: {:?}", other.take(5).collect::<Vec<_>>()));
    }
    a.iter().zip(b.values()).filter(|((key, _), _)| !leave(key)).find_map(|((key, a), b)| {
        ((a - b).abs() > share * a.abs().max(b.abs()).max(1e-3)).then(|| format!("{key}: {a} and {b}"))
    })
}

/// Written in feet, pounds and inches of water it is the same site. The last bit of a value may differ, and with it single
/// precision by its own last bit, which a ride and a flight carry to some 1e-5 of their results.
#[test]
fn metric_and_imperial_are_the_same() {
    let wrong: Vec<String> = ALL
        .par_iter()
        .enumerate()
        .filter_map(|(i, (site, results))| {
            let mut file = SiteFile::parse(demo_text(), "x.toml").unwrap_or_else(|faults| panic!("{faults}"));
            for (key, ..) in DRAWN {
                let known = KEYS.iter().find(|known| known.dotted == key)?;
                let text = match known.kind {
                    Kind::Quantity(dimension) => imperial(known.get(site)?, dimension),
                    _ => format!("{:e}", known.get(site)?),
                };
                file.set(key, &text).unwrap_or_else(|fault| panic!("{key} = {text}: {fault}"));
            }
            file.set("site.units", "imperial").unwrap_or_else(|fault| panic!("{fault}"));
            let other = quick(&file.site("x.toml").ok()?)?;
            apart(results, &other, 1e-4, |_| false).map(|what| format!("site {i}: {what}"))
        })
        .collect();
    assert!(wrong.is_empty(), "{} of {SITES}: {:#?}", wrong.len(), wrong.iter().take(5).collect::<Vec<_>>());
}

/// What is shown in other units is computed to the same bits.
#[test]
fn units_of_the_texts_change_no_number() {
    for (site, results) in ALL.iter().take(60) {
        let other = site.with_value("site.units", "imperial").and_then(|site| site.with_value("site.gauge", "inH2O"));
        let other = quick(&other.unwrap_or_else(|faults| panic!("{faults}"))).unwrap();
        assert_eq!(numbers(results), numbers(&other));
    }
}

/// With bag and wind on the other side, what happens is on the other side, and nothing else differs.
#[test]
fn mirrored_is_the_same() {
    let wrong: Vec<String> = ALL
        .par_iter()
        .enumerate()
        .filter_map(|(i, (site, results))| {
            let mut other = site.clone();
            for key in ["bag.offset", "wind.across"] {
                other = set(&other, key, -value(&other, key))?;
            }
            let other = quick(&other)?;
            // What one standard deviation to the left does is not what one to the right does, where it also moves the
            // landing along; and its share of the whole goes with it.
            let side = |key: &str| [".yaw", ".line", ".wind_across"].iter().any(|end| key.ends_with(end));
            let across = |key: &str| key.contains("across") || key.contains("offset") || side(key);
            if let Some(what) = apart(results, &other, 1e-5, across) {
                return Some(format!("site {i}: {what}"));
            }
            // Across: the same or the opposite.
            let (a, b) = (numbers(results), numbers(&other));
            a.iter().filter(|(key, _)| !side(key)).find_map(|(key, a)| {
                let b = b.get(key)?;
                let size = 1e-4 * a.abs().max(1e-2);
                ((a - b).abs() > size && (a + b).abs() > size).then(|| format!("site {i}: {key}: {a} and {b}"))
            })
        })
        .collect();
    assert!(wrong.is_empty(), "{} of {SITES}: {:#?}", wrong.len(), wrong.iter().take(5).collect::<Vec<_>>());
}

/// Another blower never makes the bag softer, and a faster one neither.
#[test]
fn more_blowers_never_lower_the_pressure() {
    let (mut compared, mut raised) = (0, 0);
    for (i, (site, results)) in ALL.iter().enumerate() {
        let count = value(site, "blower.count");
        let Some(more) = set(site, "blower.count", count + 1.0).and_then(|site| quick(&site)) else { continue };
        let (now, then) = (results.air.operating_pressure_pa, more.air.operating_pressure_pa);
        compared += 1;
        raised += usize::from(then > now);
        // The operating point is found to 1e-4 of itself.
        assert!(then >= now * (1.0 - 1e-4), "site {i}: {now} Pa, with one more blower {then} Pa");
        if let (Some(a), Some(b)) = (results.air.fill_time_s.get(), more.air.fill_time_s.get()) {
            assert!(b <= a * 1.02 || then > 1.2 * now, "site {i}: fills in {a} s, with one more blower in {b} s");
        }
    }
    assert!(compared > SITES * 9 / 10 && raised > compared * 9 / 10, "{compared} compared, {raised} raised");
}

/// From higher up nobody is slower at the lip.
#[test]
fn more_start_is_never_slower() {
    let mut compared = 0;
    for (i, (site, results)) in ALL.iter().enumerate() {
        let mut last = results.ride.lip_speed_mps.get();
        for step in 1..=3 {
            let higher = value(site, "roll_in.start_height") + 0.2 * f64::from(step);
            let Some(more) = set(site, "roll_in.start_height", higher).and_then(|site| quick(&site)) else { break };
            if let (Some(slow), Some(fast)) = (last, more.ride.lip_speed_mps.get()) {
                assert!(fast > slow, "site {i}: {slow} m/s, and {fast} m/s from {higher} m");
                compared += 1;
            }
            last = more.ride.lip_speed_mps.get();
        }
    }
    assert!(compared > 2 * SITES, "{compared}");
}

/// What a finding says decided is what the results and the site have under that key, in JSON and in CSV; and what is
/// outside a limit is said by a finding, and the other way round.
#[test]
fn findings_and_limits_hold_the_same_numbers_in_every_format() {
    let (mut seen, mut outside) = (0, 0);
    // And each from higher up, where more limits are not kept.
    let strained = ALL.par_iter().filter_map(|(site, _)| {
        let site = set(site, "roll_in.start_height", 1.25 * value(site, "roll_in.start_height"))?;
        let results = quick(&site)?;
        Some((site, results))
    });
    let strained: Vec<(Site, Results)> = strained.collect();
    for (i, (site, results)) in ALL.iter().chain(&strained).enumerate() {
        let json = serde_json::to_value(results).unwrap();
        let csv: BTreeMap<String, String> = csv_rows(&landfall_plan::plan::csv::csv(results));
        for (n, finding) in results.findings.iter().enumerate() {
            for (key, number) in &finding.numbers {
                let told = number.map_or(Value::Null, Value::from);
                let by_results = key.split('.').try_fold(&json, |at, part| at.get(part)).cloned();
                let by_site = KEYS.iter().find(|known| known.dotted == *key).map(|known| known.get(site));
                if finding.group.is_none() {
                    let is_it = by_results.as_ref().is_some_and(|value| value.as_f64() == *number)
                        || by_site.is_some_and(|value| value == *number);
                    assert!(is_it, "site {i}, {}: {key} is {told}, and {by_results:?} or {by_site:?}", finding.id);
                }
                let in_csv = csv.get(&format!("findings.{n}.numbers.{key}")).map(String::as_str).unwrap_or_default();
                let same = match number {
                    Some(number) => {
                        in_csv.parse::<f64>().is_ok_and(|value| (value - number).abs() <= 1e-6 * number.abs())
                    }
                    None => in_csv.is_empty(),
                };
                assert!(same, "site {i}, {}: {key} is {told}, in CSV {in_csv:?}", finding.id);
                seen += 1;
            }
        }
        for limit in landfall_plan::plan::limits::limits(site, results) {
            let said = results.findings.iter().any(|finding| limit.findings.contains(&finding.id));
            assert!(limit.inside || limit.findings.is_empty() || said, "site {i}: {limit:?} is said by no finding");
            outside += usize::from(!limit.inside);
        }
    }
    println!("{seen} numbers of findings, {outside} limits that are not kept");
    assert!(outside > 50, "{outside}");
}

fn csv_rows(text: &str) -> BTreeMap<String, String> {
    text.lines()
        .filter_map(|line| {
            let (key, rest) = line.split_once(',')?;
            Some((key.to_owned(), rest.rsplit_once(',').map_or(rest, |(value, _)| value).trim_matches('"').to_owned()))
        })
        .collect()
}

/// One thread, or three: the same bits, also of what is sampled.
#[test]
fn the_number_of_threads_changes_no_bit() {
    let parts = Parts { sampling: true, tails: true, pressures: true, ..Parts::QUICK };
    let with = |site: &Site, threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| compute(site, parts, &Stop::default()).map(|results| serde_json::to_string(&results).unwrap()))
    };
    for (i, (site, _)) in ALL.iter().take(20).enumerate() {
        let site = site.with_value("spread.samples", "3000").unwrap_or_else(|faults| panic!("{faults}"));
        let (one, three) = (with(&site, 1), with(&site, 3));
        assert_eq!(one.ok(), three.ok(), "site {i}");
    }
}
