//! Normal inference about the fitted point: parameters common to all runs, scatter from run to run in groups whose
//! size is itself unknown, and what was measured.
//!
//! Of run r: y = f(θ) + Σ_i j_i e_i + ε with e_i normal of standard deviation s_g(i) σ_i (g the group of input i, σ_i
//! its assumed scatter), so that its covariance is C_r = R_r + K_0 + Σ_g s_g² K_g. With θ normal about the site's
//! values the marginal density of the data for given s is a normal one; ln s has a normal prior of standard deviation
//! [`LOG_SCALE_SD`] (*assumed*). The posterior of θ is that of given s, averaged over s: Gauss–Hermite nodes about the
//! most probable ln s, weighted by the true density over the nodes' own.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Standard deviation of the logarithm of a scatter's scale: a factor of two either way (*assumed*).
pub const LOG_SCALE_SD: f64 = std::f64::consts::LN_2;

/// What one run adds.
#[derive(Clone, Debug)]
pub struct Block {
    /// Measured less predicted at the point of linearisation.
    pub residual: DVector<f64>,
    /// Derivatives with respect to the parameters.
    pub slopes: DMatrix<f64>,
    /// Covariance that does not scale: of the measurement, and of what is not in a group.
    pub fixed: DMatrix<f64>,
    /// Covariance of each group at scale 1.
    pub groups: Vec<DMatrix<f64>>,
}

impl Block {
    /// Covariance at given scales.
    #[must_use]
    pub fn covariance(&self, scales: &[f64]) -> DMatrix<f64> {
        let mut sum = self.fixed.clone();
        for (group, scale) in self.groups.iter().zip(scales) {
            sum += group * (scale * scale);
        }
        sum
    }
}

/// A whole linearised problem.
#[derive(Clone, Debug)]
pub struct Linear {
    /// Variance of each parameter before the runs.
    pub prior_variance: DVector<f64>,
    /// The point of linearisation less the site's values.
    pub offset: DVector<f64>,
    /// The runs.
    pub blocks: Vec<Block>,
    /// How many groups scatter.
    pub groups: usize,
}

/// The normal posterior for given scales.
#[derive(Clone, Debug)]
pub struct Given {
    /// Logarithm of the density of data and scales, but for a constant.
    pub log_density: f64,
    /// Mean of the parameters, from the point of linearisation.
    pub mean: DVector<f64>,
    /// Their covariance.
    pub covariance: DMatrix<f64>,
}

/// The posterior with the scales averaged over.
#[derive(Clone, Debug)]
pub struct Posterior {
    /// Mean of the parameters, from the point of linearisation.
    pub mean: DVector<f64>,
    /// Their covariance.
    pub covariance: DMatrix<f64>,
    /// Mean of the logarithm of each scale.
    pub log_scale: Vec<f64>,
    /// Its standard deviation.
    pub log_scale_sd: Vec<f64>,
    /// Root of the mean square of each scale: what a future run's scatter has.
    pub scale_rms: Vec<f64>,
}

/// The posterior at one node of the scales.
#[derive(Clone, Debug)]
pub struct Node {
    /// Logarithm of the node's part of the density of the data, but for a constant common to all linearisations.
    pub log_weight: f64,
    /// Logarithms of the scales.
    pub log_scales: Vec<f64>,
    /// The parameters.
    pub given: Given,
}

/// Information, score and density of some runs, before the prior; a sum over the runs.
struct Sums {
    information: DMatrix<f64>,
    score: DVector<f64>,
    square: f64,
    log_determinant: f64,
}

impl Sums {
    fn none(count: usize) -> Self {
        Self {
            information: DMatrix::zeros(count, count),
            score: DVector::zeros(count),
            square: 0.0,
            log_determinant: 0.0,
        }
    }

    fn add(&mut self, other: &Self, sign: f64) {
        self.information += &other.information * sign;
        self.score += &other.score * sign;
        self.square += other.square * sign;
        self.log_determinant += other.log_determinant * sign;
    }
}

impl Linear {
    /// What one run adds.
    fn of_run(&self, block: &Block, scales: &[f64]) -> Option<Sums> {
        let factor = Cholesky::<f64, Dyn>::new(block.covariance(scales))?;
        // From the site's values, where the prior is centred.
        let mut white = &block.residual + &block.slopes * &self.offset;
        let lower = factor.l_dirty();
        let mut slopes = block.slopes.clone();
        lower.solve_lower_triangular_mut(&mut slopes);
        lower.solve_lower_triangular_mut(&mut white);
        Some(Sums {
            information: slopes.tr_mul(&slopes),
            score: slopes.tr_mul(&white),
            square: white.norm_squared(),
            log_determinant: lower.diagonal().iter().map(|d| 2.0 * d.ln()).sum(),
        })
    }

