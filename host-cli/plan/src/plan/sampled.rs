//! The sampled parts of a plan: where landings fall, where the bag should stand, hold winds.
//!
//! # Settled here
//! - **Botched tries**: which runs are botched is drawn from a word of the generator that no normal is made of.
//!   Methods agree where means and standard deviations along, across and into the top do, good and botched tries
//!   apart.

use super::PlanError;
use super::interval::clopper_pearson;
use super::model::Model;
use super::results::{Differences as DifferencesResult, OrWhy, Sampling, Tail, Tails, Who, Why};
use super::search::{Border, Draws, Failure, MissOverGap, Question, clearly_fewer, moved};
use landfall_core::bag::Outcome;
use landfall_core::inputs::{COUNT, Uncertain, Uncertainty};
use landfall_core::spread::{Differences, Mixture};
use landfall_sampling::quantile::Histogram;
use landfall_sampling::tails::{Effort, RESOLVED, tail};
use landfall_sampling::{Job, Moments, Sampled, WINDOWED, sample};
use std::collections::BTreeMap;

/// How closely a start height is found.
const START_TOLERANCE_M: f32 = 4.0e-3;
/// How closely a hold wind is found.
const WIND_TOLERANCE_MPS: f32 = 0.02;
/// Highest start height that is looked at.
const HIGHEST_START_M: f32 = 40.0;
/// Runs of a trial in the coarse scan of start heights.
const SCAN: u64 = 4_096;
/// Most runs that are drawn again at another gap.
const REDRAWN: u64 = 1 << 17;
/// Fewer landings than this say nothing about where they fall.
const ENOUGH: u64 = 100;

/// Parts of the drawn shape of the landings: an eighth of a standard deviation each.
const SHAPE: usize = 256;

/// The landings of the riders.
pub struct Landings {
    riders: Vec<(usize, Sampled)>,
}

/// Misses over runs; with no miss in N runs the bound 3/N, below which the chance lies (95 %).
pub fn miss_or_bound(sampled: &Sampled) -> f64 {
    share_or_bound(sampled.misses(), sampled.runs)
}

fn share_or_bound(count: u64, runs: u64) -> f64 {
    if count == 0 { 3.0 / runs as f64 } else { count as f64 / runs as f64 }
}

/// Bounds of the histograms: sixteen standard deviations about the mean, or wide ones where these are not known.
fn bounds(spread: Option<&Mixture>) -> [[f32; 2]; 3] {
    let about = |mean: f32, sd: f32| {
        let reach = (16.0 * sd).max(0.5);
        [mean - reach, mean + reach]
    };
    spread.map_or([[-60.0, 60.0], [-30.0, 30.0], [0.0, 30.0]], |s| {
        [
            about(s.mean_along_m(), s.sd_along_m()),
            about(s.mean_across_m(), s.sd_across_m()),
            about(s.mean_normal_mps(), s.sd_normal_mps()),
        ]
    })
}

impl Landings {
    /// Samples the riders that differ; with `gaps` also the gap windows of their runs.
    pub fn draw(model: &Model, spreads: &[Option<Mixture>], draws: &Draws<'_>, gaps: bool) -> Result<Self, PlanError> {
        let steps = model.steps(&[&model.uncertainty]);
        // Far enough for the windows of all landings that the histograms hold.
        let reach = spreads.iter().flatten().map(|s| s.mean_along_m() + 8.0 * s.sd_along_m()).fold(10.0_f32, f32::max);
        let bag = &model.setups[0].bag();
        let gaps_to_m = gaps.then_some((reach + bag.gap_m()).clamp(5.0, 100.0));
        let mut riders = Vec::new();
        for rider in model.distinct() {
            let job = Job {
                setup: &model.setups[rider],
                uncertainty: &model.uncertainty,
                steps,
                samples: draws.samples,
                first: 0,
                seed: draws.seed,
                bounds: Some(bounds(spreads.get(rider).and_then(Option::as_ref))),
                gaps_to_m,
            };
            riders.push((rider, sample(&job, draws.stop).ok_or(PlanError::Stopped)?));
        }
        Ok(Self { riders })
    }

    /// The landings of a rider.
    pub fn of(&self, model: &Model, rider: usize) -> &Sampled {
        let stands = model.stands_for(rider);
        self.riders.iter().find(|(other, _)| *other == stands).map_or(&self.riders[0].1, |(_, sampled)| sampled)
    }

