//! The pressure-watching box on an RP2040 board of the Raspberry Pi Pico class.
//!
//! Brought up on the register level, so that the image can be proven to hold no panic path and every
//! wait is bounded. [`pins`] has the wiring.
#![no_std]
#![no_main]

mod battery;
#[cfg(feature = "advisory")]
mod beside;
mod clocks;
mod fitted;
mod flash;
mod float;
mod halt;
mod i2c;
#[cfg(feature = "log")]
mod log;
mod pins;
mod reset;
mod selftest;
mod time;
mod uart;

use core::cell::UnsafeCell;
use core::mem::MaybeUninit;
use halt::halt;
use landfall_core::watch::TimeUs;
use landfall_firmware::app::{App, Hardware, STEP_US, WATCHDOG_ERASE_MS};
use landfall_firmware::board::{Inputs, Outputs};
use landfall_firmware::gauge::Gauge;
use pins::{Input, Output};
use rp2040_pac as pac;

/// Time between two looks at the serial lines, µs: their queues hold 32 bytes, 2.8 ms at 115 200 baud.
const PUMP_US: u32 = 2_000;

#[cfg(all(feature = "log", feature = "top"))]
compile_error!("log and the line to the top share UART1: build with one of them");

/// The box, with all that this board brings.
type Box = App<Gauge, i2c::Bus, Output, Input, flash::Region, uart::Uart, reset::Dog>;

/// Memory for one value that is made once and lives for ever: static, so that its size is known when
/// linking.
struct Place<T>(UnsafeCell<MaybeUninit<T>>);
// SAFETY: used once, by the one core that runs.
unsafe impl<T> Sync for Place<T> {}

static APP: Place<Box> = Place(UnsafeCell::new(MaybeUninit::uninit()));

#[cortex_m_rt::entry]
fn main() -> ! {
    // SAFETY: the only place that takes them.
    let p = unsafe { pac::Peripherals::steal() };
    if !clocks::start(&p) || !clocks::reset_blocks(&p) {
        halt()
    }
    let cause = reset::cause(&p.WATCHDOG, &p.VREG_AND_CHIP_RESET);
    let watchdog = reset::Dog::start(p.WATCHDOG, &p.PSM, WATCHDOG_ERASE_MS);
    let outputs = Outputs {
        red: Output::new(10),
        amber: Output::new(11),
        green: Output::new(12),
        siren: Output::new(13),
        permit: Output::new(14),
    };
    pins::to_i2c(pins::SDA);
    pins::to_i2c(pins::SCL);
    let inputs = Inputs {
        button: Input::pulled_up(16),
        supply: pins::is_high_after_pull_up(17).then(|| Input::pulled_down(15)),
        contact: Some(Input::pulled_down(18)),
        blowers: [
            Some(Input::pulled_down(19)),
            Some(Input::pulled_down(20)),
            Some(Input::pulled_down(21)),
            Some(Input::pulled_down(22)),
        ],
    };
    let hardware = Hardware {
        bus: i2c::Bus::new(p.I2C0),
        outputs,
        inputs,
        flash: flash::Region::new(),
        link: uart::Uart::link(),
        watchdog,
    };
    #[cfg(feature = "log")]
    let mut log_line = uart::Uart::log();
    time::start();
    #[cfg(feature = "log")]
    defmt::info!("start: {}", cause);
    // SAFETY: this is the only reference, as `main` runs once.
    let place = unsafe { &mut *APP.0.get() };
    let app = App::start(place, hardware, Gauge::with_second(fitted::BRIDGE, fitted::SECOND_BRIDGE), cause);
    #[cfg(feature = "top")]
    app.connect_top(uart::Uart::between());

    let mut battery = battery::Battery::new(p.ADC);
    let mut tests = selftest::Tests::new();
    let mut next_us = time::now_us32();
    loop {
        app.battery(battery.volts());
        app.step(TimeUs(time::now_us()), || TimeUs(time::now_us()));
        next_us = next_us.wrapping_add(STEP_US);
        #[cfg(feature = "advisory")]
        let (after_us, mut rested) = beside::compute(app, next_us);
        #[cfg(feature = "advisory")]
        {
            next_us = after_us;
        }
        #[cfg(not(feature = "advisory"))]
        let mut rested = false;
        let mut wake_us = time::now_us32();
        let mut tested = tests.over();
        // Behind by more than a step, as after an erase: the missed ones are not made up for.
        if (wake_us.wrapping_sub(next_us) as i32) > STEP_US as i32 {
            next_us = wake_us;
        }
        while (wake_us.wrapping_sub(next_us) as i32) < 0 {
            wake_us = wake_us.wrapping_add(PUMP_US);
            time::sleep_until(if (wake_us.wrapping_sub(next_us) as i32) < 0 { wake_us } else { next_us });
            app.pump();
            if !rested {
                app.rest();
                rested = true;
            } else if !tested {
                // Between two looks at the line, so that none comes late.
                app.self_tested(tests.slice());
                tested = true;
            }
            #[cfg(feature = "log")]
            log::drain(&mut log_line);
        }
    }
}
