//! The pressures that a box uses: room, stop, wait, the ride band, and when siren and permit change.
//!
//! They follow from three bags as numbers: the bag as stated, the *soft bag* (only 5 in 100 of the bags that fit what is
//! known ask for more stop pressure) and the *firm bag* (only 5 in 100 load the light landing more). A planner finds the
//! three, planner and box compute the same levels from them.

use crate::air::Air;
use crate::bag_gas::{Adiabat, Chamber, QUICK_EXPONENT};
use crate::blower::Blowers;
use crate::error::{InputError, Status, within};
use crate::flows::{Feed, Flows};
use crate::landing_limits::{Limit, Trial};
use crate::openings::Openings;
use crate::possible_bags::PossibleBag;
use crate::slow_gas::SlowGas;
use crate::touchdown::{Landing, LandingInput, Options, Touchdown, touch_down};
pub use crate::watch::box_pressures::{BoxPressures, LEAST_DIP_PA, RoomRule, SensorError, room_pa};
use crate::watch::box_pressures::{acting_wait_pa, highest_wait_pa};

/// Alarm delay with a sensed supply, s.
pub const SENSED_DELAY_S: f32 = 0.1;
/// Shortest alarm delay without one, s.
pub const UNSENSED_DELAY_S: f32 = 0.2;

/// The mean landing: the mean rider at the means of all inputs.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct MeanLanding {
    /// Mass that lands, kg.
    pub mass_kg: f32,
    /// Speed into the top, m/s.
    pub normal_speed_mps: f32,
    /// Thickness where it lands, m.
    pub thickness_m: f32,
}

/// What the levels follow from of a bag, besides its skin.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LevelsBag {
    /// Volume at the operating pressure, m³.
    pub volume_m3: f32,
    /// Top skin's weight, kg/m².
    pub skin_kgpm2: f32,
    /// Share of the force not given back.
    pub skin_loss: f32,
    /// Maker's range, lower end, Pa.
    pub pressure_min_pa: f32,
    /// Maker's range, upper end, Pa.
    pub pressure_max_pa: f32,
    /// Depth allowed, share of the thickness.
    pub depth_limit: f32,
    /// Felt load that bounds the firm pressure, g.
    pub load_stop_g: f32,
    /// Lowest stop pressure, share of `pressure_min_pa`.
    pub stop_floor: f32,
    /// Thickness at the thinnest place where landings fall, normal to the top, m.
    pub thickness_m: f32,
    /// Slope of the top, rad.
    pub slope_rad: f32,
}

/// What the levels follow from of those who land.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LevelsRiders {
    /// Heaviest mass that lands, with the bike where it lands too, kg: the hard landing's.
    pub heaviest_kg: f32,
    /// Lightest mass that lands, without the bike, kg: the light landing's.
    pub lightest_kg: f32,
    /// Normal speed of the hard and of the light landing, m/s.
    pub hard_speed_mps: f32,
    /// The mean landing; none where it does not come down on the bag.
    pub mean_landing: Option<MeanLanding>,
    /// From the last stop line, or the start, to touch-down, s; none where there is no touch-down.
    pub commitment_s: Option<f32>,
    /// Reaction of the rider, s.
    pub reaction_s: f32,
}

/// How a box senses.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sensing {
    /// Whether the box senses the blowers' supply.
    pub supply_sense: bool,
    /// The box's sensor.
    pub sensor: SensorError,
}

/// Everything that the levels follow from, besides the three bags.
#[derive(Clone, Copy, Debug)]
pub struct LevelsInput<'a> {
    /// Outside air.
    pub air: &'a Air,
    /// Vents, flaps, leak.
    pub openings: &'a Openings,
    /// The blowers.
    pub blowers: &'a Blowers,
    /// Operating pressure p_op, Pa.
    pub operating_pa: f32,
    /// The bag.
    pub bag: LevelsBag,
    /// Felt load from which a landing is uncomfortable, g; it bounds nothing.
    pub load_limit_g: f32,
    /// Who lands.
    pub riders: LevelsRiders,
    /// The box.
    pub sensing: Sensing,
    /// Accuracy of the touch-downs.
    pub options: Options,
}