    /// The landings of the mean rider.
    pub fn mean(&self) -> &Sampled {
        &self.riders[0].1
    }

    /// The rider with most misses, and the chance.
    pub fn worst(&self) -> (usize, f64) {
        let mut worst = &self.riders[0];
        for other in &self.riders[1..] {
            if other.1.misses() > worst.1.misses() {
                worst = other;
            }
        }
        (worst.0, miss_or_bound(&worst.1))
    }

    /// From the lowest 0.1 % to the highest 99.9 % of a quantity, all riders together; `None` where fewer than 100 runs
    /// of one of them land.
    fn interval(&self, quantity: usize) -> Option<(f64, f64)> {
        let mut all = (f64::INFINITY, f64::NEG_INFINITY);
        for (_, sampled) in &self.riders {
            if sampled.landed() < ENOUGH {
                return None;
            }
            let histogram = sampled.histograms.as_ref()?.get(quantity)?;
            all = (all.0.min(histogram.quantile(0.001)?), all.1.max(histogram.quantile(0.999)?));
        }
        Some(all)
    }

    /// The landings of a rider as counted: along (0), across (1) or the normal speed (2); `None` where fewer than 100 land.
    pub fn histogram(&self, model: &Model, rider: usize, quantity: usize) -> Option<&Histogram> {
        let sampled = self.of(model, rider);
        sampled.histograms.as_ref().filter(|_| sampled.landed() >= ENOUGH)?.get(quantity)
    }

    /// That of `along`.
    pub fn along_interval(&self) -> Option<(f64, f64)> {
        self.interval(0)
    }

    /// Whether both methods agree for the mean rider: means and standard deviations, along and across and of the normal
    /// speed, of good tries and of botched ones, each within four standard errors of the sampling and 2 % of the standard
    /// deviation for good tries, 5 % for botched ones, whose clips bend them. A kind of which fewer than 100 runs land
    /// says nothing.
    pub fn agrees(&self, spread: &Mixture) -> bool {
        let [good, botched] = &self.mean().kinds;
        kind_agrees(&spread.good, good, 0.02) && kind_agrees(&spread.botched, botched, 0.05)
    }

    /// What is printed of the mean rider's landings.
    pub fn result(&self, draws: &Draws<'_>) -> Sampling {
        let sampled = self.mean();
        let enough = sampled.landed() >= ENOUGH;
        let histogram = |i: usize, share: f64| -> OrWhy<f64> {
            let counted = sampled.histograms.as_ref().filter(|_| enough);
            counted.and_then(|h| h[i].quantile(share)).ok_or(Why::FewLand).into()
        };
        let mean = |i: usize| finite_or(sampled.mean[i], Why::FewLand);
        let sd = |i: usize| spread_of(sampled, i, Why::FewLand);
        let correlation = sampled.covariance_m2 / (sampled.sd[0] * sampled.sd[1]);
        let (miss_low, miss_high) = clopper_pearson(sampled.misses(), sampled.runs);
        Sampling {
            mean_along_m: mean(0),
            sd_along_m: sd(0),
            mean_across_m: mean(1),
            sd_across_m: sd(1),
            correlation: finite_or(correlation, Why::NoCorrelation),
            mean_normal_mps: mean(2),
            sd_normal_mps: sd(2),
            along_p001_m: histogram(0, 0.001),
            along_p50_m: histogram(0, 0.5),
            along_p999_m: histogram(0, 0.999),
            across_p001_m: histogram(1, 0.001),
            across_p999_m: histogram(1, 0.999),
            normal_p999_mps: histogram(2, 0.999),
            outcomes: Outcome::ALL
                .iter()
                .map(|outcome| (outcome.name(), sampled.count(*outcome) as f64 / sampled.runs as f64))
                .collect(),
            miss: miss_or_bound(sampled),
            miss_low,
            miss_high,
            misses: sampled.misses(),
            samples: sampled.runs,
            seed: draws.seed,
            along_shape: sampled.histograms.as_ref().map_or_else(Vec::new, |h| h[0].shape(SHAPE)),
        }
    }
}

/// A value that is a number; null for a reason where it is none.
fn finite_or(value: f64, why: Why) -> OrWhy<f64> {
    if value.is_finite() { OrWhy::Value(value) } else { why.into() }
}

