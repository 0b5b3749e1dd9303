//! The board at the top: what it shows, and what it answers.

use super::message::{FRAME, From, Message, Says};
use super::sip::sip24;
use super::{GOOD, STRANGE_US, Sent, TURN_US};
use crate::watch::signal::{AMBER_PERIOD_MS, RED_PERIOD_MS, flash, siren_on};
use crate::watch::{Pins, TimeUs};

/// The button at the top holds riders back after it has been down for so long, µs.
pub const HOLD_BACK_US: u64 = 1_000_000;
/// And lets them go again after so long, µs.
pub const LET_GO_US: u64 = 2_000_000;
/// An answer that is later than this is not given any more, µs: it would meet the next heartbeat.
const LATE_US: u64 = 20_000;
/// Heartbeats of one site, with nothing else between them, that make a pair.
const PAIR: u8 = 10;

/// Why the top shows what it shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Why {
    /// The box gives the permit: green.
    Ride,
    /// The box gives no permit.
    Wait,
    /// All stop at the bag.
    Danger,
    /// Somebody holds riders back here, or the button is down.
    Held,
    /// Nothing that counts has been heard since the start.
    Starting,
    /// Heartbeats are missing, or come late.
    Silent,
    /// This board was never told its site.
    NoSite,
    /// A frame of another site was on the line.
    OtherSite,
    /// A frame that had been sent before came again.
    Again,
    /// The box has started anew.
    BoxStarted,
    /// Another board like this one answers on the line.
    OtherTop,
}

/// What the board carries now.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Shown {
    /// Lamps, buzzer (as siren) and the relay (as permit).
    pub pins: Pins,
    /// Why.
    pub why: Why,
}

/// The state of the board at the top. It begins red.
#[derive(Clone, Debug)]
pub struct Lamp {
    site: Option<u32>,
    session: u32,
    stirred: bool,
    counter: u32,
    sent: Sent,
    /// Session and newest counter of the box that counts.
    heard: Option<(u32, u32)>,
    /// What the next answer echoes, and when it is due.
    answer: Option<((u32, u32), TimeUs)>,
    good: u8,
    until: TimeUs,
    says: Says,
    strange: Option<(Why, TimeUs)>,
    held: bool,
    /// Since the start no box has said whether riders are held back.
    unasked: bool,
    down_since: Option<TimeUs>,
    /// This press has done something already, or the button has not been seen up yet.
    used: bool,
    started: bool,
    why: Why,
    since: TimeUs,
    last: TimeUs,
}

impl Lamp {
    /// A board that belongs to `site`; `chance` is another number at each start, as far as the chip can give one.
    #[must_use]
    pub const fn new(site: Option<u32>, chance: u32) -> Self {
        Self {
            site,
            session: chance,
            stirred: false,
            counter: 0,
            sent: Sent::new(),
            heard: None,
            answer: None,
            good: 0,
            until: TimeUs(0),
            says: Says::Wait,
            strange: None,
            held: false,
            unasked: true,
            down_since: None,
            used: true,
            started: false,
            why: Why::Starting,
            since: TimeUs(0),
            last: TimeUs(0),
        }
    }

    /// A message has come.
    pub fn hear(&mut self, now: TimeUs, message: &Message) {
        if message.from == From::Top {
            if message.session != self.session {
                self.find_strange(Why::OtherTop, now);
            }
            return;
        }
        let Some(site) = self.site else { return };
        if message.site != site {
            self.find_strange(Why::OtherSite, now);
            return;
        }
        if !self.stirred {
            // The box's clock and this one's have nothing to do with each other: to the microsecond, that is chance too.
            self.stirred = true;
            self.session = (sip24(u64::from(self.session), now.0, &[]) as u32).max(1);
        }
        let live = if message.echo.0 == self.session { self.sent.holds_until(message.echo.1, now) } else { None };
        let same = self.heard.is_some_and(|(session, _)| session == message.session);
        let up = self.heard.is_none_or(|(_, counter)| message.counter > counter) && same;
        match live {
            Some(until) if up => {
                self.good = self.good.saturating_add(1).min(GOOD);
                self.until = self.until.max(until);
                self.says = message.says;
                if self.unasked && message.says != Says::Danger {
                    self.unasked = false;
                    self.held |= message.says == Says::Held;
                }
            }
            Some(_) => {
                // Another session, or a counter that began anew, from somebody who hears this board now.
                if self.heard.is_some() {
                    self.find_strange(if same { Why::Again } else { Why::BoxStarted }, now);
                }
            }
            None if up => {
                // Late: it may take the permit, and cannot give it.
                if message.says != Says::Ride {
                    self.says = message.says;
                }
            }
            None if same => {
                self.find_strange(Why::Again, now);
                return;
            }
            None => {
                if self.heard.is_some() {
                    self.find_strange(Why::Again, now);
                }
            }
        }
        if up || live.is_some() {
            self.heard = Some((message.session, message.counter));
        }
        self.answer = Some(((message.session, message.counter), TimeUs(now.0.saturating_add(TURN_US))));
    }

