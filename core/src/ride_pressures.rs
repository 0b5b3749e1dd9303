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
    let flows = Flows { openings: input.openings, blowers: Some(input.blowers), feed: Feed::Lost };
    let trial = |landing| Trial { chamber: &chamber, flows, landing, options: input.options };
    let hard = trial(input.landing(input.heaviest_kg)?);
    let light = trial(input.landing(input.lightest_kg)?);
    let limit_m = input.depth_limit * input.thickness_m;
    let slow = SlowGas { chamber: &chamber, flows };

    let (by_depth, stop_status) = hard.lowest_for_depth(limit_m);
    let floor_pa = input.stop_floor * input.pressure_min_pa;
    let stop_by_depth_pa = by_depth.pressure_pa();
    let stop_rule = match stop_by_depth_pa {
        Some(pa) if pa < floor_pa => StopRule::Floor,
        _ => StopRule::Depth,
    };
    let stop_pa = stop_by_depth_pa.map(|pa| pa.max(floor_pa));

    let (firm_limit, firm_status) = light.highest_for_load(input.load_limit_g);
    let firm_pa = firm_limit.pressure_pa();
    let (band_low_pa, band_low_end) = match stop_pa {
        None => (None, BandEnd::Stop),
        Some(pa) if pa > input.pressure_min_pa => (Some(pa), BandEnd::Stop),
        Some(_) => (Some(input.pressure_min_pa), BandEnd::PressureMin),
    };
    let (band_high_pa, band_high_end) = match firm_limit {
        Limit::NotKept => (None, BandEnd::Firm),
        Limit::At(pa) | Limit::JustTaut(pa) if pa < input.pressure_max_pa => (Some(pa), BandEnd::Firm),
        _ => (Some(input.pressure_max_pa), BandEnd::PressureMax),
    };
    let band_is_empty = match (band_low_pa, band_high_pa) {
        (Some(low_pa), Some(high_pa)) => low_pa > high_pa,
        _ => true,
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
    let horizon_s = needed_s.unwrap_or(0.0).max(HOLD_HORIZON_S);
    let (hold, hold_status) = hold_s(&hard, &slow, by_depth, limit_m, horizon_s);
    let seconds_missing = match (needed_s, hold) {
        (_, None) => Some(0.0),
        (Some(needed_s), Some(hold_s)) => Some((needed_s - hold_s).max(0.0)),
        (None, Some(_)) => None,
    };

    let wait_pa = match (stop_pa, needed_s, power_loss_to_stop_s) {
        (Some(stop_pa), _, None) => Some(stop_pa),
        (Some(_), Some(needed_s), Some(fall_s)) if fall_s >= needed_s => {
            Some(slow.after_loss(&chamber.at_pressure(input.operating_pa), fall_s - needed_s).0.pressure_pa)
        }
        _ => None,
    };
    let wait_pa = wait_pa.map(|pa| pa.max(input.pressure_min_pa).max(stop_pa.unwrap_or(0.0)));

    let searches = [stop_status, firm_status, hold_status];
    Ok(RidePressures {
        stop_pa,
        stop_rule,
        stop_by_depth_pa,
        just_taut_is_enough: matches!(by_depth, Limit::JustTaut(_)),
        firm_pa,
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
mod tests {
    use super::*;
    use crate::blower::{BlowerCurve, BlowersInput, CurvePoint};
    use crate::openings::OpeningsInput;
    use crate::supply::operating_point;

    struct Site {
        air: Air,
        openings: Openings,
        blowers: Blowers,
    }

    fn site(openings: OpeningsInput, blowers: BlowersInput) -> Site {
        let air = Air::new(200.0, 288.15, None).unwrap();
        let points = [(1.9, 0.0), (1.6, 700.0), (1.1, 1_400.0), (0.0, 2_000.0)]
            .map(|(flow_m3ps, pressure_pa)| CurvePoint { flow_m3ps, pressure_pa });
        let curve = BlowerCurve::new(&points).unwrap();
        Site {
            openings: Openings::new(openings, &air).unwrap(),
            blowers: Blowers::new(&curve, &blowers, &air).unwrap(),
            air,
        }
    }

    fn leaky() -> Site {
        site(
            OpeningsInput { vent_area_m2: 0.02, leak_coefficient: 0.002, ..OpeningsInput::default() },
            BlowersInput::default(),
        )
    }

    fn input(site: &Site) -> RideInput<'_> {
        RideInput {
            air: &site.air,
            openings: &site.openings,
            blowers: &site.blowers,
            operating_pa: operating_point(&site.blowers, &site.openings).pressure_pa,
            volume_m3: 180.0,
            stretch_per_pa: 3e-5,
            skin_kgpm2: 0.65,
            dish_radius_m: 1.2,
            skin_loss: 0.65,
            pressure_min_pa: 700.0,
            pressure_max_pa: 2_000.0,
            depth_limit: 0.8,
            load_limit_g: 10.0,
            stop_floor: 0.6,
            thickness_m: 1.6,
            slope_rad: 0.1,
            heaviest_kg: 110.0,
            lightest_kg: 70.0,
            hard_speed_mps: 8.0,
            commitment_s: 4.0,
            reaction_s: 1.0,
            supply_sense: true,
            interval_s: 20.0,
            options: Options::default(),
        }
    }

    #[test]
    fn the_stop_and_firm_pressures_keep_their_limits_and_a_little_less_or_more_does_not() {
        let site = leaky();
        let input = input(&site);
        let found = ride_pressures(&input).unwrap();
        let chamber = Chamber::new(&site.air, 180.0, input.operating_pa, 3e-5, 0.65).unwrap();
        let flows = Flows { openings: &site.openings, blowers: Some(&site.blowers), feed: Feed::Lost };
        let trial = |mass_kg| Trial {
            chamber: &chamber,
            flows,
            landing: input.landing(mass_kg).unwrap(),
            options: input.options,
        };
        let depth = |pa: f32| trial(110.0).land(chamber.at_pressure(pa), Feed::Lost, Until::Deepest).unwrap().depth_m;
        let stop_pa = found.stop_by_depth_pa.unwrap();
        assert!(depth(stop_pa) <= 0.8 * 1.6 && depth(0.998 * stop_pa) > 0.8 * 1.6, "{found:?}");
        let load =
            |pa: f32| trial(70.0).land(chamber.at_pressure(pa), Feed::Running, Until::Deepest).unwrap().felt_load_g;
        let firm_pa = found.firm_pa.unwrap();
        assert!(load(firm_pa) <= 10.0 && load(1.002 * firm_pa) > 10.0, "{found:?}");
        assert!(!found.band_is_empty && found.status == Status::Converged);
    }

    #[test]
    fn at_the_end_of_the_hold_the_hard_landing_is_at_its_limit() {
        let site = leaky();
        for (thickness_m, hard_speed_mps) in [(1.6, 8.0), (3.0, 8.0), (3.0, 6.0)] {
            let input = RideInput { thickness_m, hard_speed_mps, ..input(&site) };
            let found = ride_pressures(&input).unwrap();
            let chamber = Chamber::new(&site.air, 180.0, input.operating_pa, 3e-5, 0.65).unwrap();
            let flows = Flows { openings: &site.openings, blowers: Some(&site.blowers), feed: Feed::Lost };
            let slow = SlowGas { chamber: &chamber, flows };
            let hard =
                Trial { chamber: &chamber, flows, landing: input.landing(110.0).unwrap(), options: input.options };
            let hold_s = found.holds_for_s.unwrap();
            let margin = |seconds: f32| {
                let (state, _) = slow.after_loss(&chamber.at_pressure(input.operating_pa), seconds);
                hard.depth_margin(state, 0.8 * thickness_m)
            };
            assert!(margin(hold_s - 0.01) > 0.0 && margin(hold_s + 0.01) < 0.0, "{thickness_m}: {found:?}");
            let missing_s = found.seconds_missing.unwrap();
            assert!((missing_s - (5.1 - hold_s).max(0.0)).abs() < 1e-6);
        }
    }

    #[test]
    fn the_wait_pressure_is_one_commitment_above_the_stop_pressure() {
        let site = leaky();
        let input = RideInput { pressure_min_pa: 300.0, commitment_s: 0.3, reaction_s: 0.2, ..input(&site) };
        let found = ride_pressures(&input).unwrap();
        let chamber = Chamber::new(&site.air, 180.0, input.operating_pa, 3e-5, 0.65).unwrap();
        let flows = Flows { openings: &site.openings, blowers: Some(&site.blowers), feed: Feed::Lost };
        let slow = SlowGas { chamber: &chamber, flows };
        let fall_s = slow.fall_time_s(found.wait_pa.unwrap(), found.stop_pa.unwrap()).unwrap();
        assert!((fall_s - 0.6).abs() < 1e-3, "{fall_s} {found:?}");
        let long = ride_pressures(&RideInput { commitment_s: 300.0, ..input }).unwrap();
        assert_eq!(long.wait_pa, None);
        assert!(long.seconds_missing.unwrap() > 0.0);
    }

    #[test]
    fn a_tight_bag_holds() {
        let site = site(OpeningsInput::default(), BlowersInput::default());
        let found = ride_pressures(&RideInput { supply_sense: false, ..input(&site) }).unwrap();
        assert_eq!((found.holds_for_s, found.power_loss_to_stop_s, found.alarm_delay_s), (None, None, None));
        assert_eq!((found.seconds_missing, found.landings_without_supply), (Some(0.0), MAX_LANDINGS));
        assert_eq!(found.wait_pa, Some(found.stop_pa.unwrap().max(700.0)));
    }

    #[test]
    fn no_pressure_is_enough_on_a_thin_bag_and_none_soft_enough_for_a_tight_limit() {
        let site = leaky();
        let thin = ride_pressures(&RideInput { thickness_m: 0.2, ..input(&site) }).unwrap();
        assert_eq!((thin.stop_pa, thin.stop_rule, thin.holds_for_s), (None, StopRule::Depth, Some(0.0)));
        assert!(thin.band_is_empty && thin.wait_pa.is_none() && thin.landings_without_supply == 0);
        let tight = ride_pressures(&RideInput { load_limit_g: 1.5, ..input(&site) }).unwrap();
        assert_eq!((tight.firm_pa, tight.firm_limit), (None, Limit::NotKept));
        assert!(tight.band_is_empty && tight.band_high_end == BandEnd::Firm);
        let loose = ride_pressures(&RideInput { load_limit_g: 60.0, ..input(&site) }).unwrap();
        assert_eq!((loose.firm_pa, loose.firm_limit), (None, Limit::NotReached));
        assert_eq!(loose.band_high_pa, Some(2_000.0));
    }

    #[test]
    fn the_worst_end_is_no_better_than_the_site() {
        let site = leaky();
        let report = ride_report(&RideInput { thickness_m: 1.3, ..input(&site) }).unwrap();
        let worst = report.worst();
        for one in report.ends.iter().chain([&report.stated]) {
            assert!(one.stop_pa.is_none() == worst.stop_pa.is_none() || worst.stop_pa.is_none());
            if worst.stop_pa.is_some() {
                assert!(one.seconds_missing <= worst.seconds_missing);
            }
        }
    }

    #[test]
    fn values_out_of_order_are_refused() {
        let site = leaky();
        assert!(ride_pressures(&RideInput { lightest_kg: 120.0, ..input(&site) }).is_err());
        assert!(ride_pressures(&RideInput { pressure_min_pa: 2_000.0, ..input(&site) }).is_err());
        assert!(ride_pressures(&RideInput { hard_speed_mps: f32::NAN, ..input(&site) }).is_err());
        assert!(ride_pressures(&RideInput { interval_s: 0.0, ..input(&site) }).is_err());
    }
}
