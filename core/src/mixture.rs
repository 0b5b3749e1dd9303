//! Good and botched tries together: the divided differences of both kinds, and the mixture of the two normals.
//!
//! With q the share of botched tries, m the means and s the standard deviations of the two kinds,
//!
//! mean = (1 − q) m_g + q m_b,
//! variance = (1 − q) s_g² + q s_b² + q (1 − q) (m_g − m_b)²,
//! chance over v = (1 − q) S((v − m_g)/s_g) + q S((v − m_b)/s_b),
//!
//! S the survival function of the standard normal. That each kind's landings are normal is an approximation; where the
//! response is not close to linear, sampling says so.

use crate::inputs::{COUNT, Uncertainty};
use crate::normal::over;
use crate::ride::Steps;
use crate::run::Setup;
use crate::spread::{Differences, differences};

/// The spread of good tries, of botched ones, and how many are botched.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Mixture {
    /// Good tries.
    pub good: Differences,
    /// Botched tries; the good ones again where none is botched.
    pub botched: Differences,
    /// Share of botched tries, 0..1.
    pub share: f32,
}

/// Finds the spread of both kinds of try; `None` where a run of either set does not come down on the bag's plane.
/// Botched runs are not made where their share is 0, nor good ones where it is 1.
#[must_use]
pub fn mixture(setup: &Setup, uncertainty: &Uncertainty, steps: &Steps) -> Option<Mixture> {
    let share = uncertainty.botched;
    let of = |kind: Uncertainty| differences(setup, &kind, steps);
    let (good, botched) = if share <= 0.0 {
        let good = of(uncertainty.good_tries())?;
        (good, good)
    } else if share >= 1.0 {
        let botched = of(uncertainty.botched_tries())?;
        (botched, botched)
    } else {
        (of(uncertainty.good_tries())?, of(uncertainty.botched_tries())?)
    };
    Some(Mixture { good, botched, share })
}

/// One quantity of both kinds: mean and standard deviation.
#[derive(Clone, Copy)]
struct Two {
    good: (f32, f32),
    botched: (f32, f32),
    share: f32,
}

impl Two {
    /// One kind alone where the other has no share, so that its bits are that kind's.
    fn mixed(&self, good: f32, botched: f32) -> f32 {
        if self.share <= 0.0 {
            good
        } else if self.share >= 1.0 {
            botched
        } else {
            (1.0 - self.share) * good + self.share * botched
        }
    }

    fn mean(&self) -> f32 {
        self.mixed(self.good.0, self.botched.0)
    }

    fn sd(&self) -> f32 {
        if self.share <= 0.0 || self.share >= 1.0 {
            return self.mixed(self.good.1, self.botched.1);
        }
        let apart = self.good.0 - self.botched.0;
        let inside = self.mixed(self.good.1 * self.good.1, self.botched.1 * self.botched.1);
        libm::sqrtf(inside + self.share * (1.0 - self.share) * apart * apart)
    }

    fn over(&self, value: f32) -> f32 {
        self.mixed(over(value, self.good.0, self.good.1), over(value, self.botched.0, self.botched.1))
    }

    /// The same seen from the other side: what lies below lies over.
    fn turned(&self) -> Self {
        Self { good: (-self.good.0, self.good.1), botched: (-self.botched.0, self.botched.1), share: self.share }
    }

    /// The value that is passed with this chance. The chance falls with the value, so halving closes in on it.
    fn passed_with(&self, chance: f32) -> f32 {
        // Beyond 13.5 standard deviations a single-precision survival function is 0.
        const REACH: f32 = 13.5;
        let ends = |sign: f32| {
            let (good, botched) =
                (self.good.0 + sign * REACH * self.good.1, self.botched.0 + sign * REACH * self.botched.1);
            if self.share <= 0.0 {
                (good, good)
            } else if self.share >= 1.0 {
                (botched, botched)
            } else {
                (good, botched)
            }
        };
        let (low, high) = (ends(-1.0), ends(1.0));
        let (mut low, mut high) = (libm::fminf(low.0, low.1), libm::fmaxf(high.0, high.1));
        for _ in 0..64 {
            let middle = 0.5 * (low + high);
            if !(low < middle && middle < high) {
                break;
            }
            if self.over(middle) > chance {
                low = middle;
            } else {
                high = middle;
            }
        }
        high
    }

    fn quantile(&self, below: f32) -> f32 {
        // From the nearer side, so that a small chance keeps its digits.
        if below > 0.5 { self.passed_with(1.0 - below) } else { -self.turned().passed_with(below) }
    }
}

impl Mixture {
    fn along(&self) -> Two {
        let of = |kind: &Differences| (kind.mean_along_m, kind.sd_along_m);
        Two { good: of(&self.good), botched: of(&self.botched), share: self.share }
    }

