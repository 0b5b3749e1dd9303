//! Far tails: the chance of a miss where plain runs see few misses or none, by importance sampling.
//!
//! With z the deviations of the thirteen inputs, standard normals of density φ, and q the density that the runs are
//! drawn from, the chance is the mean of φ(z)/q(z) over the runs that miss (0 for the others). q is a mixture:
//!
//! - a tenth of plain runs, so that no weight passes ten, whatever was overlooked;
//! - a tenth of runs drawn [`WIDE`] times as wide, which reach what nobody looked for;
//! - a normal about each way to miss. Ways are told apart: near or far end of the landing field, left, right, the
//!   bag's front, a stall, leaving the surface. Wide runs find a first miss of each; its deviations are set to zero
//!   one after the other and drawn in together as long as it stays that miss; then five rounds of runs about it move
//!   the normal to the weighted mean of the misses of its kind (the cross-entropy method of Rubinstein 1999).
//!
//! Each part of the mixture gets a fixed number of runs, and every run is weighed with the density of the whole
//! mixture (the balance heuristic of Veach & Guibas 1995; "defensive" after Hesterberg 1995). The estimate is
//! unbiased whatever the normals are about; what they are about decides only how narrow its interval is.
//!
//! Good and botched tries are estimated apart, each with the deviations of its own: with q of the runs botched the
//! chance is (1 − q) times that of a good try and q times that of a botched one, and the variances add with the squares
//! of these. The runs of the estimate are shared out by what either is found to bring.
//!
//! The interval is that of a log-normal estimate, exp(ln p̂ ± 1.96 s/p̂), with s² the sum of the parts' variances.
//!
//! Assumptions: inputs are independent normals with their clips, out to the tails (assumed; nobody has measured them
//! there). A way to miss whose nearest point lies more than about seven standard deviations out may be overlooked;
//! its chance is then below 1e-11. Chances below [`RESOLVED`] are not told apart from it.

use super::kernel::{About, Deviate, Job, Shoot, Shot, Stop, lanes_asked, shoot_over};
use super::random::DRAWN;
use landfall_core::bag::Outcome;
use landfall_core::inputs::COUNT;
use rayon::prelude::*;
use std::sync::atomic::Ordering;

/// Below this a chance is only said to be below it.
pub const RESOLVED: f64 = 1.0e-9;

/// How much wider the far-reaching part of the mixture is drawn than the plain runs.
pub const WIDE: f32 = 1.6;

/// How much wider the normal about a way to miss is: narrow ones would give single runs large weights.
const ABOUT: f32 = 1.1;

/// Widths of the runs that look for misses.
const LOOKS: [f32; 3] = [1.5, 2.0, 3.0];

/// Rounds that move a normal to the mean of its misses.
const ROUNDS: u32 = 5;

/// Two normals whose middles lie closer than this are one.
const APART: f64 = 1.5;

/// Streams of the generator from here on; the plain sampling's is 0.
const FIRST_STREAM: u32 = 0x0100_0000;

/// How much higher those of the botched tries are.
const BOTCHED_STREAM: u32 = 0x0400_0000;

/// Least share of the estimate's runs for either kind of try.
const LEAST_OF_KIND: f64 = 0.15;

/// How many runs are spent.
#[derive(Clone, Copy, Debug)]
pub struct Effort {
    /// On each look for misses.
    pub look: u64,
    /// On each round about a way to miss.
    pub round: u64,
    /// On the estimate.
    pub estimate: u64,
}

impl Effort {
    /// Enough for a chance of 1 in 10 million to a few per cent.
    pub const USUAL: Self = Self { look: 16_384, round: 4_096, estimate: 262_144 };
}

/// A chance of a miss, with what it comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct Tail {
    /// Chance of missing the landing field.
    pub miss: f64,
    /// Lower end of its 95 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// The part of each outcome in it, in the order of [`Outcome::ALL`] (0 for [`Outcome::On`]).
    pub outcomes: [f64; 9],
    /// Runs of the estimate that missed.
    pub hits: u64,
    /// Runs of the estimate.
    pub runs: u64,
}

/// The ways to miss that are looked for one by one.
const WAYS: usize = 7;

/// Which way a run missed; `None` on the landing field.
fn way(job: &Job<'_>, outcome: u8, along_m: f32, across_m: f32) -> Option<usize> {
    let bag = &job.setup.bag();
    match Outcome::ALL.get(usize::from(outcome))? {
        Outcome::On => None,
        Outcome::Front => Some(4),
        Outcome::Stall => Some(5),
        Outcome::LeavesSurface => Some(6),
        _ if along_m < bag.edge_front_m() => Some(0),
        _ if along_m > bag.length_m() - bag.edge_back_m() => Some(1),
        _ if across_m > 0.0 => Some(2),
        _ => Some(3),
    }
}

