//! The core's constructors and the whole plan on odd numbers: no panic, no hang, no number that is none.

use landfall_core::air::Air;
use landfall_core::bag::{Bag, BagInput};
use landfall_core::inputs::{COUNT, Uncertain, Uncertainty};
use landfall_core::path::{Path, Section};
use landfall_core::ride::Steps;
use landfall_core::run::Setup;
use landfall_core::short_zone::{clearing_speed_mps, front_from_mps, short_run};
use landfall_core::sizing::{Goal, shape, start_height};
use landfall_core::spread::differences;
use landfall_core::stop_line::last_stop_line;
use landfall_core::takeoff::TakeOff;
use landfall_core::wind::WindLoad;
use landfall_plan::plan::{Parts, compute};
use landfall_plan::site::{KEYS, demo};
use landfall_sampling::Stop;
use proptest::prelude::*;

/// Mostly a number in a range, now and then its ends or anything at all.
fn odd_or(range: std::ops::Range<f32>) -> impl Strategy<Value = f32> {
    prop_oneof![40 => range.clone(), 1 => Just(range.start), 1 => Just(range.end), 1 => proptest::num::f32::ANY]
}

fn section() -> impl Strategy<Value = Section> {
    prop_oneof![
        (odd_or(0.0..20.0), prop::option::of(odd_or(-1.0..1.0)))
            .prop_map(|(length_m, slope_rad)| Section::Straight { length_m, slope_rad }),
        (odd_or(0.5..20.0), odd_or(-1.5..1.5)).prop_map(|(radius_m, turn_rad)| Section::Arc { radius_m, turn_rad }),
    ]
}

