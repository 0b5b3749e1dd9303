//! Searches over the sampling: the band of gaps, hold winds, lowest and highest start.
//!
//! Every trial of a search flies the same [`SEARCH_RUNS`] runs (the same random numbers), whatever number of samples was
//! asked for, so that the share of failures changes smoothly with what is varied. Close to a border a search flies all of
//! them at two values only; between these it flies those again that failed at one of the two. What chance does to a border
//! is told with it: half the way between the places where one standard deviation of the number of failures fewer and more
//! fail.
//!
//! # Settled here
//! - **Lowest clearing start**: the lowest that the first sloping straight can make, where even that clears; else the
//!   first border above it, in steps of 3 %: a ride that leaves its surface higher up does not hide it.
//! - **Searches** (start heights, hold winds) fly 131,072 runs with the same random numbers at every trial, whatever
//!   `spread.samples` is; gap windows are those of at most the first 524,288 samples. Hold winds come with the
//!   standard error that this number leaves; a site and its mirror image are searched as the same one.
//! - **Highest start in a gust**: the highest anywhere, also above a range of starts that fail.

use super::PlanError;
use super::model::Model;
use landfall_core::bag::Outcome;
use landfall_core::inputs::{Uncertain, Uncertainty};
use landfall_core::ride::Steps;
use landfall_sampling::{Fail, Job, Sampled, Stop, fails, sample, still};

/// Runs of a search for a border. At a target of 1 in 1,000 some 131 of them fail, which is known to 9 %.
pub const SEARCH_RUNS: u64 = 1 << 17;

/// Runs of the first look at a trial; more are flown only where it does not decide.
const FIRST_LOOK: u64 = 256;

/// Runs that narrow a border down.
const FEW: u64 = 8_192;

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
    fn counts(self, outcome: Outcome) -> bool {
        match self {
            Self::Miss => outcome != Outcome::On,
            Self::Short => {
                matches!(outcome, Outcome::Short | Outcome::Front | Outcome::Stall | Outcome::LeavesSurface)
            }
            Self::Long => outcome == Outcome::Long,
        }
    }

    fn count(self, sampled: &Sampled) -> u64 {
        Outcome::ALL.iter().filter(|outcome| self.counts(**outcome)).map(|outcome| sampled.count(*outcome)).sum()
    }
}

/// A question put to the sampling again and again, with other inputs.
#[derive(Clone, Copy)]
pub struct Question<'a> {
    /// The riders and the set-up.
    pub model: &'a Model,
    /// Seed and flag to stop; the number of runs is that of a search.
    pub draws: Draws<'a>,
    /// Steps of each run.
    pub steps: Steps,
    /// What counts.
    pub failure: Failure,
    /// Share that is not to be passed.
    pub target: f64,
}

/// Where the share of failures passes the target.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Border {
    /// The last value at which it does not.
    pub value: f32,
    /// Standard error of that, from the number of runs.
    pub error: f32,
}

/// What is varied in a search, from what, and how closely the border is wanted.
#[derive(Clone, Copy)]
struct Line<'a> {
    which: Uncertain,
    base: &'a Uncertainty,
    /// A value that does not pass the target, and one that does.
    kept: f32,
    passed: f32,
    tolerance: f32,
}

