//! The box: sensor, watch, outputs, link and log, one step at a time.
//!
//! [`App::step`] runs 50 times a second: read, decide, act, then note and tell, and only then feed the
//! watchdog. [`App::rest`] follows once between two steps and is the only one that writes to flash, one record at
//! most: a step never waits for flash. [`App::pump`] moves bytes on the link and is called between steps as often as
//! the line needs. Time comes in as an argument.
//!
//! An erase of flash stops everything for up to 0.4 s. Nothing is erased before the first step, whatever is on the flash,
//! and later only while nobody rides: one sector at a time while the bag fills, when the day is over, or without settings,
//! and while settings are stored.
//!
//! Functions marked `inline(never)` keep their locals off the stack of their callers: one frame for all
//! would hold the sum of what is needed one after the other.

use core::mem::MaybeUninit;

use crate::board::{Inputs, Outputs, Watchdog};
use crate::calibration::Packed;
use crate::frame::Receiver;
use crate::link::{Entry, Fed, FedStep, Hour, Kept, Noted, STATUS_STEPS, Status};
use crate::sensor::GaugeSensor;
use crate::store::{Book, Cursor, Store};
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::NorFlash;
use heapless::Deque;
use landfall_core::watch::{
    Beside, GaugePa, Input, Pins, ResetCause, SensorFault, Start, TimeUs, Watch, WatchSettings,
};
use notes::{SINGLE, newest_kept};
use outputs::{Permit, drive};

/// Time between two steps, µs.
pub const STEP_US: u32 = 20_000;
/// Time within which the next step must be complete, ms: ten steps.
pub const WATCHDOG_MS: u32 = 200;
/// The same round an erase of flash.
pub const WATCHDOG_ERASE_MS: u32 = 2_000;
/// The button counts as held after this long, in steps: 1 s.
const HELD_STEPS: u32 = 50;
/// Between two erases while nobody rides, in steps: 0.2 s, so that lamps and line go on.
const ERASE_STEPS: u32 = 10;
/// Staged settings are dropped after this long, in steps: 60 s.
const STAGED_STEPS: u32 = 3_000;
/// Bytes waiting to be sent.
const QUEUE: usize = 512;
/// Records waiting for the log.
const NOTES: usize = 12;

/// Everything that a board brings.
pub struct Hardware<B, P, I, F, L, W> {
    /// Sensor bus.
    pub bus: B,
    /// Outputs.
    pub outputs: Outputs<P>,
    /// Inputs.
    pub inputs: Inputs<I>,
    /// Flash region for settings and log.
    pub flash: F,
    /// Serial line to the host.
    pub link: L,
    /// Watchdog.
    pub watchdog: W,
}

/// What the host asked for and the next step does.
#[derive(Clone, Copy)]
enum Request {
    Commit(WatchSettings),
    Forget,
    Calibrate(Packed),
}

/// The box.
pub struct App<S, B, P, I, F, L, W> {
    sensor: S,
    bus: B,
    outputs: Outputs<P>,
    inputs: Inputs<I>,
    store: Store<F>,
    link: L,
    watchdog: W,

    settings: Option<WatchSettings>,
    /// Factor on every reading, from the calibration.
    span: f32,
    watch: Option<Watch>,
    kept: Kept,
    boot: u16,
    cause: ResetCause,

    receiver: Receiver,
    queue: Deque<u8, QUEUE>,
    notes: Deque<Entry, NOTES>,
    lost: u32,
    staged: Option<(WatchSettings, u32, u32)>,
    request: Option<Request>,
    download: Option<(Cursor, u32)>,
    greet: bool,
    /// Highest revision that was ever stored.
    floor: u32,
    /// The flash was away for longer than a step.
    paused: bool,
    erase_failed: bool,
    hour: Hour,
    hour_steps: u32,
    /// What may still be noted one by one in this hour: waits, faults.
    single: (u8, u8, u8),
    /// The wait that goes on is noted, so its end is too.
    wait_noted: bool,

    now: TimeUs,
    steps: u32,
    button_steps: u32,
    /// The button was seen up since the start and since it last did something.
    button_fresh: bool,
    step_us: u32,
    status: Status,
    fed: Fed,
    fed_steps: u8,
    permit: Permit,
    beside: Beside,
    #[cfg(feature = "advisory")]
    advisory: Advisory,
    #[cfg(feature = "top")]
    top: top::TopEnd<L>,
}

