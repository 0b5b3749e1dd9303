//! From a table of runs to what they say: parameters, scatter, the landing, outliers, what to measure next.
//!
//! # Settled here
//! - **Fitted standard deviations**: the site file has one for each input. Before a fit it stands both for what is
//!   not known of the mean and for the scatter from run to run; a fit writes √(posterior variance + scatter²).
//!   Rolling resistance and drag areas count as the same in all runs: theirs is the posterior's alone. The lip
//!   speed's and the line's mean have no key: a fitted mean goes into the standard deviation, √(sd² + scatter² +
//!   mean²). Correlations are reported, not written.
//! - **Scatter**: push-off and lip speed, carry and pop, yaw and line share a scale each, log-normal about the site's
//!   standard deviations with a factor of two.

use std::collections::HashMap;
use std::collections::hash_map::Entry;

use landfall_core::inputs::{COUNT, Uncertain};
use nalgebra::{DMatrix, DVector};
use serde::Serialize;

use super::forward::{Base, Quantity, Trial};
use super::linear::LOG_SCALE_SD;
use super::next::{Candidate, candidates};
use super::outliers::{Outlier, outliers};
use super::runs::RunRow;
use super::solve::{FITTED, GROUPS, NoFit, STEADY, Solved, columns, group_of, is_used, scatter, solve_until};
use landfall_plan::plan::PlanError;
use landfall_plan::shown::Shown;
use landfall_plan::site::{Faults, Site};
use landfall_sampling::Stop;

/// Fewest runs for a fit to be called sure (*assumed*).
pub const FEWEST_RUNS: usize = 5;
/// A parameter is learnt where its standard deviation came down to this share of the site's (*assumed*).
pub const LEARNT_SHARE: f64 = 0.8;
/// A scatter is learnt where its scale is known to this standard deviation of its logarithm, some 35 % (*assumed*).
pub const LEARNT_LOG_SD: f64 = 0.35;
/// Further from the site's value than this many of its standard deviations: said (*assumed*).
pub const FAR_SD: f64 = 2.5;

/// Why there is no fit.
#[derive(Debug)]
#[non_exhaustive]
pub enum FitError {
    /// The site cannot be resolved.
    Plan(PlanError),
    /// Runs that do not fit the site.
    Faults(Faults),
    /// No run is left.
    NoRuns,
    /// The search has no answer.
    NoFit(NoFit),
}

impl std::fmt::Display for FitError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Plan(error) => error.fmt(f),
            Self::Faults(faults) => faults.fmt(f),
            Self::NoRuns => {
                f.write_str("no run is left to fit; every one is excluded, by another rider, or none is there")
            }
            Self::NoFit(NoFit::NothingFree) => {
                f.write_str("every standard deviation that could be fitted is 0 in the site file")
            }
            Self::NoFit(NoFit::RunLost) => f.write_str(
                "at the fitted values a run would not come down on the bag; look at the largest values of the table",
            ),
            Self::NoFit(NoFit::Stopped) => f.write_str("stopped"),
            Self::NoFit(NoFit::NotSettled) => {
                f.write_str("the search for the fitted values did not settle; look at the largest values of the table")
            }
        }
    }
}

impl std::error::Error for FitError {}

/// A fitted parameter.
#[derive(Clone, Debug, Serialize)]
pub struct Parameter {
    /// Its name among the inputs.
    pub name: &'static str,
    /// The site's value.
    pub site_value: f64,
    /// The site's standard deviation.
    pub site_sd: f64,
    /// Mean of the posterior.
    pub value: f64,
    /// Its standard deviation: what is not known of the mean, scatter left out.
    pub sd: f64,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Whether the runs told it.
    pub learnt: bool,
}

/// How much a group of inputs scatters from run to run.
#[derive(Clone, Debug, Serialize)]
pub struct Scatter {
    /// `speed`, `lip` or `line`.
    pub group: &'static str,
    /// Times the site's standard deviations (the middle of its 95 % interval by its logarithm).
    pub scale: f64,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Whether the runs told it.
    pub learnt: bool,
    /// Each of the group's inputs with the site's standard deviation and the one that a future run has.
    pub inputs: Vec<ScatterOf>,
}

/// The scatter of one input.
#[derive(Clone, Debug, Serialize)]
pub struct ScatterOf {
    /// Its name.
    pub name: &'static str,
    /// The site's standard deviation.
    pub site_sd: f64,
    /// The one found.
    pub sd: f64,
}

/// The landing point of the site's mean rider at the site's start.
#[derive(Clone, Debug, Serialize)]
pub struct Landing {
    /// By the site as it stands, m behind the front edge.
    pub site_along_m: f64,
    /// Its standard deviation by the site's own, to first order.
    pub site_sd_m: f64,
    /// With the fitted values.
    pub along_m: f64,
    /// What is not known of that mean.
    pub not_known_m: f64,
    /// What scatters about it from run to run.
    pub scatter_m: f64,
    /// Both.
    pub sd_m: f64,
}

