//! The take-off: a circular arc tangent to level at its foot, and where the rider leaves it.

use crate::error::{InputError, within};
use crate::lane::{Lane, sin_cos};

/// Steepest lip taken: 85°.
pub const MAX_LIP_RAD: f32 = 1.483_529_9;

/// A circular take-off and the two-wheeled bike that leaves it.
///
/// Lip angle θ = acos(1 − H/R), base R sin θ, face R θ. On the arc the frame lies along the chord
/// between the wheels, so the direction of travel lags the lip by β = asin(L/2R).
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TakeOff {
    /// Height of the lip above the foot.
    height_m: f32,
    /// Radius of the arc.
    radius_m: f32,
    /// Angle of the surface at the lip.
    lip_rad: f32,
    /// Sine of the lip angle.
    lip_sin: f32,
    /// Cosine of the lip angle.
    lip_cos: f32,
    /// Lag of the direction of travel at the lip, β.
    lag_rad: f32,
    /// Height of the centre of mass above the surface.
    mass_height_m: f32,
}

/// Where and in which direction a run leaves the take-off.
#[derive(Clone, Copy, Debug)]
pub struct Release<L> {
    /// Sine of the release angle.
    pub sin: L,
    /// Cosine of the release angle.
    pub cos: L,
    /// The centre of mass, forward from the lip.
    pub x_m: L,
    /// The centre of mass above the take-off's foot.
    pub z_m: L,
}

impl TakeOff {
    /// From height and radius, with the bike's wheelbase and the height of the centre of mass.
    ///
    /// # Errors
    /// [`InputError`] where the lip would pass 85°, the radius is not larger than the mass height or
    /// the wheelbase, or the lip angle is not more than the lag β.
    pub fn new(height_m: f32, radius_m: f32, wheelbase_m: f32, mass_height_m: f32) -> Result<Self, InputError> {
        within("takeoff.height_m", height_m, 0.05, 20.0)?;
        within("takeoff.radius_m", radius_m, 0.1, 500.0)?;
        within("rider.wheelbase_m", wheelbase_m, 0.3, 3.0)?;
        within("rider.mass_height_m", mass_height_m, 0.1, 3.0)?;
        if !(radius_m > mass_height_m) {
            return Err(InputError::Order {
                smaller: "rider.mass_height_m",
                smaller_got: mass_height_m,
                larger: "takeoff.radius_m",
                larger_got: radius_m,
            });
        }
        if !(radius_m > wheelbase_m) {
            return Err(InputError::Order {
                smaller: "rider.wheelbase_m",
                smaller_got: wheelbase_m,
                larger: "takeoff.radius_m",
                larger_got: radius_m,
            });
        }
        let highest_m = radius_m * (1.0 - libm::cosf(MAX_LIP_RAD));
        if !(height_m < highest_m) {
            return Err(InputError::Order {
                smaller: "takeoff.height_m",
                smaller_got: height_m,
                larger: "takeoff.radius_m × (1 − cos 85°)",
                larger_got: highest_m,
            });
        }
        // acos(1 − u) loses half its digits for small u; 2 asin √(u/2) does not.
        let lip_rad = 2.0 * libm::asinf(libm::sqrtf(0.5 * height_m / radius_m));
        let lag_rad = libm::asinf(0.5 * wheelbase_m / radius_m);
        if !(lip_rad > lag_rad) {
            return Err(InputError::Order {
                smaller: "lag of the bike on the arc, asin(wheelbase / 2 radius)",
                smaller_got: lag_rad,
                larger: "takeoff.lip_angle_rad",
                larger_got: lip_rad,
            });
        }
        let (lip_sin, lip_cos) = (libm::sinf(lip_rad), libm::cosf(lip_rad));
        Ok(Self { height_m, radius_m, lip_rad, lip_sin, lip_cos, lag_rad, mass_height_m })
    }

    /// The same arc with a lip that is bent to another angle, height and foot where they are: what building it wrong
    /// does.
    ///
    /// # Errors
    /// [`InputError::OutOfRange`] where the angle is not between the lag β and 85°.
    pub fn with_lip_rad(&self, lip_rad: f32) -> Result<Self, InputError> {
        within("takeoff.lip_angle_rad", lip_rad, self.lag_rad, MAX_LIP_RAD)?;
        Ok(Self { lip_rad, lip_sin: libm::sinf(lip_rad), lip_cos: libm::cosf(lip_rad), ..*self })
    }

