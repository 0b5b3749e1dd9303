//! A watch's thresholds from a compact form of the site, for any air: what the planner sends and a box can work out
//! again on the day.
//!
//! Planner and box call the same functions with the same numbers, so they come to the same bits.
//!
//! # What holds when planned and today's thresholds differ
//!
//! - A *limit* holds in the stricter of its two forms: stop and wait pressure in the higher, the upper end in the lower,
//!   the time that the bag must hold in the longer. A wrong barometer can make a box too careful, never too lax here.
//! - What *describes the bag* is today's: resting pressure, the middle between it and the stop pressure, and how a
//!   landing looks. With yesterday's, a bag that stands lower in thin air would never be believed to be at rest.
//! - What then does not stand in the order that [`WatchSettings::validate`] asks for leaves no pressure to ride at, nor
//!   does air in which there are no thresholds: the planned ones stay, and the permit is withheld
//!   ([`Watch::withhold`](crate::watch::Watch::withhold)). What could not be computed leaves the planned ones as they
//!   are.

use crate::air::Air;
use crate::bag_gas::{Adiabat, Chamber, QUICK_EXPONENT};
use crate::blower::{BlowerCurve, Blowers, BlowersInput, CurvePoint};
use crate::displacement::Displacement;
use crate::error::{InputError, Status, within};
use crate::openings::{Discharge, Openings, OpeningsInput};
use crate::ride_pressures::{DISH_VARIATION_M, RideInput, RideLevels, ride_levels};
use crate::slow_gas::SlowGas;
use crate::supply::{Feed, Flows, operating_point};
use crate::touchdown::{Landing, Options, Touchdown, touch_down};
use crate::watch::WatchSettings;

/// Layout number of [`WatchedSite`]; one with another number is refused.
pub const WATCHED_SITE_VERSION: u16 = 1;
/// Most points of a blower's curve.
pub const CURVE_POINTS: usize = 16;
/// Outside pressure that a box believes, Pa (*assumed*: sea level in a high to 4,000 m).
pub const AIR_PRESSURE_PA: (f32, f32) = (60_000.0, 110_000.0);
/// Outside temperature that a box believes, K: −30 to 60 °C (*assumed*; [`Air`] takes no more than 330 K).
pub const AIR_TEMPERATURE_K: (f32, f32) = (243.15, 333.15);
/// Shortest recovery time and smallest dip that a watch goes by (see [`WatchSettings`]).
const LEAST_RECOVERY_S: f32 = 3.0;
const LEAST_DIP_PA: f32 = 10.0;
/// Share of the softest landing's rise from which a bump counts as a landing (*assumed*).
const SPIKE_SHARE: f32 = 0.5;

/// What the thresholds of a bag follow from, besides the air: SI units throughout.
///
/// The blowers' curve comes apart, as [`FanCurve`], so that each fits into one message.
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

    /// Vents that are always open, m².
    pub vent_area_m2: f32,
    /// C_d of vents, flaps and backflow.
    pub vent_coefficient: f32,
    /// Relief flaps when fully open, m².
    pub relief_area_m2: f32,
    /// Pressure at which the flaps begin to open, Pa.
    pub relief_opens_pa: f32,
    /// Pressure at which they are fully open, Pa.
    pub relief_full_pa: f32,
    /// Leak, m³/s at 1 Pa to the power of the exponent.
    pub leak_coefficient: f32,
    /// Leak exponent.
    pub leak_exponent: f32,

    /// Equal blowers in parallel.
    pub blowers: u8,
    /// Share of full speed.
    pub speed: f32,
    /// Loss coefficient of each blower's duct.
    pub duct_loss: f32,
    /// Duct diameter, m.
    pub duct_diameter_m: f32,
    /// Area through which gas flows back through each standing blower, m²; none with a closing flap.
    pub backflow_area_m2: Option<f32>,

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
    /// Stretch and dish radius were measured: then their ends do not count.
    pub fitted: bool,
    /// Maker's range, Pa.
    pub pressure_min_pa: f32,
    /// Its upper end, Pa.
    pub pressure_max_pa: f32,
    /// Depth allowed, share of the thickness.
    pub depth_limit: f32,
    /// Felt load allowed, g.
    pub load_limit_g: f32,
    /// Lowest stop pressure, share of `pressure_min_pa`.
    pub stop_floor: f32,
    /// Thickness at the thinnest place where landings fall, m.
    pub thickness_m: f32,
    /// Slope of the top, rad.
    pub slope_rad: f32,

    /// Heaviest mass that lands, kg.
    pub heaviest_kg: f32,
    /// Lightest mass that lands, kg.
    pub lightest_kg: f32,
    /// Normal speed of the hard landing, m/s.
    pub hard_speed_mps: f32,
    /// Normal speed of the softest landing that must still be counted, m/s.
    pub soft_speed_mps: f32,
    /// From the last stop line, or the start, to touch-down, s.
    pub commitment_s: f32,
    /// Reaction of the rider, s.
    pub reaction_s: f32,
    /// Time between two riders, s.
    pub interval_s: f32,
    /// The box senses the blowers' supply.
    pub supply_sense: bool,
}

