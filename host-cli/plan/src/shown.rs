//! A quantity in words: in the units that the site's people use, and in the digits that their tape and gauge have.
//!
//! Everything inside is SI. A number at a fence is a permission, so that a limit is never rounded to its lax side:
//! [`Toward::Up`] and [`Toward::Down`] say which side is the careful one. A value that lies within a thousandth of a step
//! of a round number counts as that number, so that single precision (4.4 m kept as 4.4000001 m) does not move a mark.
//!
//! ```
//! use landfall_plan::shown::{Shown, Toward};
//! use landfall_plan::site::{Gauge, Units};
//! let here = Shown::new(Units::Imperial, Gauge::InH2O);
//! assert_eq!(here.length(2.44, Toward::Nearest), "8 ft 1/16 in");
//! assert_eq!(here.pressure(481.0, Toward::Up), "1.95 inH2O");
//! assert_eq!(here.speed(10.6, Toward::Down), "23 mph");
//! ```
//!
//! # Settled here
//! - **Rounding of what is shown**: a value within a thousandth of a step of a round number counts as that number, so
//!   that single precision moves no mark.

use crate::site::{Dimension, Gauge, Site, UNITS, Units};

/// To which side a number is rounded.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Toward {
    /// To the nearest: a quantity that describes.
    #[default]
    Nearest,
    /// Up: a limit below which something must not be.
    Up,
    /// Down: a limit above which something must not be.
    Down,
}

/// What quantities are put into words with.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Shown {
    units: Units,
    gauge: Gauge,
}

/// Part of a step within which a value counts as the round number beside it.
const DUST: f64 = 1e-3;
/// Steps of an inch on a carpenter's tape.
const SIXTEENTHS: f64 = 16.0;
const INCH_M: f64 = 0.0254;

/// A unit to show in: its name in [`UNITS`], how it is written out, the step of its last digit and that step's decimals.
#[derive(Clone, Copy, Debug)]
struct Scale {
    unit: &'static str,
    written: &'static str,
    step: f64,
    decimals: usize,
}

const fn scale(unit: &'static str, written: &'static str, step: f64, decimals: usize) -> Scale {
    Scale { unit, written, step, decimals }
}

impl Scale {
    fn words(self, dimension: Dimension, si: f64, toward: Toward) -> String {
        let value = self.value(dimension, si, toward);
        format!("{} {}", number(value, self.decimals), self.written)
    }

    /// Rounded, in the unit.
    fn value(self, dimension: Dimension, si: f64, toward: Toward) -> f64 {
        let found = UNITS.iter().find(|unit| unit.dimension == dimension && unit.name == self.unit);
        self.step * steps(found.map_or(si, |unit| unit.from_si(si)) / self.step, toward)
    }

    /// Rounded, in SI.
    fn rounded_si(self, dimension: Dimension, si: f64, toward: Toward) -> f64 {
        let value = self.value(dimension, si, toward);
        let found = UNITS.iter().find(|unit| unit.dimension == dimension && unit.name == self.unit);
        found.map_or(value, |unit| unit.to_si(value))
    }
}

/// A whole number of steps.
fn steps(count: f64, toward: Toward) -> f64 {
    let near = count.round();
    match toward {
        _ if (count - near).abs() <= DUST => near,
        Toward::Nearest => near,
        Toward::Up => count.ceil(),
        Toward::Down => count.floor(),
    }
}

/// Digits with a comma between the thousands, and no minus before a zero; what is no number is a dash.
fn number(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return "–".to_owned();
    }
    let text = format!("{:.decimals$}", value.abs());
    let (whole, part) = text.split_once('.').map_or((text.as_str(), None), |(whole, part)| (whole, Some(part)));
    let mut out = String::new();
    if value < 0.0 && text.bytes().any(|c| c.is_ascii_digit() && c != b'0') {
        out.push('-');
    }
    for (i, digit) in whole.chars().enumerate() {
        if i > 0 && (whole.len() - i) % 3 == 0 && whole.len() > 4 {
            out.push(',');
        }
        out.push(digit);
    }
    if let Some(part) = part {
        out.push('.');
        out.push_str(part);
    }
    out
}

impl Shown {
    /// In these units.
    #[must_use]
    pub const fn new(units: Units, gauge: Gauge) -> Self {
        Self { units, gauge }
    }