/// Standard deviation of one quantity of the landings; null for a reason where none came down.
pub fn spread_of(sampled: &Sampled, quantity: usize, why: Why) -> OrWhy<f64> {
    finite_or(sampled.mean[quantity], why).and_then(|_| finite_or(sampled.sd[quantity], why))
}

/// Whether the divided differences of one kind of try agree with its runs.
pub fn kind_agrees(spread: &Differences, drawn: &Moments, share: f64) -> bool {
    let n: f64 = drawn.landed as f64;
    let close = |mean: f32, sd: f32, i: usize| {
        let (mean, sd) = (f64::from(mean), f64::from(sd));
        let drawn_sd = drawn.sd[i];
        (mean - drawn.mean[i]).abs() <= 4.0 * drawn_sd / n.sqrt() + share * drawn_sd
            && (sd - drawn_sd).abs() <= 4.0 * drawn_sd / (n * 2.0).sqrt() + share * drawn_sd
    };
    drawn.landed < ENOUGH
        || (close(spread.mean_along_m, spread.sd_along_m, 0)
            && close(spread.mean_across_m, spread.sd_across_m, 1)
            && close(spread.mean_normal_mps, spread.sd_normal_mps, 2))
}

/// The chances of a miss by importance sampling.
///
/// # Errors
/// [`PlanError::Stopped`].
pub fn tails(model: &Model, draws: &Draws<'_>) -> Result<Tails, PlanError> {
    let steps = model.steps(&[&model.uncertainty]);
    let mut own: Vec<(usize, Tail)> = Vec::new();
    for rider in model.distinct() {
        let job = Job {
            setup: &model.setups[rider],
            uncertainty: &model.uncertainty,
            steps,
            samples: 0,
            first: 0,
            seed: draws.seed,
            bounds: None,
            gaps_to_m: None,
        };
        let found = tail(&job, &Effort::USUAL, draws.stop).ok_or(PlanError::Stopped)?;
        let resolved = found.miss > RESOLVED;
        let outcomes = Outcome::ALL.iter().zip(found.outcomes).filter(|(outcome, _)| **outcome != Outcome::On);
        own.push((
            rider,
            Tail {
                miss: found.miss.max(RESOLVED),
                miss_low: if resolved { found.low } else { 0.0 },
                miss_high: found.high.max(RESOLVED),
                outcomes: outcomes.map(|(outcome, part)| (outcome.name(), part)).collect(),
                misses: found.hits,
                samples: found.runs,
            },
        ));
    }
    let of = |rider: usize| {
        let stands = model.stands_for(rider);
        let mut found = own.iter().filter(|(other, _)| *other == stands).map(|(_, tail)| tail.clone());
        found.next().ok_or(PlanError::Stopped)
    };
    let (mean, lightest, heaviest) = (of(0)?, of(1)?, of(2)?);
    let mut worst = 0;
    for (rider, tail) in [(1, &lightest), (2, &heaviest)] {
        if tail.miss > [&mean, &lightest, &heaviest][worst].miss {
            worst = rider;
        }
    }
    Ok(Tails { worst: Who::ALL[worst], mean, lightest, heaviest })
}

/// What is printed of the divided differences: of good and botched tries together.
pub fn differences_result(spread: &Mixture) -> DifferencesResult {
    let named = |values: [f32; COUNT]| -> BTreeMap<&'static str, f64> {
        Uncertain::ALL.iter().zip(values).map(|(which, value)| (which.name(), f64::from(value))).collect()
    };
    DifferencesResult {
        mean_along_m: f64::from(spread.mean_along_m()),
        sd_along_m: f64::from(spread.sd_along_m()),
        mean_across_m: f64::from(spread.mean_across_m()),
        sd_across_m: f64::from(spread.sd_across_m()),
        shares_along: named(spread.shares_along()),
        shares_across: named(spread.shares_across()),
        one_sd_along_m: named(spread.one_sd_m().map(|moved| moved[0])),
        one_sd_across_m: named(spread.one_sd_m().map(|moved| moved[1])),
        mean_normal_mps: f64::from(spread.mean_normal_mps()),
        sd_normal_mps: f64::from(spread.sd_normal_mps()),
    }
}

