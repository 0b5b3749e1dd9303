//! What a recording of the box holds: where the blowers were on with nobody on the bag, where the pressure fell to
//! nothing, and where somebody landed.
//!
//! # Settled here
//! - **Recorded landings** are told by their rise and by the time from a tenth to eight tenths of it, since neither
//!   contact nor deepest point can be timed in a pressure; each landing's speed, half a standard deviation of the
//!   plan's mean speed, and 6 % of rise and time alike (*assumed*: the touch-down itself) are errors of the
//!   measurement.

use super::landed::{Landed, rise_times};
use super::loaded::slope;
use landfall_box::record::Recording;

/// Over this the level of rest is looked for, s.
const REST_WINDOW_S: f64 = 6.0;
/// A fall goes on at least this long, s, and down to at most this share of the rest.
const FALL_S: f64 = 2.0;
const FALLEN_SHARE: f64 = 0.4;
/// A landing's rise over the rest, at least: this share of it, and these parts of the noise.
const RISE_SHARE: f64 = 0.08;
const RISE_NOISES: f64 = 6.0;
/// A landing's rise takes at most this long, s.
const RISE_S: f64 = 1.5;

/// A stretch in which the pressure falls.
#[derive(Clone, Debug, PartialEq)]
pub struct Falling {
    /// Times and pressures, from before the blowers stopped to the end.
    pub points: Vec<(f64, f64)>,
}

