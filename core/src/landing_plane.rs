//! A plane to land on that has no edges: ground or dirt of a slope.

use crate::error::{InputError, within};
use crate::flight::Plane;
use crate::lane::Lane;

/// A plane through a place, that goes on both ways.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LandingPlane {
    x_m: f32,
    z_m: f32,
    climb: f32,
    cos: f32,
}

impl LandingPlane {
    /// Through a place forward of the lip and above the take-off's foot, falling forward at an angle (rising where it is
    /// below 0).
    ///
    /// Valid: places within 1,000 m, angles within 1.4 rad.
    ///
    /// # Errors
    /// [`InputError::OutOfRange`].
    pub fn new(x_m: f32, z_m: f32, falls_rad: f32) -> Result<Self, InputError> {
        within("landing_plane.x_m", x_m, -1_000.0, 1_000.0)?;
        within("landing_plane.z_m", z_m, -1_000.0, 1_000.0)?;
        within("landing_plane.falls_rad", falls_rad, -1.4, 1.4)?;
        Ok(Self { x_m, z_m, climb: -libm::tanf(falls_rad), cos: libm::cosf(falls_rad) })
    }

    /// The place forward of the lip that it was laid through.
    #[inline(always)]
    #[must_use]
    pub const fn x_m(&self) -> f32 {
        self.x_m
    }

    /// The plane on which the centre of mass is at contact: moved by the contact height along its normal.
    #[inline(always)]
    pub fn contact_plane<L: Lane>(&self, contact_height_m: L) -> Plane<L> {
        let offset_m = contact_height_m + self.cos * (self.z_m - self.x_m * self.climb);
        Plane { normal_x: -self.climb * self.cos, normal_z: self.cos, offset_m }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_on_it_is_a_contact_heights_length_under_the_contact_plane() {
        // Falling 3 in 4: the normal is (0.6, 0.8); 8 m on it is 6 m lower.
        let laid = LandingPlane::new(5.0, 2.0, 0.643_501_1).unwrap();
        let plane = laid.contact_plane(0.5_f32);
        assert!((plane.normal_x - 0.6).abs() < 1e-6 && (plane.normal_z - 0.8).abs() < 1e-6);
        for (x_m, z_m) in [(5.0, 2.0), (13.0, -4.0)] {
            let off_m: f32 = plane.normal_x * x_m + plane.normal_z * z_m - plane.offset_m;
            assert!((off_m + 0.5).abs() < 2e-6, "{off_m}");
        }
        assert!(LandingPlane::new(5.0, 2.0, 1.5).is_err() && LandingPlane::new(f32::NAN, 2.0, 0.1).is_err());
    }
}
