//! The plan: from a site to everything that is computed about it.

pub mod box_settings;
pub mod cautions;
pub mod csv;
pub mod cures;
pub mod demand;
pub mod dirt;
pub mod error;
pub mod findings;
pub mod first_day;
pub mod first_screen;
pub mod interval;
pub mod json;
pub mod known;
pub mod limits;
pub mod model;
pub mod parts;
pub mod results;
pub mod ride_by;
pub mod sampled;
pub mod search;
pub mod supply;
pub mod table;
#[cfg(test)]
mod test_plan;
pub mod text;
pub mod words;

use crate::site::Site;
use demand::{Crew, Demand, Drawn, crews};
pub use error::PlanError;
use known::{Twice, levels_input, limits_twice};
use landfall_core::spread::{Mixture, mixture};
use landfall_core::wind::GUST_FACTOR;
use landfall_sampling::{Sampled, Stop};
use model::{Model, Supply, wind_forces};
use parts::{DETAIL, Single, single};
use results::Who;
use results::{Level, Placement, Pressures, Provisional, Results, Rider, Riders, Spread, Standing, Verdict, Wind};
use sampled::{Hold, Landings};
use search::Draws;
use table::Tables;

/// Which of the costly parts are wanted; what is left out is null (and no finding speaks of it).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Parts {
    /// Sampling of the three riders.
    pub sampling: bool,
    /// Far tails: chances of a miss by importance sampling.
    pub tails: bool,
    /// Best gap and band (needs the sampling).
    pub placement: bool,
    /// Lowest and highest start, and the start marks (needs the placement).
    pub starts: bool,
    /// Hold winds (needs the sampling).
    pub hold_winds: bool,
    /// The pressures to ride between, what is not known, and the power loss.
    pub pressures: bool,
    /// The highest start until the bag is measured, where there is one (needs the pressures).
    pub first_day: bool,
    /// Changes that were computed for the stops (needs all that can be a stop).
    pub cures: bool,
    /// The ground, where the site states anything of it.
    pub ground: bool,
}

impl Parts {
    /// Everything.
    pub const ALL: Self = Self {
        sampling: true,
        tails: true,
        placement: true,
        starts: true,
        hold_winds: true,
        pressures: true,
        first_day: true,
        cures: true,
        ground: true,
    };
    /// Only what needs neither sampling nor the search for pressures.
    pub const QUICK: Self = Self {
        sampling: false,
        tails: false,
        placement: false,
        starts: false,
        hold_winds: false,
        pressures: false,
        first_day: false,
        cures: false,
        ground: false,
    };
}

/// What is known of one set of riders before they land: ride, flight, spread, placement.
struct Jump {
    results: Jumped,
    /// What the pressures take from the sampling.
    drawn: Drawn,
}

/// The parts of the results that one set of riders has to itself.
struct Jumped {
    ride: results::Ride,
    riders: Riders,
    flight: results::Flight,
    spread: Spread,
    placement: Placement,
    touchdown: Option<results::Touchdown>,
    hold_winds: [Option<Hold>; 3],
}

