//! Outside air: pressure at an altitude, density, and the standard gravity.

use crate::error::{InputError, within};

/// Standard gravity, m/s².
///
/// Source: ISO 2533 (the same value in every standard atmosphere).
pub const STANDARD_GRAVITY_MPS2: f32 = 9.80665;

/// Pressure of the standard atmosphere at sea level, Pa (ISO 2533).
pub const SEA_LEVEL_PA: f32 = 101_325.0;

/// Specific gas constant of dry air, J/(kg K) (ISO 2533).
pub const DRY_AIR_J_PER_KG_K: f32 = 287.05287;

/// Ratio of the specific heats of air, γ.
pub const GAMMA: f32 = 1.4;

/// Density at which fan makers state their curves, kg/m³ (the trade's standard air).
pub const FAN_STANDARD_DENSITY_KGPM3: f32 = 1.2;

/// Standard pressure at a geopotential altitude in the troposphere, Pa.
///
/// p = 101325 (1 − 0.0065 h / 288.15)^5.255876
///
/// `altitude_m` in metres above sea level. The height is geopotential: at 2,000 m a geometric height gives
/// 0.008 % more. Outside −500 m to 11,000 m the formula does not hold; [`Air::new`] refuses such a height,
/// this function takes it to the nearer end.
///
/// Source: ISO 2533.
#[must_use]
pub fn standard_pressure_pa(altitude_m: f32) -> f32 {
    let height_m = altitude_m.clamp(-500.0, 11_000.0);
    SEA_LEVEL_PA * libm::expf(5.255_876 * libm::log1pf(-0.0065 / 288.15 * height_m))
}

/// The air outside the bag.
///
/// ρ = p / (287.05287 T), dry air (damp air is up to 1 % lighter).
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Air {
    /// Absolute pressure, Pa.
    pub pressure_pa: f32,
    /// Temperature, K.
    pub temperature_k: f32,
    /// Density, kg/m³.
    pub density_kgpm3: f32,
}

impl Air {
    /// Air at an altitude, or at a measured station pressure, which then replaces the altitude's.
    ///
    /// Units: m, K, Pa. Valid: −500 to 6,000 m, 230 to 330 K, 40 to 110 kPa.
    ///
    /// # Errors
    /// [`InputError::OutOfRange`] for a value outside these.
    ///
    /// ```
    /// # use landfall_core::air::Air;
    /// let air = Air::new(0.0, 288.15, None)?;
    /// assert!((air.density_kgpm3 - 1.225).abs() < 1e-4);
    /// # Ok::<(), landfall_core::InputError>(())
    /// ```
    pub fn new(altitude_m: f32, temperature_k: f32, station_pressure_pa: Option<f32>) -> Result<Self, InputError> {
        let altitude_m = within("site.altitude_m", altitude_m, -500.0, 6_000.0)?;
        let temperature_k = within("site.air_temperature_k", temperature_k, 230.0, 330.0)?;
        let pressure_pa = match station_pressure_pa {
            Some(measured_pa) => within("site.air_pressure_pa", measured_pa, 40_000.0, 110_000.0)?,
            None => standard_pressure_pa(altitude_m),
        };
        let density_kgpm3 = pressure_pa / (DRY_AIR_J_PER_KG_K * temperature_k);
        Ok(Self { pressure_pa, temperature_k, density_kgpm3 })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_measured_pressure_replaces_the_altitude() {
        let air = Air::new(3_000.0, 288.15, Some(SEA_LEVEL_PA)).unwrap();
        assert_eq!(air.pressure_pa, SEA_LEVEL_PA);
        assert!((air.density_kgpm3 - 1.225).abs() < 1e-5);
    }

    #[test]
    fn what_is_no_number_or_out_of_range_is_refused() {
        assert!(Air::new(f32::NAN, 288.0, None).is_err());
        assert!(Air::new(0.0, f32::INFINITY, None).is_err());
        assert!(Air::new(0.0, 15.0, None).is_err());
        assert!(Air::new(0.0, 288.0, Some(1_013.25)).is_err());
    }
}
