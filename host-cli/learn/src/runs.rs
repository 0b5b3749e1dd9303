//! The table of runs: what was measured of each, in SI, with its standard deviation.

use super::frames::FrameTime;
use landfall_plan::site::{Fault, Faults};
use landfall_tables::{Row, columns, read_table};

/// Standard deviation of a time that was stopped by hand or read off, s (*assumed*).
const HAND_TIME_SD_S: f64 = 0.05;
/// Standard deviation of a push-off that was measured, m/s (*assumed*).
const PUSH_OFF_SD_MPS: f64 = 0.05;
/// Standard deviation of a landing point taken with a tape from the mark in the bag, m (*assumed*).
const LANDING_SD_M: f64 = 0.10;

/// How a lip speed was measured; its standard deviation where the table states none is *assumed*.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Method {
    /// A radar gun: 0.2 m/s.
    Radar,
    /// Frames over a measured length: 0.15 m/s.
    Video,
    /// Satellite positioning: 0.4 m/s.
    Gps,
    /// Not stated: 0.3 m/s.
    Unstated,
}

impl Method {
    /// Assumed standard deviation, m/s.
    #[must_use]
    pub const fn sd_mps(self) -> f64 {
        match self {
            Self::Radar => 0.2,
            Self::Video => 0.15,
            Self::Gps => 0.4,
            Self::Unstated => 0.3,
        }
    }

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Radar => "radar",
            Self::Video => "video",
            Self::Gps => "GPS",
            Self::Unstated => "method not stated",
        }
    }
}

/// A measured value and its standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// Value in SI.
    pub value: f64,
    /// Standard deviation in SI.
    pub sd: f64,
    /// The table states no standard deviation and no frames; it is assumed.
    pub assumed: bool,
}

/// Where a run started, if the table says so.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Start {
    /// Height above the take-off's foot, m.
    Height(f64),
    /// Distance along the surface before the take-off's foot, m.
    BeforeFoot(f64),
}

/// The time between two marks on the ride down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Split {
    /// First mark, m along the surface before the take-off's foot; none: the start.
    pub from_m: Option<f64>,
    /// Second mark.
    pub to_m: f64,
    /// The time.
    pub time: Measured,
}

/// One run as the table has it.
#[derive(Clone, Debug)]
pub struct RunRow {
    /// The row, for faults that are found later.
    pub row: Row,
    /// What the run is called: its own word, else its number in the table.
    pub label: String,
    /// Who rode.
    pub rider: Option<String>,
    /// Mass of the rider with gear, kg.
    pub rider_mass_kg: Option<f64>,
    /// Where it started.
    pub start: Option<Start>,
    /// Speed at the start, m/s.
    pub push_off: Option<Measured>,
    /// Time between two marks, s.
    pub split: Option<Split>,
    /// Speed of the rider at the lip, m/s, and how it was measured.
    pub lip_speed: Option<(Measured, Method)>,
    /// From the lip to the touch-down, s.
    pub air_time: Option<Measured>,
    /// From the bag's front edge, m.
    pub along: Option<Measured>,
    /// From the bag's centre line, left positive, m.
    pub across: Option<Measured>,
    /// Measured tail wind, m/s.
    pub wind_along_mps: Option<f64>,
    /// Measured wind from the right, m/s.
    pub wind_across_mps: Option<f64>,
    /// Why the run is left out, where it is.
    pub excluded: Option<String>,
}

impl RunRow {
    /// How many quantities were measured.
    #[must_use]
    pub fn measured(&self) -> usize {
        usize::from(self.push_off.is_some())
            + usize::from(self.split.is_some())
            + usize::from(self.lip_speed.is_some())
            + usize::from(self.air_time.is_some())
            + usize::from(self.along.is_some())
            + usize::from(self.across.is_some())
    }
}

