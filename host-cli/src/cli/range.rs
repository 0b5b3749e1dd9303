//! Ranges of values on the command line: `3 m..5 m/9`, `3..5 m/0.5 m`, `3 m,4 m,8 m`.

use std::str::FromStr;

use landfall_plan::site::{Dimension, KEYS, Key, Kind, UNITS, find_key, nearest, parse_quantity, plain};

/// Most points of one range.
const MOST: usize = 1_000_000;

/// One value of a range.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Point {
    /// In SI; a flag as 0 or 1.
    pub si: f64,
    /// In the unit of the range.
    pub shown: f64,
}

/// A range in the unit that it was written in.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Range {
    /// The unit; empty for pure numbers.
    pub unit: &'static str,
    /// At least one value.
    pub points: Vec<Point>,
}

/// A key of the site file and the values that it takes.
#[derive(Clone, Debug)]
pub(crate) struct Vary {
    /// The key.
    pub key: &'static Key,
    /// Its values.
    pub range: Range,
}

impl Vary {
    /// The heading of its column: the key and the unit.
    pub(crate) fn heading(&self) -> String {
        let unit = self.range.unit;
        if unit.is_empty() { self.key.dotted.to_owned() } else { format!("{} [{unit}]", self.key.dotted) }
    }
}

impl FromStr for Vary {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (name, range) = text.split_once('=').ok_or("write it as KEY=RANGE, such as \"bag.gap=3 m..5 m/9\"")?;
        let key = find_key(name.trim()).ok_or_else(|| unknown(name.trim()))?;
        if !key.is_numeric() && key.kind != Kind::Flag {
            return Err(format!("{} is not one number and cannot be varied", key.dotted));
        }
        let range = Range::parse(range, key.kind)?;
        Ok(Self { key, range })
    }
}

/// What is said about a key that the site file does not have.
fn unknown(name: &str) -> String {
    let same_name = KEYS.iter().find(|key| key.name() == name).map(|key| key.dotted);
    match same_name.or_else(|| nearest(name, KEYS.iter().map(|key| key.dotted))) {
        Some(near) => format!("{name:?} is no key of the site file; {near:?} was perhaps meant"),
        None => format!("{name:?} is no key of the site file; `landfall new` shows them all"),
    }
}

impl Range {
    /// A range of lengths.
    pub(crate) fn of_lengths(text: &str) -> Result<Self, String> {
        Self::parse(text, Kind::Quantity(Dimension::Length))
    }

    /// Reads a range of values of one kind.
    ///
    /// `FROM..TO/COUNT` has so many values, both ends among them; `FROM..TO/STEP`, with the step's unit, goes from
    /// the first by steps and does not pass the last; values with commas are taken as they stand. FROM may leave out
    /// the unit that TO has.
    pub(crate) fn parse(text: &str, kind: Kind) -> Result<Self, String> {
        let Some((from, rest)) = text.split_once("..") else { return Self::list(text, kind) };
        let how = "write it as FROM..TO/COUNT, such as \"3 m..5 m/9\", or with commas between the values";
        let (to, by) = split_step(rest).ok_or_else(|| format!("{text:?} says no number of points; {how}"))?;
        let (to, unit) = value(to, kind, None)?;
        let (from, _) = value(from, kind, Some(unit))?;
        let points = match by.trim().parse::<f64>() {
            Ok(count) if count.fract() == 0.0 && count >= 2.0 && count <= MOST as f64 => {
                let last = count as usize - 1;
                (0..=last).map(|i| if i == last { to } else { from + (to - from) * (i as f64 / last as f64) }).collect()
            }
            Ok(_) => {
                return Err(format!(
                    "{by:?} is no number of points from 2 to {MOST}; a step is written with its unit; {how}"
                ));
            }
            Err(_) => by_step(from, to, by, kind)?,
        };
        Ok(Self::of(points, unit, kind))
    }

