//! The box as a whole, with a bag, a flash and a line that are only numbers.

use super::*;
use crate::frame::encode;
use crate::link::tests::sample;
use crate::sensor::{Fault, Kind, Reading};
use core::convert::Infallible;
use embedded_hal::digital;
use embedded_storage::nor_flash::{ErrorType, NorFlashErrorKind, ReadNorFlash};
use landfall_core::watch::{Reason, State, What};
use std::cell::{Cell, RefCell};
use std::rc::Rc;
use std::vec::Vec;

#[cfg(feature = "advisory")]
pub(crate) mod advisory;
mod calibrate;
#[cfg(feature = "top")]
mod top;

/// The outside of the box.
struct World {
    outside: Cell<Option<crate::sensor::Outside>>,
    reading: Cell<Result<f32, Fault>>,
    range_pa: Cell<f32>,
    noise: Cell<u32>,
    erases: Cell<u32>,
    writes: Cell<u32>,
    /// Bytes that the line still takes.
    room: Cell<usize>,
    levels: [Cell<bool>; 5],
    broken_pin: Cell<bool>,
    button: Cell<bool>,
    supply: Cell<bool>,
    flash: RefCell<Vec<u8>>,
    /// Flash work left until the power goes.
    power: Cell<usize>,
    to_box: RefCell<Vec<u8>>,
    from_box: RefCell<Vec<u8>>,
    feeds: Cell<u32>,
}

const PERMIT: usize = 4;
const SECTOR: usize = 4096;

struct Sensor(Rc<World>);
impl GaugeSensor<()> for Sensor {
    fn step(&mut self, (): &mut ()) -> Result<Reading, Fault> {
        let noise = self.0.noise.get().wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        self.0.noise.set(noise);
        let wobble_pa = (noise >> 8) as f32 / 16_777_216.0 * 6.0 - 3.0;
        self.0.reading.get().map(|pa| Reading { gauge_pa: pa + wobble_pa, outside: self.0.outside.get() })
    }
    fn kind(&self) -> Option<Kind> {
        Some(Kind::Bridge)
    }
    fn range_pa(&self) -> f32 {
        self.0.range_pa.get()
    }
}

struct Out(Rc<World>, usize);
#[derive(Debug)]
struct Stuck;
impl digital::Error for Stuck {
    fn kind(&self) -> digital::ErrorKind {
        digital::ErrorKind::Other
    }
}
impl digital::ErrorType for Out {
    type Error = Stuck;
}
impl OutputPin for Out {
    fn set_low(&mut self) -> Result<(), Stuck> {
        self.0.levels[self.1].set(false);
        if self.0.broken_pin.get() { Err(Stuck) } else { Ok(()) }
    }
    fn set_high(&mut self) -> Result<(), Stuck> {
        self.0.levels[self.1].set(true);
        if self.0.broken_pin.get() { Err(Stuck) } else { Ok(()) }
    }
}

struct In(Rc<World>, bool);
impl digital::ErrorType for In {
    type Error = Infallible;
}
impl InputPin for In {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(if self.1 { !self.0.button.get() } else { self.0.supply.get() })
    }
    fn is_low(&mut self) -> Result<bool, Infallible> {
        self.is_high().map(|high| !high)
    }
}

struct Nor(Rc<World>);
impl ErrorType for Nor {
    type Error = NorFlashErrorKind;
}
impl ReadNorFlash for Nor {
    const READ_SIZE: usize = 1;
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        let offset = offset as usize;
        bytes.copy_from_slice(&self.0.flash.borrow()[offset..offset + bytes.len()]);
        Ok(())
    }
    fn capacity(&self) -> usize {
        self.0.flash.borrow().len()
    }
}
impl NorFlash for Nor {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR;
    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        self.0.erases.set(self.0.erases.get() + 1);
        if !spend(&self.0.power) {
            // Half-way: half of the bytes are erased.
            self.0.flash.borrow_mut()[from as usize..to as usize].iter_mut().step_by(2).for_each(|b| *b = 0xFF);
            return Err(NorFlashErrorKind::Other);
        }
        self.0.flash.borrow_mut()[from as usize..to as usize].fill(0xFF);
        Ok(())
    }
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        self.0.writes.set(self.0.writes.get() + 1);
        for (index, byte) in bytes.iter().enumerate() {
            if !spend(&self.0.power) {
                return Err(NorFlashErrorKind::Other);
            }
            self.0.flash.borrow_mut()[offset as usize + index] &= byte;
        }
        Ok(())
    }
}
fn spend(power: &Cell<usize>) -> bool {
    power.set(power.get().saturating_sub(1));
    power.get() > 0
}

