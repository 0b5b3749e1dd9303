//! One run over time: the mean rider at the site's values, from the start to where the bag has stopped the fall.
//!
//! Every place is one that the core's own ride, flight and touch-down give, with its time; nothing between is made up.

use super::sheet::{Piece, PieceKind, Sheet, follow};
use crate::plan::demand::landing_kg;
use crate::plan::parts::single;
use crate::shown::Shown;
use crate::site::Dimension;
use landfall_core::air::STANDARD_GRAVITY_MPS2;
use serde_json::{Value, json};
use std::f64::consts::PI;

/// Time between two places of the flight.
const STEP_S: f32 = 0.02;
/// Places closer in time than this are not given twice.
const LEAST_S: f64 = 0.02;

/// A place of the centre of mass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moment {
    /// Since the start.
    pub time_s: f64,
    /// Forward from the lip.
    pub x_m: f64,
    /// Above the take-off's foot.
    pub z_m: f64,
    /// Speed.
    pub speed_mps: f64,
    /// Slope of the surface under it, up positive; of no meaning in the air.
    pub slope_rad: f64,
}

/// A moment of the touch-down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dent {
    /// Since the start of the run.
    pub time_s: f64,
    /// How deep the lowest point is in the bag.
    pub depth_m: f64,
    /// Half the width of the dent: of the circle whose area at the bag's pressure gives the bag's force.
    pub half_m: f64,
}

/// The run.
#[derive(Clone, Debug, Default)]
pub struct Played {
    /// On the surface.
    pub ride: Vec<Moment>,
    /// In the air, to the contact where there is one.
    pub flight: Vec<Moment>,
    /// In the bag; empty where the run does not land on it.
    pub bag: Vec<Dent>,
    /// Place on the top where the lowest point meets it.
    pub contact: Option<(f64, f64)>,
}

impl Played {
    /// Takes the run apart.
    #[must_use]
    pub fn of(sheet: &Sheet<'_>) -> Self {
        let setup = &sheet.model.setups[0];
        let inputs = sheet.model.uncertainty.at_mean();
        let one = single(setup, &inputs);
        let mut played = Self { ride: ride(sheet), ..Self::default() };
        let Some(run) = one.run else { return played };
        let left_s = f64::from(one.end.time_s);
        let landed_s = run.landed().then_some(f64::from(run.airtime_s));
        let moment = |time_s: f64, place: [f32; 3], velocity: [f32; 3]| Moment {
            time_s: left_s + time_s,
            x_m: f64::from(place[0]),
            z_m: f64::from(place[2]),
            speed_mps: velocity.iter().map(|v| f64::from(*v).powi(2)).sum::<f64>().sqrt(),
            slope_rad: 0.0,
        };
        let mut steps = 0_u32;
        follow(&setup.release(one.end.speed_mps, &inputs), &setup.drag(&inputs), STEP_S, |motion| {
            let time_s = f64::from(steps) * f64::from(STEP_S);
            steps += 1;
            let over = landed_s.map_or(motion.place_m[2] < 0.0, |landed_s| time_s >= landed_s);
            if !over {
                played.flight.push(moment(time_s, motion.place_m, motion.velocity_mps));
            }
            over
        });
        let Some(landed_s) = landed_s else { return played };
        played.flight.push(moment(landed_s, run.contact.place_m, run.contact.velocity_mps));
        let weight_n = landing_kg(sheet.site, sheet.site.rider.mass_kg) * f64::from(STANDARD_GRAVITY_MPS2);
        let mut before_s = f64::NEG_INFINITY;
        for [time_s, depth_m, load_g, pressure_pa] in &sheet.touchdown {
            if *time_s - before_s >= LEAST_S && *pressure_pa > 1.0 {
                before_s = *time_s;
                let half_m = (load_g.max(0.0) * weight_n / pressure_pa / PI).sqrt();
                played.bag.push(Dent { time_s: left_s + landed_s + time_s, depth_m: *depth_m, half_m });
            }
        }
        let bag = &setup.bag();
        let along_m = f64::from(run.along_m);
        played.contact = (!played.bag.is_empty())
            .then(|| (f64::from(bag.gap_m()) + along_m, f64::from(bag.front_z_m()) + f64::from(bag.climb()) * along_m));
        played
    }

