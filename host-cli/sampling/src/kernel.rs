//! The loop over runs: draws, rides, flies and tallies, block by block.

use super::pack::Pack;
use super::quantile::Histogram;
use super::random::{DRAWN, Deviations, draw, draw_tries};
use landfall_core::bag::{Bag, Outcome};
use landfall_core::inputs::{COUNT, Inputs, Uncertainty};
use landfall_core::lane::Mask;
use landfall_core::ride::Steps;
use landfall_core::run::Setup;
use rayon::prelude::*;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

/// Runs in a block: what one thread does before it looks at the flag to stop.
const BLOCK: u64 = 4096;

/// Most runs whose gap windows are looked at, the first ones of a job: a chance at a gap is known well enough from these.
pub const WINDOWED: u64 = 1 << 19;
const _: () = assert!(WINDOWED.is_multiple_of(BLOCK), "a block has windows or has none");

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
    /// Largest gap of the windows' histogram; `None` where gaps are not asked for. At most [`WINDOWED`] runs have them.
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

impl Sums {
    fn add(&mut self, other: &Self) {
        self.landed += other.landed;
        self.cross += other.cross;
        for i in 0..3 {
            self.first[i] += other.first[i];
            self.second[i] += other.second[i];
        }
    }

    /// Means and standard deviations; the sums are taken from `origin`.
    fn moments(&self, origin: [f64; 3]) -> Moments {
        let n = self.landed;
        let mean = self.first.map(|sum| sum / n);
        let free = (n - 1.0).max(1.0);
        Moments {
            landed: n as u64,
            mean: [0, 1, 2].map(|i| mean[i] + origin[i]),
            sd: [0, 1, 2].map(|i| ((self.second[i] - n * mean[i] * mean[i]) / free).max(0.0).sqrt()),
            covariance_m2: (self.cross - n * mean[0] * mean[1]) / free,
        }
    }
}

/// Sums of good tries and of botched ones.
type Both = [Sums; 2];

/// Means and standard deviations over the landed runs: along, across, normal speed.
#[derive(Clone, Copy, Debug)]
pub struct Moments {
    /// Landed runs.
    pub landed: u64,
    /// Means; no number where nothing landed.
    pub mean: [f64; 3],
    /// Standard deviations.
    pub sd: [f64; 3],
    /// Covariance of along and across.
    pub covariance_m2: f64,
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
    /// The same of good tries alone, and of botched ones.
    pub kinds: [Moments; 2],
    /// Histograms along, across and of the normal speed.
    pub histograms: Option<[Histogram; 3]>,
    /// Lower and upper ends of the gap windows of those of the first `windowed` runs that are between the side margins.
    pub windows: Option<[Histogram; 2]>,
    /// How many runs were asked for their windows.
    pub windowed: u64,
}

impl Sampled {
    /// Runs that are not on the landing field.
    pub fn misses(&self) -> u64 {
        self.runs - self.outcomes[0]
    }

    /// Runs that came down on the plane of the bag's top, on the bag or not.
    pub fn landed(&self) -> u64 {
        [Outcome::On, Outcome::Edge, Outcome::Short, Outcome::Long, Outcome::Left, Outcome::Right]
            .iter()
            .map(|outcome| self.count(*outcome))
            .sum()
    }

    /// Runs of one outcome.
    pub fn count(&self, outcome: Outcome) -> u64 {
        self.outcomes.get(outcome as usize).copied().unwrap_or(0)
    }
}

