//! The pressures to ride between, what happens when the power fails, and how sure both are.

use crate::air::Air;
use crate::bag_gas::Chamber;
use crate::blower::Blowers;
use crate::bracket::close_in;
use crate::displacement::Displacement;
use crate::error::{InputError, Status, within};
use crate::landing_limits::{Limit, Trial};
use crate::openings::Openings;
use crate::slow_gas::SlowGas;
use crate::supply::{Feed, Flows};
use crate::touchdown::{Landing, Options, Until};

/// Time after a power cut to which the bag is followed, s.
pub const HOLD_HORIZON_S: f32 = 120.0;
/// Most landings without supply that are counted.
pub const MAX_LANDINGS: u16 = 200;
/// Alarm delay with a sensed supply, s.
pub const SENSED_DELAY_S: f32 = 0.1;
/// Shortest alarm delay without one, s.
pub const UNSENSED_DELAY_S: f32 = 0.2;
/// How far the dish radius is varied, m.
pub const DISH_VARIATION_M: f32 = 0.3;

/// Everything that the ride pressures follow from.
#[derive(Clone, Copy, Debug)]
pub struct RideInput<'a> {
    /// Outside air.
    pub air: &'a Air,
    /// Vents, flaps, leak.
    pub openings: &'a Openings,
    /// The blowers.
    pub blowers: &'a Blowers,
    /// Operating pressure, Pa.
    pub operating_pa: f32,
    /// Volume at the operating pressure, m³.
    pub volume_m3: f32,
    /// Skin stretch, 1/Pa.
    pub stretch_per_pa: f32,
    /// Top skin's weight, kg/m².
    pub skin_kgpm2: f32,
    /// Dish radius, m.
    pub dish_radius_m: f32,
    /// Share of the force not given back.
    pub skin_loss: f32,
    /// Maker's range, lower end, Pa.
    pub pressure_min_pa: f32,
    /// Maker's range, upper end, Pa.
    pub pressure_max_pa: f32,
    /// Depth allowed, share of the thickness.
    pub depth_limit: f32,
    /// Felt load allowed, g.
    pub load_limit_g: f32,
    /// Lowest stop pressure, share of `pressure_min_pa`.
    pub stop_floor: f32,
    /// Thickness at the thinnest place where landings fall, normal to the top, m.
    pub thickness_m: f32,
    /// Slope of the top there, rad.
    pub slope_rad: f32,
    /// Heaviest mass that lands, kg.
    pub heaviest_kg: f32,
    /// Lightest mass that lands, kg.
    pub lightest_kg: f32,
    /// Normal speed of the hard and of the light landing, m/s.
    pub hard_speed_mps: f32,
    /// From the last stop line, or the start, to touch-down, s.
    pub commitment_s: f32,
    /// Reaction of the rider, s.
    pub reaction_s: f32,
    /// Whether the box senses the blowers' supply.
    pub supply_sense: bool,
    /// Time between two riders, s.
    pub interval_s: f32,
    /// Accuracy of the touch-downs.
    pub options: Options,
}

/// Which rule set the stop pressure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum StopRule {
    /// The depth of the hard landing.
    Depth,
    /// The floor under it.
    Floor,
}

/// What ends the ride band below or above: the input to change where the band is empty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum BandEnd {
    /// The stop pressure.
    Stop,
    /// The maker's lower limit.
    PressureMin,
    /// The firm pressure.
    Firm,
    /// The maker's upper limit.
    PressureMax,
}

