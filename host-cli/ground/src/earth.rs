//! Earth to move: cut and fill between the ground and what is wanted.
//!
//! Every cross-section is a strip of a width with banks to both sides: `A(d) = w d + s d²` at a depth `d`. Between two
//! sections the depth is linear, so the area is a parabola along the line and the prismoidal rule
//! `V = L/6 (A₁ + 4 A_m + A₂)` is exact; the average-end-area rule `V = L/2 (A₁ + A₂)` is never less. Both are in every
//! handbook of route surveying (Schofield & Breach, *Engineering Surveying*; from memory).

use crate::profile::{Profile, height_on};
use serde::Serialize;

/// How wide and with which banks earth is moved.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Strip {
    /// Width of the formation.
    pub width_m: f64,
    /// Run of a bank for each metre of its depth.
    pub bank: f64,
}

impl Strip {
    /// Area of a cross-section at a depth.
    #[must_use]
    pub fn section_m2(&self, depth_m: f64) -> f64 {
        let depth_m = depth_m.abs();
        self.width_m * depth_m + self.bank * depth_m * depth_m
    }
}

/// Volumes by both rules.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Earth {
    /// To dig away, by the prismoidal rule.
    pub cut_m3: f64,
    /// To bring in, by the prismoidal rule.
    pub fill_m3: f64,
    /// To dig away, by the average-end-area rule: never less.
    pub cut_end_area_m3: f64,
    /// To bring in, by the average-end-area rule.
    pub fill_end_area_m3: f64,
}

impl Earth {
    /// Cut and fill together.
    #[must_use]
    pub fn moved_m3(&self) -> f64 {
        self.cut_m3 + self.fill_m3
    }

    fn add(&mut self, strip: &Strip, length_m: f64, d0_m: f64, d1_m: f64) {
        let (a, m, b) = (strip.section_m2(d0_m), strip.section_m2((d0_m + d1_m) / 2.0), strip.section_m2(d1_m));
        let exact_m3 = length_m / 6.0 * (a + 4.0 * m + b);
        let ends_m3 = length_m / 2.0 * (a + b);
        if d0_m + d1_m > 0.0 {
            self.fill_m3 += exact_m3;
            self.fill_end_area_m3 += ends_m3;
        } else {
            self.cut_m3 += exact_m3;
            self.cut_end_area_m3 += ends_m3;
        }
    }
}

/// Cut and fill that make a formation, given by points with rising x, out of the ground.
#[must_use]
pub fn earth(formation: &[(f64, f64)], ground: &Profile, strip: &Strip) -> Earth {
    let mut moved = Earth::default();
    let (Some(first), Some(last)) = (formation.first(), formation.last()) else { return moved };
    let mut places: Vec<f64> = ground.between(first.0, last.0).iter().map(|p| p.0).collect();
    places.extend(formation.iter().map(|p| p.0));
    places.sort_by(f64::total_cmp);
    places.dedup_by(|a, b| (*a - *b).abs() < 1e-12);
    let depth = |x: f64| height_on(formation, x) - ground.height_m(x);
    for pair in places.windows(2) {
        let [x0, x1] = pair else { continue };
        let (d0, d1) = (depth(*x0), depth(*x1));
        if d0 * d1 < 0.0 {
            // From fill to cut: split where both meet.
            let at = (x1 - x0) * d0 / (d0 - d1);
            moved.add(strip, at, d0, 0.0);
            moved.add(strip, x1 - x0 - at, 0.0, d1);
        } else {
            moved.add(strip, x1 - x0, d0, d1);
        }
    }
    moved
}

/// A level for a pad, and what it takes.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Pad {
    /// Its height.
    pub level_m: f64,
    /// What it takes.
    pub earth: Earth,
}

/// A level pad from one place to another.
#[must_use]
pub fn pad(level_m: f64, (from_m, to_m): (f64, f64), ground: &Profile, strip: &Strip) -> Pad {
    Pad { level_m, earth: earth(&[(from_m, level_m), (to_m, level_m)], ground, strip) }
}

/// Rounds of a search that halves or thirds: a metre comes down below a hundredth of a millimetre.
const ROUNDS: usize = 80;

/// The level with the least earth moved. Cut and fill together are convex in the level, so thirds find it.
#[must_use]
pub fn least_digging(along_m: (f64, f64), ground: &Profile, strip: &Strip) -> Pad {
    let (mut low, mut high) = heights(along_m, ground);
    for _ in 0..ROUNDS {
        let third = (high - low) / 3.0;
        let (a, b) = (low + third, high - third);
        let moved = |level| pad(level, along_m, ground, strip).earth.moved_m3();
        if moved(a) <= moved(b) { high = b } else { low = a }
    }
    pad((low + high) / 2.0, along_m, ground, strip)
}

/// The level at which what is dug away is what is brought in: nothing is carted.
#[must_use]
pub fn balanced(along_m: (f64, f64), ground: &Profile, strip: &Strip) -> Pad {
    let (mut low, mut high) = heights(along_m, ground);
    for _ in 0..ROUNDS {
        let middle = (low + high) / 2.0;
        let earth = pad(middle, along_m, ground, strip).earth;
        if earth.fill_m3 > earth.cut_m3 { high = middle } else { low = middle }
    }
    pad((low + high) / 2.0, along_m, ground, strip)
}

fn heights((from_m, to_m): (f64, f64), ground: &Profile) -> (f64, f64) {
    let points = ground.between(from_m, to_m);
    let z = || points.iter().map(|p| p.1);
    (z().fold(f64::INFINITY, f64::min), z().fold(f64::NEG_INFINITY, f64::max))
}
