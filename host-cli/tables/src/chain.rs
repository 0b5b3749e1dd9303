//! Lines that hold together: each carries the hash of the line before it and its own, so that a change is found and named.
//!
//! ```text
//! {"line":1,"before":"000…","said":{…},"hash":"4f2a…"}
//! {"line":2,"before":"4f2a…","said":{…},"hash":"91c0…"}
//! {"line":3,"before":"91c0…","said":{"what":"end","lines":3},"hash":"07d5…"}
//! ```
//!
//! `hash` is the SHA-256 (FIPS 180-4) of the line's bytes from its `{` up to and without `,"hash":`, in lower-case hexadecimal
//! digits; `before` is the hash of the line before, 64 zeros in the first. The last line says that it is the last. Whoever
//! keeps the last hash, all 64 digits of it, elsewhere can tell later whether it is the same file: another file with the same hash cannot be made
//! on purpose, as far as anybody knows. Without it nothing keeps anybody from writing all lines anew.

use serde_json::Value;
use sha2::{Digest as _, Sha256};

/// What begins a file of this kind.
#[cfg(test)]
const BEGIN: &str =
    "{\"line\":1,\"before\":\"0000000000000000000000000000000000000000000000000000000000000000\",\"said\":";
/// Hexadecimal digits of a hash.
const DIGITS: usize = 64;
/// Of which so many are written down: 64 bits.
const SHORT: usize = 16;
/// Between what a line says and its own hash.
const OWN: &str = ",\"hash\":\"";

/// SHA-256 in hexadecimal digits.
#[must_use]
pub fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The beginning of a hash as it is written on paper: four groups of four.
#[must_use]
pub fn short(hash: &str) -> String {
    let digits: Vec<char> = hash.chars().take(SHORT).collect();
    digits.chunks(4).map(|group| group.iter().collect::<String>()).collect::<Vec<_>>().join(" ")
}

/// Whether what somebody wrote down is the beginning of this hash: 16 digits or more, in any grouping and case.
///
/// # Errors
/// What was written down is no beginning of any hash.
pub fn agrees(hash: &str, noted: &str) -> Result<bool, String> {
    let digits: String = noted.chars().filter(|c| !c.is_whitespace() && *c != '-').collect::<String>().to_lowercase();
    if digits.len() < SHORT || digits.len() > DIGITS || !digits.chars().all(|c| c.is_ascii_hexdigit()) {
        return Err(format!(
            "write the hash as it was noted: {SHORT} digits of 0 to 9 and a to f, or all {DIGITS}, such as \"7f3a 09bc 12de 4455\""
        ));
    }
    Ok(hash.starts_with(&digits))
}

/// Writes lines that hold together.
#[derive(Debug)]
pub struct Writer {
    text: String,
    lines: u64,
    last: String,
}

impl Default for Writer {
    fn default() -> Self {
        Self { text: String::new(), lines: 0, last: "0".repeat(DIGITS) }
    }
}

impl Writer {
    /// Adds a line that says `said`.
    pub fn add(&mut self, said: &Value) {
        self.lines += 1;
        let body = format!("{{\"line\":{},\"before\":\"{}\",\"said\":{said}", self.lines, self.last);
        self.last = sha256(body.as_bytes());
        self.text += &format!("{body}{OWN}{}\"}}\n", self.last);
    }

    /// Adds the line that says that it is the last; the whole text, and its last hash.
    #[must_use]
    pub fn finish(mut self) -> (String, String) {
        let said = serde_json::json!({"what": "end", "lines": self.lines + 1});
        self.add(&said);
        (self.text, self.last)
    }
}

/// A file whose lines hold together.
#[derive(Clone, Debug, PartialEq)]
pub struct Whole {
    /// What each line says.
    pub said: Vec<Value>,
    /// The hash of the last line.
    pub last: String,
}

/// Where lines stop holding together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Broken {
    /// The first line that is broken, changed, missing or added; counted from one.
    pub line: u64,
    /// What it is.
    pub what: Wrong,
}

/// What is wrong with a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Wrong {
    /// It is not of the form of a line of such a file, or cut off.
    Broken,
    /// What it says does not give the hash that it carries.
    Changed,
    /// It was written anew, with a hash of its own: the line after it carries another.
    Anew,
    /// It and perhaps more behind it are not there.
    Missing,
    /// It does not belong here.
    Added,
}

