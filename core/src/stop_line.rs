//! The last stop line: the last place on the ride down from which a braking rider still stops
//! before the take-off's foot.
//!
//! Braking adds a force b · min(N, m g) to the losses of the ride. Going up from the foot, the energy
//! from which braking just stops the rider at the foot is followed beside the energy of the free ride;
//! the line is the first place, from the foot, where the free ride has no more of it.
//!
//! # Settled here
//! - **Last stop line**: a rider who can stop on a level deck is not committed there, so the line may lie before a
//!   steep part.

use crate::air::STANDARD_GRAVITY_MPS2 as G;
use crate::inputs::Inputs;
use crate::path::{Segment, Shape};
use crate::ride::{Losses, Steps};
use crate::run::Setup;

/// Steps on each segment.
const STEPS: u16 = 48;

/// The last stop line and what a rider has from there.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct StopLine {
    /// Arc length before the take-off's foot.
    pub before_foot_m: f32,
    /// Speed of the free ride there.
    pub speed_mps: f32,
    /// Time that a rider who does not brake needs from there to the foot.
    pub to_foot_s: f32,
}

/// A place on one segment, seen from its end.
struct Place {
    sin: f32,
    cos: f32,
    curvature_pm: f32,
    shrink: f32,
}

fn place(segment: &Segment, back_m: f32, mass_height_m: f32) -> Place {
    match segment.shape {
        Shape::Straight { sin_up, cos } => Place { sin: sin_up, cos, curvature_pm: 0.0, shrink: 1.0 },
        Shape::Arc { radius_m, sin0, cos0, turn_rad } => {
            let on_rad = turn_rad * (1.0 - back_m / segment.length_m);
            let (sin_on, cos_on) = (libm::sinf(on_rad), libm::cosf(on_rad));
            let curvature = if turn_rad > 0.0 { 1.0 / radius_m } else { -1.0 / radius_m };
            let shrink = 1.0 - curvature * mass_height_m;
            Place {
                sin: sin0 * cos_on + cos0 * sin_on,
                cos: cos0 * cos_on - sin0 * sin_on,
                curvature_pm: curvature / shrink,
                shrink,
            }
        }
    }
}

/// The state going up: free and braked energy, time to the foot.
#[derive(Clone, Copy)]
struct Up {
    free: f32,
    braked: f32,
    time_s: f32,
}

impl Up {
    fn plus(&self, rate: &Self, step_m: f32) -> Self {
        Self {
            free: self.free + rate.free * step_m,
            braked: self.braked + rate.braked * step_m,
            time_s: self.time_s + rate.time_s * step_m,
        }
    }
}

struct Climb<'a> {
    segment: &'a Segment,
    losses: Losses<f32>,
    braking: f32,
    mass_height_m: f32,
}

impl Climb<'_> {
    /// Change per metre going up of the three.
    fn rate(&self, up: &Up, back_m: f32) -> Up {
        let at = place(self.segment, back_m, self.mass_height_m);
        let gravity = 2.0 * G * at.shrink * at.sin;
        let loss = |energy: f32| self.losses.rate(energy, at.cos, at.curvature_pm, at.shrink);
        let load = libm::fmaxf(G * at.cos + at.curvature_pm * up.braked, 0.0);
        let brake = 2.0 * self.braking * libm::fminf(load, G);
        Up {
            free: (gravity + loss(up.free)) * self.losses.per_inertia,
            braked: (gravity + loss(up.braked) + brake) * self.losses.per_inertia,
            time_s: at.shrink / libm::sqrtf(libm::fmaxf(up.free, 1.0e-9)),
        }
    }

    fn step(&self, up: &Up, back_m: f32, step_m: f32) -> Up {
        let k1 = self.rate(up, back_m);
        let k2 = self.rate(&up.plus(&k1, 0.5 * step_m), back_m + 0.5 * step_m);
        let k3 = self.rate(&up.plus(&k2, 0.5 * step_m), back_m + 0.5 * step_m);
        let k4 = self.rate(&up.plus(&k3, step_m), back_m + step_m);
        let mean = |a: f32, b: f32, c: f32, d: f32| (a + 2.0 * (b + c) + d) / 6.0;
        let rate = Up {
            free: mean(k1.free, k2.free, k3.free, k4.free),
            braked: mean(k1.braked, k2.braked, k3.braked, k4.braked),
            time_s: mean(k1.time_s, k2.time_s, k3.time_s, k4.time_s),
        };
        up.plus(&rate, step_m)
    }

    /// Whether the brakes hold a rider who stands there.
    fn holds(&self, back_m: f32) -> bool {
        self.rate(&Up { free: 0.0, braked: 0.0, time_s: 0.0 }, back_m).braked >= 0.0
    }
}

/// Finds the line for a braking coefficient; `None` where a rider is committed from the start (or the
/// ride does not reach the take-off).
#[must_use]
pub fn last_stop_line(setup: &Setup, inputs: &Inputs<f32>, braking: f32) -> Option<StopLine> {
    let mut free = None;
    let end = setup.ride::<f32, false>(inputs, &Steps::FINE, |point| {
        // The last point with a non-negative distance is the foot itself.
        if point.before_foot_m > -1.0e-6 {
            free = Some(point.energy_m2ps2);
        }
    });
    if end.stalled || end.left {
        return None;
    }
    let mut up = Up { free: free?, braked: 0.0, time_s: 0.0 };
    // Whether the braked energy is that of a rider who can stop ahead.
    let mut stops = true;
    for segment in setup.path().segments().iter().rev() {
        let climb = Climb {
            segment,
            losses: Losses::new(&setup.slope(), &setup.ride_input(inputs)),
            braking,
            mass_height_m: setup.takeoff().mass_height_m(),
        };
        let step_m = segment.length_m / f32::from(STEPS);
        let foot_m = segment.before_foot_m - segment.length_m;
        for i in 0..STEPS {
            let back_m = step_m * f32::from(i);
            if !stops && climb.holds(back_m + step_m) {
                stops = true;
                up.braked = 0.0;
            }
            let next = climb.step(&up, back_m, step_m);
            if stops && next.braked >= next.free {
                let (mut low_m, mut high_m) = (0.0, step_m);
                for _ in 0..24 {
                    let middle_m = 0.5 * (low_m + high_m);
                    let there = climb.step(&up, back_m, middle_m);
                    if there.braked >= there.free { high_m = middle_m } else { low_m = middle_m }
                }
                let there = climb.step(&up, back_m, high_m);
                return Some(StopLine {
                    before_foot_m: foot_m + back_m + high_m,
                    speed_mps: libm::sqrtf(libm::fmaxf(there.free, 0.0)),
                    to_foot_s: there.time_s,
                });
            }
            up = next;
            if up.braked < 0.0 {
                stops = false;
                up.braked = 0.0;
                if climb.holds(back_m + step_m) {
                    stops = true;
                }
            }
        }
    }
    None
}
