//! A few parameters, each with what was known of it before, and correlated measurements: the most probable values and
//! how well they are known then (Gauss–Newton with damping; the covariance is that of the linearised problem).

use nalgebra::{Cholesky, DMatrix, DVector};

/// Most rounds.
const ROUNDS: usize = 40;
/// Step of the derivatives, in standard deviations before the measurement.
const STEP: f64 = 0.1;

/// What was found.
#[derive(Clone, Debug)]
pub struct Found {
    /// The values.
    pub at: Vec<f64>,
    /// Standard deviation of each.
    pub sd: Vec<f64>,
    /// What the measurements should be there.
    pub expected: Vec<f64>,
    /// Root mean square of the residuals over their stated errors.
    pub rms: f64,
}

/// What the measurements are expected to be; none where the model has no answer.
pub type Predict<'a> = dyn Fn(&[f64]) -> Option<Vec<f64>> + 'a;

/// Derivatives of the expected measurements, one column a parameter, each over one standard deviation.
fn slopes(before: &[(f64, f64)], at: &[f64], predict: &Predict<'_>, rows: usize) -> Option<DMatrix<f64>> {
    let mut out = DMatrix::zeros(rows, at.len());
    for (column, (_, sd)) in before.iter().enumerate() {
        let side = |sign: f64| {
            let mut moved = at.to_vec();
            if let Some(slot) = moved.get_mut(column) {
                *slot += sign * STEP * sd;
            }
            predict(&moved)
        };
        let (above, below) = (side(1.0)?, side(-1.0)?);
        for (row, (a, b)) in above.iter().zip(&below).enumerate() {
            if let Some(slot) = out.get_mut((row, column)) {
                *slot = (a - b) / (2.0 * STEP);
            }
        }
    }
    Some(out)
}

/// Finds the most probable values. `before` is each parameter's mean and standard deviation before the measurement,
/// `covariance` that of the measurements' errors.
///
/// None where the model has no answer at the start, or the covariance is none.
#[must_use]
pub fn find(
    before: &[(f64, f64)],
    measured: &[f64],
    covariance: &DMatrix<f64>,
    predict: &Predict<'_>,
) -> Option<Found> {
    let whiten = Cholesky::new(covariance.clone())?.l();
    let n = before.len();
    let residual = |expected: &[f64]| {
        let off = DVector::from_iterator(measured.len(), measured.iter().zip(expected).map(|(m, e)| m - e));
        whiten.solve_lower_triangular(&off)
    };
    let value = |scaled: &DVector<f64>| -> Vec<f64> {
        before.iter().zip(scaled.iter()).map(|((mean, sd), z)| mean + sd * z).collect()
    };
    let mut scaled = DVector::zeros(n);
    let mut expected = predict(&value(&scaled))?;
    let mut off = residual(&expected)?;
    let mut cost = off.norm_squared() + scaled.norm_squared();
    let mut damping = 1e-3;
    let mut normal = DMatrix::identity(n, n);
    for _ in 0..ROUNDS {
        let jacobian = whiten.solve_lower_triangular(&slopes(before, &value(&scaled), predict, measured.len())?)?;
        normal = jacobian.transpose() * &jacobian + DMatrix::identity(n, n);
        let gradient = jacobian.transpose() * &off - &scaled;
        let mut moved = 0.0;
        for _ in 0..12 {
            let damped = &normal + DMatrix::from_diagonal(&normal.diagonal()) * damping;
            let step = Cholesky::new(damped)?.solve(&gradient);
            let next = &scaled + &step;
            let tried = predict(&value(&next)).and_then(|expected| Some((residual(&expected)?, expected)));
            if let Some((next_off, next_expected)) = tried {
                let next_cost = next_off.norm_squared() + next.norm_squared();
                if next_cost <= cost {
                    moved = step.amax();
                    (scaled, off, expected, cost) = (next, next_off, next_expected, next_cost);
                    damping *= 0.2;
                    break;
                }
            }
            damping = (damping * 8.0).max(1e-3);
        }
        if moved < 1e-3 {
            break;
        }
    }
    let inverse = Cholesky::new(normal)?.inverse();
    let sd = before.iter().enumerate().map(|(i, (_, sd))| sd * inverse[(i, i)].max(0.0).sqrt()).collect();
    let rms = (off.norm_squared() / measured.len().max(1) as f64).sqrt();
    Some(Found { at: value(&scaled), sd, expected, rms })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One number measured once: the mean weighted by 1/sd², as the textbook has it.
    #[test]
    fn a_number_measured_once() {
        let found = find(&[(1.0, 0.5)], &[2.0], &DMatrix::from_element(1, 1, 0.25), &|at| Some(at.to_vec())).unwrap();
        assert!((found.at[0] - 1.5).abs() < 1e-6 && (found.sd[0] - 0.125f64.sqrt()).abs() < 1e-6, "{found:?}");
    }

    /// An error common to all measurements does not become less by measuring more.
    #[test]
    fn a_common_error_stays() {
        let covariance = DMatrix::from_fn(20, 20, |i, j| 0.04 + if i == j { 0.01 } else { 0.0 });
        let found = find(&[(0.0, 10.0)], &[3.0; 20], &covariance, &|at| Some(vec![at[0]; 20])).unwrap();
        assert!((found.sd[0] - (0.04f64 + 0.01 / 20.0).sqrt()).abs() < 1e-3, "{found:?}");
    }

    #[test]
    fn a_curved_model_is_followed() {
        let times: Vec<f64> = (0..20).map(f64::from).collect();
        let measured: Vec<f64> = times.iter().map(|t| 900.0 * (-0.2 * t).exp()).collect();
        let found =
            find(&[(500f64.ln(), 1.0), (0.1f64.ln(), 1.0)], &measured, &(DMatrix::identity(20, 20) * 4.0), &|at| {
                Some(times.iter().map(|t| at[0].exp() * (-at[1].exp() * t).exp()).collect())
            })
            .unwrap();
        assert!((found.at[0].exp() - 900.0).abs() < 2.0 && (found.at[1].exp() - 0.2).abs() < 1e-3, "{found:?}");
        assert!(found.rms < 0.2);
    }
}
