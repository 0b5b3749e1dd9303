//! The loop over runs: draws, rides, flies and tallies, block by block.

use super::pack::Pack;
use super::quantile::Histogram;
use super::random::{DRAWN, Deviations, draw};
use landfall_core::bag::{Bag, Outcome};
use landfall_core::inputs::{COUNT, Inputs, Uncertainty};
use landfall_core::lane::Mask;
use landfall_core::ride::Steps;
use landfall_core::run::Setup;
use rayon::prelude::*;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

/// Runs in a block: what one thread does before it looks at the flag to stop.
const BLOCK: u64 = 4096;

/// What is to be sampled.
#[derive(Clone, Debug)]
pub struct Job<'a> {
    /// The set-up.
    pub setup: &'a Setup,
    /// What varies.
    pub uncertainty: &'a Uncertainty,
    /// Steps of each run.
    pub steps: Steps,
    /// Runs, from `first` on.
    pub samples: u64,
    /// Number of the first run.
    pub first: u64,
    /// Seed.
    pub seed: u64,
    /// Bounds of the histograms along, across and of the normal speed; `None` where only outcomes are counted.
    pub bounds: Option<[[f32; 2]; 3]>,
    /// Largest gap of the windows' histogram; `None` where gaps are not asked for.
    pub gaps_to_m: Option<f32>,
}

/// A flag to stop early, and how many runs are done.
#[derive(Debug, Default)]
pub struct Stop {
    /// Set to stop.
    pub asked: AtomicBool,
    /// Runs done so far.
    pub done: AtomicU64,
}

/// Sums of a block, combined in the order of the blocks.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    landed: f64,
    first: [f64; 3],
    second: [f64; 3],
    cross: f64,
}

/// What came of it.
#[derive(Clone, Debug)]
pub struct Sampled {
    /// Runs done.
    pub runs: u64,
    /// Runs of each [`Outcome`], in the order of [`Outcome::ALL`].
    pub outcomes: [u64; 9],
    /// Means over the landed runs: along, across, normal speed.
    pub mean: [f64; 3],
    /// Standard deviations.
    pub sd: [f64; 3],
    /// Covariance of along and across.
    pub covariance_m2: f64,
    /// Histograms along, across and of the normal speed.
    pub histograms: Option<[Histogram; 3]>,
    /// Lower and upper ends of the gap windows of the runs that are between the side margins.
    pub windows: Option<[Histogram; 2]>,
}

impl Sampled {
    /// Runs that are not on the landing field.
    pub fn misses(&self) -> u64 {
        self.runs - self.outcomes[0]
    }

    /// Runs of one outcome.
    pub fn count(&self, outcome: Outcome) -> u64 {
        self.outcomes.get(outcome as usize).copied().unwrap_or(0)
    }
}

struct Tally {
    outcomes: [u64; 9],
    sums: Vec<(u64, Sums)>,
    histograms: Option<[Histogram; 3]>,
    windows: Option<[Histogram; 2]>,
}

impl Tally {
    fn new(job: &Job<'_>) -> Self {
        Self {
            outcomes: [0; 9],
            sums: Vec::new(),
            histograms: job.bounds.map(|b| b.map(|[low, high]| Histogram::new(low, high))),
            windows: job.gaps_to_m.map(|top| [Histogram::new(0.0, top), Histogram::new(0.0, top)]),
        }
    }

    fn merge(mut self, other: Self) -> Self {
        for (a, b) in self.outcomes.iter_mut().zip(other.outcomes) {
            *a += b;
        }
        self.sums.extend(other.sums);
        if let (Some(a), Some(b)) = (&mut self.histograms, &other.histograms) {
            a.iter_mut().zip(b).for_each(|(a, b)| a.merge(b));
        }
        if let (Some(a), Some(b)) = (&mut self.windows, &other.windows) {
            a.iter_mut().zip(b).for_each(|(a, b)| a.merge(b));
        }
        self
    }
}

/// Samples a job; `None` if it was asked to stop. The number of threads is that of rayon's current pool.
pub fn sample(job: &Job<'_>, stop: &Stop) -> Option<Sampled> {
    sample_over(job, stop, dispatch::lanes_asked())
}

