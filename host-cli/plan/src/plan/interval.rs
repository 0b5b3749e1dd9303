//! The exact interval of a chance from counted runs.
//!
//! The quantile of a beta distribution is found by halving its distribution function, in a bounded number of steps: a
//! general inverse that hunts for it by Newton's steps need not end where few of very many runs count. `libm`'s
//! functions give the same bits on any machine.

/// ln Γ(x) less Stirling's (x − ½) ln x − x + ½ ln 2π; for x of 10 or more, to 1e-10.
fn stirling_rest(x: f64) -> f64 {
    let inverse2 = 1.0 / (x * x);
    (1.0 / 12.0 - inverse2 * (1.0 / 360.0 - inverse2 * (1.0 / 1260.0 - inverse2 / 1680.0))) / x
}

/// ln B(a, b). With a large number Γ's are not subtracted from each other, which would lose digits.
fn ln_beta(a: f64, b: f64) -> f64 {
    let (a, b) = if a < b { (a, b) } else { (b, a) };
    if b < 10.0 {
        return libm::lgamma(a) + libm::lgamma(b) - libm::lgamma(a + b);
    }
    let rest = stirling_rest(b) - stirling_rest(a + b);
    libm::lgamma(a) - (a + b - 0.5) * libm::log1p(a / b) - a * libm::log(b) + a + rest
}

/// The continued fraction of the incomplete beta function, by Lentz's method (NIST DLMF 8.17.22 and 3.10); it needs some
/// √(a + b) terms.
fn fraction(a: f64, b: f64, x: f64) -> f64 {
    const TINY: f64 = 1.0e-300;
    let away = |value: f64| if value.abs() < TINY { TINY } else { value };
    let terms = 200 + 10 * (a + b).sqrt() as u64;
    let mut c = 1.0;
    let mut d = 1.0 / away(1.0 - (a + b) * x / (a + 1.0));
    let mut sum = d;
    for term in 1..=terms {
        let m = term as f64;
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let mut last = 1.0;
        for factor in [even, odd] {
            d = 1.0 / away(1.0 + factor * d);
            c = away(1.0 + factor / c);
            last = c * d;
            sum *= last;
        }
        if (last - 1.0).abs() < 1.0e-15 {
            break;
        }
    }
    sum
}

/// The distribution function of a beta distribution, I_x(a, b), for x inside (0, 1).
fn beta_below(a: f64, b: f64, x: f64) -> f64 {
    let front = libm::exp(a * libm::log(x) + b * libm::log1p(-x) - ln_beta(a, b));
    if x < (a + 1.0) / (a + b + 2.0) {
        front * fraction(a, b, x) / a
    } else {
        1.0 - front * fraction(b, a, 1.0 - x) / b
    }
}

/// Where the distribution function comes to `share`.
fn beta_quantile(a: f64, b: f64, share: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if beta_below(a, b, middle) < share {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// The exact 95 % interval of a share, by Clopper and Pearson (Biometrika 26, 1934): quantiles of beta distributions.
pub fn clopper_pearson(count: u64, runs: u64) -> (f64, f64) {
    let (k, n) = (count as f64, runs as f64);
    let low = if count == 0 { 0.0 } else { beta_quantile(k, n - k + 1.0, 0.025) };
    let high = if count >= runs { 1.0 } else { beta_quantile(k + 1.0, n - k, 0.975) };
    (low, high)
}

/// The bound below which a chance lies with 95 % (one-sided, exact): with no miss in N runs 3/N.
pub fn upper_95(count: u64, runs: u64) -> f64 {
    let (k, n) = (count as f64, runs as f64);
    if count >= runs { 1.0 } else { beta_quantile(k + 1.0, n - k, 0.95) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `scipy.stats.beta.ppf` of SciPy 1.15.3, for few and many of up to a thousand million runs; the last row by mpmath's
    /// `betainc` with 30 digits, from which SciPy's differs by 9e-9.
    #[test]
    fn few_and_many_of_very_many_runs() {
        for (count, runs, low, high) in [
            (0, 6_000, 0.0, 0.000614624283417639),
            (1, 100, 0.00025314603297742064, 0.054459385392080645),
            (12, 100_000, 6.200723911735969e-05, 0.00020960645805016376),
            (3, 10_000_000, 6.186721656250593e-08, 8.767270541303173e-07),
            (37, 10_000_000, 2.605142752585894e-06, 5.099959044397214e-06),
            (5_000, 10_000_000, 0.00048623924128543853, 0.0005140512819271488),
            (500_000, 10_000_000, 0.0498649990911316, 0.05013526152430794),
            (50, 100, 0.39832112950330106, 0.6016788704966989),
            (100, 100, 0.9637833073548235, 1.0),
            (99_999, 100_000, 0.9999442848396523, 0.9999997468219523),
            (25_000_000, 100_000_000, 0.2499151333071874, 0.25008488116547334),
            (1, 1_000_000_000, 2.5317807983969383e-11, 5.571643378203115e-09),
        ] {
            let got = clopper_pearson(count, runs);
            for (got, expected) in [(got.0, low), (got.1, high)] {
                assert!((got - expected).abs() <= 1e-9 * expected, "{count} of {runs}: {got} for {expected}");
            }
        }
    }

    /// `scipy.stats.beta.ppf(0.95, k + 1, n - k)` of SciPy 1.17.1.
    #[test]
    fn one_sided_bounds() {
        for (count, runs, most) in [
            (0, 100000, 2.9956874019427947e-05),
            (1, 100000, 4.743775717386053e-05),
            (2, 100000, 6.295658396092174e-05),
            (4, 2000, 0.004570865405067662),
            (0, 10000000, 2.9957318248334424e-07),
        ] {
            let got = upper_95(count, runs);
            assert!((got - most).abs() <= 1e-9 * most, "{count} of {runs}: {got} for {most}");
        }
        assert_eq!(upper_95(7, 7), 1.0);
    }

    /// Values of R's `binom.test`: 3 of 100 and 0 of 50 (rule of three: 3.7/n at 97.5 %).
    #[test]
    fn none_some_and_all() {
        let (low, high) = clopper_pearson(3, 100);
        assert!((low - 0.006_229_972).abs() < 1.0e-7 && (high - 0.085_176_053).abs() < 1.0e-7, "{low} {high}");
        let (low, high) = clopper_pearson(0, 50);
        assert!(low == 0.0 && (high - 0.071_121_74).abs() < 1.0e-7, "{high}");
        assert_eq!(clopper_pearson(5, 5).1, 1.0);
    }
}