/// A measured quantity and what the fit says of it.
#[derive(Clone, Debug, Serialize)]
pub struct Residual {
    /// The run.
    pub run: String,
    /// The quantity.
    pub quantity: &'static str,
    /// As measured.
    pub measured: f64,
    /// By the fitted values.
    pub expected: f64,
    /// Standard deviation of the difference, scatter and measurement.
    pub sd: f64,
}

/// A run that was left out.
#[derive(Clone, Debug, Serialize)]
pub struct LeftOut {
    /// The run.
    pub run: String,
    /// Why.
    pub reason: String,
}

/// What the runs say.
#[derive(Clone, Debug, Serialize)]
pub struct Fit {
    /// The site's name.
    pub site: String,
    /// How many runs were used.
    pub runs: usize,
    /// Who rode them.
    pub riders: Vec<String>,
    /// The runs left out.
    pub left_out: Vec<LeftOut>,
    /// How many measured quantities had no stated standard deviation, so that one was assumed.
    pub assumed_sds: usize,
    /// The parameters.
    pub parameters: Vec<Parameter>,
    /// Their correlations, in the same order.
    pub correlations: Vec<Vec<f64>>,
    /// The scatter between runs.
    pub scatter: Vec<Scatter>,
    /// The landing.
    pub landing: Landing,
    /// Every measured quantity.
    pub residuals: Vec<Residual>,
    /// Runs that do not go with the others.
    pub outliers: Vec<Outlier>,
    /// What to measure next, the most telling first.
    pub next: Vec<Candidate>,
    /// Why the fit is not sure; empty where it is.
    pub doubts: Vec<String>,
}

/// Runs ready to fit.
#[derive(Clone, Debug)]
pub struct Prepared {
    /// The site.
    pub base: Base,
    /// The site's units.
    pub(super) here: Shown,
    /// The runs used.
    pub trials: Vec<Trial>,
    /// Those left out.
    pub left_out: Vec<LeftOut>,
    /// Runs whose rows say the same as that of an earlier one, and that one.
    alike: Vec<(String, String)>,
    assumed_sds: usize,
    with_push_off: usize,
    with_across: usize,
}

/// Fewest measured quantities that are the same in two runs of different names for them to be asked about (*assumed*: of
/// two, rounded as people write them down, many tables hold the same by chance).
const SAME_QUANTITIES: usize = 3;
/// What two rows have in common that are one: who, and every quantity bit for bit.
type Same<'a> = (Option<&'a str>, Vec<Option<(u64, u64)>>);

/// Why a table with rows that say the same is not sure.
fn doubles(alike: &[(String, String)]) -> Option<String> {
    let mut named: Vec<String> = alike.iter().take(5).map(|(run, as_run)| format!("{run} as {as_run}")).collect();
    if alike.len() > named.len() {
        named.push(format!("{} more", alike.len() - named.len()));
    }
    let runs = if alike.len() == 1 { "a run says" } else { "runs say" };
    (!alike.is_empty()).then(|| {
        format!(
            "{runs} the same as an earlier one ({}): was it measured twice, or written down twice? Set excluded with the reason where it was",
            named.join(", ")
        )
    })
}

/// Everything that was measured of a run, as bits to compare.
fn said_of(run: &RunRow) -> Vec<Option<(u64, u64)>> {
    let all =
        [run.push_off, run.split.map(|s| s.time), run.lip_speed.map(|s| s.0), run.air_time, run.along, run.across];
    all.iter().map(|one| one.map(|measured| (measured.value.to_bits(), measured.sd.to_bits()))).collect()
}

