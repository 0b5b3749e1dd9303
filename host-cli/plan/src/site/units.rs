//! The units that the site file knows.
//!
//! The factors are those of NIST Special Publication 811 (2008), appendix B.8, but for the inch and
//! millimetre of water, which are the conventional ones (water of 1000 kg/m³, g = 9.80665 m/s²), as
//! pressure gauges are marked.

/// What a quantity measures; each dimension has its own units.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Dimension {
    /// Metres.
    Length,
    /// Square metres.
    Area,
    /// Cubic metres.
    Volume,
    /// Cubic metres per second.
    Flow,
    /// Metres per second.
    Speed,
    /// Kilograms.
    Mass,
    /// Newtons.
    Force,
    /// Radians.
    Angle,
    /// Kelvin.
    Temperature,
    /// Pascals.
    Pressure,
    /// Seconds.
    Time,
    /// Reciprocal pascals: relative stretch per pressure.
    Compliance,
    /// Kilograms per square metre: a fabric's weight.
    AreaMass,
    /// Volts.
    Voltage,
}

/// One unit: a value in it is turned into SI by `(value + offset) * factor`.
#[derive(Clone, Copy, Debug)]
pub struct Unit {
    /// How it is written; the first name of a factor is the one used in messages.
    pub name: &'static str,
    /// What it measures.
    pub dimension: Dimension,
    /// SI units per unit.
    pub factor: f64,
    /// Added before the factor; zero for all but the temperatures.
    pub offset: f64,
}

impl Unit {
    /// A value in this unit, in SI.
    #[must_use]
    pub fn to_si(&self, value: f64) -> f64 {
        (value + self.offset) * self.factor
    }

    /// An SI value, in this unit.
    #[must_use]
    pub fn from_si(&self, si: f64) -> f64 {
        si / self.factor - self.offset
    }
}

const fn unit(name: &'static str, dimension: Dimension, factor: f64) -> Unit {
    Unit { name, dimension, factor, offset: 0.0 }
}

pub(super) const FOOT: f64 = 0.3048;
pub(super) const INCH: f64 = 0.0254;
const POUND: f64 = 0.453_592_37;
const GRAVITY: f64 = 9.806_65;
const DEGREE: f64 = std::f64::consts::PI / 180.0;
/// Conventional inch of water, in pascals.
const INCH_OF_WATER: f64 = 249.088_91;
/// Conventional millimetre of mercury, in pascals: 13595.1 kg/m³ under standard gravity.
const MILLIMETRE_OF_MERCURY: f64 = 13.5951 * GRAVITY;

/// Every unit that the site file knows. The names of one unit stand together, the usual one first.
pub const UNITS: &[Unit] = &{
    use Dimension as D;
    [
        unit("m", D::Length, 1.0),
        unit("cm", D::Length, 0.01),
        unit("mm", D::Length, 0.001),
        unit("km", D::Length, 1000.0),
        unit("ft", D::Length, FOOT),
        unit("'", D::Length, FOOT),
        unit("foot", D::Length, FOOT),
        unit("feet", D::Length, FOOT),
        unit("in", D::Length, INCH),
        unit("\"", D::Length, INCH),
        unit("inch", D::Length, INCH),
        unit("inches", D::Length, INCH),
        unit("yd", D::Length, 0.9144),
        unit("m2", D::Area, 1.0),
        unit("cm2", D::Area, 1e-4),
        unit("mm2", D::Area, 1e-6),
        unit("ft2", D::Area, FOOT * FOOT),
        unit("sq ft", D::Area, FOOT * FOOT),
        unit("in2", D::Area, INCH * INCH),
        unit("sq in", D::Area, INCH * INCH),
        unit("m3", D::Volume, 1.0),
        unit("L", D::Volume, 1e-3),
        unit("ft3", D::Volume, FOOT * FOOT * FOOT),
        unit("cu ft", D::Volume, FOOT * FOOT * FOOT),
        unit("m3/s", D::Flow, 1.0),
        unit("m3/min", D::Flow, 1.0 / 60.0),
        unit("m3/h", D::Flow, 1.0 / 3600.0),
        unit("L/s", D::Flow, 1e-3),
        unit("L/min", D::Flow, 1e-3 / 60.0),
        unit("cfm", D::Flow, FOOT * FOOT * FOOT / 60.0),
        unit("ft3/min", D::Flow, FOOT * FOOT * FOOT / 60.0),
        unit("m/s", D::Speed, 1.0),
        unit("km/h", D::Speed, 1.0 / 3.6),
        unit("kph", D::Speed, 1.0 / 3.6),
        unit("mph", D::Speed, 0.447_04),
        unit("kn", D::Speed, 1852.0 / 3600.0),
        unit("kt", D::Speed, 1852.0 / 3600.0),
        unit("ft/s", D::Speed, FOOT),
        unit("kg", D::Mass, 1.0),
        unit("g", D::Mass, 1e-3),
        unit("lb", D::Mass, POUND),
        unit("lbs", D::Mass, POUND),
        unit("N", D::Force, 1.0),
        unit("kN", D::Force, 1000.0),
        unit("lbf", D::Force, POUND * GRAVITY),
        unit("kgf", D::Force, GRAVITY),
        unit("deg", D::Angle, DEGREE),
        unit("°", D::Angle, DEGREE),
        unit("rad", D::Angle, 1.0),
        Unit { name: "degC", dimension: D::Temperature, factor: 1.0, offset: 273.15 },
        Unit { name: "°C", dimension: D::Temperature, factor: 1.0, offset: 273.15 },
        Unit { name: "degF", dimension: D::Temperature, factor: 1.0 / 1.8, offset: 459.67 },
        Unit { name: "°F", dimension: D::Temperature, factor: 1.0 / 1.8, offset: 459.67 },
        unit("K", D::Temperature, 1.0),
        unit("Pa", D::Pressure, 1.0),
        unit("hPa", D::Pressure, 100.0),
        unit("kPa", D::Pressure, 1000.0),
        unit("mbar", D::Pressure, 100.0),
        unit("bar", D::Pressure, 1e5),
        unit("psi", D::Pressure, POUND * GRAVITY / (INCH * INCH)),
        unit("inH2O", D::Pressure, INCH_OF_WATER),
        unit("mmH2O", D::Pressure, GRAVITY),
        unit("cmH2O", D::Pressure, 10.0 * GRAVITY),
        unit("mmHg", D::Pressure, MILLIMETRE_OF_MERCURY),
        unit("inHg", D::Pressure, 25.4 * MILLIMETRE_OF_MERCURY),
        unit("s", D::Time, 1.0),
        unit("ms", D::Time, 1e-3),
        unit("min", D::Time, 60.0),
        unit("h", D::Time, 3600.0),
        unit("/Pa", D::Compliance, 1.0),
        unit("/hPa", D::Compliance, 1e-2),
        unit("/kPa", D::Compliance, 1e-3),
        unit("kg/m2", D::AreaMass, 1.0),
        unit("g/m2", D::AreaMass, 1e-3),
        unit("lb/ft2", D::AreaMass, POUND / (FOOT * FOOT)),
        unit("oz/yd2", D::AreaMass, POUND / 16.0 / (0.9144 * 0.9144)),
        unit("V", D::Voltage, 1.0),
        unit("mV", D::Voltage, 1e-3),
    ]
};

