//! A spread: where landings fall when starts, pops and postures differ from run to run, and what of it comes from where.
//!
//! `cargo run --package landfall-core --example spread`
#![allow(clippy::print_stdout)] // what an example is for

use landfall_core::{COUNT, InputError, Steps, Uncertain, Uncertainty, differences};

#[path = "one_run.rs"]
#[allow(dead_code)] // its main
mod one_run;

/// Runs it.
pub fn main() -> Result<(), InputError> {
    let setup = one_run::setup()?;
    let mut sd = [0.0_f32; COUNT];
    for (which, one) in [
        (Uncertain::StartHeight, 0.05),
        (Uncertain::LipSpeed, 0.15),
        (Uncertain::Pop, 0.25),
        (Uncertain::Yaw, 0.03),
        (Uncertain::ContactHeight, 0.15),
    ] {
        sd[which as usize] = one;
    }
    let uncertainty = Uncertainty::new(one_run::inputs().0, sd, setup.path().lowest_start_m(), 1.0)?;
    // 27 runs; none where one of them does not come down on the bag's plane.
    let Some(found) = differences(&setup, &uncertainty, &Steps::FINE) else {
        println!("a run of the set does not come down on the bag's plane");
        return Ok(());
    };
    println!("along   {:.2} m, standard deviation {:.2} m", found.mean_along_m, found.sd_along_m);
    println!("across  {:.2} m, standard deviation {:.2} m", found.mean_across_m, found.sd_across_m);
    for which in Uncertain::ALL {
        let share = found.shares_along[which as usize];
        if share > 0.01 {
            println!("        {:.0} % of it along from {}", 100.0 * share, which.name());
        }
    }
    let whole: f32 = found.shares_along.iter().sum();
    assert!((whole - 1.0).abs() < 1e-3, "the shares make up the whole");
    Ok(())
}
