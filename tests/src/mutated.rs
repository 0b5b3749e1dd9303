//! Inputs that nobody wrote: good ones changed at random, by a generator with a seed, for every reader of what comes
//! from outside. Input `index` of a target and seed is always the same one.
//!
//! What is good is in `tests/fuzz/corpus/<target>/` and, where it is bytes of the box, made by the box's own code.

mod targets;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::time::{Duration, Instant};

pub use targets::TARGETS;

/// A reader of what comes from outside.
#[derive(Clone, Copy)]
pub struct Target {
    /// Its name, and that of its folder of good inputs.
    pub name: &'static str,
    /// How many of a thousand inputs it gets.
    pub share: u64,
    /// Good inputs that are made by code.
    pub made: fn() -> Vec<Vec<u8>>,
    /// Words of its language.
    pub words: &'static [&'static str],
    /// Reads an input, and says what is wrong with what came of it.
    pub look: fn(&[u8]) -> Result<(), String>,
}

/// splitmix64.
#[derive(Clone, Debug)]
pub struct Dice(u64);

impl Dice {
    /// From a seed.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Below `sides`; 0 where there are none.
    pub fn roll(&mut self, sides: usize) -> usize {
        if sides == 0 { 0 } else { (self.bits() % sides as u64) as usize }
    }

    /// From 0 to 1.
    pub fn share(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn pick<'a, T>(&mut self, list: &'a [T]) -> Option<&'a T> {
        list.get(self.roll(list.len()))
    }
}

/// Longest input.
const LONGEST: usize = 64 << 10;

/// Texts that numbers are replaced by, and that are put anywhere.
const ODD: &[&str] = &[
    "0",
    "-0",
    "1",
    "-1",
    "1e400",
    "-1e400",
    "1e-400",
    "nan",
    "inf",
    "-inf",
    "0x10",
    "1_000",
    "1,5",
    "99999999999999999999",
    "4294967296",
    "2147483648",
    "65536",
    "0.1",
    "1e5",
    "",
    " ",
    "\t",
    "\r\n",
    "\n",
    "\0",
    "\u{feff}",
    "\u{202e}",
    "\u{1b}[2J",
    "\u{9b}2J",
    "é",
    "😀",
    "\"",
    "'",
    "\\",
    "#",
    "=",
    ",",
    ";",
    "[",
    "]",
    "{",
    "}",
    "true",
    "null",
    "%",
];

/// A good input, changed in a few places.
#[must_use]
pub fn mutated(target: &Target, good: &[Vec<u8>], seed: u64, index: u64) -> Vec<u8> {
    let mut dice = Dice::new(seed ^ index.wrapping_mul(0xD6E8_FEB8_6659_FD93));
    let mut bytes = dice.pick(good).cloned().unwrap_or_default();
    for _ in 0..=dice.roll(4) {
        change(&mut bytes, target, good, &mut dice);
        bytes.truncate(LONGEST);
    }
    bytes
}

fn change(bytes: &mut Vec<u8>, target: &Target, good: &[Vec<u8>], dice: &mut Dice) {
    let at = dice.roll(bytes.len() + 1);
    let to = at + dice.roll((bytes.len() - at).min(40) + 1);
    match dice.roll(13) {
        0 => {
            if let Some(byte) = bytes.get_mut(at) {
                *byte ^= 1 << dice.roll(8);
            }
        }
        1 => {
            if let Some(byte) = bytes.get_mut(at) {
                *byte = dice.bits() as u8;
            }
        }
        2 => drop(bytes.drain(at..to)),
        3 => {
            let part = bytes[at..to].to_vec();
            let most = if dice.roll(20) == 0 { 400 } else { 3 };
            let again = dice.roll(most) + 1;
            drop(bytes.splice(at..at, part.repeat(again)));
        }
        4 | 5 => {
            let word = dice.pick(ODD).copied().unwrap_or_default();
            drop(bytes.splice(at..at, word.bytes()));
        }
        6 | 7 => {
            let word = dice.pick(target.words).copied().unwrap_or_default();
            drop(bytes.splice(at..to, word.bytes()));
        }
        8 => {
            // A number becomes another.
            let digit = |b: &u8| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'e');
            let from = bytes.iter().skip(at).position(|b| b.is_ascii_digit()).map_or(bytes.len(), |i| at + i);
            let end = from + bytes.iter().skip(from).take_while(|b| digit(b)).count();
            let by = dice.pick(ODD).copied().unwrap_or_default();
            drop(bytes.splice(from..end, by.bytes()));
        }
        9 => {
            // The rest comes from another good one.
            if let Some(other) = dice.pick(good) {
                let from = dice.roll(other.len() + 1);
                bytes.truncate(at);
                bytes.extend_from_slice(&other[from..]);
            }
        }
        10 => bytes.truncate(at),
        11 => {
            // Two lines change places.
            let mut lines: Vec<&[u8]> = bytes.split_inclusive(|b| *b == b'\n').collect();
            let (a, b) = (dice.roll(lines.len()), dice.roll(lines.len()));
            if !lines.is_empty() {
                lines.swap(a, b);
            }
            *bytes = lines.concat();
        }
        _ => {
            // A line, twice or not at all.
            let mut lines: Vec<&[u8]> = bytes.split_inclusive(|b| *b == b'\n').collect();
            let i = dice.roll(lines.len());
            if dice.roll(2) == 0 && i < lines.len() {
                lines.remove(i);
            } else if let Some(line) = lines.get(i).copied() {
                lines.insert(i, line);
            }
            *bytes = lines.concat();
        }
    }
}

/// The good inputs of a target.
///
/// # Panics
/// Where its folder cannot be read.
#[must_use]
pub fn good(target: &Target) -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus").join(target.name);
    let mut files: Vec<_> = std::fs::read_dir(&folder)
        .unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
        .map(|entry| entry.unwrap().path())
        .collect();
    files.sort();
    let mut all = (target.made)();
    all.extend(files.iter().map(|file| std::fs::read(file).unwrap()));
    all
}

/// What went wrong with an input.
#[derive(Clone, Debug)]
pub struct Found {
    /// The target's name.
    pub target: &'static str,
    /// The input's number; none for a good one as it is.
    pub index: Option<u64>,
    /// In words.
    pub what: String,
    /// The input.
    pub input: Vec<u8>,
}

/// Reads one input; a panic and a long wait are findings.
#[must_use]
pub fn tried(target: &Target, index: Option<u64>, input: Vec<u8>, patience: Duration) -> Option<Found> {
    let begun = Instant::now();
    let what = match catch_unwind(AssertUnwindSafe(|| (target.look)(&input))) {
        Ok(Ok(())) if begun.elapsed() > patience => format!("took {:?}", begun.elapsed()),
        Ok(Ok(())) => return None,
        Ok(Err(what)) => what,
        Err(panic) => {
            let text = panic.downcast_ref::<String>().cloned();
            let text = text.or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned()));
            format!("panicked: {}", text.unwrap_or_default())
        }
    };
    Some(Found { target: target.name, index, what, input })
}

/// Tries so many inputs of a target from `first` on, and the good ones before; counts them.
#[must_use]
pub fn try_all(target: &Target, seed: u64, first: u64, count: u64, patience: Duration) -> (u64, Vec<Found>) {
    let good = good(target);
    let mut found = Vec::new();
    for input in &good {
        found.extend(tried(target, None, input.clone(), patience));
    }
    for index in first..first + count {
        found.extend(tried(target, Some(index), mutated(target, &good, seed, index), patience));
    }
    (count + good.len() as u64, found)
}
