//! Tables whose writing was cut off: a power cut, a full disk, a closed terminal.
//!
//! A table is written line by line, each ended by a line break. Where the last line has none, it may have been cut off,
//! and what stands in it may be the beginning of something else: `10` of `1034.5`.

use crate::{is_remark, separator_of};
use landfall_plan::outside;

/// A table's text without what may be torn, and the line that is not ended, where there is one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Whole<'a> {
    /// Lines that are ended.
    pub text: &'a str,
    /// The one that is not.
    pub last: Option<Last<'a>>,
}

/// A line without its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Last<'a> {
    /// Its number, from 1.
    pub line: usize,
    /// What stands in it.
    pub text: &'a str,
}

impl Last<'_> {
    /// That it is left out, in words.
    #[must_use]
    pub fn left_out(&self) -> String {
        let text = self.text.trim_end_matches('\0');
        let shown = if text.is_empty() { "nothing but zero bytes".into() } else { outside::plain(text) };
        format!("line {} ends in the middle and is left out: {shown}", self.line)
    }

    /// That it is taken although it has no end, in words.
    #[must_use]
    pub fn taken(&self) -> String {
        format!("line {} has no line break at its end; it is taken as it stands", self.line)
    }
}

/// Parts a table's text where its last line may be torn. Zero bytes at the end, which a file system may leave after a
/// power cut, belong to that line.
#[must_use]
pub fn whole(text: &str) -> Whole<'_> {
    let written = text.trim_end_matches('\0');
    let end = written.rfind('\n').map_or(0, |at| at + 1);
    let (lines, last) = text.split_at_checked(end).unwrap_or((text, ""));
    let is_there = !last.trim().is_empty();
    let last = is_there.then(|| Last { line: lines.matches('\n').count() + 1, text: last });
    Whole { text: lines, last }
}

/// A table to be read, and what is to be known about its end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mended<'a> {
    /// The table.
    pub text: &'a str,
    /// What was left out or taken, in words.
    pub note: Option<String>,
}

/// A table without a line that was torn. A last line without its end is left out, but for one of a table written by hand
/// that has as many cells as the heading: editors let such a line be, and nothing tells it from a whole one.
#[must_use]
pub fn mended(text: &str) -> Mended<'_> {
    let whole = whole(text);
    let as_it_is = |note| Mended { text, note };
    let Some(last) = whole.last else { return as_it_is(None) };
    // JSON has its own end.
    if text.trim_start().starts_with(['{', '[']) {
        return as_it_is(None);
    }
    let is_row = |line: &&str| !is_remark(line);
    // Without a line before it, it is the heading, which tells for itself whether it will do.
    let Some(heading) = whole.text.lines().find(is_row) else { return as_it_is(None) };
    if is_row(&last.text) {
        let separator = char::from(separator_of(heading));
        let lower = heading.to_lowercase();
        let is_recorded = lower.contains("time") && lower.contains("gauge");
        let is_full = !last.text.contains('\0') && cells(last.text, separator) == cells(heading, separator);
        if is_full && !is_recorded {
            return as_it_is(Some(last.taken()));
        }
        return Mended { text: whole.text, note: Some(last.left_out()) };
    }
    Mended { text: whole.text, note: None }
}

/// How many cells a line has; none where a quote is not closed.
fn cells(line: &str, separator: char) -> Option<usize> {
    let mut quoted = false;
    let mut count = 1;
    for c in line.chars() {
        quoted ^= c == '"';
        count += usize::from(c == separator && !quoted);
    }
    (!quoted).then_some(count)
}