struct Line(Rc<World>);
impl embedded_io::ErrorType for Line {
    type Error = Infallible;
}
impl ReadReady for Line {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(!self.0.to_box.borrow().is_empty())
    }
}
impl Read for Line {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Infallible> {
        bytes[0] = self.0.to_box.borrow_mut().remove(0);
        Ok(1)
    }
}
impl WriteReady for Line {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.room.get() > 0)
    }
}
impl Write for Line {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        self.0.room.set(self.0.room.get().saturating_sub(bytes.len()));
        self.0.from_box.borrow_mut().extend_from_slice(bytes);
        Ok(bytes.len())
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

struct Dog(Rc<World>);
impl Watchdog for Dog {
    fn feed(&mut self, _: u32) {
        self.0.feeds.set(self.0.feeds.get() + 1);
    }
}

type Tested = App<Sensor, (), Out, In, Nor, Line, Dog>;

struct Bench {
    world: Rc<World>,
    app: &'static mut Tested,
    us: u64,
    receiver: Receiver,
}

impl Bench {
    fn new() -> Self {
        Self::with_sectors(20)
    }

    fn with_sectors(sectors: usize) -> Self {
        let world = Rc::new(World {
            outside: Cell::new(None),
            reading: Cell::new(Ok(0.0)),
            range_pa: Cell::new(4981.8),
            noise: Cell::new(1),
            erases: Cell::new(0),
            writes: Cell::new(0),
            levels: Default::default(),
            broken_pin: Cell::new(false),
            button: Cell::new(false),
            supply: Cell::new(true),
            flash: RefCell::new(vec![0xFF; sectors * SECTOR]),
            room: Cell::new(usize::MAX),
            power: Cell::new(usize::MAX),
            to_box: RefCell::default(),
            from_box: RefCell::default(),
            feeds: Cell::new(0),
        });
        let app = Self::boot(&world, ResetCause::PowerOn);
        Self { world, app, us: 0, receiver: Receiver::new() }
    }

    fn boot(world: &Rc<World>, cause: ResetCause) -> &'static mut Tested {
        let w = || Rc::clone(world);
        let out = |index| Out(w(), index);
        let hardware = Hardware {
            bus: (),
            outputs: Outputs { red: out(0), amber: out(1), green: out(2), siren: out(3), permit: out(PERMIT) },
            inputs: Inputs { button: In(w(), true), supply: Some(In(w(), false)) },
            flash: Nor(w()),
            link: Line(w()),
            watchdog: Dog(w()),
        };
        let place = std::boxed::Box::leak(std::boxed::Box::new(core::mem::MaybeUninit::uninit()));
        App::start(place, hardware, Sensor(w()), cause)
    }

    fn restart(&mut self, cause: ResetCause) {
        self.world.power.set(usize::MAX);
        self.app = Self::boot(&self.world, cause);
        self.us = 0;
    }

    /// Steps for `seconds` and gives what was said meanwhile.
    fn run(&mut self, seconds: f32) -> Vec<FromBox> {
        for _ in 0..(seconds * 50.0) as u32 {
            self.us += u64::from(STEP_US);
            let end = TimeUs(self.us + 700);
            self.app.step(TimeUs(self.us), || end);
            self.app.pump();
            self.app.rest();
        }
        for _ in 0..10 {
            self.app.pump();
        }
        let bytes = core::mem::take(&mut *self.world.from_box.borrow_mut());
        bytes.iter().filter_map(|byte| self.receiver.push(*byte)).map(|m| m.expect("a whole frame")).collect()
    }

