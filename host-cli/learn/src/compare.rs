//! Today's runs against the plan: a test that may be looked at after every run.
//!
//! By the plan a day's runs are normal: each run's inputs scatter by the site's standard deviations, and rolling
//! resistance and drag areas, which are the same all day, lie once for the day within theirs. A change is a shift of
//! all runs from some run k on. Its likelihood ratio L_k against no change has mean 1 as long as nothing has changed, so
//! that the mixture M = Σ_k w_k L_k over all k, w_k = 1/(k (k + 1)), passes 1/α at any time in a session of any length
//! with a chance of at most α (J. Ville, Étude critique de la notion de collectif, 1939). There are six kinds of change;
//! each warns at M ≥ 6/α. In the other direction, if the shift is there from the first run on, 1/L_1 has mean 1, so that
//! L_1 ≤ β comes with a chance of at most β: then the shift is called absent (A. Wald, Sequential Analysis, 1947).
//!
//! Both hold for the linearised model; the rates measured on whole simulated sessions are in the tests.
//!
//! # Settled here
//! - **A change in a session**: what is not known of the day's rolling resistance and drag is common to its runs, all
//!   else scatters by run; so a plan that is not fitted sees small changes late or never.

use landfall_core::inputs::{COUNT, Uncertain};
use nalgebra::{DMatrix, DVector, Matrix3, Vector3};
use serde::Serialize;

use super::forward::{Base, Quantity, Trial};
use super::runs::Method;
use super::solve::{is_used, scatter};
use landfall_plan::site::Dimension;

/// The same all day, but known only within the site's standard deviation.
const OF_THE_DAY: [Uncertain; 3] =
    [Uncertain::RollingResistance, Uncertain::DragAreaRolling, Uncertain::DragAreaFlying];

/// A kind of change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Change {
    /// Slower at the lip.
    Slower,
    /// Faster at the lip.
    Faster,
    /// Landings nearer to the lip.
    Shorter,
    /// Landings further from the lip.
    Longer,
    /// Landings further left.
    Left,
    /// Landings further right.
    Right,
}

impl Change {
    /// All of them.
    pub const ALL: [Self; 6] = [Self::Slower, Self::Faster, Self::Shorter, Self::Longer, Self::Left, Self::Right];

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Slower => "the roll-in is slower",
            Self::Faster => "the roll-in is faster",
            Self::Shorter => "landings are shorter",
            Self::Longer => "landings are longer",
            Self::Left => "landings are further left",
            Self::Right => "landings are further right",
        }
    }

    /// What its shift is one of.
    #[must_use]
    pub const fn dimension(self) -> Dimension {
        match self {
            Self::Slower | Self::Faster => Dimension::Speed,
            _ => Dimension::Length,
        }
    }

    /// Where it is counted, behind the number.
    #[must_use]
    pub const fn at(self) -> &'static str {
        match self {
            Self::Slower | Self::Faster => " at the lip",
            _ => "",
        }
    }
}

/// What to look for, and how surely.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Options {
    /// Change of the speed at the lip, m/s.
    pub speed_mps: f64,
    /// Move of the landing, m.
    pub landing_m: f64,
    /// Chance of any warning in a session without a change, at most.
    pub alpha: f64,
    /// Chance of calling a shift absent that is there, at most.
    pub beta: f64,
}

impl Options {
    fn size(&self, change: Change) -> f64 {
        match change {
            Change::Slower | Change::Faster => self.speed_mps,
            _ => self.landing_m,
        }
    }
}

/// What a run adds to the sums.
#[derive(Clone, Debug)]
struct Added {
    information: Matrix3<f64>,
    score: Vector3<f64>,
    /// Of each change: d·r, d·d and J·d, all weighted with the inverse covariance.
    changes: [(f64, f64, Vector3<f64>); 6],
}

/// One measured quantity of a run beside the plan's.
#[derive(Clone, Debug, Serialize)]
pub struct Beside {
    /// What was measured.
    pub quantity: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// As measured.
    pub measured: f64,
    /// By the plan.
    pub planned: f64,
    /// Standard deviation of the difference.
    pub sd: f64,
}

/// How one kind of change stands.
#[derive(Clone, Debug, Serialize)]
pub struct Standing {
    /// The change.
    pub change: Change,
    /// The evidence for it, M; a warning at `needed`.
    pub evidence: f64,
    /// What is needed.
    pub needed: f64,
    /// The run after which it warned, if it did.
    pub warned_after: Option<String>,
    /// The run after which a shift of this size from the first run on was called absent, if it was.
    pub absent_after: Option<String>,
    /// Best estimate of the shift, all runs alike, in the change's direction.
    pub shift: Option<f64>,
    /// Its standard deviation.
    pub shift_sd: Option<f64>,
    /// A run without which there would be no warning.
    pub hangs_on: Option<String>,
}

