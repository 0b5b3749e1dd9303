//! The table of dropped loads that a bag test is held against, and what a recording of the box tells of them.

use super::runs::Measured;
use landfall_box::record::Recording;
use landfall_plan::site::{Fault, Faults};
use landfall_tables::{Row, columns, read_table};

/// Standard deviation of a depth read off a pole or a video, m (*assumed*).
const DEPTH_SD_M: f64 = 0.03;
/// Standard deviation of a peak pressure: this share of it (*assumed*; 50 readings a second miss the peak by less).
const PEAK_SD_SHARE: f64 = 0.02;
/// How long before the touch-down the pressure at rest is looked for, s.
const REST_S: (f64, f64) = (3.0, 0.3);
/// How long after it the peak is looked for, s.
const PEAK_S: (f64, f64) = (0.2, 1.5);

/// A drop.
#[derive(Clone, Debug)]
pub struct Drop {
    /// Its row.
    pub row: Row,
    /// What it is called.
    pub label: String,
    /// What is dropped, kg.
    pub mass_kg: f64,
    /// Its underside above the bag's top, m.
    pub height_m: f64,
    /// Pressure before, Pa; the operating pressure where there is none.
    pub start_pa: Option<f64>,
    /// The blower runs.
    pub running: bool,
    /// How far it sank, m.
    pub depth: Option<Measured>,
    /// Highest pressure, Pa.
    pub peak: Option<Measured>,
    /// From the front edge, m; the middle where there is none.
    pub along_m: Option<f64>,
    /// Why it is left out, where it is.
    pub excluded: Option<String>,
}

/// Reads a table of drops; peaks that it does not state are taken from `log` at each drop's `log_time`.
///
/// # Errors
/// Everything that is wrong with it.
pub fn read_drops(text: &str, file: &str, log: Option<&Recording>) -> Result<Vec<Drop>, Faults> {
    let mut faults = Vec::new();
    let rows = read_table(columns::DROPS, text, file)?;
    let drops = rows.into_iter().enumerate().filter_map(|(i, row)| drop_of(row, i + 1, log, &mut faults)).collect();
    if faults.is_empty() { Ok(drops) } else { Err(Faults { file: file.to_owned(), faults }) }
}

fn drop_of(row: Row, number: usize, log: Option<&Recording>, faults: &mut Vec<Fault>) -> Option<Drop> {
    let before = faults.len();
    let excluded = row.flag("excluded");
    let reason = row.text("reason").map(str::to_owned);
    if excluded && reason.is_none() {
        faults.push(row.fault("excluded", "a drop is left out without a reason", "state it under reason"));
    }
    for name in ["drop_mass", "drop_height"] {
        if row.value(name).is_none() && !excluded {
            faults.push(row.fault(name, "a drop needs it", "state it, or set excluded with a reason"));
        }
    }
    let measured = |name: &str, sd: &str, assumed: f64| {
        let (value, stated) = (row.value(name)?, row.value(sd));
        Some(Measured { value, sd: stated.unwrap_or(assumed), assumed: stated.is_none() })
    };
    let mut peak =
        measured("peak_pressure", "peak_pressure_sd", row.value("peak_pressure").unwrap_or(0.0) * PEAK_SD_SHARE);
    let mut start_pa = row.value("start_pressure");
    if let Some(at_s) = row.value("log_time") {
        match log {
            None => faults.push(row.fault(
                "log_time",
                "a time in a recording that is not given",
                "name the recording with --recording",
            )),
            Some(log) => match peak_at(log, at_s) {
                None => faults.push(row.fault(
                    "log_time",
                    "the recording has no readings about this time",
                    "look at the recording's time_s",
                )),
                Some((rest_pa, peak_pa)) => {
                    start_pa = start_pa.or(Some(rest_pa));
                    peak = peak.or(Some(Measured { value: peak_pa, sd: peak_pa * PEAK_SD_SHARE, assumed: true }));
                }
            },
        }
    }
    let depth = measured("depth", "depth_sd", DEPTH_SD_M);
    if depth.is_none() && peak.is_none() && !excluded && faults.len() == before {
        let cure = "state depth or peak_pressure, or a log_time with --recording";
        faults.push(row.fault("drop", "nothing was measured of this drop", cure));
    }
    let running = row.value("blower").is_none_or(|yes| yes != 0.0);
    if !running && start_pa.is_none() && !excluded {
        let cure = "state start_pressure: without the blower it falls from one drop to the next";
        faults.push(row.fault("blower", "the blower was off and the pressure before the drop is not stated", cure));
    }
    (faults.len() == before).then(|| Drop {
        label: row.text("drop").map_or_else(|| number.to_string(), str::to_owned),
        mass_kg: row.value("drop_mass").unwrap_or_default(),
        height_m: row.value("drop_height").unwrap_or_default(),
        start_pa,
        running,
        depth,
        peak,
        along_m: row.value("landing_along"),
        excluded: excluded.then(|| reason.unwrap_or_default()),
        row,
    })
}

/// Readings between two times.
fn readings(log: &Recording, from_s: f64, to_s: f64) -> Vec<f64> {
    let inside = log.rows.iter().filter(|row| row.time_s >= from_s && row.time_s <= to_s);
    inside.filter_map(|row| row.reading.as_ref().ok().map(|pressure| f64::from(pressure.0))).collect()
}

/// The pressure at rest before a touch-down (the middle reading) and the highest after it.
fn peak_at(log: &Recording, at_s: f64) -> Option<(f64, f64)> {
    let mut rest = readings(log, at_s - REST_S.0, at_s - REST_S.1);
    rest.sort_by(f64::total_cmp);
    let rest_pa = *rest.get(rest.len() / 2)?;
    let after = readings(log, at_s - PEAK_S.0, at_s + PEAK_S.1);
    let peak_pa = after.into_iter().fold(f64::NEG_INFINITY, f64::max);
    peak_pa.is_finite().then_some((rest_pa, peak_pa))
}
