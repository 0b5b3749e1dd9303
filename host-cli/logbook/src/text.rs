//! A logbook to read: what is in it, and a checklist.

use super::{Logbook, LogbookError};
use landfall_plan::outside;
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Dimension, Gauge, Units, plain};
use serde_json::{Map, Value};
use std::borrow::Cow;
use std::fmt::Write as _;

/// A text of the row as it is shown: another program may have put anything there.
fn word<'a>(row: &'a Map<String, Value>, key: &str) -> Cow<'a, str> {
    outside::plain(row.get(key).and_then(Value::as_str).unwrap_or(""))
}

fn number(row: &Map<String, Value>, key: &str) -> i64 {
    row.get(key).and_then(Value::as_i64).unwrap_or(0)
}

/// The units that an item was written in: its own says which.
fn units_of(dimension: Dimension, unit: &str) -> Shown {
    let gauge = Gauge::ALL.iter().copied().find(|gauge| gauge.word() == unit).unwrap_or_default();
    let imperial = Shown::new(Units::Imperial, gauge);
    if imperial.unit(dimension) == unit && Shown::new(Units::Metric, gauge).unit(dimension) != unit {
        imperial
    } else {
        Shown::new(Units::Metric, gauge)
    }
}

/// A limit as every text of the plan shows it, rounded to its careful side; what has no such form to four digits.
fn shown(row: &Map<String, Value>, key: &str, toward: Toward) -> Option<String> {
    let value = row.get(key).and_then(Value::as_f64)?;
    let unit = word(row, "unit");
    let dimension = Dimension::ALL.into_iter().find(|dimension| format!("{dimension:?}") == word(row, "dimension"));
    if let Some(dimension) = dimension.filter(|of| units_of(*of, &unit).unit(*of) == unit) {
        return Some(units_of(dimension, &unit).quantity(dimension, value, toward));
    }
    let value = dimension
        .and_then(|dimension| dimension.units().find(|known| known.name == unit))
        .map_or(value, |known| known.from_si(value));
    let scale = 10.0_f64.powf(3.0 - value.abs().max(1e-9).log10().floor());
    let text = plain((value * scale).round() / scale);
    Some(if unit.is_empty() { text } else { format!("{text} {unit}") })
}

fn limits(row: &Map<String, Value>) -> String {
    match (shown(row, "low", Toward::Up), shown(row, "high", Toward::Down)) {
        (Some(low), Some(high)) => format!("{low} to {high}"),
        (Some(low), None) => format!("at least {low}"),
        (None, Some(high)) => format!("at most {high}"),
        (None, None) if word(row, "dimension").is_empty() => "yes".to_owned(),
        (None, None) => "no limit computed".to_owned(),
    }
}

/// Plans, entries and how many checks there are.
///
/// # Errors
/// [`LogbookError`].
pub fn list(book: &Logbook) -> Result<String, LogbookError> {
    let mut out = String::new();
    let plans = book.table("plans")?.unwrap_or_default();
    let checks = book.table("checks")?.unwrap_or_default();
    let entries = book.table("entries")?.unwrap_or_default();
    let _ = writeln!(out, "Plans");
    for plan in &plans {
        let id = number(plan, "plan");
        let (mut inside, mut outside) = (0, 0);
        for check in checks.iter().filter(|check| number(check, "plan") == id) {
            if check.get("within") == Some(&Value::from(false)) { outside += 1 } else { inside += 1 }
        }
        let _ = writeln!(
            out,
            "  {id}  {}  {}  from {} ({}), program {}; checks: {inside} inside or without a limit, {outside} outside",
            word(plan, "added_at"),
            word(plan, "name"),
            word(plan, "site_file"),
            word(plan, "site_sha256").get(..12).unwrap_or_default(),
            word(plan, "program"),
        );
    }
    if plans.is_empty() {
        out.push_str("  none\n");
    }
    let _ = writeln!(out, "Runs and box logs");
    for entry in &entries {
        let plan =
            entry.get("plan").and_then(Value::as_i64).map_or_else(|| "no plan".to_owned(), |id| format!("plan {id}"));
        let note = word(entry, "note");
        let _ = writeln!(
            out,
            "  {}  {}  {}, {} rows from {} ({}), {plan}{}",
            number(entry, "entry"),
            word(entry, "added_at"),
            word(entry, "source"),
            number(entry, "rows"),
            word(entry, "file"),
            word(entry, "sha256").get(..12).unwrap_or_default(),
            if note.is_empty() { String::new() } else { format!("; {note}") },
        );
    }
    if entries.is_empty() {
        out.push_str("  none\n");
    }
    Ok(out)
}

/// A checklist with what was seen last; and how many items are open, and outside.
#[must_use]
pub fn checklist(plan: i64, rows: &[Map<String, Value>]) -> (String, usize, usize) {
    let mut out = format!("Checklist of plan {plan}, from its own limits\n");
    let (mut open, mut outside) = (0, 0);
    for row in rows {
        let state = match row.get("within") {
            _ if word(row, "who").is_empty() => {
                open += 1;
                "open"
            }
            Some(Value::Bool(false)) => {
                outside += 1;
                "OUTSIDE"
            }
            Some(Value::Bool(true)) => "inside",
            _ => "seen",
        };
        let _ = writeln!(out, "  {:>2}  {state:<7}  {}: {}", number(row, "number"), word(row, "what"), limits(row));
        if !word(row, "who").is_empty() {
            let note = word(row, "note");
            let note = if note.is_empty() { String::new() } else { format!("; {note}") };
            let _ =
                writeln!(out, "               {}, {}: {}{note}", word(row, "at"), word(row, "who"), word(row, "seen"));
        }
    }
    let _ = writeln!(out, "{open} open, {outside} outside. Inside says that the plan's limits are met, and no more.");
    (out, open, outside)
}