/// What was found.
#[derive(Clone, Debug, Default)]
pub struct Heard {
    /// The settled pressure: blowers on, nobody on the bag; Pa.
    pub settled_pa: Option<f64>,
    /// The falls, in order.
    pub falls: Vec<Falling>,
    /// The landings, in order.
    pub landings: Vec<Landed>,
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

/// Looks through a recording. `noise_pa` is the sensor's.
#[must_use]
pub fn listen(recording: &Recording, noise_pa: f64) -> Heard {
    let all: Vec<(f64, f64)> = recording
        .rows
        .iter()
        .filter_map(|row| row.reading.as_ref().ok().map(|pressure| (row.time_s, f64::from(pressure.0))))
        .collect();
    // The level at rest of the whole: the most frequent pressure in steps of 2 %, among the higher half.
    let mut sorted: Vec<f64> = all.iter().map(|p| p.1).collect();
    sorted.sort_by(f64::total_cmp);
    let high = sorted.get(sorted.len() * 9 / 10).copied().unwrap_or(0.0);
    if !(high > 50.0) {
        return Heard::default();
    }
    let mut counts = vec![0_u32; 60];
    for (_, pa) in &all {
        let step = (pa / (0.02 * high)) as usize;
        if let Some(count) = counts.get_mut(step).filter(|_| *pa > 0.5 * high) {
            *count += 1;
        }
    }
    let most = counts.iter().enumerate().max_by_key(|(_, count)| **count).map_or(0, |(step, _)| step);
    let about = (most as f64 + 0.5) * 0.02 * high;
    let mut near: Vec<f64> =
        all.iter().map(|p| p.1).filter(|pa| (pa - about).abs() < 0.03 * about + noise_pa).collect();
    let settled_pa = median(&mut near);
    let falls = falls(&all, settled_pa);
    let calm: Vec<(f64, f64)> = all.iter().filter(|p| !falls.iter().any(|fall| within(fall, p.0))).copied().collect();
    Heard { settled_pa: Some(settled_pa), landings: landings(&calm, settled_pa, noise_pa), falls }
}

fn within(fall: &Falling, time_s: f64) -> bool {
    let (first, last) = (fall.points.first().map_or(f64::NAN, |p| p.0), fall.points.last().map_or(f64::NAN, |p| p.0));
    time_s >= first && time_s <= last
}

/// Stretches from the last moment near the rest down to where the pressure falls no more.
fn falls(all: &[(f64, f64)], settled_pa: f64) -> Vec<Falling> {
    let mut out = Vec::new();
    let mut last_full = None;
    let mut at = 0;
    while let Some((time_s, pa)) = all.get(at) {
        if *pa > 0.9 * settled_pa {
            last_full = Some(at);
        } else if *pa < FALLEN_SHARE * settled_pa
            && let Some(from) = last_full.take()
        {
            // On to the lowest, while it goes on falling.
            let mut lowest = at;
            let mut end = at;
            while let Some((later_s, later_pa)) = all.get(end) {
                if *later_pa < all.get(lowest).map_or(f64::INFINITY, |p| p.1) {
                    lowest = end;
                } else if *later_pa > 0.6 * settled_pa || later_s - all.get(lowest).map_or(0.0, |p| p.0) > 10.0 {
                    break;
                }
                end += 1;
            }
            let from_s = all.get(from).map_or(0.0, |p| p.0);
            let begin = all.partition_point(|p| p.0 < from_s - 0.5 * REST_WINDOW_S);
            if time_s - from_s > 0.25 * FALL_S && all.get(lowest).is_some_and(|p| p.0 - from_s > FALL_S) {
                out.push(Falling { points: all.get(begin..=lowest).unwrap_or(&[]).to_vec() });
            }
            at = end;
        }
        at += 1;
    }
    out
}

fn landings(calm: &[(f64, f64)], settled_pa: f64, noise_pa: f64) -> Vec<Landed> {
    let least_pa = (RISE_SHARE * settled_pa).max(RISE_NOISES * noise_pa);
    let mut out: Vec<Landed> = Vec::new();
    let mut at = 0;
    while let Some((time_s, pa)) = calm.get(at) {
        if pa - settled_pa < least_pa {
            at += 1;
            continue;
        }
        let end = at + calm.iter().skip(at).take_while(|p| p.1 - settled_pa >= 0.3 * least_pa).count();
        let begin = calm.partition_point(|p| p.0 < time_s - RISE_S);
        let rest_from = calm.partition_point(|p| p.0 < time_s - REST_WINDOW_S);
        let mut rest: Vec<f64> =
            calm.get(rest_from..begin).unwrap_or(&[]).iter().map(|p| p.1).filter(|pa| *pa > 0.7 * settled_pa).collect();
        let rest_pa = if rest.len() > 20 { median(&mut rest) } else { settled_pa };
        // The mean of three readings: the highest of many noisy ones would lie over the peak.
        let stretch: Vec<(f64, f64)> = calm
            .get(begin..end)
            .unwrap_or(&[])
            .windows(3)
            .filter_map(|three| Some((three.get(1)?.0, three.iter().map(|p| p.1).sum::<f64>() / 3.0)))
            .collect();
        if let Some((onset_s, rising_s)) = rise_times(&stretch, rest_pa)
            && (0.02..RISE_S).contains(&rising_s)
            // A second rise within two seconds is the same body, bounced.
            && out.last().is_none_or(|last| onset_s - last.time_s > 2.0)
        {
            let peak_pa = stretch.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
            out.push(Landed { time_s: onset_s, rest_pa, rise_pa: peak_pa - rest_pa, rising_s });
        }
        at = end.max(at + 1);
    }
    out
}

/// What a film has of the moment at which the pressure must have a corner.
#[derive(Clone, Copy, Debug)]
pub struct Corner {
    /// When, by the film's clock, s.
    pub at_s: f64,
    /// The load comes to rest there; else it breaks away.
    pub at_rest: bool,
    /// How long it had been sinking, s.
    pub sinking_s: f64,
}

/// By how much the box's clock is ahead of a film's, from the load coming to rest (or breaking away, where the film does
/// not show it at rest): there the pressure has a corner. Under a load that sinks on a constant area it stays; once the
/// load lies on the ground nothing carries it, and the pressure goes on falling. Seconds, and how sharp the corner is in
/// Pa/s; none where the fall has none, or is too short for the sinking that was filmed.
#[must_use]
pub fn offset_s(fall: &Falling, corner: &Corner) -> Option<(f64, f64)> {
    let side_s = (0.25 * corner.sinking_s).clamp(0.4, 1.2);
    let points = &fall.points;
    let (full_pa, last) = (points.first()?.1, points.last()?.0);
    let part = |from_s: f64, to_s: f64| {
        let from = points.partition_point(|p| p.0 < from_s);
        let to = points.partition_point(|p| p.0 <= to_s);
        let part = points.get(from..to.max(from)).unwrap_or(&[]);
        (part.len() >= 3).then(|| slope(part.iter().copied()))
    };
    let sharp = |at_s: f64| {
        let (before, after) = (part(at_s - side_s, at_s)?, part(at_s, at_s + side_s)?);
        Some(if corner.at_rest { before - after } else { after - before })
    };
    // The blowers stop where the pressure is last near what it was; a load sinks only afterwards.
    let off_s = points.iter().rev().find(|p| p.1 > 0.95 * full_pa).map_or(0.0, |p| p.0);
    let mut best: Option<(f64, f64)> = None;
    let mut at_s = off_s + (corner.sinking_s - 1.0).max(side_s);
    while at_s <= last - 0.3 * side_s {
        if let Some(found) = sharp(at_s)
            && best.is_none_or(|best| found > best.1)
        {
            best = Some((at_s, found));
        }
        at_s += 0.02;
    }
    best.filter(|best| best.1 > 5.0).map(|(at_s, found)| (at_s - corner.at_s, found))
}