/// A chain that meets: every straight keeps the angle, the last arc turns level, the height is the one it makes.
fn likely_path(sections: &[Section], mass_height_m: f32) -> Option<Path> {
    let mut list = Vec::new();
    let mut theta = 0.0f32;
    let mut drop_m = 0.0f32;
    let mut add = |section: Section, theta: &mut f32| {
        match section {
            Section::Straight { length_m, .. } => drop_m -= length_m * theta.sin(),
            Section::Arc { radius_m, turn_rad } => {
                let next = *theta + turn_rad;
                drop_m -= radius_m * (theta.cos() - next.cos()) * turn_rad.signum();
                *theta = next;
            }
        }
        list.push(section);
    };
    for section in sections {
        match *section {
            Section::Straight { length_m, .. } => add(Section::Straight { length_m, slope_rad: None }, &mut theta),
            // Downwards first.
            Section::Arc { radius_m, turn_rad } if (theta + turn_rad) <= 0.0 => {
                add(Section::Arc { radius_m, turn_rad }, &mut theta);
            }
            Section::Arc { .. } => {}
        }
    }
    if theta < -0.002 {
        add(Section::Arc { radius_m: mass_height_m + 3.0, turn_rad: -theta }, &mut theta);
    }
    Path::from_sections(&list, drop_m, mass_height_m).ok()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1_500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_path_of_any_sections_panics(
        sections in prop::collection::vec(section(), 0..20),
        start in odd_or(0.0..20.0),
        mass_height in odd_or(0.1..2.0),
    ) {
        for path in [Path::from_sections(&sections, start, mass_height).ok(), likely_path(&sections, mass_height)]
            .into_iter()
            .flatten()
        {
            prop_assert!(path.length_m().is_finite() && path.lowest_start_m() >= -0.02);
            prop_assert!(path.segments().iter().all(|s| s.length_m > 0.0 && s.z_start_m.is_finite()));
        }
    }

    #[test]
    fn no_run_of_any_numbers_panics_or_gives_no_number(
        simple in (odd_or(0.5..12.0), odd_or(0.1..1.2), odd_or(1.0..20.0), odd_or(0.0..10.0)),
        sections in prop::option::of(prop::collection::vec(section(), 1..8)),
        lip in (odd_or(0.3..4.0), odd_or(1.5..20.0), odd_or(0.8..1.3), odd_or(0.6..1.3)),
        sizes in (odd_or(3.0..20.0), odd_or(3.0..12.0), odd_or(0.5..4.0), odd_or(0.5..4.0)),
        place in (odd_or(0.0..8.0), odd_or(-2.0..2.0), odd_or(-3.0..3.0), odd_or(0.0..1.5)),
        masses in (odd_or(40.0..150.0), odd_or(0.0..4.0), odd_or(0.8..1.4)),
        means in prop::array::uniform13(odd_or(-1.0..1.0)),
        sds in prop::array::uniform13(odd_or(0.0..1.0)),
        braking in odd_or(0.05..1.0),
        speed in odd_or(0.0..20.0),
    ) {
        let mass_height = lip.3;
        let path = match sections {
            Some(sections) => likely_path(&sections, mass_height),
            None => Path::simple(simple.0, simple.1, simple.2, simple.3, mass_height).ok(),
        };
        let Some(path) = path else { return Ok(()) };
        let Ok(takeoff) = TakeOff::new(lip.0, lip.1, lip.2, mass_height) else { return Ok(()) };
        let bag = BagInput {
            length_m: sizes.0, width_m: sizes.1, front_height_m: sizes.2, back_height_m: sizes.3,
            gap_m: place.0, offset_m: place.1, base_level_m: place.2,
            edge_front_m: place.3, edge_back_m: place.3, edge_side_m: place.3,
        };
        let Ok(bag) = Bag::new(bag) else { return Ok(()) };
        let lowest = path.lowest_start_m().max(0.0);
        // Likely values, moved by the odd ones.
        let centre = [path.start_height_m(), 1.0, 0.02, 0.5, 0.6, 0.0, 0.5, 0.0, 0.0, 0.0, 0.0, 0.0, 0.7];
        let reach = [0.0, 1.0, 0.02, 0.4, 0.5, 0.5, 0.5, 1.0, 0.2, 0.5, 5.0, 5.0, 0.3];
        let mut mean = [0.0f32; COUNT];
        let mut sd = [0.0f32; COUNT];
        for i in 0..COUNT {
            mean[i] = centre[i] + reach[i] * means[i];
            sd[i] = 0.2 * reach[i] * sds[i];
        }
        let Ok(uncertainty) = Uncertainty::new(mean, sd, lowest, mass_height) else { return Ok(()) };
        let Ok(setup) = Setup::new(path, takeoff, bag, masses.2, masses.0, masses.1) else { return Ok(()) };
        let inputs = uncertainty.at_mean();
        let run = setup.run(&inputs, &Steps::FINE);
        if run.landed() {
            for value in [run.ride_speed_mps, run.along_m, run.across_m, run.airtime_s, run.normal_mps] {
                prop_assert!(value.is_finite(), "{setup:?} {inputs:?} {run:?}");
            }
            prop_assert!(run.airtime_s >= 0.0 && run.normal_mps >= -1e-3, "{setup:?} {inputs:?} {run:?}");
        }
        let _ = run.outcome(setup.bag(), 0).name();
        if let Some(found) = differences(&setup, &uncertainty, &Steps::FINE) {
            for value in [found.mean_along_m, found.sd_along_m, found.mean_across_m, found.sd_across_m, found.sd_normal_mps] {
                prop_assert!(value.is_finite(), "{setup:?} {uncertainty:?} {found:?}");
            }
            let sum: f32 = found.shares_along.iter().sum();
            prop_assert!(found.sd_along_m == 0.0 || (sum - 1.0).abs() < 1e-3, "{found:?}");
        }
        let probes = [inputs, uncertainty.at(&[1.0; COUNT])].map(|inputs| setup.probe(&inputs));
        let _ = setup.choose_steps(&probes, 1e-4);
        if braking.is_finite()
            && let Some(line) = last_stop_line(&setup, &inputs, braking)
        {
            prop_assert!(line.before_foot_m.is_finite() && line.speed_mps.is_finite() && line.to_foot_s.is_finite(), "{line:?}");
        }
        if let Some(clearing) = clearing_speed_mps(&setup, &inputs) {
            prop_assert!((1.4..=40.2).contains(&clearing));
            let _ = front_from_mps(&setup, &inputs, clearing);
        }
        if speed.is_finite() {
            prop_assert!(!short_run(&setup, &inputs, speed.clamp(0.0, 50.0)).height_at_gap_m.is_nan());
        }
        let _ = shape(&setup, &inputs.with(Uncertain::StartHeight, lowest + 1.0));
        if let Ok(sized) = start_height(&setup, &inputs, Goal::AirTime { airtime_s: speed * 0.1 }, 0.1, 20.0) {
            prop_assert!(sized.start_height_m.is_finite());
        }
    }

    #[test]
    fn no_air_or_wind_of_any_numbers_gives_no_number(
        altitude in odd_or(-500.0..6_000.0),
        temperature in odd_or(230.0..330.0),
        pressure in prop::option::of(odd_or(40e3..110e3)),
        wind in (odd_or(0.0..60.0), odd_or(0.2..2.0), odd_or(0.1..200.0), odd_or(0.01..50.0)),
        more in (odd_or(0.1..4e4), odd_or(0.0..10.0), odd_or(0.0..10.0), odd_or(1.0..1e6)),
    ) {
        if let Ok(air) = Air::new(altitude, temperature, pressure) {
            prop_assert!(air.density_kgpm3 > 0.1 && air.density_kgpm3 < 3.0, "{air:?}");
        }
        let load = WindLoad {
            wind_mps: wind.0, density_kgpm3: wind.1, longer_side_m: wind.2, height_m: wind.3,
            plan_m2: more.0, side_coefficient: more.1, lift_coefficient: more.2, push_n: 0.0,
            capacity_n: more.3,
        };
        if let Ok(forces) = load.forces() {
            prop_assert!(forces.side_n.is_finite() && forces.lift_n.is_finite() && forces.anchors >= 6, "{forces:?}");
        }
    }
}

