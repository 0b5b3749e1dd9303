//! A box that is only numbers, on a computed bag: the box's own program on sensor, outputs, flash and line made of
//! memory. Frames, watch, log and button are the real ones; the bag is the core's gas model, its noise is assumed.

use std::cell::{Cell, RefCell};
use std::collections::VecDeque;
use std::convert::Infallible;
use std::mem::MaybeUninit;
use std::rc::Rc;

use embedded_hal::digital::{ErrorType as PinError, InputPin, OutputPin};
use embedded_storage::nor_flash::{ErrorType as FlashErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};
use landfall_core::watch::parts::SecondKind;
use landfall_core::watch::{Pins, ResetCause, TimeUs, WatchSettings};
use landfall_firmware::app::{App, Hardware, STEP_US};
use landfall_firmware::board::{Inputs, Outputs, Watchdog};
use landfall_firmware::link::{Entry, Kept, Noted};
use landfall_firmware::sensor::{Fault, GaugeSensor, Kind, Reading};
use landfall_firmware::store::{Book, PAYLOAD, SETTINGS, Store};

use super::bag::{STEP_S, SimBag};
use super::noise::{Noise, Numbers};
use super::script::{Happening, Scripted, Wrong};
use super::sim_top::{SimTop, Wires};
use landfall_plan::plan::PlanError;
use landfall_plan::plan::demand::landing_kg;
use landfall_plan::site::Site;

const SECTOR: usize = 4096;
const SECTORS: usize = 194;
const RED: usize = 0;
const AMBER: usize = 1;
const GREEN: usize = 2;
const SIREN: usize = 3;
const PERMIT: usize = 4;

/// What the box's parts share.
#[derive(Debug)]
struct World {
    reading: Cell<Result<f32, Fault>>,
    range_pa: f32,
    levels: [Cell<bool>; 5],
    /// The second sensor's reading.
    second_pa: Cell<f32>,
    /// Steps since the permit's pin last moved, as a charge pump behind it sees it.
    permit_age: Cell<u32>,
    /// The permit is driven by pulses.
    pulses: bool,
    /// Blowers that run, a bit each.
    running: Cell<u8>,
    welded: Cell<bool>,
    button: Cell<bool>,
    supply: Cell<bool>,
    flash: RefCell<Vec<u8>>,
    to_box: RefCell<VecDeque<u8>>,
    from_box: RefCell<Vec<u8>>,
    wires: Wires,
}

impl World {
    fn set(&self, which: usize, on: bool) {
        if self.levels[which].replace(on) != on && which == PERMIT {
            self.permit_age.set(0);
        }
    }

    /// The permit's loop: the pin, or the pump behind it, which holds for two steps.
    fn loop_closed(&self) -> bool {
        self.welded.get() || if self.pulses { self.permit_age.get() < 2 } else { self.levels[PERMIT].get() }
    }
}

struct Sensor(Rc<World>);
impl GaugeSensor<()> for Sensor {
    fn step(&mut self, (): &mut ()) -> Result<Reading, Fault> {
        self.0.reading.get().map(|gauge_pa| Reading { gauge_pa, outside: None })
    }
    fn second(&mut self, (): &mut (), _: SecondKind) -> Result<Reading, Fault> {
        Ok(Reading { gauge_pa: self.0.second_pa.get(), outside: None })
    }
    fn kind(&self) -> Option<Kind> {
        Some(Kind::Bridge)
    }
    fn range_pa(&self) -> f32 {
        self.0.range_pa
    }
}

struct Out(Rc<World>, usize);
impl PinError for Out {
    type Error = Infallible;
}
impl OutputPin for Out {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.set(self.1, false);
        Ok(())
    }
    fn set_high(&mut self) -> Result<(), Infallible> {
        self.0.set(self.1, true);
        Ok(())
    }
}

enum In {
    Button(Rc<World>),
    Supply(Rc<World>),
    Loop(Rc<World>),
    Blower(Rc<World>, u8),
}
impl PinError for In {
    type Error = Infallible;
}
impl InputPin for In {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(match self {
            Self::Button(world) => !world.button.get(),
            Self::Supply(world) => world.supply.get(),
            Self::Loop(world) => world.loop_closed(),
            Self::Blower(world, which) => world.running.get() >> *which & 1 == 1,
        })
    }
    fn is_low(&mut self) -> Result<bool, Infallible> {
        self.is_high().map(|high| !high)
    }
}

