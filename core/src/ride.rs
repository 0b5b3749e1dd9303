//! The ride down: from the start to the point where the rider leaves the take-off.
//!
//! The rider and bike are a point mass a fixed height h above the surface. With E = v² and the
//! curvature κ (concave positive),
//!
//! (1 + μ) dE/ds = 2 (1 − κh) [−g sin θ − k (v + w)|v + w|] − 2 Crr max(N/m, 0),
//! N/m = g cos θ + κ/(1 − κh) E.
//!
//! What is integrated is B = (1 + μ) E + 2 g z, z the height of the centre of mass: gravity then is
//! exact and only the losses are stepped (fourth-order Runge–Kutta). On a straight the step runs in
//! the time of a uniformly accelerated motion, which keeps the order when starting from rest, where
//! √E is not smooth.
//!
//! Assumptions: no pedalling, no suspension, wind horizontal and not projected on the slope, the
//! wheels' rotating mass acts at the speed of the centre of mass (assumed).

use crate::air::STANDARD_GRAVITY_MPS2 as G;
use crate::lane::{Lane, Mask, sin_cos};
use crate::path::{Path, Shape};
use crate::takeoff::{Release, TakeOff};

/// How many Runge–Kutta steps each part of a run takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Steps {
    /// On the straight that the run starts on, where the speed may be 0.
    pub start: u16,
    /// On each other straight.
    pub straight: u16,
    /// On each arc of the roll-in.
    pub arc: u16,
    /// On the take-off's arc as far as a rider without carry goes.
    pub takeoff: u16,
    /// On the rest of the arc, up to the release.
    pub lip: u16,
    /// In the flight.
    pub flight: u16,
    /// In the flight as far as the bag's front edge, where only the height there is asked for.
    pub front: u16,
}

impl Steps {
    /// Steps for a single run where accuracy comes first: far below a millimetre at the landing.
    pub const FINE: Self = Self { start: 8, straight: 8, arc: 16, takeoff: 16, lip: 2, flight: 10, front: 10 };
}

/// What does not change between runs: the surface, the air, the masses.
#[derive(Clone, Copy, Debug)]
pub struct Slope<'a> {
    /// The roll-in.
    pub path: &'a Path,
    /// The take-off at its foot.
    pub takeoff: &'a TakeOff,
    /// Air density.
    pub density_kgpm3: f32,
    /// Rider and bike.
    pub mass_kg: f32,
    /// Both wheels' rim-and-tyre mass.
    pub rotating_kg: f32,
}

/// What may change from run to run.
#[derive(Clone, Copy, Debug)]
pub struct RideInput<L> {
    /// Height of the start above the take-off's foot.
    pub start_height_m: L,
    /// Speed at the start.
    pub push_off_mps: L,
    /// Rolling resistance coefficient.
    pub rolling_resistance: L,
    /// Drag area while rolling.
    pub drag_area_m2: L,
    /// Wind met along the direction of travel, positive against.
    pub head_wind_mps: L,
    /// Share of the bike's lag made up at the lip.
    pub carry: L,
}

/// One place on the ride, as a trace shows it.
#[derive(Clone, Copy, Debug)]
pub struct RidePoint<L> {
    /// Arc length before the take-off's foot; negative on the take-off.
    pub before_foot_m: L,
    /// Height of the centre of mass above the foot.
    pub mass_z_m: L,
    /// Cosine of the slope angle.
    pub cos: L,
    /// Speed squared of the centre of mass.
    pub energy_m2ps2: L,
    /// Load per unit mass, N/m, in m/s²; below 0 the surface is left.
    pub load_mps2: L,
    /// Curvature of the centre of mass's path (concave positive).
    pub curvature_pm: f32,
    /// Time since the start (0 where time is not wanted).
    pub time_s: L,
}

/// How a ride ended.
#[derive(Clone, Copy, Debug)]
pub struct RideEnd<L: Lane> {
    /// Speed of the centre of mass at the release, before pop.
    pub speed_mps: L,
    /// Time from the start to the release (0 where time is not wanted).
    pub time_s: L,
    /// Where and how the rider leaves the take-off.
    pub release: Release<L>,
    /// Came to rest before the release.
    pub stalled: L::Mask,
    /// Left the surface on a convex arc.
    pub left: L::Mask,
}

