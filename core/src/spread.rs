//! Where landings fall, by divided differences: 2n + 1 runs give mean and covariance to second order.
//!
//! The second-order set of Nørgaard, Poulsen & Ravn (Automatica 36, 2000) with h² = 3. With L0 the
//! landing at the means and L± at mean ± h σ of one input,
//!
//! mean = L0 + Σ (L+ + L− − 2 L0)/(2h²),
//! cov = Σ (L+ − L−)(L+ − L−)ᵀ/(4h²) + Σ (h² − 1)/(4h⁴) (L+ + L− − 2L0)(L+ + L− − 2L0)ᵀ.

pub use crate::mixture::{Mixture, mixture};
pub use crate::normal::survival as standard_normal_survival;

use crate::inputs::{COUNT, Inputs, Uncertain, Uncertainty};
use crate::ride::Steps;
use crate::run::Setup;

/// h² of the set.
const H2: f32 = 3.0;

/// Mean and spread of the landings of one kind of try, and what they come from.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Differences {
    /// Mean distance from the bag's front edge.
    pub mean_along_m: f32,
    /// Its standard deviation.
    pub sd_along_m: f32,
    /// Mean distance from the bag's centre line.
    pub mean_across_m: f32,
    /// Its standard deviation.
    pub sd_across_m: f32,
    /// Covariance of the two.
    pub covariance_m2: f32,
    /// Mean speed into the top.
    pub mean_normal_mps: f32,
    /// Its standard deviation.
    pub sd_normal_mps: f32,
    /// Each input's share of the variance along, summing to 1 (0 each where nothing varies).
    pub shares_along: [f32; COUNT],
    /// Each input's share of the variance across.
    pub shares_across: [f32; COUNT],
    /// The landing at mean + one standard deviation of each input less the landing at the means: along, across.
    pub one_sd_m: [[f32; 2]; COUNT],
}

/// Finds the spread of one kind of try (the share of botched ones is not looked at: see [`mixture`]); `None` where a run of the set does not come down on the bag's plane.
#[must_use]
pub fn differences(setup: &Setup, uncertainty: &Uncertainty, steps: &Steps) -> Option<Differences> {
    let landing = |inputs: &Inputs<f32>| {
        let run = setup.run(inputs, steps);
        run.landed().then_some([run.along_m, run.across_m, run.normal_mps])
    };
    let centre = landing(&uncertainty.at_mean())?;
    let h = libm::sqrtf(H2);
    let mut mean = centre;
    let mut variance = [0.0_f32; 3];
    let mut covariance_m2 = 0.0;
    let mut terms = [[0.0_f32; 3]; COUNT];
    let mut one_sd_m = [[0.0_f32; 2]; COUNT];
    for which in Uncertain::ALL {
        let index = which as usize;
        let at = |deviation: f32| {
            let mut deviations = [0.0; COUNT];
            if let Some(slot) = deviations.get_mut(index) {
                *slot = deviation;
            }
            landing(&uncertainty.at(&deviations))
        };
        let (plus, minus, one) = (at(h)?, at(-h)?, at(1.0)?);
        let odd = |i: usize| plus[i] - minus[i];
        let even = |i: usize| (plus[i] - centre[i]) + (minus[i] - centre[i]);
        let product =
            |i: usize, j: usize| odd(i) * odd(j) / (4.0 * H2) + (H2 - 1.0) / (4.0 * H2 * H2) * even(i) * even(j);
        for i in 0..3 {
            mean[i] += even(i) / (2.0 * H2);
            terms[index][i] = product(i, i);
            variance[i] += product(i, i);
        }
        covariance_m2 += product(0, 1);
        one_sd_m[index] = [one[0] - centre[0], one[1] - centre[1]];
    }
    let shares = |i: usize| terms.map(|term| if variance[i] > 0.0 { term[i] / variance[i] } else { 0.0 });
    Some(Differences {
        mean_along_m: mean[0],
        sd_along_m: libm::sqrtf(variance[0]),
        mean_across_m: mean[1],
        sd_across_m: libm::sqrtf(variance[1]),
        covariance_m2,
        mean_normal_mps: mean[2],
        sd_normal_mps: libm::sqrtf(variance[2]),
        shares_along: shares(0),
        shares_across: shares(1),
        one_sd_m,
    })
}