/// The three bags that decide, as numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ThreeBags {
    /// The bag as stated.
    pub stated: PossibleBag,
    /// The possible bag at the 95 % place by stop pressure by depth.
    pub soft: PossibleBag,
    /// The possible bag at the 95 % place by the load of the light landing.
    pub firm: PossibleBag,
}

/// Which rule set the stop pressure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum StopRule {
    /// The depth of the hard landing in the soft bag.
    Depth,
    /// The floor under it.
    Floor,
    /// The highest that the box can tell from the operating pressure.
    Room,
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

/// The levels of a site.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Levels {
    /// Highest stop pressure that the box can tell from the operating pressure, Pa.
    pub room_pa: f32,
    /// What bounds it.
    pub room_rule: RoomRule,
    /// Stop pressure by depth of the bag as stated.
    pub stated_by_depth: Limit,
    /// Stop pressure by depth of the soft bag.
    pub soft_by_depth: Limit,
    /// `stop_floor` × `pressure_min`, Pa.
    pub floor_pa: f32,
    /// Stop pressure, Pa: the larger of the soft bag's by depth and the floor, at most the room.
    pub stop_pa: f32,
    /// Which rule set it.
    pub stop_rule: StopRule,
    /// The bag as stated, or the floor, asks for more than the room: then nothing is armed.
    pub stop_over_room: bool,
    /// Highest pressure at which the stated bag's light landing keeps `load_stop_g`.
    pub firm: Limit,
    /// Lower end of the ride band, Pa.
    pub band_low_pa: f32,
    /// What sets it.
    pub band_low_end: BandEnd,
    /// Upper end of the ride band, Pa; 0 where no pressure keeps the load.
    pub band_high_pa: f32,
    /// What sets it.
    pub band_high_end: BandEnd,
    /// There is no pressure to ride at.
    pub band_is_empty: bool,
    /// Below this no new rider should start, Pa; none where even the operating pressure is too near to the stop
    /// pressure, or the permit could not come back, or it is not known how long a rider needs.
    pub wait_pa: Option<f32>,
    /// From a power cut to the stop pressure, stated and soft bag, s; 0 if already below, none if never.
    pub power_loss_to_stop_s: [Option<f32>; 2],
    /// From the cut to the alarm, s; none where the pressure never falls half-way.
    pub alarm_delay_s: Option<f32>,
    /// Commitment + alarm delay + reaction, s; none where one of them is not known.
    pub needed_s: Option<f32>,
    /// Dip after the mean landing in the stated bag, at least 10 Pa.
    pub dip_pa: f32,
    /// When siren and permit change.
    pub pressures: BoxPressures,
    /// `OutOfSteps` where a search did not close.
    pub status: Status,
}

