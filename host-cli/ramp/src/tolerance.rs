//! What a millimetre of error at the lip does to the lip and to where the mean run comes down.

use landfall_core::InputError;
use landfall_core::ride::Steps;
use landfall_core::run::Setup;
use landfall_core::takeoff::TakeOff;
use landfall_plan::plan::PlanError;
use landfall_plan::plan::model::Model;
use landfall_plan::site::Site;
use serde::Serialize;

/// How far to either side an error is tried; the difference is divided by it, so that single precision does not show.
const TRIED_M: f64 = 5e-3;

/// What one millimetre of an error does.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tolerance {
    /// The error.
    pub error: &'static str,
    /// In words.
    pub what: &'static str,
    /// Change of the lip angle for each millimetre.
    pub lip_angle_deg_per_mm: f64,
    /// Change of the radius for each millimetre.
    pub radius_mm_per_mm: f64,
    /// How far the mean run's contact point moves on the bag, away from the take-off positive; null where a run does
    /// not come down on it.
    pub landing_mm_per_mm: Option<f64>,
}

/// The take-off whose circle is tangent to level at its foot and passes a lip `base_m` from it, `height_m` high:
/// R = (base² + height²)/(2 height).
fn through(setup: &Setup, site: &Site, base_m: f64, height_m: f64) -> Result<TakeOff, InputError> {
    let radius_m = (base_m * base_m + height_m * height_m) / (2.0 * height_m);
    TakeOff::new(height_m as f32, radius_m as f32, site.rider.wheelbase_m as f32, setup.takeoff().mass_height_m())
}

/// The same take-off with its last part bent, so that the lip is steeper: the release turns with it.
fn bent(takeoff: &TakeOff, angle_rad: f64) -> Result<TakeOff, InputError> {
    takeoff.with_lip_rad(takeoff.lip_rad() + angle_rad as f32)
}

fn along_m(setup: &Setup, model: &Model) -> Option<f64> {
    let run = setup.run(&model.uncertainty.at_mean(), &Steps::FINE);
    run.landed().then(|| f64::from(run.along_m))
}

/// The three errors that a builder makes at a lip, each tried to both sides through the run of the mean rider.
///
/// - `high`: the lip is higher at its own place, and the face is still one circle from the foot.
/// - `far`: the lip is farther from the foot at its own height, and so nearer to the bag, which stays.
/// - `bent`: the face is right up to one wheelbase before the lip and bends up from there: angle = error / wheelbase.
///
/// # Errors
/// [`PlanError`] where an error of 5 mm makes a take-off that is refused.
pub fn tolerances(site: &Site, model: &Model) -> Result<Vec<Tolerance>, PlanError> {
    let setup = &model.setups[0];
    let own = setup.takeoff();
    let (base_m, height_m) = (f64::from(own.base_m()), f64::from(own.height_m()));
    let wheelbase_m = site.rider.wheelbase_m;
    type Make<'a> = Box<dyn Fn(f64) -> Result<(TakeOff, f64), InputError> + 'a>;
    let cases: [(&'static str, &'static str, Make<'_>); 3] = [
        (
            "high",
            "the lip 1 mm too high at its own place, the face one circle",
            Box::new(|off_m| Ok((through(setup, site, base_m, height_m + off_m)?, 0.0))),
        ),
        (
            "far",
            "the lip 1 mm too far from the foot at its own height, the face one circle, the bag where it stands",
            Box::new(|off_m| Ok((through(setup, site, base_m + off_m, height_m)?, -off_m))),
        ),
        (
            "bent",
            "the face right up to one wheelbase before the lip, and the lip 1 mm too high",
            Box::new(|off_m| Ok((bent(own, off_m / wheelbase_m)?, 0.0))),
        ),
    ];
    let per_mm = 1e-3 / (2.0 * TRIED_M);
    cases
        .iter()
        .map(|(error, what, make)| {
            let [(low, low_gap_m), (high, high_gap_m)] = [make(-TRIED_M)?, make(TRIED_M)?];
            let landing = |takeoff: &TakeOff, gap_m: f64| {
                // A bag at the lip is tried a little away from it: no gap is below 0.
                let own_m = setup.bag().gap_m().max(TRIED_M as f32);
                let bag = setup.bag().at_gap(own_m + gap_m as f32);
                let moved = setup.with_takeoff(*takeoff).with_bag(bag);
                along_m(&moved, model)
            };
            let landed = landing(&low, low_gap_m).zip(landing(&high, high_gap_m));
            Ok(Tolerance {
                error,
                what,
                lip_angle_deg_per_mm: f64::from(high.lip_rad() - low.lip_rad()).to_degrees() * per_mm,
                radius_mm_per_mm: f64::from(high.radius_m() - low.radius_m()) * 1e3 * per_mm,
                landing_mm_per_mm: landed.map(|(low_m, high_m)| (high_m - low_m) * 1e3 * per_mm),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_derivatives_are_those_of_the_circle() {
        let site = landfall_plan::site::demo();
        let model = Model::new(&site).unwrap();
        let list = tolerances(&site, &model).unwrap();
        let (base, height) =
            (f64::from(model.setups[0].takeoff().base_m()), f64::from(model.setups[0].takeoff().height_m()));
        // θ = 2 atan(H/base) and R = (base² + H²)/2H, differentiated.
        let square = base * base + height * height;
        let expected = [
            (2.0 * base / square, 0.5 - 0.5 * base * base / (height * height)),
            (-2.0 * height / square, base / height),
            (1.0 / site.rider.wheelbase_m, 0.0),
        ];
        for (got, (angle_rad_per_m, radius)) in list.iter().zip(expected) {
            // Single precision leaves 1e-7 of 10 m over 10 mm: 1e-4.
            assert!((got.lip_angle_deg_per_mm - (angle_rad_per_m * 1e-3).to_degrees()).abs() < 2e-5, "{got:?}");
            assert!((got.radius_mm_per_mm - radius).abs() < 5e-4, "{got:?}");
            assert!(got.landing_mm_per_mm.is_some_and(f64::is_finite));
        }
    }
}
