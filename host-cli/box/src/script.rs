//! What goes wrong in a simulation: one happening a line.
//!
//! ```text
//! # time: what [value] [for time]
//! 2 min: cut for 20 s
//! 5 min: leak 40 cm2 for 1 min
//! 8 min: sensor frozen for 10 s
//! 9 min: hold for 3 s
//! ```

use landfall_core::watch::ResetCause;
use landfall_firmware::sensor::Fault;

use landfall_plan::site::{Dimension, parse_quantity};

/// What the sensor does wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// The driver reports a fault.
    Says(Fault),
    /// It repeats the last reading.
    Frozen,
    /// It scatters far more than a bag does.
    Noisy,
    /// Every other reading jumps by kilopascals.
    Jumps,
    /// It reads far above its range.
    Beyond,
}

/// Words for the sensor's faults.
pub const WRONGS: [(&str, Wrong); 11] = [
    ("no_answer", Wrong::Says(Fault::NoAnswer)),
    ("bus", Wrong::Says(Fault::Bus)),
    ("corrupt", Wrong::Says(Fault::Corrupt)),
    ("wrong_part", Wrong::Says(Fault::WrongPart)),
    ("broken", Wrong::Says(Fault::Broken)),
    ("out_of_range", Wrong::Says(Fault::OutOfRange)),
    ("not_ready", Wrong::Says(Fault::NotReady)),
    ("frozen", Wrong::Frozen),
    ("noisy", Wrong::Noisy),
    ("jumps", Wrong::Jumps),
    ("beyond", Wrong::Beyond),
];

/// What happens.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Happening {
    /// The blowers' supply is off.
    Cut,
    /// The blowers stand still though their supply is on.
    Stall,
    /// A hole, m².
    Leak(f64),
    /// The sensor is wrong.
    Sensor(Wrong),
    /// The second sensor reads so much more than it should, Pa.
    Apart(f64),
    /// The permit's relay is welded.
    Welded,
    /// One blower of several stands still, from 0; the bag is taken to hold with the others.
    Still(u8),
    /// The battery has this voltage, V.
    Battery(f64),
    /// The box's button is held down.
    Hold,
    /// The box is not stepped: its program hangs.
    Hang,
    /// The box starts anew.
    Reset(ResetCause),
    /// Somebody lands, whatever the lamp says.
    Land,
    /// Nobody rides.
    Pause,
    /// The line to the board at the top is cut.
    TopAway,
}

/// A happening and when.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scripted {
    /// From, s.
    pub at_s: f64,
    /// To, s; infinite where no length was given.
    pub until_s: f64,
    /// What.
    pub what: Happening,
}

/// Reads a whole script; every fault at once, each with its line.
///
/// # Errors
/// The faults.
pub fn parse(text: &str) -> Result<Vec<Scripted>, Vec<String>> {
    let mut faults = Vec::new();
    let mut list = Vec::new();
    for (index, line) in text.lines().enumerate() {
        let line = line.split('#').next().unwrap_or("").trim();
        if line.is_empty() {
            continue;
        }
        match parse_line(line) {
            Ok(one) => list.push(one),
            Err(fault) => faults.push(format!("line {}: {fault}", index + 1)),
        }
    }
    if faults.is_empty() { Ok(list) } else { Err(faults) }
}

fn time(text: &str) -> Result<f64, String> {
    match parse_quantity(text.trim(), Dimension::Time) {
        Ok(time) if time.si >= 0.0 => Ok(time.si),
        Ok(_) => Err(format!("{text:?} is negative")),
        Err(error) => Err(format!("{error}; write a time as \"20 s\" or \"5 min\"")),
    }
}

