//! Surfaces of constant equivalent fall height against SciPy and the closed equation without air.

use crate::checks::{Check, Scale};
use landfall_core::Status;
use landfall_core::flight::Drag;
use landfall_core::landing_shape::{ShapePoint, Throw, Wanted, landing_shape};
use serde_json::Value;

#[test]
fn surfaces_are_those_of_the_reference() {
    let reference: Value = serde_json::from_str(include_str!("../../../tests/reference/landing_shapes.json"))
        .expect("the reference is JSON");
    // Heights of up to 10 m in single precision, to 1e-6 m, summed over 96 steps.
    let mut closed = Check::new("landing_shape_closed", Scale::Metres, 5e-5);
    let mut flown = Check::new("landing_shape", Scale::Metres, 5e-5);
    let cases = reference["cases"].as_array().expect("a list");
    assert_eq!(cases.len(), 7);
    for case in cases {
        let of = |key: &str| case[key].as_f64().expect("a number") as f32;
        let drag = Drag { k_pm: of("k_pm"), along_mps: of("wind_mps"), across_mps: 0.0 };
        let throw = Throw::new(of("x_m"), of("z_m"), of("angle_deg").to_radians(), of("pop_mps"), drag).unwrap();
        let wanted =
            Wanted { from_x_m: of("from_x_m"), to_x_m: of("to_x_m"), from_z_m: of("from_z_m"), limit_m: of("limit_m") };
        let mut points: Vec<ShapePoint> = Vec::new();
        assert_eq!(landing_shape(&throw, &wanted, |point| points.push(*point)), Ok(Status::Converged));
        let check = if case["closed"] == true { &mut closed } else { &mut flown };
        for (i, expected) in case["points"].as_array().expect("a list").iter().enumerate() {
            let got = points[i * 16];
            let x_m = expected["x_m"].as_f64().expect("a number");
            assert!((f64::from(got.x_m) - x_m).abs() < 1e-5);
            check.note(format!("{case} {i}"), f64::from(got.z_m), expected["z_m"].as_f64().expect("a number"));
            let slope_deg = expected["slope_deg"].as_f64().expect("a number");
            // A tenth of a millimetre of height turns the slope by less than a hundredth of a degree.
            assert!((f64::from(got.slope_rad).to_degrees() - slope_deg).abs() < 0.02, "{got:?} {expected}");
        }
    }
    closed.finish();
    flown.finish();
}
