//! What is not known of a bag, and what follows from it, against `tests/reference/expected/pieces.json`, made with NumPy
//! and SciPy 1.15.3 by `tests/reference/pieces.py`: force areas, possible bags, pressures of one bag, critical speeds, a
//! settled pressure, one blower of several, the way along the top.
//!
//! The second solution is written from the same definitions by another hand: it checks the arithmetic, not the model.

use crate::bag_case::supply;
use landfall_core::air::{Air, STANDARD_GRAVITY_MPS2};
use landfall_core::along_top::{AlongTopInput, along_top};
use landfall_core::bag_gas::Chamber;
use landfall_core::blower::Blowers;
use landfall_core::critical_speed::{CriticalSpeed, critical_speed};
use landfall_core::force_area::{ForceArea, Knot};
use landfall_core::landing_limits::Limit;
use landfall_core::levels::{LevelsBag, LevelsInput, LevelsRiders, Sensing, SensorError};
use landfall_core::openings::{Openings, OpeningsInput};
use landfall_core::possible_bags::{PossibleBag, PossibleBags, StatedArea, Unknown, normal_quantile};
use landfall_core::ride_limits::{by_depth, hard_depth_m, holds_for_s, light_load_g};
use landfall_core::slow_gas::SlowGas;
use landfall_core::supply::{Feed, Flows, one_blower_lost, operating_point, settled};
use landfall_core::touchdown::Options;

use serde_json::Value;

const G: f64 = STANDARD_GRAVITY_MPS2 as f64;

fn all() -> Value {
    serde_json::from_str(include_str!("../../../tests/reference/expected/pieces.json")).unwrap()
}

fn pieces(key: &str) -> Vec<Value> {
    all()[key].as_array().unwrap_or_else(|| panic!("{key}")).clone()
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or_else(|| panic!("{key} in {value}"))
}

fn single(value: &Value, key: &str) -> f32 {
    number(value, key) as f32
}

fn knots(value: &Value) -> Vec<Knot> {
    let pair =
        |knot: &Value| Knot { depth_m: knot[0].as_f64().unwrap() as f32, area_m2: knot[1].as_f64().unwrap() as f32 };
    value.as_array().unwrap().iter().map(pair).collect()
}

fn near(what: &str, got: f32, expected: f64, tolerance: f64) {
    assert!((f64::from(got) - expected).abs() <= tolerance, "{what}: {got} for {expected}");
}

#[test]
fn force_areas() {
    for row in pieces("force_areas") {
        let area = if row["assumed"].is_object() {
            let of = |key: &str| single(&row["assumed"], key);
            ForceArea::assumed(of("area_body_m2"), of("area_growth_m"), of("area_limit_m2")).unwrap()
        } else {
            ForceArea::measured(&knots(&row["knots"])).unwrap()
        };
        for (got, expected) in area.knots().iter().zip(knots(&row["knots"])) {
            near("knot depth", got.depth_m, expected.depth_m.into(), 1e-6);
            near("knot area", got.area_m2, expected.area_m2.into(), 2e-6);
        }
        assert_eq!(area.knots().len(), knots(&row["knots"]).len());
        let values = |key: &str| row[key].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect::<Vec<_>>();
        for ((depth, volume), at) in values("depth_m").into_iter().zip(values("volume_m3")).zip(values("area_m2")) {
            near("volume", area.volume_m3(depth as f32), volume, 2e-6 * volume.max(0.1));
            // An area so steep that it jumps within a millimetre is off by as much as single precision places it.
            near("area", area.area_m2(depth as f32), at, 2e-6 * at.max(1.0));
        }
    }
}

#[test]
fn the_fixed_draws() {
    let mut compared = 0;
    for which in ["of_4", "of_2"] {
        for drawn in all()["possible_bag_draws"][which]["first"].as_array().unwrap() {
            let list = |key: &str| drawn[key].as_array().unwrap().clone();
            for (u, z) in list("u").iter().zip(list("z")) {
                let (u, z) = (u.as_f64().unwrap(), z.as_f64().unwrap());
                // Single precision of u moves z by up to a few 1e-6 in the tails.
                near("z", normal_quantile(u as f32), z, 1e-5);
                compared += 1;
            }
        }
    }
    assert!(compared > 20, "{compared}");
}

