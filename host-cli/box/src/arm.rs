//! The watch's settings, computed from a plan and told in plain words with their reasons.

use landfall_core::thresholds::{NoThresholds, WatchedForm, thresholds};
use landfall_core::watch::WatchSettings;
use landfall_firmware::store::crc32;

use super::beside;
use super::line::Line;
use landfall_plan::plan::box_settings::{self, Bags, BoxSensor, Refusal, why_none};
use landfall_plan::plan::model::Supply;
use landfall_plan::plan::results::{Level, Results, StopRule};
use landfall_plan::plan::{Parts, PlanError};
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Sensor, Site};

/// What of a plan the settings need.
pub const NEEDED: Parts = Parts { tails: false, hold_winds: false, cures: false, ..Parts::ALL };

/// Least way from the bottom of the expected dip down to the stop pressure for which false stops were counted in
/// simulated riding, Pa; nearer ones are noted.
const DIP_ROOM_PA: f32 = 130.0;

/// The form of a site for a box with `sensor`.
///
/// # Errors
/// [`ArmError::Stop`] where there is no landing to watch for.
pub fn form(
    site: &Site,
    results: &Results,
    supply: &Supply,
    sensor: Sensor,
    which: Bags,
) -> Result<WatchedForm, ArmError> {
    box_settings::form(site, results, supply, &BoxSensor::of(sensor), which)
        .map_err(|refusal| ArmError::of(site, refusal))
}

/// Settings and how they came about.
#[derive(Clone, Debug)]
pub struct Armed {
    /// For the box.
    pub settings: WatchSettings,
    /// What a box computes its thresholds from in today's air.
    pub form: WatchedForm,
    /// Name of the site.
    pub site: String,
    /// In the order in which they are shown.
    pub lines: Vec<Line>,
    /// To know.
    pub notes: Vec<String>,
}

/// Why there are no settings.
#[derive(Debug)]
#[non_exhaustive]
pub enum ArmError {
    /// The plan says stop: each reason once.
    Stop(Vec<String>),
    /// There is no plan.
    Plan(PlanError),
}

impl std::fmt::Display for ArmError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Stop(reasons) => {
                write!(f, "no settings for the box, since the plan says stop:")?;
                reasons.iter().try_for_each(|reason| write!(f, "\n  - {reason}"))
            }
            Self::Plan(error) => write!(f, "{error}"),
        }
    }
}

impl std::error::Error for ArmError {}

impl From<PlanError> for ArmError {
    fn from(error: PlanError) -> Self {
        Self::Plan(error)
    }
}

impl ArmError {
    /// What keeps a box from being armed.
    pub(super) fn of(site: &Site, refusal: Refusal) -> Self {
        match refusal {
            Refusal::Settings(error) => Self::Plan(PlanError::Input(error)),
            other => stop(format!("{}: {}", other.id(), other.text(Shown::of(site)))),
        }
    }
}

fn stop(reason: impl Into<String>) -> ArmError {
    ArmError::Stop(vec![reason.into()])
}

/// What stands for a site in the box: a checksum of its name and the bag's size in millimetres, never 0.
///
/// Another gap, blower or rider keeps it; another bag or name is another site, whose settings a box refuses.
pub fn site_id(site: &Site) -> u32 {
    let bag = &site.bag;
    let mm = [bag.length_m, bag.width_m, bag.front_height_m, bag.back_height_m].map(|m| (m * 1000.0).round());
    crc32(format!("{}|{}|{}|{}|{}", site.site.name, mm[0], mm[1], mm[2], mm[3]).as_bytes()).max(1)
}

