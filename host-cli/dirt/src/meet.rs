//! Where and how a run comes down on a landing.

use crate::landing::{Landing, Part};
use landfall_core::air::STANDARD_GRAVITY_MPS2;
use landfall_core::flight::{Drag, Motion, step};
use serde::Serialize;

/// A contact. Angles are down positive.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Meet {
    /// Which part is met.
    pub part: Part,
    /// Where, from the lip.
    pub x_m: f64,
    /// How high.
    pub z_m: f64,
    /// How far across, left positive.
    pub across_m: f64,
    /// Speed into the surface.
    pub normal_mps: f64,
    /// Speed along the surface: what a rider goes on with.
    pub along_mps: f64,
    /// Direction of the path.
    pub path_rad: f64,
    /// Slope of the surface.
    pub surface_rad: f64,
    /// Between path and surface.
    pub angle_rad: f64,
    /// Equivalent fall height: the speed into the surface as that of a fall, v²/2g (Hubbard 2009, from memory).
    pub fall_m: f64,
    /// From the release.
    pub time_s: f64,
}

/// Steps of a flight.
const STEP_S: f32 = 0.01;
/// Longest flight that is followed.
const LONGEST: usize = 1500;

/// Flies from a release until what is `contact_m` off the centre of mass touches the landing; none for a run that goes
/// under everything.
#[must_use]
pub fn meet(landing: &Landing, release: &Motion<f32>, drag: &Drag<f32>, contact_m: f64) -> Option<Meet> {
    let place = |m: &Motion<f32>| (f64::from(m.place_m[0]), f64::from(m.place_m[2]));
    let off = |m: &Motion<f32>| landing.touch(place(m)).map(|touch| touch.distance_m - contact_m);
    let mut now = *release;
    for i in 0..LONGEST {
        let next = step(&now, STEP_S, drag);
        let (before, after) = (off(&now), off(&next));
        if after.is_some_and(|after| after <= 0.0) {
            let front = before.is_none() || before.is_some_and(|before| before < 0.0);
            let (mut low, mut high) = (0.0_f32, STEP_S);
            for _ in 0..if front { 0 } else { 24 } {
                let middle = 0.5 * (low + high);
                let there = off(&step(&now, middle, drag)).is_some_and(|d| d <= 0.0);
                if there { high = middle } else { low = middle }
            }
            let at = step(&now, high, drag);
            let time_s = i as f64 * f64::from(STEP_S) + f64::from(high);
            return contact(landing, &at, time_s, front);
        }
        now = next;
    }
    None
}

fn contact(landing: &Landing, at: &Motion<f32>, time_s: f64, front: bool) -> Option<Meet> {
    let touch = landing.touch((f64::from(at.place_m[0]), f64::from(at.place_m[2])))?;
    let (forward, up) = (f64::from(at.velocity_mps[0]), f64::from(at.velocity_mps[2]));
    let (nx, nz) = touch.normal;
    let normal_mps = -(forward * nx + up * nz);
    // The path's part across is kept on.
    let along_mps = (forward * nz - up * nx).hypot(f64::from(at.velocity_mps[1]));
    let (path_rad, surface_rad) = ((-up).atan2(forward), nx.atan2(nz));
    Some(Meet {
        part: if front { Part::Front } else { touch.part },
        x_m: touch.place_m.0,
        z_m: touch.place_m.1,
        across_m: at.place_m[1].into(),
        normal_mps,
        along_mps,
        path_rad,
        surface_rad,
        angle_rad: path_rad - surface_rad,
        fall_m: normal_mps.max(0.0).powi(2) / (2.0 * f64::from(STANDARD_GRAVITY_MPS2)),
        time_s,
    })
}
