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
//! The log has two books. Landings go to one of their own, as long as it has room; their hourly figures, and all that
//! must be known later, go to the other. Of what may come by the hundred (short waits, repeated faults) so many an hour
//! are noted one by one, the others are counted.
//!
//! The button counts as held only if it was seen up since the start and since it last did something, and not for longer
//! than anybody holds it: a shorted cable is no hand.
//!
//! Functions marked `inline(never)` keep their locals off the stack of their callers: one frame for all
//! would hold the sum of what is needed one after the other.

use core::mem::MaybeUninit;

use crate::board::{Inputs, Outputs, Watchdog};
use crate::calibration::Packed;
use crate::frame::{Frame, Receiver, encode};
use crate::link::{
    Entry, EntryHead, Fed, FedStep, FromBox, Hello, Hour, Kept, LoggedBytes, Noted, PROTOCOL, Refusal, STATUS_STEPS,
    Status, ToBox, check_of, may_replace,
};
use crate::sensor::GaugeSensor;
use crate::store::{Book, Cursor, PAYLOAD, SETTINGS, Step, Store};
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::NorFlash;
use heapless::Deque;
use landfall_core::watch::{
    GaugePa, Input, Output, Pins, Reason, ResetCause, SensorFault, Start, State, TimeUs, Watch, WatchSettings, What,
};

