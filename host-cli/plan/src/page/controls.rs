//! The controls of a site file: every key with its unit, range, step, present value and meaning, from the one table of
//! keys.

use serde_json::{Value, json};

use crate::shown::{Shown, Toward};
use crate::site::{ASSUMED_AREA, Dimension, KEYS, Key, Kind, Preset, Site, SiteFile, TABLES, parse_quantity, plain};

/// The controls for a text, and the site that it reads as, if it does.
pub(super) fn controls(text: &str, site: Option<&Site>) -> Value {
    let Ok(file) = SiteFile::parse(text, "") else { return Value::Null };
    let has_sections = file.value("roll_in.section").is_some();
    // A list of tables is edited in the text alone.
    KEYS.iter().filter(|key| key.kind != Kind::Obstacles).map(|key| control(key, &file, site, has_sections)).collect()
}

/// The tables in the order of the file, with their meaning.
pub(super) fn tables() -> Value {
    TABLES.iter().map(|(name, help)| json!({"name": name, "title": name.replace('_', " "), "help": help})).collect()
}

fn control(key: &Key, file: &SiteFile, site: Option<&Site>, has_sections: bool) -> Value {
    let stated = file.plain_value(key.dotted);
    let applies = applies(key, file);
    let si = site.and_then(|site| key.get(site)).or_else(|| preset_si(key)).filter(|_| applies);
    // What stands in the control: the file's own words, else the value that is taken.
    let shown = stated.clone().or_else(|| si.map(|si| key.show(si))).unwrap_or_default();
    let is_simple = matches!(key.dotted, "roll_in.slope" | "roll_in.bottom_radius" | "roll_in.flat_run");
    let mut control = json!({
        "key": key.dotted,
        "table": key.table(),
        "title": key.name().replace('_', " "),
        "help": key.help,
        "kind": kind(key.kind),
        "preset": preset_words(key.preset),
        "can_be_left_out": key.preset != Preset::Required,
        "stated": stated.is_some(),
        "shown": shown,
        "active": applies && !(is_simple && has_sections),
    });
    let more = match key.kind {
        Kind::Quantity(dimension) => quantity(key, dimension, &shown, si, site.map(Shown::of)),
        Kind::Number | Kind::Count => {
            let value = shown.parse::<f64>().ok().filter(|value| value.is_finite());
            let whole = key.kind == Kind::Count;
            json!({
                "number": value.map(plain_whole), "unit": Value::Null, "units": [range(key, None, si, whole)],
            })
        }
        Kind::Flag => json!({"choices": [["true", "yes"], ["false", "no"]]}),
        Kind::Curve => json!({
            "columns": ["flow", "pressure"], "rows": rows(file, key.dotted, site),
            "row": ["0 m3/s", "0 kPa"], "names": [["", ""]],
        }),
        Kind::Choice(words) => json!({"choices": words.iter().map(|word| [word, word]).collect::<Vec<_>>()}),
        Kind::Knots => json!({
            "columns": ["depth", "area"], "rows": rows(file, key.dotted, site),
            "row": ["0.10 m", "0.9 m2"], "names": [["", ""]],
        }),
        Kind::Profile => json!({
            "columns": ["from the lip", "height"], "rows": rows(file, key.dotted, site),
            "row": ["10 m", "0 m"], "names": [["", ""]],
        }),
        Kind::Sections => json!({
            "columns": ["length or radius", "slope or turn"], "rows": rows(file, key.dotted, site),
            "row": ["6 m", "30 deg"], "names": [["straight", "slope"], ["arc", "turn"]],
        }),
        _ => json!({}),
    };
    if let (Some(control), Value::Object(more)) = (control.as_object_mut(), more) {
        control.extend(more);
    }
    control
}

/// Whether the key has a meaning beside what the file states: measured areas and the three numbers exclude each other, and
/// so do the settled pressure and the leak.
fn applies(key: &Key, file: &SiteFile) -> bool {
    let has = |dotted: &str| file.value(dotted).is_some();
    match key.dotted {
        "unknown.area" => has("bag.area"),
        "bag.leak_coefficient" => !has("bag.settled_pressure"),
        dotted if ASSUMED_AREA.contains(&dotted) => !has("bag.area"),
        _ => true,
    }
}