/// Turns a row into a run; what does not go together goes to `faults`.
pub fn run_of(row: Row, number: usize, rate_hz: Option<f64>, faults: &mut Vec<Fault>) -> Option<RunRow> {
    let before = faults.len();
    let excluded = row.flag("excluded");
    let reason = row.text("reason").map(str::to_owned);
    if excluded && reason.is_none() {
        faults.push(row.fault("excluded", "a run is left out without a reason", "state it under reason"));
    }
    if row.value("start_height").is_some() && row.value("start_before_foot").is_some() {
        let cure = "leave start_height or start_before_foot blank";
        faults.push(row.fault("start_before_foot", "the start is stated twice", cure));
    }
    let split_time = time(&row, "split_time", "split_frames", rate_hz, faults);
    let air_time = time(&row, "air_time", "air_frames", rate_hz, faults);
    let (mark_1, mark_2) = (row.value("mark_1_before_foot"), row.value("mark_2_before_foot"));
    let split = match (split_time, mark_2) {
        (Some(time), Some(to_m)) if mark_1.is_none_or(|from_m| from_m > to_m) => {
            Some(Split { from_m: mark_1, to_m, time })
        }
        (Some(_), Some(_)) => {
            let cure = "marks count along the surface before the take-off's foot: the first is the larger";
            faults.push(row.fault("mark_2_before_foot", "the second mark does not come after the first", cure));
            None
        }
        (Some(_), None) => {
            let cure = "state mark_2_before_foot (0 is the take-off's foot); a blank mark_1_before_foot is the start";
            faults.push(row.fault("split_time", "a time between marks without its second mark", cure));
            None
        }
        (None, _) => None,
    };
    let method = match row.text("lip_speed_method").map(str::to_lowercase).as_deref() {
        None => Method::Unstated,
        Some("radar") => Method::Radar,
        Some("video") => Method::Video,
        Some("gps") => Method::Gps,
        Some(other) => {
            let message = format!("{other:?} is none of radar, video and gps");
            faults.push(row.fault(
                "lip_speed_method",
                message,
                "write one of these, or leave it blank and state lip_speed_sd",
            ));
            Method::Unstated
        }
    };
    for (of, sd) in [
        ("push_off", "push_off_sd"),
        ("lip_speed", "lip_speed_sd"),
        ("landing_along", "landing_along_sd"),
        ("landing_across", "landing_across_sd"),
    ] {
        // The same sd may stand in every row, also where the value was missed.
        let whole = row.value(sd).zip(row.value(of));
        if whole.is_some_and(|(sd, of)| sd > of.abs().max(5.0)) {
            faults.push(row.fault(sd, "the standard deviation is larger than what it belongs to", "look at the units"));
        }
    }
    let run = RunRow {
        label: row.text("run").map_or_else(|| number.to_string(), str::to_owned),
        rider: row.text("rider").map(str::to_owned),
        rider_mass_kg: row.value("rider_mass"),
        start: row
            .value("start_height")
            .map(Start::Height)
            .or_else(|| row.value("start_before_foot").map(Start::BeforeFoot)),
        push_off: measured(&row, "push_off", "push_off_sd", PUSH_OFF_SD_MPS),
        split,
        lip_speed: measured(&row, "lip_speed", "lip_speed_sd", method.sd_mps()).map(|speed| (speed, method)),
        air_time,
        along: measured(&row, "landing_along", "landing_along_sd", LANDING_SD_M),
        across: measured(&row, "landing_across", "landing_across_sd", LANDING_SD_M),
        wind_along_mps: row.value("wind_along"),
        wind_across_mps: row.value("wind_across"),
        excluded: excluded.then(|| reason.unwrap_or_default()),
        row,
    };
    // How it ended is worth a row of its own.
    let counts = run.row.text("ending").is_some();
    if run.measured() == 0 && !counts && run.excluded.is_none() && faults.len() == before {
        let cure = "fill in what was measured, or set excluded with a reason";
        faults.push(run.row.fault("run", "nothing was measured of this run", cure));
    }
    (faults.len() == before).then_some(run)
}

fn measured(row: &Row, name: &str, sd: &str, assumed_sd: f64) -> Option<Measured> {
    let value = row.value(name)?;
    let stated = row.value(sd);
    Some(Measured { value, sd: stated.unwrap_or(assumed_sd), assumed: stated.is_none() })
}

