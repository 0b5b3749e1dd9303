//! The parts beside: read once a step where the settings name them, and told once a second.

use super::App;
use crate::board::Watchdog;
use crate::link::FromBox;
use crate::sensor::{GaugeSensor, Outside};
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::NorFlash;
use landfall_core::watch::{Beside, BesideSeen, GaugePa, Parts, SelfTest};

/// Steps between two messages on the parts: 1 s.
const TOLD_STEPS: u32 = 50;

impl<S, B, P, I, F, L, W> App<S, B, P, I, F, L, W>
where
    S: GaugeSensor<B>,
    P: OutputPin,
    I: InputPin,
    F: NorFlash,
    L: Read + ReadReady + Write + WriteReady,
    W: Watchdog,
{
    /// Takes the battery's voltage, V, as the board has just measured it, for one step; none: it cannot.
    pub fn battery(&mut self, volts: Option<f32>) {
        self.beside.battery_v = volts;
    }

    /// Takes what the board's tests of itself have found so far.
    pub fn self_tested(&mut self, found: SelfTest) {
        self.beside.self_test = found;
    }

    /// What the settings name; nothing without settings.
    pub(super) fn parts(&self) -> &Parts {
        self.settings.as_ref().map_or(&Parts::NONE, |settings| &settings.parts)
    }

    /// Reads them. An input that cannot be read is taken as the worse: a blower that stands still, and a loop that is not as
    /// the permit was told. Gives the outside air, where the second sensor measures it.
    #[inline(never)]
    pub(super) fn read_beside(&mut self) -> (Beside, Option<Outside>) {
        let parts = *self.parts();
        let mut outside = None;
        if parts.readback_s.is_some() {
            let permit = self.status.permit;
            let contact = self.inputs.contact.as_mut().map(|pin| pin.is_high());
            self.beside.contact = contact.and_then(Result::ok).unwrap_or(!permit);
        }
        if let Some(second) = parts.second {
            let reading = self.sensor.second(&mut self.bus, second.kind);
            outside = reading.ok().and_then(|reading| reading.outside);
            let reading = reading.map(|reading| GaugePa(reading.gauge_pa)).map_err(|fault| fault.for_watch());
            self.beside.second = Some(reading);
        }
        let mut running = 0;
        for (which, pin) in self.inputs.blowers.iter_mut().enumerate().take(usize::from(parts.blowers)) {
            let runs = pin.as_mut().is_some_and(|pin| pin.is_high().unwrap_or(false));
            running |= u8::from(runs) << which;
        }
        self.beside.running = running;
        let told = self.beside;
        // One that nobody measures any more is silent, not what it was.
        self.beside.battery_v = None;
        (told, outside)
    }

    /// Tells what is known of them, where there are any.
    pub(super) fn tell_beside(&mut self, seen: &BesideSeen) {
        if *self.parts() != Parts::NONE && self.steps.is_multiple_of(TOLD_STEPS) {
            self.say(&FromBox::Beside(*seen));
        }
    }
}