    /// In the units that a site asks for.
    #[must_use]
    pub const fn of(site: &Site) -> Self {
        Self::new(site.site.units, site.site.gauge)
    }

    /// Metric or imperial.
    #[must_use]
    pub const fn units(self) -> Units {
        self.units
    }

    /// The unit of pressures.
    #[must_use]
    pub const fn gauge(self) -> Gauge {
        self.gauge
    }

    /// Whether feet, pounds and miles are shown.
    #[must_use]
    pub fn is_imperial(self) -> bool {
        self.units == Units::Imperial
    }

    fn either(self, metric: Scale, imperial: Scale) -> Scale {
        if self.is_imperial() { imperial } else { metric }
    }

    /// A length to measure or to mark: centimetres, or sixteenths of an inch: `4.40 m`, `14 ft 5 1/4 in`.
    #[must_use]
    pub fn length(self, m: f64, toward: Toward) -> String {
        if self.is_imperial() {
            return feet_and_inches(m, SIXTEENTHS, toward);
        }
        scale("m", "m", 0.01, 2).words(Dimension::Length, m, toward)
    }

    /// The mark that nobody starts above: down, wherever it stands.
    #[must_use]
    pub fn start_mark(self, m: f64) -> String {
        self.length(m, Toward::Down)
    }

    /// A length to imagine: tenths of a metre, or whole inches: `3.6 m`, `11 ft 10 in`.
    #[must_use]
    pub fn about(self, m: f64, toward: Toward) -> String {
        if self.is_imperial() {
            return feet_and_inches(m, 1.0, toward);
        }
        scale("m", "m", 0.1, 1).words(Dimension::Length, m, toward)
    }

    /// A length to cut: millimetres, or sixteenths of an inch: `2438 mm`, `8 ft`.
    #[must_use]
    pub fn cut(self, m: f64, toward: Toward) -> String {
        if self.is_imperial() {
            return feet_and_inches(m, SIXTEENTHS, toward);
        }
        format!("{:.0} mm", plus_zero(scale("mm", "mm", 1.0, 0).value(Dimension::Length, m, toward)))
    }

    /// A small length: centimetres, or inches and sixteenths: `26 cm`, `10 1/4 in`.
    #[must_use]
    pub fn small(self, m: f64, toward: Toward) -> String {
        if self.is_imperial() {
            return inches(m, toward);
        }
        scale("cm", "cm", 1.0, 0).words(Dimension::Length, m, toward)
    }

    /// A speed: whole km/h or mph.
    #[must_use]
    pub fn speed(self, mps: f64, toward: Toward) -> String {
        self.either(scale("km/h", "km/h", 1.0, 0), scale("mph", "mph", 1.0, 0)).words(Dimension::Speed, mps, toward)
    }

    /// A speed with one digit more: tenths of km/h or mph.
    #[must_use]
    pub fn fine_speed(self, mps: f64, toward: Toward) -> String {
        self.either(scale("km/h", "km/h", 0.1, 1), scale("mph", "mph", 0.1, 1)).words(Dimension::Speed, mps, toward)
    }

    /// A mass: whole kilograms or pounds.
    #[must_use]
    pub fn mass(self, kg: f64, toward: Toward) -> String {
        self.either(scale("kg", "kg", 1.0, 0), scale("lb", "lb", 1.0, 0)).words(Dimension::Mass, kg, toward)
    }

    /// An area: hundredths of a square metre or tenths of a square foot; under a tenth of a square metre whole square
    /// centimetres, and under one square foot square inches.
    #[must_use]
    pub fn area(self, m2: f64, toward: Toward) -> String {
        let scale = match (self.is_imperial(), m2.abs()) {
            (false, size) if size < 0.1 => scale("cm2", "cm²", 1.0, 0),
            (false, _) => scale("m2", "m²", 0.01, 2),
            (true, size) if size < 0.304_8 * 0.304_8 => scale("in2", "in²", 1.0, 0),
            (true, _) => scale("ft2", "ft²", 0.1, 1),
        };
        scale.words(Dimension::Area, m2, toward)
    }

    /// A volume: whole cubic metres or tens of cubic feet; under ten cubic metres with one digit more.
    #[must_use]
    pub fn volume(self, m3: f64, toward: Toward) -> String {
        let scale = if m3.abs() < 10.0 {
            self.either(scale("m3", "m³", 0.1, 1), scale("ft3", "ft³", 1.0, 0))
        } else {
            self.either(scale("m3", "m³", 1.0, 0), scale("ft3", "ft³", 10.0, 0))
        };
        scale.words(Dimension::Volume, m3, toward)
    }

