//! The demo site with one fault put in, for the tests of the messages.
#![allow(clippy::expect_used)] // made for tests: it ends them where its own input is wrong

use landfall_plan::site::{Dimension, UNITS, demo_text, read_site};

/// The demo site with one line replaced (matched by its start, within its table).
///
/// # Panics
/// Where no line of the table starts so.
pub fn edited(table: &str, start: &str, replacement: &str) -> String {
    let mut within = "";
    let mut found = false;
    let mut out = String::new();
    for line in demo_text().lines() {
        if line.starts_with('[') {
            within = line.trim_matches(['[', ']']);
        }
        if within == table && line.starts_with(start) && !found {
            found = true;
            out.push_str(replacement);
            out.push('\n');
        } else {
            out.push_str(line);
            out.push('\n');
        }
    }
    assert!(found, "no line of [{table}] starts with {start:?}");
    out
}

/// Replaces a line and compares every message and cure in full. Each place is checked against the text, so that the
/// expected text can leave the line's number out and the demo is free to change.
///
/// # Panics
/// Where anything differs.
#[track_caller]
pub fn says(table: &str, start: &str, replacement: &str, expected: &str) {
    let text = edited(table, start, replacement);
    let faults = read_site(&text, "site.toml").expect_err("read without a fault");
    let lines: Vec<&str> = text.lines().collect();
    for fault in &faults.faults {
        // The place is checked here, so that the expected text can leave the number out.
        let line = lines.get(fault.line - 1).copied().unwrap_or("");
        assert_eq!(line.trim_end(), fault.excerpt);
        assert!(fault.column >= 1 && fault.column - 1 + fault.width <= line.chars().count());
    }
    let got: Vec<String> = faults.faults.iter().map(|f| format!("{}: {}\n= {}", f.key, f.message, f.cure)).collect();
    assert_eq!(got.join("\n"), expected);
}

/// A quantity in a unit of feet and pounds, as text.
#[must_use]
pub fn imperial(si: f64, dimension: Dimension) -> String {
    let unit = match dimension {
        Dimension::Length => "ft",
        Dimension::Area => "ft2",
        Dimension::Volume => "ft3",
        Dimension::Flow => "cfm",
        Dimension::Speed => "mph",
        Dimension::Mass => "lb",
        Dimension::Force => "lbf",
        Dimension::Angle => "rad",
        Dimension::Temperature => "degF",
        Dimension::Pressure => "inH2O",
        Dimension::Compliance => "/kPa",
        Dimension::AreaMass => "oz/yd2",
        Dimension::Voltage => "mV",
        _ => "min",
    };
    let unit = UNITS.iter().find(|known| known.dimension == dimension && known.name == unit);
    unit.map_or_else(String::new, |unit| format!("{:.15e} {}", unit.from_si(si), unit.name))
}
