//! Invented measurements for the embedded invented site: computed runs with drawn scatter, no real rider.

/// Runs of a first day, one of them left out.
pub const RUNS: &str = include_str!("demo_runs.csv");

/// Runs of a wet morning.
pub const TODAY: &str = include_str!("demo_today.csv");

/// Drops of a sandbag.
pub const DROPS: &str = include_str!("demo_drops.csv");

/// The fall of the pressure with the blowers off.
pub const DEFLATION: &str = include_str!("demo_deflation.csv");
