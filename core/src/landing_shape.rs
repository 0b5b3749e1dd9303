//! The landing on which every run falls alike: a surface of constant equivalent fall height.
//!
//! Runs that differ in their lip speed alone cover the plane: through each place passes one of them. Its speed there
//! and the limit say how steep the surface must be, and so the surface is the solution of a first-order equation.

use crate::air::STANDARD_GRAVITY_MPS2 as G;
use crate::error::{InputError, Status, within};
use crate::flight::{Drag, Motion, fly_to_x};

/// Steps along the surface.
const STEPS: u16 = 96;
/// Steps of a flight.
const FLIGHT: u16 = 12;
/// Most times that a bracket of lip speeds grows.
const BRACKET: u8 = 8;

/// Where and in which direction runs leave; they differ in speed.
///
/// The velocity is `v (cos, sin) + pop (−sin, cos)`. Units: m, rad, m/s. What is across is left out: a surface that is
/// the same all across has no slope there.
#[derive(Clone, Copy, Debug)]
pub struct Throw {
    /// The centre of mass, forward from the lip.
    pub x_m: f32,
    /// The centre of mass above the take-off's foot.
    pub z_m: f32,
    /// Direction of travel, up positive.
    pub angle_rad: f32,
    /// Speed added normal to it.
    pub pop_mps: f32,
    /// Air; wind across is left out.
    pub drag: Drag<f32>,
}

/// The run through a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Passing {
    /// Speed at the release.
    pub lip_speed_mps: f32,
    /// Speed forward, there.
    pub forward_mps: f32,
    /// Speed upward, there.
    pub up_mps: f32,
}

impl Passing {
    /// Direction of its path, up positive.
    #[must_use]
    pub fn path_rad(&self) -> f32 {
        libm::atan2f(self.up_mps, self.forward_mps)
    }

    /// Equivalent fall height onto a surface of a slope (up positive): h = (v sin(slope − path))²/2g; 0 where the run
    /// leaves the surface. Source: Hubbard 2009, J. ASTM Int. 6(10), from memory.
    #[must_use]
    pub fn fall_m(&self, slope_rad: f32) -> f32 {
        let (sin, cos) = (libm::sinf(slope_rad), libm::cosf(slope_rad));
        let into_mps = libm::fmaxf(self.forward_mps * sin - self.up_mps * cos, 0.0);
        into_mps * into_mps / (2.0 * G)
    }

    /// The slope (up positive) onto which it falls like `fall_m`: path + asin √(fall_m / (v²/2g)), the flatter of both.
    /// Where even a square hit is within `fall_m`, square to the path.
    #[must_use]
    pub fn slope_rad(&self, fall_m: f32) -> f32 {
        let head_m = (self.forward_mps * self.forward_mps + self.up_mps * self.up_mps) / (2.0 * G);
        let share = libm::fminf(fall_m / libm::fmaxf(head_m, 1.0e-9), 1.0);
        self.path_rad() + libm::asinf(libm::sqrtf(share))
    }
}

impl Throw {
    /// Checks the numbers.
    ///
    /// # Errors
    /// [`InputError`] for a place, direction, pop, drag or wind out of range.
    pub fn new(x_m: f32, z_m: f32, angle_rad: f32, pop_mps: f32, drag: Drag<f32>) -> Result<Self, InputError> {
        within("throw.x_m", x_m, -20.0, 20.0)?;
        within("throw.z_m", z_m, -20.0, 30.0)?;
        within("throw.angle_rad", angle_rad, -0.5, 1.5)?;
        within("throw.pop_mps", pop_mps, -5.0, 5.0)?;
        within("drag.k_pm", drag.k_pm, 0.0, 0.2)?;
        within("drag.along_mps", drag.along_mps, -30.0, 30.0)?;
        Ok(Self { x_m, z_m, angle_rad, pop_mps, drag: Drag { across_mps: 0.0, ..drag } })
    }

    fn start(&self, speed_mps: f32) -> Motion<f32> {
        let (sin, cos) = (libm::sinf(self.angle_rad), libm::cosf(self.angle_rad));
        Motion {
            place_m: [self.x_m, 0.0, self.z_m],
            velocity_mps: [speed_mps * cos - self.pop_mps * sin, 0.0, speed_mps * sin + self.pop_mps * cos],
        }
    }

