//! What a box finds out about itself at a start: its program, its memory, its clock.
//!
//! A test that failed withholds the permit; all else goes on. A test that is not over withholds nothing, so that a
//! start while people ride is not delayed by it.

/// How a test stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Tested {
    /// Not over yet.
    #[default]
    Pending,
    /// As it should be.
    Good,
    /// Not as it should be.
    Failed,
    /// Cannot be done on this board, or with this program.
    Impossible,
}

/// All of them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SelfTest {
    /// The program in flash has the checksum that it was sealed with.
    pub program: Tested,
    /// The memory that nothing uses keeps what is written to it.
    pub memory: Tested,
    /// The clocks agree with each other.
    pub clock: Tested,
}

impl SelfTest {
    /// None is over.
    pub const PENDING: Self = Self { program: Tested::Pending, memory: Tested::Pending, clock: Tested::Pending };
    /// None can be done.
    pub const IMPOSSIBLE: Self =
        Self { program: Tested::Impossible, memory: Tested::Impossible, clock: Tested::Impossible };

    fn any(&self, which: Tested) -> bool {
        self.program == which || self.memory == which || self.clock == which
    }

    /// One has failed.
    #[must_use]
    pub fn failed(&self) -> bool {
        self.any(Tested::Failed)
    }

    /// None is left to be done.
    #[must_use]
    pub fn over(&self) -> bool {
        !self.any(Tested::Pending)
    }
}

/// Whether the counted clocks can be right, kHz: the processor's clock within 1 in 1000 of what it should be against the crystal,
/// and the ring oscillator, which depends on nothing else, within the range that its maker states (*from memory*: 1.8 to 12 MHz,
/// widened by a tenth). The ring is coarse: it shows for certain a crystal that is off by eight times, one at half or twice its
/// frequency only where the ring itself lies near an end of its range, and no finer fault.
#[must_use]
pub fn clocks_believed(processor_khz: u32, should_be_khz: u32, ring_khz: u32) -> bool {
    processor_khz.abs_diff(should_be_khz) <= should_be_khz / 1000 && (1_600..=13_200).contains(&ring_khz)
}

/// Memory that nobody uses.
pub trait Memory {
    /// Reads a word.
    fn read(&self, at: usize) -> u32;
    /// Writes a word.
    fn write(&mut self, at: usize, word: u32);
}

/// March C− over `words` words from `from` on: each word is read and turned over, upwards and downwards, so that
/// bits that are stuck, do not turn, are not addressed, or turn with another word's are found. Ten reads and writes a
/// word. The words are 0 afterwards.
pub fn march<M: Memory>(memory: &mut M, from: usize, words: usize) -> bool {
    const ZERO: u32 = 0;
    const ONES: u32 = u32::MAX;
    let to = from.saturating_add(words);
    (from..to).for_each(|at| memory.write(at, ZERO));
    let mut good = true;
    let mut turn = |at: usize, from: u32, to: u32| {
        good &= memory.read(at) == from;
        memory.write(at, to);
    };
    (from..to).for_each(|at| turn(at, ZERO, ONES));
    (from..to).for_each(|at| turn(at, ONES, ZERO));
    (from..to).rev().for_each(|at| turn(at, ZERO, ONES));
    (from..to).rev().for_each(|at| turn(at, ONES, ZERO));
    (from..to).for_each(|at| turn(at, ZERO, ZERO));
    good
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    /// What is wrong with the memory.
    #[derive(Clone, Copy)]
    enum Wrong {
        Nothing,
        Stuck { at: usize, mask: u32, high: bool },
        NoRise { at: usize, mask: u32 },
        Coupled { from: usize, to: usize, mask: u32 },
        SameWord { one: usize, other: usize },
    }

    struct Ram {
        words: Vec<u32>,
        wrong: Wrong,
    }

    impl Memory for Ram {
        fn read(&self, at: usize) -> u32 {
            let at = if let Wrong::SameWord { one, other } = self.wrong
                && at == other
            {
                one
            } else {
                at
            };
            match self.wrong {
                Wrong::Stuck { at: bad, mask, high } if at == bad => {
                    if high {
                        self.words[at] | mask
                    } else {
                        self.words[at] & !mask
                    }
                }
                _ => self.words[at],
            }
        }

        fn write(&mut self, at: usize, word: u32) {
            let at = if let Wrong::SameWord { one, other } = self.wrong
                && at == other
            {
                one
            } else {
                at
            };
            let before = self.words[at];
            self.words[at] = word;
            match self.wrong {
                Wrong::NoRise { at: bad, mask } if at == bad => self.words[at] = word & !(mask & !before),
                // A bit that rises in one word turns it in another.
                Wrong::Coupled { from, to, mask } if at == from && word & !before & mask != 0 => self.words[to] ^= mask,
                _ => {}
            }
        }
    }

    fn tested(wrong: Wrong) -> bool {
        let mut ram = Ram { words: (0..64).map(|word| word * 77).collect(), wrong };
        march(&mut ram, 0, 64)
    }

    #[test]
    fn sound_memory_passes_and_is_cleared_within_its_bounds_only() {
        let mut ram = Ram { words: (1..65).collect(), wrong: Wrong::Nothing };
        assert!(march(&mut ram, 8, 48));
        assert!(ram.words[8..56].iter().all(|word| *word == 0));
        assert_eq!((ram.words[7], ram.words[56]), (8, 57));
    }

    #[test]
    fn every_kind_of_wrong_bit_is_found_at_every_place() {
        for at in 0..64 {
            for bit in 0..32 {
                let mask = 1_u32 << bit;
                assert!(!tested(Wrong::Stuck { at, mask, high: true }), "stuck high {at} {bit}");
                assert!(!tested(Wrong::Stuck { at, mask, high: false }), "stuck low {at} {bit}");
                assert!(!tested(Wrong::NoRise { at, mask }), "no rise {at} {bit}");
            }
            for other in (0..64).filter(|other| *other != at) {
                assert!(!tested(Wrong::Coupled { from: at, to: other, mask: 0x10 }), "coupled {at} {other}");
                assert!(!tested(Wrong::SameWord { one: at, other }), "addressed alike {at} {other}");
            }
        }
    }

    #[test]
    fn clocks_that_cannot_be_right_are_found() {
        assert!(clocks_believed(125_000, 125_000, 6_500));
        assert!(clocks_believed(124_900, 125_000, 2_000) && clocks_believed(125_100, 125_000, 12_000));
        assert!(!clocks_believed(124_870, 125_000, 6_500) && !clocks_believed(133_000, 125_000, 6_500));
        // The crystal at twice its frequency halves what the ring counts to, here from 3,000 kHz; without a count there is no clock.
        assert!(!clocks_believed(125_000, 125_000, 1_500) && !clocks_believed(125_000, 125_000, 0));
        assert!(!clocks_believed(0, 125_000, 6_500) && !clocks_believed(125_000, 125_000, 14_000));
    }

    #[test]
    fn one_that_failed_counts_and_one_that_is_open_does_not() {
        let good = SelfTest { program: Tested::Good, memory: Tested::Good, clock: Tested::Good };
        assert!(good.over() && !good.failed());
        assert!(!SelfTest::default().over() && !SelfTest::default().failed());
        assert!(SelfTest::IMPOSSIBLE.over() && !SelfTest::IMPOSSIBLE.failed());
        assert!(SelfTest { memory: Tested::Failed, ..SelfTest::default() }.failed());
    }
}