    fn list(text: &str, kind: Kind) -> Result<Self, String> {
        // The unit of the last value serves for those without one.
        let unit = text.rsplit(',').next().and_then(|last| value(last, kind, None).ok()).map(|(_, unit)| unit);
        let values: Result<Vec<_>, String> = text.split(',').map(|part| value(part, kind, unit)).collect();
        let values = values?;
        let unit = unit.or_else(|| values.first().map(|(_, unit)| *unit)).unwrap_or("");
        Ok(Self::of(values.into_iter().map(|(si, _)| si).collect(), unit, kind))
    }

    fn of(points: Vec<f64>, unit: &'static str, kind: Kind) -> Self {
        let found = match kind {
            Kind::Quantity(dimension) => UNITS.iter().find(|u| u.dimension == dimension && u.name == unit),
            _ => None,
        };
        let shown = |si: f64| tidy(found.map_or(si, |unit| unit.from_si(si)));
        Self { unit, points: points.into_iter().map(|si| Point { si, shown: shown(si) }).collect() }
    }
}

/// Without the dust of the conversion and of the steps.
fn tidy(value: f64) -> f64 {
    format!("{value:.9e}").parse().unwrap_or(value)
}

/// The last `/` with a number behind it divides; the `/` of a unit has none.
fn split_step(text: &str) -> Option<(&str, &str)> {
    let starts = |rest: &str| rest.trim_start().starts_with(|c: char| c.is_ascii_digit() || c == '.' || c == '-');
    text.rmatch_indices('/')
        .filter_map(|(at, _)| text.split_at_checked(at))
        .filter_map(|(to, rest)| Some((to, rest.strip_prefix('/')?)))
        .find(|(_, rest)| starts(rest))
}

fn by_step(from: f64, to: f64, by: &str, kind: Kind) -> Result<Vec<f64>, String> {
    let Kind::Quantity(dimension) = kind else {
        return Err(format!("{by:?} is no number of points"));
    };
    let step = parse_quantity(by, dimension).map_err(|e| e.to_string())?;
    // A step of temperature has no zero of its own.
    let zero = parse_quantity(&format!("0 {}", step.unit), dimension).map_or(0.0, |q| q.si);
    let step = step.si - zero;
    let steps = (to - from) / step;
    if !(steps >= 0.0 && steps < MOST as f64) {
        return Err(format!("steps of {by:?} do not lead from the first value to the last"));
    }
    // A last value that is missed by rounding only still counts.
    Ok((0..=(steps + 1e-6).floor() as usize).map(|i| from + i as f64 * step).collect())
}

/// One value in SI, and the unit that it was written in.
fn value(text: &str, kind: Kind, unit: Option<&'static str>) -> Result<(f64, &'static str), String> {
    let text = text.trim();
    match kind {
        Kind::Quantity(dimension) => {
            let bare: Option<f64> = text.parse().ok();
            let whole = match (bare, unit) {
                (Some(_), Some(unit)) => format!("{text} {unit}"),
                _ => text.to_owned(),
            };
            let usual = dimension.shown_in();
            match parse_quantity(&whole, dimension) {
                Ok(quantity) => Ok((quantity.si, quantity.unit)),
                Err(error) => {
                    Err(format!("{error}; write {} such as \"{} {usual}\"", dimension.article(), example(bare)))
                }
            }
        }
        Kind::Flag => match text {
            "true" => Ok((1.0, "")),
            "false" => Ok((0.0, "")),
            _ => Err(format!("{text:?} is neither true nor false")),
        },
        _ => match text.replace('_', "").parse::<f64>() {
            Ok(number) if number.is_finite() => Ok((number, "")),
            _ => Err(format!("{text:?} is no number; this key is a pure number, without a unit")),
        },
    }
}

