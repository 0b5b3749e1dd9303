//! The whole box, its own program on a bag, a flash and a line that are numbers: deflations, restarts at any instant and in
//! every state, and long riding with gusts, sun and landings.
//!
//! The bag here is this file's own: falls by three laws, landings as half sines with a dip, gusts, and a zero that the sun
//! moves. None of it is in the program. Every size is *assumed*; no recording of a real bag stands behind it. A short run is
//! part of the tests; `proof.sh` asks for the long one.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::convert::Infallible;
use std::mem::MaybeUninit;
use std::rc::Rc;
use std::time::Instant;

use embedded_hal::digital::{ErrorType as PinError, InputPin, OutputPin};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::{ErrorType as FlashError, NorFlash, NorFlashErrorKind, ReadNorFlash};
use landfall_core::watch::{ResetCause, State, TimeUs, WatchSettings};
use landfall_firmware::app::{App, Hardware};
use landfall_firmware::board::{Inputs, Outputs, Watchdog};
use landfall_firmware::frame::Receiver;
use landfall_firmware::link::{FromBox, Status};
use landfall_firmware::sensor::{Fault, GaugeSensor, Kind, Reading};
use landfall_firmware::store::{SETTINGS, Store};

const SECTOR: usize = 4096;
const SECTORS: usize = 34;
const SIREN: usize = 3;
const PERMIT: usize = 4;
/// Between two points of the true pressure, s.
const GRID_S: f64 = 0.004;
/// Shortest stay at or under the stop pressure that is promised to be noticed, s.
const STAY_S: f64 = 0.08;
/// Latest siren after the beginning of such a stay, s.
const SIREN_S: f64 = 0.2;
/// From a reset to the first step, s: what the image takes in the emulator with any log, rounded up.
const START_S: f64 = 0.1;
const SITE: WatchSettings = WatchSettings::EXAMPLE;

/// Numbers from a seed (PCG of M. O'Neill, 2014, with 32 bits out).
struct Dice(u64);
impl Dice {
    fn new(seed: u64) -> Self {
        let mut dice = Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        (0..4).for_each(|_| {
            dice.word();
        });
        dice
    }
    fn word(&mut self) -> u32 {
        let old = self.0;
        self.0 = old.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((((old >> 18) ^ old) >> 27) as u32).rotate_right((old >> 59) as u32)
    }
    fn uniform(&mut self) -> f64 {
        (f64::from(self.word()) + 0.5) / 4_294_967_296.0
    }
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }
    fn log_between(&mut self, low: f64, high: f64) -> f64 {
        (self.between(low.ln(), high.ln())).exp()
    }
    fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }
    fn one_of(&mut self, count: u32) -> u32 {
        self.word() % count
    }
}

struct World {
    reading: Cell<Result<f32, Fault>>,
    levels: [Cell<bool>; 5],
    button: Cell<bool>,
    supply: Cell<bool>,
    flash: RefCell<Vec<u8>>,
    /// Bytes of flash work until the power goes.
    power: Cell<usize>,
    from_box: RefCell<Vec<u8>>,
}

struct Sensor(Rc<World>);
impl GaugeSensor<()> for Sensor {
    fn step(&mut self, (): &mut ()) -> Result<Reading, Fault> {
        self.0.reading.get().map(|gauge_pa| Reading { gauge_pa, outside: None })
    }
    fn kind(&self) -> Option<Kind> {
        Some(Kind::Bridge)
    }
    fn range_pa(&self) -> f32 {
        5000.0
    }
}

struct Out(Rc<World>, usize);
impl PinError for Out {
    type Error = Infallible;
}
impl OutputPin for Out {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.levels[self.1].set(false);
        Ok(())
    }
    fn set_high(&mut self) -> Result<(), Infallible> {
        self.0.levels[self.1].set(true);
        Ok(())
    }
}

