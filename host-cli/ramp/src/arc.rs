//! An arc of the ridden surface as a curve to draw: its points, and those of the curves parallel to it.

use landfall_core::path::{Segment, Shape};
use landfall_core::takeoff::TakeOff;
use serde::Serialize;

/// A circular arc of the surface, in the direction of travel.
///
/// x is horizontal from the arc's start, z above the take-off's foot. With the slope angle θ (up positive) and the
/// curvature's sign c (+1 turns upward, −1 downward), a point `depth` below the surface is
/// x = R c (sin θ − sin θ0) + depth sin θ, z = z0 + R c (cos θ0 − cos θ) − depth cos θ. Units: m, rad.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Arc {
    /// Radius of the surface.
    pub radius_m: f64,
    /// Slope angle at the start, up positive.
    pub start_rad: f64,
    /// Angle turned through, upward positive.
    pub turn_rad: f64,
    /// Height of the surface at the start.
    pub start_z_m: f64,
}

impl Arc {
    /// The take-off's face, from its foot to its lip.
    #[must_use]
    pub fn of_takeoff(takeoff: &TakeOff) -> Self {
        // The angle is formed again from height and radius: the core's own carries the rounding of single precision.
        let radius_m = f64::from(takeoff.radius_m());
        let turn_rad = 2.0 * (0.5 * f64::from(takeoff.height_m()) / radius_m).sqrt().asin();
        Self { radius_m, start_rad: 0.0, turn_rad, start_z_m: 0.0 }
    }

    /// An arc of the roll-in; `None` for a straight.
    #[must_use]
    pub fn of_segment(segment: &Segment) -> Option<Self> {
        match segment.shape {
            Shape::Straight { .. } => None,
            Shape::Arc { radius_m, sin0, cos0, turn_rad } => Some(Self {
                radius_m: radius_m.into(),
                start_rad: f64::from(sin0).atan2(cos0.into()),
                turn_rad: turn_rad.into(),
                start_z_m: segment.z_start_m.into(),
            }),
        }
    }

    /// +1 where it turns upward, −1 downward.
    #[must_use]
    pub fn bend(&self) -> f64 {
        self.turn_rad.signum()
    }

    /// Radius of the curve so far below the surface.
    #[must_use]
    pub fn radius_below_m(&self, depth_m: f64) -> f64 {
        self.radius_m + self.bend() * depth_m
    }

    /// Length along the curve so far below the surface.
    #[must_use]
    pub fn length_m(&self, depth_m: f64) -> f64 {
        self.radius_below_m(depth_m) * self.turn_rad.abs()
    }

    /// Slope angle at a length along the surface.
    #[must_use]
    pub fn angle_rad(&self, along_m: f64) -> f64 {
        self.start_rad + self.bend() * along_m / self.radius_m
    }

    /// Centre of the circle.
    #[must_use]
    pub fn centre_m(&self) -> [f64; 2] {
        let (sin, cos) = self.start_rad.sin_cos();
        [-self.bend() * self.radius_m * sin, self.start_z_m + self.bend() * self.radius_m * cos]
    }

    /// The point at a slope angle, so far below the surface.
    #[must_use]
    pub fn at_angle_m(&self, angle_rad: f64, depth_m: f64) -> [f64; 2] {
        let [x, z] = self.centre_m();
        let (sin, cos) = angle_rad.sin_cos();
        let radius_m = self.bend() * self.radius_below_m(depth_m);
        [x + radius_m * sin, z - radius_m * cos]
    }

    /// The point at a length along the surface, so far below it.
    #[must_use]
    pub fn at_m(&self, along_m: f64, depth_m: f64) -> [f64; 2] {
        self.at_angle_m(self.angle_rad(along_m), depth_m)
    }

    /// Horizontal length of the surface.
    #[must_use]
    pub fn run_m(&self) -> f64 {
        self.at_m(self.length_m(0.0), 0.0)[0]
    }