impl Question<'_> {
    fn job<'a>(&'a self, rider: usize, uncertainty: &'a Uncertainty, first: u64, samples: u64) -> Job<'a> {
        Job {
            setup: &self.model.setups[rider],
            uncertainty,
            steps: self.steps,
            samples,
            first,
            seed: self.draws.seed,
            bounds: None,
            gaps_to_m: None,
        }
    }

    fn failures(&self, rider: usize, uncertainty: &Uncertainty, first: u64, samples: u64) -> Result<u64, PlanError> {
        let job = self.job(rider, uncertainty, first, samples);
        let sampled = sample(&job, self.draws.stop).ok_or(PlanError::Stopped)?;
        Ok(self.failure.count(&sampled))
    }

    /// The largest share of failures of the three riders, over the first `samples` runs.
    pub fn share(&self, uncertainty: &Uncertainty, samples: u64) -> Result<f64, PlanError> {
        Ok(self.most(uncertainty, samples)?.0 as f64 / samples as f64)
    }

    /// The most failures of a rider in the first `samples` runs, and whose.
    fn most(&self, uncertainty: &Uncertainty, samples: u64) -> Result<(u64, usize), PlanError> {
        let mut most = (0, 0);
        for rider in self.model.distinct() {
            let failures = self.failures(rider, uncertainty, 0, samples)?;
            if failures > most.0 {
                most = (failures, rider);
            }
        }
        Ok(most)
    }

    /// Whether the share of failures of one of the riders passes the target.
    pub fn passes(&self, uncertainty: &Uncertainty) -> Result<bool, PlanError> {
        for rider in self.model.distinct() {
            if self.rider_passes(rider, uncertainty)? {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// The same for one rider. Looks at ever more runs decide where they are further from the target than five standard
    /// errors.
    fn rider_passes(&self, rider: usize, uncertainty: &Uncertainty) -> Result<bool, PlanError> {
        let (mut done, mut seen) = (0, 0);
        let mut look = FIRST_LOOK;
        loop {
            let next = look.min(SEARCH_RUNS);
            seen += self.failures(rider, uncertainty, done, next - done)?;
            done = next;
            let expected = self.target * done as f64;
            let off = seen as f64 - expected;
            if done == SEARCH_RUNS || off.abs() > 5.0 * expected.max(1.0).sqrt() {
                return Ok(off > 0.0);
            }
            look *= 4;
        }
    }

    /// Between a value that does not pass the target and one that does, the last that does not, to `tolerance`.
    ///
    /// A few runs narrow it down; all runs of the rider that fails most then give the border, and the others are asked
    /// there.
    pub fn border(
        &self,
        which: Uncertain,
        base: &Uncertainty,
        (kept, passed): (f32, f32),
        tolerance: f32,
    ) -> Result<Border, PlanError> {
        let line = Line { which, base, kept, passed, tolerance };
        let (mut near, mut far, mut worst) = (kept, passed, self.model.distinct()[0]);
        let mut at_far = None;
        while (far - near).abs() > 16.0 * tolerance {
            let middle = 0.5 * (near + far);
            let (most, rider) = self.most(&moved(base, which, middle), FEW)?;
            if most as f64 > self.target * FEW as f64 {
                (far, worst, at_far) = (middle, rider, Some(most));
            } else {
                near = middle;
            }
        }
        if at_far.is_none() {
            worst = self.most(&moved(base, which, far), FEW)?.1;
        }
        let mut border = self.rider_border(worst, &line, (near, far))?;
        for rider in self.model.distinct().into_iter().filter(|rider| *rider != worst) {
            if self.rider_passes(rider, &moved(base, which, border.value))? {
                let sooner = self.rider_border(rider, &line, (near, border.value))?;
                if (sooner.value - kept).abs() < (border.value - kept).abs() {
                    border = sooner;
                }
            }
        }
        Ok(border)
    }

    /// The border of one rider, which lies between `near` and `far` or close to them.
    fn rider_border(&self, rider: usize, line: &Line<'_>, (near, far): (f32, f32)) -> Result<Border, PlanError> {
        let at = |value: f32| moved(line.base, line.which, value);
        let all = |value: f32| -> Result<Vec<Fail>, PlanError> {
            let uncertainty = at(value);
            let job = self.job(rider, &uncertainty, 0, SEARCH_RUNS);
            fails(&job, |outcome| self.failure.counts(outcome), self.draws.stop).ok_or(PlanError::Stopped)
        };
        let wanted = self.target * SEARCH_RUNS as f64;
        let deviation = wanted.sqrt().max(1.0);
        // Ends between which the counts pass the target by a standard deviation to either side, if there are such.
        let (mut near, mut far) = (near, far);
        let mut reach = (far - near).abs().max(4.0 * line.tolerance) * (line.passed - line.kept).signum();
        let mut at_near = all(near)?;
        while at_near.len() as f64 > wanted - deviation && near != line.kept {
            let next = near - reach;
            near = if (next - line.kept) * reach > 0.0 { next } else { line.kept };
            reach *= 2.0;
            at_near = all(near)?;
        }
        reach = (far - near).abs().max(4.0 * line.tolerance) * (line.passed - line.kept).signum();
        let mut at_far = all(far)?;
        while (at_far.len() as f64) < wanted + deviation && far != line.passed {
            let next = far + reach;
            far = if (line.passed - next) * reach > 0.0 { next } else { line.passed };
            reach *= 2.0;
            at_far = all(far)?;
        }
        let mut candidates = at_near;
        candidates.extend(at_far);
        candidates.sort_unstable_by_key(|fail| fail.run);
        candidates.dedup_by_key(|fail| fail.run);
        let count = |value: f32| {
            let uncertainty = at(value);
            still(&self.job(rider, &uncertainty, 0, SEARCH_RUNS), &candidates, |outcome| self.failure.counts(outcome))
        };
        let last_with = |most: f64| {
            let (mut near, mut far) = (near, far);
            while (far - near).abs() > 0.25 * line.tolerance {
                let middle = 0.5 * (near + far);
                if middle == near || middle == far {
                    break;
                }
                if count(middle) as f64 > most { far = middle } else { near = middle }
            }
            near
        };
        let value = last_with(wanted);
        let (fewer, more) = (last_with(wanted - deviation), last_with(wanted + deviation));
        // An end of the search that is no border makes that side's half unknown: then the other side's counts.
        let sides = [(fewer, near == line.kept && fewer == near), (more, far == line.passed && more == far)]
            .map(|(end, open)| if open { 0.0 } else { (end - value).abs() });
        let known = sides.iter().filter(|side| **side > 0.0).count().max(1) as f32;
        Ok(Border { value, error: (sides[0] + sides[1]) / known })
    }
}

/// Whether one number of misses is lower than another by more than the runs' chance makes likely: by two standard
/// deviations of their difference. Drawn from the same runs they differ by less, which errs to saying nothing.
pub fn clearly_fewer(misses: f64, than: f64) -> bool {
    than - misses > 2.0 * (than + misses).sqrt()
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
    /// Runs that each share is of.
    pub runs: u64,
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
        let (mut first_m, mut step_m, mut least) = (0.0, 1.0, u64::MAX);
        for sampled in riders {
            let [lows, highs] = sampled.windows.as_ref()?;
            let begun: Vec<(f64, u64)> = lows.cumulative().collect();
            let ended: Vec<(f64, u64)> = highs.cumulative().collect();
            first_m = begun.first()?.0;
            step_m = begun.get(1)?.0 - first_m;
            // At the upper bound of bin i: begun at or before it, ended before it.
            let runs = sampled.windowed as f64;
            least = least.min(sampled.windowed);
            let misses = begun.iter().enumerate().map(|(i, (_, begun))| {
                let over = if i == 0 { 0 } else { ended.get(i - 1).map_or(0, |(_, count)| *count) };
                // As the misses at one gap are counted: the same count is the same share.
                (runs - (*begun as f64 - over as f64).max(0.0)) / runs
            });
            if share.is_empty() {
                share = misses.collect();
            } else {
                share.iter_mut().zip(misses).for_each(|(a, b)| *a = a.max(b));
            }
        }
        Some(Self { first_m, step_m, share, runs: least })
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
