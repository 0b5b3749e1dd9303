//! The tries that the plan's own sampling draws, good and botched, one after the other.

use landfall_core::inputs::{COUNT, Uncertainty};
use landfall_sampling::random::{DRAWN, Deviations, draw_tries};

/// One try.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Try {
    /// Deviations in standard deviations, those of a botched try stretched already: to be taken with
    /// [`Uncertainty::good_tries`].
    pub deviations: [f32; COUNT],
    /// Whether it is botched.
    pub botched: bool,
}

/// So many tries.
pub(crate) fn drawn_tries(runs: usize, seed: u64, uncertainty: &Uncertainty) -> Vec<Try> {
    let mut block: Deviations = [[0.0; DRAWN]; COUNT];
    let mut all = Vec::with_capacity(runs);
    while all.len() < runs {
        let botched = draw_tries(all.len() as u64, seed, uncertainty, &mut block);
        let left = DRAWN.min(runs - all.len());
        let one =
            |lane: usize| Try { deviations: std::array::from_fn(|which| block[which][lane]), botched: botched[lane] };
        all.extend((0..left).map(one));
    }
    all
}
