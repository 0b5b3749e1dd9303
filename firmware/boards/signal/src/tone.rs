//! A square wave on GP13, from the sixth pulse-width block, which counts microseconds.

use landfall_firmware::top::Tone;
use rp2040_pac as pac;

/// The buzzer.
pub struct Buzzer {
    block: pac::PWM,
    hz: Option<u16>,
}

impl Buzzer {
    /// Silent.
    pub fn new(block: pac::PWM, resets: &pac::RESETS) -> Self {
        resets.reset().modify(|_, w| w.pwm().clear_bit());
        let _ = crate::clocks::wait_for(|| resets.reset_done().read().pwm().bit_is_set());
        // SAFETY: 125 MHz over 125; any value is valid.
        block.ch(6).div().write(|w| unsafe { w.int().bits(125) });
        let buzzer = Self { block, hz: None };
        buzzer.high_for(0);
        buzzer.block.ch(6).csr().write(|w| w.en().set_bit());
        crate::pins::to_pwm(13);
        buzzer
    }

    fn high_for(&self, us: u16) {
        // SAFETY: any value is valid.
        self.block.ch(6).cc().write(|w| unsafe { w.b().bits(us) });
    }
}

impl Tone for Buzzer {
    fn sound(&mut self, hz: Option<u16>) {
        if hz == self.hz {
            return;
        }
        self.hz = hz;
        match hz.and_then(|hz| 1_000_000_u32.checked_div(u32::from(hz))) {
            None => self.high_for(0),
            Some(us) => {
                let us = us.min(0xFFFF) as u16;
                // SAFETY: any value is valid.
                self.block.ch(6).top().write(|w| unsafe { w.bits(u32::from(us.saturating_sub(1))) });
                self.high_for(us / 2);
            }
        }
    }
}