/// Time between two steps, µs.
pub const STEP_US: u32 = 20_000;
/// Time within which the next step must be complete, ms: ten steps.
pub const WATCHDOG_MS: u32 = 200;
/// The same round an erase of flash.
pub const WATCHDOG_ERASE_MS: u32 = 2_000;
/// The button counts as held after this long, in steps: 1 s.
const HELD_STEPS: u32 = 50;
/// And no more after this long: 30 s.
const STUCK_STEPS: u32 = 1_500;
/// Between two erases while nobody rides, in steps: 0.2 s, so that lamps and line go on.
const ERASE_STEPS: u32 = 10;
/// Steps in an hour.
const HOUR_STEPS: u32 = 180_000;
/// Waits, and faults, noted one by one in an hour.
const SINGLE: u8 = 60;
/// Staged settings are dropped after this long, in steps: 60 s.
const STAGED_STEPS: u32 = 3_000;
/// Bytes waiting to be sent.
const QUEUE: usize = 512;
/// Records waiting for the log.
const NOTES: usize = 12;
/// Share of the sensor's range that settings may go beyond (*assumed*: its own over-range).
const RANGE_SLACK: f32 = 1.02;

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
    single: (u8, u8),
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
        drive(&mut outputs, Pins::default());
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
            single: (SINGLE, SINGLE),
            wait_noted: false,
            now: TimeUs(0),
            steps: 0,
            button_steps: 0,
            button_fresh: false,
            step_us: 0,
            status: Status::default(),
            fed: Fed { at: TimeUs(0), steps: [NOT_FED; STATUS_STEPS as usize] },
            fed_steps: 0,
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
        let outside = reading.ok().and_then(|r| r.outside);
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
        }
        #[cfg(feature = "advisory")]
        self.advise(outside);
        let driven = drive(&mut self.outputs, pins);
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

    /// Moves bytes: call it at least every 2 ms at 115 200 baud with queues of 32 bytes.
    pub fn pump(&mut self) {
        for _ in 0..64 {
            let mut byte = [0];
            match self.link.read_ready() {
                Ok(true) => {}
                _ => break,
            }
            if !matches!(self.link.read(&mut byte), Ok(1)) {
                break;
            }
            match self.receiver.push(byte[0]) {
                Some(Ok(message)) => self.hear(&message),
                Some(Err(_error)) => {
                    #[cfg(feature = "defmt")]
                    defmt::warn!("line: {}", _error);
                    self.reply(&FromBox::Refused(Refusal::Frame));
                }
                None => {}
            }
        }
        for _ in 0..64 {
            let Some(byte) = self.queue.front().copied() else { break };
            if !matches!(self.link.write_ready(), Ok(true)) || !matches!(self.link.write(&[byte]), Ok(1)) {
                break;
            }
            self.queue.pop_front();
        }
        #[cfg(feature = "top")]
        self.pump_top();
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

    /// Takes what the watch gave into status and log.
    #[inline(never)]
    fn take(&mut self, output: &Output) {
        self.status.state = Some((output.state, output.reason));
        self.status.permit = output.permit;
        self.status.siren = output.siren;
        self.status.fault = output.fault;
        self.status.gauge_pa = output.gauge_pa;
        self.status.landings = output.landings;
        self.status.since_landing_s = output.since_landing_s;
        self.status.forecast_s = output.forecast_s;
        self.count_hour(output);
        for event in &output.events {
            self.note_at(event.at, Noted::Watch(event.what));
        }
        let kept = Kept {
            zero_pa: output.zero_pa.or(self.kept.zero_pa),
            unacknowledged: output.unacknowledged,
            duty: output.duty,
        };
        if kept != self.kept {
            self.kept = kept;
            // Before what else waits: it must be known after a reset that comes now.
            let entry = Entry { boot: self.boot, at: self.now, what: Noted::Kept(kept) };
            self.say(&FromBox::Event(entry));
            if self.notes.push_front(entry).is_err() {
                self.notes.pop_back();
                let _ = self.notes.push_front(entry);
                self.lost = self.lost.saturating_add(1);
            }
        }
    }

    /// The hour's figures; they are noted when it is over, and before a stop.
    fn count_hour(&mut self, output: &Output) {
        let hour = &mut self.hour;
        if let Some(landing) = &output.landing {
            hour.landings = hour.landings.saturating_add(1);
            hour.peak_pa = hour.peak_pa.max(landing.peak_pa);
            hour.dip_pa = hour.dip_pa.max(landing.dip_pa);
            hour.slow = hour.slow.saturating_add(u16::from(landing.recovery_s.is_none()));
            hour.recovery_s = hour.recovery_s.max(landing.recovery_s.unwrap_or(0.0));
        }
        if output.permit {
            hour.permit_steps = hour.permit_steps.saturating_add(1);
            if let Some(gauge_pa) = output.gauge_pa {
                hour.least_pa = hour.least_pa.min(gauge_pa);
            }
        }
        self.hour_steps = self.hour_steps.saturating_add(1);
        let ends = |what: &What| matches!(what, What::Changed { to: State::Stop | State::Fault | State::Ended, .. });
        let over = self.hour_steps >= HOUR_STEPS;
        if over || output.events.iter().any(|event| ends(&event.what)) {
            if self.hour != Hour::EMPTY {
                let hour = core::mem::replace(&mut self.hour, Hour::EMPTY);
                self.note(Noted::Hour(hour));
            }
            if over {
                self.hour_steps = 0;
                self.single = (SINGLE, SINGLE);
            }
        }
    }

    /// Where a record goes; none: it is counted in the hour's figures only.
    fn book_of(&mut self, what: &Noted) -> Option<Book> {
        let take = |left: &mut u8| {
            let one = *left > 0;
            *left = left.saturating_sub(1);
            one
        };
        match what {
            Noted::Watch(What::Landed(_)) => Some(Book::Landings),
            // A landing's wait is told by the landing.
            Noted::Watch(What::Changed { from: State::Ride, to: State::Wait, reason, .. }) => {
                self.wait_noted = *reason != Reason::Landing && take(&mut self.single.0);
                if *reason != Reason::Landing {
                    self.hour.waits = self.hour.waits.saturating_add(1);
                }
                self.wait_noted.then_some(Book::Events)
            }
            Noted::Watch(What::Changed { from: State::Wait, to: State::Ride, .. }) => {
                let noted = core::mem::replace(&mut self.wait_noted, true);
                noted.then_some(Book::Events)
            }
            Noted::Watch(What::Faulted(_)) => take(&mut self.single.1).then_some(Book::Events),
            _ => Some(Book::Events),
        }
    }

    fn note(&mut self, what: Noted) {
        self.note_at(self.now, what);
    }

    fn note_at(&mut self, at: TimeUs, what: Noted) {
        let entry = Entry { boot: self.boot, at, what };
        #[cfg(feature = "defmt")]
        defmt::info!("{}", entry);
        self.say(&FromBox::Event(entry));
        if self.book_of(&what).is_some() && self.notes.push_back(entry).is_err() {
            self.lost = self.lost.saturating_add(1);
        }
    }

    /// Writes one waiting record. The last room is left for what must be known after a start, and a quarter of it for
    /// what is graver than starts and waits.
    #[inline(never)]
    fn write_note(&mut self) {
        let Some(entry) = self.notes.front().copied() else { return };
        let landed = matches!(entry.what, Noted::Watch(What::Landed(_)));
        // Before anybody rides, records wait until there is room; on duty they cannot, nor where they get too many.
        let room_comes = !self.kept.duty && !self.erase_failed && self.store.wants_room(Book::Events);
        let short = self.store.room(Book::Events) <= self.reserve(&entry.what);
        if !landed && short && room_comes && !self.notes.is_full() {
            return;
        }
        self.notes.pop_front();
        if let Noted::Watch(What::Landed(_)) = entry.what {
            // Without room it is in the hour's figures only.
            let _ = log(&mut self.store, Book::Landings, &entry);
            return;
        }
        let kept = matches!(entry.what, Noted::Kept(_));
        if !kept && self.store.opens_sector(Book::Events) {
            let known = Entry { boot: self.boot, at: self.now, what: Noted::Kept(self.kept) };
            // There was room for one: it has just been taken out.
            let _ = self.notes.push_front(entry);
            if !log(&mut self.store, Book::Events, &known) {
                self.notes.pop_front();
                self.lost = self.lost.saturating_add(1);
            }
            return;
        }
        if short || !log(&mut self.store, Book::Events, &entry) {
            self.lost = self.lost.saturating_add(1);
        }
    }

    /// Records for which room is left beside one of this kind.
    fn reserve(&self, what: &Noted) -> u32 {
        match what {
            Noted::Kept(_) => 0,
            Noted::Booted(_)
            | Noted::Watch(
                What::Started { .. }
                | What::Zeroed { .. }
                | What::Faulted(_)
                | What::Changed { to: State::Ride | State::Wait | State::Check | State::Fill, .. },
            ) => RESERVE.max(self.store.room_made() / 4),
            _ => RESERVE,
        }
    }

    /// Answers a request, if half of the queue is free: the other half is for what the box says by itself, however much
    /// is asked.
    fn reply(&mut self, message: &FromBox) {
        if self.queue.len() <= QUEUE / 2 {
            self.say(message);
        }
    }

    /// Somebody holds the button down.
    fn button_held(&self) -> bool {
        self.button_fresh && (HELD_STEPS..STUCK_STEPS).contains(&self.button_steps)
    }

    /// Queues a message whole, or not at all if the line is behind.
    fn say(&mut self, message: &FromBox) {
        if let Ok(frame) = encode(message) {
            self.queue_frame(&frame);
        }
    }

    #[inline(never)]
    fn queue_frame(&mut self, frame: &Frame) {
        if QUEUE - self.queue.len() < frame.bytes().len() {
            return;
        }
        for byte in frame.bytes() {
            // There is room: just looked.
            let _ = self.queue.push_back(*byte);
        }
    }

    #[inline(never)]
    fn read_settings(&mut self) -> Option<WatchSettings> {
        let mut bytes = [0; SETTINGS];
        let length = self.store.settings(&mut bytes)?;
        let (floor, settings) = bytes.get(..length)?.split_first_chunk::<4>()?;
        self.floor = u32::from_le_bytes(*floor);
        let settings: WatchSettings = read_one(settings)?;
        (settings.validate().is_ok() && knows(&settings)).then_some(settings)
    }

    /// The sensor's range, if it is known and shorter than `settings` need.
    fn range_short_of(&self, settings: &WatchSettings) -> Option<f32> {
        let range_pa = self.sensor.range_pa();
        (range_pa > 0.0 && settings.sensor_high_pa > RANGE_SLACK * range_pa).then_some(range_pa)
    }

    #[inline(never)]
    fn hear(&mut self, message: &ToBox) {
        match message {
            ToBox::Identify => self.greet = true,
            ToBox::ReadSettings => {
                let settings = self.settings;
                self.reply(&FromBox::Settings(settings));
            }
            ToBox::ReadLog { from } => self.download = Some((self.store.reader(Book::Events, *from), 0)),
            ToBox::Offer(settings) => {
                self.staged = None;
                #[cfg(feature = "advisory")]
                self.advisory.unstage();
                let answer = self.stage(*settings);
                self.reply(&answer);
            }
            ToBox::Confirm { check } => match self.confirm(*check) {
                Ok(settings) => self.request = Some(Request::Commit(settings)),
                Err(refusal) => self.reply(&FromBox::Refused(refusal)),
            },
            ToBox::Forget { site_id } => match self.may_forget(*site_id) {
                Ok(()) => self.request = Some(Request::Forget),
                Err(refusal) => self.reply(&FromBox::Refused(refusal)),
            },
            ToBox::ReadCalibration => {
                let held = self.read_calibration();
                self.reply(&FromBox::Calibration(held));
            }
            ToBox::Calibrate(wanted) => self.hear_calibration(wanted),
            #[cfg(feature = "advisory")]
            other => self.hear_advisory(other),
            #[cfg(not(feature = "advisory"))]
            _ => self.reply(&FromBox::Refused(Refusal::Frame)),
        }
    }

    fn stage(&mut self, settings: WatchSettings) -> FromBox {
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

    fn confirm(&mut self, check: u32) -> Result<WatchSettings, Refusal> {
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
    fn may_forget(&mut self, site_id: u32) -> Result<(), Refusal> {
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
    fn serve(&mut self, request: Request) {
        drive(&mut self.outputs, Pins::default());
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
    fn store_request(&mut self, request: &Request) -> bool {
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
                Request::Commit(settings) => postcard::to_slice(settings, rest).ok()?.len(),
                Request::Forget | Request::Calibrate(_) => 0,
            };
            length.checked_add(4)
        };
        self.store.save_settings_with(put).is_ok()
    }

    /// Tells and notes what was stored.
    #[inline(never)]
    fn answer_stored(&mut self, request: &Request, stored: bool) {
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

    /// Hello when it is due, status ten times a second, and the log as the line takes it.
    #[inline(never)]
    fn tell(&mut self) {
        // The first hello waits for the sensor to be known, for a second at most.
        if self.greet && (self.sensor.range_pa() > 0.0 || self.steps > HELD_STEPS) {
            self.greet = false;
            let hello = Hello {
                protocol: PROTOCOL,
                program: PROGRAM,
                boot: self.boot,
                cause: self.cause,
                sensor: self.sensor.kind(),
                range_pa: self.sensor.range_pa(),
                settings: self.settings.map(|s| (s.site_id, s.revision)),
            };
            self.reply(&FromBox::Hello(hello));
        }
        if self.steps.is_multiple_of(STATUS_STEPS) {
            self.status.step_us = core::mem::take(&mut self.step_us);
            self.status.lost = self.lost;
            let status = self.status;
            self.say(&FromBox::Status(status));
        }
        if u32::from(self.fed_steps) >= STATUS_STEPS {
            self.fed_steps = 0;
            let fed = self.fed;
            self.say(&FromBox::Fed(fed));
        }
        let Some((mut cursor, mut sent)) = self.download else { return };
        if self.steps.is_multiple_of(STATUS_STEPS) {
            self.say(&FromBox::Reading { sent });
        }
        for _ in 0..DOWNLOAD_SLOTS {
            // Half of the queue stays free for status and events.
            if self.queue.len() > QUEUE / 2 {
                break;
            }
            match self.store.next(&mut cursor) {
                Step::Record(record) => {
                    if let Ok(frame) = encode(&LoggedBytes { sequence: record.sequence, entry: record.payload() }) {
                        self.queue_frame(&frame);
                        sent = sent.saturating_add(1);
                    }
                }
                Step::Gap => {}
                Step::End if cursor.book() == Book::Events => {
                    cursor = self.store.reader(Book::Landings, cursor.from());
                }
                Step::End => {
                    let next = self.store.next_sequence();
                    self.say(&FromBox::LogEnd { next, sent });
                    self.download = None;
                    return;
                }
            }
        }
        self.download = Some((cursor, sent));
    }
}

/// A step that has not been yet.
const NOT_FED: FedStep = FedStep { after_us: 0, reading: Err(SensorFault::NotReady), supply: None, button: false };
/// Version of this program.
const PROGRAM: [u8; 3] = [
    number(env!("CARGO_PKG_VERSION_MAJOR")),
    number(env!("CARGO_PKG_VERSION_MINOR")),
    number(env!("CARGO_PKG_VERSION_PATCH")),
];
/// Slots of the log that a step looks at during a download.
const DOWNLOAD_SLOTS: u32 = 8;
/// Records for which room is kept for what must be known after a start.
const RESERVE: u32 = 16;

/// A number in decimal digits.
const fn number(digits: &str) -> u8 {
    let bytes = digits.as_bytes();
    let (mut value, mut index) = (0_u8, 0);
    while index < bytes.len() {
        value = value.wrapping_mul(10).wrapping_add(bytes[index].wrapping_sub(b'0'));
        index += 1;
    }
    value
}

/// Puts `pins` on the outputs, the permit first. False if one of them did not take it.
fn drive<P: OutputPin>(outputs: &mut Outputs<P>, pins: Pins) -> bool {
    let mut done = outputs.permit.set_state(pins.permit.into()).is_ok();
    done &= outputs.siren.set_state(pins.siren.into()).is_ok();
    done &= outputs.red.set_state(pins.red.into()).is_ok();
    done &= outputs.amber.set_state(pins.amber.into()).is_ok();
    done &= outputs.green.set_state(pins.green.into()).is_ok();
    done
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

/// Appends a record. False if the log did not take it.
fn log<F: NorFlash>(store: &mut Store<F>, book: Book, entry: &Entry) -> bool {
    let mut bytes = [0; PAYLOAD];
    match postcard::to_slice(entry, &mut bytes) {
        Ok(bytes) => store.append(book, bytes).is_ok(),
        Err(_) => false,
    }
}

/// The newest of what must be known, and the number of the last start. It is written at the beginning of each sector.
fn newest_kept<F: NorFlash>(store: &mut Store<F>) -> (Kept, u16) {
    let (mut kept, mut boot): (Option<Kept>, Option<u16>) = (None, None);
    let (mut latest, mut any) = (0, false);
    store.look_back(|record| {
        any = true;
        let Some(head) = EntryHead::of(record.payload()) else { return false };
        if record.sequence > latest {
            latest = record.sequence;
            boot = Some(head.boot);
        }
        kept = head.kept.or(kept);
        head.kept.is_some()
    });
    // Records without it: the flash has lost it, so somebody may be riding.
    let unknown = Kept { duty: any, ..Kept::default() };
    (kept.unwrap_or(unknown), boot.unwrap_or(0))
}

#[cfg(feature = "advisory")]
pub mod advisory;
mod calibrate;
#[cfg(feature = "advisory")]
use advisory::Advisory;
#[cfg(test)]
pub(crate) mod tests;
#[cfg(feature = "top")]
pub(crate) mod top;
