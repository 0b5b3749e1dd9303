//! Invented measurements for the embedded invented site: computed runs with drawn scatter, no real rider.

/// Runs of a first day, one of them left out.
pub const RUNS: &str = include_str!("demo_runs.csv");

/// Runs of a wet morning.
pub const TODAY: &str = include_str!("demo_today.csv");

/// Loaded deflations, of water canisters and of sand bags: a bag of an invented law with the errors of a filmed gauge.
pub const LOADED: [&str; 2] = [include_str!("demo_water.csv"), include_str!("demo_sand.csv")];

/// Their masses with the board, kg.
pub const LOADED_KG: [f64; 2] = [84.0, 196.0];

/// The fall of the pressure with the blowers off and nobody on the bag.
pub const DEFLATION: &str = include_str!("demo_deflation.csv");

/// What the gauge showed with the blowers on, Pa.
pub const SETTLED_PA: f64 = 1_290.0;