    /// The run through a place ahead, and how the search for it ended.
    ///
    /// The speed that passes it without air or pop is the first guess, v² = g x²/(2 cos² (x tan − z)); a bracket grows
    /// from there by a fifth at a time and is halved, since a faster run passes higher. No answer for a place above the
    /// line of travel.
    #[must_use]
    pub fn through(&self, x_m: f32, z_m: f32) -> (Passing, Status) {
        let none = (Passing { lip_speed_mps: 0.0, forward_mps: 0.0, up_mps: 0.0 }, Status::NoAnswer);
        let at = |speed_mps: f32| fly_to_x(&self.start(speed_mps), x_m, &self.drag, FLIGHT);
        let above = |speed_mps: f32| {
            let arrival = at(speed_mps);
            // Too slow to come so far is below.
            arrival.met && arrival.motion.place_m[2] >= z_m
        };
        let (run_m, rise_m) = (x_m - self.x_m, z_m - self.z_m);
        let cos = libm::cosf(self.angle_rad);
        let under_line_m = run_m * libm::tanf(self.angle_rad) - rise_m;
        if !(run_m > 0.0 && under_line_m > 0.0) {
            return none;
        }
        let guess_mps = run_m / cos * libm::sqrtf(0.5 * G / under_line_m);
        let (mut low_mps, mut high_mps) = (guess_mps, guess_mps);
        // Air and pop move the speed by little; far from it a flight of few steps says nothing.
        let mut bracketed = false;
        for _ in 0..BRACKET {
            match (above(low_mps), above(high_mps)) {
                (false, true) => {
                    bracketed = true;
                    break;
                }
                (true, _) => low_mps *= 1.0 / 1.2,
                (false, false) => high_mps *= 1.2,
            }
        }
        if !bracketed {
            return none;
        }
        for _ in 0..24 {
            let middle_mps = 0.5 * (low_mps + high_mps);
            if above(middle_mps) { high_mps = middle_mps } else { low_mps = middle_mps }
        }
        let mut status = Status::Converged;
        let [forward_mps, _, up_mps] = at(high_mps).motion.velocity_mps;
        if !(forward_mps.is_finite() && up_mps.is_finite()) {
            status = Status::NoAnswer;
        }
        (Passing { lip_speed_mps: high_mps, forward_mps, up_mps }, status)
    }
}

/// What the surface must do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// Where it begins, forward from the lip: places of the centre of mass.
    pub from_x_m: f32,
    /// Where it ends.
    pub to_x_m: f32,
    /// Height of the centre of mass at its beginning, above the take-off's foot.
    pub from_z_m: f32,
    /// Equivalent fall height that no run passes.
    pub limit_m: f32,
}

/// A place of the surface: of the centre of mass at contact, which is moved along the surface's normal from what it
/// touches.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShapePoint {
    /// Forward from the lip.
    pub x_m: f32,
    /// Above the take-off's foot.
    pub z_m: f32,
    /// Slope, up positive; never above level.
    pub slope_rad: f32,
    /// Equivalent fall height of the run that comes down here.
    pub fall_m: f32,
    /// That run.
    pub passing: Passing,
}

/// Follows the surface from its beginning and shows every step.
///
/// dz/dx = tan min(0, path + asin √(limit/(v²/2g))), v and path of the run through (x, z); fourth-order Runge–Kutta,
/// 96 steps. The surface is kept from rising: where the limit would let it, it is level and runs fall less. Units: m,
/// rad. Valid while runs differ in speed alone. Source: the surfaces of Hubbard 2009 and McNeil, Hubbard & Swedberg
/// 2012, Sports Eng. 15:1–20 (from memory), here with drag and wind.
///
/// Ends with [`Status::NoAnswer`] where no run passes, or where the surface would be steeper than 80°; what was shown
/// up to there holds.
///
/// # Errors
/// [`InputError`] for a place, a height or a limit out of range.
pub fn landing_shape(throw: &Throw, wanted: &Wanted, mut visit: impl FnMut(&ShapePoint)) -> Result<Status, InputError> {
    within("landing.from_x_m", wanted.from_x_m, throw.x_m + 0.05, 100.0)?;
    within("landing.to_x_m", wanted.to_x_m, wanted.from_x_m, 150.0)?;
    within("landing.from_z_m", wanted.from_z_m, -50.0, 50.0)?;
    within("landing.limit_m", wanted.limit_m, 0.01, 10.0)?;
    let slope = |x_m: f32, z_m: f32| {
        let (passing, status) = throw.through(x_m, z_m);
        let slope_rad = libm::fminf(passing.slope_rad(wanted.limit_m), 0.0);
        (slope_rad, passing, status == Status::Converged && slope_rad > -crate::path::MAX_SLOPE_RAD)
    };
    let step_m = (wanted.to_x_m - wanted.from_x_m) / f32::from(STEPS);
    let mut z_m = wanted.from_z_m;
    for step in 0..=STEPS {
        let x_m = wanted.from_x_m + step_m * f32::from(step);
        let (slope_rad, passing, good) = slope(x_m, z_m);
        if !good {
            return Ok(Status::NoAnswer);
        }
        visit(&ShapePoint { x_m, z_m, slope_rad, fall_m: passing.fall_m(slope_rad), passing });
        if step == STEPS {
            break;
        }
        let k1 = libm::tanf(slope_rad);
        let (second_rad, _, good2) = slope(x_m + 0.5 * step_m, z_m + 0.5 * step_m * k1);
        let k2 = libm::tanf(second_rad);
        let (third_rad, _, good3) = slope(x_m + 0.5 * step_m, z_m + 0.5 * step_m * k2);
        let k3 = libm::tanf(third_rad);
        let (fourth_rad, _, good4) = slope(x_m + step_m, z_m + step_m * k3);
        if !(good2 && good3 && good4) {
            return Ok(Status::NoAnswer);
        }
        z_m += step_m / 6.0 * (k1 + 2.0 * (k2 + k3) + libm::tanf(fourth_rad));
    }
    Ok(Status::Converged)
}