/// A session in the making.
#[derive(Clone, Debug)]
pub struct Session {
    base: Base,
    options: Options,
    runs: Vec<(String, Added)>,
    warned: [Option<String>; 6],
    absent: [Option<String>; 6],
}

impl Session {
    /// A session without a run.
    #[must_use]
    pub fn new(base: Base, options: Options) -> Self {
        Self { base, options, runs: Vec::new(), warned: Default::default(), absent: Default::default() }
    }

    /// The resolved site.
    #[must_use]
    pub fn base(&self) -> &Base {
        &self.base
    }

    /// Evidence at which a change warns.
    #[must_use]
    pub fn needed(&self) -> f64 {
        Change::ALL.len() as f64 / self.options.alpha
    }

    /// Takes a run; gives its quantities beside the plan's. Nothing where the plan does not come down.
    pub fn add(&mut self, trial: &Trial) -> Option<Vec<Beside>> {
        let (added, beside) = self.added(trial)?;
        self.runs.push((trial.label.clone(), added));
        let needed = self.needed();
        for (index, change) in Change::ALL.iter().enumerate() {
            let (evidence, from_first) = self.evidence(*change, None);
            if evidence >= needed && self.warned[index].is_none() {
                self.warned[index] = Some(trial.label.clone());
            }
            if from_first <= self.options.beta.ln() && self.absent[index].is_none() {
                self.absent[index] = Some(trial.label.clone());
            }
        }
        Some(beside)
    }

    fn added(&self, trial: &Trial) -> Option<(Added, Vec<Beside>)> {
        let count = trial.seen.len();
        let mut quantities: Vec<Quantity> = trial.seen.iter().map(|seen| seen.quantity).collect();
        // The speed at the lip says how a change of it shows in everything else.
        quantities.push(Quantity::LipSpeed(Method::Unstated));
        let (planned, slopes) = trial.derivatives_of(&quantities, &self.base, &[0.0; COUNT], is_used)?;
        let (fixed, groups) = scatter(&self.base, &slopes);
        let total: DMatrix<f64> = groups.into_iter().fold(fixed, |sum, group| sum + group);
        let mut covariance = total.view((0, 0), (count, count)).into_owned();
        for (i, seen) in trial.seen.iter().enumerate() {
            covariance[(i, i)] += seen.sd * seen.sd;
        }
        let mut day = DMatrix::zeros(count, OF_THE_DAY.len());
        for (to, which) in OF_THE_DAY.iter().enumerate() {
            let column = slopes.column(*which as usize) * self.base.of(*which).1;
            day.set_column(to, &column.rows(0, count));
        }
        let off = DVector::from_iterator(
            count,
            trial.seen.iter().zip(planned.iter()).map(|(seen, planned)| seen.value - planned),
        );
        let sds = (&covariance + &day * day.transpose()).diagonal().map(f64::sqrt);
        let factor = covariance.cholesky()?;
        let weighted_day = factor.solve(&day);
        let weighted_off = factor.solve(&off);
        let mut changes = [(0.0, 0.0, Vector3::zeros()); 6];
        for (slot, change) in changes.iter_mut().zip(Change::ALL) {
            let direction = self.direction(change, trial, &slopes);
            let weighted = factor.solve(&direction);
            let shared = day.transpose() * &weighted;
            *slot = (
                direction.dot(&weighted_off),
                direction.dot(&weighted),
                Vector3::from_iterator(shared.iter().copied()),
            );
        }
        let information = day.transpose() * weighted_day;
        let score = day.transpose() * weighted_off;
        let beside = trial
            .seen
            .iter()
            .zip(planned.iter().zip(sds.iter()))
            .map(|(seen, (planned, sd))| Beside {
                quantity: seen.quantity.words(),
                unit: seen.quantity.unit(),
                measured: seen.value,
                planned: *planned,
                sd: *sd,
            })
            .collect();
        let added = Added {
            information: Matrix3::from_iterator(information.iter().copied()),
            score: Vector3::from_iterator(score.iter().copied()),
            changes,
        };
        Some((added, beside))
    }

