//! How likely a landing is to meet the ground under the bag, as far as the bag is known.
//!
//! For one possible bag and one rider the *critical speed* is the first normal speed, from 15 m/s downward, from which
//! the body comes to rest above the ground at the thinnest place. The chance is that of a normal speed above it.

use crate::bag_gas::GasState;
use crate::bag_gas::{Adiabat, QUICK_EXPONENT};
use crate::error::{InputError, Status, within};
use crate::levels::LevelsInput;
use crate::possible_bags::{PLACE_05, POSSIBLE_BAGS, PossibleBag, PossibleBags};
use crate::slow_gas::SlowGas;
use crate::supply::Feed;
use crate::touchdown::{Landing, Options, Until, touch_down};

/// Fastest normal speed that is looked at, m/s.
pub const FASTEST_MPS: f32 = 15.0;
/// Steps in which the critical speed is looked for from above, m/s.
pub const SPEED_STEP_MPS: f32 = 0.25;
/// To this a critical speed is closed in, m/s: a thousandth of a chance at most.
const SPEED_WIDTH_MPS: f32 = 1e-4;

/// How fast a rider's landings are, into the top.
pub trait NormalSpeeds {
    /// Chance that the normal speed of a landing is over `normal_mps`.
    fn survival(&self, normal_mps: f32) -> f32;
}

/// A mixture of two normals, good and botched tries.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TwoNormals {
    /// Mean and standard deviation of good tries, m/s.
    pub good_mps: (f32, f32),
    /// Mean and standard deviation of botched tries, m/s.
    pub botched_mps: (f32, f32),
    /// Share of botched tries.
    pub botched: f32,
}

impl NormalSpeeds for TwoNormals {
    fn survival(&self, normal_mps: f32) -> f32 {
        let over = |(mean, sd): (f32, f32)| {
            if sd > 0.0 {
                0.5 * libm::erfcf((normal_mps - mean) / sd * core::f32::consts::FRAC_1_SQRT_2)
            } else if normal_mps < mean {
                1.0
            } else {
                0.0
            }
        };
        (1.0 - self.botched) * over(self.good_mps) + self.botched * over(self.botched_mps)
    }
}

/// A rider whose chance is asked for.
#[derive(Clone, Copy)]
pub struct LandingRider<'a> {
    /// Mass that lands, with the bike where it lands too, kg.
    pub mass_kg: f32,
    /// Normal speeds of this rider's landings.
    pub speeds: &'a dyn NormalSpeeds,
}

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

/// Chances of meeting the ground in one landing of one rider.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct GroundChance {
    /// With the blowers running, in the possible bag at the 95 % place: in 95 of 100 bags that fit what is known the
    /// chance is at most this.
    pub ground: f32,
    /// Share of the possible bags in which it is over the target.
    pub ground_share: f32,
    /// With the supply lost `needed_s` before contact, the mean over the possible bags; none where `needed_s` is not
    /// known.
    pub ground_cut: Option<f32>,
    /// `OutOfSteps` where a search did not close.
    pub status: Status,
}

/// The critical speed of one possible bag for a mass, from a state of the gas.
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
    let landing = input.landing(bag, mass_kg, 0.0)?;
    let Ok(gas) = Adiabat::new(&chamber, from, QUICK_EXPONENT) else {
        // No gas to speak of.
        return Ok(CriticalSpeed::NoneRests);
    };
    let flows = input.flows(feed);
    let options = Options { until: Until::Deepest, ..input.options };
    let rests = |normal_speed_mps: f32| {
        let landing = Landing { normal_speed_mps, thickness_m: Some(input.thickness_m), ..landing };
        let done = touch_down(&gas, &flows, &landing, &options, |_| {});
        done.status == Status::Converged && done.ground.is_none()
    };
    if rests(FASTEST_MPS) {
        return Ok(CriticalSpeed::NoneNeeded);
    }
    let mut high_mps = FASTEST_MPS;
    while high_mps > 0.0 {
        let mut low_mps = high_mps - SPEED_STEP_MPS;
        if rests(low_mps) {
            while high_mps - low_mps > SPEED_WIDTH_MPS {
                let middle_mps = 0.5 * (low_mps + high_mps);
                if rests(middle_mps) { low_mps = middle_mps } else { high_mps = middle_mps }
            }
            return Ok(CriticalSpeed::At(low_mps));
        }
        high_mps = low_mps;
    }
    Ok(CriticalSpeed::NoneRests)
}

/// The chances of one rider over the possible bags.
///
/// `needed_s` is the time between a loss of supply and contact, `target` the chance over which a possible bag counts
/// in `ground_share`.
///
/// # Errors
/// [`InputError`] for what is out of range.
pub fn ground_chance(
    input: &LevelsInput<'_>,
    bags: &PossibleBags,
    rider: &LandingRider<'_>,
    needed_s: Option<f32>,
    target: f32,
) -> Result<GroundChance, InputError> {
    input.check()?;
    within("bag.target_ground", target, 0.0, 1.0)?;
    let mut speeds = [0.0_f32; POSSIBLE_BAGS as usize];
    let (mut over, mut sum) = (0_u16, 0.0_f32);
    for (slot, bag) in speeds.iter_mut().zip(bags.iter()) {
        let chamber = input.chamber(&bag)?;
        let full = chamber.at_pressure(input.operating_pa);
        let running = critical_speed(input, &bag, rider.mass_kg, full, Feed::Running)?;
        *slot = running.order_mps();
        if running.chance(rider.speeds) > target {
            over += 1;
        }
        if let Some(needed_s) = needed_s {
            let slow = SlowGas { chamber: &chamber, flows: input.flows(Feed::Lost) };
            let left = slow.after_loss(&full, needed_s).0;
            sum += critical_speed(input, &bag, rider.mass_kg, left, Feed::Lost)?.chance(rider.speeds);
        }
    }
    speeds.sort_unstable_by(f32::total_cmp);
    let at_place = speeds.get(usize::from(PLACE_05) - 1).copied().unwrap_or(0.0);
    Ok(GroundChance {
        ground: rider.speeds.survival(at_place),
        ground_share: f32::from(over) / f32::from(POSSIBLE_BAGS),
        ground_cut: needed_s.map(|_| sum / f32::from(POSSIBLE_BAGS)),
        status: Status::Converged,
    })
}
