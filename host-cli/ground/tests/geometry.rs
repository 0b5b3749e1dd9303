//! Volumes, areas and set-out distances against outside sources.

#![allow(clippy::unwrap_used, clippy::panic)]

use geo::{Area, LineString, Polygon};
use landfall_ground::area::polygon_m2;
use landfall_ground::earth::{Strip, balanced, earth, least_digging, pad};
use landfall_ground::scene::{BagBox, Ground, Layout};
use landfall_ground::set_out::{TAPE_ERROR_M, found_m, set_out, tape, usual_pegs};
use landfall_ground::water::water;
use landfall_ground::{Profile, fit};

fn bumpy() -> Profile {
    Profile::new(vec![(-22.0, 2.1), (-15.0, 0.9), (-7.0, -0.4), (1.0, 0.2), (6.0, 1.3), (11.0, -0.8), (19.0, -1.1)])
        .unwrap()
}

fn layout() -> Layout {
    Layout {
        surface: vec![(-18.0, 6.0), (-8.0, 0.4), (-6.5, 0.0), (-4.0, 0.0), (-2.0, 0.6), (0.0, 2.4)],
        foot_x_m: -4.0,
        platform_m: 2.4,
        roll_in_width_m: 2.4,
        takeoff_width_m: 2.4,
        bag: BagBox {
            gap_m: 3.0,
            length_m: 12.0,
            width_m: 8.0,
            offset_m: 0.4,
            base_level_m: 0.1,
            front_height_m: 2.2,
            back_height_m: 2.4,
        },
        fall_zone_m: 2.0,
        run_out_m: 4.0,
    }
}

/// The prismoidal rule is exact where a section's area is of the second (even third) degree along the line, the
/// average-end-area rule too large by the prismoidal correction, here L/6 s Δd² (W. Schofield & M. Breach, Engineering
/// Surveying, chapter on volumes; from memory). A wedge and a pyramid are known from solid geometry.
#[test]
fn volumes_are_those_of_solid_geometry_and_of_the_handbooks_rules() {
    let ramp = Profile::new(vec![(0.0, 0.0), (10.0, 3.0)]).unwrap();
    // A wedge 10 m long, 4 m wide, 3 m high at its end: half a block.
    let wedge = pad(0.0, (0.0, 10.0), &ramp, &Strip { width_m: 4.0, bank: 0.0 }).earth;
    assert!((wedge.cut_m3 - 60.0).abs() < 1e-9 && wedge.fill_m3 == 0.0);
    assert!((wedge.cut_end_area_m3 - 60.0).abs() < 1e-9);
    // Banks alone: a pyramid of base s d² over the length, a third of base times height.
    let banks = pad(0.0, (0.0, 10.0), &ramp, &Strip { width_m: 0.0, bank: 1.5 }).earth;
    assert!((banks.cut_m3 - 1.5 * 9.0 * 10.0 / 3.0).abs() < 1e-9);
    // End areas make half of it, too large by L/6 s Δd².
    assert!((banks.cut_end_area_m3 - banks.cut_m3 - 10.0 / 6.0 * 1.5 * 9.0).abs() < 1e-9);
}

#[test]
fn the_rule_is_the_integral_of_the_sections() {
    let strip = Strip { width_m: 8.6, bank: 1.5 };
    let formation = [(-20.0, 1.0), (-3.0, 0.4), (2.0, 0.4), (17.0, -1.5)];
    let moved = earth(&formation, &bumpy(), &strip);
    // Midpoint sums of 200,000 slices; their error is of the second order in a slice of 0.2 mm.
    let (mut cut, mut fill) = (0.0, 0.0);
    let slices = 200_000;
    for i in 0..slices {
        let x = -20.0 + 37.0 * (f64::from(i) + 0.5) / f64::from(slices);
        let at = formation.windows(2).find(|p| x <= p[1].0).unwrap();
        let z = at[0].1 + (at[1].1 - at[0].1) * (x - at[0].0) / (at[1].0 - at[0].0);
        let d = z - bumpy().height_m(x);
        let a = strip.section_m2(d) * 37.0 / f64::from(slices);
        if d > 0.0 { fill += a } else { cut += a }
    }
    assert!((moved.cut_m3 - cut).abs() < 1e-6 * cut, "{moved:?} {cut}");
    assert!((moved.fill_m3 - fill).abs() < 1e-6 * fill, "{moved:?} {fill}");
    assert!(moved.cut_end_area_m3 >= moved.cut_m3 && moved.fill_end_area_m3 >= moved.fill_m3);
}

