//! Side view of other landings, to scale: the surface of one fall height, plane slopes, and runs that come down on them.

use super::chart::{Anchor, Axis, Chart};
use super::html::{STYLE, document, figure, table};
use super::markup::el;
use super::sheet::{follow, surface};
use super::words::{fixed, long, maybe_in, number_in, titled};
use super::{Picture, Table};
use crate::landings::{Progress, Row};
use crate::plan::model::Model;
use crate::shown::{Shown, Toward};
use crate::site::Dimension;
use landfall_core::inputs::Uncertain;

const TITLE: &str = "Other landings for the same jump, to scale";
const WIDTH: f64 = 1000.0;
/// Shown of the take-off before the lip.
const BEFORE_LIP_M: f64 = 1.4;
/// Shown behind the field of landings.
const BEHIND_M: f64 = 1.0;
/// Time between two steps of a drawn flight.
const STEP_S: f32 = 0.01;
/// Stakes are at least so far apart in the drawing.
const STAKE_PX: f64 = 62.0;

/// The picture, from the answer and the model that it was computed with.
#[must_use]
pub fn draw(answer: &Progress, model: &Model) -> Picture {
    let setup = &model.setups[0];
    let bag = &setup.bag();
    let (gap, length) = (f64::from(bag.gap_m()), f64::from(bag.length_m()));
    let top = |x: f64| f64::from(bag.front_z_m()) + f64::from(bag.climb()) * (x - gap);
    let (near, far) = answer.field_m;
    let lip_z = f64::from(setup.takeoff().height_m());
    let rows: &[Row] = answer.surface.as_ref().map_or(&[], |surface| &surface.rows);
    let runs: Vec<Vec<(f64, f64)>> = [rows.first(), rows.get(rows.len() / 2), rows.last()]
        .into_iter()
        .flatten()
        .map(|row| flight(model, row))
        .collect();
    let peak = runs.iter().flatten().map(|at| at.1).fold(lip_z, f64::max);
    let end = far + BEHIND_M;
    let ends: Vec<(&_, [(f64, f64); 2])> = answer
        .slopes
        .iter()
        .map(|slope| {
            let z = |x: f64| answer.mean_height_m - (x - answer.mean_distance_m) * slope.slope_deg.to_radians().tan();
            (slope, [(near, z(near)), (end, z(end))])
        })
        .collect();
    let deep = rows.iter().map(|row| row.height_m).fold(0.0, f64::min);
    let low = deep.min(f64::from(bag.base_level_m())) - 0.3;
    let u = answer.shown;
    let x = Axis::of(u, Dimension::Length, -BEFORE_LIP_M, end + 0.9, "from the lip");
    let y = Axis::of(u, Dimension::Length, low, peak + 0.4, "height above the take-off's foot");
    let (mut chart, bottom) = Chart::to_scale(48.0, 30.0, WIDTH - 12.0, x.clone(), y.clone());

    chart.rect("ground", "ground", (x.low, low), (x.high, 0.0));
    let ramp: Vec<(f64, f64)> =
        surface(setup).iter().flat_map(|piece| piece.places.clone()).filter(|at| at.0 >= x.low).collect();
    let mut body = ramp.clone();
    body.extend([(0.0, 0.0), (ramp.first().map_or(0.0, |at| at.0), 0.0)]);
    chart.area("built", "take-off", &body);
    chart.line("surface", "take-off's surface", &ramp);
    // The bag, as far as the picture goes.
    let behind = (gap + length).min(end);
    chart.line("thin", "the bag's top, for comparison", &[(gap, top(gap)), (behind, top(behind))]);

    for (slope, [a, b]) in &ends {
        // A steep plane leaves the picture above or below.
        let cut = |from: (f64, f64), to: (f64, f64)| {
            let into = |z: f64| (from.0 + (to.0 - from.0) * (z - from.1) / (to.1 - from.1), z);
            if from.1 > y.high {
                into(y.high)
            } else if from.1 < y.low {
                into(y.low)
            } else {
                from
            }
        };
        let (a, b) = (cut(*a, *b), cut(*b, *a));
        chart.line("leak", &format!("plane of {}°", fixed(slope.slope_deg, 0)), &[a, b]);
        let falls = slope.mean_fall_m.map_or_else(|| "–".to_owned(), |fall| long(u, fall));
        let text = format!("{}°: {falls}", fixed(slope.slope_deg, 0));
        let shift = if b.1 > y.low { (4.0, 5.0) } else { (4.0, -6.0) };
        chart.name(b, shift, Anchor::Start, text);
    }
    for (i, run) in runs.iter().enumerate() {
        chart.line("median", &format!("centre of mass, run {}", i + 1), run);
    }
    if !rows.is_empty() {
        let shape: Vec<(f64, f64)> = rows.iter().map(|row| (row.distance_m, row.height_m)).collect();
        let mut earth = shape.clone();
        earth.extend([(rows[rows.len() - 1].distance_m, 0.0), (rows[0].distance_m, 0.0)]);
        chart.area("built", "under the surface", &earth);
        chart.line("field", "surface of one fall height", &shape);
        // From the far end back, so that both ends have a stake.
        let mut last_px = f64::INFINITY;
        for row in rows.iter().rev() {
            let at = chart.x_px(row.distance_m);
            let first = row.distance_m <= rows[0].distance_m;
            if last_px - at < STAKE_PX || (!first && at - chart.x_px(rows[0].distance_m) < STAKE_PX) {
                continue;
            }
            last_px = at;
            chart.line_px("witness", [at, chart.y_px(row.height_m), at, bottom]);
            chart.text(at, bottom + 58.0, Anchor::Middle, "measure", number_in(u, Dimension::Length, row.height_m, 0));
            chart.text(
                at,
                bottom + 78.0,
                Anchor::Middle,
                "measure",
                number_in(u, Dimension::Length, row.distance_m, 0),
            );
        }
        for (down, text) in [(58.0, "height"), (78.0, "from the lip")] {
            chart.text(48.0, bottom + down, Anchor::Start, "name", titled(u, Dimension::Length, text));
        }
    }
    chart.dot("point", "mean landing on the bag", (answer.mean_distance_m, answer.mean_height_m), 5.0);

    let mut picture = Picture::new("landing", TITLE);
    picture.wide = true;
    picture.words = words(answer);
    picture.legend = vec![
        (
            "field",
            format!("surface on which no run of the mean rider falls more than {}", long(u, answer.question.limit_m)),
        ),
        ("leak", "plane slopes through the mean landing, with the mean run's fall height onto each".to_owned()),
        ("median", "centre of mass of a short, a middle and a long run".to_owned()),
        ("thin", "the bag's top, for comparison".to_owned()),
    ];
    picture.tables = vec![stakes(u, rows)];
    picture.drawn(WIDTH, bottom + 88.0, [chart.done()])
}