    /// What a change of the stated size adds to the measured quantities. A slower roll-in is one that rolls less
    /// easily: the rolling resistance that takes the speed off shows in every other quantity as the model says.
    fn direction(&self, change: Change, trial: &Trial, slopes: &DMatrix<f64>) -> DVector<f64> {
        let count = trial.seen.len();
        let size = self.options.size(change);
        let only = |wanted: Quantity, by: f64| {
            DVector::from_iterator(count, trial.seen.iter().map(|seen| if seen.quantity == wanted { by } else { 0.0 }))
        };
        match change {
            Change::Slower | Change::Faster => {
                let by = if change == Change::Slower { -size } else { size };
                let rolling = slopes.column(Uncertain::RollingResistance as usize);
                let per_speed = rolling.get(count).copied().unwrap_or_default();
                // Where the site lets the rolling resistance not move, the speed is taken off at the lip.
                let (column, per_speed) = if per_speed == 0.0 {
                    (slopes.column(Uncertain::LipSpeed as usize), 1.0)
                } else {
                    (rolling, per_speed)
                };
                column.rows(0, count) * (by / per_speed)
            }
            Change::Shorter => only(Quantity::Along, -size),
            Change::Longer => only(Quantity::Along, size),
            Change::Left => only(Quantity::Across, size),
            Change::Right => only(Quantity::Across, -size),
        }
    }

    /// M of a change, and ln L_1.
    fn evidence(&self, change: Change, without: Option<usize>) -> (f64, f64) {
        let runs: Vec<&Added> =
            self.runs.iter().enumerate().filter(|(i, _)| Some(*i) != without).map(|(_, (_, added))| added).collect();
        let mut information = Matrix3::identity();
        let mut score = Vector3::zeros();
        for run in &runs {
            information += run.information;
            score += run.score;
        }
        let Some(inverse) = information.try_inverse() else { return (0.0, 0.0) };
        let day = inverse * score;
        let (mut p, mut q, mut v) = (0.0, 0.0, Vector3::zeros());
        let mut evidence = 1.0 / (runs.len() as f64 + 1.0);
        let mut log = 0.0;
        for (index, run) in runs.iter().enumerate().rev() {
            let (dr, dd, jd) = run.changes[change as usize];
            p += dr;
            q += dd;
            v += jd;
            log = p - v.dot(&day) - 0.5 * (q - v.dot(&(inverse * v)));
            let k = index as f64 + 1.0;
            evidence += log.exp() / (k * (k + 1.0));
        }
        (evidence, log)
    }

    /// The shift that fits best, all runs alike, and its standard deviation.
    fn shift(&self, change: Change) -> Option<(f64, f64)> {
        let (mut information, mut score) = (Matrix3::identity(), Vector3::zeros());
        let (mut p, mut q, mut v) = (0.0, 0.0, Vector3::zeros());
        for (_, run) in &self.runs {
            information += run.information;
            score += run.score;
            let (dr, dd, jd) = run.changes[change as usize];
            p += dr;
            q += dd;
            v += jd;
        }
        let inverse = information.try_inverse()?;
        let square = q - v.dot(&(inverse * v));
        if !(square > 1e-9) {
            return None;
        }
        let size = self.options.size(change);
        Some((size * (p - v.dot(&(inverse * score))) / square, size / square.sqrt()))
    }

    /// How every kind of change stands.
    #[must_use]
    pub fn standings(&self) -> Vec<Standing> {
        let needed = self.needed();
        Change::ALL
            .iter()
            .enumerate()
            .map(|(index, change)| {
                let (evidence, _) = self.evidence(*change, None);
                let shift = self.shift(*change);
                let hangs_on = (evidence >= needed)
                    .then(|| {
                        let rest = (0..self.runs.len()).map(|run| (self.evidence(*change, Some(run)).0, run));
                        rest.min_by(|a, b| a.0.total_cmp(&b.0))
                    })
                    .flatten()
                    .filter(|(evidence, _)| *evidence < needed)
                    .and_then(|(_, run)| self.runs.get(run).map(|(label, _)| label.clone()));
                Standing {
                    change: *change,
                    evidence,
                    needed,
                    warned_after: self.warned[index].clone(),
                    absent_after: self.absent[index].clone(),
                    shift: shift.map(|s| s.0),
                    shift_sd: shift.map(|s| s.1),
                    hangs_on,
                }
            })
            .collect()
    }

    /// How many runs there are.
    #[must_use]
    pub fn count(&self) -> usize {
        self.runs.len()
    }

    /// Whether any change has warned.
    #[must_use]
    pub fn warned(&self) -> bool {
        self.warned.iter().any(Option::is_some)
    }

    /// What was asked for.
    #[must_use]
    pub fn options(&self) -> &Options {
        &self.options
    }
}