/// The pressures and times of one bag with one skin stretch and dish radius.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RidePressures {
    /// Lowest pressure to ride on, Pa; none where no pressure up to 20 kPa stops the hard landing in time.
    pub stop_pa: Option<f32>,
    /// Which rule set it.
    pub stop_rule: StopRule,
    /// What the depth alone asks for, Pa.
    pub stop_by_depth_pa: Option<f32>,
    /// The depth is kept even by the just taut bag.
    pub just_taut_is_enough: bool,
    /// Highest pressure at which the light landing's load keeps its limit, Pa; none where it does not bound
    /// (`firm_limit` is `NotReached`) or where no pressure keeps it (`NotKept`).
    pub firm_pa: Option<f32>,
    /// How the firm pressure was found.
    pub firm_limit: Limit,
    /// Lower end of the ride band, Pa.
    pub band_low_pa: Option<f32>,
    /// What sets it.
    pub band_low_end: BandEnd,
    /// Upper end of the ride band, Pa; none where no pressure keeps the load limit.
    pub band_high_pa: Option<f32>,
    /// What sets it.
    pub band_high_end: BandEnd,
    /// There is no pressure to ride at.
    pub band_is_empty: bool,
    /// Below this no new rider should start, Pa; none where even the operating pressure is too near to the stop
    /// pressure, or where there is no stop pressure.
    pub wait_pa: Option<f32>,
    /// From a power cut to the stop pressure, s; none where it is never reached or there is none.
    pub power_loss_to_stop_s: Option<f32>,
    /// From a power cut until the hard landing would pass the depth limit, s; none where not within 120 s.
    pub holds_for_s: Option<f32>,
    /// From the cut to the alarm, s; none where no alarm would come (the pressure never falls half-way, or there is
    /// no stop pressure to go by).
    pub alarm_delay_s: Option<f32>,
    /// Commitment, as given, s.
    pub commitment_s: f32,
    /// What the bag lacks of holding for commitment + alarm delay + reaction, s; none where the delay is not known and
    /// the bag gives way.
    pub seconds_missing: Option<f32>,
    /// Hard landings without supply, one every interval from the cut on, until one would pass the depth limit (at
    /// most 200).
    pub landings_without_supply: u16,
    /// Skin stretch that this was computed with, 1/Pa.
    pub skin_stretch_per_pa: f32,
    /// Dish radius that this was computed with, m.
    pub dish_radius_m: f32,
    /// `OutOfSteps` where a search did not close.
    pub status: Status,
}

/// The ride pressures as stated and at the ends of the two assumed numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RideReport {
    /// With the stretch and dish radius of the site.
    pub stated: RidePressures,
    /// At half and twice the stretch, with the dish 0.3 m smaller and larger, and with both at once: neither is known,
    /// so the corners count as well.
    pub ends: [RidePressures; 8],
}

impl RideReport {
    /// The worst of the nine: the one without a stop pressure; else the most seconds missing (not known counts as
    /// most); else the shortest hold; else the highest stop pressure.
    #[must_use]
    pub fn worst(&self) -> &RidePressures {
        self.ends.iter().fold(&self.stated, |worst, end| if end.is_worse_than(worst) { end } else { worst })
    }
}

impl RidePressures {
    fn is_worse_than(&self, other: &Self) -> bool {
        let rank = |pressures: &Self| {
            [
                if pressures.stop_pa.is_none() { 1.0 } else { 0.0 },
                pressures.seconds_missing.unwrap_or(f32::MAX),
                -pressures.holds_for_s.unwrap_or(f32::MAX),
                pressures.stop_pa.unwrap_or(f32::MAX),
            ]
        };
        rank(self).partial_cmp(&rank(other)) == Some(core::cmp::Ordering::Greater)
    }
}