const fn kind(kind: Kind) -> &'static str {
    match kind {
        Kind::Text => "text",
        // Both are chosen from a list.
        Kind::Flag | Kind::Choice(_) => "flag",
        Kind::Count => "count",
        Kind::Number => "number",
        Kind::Quantity(_) => "quantity",
        // Both are lists of pairs.
        Kind::Curve | Kind::Knots | Kind::Profile => "curve",
        Kind::Sections | Kind::Obstacles => "sections",
    }
}

/// What stands for a key that the file leaves out, in words for the page.
fn preset_words(preset: Preset) -> String {
    match preset {
        Preset::Required => String::new(),
        Preset::Is(text) => format!("not stated: {text} is assumed"),
        Preset::Of(other) => format!("not stated: as {other}"),
        Preset::From(how) => format!("not stated: {how}"),
        Preset::Absent(when) => when.to_owned(),
    }
}

fn preset_si(key: &Key) -> Option<f64> {
    let Preset::Is(text) = key.preset else { return None };
    match key.kind {
        Kind::Quantity(dimension) => parse_quantity(text, dimension).ok().map(|quantity| quantity.si),
        Kind::Flag => Some(f64::from(u8::from(text == "true"))),
        Kind::Choice(words) => words.iter().position(|word| *word == text).map(|place| place as f64),
        _ => text.parse().ok(),
    }
}

/// A whole number as it is, any other with six digits.
fn plain_whole(value: f64) -> String {
    if value.fract() == 0.0 && value.abs() < 9.0e15 { format!("{value:.0}") } else { plain(value) }
}

/// A number and a unit where the text is just that; what is written in another way stands as it is.
fn quantity(key: &Key, dimension: Dimension, shown: &str, si: Option<f64>, here: Option<Shown>) -> Value {
    let usual = dimension.usual();
    let read = parse_quantity(shown, dimension).ok();
    let unit = read.as_ref().map(|quantity| quantity.unit).filter(|unit| usual.contains(unit));
    let number = unit.and_then(|unit| shown.strip_suffix(unit)).map(str::trim_end);
    let number = number.filter(|number| number.parse::<f64>().is_ok());
    let si = read.as_ref().map(|quantity| quantity.si).or(si);
    json!({
        "number": number,
        "unit": number.and(unit),
        "here": here.and_then(|here| in_the_sites_units(here, dimension, number.and(unit), si?)),
        "units": usual.iter().map(|unit| range(key, Some((dimension, unit)), si, false)).collect::<Vec<_>>(),
    })
}

/// A value that stands in another unit than the site's people use, in theirs; none where it stands in it already.
fn in_the_sites_units(here: Shown, dimension: Dimension, unit: Option<&str>, si: f64) -> Option<String> {
    let usual: &[&str] = match (dimension, here.is_imperial()) {
        (Dimension::Length, false) => &["m", "cm", "mm"],
        (Dimension::Length, true) => &["ft", "in", "'", "\""],
        (Dimension::Area, false) => &["m2", "cm2"],
        (Dimension::Area, true) => &["ft2", "in2"],
        (Dimension::Speed, false) => &["m/s", "km/h"],
        (Dimension::Speed, true) => &["mph"],
        (Dimension::Pressure, _) => &[here.gauge().word()],
        (Dimension::Volume | Dimension::Flow | Dimension::Mass | Dimension::Force | Dimension::Temperature, _) => {
            &[here.unit(dimension)]
        }
        _ => return None,
    };
    let stands = unit.is_some_and(|unit| usual.contains(&unit));
    let words = match dimension {
        Dimension::Speed => here.fine_speed(si, Toward::Nearest),
        _ => here.quantity(dimension, si, Toward::Nearest),
    };
    (!stands && si.is_finite()).then_some(words)
}

