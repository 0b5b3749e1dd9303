//! Changes that a builder could make, computed one by one where a plan has a stop: what leaves none is a cure, with the
//! size that it takes; what was tried and leaves some is said too.

use super::first_day::MARK_STEP_M;
use super::model::Supply;
use super::results::{About, Cure, Finding, Level, Results};
use super::{Parts, PlanError, plan_of};
use crate::shown::{Shown, Toward};
use crate::site::{Dimension, RollInKind, Site};
use landfall_sampling::Stop;
use rayon::prelude::*;
use std::sync::atomic::Ordering;

/// Runs of a trial; the one that is named is computed again with the site's own.
const TRIAL_SAMPLES: u64 = 16_384;
/// What a trial computes: everything that can be a stop.
const TRIAL: Parts =
    Parts { tails: false, starts: false, hold_winds: false, cures: false, ground: false, ..Parts::ALL };
/// How far a start is looked for, up and down.
const START_REACH_M: f64 = 4.0;
/// Steps in which it is looked for first.
const START_STEP_M: f64 = 0.25;

/// One kind of change, the smallest first.
struct Ladder {
    key: &'static str,
    from: String,
    rungs: Vec<Rung>,
}

/// Other keys that a change takes with it, and their values.
type Also = Vec<(&'static str, String)>;

/// A size of a change.
#[derive(Clone)]
struct Rung {
    words: String,
    to: String,
    /// What else is set with it.
    also: Also,
    /// Of a start, its mark.
    mark: Option<i64>,
}

/// The changes that were tried for the stops of a plan, those that leave none first.
///
/// # Errors
/// [`PlanError::Stopped`].
pub fn cures(site: &Site, results: &Results, stop: &Stop) -> Result<Vec<Cure>, PlanError> {
    let Some(finding) = results.verdict.first_cause.get() else { return Ok(Vec::new()) };
    let base = without_reading(site)?;
    let mut tried = Vec::new();
    for ladder in ladders(site, results) {
        if stop.asked.load(Ordering::Relaxed) {
            return Err(PlanError::Stopped);
        }
        tried.extend(climb(&base, &ladder, finding, stop));
    }
    tried.sort_by_key(|cure| cure.leaves_stops);
    Ok(tried)
}

/// A pressure that was read holds for the blowers and openings of the day: before these change, the leak that it gives
/// takes its place.
fn without_reading(site: &Site) -> Result<Site, PlanError> {
    let mut base = site.clone();
    if base.bag.settled_pressure_pa.is_some() {
        let leak = f64::from(Supply::new(site)?.openings.input().leak_coefficient);
        base.bag.settled_pressure_pa = None;
        base.given.remove("bag.settled_pressure");
        base = base.with_value("bag.leak_coefficient", leak).unwrap_or_else(|_| site.clone());
    }
    Ok(base)
}

/// Stops that a changed site has; none where it makes no sense or has no plan.
fn stops_of(base: &Site, ladder: &Ladder, rung: &Rung, samples: u64, stop: &Stop) -> Option<usize> {
    let mut site = base.with_value(ladder.key, rung.to.as_str()).ok()?;
    for (key, value) in &rung.also {
        site = site.with_value(key, value.as_str()).ok()?;
    }
    site.spread.samples = samples;
    plan_of(&site, TRIAL, stop).ok().map(|results| results.verdict.stops)
}

/// The first rung that leaves no stop, or the last one and how many it leaves.
fn climb(base: &Site, ladder: &Ladder, finding: &'static str, stop: &Stop) -> Option<Cure> {
    let all = base.spread.samples;
    let few = TRIAL_SAMPLES.max((30.0 / base.spread.target_miss).ceil() as u64).min(all);
    let left: Vec<Option<usize>> =
        ladder.rungs.par_iter().map(|rung| stops_of(base, ladder, rung, few, stop)).collect();
    let cure = |rung: &Rung, leaves_stops| Cure {
        finding,
        change: rung.words.clone(),
        key: ladder.key,
        from: ladder.from.clone(),
        to: rung.to.clone(),
        leaves_stops,
    };
    for (i, rung) in ladder.rungs.iter().enumerate().filter(|(i, _)| left.get(*i) == Some(&Some(0))) {
        if few == all || stops_of(base, ladder, rung, all, stop) == Some(0) {
            let before = i.checked_sub(1).and_then(|i| ladder.rungs.get(i));
            return Some(cure(&between(base, ladder, before, rung, stop), 0));
        }
    }
    let tried = ladder.rungs.iter().zip(left).rev().find_map(|(rung, left)| Some((rung, left?)))?;
    Some(cure(tried.0, tried.1.max(1)))
}

/// Between a rung that leaves stops (none: the site as it is) and one that leaves none: for marks the nearest whole one
/// that leaves none, by halving; else the rung itself.
fn between(base: &Site, ladder: &Ladder, before: Option<&Rung>, kept: &Rung, stop: &Stop) -> Rung {
    let u = Shown::of(base);
    let Some(mut kept_mark) = kept.mark else { return kept.clone() };
    let near = base.roll_in.start_height_m / MARK_STEP_M;
    let mut left_mark = before.and_then(|rung| rung.mark).unwrap_or(near.round() as i64);
    while (kept_mark - left_mark).abs() > 1 {
        let middle = left_mark + (kept_mark - left_mark) / 2;
        if stops_of(base, ladder, &at_mark(u, middle), base.spread.samples, stop) == Some(0) {
            kept_mark = middle;
        } else {
            left_mark = middle;
        }
    }
    at_mark(u, kept_mark)
}

/// A start at a mark.
fn at_mark(u: Shown, mark: i64) -> Rung {
    let m = mark as f64 * MARK_STEP_M;
    Rung { words: format!("start at {}", said(u, m)), to: length(m), also: Vec::new(), mark: Some(mark) }
}

/// Whether one of the stops is about one of some topics.
fn about(results: &Results, topics: &[About]) -> bool {
    let stops = |finding: &&Finding| finding.level == Level::Stop;
    results.findings.iter().filter(stops).any(|finding| topics.contains(&finding.topic))
}

const SOFT: [About; 11] = [
    About::Pressure,
    About::Blower,
    About::Hard,
    About::Ground,
    About::GroundCut,
    About::Stop,
    About::Wait,
    About::Band,
    About::Depth,
    About::Recovery,
    About::Provisional,
];
const PLACE: [About; 6] = [About::Miss, About::Gap, About::Short, About::Long, About::Reach, About::Field];

/// A length as the site's people say it.
fn said(u: Shown, m: f64) -> String {
    if u.is_imperial() { u.length(m, Toward::Nearest) } else { length(m) }
}

/// A length as the site file has it.
fn length(m: f64) -> String {
    Dimension::Length.show((m * 1.0e4).round() / 1.0e4)
}

/// The kinds of change that could help.
fn ladders(site: &Site, r: &Results) -> Vec<Ladder> {
    let u = Shown::of(site);
    let mut list = Vec::new();
    let mut put = |key, from: String, rungs: Vec<Rung>| {
        if !rungs.is_empty() {
            list.push(Ladder { key, from, rungs });
        }
    };
    let mut add = |key, from: String, rungs: Vec<(String, String, Also)>| {
        let rung = |(words, to, also)| Rung { words, to, also, mark: None };
        put(key, from, rungs.into_iter().map(rung).collect());
    };
    let (soft, place) = (about(r, &SOFT), about(r, &PLACE));
    let number = |n: u32| match n {
        1 => "one blower more".to_owned(),
        _ => format!("{n} blowers more"),
    };
    if soft {
        let count = site.blower.count;
        let rungs = (1..=2).map(|n| (number(n), (count + n).to_string(), Vec::new())).collect();
        add("blower.count", count.to_string(), rungs);
        let vent = site.bag.vent_area_m2;
        if vent > 0.0 {
            let rungs = [("a third", 2.0), ("two thirds", 1.0)].map(|(share, left)| {
                (format!("vents closed by {share}"), Dimension::Area.show(vent * left / 3.0), Vec::new())
            });
            add("bag.vent_area", Dimension::Area.show(vent), rungs.into());
        }
        if !site.blower.closing_flap {
            add(
                "blower.closing_flap",
                "false".into(),
                vec![("flaps on the blowers".into(), "true".into(), Vec::new())],
            );
        }
    }
    if about(r, &[About::GroundCut, About::Wait, About::Stopping, About::Provisional])
        && let RollInKind::Simple { flat_run_m, .. } = site.roll_in.kind
    {
        let rungs = [1.0, 2.0, 4.0, 8.0]
            .map(|more| (format!("flat run {} longer", said(u, more)), length(flat_run_m + more), Vec::new()));
        add("roll_in.flat_run", length(flat_run_m), rungs.into());
    }
    if place {
        let mark = |m: f64| (m / MARK_STEP_M).round() * MARK_STEP_M;
        let gap = r.placement.gap_m;
        if let Some(best) = r.placement.best_gap_m.get().map(mark).filter(|best| (best - gap).abs() > 1.0e-6) {
            let way = if best < gap { "closer" } else { "farther" };
            let words = format!("bag {} {way}", said(u, (best - gap).abs()));
            add("bag.gap", length(gap), vec![(words, length(best), Vec::new())]);
        }
        let offset = r.placement.offset_m;
        if let Some(best) = r.placement.best_offset_m.get().map(mark).filter(|best| (best - offset).abs() > 0.1) {
            let side = if best > offset { "left" } else { "right" };
            let words = format!("bag {} farther {side}", said(u, (best - offset).abs()));
            add("bag.offset", length(offset), vec![(words, length(best), Vec::new())]);
        }
        let (long, wide) = (site.bag.length_m, site.bag.width_m);
        let level = site.bag.front_height_m == site.bag.back_height_m;
        if level && (long - wide).abs() > 0.1 {
            let also = vec![("bag.width", length(long))];
            add("bag.length", length(long), vec![("bag turned".into(), length(wide), also)]);
        }
    }
    if about(r, &[About::Anchors]) {
        let needed = r.wind.anchors_needed;
        let words = format!("{needed} anchors");
        add("anchors.count", site.anchors.count.to_string(), vec![(words, needed.to_string(), Vec::new())]);
    }
    if about(r, &[About::Recovery, About::Box]) {
        let interval = site.session.interval_s;
        let rungs = [10.0, 20.0, 40.0].map(|more| {
            let to = interval + more;
            (format!("{to:.0} s between riders"), Dimension::Time.show(to), Vec::new())
        });
        add("session.interval", Dimension::Time.show(interval), rungs.into());
    }
    let start = site.roll_in.start_height_m;
    let key = "roll_in.start_height";
    let (reach, coarse) = ((START_REACH_M / MARK_STEP_M).round() as i64, (START_STEP_M / MARK_STEP_M).round() as usize);
    if soft || place || about(r, &[About::Load, About::Light, About::Felt, About::Start]) {
        let top = ((start / MARK_STEP_M - 1.0e-3).ceil() as i64) - 1;
        put(
            key,
            length(start),
            (1..=top.min(reach)).rev().step_by(coarse).map(|i| at_mark(u, top - reach.min(top) + i)).collect(),
        );
    }
    if place {
        let bottom = (start / MARK_STEP_M + 1.0e-3).floor() as i64;
        put(key, length(start), (1..=reach).step_by(coarse).map(|i| at_mark(u, bottom + i)).collect());
    }
    list
}