impl RideInput<'_> {
    fn check(&self) -> Result<(), InputError> {
        within("bag.pressure_min_pa", self.pressure_min_pa, 1.0, 20_000.0)?;
        within("bag.pressure_max_pa", self.pressure_max_pa, 1.0, 20_000.0)?;
        if self.pressure_min_pa >= self.pressure_max_pa {
            return Err(InputError::Order {
                smaller: "bag.pressure_min_pa",
                smaller_got: self.pressure_min_pa,
                larger: "bag.pressure_max_pa",
                larger_got: self.pressure_max_pa,
            });
        }
        within("bag.depth_limit", self.depth_limit, 0.1, 1.0)?;
        within("bag.load_limit_g", self.load_limit_g, 1.0, 100.0)?;
        within("bag.stop_floor", self.stop_floor, 0.0, 1.0)?;
        within("bag.thickness_m", self.thickness_m, 0.05, 30.0)?;
        within("bag.dish_radius_m", self.dish_radius_m, 0.1 + DISH_VARIATION_M, 5.0 - DISH_VARIATION_M)?;
        within("commitment_s", self.commitment_s, 0.0, 600.0)?;
        within("rider.reaction_s", self.reaction_s, 0.0, 60.0)?;
        within("session.interval_s", self.interval_s, 1.0, 3_600.0)?;
        within("landing.mass_kg", self.lightest_kg, 1.0, 5_000.0)?;
        if self.lightest_kg > self.heaviest_kg {
            return Err(InputError::Order {
                smaller: "rider.lightest_kg",
                smaller_got: self.lightest_kg,
                larger: "rider.heaviest_kg",
                larger_got: self.heaviest_kg,
            });
        }
        Ok(())
    }

    fn landing(&self, mass_kg: f32) -> Result<Landing, InputError> {
        Landing {
            mass_kg,
            normal_speed_mps: self.hard_speed_mps,
            slope_rad: self.slope_rad,
            skin_loss: self.skin_loss,
            displacement: Displacement::dish(self.dish_radius_m)?,
            thickness_m: None,
        }
        .checked()
    }

    /// The same site with another stretch and dish radius.
    #[must_use]
    pub const fn with(self, stretch_per_pa: f32, dish_radius_m: f32) -> Self {
        Self { stretch_per_pa, dish_radius_m, ..self }
    }
}

/// The ride pressures of a site, as stated and at half and twice the skin stretch, at dish radius ± 0.3 m, and at the
/// corners of the two.
///
/// # Errors
/// [`InputError`] for what is out of range, of the site or of one of the ends (twice the stretch can be more
/// than a bag at a high pressure takes, see [`Chamber::new`]).
pub fn ride_report(input: &RideInput<'_>) -> Result<RideReport, InputError> {
    let (stretch, dish) = (input.stretch_per_pa, input.dish_radius_m);
    Ok(RideReport {
        stated: ride_pressures(input)?,
        ends: [
            ride_pressures(&input.with(0.5 * stretch, dish))?,
            ride_pressures(&input.with(2.0 * stretch, dish))?,
            ride_pressures(&input.with(stretch, dish - DISH_VARIATION_M))?,
            ride_pressures(&input.with(stretch, dish + DISH_VARIATION_M))?,
            ride_pressures(&input.with(0.5 * stretch, dish - DISH_VARIATION_M))?,
            ride_pressures(&input.with(2.0 * stretch, dish - DISH_VARIATION_M))?,
            ride_pressures(&input.with(0.5 * stretch, dish + DISH_VARIATION_M))?,
            ride_pressures(&input.with(2.0 * stretch, dish + DISH_VARIATION_M))?,
        ],
    })
}

