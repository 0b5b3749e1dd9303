//! Sites behind each other against one long path that SciPy integrates (tests/reference/line_reference.py), and the spread.

#![allow(clippy::unwrap_used, clippy::panic)]

mod common;

use common::{Numbers, setup, uncertainty};
use landfall_core::inputs::Uncertainty;
use landfall_core::run::Setup;
use landfall_dirt::landing::Landing;
use landfall_dirt::line::{End, Stage, line, mean_line};
use serde_json::Value;

fn stages() -> Vec<(Setup, Uncertainty, Landing)> {
    let reference: Value = serde_json::from_str(include_str!("../../../tests/reference/line_reference.json")).unwrap();
    let list = reference["stages"].as_array().unwrap();
    list.iter()
        .map(|s| {
            let n = |key: &str| s[key].as_f64().unwrap();
            let numbers = Numbers {
                start_m: n("start_m") as f32,
                slope_deg: n("slope_deg") as f32,
                bottom_m: n("bottom_m") as f32,
                flat_m: n("flat_m") as f32,
                height_m: n("height_m") as f32,
                radius_m: n("radius_m") as f32,
                gap_m: 1.0,
                mass_kg: 92.0,
                pop_mps: 0.2,
                density_kgpm3: 1.2,
            };
            let landing = Landing {
                deck_from_m: n("deck_from_m"),
                knuckle_m: (s["knuckle_m"][0].as_f64().unwrap(), s["knuckle_m"][1].as_f64().unwrap()),
                slope_rad: n("landing_deg").to_radians(),
                slope_m: n("length_m"),
                radius_m: n("transition_m"),
                run_out_m: n("out_m"),
                width_m: 5.0,
            };
            (setup(&numbers), uncertainty(&numbers, 1.0), landing)
        })
        .collect()
}

fn named(list: &[(Setup, Uncertainty, Landing)]) -> Vec<Stage<'_>> {
    let names = ["first", "second", "third"];
    list.iter()
        .zip(names)
        .map(|((setup, uncertainty, landing), name)| Stage { name, setup, uncertainty, landing })
        .collect()
}

#[test]
fn chained_speeds_are_those_of_one_long_path() {
    let reference: Value = serde_json::from_str(include_str!("../../../tests/reference/line_reference.json")).unwrap();
    let list = stages();
    let mean = mean_line(&named(&list));
    for (got, wanted) in mean.iter().zip(reference["long_path"].as_array().unwrap()) {
        let n = |key: &str| wanted[key].as_f64().unwrap();
        let went = got.1.unwrap();
        // Single precision, and a release that the other takes from the same angle: within half a millimetre a second.
        assert!((got.0.unwrap() - n("in_mps")).abs() < 5e-4, "{got:?} {wanted}");
        assert!((went.lip_mps.unwrap() - n("lip_mps")).abs() < 5e-4, "{got:?} {wanted}");
        assert!((went.out_mps.unwrap() - n("out_mps")).abs() < 5e-4, "{got:?} {wanted}");
    }
}

#[test]
fn the_spread_is_carried_and_every_run_ends_somewhere() {
    let list = stages();
    let reached = line(&named(&list), 3000, 11);
    assert_eq!(reached[0].runs_in, 3000);
    for pair in reached.windows(2) {
        assert_eq!(pair[0].runs_out, pair[1].runs_in);
    }
    for stage in &reached {
        let ended: usize = stage.ends.iter().map(|(_, n)| n).sum();
        assert_eq!(stage.runs_in, stage.runs_out + ended, "{stage:?}");
        let lip = stage.lip.unwrap();
        assert!(lip.slow_mps < lip.middle_mps && lip.middle_mps < lip.fast_mps);
        assert!((lip.middle_mps - stage.mean_lip_mps.unwrap()).abs() < 0.15, "{stage:?}");
    }
    // The same seed gives the same runs, another one other runs.
    assert_eq!(reached, line(&named(&list), 3000, 11));
    assert_ne!(reached, line(&named(&list), 3000, 12));
    // What scatters at the first lip is the first site's own inputs; without scatter all runs are the mean one.
    let still: Vec<(Setup, Uncertainty, Landing)> = stages()
        .into_iter()
        .map(|(setup, mut uncertainty, landing)| {
            uncertainty.sd = [0.0; 13];
            (setup, uncertainty, landing)
        })
        .collect();
    for stage in line(&named(&still), 5, 1) {
        let lip = stage.lip.unwrap();
        assert_eq!(lip.slow_mps, lip.fast_mps);
        assert_eq!(Some(lip.middle_mps), stage.mean_lip_mps);
    }
}

#[test]
fn a_line_that_dies_says_where() {
    let mut list = stages();
    // The second site begins with a climb that nobody comes over: its take-off is higher than any speed carries.
    let numbers = Numbers {
        start_m: 0.3,
        slope_deg: 5.0,
        bottom_m: 9.0,
        flat_m: 150.0,
        height_m: 4.0,
        radius_m: 7.0,
        gap_m: 1.0,
        mass_kg: 92.0,
        pop_mps: 0.2,
        density_kgpm3: 1.2,
    };
    list[1].0 = setup(&numbers);
    list[1].1 = uncertainty(&numbers, 1.0);
    let reached = line(&named(&list), 400, 3);
    assert_eq!(reached[1].mean_ends, Some(End::Stalls), "{:?}", reached[1]);
    assert_eq!(reached[1].mean_lip_mps, None);
    // The path there is 150 m of flat run and a straight of a few metres: it rests on them or on the take-off.
    let at_m = reached[1].mean_rests_before_foot_m.unwrap();
    assert!(at_m < 160.0 && at_m > -8.0, "{at_m}");
    assert_eq!((reached[2].mean_in_mps, reached[2].runs_in), (None, reached[1].runs_out));
    assert!(reached[1].ends.iter().any(|(end, n)| *end == End::Stalls && *n > 350));
}
