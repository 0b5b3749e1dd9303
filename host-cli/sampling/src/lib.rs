//! Sampling: many runs with random inputs, in parallel, the same result at any number of threads.

#![deny(unsafe_code)]

mod fails;
mod kernel;
pub mod pack;
pub mod quantile;
pub mod random;
pub mod tails;

pub use fails::{Fail, fails, fails_over, still};
pub use kernel::{Job, Moments, Sampled, Stop, WINDOWED, sample, sample_over};
