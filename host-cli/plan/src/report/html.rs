//! The report: one file that needs nothing else, to read on a screen and to print on A4 or Letter.

use super::markup::{Element, el};
use super::{Picture, Sheet, Table, pictures, ride_by, surface};
use crate::plan::first_screen::{FirstScreen, Line, first_screen};
use crate::plan::limits::{by_closeness, limits as plan_limits};
use crate::plan::results::{About, Finding, Level, Results, Standing};
use crate::plan::words::chance;
use crate::shown::Shown;

/// The rules that the report, the card and the page share.
pub const STYLE: &str = include_str!("report.css");
/// Nothing may be loaded: not even by mistake.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:";

/// The whole page. What goes to the hill comes first and fills two sheets of paper at the most.
#[must_use]
pub fn page(sheet: &Sheet<'_>) -> String {
    let r = sheet.results;
    let mut all = pictures(sheet);
    // What an input moves says more than its share.
    all.retain(|picture| picture.id != "shares");
    let take = |id: &str| all.iter().filter(|picture| picture.id == id).collect::<Vec<_>>();
    let others = all.iter().filter(|picture| !["side", "above"].contains(&picture.id));
    let screen = first_screen(sheet.site, r);
    let pictured = |class: &str, list: Vec<&Picture>| {
        el("div").class(format!("pictures {class}")).all(list.into_iter().map(figure))
    };
    let hill = el("div")
        .class("hill")
        .add(header(r, &screen))
        .add(pictured("first", take("side")))
        .add(to_ride_by(sheet, &screen))
        .add(
            el("section")
                .class("set-out")
                .add(el("h2").text("To set out with a tape"))
                .add(el("div").class("tables").all(
                    [surface::bag(sheet), surface::face(sheet), surface::pieces(sheet)].iter().map(|one| {
                        let narrow = one.head.len() <= 2;
                        table(one, if narrow { "numbers narrow" } else { "numbers" })
                    }),
                ))
                .add(pictured("place", take("above")).with("style", format!("--high: {:.0}mm", room_mm(sheet)))),
        );
    let body = el("main")
        .class("page")
        .add(hill)
        .add(
            el("section")
                .class("limits")
                .add(el("h2").text("Limits, the closest first"))
                .add(table(&limits(sheet), "words")),
        )
        .add(el("section").add(el("h2").text("Look at before anybody rides")).add(findings(r)))
        .add(el("section").add(el("h2").text("Pictures")).add(pictured("more", others.collect())))
        .add(notes(r))
        .add(assumed(r))
        .add(cautions(r));
    document(&format!("{} – Landfall report", r.site), STYLE, body)
}

/// How high the plan view may be on the second sheet, beneath what is measured with a tape: the shorter of the two papers
/// less its headings, a row of a table being 4.4 mm high.
fn room_mm(sheet: &Sheet<'_>) -> f64 {
    let rows = surface::bag(sheet).rows.len().max(surface::face(sheet).rows.len()) + surface::pieces(sheet).rows.len();
    (188.0 - 4.4 * (rows as f64 + 1.0)).clamp(45.0, 112.0)
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

/// Labels of the first screen's lines that say why a plan stands as it does.
const REASONS: [&str; 5] = ["Why", "So", "Also", "Tried", "Measured"];
/// Those that the table of marks and pressures says.
const IN_THE_TABLE: [&str; 6] = ["Start", "Next rider", "All stop", "Power cut", "Stop line", "Wind"];

fn said<'a>(lines: impl Iterator<Item = &'a Line>) -> Option<Element> {
    let mut lines = lines.peekable();
    lines.peek()?;
    Some(
        el("dl")
            .class("said")
            .all(lines.flat_map(|line| [el("dt").text(line.label), el("dd").text(line.text.clone())])),
    )
}

/// The verdict in one sentence, and the reasons for it.
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
    let mut header = el("header")
        .add(el("h1").text(r.site.clone()))
        .add(el("p").class(class).text(format!("{mark} {}", screen.verdict)));
    if !screen.remark.is_empty() {
        header.push(el("p").class("soft remark").text(screen.remark.clone()));
    }
    header.all(said(screen.lines.iter().filter(|line| REASONS.contains(&line.label))))
}

