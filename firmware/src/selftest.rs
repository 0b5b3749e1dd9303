//! The tests of a box by itself at a start, in slices that fit between two steps.
//!
//! *Program*: after linking, `seal.py` writes the image's length and CRC-32 into a place of the image that `Seal` holds; the box
//! sums the same bytes and compares. A program that was not sealed cannot be tested, and says so. *Memory*: the words that
//! nothing uses, a block at a time ([`march`]).

use crate::store::RunningCrc;
use landfall_core::watch::Tested;
use landfall_core::watch::selftest::{Memory, march};

/// Bytes of the program that a slice sums: about 1 ms at 125 MHz from a slow flash.
const SLICE: usize = 1024;
/// Words of memory that a slice tests: about 1 ms at 125 MHz.
pub const BLOCK: usize = 1024;

/// What `seal.py` writes: length and checksum.
pub const SEAL: usize = 8;

/// Sums a program.
pub struct ProgramCheck {
    at: usize,
    sum: RunningCrc,
}

impl ProgramCheck {
    /// At the beginning.
    pub const fn new() -> Self {
        Self { at: 0, sum: RunningCrc::new() }
    }

    /// Goes on over `flash`, which begins with the program and has the seal's eight bytes at `seal_at`: they count as erased.
    /// [`Tested::Pending`] until the end.
    pub fn slice(&mut self, flash: &[u8], seal_at: usize) -> Tested {
        let seal = flash.get(seal_at..).and_then(|rest| rest.first_chunk::<SEAL>());
        let Some([l0, l1, l2, l3, sum @ ..]) = seal.copied() else { return Tested::Impossible };
        let (length, wanted) = (u32::from_le_bytes([l0, l1, l2, l3]), u32::from_le_bytes(sum));
        if length == u32::MAX && wanted == u32::MAX {
            return Tested::Impossible;
        }
        let Some(program) = flash.get(..length as usize) else { return Tested::Failed };
        let end = self.at.saturating_add(SLICE).min(program.len());
        let seal_end = seal_at.saturating_add(SEAL);
        // Before, over and behind the seal.
        for (from, to) in
            [(self.at, end.min(seal_at)), (self.at.max(seal_at), end.min(seal_end)), (self.at.max(seal_end), end)]
        {
            let part = program.get(from..to).unwrap_or(&[]);
            if from >= seal_at && to <= seal_end && from < to {
                let erased = [0xFF; SEAL];
                self.sum.take(erased.get(..part.len()).unwrap_or(&[]));
            } else {
                self.sum.take(part);
            }
        }
        self.at = end;
        if end < program.len() {
            return Tested::Pending;
        }
        if self.sum.so_far() == wanted { Tested::Good } else { Tested::Failed }
    }
}

impl Default for ProgramCheck {
    fn default() -> Self {
        Self::new()
    }
}

/// Tests memory block by block.
pub struct MemoryCheck {
    at: usize,
}

impl MemoryCheck {
    /// At the beginning.
    pub const fn new() -> Self {
        Self { at: 0 }
    }

    /// The next block of `words` words; [`Tested::Pending`] until the end.
    pub fn slice<M: Memory>(&mut self, memory: &mut M, words: usize) -> Tested {
        let length = BLOCK.min(words.saturating_sub(self.at));
        if !march(memory, self.at, length) {
            return Tested::Failed;
        }
        self.at = self.at.saturating_add(length);
        if self.at < words { Tested::Pending } else { Tested::Good }
    }
}

impl Default for MemoryCheck {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::crc32;
    use std::vec::Vec;

    /// A program of `length` bytes with its seal at `seal_at`, in a flash that goes on.
    fn sealed(length: usize, seal_at: usize) -> Vec<u8> {
        let mut program: Vec<u8> = (0..length).map(|i| (i * 31 % 251) as u8).collect();
        program[seal_at..seal_at + SEAL].fill(0xFF);
        let sum = crc32(&program);
        program[seal_at..seal_at + 4].copy_from_slice(&(length as u32).to_le_bytes());
        program[seal_at + 4..seal_at + 8].copy_from_slice(&sum.to_le_bytes());
        program.extend([0xFF; 3000]);
        program
    }

    fn tested(flash: &[u8], seal_at: usize) -> (Tested, u32) {
        let mut check = ProgramCheck::new();
        for slices in 1..100 {
            match check.slice(flash, seal_at) {
                Tested::Pending => {}
                found => return (found, slices),
            }
        }
        panic!("no end");
    }

    #[test]
    fn a_sealed_program_is_good_wherever_the_seal_lies() {
        for length in [900, 1024, 5000] {
            for seal_at in [0, 7, 500, 1020, 1024, 2044, 4992].into_iter().filter(|at| at + SEAL <= length) {
                let (found, slices) = tested(&sealed(length, seal_at), seal_at);
                assert_eq!((found, slices), (Tested::Good, length.div_ceil(1024) as u32), "{length} {seal_at}");
            }
        }
    }

    #[test]
    fn one_bit_anywhere_is_found() {
        let good = sealed(2500, 1020);
        for byte in 0..2500 {
            let mut bad = good.clone();
            bad[byte] ^= 1 << (byte % 8);
            assert_eq!(tested(&bad, 1020).0, Tested::Failed, "byte {byte}");
        }
        let mut behind = good.clone();
        behind[2500] ^= 1;
        assert_eq!(tested(&behind, 1020).0, Tested::Good, "what is behind the program is none of it");
    }

    #[test]
    fn one_that_was_not_sealed_cannot_be_tested() {
        assert_eq!(tested(&[0xFF; 3000], 100).0, Tested::Impossible);
        assert_eq!(tested(&[0; 50], 100).0, Tested::Impossible);
    }

    struct Ram(Vec<u32>, Option<usize>);
    impl Memory for Ram {
        fn read(&self, at: usize) -> u32 {
            if Some(at) == self.1 { self.0[at] & !4 } else { self.0[at] }
        }
        fn write(&mut self, at: usize, word: u32) {
            self.0[at] = word;
        }
    }

    #[test]
    fn memory_is_tested_to_its_last_word() {
        for (bad, found) in [(None, Tested::Good), (Some(0), Tested::Failed), (Some(2499), Tested::Failed)] {
            let (mut ram, mut check) = (Ram(vec![7; 2500], bad), MemoryCheck::new());
            let end = (0..4).map(|_| check.slice(&mut ram, 2500)).find(|tested| *tested != Tested::Pending);
            assert_eq!(end, Some(found));
        }
        assert_eq!(MemoryCheck::new().slice(&mut Ram(vec![], None), 0), Tested::Good);
    }
}
