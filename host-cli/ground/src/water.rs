//! Where water stands on the ground with the pad made.

use crate::scene::{Ground, Layout};
use serde::Serialize;

/// Where water gathers under the bag, and how deep it stands before it finds a way off.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Water {
    /// The lowest place of what the bag stands on, from the lip.
    pub low_x_m: f64,
    /// Its height.
    pub low_z_m: f64,
    /// Height that water must rise to before it runs off along the line.
    pub spills_at_m: f64,
    /// How deep it stands there: how deep a ditch below the pad must be to lead it off, or 0 where it runs off by itself.
    pub depth_m: f64,
    /// It leaves forward; else backward.
    pub leaves_forward: bool,
}

/// The ground along the line with the bag's pad made.
#[must_use]
pub fn formed(layout: &Layout, ground: &Ground) -> Vec<(f64, f64)> {
    let (from_m, to_m) = layout.bag.along_m();
    let (first, last) = match &ground.profile {
        Some(profile) => profile.reach_m(),
        None => (from_m, to_m),
    };
    let mut line: Vec<(f64, f64)> = Vec::new();
    if first < from_m {
        line.extend(ground.points_between(first, from_m));
    }
    line.extend([(from_m, layout.bag.base_level_m), (to_m, layout.bag.base_level_m)]);
    if last > to_m {
        line.extend(ground.points_between(to_m, last));
    }
    line
}

/// Looks where water stands. Beyond what was measured it is taken to run off (*assumed*), and nothing is known of the
/// ground's fall across the line.
#[must_use]
pub fn water(layout: &Layout, ground: &Ground) -> Water {
    let line = formed(layout, ground);
    let (from_m, to_m) = layout.bag.along_m();
    let level_m = layout.bag.base_level_m;
    let highest = |points: &mut dyn Iterator<Item = &(f64, f64)>| points.map(|p| p.1).fold(level_m, f64::max);
    let behind_m = highest(&mut line.iter().filter(|p| p.0 <= from_m));
    let ahead_m = highest(&mut line.iter().filter(|p| p.0 >= to_m));
    let leaves_forward = ahead_m <= behind_m;
    let spills_at_m = ahead_m.min(behind_m);
    // The lowest place of the ground as it is tells where water comes to; a level pad has none of its own.
    let natural = ground.points_between(from_m, to_m);
    let low = natural.iter().min_by(|a, b| a.1.total_cmp(&b.1)).copied().unwrap_or((from_m, level_m));
    let depth_m = (spills_at_m - level_m).max(0.0);
    Water { low_x_m: low.0, low_z_m: low.1, spills_at_m, depth_m, leaves_forward }
}
