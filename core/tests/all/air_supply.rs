//! Air, blowers, openings and the sealed spring against published values and closed forms.

use crate::checks::{Check, Scale};
use landfall_core::Status;
use landfall_core::air::{Air, DRY_AIR_J_PER_KG_K, STANDARD_GRAVITY_MPS2 as G, standard_pressure_pa};
use landfall_core::bag_gas::{Adiabat, Chamber, QUICK_EXPONENT};
use landfall_core::blower::{BlowerCurve, Blowers, BlowersInput, CurvePoint};
use landfall_core::force_area::{ForceArea, Knot};
use landfall_core::openings::{Discharge, Openings, OpeningsInput};
use landfall_core::slow_gas::SlowGas;
use landfall_core::supply::{Feed, Flows, balance, operating_point};
use landfall_core::touchdown::{Landing, LandingInput, Options, touch_down};
use serde_json::Value;

fn sea_level() -> Air {
    Air::new(0.0, 288.15, None).unwrap()
}

#[test]
fn pressure_and_density_at_geopotential_height() {
    // ISO 2533:1975, troposphere: height, temperature, pressure, density. Pressure within 5e-6, density within 1e-5.
    let table = [
        (0.0, 288.15, 101_325.0, 1.225_00),
        (1_000.0, 281.65, 89_874.6, 1.111_64),
        (2_000.0, 275.15, 79_495.2, 1.006_49),
        (3_000.0, 268.65, 70_108.5, 0.909_12),
    ];
    let mut pressure = Check::new("air_pressure", Scale::Relative, 5e-6);
    let mut dense = Check::new("air_density", Scale::Relative, 1e-5);
    for (height_m, temperature_k, pressure_pa, density) in table {
        let air = Air::new(height_m, temperature_k, None).unwrap();
        pressure.note(height_m, air.pressure_pa.into(), pressure_pa);
        dense.note(height_m, air.density_kgpm3.into(), density);
    }
    pressure.finish();
    dense.finish();
}

#[test]
fn pressure_at_geometric_height() {
    // The same atmosphere at geometric heights (computed with ambiance 1.3.1): turned to geopotential height with the
    // earth's radius of ISO 2533, 6,356,766 m, first.
    for (height_m, pressure_pa) in
        [(500.0f64, 95_461.29), (1_000.0, 89_876.28), (1_500.0, 84_559.67), (2_000.0, 79_501.41), (3_000.0, 70_121.14)]
    {
        let geopotential_m = 6_356_766.0 * height_m / (6_356_766.0 + height_m);
        let got = f64::from(standard_pressure_pa(geopotential_m as f32));
        assert!((got / pressure_pa - 1.0).abs() < 5e-6, "{height_m}: {got}");
    }
}

#[test]
fn mass_flux_through_an_opening_at_low_pressure() {
    // Isentropic flow from rest at 288.15 K into 101,325 Pa, γ = 1.4 (gas dynamics textbooks; recomputed), and the
    // incompressible form with outside density: gauge pressure, kg/(s m²).
    let table =
        [(250.0, 24.747, 24.749), (1_000.0, 49.480, 49.498), (2_500.0, 78.193, 78.262), (5_000.0, 110.485, 110.680)];
    let flux = |air: &Air, discharge, gauge_pa: f32| {
        let openings = Openings::new(OpeningsInput { discharge, ..OpeningsInput::default() }, air).unwrap();
        f64::from(air.density_kgpm3 * openings.flow_per_area_mps(gauge_pa))
    };
    let mut check = Check::new("orifice_flux", Scale::Relative, 2e-5);
    for (gauge_pa, isentropic, incompressible) in table {
        // The gas inside is at 288.15 K: before it was compressed it was colder.
        let ratio = 1.0 + f64::from(gauge_pa) / 101_325.0;
        let before_k = 288.15 * ratio.powf(-0.4 / 1.4);
        let air = Air {
            pressure_pa: 101_325.0,
            temperature_k: before_k as f32,
            density_kgpm3: (101_325.0 / (f64::from(DRY_AIR_J_PER_KG_K) * before_k)) as f32,
        };
        check.note(gauge_pa, flux(&air, Discharge::Isentropic { coefficient: 1.0 }, gauge_pa), isentropic);
        check.note(gauge_pa, flux(&sea_level(), Discharge::LowPressure { coefficient: 1.0 }, gauge_pa), incompressible);
    }
    check.finish();
}

