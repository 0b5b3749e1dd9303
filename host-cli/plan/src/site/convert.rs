//! One value of the file, turned into SI by the kind of its key.

use std::ops::Range;

use toml_edit::{Item, TableLike, Value};

use super::chain::{MAX_SECTIONS, Stated};
use super::element::{Placed, Places, described, element, unitless, unreadable, written, wrong_kind};
use super::example::example;
use super::fault::Complaint;
use super::ground;
use super::keys::{Key, Kind, nearest};
use super::land::Obstacle;
use super::quantity::parse_quantity;
use super::ranges::range;
use super::units::{Dimension, plain};
use crate::outside;
use landfall_core::blower::{MAX_CURVE_POINTS, MIN_CURVE_POINTS};

/// A value that was read.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Given {
    Text(String),
    Number(f64),
    Curve(Vec<(f64, f64)>),
    Sections(Vec<Stated>),
    Knots(Vec<(f64, f64)>),
    Profile(Vec<(f64, f64)>),
    Obstacles(Vec<Obstacle>),
}

/// Fewest and most points of a blower curve.
pub(super) const CURVE_POINTS: (usize, usize) = (MIN_CURVE_POINTS, MAX_CURVE_POINTS);
const LONGEST_NAME: usize = 120;

/// Reads the value of a key; `None` with at least one complaint where it cannot be.
pub(super) fn convert(key: &Key, item: &Item, out: &mut Vec<Placed>, places: &mut Places) -> Option<Given> {
    if key.kind == Kind::Sections {
        return sections(key, item, out, places).map(Given::Sections);
    }
    if key.kind == Kind::Obstacles {
        return ground::obstacles(key, item, out, places).map(Given::Obstacles);
    }
    let Some(value) = item.as_value() else {
        out.push((wrong_kind(key, "a table"), None));
        return None;
    };
    if key.kind == Kind::Curve {
        return curve(key, value, out, places).map(Given::Curve);
    }
    if key.kind == Kind::Knots {
        return knots(key, value, out, places).map(Given::Knots);
    }
    if key.kind == Kind::Profile {
        return ground::profile(key, value, out, places).map(Given::Profile);
    }
    let read = match key.kind {
        Kind::Text => text(key, value).map(Given::Text),
        Kind::Flag => {
            value.as_bool().map(|yes| Given::Number(f64::from(u8::from(yes)))).ok_or_else(|| no_flag(key, value))
        }
        Kind::Quantity(dimension) => quantity(key, dimension, value).map(Given::Number),
        Kind::Choice(words) => choice(key, words, value).map(Given::Number),
        _ => number(key, value).map(Given::Number),
    };
    read.map_err(|complaint| out.push((complaint, None))).ok()
}

/// What is neither true nor false, with what was meant by the words for it.
fn no_flag(key: &Key, value: &Value) -> Complaint {
    let complaint = wrong_kind(key, &described(value));
    let text = match value {
        Value::String(s) => s.value().trim().to_lowercase(),
        Value::Integer(i) => i.value().to_string(),
        _ => return complaint,
    };
    let meant = match text.as_str() {
        "yes" | "y" | "on" | "true" | "1" => "true",
        "no" | "n" | "off" | "false" | "0" => "false",
        _ => return complaint,
    };
    Complaint { cure: format!("write {} = {meant}, without quotes", key.name()), ..complaint }
}

/// The place of a word among those that the key takes; capitals do not matter.
fn choice(key: &Key, words: &[&str], value: &Value) -> Result<f64, Complaint> {
    let all = words.iter().map(|word| format!("\"{word}\"")).collect::<Vec<_>>().join(", ");
    let Some(text) = value.as_str() else {
        let message = format!("a text is wanted, not {}", described(value));
        return Err(Complaint::new(key.dotted, message, format!("write {} = one of {all}", key.name())));
    };
    if let Some(place) = words.iter().position(|word| word.eq_ignore_ascii_case(text.trim())) {
        return Ok(place as f64);
    }
    let meant = nearest(text, words.iter().copied());
    let near = meant.map_or_else(String::new, |near| format!("; \"{near}\" was perhaps meant"));
    Err(Complaint::new(key.dotted, format!("{} is unknown{near}", written(value)), format!("write one of {all}")))
}

