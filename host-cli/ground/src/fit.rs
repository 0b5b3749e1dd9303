//! Whether there is room, along and across.

use crate::scene::{Ground, Layout};
use serde::Serialize;

/// The room that is wanted and the room that there is. What is missing is positive; what is spare is negative.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fit {
    /// From the platform's back to the end of the run-out.
    pub length_m: f64,
    /// The platform's back.
    pub from_m: f64,
    /// The end of the run-out.
    pub to_m: f64,
    /// Missing behind the platform; null where the land's edge there is not known.
    pub missing_behind_m: Option<f64>,
    /// Missing at the end of the run-out; null where the land's edge there is not known.
    pub missing_ahead_m: Option<f64>,
    /// What is wanted across, from the right to the left.
    pub across_m: (f64, f64),
    /// Missing on the right; null where the land's width is not known.
    pub missing_right_m: Option<f64>,
    /// Missing on the left; null where the land's width is not known.
    pub missing_left_m: Option<f64>,
    /// Stretches that nobody measured the height of, where there is a profile.
    pub unmeasured_m: Vec<(f64, f64)>,
    /// Where a rider who comes off the bag's back fastest comes to rest, from the land's edge: positive beyond it.
    pub run_out_past_edge_m: Option<f64>,
}

/// A hair: what is missing by less is not missing.
const HAIR_M: f64 = 1e-6;

impl Fit {
    /// Everything that is known to be missing.
    #[must_use]
    pub fn missing(&self) -> Vec<(Side, f64)> {
        [
            (Side::Behind, self.missing_behind_m),
            (Side::Ahead, self.missing_ahead_m),
            (Side::Right, self.missing_right_m),
            (Side::Left, self.missing_left_m),
        ]
        .into_iter()
        .filter_map(|(side, missing)| Some((side, missing?)))
        .filter(|(_, missing)| *missing > HAIR_M)
        .collect()
    }

    /// Length that is missing in all: what is spare at one end helps the other only if everything moves.
    #[must_use]
    pub fn missing_length_m(&self) -> Option<f64> {
        match (self.missing_behind_m, self.missing_ahead_m) {
            (Some(behind), Some(ahead)) => Some(behind + ahead),
            _ => None,
        }
    }
}

/// Where something is missing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// Behind the platform.
    Behind,
    /// At the end of the run-out.
    Ahead,
    /// On the right.
    Right,
    /// On the left.
    Left,
}

/// Compares what is built with the ground.
#[must_use]
pub fn fit(layout: &Layout, ground: &Ground) -> Fit {
    let (from_m, to_m) = (layout.back_x_m(), layout.end_x_m());
    let (right_m, left_m) = layout.across_m();
    let half_m = ground.width_m.map(|width_m| width_m / 2.0);
    Fit {
        length_m: to_m - from_m,
        from_m,
        to_m,
        missing_behind_m: ground.edge_behind_m.map(|edge_m| edge_m - from_m),
        missing_ahead_m: ground.edge_ahead_m.map(|edge_m| to_m - edge_m),
        across_m: (right_m, left_m),
        missing_right_m: half_m.map(|half_m| (ground.middle_m - half_m) - right_m),
        missing_left_m: half_m.map(|half_m| left_m - (ground.middle_m + half_m)),
        unmeasured_m: ground.profile.as_ref().map_or_else(Vec::new, |profile| profile.unmeasured(from_m, to_m)),
        run_out_past_edge_m: ground.edge_ahead_m.map(|edge_m| layout.bag.along_m().1 + layout.run_out_m - edge_m),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scene::BagBox;

    fn layout() -> Layout {
        Layout {
            surface: vec![(-16.0, 6.0), (-6.0, 0.0), (-4.0, 0.0), (0.0, 2.4)],
            foot_x_m: -4.0,
            platform_m: 2.4,
            roll_in_width_m: 2.4,
            takeoff_width_m: 2.4,
            bag: BagBox {
                gap_m: 3.0,
                length_m: 12.0,
                width_m: 8.0,
                offset_m: 0.5,
                base_level_m: 0.0,
                front_height_m: 2.2,
                back_height_m: 2.2,
            },
            fall_zone_m: 2.0,
            run_out_m: 5.0,
        }
    }

    #[test]
    fn what_is_missing_is_the_difference_of_what_is_wanted_and_what_there_is() {
        let ground = Ground {
            width_m: Some(12.0),
            middle_m: -0.5,
            edge_ahead_m: Some(19.5),
            edge_behind_m: Some(-19.0),
            ..Ground::default()
        };
        let fit = fit(&layout(), &ground);
        // 2.4 + 16 behind the lip, 3 + 12 + 5 ahead of it.
        assert!((fit.length_m - 38.4).abs() < 1e-12);
        let near = |got: Option<f64>, wanted: f64| assert!((got.unwrap() - wanted).abs() < 1e-12, "{got:?} {wanted}");
        near(fit.missing_behind_m, -0.6);
        near(fit.missing_ahead_m, 0.5);
        // The bag and its fall zone reach from -5.5 to 6.5, the land from -6.5 to 5.5.
        near(fit.missing_right_m, -1.0);
        near(fit.missing_left_m, 1.0);
        near(fit.missing_length_m(), -0.1);
        let sides: Vec<Side> = fit.missing().iter().map(|(side, _)| *side).collect();
        assert_eq!(sides, [Side::Ahead, Side::Left]);
    }

    #[test]
    fn what_is_not_known_is_not_judged() {
        let fit = fit(&layout(), &Ground::default());
        assert!(fit.missing().is_empty() && fit.missing_ahead_m.is_none() && fit.missing_length_m().is_none());
    }
}
