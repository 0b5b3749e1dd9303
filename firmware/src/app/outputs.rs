//! Driving the outputs; the permit as a level or as a train of pulses.
//!
//! Pulses are made by [`App::pump`](super::App::pump), an edge a call, and only as many as a step has paid for: a program whose steps
//! stop sends no more after [`EDGES`] calls, and a pin that is stuck sends none. The charge pump behind it (or a monostable)
//! lets the relay go some 40 ms later. When the permit goes the pin is low at once.

use crate::board::Outputs;
use embedded_hal::digital::OutputPin;
use landfall_core::watch::Pins;

/// Edges that a step pays for: the ten until the next one, and half as many for one that is late.
const EDGES: u8 = 15;

/// How the permit is driven.
#[derive(Default)]
pub(super) struct Permit {
    /// Edges still to be made.
    edges: u8,
    high: bool,
}

impl Permit {
    pub(super) const OFF: Self = Self { edges: 0, high: false };

    /// One edge, if there is one to be made.
    pub(super) fn beat<P: OutputPin>(&mut self, pin: &mut P) {
        if let Some(left) = self.edges.checked_sub(1) {
            self.edges = left;
            self.high = !self.high;
            // What the pin does is read back at the loop.
            let _ = pin.set_state(self.high.into());
        }
    }
}

/// Puts `pins` on the outputs, the permit first. False if one of them did not take it.
pub(super) fn drive<P: OutputPin>(outputs: &mut Outputs<P>, permit: &mut Permit, pins: Pins, pulses: bool) -> bool {
    let mut done = true;
    if pulses && pins.permit {
        permit.edges = EDGES;
    } else {
        *permit = Permit::OFF;
        done = outputs.permit.set_state(pins.permit.into()).is_ok();
    }
    done &= outputs.siren.set_state(pins.siren.into()).is_ok();
    done &= outputs.red.set_state(pins.red.into()).is_ok();
    done &= outputs.amber.set_state(pins.amber.into()).is_ok();
    done &= outputs.green.set_state(pins.green.into()).is_ok();
    done
}
