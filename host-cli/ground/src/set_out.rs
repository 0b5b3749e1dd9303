//! Setting out: every corner by two tapes from two pegs.

use crate::scene::{Ground, Layout};
use serde::Serialize;

/// A tape that is read to a centimetre.
pub const TAPE_ERROR_M: f64 = 0.01;
/// Angle between two tapes below which, or as near to straight on, a corner is set out badly: 20°.
pub const WEAK_RAD: f64 = 0.349_065_85;

/// A corner by its two distances, both held level.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tape {
    /// What it is the corner of.
    pub of: &'static str,
    /// Which corner.
    pub corner: &'static str,
    /// Its place.
    pub place_m: (f64, f64),
    /// From the first peg.
    pub a_m: f64,
    /// From the second peg.
    pub b_m: f64,
    /// It lies on the left of the line from the first peg to the second.
    pub left: bool,
    /// Angle between the tapes.
    pub angle_rad: f64,
    /// How far off it comes to stand, at the worst, where each tape is a centimetre off.
    pub error_m: f64,
}

/// Names of the corners, in the order of [`Layout::outlines`].
const CORNERS: [&str; 4] = ["back right", "front right", "front left", "back left"];

/// Two pegs on the left of everything, on whole half-metres, from which the worst corner is set out best; of places all
/// along and up to a third of the length away, and on the land where its ends are known.
#[must_use]
pub fn usual_pegs(layout: &Layout, ground: &Ground) -> [(f64, f64); 2] {
    let (from_m, to_m) = (layout.back_x_m(), layout.end_x_m());
    let long_m = to_m - from_m;
    let edge_m = layout.across_m().1;
    let half = |m: f64| (m * 2.0).round() / 2.0;
    // Rounded inward, and never into what is built.
    let land_m = ground.width_m.map_or(f64::INFINITY, |width_m| ground.middle_m + width_m / 2.0);
    let least_m = layout.roll_in_width_m.max(layout.takeoff_width_m) / 2.0 + 0.5;
    let (first_m, last_m) = (
        ground.edge_behind_m.map_or(f64::NEG_INFINITY, |m| (m * 2.0).ceil() / 2.0),
        ground.edge_ahead_m.map_or(f64::INFINITY, |m| (m * 2.0).floor() / 2.0),
    );
    let mut best = (f64::INFINITY, [(from_m, edge_m + 1.0), (to_m, edge_m + 1.0)]);
    for i in 0..=6 {
        for j in (i + 2)..=12 {
            for away in 1..=5 {
                let side_m =
                    half(edge_m + long_m * f64::from(away) / 15.0).min((land_m * 2.0).floor() / 2.0).max(least_m);
                let along_m = |step: i32| half(from_m + long_m * f64::from(step) / 12.0).max(first_m).min(last_m);
                let at = |step: i32| (along_m(step), side_m);
                let pegs = [at(i), at(j)];
                let worst = set_out(layout, pegs).iter().map(|tape| tape.error_m).fold(0.0, f64::max);
                if worst < best.0 - 1e-9 {
                    best = (worst, pegs);
                }
            }
        }
    }
    best.1
}

/// The distances of a place from both pegs.
#[must_use]
pub fn tape(of: &'static str, corner: &'static str, place_m: (f64, f64), pegs: [(f64, f64); 2]) -> Tape {
    let [a, b] = pegs;
    let to = |peg: (f64, f64)| (peg.0 - place_m.0, peg.1 - place_m.1);
    let ((ax, ay), (bx, by)) = (to(a), to(b));
    let cross = ax * by - ay * bx;
    let angle_rad = cross.abs().atan2(ax * bx + ay * by);
    let sin = angle_rad.sin().max(1e-9);
    // Two strips of a tape's error cross in a rhomb whose longer diagonal is this.
    let half = 2.0 * TAPE_ERROR_M / sin * (angle_rad / 2.0).cos().max((angle_rad / 2.0).sin());
    Tape { of, corner, place_m, a_m: ax.hypot(ay), b_m: bx.hypot(by), left: cross > 0.0, angle_rad, error_m: half }
}

/// Every corner of what is built.
#[must_use]
pub fn set_out(layout: &Layout, pegs: [(f64, f64); 2]) -> Vec<Tape> {
    layout
        .outlines()
        .into_iter()
        .flat_map(|(of, corners)| {
            corners.into_iter().zip(CORNERS).map(move |(place, corner)| tape(of, corner, place, pegs))
        })
        .collect()
}

/// The place that two distances and a side tell, as the tapes find it; none where the tapes do not meet.
#[must_use]
pub fn found_m(pegs: [(f64, f64); 2], a_m: f64, b_m: f64, left: bool) -> Option<(f64, f64)> {
    let [a, b] = pegs;
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let apart_m = dx.hypot(dy);
    if !(apart_m > 0.0) {
        return None;
    }
    let along_m = (a_m * a_m - b_m * b_m + apart_m * apart_m) / (2.0 * apart_m);
    let square_m2 = a_m * a_m - along_m * along_m;
    if square_m2 < -1e-9 * a_m * a_m.max(1.0) {
        return None;
    }
    let off_m = square_m2.max(0.0).sqrt() * if left { 1.0 } else { -1.0 };
    let (ux, uy) = (dx / apart_m, dy / apart_m);
    Some((a.0 + along_m * ux - off_m * uy, a.1 + along_m * uy + off_m * ux))
}
