//! Whether the permit's loop does what it is told.
//!
//! The loop is read back by a contact of its own or by its voltage. Where command and read-back differ for longer than the
//! relay may take, the relay is welded, its driver shorted, or it does not pull in: a fault that stays until the
//! day is ended and they agree again, or the box starts. At the trial the permit is off, so a loop that is closed then is found before
//! the bag is up; that it closes as well shows with the first permit of the day, before anybody can be on the bag.

use super::event::Fault;

/// Follows one loop.
#[derive(Clone, Debug, Default)]
pub struct PermitProof {
    differs_ms: u16,
    closed: bool,
    fault: Option<Fault>,
}

impl PermitProof {
    /// Nothing known.
    #[must_use]
    pub const fn new() -> Self {
        Self { differs_ms: 0, closed: false, fault: None }
    }

    /// One step, `dt_ms` after the last: the permit has been `commanded` on since then, and the loop is `closed` now. It may
    /// take `relay_ms` to follow. `over`: the day is ended, so that a fault goes with its cause.
    pub fn step(&mut self, dt_ms: u16, commanded: bool, closed: bool, relay_ms: u16, over: bool) {
        // A loop that has followed and opens again begins anew, and so does one that is told something else.
        let same = closed == self.closed;
        self.closed = closed;
        self.differs_ms = match commanded == closed {
            true => 0,
            false if same => self.differs_ms.saturating_add(dt_ms),
            false => dt_ms,
        };
        if over && commanded == closed {
            self.fault = None;
        }
        if self.differs_ms > relay_ms {
            self.fault = self.fault.or(Some(if closed { Fault::PermitStuck } else { Fault::PermitOpen }));
        }
    }

    /// What is wrong, until the day is over.
    #[must_use]
    pub const fn fault(&self) -> Option<Fault> {
        self.fault
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(proof: &mut PermitProof, ms: u16, commanded: bool, closed: bool) -> Option<Fault> {
        for _ in 0..ms / 20 {
            proof.step(20, commanded, closed, 100, false);
        }
        proof.fault()
    }

    #[test]
    fn a_loop_that_follows_in_time_is_no_fault() {
        let mut proof = PermitProof::new();
        for _ in 0..5 {
            assert_eq!(run(&mut proof, 1000, false, false), None);
            assert_eq!(run(&mut proof, 100, true, false), None);
            assert_eq!(run(&mut proof, 1000, true, true), None);
            assert_eq!(run(&mut proof, 100, false, true), None);
        }
    }

    #[test]
    fn a_welded_relay_is_found_while_the_permit_is_off() {
        let mut proof = PermitProof::new();
        assert_eq!(run(&mut proof, 100, false, true), None);
        assert_eq!(run(&mut proof, 20, false, true), Some(Fault::PermitStuck));
    }

    #[test]
    fn a_fault_stays_until_the_day_is_over_and_is_the_first_one_found() {
        let mut proof = PermitProof::new();
        run(&mut proof, 500, true, true);
        assert_eq!(run(&mut proof, 200, true, false), Some(Fault::PermitOpen));
        assert_eq!(run(&mut proof, 1000, false, false), Some(Fault::PermitOpen));
        assert_eq!(run(&mut proof, 1000, false, true), Some(Fault::PermitOpen));
        proof.step(20, false, true, 100, true);
        assert_eq!(proof.fault(), Some(Fault::PermitOpen), "not while they differ");
        proof.step(20, false, false, 100, true);
        assert_eq!(run(&mut proof, 1000, false, false), None);
    }

    #[test]
    fn a_loop_that_chatters_is_a_fault_where_it_stays_away() {
        let mut proof = PermitProof::new();
        run(&mut proof, 500, true, true);
        for _ in 0..20 {
            run(&mut proof, 80, true, false);
            assert_eq!(run(&mut proof, 20, true, true), None);
        }
    }
}