struct State<L> {
    total: L,
    /// E, kept from falling below 0, and its square root.
    energy: L,
    speed: L,
    time: L,
    /// The least E that a step came to before it was kept at 0: below 0 where the run came to rest.
    lowest: L,
    /// The least load on the convex arcs: below 0 where the run left the surface.
    lightest: L,
}

/// The loss terms of one run, per unit mass and doubled as they stand in the equation.
pub(crate) struct Losses<L> {
    pub drag_pm: L,
    pub wind_mps: L,
    pub rolling: L,
    pub inertia: f32,
    pub per_inertia: f32,
}

impl<L: Lane> Losses<L> {
    #[inline(always)]
    pub(crate) fn new(slope: &Slope<'_>, input: &RideInput<L>) -> Self {
        let inertia = 1.0 + slope.rotating_kg / slope.mass_kg;
        Self {
            drag_pm: input.drag_area_m2 * (slope.density_kgpm3 / slope.mass_kg),
            wind_mps: input.head_wind_mps,
            rolling: input.rolling_resistance * 2.0,
            inertia,
            per_inertia: 1.0 / inertia,
        }
    }

    /// E from B at a height of the centre of mass.
    #[inline(always)]
    fn energy_at(&self, total: L, z: L) -> L {
        (total - z * (2.0 * G)) * self.per_inertia
    }

    /// The air's part of −dB/ds on a straight.
    #[inline(always)]
    fn air(&self, speed: L) -> L {
        let u = speed + self.wind_mps;
        u * u.abs() * self.drag_pm
    }

    /// −dB/ds at a place with E, cos θ, the curvature of the centre of mass's path and 1 − κh.
    #[inline(always)]
    pub(crate) fn rate(&self, energy: L, cos: L, curvature_pm: f32, shrink: f32) -> L {
        self.rate_at(energy, energy.max(L::splat(0.0)).sqrt(), cos, curvature_pm, shrink)
    }

    /// The same where √E is known.
    #[inline(always)]
    fn rate_at(&self, energy: L, speed: L, cos: L, curvature_pm: f32, shrink: f32) -> L {
        let load = (energy * curvature_pm + cos * G).max(L::splat(0.0));
        self.air(speed) * shrink + load * self.rolling
    }

    /// The same on a straight, where no term is 0.
    #[inline(always)]
    fn rate_on_straight(&self, speed: L, cos: L) -> L {
        self.air(speed) + (cos * G).max(L::splat(0.0)) * self.rolling
    }
}

/// Time over a length at a speed squared.
#[inline(always)]
fn time_over<L: Lane>(length: L, energy: L) -> L {
    length / energy.max(L::splat(1.0e-12)).sqrt()
}

/// Where a step is: its curvature and its rates of arc length, heights and slopes at start, middle, end.
struct Stretch<L> {
    curvature_pm: f32,
    shrink: f32,
    pace: [L; 3],
    z: [L; 3],
    cos: [L; 3],
}

impl<L: Lane> Stretch<L> {
    /// −dB/ds at one of the nodes.
    #[inline(always)]
    fn rate<const BENT: bool>(&self, losses: &Losses<L>, energy: L, speed: L, cos: L) -> L {
        if BENT {
            losses.rate_at(energy, speed, cos, self.curvature_pm, self.shrink)
        } else {
            losses.rate_on_straight(speed, cos)
        }
    }
}

impl<L: Lane> State<L> {
    /// Takes down that the run came to rest where `mask` says so.
    #[inline(always)]
    fn stall(&mut self, mask: L::Mask) {
        self.lowest = L::select(mask, L::splat(-1.0), self.lowest);
    }

    /// Takes down the load at a place. On a concave arc nothing lifts off: E is not below 0, no slope is upright.
    #[inline(always)]
    fn weigh(&mut self, cos: L, curvature_pm: f32) {
        if curvature_pm < 0.0 {
            self.lightest = (self.energy * curvature_pm + cos * G).min(self.lightest);
        }
    }