fn example(bare: Option<f64>) -> String {
    bare.filter(|b| b.is_finite()).map_or_else(|| "2.5".to_owned(), plain)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(text: &str) -> Vec<f64> {
        text.parse::<Vary>().unwrap().range.points.iter().map(|p| p.shown).collect()
    }

    #[test]
    fn counts_steps_and_lists_are_read() {
        assert_eq!(shown("bag.gap=3 m..5 m/5"), [3.0, 3.5, 4.0, 4.5, 5.0]);
        assert_eq!(shown("bag.gap=3..5 m/0.5 m"), [3.0, 3.5, 4.0, 4.5, 5.0]);
        assert_eq!(shown("bag.gap=5 m..3 m/-1m"), [5.0, 4.0, 3.0]);
        assert_eq!(shown("bag.gap=1, 2, 4 m"), [1.0, 2.0, 4.0]);
        assert_eq!(shown("wind.along=-3 m/s..3 m/s/3"), [-3.0, 0.0, 3.0]);
        assert_eq!(shown("wind.along=-3..3 m/s/1.5 m/s"), [-3.0, -1.5, 0.0, 1.5, 3.0]);
        assert_eq!(shown("blower.count=1..4/4"), [1.0, 2.0, 3.0, 4.0]);
        assert_eq!(shown("blower.closing_flap=true,false"), [1.0, 0.0]);
        assert_eq!(shown("bag.skin_stretch=1e-5 /Pa..3e-5 /Pa/3"), [1e-5, 2e-5, 3e-5]);
        assert_eq!(shown("rider.carry=0.5"), [0.5]);
    }

    #[test]
    fn values_go_to_si_and_show_in_their_unit() {
        // 1 ft = 0.3048 m exactly (NIST SP 811).
        let vary: Vary = "takeoff.radius=10 ft..20 ft/3".parse().unwrap();
        assert_eq!(vary.heading(), "takeoff.radius [ft]");
        let si: Vec<f64> = vary.range.points.iter().map(|p| p.si).collect();
        assert!(si.iter().zip([3.048, 4.572, 6.096]).all(|(a, b)| (a - b).abs() < 1e-12), "{si:?}");
        // A step of 10 °F from 50 °F: 10 °C, then 15.56 °C.
        let vary: Vary = "site.air_temperature=50 degF..68 degF/9 degF".parse().unwrap();
        let si: Vec<f64> = vary.range.points.iter().map(|p| p.si).collect();
        assert!(si.iter().zip([283.15, 288.15, 293.15]).all(|(a, b)| (a - b).abs() < 1e-9), "{si:?}");
        assert_eq!(shown("site.air_temperature=50..68 degF/9 degF"), [50.0, 59.0, 68.0]);
    }

    #[test]
    fn what_cannot_be_read_is_said() {
        let said = |text: &str| text.parse::<Vary>().unwrap_err();
        assert!(said("bag.gab=1 m..2 m/3").contains("\"bag.gap\" was perhaps meant"));
        assert!(said("gap=1 m..2 m/3").contains("\"bag.gap\" was perhaps meant"));
        assert!(said("site.name=x").contains("cannot be varied"));
        assert!(said("bag.gap").contains("KEY=RANGE"));
        assert!(said("bag.gap=1 m..2 m").contains("says no number of points"));
        assert!(said("bag.gap=1..2/3").contains("no unit"));
        assert!(said("bag.gap=1 m..2 m/1").contains("no number of points"));
        assert!(said("bag.gap=1 m..2 m/2.5").contains("no number of points"));
        assert!(said("bag.gap=1 m..2 m/0 m").contains("do not lead"));
        assert!(said("bag.gap=1 m..2 m/-1 m").contains("do not lead"));
        assert!(said("bag.gap=1 kg..2 kg/3").contains("measures a mass"));
        assert!(said("rider.carry=0..x/3").contains("pure number"));
        assert!(said("rider.carry=nan").contains("no number"));
        assert!(said("bag.gap=1 m..2 m/9000000").contains("no number of points"));
    }
}
