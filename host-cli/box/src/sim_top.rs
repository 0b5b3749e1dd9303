//! A board at the top that is only numbers: the real one's decisions, on a line made of memory.

use std::cell::RefCell;
use std::collections::VecDeque;

use landfall_core::top::{Collector, Lamp, TURN_US};
use landfall_core::watch::TimeUs;

/// What the line carries, each way.
#[derive(Debug, Default)]
pub struct Wires {
    /// On the way to the box.
    pub to_box: RefCell<VecDeque<u8>>,
    /// From the box.
    pub from_box: RefCell<Vec<u8>>,
}

/// The board.
#[derive(Debug)]
pub struct SimTop {
    lamp: Lamp,
    collector: Collector,
    paired: bool,
    /// It shows green.
    pub green: bool,
}

impl SimTop {
    /// It goes by the box that it hears first, as if somebody had paired them before.
    pub const fn new() -> Self {
        Self { lamp: Lamp::new(None, 1), collector: Collector::new(), paired: false, green: false }
    }

    /// Hears what the box has sent, shows, and answers; with `away` nothing passes the line.
    pub fn step(&mut self, now: TimeUs, wires: &Wires, away: bool) {
        for byte in wires.from_box.take() {
            if let (false, Some(message)) = (away, self.collector.push(byte)) {
                if !self.paired {
                    self.paired = true;
                    self.lamp = Lamp::new(Some(message.site), 1);
                }
                self.lamp.hear(now, &message);
            }
        }
        let then = TimeUs(now.0 + TURN_US);
        self.green = self.lamp.look(then, false).pins.green;
        if let Some(frame) = self.lamp.answer(then) {
            wires.to_box.borrow_mut().extend(frame);
        }
    }
}
