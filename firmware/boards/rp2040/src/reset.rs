//! The watchdog, and why the chip started.

use landfall_core::watch::ResetCause;
use landfall_firmware::board::Watchdog;
use rp2040_pac as pac;

/// The watchdog. Once started it cannot be stopped by the program.
pub struct Dog {
    block: pac::WATCHDOG,
}

impl Dog {
    /// Starts it: everything but the oscillators is reset if it is not fed within `next_ms`.
    pub fn start(block: pac::WATCHDOG, psm: &pac::PSM, next_ms: u32) -> Self {
        // SAFETY: all bits but ring oscillator and crystal.
        psm.wdsel().write(|w| unsafe { w.bits(0x1_FFFC) });
        let mut dog = Self { block };
        dog.feed(next_ms);
        dog.block.ctrl().modify(|_, w| w.enable().set_bit());
        dog
    }
}

impl Watchdog for Dog {
    fn feed(&mut self, next_ms: u32) {
        // It counts down by two per microsecond (erratum RP2040-E1).
        let load = next_ms.saturating_mul(2_000).min(0xFF_FFFF);
        // SAFETY: any 24-bit value is valid.
        self.block.load().write(|w| unsafe { w.bits(load) });
    }
}

/// A word that RAM keeps over a reset, and over a supply dip too short to empty it.
#[unsafe(link_section = ".uninit.KEPT")]
static mut KEPT: u32 = 0;
const KEPT_MARK: u32 = 0x4B45_5054;

/// Why the chip started. Call once.
///
/// The chip has one flag for power-on and for brown-out. RAM tells them apart: if a mark left there is
/// still in place, the supply was only gone for a moment (*assumed*; not tried on silicon).
pub fn cause(watchdog: &pac::WATCHDOG, chip: &pac::VREG_AND_CHIP_RESET) -> ResetCause {
    let kept = &raw mut KEPT;
    // SAFETY: single core, before interrupts, and nobody else uses it.
    let marked = unsafe {
        let marked = kept.read_volatile() == KEPT_MARK;
        kept.write_volatile(KEPT_MARK);
        marked
    };
    let reason = watchdog.reason().read();
    let chip = chip.chip_reset().read();
    if reason.timer().bit_is_set() {
        ResetCause::Watchdog
    } else if reason.force().bit_is_set() || chip.had_run().bit_is_set() {
        ResetCause::Software
    } else if chip.had_por().bit_is_set() {
        if marked { ResetCause::BrownOut } else { ResetCause::PowerOn }
    } else {
        ResetCause::Unknown
    }
}
