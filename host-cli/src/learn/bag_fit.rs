//! Dish radius, vent, leak and stretch from drops, a deflation and the settled pressure, through the core's touch-down
//! and slow gas.
//!
//! All four are above 0: their logarithms are fitted, normal about the site's values. The errors of drops and of the
//! deflation are the stated ones times a scale each, uncertain by a factor of two before the test ([`super::linear`]).
//! The drops and the fall tell vent and leak together; a leak too small to be seen beside the vent leaves the posterior
//! of its logarithm skew. The intervals are therefore of the posterior along the leak (`bag_path`).
//! Derivatives are central differences over 5 % to either side: the core's touch-down is good to about 2e-5, a
//! derivative then to some 0.1 % of a quantity's own size.

use landfall_core::bag::Bag;
use landfall_core::bag_gas::{Adiabat, QUICK_EXPONENT};
use landfall_core::displacement::Displacement;
use landfall_core::slow_gas::SlowGas;
use landfall_core::supply::Feed;
use landfall_core::touchdown::{Landing, Options, Until, touch_down};
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::storage::Owned;
use nalgebra::{DMatrix, DVector, Dyn};
use serde::Serialize;

use super::bag_path::marginals;
use super::drops::{Deflation, Drop};
use super::fit::{FitError, LeftOut};
use super::linear::{Block, Linear};
use super::solve::NoFit;
use crate::plan::model::{Model, Supply, with_gap};
use crate::site::{Faults, Site};

/// Step of the derivatives in a logarithm.
const STEP: f64 = 0.05;
/// Reading error of a deflation's points: this share of the first (*assumed*).
const FALL_SD_SHARE: f64 = 0.01;
/// Error of a settled pressure: this share of it, gauge and blower curve together (*assumed*).
const SETTLED_SD_SHARE: f64 = 0.03;
/// Leak that a site without one begins with, m³/s at 1 Pa (*assumed*), and how well it is known (logarithm).
const LEAK_START: (f64, f64) = (0.003, 1.0);
/// Fewest drops for a dish radius that counts as measured (*assumed*).
pub const FEWEST_DROPS: usize = 3;
/// The plan varies an unmeasured dish radius by 0.3 m: measured is half of that.
const MEASURED_DISH_SD_M: f64 = 0.15;
/// The plan varies an unmeasured stretch by a factor of two: measured is half of that in the logarithm.
const MEASURED_STRETCH_SD: f64 = std::f64::consts::LN_2 / 2.0;

/// What is fitted: name, key, standard deviation of the logarithm before the test (*assumed*: the plan's own ends for
/// dish radius and stretch, 30 % for a vent that was measured with a rule, 50 % for a leak that the site states).
const FITTED: [(&str, &str, f64); 4] = [
    ("dish radius", "bag.dish_radius", 0.25),
    ("vent area", "bag.vent_area", 0.3),
    ("leak coefficient", "bag.leak_coefficient", 0.5),
    ("skin stretch", "bag.skin_stretch", std::f64::consts::LN_2),
];

/// Index of the leak in [`FITTED`].
const LEAK: usize = 2;

/// A fitted value of the bag.
#[derive(Clone, Debug, Serialize)]
pub struct BagValue {
    /// In words.
    pub name: &'static str,
    /// Key of the site file.
    pub key: &'static str,
    /// Before.
    pub site_value: f64,
    /// As likely above as below.
    pub value: f64,
    /// Lower end of the 95 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Standard deviation of the logarithm.
    pub log_sd: f64,
    /// The tests told it.
    pub learnt: bool,
}

/// A measured value of the tests and what the fit says.
#[derive(Clone, Debug, Serialize)]
pub struct BagResidual {
    /// Which drop, or the deflation.
    pub test: String,
    /// What was measured.
    pub quantity: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// As measured.
    pub measured: f64,
    /// By the fit.
    pub expected: f64,
    /// Standard deviation.
    pub sd: f64,
}