fn text(key: &Key, value: &Value) -> Result<String, Complaint> {
    let Some(text) = value.as_str() else { return Err(wrong_kind(key, &described(value))) };
    let cure = "give a short name on one line";
    if text.trim().is_empty() {
        return Err(Complaint::new(key.dotted, "the text is empty; it is shown on every output", cure));
    }
    if outside::acting(text).is_some() || text.chars().count() > LONGEST_NAME {
        return Err(Complaint::new(
            key.dotted,
            format!("the text has line breaks or other control characters, or more than {LONGEST_NAME} characters"),
            cure,
        ));
    }
    Ok(text.trim().to_owned())
}

fn number(key: &Key, value: &Value) -> Result<f64, Complaint> {
    let si = match value {
        Value::Integer(i) => *i.value() as f64,
        Value::Float(f) => *f.value(),
        Value::String(s)
            if key.dotted == "bag.leak_coefficient" && parse_quantity(s.value(), Dimension::Flow).is_ok() =>
        {
            return Err(leak_as_flow(key, s.value()));
        }
        Value::String(s) => {
            let message = format!("a plain number is wanted, without quotes and unit; {} is a text", written(value));
            let digits = s.value().trim().trim_end_matches('%').split_whitespace().next().unwrap_or("");
            let cure = match digits.parse::<f64>() {
                Ok(n) if n.is_finite() && s.value().contains('%') => {
                    format!("write {} = {}", key.name(), plain(n / 100.0))
                }
                Ok(n) if n.is_finite() => format!("write {} = {digits}", key.name()),
                _ => format!("write {}", example(key.dotted)),
            };
            return Err(Complaint::new(key.dotted, message, cure));
        }
        _ => return Err(wrong_kind(key, &described(value))),
    };
    range(key, si, &written(value), None)?;
    Ok(si)
}

/// A flow in place of the leak coefficient: it was measured at some pressure, which decides the number.
fn leak_as_flow(key: &Key, written: &str) -> Complaint {
    // The exponent that is assumed, and a pressure that many bags stand at.
    const EXPONENT: f64 = 0.6;
    const PRESSURE_PA: f64 = 1000.0;
    let flow = parse_quantity(written, Dimension::Flow).map_or(0.0, |quantity| quantity.si);
    let coefficient = plain(flow / PRESSURE_PA.powf(EXPONENT));
    Complaint::new(
        key.dotted,
        format!("{written:?} is a flow at some pressure; the leak is stated as m3/s at 1 Pa, without quotes and unit"),
        format!(
            "divide the flow in m3/s by the pressure in Pa, at which it leaks so much, to the power of leak_exponent: at 1 kPa and \
             {EXPONENT} write leak_coefficient = {coefficient}; or leave it out and state bag.settled_pressure, which a gauge reads"
        ),
    )
}

fn quantity(key: &Key, dimension: Dimension, value: &Value) -> Result<f64, Complaint> {
    let in_range = |si: f64| (key.low..=key.high).contains(&si);
    let bare = match value {
        Value::Integer(i) => Some(*i.value() as f64),
        Value::Float(f) => Some(*f.value()),
        _ => None,
    };
    if let Some(number) = bare {
        return Err(unitless(key.dotted, key.name(), dimension, number, &written(value), in_range));
    }
    let Some(text) = value.as_str() else { return Err(wrong_kind(key, &described(value))) };
    let parsed = parse_quantity(text, dimension)
        .map_err(|error| unreadable(key.dotted, key.name(), dimension, text, &error, in_range))?;
    range(key, parsed.si, &written(value), Some(parsed.unit))?;
    Ok(parsed.si)
}

/// Flow and pressure that a blower may have: up to 100 m³/s and 20 kPa (assumed).
const FLOW: (f64, f64) = (0.0, 100.0);
const FAN_PRESSURE: (f64, f64) = (0.0, 20e3);