    fn send(&self, message: &ToBox) {
        self.world.to_box.borrow_mut().extend_from_slice(encode(message).unwrap().bytes());
    }

    fn permit(&self) -> bool {
        self.world.levels[PERMIT].get()
    }

    /// Sends settings and confirms with the button held.
    fn arm(&mut self, settings: WatchSettings) -> Vec<FromBox> {
        self.run(0.1);
        self.world.button.set(true);
        self.run(1.5);
        self.send(&ToBox::Offer(settings));
        self.run(0.1);
        self.send(&ToBox::Confirm { check: check_of(&settings).unwrap() });
        let said = self.run(0.1);
        self.world.button.set(false);
        said
    }

    fn armed_and_riding() -> Self {
        let mut bench = Self::new();
        assert!(bench.arm(sample()).contains(&FromBox::Stored(sample())));
        bench.run(5.0);
        bench.world.reading.set(Ok(1000.0));
        bench.run(12.0);
        assert!(bench.permit(), "{:?}", bench.app.status);
        bench
    }
}

fn refusals(said: &[FromBox]) -> Vec<Refusal> {
    said.iter().filter_map(|m| if let FromBox::Refused(r) = m { Some(*r) } else { None }).collect()
}

#[test]
fn without_settings_there_is_red_and_no_permit() {
    let mut bench = Bench::new();
    bench.world.reading.set(Ok(1000.0));
    let said = bench.run(20.0);
    assert!(bench.world.levels[0].get() && !bench.permit());
    let status = said.iter().rev().find_map(|m| if let FromBox::Status(s) = m { Some(*s) } else { None }).unwrap();
    assert_eq!((status.state, status.permit), (None, false));
    assert_eq!(said.iter().filter(|m| matches!(m, FromBox::Status(_))).count(), 200);
    let hello = said.iter().find_map(|m| if let FromBox::Hello(h) = m { Some(*h) } else { None }).unwrap();
    assert_eq!((hello.settings, hello.sensor, hello.boot, hello.protocol), (None, Some(Kind::Bridge), 1, PROTOCOL));
}

#[test]
fn every_step_that_was_fed_is_told_once_and_in_order() {
    let mut bench = Bench::new();
    bench.world.reading.set(Ok(1000.0));
    let mut said = bench.run(1.0);
    bench.world.reading.set(Err(Fault::Corrupt));
    said.extend(bench.run(1.0));
    let fed: Vec<_> = said.iter().filter_map(|m| if let FromBox::Fed(f) = m { Some(*f) } else { None }).collect();
    let times: Vec<u64> = fed.iter().flat_map(|f| f.steps.map(|s| f.at.0 + u64::from(s.after_us))).collect();
    assert_eq!(times, (1..=100).map(|n| n * 20_000).collect::<Vec<u64>>());
    assert!(fed[0].steps.iter().all(|s| s.reading.is_ok_and(|p| (p.0 - 1000.0).abs() < 4.0) && s.supply == Some(true)));
    assert!(fed[19].steps.iter().all(|s| s.reading == Err(SensorFault::Crc)));
}

#[test]
fn fills_rides_and_stops() {
    let mut bench = Bench::armed_and_riding();
    assert!(bench.world.levels[2].get() && !bench.world.levels[0].get());
    bench.world.reading.set(Ok(500.0));
    let said = bench.run(0.2);
    assert!(!bench.permit() && bench.world.levels[3].get() && bench.world.levels[0].get());
    assert!(
        said.iter().any(|m| matches!(
            m,
            FromBox::Event(Entry { what: Noted::Watch(What::Changed { to: State::Stop, .. }), .. })
        ))
    );
}

#[test]
fn a_supply_cut_opens_the_permit_within_a_tenth() {
    let mut bench = Bench::armed_and_riding();
    bench.world.supply.set(false);
    bench.run(0.1);
    assert!(!bench.permit());
}

