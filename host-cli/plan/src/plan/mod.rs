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
use results::{
    Level, OrWhy, Placement, Pressures, Provisional, Results, Rider, Riders, SpeedsBy, Spread, Standing, Verdict, Who,
    Why, Wind,
};
use sampled::{Hold, Landings, Placed};
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
    /// What the pressures take from the sampling; none where nothing was sampled.
    drawn: Option<Drawn>,
    /// Why the mean rider does not come down on the bag's plane, where that is so.
    missed: Option<Why>,
}

/// The parts of the results that one set of riders has to itself.
struct Jumped {
    ride: results::Ride,
    riders: Riders,
    flight: results::Flight,
    spread: Spread,
    placement: Placement,
    touchdown: OrWhy<results::Touchdown>,
    hold_winds: OrWhy<[Hold; 3]>,
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
    let ride = parts::ride(model, one);
    let landed = one.landed(&ride);
    let stop_lines = parts::stop_lines(site, model, one, landed.map(|run| run.airtime_s));
    let line: OrWhy<results::StopLine> = stop_lines.first().copied().ok_or(Why::Committed).into();
    let touchdown = match &landed {
        Ok(run) => supply::touchdown(site, supply, bag, run)?,
        Err(why) => (*why).into(),
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
        Some(_) if parts.hold_winds => {
            let holds = sampled::hold_winds(model, &draws, target, site.anchors.wind_mps);
            holds.map(|holds| holds.ok_or(Why::MissInWind).into())
        }
        _ => Ok(OrWhy::default()),
    };
    let tails = || if parts.tails { sampled::tails(model, &draws).map(Some) } else { Ok(None) };
    let (placed, (hold_winds, tails)) = rayon::join(place, || rayon::join(hold, tails));
    let (placed, hold_winds, tails) = (placed?, hold_winds?, tails?);
    let miss_now = landings.as_ref().map(|landings| landings.worst().1);
    let gap_m = f64::from(bag.gap_m());
    // The band is searched in steps; that the target is kept at the stated gap was counted there itself.
    let band_m = placed.as_ref().map_or_else(OrWhy::default, |placed| match (placed.band_m, placed.least) {
        (band_m, _) if miss_now.is_none_or(|miss| miss > target) => band_m,
        (OrWhy::Value((low, high)), _) => OrWhy::Value((low.min(gap_m), high.max(gap_m))),
        (OrWhy::Null(_), least) => least.map(|_| (gap_m, gap_m)),
    });
    let to_touchdown_s = line.and_then(|line| match line.before_foot_m {
        OrWhy::Null(_) if line.to_touchdown_s.get().is_some() => Why::NoLine.into(),
        _ => line.to_touchdown_s,
    });
    let placement = Placement {
        gap_m,
        offset_m: f64::from(bag.offset_m()),
        miss_now,
        best_gap_m: found(&placed, |placed| placed.best_gap_m),
        gap_low_m: band_m.map(|band| band.0),
        gap_high_m: band_m.map(|band| band.1),
        inside_band_m: band_m.map(|(low, high)| (gap_m - low).min(high - gap_m)),
        least_miss: found(&placed, |placed| placed.least).map(|least| least.0),
        least_miss_gap_m: found(&placed, |placed| placed.least).map(|least| least.1),
        best_offset_m: found(&placed, |placed| placed.best_offset_m),
        miss_at_best: found(&placed, |placed| placed.miss_at_best),
        gap_runs: placed.as_ref().map(|placed| placed.gap_runs),
        best_is_better: found(&placed, |placed| placed.best_is_better),
        last_stop_before_foot_m: line.and_then(|line| line.before_foot_m),
        last_stop_speed_mps: parts::stop_line_speed_mps(site, model),
        last_stop_to_touchdown_s: to_touchdown_s,
        stop_lines,
        clearing_lip_speed_mps,
        front_from_lip_speed_mps,
        short_zone,
        lowest_clearing_start_m: found(&placed, |placed| placed.lowest_clearing_start_m),
        highest_start_in_gust_m: found(&placed, |placed| placed.highest_start_in_gust_m),
        target_miss: target,
    };
    let missed = landed.err();
    let differences = spreads[0].as_ref();
    let methods_agree = landings.as_ref().ok_or(Why::NotAsked).and_then(|landings| {
        let differences = differences.ok_or(Why::NoDifferences)?;
        Ok(landings.agrees(differences))
    });
    let spread = Spread {
        differences: differences.map(sampled::differences_result).ok_or(missed.unwrap_or(Why::NoDifferences)).into(),
        sampling: landings.as_ref().map(|landings| landings.result(&draws)),
        tails,
        methods_agree: methods_agree.into(),
    };
    Ok(Jump {
        drawn: landings.as_ref().map(|landings| Drawn::of(model, landings, &spreads)),
        missed,
        results: Jumped {
            riders: riders(model, &singles, landings.as_ref()),
            flight: parts::flight(model, one, &ride),
            ride,
            spread,
            placement,
            touchdown,
            hold_winds,
        },
    })
}