    /// One Runge–Kutta step over `stretch`, on an arc or not; `pace` is the arc length per step at each node.
    #[inline(always)]
    fn advance<const BENT: bool, const TIME: bool>(
        &mut self,
        losses: &Losses<L>,
        stretch: &Stretch<L>,
        first_time: L,
    ) -> L {
        let Stretch { shrink, pace, z, cos, .. } = stretch;
        let zero = L::splat(0.0);
        let k1 = stretch.rate::<BENT>(losses, self.energy, self.speed, cos[0]) * pace[0];
        let early = losses.energy_at(self.total - k1 * 0.5, z[1]);
        let k2 = stretch.rate::<BENT>(losses, early, early.max(zero).sqrt(), cos[1]) * pace[1];
        let middle = losses.energy_at(self.total - k2 * 0.5, z[1]);
        let k3 = stretch.rate::<BENT>(losses, middle, middle.max(zero).sqrt(), cos[1]) * pace[1];
        let late = losses.energy_at(self.total - k3, z[2]);
        let k4 = stretch.rate::<BENT>(losses, late, late.max(zero).sqrt(), cos[2]) * pace[2];
        let before = self.total;
        self.total = self.total - (k1 + (k2 + k3) * 2.0 + k4) * (1.0 / 6.0);
        let energy = losses.energy_at(self.total, z[2]);
        self.lowest = energy.min(middle.min(self.lowest));
        self.energy = energy.max(zero);
        self.speed = self.energy.sqrt();
        if !TIME {
            return zero;
        }
        // Half-way by the cubic through both ends: the stages' own value would be off in the first order from rest.
        let half = losses.energy_at((before + self.total) * 0.5 + (k4 - k1) * 0.125, z[1]);
        let last_time = time_over(pace[2] * *shrink, self.energy);
        self.time = self.time + (first_time + time_over(pace[1] * *shrink, half) * 4.0 + last_time) * (1.0 / 6.0);
        last_time
    }

    #[inline(always)]
    fn point(&self, before_foot_m: L, mass_z_m: L, cos: L, curvature_pm: f32) -> RidePoint<L> {
        let load_mps2 = self.energy * curvature_pm + cos * G;
        RidePoint {
            before_foot_m,
            mass_z_m,
            cos,
            energy_m2ps2: self.energy,
            load_mps2,
            curvature_pm,
            time_s: self.time,
        }
    }
}

