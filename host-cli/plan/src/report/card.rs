//! The card for the fence: on one page, in large type, the marks and pressures to ride by today; where the plan is a
//! stop, that in the largest.

use super::html::document;
use super::markup::{Element, el};
use crate::plan::first_screen::{FirstScreen, first_screen};
use crate::plan::results::{Results, RideBy, Standing};
use crate::shown::{Shown, Toward};
use crate::site::Site;
use landfall_core::wind::GUST_FACTOR;

const STYLE: &str = include_str!("card.css");
/// Characters of a sentence that the card has room for where it says stop.
const STOP_LENGTH: usize = 360;

/// The whole page: a pure function of the site and its plan.
#[must_use]
pub fn page(site: &Site, results: &Results) -> String {
    let shown = Shown::of(site);
    let screen = first_screen(site, results);
    let mut card = el("main").class("card").add(head(results, shown));
    card.push(verdict(&screen));
    if screen.standing != Standing::Outside {
        let mut limits = vec![starts(shown, results)];
        if let Some(by) = &results.for_everybody() {
            limits.extend([
                pressure(site, shown, results, by),
                between(shown, results, by),
                riders(site, shown, results),
                winds(shown, results, by),
                cut(shown, results, by),
            ]);
        }
        card.push(el("div").class("limits").all(limits));
    }
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

fn head(r: &Results, shown: Shown) -> Element {
    let air = format!("Air now, {}", shown.gauge().word());
    el("header").add(el("h1").text(r.site.clone())).add(el("div").class("day").all([
        blank("Date"),
        blank("Checked by"),
        blank(&air),
    ]))
}

/// The verdict before everything else: a stop takes the room that the marks would have.
fn verdict(screen: &FirstScreen) -> Element {
    match screen.standing {
        Standing::Inside => el("p").class("big").text(screen.verdict.clone()),
        Standing::Provisional => {
            let mut section = el("section").class("stop first-day");
            section.push(el("strong").text(format!("▲ {}", screen.verdict)));
            section.all(said(screen, &["Why", "Measured"]))
        }
        Standing::Outside => {
            let mut section = el("section").class("stop");
            section.push(el("strong").class("huge").text("■ DO NOT RIDE"));
            let cause = screen.verdict.strip_prefix("DO NOT RIDE: ").unwrap_or(&screen.verdict);
            section.push(el("p").class("big").text(cause.to_owned()));
            section.all(said(screen, &["Why", "So", "Also", "Tried"]))
        }
    }
}

fn said<'a>(screen: &'a FirstScreen, labels: &'a [&'a str]) -> impl Iterator<Item = Element> + 'a {
    screen.lines.iter().filter(move |line| labels.contains(&line.label)).map(|line| {
        el("p").add(el("b").text(format!("{} ", line.label))).add(el("span").text(beginning(&on_the_card(&line.text))))
    })
}

/// What the plan lists below its first screen is not on the card.
fn on_the_card(text: &str) -> String {
    text.replace("is listed below", "is in the plan").replace("are listed below", "are in the plan")
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
                .add(el("td").class("other").text(other))
        })))
}

fn starts(shown: Shown, r: &Results) -> Element {
    let none = || "none".to_owned();
    let rows = r.ride_by.iter().map(|by| {
        let name = if r.ride_by.len() > 1 { by.group.clone() } else { "everybody".to_owned() };
        [
            name,
            by.start_high_m.get().map_or_else(none, |m| shown.start_mark(m)),
            by.start_low_m.get().map_or_else(none, |m| shown.length(m, Toward::Up)),
        ]
    });
    let line = match r.for_everybody().and_then(|by| by.stop_line_before_foot_m.get()) {
        Some(m) => format!(
            "Stop line: {} before the take-off's foot, along the surface. Past it ride on: braking comes too late.",
            shown.length(m, Toward::Up)
        ),
        None => "There is no stop line: whoever has started cannot brake to a stop before the take-off.".to_owned(),
    };
    limit(
        "Start marks, above the take-off's foot",
        [table("Start marks", &["who", "not above", "not below"], rows), small(line)],
    )
}

