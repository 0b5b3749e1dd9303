//! What the box on the fence is told, from a plan, and whatever keeps it from being told anything: each of that is a
//! finding of the plan.

use super::known::{levels_bag, stated_area};
use super::model::Supply;
use super::results::{About, Finding, Level, Results};
use crate::shown::{Shown, Toward};
use crate::site::{Second, Sensor, Site};
use landfall_core::InputError;
use landfall_core::blower::CurvePoint;
use landfall_core::levels::{LevelsRiders, Sensing, SensorError};
use landfall_core::possible_bags::BagFactors;
use landfall_core::thresholds::{
    FanCurve, NoThresholds, WATCHED_SITE_VERSION, WatchedBags, WatchedForm, WatchedSite, thresholds,
};
use landfall_core::watch::parts::{BatteryPart, SecondKind, SecondSensor};
use landfall_core::watch::{Parts, SETTINGS_VERSION, Thresholds, WITH_TOP, WatchSettings};

/// Standard deviations from the mean to the softest landing that must still be counted (one in a thousand is softer).
pub const SOFT_SIGMAS: f64 = 3.09;
/// Quiet air that a box needs between two landings to see a leak, s.
const QUIET_S: f32 = 2.0;
/// What rounding may take of a pressure at the end of its room, Pa.
const ROUNDING_PA: f32 = 0.01;
/// A conventional inch of water, Pa.
const INH2O_PA: f32 = 249.088_91;
/// Largest zero of two barometers that is believed: each is off by 100 Pa at most (*assumed*).
const BAROMETERS_ZERO_PA: f32 = 200.0;

/// The pressure sensor of a box, as far as settings depend on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BoxSensor {
    /// Highest pressure that it can tell, Pa.
    pub range_pa: f32,
    /// Largest error of a filtered, zeroed reading, Pa.
    pub error_pa: f32,
    /// Largest usual standard deviation on a bag with the blowers running, Pa.
    pub noise_pa: f32,
    /// Its own share of that at a steady pressure, Pa.
    pub own_noise_pa: f32,
}

impl BoxSensor {
    /// That of a site. Ranges are the parts' own; the rest is *assumed*: own noise 1.5 in 100,000 of a bridge's whole
    /// span, 0.1 Pa of a thermal part, 1 Pa between two barometers.
    #[must_use]
    pub const fn of(sensor: Sensor) -> Self {
        let range_pa = match sensor {
            Sensor::Bridge10 => 10.0 * INH2O_PA,
            Sensor::Bridge20 => 20.0 * INH2O_PA,
            Sensor::Bridge30 => 30.0 * INH2O_PA,
            Sensor::Thermal500 => 500.0,
            Sensor::Barometers => 14_000.0,
        };
        let own_noise_pa = match sensor {
            Sensor::Thermal500 => 0.1,
            Sensor::Barometers => 1.0,
            _ => 3e-5 * range_pa,
        };
        Self { range_pa, error_pa: sensor.error_pa() as f32, noise_pa: sensor.noise_pa() as f32, own_noise_pa }
    }
}

/// Which of the three bags a form carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bags {
    /// Stated, soft and firm bag: what a box is armed with.
    Three,
    /// The stated bag alone, for looking at a site that no box would be armed for.
    Stated,
}

/// Why a box is told nothing.
#[derive(Clone, Debug, PartialEq)]
pub enum Refusal {
    /// There is no landing to watch for.
    NoLanding,
    /// There are no thresholds.
    NoThresholds(NoThresholds),
    /// The sensor does not reach the highest pressure, Pa.
    SensorRange {
        /// Highest pressure of a landing, or the maker's.
        top_pa: f32,
        /// Where the sensor ends.
        range_pa: f32,
    },
    /// Riders follow each other too soon.
    Interval {
        /// Time until the bag is back, s.
        recovery_s: f32,
        /// Time between two riders, s.
        interval_s: f32,
    },
    /// An expected landing would sound the siren.
    Dip {
        /// Pressure that the mean landing leaves, Pa.
        left_pa: f32,
        /// The siren's, Pa.
        siren_pa: f32,
    },
    /// The permit would never come.
    NoRoom {
        /// What the permit needs, noise included, Pa.
        needs_pa: f32,
        /// Where the bag stands, Pa.
        operating_pa: f32,
    },
    /// The box refuses a value or an order of two.
    Settings(InputError),
}

