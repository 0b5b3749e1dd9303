//! What is fitted to this box and cannot be asked over the bus. Change it to match, and check the
//! reading against a water column before first use: a wrong range here is a wrong alarm.

use landfall_firmware::bridge::Part;

/// Range of the bridge sensor.
pub const BRIDGE: Part = Part::Differential20;

/// Address of a second bridge sensor of the same range, should one be expected.
pub const SECOND_BRIDGE: u8 = 0x28;

/// Battery's voltage over the pin's: 100 kΩ above, 22 kΩ below.
pub const BATTERY_DIVIDER: f32 = 122.0 / 22.0;