    fn sums(&self, scales: &[f64], without: Option<usize>) -> Option<Sums> {
        let mut sums = Sums::none(self.offset.len());
        for (_, block) in self.blocks.iter().enumerate().filter(|(i, _)| Some(*i) != without) {
            sums.add(&self.of_run(block, scales)?, 1.0);
        }
        Some(sums)
    }

    /// The posterior for given logarithms of the scales, one run left out where `without` names it.
    #[must_use]
    pub fn given(&self, log_scales: &[f64], without: Option<usize>) -> Option<Given> {
        let scales: Vec<f64> = log_scales.iter().map(|a| a.exp()).collect();
        self.with_prior(self.sums(&scales, without)?, log_scales)
    }

    /// The same with each run left out in turn: each takes its own part out of the sum over all.
    #[must_use]
    pub fn each_left_out(&self, log_scales: &[f64]) -> Option<Vec<Option<Given>>> {
        let scales: Vec<f64> = log_scales.iter().map(|a| a.exp()).collect();
        let all = self.sums(&scales, None)?;
        let left_out = |block: &Block| {
            let mut rest = Sums::none(self.offset.len());
            rest.add(&all, 1.0);
            rest.add(&self.of_run(block, &scales)?, -1.0);
            self.with_prior(rest, log_scales)
        };
        Some(self.blocks.iter().map(left_out).collect())
    }

    fn with_prior(&self, sums: Sums, log_scales: &[f64]) -> Option<Given> {
        let Sums { mut information, score, square, log_determinant } = sums;
        let mut log_prior_variance = 0.0;
        for (i, variance) in self.prior_variance.iter().enumerate() {
            if let Some(slot) = information.get_mut((i, i)) {
                *slot += 1.0 / variance;
            }
            log_prior_variance += variance.ln();
        }
        let factor = Cholesky::<f64, Dyn>::new(information)?;
        let mean = factor.solve(&score);
        let log_information: f64 = factor.l_dirty().diagonal().iter().map(|d| 2.0 * d.ln()).sum();
        let log_prior: f64 = log_scales.iter().map(|a| -0.5 * (a / LOG_SCALE_SD).powi(2)).sum();
        let log_density =
            -0.5 * (log_determinant + log_information + log_prior_variance + square - score.dot(&mean)) + log_prior;
        Some(Given { log_density, mean: mean - &self.offset, covariance: factor.inverse() })
    }

    /// The most probable logarithms of the scales, and the curvature there: Newton with differences, damped.
    #[must_use]
    pub fn most_probable(&self, start: &[f64], without: Option<usize>) -> Option<(Vec<f64>, DMatrix<f64>)> {
        const H: f64 = 0.05;
        let n = self.groups;
        let density = |at: &[f64]| self.given(at, without).map(|given| given.log_density);
        let mut at = start.to_vec();
        let mut value = density(&at)?;
        let mut curvature = DMatrix::identity(n, n) / (LOG_SCALE_SD * LOG_SCALE_SD);
        for _ in 0..12 {
            let moved = |by: &[(usize, f64)]| {
                let mut to = at.clone();
                for (i, d) in by {
                    if let Some(slot) = to.get_mut(*i) {
                        *slot += d;
                    }
                }
                density(&to)
            };
            let mut slope = DVector::zeros(n);
            let mut bend = DMatrix::zeros(n, n);
            for i in 0..n {
                let (up, down) = (moved(&[(i, H)])?, moved(&[(i, -H)])?);
                slope[i] = (up - down) / (2.0 * H);
                bend[(i, i)] = -(up + down - 2.0 * value) / (H * H);
                for j in 0..i {
                    let both = moved(&[(i, H), (j, H)])? + moved(&[(i, -H), (j, -H)])?;
                    let cross = moved(&[(i, H), (j, -H)])? + moved(&[(i, -H), (j, H)])?;
                    bend[(i, j)] = -(both - cross) / (4.0 * H * H);
                    bend[(j, i)] = bend[(i, j)];
                }
            }
            // Where the density is not concave, at least the prior's curvature.
            let floor = 0.5 / (LOG_SCALE_SD * LOG_SCALE_SD);
            let eigen = bend.symmetric_eigen();
            let values = eigen.eigenvalues.map(|value| value.max(floor));
            curvature = &eigen.eigenvectors * DMatrix::from_diagonal(&values) * eigen.eigenvectors.transpose();
            let mut step = Cholesky::<f64, Dyn>::new(curvature.clone())?.solve(&slope);
            let longest = step.amax();
            if longest > 1.0 {
                step /= longest;
            }
            let mut share = 1.0;
            for _ in 0..6 {
                let to: Vec<f64> = at.iter().zip(step.iter()).map(|(a, d)| a + share * d).collect();
                let there = density(&to)?;
                if there >= value - 1e-9 {
                    at = to;
                    value = there;
                    break;
                }
                share *= 0.5;
            }
            if share * step.amax() < 1e-3 {
                break;
            }
        }
        Some((at, curvature))
    }

