//! Touch-downs, slow changes of pressure and ride pressures against double-precision solutions made with SciPy 1.15.3
//! (`solve_ivp` with DOP853 at rtol 1e-10, `brentq`) by `tests/reference/air_fixtures.py`.
//!
//! Tolerances: depth, loads and pressures 0.1 %, times 1 ms or 1e-5 of their length (single precision keeps no more of
//! a minute), as promised in the documentation of the functions.

use crate::checks::{Check, Scale};
use landfall_core::Status;
use landfall_core::air::Air;
use landfall_core::bag_gas::{Adiabat, Chamber, QUICK_EXPONENT};
use landfall_core::blower::{BlowerCurve, Blowers, BlowersInput, CurvePoint};
use landfall_core::force_area::{ForceArea, Knot};
use landfall_core::levels::{LevelsBag, LevelsInput, LevelsRiders, Sensing, SensorError};
use landfall_core::openings::{Discharge, Openings, OpeningsInput};
use landfall_core::possible_bags::{PossibleBags, StatedArea, Unknown};
use landfall_core::ride_limits::ride_limits;
use landfall_core::slow_gas::SlowGas;
use landfall_core::supply::{Feed, Flows, operating_point};
use landfall_core::touchdown::{Landing, LandingInput, Options, touch_down};
use serde_json::Value;

fn fixtures() -> Value {
    serde_json::from_str(include_str!("../../../tests/reference/air_fixtures.json")).unwrap()
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or_else(|| panic!("{key} in {value}"))
}

fn single(value: &Value, key: &str) -> f32 {
    number(value, key) as f32
}

fn area(value: &Value) -> ForceArea {
    let pair =
        |knot: &Value| Knot { depth_m: knot[0].as_f64().unwrap() as f32, area_m2: knot[1].as_f64().unwrap() as f32 };
    ForceArea::measured(&value["knots"].as_array().unwrap().iter().map(pair).collect::<Vec<_>>()).unwrap()
}

struct Site {
    air: Air,
    openings: Openings,
    blowers: Blowers,
    operating_pa: f32,
    operating_flow: f32,
    chamber: Chamber,
}

fn site(value: &Value) -> Site {
    let air = Air::new(0.0, single(value, "temperature_k"), Some(single(value, "altitude_pressure_pa"))).unwrap();
    let points: Vec<CurvePoint> = value["curve"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| CurvePoint { flow_m3ps: p[0].as_f64().unwrap() as f32, pressure_pa: p[1].as_f64().unwrap() as f32 })
        .collect();
    let openings = OpeningsInput {
        vent_area_m2: single(value, "vent_area_m2"),
        relief_area_m2: single(value, "relief_area_m2"),
        relief_opens_pa: single(value, "relief_opens_pa"),
        relief_full_pa: single(value, "relief_full_pa"),
        leak_coefficient: single(value, "leak_coefficient"),
        leak_exponent: single(value, "leak_exponent"),
        discharge: Discharge::LowPressure { coefficient: single(value, "vent_coefficient") },
    };
    let blowers = BlowersInput {
        count: value["count"].as_u64().unwrap() as u8,
        speed: single(value, "speed"),
        duct_loss: single(value, "duct_loss"),
        duct_diameter_m: single(value, "duct_diameter_m"),
        closing_flap: value["closing_flap"].as_bool().unwrap(),
        backflow_area_m2: Some(single(value, "backflow_area_m2")),
    };
    let openings = Openings::new(openings, &air).unwrap();
    let blowers = Blowers::new(&BlowerCurve::new(&points).unwrap(), &blowers, &air).unwrap();
    let point = operating_point(&blowers, &openings);
    assert_eq!(point.status, Status::Converged);
    let chamber = Chamber::new(
        &air,
        single(value, "volume_m3"),
        point.pressure_pa,
        single(value, "stretch_per_pa"),
        single(value, "skin_kgpm2"),
    )
    .unwrap();
    Site { air, openings, blowers, operating_pa: point.pressure_pa, operating_flow: point.flow_m3ps, chamber }
}