/// A blower's curve as its maker states it: flow against pressure in standard air.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FanCurve {
    /// How many points.
    pub count: u8,
    /// Flow, m³/s; 0 behind the last point.
    pub flow_m3ps: [f32; CURVE_POINTS],
    /// Pressure, Pa, rising; 0 behind the last point.
    pub pressure_pa: [f32; CURVE_POINTS],
}

impl FanCurve {
    /// The points of a curve, as they are; [`FanCurve::curve`] checks them.
    ///
    /// # Errors
    /// [`InputError::Count`] for more than [`CURVE_POINTS`].
    pub fn new(points: &[CurvePoint]) -> Result<Self, InputError> {
        let count = u8::try_from(points.len()).ok().filter(|count| usize::from(*count) <= CURVE_POINTS);
        let Some(count) = count else {
            return Err(InputError::Count { quantity: "blower.curve", got: points.len(), low: 3, high: CURVE_POINTS });
        };
        let mut curve = Self { count, flow_m3ps: [0.0; CURVE_POINTS], pressure_pa: [0.0; CURVE_POINTS] };
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
        let mut points = [CurvePoint { flow_m3ps: 0.0, pressure_pa: 0.0 }; CURVE_POINTS];
        for (point, (flow, pressure)) in points.iter_mut().zip(self.flow_m3ps.iter().zip(&self.pressure_pa)) {
            *point = CurvePoint { flow_m3ps: *flow, pressure_pa: *pressure };
        }
        BlowerCurve::new(points.get(..usize::from(self.count)).unwrap_or(&[]))
    }
}

/// A watch's thresholds for one air.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Thresholds {
    /// Bag at rest with the blowers running, Pa.
    pub operating_pa: f32,
    /// Stop pressure, Pa.
    pub stop_pa: f32,
    /// Wait pressure, Pa.
    pub wait_pa: f32,
    /// Upper end: firm pressure or the maker's highest, Pa.
    pub high_pa: f32,
    /// Commitment, alarm delay and reaction, s.
    pub needed_s: f32,
    /// Recovery after the hard landing, at least 3 s.
    pub recovery_s: f32,
    /// Dip after the hard landing, at least 10 Pa.
    pub landing_dip_pa: f32,
    /// Rise that counts as a landing, Pa.
    pub landing_spike_pa: f32,
    /// Highest pressure in the hard landing, Pa.
    pub landing_peak_pa: f32,
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
    /// No pressure up to 20 kPa stops the hard landing in time.
    NoStop,
    /// Even the operating pressure is too near to the stop pressure.
    NoWait,
    /// No pressure keeps the load limit.
    NoHigh,
    /// Without a sensed supply no alarm would come.
    NoAlarm,
    /// The blowers never bring the bag back after the hard landing.
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

    fn openings(&self, air: &Air) -> Result<Openings, InputError> {
        let input = OpeningsInput {
            vent_area_m2: self.vent_area_m2,
            relief_area_m2: self.relief_area_m2,
            relief_opens_pa: self.relief_opens_pa,
            relief_full_pa: self.relief_full_pa,
            leak_coefficient: self.leak_coefficient,
            leak_exponent: self.leak_exponent,
            discharge: Discharge::LowPressure { coefficient: self.vent_coefficient },
        };
        Openings::new(input, air)
    }

    fn blowers(&self, curve: &FanCurve, air: &Air) -> Result<Blowers, InputError> {
        let input = BlowersInput {
            count: self.blowers,
            speed: self.speed,
            duct_loss: self.duct_loss,
            duct_diameter_m: self.duct_diameter_m,
            closing_flap: self.backflow_area_m2.is_none(),
            backflow_area_m2: self.backflow_area_m2,
        };
        Blowers::new(&curve.curve()?, &input, air)
    }

    /// Stretch and dish radius that act: the stated ones, and their ends unless both were measured.
    fn acting(&self) -> impl Iterator<Item = (f32, f32)> {
        let (stretch, dish) = (self.stretch_per_pa, self.dish_radius_m);
        let (small, large) = (dish - DISH_VARIATION_M, dish + DISH_VARIATION_M);
        let all = [
            (stretch, dish),
            (0.5 * stretch, dish),
            (2.0 * stretch, dish),
            (stretch, small),
            (stretch, large),
            (0.5 * stretch, small),
            (2.0 * stretch, small),
            (0.5 * stretch, large),
            (2.0 * stretch, large),
        ];
        let count = if self.fitted { 1 } else { all.len() };
        all.into_iter().take(count)
    }
}