    /// Height of the lip above the foot.
    #[inline(always)]
    #[must_use]
    pub const fn height_m(&self) -> f32 {
        self.height_m
    }

    /// Radius of the arc.
    #[inline(always)]
    #[must_use]
    pub const fn radius_m(&self) -> f32 {
        self.radius_m
    }

    /// Angle of the surface at the lip.
    #[inline(always)]
    #[must_use]
    pub const fn lip_rad(&self) -> f32 {
        self.lip_rad
    }

    /// Sine of the lip angle.
    #[inline(always)]
    #[must_use]
    pub const fn lip_sin(&self) -> f32 {
        self.lip_sin
    }

    /// Cosine of the lip angle.
    #[inline(always)]
    #[must_use]
    pub const fn lip_cos(&self) -> f32 {
        self.lip_cos
    }

    /// Lag of the direction of travel at the lip, β.
    #[inline(always)]
    #[must_use]
    pub const fn lag_rad(&self) -> f32 {
        self.lag_rad
    }

    /// Height of the centre of mass above the surface.
    #[inline(always)]
    #[must_use]
    pub const fn mass_height_m(&self) -> f32 {
        self.mass_height_m
    }

    /// Horizontal distance from the foot to the lip, R sin θ.
    #[must_use]
    pub fn base_m(&self) -> f32 {
        self.radius_m * self.lip_sin
    }

    /// Length of the face along the arc, R θ.
    #[must_use]
    pub fn face_m(&self) -> f32 {
        self.radius_m * self.lip_rad
    }

    /// The release for a carry λ in 0..1: θ_r = θ_lip − (1 − λ) β.
    #[inline(always)]
    pub fn release<L: Lane>(&self, carry: L) -> Release<L> {
        let (sin_lip, cos_lip) = (self.lip_sin, self.lip_cos);
        let (sin_short, cos_short) = sin_cos((L::splat(1.0) - carry) * self.lag_rad);
        let sin = cos_short * sin_lip - sin_short * cos_lip;
        let cos = cos_short * cos_lip + sin_short * sin_lip;
        let x_m = sin * (self.radius_m - self.mass_height_m) - self.radius_m * sin_lip;
        let z_m = L::splat(self.height_m + self.radius_m * cos_lip) - cos * (self.radius_m - self.mass_height_m);
        Release { sin, cos, x_m, z_m }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_usual_big_kicker_has_its_lip_angle() {
        // 8 ft high to a 15 ft radius: acos(1 − 8/15) = 62.18° (circle geometry).
        let t = TakeOff::new(8.0 * 0.3048, 15.0 * 0.3048, 1.05, 1.0).unwrap();
        assert!((t.lip_rad.to_degrees() - 62.182).abs() < 1e-3, "{}", t.lip_rad.to_degrees());
        assert!((t.base_m() - 15.0 * 0.3048 * 0.884_433).abs() < 1e-5);
    }

    #[test]
    fn full_carry_releases_at_the_lip() {
        let t = TakeOff::new(2.0, 5.0, 1.05, 1.0).unwrap();
        let r = t.release(1.0_f32);
        assert!((r.x_m + libm::sinf(t.lip_rad)).abs() < 1e-6);
        assert!((r.z_m - 2.0 - libm::cosf(t.lip_rad)).abs() < 1e-6);
        let r = t.release(0.0_f32);
        assert!((r.sin - libm::sinf(t.lip_rad - t.lag_rad)).abs() < 3e-7);
    }

    #[test]
    fn out_of_reach_shapes_are_refused() {
        assert!(TakeOff::new(4.6, 5.0, 1.05, 1.0).is_err());
        assert!(TakeOff::new(0.3, 1.0, 1.05, 1.0).is_err());
        assert!(TakeOff::new(0.05, 2.0, 1.05, 1.0).is_err());
        assert!(TakeOff::new(f32::INFINITY, 5.0, 1.05, 1.0).is_err());
    }
}