/// What the tests say.
#[derive(Clone, Debug, Serialize)]
pub struct BagFit {
    /// The site's name.
    pub site: String,
    /// Drops used.
    pub drops: usize,
    /// Drops left out.
    pub left_out: Vec<LeftOut>,
    /// Points of the deflation used.
    pub deflation_points: usize,
    /// The values.
    pub values: Vec<BagValue>,
    /// Their correlations (of the logarithms).
    pub correlations: Vec<Vec<f64>>,
    /// Error of the drops over what was stated.
    pub drop_scale: f64,
    /// Error of the deflation over what was assumed.
    pub deflation_scale: f64,
    /// Every drop and every point.
    pub residuals: Vec<BagResidual>,
    /// Dish radius and stretch count as measured.
    pub fitted: bool,
    /// Why it is not sure.
    pub doubts: Vec<String>,
}

/// What the tests measured.
#[derive(Clone, Debug)]
pub struct Tests {
    /// The drops.
    pub drops: Vec<Drop>,
    /// The fall with the blower off.
    pub deflation: Option<Deflation>,
    /// The pressure with the blower on, Pa.
    pub settled_pa: Option<f64>,
}

pub(super) struct Bench<'a> {
    site: Site,
    bag: Bag,
    tests: &'a Tests,
    /// Indices into [`FITTED`]; one more parameter, the deflation's first pressure, follows where there is one.
    free: Vec<usize>,
    pub(super) before: Vec<f64>,
    pub(super) before_sd: Vec<f64>,
}

/// Values of a part (a drop, the settled pressure, the deflation) and their standard deviations.
pub(super) type Part = (DVector<f64>, DVector<f64>);

/// Value of one of [`FITTED`] in a site.
fn value_of(site: &Site, which: usize) -> f64 {
    match which {
        0 => site.bag.dish_radius_m,
        1 => site.bag.vent_area_m2,
        2 => site.bag.leak_coefficient,
        _ => site.bag.skin_stretch_per_pa,
    }
}

impl<'a> Bench<'a> {
    fn new(site: &Site, tests: &'a Tests) -> Result<Self, FitError> {
        let (mut site, _) = with_gap(site).map_err(FitError::Plan)?;
        if site.bag.leak_coefficient <= 0.0 {
            site.bag.leak_coefficient = LEAK_START.0;
        }
        let bag = Model::new(&site).map_err(FitError::Plan)?.setups[0].bag;
        let free: Vec<usize> = (0..FITTED.len()).filter(|which| value_of(&site, *which) > 0.0).collect();
        let mut before: Vec<f64> = free.iter().map(|which| value_of(&site, *which).ln()).collect();
        let mut before_sd: Vec<f64> =
            free.iter().filter_map(|which| FITTED.get(*which)).map(|(_, _, sd)| *sd).collect();
        if site.bag.leak_coefficient == LEAK_START.0
            && let Some(at) = free.iter().position(|which| *which == 2)
        {
            before_sd[at] = LEAK_START.1;
        }
        if let Some((_, first_pa)) = tests.deflation.as_ref().and_then(|fall| fall.points.first()) {
            before.push(first_pa.ln());
            // Wide, since the reading that it is centred on counts once more among the points.
            before_sd.push(0.1);
        }
        Ok(Self { site, bag, tests, free, before, before_sd })
    }

    /// The site with other values.
    fn site_at(&self, at: &[f64]) -> Site {
        let mut site = self.site.clone();
        for (which, log) in self.free.iter().zip(at) {
            let value = log.exp();
            match which {
                0 => site.bag.dish_radius_m = value,
                1 => site.bag.vent_area_m2 = value,
                2 => site.bag.leak_coefficient = value,
                _ => site.bag.skin_stretch_per_pa = value,
            }
        }
        site
    }

