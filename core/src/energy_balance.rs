//! The bag as a sealed spring that is straight in its volume: closed forms to put possible bags in order by.
//!
//! With V_d displaced, the pressure is p_i + (V_d − s)/C over a slack s, C = V0 β + V_i/(n P_i), and the gas takes up
//! p_i V_d + (V_d − s)²/(2 C). Nothing enters or leaves. Good to tell which of two bags is the softer, no more: whatever
//! is reported comes from touch-downs.

use crate::air::STANDARD_GRAVITY_MPS2;
use crate::bag_gas::{Chamber, GasState, QUICK_EXPONENT};
use crate::force_area::ForceArea;
use crate::touchdown::Landing;

/// Deepest that a body is looked for, m.
const DEEPEST_M: f32 = 60.0;

/// A bag that gives way by its volume alone.
pub(crate) struct Spring {
    area: ForceArea,
    pressure_pa: f32,
    slack_m3: f32,
    /// C, m³/Pa.
    give_m3_per_pa: f32,
}

impl Spring {
    pub(crate) fn new(area: &ForceArea, chamber: &Chamber, from: &GasState) -> Self {
        let quick = from.volume_m3 / (QUICK_EXPONENT * (chamber.outside_pa() + from.pressure_pa));
        Self {
            area: *area,
            pressure_pa: from.pressure_pa,
            slack_m3: from.slack_m3,
            give_m3_per_pa: quick + chamber.stretch_m3_per_pa(),
        }
    }

    fn taken_up_m3(&self, depth_m: f32) -> f32 {
        (self.area.volume_m3(depth_m) - self.slack_m3).max(0.0)
    }

    /// Energy that the gas has taken up at a depth, J.
    pub(crate) fn work_j(&self, depth_m: f32) -> f32 {
        let taken_m3 = self.taken_up_m3(depth_m);
        self.pressure_pa * self.area.volume_m3(depth_m) + 0.5 * taken_m3 * taken_m3 / self.give_m3_per_pa
    }

    /// Force on a body at a depth, N.
    fn force_n(&self, depth_m: f32) -> f32 {
        (self.pressure_pa + self.taken_up_m3(depth_m) / self.give_m3_per_pa) * self.area.area_m2(depth_m)
    }

    /// Depth at which a body comes to rest, m.
    fn rest_m(&self, mass_kg: f32, speed_mps: f32, pull_mps2: f32) -> f32 {
        let (mut low, mut high) = (0.0, DEEPEST_M);
        for _ in 0..20u8 {
            let middle = 0.5 * (low + high);
            let brought = mass_kg * (0.5 * speed_mps * speed_mps + pull_mps2 * middle);
            if self.work_j(middle) < brought { low = middle } else { high = middle }
        }
        high
    }

    /// Largest load on a body up to where it rests, g.
    pub(crate) fn load_g(&self, mass_kg: f32, speed_mps: f32, pull_mps2: f32) -> f32 {
        self.force_n(self.rest_m(mass_kg, speed_mps, pull_mps2)) / (mass_kg * STANDARD_GRAVITY_MPS2)
    }
}

/// Pull along the normal of a top, m/s².
pub(crate) fn pull_mps2(slope_rad: f32) -> f32 {
    STANDARD_GRAVITY_MPS2 * libm::cosf(slope_rad)
}

/// The starting pressure at which the gas takes up a landing just at a depth, Pa; may be below zero.
pub(crate) fn stop_pa(landing: &Landing, chamber: &Chamber, limit_m: f32) -> f32 {
    let from = chamber.at_pressure(chamber.operating_pa());
    let spring = Spring::new(&landing.area(), chamber, &from);
    let (speed, pull_mps2) = (landing.normal_speed_mps(), pull_mps2(landing.slope_rad()));
    let brought = landing.mass_kg() * (0.5 * speed * speed + pull_mps2 * limit_m);
    let displaced_m3 = landing.area().volume_m3(limit_m);
    brought / displaced_m3 - 0.5 * displaced_m3 / spring.give_m3_per_pa
}

/// The square of the speed that the gas takes up just at a depth, m²/s²; below zero where the weight alone is too much.
pub(crate) fn critical_speed_squared(spring: &Spring, depth_m: f32, mass_kg: f32, pull_mps2: f32) -> f32 {
    2.0 * (spring.work_j(depth_m) / mass_kg - pull_mps2 * depth_m)
}
