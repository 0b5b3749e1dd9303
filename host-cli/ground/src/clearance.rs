//! How near an obstacle comes to riders, to their flights and to the bag.
//!
//! What moves or stands is a chain of boxes; an obstacle is a disc or a strip with round ends in plan, and a range of
//! heights. The distance is `√(h² + v²)` of the gaps in plan and in height. A box round two neighbouring slices holds
//! whatever lies between them, so that no distance is overstated.

use crate::scene::{Ground, Obstacle};
use serde::Serialize;

/// What something takes up at a place along the line.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Slice {
    /// From the lip.
    pub x_m: f64,
    /// From right to left.
    pub y_m: (f64, f64),
    /// From its lowest to its highest place.
    pub z_m: (f64, f64),
}

/// Something that an obstacle must not come near: the band of flights, the riders on the platform, the bag.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Body {
    /// What it is, as a sentence has it.
    pub name: &'static str,
    /// From back to front.
    pub slices: Vec<Slice>,
}

/// How near one obstacle comes to one body.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Clearance {
    /// The obstacle.
    pub obstacle: String,
    /// It hangs.
    pub hangs: bool,
    /// The body.
    pub body: &'static str,
    /// Least distance; 0 where they meet.
    pub distance_m: f64,
    /// Where along the line it is least.
    pub at_x_m: f64,
    /// What is wanted.
    pub wanted_m: f64,
    /// What is missing; 0 where nothing is.
    pub missing_m: f64,
}

/// Least distance between a body and an obstacle, and where; none for a body without slices.
#[must_use]
pub fn distance_m(body: &Body, obstacle: &Obstacle, ground: &Ground) -> Option<(f64, f64)> {
    let reach = obstacle.reach_z_m(ground);
    let line = obstacle.line_m();
    let between = |pair: &[Slice]| -> Option<(f64, f64)> {
        let (a, b) = (pair.first()?, pair.last()?);
        let hull = |p: (f64, f64), q: (f64, f64)| (p.0.min(q.0), p.1.max(q.1));
        let plan_m = (rectangle_to_line_m((a.x_m, b.x_m), hull(a.y_m, b.y_m), line) - obstacle.radius_m).max(0.0);
        let up_m = gap_m(hull(a.z_m, b.z_m), reach);
        Some((plan_m.hypot(up_m), (a.x_m + b.x_m) / 2.0))
    };
    let all: Vec<(f64, f64)> = match body.slices.len() {
        1 => between(&body.slices).into_iter().collect(),
        _ => body.slices.windows(2).filter_map(between).collect(),
    };
    all.into_iter().min_by(|a, b| a.0.total_cmp(&b.0))
}

/// Every obstacle against every body, the nearest first.
#[must_use]
pub fn clearances(bodies: &[Body], ground: &Ground, wanted_m: f64, wanted_of_wires_m: f64) -> Vec<Clearance> {
    let mut list: Vec<Clearance> = Vec::new();
    for obstacle in &ground.obstacles {
        let wanted_m = if obstacle.hangs { wanted_of_wires_m } else { wanted_m };
        for body in bodies {
            let Some((distance_m, at_x_m)) = distance_m(body, obstacle, ground) else { continue };
            list.push(Clearance {
                obstacle: obstacle.name.clone(),
                hangs: obstacle.hangs,
                body: body.name,
                distance_m,
                at_x_m,
                wanted_m,
                missing_m: (wanted_m - distance_m).max(0.0),
            });
        }
    }
    list.sort_by(|a, b| b.missing_m.total_cmp(&a.missing_m).then(a.distance_m.total_cmp(&b.distance_m)));
    list
}

/// Whether a standing obstacle is within a rectangle in plan.
#[must_use]
pub fn stands_in(obstacle: &Obstacle, along_m: (f64, f64), across_m: (f64, f64)) -> bool {
    !obstacle.hangs && rectangle_to_line_m(along_m, across_m, obstacle.line_m()) < obstacle.radius_m.max(1e-9)
}

/// The gap between two ranges; 0 where they overlap.
fn gap_m(a: (f64, f64), b: (f64, f64)) -> f64 {
    (b.0 - a.1).max(a.0 - b.1).max(0.0)
}

/// Distance in plan between a rectangle and a straight; 0 where they meet.
fn rectangle_to_line_m(x: (f64, f64), y: (f64, f64), line: [(f64, f64); 2]) -> f64 {
    let inside = |p: (f64, f64)| p.0 >= x.0 && p.0 <= x.1 && p.1 >= y.0 && p.1 <= y.1;
    if line.iter().any(|p| inside(*p)) {
        return 0.0;
    }
    let corners = [(x.0, y.0), (x.1, y.0), (x.1, y.1), (x.0, y.1)];
    let sides = [0, 1, 2, 3].map(|i| [corners[i], corners[(i + 1) % 4]]);
    sides.iter().map(|side| between_lines_m(*side, line)).fold(f64::INFINITY, f64::min)
}

