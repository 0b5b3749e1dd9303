//! Where landings fall, by both methods, and the rare misses.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use super::{OrWhy, Who};

/// Where landings fall, by both methods.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Spread {
    /// By divided differences: 27 runs.
    pub differences: OrWhy<Differences>,
    /// By sampling.
    pub sampling: Option<Sampling>,
    /// Whether the two agree within four standard errors and 2 %; where not, the sampling is trusted.
    pub methods_agree: OrWhy<bool>,
    /// Chances of a miss that plain sampling sees few of, by importance sampling.
    pub tails: Option<Tails>,
}

/// Chances of a miss of the three riders by importance sampling, down to 1 in 1,000 million.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Tails {
    /// The rider with the largest of them: mean, lightest or heaviest.
    pub worst: Who,
    /// The mean rider's.
    pub mean: Tail,
    /// The lightest rider's.
    pub lightest: Tail,
    /// The heaviest rider's.
    pub heaviest: Tail,
}

/// A chance of a miss by importance sampling.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Tail {
    /// Chance of missing the landing field; where it is below 1 in 1,000 million that bound.
    pub miss: f64,
    /// Lower end of its 95 % interval; 0 where only the bound is known.
    pub miss_low: f64,
    /// Upper end.
    pub miss_high: f64,
    /// The part of each outcome in the chance, estimated however small.
    pub outcomes: BTreeMap<&'static str, f64>,
    /// Runs of the estimate that missed.
    pub misses: u64,
    /// Runs of the estimate.
    pub samples: u64,
}

/// By divided differences.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Differences {
    /// Mean from the front edge.
    pub mean_along_m: f64,
    /// Standard deviation along.
    pub sd_along_m: f64,
    /// Mean from the centre line.
    pub mean_across_m: f64,
    /// Standard deviation across.
    pub sd_across_m: f64,
    /// Each input's share of the variance along.
    pub shares_along: BTreeMap<&'static str, f64>,
    /// Each input's share of the variance across.
    pub shares_across: BTreeMap<&'static str, f64>,
    /// How far the landing moves along with one standard deviation more of each input.
    pub one_sd_along_m: BTreeMap<&'static str, f64>,
    /// How far it moves across.
    pub one_sd_across_m: BTreeMap<&'static str, f64>,
    /// Mean speed into the top.
    pub mean_normal_mps: f64,
    /// Its standard deviation.
    pub sd_normal_mps: f64,
}

/// By sampling.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Sampling {
    /// Mean from the front edge, over the runs that reach the plane.
    pub mean_along_m: OrWhy<f64>,
    /// Standard deviation along.
    pub sd_along_m: OrWhy<f64>,
    /// Mean from the centre line.
    pub mean_across_m: OrWhy<f64>,
    /// Standard deviation across.
    pub sd_across_m: OrWhy<f64>,
    /// Correlation of along and across.
    pub correlation: OrWhy<f64>,
    /// Mean speed into the top.
    pub mean_normal_mps: OrWhy<f64>,
    /// Its standard deviation.
    pub sd_normal_mps: OrWhy<f64>,
    /// One landing in a thousand is before this.
    pub along_p001_m: OrWhy<f64>,
    /// Half of the landings are before this.
    pub along_p50_m: OrWhy<f64>,
    /// One landing in a thousand is beyond this.
    pub along_p999_m: OrWhy<f64>,
    /// One landing in a thousand is to the right of this.
    pub across_p001_m: OrWhy<f64>,
    /// One landing in a thousand is to the left of this.
    pub across_p999_m: OrWhy<f64>,
    /// One landing in a thousand is faster into the top than this.
    pub normal_p999_mps: OrWhy<f64>,
    /// Share of each outcome.
    pub outcomes: BTreeMap<&'static str, f64>,
    /// Chance of missing the landing field; with no miss in N runs the bound 3/N.
    pub miss: f64,
    /// Lower end of its 95 % interval (Clopper–Pearson).
    pub miss_low: f64,
    /// Upper end.
    pub miss_high: f64,
    /// Runs that missed.
    pub misses: u64,
    /// Runs.
    pub samples: u64,
    /// Seed.
    pub seed: u64,
    /// Share of the landings in each of equal parts about the mean, with the part's middle; for drawing, not printed.
    #[serde(skip)]
    pub along_shape: Vec<(f64, f64)>,
}