/// One line, `TIME: WHAT [VALUE] [for TIME]`.
///
/// # Errors
/// What is wrong with it.
pub fn parse_line(line: &str) -> Result<Scripted, String> {
    let (at, rest) = line.split_once(':').ok_or("write it as TIME: WHAT, such as \"2 min: cut for 20 s\"")?;
    let at_s = time(at)?;
    let (what, length_s) = match rest.split_once(" for ") {
        Some((what, length)) => (what.trim(), Some(time(length)?)),
        None => (rest.trim(), None),
    };
    let (word, value) = what.split_once(' ').map_or((what, ""), |(word, value)| (word, value.trim()));
    let wrong = || WRONGS.iter().find(|(name, _)| *name == value).map(|(_, wrong)| *wrong);
    let names = || WRONGS.map(|(name, _)| name).join(", ");
    let happening = match word {
        "cut" => Happening::Cut,
        "stall" => Happening::Stall,
        "leak" => Happening::Leak(
            parse_quantity(value, Dimension::Area)
                .map_err(|error| format!("{error}; write a leak as \"leak 40 cm2\""))?
                .si,
        ),
        "sensor" => {
            Happening::Sensor(wrong().ok_or_else(|| format!("sensor {value:?} is unknown: one of {}", names()))?)
        }
        "apart" => Happening::Apart(
            parse_quantity(value, Dimension::Pressure)
                .map_err(|error| format!("{error}; write it as \"apart 60 Pa\""))?
                .si,
        ),
        "welded" => Happening::Welded,
        "still" => match value.parse::<u8>() {
            Ok(number @ 1..=4) => Happening::Still(number - 1),
            _ => return Err(format!("still {value:?}: give the blower's number, 1 to 4")),
        },
        "battery" => Happening::Battery(
            parse_quantity(value, Dimension::Voltage)
                .map_err(|error| format!("{error}; write it as \"battery 11.8 V\""))?
                .si,
        ),
        "hold" => Happening::Hold,
        "hang" => Happening::Hang,
        "top_away" => Happening::TopAway,
        "reset" => Happening::Reset(match value {
            "power" => ResetCause::PowerOn,
            "brown_out" => ResetCause::BrownOut,
            "watchdog" => ResetCause::Watchdog,
            _ => return Err(format!("reset {value:?} is unknown: one of power, brown_out, watchdog")),
        }),
        "land" => Happening::Land,
        "pause" => Happening::Pause,
        _ => {
            return Err(format!(
                "{word:?} is unknown: one of cut, stall, leak, sensor, apart, welded, still, battery, hold, hang, reset, land, \
                 pause, top_away"
            ));
        }
    };
    Ok(Scripted { at_s, until_s: at_s + length_s.unwrap_or(f64::INFINITY), what: happening })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_is_read() {
        let text = "# a bad day\n2 min: cut for 20 s\n\n5 min: leak 40 cm2 # seam\n8 min: sensor frozen for 10 s\n1 s: reset watchdog";
        let list = parse(text).unwrap();
        assert_eq!(list[0], Scripted { at_s: 120.0, until_s: 140.0, what: Happening::Cut });
        assert!(
            matches!(list[1].what, Happening::Leak(m2) if (m2 - 0.004).abs() < 1e-9) && list[1].until_s.is_infinite()
        );
        assert_eq!(list[2].what, Happening::Sensor(Wrong::Frozen));
        assert_eq!(list[3].what, Happening::Reset(ResetCause::Watchdog));
        let parts = parse("1 s: welded\n2 s: still 2\n3 s: battery 11.8 V\n4 s: apart -60 Pa").unwrap();
        let whats: Vec<Happening> = parts.iter().map(|one| one.what).collect();
        let wanted = [Happening::Welded, Happening::Still(1), Happening::Battery(11.8), Happening::Apart(-60.0)];
        assert_eq!(whats, wanted);
        assert!(parse_line("1 s: still 5").is_err() && parse_line("1 s: battery low").is_err());
    }

    #[test]
    fn all_faults_come_at_once() {
        let faults = parse("cut\n2 s: melt\n3 s: sensor odd\n4: cut\n5 s: leak 3 m\n6 s: cut for ever").unwrap_err();
        assert_eq!(faults.len(), 6, "{faults:?}");
        assert!(faults[1].contains("line 2") && faults[1].contains("melt"));
    }
}