/// Rides from the start to the release.
///
/// `TIME` says whether time is wanted; `visit` sees the start and the end of each step of each
/// segment (twice where segments meet, since the curvature jumps there). A run that stalls goes on at
/// E = 0 so that every lane takes the same steps; its mask says so.
#[inline(always)]
pub fn ride<L: Lane, const TIME: bool>(
    slope: &Slope<'_>,
    input: &RideInput<L>,
    steps: &Steps,
    mut visit: impl FnMut(&RidePoint<L>),
) -> RideEnd<L> {
    let losses = Losses::new(slope, input);
    let zero = L::splat(0.0);
    let h = slope.takeoff.mass_height_m();
    let energy = input.push_off_mps * input.push_off_mps;
    let mut state = State { total: zero, energy, speed: energy.sqrt(), time: zero, lowest: zero, lightest: zero };
    for (index, segment) in slope.path.segments().iter().enumerate() {
        match segment.shape {
            Shape::Straight { sin_up, cos } => {
                let length = if segment.adjusts {
                    let longer = (input.start_height_m - slope.path.start_height_m()) * (-1.0 / sin_up);
                    (longer + segment.length_m).max(zero)
                } else {
                    L::splat(segment.length_m)
                };
                // The end of the straight stays put, so that the start is where its length says.
                let mass_z_end_m = segment.z_end_m + h * cos;
                if index == 0 || segment.adjusts {
                    let z = L::splat(mass_z_end_m) - length * sin_up;
                    state.total = state.energy * losses.inertia + z * (2.0 * G);
                }
                let part =
                    Straight { length, sin_up, cos, mass_z_end_m, before_m: segment.before_foot_m - segment.length_m };
                let count = if index == 0 { steps.start } else { steps.straight };
                part.ride::<TIME>(&mut state, &losses, count, &mut visit);
            }
            Shape::Arc { radius_m, sin0, cos0, turn_rad } => {
                let arc = Arc::new(radius_m, (sin0, cos0), turn_rad, segment.z_start_m, h);
                if index == 0 {
                    let z = L::splat(arc.mass_radius_m * cos0 + arc.centre_z_m);
                    state.total = energy * losses.inertia + z * (2.0 * G);
                    // At rest on the brink nothing moves unless the wind overcomes the rolling resistance.
                    let held = zero.lt(losses.rate(zero, L::splat(cos0), arc.curvature_pm, arc.shrink) + 2.0e-6);
                    state.stall(energy.lt(L::splat(1.0e-8)).and(held));
                }
                arc.ride::<L, TIME>(&mut state, &losses, segment.before_foot_m, steps.arc, &mut visit);
            }
        }
    }
    let takeoff = slope.takeoff;
    let to_short_rad = takeoff.lip_rad() - takeoff.lag_rad();
    let arc = Arc::new(takeoff.radius_m(), (0.0, 1.0), to_short_rad, 0.0, h);
    arc.ride::<L, TIME>(&mut state, &losses, 0.0, steps.takeoff, &mut visit);
    // The last stretch depends on the carry, so its nodes are found lane by lane.
    let count = steps.lip.max(1);
    let part_rad = input.carry * (takeoff.lag_rad() / f32::from(count));
    let pace = part_rad * takeoff.radius_m();
    let mut cos0 = L::splat(sin_cos(to_short_rad).1);
    for i in 0..count {
        let at = f32::from(i);
        let (_, cos1) = sin_cos(part_rad * (at + 0.5) + to_short_rad);
        let (_, cos2) = sin_cos(part_rad * (at + 1.0) + to_short_rad);
        let cos = [cos0, cos1, cos2];
        let z = [arc.mass_z(cos0), arc.mass_z(cos1), arc.mass_z(cos2)];
        let stretch = Stretch { curvature_pm: arc.curvature_pm, shrink: arc.shrink, pace: [pace, pace, pace], z, cos };
        let first_time = time_over(pace * arc.shrink, state.energy);
        state.advance::<true, TIME>(&losses, &stretch, first_time);
        cos0 = cos2;
        let before_foot_m = L::splat(-takeoff.radius_m() * to_short_rad) - pace * (at + 1.0);
        visit(&state.point(before_foot_m, stretch.z[2], stretch.cos[2], arc.curvature_pm));
    }
    RideEnd {
        speed_mps: state.speed,
        time_s: state.time,
        release: takeoff.release(input.carry),
        stalled: state.lowest.lt(zero),
        left: state.lightest.lt(zero),
    }
}

/// A straight as the steps need it.
struct Straight<L> {
    length: L,
    sin_up: f32,
    cos: f32,
    mass_z_end_m: f32,
    before_m: f32,
}