/// Every number of a result, and where it stands.
fn numbers(value: &serde_json::Value, at: &str, seen: &mut u64) {
    match value {
        serde_json::Value::Number(number) => {
            *seen += 1;
            assert!(number.as_f64().is_some_and(f64::is_finite), "{at}: {number}");
        }
        serde_json::Value::Array(list) => list.iter().for_each(|value| numbers(value, at, seen)),
        serde_json::Value::Object(map) => map.iter().for_each(|(key, value)| numbers(value, key, seen)),
        _ => {}
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

    /// The demo with a few keys set to anything in their range: a plan or a refusal, and every number is one. JSON
    /// turns NaN into null, so the text that Debug writes is looked at.
    #[test]
    fn no_plan_of_a_changed_demo_panics_or_gives_no_number(
        changes in prop::collection::vec((0..KEYS.len(), 0.0f64..1.0, any::<bool>()), 1..5),
    ) {
        let mut site = demo();
        for (index, share, near) in changes {
            let key = &KEYS[index];
            if !key.is_numeric() || key.dotted == "spread.samples" {
                continue;
            }
            let Some(now) = key.get(&site) else { continue };
            // Near the demo's value half of the time, so that what is computed goes deep.
            let value = if near { now * (0.7 + 0.6 * share) } else { key.low + (key.high - key.low) * share * share };
            if let Ok(changed) = site.with_value(key.dotted, value) {
                site = changed;
            }
        }
        site.spread.samples = 2_000;
        let Ok(results) = compute(&site, Parts::ALL, &Stop::default()) else { return Ok(()) };
        let text = format!("{results:?}");
        prop_assert!(!text.contains("NaN") && !text.contains(": inf") && !text.contains("-inf"), "{text}");
        let mut seen = 0;
        numbers(&serde_json::to_value(&results).unwrap(), "results", &mut seen);
        prop_assert!(seen > 50);
    }
}
