//! The standard normal distribution's survival function.

/// The chance that a standard normal is over `z`: ½ erfc(z/√2), relatively accurate into the upper tail.
#[must_use]
pub fn survival(z: f32) -> f32 {
    0.5 * libm::erfcf(z * core::f32::consts::FRAC_1_SQRT_2)
}

/// The chance that a normal of this mean and standard deviation is over `value`; a step where nothing varies.
pub(crate) fn over(value: f32, mean: f32, sd: f32) -> f32 {
    if sd > 0.0 {
        survival((value - mean) / sd)
    } else if value < mean {
        1.0
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `scipy.stats.norm.sf(z)`, SciPy 1.17.1.
    #[test]
    fn survival_follows_scipy_into_the_tail() {
        for (z, expected) in [
            (-6.0, 1.0),
            (-1.0, 0.841_344_8),
            (0.0, 0.5),
            (0.5, 0.308_537_54),
            (1.0, 0.158_655_25),
            (2.0, 0.022_750_132),
            (3.0, 0.001_349_898),
            (4.0, 3.167_124_2e-5),
            (5.0, 2.866_515_7e-7),
            (5.2, 9.964_426e-8),
            (6.0, 9.865_877e-10),
            (8.0, 6.220_960_6e-16),
        ] {
            let got = survival(z);
            // Rounding z by 6e-8 of itself moves the tail by z² times that.
            assert!((got - expected).abs() <= 5.0e-6 * expected, "{z}: {got} for {expected}");
        }
        assert_eq!((over(1.0, 2.0, 0.0), over(2.0, 2.0, 0.0)), (1.0, 0.0));
    }
}
