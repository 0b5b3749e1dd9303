//! The card for the fence: on one page, in large type, the limits to ride within today.

use super::html::document;
use super::markup::{Element, el};
use super::words::{feet, fixed, kmh, maybe, mph, pounds, tape};
use crate::plan::results::{Level, Results};
use crate::site::Site;

const STYLE: &str = include_str!("card.css");
/// Findings of level stop that the card has room for.
const STOPS: usize = 3;
/// Characters of such a finding that it has room for.
const STOP_LENGTH: usize = 230;

/// The whole page: a pure function of the site and its plan.
#[must_use]
pub fn page(site: &Site, results: &Results) -> String {
    let mut card = el("main").class("card").add(head(results));
    card.push(stops(results));
    let limits = [
        starts(site, results),
        pressure(site, results),
        between(site, results),
        riders(site),
        winds(results),
        cut(results),
    ];
    card.push(el("div").class("limits").all(limits));
    card.push(tell());
    card.push(
        el("section")
            .add(el("h2").text("Cautions"))
            .add(el("ul").class("cautions").all(results.cautions.iter().map(|text| el("li").text(text.clone())))),
    );
    card.push(el("p").class("small").text(format!(
        "Computed by Landfall {} from the site file; it holds for those values and that day's bag only. {} of its values are assumed, not stated.",
        results.version,
        results.assumed.len()
    )));
    document(&format!("{} – card for the fence", results.site), STYLE, card)
}

fn blank(what: &str) -> Element {
    el("span").class("ask").text(format!("{what} ")).add(el("span").class("blank"))
}

fn head(r: &Results) -> Element {
    el("header")
        .add(el("h1").text(r.site.clone()))
        .add(el("p").class("big").text("Limits to ride within"))
        .add(el("div").class("day").all([blank("Date"), blank("Checked by"), blank("Air now, Pa")]))
}

/// What forbids riding comes before all limits; the card says so even where there is none.
fn stops(r: &Results) -> Element {
    let list: Vec<_> = r.findings.iter().filter(|finding| finding.level == Level::Stop).collect();
    if list.is_empty() {
        let cautions = r.findings.iter().filter(|finding| finding.level == Level::Caution).count();
        return el("p").class("small").text(format!(
            "No limit that was computed is passed at the site's values. Cautions in the report: {cautions}; read it first."
        ));
    }
    let rest = list.len().saturating_sub(STOPS);
    let mut items = el("ul").all(list.iter().take(STOPS).map(|finding| el("li").text(beginning(&finding.text))));
    if rest > 0 {
        items.push(el("li").text(format!("and {rest} more, see the report")));
    }
    el("section").class("stop").add(el("strong").text("■ STOP: nobody rides until this is changed")).add(items)
}

/// As many whole sentences as there is room for, at least one, cut where even that is too long.
fn beginning(text: &str) -> String {
    let mut kept = String::new();
    for sentence in text.split_inclusive(". ") {
        if !kept.is_empty() && kept.chars().count() + sentence.chars().count() > STOP_LENGTH {
            break;
        }
        kept.push_str(sentence);
    }
    let whole = kept.trim_end();
    if whole.chars().count() <= STOP_LENGTH {
        return whole.to_owned();
    }
    let cut: String = whole.chars().take(STOP_LENGTH).collect();
    format!("{} … (see the report)", clause(&cut))
}

/// Up to the last clause that is whole: not within brackets, and not in the middle of a part of the sentence.
fn clause(text: &str) -> &str {
    let mut open = Vec::new();
    for (at, c) in text.char_indices() {
        match c {
            '(' => open.push(at),
            ')' => drop(open.pop()),
            _ => {}
        }
    }
    let text = open.first().and_then(|at| text.get(..*at)).unwrap_or(text).trim_end();
    let end = [", ", "; ", ": ", " ("].iter().filter_map(|mark| text.rfind(mark)).max();
    match end.filter(|end| open.is_empty() && 2 * end > text.len()) {
        Some(end) => text.get(..end).unwrap_or(text),
        None if open.is_empty() => text.rsplit_once(' ').map_or(text, |(kept, _)| kept),
        None => text,
    }
}

fn limit(title: &str, parts: impl IntoIterator<Item = Element>) -> Element {
    el("section").class("limit").add(el("h2").text(title)).all(parts)
}

