//! The sensor's calibration: read at the start, told when asked, stored with the button held.

use super::{App, Request};
use crate::board::Watchdog;
use crate::calibration::Packed;
use crate::link::{FromBox, Noted, Refusal};
use crate::sensor::GaugeSensor;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::NorFlash;

impl<S, B, P, I, F, L, W> App<S, B, P, I, F, L, W>
where
    S: GaugeSensor<B>,
    P: OutputPin,
    I: InputPin,
    F: NorFlash,
    L: Read + ReadReady + Write + WriteReady,
    W: Watchdog,
{
    /// What lies in flash.
    #[inline(never)]
    pub(super) fn held_calibration(&mut self) -> Packed {
        self.store.beside().map_or(Packed::NONE, |record| Packed::of(record.payload()))
    }

    /// The same; from now on its span counts.
    pub(super) fn read_calibration(&mut self) -> Packed {
        let held = self.held_calibration();
        self.span = held.span();
        held
    }

    #[inline(never)]
    pub(super) fn hear_calibration(&mut self, wanted: &Packed) {
        let refusal = if !wanted.is_good() {
            Refusal::Impossible
        } else if !self.button_held() {
            Refusal::Button
        } else {
            self.button_fresh = false;
            self.request = Some(Request::Calibrate(*wanted));
            return;
        };
        self.reply(&FromBox::Refused(refusal));
    }

    /// False if the flash did not take it.
    pub(super) fn store_calibration(&mut self, wanted: &Packed) -> bool {
        self.store.save_beside(&wanted.0).is_ok() && self.read_calibration() == *wanted
    }

    /// Tells and notes what was stored.
    pub(super) fn calibrated(&mut self, held: &Packed) {
        self.note(Noted::Calibrated(held.span()));
        self.say(&FromBox::Calibration(*held));
    }
}