/// Sections of a plan that need no pressures, for one set of riders.
fn jump(site: &Site, model: &Model, supply: &Supply, parts: Parts, stop: &Stop) -> Result<Jump, PlanError> {
    let bag = model.setups[0].bag();
    let inputs = model.uncertainty.at_mean();
    let singles: Vec<Single> = model.setups.iter().map(|setup| single(setup, &inputs)).collect();
    let spreads: Vec<Option<Mixture>> =
        model.setups.iter().map(|setup| mixture(setup, &model.uncertainty, &DETAIL)).collect();
    let draws = Draws { samples: site.spread.samples, seed: site.spread.seed, stop };
    let target = site.spread.target_miss;
    // The pressures go by the drawn landings where a run of the divided differences has none.
    let drawn_for_pressures = parts.pressures && spreads.iter().any(Option::is_none);
    let landings = if parts.sampling || parts.placement || parts.hold_winds || drawn_for_pressures {
        Some(Landings::draw(model, &spreads, &draws, parts.placement)?)
    } else {
        None
    };

    let one = singles.first().ok_or(PlanError::Stopped)?;
    let stop_lines = parts::stop_lines(site, model, one);
    let line = stop_lines.first().copied();
    let touchdown = match &one.run {
        Some(run) if run.landed() => supply::touchdown(site, supply, bag, run)?,
        _ => None,
    };

    let (clearing_lip_speed_mps, front_from_lip_speed_mps, short_zone) = parts::short_zone(model);
    // Three searches that want nothing of each other.
    let place = || match &landings {
        Some(landings) if parts.placement => {
            let gust_mps = parts.starts.then_some(site.wind.gust_mps);
            sampled::place(model, landings, &spreads, &draws, target, gust_mps).map(Some)
        }
        _ => Ok(None),
    };
    let hold = || match &landings {
        Some(_) if parts.hold_winds => sampled::hold_winds(model, &draws, target, site.anchors.wind_mps),
        _ => Ok([None; 3]),
    };
    let tails = || if parts.tails { sampled::tails(model, &draws).map(Some) } else { Ok(None) };
    let (placed, (hold_winds, tails)) = rayon::join(place, || rayon::join(hold, tails));
    let (placed, hold_winds, tails) = (placed?, hold_winds?, tails?);
    let miss_now = landings.as_ref().map(|landings| landings.worst().1);
    let gap_m = f64::from(bag.gap_m());
    // The band is searched in steps; that the target is kept at the stated gap was counted there itself.
    let band_m = placed.as_ref().and_then(|placed| match (placed.band_m, placed.least) {
        _ if miss_now.is_none_or(|miss| miss > target) => placed.band_m,
        (Some((low, high)), _) => Some((low.min(gap_m), high.max(gap_m))),
        (None, least) => least.map(|_| (gap_m, gap_m)),
    });
    let placement = Placement {
        gap_m,
        offset_m: f64::from(bag.offset_m()),
        miss_now,
        best_gap_m: placed.as_ref().and_then(|placed| placed.best_gap_m),
        gap_low_m: band_m.map(|band| band.0),
        gap_high_m: band_m.map(|band| band.1),
        inside_band_m: band_m.map(|(low, high)| (gap_m - low).min(high - gap_m)),
        least_miss: placed.as_ref().and_then(|placed| placed.least).map(|least| least.0),
        least_miss_gap_m: placed.as_ref().and_then(|placed| placed.least).map(|least| least.1),
        best_offset_m: placed.as_ref().and_then(|placed| placed.best_offset_m),
        miss_at_best: placed.as_ref().and_then(|placed| placed.miss_at_best),
        gap_runs: placed.as_ref().map(|placed| placed.gap_runs),
        best_is_better: placed.as_ref().and_then(|placed| placed.best_is_better),
        last_stop_before_foot_m: line.and_then(|line| line.before_foot_m),
        last_stop_speed_mps: parts::stop_line_speed_mps(site, model),
        last_stop_to_touchdown_s: line.filter(|line| line.before_foot_m.is_some()).and_then(|line| line.to_touchdown_s),
        stop_lines,
        clearing_lip_speed_mps,
        front_from_lip_speed_mps,
        short_zone,
        lowest_clearing_start_m: placed.as_ref().and_then(|placed| placed.lowest_clearing_start_m),
        highest_start_in_gust_m: placed.as_ref().and_then(|placed| placed.highest_start_in_gust_m),
        target_miss: target,
    };
    let spread = Spread {
        differences: spreads[0].as_ref().map(sampled::differences_result),
        sampling: landings.as_ref().map(|landings| landings.result(&draws)),
        tails,
        methods_agree: landings.as_ref().and_then(|landings| landings.agrees(spreads[0].as_ref())),
    };
    Ok(Jump {
        drawn: landings.as_ref().map_or_else(Drawn::default, |landings| Drawn::of(model, landings, &spreads)),
        results: Jumped {
            ride: parts::ride(model, one),
            riders: riders(model, &singles, landings.as_ref()),
            flight: parts::flight(model, one),
            spread,
            placement,
            touchdown,
            hold_winds,
        },
    })
}

/// What is known of the bag under all crews.
struct OnBag {
    demand: Demand,
    twice: Option<Twice>,
    pressures: Pressures,
}

