//! One whole run: ride, lip, flight, contact. The same kernel on the device and, over many lanes, on the host.
//!
//! # Settled here
//! - **Front**: a run that starts below the contact height of the bag's top and has not risen through it where it
//!   passes the front edge. One that starts above and comes down before the edge is short.

use crate::air::STANDARD_GRAVITY_MPS2 as G;
use crate::bag::{Bag, Outcome};
use crate::error::{InputError, within};
use crate::flight::{Arrival, Drag, Motion, Plane, fly_to_falling, fly_to_x};
use crate::inputs::{Inputs, Uncertain};
use crate::landing_plane::LandingPlane;
use crate::lane::{Lane, Mask, sin_cos};
use crate::path::Path;
use crate::ride::{RideEnd, RideInput, RidePoint, Slope, Steps, ride};
use crate::takeoff::TakeOff;

/// All that stays the same from run to run.
#[derive(Clone, Debug)]
pub struct Setup {
    /// The roll-in.
    path: Path,
    /// The take-off.
    takeoff: TakeOff,
    /// The bag, where it stands.
    bag: Bag,
    /// What is landed on in place of the bag.
    plane: Option<LandingPlane>,
    /// Air density.
    density_kgpm3: f32,
    /// Rider and bike.
    mass_kg: f32,
    /// Both wheels' rim-and-tyre mass.
    rotating_kg: f32,
}

/// A run taken with the fine steps, which coarser ones are held to: see [`Setup::probe`].
#[derive(Clone, Copy, Debug)]
pub struct Probe {
    inputs: Inputs<f32>,
    fine: Run<f32>,
    start: Motion<f32>,
    /// Whether the path begins below the plane of the top, and so passes the bag's front.
    passes_front: bool,
    /// The height there over the contact plane, m.
    front_m: f32,
}

/// What a run came to; where it did not reach the bag's plane the masks say why.
#[derive(Clone, Copy, Debug)]
pub struct Run<L: Lane> {
    /// Speed at the release, before pop and lip speed scatter.
    pub ride_speed_mps: L,
    /// Distance of the contact point from the bag's front edge.
    pub along_m: L,
    /// Distance of the contact point from the bag's centre line, left positive.
    pub across_m: L,
    /// From release to contact.
    pub airtime_s: L,
    /// Speed into the bag's top at contact.
    pub normal_mps: L,
    /// The centre of mass at contact.
    pub contact: Motion<L>,
    /// Came to rest before the lip.
    pub stalled: L::Mask,
    /// Left the surface on the ride down.
    pub left_surface: L::Mask,
    /// Against the bag's front.
    pub front: L::Mask,
}

impl<L: Lane> Run<L> {
    /// Whether the run came down on the bag's plane.
    #[inline(always)]
    pub fn landed(&self) -> L::Mask {
        self.stalled.or(self.left_surface).or(self.front).not()
    }

    /// What the run in one lane is called.
    #[inline]
    pub fn outcome(&self, bag: &Bag, lane: usize) -> Outcome {
        if L::mask_lane(self.stalled, lane) {
            Outcome::Stall
        } else if L::mask_lane(self.left_surface, lane) {
            Outcome::LeavesSurface
        } else if L::mask_lane(self.front, lane) {
            Outcome::Front
        } else {
            bag.landing(self.along_m.lane(lane), self.across_m.lane(lane))
        }
    }
}

/// Where a flight touches, and how hard.
#[derive(Clone, Copy, Debug)]
pub struct Touched<L> {
    /// Distance of the contact point from the bag's front edge.
    pub along_m: L,
    /// Distance of the contact point from the bag's centre line, left positive.
    pub across_m: L,
    /// Speed into the bag's top at contact.
    pub normal_mps: L,
}

