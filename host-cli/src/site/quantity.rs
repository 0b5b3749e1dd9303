//! Units, and the parsing of texts such as `"8 ft 6 in"`, `"4.4 inH2O"` or `"64 degF"`.
//!
//! A text is converted here once; everything behind it is SI. The factors are those of NIST Special
//! Publication 811 (2008), appendix B.8, but for the inch and millimetre of water, which are the
//! conventional ones (water of 1000 kg/m³, g = 9.80665 m/s²), as pressure gauges are marked.

use std::fmt;

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

const FOOT: f64 = 0.3048;
const INCH: f64 = 0.0254;
const POUND: f64 = 0.453_592_37;
const GRAVITY: f64 = 9.806_65;
const DEGREE: f64 = std::f64::consts::PI / 180.0;
/// Conventional inch of water, in pascals.
const INCH_OF_WATER: f64 = 249.088_91;
/// Conventional millimetre of mercury, in pascals.
const MILLIMETRE_OF_MERCURY: f64 = 133.322_4;

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
        unit("/Pa", D::Compliance, 1.0),
        unit("/hPa", D::Compliance, 1e-2),
        unit("/kPa", D::Compliance, 1e-3),
        unit("kg/m2", D::AreaMass, 1.0),
        unit("g/m2", D::AreaMass, 1e-3),
        unit("lb/ft2", D::AreaMass, POUND / (FOOT * FOOT)),
        unit("oz/yd2", D::AreaMass, POUND / 16.0 / (0.9144 * 0.9144)),
    ]
};

impl Dimension {
    /// Every dimension, in a fixed order.
    pub const ALL: [Self; 13] = [
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
            Self::Time => &["s", "ms", "min"],
            Self::Compliance => &["/Pa", "/kPa"],
            Self::AreaMass => &["kg/m2", "g/m2", "lb/ft2", "oz/yd2"],
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

/// A parsed quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantity {
    /// In SI.
    pub si: f64,
    /// The unit it was written in (the first, for feet and inches), for messages.
    pub unit: &'static str,
}

/// Why a text is no quantity of the wanted dimension.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum QuantityError {
    /// Nothing in it.
    Empty,
    /// It does not begin with a number; the text that does not.
    NotANumber(String),
    /// The number has a comma in it; the number with a point instead.
    Comma(String),
    /// The number is too large to be one.
    TooLarge,
    /// A number without a unit.
    NoUnit(f64),
    /// A unit that is not known, with the nearest known one of the wanted dimension.
    UnknownUnit {
        /// What stands there.
        unit: String,
        /// The nearest known unit, if any is near.
        nearest: Option<&'static str>,
    },
    /// A unit of something else.
    WrongDimension {
        /// The unit that stands there.
        unit: &'static str,
        /// What it measures.
        measures: Dimension,
    },
    /// Something follows the quantity that is not inches after feet.
    Trailing(String),
    /// Inches after feet that are negative or twelve and more.
    Inches,
}

impl fmt::Display for QuantityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => write!(f, "the text is empty"),
            Self::NotANumber(text) => write!(f, "{text:?} does not begin with a number"),
            Self::Comma(point) => write!(f, "a comma is no decimal point; {point:?} was perhaps meant"),
            Self::TooLarge => write!(f, "the number is too large to be computed with"),
            Self::NoUnit(value) => write!(f, "{} has no unit", plain(*value)),
            Self::UnknownUnit { unit, nearest: Some(near) } => {
                write!(f, "the unit {unit:?} is unknown; {near:?} is the nearest known one")
            }
            Self::UnknownUnit { unit, nearest: None } => write!(f, "the unit {unit:?} is unknown"),
            Self::WrongDimension { unit, measures } => write!(f, "{unit:?} measures {}", measures.article()),
            Self::Trailing(text) => write!(f, "{text:?} follows a quantity that is already complete"),
            Self::Inches => write!(f, "the inches after feet must be from 0 to less than 12"),
        }
    }
}

impl std::error::Error for QuantityError {}