#[test]
fn an_orifice_is_a_leak_of_exponent_one_half() {
    // C = C_d A √(2/ρ) (infiltration models of EnergyPlus and Modelica Buildings; NISTIR 6921).
    let air = sea_level();
    let orifice = OpeningsInput {
        vent_area_m2: 0.02,
        discharge: Discharge::LowPressure { coefficient: 0.61 },
        ..OpeningsInput::default()
    };
    let leak = OpeningsInput {
        leak_coefficient: 0.61 * 0.02 * (2.0f32 / air.density_kgpm3).sqrt(),
        leak_exponent: 0.5,
        ..OpeningsInput::default()
    };
    let (orifice, leak) = (Openings::new(orifice, &air).unwrap(), Openings::new(leak, &air).unwrap());
    for gauge_pa in [1.0, 40.0, 900.0, 5_000.0] {
        let (a, b) = (orifice.outflow_m3ps(gauge_pa, 0.0), leak.outflow_m3ps(gauge_pa, 0.0));
        assert!((a / b - 1.0).abs() < 1e-6, "{gauge_pa}: {a} {b}");
    }
}

#[test]
fn fan_laws_on_the_published_example() {
    // 1200 to 1500 rpm: 10,000 cfm at 2.0 inWG become 12,500 cfm at 3.125 inWG (a published worked example of the
    // affinity laws of AMCA and ISO 5801). Units do not matter for a ratio, so the numbers stand as they are.
    let points = [(12_000.0, 0.0), (10_000.0, 2.0), (0.0, 4.0)]
        .map(|(flow, pressure_pa)| CurvePoint { flow_m3ps: flow / 1_000.0, pressure_pa });
    let curve = BlowerCurve::new(&points).unwrap();
    let faster = curve.at_speed(1_500.0 / 1_200.0, 1.2).unwrap();
    let mut check = Check::new("fan_laws", Scale::Relative, 1e-6);
    check.note("flow", faster.flow_and_slope(3.125).0.into(), 12.5);
    check.note("shut-off", faster.shut_off_pa().into(), 6.25);
    // Pressure goes with density, flow does not.
    let thin = curve.at_speed(1.0, 0.9).unwrap();
    check.note("thin air", thin.flow_and_slope(1.5).0.into(), 10.0);
    check.finish();
}

#[test]
fn equilibrium_of_a_parabolic_fan_and_a_leak() {
    // Fan Δp = 2500 (1 − Q²), leak Q = C Δp^n: C, n, Δp, Q. The first is exact, the others computed to 1e-6.
    let mut check = Check::new("equilibrium", Scale::Relative, 1e-5);
    for (coefficient, exponent, pressure_pa, flow) in
        [(0.01, 0.5, 2_000.0, 0.447_214), (0.01, 0.65, 862.233, 0.809_387), (0.002, 0.65, 2_269.482, 0.303_656)]
    {
        let input =
            OpeningsInput { leak_coefficient: coefficient, leak_exponent: exponent, ..OpeningsInput::default() };
        let openings = Openings::new(input, &sea_level()).unwrap();
        let fan = |gauge_pa: f32| (1.0 - gauge_pa / 2_500.0).max(0.0).sqrt();
        let point = balance(fan, |gauge_pa| openings.outflow_m3ps(gauge_pa, 0.0), 2_500.0);
        assert_eq!(point.status, Status::Converged);
        check.note("pressure", point.pressure_pa.into(), pressure_pa);
        check.note("flow", point.flow_m3ps.into(), flow);
    }
    check.finish();
}

#[test]
fn emptying_at_constant_pressure() {
    // V/(C_d A √(2Δp/ρ)) = 72.577 s for 200 m³, 0.5 m², C_d 0.61, 50 Pa, 1.225 kg/m³. A slack bag under a skin of 50 Pa
    // does just that; its gas is counted at outside pressure.
    let air = sea_level();
    let input = OpeningsInput {
        vent_area_m2: 0.5,
        discharge: Discharge::LowPressure { coefficient: 0.61 },
        ..OpeningsInput::default()
    };
    let openings = Openings::new(input, &air).unwrap();
    let chamber = Chamber::new(&air, 400.0, 1_000.0, 0.0, 50.0 / G).unwrap();
    let flows = Flows { openings: &openings, blowers: None, feed: Feed::Lost };
    let slow = SlowGas { chamber: &chamber, flows };
    let seconds = f64::from(slow.slack_time_s(-200.0).unwrap());
    let mut check = Check::new("emptying", Scale::Relative, 1e-5);
    check.note("seconds", seconds, 72.577);
    check.finish();
}