/// Whether a flight is so far above the plane where it passes `x_m` that it need not be flown to see it.
///
/// In a vacuum it is there after t = Δx/u, at the height z + w t − ½ g t². Of its speed against the air only a fall
/// makes more, so that up to 1.2 t the air pulls with A = k (|U|² + (1.2 g t)² + 2.4 g t max(−w, 0)) at the most, U that
/// speed at the start. With a = A t/2u ≤ 1/8 it passes between t (1 − a) and t (1 + 1.4 a), and is lower than in a vacuum
/// by less than A t² (1 + (|w| + g t)/u). A centimetre more is asked for, since steps and roundings have their errors.
#[inline(always)]
fn plainly_over<L: Lane>(start: &Motion<L>, x_m: f32, plane: &Plane<L>, drag: &Drag<L>) -> L::Mask {
    let zero = L::splat(0.0);
    let [x, y, z] = start.place_m;
    let [u, v, w] = start.velocity_mps;
    let per_u = L::splat(1.0) / u.max(L::splat(0.05));
    let t = (L::splat(x_m) - x) * per_u;
    let fall = t * G;
    let (along, across) = (u - drag.along_mps, v - drag.across_mps);
    let gained = fall * (fall * 1.44 + (-w).max(zero) * 2.4);
    let pull = drag.k_pm * (along * along + across * across + w * w + gained);
    let lower = pull * t * t * ((w.abs() + fall) * per_u + 1.0);
    let there = Motion { place_m: [L::splat(x_m), y, z + w * t - fall * t * 0.5 - lower], ..*start };
    L::splat(0.01).lt(plane.distance(&there)).and(zero.lt(t)).and((pull * t * per_u).lt(L::splat(0.25)))
}

impl Setup {
    /// Checks the numbers that no part has checked yet.
    ///
    /// # Errors
    /// [`InputError`] for a density or a mass out of range.
    pub fn new(
        path: Path,
        takeoff: TakeOff,
        bag: Bag,
        density_kgpm3: f32,
        mass_kg: f32,
        rotating_kg: f32,
    ) -> Result<Self, InputError> {
        within("air.density_kgpm3", density_kgpm3, 0.2, 2.0)?;
        within("rider and bike mass_kg", mass_kg, 5.0, 500.0)?;
        within("rider.rotating_mass_kg", rotating_kg, 0.0, mass_kg)?;
        Ok(Self { path, takeoff, bag, plane: None, density_kgpm3, mass_kg, rotating_kg })
    }

    /// The same with another take-off.
    #[must_use]
    pub fn with_takeoff(&self, takeoff: TakeOff) -> Self {
        Self { takeoff, ..self.clone() }
    }

    /// The same with another mass of rider and bike.
    ///
    /// # Errors
    /// As [`Setup::new`].
    pub fn with_mass_kg(&self, mass_kg: f32) -> Result<Self, InputError> {
        within("rider and bike mass_kg", mass_kg, 5.0, 500.0)?;
        within("rider.rotating_mass_kg", self.rotating_kg, 0.0, mass_kg)?;
        Ok(Self { mass_kg, ..self.clone() })
    }

    /// The same onto a plane in place of the bag: no front is in the way, and `along` counts from the place that the
    /// plane was laid through.
    #[must_use]
    pub fn onto(&self, plane: LandingPlane) -> Self {
        Self { plane: Some(plane), ..self.clone() }
    }

    /// The same with another bag, or with it elsewhere.
    #[must_use]
    pub fn with_bag(&self, bag: Bag) -> Self {
        Self { bag, ..self.clone() }
    }

    /// The roll-in.
    #[inline(always)]
    #[must_use]
    pub const fn path(&self) -> &Path {
        &self.path
    }

    /// The take-off.
    #[inline(always)]
    #[must_use]
    pub const fn takeoff(&self) -> &TakeOff {
        &self.takeoff
    }

    /// The bag, where it stands.
    #[inline(always)]
    #[must_use]
    pub const fn bag(&self) -> &Bag {
        &self.bag
    }

    /// Air density.
    #[inline(always)]
    #[must_use]
    pub const fn density_kgpm3(&self) -> f32 {
        self.density_kgpm3
    }

    /// Rider and bike.
    #[inline(always)]
    #[must_use]
    pub const fn mass_kg(&self) -> f32 {
        self.mass_kg
    }

    /// Both wheels' rim-and-tyre mass.
    #[inline(always)]
    #[must_use]
    pub const fn rotating_kg(&self) -> f32 {
        self.rotating_kg
    }