fn curve(key: &Key, value: &Value, out: &mut Vec<Placed>, places: &mut Places) -> Option<Vec<(f64, f64)>> {
    let before = out.len();
    let cure = "write it as [[\"1.9 m3/s\", \"0 Pa\"], [\"1.2 m3/s\", \"1.2 kPa\"], [\"0 m3/s\", \"2.0 kPa\"]]";
    let Some(list) = value.as_array() else {
        out.push((wrong_kind(key, &described(value)), None));
        return None;
    };
    if !(CURVE_POINTS.0..=CURVE_POINTS.1).contains(&list.len()) {
        let message = format!("{} to {} points are taken, not {}", CURVE_POINTS.0, CURVE_POINTS.1, list.len());
        out.push((
            Complaint::new(key.dotted, message, "give points of the maker's curve, from 0 Pa to zero flow"),
            None,
        ));
    }
    let mut points = Vec::with_capacity(list.len().min(CURVE_POINTS.1));
    for (i, point) in list.iter().enumerate().take(4 * CURVE_POINTS.1) {
        let name = format!("{}[{}]", key.dotted, i + 1);
        places.push((name.clone(), point.span()));
        let pair = point.as_array().filter(|pair| pair.len() == 2).map(|pair| (pair.get(0), pair.get(1)));
        let Some((Some(flow), Some(pressure))) = pair else {
            out.push((Complaint::new(name, "a point is a pair: the flow, then the pressure", cure), point.span()));
            continue;
        };
        let swapped = |v: &Value, d| v.as_str().is_some_and(|s| parse_quantity(s, d).is_ok());
        if swapped(flow, Dimension::Pressure) && swapped(pressure, Dimension::Flow) {
            let message = "flow and pressure are swapped: a point is the flow, then the pressure";
            out.push((Complaint::new(name, message, cure), point.span()));
            continue;
        }
        let flow = element(&name, Dimension::Flow, FLOW, flow, out);
        let pressure = element(&name, Dimension::Pressure, FAN_PRESSURE, pressure, out);
        if let (Some(flow), Some(pressure)) = (flow, pressure) {
            points.push((flow, pressure));
        }
    }
    (out.len() == before).then_some(points)
}

/// Fewest and most measured knots; the core keeps as many.
pub(super) const KNOTS: (usize, usize) = (1, 12);
/// Depth and area that a knot may have (assumed: deeper than the highest bag, wider than any crest).
const KNOT_DEPTH: (f64, f64) = (0.0, 10.0);
const KNOT_AREA: (f64, f64) = (0.0, 50.0);
const KNOT_CURE: &str =
    "write area = [[\"0.10 m\", \"0.9 m2\"], [\"0.60 m\", \"2.6 m2\"]]: each depth, then the area at it";

fn knots(key: &Key, value: &Value, out: &mut Vec<Placed>, places: &mut Places) -> Option<Vec<(f64, f64)>> {
    let before = out.len();
    let Some(list) = value.as_array() else {
        out.push((Complaint { cure: KNOT_CURE.to_owned(), ..wrong_kind(key, &described(value)) }, None));
        return None;
    };
    if !(KNOTS.0..=KNOTS.1).contains(&list.len()) {
        let message = format!("{} to {} depths are taken, not {}", KNOTS.0, KNOTS.1, list.len());
        let cure = "leave out those that lie on a straight line with their neighbours, or remove the key";
        out.push((Complaint::new(key.dotted, message, cure), None));
    }
    let mut knots = Vec::with_capacity(list.len().min(KNOTS.1));
    for (i, knot) in list.iter().enumerate().take(4 * KNOTS.1) {
        let name = format!("{}[{}]", key.dotted, i + 1);
        places.push((name.clone(), knot.span()));
        let pair = knot.as_array().filter(|pair| pair.len() == 2).map(|pair| (pair.get(0), pair.get(1)));
        let Some((Some(depth), Some(area))) = pair else {
            let without = knot.as_str().is_some_and(|s| parse_quantity(s, Dimension::Area).is_ok())
                || knot.as_array().is_some_and(|one| one.len() == 1);
            let message = if without {
                "the depth is missing: an area alone does not say where it was measured"
            } else {
                "a pair is wanted: the depth, then the area at it"
            };
            out.push((Complaint::new(name, message, KNOT_CURE), knot.span()));
            continue;
        };
        let is = |v: &Value, d| v.as_str().is_some_and(|s| parse_quantity(s, d).is_ok());
        if is(depth, Dimension::Area) && is(area, Dimension::Length) {
            let message = "depth and area are swapped: the depth comes first, then the area at it";
            out.push((Complaint::new(name, message, KNOT_CURE), knot.span()));
            continue;
        }
        let depth = element(&name, Dimension::Length, KNOT_DEPTH, depth, out);
        let area = element(&name, Dimension::Area, KNOT_AREA, area, out);
        if let (Some(depth), Some(area)) = (depth, area) {
            knots.push((depth, area));
        }
    }
    (out.len() == before).then_some(knots)
}

const SECTION_CURE: &str = "write a straight as {straight = \"6 m\", slope = \"30 deg\"} (down positive; without slope it keeps the \
                            angle), an arc as {arc = \"8 m\", turn = \"30 deg\"} (upward positive)";
