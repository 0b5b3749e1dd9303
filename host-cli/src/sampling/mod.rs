//! Sampling: many runs with random inputs, in parallel, the same result at any number of threads.

mod kernel;
pub mod pack;
pub mod quantile;
pub mod random;
pub mod tails;

pub use kernel::{Job, Sampled, Stop, sample, sample_over};
