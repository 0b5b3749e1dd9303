//! A bag over time: its gas with blowers, openings and leaks, and the landings on it, by the core's gas model.
//!
//! Between landings the gas changes slowly (isothermal, 20 ms steps of the balance of flows); a landing is the core's
//! touch-down from the moment's state, followed until the body is back at the skin or 3 s have passed.

use landfall_core::bag_gas::{Adiabat, Chamber, QUICK_EXPONENT};
use landfall_core::force_area::ForceArea;
use landfall_core::supply::Feed;
use landfall_core::touchdown::{Landing, LandingInput, Options, touch_down};

use landfall_plan::plan::PlanError;
use landfall_plan::plan::known::stated_area;
use landfall_plan::plan::model::Supply;
use landfall_plan::site::Site;

/// Time between two steps, s.
pub const STEP_S: f64 = 0.02;
/// Discharge coefficient of a scripted leak: a sharp-edged hole (handbook value, from memory).
const HOLE_COEFFICIENT: f64 = 0.6;

/// One bag.
#[derive(Debug)]
pub struct SimBag {
    supply: Supply,
    chamber: Chamber,
    skin_loss: f32,
    area: ForceArea,
    slope_rad: f32,
    /// Blowers run.
    pub blowing: bool,
    /// A hole, m².
    pub hole_m2: f64,
    /// Gas missing from the operating content, m³.
    missing_m3: f64,
    /// Pressures of the landing under way, one a step, backwards, and the gas it takes in all.
    landing: Option<(Vec<f32>, f64)>,
}

impl SimBag {
    /// The site's bag, empty or at the operating pressure, blowers off.
    ///
    /// # Errors
    /// [`PlanError`] for what the models refuse.
    pub fn new(site: &Site, full: bool) -> Result<Self, PlanError> {
        let supply = Supply::new(site)?;
        let chamber = supply.chamber?;
        let bag = &site.bag;
        let missing_m3 = if full { 0.0 } else { f64::from(chamber.operating_content_m3()) };
        Ok(Self {
            skin_loss: bag.skin_loss as f32,
            area: stated_area(site)?.area()?,
            slope_rad: ((bag.back_height_m - bag.front_height_m) / bag.length_m).atan() as f32,
            supply,
            chamber,
            blowing: full,
            hole_m2: 0.0,
            missing_m3,
            landing: None,
        })
    }

    /// Its operating pressure, Pa.
    pub fn operating_pa(&self) -> f64 {
        f64::from(self.chamber.operating_pa())
    }

    fn resting_pa(&self) -> f32 {
        let content_m3 = (f64::from(self.chamber.operating_content_m3()) - self.missing_m3) as f32;
        let state = self.chamber.at_content(content_m3);
        // A bag with hardly any gas lies flat: nothing carries the skin's weight.
        if state.is_taut() || content_m3 > 0.02 * self.chamber.operating_content_m3() { state.pressure_pa } else { 0.0 }
    }

    /// Gauge pressure now, Pa.
    pub fn pressure_pa(&self) -> f64 {
        match &self.landing {
            Some((pressures, _)) => f64::from(pressures.last().copied().unwrap_or_else(|| self.resting_pa())),
            None => f64::from(self.resting_pa()),
        }
    }

    /// Somebody is in the bag.
    pub const fn occupied(&self) -> bool {
        self.landing.is_some()
    }

    const fn feed(&self) -> Feed {
        if self.blowing { Feed::Running } else { Feed::Lost }
    }

