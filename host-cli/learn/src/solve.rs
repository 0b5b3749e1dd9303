//! The fit itself: the most probable parameters by Levenberg and Marquardt's method, with the scatter's scales found
//! from the marginal density, and the posterior about that point.

use std::sync::atomic::Ordering;

use landfall_core::inputs::{COUNT, Uncertain};
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::storage::Owned;
use nalgebra::{DMatrix, DVector, Dyn};

use super::forward::{Base, Shift, Trial};
use super::linear::{Block, Linear, Posterior};
use landfall_sampling::Stop;

/// What is fitted, as a shift common to all runs.
pub const FITTED: [Uncertain; 7] = [
    Uncertain::RollingResistance,
    Uncertain::DragAreaRolling,
    Uncertain::DragAreaFlying,
    Uncertain::LipSpeed,
    Uncertain::Carry,
    Uncertain::Pop,
    Uncertain::Line,
];

/// Groups of inputs that scatter from run to run by the site's standard deviation times one scale each.
pub const GROUPS: [(&str, &[Uncertain]); 3] = [
    ("speed", &[Uncertain::PushOff, Uncertain::LipSpeed]),
    ("lip", &[Uncertain::Carry, Uncertain::Pop]),
    ("line", &[Uncertain::Yaw, Uncertain::Line]),
];

/// Inputs that scatter from run to run as the site file says. Rolling resistance and drag areas are the same all day.
pub const STEADY: [Uncertain; 4] =
    [Uncertain::StartHeight, Uncertain::WindAlong, Uncertain::WindAcross, Uncertain::ContactHeight];

/// Whether an input's derivatives are needed.
#[must_use]
pub fn is_used(which: Uncertain) -> bool {
    FITTED.contains(&which) || STEADY.contains(&which) || GROUPS.iter().any(|(_, inputs)| inputs.contains(&which))
}

/// The group of an input.
#[must_use]
pub fn group_of(which: Uncertain) -> Option<usize> {
    GROUPS.iter().position(|(_, inputs)| inputs.contains(&which))
}

/// A fit that came to an end.
#[derive(Clone, Debug)]
pub struct Solved {
    /// What was free: the parameters whose standard deviation in the site is above 0.
    pub free: Vec<Uncertain>,
    /// The most probable point less the site's values.
    pub shift: Shift,
    /// The problem about that point.
    pub linear: Linear,
    /// Logarithms of the scales there.
    pub log_scales: Vec<f64>,
    /// The posterior with the scales averaged over.
    pub posterior: Posterior,
}

/// Why there is no fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoFit {
    /// Every standard deviation is 0: nothing may move.
    NothingFree,
    /// On the way a run did not come down.
    RunLost,
    /// The search did not settle.
    NotSettled,
    /// It was asked to stop.
    Stopped,
}

/// The block of one run: residual, slopes and covariances at a shift.
#[must_use]
pub fn block(base: &Base, trial: &Trial, free: &[Uncertain], shift: &Shift) -> Option<Block> {
    let (predicted, slopes) = trial.derivatives(base, shift, is_used)?;
    let measured = DVector::from_iterator(trial.seen.len(), trial.seen.iter().map(|seen| seen.value));
    let noise = DVector::from_iterator(trial.seen.len(), trial.seen.iter().map(|seen| seen.sd * seen.sd));
    let (fixed, groups) = scatter(base, &slopes);
    Some(Block {
        residual: measured - predicted,
        slopes: columns(&slopes, free),
        fixed: fixed + DMatrix::from_diagonal(&noise),
        groups,
    })
}

/// Covariance from scatter alone: what does not scale, and each group at scale 1.
#[must_use]
pub fn scatter(base: &Base, slopes: &DMatrix<f64>) -> (DMatrix<f64>, Vec<DMatrix<f64>>) {
    let rows = slopes.nrows();
    let mut fixed = DMatrix::zeros(rows, rows);
    let mut groups = vec![DMatrix::zeros(rows, rows); GROUPS.len()];
    for which in Uncertain::ALL {
        let target = match group_of(which) {
            Some(group) => groups.get_mut(group),
            None if STEADY.contains(&which) => Some(&mut fixed),
            None => None,
        };
        if let Some(target) = target {
            let column = slopes.column(which as usize) * base.of(which).1;
            *target += &column * column.transpose();
        }
    }
    (fixed, groups)
}

