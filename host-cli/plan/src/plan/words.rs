//! Numbers in words: as many digits as mean something, each with its unit.
//!
//! # Settled here
//! - **Chance of a miss** without a miss in N runs is the bound 3/N in the results; texts give of fewer than five
//!   misses the bound below which the chance lies (95 %), and below 1 in 100,000 no number. The weighted runs of
//!   `spread.tails` stand beside it.

use super::interval::upper_95;
use crate::shown::{Shown, Toward};
use crate::site::Gauge;

/// A number with a fixed number of decimals and thousands set apart by commas; a rounded zero has no sign.
#[must_use]
pub fn number(value: f64, decimals: usize) -> String {
    let text = format!("{:.decimals$}", value.abs());
    let (whole, rest) = text.split_once('.').map_or((text.as_str(), None), |(whole, rest)| (whole, Some(rest)));
    let mut out = String::new();
    if value < 0.0 && text.chars().any(|c| c.is_ascii_digit() && c != '0') {
        out.push('-');
    }
    for (i, digit) in whole.chars().enumerate() {
        if i > 0 && (whole.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    if let Some(rest) = rest {
        out.push('.');
        out.push_str(rest);
    }
    out
}

/// A length: metres to the centimetre, or feet and inches.
#[must_use]
pub fn metres(u: Shown, m: f64) -> String {
    if u.is_imperial() { u.length(m, Toward::Nearest) } else { format!("{} m", number(m, 2)) }
}

/// Metres a second and kilometres an hour, or miles an hour.
#[must_use]
pub fn speed(u: Shown, mps: f64) -> String {
    if u.is_imperial() {
        return u.fine_speed(mps, Toward::Nearest);
    }
    format!("{} m/s ({} km/h)", number(mps, 2), number(mps * 3.6, 0))
}

/// Kilometres an hour, for wind, or miles an hour.
#[must_use]
pub fn wind(u: Shown, mps: f64) -> String {
    if u.is_imperial() {
        return u.speed(mps, Toward::Nearest);
    }
    format!("{} km/h ({} m/s)", number(mps * 3.6, 0), number(mps, 1))
}

/// In the gauge's unit and digits; of kilopascals, whole pascals below 0.1 kPa.
#[must_use]
pub fn pressure(u: Shown, pa: f64) -> String {
    match u.gauge() {
        Gauge::KPa if pa.abs() < 99.5 => format!("{} Pa", number(pa, 0)),
        Gauge::KPa => format!("{} kPa", number(pa / 1000.0, 2)),
        _ => u.pressure(pa, Toward::Nearest),
    }
}

/// The highest pressure that is looked at, 20 kPa.
#[must_use]
pub fn highest_looked_at(u: Shown) -> String {
    if u.gauge() == Gauge::KPa { "20 kPa".to_owned() } else { u.pressure(20e3, Toward::Nearest) }
}

/// Seconds: hundredths below ten, tenths below a minute, then whole ones; minutes from ten minutes.
#[must_use]
pub fn seconds(s: f64) -> String {
    match s.abs() {
        a if a < 9.995 => format!("{} s", number(s, 2)),
        a if a < 59.95 => format!("{} s", number(s, 1)),
        a if a < 599.5 => format!("{} s", number(s, 0)),
        _ => format!("{} min", number(s / 60.0, 0)),
    }
}

/// Cubic metres a second, or cubic feet a minute.
#[must_use]
pub fn flow(u: Shown, m3ps: f64) -> String {
    if u.is_imperial() {
        return u.flow(m3ps, Toward::Nearest);
    }
    format!("{} m³/s", number(m3ps, if m3ps.abs() < 0.1 { 3 } else { 2 }))
}

/// A load over weight.
#[must_use]
pub fn load(g: f64) -> String {
    format!("{} g", number(g, 1))
}

/// Newtons to ten, or pounds-force.
#[must_use]
pub fn force(u: Shown, n: f64) -> String {
    if u.is_imperial() {
        return u.force(n, Toward::Nearest);
    }
    format!("{} N", number((n / 10.0).round() * 10.0, 0))
}

/// Chances below this are not said as numbers: so far out nobody has measured how runs scatter.
pub const RAREST_SAID: f64 = 1.0e-5;

/// A chance: percent from 1 in 20, else 1 in so many; below 1 in 100,000 only that it is rarer.
#[must_use]
pub fn chance(p: f64) -> String {
    if p <= 0.0 {
        return "none counted".to_owned();
    }
    if p < RAREST_SAID {
        return "rarer than 1 in 100,000".to_owned();
    }
    if p >= 0.05 {
        return format!("{} %", number(p * 100.0, 0));
    }
    one_in(p)
}

/// Rounded to the careful side: a chance over a limit never shows as the limit.
fn one_in(p: f64) -> String {
    let one_in = 1.0 / p;
    let digits = 10f64.powf(one_in.log10().floor() - 1.0);
    format!("1 in {}", number((one_in / digits + 1.0e-6).floor() * digits, 0))
}

/// The chance of a miss in a whole phrase: where it is not said as a number, with what it rests on.
#[must_use]
pub fn miss_chance(p: f64) -> String {
    let said = chance(p);
    if p > 0.0 && p < RAREST_SAID { format!("{said}, as far as the assumed scatter goes") } else { said }
}

/// A limit that somebody states for a chance: always as a number.
#[must_use]
pub fn chance_limit(p: f64) -> String {
    if p > 0.0 && p < RAREST_SAID { one_in(p) } else { chance(p) }
}

/// A bound below which a chance lies.
#[must_use]
pub fn fewer_than(bound: f64) -> String {
    if bound < RAREST_SAID { chance(bound) } else { format!("fewer than {}", chance(bound)) }
}

/// The chance of a miss from counted runs. Of few misses only the bound is said below which the chance lies (95 %), so
/// that no miss at all never sounds more than a few.
#[must_use]
pub fn counted_chance(misses: u64, runs: u64) -> String {
    const FEW: u64 = 5;
    if misses >= FEW || runs == 0 {
        return miss_chance(misses as f64 / runs.max(1) as f64);
    }
    let most = upper_95(misses, runs);
    if most < RAREST_SAID { miss_chance(most) } else { fewer_than(most) }
}

/// A share in percent: `<1 %` below one.
#[must_use]
pub fn percent(share: f64) -> String {
    if share > 0.0 && share < 0.01 { "under 1 %".to_owned() } else { format!("{} %", number(share * 100.0, 0)) }
}

/// The name of an input as people say it: `lip_speed` is `lip speed`.
#[must_use]
pub fn plain_name(key: &str) -> String {
    key.replace('_', " ")
}

/// `a`, `a and b`, `a, b and c`.
#[must_use]
pub fn list(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// The first sentence of a text: up to the first full stop that a space and a capital letter follow.
#[must_use]
pub fn first_sentence(text: &str) -> &str {
    let capital_follows = |rest: &str| rest.strip_prefix(". ").is_some_and(|r| r.starts_with(char::is_uppercase));
    text.char_indices()
        .find(|(i, _)| text.get(*i..).is_some_and(capital_follows))
        .map_or(text, |(i, _)| text.get(..=i).unwrap_or(text))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::Units;

    #[test]
    fn numbers_have_sensible_digits() {
        assert_eq!(number(1234567.891, 1), "1,234,567.9");
        assert_eq!(number(-0.001, 2), "0.00");
        assert_eq!(number(-12.5, 1), "-12.5");
        assert_eq!(number(999.0, 0), "999");
        let (u, imperial) = (Shown::default(), Shown::new(Units::Imperial, Gauge::InH2O));
        assert_eq!(speed(u, 10.0), "10.00 m/s (36 km/h)");
        assert_eq!(pressure(u, 6.4), "6 Pa");
        assert_eq!(pressure(u, 1104.0), "1.10 kPa");
        // 10 m/s = 22.37 mph; 1104 Pa = 4.432 inH2O; 2.44 m = 8 ft and 1/16 in; 1 m³/s = 2119 cfm.
        assert_eq!((speed(imperial, 10.0).as_str(), wind(imperial, 10.0).as_str()), ("22.4 mph", "22 mph"));
        assert_eq!(
            (pressure(imperial, 1104.0).as_str(), pressure(imperial, 6.4).as_str()),
            ("4.45 inH2O", "0.05 inH2O")
        );
        assert_eq!((metres(u, 2.44).as_str(), metres(imperial, 2.44).as_str()), ("2.44 m", "8 ft 1/16 in"));
        assert_eq!((flow(u, 1.0).as_str(), flow(imperial, 1.0).as_str()), ("1.00 m³/s", "2120 cfm"));
        assert_eq!(seconds(1.234), "1.23 s");
        assert_eq!(seconds(45.67), "45.7 s");
        assert_eq!(seconds(432.1), "432 s");
        assert_eq!(seconds(1200.0), "20 min");
        assert_eq!(force(u, 4564.0), "4,560 N");
    }

    #[test]
    fn chances_are_said_in_one_of_so_many() {
        assert_eq!(chance(0.0), "none counted");
        assert_eq!(chance(0.5), "50 %");
        assert_eq!(chance(0.001), "1 in 1,000");
        assert_eq!(chance(0.00003), "1 in 33,000");
        assert_eq!(chance(9.9e-6), "rarer than 1 in 100,000");
        assert_eq!(miss_chance(1.0e-9), "rarer than 1 in 100,000, as far as the assumed scatter goes");
        assert_eq!(miss_chance(1.0e-4), "1 in 10,000");
        assert_eq!(chance_limit(1.0e-6), "1 in 1,000,000");
        assert_eq!(percent(0.004), "under 1 %");
        assert_eq!(percent(0.456), "46 %");
    }

    #[test]
    fn few_misses_are_a_bound_that_grows_with_them() {
        assert_eq!(counted_chance(0, 100_000), "fewer than 1 in 33,000");
        // `scipy.stats.beta.ppf(0.95, 3, 99998)`: 6.2957e-5.
        assert_eq!(counted_chance(2, 100_000), "fewer than 1 in 15,000");
        assert_eq!(counted_chance(5, 100_000), "1 in 20,000");
        assert_eq!(counted_chance(0, 10_000_000), "rarer than 1 in 100,000, as far as the assumed scatter goes");
        assert_eq!(counted_chance(3_000, 10_000), "30 %");
    }

    #[test]
    fn sentences_end_at_a_stop_before_a_capital() {
        assert_eq!(first_sentence("At 1.5 m. Then more. And more."), "At 1.5 m.");
        assert_eq!(first_sentence("Only one: 1.5 m"), "Only one: 1.5 m");
        assert_eq!(list(&["a".into(), "b".into(), "c".into()]), "a, b and c");
    }
}