fn pressure(site: &Site, shown: Shown, r: &Results, by: &RideBy) -> Element {
    let or_none = |pa: Option<f64>| pa.map_or_else(|| "none".to_owned(), |pa| shown.pressure(pa, Toward::Up));
    let known = if site.bag.force_area.is_measured() {
        ""
    } else {
        " The bag is not measured: these are figures for all but 5 of 100 bags that fit what is known."
    };
    limit(
        "Air in the bag",
        [
            small("the next rider starts from"),
            big(or_none(by.next_rider_from_pa.get())),
            small("everybody is off at, or when the siren sounds"),
            big(or_none(by.everybody_off_under_pa.get())),
            small(format!(
                "With nobody on the bag the gauge should read {}. Maker's range {} to {}.{known}",
                shown.pressure(r.air.operating_pressure_pa, Toward::Nearest),
                shown.pressure(site.bag.pressure_min_pa, Toward::Nearest),
                shown.pressure(site.bag.pressure_max_pa, Toward::Nearest)
            )),
        ],
    )
}

fn between(shown: Shown, r: &Results, by: &RideBy) -> Element {
    let recovery = r.touchdown.as_ref().and_then(|t| t.recovery_s.get());
    let back = match recovery {
        Some(s) if s < 1.0 => "The air is back within a second after a mean landing. ".to_owned(),
        Some(s) => format!("The air is back {} s after a mean landing. ", s.ceil()),
        None => String::new(),
    };
    let from = by.next_rider_from_pa.get().map_or_else(String::new, |pa| {
        format!(
            "And only when the gauge shows {} or more, the bag is empty and its top is up.",
            shown.pressure(pa, Toward::Up)
        )
    });
    limit("Between riders", [big(format!("{} s", by.seconds_between.ceil())), small(format!("{back}{from}"))])
}

fn riders(site: &Site, shown: Shown, r: &Results) -> Element {
    let several = r.ride_by.len() > 1;
    let mut parts: Vec<Element> = r
        .ride_by
        .iter()
        .map(|by| {
            let name = if several { format!("{}: ", by.group) } else { String::new() };
            let (low, high) = (shown.mass(by.lightest_kg, Toward::Up), shown.mass(by.heaviest_kg, Toward::Down));
            let text = if low == high { format!("{name}{low}") } else { format!("{name}{low} to {high}") };
            el("p").class(if several { "big lesser" } else { "big" }).text(text)
        })
        .collect();
    let bike = shown.mass(site.rider.bike_mass_kg, Toward::Nearest);
    parts.push(small(format!("With gear, without the bike of {bike}. One at a time.")));
    limit("Riders", parts)
}

fn winds(shown: Shown, r: &Results, by: &RideBy) -> Element {
    let row = |name: &str, gust: Option<f64>| {
        let words = |mps: Option<f64>| mps.map_or_else(|| "hold now".to_owned(), |mps| shown.speed(mps, Toward::Down));
        [name.to_owned(), words(gust), words(gust.map(|mps| mps / f64::from(GUST_FACTOR)))]
    };
    let w = &r.wind;
    limit(
        "Hold above these winds",
        [
            table(
                "Hold winds",
                &["from", "any gust", "or mean reading"],
                [
                    row("behind", by.hold_along_tail_mps.get()),
                    row("the front", by.hold_along_head_mps.get()),
                    row("the side", by.hold_across_mps.get()),
                ],
            ),
            small(format!(
                "Nobody rides in gusts of {} or more. Anchors: {} needed, {} stated.",
                shown.speed(w.limit_mps, Toward::Down),
                w.anchors_needed,
                w.anchors_stated
            )),
        ],
    )
}

/// Shortest time that is printed as one that a bag holds.
const LEAST_HOLD_S: f64 = 1.0;

fn cut(_shown: Shown, r: &Results, by: &RideBy) -> Element {
    let holds = match by.holds_for_s.get() {
        Some(s) if s < LEAST_HOLD_S => "count on none".to_owned(),
        Some(s) => format!("{} s", s.floor()),
        None if r.pressures.stop_pa.get().is_some() => "two minutes or more".to_owned(),
        None => "not known".to_owned(),
    };
    let needed = match r.pressures.needed_s.get() {
        Some(s) => format!("A rider past the stop line needs {:.1} s.", (s * 10.0 - 1e-3).ceil() / 10.0),
        None => "What a rider past the stop line needs is not known.".to_owned(),
    };
    limit("Power cut: shout “stop”", [small("the bag holds a hard landing for"), big(holds), small(needed)])
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
