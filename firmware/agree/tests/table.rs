//! `sites.in` is what the reference sites say; and what the host computes for them is written down for
//! the devices to be compared with.
//!
//! `LANDFALL_WRITE=1 cargo test -p landfall-agree` writes the table anew.

#![allow(clippy::panic)]
use landfall_agree::{LIST, SITES, Site, line, results};
use landfall_core::force_area::KNOTS;
use landfall_plan::site::{ForceAreaStated, RollInKind, Section, Site as Read, read_site};
use std::fmt::Write;
use std::path::{Path, PathBuf};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/reference/sites")
}

fn from_file(name: &'static str, text: &str) -> Site {
    let s: Read = read_site(text, name).unwrap_or_else(|faults| panic!("{name}: {faults:?}"));
    let f = |value: f64| value as f32;
    let (rider, bag, spread, blower) = (&s.rider, &s.bag, &s.spread, &s.blower);
    let riders = [rider.mass_kg, rider.lightest_kg, rider.heaviest_kg];
    let landing = if rider.lands_with_bike { rider.bike_mass_kg } else { 0.0 };
    let mut sections = [(0, 0.0, 0.0); LIST];
    let (simple, section_count) = match &s.roll_in.kind {
        RollInKind::Simple { slope_rad, bottom_radius_m, flat_run_m } => {
            (Some([f(*slope_rad), f(*bottom_radius_m), f(*flat_run_m)]), 0)
        }
        RollInKind::Sections(list) => {
            for (to, from) in sections.iter_mut().zip(list) {
                *to = match from {
                    Section::Straight { length_m, slope_rad } => (0, f(*length_m), f(*slope_rad)),
                    Section::Arc { radius_m, turn_rad } => (1, f(*radius_m), f(*turn_rad)),
                };
            }
            (None, list.len())
        }
    };
    let (mut area, mut knots, mut knot_count) = ([0.0; 3], [(0.0, 0.0); KNOTS], 0);
    match &bag.force_area {
        ForceAreaStated::Assumed { body_m2, growth_m, limit_m2 } => area = [*body_m2, *growth_m, *limit_m2].map(f),
        ForceAreaStated::Measured(list) => {
            for (to, (depth, area)) in knots.iter_mut().zip(list) {
                *to = (f(*depth), f(*area));
            }
            knot_count = list.len();
        }
    }
    let mut curve = [(0.0, 0.0); LIST];
    for (to, (flow, pressure)) in curve.iter_mut().zip(&blower.curve) {
        *to = (f(*flow), f(*pressure));
    }
    Site {
        name,
        air: (f(s.site.altitude_m), f(s.site.air_temperature_k), s.site.air_pressure_pa.map(f)),
        masses_kg: riders.map(|m| f(m + rider.bike_mass_kg)),
        landing_kg: riders.map(|m| f(m + landing)),
        rotating_kg: f(rider.rotating_mass_kg),
        rider_m: [f(rider.mass_height_m), f(rider.wheelbase_m)],
        start_m: f(s.roll_in.start_height_m),
        simple,
        sections,
        section_count,
        takeoff_m: [f(s.takeoff.height_m), f(s.takeoff.radius_m)],
        bag_m: [
            bag.length_m,
            bag.width_m,
            bag.front_height_m,
            bag.back_height_m,
            bag.gap_m.unwrap_or(2.0),
            bag.offset_m,
            bag.base_level_m,
            bag.edge_front_m,
            bag.edge_back_m,
            bag.edge_side_m,
        ]
        .map(f),
        mean: [
            s.roll_in.start_height_m,
            s.roll_in.push_off_mps,
            s.roll_in.rolling_resistance,
            rider.drag_area_rolling_m2,
            rider.drag_area_flying_m2,
            0.0,
            rider.carry,
            rider.pop_mps,
            0.0,
            0.0,
            s.wind.along_mps,
            s.wind.across_mps,
            rider.contact_height_m,
        ]
        .map(f),
        sd: [
            spread.start_height_m,
            spread.push_off_mps,
            spread.rolling_resistance,
            spread.drag_area_rolling * rider.drag_area_rolling_m2,
            spread.drag_area_flying * rider.drag_area_flying_m2,
            spread.lip_speed_mps,
            spread.carry,
            spread.pop_mps,
            spread.yaw_rad,
            spread.line_m,
            spread.wind_along_mps,
            spread.wind_across_mps,
            spread.contact_height_m,
        ]
        .map(f),
        openings: [
            bag.vent_area_m2,
            bag.vent_coefficient,
            bag.relief_area_m2,
            bag.relief_opens_pa.unwrap_or(0.0),
            bag.relief_full_pa.unwrap_or(0.0),
            bag.leak_coefficient,
            bag.leak_exponent,
        ]
        .map(f),
        curve,
        curve_count: blower.curve.len(),
        blowers: blower.count as u8,
        duct: [f(blower.speed), f(blower.duct_loss), f(blower.duct_diameter_m.unwrap_or(0.0))],
        backflow_m2: if blower.closing_flap { None } else { blower.backflow_area_m2.map(f) },
        chamber: [bag.volume_m3, bag.skin_stretch_per_pa, bag.skin_weight_kgpm2, bag.skin_loss].map(f),
        area,
        knots,
        knot_count,
        limits: [bag.pressure_min_pa, bag.pressure_max_pa, bag.depth_limit, bag.load_stop, bag.stop_floor].map(f),
        light_kg: f(rider.lightest_kg),
        reaction_s: f(rider.reaction_s),
        supply_sense: s.watch.supply_sense,
        sensor_pa: [s.watch.sensor.error_pa(), s.watch.sensor.noise_pa()].map(f),
    }
}

#[test]
fn the_table_is_what_the_files_say() {
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder()).unwrap().map(|e| e.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|e| e == "toml"));
    files.sort();
    let mut text = String::from("[\n");
    for path in &files {
        let name = path.file_stem().unwrap().to_str().unwrap().to_owned().leak();
        writeln!(text, "    {:?},", from_file(name, &std::fs::read_to_string(path).unwrap())).unwrap();
    }
    text += "]\n";
    let table = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/sites.in");
    if std::env::var_os("LANDFALL_WRITE").is_some() {
        std::fs::write(&table, &text).unwrap();
    }
    assert!(std::fs::read_to_string(&table).unwrap() == text, "sites.in is old: run with LANDFALL_WRITE=1");
    assert!(files.len() >= 20);
}

#[test]
fn the_host_finds_something_to_compare() {
    let mut lines = String::new();
    let (mut landed, mut stops) = (0, 0);
    for site in SITES {
        let found = results(site, true);
        landed += u32::from(found.along_m.is_finite());
        stops += u32::from(found.stop_pa.is_finite());
        assert!(!found.refused || found.count > 2, "{} is refused from the start", site.name);
        line(&mut lines, site, &found).unwrap();
    }
    assert!(landed >= 20 && stops >= 20, "{landed} {stops}\n{lines}");
    if let Some(path) = std::env::var_os("LANDFALL_AGREE") {
        std::fs::write(path, lines).unwrap();
    }
}
