//! What the sampler gives for the reference sites, as bits, with one run in a register and with as many as go in.
//!
//! The same sites are computed on this machine, by a test, and on an emulated 64-bit Arm; `run.sh` compares the two.

use landfall_agree::{SITES, runs};
use landfall_core::ride::Steps;
use landfall_sampling::{Job, Sampled, Stop, sample_over};

/// Runs of a site: not a whole number of blocks.
const RUNS: u64 = 4_097;

fn bits(sampled: &Sampled) -> String {
    // What no run gives is not a number, and that has no sign to speak of.
    let bits = |value: f64| if value.is_nan() { u64::MAX } else { value.to_bits() };
    let [along, across, normal] = sampled.mean.map(bits);
    let [sd_along, sd_across, sd_normal] = sampled.sd.map(bits);
    format!(
        "{:?} {along:016x} {across:016x} {normal:016x} {sd_along:016x} {sd_across:016x} {sd_normal:016x} {:016x}",
        sampled.outcomes,
        bits(sampled.covariance_m2)
    )
}

/// A line for each site, then one that counts them.
///
/// # Errors
/// Where a site is refused, or registers of different widths give different bits.
pub fn lines() -> Result<Vec<String>, String> {
    let mut lines = Vec::new();
    let steps = Steps { start: 3, straight: 3, arc: 4, takeoff: 4, lip: 1, flight: 3, front: 1 };
    for site in SITES {
        let mass_kg = site.masses_kg.first().copied().unwrap_or(78.0);
        let (setup, uncertainty) = runs(site, mass_kg).map_err(|e| format!("{}: {e}", site.name))?;
        let job = Job {
            setup: &setup,
            uncertainty: &uncertainty,
            steps,
            samples: RUNS,
            first: 0,
            seed: 7,
            bounds: Some([[-20.0, 40.0], [-10.0, 10.0], [0.0, 20.0]]),
            gaps_to_m: Some(10.0),
        };
        let mut found = Vec::new();
        for lanes in [1, 4, u32::MAX] {
            let sampled = sample_over(&job, &Stop::default(), lanes).ok_or("stopped")?;
            found.push(bits(&sampled));
        }
        if found.windows(2).any(|pair| pair[0] != pair[1]) {
            return Err(format!("{}: the registers differ: {found:#?}", site.name));
        }
        lines.push(format!("{} {}", site.name, found[0]));
    }
    lines.push(format!(
        "{} sites, {RUNS} runs each, with 1, 4 and as many runs in a register as this processor has",
        SITES.len()
    ));
    Ok(lines)
}