/// The centre of mass of the run that comes down at a place of the surface.
fn flight(model: &Model, row: &Row) -> Vec<(f64, f64)> {
    let setup = &model.setups[0];
    let inputs = model.uncertainty.at_mean().with(Uncertain::LipSpeed, 0.0);
    let contact_m = f64::from(inputs.get(Uncertain::ContactHeight));
    let slope_rad = row.slope_deg.to_radians();
    let end = (row.distance_m + contact_m * slope_rad.sin(), row.height_m + contact_m * slope_rad.cos());
    let mut list: Vec<(f64, f64)> = Vec::new();
    follow(&setup.release(row.lip_speed_mps as f32, &inputs), &setup.drag(&inputs), STEP_S, |motion| {
        let at = (f64::from(motion.place_m[0]), f64::from(motion.place_m[2]));
        let over = at.0 >= end.0;
        if !over {
            list.push(at);
        }
        over
    });
    list.push(end);
    list
}

fn words(answer: &Progress) -> String {
    let u = answer.shown;
    let mut text = format!(
        "The mean run comes down on the bag {} from the lip; 998 of 1,000 come down {} to {} from it. ",
        long(u, answer.mean_distance_m),
        long(u, answer.field_m.0),
        long(u, answer.field_m.1),
    );
    match &answer.surface {
        Some(surface) => text.push_str(&format!(
            "The surface begins as high as the bag's top, ends {} lower and is {}° at its steepest{}. ",
            long(u, surface.drop_m),
            fixed(surface.steepest_deg, 1),
            if surface.whole { "" } else { "; it cannot be followed over the whole field" },
        )),
        None => text.push_str("There is no surface that keeps the limit from the near end on. "),
    }
    text.push_str("Computed from the site's values; dirt does not forgive the tries that fail.");
    text
}