#[test]
fn no_level_moves_less_than_the_least_and_the_balanced_one_carts_nothing() {
    for strip in [Strip { width_m: 8.0, bank: 0.0 }, Strip { width_m: 9.0, bank: 1.5 }] {
        let along = (3.0, 15.0);
        let least = least_digging(along, &bumpy(), &strip);
        for i in 0..=400 {
            let level = -1.2 + 2.6 * f64::from(i) / 400.0;
            let other = pad(level, along, &bumpy(), &strip).earth.moved_m3();
            assert!(other >= least.earth.moved_m3() - 1e-6, "{level} {other} {least:?}");
        }
        let even = balanced(along, &bumpy(), &strip);
        assert!((even.earth.cut_m3 - even.earth.fill_m3).abs() < 1e-6 * even.earth.cut_m3, "{even:?}");
    }
}

/// Two tapes and a side lead back to the corner: a triangle is closed by its three sides.
#[test]
fn triangulated_distances_close() {
    let pegs = usual_pegs(&layout(), &Ground::default());
    // On the land, where its ends are known.
    let small =
        Ground { width_m: Some(15.0), edge_behind_m: Some(-18.0), edge_ahead_m: Some(17.0), ..Ground::default() };
    for (x, y) in usual_pegs(&layout(), &small) {
        assert!((-18.0..=17.0).contains(&x) && y <= 7.5, "{x} {y}");
    }
    let tapes = set_out(&layout(), pegs);
    assert_eq!(tapes.len(), 16);
    for t in &tapes {
        let (x, y) = found_m(pegs, t.a_m, t.b_m, t.left).unwrap();
        assert!((x - t.place_m.0).hypot(y - t.place_m.1) < 1e-9, "{t:?} {x} {y}");
        // Al-Kashi's law of cosines on the same triangle.
        let apart = (pegs[0].0 - pegs[1].0).hypot(pegs[0].1 - pegs[1].1);
        let by_law = (t.a_m.powi(2) + t.b_m.powi(2) - apart.powi(2)) / (2.0 * t.a_m * t.b_m);
        assert!((by_law - t.angle_rad.cos()).abs() < 1e-9, "{t:?}");
        // Each tape a centimetre off, in all four ways, moves the corner no farther than is said (to first order).
        for (da, db) in [(1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0)] {
            let e = TAPE_ERROR_M / 100.0;
            let (x, y) = found_m(pegs, t.a_m + da * e, t.b_m + db * e, t.left).unwrap();
            let off = (x - t.place_m.0).hypot(y - t.place_m.1) * 100.0;
            assert!(off <= t.error_m * 1.01, "{t:?} {off}");
        }
    }
    // Tapes that do not reach each other find nothing.
    assert!(found_m([(0.0, 0.0), (10.0, 0.0)], 3.0, 4.0, true).is_none());
    let three_four_five = tape("x", "y", (0.0, 3.0), [(0.0, 0.0), (4.0, 0.0)]);
    assert!((three_four_five.a_m - 3.0).abs() < 1e-12 && (three_four_five.b_m - 5.0).abs() < 1e-12);
    assert!(three_four_five.left);
}

#[test]
fn areas_are_those_of_a_library() {
    let shapes: Vec<Vec<(f64, f64)>> = vec![
        vec![(0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (0.0, 3.0)],
        vec![(0.0, 0.0), (0.0, 3.0), (4.0, 3.0), (4.0, 0.0)],
        vec![(-1.3, 2.0), (5.5, -0.7), (7.9, 6.1), (2.2, 3.3), (0.4, 8.8)],
        layout().outlines().iter().find(|(name, _)| *name == "bag").unwrap().1.to_vec(),
    ];
    for shape in shapes {
        let library = Polygon::new(LineString::from(shape.clone()), vec![]).unsigned_area();
        assert!((polygon_m2(&shape) - library).abs() < 1e-9, "{shape:?}");
    }
}

#[test]
fn a_pit_holds_water_as_deep_as_its_lower_rim() {
    let profile = Profile::new(vec![(-20.0, 1.0), (2.0, 0.6), (16.0, 0.3), (25.0, 0.0)]).unwrap();
    let ground = Ground { profile: Some(profile), ..Ground::default() };
    let mut plan = layout();
    plan.bag.base_level_m = -0.2;
    let pit = water(&plan, &ground);
    // Ahead the rim is the ground at the bag's back, 15 m: 0.6 − 13/14 · 0.3 = 0.3214 m; behind it is 1 m.
    assert!(pit.leaves_forward && (pit.depth_m - (0.6 - 13.0 / 14.0 * 0.3 + 0.2)).abs() < 1e-9, "{pit:?}");
    plan.bag.base_level_m = 0.7;
    assert_eq!(water(&plan, &ground).depth_m, 0.0);
    assert_eq!(fit::fit(&plan, &ground).unmeasured_m, vec![(-20.4, -20.0)]);
}