type Point = [f64; COUNT];

fn square(z: &Point) -> f64 {
    z.iter().map(|x| x * x).sum()
}

fn square_from(z: &Point, middle: &[f32; COUNT]) -> f64 {
    z.iter().zip(middle).map(|(x, m)| (x - f64::from(*m)).powi(2)).sum()
}

fn point(shot: &Shot, i: usize) -> Point {
    std::array::from_fn(|k| f64::from(shot.deviations[k][i]))
}

/// One part of the mixture.
#[derive(Clone, Copy, Debug)]
struct Part {
    about: About,
    runs: u64,
}

impl Part {
    /// Logarithm of its density times its share, over that of φ's constant.
    fn ln_density(&self, z: &Point, all: u64) -> f64 {
        let width = f64::from(self.about.width);
        let share = self.runs as f64 / all as f64;
        libm::log(share) - COUNT as f64 * libm::log(width) - 0.5 * square_from(z, &self.about.middle) / (width * width)
    }
}

/// Estimates the chance of a miss of a job; its `samples`, `first`, `bounds` and `gaps_to_m` are not looked at.
/// Deterministic for a seed, at any number of threads and
/// lanes, and on any machine: logarithms and powers are `libm`'s. `None` if it was asked to stop.
pub fn tail(job: &Job<'_>, effort: &Effort, stop: &Stop) -> Option<Tail> {
    tail_over(job, effort, stop, lanes_asked())
}

/// The same with at most `lanes` runs in a register.
pub fn tail_over(job: &Job<'_>, effort: &Effort, stop: &Stop, lanes: u32) -> Option<Tail> {
    let botched = f64::from(job.uncertainty.botched).clamp(0.0, 1.0);
    let tries =
        [(1.0 - botched, job.uncertainty.good_tries(), 0), (botched, job.uncertainty.botched_tries(), BOTCHED_STREAM)];
    let shoot = shoot_over(lanes);
    let mut kinds: Vec<(f64, Range<'_>, Vec<Middle>)> = Vec::new();
    for (weight, uncertainty, first_stream) in tries.iter().filter(|(weight, ..)| *weight > 0.0) {
        let job = Job { bounds: None, gaps_to_m: None, uncertainty, ..job.clone() };
        let range = Range { job, shoot, stop, first_stream: *first_stream };
        let middles = range.ways_to_miss(effort)?;
        kinds.push((*weight, range, middles));
    }
    let brings = |weight: f64, middles: &[Middle]| weight * middles.iter().map(|(_, chance)| chance).sum::<f64>();
    let total: f64 = kinds.iter().map(|(weight, _, middles)| brings(*weight, middles)).sum();
    let share = |weight: f64, middles: &[Middle]| match (kinds.len(), total > 0.0) {
        (1, _) => 1.0,
        (_, true) => (brings(weight, middles) / total).clamp(LEAST_OF_KIND, 1.0 - LEAST_OF_KIND),
        (_, false) => 0.5,
    };
    let mut all = Estimate::default();
    for (weight, range, middles) in &kinds {
        let runs = share(*weight, middles) * effort.estimate as f64;
        all.add(*weight, &range.estimate(&mixture(middles, runs))?);
    }
    Some(all.tail())
}

/// The middle of a way to miss, with its chance.
type Middle = ([f32; COUNT], f64);

/// Sums of the estimate.
#[derive(Clone, Copy, Default)]
struct Estimate {
    miss: f64,
    variance: f64,
    outcomes: [f64; 9],
    hits: u64,
    runs: u64,
}

impl Estimate {
    fn add(&mut self, weight: f64, other: &Self) {
        self.miss += weight * other.miss;
        self.variance += weight * weight * other.variance;
        self.outcomes.iter_mut().zip(other.outcomes).for_each(|(sum, x)| *sum += weight * x);
        self.hits += other.hits;
        self.runs += other.runs;
    }

    /// The chance with its interval. No estimate is a chance over 1, although weighted runs can sum to a little more.
    fn tail(&self) -> Tail {
        let over = self.miss.max(1.0);
        let mut tail = Tail {
            miss: self.miss / over,
            low: 0.0,
            high: 0.0,
            outcomes: self.outcomes.map(|part| part / over),
            hits: self.hits,
            runs: self.runs,
        };
        if tail.miss > 0.0 {
            let factor = libm::exp(1.96 * self.variance.sqrt() / self.miss);
            (tail.low, tail.high) = (tail.miss / factor, (tail.miss * factor).min(1.0));
        }
        tail
    }
}

/// Where runs are taken: the job, the kernel for the registers there are, the flag to stop.
struct Range<'a> {
    job: Job<'a>,
    shoot: Shoot,
    stop: &'a Stop,
    first_stream: u32,
}