    /// An air flow: hundredths of m³/s, thousandths under 0.1 m³/s; tens of cubic feet a minute, whole ones under a
    /// hundred.
    #[must_use]
    pub fn flow(self, m3ps: f64, toward: Toward) -> String {
        let small = m3ps.abs() < 0.1;
        let metric = if small { scale("m3/s", "m³/s", 0.001, 3) } else { scale("m3/s", "m³/s", 0.01, 2) };
        let imperial = if small { scale("cfm", "cfm", 1.0, 0) } else { scale("cfm", "cfm", 10.0, 0) };
        self.either(metric, imperial).words(Dimension::Flow, m3ps, toward)
    }

    /// A force: tens of newtons or whole pounds-force.
    #[must_use]
    pub fn force(self, n: f64, toward: Toward) -> String {
        self.either(scale("N", "N", 10.0, 0), scale("lbf", "lbf", 1.0, 0)).words(Dimension::Force, n, toward)
    }

    /// A temperature: whole degrees.
    #[must_use]
    pub fn temperature(self, k: f64, toward: Toward) -> String {
        self.either(scale("degC", "°C", 1.0, 0), scale("degF", "°F", 1.0, 0)).words(Dimension::Temperature, k, toward)
    }

    /// A gauge pressure in the gauge's own unit and digits.
    #[must_use]
    pub fn pressure(self, pa: f64, toward: Toward) -> String {
        self.gauge_scale().words(Dimension::Pressure, pa, toward)
    }

    /// A gauge pressure rounded to the gauge's digits, in Pa: what a box must be told so that it agrees with the card.
    #[must_use]
    pub fn rounded_pressure_pa(self, pa: f64, toward: Toward) -> f64 {
        self.gauge_scale().rounded_si(Dimension::Pressure, pa, toward)
    }

    const fn gauge_scale(self) -> Scale {
        match self.gauge {
            Gauge::Pa => scale("Pa", "Pa", 10.0, 0),
            Gauge::KPa => scale("kPa", "kPa", 0.01, 2),
            Gauge::MBar => scale("mbar", "mbar", 0.1, 1),
            Gauge::InH2O => scale("inH2O", "inH2O", 0.05, 2),
            Gauge::MmH2O => scale("mmH2O", "mmH2O", 1.0, 0),
            Gauge::Psi => scale("psi", "psi", 0.002, 3),
        }
    }

    /// The unit in which a table's column shows a dimension: a decimal number below it, so that feet are not followed
    /// by inches.
    #[must_use]
    pub fn unit(self, dimension: Dimension) -> &'static str {
        let metric = match dimension {
            Dimension::Pressure => return self.gauge.word(),
            Dimension::Speed => "km/h",
            Dimension::Temperature => "degC",
            Dimension::Angle => "deg",
            other => other.shown_in(),
        };
        match dimension {
            _ if !self.is_imperial() => metric,
            Dimension::Length => "ft",
            Dimension::Area => "ft2",
            Dimension::Volume => "ft3",
            Dimension::Flow => "cfm",
            Dimension::Speed => "mph",
            Dimension::Mass => "lb",
            Dimension::Force => "lbf",
            Dimension::Temperature => "degF",
            _ => metric,
        }
    }

    /// How a measured value stands beside its error: both in one unit, with a point. Dimensions that nobody states so are
    /// in SI.
    #[must_use]
    pub fn beside(self, dimension: Dimension) -> Beside {
        let of = |metric, imperial| Beside { dimension, scale: self.either(metric, imperial) };
        match dimension {
            Dimension::Length => of(scale("m", "m", 0.01, 2), scale("ft", "ft", 0.01, 2)),
            Dimension::Speed => of(scale("m/s", "m/s", 0.01, 2), scale("mph", "mph", 0.01, 2)),
            Dimension::Area => of(scale("m2", "m²", 0.001, 3), scale("ft2", "ft²", 0.01, 2)),
            Dimension::Angle => of(scale("deg", "degrees", 0.1, 1), scale("deg", "degrees", 0.1, 1)),
            _ => of(scale("s", "s", 0.01, 2), scale("s", "s", 0.01, 2)),
        }
    }

    /// An SI value in the unit of [`Shown::unit`], unrounded.
    #[must_use]
    pub fn value(self, dimension: Dimension, si: f64) -> f64 {
        let unit = self.unit(dimension);
        UNITS.iter().find(|u| u.dimension == dimension && u.name == unit).map_or(si, |unit| unit.from_si(si))
    }

    /// A quantity of any dimension, as its own function shows it.
    #[must_use]
    pub fn quantity(self, dimension: Dimension, si: f64, toward: Toward) -> String {
        match dimension {
            Dimension::Length => self.length(si, toward),
            Dimension::Area => self.area(si, toward),
            Dimension::Volume => self.volume(si, toward),
            Dimension::Flow => self.flow(si, toward),
            Dimension::Speed => self.speed(si, toward),
            Dimension::Mass => self.mass(si, toward),
            Dimension::Force => self.force(si, toward),
            Dimension::Temperature => self.temperature(si, toward),
            Dimension::Pressure => self.pressure(si, toward),
            Dimension::Angle => scale("deg", "degrees", 0.1, 1).words(dimension, si, toward),
            Dimension::Time => scale("s", "s", 0.1, 1).words(dimension, si, toward),
            other => other.show(si),
        }
    }
}

