//! What leaves the bag: vents, relief flaps and leaks.

use crate::air::{Air, GAMMA};
use crate::error::{InputError, within};

/// How the flow through an opening follows from the pressure behind it.
///
/// The flow is counted as volume at outside pressure and temperature, the unit of the bag's content.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Discharge {
    /// Q = C_d A √(2p/ρ), ρ the outside density. Within 0.2 % of isentropic flow up to 5 kPa gauge.
    LowPressure {
        /// C_d.
        coefficient: f32,
    },
    /// Isentropic flow, choked above the critical pressure ratio, with a constant C_d, of gas that was at
    /// outside pressure and temperature before it was compressed.
    Isentropic {
        /// C_d.
        coefficient: f32,
    },
    /// The same with C_d = 0.9 − 0.3/P, P the ratio of absolute to outside pressure, frozen at its value at
    /// the critical ratio above that. Source: ARC Current Paper 751.
    IsentropicRising,
}

/// The openings as they are stated.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct OpeningsInput {
    /// Vents that are always open, m².
    pub vent_area_m2: f32,
    /// Relief flaps when fully open, m².
    pub relief_area_m2: f32,
    /// Gauge pressure at which the flaps begin to open, Pa; not used where their area is 0.
    pub relief_opens_pa: f32,
    /// Gauge pressure at which they are fully open, Pa.
    pub relief_full_pa: f32,
    /// Leak C_l, m³/s at 1 Pa to the power of the exponent.
    pub leak_coefficient: f32,
    /// Leak exponent e.
    pub leak_exponent: f32,
    /// Flow law of vents, relief and backflow.
    pub discharge: Discharge,
}

impl Default for OpeningsInput {
    /// Nothing open; C_d 0.6 at low pressure, leak exponent 0.6.
    fn default() -> Self {
        Self {
            vent_area_m2: 0.0,
            relief_area_m2: 0.0,
            relief_opens_pa: 0.0,
            relief_full_pa: 0.0,
            leak_coefficient: 0.0,
            leak_exponent: 0.6,
            discharge: Discharge::LowPressure { coefficient: 0.6 },
        }
    }
}

/// Vents, relief flaps and leak, ready to compute with.
///
/// Q_out = q(p) [A_vent + A_relief(p)] + C_l p^e, q the flow per area of [`Discharge`]; the relief's open area
/// grows linearly from 0 at `relief_opens` to all of it at `relief_full`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Openings {
    input: OpeningsInput,
    outside_pa: f32,
    /// √(2/ρ) times C_d at low pressure; √(7 P_a/ρ) else.
    speed_factor: f32,
    relief_m2_per_pa: f32,
}

/// Critical pressure ratio of air, ((γ+1)/2)^(γ/(γ−1)).
const CRITICAL_RATIO: f32 = 1.892_929_2;
/// (2/(γ+1))^(1/(γ−1)) √((γ−1)/(γ+1)), the choked flow over √(2γ/(γ−1) · P_a/ρ) at pressure ratio 1.
const CHOKED_FACTOR: f32 = 0.258_804_16;

