//! A watch's thresholds from a compact form of the site, for any air: what the planner sends and a box can work out
//! again on the day.
//!
//! Planner and box call the same functions with the same numbers, so they come to the same bits.

use crate::air::Air;
use crate::bag_gas::{Adiabat, QUICK_EXPONENT};
use crate::blower::{BlowerCurve, Blowers, BlowersInput, CurvePoint, MAX_CURVE_POINTS, MIN_CURVE_POINTS};
use crate::error::{InputError, Status, within};
use crate::levels::{Levels, LevelsBag, LevelsInput, LevelsRiders, Sensing, ThreeBags, levels_with_mean};
use crate::openings::{Openings, OpeningsInput};
use crate::possible_bags::{BagFactors, PossibleBag, StatedArea};
use crate::ride_limits::holds_for_s;
use crate::slow_gas::SlowGas;
use crate::supply::{Feed, operating_point};
use crate::touchdown::{Landing, Options, Touchdown, Until, touch_down};
use crate::watch::Thresholds;

/// Layout number of [`WatchedSite`]; one with another number is refused.
pub const WATCHED_SITE_VERSION: u16 = 3;
/// Outside pressure that a box believes, Pa (*assumed*: sea level in a high to 4,000 m).
pub const AIR_PRESSURE_PA: (f32, f32) = (60_000.0, 110_000.0);
/// Outside temperature that a box believes, K: −30 to 60 °C (*assumed*; [`Air`] takes no more than 330 K).
pub const AIR_TEMPERATURE_K: (f32, f32) = (243.15, 333.15);
/// Shortest recovery time that a watch uses (see [`WatchSettings`]).
const LEAST_RECOVERY_S: f32 = 3.0;
/// Share of the softest landing's rise from which a bump counts as a landing (*assumed*).
const SPIKE_SHARE: f32 = 0.5;

/// What the thresholds of a bag follow from, besides the air: SI units throughout.
///
/// The bags come apart, as [`WatchedBags`], and so does the blowers' curve, as [`FanCurve`], so that each fits into one
/// message.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WatchedSite {
    /// Layout number, [`WATCHED_SITE_VERSION`].
    pub version: u16,
    /// Outside pressure that was planned with, Pa.
    pub air_pressure_pa: f32,
    /// Outside temperature that was planned with, K.
    pub air_temperature_k: f32,
    /// Vents, flaps and leak.
    pub openings: OpeningsInput,
    /// The blowers, besides their curve.
    pub blowers: BlowersInput,
    /// The bag, besides its skin.
    pub bag: LevelsBag,
    /// Who lands.
    pub riders: LevelsRiders,
    /// Normal speed of the softest landing that must still be counted, m/s.
    pub soft_speed_mps: f32,
    /// The box.
    pub sensing: Sensing,
}

/// The three bags that decide: the stated one, and what soft and firm bag are over it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WatchedBags {
    /// Force area as stated.
    pub area: StatedArea,
    /// Skin stretch as stated, 1/Pa.
    pub stretch_per_pa: f32,
    /// The soft bag.
    pub soft: BagFactors,
    /// The firm bag.
    pub firm: BagFactors,
}

impl WatchedBags {
    /// Whether there are such bags, looked at one after the other: it takes less memory than [`WatchedBags::three`].
    ///
    /// # Errors
    /// As there.
    pub fn check(&self) -> Result<(), InputError> {
        [&BagFactors::STATED, &self.soft, &self.firm]
            .into_iter()
            .try_for_each(|factors| factors.bag(&self.area, self.stretch_per_pa).map(|_| ()))
    }

    /// The bags as numbers.
    ///
    /// # Errors
    /// [`InputError`] for what is out of range.
    pub fn three(&self) -> Result<ThreeBags, InputError> {
        let of = |factors: &BagFactors| factors.bag(&self.area, self.stretch_per_pa);
        Ok(ThreeBags { stated: of(&BagFactors::STATED)?, soft: of(&self.soft)?, firm: of(&self.firm)? })
    }
}

/// What a box needs to compute its thresholds in any air.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WatchedForm {
    /// All but the bags and the curve.
    pub site: WatchedSite,
    /// The three bags.
    pub bags: WatchedBags,
    /// One blower's curve.
    pub curve: FanCurve,
}

/// A blower's curve as its maker states it: flow against pressure in standard air.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FanCurve {
    /// How many points.
    pub count: u8,
    /// Flow, m³/s; 0 behind the last point.
    pub flow_m3ps: [f32; MAX_CURVE_POINTS],
    /// Pressure, Pa, rising; 0 behind the last point.
    pub pressure_pa: [f32; MAX_CURVE_POINTS],
}