/// The text of a table's bytes: a character that was cut in two at the very end is left out with what stands behind
/// the last line break before it.
///
/// # Errors
/// The line, from 1, that is no text in UTF-8 elsewhere.
pub fn text_of(bytes: Vec<u8>) -> Result<String, usize> {
    String::from_utf8(bytes).or_else(|error| {
        let (at, mut bytes) = (error.utf8_error().valid_up_to(), error.into_bytes());
        let last = bytes.iter().rposition(|byte| *byte == b'\n').map_or(0, |end| end + 1);
        if at < last {
            return Err(1 + bytes.iter().take(at).filter(|byte| **byte == b'\n').count());
        }
        // What is left of the line shows where it was torn.
        bytes.truncate(at);
        String::from_utf8(bytes).map_err(|_| 1)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_line_without_its_end_is_parted() {
        assert_eq!(whole("a,b\n1,2\n"), Whole { text: "a,b\n1,2\n", last: None });
        assert_eq!(whole("a,b\n1,2\n3"), Whole { text: "a,b\n1,2\n", last: Some(Last { line: 3, text: "3" }) });
        assert_eq!(whole("a,b\n1,2\n  "), Whole { text: "a,b\n1,2\n", last: None });
        assert_eq!(whole("a,b"), Whole { text: "", last: Some(Last { line: 1, text: "a,b" }) });
        assert_eq!(whole(""), Whole { text: "", last: None });
        let zeros = whole("a,b\n1,2\n3,4\0\0\0");
        assert_eq!((zeros.text, zeros.last.unwrap().line), ("a,b\n1,2\n", 3));
        assert_eq!(zeros.last.unwrap().left_out(), "line 3 ends in the middle and is left out: 3,4");
        assert_eq!(
            mended("a,b\n1,2\n\0\0").note.unwrap(),
            "line 3 ends in the middle and is left out: nothing but zero bytes"
        );
        let only_zeros = whole("a,b\n1,2\n\0\0");
        assert_eq!((only_zeros.text, only_zeros.last.map(|last| last.line)), ("a,b\n1,2\n", Some(3)));
    }

    #[test]
    fn a_torn_line_is_left_out_and_one_without_a_break_is_taken() {
        let cut = |text: &'static str| mended(text);
        assert_eq!(cut("a,b\n1,2\n"), Mended { text: "a,b\n1,2\n", note: None });
        let taken = cut("a,b\n1,2\n3,4");
        assert_eq!(taken.text, "a,b\n1,2\n3,4");
        assert!(taken.note.unwrap().starts_with("line 3 has no line break"));
        for torn in ["a,b\n1,2\n3", "a,b\n1,2\n3,\"4", "a,b\n1,2\n3,4\0", "a;b\n1;2\n3", "a,b\n1,2\n3,4,5"] {
            let torn = cut(torn);
            assert!(torn.text.lines().count() == 2 && torn.note.unwrap().contains("line 3"), "{}", torn.text);
        }
        // The last cell of a recording may be the beginning of a longer number.
        let recording = cut("time_s,gauge_pa\n0,1034.5\n0.02,10");
        assert_eq!(recording.text, "time_s,gauge_pa\n0,1034.5\n");
        assert_eq!(recording.note.unwrap(), "line 3 ends in the middle and is left out: 0.02,10");
        // A heading alone tells for itself, and a remark is none of the table.
        for text in ["a,b", "", "# only\na,b", "[\n{\"a\": 1}\n]"] {
            assert_eq!(cut(text), Mended { text, note: None });
        }
        assert_eq!(cut("a,b\n1,2\n# and so"), Mended { text: "a,b\n1,2\n", note: None });
    }

    #[test]
    fn a_character_cut_in_two_is_torn_and_elsewhere_it_is_a_fault() {
        let text = "run,rider\n1,Zoë\n2,Zoë";
        let cut = text.as_bytes()[..text.len() - 1].to_vec();
        assert_eq!(text_of(cut).unwrap(), "run,rider\n1,Zoë\n2,Zo");
        assert_eq!(text_of(text.as_bytes().to_vec()).unwrap(), text);
        assert_eq!(text_of(b"a\n\xff\nb\n".to_vec()), Err(2));
    }
}