/// What is known of the hard landing where pressures were not asked for, or cannot be.
fn no_pressures(demand: &Demand) -> Pressures {
    Pressures { hard_speed_mps: Some(demand.hard_speed_mps), speeds_by: Some(demand.speeds_by), ..Pressures::default() }
}

/// Sections of a plan that need the pressures.
fn on_bag(site: &Site, supply: &Supply, crews: &[Crew], demand: Demand, first_day: bool) -> Result<OnBag, PlanError> {
    let (Ok(chamber), Some(first)) = (&supply.chamber, crews.first()) else {
        let pressures = no_pressures(&demand);
        return Ok(OnBag { demand, twice: None, pressures });
    };
    let input = levels_input(site, supply, first.model.setups[0].bag(), &demand);
    let twice = limits_twice(site, supply, chamber, &input)?.with_ground(site, &input, &demand)?;
    let tables = Tables::judge(site, supply, &demand, &twice);
    let mut pressures = known::pressures(&demand, &twice);
    if tables.provisional() {
        let first_day_start_m = if first_day { first_day::start_m(site, supply, chamber, crews)? } else { None };
        pressures.provisional = Some(Provisional { lifted: tables.lifted(), first_day_start_m });
    }
    pressures.judged = tables.judgements();
    Ok(OnBag { demand, twice: Some(twice), pressures })
}

/// Computes the plan of a site. Deterministic for a site and its seed, at any number of threads (those of rayon's
/// current pool). `stop` ends it early and counts the runs done.
///
/// # Errors
/// [`PlanError`].
pub fn compute(site: &Site, parts: Parts, stop: &Stop) -> Result<Results, PlanError> {
    let mut results = plan_of(site, parts, stop)?;
    // What does not fit the ground is looked at by its own command.
    let of_ground = results.verdict.first_cause.is_some_and(|id| id.starts_with("land."));
    if parts.cures && results.verdict.stops > 0 && !of_ground {
        results.cures = cures::cures(site, &results, stop)?;
        for finding in &mut results.findings {
            finding.cures = results.cures.iter().filter(|cure| cure.finding == finding.id).cloned().collect();
        }
    }
    Ok(results)
}

