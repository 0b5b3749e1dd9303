//! What may be fitted to a box beside one sensor, the supply's sense and the button, and what these parts tell at a step.
//!
//! Each is left out unless the settings name it; a box without any of them does what it always did.

use super::event::{GaugePa, SensorFault};
use super::selftest::SelfTest;
use crate::error::{InputError, within};

/// Most blowers that are sensed one by one.
pub const BLOWERS: u8 = 4;

/// What is fitted beside the necessary.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Parts {
    /// The permit's output is a train of pulses for a charge pump or a monostable, so that an output that is stuck and a
    /// program that stands still let the relay go.
    pub permit_pulses: bool,
    /// The permit's loop is read back; then this long after a command it must have followed, s. 0.05 s to 1 s.
    pub readback_s: Option<f32>,
    /// A second sensor with a tube of its own.
    pub second: Option<SecondSensor>,
    /// The box's battery is measured.
    pub battery: Option<BatteryPart>,
    /// How many blowers are sensed one by one: 0 (none) to [`BLOWERS`].
    pub blowers: u8,
}

/// Which part the second sensor is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum SecondKind {
    /// A bridge at another address than the first.
    Bridge,
    /// The pair of barometers.
    Barometers,
}

/// The second sensor.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SecondSensor {
    /// What it is.
    pub kind: SecondKind,
    /// Largest error of its filtered reading, zeroed, Pa. 0.1 Pa to 1 kPa.
    pub error_pa: f32,
    /// Largest standard deviation of its own readings at a steady pressure, Pa. 1 mPa to 20 Pa.
    pub noise_pa: f32,
    /// Largest difference of zeros between it and the first that is believed, Pa. 0.1 Pa to 1 kPa.
    pub zero_limit_pa: f32,
}

/// The battery that the box runs on.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BatteryPart {
    /// Its voltage when it is full, V. 2 V to 18 V.
    pub full_v: f32,
    /// The voltage at which the box may go down, V. At least 1 V, at most 0.98 of `full_v`.
    pub empty_v: f32,
    /// How long a full one lasts, s. Half an hour to 1000 h.
    pub lasts_s: f32,
    /// How long a session lasts, s: with less left none begins. A quarter of an hour to `lasts_s`.
    pub session_s: f32,
}

impl Parts {
    /// Nothing.
    pub const NONE: Self = Self { permit_pulses: false, readback_s: None, second: None, battery: None, blowers: 0 };

    /// Takes parts whose values are in range.
    ///
    /// # Errors
    /// The first [`InputError`] found.
    pub fn validate(&self) -> Result<(), InputError> {
        if let Some(readback_s) = self.readback_s {
            within("watch.parts.readback_s", readback_s, 0.05, 1.0)?;
        }
        if let Some(second) = &self.second {
            within("watch.parts.second.error_pa", second.error_pa, 0.1, 1000.0)?;
            within("watch.parts.second.noise_pa", second.noise_pa, 0.001, 20.0)?;
            within("watch.parts.second.zero_limit_pa", second.zero_limit_pa, 0.1, 1000.0)?;
        }
        if let Some(battery) = &self.battery {
            within("watch.parts.battery.full_v", battery.full_v, 2.0, 18.0)?;
            within("watch.parts.battery.empty_v", battery.empty_v, 1.0, 0.98 * battery.full_v)?;
            within("watch.parts.battery.lasts_s", battery.lasts_s, 1800.0, 3.6e6)?;
            within("watch.parts.battery.session_s", battery.session_s, 900.0, battery.lasts_s)?;
        }
        within("watch.parts.blowers", f32::from(self.blowers), 0.0, f32::from(BLOWERS))?;
        Ok(())
    }
}

/// What the parts tell at one step.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Beside {
    /// The permit's loop is closed, as it is read back.
    pub contact: bool,
    /// The second sensor's reading before zeroing, or why there is none.
    pub second: Option<Result<GaugePa, SensorFault>>,
    /// The battery's voltage, V.
    pub battery_v: Option<f32>,
    /// Which blowers run, the first in the lowest bit. A broken sense wire must read as one that stands still.
    pub running: u8,
    /// What the tests at the start have found so far.
    pub self_test: SelfTest,
}

impl Beside {
    /// Nothing is fitted.
    pub const NOTHING: Self =
        Self { contact: false, second: None, battery_v: None, running: 0, self_test: SelfTest::PENDING };
}

/// What is known of the parts, for display.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BesideSeen {
    /// The permit's loop is closed; none where it is not read back.
    pub contact: Option<bool>,
    /// The second sensor's gauge pressure, Pa.
    pub second_pa: Option<f32>,
    /// The battery's voltage, V.
    pub battery_v: Option<f32>,
    /// How long it lasts at least, s, by the estimate of [`super::battery`].
    pub left_s: Option<f32>,
    /// Blowers that stand still, the first in the lowest bit.
    pub still: u8,
    /// What the tests at the start have found so far.
    pub self_test: SelfTest,
}
