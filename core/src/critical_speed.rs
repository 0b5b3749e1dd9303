//! The fastest landing that a bag stops above the ground.

use crate::bag_gas::{Adiabat, Chamber, GasState, QUICK_EXPONENT};
use crate::error::{InputError, Status};
use crate::flows::{Feed, Flows};
use crate::levels::LevelsInput;
use crate::normal_speeds::NormalSpeeds;
use crate::possible_bags::PossibleBag;
use crate::touchdown::{Landing, Options, Until, touch_down};

/// Fastest normal speed that is looked at, m/s.
pub const FASTEST_MPS: f32 = 15.0;
/// Steps in which the critical speed is looked for from above where the way left does not lead to it, m/s.
pub const SPEED_STEP_MPS: f32 = 0.25;
/// To this a critical speed is closed in, m/s.
const WIDTH_MPS: f32 = 1e-4;
/// Rounds of the secant before the steps are taken.
const ROUNDS: u8 = 14;

/// Where a possible bag's ground begins for a rider.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "snake_case"))]
pub enum CriticalSpeed {
    /// The body rests above the ground from every speed up to 15 m/s: the chance is 0.
    NoneNeeded,
    /// From this speed, m/s.
    At(f32),
    /// There is no speed from which it rests above the ground: the chance is that of any landing.
    NoneRests,
}

impl CriticalSpeed {
    /// As a number to put in order by, m/s: infinite where none is needed, 0 where none rests.
    #[must_use]
    pub const fn order_mps(&self) -> f32 {
        match *self {
            Self::NoneNeeded => f32::INFINITY,
            Self::At(mps) => mps,
            Self::NoneRests => 0.0,
        }
    }

    /// Chance of a landing over it.
    #[must_use]
    pub fn chance(&self, speeds: &dyn NormalSpeeds) -> f32 {
        match *self {
            Self::NoneNeeded => 0.0,
            Self::At(mps) => speeds.survival(mps),
            Self::NoneRests => speeds.survival(0.0),
        }
    }
}

/// The critical speed of one possible bag for a mass: the first normal speed from 15 m/s downward from which the body
/// comes to rest above the ground at the thinnest place, to 0.1 mm/s, from a state of the gas.
///
/// # Errors
/// [`InputError`] for what the landing or the chamber refuse.
pub fn critical_speed(
    input: &LevelsInput<'_>,
    bag: &PossibleBag,
    mass_kg: f32,
    from: GasState,
    feed: Feed,
) -> Result<CriticalSpeed, InputError> {
    let chamber = input.chamber(bag)?;
    Ok(Fall::new(input, bag, &chamber, from, feed, mass_kg)?.critical_speed(FASTEST_MPS, 0.0))
}

/// How one landing ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Met {
    /// At rest above the ground.
    Rests {
        /// How deep, m.
        depth_m: f32,
    },
    /// At the ground.
    Ground {
        /// Square of the speed left, m²/s².
        left2: f32,
    },
    /// Neither within the time that a landing is followed.
    Unclear,
}

/// Landings of one mass on one bag, differing in speed alone.
pub(crate) struct Fall<'a> {
    /// None where the bag holds no gas to speak of.
    gas: Option<Adiabat>,
    flows: Flows<'a>,
    landing: Landing,
    options: Options,
}

impl<'a> Fall<'a> {
    pub(crate) fn new(
        input: &'a LevelsInput<'a>,
        bag: &PossibleBag,
        chamber: &Chamber,
        from: GasState,
        feed: Feed,
        mass_kg: f32,
    ) -> Result<Self, InputError> {
        let landing = input.landing(bag, mass_kg, 0.0)?;
        let landing = landing.over_ground(input.bag.thickness_m)?;
        Ok(Self {
            gas: Adiabat::new(chamber, from, QUICK_EXPONENT).ok(),
            flows: input.flows(feed),
            landing,
            options: Options { until: Until::Deepest, ..input.options },
        })
    }

    /// One landing.
    pub(crate) fn land(&self, normal_speed_mps: f32) -> Met {
        let Some(gas) = &self.gas else { return Met::Unclear };
        let landing = self.landing.at_speed(normal_speed_mps);
        let done = touch_down(gas, &self.flows, &landing, &self.options, |_| {});
        match (done.status, done.ground) {
            (Status::Converged, None) => Met::Rests { depth_m: done.depth_m },
            (Status::Converged, Some(ground)) => Met::Ground { left2: ground.speed_mps * ground.speed_mps },
            _ => Met::Unclear,
        }
    }

    fn rests(&self, speed_mps: f32) -> bool {
        matches!(self.land(speed_mps), Met::Rests { .. })
    }

