//! Computing beside the watch: the main program computes, and the steps go on in the handler of the timer's second alarm.
//!
//! So a step begins on time whatever is being computed, the watchdog is fed by steps alone, and a computation that hangs
//! changes nothing. The two share nothing but the box itself, which the main program does not touch meanwhile.

use core::cell::UnsafeCell;

use crate::time::{now_us, now_us32, second_alarm};
use crate::{Box, PUMP_US, STEP_US};
use landfall_core::watch::TimeUs;

/// What the handler works on.
struct Beat {
    app: *mut Box,
    next_us: u32,
    rested: bool,
}

/// The one that there is.
struct Shared(UnsafeCell<Beat>);
// SAFETY: written while the alarm is off, used by its handler alone while it is on.
unsafe impl Sync for Shared {}

static BEAT: Shared = Shared(UnsafeCell::new(Beat { app: core::ptr::null_mut(), next_us: 0, rested: true }));

/// Runs the job that the box wants, if any: call it right after a step. Steps go on every [`STEP_US`], the next at
/// `next_us`; gives when the one after the computation is due, and whether the box has rested since the last.
#[inline(never)]
pub fn compute(app: &mut Box, next_us: u32) -> (u32, bool) {
    let Some(job) = app.job() else { return (next_us, false) };
    // SAFETY: the alarm is off, so nobody else uses it.
    unsafe { *BEAT.0.get() = Beat { app, next_us, rested: false } };
    second_alarm::start(now_us32());
    let found = job.run();
    second_alarm::stop();
    // SAFETY: the alarm is off again.
    let (next_us, rested) = unsafe { ((*BEAT.0.get()).next_us, (*BEAT.0.get()).rested) };
    app.found(&found);
    (next_us, rested)
}

/// The alarm's handler: what the main loop does between two waits.
#[unsafe(export_name = "TIMER_IRQ_1")]
extern "C" fn beat() {
    second_alarm::clear();
    // SAFETY: this handler does not nest in itself, and `compute` keeps its hands off while the alarm is on.
    let beat = unsafe { &mut *BEAT.0.get() };
    // SAFETY: as above; set before the alarm was started.
    let Some(app) = (unsafe { beat.app.as_mut() }) else { return };
    let now = now_us32();
    if (now.wrapping_sub(beat.next_us) as i32) >= 0 {
        app.step(TimeUs(now_us()), || TimeUs(now_us()));
        beat.next_us = beat.next_us.wrapping_add(STEP_US);
        let after = now_us32();
        // As in the main loop: missed ones are not made up for.
        if (after.wrapping_sub(beat.next_us) as i32) > STEP_US as i32 {
            beat.next_us = after;
        }
        beat.rested = false;
    } else {
        app.pump();
        if !beat.rested {
            app.rest();
            beat.rested = true;
        }
    }
    let pump_us = now_us32().wrapping_add(PUMP_US);
    second_alarm::set(if (pump_us.wrapping_sub(beat.next_us) as i32) < 0 { pump_us } else { beat.next_us });
}
