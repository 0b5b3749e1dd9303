//! Ten varied grounds are drawn: nothing lies over a label, and every picture is well-formed.
//!
//! `LANDFALL_PICTURES=folder` keeps them there to be looked at.

#![allow(clippy::unwrap_used, clippy::panic)]

use landfall_ground::above::{self, PlanView};
use landfall_ground::clearance::Slice;
use landfall_ground::labels::overlap;
use landfall_ground::scene::{BagBox, Ground, Layout, Obstacle};
use landfall_ground::set_out::{set_out, usual_pegs};
use landfall_ground::side::{self, SideView};
use landfall_ground::supports::supports;
use landfall_ground::{Drawing, Profile};

/// Name, where it begins and ends, radius, height, whether it hangs.
type Thing = (&'static str, (f64, f64), Option<(f64, f64)>, f64, f64, bool);

struct Case {
    name: &'static str,
    start_m: f64,
    slope_deg: f64,
    flat_m: f64,
    bag: (f64, f64, f64, f64),
    points: &'static [(f64, f64)],
    width_m: Option<f64>,
    edges: (Option<f64>, Option<f64>),
    things: &'static [Thing],
}

const CASES: [Case; 10] = [
    Case {
        name: "flat",
        start_m: 5.5,
        slope_deg: 40.0,
        flat_m: 3.0,
        bag: (3.0, 12.0, 8.0, 0.0),
        points: &[(-30.0, 0.0), (40.0, 0.0)],
        width_m: None,
        edges: (None, None),
        things: &[],
    },
    Case {
        name: "hillside",
        start_m: 6.0,
        slope_deg: 30.0,
        flat_m: 4.0,
        bag: (3.5, 14.0, 9.0, -1.5),
        points: &[(-40.0, 9.0), (-18.0, 4.5), (-6.0, 0.2), (0.0, 0.0), (12.0, -1.5), (40.0, -2.0)],
        width_m: Some(18.0),
        edges: (Some(-30.0), Some(24.0)),
        things: &[("oak", (8.0, 7.5), None, 1.2, 9.0, false)],
    },
    Case {
        name: "pit",
        start_m: 4.5,
        slope_deg: 35.0,
        flat_m: 2.0,
        bag: (2.5, 10.0, 8.0, -1.0),
        points: &[(-25.0, 0.3), (1.5, 0.0), (2.0, -1.4), (13.0, -1.2), (14.0, 0.2), (30.0, 0.4)],
        width_m: Some(14.0),
        edges: (Some(-22.0), Some(20.0)),
        things: &[],
    },
    Case {
        name: "wires",
        start_m: 7.0,
        slope_deg: 45.0,
        flat_m: 5.0,
        bag: (4.0, 14.0, 10.0, 0.0),
        points: &[(-30.0, 0.5), (0.0, 0.0), (30.0, 0.0)],
        width_m: Some(30.0),
        edges: (None, None),
        things: &[
            ("phone line", (5.0, -15.0), Some((9.0, 15.0)), 0.02, 7.0, true),
            ("power line", (-20.0, -15.0), Some((-18.0, 15.0)), 0.05, 11.0, true),
            ("pole", (9.0, 12.0), None, 0.15, 8.0, false),
        ],
    },
    Case {
        name: "narrow",
        start_m: 5.0,
        slope_deg: 30.0,
        flat_m: 3.0,
        bag: (3.0, 12.0, 6.0, 0.0),
        points: &[(-30.0, -0.4), (0.0, 0.0), (30.0, 0.6)],
        width_m: Some(8.0),
        edges: (Some(-21.0), Some(18.0)),
        things: &[
            ("fence", (-25.0, 4.2), Some((20.0, 4.2)), 0.05, 1.8, false),
            ("barn", (10.0, -6.0), Some((18.0, -6.0)), 1.5, 5.0, false),
        ],
    },
    Case {
        name: "short",
        start_m: 3.0,
        slope_deg: 50.0,
        flat_m: 0.5,
        bag: (1.5, 6.0, 5.0, 0.0),
        points: &[(-9.0, 0.0), (9.0, 0.0)],
        width_m: None,
        edges: (Some(-8.0), Some(9.5)),
        things: &[],
    },
    Case {
        name: "long",
        start_m: 14.0,
        slope_deg: 25.0,
        flat_m: 12.0,
        bag: (6.0, 20.0, 14.0, -3.0),
        points: &[(-70.0, 12.0), (-40.0, 5.0), (-15.0, 0.3), (0.0, 0.0), (20.0, -4.0), (45.0, -5.0)],
        width_m: Some(40.0),
        edges: (Some(-60.0), Some(38.0)),
        things: &[
            ("tree 1", (12.0, 10.0), None, 2.0, 12.0, false),
            ("tree 2", (15.0, 11.0), None, 2.0, 14.0, false),
            ("tree 3", (18.0, 10.5), None, 2.0, 11.0, false),
        ],
    },
    Case {
        name: "crowded",
        start_m: 5.5,
        slope_deg: 40.0,
        flat_m: 3.0,
        bag: (3.0, 12.0, 8.0, 0.3),
        points: &[(-25.0, 0.8), (-10.0, 0.0), (0.0, 0.1), (8.0, -0.3), (25.0, 0.1)],
        width_m: Some(16.0),
        edges: (Some(-19.0), Some(19.5)),
        things: &[
            ("A", (0.0, 3.0), None, 0.3, 3.0, false),
            ("B", (1.0, 3.2), None, 0.3, 3.0, false),
            ("C", (2.0, 3.1), None, 0.3, 3.0, false),
            ("D", (0.5, 3.6), None, 0.3, 3.0, false),
            ("lamp post", (1.5, -3.0), None, 0.2, 6.0, false),
            ("rope", (0.0, -8.0), Some((0.0, 8.0)), 0.02, 5.5, true),
        ],
    },
    Case {
        name: "uphill",
        start_m: 4.0,
        slope_deg: 35.0,
        flat_m: 2.5,
        bag: (2.5, 11.0, 8.0, 1.0),
        points: &[(-25.0, -3.0), (-8.0, -0.5), (0.0, 0.0), (10.0, 1.6), (30.0, 3.0)],
        width_m: Some(20.0),
        edges: (None, Some(17.0)),
        things: &[("wall", (18.0, -6.0), Some((18.0, 6.0)), 0.2, 2.5, false)],
    },
    Case {
        name: "far-off",
        start_m: 5.0,
        slope_deg: 40.0,
        flat_m: 3.0,
        bag: (3.0, 10.0, 8.0, 0.0),
        points: &[(-20.0, 0.0), (20.0, 0.0)],
        width_m: Some(200.0),
        edges: (Some(-300.0), Some(400.0)),
        things: &[
            ("mast with quite a long name & <signs>", (200.0, 90.0), None, 1.0, 60.0, false),
            ("hedge", (-30.0, 7.0), Some((60.0, 7.5)), 0.6, 2.0, false),
        ],
    },
];

fn layout(case: &Case) -> Layout {
    let slope = case.slope_deg.to_radians();
    let radius_m = 4.0;
    let foot_m = -4.0;
    let mut surface = Vec::new();
    let bottom_m = foot_m - case.flat_m;
    let (arc_run, arc_rise) = (radius_m * slope.sin(), radius_m * (1.0 - slope.cos()));
    let straight_run = (case.start_m - arc_rise) / slope.tan();
    surface.push((bottom_m - arc_run - straight_run, case.start_m));
    for i in 0..=12 {
        let a = slope * (1.0 - f64::from(i) / 12.0);
        surface.push((bottom_m - radius_m * a.sin(), radius_m * (1.0 - a.cos())));
    }
    for i in 0..=12 {
        let a = 1.085 * f64::from(i) / 12.0;
        surface.push((foot_m + 4.572 * a.sin() * 4.0 / 4.043, 4.572 * (1.0 - a.cos())));
    }
    let (gap_m, length_m, width_m, base_level_m) = case.bag;
    Layout {
        surface,
        foot_x_m: foot_m,
        platform_m: 2.4,
        roll_in_width_m: 2.4,
        takeoff_width_m: 2.4,
        bag: BagBox { gap_m, length_m, width_m, offset_m: 0.0, base_level_m, front_height_m: 2.0, back_height_m: 2.2 },
        fall_zone_m: 2.0,
        run_out_m: 3.0,
    }
}

fn ground(case: &Case) -> Ground {
    Ground {
        profile: Some(Profile::new(case.points.to_vec()).unwrap()),
        width_m: case.width_m,
        middle_m: 0.0,
        edge_behind_m: case.edges.0,
        edge_ahead_m: case.edges.1,
        obstacles: case
            .things
            .iter()
            .map(|(name, from_m, to_m, radius_m, height_m, hangs)| Obstacle {
                name: (*name).to_owned(),
                from_m: *from_m,
                to_m: *to_m,
                radius_m: *radius_m,
                height_m: *height_m,
                hangs: *hangs,
            })
            .collect(),
    }
}

fn drawn(case: &Case) -> [(String, Drawing); 2] {
    let (layout, ground) = (layout(case), ground(case));
    let metres = |m: f64| format!("{m:.1} m");
    let reach = layout.bag.gap_m + layout.bag.length_m * 0.4;
    let path: Vec<(f64, f64)> = (0..=40)
        .map(|i| {
            let x = reach * f64::from(i) / 40.0;
            (x, 3.4 + 1.9 * x - (1.9 + 0.6 / reach) * x * x / reach)
        })
        .collect();
    let band: Vec<Slice> = path
        .iter()
        .map(|(x, z)| Slice { x_m: *x, y_m: (-1.2 - 0.05 * x, 1.2 + 0.05 * x), z_m: (z - 1.2, z + 1.5) })
        .collect();
    let rows = supports(&layout, &ground, 1.2);
    let pegs = usual_pegs(&layout, &ground);
    let tapes = set_out(&layout, pegs);
    let side = side::draw(
        &SideView { layout: &layout, ground: &ground, supports: &rows, band: &band, flight: &path, length: &metres },
        "Side view",
        "to scale",
    );
    let plan = above::draw(
        &PlanView { layout: &layout, ground: &ground, band: &band, tapes: &tapes, pegs, length: &metres },
        "Plan view",
        "to scale",
    );
    [(format!("{}-side", case.name), side), (format!("{}-plan", case.name), plan)]
}

#[test]
fn no_label_lies_over_another_on_ten_varied_grounds() {
    let folder = std::env::var("LANDFALL_PICTURES").ok();
    for case in &CASES {
        for (name, drawing) in drawn(case) {
            if let Some(folder) = &folder {
                std::fs::write(format!("{folder}/{name}.svg"), &drawing.svg).unwrap();
            }
            let document = roxmltree::Document::parse(&drawing.svg).unwrap();
            let texts = document.descendants().filter(|n| n.has_tag_name("text")).count();
            assert_eq!(texts, drawing.labels.len(), "{name}");
            let (w, h) = drawing.size;
            for (i, a) in drawing.labels.iter().enumerate() {
                assert!(a.frame.0 >= 0.0 && a.frame.2 <= w && a.frame.1 >= 0.0 && a.frame.3 <= h, "{name}: {a:?}");
                for b in drawing.labels.iter().skip(i + 1) {
                    assert!(!overlap(a.frame, b.frame), "{name}: {:?} over {:?}", a.text, b.text);
                }
            }
        }
    }
}

#[test]
fn both_views_keep_one_scale() {
    for case in &CASES {
        for (name, drawing) in drawn(case) {
            let document = roxmltree::Document::parse(&drawing.svg).unwrap();
            // The bag's corners: length over width in the plan, length over height in the side view, as built.
            let bag = document.descendants().find(|n| n.attribute("class") == Some("g-bag")).unwrap();
            let d = bag.attribute("d").unwrap();
            let numbers: Vec<f64> = d.split(|c: char| "MLZ ".contains(c)).filter_map(|t| t.parse().ok()).collect();
            let along = numbers[2] - numbers[0];
            let (length, other) = if name.ends_with("plan") {
                (case.bag.1, (case.bag.2, (numbers[1] - numbers[5]).abs()))
            } else {
                (case.bag.1, (2.2, (numbers[3] - numbers[5]).abs()))
            };
            // Places are written to a tenth of a unit.
            assert!((along / length - other.1 / other.0).abs() < 0.2 / other.0, "{name} {numbers:?}");
        }
    }
}
