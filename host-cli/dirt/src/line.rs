//! Jumps behind each other: the speed out of a landing is the push-off of what comes next.
//!
//! # Settled here
//! - **A line**: push-off of every later site is the mean run's speed out of the one before, its scatter that of
//!   drawn runs; each landing is made for that. Tyres, drag and posture are drawn once a run, all else at every jump.

use crate::after::ride_on;
use crate::landing::{Landing, Part};
use crate::meet::meet;
use crate::tries::{Try, drawn_tries};
use landfall_core::inputs::{BOTCHED, Inputs, Uncertain, Uncertainty};
use landfall_core::ride::Steps;
use landfall_core::run::Setup;
use serde::Serialize;

/// One jump of the line.
#[derive(Clone, Copy, Debug)]
pub struct Stage<'a> {
    /// What it is called.
    pub name: &'a str,
    /// Its set-up, with the mean rider.
    pub setup: &'a Setup,
    /// What varies.
    pub uncertainty: &'a Uncertainty,
    /// Where its runs come down.
    pub landing: &'a Landing,
}

/// How a run ended at a stage, where it went no farther.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum End {
    /// Came to rest before the lip.
    Stalls,
    /// Left the surface before the lip.
    LeavesSurface,
    /// Came down on deck or knuckle, or against the front.
    Short,
    /// Came down past the transition.
    Long,
    /// Came to rest before the roll-out's end.
    Rests,
}

/// Quantiles of a speed among the runs that came so far.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Speeds {
    /// Middle one.
    pub middle_mps: f64,
    /// 1 of 40 is slower.
    pub slow_mps: f64,
    /// 1 of 40 is faster.
    pub fast_mps: f64,
}

/// What happens at a stage.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Reached {
    /// The stage.
    pub name: String,
    /// The mean run: speed at the start of the stage; none where it does not come so far.
    pub mean_in_mps: Option<f64>,
    /// The mean run: speed at the lip.
    pub mean_lip_mps: Option<f64>,
    /// The mean run: speed at the roll-out's end.
    pub mean_out_mps: Option<f64>,
    /// Where the mean run ends, if it does here.
    pub mean_ends: Option<End>,
    /// Where it comes to rest before the lip: how far before the take-off's foot, negative on the take-off.
    pub mean_rests_before_foot_m: Option<f64>,
    /// Runs that came to this stage.
    pub runs_in: usize,
    /// Runs that reached the lip.
    pub runs_lip: usize,
    /// Runs that came out of it.
    pub runs_out: usize,
    /// Speeds at the lip.
    pub lip: Option<Speeds>,
    /// Speeds at the roll-out's end.
    pub out: Option<Speeds>,
    /// How many ended here, and how.
    pub ends: Vec<(End, usize)>,
}

/// A run through one stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Through {
    /// Speed at the lip, if it was reached.
    pub lip_mps: Option<f64>,
    /// Speed at the roll-out's end, if it was reached.
    pub out_mps: Option<f64>,
    /// How it ended, if it did.
    pub end: Option<End>,
    /// Of one that came to rest before the lip: how far before the take-off's foot, along the surface; negative on the
    /// take-off.
    pub rests_before_foot_m: Option<f64>,
}

/// Rides one stage with its inputs.
#[must_use]
pub fn through(stage: &Stage<'_>, inputs: &Inputs<f32>) -> Through {
    let ended = |lip_mps, end| Through { lip_mps, out_mps: None, end: Some(end), rests_before_foot_m: None };
    let mut moving_m = None;
    let ridden = stage.setup.ride::<f32, false>(inputs, &Steps::FINE, |point| {
        if point.energy_m2ps2 > 0.0 {
            moving_m = Some(f64::from(point.before_foot_m));
        }
    });
    if ridden.stalled {
        return Through { rests_before_foot_m: moving_m, ..ended(None, End::Stalls) };
    }
    if ridden.left {
        return ended(None, End::LeavesSurface);
    }
    let lip_mps = Some(f64::from(ridden.speed_mps + inputs.get(Uncertain::LipSpeed)));
    let release = stage.setup.release(ridden.speed_mps, inputs);
    let contact_m = f64::from(inputs.get(Uncertain::ContactHeight));
    let Some(met) = meet(stage.landing, &release, &stage.setup.drag(inputs), contact_m) else {
        return ended(lip_mps, End::Short);
    };
    match met.part {
        Part::Front | Part::Deck => return ended(lip_mps, End::Short),
        Part::RollOut | Part::Beyond => return ended(lip_mps, End::Long),
        Part::Slope | Part::Transition => {}
    }
    match ride_on(stage.landing, &met, stage.setup, inputs) {
        Some(after) if after.end_mps > 0.0 => {
            Through { lip_mps, out_mps: Some(after.end_mps), end: None, rests_before_foot_m: None }
        }
        _ => ended(lip_mps, End::Rests),
    }
}

/// What a rider has in common at all stages: tyres, and what the air takes hold of.
const COMMON: [Uncertain; 4] =
    [Uncertain::RollingResistance, Uncertain::DragAreaRolling, Uncertain::DragAreaFlying, Uncertain::ContactHeight];

/// Gives a later try what the rider's first had. Posture is the rider's own; how far a botched try throws it off is each
/// jump's.
fn share(first: &Try, first_jump: &Uncertainty, later: &mut Try, jump: &Uncertainty) {
    for which in COMMON {
        let stretched = |botched: bool, jump: &Uncertainty| {
            if botched && BOTCHED.contains(&which) { jump.botched_factor } else { 1.0 }
        };
        let own = first.deviations[which as usize] / stretched(first.botched, first_jump);
        later.deviations[which as usize] = own * stretched(later.botched, jump);
    }
}

