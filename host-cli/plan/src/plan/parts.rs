//! The deterministic parts of a plan: ride, flight, stop line, short zone.
//!
//! # Settled here
//! - **A best gap is better** where its misses are fewer by two standard deviations of the two counts' difference.

use super::model::Model;
use super::results::{Flight, OrWhy, Ride, RidePlace, ShortRun, StopLine, Why};
use crate::site::Site;
use landfall_core::air::STANDARD_GRAVITY_MPS2;
use landfall_core::bag::Outcome;
use landfall_core::flight::fly_to_apex;
use landfall_core::inputs::{Inputs, Uncertain};
use landfall_core::ride::{RideEnd, RidePoint, Steps};
use landfall_core::run::{Run, Setup};
use landfall_core::short_zone::{WALKING_MPS, clearing_speed_mps, front_from_mps, short_run};
use landfall_core::stop_line::last_stop_line;

/// Steps of the single runs that a plan shows.
pub const DETAIL: Steps = Steps { start: 24, straight: 24, arc: 64, takeoff: 48, lip: 4, flight: 16, front: 8 };
/// Steps for finding the place where a ride ends before the lip.
const CLOSE: Steps = Steps { start: 600, straight: 600, arc: 600, takeoff: 600, lip: 100, flight: 1, front: 1 };

/// What the single run of a rider comes to.
pub struct Single {
    /// The ride.
    pub end: RideEnd<f32>,
    /// The whole run; only where the ride reaches the lip.
    pub run: Option<Run<f32>>,
    /// From the foot of the take-off to the release.
    pub foot_to_lip_s: f32,
}

/// Runs one rider with given inputs.
pub fn single(setup: &Setup, inputs: &Inputs<f32>) -> Single {
    let mut foot_s = 0.0;
    let end = setup.ride::<f32, true>(inputs, &DETAIL, |point| {
        if point.before_foot_m > -1.0e-6 {
            foot_s = point.time_s;
        }
    });
    let reached = !end.stalled && !end.left;
    let run = reached.then(|| setup.run_from(&end, inputs, &DETAIL));
    Single { end, run, foot_to_lip_s: end.time_s - foot_s }
}

impl Single {
    /// Time in the air, where the run comes down on the bag's plane.
    pub fn airtime_s(&self) -> Option<f32> {
        self.run.filter(|run| run.landed()).map(|run| run.airtime_s)
    }

    /// The run that comes down on the bag's plane, or why it does not: the ride of the same rider ends before the lip,
    /// or what follows it misses the plane.
    ///
    /// # Errors
    /// The reason.
    pub fn landed(&self, ride: &Ride) -> Result<Run<f32>, Why> {
        match ended(&ride.stall, &ride.leaves_surface) {
            Some(why) => Err(why),
            None => self.run.filter(|run| run.landed()).ok_or(Why::OffPlane),
        }
    }
}

/// Why a ride ends before the lip, where it does.
fn ended(stall: &OrWhy<RidePlace>, leaves_surface: &OrWhy<RidePlace>) -> Option<Why> {
    match (stall, leaves_surface) {
        (OrWhy::Value(_), _) => Some(Why::Stalls),
        (_, OrWhy::Value(_)) => Some(Why::LeavesSurface),
        _ => None,
    }
}

fn place(before_foot_m: f32, energy: f32) -> RidePlace {
    RidePlace { before_foot_m: f64::from(before_foot_m), speed_mps: f64::from(energy.max(0.0)).sqrt() }
}

