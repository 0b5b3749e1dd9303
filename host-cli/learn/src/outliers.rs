//! Runs that do not go with the others: each is predicted from all others and compared.

use nalgebra::DVector;
use rayon::prelude::*;
use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::forward::Trial;
use super::linear::{Block, Given};
use super::solve::Solved;
use landfall_plan::plan::words::number;

/// Chance that any run of a table is named although all are alike (*assumed*).
const FALSE_ALARM: f64 = 0.01;

/// A run that does not go with the others, with the evidence.
#[derive(Clone, Debug, Serialize)]
pub struct Outlier {
    /// The run.
    pub run: String,
    /// Chance that a run like the others is as far off.
    pub chance: f64,
    /// The quantity that is furthest off.
    pub quantity: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// As measured.
    pub measured: f64,
    /// By the other runs.
    pub expected: f64,
    /// Standard deviation of the difference.
    pub sd: f64,
}

/// Below this a chance says no more than that it is small: the scatter's tails were never seen.
const RAREST: f64 = 1e-5;

impl Outlier {
    /// How often a run like the others is as far off, in words.
    #[must_use]
    pub fn how_often(&self) -> String {
        if self.chance < RAREST {
            return "in fewer than 1 of 100,000 runs, as far as the scatter found here goes".to_owned();
        }
        let (of, digits) = (1.0 / self.chance, 10f64.powf((1.0 / self.chance).log10().floor() - 1.0));
        format!("in about 1 of {} runs", number((of / digits).round() * digits, 0))
    }
}

/// So many of the runs that are furthest off are looked at closely, so that a long table takes as long as its runs, not
/// their square.
const CLOSELY: usize = 32;

/// The runs whose distance from what the others predict (d² = δᵀ S⁻¹ δ, chi-square with as many degrees of freedom as
/// quantities were measured) has a chance under 1 % shared among all runs. S holds measurement, scatter and what the
/// others leave unknown; the scatter's scale is found without the run, with its own uncertainty added. Of more than 32
/// runs those are looked at that are furthest off by the scale of all. Up to 8 runs the evidence of one against the rest
/// is thin, and few are named.
#[must_use]
pub fn outliers(trials: &[Trial], solved: &Solved) -> Vec<Outlier> {
    if trials.len() < 4 {
        return Vec::new();
    }
    let limit = FALSE_ALARM / trials.len() as f64;
    furthest(solved).into_par_iter().filter_map(|run| against_rest(trials, solved, run, limit)).collect()
}

/// The runs to look at, in the table's order.
fn furthest(solved: &Solved) -> Vec<usize> {
    let blocks = &solved.linear.blocks;
    if blocks.len() <= CLOSELY {
        return (0..blocks.len()).collect();
    }
    let scales: Vec<f64> = solved.log_scales.iter().map(|log| log.exp()).collect();
    let chance = |block: &Block, given: &Given| distance(block, given, &scales).map(|distance| distance.chance);
    let rest = solved.linear.each_left_out(&solved.log_scales).unwrap_or_default();
    // One whose chance cannot be told is looked at.
    let mut runs: Vec<(usize, f64)> = (0..)
        .zip(blocks.iter().zip(&rest))
        .map(|(run, (block, given))| (run, given.as_ref().and_then(|given| chance(block, given)).unwrap_or(-1.0)))
        .collect();
    runs.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut runs: Vec<usize> = runs.into_iter().take(CLOSELY).map(|(run, _)| run).collect();
    runs.sort_unstable();
    runs
}

/// How far a run is from what the others predict.
struct Distance {
    off: DVector<f64>,
    sds: Vec<f64>,
    chance: f64,
}

fn distance(block: &Block, given: &Given, scales: &[f64]) -> Option<Distance> {
    let off = &block.residual - &block.slopes * &given.mean;
    let covariance = block.covariance(scales) + &block.slopes * &given.covariance * block.slopes.transpose();
    let sds = covariance.diagonal().iter().map(|variance| variance.sqrt()).collect();
    let square = off.dot(&covariance.cholesky()?.solve(&off));
    let chance = ChiSquared::new(off.len() as f64).ok()?.sf(square);
    Some(Distance { off, sds, chance })
}

fn against_rest(trials: &[Trial], solved: &Solved, run: usize, limit: f64) -> Option<Outlier> {
    let trial = trials.get(run)?;
    let block = solved.linear.blocks.get(run)?;
    let (mode, curvature) = solved.linear.most_probable(&solved.log_scales, Some(run))?;
    let given = solved.linear.given(&mode, Some(run))?;
    let spread = curvature.try_inverse()?;
    // Root mean square of a log-normal scale.
    let scales: Vec<f64> =
        mode.iter().zip(spread.diagonal().iter()).map(|(log, variance)| (log + variance).exp()).collect();
    let Distance { off, sds, chance } = distance(block, &given, &scales)?;
    if !(chance < limit) {
        return None;
    }
    let furthest =
        off.iter().zip(&sds).map(|(off, sd)| off.abs() / sd).enumerate().max_by(|a, b| a.1.total_cmp(&b.1))?.0;
    let (seen, left, sd) = (trial.seen.get(furthest)?, off.get(furthest)?, sds.get(furthest)?);
    Some(Outlier {
        run: trial.label.clone(),
        chance,
        quantity: seen.quantity.words(),
        unit: seen.quantity.unit(),
        measured: seen.value,
        expected: seen.value - left,
        sd: *sd,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chance_is_not_printed_with_sixty_digits() {
        let outlier = |chance| Outlier {
            run: "7".to_owned(),
            chance,
            quantity: "air time",
            unit: "s",
            measured: 1.0,
            expected: 2.0,
            sd: 0.1,
        };
        assert_eq!(outlier(1.0 / 2340.0).how_often(), "in about 1 of 2,300 runs");
        for chance in [0.0, 1e-300, 1e-60, 9.9e-6] {
            let said = outlier(chance).how_often();
            assert!(said.starts_with("in fewer than 1 of 100,000 runs") && said.len() < 80, "{said}");
        }
    }
}
