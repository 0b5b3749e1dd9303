//! How fast a rider's landings are, into the top.

use crate::mixture::Mixture;
use crate::normal::over;

/// How fast a rider's landings are, into the top.
pub trait NormalSpeeds {
    /// Chance that the normal speed of a landing is over `normal_mps`; it does not rise with the speed.
    fn survival(&self, normal_mps: f32) -> f32;
}

impl NormalSpeeds for Mixture {
    fn survival(&self, normal_mps: f32) -> f32 {
        self.normal_survival(normal_mps)
    }
}

/// A mixture of two normals, good and botched tries.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TwoNormals {
    /// Mean and standard deviation of good tries, m/s.
    pub good_mps: (f32, f32),
    /// Mean and standard deviation of botched tries, m/s.
    pub botched_mps: (f32, f32),
    /// Share of botched tries.
    pub botched: f32,
}

impl NormalSpeeds for TwoNormals {
    fn survival(&self, normal_mps: f32) -> f32 {
        let of = |(mean, sd)| over(normal_mps, mean, sd);
        (1.0 - self.botched) * of(self.good_mps) + self.botched * of(self.botched_mps)
    }
}
