//! Searches over the sampling: the band of gaps, hold winds, lowest and highest start.
//!
//! Every trial draws the same runs (the same seed), so that the share of misses changes smoothly with
//! what is varied.

use super::PlanError;
use super::model::Model;
use crate::sampling::{Job, Sampled, Stop, sample};
use landfall_core::bag::Outcome;
use landfall_core::inputs::{Uncertain, Uncertainty};
use landfall_core::ride::Steps;

/// Runs of the first look at a trial; the rest are flown only where it does not decide.
const FIRST_LOOK: u64 = 8_192;

/// How a sampling is done.
#[derive(Clone, Copy, Debug)]
pub struct Draws<'a> {
    /// Runs.
    pub samples: u64,
    /// Seed.
    pub seed: u64,
    /// Flag to stop.
    pub stop: &'a Stop,
}

/// What counts as a failure in a search.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Failure {
    /// Not on the landing field.
    Miss,
    /// Short of the bag or not landed.
    Short,
}

impl Failure {
    fn count(self, sampled: &Sampled) -> u64 {
        match self {
            Self::Miss => sampled.misses(),
            Self::Short => [Outcome::Short, Outcome::Front, Outcome::Stall, Outcome::LeavesSurface]
                .iter()
                .map(|outcome| sampled.count(*outcome))
                .sum(),
        }
    }
}

/// A question put to the sampling again and again, with other inputs.
pub struct Question<'a> {
    /// The riders and the set-up.
    pub model: &'a Model,
    /// How runs are drawn.
    pub draws: Draws<'a>,
    /// Steps of each run.
    pub steps: Steps,
    /// What counts.
    pub failure: Failure,
    /// Share that is not to be passed.
    pub target: f64,
}

impl Question<'_> {
    fn failures(&self, rider: usize, uncertainty: &Uncertainty, first: u64, samples: u64) -> Result<u64, PlanError> {
        let job = Job {
            setup: &self.model.setups[rider],
            uncertainty,
            steps: self.steps,
            samples,
            first,
            seed: self.draws.seed,
            bounds: None,
            gaps_to_m: None,
        };
        let sampled = sample(&job, self.draws.stop).ok_or(PlanError::Stopped)?;
        Ok(self.failure.count(&sampled))
    }

    /// The largest share of failures of the three riders, over the first `samples` runs.
    pub fn share(&self, uncertainty: &Uncertainty, samples: u64) -> Result<f64, PlanError> {
        let mut most = 0;
        for rider in self.model.distinct() {
            most = most.max(self.failures(rider, uncertainty, 0, samples)?);
        }
        Ok(most as f64 / samples as f64)
    }

    /// Whether the share of failures of one of the riders passes the target. A first look decides
    /// where it is further from the target than six standard errors.
    pub fn passes(&self, uncertainty: &Uncertainty) -> Result<bool, PlanError> {
        let all = self.draws.samples;
        for rider in self.model.distinct() {
            let first = FIRST_LOOK.min(all);
            let seen = self.failures(rider, uncertainty, 0, first)?;
            let expected = self.target * first as f64;
            let margin = 6.0 * expected.max(1.0).sqrt();
            let failures = if (seen as f64 - expected).abs() > margin {
                if seen as f64 > expected {
                    return Ok(true);
                }
                continue;
            } else {
                seen + self.failures(rider, uncertainty, first, all - first)?
            };
            if failures as f64 > self.target * all as f64 {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Between a value that does not pass the target and one that does, the last that does not, to `tolerance`.
    pub fn border(
        &self,
        which: Uncertain,
        base: &Uncertainty,
        (mut kept, mut passed): (f32, f32),
        tolerance: f32,
    ) -> Result<f32, PlanError> {
        while (passed - kept).abs() > tolerance {
            let middle = 0.5 * (kept + passed);
            if self.passes(&moved(base, which, middle))? {
                passed = middle;
            } else {
                kept = middle;
            }
        }
        Ok(kept)
    }
}

/// The same uncertainties about another site value of one input.
pub fn moved(base: &Uncertainty, which: Uncertain, value: f32) -> Uncertainty {
    let mut other = *base;
    other.mean[which as usize] = value;
    other
}

/// The share of misses over the gap, one value a bin.
#[derive(Clone, Debug)]
pub struct MissOverGap {
    /// Gap of the first value.
    pub first_m: f64,
    /// From one value to the next.
    pub step_m: f64,
    /// The largest share of the three riders at each gap.
    pub share: Vec<f64>,
}

/// The gaps at which the share of misses keeps to a target.
#[derive(Clone, Copy, Debug)]
pub struct Band {
    /// Smallest and largest gap; none where no gap keeps the target.
    pub gaps_m: Option<(f64, f64)>,
    /// The smallest share, and the middle of the gaps that have it.
    pub least: (f64, f64),
}

impl MissOverGap {
    /// From the riders' gap windows.
    pub fn new(riders: &[&Sampled]) -> Option<Self> {
        let mut share: Vec<f64> = Vec::new();
        let (mut first_m, mut step_m) = (0.0, 1.0);
        for sampled in riders {
            let [lows, highs] = sampled.windows.as_ref()?;
            let begun: Vec<(f64, u64)> = lows.cumulative().collect();
            let ended: Vec<(f64, u64)> = highs.cumulative().collect();
            first_m = begun.first()?.0;
            step_m = begun.get(1)?.0 - first_m;
            // At the upper bound of bin i: begun at or before it, ended before it.
            let runs = sampled.runs as f64;
            let misses = begun.iter().enumerate().map(|(i, (_, begun))| {
                let over = if i == 0 { 0 } else { ended.get(i - 1).map_or(0, |(_, count)| *count) };
                1.0 - (*begun as f64 - over as f64).max(0.0) / runs
            });
            if share.is_empty() {
                share = misses.collect();
            } else {
                share.iter_mut().zip(misses).for_each(|(a, b)| *a = a.max(b));
            }
        }
        Some(Self { first_m, step_m, share })
    }

    /// The share at a gap.
    pub fn at(&self, gap_m: f64) -> f64 {
        let bin = ((gap_m - self.first_m) / self.step_m).round().max(0.0) as usize;
        self.share.get(bin.min(self.share.len().saturating_sub(1))).copied().unwrap_or(1.0)
    }

    /// The band about the gap of least misses.
    pub fn band(&self, target: f64) -> Band {
        let gap = |bin: usize| (self.first_m + bin as f64 * self.step_m).max(0.0);
        // The last bin holds what lies beyond the list.
        let inner = &self.share[..self.share.len().saturating_sub(1)];
        let least = inner.iter().copied().fold(f64::INFINITY, f64::min);
        let first = inner.iter().position(|share| *share <= least).unwrap_or(0);
        let flat = inner[first..].iter().take_while(|share| **share <= least).count().max(1);
        let middle = first + (flat - 1) / 2;
        if least > target {
            return Band { gaps_m: None, least: (least, gap(middle)) };
        }
        let mut low = middle;
        while low > 0 && inner[low - 1] <= target {
            low -= 1;
        }
        let mut high = middle;
        while high + 1 < inner.len() && inner[high + 1] <= target {
            high += 1;
        }
        Band { gaps_m: Some((gap(low), gap(high))), least: (least, gap(middle)) }
    }
}