impl Range<'_> {
    /// Draws `runs` in blocks and lets `each` look at the misses of each block; the blocks' answers come in order.
    /// `None` if it was asked to stop.
    fn blocks<T: Send>(
        &self,
        (runs, stream): (u64, u32),
        about: &About,
        each: impl Fn(&Shot, &mut T) + Sync,
        empty: impl Fn() -> T + Sync,
    ) -> Option<Vec<T>> {
        let list: Vec<Option<T>> = (0..runs.div_ceil(DRAWN as u64))
            .into_par_iter()
            .map(|block| {
                if self.stop.asked.load(Ordering::Relaxed) {
                    return None;
                }
                let mut drawn = Shot::NEW;
                (self.shoot)(&self.job, &Deviate::About(block * DRAWN as u64, stream, about), &mut drawn);
                let mut answer = empty();
                each(&drawn, &mut answer);
                Some(answer)
            })
            .collect();
        list.into_iter().collect()
    }

    /// A middle for each way to miss that is found, with its chance as the last round estimates it.
    fn ways_to_miss(&self, effort: &Effort) -> Option<Vec<Middle>> {
        let job = &self.job;
        let mut middles: Vec<Middle> = Vec::new();
        let mut stream = self.first_stream + FIRST_STREAM;
        let mut nearest = [[None::<Point>; LOOKS.len()]; WAYS];
        for (look, width) in LOOKS.iter().enumerate() {
            let about = About { middle: [0.0; COUNT], width: *width };
            let see = |shot: &Shot, found: &mut [Option<Point>; WAYS]| {
                for i in 0..DRAWN {
                    if let Some(way) = way(job, shot.outcome[i], shot.along[i], shot.across[i]) {
                        keep_nearer(&mut found[way], point(shot, i));
                    }
                }
            };
            for found in self.blocks((effort.look, stream), &about, see, || [None; WAYS])? {
                for (kept, found) in nearest.iter_mut().zip(found) {
                    if let Some(found) = found {
                        keep_nearer(&mut kept[look], found);
                    }
                }
            }
            stream += 1;
        }
        for (kind, starts) in nearest.into_iter().enumerate() {
            let mut own: Vec<Middle> = Vec::new();
            for start in starts.into_iter().flatten() {
                let start = drawn_in(job, kind, start);
                let middle = start.map(|x| x as f32);
                if own.iter().any(|(other, _)| square_from(&start, other) < APART * APART) {
                    continue;
                }
                let found = self.settle(kind, middle, (effort.round, &mut stream))?;
                let close = |other: &[f32; COUNT]| square_from(&found.0.map(f64::from), other) < APART * APART;
                if !own.iter().any(|(other, _)| close(other)) {
                    own.push(found);
                }
            }
            middles.extend(own);
        }
        Some(middles)
    }

    /// Moves a middle to the weighted mean of the misses of its kind; gives their chance, too.
    fn settle(&self, kind: usize, mut middle: [f32; COUNT], (runs, stream): (u64, &mut u32)) -> Option<Middle> {
        let job = &self.job;
        let mut chance = 0.0;
        for _ in 0..ROUNDS {
            let about = About { middle, width: ABOUT };
            let part = Part { about, runs };
            let see = |shot: &Shot, sums: &mut Weighed| {
                for i in 0..DRAWN {
                    if way(job, shot.outcome[i], shot.along[i], shot.across[i]) != Some(kind) {
                        continue;
                    }
                    let z = point(shot, i);
                    let weight = libm::exp(-0.5 * square(&z) - part.ln_density(&z, runs));
                    sums.weight += weight;
                    sums.moment.iter_mut().zip(z).for_each(|(sum, x)| *sum += weight * x);
                }
            };
            let mut all = Weighed::default();
            for sums in self.blocks((runs, *stream), &about, see, Weighed::default)? {
                all.weight += sums.weight;
                all.moment.iter_mut().zip(sums.moment).for_each(|(sum, x)| *sum += x);
            }
            *stream += 1;
            if !(all.weight > 0.0) {
                break;
            }
            middle = all.moment.map(|x| (x / all.weight) as f32);
            chance = all.weight / runs as f64;
        }
        Some((middle, chance))
    }

    /// The estimate from the parts of a mixture.
    fn estimate(&self, parts: &[Part]) -> Option<Estimate> {
        let all: u64 = parts.iter().map(|part| part.runs).sum();
        let weight = |z: &Point| {
            let density: f64 = parts.iter().map(|part| libm::exp(part.ln_density(z, all) + 0.5 * square(z))).sum();
            1.0 / density
        };
        let see = |shot: &Shot, sums: &mut Sums| {
            for i in (0..DRAWN).filter(|i| shot.outcome[*i] != 0) {
                let weight = weight(&point(shot, i));
                sums.hits += 1;
                sums.first += weight;
                sums.second += weight * weight;
                sums.outcomes[usize::from(shot.outcome[i])] += weight;
            }
        };
        let mut estimate = Estimate { runs: all, ..Estimate::default() };
        for (index, part) in parts.iter().enumerate() {
            let stream = self.first_stream + 2 * FIRST_STREAM + index as u32;
            let mut own = Sums::default();
            for sums in self.blocks((part.runs, stream), &part.about, see, Sums::default)? {
                own.hits += sums.hits;
                own.first += sums.first;
                own.second += sums.second;
                own.outcomes.iter_mut().zip(sums.outcomes).for_each(|(sum, x)| *sum += x);
            }
            let runs = part.runs as f64;
            let mean = own.first / runs;
            estimate.variance += runs * (own.second / runs - mean * mean).max(0.0);
            estimate.hits += own.hits;
            estimate.miss += own.first / all as f64;
            estimate.outcomes.iter_mut().zip(own.outcomes).for_each(|(sum, x)| *sum += x / all as f64);
        }
        estimate.variance /= (all as f64).powi(2);
        Some(estimate)
    }
}

