//! Touch-downs, blowers and slow changes of the pieces of `tests/reference/expected/pieces.json`, made with NumPy and
//! SciPy by `tests/reference/pieces.py`.

use crate::bag_case::supply;
use landfall_core::Status;
use landfall_core::air::STANDARD_GRAVITY_MPS2;
use landfall_core::bag_gas::{Adiabat, Chamber, QUICK_EXPONENT};
use landfall_core::blower::Blowers;
use landfall_core::force_area::{ForceArea, Knot};
use landfall_core::openings::Openings;
use landfall_core::slow_gas::SlowGas;
use landfall_core::supply::{Feed, Flows, operating_point};
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

/// The bag of the pieces with some numbers changed.
struct Bag {
    openings: Openings,
    blowers: Blowers,
    operating_pa: f32,
    chamber: Chamber,
    slope_rad: f32,
    area: ForceArea,
    skin_loss: f32,
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

fn bag(changed: &Value) -> Bag {
    let all: Value = serde_json::from_str(include_str!("../../../tests/reference/expected/pieces.json")).unwrap();
    let base = &all["base_bag"];
    let get = |key: &str| changed.get(key).unwrap_or(&base[key]);
    let value = |key: &str| get(key).as_f64().unwrap_or(0.0) as f32;
    let (air, blowers, openings) = supply(get);
    let openings = Openings::new(openings, &air).unwrap();
    let operating_pa = operating_point(&blowers, &openings).pressure_pa;
    let skin = f64::from(value("slack_pressure")) / G;
    let chamber = Chamber::new(&air, value("volume"), operating_pa, value("stretch"), skin as f32);
    // A volume out of range marks the case that is not for this code.
    let chamber = chamber.unwrap_or_else(|_| Chamber::new(&air, 1e5, operating_pa, 0.0, skin as f32).unwrap());
    Bag {
        openings,
        blowers,
        operating_pa,
        chamber,
        slope_rad: value("phi"),
        area: area(&serde_json::json!({"knots": get("knots")})),
        skin_loss: value("skin_loss"),
    }
}

#[test]
fn blowers_and_slow_changes() {
    for row in pieces("blowers") {
        let bag = bag(&row["changed"]);
        let name = row["changed"].to_string();
        let near = |what: &str, got: f32, expected: f64, tolerance: f64| {
            assert!((f64::from(got) - expected).abs() <= tolerance, "{name} {what}: {got} for {expected}");
        };
        near("shut-off", bag.blowers.shut_off_pa(), number(&row, "shut_off_pa"), 1e-5 * number(&row, "shut_off_pa"));
        let most = list(&row["flow_m3ps"])[0];
        for ((pa, flow), out) in
            list(&row["pressure_pa"]).into_iter().zip(list(&row["flow_m3ps"])).zip(list(&row["outflow_m3ps"]))
        {
            near("flow", bag.blowers.flow_m3ps(pa as f32), flow, 2e-5 * most);
            near("outflow", bag.openings.outflow_m3ps(pa as f32, 0.0), out, 1e-5 * out.max(0.01));
        }
        let operating = number(&row, "operating_pressure_pa");
        near("operating", bag.operating_pa, operating, 1e-5 * operating);
        let content = number(&row, "gas_at_operating_m3");
        near("content", bag.chamber.operating_content_m3(), content, 1e-6 * content);
        let running = Flows { openings: &bag.openings, blowers: Some(&bag.blowers), feed: Feed::Running };
        let lost = Flows { feed: Feed::Lost, ..running };
        let slow = SlowGas { chamber: &bag.chamber, flows: running };
        let after = SlowGas { chamber: &bag.chamber, flows: lost };
        let time = |what: &str, got: Option<f32>, key: &str| {
            if let Some(expected) = row[key].as_f64() {
                near(what, got.unwrap(), expected, 1e-3f64.max(1e-5 * expected));
            } else {
                assert_eq!(got, None, "{name} {what}");
            }
        };
        time("fill", slow.fill_time_s(), "fill_time_s");
        time("recovery", slow.recovery_s(0.5), "recovery_of_half_m3_s");
        time("half", after.fall_time_s(bag.operating_pa, 0.5 * bag.operating_pa), "power_loss_to_half_s");
        time("slack", after.fall_time_s(bag.operating_pa, bag.chamber.skin_pa()), "power_loss_to_slack_s");
    }
}

#[test]
fn touch_downs_of_the_second_solution() {
    for row in pieces("touch_downs") {
        let name = row["changed"].to_string();
        if row["changed"].get("volume").is_some() {
            continue; // 1e9 m³: `a_very_large_bag_is_at_constant_pressure`
        }
        let bag = bag(&row["changed"]);
        let feed = if row["supplied"] == true { Feed::Running } else { Feed::Lost };
        let flows = Flows { openings: &bag.openings, blowers: Some(&bag.blowers), feed };
        let start = match row["start_gas_m3"].as_f64() {
            Some(content) => bag.chamber.at_content(content as f32),
            None => bag.chamber.at_pressure(single(&row, "start_pressure_pa")),
        };
        let landing = Landing::new(LandingInput {
            mass_kg: single(&row, "mass_kg"),
            normal_speed_mps: single(&row, "normal_speed_mps"),
            slope_rad: bag.slope_rad,
            skin_loss: bag.skin_loss,
            area: bag.area,
            thickness_m: row["thickness_m"].as_f64().map(|m| m as f32),
        })
        .unwrap();
        let gas = Adiabat::new(&bag.chamber, start, QUICK_EXPONENT).unwrap();
        let got = touch_down(&gas, &flows, &landing, &Options::default(), |_| {});
        assert_eq!(got.status, Status::Converged, "{name}");
        let near = |key: &str, got: f32, relative: f64, absolute: f64| {
            let expected = number(&row, key);
            let tolerance = absolute.max(relative * expected.abs());
            assert!((f64::from(got) - expected).abs() <= tolerance, "{name} {key}: {got} for {expected}");
        };
        near("depth_m", got.depth_m, 0.0, 1e-3);
        near("felt_load_g", got.felt_load_g, 1e-3, 0.0);
        near("peak_pressure_pa", got.peak_pressure_pa, 1e-3, 0.0);
        near("time_to_deepest_s", got.time_to_deepest_s, 0.0, 1e-3);
        near("gas_lost_m3", got.gas_lost_m3, 1e-3, 1e-3);
        match row["rebound_mps"].as_f64() {
            // A step may be off by 2e-5 of the speed at contact, and there are some fifteen.
            Some(_) => near("rebound_mps", got.rebound_mps.unwrap(), 0.0, 3e-4 * number(&row, "normal_speed_mps")),
            None => assert_eq!(got.rebound_mps, None, "{name}"),
        }
        // The fall that gives the speed: u²/2g.
        let fall_m = got.ground.map(|ground| ground.fall_height_m);
        assert_eq!(fall_m.is_some(), row["ground_fall_height_m"].is_number(), "{name}");
        if let Some(fall_m) = fall_m {
            near("ground_fall_height_m", fall_m, 1e-3, 1e-4);
        }
        for (key, met) in [("ground_speed_mps", got.ground), ("sinks_on_mps", got.sank_on)] {
            match row[key].as_f64() {
                Some(_) => near(key, met.unwrap_or_else(|| panic!("{name}: no {key}")).speed_mps, 0.0, 1e-3),
                None => assert_eq!(met, None, "{name} {key}"),
            }
        }
    }
}
