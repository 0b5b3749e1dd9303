//! Time as the watch uses it, and the slots that a step fills.

use super::event::TimeUs;
use super::filter::{SLOT_US, SLOTS};

/// More steps than this within one slot: time stands still or the loop runs away.
pub(super) const IDLE_STEPS: u8 = 5;

/// Time as the watch uses it: never goes back, never jumps by more than a second.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clock {
    pub(super) started: bool,
    pub(super) last: TimeUs,
    slot: TimeUs,
    idle: u8,
    /// Sum of all steps.
    pub(super) us: u64,
    carry_us: u32,
}

/// One step of the clock.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tick {
    pub(super) dt_us: u64,
    pub(super) dt_ms: u16,
    /// Slots since the last one; 0 for an early step.
    pub(super) slots: usize,
    pub(super) wrong: bool,
}

impl Clock {
    pub(super) const fn new() -> Self {
        Self { started: false, last: TimeUs(0), slot: TimeUs(0), idle: 0, us: 0, carry_us: 0 }
    }

    pub(super) fn tick(&mut self, now: TimeUs) -> Tick {
        if !self.started {
            *self = Self { started: true, last: now, slot: now, ..Self::new() };
            return Tick { dt_us: 0, dt_ms: 0, slots: 1, wrong: false };
        }
        let back = now < self.last;
        let dt_us = now.0.saturating_sub(self.last.0).min(1_000_000);
        let since_slot_us = now.0.saturating_sub(self.slot.0).min(1_000_000) as u32;
        self.last = now;
        self.us = self.us.saturating_add(dt_us);
        let total_us = self.carry_us.saturating_add(dt_us as u32);
        self.carry_us = total_us % 1000;
        let slots = if back { 1 } else { ((since_slot_us + SLOT_US as u32 / 2) / SLOT_US as u32) as usize };
        self.idle = if slots == 0 { self.idle.saturating_add(1) } else { 0 };
        if slots > 0 {
            self.slot = now;
        }
        let wrong = back || self.idle > IDLE_STEPS;
        Tick { dt_us, dt_ms: (total_us / 1000) as u16, slots: slots.min(SLOTS), wrong }
    }

    /// Goes on at `now`; how long that was.
    pub(super) fn skip(&mut self, now: TimeUs) -> u64 {
        let dt_us = now.0.saturating_sub(self.last.0).min(60_000_000);
        if dt_us > 0 {
            (self.last, self.slot) = (now, now);
            self.us = self.us.saturating_add(dt_us);
        }
        dt_us
    }
}