/// Takes the runs of a table (of one rider, where `rider` names one) to the site.
///
/// # Errors
/// [`FitError::Plan`], [`FitError::Faults`], [`FitError::NoRuns`].
pub fn prepare(site: &Site, runs: &[RunRow], file: &str, rider: Option<&str>) -> Result<Prepared, FitError> {
    let base = Base::new(site).map_err(FitError::Plan)?;
    let mut faults = Vec::new();
    let mut out = Prepared {
        base,
        here: Shown::of(site),
        trials: Vec::new(),
        left_out: Vec::new(),
        alike: Vec::new(),
        assumed_sds: 0,
        with_push_off: 0,
        with_across: 0,
    };
    let mut before: HashMap<Same<'_>, &RunRow> = HashMap::new();
    for run in runs {
        if let Some(reason) = &run.excluded {
            out.left_out.push(LeftOut { run: run.label.clone(), reason: reason.clone() });
            continue;
        }
        if rider.is_some() && run.rider.as_deref() != rider {
            continue;
        }
        let all =
            [run.push_off, run.split.map(|s| s.time), run.lip_speed.map(|s| s.0), run.air_time, run.along, run.across];
        out.assumed_sds += all.iter().flatten().filter(|measured| measured.assumed).count();
        let said = said_of(run);
        let enough = said.iter().flatten().count() >= SAME_QUANTITIES;
        match before.entry((run.rider.as_deref(), said)) {
            Entry::Vacant(place) => {
                place.insert(run);
            }
            Entry::Occupied(first) => {
                let first = first.get();
                if first.start == run.start && (enough || first.row.whole() == run.row.whole()) {
                    out.alike.push((run.label.clone(), first.label.clone()));
                }
            }
        }
        out.with_push_off += usize::from(run.push_off.is_some());
        out.with_across += usize::from(run.across.is_some());
        out.trials.extend(out.base.trial(site, run, &mut faults));
    }
    if !faults.is_empty() {
        return Err(FitError::Faults(Faults { file: file.to_owned(), faults }));
    }
    if out.trials.is_empty() { Err(FitError::NoRuns) } else { Ok(out) }
}

/// Fits prepared runs.
///
/// # Errors
/// [`FitError::NoFit`].
pub fn fit(site: &Site, prepared: &Prepared) -> Result<Fit, FitError> {
    fit_until(site, prepared, &Stop::default())
}

/// How often the model is asked for each run in a usual fit, for a progress bar.
pub const ASKED_OF_EACH: u64 = 12;

/// The same; `stop` counts how often the model was asked for a run, and ends the fit.
///
/// # Errors
/// [`FitError::NoFit`].
pub fn fit_until(site: &Site, prepared: &Prepared, stop: &Stop) -> Result<Fit, FitError> {
    let Prepared { base, trials, .. } = prepared;
    let solved = solve_until(base, trials, None, stop).map_err(FitError::NoFit)?;
    let parameters: Vec<Parameter> = FITTED.iter().filter_map(|which| parameter(base, &solved, *which)).collect();
    let scatter_found = scatter_of(base, &solved);
    let (landing, slope) = landing(base, &solved).ok_or(FitError::NoFit(NoFit::RunLost))?;
    let outliers = outliers(trials, &solved);
    let next = candidates(base, &solved, &slope).ok_or(FitError::NoFit(NoFit::RunLost))?;
    let mut doubts = doubts(trials.len(), &parameters, &scatter_found, &outliers);
    doubts.extend(doubles(&prepared.alike));
    let mut riders: Vec<String> = trials.iter().filter_map(|trial| trial.rider.clone()).collect();
    riders.sort();
    riders.dedup();
    Ok(Fit {
        site: site.site.name.clone(),
        runs: trials.len(),
        riders,
        left_out: prepared.left_out.clone(),
        assumed_sds: prepared.assumed_sds,
        correlations: correlations(&solved.posterior.covariance),
        parameters,
        scatter: scatter_found,
        landing,
        residuals: residuals(trials, &solved),
        outliers,
        next,
        doubts,
    })
}

impl Prepared {
    /// Whether enough runs have a measured push-off to speak of its own scatter.
    #[must_use]
    pub fn push_off_is_measured(&self) -> bool {
        self.with_push_off >= FEWEST_RUNS
    }

    /// Whether enough runs have a measured landing across.
    #[must_use]
    pub fn across_is_measured(&self) -> bool {
        self.with_across >= FEWEST_RUNS
    }
}

fn parameter(base: &Base, solved: &Solved, which: Uncertain) -> Option<Parameter> {
    let (site_value, site_sd) = base.of(which);
    let (shift, sd) = solved.estimate(which)?;
    let value = site_value + shift;
    let half = 1.959_964 * sd;
    let learnt = sd <= LEARNT_SHARE * site_sd;
    Some(Parameter {
        name: which.name(),
        site_value,
        site_sd,
        value,
        sd,
        low: value - half,
        high: value + half,
        learnt,
    })
}

fn scatter_of(base: &Base, solved: &Solved) -> Vec<Scatter> {
    let found = solved.posterior.log_scale.iter().zip(&solved.posterior.log_scale_sd).zip(&solved.posterior.scale_rms);
    GROUPS
        .iter()
        .zip(found)
        .map(|((group, inputs), ((log, log_sd), rms))| Scatter {
            group,
            scale: log.exp(),
            low: (log - 1.959_964 * log_sd).exp(),
            high: (log + 1.959_964 * log_sd).exp(),
            learnt: *log_sd <= LEARNT_LOG_SD,
            inputs: inputs
                .iter()
                .map(|which| {
                    let site_sd = base.of(*which).1;
                    ScatterOf { name: which.name(), site_sd, sd: site_sd * rms }
                })
                .collect(),
        })
        .collect()
}

