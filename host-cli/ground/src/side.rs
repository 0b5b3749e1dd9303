//! The side view: the ground, what is built on it, the band of flights, obstacles and borders, to scale.

use crate::clearance::Slice;
use crate::scene::{Ground, Layout};
use crate::supports::Support;
use crate::svg::{Drawing, Sheet};

/// What a side view shows.
pub struct SideView<'a> {
    /// What is built.
    pub layout: &'a Layout,
    /// The ground.
    pub ground: &'a Ground,
    /// The legs.
    pub supports: &'a [Support],
    /// The band of flights, by what riders and bikes take up.
    pub band: &'a [Slice],
    /// The mean flight of the centre of mass.
    pub flight: &'a [(f64, f64)],
    /// A length in the site's units.
    pub length: &'a dyn Fn(f64) -> String,
}

/// A round length for the bar of the scale: about an eighth of the sheet.
pub(crate) fn bar_m(span_m: f64) -> f64 {
    [1.0, 2.0, 5.0, 10.0, 20.0].into_iter().rev().find(|m| *m <= span_m / 6.0).unwrap_or(1.0)
}

/// What is shown along: everything built, the land's edges and the obstacles that are near.
pub(crate) fn along_m(layout: &Layout, ground: &Ground) -> (f64, f64) {
    let (mut from_m, mut to_m) = (layout.back_x_m(), layout.end_x_m());
    let span_m = to_m - from_m;
    let mut take = |x: f64| {
        if x > from_m - span_m / 3.0 && x < to_m + span_m / 3.0 {
            from_m = from_m.min(x);
            to_m = to_m.max(x);
        }
    };
    ground.edge_ahead_m.into_iter().chain(ground.edge_behind_m).for_each(&mut take);
    for obstacle in &ground.obstacles {
        obstacle.line_m().iter().for_each(|p| take(p.0));
    }
    let room_m = (to_m - from_m) * 0.02 + 0.5;
    (from_m - room_m, to_m + room_m)
}

/// Draws it.
#[must_use]
pub fn draw(view: &SideView<'_>, title: &str, words: &str) -> Drawing {
    let SideView { layout, ground, .. } = view;
    let along = along_m(layout, ground);
    let line = ground.points_between(along.0, along.1);
    let bag = &layout.bag;
    let bag_top = bag.front_height_m.max(bag.back_height_m) + bag.base_level_m;
    let lowest = line.iter().map(|p| p.1).chain([bag.base_level_m]).fold(f64::INFINITY, f64::min);
    // Room for labels in the ground.
    let lowest = lowest - (along.1 - along.0) * 0.045;
    let tops = view.band.iter().map(|s| s.z_m.1).chain([layout.start().1, bag_top]);
    let mut highest = tops.chain(line.iter().map(|p| p.1)).fold(f64::NEG_INFINITY, f64::max);
    for obstacle in &ground.obstacles {
        highest = highest.max(obstacle.reach_z_m(ground).1);
    }
    let span = along.1 - along.0;
    let mut sheet = Sheet::new(along, (lowest, (highest + 0.5).min(lowest + span)));
    let top_shown = (highest + 0.5).min(lowest + span);
    let mut earth = line.clone();
    earth.extend([(along.1, lowest), (along.0, lowest)]);
    sheet.shape("g-earth", &earth);
    pad(&mut sheet, layout, ground);
    obstacles(&mut sheet, ground, along, top_shown);
    for support in view.supports.iter().filter(|s| s.height_m > 0.02) {
        sheet.line("g-leg", &[(support.x_m, support.surface_m), (support.x_m, support.ground_m)]);
    }
    let (from, to) = bag.along_m();
    sheet.shape(
        "g-bag",
        &[(from, bag.base_level_m), (to, bag.base_level_m), (to, bag.top_m(to)), (from, bag.top_m(from))],
    );
    let mut band: Vec<(f64, f64)> = view.band.iter().map(|s| (s.x_m, s.z_m.0)).collect();
    band.extend(view.band.iter().rev().map(|s| (s.x_m, s.z_m.1)));
    if band.len() > 2 {
        sheet.shape("g-band", &band);
    }
    sheet.line("g-path", view.flight);
    let (start, lip) = (layout.start(), layout.surface.last().copied().unwrap_or((0.0, 0.0)));
    let mut ride = vec![(layout.back_x_m(), start.1)];
    ride.extend(&layout.surface);
    sheet.line("g-ride", &ride);
    for (edge, word) in [(ground.edge_behind_m, "the land ends"), (ground.edge_ahead_m, "the land ends")] {
        let Some(x) = edge.filter(|x| *x > along.0 && *x < along.1) else { continue };
        let z = ground.height_m(x);
        sheet.line("g-edge", &[(x, z - 0.8), (x, z + 2.5)]);
        sheet.label((x, z + 2.5), word);
    }
    let length = view.length;
    sheet.dot("g-mark", start, 2.5);
    sheet.label(start, format!("start {}", length(start.1)));
    let back = layout.back_x_m();
    let climb = start.1 - ground.height_m(back);
    sheet.label_under((back, ground.height_m(back)), format!("platform {} over the ground", length(climb)));
    sheet.dot("g-mark", lip, 2.5);
    sheet.label(lip, format!("lip {}", length(lip.1)));
    sheet.label(((from + to) / 2.0, bag.base_level_m), format!("bag {} long", length(bag.length_m)));
    sheet.label_under((from / 2.0, ground.height_m(from / 2.0)), format!("gap {}", length(bag.gap_m)));
    sheet.label_under(
        (layout.end_x_m(), ground.height_m(layout.end_x_m())),
        format!("end of the run-out {} from the lip", length(layout.end_x_m())),
    );
    sheet.label_under((layout.foot_x_m, 0.0), "foot");
    let bar = bar_m(span);
    sheet.bar(&length(bar), bar);
    sheet.finish(title, words)
}