/// The settings of a site for a box with `sensor`, from its plan.
///
/// The pressures are those of the bag as stated and of the soft and the firm one among the bags that fit what is known.
///
/// # Errors
/// [`ArmError::Stop`] with every reason where the plan says stop or the numbers leave no room for a watch.
pub fn arm(site: &Site, results: &Results, sensor: Sensor, revision: u32) -> Result<Armed, ArmError> {
    let said: Vec<String> = results
        .findings
        .iter()
        .filter(|finding| finding.level == Level::Stop)
        .map(|finding| format!("{}: {}", finding.topic, finding.text))
        .collect();
    match settle(site, results, sensor, revision, Bags::Three) {
        Ok(armed) if said.is_empty() => {
            check(site, &armed.settings)?;
            Ok(armed)
        }
        // The plan's own words come first; what follows from the same cause is said once more in the box's terms.
        Ok(_) => Err(ArmError::Stop(said)),
        Err(ArmError::Stop(reasons)) => Err(ArmError::Stop(said.into_iter().chain(reasons).collect())),
        Err(error) => Err(error),
    }
}

/// The settings to look at a site with: for a replay or a simulation, where nobody rides.
///
/// Where no box would be armed, a note says why, the bag as stated is taken alone, and what only
/// keeps a box from being armed (interval, sensor, depth of the dip) is widened.
///
/// # Errors
/// [`ArmError::Stop`] where even so there is nothing to watch for.
pub fn look(site: &Site, results: &Results, sensor: Option<Sensor>, revision: u32) -> Result<Armed, ArmError> {
    let parts: &[Sensor] = match &sensor {
        Some(part) => std::slice::from_ref(part),
        None => &[Sensor::Bridge20, Sensor::Bridge30, Sensor::Barometers],
    };
    let mut refusal = None;
    for part in parts {
        match arm(site, results, *part, revision) {
            Ok(armed) => return Ok(armed),
            Err(ArmError::Stop(reasons)) => refusal = refusal.or(Some(reasons)),
            Err(error) => return Err(error),
        }
    }
    let part = sensor.unwrap_or_default();
    let mut armed = match settle(site, results, part, revision, Bags::Three) {
        Ok(armed) => armed,
        Err(_) => settle(site, results, part, revision, Bags::Stated)?,
    };
    let s = &mut armed.settings;
    s.sensor_high_pa = s.sensor_high_pa.max(1.01 * s.landing_peak_pa).max(1.01 * s.pressure_max_pa);
    s.interval_s = s.interval_s.max(s.recovery_s + 2.0);
    s.landing_dip_pa = s.landing_dip_pa.min(s.operating_pa - s.trip_pa() - 1.0).max(10.0);
    check(site, &armed.settings)?;
    armed.notes.insert(0, format!("no box would be armed for this site: {}", refusal.unwrap_or_default().join("; ")));
    Ok(armed)
}

fn settle(site: &Site, results: &Results, sensor: Sensor, revision: u32, bags: Bags) -> Result<Armed, ArmError> {
    if results.pressures.hard_speed_mps.get().is_none() || results.pressures.commitment_s.get().is_none() {
        return Err(stop("pressures: there is no landing to watch for: the ride or the flight does not reach the bag"));
    }
    let supply = Supply::new(site)?;
    let form = form(site, results, &supply, sensor, bags)?;
    let found = thresholds(&form, &supply.air).map_err(|error| match error {
        NoThresholds::Input(error) => ArmError::Plan(PlanError::Input(error)),
        other => stop(format!("{}: {}", topic(&other), why_none(&other))),
    })?;
    let settings = box_settings::settings(site, &found, &BoxSensor::of(sensor), site_id(site), revision);
    Ok(Armed {
        lines: lines(site, results, &settings, sensor, &form).into_iter().chain(beside::lines(&settings)).collect(),
        notes: notes(site, &settings),
        site: site.site.name.clone(),
        form,
        settings,
    })
}

/// The box's own checks, with what they mean for the site.
fn check(site: &Site, settings: &WatchSettings) -> Result<(), ArmError> {
    let refused = box_settings::refusals(settings);
    let shown = Shown::of(site);
    if refused.is_empty() {
        return Ok(());
    }
    Err(ArmError::Stop(refused.iter().map(|refusal| format!("{}: {}", refusal.id(), refusal.text(shown))).collect()))
}

/// What a reason is about.
const fn topic(error: &NoThresholds) -> &'static str {
    match error {
        NoThresholds::NoStop => "stop pressure",
        NoThresholds::NoWait => "wait pressure",
        NoThresholds::NoHigh => "ride band",
        NoThresholds::NeverBack => "recovery",
        _ => "thresholds",
    }
}

