//! Single pieces of the model against `tests/reference/expected/pieces.json`, made with NumPy and SciPy 1.15.3 by
//! `tests/reference/pieces.py`: sections of a ride, flights, take-offs, touch-downs, blowers, statistics.

use crate::checks::{Check, Scale};
use landfall_core::Status;
use landfall_core::air::{Air, STANDARD_GRAVITY_MPS2};
use landfall_core::bag_gas::{Adiabat, Chamber, QUICK_EXPONENT};
use landfall_core::flight::{Drag, Motion, Plane, fly_to_apex, fly_to_falling};
use landfall_core::force_area::{ForceArea, Knot};
use landfall_core::openings::{Openings, OpeningsInput};
use landfall_core::path::{Path, Section};
use landfall_core::ride::{RideInput, RidePoint, Slope, Steps, ride};
use landfall_core::supply::{Feed, Flows};
use landfall_core::takeoff::TakeOff;
use landfall_core::touchdown::{Landing, LandingInput, Options, touch_down};
use serde_json::Value;

const G: f64 = STANDARD_GRAVITY_MPS2 as f64;

fn pieces(key: &str) -> Vec<Value> {
    let all: Value = serde_json::from_str(include_str!("../../../tests/reference/expected/pieces.json")).unwrap();
    all[key].as_array().unwrap_or_else(|| panic!("{key}")).clone()
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or_else(|| panic!("{key} in {value}"))
}

fn single(value: &Value, key: &str) -> f32 {
    number(value, key) as f32
}