#[test]
fn settings_need_the_button_and_the_right_site_and_age() {
    let mut bench = Bench::new();
    let settings = sample();
    let check = check_of(&settings).unwrap();
    bench.send(&ToBox::Confirm { check });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::NotStaged]);
    bench.send(&ToBox::Offer(settings));
    assert!(bench.run(0.1).contains(&FromBox::Staged(settings)));
    bench.send(&ToBox::Confirm { check });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Button]);
    bench.world.button.set(true);
    bench.run(0.5);
    bench.send(&ToBox::Confirm { check });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Button], "half a second is not held");
    bench.run(1.0);
    bench.send(&ToBox::Confirm { check: check ^ 1 });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::NotStaged]);
    bench.send(&ToBox::Confirm { check });
    assert!(bench.run(0.1).contains(&FromBox::Stored(settings)));
    bench.world.button.set(false);
    bench.run(0.1);

    let old = WatchSettings { revision: 2, ..settings };
    assert_eq!(refusals(&bench.arm(old)), [Refusal::NotStaged]);
    bench.run(0.1);
    bench.send(&ToBox::Offer(old));
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Stale { revision: 3 }]);
    bench.send(&ToBox::Offer(WatchSettings { site_id: 8, revision: 9, ..settings }));
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Foreign { site_id: 7 }]);
    bench.send(&ToBox::Offer(WatchSettings { revision: 9, stop_pa: f32::NAN, ..settings }));
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Impossible]);
    bench.world.range_pa.set(500.0);
    bench.send(&ToBox::Offer(WatchSettings { revision: 9, ..settings }));
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::SensorRange { range_pa: 500.0 }]);
    bench.send(&ToBox::ReadSettings);
    assert!(bench.run(0.1).contains(&FromBox::Settings(Some(settings))));
}

#[test]
fn staged_settings_are_dropped_after_a_minute() {
    let mut bench = Bench::new();
    bench.send(&ToBox::Offer(sample()));
    bench.run(59.0);
    bench.world.button.set(true);
    bench.run(2.0);
    bench.send(&ToBox::Confirm { check: check_of(&sample()).unwrap() });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::NotStaged]);
}

#[test]
fn storing_settings_while_riding_opens_the_permit() {
    let mut bench = Bench::armed_and_riding();
    let newer = WatchSettings { revision: 4, needed_s: 5.0, ..sample() };
    assert!(bench.arm(newer).contains(&FromBox::Stored(newer)));
    assert!(!bench.permit());
    // Somebody may be riding: no trial, and the air is watched at once.
    assert_eq!(bench.app.status.state.map(|s| s.0), Some(State::Wait));
}

#[test]
fn a_power_cut_at_any_byte_of_an_upload_leaves_one_or_the_other() {
    let first = sample();
    let second = WatchSettings { revision: 4, needed_s: 5.0, ..first };
    let (mut old, mut new) = (0, 0);
    let mut armed = Bench::new();
    armed.arm(first);
    let image = armed.world.flash.borrow().clone();
    for cut in 1..700 {
        let mut bench = Bench::new();
        bench.world.flash.borrow_mut().clone_from(&image);
        bench.restart(ResetCause::PowerOn);
        bench.run(0.06);
        bench.world.button.set(true);
        bench.run(1.2);
        bench.send(&ToBox::Offer(second));
        bench.run(0.06);
        bench.world.power.set(cut);
        bench.send(&ToBox::Confirm { check: check_of(&second).unwrap() });
        let confirmed = bench.run(0.1).contains(&FromBox::Stored(second));
        bench.world.button.set(false);
        bench.restart(ResetCause::PowerOn);
        match bench.app.settings {
            Some(s) if s == second => new += 1,
            Some(s) if s == first && !confirmed => old += 1,
            other => panic!("cut {cut}: {other:?}, confirmed {confirmed}"),
        }
    }
    assert!(old > 100 && new > 100, "{old} {new}");
}