const SECTION_LENGTH: (f64, f64) = (0.01, 500.0);
const SECTION_ANGLE: (f64, f64) = (-80.0 * std::f64::consts::PI / 180.0, 80.0 * std::f64::consts::PI / 180.0);
/// A turn goes at most from the steepest way down to the steepest way up.
const SECTION_TURN: (f64, f64) = (2.0 * SECTION_ANGLE.0, 2.0 * SECTION_ANGLE.1);

fn sections(key: &Key, item: &Item, out: &mut Vec<Placed>, places: &mut Places) -> Option<Vec<Stated>> {
    let before = out.len();
    type Listed<'a> = (Option<&'a dyn TableLike>, Option<Range<usize>>);
    let list: Vec<Listed<'_>> = if let Some(tables) = item.as_array_of_tables() {
        tables.iter().map(|t| (Some(t as &dyn TableLike), t.span())).collect()
    } else if let Some(array) = item.as_array() {
        array.iter().map(|v| (v.as_inline_table().map(|t| t as &dyn TableLike), v.span())).collect()
    } else {
        let got = item.as_value().map_or_else(|| "a table".to_owned(), described);
        out.push((wrong_kind(key, &got), None));
        return None;
    };
    if !(1..=MAX_SECTIONS).contains(&list.len()) {
        let message = format!("1 to {MAX_SECTIONS} sections are taken, not {}", list.len());
        out.push((Complaint::new(key.dotted, message, SECTION_CURE), None));
    }
    let mut stated = Vec::new();
    for (i, (table, span)) in list.into_iter().enumerate().take(2 * MAX_SECTIONS) {
        let name = format!("{}[{}]", key.dotted, i + 1);
        places.push((name.clone(), span.clone()));
        match table {
            Some(table) => stated.extend(section(&name, table, span, out)),
            None => out.push((Complaint::new(name, "a section is a table in braces", SECTION_CURE), span)),
        }
    }
    (out.len() == before).then_some(stated)
}

fn section(name: &str, table: &dyn TableLike, span: Option<Range<usize>>, out: &mut Vec<Placed>) -> Option<Stated> {
    const KNOWN: [&str; 4] = ["straight", "slope", "arc", "turn"];
    let before = out.len();
    for (word, _) in table.iter().filter(|(word, _)| !KNOWN.contains(word)) {
        let near = nearest(word, KNOWN).map_or_else(String::new, |near| format!("; {near:?} was perhaps meant"));
        let at = table.get_key_value(word).and_then(|(k, _)| k.span()).or_else(|| span.clone());
        out.push((Complaint::new(name, format!("the key {word:?} is unknown in a section{near}"), SECTION_CURE), at));
    }
    let mut read = |word: &str, dimension, limits| {
        let item = table.get(word)?;
        match item.as_value() {
            Some(value) => element(name, dimension, limits, value, out),
            None => {
                out.push((
                    Complaint::new(name, format!("{word} is {}, not a table", dimension.article()), SECTION_CURE),
                    span.clone(),
                ));
                None
            }
        }
    };
    let length_m = read("straight", Dimension::Length, SECTION_LENGTH);
    let slope_rad = read("slope", Dimension::Angle, SECTION_ANGLE);
    let radius_m = read("arc", Dimension::Length, SECTION_LENGTH);
    let turn_rad = read("turn", Dimension::Angle, SECTION_TURN);
    let has = |word| table.contains_key(word);
    let shape = match (has("straight"), has("slope"), has("arc"), has("turn")) {
        (true, _, false, false) | (false, false, true, true) => None,
        (false, false, true, false) => Some("an arc needs its turn"),
        (false, false, false, true) => Some("a turn needs the radius of its arc"),
        (false, true, false, false) => Some("a slope needs the length of its straight"),
        (false, false, false, false) => Some("a section needs straight, or arc and turn"),
        _ => Some("a section is either a straight (with slope) or an arc (with turn), not both"),
    };
    if let Some(message) = shape {
        // What an unknown key was meant for is not also reported as missing.
        if out.len() == before {
            out.push((Complaint::new(name, message, SECTION_CURE), span));
        }
        return None;
    }
    match (length_m, radius_m, turn_rad) {
        (Some(length_m), _, _) if out.len() == before => Some(Stated::Straight { length_m, slope_rad }),
        (_, Some(radius_m), Some(turn_rad)) if out.len() == before => Some(Stated::Arc { radius_m, turn_rad }),
        _ => None,
    }
}
