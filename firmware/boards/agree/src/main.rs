//! Prints what the core computes for the reference sites, on emulated chips.
#![no_std]
#![no_main]

use core::fmt::Write;
use landfall_agree::{SITES, line, results};

#[cfg(not(feature = "rp2040"))]
use cortex_m_semihosting::hio::{HostStream, hstdout};

#[cfg(feature = "rp2040")]
#[path = "../../rp2040/src/float.rs"]
mod float;

/// Where the lines go.
#[cfg(not(feature = "rp2040"))]
fn out() -> Option<HostStream> {
    hstdout().ok()
}

/// The data register of UART0: the emulator takes it as it is.
#[cfg(feature = "rp2040")]
struct Uart;

#[cfg(feature = "rp2040")]
impl Write for Uart {
    fn write_str(&mut self, text: &str) -> core::fmt::Result {
        for byte in text.bytes() {
            // SAFETY: a device register.
            unsafe { (0x4003_4000 as *mut u32).write_volatile(u32::from(byte)) };
        }
        Ok(())
    }
}

#[cfg(feature = "rp2040")]
fn out() -> Option<Uart> {
    Some(Uart)
}

/// Pairs of floats to compare.
#[cfg(feature = "rp2040")]
const FLOATS: u32 = 60_000;

/// How many of them the calls that the compiler makes give other bits for than the library that the host has tested.
#[cfg(feature = "rp2040")]
fn float_differs() -> u32 {
    use landfall_firmware::float::{add, mul, sub};
    let mut state = 0x1234_5678_u32;
    let mut next = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        state ^ (state >> 15)
    };
    (0..FLOATS)
        .filter(|index| {
            let (mut a, mut b) = (next(), next());
            match index % 4 {
                // Mantissas of few bits, so that ties and carries come up; exponents whose product is barely a number.
                0 => (a, b) = (a & 0xFFFF_F000, b & 0xFFFF_F000),
                1 => (a, b) = (a & 0xFFFE_0000, (b & 0x807F_FFFF) | (254_u32.wrapping_sub(a >> 23) & 0xFF) << 23),
                2 => (a, b) = (a | 0x007F_FF00, b | 0x007F_F000),
                _ => {}
            }
            let (x, y) = core::hint::black_box((f32::from_bits(a), f32::from_bits(b)));
            let same =
                |bits: u32, value: f32| bits == value.to_bits() || (f32::from_bits(bits).is_nan() && value.is_nan());
            !(same(add(a, b), x + y) && same(sub(a, b), x - y) && same(mul(a, b), x * y))
        })
        .count() as u32
}

/// Starts the processor's timer, which wraps after 20 million instructions.
#[cfg(feature = "m4f")]
fn counting() -> u32 {
    // SAFETY: the only place that takes them.
    let mut timer = unsafe { cortex_m::Peripherals::steal() }.SYST;
    timer.set_clock_source(cortex_m::peripheral::syst::SystClkSource::Core);
    timer.set_reload(0xFF_FFFF);
    timer.clear_current();
    timer.enable_counter();
    0
}

/// Ends the emulator.
fn end() -> ! {
    #[cfg(not(feature = "rp2040"))]
    cortex_m_semihosting::debug::exit(cortex_m_semihosting::debug::EXIT_SUCCESS);
    loop {
        cortex_m::asm::wfi();
    }
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    if let Some(mut to) = out() {
        let _ = to.write_str("panic\n");
    }
    end()
}

#[cortex_m_rt::entry]
fn main() -> ! {
    if let Some(mut to) = out() {
        #[cfg(feature = "rp2040")]
        let _ = writeln!(to, "sums and products: {} of {} differ", float_differs(), FLOATS);
        #[cfg(feature = "m4f")]
        let mut clock = counting();
        for site in SITES {
            #[cfg(feature = "m4f")]
            let before = cortex_m::peripheral::SYST::get_current();
            let found = results(site, true);
            #[cfg(feature = "m4f")]
            {
                clock = clock.max(before.wrapping_sub(cortex_m::peripheral::SYST::get_current()) & 0xFF_FFFF);
            }
            let _ = line(&mut to, site, &found);
        }
        // With `-icount shift=5` an instruction takes 32 ns, 0.8 counts of 25 MHz.
        #[cfg(feature = "m4f")]
        let _ = writeln!(to, "end of sites, the longest {} instructions", u64::from(clock) * 10 / 8);
        let _ = to.write_str("end\n");
    }
    end()
}
