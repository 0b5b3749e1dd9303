//! The box on an emulated Cortex-M4F (QEMU mps2-an386): the same program as on the RP2040, with parts
//! that are only numbers, driven through its states. Prints one line per check and ends QEMU with 0 or 1.
#![no_std]
#![no_main]

mod bench;

use bench::{Bus, Dog, In, Line, Nor, Out, World};
use core::mem::MaybeUninit;
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_semihosting::{debug, hprintln};
use landfall_core::watch::{ResetCause, TimeUs, WatchSettings};
use landfall_firmware::app::{App, Hardware, STEP_US};
use landfall_firmware::board::{Inputs, Outputs};
use landfall_firmware::bridge::Part;
use landfall_firmware::frame::encode;
use landfall_firmware::gauge::Gauge;
use landfall_firmware::link::{ToBox, check_of};

const SITE: WatchSettings = WatchSettings::EXAMPLE;

/// SysTick's clock, Hz; with `-icount shift=5` an instruction takes 32 ns, 0.8 of its counts.
const COUNTS_PER_INSTRUCTION_X10: u32 = 8;

type Tested<'a> = App<Gauge, Bus<'a>, Out<'a>, In<'a>, Nor<'a>, Line<'a>, Dog<'a>>;

struct Run<'a> {
    world: &'a World,
    app: &'a mut Tested<'a>,
    us: u64,
    longest: u32,
    failed: u32,
    passed: u32,
}

impl Run<'_> {
    fn steps(&mut self, count: u32) {
        for _ in 0..count {
            self.us += u64::from(STEP_US);
            let now = TimeUs(self.us);
            let before = SYST::get_current();
            self.app.step(now, || now);
            let spent = before.wrapping_sub(SYST::get_current()) & 0xFF_FFFF;
            self.longest = self.longest.max(spent);
            self.app.rest();
        }
    }

    /// Steps until the output has the level; how many it took, or `None` after `most`.
    fn until(&mut self, output: usize, on: bool, most: u32) -> Option<u32> {
        (1..=most).find(|_| {
            self.steps(1);
            self.level(output) == on
        })
    }

    fn level(&self, output: usize) -> bool {
        self.world.levels.get(output).is_some_and(core::cell::Cell::get)
    }

    fn check(&mut self, what: &str, good: bool) {
        hprintln!("{}  {}", if good { "pass" } else { "FAIL" }, what);
        if good { self.passed += 1 } else { self.failed += 1 }
    }
}

const SIREN: usize = 3;
const PERMIT: usize = 4;

#[panic_handler]
fn panic(info: &core::panic::PanicInfo<'_>) -> ! {
    hprintln!("FAIL  panic: {}", info);
    debug::exit(debug::EXIT_FAILURE);
    loop {
        cortex_m::asm::nop();
    }
}

#[cortex_m_rt::entry]
fn main() -> ! {
    // SAFETY: the only place that takes them.
    let mut timer = unsafe { cortex_m::Peripherals::steal() }.SYST;
    timer.set_clock_source(SystClkSource::Core);
    timer.set_reload(0xFF_FFFF);
    timer.clear_current();
    timer.enable_counter();

    let world = World::new();
    let mut place = MaybeUninit::uninit();
    let [red, amber, green, siren, permit] = &world.levels;
    let hardware = Hardware {
        bus: Bus(&world),
        outputs: Outputs {
            red: Out(red),
            amber: Out(amber),
            green: Out(green),
            siren: Out(siren),
            permit: Out(permit),
        },
        inputs: Inputs::plain(In(&world.button, true), Some(In(&world.supply, false))),
        flash: Nor(&world),
        link: Line(&world),
        watchdog: Dog(&world),
    };
    let app = App::start(&mut place, hardware, Gauge::new(Part::Differential20), ResetCause::PowerOn);
    let mut run = Run { world: &world, app, us: 0, longest: 0, failed: 0, passed: 0 };
    story(&mut run);
    let instructions = run.longest * 10 / COUNTS_PER_INSTRUCTION_X10;
    hprintln!("--    longest step on the Cortex-M4F: about {} instructions", instructions);
    hprintln!("{} passed, {} failed", run.passed, run.failed);
    debug::exit(if run.failed == 0 { debug::EXIT_SUCCESS } else { debug::EXIT_FAILURE });
    loop {
        cortex_m::asm::nop();
    }
}

fn story(run: &mut Run<'_>) {
    run.steps(50);
    run.check("M4F: no settings, no permit", !run.level(PERMIT));
    run.world.button.set(true);
    run.steps(60);
    if let (Ok(frame), Ok(check)) = (encode(&ToBox::Offer(SITE)), check_of(&SITE)) {
        run.world.send(frame.bytes());
        run.steps(5);
        if let Ok(frame) = encode(&ToBox::Confirm { check }) {
            run.world.send(frame.bytes());
        }
    }
    run.steps(5);
    run.world.button.set(false);
    run.steps(250);
    run.world.gauge_pa.set(1000.0);
    let up = run.until(PERMIT, true, 1000);
    run.check("M4F: settings stored, bag filled, permit on", up.is_some());
    run.steps(50);
    run.world.gauge_pa.set(2500.0);
    run.steps(10);
    run.world.gauge_pa.set(920.0);
    run.steps(30);
    run.world.gauge_pa.set(1000.0);
    run.steps(500);
    run.check("M4F: a landing, then the permit again, no siren", run.level(PERMIT) && !run.level(SIREN));
    run.world.gauge_pa.set(550.0);
    let siren = run.until(SIREN, true, 50);
    run.check("M4F: siren within 200 ms of the stop pressure", siren.is_some_and(|steps| steps <= 10));
    run.check("M4F: permit off", !run.level(PERMIT));
    run.world.gauge_pa.set(1000.0);
    run.steps(200);
    run.check("M4F: the air comes back, still no permit", !run.level(PERMIT));
    run.world.button.set(true);
    run.steps(130);
    run.world.button.set(false);
    let back = run.until(PERMIT, true, 1000);
    run.check("M4F: acknowledged, permit on", back.is_some());
    run.steps(50);
    run.world.supply.set(false);
    let cut = run.until(PERMIT, false, 50);
    run.check("M4F: supply cut, permit off within 100 ms", cut.is_some_and(|steps| steps <= 5));
    run.world.supply.set(true);
    run.steps(200);
    run.world.button.set(true);
    run.steps(130);
    run.world.button.set(false);
    run.until(PERMIT, true, 1000);
    run.world.silent.set(true);
    let silent = run.until(PERMIT, false, 50);
    run.check("M4F: silent sensor, permit off within 100 ms", silent.is_some_and(|steps| steps <= 5));
    run.check(
        "M4F: the watchdog was fed every step, and the line was used",
        run.world.feeds.get() > 2000 && run.world.sent() > 10_000,
    );
}