struct Flash(Rc<World>);
impl FlashErrorType for Flash {
    type Error = NorFlashErrorKind;
}
impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        let (flash, from) = (self.0.flash.borrow(), offset as usize);
        let held = flash.get(from..from + bytes.len()).ok_or(NorFlashErrorKind::OutOfBounds)?;
        bytes.copy_from_slice(held);
        Ok(())
    }
    fn capacity(&self) -> usize {
        self.0.flash.borrow().len()
    }
}
impl NorFlash for Flash {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR;
    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        let mut flash = self.0.flash.borrow_mut();
        flash.get_mut(from as usize..to as usize).ok_or(NorFlashErrorKind::OutOfBounds)?.fill(0xFF);
        Ok(())
    }
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        let (mut flash, from) = (self.0.flash.borrow_mut(), offset as usize);
        let held = flash.get_mut(from..from + bytes.len()).ok_or(NorFlashErrorKind::OutOfBounds)?;
        held.iter_mut().zip(bytes).for_each(|(held, byte)| *held &= byte);
        Ok(())
    }
}

/// The line to the host, or, with `top`, that to the board at the top.
struct Line {
    world: Rc<World>,
    top: bool,
}
impl Line {
    fn come(&self) -> &RefCell<VecDeque<u8>> {
        if self.top { &self.world.wires.to_box } else { &self.world.to_box }
    }
}
impl embedded_io::ErrorType for Line {
    type Error = Infallible;
}
impl embedded_io::ReadReady for Line {
    fn read_ready(&mut self) -> Result<bool, Infallible> {
        Ok(!self.come().borrow().is_empty())
    }
}
impl embedded_io::Read for Line {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Infallible> {
        let mut queue = self.come().borrow_mut();
        Ok(bytes.iter_mut().map_while(|to| queue.pop_front().map(|byte| *to = byte)).count())
    }
}
impl embedded_io::WriteReady for Line {
    fn write_ready(&mut self) -> Result<bool, Infallible> {
        Ok(true)
    }
}
impl embedded_io::Write for Line {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Infallible> {
        let out = if self.top { &self.world.wires.from_box } else { &self.world.from_box };
        out.borrow_mut().extend_from_slice(bytes);
        Ok(bytes.len())
    }
    fn flush(&mut self) -> Result<(), Infallible> {
        Ok(())
    }
}

struct Dog;
impl Watchdog for Dog {
    fn feed(&mut self, _next_ms: u32) {}
}

type SimApp = App<Sensor, (), Out, In, Flash, Line, Dog>;

fn boot(world: &Rc<World>, supply_sense: bool, cause: ResetCause) -> &'static mut SimApp {
    let w = || Rc::clone(world);
    let hardware = Hardware {
        bus: (),
        outputs: Outputs {
            red: Out(w(), RED),
            amber: Out(w(), AMBER),
            green: Out(w(), GREEN),
            siren: Out(w(), SIREN),
            permit: Out(w(), PERMIT),
        },
        inputs: Inputs {
            button: In::Button(w()),
            supply: supply_sense.then(|| In::Supply(w())),
            contact: Some(In::Loop(w())),
            blowers: [0, 1, 2, 3].map(|which| Some(In::Blower(w(), which))),
        },
        flash: Flash(w()),
        link: Line { world: w(), top: false },
        watchdog: Dog,
    };
    // A start leaks some hundred bytes; there are a handful of starts in a simulation.
    let app = App::start(Box::leak(Box::new(MaybeUninit::uninit())), hardware, Sensor(w()), cause);
    app.connect_top(Line { world: w(), top: true });
    app
}

/// How the riders come.
#[derive(Clone, Copy, Debug)]
pub struct Riders {
    /// Least time between two starts, s.
    pub interval_s: f64,
    /// From the moment a rider can no longer stop to touch-down, s.
    pub commitment_s: f64,
    /// Lightest and heaviest mass that lands, kg.
    pub mass_kg: (f64, f64),
    /// Mean and standard deviation of the speed into the top, m/s.
    pub speed_mps: (f64, f64),
}

/// What a simulation runs on.
#[derive(Clone, Debug)]
pub struct Plan {
    /// Settings in the box; none: a box as it comes.
    pub settings: Option<WatchSettings>,
    /// The sensor's range, Pa.
    pub range_pa: f32,
    /// Riders; none: nobody rides.
    pub riders: Option<Riders>,
    /// What goes wrong.
    pub script: Vec<Scripted>,
    /// Of all randomness.
    pub seed: u64,
    /// The bag is at pressure at the start. The box then has its zero from an earlier day.
    pub full: bool,
}

impl Riders {
    /// The site's riders, from its plan; none where the plan has no landing.
    pub fn of(site: &Site, results: &landfall_plan::plan::results::Results) -> Option<Self> {
        let spread = results.spread.differences.as_ref()?;
        Some(Self {
            interval_s: site.session.interval_s,
            commitment_s: results.pressures.commitment_s.get()?,
            mass_kg: (landing_kg(site, site.rider.lightest_kg), landing_kg(site, site.rider.heaviest_kg)),
            speed_mps: (spread.mean_normal_mps, spread.sd_normal_mps),
        })
    }
}