/// Keeps the worst deviation of each quantity, as a share of its tolerance, and fails at the end.
#[derive(Default)]
struct Worst(std::collections::BTreeMap<&'static str, (f64, String)>, Vec<f64>);

impl Worst {
    fn note(&mut self, what: &'static str, case: &str, got: f64, expected: f64, tolerance: f64) {
        let share = (got - expected).abs() / tolerance;
        // A result that is no number must fail too.
        let share = if share.is_nan() { f64::INFINITY } else { share };
        self.1.push(share);
        let entry = self.0.entry(what).or_insert((-1.0, String::new()));
        if share > entry.0 {
            *entry = (share, format!("{case}: {got} for {expected}"));
        }
    }

    /// Writes the line of the table, as a share of each quantity's tolerance; fails past one.
    fn check(&self, id: &'static str) {
        let mut line = Check::new(id, Scale::OfTolerance, 1.0);
        for (what, (share, case)) in &self.0 {
            println!("{what:24} {share:9.4} of the tolerance, {case}");
        }
        for share in &self.1 {
            line.deviation("a value printed above", *share);
        }
        line.finish();
    }
}

#[test]
fn operating_points_filling_recovery_and_power_loss() {
    let mut worst = Worst::default();
    for case in fixtures()["supply"].as_array().unwrap() {
        let name = case["name"].as_str().unwrap();
        let site = site(&case["site"]);
        let flows = Flows { openings: &site.openings, blowers: Some(&site.blowers), feed: Feed::Running };
        let slow = SlowGas { chamber: &site.chamber, flows };
        let op = number(case, "operating_pa");
        worst.note("operating pressure", name, site.operating_pa.into(), op, 1e-5 * op);
        let flow = number(case, "flow_m3ps");
        worst.note("operating flow", name, site.operating_flow.into(), flow, 1e-5 * flow);
        let mut time = |what, got: Option<f32>, key: &str| {
            let expected = number(case, key);
            worst.note(what, name, got.unwrap().into(), expected, 1e-3f64.max(1e-5 * expected));
        };
        time("fill time", slow.fill_time_s(), "fill_s");
        time("recovery", slow.recovery_s(single(case, "lost_m3")), "recovery_s");
        time("to half", slow.fall_time_s(site.operating_pa, 0.5 * site.operating_pa), "half_s");
        time("to a tenth", slow.fall_time_s(site.operating_pa, 0.1 * site.operating_pa), "tenth_s");
        let start = site.chamber.at_pressure(site.operating_pa);
        for (seconds, key) in [(20.0, "content_20s_m3"), (110.0, "content_110s_m3")] {
            let (state, status) = slow.after_loss(&start, seconds);
            assert_eq!(status, Status::Converged);
            let expected = number(case, key);
            worst.note("content after the cut", name, state.content_m3.into(), expected, 1e-5 * expected);
            if seconds == 20.0 {
                let expected = number(case, "pressure_20s_pa");
                worst.note("pressure after the cut", name, state.pressure_pa.into(), expected, 1e-3 * expected);
            }
        }
    }
    worst.check("supply_scipy");
}

#[test]
fn touch_downs() {
    let mut worst = Worst::default();
    let mut steps = Vec::new();
    for case in fixtures()["landings"].as_array().unwrap() {
        let name = case["name"].as_str().unwrap();
        let site = site(&case["site"]);
        let lost = case["lost"].as_bool().unwrap();
        let feed = if lost { Feed::Lost } else { Feed::Running };
        let flows = Flows { openings: &site.openings, blowers: Some(&site.blowers), feed };
        let start = match case["start_pa"].as_f64() {
            Some(pa) => site.chamber.at_pressure(pa as f32),
            None => site.chamber.at_content(single(case, "content_m3")),
        };
        let landing = Landing::new(LandingInput {
            mass_kg: single(case, "mass"),
            normal_speed_mps: single(case, "v"),
            slope_rad: single(case, "slope"),
            skin_loss: single(case, "skin_loss"),
            area: area(case),
            thickness_m: Some(single(case, "thickness")),
        })
        .unwrap();
        let gas = Adiabat::new(&site.chamber, start, QUICK_EXPONENT).unwrap();
        let got = touch_down(&gas, &flows, &landing, &Options::default(), |_| {});
        assert_eq!(got.status, Status::Converged, "{name}");
        steps.push((name.to_owned(), got.steps));
        let expected = &case["result"];
        let mut share = |what, got: f32, key: &str, tolerance: f64| {
            let expected = number(expected, key);
            worst.note(what, name, got.into(), expected, tolerance * expected.abs());
        };
        share("depth", got.depth_m, "depth_m", 1e-3);
        share("felt load", got.felt_load_g, "felt_load_g", 1e-3);
        share("peak pressure", got.peak_pressure_pa, "peak_pressure_pa", 1e-3);
        let mut near = |what, got: f32, key: &str, tolerance: f64| {
            worst.note(what, name, got.into(), number(expected, key), tolerance);
        };
        near("time to the deepest", got.time_to_deepest_s, "time_to_deepest_s", 1e-3);
        // Gas lost: 0.1 %, or 1e-5 of the content where little is lost.
        let little = f64::from(start.content_m3) * 1e-5;
        near("gas lost", got.gas_lost_m3, "gas_lost_m3", little.max(1e-3 * number(expected, "gas_lost_m3").abs()));
        let in_all = number(expected, "gas_lost_in_all_m3").abs();
        near("gas lost in all", got.gas_lost_in_all_m3, "gas_lost_in_all_m3", little.max(1e-3 * in_all));
        near("end", got.end_s, "end_s", 1e-3);
        let ground = got.ground.map(|ground| f64::from(ground.speed_mps));
        assert_eq!(ground.is_some(), expected["ground_mps"].is_number(), "{name}");
        if let Some(speed) = ground {
            near("speed at the ground", speed as f32, "ground_mps", 1e-3 * speed);
            assert_eq!((got.clearance_m, got.rebound_mps), (Some(0.0), None));
        }
        let sank = got.sank_on.map(|ground| ground.speed_mps);
        assert_eq!(sank.is_some(), expected["sank_mps"].is_number(), "{name}");
        if let Some(speed) = sank {
            near("speed after sinking on", speed, "sank_mps", 5e-3);
        }
        assert_eq!(got.rebound_mps.is_some(), expected["rebound_mps"].is_number(), "{name}");
        if let Some(speed) = got.rebound_mps {
            near("rebound", speed, "rebound_mps", 5e-3);
        }
    }
    println!("steps: {steps:?}");
    // What a landing costs: the control of the steps takes neither more nor, at the edge of its tolerance, fewer.
    let all: u16 = steps.iter().map(|(_, steps)| *steps).sum();
    assert!((680..=720).contains(&all), "{all} steps");
    worst.check("touchdown_scipy");
}

#[test]
fn ride_pressures_and_times() {
    let mut worst = Worst::default();
    for (i, case) in fixtures()["ride"].as_array().unwrap().iter().enumerate() {
        let name = format!("ride case {i}");
        let site = site(&case["site"]);
        let input = LevelsInput {
            air: &site.air,
            openings: &site.openings,
            blowers: &site.blowers,
            operating_pa: site.operating_pa,
            bag: LevelsBag {
                volume_m3: single(&case["site"], "volume_m3"),
                skin_kgpm2: single(&case["site"], "skin_kgpm2"),
                skin_loss: 0.65,
                pressure_min_pa: 1.0,
                pressure_max_pa: 20_000.0,
                depth_limit: single(case, "depth_limit"),
                load_stop_g: single(case, "load_stop"),
                stop_floor: 0.0,
                thickness_m: single(case, "thickness"),
                slope_rad: single(case, "slope"),
            },
            load_limit_g: single(case, "load_stop"),
            riders: LevelsRiders {
                heaviest_kg: single(case, "heaviest"),
                lightest_kg: single(case, "lightest"),
                hard_speed_mps: single(case, "hard"),
                mean_landing: None,
                commitment_s: Some(5.0),
                reaction_s: 1.0,
            },
            sensing: Sensing { supply_sense: true, sensor: SensorError { error_pa: 12.5, noise_pa: 20.0 } },
            options: Options::default(),
        };
        let stretch_per_pa = single(&case["site"], "stretch_per_pa");
        let bags = PossibleBags::new(StatedArea::Measured(area(case)), stretch_per_pa, Unknown::default()).unwrap();
        let got = ride_limits(&input, &bags, single(case, "interval")).unwrap();
        assert_eq!(got.status, Status::Converged, "{name}");
        let stop = number(case, "stop_pa");
        let by_depth_pa = got.stated.by_depth.pressure_pa().unwrap();
        worst.note("stop pressure", &name, by_depth_pa.into(), stop, 1e-3 * stop);
        let got_firm_pa = got.levels.firm.pressure_pa();
        assert_eq!(got_firm_pa.is_some(), case["firm_pa"].is_number(), "{name} {got:?}");
        if let Some(firm_pa) = got_firm_pa {
            let firm = number(case, "firm_pa");
            worst.note("firm pressure", &name, firm_pa.into(), firm, 1e-3 * firm);
        }
        assert_eq!(got.holds_for_s.is_some(), case["holds_for_s"].is_number(), "{name} {got:?}");
        if let Some(hold_s) = got.holds_for_s {
            // The time follows the stop pressure, which is good to 0.1 %: so is the time.
            let hold = number(case, "holds_for_s");
            worst.note("hold", &name, hold_s.into(), hold, 1e-3 * hold.max(1.0));
            let missing = (6.1 - hold).max(0.0);
            worst.note("missing", &name, got.seconds_missing.unwrap().into(), missing, 1e-3 * hold.max(1.0));
        }
        let landings = case["landings"].as_u64().unwrap();
        assert_eq!(u64::from(got.landings_without_supply), landings, "{name}");
    }
    worst.check("ride_pressures_scipy");
}
