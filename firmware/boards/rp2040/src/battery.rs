//! The battery's voltage at GP26, through a divider: a conversion is begun at one step and read at the next, so nothing waits.

use crate::fitted::BATTERY_DIVIDER;
use crate::pins;
use rp2040_pac as pac;

/// Volts a count at the pin: 3.3 V of 4096.
const VOLTS: f32 = 3.3 / 4096.0;

/// The converter.
pub struct Battery {
    block: pac::ADC,
    begun: bool,
}

impl Battery {
    /// Switches it on; it must be out of reset, with its clock.
    pub fn new(block: pac::ADC) -> Self {
        pins::to_converter(26);
        block.cs().write(|w| w.en().set_bit());
        Self { block, begun: false }
    }

    /// The voltage of the conversion that was begun last, V, and begins the next.
    pub fn volts(&mut self) -> Option<f32> {
        let ready = self.block.cs().read().ready().bit_is_set();
        let counts = self.block.result().read().result().bits();
        let volts = (ready && self.begun).then(|| f32::from(counts) * (VOLTS * BATTERY_DIVIDER));
        if ready {
            self.block.cs().write(|w| w.en().set_bit().start_once().set_bit());
            self.begun = true;
        }
        volts
    }
}