/// A site's parts in one air.
struct Bag<'a> {
    site: &'a WatchedSite,
    air: &'a Air,
    openings: &'a Openings,
    blowers: &'a Blowers,
    operating_pa: f32,
}

/// The expected landings at one stretch and dish radius.
struct Expected {
    peak_pa: f32,
    soft_rise_pa: f32,
    dip_pa: f32,
    recovery_s: f32,
}

impl Bag<'_> {
    fn levels(&self, stretch_per_pa: f32, dish_radius_m: f32) -> Result<RideLevels, InputError> {
        let site = self.site;
        ride_levels(&RideInput {
            air: self.air,
            openings: self.openings,
            blowers: self.blowers,
            operating_pa: self.operating_pa,
            volume_m3: site.volume_m3,
            stretch_per_pa,
            skin_kgpm2: site.skin_kgpm2,
            dish_radius_m,
            skin_loss: site.skin_loss,
            pressure_min_pa: site.pressure_min_pa,
            pressure_max_pa: site.pressure_max_pa,
            depth_limit: site.depth_limit,
            load_limit_g: site.load_limit_g,
            stop_floor: site.stop_floor,
            thickness_m: site.thickness_m,
            slope_rad: site.slope_rad,
            heaviest_kg: site.heaviest_kg,
            lightest_kg: site.lightest_kg,
            hard_speed_mps: site.hard_speed_mps,
            commitment_s: site.commitment_s,
            reaction_s: site.reaction_s,
            supply_sense: site.supply_sense,
            interval_s: site.interval_s,
            options: Options::default(),
        })
    }

    fn expected(&self, stretch_per_pa: f32, dish_radius_m: f32) -> Result<Expected, NoThresholds> {
        let site = self.site;
        let chamber = Chamber::new(self.air, site.volume_m3, self.operating_pa, stretch_per_pa, site.skin_kgpm2)?;
        let gas = Adiabat::new(&chamber, chamber.at_pressure(self.operating_pa), QUICK_EXPONENT)?;
        let flows = Flows { openings: self.openings, blowers: Some(self.blowers), feed: Feed::Running };
        let land = |mass_kg: f32, normal_speed_mps: f32| -> Result<Touchdown, NoThresholds> {
            let landing = Landing {
                mass_kg,
                normal_speed_mps,
                slope_rad: site.slope_rad,
                skin_loss: site.skin_loss,
                displacement: Displacement::dish(dish_radius_m)?,
                thickness_m: None,
            }
            .checked()?;
            let done = touch_down(&gas, &flows, &landing, &Options::default(), |_| {});
            if done.status == Status::OutOfSteps { Err(NoThresholds::NotConverged) } else { Ok(done) }
        };
        let hard = land(site.heaviest_kg, site.hard_speed_mps)?;
        let soft = land(site.lightest_kg, site.soft_speed_mps)?;
        let after = chamber.at_content(chamber.operating_content_m3() - hard.gas_lost_in_all_m3);
        let slow = SlowGas { chamber: &chamber, flows };
        Ok(Expected {
            peak_pa: hard.peak_pressure_pa,
            soft_rise_pa: soft.peak_pressure_pa - self.operating_pa,
            dip_pa: self.operating_pa - after.pressure_pa,
            recovery_s: slow.recovery_s(hard.gas_lost_in_all_m3).ok_or(NoThresholds::NeverBack)?,
        })
    }
}

