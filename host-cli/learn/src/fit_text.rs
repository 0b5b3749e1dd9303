//! The fit on one screen.

use anstyle::{AnsiColor, Style as Paint};

use super::fit::{Fit, Parameter, assumptions};
use super::next::MORE_RUNS;
use super::write_site::Edit;
use landfall_plan::plan::text::{Page, Style};
use landfall_plan::plan::words::{list, metres, number, plain_name};
use landfall_plan::shown::Shown;
use landfall_plan::site::Dimension;

fn caution() -> Paint {
    Paint::new().fg_color(Some(AnsiColor::Yellow.into()))
}

/// A parameter's value and error in the site's units.
fn with_error(here: Shown, name: &str, value: f64, sd: f64) -> String {
    let plain = |decimals| format!("{} ± {}", number(value, decimals), number(sd, decimals));
    match dimension_of(name) {
        Some(dimension) => here.beside(dimension).with_error(value, sd),
        None if name == "rolling_resistance" => plain(4),
        None => plain(2),
    }
}

/// What a unit of SI is one of.
pub(super) fn dimension_in(unit: &str) -> Dimension {
    match unit {
        "m" => Dimension::Length,
        "s" => Dimension::Time,
        _ => Dimension::Speed,
    }
}

/// A scatter alone.
fn scatter(here: Shown, name: &str, sd: f64) -> String {
    dimension_of(name)
        .map_or_else(|| format!("± {}", number(sd, 2)), |dimension| format!("± {}", here.beside(dimension).words(sd)))
}

fn dimension_of(name: &str) -> Option<Dimension> {
    match name {
        "rolling_resistance" | "carry" => None,
        "drag_area_rolling" | "drag_area_flying" => Some(Dimension::Area),
        "line" => Some(Dimension::Length),
        "yaw" => Some(Dimension::Angle),
        _ => Some(Dimension::Speed),
    }
}

fn name_of(parameter: &str) -> String {
    match parameter {
        "lip_speed" => "lip speed, beside the model's".to_owned(),
        "line" => "line, to the left".to_owned(),
        other => plain_name(other),
    }
}

fn row(here: Shown, parameter: &Parameter) -> String {
    let show = |value: f64, sd: f64| with_error(here, parameter.name, value, sd);
    let now = if parameter.learnt {
        show(parameter.value, parameter.sd)
    } else {
        format!("not told by these runs ({})", show(parameter.value, parameter.sd))
    };
    format!("{:<30} {:<22} {now}", name_of(parameter.name), show(parameter.site_value, parameter.site_sd))
}

/// The whole report.
#[must_use]
pub fn fit_text(fit: &Fit, edits: &[Edit], here: Shown, style: Style) -> String {
    let mut page = Page::new(style);
    let runs = if fit.runs == 1 { "1 run says".to_owned() } else { format!("{} runs say", fit.runs) };
    page.line(&format!("{}: what {runs}", fit.site));
    if fit.doubts.is_empty() {
        page.paragraph("The runs go together. What they tell stands below with one standard deviation.");
    } else {
        page.paragraph("NOT SURE: read why before using any of it.");
        for doubt in &fit.doubts {
            page.entry("not sure", caution(), doubt);
        }
    }
    for outlier in &fit.outliers {
        let one = here.beside(dimension_in(outlier.unit));
        page.entry(
            "outlier",
            caution(),
            &format!(
                "run {}: {} {} where the other runs give {}; a run like the others is as far off {}. It is counted all the same.",
                outlier.run,
                outlier.quantity,
                one.words(outlier.measured),
                one.with_error(outlier.expected, outlier.sd),
                outlier.how_often(),
            ),
        );
    }
    for left in &fit.left_out {
        page.plain("left out", &format!("run {}: {}", left.run, left.reason));
    }
    if fit.riders.len() > 1 {
        page.plain(
            "riders",
            &format!("{} together: what differs between them counts as scatter; --rider takes one", list(&fit.riders)),
        );
    }
    page.heading("Same in all runs                 the site has           the runs say");
    for parameter in &fit.parameters {
        page.line(&format!("  {}", row(here, parameter)));
    }
    page.heading("From run to run                  the site has           the runs say");
    for group in &fit.scatter {
        for input in &group.inputs {
            let now =
                if group.learnt { scatter(here, input.name, input.sd) } else { "not told by these runs".to_owned() };
            let site = scatter(here, input.name, input.site_sd);
            page.line(&format!("  {:<30} {site:<22} {now}", plain_name(input.name)));
        }
    }
    let landing = &fit.landing;
    page.heading("Landing of the mean rider from the site's start, behind the front edge");
    page.plain("site", &format!("{} ± {}", metres(here, landing.site_along_m), metres(here, landing.site_sd_m)));
    page.plain(
        "runs",
        &format!(
            "{} ± {}: {} not known of the mean, {} from run to run",
            metres(here, landing.along_m),
            metres(here, landing.sd_m),
            metres(here, landing.not_known_m),
            metres(here, landing.scatter_m)
        ),
    );
    if let Some(best) = fit.next.first() {
        let rest: Vec<String> =
            fit.next.iter().skip(1).map(|c| format!("{} {}", c.what, metres(here, c.not_known_m))).collect();
        page.plain(
            "next",
            &format!(
                "{} in {MORE_RUNS} more runs would bring the {} not known to {}. Others: {}.",
                best.what,
                metres(here, landing.not_known_m),
                metres(here, best.not_known_m),
                rest.join("; ")
            ),
        );
    }
    page.heading("Taken as");
    for assumption in assumptions() {
        page.plain("assumed", &assumption);
    }
    if fit.assumed_sds > 0 {
        page.plain(
            "assumed",
            &format!("standard deviations of {} measured values, which the table does not state", fit.assumed_sds),
        );
    }
    page.heading("For the site file (--write)");
    if edits.is_empty() {
        page.plain("nothing", "the runs tell no value better than the site has it");
    }
    let lines: Vec<String> = edits.iter().map(|edit| format!("{} = {}", edit.key, edit.text)).collect();
    if !lines.is_empty() {
        page.paragraph(&format!("  {}", lines.join("; ")));
    }
    page.out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_says_what_is_not_told() {
        let mut parameter = Parameter {
            name: "pop",
            site_value: 0.0,
            site_sd: 0.35,
            value: 0.212,
            sd: 0.1,
            low: 0.0,
            high: 0.4,
            learnt: true,
        };
        let here = Shown::default();
        assert!(row(here, &parameter).ends_with("0.00 ± 0.35 m/s        0.21 ± 0.10 m/s"));
        let imperial = Shown::new(landfall_plan::site::Units::Imperial, landfall_plan::site::Gauge::InH2O);
        assert!(row(imperial, &parameter).ends_with("0.00 ± 0.78 mph        0.47 ± 0.22 mph"));
        parameter.learnt = false;
        assert!(row(here, &parameter).contains("not told by these runs (0.21"));
    }
}