    /// What the ride down needs of this set-up.
    #[inline(always)]
    #[must_use]
    pub fn slope(&self) -> Slope<'_> {
        Slope {
            path: &self.path,
            takeoff: &self.takeoff,
            density_kgpm3: self.density_kgpm3,
            mass_kg: self.mass_kg,
            rotating_kg: self.rotating_kg,
        }
    }

    /// What the ride down needs of a run's inputs.
    #[inline(always)]
    pub fn ride_input<L: Lane>(&self, inputs: &Inputs<L>) -> RideInput<L> {
        RideInput {
            start_height_m: inputs.get(Uncertain::StartHeight),
            push_off_mps: inputs.get(Uncertain::PushOff),
            rolling_resistance: inputs.get(Uncertain::RollingResistance),
            drag_area_m2: inputs.get(Uncertain::DragAreaRolling),
            head_wind_mps: -inputs.get(Uncertain::WindAlong),
            carry: inputs.get(Uncertain::Carry),
        }
    }

    /// The ride down alone, every step shown to `visit`.
    #[inline(always)]
    pub fn ride<L: Lane, const TIME: bool>(
        &self,
        inputs: &Inputs<L>,
        steps: &Steps,
        visit: impl FnMut(&RidePoint<L>),
    ) -> RideEnd<L> {
        ride::<L, TIME>(&self.slope(), &self.ride_input(inputs), steps, visit)
    }

    /// The air that the flight goes through.
    #[inline(always)]
    pub fn drag<L: Lane>(&self, inputs: &Inputs<L>) -> Drag<L> {
        Drag {
            k_pm: inputs.get(Uncertain::DragAreaFlying) * (0.5 * self.density_kgpm3 / self.mass_kg),
            along_mps: inputs.get(Uncertain::WindAlong),
            across_mps: inputs.get(Uncertain::WindAcross),
        }
    }

    /// The motion at the release for a ride speed: lip speed scatter, pop, yaw and line are added here.
    #[inline(always)]
    pub fn release<L: Lane>(&self, ride_speed_mps: L, inputs: &Inputs<L>) -> Motion<L> {
        let release = self.takeoff.release(inputs.get(Uncertain::Carry));
        let v = (ride_speed_mps + inputs.get(Uncertain::LipSpeed)).max(L::splat(0.0));
        let pop = inputs.get(Uncertain::Pop);
        let forward = v * release.cos - pop * release.sin;
        let up = v * release.sin + pop * release.cos;
        let (sin_yaw, cos_yaw) = sin_cos(inputs.get(Uncertain::Yaw));
        Motion {
            place_m: [release.x_m, inputs.get(Uncertain::Line), release.z_m],
            velocity_mps: [forward * cos_yaw, forward * sin_yaw, up],
        }
    }

    /// Where the centre of mass is at contact.
    #[inline(always)]
    fn contact_plane<L: Lane>(&self, inputs: &Inputs<L>) -> Plane<L> {
        let height_m = inputs.get(Uncertain::ContactHeight);
        match &self.plane {
            Some(plane) => plane.contact_plane(height_m),
            None => self.bag.contact_plane(height_m),
        }
    }

    /// The flight from a release to contact, and whether it meets the bag's front.
    ///
    /// A run meets the front if it never rises to the contact height above the top's (unbounded)
    /// plane, or is still under it where it passes the front edge.
    #[inline(always)]
    pub fn fly<L: Lane>(&self, start: &Motion<L>, inputs: &Inputs<L>, steps: &Steps) -> (Arrival<L>, L::Mask) {
        let drag = self.drag(inputs);
        let plane = self.contact_plane(inputs);
        let arrival = fly_to_falling(start, &plane, &drag, steps.flight);
        let zero = L::splat(0.0);
        let below = plane.distance(start).lt(zero);
        let mut front = arrival.met.not();
        if self.plane.is_none() && below.any() {
            let gap_m = self.bag.gap_m();
            let open = below.and(plainly_over(start, gap_m, &plane, &drag).not());
            if open.any() {
                let edge = fly_to_x(start, L::splat(gap_m), &drag, steps.front);
                let under = plane.distance(&edge.motion).lt(zero).and(edge.time_s.lt(arrival.time_s)).and(edge.met);
                front = front.or(open.and(under));
            }
        }
        (arrival, front)
    }

    /// One whole run.
    #[inline(always)]
    pub fn run<L: Lane>(&self, inputs: &Inputs<L>, steps: &Steps) -> Run<L> {
        let end = self.ride::<L, false>(inputs, steps, |_| {});
        self.run_from(&end, inputs, steps)
    }

    /// The rest of a run whose ride is done.
    #[inline(always)]
    pub fn run_from<L: Lane>(&self, end: &RideEnd<L>, inputs: &Inputs<L>, steps: &Steps) -> Run<L> {
        let start = self.release(end.speed_mps, inputs);
        let (arrival, front) = self.fly(&start, inputs, steps);
        self.landing(end, &arrival, front, inputs)
    }

    /// What a flight came to, with its ride.
    #[inline(always)]
    pub fn landing<L: Lane>(
        &self,
        end: &RideEnd<L>,
        arrival: &Arrival<L>,
        front: L::Mask,
        inputs: &Inputs<L>,
    ) -> Run<L> {
        let Touched { along_m, across_m, normal_mps } = self.touched(arrival, inputs);
        Run {
            ride_speed_mps: end.speed_mps,
            along_m,
            across_m,
            airtime_s: arrival.time_s,
            normal_mps,
            contact: arrival.motion,
            stalled: end.stalled,
            left_surface: end.left,
            front,
        }
    }

    /// Where a flight touches, and how hard.
    #[inline(always)]
    pub fn touched<L: Lane>(&self, arrival: &Arrival<L>, inputs: &Inputs<L>) -> Touched<L> {
        let plane = self.contact_plane(inputs);
        let [x, y, _] = arrival.motion.place_m;
        let contact_x = x - inputs.get(Uncertain::ContactHeight) * plane.normal_x;
        Touched {
            along_m: contact_x - self.plane.map_or(self.bag.gap_m(), |plane| plane.x_m()),
            across_m: y - self.bag.offset_m(),
            normal_mps: -plane.approach(&arrival.motion.velocity_mps),
        }
    }

    /// Few steps that keep every one of `probes` within `tolerance_m` of the fine steps at the landing (and at the
    /// bag's front, where the path begins below the top).
    ///
    /// Each kind of step is tried alone with the others fine, which gives its error at each count. From one step
    /// of each kind on, the kind whose next count takes most error away for its steps gets it, until the errors
    /// together are within the tolerance.
    pub fn choose_steps(&self, probes: &[Probe], tolerance_m: f32) -> Steps {
        const LADDER: [u16; 9] = [1, 2, 3, 4, 5, 6, 8, 12, 16];
        const KINDS: [fn(&mut Steps) -> &mut u16; 5] =
            [|s| &mut s.start, |s| &mut s.straight, |s| &mut s.arc, |s| &mut s.takeoff, |s| &mut s.flight];
        let fine = Steps { lip: 1, ..Steps::FINE };
        let worst = |trial: &Steps| probes.iter().map(|probe| self.deviation_m(probe, trial)).fold(0.0, libm::fmaxf);
        let worst_at_front =
            |steps: u16| probes.iter().map(|probe| self.front_deviation_m(probe, steps)).fold(0.0, libm::fmaxf);
        let mut errors_m = [[0.0_f32; LADDER.len()]; KINDS.len()];
        for (kind, errors) in KINDS.iter().zip(&mut errors_m) {
            for (count, error) in LADDER.iter().zip(errors) {
                let mut trial = fine;
                *kind(&mut trial) = *count;
                *error = worst(&trial);
                // A sixteenth is little beside what the other kinds leave.
                if *error <= tolerance_m * 0.0625 {
                    break;
                }
            }
        }
        let mut rungs = [0_usize; KINDS.len()];
        for _ in 0..KINDS.len() * LADDER.len() {
            let at = |kind: usize, rung: usize| errors_m.get(kind).and_then(|list| list.get(rung)).copied();
            let sum: f32 = rungs.iter().enumerate().filter_map(|(kind, rung)| at(kind, *rung)).sum();
            if sum <= tolerance_m {
                break;
            }
            let mut best = (f32::NEG_INFINITY, 0);
            for (kind, rung) in rungs.iter().enumerate() {
                let count = |rung: usize| LADDER.get(rung).copied().map(f32::from);
                if let (Some(now), Some(then), Some(few), Some(more)) =
                    (at(kind, *rung), at(kind, *rung + 1), count(*rung), count(*rung + 1))
                {
                    // Where two errors cancel at one count, the next may be worse: then the one after it.
                    let gain = (now - then) / (more - few);
                    if now > 0.0 && gain > best.0 {
                        best = (gain, kind);
                    }
                }
            }
            match rungs.get_mut(best.1) {
                Some(rung) if best.0.is_finite() => *rung += 1,
                _ => break,
            }
        }
        let mut chosen = fine;
        for (kind, rung) in KINDS.iter().zip(rungs) {
            *kind(&mut chosen) = LADDER.get(rung).copied().unwrap_or(16);
        }
        // Where it passes the front a path is only above or below: that error does not add to the others, but many
        // paths may pass close to it.
        let enough = |front: &u16| worst_at_front(*front) <= 0.25 * tolerance_m;
        chosen.front = LADDER.iter().copied().find(enough).unwrap_or(16);
        chosen
    }

    /// A run taken with the fine steps, for [`Setup::choose_steps`].
    #[must_use]
    pub fn probe(&self, inputs: &Inputs<f32>) -> Probe {
        let end = self.ride::<f32, false>(inputs, &Steps::FINE, |_| {});
        let fine = self.run_from(&end, inputs, &Steps::FINE);
        let start = self.release(end.speed_mps, inputs);
        let plane = self.bag.contact_plane(inputs.get(Uncertain::ContactHeight));
        let passes_front = plane.distance(&start) < 0.0;
        let front_m = if passes_front { self.over_front_m(inputs, &start, Steps::FINE.front) } else { 0.0 };
        Probe { inputs: *inputs, fine, start, passes_front, front_m }
    }

    /// Height over the contact plane where the bag's front is passed.
    fn over_front_m(&self, inputs: &Inputs<f32>, start: &Motion<f32>, steps: u16) -> f32 {
        let plane = self.bag.contact_plane(inputs.get(Uncertain::ContactHeight));
        plane.distance(&fly_to_x(start, self.bag.gap_m(), &self.drag(inputs), steps).motion)
    }

    /// How far a landing moves when taken with `steps` instead of the fine ones.
    fn deviation_m(&self, probe: &Probe, steps: &Steps) -> f32 {
        let Probe { inputs, fine, .. } = probe;
        if fine.stalled || fine.left_surface {
            return 0.0;
        }
        let end = self.ride::<f32, false>(inputs, steps, |_| {});
        let trial = self.run_from(&end, inputs, steps);
        let mut off_m = libm::fabsf(trial.ride_speed_mps - fine.ride_speed_mps);
        if !fine.front {
            off_m = libm::fmaxf(off_m, libm::fabsf(trial.along_m - fine.along_m));
        }
        off_m
    }

    /// How far the height at the bag's front moves when the flight there is taken with so many steps.
    fn front_deviation_m(&self, probe: &Probe, steps: u16) -> f32 {
        if probe.fine.stalled || probe.fine.left_surface || !probe.passes_front {
            return 0.0;
        }
        libm::fabsf(self.over_front_m(&probe.inputs, &probe.start, steps) - probe.front_m)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bag::BagInput;
    use crate::inputs::COUNT;

    /// A level top 2 m up whose front edge is 4 m ahead, and no air.
    fn setup() -> Setup {
        let bag = BagInput {
            length_m: 10.0,
            width_m: 8.0,
            front_height_m: 2.0,
            back_height_m: 2.0,
            gap_m: 4.0,
            offset_m: 0.0,
            base_level_m: 0.0,
            edge_front_m: 1.0,
            edge_back_m: 1.0,
            edge_side_m: 1.0,
        };
        let path = Path::simple(6.0, 0.6, 6.0, 3.0, 1.0).unwrap();
        let takeoff = TakeOff::new(2.0, 5.0, 1.05, 1.0).unwrap();
        Setup::new(path, takeoff, Bag::new(bag).unwrap(), 1.2, 90.0, 3.0).unwrap()
    }

    /// What a body without height is called that is thrown forward and up at these speeds from a height over x = 0.
    fn called(height_m: f32, forward_mps: f32, up_mps: f32) -> Outcome {
        let setup = setup();
        let inputs = Inputs([0.0; COUNT]);
        let start = Motion { place_m: [0.0, 0.0, height_m], velocity_mps: [forward_mps, 0.0, up_mps] };
        let (arrival, front) = setup.fly(&start, &inputs, &Steps::FINE);
        let end = setup.ride::<f32, false>(&inputs, &Steps::FINE, |_| {});
        let end = RideEnd { stalled: false, left: false, ..end };
        setup.landing(&end, &arrival, front, &inputs).outcome(&setup.bag, 0)
    }

    #[test]
    fn front_and_short_are_told_apart() {
        // From 1 m at 5 m/s up the body is at 2 m after 0.275 s and again after 0.744 s (5 t − ½ g t² = 1).
        assert_eq!(called(1.0, 10.0, 5.0), Outcome::On, "through the top's height at 2.75 m, down again at 7.44 m");
        assert_eq!(called(1.0, 20.0, 5.0), Outcome::Front, "through it at 5.5 m only: the front is in the way");
        assert_eq!(called(1.0, 5.0, 5.0), Outcome::Short, "over it at 1.4 m, under it again at 3.7 m");
        assert_eq!(called(1.0, 10.0, 4.0), Outcome::Front, "its highest is 1.82 m: never over it");
        assert_eq!(called(1.0, 0.01, 4.0), Outcome::Front, "nor with hardly any way forward");
        // From 3 m it falls to 2 m in 0.452 s.
        assert_eq!(called(3.0, 8.0, 0.0), Outcome::Short, "under it at 3.6 m: it began above, so it is short");
        assert_eq!(called(3.0, 12.0, 0.0), Outcome::On, "down at 5.4 m");
    }

    /// Starts on a grid about a plane, with drag and winds from all sides: what is said to be plainly over flies over,
    /// and it is said of three in four of them where the air is as thin as a rider's, of one in five where it is thick.
    #[test]
    fn what_is_plainly_over_flies_over() {
        let plane = Plane { normal_x: -0.1, normal_z: 0.995, offset_m: 2.0 };
        let (mut said, mut over, mut under) = ([0_u32; 2], [0_u32; 2], 0_u32);
        for i in 0..200_000_u32 {
            // Steps of an additive sequence in six dimensions (Roberts): the powers of 1/1.1627.
            let at = |power: i32, low: f32, high: f32| {
                let part = (f64::from(i) * 1.162_730_8_f64.powi(-power)).fract() as f32;
                low + (high - low) * part
            };
            let thick = i % 2 == 1;
            let k_pm = if thick { at(1, 0.0, 0.08) } else { 0.002 };
            let drag = Drag { k_pm, along_mps: at(2, -15.0, 15.0), across_mps: at(3, -15.0, 15.0) };
            let velocity_mps = [at(4, -1.0, 15.0), 0.3, at(5, -4.0, 12.0)];
            let start = Motion { place_m: [-1.0, 0.2, at(6, -2.0, 2.4)], velocity_mps };
            let edge = fly_to_x(&start, 1.5, &drag, 16);
            let flies_over = edge.met && plane.distance(&edge.motion) > 0.0;
            let plain = plainly_over(&start, 1.5, &plane, &drag);
            assert!(flies_over || !plain, "{start:?} {drag:?} {edge:?}");
            said[usize::from(thick)] += u32::from(plain);
            over[usize::from(thick)] += u32::from(flies_over);
            under += u32::from(!flies_over);
        }
        assert!(under > 50_000, "{under} under");
        assert!(said[0] * 4 > over[0] * 3 && said[1] * 5 > over[1], "{said:?} said of {over:?}");
    }
}