impl LevelsInput<'_> {
    /// Checks what the levels follow from.
    ///
    /// # Errors
    /// [`InputError`] for the first value that is out of range or order.
    pub fn check(&self) -> Result<(), InputError> {
        within("bag.pressure_min_pa", self.bag.pressure_min_pa, 1.0, 20_000.0)?;
        within("bag.pressure_max_pa", self.bag.pressure_max_pa, 1.0, 20_000.0)?;
        in_order("bag.pressure_min_pa", self.bag.pressure_min_pa, "bag.pressure_max_pa", self.bag.pressure_max_pa)?;
        within("bag.depth_limit", self.bag.depth_limit, 0.1, 1.0)?;
        within("bag.load_limit_g", self.load_limit_g, 1.0, 100.0)?;
        within("bag.load_stop_g", self.bag.load_stop_g, 1.0, 100.0)?;
        within("bag.stop_floor", self.bag.stop_floor, 0.0, 1.0)?;
        within("bag.thickness_m", self.bag.thickness_m, 0.05, 30.0)?;
        if let Some(commitment_s) = self.riders.commitment_s {
            within("commitment_s", commitment_s, 0.0, 600.0)?;
        }
        within("rider.reaction_s", self.riders.reaction_s, 0.0, 60.0)?;
        within("watch.sensor error_pa", self.sensing.sensor.error_pa, 0.0, 1_000.0)?;
        within("watch.sensor noise_pa", self.sensing.sensor.noise_pa, 0.0, 1_000.0)?;
        within("landing.mass_kg", self.riders.lightest_kg, 1.0, 5_000.0)?;
        if self.riders.lightest_kg > self.riders.heaviest_kg {
            return Err(InputError::Order {
                smaller: "rider.lightest_kg",
                smaller_got: self.riders.lightest_kg,
                larger: "rider.heaviest_kg",
                larger_got: self.riders.heaviest_kg,
            });
        }
        Ok(())
    }

    /// A possible bag's chamber in this air.
    ///
    /// # Errors
    /// As [`Chamber::new`].
    pub fn chamber(&self, bag: &PossibleBag) -> Result<Chamber, InputError> {
        Chamber::new(self.air, self.bag.volume_m3, self.operating_pa, bag.stretch_per_pa, self.bag.skin_kgpm2)
    }

    /// What enters and leaves.
    #[must_use]
    pub const fn flows(&self, feed: Feed) -> Flows<'_> {
        Flows { openings: self.openings, blowers: Some(self.blowers), feed }
    }

    /// A landing of a mass at a speed in a possible bag, ground left out.
    ///
    /// # Errors
    /// As [`Landing::new`].
    pub fn landing(&self, bag: &PossibleBag, mass_kg: f32, normal_speed_mps: f32) -> Result<Landing, InputError> {
        Landing::new(LandingInput {
            mass_kg,
            normal_speed_mps,
            slope_rad: self.bag.slope_rad,
            skin_loss: self.bag.skin_loss,
            area: bag.area,
            thickness_m: None,
        })
    }

    /// The hard landing in a chamber of `bag`.
    ///
    /// # Errors
    /// As [`Landing::new`].
    pub fn hard<'a>(&'a self, bag: &PossibleBag, chamber: &'a Chamber) -> Result<Trial<'a>, InputError> {
        let landing = self.landing(bag, self.riders.heaviest_kg, self.riders.hard_speed_mps)?;
        Ok(Trial { chamber, flows: self.flows(Feed::Lost), landing, options: self.options })
    }

    /// The light landing in a chamber of `bag`.
    ///
    /// # Errors
    /// As [`Landing::new`].
    pub fn light<'a>(&'a self, bag: &PossibleBag, chamber: &'a Chamber) -> Result<Trial<'a>, InputError> {
        let landing = self.landing(bag, self.riders.lightest_kg, self.riders.hard_speed_mps)?;
        Ok(Trial { chamber, flows: self.flows(Feed::Running), landing, options: self.options })
    }

    /// Depth that the hard landing may reach, m.
    #[must_use]
    pub fn depth_limit_m(&self) -> f32 {
        self.bag.depth_limit * self.bag.thickness_m
    }

    /// The mean landing in the bag as stated, blowers running, followed back; none where there is none, or the bag
    /// gives no answer.
    #[must_use]
    pub fn mean_touchdown(&self, stated: &PossibleBag) -> Option<Touchdown> {
        let mean = self.riders.mean_landing?;
        let chamber = self.chamber(stated).ok()?;
        let gas = Adiabat::new(&chamber, chamber.at_pressure(self.operating_pa), QUICK_EXPONENT).ok()?;
        let landing = self.landing(stated, mean.mass_kg, mean.normal_speed_mps).ok()?;
        let landing = landing.over_ground(mean.thickness_m).ok()?;
        Some(touch_down(&gas, &self.flows(Feed::Running), &landing, &self.options, |_| {}))
    }
}