    /// What the model gives: one vector a drop, then the settled pressure and the fall.
    fn predict(&self, at: &[f64]) -> Option<Vec<DVector<f64>>> {
        let site = self.site_at(at);
        let supply = Supply::new(&site).ok()?;
        let chamber = supply.chamber.as_ref().ok()?;
        let mut out = Vec::new();
        for drop in &self.tests.drops {
            let start_pa = drop.start_pa.map_or(chamber.operating_pa(), |pa| pa as f32);
            let gas = Adiabat::new(chamber, chamber.at_pressure(start_pa), QUICK_EXPONENT).ok()?;
            let along_m = drop.along_m.map_or(0.5 * self.bag.length_m, |m| m as f32);
            let speed = (2.0 * f64::from(landfall_core::air::STANDARD_GRAVITY_MPS2) * drop.height_m).sqrt();
            let landing = Landing {
                mass_kg: drop.mass_kg as f32,
                normal_speed_mps: speed as f32 * self.bag.slope_rad().cos(),
                slope_rad: self.bag.slope_rad(),
                skin_loss: site.bag.skin_loss as f32,
                displacement: Displacement::dish(site.bag.dish_radius_m as f32).ok()?,
                thickness_m: Some(self.bag.thickness_m(along_m)),
            }
            .checked()
            .ok()?;
            let flows = supply.flows(if drop.running { Feed::Running } else { Feed::Lost });
            let options = Options { until: Until::Deepest, ..Options::default() };
            let done = touch_down(&gas, &flows, &landing, &options, |_| {});
            let values =
                [drop.depth.map(|_| f64::from(done.depth_m)), drop.peak.map(|_| f64::from(done.peak_pressure_pa))];
            out.push(DVector::from_iterator(values.iter().flatten().count(), values.into_iter().flatten()));
        }
        if self.tests.settled_pa.is_some() {
            out.push(DVector::from_element(1, f64::from(supply.operating.pressure_pa)));
        }
        if let Some(fall) = &self.tests.deflation {
            let slow = SlowGas { chamber, flows: supply.flows(Feed::Lost) };
            let first_s = fall.points.first()?.0;
            let start = chamber.at_pressure(at.last()?.exp() as f32);
            out.push(DVector::from_iterator(
                fall.points.len(),
                fall.points.iter().map(|(s, _)| f64::from(slow.after_loss(&start, (s - first_s) as f32).0.pressure_pa)),
            ));
        }
        out.iter().flatten().all(|value| value.is_finite()).then_some(out)
    }

    /// Where the leak is among the parameters.
    pub(super) fn leak_at(&self) -> Option<usize> {
        self.free.iter().position(|which| *which == LEAK)
    }

    /// Which scale a part's errors hang on: drops 0, the rest 1.
    fn group(&self, part: usize) -> usize {
        usize::from(part >= self.tests.drops.len())
    }

    /// Measured values and their standard deviations, in the order of [`Bench::predict`].
    fn measured(&self) -> Vec<Part> {
        let pair = |list: Vec<(f64, f64)>| {
            let n = list.len();
            (DVector::from_iterator(n, list.iter().map(|v| v.0)), DVector::from_iterator(n, list.iter().map(|v| v.1)))
        };
        let mut out: Vec<_> = self
            .tests
            .drops
            .iter()
            .map(|drop| pair([drop.depth, drop.peak].into_iter().flatten().map(|m| (m.value, m.sd)).collect()))
            .collect();
        out.extend(self.tests.settled_pa.map(|pa| pair(vec![(pa, pa * SETTLED_SD_SHARE)])));
        if let Some(fall) = &self.tests.deflation {
            let sd = fall.points.first().map_or(1.0, |p| p.1 * FALL_SD_SHARE);
            out.push(pair(fall.points.iter().map(|p| (p.1, sd)).collect()));
        }
        out
    }