impl From<InputError> for Refusal {
    fn from(error: InputError) -> Self {
        Self::Settings(error)
    }
}

impl Refusal {
    /// Identity of the finding that says it.
    #[must_use]
    pub const fn id(&self) -> &'static str {
        match self {
            Self::NoLanding => "box.no_landing",
            Self::NoThresholds(_) => "box.no_thresholds",
            Self::SensorRange { .. } => "box.sensor",
            Self::Interval { .. } => "box.interval",
            Self::Dip { .. } => "box.dip",
            Self::NoRoom { .. } => "box.room",
            Self::Settings(_) => "box.settings",
        }
    }

    /// In words, with what would change it.
    #[must_use]
    pub fn text(&self, shown: Shown) -> String {
        let pressure = |pa: f32| shown.pressure(f64::from(pa), Toward::Nearest);
        match self {
            Self::NoLanding => {
                "There is no landing to watch for: the ride or the flight does not reach the bag.".into()
            }
            Self::NoThresholds(error) => {
                format!("The box has nothing to go by: {}. More pressure in the bag would change it.", why_none(error))
            }
            Self::SensorRange { top_pa, range_pa } => {
                let fits: Vec<&str> = Sensor::ALL
                    .iter()
                    .filter(|sensor| BoxSensor::of(**sensor).range_pa >= *top_pa)
                    .map(|sensor| sensor.word())
                    .collect();
                let cure = if fits.is_empty() {
                    "No known sensor reaches it: less pressure would change it.".to_owned()
                } else {
                    format!("A box with {} would change it.", fits.join(" or "))
                };
                format!(
                    "The box's sensor ends at {}, and a hard landing or the maker's highest pressure makes {}. {cure}",
                    pressure(*range_pa),
                    pressure(*top_pa)
                )
            }
            Self::Interval { recovery_s, interval_s } => format!(
                "The bag takes {recovery_s:.1} s to come back after a landing and the box needs {QUIET_S:.0} s of quiet air to \
                 see a leak, but riders follow each other every {interval_s:.0} s. At least {:.0} s between riders \
                 (session.interval) would change it.",
                (recovery_s + QUIET_S).ceil()
            ),
            Self::Dip { left_pa, siren_pa } => format!(
                "A mean landing leaves {} in the bag, at or under the {} at which the siren sounds: each would stop the \
                 session. More pressure or a stronger blower would change it.",
                pressure(*left_pa),
                pressure(*siren_pa)
            ),
            Self::NoRoom { needs_pa, operating_pa } => format!(
                "The box lets the next rider start from {} with the noise, and the bag stands at {}. More pressure would \
                 change it.",
                pressure(*needs_pa),
                pressure(*operating_pa)
            ),
            Self::Settings(error) => {
                format!("The box would refuse its settings: {error}. More pressure would change it.")
            }
        }
    }
}

/// Why there are no thresholds, in plain words.
#[must_use]
pub fn why_none(error: &NoThresholds) -> String {
    match error {
        NoThresholds::Input(error) => error.to_string(),
        NoThresholds::NotConverged => "a search did not close".into(),
        NoThresholds::NoStop => {
            "the bag asks for a stop pressure that the box cannot tell from the resting pressure".into()
        }
        NoThresholds::NoWait => {
            "after a power cut even the operating pressure is nearer to the stop pressure than a rolling rider needs, \
             and the bag does not hold so long"
                .into()
        }
        NoThresholds::NoHigh => "the bag rests outside the pressures to ride between".into(),
        NoThresholds::NeverBack => "the blowers never bring the bag back after the mean landing".into(),
        _ => "for a reason that this program does not know".into(),
    }
}