impl Levels {
    /// Commitment + alarm delay + reaction, s; where it is not known when an alarm would come, that of the shortest
    /// delay without a supply sense, and without a commitment no time for it.
    #[must_use]
    pub fn needed_or_least_s(&self, input: &LevelsInput<'_>) -> f32 {
        self.needed_s.unwrap_or(input.riders.commitment_s.unwrap_or(0.0) + UNSENSED_DELAY_S + input.riders.reaction_s)
    }
}

fn in_order(smaller: &'static str, smaller_got: f32, larger: &'static str, larger_got: f32) -> Result<(), InputError> {
    if smaller_got < larger_got { Ok(()) } else { Err(InputError::Order { smaller, smaller_got, larger, larger_got }) }
}

/// The levels of a site from its three bags.
///
/// - Stop by depth of a bag: lowest starting pressure from which the hard landing, supply lost, keeps the depth limit.
/// - Stop: min(max(the soft bag's by depth, `stop_floor` × `pressure_min`), room).
/// - Firm: highest pressure at which the stated bag's light landing, blowers running, keeps `load_stop_g`.
/// - Wait: the largest of `pressure_min`, stop, and the pressure from which, with the power lost, the stop pressure is
///   `needed_s` away (the larger of stated and soft bag's); none where either reaches it sooner from the operating
///   pressure, or where it is over 0.98 p_op − e − n.
///
/// # Errors
/// [`InputError`] for what is out of range.
pub fn levels(input: &LevelsInput<'_>, bags: &ThreeBags) -> Result<Levels, InputError> {
    input.check()?;
    levels_with_mean(input, bags, input.mean_touchdown(&bags.stated).as_ref())
}

/// The same with what [`LevelsInput::mean_touchdown`] gave for the stated bag, for one who needs that landing besides.
///
/// # Errors
/// As [`levels`].
pub fn levels_with_mean(
    input: &LevelsInput<'_>,
    bags: &ThreeBags,
    mean: Option<&Touchdown>,
) -> Result<Levels, InputError> {
    input.check()?;
    let (stated_chamber, soft_chamber) = (input.chamber(&bags.stated)?, input.chamber(&bags.soft)?);
    let limit_m = input.depth_limit_m();
    let (stated_by_depth, stated_status) = input.hard(&bags.stated, &stated_chamber)?.lowest_for_depth(limit_m);
    let (soft_by_depth, soft_status) = input.hard(&bags.soft, &soft_chamber)?.lowest_for_depth(limit_m);
    let (firm, firm_status) = input.light(&bags.stated, &stated_chamber)?.highest_for_load(input.bag.load_stop_g);
    let dip_pa = dip_pa(input, mean, &stated_chamber);
    let unclosed = [stated_status, soft_status, firm_status].contains(&Status::OutOfSteps);
    let status = if unclosed { Status::OutOfSteps } else { Status::Converged };
    Ok(with_found(input, [&stated_chamber, &soft_chamber], [stated_by_depth, soft_by_depth], firm, dip_pa, status))
}

/// Dip after the mean landing: p_op less the slow pressure of what it leaves, at least 10 Pa; 10 Pa where there is no
/// mean landing or it meets the ground.
fn dip_pa(input: &LevelsInput<'_>, mean: Option<&Touchdown>, chamber: &Chamber) -> f32 {
    match mean {
        Some(done) if done.ground.is_none() => {
            let after = chamber.at_content(chamber.operating_content_m3() - done.gas_lost_in_all_m3);
            (input.operating_pa - after.pressure_pa).max(LEAST_DIP_PA)
        }
        _ => LEAST_DIP_PA,
    }
}