#[test]
fn possible_bags() {
    for row in pieces("possible_bags") {
        let (description, unknown) = (&row["description"], &row["unknown"]);
        let area = if description["measured_knots"].is_array() {
            StatedArea::Measured(ForceArea::measured(&knots(&description["measured_knots"])).unwrap())
        } else {
            StatedArea::Assumed {
                body_m2: single(description, "area_body"),
                growth_m: single(description, "area_growth"),
                limit_m2: single(description, "area_limit"),
            }
        };
        let unknown = Unknown {
            area_body: single(unknown, "area_body"),
            area_growth: single(unknown, "area_growth"),
            area_limit: single(unknown, "area_limit"),
            skin_stretch: single(unknown, "skin_stretch"),
            area: single(unknown, "area"),
        };
        let bags = PossibleBags::new(area, single(description, "stretch"), unknown).unwrap();
        let bags = if row["if_measured"] == true { bags.if_measured() } else { bags };
        for expected in row["bags"].as_array().unwrap() {
            let number = u16::try_from(expected["j"].as_u64().unwrap()).unwrap();
            let got = bags.bag(number);
            let stretch = expected["skin_stretch"].as_f64().unwrap();
            near("stretch", got.stretch_per_pa, stretch, 1e-5 * stretch);
            let knots = knots(&expected["knots"]);
            assert_eq!(got.area.knots().len(), knots.len());
            for (got, expected) in got.area.knots().iter().zip(knots) {
                near("depth", got.depth_m, expected.depth_m.into(), 1e-5 * f64::from(expected.depth_m));
                near("area", got.area_m2, expected.area_m2.into(), 1e-5 * f64::from(expected.area_m2));
            }
        }
    }
}

/// The bag of the pieces with some numbers changed.
struct Bag {
    air: Air,
    openings: Openings,
    blowers: Blowers,
    operating_pa: f32,
    volume_m3: f32,
    skin_kgpm2: f32,
    slope_rad: f32,
    skin_loss: f32,
    bag: PossibleBag,
}

fn bag(changed: &Value) -> Bag {
    let all = all();
    let base = &all["base_bag"];
    let get = |key: &str| changed.get(key).unwrap_or(&base[key]);
    let value = |key: &str| get(key).as_f64().unwrap_or(0.0) as f32;
    let (air, blowers, openings) = supply(get);
    let openings = match get("settled").as_f64() {
        Some(pa) => {
            let leak_coefficient = settled(&blowers, &openings, &air, pa as f32).unwrap().leak_coefficient;
            OpeningsInput { leak_coefficient, ..openings }
        }
        None => openings,
    };
    let openings = Openings::new(openings, &air).unwrap();
    Bag {
        operating_pa: operating_point(&blowers, &openings).pressure_pa,
        volume_m3: value("volume"),
        skin_kgpm2: (f64::from(value("slack_pressure")) / G) as f32,
        slope_rad: value("phi"),
        skin_loss: value("skin_loss"),
        bag: PossibleBag { area: ForceArea::measured(&knots(get("knots"))).unwrap(), stretch_per_pa: value("stretch") },
        air,
        openings,
        blowers,
    }
}

impl Bag {
    fn chamber(&self) -> Chamber {
        Chamber::new(&self.air, self.volume_m3, self.operating_pa, self.bag.stretch_per_pa, self.skin_kgpm2).unwrap()
    }
}

#[test]
fn settled_pressures() {
    for row in pieces("settled_pressures") {
        let bag = bag(&row["changed"]);
        let (leak, operating) = (number(&row, "leak_coefficient"), number(&row, "operating_pressure_pa"));
        // A difference of two flows of some 3 m³/s.
        near("leak", bag.openings.input().leak_coefficient, leak, 2e-4 * leak + 1e-9);
        near("operating", bag.operating_pa, operating, 2e-5 * operating);
        assert_eq!(bag.openings.none_open(), row["no_leak"] == true && row["changed"]["vent_area"] == 0.0);
    }
}

#[test]
fn one_blower_of_several() {
    for row in pieces("one_blower_lost") {
        let bag = bag(&row["changed"]);
        let found = one_blower_lost(&bag.chamber(), &bag.blowers, &bag.openings, single(&row, "stop_pa"));
        let expected = &row["result"];
        assert_eq!(found.is_some(), expected.is_object(), "{row}");
        let Some(found) = found else { continue };
        let settles = number(expected, "settles_pa");
        near("settles", found.settles_pa, settles, 2e-5 * settles);
        assert_eq!(found.to_stop_s.is_some(), expected["to_stop_s"].is_number(), "{row} {found:?}");
        if let Some(seconds) = found.to_stop_s {
            near("to the stop pressure", seconds, number(expected, "to_stop_s"), 1e-3);
        }
    }
}