    /// For a page: lists of numbers, to the millimetre and the millisecond.
    #[must_use]
    pub fn json(&self, sheet: &Sheet<'_>) -> Value {
        let short = |value: f64| (value * 1000.0).round() / 1000.0;
        let moments = |list: &[Moment]| -> Value {
            list.iter().map(|m| json!([m.time_s, m.x_m, m.z_m, m.speed_mps, m.slope_rad].map(short))).collect()
        };
        let shown = Shown::of(sheet.site);
        let per_mps = shown.value(Dimension::Speed, 1.0);
        json!({
            "speed": [per_mps, shown.unit(Dimension::Speed), 0],
            "depth": if shown.is_imperial() { json!([1.0 / 0.0254, "in", 0]) } else { json!([1.0, "m", 2]) },
            "ride": moments(&self.ride),
            "flight": moments(&self.flight),
            "bag": self.bag.iter().map(|d| json!([d.time_s, d.depth_m, d.half_m].map(short))).collect::<Value>(),
            "contact": self.contact.map(|(x, z)| [short(x), short(z)]),
            "mass_height_m": short(sheet.site.rider.mass_height_m),
            "contact_height_m": short(sheet.site.rider.contact_height_m),
            "wheelbase_m": short(sheet.site.rider.wheelbase_m),
        })
    }
}

/// The ride: places on the surface by their distance before the foot, the centre of mass above them.
fn ride(sheet: &Sheet<'_>) -> Vec<Moment> {
    let height_m = sheet.site.rider.mass_height_m;
    let last = sheet.ride.len().saturating_sub(1);
    let mut list: Vec<Moment> = Vec::new();
    for (i, mark) in sheet.ride.iter().enumerate() {
        let again = list.last().is_some_and(|before| mark.time_s - before.time_s < LEAST_S);
        if again && i != last || !mark.time_s.is_finite() {
            continue;
        }
        let Some(((x, _), slope_rad)) = place_at(&sheet.surface, mark.before_foot_m) else { continue };
        list.push(Moment {
            time_s: mark.time_s,
            x_m: x - height_m * slope_rad.sin(),
            z_m: mark.mass_z_m,
            speed_mps: mark.speed_mps,
            slope_rad,
        });
    }
    list
}

