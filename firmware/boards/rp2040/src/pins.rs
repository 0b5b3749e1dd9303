//! What hangs on which pin.
//!
//! | GPIO | direction | what |
//! | --- | --- | --- |
//! | 0, 1 | out, in | link: UART0 TX and RX, 115 200 baud |
//! | 4, 5 | open drain | sensor: I²C SDA and SCL, 400 kHz, 2.2 kΩ to 3.3 V outside |
//! | 7, 8, 9 | out, out, in | line to the top, where built in: driver on, UART1 TX and RX, 57 600 baud |
//! | 8 | out | log, where built in: UART1 TX, 921 600 baud |
//! | 10 | out | red lamp |
//! | 11 | out | amber lamp |
//! | 12 | out | green lamp |
//! | 13 | out | siren |
//! | 14 | out | permit |
//! | 15 | in, pulled down | blowers' supply: high while it is on, so that a cut wire reads as off |
//! | 16 | in, pulled up | button to ground |
//! | 17 | in, pulled up | to ground if no supply sense is fitted |
//! | 18 | in, pulled down | the permit's loop read back: high while it is closed |
//! | 19, 20, 21, 22 | in, pulled down | blowers 1 to 4: high while one runs |
//! | 26 | analogue | battery, through a divider |
//!
//! All outputs are active high and low from reset on: without a program there is no permit.

use core::convert::Infallible;
use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use rp2040_pac as pac;

/// I²C data.
pub const SDA: usize = 4;
/// I²C clock.
pub const SCL: usize = 5;

fn sio() -> &'static pac::sio::RegisterBlock {
    // SAFETY: only set and clear registers are written, one pin at a time.
    unsafe { &*pac::SIO::ptr() }
}

fn io() -> &'static pac::io_bank0::RegisterBlock {
    // SAFETY: each pin's register is written by the owner of that pin.
    unsafe { &*pac::IO_BANK0::ptr() }
}

fn pads() -> &'static pac::pads_bank0::RegisterBlock {
    // SAFETY: as above.
    unsafe { &*pac::PADS_BANK0::ptr() }
}

/// Pull resistor of an input.
#[derive(Clone, Copy, PartialEq)]
enum Pull {
    None,
    Up,
    Down,
}

fn pad(pin: usize, pull: Pull) {
    pads().gpio(pin).write(|w| {
        w.ie().set_bit().od().clear_bit().schmitt().set_bit();
        w.pue().bit(pull == Pull::Up).pde().bit(pull == Pull::Down)
    });
}

/// Drives the pins of `mask` low and leaves the others as they are.
fn drive_low(mask: u32) {
    // SAFETY: a bit for each pin, and nothing else in the register: it takes any word.
    sio().gpio_out_clr().write(|w| unsafe { w.bits(mask) });
}

/// Drives the pins of `mask` high and leaves the others as they are.
fn drive_high(mask: u32) {
    // SAFETY: a bit for each pin, and nothing else in the register: it takes any word.
    sio().gpio_out_set().write(|w| unsafe { w.bits(mask) });
}

/// Makes the pins of `mask` outputs and leaves the others as they are.
fn make_outputs(mask: u32) {
    // SAFETY: a bit for each pin, and nothing else in the register: it takes any word.
    sio().gpio_oe_set().write(|w| unsafe { w.bits(mask) });
}

/// Makes the pins of `mask` inputs and leaves the others as they are.
fn make_inputs(mask: u32) {
    // SAFETY: a bit for each pin, and nothing else in the register: it takes any word.
    sio().gpio_oe_clr().write(|w| unsafe { w.bits(mask) });
}

/// An output of the box.
pub struct Output(u32);

impl Output {
    /// Makes `pin` an output, low.
    pub fn new(pin: usize) -> Self {
        let mask = 1_u32 << (pin & 31);
        drive_low(mask);
        make_outputs(mask);
        pad(pin, Pull::None);
        io().gpio(pin).gpio_ctrl().write(|w| w.funcsel().sio());
        Self(mask)
    }
}

impl ErrorType for Output {
    type Error = Infallible;
}

impl OutputPin for Output {
    fn set_low(&mut self) -> Result<(), Infallible> {
        drive_low(self.0);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        drive_high(self.0);
        Ok(())
    }
}

/// An input of the box.
pub struct Input(usize);

impl Input {
    fn new(pin: usize, pull: Pull) -> Self {
        make_inputs(1 << (pin & 31));
        pad(pin, pull);
        io().gpio(pin).gpio_ctrl().write(|w| w.funcsel().sio());
        Self(pin)
    }

    /// Makes `pin` an input that reads high when nothing is connected.
    pub fn pulled_up(pin: usize) -> Self {
        Self::new(pin, Pull::Up)
    }

    /// Makes `pin` an input that reads low when nothing is connected.
    pub fn pulled_down(pin: usize) -> Self {
        Self::new(pin, Pull::Down)
    }
}

impl ErrorType for Input {
    type Error = Infallible;
}

impl InputPin for Input {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(is_high(self.0))
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(!is_high(self.0))
    }
}

/// Level of a pin.
pub fn is_high(pin: usize) -> bool {
    sio().gpio_in().read().bits() & (1 << (pin & 31)) != 0
}

/// Level of `pin` as an input with its pull-up on, a moment later.
pub fn is_high_after_pull_up(pin: usize) -> bool {
    let _ = Input::pulled_up(pin);
    cortex_m::asm::delay(crate::clocks::CLOCK_HZ / 100_000);
    is_high(pin)
}

/// Hands a pin to the I²C block.
pub fn to_i2c(pin: usize) {
    pad(pin, Pull::Up);
    io().gpio(pin).gpio_ctrl().write(|w| w.funcsel().i2c());
}

/// Hands a pin to the analogue converter.
pub fn to_converter(pin: usize) {
    pads().gpio(pin).write(|w| w.ie().clear_bit().od().set_bit().pue().clear_bit().pde().clear_bit());
}

/// Takes a pin from the I²C block, released.
pub fn open_drain(pin: usize) {
    pull(pin, false);
    drive_low(1 << (pin & 31));
    io().gpio(pin).gpio_ctrl().write(|w| w.funcsel().sio());
}

/// Pulls an open-drain pin low, or releases it.
pub fn pull(pin: usize, low: bool) {
    let mask = 1 << (pin & 31);
    if low {
        make_outputs(mask);
    } else {
        make_inputs(mask);
    }
}

/// Hands a pin to its pulse-width block.
#[allow(dead_code)]
pub fn to_pwm(pin: usize) {
    pad(pin, Pull::None);
    io().gpio(pin).gpio_ctrl().write(|w| w.funcsel().pwm());
}

/// Sets the outputs in `mask`.
#[allow(dead_code)]
pub fn drive(mask: u32, high: bool) {
    if high {
        drive_high(mask);
    } else {
        drive_low(mask);
    }
}

/// Hands a pin to its UART.
pub fn to_uart(pin: usize) {
    pad(pin, Pull::Up);
    io().gpio(pin).gpio_ctrl().write(|w| w.funcsel().uart());
}
