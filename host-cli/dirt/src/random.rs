//! Normal deviates from a counted seed: the same draws for the same seed, on any machine.

/// SplitMix64 (Steele, Lea & Flood, OOPSLA 2014; from memory).
pub(crate) struct Draws(u64);

impl Draws {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn word(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Above 0 and up to 1.
    pub fn unit(&mut self) -> f64 {
        ((self.word() >> 11) as f64 + 1.0) / 9_007_199_254_740_992.0
    }

    /// A standard normal deviate (Box & Muller, Ann. Math. Stat. 29, 1958; from memory).
    pub fn normal(&mut self) -> f64 {
        (-2.0 * self.unit().ln()).sqrt() * (std::f64::consts::TAU * self.unit()).cos()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_deviates_are_standard_normal() {
        let mut draws = Draws::new(7);
        let all: Vec<f64> = (0..200_000).map(|_| draws.normal()).collect();
        let n = all.len() as f64;
        let mean = all.iter().sum::<f64>() / n;
        let fourth = all.iter().map(|x| x.powi(4)).sum::<f64>() / n;
        let sd = (all.iter().map(|x| x * x).sum::<f64>() / n - mean * mean).sqrt();
        // Four standard errors: of the mean 0.0022, of the sd 0.0016, of the fourth moment √96/√n = 0.022.
        assert!(
            mean.abs() < 0.009 && (sd - 1.0).abs() < 0.0064 && (fourth - 3.0).abs() < 0.088,
            "{mean} {sd} {fourth}"
        );
    }
}