impl Openings {
    /// Checks the openings and prepares them for the air outside.
    ///
    /// Valid: areas 0 to 50 m², pressures 0 to 20 kPa, C_d 0.1 to 1, leak coefficient 0 to 10, exponent 0.5 to 1
    /// (the range of leakage measurements of buildings and enclosures, NISTIR 6921).
    ///
    /// # Errors
    /// [`InputError::OutOfRange`], or [`InputError::Order`] where there are flaps and `relief_opens` is not below
    /// `relief_full`.
    pub fn new(input: OpeningsInput, air: &Air) -> Result<Self, InputError> {
        within("bag.vent_area_m2", input.vent_area_m2, 0.0, 50.0)?;
        within("bag.relief_area_m2", input.relief_area_m2, 0.0, 50.0)?;
        within("bag.leak_coefficient", input.leak_coefficient, 0.0, 10.0)?;
        within("bag.leak_exponent", input.leak_exponent, 0.5, 1.0)?;
        within("air.density_kgpm3", air.density_kgpm3, 0.1, 10.0)?;
        within("air.pressure_pa", air.pressure_pa, 10_000.0, 200_000.0)?;
        if let Discharge::LowPressure { coefficient } | Discharge::Isentropic { coefficient } = input.discharge {
            within("bag.vent_coefficient", coefficient, 0.1, 1.0)?;
        }
        let mut relief_m2_per_pa = 0.0;
        if input.relief_area_m2 > 0.0 {
            let opens_pa = within("bag.relief_opens_pa", input.relief_opens_pa, 0.0, 20_000.0)?;
            let full_pa = within("bag.relief_full_pa", input.relief_full_pa, 0.0, 20_000.0)?;
            if full_pa - opens_pa < 1.0 {
                return Err(InputError::Order {
                    smaller: "bag.relief_opens_pa",
                    smaller_got: opens_pa,
                    larger: "bag.relief_full_pa",
                    larger_got: full_pa,
                });
            }
            relief_m2_per_pa = input.relief_area_m2 / (full_pa - opens_pa);
        }
        let speed_factor = match input.discharge {
            Discharge::LowPressure { coefficient } => coefficient * libm::sqrtf(2.0 / air.density_kgpm3),
            _ => libm::sqrtf(2.0 * GAMMA / (GAMMA - 1.0) * air.pressure_pa / air.density_kgpm3),
        };
        Ok(Self { input, outside_pa: air.pressure_pa, speed_factor, relief_m2_per_pa })
    }

    /// What was stated.
    #[must_use]
    pub const fn input(&self) -> &OpeningsInput {
        &self.input
    }

    /// Whether nothing is ever open: then the blowers sit at their shut-off pressure and the bag keeps its gas.
    #[must_use]
    pub fn none_open(&self) -> bool {
        self.input.vent_area_m2 == 0.0 && self.input.relief_area_m2 == 0.0 && self.input.leak_coefficient == 0.0
    }

    /// Open area of vents and flaps at a gauge pressure, m².
    #[must_use]
    pub fn open_area_m2(&self, gauge_pa: f32) -> f32 {
        let relief_m2 = if self.relief_m2_per_pa > 0.0 {
            ((gauge_pa - self.input.relief_opens_pa) * self.relief_m2_per_pa).max(0.0).min(self.input.relief_area_m2)
        } else {
            0.0
        };
        self.input.vent_area_m2 + relief_m2
    }

    /// Flow through one square metre of opening at a gauge pressure, m/s; none where the bag is not above outside.
    #[must_use]
    pub fn flow_per_area_mps(&self, gauge_pa: f32) -> f32 {
        if gauge_pa <= 0.0 {
            return 0.0;
        }
        match self.input.discharge {
            Discharge::LowPressure { .. } => self.speed_factor * libm::sqrtf(gauge_pa),
            Discharge::Isentropic { coefficient } => coefficient * self.isentropic_mps(gauge_pa),
            Discharge::IsentropicRising => {
                let ratio = (1.0 + gauge_pa / self.outside_pa).min(CRITICAL_RATIO);
                (0.9 - 0.3 / ratio) * self.isentropic_mps(gauge_pa)
            }
        }
    }

    /// √(2γ/(γ−1) · P_a/ρ · (P^((γ−1)/γ) − 1)), or the choked flow P^((γ+1)/2γ) times a constant.
    fn isentropic_mps(&self, gauge_pa: f32) -> f32 {
        let log_ratio = libm::log1pf(gauge_pa / self.outside_pa);
        if 1.0 + gauge_pa / self.outside_pa > CRITICAL_RATIO {
            self.speed_factor * CHOKED_FACTOR * libm::expf((GAMMA + 1.0) / (2.0 * GAMMA) * log_ratio)
        } else {
            self.speed_factor * libm::sqrtf(libm::expm1f((GAMMA - 1.0) / GAMMA * log_ratio))
        }
    }