/// What is dug away and brought in under the bag.
fn pad(sheet: &mut Sheet, layout: &Layout, ground: &Ground) {
    let (from, to) = layout.bag.along_m();
    let level = layout.bag.base_level_m;
    let line = ground.points_between(from, to);
    for (class, keep) in [("g-cut", 1.0), ("g-fill", -1.0)] {
        let mut shape: Vec<(f64, f64)> = Vec::new();
        for pair in line.windows(2) {
            let [a, b] = pair else { continue };
            shape.push((a.0, level + ((a.1 - level) * keep).max(0.0) * keep));
            let (da, db) = (a.1 - level, b.1 - level);
            if da * db < 0.0 {
                shape.push((a.0 + (b.0 - a.0) * da / (da - db), level));
            }
            shape.push((b.0, level + ((b.1 - level) * keep).max(0.0) * keep));
        }
        shape.extend([(to, level), (from, level)]);
        sheet.shape(class, &shape);
    }
}

fn obstacles(sheet: &mut Sheet, ground: &Ground, along: (f64, f64), top_shown: f64) {
    for obstacle in &ground.obstacles {
        let [a, b] = obstacle.line_m();
        let (low, high) = obstacle.reach_z_m(ground);
        let (x0, x1) = (a.0.min(b.0) - obstacle.radius_m, a.0.max(b.0) + obstacle.radius_m);
        if x1 < along.0 || x0 > along.1 {
            continue;
        }
        let wide = (x1 - x0).max(0.05);
        let middle = ((x0 + x1) / 2.0).clamp(along.0, along.1);
        let high = high.min(top_shown);
        if obstacle.hangs {
            let z = (low + high) / 2.0;
            sheet.line("g-wire", &[(middle - wide.max(0.3) / 2.0, z), (middle + wide.max(0.3) / 2.0, z)]);
            sheet.dot("g-wire", (middle, z), 2.0);
        } else {
            let z = ground.height_m(middle);
            let (p, q) = (middle - wide / 2.0, middle + wide / 2.0);
            sheet.shape("g-thing", &[(p, z), (q, z), (q, high), (p, high)]);
        }
        sheet.label((middle, high), obstacle.name.clone());
    }
}
