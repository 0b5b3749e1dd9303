//! The tries that the plan's own sampling draws, good and botched, one after the other.

use landfall_core::inputs::{COUNT, Uncertainty};
use landfall_sampling::random::{DRAWN, Deviations, draw_tries};

/// Deviations of so many tries in standard deviations, those of botched ones stretched already: to be taken with
/// [`Uncertainty::good_tries`].
pub(crate) fn drawn_tries(runs: usize, seed: u64, uncertainty: &Uncertainty) -> Vec<[f32; COUNT]> {
    let mut block: Deviations = [[0.0; DRAWN]; COUNT];
    let mut all = Vec::with_capacity(runs);
    while all.len() < runs {
        draw_tries(all.len() as u64, seed, uncertainty, &mut block);
        let left = DRAWN.min(runs - all.len());
        all.extend((0..left).map(|lane| std::array::from_fn(|which| block[which][lane])));
    }
    all
}