fn list(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

#[test]
fn blower_curves_are_scipys_pchip() {
    // scipy.interpolate.PchipInterpolator 1.15.3, values made by tests/reference/air_fixtures.py.
    let fixtures: Value = serde_json::from_str(include_str!("../../../tests/reference/air_fixtures.json")).unwrap();
    // Single precision: a few units in the seventh figure; slopes where pressures are given to 1e-7 of 2 kPa.
    let mut check = Check::new("pchip", Scale::Relative, 2e-6);
    let mut steep = 0.0f64;
    for case in fixtures["pchip"].as_array().unwrap() {
        let points: Vec<CurvePoint> = case["curve"]
            .as_array()
            .unwrap()
            .iter()
            .map(|p| CurvePoint {
                flow_m3ps: p[0].as_f64().unwrap() as f32,
                pressure_pa: p[1].as_f64().unwrap() as f32,
            })
            .collect();
        let most = f64::from(points[0].flow_m3ps);
        let curve = BlowerCurve::new(&points).unwrap();
        let steepest = list(&case["slopes_m3pspa"]).into_iter().fold(0.0, |a: f64, b| a.max(b.abs()));
        for ((pressure_pa, flow), slope) in
            list(&case["pressures_pa"]).into_iter().zip(list(&case["flows_m3ps"])).zip(list(&case["slopes_m3pspa"]))
        {
            let got = curve.flow_and_slope(pressure_pa as f32);
            check.deviation(format!("{pressure_pa} Pa"), (f64::from(got.0) - flow).abs() / most);
            steep = steep.max((f64::from(got.1) - slope).abs() / steepest);
        }
    }
    println!("slopes within {steep:.1e} of the steepest");
    assert!(steep < 2e-5, "{steep}");
    check.finish();
}

#[test]
fn the_sealed_spring_keeps_its_energy() {
    // Vents and blowers shut, no stretch: ½ m v² + m g cos φ x = ∫ p dV
    // = P_i V_i/(n − 1) [(V_i/V)^(n−1) − 1] − P_a V_d at the deepest point, in double precision.
    let air = sea_level();
    let openings = Openings::new(OpeningsInput::default(), &air).unwrap();
    let flows = Flows { openings: &openings, blowers: None, feed: Feed::Running };
    // Depth within 0.01 %: the stored energy goes with about its third power, at a depth close to the root.
    let mut check = Check::new("sealed_spring", Scale::Relative, 3e-4);
    // Area from 0 to A_1 at x_1, from there to A_2 at x_2, and on.
    for (volume_m3, start_pa, mass_kg, speed, knots) in [
        (180.0f64, 1_500.0, 94.0, 8.0, [(0.1, 1.1), (0.6, 4.1)]),
        (60.0, 800.0, 130.0, 10.0, [(0.2, 0.9), (1.0, 2.9)]),
        (25.0, 400.0, 75.0, 6.0, [(0.3, 0.8), (0.7, 2.0)]),
        (9.0, 2_000.0, 110.0, 12.0, [(0.05, 1.0), (0.3, 1.5)]),
    ] {
        let chamber = Chamber::new(&air, volume_m3 as f32, start_pa, 0.0, 0.65).unwrap();
        let gas = Adiabat::new(&chamber, chamber.at_pressure(start_pa), QUICK_EXPONENT).unwrap();
        let landing = Landing::new(LandingInput {
            mass_kg,
            normal_speed_mps: speed,
            slope_rad: 0.15,
            skin_loss: 0.0,
            area: ForceArea::measured(&knots.map(|(depth_m, area_m2)| Knot { depth_m, area_m2 })).unwrap(),
            thickness_m: None,
        })
        .unwrap();
        let done = touch_down(&gas, &flows, &landing, &Options::default(), |_| {});
        let x = f64::from(done.depth_m);
        let [(x1, a1), (x2, a2)] = knots.map(|(depth, area)| (f64::from(depth), f64::from(area)));
        assert!(x > x2, "{done:?}");
        let displaced = 0.5 * a1 * x1 + 0.5 * (a1 + a2) * (x2 - x1) + a2 * (x - x2);
        let absolute = 101_325.0 + f64::from(start_pa);
        let compressed = absolute * volume_m3 / 0.4 * ((volume_m3 / (volume_m3 - displaced)).powf(0.4) - 1.0);
        let stored = compressed - 101_325.0 * displaced;
        let brought =
            f64::from(mass_kg) * (0.5 * f64::from(speed) * f64::from(speed) + f64::from(G) * 0.15f64.cos() * x);
        check.note(format!("{volume_m3} m³"), stored, brought);
        // All of it is given back.
        assert!((done.rebound_mps.unwrap() / speed - 1.0).abs() < 5e-4, "{done:?}");
        // The peak pressure is the adiabatic one at that depth.
        let peak = absolute * (volume_m3 / (volume_m3 - displaced)).powf(1.4) - 101_325.0;
        assert!((f64::from(done.peak_pressure_pa) / peak - 1.0).abs() < 1e-4, "{peak} {done:?}");
    }
    check.finish();
}

#[test]
fn a_tight_bag_with_blowers_sits_at_shut_off() {
    let air = sea_level();
    let points = [(1.0, 0.0), (0.6, 900.0), (0.0, 1_500.0)]
        .map(|(flow_m3ps, pressure_pa)| CurvePoint { flow_m3ps, pressure_pa });
    let blowers = Blowers::new(&BlowerCurve::new(&points).unwrap(), &BlowersInput::default(), &air).unwrap();
    let openings = Openings::new(OpeningsInput::default(), &air).unwrap();
    let point = operating_point(&blowers, &openings);
    assert!(point.at_shut_off && (point.pressure_pa - 1_500.0 * air.density_kgpm3 / 1.2).abs() < 1e-3);
}
