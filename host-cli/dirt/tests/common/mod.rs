//! A rider and sites to compute with.
#![allow(dead_code)]

use landfall_core::bag::{Bag, BagInput};
use landfall_core::inputs::{COUNT, Uncertainty};
use landfall_core::path::Path;
use landfall_core::run::Setup;
use landfall_core::takeoff::TakeOff;

/// A site by the numbers that matter here.
pub struct Numbers {
    pub start_m: f32,
    pub slope_deg: f32,
    pub bottom_m: f32,
    pub flat_m: f32,
    pub height_m: f32,
    pub radius_m: f32,
    pub gap_m: f32,
    pub mass_kg: f32,
    pub pop_mps: f32,
    pub density_kgpm3: f32,
}

pub fn setup(n: &Numbers) -> Setup {
    let path = Path::simple(n.start_m, n.slope_deg.to_radians(), n.bottom_m, n.flat_m, 1.0).unwrap();
    let takeoff = TakeOff::new(n.height_m, n.radius_m, 1.05, 1.0).unwrap();
    let bag = Bag::new(BagInput {
        length_m: 10.0,
        width_m: 8.0,
        front_height_m: 2.2,
        back_height_m: 2.2,
        gap_m: n.gap_m,
        offset_m: 0.0,
        base_level_m: 0.0,
        edge_front_m: 1.0,
        edge_back_m: 1.0,
        edge_side_m: 1.0,
    })
    .unwrap();
    Setup::new(path, takeoff, bag, n.density_kgpm3, n.mass_kg, 2.2).unwrap()
}

pub fn uncertainty(n: &Numbers, scale: f32) -> Uncertainty {
    let mean: [f32; COUNT] = [n.start_m, 0.0, 0.012, 0.45, 0.60, 0.0, 0.5, n.pop_mps, 0.0, 0.0, 0.0, 0.0, 0.7];
    let sd: [f32; COUNT] =
        [0.03, 0.1, 0.002, 0.036, 0.09, 0.2, 0.15, 0.5, 0.035, 0.2, 0.5, 0.5, 0.15].map(|sd: f32| sd * scale);
    let lowest_m = setup(n).path().lowest_start_m();
    Uncertainty::new(mean, sd, lowest_m, 1.0).unwrap()
}

pub fn kicker() -> Numbers {
    Numbers {
        start_m: 6.0,
        slope_deg: 35.0,
        bottom_m: 6.0,
        flat_m: 4.0,
        height_m: 8.0 * 0.3048,
        radius_m: 15.0 * 0.3048,
        gap_m: 0.8,
        mass_kg: 92.0,
        pop_mps: 0.0,
        density_kgpm3: 1.18,
    }
}