/// Distance between two straights in a plane.
fn between_lines_m(a: [(f64, f64); 2], b: [(f64, f64); 2]) -> f64 {
    let side =
        |l: [(f64, f64); 2], p: (f64, f64)| (l[1].0 - l[0].0) * (p.1 - l[0].1) - (l[1].1 - l[0].1) * (p.0 - l[0].0);
    let crosses = |l: [(f64, f64); 2], m: [(f64, f64); 2]| side(l, m[0]) * side(l, m[1]) < 0.0;
    if crosses(a, b) && crosses(b, a) {
        return 0.0;
    }
    let to = [to_line_m(a[0], b), to_line_m(a[1], b), to_line_m(b[0], a), to_line_m(b[1], a)];
    to.into_iter().fold(f64::INFINITY, f64::min)
}

fn to_line_m(p: (f64, f64), [a, b]: [(f64, f64); 2]) -> f64 {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let long = dx * dx + dy * dy;
    let share = if long > 0.0 { (((p.0 - a.0) * dx + (p.1 - a.1) * dy) / long).clamp(0.0, 1.0) } else { 0.0 };
    (p.0 - a.0 - share * dx).hypot(p.1 - a.1 - share * dy)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tree(x: f64, y: f64, radius_m: f64, height_m: f64) -> Obstacle {
        Obstacle { name: "tree".into(), from_m: (x, y), to_m: None, radius_m, height_m, hangs: false }
    }

    fn block() -> Body {
        let at = |x_m: f64| Slice { x_m, y_m: (-1.0, 1.0), z_m: (3.0, 5.0) };
        Body { name: "block", slices: vec![at(0.0), at(2.0), at(4.0)] }
    }

    #[test]
    fn distances_are_those_of_plane_geometry() {
        let flat = Ground::default();
        let near = |obstacle: &Obstacle| distance_m(&block(), obstacle, &flat).unwrap().0;
        // Beside: 4 m less the radius, the tree reaching up to the block.
        assert!((near(&tree(2.0, 5.0, 0.5, 4.0)) - 3.5).abs() < 1e-12);
        // Off a corner by 3 and 4.
        assert!((near(&tree(7.0, 5.0, 0.0, 9.0)) - 5.0).abs() < 1e-12);
        // Under it: 3 m less the height; beside and under: √(3² + 1²).
        assert!((near(&tree(2.0, 0.0, 0.3, 1.0)) - 2.0).abs() < 1e-12);
        assert!((near(&tree(2.0, 4.0, 0.0, 2.0)) - 10.0_f64.sqrt()).abs() < 1e-12);
        assert_eq!(near(&tree(2.0, 0.0, 0.3, 3.5)), 0.0);
        // A wire that crosses 8 m up, 10 cm thick.
        let wire = Obstacle {
            name: "wire".into(),
            from_m: (2.0, -20.0),
            to_m: Some((2.0, 20.0)),
            radius_m: 0.1,
            height_m: 8.0,
            hangs: true,
        };
        assert!((near(&wire) - 2.9).abs() < 1e-12);
        // A fence that passes 2 m off the front.
        let fence = Obstacle { from_m: (6.0, -9.0), to_m: Some((6.0, 9.0)), hangs: false, ..wire };
        assert!((near(&fence) - 1.9).abs() < 1e-12);
    }

    #[test]
    fn what_is_missing_is_listed_first_and_wires_have_their_own_distance() {
        let wire =
            Obstacle { name: "wire".into(), hangs: true, height_m: 7.0, radius_m: 0.0, ..tree(2.0, 0.0, 0.0, 0.0) };
        let ground = Ground { obstacles: vec![tree(2.0, 5.0, 0.5, 4.0), wire], ..Ground::default() };
        let list = clearances(&[block()], &ground, 1.5, 3.0);
        assert_eq!(list[0].obstacle, "wire");
        assert!((list[0].missing_m - 1.0).abs() < 1e-12 && list[1].missing_m == 0.0);
    }

    #[test]
    fn what_stands_in_the_way_is_found() {
        assert!(stands_in(&tree(-5.0, 0.0, 0.2, 3.0), (-10.0, 0.0), (-1.0, 1.0)));
        assert!(stands_in(&tree(-5.0, 1.1, 0.2, 3.0), (-10.0, 0.0), (-1.0, 1.0)));
        assert!(!stands_in(&tree(-5.0, 1.3, 0.2, 3.0), (-10.0, 0.0), (-1.0, 1.0)));
    }
}
