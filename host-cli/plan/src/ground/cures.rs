//! What would fit where the site does not: each change is made, measured again and planned.

use super::{ground_of, layout_of, run_out_m};
use crate::plan::model::Model;
use crate::plan::results::{About, Level, Results};
use crate::plan::{Parts, PlanError, compute};
use crate::shown::{Shown, Toward};
use crate::site::{Dimension, RollInKind, Site};
use landfall_ground::fit::{Fit, fit};
use landfall_sampling::Stop;
use serde::Serialize;

/// Runs of a trial plan.
const TRIAL_SAMPLES: u64 = 16_384;
/// What a trial computes: everything that can be a stop.
const TRIAL: Parts = Parts {
    tails: false,
    starts: false,
    hold_winds: false,
    cures: false,
    first_day: false,
    ground: false,
    ..Parts::ALL
};

/// A change that was tried.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tried {
    /// In words.
    pub change: String,
    /// Its keys, each as it was and as it was tried, SI.
    pub keys: Vec<(&'static str, f64, f64)>,
    /// Length that is still missing; 0 where it fits.
    pub still_missing_m: f64,
    /// How far all of it has to be moved so that it fits, forward positive; null where it need not be.
    pub moved_m: Option<f64>,
    /// Stops that its plan has; null where there is no plan of it.
    pub stops: Option<usize>,
    /// Stops that the site's own plan has.
    pub stops_before: usize,
    /// Highest load on the ride, in g.
    pub peak_load_g: Option<f64>,
    /// Air time that is lost; negative where it grows.
    pub airtime_lost_s: Option<f64>,
}

/// Length that is missing at the ends which something shorter could mend.
fn missing_m(fit: &Fit) -> f64 {
    // What is spare at one end helps the other, since all of it can be moved.
    fit.missing_length_m().unwrap_or_else(|| fit.missing_behind_m.or(fit.missing_ahead_m).unwrap_or(0.0))
}

fn fit_of(site: &Site, results: &Results) -> Result<Fit, PlanError> {
    let model = Model::new(site)?;
    let mut layout = layout_of(site, &model.setups[0]);
    layout.run_out_m = run_out_m(site, Some(results));
    Ok(fit(&layout, &ground_of(site)))
}

/// How far all of it would have to be moved to fit, forward positive; none where it need not or cannot.
#[must_use]
pub fn moved_m(fit: &Fit) -> Option<f64> {
    let (behind, ahead) = (fit.missing_behind_m?, fit.missing_ahead_m?);
    if behind + ahead > 1e-6 || behind.max(ahead) <= 1e-6 {
        return None;
    }
    Some(if behind > 0.0 { behind } else { -ahead })
}

