//! Wind on the bag: side force, lift, and the anchors that hold it.
//!
//! # Settled here
//! - **Anchors** carry the resultant of side force and lift.

use crate::error::{InputError, within};

/// Gust over mean wind: a mean reading is multiplied by this before it is compared with a gust.
/// Source: the in-land gust factor of WMO TD-1555 (2010), from memory; EN 1991-1-4 terrain II at 10 m gives 1.661.
pub const GUST_FACTOR: f32 = 1.66;
/// Safety factor on the anchors' capacity, as the inflatable-equipment standards use it.
pub const ANCHOR_FACTOR: f32 = 1.5;
/// Never fewer anchors than this (minimum of the inflatable-equipment standards).
pub const LEAST_ANCHORS: u16 = 6;

/// What the wind acts on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WindLoad {
    /// Gust speed.
    pub wind_mps: f32,
    /// Air density.
    pub density_kgpm3: f32,
    /// Longer side of the bag.
    pub longer_side_m: f32,
    /// Greater height of the bag.
    pub height_m: f32,
    /// Area of the bag seen from above.
    pub plan_m2: f32,
    /// Side coefficient C_s (assumed).
    pub side_coefficient: f32,
    /// Lift coefficient C_u (assumed).
    pub lift_coefficient: f32,
    /// Push of a landing along the top, which comes on top of the wind's side force.
    pub push_n: f32,
    /// Capacity of one anchor.
    pub capacity_n: f32,
}

/// Forces and anchors.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WindForces {
    /// Dynamic pressure ½ρv².
    pub dynamic_pa: f32,
    /// Side force, ½ρv² C_s A_side + push.
    pub side_n: f32,
    /// Lift, ½ρv² C_u A_plan.
    pub lift_n: f32,
    /// Anchors that carry the side force and the lift together with the safety factor, never fewer than six.
    pub anchors: u16,
}

impl WindLoad {
    /// Computes the forces; an anchor is taken to hold its capacity in any direction, so the two
    /// forces are added as vectors.
    ///
    /// # Errors
    /// [`InputError`] for a value that is out of range or not a number.
    pub fn forces(&self) -> Result<WindForces, InputError> {
        within("anchors.wind_mps", self.wind_mps, 0.0, 60.0)?;
        within("air.density_kgpm3", self.density_kgpm3, 0.2, 2.0)?;
        within("bag.longer_side_m", self.longer_side_m, 0.1, 200.0)?;
        within("bag.height_m", self.height_m, 0.01, 50.0)?;
        within("bag.plan_m2", self.plan_m2, 0.1, 40_000.0)?;
        within("anchors.side_coefficient", self.side_coefficient, 0.0, 10.0)?;
        within("anchors.lift_coefficient", self.lift_coefficient, 0.0, 10.0)?;
        within("push_n", self.push_n, 0.0, 1.0e6)?;
        within("anchors.capacity_n", self.capacity_n, 1.0, 1.0e6)?;
        let dynamic_pa = 0.5 * self.density_kgpm3 * self.wind_mps * self.wind_mps;
        let side_n = dynamic_pa * self.side_coefficient * self.longer_side_m * self.height_m + self.push_n;
        let lift_n = dynamic_pa * self.lift_coefficient * self.plan_m2;
        let needed = libm::ceilf(ANCHOR_FACTOR * libm::hypotf(side_n, lift_n) / self.capacity_n);
        let anchors =
            if needed > f32::from(LEAST_ANCHORS) { libm::fminf(needed, 65_535.0) as u16 } else { LEAST_ANCHORS };
        Ok(WindForces { dynamic_pa, side_n, lift_n, anchors })
    }
}