impl<L: Lane> Straight<L> {
    /// Stepped in the time of a uniformly accelerated motion: s(q) = T q (v0 + ½ a T q).
    #[inline(always)]
    fn ride<const TIME: bool>(
        &self,
        state: &mut State<L>,
        losses: &Losses<L>,
        count: u16,
        visit: &mut impl FnMut(&RidePoint<L>),
    ) {
        let Self { length, sin_up, cos, mass_z_end_m, before_m } = *self;
        let zero = L::splat(0.0);
        let cos = L::splat(cos);
        let v0 = state.speed;
        let gain = (losses.rate_on_straight(v0, cos) + 2.0 * G * sin_up) * (-0.5 * losses.per_inertia);
        // Where the losses would stop the motion on the way, a slower one is used for the steps' sake.
        let least = v0 * v0 * 0.25;
        let reached = (v0 * v0 + gain * length * 2.0).max(least);
        let gain = (reached - v0 * v0) * 0.5 / length.max(L::splat(1.0e-9));
        state.stall(reached.lt(L::splat(1.0e-10)).and(zero.lt(length)));
        let duration = length * 2.0 / (v0 + reached.sqrt()).max(L::splat(1.0e-5));
        let count = count.max(1);
        let part = 1.0 / f32::from(count);
        let linear = v0 * duration;
        let square = gain * duration * duration;
        let mut z0 = length * -sin_up + mass_z_end_m;
        visit(&state.point(length + before_m, z0, cos, 0.0));
        let mut first_time = duration * part;
        let mut pace0 = linear * part;
        for i in 0..count {
            let (q1, q2) = ((f32::from(i) + 0.5) * part, (f32::from(i) + 1.0) * part);
            let left1 = length - linear * q1 - square * (0.5 * q1 * q1);
            let left2 = length - linear * q2 - square * (0.5 * q2 * q2);
            let stretch = Stretch {
                curvature_pm: 0.0,
                shrink: 1.0,
                pace: [pace0, (linear + square * q1) * part, (linear + square * q2) * part],
                z: [z0, left1 * -sin_up + mass_z_end_m, left2 * -sin_up + mass_z_end_m],
                cos: [cos; 3],
            };
            (pace0, z0) = (stretch.pace[2], stretch.z[2]);
            first_time = state.advance::<false, TIME>(losses, &stretch, first_time);
            visit(&state.point(left2 + before_m, z0, cos, 0.0));
        }
    }
}

/// An arc as the steps need it.
struct Arc {
    radius_m: f32,
    sin0: f32,
    cos0: f32,
    turn_rad: f32,
    curvature_pm: f32,
    shrink: f32,
    mass_radius_m: f32,
    centre_z_m: f32,
}

impl Arc {
    #[inline(always)]
    fn new(radius_m: f32, (sin0, cos0): (f32, f32), turn_rad: f32, z_start_m: f32, mass_height_m: f32) -> Self {
        let concave = turn_rad > 0.0;
        let curvature = if concave { 1.0 / radius_m } else { -1.0 / radius_m };
        let shrink = 1.0 - curvature * mass_height_m;
        Self {
            radius_m,
            sin0,
            cos0,
            turn_rad,
            curvature_pm: curvature / shrink,
            shrink,
            // The centre of mass is at centre_z + mass_radius cos θ.
            mass_radius_m: if concave { mass_height_m - radius_m } else { radius_m + mass_height_m },
            centre_z_m: if concave { z_start_m + radius_m * cos0 } else { z_start_m - radius_m * cos0 },
        }
    }

    /// Height of the centre of mass where the slope angle has this cosine.
    #[inline(always)]
    fn mass_z<L: Lane>(&self, cos: L) -> L {
        cos * self.mass_radius_m + self.centre_z_m
    }

