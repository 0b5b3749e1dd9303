//! Flight: a point mass under gravity and quadratic drag in a steady wind.
//!
//! dv/dt = −g ẑ − k |u| u, u = v − wind, k = ρ CdA / 2m. The wind is horizontal.

use crate::air::STANDARD_GRAVITY_MPS2 as G;
use crate::lane::{Lane, Mask};

/// A place and a velocity: x forward from the lip, y to the left, z up from the take-off's foot.
#[derive(Clone, Copy, Debug)]
pub struct Motion<L> {
    /// Place.
    pub place_m: [L; 3],
    /// Velocity.
    pub velocity_mps: [L; 3],
}

/// The air a run flies through.
#[derive(Clone, Copy, Debug)]
pub struct Drag<L> {
    /// k = ρ CdA / 2m.
    pub k_pm: L,
    /// Wind along x, a tail wind positive.
    pub along_mps: L,
    /// Wind along y, from the right positive.
    pub across_mps: L,
}

/// A plane parallel to y: the places where normal_x x + normal_z z = offset.
#[derive(Clone, Copy, Debug)]
pub struct Plane<L> {
    /// Part of the unit normal along x.
    pub normal_x: f32,
    /// Part of the unit normal along z.
    pub normal_z: f32,
    /// Distance from the origin along the normal.
    pub offset_m: L,
}

impl<L: Lane> Plane<L> {
    /// Signed distance from the plane, positive on the side of the normal.
    #[inline(always)]
    pub fn distance(&self, motion: &Motion<L>) -> L {
        motion.place_m[0] * self.normal_x + motion.place_m[2] * self.normal_z - self.offset_m
    }

    /// Rate of that distance.
    #[inline(always)]
    pub fn approach(&self, vector: &[L; 3]) -> L {
        vector[0] * self.normal_x + vector[2] * self.normal_z
    }
}

/// Acceleration at a velocity.
#[inline(always)]
pub fn acceleration<L: Lane>(velocity: &[L; 3], drag: &Drag<L>) -> [L; 3] {
    let u = velocity[0] - drag.along_mps;
    let v = velocity[1] - drag.across_mps;
    let w = velocity[2];
    let kn = -drag.k_pm * (u * u + v * v + w * w).sqrt();
    [kn * u, kn * v, kn * w - G]
}

#[inline(always)]
fn combine<L: Lane>(a: &[L; 3], b: &[L; 3], scale: L) -> [L; 3] {
    [a[0] + b[0] * scale, a[1] + b[1] * scale, a[2] + b[2] * scale]
}

/// One fourth-order Runge–Kutta step of length `dt_s` (which may be negative).
#[inline(always)]
pub fn step<L: Lane>(motion: &Motion<L>, dt_s: L, drag: &Drag<L>) -> Motion<L> {
    let half = dt_s * 0.5;
    let v0 = &motion.velocity_mps;
    let a0 = acceleration(v0, drag);
    let v1 = combine(v0, &a0, half);
    let a1 = acceleration(&v1, drag);
    let v2 = combine(v0, &a1, half);
    let a2 = acceleration(&v2, drag);
    let v3 = combine(v0, &a2, dt_s);
    let a3 = acceleration(&v3, drag);
    let sixth = dt_s * (1.0 / 6.0);
    let middle = combine(&a1, &a2, L::splat(1.0));
    let sum = combine(&combine(&a0, &a3, L::splat(1.0)), &middle, L::splat(2.0));
    let velocity_mps = combine(v0, &sum, sixth);
    // ∫v dt of the same scheme: dt v0 + dt²/6 (a0 + a1 + a2).
    let square = dt_s * sixth;
    let lift = combine(&a0, &middle, L::splat(1.0));
    let place_m = combine(&combine(&motion.place_m, v0, dt_s), &lift, square);
    Motion { place_m, velocity_mps }
}

/// How a flight to a plane ended.
#[derive(Clone, Copy, Debug)]
pub struct Arrival<L: Lane> {
    /// The motion at the plane.
    pub motion: Motion<L>,
    /// Time from the start.
    pub time_s: L,
    /// Whether the plane is met at all; where it is not, the motion is where it came nearest.
    pub met: L::Mask,
}