/// Sends runs down the line.
///
/// The first stage begins as its site says. At every other the push-off is what the run before it came out with, and the
/// start's height is its site's own. A rider keeps tyres, drag and posture from stage to stage; all else is drawn anew.
#[must_use]
pub fn line(stages: &[Stage<'_>], runs: usize, seed: u64) -> Vec<Reached> {
    let mean = mean_line(stages);
    let mut lips: Vec<Vec<f64>> = vec![Vec::new(); stages.len()];
    let mut outs = lips.clone();
    let mut ins = vec![0; stages.len()];
    let mut ends: Vec<Vec<End>> = vec![Vec::new(); stages.len()];
    // Every stage has a key of its own; the rider's own deviations are those of the first.
    let mut drawn: Vec<Vec<Try>> =
        stages.iter().zip(seed..).map(|(stage, seed)| drawn_tries(runs, seed, stage.uncertainty)).collect();
    if let (Some((first, later)), Some((first_stage, stages))) = (drawn.split_first_mut(), stages.split_first()) {
        for (tries, stage) in later.iter_mut().zip(stages) {
            for (own, one) in first.iter().zip(tries) {
                share(own, first_stage.uncertainty, one, stage.uncertainty);
            }
        }
    }
    let mut drawn: Vec<_> = drawn.into_iter().map(Vec::into_iter).collect();
    for _ in 0..runs {
        let tries: Vec<_> = drawn.iter_mut().map(Iterator::next).collect();
        let mut carried: Option<f64> = None;
        for (i, (stage, one)) in stages.iter().zip(&tries).enumerate() {
            let Some(one) = one else { break };
            let mut inputs = stage.uncertainty.good_tries().at(&one.deviations);
            if let Some(speed) = carried {
                let start_m = stage.uncertainty.mean[Uncertain::StartHeight as usize];
                inputs = inputs.with(Uncertain::PushOff, speed as f32).with(Uncertain::StartHeight, start_m);
            }
            ins[i] += 1;
            let went = through(stage, &inputs);
            lips[i].extend(went.lip_mps);
            outs[i].extend(went.out_mps);
            ends[i].extend(went.end);
            carried = went.out_mps;
            if carried.is_none() {
                break;
            }
        }
    }
    const ALL: [End; 5] = [End::Stalls, End::LeavesSurface, End::Short, End::Long, End::Rests];
    stages
        .iter()
        .zip(mean)
        .zip(lips.into_iter().zip(outs).zip(ins.into_iter().zip(ends)))
        .map(|((stage, (mean_in_mps, went)), ((lip, out), (runs_in, ended)))| Reached {
            name: stage.name.to_owned(),
            mean_in_mps,
            mean_lip_mps: went.and_then(|w| w.lip_mps),
            mean_out_mps: went.and_then(|w| w.out_mps),
            mean_ends: went.and_then(|w| w.end),
            mean_rests_before_foot_m: went.and_then(|w| w.rests_before_foot_m),
            runs_in,
            runs_lip: lip.len(),
            runs_out: out.len(),
            lip: speeds(lip),
            out: speeds(out),
            ends: ALL
                .iter()
                .map(|end| (*end, ended.iter().filter(|e| *e == end).count()))
                .filter(|(_, n)| *n > 0)
                .collect(),
        })
        .collect()
}

/// The mean run through every stage: its speed in, and how it went; none behind the stage where it ends.
#[must_use]
pub fn mean_line(stages: &[Stage<'_>]) -> Vec<(Option<f64>, Option<Through>)> {
    let mut carried: Option<Option<f64>> = None;
    stages
        .iter()
        .map(|stage| {
            let inputs = stage.uncertainty.at_mean();
            let (speed, inputs) = match carried {
                None => (f64::from(inputs.get(Uncertain::PushOff)), inputs),
                Some(Some(speed)) => (speed, inputs.with(Uncertain::PushOff, speed as f32)),
                Some(None) => return (None, None),
            };
            let went = through(stage, &inputs);
            carried = Some(went.out_mps);
            (Some(speed), Some(went))
        })
        .collect()
}

fn speeds(mut all: Vec<f64>) -> Option<Speeds> {
    all.sort_by(f64::total_cmp);
    let at = |share: f64| all.get(((all.len() as f64 - 1.0) * share).round() as usize).copied();
    Some(Speeds { middle_mps: at(0.5)?, slow_mps: at(0.025)?, fast_mps: at(0.975)? })
}

#[cfg(test)]
mod tests {
    use super::*;
    use landfall_core::inputs::COUNT;

    #[test]
    fn posture_is_shared_and_what_a_botched_try_does_to_it_is_not() {
        let uncertainty = |factor| {
            let mean = [6.0, 0.0, 0.01, 0.4, 0.5, 0.0, 0.5, 0.0, 0.0, 0.0, 0.0, 0.0, 0.7];
            Uncertainty::new(mean, [0.01; COUNT], 1.0, 1.0).unwrap().with_botched(0.05, factor).unwrap()
        };
        let (first_jump, jump) = (uncertainty(2.0), uncertainty(3.0));
        let of = |height: f32, botched| {
            let mut deviations = [0.25; COUNT];
            deviations[Uncertain::ContactHeight as usize] = height;
            Try { deviations, botched }
        };
        for (first, botched, wanted) in
            [(of(2.0, true), false, 1.0), (of(2.0, true), true, 3.0), (of(1.0, false), true, 3.0)]
        {
            let mut later = of(-5.0, botched);
            later.deviations[Uncertain::RollingResistance as usize] = -5.0;
            share(&first, &first_jump, &mut later, &jump);
            assert_eq!(later.deviations[Uncertain::ContactHeight as usize], wanted);
            assert_eq!(later.deviations[Uncertain::RollingResistance as usize], 0.25);
        }
    }
}