impl std::fmt::Display for Broken {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let n = self.line;
        match self.what {
            Wrong::Broken => write!(f, "line {n} is broken: it is no whole line of a session record"),
            Wrong::Changed => {
                write!(f, "line {n} was changed after it was written: it does not give the hash that it carries")
            }
            Wrong::Anew => write!(f, "line {n} was written anew: the line after it carries another hash for it"),
            Wrong::Missing => write!(f, "line {n} is missing"),
            Wrong::Added => write!(f, "line {n} was added, or moved to where it is"),
        }
    }
}

impl std::error::Error for Broken {}

/// A line taken apart.
#[derive(Debug, PartialEq)]
struct Parsed {
    number: u64,
    before: String,
    said: Value,
    hash: String,
}

/// One line; what is wrong with it by itself.
fn parsed(line: &[u8]) -> Result<Parsed, Wrong> {
    let text = std::str::from_utf8(line).map_err(|_| Wrong::Broken)?;
    let at = text.rfind(OWN).ok_or(Wrong::Broken)?;
    let (body, rest) = text.split_at(at);
    let hash = rest.strip_prefix(OWN).and_then(|rest| rest.strip_suffix("\"}")).ok_or(Wrong::Broken)?;
    let head = body.strip_prefix("{\"line\":").and_then(|rest| rest.split_once(",\"before\":\""));
    let (number, rest) = head.ok_or(Wrong::Broken)?;
    let (before, said) = rest.split_once("\",\"said\":").ok_or(Wrong::Broken)?;
    if sha256(body.as_bytes()) != hash {
        return Err(Wrong::Changed);
    }
    Ok(Parsed {
        number: number.parse().map_err(|_| Wrong::Broken)?,
        before: before.to_owned(),
        said: serde_json::from_str(said).map_err(|_| Wrong::Broken)?,
        hash: hash.to_owned(),
    })
}

/// Whether a text is a file of this kind, whole or broken.
#[must_use]
pub fn is_one(text: &[u8]) -> bool {
    text.split(|byte| *byte == b'\n').any(|line| parsed(line) != Err(Wrong::Broken))
}

