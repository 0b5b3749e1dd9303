//! The report: one file that needs nothing else, to read on a screen and to print on A4 or Letter.

use super::markup::{Element, el};
use super::words::{chance, fixed, kmh, maybe, tape};
use super::{Picture, Sheet, Table, pictures};
use crate::plan::limits::limits as plan_limits;
use crate::plan::results::{Level, Results};

pub(super) const STYLE: &str = include_str!("report.css");
/// Nothing may be loaded: not even by mistake.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:";

/// The whole page.
#[must_use]
pub fn page(sheet: &Sheet<'_>) -> String {
    let r = sheet.results;
    let body = el("main")
        .class("page")
        .add(header(r))
        .add(el("section").add(el("h2").text("What was found")).add(findings(r)))
        .add(el("section").add(el("h2").text("Limits")).add(table(&limits(sheet), "words")))
        .add(el("section").add(el("h2").text("At a glance")).add(table(&glance(sheet), "words")))
        .add(
            el("section")
                .add(el("h2").text("Pictures"))
                .add(el("div").class("pictures").all(pictures(sheet).iter().map(figure))),
        )
        .add(assumed(r))
        .add(cautions(r));
    document(&format!("{} – Landfall report", r.site), STYLE, body)
}

/// A whole document around its content.
pub(super) fn document(title: &str, style: &'static str, content: Element) -> String {
    let head = el("head")
        .add(el("meta").with("charset", "utf-8"))
        .add(el("meta").with("http-equiv", "Content-Security-Policy").with("content", POLICY))
        .add(el("meta").with("name", "viewport").with("content", "width=device-width, initial-scale=1"))
        .add(el("link").with("rel", "icon").with("href", "data:,"))
        .add(el("title").text(title))
        .add(el("style").text(style));
    let html = el("html").with("lang", "en").add(head).add(el("body").add(content));
    format!("<!DOCTYPE html>\n{}\n", html.render())
}

fn header(r: &Results) -> Element {
    el("header").add(el("h1").text(r.site.clone())).add(el("p").class("soft").text(format!(
        "Computed by Landfall {} from the values of the site file and the assumptions listed at the end. It judges nothing that was not put in.",
        r.version
    )))
}

/// A level's sign and word: never by colour alone.
pub(super) const fn sign(level: Level) -> &'static str {
    match level {
        Level::Stop => "■ Stop:",
        Level::Caution => "▲ Caution:",
        Level::Note => "○ Note:",
    }
}

fn findings(r: &Results) -> Element {
    if r.findings.is_empty() {
        return el("p").text("No finding: nothing that was computed is outside the limits stated.");
    }
    let list = |note: bool| {
        let inside = r.findings.iter().filter(|finding| (finding.level == Level::Note) == note);
        el("ul").class("findings").all(inside.map(|finding| {
            let sign = el("b").text(sign(finding.level));
            el("li").class(finding.level.name()).add(sign).text(format!(" {}", finding.text))
        }))
    };
    let of = |level: Level| r.findings.iter().filter(|finding| finding.level == level).count();
    let count = format!(
        "{} of level stop (outside a limit: nobody rides until it is changed), {} of level caution, {} notes.",
        of(Level::Stop),
        of(Level::Caution),
        of(Level::Note)
    );
    let notes = el("details").add(el("summary").text(format!("Notes ({})", of(Level::Note)))).add(list(true));
    el("div").add(el("p").text(count)).add(list(false)).add(notes)
}

/// A chance of a miss; where it is only the bound that no miss in all runs leaves, it says so.
pub(super) fn miss(r: &Results, share: Option<f64>) -> String {
    let bound = r.spread.sampling.as_ref().map_or(0.0, |s| 3.0 / s.samples as f64);
    share.map_or_else(
        || "–".to_owned(),
        |share| if (share / bound - 1.0).abs() < 1.0e-6 { format!("{} or less", chance(share)) } else { chance(share) },
    )
}

/// Every limit with the value held against it: the sign and the word say on which side it is.
fn limits(sheet: &Sheet<'_>) -> Table {
    let mut table = Table::new("Values held against their limits", &["what", "now", "limit", "side"]);
    for limit in plan_limits(sheet.site, sheet.results) {
        let side = if limit.inside { "inside" } else { "■ OUTSIDE" };
        table.row([limit.what.to_owned(), limit.now, limit.limit, side.to_owned()]);
    }
    table
}

