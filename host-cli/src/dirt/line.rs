//! Sites behind each other: from site files to words.

use super::{Wishes, assumed, landing, none_of};
use landfall_core::inputs::{Uncertain, Uncertainty};
use landfall_dirt::built::{BuildError, Built};
use landfall_dirt::landing::Landing;
use landfall_dirt::line::{End, Reached, Speeds, Stage, line};
use landfall_plan::lines::{paragraph, table};
use landfall_plan::plan::PlanError;
use landfall_plan::plan::cautions::CAUTIONS;
use landfall_plan::plan::model::Model;
use landfall_plan::plan::words::{number, speed};
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Dimension, RollInKind, Site};
use serde::Serialize;

/// Runs of a trial, and of what the next landing is made for.
const TRIAL_RUNS: usize = 400;
/// How far the first start is looked for, up and down, and in which steps.
const START: (f64, f64) = (4.0, 0.25);

/// Keeps the place of a landing that nobody comes to.
const UNUSED: Landing = Landing {
    deck_from_m: 1.0e3,
    knuckle_m: (1.0e3, 0.0),
    slope_rad: 0.3,
    slope_m: 1.0,
    radius_m: 5.0,
    run_out_m: 1.0,
    width_m: 1.0,
};

/// A change that was tried where the line dies.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tried {
    /// In words.
    pub change: String,
    /// The mean run then reaches the last lip.
    pub reaches: bool,
}

/// The answer.
#[derive(Clone, Debug, Serialize)]
pub struct Answer {
    /// Every stage.
    pub stages: Vec<Reached>,
    /// The landing of every stage that one could be made for.
    pub landings: Vec<Option<Built>>,
    /// Why a landing is missing, with the site.
    pub no_landing: Option<(String, String)>,
    /// The mean run reaches the last lip.
    pub reaches_last_lip: bool,
    /// What was tried where it does not.
    pub tried: Vec<Tried>,
    /// Parts of the question that were not stated.
    pub assumed: Vec<String>,
    /// The cautions that go with every report.
    pub cautions: Vec<&'static str>,
    /// In which units its text stands.
    #[serde(skip)]
    pub shown: Shown,
}

/// A stage in the making.
struct Made {
    name: String,
    model: Model,
    /// None where the mean run does not come to the lip.
    built: Option<Built>,
    landing: Landing,
}

struct Line {
    made: Vec<Made>,
    no_landing: Option<(String, String)>,
}

impl Line {
    fn stages(&self) -> Vec<Stage<'_>> {
        self.made
            .iter()
            .map(|one| Stage {
                name: &one.name,
                setup: &one.model.setups[0],
                uncertainty: &one.model.uncertainty,
                landing: &one.landing,
            })
            .collect()
    }
}

/// The push-off of what comes next: the mean run's speed, and how far it scatters.
fn carried(uncertainty: &Uncertainty, mean_mps: f64, out: Option<Speeds>) -> Uncertainty {
    let mut next = *uncertainty;
    let at = Uncertain::PushOff as usize;
    next.mean[at] = mean_mps as f32;
    // 95 of 100 lie between slow and fast: four standard deviations, nearly (3.92).
    next.sd[at] = out.map_or(0.0, |s| ((s.fast_mps - s.slow_mps) / 3.92) as f32);
    // It comes rolling: nobody starts a hand higher or lower.
    next.sd[Uncertain::StartHeight as usize] = 0.0;
    next
}

/// Makes every landing for the speed with which its site is reached.
fn make(sites: &[Site], wishes: &[Wishes], seed: u64) -> Result<Line, PlanError> {
    let mut made = Line { made: Vec::new(), no_landing: None };
    let mut next: Option<(f64, Option<Speeds>)> = None;
    for (site, wishes) in sites.iter().zip(wishes) {
        let mut model = Model::new(site)?;
        if let Some((mean_mps, out)) = next {
            model.uncertainty = carried(&model.uncertainty, mean_mps, out);
        }
        let name = site.site.name.clone();
        match landing(site, &model, wishes) {
            Ok(built) => made.made.push(Made { name, model, landing: built.landing, built: Some(built) }),
            // Nobody comes down on what nobody flies to: it only keeps the place.
            Err((BuildError::NoFlight, _)) => made.made.push(Made { name, model, landing: UNUSED, built: None }),
            Err(error) => {
                made.no_landing = Some((name.clone(), none_of(&error)));
                // The last lip is reached or not, whatever comes behind it.
                if made.made.len() + 1 == sites.len() {
                    made.made.push(Made { name, model, landing: UNUSED, built: None });
                }
                break;
            }
        }
        let reached = line(&made.stages(), TRIAL_RUNS, seed);
        match reached.last().and_then(|last| last.mean_out_mps.map(|mean| (mean, last.out))) {
            Some(out) => next = Some(out),
            None => break,
        }
    }
    Ok(made)
}