/// Reads a text as a quantity of one dimension.
///
/// A number (decimal, with or without exponent, or with a fraction as in `6 1/2`), then a unit. Feet may be
/// followed by inches. Superscripts, `^`, primes, curly quotes and the true minus sign are understood.
///
/// # Errors
/// What is wrong with the text, see [`QuantityError`]. NaN and infinities are never returned.
///
/// ```
/// use landfall::site::{parse_quantity, Dimension};
/// let lip = parse_quantity("8 ft 6 in", Dimension::Length)?;
/// assert!((lip.si - 2.5908).abs() < 1e-12);
/// # Ok::<(), landfall::site::QuantityError>(())
/// ```
pub fn parse_quantity(text: &str, wanted: Dimension) -> Result<Quantity, QuantityError> {
    let text = tidy(text);
    let (number, rest) = leading_number(&text)?;
    let (word, rest) = unit_word(rest);
    if word.is_empty() {
        return if rest.is_empty() {
            Err(QuantityError::NoUnit(number))
        } else {
            Err(QuantityError::Trailing(rest.to_owned()))
        };
    }
    let found = find_unit(word, wanted)?;
    let mut si = found.to_si(number);
    if !rest.is_empty() {
        if found.dimension != Dimension::Length || found.factor != FOOT {
            return Err(QuantityError::Trailing(rest.to_owned()));
        }
        let (inches, after) = leading_number(rest).map_err(|_| QuantityError::Trailing(rest.to_owned()))?;
        let (word, after) = unit_word(after);
        let inch = UNITS.iter().find(|u| u.name == word && u.factor == INCH);
        if inch.is_none() || !after.is_empty() {
            return Err(QuantityError::Trailing(rest.to_owned()));
        }
        if !(0.0..12.0).contains(&inches) || rest.starts_with('-') {
            return Err(QuantityError::Inches);
        }
        si += if text.starts_with('-') { -inches * INCH } else { inches * INCH };
    }
    if si.is_finite() { Ok(Quantity { si, unit: found.name }) } else { Err(QuantityError::TooLarge) }
}

/// Plain ASCII for the signs that keyboards and word processors put in their place.
fn tidy(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.trim().chars() {
        match c {
            '²' => out.push('2'),
            '³' => out.push('3'),
            '^' => {}
            '₂' => out.push('2'),
            '−' | '–' => out.push('-'),
            '′' | '’' | '‘' => out.push('\''),
            '″' | '”' | '“' => out.push('"'),
            'º' => out.push('°'),
            '½' => out.push_str(" 1/2"),
            '¼' => out.push_str(" 1/4"),
            '¾' => out.push_str(" 3/4"),
            c if c.is_whitespace() => out.push(' '),
            c => out.push(c),
        }
    }
    let out = out.replace("''", "\"");
    out.trim().to_owned()
}

/// Splits a leading number off. `1/2` and `6 1/2` are numbers too.
fn leading_number(text: &str) -> Result<(f64, &str), QuantityError> {
    if text.is_empty() {
        return Err(QuantityError::Empty);
    }
    let (first, rest) = decimal(text).ok_or_else(|| QuantityError::NotANumber(text.to_owned()))?;
    if let Some(after) = rest.strip_prefix(',')
        && after.starts_with(|c: char| c.is_ascii_digit())
    {
        let end = after.find(|c: char| !c.is_ascii_digit()).unwrap_or(after.len());
        let (digits, tail) = after.split_at(end);
        let whole = text.strip_suffix(rest).unwrap_or(text);
        let joint = if digits.len() == 3 && !whole.contains('.') { "" } else { "." };
        return Err(QuantityError::Comma(format!("{whole}{joint}{digits}{tail}")));
    }
    if !first.is_finite() {
        return Err(QuantityError::TooLarge);
    }
    if let Some((value, rest)) = over(first, rest) {
        return Ok((value, rest.trim_start()));
    }
    if let Some((top, after)) = rest.strip_prefix(' ').and_then(|r| decimal(r.trim_start()))
        && let Some((part, after)) = over(top, after)
        && (0.0..1.0).contains(&part)
    {
        let sum = if text.starts_with('-') { first - part } else { first + part };
        return Ok((sum, after.trim_start()));
    }
    Ok((first, rest.trim_start()))
}

/// `/2` after a number: the number divided.
fn over(top: f64, rest: &str) -> Option<(f64, &str)> {
    let after = rest.strip_prefix('/')?;
    if !after.starts_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let (bottom, rest) = decimal(after)?;
    let value = top / bottom;
    value.is_finite().then_some((value, rest))
}