/// Where the bag should stand.
pub struct Placed {
    /// Best gap.
    pub best_gap_m: OrWhy<f64>,
    /// Best offset.
    pub best_offset_m: OrWhy<f64>,
    /// Smallest and largest gap of the band.
    pub band_m: OrWhy<(f64, f64)>,
    /// Smallest chance of a miss, and its gap.
    pub least: OrWhy<(f64, f64)>,
    /// Chance of a miss at the best gap.
    pub miss_at_best: OrWhy<f64>,
    /// Runs that gaps are judged by.
    pub gap_runs: u64,
    /// Whether that is lower than at the present gap beyond the sampling.
    pub best_is_better: OrWhy<bool>,
    /// Lowest start.
    pub lowest_clearing_start_m: OrWhy<f64>,
    /// Highest start in a gust.
    pub highest_start_in_gust_m: OrWhy<f64>,
}

/// Finds where the bag should stand and, with a gust, how low and high the start may be.
pub fn place(
    model: &Model,
    landings: &Landings,
    spreads: &[Option<Mixture>],
    draws: &Draws<'_>,
    target: f64,
    gust_mps: Option<f64>,
) -> Result<Placed, PlanError> {
    let sampled: Vec<&Sampled> = landings.riders.iter().map(|(_, sampled)| sampled).collect();
    let bag = &model.setups[0].bag();
    let field_m = f64::from(bag.field_middle_m());
    let falls = landings.along_interval();
    // Where too few runs land nothing is known about gaps.
    let curve = falls.and_then(|_| MissOverGap::new(&sampled));
    let curve = curve.as_ref().ok_or(Why::NoBestGap);
    let band = curve.map(|curve| curve.band(target));
    let centred = match falls {
        None => None,
        Some((low, high)) => {
            let first = (f64::from(bag.gap_m()) + 0.5 * (low + high) - field_m).max(0.0);
            // On a sloped top the plane moves with the bag, so the landings are drawn again at the new gap.
            if bag.climb() == 0.0 { Some(first) } else { Some(refine(model, spreads, draws, field_m, first)?) }
        }
    };
    let band_m = band.and_then(|band| band.gaps_m.ok_or(Why::NoGap));
    let best_gap_m = match (centred, band_m, band) {
        (Some(gap_m), Ok((low, high)), _) => Ok(gap_m.clamp(low, high)),
        // Where every run misses at every gap, none is better than another.
        (Some(_), Err(_), Ok(band)) if band.least.0 < 1.0 => Ok(band.least.1),
        _ => Err(Why::NoBestGap),
    };
    let (lowest_clearing_start_m, highest_start_in_gust_m) = match gust_mps {
        Some(gust_mps) => (
            lowest_clearing_start(model, draws, target)?.ok_or(Why::NoClearingStart),
            highest_start_in_gust(model, draws, target, gust_mps)?.ok_or(Why::NoStartInGust),
        ),
        None => (Err(Why::NotAsked), Err(Why::NotAsked)),
    };
    let runs = curve.map_or(draws.samples.min(WINDOWED), |curve| curve.runs);
    let misses = |share: f64| (share * runs as f64).round();
    let bound = |share: f64| share_or_bound(misses(share) as u64, runs);
    let at_best = best_gap_m.and_then(|gap_m| Ok(curve?.at(gap_m)));
    let best_is_better = at_best.and_then(|best| {
        let now = curve?.at(f64::from(bag.gap_m()));
        Ok(clearly_fewer(misses(best), misses(now)))
    });
    let best_offset_m = landings.interval(1).map(|(low, high)| f64::from(bag.offset_m()) + 0.5 * (low + high));
    Ok(Placed {
        best_gap_m: best_gap_m.into(),
        best_offset_m: best_offset_m.ok_or(Why::NoBestGap).into(),
        band_m: band_m.into(),
        least: band.map(|band| (bound(band.least.0), band.least.1)).into(),
        miss_at_best: at_best.map(bound).into(),
        gap_runs: runs,
        best_is_better: best_is_better.into(),
        lowest_clearing_start_m: lowest_clearing_start_m.into(),
        highest_start_in_gust_m: highest_start_in_gust_m.into(),
    })
}