impl FanCurve {
    /// The points of a curve, as they are; [`FanCurve::curve`] checks them.
    ///
    /// # Errors
    /// [`InputError::Count`] for more than [`MAX_CURVE_POINTS`].
    pub fn new(points: &[CurvePoint]) -> Result<Self, InputError> {
        let count = u8::try_from(points.len()).ok().filter(|count| usize::from(*count) <= MAX_CURVE_POINTS);
        let Some(count) = count else {
            return Err(InputError::Count {
                quantity: "blower.curve",
                got: points.len(),
                low: MIN_CURVE_POINTS,
                high: MAX_CURVE_POINTS,
            });
        };
        let mut curve = Self { count, flow_m3ps: [0.0; MAX_CURVE_POINTS], pressure_pa: [0.0; MAX_CURVE_POINTS] };
        for ((flow, pressure), point) in curve.flow_m3ps.iter_mut().zip(&mut curve.pressure_pa).zip(points) {
            (*flow, *pressure) = (point.flow_m3ps, point.pressure_pa);
        }
        Ok(curve)
    }

    /// The curve, ready to compute with.
    ///
    /// # Errors
    /// As [`BlowerCurve::new`].
    pub fn curve(&self) -> Result<BlowerCurve, InputError> {
        let mut points = [CurvePoint { flow_m3ps: 0.0, pressure_pa: 0.0 }; MAX_CURVE_POINTS];
        for (point, (flow, pressure)) in points.iter_mut().zip(self.flow_m3ps.iter().zip(&self.pressure_pa)) {
            *point = CurvePoint { flow_m3ps: *flow, pressure_pa: *pressure };
        }
        BlowerCurve::new(points.get(..usize::from(self.count)).unwrap_or(&[]))
    }
}

/// Why there are no thresholds.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum NoThresholds {
    /// A value is out of range.
    Input(InputError),
    /// A search did not close, or a landing did not end.
    NotConverged,
    /// The bag as stated, or the floor, asks for a stop pressure that the box cannot tell from the resting pressure.
    NoStop,
    /// Even the operating pressure is too near to the stop pressure, and the bag does not hold long enough.
    NoWait,
    /// The bag rests outside the pressures to ride between, or there are none.
    NoHigh,
    /// The blowers never bring the bag back after the mean landing.
    NeverBack,
}

impl From<InputError> for NoThresholds {
    fn from(error: InputError) -> Self {
        Self::Input(error)
    }
}

/// Outside air as a box, or a person on the day, may state it.
///
/// # Errors
/// [`InputError::OutOfRange`] outside [`AIR_PRESSURE_PA`], [`AIR_TEMPERATURE_K`] and what [`Air::new`] takes.
pub fn todays_air(pressure_pa: f32, temperature_k: f32) -> Result<Air, InputError> {
    let pressure_pa = within("air.pressure_pa", pressure_pa, AIR_PRESSURE_PA.0, AIR_PRESSURE_PA.1)?;
    let temperature_k = within("air.temperature_k", temperature_k, AIR_TEMPERATURE_K.0, AIR_TEMPERATURE_K.1)?;
    Air::new(0.0, temperature_k, Some(pressure_pa))
}

impl WatchedSite {
    /// The air that was planned with.
    ///
    /// # Errors
    /// As [`Air::new`].
    pub fn planned_air(&self) -> Result<Air, InputError> {
        Air::new(0.0, self.air_temperature_k, Some(self.air_pressure_pa))
    }

    /// What the levels follow from, in an air.
    #[must_use]
    pub fn levels_input<'a>(
        &self,
        air: &'a Air,
        openings: &'a Openings,
        blowers: &'a Blowers,
        operating_pa: f32,
    ) -> LevelsInput<'a> {
        LevelsInput {
            air,
            openings,
            blowers,
            operating_pa,
            bag: self.bag,
            load_limit_g: self.bag.load_stop_g,
            riders: self.riders,
            sensing: self.sensing,
            options: Options::default(),
        }
    }
}