fn lines(site: &Site, results: &Results, s: &WatchSettings, sensor: Sensor, form: &WatchedForm) -> Vec<Line> {
    let line = |key, what: String, why: String| Line { key, what, why };
    let rule = match results.pressures.stop_rule.get() {
        Some(StopRule::Room) => "the highest that the box can tell from the operating pressure",
        Some(StopRule::Floor) => "share of the maker's lowest pressure (bag.stop_floor, assumed)",
        _ => "depth of the hard landing with the supply lost",
    };
    let end = if site.bag.force_area.is_measured() {
        "the bag was measured"
    } else {
        "in all but 5 of 100 bags that fit what is known"
    };
    // As the plan, the card and the gauge have it; what the box itself holds stands in the reasons.
    let shown = Shown::of(site);
    let up = |pa: f32| shown.pressure(f64::from(pa), Toward::Up);
    let about = |pa: f32| shown.pressure(f64::from(pa), Toward::Nearest);
    let needed_s = f64::from(s.needed_s);
    let commitment_s = f64::from(form.site.riders.commitment_s.unwrap_or(0.0));
    let delay_s = needed_s - commitment_s - site.rider.reaction_s;
    let from =
        if results.pressures.committed_from_start.get() == Some(true) { "the start" } else { "the last stop line" };
    let mut lines = vec![
        line(
            "stop_pa",
            format!("Siren at or under {}: everybody off", up(s.trip_pa())),
            format!(
                "{:.0} Pa in the box: stop pressure {:.0} Pa ({rule}; {end}) and {:.0} Pa of sensor error",
                s.trip_pa(),
                s.stop_pa,
                s.sensor_error_pa
            ),
        ),
        line(
            "wait_pa",
            format!("Next rider from {}; permit off at or under {}", up(s.ready_pa()), up(s.hold_pa())),
            format!(
                "{:.0} Pa and {:.0} Pa in the box: wait pressure {:.0} Pa, or just above half-way to the stop pressure, and the \
                 sensor error",
                s.ready_pa(),
                s.hold_pa(),
                s.wait_pa
            ),
        ),
        line(
            "half_way_pa",
            format!("Falling past {} sounds the siren where {:.1} s are not left", up(s.half_way_pa), s.needed_s),
            format!(
                "half-way from operating to stop; a rider needs {commitment_s:.1} s from {from} to touch-down, the alarm \
                 {delay_s:.1} s, reaction {:.1} s",
                site.rider.reaction_s
            ),
        ),
        line(
            "operating_pa",
            format!("At rest with the blowers on: {}", about(s.operating_pa)),
            "blowers' curve against the openings".into(),
        ),
        line(
            "high_pa",
            format!("Held above {}: no new rider", shown.pressure(f64::from(s.high_pa), Toward::Down)),
            format!("firm pressure or the maker's highest, {}, whichever is lower", about(s.pressure_max_pa)),
        ),
        line(
            "landing_spike_pa",
            format!("A rise of {} counts as a landing", about(s.landing_spike_pa)),
            "half of what the lightest rider's softest landing in a thousand makes".into(),
        ),
        line(
            "landing_peak_pa",
            format!("No landing goes above {}", about(s.landing_peak_pa)),
            format!("hard landing; the sensor ({}) reaches {}", sensor.word(), about(s.sensor_high_pa)),
        ),
        line(
            "landing_dip_pa",
            format!("After a landing down to {} is expected", about(s.operating_pa - s.landing_dip_pa)),
            "gas lost in the mean landing, and no less than 10 Pa".into(),
        ),
        line(
            "recovery_s",
            format!("The dip is over within {:.1} s; half as much again is slow", s.recovery_s),
            "blowers' recovery after the mean landing; at least 3 s".into(),
        ),
        line("interval_s", format!("Riders every {:.0} s", s.interval_s), "session.interval".into()),
        line(
            "supply_sense",
            if s.supply_sense {
                "A cut of the blowers' supply is a stop at once".into()
            } else {
                "The supply is not sensed".into()
            },
            "watch.supply_sense".into(),
        ),
        line(
            "noise_low_pa",
            format!(
                "Readings within {} Pa for 2 s are frozen, noise above {:.0} Pa is a fault",
                s.noise_low_pa, s.noise_high_pa
            ),
            "assumed: no recordings of a real bag stand behind these".into(),
        ),
        line(
            "zero_limit_pa",
            format!(
                "A zero within {:.0} Pa is believed; readings from {:.0} to {:.0} Pa",
                s.zero_limit_pa, s.sensor_low_pa, s.sensor_high_pa
            ),
            "assumed, and the sensor's range".into(),
        ),
    ];
    if s.with_top() {
        let what = "No permit unless the board at the top of the roll-in answers, ten times a second".to_owned();
        lines.push(line("version", what, "watch.top_signal".into()));
    }
    lines
}

