//! Values that can be right and look like another unit: they are asked about, and computed with as they stand.
//!
//! A start height of "19.7 m" is possible; it is also what 19.7 ft were copied as. Each question needs both: the value lies
//! outside what is usual for its key, and the same number in another unit lies inside.

use toml_edit::Document;

use super::fault::Fault;
use super::keys::{KEYS, Key, Kind};
use super::quantity::parse_quantity;
use super::read::place;
use super::units::{Dimension, plain};

/// What is usual for a key, in SI (*assumed*: the middle of what is built; beyond it nothing is refused).
const USUAL: &[(&str, f64, f64)] = &[
    ("site.air_temperature", 263.15, 313.15),
    ("rider.mass", 30.0, 120.0),
    ("rider.lightest", 20.0, 120.0),
    ("rider.heaviest", 35.0, 150.0),
    ("rider.bike_mass", 8.0, 30.0),
    ("rider.mass_height", 0.7, 1.4),
    ("rider.wheelbase", 0.8, 1.4),
    ("rider.contact_height", 0.3, 1.2),
    ("rider.pop", -1.5, 3.0),
    ("roll_in.start_height", 1.0, 14.0),
    ("roll_in.bottom_radius", 2.0, 20.0),
    ("roll_in.flat_run", 0.0, 20.0),
    ("roll_in.push_off", 0.0, 6.0),
    ("takeoff.height", 0.3, 4.5),
    ("takeoff.radius", 1.5, 14.0),
    ("takeoff.width", 0.8, 6.0),
    ("bag.length", 4.0, 30.0),
    ("bag.width", 3.0, 25.0),
    ("bag.front_height", 0.8, 4.5),
    ("bag.back_height", 0.8, 4.5),
    ("bag.gap", 0.0, 8.0),
    ("bag.pressure_min", 100.0, 4000.0),
    ("bag.pressure_max", 200.0, 6000.0),
    ("bag.settled_pressure", 100.0, 5000.0),
    ("bag.relief_opens", 200.0, 8000.0),
    ("bag.relief_full", 200.0, 10000.0),
    ("bag.vent_area", 0.0, 1.5),
    ("bag.relief_area", 0.0, 3.0),
    ("bag.volume", 10.0, 2000.0),
    ("wind.along", -12.0, 12.0),
    ("wind.across", -12.0, 12.0),
    ("wind.gust", 0.0, 14.0),
    ("anchors.capacity", 200.0, 20_000.0),
    ("anchors.wind", 3.0, 22.0),
];

/// Questions about a site file's values, each at its line; none for a text with faults of syntax, which come first.
///
/// ```
/// let text = "[roll_in]\nstart_height = \"19.7 m\"\n";
/// let asked = landfall_plan::site::questions(text);
/// assert_eq!(asked[0].line, 2);
/// assert!(asked[0].message.contains("19.7 ft"));
/// ```
#[must_use]
pub fn questions(text: &str) -> Vec<Fault> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let Ok(document) = Document::parse(text) else { return Vec::new() };
    let mut out = Vec::new();
    for key in KEYS {
        let Kind::Quantity(dimension) = key.kind else { continue };
        let item = document.get(key.table()).and_then(|table| table.as_table_like()).and_then(|t| t.get(key.name()));
        let Some(item) = item else { continue };
        let Some((message, cure)) = item.as_str().and_then(|written| question(key, dimension, written)) else {
            continue;
        };
        let span = item.span().unwrap_or(0..0);
        let (line, column, excerpt) = place(text, span.start);
        let width = text.get(span).map_or(1, |part| part.chars().count().max(1));
        out.push(Fault { line, column, key: key.dotted.to_owned(), message, cure, excerpt, width });
    }
    out.sort_by_key(|fault| (fault.line, fault.column));
    out
}

/// The question about one value, and what to do.
fn question(key: &Key, dimension: Dimension, written: &str) -> Option<(String, String)> {
    let &(_, low, high) = USUAL.iter().find(|(dotted, _, _)| *dotted == key.dotted)?;
    let quantity = parse_quantity(written, dimension).ok()?;
    // Out of range is a fault, and unusual is no question in itself.
    if !(key.low..=key.high).contains(&quantity.si) || (low..=high).contains(&quantity.si) {
        return None;
    }
    // Feet with inches were written with care.
    let number: f64 = written.trim().strip_suffix(quantity.unit)?.trim().parse().ok()?;
    let usual = dimension.usual().iter().filter_map(|name| dimension.units().find(|unit| unit.name == *name));
    let meant = usual
        .into_iter()
        .filter(|unit| unit.name != quantity.unit && confusable(dimension, quantity.unit, unit.name))
        .find(|unit| (low..=high).contains(&unit.to_si(number)))?;
    let other = format!("{} {}", plain(number), meant.name);
    let message =
        format!("\"{written}\" is unusual; \"{other}\" ({}) was perhaps meant", key.show(round(meant.to_si(number))));
    let cure = format!("write {} = \"{other}\" if so; it is computed with as it stands", key.name());
    Some((message, cure))
}

/// Whether one unit is copied as the other: a tape has metres on one side and feet on the other.
fn confusable(dimension: Dimension, one: &str, other: &str) -> bool {
    const TAPES: [&[&str]; 2] = [&["m", "ft"], &["cm", "in"]];
    dimension != Dimension::Length || TAPES.iter().any(|tape| tape.contains(&one) && tape.contains(&other))
}

/// Three digits: it is only there to be recognised.
fn round(si: f64) -> f64 {
    format!("{si:.2e}").parse().unwrap_or(si)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::{demo_text, find_key, starter};

    fn asked(dotted: &str, written: &str) -> Option<String> {
        let key = find_key(dotted)?;
        let Kind::Quantity(dimension) = key.kind else { return None };
        question(key, dimension, written).map(|(message, _)| message)
    }

    #[test]
    fn a_number_that_looks_like_another_unit_is_asked_about() {
        // 19.7 ft = 6.00 m; 28 km/h = 7.78 m/s; 172 lb = 78.0 kg; 0.16 psi = 1.10 kPa.
        for (key, written, other) in [
            ("roll_in.start_height", "19.7 m", "\"19.7 ft\" (6 m)"),
            ("wind.gust", "28 m/s", "\"28 km/h\" (7.78 m/s)"),
            ("rider.mass", "172 kg", "\"172 lb\" (78 kg)"),
            ("rider.mass", "62 lb", "\"62 kg\""),
            ("takeoff.height", "8 m", "\"8 ft\" (2.44 m)"),
            ("bag.pressure_min", "70 Pa", "\"70 mmH2O\""),
        ] {
            let said = asked(key, written).unwrap_or_else(|| panic!("{key} = {written} is not asked about"));
            assert!(said.contains(other), "{said}");
        }
        for (key, written) in [
            ("roll_in.start_height", "6 m"),
            ("roll_in.start_height", "19.7 ft"),
            ("roll_in.start_height", "55 m"),
            ("rider.mass", "62 kg"),
            ("wind.gust", "3 m/s"),
            ("takeoff.height", "8 ft 6 in"),
        ] {
            assert_eq!(asked(key, written), None, "{key} = {written}");
        }
    }

    #[test]
    fn usual_values_lie_in_the_range_of_their_key_and_nothing_is_asked_of_the_examples() {
        for &(dotted, low, high) in USUAL {
            let key = find_key(dotted).unwrap();
            assert!(key.low <= low && low < high && high <= key.high, "{dotted}");
        }
        assert_eq!(questions(demo_text()), []);
        assert_eq!(questions(starter()), []);
    }
}
