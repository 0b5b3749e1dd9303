//! What is known of a ride on a bag: its levels, the soft and the firm bag, how long it holds after a power cut.

use crate::air::STANDARD_GRAVITY_MPS2;
use crate::bag_gas::Chamber;
use crate::bracket::close_in;
use crate::energy_balance::{self, Spring};
use crate::error::{InputError, Status, within};
use crate::flows::Feed;
use crate::landing_limits::{Limit, Trial};
use crate::levels::{Levels, LevelsInput, ThreeBags, levels};
use crate::possible_bags::{BagFactors, PossibleBag, PossibleBags};
use crate::slow_gas::SlowGas;
use crate::touchdown::{Options, Until};
use crate::worst_bags::{Ordeal, at_place};

/// Time after a power cut to which the bag is followed, s.
pub const HOLD_HORIZON_S: f32 = 120.0;
/// Most landings without supply that are counted.
pub const MAX_LANDINGS: u16 = 200;

/// One of the three bags and what it comes to.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct BagLimits {
    /// The bag.
    pub bag: PossibleBag,
    /// What its numbers are over the stated ones.
    pub factors: BagFactors,
    /// Lowest starting pressure from which the hard landing, supply lost, keeps the depth limit.
    pub by_depth: Limit,
    /// From a power cut to the stop pressure, s; 0 if already below, none if never.
    pub power_loss_to_stop_s: Option<f32>,
    /// Depth of the hard landing from the operating pressure, supply just lost, ground left out, m.
    pub hard_depth_m: f32,
    /// Felt load of the light landing at the operating pressure, blowers running, g.
    pub light_load_g: f32,
}

/// What is known of a ride, for one stated bag and what is not known of it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct RideLimits {
    /// The levels that the box uses.
    pub levels: Levels,
    /// The bag as stated.
    pub stated: BagLimits,
    /// The bag at the 95 % place by stop pressure.
    pub soft: BagLimits,
    /// The bag at the 95 % place by the light landing's load.
    pub firm: BagLimits,
    /// Highest pressure at which the stated bag's light landing keeps `load_limit_g`; bounds nothing.
    pub comfort: Limit,
    /// From a power cut until the hard landing would pass the depth limit, stated bag, s; 0 if at once, none if not
    /// within 120 s.
    pub holds_for_s: Option<f32>,
    /// The 5 % place of the same over the possible bags.
    pub holds_for_p05_s: Option<f32>,
    /// What the stated bag lacks of holding for `needed_s`, s; none where that is not known and the bag gives way.
    pub seconds_missing: Option<f32>,
    /// Hard landings without supply, one every interval from the cut on, until one would pass the depth limit (at most
    /// 200), stated bag.
    pub landings_without_supply: u16,
    /// Largest force of the bag on the body in the hard landing at the operating pressure, blowers running, stated
    /// bag, N: times the friction it is the push on the bag.
    pub hard_force_n: f32,
    /// `OutOfSteps` where a search did not close.
    pub status: Status,
}

impl RideLimits {
    /// The three bags, as a box takes them.
    #[must_use]
    pub const fn three_bags(&self) -> ThreeBags {
        ThreeBags { stated: self.stated.bag, soft: self.soft.bag, firm: self.firm.bag }
    }
}

/// The limits of a ride.
///
/// `interval_s` is the time between two riders.
///
/// # Errors
/// [`InputError`] for what is out of range, of the site or of one of the possible bags.
pub fn ride_limits(input: &LevelsInput<'_>, bags: &PossibleBags, interval_s: f32) -> Result<RideLimits, InputError> {
    input.check()?;
    within("session.interval_s", interval_s, 1.0, 3_600.0)?;
    let soft = at_place(bags, &StopPressure { input })?;
    let firm = at_place(bags, &LightLoad { input })?;
    let p05_s = -at_place(bags, &Hold { input })?.value;
    let factors = [BagFactors::STATED, bags.factors(soft.number), bags.factors(firm.number)];
    let three = ThreeBags { stated: *bags.stated(), soft: bags.bag(soft.number), firm: bags.bag(firm.number) };
    let p05_s = Some(p05_s).filter(|&seconds| seconds < HOLD_HORIZON_S);
    with_three(input, &three, factors, p05_s, interval_s)
}

