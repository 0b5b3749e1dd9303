//! Shares of counted runs.

use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF, StudentsT};
use statrs::function::beta::beta_reg;

/// So many of so many.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Share {
    /// How many.
    pub count: usize,
    /// Of how many.
    pub of: usize,
    /// The share lies above this, in 0 to 1.
    pub low: f64,
    /// The share lies below this.
    pub high: f64,
}

/// The share behind a count, by the exact interval of C. J. Clopper & E. S. Pearson (Biometrika 26:404–413, 1934; from
/// memory): its ends are quantiles of Beta(k, n − k + 1) and Beta(k + 1, n − k).
///
/// Without any run it is anything from 0 to 1.
#[must_use]
pub fn share(count: usize, of: usize, confidence: f64) -> Share {
    let count = count.min(of);
    let (k, n) = (count as f64, of as f64);
    let tail = (1.0 - confidence) / 2.0;
    let low = if count == 0 { 0.0 } else { beta_quantile(k, n - k + 1.0, tail) };
    let high = if count == of { 1.0 } else { beta_quantile(k + 1.0, n - k, 1.0 - tail) };
    Share { count, of, low, high }
}

/// By halving: the regularised function is monotone, and 60 halvings are beyond double precision.
fn beta_quantile(a: f64, b: f64, below: f64) -> f64 {
    let (mut low, mut high) = (0.0_f64, 1.0_f64);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if beta_reg(a, b, middle) < below { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// Rule of three: of what never happened in n runs the chance is below about 3/n, at 95 % (J. A. Hanley & A.
/// Lippman-Hand, JAMA 249:1743–1745, 1983; from memory). At most 1; nothing without a run.
#[must_use]
pub fn rule_of_three(runs: usize) -> Option<f64> {
    (runs > 0).then(|| (3.0 / runs as f64).min(1.0))
}

/// The same exactly, at any confidence: 1 − (1 − confidence)^(1/n).
#[must_use]
pub fn never_seen(runs: usize, confidence: f64) -> Option<f64> {
    (runs > 0).then(|| -((1.0 - confidence).ln() / runs as f64).exp_m1())
}

/// Clean runs in a row that would show, at a confidence, that at least a chance of the runs are clean: the least n with
/// chance^n ≤ 1 − confidence. Nothing for a chance or a confidence that is not between 0 and 1.
#[must_use]
pub fn needed_in_a_row(chance: f64, confidence: f64) -> Option<u64> {
    let inside = |p: f64| p > 0.0 && p < 1.0;
    if !(inside(chance) && inside(confidence)) {
        return None;
    }
    let n = ((1.0 - confidence).ln() / chance.ln()).ceil().max(1.0);
    // What rounding put on the wrong side of a whole number.
    let shows = |n: f64| n * chance.ln() <= (1.0 - confidence).ln() * (1.0 - 1e-12);
    let n = if n > 1.0 && shows(n - 1.0) { n - 1.0 } else { n };
    Some(n as u64)
}

/// Mean and standard deviation of measured values, with the intervals of a normal scatter.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Scatter {
    /// How many values.
    pub count: usize,
    /// Mean.
    pub mean: f64,
    /// The mean lies above this and below the next (Student's t); nothing for one value.
    pub mean_between: Option<(f64, f64)>,
    /// Standard deviation; nothing for one value.
    pub sd: Option<f64>,
    /// The standard deviation lies above this and below the next (chi-squared).
    pub sd_between: Option<(f64, f64)>,
}

/// The scatter of some values; nothing without any.
#[must_use]
pub fn scatter(values: &[f64], confidence: f64) -> Option<Scatter> {
    let count = values.len();
    if count == 0 {
        return None;
    }
    let n = count as f64;
    let mean = values.iter().sum::<f64>() / n;
    if count == 1 {
        return Some(Scatter { count, mean, mean_between: None, sd: None, sd_between: None });
    }
    let squares = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
    let sd = (squares / (n - 1.0)).sqrt();
    let tail = (1.0 - confidence) / 2.0;
    let t = StudentsT::new(0.0, 1.0, n - 1.0).map(|t| t.inverse_cdf(1.0 - tail)).ok();
    let chi = ChiSquared::new(n - 1.0).ok();
    // The library's own inverse gives 0 for the low tail of few degrees of freedom.
    let chi_at = |below: f64| {
        let (mut low, mut high) = (-60.0_f64, 12.0_f64);
        for _ in 0..80 {
            let middle = 0.5 * (low + high);
            if chi.as_ref().is_some_and(|chi| chi.cdf(middle.exp()) < below) { low = middle } else { high = middle }
        }
        (0.5 * (low + high)).exp()
    };
    Some(Scatter {
        count,
        mean,
        mean_between: t.map(|t| (mean - t * sd / n.sqrt(), mean + t * sd / n.sqrt())),
        sd: Some(sd),
        sd_between: chi.is_some().then(|| ((squares / chi_at(1.0 - tail)).sqrt(), (squares / chi_at(tail)).sqrt())),
    })
}
