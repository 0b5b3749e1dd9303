//! Clocks and resets, each wait bounded: 12 MHz crystal, 125 MHz system and peripheral clock.

use rp2040_pac as pac;

/// System and peripheral clock, Hz.
pub const CLOCK_HZ: u32 = 125_000_000;

/// Polls `done` up to a bound that is about 0.1 s at 125 MHz.
pub fn wait_for(mut done: impl FnMut() -> bool) -> bool {
    (0..1_000_000_u32).any(|_| done())
}

/// Starts crystal, tick generator and PLL. False if one of them does not come up.
pub fn start(p: &pac::Peripherals) -> bool {
    // Start-up delay in units of 256 crystal periods: 47 is 1 ms.
    // SAFETY: the field has 14 bits, and a delay of any length is one that the crystal takes.
    p.XOSC.startup().write(|w| unsafe { w.delay().bits(47) });
    p.XOSC.ctrl().write(|w| w.freq_range()._1_15mhz().enable().enable());
    if !wait_for(|| p.XOSC.status().read().stable().bit_is_set()) {
        return false;
    }
    // 1 µs tick for timer and watchdog: 12 periods of the reference clock.
    // SAFETY: the field has 9 bits; 12 is the reference clock's frequency in MHz, as the tick asks for.
    p.WATCHDOG.tick().write(|w| unsafe { w.cycles().bits(12).enable().set_bit() });
    p.CLOCKS.clk_ref_ctrl().write(|w| w.src().xosc_clksrc());
    if !wait_for(|| p.CLOCKS.clk_ref_selected().read().bits() == 1 << 2) {
        return false;
    }
    p.CLOCKS.clk_sys_ctrl().write(|w| w.src().clk_ref());
    if !wait_for(|| p.CLOCKS.clk_sys_selected().read().bits() == 1) {
        return false;
    }
    p.RESETS.reset().modify(|_, w| w.pll_sys().set_bit());
    p.RESETS.reset().modify(|_, w| w.pll_sys().clear_bit());
    if !wait_for(|| p.RESETS.reset_done().read().pll_sys().bit_is_set()) {
        return false;
    }
    // 12 MHz · 125 = 1500 MHz, over 6 and 2.
    // SAFETY: the field has 6 bits; the PLL takes 1 to 63, and 12 MHz over 1 is within its range.
    p.PLL_SYS.cs().write(|w| unsafe { w.refdiv().bits(1) });
    // SAFETY: the field has 12 bits; the PLL takes 16 to 320, and 1,500 MHz is within its range.
    p.PLL_SYS.fbdiv_int().write(|w| unsafe { w.fbdiv_int().bits(125) });
    p.PLL_SYS.pwr().modify(|_, w| w.pd().clear_bit().vcopd().clear_bit());
    if !wait_for(|| p.PLL_SYS.cs().read().lock().bit_is_set()) {
        return false;
    }
    // SAFETY: the fields have 3 bits each; both dividers are within 1 to 7.
    p.PLL_SYS.prim().write(|w| unsafe { w.postdiv1().bits(6).postdiv2().bits(2) });
    p.PLL_SYS.pwr().modify(|_, w| w.postdivpd().clear_bit());
    p.CLOCKS.clk_sys_ctrl().write(|w| w.auxsrc().clksrc_pll_sys().src().clk_ref());
    p.CLOCKS.clk_sys_ctrl().modify(|_, w| w.src().clksrc_clk_sys_aux());
    if !wait_for(|| p.CLOCKS.clk_sys_selected().read().bits() == 2) {
        return false;
    }
    // The converter's clock: the crystal, 8 µs a conversion.
    p.CLOCKS.clk_adc_ctrl().write(|w| w.auxsrc().xosc_clksrc().enable().set_bit());
    p.CLOCKS.clk_peri_ctrl().write(|w| w.auxsrc().clk_sys().enable().set_bit());
    true
}

/// Takes the blocks that the box uses through a reset. False if one does not come out of it.
pub fn reset_blocks(p: &pac::Peripherals) -> bool {
    p.RESETS.reset().modify(|_, w| w.i2c0().set_bit().uart0().set_bit().uart1().set_bit().adc().set_bit());
    p.RESETS.reset().modify(|_, w| {
        w.i2c0().clear_bit().uart0().clear_bit().uart1().clear_bit().adc().clear_bit();
        w.timer().clear_bit().io_bank0().clear_bit().pads_bank0().clear_bit()
    });
    wait_for(|| {
        let done = p.RESETS.reset_done().read();
        done.i2c0().bit_is_set()
            && done.uart0().bit_is_set()
            && done.uart1().bit_is_set()
            && done.adc().bit_is_set()
            && done.timer().bit_is_set()
            && done.io_bank0().bit_is_set()
            && done.pads_bank0().bit_is_set()
    })
}
