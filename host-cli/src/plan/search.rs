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
    /// Beyond the bag.
    Long,
}

impl Failure {
    fn count(self, sampled: &Sampled) -> u64 {
        match self {
            Self::Miss => sampled.misses(),
            Self::Short => [Outcome::Short, Outcome::Front, Outcome::Stall, Outcome::LeavesSurface]
                .iter()
                .map(|outcome| sampled.count(*outcome))
                .sum(),
            Self::Long => sampled.count(Outcome::Long),
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

    /// Whether the share of failures of one of the riders passes the target. Looks at ever
    /// more runs decide where they are further from the target than five standard errors.
    pub fn passes(&self, uncertainty: &Uncertainty) -> Result<bool, PlanError> {
        let all = self.draws.samples;
        for rider in self.model.distinct() {
            let (mut done, mut seen) = (0, 0);
            let mut look = FIRST_LOOK;
            let passed = loop {
                let next = look.min(all);
                seen += self.failures(rider, uncertainty, done, next - done)?;
                done = next;
                let expected = self.target * done as f64;
                let off = seen as f64 - expected;
                if done == all || off.abs() > 5.0 * expected.max(1.0).sqrt() {
                    break off > 0.0;
                }
                look *= 4;
            };
            if passed {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Failures over the target's number, as a logarithm, over all runs of one rider.
    fn excess(&self, rider: usize, uncertainty: &Uncertainty) -> Result<f64, PlanError> {
        let failures = self.failures(rider, uncertainty, 0, self.draws.samples)?;
        Ok(libm::log((failures as f64 + 0.5) / (self.target * self.draws.samples as f64 + 0.5)))
    }

    /// Between a value that does not pass the target and one that does, the last that does not, to `tolerance`.
    ///
    /// A few runs narrow it down; all runs of the rider that fails most then close in along the logarithm of the
    /// share, which is close to straight; the others are asked at the end.
    pub fn border(
        &self,
        which: Uncertain,
        base: &Uncertainty,
        (kept, passed): (f32, f32),
        tolerance: f32,
    ) -> Result<f32, PlanError> {
        let riders = self.model.distinct();
        let few = FIRST_LOOK.min(self.draws.samples);
        let (mut near, mut far, mut worst) = (kept, passed, riders[0]);
        while (far - near).abs() > 16.0 * tolerance {
            let middle = 0.5 * (near + far);
            let mut most = (0, worst);
            for rider in &riders {
                most = most.max((self.failures(*rider, &moved(base, which, middle), 0, few)?, *rider));
            }
            if most.0 as f64 > self.target * few as f64 {
                (far, worst) = (middle, most.1);
            } else {
                near = middle;
            }
        }
        let (mut low, mut high) = ((kept, None), (passed, None));
        let mut at = 0.5 * (near + far);
        for _ in 0..7 {
            let excess = self.excess(worst, &moved(base, which, at))?;
            if excess > 0.0 {
                high = (at, Some(excess));
            } else {
                low = (at, Some(excess));
            }
            if (high.0 - low.0).abs() <= tolerance {
                break;
            }
            let reach = (far - near).abs().max(2.0 * tolerance) * (passed - kept).signum();
            at = match (low.1, high.1) {
                (Some(below), Some(above)) => {
                    // A step past the straight line's root closes the bracket from the other side.
                    let root = low.0 + (high.0 - low.0) * (-below / (above - below)) as f32;
                    let nudge = 0.45 * tolerance * (passed - kept).signum();
                    let next = if excess > 0.0 { root - nudge } else { root + nudge };
                    if (next - low.0) * (next - high.0) < 0.0 { next } else { 0.5 * (low.0 + high.0) }
                }
                (Some(_), None) => low.0 + reach,
                _ => high.0 - reach,
            };
            if (at - kept) * (at - passed) > 0.0 {
                at = 0.5 * (low.0 + high.0);
            }
        }
        for rider in riders.into_iter().filter(|rider| *rider != worst) {
            if self.excess(rider, &moved(base, which, low.0))? > 0.0 {
                // Another rider fails sooner after all: halving, with all of them.
                return self.halve(which, base, (kept, low.0), tolerance);
            }
        }
        Ok(low.0)
    }

    fn halve(
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
        // The first bin is empty: windows that begin at or before the lip are counted in the one behind it.
        let bin = ((gap_m - self.first_m) / self.step_m).round().max(1.0) as usize;
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
        // A window that begins at or before the lip is counted in the first bin.
        let low_m = if low <= 1 { 0.0 } else { gap(low) };
        Band { gaps_m: Some((low_m, gap(high))), least: (least, gap(middle)) }
    }
}