fn stakes(u: Shown, rows: &[Row]) -> Table {
    let [from, height, fall] =
        ["from the lip", "height", "equivalent fall height"].map(|what| titled(u, Dimension::Length, what));
    let speed = titled(u, Dimension::Speed, "lip speed");
    let mut table = Table::new("The surface of one fall height", &[&from, &height, "slope, °", &fall, &speed]);
    for row in rows {
        let length = |m: f64| number_in(u, Dimension::Length, m, 0);
        table.row([
            length(row.distance_m),
            length(row.height_m),
            fixed(row.slope_deg, 1),
            length(row.fall_m),
            number_in(u, Dimension::Speed, row.lip_speed_mps, 0),
        ]);
    }
    table
}

/// One file with the picture, the falls on plane slopes, what holds for all of it, and the cautions.
#[must_use]
pub fn page(answer: &Progress, model: &Model) -> String {
    page_with(answer, model, &[])
}

/// The same with more pictures behind the first.
#[must_use]
pub fn page_with(answer: &Progress, model: &Model, more: &[Picture]) -> String {
    let list = |texts: &[&str]| el("ul").all(texts.iter().map(|text| el("li").text(*text)));
    let picture = draw(answer, model);
    let assumed = match answer.assumed.as_slice() {
        [] => "Every part of the question was stated.".to_owned(),
        list => format!("Assumed, since not stated: {}.", list.join(", ")),
    };
    let body =
        el("main")
            .class("page")
            .add(el("header").add(el("h1").text(format!("{}: the same jump onto other landings", answer.site))).add(
                el("p").class("soft").text(format!(
                    "Computed by Landfall {} from the values of the site file. {assumed}",
                    answer.version
                )),
            ))
            .add(el("section").add(el("h2").text("Dirt is no bag")).add(list(&answer.not_a_bag)))
            .add(
                el("section")
                    .add(el("h2").text("The landings"))
                    .add(el("div").class("pictures").add(figure(&picture)).all(more.iter().map(figure))),
            )
            .add(el("section").add(el("h2").text("Plane slopes")).add(table(&planes(answer), "words")))
            .add(el("section").add(el("h2").text("Cautions")).add(list(&answer.cautions)));
    document(&format!("{} – other landings", answer.site), STYLE, body)
}

