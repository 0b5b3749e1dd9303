//! From the contact down the landing to the roll-out's end, by the core's ride.

use crate::landing::{Landing, Part};
use crate::meet::Meet;
use landfall_core::air::STANDARD_GRAVITY_MPS2;
use landfall_core::inputs::{Inputs, Uncertain};
use landfall_core::path::{Path, Section};
use landfall_core::ride::{RideInput, Slope, Steps, ride};
use landfall_core::run::Setup;
use serde::Serialize;

/// How a run rolls on after its landing.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct After {
    /// Speed at the roll-out's end; 0 for one that comes to rest before it.
    pub end_mps: f64,
    /// Highest load in the transition, in g, standing still being 1; none where no transition is ridden.
    pub peak_load_g: Option<f64>,
}

/// Shortest straight that the ride takes.
const SHORTEST_M: f64 = 0.01;

/// Rides on from a contact on slope, transition or roll-out; none from the deck and from beyond, and where the transition is
/// narrower than a rider.
///
/// What goes into the surface is taken to be lost, all along it kept (*assumed*).
#[must_use]
pub fn ride_on(landing: &Landing, meet: &Meet, setup: &Setup, inputs: &Inputs<f32>) -> Option<After> {
    let level = Section::Straight { length_m: 0.0, slope_rad: None };
    let straight = |length_m: f64, slope_rad: f64| Section::Straight {
        length_m: length_m.max(SHORTEST_M) as f32,
        slope_rad: Some(slope_rad as f32),
    };
    let turn = |turn_rad: f64| Section::Arc { radius_m: landing.radius_m as f32, turn_rad: turn_rad as f32 };
    let mut sections = [level; 3];
    let used = match meet.part {
        Part::Slope => {
            let done_m = (meet.x_m - landing.knuckle_m.0) / landing.slope_rad.cos();
            sections = [
                straight(landing.slope_m - done_m, landing.slope_rad),
                turn(landing.slope_rad),
                straight(landing.run_out_m, 0.0),
            ];
            3
        }
        // The ride begins level on an arc, so a hair of a straight comes before it.
        Part::Transition if meet.surface_rad > 1e-3 => {
            sections =
                [straight(SHORTEST_M, meet.surface_rad), turn(meet.surface_rad), straight(landing.run_out_m, 0.0)];
            3
        }
        Part::Transition | Part::RollOut => {
            sections[0] = straight(landing.end_x_m() - meet.x_m, 0.0);
            1
        }
        Part::Front | Part::Deck | Part::Beyond => return None,
    };
    let mass_height_m = setup.takeoff().mass_height_m();
    let list = sections.get(..used)?;
    let drop_m = list.iter().fold((0.0_f64, 0.0_f64), |(drop, angle), section| match *section {
        Section::Straight { length_m, slope_rad } => {
            let down = slope_rad.map_or(angle, f64::from);
            (drop + f64::from(length_m) * down.sin(), down)
        }
        Section::Arc { radius_m, turn_rad } => {
            let after = angle - f64::from(turn_rad);
            (drop + f64::from(radius_m) * (after.cos() - angle.cos()), after)
        }
    });
    let path = Path::from_sections(list, drop_m.0 as f32, mass_height_m).ok()?;
    let slope = Slope {
        path: &path,
        takeoff: setup.takeoff(),
        density_kgpm3: setup.density_kgpm3(),
        mass_kg: setup.mass_kg(),
        rotating_kg: setup.rotating_kg(),
    };
    let input = RideInput {
        start_height_m: path.start_height_m(),
        push_off_mps: meet.along_mps as f32,
        rolling_resistance: inputs.get(Uncertain::RollingResistance),
        drag_area_m2: inputs.get(Uncertain::DragAreaRolling),
        head_wind_mps: -inputs.get(Uncertain::WindAlong),
        carry: inputs.get(Uncertain::Carry),
    };
    let path_radius_m = landing.radius_m as f32 - mass_height_m;
    let (mut end_m2ps2, mut peak_mps2) = (0.0_f32, f32::NEG_INFINITY);
    ride::<f32, false>(&slope, &input, &Steps::FINE, |point| {
        // The take-off that the ride goes on to is none of this landing's.
        if point.before_foot_m >= -1e-6 {
            end_m2ps2 = point.energy_m2ps2;
            if (point.curvature_pm * path_radius_m - 1.0).abs() < 1e-4 {
                peak_mps2 = peak_mps2.max(point.load_mps2);
            }
        }
    });
    let has_arc = list.iter().any(|section| matches!(section, Section::Arc { .. }));
    let peak_load_g = (has_arc && peak_mps2.is_finite()).then(|| f64::from(peak_mps2 / STANDARD_GRAVITY_MPS2));
    Some(After { end_mps: f64::from(end_m2ps2.max(0.0)).sqrt(), peak_load_g })
}