/// A box on a bag.
pub struct Sim {
    world: Rc<World>,
    app: &'static mut SimApp,
    bag: SimBag,
    plan: Plan,
    noise: Noise,
    numbers: Numbers,
    supply_sense: bool,
    steps: u64,
    boot_steps: u64,
    next_rider_s: f64,
    landing_s: Option<f64>,
    last_pa: f32,
    done: Vec<bool>,
    landings: u32,
    top: SimTop,
}

/// Time in which the box is tried on the vented bag before the blowers are switched on, s.
const VENTED_S: f64 = 4.0;

impl Sim {
    /// Everything at rest, the box just switched on, the blowers coming on after a few seconds.
    ///
    /// # Errors
    /// [`PlanError`] for what the models refuse.
    pub fn new(site: &Site, plan: Plan) -> Result<Self, PlanError> {
        let world = Rc::new(World {
            reading: Cell::new(Ok(0.0)),
            range_pa: plan.range_pa,
            levels: Default::default(),
            second_pa: Cell::new(0.0),
            permit_age: Cell::new(u32::MAX),
            pulses: plan.settings.is_some_and(|settings| settings.parts.permit_pulses),
            running: Cell::new(0),
            welded: Cell::new(false),
            button: Cell::new(false),
            supply: Cell::new(true),
            flash: RefCell::new(vec![0xFF; SECTORS * SECTOR]),
            to_box: RefCell::default(),
            from_box: RefCell::default(),
            wires: Wires::default(),
        });
        if let Some(settings) = &plan.settings {
            let mut bytes = [0; SETTINGS];
            // The highest revision goes before them.
            if let Ok(bytes) = postcard::to_slice(&(settings.revision.to_le_bytes(), settings), &mut bytes) {
                // Memory does not fail; a box that has none shows red.
                let _ = Store::open(Flash(Rc::clone(&world))).save_settings(bytes);
            }
        }
        if plan.full {
            let kept = Kept { zero_pa: Some(0.0), unacknowledged: false, duty: false };
            let entry = Entry { boot: 0, at: TimeUs(0), what: Noted::Kept(kept) };
            let mut bytes = [0; PAYLOAD];
            let mut store = Store::open(Flash(Rc::clone(&world)));
            if let (Ok(_), Ok(bytes)) = (store.prepare(Book::Events), postcard::to_slice(&entry, &mut bytes)) {
                let _ = store.append(Book::Events, bytes);
            }
        }
        let supply_sense = plan.settings.map_or(site.watch.supply_sense, |settings| settings.supply_sense);
        let app = boot(&world, supply_sense, ResetCause::PowerOn);
        Ok(Self {
            app,
            world,
            bag: SimBag::new(site, plan.full)?,
            noise: Noise::new(plan.seed),
            numbers: Numbers::new(plan.seed, 2),
            supply_sense,
            steps: 0,
            boot_steps: 0,
            next_rider_s: 0.0,
            landing_s: None,
            last_pa: 0.0,
            done: vec![false; plan.script.len()],
            landings: 0,
            top: SimTop::new(),
            plan,
        })
    }

    /// Time since the start, s.
    pub fn time_s(&self) -> f64 {
        self.steps as f64 * STEP_S
    }

    /// The bag's true pressure, Pa.
    pub fn pressure_pa(&self) -> f64 {
        self.bag.pressure_pa()
    }

    /// Landings that there were.
    pub const fn landings(&self) -> u32 {
        self.landings
    }

    /// The outputs as they are driven.
    pub fn pins(&self) -> Pins {
        let level = |which: usize| self.world.levels[which].get();
        Pins {
            red: level(RED),
            amber: level(AMBER),
            green: level(GREEN),
            siren: level(SIREN),
            permit: self.world.loop_closed(),
        }
    }

    /// The board at the top shows green.
    pub const fn green_at_top(&self) -> bool {
        self.top.green
    }

    /// Bytes for the box.
    pub fn hear(&mut self, bytes: &[u8]) {
        self.world.to_box.borrow_mut().extend(bytes);
    }

