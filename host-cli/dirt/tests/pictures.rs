//! The landing beside the bag, for kickers of all sizes: nothing lies over a label.
//!
//! `LANDFALL_PICTURES=folder` keeps the pictures there to be looked at.

#![allow(clippy::unwrap_used, clippy::panic)]

mod common;

use common::{Numbers, kicker, setup, uncertainty};
use landfall_core::ride::Steps;
use landfall_dirt::built::{Asked, Fill, build};
use landfall_dirt::picture::{View, draw};
use landfall_ground::labels::overlap;
use landfall_ground::{BagBox, Profile};

#[test]
fn no_label_lies_over_another() {
    let folder = std::env::var("LANDFALL_PICTURES").ok();
    let mut drawn = 0;
    for (i, (start_m, height_m, radius_m, fall)) in
        [(6.0, 2.44, 4.57, 0.0), (3.5, 1.2, 4.0, 0.05), (9.0, 2.6, 8.0, -0.1), (4.5, 1.8, 3.5, 0.0)]
            .into_iter()
            .enumerate()
    {
        let numbers = Numbers { start_m, height_m, radius_m, ..kicker() };
        let (one, u) = (setup(&numbers), uncertainty(&numbers, 0.8));
        let run = one.run(&u.at_mean(), &Steps::FINE);
        if !run.landed() {
            continue;
        }
        let place = (f64::from(run.along_m + one.bag().gap_m()), 2.2);
        let ground = Profile::new(vec![(-20.0, -20.0 * fall), (0.0, 0.0), (40.0, 40.0 * fall)]).unwrap();
        let fill = Fill { material: "wood chips", depth_m: 0.2286, filled_m: 0.3048, fall_m: 3.048 };
        let asked = Asked {
            slope_rad: 0.6,
            deck_m: 3.0,
            margin_m: 0.5,
            side_margin_m: 0.5,
            load_limit_g: 3.0,
            run_out_m: 8.0,
            bank: 1.5,
            offset_step_m: 0.5,
            seed: 1,
        };
        let setups = [one];
        let at = |deg: u32| {
            build(&setups, &u, place, &Asked { slope_rad: f64::from(deg).to_radians(), ..asked }, &fill, &ground).ok()
        };
        let Some(built) = (5..35).rev().find_map(at) else { continue };
        let bag = BagBox {
            gap_m: 0.8,
            length_m: 10.0,
            width_m: 8.0,
            offset_m: 0.0,
            base_level_m: 0.0,
            front_height_m: 2.2,
            back_height_m: 2.2,
        };
        let turn = (1.0 - f64::from(height_m) / f64::from(radius_m)).acos();
        let takeoff: Vec<(f64, f64)> = (0..=10)
            .map(|i| {
                let a = turn * f64::from(i) / 10.0;
                let r = f64::from(radius_m);
                (r * (a.sin() - turn.sin()), r * (1.0 - a.cos()))
            })
            .collect();
        let metres = |m: f64| format!("{m:.1} m");
        let view = View { built: &built, bag: &bag, takeoff: &takeoff, flights: &[], ground: &ground, length: &metres };
        let drawing = draw(&view, "Landing", "to scale");
        roxmltree::Document::parse(&drawing.svg).unwrap();
        for (j, a) in drawing.labels.iter().enumerate() {
            for b in drawing.labels.iter().skip(j + 1) {
                assert!(!overlap(a.frame, b.frame), "{:?} over {:?}", a.text, b.text);
            }
        }
        if let Some(folder) = &folder {
            std::fs::write(format!("{folder}/landing-{i}.svg"), &drawing.svg).unwrap();
        }
        drawn += 1;
    }
    assert!(drawn >= 3, "{drawn}");
}