#[test]
fn a_stop_is_remembered_over_a_reset() {
    let mut bench = Bench::armed_and_riding();
    let zero = bench.app.kept.zero_pa;
    assert!(zero.is_some());
    bench.world.reading.set(Ok(500.0));
    bench.run(0.5);
    bench.world.reading.set(Ok(1000.0));
    bench.restart(ResetCause::Watchdog);
    assert_eq!(bench.app.kept, Kept { zero_pa: zero, unacknowledged: true, duty: true });
    bench.run(20.0);
    assert!(!bench.permit());
    assert_eq!(bench.app.status.state.map(|s| s.0), Some(State::Stop));
    bench.world.button.set(true);
    bench.run(3.0);
    bench.world.button.set(false);
    bench.run(10.0);
    assert!(bench.permit(), "{:?}", bench.app.status);
    bench.restart(ResetCause::PowerOn);
    assert!(!bench.app.kept.unacknowledged);
}

/// The whole log from `from` on, as a host sorts it, and how long it took.
fn log_of(bench: &mut Bench, from: u32) -> (Vec<(u32, Entry)>, f32) {
    bench.send(&ToBox::ReadLog { from });
    let (mut logged, mut seconds, mut silent_s) = (Vec::new(), 0.0, 0.0);
    loop {
        let said = bench.run(0.1);
        seconds += 0.1;
        silent_s += 0.1;
        for message in &said {
            match message {
                FromBox::Logged { sequence, entry } => logged.push((*sequence, *entry)),
                FromBox::Reading { sent } => silent_s = if *sent as usize == logged.len() { 0.0 } else { silent_s },
                FromBox::LogEnd { next, sent } => {
                    assert_eq!(*sent as usize, logged.len());
                    logged.sort_by_key(|(sequence, _)| *sequence);
                    assert!(logged.windows(2).all(|pair| pair[1].0 > pair[0].0));
                    assert!(logged.last().is_none_or(|(sequence, _)| sequence < next));
                    return (logged, seconds);
                }
                _ => {}
            }
        }
        assert!(silent_s < 0.5 && seconds < 120.0, "the box does not say that it is working");
    }
}

#[test]
fn the_log_comes_down_in_order() {
    let mut bench = Bench::armed_and_riding();
    bench.restart(ResetCause::BrownOut);
    bench.run(1.0);
    let (logged, _) = log_of(&mut bench, 3);
    assert_eq!(logged[0].0, 3);
    assert!(logged.windows(2).all(|pair| pair[1].0 == pair[0].0 + 1), "{logged:?}");
    let has = |what| logged.iter().any(|(_, entry)| entry.what == what);
    assert!(has(Noted::Settings { site_id: 7, revision: 3 }) && has(Noted::Booted(ResetCause::BrownOut)));
    let ride = |e: &Entry| matches!(e.what, Noted::Watch(What::Changed { to: State::Ride, .. }));
    assert!(logged.iter().any(|(_, entry)| ride(entry)));
    assert_eq!(logged.last().unwrap().1.boot, 2);
}

#[test]
fn a_young_log_comes_down_within_a_second() {
    let mut bench = Bench::with_sectors(194);
    bench.arm(sample());
    bench.run(20.0);
    let (logged, seconds) = log_of(&mut bench, 0);
    assert!(logged.len() > 3 && seconds <= 1.0, "{} records in {seconds} s", logged.len());
}

/// Fills the log by the short way, one note a rest.
fn note_often(bench: &mut Bench, what: Noted, times: u32) {
    for _ in 0..times {
        bench.app.note(what);
        while !bench.app.notes.is_empty() {
            bench.app.write_note();
        }
    }
}

#[test]
fn a_full_log_loses_starts_before_stops_and_never_what_must_be_known() {
    let mut bench = Bench::armed_and_riding();
    note_often(&mut bench, Noted::Booted(ResetCause::Unknown), 2000);
    assert!(bench.app.lost > 100);
    let lost = bench.app.lost;
    note_often(&mut bench, Noted::Watch(What::Acknowledged), 50);
    assert_eq!(bench.app.lost, lost, "what is graver still has room");
    note_often(&mut bench, Noted::Watch(What::Acknowledged), 2000);
    assert!(bench.app.lost > lost);
    bench.world.reading.set(Ok(500.0));
    bench.run(0.5);
    bench.restart(ResetCause::PowerOn);
    assert!(bench.app.kept.unacknowledged && bench.app.kept.duty);
}