#[inline(always)]
fn fly<L: Lane>(start: &Motion<L>, duration_s: L, drag: &Drag<L>, steps: u16) -> Motion<L> {
    let count = steps.max(1);
    let dt_s = duration_s * (1.0 / f32::from(count));
    let mut motion = *start;
    for _ in 0..count {
        motion = step(&motion, dt_s, drag);
    }
    motion
}

/// Time to the plane by the parabola through the motion, and whether that parabola meets it.
#[inline(always)]
fn lead<L: Lane>(motion: &Motion<L>, plane: &Plane<L>, drag: &Drag<L>, falling: bool) -> (L, L::Mask) {
    let zero = L::splat(0.0);
    let distance = plane.distance(motion);
    let rate = plane.approach(&motion.velocity_mps);
    let bend = plane.approach(&acceleration(&motion.velocity_mps, drag));
    let inside = rate * rate - bend * distance * 2.0;
    let root = inside.max(zero).sqrt();
    // The later root when falling, the earlier when going forward or rising.
    let below = if falling { rate - root } else { rate + root };
    let tiny = L::splat(1.0e-6);
    let below = L::select(below.abs().lt(tiny), if falling { -tiny } else { tiny }, below);
    (distance * -2.0 / below, inside.lt(zero).not())
}

/// From a motion near the plane to the plane: once with a full step, once with a parabola.
#[inline(always)]
fn settle<L: Lane>(near: Motion<L>, time_s: L, plane: &Plane<L>, drag: &Drag<L>, falling: bool) -> Arrival<L> {
    let (dt_s, met) = lead(&near, plane, drag, falling);
    let closer = step(&near, dt_s, drag);
    let (rest_s, _) = lead(&closer, plane, drag, falling);
    let a = acceleration(&closer.velocity_mps, drag);
    let half = rest_s * rest_s * 0.5;
    let motion = Motion {
        place_m: combine(&combine(&closer.place_m, &closer.velocity_mps, rest_s), &a, half),
        velocity_mps: combine(&closer.velocity_mps, &a, rest_s),
    };
    Arrival { motion, time_s: time_s + dt_s + rest_s, met }
}

/// Flies until the plane is met falling towards it (the normal must point up).
///
/// The time in a vacuum is stepped first, then the rest is closed with one more step and a parabola,
/// so that a few steps are enough. `met` is false for a run that never rises to the plane.
#[inline(always)]
pub fn fly_to_falling<L: Lane>(start: &Motion<L>, plane: &Plane<L>, drag: &Drag<L>, steps: u16) -> Arrival<L> {
    let zero = L::splat(0.0);
    let distance = plane.distance(start);
    let rate = plane.approach(&start.velocity_mps);
    let pull = G * plane.normal_z;
    let root = (rate * rate + distance * (2.0 * pull)).max(zero).sqrt();
    let duration_s = ((rate + root) * (1.0 / pull)).max(zero);
    let near = fly(start, duration_s, drag, steps);
    let arrival = settle(near, duration_s, plane, drag, true);
    let hopeless = distance.lt(zero).and(rate.lt(L::splat(1.0e-6)));
    Arrival { met: arrival.met.and(hopeless.not()), ..arrival }
}

/// Flies until the plane is met rising from below it: the earlier crossing.
///
/// Only for a start below the plane; `met` is false for a run that never rises to it.
#[inline(always)]
pub fn fly_to_rising<L: Lane>(start: &Motion<L>, plane: &Plane<L>, drag: &Drag<L>, steps: u16) -> Arrival<L> {
    let zero = L::splat(0.0);
    let distance = plane.distance(start);
    let rate = plane.approach(&start.velocity_mps);
    let pull = G * plane.normal_z;
    let root = (rate * rate + distance * (2.0 * pull)).max(zero).sqrt();
    let duration_s = ((rate - root) * (1.0 / pull)).max(zero);
    let near = fly(start, duration_s, drag, steps);
    let arrival = settle(near, duration_s, plane, drag, false);
    let hopeless = distance.lt(zero).and(rate.lt(L::splat(1.0e-6)));
    Arrival { met: arrival.met.and(hopeless.not()), ..arrival }
}

/// From an arrival at one plane to a nearby one, still falling.
#[inline(always)]
pub fn carry_on<L: Lane>(from: &Arrival<L>, plane: &Plane<L>, drag: &Drag<L>) -> Arrival<L> {
    let arrival = settle(from.motion, from.time_s, plane, drag, true);
    Arrival { met: from.met.and(arrival.met), ..arrival }
}