/// The gap that centres the landings on the field of a sloped top, by drawing them at two gaps and once more.
fn refine(
    model: &Model,
    spreads: &[Option<Mixture>],
    draws: &Draws<'_>,
    field_m: f64,
    first_m: f64,
) -> Result<f64, PlanError> {
    let draws = Draws { samples: draws.samples.min(REDRAWN), ..*draws };
    let off = |gap_m: f64| -> Result<f64, PlanError> {
        let there = model.at_gap(gap_m as f32);
        let shift_m = gap_m as f32 - model.setups[0].bag().gap_m();
        let shifted: Vec<Option<Mixture>> = spreads
            .iter()
            .map(|spread| {
                spread.map(|mut mixture| {
                    mixture.good.mean_along_m -= shift_m;
                    mixture.botched.mean_along_m -= shift_m;
                    mixture
                })
            })
            .collect();
        let landings = Landings::draw(&there, &shifted, &draws, false)?;
        Ok(landings.along_interval().map_or(0.0, |(low, high)| 0.5 * (low + high) - field_m))
    };
    let (mut a, mut off_a) = (first_m, off(first_m)?);
    let mut b = (a + off_a).max(0.0);
    for _ in 0..3 {
        if (b - a).abs() < 1.0e-3 {
            break;
        }
        let off_b = off(b)?;
        let slope = (off_b - off_a) / (b - a);
        let next = if slope < -0.1 { b - off_b / slope } else { b + off_b };
        (a, off_a, b) = (b, off_b, next.max(0.0));
    }
    Ok(b)
}

/// The lowest start height at which at most `target` of the runs come down short or do not land, looked for from the
/// lowest that the ride down can have: higher up a ride may leave its surface again.
fn lowest_clearing_start(model: &Model, draws: &Draws<'_>, target: f64) -> Result<Option<f64>, PlanError> {
    let base = &model.uncertainty;
    let which = Uncertain::StartHeight;
    if !starts_can_change(model) {
        return Ok(None);
    }
    let next = |start_m: f32| (1.03 * start_m + 0.03).min(HIGHEST_START_M);
    let question = |low_m: f32, high_m: f32| {
        let steps = model.steps(&[&moved(base, which, low_m), &moved(base, which, high_m)]);
        Question { model, draws: *draws, steps, failure: Failure::Short, target }
    };
    let mut low_m = base.lowest_start_m;
    let mut known_to_m = (1.5 * base.mean[which as usize] + 1.0).max(next(low_m));
    let mut asked = question(low_m, known_to_m);
    if !asked.passes(&moved(base, which, low_m))? {
        return Ok(Some(f64::from(low_m)));
    }
    while low_m < HIGHEST_START_M {
        let high_m = next(low_m);
        if high_m > known_to_m {
            known_to_m = 1.5 * high_m;
            asked = question(low_m, known_to_m);
        }
        if !asked.passes(&moved(base, which, high_m))? {
            return Ok(Some(f64::from(asked.border(which, base, (high_m, low_m), START_TOLERANCE_M)?.value)));
        }
        low_m = high_m;
    }
    Ok(None)
}

/// Whether a straight slopes, whose length the start height changes.
fn starts_can_change(model: &Model) -> bool {
    model.setups[0].path().segments().iter().any(|segment| segment.adjusts)
}