#[test]
fn nothing_is_erased_before_the_first_step_nor_while_somebody_may_ride() {
    for fill in [0x00, 0xA5, 0xFF] {
        let mut bench = Bench::with_sectors(194);
        bench.world.flash.borrow_mut().fill(fill);
        bench.world.erases.set(0);
        bench.world.writes.set(0);
        bench.restart(ResetCause::Watchdog);
        assert_eq!((bench.world.erases.get(), bench.world.writes.get()), (0, 0));
    }
    let mut bench = Bench::armed_and_riding();
    bench.world.erases.set(0);
    for _ in 0..5 {
        bench.restart(ResetCause::BrownOut);
        assert!(bench.app.store.room(Book::Events) > 0);
        bench.run(30.0);
    }
    assert_eq!(bench.world.erases.get(), 0);
    // With the day ended, room is made again.
    note_often(&mut bench, Noted::Watch(What::Acknowledged), 100);
    bench.world.button.set(true);
    bench.run(9.0);
    bench.world.button.set(false);
    assert_eq!(bench.app.status.state.map(|s| s.0), Some(State::Ended));
    bench.run(30.0);
    assert!(bench.world.erases.get() > 0 && !bench.app.store.wants_room(Book::Events));
    assert_eq!(bench.app.status.state.map(|s| s.0), Some(State::Ended), "no late step");
}

#[test]
fn an_erase_while_the_bag_fills_is_no_fault() {
    let mut bench = Bench::with_sectors(194);
    bench.arm(sample());
    bench.world.erases.set(0);
    for tenth in 0..600_u16 {
        // An erase takes a quarter of a second of the box's time.
        let before = bench.world.erases.get();
        bench.world.reading.set(Ok((f32::from(tenth) * 2.5).clamp(0.0, 1000.0)));
        let said = bench.run(0.1);
        assert!(!said.iter().any(|m| matches!(m, FromBox::Status(s) if s.siren)), "at {tenth}");
        bench.us += u64::from(bench.world.erases.get() - before) * 250_000;
    }
    assert!(bench.world.erases.get() > 30 && bench.permit());
}

#[test]
fn duty_outlives_every_reset_and_an_end_of_the_day_does_too() {
    for cause in [ResetCause::PowerOn, ResetCause::BrownOut, ResetCause::Watchdog] {
        let mut bench = Bench::armed_and_riding();
        bench.restart(cause);
        bench.world.reading.set(Ok(500.0));
        bench.run(0.12);
        assert!(bench.world.levels[3].get() && !bench.permit(), "{cause:?}: no siren");
        // The day is ended: the next start is a morning.
        let mut bench = Bench::armed_and_riding();
        bench.world.button.set(true);
        bench.run(9.0);
        bench.world.button.set(false);
        bench.world.reading.set(Ok(0.0));
        bench.world.supply.set(false);
        bench.run(2.0);
        bench.restart(cause);
        bench.world.supply.set(true);
        let said = bench.run(10.0);
        assert!(!said.iter().any(|m| matches!(m, FromBox::Status(s) if s.siren)), "{cause:?}");
        assert_eq!(bench.app.status.state.map(|s| s.0), Some(State::Fill));
    }
}

/// One landing of an invented rider every 20 s for `hours`, and now and then a stop; gives how many stops there were.
fn riding_day(bench: &mut Bench, hours: u32, stops: &mut u32) {
    for landing in 0..hours * 180 {
        for pa in [2200.0, 2200.0, 950.0] {
            bench.world.reading.set(Ok(pa));
            bench.run(0.14);
        }
        bench.world.reading.set(Ok(1000.0));
        bench.run(19.58);
        if landing % 600 == 599 {
            *stops += 1;
            bench.world.reading.set(Ok(500.0));
            bench.run(1.0);
            bench.world.reading.set(Ok(1000.0));
            bench.run(5.0);
            bench.world.button.set(true);
            bench.run(2.5);
            bench.world.button.set(false);
            bench.run(12.0);
        }
    }
}

