//! The box as a whole, with a bag, a flash and a line that are only numbers.

use super::*;
use crate::frame::encode;
use crate::link::tests::sample;
use crate::link::{FromBox, PROTOCOL, Refusal, ToBox, check_of};
use crate::sensor::{Fault, Kind, Reading};
use core::convert::Infallible;
use embedded_hal::digital;
use embedded_storage::nor_flash::{ErrorType, NorFlashErrorKind, ReadNorFlash};
use landfall_core::watch::parts::SecondKind;
use landfall_core::watch::{Reason, State, What};
use std::cell::{Cell, RefCell};
use std::rc::Rc;
use std::vec::Vec;

#[cfg(feature = "advisory")]
pub(crate) mod advisory;
mod beside;
mod calibrate;
mod change;
mod log;
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
    /// The second sensor is off the first by this much, or gives nothing.
    second: Cell<Result<f32, Fault>>,
    /// What the battery measures, each step.
    battery: Cell<Option<f32>>,
    /// Blowers that run, one bit each.
    running: Cell<u8>,
    /// The permit's pin, as a charge pump behind it sees it: steps since its last edge.
    edge_age: Cell<u32>,
    edges: Cell<u32>,
    /// The relay's contact: as the pump and the relay make it, or welded.
    contact: Cell<bool>,
    welded: Cell<bool>,
    flash: RefCell<Vec<u8>>,
    /// Flash work left until the power goes.
    power: Cell<usize>,
    to_box: RefCell<Vec<u8>>,
    from_box: RefCell<Vec<u8>>,
    feeds: Cell<u32>,
}

const PERMIT: usize = 4;
const SECTOR: usize = 4096;

impl World {
    fn moved(&self, which: usize, on: bool) {
        if self.levels[which].replace(on) != on && which == PERMIT {
            self.edge_age.set(0);
            self.edges.set(self.edges.get() + 1);
        }
    }

    /// A step of the pump and the relay behind the permit's pin: closed while edges come, or, driven by its level, while it is high.
    fn relay(&self, pulses: bool) {
        self.edge_age.set(self.edge_age.get() + 1);
        let pulled = if pulses { self.edge_age.get() <= 2 && self.edges.get() > 1 } else { self.levels[PERMIT].get() };
        self.contact.set(pulled || self.welded.get());
    }
}

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
    fn second(&mut self, (): &mut (), _: SecondKind) -> Result<Reading, Fault> {
        let off_pa = self.0.second.get()?;
        self.0.reading.get().map(|pa| Reading { gauge_pa: pa + off_pa, outside: None })
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
        self.0.moved(self.1, false);
        if self.0.broken_pin.get() { Err(Stuck) } else { Ok(()) }
    }
    fn set_high(&mut self) -> Result<(), Stuck> {
        self.0.moved(self.1, true);
        if self.0.broken_pin.get() { Err(Stuck) } else { Ok(()) }
    }
}

/// Which input: the button, the supply, the permit's contact, or a blower.
#[derive(Clone, Copy)]
enum Which {
    Button,
    Supply,
    Contact,
    Blower(u8),
}

struct In(Rc<World>, Which);
impl digital::ErrorType for In {
    type Error = Infallible;
}
impl InputPin for In {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(match self.1 {
            Which::Button => !self.0.button.get(),
            Which::Supply => self.0.supply.get(),
            Which::Contact => self.0.contact.get(),
            Which::Blower(which) => self.0.running.get() & 1 << which != 0,
        })
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

impl World {
    /// All at rest, with an empty flash of so many sectors.
    fn new(sectors: usize) -> Rc<Self> {
        Rc::new(Self {
            outside: Cell::new(None),
            reading: Cell::new(Ok(0.0)),
            range_pa: Cell::new(4981.8),
            noise: Cell::new(1),
            erases: Cell::new(0),
            writes: Cell::new(0),
            levels: Default::default(),
            second: Cell::new(Ok(0.0)),
            battery: Cell::new(None),
            running: Cell::new(0b1111),
            edge_age: Cell::new(0),
            edges: Cell::new(0),
            contact: Cell::new(false),
            welded: Cell::new(false),
            broken_pin: Cell::new(false),
            button: Cell::new(false),
            supply: Cell::new(true),
            flash: RefCell::new(vec![0xFF; sectors * SECTOR]),
            room: Cell::new(usize::MAX),
            power: Cell::new(usize::MAX),
            to_box: RefCell::default(),
            from_box: RefCell::default(),
            feeds: Cell::new(0),
        })
    }
}

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
        let world = World::new(sectors);
        let app = Self::boot(&world, ResetCause::PowerOn);
        Self { world, app, us: 0, receiver: Receiver::new() }
    }

    fn boot(world: &Rc<World>, cause: ResetCause) -> &'static mut Tested {
        let w = || Rc::clone(world);
        let out = |index| Out(w(), index);
        let hardware = Hardware {
            bus: (),
            outputs: Outputs { red: out(0), amber: out(1), green: out(2), siren: out(3), permit: out(PERMIT) },
            inputs: Inputs {
                button: In(w(), Which::Button),
                supply: Some(In(w(), Which::Supply)),
                contact: Some(In(w(), Which::Contact)),
                blowers: [0, 1, 2, 3].map(|which| Some(In(w(), Which::Blower(which)))),
            },
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
            self.app.battery(self.world.battery.get());
            self.app.step(TimeUs(self.us), || end);
            self.app.pump();
            self.app.rest();
            let pulses = self.app.parts().permit_pulses;
            self.world.relay(pulses);
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
