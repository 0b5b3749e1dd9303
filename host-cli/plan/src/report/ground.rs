//! The ground from the side and from above, with what is set out by tape: in the report, and as a page of its own.

use super::html::{STYLE, document, figure};
use super::markup::{Element, el};
use super::{Picture, Sheet, Table};
use crate::ground::Look;
use crate::ground::cures::Tried;
use crate::ground::pictures::{plan, plan_words, side, side_words};
use crate::ground::text::text;
use crate::plan::cautions::CAUTIONS;
use crate::shown::Toward;
use landfall_ground::Drawing;

/// The two pictures.
#[must_use]
pub fn pictures(look: &Look) -> Vec<Picture> {
    vec![
        drawn("ground-side", "The ground from the side, to scale", side_words(look), side(look), Vec::new()),
        drawn("ground-plan", "The ground from above, to scale", plan_words(look), plan(look), vec![corners(look)]),
    ]
}

/// Those of a report's site; none where it states nothing of its ground.
pub(super) fn of_sheet(sheet: &Sheet<'_>) -> Vec<Picture> {
    if !sheet.site.ground.is_stated() {
        return Vec::new();
    }
    crate::ground::look(sheet.site, Some(sheet.results), None).map_or_else(|_| Vec::new(), |look| pictures(&look))
}

fn drawn(id: &'static str, title: &'static str, words: String, drawing: Drawing, tables: Vec<Table>) -> Picture {
    let mut picture = Picture::new(id, title);
    picture.words = words;
    picture.wide = true;
    picture.svg = Some(drawing.svg);
    picture.tables = tables;
    picture
}

fn corners(look: &Look) -> Table {
    let length = |m: f64| look.shown.length(m, Toward::Nearest);
    let mut table =
        Table::new("Every corner by two tapes, held level", &["number", "corner", "from peg A", "from peg B"]);
    for (i, tape) in look.tapes.iter().enumerate() {
        table.row([(i + 1).to_string(), format!("{} {}", tape.of, tape.corner), length(tape.a_m), length(tape.b_m)]);
    }
    table
}

/// One file with both pictures, the whole text and the cautions.
#[must_use]
pub fn page(look: &Look, tried: &[Tried]) -> String {
    let said = text(look, tried);
    let list = |texts: &[&str]| el("ul").all(texts.iter().map(|text| el("li").text(*text)));
    let shown: Vec<Element> = pictures(look).iter().map(figure).collect();
    let body = el("main")
        .class("page")
        .add(
            el("header").add(el("h1").text(format!("{}: the ground it stands on", look.site))).add(
                el("p")
                    .class("soft")
                    .text(format!("Computed by Landfall {} from the values of the site file.", look.version)),
            ),
        )
        .add(el("section").add(el("h2").text("Pictures")).add(el("div").class("pictures").all(shown)))
        .add(el("section").add(el("h2").text("In words")).add(el("pre").text(said)))
        .add(el("section").add(el("h2").text("Cautions")).add(list(&CAUTIONS)));
    document(&format!("{} – the ground", look.site), STYLE, body)
}
