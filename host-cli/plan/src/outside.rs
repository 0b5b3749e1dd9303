//! What comes from outside, made fit to be shown: words out of files, arguments, file names, a box.
//!
//! A terminal acts on control characters, and a line break begins a line that looks like the program's own. So a word
//! from outside is shown with such characters written out (`\u{1b}`), and no longer than is of use.

use std::borrow::Cow;

/// Longest word from outside that a message holds whole, in characters.
pub const LONGEST: usize = 200;

/// Whether a character acts on a terminal or on the order of the text about it instead of being shown: the control
/// characters (line breaks and tabs among them), marks that turn the direction of writing, line and paragraph
/// separators, characters without width, and tags.
#[must_use]
pub fn acts(c: char) -> bool {
    c.is_control()
        || matches!(
            c,
            '\u{ad}'
                | '\u{61c}'
                | '\u{180e}'
                | '\u{200b}'..='\u{200f}'
                | '\u{2028}'..='\u{202e}'
                | '\u{2060}'..='\u{206f}'
                | '\u{feff}'
                | '\u{fff9}'..='\u{fffb}'
                | '\u{e0000}'..='\u{e007f}'
        )
}

/// The first character of a text that [`acts`].
#[must_use]
pub fn acting(text: &str) -> Option<char> {
    text.chars().find(|c| acts(*c))
}

/// A word from outside as it is shown: on one line, with what acts written out, and its middle left out where it is
/// longer than [`LONGEST`].
#[must_use]
pub fn plain(text: &str) -> Cow<'_, str> {
    let text = short(text, LONGEST);
    if acting(&text).is_none() {
        return text;
    }
    Cow::Owned(text.chars().fold(String::new(), written_out))
}

/// Several lines of the program's own words among which words from outside may stand: line breaks and tabs stay, all
/// else that acts is written out.
#[must_use]
pub fn lines(text: &str) -> Cow<'_, str> {
    let stays = |c: char| matches!(c, '\n' | '\t') || !acts(c);
    if text.chars().all(stays) {
        return Cow::Borrowed(text);
    }
    Cow::Owned(text.chars().fold(String::new(), |mut out, c| {
        if stays(c) {
            out.push(c);
            out
        } else {
            written_out(out, c)
        }
    }))
}

fn written_out(mut out: String, c: char) -> String {
    if acts(c) {
        out.extend(c.escape_unicode())
    } else {
        out.push(c)
    }
    out
}

/// A text with its middle left out where it has more than so many characters.
#[must_use]
pub fn short(text: &str, most: usize) -> Cow<'_, str> {
    // Bytes are no fewer than characters.
    if text.len() <= most {
        return Cow::Borrowed(text);
    }
    let count = text.chars().count();
    if count <= most {
        return Cow::Borrowed(text);
    }
    let (front, back) = (most * 2 / 3, most / 6);
    let begin: String = text.chars().take(front).collect();
    let end: String = text.chars().skip(count - back).collect();
    Cow::Owned(format!("{begin} … ({} characters left out) … {end}", count - front - back))
}

/// Text as it goes to a terminal: of the control sequences only those that set colours and weights (`ESC [ … m`) stay.
#[must_use]
pub fn screen(text: &str) -> Cow<'_, str> {
    if lines(text) == text {
        return Cow::Borrowed(text);
    }
    let mut out = String::new();
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        let end = rest.strip_prefix("\u{1b}[").and_then(|after| {
            let inside = after.chars().take_while(|c| c.is_ascii_digit() || *c == ';').count();
            (after.as_bytes().get(inside) == Some(&b'm')).then_some(2 + inside + 1)
        });
        let (taken, is_style) = end.map_or((c.len_utf8(), false), |end| (end, true));
        let (part, after) = rest.split_at_checked(taken).unwrap_or((rest, ""));
        if is_style {
            out.push_str(part)
        } else {
            out.push_str(&lines(part))
        }
        rest = after;
    }
    Cow::Owned(out)
}

