//! The microsecond timer, and sleeping until a moment.

use rp2040_pac as pac;

fn timer() -> &'static pac::timer::RegisterBlock {
    // SAFETY: the registers used here are only read, or written by this module alone.
    unsafe { &*pac::TIMER::ptr() }
}

/// Low 32 bits of the microseconds since the start: for spans under an hour.
pub fn now_us32() -> u32 {
    timer().timerawl().read().bits()
}

/// Microseconds since the start.
pub fn now_us() -> u64 {
    // Read high, low, high again: at most one retry, as the high half changes once in 71 minutes.
    let high = timer().timerawh().read().bits();
    let low = now_us32();
    let again = timer().timerawh().read().bits();
    if high == again {
        (u64::from(high) << 32) | u64::from(low)
    } else {
        (u64::from(again) << 32) | u64::from(now_us32())
    }
}

/// Lets the timer's first alarm wake the processor.
pub fn start() {
    timer().inte().modify(|_, w| w.alarm_0().set_bit());
    // SAFETY: the handler below is there and touches the alarm's flag only.
    unsafe { cortex_m::peripheral::NVIC::unmask(pac::Interrupt::TIMER_IRQ_0) };
}

/// Sleeps until the low 32 bits of the time pass `moment_us`.
pub fn sleep_until(moment_us: u32) {
    let past = || (now_us32().wrapping_sub(moment_us) as i32) >= 0;
    // SAFETY: the register is a moment of the timer's low word: it takes any.
    timer().alarm0().write(|w| unsafe { w.bits(moment_us) });
    // With interrupts masked a pending one still ends WFI, so that none is lost between test and sleep.
    cortex_m::interrupt::disable();
    while !past() {
        cortex_m::asm::wfi();
        // SAFETY: interrupts were enabled when this function was called.
        unsafe { cortex_m::interrupt::enable() };
        cortex_m::asm::isb();
        cortex_m::interrupt::disable();
    }
    // SAFETY: as above.
    unsafe { cortex_m::interrupt::enable() };
}

/// The alarm's handler: clears its flag; waking is all it is for.
#[unsafe(export_name = "TIMER_IRQ_0")]
extern "C" fn alarm() {
    timer().intr().write(|w| w.alarm_0().clear_bit_by_one());
}

/// The timer's second alarm, whose handler runs the box's steps while the main program computes.
#[cfg(feature = "advisory")]
pub mod second_alarm {
    use super::{now_us32, pac, timer};
    use cortex_m::peripheral::NVIC;

    /// An alarm nearer than this could be missed while it is being set, µs.
    const NEAREST_US: u32 = 20;
    /// Lowest priority: the first alarm, which ends waits within the handler, comes through.
    const PRIORITY: u8 = 0xC0;

    /// Lets the alarm interrupt, first at `moment_us`.
    pub fn start(moment_us: u32) {
        // SAFETY: the priority of this interrupt is set here alone, and no critical section rests on priorities.
        unsafe { cortex_m::Peripherals::steal().NVIC.set_priority(pac::Interrupt::TIMER_IRQ_1, PRIORITY) };
        clear();
        timer().inte().modify(|_, w| w.alarm_1().set_bit());
        // SAFETY: the handler is in `beside`.
        unsafe { NVIC::unmask(pac::Interrupt::TIMER_IRQ_1) };
        set(moment_us);
    }

    /// No more of it. When this returns the handler does not run any more.
    pub fn stop() {
        NVIC::mask(pac::Interrupt::TIMER_IRQ_1);
        cortex_m::asm::dsb();
        cortex_m::asm::isb();
        timer().inte().modify(|_, w| w.alarm_1().clear_bit());
        clear();
        NVIC::unpend(pac::Interrupt::TIMER_IRQ_1);
    }

    /// Takes the alarm's flag back.
    pub fn clear() {
        timer().intr().write(|w| w.alarm_1().clear_bit_by_one());
    }

    /// The next alarm, at `moment_us` or as soon after it as can be set.
    pub fn set(moment_us: u32) {
        let soonest_us = now_us32().wrapping_add(NEAREST_US);
        let at_us = if (moment_us.wrapping_sub(soonest_us) as i32) < 0 { soonest_us } else { moment_us };
        // SAFETY: any moment is valid.
        timer().alarm1().write(|w| unsafe { w.bits(at_us) });
    }
}