/// The levels once the searches have been made.
fn with_found(
    input: &LevelsInput<'_>,
    [stated_chamber, soft_chamber]: [&Chamber; 2],
    [stated_by_depth, soft_by_depth]: [Limit; 2],
    firm: Limit,
    dip_pa: f32,
    status: Status,
) -> Levels {
    let operating_pa = input.operating_pa;
    let (room_pa, room_rule) = room_pa(operating_pa, dip_pa, &input.sensing.sensor);
    let floor_pa = input.bag.stop_floor * input.bag.pressure_min_pa;
    let asked = |by_depth: Limit| by_depth.pressure_pa().unwrap_or(f32::INFINITY).max(floor_pa);
    let stop_pa = asked(soft_by_depth).min(room_pa);
    let stop_rule = if asked(soft_by_depth) > room_pa {
        StopRule::Room
    } else if asked(soft_by_depth) > floor_pa {
        StopRule::Depth
    } else {
        StopRule::Floor
    };

    let (band_low_pa, band_low_end) = if stop_pa > input.bag.pressure_min_pa {
        (stop_pa, BandEnd::Stop)
    } else {
        (input.bag.pressure_min_pa, BandEnd::PressureMin)
    };
    let (band_high_pa, band_high_end) = match firm {
        Limit::NotKept => (0.0, BandEnd::Firm),
        Limit::At(pa) | Limit::JustTaut(pa) if pa < input.bag.pressure_max_pa => (pa, BandEnd::Firm),
        _ => (input.bag.pressure_max_pa, BandEnd::PressureMax),
    };

    let [stated, soft] =
        [stated_chamber, soft_chamber].map(|chamber| SlowGas { chamber, flows: input.flows(Feed::Lost) });
    let power_loss_to_stop_s = [stated.fall_time_s(operating_pa, stop_pa), soft.fall_time_s(operating_pa, stop_pa)];
    let alarm_delay_s = if input.sensing.supply_sense {
        Some(SENSED_DELAY_S)
    } else {
        let half_way_pa = 0.5 * (operating_pa + stop_pa);
        stated.fall_time_s(operating_pa, half_way_pa).map(|seconds| seconds.max(UNSENSED_DELAY_S))
    };
    let needed_s = match (input.riders.commitment_s, alarm_delay_s) {
        (Some(commitment_s), Some(delay_s)) => Some(commitment_s + delay_s + input.riders.reaction_s),
        _ => None,
    };
    // The pressure from which the stop pressure is `needed` away; none where it is reached sooner.
    let away = |slow: &SlowGas<'_>, fall_s: Option<f32>| -> Option<f32> {
        match (needed_s?, fall_s) {
            (_, None) => Some(stop_pa),
            (needed_s, Some(fall_s)) if fall_s >= needed_s => {
                let start = slow.chamber.at_pressure(operating_pa);
                Some(slow.after_loss(&start, fall_s - needed_s).0.pressure_pa)
            }
            _ => None,
        }
    };
    let highest_wait_pa = highest_wait_pa(operating_pa, &input.sensing.sensor);
    let wait_pa = match (away(&stated, power_loss_to_stop_s[0]), away(&soft, power_loss_to_stop_s[1])) {
        (Some(a), Some(b)) => {
            Some(a.max(b).max(stop_pa).max(input.bag.pressure_min_pa)).filter(|&wait_pa| wait_pa <= highest_wait_pa)
        }
        _ => None,
    };
    let pressure_min_pa = input.bag.pressure_min_pa;
    let acting_wait_pa = acting_wait_pa(
        wait_pa,
        stop_pa,
        operating_pa,
        pressure_min_pa,
        input.sensing.supply_sense,
        &input.sensing.sensor,
    );
    let pressures = BoxPressures::new(stop_pa, acting_wait_pa, operating_pa, input.sensing.sensor.error_pa);
    Levels {
        room_pa,
        room_rule,
        stated_by_depth,
        soft_by_depth,
        floor_pa,
        stop_pa,
        stop_rule,
        stop_over_room: asked(stated_by_depth) > room_pa,
        firm,
        band_low_pa,
        band_low_end,
        band_high_pa,
        band_high_end,
        band_is_empty: band_low_pa > band_high_pa,
        wait_pa,
        power_loss_to_stop_s,
        alarm_delay_s,
        needed_s,
        dip_pa,
        pressures,
        status,
    }
}

#[cfg(test)]
mod tests;
