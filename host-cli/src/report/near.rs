//! Side view for a narrow screen: take-off, flight and bag alone, with the few figures that are asked for first.

use super::chart::{Anchor, Axis, Chart};
use super::markup::el;
use super::sheet::Sheet;
use super::{Picture, side};
use crate::shown::{Shown, Toward};

const TITLE: &str = "Take-off, flight and bag, to scale";
const WIDTH: f64 = 390.0;
/// Shown of the run-in before the take-off's foot.
const BEFORE_M: f64 = 0.6;
/// Shown behind the bag.
const BEHIND_M: f64 = 0.6;
/// What the drawing is at most high for its width, so that words and figures have room beside it.
const HIGHEST: f64 = 0.62;

/// The picture.
pub fn draw(sheet: &Sheet<'_>) -> Picture {
    let setup = &sheet.model.setups[0];
    let bag = &setup.bag;
    let shown = Shown::of(sheet.site);
    let (gap, length, base) = (f64::from(bag.gap_m), f64::from(bag.length_m), f64::from(bag.base_level_m));
    let front_z = f64::from(bag.front_z_m());
    let climb = f64::from(bag.climb());
    let top = |x: f64| front_z + climb * (x - gap);
    let lip_z = f64::from(setup.takeoff.height_m);
    let foot = -f64::from(setup.takeoff.base_m());
    let apex_z = sheet.results.flight.apex_above_lip_m.map_or(lip_z, |apex| lip_z + apex);

    let (low_x, high_x) = (foot - BEFORE_M, gap + length + BEHIND_M);
    let (low_z, high_z) = (base.min(0.0) - 0.25, apex_z.max(top(gap)).max(top(gap + length)) + 0.3);
    // A metre is as long both ways; what is higher than wide gets air at its sides.
    let wide = (high_x - low_x).max((high_z - low_z) / HIGHEST);
    let spare = 0.5 * (wide - (high_x - low_x));
    let (left, top_px) = (4.0, 22.0);
    let per_m = (WIDTH - 2.0 * left) / wide;
    let frame =
        super::chart::Frame { left, top: top_px, right: WIDTH - left, bottom: top_px + per_m * (high_z - low_z) };
    let (x, y) = (Axis::new(low_x - spare, high_x + spare, ""), Axis::new(low_z, high_z, ""));
    let (x_low, x_high) = (x.low, x.high);
    let mut chart = Chart::bare(frame, x, y);

    chart.rect("ground", "ground", (x_low, low_z), (gap - 0.001, 0.0));
    chart.rect("ground", "ground under the bag", (gap, low_z), (x_high, base));
    let mut ride: Vec<(f64, f64)> =
        sheet.surface.iter().flat_map(|piece| piece.places.clone()).filter(|place| place.0 >= x_low).collect();
    if let Some(first) = ride.first().copied() {
        // From the last place before the picture's edge it is level, or too near to it to be seen.
        ride.insert(0, (x_low, first.1));
        let mut body = ride.clone();
        body.extend([(0.0, 0.0), (x_low, 0.0)]);
        chart.area("built", "take-off", &body);
        chart.line("surface", "surface", &ride);
    }
    chart.area("bag", "bag", &[(gap, base), (gap, top(gap)), (gap + length, top(gap + length)), (gap + length, base)]);
    let field = [gap + f64::from(bag.edge_front_m), gap + length - f64::from(bag.edge_back_m)];
    chart.line("field", "landing field", &[(field[0], top(field[0])), (field[1], top(field[1]))]);
    let inside: Vec<(f64, f64)> = sheet.flight.iter().copied().filter(|at| at.0 >= x_low && at.0 <= x_high).collect();
    if inside.len() > 2 {
        chart.line("median", "flight at the site's values", &inside);
    }
    if let Some(distance) = sheet.results.flight.distance_from_lip_m.filter(|x| *x <= x_high) {
        chart.dot("point", "contact", (distance, top(distance)), 4.0);
        let along = sheet.results.flight.along_m.unwrap_or_default();
        // Inside the bag, where nothing else is written.
        chart.name(
            (distance, top(distance)),
            (0.0, 22.0),
            if along < 0.35 * length { Anchor::Start } else { Anchor::Middle },
            shown.about(along, Toward::Nearest),
        );
    }
    if let Some(apex) = sheet.results.flight.apex_above_lip_m
        && let Some(peak) = sheet.flight.iter().max_by(|a, b| a.1.total_cmp(&b.1)).filter(|peak| peak.0 < x_high)
    {
        chart.name(*peak, (0.0, -8.0), Anchor::Middle, format!("{} over the lip", shown.about(apex, Toward::Nearest)));
    }
    let bottom = frame.bottom;
    let foot_text = format!("gap {}", shown.length(gap, Toward::Nearest));
    let at = chart.x_px(0.5 * gap).max(left + 60.0);
    chart.push(super::chart::label(at, bottom + 17.0, Anchor::Middle, foot_text).class("note"));
    let bag_text = format!("bag {}", shown.length(length, Toward::Nearest));
    let at = chart.x_px(gap + 0.6 * length).max(at + 120.0).min(WIDTH - 60.0);
    chart.push(super::chart::label(at, bottom + 17.0, Anchor::Middle, bag_text).class("note"));

    let mut picture = Picture::new("near", TITLE);
    picture.words = side::words(sheet);
    picture.legend = vec![
        ("median", "flight of the centre of mass at the site's values, mean rider".to_owned()),
        ("field", "landing field: the bag's top less its margins".to_owned()),
    ];
    // What is before the edge is cut there.
    let clip = el("clipPath").with("id", "near-frame").add(
        el("rect")
            .with("x", left)
            .with("y", 0)
            .with("width", WIDTH - 2.0 * left)
            .with("height", format!("{:.2}", bottom + 26.0)),
    );
    let drawn = chart.done().with("clip-path", "url(#near-frame)");
    picture.drawn(WIDTH, bottom + 26.0, [clip, drawn])
}
