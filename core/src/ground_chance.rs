//! How likely a landing is to meet the ground under the bag, as far as the bag is known.
//!
//! For one possible bag and one rider the *critical speed* is the first normal speed, from 15 m/s downward, from which
//! the body comes to rest above the ground at the thinnest place. The chance is that of a normal speed above it.

use crate::bag_gas::{Chamber, GasState};
use crate::critical_speed::{CriticalSpeed, FASTEST_MPS, Fall, Met};
use crate::energy_balance::{Spring, critical_speed_squared, pull_mps2};
use crate::error::{InputError, within};
use crate::flows::Feed;
use crate::levels::LevelsInput;
pub use crate::normal_speeds::{NormalSpeeds, TwoNormals};
use crate::possible_bags::{POSSIBLE_BAGS, PossibleBag, PossibleBags};
use crate::slow_gas::SlowGas;
use crate::worst_bags::{Ordeal, at_place, count_worse, in_order};

/// A chance under this is not told from none, nor one this near to 1 from certainty.
pub const LEAST_CHANCE: f32 = 1e-7;
/// How many bags in a row must rest at the speed of [`LEAST_CHANCE`] before the rest are taken to.
const RUN: u8 = 12;

/// A rider whose chance is asked for.
#[derive(Clone, Copy)]
pub struct LandingRider<'a> {
    /// Mass that lands, with the bike where it lands too, kg.
    pub mass_kg: f32,
    /// Normal speeds of this rider's landings.
    pub speeds: &'a (dyn NormalSpeeds + Sync),
}

/// The speed, within 0 to 15 m/s, under which every speed is passed with more than `chance`.
fn passed_with_mps(speeds: &dyn NormalSpeeds, chance: f32) -> f32 {
    if speeds.survival(FASTEST_MPS) > chance {
        return FASTEST_MPS;
    }
    let (mut low, mut high) = (0.0, FASTEST_MPS);
    for _ in 0..26u8 {
        let middle = 0.5 * (low + high);
        if speeds.survival(middle) > chance { low = middle } else { high = middle }
    }
    low
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
}

/// One rider on one site, with or without supply.
struct Landings<'a> {
    input: &'a LevelsInput<'a>,
    mass_kg: f32,
    /// Time since the supply was lost; none: it is there.
    lost_s: Option<f32>,
    /// Speeds beyond which nothing is told apart.
    slowest_mps: f32,
    fastest_mps: f32,
}

impl Landings<'_> {
    /// A possible bag at contact.
    fn at_contact(&self, bag: &PossibleBag) -> Result<(Chamber, GasState), InputError> {
        let chamber = self.input.chamber(bag)?;
        let full = chamber.at_pressure(self.input.operating_pa);
        let Some(lost_s) = self.lost_s else { return Ok((chamber, full)) };
        let slow = SlowGas { chamber: &chamber, flows: self.input.flows(Feed::Lost) };
        let left = slow.after_loss(&full, lost_s).0;
        Ok((chamber, left))
    }

    const fn feed(&self) -> Feed {
        if self.lost_s.is_some() { Feed::Lost } else { Feed::Running }
    }

    fn critical(&self, bag: &PossibleBag) -> Result<CriticalSpeed, InputError> {
        let (chamber, from) = self.at_contact(bag)?;
        let fall = Fall::new(self.input, bag, &chamber, from, self.feed(), self.mass_kg)?;
        Ok(fall.critical_speed(self.fastest_mps, self.slowest_mps))
    }
}

