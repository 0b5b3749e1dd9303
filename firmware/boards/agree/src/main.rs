//! Prints what the core computes for the reference sites, on emulated chips.
#![no_std]
#![no_main]

use core::fmt::Write;
use landfall_agree::{SITES, line, results};

#[cfg(not(feature = "rp2040"))]
use cortex_m_semihosting::hio::{HostStream, hstdout};

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
        for site in SITES {
            let found = results(site, true);
            let _ = line(&mut to, site, &found);
        }
        let _ = to.write_str("end\n");
    }
    end()
}
