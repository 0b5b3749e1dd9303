//! A bag's air, blowers and openings as the reference's pieces state them.

use landfall_core::air::Air;
use landfall_core::blower::{BlowerCurve, Blowers, BlowersInput, CurvePoint};
use landfall_core::openings::{Discharge, OpeningsInput};
use serde_json::Value;

/// From the case's own values, each read by `get`; what a case leaves out is zero.
pub fn supply<'a>(get: impl Fn(&str) -> &'a Value) -> (Air, Blowers, OpeningsInput) {
    let value = |key: &str| get(key).as_f64().unwrap_or(0.0) as f32;
    let outside = value("outside");
    // The reference states the density; here it follows from the temperature.
    let temperature = f64::from(outside) / (287.052_87 * f64::from(value("rho")));
    let air = Air { pressure_pa: outside, temperature_k: temperature as f32, density_kgpm3: value("rho") };
    let points: Vec<CurvePoint> = get("curve")
        .as_array()
        .unwrap()
        .iter()
        .map(|p| CurvePoint { flow_m3ps: p[0].as_f64().unwrap() as f32, pressure_pa: p[1].as_f64().unwrap() as f32 })
        .collect();
    let backflow = value("backflow_area");
    let fan = BlowersInput {
        count: get("blowers").as_u64().unwrap() as u8,
        speed: value("blower_speed"),
        duct_loss: value("duct_loss"),
        duct_diameter_m: value("duct_diameter"),
        closing_flap: backflow == 0.0,
        backflow_area_m2: (backflow > 0.0).then_some(backflow),
    };
    let blowers = Blowers::new(&BlowerCurve::new(&points).unwrap(), &fan, &air).unwrap();
    let openings = OpeningsInput {
        vent_area_m2: value("vent_area"),
        relief_area_m2: value("relief_area"),
        relief_opens_pa: value("relief_opens"),
        relief_full_pa: value("relief_full"),
        leak_coefficient: value("leak"),
        leak_exponent: value("leak_exponent"),
        discharge: Discharge::LowPressure { coefficient: value("discharge") },
    };
    (air, blowers, openings)
}