fn big(text: impl Into<String>) -> Element {
    el("p").class("big").text(text)
}

fn small(text: impl Into<String>) -> Element {
    el("p").class("small").text(text)
}

fn table(caption: &str, head: &[&str], rows: impl IntoIterator<Item = [String; 3]>) -> Element {
    el("table")
        .with("aria-label", caption)
        .add(el("thead").add(el("tr").all(head.iter().map(|text| el("th").with("scope", "col").text(*text)))))
        .add(el("tbody").all(rows.into_iter().map(|[name, figure, other]| {
            el("tr")
                .add(el("th").with("scope", "row").text(name))
                .add(el("td").class("big").text(figure))
                .add(el("td").text(other))
        })))
}

fn starts(site: &Site, r: &Results) -> Element {
    let p = &r.placement;
    let planned_m = site.roll_in.start_height_m;
    // All pressures are computed for the planned start: from higher up nothing here holds.
    let highest = p.highest_start_in_gust_m.map(|m| m.min(planned_m));
    let row = |name: &str, value: Option<f64>| {
        let m = value.map_or_else(|| "none".to_owned(), |m| format!("{} m", fixed(m, 2)));
        [name.to_owned(), m, value.map_or_else(|| "–".to_owned(), feet)]
    };
    let line = match p.last_stop_before_foot_m {
        Some(m) => {
            format!("Last stop line: {} before the foot, along the surface. Past it, braking is too late.", tape(m))
        }
        None => "No last stop line: whoever starts is committed from the start.".to_owned(),
    };
    let why = match highest {
        Some(m) if m < planned_m => format!(
            "Planned: {} m. In gusts of {} m/s more tail wind too many miss from above the highest mark.",
            fixed(planned_m, 2),
            fixed(site.wind.gust_mps, 1)
        ),
        Some(_) => "Highest is the planned start: the pressures hold for no higher one.".to_owned(),
        None => format!("Planned: {} m.", fixed(planned_m, 2)),
    };
    limit(
        "Start marks, over the foot",
        [
            table(
                "Start marks",
                &["mark", "m", "ft"],
                [row("highest", highest), row("lowest", p.lowest_clearing_start_m)],
            ),
            small(format!("{why} {line}")),
        ],
    )
}

/// The pressures that the card names.
struct Named {
    stop_pa: Option<f64>,
    start_pa: Option<(f64, f64)>,
    holds_for_s: Option<f64>,
    missing_s: Option<f64>,
}

fn named(r: &Results) -> Named {
    let p = &r.pressures;
    let stop_pa = p.stop_pa;
    // No band, no stop or no wait pressure: then there is none to start at.
    let start_pa = match (p.band_low_pa, p.band_high_pa, stop_pa, p.wait_pa) {
        (Some(low), Some(high), Some(stop), Some(wait)) => {
            Some((low.max(stop).max(wait), high)).filter(|(low, high)| low < high)
        }
        _ => None,
    };
    Named { stop_pa, start_pa, holds_for_s: p.holds_for_p05_s, missing_s: p.seconds_missing }
}

fn pressure(site: &Site, r: &Results) -> Element {
    let Named { stop_pa, start_pa, .. } = named(r);
    let operating_pa = r.air.operating_pressure_pa;
    // Rounded towards the inside.
    let ride = start_pa.map_or_else(
        || "no pressure: nobody rides".to_owned(),
        |(low, high)| format!("{} to {} Pa", fixed(low.ceil(), 0), fixed(high.floor(), 0)),
    );
    let blowers = match start_pa {
        Some((low, high)) if operating_pa < low || operating_pa > high => {
            format!("■ The blowers hold {} Pa: outside.", fixed(operating_pa, 0))
        }
        _ => format!("The blowers hold {} Pa with nobody on it.", fixed(operating_pa, 0)),
    };
    let stop = stop_pa.map_or_else(|| "–".to_owned(), |pa| format!("{} Pa", fixed(pa.ceil(), 0)));
    limit(
        "Air in the bag",
        [
            small("a new rider starts only at"),
            big(ride),
            small("everybody stops below"),
            big(stop),
            small(format!(
                "{blowers} Maker's range {} to {} Pa.{}",
                fixed(site.bag.pressure_min_pa, 0),
                fixed(site.bag.pressure_max_pa, 0),
                if site.bag.force_area.is_measured() {
                    ""
                } else {
                    " The bag is not measured: these are figures for all but 5 of 100 bags that fit what is known."
                }
            )),
        ],
    )
}

