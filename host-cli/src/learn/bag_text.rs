//! The drop test on one screen, and what it writes.

use anstyle::{AnsiColor, Style as Paint};

use super::bag_fit::{BagFit, BagValue};
use super::write_site::{Edit, edit};
use crate::plan::text::{Page, Style};
use crate::site::plain;

/// What the test would write: the values that it told, and that stretch and dish radius were measured where they were.
#[must_use]
pub fn bag_edits(fit: &BagFit) -> Vec<Edit> {
    let mut out: Vec<Edit> =
        fit.values.iter().filter(|value| value.learnt).filter_map(|value| edit(value.key, value.value)).collect();
    if fit.fitted {
        out.push(Edit { key: "bag.fitted", text: "true".to_owned() });
    }
    out
}

fn show(key: &str, value: f64) -> String {
    let three = |value: f64| {
        let digits = if value == 0.0 { 1.0 } else { 10f64.powf(2.0 - value.abs().log10().floor()) };
        plain((value * digits).round() / digits)
    };
    match key {
        "bag.dish_radius" => format!("{} m", three(value)),
        "bag.vent_area" => format!("{} cm²", three(value * 1e4)),
        "bag.skin_stretch" => format!("{} % a kPa", three(value * 1e5)),
        _ => three(value),
    }
}

fn row(value: &BagValue) -> String {
    let range = format!("{} to {}", show(value.key, value.low), show(value.key, value.high));
    let now = if value.learnt {
        format!("{} ({range})", show(value.key, value.value))
    } else {
        format!("not told by these tests ({range})")
    };
    format!("  {:<18} {:<16} {now}", value.name, show(value.key, value.site_value))
}

/// The whole report.
#[must_use]
pub fn bag_text(fit: &BagFit, style: Style) -> String {
    let mut page = Page::new(style);
    page.line(&format!(
        "{}: what {} drops and {} points of a deflation say",
        fit.site, fit.drops, fit.deflation_points
    ));
    if fit.doubts.is_empty() {
        page.paragraph("Dish radius and stretch count as measured. Beside each value, its 95 % interval.");
    } else {
        page.paragraph("NOT SURE: read why before using any of it.");
        for doubt in &fit.doubts {
            page.entry("not sure", Paint::new().fg_color(Some(AnsiColor::Yellow.into())), doubt);
        }
    }
    for left in &fit.left_out {
        page.plain("left out", &format!("drop {}: {}", left.run, left.reason));
    }
    page.heading("Value              the site has     the tests say");
    for value in &fit.values {
        page.line(&row(value));
    }
    for (i, a) in fit.values.iter().enumerate() {
        for (j, b) in fit.values.iter().enumerate().skip(i + 1) {
            let together = fit.correlations.get(i).and_then(|row| row.get(j)).copied().unwrap_or_default();
            if together.abs() > 0.9 && (a.learnt || b.learnt) {
                page.plain(
                    "together",
                    &format!(
                        "{} and {} are hard to tell apart (correlation {together:.2}): the tests know what both do together better than each",
                        a.name, b.name
                    ),
                );
            }
        }
    }
    page.heading("Measured, by the fit");
    for residual in fit.residuals.iter().filter(|residual| residual.test != "deflation") {
        let digits = if residual.unit == "m" { 2 } else { 0 };
        page.plain(
            "",
            &format!(
                "{:<10} {:<14} {:.digits$} {unit}, {:.digits$} ± {:.digits$} {unit}",
                residual.test,
                residual.quantity,
                residual.measured,
                residual.expected,
                residual.sd,
                unit = residual.unit
            ),
        );
    }
    page.plain(
        "errors",
        &format!(
            "of the drops {:.1} times what was stated, of settled pressure and deflation {:.1} times what is assumed",
            fit.drop_scale, fit.deflation_scale
        ),
    );
    page.plain("exact", "the bag's volume and the blowers' curve are taken as such; their errors are in no interval");
    page.heading("For the site file (--write)");
    let edits = bag_edits(fit);
    if edits.is_empty() {
        page.plain("nothing", "the tests tell no value better than the site has it");
    } else {
        let lines: Vec<String> = edits.iter().map(|edit| format!("{} = {}", edit.key, edit.text)).collect();
        page.paragraph(&format!("  {}", lines.join("; ")));
    }
    page.plain("note", "A drop is a test of the air, not of a body: it says nothing about how a person lands.");
    page.out
}