/// Puts bags in order by the stop pressure that the depth of the hard landing asks for, then by that depth.
struct StopPressure<'a> {
    input: &'a LevelsInput<'a>,
}

impl Ordeal for StopPressure<'_> {
    fn estimate(&self, bag: &PossibleBag) -> Result<f32, InputError> {
        let chamber = self.input.chamber(bag)?;
        let landing = self.input.hard(bag, &chamber)?.landing;
        Ok(energy_balance::stop_pa(&landing, &chamber, self.input.depth_limit_m()))
    }

    fn against(&self, bag: &PossibleBag, level: f32) -> Result<f32, InputError> {
        let chamber = self.input.chamber(bag)?;
        let hard = self.input.hard(bag, &chamber)?;
        Ok(-hard.depth_margin(chamber.at_pressure(level), self.input.depth_limit_m()))
    }

    fn exact(&self, bag: &PossibleBag) -> Result<f32, InputError> {
        let by_depth = by_depth(self.input, bag, &self.input.chamber(bag)?)?;
        Ok(by_depth.pressure_pa().unwrap_or(f32::INFINITY))
    }

    fn is_level(&self, level: f32) -> bool {
        level.is_finite() && level > self.input.bag.skin_kgpm2 * STANDARD_GRAVITY_MPS2
    }

    fn tie(&self, bag: &PossibleBag) -> Result<f32, InputError> {
        hard_depth_m(self.input, bag, &self.input.chamber(bag)?)
    }
}

/// Puts bags in order by the felt load of the light landing.
struct LightLoad<'a> {
    input: &'a LevelsInput<'a>,
}

impl Ordeal for LightLoad<'_> {
    fn estimate(&self, bag: &PossibleBag) -> Result<f32, InputError> {
        let input = self.input;
        let chamber = input.chamber(bag)?;
        let spring = Spring::new(&bag.area, &chamber, &chamber.at_pressure(input.operating_pa));
        Ok(spring.load_g(
            input.riders.lightest_kg,
            input.riders.hard_speed_mps,
            energy_balance::pull_mps2(input.bag.slope_rad),
        ))
    }

    fn against(&self, bag: &PossibleBag, level: f32) -> Result<f32, InputError> {
        Ok(self.exact(bag)? - level)
    }

    fn exact(&self, bag: &PossibleBag) -> Result<f32, InputError> {
        light_load_g(self.input, bag, &self.input.chamber(bag)?)
    }

    fn is_level(&self, level: f32) -> bool {
        level.is_finite()
    }
}

/// Puts bags in order by how soon after a power cut the hard landing would pass the depth limit: the time with its sign
/// turned, at most the horizon.
struct Hold<'a> {
    input: &'a LevelsInput<'a>,
}

impl Ordeal for Hold<'_> {
    fn estimate(&self, bag: &PossibleBag) -> Result<f32, InputError> {
        /// Longer than any: bags that never fall so far, among themselves in the order of their stop pressures.
        const NEVER_S: f32 = 1e6;
        let chamber = self.input.chamber(bag)?;
        let slow = SlowGas { chamber: &chamber, flows: self.input.flows(Feed::Lost) };
        let landing = self.input.hard(bag, &chamber)?.landing;
        let stop_pa = energy_balance::stop_pa(&landing, &chamber, self.input.depth_limit_m());
        let full_pa = self.input.operating_pa;
        if stop_pa >= full_pa {
            return Ok(stop_pa - full_pa);
        }
        let fall_s = slow.fall_time_s(full_pa, stop_pa.max(chamber.skin_pa()));
        // How much more would have to leave once it is slack.
        let missing_m3 = (chamber.skin_pa() - stop_pa).max(0.0) * chamber.content_per_pa_m3(chamber.skin_pa());
        Ok(match (fall_s, slow.slack_time_s(-missing_m3)) {
            (Some(taut_s), Some(slack_s)) => -(taut_s + slack_s),
            _ => stop_pa - NEVER_S,
        })
    }

    fn against(&self, bag: &PossibleBag, level: f32) -> Result<f32, InputError> {
        let chamber = self.input.chamber(bag)?;
        let slow = SlowGas { chamber: &chamber, flows: self.input.flows(Feed::Lost) };
        let left = slow.after_loss(&chamber.at_pressure(self.input.operating_pa), -level).0;
        Ok(-self.input.hard(bag, &chamber)?.depth_margin(left, self.input.depth_limit_m()))
    }

    fn exact(&self, bag: &PossibleBag) -> Result<f32, InputError> {
        let chamber = self.input.chamber(bag)?;
        let by_depth = by_depth(self.input, bag, &chamber)?;
        let hold_s = holds_for_s(self.input, bag, &chamber, by_depth, HOLD_HORIZON_S)?;
        Ok(-hold_s.unwrap_or(HOLD_HORIZON_S))
    }

    fn is_level(&self, _level: f32) -> bool {
        true
    }
}