/// The thresholds of a site in an air: over the stated skin stretch and dish radius and, unless they were measured,
/// their ends, the highest stop and wait pressure, the lowest upper end, the longest times, the largest dip and peak, and
/// the smallest rise.
///
/// Operating point, ride pressures, and the hard and the softest landing are those of [`operating_point`],
/// [`ride_levels`] and [`touch_down`]. Up to nine times the ride pressures: seconds on a small processor.
///
/// # Errors
/// [`NoThresholds`], with the first reason met.
pub fn thresholds(site: &WatchedSite, curve: &FanCurve, air: &Air) -> Result<Thresholds, NoThresholds> {
    if site.version != WATCHED_SITE_VERSION {
        return Err(NoThresholds::Input(InputError::Inconsistent {
            quantity: "watched_site.version",
            why: "another layout than this program's",
            off_by: f32::from(site.version) - f32::from(WATCHED_SITE_VERSION),
        }));
    }
    let (openings, blowers) = (site.openings(air)?, site.blowers(curve, air)?);
    let point = operating_point(&blowers, &openings);
    if point.status != Status::Converged {
        return Err(NoThresholds::NotConverged);
    }
    let operating_pa = point.pressure_pa;
    let bag = Bag { site, air, openings: &openings, blowers: &blowers, operating_pa };
    let mut all = Thresholds {
        operating_pa,
        stop_pa: 0.0,
        wait_pa: 0.0,
        high_pa: site.pressure_max_pa,
        needed_s: 0.0,
        recovery_s: LEAST_RECOVERY_S,
        landing_dip_pa: LEAST_DIP_PA,
        landing_spike_pa: f32::MAX,
        landing_peak_pa: 0.0,
    };
    for (stretch_per_pa, dish_radius_m) in site.acting() {
        let levels = bag.levels(stretch_per_pa, dish_radius_m)?;
        if levels.status != Status::Converged {
            return Err(NoThresholds::NotConverged);
        }
        let delay_s = levels.alarm_delay_s.ok_or(NoThresholds::NoAlarm);
        all.stop_pa = all.stop_pa.max(levels.stop_pa.ok_or(NoThresholds::NoStop)?);
        all.wait_pa = all.wait_pa.max(levels.wait_pa.ok_or(NoThresholds::NoWait)?);
        all.high_pa = all.high_pa.min(levels.band_high_pa.ok_or(NoThresholds::NoHigh)?);
        all.needed_s = all.needed_s.max(site.commitment_s + delay_s? + site.reaction_s);
        let landing = bag.expected(stretch_per_pa, dish_radius_m)?;
        all.landing_peak_pa = all.landing_peak_pa.max(landing.peak_pa);
        all.landing_spike_pa = all.landing_spike_pa.min(SPIKE_SHARE * landing.soft_rise_pa);
        all.landing_dip_pa = all.landing_dip_pa.max(landing.dip_pa);
        all.recovery_s = all.recovery_s.max(landing.recovery_s);
    }
    all.wait_pa = all.wait_pa.max(all.stop_pa);
    Ok(all)
}

impl Thresholds {
    /// The thresholds of settings.
    #[must_use]
    pub const fn of(settings: &WatchSettings) -> Self {
        Self {
            operating_pa: settings.operating_pa,
            stop_pa: settings.stop_pa,
            wait_pa: settings.wait_pa,
            high_pa: settings.high_pa,
            needed_s: settings.needed_s,
            recovery_s: settings.recovery_s,
            landing_dip_pa: settings.landing_dip_pa,
            landing_spike_pa: settings.landing_spike_pa,
            landing_peak_pa: settings.landing_peak_pa,
        }
    }

    /// `settings` with these thresholds; all else stays. Not validated.
    #[must_use]
    pub fn put_into(&self, settings: &WatchSettings) -> WatchSettings {
        WatchSettings {
            operating_pa: self.operating_pa,
            stop_pa: self.stop_pa,
            wait_pa: self.wait_pa,
            half_way_pa: 0.5 * (self.stop_pa + self.operating_pa),
            high_pa: self.high_pa,
            needed_s: self.needed_s.max(0.5),
            recovery_s: self.recovery_s,
            landing_dip_pa: self.landing_dip_pa,
            landing_spike_pa: self.landing_spike_pa,
            landing_peak_pa: self.landing_peak_pa,
            ..*settings
        }
    }

    /// Of the limits the stricter of `planned` and these; of what describes the bag these.
    #[must_use]
    pub fn stricter_than(&self, planned: &Self) -> Self {
        let stop_pa = self.stop_pa.max(planned.stop_pa);
        Self {
            stop_pa,
            wait_pa: self.wait_pa.max(planned.wait_pa).max(stop_pa),
            high_pa: self.high_pa.min(planned.high_pa),
            needed_s: self.needed_s.max(planned.needed_s),
            ..*self
        }
    }
}

/// The settings that a box goes by today: by the rule at the head of this file.
///
/// # Errors
/// What [`WatchSettings::validate`] finds: then no permit.
pub fn in_force(planned: &WatchSettings, today: &Thresholds) -> Result<WatchSettings, InputError> {
    let settings = today.stricter_than(&Thresholds::of(planned)).put_into(planned);
    settings.validate()?;
    Ok(settings)
}

#[cfg(test)]
mod tests;
