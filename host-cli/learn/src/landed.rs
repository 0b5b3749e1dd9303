//! Landings that the box recorded, with riders of known mass: what they tell of stretch and force area, by the core's
//! full touch-down.
//!
//! How fast a rider came down is not recorded: each landing's speed is drawn from the plan's own, and its mean is
//! uncertain too. Both are errors of the measurement here, so that a speed that the plan has wrong does not turn into
//! a knowledge of the bag.

use landfall_core::bag_gas::{Adiabat, QUICK_EXPONENT};
use landfall_core::force_area::{ForceArea, Knot};
use landfall_core::possible_bags::{PossibleBags, StatedArea, Unknown};
use landfall_core::supply::Feed;
use landfall_core::touchdown::{Landing, LandingInput, Options, Until, touch_down};
use nalgebra::DMatrix;

use super::small_fit::{Predict, find};
use landfall_plan::plan::PlanError;
use landfall_plan::plan::model::Supply;
use landfall_plan::site::{ForceAreaStated, Site};

/// A rise is timed between these parts of it: neither the first moment at the skin nor the deepest point, where the
/// pressure hardly changes, can be timed in a pressure.
pub const TIMED_SHARES: (f64, f64) = (0.1, 0.8);
/// Error of a rise, over it, and of its time, s (*assumed*).
const RISE_SD_SHARE: f64 = 0.03;
const TIME_SD_S: f64 = 0.01;
/// What the touch-down itself may be off, the same in all landings, over a rise and over a time (*assumed*: a body is no
/// board, and the straight pieces between knots are no skin).
const MODEL_SD: f64 = 0.06;
/// How well the plan's mean speed is known, in standard deviations of a single landing's (*assumed*).
const MEAN_SPEED: f64 = 0.5;
/// Root mean square over which the landings do not go with the plan.
const WORST_RMS: f64 = 2.5;

/// One landing in a recording.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Landed {
    /// When, in the recording, s.
    pub time_s: f64,
    /// Pressure before, Pa.
    pub rest_pa: f64,
    /// Highest pressure over that, Pa.
    pub rise_pa: f64,
    /// From a tenth to eight tenths of the rise, s.
    pub rising_s: f64,
}

/// Speed into the top at which riders come down: mean and standard deviation, m/s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Speed {
    /// Mean.
    pub mean_mps: f64,
    /// Of one landing.
    pub sd_mps: f64,
}

