//! The marks and pressures that people ride by, each rounded to the careful side: computed once, here.

use super::PlanError;
use super::demand::Crew;
use super::first_day::{self, MARK_STEP_M};
use super::model::Supply;
use super::parts::{peak_load_mps2, single};
use super::results::{Judged, OrWhy, Results, RideBy, Topic, Why};
use super::search::{Draws, Failure, Question};
use crate::shown::{Shown, Toward};
use crate::site::Site;
use landfall_core::air::STANDARD_GRAVITY_MPS2;
use landfall_core::bag::Outcome;

/// Name of the one group of a site that states none.
pub const ALL: &str = "all";
/// Marks that are passed over at once on the way down.
const COARSE_MARKS: i64 = 5;
/// Runs that a mark is held against at the most.
const MOST_RUNS: u64 = 1 << 20;

/// The marks of each crew, in their order. `results` has everything but these; with `search` the lowest start is looked
/// for.
///
/// # Errors
/// [`PlanError::Stopped`].
pub fn ride_by(
    site: &Site,
    results: &Results,
    crews: &[Crew],
    draws: &Draws<'_>,
    supply: &Supply,
    search: bool,
) -> Result<Vec<RideBy>, PlanError> {
    let shown = Shown::of(site);
    let p = &results.pressures;
    // Where nothing is armed there is no pressure to ride by.
    let levels = match p.levels {
        OrWhy::Value(_) if p.counts_as(Topic::Stop) == Judged::Stop => Why::NotArmed.into(),
        levels => levels.because(Why::NotArmed),
    };
    let up = |pa: f64| shown.rounded_pressure_pa(pa, Toward::Up);
    crews
        .iter()
        .enumerate()
        .map(|(i, crew)| {
            let own = results.groups.get(i).map_or(results, |(_, own)| own);
            let (start_low_m, start_high_m) = marks(site, results, crews, crew, draws, supply, search)?;
            Ok(RideBy {
                group: crew.group.clone().unwrap_or_else(|| ALL.to_owned()),
                start_high_m,
                start_low_m,
                next_rider_from_pa: levels.map(|levels| up(levels.permit_back_pa)),
                everybody_off_under_pa: levels.map(|levels| up(levels.siren_pa)),
                seconds_between: (site.session.interval_s - 1.0e-6).ceil(),
                holds_for_s: p.holds_for_p05_s.map(f64::floor).because(Why::HoldsLongOrNever),
                stop_line_before_foot_m: own
                    .placement
                    .last_stop_before_foot_m
                    .map(|m| (m / MARK_STEP_M - 1.0e-3).ceil() * MARK_STEP_M)
                    .because(Why::BrakesTooLate),
                hold_along_tail_mps: own.wind.hold_along_tail_mps.map(|mps| wind_down(shown, mps)),
                hold_along_head_mps: own.wind.hold_along_head_mps.map(|mps| wind_down(shown, mps)),
                hold_across_mps: own.wind.hold_across_mps.map(|mps| wind_down(shown, mps)),
                lightest_kg: crew.site.rider.lightest_kg,
                heaviest_kg: crew.site.rider.heaviest_kg,
            })
        })
        .collect()
}

/// The lowest and the highest mark of a crew.
fn marks(
    site: &Site,
    results: &Results,
    crews: &[Crew],
    crew: &Crew,
    draws: &Draws<'_>,
    supply: &Supply,
    search: bool,
) -> Result<(OrWhy<f64>, OrWhy<f64>), PlanError> {
    let Some(high_m) = highest_start_m(results, crew) else { return Ok((Why::NoStart.into(), Why::NoStart.into())) };
    if !search {
        return Ok((Why::NotAsked.into(), OrWhy::Value(high_m)));
    }
    let marks = |low_m: Option<f64>, high_m: f64| (low_m.ok_or(Why::StopAtStart).into(), OrWhy::Value(high_m));
    let found_m = lowest_start_m(crew, draws)?;
    let stops = results.pressures.judged.iter().any(|judged| judged.now == Judged::Stop);
    if found_m.is_none_or(|low_m| low_m <= high_m + 1.0e-6) {
        // Where the pressures are a stop at the highest mark, no lower one is looked for that is none.
        let armed = !stops || results.pressures.first_day_start_m().is_some();
        let low_m = if armed { raised(site, supply, crews, draws, found_m, high_m)? } else { found_m };
        return Ok(marks(low_m, high_m));
    }
    // From as low as the bag's not being measured allows, nobody gets there. A caution forbids no start; a stop does.
    if stops {
        return Ok((Why::NoStart.into(), Why::NoStart.into()));
    }
    let stated_m = crew.site.roll_in.start_height_m;
    Ok(marks(raised(site, supply, crews, draws, found_m, stated_m)?, stated_m))
}

/// The lowest mark, raised while the pressures of a rider who comes so slowly would be a stop: who rolls longer needs the
/// bag to hold longer.
fn raised(
    site: &Site,
    supply: &Supply,
    crews: &[Crew],
    draws: &Draws<'_>,
    low_m: Option<f64>,
    high_m: f64,
) -> Result<Option<f64>, PlanError> {
    let (Some(mut mark_m), Ok(chamber)) = (low_m, &supply.chamber) else { return Ok(low_m) };
    while mark_m < high_m - 0.5 * MARK_STEP_M && first_day::is_a_stop(site, supply, chamber, crews, mark_m, draws)? {
        mark_m = ((mark_m / MARK_STEP_M).round() + 1.0) * MARK_STEP_M;
    }
    Ok(Some(mark_m))
}