/// A place on the surface and its slope, up positive, by its arc length before the take-off's foot.
fn place_at(surface: &[Piece], before_foot_m: f64) -> Option<((f64, f64), f64)> {
    let length_of = |piece: &Piece| match piece.kind {
        PieceKind::Straight { length_m, .. } => length_m,
        PieceKind::Arc { radius_m, turn_rad } | PieceKind::TakeOff { radius_m, turn_rad } => radius_m * turn_rad.abs(),
    };
    let takeoff = surface.last().map_or(0.0, length_of);
    let mut on_m = surface.iter().map(length_of).sum::<f64>() - takeoff - before_foot_m;
    let mut slope_rad = 0.0;
    for (i, piece) in surface.iter().enumerate() {
        let length_m = length_of(piece);
        let here = on_m <= length_m || i + 1 == surface.len();
        let share_m = on_m.clamp(0.0, length_m);
        let first = piece.first();
        match piece.kind {
            PieceKind::Straight { slope_rad: down_rad, .. } => {
                slope_rad = -down_rad;
                if here {
                    return Some((
                        (first.0 + share_m * slope_rad.cos(), first.1 + share_m * slope_rad.sin()),
                        slope_rad,
                    ));
                }
            }
            PieceKind::Arc { radius_m, turn_rad } | PieceKind::TakeOff { radius_m, turn_rad } => {
                let sense = turn_rad.signum() * radius_m;
                // A run that begins with an arc begins level, and so does the take-off.
                let from_rad = if matches!(piece.kind, PieceKind::TakeOff { .. }) { 0.0 } else { slope_rad };
                if here {
                    let at_rad = from_rad + share_m / radius_m * turn_rad.signum();
                    let x = first.0 + sense * (at_rad.sin() - from_rad.sin());
                    return Some(((x, first.1 + sense * (from_rad.cos() - at_rad.cos())), at_rad));
                }
                slope_rad = from_rad + turn_rad;
            }
        }
        on_m -= length_m;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{Parts, compute};
    use crate::site::{Site, demo};
    use landfall_sampling::Stop;

    fn played(site: &Site) -> (Played, crate::plan::results::Results) {
        let results = compute(site, Parts::QUICK, &Stop::default()).unwrap();
        let sheet = Sheet::gather_runs(site, &results, 0).unwrap();
        (Played::of(&sheet), results)
    }

    /// The places come from the surface, the heights from the ride: both must fit, and so must the speeds that the
    /// places and the times give.
    #[test]
    fn places_heights_times_and_speeds_fit_each_other() {
        let arc_first =
            demo().with_value("roll_in.slope", "30 deg").unwrap().with_value("rider.mass_height", "0.9 m").unwrap();
        for site in [demo(), arc_first] {
            let (run, results) = played(&site);
            for list in [&run.ride, &run.flight] {
                assert!(list.len() > 20, "{}", list.len());
                for pair in list.windows(2) {
                    let (a, b) = (pair[0], pair[1]);
                    let (way, took) = ((b.x_m - a.x_m).hypot(b.z_m - a.z_m), b.time_s - a.time_s);
                    let speed = 0.5 * (a.speed_mps + b.speed_mps);
                    // On an arc the centre of mass is on a smaller circle than the wheels, whose speed is not asked for.
                    assert!(took > 0.0 && (way - speed * took).abs() < 0.02 * way + 0.003, "{a:?} {b:?}");
                }
            }
            let (last, first) = (run.ride.last().unwrap(), run.flight.first().unwrap());
            assert!((last.x_m - first.x_m).hypot(last.z_m - first.z_m) < 2.0e-3, "{last:?} {first:?}");
            assert!((last.time_s - results.ride.time_to_lip_s.get().unwrap()).abs() < 1.0e-6);
            let end = run.flight.last().unwrap();
            assert!((end.time_s - first.time_s - results.flight.airtime_s.get().unwrap()).abs() < 1.0e-6);
            assert!((end.speed_mps - results.flight.impact_speed_mps.get().unwrap()).abs() < 1.0e-6);
            let contact = run.contact.unwrap();
            assert!((contact.0 - results.flight.distance_from_lip_m.get().unwrap()).abs() < 1.0e-6);
            assert!((end.z_m - contact.1 - site.rider.contact_height_m).abs() < 2.0e-3, "{end:?} {contact:?}");
            let deepest = run.bag.iter().map(|dent| dent.depth_m).fold(0.0, f64::max);
            assert!((deepest - results.touchdown.as_ref().unwrap().depth_m).abs() < 0.02, "{deepest}");
            assert!(run.bag.iter().all(|dent| dent.half_m.is_finite() && dent.half_m < 3.0));
        }
    }

    #[test]
    fn a_run_that_ends_before_the_lip_has_no_flight() {
        let site = demo().with_value("roll_in.start_height", "2.0 m").unwrap();
        let (run, results) = played(&site);
        assert!(results.ride.stall.get().is_some(), "{:?}", results.ride);
        assert!(run.flight.is_empty() && run.bag.is_empty() && run.contact.is_none());
        assert!(run.ride.last().unwrap().x_m < -1.0);
    }
}
