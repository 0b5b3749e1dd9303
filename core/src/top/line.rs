//! The box's end of the line to the top: heartbeats, and whether they are answered.

use super::message::{FRAME, From, Message, Says};
use super::{APART_US, GOOD, HOLD_US, PERIOD_US, STRANGE_US, Sent};
use crate::watch::{Reason, TimeUs};

/// A step may come this much early, µs.
const EARLY_US: u64 = 10_000;

/// Why the top does not count as watched.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Loss {
    /// Answers are missing, or come late.
    Silent,
    /// Something is on the line that should not be: another box, another top, a frame from before, or a top that shows
    /// green without a permit.
    Strange,
    /// Somebody holds riders back at the top.
    Held,
}

impl Loss {
    /// As the watch says it.
    #[must_use]
    pub const fn reason(self) -> Reason {
        match self {
            Self::Silent => Reason::TopSilent,
            Self::Strange => Reason::TopStrange,
            Self::Held => Reason::TopHeld,
        }
    }
}

/// The box's end.
#[derive(Clone, Debug)]
pub struct Desk {
    site: u32,
    session: u32,
    counter: u32,
    sent: Sent,
    told: Option<(Says, TimeUs)>,
    /// Until when the top may still show green.
    green_until: TimeUs,
    heard: Option<(u32, u32)>,
    good: u8,
    until: TimeUs,
    strange_until: TimeUs,
    /// The session of the top at which somebody holds riders back.
    held: Option<u32>,
}

impl Desk {
    /// The line of the box at `site`; `session` is another number at each start.
    #[must_use]
    pub const fn new(site: u32, session: u32) -> Self {
        Self {
            site,
            session,
            counter: 0,
            sent: Sent::new(),
            told: None,
            green_until: TimeUs(0),
            heard: None,
            good: 0,
            until: TimeUs(0),
            strange_until: TimeUs(0),
            held: None,
        }
    }

    /// The heartbeat to send at `now`, if one is due: ask once a step, when the outputs stand.
    pub fn heartbeat(&mut self, now: TimeUs, permit: bool, siren: bool) -> Option<[u8; FRAME]> {
        let says = match (permit, siren, self.held) {
            (true, false, None) => Says::Ride,
            (_, true, _) => Says::Danger,
            (_, false, Some(_)) => Says::Held,
            (false, false, None) => Says::Wait,
        };
        if let Some((told, at)) = self.told {
            let since_us = now.0.saturating_sub(at.0);
            let due_us = if told == says { PERIOD_US - EARLY_US } else { APART_US - EARLY_US };
            if since_us < due_us {
                return None;
            }
        }
        self.told = Some((says, now));
        if says == Says::Ride {
            self.green_until = TimeUs(now.0.saturating_add(2 * HOLD_US));
        }
        self.counter = self.counter.wrapping_add(1);
        self.sent.put(self.counter, now);
        let echo = self.heard.unwrap_or((0, 0));
        let (site, session, counter) = (self.site, self.session, self.counter);
        Some(Message { from: From::Box, site, session, counter, echo, says }.frame())
    }

    /// A message has come.
    pub fn hear(&mut self, now: TimeUs, message: &Message) {
        if message.from == From::Box {
            // Its own voice comes back where the receiver is not off while it sends.
            if message.session != self.session || message.site != self.site {
                self.find_strange(now);
            }
            return;
        }
        if message.site != self.site {
            self.find_strange(now);
            return;
        }
        let live = if message.echo.0 == self.session { self.sent.holds_until(message.echo.1, now) } else { None };
        let same = self.heard.is_some_and(|(session, _)| session == message.session);
        let up = same && self.heard.is_some_and(|(_, counter)| message.counter > counter);
        let Some(until) = live else {
            if !up && self.heard.is_some() {
                self.find_strange(now);
            }
            return;
        };
        if same && !up {
            self.find_strange(now);
            return;
        }
        // A top that has started anew begins to count anew.
        self.good = if up { self.good.saturating_add(1).min(GOOD) } else { 1 };
        self.until = self.until.max(until);
        self.heard = Some((message.session, message.counter));
        if message.says == Says::Held {
            self.held = Some(message.session);
        } else if self.held == Some(message.session) {
            self.held = None;
        }
        if message.says == Says::Ride && now > self.green_until {
            self.find_strange(now);
        }
    }

    fn find_strange(&mut self, now: TimeUs) {
        self.good = 0;
        self.strange_until = TimeUs(now.0.saturating_add(STRANGE_US));
    }

    /// Why the permit is to be withheld, if so.
    pub fn loss(&mut self, now: TimeUs) -> Option<Loss> {
        if now >= self.until {
            self.good = 0;
        }
        if now < self.strange_until {
            Some(Loss::Strange)
        } else if self.good < GOOD {
            Some(Loss::Silent)
        } else if self.held.is_some() {
            Some(Loss::Held)
        } else {
            None
        }
    }
}

#[cfg(test)]
#[path = "line_tests.rs"]
mod tests;
