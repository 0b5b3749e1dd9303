//! Sizing: the start height for a wanted air time, apex or landing point, and take-offs compared by radius.

use crate::error::{InputError, Status};
use crate::flight::fly_to_apex;
use crate::inputs::{Inputs, Uncertain};
use crate::ride::Steps;
use crate::run::Setup;

/// What a start height is sought for.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Goal {
    /// Time from release to contact.
    AirTime {
        /// Seconds.
        airtime_s: f32,
    },
    /// Highest centre of mass above the lip.
    Apex {
        /// Metres.
        above_lip_m: f32,
    },
    /// Contact point from the lip.
    Landing {
        /// Metres.
        from_lip_m: f32,
    },
}

/// A run as the sizing shows it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Shape {
    /// Speed at the release.
    pub lip_speed_mps: f32,
    /// Time from release to contact.
    pub airtime_s: f32,
    /// Highest centre of mass above the lip.
    pub apex_above_lip_m: f32,
    /// Contact point from the lip.
    pub distance_from_lip_m: f32,
    /// Speed into the bag's top.
    pub normal_mps: f32,
    /// Equivalent fall height v_n²/2g.
    pub equivalent_fall_height_m: f32,
    /// Highest load on the ride down and in the take-off's arc, in g.
    pub peak_load_g: f32,
}

/// A start height and how the search for it ended.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct StartFound {
    /// The start height; the nearer limit where there is no answer.
    pub start_height_m: f32,
    /// The run from there, if it reaches the bag's plane.
    pub shape: Option<Shape>,
    /// Whether the goal is met.
    pub status: Status,
}

/// The run at `inputs`; `None` where it does not come down on the bag's plane.
#[must_use]
pub fn shape(setup: &Setup, inputs: &Inputs<f32>) -> Option<Shape> {
    let mut peak_mps2 = 0.0_f32;
    let end = setup.ride::<f32, false>(inputs, &Steps::FINE, |point| {
        peak_mps2 = libm::fmaxf(peak_mps2, point.load_mps2);
    });
    let run = setup.run_from(&end, inputs, &Steps::FINE);
    if !run.landed() {
        return None;
    }
    let start = setup.release(end.speed_mps, inputs);
    let (_, top) = fly_to_apex(&start, &setup.drag(inputs), Steps::FINE.flight);
    let g = crate::air::STANDARD_GRAVITY_MPS2;
    Some(Shape {
        lip_speed_mps: end.speed_mps,
        airtime_s: run.airtime_s,
        apex_above_lip_m: top.place_m[2] - setup.takeoff().height_m(),
        distance_from_lip_m: run.along_m + setup.bag().gap_m(),
        normal_mps: run.normal_mps,
        equivalent_fall_height_m: run.normal_mps * run.normal_mps / (2.0 * g),
        peak_load_g: peak_mps2 / g,
    })
}

/// Finds the start height between two limits for a goal, by halving; what is sought grows with the start height.
///
/// # Errors
/// [`InputError`] where the limits are out of order or not numbers.
pub fn start_height(
    setup: &Setup,
    inputs: &Inputs<f32>,
    goal: Goal,
    low_m: f32,
    high_m: f32,
) -> Result<StartFound, InputError> {
    let lowest_m = setup.path().lowest_start_m();
    if !(low_m >= 0.0 && low_m < high_m && high_m <= 100.0) {
        return Err(InputError::Order {
            smaller: "lowest start height",
            smaller_got: low_m,
            larger: "highest start height",
            larger_got: high_m,
        });
    }
    let at = |height_m: f32| shape(setup, &inputs.with(Uncertain::StartHeight, height_m));
    let reached = |shape: &Option<Shape>| {
        shape.as_ref().is_some_and(|s| match goal {
            Goal::AirTime { airtime_s } => s.airtime_s >= airtime_s,
            Goal::Apex { above_lip_m } => s.apex_above_lip_m >= above_lip_m,
            Goal::Landing { from_lip_m } => s.distance_from_lip_m >= from_lip_m,
        })
    };
    let (mut low_m, mut high_m) = (libm::fmaxf(low_m, lowest_m + 1.0e-3), high_m);
    let lowest = at(low_m);
    if reached(&lowest) {
        return Ok(StartFound { start_height_m: low_m, shape: lowest, status: Status::NoAnswer });
    }
    let highest = at(high_m);
    if !reached(&highest) {
        return Ok(StartFound { start_height_m: high_m, shape: highest, status: Status::NoAnswer });
    }
    for _ in 0..24 {
        let middle_m = 0.5 * (low_m + high_m);
        if reached(&at(middle_m)) { high_m = middle_m } else { low_m = middle_m }
    }
    Ok(StartFound { start_height_m: high_m, shape: at(high_m), status: Status::Converged })
}