#[cfg(test)]
mod tests {
    use super::*;

    const STILL: Drag<f32> = Drag { k_pm: 0.0, along_mps: 0.0, across_mps: 0.0 };

    #[test]
    fn the_run_through_a_place_is_the_parabola() {
        let throw = Throw::new(0.0, 0.0, 0.7, 0.0, STILL).unwrap();
        let (passing, status) = throw.through(8.0, -1.0);
        // v² = g x² / (2 cos² (x tan − z)).
        let cos = libm::cosf(0.7);
        let v = libm::sqrtf(G * 64.0 / (2.0 * cos * cos * (8.0 * libm::tanf(0.7) + 1.0)));
        assert_eq!(status, Status::Converged);
        assert!((passing.lip_speed_mps - v).abs() < 2e-5 * v, "{passing:?} {v}");
        // Energy: v²/2g falls by the height.
        let head = (passing.forward_mps * passing.forward_mps + passing.up_mps * passing.up_mps) / (2.0 * G);
        assert!((head - v * v / (2.0 * G) - 1.0).abs() < 1e-4);
        // Above the line of travel no run passes.
        assert_eq!(throw.through(8.0, 8.0).1, Status::NoAnswer);
        assert_eq!(throw.through(-1.0, -1.0).1, Status::NoAnswer);
    }

    #[test]
    fn the_fall_onto_a_slope_and_the_slope_for_a_fall_agree() {
        let passing = Passing { lip_speed_mps: 8.0, forward_mps: 6.0, up_mps: -6.0 };
        for fall_m in [0.2, 0.5, 1.5] {
            assert!((passing.fall_m(passing.slope_rad(fall_m)) - fall_m).abs() < 1e-5);
        }
        // Level: the upward speed alone counts. Along the path: nothing.
        assert!((passing.fall_m(0.0) - 36.0 / (2.0 * G)).abs() < 1e-5);
        assert!(passing.fall_m(passing.path_rad()) < 1e-9);
    }

    #[test]
    fn no_run_falls_more_than_the_limit_and_the_surface_never_rises() {
        let throw = Throw::new(-0.5, 3.0, 1.0, 0.0, Drag { k_pm: 0.004, along_mps: 1.0, across_mps: 3.0 }).unwrap();
        for limit_m in [0.3, 1.0, 4.0] {
            let wanted = Wanted { from_x_m: 3.0, to_x_m: 7.0, from_z_m: 2.5, limit_m };
            let mut last: Option<ShapePoint> = None;
            let mut count = 0;
            let status = landing_shape(&throw, &wanted, |p| {
                assert!(p.fall_m <= limit_m * 1.0001 + 1e-5 && p.slope_rad <= 0.0, "{p:?}");
                assert!(p.slope_rad == 0.0 || (p.fall_m - limit_m).abs() < 1e-3 * limit_m, "{p:?}");
                assert!(last.is_none_or(|l| l.z_m >= p.z_m && l.x_m < p.x_m));
                last = Some(*p);
                count += 1;
            });
            assert_eq!((status, count), (Ok(Status::Converged), 97), "{limit_m}");
        }
        assert!(
            landing_shape(&throw, &Wanted { from_x_m: -1.0, to_x_m: 7.0, from_z_m: 2.5, limit_m: 1.0 }, |_| {})
                .is_err()
        );
        assert!(Throw::new(0.0, f32::NAN, 1.0, 0.0, STILL).is_err());
    }
}