/// Where a ride stalls or leaves the surface, whichever comes first.
fn early_end(setup: &Setup, inputs: &Inputs<f32>) -> (OrWhy<RidePlace>, OrWhy<RidePlace>) {
    let mut last: [Option<RidePoint<f32>>; 2] = [None, None];
    let (mut stall, mut leaves) = (None, None);
    let end = setup.ride::<f32, false>(inputs, &CLOSE, |point| {
        if stall.is_none() && leaves.is_none() {
            let same = last[1].filter(|before| before.curvature_pm == point.curvature_pm);
            if point.load_mps2 < 0.0 {
                leaves = Some(match same {
                    // Along a step the load is as good as linear.
                    Some(before) if before.load_mps2 > 0.0 => {
                        let share = before.load_mps2 / (before.load_mps2 - point.load_mps2);
                        let between = |a: f32, b: f32| a + (b - a) * share;
                        place(
                            between(before.before_foot_m, point.before_foot_m),
                            between(before.energy_m2ps2, point.energy_m2ps2),
                        )
                    }
                    _ => place(point.before_foot_m, point.energy_m2ps2),
                });
            } else if point.energy_m2ps2 <= 0.0 && last[1].is_some() {
                // The energy was cut off at 0: its last slope is carried on to where it vanishes.
                stall = Some(match (last[0], last[1]) {
                    (Some(a), Some(b)) if a.energy_m2ps2 > b.energy_m2ps2 => {
                        let per_m = (a.energy_m2ps2 - b.energy_m2ps2) / (a.before_foot_m - b.before_foot_m);
                        let on_m = b.energy_m2ps2 / per_m;
                        place((b.before_foot_m - on_m).max(point.before_foot_m), 0.0)
                    }
                    (_, Some(b)) => place(b.before_foot_m, 0.0),
                    _ => place(point.before_foot_m, 0.0),
                });
            }
        }
        if last[1].is_none_or(|before| before.before_foot_m != point.before_foot_m) {
            last = [last[1], Some(*point)];
        } else {
            last[1] = Some(*point);
        }
    });
    if end.stalled && stall.is_none() && leaves.is_none() {
        stall = Some(place(setup.path().length_m(), 0.0));
    }
    match (stall, leaves) {
        (Some(at), _) => (OrWhy::Value(at), Why::EndedBefore.into()),
        (None, Some(at)) => (Why::EndedBefore.into(), OrWhy::Value(at)),
        (None, None) => TO_THE_LIP,
    }
}

/// Neither of the two.
const TO_THE_LIP: (OrWhy<RidePlace>, OrWhy<RidePlace>) = (OrWhy::Null(Why::NoStall), OrWhy::Null(Why::StaysOn));

/// The ride of the mean rider.
pub fn ride(model: &Model, one: &Single) -> Ride {
    let setup = &model.setups[0];
    let inputs = model.uncertainty.at_mean();
    let (stall, leaves_surface) = if one.end.stalled || one.end.left { early_end(setup, &inputs) } else { TO_THE_LIP };
    let at_lip = |value: f32| ended(&stall, &leaves_surface).map_or(OrWhy::Value(f64::from(value)), OrWhy::Null);
    let ended_m = stall.or(leaves_surface).get().map_or(f64::NEG_INFINITY, |place| place.before_foot_m);
    let peak = peak_load_mps2(setup, &inputs, ended_m);
    let release = one.end.release;
    Ride {
        lip_speed_mps: at_lip(one.end.speed_mps),
        lip_angle_deg: f64::from(setup.takeoff().lip_rad()).to_degrees(),
        release_angle_deg: libm::atan2(f64::from(release.sin), f64::from(release.cos)).to_degrees(),
        time_to_lip_s: at_lip(one.end.time_s),
        peak_load_g: f64::from(peak.0 / STANDARD_GRAVITY_MPS2),
        peak_load_before_foot_m: f64::from(peak.1),
        stall,
        leaves_surface,
        length_m: f64::from(setup.path().length_m()),
        takeoff_radius_m: f64::from(setup.takeoff().radius_m()),
        takeoff_height_m: f64::from(setup.takeoff().height_m()),
    }
}

/// Highest load on the ride down to `ended_m` before the take-off's foot, and where it is.
pub fn peak_load_mps2(setup: &Setup, inputs: &Inputs<f32>, ended_m: f64) -> (f32, f32) {
    let mut peak = (0.0_f32, 0.0_f32);
    setup.ride::<f32, false>(inputs, &DETAIL, |point| {
        if point.load_mps2 > peak.0 && f64::from(point.before_foot_m) >= ended_m {
            peak = (point.load_mps2, point.before_foot_m);
        }
    });
    peak
}

