//! One run, from the start to the bag: how fast at the lip, how long in the air, where it comes down and how hard.
//!
//! `cargo run --package landfall-core --example one_run`
#![allow(clippy::print_stdout)] // what an example is for

use landfall_core::bag::BagInput;
use landfall_core::{Bag, COUNT, InputError, Inputs, Path, Setup, Steps, TakeOff, Uncertain};

/// An invented set-up: 30 degrees down from 5.5 m, a kicker of 2 m, a bag 12 m long.
pub fn setup() -> Result<Setup, InputError> {
    let mass_height_m = 1.0;
    let path = Path::simple(5.5, 30.0_f32.to_radians(), 6.0, 4.0, mass_height_m)?;
    let takeoff = TakeOff::new(2.0, 5.0, 1.1, mass_height_m)?;
    let bag = Bag::new(BagInput {
        length_m: 12.0,
        width_m: 9.0,
        front_height_m: 1.8,
        back_height_m: 2.6,
        gap_m: 2.0,
        offset_m: 0.0,
        base_level_m: 0.0,
        edge_front_m: 1.5,
        edge_back_m: 1.5,
        edge_side_m: 1.2,
    })?;
    // Air of 1.2 kg/m³; rider and bike 90 kg, of which 3 kg turn.
    Setup::new(path, takeoff, bag, 1.2, 90.0, 3.0)
}

/// Its inputs: all that is not named is 0.
pub fn inputs() -> Inputs<f32> {
    Inputs([0.0_f32; COUNT])
        .with(Uncertain::StartHeight, 5.5)
        .with(Uncertain::RollingResistance, 0.012)
        .with(Uncertain::DragAreaRolling, 0.45)
        .with(Uncertain::DragAreaFlying, 0.55)
        .with(Uncertain::Carry, 0.5)
        .with(Uncertain::ContactHeight, 0.7)
}

/// Runs it.
pub fn main() -> Result<(), InputError> {
    let setup = setup()?;
    let run = setup.run(&inputs(), &Steps::FINE);
    println!("at the lip    {:.2} m/s", run.ride_speed_mps);
    println!("in the air    {:.2} s", run.airtime_s);
    println!("comes down    {:.2} m behind the bag's front edge: {}", run.along_m, run.outcome(setup.bag(), 0).name());
    println!("into the top  {:.2} m/s", run.normal_mps);
    assert!(run.landed(), "this one comes down on the bag's plane");
    Ok(())
}
