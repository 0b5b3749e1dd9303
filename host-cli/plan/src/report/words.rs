//! Figures as they are written.

use crate::shown::{Shown, Toward};
use crate::site::{Dimension, Gauge};
use landfall_core::inputs::Uncertain;

/// With so many places, a true minus sign, and no minus before a zero.
#[must_use]
pub fn fixed(value: f64, places: usize) -> String {
    let text = format!("{value:.places$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_owned(),
        Some(rest) => format!("−{rest}"),
        None => text,
    }
}

/// The same, or a dash.
#[must_use]
pub fn maybe(value: Option<f64>, places: usize) -> String {
    value.filter(|value| value.is_finite()).map_or_else(|| "–".to_owned(), |value| fixed(value, places))
}

/// The unit in which numbers of a dimension are listed, as it is written.
#[must_use]
pub fn unit(u: Shown, dimension: Dimension) -> &'static str {
    match u.unit(dimension) {
        "m2" => "m²",
        "m3/s" => "m³/s",
        other => other,
    }
}

/// A name with its unit.
#[must_use]
pub fn titled(u: Shown, dimension: Dimension, what: &str) -> String {
    format!("{what}, {}", unit(u, dimension))
}

/// Decimals that a list has of a dimension; a curve's table has one more.
#[must_use]
pub fn places(u: Shown, dimension: Dimension) -> usize {
    match dimension {
        Dimension::Length => 2,
        Dimension::Speed => 1,
        Dimension::Flow if u.is_imperial() => 0,
        Dimension::Flow => 2,
        Dimension::Pressure => match u.gauge() {
            Gauge::Pa | Gauge::MmH2O => 0,
            Gauge::MBar => 1,
            Gauge::KPa | Gauge::InH2O => 2,
            Gauge::Psi => 3,
        },
        _ => 2,
    }
}

/// An SI value as a number in the listed unit, so many decimals more than a list has.
#[must_use]
pub fn number_in(u: Shown, dimension: Dimension, si: f64, more: usize) -> String {
    fixed(u.value(dimension, si), places(u, dimension) + more)
}

/// The same, or a dash.
#[must_use]
pub fn maybe_in(u: Shown, dimension: Dimension, si: Option<f64>, more: usize) -> String {
    si.filter(|si| si.is_finite()).map_or_else(|| "–".to_owned(), |si| number_in(u, dimension, si, more))
}

/// A length to the nearest: on a tape.
#[must_use]
pub fn long(u: Shown, m: f64) -> String {
    u.length(m, Toward::Nearest).replace('-', "−")
}

/// A pressure to the nearest, in the gauge's digits.
#[must_use]
pub fn gauge(u: Shown, pa: f64) -> String {
    u.pressure(pa, Toward::Nearest)
}

/// What an uncertain input is called.
#[must_use]
pub const fn input(which: Uncertain) -> &'static str {
    match which {
        Uncertain::StartHeight => "start height",
        Uncertain::PushOff => "push-off",
        Uncertain::RollingResistance => "rolling resistance",
        Uncertain::DragAreaRolling => "drag area, rolling",
        Uncertain::DragAreaFlying => "drag area, flying",
        Uncertain::LipSpeed => "speed at the lip",
        Uncertain::Carry => "carry at the lip",
        Uncertain::Pop => "pop",
        Uncertain::Yaw => "direction",
        Uncertain::Line => "line",
        Uncertain::WindAlong => "wind along",
        Uncertain::WindAcross => "wind across",
        Uncertain::ContactHeight => "contact height",
    }
}

/// How much more of an input is usual (two tries in three are within it), with its unit.
#[must_use]
pub fn usual(u: Shown, which: Uncertain, sd: f64, mean: f64) -> String {
    match which {
        Uncertain::StartHeight | Uncertain::Line | Uncertain::ContactHeight => u.small(sd, Toward::Nearest),
        Uncertain::PushOff | Uncertain::LipSpeed | Uncertain::Pop | Uncertain::WindAlong | Uncertain::WindAcross => {
            u.fine_speed(sd, Toward::Nearest)
        }
        Uncertain::RollingResistance if mean > 0.0 => format!("{} %", fixed(100.0 * sd / mean, 0)),
        Uncertain::RollingResistance => fixed(sd, 4),
        Uncertain::Carry => fixed(sd, 2),
        Uncertain::Yaw => format!("{}°", fixed(sd.to_degrees(), 1)),
        Uncertain::DragAreaRolling | Uncertain::DragAreaFlying if mean > 0.0 => {
            format!("{} %", fixed(100.0 * sd / mean, 0))
        }
        Uncertain::DragAreaRolling | Uncertain::DragAreaFlying => u.area(sd, Toward::Nearest),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::Units;

    #[test]
    fn figures() {
        assert_eq!(fixed(-1.25, 1), "−1.2");
        assert_eq!(fixed(-0.04, 1), "0.0");
        assert_eq!(maybe(None, 1), "–");
        let (here, there) = (Shown::default(), Shown::new(Units::Imperial, Gauge::InH2O));
        assert_eq!((long(here, -1.0), long(there, 2.4384)), ("−1.00 m".to_owned(), "8 ft".to_owned()));
        // A foot is 0.3048 m, an inch of water 249.089 Pa.
        assert_eq!(number_in(there, Dimension::Length, 3.048, 0), "10.00");
        assert_eq!(number_in(there, Dimension::Pressure, 249.089, 0), "1.00");
        assert_eq!(titled(there, Dimension::Flow, "flow"), "flow, cfm");
        assert_eq!(titled(here, Dimension::Flow, "flow"), "flow, m³/s");
    }
}
