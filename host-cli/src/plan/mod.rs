//! The plan: from a site to everything that is computed about it.

pub mod cautions;
pub mod csv;
pub mod dirt;
pub mod findings;
pub mod interval;
pub mod json;
pub mod limits;
pub mod model;
pub mod parts;
pub mod results;
#[cfg(test)]
mod sample;
pub mod sampled;
pub mod search;
pub mod supply;
pub mod text;
pub mod words;

use crate::sampling::Stop;
use crate::site::Site;
use landfall_core::InputError;
use landfall_core::bag::Bag;
use landfall_core::spread::{Differences, differences};
use landfall_core::wind::GUST_FACTOR;
use model::{Model, RIDERS, Supply, wind_forces};
use parts::{DETAIL, Single, single};
use results::{Level, Placement, Pressures, Results, Rider, Riders, Spread, Standing, Verdict, Wind};
use sampled::Landings;
use search::Draws;
use supply::{Committed, Hard};

/// Which of the costly parts are wanted; what is left out is null (and no finding speaks of it).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Parts {
    /// Sampling of the three riders.
    pub sampling: bool,
    /// Far tails: chances of a miss by importance sampling.
    pub tails: bool,
    /// Best gap and band (needs the sampling).
    pub placement: bool,
    /// Lowest and highest start (needs the placement).
    pub starts: bool,
    /// Hold winds (needs the sampling).
    pub hold_winds: bool,
    /// The pressures to ride between and the power loss.
    pub pressures: bool,
}

impl Parts {
    /// Everything.
    pub const ALL: Self =
        Self { sampling: true, tails: true, placement: true, starts: true, hold_winds: true, pressures: true };
    /// Only what needs neither sampling nor the search for pressures.
    pub const QUICK: Self =
        Self { sampling: false, tails: false, placement: false, starts: false, hold_winds: false, pressures: false };
}

/// Why there is no plan.
#[derive(Debug)]
#[non_exhaustive]
pub enum PlanError {
    /// A value that the models refuse although the site file's reader took it.
    Input(InputError),
    /// `bag.gap` is not stated.
    NoGap,
    /// It was asked to stop.
    Stopped,
}

impl std::fmt::Display for PlanError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Input(error) => write!(f, "the models refuse a value: {error}"),
            Self::NoGap => write!(
                f,
                "bag.gap: a plan needs it; measure from the lip's edge to the bag's front edge, such as gap = \"3.5 m\""
            ),
            Self::Stopped => write!(f, "stopped before the end; nothing is printed"),
        }
    }
}

impl std::error::Error for PlanError {}

impl From<InputError> for PlanError {
    fn from(error: InputError) -> Self {
        Self::Input(error)
    }
}