    /// The posteriors for given scales that [`Linear::averaged`] sums: Gauss–Hermite nodes about the most probable.
    #[must_use]
    pub fn nodes(&self, mode: &[f64], curvature: &DMatrix<f64>) -> Option<Vec<Node>> {
        // Five-point Gauss–Hermite for a standard normal (tabulated constants).
        const NODES: [(f64, f64); 5] = [
            (-2.856_970_013_872_806, 0.011_257_411_327_721),
            (-1.355_626_179_974_266, 0.222_075_922_005_613),
            (0.0, 0.533_333_333_333_333),
            (1.355_626_179_974_266, 0.222_075_922_005_613),
            (2.856_970_013_872_806, 0.011_257_411_327_721),
        ];
        let n = self.groups;
        let spread = Cholesky::<f64, Dyn>::new(curvature.clone().try_inverse()?)?.l();
        let log_volume: f64 = spread.diagonal().iter().map(|d| d.ln()).sum();
        let mut nodes = Vec::new();
        for index in 0..NODES.len().pow(u32::try_from(n).ok()?) {
            let mut rest = index;
            let (mut z, mut log_weight) = (DVector::zeros(n), log_volume);
            for slot in z.iter_mut() {
                let (place, weight) = NODES[rest % NODES.len()];
                rest /= NODES.len();
                *slot = place;
                log_weight += weight.ln() + 0.5 * place * place;
            }
            // A node in a far corner weighs nothing.
            if z.norm_squared() > 12.0 {
                continue;
            }
            let log_scales: Vec<f64> = mode.iter().zip((&spread * &z).iter()).map(|(a, d)| a + d).collect();
            let given = self.given(&log_scales, None)?;
            nodes.push(Node { log_weight: log_weight + given.log_density, log_scales, given });
        }
        Some(nodes)
    }

    /// The posterior with the scales averaged over.
    #[must_use]
    pub fn averaged(&self, mode: &[f64], curvature: &DMatrix<f64>) -> Option<Posterior> {
        let n = self.groups;
        let nodes = self.nodes(mode, curvature)?;
        let largest = nodes.iter().map(|node| node.log_weight).fold(f64::NEG_INFINITY, f64::max);
        let sum: f64 = nodes.iter().map(|node| (node.log_weight - largest).exp()).sum();
        let count = self.offset.len();
        let mut out = Posterior {
            mean: DVector::zeros(count),
            covariance: DMatrix::zeros(count, count),
            log_scale: vec![0.0; n],
            log_scale_sd: vec![0.0; n],
            scale_rms: vec![0.0; n],
        };
        let share = |log: f64| (log - largest).exp() / sum;
        for Node { log_weight: log, log_scales: at, given } in &nodes {
            out.mean += &given.mean * share(*log);
            for (i, a) in at.iter().enumerate() {
                out.log_scale[i] += share(*log) * a;
                out.scale_rms[i] += share(*log) * (2.0 * a).exp();
            }
        }
        for Node { log_weight: log, log_scales: at, given } in &nodes {
            let off = &given.mean - &out.mean;
            out.covariance += (&given.covariance + &off * off.transpose()) * share(*log);
            for (i, a) in at.iter().enumerate() {
                out.log_scale_sd[i] += share(*log) * (a - out.log_scale[i]).powi(2);
            }
        }
        out.log_scale_sd.iter_mut().chain(out.scale_rms.iter_mut()).for_each(|value| *value = value.sqrt());
        Some(out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Taking a run's part out of the sum is leaving it out of the sum.
    #[test]
    fn each_left_out_is_the_rest_without_it() {
        let block = |i: usize| {
            let x = i as f64;
            Block {
                residual: DVector::from_vec(vec![0.3 * x.sin(), 0.2 * (2.0 * x).cos()]),
                slopes: DMatrix::from_row_slice(2, 2, &[1.0, 0.1 * x, 0.5 - 0.05 * x, 1.0]),
                fixed: DMatrix::from_diagonal(&DVector::from_vec(vec![0.04, 0.09])),
                groups: vec![DMatrix::from_row_slice(2, 2, &[0.02, 0.01, 0.01, 0.03])],
            }
        };
        let linear = Linear {
            prior_variance: DVector::from_vec(vec![0.5, 2.0]),
            offset: DVector::from_vec(vec![0.1, -0.2]),
            blocks: (0..9).map(block).collect(),
            groups: 1,
        };
        let each = linear.each_left_out(&[0.3]).unwrap();
        for (run, found) in each.into_iter().enumerate() {
            let (found, wanted) = (found.unwrap(), linear.given(&[0.3], Some(run)).unwrap());
            // Sums of nine terms and back: a few roundings of double precision.
            assert!((found.log_density - wanted.log_density).abs() < 1e-12);
            assert!((found.mean - wanted.mean).amax() < 1e-12 && (found.covariance - wanted.covariance).amax() < 1e-12);
        }
    }
}