/// The ride pressures of a site with the stretch and dish radius stated.
///
/// - Stop: the larger of what the hard landing's depth asks for, supply lost, and `stop_floor` × `pressure_min`.
/// - Firm: the highest pressure at which the light landing's load keeps `load_limit_g`, blowers running.
/// - Both landings come at `hard_speed_mps`, at the thinnest place, ground left out.
/// - After a cut the blowers stand still and let gas back where they have no flap.
/// - The first landing without supply is at the cut itself; between two, gas leaves for the interval less the time
///   of the landing.
///
/// # Errors
/// [`InputError`] for what is out of range.
pub fn ride_pressures(input: &RideInput<'_>) -> Result<RidePressures, InputError> {
    input.check()?;
    let chamber = Chamber::new(input.air, input.volume_m3, input.operating_pa, input.stretch_per_pa, input.skin_kgpm2)?;
    let Searched { hard, slow, limit_m, by_depth, stop_rule, firm_limit, needed_s, power_loss_to_stop_s, levels } =
        search(input, &chamber)?;
    let RideLevels { stop_pa, wait_pa, band_high_pa, alarm_delay_s, status } = levels;
    let (band_low_pa, band_low_end) = match stop_pa {
        None => (None, BandEnd::Stop),
        Some(pa) if pa > input.pressure_min_pa => (Some(pa), BandEnd::Stop),
        Some(_) => (Some(input.pressure_min_pa), BandEnd::PressureMin),
    };
    let band_high_end = match firm_limit {
        Limit::At(pa) | Limit::JustTaut(pa) if pa >= input.pressure_max_pa => BandEnd::PressureMax,
        Limit::NotReached => BandEnd::PressureMax,
        _ => BandEnd::Firm,
    };
    let band_is_empty = match (band_low_pa, band_high_pa) {
        (Some(low_pa), Some(high_pa)) => low_pa > high_pa,
        _ => true,
    };

    let horizon_s = needed_s.unwrap_or(0.0).max(HOLD_HORIZON_S);
    let (hold, hold_status) = hold_s(&hard, &slow, by_depth, limit_m, horizon_s);
    let seconds_missing = match (needed_s, hold) {
        (_, None) => Some(0.0),
        (Some(needed_s), Some(hold_s)) => Some((needed_s - hold_s).max(0.0)),
        (None, Some(_)) => None,
    };

    let searches = [status, hold_status];
    Ok(RidePressures {
        stop_pa,
        stop_rule,
        stop_by_depth_pa: by_depth.pressure_pa(),
        just_taut_is_enough: matches!(by_depth, Limit::JustTaut(_)),
        firm_pa: firm_limit.pressure_pa(),
        firm_limit,
        band_low_pa,
        band_low_end,
        band_high_pa,
        band_high_end,
        band_is_empty,
        wait_pa,
        power_loss_to_stop_s,
        holds_for_s: hold.filter(|&seconds| seconds <= HOLD_HORIZON_S),
        alarm_delay_s,
        commitment_s: input.commitment_s,
        seconds_missing,
        landings_without_supply: landings_without_supply(&hard, &slow, limit_m, input.interval_s),
        skin_stretch_per_pa: input.stretch_per_pa,
        dish_radius_m: input.dish_radius_m,
        status: if searches.contains(&Status::OutOfSteps) { Status::OutOfSteps } else { Status::Converged },
    })
}

/// What a watch takes of the ride pressures: the same values, without how long the bag holds and how many landings it
/// takes without supply.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RideLevels {
    /// As [`RidePressures::stop_pa`].
    pub stop_pa: Option<f32>,
    /// As [`RidePressures::wait_pa`].
    pub wait_pa: Option<f32>,
    /// As [`RidePressures::band_high_pa`].
    pub band_high_pa: Option<f32>,
    /// As [`RidePressures::alarm_delay_s`].
    pub alarm_delay_s: Option<f32>,
    /// `OutOfSteps` where a search did not close.
    pub status: Status,
}

/// The levels alone, as [`ride_pressures`] finds them, for a device that shall not spend time on the rest.
///
/// # Errors
/// [`InputError`] for what is out of range.
pub fn ride_levels(input: &RideInput<'_>) -> Result<RideLevels, InputError> {
    input.check()?;
    let chamber = Chamber::new(input.air, input.volume_m3, input.operating_pa, input.stretch_per_pa, input.skin_kgpm2)?;
    search(input, &chamber).map(|searched| searched.levels)
}

/// What the searches found, and with what they were made.
struct Searched<'a> {
    hard: Trial<'a>,
    slow: SlowGas<'a>,
    limit_m: f32,
    by_depth: Limit,
    stop_rule: StopRule,
    firm_limit: Limit,
    needed_s: Option<f32>,
    power_loss_to_stop_s: Option<f32>,
    levels: RideLevels,
}