/// A season: days with a landing every 20 s, each with its start, stops, end and night. The whole is behind a variable, as
/// it takes minutes; a week is always run.
#[test]
fn a_season_of_landings_loses_no_stop() {
    let days: u32 = std::env::var("LANDFALL_SEASON_DAYS").ok().and_then(|n| n.parse().ok()).unwrap_or(3);
    let hours: u32 = std::env::var("LANDFALL_SEASON_HOURS").ok().and_then(|n| n.parse().ok()).unwrap_or(4);
    let mut bench = Bench::with_sectors(194);
    bench.arm(sample());
    let mut stops = 0;
    for day in 0..days {
        bench.restart(ResetCause::PowerOn);
        bench.world.reading.set(Ok(0.0));
        bench.run(20.0);
        bench.world.reading.set(Ok(1000.0));
        bench.run(20.0);
        assert!(bench.permit(), "day {day}: {:?}", bench.app.status);
        riding_day(&mut bench, hours, &mut stops);
        assert!(bench.permit(), "day {day}: {:?}", bench.app.status);
        bench.world.button.set(true);
        bench.run(10.0);
        bench.world.button.set(false);
        bench.world.reading.set(Ok(0.0));
        bench.run(30.0);
        assert_eq!(bench.app.lost, 0, "day {day}");
    }
    bench.restart(ResetCause::PowerOn);
    bench.run(10.0);
    let (logged, seconds) = log_of(&mut bench, 0);
    let count = |f: fn(&Noted) -> bool| logged.iter().filter(|(_, e)| f(&e.what)).count() as u32;
    let found = count(|w| matches!(w, Noted::Watch(What::Changed { to: State::Stop, .. })));
    let landings = count(|w| matches!(w, Noted::Watch(What::Landed(_))));
    let in_hours: u32 =
        logged.iter().map(|(_, e)| if let Noted::Hour(hour) = e.what { u32::from(hour.landings) } else { 0 }).sum();
    let events = logged.len() as u32 - landings;
    std::println!(
        "a season of {days} days with {hours} h of riding each: {stops} stops, {found} in the log; {events} events, that is \
         {} a day; {landings} landings one by one, {in_hours} in hourly figures; read in {seconds:.0} s",
        events / days
    );
    if let Ok(path) = std::env::var("LANDFALL_SEASON_IMAGE") {
        std::fs::write(path, &*bench.world.flash.borrow()).unwrap();
    }
    assert_eq!(found, stops);
    assert!(in_hours + 2 * days >= days * hours * 180, "{in_hours}");
}

#[test]
fn the_watchdog_is_fed_only_when_all_pins_moved() {
    let mut bench = Bench::armed_and_riding();
    let before = bench.world.feeds.get();
    bench.run(1.0);
    assert_eq!(bench.world.feeds.get() - before, 50);
    bench.world.broken_pin.set(true);
    let before = bench.world.feeds.get();
    bench.run(1.0);
    assert_eq!(bench.world.feeds.get(), before);
}

#[test]
fn a_sensor_too_short_for_the_settings_is_not_believed() {
    let mut bench = Bench::armed_and_riding();
    bench.world.range_pa.set(500.0);
    bench.restart(ResetCause::PowerOn);
    bench.run(20.0);
    assert!(!bench.permit());
    assert_eq!(bench.app.status.state, Some((State::Fault, Reason::NotBelieved)));
}

