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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::air::Air;
    use crate::touchdown::LandingInput;

    const G: f64 = STANDARD_GRAVITY_MPS2 as f64;

    fn chamber() -> Chamber {
        Chamber::new(&Air::new(0.0, 288.15, None).unwrap(), 150.0, 1_500.0, 3e-5, 0.65).unwrap()
    }

    /// Work of the straight spring by 4,000 strips: p_i + (V − s)/C beyond the slack, times the area.
    fn work_by_strips(area: &ForceArea, from: &GasState, depth_m: f64) -> f64 {
        // C = V0 β + V_i/(n P_i), the stretch counted on the volume at the operating pressure.
        let give = 150.0 * 3e-5 + f64::from(from.volume_m3) / (1.4 * (101_325.0 + f64::from(from.pressure_pa)));
        let strips = 4_000_u16;
        let width = depth_m / f64::from(strips);
        (0..strips)
            .map(|i| {
                let at = ((f64::from(i) + 0.5) * width) as f32;
                let taken = (f64::from(area.volume_m3(at)) - f64::from(from.slack_m3)).max(0.0);
                (f64::from(from.pressure_pa) + taken / give) * f64::from(area.area_m2(at)) * width
            })
            .sum()
    }

    #[test]
    fn the_spring_takes_up_what_its_force_does_on_the_way() {
        let area = ForceArea::assumed(0.5, 6.0, 4.0).unwrap();
        let chamber = chamber();
        for from in [chamber.at_pressure(900.0), chamber.at_content(0.98 * chamber.just_taut_content_m3())] {
            let spring = Spring::new(&area, &chamber, &from);
            for depth_m in [0.4_f32, 1.1, 1.9] {
                let (got, expected) = (f64::from(spring.work_j(depth_m)), work_by_strips(&area, &from, depth_m.into()));
                assert!((got / expected - 1.0).abs() < 1e-4, "{depth_m}: {got} {expected}");
                // The force is the slope of the work.
                let slope = (spring.work_j(depth_m + 0.01) - spring.work_j(depth_m - 0.01)) / 0.02;
                assert!((spring.force_n(depth_m) / slope - 1.0).abs() < 2e-3, "{depth_m}");
                // A body rests where the work is what it brings.
                let speed2 = critical_speed_squared(&spring, depth_m, 90.0, 9.0);
                let brought = 90.0 * (0.5 * f64::from(speed2) + 9.0 * f64::from(depth_m));
                assert!((brought / expected - 1.0).abs() < 1e-4, "{depth_m}: {brought} {expected}");
                if speed2 > 0.0 {
                    let rest_m = spring.rest_m(90.0, speed2.sqrt(), 9.0);
                    assert!((rest_m - depth_m).abs() < 2e-4, "{rest_m} {depth_m}");
                    let load_g = spring.load_g(90.0, speed2.sqrt(), 9.0);
                    assert!((load_g * 90.0 * STANDARD_GRAVITY_MPS2 / spring.force_n(depth_m) - 1.0).abs() < 1e-3);
                }
            }
        }
    }

    #[test]
    fn from_the_stop_pressure_the_landing_is_taken_up_at_the_limit() {
        let area = ForceArea::assumed(0.5, 6.0, 4.0).unwrap();
        let input = LandingInput {
            mass_kg: 105.0,
            normal_speed_mps: 8.0,
            slope_rad: 0.3,
            skin_loss: 0.65,
            area,
            thickness_m: None,
        };
        let chamber = chamber();
        let pa = f64::from(stop_pa(&Landing::new(input).unwrap(), &chamber, 1.6));
        let full = chamber.at_pressure(1_500.0);
        let give = 150.0 * 3e-5 + f64::from(full.volume_m3) / (1.4 * 102_825.0);
        let displaced = f64::from(area.volume_m3(1.6));
        let taken = pa * displaced + 0.5 * displaced * displaced / give;
        let brought = 105.0 * (0.5 * 64.0 + G * 0.3_f64.cos() * 1.6);
        assert!((taken / brought - 1.0).abs() < 1e-5, "{taken} {brought}");
        assert!((f64::from(pull_mps2(0.3)) - G * 0.3_f64.cos()).abs() < 1e-6);
    }
}