/// A time that is stated, or counted in frames.
fn time(row: &Row, name: &str, frames: &str, rate_hz: Option<f64>, faults: &mut Vec<Fault>) -> Option<Measured> {
    let sd_name = if name == "air_time" { "air_time_sd" } else { "split_time_sd" };
    let (stated, counted) = (row.value(name), row.value(frames));
    if stated.is_some() && counted.is_some() {
        faults.push(row.fault(frames, "the time is stated and counted in frames", "leave one of the two blank"));
        return None;
    }
    let Some(counted) = counted else { return measured(row, name, sd_name, HAND_TIME_SD_S) };
    let Some(rate_hz) = row.value("frame_rate").or(rate_hz) else {
        faults.push(row.fault(frames, "frames without their rate", "give --fps, or a column frame_rate"));
        return None;
    };
    if counted.fract() != 0.0 {
        faults.push(row.fault(frames, "frames are counted whole", "write a whole number, or a time in seconds"));
        return None;
    }
    let time = FrameTime::new(counted, rate_hz);
    Some(Measured { value: time.time_s, sd: row.value(sd_name).unwrap_or(time.sd_s), assumed: false })
}

/// Reads a table of runs.
///
/// # Errors
/// Everything that is wrong with it, each with line, column and a cure.
pub fn read_runs(text: &str, file: &str, rate_hz: Option<f64>) -> Result<Vec<RunRow>, Faults> {
    let rows = read_table(columns::RUNS, text, file)?;
    let mut faults = Vec::new();
    let runs = rows.into_iter().enumerate().filter_map(|(i, row)| run_of(row, i + 1, rate_hz, &mut faults)).collect();
    if faults.is_empty() { Ok(runs) } else { Err(Faults { file: file.to_owned(), faults }) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_run_is_read_with_its_uncertainties() {
        let text = "run,start_height_ft,split_frames,mark_2_before_foot_m,lip_speed_kmh,lip_speed_method,air_frames,landing_along_m,excluded,reason\n\
                    a,20,90,0,28,radar,80,3.5,,\nb,20,,,,,,,yes,braked\n";
        let runs = read_runs(text, "r.csv", Some(60.0)).unwrap();
        let a = &runs[0];
        assert_eq!(a.start, Some(Start::Height(6.096)));
        assert_eq!(a.split.unwrap().time.value, 1.5);
        assert!(a.split.unwrap().from_m.is_none());
        assert!((a.air_time.unwrap().sd - 1.0 / (60.0 * 6f64.sqrt())).abs() < 1e-12);
        assert_eq!(a.lip_speed.unwrap().1, Method::Radar);
        assert!(a.along.unwrap().assumed && !a.air_time.unwrap().assumed);
        assert_eq!(a.measured(), 4);
        assert_eq!(runs[1].excluded.as_deref(), Some("braked"));
    }

    #[test]
    fn what_does_not_go_together_is_said_all_at_once() {
        let text = "run,start_height_m,start_before_foot_m,split_time_s,mark_1_before_foot_m,mark_2_before_foot_m,air_time_s,air_frames,lip_speed_mps,lip_speed_method,excluded\n\
                    1,6,12,,,,,,8,,\n2,,,1.2,,,,,,,\n3,,,1.2,2,5,,,,,\n4,,,,,,1.2,70,,,\n5,,,,,,,70,,,\n6,,,,,,,,8,laser,\n7,,,,,,,,,,yes\n8,,,,,,,,,,\n";
        let said = read_runs(text, "r.csv", None).unwrap_err();
        let lines: Vec<usize> = said.faults.iter().map(|fault| fault.line).collect();
        assert_eq!(lines, [2, 3, 4, 5, 6, 7, 8, 9], "{said}");
        let said = said.to_string();
        for words in [
            "stated twice",
            "without its second mark",
            "does not come after",
            "counted in frames",
            "give --fps",
            "none of radar",
            "without a reason",
            "nothing was measured",
        ] {
            assert!(said.contains(words), "{words}: {said}");
        }
    }
}