/// The flight of the mean rider after its ride; without figures where the ride does not reach the lip.
pub fn flight(model: &Model, one: &Single, ride: &Ride) -> Flight {
    let setup = &model.setups[0];
    let inputs = model.uncertainty.at_mean();
    let landed = one.landed(ride);
    let Some(run) = one.run else {
        let none: OrWhy<f64> = landed.err().unwrap_or(Why::OffPlane).into();
        let outcome = if one.end.left { Outcome::LeavesSurface } else { Outcome::Stall };
        return Flight {
            airtime_s: none,
            apex_above_lip_m: none,
            along_m: none,
            across_m: none,
            distance_from_lip_m: none,
            impact_speed_mps: none,
            impact_normal_mps: none,
            impact_along_mps: none,
            equivalent_fall_height_m: none,
            outcome,
        };
    };
    let start = setup.release(one.end.speed_mps, &inputs);
    let (_, top) = fly_to_apex(&start, &setup.drag(&inputs), DETAIL.flight);
    let when = |value: f64| OrWhy::from(landed.map(|_| value));
    let speed2: f64 = run.contact.velocity_mps.iter().map(|v| f64::from(*v).powi(2)).sum();
    let normal = f64::from(run.normal_mps);
    Flight {
        airtime_s: when(f64::from(run.airtime_s)),
        apex_above_lip_m: OrWhy::Value(f64::from(top.place_m[2] - setup.takeoff().height_m())),
        along_m: when(f64::from(run.along_m)),
        across_m: when(f64::from(run.across_m)),
        distance_from_lip_m: when(f64::from(run.along_m) + f64::from(setup.bag().gap_m())),
        impact_speed_mps: when(speed2.sqrt()),
        impact_normal_mps: when(normal),
        impact_along_mps: when((speed2 - normal * normal).max(0.0).sqrt()),
        equivalent_fall_height_m: when(normal * normal / (2.0 * f64::from(STANDARD_GRAVITY_MPS2))),
        outcome: run.outcome(setup.bag(), 0),
    }
}

/// The stop lines at the stated braking, 0.1 less and 0.1 more, of a run that takes so long in the air.
pub fn stop_lines(site: &Site, model: &Model, one: &Single, airtime_s: Result<f32, Why>) -> Vec<StopLine> {
    let inputs = model.uncertainty.at_mean();
    [0.0, -0.1, 0.1]
        .iter()
        .map(|change| site.rider.braking + change)
        .filter(|braking| *braking > 0.0)
        .map(|braking| stop_line(&model.setups[0], &inputs, one, airtime_s, braking))
        .collect()
}

/// The stop line of one braking coefficient.
pub fn stop_line(
    setup: &Setup,
    inputs: &Inputs<f32>,
    one: &Single,
    airtime_s: Result<f32, Why>,
    braking: f64,
) -> StopLine {
    let line = last_stop_line(setup, inputs, braking as f32);
    let to_touchdown_s = airtime_s.map(|airtime_s| {
        let to_lip_s = line.map_or(one.end.time_s, |line| line.to_foot_s + one.foot_to_lip_s);
        f64::from(to_lip_s) + f64::from(airtime_s)
    });
    let before_foot_m = line.map(|line| f64::from(line.before_foot_m)).ok_or(Why::Committed);
    StopLine { braking, before_foot_m: before_foot_m.into(), to_touchdown_s: to_touchdown_s.into() }
}

/// Speed at the stop line of the stated braking.
pub fn stop_line_speed_mps(site: &Site, model: &Model) -> OrWhy<f64> {
    last_stop_line(&model.setups[0], &model.uncertainty.at_mean(), site.rider.braking as f32)
        .map(|line| f64::from(line.speed_mps))
        .ok_or(Why::Committed)
        .into()
}

/// The short zone: the clearing speed, the speed from which the front is met, and a table.
pub fn short_zone(model: &Model) -> (OrWhy<f64>, OrWhy<f64>, Vec<ShortRun>) {
    let setup = &model.setups[0];
    let inputs = model.uncertainty.at_mean().with(Uncertain::LipSpeed, 0.0);
    let Some(clearing) = clearing_speed_mps(setup, &inputs) else {
        return (Why::NothingClears.into(), Why::NothingClears.into(), Vec::new());
    };
    let front = front_from_mps(setup, &inputs, clearing);
    let rows = 9_u16;
    let table = (0..=rows)
        .map(|row| {
            let speed = WALKING_MPS + (clearing - WALKING_MPS) * f32::from(row) / f32::from(rows);
            let run = short_run(setup, &inputs, speed);
            let height_at_gap_m = f64::from(run.height_at_gap_m);
            ShortRun {
                lip_speed_mps: f64::from(speed),
                hit: run.hit,
                height_at_gap_m: if height_at_gap_m > 0.0 {
                    OrWhy::Value(height_at_gap_m)
                } else {
                    Why::FrontNotReached.into()
                },
            }
        })
        .collect();
    let front = front.map(f64::from).ok_or(Why::NoFrontFirst);
    (OrWhy::Value(f64::from(clearing)), front.into(), table)
}