/// Flies until x = `x_m`. `met` is false where the motion is not forward.
#[inline(always)]
pub fn fly_to_x<L: Lane>(start: &Motion<L>, x_m: L, drag: &Drag<L>, steps: u16) -> Arrival<L> {
    let plane = Plane { normal_x: 1.0, normal_z: 0.0, offset_m: x_m };
    let slow = L::splat(0.05);
    let forward = slow.lt(start.velocity_mps[0]);
    let duration_s = (x_m - start.place_m[0]) / start.velocity_mps[0].max(slow);
    let near = fly(start, duration_s, drag, steps);
    let arrival = settle(near, duration_s, &plane, drag, false);
    Arrival { met: arrival.met.and(forward), ..arrival }
}

/// Flies to the highest point: the time and the motion there (the start, where it already falls).
#[must_use]
pub fn fly_to_apex(start: &Motion<f32>, drag: &Drag<f32>, steps: u16) -> (f32, Motion<f32>) {
    let rise_mps = start.velocity_mps[2];
    if !(rise_mps > 0.0) {
        return (0.0, *start);
    }
    let first_s = rise_mps / G;
    let near = fly(start, first_s, drag, steps);
    let left_s = |motion: &Motion<f32>| {
        let fall = -acceleration(&motion.velocity_mps, drag)[2];
        motion.velocity_mps[2] / fall
    };
    let second_s = left_s(&near);
    let closer = step(&near, second_s, drag);
    let third_s = left_s(&closer);
    (first_s + second_s + third_s, step(&closer, third_s, drag))
}

#[cfg(test)]
mod tests {
    use super::*;

    const STILL: Drag<f32> = Drag { k_pm: 0.0, along_mps: 0.0, across_mps: 0.0 };

    fn thrown(speed: f32, angle_deg: f32, z_m: f32) -> Motion<f32> {
        let a = angle_deg.to_radians();
        Motion { place_m: [0.0, 0.0, z_m], velocity_mps: [speed * libm::cosf(a), 0.0, speed * libm::sinf(a)] }
    }

    const GROUND: Plane<f32> = Plane { normal_x: 0.0, normal_z: 1.0, offset_m: 0.0 };

    #[test]
    fn in_a_vacuum_the_range_is_the_parabola() {
        for steps in [1, 4] {
            let a = fly_to_falling(&thrown(10.0, 30.0, 0.0), &GROUND, &STILL, steps);
            // v² sin 2θ / g.
            assert!(
                (a.motion.place_m[0] - 100.0 * libm::sinf(core::f32::consts::FRAC_PI_3) / G).abs() < 2e-6 * 8.8,
                "{a:?}"
            );
            assert!((a.time_s - 10.0 / G).abs() < 1e-6);
        }
    }

    #[test]
    fn a_run_that_never_rises_to_the_plane_is_told() {
        let high = Plane { offset_m: 2.0, ..GROUND };
        assert!(!fly_to_falling(&thrown(5.0, 45.0, 0.0), &high, &STILL, 4).met);
        assert!(fly_to_falling(&thrown(9.0, 45.0, 0.0), &high, &STILL, 4).met);
        assert!(!fly_to_falling(&thrown(5.0, -10.0, 1.0), &high, &STILL, 4).met);
    }

    #[test]
    fn the_apex_in_a_vacuum() {
        let (t, m) = fly_to_apex(&thrown(10.0, 45.0, 1.0), &STILL, 3);
        assert!((t - 10.0 * libm::sinf(core::f32::consts::FRAC_PI_4) / G).abs() < 1e-6);
        assert!((m.place_m[2] - 1.0 - 25.0 / G).abs() < 1e-5);
    }

    #[test]
    fn x_is_met_going_forward_only() {
        let a = fly_to_x(&thrown(10.0, 30.0, 0.0), 5.0, &STILL, 2);
        assert!(a.met && (a.motion.place_m[0] - 5.0).abs() < 1e-5);
        let back = Motion { place_m: [0.0; 3], velocity_mps: [-1.0, 0.0, 3.0] };
        assert!(!fly_to_x(&back, 5.0, &STILL, 2).met);
    }
}