    /// Derivatives with respect to some of the parameters.
    fn slopes(&self, at: &[f64], moving: &[usize]) -> Option<Vec<DMatrix<f64>>> {
        let mut out: Vec<DMatrix<f64>> = Vec::new();
        for (column, index) in moving.iter().enumerate() {
            let side = |sign: f64| {
                let mut moved = at.to_vec();
                if let Some(slot) = moved.get_mut(*index) {
                    *slot += sign * STEP;
                }
                self.predict(&moved)
            };
            let (above, below) = (side(1.0)?, side(-1.0)?);
            if out.is_empty() {
                out = above.iter().map(|values| DMatrix::zeros(values.len(), moving.len())).collect();
            }
            for ((matrix, above), below) in out.iter_mut().zip(&above).zip(&below) {
                matrix.set_column(column, &((above - below) / (2.0 * STEP)));
            }
        }
        Some(out)
    }

    /// The problem about a point where some of the parameters move and the others are held, and what the model gives.
    pub(super) fn linear(
        &self,
        measured: &[Part],
        at: &[f64],
        moving: &[usize],
    ) -> Option<(Linear, Vec<DVector<f64>>)> {
        let (predicted, slopes) = self.predict(at).zip(self.slopes(at, moving))?;
        let parts = measured.iter().zip(&predicted).zip(&slopes).enumerate();
        let blocks = parts.map(|(part, ((m, p), slopes))| {
            let variance = DMatrix::from_diagonal(&m.1.map(|sd| sd * sd));
            let mut groups = vec![DMatrix::zeros(m.0.len(), m.0.len()); 2];
            if let Some(slot) = groups.get_mut(self.group(part)) {
                slot.copy_from(&variance);
            }
            Block { residual: &m.0 - p, slopes: slopes.clone(), fixed: variance * 1e-6, groups }
        });
        let pick = |of: &dyn Fn(usize) -> Option<f64>| {
            moving.iter().map(|i| of(*i)).collect::<Option<Vec<f64>>>().map(DVector::from_vec)
        };
        let linear = Linear {
            prior_variance: pick(&|i| Some(self.before_sd.get(i)?.powi(2)))?,
            offset: pick(&|i| Some(at.get(i)? - self.before.get(i)?))?,
            blocks: blocks.collect(),
            groups: 2,
        };
        Some((linear, predicted))
    }
}

struct Problem<'a> {
    bench: &'a Bench<'a>,
    measured: Vec<Part>,
    /// Scale of each part's errors.
    scales: Vec<f64>,
    /// In standard deviations from the site's values.
    at: DVector<f64>,
}

impl Problem<'_> {
    fn logs(&self) -> Vec<f64> {
        let Bench { before, before_sd, .. } = self.bench;
        self.at.iter().zip(before).zip(before_sd).map(|((x, before), sd)| before + x * sd).collect()
    }
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
        let mut out: Vec<f64> = self.at.iter().copied().collect();
        // A step to where the bag does not stand is refused by a large sum.
        let predicted = self.bench.predict(&self.logs());
        for (part, (values, sds)) in self.measured.iter().enumerate() {
            let scale = self.scales.get(part).copied().unwrap_or(1.0);
            match predicted.as_ref().and_then(|all| all.get(part)) {
                Some(predicted) => {
                    let parts = predicted.iter().zip(values.iter()).zip(sds.iter());
                    out.extend(parts.map(|((predicted, value), sd)| (predicted - value) / (sd * scale)));
                }
                None => out.extend(values.iter().map(|_| 1e3)),
            }
        }
        Some(DVector::from_vec(out))
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let n = self.at.len();
        let rows = n + self.measured.iter().map(|(values, _)| values.len()).sum::<usize>();
        let mut out = DMatrix::zeros(rows, n);
        out.view_mut((0, 0), (n, n)).fill_diagonal(1.0);
        let mut row = n;
        let all: Vec<usize> = (0..n).collect();
        let slopes = self.bench.slopes(&self.logs(), &all)?;
        for (part, ((_, sds), slopes)) in self.measured.iter().zip(&slopes).enumerate() {
            let scale = self.scales.get(part).copied().unwrap_or(1.0);
            for (i, sd) in sds.iter().enumerate() {
                for (j, before_sd) in self.bench.before_sd.iter().enumerate() {
                    out[(row + i, j)] = slopes[(i, j)] * before_sd / (sd * scale);
                }
            }
            row += sds.len();
        }
        Some(out)
    }
}