    /// Flow out of the bag at a gauge pressure, m³/s of outside air, with `extra_area_m2` open besides (backflow
    /// through blowers that stand still).
    #[must_use]
    pub fn outflow_m3ps(&self, gauge_pa: f32, extra_area_m2: f32) -> f32 {
        if gauge_pa <= 0.0 {
            return 0.0;
        }
        let area_m2 = self.open_area_m2(gauge_pa) + extra_area_m2;
        let through_m3ps = if area_m2 > 0.0 { area_m2 * self.flow_per_area_mps(gauge_pa) } else { 0.0 };
        through_m3ps + self.leak_m3ps(gauge_pa)
    }

    /// C_l p^e, m³/s.
    fn leak_m3ps(&self, gauge_pa: f32) -> f32 {
        let OpeningsInput { leak_coefficient, leak_exponent, .. } = self.input;
        if leak_coefficient == 0.0 {
            0.0
        } else if leak_exponent == 0.5 {
            leak_coefficient * libm::sqrtf(gauge_pa)
        } else {
            leak_coefficient * libm::expf(leak_exponent * libm::logf(gauge_pa))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sea_level() -> Air {
        Air::new(0.0, 288.15, None).unwrap()
    }

    #[test]
    fn relief_area_grows_linearly_between_its_two_pressures() {
        let input = OpeningsInput {
            relief_area_m2: 0.8,
            relief_opens_pa: 2_000.0,
            relief_full_pa: 3_000.0,
            ..OpeningsInput::default()
        };
        let openings = Openings::new(input, &sea_level()).unwrap();
        for (gauge_pa, open_m2) in [(1_999.0, 0.0), (2_000.0, 0.0), (2_250.0, 0.2), (3_000.0, 0.8), (9_000.0, 0.8)] {
            assert!((openings.open_area_m2(gauge_pa) - open_m2).abs() < 1e-6, "{gauge_pa}");
        }
    }

    #[test]
    fn the_choked_branch_meets_the_other_at_the_critical_ratio() {
        let input = OpeningsInput {
            vent_area_m2: 1.0,
            discharge: Discharge::Isentropic { coefficient: 1.0 },
            ..OpeningsInput::default()
        };
        let air = sea_level();
        let openings = Openings::new(input, &air).unwrap();
        let critical_pa = air.pressure_pa * (CRITICAL_RATIO - 1.0);
        let below = openings.flow_per_area_mps(critical_pa * 0.9999);
        let above = openings.flow_per_area_mps(critical_pa * 1.0001);
        assert!((below / above - 1.0).abs() < 2e-4, "{below} {above}");
    }

    #[test]
    fn bad_openings_are_refused() {
        let air = sea_level();
        let bad = [
            OpeningsInput { vent_area_m2: -0.1, ..OpeningsInput::default() },
            OpeningsInput { leak_exponent: f32::NAN, ..OpeningsInput::default() },
            OpeningsInput {
                relief_area_m2: 0.1,
                relief_opens_pa: 900.0,
                relief_full_pa: 900.0,
                ..OpeningsInput::default()
            },
            OpeningsInput { discharge: Discharge::LowPressure { coefficient: 0.0 }, ..OpeningsInput::default() },
        ];
        for input in bad {
            assert!(Openings::new(input, &air).is_err(), "{input:?}");
        }
    }

    #[test]
    fn nothing_flows_in_from_outside() {
        let input = OpeningsInput { vent_area_m2: 1.0, leak_coefficient: 0.1, ..OpeningsInput::default() };
        let openings = Openings::new(input, &sea_level()).unwrap();
        assert_eq!(openings.outflow_m3ps(-5.0, 0.1), 0.0);
        assert_eq!(openings.outflow_m3ps(0.0, 0.0), 0.0);
        assert!(!openings.none_open());
    }
}