/// The stated start, or until the bag is measured the first-day mark. Where there is none, and only cautions stand, the
/// stated one; where stops stand, none.
fn highest_start_m(results: &Results, crew: &Crew) -> Option<f64> {
    let p = &results.pressures;
    let stated_m = crew.site.roll_in.start_height_m;
    match &p.provisional {
        OrWhy::Null(_) => Some(stated_m),
        OrWhy::Value(provisional) => match provisional.first_day_start_m.get() {
            Some(mark_m) => Some(stated_m.min(mark_m)),
            None => p.judged.iter().all(|judged| judged.now < Judged::Stop).then_some(stated_m),
        },
    }
}

/// Whole kilometres, or miles, an hour, in m/s.
fn wind_down(shown: Shown, mps: f64) -> f64 {
    let unit_mps = if shown.is_imperial() { 0.447_04 } else { 1.0 / 3.6 };
    (mps / unit_mps + 1.0e-3).floor() * unit_mps
}

/// The lowest mark from which, on the way up to the stated start, nothing about the ride, the flight and where landings
/// fall is a stop for any rider of a crew; `None` where it is one at the stated start already.
///
/// # Errors
/// [`PlanError::Stopped`].
pub fn lowest_start_m(crew: &Crew, draws: &Draws<'_>) -> Result<Option<f64>, PlanError> {
    let base = &crew.model.uncertainty;
    let stated_m = crew.start_m();
    let lowest_m = f64::from(base.lowest_start_m);
    let steps = crew.model.steps(&[base, &crew.starting_at(lowest_m.max(0.3 * stated_m))]);
    let question = Question {
        model: &crew.model,
        draws: *draws,
        steps,
        failure: Failure::Miss,
        target: crew.site.spread.target_miss,
    };
    let stops = |start_m: f64| stops_at(crew, &question, start_m);
    if stops(stated_m)? {
        return Ok(None);
    }
    let mark_m = |mark: i64| mark as f64 * MARK_STEP_M;
    // The highest mark under the stated start, and the lowest that the ride down can have.
    let top = ((stated_m / MARK_STEP_M - 1.0e-3).ceil() as i64 - 1).max(0);
    let bottom = (lowest_m / MARK_STEP_M - 1.0e-3).ceil() as i64;
    // Nothing is a stop at `kept` (none: at the stated start), something at `left`.
    let (mut kept, mut left) = (None, bottom - 1);
    let mut next = top;
    while next >= bottom {
        if stops(mark_m(next))? {
            left = next;
            break;
        }
        kept = Some(next);
        if next == bottom {
            break;
        }
        next = (next - COARSE_MARKS).max(bottom);
    }
    let Some(mut kept) = kept else { return Ok(Some(stated_m)) };
    while kept - left > 1 {
        let middle = left + (kept - left) / 2;
        if stops(mark_m(middle))? { left = middle } else { kept = middle }
    }
    // The search has its own number of runs: a mark is one only if a plan from there, with its own, is kept as well.
    while kept <= top {
        if !planned_misses(crew, draws, mark_m(kept))? {
            return Ok(Some(mark_m(kept)));
        }
        kept += 1;
    }
    Ok(Some(stated_m))
}

/// Whether a plan from a start height, with as many runs as were asked for, counts more misses than the target allows.
fn planned_misses(crew: &Crew, draws: &Draws<'_>, start_m: f64) -> Result<bool, PlanError> {
    let uncertainty = crew.starting_at(start_m);
    let target = crew.site.spread.target_miss;
    let question = Question {
        model: &crew.model,
        draws: *draws,
        steps: crew.model.steps(&[&uncertainty]),
        failure: Failure::Miss,
        target,
    };
    let runs = draws.samples.min(MOST_RUNS);
    // Of more runs than are looked at, the rest may add as much as chance does.
    let spared = if draws.samples > runs { 3.0 * (target / runs as f64).sqrt() } else { 0.0 };
    Ok(question.share(&uncertainty, runs)? > target - spared)
}

/// Whether something about the ride, the flight or where landings fall is a stop at a start height.
fn stops_at(crew: &Crew, question: &Question<'_>, start_m: f64) -> Result<bool, PlanError> {
    let uncertainty = crew.starting_at(start_m);
    let inputs = uncertainty.at_mean();
    for (rider, setup) in crew.model.setups.iter().enumerate() {
        let Some(run) = single(setup, &inputs).run.filter(|run| run.landed()) else { return Ok(true) };
        if rider == 0 && run.outcome(setup.bag(), 0) != Outcome::On {
            return Ok(true);
        }
    }
    let (peak_mps2, _) = peak_load_mps2(&crew.model.setups[0], &inputs, f64::NEG_INFINITY);
    if f64::from(peak_mps2 / STANDARD_GRAVITY_MPS2) > crew.site.rider.arc_load_stop {
        return Ok(true);
    }
    question.passes(&uncertainty)
}
