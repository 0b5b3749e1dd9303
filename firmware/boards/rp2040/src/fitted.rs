//! What is fitted to this box and cannot be asked over the bus. Change it to match, and check the
//! reading against a water column before first use: a wrong range here is a wrong alarm.

use landfall_firmware::bridge::Part;

/// Range of the bridge sensor.
pub const BRIDGE: Part = Part::Differential20;