/// A decimal number at the start of a text, with what follows it. The words for NaN and infinity are none.
fn decimal(text: &str) -> Option<(f64, &str)> {
    let bytes = text.as_bytes();
    let digits = |from: usize| bytes.iter().skip(from).take_while(|b| b.is_ascii_digit()).count();
    let at = |i: usize| bytes.get(i).copied().unwrap_or(0);
    let mut end = usize::from(matches!(at(0), b'+' | b'-'));
    let whole = digits(end);
    end += whole;
    let mut fraction = 0;
    if at(end) == b'.' {
        fraction = digits(end + 1);
        if whole + fraction > 0 {
            end += 1 + fraction;
        }
    }
    if whole + fraction == 0 {
        return None;
    }
    if matches!(at(end), b'e' | b'E') {
        let sign = usize::from(matches!(at(end + 1), b'+' | b'-'));
        let power = digits(end + 1 + sign);
        if power > 0 {
            end += 1 + sign + power;
        }
    }
    let (number, rest) = text.split_at_checked(end)?;
    Some((number.parse().ok()?, rest))
}

/// Splits a unit's word off: up to the next number that follows it.
fn unit_word(text: &str) -> (&str, &str) {
    let text = text.trim_start();
    if let Some(mark) = text.chars().next().filter(|c| matches!(c, '\'' | '"')) {
        let (word, rest) = text.split_at_checked(mark.len_utf8()).unwrap_or((text, ""));
        return (word, rest.trim_start());
    }
    // A digit belongs to the unit right after a letter ("m2", "inH2O"), and starts a number after a space.
    let mut before = ' ';
    for (i, c) in text.char_indices() {
        let starts_number = (c.is_ascii_digit() || matches!(c, '-' | '+' | '.')) && before == ' ' && i > 0;
        if starts_number || (i > 0 && matches!(c, '\'' | '"')) {
            let (word, rest) = text.split_at_checked(i).unwrap_or((text, ""));
            return (word.trim_end(), rest);
        }
        before = c;
    }
    (text.trim_end(), "")
}

/// Finds a unit by its name: exact spelling first, then any case.
fn find_unit(word: &str, wanted: Dimension) -> Result<&'static Unit, QuantityError> {
    let word = word.split_whitespace().collect::<Vec<_>>().join(" ");
    let wrong = |u: &Unit| QuantityError::WrongDimension { unit: u.name, measures: u.dimension };
    // A word that is a unit of the wanted dimension in this or another spelling.
    if let Some(u) = wanted.units().find(|u| u.name == word) {
        return Ok(u);
    }
    let other = match (wanted, word.as_str()) {
        (Dimension::Temperature, "C") => Some("degC"),
        (Dimension::Temperature, "F") => Some("degF"),
        (Dimension::Temperature, "° C") => Some("degC"),
        (Dimension::Temperature, "° F") => Some("degF"),
        (Dimension::Flow, "m3/hr") => Some("m3/h"),
        (Dimension::Compliance, "Pa-1") => Some("/Pa"),
        (Dimension::Pressure, "psig") => Some("psi"),
        (Dimension::Angle, "degree" | "degrees") => Some("deg"),
        (Dimension::Time, "sec") => Some("s"),
        _ => None,
    };
    if let Some(u) = other.and_then(|name| wanted.units().find(|u| u.name == name)) {
        return Ok(u);
    }
    if let Some(u) = UNITS.iter().find(|u| u.name == word) {
        return Err(wrong(u));
    }
    if let Some(u) = wanted.units().find(|u| u.name.eq_ignore_ascii_case(&word)) {
        return Ok(u);
    }
    if let Some(u) = UNITS.iter().find(|u| u.name.eq_ignore_ascii_case(&word)) {
        return Err(wrong(u));
    }
    let nearest = wanted
        .units()
        .map(|u| (strsim::osa_distance(&u.name.to_lowercase(), &word.to_lowercase()), u.name))
        .filter(|(distance, name)| *distance < name.chars().count() && *distance <= 2)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, name)| name);
    Err(QuantityError::UnknownUnit { unit: word, nearest })
}
