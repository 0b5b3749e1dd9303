//! What carries the platform and the roll-in: heights over the ground, and the steps up.

use crate::scene::{Ground, Layout};
use serde::Serialize;

/// A row of legs under the ridden surface.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Support {
    /// Distance from the lip.
    pub x_m: f64,
    /// Height of the ridden surface.
    pub surface_m: f64,
    /// Height of the ground.
    pub ground_m: f64,
    /// Of the surface over the ground; below 0 the ground is in the way.
    pub height_m: f64,
}

/// Steps or rungs up to the platform.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Steps {
    /// From the ground behind the platform to its top.
    pub climb_m: f64,
    /// How many rises there are.
    pub count: usize,
    /// Each of them.
    pub rise_m: f64,
}

/// Rows of legs from the platform's back to the take-off's foot: at the back, at the start, at the foot, and between
/// these in equal bays of at most `bay_m`.
#[must_use]
pub fn supports(layout: &Layout, ground: &Ground, bay_m: f64) -> Vec<Support> {
    let mut places = Vec::new();
    let mut stretch = |from_m: f64, to_m: f64| {
        let bays = ((to_m - from_m) / bay_m - 1e-9).ceil().max(1.0);
        places.extend((0..bays as usize).map(|i| from_m + (to_m - from_m) * i as f64 / bays));
    };
    let start_m = layout.start().0;
    if layout.platform_m > 0.0 {
        stretch(layout.back_x_m(), start_m);
    }
    if layout.foot_x_m > start_m {
        stretch(start_m, layout.foot_x_m);
    }
    places.push(layout.foot_x_m);
    let at = |x_m: f64| {
        let surface_m = layout.surface_m(x_m).unwrap_or(0.0);
        let ground_m = ground.height_m(x_m);
        Support { x_m, surface_m, ground_m, height_m: surface_m - ground_m }
    };
    places.into_iter().map(at).collect()
}

/// Equal steps of at most `rise_m` from the ground behind the platform up to it; none where it is no higher.
#[must_use]
pub fn steps(layout: &Layout, ground: &Ground, rise_m: f64) -> Option<Steps> {
    let climb_m = layout.start().1 - ground.height_m(layout.back_x_m());
    if !(climb_m > 1e-6 && rise_m > 0.0) {
        return None;
    }
    let count = (climb_m / rise_m - 1e-9).ceil().max(1.0);
    Some(Steps { climb_m, count: count as usize, rise_m: climb_m / count })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::profile::Profile;
    use crate::scene::BagBox;

    fn layout() -> Layout {
        Layout {
            surface: vec![(-14.0, 5.0), (-6.0, 0.0), (-4.0, 0.0), (0.0, 2.0)],
            foot_x_m: -4.0,
            platform_m: 2.0,
            roll_in_width_m: 2.0,
            takeoff_width_m: 2.0,
            bag: BagBox {
                gap_m: 3.0,
                length_m: 10.0,
                width_m: 8.0,
                offset_m: 0.0,
                base_level_m: 0.0,
                front_height_m: 2.0,
                back_height_m: 2.0,
            },
            fall_zone_m: 2.0,
            run_out_m: 0.0,
        }
    }

    #[test]
    fn legs_are_the_surface_less_the_ground() {
        let profile = Profile::new(vec![(-16.0, 2.0), (-6.0, 0.0), (20.0, 0.0)]).unwrap();
        let ground = Ground { profile: Some(profile), ..Ground::default() };
        let rows = supports(&layout(), &ground, 2.0);
        let places: Vec<f64> = rows.iter().map(|row| row.x_m).collect();
        assert_eq!(places, [-16.0, -14.0, -12.0, -10.0, -8.0, -6.0, -4.0]);
        // Platform 5 m over the foot, the ground 2 m up at its back: 3 m; at -14 it is 1.6 m up: 3.4 m.
        let heights = [3.0, 3.4, 3.75 - 1.2, 2.5 - 0.8, 1.25 - 0.4, 0.0, 0.0];
        for (row, wanted) in rows.iter().zip(heights) {
            assert!((row.height_m - wanted).abs() < 1e-12, "{row:?} {wanted}");
        }
        let steps = steps(&layout(), &ground, 0.28).unwrap();
        // 3.0 / 0.28 = 10.7: eleven rises.
        assert_eq!((steps.count, steps.climb_m), (11, 3.0));
        assert!((steps.rise_m * 11.0 - 3.0).abs() < 1e-12);
    }

    #[test]
    fn ground_above_the_surface_is_a_negative_leg_and_a_hill_needs_no_steps() {
        let profile = Profile::new(vec![(-16.0, 5.0), (-10.0, 5.0), (-4.0, 0.0), (20.0, 0.0)]).unwrap();
        let ground = Ground { profile: Some(profile), ..Ground::default() };
        assert!(steps(&layout(), &ground, 0.28).is_none());
        let rows = supports(&layout(), &ground, 2.0);
        assert!(rows.iter().any(|row| row.height_m < -1.0));
    }
}