/// Fits the tests.
///
/// # Errors
/// [`FitError`].
pub fn fit_bag(site: &Site, tests: &Tests, file: &str) -> Result<BagFit, FitError> {
    let left_out: Vec<LeftOut> = tests
        .drops
        .iter()
        .filter_map(|drop| {
            drop.excluded.as_ref().map(|reason| LeftOut { run: drop.label.clone(), reason: reason.clone() })
        })
        .collect();
    let mut tests = tests.clone();
    tests.drops.retain(|drop| drop.excluded.is_none());
    if tests.drops.is_empty() && tests.deflation.is_none() && tests.settled_pa.is_none() {
        return Err(FitError::NoRuns);
    }
    let bench = Bench::new(site, &tests)?;
    let long = tests.drops.iter().filter(|drop| drop.along_m.is_some_and(|m| m > f64::from(bench.bag.length_m)));
    let faults: Vec<_> = long
        .map(|drop| {
            drop.row.fault("landing_along", "the drop meets the ground behind the bag", "count from the front edge")
        })
        .collect();
    if !faults.is_empty() {
        return Err(FitError::Faults(Faults { file: file.to_owned(), faults }));
    }
    let measured = bench.measured();
    let group: Vec<usize> = (0..measured.len()).map(|part| bench.group(part)).collect();
    let n = bench.before.len();
    let all: Vec<usize> = (0..n).collect();
    let lost = FitError::NoFit(NoFit::BagLost);
    let not_settled = || FitError::NoFit(NoFit::NotSettled);
    let mut at = DVector::zeros(n);
    let mut logs = vec![0.0; 2];
    let mut found = None;
    for _ in 0..8 {
        let scales: Vec<f64> = group.iter().map(|g| logs.get(*g).copied().unwrap_or(0.0_f64).exp()).collect();
        let problem = Problem { bench: &bench, measured: measured.clone(), scales, at: at.clone() };
        // The first step is no longer than a standard deviation before the test: a longer one may end where every drop
        // meets the ground, from where nothing leads back.
        let (problem, _) = LevenbergMarquardt::new()
            .with_scale_diag(false)
            .with_stepbound(1.0)
            .with_ftol(1e-6)
            .with_xtol(1e-5)
            .with_gtol(1e-6)
            .with_patience(20)
            .minimize(problem);
        let moved = (&problem.at - &at).amax();
        at = problem.at.clone();
        let here = problem.logs();
        let Some((linear, _)) = bench.linear(&measured, &here, &all) else { return Err(lost) };
        let (mode, curvature) = linear.most_probable(&logs, None).ok_or_else(not_settled)?;
        let changed = mode.iter().zip(&logs).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        logs = mode;
        if moved < 0.02 && changed < 0.02 {
            found = Some((here, linear.averaged(&logs, &curvature).ok_or_else(not_settled)?));
            break;
        }
    }
    let (here, posterior) = found.ok_or_else(not_settled)?;
    let joint = marginals(&bench, &measured, &here, &logs, &posterior.covariance).ok_or_else(not_settled)?;
    let mut values = Vec::new();
    for (index, which) in bench.free.iter().enumerate() {
        let (Some((name, key, _)), Some(marginal), Some(before_sd)) =
            (FITTED.get(*which), joint.marginals.get(index), bench.before_sd.get(index))
        else {
            continue;
        };
        let log_sd = joint.covariance[(index, index)].sqrt();
        values.push(BagValue {
            name,
            key,
            site_value: value_of(site, *which),
            value: marginal.median.exp(),
            low: marginal.low.exp(),
            high: marginal.high.exp(),
            log_sd,
            learnt: log_sd <= super::fit::LEARNT_SHARE * before_sd,
        });
    }
    let correlations = (0..values.len())
        .map(|i| {
            (0..values.len())
                .map(|j| joint.covariance[(i, j)] / (joint.covariance[(i, i)] * joint.covariance[(j, j)]).sqrt())
                .collect()
        })
        .collect();
    let medians: Vec<f64> = joint.marginals.iter().map(|marginal| marginal.median).collect();
    let predicted = bench.predict(&medians).ok_or(lost)?;
    let residuals = residuals(&tests, &measured, &predicted, &posterior.scale_rms, &group);
    let mut fit = BagFit {
        site: site.site.name.clone(),
        drops: tests.drops.len(),
        left_out,
        deflation_points: tests.deflation.as_ref().map_or(0, |fall| fall.points.len()),
        values,
        correlations,
        drop_scale: posterior.log_scale.first().map_or(1.0, |log| log.exp()),
        deflation_scale: posterior.log_scale.get(1).map_or(1.0, |log| log.exp()),
        residuals,
        fitted: false,
        doubts: Vec::new(),
    };
    judge(&mut fit);
    Ok(fit)
}