    fn find_strange(&mut self, why: Why, now: TimeUs) {
        self.good = 0;
        self.strange = Some((why, TimeUs(now.0.saturating_add(STRANGE_US))));
    }

    /// What the board carries at `now`: ask at least every 5 ms. `button` is down.
    pub fn look(&mut self, now: TimeUs, button: bool) -> Shown {
        if now < self.last || now >= self.until {
            // A clock that goes back knows nothing.
            self.good = 0;
        }
        self.last = now;
        self.strange = self.strange.filter(|(_, until)| now < *until);
        self.press(now, button);
        let why = self.judge(button);
        if why != self.why || !self.started {
            self.started = true;
            self.why = why;
            self.since = now;
        }
        Shown { pins: pins(why, (now.0.saturating_sub(self.since.0) / 1000) as u32), why }
    }

    fn judge(&self, button: bool) -> Why {
        if self.site.is_none() {
            return Why::NoSite;
        }
        if let Some((why, _)) = self.strange {
            return why;
        }
        if self.held || button {
            // Whoever holds riders back must still learn of an all-stop.
            return if self.good > 0 && self.says == Says::Danger { Why::Danger } else { Why::Held };
        }
        if self.good < GOOD {
            // Danger is told as soon as it is heard.
            return match (self.unasked, self.says) {
                (_, Says::Danger) if self.good > 0 => Why::Danger,
                (true, _) => Why::Starting,
                _ => Why::Silent,
            };
        }
        match self.says {
            Says::Ride => Why::Ride,
            Says::Wait => Why::Wait,
            Says::Danger => Why::Danger,
            Says::Held => Why::Held,
        }
    }

    fn press(&mut self, now: TimeUs, button: bool) {
        if !button {
            self.down_since = None;
            self.used = false;
            return;
        }
        let since = *self.down_since.get_or_insert(now);
        let need_us = if self.held { LET_GO_US } else { HOLD_BACK_US };
        if !self.used && now.0.saturating_sub(since.0) >= need_us {
            self.held = !self.held;
            self.used = true;
        }
    }

    /// The answer to send at `now`, if one is due: the frame must go out at once.
    pub fn answer(&mut self, now: TimeUs) -> Option<[u8; FRAME]> {
        let (echo, due) = self.answer.filter(|(_, due)| *due <= now)?;
        self.answer = None;
        let site = self.site.filter(|_| now.0.saturating_sub(due.0) <= LATE_US)?;
        self.counter = self.counter.wrapping_add(1);
        self.sent.put(self.counter, now);
        let says = match self.why {
            Why::Ride => Says::Ride,
            _ if self.held => Says::Held,
            Why::Wait | Why::Danger | Why::Held | Why::Starting | Why::Silent | Why::NoSite => Says::Wait,
            Why::OtherSite | Why::Again | Why::BoxStarted | Why::OtherTop => Says::Danger,
        };
        let message = Message { from: From::Top, site, session: self.session, counter: self.counter, echo, says };
        Some(message.frame())
    }
}

/// Lamps, relay and buzzer. Red is lit whenever green is not, steady but for the flashes of *all stop*.
#[must_use]
pub fn pins(why: Why, elapsed_ms: u32) -> Pins {
    let red = Pins { red: true, ..Pins::default() };
    match why {
        Why::Ride => Pins { green: true, permit: true, ..Pins::default() },
        Why::Wait | Why::Held => red,
        Why::Danger => Pins { red: flash(elapsed_ms, RED_PERIOD_MS), siren: siren_on(elapsed_ms), ..Pins::default() },
        Why::Starting | Why::Silent => Pins { amber: flash(elapsed_ms, AMBER_PERIOD_MS), ..red },
        Why::NoSite | Why::OtherSite | Why::Again | Why::BoxStarted | Why::OtherTop => Pins { amber: true, ..red },
    }
}

/// Learns the site: of the one box that is heard while somebody holds the button at the start.
#[derive(Clone, Debug, Default)]
pub struct Pairing {
    site: u32,
    count: u8,
}

impl Pairing {
    /// A message has come. Gives the site when it has been heard often enough, and nothing else with it.
    pub fn hear(&mut self, message: &Message) -> Option<u32> {
        if message.from != From::Box || message.site == 0 {
            return None;
        }
        self.count = if message.site == self.site { self.count.saturating_add(1) } else { 0 };
        self.site = message.site;
        (self.count >= PAIR).then_some(message.site)
    }
}

#[cfg(test)]
#[path = "lamp_tests.rs"]
mod tests;