    fn across(&self) -> Two {
        let of = |kind: &Differences| (kind.mean_across_m, kind.sd_across_m);
        Two { good: of(&self.good), botched: of(&self.botched), share: self.share }
    }

    fn normal(&self) -> Two {
        let of = |kind: &Differences| (kind.mean_normal_mps, kind.sd_normal_mps);
        Two { good: of(&self.good), botched: of(&self.botched), share: self.share }
    }

    /// Mean distance from the bag's front edge.
    #[must_use]
    pub fn mean_along_m(&self) -> f32 {
        self.along().mean()
    }

    /// Its standard deviation.
    #[must_use]
    pub fn sd_along_m(&self) -> f32 {
        self.along().sd()
    }

    /// Mean distance from the bag's centre line.
    #[must_use]
    pub fn mean_across_m(&self) -> f32 {
        self.across().mean()
    }

    /// Its standard deviation.
    #[must_use]
    pub fn sd_across_m(&self) -> f32 {
        self.across().sd()
    }

    /// Covariance of the two.
    #[must_use]
    pub fn covariance_m2(&self) -> f32 {
        let inside = self.along().mixed(self.good.covariance_m2, self.botched.covariance_m2);
        let apart = (self.good.mean_along_m - self.botched.mean_along_m)
            * (self.good.mean_across_m - self.botched.mean_across_m);
        inside + self.share * (1.0 - self.share) * apart
    }

    /// Mean speed into the top.
    #[must_use]
    pub fn mean_normal_mps(&self) -> f32 {
        self.normal().mean()
    }

    /// Its standard deviation.
    #[must_use]
    pub fn sd_normal_mps(&self) -> f32 {
        self.normal().sd()
    }

    /// The distance from the front edge below which a share of the landings falls.
    ///
    /// Valid for shares in 1e-7..1 − 1e-7; beyond that single precision has no more digits.
    #[must_use]
    pub fn along_quantile_m(&self, below: f32) -> f32 {
        self.along().quantile(below)
    }

    /// The distance from the centre line below which a share of the landings falls.
    #[must_use]
    pub fn across_quantile_m(&self, below: f32) -> f32 {
        self.across().quantile(below)
    }

    /// The speed into the top below which a share of the landings is.
    #[must_use]
    pub fn normal_quantile_mps(&self, below: f32) -> f32 {
        self.normal().quantile(below)
    }

    /// The speed into the top that is passed with a chance, which keeps its digits however small it is.
    #[must_use]
    pub fn normal_passed_mps(&self, chance: f32) -> f32 {
        self.normal().passed_with(chance)
    }

    /// The chance that the speed into the top is over `speed_mps`.
    #[must_use]
    pub fn normal_survival(&self, speed_mps: f32) -> f32 {
        self.normal().over(speed_mps)
    }

    /// Each input's share of the variance along, of the terms of both kinds mixed; summing to 1 (0 each where nothing
    /// varies). The distance of the two means is no input's.
    #[must_use]
    pub fn shares_along(&self) -> [f32; COUNT] {
        let of = |kind: &Differences| (kind.shares_along, kind.sd_along_m);
        self.shares(of(&self.good), of(&self.botched))
    }

    /// Each input's share of the variance across.
    #[must_use]
    pub fn shares_across(&self) -> [f32; COUNT] {
        let of = |kind: &Differences| (kind.shares_across, kind.sd_across_m);
        self.shares(of(&self.good), of(&self.botched))
    }

    fn shares(&self, good: ([f32; COUNT], f32), botched: ([f32; COUNT], f32)) -> [f32; COUNT] {
        if self.share <= 0.0 {
            return good.0;
        }
        let good_m2 = (1.0 - self.share) * good.1 * good.1;
        let botched_m2 = self.share * botched.1 * botched.1;
        let sum_m2 = good_m2 + botched_m2;
        let mut mixed = [0.0; COUNT];
        if sum_m2 > 0.0 {
            for ((mixed, good), botched) in mixed.iter_mut().zip(good.0).zip(botched.0) {
                *mixed = (good * good_m2 + botched * botched_m2) / sum_m2;
            }
        }
        mixed
    }