/// What landings tell.
#[derive(Clone, Debug, serde::Serialize)]
pub struct ByLandings {
    /// How many.
    pub landings: usize,
    /// Factors on what was stated, and standard deviations of their logarithms: key, factor, sd before, sd now.
    pub factors: Vec<(&'static str, f64, f64, f64)>,
    /// Distance of rises and times from what the result expects, in their errors.
    pub rms: f64,
    /// Why it is not sure.
    pub doubts: Vec<String>,
}

/// A site's force area as the core has it.
///
/// # Errors
/// What the core refuses.
pub fn stated_area(site: &Site) -> Result<StatedArea, PlanError> {
    Ok(match &site.bag.force_area {
        ForceAreaStated::Assumed { body_m2, growth_m, limit_m2 } => {
            StatedArea::Assumed { body_m2: *body_m2 as f32, growth_m: *growth_m as f32, limit_m2: *limit_m2 as f32 }
        }
        ForceAreaStated::Measured(knots) => {
            let knots: Vec<Knot> = knots.iter().map(|k| Knot { depth_m: k.0 as f32, area_m2: k.1 as f32 }).collect();
            StatedArea::Measured(ForceArea::measured(&knots)?)
        }
    })
}

/// A site's possible bags.
///
/// # Errors
/// What the core refuses.
pub fn possible_bags(site: &Site) -> Result<PossibleBags, PlanError> {
    let unknown = &site.unknown;
    let unknown = Unknown {
        area_body: unknown.area_body as f32,
        area_growth: unknown.area_growth as f32,
        area_limit: unknown.area_limit as f32,
        skin_stretch: unknown.skin_stretch as f32,
        area: unknown.area as f32,
    };
    Ok(PossibleBags::new(stated_area(site)?, site.bag.skin_stretch_per_pa as f32, unknown)?)
}

/// The bag's slope, rad.
#[must_use]
pub fn slope_rad(site: &Site) -> f64 {
    ((site.bag.back_height_m - site.bag.front_height_m) / site.bag.length_m).atan()
}

/// Thickness normal to the top, m, so far behind the front edge.
#[must_use]
pub fn thickness_m(site: &Site, along_m: f64) -> f64 {
    let bag = &site.bag;
    let share = (along_m / bag.length_m).clamp(0.0, 1.0);
    (bag.front_height_m + share * (bag.back_height_m - bag.front_height_m)) * slope_rad(site).cos()
}

/// Who comes down, how fast and on what.
#[derive(Clone, Copy, Debug)]
pub struct Touch {
    /// Pressure before, Pa.
    pub start_pa: f64,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Speed into the top, m/s.
    pub speed_mps: f64,
    /// The force area.
    pub area: ForceArea,
    /// The blowers run.
    pub running: bool,
}

/// Depth, rise of the pressure, and time from a tenth to eight tenths of it, of one touch-down.
#[must_use]
pub fn touch(supply: &Supply, site: &Site, touch: &Touch) -> Option<(f64, f64, f64)> {
    let chamber = supply.chamber.as_ref().ok()?;
    let gas = Adiabat::new(chamber, chamber.at_pressure(touch.start_pa as f32), QUICK_EXPONENT).ok()?;
    let landing = Landing::new(LandingInput {
        mass_kg: touch.mass_kg as f32,
        normal_speed_mps: touch.speed_mps as f32,
        slope_rad: slope_rad(site) as f32,
        skin_loss: site.bag.skin_loss as f32,
        area: touch.area,
        thickness_m: None,
    })
    .ok()?;
    let flows = supply.flows(if touch.running { Feed::Running } else { Feed::Lost });
    let options = Options { until: Until::Deepest, trace_interval_s: 0.005, ..Options::default() };
    let mut trace: Vec<(f64, f64)> = Vec::new();
    let done = touch_down(&gas, &flows, &landing, &options, |point| {
        trace.push((f64::from(point.time_s), f64::from(point.pressure_pa)));
    });
    let rise_pa = f64::from(done.peak_pressure_pa) - touch.start_pa;
    let (_, rising_s) = rise_times(&trace, touch.start_pa)?;
    let depth_m = f64::from(done.depth_m);
    (depth_m.is_finite() && rise_pa.is_finite()).then_some((depth_m, rise_pa, rising_s))
}

/// When the pressure passes a tenth of its rise, and how long it takes from there to eight tenths.
#[must_use]
pub fn rise_times(points: &[(f64, f64)], rest_pa: f64) -> Option<(f64, f64)> {
    let (at, peak) = points.iter().enumerate().max_by(|a, b| a.1.1.total_cmp(&b.1.1))?;
    let before = points.get(..=at)?;
    let passes = |share: f64| {
        let level_pa = rest_pa + share * (peak.1 - rest_pa);
        let below = before.iter().rposition(|p| p.1 < level_pa)?;
        let (a, b) = (before.get(below)?, before.get(below + 1)?);
        Some(a.0 + (b.0 - a.0) * ((level_pa - a.1) / (b.1 - a.1)).clamp(0.0, 1.0))
    };
    let (from_s, to_s) = (passes(TIMED_SHARES.0)?, passes(TIMED_SHARES.1)?);
    Some((from_s, to_s - from_s))
}

/// The site with factors on its force area and stretch: one factor on measured knots, else one on each of the three
/// numbers; the stretch's last.
fn with_factors(site: &Site, logs: &[f64]) -> Option<Site> {
    let mut site = site.clone();
    let (stretch, areas) = logs.split_last()?;
    site.bag.skin_stretch_per_pa = (site.bag.skin_stretch_per_pa * stretch.exp()).min(4e-4);
    match (&mut site.bag.force_area, areas) {
        (ForceAreaStated::Measured(knots), [factor]) => knots.iter_mut().for_each(|knot| knot.1 *= factor.exp()),
        (ForceAreaStated::Assumed { body_m2, growth_m, limit_m2 }, [body, growth, limit]) => {
            *body_m2 *= body.exp();
            *growth_m *= growth.exp();
            *limit_m2 *= limit.exp();
        }
        _ => return None,
    }
    Some(site)
}

/// What the landings tell. `mass_kg` is the mass that lands, `noise_pa` the sensor's.
///
/// None where there is no landing, or the model has no answer for one.
#[must_use]
pub fn by_landings(site: &Site, landed: &[Landed], mass_kg: f64, speed: Speed, noise_pa: f64) -> Option<ByLandings> {
    if landed.is_empty() {
        return None;
    }
    let unknown = &site.unknown;
    let (keys, sds): (Vec<&'static str>, Vec<f64>) = if site.bag.force_area.is_measured() {
        (vec!["bag.area", "bag.skin_stretch"], vec![unknown.area, unknown.skin_stretch])
    } else {
        (
            vec!["bag.area_body", "bag.area_growth", "bag.area_limit", "bag.skin_stretch"],
            vec![unknown.area_body, unknown.area_growth, unknown.area_limit, unknown.skin_stretch],
        )
    };
    let before: Vec<(f64, f64)> = sds.iter().map(|sd| (0.0, sd.max(0.01))).collect();
    let at_speed = |at: &[f64], more_mps: f64| -> Option<Vec<f64>> {
        let site = with_factors(site, at)?;
        let supply = Supply::new(&site).ok()?;
        let area = stated_area(&site).ok()?.area().ok()?;
        let mut out = Vec::new();
        for one in landed {
            let speed_mps = (speed.mean_mps + more_mps).max(0.5);
            let start = Touch { start_pa: one.rest_pa, mass_kg, speed_mps, area, running: true };
            let (_, rise_pa, rising_s) = touch(&supply, &site, &start)?;
            out.extend([rise_pa, rising_s]);
        }
        Some(out)
    };
    let start: Vec<f64> = vec![0.0; before.len()];
    let (faster, slower) = (at_speed(&start, 0.5 * speed.sd_mps)?, at_speed(&start, -0.5 * speed.sd_mps)?);
    let by_speed: Vec<f64> = faster.iter().zip(&slower).map(|(a, b)| a - b).collect();
    let measured: Vec<f64> = landed.iter().flat_map(|one| [one.rise_pa, one.rising_s]).collect();
    let covariance = DMatrix::from_fn(measured.len(), measured.len(), |i, j| {
        let both = by_speed.get(i).copied().unwrap_or(0.0) * by_speed.get(j).copied().unwrap_or(0.0);
        let same_landing = if i / 2 == j / 2 { 1.0 } else { 0.0 };
        let own = match measured.get(i) {
            Some(rise_pa) if i == j && i % 2 == 0 => (RISE_SD_SHARE * rise_pa).hypot(noise_pa).powi(2),
            Some(_) if i == j => TIME_SD_S * TIME_SD_S,
            _ => 0.0,
        };
        let of = |i: usize| measured.get(i).copied().unwrap_or(0.0);
        // Rises among themselves, times among themselves.
        let model = if i % 2 == j % 2 { MODEL_SD * MODEL_SD * of(i) * of(j) } else { 0.0 };
        both * (same_landing + MEAN_SPEED * MEAN_SPEED) + model + own
    });
    let predict: &Predict<'_> = &|at| at_speed(at, 0.0);
    let found = find(&before, &measured, &covariance, predict)?;
    let factors = keys.iter().zip(&found.at).zip(&found.sd).zip(&sds);
    let factors = factors.map(|(((key, at), sd), before)| (*key, at.exp(), *before, *sd)).collect();
    let mut doubts = Vec::new();
    if found.rms > WORST_RMS {
        doubts.push(format!(
            "the {} landings do not go with the plan ({:.1} times their errors): were they of this rider, from the stated start, with all blowers on?",
            landed.len(),
            found.rms
        ));
    }
    Some(ByLandings { landings: landed.len(), factors, rms: found.rms, doubts })
}