/// Falls onto the planes, and what of the table of loose fill they are within.
fn planes(answer: &Progress) -> Table {
    let u = answer.shown;
    let [mean, hard] = ["mean fall", "hard fall"].map(|what| titled(u, Dimension::Length, what));
    let mut head = vec!["slope, down", &mean, &hard];
    let fills = answer.slopes.iter().map(|slope| &slope.loose_fill).find(|fills| !fills.is_empty());
    let names: Vec<String> = fills.map_or_else(Vec::new, |fills| {
        fills
            .iter()
            .map(|f| {
                format!("{}, {}: {}", f.material, u.small(f.depth_m, Toward::Nearest), long(u, f.table_fall_height_m))
            })
            .collect()
    });
    head.extend(names.iter().map(String::as_str));
    let mut table = Table::new(
        "Equivalent fall height onto planes through the mean landing, against US CPSC Publication 325, table 2 (compressed depth and fall height of the table)",
        &head,
    );
    for slope in &answer.slopes {
        let fall = |m: Option<f64>| maybe_in(u, Dimension::Length, m, 0);
        let mut cells =
            vec![format!("{}°", fixed(slope.slope_deg, 1)), fall(slope.mean_fall_m), fall(slope.hard_fall_m)];
        cells.extend(slope.loose_fill.iter().map(|fill| {
            match (fill.mean_within, fill.hard_within) {
                (true, Some(true)) => "both within",
                (true, Some(false)) => "mean only",
                (true, None) => "mean within, hard not known",
                (false, _) => "outside",
            }
            .to_owned()
        }));
        cells.resize(3 + names.len(), "–".to_owned());
        table.row(cells);
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::landings::{Question, progress};

    /// Feet and inches on a site that is measured in them.
    #[test]
    fn an_imperial_site_reads_no_metres() {
        let site = crate::site::demo().with_value("site.units", "imperial").unwrap();
        let question = Question { slopes_deg: vec![0.0, 30.0], limit_m: 1.2, steepest_deg: 40.0 };
        let answer = progress(&site, &question, Vec::new()).unwrap();
        let page = page(&answer, &Model::new(&site).unwrap());
        // The cautions name a published fall in metres.
        let body = page.split_once("<body>").unwrap().1.split("<h2>Cautions").next().unwrap();
        for metric in [" m ", " m<", ", m<", " m/s", " cm"] {
            assert!(!body.contains(metric), "{metric:?} in {body}");
        }
        assert!(body.contains("height above the take-off's foot, ft") && body.contains("lip speed, mph"), "{body}");
    }

    /// What is drawn, read back through the drawing's own scale, is what the answer says.
    #[test]
    fn the_surface_is_drawn_where_it_is_computed_and_the_runs_end_on_it() {
        let site = crate::site::demo();
        let question = Question { slopes_deg: vec![0.0, 30.0], limit_m: 1.2, steepest_deg: 40.0 };
        let answer = progress(&site, &question, Vec::new()).unwrap();
        let model = Model::new(&site).unwrap();
        let markup = page(&answer, &model);
        let xml = markup.replace("<!DOCTYPE html>", "");
        let read = roxmltree::Document::parse(&xml).unwrap();
        let plot = read.descendants().find(|n| n.attribute("class") == Some("plot")).unwrap();
        let list = |name: &str| -> Vec<f64> {
            plot.attribute(name).unwrap().split(' ').map(|text| text.parse().unwrap()).collect()
        };
        let (x, y, frame) = (list("data-x"), list("data-y"), list("data-frame"));
        let places = |series: &str| -> Vec<(f64, f64)> {
            let line = plot.descendants().find(|n| n.attribute("data-series") == Some(series)).unwrap();
            line.attribute("points")
                .unwrap()
                .split(' ')
                .map(|pair| {
                    let (a, b) = pair.split_once(',').unwrap();
                    let (a, b): (f64, f64) = (a.parse().unwrap(), b.parse().unwrap());
                    (
                        x[0] + (a - frame[0]) / (frame[2] - frame[0]) * (x[1] - x[0]),
                        y[1] - (b - frame[1]) / (frame[3] - frame[1]) * (y[1] - y[0]),
                    )
                })
                .collect()
        };
        let rows = &answer.surface.as_ref().unwrap().rows;
        let drawn = places("surface of one fall height");
        assert_eq!(drawn.len(), rows.len());
        for (at, row) in drawn.iter().zip(rows) {
            assert!((at.0 - row.distance_m).abs() < 2e-3 && (at.1 - row.height_m).abs() < 2e-3, "{at:?} {row:?}");
        }
        // A run that comes down on the surface: its last step is less than 20 cm of flight before its end.
        for (i, row) in [&rows[0], &rows[rows.len() / 2], &rows[rows.len() - 1]].iter().enumerate() {
            let run = places(&format!("centre of mass, run {}", i + 1));
            let [before, end] = [run[run.len() - 2], run[run.len() - 1]];
            let gap = (before.0 - end.0).hypot(before.1 - end.1);
            assert!(gap < 0.2 && before.0 < end.0, "run {i}: {before:?} {end:?}");
            let step = run[run.len() - 3];
            let slope = ((step.1 - before.1) / (before.0 - step.0)).atan().to_degrees();
            assert!((slope - row.path_deg).abs() < 2.0, "run {i}: {slope} against {}", row.path_deg);
        }
        assert!(markup.contains("No bag makes a head-first landing harmless"), "cautions");
    }
}