/// The thresholds of a site in an air.
///
/// Levels are those of [`crate::levels::levels`] with the stated, soft and firm bag. Peak and rise of a landing are the highest and the
/// smallest in the three; dip and recovery are those of the mean landing in the stated one. Some 60 touch-downs: most of
/// a second on a small processor.
///
/// # Errors
/// [`NoThresholds`], with the first reason met.
pub fn thresholds(form: &WatchedForm, air: &Air) -> Result<Thresholds, NoThresholds> {
    let WatchedForm { site, bags, curve } = form;
    if site.version != WATCHED_SITE_VERSION {
        return Err(NoThresholds::Input(InputError::Inconsistent {
            quantity: "watched_site.version",
            why: "another layout than this program's",
            off_by: f32::from(site.version) - f32::from(WATCHED_SITE_VERSION),
        }));
    }
    let openings = Openings::new(site.openings, air)?;
    let blowers = Blowers::new(&curve.curve()?, &site.blowers, air)?;
    let point = operating_point(&blowers, &openings);
    if point.status != Status::Converged {
        return Err(NoThresholds::NotConverged);
    }
    let input = site.levels_input(air, &openings, &blowers, point.pressure_pa);
    let three = bags.three()?;
    let mean = input.mean_touchdown(&three.stated);
    let found = levels_with_mean(&input, &three, mean.as_ref())?;
    if found.status != Status::Converged {
        return Err(NoThresholds::NotConverged);
    }
    can_be_armed(&input, &three.stated, &found)?;
    let mut all = Thresholds {
        operating_pa: input.operating_pa,
        stop_pa: found.stop_pa,
        wait_pa: found.pressures.acting_wait_pa,
        high_pa: found.band_high_pa,
        needed_s: found.needed_or_least_s(&input),
        recovery_s: recovery_s(&input, &three.stated, mean.as_ref())?,
        landing_dip_pa: found.dip_pa,
        landing_spike_pa: f32::MAX,
        landing_peak_pa: 0.0,
    };
    for bag in [&three.stated, &three.soft, &three.firm] {
        let hard = land(&input, bag, site.riders.heaviest_kg, site.riders.hard_speed_mps)?;
        let soft = land(&input, bag, site.riders.lightest_kg, site.soft_speed_mps)?;
        all.landing_peak_pa = all.landing_peak_pa.max(hard.peak_pressure_pa);
        all.landing_spike_pa = all.landing_spike_pa.min(SPIKE_SHARE * (soft.peak_pressure_pa - input.operating_pa));
    }
    Ok(all)
}

/// The conditions under which nothing is armed, besides chances, which a box does not compute.
fn can_be_armed(input: &LevelsInput<'_>, stated: &PossibleBag, found: &Levels) -> Result<(), NoThresholds> {
    if found.stop_over_room {
        return Err(NoThresholds::NoStop);
    }
    let in_band = found.band_low_pa <= input.operating_pa && input.operating_pa <= found.band_high_pa;
    if found.band_is_empty || !in_band {
        return Err(NoThresholds::NoHigh);
    }
    if found.wait_pa.is_none() {
        let chamber = input.chamber(stated)?;
        let needed_s = found.needed_or_least_s(input);
        let hold_s = holds_for_s(input, stated, &chamber, found.stated_by_depth, needed_s)?;
        if hold_s.is_some_and(|hold_s| hold_s < needed_s) {
            return Err(NoThresholds::NoWait);
        }
    }
    Ok(())
}

/// Recovery after the mean landing, at least 3 s; 3 s where there is none or it meets the ground.
fn recovery_s(input: &LevelsInput<'_>, stated: &PossibleBag, mean: Option<&Touchdown>) -> Result<f32, NoThresholds> {
    let Some(done) = mean.filter(|done| done.ground.is_none()) else {
        return Ok(LEAST_RECOVERY_S);
    };
    let chamber = input.chamber(stated)?;
    let slow = SlowGas { chamber: &chamber, flows: input.flows(Feed::Running) };
    let seconds = slow.recovery_s(done.gas_lost_in_all_m3).ok_or(NoThresholds::NeverBack)?;
    Ok(seconds.max(LEAST_RECOVERY_S))
}

/// A landing at rest pressure, blowers running, to its deepest point.
fn land(
    input: &LevelsInput<'_>,
    bag: &PossibleBag,
    mass_kg: f32,
    normal_speed_mps: f32,
) -> Result<Touchdown, NoThresholds> {
    let chamber = input.chamber(bag)?;
    let gas = Adiabat::new(&chamber, chamber.at_pressure(input.operating_pa), QUICK_EXPONENT)?;
    let landing: Landing = input.landing(bag, mass_kg, normal_speed_mps)?;
    let options = Options { until: Until::Deepest, ..input.options };
    let done = touch_down(&gas, &input.flows(Feed::Running), &landing, &options, |_| {});
    if done.status == Status::OutOfSteps { Err(NoThresholds::NotConverged) } else { Ok(done) }
}

#[cfg(test)]
mod tests;