#[test]
fn a_box_forgets_by_line_and_button_together_and_keeps_the_revision() {
    let mut bench = Bench::armed_and_riding();
    // By the button alone, held since the start: nothing is forgotten.
    bench.world.button.set(true);
    bench.restart(ResetCause::PowerOn);
    bench.run(15.0);
    assert_eq!(bench.app.settings, Some(sample()));
    bench.send(&ToBox::Forget { site_id: 7 });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::OnDuty]);
    bench.world.button.set(false);
    bench.run(0.1);
    bench.world.button.set(true);
    bench.run(9.0);
    assert_eq!(bench.app.status.state.map(|s| s.0), Some(State::Ended));
    bench.world.button.set(false);
    bench.run(0.1);
    // By the line alone, and for another site: neither.
    bench.send(&ToBox::Forget { site_id: 7 });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Button]);
    bench.world.button.set(true);
    bench.run(1.5);
    bench.send(&ToBox::Forget { site_id: 8 });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Foreign { site_id: 7 }]);
    bench.send(&ToBox::Forget { site_id: 7 });
    assert!(bench.run(0.1).contains(&FromBox::Forgot { floor: 3 }));
    assert!(bench.app.settings.is_none() && bench.app.watch.is_none());
    bench.world.button.set(false);
    bench.restart(ResetCause::PowerOn);
    assert!(bench.app.settings.is_none());
    // What the box has had it does not take again, of this site or another.
    let other = WatchSettings { site_id: 8, revision: 3, ..sample() };
    bench.send(&ToBox::Offer(other));
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Stale { revision: 3 }]);
    let other = WatchSettings { revision: 4, ..other };
    assert!(bench.arm(other).contains(&FromBox::Stored(other)));
}

#[test]
fn a_shorted_button_does_not_store_settings() {
    let lax = WatchSettings { stop_pa: 100.0, half_way_pa: 550.0, revision: 9, ..sample() };
    let confirm = |bench: &mut Bench| {
        bench.send(&ToBox::Offer(lax));
        bench.run(0.1);
        bench.send(&ToBox::Confirm { check: check_of(&lax).unwrap() });
        refusals(&bench.run(0.1))
    };
    // Shorted since the start.
    let mut bench = Bench::new();
    bench.world.button.set(true);
    bench.restart(ResetCause::PowerOn);
    bench.run(5.0);
    assert_eq!(confirm(&mut bench), [Refusal::Button]);
    // Shorted while it was held for the settings before.
    let mut bench = Bench::new();
    bench.arm(sample());
    bench.world.button.set(true);
    bench.run(5.0);
    assert_eq!(confirm(&mut bench), [Refusal::Button]);
    // Shorted later: held for longer than anybody does.
    let mut bench = Bench::new();
    bench.arm(sample());
    bench.run(0.1);
    bench.world.button.set(true);
    bench.run(31.0);
    assert_eq!(confirm(&mut bench), [Refusal::Button]);
    assert_eq!(bench.app.status.fault, Some(landfall_core::watch::Fault::ButtonStuck));
    assert_eq!(bench.app.settings, Some(sample()));
}

#[test]
fn a_flood_of_requests_does_not_stop_what_the_box_says_by_itself() {
    let mut bench = Bench::armed_and_riding();
    bench.run(1.0);
    let (mut fed, mut statuses) = (0, 0);
    for _ in 0..500 {
        for request in [ToBox::ReadSettings, ToBox::Identify, ToBox::ReadLog { from: 0 }] {
            bench.send(&request);
            bench.world.to_box.borrow_mut().extend_from_slice(&[7, 7, 7, 0]);
        }
        let room = bench.world.room.replace(230);
        for message in bench.run(0.02) {
            fed += u32::from(matches!(message, FromBox::Fed(_)));
            statuses += u32::from(matches!(message, FromBox::Status(_)));
        }
        bench.world.room.set(room);
    }
    assert!(fed >= 98 && statuses >= 98, "{fed} {statuses} of 100");
    bench.run(1.0);
    assert!(bench.permit());
}

#[test]
fn noise_on_the_line_changes_nothing() {
    let mut bench = Bench::armed_and_riding();
    let mut noise = 7_u32;
    for _ in 0..200 {
        for _ in 0..50 {
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            bench.world.to_box.borrow_mut().push((noise >> 24) as u8);
        }
        let said = bench.run(0.02);
        assert!(refusals(&said).iter().all(|r| *r == Refusal::Frame), "{said:?}");
    }
    assert!(bench.permit());
    assert_eq!(bench.app.settings, Some(sample()));
}