/// Mean and standard deviation of the mean rider's speed into the top; by the sampling where a run of the divided
/// differences does not come down.
fn usual_speed(results: &Results) -> Option<(f64, f64)> {
    let spread = &results.spread;
    match (spread.differences.as_ref(), &spread.sampling) {
        (Some(by), _) => Some((by.mean_normal_mps, by.sd_normal_mps)),
        (None, Some(by)) => by.mean_normal_mps.get().zip(by.sd_normal_mps.get()),
        (None, None) => None,
    }
}

/// What a box computes with: the site in its compact form.
///
/// # Errors
/// [`Refusal::NoLanding`], or a value that the models refuse.
pub fn form(
    site: &Site,
    results: &Results,
    supply: &Supply,
    sensor: &BoxSensor,
    which: Bags,
) -> Result<WatchedForm, Refusal> {
    let p = &results.pressures;
    let (Some((mean_mps, sd_mps)), Some(demanded)) = (usual_speed(results), p.demanded.as_ref()) else {
        return Err(Refusal::NoLanding);
    };
    let (Some(hard_mps), Some(thickness_m), Some(commitment_s)) =
        (p.hard_speed_mps.get(), p.hard_thickness_m.get(), p.commitment_s.get())
    else {
        return Err(Refusal::NoLanding);
    };
    let (bag, blower) = (&site.bag, &site.blower);
    let points: Vec<CurvePoint> = blower
        .curve
        .iter()
        .map(|(flow, pressure)| CurvePoint { flow_m3ps: *flow as f32, pressure_pa: *pressure as f32 })
        .collect();
    let slope_rad = ((bag.back_height_m - bag.front_height_m) / bag.length_m).atan() as f32;
    let watched = WatchedSite {
        version: WATCHED_SITE_VERSION,
        air_pressure_pa: supply.air.pressure_pa,
        air_temperature_k: supply.air.temperature_k,
        openings: *supply.openings.input(),
        blowers: supply.stated,
        bag: levels_bag(site, thickness_m, slope_rad),
        riders: LevelsRiders {
            heaviest_kg: demanded.heaviest_kg,
            lightest_kg: demanded.lightest_kg,
            hard_speed_mps: hard_mps as f32,
            mean_landing: demanded.mean,
            commitment_s: Some(commitment_s as f32),
            reaction_s: site.rider.reaction_s as f32,
        },
        soft_speed_mps: (mean_mps - SOFT_SIGMAS * sd_mps).max(0.5) as f32,
        sensing: Sensing {
            supply_sense: site.watch.supply_sense,
            sensor: SensorError { error_pa: sensor.error_pa, noise_pa: sensor.noise_pa },
        },
    };
    let (soft, firm) = match which {
        Bags::Stated => (BagFactors::STATED, BagFactors::STATED),
        Bags::Three => (demanded.soft, demanded.firm),
    };
    let bags = WatchedBags { area: stated_area(site)?, stretch_per_pa: bag.skin_stretch_per_pa as f32, soft, firm };
    Ok(WatchedForm { site: watched, bags, curve: FanCurve::new(&points)? })
}

/// A box's settings from its thresholds.
#[must_use]
pub fn settings(site: &Site, found: &Thresholds, sensor: &BoxSensor, site_id: u32, revision: u32) -> WatchSettings {
    found
        .put_into(&WatchSettings {
            version: SETTINGS_VERSION | if site.watch.top_signal { WITH_TOP } else { 0 },
            site_id,
            revision,
            pressure_max_pa: site.bag.pressure_max_pa as f32,
            interval_s: site.session.interval_s as f32,
            supply_sense: site.watch.supply_sense,
            sensor_low_pa: -60.0,
            sensor_high_pa: sensor.range_pa,
            sensor_step_pa: 0.2,
            sensor_error_pa: sensor.error_pa,
            noise_low_pa: 0.5,
            noise_high_pa: sensor.noise_pa,
            rate_limit_paps: 100_000.0,
            zero_limit_pa: 30.0_f32.min(0.5 * found.stop_pa),
            sensor_noise_pa: sensor.own_noise_pa,
            // The thresholds, which are put over these.
            ..WatchSettings::EXAMPLE
        })
        .with_parts(parts(site))
}