/// The same with at most `lanes` runs in a register: the result is the same bit for bit at any number of lanes.
pub fn sample_over(job: &Job<'_>, stop: &Stop, lanes: u32) -> Option<Sampled> {
    let blocks = job.samples.div_ceil(BLOCK);
    let (block, _) = dispatch::kernels(lanes);
    let mut tally = (0..blocks)
        .into_par_iter()
        .fold(
            || Tally::new(job),
            |mut tally, index| {
                if !stop.asked.load(Ordering::Relaxed) {
                    let count = BLOCK.min(job.samples - index * BLOCK);
                    let sums = block(job, job.first + index * BLOCK, count, &mut tally);
                    tally.sums.push((index, sums));
                    stop.done.fetch_add(count, Ordering::Relaxed);
                }
                tally
            },
        )
        .reduce(|| Tally::new(job), Tally::merge);
    if stop.asked.load(Ordering::Relaxed) {
        return None;
    }
    tally.sums.sort_unstable_by_key(|(index, _)| *index);
    let mut all = Sums::default();
    for (_, sums) in &tally.sums {
        all.landed += sums.landed;
        all.cross += sums.cross;
        for i in 0..3 {
            all.first[i] += sums.first[i];
            all.second[i] += sums.second[i];
        }
    }
    let origin = origin(job).map(f64::from);
    let n = all.landed;
    let mean = all.first.map(|sum| sum / n);
    let free = (n - 1.0).max(1.0);
    let sd = [0, 1, 2].map(|i| ((all.second[i] - n * mean[i] * mean[i]) / free).max(0.0).sqrt());
    Some(Sampled {
        runs: job.samples,
        outcomes: tally.outcomes,
        mean: [0, 1, 2].map(|i| mean[i] + origin[i]),
        sd,
        covariance_m2: (all.cross - n * mean[0] * mean[1]) / free,
        histograms: tally.histograms,
        windows: tally.windows,
    })
}

/// Where the sums are taken from, so that squares do not cancel: the middle of the bounds.
#[inline(always)]
fn origin(job: &Job<'_>) -> [f32; 3] {
    job.bounds.map_or([0.0; 3], |b| b.map(|[low, high]| 0.5 * (low + high)))
}

/// The results of [`DRAWN`] runs, list by list.
struct Lists {
    along: [f32; DRAWN],
    across: [f32; DRAWN],
    normal: [f32; DRAWN],
    /// 0 for a landing, else 1 + the place of the outcome in [`Outcome::ALL`].
    failed: [f32; DRAWN],
    low: [f32; DRAWN],
    high: [f32; DRAWN],
}

impl Lists {
    const NEW: Self = Self {
        along: [0.0; DRAWN],
        across: [0.0; DRAWN],
        normal: [0.0; DRAWN],
        failed: [0.0; DRAWN],
        low: [0.0; DRAWN],
        high: [0.0; DRAWN],
    };
}

/// The place of each run's outcome in [`Outcome::ALL`].
#[inline(always)]
fn name_all(bag: &Bag, lists: &Lists, names: &mut [u8; DRAWN]) {
    // A copy in registers: else the bag's lengths are gathered from memory run by run.
    let bag = *bag;
    for (i, name) in names.iter_mut().enumerate() {
        let landed = bag.landing(lists.along[i], lists.across[i]) as u8;
        // A small whole number stands in the last bits of itself + 2²³; a checked conversion goes run by run.
        let mark = (lists.failed[i] + 8_388_608.0).to_bits() as u8;
        *name = if mark == 0 { landed } else { mark - 1 };
    }
}

/// How a run that did not land is marked.
fn mark(outcome: Outcome) -> f32 {
    1.0 + f32::from(outcome as u8)
}

/// Rides and flies [`DRAWN`] runs, a pack at a time.
#[inline(always)]
fn fly_all<P: Pack>(job: &Job<'_>, drawn: &Deviations, lists: &mut Lists) {
    let setup = job.setup;
    for at in (0..DRAWN).step_by(P::WIDTH) {
        let mut deviations = [P::splat(0.0); COUNT];
        for (pack, list) in deviations.iter_mut().zip(drawn) {
            *pack = P::load(&list[at..]);
        }
        let inputs: Inputs<P> = job.uncertainty.at(&deviations);
        let end = setup.ride::<P, false>(&inputs, &job.steps, |_| {});
        let start = setup.release(end.speed_mps, &inputs);
        let (arrival, front) = setup.fly(&start, &inputs, &job.steps);
        let run = setup.landing(&end, &arrival, front, &inputs);
        run.along_m.store(&mut lists.along[at..]);
        run.across_m.store(&mut lists.across[at..]);
        run.normal_mps.store(&mut lists.normal[at..]);
        let failed = P::select(run.front, P::splat(mark(Outcome::Front)), P::splat(0.0));
        let failed = P::select(run.left_surface, P::splat(mark(Outcome::LeavesSurface)), failed);
        let failed = P::select(run.stalled, P::splat(mark(Outcome::Stall)), failed);
        failed.store(&mut lists.failed[at..]);
        if job.gaps_to_m.is_some() {
            let window = setup.gap_window(&start, &arrival, &inputs, job.steps.front);
            let none = run.stalled.or(run.left_surface);
            P::select(none, P::splat(1.0), window.low_m).store(&mut lists.low[at..]);
            P::select(none, P::splat(-1.0), window.high_m).store(&mut lists.high[at..]);
        }
    }
}