/// The landing before and after, and how it hangs on the parameters.
fn landing(base: &Base, solved: &Solved) -> Option<(Landing, DVector<f64>)> {
    let planned = Trial {
        label: String::new(),
        rider: None,
        setup: base.model.setups[0].clone(),
        inputs: base.mean,
        seen: Vec::new(),
    };
    let along = [Quantity::Along];
    let (site_along, site_slopes) = planned.derivatives_of(&along, base, &[0.0; COUNT], |_| true)?;
    let (now_along, slopes) = planned.derivatives_of(&along, base, &solved.mean_shift(), is_used)?;
    let site_variance: f64 = site_slopes.row(0).iter().zip(base.sd).map(|(slope, sd)| (slope * sd).powi(2)).sum();
    let slope = columns(&slopes, &solved.free).row(0).transpose();
    let not_known = slope.dot(&(&solved.posterior.covariance * &slope));
    let (fixed, groups) = scatter(base, &slopes);
    let scaled = groups.iter().zip(&solved.posterior.scale_rms).map(|(group, rms)| group[(0, 0)] * rms * rms);
    let scatter_variance = fixed[(0, 0)] + scaled.sum::<f64>();
    let landing = Landing {
        site_along_m: site_along[0],
        site_sd_m: site_variance.sqrt(),
        along_m: now_along[0],
        not_known_m: not_known.sqrt(),
        scatter_m: scatter_variance.sqrt(),
        sd_m: (not_known + scatter_variance).sqrt(),
    };
    Some((landing, slope))
}

fn correlations(covariance: &DMatrix<f64>) -> Vec<Vec<f64>> {
    let sd: Vec<f64> = covariance.diagonal().iter().map(|variance| variance.sqrt()).collect();
    covariance
        .row_iter()
        .zip(&sd)
        .map(|(row, a)| row.iter().zip(&sd).map(|(value, b)| value / (a * b)).collect())
        .collect()
}

fn residuals(trials: &[Trial], solved: &Solved) -> Vec<Residual> {
    let scales = &solved.posterior.scale_rms;
    let mut out = Vec::new();
    for (trial, block) in trials.iter().zip(&solved.linear.blocks) {
        let left = &block.residual - &block.slopes * &solved.posterior.mean;
        let variance = block.covariance(scales).diagonal();
        for ((seen, left), variance) in trial.seen.iter().zip(left.iter()).zip(variance.iter()) {
            out.push(Residual {
                run: trial.label.clone(),
                quantity: seen.quantity.words(),
                measured: seen.value,
                expected: seen.value - left,
                sd: variance.sqrt(),
            });
        }
    }
    out
}

fn doubts(runs: usize, parameters: &[Parameter], scatter: &[Scatter], outliers: &[Outlier]) -> Vec<String> {
    let words = landfall_plan::plan::words::plain_name;
    let mut out = Vec::new();
    if runs < FEWEST_RUNS {
        out.push(format!(
            "{runs} of at least {FEWEST_RUNS} runs: too few to tell what is usual from what happened once"
        ));
    }
    if !parameters.iter().any(|parameter| parameter.learnt) {
        out.push("no parameter is known better than before: more runs, or other quantities, are needed".to_owned());
    }
    for outlier in outliers {
        out.push(format!(
            "run {} does not go with the others; find out why, and set excluded with the reason if it was not a normal run",
            outlier.run
        ));
    }
    for parameter in parameters {
        let far = (parameter.value - parameter.site_value) / parameter.site_sd;
        if far.abs() > FAR_SD {
            out.push(format!(
                "{} comes out {:.1} standard deviations from the site's value: look at the measurements, the wind and the site's geometry",
                words(parameter.name),
                far.abs()
            ));
        }
    }
    for group in scatter.iter().filter(|group| group.learnt && group.low > 2.0) {
        let inputs: Vec<String> = group.inputs.iter().map(|input| words(input.name)).collect();
        out.push(format!(
            "the runs scatter {:.1} times as much as assumed in {}: look for what differs between them",
            group.scale,
            inputs.join(" and ")
        ));
    }
    out
}

/// Everything of the scatter that is assumed, in words, for the report.
#[must_use]
pub fn assumptions() -> Vec<String> {
    let steady: Vec<String> = STEADY.iter().map(|which| landfall_plan::plan::words::plain_name(which.name())).collect();
    let no_group = FITTED.iter().filter(|which| group_of(**which).is_none());
    let same: Vec<String> = no_group.map(|which| landfall_plan::plan::words::plain_name(which.name())).collect();
    vec![
        format!("{} are taken as the same in all runs", same.join(", ")),
        format!("{} scatter as the site file says", steady.join(", ")),
        format!(
            "the other scatters are the site's times a factor each, uncertain by a factor of {:.0} before the runs",
            LOG_SCALE_SD.exp()
        ),
    ]
}