/// The limits once the three bags are known.
fn with_three(
    input: &LevelsInput<'_>,
    three: &ThreeBags,
    [stated_factors, soft_factors, firm_factors]: [BagFactors; 3],
    holds_for_p05_s: Option<f32>,
    interval_s: f32,
) -> Result<RideLimits, InputError> {
    let levels = levels(input, three)?;
    let stated = input.chamber(&three.stated)?;
    let limits = |bag: &PossibleBag, factors: BagFactors| -> Result<BagLimits, InputError> {
        let chamber = input.chamber(bag)?;
        let slow = SlowGas { chamber: &chamber, flows: input.flows(Feed::Lost) };
        Ok(BagLimits {
            bag: *bag,
            factors,
            by_depth: by_depth(input, bag, &chamber)?,
            power_loss_to_stop_s: slow.fall_time_s(input.operating_pa, levels.stop_pa),
            hard_depth_m: hard_depth_m(input, bag, &chamber)?,
            light_load_g: light_load_g(input, bag, &chamber)?,
        })
    };
    let horizon_s = levels.needed_s.unwrap_or(0.0).max(HOLD_HORIZON_S);
    let hold_s = holds_for_s(input, &three.stated, &stated, levels.stated_by_depth, horizon_s)?;
    let seconds_missing = match (levels.needed_s, hold_s) {
        (_, None) => Some(0.0),
        (Some(needed_s), Some(hold_s)) => Some((needed_s - hold_s).max(0.0)),
        (None, Some(_)) => None,
    };
    let light = input.light(&three.stated, &stated)?;
    let (comfort, comfort_status) = light.highest_for_load(input.load_limit_g);
    let hard = input.hard(&three.stated, &stated)?;
    let pressed = hard.land(stated.at_pressure(input.operating_pa), Feed::Running, Until::Deepest);
    let hard_load_g = pressed.map_or(0.0, |done| done.felt_load_g);
    Ok(RideLimits {
        levels,
        stated: limits(&three.stated, stated_factors)?,
        soft: limits(&three.soft, soft_factors)?,
        firm: limits(&three.firm, firm_factors)?,
        comfort,
        holds_for_s: hold_s.filter(|&seconds| seconds <= HOLD_HORIZON_S),
        holds_for_p05_s,
        seconds_missing,
        landings_without_supply: landings_without_supply(&hard, input, interval_s),
        hard_force_n: hard_load_g * input.riders.heaviest_kg * STANDARD_GRAVITY_MPS2,
        status: if comfort_status == Status::OutOfSteps { comfort_status } else { levels.status },
    })
}

/// Lowest starting pressure from which the hard landing in a possible bag, supply lost, keeps the depth limit.
///
/// # Errors
/// [`InputError`] for what is out of range.
pub fn by_depth(input: &LevelsInput<'_>, bag: &PossibleBag, chamber: &Chamber) -> Result<Limit, InputError> {
    Ok(input.hard(bag, chamber)?.lowest_for_depth(input.depth_limit_m()).0)
}