fn reaches(sites: &[Site], wishes: &[Wishes], seed: u64) -> bool {
    let Ok(made) = make(sites, wishes, seed) else { return false };
    made.made.len() == sites.len()
        && line(&made.stages(), 1, seed).last().is_some_and(|last| last.mean_lip_mps.is_some())
}

/// Sends runs down the line of sites whose gaps are known.
///
/// # Errors
/// [`PlanError`].
pub fn answer(sites: &[Site], wishes: &Wishes, runs: usize) -> Result<Answer, PlanError> {
    let first = sites.first().ok_or(PlanError::NoGap)?;
    let seed = first.spread.seed;
    let all = vec![*wishes; sites.len()];
    let made = make(sites, &all, seed)?;
    let stages = line(&made.stages(), runs, seed);
    let last_lip = stages.len() == sites.len() && stages.last().is_some_and(|last| last.mean_lip_mps.is_some());
    // Where it dies: at a stage whose lip is not reached, or behind the last one that was made.
    let dies = stages.iter().position(|stage| stage.mean_lip_mps.is_none()).unwrap_or(made.made.len());
    let tried = if last_lip { Vec::new() } else { cures(sites, &all, dies, seed) };
    Ok(Answer {
        stages,
        landings: made.made.iter().map(|one| one.built.clone()).collect(),
        no_landing: made.no_landing,
        reaches_last_lip: last_lip,
        tried,
        assumed: assumed(first, wishes),
        cautions: CAUTIONS.to_vec(),
        shown: Shown::of(first),
    })
}

/// What would let the mean run reach the last lip: another first start, a shorter roll-out before the place where it dies, a
/// shorter flat run there. Each is made and ridden.
fn cures(sites: &[Site], wishes: &[Wishes], reached: usize, seed: u64) -> Vec<Tried> {
    let mut tried = Vec::new();
    let Some(first) = sites.first() else { return tried };
    let u = Shown::of(first);
    let length = |m: f64| u.length(m, Toward::Nearest);
    let with = |at: usize, key: &str, m: f64| -> Option<Vec<Site>> {
        let mut list = sites.to_vec();
        let slot = list.get_mut(at)?;
        *slot = slot.with_value(key, Dimension::Length.show(m).as_str()).ok()?;
        Some(list)
    };
    let start_m = first.roll_in.start_height_m;
    let steps = (START.0 / START.1) as usize;
    let starts = (1..=steps).flat_map(|i| [start_m + i as f64 * START.1, start_m - i as f64 * START.1]);
    let found = starts
        .filter(|m| *m > 0.5)
        .find(|m| with(0, "roll_in.start_height", *m).is_some_and(|list| reaches(&list, wishes, seed)));
    tried.push(match found {
        Some(m) => {
            Tried { change: format!("first start at {} instead of {}", length(m), length(start_m)), reaches: true }
        }
        None => Tried { change: format!("first start up to {} higher or lower", length(START.0)), reaches: false },
    });
    // The stage that is not reached, or where it dies; the roll-out before it.
    let at = reached.min(sites.len() - 1);
    if let Some(site) = sites.get(at)
        && let RollInKind::Simple { flat_run_m, .. } = site.roll_in.kind
    {
        let found = (1..=40)
            .map(|i| flat_run_m * (1.0 - f64::from(i) / 40.0))
            .find(|m| with(at, "roll_in.flat_run", *m).is_some_and(|list| reaches(&list, wishes, seed)));
        tried.push(Tried {
            change: match found {
                Some(m) => format!("{}: flat run {} instead of {}", site.site.name, length(m), length(flat_run_m)),
                None => format!("{}: any shorter flat run", site.site.name),
            },
            reaches: found.is_some(),
        });
    }
    if let Some(height_m) = sites.get(at).map(|site| site.takeoff.height_m) {
        let found = (1..20)
            .map(|i| height_m * (1.0 - f64::from(i) / 20.0))
            .find(|m| with(at, "takeoff.height", *m).is_some_and(|list| reaches(&list, wishes, seed)));
        let name = sites.get(at).map_or("", |site| site.site.name.as_str());
        tried.push(Tried {
            change: match found {
                Some(m) => format!("{name}: take-off {} high instead of {}", length(m), length(height_m)),
                None => format!("{name}: any lower take-off on the same radius"),
            },
            reaches: found.is_some(),
        });
    }
    if at > 0 {
        let from = wishes.get(at - 1).and_then(|w| w.roll_out_m).unwrap_or(super::ROLL_OUT_M);
        let found = (1..20).map(|i| from * (1.0 - f64::from(i) / 20.0)).find(|m| {
            let mut list = wishes.to_vec();
            if let Some(slot) = list.get_mut(at - 1) {
                slot.roll_out_m = Some(*m);
            }
            reaches(sites, &list, seed)
        });
        let name = sites.get(at - 1).map_or("", |site| site.site.name.as_str());
        tried.push(Tried {
            change: match found {
                Some(m) => format!("{name}: roll-out {} instead of {}", length(m), length(from)),
                None => format!("{name}: any shorter roll-out"),
            },
            reaches: found.is_some(),
        });
    }
    tried.sort_by_key(|one| !one.reaches);
    tried
}