/// Larger is worse: the critical speed with its sign turned, kept between slowest and fastest.
impl Ordeal for Landings<'_> {
    fn estimate(&self, bag: &PossibleBag) -> Result<f32, InputError> {
        let (chamber, from) = self.at_contact(bag)?;
        let top = &self.input.bag;
        let spring = Spring::new(&bag.area, &chamber, &from);
        Ok(-critical_speed_squared(&spring, top.thickness_m, self.mass_kg, pull_mps2(top.slope_rad)))
    }

    fn against(&self, bag: &PossibleBag, level: f32) -> Result<f32, InputError> {
        let (chamber, from) = self.at_contact(bag)?;
        let fall = Fall::new(self.input, bag, &chamber, from, self.feed(), self.mass_kg)?;
        Ok(match fall.land(-level) {
            Met::Rests { depth_m } => (depth_m / self.input.bag.thickness_m - 1.0).min(-1e-6),
            Met::Ground { left2 } => left2.max(1e-6),
            Met::Unclear => 1e-6,
        })
    }

    fn exact(&self, bag: &PossibleBag) -> Result<f32, InputError> {
        Ok(match self.critical(bag)? {
            CriticalSpeed::NoneNeeded => -self.fastest_mps,
            CriticalSpeed::At(mps) => -mps,
            CriticalSpeed::NoneRests => -self.slowest_mps,
        })
    }

    fn is_level(&self, _level: f32) -> bool {
        true
    }
}

/// The chances of one rider over the possible bags.
///
/// `needed_s` is the time between a loss of supply and contact, `target` the chance over which a possible bag counts
/// in `ground_share`. Chances that differ by less than [`LEAST_CHANCE`] are not told apart.
///
/// Some hundred touch-downs: bags are put in order by a closed form, and only those near a decision are landed on.
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
    let speeds = rider.speeds;
    let slowest_mps = passed_with_mps(speeds, 1.0 - LEAST_CHANCE);
    let running = Landings { input, mass_kg: rider.mass_kg, lost_s: None, slowest_mps, fastest_mps: FASTEST_MPS };
    let at_place_mps = -at_place(bags, &running)?.value;
    let over = count_worse(bags, &running, -passed_with_mps(speeds, target))?;
    let cut = |needed_s: f32| -> Result<f32, InputError> {
        let fastest_mps = passed_with_mps(speeds, LEAST_CHANCE);
        let lost = Landings { lost_s: Some(needed_s), fastest_mps, ..running };
        mean_chance(bags, &lost, speeds)
    };
    Ok(GroundChance {
        ground: if at_place_mps < FASTEST_MPS { speeds.survival(at_place_mps) } else { 0.0 },
        ground_share: f32::from(over) / f32::from(POSSIBLE_BAGS),
        ground_cut: needed_s.map(cut).transpose()?,
    })
}

/// The mean over the possible bags of the chance over each bag's critical speed. Bags in which every landing meets the
/// ground come first by closed form, those in which none does last: from between the two outward until [`RUN`] in a row
/// are of their kind.
fn mean_chance(bags: &PossibleBags, landings: &Landings<'_>, speeds: &dyn NormalSpeeds) -> Result<f32, InputError> {
    let order = in_order(bags, landings)?;
    let critical = |index: usize| match order.get(index) {
        Some(placed) => landings.critical(&bags.bag(placed.number)),
        None => Ok(CriticalSpeed::NoneNeeded),
    };
    let (mut low, mut high) = (0, order.len());
    while low < high {
        let middle = usize::midpoint(low, high);
        let always = order.get(middle).map(|placed| landings.against(&bags.bag(placed.number), -landings.slowest_mps));
        if always.transpose()?.unwrap_or(-1.0) > 0.0 { low = middle + 1 } else { high = middle }
    }
    let (mut sum, mut run, mut first) = (0.0_f32, 0, low);
    while first > 0 && run < RUN {
        first -= 1;
        let critical = critical(first)?;
        sum += critical.chance(speeds);
        run = if critical == CriticalSpeed::NoneRests { run + 1 } else { 0 };
    }
    let (mut run, mut end) = (0, low);
    while end < order.len() && run < RUN {
        let critical = critical(end)?;
        sum += critical.chance(speeds);
        run = if critical == CriticalSpeed::NoneNeeded { run + 1 } else { 0 };
        end += 1;
    }
    sum += first as f32 * CriticalSpeed::NoneRests.chance(speeds);
    Ok(sum / f32::from(POSSIBLE_BAGS))
}

#[cfg(test)]
mod tests;