/// A unit for a value and its error; see [`Shown::beside`].
#[derive(Clone, Copy, Debug)]
pub struct Beside {
    dimension: Dimension,
    scale: Scale,
}

impl Beside {
    /// The number alone.
    #[must_use]
    pub fn number(self, si: f64) -> String {
        number(self.scale.value(self.dimension, si, Toward::Nearest), self.scale.decimals)
    }

    /// `1.23 m`.
    #[must_use]
    pub fn words(self, si: f64) -> String {
        format!("{} {}", self.number(si), self.scale.written)
    }

    /// `1.23 ± 0.30 m`.
    #[must_use]
    pub fn with_error(self, si: f64, sd: f64) -> String {
        format!("{} ± {} {}", self.number(si), self.number(sd), self.scale.written)
    }
}

/// No minus before a zero.
fn plus_zero(value: f64) -> f64 {
    if value == 0.0 { 0.0 } else { value }
}

/// `8 ft 6 1/4 in`, `8 ft`, `6 in`: each inch in so many parts, a power of two.
fn feet_and_inches(m: f64, parts: f64, toward: Toward) -> String {
    if !m.is_finite() {
        return "–".to_owned();
    }
    let count = steps(m / INCH_M * parts, toward);
    let sign = if count < 0.0 { "-" } else { "" };
    let count = count.abs();
    let feet = (count / (12.0 * parts)).floor();
    let rest = inches_of(count - feet * 12.0 * parts, parts);
    match (feet > 0.0, rest) {
        (true, Some(rest)) => format!("{sign}{feet:.0} ft {rest} in"),
        (true, None) => format!("{sign}{feet:.0} ft"),
        (false, Some(rest)) => format!("{sign}{rest} in"),
        (false, None) => "0 in".to_owned(),
    }
}

/// `10 1/4 in`, also beyond a foot.
fn inches(m: f64, toward: Toward) -> String {
    if !m.is_finite() {
        return "–".to_owned();
    }
    let count = steps(m / INCH_M * SIXTEENTHS, toward);
    let sign = if count < 0.0 { "-" } else { "" };
    inches_of(count.abs(), SIXTEENTHS).map_or_else(|| "0 in".to_owned(), |words| format!("{sign}{words} in"))
}

/// So many parts of an inch as a whole number and a fraction in lowest terms; nothing for none.
fn inches_of(count: f64, parts: f64) -> Option<String> {
    let whole = (count / parts).floor();
    let (mut top, mut bottom) = (count - whole * parts, parts);
    while top > 0.0 && top % 2.0 == 0.0 {
        top /= 2.0;
        bottom /= 2.0;
    }
    match (whole > 0.0, top > 0.0) {
        (true, true) => Some(format!("{whole:.0} {top:.0}/{bottom:.0}")),
        (true, false) => Some(format!("{whole:.0}")),
        (false, true) => Some(format!("{top:.0}/{bottom:.0}")),
        (false, false) => None,
    }
}

#[cfg(test)]
#[path = "shown_tests.rs"]
mod tests;