/// The highest start height that keeps to `target` with the gust added as tail wind.
fn highest_start_in_gust(
    model: &Model,
    draws: &Draws<'_>,
    target: f64,
    gust_mps: f64,
) -> Result<Option<f64>, PlanError> {
    let which = Uncertain::StartHeight;
    let along = Uncertain::WindAlong as usize;
    let base = moved(&model.uncertainty, Uncertain::WindAlong, model.uncertainty.mean[along] + gust_mps as f32);
    let site_m = base.mean[which as usize];
    if !starts_can_change(model) {
        return Ok(None);
    }
    let mut top_m = (1.5 * site_m + 1.5).min(HIGHEST_START_M);
    let steps = |top_m| model.steps(&[&base, &moved(&base, which, top_m)]);
    let mut question = Question { model, draws: *draws, steps: steps(top_m), failure: Failure::Miss, target };
    while !question.passes(&moved(&base, which, top_m))? {
        if top_m >= HIGHEST_START_M {
            return Ok(None);
        }
        top_m = (1.4 * top_m).min(HIGHEST_START_M);
    }
    // Misses fall as runs stop coming short and rise as they go long: a coarse scan finds where they are few, in ever
    // higher ranges until runs go long at the top.
    const PARTS: u16 = 24;
    let few = target + 6.0 * (target.max(1.0 / SCAN as f64) / SCAN as f64).sqrt();
    let samples = SCAN;
    let mut foot_m = base.lowest_start_m;
    loop {
        let at = |part: u16| foot_m + (top_m - foot_m) * f32::from(part) / f32::from(PARTS);
        for part in (0..PARTS).rev() {
            let start = moved(&base, which, at(part));
            if question.share(&start, samples)? > few.max(1.0 / samples as f64) || question.passes(&start)? {
                continue;
            }
            return Ok(Some(f64::from(
                question.border(which, &base, (at(part), at(part + 1)), START_TOLERANCE_M)?.value,
            )));
        }
        let long = Question { failure: Failure::Long, ..question };
        if top_m >= HIGHEST_START_M || long.passes(&moved(&base, which, top_m))? {
            return Ok(None);
        }
        foot_m = top_m;
        question.steps = steps((1.4 * top_m).min(HIGHEST_START_M));
        // Until the runs at the top go long, or none of them misses: then the range holds the border.
        top_m = (1.4 * top_m).min(HIGHEST_START_M);
        while !question.passes(&moved(&base, which, top_m))? {
            if top_m >= HIGHEST_START_M {
                return Ok(None);
            }
            top_m = (1.4 * top_m).min(HIGHEST_START_M);
        }
    }
}

/// A hold wind, and its standard error from the number of runs (0 where it is the limit).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hold {
    /// The gust, m/s.
    pub gust_mps: f64,
    /// Standard error, m/s.
    pub error_mps: f64,
}

/// The gusts at which the chance of a miss passes the target: tail, head (positive), cross; at most `limit_mps`.
/// Outward from the site's wind, the others at the site's; across, the nearer of both sides. The number of runs is that of
/// a search, whatever number of samples was asked for, and a site and its mirror image have the same. None where it is
/// passed already in the site's wind.
///
/// # Errors
/// [`PlanError::Stopped`].
pub fn hold_winds(
    model: &Model,
    draws: &Draws<'_>,
    target: f64,
    limit_mps: f64,
) -> Result<Option<[Hold; 3]>, PlanError> {
    let (model, mirrored) = model.one_side_first();
    let limit = limit_mps as f32;
    let steps = |model: &Model| {
        let base = &model.uncertainty;
        let ends: Vec<Uncertainty> = [Uncertain::WindAlong, Uncertain::WindAcross]
            .iter()
            .flat_map(|which| [moved(base, *which, limit), moved(base, *which, -limit)])
            .collect();
        model.steps(&std::iter::once(base).chain(&ends).collect::<Vec<_>>())
    };
    let question = Question { model: &model, draws: *draws, steps: steps(&model), failure: Failure::Miss, target };
    if question.passes(&model.uncertainty)? {
        return Ok(None);
    }
    let tail = outward(&question, Uncertain::WindAlong, limit)?;
    let head = outward(&question, Uncertain::WindAlong, -limit)?;
    let mut across = outward(&question, Uncertain::WindAcross, limit)?;
    if let Some(mirrored) = &mirrored {
        let other =
            outward(&Question { model: mirrored, steps: steps(mirrored), ..question }, Uncertain::WindAcross, limit)?;
        if other.gust_mps.abs() < across.gust_mps.abs() {
            across = other;
        }
    }
    let head = Hold { gust_mps: -head.gust_mps, ..head };
    let across = Hold { gust_mps: across.gust_mps.abs(), ..across };
    Ok(Some([tail, head, across]))
}

/// From the site's wind towards `end`.
fn outward(question: &Question<'_>, which: Uncertain, end: f32) -> Result<Hold, PlanError> {
    let base = &question.model.uncertainty;
    let here = base.mean[which as usize];
    if (end - here) * end <= 0.0 || !question.passes(&moved(base, which, end))? {
        return Ok(Hold { gust_mps: f64::from(end), error_mps: 0.0 });
    }
    let Border { value, error } = question.border(which, base, (here, end), WIND_TOLERANCE_MPS)?;
    Ok(Hold { gust_mps: f64::from(value), error_mps: f64::from(error) })
}
