//! Which blowers run, sensed one by one: apart from the mains, so that one that stands still shows while the others hold
//! the pressure.
//!
//! A pressure switch in a duct chatters, so a blower stands still once its sense has been off for [`STILL_MS`], and runs
//! again once it has been on as long. With one of several still nobody new starts; with none running the air is about to go, as
//! after a cut of the supply.

use super::parts::BLOWERS;

/// So long off, or on again, ms. *Assumed*.
pub const STILL_MS: u16 = 500;

/// Follows up to [`BLOWERS`] blowers.
#[derive(Clone, Debug, Default)]
pub struct Blowers {
    fitted: u8,
    since_ms: [u16; BLOWERS as usize],
    still: u8,
}

impl Blowers {
    /// The first `fitted` are sensed. They count as still until they have been seen running; where the box has started anew
    /// while people ride (`duty`), as running until they have been still for [`STILL_MS`]: a start is no loss of air.
    #[must_use]
    pub const fn new(fitted: u8, duty: bool) -> Self {
        let fitted = if fitted > BLOWERS { BLOWERS } else { fitted };
        let mask = ((1_u16 << fitted) - 1) as u8;
        Self { fitted, since_ms: [0; BLOWERS as usize], still: if duty { 0 } else { mask } }
    }

    /// One step, `dt_ms` after the last; gives those that have just changed, one bit each.
    pub fn step(&mut self, dt_ms: u16, running: u8) -> u8 {
        let before = self.still;
        for (which, since_ms) in self.since_ms.iter_mut().enumerate().take(usize::from(self.fitted)) {
            let bit = 1_u8 << which;
            let differs = (running & bit == 0) != (self.still & bit != 0);
            *since_ms = if differs { since_ms.saturating_add(dt_ms) } else { 0 };
            if *since_ms >= STILL_MS {
                self.still ^= bit;
                *since_ms = 0;
            }
        }
        before ^ self.still
    }

    /// Those that stand still, one bit each.
    #[must_use]
    pub const fn still(&self) -> u8 {
        self.still
    }

    /// None of them runs.
    #[must_use]
    pub const fn all_still(&self) -> bool {
        self.fitted > 0 && self.still.count_ones() == self.fitted as u32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(blowers: &mut Blowers, ms: u16, running: u8) {
        for _ in 0..ms / 20 {
            blowers.step(20, running);
        }
    }

    #[test]
    fn one_of_three_that_stands_still_is_told_and_chatter_is_not() {
        let mut blowers = Blowers::new(3, false);
        assert!(blowers.all_still());
        run(&mut blowers, 500, 0b111);
        assert_eq!((blowers.still(), blowers.all_still()), (0, false));
        run(&mut blowers, 480, 0b101);
        assert_eq!(blowers.still(), 0);
        assert_eq!(blowers.step(20, 0b101), 0b010);
        assert_eq!((blowers.still(), blowers.all_still()), (0b010, false));
        for _ in 0..50 {
            run(&mut blowers, 400, 0b111);
            run(&mut blowers, 20, 0b101);
        }
        assert_eq!(blowers.still(), 0b010, "it has not run for long enough");
        run(&mut blowers, 500, 0b111);
        assert_eq!(blowers.still(), 0);
        run(&mut blowers, 500, 0);
        assert!(blowers.all_still());
    }

    #[test]
    fn what_is_not_fitted_is_not_told() {
        let mut none = Blowers::new(0, false);
        run(&mut none, 1000, 0);
        assert_eq!((none.still(), none.all_still()), (0, false));
        let mut most = Blowers::new(9, false);
        run(&mut most, 1000, 0);
        assert_eq!((most.still(), most.all_still()), (0b1111, true));
        run(&mut most, 1000, 0xFF);
        assert_eq!(most.still(), 0);
    }

    #[test]
    fn a_start_while_people_ride_is_no_loss_and_still_ones_are_found_as_fast() {
        let mut blowers = Blowers::new(2, true);
        assert!(!blowers.all_still());
        run(&mut blowers, 480, 0);
        assert!(!blowers.all_still());
        run(&mut blowers, 20, 0);
        assert!(blowers.all_still());
    }
}