/// What is fitted to the box beside the necessary.
#[must_use]
pub fn parts(site: &Site) -> Parts {
    let watch = &site.watch;
    let bridge = match watch.sensor {
        Sensor::Bridge10 | Sensor::Bridge20 | Sensor::Bridge30 => watch.sensor,
        _ => Sensor::Bridge20,
    };
    let second = |kind, sensor, zero_limit_pa| {
        let BoxSensor { error_pa, own_noise_pa, .. } = BoxSensor::of(sensor);
        SecondSensor { kind, error_pa, noise_pa: own_noise_pa, zero_limit_pa }
    };
    let battery = watch.battery_full_v.zip(watch.battery_empty_v).zip(watch.battery_lasts_s);
    Parts {
        permit_pulses: watch.permit_pulses,
        readback_s: watch.permit_readback.then_some(watch.relay_s as f32),
        second: match watch.second {
            Second::None => None,
            Second::Bridge => Some(second(SecondKind::Bridge, bridge, 30.0)),
            Second::Barometers => Some(second(SecondKind::Barometers, Sensor::Barometers, BAROMETERS_ZERO_PA)),
        },
        battery: battery.map(|((full_v, empty_v), lasts_s)| BatteryPart {
            full_v: full_v as f32,
            empty_v: empty_v as f32,
            lasts_s: lasts_s as f32,
            session_s: site.session.length_s as f32,
        }),
        blowers: if watch.blower_sense { u8::try_from(site.blower.count).unwrap_or(u8::MAX) } else { 0 },
    }
}

/// The box's own checks, with what they mean for the site.
#[must_use]
pub fn refusals(s: &WatchSettings) -> Vec<Refusal> {
    let mut list = Vec::new();
    let top_pa = s.landing_peak_pa.max(s.pressure_max_pa);
    if top_pa > s.sensor_high_pa {
        list.push(Refusal::SensorRange { top_pa, range_pa: s.sensor_high_pa });
    }
    if s.recovery_s + QUIET_S > s.interval_s {
        list.push(Refusal::Interval { recovery_s: s.recovery_s, interval_s: s.interval_s });
    }
    if s.trip_pa() > s.operating_pa - s.landing_dip_pa + ROUNDING_PA {
        list.push(Refusal::Dip { left_pa: s.operating_pa - s.landing_dip_pa, siren_pa: s.trip_pa() });
    }
    if s.ready_pa() + s.noise_high_pa > s.operating_pa + ROUNDING_PA {
        list.push(Refusal::NoRoom { needs_pa: s.ready_pa() + s.noise_high_pa, operating_pa: s.operating_pa });
    }
    if let (Err(error), true) = (s.validate(), list.is_empty()) {
        list.push(Refusal::Settings(error));
    }
    list
}

/// Whatever keeps a box with the site's sensor from being armed for a plan, as findings.
#[must_use]
pub fn findings(site: &Site, results: &Results, supply: &Supply) -> Vec<Finding> {
    let sensor = BoxSensor::of(site.watch.sensor);
    let refused = match form(site, results, supply, &sensor, Bags::Three) {
        Err(refusal) => vec![refusal],
        Ok(form) => match thresholds(&form, &supply.air) {
            Err(error) => vec![Refusal::NoThresholds(error)],
            Ok(found) => refusals(&settings(site, &found, &sensor, 1, 1)),
        },
    };
    let shown = Shown::of(site);
    refused
        .into_iter()
        .map(|refusal| {
            let mut finding = Finding::new(refusal.id(), Level::Stop, About::Box, refusal.text(shown));
            finding.with("air.operating_pressure_pa", results.air.operating_pressure_pa);
            if let Refusal::Interval { recovery_s, interval_s } = refusal {
                finding.with("touchdown.recovery_s", f64::from(recovery_s));
                finding.with("session.interval", f64::from(interval_s));
            }
            finding
        })
        .collect()
}