fn between(site: &Site, r: &Results) -> Element {
    let recovery = r.touchdown.as_ref().and_then(|t| t.recovery_s);
    let seconds = recovery.unwrap_or(0.0).max(site.session.interval_s).ceil();
    limit(
        "Between riders",
        [
            big(format!("{} s at least", fixed(seconds, 0))),
            small(format!(
                "The air is back {} s after a mean landing. And only when the bag is empty and its top is up.",
                maybe(recovery, 1)
            )),
        ],
    )
}

fn riders(site: &Site) -> Element {
    let rider = &site.rider;
    let mass = |kg: f64| format!("{} kg", fixed(kg, 0));
    limit(
        "Riders, with gear",
        [
            big(format!("{} to {}", mass(rider.lightest_kg), mass(rider.heaviest_kg))),
            small(format!(
                "{} to {} lb, without the bike of {} kg. One at a time.",
                fixed(pounds(rider.lightest_kg).ceil(), 0),
                fixed(pounds(rider.heaviest_kg).floor(), 0),
                fixed(rider.bike_mass_kg, 0)
            )),
        ],
    )
}

/// Rounded down, but for what is a whole number within its rounding.
fn whole(value: f64) -> f64 {
    (value + 1.0e-3).floor()
}

fn winds(r: &Results) -> Element {
    let w = &r.wind;
    let row = |name: &str, mean: Option<f64>, gust: Option<f64>| {
        let figure = mean.map_or_else(|| "hold now".to_owned(), |v| format!("{} km/h", fixed(whole(kmh(v)), 0)));
        let gust = gust.map_or_else(
            || "passed already".to_owned(),
            |v| format!("gust {} km/h, {} mph", fixed(whole(kmh(v)), 0), fixed(whole(mph(v)), 0)),
        );
        [name.to_owned(), figure, gust]
    };
    limit(
        "Hold above these winds",
        [
            table(
                "Hold winds",
                &["wind", "mean reading", "or any gust"],
                [
                    row("tail", w.mean_reading_tail_mps, w.hold_along_tail_mps),
                    row("head", w.mean_reading_head_mps, w.hold_along_head_mps),
                    row("cross", w.mean_reading_across_mps, w.hold_across_mps),
                ],
            ),
            small(format!(
                "Nobody rides in gusts of {} km/h or more. Anchors: {} needed, {} stated.",
                fixed(kmh(w.limit_mps), 0),
                w.anchors_needed,
                w.anchors_stated
            )),
        ],
    )
}

fn cut(r: &Results) -> Element {
    let Named { holds_for_s, missing_s, .. } = named(r);
    let holds = match (holds_for_s, r.pressures.commitment_s) {
        (Some(s), _) => format!("{} s", fixed(s.floor(), 0)),
        (None, Some(_)) => "longer than 120 s".to_owned(),
        (None, None) => "not known".to_owned(),
    };
    let missing = match missing_s {
        Some(s) if s > 0.0 => {
            format!("{} s are missing for a rider past the last stop line: no alarm makes them up.", fixed(s, 1))
        }
        Some(_) => "A rider past the last stop line needs less than that.".to_owned(),
        None => "What a rider past the last stop line needs is not known.".to_owned(),
    };
    limit("Power cut: all stop", [small("the bag holds a hard landing for"), big(holds), small(missing)])
}

fn tell() -> Element {
    el("section").add(el("h2").text("Who to tell")).add(
        el("div").class("day").all(
            ["Runs the session", "First aid", "Watches the air", "Emergency number", "Where we are (address, gate)"]
                .map(blank),
        ),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_finding_ends_with_a_whole_clause() {
        assert_eq!(
            clause("It settles at 1 kPa, under 2 kPa of the stretch (6 %) (0.4 as sta"),
            "It settles at 1 kPa, under 2 kPa of the stretch (6 %)"
        );
        assert_eq!(
            clause("4.67 s are missing at the worst end (0.90 m): it holds for 0 s, and 4.67 s is nee"),
            "4.67 s are missing at the worst end (0.90 m): it holds for 0 s"
        );
        assert_eq!(clause("one two thr"), "one two");
    }
}