    /// The landing at mean + one standard deviation of each input of a good try less the landing at the means: along,
    /// across.
    #[must_use]
    pub fn one_sd_m(&self) -> [[f32; 2]; COUNT] {
        self.good.one_sd_m
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind(mean: f32, sd: f32) -> Differences {
        let mut shares_along = [0.0; COUNT];
        (shares_along[5], shares_along[7]) = (0.75, 0.25);
        Differences {
            mean_along_m: mean,
            sd_along_m: sd,
            mean_across_m: mean,
            sd_across_m: sd,
            covariance_m2: 0.0,
            mean_normal_mps: mean,
            sd_normal_mps: sd,
            shares_along,
            shares_across: [0.0; COUNT],
            one_sd_m: [[0.0; 2]; COUNT],
        }
    }

    /// Roots (`scipy.optimize.brentq`) of (1 − q) `norm.sf` + q `norm.sf`, and of the same with `norm.cdf`, SciPy 1.17.1:
    /// values passed with chance 0.5, 0.05, 1e-3, 1e-5, 1e-7; values below which 1e-3 and 1e-7 lies; mean and standard
    /// deviation by the formulas of the mixture in double precision.
    #[test]
    fn quantiles_follow_scipy_into_both_tails() {
        #[rustfmt::skip]
        let cases = [
            ((7.0, 0.35), 0.05, (7.1, 0.7), [7.0025561, 7.611169, 8.5391314, 9.5780587, 10.327968], [5.6468411, 3.8720323],
             (7.005, 0.37596542)),
            ((6.0, 0.2), 0.2, (5.8, 0.9), [5.9895424, 6.4902906, 8.1182464, 9.3015327, 10.202475], [3.4817536, 1.3975254],
             (5.96, 0.44766059)),
            ((8.0, 0.5), 0.0, (8.0, 1.0), [8.0, 8.8224268, 9.5451162, 10.132445, 10.599669], [6.4548838, 5.4003312],
             (8.0, 0.5)),
            ((6.5, 0.4), 1.0, (6.4, 0.8), [6.4, 7.7158829, 8.8721858, 9.8119126, 10.55947], [3.9278142, 2.2405299],
             (6.4, 0.8)),
        ];
        for (good, share, botched, passed, below, (mean, sd)) in cases {
            let mixture = Mixture { good: kind(good.0, good.1), botched: kind(botched.0, botched.1), share };
            // 1e-5 m/s: rounding of the value (5e-7), of the chance, and of erfc's argument.
            let close = |got: f32, expected: f64, what: &str| {
                assert!((f64::from(got) - expected).abs() < 1.0e-5, "{what}: {got} for {expected}");
            };
            for (chance, expected) in [0.5, 0.05, 1.0e-3, 1.0e-5, 1.0e-7].into_iter().zip(passed) {
                close(mixture.normal_passed_mps(chance), expected, "passed with");
                let back = mixture.normal_survival(expected as f32);
                assert!((back / chance - 1.0).abs() < 2.0e-5, "{back} for {chance}");
                // Its place counted from below, as far as one less the chance has digits.
                if chance >= 1.0e-3 {
                    assert!((f64::from(mixture.along_quantile_m(1.0 - chance)) - expected).abs() < 5.0e-5);
                }
            }
            for (share_below, expected) in [1.0e-3, 1.0e-7].into_iter().zip(below) {
                close(mixture.along_quantile_m(share_below), expected, "below");
                close(mixture.across_quantile_m(share_below), expected, "below");
                close(mixture.normal_quantile_mps(share_below), expected, "below");
            }
            close(mixture.mean_along_m(), mean, "mean");
            close(mixture.sd_along_m(), sd, "sd");
        }
    }

    #[test]
    fn shares_are_those_of_the_mixed_terms() {
        let mut botched = kind(5.0, 0.6);
        (botched.shares_along[5], botched.shares_along[7]) = (0.2, 0.8);
        let mixture = Mixture { good: kind(4.0, 0.3), botched, share: 0.1 };
        // 0.9 × 0.09 of 0.75 and 0.1 × 0.36 of 0.2, over 0.117; the 0.09 m² between the means is nobody's.
        let shares = mixture.shares_along();
        assert!((shares[5] - (0.081 * 0.75 + 0.036 * 0.2) / 0.117).abs() < 1.0e-6);
        assert!((shares.iter().sum::<f32>() - 1.0).abs() < 1.0e-6);
        assert!((mixture.sd_along_m() - libm::sqrtf(0.117 + 0.09)).abs() < 1.0e-6);
        assert_eq!(mixture.shares_across(), [0.0; COUNT]);
        assert!((mixture.covariance_m2() - 0.09).abs() < 1.0e-6);
    }

    #[test]
    fn where_nothing_varies_the_quantile_is_the_value() {
        let still = Mixture { good: kind(6.0, 0.0), botched: kind(6.0, 0.0), share: 0.05 };
        assert_eq!(still.normal_quantile_mps(0.999), 6.0);
        assert_eq!(still.normal_passed_mps(1.0e-7), 6.0);
        assert_eq!((still.normal_survival(5.9), still.normal_survival(6.0)), (1.0, 0.0));
        assert_eq!(still.sd_normal_mps(), 0.0);
    }
}
