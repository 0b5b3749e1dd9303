//! A touch-down: how deep a body goes into the bag, at which load, and whether it meets the ground.
//!
//! `cargo run --package landfall-core --example touch_down`
#![allow(clippy::print_stdout)] // what an example is for

use landfall_core::bag_gas::{Adiabat, Chamber, QUICK_EXPONENT};
use landfall_core::openings::{Openings, OpeningsInput};
use landfall_core::supply::{Feed, Flows};
use landfall_core::touchdown::{LandingInput, Options};
use landfall_core::{Air, ForceArea, InputError, Landing, touch_down};

/// Runs it.
pub fn main() -> Result<(), InputError> {
    // An invented bag of 180 m³ at 1.2 kPa, its blowers off, 200 cm² of vents.
    let air = Air::new(400.0, 288.15, None)?;
    let chamber = Chamber::new(&air, 180.0, 1_200.0, 3e-5, 0.65)?;
    let openings = Openings::new(OpeningsInput { vent_area_m2: 0.02, ..OpeningsInput::default() }, &air)?;
    let flows = Flows { openings: &openings, blowers: None, feed: Feed::Lost };
    let landing = Landing::new(LandingInput {
        mass_kg: 90.0,
        normal_speed_mps: 7.5,
        slope_rad: 0.07,
        skin_loss: 0.65,
        area: ForceArea::assumed(0.5, 6.0, 4.0)?,
        thickness_m: Some(2.2),
    })?;
    for gauge_pa in [1_200.0, 600.0, 200.0] {
        let gas = Adiabat::new(&chamber, chamber.at_pressure(gauge_pa), QUICK_EXPONENT)?;
        let done = touch_down(&gas, &flows, &landing, &Options::default(), |_| {});
        match done.ground {
            None => println!("{gauge_pa:5.0} Pa: {:.2} m deep, {:.1} g", done.depth_m, done.felt_load_g),
            Some(ground) => println!("{gauge_pa:5.0} Pa: meets the ground at {:.1} m/s", ground.speed_mps),
        }
    }
    Ok(())
}