/// The columns of some inputs.
#[must_use]
pub fn columns(slopes: &DMatrix<f64>, of: &[Uncertain]) -> DMatrix<f64> {
    let mut out = DMatrix::zeros(slopes.nrows(), of.len());
    for (to, which) in of.iter().enumerate() {
        out.set_column(to, &slopes.column(*which as usize));
    }
    out
}

/// Least squares with whitened residuals; parameters in the site's standard deviations from its values.
struct Problem<'a> {
    base: &'a Base,
    trials: &'a [Trial],
    free: &'a [Uncertain],
    /// Inverse of the lower factor of each run's covariance.
    whiten: Vec<DMatrix<f64>>,
    at: DVector<f64>,
    rows: usize,
    stop: &'a Stop,
}

/// Residual of a run that does not come down: a step there is refused.
const LOST: f64 = 1e3;

fn shift_of(base: &Base, free: &[Uncertain], at: &DVector<f64>) -> Shift {
    let mut shift = [0.0; COUNT];
    for (which, value) in free.iter().zip(at.iter()) {
        if let Some(slot) = shift.get_mut(*which as usize) {
            *slot = value * base.of(*which).1;
        }
    }
    shift
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Problem<'_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, x: &DVector<f64>) {
        self.at.copy_from(x);
    }

    fn params(&self) -> DVector<f64> {
        self.at.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        if self.stop.asked.load(Ordering::Relaxed) {
            return None;
        }
        let shift = shift_of(self.base, self.free, &self.at);
        let mut out = DVector::zeros(self.rows);
        out.rows_mut(0, self.free.len()).copy_from(&self.at);
        let mut row = self.free.len();
        for (trial, whiten) in self.trials.iter().zip(&self.whiten) {
            let count = trial.seen.len();
            let mut slot = out.rows_mut(row, count);
            match trial.predict(&self.base.model.uncertainty, &shift) {
                Some(mut off) => {
                    for (value, seen) in off.iter_mut().zip(&trial.seen) {
                        *value -= seen.value;
                    }
                    slot.copy_from(&(whiten * off));
                }
                None => slot.fill(LOST),
            }
            row += count;
        }
        self.stop.done.fetch_add(self.trials.len() as u64, Ordering::Relaxed);
        Some(out)
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let shift = shift_of(self.base, self.free, &self.at);
        let mut out = DMatrix::zeros(self.rows, self.free.len());
        out.view_mut((0, 0), (self.free.len(), self.free.len())).fill_diagonal(1.0);
        let mut row = self.free.len();
        for (trial, whiten) in self.trials.iter().zip(&self.whiten) {
            let count = trial.seen.len();
            if self.stop.asked.load(Ordering::Relaxed) {
                return None;
            }
            let (_, slopes) = trial.derivatives(self.base, &shift, |which| self.free.contains(&which))?;
            self.stop.done.fetch_add(1, Ordering::Relaxed);
            let mut slopes = columns(&slopes, self.free);
            for (mut column, which) in slopes.column_iter_mut().zip(self.free) {
                column *= self.base.of(*which).1;
            }
            out.view_mut((row, 0), (count, self.free.len())).copy_from(&(whiten * slopes));
            row += count;
        }
        Some(out)
    }
}

/// Fits the runs. `scales` holds the scatter's scales where they are not to be found from the runs.
///
/// # Errors
/// [`NoFit`].
pub fn solve(base: &Base, trials: &[Trial], scales: Option<&[f64]>) -> Result<Solved, NoFit> {
    solve_until(base, trials, scales, &Stop::default())
}

