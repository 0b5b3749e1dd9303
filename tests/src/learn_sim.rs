//! Invented runs: the model with drawn parameters, drawn scatter and drawn errors of measurement.

use landfall_core::inputs::{COUNT, Uncertain};
use landfall_learn::forward::{Base, Quantity, Seen, Shift, Trial};
use landfall_learn::frames::FrameTime;
use landfall_learn::linear::LOG_SCALE_SD;
use landfall_learn::solve::{FITTED, GROUPS, STEADY};
use rand::{Rng, RngExt};
use rand_distr::StandardNormal;

/// What a simulated day has.
#[derive(Clone, Debug)]
pub struct Day {
    /// What differs from the site's values in all runs.
    pub truth: Shift,
    /// Scale of each group's scatter.
    pub scales: Vec<f64>,
    /// The runs with their measurements.
    pub trials: Vec<Trial>,
}

/// A standard normal number.
pub fn normal(rng: &mut impl Rng) -> f64 {
    rng.sample(StandardNormal)
}

/// A measured value: frames are counted at their rate, all else has a normal error.
fn measure(rng: &mut impl Rng, exact: f64, sd: f64, rate_hz: Option<f64>) -> f64 {
    let Some(rate_hz) = rate_hz else { return exact + sd * normal(rng) };
    let start: f64 = rng.random();
    let frames = (start + exact * rate_hz).ceil() - start.ceil();
    FrameTime::new(frames, rate_hz).time_s
}

/// What is measured of each run: quantity, standard deviation, frame rate of counted ones.
pub type Plan = [(Quantity, f64, Option<f64>)];

/// Everything is drawn as the fit assumes it: parameters and scales from their priors, then runs and measurements.
/// Nothing where a run does not come down.
pub fn day(rng: &mut impl Rng, base: &Base, starts_m: &[f64], plan: &Plan) -> Option<Day> {
    let (truth, scales) = truth_and_scales(rng, base);
    let trials: Option<Vec<Trial>> = starts_m
        .iter()
        .enumerate()
        .map(|(number, start_m)| trial(rng, base, number, *start_m, &truth, &scales, plan))
        .collect();
    Some(Day { truth, scales, trials: trials? })
}

/// The same, as people would measure it: a run that does not come down is none of the table's, the others are.
pub fn day_of_landings(rng: &mut impl Rng, base: &Base, starts_m: &[f64], plan: &Plan) -> Day {
    let (truth, scales) = truth_and_scales(rng, base);
    let trials = starts_m
        .iter()
        .enumerate()
        .filter_map(|(number, start_m)| trial(rng, base, number, *start_m, &truth, &scales, plan))
        .collect();
    Day { truth, scales, trials }
}

fn truth_and_scales(rng: &mut impl Rng, base: &Base) -> (Shift, Vec<f64>) {
    let mut truth = [0.0; COUNT];
    for which in FITTED {
        truth[which as usize] = base.of(which).1 * normal(rng);
    }
    let scales = GROUPS.iter().map(|_| (LOG_SCALE_SD * normal(rng)).exp()).collect();
    (truth, scales)
}

/// One run at a truth and scales.
pub fn trial(
    rng: &mut impl Rng,
    base: &Base,
    number: usize,
    start_m: f64,
    truth: &Shift,
    scales: &[f64],
    plan: &Plan,
) -> Option<Trial> {
    let mut inputs = base.mean;
    inputs[Uncertain::StartHeight as usize] = start_m;
    let mut shift = *truth;
    for which in STEADY {
        shift[which as usize] += base.of(which).1 * normal(rng);
    }
    for ((_, group), scale) in GROUPS.iter().zip(scales) {
        for which in *group {
            shift[*which as usize] += scale * base.of(*which).1 * normal(rng);
        }
    }
    let setup = base.model.setups[0].clone();
    let mut trial = Trial { label: (number + 1).to_string(), rider: None, setup, inputs, seen: Vec::new() };
    let quantities: Vec<Quantity> = plan.iter().map(|(quantity, _, _)| *quantity).collect();
    let exact = trial.predict_of(&quantities, &base.model.uncertainty, &shift)?;
    trial.seen = plan
        .iter()
        .zip(exact.iter())
        .map(|((quantity, sd, rate_hz), exact)| Seen {
            quantity: *quantity,
            value: measure(rng, *exact, *sd, *rate_hz),
            sd: *sd,
        })
        .collect();
    Some(trial)
}
