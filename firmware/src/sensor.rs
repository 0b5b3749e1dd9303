//! What every gauge sensor looks like to the box, and how a reading can fail.
//!
//! A driver decodes; it does not judge whether the bag is firm. It makes a bounded number of bus
//! transfers per call and never waits: the bus behind it must put a deadline on each transfer.

use embedded_hal::i2c::{Error, ErrorKind, I2c};
use landfall_core::watch::SensorFault;
use landfall_core::watch::parts::SecondKind;
use serde::{Deserialize, Serialize};

/// One gauge reading: the bag's pressure above the outside air.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reading {
    /// Pressure in the bag above the outside air, Pa, as the part gives it (not zeroed).
    pub gauge_pa: f32,
    /// Outside air, where the sensor measures it.
    pub outside: Option<Outside>,
}

/// The outside air, from a barometer.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Outside {
    /// Absolute pressure, Pa.
    pub pressure_pa: f32,
    /// Temperature of the part, °C. It lies above the air's where the sun is on the box.
    pub temperature_c: f32,
}

impl Outside {
    /// Density of dry air, ρ = p / (R·T), kg/m³, with R = 287.05287 J/(kg·K).
    ///
    /// Valid for the barometer's own range, 300–1200 hPa and −40–85 °C; `None` outside it.
    ///
    /// Source: ISO 2533 (gas constant of dry air).
    pub fn density_kgpm3(&self) -> Option<f32> {
        let kelvin = self.temperature_c + 273.15;
        let good = (233.0..=359.0).contains(&kelvin) && (30_000.0..=120_000.0).contains(&self.pressure_pa);
        good.then(|| self.pressure_pa / (287.052_87 * kelvin))
    }
}

/// Why there is no reading this time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Fault {
    /// Nothing at the address answers.
    NoAnswer,
    /// The bus failed: held low, lost arbitration, or past its deadline.
    Bus,
    /// A checksum, or the repeat of a reading, does not agree.
    Corrupt,
    /// The part answers, but it is not the part it should be.
    WrongPart,
    /// The part says itself that it is broken.
    Broken,
    /// Beyond the range that the part is made for.
    OutOfRange,
    /// No new value yet: the part is starting up or still converting.
    NotReady,
}

/// The kinds of sensor that the box knows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Kind {
    /// [`crate::bridge`].
    Bridge,
    /// [`crate::thermal`].
    Thermal,
    /// The pair of [`crate::baro`].
    Barometers,
}

/// A part that gives the bag's gauge pressure.
pub trait GaugeSensor<B> {
    /// One step, called 50 times a second: starts the part, checks it, reads it.
    ///
    /// # Errors
    /// The [`Fault`] that kept it from giving a reading. The next call tries again, and starts the
    /// part afresh after [`RESTART_AFTER`] faults in a row.
    fn step(&mut self, bus: &mut B) -> Result<Reading, Fault>;

    /// What is fitted, once it is known.
    fn kind(&self) -> Option<Kind>;

    /// Highest gauge pressure that the part can tell, Pa; 0 until it is known.
    fn range_pa(&self) -> f32;

    /// The same step for a second part with a tube of its own, which is expected to be a `kind`; called where one is.
    ///
    /// # Errors
    /// As [`GaugeSensor::step`]; [`Fault::WrongPart`] where there can be none.
    fn second(&mut self, bus: &mut B, kind: SecondKind) -> Result<Reading, Fault> {
        let _ = (bus, kind);
        Err(Fault::WrongPart)
    }
}

/// Faults in a row after which a driver starts its part from the beginning (*assumed*: 100 ms).
pub const RESTART_AFTER: u8 = 5;

impl Fault {
    /// What the watch calls it.
    pub const fn for_watch(self) -> SensorFault {
        match self {
            Self::NoAnswer => SensorFault::Nack,
            Self::Bus => SensorFault::BusStuck,
            Self::Corrupt => SensorFault::Crc,
            Self::WrongPart | Self::Broken => SensorFault::Identity,
            Self::OutOfRange => SensorFault::OutOfRange,
            Self::NotReady => SensorFault::NotReady,
        }
    }
}

/// Turns a bus error into a [`Fault`].
pub(crate) fn fault_of<E: Error>(error: E) -> Fault {
    match error.kind() {
        ErrorKind::NoAcknowledge(_) => Fault::NoAnswer,
        _ => Fault::Bus,
    }
}

/// Reads `N` bytes from `address` without a register.
pub(crate) fn read<const N: usize, B: I2c>(bus: &mut B, address: u8) -> Result<[u8; N], Fault> {
    let mut bytes = [0; N];
    bus.read(address, &mut bytes).map_err(fault_of)?;
    Ok(bytes)
}

/// Reads `N` bytes from `register` onwards.
pub(crate) fn read_from<const N: usize, B: I2c>(bus: &mut B, address: u8, register: u8) -> Result<[u8; N], Fault> {
    let mut bytes = [0; N];
    bus.write_read(address, &[register], &mut bytes).map_err(fault_of)?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn density_of_the_standard_atmosphere() {
        // ISO 2533: sea level 101 325 Pa, 15 °C, 1.225 kg/m³; 2000 m 79 501 Pa, 2 °C, 1.006 55 kg/m³.
        let at = |pressure_pa, temperature_c| Outside { pressure_pa, temperature_c }.density_kgpm3().unwrap();
        assert!((at(101_325.0, 15.0) - 1.225).abs() < 2e-5);
        assert!((at(79_501.0, 2.0) - 1.006_55).abs() < 2e-5);
        assert_eq!(Outside { pressure_pa: f32::NAN, temperature_c: 15.0 }.density_kgpm3(), None);
        assert_eq!(Outside { pressure_pa: 101_325.0, temperature_c: 200.0 }.density_kgpm3(), None);
    }
}