fn keep_nearer(kept: &mut Option<Point>, found: Point) {
    if kept.is_none_or(|kept| square(&found) < square(&kept)) {
        *kept = Some(found);
    }
}

/// A miss of the same kind closer to the means: one deviation after the other is left out, then all are drawn in.
fn drawn_in(job: &Job<'_>, kind: usize, start: Point) -> Point {
    let misses = |z: &Point| {
        let run = job.setup.run(&job.uncertainty.at(&z.map(|x| x as f32)), &job.steps);
        let outcome = run.outcome(job.setup.bag(), 0) as u8;
        way(job, outcome, run.along_m, run.across_m) == Some(kind)
    };
    let mut z = start;
    for index in 0..COUNT {
        for part in [0.0, 0.5] {
            let mut nearer = z;
            nearer[index] *= part;
            if misses(&nearer) {
                z = nearer;
                break;
            }
        }
    }
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..10 {
        let middle = 0.5 * (low + high);
        if misses(&z.map(|x| x * middle)) {
            high = middle;
        } else {
            low = middle;
        }
    }
    z.map(|x| x * high)
}

/// Sums over the misses of one kind.
#[derive(Clone, Copy, Default)]
struct Weighed {
    weight: f64,
    moment: Point,
}

/// The parts of the mixture: a tenth plain, a tenth wide, the rest by the chances of the ways, none left with little.
fn mixture(middles: &[Middle], all: f64) -> Vec<Part> {
    const LEAST: f64 = 0.05;
    let total: f64 = middles.iter().map(|(_, chance)| chance).sum();
    let shares: Vec<f64> =
        middles.iter().map(|(_, chance)| if total > 0.0 { (chance / total).max(LEAST) } else { 1.0 }).collect();
    let sum: f64 = shares.iter().sum();
    let whole_blocks = |runs: f64| ((runs / DRAWN as f64).round() as u64).max(1) * DRAWN as u64;
    let plain = |width: f32| Part { about: About { middle: [0.0; COUNT], width }, runs: whole_blocks(0.1 * all) };
    let mut parts = vec![plain(1.0), plain(WIDE)];
    for ((middle, _), share) in middles.iter().zip(shares) {
        let runs = whole_blocks(0.8 * all * share / sum);
        parts.push(Part { about: About { middle: *middle, width: ABOUT }, runs });
    }
    parts
}

/// Sums over the misses of a part.
#[derive(Clone, Copy, Default)]
struct Sums {
    hits: u64,
    first: f64,
    second: f64,
    outcomes: [f64; 9],
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mixture_leaves_no_part_without_runs() {
        let far = [3.0; COUNT];
        let parts = mixture(&[([0.0; COUNT], 1.0e-5), (far, 1.0e-12), (far, 0.0)], 262_144.0);
        assert_eq!(parts.len(), 5);
        assert!(parts.iter().all(|part| part.runs > 5_000 && part.runs.is_multiple_of(DRAWN as u64)), "{parts:?}");
        assert!(mixture(&[([0.0; COUNT], 0.0)], 262_144.0).iter().all(|part| part.runs > 20_000));
        // A plain point under the plain part alone: the density is its share times that of φ.
        let z = [0.5; COUNT];
        let ln = parts[0].ln_density(&z, parts.iter().map(|part| part.runs).sum());
        let share = parts[0].runs as f64 / parts.iter().map(|part| part.runs).sum::<u64>() as f64;
        assert!((ln - (share.ln() - 0.5 * 0.25 * COUNT as f64)).abs() < 1e-12);
    }
}
