//! The board at the top of the roll-in, on an RP2040 board of the Raspberry Pi Pico class.
//!
//! | GPIO | direction | what |
//! | --- | --- | --- |
//! | 7, 8, 9 | out, out, in | line to the box: driver on, UART1 TX and RX, 57 600 baud |
//! | 10, 11, 12 | out | red, amber, green lamp |
//! | 13 | out | buzzer: a square wave of 600 to 2400 Hz |
//! | 14 | out | relay: at rest the large red lamp, energised the green |
//! | 16 | in, pulled up | button to ground |
//!
//! All outputs are active high and low from reset on: without a program the relay shows red. The drivers are those of the
//! box's board; what differs is here.
#![no_std]
#![no_main]

#[path = "../../rp2040/src/clocks.rs"]
mod clocks;
#[path = "../../rp2040/src/flash.rs"]
#[expect(dead_code, reason = "the box alone tests its program at the start")]
mod flash;
#[path = "../../rp2040/src/halt.rs"]
mod halt;
#[path = "../../rp2040/src/pins.rs"]
#[allow(dead_code)]
mod pins;
#[path = "../../rp2040/src/reset.rs"]
#[allow(dead_code)]
mod reset;
#[path = "../../rp2040/src/time.rs"]
mod time;
mod tone;
#[path = "../../rp2040/src/uart.rs"]
#[allow(dead_code)]
mod uart;

use halt::halt;
use landfall_core::watch::TimeUs;
use landfall_firmware::top::{BEAT_US, Hardware, Lamps, Top, WATCHDOG_MS};
use pins::{Input, Output};
use rp2040_pac as pac;

/// Bits from the ring oscillator, which runs beside the crystal: chance enough to tell one start from another.
fn chance(rosc: &pac::ROSC) -> u32 {
    (0..32).fold(0, |bits: u32, _| {
        cortex_m::asm::delay(200);
        bits << 1 | u32::from(rosc.randombit().read().randombit().bit())
    })
}

#[cortex_m_rt::entry]
fn main() -> ! {
    // SAFETY: the only place that takes them.
    let p = unsafe { pac::Peripherals::steal() };
    if !clocks::start(&p) || !clocks::reset_blocks(&p) {
        halt()
    }
    let chance = chance(&p.ROSC);
    let watchdog = reset::Dog::start(p.WATCHDOG, &p.PSM, WATCHDOG_MS);
    let hardware = Hardware {
        lamps: Lamps { red: Output::new(10), amber: Output::new(11), green: Output::new(12), relay: Output::new(14) },
        button: Input::pulled_up(16),
        flash: flash::Region::new(),
        line: uart::Uart::between(),
        watchdog,
        tone: tone::Buzzer::new(p.PWM, &p.RESETS),
    };
    time::start();
    let mut top = Top::start(hardware, TimeUs(time::now_us()), chance);
    let mut next_us = time::now_us32();
    loop {
        top.beat(TimeUs(time::now_us()));
        next_us = next_us.wrapping_add(BEAT_US);
        let now_us = time::now_us32();
        // Behind by more than a beat, as after the flash was away: the missed ones are not made up for.
        if (now_us.wrapping_sub(next_us) as i32) > BEAT_US as i32 {
            next_us = now_us;
        }
        time::sleep_until(next_us);
    }
}