fn glance(sheet: &Sheet<'_>) -> Table {
    let r = sheet.results;
    let mut table = Table::new("The figures that are asked for most", &["what", "figure"]);
    let with = |value: Option<f64>, places: usize, unit: &str| format!("{} {unit}", maybe(value, places));
    table.row([
        "Speed at the lip".to_owned(),
        r.ride.lip_speed_mps.map_or_else(
            || "does not reach the lip".to_owned(),
            |v| format!("{} m/s ({} km/h)", fixed(v, 2), fixed(kmh(v), 1)),
        ),
    ]);
    table.row(["Highest load on the ride down".to_owned(), with(r.ride.peak_load_g, 2, "g")]);
    table.row(["Time in the air".to_owned(), with(r.flight.airtime_s, 2, "s")]);
    table.row(["Falls onto the bag like from".to_owned(), with(r.flight.equivalent_fall_height_m, 2, "m")]);
    let miss = miss(r, r.placement.miss_now);
    table.row([format!("Chance of missing the landing field, {} rider", r.riders.worst), miss]);
    let best = r.placement.best_gap_m.map_or_else(|| "–".to_owned(), tape);
    table.row(["Best gap, lip edge to the bag".to_owned(), best]);
    table.row(["Pressure that the blowers hold".to_owned(), format!("{} Pa", fixed(r.air.operating_pressure_pa, 0))]);
    let depth = r.touchdown.as_ref().map(|t| format!("{} m of {} m", fixed(t.depth_m, 2), fixed(t.thickness_m, 2)));
    table.row(["Depth of the mean landing".to_owned(), depth.unwrap_or_else(|| "–".to_owned())]);
    let band = |low: Option<f64>, high: Option<f64>| match (low, high) {
        (Some(low), Some(high)) if low < high => format!("{} to {} Pa", fixed(low, 0), fixed(high, 0)),
        _ => "none".to_owned(),
    };
    let (low, high) = (r.pressures.band_low_pa, r.pressures.band_high_pa);
    table.row(["Pressures to ride between".to_owned(), band(low, high)]);
    table.row(["Stop pressure".to_owned(), with(r.pressures.stop_pa, 0, "Pa")]);
    table.row(["Missing after a power cut".to_owned(), with(r.pressures.seconds_missing, 1, "s")]);
    table
}

/// A table; wide ones scroll by themselves.
pub(super) fn table(table: &Table, class: &str) -> Element {
    let head = el("tr").all(table.head.iter().map(|text| el("th").with("scope", "col").text(text.clone())));
    let rows = table.rows.iter().map(|cells| {
        el("tr").all(cells.iter().enumerate().map(|(i, text)| {
            let cell = if i == 0 { el("th").with("scope", "row") } else { el("td") };
            cell.text(text.clone())
        }))
    });
    let inner = el("table")
        .class(class)
        .add(el("caption").text(table.caption.clone()))
        .add(el("thead").add(head))
        .add(el("tbody").all(rows));
    let about = table.caption.clone();
    let frame = if class.contains("narrow") { "table narrow" } else { "table" };
    el("div").class(frame).with("tabindex", "0").with("role", "region").with("aria-label", about).add(inner)
}

/// A picture with its words and its legend, which stay together in print, and the tables after it.
pub(super) fn figure(picture: &Picture) -> Element {
    let mut figure = el("figure");
    figure.push(el("figcaption").add(el("h3").text(picture.title)).add(el("p").text(picture.words.clone())));
    if let Some(svg) = &picture.svg {
        let mut drawing = el("div").class("drawing");
        if picture.wide {
            drawing = drawing
                .with("tabindex", "0")
                .with("role", "region")
                .with("aria-label", format!("{}, drawing", picture.title));
        }
        figure.push(drawing.ready(svg.clone()));
        if picture.wide {
            figure.push(el("p").class("hint").text("On a narrow screen the drawing moves sideways."));
        }
    }
    if !picture.legend.is_empty() {
        figure.push(el("ul").class("legend").all(
            picture.legend.iter().map(|(class, text)| el("li").add(sample(class)).add(el("span").text(text.clone()))),
        ));
    }
    let class = if picture.wide { "picture wide" } else { "picture" };
    let mut whole = el("div").with("id", picture.id).class(class).add(figure);
    if !picture.tables.is_empty() {
        let summary = format!("The numbers: {}", picture.title.to_lowercase());
        let tables = picture.tables.iter().map(|one| {
            // Two narrow tables have room side by side on paper.
            let narrow =
                one.head.len() <= 4 && one.rows.iter().all(|row| row.iter().all(|cell| cell.chars().count() < 40));
            table(one, if narrow { "numbers narrow" } else { "numbers" })
        });
        whole.push(el("details").add(el("summary").text(summary)).add(el("div").class("tables").all(tables)));
    }
    whole
}

/// A small piece of what a mark looks like.
fn sample(class: &'static str) -> Element {
    let svg = el("svg").with("viewBox", "0 0 34 16").with("aria-hidden", "true").with("focusable", "false");
    let mark = match class {
        "landing" | "middle" => el("circle").class(class).with("cx", 17).with("cy", 8).with("r", 3),
        "missed" => el("path").class(class).with("d", "M13 4L21 12M13 12L21 4"),
        "band" | "hump" | "maker" | "bar-along" | "bar-across" | "field-area" | "best" => {
            el("rect").class(class).with("x", 2).with("y", 2).with("width", 30).with("height", 12)
        }
        _ => el("polyline").class(format!("line {class}")).with("points", "1,8 33,8"),
    };
    svg.add(mark)
}

fn assumed(r: &Results) -> Element {
    let section = el("section").add(el("h2").text("Assumed, not stated"));
    if r.assumed.is_empty() {
        return section.add(el("p").text("Every value is stated in the site file."));
    }
    let list = r.assumed.join(", ");
    section
        .add(
            el("p").text(
                "The site file does not state these values; the defaults were taken. State what you can measure.",
            ),
        )
        .add(el("p").class("soft").with("style", "overflow-wrap: anywhere").text(list))
}

fn cautions(r: &Results) -> Element {
    el("section")
        .add(el("h2").text("Cautions"))
        .add(el("ul").all(r.cautions.iter().map(|caution| el("li").text(caution.clone()))))
}