/// JSON with what acts in its texts written as `\uXXXX`, which stands for the same characters.
#[must_use]
pub fn json(text: &str) -> Cow<'_, str> {
    let stays = |c: char| matches!(c, '\n' | '\r' | '\t') || !acts(c);
    if text.chars().all(stays) {
        return Cow::Borrowed(text);
    }
    let mut out = String::new();
    for c in text.chars() {
        if stays(c) {
            out.push(c);
        } else {
            for unit in c.encode_utf16(&mut [0; 2]) {
                out.push_str(&format!("\\u{unit:04x}"));
            }
        }
    }
    Cow::Owned(out)
}

/// A cell of comma-separated values for spreadsheets: a text that a spreadsheet would take for a formula gets an
/// apostrophe before it, which a spreadsheet takes as "this is text". Numbers stay numbers.
#[must_use]
pub fn cell(text: &str) -> Cow<'_, str> {
    let formula = text
        .trim_start_matches([' ', '\n', '\u{a0}'])
        .starts_with(['=', '+', '-', '@', '\t', '\r', '＝', '＋', '－', '＠']);
    let number = text.parse::<f64>().is_ok_and(f64::is_finite);
    if formula && !number { Cow::Owned(format!("'{text}")) } else { Cow::Borrowed(text) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_acts_is_written_out_and_all_else_stays() {
        for stays in ["", "Ana", "Zoë d'Árbol", "27 km/h", "½ – “so”", "日本", "עברית", "a\\b"] {
            assert_eq!(plain(stays), stays);
            assert!(matches!(plain(stays), Cow::Borrowed(_)));
        }
        assert_eq!(plain("a\u{1b}[2Jb"), "a\\u{1b}[2Jb");
        assert_eq!(plain("a\r\n  3  inside"), "a\\u{d}\\u{a}  3  inside");
        for c in
            ['\u{0}', '\u{7}', '\u{8}', '\u{7f}', '\u{9b}', '\u{202e}', '\u{2066}', '\u{200f}', '\u{2028}', '\u{feff}']
        {
            let shown = plain(&format!("a{c}b")).into_owned();
            assert!(acting(&shown).is_none() && shown.starts_with("a\\u{"), "{shown:?}");
        }
    }

    #[test]
    fn a_long_word_loses_its_middle_only() {
        let long: String = std::iter::repeat_n('ä', 110_000).collect();
        let shown = plain(&long);
        assert!(shown.chars().count() < LONGEST + 40, "{}", shown.chars().count());
        assert!(shown.contains("(109834 characters left out)"), "{shown}");
        assert_eq!(plain(&long[..2 * LONGEST]).chars().count(), LONGEST);
    }

    #[test]
    fn a_screen_gets_colours_and_no_other_sequence() {
        assert_eq!(screen("\u{1b}[1;31merror:\u{1b}[0m a\n"), "\u{1b}[1;31merror:\u{1b}[0m a\n");
        assert_eq!(screen("\u{1b}[2J\u{1b}[0mx\u{1b}]0;t\u{7}\r"), "\\u{1b}[2J\u{1b}[0mx\\u{1b}]0;t\\u{7}\\u{d}");
        assert_eq!(screen("a\u{1b}["), "a\\u{1b}[");
    }

    #[test]
    fn json_stays_the_same_data() {
        let data = serde_json::json!({"a\u{9b}": "\u{1b}\u{202e}\u{7f}x\u{e0041}"});
        let text = serde_json::to_string_pretty(&data).unwrap();
        let shown = json(&text);
        assert!(acting(&shown.replace('\n', "")).is_none(), "{shown}");
        assert_eq!(serde_json::from_str::<serde_json::Value>(&shown).unwrap(), data);
    }

    #[test]
    fn cells_that_would_be_formulas_are_texts_and_numbers_stay() {
        for (from, to) in [
            ("=1+1", "'=1+1"),
            ("+cmd", "'+cmd"),
            ("-2+3", "'-2+3"),
            ("@sum", "'@sum"),
            ("\t=1", "'\t=1"),
            ("\r=1", "'\r=1"),
            (" =1", "' =1"),
            ("-inf", "'-inf"),
            ("-", "'-"),
            ("-2.5", "-2.5"),
            ("+3", "+3"),
            ("-1e-5", "-1e-5"),
            ("Ana", "Ana"),
            ("", ""),
            ("a=b", "a=b"),
        ] {
            assert_eq!(cell(from), to, "{from:?}");
        }
    }
}