/// Depth of the hard landing in a possible bag from the operating pressure, supply just lost, ground left out, m.
///
/// # Errors
/// [`InputError`] for what is out of range.
pub fn hard_depth_m(input: &LevelsInput<'_>, bag: &PossibleBag, chamber: &Chamber) -> Result<f32, InputError> {
    let start = chamber.at_pressure(input.operating_pa);
    let done = input.hard(bag, chamber)?.land(start, Feed::Lost, Until::Deepest);
    Ok(done.map_or(f32::INFINITY, |done| done.depth_m))
}

/// Felt load of the light landing in a possible bag at the operating pressure, blowers running, g.
///
/// # Errors
/// [`InputError`] for what is out of range.
pub fn light_load_g(input: &LevelsInput<'_>, bag: &PossibleBag, chamber: &Chamber) -> Result<f32, InputError> {
    let start = chamber.at_pressure(input.operating_pa);
    let done = input.light(bag, chamber)?.land(start, Feed::Running, Until::Deepest);
    Ok(done.map_or(0.0, |done| done.felt_load_g))
}

/// Time after a power cut until the hard landing in a possible bag would pass the depth limit, s; none where not within
/// the horizon. `by_depth` is that bag's.
///
/// # Errors
/// [`InputError`] for what is out of range.
pub fn holds_for_s(
    input: &LevelsInput<'_>,
    bag: &PossibleBag,
    chamber: &Chamber,
    by_depth: Limit,
    horizon_s: f32,
) -> Result<Option<f32>, InputError> {
    let slow = SlowGas { chamber, flows: input.flows(Feed::Lost) };
    let operating = chamber.at_pressure(chamber.operating_pa());
    let within_horizon = |seconds: f32| if seconds <= horizon_s { Some(seconds) } else { None };
    match by_depth {
        Limit::NotKept | Limit::NotReached => Ok(Some(0.0)),
        Limit::At(pa) => Ok(slow.fall_time_s(chamber.operating_pa(), pa).and_then(within_horizon)),
        Limit::JustTaut(pa) => {
            // Even just taut is enough: the bag must go slack first.
            let Some(taut_s) = slow.fall_time_s(chamber.operating_pa(), pa).and_then(within_horizon) else {
                return Ok(None);
            };
            // A slack bag loses its depth so slowly that 1 ms takes finer landings than elsewhere.
            let options = Options { tolerance: 0.1 * input.options.tolerance, ..input.options };
            let hard = Trial { options, ..input.hard(bag, chamber)? };
            let limit_m = input.depth_limit_m();
            // Above 0 once the depth is passed.
            let over = |seconds: f32| -hard.depth_margin(slow.after_loss(&operating, seconds).0, limit_m);
            let at_end = over(horizon_s);
            if at_end <= 0.0 {
                return Ok(None);
            }
            Ok(Some(close_in(over, (taut_s, over(taut_s).min(-1e-6)), (horizon_s, at_end), 1e-4).below))
        }
    }
}

/// How many hard landings, one every interval, keep the depth.
fn landings_without_supply(hard: &Trial<'_>, input: &LevelsInput<'_>, interval_s: f32) -> u16 {
    let chamber = hard.chamber;
    let slow = SlowGas { chamber, flows: input.flows(Feed::Lost) };
    let mut state = chamber.at_pressure(chamber.operating_pa());
    let mut done = 0;
    while done < MAX_LANDINGS {
        let Some(landing) = hard.land(state, Feed::Lost, Until::Back) else { break };
        let kept = landing.status == Status::Converged && landing.depth_m <= input.depth_limit_m();
        if !kept {
            break;
        }
        done += 1;
        if slow.flows.openings.none_open() && slow.flows.backflow_area_m2() == 0.0 {
            // Nothing leaves, so every further landing is the same.
            return MAX_LANDINGS;
        }
        let after = chamber.at_content(state.content_m3 - landing.gas_lost_in_all_m3);
        state = slow.after_loss(&after, interval_s - landing.end_s).0;
    }
    done
}

#[cfg(test)]
mod tests;