/// Goes through all lines.
///
/// # Errors
/// The first that does not hold.
pub fn verify(text: &[u8]) -> Result<Whole, Broken> {
    let mut said: Vec<Value> = Vec::new();
    let mut hashes: Vec<String> = vec!["0".repeat(DIGITS)];
    let mut lines: Vec<&[u8]> = text.split(|byte| *byte == b'\n').collect();
    // What stands behind the last line break is a line that was cut off.
    let cut = lines.pop().is_some_and(|rest| !rest.is_empty());
    let mut closed = false;
    for (at, line) in (1_u64..).zip(&lines) {
        let broken = |line, what| Err(Broken { line, what });
        if closed {
            return broken(at, Wrong::Added);
        }
        let one = match parsed(line) {
            Ok(one) => one,
            Err(what) => return broken(at, what),
        };
        let last = hashes.last().map_or("", String::as_str);
        if one.number > at {
            return broken(at, Wrong::Missing);
        }
        if one.number < at {
            // If it follows the line whose number is before its own, what stands between the two was put there.
            let follows = usize::try_from(one.number.saturating_sub(1)).ok().and_then(|n| hashes.get(n));
            let again = usize::try_from(one.number).ok().and_then(|n| hashes.get(n)) == Some(&one.hash);
            let between = !again && follows == Some(&one.before);
            return broken(if between { one.number } else { at }, Wrong::Added);
        }
        if one.before != last {
            return broken(at.saturating_sub(1).max(1), Wrong::Anew);
        }
        closed = one.said.get("what").and_then(Value::as_str) == Some("end");
        if closed && one.said.get("lines").and_then(Value::as_u64) != Some(at) {
            return broken(at, Wrong::Broken);
        }
        said.push(one.said);
        hashes.push(one.hash);
    }
    let next = u64::try_from(lines.len()).unwrap_or(u64::MAX).saturating_add(1);
    match (cut, closed) {
        (true, false) => Err(Broken { line: next, what: Wrong::Broken }),
        (true, true) => Err(Broken { line: next, what: Wrong::Added }),
        (false, false) => Err(Broken { line: next, what: Wrong::Missing }),
        (false, true) => Ok(Whole { said, last: hashes.pop().unwrap_or_default() }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn written(lines: usize) -> (String, String) {
        let mut writer = Writer::default();
        (0..lines).for_each(|n| writer.add(&json!({"what": "record", "number": n, "text": "Wörter, \"hash\": x"})));
        writer.finish()
    }

    fn wrong(text: &str) -> (u64, Wrong) {
        let broken = verify(text.as_bytes()).unwrap_err();
        (broken.line, broken.what)
    }

    #[test]
    fn what_was_written_is_whole_and_says_what_it_said() {
        let (text, last) = written(5);
        let whole = verify(text.as_bytes()).unwrap();
        assert_eq!((whole.said.len(), whole.said[2]["number"].as_u64()), (6, Some(2)));
        assert_eq!(whole.last, last);
        assert!(text.starts_with(BEGIN) && is_one(text.as_bytes()));
        // The examples of FIPS 180-4.
        assert_eq!(sha256(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        let (_, empty) = written(0);
        assert_ne!(empty, last);
    }

    #[test]
    fn every_changed_byte_is_found_and_its_line_named() {
        let (text, _) = written(4);
        let bytes = text.as_bytes();
        let mut line = 1;
        for at in 0..bytes.len() {
            for other in [bytes[at] ^ 1, bytes[at] ^ 0x20, b'\n', 0xFF, b' '] {
                if other == bytes[at] {
                    continue;
                }
                let mut changed = bytes.to_vec();
                changed[at] = other;
                assert_eq!(verify(&changed).unwrap_err().line, line, "byte {at} to {other}");
            }
            let cut = [&bytes[..at], &bytes[at + 1..]].concat();
            assert_eq!(verify(&cut).unwrap_err().line, line, "without byte {at}");
            line += u64::from(bytes[at] == b'\n');
        }
        assert_eq!(line, 6);
    }

    #[test]
    fn missing_added_and_moved_lines_are_named() {
        let (text, _) = written(4);
        let lines: Vec<&str> = text.split_inclusive('\n').collect();
        for gone in 0..5 {
            let without: String = lines.iter().enumerate().filter(|(n, _)| *n != gone).map(|(_, line)| *line).collect();
            assert_eq!(wrong(&without), (gone as u64 + 1, Wrong::Missing), "without {gone}");
            let twice: String =
                lines.iter().enumerate().map(|(n, line)| line.repeat(1 + usize::from(n == gone))).collect();
            assert_eq!(wrong(&twice), (gone as u64 + 2, Wrong::Added), "twice {gone}");
            assert_eq!(wrong(&lines[..gone].concat()), (gone as u64 + 1, Wrong::Missing));
        }
        assert_eq!(wrong(&[lines[0], lines[2], lines[1], lines[3], lines[4]].concat()), (2, Wrong::Missing));
        // One that was forged with a right hash of its own, put in between and put in the place of another.
        let mut forger = Writer::default();
        forger.add(&json!({"what": "record", "number": 0, "text": "Wörter, \"hash\": x"}));
        forger.add(&json!({"what": "record", "number": 77}));
        let forged = forger.text.split_inclusive('\n').nth(1).unwrap();
        assert_eq!(wrong(&[lines[0], forged, lines[1], lines[2], lines[3], lines[4]].concat()), (2, Wrong::Added));
        assert_eq!(wrong(&[lines[0], forged, lines[2], lines[3], lines[4]].concat()), (2, Wrong::Anew));
        assert_eq!(wrong(&format!("{text}more")), (6, Wrong::Added));
        assert_eq!(wrong(""), (1, Wrong::Missing));
    }

    #[test]
    fn the_hash_on_paper_is_compared_as_people_write_it() {
        let (text, last) = written(3);
        let paper = short(&last);
        assert_eq!(paper.len(), 19);
        assert!(agrees(&last, &paper).unwrap() && agrees(&last, &paper.to_uppercase().replace(' ', "-")).unwrap());
        assert!(agrees(&last, &last).unwrap());
        // Written anew as a whole it holds together: only the hash on the paper tells.
        let (anew, other) = written(2);
        assert!(verify(anew.as_bytes()).is_ok() && text != anew);
        assert!(!agrees(&other, &paper).unwrap());
        for noted in ["7f3a", "", "no hash at all here!", &format!("{last}0")] {
            assert!(agrees(&last, noted).is_err(), "{noted}");
        }
    }
}