fn ends(end: End) -> &'static str {
    match end {
        End::Stalls => "comes to rest before the lip",
        End::LeavesSurface => "leaves the surface before the lip",
        End::Short => "comes down short of the slope",
        End::Long => "comes down past the transition",
        End::Rests => "comes to rest before the roll-out's end",
    }
}

/// In words.
#[must_use]
pub fn text(answer: &Answer) -> String {
    let u = answer.shown;
    let mut out = format!("{} jumps in a line\n", answer.stages.len());
    for (i, stage) in answer.stages.iter().enumerate() {
        out.push_str(&format!("\n{}. {}\n", i + 1, stage.name));
        if let Some(speed_in) = stage.mean_in_mps.filter(|v| *v > 0.0) {
            paragraph(&mut out, "  ", &format!("The mean run comes to it with {}.", speed(u, speed_in)));
        }
        match (stage.mean_lip_mps, stage.mean_out_mps) {
            (Some(lip), Some(out_mps)) => paragraph(
                &mut out,
                "  ",
                &format!(
                    "It reaches the lip with {} and leaves the roll-out with {}.",
                    speed(u, lip),
                    speed(u, out_mps)
                ),
            ),
            (Some(lip), None) => paragraph(&mut out, "  ", &format!("It reaches the lip with {}.", speed(u, lip))),
            (None, _) => {}
        }
        if let Some(end) = stage.mean_ends.filter(|end| {
            matches!(end, End::Stalls | End::LeavesSurface) || answer.landings.get(i).is_some_and(Option::is_some)
        }) {
            let place = match stage.mean_rests_before_foot_m {
                Some(m) if m >= 0.0 => format!(", {} before the take-off's foot", u.length(m, Toward::Nearest)),
                Some(m) => format!(", {} up the take-off", u.length(-m, Toward::Nearest)),
                None => String::new(),
            };
            paragraph(&mut out, "  ", &format!("HERE THE LINE DIES: the mean run {}{place}.", ends(end)));
        }
        let mut list = vec![["", "runs", "slow", "middle", "fast"].map(str::to_owned).to_vec()];
        for (what, n, speeds) in [("lip", stage.runs_lip, stage.lip), ("out", stage.runs_out, stage.out)] {
            let mut row = vec![what.to_owned(), format!("{n} of {}", stage.runs_in)];
            row.extend(speeds.iter().flat_map(|s| [s.slow_mps, s.middle_mps, s.fast_mps].map(|v| speed(u, v))));
            list.push(row);
        }
        table(&mut out, 1, &list);
        let landed_nowhere = answer.landings.get(i).is_some_and(Option::is_none);
        let before_lip = |end: End| matches!(end, End::Stalls | End::LeavesSurface);
        for (end, n) in stage.ends.iter().filter(|(end, _)| !landed_nowhere || before_lip(*end)) {
            let share = number(*n as f64 / stage.runs_in.max(1) as f64 * 100.0, 1);
            paragraph(
                &mut out,
                "  ",
                &format!("{n} of {} ({share} in 100) go no farther: a run {}.", stage.runs_in, ends(*end)),
            );
        }
        if let Some(built) = answer.landings.get(i).and_then(Option::as_ref) {
            let l = &built.landing;
            paragraph(
                &mut out,
                "  ",
                &format!(
                    "Its landing: knuckle {} from the lip, slope {} degrees and {} long, transition {}, roll-out {}.",
                    u.length(l.knuckle_m.0, Toward::Nearest),
                    number(l.slope_rad.to_degrees(), 0),
                    u.length(l.slope_m, Toward::Nearest),
                    u.length(l.radius_m, Toward::Nearest),
                    u.length(l.run_out_m, Toward::Nearest)
                ),
            );
        }
    }
    if let Some((name, why)) = &answer.no_landing {
        out.push('\n');
        paragraph(
            &mut out,
            "  ",
            &format!("{name}: no landing can be made for the speed with which it is reached: {why}."),
        );
    }
    if !answer.tried.is_empty() {
        out.push_str("\nTried\n");
        for one in &answer.tried {
            let ends =
                if one.reaches { "the mean run reaches the last lip" } else { "it still does not reach the last lip" };
            paragraph(&mut out, "  ", &format!("{}: {ends}.", one.change));
        }
    }
    out.push('\n');
    paragraph(
        &mut out,
        "  ",
        "Slow and fast: 1 run of 40 is slower, 1 of 40 faster. Of a landing the speed into the slope is lost and that along it kept; \
         nobody brakes or pedals. Runs that come down short or past the transition go no farther here.",
    );
    paragraph(&mut out, "  ", &format!("Assumed, since not stated: {}.", answer.assumed.join(", ")));
    out.push_str("\nCautions\n");
    for caution in &answer.cautions {
        paragraph(&mut out, "  ", &format!("- {caution}"));
    }
    out
}