fn list(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

#[test]
fn sections_of_a_ride() {
    // 1 mm/s, 1 ms, 0.1 % of the load.
    let mut check = Check::new("ride_sections", Scale::OfTolerance, 1.0);
    for row in pieces("ride_sections") {
        let (slope, turn) = (number(&row, "slope_at_start_deg").to_radians(), number(&row, "turn_deg").to_radians());
        let (size, start) = (number(&row, "size_m"), number(&row, "start_speed_mps"));
        let mass_height = single(&row, "mass_height_m");
        let straight = row["kind"] == "straight";
        let ends_by = row["ends_by"].as_str().unwrap();
        let case = format!("{} {size} m from {:.0} deg, {start} m/s", row["kind"], slope.to_degrees());
        // On the take-off: an arc from level up, with full carry as far as the lip.
        let on_takeoff = !straight && slope == 0.0 && turn > 0.0;
        let takeoff = if on_takeoff {
            TakeOff::new((size * (1.0 - turn.cos())) as f32, size as f32, 1.05, mass_height).unwrap()
        } else {
            TakeOff::new(2.0, 5.0, 1.05, mass_height).unwrap()
        };
        // A path whose first section is an arc starts level, so a slope is begun by a centimetre of straight, and the
        // speed at its start is such that the stated one is reached at its end. Not from rest, which that cannot make.
        const LEAD_M: f64 = 0.01;
        let lead = !straight && slope != 0.0;
        if lead && start == 0.0 {
            continue;
        }
        let mass = number(&row, "total_mass_kg");
        let (drag, rolling) = (number(&row, "drag_area_m2"), number(&row, "rolling_resistance"));
        let (density, wind) = (number(&row, "density_kgpm3"), number(&row, "head_wind_mps"));
        let inertia = 1.0 + number(&row, "rotating_mass_kg") / mass;
        let rate = -2.0
            * (G * (slope.sin() + rolling * slope.cos())
                + density * drag / (2.0 * mass) * (start + wind) * (start + wind).abs())
            / inertia;
        let push_off = if lead { (start * start - rate * LEAD_M).sqrt() } else { start };
        let down = |length_m: f64| Section::Straight { length_m: length_m as f32, slope_rad: Some(-slope as f32) };
        let bend = |radius_m: f64, turn: f64| Section::Arc { radius_m: radius_m as f32, turn_rad: turn as f32 };
        let mut sections = Vec::new();
        let mut end = slope;
        if on_takeoff {
            sections.push(Section::Straight { length_m: 0.01, slope_rad: Some(0.0) });
        } else if straight {
            sections.push(down(size));
        } else {
            if lead {
                sections.push(down(LEAD_M));
            }
            sections.push(bend(size, turn));
            end += turn;
        }
        if end < 0.0 {
            sections.push(bend(6.0, -end));
        }
        let mut drop_m = 0.0;
        let mut theta = slope;
        for section in &sections {
            match *section {
                Section::Straight { length_m, .. } => drop_m -= f64::from(length_m) * theta.sin(),
                Section::Arc { radius_m, turn_rad } => {
                    let next = theta + f64::from(turn_rad);
                    drop_m -= f64::from(radius_m) * (theta.cos() - next.cos()) * f64::from(turn_rad).signum();
                    theta = next;
                }
            }
        }
        let path = Path::from_sections(&sections, drop_m.max(0.0) as f32, mass_height).unwrap();
        let slope_of = Slope {
            path: &path,
            takeoff: &takeoff,
            density_kgpm3: density as f32,
            mass_kg: mass as f32,
            rotating_kg: single(&row, "rotating_mass_kg"),
        };
        let input = RideInput {
            start_height_m: path.start_height_m(),
            push_off_mps: push_off as f32,
            rolling_resistance: rolling as f32,
            drag_area_m2: drag as f32,
            head_wind_mps: wind as f32,
            carry: 1.0,
        };
        let mut points: Vec<RidePoint<f32>> = Vec::new();
        let steps = Steps { start: 24, straight: 24, arc: 64, takeoff: 48, lip: 8, flight: 1, front: 1 };
        let ridden = ride::<f32, true>(&slope_of, &input, &steps, |point| points.push(*point));
        match ends_by {
            "end" => {}
            "stall" => {
                assert!(ridden.stalled && !ridden.left, "{case}");
                continue;
            }
            _ => {
                assert!(ridden.left, "{case}");
                continue;
            }
        }
        // The section's own points: from where it begins to where it ends, by the length along the path.
        let before = f64::from(path.length_m());
        let (from, to) = if on_takeoff {
            (0.0, -number(&row, "length_m"))
        } else {
            let lead_m = if lead { LEAD_M } else { 0.0 };
            (before - lead_m, before - lead_m - number(&row, "length_m"))
        };
        let inside: Vec<_> = points
            .iter()
            .filter(|p| (p.curvature_pm == 0.0) == straight && f64::from(p.before_foot_m) <= from + 1e-3)
            .collect();
        let bend = inside.first().map(|p| p.curvature_pm);
        let own: Vec<_> = inside
            .into_iter()
            .take_while(|p| Some(p.curvature_pm) == bend && f64::from(p.before_foot_m) >= to - 1e-3)
            .collect();
        let (first, last) = (own.first().unwrap(), own.last().unwrap());
        assert!((f64::from(first.before_foot_m) - from).abs() < 1e-3, "{case}");
        assert!((f64::from(last.before_foot_m) - to).abs() < 1e-3, "{case}");
        let speed = number(&row, "speed_mps");
        let got = f64::from(last.energy_m2ps2).sqrt();
        check.deviation(format!("{case}: speed {got} for {speed}"), (got - speed).abs() / 1e-3);
        let time = number(&row, "time_s");
        let got = f64::from(last.time_s - first.time_s);
        check.deviation(format!("{case}: time {got} for {time}"), (got - time).abs() / 1e-3);
        let load = number(&row, "peak_load_g");
        let got = own.iter().map(|p| f64::from(p.load_mps2)).fold(0.0, f64::max) / G;
        check.deviation(format!("{case}: load {got} for {load}"), (got / load - 1.0).abs() / 1e-3);
    }
    check.finish();
}

#[test]
fn projectiles() {
    // With equal speeds lengths and times go with 1/g.
    let mut check = Check::new("projectiles", Scale::Relative, 1e-4);
    for row in pieces("projectiles") {
        let ratio = G / number(&row, "gravity_mps2");
        let (speed, angle) = (number(&row, "speed_mps"), number(&row, "angle_deg").to_radians());
        let k_pm = G / number(&row, "terminal_speed_mps").powi(2);
        let drag = Drag { k_pm: k_pm as f32, along_mps: 0.0, across_mps: 0.0 };
        let start = Motion {
            place_m: [0.0; 3],
            velocity_mps: [(speed * angle.cos()) as f32, 0.0, (speed * angle.sin()) as f32],
        };
        let end = (number(&row, "end_height_m") / ratio) as f32;
        let plane = Plane { normal_x: 0.0, normal_z: 1.0, offset_m: end };
        // The long throws of the general cases take more steps than a jump.
        let steps = if speed > 20.0 { 60 } else { Steps::FINE.flight };
        let got = fly_to_falling(&start, &plane, &drag, steps);
        let case = row["case"].as_str().unwrap();
        check.note(format!("{case} range"), f64::from(got.motion.place_m[0]) * ratio, number(&row, "range_m"));
        check.note(format!("{case} time"), f64::from(got.time_s) * ratio, number(&row, "time_s"));
        let (_, top) = fly_to_apex(&start, &drag, steps);
        check.note(format!("{case} apex"), f64::from(top.place_m[2]) * ratio, number(&row, "apex_m"));
        let [vx, _, vz] = got.motion.velocity_mps.map(f64::from);
        check.note(format!("{case} speed"), vx.hypot(vz), number(&row, "end_speed_mps"));
        check.note(format!("{case} angle"), vz.atan2(vx).to_degrees(), number(&row, "end_angle_deg"));
    }
    check.finish();
}

#[test]
fn flights_in_wind() {
    // 1 mm, 1 mm/s, 1 ms.
    let mut check = Check::new("flights", Scale::OfTolerance, 1.0);
    for row in pieces("flights") {
        let three = |key: &str| {
            let v = list(&row[key]);
            [v[0] as f32, v[1] as f32, v[2] as f32]
        };
        let start = Motion { place_m: three("place_m"), velocity_mps: three("velocity_mps") };
        let slope = number(&row, "plane_slope_deg").to_radians();
        let contact = number(&row, "contact_height_m");
        let plane = Plane {
            normal_x: -slope.sin() as f32,
            normal_z: slope.cos() as f32,
            offset_m: (number(&row, "plane_at_lip_m") * slope.cos() + contact) as f32,
        };
        let k = number(&row, "density_kgpm3") * number(&row, "drag_area_m2") / (2.0 * number(&row, "total_mass_kg"));
        let drag = Drag {
            k_pm: k as f32,
            along_mps: single(&row, "wind_along_mps"),
            across_mps: single(&row, "wind_across_mps"),
        };
        let got = fly_to_falling(&start, &plane, &drag, Steps::FINE.flight);
        assert!(got.met);
        let (_, top) = fly_to_apex(&start, &drag, Steps::FINE.flight);
        let [vx, vy, vz] = got.motion.velocity_mps.map(f64::from);
        let speed = (vx * vx + vy * vy + vz * vz).sqrt();
        let normal = vx * slope.sin() - vz * slope.cos();
        for (key, value) in [
            ("airtime_s", f64::from(got.time_s)),
            ("contact_x_m", f64::from(got.motion.place_m[0]) + contact * slope.sin()),
            ("contact_y_m", f64::from(got.motion.place_m[1])),
            ("apex_m", f64::from(top.place_m[2])),
            ("speed_mps", speed),
            ("normal_mps", normal),
            ("along_plane_mps", (speed * speed - normal * normal).sqrt()),
            ("equivalent_fall_height_m", normal * normal / (2.0 * G)),
        ] {
            let expected = number(&row, key);
            check.deviation(format!("{key}: {value} for {expected}"), (value - expected).abs() / 1e-3);
        }
    }
    check.finish();
}

#[test]
fn equivalent_fall_heights_of_the_snow_sport_papers() {
    // Hubbard 2009, J. ASTM Int. 6(10) (form from memory): h = [x²/(4 (x tan θ0 − y) cos² θ0) − y] sin²[atan(2y/x −
    // tan θ0) − atan y'], without air. Here: thrown so as to come down at (x, y), v_n²/2g there.
    let mut check = Check::new("fall_height", Scale::Metres, 1e-4);
    for row in pieces("fall_heights") {
        let (x, y) = (number(&row, "x_m"), number(&row, "y_m"));
        let (angle, slope) = (number(&row, "take_off_deg").to_radians(), number(&row, "slope_deg").to_radians());
        let speed = (G * x * x / (2.0 * angle.cos().powi(2) * (x * angle.tan() - y))).sqrt();
        let start = Motion {
            place_m: [0.0; 3],
            velocity_mps: [(speed * angle.cos()) as f32, 0.0, (speed * angle.sin()) as f32],
        };
        let (normal_x, normal_z) = (-slope.sin(), slope.cos());
        let plane = Plane {
            normal_x: normal_x as f32,
            normal_z: normal_z as f32,
            offset_m: (x * normal_x + y * normal_z) as f32,
        };
        let drag = Drag { k_pm: 0.0, along_mps: 0.0, across_mps: 0.0 };
        let got = fly_to_falling(&start, &plane, &drag, Steps::FINE.flight);
        let normal = -f64::from(plane.approach(&got.motion.velocity_mps));
        let expected = number(&row, "equivalent_fall_height_m");
        check.note(format!("({x}, {y})"), normal * normal / (2.0 * G), expected);
    }
    // Four of them as worked out by direct ballistics, to a micrometre.
    for (angle, x, fall) in [(20, 10, 0.626_290), (30, 8, 1.154_701), (25, 12, 0.012_666), (10, 10, 0.414_347)] {
        let rows = pieces("fall_heights");
        let row = rows.iter().find(|row| row["take_off_deg"] == angle && row["x_m"] == x).unwrap();
        assert!((number(row, "equivalent_fall_height_m") - fall).abs() < 1e-6);
    }
    check.finish();
}

/// A force area by its knots, or the same from the skin on.
fn area(row: &Value) -> ForceArea {
    let pair = |knot: &Value| {
        let [depth_m, area_m2] = list(knot)[..] else { panic!("{knot}") };
        Knot { depth_m: depth_m as f32, area_m2: area_m2 as f32 }
    };
    match row["constant_area_m2"].as_f64() {
        Some(area_m2) => ForceArea::constant(area_m2 as f32).unwrap(),
        None => ForceArea::measured(&row["knots"].as_array().unwrap().iter().map(pair).collect::<Vec<_>>()).unwrap(),
    }
}

#[test]
fn a_very_large_bag_is_at_constant_pressure() {
    // ½ m v² + m g x = p V_d(x) for V0 → ∞. The largest bag taken, 100,000 m³, still stiffens by n P_a V_d/V0, 1.4 Pa
    // for a cubic metre, half of it over the stroke: 0.1 to 0.3 % of the pressure here, and about half of that in
    // depth. So the pressure that is put in is the mean one that is wanted, less this.
    let mut check = Check::new("constant_pressure", Scale::Relative, 1e-3);
    let air = Air::new(0.0, 288.15, None).unwrap();
    let openings = Openings::new(OpeningsInput::default(), &air).unwrap();
    let flows = Flows { openings: &openings, blowers: None, feed: Feed::Running };
    for row in pieces("constant_pressure_depths") {
        let (pressure, depth) = (number(&row, "pressure_pa"), number(&row, "depth_m"));
        let area = area(&row);
        // What the reference found the depth with: ½ m v² + m g x over the pressure.
        let (mass, speed) = (number(&row, "mass_kg"), number(&row, "normal_speed_mps"));
        let displaced = mass * (0.5 * speed * speed + G * depth) / pressure;
        let here = f64::from(area.volume_m3(depth as f32));
        assert!((here / displaced - 1.0).abs() < 2e-6, "{here} {displaced}");
        let stiffer = 1.4 * 101_325.0 * displaced / 1e5;
        let start = (pressure - 0.5 * stiffer) as f32;
        let chamber = Chamber::new(&air, 1e5, start, 0.0, 0.0).unwrap();
        let gas = Adiabat::new(&chamber, chamber.at_pressure(start), QUICK_EXPONENT).unwrap();
        let landing = Landing::new(LandingInput {
            mass_kg: single(&row, "mass_kg"),
            normal_speed_mps: single(&row, "normal_speed_mps"),
            slope_rad: 0.0,
            skin_loss: 0.0,
            area,
            thickness_m: None,
        })
        .unwrap();
        // A small area stops a body so slowly that it takes longer than a landing is followed for else.
        let options = Options { window_s: 20.0, ..Options::default() };
        let got = touch_down(&gas, &flows, &landing, &options, |_| {});
        assert_eq!(got.status, Status::Converged, "{pressure} Pa: {got:?}");
        check.note(format!("{pressure} Pa"), got.depth_m.into(), depth);
    }
    check.finish();
}
