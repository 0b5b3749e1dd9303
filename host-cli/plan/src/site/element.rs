//! One quantity, by itself or in a list, and what is said of values of another kind.

use std::ops::Range;

use toml_edit::Value;

use super::example::example;
use super::fault::Complaint;
use super::keys::{Key, Kind};
use super::quantity::{QuantityError, parse_quantity};
use super::ranges::range;
use super::units::Dimension;

/// A complaint with the part of the file that it points at, where that is not the whole value.
pub(super) type Placed = (Complaint, Option<Range<usize>>);

/// Where the elements of a list stand, by the name that complaints about them use.
pub(super) type Places = Vec<(String, Option<Range<usize>>)>;

/// A value as it is written, cut where it is long.
/// The value as it is written, for messages.
pub(super) fn written(value: &Value) -> String {
    let text = match value {
        Value::String(s) => format!("\"{}\"", s.value()),
        Value::Integer(i) => i.value().to_string(),
        Value::Float(f) => format!("{:?}", f.value()).to_lowercase(),
        other => other.to_string().trim().to_owned(),
    };
    if text.chars().count() <= 60 { text } else { text.chars().take(57).chain("…".chars()).collect() }
}

/// What a value is, in words.
pub(super) fn described(value: &Value) -> String {
    match value {
        Value::Boolean(_) => written(value),
        Value::Array(_) => "a list".to_owned(),
        Value::InlineTable(_) => "a table".to_owned(),
        Value::Datetime(_) => "a date".to_owned(),
        Value::String(_) => format!("the text {}", written(value)),
        _ => format!("the number {}", written(value)),
    }
}

/// The complaint about a value of another kind than the key's.
pub(super) fn wrong_kind(key: &Key, got: &str) -> Complaint {
    let wanted = match key.kind {
        Kind::Text => "a text",
        Kind::Flag => "true or false",
        Kind::Count => "a whole number",
        Kind::Number => "a plain number",
        Kind::Quantity(dimension) => dimension.article(),
        Kind::Curve => "a list of points",
        Kind::Sections => "a list of sections",
        Kind::Knots => "a list of depths and areas",
        Kind::Profile => "a list of distances and heights",
        Kind::Obstacles => "a list of obstacles",
        Kind::Choice(_) => "a text",
    };
    Complaint::new(key.dotted, format!("{wanted} is wanted, not {got}"), format!("write {}", example(key.dotted)))
}

/// The complaint about a number without a unit: it names what was perhaps meant.
pub(super) fn unitless(
    dotted: &str,
    name: &str,
    dimension: Dimension,
    number: f64,
    written: &str,
    in_range: impl Fn(f64) -> bool,
) -> Complaint {
    if !number.is_finite() {
        let cure = format!("write a number and its unit: {}", dimension.usual().join(", "));
        return Complaint::new(dotted, format!("{written} is not a number to compute with"), cure);
    }
    let text = |unit: &str| format!("\"{} {unit}\"", written.trim_matches('"'));
    let units = dimension.units().filter(|u| dimension.usual().contains(&u.name));
    let fits: Vec<String> = units.filter(|u| in_range(u.to_si(number))).map(|u| text(u.name)).take(3).collect();
    let first = fits.first().cloned().unwrap_or_else(|| text(dimension.shown_in()));
    let meant = if fits.is_empty() { String::new() } else { format!("; {} was perhaps meant", fits.join(" or ")) };
    let assign = if name.is_empty() { String::new() } else { format!("{name} = ") };
    Complaint::new(
        dotted,
        format!("{} needs its unit, and {written} has none{meant}", dimension.article()),
        format!("write {assign}{first}, or in whichever unit it was measured: {}", dimension.usual().join(", ")),
    )
}

/// The complaint about a text that is no quantity of the dimension.
pub(super) fn unreadable(
    dotted: &str,
    name: &str,
    dimension: Dimension,
    text: &str,
    error: &QuantityError,
    in_range: impl Fn(f64) -> bool,
) -> Complaint {
    let units = format!("use one of {}", dimension.usual().join(", "));
    match error {
        QuantityError::NoUnit(number) => {
            unitless(dotted, name, dimension, *number, &format!("\"{}\"", text.trim()), in_range)
        }
        QuantityError::WrongDimension { measures, .. } => Complaint::new(
            dotted,
            format!("{} is wanted, but {text:?} is {}", dimension.article(), measures.article()),
            units,
        ),
        QuantityError::UnknownUnit { .. } => Complaint::new(dotted, format!("in {text:?} {error}"), units),
        _ => {
            let usual = dimension.shown_in();
            let cure = match error {
                QuantityError::Comma(point) => format!("write \"{point}\""),
                QuantityError::Trailing(_) | QuantityError::Inches if dimension == Dimension::Length => {
                    "write one number with its unit, or feet and inches as in \"8 ft 6 in\"".to_owned()
                }
                _ => format!("write a number and its unit, as in \"1.5 {usual}\""),
            };
            Complaint::new(dotted, format!("{text:?} is not {}: {error}", dimension.article()), cure)
        }
    }
}

/// A quantity inside a list.
pub(super) fn element(
    dotted: &str,
    dimension: Dimension,
    (low, high): (f64, f64),
    value: &Value,
    out: &mut Vec<Placed>,
) -> Option<f64> {
    let key = Key::element(dimension, low, high);
    let read = match value {
        Value::Integer(i) => {
            Err(unitless(dotted, "", dimension, *i.value() as f64, &written(value), |si| (low..=high).contains(&si)))
        }
        Value::Float(f) => {
            Err(unitless(dotted, "", dimension, *f.value(), &written(value), |si| (low..=high).contains(&si)))
        }
        Value::String(s) => match parse_quantity(s.value(), dimension) {
            Ok(q) => range(&key, q.si, &written(value), Some(q.unit)).map(|()| q.si),
            Err(error) => Err(unreadable(dotted, "", dimension, s.value(), &error, |si| (low..=high).contains(&si))),
        },
        other => Err(Complaint::new(
            dotted,
            format!("{} is wanted, not {}", dimension.article(), described(other)),
            format!("write a text with a unit: {}", dimension.usual().join(", ")),
        )),
    };
    match read {
        Ok(si) => Some(si),
        Err(complaint) => {
            out.push((Complaint { key: dotted.to_owned(), ..complaint }, value.span()));
            None
        }
    }
}