/// A value of the search for a place, where there was one.
fn found<T: Copy>(placed: &Option<Placed>, of: impl Fn(&Placed) -> OrWhy<T>) -> OrWhy<T> {
    placed.as_ref().map_or_else(OrWhy::default, of)
}

/// What is known of the bag under all crews.
struct OnBag {
    demand: Demand,
    twice: Option<Twice>,
    pressures: Pressures,
}

/// What is known of the hard landing where there are no pressures, for a reason.
fn no_pressures(demand: &Demand, why: Why) -> Pressures {
    Pressures {
        hard_speed_mps: OrWhy::Value(demand.hard_speed_mps),
        speeds_by: OrWhy::Value(demand.speeds_by),
        ..Pressures::none(why)
    }
}

/// Sections of a plan that need the pressures; `without` says why there are none, where that is so.
fn on_bag(
    site: &Site,
    supply: &Supply,
    crews: &[Crew],
    demand: Demand,
    first_day: bool,
    without: Why,
) -> Result<OnBag, PlanError> {
    let (Ok(chamber), Some(first)) = (&supply.chamber, crews.first()) else {
        let pressures = no_pressures(&demand, without);
        return Ok(OnBag { demand, twice: None, pressures });
    };
    let input = levels_input(site, supply, first.model.setups[0].bag(), &demand);
    let twice = limits_twice(site, supply, chamber, &input)?.with_ground(site, &input, &demand)?;
    let tables = Tables::judge(site, supply, &demand, &twice);
    let mut pressures = known::pressures(&demand, &twice);
    if tables.provisional() {
        let none = match demand.speeds_by {
            SpeedsBy::Differences => Why::NoFirstDay,
            SpeedsBy::Sampling => Why::NoFirstDaySampled,
        };
        let first_day_start_m = match first_day {
            true => first_day::start_m(site, supply, chamber, crews)?.ok_or(none).into(),
            false => OrWhy::default(),
        };
        pressures.provisional = OrWhy::Value(Provisional { lifted: tables.lifted(), first_day_start_m });
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
    let of_ground = results.verdict.first_cause.get().is_some_and(|id| id.starts_with("land."));
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
    let riding: Vec<&Jump> = if groups.is_empty() { vec![&own] } else { groups.iter().collect() };
    let drawn: Vec<Drawn> = riding.iter().map(|jump| jump.drawn.clone().unwrap_or_default()).collect();
    let no_speeds = match riding.iter().any(|jump| jump.drawn.is_some()) {
        true => Why::NoSpeeds,
        false => Why::NoDifferences,
    };
    let demand = Demand::new(&crews, f64::INFINITY, &drawn).ok_or(no_speeds);
    // Why there are no pressures, where there are none: what cannot be before what was not asked for.
    let without = (own.missed)
        .or(supply.chamber.is_err().then_some(Why::NoLift))
        .or(demand.as_ref().err().copied())
        .unwrap_or(Why::NotAsked);
    let on_bag = match demand {
        Ok(demand) if parts.pressures => Ok(on_bag(site, &supply, &crews, demand, parts.first_day, without)?),
        Ok(demand) => {
            let pressures = no_pressures(&demand, without);
            Ok(OnBag { demand, twice: None, pressures })
        }
        Err(why) => Err(why),
    };
    let demand = on_bag.as_ref().map(|on_bag| &on_bag.demand).map_err(|why| *why);
    let needed_s = demand.ok().and_then(|demand| demand.commitment_s.get()).map(|s| s + site.rider.reaction_s);
    let no_hard = own.missed.unwrap_or(if no_speeds == Why::NoSpeeds { Why::NoHardLanding } else { no_speeds });
    let air = supply::air(site, &supply, demand.map(|demand| (demand, bag)).map_err(|_| no_hard), needed_s);
    let push_n = (on_bag.as_ref().ok())
        .and_then(|on_bag| on_bag.twice.as_ref())
        .map(|twice| site.bag.skin_friction * f64::from(twice.now.limits.hard_force_n))
        .ok_or(without);
    let forces = wind_forces(site, &supply.air, push_n.unwrap_or(0.0))?;
    let hard_fall_m = demand.map(|demand| demand.hard_speed_mps.powi(2) / (2.0 * 9.80665));
    let mut pressures = on_bag.map_or_else(|_| Pressures::none(without), |on_bag| on_bag.pressures);
    if let Some(why) = own.missed {
        pressures.commitment_s = pressures.commitment_s.because(why);
    }

    let whole = |of: &Site, jumped: Jumped| {
        let gust = |side: usize| jumped.hold_winds.map(|holds| holds[side].gust_mps);
        let error = |side: usize| jumped.hold_winds.map(|holds| holds[side].error_mps);
        let reading = |side: usize| gust(side).map(|gust_mps| gust_mps / f64::from(GUST_FACTOR));
        let wind = Wind {
            hold_along_tail_mps: gust(0),
            hold_along_head_mps: gust(1),
            hold_across_mps: gust(2),
            hold_error_tail_mps: error(0),
            hold_error_head_mps: error(1),
            hold_error_across_mps: error(2),
            mean_reading_tail_mps: reading(0),
            mean_reading_head_mps: reading(1),
            mean_reading_across_mps: reading(2),
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
            dirt: jumped.flight.equivalent_fall_height_m.map(|fall_m| dirt::compare(fall_m, hard_fall_m.into())),
            ride: jumped.ride,
            riders: jumped.riders,
            flight: jumped.flight,
            spread: jumped.spread,
            placement: jumped.placement,
            air: air.clone(),
            touchdown: jumped.touchdown.map(|landing| results::Touchdown { push_n: push_n.into(), ..landing }),
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
    findings::say_nulls(&mut results);
    Ok(results)
}

/// How a plan with its findings stands.
fn verdict(site: &Site, results: &Results) -> Verdict {
    let count = |level: Level| results.findings.iter().filter(|finding| finding.level == level).count();
    let table = limits::limits(site, results);
    let broken = table.iter().filter(|limit| limit.broken()).count();
    let stops = count(Level::Stop);
    let standing = match (stops, &results.pressures.provisional) {
        (0, OrWhy::Null(_)) => Standing::Inside,
        (0, OrWhy::Value(_)) => Standing::Provisional,
        _ => Standing::Outside,
    };
    let first = results.findings.iter().find(|finding| finding.level == Level::Stop && finding.follows_from.is_none());
    Verdict {
        standing,
        limits_kept: table.len() - broken,
        limits_broken: broken,
        stops,
        cautions: count(Level::Caution),
        first_cause: first.map(|finding| finding.id).ok_or(Why::NoLimitBroken).into(),
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
    let ride = parts::ride(&model, &one);
    let flight = parts::flight(&model, &one, &ride);
    Ok((ride, flight))
}

fn riders(model: &Model, singles: &[Single], landings: Option<&Landings>) -> Riders {
    let rider = |which: usize| {
        let run = singles.get(which).and_then(|single| single.run).filter(|run| run.landed());
        let run: OrWhy<_> = run.ok_or(Why::RiderEnds).into();
        let drawn = landings.map(|landings| landings.of(model, which));
        Rider {
            mass_kg: model.masses_kg[which],
            along_m: run.map(|run| f64::from(run.along_m)),
            airtime_s: run.map(|run| f64::from(run.airtime_s)),
            impact_normal_mps: run.map(|run| f64::from(run.normal_mps)),
            sd_along_m: drawn.map_or_else(OrWhy::default, |drawn| sampled::spread_of(drawn, 0, Why::FewOfRider)),
            miss: drawn.map(sampled::miss_or_bound),
            misses: drawn.map(Sampled::misses),
        }
    };
    let worst = landings.map_or(0, |landings| landings.worst().0);
    Riders { lightest: rider(1), heaviest: rider(2), worst: Who::ALL[worst] }
}
