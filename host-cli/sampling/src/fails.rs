//! The runs of a sampling that fail, kept to be flown again with other inputs.
//!
//! A search moves one input and asks each time how many runs fail. Close to the answer few do, and the runs that fail
//! somewhere between two values nearly all fail at one of the two: only these are flown again.

use super::kernel::{Deviate, Job, Shot, Stop, lanes_asked, shoot_over};
use super::random::DRAWN;
use landfall_core::bag::Outcome;
use landfall_core::inputs::COUNT;
use rayon::prelude::*;
use std::sync::atomic::Ordering;

/// A run that failed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fail {
    /// Number of the run.
    pub run: u64,
    /// Deviations of its inputs; of a botched try stretched already.
    pub deviations: [f32; COUNT],
}

/// The runs of a job whose outcome `counts`, in their order; its `bounds` and `gaps_to_m` are not looked at. `None` if
/// it was asked to stop. The same at any number of threads and lanes.
pub fn fails(job: &Job<'_>, counts: impl Fn(Outcome) -> bool + Sync, stop: &Stop) -> Option<Vec<Fail>> {
    fails_over(job, counts, stop, lanes_asked())
}

/// The same with at most `lanes` runs in a register.
pub fn fails_over(
    job: &Job<'_>,
    counts: impl Fn(Outcome) -> bool + Sync,
    stop: &Stop,
    lanes: u32,
) -> Option<Vec<Fail>> {
    let counted = Outcome::ALL.map(counts);
    let shoot = shoot_over(lanes);
    let width = DRAWN as u64;
    let list: Vec<Option<Vec<Fail>>> = (0..job.samples.div_ceil(width))
        .into_par_iter()
        .map_init(
            || Box::new(Shot::NEW),
            |shot, block| {
                if stop.asked.load(Ordering::Relaxed) {
                    return None;
                }
                let first = job.first + block * width;
                shoot(job, &Deviate::Tries(first), shot);
                let many = (job.samples - block * width).min(width) as usize;
                stop.done.fetch_add(many as u64, Ordering::Relaxed);
                let failed = (0..many).filter(|i| counted[usize::from(shot.outcome[*i])]);
                Some(
                    failed
                        .map(|i| Fail { run: first + i as u64, deviations: shot.deviations.map(|list| list[i]) })
                        .collect(),
                )
            },
        )
        .collect();
    let list: Option<Vec<Vec<Fail>>> = list.into_iter().collect();
    Some(list?.concat())
}

/// How many of these runs have an outcome that `counts` with the inputs of a job.
pub fn still(job: &Job<'_>, list: &[Fail], counts: impl Fn(Outcome) -> bool) -> u64 {
    let counted = Outcome::ALL.map(counts);
    let shoot = shoot_over(lanes_asked());
    let mut shot = Box::new(Shot::NEW);
    let mut sum = 0;
    for part in list.chunks(DRAWN) {
        for (i, fail) in part.iter().enumerate() {
            for (list, value) in shot.deviations.iter_mut().zip(fail.deviations) {
                list[i] = value;
            }
        }
        shoot(job, &Deviate::Given, &mut shot);
        sum += shot.outcome[..part.len()].iter().filter(|outcome| counted[usize::from(**outcome)]).count() as u64;
    }
    sum
}
