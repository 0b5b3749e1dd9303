//! Figures as they are written.

use crate::shown::{Shown, Toward};
use crate::site::{Gauge, Units};
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

/// A length on a tape in feet and inches.
#[must_use]
pub fn feet(length_m: f64) -> String {
    Shown::new(Units::Imperial, Gauge::default()).length(length_m, Toward::Nearest)
}

/// Kilometres an hour of metres a second.
#[must_use]
pub fn kmh(speed_mps: f64) -> f64 {
    speed_mps * 3.6
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

/// One standard deviation of an input, with its unit.
#[must_use]
pub fn deviation(which: Uncertain, sd: f64, mean: f64) -> String {
    match which {
        Uncertain::StartHeight | Uncertain::Line | Uncertain::ContactHeight => format!("{} m", fixed(sd, 2)),
        Uncertain::PushOff | Uncertain::LipSpeed | Uncertain::Pop | Uncertain::WindAlong | Uncertain::WindAcross => {
            format!("{} m/s", fixed(sd, 2))
        }
        Uncertain::RollingResistance => fixed(sd, 4),
        Uncertain::Carry => fixed(sd, 2),
        Uncertain::Yaw => format!("{}°", fixed(sd.to_degrees(), 1)),
        Uncertain::DragAreaRolling | Uncertain::DragAreaFlying if mean > 0.0 => {
            format!("{} %", fixed(100.0 * sd / mean, 0))
        }
        Uncertain::DragAreaRolling | Uncertain::DragAreaFlying => format!("{} m²", fixed(sd, 3)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures() {
        assert_eq!(fixed(-1.25, 1), "−1.2");
        assert_eq!(fixed(-0.04, 1), "0.0");
        assert_eq!(maybe(None, 1), "–");
        // A metre is 3 ft 3.3701 in.
        assert_eq!(feet(1.0), "3 ft 3 3/8 in");
        assert_eq!(feet(2.4384), "8 ft");
    }
}
