//! A change of settings, and forgetting them: staged, confirmed with the button held, stored, read back.
//!
//! The button counts as held only if it was seen up since the start and since it last did something, and not for longer
//! than anybody holds it: a shorted cable is no hand.

use super::outputs::drive;
use super::{App, HELD_STEPS, Request, STAGED_STEPS, WATCHDOG_ERASE_MS, WATCHDOG_MS};
use crate::board::Watchdog;
use crate::link::{FromBox, Noted, Refusal, check_of, may_replace};
use crate::sensor::GaugeSensor;
use crate::store::SETTINGS;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::NorFlash;
use landfall_core::watch::{Pins, ResetCause, WatchSettings};

/// And no more after this long: 30 s.
const STUCK_STEPS: u32 = 1_500;
/// Share of the sensor's range that settings may go beyond (*assumed*: its own over-range).
const RANGE_SLACK: f32 = 1.02;

impl<S, B, P, I, F, L, W> App<S, B, P, I, F, L, W>
where
    S: GaugeSensor<B>,
    P: OutputPin,
    I: InputPin,
    F: NorFlash,
    L: Read + ReadReady + Write + WriteReady,
    W: Watchdog,
{
    /// Somebody holds the button down.
    pub(super) fn button_held(&self) -> bool {
        self.button_fresh && (HELD_STEPS..STUCK_STEPS).contains(&self.button_steps)
    }

    #[inline(never)]
    pub(super) fn read_settings(&mut self) -> Option<WatchSettings> {
        let mut bytes = [0; SETTINGS];
        let length = self.store.settings(&mut bytes)?;
        let (floor, settings) = bytes.get(..length)?.split_first_chunk::<4>()?;
        self.floor = u32::from_le_bytes(*floor);
        let settings: WatchSettings = read_one(settings)?;
        (settings.validate().is_ok() && knows(&settings)).then_some(settings)
    }

    /// The sensor's range, if it is known and shorter than `settings` need.
    pub(super) fn range_short_of(&self, settings: &WatchSettings) -> Option<f32> {
        let range_pa = self.sensor.range_pa();
        (range_pa > 0.0 && settings.sensor_high_pa > RANGE_SLACK * range_pa).then_some(range_pa)
    }

    pub(super) fn stage(&mut self, settings: WatchSettings) -> FromBox {
        if let Err(refusal) = may_replace(self.settings.as_ref(), self.floor, &settings) {
            return FromBox::Refused(refusal);
        }
        if !knows(&settings) {
            return FromBox::Refused(Refusal::Impossible);
        }
        if let Some(range_pa) = self.range_short_of(&settings) {
            return FromBox::Refused(Refusal::SensorRange { range_pa });
        }
        match check_of(&settings) {
            Ok(check) => {
                self.staged = Some((settings, check, self.steps));
                FromBox::Staged(settings)
            }
            Err(_) => FromBox::Refused(Refusal::Impossible),
        }
    }

    pub(super) fn confirm(&mut self, check: u32) -> Result<WatchSettings, Refusal> {
        let (settings, expected, since) = self.staged.ok_or(Refusal::NotStaged)?;
        if check != expected || self.steps.wrapping_sub(since) > STAGED_STEPS {
            return Err(Refusal::NotStaged);
        }
        if !self.button_held() {
            return Err(Refusal::Button);
        }
        self.button_fresh = false;
        self.staged = None;
        Ok(settings)
    }

    /// Forgetting its site is a step of its own: named over the line, with the button held, and while nobody rides.
    pub(super) fn may_forget(&mut self, site_id: u32) -> Result<(), Refusal> {
        let held = self.settings.map_or(0, |settings| settings.site_id);
        if site_id != held {
            return Err(Refusal::Foreign { site_id: held });
        }
        if self.kept.duty {
            return Err(Refusal::OnDuty);
        }
        if !self.button_held() {
            return Err(Refusal::Button);
        }
        self.button_fresh = false;
        Ok(())
    }

    /// Stores or forgets settings: outputs at rest first, and the watch afresh afterwards.
    #[inline(never)]
    pub(super) fn serve(&mut self, request: Request) {
        drive(&mut self.outputs, &mut self.permit, Pins::default(), false);
        self.watchdog.feed(WATCHDOG_ERASE_MS);
        let stored = self.store_request(&request);
        self.settings = self.read_settings();
        self.answer_stored(&request, stored);
        self.paused = true;
        self.begin(ResetCause::Software);
        self.watchdog.feed(WATCHDOG_MS);
    }

    /// Writes what was asked for to flash. False if the flash did not take it.
    #[inline(never)]
    pub(super) fn store_request(&mut self, request: &Request) -> bool {
        if let Request::Calibrate(calibration) = request {
            return self.store_calibration(calibration);
        }
        let revision = if let Request::Commit(settings) = request { settings.revision } else { 0 };
        // The floor goes before them, so that it outlives what is forgotten.
        let floor = self.floor.max(revision);
        #[cfg(feature = "advisory")]
        let advisory = &self.advisory;
        let put = |room: &mut [u8]| {
            let (head, rest) = room.split_first_chunk_mut::<4>()?;
            *head = floor.to_le_bytes();
            let length = match request {
                #[cfg(feature = "advisory")]
                Request::Commit(settings) => advisory.to_store(settings, rest)?,
                #[cfg(not(feature = "advisory"))]
                Request::Commit(settings) => crate::wire::write(settings, rest).ok()?,
                Request::Forget | Request::Calibrate(_) => 0,
            };
            length.checked_add(4)
        };
        self.store.save_settings_with(put).is_ok()
    }

    /// Tells and notes what was stored.
    #[inline(never)]
    pub(super) fn answer_stored(&mut self, request: &Request, stored: bool) {
        match (request, self.settings) {
            (Request::Commit(wanted), Some(held)) if stored && held == *wanted => {
                self.note(Noted::Settings { site_id: held.site_id, revision: held.revision });
                self.say(&FromBox::Stored(held));
            }
            (Request::Forget, None) if stored => {
                self.note(Noted::Forgotten);
                self.say(&FromBox::Forgot { floor: self.floor });
            }
            (Request::Calibrate(held), _) if stored => self.calibrated(held),
            _ => self.say(&FromBox::Refused(Refusal::Flash)),
        }
    }
}

/// This program can do what the settings ask for.
const fn knows(settings: &WatchSettings) -> bool {
    cfg!(feature = "top") || !settings.with_top()
}

/// The settings, which end the bytes, or have a site behind them where the program can read that.
fn read_one(bytes: &[u8]) -> Option<WatchSettings> {
    if cfg!(feature = "advisory") {
        postcard::take_from_bytes(bytes).ok().map(|(settings, _)| settings)
    } else {
        match postcard::take_from_bytes(bytes) {
            Ok((settings, [])) => Some(settings),
            _ => None,
        }
    }
}
