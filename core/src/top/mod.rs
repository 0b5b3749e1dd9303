//! The lamp at the top of the roll-in, and the line of two wires between it and the box.
//!
//! The box sends a heartbeat ten times a second, and at once when the permit comes or goes. The board at the top answers
//! each. Every [`Message`] carries the site, the sender's session (another number after each start), a counter that goes
//! up, and an *echo*: session and counter of the newest message that was heard from the other side.
//!
//! The echo is what both sides go by. The top knows when it sent the answer that a heartbeat echoes, so it knows by its
//! own clock that the heartbeat was made after that. Green goes out [`HOLD_US`] after the newest such instant, whatever the
//! line does with bytes: cut, delay, repeat, lose or invent them. The box judges the answers by the same rule.
//!
//! | what happens | the top | the box |
//! | --- | --- | --- |
//! | two heartbeats or two answers in a row are missing | red | permit withheld |
//! | a frame is broken | as if it had not come | the same |
//! | a frame is late: its echo is older than [`HOLD_US`] | not counted | not counted |
//! | a counter that has been, another session, another site | red for [`STRANGE_US`], then [`GOOD`] good ones | withheld as long |
//! | either board restarts | red until [`GOOD`] heartbeats in a row | withheld until [`GOOD`] answers in a row |
//! | somebody holds the button at the top | red until it is held again | permit withheld |
//!
//! Green at the top is the permit and nothing else: where a rule here is in doubt it is red.
//!
//! The tag of a frame is SipHash-2-4 under a key that stands in this text. It keeps sites, boards and noise apart, which a
//! plain checksum of two bytes would not; it keeps nobody out who means it.
//!
//! Nothing here reads a clock: time is an argument. Nothing allocates, and no loop is longer than a frame.

pub mod lamp;
pub mod line;
pub mod message;
pub mod sip;

pub use lamp::{Lamp, Pairing, Shown, Why};
pub use line::{Desk, Loss};
pub use message::{BODY, Collector, FRAME, From, Message, Says};

use crate::watch::TimeUs;

/// Between two heartbeats, µs.
pub const PERIOD_US: u64 = 100_000;
/// Least time between two heartbeats, µs: the answer to the first must be off the line.
pub const APART_US: u64 = 40_000;
/// What was heard counts for so long after the instant that its echo proves, µs: three periods and what a frame and its
/// answer take.
pub const HOLD_US: u64 = 350_000;
/// Good frames in a row before anything is given.
pub const GOOD: u8 = 3;
/// A frame that should not be there is believed to be a sign of more for so long, µs.
pub const STRANGE_US: u64 = 1_000_000;
/// The top answers so long after the end of a frame, µs: the box must have left the line.
pub const TURN_US: u64 = 4_000;

/// What was sent, and when: as far back as an echo may lie.
#[derive(Clone, Debug)]
struct Sent {
    ring: [Option<(u32, TimeUs)>; 8],
    at: usize,
}

impl Sent {
    const fn new() -> Self {
        Self { ring: [None; 8], at: 0 }
    }

    fn put(&mut self, counter: u32, now: TimeUs) {
        self.at = (self.at + 1) % 8;
        if let Some(place) = self.ring.get_mut(self.at) {
            *place = Some((counter, now));
        }
    }

    /// Until when a message counts that echoes `counter`; none if it does not count any more, or never did.
    fn holds_until(&self, counter: u32, now: TimeUs) -> Option<TimeUs> {
        let (_, sent) = self.ring.iter().flatten().find(|(number, _)| *number == counter)?;
        let until = TimeUs(sent.0.saturating_add(HOLD_US));
        // A time that lies ahead is a clock that went back.
        (*sent <= now && now < until).then_some(until)
    }
}
