//! How either board begins and how it stops: the boot stage, and what a fault of the processor, a panic or an interrupt that
//! nobody enabled comes to.

use rp2040_pac as pac;

/// Second boot stage, copied by the boot ROM: plain serial reads (command 0x03). See `flash`.
#[unsafe(link_section = ".boot2")]
#[used]
static BOOT2: [u8; 256] = rp2040_boot2::BOOT_LOADER_GENERIC_03H;

/// Stops with the outputs at rest; the watchdog, once started, resets the chip.
pub fn halt() -> ! {
    // SAFETY: clears outputs only.
    unsafe { (*pac::SIO::ptr()).gpio_out_clr().write(|w| w.bits(u32::MAX)) };
    loop {
        cortex_m::asm::nop();
    }
}

/// A fault of the processor: outputs to rest at once, then the watchdog.
#[cortex_m_rt::exception(trampoline = false)]
unsafe fn HardFault() -> ! {
    halt()
}

/// An interrupt that nobody enabled.
#[cortex_m_rt::exception]
unsafe fn DefaultHandler(_number: i16) -> ! {
    halt()
}

#[cfg(not(feature = "prove-no-panic"))]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    halt()
}

#[cfg(feature = "prove-no-panic")]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    unsafe extern "C" {
        // Not defined anywhere: linking fails if a path to here is left.
        fn PANIC_PATH_REMAINS() -> !;
    }
    // SAFETY: never linked.
    unsafe { PANIC_PATH_REMAINS() }
}
