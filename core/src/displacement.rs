//! How much of the bag's volume a body takes away as it sinks in.

use core::f32::consts::PI;

use crate::error::{InputError, within};
use crate::force_area::ForceArea;

/// The volume displaced by a body at a penetration, and its slope, which is the area that the gas pushes on.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Displacement {
    /// The skin is dragged down round the body in a dish of radius a, then goes down as a cylinder:
    ///
    /// V_d = π x² (3a − x)/3 for x ≤ a, then V_d(a) + π a² (x − a).
    ///
    /// *Assumed*: the radius (1.2 m) is a judgement until a drop test fits it.
    Dish {
        /// Dish radius a, m.
        radius_m: f32,
    },
    /// A flat load on a bag of constant section B, as in published drop tests: V_d = B x.
    Piston {
        /// Section B, m².
        area_m2: f32,
    },
    /// A force area over depth.
    Area(ForceArea),
}

impl Displacement {
    /// A dish of `radius_m`, m. Valid: 0.1 to 5 m.
    ///
    /// # Errors
    /// [`InputError::OutOfRange`].
    pub fn dish(radius_m: f32) -> Result<Self, InputError> {
        Ok(Self::Dish { radius_m: within("bag.dish_radius_m", radius_m, 0.1, 5.0)? })
    }

    /// A piston of `area_m2`, m². Valid: 0.01 to 100 m².
    ///
    /// # Errors
    /// [`InputError::OutOfRange`].
    pub fn piston(area_m2: f32) -> Result<Self, InputError> {
        Ok(Self::Piston { area_m2: within("piston.area_m2", area_m2, 0.01, 100.0)? })
    }

    /// Displaced volume V_d, m³, at `depth_m` (0 above the skin).
    #[must_use]
    pub fn volume_m3(&self, depth_m: f32) -> f32 {
        let x = depth_m.max(0.0);
        match *self {
            Self::Dish { radius_m: a } => {
                let dish = x.min(a);
                PI * (dish * dish * (a - dish * (1.0 / 3.0)) + a * a * (x - dish))
            }
            Self::Piston { area_m2 } => area_m2 * x,
            Self::Area(area) => area.volume_m3(x),
        }
    }

    /// Area V_d′, m², at `depth_m` (0 above the skin for a dish, B for a piston).
    #[must_use]
    pub fn area_m2(&self, depth_m: f32) -> f32 {
        match *self {
            Self::Dish { radius_m: a } => {
                let dish = depth_m.max(0.0).min(a);
                PI * dish * (a + a - dish)
            }
            Self::Piston { area_m2 } => area_m2,
            Self::Area(ref area) => area.area_m2(depth_m),
        }
    }

    /// How fast the area grows with depth, V_d″, m.
    #[must_use]
    pub fn area_growth_m(&self, depth_m: f32) -> f32 {
        match *self {
            Self::Dish { radius_m: a } => 2.0 * PI * (a - depth_m.max(0.0).min(a)),
            Self::Piston { .. } => 0.0,
            Self::Area(ref area) => area.area_growth_m(depth_m),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dish_one_radius_deep_is_half_a_ball_and_the_area_is_the_slope() {
        let dish = Displacement::dish(1.2).unwrap();
        assert!((dish.volume_m3(1.2) - 2.0 / 3.0 * PI * 1.2f32.powi(3)).abs() < 1e-5);
        for depth_m in [0.1f32, 0.7, 1.1, 1.6] {
            let slope = (dish.volume_m3(depth_m + 0.01) - dish.volume_m3(depth_m - 0.01)) / 0.02;
            assert!((slope - dish.area_m2(depth_m)).abs() < 1e-3, "{depth_m}");
        }
        assert_eq!(dish.volume_m3(-1.0), 0.0);
    }
}