/// The plan without what else could be done about it.
fn plan_of(site: &Site, parts: Parts, stop: &Stop) -> Result<Results, PlanError> {
    let model = Model::new(site)?;
    let supply = Supply::new(site)?;
    let bag = model.setups[0].bag();
    let own = jump(site, &model, &supply, parts, stop)?;
    let crews = crews(site)?;
    let groups: Vec<Jump> = crews
        .iter()
        .filter(|crew| crew.group.is_some())
        .map(|crew| jump(&crew.site, &crew.model, &supply, parts, stop))
        .collect::<Result<_, _>>()?;
    let drawn: Vec<Drawn> = if groups.is_empty() {
        vec![own.drawn.clone()]
    } else {
        groups.iter().map(|jump| jump.drawn.clone()).collect()
    };
    let on_bag = match Demand::new(&crews, f64::INFINITY, &drawn) {
        Some(demand) if parts.pressures => Some(on_bag(site, &supply, &crews, demand, parts.first_day)?),
        Some(demand) => {
            let pressures = no_pressures(&demand);
            Some(OnBag { demand, twice: None, pressures })
        }
        None => None,
    };
    let demand = on_bag.as_ref().map(|on_bag| &on_bag.demand);
    let needed_s = demand.and_then(|demand| demand.commitment_s).map(|s| s + site.rider.reaction_s);
    let air = supply::air(site, &supply, demand.map(|demand| (demand, bag)), needed_s);
    let push_n = on_bag
        .as_ref()
        .and_then(|on_bag| on_bag.twice.as_ref())
        .map(|twice| site.bag.skin_friction * f64::from(twice.now.limits.hard_force_n));
    let forces = wind_forces(site, &supply.air, push_n.unwrap_or(0.0))?;
    let hard_fall_m = demand.map(|demand| demand.hard_speed_mps.powi(2) / (2.0 * 9.80665));
    let pressures = on_bag.map_or_else(Pressures::default, |on_bag| on_bag.pressures);

    let whole = |of: &Site, jumped: Jumped| {
        let holds = jumped.hold_winds;
        let gust = |hold: Option<Hold>| hold.map(|hold| hold.gust_mps);
        let error = |hold: Option<Hold>| hold.map(|hold| hold.error_mps);
        let reading = |hold: Option<Hold>| hold.map(|hold| hold.gust_mps / f64::from(GUST_FACTOR));
        let wind = Wind {
            hold_along_tail_mps: gust(holds[0]),
            hold_along_head_mps: gust(holds[1]),
            hold_across_mps: gust(holds[2]),
            hold_error_tail_mps: error(holds[0]),
            hold_error_head_mps: error(holds[1]),
            hold_error_across_mps: error(holds[2]),
            mean_reading_tail_mps: reading(holds[0]),
            mean_reading_head_mps: reading(holds[1]),
            mean_reading_across_mps: reading(holds[2]),
            limit_mps: site.anchors.wind_mps,
            side_force_n: f64::from(forces.side_n),
            lift_n: f64::from(forces.lift_n),
            anchors_needed: u32::from(forces.anchors),
            anchors_stated: site.anchors.count,
        };
        Results {
            site: site.site.name.clone(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            start_m: of.roll_in.start_height_m,
            groups: Vec::new(),
            dirt: jumped.flight.equivalent_fall_height_m.map(|fall_m| dirt::compare(fall_m, hard_fall_m)),
            ride: jumped.ride,
            riders: jumped.riders,
            flight: jumped.flight,
            spread: jumped.spread,
            placement: jumped.placement,
            air: air.clone(),
            touchdown: jumped.touchdown.map(|landing| results::Touchdown { push_n, ..landing }),
            pressures: pressures.clone(),
            wind,
            verdict: Verdict::default(),
            ride_by: Vec::new(),
            cures: Vec::new(),
            findings: Vec::new(),
            assumed: site.assumed().map(|key| key.dotted.to_owned()).collect(),
            cautions: cautions::CAUTIONS.iter().map(|text| (*text).to_owned()).collect(),
        }
    };
    let mut results = whole(site, own.results);
    results.groups = crews
        .iter()
        .filter_map(|crew| crew.group.clone().map(|group| (group, &crew.site)))
        .zip(groups)
        .map(|((group, of), jump)| (group, whole(of, jump.results)))
        .collect();
    let draws = Draws { samples: site.spread.samples, seed: site.spread.seed, stop };
    results.ride_by = ride_by::ride_by(site, &results, &crews, &draws, &supply, parts.starts && parts.sampling)?;
    results.findings = findings::findings(site, &results);
    if parts.pressures && findings::inside_all_limits(&results.findings) {
        let mut whole = box_settings::findings(site, &results, &supply);
        whole.append(&mut results.findings);
        results.findings = whole;
    }
    if parts.ground && site.ground.is_stated() {
        let look = crate::ground::look(site, Some(&results), None)?;
        results.findings.extend(crate::ground::said::findings(&look));
        results.findings.sort_by_key(|finding| finding.level);
    }
    results.verdict = verdict(site, &results);
    Ok(results)
}

/// How a plan with its findings stands.
fn verdict(site: &Site, results: &Results) -> Verdict {
    let count = |level: Level| results.findings.iter().filter(|finding| finding.level == level).count();
    let table = limits::limits(site, results);
    let broken = table.iter().filter(|limit| limit.broken()).count();
    let stops = count(Level::Stop);
    let standing = match (stops, &results.pressures.provisional) {
        (0, None) => Standing::Inside,
        (0, Some(_)) => Standing::Provisional,
        _ => Standing::Outside,
    };
    let first = results.findings.iter().find(|finding| finding.level == Level::Stop && finding.follows_from.is_none());
    Verdict {
        standing,
        limits_kept: table.len() - broken,
        limits_broken: broken,
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
            misses: drawn.map(Sampled::misses),
        }
    };
    let worst = landings.map_or(0, |landings| landings.worst().0);
    Riders { lightest: rider(1), heaviest: rider(2), worst: Who::ALL[worst] }
}