struct Tally {
    outcomes: [u64; 9],
    sums: Vec<(u64, Both)>,
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
    let mut kinds = Both::default();
    for (_, sums) in &tally.sums {
        kinds.iter_mut().zip(sums).for_each(|(all, sums)| all.add(sums));
    }
    let mut all = kinds[0];
    all.add(&kinds[1]);
    let origin = origin(job).map(f64::from);
    let whole = all.moments(origin);
    Some(Sampled {
        runs: job.samples,
        outcomes: tally.outcomes,
        mean: whole.mean,
        sd: whole.sd,
        covariance_m2: whole.covariance_m2,
        kinds: kinds.map(|sums| sums.moments(origin)),
        histograms: tally.histograms,
        windowed: if tally.windows.is_some() { job.samples.min(WINDOWED) } else { 0 },
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
    /// Ends of the gap windows: the usual one, and on a rising top that of landings on the way up.
    low: [[f32; DRAWN]; 2],
    high: [[f32; DRAWN]; 2],
}

impl Lists {
    const NEW: Self = Self {
        along: [0.0; DRAWN],
        across: [0.0; DRAWN],
        normal: [0.0; DRAWN],
        failed: [0.0; DRAWN],
        low: [[1.0; DRAWN]; 2],
        high: [[-1.0; DRAWN]; 2],
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

/// A pack of each of these lists. Written out: a loop over them would stay one, and load those that nobody asks for.
#[inline(always)]
fn inputs_of<P: Pack>(lists: &Deviations, at: usize) -> Inputs<P> {
    let [a, b, c, d, e, f, g, h, i, j, k, l, m] = lists;
    let of = pack::<P>;
    Inputs([
        of(a, at),
        of(b, at),
        of(c, at),
        of(d, at),
        of(e, at),
        of(f, at),
        of(g, at),
        of(h, at),
        of(i, at),
        of(j, at),
        of(k, at),
        of(l, at),
        of(m, at),
    ])
}

#[inline(always)]
fn pack<P: Pack>(list: &[f32; DRAWN], at: usize) -> P {
    P::load(&list[at..])
}

/// Rides and flies [`DRAWN`] runs, a pack at a time: `N` places the inputs, `R` rides, `F` flies. A ride is the longest
/// chain and needs the fewest numbers at a time, so it takes more runs side by side.
#[inline(always)]
fn fly_all<N: Pack, R: Pack, F: Pack>(job: &Job<'_>, gaps: bool, drawn: &Deviations, lists: &mut Lists) {
    let setup = job.setup;
    let mut all = [[0.0; DRAWN]; COUNT];
    for at in (0..DRAWN).step_by(N::WIDTH) {
        let inputs = job.uncertainty.at(&inputs_of::<N>(drawn, at).0);
        for (value, list) in inputs.0.iter().zip(&mut all) {
            value.store(&mut list[at..]);
        }
    }
    let mut speed = [0.0; DRAWN];
    for at in (0..DRAWN).step_by(R::WIDTH) {
        let end = setup.ride::<R, false>(&inputs_of(&all, at), &job.steps, |_| {});
        end.speed_mps.store(&mut speed[at..]);
        let failed = R::select(end.left, R::splat(mark(Outcome::LeavesSurface)), R::splat(0.0));
        let failed = R::select(end.stalled, R::splat(mark(Outcome::Stall)), failed);
        failed.store(&mut lists.failed[at..]);
    }
    for at in (0..DRAWN).step_by(F::WIDTH) {
        let inputs = inputs_of::<F>(&all, at);
        let start = setup.release(pack(&speed, at), &inputs);
        let (arrival, front) = setup.fly(&start, &inputs, &job.steps);
        let touched = setup.touched(&arrival, &inputs);
        touched.along_m.store(&mut lists.along[at..]);
        touched.across_m.store(&mut lists.across[at..]);
        touched.normal_mps.store(&mut lists.normal[at..]);
        // What went wrong first is what the run is called.
        let failed: F = pack(&lists.failed, at);
        let rode = failed.lt(F::splat(0.5));
        F::select(rode.and(front), F::splat(mark(Outcome::Front)), failed).store(&mut lists.failed[at..]);
        if gaps {
            let windows = setup.gap_windows(&start, &arrival, &inputs, job.steps.front);
            for (which, window) in windows.iter().enumerate() {
                F::select(rode, window.low_m, F::splat(1.0)).store(&mut lists.low[which][at..]);
                F::select(rode, window.high_m, F::splat(-1.0)).store(&mut lists.high[which][at..]);
            }
        }
    }
}

/// One block of runs.
#[inline(always)]
fn block<N: Pack, R: Pack, F: Pack>(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Both {
    let mut drawn = [[0.0; DRAWN]; COUNT];
    let mut lists = Lists::NEW;
    let mut sums = Both::default();
    let gaps = job.gaps_to_m.is_some() && first - job.first < WINDOWED;
    let mut done = 0;
    while done < count {
        let botched = draw_tries(first + done, job.seed, job.uncertainty, &mut drawn);
        fly_all::<N, R, F>(job, gaps, &drawn, &mut lists);
        let many = (count - done).min(DRAWN as u64) as usize;
        note(job, gaps, (&lists, &botched, many), tally, &mut sums);
        done += DRAWN as u64;
    }
    sums
}

/// Adds the first `many` results to the tally.
#[inline(always)]
fn note(
    job: &Job<'_>,
    gaps: bool,
    (lists, botched, many): (&Lists, &[bool; DRAWN], usize),
    tally: &mut Tally,
    sums: &mut Both,
) {
    let bag = &job.setup.bag();
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
            let sums = &mut sums[usize::from(botched[i])];
            sums.landed += 1.0;
            sums.cross += off[0] * off[1];
            for k in 0..3 {
                sums.first[k] += off[k];
                sums.second[k] += off[k] * off[k];
                histograms[k].add(values[k]);
            }
        }
    }
    if let (true, Some([lows, highs])) = (gaps, &mut tally.windows) {
        let half_m = 0.5 * bag.width_m() - bag.edge_side_m();
        // Landings on the way up exist on a rising top only.
        let windows = if bag.climb() > 0.0 { 2 } else { 1 };
        for (low, high) in lists.low.iter().zip(&lists.high).take(windows) {
            for i in 0..many {
                if low[i] <= high[i] && lists.across[i].abs() <= half_m {
                    lows.add(low[i]);
                    highs.add(high[i]);
                }
            }
        }
    }
}

/// [`DRAWN`] runs: what was drawn, and what became of each.
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

/// Which deviations a [`Shot`] is of.
#[derive(Clone, Copy, Debug)]
pub(super) enum Deviate<'a> {
    /// Those of the plain sampling's runs from this number on, good and botched.
    Tries(u64),
    /// One kind of try about a point other than the site's values: first run, stream, where.
    About(u64, u32, &'a About),
    /// Those that stand in the shot already.
    Given,
}

#[inline(always)]
fn shoot<N: Pack, R: Pack, F: Pack>(job: &Job<'_>, deviate: &Deviate<'_>, shot: &mut Shot) {
    match *deviate {
        Deviate::Tries(first) => {
            draw_tries(first, job.seed, job.uncertainty, &mut shot.deviations);
        }
        Deviate::About(first, stream, about) => {
            draw(first, job.seed, stream, &mut shot.deviations);
            for (list, middle) in shot.deviations.iter_mut().zip(about.middle) {
                for value in list {
                    *value = *value * about.width + middle;
                }
            }
        }
        Deviate::Given => {}
    }
    let mut lists = Lists::NEW;
    fly_all::<N, R, F>(job, false, &shot.deviations, &mut lists);
    name_all(job.setup.bag(), &lists, &mut shot.outcome);
    (shot.along, shot.across) = (lists.along, lists.across);
}

/// Takes [`DRAWN`] runs: job, which, into.
pub(super) type Shoot = fn(&Job<'_>, &Deviate<'_>, &mut Shot);

/// The kernel that takes a [`Shot`], with at most as many lanes as asked.
pub(super) fn shoot_over(lanes: u32) -> Shoot {
    dispatch::kernels(lanes).1
}

pub(super) use dispatch::lanes_asked;

/// The kernels compiled for what the processor has; every version gives the same bits.
mod dispatch {
    use super::{Both, Deviate, Job, Shoot, Shot, Tally, block, shoot};

    type Block = fn(&Job<'_>, u64, u64, &mut Tally) -> Both;

    #[cfg(target_arch = "x86_64")]
    #[allow(unsafe_code)]
    mod x86 {
        use super::super::super::pack::Two;
        use super::super::super::pack::x86::{Pack4, Pack8, Pack16};
        use super::{Both, Deviate, Job, Shot, Tally, block, shoot};

        type Four<P> = Two<Two<P>>;

        #[target_feature(enable = "avx512f,avx512dq,avx512vl,avx512bw")]
        fn wide(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Both {
            block::<Pack16, Two<Four<Pack16>>, Four<Pack16>>(job, first, count, tally)
        }

        #[target_feature(enable = "avx2")]
        fn middle(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Both {
            block::<Pack8, Four<Pack8>, Four<Pack8>>(job, first, count, tally)
        }

        #[target_feature(enable = "avx512f,avx512dq,avx512vl,avx512bw")]
        fn wide_shot(job: &Job<'_>, deviate: &Deviate<'_>, shot: &mut Shot) {
            shoot::<Pack16, Two<Four<Pack16>>, Four<Pack16>>(job, deviate, shot);
        }

        #[target_feature(enable = "avx2")]
        fn middle_shot(job: &Job<'_>, deviate: &Deviate<'_>, shot: &mut Shot) {
            shoot::<Pack8, Four<Pack8>, Four<Pack8>>(job, deviate, shot);
        }

        pub(super) fn avx512(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Both {
            // SAFETY: only handed out where the processor was found to have these features.
            unsafe { wide(job, first, count, tally) }
        }

        pub(super) fn avx2(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Both {
            // SAFETY: only handed out where the processor was found to have this feature.
            unsafe { middle(job, first, count, tally) }
        }

        pub(super) fn sse2(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Both {
            block::<Pack4, Four<Pack4>, Four<Pack4>>(job, first, count, tally)
        }

        pub(super) fn avx512_shot(job: &Job<'_>, deviate: &Deviate<'_>, shot: &mut Shot) {
            // SAFETY: only handed out where the processor was found to have these features.
            unsafe { wide_shot(job, deviate, shot) }
        }

        pub(super) fn avx2_shot(job: &Job<'_>, deviate: &Deviate<'_>, shot: &mut Shot) {
            // SAFETY: only handed out where the processor was found to have this feature.
            unsafe { middle_shot(job, deviate, shot) }
        }

        pub(super) fn sse2_shot(job: &Job<'_>, deviate: &Deviate<'_>, shot: &mut Shot) {
            shoot::<Pack4, Four<Pack4>, Four<Pack4>>(job, deviate, shot);
        }
    }

    #[cfg(all(target_family = "wasm", target_feature = "simd128"))]
    fn wasm(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Both {
        use super::super::pack::wasm::Pack4;
        block::<Pack4, Pack4, Pack4>(job, first, count, tally)
    }

    #[cfg(all(target_family = "wasm", target_feature = "simd128"))]
    fn wasm_shot(job: &Job<'_>, deviate: &Deviate<'_>, shot: &mut Shot) {
        use super::super::pack::wasm::Pack4;
        shoot::<Pack4, Pack4, Pack4>(job, deviate, shot);
    }

    // Every 64-bit Arm processor has these registers: nothing to look for.
    #[cfg(target_arch = "aarch64")]
    fn neon(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Both {
        use super::super::pack::{Two, neon::Pack4};
        block::<Pack4, Two<Pack4>, Two<Pack4>>(job, first, count, tally)
    }

    #[cfg(target_arch = "aarch64")]
    fn neon_shot(job: &Job<'_>, deviate: &Deviate<'_>, shot: &mut Shot) {
        use super::super::pack::{Two, neon::Pack4};
        shoot::<Pack4, Two<Pack4>, Two<Pack4>>(job, deviate, shot);
    }

    fn single(job: &Job<'_>, first: u64, count: u64, tally: &mut Tally) -> Both {
        block::<f32, f32, f32>(job, first, count, tally)
    }

    fn single_shot(job: &Job<'_>, deviate: &Deviate<'_>, shot: &mut Shot) {
        shoot::<f32, f32, f32>(job, deviate, shot);
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