/// Tries every kind of change where length is missing: of each the smallest that fits, else the largest that there is.
///
/// # Errors
/// [`PlanError::Stopped`], and what the site's own plan refuses.
pub fn cures(site: &Site, results: &Results, stop: &Stop) -> Result<Vec<Tried>, PlanError> {
    let own = fit_of(site, results)?;
    if missing_m(&own) <= 1e-6 {
        return Ok(Vec::new());
    }
    let mut tried = Vec::new();
    for rungs in ladders(site) {
        let mut last: Option<(Rung, Site, Fit)> = None;
        for rung in rungs {
            let mut changed = Some(site.clone());
            for (key, dimension, value) in &rung {
                changed = changed.and_then(|site| site.with_value(key, dimension.show(*value).as_str()).ok());
            }
            let Some(changed) = changed else { continue };
            let Ok(fit) = fit_of(&changed, results) else { continue };
            let missing = missing_m(&fit);
            // A longer one is no cure.
            if missing >= missing_m(&own) {
                continue;
            }
            last = Some((rung, changed, fit));
            if missing <= 1e-6 {
                break;
            }
        }
        let Some((rung, mut changed, fit)) = last else { continue };
        changed.spread.samples = changed.spread.samples.min(TRIAL_SAMPLES);
        let plan = match compute(&changed, TRIAL, stop) {
            Err(PlanError::Stopped) => return Err(PlanError::Stopped),
            plan => plan.ok(),
        };
        // Its own run-out, now that its landing is known.
        let fit = plan.as_ref().and_then(|plan| fit_of(&changed, plan).ok()).unwrap_or(fit);
        let keys: Vec<(&'static str, f64, f64)> =
            rung.iter().map(|(key, _, to)| (*key, site.get_si(key).unwrap_or(0.0), *to)).collect();
        let air = |r: &Results| r.flight.airtime_s.get();
        tried.push(Tried {
            change: in_words(Shown::of(site), &keys),
            keys,
            still_missing_m: missing_m(&fit).max(0.0),
            moved_m: moved_m(&fit),
            stops: plan.as_ref().map(|plan| plan.verdict.stops),
            stops_before: results.findings.iter().filter(|f| f.level == Level::Stop && f.topic != About::Land).count(),
            peak_load_g: plan.as_ref().map(|plan| plan.ride.peak_load_g),
            airtime_lost_s: plan.as_ref().and_then(|plan| Some(air(results)? - air(plan)?)),
        });
    }
    tried.sort_by(|a, b| (a.still_missing_m > 1e-6).cmp(&(b.still_missing_m > 1e-6)).then(a.stops.cmp(&b.stops)));
    Ok(tried)
}

/// Keys and their values.
type Rung = Vec<(&'static str, Dimension, f64)>;

/// A change in words.
fn in_words(u: Shown, keys: &[(&'static str, f64, f64)]) -> String {
    let length = |m: f64| u.length(m, Toward::Nearest);
    let one = |(key, from, to): &(&'static str, f64, f64)| match *key {
        "roll_in.slope" => format!("slope {:.0}° instead of {:.0}°", to.to_degrees(), from.to_degrees()),
        "roll_in.flat_run" => format!("flat run {} instead of {}", length(*to), length(*from)),
        "roll_in.bottom_radius" => format!("bottom radius {} instead of {}", length(*to), length(*from)),
        _ => format!("start at {} instead of {}", u.start_mark(*to), u.start_mark(*from)),
    };
    keys.iter().map(one).collect::<Vec<_>>().join(" and ")
}

/// The kinds of change, each with its sizes from the smallest on.
fn ladders(site: &Site) -> Vec<Vec<Rung>> {
    let down = |key: &'static str, from: f64, least: f64, step: f64| -> Vec<Rung> {
        let steps = ((from - least) / step).floor().max(0.0) as usize;
        let at = |i: usize| ((from - i as f64 * step) * 1000.0).round() / 1000.0;
        (1..=steps).map(|i| vec![(key, Dimension::Length, at(i))]).collect()
    };
    let mut list: Vec<Vec<Rung>> = Vec::new();
    if let RollInKind::Simple { slope_rad, bottom_radius_m, flat_run_m } = site.roll_in.kind {
        let deg = slope_rad.to_degrees();
        let steeper: Vec<f64> =
            (1..=60).map(|i| deg + f64::from(i)).filter(|deg| *deg <= 60.0).map(f64::to_radians).collect();
        let slope = |rad: f64| ("roll_in.slope", Dimension::Angle, rad);
        list.push(down("roll_in.flat_run", flat_run_m, 0.0, 0.1));
        list.push(steeper.iter().map(|rad| vec![slope(*rad)]).collect());
        list.push(down("roll_in.bottom_radius", bottom_radius_m, site.rider.mass_height_m + 0.5, 0.25));
        // Both together, for half the flat run.
        let half = ("roll_in.flat_run", Dimension::Length, (flat_run_m * 50.0).round() / 100.0);
        list.push(steeper.iter().map(|rad| vec![half, slope(*rad)]).collect());
    }
    list.push(down("roll_in.start_height", site.roll_in.start_height_m, 0.5, 0.1));
    list
}