fn notes(site: &Site, s: &WatchSettings) -> Vec<String> {
    let mut notes = vec![super::CAUTION.to_owned()];
    let room_pa = s.operating_pa - s.landing_dip_pa - s.stop_pa;
    if room_pa < DIP_ROOM_PA {
        notes.push(format!(
            "The mean landing leaves the bag {room_pa:.0} Pa above the stop pressure. Nearer than {DIP_ROOM_PA:.0} Pa a gust \
             or the blowers' noise may sound the siren after a landing: more pressure, a stronger blower or a smaller vent \
             would give room."
        ));
    }
    if !site.bag.force_area.is_measured() {
        notes.push(
            "The bag is not measured: its force area and skin stretch are assumed; measuring it would narrow these limits."
                .into(),
        );
    }
    if !site.watch.supply_sense {
        notes.push("Without the supply sense a power cut is seen only when the pressure has begun to fall.".into());
    }
    notes
}

/// The settings in plain words.
pub fn text(armed: &Armed) -> String {
    let s = &armed.settings;
    let mut out =
        format!("Settings of the box for {}\nsite {:08x}, revision {}\n\n", armed.site, s.site_id, s.revision);
    for line in &armed.lines {
        out += &format!("{}\n    {} [{}]\n", line.what, line.why, line.key);
    }
    out += "\n";
    armed.notes.iter().for_each(|note| out += &format!("note: {note}\n"));
    out
}

/// The same as JSON.
pub fn json(armed: &Armed) -> serde_json::Value {
    let lines: Vec<_> = armed
        .lines
        .iter()
        .map(|line| serde_json::json!({"key": line.key, "what": line.what, "why": line.why}))
        .collect();
    serde_json::json!({"site": armed.site, "settings": armed.settings, "reasons": lines, "notes": armed.notes,
        "form": armed.form})
}

#[cfg(test)]
mod tests {
    use super::*;
    use landfall_firmware::{baro, bridge, thermal};

    /// The planner tells the highest pressure of each sensor; its driver believes readings up to the same.
    #[test]
    fn the_planner_and_the_drivers_know_the_same_ranges() {
        for sensor in Sensor::ALL {
            let of_driver = match sensor {
                Sensor::Bridge10 => bridge::Part::Differential10.range_pa(),
                Sensor::Bridge20 => bridge::Part::Differential20.range_pa(),
                Sensor::Bridge30 => bridge::Part::Differential30.range_pa(),
                Sensor::Thermal500 => thermal::Part::Pa500.range_pa(),
                Sensor::Barometers => baro::RANGE_PA,
            };
            assert_eq!(BoxSensor::of(*sensor).range_pa, of_driver, "{sensor:?}");
        }
    }

    #[test]
    fn a_dip_that_ends_near_the_stop_pressure_is_said() {
        let said = |landing_dip_pa| {
            let settings = WatchSettings { landing_dip_pa, ..WatchSettings::EXAMPLE };
            settings.validate().unwrap();
            notes(&landfall_plan::site::demo(), &settings)
                .iter()
                .any(|note| note.contains("Pa above the stop pressure"))
        };
        // 1000 Pa at rest, 600 Pa to stop.
        assert!(!said(120.0) && !said(269.0) && said(271.0));
    }
}