/// The range of a key in a unit: the allowed one, and the one that its slider spans.
fn range(key: &Key, unit: Option<(Dimension, &str)>, si: Option<f64>, whole: bool) -> Value {
    let found = unit.and_then(|(dimension, name)| dimension.units().find(|unit| unit.name == name));
    let of = |si: f64| found.map_or(si, |unit| unit.from_si(si));
    let (low, high) = (of(key.low), of(key.high));
    let value = si.map(of).filter(|value| value.is_finite());
    let slider = Slider::about(value, (low, high), whole);
    json!({
        "unit": unit.map(|(_, name)| name),
        "factor": found.map_or(1.0, |unit| unit.factor),
        "offset": found.map_or(0.0, |unit| unit.offset),
        "low": plain(low), "high": plain(high),
        "from": slider.from, "to": slider.to, "step": slider.step, "places": slider.places,
        "at": value,
    })
}

/// What a slider spans: near enough to the value that a finger can set it, on round numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Slider {
    from: f64,
    to: f64,
    step: f64,
    places: usize,
}

impl Slider {
    fn about(value: Option<f64>, (low, high): (f64, f64), whole: bool) -> Self {
        let size = value.map_or(0.0, f64::abs);
        let all = high - low;
        let (from, to) = if low > 0.0 && high / low < 25.0 || all <= 1.0 && size == 0.0 {
            (low, high)
        } else if low < 0.0 {
            let reach = (2.0 * size).max(all / 6.0);
            (low.max(-reach), high.min(reach))
        } else {
            let reach = if size > 0.0 { 2.0 * size } else { all / 20.0 };
            (low, high.min(low.max(0.0) + if whole { reach.max(10.0) } else { reach }))
        };
        let least = if whole { 1.0 } else { 0.0 };
        let step = below((to - from) / 150.0).max(least);
        // A narrow range may hold no two steps: then it is taken as it is.
        let (first, last) = ((from / step - 1.0e-9).ceil(), (to / step + 1.0e-9).floor());
        if !(step > 0.0) || last <= first {
            return Self { from, to, step: (to - from) / 100.0, places: 6 };
        }
        let places = (-step.log10().floor()).max(0.0) as usize;
        Self { from: rounded(first * step, places), to: rounded(last * step, places), step, places }
    }
}

/// A number without the last bits that a multiplication leaves: 0.3 and not 0.30000000000000004.
fn rounded(value: f64, places: usize) -> f64 {
    format!("{value:.places$}").parse().unwrap_or(value)
}

/// The largest of 1, 2 and 5 times a power of ten that is not above a positive number.
fn below(value: f64) -> f64 {
    if !(value > 0.0) {
        return 0.0;
    }
    let power = value.log10().floor() as i32;
    let ten: f64 = format!("1e{power}").parse().unwrap_or(1.0);
    [5.0, 2.0, 1.0]
        .iter()
        .map(|digit| rounded(digit * ten, (-power).max(0) as usize))
        .find(|n| *n <= value * 1.000_001)
        .unwrap_or(ten)
}

