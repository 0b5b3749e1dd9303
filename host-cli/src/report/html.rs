//! The report: one file that needs nothing else, to read on a screen and to print on A4 or Letter.

use super::markup::{Element, el};
use super::{Picture, Sheet, Table, pictures, surface};
use crate::plan::first_screen::{FirstScreen, first_screen};
use crate::plan::limits::{by_closeness, limits as plan_limits};
use crate::plan::results::{Level, Results, Standing};
use crate::plan::words::chance;

pub(super) const STYLE: &str = include_str!("report.css");
/// Nothing may be loaded: not even by mistake.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:";

/// The whole page.
#[must_use]
pub fn page(sheet: &Sheet<'_>) -> String {
    let r = sheet.results;
    let all = pictures(sheet);
    let (first, others): (Vec<&Picture>, Vec<&Picture>) = all.iter().partition(|picture| picture.id == "side");
    let screen = first_screen(sheet.site, r);
    let body = el("main")
        .class("page")
        .add(header(r, &screen))
        .add(el("div").class("pictures first").all(first.into_iter().map(figure)))
        .add(
            el("section").class("set-out").add(el("h2").text("To set out with a tape")).add(
                el("div")
                    .class("tables")
                    .all([surface::bag(sheet), surface::pieces(sheet)].iter().map(|one| table(one, "numbers narrow"))),
            ),
        )
        .add(
            el("section")
                .class("limits")
                .add(el("h2").text("Limits, the closest first"))
                .add(table(&limits(sheet), "words")),
        )
        .add(el("section").add(el("h2").text("Look at before anybody rides")).add(findings(r)))
        .add(
            el("section")
                .add(el("h2").text("Pictures"))
                .add(el("div").class("pictures").all(others.into_iter().map(figure))),
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

/// The verdict in one sentence, then what a coach needs, label by label.
fn header(r: &Results, screen: &FirstScreen) -> Element {
    let class = match screen.standing {
        Standing::Inside => "verdict inside",
        Standing::Provisional => "verdict provisional",
        Standing::Outside => "verdict outside",
    };
    let mark = match screen.standing {
        Standing::Inside => "○",
        Standing::Provisional => "▲",
        Standing::Outside => "■",
    };
    let lines = screen.lines.iter().flat_map(|line| [el("dt").text(line.label), el("dd").text(line.text.clone())]);
    el("header")
        .add(el("h1").text(r.site.clone()))
        .add(el("p").class(class).text(format!("{mark} {}", screen.verdict)))
        .add(el("dl").class("said").all(lines))
        .add(el("p").class("soft").text(format!(
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
    let notes = r.findings.iter().filter(|finding| finding.level == Level::Note).count();
    let count = format!(
        "Limits kept: {}, broken: {}. Stops: {}, things to look at: {}.",
        r.verdict.limits_kept, r.verdict.limits_broken, r.verdict.stops, r.verdict.cautions
    );
    let notes = el("details").add(el("summary").text(format!("Notes ({notes})"))).add(list(true));
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
    for limit in by_closeness(plan_limits(sheet.site, sheet.results)) {
        let side = match (limit.inside, limit.level) {
            (true, _) => "kept",
            (false, Level::Stop) => "■ BROKEN",
            (false, _) => "▲ look at",
        };
        let what = match &limit.group {
            Some(group) => format!("{} ({group})", limit.what),
            None => limit.what.to_owned(),
        };
        table.row([what, limit.now, limit.limit, side.to_owned()]);
    }
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