struct In(Rc<World>, bool);
impl PinError for In {
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
impl Nor {
    fn spend(&self) -> bool {
        let left = self.0.power.get();
        if left != usize::MAX {
            self.0.power.set(left.saturating_sub(1));
        }
        left > 0
    }
}
impl FlashError for Nor {
    type Error = NorFlashErrorKind;
}
impl ReadNorFlash for Nor {
    const READ_SIZE: usize = 1;
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        let (flash, from) = (self.0.flash.borrow(), offset as usize);
        bytes.copy_from_slice(flash.get(from..from + bytes.len()).ok_or(NorFlashErrorKind::OutOfBounds)?);
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
        let whole = self.spend();
        let step = if whole { 1 } else { 2 };
        self.0.flash.borrow_mut()[from as usize..to as usize].iter_mut().step_by(step).for_each(|byte| *byte = 0xFF);
        if whole { Ok(()) } else { Err(NorFlashErrorKind::Other) }
    }
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        for (index, byte) in bytes.iter().enumerate() {
            if !self.spend() {
                return Err(NorFlashErrorKind::Other);
            }
            self.0.flash.borrow_mut()[offset as usize + index] &= byte;
        }
        Ok(())
    }
}

struct Line(Rc<World>);
impl embedded_io::ErrorType for Line {
    type Error = Infallible;
}
impl ReadReady for Line {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(false)
    }
}
impl Read for Line {
    fn read(&mut self, _: &mut [u8]) -> Result<usize, Infallible> {
        Ok(0)
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

struct Dog;
impl Watchdog for Dog {
    fn feed(&mut self, _: u32) {}
}

type Tested = App<Sensor, (), Out, In, Nor, Line, Dog>;

/// A box with its settings stored, and the time of its world.
struct Bench {
    world: Rc<World>,
    app: Option<(Box<MaybeUninit<Tested>>, *mut Tested)>,
    since_start_us: u64,
    receiver: Receiver,
    status: Status,
    sirens: u64,
}

impl Bench {
    fn new() -> Self {
        let world = Rc::new(World {
            reading: Cell::new(Ok(0.0)),
            levels: Default::default(),
            button: Cell::new(false),
            supply: Cell::new(true),
            flash: RefCell::new(vec![0xFF; SECTORS * SECTOR]),
            power: Cell::new(usize::MAX),
            from_box: RefCell::default(),
        });
        let mut bytes = [0; SETTINGS];
        let stored = postcard::to_slice(&(SITE.revision.to_le_bytes(), SITE), &mut bytes).unwrap();
        Store::open(Nor(Rc::clone(&world))).save_settings(stored).unwrap();
        let mut bench = Self {
            world,
            app: None,
            since_start_us: 0,
            receiver: Receiver::new(),
            status: Status::default(),
            sirens: 0,
        };
        bench.start(ResetCause::PowerOn);
        bench
    }

    fn start(&mut self, cause: ResetCause) {
        self.stop();
        let w = || Rc::clone(&self.world);
        self.world.power.set(usize::MAX);
        let out = |index| Out(w(), index);
        let hardware = Hardware {
            bus: (),
            outputs: Outputs { red: out(0), amber: out(1), green: out(2), siren: out(SIREN), permit: out(PERMIT) },
            inputs: Inputs::plain(In(w(), true), Some(In(w(), false))),
            flash: Nor(w()),
            link: Line(w()),
            watchdog: Dog,
        };
        let mut place = Box::new(MaybeUninit::uninit());
        let app: *mut Tested = App::start(&mut place, hardware, Sensor(w()), cause);
        self.app = Some((place, app));
        self.since_start_us = 0;
        self.status = Status::default();
    }

    /// The program ends: its outputs are open.
    fn stop(&mut self) {
        if let Some((mut place, _)) = self.app.take() {
            // SAFETY: made by `App::start` in this place, and not used any more.
            unsafe { place.assume_init_drop() };
        }
        self.world.levels.iter().for_each(|level| level.set(false));
        self.world.from_box.borrow_mut().clear();
        self.receiver = Receiver::new();
    }

    /// One step with this reading.
    fn step(&mut self, reading: Result<f32, Fault>) {
        self.world.reading.set(reading);
        self.since_start_us += 20_000;
        let now = TimeUs(self.since_start_us);
        let (_, app) = self.app.as_ref().expect("started");
        // SAFETY: lives in the box beside it, and nobody else has it.
        let app = unsafe { &mut **app };
        app.step(now, || TimeUs(now.0 + 500));
        for _ in 0..4 {
            app.pump();
        }
        app.rest();
        let bytes = std::mem::take(&mut *self.world.from_box.borrow_mut());
        for byte in bytes {
            if let Some(Ok(FromBox::Status(status))) = self.receiver.push(byte) {
                self.status = status;
                self.sirens += u64::from(status.siren);
            }
        }
    }

    fn hold(&mut self, pa: f32, noise: &mut Noise, seconds: f64) {
        for _ in 0..(seconds * 50.0) as u32 {
            let reading = noise.reading(f64::from(pa));
            self.step(Ok(reading));
        }
    }

    fn permit(&self) -> bool {
        self.world.levels[PERMIT].get()
    }

    fn state(&self) -> Option<State> {
        self.status.state.map(|(state, _)| state)
    }

    /// The siren is called for: its pin has pauses, the status has none.
    fn siren(&self) -> bool {
        self.world.levels[SIREN].get()
    }

    /// From a vented bag to riding.
    fn ride(&mut self, noise: &mut Noise) {
        self.hold(0.0, noise, 3.0);
        for step in 0..100 {
            let pa = 10.0 * step as f32;
            self.hold(pa, noise, 0.02);
        }
        self.hold(1000.0, noise, 7.0);
        assert!(self.permit(), "does not ride: {:?}", self.status);
    }

    fn press(&mut self, pa: f32, noise: &mut Noise, seconds: f64) {
        self.world.button.set(true);
        self.hold(pa, noise, seconds);
        self.world.button.set(false);
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        self.stop();
    }
}

/// What a usual day adds: turbulence, the sensor's noise, gusts either way, and the sun on the sensor.
struct Noise {
    dice: Dice,
    turbulence_pa: f64,
    gust: Option<(f64, f64, f64)>,
    gust_pa: f64,
    sun_pa: f64,
    sun_goal_pa: f64,
    scale: f64,
    lost: f64,
}

impl Noise {
    fn new(seed: u64) -> Self {
        let dice = Dice::new(seed);
        Self {
            dice,
            turbulence_pa: 0.0,
            gust: None,
            gust_pa: 0.0,
            sun_pa: 0.0,
            sun_goal_pa: 0.0,
            scale: 1.0,
            lost: 1e-4,
        }
    }

    /// The bag's own fluctuation over the next `dt_s`, Pa: 4 Pa of turbulence with 0.15 s, a gust every 20 s of 15 Pa on
    /// average and 67 Pa at most.
    fn air_pa(&mut self, dt_s: f64) -> f64 {
        let keep = (-dt_s / 0.15).exp();
        self.turbulence_pa = keep * self.turbulence_pa + 4.0 * (1.0 - keep * keep).sqrt() * self.dice.normal();
        self.gust = match self.gust {
            Some((height, length_s, t_s)) if t_s < length_s => Some((height, length_s, t_s + dt_s)),
            _ if self.dice.uniform() < 0.05 * dt_s => {
                let height = (-15.0 * self.dice.uniform().ln()).min(67.0);
                let sign = if self.dice.uniform() < 0.5 { -1.0 } else { 1.0 };
                Some((sign * height, self.dice.between(1.0, 5.0), 0.0))
            }
            _ => None,
        };
        self.gust_pa = self.gust.map_or(0.0, |(height, length_s, t_s)| {
            height * 0.5 * (1.0 - (std::f64::consts::TAU * (t_s / length_s).min(1.0)).cos())
        });
        self.scale * (self.turbulence_pa + self.gust_pa)
    }

    /// What the sensor says of a pressure: 2 Pa of white noise, steps of 0.2 Pa, and up to 8 Pa that sun and clouds add,
    /// within the 12 Pa that the settings allow for.
    fn told(&mut self, true_pa: f64) -> f32 {
        if self.dice.uniform() < 0.02 / 120.0 {
            self.sun_goal_pa = self.dice.between(-8.0, 8.0);
        }
        self.sun_pa += (self.sun_goal_pa - self.sun_pa) * 0.02 / 60.0;
        let pa = true_pa + self.sun_pa + 2.0 * self.scale * self.dice.normal();
        ((pa / 0.2).round() * 0.2) as f32
    }

    /// A reading of a bag at rest at `pa`.
    fn reading(&mut self, pa: f64) -> f32 {
        let air_pa = self.air_pa(0.02) * (pa / 1000.0).clamp(0.0, 1.0);
        self.told(pa + air_pa)
    }
}

/// A landing: half a sine, a bounce half as long, and a dip that dies away.
#[derive(Clone, Copy)]
struct Bump {
    at_s: f64,
    rise_pa: f64,
    spike_s: f64,
    bounce: f64,
    dip_pa: f64,
    tau_s: f64,
}

impl Bump {
    fn any(dice: &mut Dice, at_s: f64) -> Self {
        Self {
            at_s,
            rise_pa: dice.between(320.0, 2200.0),
            spike_s: dice.between(0.25, 0.6),
            bounce: dice.between(0.0, 0.3),
            dip_pa: dice.between(20.0, 110.0),
            tau_s: dice.between(0.5, 1.5),
        }
    }
    fn adds_pa(&self, t_s: f64) -> f64 {
        let t = t_s - self.at_s;
        if !(0.0..20.0).contains(&t) {
            return 0.0;
        }
        let half = |t: f64, length: f64| {
            if (0.0..length).contains(&t) { (std::f64::consts::PI * t / length).sin() } else { 0.0 }
        };
        let after = t - self.spike_s;
        let dip = if after > 0.0 { -self.dip_pa * (-after / self.tau_s).exp() } else { 0.0 };
        self.rise_pa * (half(t, self.spike_s) + self.bounce * half(t - 1.5 * self.spike_s, 0.5 * self.spike_s)) + dip
    }
}

/// Share of the pressure left, by one of three laws, `share` being left at `to_s`.
fn left(law: u32, t_s: f64, share: f64, to_s: f64) -> f64 {
    let x = (t_s / to_s).max(0.0);
    match law {
        0 => (1.0 - (1.0 - share) * x).max(0.0),
        1 => share.powf(x),
        _ => (1.0 - (1.0 - share.sqrt()) * x).max(0.0).powi(2),
    }
}

/// One deflation from riding: how late the siren was after a stay that counts, s; negative: before it, or there was none.
fn deflate(seed: u64) -> Result<f64, String> {
    let mut dice = Dice::new(seed);
    let mut noise = Noise::new(seed ^ 0xABCD);
    let mut bench = Bench::new();
    bench.ride(&mut noise);
    noise.scale = dice.between(0.3, 1.5);
    noise.lost = [0.0, 1e-4, 0.02, 0.05][dice.one_of(4) as usize];
    let to_stop_s = dice.log_between(0.02, 300.0);
    let law = dice.one_of(3);
    let share = f64::from(SITE.stop_pa) / f64::from(SITE.operating_pa);
    let count = [0, 1, 3][dice.one_of(3) as usize];
    let bumps: Vec<Bump> = (0..count)
        .map(|_| {
            let middle_s = if dice.uniform() < 0.7 { to_stop_s } else { dice.between(0.0, to_stop_s) };
            let at_s = middle_s + dice.between(-2.0, 0.5);
            Bump::any(&mut dice, at_s)
        })
        .collect();
    let phase = dice.one_of(5);
    let (mut felt_pa, mut under_s, mut crossed_s, mut siren_s) = (1000.0, None, None, None::<f64>);
    let before_s = dice.between(0.5, 3.0);
    for point in 0..u64::MAX {
        let t_s = point as f64 * GRID_S - before_s;
        let base_pa = 1000.0 * left(law, t_s, share, to_stop_s) + bumps.iter().map(|b| b.adds_pa(t_s)).sum::<f64>();
        let true_pa = base_pa + noise.air_pa(GRID_S);
        if true_pa > f64::from(SITE.stop_pa) {
            under_s = None;
        } else {
            let since_s = *under_s.get_or_insert(t_s - GRID_S);
            if crossed_s.is_none() && t_s - since_s >= STAY_S {
                crossed_s = Some(since_s);
            }
        }
        // A stay that has begun before the siren is followed to its end: it may be one that counts.
        match (siren_s, crossed_s, under_s) {
            (Some(siren_s), Some(crossed_s), _) => return Ok(siren_s - crossed_s),
            (Some(_), None, None) => return Ok(-1.0),
            _ => {}
        }
        // Tube and sensor: first order, 5 ms.
        felt_pa += (true_pa - felt_pa) * 0.55;
        if siren_s.is_none() && point % 5 == u64::from(phase) {
            let reading = if noise.dice.uniform() < noise.lost { Err(Fault::Corrupt) } else { Ok(noise.told(felt_pa)) };
            bench.step(reading);
            siren_s = bench.siren().then_some(t_s);
        }
        if siren_s.is_none() && crossed_s.is_some_and(|crossed_s| t_s > crossed_s + 0.5) {
            return Err(format!("seed {seed}: no siren {:?}", bench.status));
        }
    }
    Err(String::new())
}

/// Runs `count` jobs on all processors.
fn in_parallel<T: Send>(count: u64, job: impl Fn(u64) -> T + Sync) -> Vec<T> {
    let threads = std::thread::available_parallelism().map_or(1, usize::from) as u64;
    std::thread::scope(|scope| {
        let runs: Vec<_> = (0..threads)
            .map(|k| {
                let job = &job;
                scope.spawn(move || (k..count).step_by(threads as usize).map(job).collect::<Vec<_>>())
            })
            .collect();
        runs.into_iter().flat_map(|run| run.join().expect("a thread")).collect()
    })
}

fn size(name: &str, short: u64) -> u64 {
    std::env::var(name).ok().and_then(|n| n.parse().ok()).unwrap_or(short)
}

#[test]
fn no_deflation_is_missed() {
    let (count, began) = (size("LANDFALL_PROOF_DEFLATIONS", 200), Instant::now());
    let runs = in_parallel(count, |i| deflate(1_000_000 + i));
    let missed: Vec<&String> = runs.iter().filter_map(|run| run.as_ref().err()).collect();
    let late: Vec<f64> = runs.iter().filter_map(|run| run.as_ref().ok().copied()).filter(|s| *s >= 0.0).collect();
    let worst_s = late.iter().copied().fold(0.0, f64::max);
    println!(
        "deflations: {count}, missed {}; siren at most {:.0} ms after the stop pressure was crossed for {:.0} ms, in {} of \
         them before it; {:.0} s",
        missed.len(),
        1e3 * worst_s,
        1e3 * STAY_S,
        runs.len() - late.len() - missed.len(),
        began.elapsed().as_secs_f64()
    );
    assert!(missed.is_empty(), "{missed:?}");
    assert!(worst_s <= SIREN_S, "{worst_s}");
    assert!(late.len() as u64 > count / 8, "too few reach the stop pressure before the siren");
}

/// Brings a fresh box into a state; true if people may be riding in it.
fn bring(bench: &mut Bench, state: State, noise: &mut Noise, dice: &mut Dice) -> bool {
    match state {
        State::Check => {
            let seconds = dice.between(0.02, 2.0);
            bench.hold(0.0, noise, seconds);
            return false;
        }
        State::Fill => {
            bench.hold(0.0, noise, 3.0);
            let pa = dice.between(0.0, 800.0) as f32;
            bench.hold(pa, noise, 2.0);
            return false;
        }
        _ => bench.ride(noise),
    }
    match state {
        State::Wait => {
            // Slowly: a fast fall is a stop.
            (0..400).for_each(|step| bench.hold(1000.0 - 0.46 * step as f32, noise, 0.02));
            bench.hold(815.0, noise, 1.0);
        }
        State::Stop => bench.hold(500.0, noise, 1.0),
        State::Fault => {
            for _ in 0..20 {
                bench.step(Err(Fault::NoAnswer));
            }
        }
        State::Ended => bench.press(1000.0, noise, 9.0),
        _ => {}
    }
    state != State::Ended
}

/// What a restart brought.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Restarted {
    /// Siren within the promised time, of those where the air was gone and people may be riding.
    missed: u32,
    late_s: f64,
    /// A siren though nobody was riding, or though the air was there and nothing was pending.
    false_sirens: u32,
    /// The permit came on within a second, or without an acknowledgement that was due.
    wrong_permits: u32,
}

/// A restart at a random instant in `state`, perhaps in the middle of a write to flash; then the air is gone or not.
fn restart(state: State, cause: ResetCause, gone: bool, seed: u64) -> Result<Restarted, String> {
    let (mut dice, mut noise, mut bench) = (Dice::new(seed), Noise::new(seed ^ 0x77), Bench::new());
    noise.scale = 0.3;
    let riders = bring(&mut bench, state, &mut noise, &mut dice);
    let pending = matches!(state, State::Stop | State::Fault);
    // At any step from 0.1 s into the state on; what the flash writes meanwhile is cut at any byte.
    let steps = 5 + dice.one_of(100);
    let rest_pa = match state {
        State::Check => 0.0,
        State::Stop => 500.0,
        State::Wait => 815.0,
        State::Fill => 700.0,
        _ => 1000.0,
    };
    for step in 0..steps {
        if step + 1 == steps && cause != ResetCause::Watchdog {
            bench.world.power.set(dice.one_of(70) as usize);
        }
        let reading = noise.reading(rest_pa);
        bench.step(if state == State::Fault { Err(Fault::NoAnswer) } else { Ok(reading) });
    }
    if state != State::Check && bench.state() != Some(state) {
        return Err(format!("{state:?} not reached: {:?}", bench.status));
    }
    let mut found = Restarted::default();
    bench.start(cause);
    bench.sirens = 0;
    let pa = match (gone, riders) {
        (true, true) => 300.0,
        (true, false) => 0.0,
        (false, true) => 1000.0,
        // The bag is where it was, filling or vented or going down.
        (false, false) => rest_pa,
    };
    let expected = riders && (gone || pending);
    let mut siren_s = None;
    for step in 0..500_u32 {
        let reading = noise.reading(pa);
        bench.step(Ok(reading));
        if siren_s.is_none() && bench.siren() {
            siren_s = Some(START_S + f64::from(step) * 0.02);
        }
        let early = step < 50 || (riders && (gone || pending));
        found.wrong_permits += u32::from(bench.permit() && early);
    }
    if expected {
        found.late_s = siren_s.unwrap_or(f64::MAX);
        found.missed = u32::from(found.late_s > SIREN_S);
    } else {
        // The trial at a day's beginning sounds the siren for half a second; the status does not call for it.
        found.false_sirens = u32::from(bench.sirens > 0);
        if found.false_sirens > 0 {
            eprintln!("false siren: {state:?} {cause:?} gone {gone}, seed {seed}: {:?}", bench.status);
        }
        if !gone && state != State::Ended && !bench.permit() && bench.status.at.seconds() > 9.0 && riders {
            return Err(format!("{state:?} {cause:?}: does not ride again: {:?}", bench.status));
        }
    }
    Ok(found)
}

#[test]
fn restarts_at_any_instant_miss_nothing() {
    let (each, began) = (size("LANDFALL_PROOF_RESTARTS", 4), Instant::now());
    let mut cases = Vec::new();
    for state in State::ALL {
        for cause in [ResetCause::PowerOn, ResetCause::BrownOut, ResetCause::Watchdog] {
            for gone in [false, true] {
                cases.push((state, cause, gone));
            }
        }
    }
    let count = cases.len() as u64 * each;
    let runs = in_parallel(count, |i| {
        let (state, cause, gone) = cases[(i / each) as usize];
        (state, restart(state, cause, gone, 77_000 + i))
    });
    let mut by_state: BTreeMap<&str, u32> = BTreeMap::new();
    let mut all = Restarted::default();
    for (state, run) in runs {
        *by_state.entry(state.word()).or_default() += 1;
        let one = run.unwrap_or_else(|why| panic!("{why}"));
        all.missed += one.missed;
        all.false_sirens += one.false_sirens;
        all.wrong_permits += one.wrong_permits;
        all.late_s = all.late_s.max(one.late_s);
    }
    println!(
        "restarts: {count} ({by_state:?}), missed stops {}, siren at most {:.0} ms after the reset ({:.0} ms of them until the \
         first step), false sirens {}, wrong permits {}; {:.0} s",
        all.missed,
        1e3 * all.late_s,
        1e3 * START_S,
        all.false_sirens,
        all.wrong_permits,
        began.elapsed().as_secs_f64()
    );
    assert_eq!((all.missed, all.false_sirens, all.wrong_permits), (0, 0, 0), "{all:?}");
}

/// Rides for `hours`, a landing every 18 to 22 s, the sun and the wind on it; every two hours or so the air goes in
/// earnest and comes back, and somebody acknowledges. False stops, missed ones, deflations, landings and those counted.
fn long_ride(seed: u64, hours: f64) -> (u32, u32, u32, u32, u32) {
    let (mut dice, mut noise, mut bench) = (Dice::new(seed), Noise::new(seed ^ 0x5151), Bench::new());
    bench.ride(&mut noise);
    let (mut false_stops, mut missed, mut falls, mut landings, mut counted) = (0, 0, 0, 0, 0);
    let mut bump = Bump::any(&mut dice, 5.0);
    let mut next_fall_s = dice.between(600.0, 14_000.0);
    landings += 1;
    let mut t_s = 0.0;
    while t_s < 3600.0 * hours {
        t_s += 0.02;
        if t_s >= bump.at_s + 20.0 {
            let at_s = t_s + dice.between(-1.5, 1.5).max(0.0);
            bump = Bump::any(&mut dice, at_s);
            landings += 1;
        }
        if t_s >= next_fall_s {
            // Down at any speed; the siren must have come before half a second has gone at the stop pressure.
            falls += 1;
            counted += bench.status.landings;
            let (down_s, law) = (dice.log_between(0.05, 60.0), dice.one_of(3));
            let (mut u_s, mut stay_s, mut heard) = (0.0, 0.0, false);
            while !heard && stay_s < SIREN_S + 0.02 {
                u_s += 0.02;
                let base_pa = 1000.0 * left(law, u_s, 0.6, down_s);
                stay_s = if base_pa + 20.0 < f64::from(SITE.stop_pa) { stay_s + 0.02 } else { 0.0 };
                let reading = noise.reading(base_pa);
                bench.step(Ok(reading));
                heard = bench.siren();
            }
            missed += u32::from(!heard);
            bench.hold(300.0, &mut noise, 3.0);
            bench.hold(1000.0, &mut noise, 4.0);
            bench.press(1000.0, &mut noise, 3.0);
            bench.hold(1000.0, &mut noise, 8.0);
            assert!(bench.permit(), "does not ride again: {:?}", bench.status);
            landings -= bench.status.landings.saturating_sub(counted);
            counted -= counted.min(bench.status.landings);
            t_s += u_s + 18.0;
            next_fall_s = t_s + dice.between(3600.0, 14_000.0);
            bump = Bump::any(&mut dice, t_s + 5.0);
            landings += 1;
            continue;
        }
        let true_pa = 1000.0 + noise.air_pa(0.02) + bump.adds_pa(t_s);
        let reading = noise.told(true_pa);
        let lost = noise.dice.uniform() < noise.lost;
        bench.step(if lost { Err(Fault::Corrupt) } else { Ok(reading) });
        if bench.siren() {
            false_stops += 1;
            eprintln!("false stop at {t_s:.1} s, seed {seed}: {:?}", bench.status);
            bench.hold(1000.0, &mut noise, 4.0);
            bench.press(1000.0, &mut noise, 3.0);
            bench.hold(1000.0, &mut noise, 8.0);
            t_s += 15.0;
        }
    }
    counted += bench.status.landings;
    (false_stops, missed, falls, landings, counted)
}

#[test]
fn long_riding_with_gusts_sun_and_landings() {
    let (hours, began) = (size("LANDFALL_PROOF_HOURS", 4), Instant::now());
    // In pieces of twenty hours at most, each with a seed of its own.
    let pieces = hours.div_ceil(20).max(2);
    let runs = in_parallel(pieces, |i| long_ride(31_000 + i, hours as f64 / pieces as f64));
    let sum = |f: fn(&(u32, u32, u32, u32, u32)) -> u32| runs.iter().map(f).sum::<u32>();
    let (false_stops, missed, falls, landings) = (sum(|r| r.0), sum(|r| r.1), sum(|r| r.2), sum(|r| r.3));
    println!(
        "riding: {hours} simulated hours with gusts, sun and {landings} landings, {falls} real losses of air: missed stops \
         {missed}, false stops {false_stops}; {:.0} s",
        began.elapsed().as_secs_f64()
    );
    assert_eq!(missed, 0);
    assert!(false_stops as u64 * 1000 <= hours.max(1000), "{false_stops} in {hours} h");
    assert!(hours < 100 || falls > 0);
}