/// The same; `stop` counts how often the model was asked for a run, and ends the search.
///
/// # Errors
/// [`NoFit`].
pub fn solve_until(base: &Base, trials: &[Trial], scales: Option<&[f64]>, stop: &Stop) -> Result<Solved, NoFit> {
    let free: Vec<Uncertain> = FITTED.into_iter().filter(|which| base.of(*which).1 > 0.0).collect();
    if free.is_empty() {
        return Err(NoFit::NothingFree);
    }
    let rows = free.len() + trials.iter().map(|trial| trial.seen.len()).sum::<usize>();
    let prior_variance = DVector::from_iterator(free.len(), free.iter().map(|which| base.of(*which).1.powi(2)));
    let linear_at = |at: &DVector<f64>| -> Option<Linear> {
        let shift = shift_of(base, &free, at);
        let blocks: Option<Vec<Block>> = trials
            .iter()
            .map(|trial| {
                stop.done.fetch_add(1, Ordering::Relaxed);
                block(base, trial, &free, &shift)
            })
            .collect();
        let offset = DVector::from_iterator(
            free.len(),
            free.iter().map(|which| shift.get(*which as usize).copied().unwrap_or_default()),
        );
        Some(Linear { prior_variance: prior_variance.clone(), offset, blocks: blocks?, groups: GROUPS.len() })
    };
    let mut at = DVector::zeros(free.len());
    let mut log_scales: Vec<f64> = match scales {
        Some(scales) => scales.iter().map(|scale| scale.ln()).collect(),
        None => vec![0.0; GROUPS.len()],
    };
    let mut linear = linear_at(&at).ok_or(NoFit::RunLost)?;
    let mut settled = false;
    // Scales, then parameters for those scales, until neither moves: the first rounds nearly always do it. Where runs
    // scatter widely the weights change with the parameters so much that they go to and fro: then half-way.
    for round in 0..24 {
        if scales.is_none() {
            log_scales = linear.most_probable(&log_scales, None).ok_or(NoFit::NotSettled)?.0;
        }
        let values: Vec<f64> = log_scales.iter().map(|log| log.exp()).collect();
        let whiten: Option<Vec<DMatrix<f64>>> = linear
            .blocks
            .iter()
            .map(|block| block.covariance(&values).cholesky().and_then(|factor| factor.l().try_inverse()))
            .collect();
        let problem =
            Problem { base, trials, free: &free, whiten: whiten.ok_or(NoFit::NotSettled)?, at: at.clone(), rows, stop };
        // The noise of single precision moves the sum of squares by some 1e-5: finer goals are never met.
        let search = LevenbergMarquardt::new().with_ftol(1e-6).with_xtol(1e-5).with_gtol(1e-6).with_patience(20);
        let (problem, _) = search.minimize(problem);
        if stop.asked.load(Ordering::Relaxed) {
            return Err(NoFit::Stopped);
        }
        let step = &problem.at - &at;
        let moved = step.amax();
        at += step * if round < 4 { 1.0 } else { 0.5 };
        linear = linear_at(&at).ok_or(NoFit::RunLost)?;
        if !moved.is_finite() {
            return Err(NoFit::NotSettled);
        }
        if moved < 0.02 {
            settled = true;
            break;
        }
    }
    // One step further on the derivatives must not lead away: then the search stopped where it should.
    let given = linear.given(&log_scales, None).ok_or(NoFit::NotSettled)?;
    let left = given.mean.iter().zip(prior_variance.iter()).map(|(step, v)| step.abs() / v.sqrt()).fold(0.0, f64::max);
    if !settled || !(left < 0.1) {
        return Err(NoFit::NotSettled);
    }
    let posterior = match scales {
        Some(_) => Posterior {
            mean: given.mean,
            covariance: given.covariance,
            log_scale: log_scales.clone(),
            log_scale_sd: vec![0.0; GROUPS.len()],
            scale_rms: log_scales.iter().map(|log| log.exp()).collect(),
        },
        None => {
            let (mode, curvature) = linear.most_probable(&log_scales, None).ok_or(NoFit::NotSettled)?;
            log_scales = mode;
            linear.averaged(&log_scales, &curvature).ok_or(NoFit::NotSettled)?
        }
    };
    let shift = shift_of(base, &free, &at);
    Ok(Solved { free, shift, linear, log_scales, posterior })
}

impl Solved {
    /// Mean of a fitted parameter less the site's value, and its standard deviation.
    #[must_use]
    pub fn estimate(&self, which: Uncertain) -> Option<(f64, f64)> {
        let index = self.free.iter().position(|free| *free == which)?;
        let from = self.shift.get(which as usize).copied()?;
        let variance = self.posterior.covariance.get((index, index)).copied()?;
        Some((from + self.posterior.mean.get(index).copied()?, variance.sqrt()))
    }

    /// The posterior mean as a shift.
    #[must_use]
    pub fn mean_shift(&self) -> Shift {
        let mut shift = self.shift;
        for (which, step) in self.free.iter().zip(self.posterior.mean.iter()) {
            if let Some(slot) = shift.get_mut(*which as usize) {
                *slot += step;
            }
        }
        shift
    }
}