/// Computes the plan of a site. Deterministic for a site and its seed, at any number of threads (those of rayon's
/// current pool). `stop` ends it early and counts the runs done.
///
/// # Errors
/// [`PlanError`].
pub fn compute(site: &Site, parts: Parts, stop: &Stop) -> Result<Results, PlanError> {
    let model = Model::new(site)?;
    let supply = Supply::new(site)?;
    let bag = model.setups[0].bag;
    let inputs = model.uncertainty.at_mean();
    let singles: Vec<Single> = model.setups.iter().map(|setup| single(setup, &inputs)).collect();
    let spreads: Vec<Option<Differences>> =
        model.setups.iter().map(|setup| differences(setup, &model.uncertainty, &DETAIL)).collect();
    let draws = Draws { samples: site.spread.samples, seed: site.spread.seed, stop };
    let target = site.spread.target_miss;
    let landings = if parts.sampling || parts.placement || parts.hold_winds {
        Some(Landings::draw(&model, &spreads, &draws, parts.placement)?)
    } else {
        None
    };

    let one = singles.first().ok_or(PlanError::Stopped)?;
    let stop_lines = parts::stop_lines(site, &model, one);
    let line = stop_lines.first().copied();
    let hard = hard_landing(&bag, &spreads, landings.as_ref());
    let committed = match (hard, line.and_then(|line| line.to_touchdown_s)) {
        (Some(hard), Some(commitment_s)) => {
            Some(Committed { hard, commitment_s, from_start: line.is_none_or(|line| line.before_foot_m.is_none()) })
        }
        _ => None,
    };
    let pressures = match (&committed, &supply.chamber) {
        (Some(committed), Ok(_)) if parts.pressures => supply::pressures(site, &supply, &bag, committed)?,
        _ => Pressures {
            hard_speed_mps: hard.map(|hard| hard.speed_mps),
            fitted: site.bag.fitted,
            ..Pressures::default()
        },
    };
    let needed_s = committed.map(|committed| committed.commitment_s + site.rider.reaction_s);
    let air = supply::air(site, &supply, hard.map(|hard| (hard, bag)), needed_s);
    let touchdown = match &one.run {
        Some(run) if run.landed() => supply::touchdown(site, &supply, &bag, run)?,
        _ => None,
    };

    let (clearing_lip_speed_mps, front_from_lip_speed_mps, short_zone) = parts::short_zone(&model);
    let placed = match &landings {
        Some(landings) if parts.placement => {
            let gust_mps = parts.starts.then_some(site.wind.gust_mps);
            Some(sampled::place(&model, landings, &spreads, &draws, target, gust_mps)?)
        }
        _ => None,
    };
    let miss_now = landings.as_ref().map(|landings| landings.worst().1);
    let placement = Placement {
        gap_m: f64::from(bag.gap_m),
        offset_m: f64::from(bag.offset_m),
        miss_now,
        best_gap_m: placed.as_ref().and_then(|placed| placed.best_gap_m),
        gap_low_m: placed.as_ref().and_then(|placed| placed.band_m).map(|band| band.0),
        gap_high_m: placed.as_ref().and_then(|placed| placed.band_m).map(|band| band.1),
        inside_band_m: placed.as_ref().and_then(|placed| placed.band_m).map(|(low, high)| {
            let gap_m = f64::from(bag.gap_m);
            (gap_m - low).min(high - gap_m)
        }),
        least_miss: placed.as_ref().map(|placed| placed.least.0),
        least_miss_gap_m: placed.as_ref().map(|placed| placed.least.1),
        best_offset_m: placed.as_ref().and_then(|placed| placed.best_offset_m),
        miss_at_best: placed.as_ref().and_then(|placed| placed.miss_at_best),
        last_stop_before_foot_m: line.and_then(|line| line.before_foot_m),
        last_stop_speed_mps: parts::stop_line_speed_mps(site, &model),
        last_stop_to_touchdown_s: line.filter(|line| line.before_foot_m.is_some()).and_then(|line| line.to_touchdown_s),
        stop_lines,
        clearing_lip_speed_mps,
        front_from_lip_speed_mps,
        short_zone,
        lowest_clearing_start_m: placed.as_ref().and_then(|placed| placed.lowest_clearing_start_m),
        highest_start_in_gust_m: placed.as_ref().and_then(|placed| placed.highest_start_in_gust_m),
        target_miss: target,
    };

    let forces = wind_forces(site, &supply.air)?;
    let holds = match &landings {
        Some(_) if parts.hold_winds => sampled::hold_winds(&model, &draws, target, site.anchors.wind_mps)?,
        _ => [None; 3],
    };
    let reading = |hold: Option<f64>| hold.map(|hold| hold / f64::from(GUST_FACTOR));
    let wind = Wind {
        hold_along_tail_mps: holds[0],
        hold_along_head_mps: holds[1],
        hold_across_mps: holds[2],
        mean_reading_tail_mps: reading(holds[0]),
        mean_reading_head_mps: reading(holds[1]),
        mean_reading_across_mps: reading(holds[2]),
        limit_mps: site.anchors.wind_mps,
        side_force_n: f64::from(forces.side_n),
        lift_n: f64::from(forces.lift_n),
        anchors_needed: u32::from(forces.anchors),
        anchors_stated: site.anchors.count,
    };

    let flight = parts::flight(&model, one);
    let dirt = flight
        .equivalent_fall_height_m
        .map(|fall_m| dirt::compare(fall_m, hard.map(|hard| hard.speed_mps.powi(2) / (2.0 * 9.80665))));
    let mut results = Results {
        site: site.site.name.clone(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        ride: parts::ride(&model, one),
        riders: riders(&model, &singles, landings.as_ref()),
        flight,
        spread: Spread {
            differences: spreads[0].as_ref().map(sampled::differences_result),
            sampling: landings.as_ref().map(|landings| landings.result(&draws)),
            tails: if parts.tails { Some(sampled::tails(&model, &draws)?) } else { None },
            methods_agree: landings.as_ref().and_then(|landings| landings.agrees(spreads[0].as_ref())),
        },
        placement,
        air,
        touchdown,
        pressures,
        wind,
        dirt,
        verdict: Verdict::default(),
        ride_by: Vec::new(),
        cures: Vec::new(),
        findings: Vec::new(),
        assumed: site.assumed().map(|key| key.dotted.to_owned()).collect(),
        cautions: cautions::CAUTIONS.iter().map(|text| (*text).to_owned()).collect(),
    };
    results.findings = findings::findings(site, &results);
    results.verdict = verdict(site, &results);
    Ok(results)
}

/// How a plan with its findings stands.
fn verdict(site: &Site, results: &Results) -> Verdict {
    let count = |level: Level| results.findings.iter().filter(|finding| finding.level == level).count();
    let table = limits::limits(site, results);
    let kept = table.iter().filter(|limit| limit.inside).count();
    let stops = count(Level::Stop);
    let standing = match (stops, &results.pressures.provisional) {
        (0, None) => Standing::Inside,
        (0, Some(_)) => Standing::Provisional,
        _ => Standing::Outside,
    };
    let first = results.findings.iter().find(|finding| finding.level == Level::Stop && finding.follows_from.is_none());
    Verdict {
        standing,
        limits_kept: kept,
        limits_broken: table.len() - kept,
        stops,
        cautions: count(Level::Caution),
        first_cause: first.map(|finding| finding.id),
    }
}

/// The ride and the flight of the mean rider with all inputs at their site values, as [`compute`] gives them, and
/// nothing else: for maps of many points.
///
/// # Errors
/// [`PlanError`].
pub fn mean_run(site: &Site) -> Result<(results::Ride, results::Flight), PlanError> {
    let model = Model::new(site)?;
    let one = single(&model.setups[0], &model.uncertainty.at_mean());
    Ok((parts::ride(&model, &one), parts::flight(&model, &one)))
}

/// The hard landing: mean plus 3.09 standard deviations of the speed into the top, the largest of the three riders', at
/// the thinnest place where the landings of all three fall.
fn hard_landing(bag: &Bag, spreads: &[Option<Differences>], landings: Option<&Landings>) -> Option<Hard> {
    let mut speed_mps = 0.0_f64;
    let mut falls = (f64::INFINITY, f64::NEG_INFINITY);
    for spread in spreads {
        let spread = spread.as_ref()?;
        speed_mps = speed_mps.max(f64::from(spread.mean_normal_mps) + 3.09 * f64::from(spread.sd_normal_mps));
        let (middle, reach) = (f64::from(spread.mean_along_m), 3.09 * f64::from(spread.sd_along_m));
        falls = (falls.0.min(middle - reach), falls.1.max(middle + reach));
    }
    if let Some(drawn) = landings.and_then(Landings::along_interval) {
        falls = drawn;
    }
    let thickness_m = f64::from(bag.thinnest_m(falls.0 as f32, falls.1 as f32));
    Some(Hard { speed_mps, thickness_m })
}

fn riders(model: &Model, singles: &[Single], landings: Option<&Landings>) -> Riders {
    let rider = |which: usize| {
        let run = singles.get(which).and_then(|single| single.run).filter(|run| run.landed());
        let drawn = landings.map(|landings| landings.of(model, which));
        Rider {
            mass_kg: model.masses_kg[which],
            along_m: run.map(|run| f64::from(run.along_m)),
            airtime_s: run.map(|run| f64::from(run.airtime_s)),
            impact_normal_mps: run.map(|run| f64::from(run.normal_mps)),
            sd_along_m: drawn.map(|drawn| drawn.sd[0]).filter(|sd| sd.is_finite()),
            miss: drawn.map(sampled::miss_or_bound),
        }
    };
    let worst = landings.map_or(0, |landings| landings.worst().0);
    Riders { lightest: rider(1), heaviest: rider(2), worst: RIDERS[worst] }
}
