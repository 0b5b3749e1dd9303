//! Which further measurement would tell most about where the mean run lands.

use nalgebra::DVector;
use serde::Serialize;

use super::forward::{Base, Quantity, Trial};
use super::frames::FrameTime;
use super::runs::Method;
use super::solve::{Solved, columns, is_used, scatter};

/// How many further runs are thought of.
pub const MORE_RUNS: u32 = 5;

/// A measurement that could be made next.
#[derive(Clone, Debug, Serialize)]
pub struct Candidate {
    /// What would be measured, in words.
    pub what: String,
    /// Standard deviation of the mean landing point after [`MORE_RUNS`] more runs measured so, m.
    pub not_known_m: f64,
}

/// The candidates, the most telling first.
///
/// With the landing's slope g and the posterior Σ, n runs whose quantity has slope j and variance c (scatter and
/// measurement) leave gᵀΣg − n (gᵀΣj)² / (c + n jᵀΣj).
#[must_use]
pub fn candidates(base: &Base, solved: &Solved, slope: &DVector<f64>) -> Option<Vec<Candidate>> {
    let frame_sd_s = |rate: f64| FrameTime::new(1.0, rate).sd_s;
    let split = Quantity::Split { from_m: None, to_m: 0.0 };
    let list = [
        ("time from the start to the take-off's foot, video at 60 frames a second", split, frame_sd_s(60.0)),
        ("lip speed by radar", Quantity::LipSpeed(Method::Radar), Method::Radar.sd_mps()),
        ("lip speed by video", Quantity::LipSpeed(Method::Video), Method::Video.sd_mps()),
        ("air time, video at 60 frames a second", Quantity::AirTime, frame_sd_s(60.0)),
        ("air time, video at 240 frames a second", Quantity::AirTime, frame_sd_s(240.0)),
        ("landing point by tape", Quantity::Along, 0.1),
    ];
    let trial = Trial {
        label: String::new(),
        rider: None,
        setup: base.model.setups[0].clone(),
        inputs: base.mean,
        seen: Vec::new(),
    };
    let quantities: Vec<Quantity> = list.iter().map(|(_, quantity, _)| *quantity).collect();
    let (_, slopes) = trial.derivatives_of(&quantities, base, &solved.mean_shift(), is_used)?;
    let (fixed, groups) = scatter(base, &slopes);
    let of_parameters = columns(&slopes, &solved.free);
    let known = &solved.posterior.covariance * slope;
    let now = slope.dot(&known);
    let runs = f64::from(MORE_RUNS);
    let mut out: Vec<Candidate> = list
        .iter()
        .enumerate()
        .map(|(i, (what, _, sd))| {
            let j = of_parameters.row(i).transpose();
            let scaled = groups.iter().zip(&solved.posterior.scale_rms).map(|(group, rms)| group[(i, i)] * rms * rms);
            let variance = sd * sd + fixed[(i, i)] + scaled.sum::<f64>();
            let shared = known.dot(&j);
            let of_j = j.dot(&(&solved.posterior.covariance * &j));
            let left = now - runs * shared * shared / (variance + runs * of_j);
            Candidate { what: (*what).to_owned(), not_known_m: left.max(0.0).sqrt() }
        })
        .collect();
    out.sort_by(|a, b| a.not_known_m.total_cmp(&b.not_known_m));
    Some(out)
}