/// The marks and pressures, and what else the first screen says. A stop has none.
fn to_ride_by(sheet: &Sheet<'_>, screen: &FirstScreen) -> Element {
    let r = sheet.results;
    let mut section = el("section").class("ride-by");
    if screen.standing != Standing::Outside && !r.ride_by.is_empty() {
        let marks = table(&ride_by::table(Shown::of(sheet.site), r), "words");
        let lines =
            screen.lines.iter().filter(|line| !REASONS.contains(&line.label) && !IN_THE_TABLE.contains(&line.label));
        section.push(el("h2").text("To ride by"));
        section.push(el("div").class("beside").add(marks).all(said(lines)));
    }
    section.add(el("p").class("soft").text(format!(
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

/// Not for programs alone, and said nowhere else: why a value is missing, and what is assumed. How the jump would fall
/// onto dirt is said once, of the first group.
fn for_people(r: &Results, finding: &Finding) -> bool {
    let first = r.groups.first().map(|(name, _)| name);
    let again = finding.topic == About::Dirt && finding.group.is_some() && finding.group.as_ref() != first;
    !again && ![About::NoValue, About::Assumed].contains(&finding.topic)
}

fn listed(r: &Results, note: bool) -> Element {
    let inside = r.findings.iter().filter(|finding| (finding.level == Level::Note) == note && for_people(r, finding));
    el("ul").class("findings").all(inside.map(|finding| {
        let sign = el("b").text(sign(finding.level));
        let of = finding.group.as_ref().map_or_else(String::new, |group| format!("{group}: "));
        el("li").class(finding.level.name()).add(sign).text(format!(" {of}{}", finding.text))
    }))
}

fn findings(r: &Results) -> Element {
    if r.findings.iter().all(|finding| finding.level == Level::Note) {
        return el("p").text("Nothing: nothing that was computed is outside the limits stated.");
    }
    let count = format!(
        "Limits kept: {}, broken: {}. Stops: {}, things to look at: {}.",
        r.verdict.limits_kept, r.verdict.limits_broken, r.verdict.stops, r.verdict.cautions
    );
    el("div").add(el("p").text(count)).add(listed(r, false))
}

/// What is worth knowing and outside no limit; on paper it is always open.
fn notes(r: &Results) -> Element {
    let count = r.findings.iter().filter(|finding| finding.level == Level::Note && for_people(r, finding)).count();
    el("section")
        .class("notes")
        .add(el("h2").text("Notes"))
        .add(el("details").add(el("summary").text(format!("Notes ({count})"))).add(listed(r, true)))
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
    let heading = el("h3").text(picture.title);
    // Where a narrow screen has a drawing of its own, that comes before the words.
    let words = el("p").text(picture.words.clone());
    let (before, after) = if picture.near.is_some() { (None, Some(words)) } else { (Some(words), None) };
    figure.push(el("figcaption").add(heading).all(before));
    if let Some(near) = &picture.near {
        figure.push(el("div").class("drawing near").ready(near.clone()));
    }
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
    let mut whole = el("div").with("id", picture.id).class(class).add(figure.all(after));
    if !picture.tables.is_empty() {
        let summary = format!("The numbers: {}", picture.title.to_lowercase());
        let tables = picture.tables.iter().map(|one| {
            // Two narrow tables have room side by side on paper.
            let narrow =
                one.head.len() <= 4 && one.rows.iter().all(|row| row.iter().all(|cell| cell.chars().count() < 40));
            table(one, if narrow { "numbers narrow" } else { "numbers" })
        });
        whole.push(
            el("details").class("behind").add(el("summary").text(summary)).add(el("div").class("tables").all(tables)),
        );
    }
    whole
}

/// A small piece of what a mark looks like.
fn sample(class: &'static str) -> Element {
    let svg = el("svg").with("viewBox", "0 0 34 16").with("aria-hidden", "true").with("focusable", "false");
    let mark = match class {
        "dent-mean" | "dent-hard" => {
            el("path").class(format!("line {class}")).with("d", "M1 3C11 3 11 13 17 13C23 13 23 3 33 3")
        }
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
    section
        .add(
            el("p").text(
                "The site file does not state these values; the defaults were taken. State what you can measure.",
            ),
        )
        .add(el("dl").class("said soft assumed").all(by_table(&r.assumed)))
}

/// The keys, each under its table in the site file.
fn by_table(keys: &[impl AsRef<str>]) -> Vec<Element> {
    let mut tables: Vec<(&str, Vec<&str>)> = Vec::new();
    for key in keys {
        let (table, key) = key.as_ref().split_once('.').unwrap_or(("", key.as_ref()));
        match tables.iter_mut().find(|(name, _)| *name == table) {
            Some((_, list)) => list.push(key),
            None => tables.push((table, vec![key])),
        }
    }
    let entry =
        |(table, list): (&str, Vec<&str>)| [el("dt").text(format!("[{table}]")), el("dd").text(list.join(", "))];
    tables.into_iter().flat_map(entry).collect()
}

fn cautions(r: &Results) -> Element {
    el("section")
        .class("cautions")
        .add(el("h2").text("Cautions"))
        .add(el("ul").all(r.cautions.iter().map(|caution| el("li").text(caution.clone()))))
}