/// One block of runs.
#[inline(always)]
fn block<P: Pack>(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Sums {
    let mut drawn = [[0.0; DRAWN]; COUNT];
    let mut lists = Lists::NEW;
    let mut sums = Sums::default();
    let mut done = 0;
    while done < count {
        draw(first + done, job.seed, 0, &mut drawn);
        fly_all::<P>(job, &drawn, &mut lists);
        let many = (count - done).min(DRAWN as u64) as usize;
        note(job, &lists, many, tally, &mut sums);
        done += DRAWN as u64;
    }
    sums
}

/// Adds the first `many` results to the tally.
#[inline(always)]
fn note(job: &Job<'_>, lists: &Lists, many: usize, tally: &mut Tally, sums: &mut Sums) {
    let bag = &job.setup.bag;
    let mut names = [0_u8; DRAWN];
    name_all(bag, lists, &mut names);
    let names = names.get(..many).unwrap_or(&names);
    let mut others = 0;
    for (place, count) in tally.outcomes.iter_mut().enumerate().skip(1) {
        let found: u32 = names.iter().map(|name| u32::from(usize::from(*name) == place)).sum();
        *count += u64::from(found);
        others += u64::from(found);
    }
    tally.outcomes[0] += names.len() as u64 - others;
    if let Some(histograms) = &mut tally.histograms {
        let origin = origin(job);
        for i in (0..many).filter(|i| lists.failed[*i] == 0.0) {
            let values = [lists.along[i], lists.across[i], lists.normal[i]];
            let off = [0, 1, 2].map(|k| f64::from(values[k] - origin[k]));
            sums.landed += 1.0;
            sums.cross += off[0] * off[1];
            for k in 0..3 {
                sums.first[k] += off[k];
                sums.second[k] += off[k] * off[k];
                histograms[k].add(values[k]);
            }
        }
    }
    if let Some([lows, highs]) = &mut tally.windows {
        let half_m = 0.5 * bag.width_m - bag.edge_side_m;
        for i in 0..many {
            if lists.low[i] <= lists.high[i] && lists.across[i].abs() <= half_m {
                lows.add(lists.low[i]);
                highs.add(lists.high[i]);
            }
        }
    }
}

/// [`DRAWN`] runs about a point other than the site's values: what was drawn, and what became of it.
pub(super) struct Shot {
    /// Deviations of each input.
    pub deviations: Deviations,
    /// Place of each run's outcome in [`Outcome::ALL`].
    pub outcome: [u8; DRAWN],
    /// Landing from the bag's front edge.
    pub along: [f32; DRAWN],
    /// Landing from the bag's centre line.
    pub across: [f32; DRAWN],
}

impl Shot {
    pub(super) const NEW: Self =
        Self { deviations: [[0.0; DRAWN]; COUNT], outcome: [0; DRAWN], along: [0.0; DRAWN], across: [0.0; DRAWN] };
}

/// Where the deviations of a [`Shot`] are drawn from: a normal about a middle, as wide in each input.
#[derive(Clone, Copy, Debug)]
pub(super) struct About {
    pub middle: [f32; COUNT],
    pub width: f32,
}

#[inline(always)]
fn shoot<P: Pack>(job: &Job<'_>, first: u64, stream: u32, about: &About, shot: &mut Shot) {
    draw(first, job.seed, stream, &mut shot.deviations);
    for (list, middle) in shot.deviations.iter_mut().zip(about.middle) {
        for value in list {
            *value = *value * about.width + middle;
        }
    }
    let mut lists = Lists::NEW;
    fly_all::<P>(job, &shot.deviations, &mut lists);
    name_all(&job.setup.bag, &lists, &mut shot.outcome);
    (shot.along, shot.across) = (lists.along, lists.across);
}

/// Takes [`DRAWN`] runs about a point: job, first run, stream, where, into.
pub(super) type Shoot = fn(&Job<'_>, u64, u32, &About, &mut Shot);

/// The kernel that takes a [`Shot`], with at most as many lanes as asked.
pub(super) fn shoot_over(lanes: u32) -> Shoot {
    dispatch::kernels(lanes).1
}

pub(super) use dispatch::lanes_asked;

/// The kernels compiled for what the processor has; every version gives the same bits.
mod dispatch {
    use super::{About, Job, Shoot, Shot, Sums, Tally, block, shoot};

    type Block = fn(&Job<'_>, u64, u64, &mut Tally) -> Sums;

    #[cfg(target_arch = "x86_64")]
    #[allow(unsafe_code)]
    mod x86 {
        use super::super::super::pack::Two;
        use super::super::super::pack::x86::{Pack4, Pack8, Pack16};
        use super::{About, Job, Shot, Sums, Tally, block, shoot};

        #[target_feature(enable = "avx512f,avx512dq,avx512vl,avx512bw")]
        fn wide(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Sums {
            block::<Two<Two<Pack16>>>(job, first, count, tally)
        }

        #[target_feature(enable = "avx2")]
        fn middle(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Sums {
            block::<Two<Pack8>>(job, first, count, tally)
        }

        #[target_feature(enable = "avx512f,avx512dq,avx512vl,avx512bw")]
        fn wide_shot(job: &Job<'_>, first: u64, stream: u32, about: &About, shot: &mut Shot) {
            shoot::<Two<Two<Pack16>>>(job, first, stream, about, shot);
        }

        #[target_feature(enable = "avx2")]
        fn middle_shot(job: &Job<'_>, first: u64, stream: u32, about: &About, shot: &mut Shot) {
            shoot::<Two<Pack8>>(job, first, stream, about, shot);
        }

        pub(super) fn avx512(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Sums {
            // SAFETY: only handed out where the processor was found to have these features.
            unsafe { wide(job, first, count, tally) }
        }

        pub(super) fn avx2(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Sums {
            // SAFETY: only handed out where the processor was found to have this feature.
            unsafe { middle(job, first, count, tally) }
        }

        pub(super) fn sse2(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Sums {
            block::<Two<Pack4>>(job, first, count, tally)
        }

        pub(super) fn avx512_shot(job: &Job<'_>, first: u64, stream: u32, about: &About, shot: &mut Shot) {
            // SAFETY: only handed out where the processor was found to have these features.
            unsafe { wide_shot(job, first, stream, about, shot) }
        }

        pub(super) fn avx2_shot(job: &Job<'_>, first: u64, stream: u32, about: &About, shot: &mut Shot) {
            // SAFETY: only handed out where the processor was found to have this feature.
            unsafe { middle_shot(job, first, stream, about, shot) }
        }

        pub(super) fn sse2_shot(job: &Job<'_>, first: u64, stream: u32, about: &About, shot: &mut Shot) {
            shoot::<Two<Pack4>>(job, first, stream, about, shot);
        }
    }

    #[cfg(all(target_family = "wasm", target_feature = "simd128"))]
    fn wasm(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Sums {
        block::<super::super::pack::wasm::Pack4>(job, first, count, tally)
    }

    #[cfg(all(target_family = "wasm", target_feature = "simd128"))]
    fn wasm_shot(job: &Job<'_>, first: u64, stream: u32, about: &About, shot: &mut Shot) {
        shoot::<super::super::pack::wasm::Pack4>(job, first, stream, about, shot);
    }

    // Every 64-bit Arm processor has these registers: nothing to look for.
    #[cfg(target_arch = "aarch64")]
    fn neon(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Sums {
        block::<super::super::pack::Two<super::super::pack::neon::Pack4>>(job, first, count, tally)
    }

    #[cfg(target_arch = "aarch64")]
    fn neon_shot(job: &Job<'_>, first: u64, stream: u32, about: &About, shot: &mut Shot) {
        shoot::<super::super::pack::Two<super::super::pack::neon::Pack4>>(job, first, stream, about, shot);
    }

    fn single(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Sums {
        block::<f32>(job, first, count, tally)
    }

    fn single_shot(job: &Job<'_>, first: u64, stream: u32, about: &About, shot: &mut Shot) {
        shoot::<f32>(job, first, stream, about, shot);
    }

    /// Most lanes asked for by `LANDFALL_LANES` (16, 8, 4 or 1); without it as many as there are.
    pub(in super::super) fn lanes_asked() -> u32 {
        std::env::var("LANDFALL_LANES").ok().and_then(|text| text.parse().ok()).unwrap_or(u32::MAX)
    }

    /// The widest versions that this processor runs with at most as many lanes as asked.
    pub(super) fn kernels(asked: u32) -> (Block, Shoot) {
        #[cfg(target_arch = "x86_64")]
        {
            let wide = std::is_x86_feature_detected!("avx512f")
                && std::is_x86_feature_detected!("avx512dq")
                && std::is_x86_feature_detected!("avx512vl")
                && std::is_x86_feature_detected!("avx512bw");
            if wide && asked >= 16 {
                return (x86::avx512, x86::avx512_shot);
            }
            if std::is_x86_feature_detected!("avx2") && asked >= 8 {
                return (x86::avx2, x86::avx2_shot);
            }
            if asked >= 4 {
                return (x86::sse2, x86::sse2_shot);
            }
        }
        #[cfg(all(target_family = "wasm", target_feature = "simd128"))]
        if asked >= 4 {
            return (wasm, wasm_shot);
        }
        #[cfg(target_arch = "aarch64")]
        if asked >= 4 {
            return (neon, neon_shot);
        }
        let _ = asked;
        (single, single_shot)
    }
}
