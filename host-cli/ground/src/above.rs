//! The plan view: outlines, fall zone, borders, obstacles, pegs and the numbered corners, to scale.

use crate::clearance::Slice;
use crate::scene::{Ground, Layout};
use crate::set_out::Tape;
use crate::side::{along_m, bar_m};
use crate::svg::{Drawing, Sheet};

/// What a plan view shows.
pub struct PlanView<'a> {
    /// What is built.
    pub layout: &'a Layout,
    /// The ground.
    pub ground: &'a Ground,
    /// The band of flights.
    pub band: &'a [Slice],
    /// The corners, numbered from 1 in their order.
    pub tapes: &'a [Tape],
    /// The pegs that the tapes begin at.
    pub pegs: [(f64, f64); 2],
    /// A length in the site's units.
    pub length: &'a dyn Fn(f64) -> String,
}

/// Draws it; left is up.
#[must_use]
pub fn draw(view: &PlanView<'_>, title: &str, words: &str) -> Drawing {
    let PlanView { layout, ground, .. } = view;
    let along = along_m(layout, ground);
    let span = along.1 - along.0;
    let (mut low, mut high) = layout.across_m();
    let mut take = |y: f64| {
        if y.abs() < span * 0.6 {
            low = low.min(y);
            high = high.max(y);
        }
    };
    view.pegs.iter().for_each(|p| take(p.1));
    if let Some(width_m) = ground.width_m {
        take(ground.middle_m - width_m / 2.0);
        take(ground.middle_m + width_m / 2.0);
    }
    // A wire or a hedge may go on far beyond what is built.
    for obstacle in &ground.obstacles {
        obstacle.line_m().iter().filter(|p| p.1.abs() < span * 0.35).for_each(|p| take(p.1));
    }
    let mut sheet = Sheet::new(along, (low - 0.5, high + 0.5));
    edges(&mut sheet, ground, along, (low - 0.5, high + 0.5));
    for tape in view.tapes {
        for peg in view.pegs {
            sheet.line("g-tape", &[peg, tape.place_m]);
        }
    }
    for (name, corners) in layout.outlines() {
        sheet.shape(if name == "bag" { "g-bag" } else { "g-wood" }, &corners);
    }
    let (from, to) = layout.bag.along_m();
    let (right, left) = layout.bag.across_m();
    let z = layout.fall_zone_m;
    let end = layout.end_x_m();
    sheet.shape("g-zone", &[(from - z, right - z), (end, right - z), (end, left + z), (from - z, left + z)]);
    let mut band: Vec<(f64, f64)> = view.band.iter().map(|s| (s.x_m, s.y_m.0)).collect();
    band.extend(view.band.iter().rev().map(|s| (s.x_m, s.y_m.1)));
    if band.len() > 2 {
        sheet.shape("g-band", &band);
    }
    let floor = (low - 0.5, high + 0.5);
    for obstacle in &ground.obstacles {
        let line = obstacle.line_m();
        let Some(shown) = clipped(line, along, floor) else { continue };
        sheet.strip(if obstacle.hangs { "g-cable" } else { "g-thing" }, shown, obstacle.radius_m);
        let middle = ((shown[0].0 + shown[1].0) / 2.0, (shown[0].1 + shown[1].1) / 2.0);
        sheet.label(middle, obstacle.name.clone());
    }
    let mut seen: Vec<((f64, f64), Vec<usize>)> = Vec::new();
    for (i, tape) in view.tapes.iter().enumerate() {
        let same = seen.iter_mut().find(|(p, _)| (p.0 - tape.place_m.0).hypot(p.1 - tape.place_m.1) < 0.02);
        match same {
            Some((_, numbers)) => numbers.push(i + 1),
            None => seen.push((tape.place_m, vec![i + 1])),
        }
    }
    for (place, _) in &seen {
        sheet.dot("g-mark", *place, 2.5);
    }
    for (peg, _) in view.pegs.iter().zip(["A", "B"]) {
        sheet.dot("g-peg", *peg, 5.0);
    }
    for (place, numbers) in &seen {
        let text: Vec<String> = numbers.iter().map(ToString::to_string).collect();
        sheet.label(*place, text.join(", "));
    }
    let length = view.length;
    for (peg, name) in view.pegs.iter().zip(["A", "B"]) {
        let side = if peg.1 >= 0.0 { "left" } else { "right" };
        let along = if peg.0 < 0.0 { "behind" } else { "ahead of" };
        sheet.label(
            *peg,
            format!("peg {name}: {} {along} the lip, {} to the {side}", length(peg.0.abs()), length(peg.1.abs())),
        );
    }
    sheet.label(((from + to) / 2.0, layout.bag.offset_m), format!("bag {} wide", length(layout.bag.width_m)));
    let bar = bar_m(span);
    sheet.bar(&length(bar), bar);
    sheet.finish(title, words)
}

fn edges(sheet: &mut Sheet, ground: &Ground, along: (f64, f64), across: (f64, f64)) {
    for x in ground.edge_behind_m.into_iter().chain(ground.edge_ahead_m).filter(|x| *x > along.0 && *x < along.1) {
        sheet.line("g-edge", &[(x, across.0), (x, across.1)]);
        sheet.label((x, across.1), "the land ends");
    }
    let Some(width_m) = ground.width_m else { return };
    for (side, word) in [(-0.5, "right edge of the land"), (0.5, "left edge of the land")] {
        let y = ground.middle_m + side * width_m;
        if y > across.0 && y < across.1 {
            sheet.line("g-edge", &[(along.0, y), (along.1, y)]);
            sheet.label(((along.0 + along.1) / 2.0, y), word);
        }
    }
}

/// The part of a straight that is shown; none where nothing is.
fn clipped([a, b]: [(f64, f64); 2], x: (f64, f64), y: (f64, f64)) -> Option<[(f64, f64); 2]> {
    let (mut t0, mut t1) = (0.0_f64, 1.0_f64);
    for (from, to, low, high) in [(a.0, b.0, x.0, x.1), (a.1, b.1, y.0, y.1)] {
        let d = to - from;
        if d.abs() < 1e-12 {
            if from < low || from > high {
                return None;
            }
            continue;
        }
        let (p, q) = ((low - from) / d, (high - from) / d);
        t0 = t0.max(p.min(q));
        t1 = t1.min(p.max(q));
    }
    let at = |t: f64| (a.0 + t * (b.0 - a.0), a.1 + t * (b.1 - a.1));
    (t0 <= t1).then(|| [at(t0), at(t1)])
}