    #[inline(always)]
    fn ride<L: Lane, const TIME: bool>(
        &self,
        state: &mut State<L>,
        losses: &Losses<L>,
        before_foot_m: f32,
        count: u16,
        visit: &mut impl FnMut(&RidePoint<L>),
    ) {
        let count = count.max(1);
        let half_rad = self.turn_rad / (2.0 * f32::from(count));
        let (sin_half, cos_half) = sin_cos(half_rad);
        let (mut sin, mut cos) = (self.sin0, self.cos0);
        let mut turn_on = || {
            (sin, cos) = (sin * cos_half + cos * sin_half, cos * cos_half - sin * sin_half);
            cos
        };
        let pace_m = self.radius_m * libm::fabsf(self.turn_rad) / f32::from(count);
        let pace = L::splat(pace_m);
        let mut cos0 = self.cos0;
        visit(&state.point(L::splat(before_foot_m), L::splat(self.mass_z(cos0)), L::splat(cos0), self.curvature_pm));
        let mut first_time = time_over(pace * self.shrink, state.energy);
        for i in 0..count {
            let nodes = [cos0, turn_on(), turn_on()];
            cos0 = nodes[2];
            let stretch = Stretch {
                curvature_pm: self.curvature_pm,
                shrink: self.shrink,
                pace: [pace; 3],
                z: [L::splat(self.mass_z(nodes[0])), L::splat(self.mass_z(nodes[1])), L::splat(self.mass_z(nodes[2]))],
                cos: [L::splat(nodes[0]), L::splat(nodes[1]), L::splat(nodes[2])],
            };
            state.weigh(stretch.cos[0], self.curvature_pm);
            first_time = state.advance::<true, TIME>(losses, &stretch, first_time);
            state.weigh(stretch.cos[2], self.curvature_pm);
            let before_foot = L::splat(before_foot_m - pace_m * (f32::from(i) + 1.0));
            visit(&state.point(before_foot, stretch.z[2], stretch.cos[2], self.curvature_pm));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::path::Section;

    const DEG: f32 = core::f32::consts::PI / 180.0;

    fn input(crr: f32, cda: f32, wind: f32) -> RideInput<f32> {
        RideInput {
            start_height_m: 0.0,
            push_off_mps: 0.0,
            rolling_resistance: crr,
            drag_area_m2: cda,
            head_wind_mps: wind,
            carry: 0.5,
        }
    }

    fn slope<'a>(path: &'a Path, takeoff: &'a TakeOff, mass_kg: f32) -> Slope<'a> {
        Slope { path, takeoff, density_kgpm3: 1.225, mass_kg, rotating_kg: 0.0 }
    }

    /// v² = (2 m g_e/ρCdA)(1 − exp(−ρCdA s/m)), g_e = g (sin θ − Crr cos θ): the exact solution on a constant
    /// slope; the figures are those of 95 kg on 30° over 10 m with CdA 0.6 m².
    #[test]
    fn a_straight_slope_follows_its_closed_form() {
        let sections = [
            Section::Straight { length_m: 10.0, slope_rad: Some(30.0 * DEG) },
            Section::Arc { radius_m: 6.0, turn_rad: 30.0 * DEG },
        ];
        let height = 5.0 + 6.0 * (1.0 - libm::cosf(30.0 * DEG));
        let path = Path::from_sections(&sections, height, 1.0).unwrap();
        let takeoff = TakeOff::new(2.0, 5.0, 1.05, 1.0).unwrap();
        for (crr, speed) in [(0.01, 9.62987), (0.02, 9.54462), (0.05, 9.28419)] {
            // The error of the steps falls sixteenfold with each doubling, down to the rounding.
            for (count, tolerance) in [(1, 3.0e-4), (2, 2.0e-5), (4, 2.0e-6), (8, 1.0e-6)] {
                let mut at_end = 0.0;
                let steps = Steps { start: count, straight: count, ..Steps::FINE };
                let mut inputs = input(crr, 0.6, 0.0);
                inputs.start_height_m = path.start_height_m();
                ride::<f32, false>(&slope(&path, &takeoff, 95.0), &inputs, &steps, |p| {
                    if p.curvature_pm == 0.0 {
                        at_end = libm::sqrtf(p.energy_m2ps2);
                    }
                });
                assert!((at_end / speed - 1.0).abs() < tolerance, "{count} steps: {at_end} for {speed}");
            }
        }
    }

    /// Without losses v² = v0² + 2 g (drop of the centre of mass), whatever the sections; and the load in
    /// an arc is g cos θ + v²/(R − h).
    #[test]
    fn without_losses_energy_is_kept() {
        let path = Path::simple(4.0, 35.0 * DEG, 5.0, 2.0, 1.0).unwrap();
        let takeoff = TakeOff::new(2.4, 4.572, 1.05, 1.0).unwrap();
        let mut inputs = input(0.0, 0.0, 3.0);
        inputs.start_height_m = 4.0;
        inputs.push_off_mps = 1.0;
        let mut peak = 0.0_f32;
        let end = ride::<f32, true>(&slope(&path, &takeoff, 90.0), &inputs, &Steps::FINE, |p| {
            peak = peak.max(p.load_mps2);
        });
        let drop = 4.0 + libm::cosf(35.0 * DEG) - end.release.z_m;
        let expected = libm::sqrtf(1.0 + 2.0 * G * drop);
        assert!((end.speed_mps - expected).abs() < 5.0e-6, "{} {expected}", end.speed_mps);
        let bottom = 1.0 + 2.0 * G * (4.0 + libm::cosf(35.0 * DEG) - 1.0);
        assert!((peak - (G + bottom / 3.572)).abs() < 1.0e-4, "{peak}");
        assert!(!end.stalled && !end.left);
    }

    /// Time down a frictionless slope from rest: √(2 s / g sin θ).
    #[test]
    fn time_from_rest_is_that_of_uniform_acceleration() {
        let path = Path::simple(5.0, 30.0 * DEG, 4.0, 0.0, 1.0).unwrap();
        let takeoff = TakeOff::new(2.0, 5.0, 1.05, 1.0).unwrap();
        let mut inputs = input(0.0, 0.0, 0.0);
        inputs.start_height_m = 5.0;
        let mut time = 0.0;
        ride::<f32, true>(&slope(&path, &takeoff, 90.0), &inputs, &Steps::FINE, |p| {
            if p.curvature_pm == 0.0 {
                time = p.time_s;
            }
        });
        let length = path.segments()[0].length_m;
        assert!((time - libm::sqrtf(2.0 * length / (0.5 * G))).abs() < 2.0e-6, "{time}");
    }

    /// From rest with drag and rolling resistance the time's error falls at least sevenfold with each doubling of the
    /// steps (the third order, since ∫ds/v is singular at the start), and eight steps are within 0.02 ms.
    #[test]
    fn time_from_rest_with_losses_keeps_its_order() {
        let path = Path::simple(7.2, 32.0 * DEG, 8.0, 4.0, 1.0).unwrap();
        let takeoff = TakeOff::new(2.4, 5.0, 1.05, 1.0).unwrap();
        let mut inputs = input(0.018, 0.6, 3.5);
        inputs.start_height_m = 7.2;
        let time = |count: u16| {
            let steps = Steps { start: count, straight: count, arc: 64, takeoff: 48, lip: 4, flight: 1, front: 1 };
            ride::<f32, true>(&slope(&path, &takeoff, 90.0), &inputs, &steps, |_| {}).time_s
        };
        let fine = time(24);
        let off = [1, 2, 4].map(|count| (time(count) - fine).abs());
        assert!(off[0] > 7.0 * off[1] && off[1] > 7.0 * off[2], "{off:?}");
        assert!((time(8) - fine).abs() < 2.0e-5, "{} {fine}", time(8));
    }

    #[test]
    fn a_rider_who_cannot_get_up_stalls_and_one_at_rest_on_the_level_does_not_move() {
        let path = Path::simple(1.0, 20.0 * DEG, 4.0, 0.0, 1.0).unwrap();
        let takeoff = TakeOff::new(2.4, 4.572, 1.05, 1.0).unwrap();
        let mut inputs = input(0.012, 0.45, 0.0);
        inputs.start_height_m = 1.0;
        assert!(ride::<f32, false>(&slope(&path, &takeoff, 90.0), &inputs, &Steps::FINE, |_| {}).stalled);
        let roll = [
            Section::Arc { radius_m: 4.0, turn_rad: -30.0 * DEG },
            Section::Arc { radius_m: 8.0, turn_rad: 30.0 * DEG },
        ];
        let height = 12.0 * (1.0 - libm::cosf(30.0 * DEG));
        let path = Path::from_sections(&roll, height, 1.0).unwrap();
        let low = TakeOff::new(0.5, 4.572, 1.05, 1.0).unwrap();
        inputs.start_height_m = path.start_height_m();
        assert!(ride::<f32, false>(&slope(&path, &low, 90.0), &inputs, &Steps::FINE, |_| {}).stalled);
        inputs.push_off_mps = 0.5;
        let end = ride::<f32, false>(&slope(&path, &low, 90.0), &inputs, &Steps::FINE, |_| {});
        assert!(!end.stalled && !end.left);
        inputs.push_off_mps = 7.5;
        assert!(ride::<f32, false>(&slope(&path, &low, 90.0), &inputs, &Steps::FINE, |_| {}).left);
    }
}
