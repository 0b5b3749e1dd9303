//! A single value against the range of its key, and values and keys as messages show them.

use super::fault::Complaint;
use super::keys::{Key, Kind, find_key};
use super::units::{Dimension, plain};

/// Checks one value against its key's range; `unit` is the one it was written in.
pub(super) fn range(key: &Key, si: f64, written: &str, unit: Option<&'static str>) -> Result<(), Complaint> {
    let whole = !matches!(key.kind, Kind::Count | Kind::Flag) || si.fract() == 0.0;
    if (key.low..=key.high).contains(&si) && whole {
        return Ok(());
    }
    if !si.is_finite() {
        return Err(Complaint::new(key.dotted, format!("{written} is not a number to compute with"), taken(key, unit)));
    }
    if !whole {
        let message = format!("{written} is not a whole number; {}", taken(key, unit));
        return Err(Complaint::new(key.dotted, message, "give a whole number"));
    }
    let what = if si < 0.0 && key.low >= 0.0 { "is negative" } else { "is out of range" };
    let cure = match (key.kind, unit) {
        (Kind::Quantity(dimension), Some(unit)) => match other_units(key, dimension, si, unit) {
            Some(fits) => format!("check the number and its unit: {fits} would be in range"),
            None => "check the number and its unit".to_owned(),
        },
        // A flow is what people have of a leak.
        _ if key.dotted == "bag.leak_coefficient" && si > 0.0 => format!(
            "it is the flow at 1 Pa: of a leak of {0} l/s at 1 kPa write leak_coefficient = {1} (the flow in m3/s over the pressure in Pa \
             to the power of leak_exponent, here 0.6); or state bag.settled_pressure, which a gauge reads",
            plain(si),
            plain(si * 1e-3 / 1000.0_f64.powf(0.6))
        ),
        _ => "check the number".to_owned(),
    };
    Err(Complaint::new(key.dotted, format!("{written} {what}; {}", taken(key, unit)), cure))
}

/// The range in words, also in the unit that the value was written in.
fn taken(key: &Key, unit: Option<&'static str>) -> String {
    let base = format!("{} to {} is taken", key.show(key.low), key.show(key.high));
    match (key.kind, unit) {
        (Kind::Quantity(d), Some(u)) if u != d.shown_in() && !matches!(u, "°" | "°C" | "/Pa") => {
            format!("{base} ({} to {})", d.show_in(key.low, u), d.show_in(key.high, u))
        }
        _ => base,
    }
}

/// The same number in other units of the dimension that bring it into range.
fn other_units(key: &Key, dimension: Dimension, si: f64, unit: &'static str) -> Option<String> {
    let written = dimension.units().find(|u| u.name == unit)?.from_si(si);
    let mut fits: Vec<String> = Vec::new();
    let mut factors = Vec::new();
    for u in dimension.units() {
        if u.name != unit && (key.low..=key.high).contains(&u.to_si(written)) && !factors.contains(&u.factor) {
            factors.push(u.factor);
            fits.push(format!("\"{} {}\"", plain(written), u.name));
        }
    }
    fits.truncate(2);
    (!fits.is_empty()).then(|| fits.join(" or "))
}

/// A value as the core takes it: what differs less than that is equal to it.
pub(super) fn single(si: f64) -> f32 {
    si as f32
}

/// A value as the messages show it.
pub(super) fn show(dotted: &str, si: f64) -> String {
    find_key(dotted).map_or_else(|| plain(si), |key| key.show(si))
}

/// The keys of a list, in words.
pub(super) fn names(dotted: &[&str]) -> String {
    let bare: Vec<&str> = dotted.iter().map(|d| d.split_once('.').map_or(*d, |(_, name)| name)).collect();
    match bare.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => bare.concat(),
    }
}