    /// What the box has sent since the last call.
    pub fn said(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.world.from_box.borrow_mut())
    }

    /// Adds a happening to the script.
    pub fn add(&mut self, one: Scripted) {
        self.plan.script.push(one);
        self.done.push(false);
    }

    /// One step of 20 ms.
    pub fn step(&mut self) {
        self.steps += 1;
        let now_s = self.time_s();
        let mut cut = now_s < VENTED_S && !self.plan.full;
        let mut supply_off = false;
        let (mut still, mut welded, mut apart_pa, mut battery_v) = (0_u8, false, 0.0, None);
        let (mut button, mut hang, mut pause, mut wrong, mut away) = (false, false, false, None, false);
        let (mut reset, mut land) = (None, false);
        self.bag.hole_m2 = 0.0;
        for (one, done) in self.plan.script.iter().zip(&mut self.done) {
            if now_s < one.at_s || now_s >= one.until_s {
                continue;
            }
            match one.what {
                Happening::Cut => {
                    cut = true;
                    supply_off = true;
                }
                Happening::Stall => cut = true,
                Happening::Leak(m2) => self.bag.hole_m2 += m2,
                Happening::Sensor(which) => wrong = Some(which),
                Happening::Apart(pa) => apart_pa = pa as f32,
                Happening::Welded => welded = true,
                Happening::Still(which) => still |= 1 << which,
                Happening::Battery(v) => battery_v = Some(v as f32),
                Happening::Hold => button = true,
                Happening::Hang => hang = true,
                Happening::Pause => pause = true,
                Happening::TopAway => away = true,
                Happening::Reset(cause) if !*done => reset = Some(cause),
                Happening::Land if !*done => land = true,
                Happening::Reset(_) | Happening::Land => {}
            }
            *done = true;
        }
        self.bag.blowing = !cut;
        self.world.running.set(if cut { 0 } else { !still });
        self.world.welded.set(welded);
        self.world.supply.set(!supply_off);
        self.world.button.set(button);
        self.ride(now_s, pause, land);
        self.bag.step();
        self.sense(wrong, apart_pa);
        if let Some(cause) = reset {
            self.app = boot(&self.world, self.supply_sense, cause);
            self.boot_steps = self.steps;
        }
        self.top.step(TimeUs(self.steps * u64::from(STEP_US)), &self.world.wires, away);
        if !hang {
            let now = TimeUs((self.steps - self.boot_steps) * u64::from(STEP_US));
            self.app.battery(battery_v.or_else(|| self.battery_v()));
            self.world.permit_age.set(self.world.permit_age.get().saturating_add(1));
            self.app.step(now, || TimeUs(now.0 + 500));
            // The line takes all there is.
            for _ in 0..8 {
                self.app.pump();
            }
            self.app.rest();
            if let Some(job) = self.app.job() {
                self.app.found(&job.run());
            }
        }
    }

    /// A battery that was full at the start and falls straight to empty.
    fn battery_v(&self) -> Option<f32> {
        let battery = self.plan.settings?.parts.battery?;
        let gone = (self.time_s() as f32 / battery.lasts_s).min(1.0);
        Some(battery.full_v - gone * (battery.full_v - battery.empty_v))
    }

    fn ride(&mut self, now_s: f64, pause: bool, land: bool) {
        if let Some(riders) = self.plan.riders {
            let permit = self.world.loop_closed();
            if permit && !pause && now_s >= self.next_rider_s && self.landing_s.is_none() {
                // Committed from here on, whatever the lamp does.
                self.landing_s = Some(now_s + riders.commitment_s);
                self.next_rider_s = now_s + riders.interval_s * (1.0 + 0.1 * self.numbers.uniform());
            }
        }
        if land || self.landing_s.is_some_and(|at_s| now_s >= at_s) {
            self.landing_s = self.landing_s.filter(|at_s| now_s < *at_s);
            let (mass_kg, speed_mps) =
                self.plan.riders.map_or(((70.0, 100.0), (6.0, 0.5)), |r| (r.mass_kg, r.speed_mps));
            let mass = mass_kg.0 + (mass_kg.1 - mass_kg.0) * self.numbers.uniform();
            let speed = (speed_mps.0 + speed_mps.1 * self.numbers.normal()).max(0.5);
            self.bag.land(mass, speed);
            self.landings += 1;
        }
    }

    fn sense(&mut self, wrong: Option<Wrong>, apart_pa: f32) {
        let share = self.bag.pressure_pa() / self.bag.operating_pa();
        let true_pa = self.bag.pressure_pa() + self.noise.air_pa(share);
        let extra_pa = if wrong == Some(Wrong::Noisy) { 120.0 } else { 0.0 };
        let clean_pa = self.noise.reading_pa(true_pa, extra_pa);
        let reading = match wrong {
            Some(Wrong::Says(fault)) => Err(fault),
            Some(Wrong::Frozen) => Ok(self.last_pa),
            Some(Wrong::Jumps) if self.steps.is_multiple_of(2) => {
                Ok((clean_pa + 3000.0).min(0.99 * self.plan.range_pa))
            }
            Some(Wrong::Beyond) => Ok(1.5 * self.plan.range_pa),
            _ => Ok(clean_pa),
        };
        if wrong != Some(Wrong::Frozen) {
            self.last_pa = clean_pa;
        }
        if self.plan.settings.is_some_and(|settings| settings.parts.second.is_some()) {
            self.world.second_pa.set(self.noise.reading_pa(true_pa, 0.0) + apart_pa);
        }
        self.world.reading.set(reading);
    }
}

#[cfg(test)]
pub(crate) mod tests;