fn search<'a>(input: &RideInput<'a>, chamber: &'a Chamber) -> Result<Searched<'a>, InputError> {
    let flows = Flows { openings: input.openings, blowers: Some(input.blowers), feed: Feed::Lost };
    let trial = |landing| Trial { chamber, flows, landing, options: input.options };
    let hard = trial(input.landing(input.heaviest_kg)?);
    let light = trial(input.landing(input.lightest_kg)?);
    let limit_m = input.depth_limit * input.thickness_m;
    let slow = SlowGas { chamber, flows };

    let (by_depth, stop_status) = hard.lowest_for_depth(limit_m);
    let floor_pa = input.stop_floor * input.pressure_min_pa;
    let stop_by_depth_pa = by_depth.pressure_pa();
    let stop_rule = match stop_by_depth_pa {
        Some(pa) if pa < floor_pa => StopRule::Floor,
        _ => StopRule::Depth,
    };
    let stop_pa = stop_by_depth_pa.map(|pa| pa.max(floor_pa));

    let (firm_limit, firm_status) = light.highest_for_load(input.load_limit_g);
    let band_high_pa = match firm_limit {
        Limit::NotKept => None,
        Limit::At(pa) | Limit::JustTaut(pa) => Some(pa.min(input.pressure_max_pa)),
        Limit::NotReached => Some(input.pressure_max_pa),
    };

    let power_loss_to_stop_s = stop_pa.and_then(|pa| slow.fall_time_s(input.operating_pa, pa));
    let alarm_delay_s = match (input.supply_sense, stop_pa) {
        (true, _) => Some(SENSED_DELAY_S),
        (false, None) => None,
        (false, Some(pa)) => slow
            .fall_time_s(input.operating_pa, 0.5 * (input.operating_pa + pa))
            .map(|seconds| seconds.max(UNSENSED_DELAY_S)),
    };
    let needed_s = alarm_delay_s.map(|delay_s| input.commitment_s + delay_s + input.reaction_s);
    let wait_pa = match (stop_pa, needed_s, power_loss_to_stop_s) {
        (Some(stop_pa), _, None) => Some(stop_pa),
        (Some(_), Some(needed_s), Some(fall_s)) if fall_s >= needed_s => {
            Some(slow.after_loss(&chamber.at_pressure(input.operating_pa), fall_s - needed_s).0.pressure_pa)
        }
        _ => None,
    };
    let wait_pa = wait_pa.map(|pa| pa.max(input.pressure_min_pa).max(stop_pa.unwrap_or(0.0)));

    let unclosed = [stop_status, firm_status].contains(&Status::OutOfSteps);
    let status = if unclosed { Status::OutOfSteps } else { Status::Converged };
    let levels = RideLevels { stop_pa, wait_pa, band_high_pa, alarm_delay_s, status };
    Ok(Searched { hard, slow, limit_m, by_depth, stop_rule, firm_limit, needed_s, power_loss_to_stop_s, levels })
}

/// Time after a cut until the hard landing would pass its depth, s; none where not within the horizon.
fn hold_s(
    hard: &Trial<'_>,
    slow: &SlowGas<'_>,
    by_depth: Limit,
    limit_m: f32,
    horizon_s: f32,
) -> (Option<f32>, Status) {
    let chamber = slow.chamber;
    let operating = chamber.at_pressure(chamber.operating_pa());
    let within_horizon = |seconds: f32| if seconds <= horizon_s { Some(seconds) } else { None };
    match by_depth {
        Limit::NotKept | Limit::NotReached => (Some(0.0), Status::Converged),
        Limit::At(pa) => (slow.fall_time_s(chamber.operating_pa(), pa).and_then(within_horizon), Status::Converged),
        Limit::JustTaut(pa) => {
            // Even just taut is enough: the bag must go slack first.
            let Some(taut_s) = slow.fall_time_s(chamber.operating_pa(), pa).and_then(within_horizon) else {
                return (None, Status::Converged);
            };
            // A slack bag loses its depth so slowly that 1 ms takes finer landings than elsewhere.
            let tolerance = 0.1 * hard.options.tolerance;
            let hard = Trial { options: Options { tolerance, ..hard.options }, ..*hard };
            // Above 0 once the depth is passed.
            let over = |seconds: f32| -hard.depth_margin(slow.after_loss(&operating, seconds).0, limit_m);
            let at_end = over(horizon_s);
            if at_end <= 0.0 {
                return (None, Status::Converged);
            }
            let found = close_in(over, (taut_s, over(taut_s).min(-1e-6)), (horizon_s, at_end), 1e-4);
            (Some(found.below), found.status)
        }
    }
}

/// How many hard landings, one every interval, keep the depth.
fn landings_without_supply(hard: &Trial<'_>, slow: &SlowGas<'_>, limit_m: f32, interval_s: f32) -> u16 {
    let chamber = slow.chamber;
    let mut state = chamber.at_pressure(chamber.operating_pa());
    let mut done = 0;
    while done < MAX_LANDINGS {
        let Some(landing) = hard.land(state, Feed::Lost, Until::Back) else { break };
        let kept = landing.status == Status::Converged && landing.depth_m <= limit_m;
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