    /// Height and slope angle of the curve so far below the surface, at a place; `None` beside the circle.
    #[must_use]
    pub fn at_x_m(&self, x_m: f64, depth_m: f64) -> Option<(f64, f64)> {
        let [x, z] = self.centre_m();
        let radius_m = self.radius_below_m(depth_m);
        let sin = self.bend() * (x_m - x) / radius_m;
        // Rounding at the very end of an upright arc.
        if !(sin.abs() <= 1.0 + 1e-9) {
            return None;
        }
        let sin = sin.clamp(-1.0, 1.0);
        let cos = (1.0 - sin * sin).sqrt();
        Some((z - self.bend() * radius_m * cos, sin.asin()))
    }

    /// Where the curve so far below the surface is at a height, on the arc's rising or falling side; `None` where it
    /// never is.
    #[must_use]
    pub fn x_at_height_m(&self, height_m: f64, depth_m: f64, rising: bool) -> Option<f64> {
        let [x, z] = self.centre_m();
        let radius_m = self.radius_below_m(depth_m);
        let cos = self.bend() * (z - height_m) / radius_m;
        if !(cos.abs() <= 1.0) {
            return None;
        }
        let sin = (1.0 - cos * cos).sqrt() * if rising { 1.0 } else { -1.0 };
        Some(x + self.bend() * radius_m * sin)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_usual_kicker_is_its_circle() {
        let takeoff = TakeOff::new(8.0 * 0.3048, 15.0 * 0.3048, 1.05, 1.0).unwrap();
        let arc = Arc::of_takeoff(&takeoff);
        assert!((arc.turn_rad.to_degrees() - 62.181_861).abs() < 1e-5);
        let [x, z] = arc.at_m(arc.length_m(0.0), 0.0);
        assert!((x - arc.run_m()).abs() < 1e-12 && (z - 2.4384).abs() < 1e-6);
        // 18 mm below the surface, the panel begins where its circle meets the ground: √(2 R t + t²).
        let start_m = arc.x_at_height_m(0.0, 0.018, true).unwrap();
        assert!((start_m - (2.0_f64 * 4.572 * 0.018 + 0.018 * 0.018).sqrt()).abs() < 1e-7);
        let (height_m, angle_rad) = arc.at_x_m(2.0, 0.0).unwrap();
        assert!((height_m - (4.572 - (4.572_f64 * 4.572 - 4.0).sqrt())).abs() < 1e-6);
        assert!((angle_rad.sin() - 2.0 / 4.572).abs() < 1e-7);
    }

    #[test]
    fn both_ways_of_bending_end_where_the_core_says() {
        use landfall_core::path::{Path, Section};
        let deg = std::f32::consts::PI / 180.0;
        let sections = [
            Section::Arc { radius_m: 3.0, turn_rad: -40.0 * deg },
            Section::Straight { length_m: 2.0, slope_rad: None },
            Section::Arc { radius_m: 6.0, turn_rad: 40.0 * deg },
        ];
        let drop_m = 9.0 * (1.0 - (40.0 * deg).cos()) + 2.0 * (40.0 * deg).sin();
        let path = Path::from_sections(&sections, drop_m, 1.0).unwrap();
        for segment in path.segments() {
            let Some(arc) = Arc::of_segment(segment) else { continue };
            let [x, z] = arc.at_m(arc.length_m(0.0), 0.0);
            assert!((z - f64::from(segment.z_end_m)).abs() < 1e-5, "{arc:?}");
            let back = arc.at_x_m(x, 0.0).unwrap();
            assert!((back.0 - z).abs() < 1e-9 && (back.1 - arc.angle_rad(arc.length_m(0.0))).abs() < 1e-7);
            // A parallel curve stays at its distance.
            let (near, far) = (arc.at_m(1.0, 0.0), arc.at_m(1.0, 0.1));
            assert!(((near[0] - far[0]).hypot(near[1] - far[1]) - 0.1).abs() < 1e-9 && far[1] < near[1]);
        }
    }
}