#[test]
fn pressures_of_one_bag_and_critical_speeds() {
    for row in pieces("ride_pressures") {
        let parts = bag(&row["changed"]);
        let name = row["changed"].to_string();
        let thickness = number(&row, "ground_m");
        let input = LevelsInput {
            air: &parts.air,
            openings: &parts.openings,
            blowers: &parts.blowers,
            operating_pa: parts.operating_pa,
            bag: LevelsBag {
                volume_m3: parts.volume_m3,
                skin_kgpm2: parts.skin_kgpm2,
                skin_loss: parts.skin_loss,
                pressure_min_pa: 1.0,
                pressure_max_pa: 20_000.0,
                depth_limit: (number(&row, "depth_limit_m") / thickness) as f32,
                load_stop_g: 20.0,
                stop_floor: 0.0,
                thickness_m: thickness as f32,
                slope_rad: parts.slope_rad,
            },
            load_limit_g: 8.0,
            riders: LevelsRiders {
                heaviest_kg: single(&row, "heavy_kg"),
                lightest_kg: single(&row, "light_kg"),
                hard_speed_mps: single(&row, "hard_speed_mps"),
                mean_landing: None,
                commitment_s: None,
                reaction_s: 1.0,
            },
            sensing: Sensing { supply_sense: true, sensor: SensorError { error_pa: 12.5, noise_pa: 20.0 } },
            options: Options::default(),
        };
        let (bag, chamber) = (&parts.bag, parts.chamber());
        let share = |what: &str, got: f32, key: &str| {
            let expected = number(&row, key);
            near(&format!("{name} {what}"), got, expected, 1e-3 * expected);
        };
        let by_depth = by_depth(&input, bag, &chamber).unwrap();
        share("stop", by_depth.pressure_pa().unwrap(), "stop_by_depth_pa");
        share("hard depth", hard_depth_m(&input, bag, &chamber).unwrap(), "hard_depth_m");
        share("light load", light_load_g(&input, bag, &chamber).unwrap(), "light_load_g");
        let light = input.light(bag, &chamber).unwrap();
        for (load_g, key) in [(20.0, "firm_at_20_g_pa"), (8.0, "comfort_at_8_g_pa")] {
            match light.highest_for_load(load_g).0 {
                Limit::NotKept => assert_eq!(number(&row, key), 0.0, "{name} {key}"),
                Limit::NotReached => assert!(row[key].is_null(), "{name} {key}"),
                limit => share(key, limit.pressure_pa().unwrap(), key),
            }
        }
        let hold_s = holds_for_s(&input, bag, &chamber, by_depth, 120.0).unwrap();
        match row["holds_for_s"].as_f64() {
            // The time follows the stop pressure, which is good to 0.1 %.
            Some(expected) => near(&format!("{name} hold"), hold_s.unwrap(), expected, 2e-3 * expected.max(0.5)),
            None => assert_eq!(hold_s, None, "{name}"),
        }
        let full = chamber.at_pressure(parts.operating_pa);
        let lost = Flows { openings: &parts.openings, blowers: Some(&parts.blowers), feed: Feed::Lost };
        let left = SlowGas { chamber: &chamber, flows: lost }.after_loss(&full, single(&row, "after_s")).0;
        near(&format!("{name} content"), left.content_m3, number(&row, "gas_after_m3"), 2e-3);
        for (from, feed, key) in [(full, Feed::Running, "critical"), (left, Feed::Lost, "critical_cut")] {
            let found = critical_speed(&input, bag, input.riders.heaviest_kg, from, feed).unwrap();
            match (found, row[format!("{key}_mps")].as_f64()) {
                (CriticalSpeed::At(mps), Some(expected)) => near(&format!("{name} {key}"), mps, expected, 2e-3),
                (CriticalSpeed::NoneNeeded, None) => assert_eq!(row[format!("{key}_all_rest")], true, "{name} {key}"),
                (found, expected) => panic!("{name} {key}: {found:?} for {expected:?}"),
            }
        }
    }
}

#[test]
fn the_way_along_the_top() {
    for row in pieces("along_the_top") {
        let found = along_top(&AlongTopInput {
            normal_mps: single(&row, "normal_mps"),
            along_mps: single(&row, "along_mps"),
            slope_rad: number(&row, "slope_deg").to_radians() as f32,
            time_to_deepest_s: single(&row, "time_to_deepest_s"),
            rebound_mps: single(&row, "rebound_mps"),
            friction: single(&row, "friction"),
            rolling_resistance: 0.0,
            length_m: 12.0,
            at_m: 5.0,
        })
        .unwrap();
        near("left", found.left_mps, number(&row, "along_left_mps"), 1e-5);
        near("run-out", found.run_out_m.unwrap(), number(&row, "run_out_m"), 2e-5);
    }
}