/// The rows of a list as they stand in the file; for each its kind and its two texts.
fn rows(file: &SiteFile, dotted: &str, site: Option<&Site>) -> Value {
    let _ = site;
    file.rows(dotted)
        .map(|rows| {
            rows.into_iter()
                .map(|row| {
                    let first = row.first().map_or("", |(name, _)| name.as_str());
                    json!({
                        "name": first,
                        "cells": row.iter().map(|(_, text)| text.as_str()).collect::<Vec<_>>(),
                    })
                })
                .collect()
        })
        .unwrap_or(Value::Null)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::{demo, demo_text, starter};

    #[test]
    fn steps_are_round_numbers() {
        for (value, expected) in [(0.08, 0.05), (0.05, 0.05), (1.0, 1.0), (3.9, 2.0), (700.0, 500.0), (2.1e-7, 2.0e-7)]
        {
            assert_eq!(below(value), expected);
        }
    }

    #[test]
    fn a_slider_holds_its_value_within_the_allowed_range() {
        let site = demo();
        for key in KEYS.iter().filter(|key| key.is_numeric()) {
            for unit in match key.kind {
                Kind::Quantity(dimension) => dimension.usual().iter().map(|name| Some((dimension, *name))).collect(),
                _ => vec![None],
            } {
                let si = key.get(&site);
                let value = range(key, unit, si, key.kind == Kind::Count);
                let of = |name: &str| value[name].as_f64().unwrap();
                assert!(of("from") < of("to") && of("step") > 0.0, "{} {value}", key.dotted);
                // A step at the ends may fall short of the range's own end.
                if let Some(at) = value["at"].as_f64() {
                    assert!((of("from") - of("step")..=of("to") + of("step")).contains(&at), "{} {value}", key.dotted);
                }
                let steps = (of("to") - of("from")) / of("step");
                assert!((5.0..=1000.0).contains(&steps), "{} {value}", key.dotted);
            }
        }
    }

    /// A file in feet and a site in metres, and the other way round: the control says the value in the site's units too.
    #[test]
    fn a_value_in_another_unit_than_the_sites_is_said_in_the_sites_too() {
        let here = |text: &str, key: &str| {
            let site = crate::site::read_site(text, "a").unwrap();
            let list = controls(text, Some(&site));
            list.as_array().unwrap().iter().find(|control| control["key"] == key).unwrap()["here"].clone()
        };
        let metric = demo_text();
        assert_eq!(here(metric, "takeoff.height"), "2.44 m");
        assert_eq!(here(metric, "bag.length"), Value::Null);
        let imperial = metric.replacen("[site]\n", "[site]\nunits = \"imperial\"\ngauge = \"inH2O\"\n", 1);
        assert_eq!(here(&imperial, "takeoff.height"), Value::Null);
        let length = crate::site::read_site(&imperial, "a").unwrap().bag.length_m;
        let said = Shown::of(&crate::site::read_site(&imperial, "a").unwrap()).length(length, Toward::Nearest);
        assert_eq!(here(&imperial, "bag.length"), Value::from(said.clone()));
        assert!(said.contains(" ft"), "{said}");
        assert!(here(&imperial, "bag.pressure_max").as_str().unwrap().ends_with(" inH2O"));
    }

    #[test]
    fn every_key_has_a_control_with_what_stands_in_the_file() {
        let list = controls(demo_text(), Some(&demo()));
        // All but the list of obstacles, which is edited in the text.
        assert_eq!(list.as_array().unwrap().len(), KEYS.len() - 1);
        let of = |key: &str| list.as_array().unwrap().iter().find(|control| control["key"] == key).unwrap().clone();
        let height = of("takeoff.height");
        assert_eq!((&height["number"], &height["unit"], &height["shown"]), (&"8".into(), &"ft".into(), &"8 ft".into()));
        // Not stated: the value that follows from the others.
        assert_eq!(
            (&of("takeoff.lip_angle")["stated"], of("takeoff.lip_angle")["shown"].as_str().unwrap().ends_with("deg")),
            (&false.into(), true)
        );
        assert_eq!(of("blower.curve")["rows"][1]["cells"], json!(["0.95 m3/s", "0.4 kPa"]));
        assert_eq!(
            (&of("blower.count")["number"], &of("blower.count")["units"][0]["step"]),
            (&"2".into(), &1.0.into())
        );
        assert_eq!(of("site.name")["kind"], "text");
        // Words instead of a number and a unit stand as they are.
        let other = demo_text().replace("\"8 ft\"\nradius", "\"8 ft 0 in\"\nradius");
        let list = controls(&other, None);
        let height = list.as_array().unwrap().iter().find(|control| control["key"] == "takeoff.height").unwrap();
        assert_eq!((&height["shown"], &height["number"]), (&"8 ft 0 in".into(), &Value::Null));
        assert!(controls(starter(), None).as_array().is_some() && controls("[", None).is_null());
    }
}