impl<S, B, P, I, F, L, W> App<S, B, P, I, F, L, W>
where
    S: GaugeSensor<B>,
    P: OutputPin,
    I: InputPin,
    F: NorFlash,
    L: Read + ReadReady + Write + WriteReady,
    W: Watchdog,
{
    /// Puts the outputs to rest, opens the store and makes room in it. The box is made in `place`, so
    /// that it need not be moved.
    pub fn start(
        place: &mut MaybeUninit<Self>,
        hardware: Hardware<B, P, I, F, L, W>,
        sensor: S,
        cause: ResetCause,
    ) -> &mut Self {
        let app = Self::make(place, hardware, sensor, cause);
        app.open();
        app.settings = app.read_settings();
        app.read_calibration();
        app.note(Noted::Booted(cause));
        app.begin(cause);
        app.watchdog.feed(WATCHDOG_MS);
        app
    }

    #[inline(never)]
    fn make(
        place: &mut MaybeUninit<Self>,
        hardware: Hardware<B, P, I, F, L, W>,
        sensor: S,
        cause: ResetCause,
    ) -> &mut Self {
        let Hardware { bus, mut outputs, inputs, flash, link, watchdog } = hardware;
        let mut permit = Permit::OFF;
        drive(&mut outputs, &mut permit, Pins::default(), false);
        place.write(Self {
            sensor,
            bus,
            outputs,
            inputs,
            store: Store::unread(flash),
            link,
            watchdog,
            settings: None,
            span: 1.0,
            watch: None,
            kept: Kept::default(),
            boot: 0,
            cause,
            receiver: Receiver::new(),
            queue: Deque::new(),
            notes: Deque::new(),
            lost: 0,
            staged: None,
            request: None,
            download: None,
            greet: true,
            floor: 0,
            paused: false,
            erase_failed: false,
            hour: Hour::EMPTY,
            hour_steps: 0,
            single: (SINGLE, SINGLE, SINGLE),
            wait_noted: false,
            now: TimeUs(0),
            steps: 0,
            button_steps: 0,
            button_fresh: false,
            step_us: 0,
            status: Status::default(),
            fed: Fed { at: TimeUs(0), steps: [NOT_FED; STATUS_STEPS as usize] },
            fed_steps: 0,
            permit,
            beside: Beside::NOTHING,
            #[cfg(feature = "advisory")]
            advisory: Advisory::new(),
            #[cfg(feature = "top")]
            top: top::TopEnd::new(),
        })
    }

    /// Opens the store. Reads only, and a bounded part of the log: the first step waits for it.
    #[inline(never)]
    fn open(&mut self) {
        self.watchdog.feed(WATCHDOG_ERASE_MS);
        self.store.read_all();
        let (kept, boot) = newest_kept(&mut self.store);
        (self.kept, self.boot) = (kept, boot.wrapping_add(1));
    }

    /// One step, beginning at `now`; `clock` tells the time again at its end. Call it every [`STEP_US`], and
    /// [`App::rest`] after each.
    #[inline(never)]
    pub fn step(&mut self, now: TimeUs, clock: impl Fn() -> TimeUs) {
        self.now = now;
        self.steps = self.steps.wrapping_add(1);
        if core::mem::take(&mut self.paused)
            && let Some(watch) = self.watch.as_mut()
        {
            watch.pause(TimeUs(now.0.saturating_sub(u64::from(STEP_US))));
        }
        let reading = self.sensor.step(&mut self.bus);
        let (beside, outside) = self.read_beside();
        let outside = reading.ok().and_then(|r| r.outside).or(outside);
        self.status.density_kgpm3 = outside.and_then(|air| air.density_kgpm3());
        self.status.temperature_degc = outside.map(|air| air.temperature_c);
        // A pin that cannot be read is taken as the worse: no supply, button up.
        let button = self.inputs.button.is_low().unwrap_or(false);
        self.button_fresh |= !button;
        self.button_steps = if button { self.button_steps.saturating_add(1) } else { 0 };
        let supply = self.inputs.supply.as_mut().map(|pin| pin.is_high().unwrap_or(false));
        let too_short = self.settings.is_some_and(|s| self.range_short_of(&s).is_some());
        let input = Input {
            now,
            reading: match reading {
                Ok(_) if too_short => Err(SensorFault::Identity),
                Ok(reading) => Ok(GaugePa(self.span * reading.gauge_pa)),
                Err(fault) => Err(fault.for_watch()),
            },
            supply,
            button,
            test: false,
            temperature_degc: outside.map(|air| air.temperature_c),
            beside,
        };
        self.status.at = now;
        self.status.supply = supply;
        self.status.button = button;
        self.remember(&input);
        #[cfg(feature = "top")]
        self.hear_top();
        // Without settings nothing is watched: red, and no permit.
        let mut pins = Pins { red: true, ..Pins::default() };
        if let Some(output) = self.watch.as_mut().map(|watch| watch.step(&input)) {
            pins = output.pins;
            self.take(&output);
            self.tell_beside(&output.beside);
        }
        #[cfg(feature = "advisory")]
        self.advise(outside);
        let pulses = self.parts().permit_pulses;
        let driven = drive(&mut self.outputs, &mut self.permit, pins, pulses);
        #[cfg(feature = "top")]
        self.tell_top(pins);

        self.tell();
        self.pump();
        let spent_us = clock().0.saturating_sub(now.0).min(u64::from(u32::MAX)) as u32;
        self.step_us = self.step_us.max(spent_us);
        // An output that does not move is for the watchdog to end: its reset opens the permit.
        if driven {
            self.watchdog.feed(WATCHDOG_MS);
        }
    }

    /// What may wait until the step is over: one record to flash, new settings, or, while nobody rides, one sector erased.
    /// Call it once after each step, when the line has just been served: a record takes the flash up to 3 ms.
    #[inline(never)]
    pub fn rest(&mut self) {
        if let Some(request) = self.request.take() {
            self.serve(request);
        } else if !self.make_room() {
            self.write_note();
        }
    }

    /// Erases a sector ahead if one is wanted and nobody rides. True if it tried.
    #[inline(never)]
    fn make_room(&mut self) -> bool {
        let idle = self.watch.as_ref().is_none_or(Watch::may_pause);
        let busy = self.download.is_some() || self.staged.is_some() || self.button_steps > 0;
        #[cfg(feature = "advisory")]
        let busy = busy || self.advisory.computing();
        let due = self.steps.is_multiple_of(ERASE_STEPS) || self.store.room(Book::Events) == 0;
        if !idle || busy || !due || self.erase_failed {
            return false;
        }
        let Some(book) = [Book::Events, Book::Landings].into_iter().find(|book| self.store.wants_room(*book)) else {
            return false;
        };
        self.watchdog.feed(WATCHDOG_ERASE_MS);
        // A flash that takes nothing any more is left alone until the next start.
        self.erase_failed = self.store.prepare(book).is_err();
        self.watchdog.feed(WATCHDOG_MS);
        self.paused = true;
        true
    }

    /// Keeps what this step was fed with until it is told.
    fn remember(&mut self, input: &Input) {
        if self.fed_steps == 0 {
            self.fed.at = input.now;
        }
        let after_us = input.now.0.saturating_sub(self.fed.at.0).min(u64::from(u32::MAX)) as u32;
        if let Some(step) = self.fed.steps.get_mut(usize::from(self.fed_steps)) {
            *step = FedStep { after_us, reading: input.reading, supply: input.supply, button: input.button };
        }
        self.fed_steps = self.fed_steps.saturating_add(1);
    }

    /// Starts the watch with the settings that hold.
    fn begin(&mut self, cause: ResetCause) {
        self.begin_watch(cause);
        #[cfg(feature = "advisory")]
        self.advise_afresh();
        #[cfg(feature = "top")]
        self.begin_top();
    }

    #[inline(never)]
    fn begin_watch(&mut self, cause: ResetCause) {
        let Kept { zero_pa, unacknowledged, duty } = self.kept;
        let start = Start { cause, stored_zero_pa: zero_pa, unacknowledged, duty };
        self.watch = self.settings.and_then(|settings| Watch::new(settings, start).ok());
        self.status.state = None;
        self.status.permit = false;
        self.status.siren = false;
    }
}

/// A step that has not been yet.
const NOT_FED: FedStep = FedStep { after_us: 0, reading: Err(SensorFault::NotReady), supply: None, button: false };

#[cfg(feature = "advisory")]
pub mod advisory;
mod beside;
mod calibrate;
mod change;
pub(crate) mod line;
mod notes;
mod outputs;
#[cfg(feature = "advisory")]
use advisory::Advisory;
#[cfg(test)]
pub(crate) mod tests;
#[cfg(feature = "top")]
pub(crate) mod top;