    /// A body of `mass_kg` lands with `speed_mps` into the top; nothing on a bag that is occupied or has no gas to
    /// speak of.
    pub fn land(&mut self, mass_kg: f64, speed_mps: f64) {
        let content_m3 = (f64::from(self.chamber.operating_content_m3()) - self.missing_m3) as f32;
        let landing = Landing::new(LandingInput {
            mass_kg: mass_kg as f32,
            normal_speed_mps: speed_mps as f32,
            slope_rad: self.slope_rad,
            skin_loss: self.skin_loss,
            area: self.area,
            thickness_m: None,
        });
        let (Ok(gas), Ok(landing), false) = (
            Adiabat::new(&self.chamber, self.chamber.at_content(content_m3), QUICK_EXPONENT),
            landing,
            self.occupied(),
        ) else {
            return;
        };
        let options = Options { trace_interval_s: STEP_S as f32, ..Options::default() };
        let mut points: Vec<(f32, f32)> = Vec::new();
        let flows = self.supply.flows(self.feed());
        let done = touch_down(&gas, &flows, &landing, &options, |point| points.push((point.time_s, point.pressure_pa)));
        let steps = (f64::from(done.end_s) / STEP_S).ceil() as usize;
        let mut after = 0;
        let mut pressures: Vec<f32> = (0..=steps)
            .map(|step| {
                let time_s = (step as f64 * STEP_S) as f32;
                while after < points.len() && points[after].0 < time_s {
                    after += 1;
                }
                let before = after.saturating_sub(1);
                match (points.get(before), points.get(after)) {
                    (Some(a), Some(b)) if b.0 > a.0 => {
                        a.1 + (b.1 - a.1) * ((time_s - a.0) / (b.0 - a.0)).clamp(0.0, 1.0)
                    }
                    (_, Some(b)) => b.1,
                    (Some(a), None) => a.1,
                    (None, None) => self.resting_pa(),
                }
            })
            .collect();
        pressures.reverse();
        self.landing = Some((pressures, f64::from(done.gas_lost_in_all_m3)));
    }

    /// One step of 20 ms.
    pub fn step(&mut self) {
        if let Some((pressures, lost_m3)) = &mut self.landing {
            pressures.pop();
            if pressures.is_empty() {
                self.missing_m3 += *lost_m3;
                self.landing = None;
            }
            return;
        }
        let gauge_pa = self.resting_pa();
        let out = f64::from(self.supply.flows(self.feed()).net_outflow_m3ps(gauge_pa));
        let density = f64::from(self.supply.air.density_kgpm3);
        let hole = HOLE_COEFFICIENT * self.hole_m2 * (2.0 * f64::from(gauge_pa.max(0.0)) / density).sqrt();
        let full_m3 = f64::from(self.chamber.operating_content_m3());
        self.missing_m3 = (self.missing_m3 + (out + hole) * STEP_S).min(full_m3);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use landfall_core::slow_gas::SlowGas;
    use landfall_plan::site::demo;

    fn seconds(bag: &mut SimBag, until: impl Fn(f64) -> bool) -> f64 {
        (0..100_000)
            .find(|_| {
                bag.step();
                until(bag.pressure_pa())
            })
            .map(|n| f64::from(n + 1) * STEP_S)
            .unwrap()
    }

    #[test]
    fn fills_and_falls_in_the_planners_times() {
        let site = demo();
        let mut bag = SimBag::new(&site, false).unwrap();
        let (chamber, supply) = (bag.chamber, Supply::new(&site).unwrap());
        let slow = SlowGas { chamber: &chamber, flows: supply.flows(Feed::Running) };
        let fill_s = f64::from(slow.fill_time_s().unwrap());
        let goal_pa = 0.95 * bag.operating_pa();
        bag.blowing = true;
        // Two steps, and the flat bag's first percents.
        assert!((seconds(&mut bag, |pa| pa >= goal_pa) - fill_s).abs() < 0.02 * fill_s);
        let mut bag = SimBag::new(&site, true).unwrap();
        let half_pa = 0.5 * bag.operating_pa();
        bag.blowing = false;
        let fall_s = f64::from(slow.fall_time_s(bag.operating_pa() as f32, half_pa as f32).unwrap());
        assert!((seconds(&mut bag, |pa| pa <= half_pa) - fall_s).abs() < 0.02 * fall_s + 0.04);
    }

    #[test]
    fn a_landing_peaks_as_the_core_says_and_leaves_a_dip() {
        let site = demo();
        let mut bag = SimBag::new(&site, true).unwrap();
        let rest_pa = bag.pressure_pa();
        bag.land(100.0, 6.0);
        let (mut peak_pa, mut steps) = (0.0_f64, 0);
        while bag.occupied() {
            peak_pa = peak_pa.max(bag.pressure_pa());
            bag.step();
            steps += 1;
        }
        assert!(peak_pa > rest_pa + 100.0 && steps > 10 && steps < 160, "{peak_pa} {steps}");
        assert!(bag.pressure_pa() < rest_pa);
        assert!(seconds(&mut bag, |pa| pa >= 0.99 * rest_pa) < 60.0);
    }
}