fn residuals(
    tests: &Tests,
    measured: &[Part],
    predicted: &[DVector<f64>],
    scales: &[f64],
    group: &[usize],
) -> Vec<BagResidual> {
    let mut out = Vec::new();
    for (part, ((values, sds), predicted)) in measured.iter().zip(predicted).enumerate() {
        let scale = group.get(part).and_then(|g| scales.get(*g)).copied().unwrap_or(1.0);
        let drop = tests.drops.get(part);
        for i in 0..values.len() {
            let (quantity, unit) = match drop {
                Some(drop) if i == 0 && drop.depth.is_some() => ("depth", "m"),
                Some(_) => ("peak pressure", "Pa"),
                None => ("pressure", "Pa"),
            };
            out.push(BagResidual {
                test: drop.map_or_else(
                    || if values.len() == 1 { "settled".to_owned() } else { "deflation".to_owned() },
                    |drop| format!("drop {}", drop.label),
                ),
                quantity,
                unit,
                measured: values[i],
                expected: predicted[i],
                sd: sds[i] * scale,
            });
        }
    }
    out
}

/// What counts as measured, and what is doubtful.
fn judge(fit: &mut BagFit) {
    let of = |key: &str| fit.values.iter().find(|value| value.key == key);
    let dish = of("bag.dish_radius").is_some_and(|v| v.learnt && v.log_sd * v.value <= MEASURED_DISH_SD_M);
    let stretch = of("bag.skin_stretch").is_some_and(|v| v.learnt && v.log_sd <= MEASURED_STRETCH_SD);
    let enough = fit.drops >= FEWEST_DROPS;
    let mut doubts = Vec::new();
    if !enough {
        doubts.push(format!("{} of at least {FEWEST_DROPS} drops: too few", fit.drops));
    }
    if !dish {
        doubts
            .push("the dish radius is not known to 0.15 m: more drops, from other heights, with the depth".to_owned());
    }
    if !stretch {
        doubts.push("the skin stretch is not known to a factor of 1.4: it needs a deflation with the blower off and the settled pressure with it on (--settled)".to_owned());
    }
    for (name, scale) in [("drops", fit.drop_scale), ("deflation", fit.deflation_scale)] {
        if scale > 3.0 {
            doubts
                .push(format!("the {name} lie {scale:.1} times as far off as their errors allow: look at each below"));
        }
    }
    for residual in &fit.residuals {
        let off = (residual.measured - residual.expected) / residual.sd;
        if residual.test != "deflation" && off.abs() > 3.0 {
            doubts.push(format!(
                "{}: {} {:.3} {unit} where the fit gives {:.3} {unit}, {:.1} standard deviations",
                residual.test,
                residual.quantity,
                residual.measured,
                residual.expected,
                off.abs(),
                unit = residual.unit
            ));
        }
    }
    fit.fitted = dish && stretch && enough;
    fit.doubts = doubts;
}