    /// The first speed from `fastest_mps` downward from which the body comes to rest above the ground, to 0.1 mm/s;
    /// under `slowest_mps` it is not looked for.
    ///
    /// The square of the speed left at the ground falls almost straight with the square of the speed at contact: a
    /// secant meets its zero in three or four landings. Where it leads nowhere (with the supply lost a slow body can
    /// follow the emptying bag down), steps of 0.25 m/s and halving take over.
    pub(crate) fn critical_speed(&self, fastest_mps: f32, slowest_mps: f32) -> CriticalSpeed {
        if self.gas.is_none() {
            return CriticalSpeed::NoneRests;
        }
        // The slowest known to meet the ground, as square of the speed at contact and of the speed left.
        let mut high = match self.land(fastest_mps) {
            Met::Rests { .. } => return CriticalSpeed::NoneNeeded,
            Met::Ground { left2 } => (fastest_mps * fastest_mps, left2),
            Met::Unclear => return self.by_steps(fastest_mps, slowest_mps),
        };
        let mut next2 = high.0 - high.1;
        for _ in 0..ROUNDS {
            if !(next2 > slowest_mps * slowest_mps) {
                let slowest2 = slowest_mps * slowest_mps;
                // Where even the slowest meets the ground with about the speed that the way down says, none rests.
                let straight2 = high.1 - (high.0 - slowest2);
                return match self.land(slowest_mps) {
                    Met::Ground { left2 } if left2 > 0.25 && (left2 - straight2).abs() < 0.3 * (high.0 - slowest2) => {
                        CriticalSpeed::NoneRests
                    }
                    Met::Rests { .. } => CriticalSpeed::At(self.between(slowest_mps, high)),
                    _ => self.by_steps(libm::sqrtf(high.0), slowest_mps),
                };
            }
            let at_mps = libm::sqrtf(next2);
            match self.land(at_mps) {
                Met::Ground { left2 } => {
                    let slope = (high.1 - left2) / (high.0 - next2);
                    let zero2 = next2 - left2 / slope;
                    // A slope far from 1 is none of a body that the bag slows down.
                    if !(slope > 0.2 && slope < 5.0) {
                        return self.by_steps(at_mps, slowest_mps);
                    }
                    high = (next2, left2);
                    if at_mps - libm::sqrtf(zero2.max(0.0)) < WIDTH_MPS {
                        return CriticalSpeed::At(libm::sqrtf(zero2.max(0.0)));
                    }
                    next2 = zero2;
                }
                Met::Rests { .. } => return CriticalSpeed::At(self.between(at_mps, high)),
                Met::Unclear => return self.by_steps(libm::sqrtf(high.0), slowest_mps),
            }
        }
        self.by_steps(libm::sqrtf(high.0), slowest_mps)
    }

    /// Closes in between a speed that rests and one that meets the ground.
    fn between(&self, mut low_mps: f32, mut high: (f32, f32)) -> f32 {
        for _ in 0..40u8 {
            let high_mps = libm::sqrtf(high.0);
            if high_mps - low_mps <= WIDTH_MPS {
                break;
            }
            // A little above where a straight way down would end, so that the ground is met again, or halfway.
            let straight_mps = libm::sqrtf((high.0 - high.1).max(0.0));
            let middle_mps = 0.5 * (low_mps + high_mps);
            let at_mps = if straight_mps > low_mps + 0.25 * WIDTH_MPS && straight_mps < middle_mps {
                straight_mps + 0.5 * WIDTH_MPS
            } else {
                middle_mps
            };
            match self.land(at_mps) {
                Met::Rests { .. } => low_mps = at_mps,
                Met::Ground { left2 } => high = (at_mps * at_mps, left2),
                Met::Unclear => high = (at_mps * at_mps, 0.0),
            }
        }
        low_mps
    }

    /// The same in steps of 0.25 m/s from a speed that does not rest, then by halving.
    pub(crate) fn by_steps(&self, fastest_mps: f32, slowest_mps: f32) -> CriticalSpeed {
        let mut high_mps = fastest_mps;
        while high_mps > slowest_mps {
            let mut low_mps = (high_mps - SPEED_STEP_MPS).max(slowest_mps).max(0.0);
            if self.rests(low_mps) {
                while high_mps - low_mps > WIDTH_MPS {
                    let middle_mps = 0.5 * (low_mps + high_mps);
                    if self.rests(middle_mps) { low_mps = middle_mps } else { high_mps = middle_mps }
                }
                return CriticalSpeed::At(low_mps);
            }
            high_mps = low_mps;
        }
        CriticalSpeed::NoneRests
    }
}
