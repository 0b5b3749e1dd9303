//! The short zone: lip speeds from walking pace to the one that clears the gap, and what each hits.

use crate::bag::Outcome;
use crate::flight::fly_to_x;
use crate::inputs::{Inputs, Uncertain};
use crate::ride::Steps;
use crate::run::Setup;

/// Walking pace.
pub const WALKING_MPS: f32 = 1.4;
/// Fastest lip speed searched.
const FASTEST_MPS: f32 = 40.0;

/// What a run that falls short meets first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Hit {
    /// The ground before the bag.
    Ground,
    /// The bag's front face.
    BagFront,
    /// The bag's top: the gap is cleared.
    BagTop,
}

/// What a lip speed comes to.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ShortRun {
    /// Speed at the release.
    pub lip_speed_mps: f32,
    /// What is met first.
    pub hit: Hit,
    /// Height of the lowest point of rider and bike above the ground under the bag where x = gap.
    pub height_at_gap_m: f32,
}

/// What a run at `lip_speed_mps`, else at `inputs`, meets first. The height of the body's lowest
/// point is that of the centre of mass less the contact height.
#[must_use]
pub fn short_run(setup: &Setup, inputs: &Inputs<f32>, lip_speed_mps: f32) -> ShortRun {
    let start = setup.release(lip_speed_mps, inputs);
    let drag = setup.drag(inputs);
    let edge = fly_to_x(&start, setup.bag().gap_m(), &drag, Steps::FINE.flight);
    let lowest_m = edge.motion.place_m[2] - inputs.get(Uncertain::ContactHeight) - setup.bag().base_level_m();
    // Hardly moving forward it falls for so long that the steps give no number: far below the ground.
    let height_at_gap_m = if edge.met && lowest_m.is_finite() { lowest_m } else { f32::MIN };
    let cleared = match landing(setup, inputs, lip_speed_mps) {
        Outcome::Short | Outcome::Front => false,
        _ => edge.met,
    };
    let hit = if cleared {
        Hit::BagTop
    } else if height_at_gap_m <= 0.0 {
        Hit::Ground
    } else {
        Hit::BagFront
    };
    ShortRun { lip_speed_mps, hit, height_at_gap_m }
}

fn landing(setup: &Setup, inputs: &Inputs<f32>, lip_speed_mps: f32) -> Outcome {
    let start = setup.release(lip_speed_mps, inputs);
    let (arrival, front) = setup.fly(&start, inputs, &Steps::FINE);
    if front {
        return Outcome::Front;
    }
    let plane = setup.bag().contact_plane(inputs.get(Uncertain::ContactHeight));
    let x_m = arrival.motion.place_m[0] - inputs.get(Uncertain::ContactHeight) * plane.normal_x;
    // Only short or not is asked: the centre line is used across.
    setup.bag().landing(x_m - setup.bag().gap_m(), 0.0)
}

/// The lowest lip speed from walking pace up that clears the gap; `None` if 40 m/s does not.
/// It is found in steps of 0.1 m/s and then by halving.
#[must_use]
pub fn clearing_speed_mps(setup: &Setup, inputs: &Inputs<f32>) -> Option<f32> {
    let clears = |v: f32| short_run(setup, inputs, v).hit == Hit::BagTop;
    if clears(WALKING_MPS) {
        return Some(WALKING_MPS);
    }
    let mut low_mps = WALKING_MPS;
    while low_mps < FASTEST_MPS && !clears(low_mps + 0.1) {
        low_mps += 0.1;
    }
    if low_mps >= FASTEST_MPS {
        return None;
    }
    let mut high_mps = low_mps + 0.1;
    for _ in 0..18 {
        let middle_mps = 0.5 * (low_mps + high_mps);
        if clears(middle_mps) { high_mps = middle_mps } else { low_mps = middle_mps }
    }
    Some(high_mps)
}

/// The lip speed from which the bag's front is met rather than the ground, if there is one below `clearing_mps`.
#[must_use]
pub fn front_from_mps(setup: &Setup, inputs: &Inputs<f32>, clearing_mps: f32) -> Option<f32> {
    let ground = |v: f32| short_run(setup, inputs, v).hit == Hit::Ground;
    if !ground(WALKING_MPS) {
        return Some(WALKING_MPS);
    }
    let (mut low_mps, mut high_mps) = (WALKING_MPS, clearing_mps);
    for _ in 0..28 {
        let middle_mps = 0.5 * (low_mps + high_mps);
        if ground(middle_mps) { low_mps = middle_mps } else { high_mps = middle_mps }
    }
    (clearing_mps - high_mps > 1.0e-3).then_some(high_mps)
}
