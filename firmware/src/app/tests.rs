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

/// The outside of the box.
struct World {
    outside: Cell<Option<crate::sensor::Outside>>,
    reading: Cell<Result<f32, Fault>>,
    range_pa: Cell<f32>,
    noise: Cell<u32>,
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
        if !spend(&self.0.power) {
            // Half-way: half of the bytes are erased.
            self.0.flash.borrow_mut()[from as usize..to as usize].iter_mut().step_by(2).for_each(|b| *b = 0xFF);
            return Err(NorFlashErrorKind::Other);
        }
        self.0.flash.borrow_mut()[from as usize..to as usize].fill(0xFF);
        Ok(())
    }
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
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
        Ok(true)
    }
}
impl Write for Line {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
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
        let world = Rc::new(World {
            outside: Cell::new(None),
            reading: Cell::new(Ok(0.0)),
            range_pa: Cell::new(4981.8),
            noise: Cell::new(1),
            levels: Default::default(),
            broken_pin: Cell::new(false),
            button: Cell::new(false),
            supply: Cell::new(true),
            flash: RefCell::new(vec![0xFF; 6 * SECTOR]),
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
    bench.world.button.set(true);
    bench.run(61.0);
    bench.send(&ToBox::Confirm { check: check_of(&sample()).unwrap() });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::NotStaged]);
}

#[test]
fn storing_settings_while_riding_opens_the_permit() {
    let mut bench = Bench::armed_and_riding();
    let newer = WatchSettings { revision: 4, needed_s: 5.0, ..sample() };
    assert!(bench.arm(newer).contains(&FromBox::Stored(newer)));
    assert!(!bench.permit());
    assert_eq!(bench.app.status.state.map(|s| s.0), Some(State::Check));
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
    assert_eq!(bench.app.kept, Kept { zero_pa: zero, unacknowledged: true });
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

#[test]
fn the_log_comes_down_in_order() {
    let mut bench = Bench::armed_and_riding();
    bench.restart(ResetCause::BrownOut);
    bench.run(1.0);
    bench.send(&ToBox::ReadLog { from: 3 });
    let said = bench.run(20.0);
    let logged: Vec<_> = said
        .iter()
        .filter_map(|m| if let FromBox::Logged { sequence, entry } = m { Some((*sequence, *entry)) } else { None })
        .collect();
    assert_eq!(logged[0].0, 3);
    assert!(logged.windows(2).all(|pair| pair[1].0 == pair[0].0 + 1), "{logged:?}");
    let Some(FromBox::LogEnd { next }) = said.iter().find(|m| matches!(m, FromBox::LogEnd { .. })) else {
        panic!("no end")
    };
    assert_eq!(logged.last().unwrap().0 + 1, *next);
    let has = |what| logged.iter().any(|(_, entry)| entry.what == what);
    assert!(has(Noted::Settings { site_id: 7, revision: 3 }) && has(Noted::Booted(ResetCause::BrownOut)));
    let ride = |e: &Entry| matches!(e.what, Noted::Watch(What::Changed { to: State::Ride, .. }));
    assert!(logged.iter().any(|(_, entry)| ride(entry)));
    assert_eq!(logged.last().unwrap().1.boot, 2);
}

#[test]
fn a_full_log_loses_landings_but_not_what_must_be_known() {
    let mut bench = Bench::armed_and_riding();
    for _ in 0..400 {
        bench.app.note(Noted::Forgotten);
        bench.run(0.02);
    }
    assert!(bench.app.lost > 100);
    bench.world.reading.set(Ok(500.0));
    bench.run(0.5);
    bench.restart(ResetCause::PowerOn);
    assert!(bench.app.kept.unacknowledged);
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
fn the_button_held_from_the_start_makes_it_forget_its_site() {
    let mut bench = Bench::armed_and_riding();
    bench.world.button.set(true);
    bench.restart(ResetCause::PowerOn);
    bench.run(9.9);
    assert!(bench.app.settings.is_some());
    bench.run(0.2);
    assert!(bench.app.settings.is_none() && bench.app.watch.is_none());
    bench.world.button.set(false);
    bench.restart(ResetCause::PowerOn);
    assert!(bench.app.settings.is_none());
    let other = WatchSettings { site_id: 8, revision: 1, ..sample() };
    assert!(bench.arm(other).contains(&FromBox::Stored(other)));
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
