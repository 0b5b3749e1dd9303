//! The parsing of texts such as `"8 ft 6 in"`, `"4.4 inH2O"` or `"64 degF"`.
//!
//! A text is converted here once; everything behind it is SI.

use std::fmt;

use super::units::{Dimension, FOOT, INCH, UNITS, Unit, plain};

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
/// use landfall_plan::site::{parse_quantity, Dimension};
/// let lip = parse_quantity("8 ft 6 in", Dimension::Length)?;
/// assert!((lip.si - 2.5908).abs() < 1e-12);
/// # Ok::<(), landfall_plan::site::QuantityError>(())
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
    let nearest = spelled_out(&word.to_lowercase(), wanted).or_else(|| near_unit(&word.to_lowercase(), wanted));
    Err(QuantityError::UnknownUnit { unit: word, nearest })
}

/// The unit that a written-out word names; it is proposed, not taken.
fn spelled_out(word: &str, wanted: Dimension) -> Option<&'static str> {
    use Dimension as D;
    const WORDS: &[(Dimension, &str, &str)] = &[
        (D::Length, "met", "m"),
        (D::Length, "mtr", "m"),
        (D::Length, "centi", "cm"),
        (D::Length, "milli", "mm"),
        (D::Length, "yard", "yd"),
        (D::Volume, "lit", "L"),
        (D::Speed, "met", "m/s"),
        (D::Speed, "mps", "m/s"),
        (D::Speed, "kmh", "km/h"),
        (D::Speed, "mile", "mph"),
        (D::Speed, "mi/h", "mph"),
        (D::Speed, "knot", "kn"),
        (D::Speed, "fps", "ft/s"),
        (D::Mass, "kilo", "kg"),
        (D::Mass, "gram", "g"),
        (D::Mass, "pound", "lb"),
        (D::Force, "kilonewton", "kN"),
        (D::Force, "newton", "N"),
        (D::Temperature, "cel", "degC"),
        (D::Temperature, "deg c", "degC"),
        (D::Temperature, "fah", "degF"),
        (D::Temperature, "deg f", "degF"),
        (D::Temperature, "kelvin", "K"),
        (D::Pressure, "kilopascal", "kPa"),
        (D::Pressure, "pascal", "Pa"),
        (D::Pressure, "millibar", "mbar"),
        (D::Pressure, "inwc", "inH2O"),
        (D::Pressure, "inwg", "inH2O"),
        (D::Pressure, "in ", "inH2O"),
        (D::Pressure, "mmwc", "mmH2O"),
        (D::Time, "second", "s"),
        (D::Time, "minute", "min"),
    ];
    WORDS.iter().find(|(d, start, _)| *d == wanted && word.starts_with(start)).map(|(_, _, unit)| *unit)
}

/// The unit of the dimension whose name differs least, if little.
fn near_unit(word: &str, wanted: Dimension) -> Option<&'static str> {
    wanted
        .units()
        .map(|u| (strsim::osa_distance(&u.name.to_lowercase(), word), u.name))
        .filter(|(distance, name)| *distance < name.chars().count() && *distance <= 2)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, name)| name)
}