impl Dimension {
    /// Every dimension, in a fixed order.
    pub const ALL: [Self; 14] = [
        Self::Length,
        Self::Area,
        Self::Volume,
        Self::Flow,
        Self::Speed,
        Self::Mass,
        Self::Force,
        Self::Angle,
        Self::Temperature,
        Self::Pressure,
        Self::Time,
        Self::Compliance,
        Self::AreaMass,
        Self::Voltage,
    ];

    /// The word used for it in messages, with its article.
    #[must_use]
    pub fn article(self) -> &'static str {
        match self {
            Self::Length => "a length",
            Self::Area => "an area",
            Self::Volume => "a volume",
            Self::Flow => "an air flow",
            Self::Speed => "a speed",
            Self::Mass => "a mass",
            Self::Force => "a force",
            Self::Angle => "an angle",
            Self::Temperature => "a temperature",
            Self::Pressure => "a pressure",
            Self::Time => "a time",
            Self::Compliance => "a stretch per pressure",
            Self::AreaMass => "a weight per area",
            Self::Voltage => "a voltage",
        }
    }

    /// The units to name in messages, the SI one (or its everyday form) first.
    #[must_use]
    pub fn usual(self) -> &'static [&'static str] {
        match self {
            Self::Length => &["m", "cm", "ft", "in"],
            Self::Area => &["m2", "cm2", "ft2", "in2"],
            Self::Volume => &["m3", "L", "ft3"],
            Self::Flow => &["m3/s", "m3/h", "L/s", "cfm"],
            Self::Speed => &["m/s", "km/h", "mph", "kn", "ft/s"],
            Self::Mass => &["kg", "lb", "g"],
            Self::Force => &["N", "kN", "lbf", "kgf"],
            Self::Angle => &["deg", "rad"],
            Self::Temperature => &["degC", "degF", "K"],
            Self::Pressure => &["kPa", "Pa", "mbar", "inH2O", "mmH2O", "psi"],
            Self::Time => &["s", "ms", "min", "h"],
            Self::Compliance => &["/Pa", "/kPa"],
            Self::AreaMass => &["kg/m2", "g/m2", "lb/ft2", "oz/yd2"],
            Self::Voltage => &["V", "mV"],
        }
    }

    /// The units that measure this.
    pub fn units(self) -> impl Iterator<Item = &'static Unit> {
        UNITS.iter().filter(move |u| u.dimension == self)
    }

    /// The unit in which SI values of this dimension are shown in messages and written to files.
    #[must_use]
    pub fn shown_in(self) -> &'static str {
        self.usual().first().copied().unwrap_or("")
    }

    /// An SI value as a text with its unit, such as `2.4 m` or `15 degC`.
    #[must_use]
    pub fn show(self, si: f64) -> String {
        self.show_in(si, self.shown_in())
    }

    /// An SI value as a text in the named unit; SI's own number where the unit is unknown.
    #[must_use]
    pub fn show_in(self, si: f64, unit_name: &str) -> String {
        let value = self.units().find(|u| u.name == unit_name).map_or(si, |u| u.from_si(si));
        let space = if unit_name == "'" || unit_name == "\"" || unit_name == "°" { "" } else { " " };
        format!("{}{space}{unit_name}", plain(value))
    }
}

/// A number for messages: up to six significant digits, no trailing zeros, exponent where it is tiny or huge.
#[must_use]
pub fn plain(value: f64) -> String {
    let size = value.abs();
    if value == 0.0 {
        return "0".to_owned();
    }
    if !(1e-3..1e9).contains(&size) {
        let text = format!("{value:.5e}");
        return match text.split_once('e') {
            Some((digits, exponent)) => format!("{}e{exponent}", trim(digits)),
            None => text,
        };
    }
    let places = (5.0 - size.log10().floor()).clamp(0.0, 9.0) as usize;
    trim(&format!("{value:.places$}")).to_owned()
}

fn trim(digits: &str) -> &str {
    if digits.contains('.') { digits.trim_end_matches('0').trim_end_matches('.') } else { digits }
}
