//! What is wrong with a text that is no TOML, in the words of people who write a site file with any editor.
//!
//! The parser stops at its first fault. The line is then taken out, blanks in its place so that all others keep theirs,
//! and the rest is read: every fault of the file comes at once.
//!
//! # Settled here
//! - **Faults of syntax**: the line is blanked and the rest read; what follows from a list that breaks off is not
//!   told again.

use std::ops::Range;

use toml_edit::Document;

use super::fault::Complaint;
use super::keys::{Kind, TABLES, find_key};
use super::quantity::parse_quantity;
use super::units::Dimension;
use super::unknown::{gone, unknown};

/// Most lines that are taken out; a text with more is no site file.
const MOST_LINES: usize = 20;

/// A text as far as it can be read.
pub(super) struct Parsed {
    /// `None` where too little of the text is TOML.
    pub document: Option<Document<String>>,
    /// What is wrong, with its place.
    pub faults: Vec<(Complaint, Range<usize>)>,
    /// Keys of the lines that were taken out: neither missing nor to be replaced by a default.
    pub lost: Vec<String>,
}

/// Reads a text, line by line where it must.
pub(super) fn parse(text: &str) -> Parsed {
    let mut parsed = Parsed { document: None, faults: Vec::new(), lost: Vec::new() };
    if let Some(complaint) = no_site_file(text) {
        parsed.faults.push((complaint, 0..text.lines().next().map_or(0, str::len)));
        return parsed;
    }
    let mut rest = text.to_owned();
    for _ in 0..MOST_LINES {
        let error = match Document::parse(rest.clone()) {
            Ok(document) => {
                parsed.document = Some(document);
                return parsed;
            }
            Err(error) => error,
        };
        let span = error.span().unwrap_or(0..0);
        let line = line_at(&rest, span.start);
        let written = rest.get(line.clone()).unwrap_or("").trim_end().to_owned();
        let assignment = Assignment::of(&written);
        let is_twice = error.message().contains("duplicate key");
        if written.trim().is_empty() || (assignment.is_none() && !is_twice && !parsed.faults.is_empty()) {
            // What follows from a fault before it, such as the rest of a list whose first line was taken out.
            if parsed.faults.is_empty() {
                parsed.faults.push((plain(error.message()), span));
            }
            return parsed;
        }
        let table = table_at(&rest, line.start);
        let complaint = match &assignment {
            _ if is_twice => twice(&rest, line.start, &written, &table, assignment.as_ref()),
            Some(assignment) => assignment.complaint(&table).unwrap_or_else(|| plain(error.message())),
            None => plain(error.message()),
        };
        parsed.faults.push((complaint, span));
        match &assignment {
            Some(assignment) => {
                parsed.lost.push(format!("{table}.{}", assignment.key));
                blank(&mut rest, line.start..line.start + written.len());
            }
            // With a second header go its keys: they would stand in the table before it.
            None if is_twice => {
                let end = rest.get(line.end..).unwrap_or("").find("\n[").map_or(rest.len(), |i| line.end + i);
                let name = written.trim().trim_matches(['[', ']']);
                let below = rest.get(line.end..end).unwrap_or("");
                parsed.lost.extend(below.lines().filter_map(Assignment::of).map(|a| format!("{name}.{}", a.key)));
                blank(&mut rest, line.start..end);
            }
            None => blank(&mut rest, line.start..line.start + written.len()),
        }
    }
    parsed
}

/// Puts blanks in place of a part of the text; the ends of its lines stay.
fn blank(text: &mut String, part: Range<usize>) {
    let blanks: String = text
        .get(part.clone())
        .unwrap_or("")
        .bytes()
        .map(|byte| if matches!(byte, b'\n' | b'\r') { char::from(byte) } else { ' ' })
        .collect();
    text.replace_range(part, &blanks);
}

fn plain(message: &str) -> Complaint {
    let message = message.lines().collect::<Vec<_>>().join("; ");
    Complaint::new("", message, "correct the line; texts and quantities stand in double quotes")
}

/// A text of another kind, such as a table of measurements whose name was given in place of the site file's.
fn no_site_file(text: &str) -> Option<Complaint> {
    let first = text.lines().map(str::trim).find(|line| !line.is_empty() && !line.starts_with('#'))?;
    let what = if first.starts_with('{') {
        "JSON, such as the results of a plan"
    } else if first.starts_with('<') {
        "a page or a picture"
    } else if first.starts_with("%PDF") || first.starts_with("PK") {
        "a printed page or a packed file"
    } else if !first.starts_with('[')
        && !first.contains('=')
        && first.matches([',', ';', '\t']).count() >= 1
        && first.chars().any(char::is_alphabetic)
    {
        "a table of measurements"
    } else {
        return None;
    };
    let cure =
        "give the site file, which has lines such as [rider] and mass = \"78 kg\"; perhaps two file names are swapped";
    Some(Complaint::new("", format!("this is {what}, not a site file"), cure))
}

/// The line round a place, without its end.
fn line_at(text: &str, at: usize) -> Range<usize> {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    let (before, after) = text.split_at_checked(at).unwrap_or((text, ""));
    let start = before.rfind('\n').map_or(0, |i| i + 1);
    start..at + after.find('\n').unwrap_or(after.len())
}

/// The table whose header stands last above a place.
fn table_at(text: &str, at: usize) -> String {
    let above = text.get(..at).unwrap_or("");
    let header = above.lines().rev().map(str::trim).find(|line| line.starts_with('[') && !line.contains('='));
    header
        .map_or_else(String::new, |line| line.trim_start_matches('[').split(']').next().unwrap_or("").trim().to_owned())
}

/// A key or a table that stands twice, with the line of the first.
fn twice(text: &str, at: usize, line: &str, table: &str, assignment: Option<&Assignment>) -> Complaint {
    let above = text.get(..at).unwrap_or("");
    let first = |is: &dyn Fn(&str) -> bool| above.lines().position(|other| is(other.trim())).map(|i| i + 1);
    let Some(assignment) = assignment else {
        let name = line.trim().trim_matches(['[', ']']).to_owned();
        let header = format!("[{name}]");
        let at = first(&|other| other.starts_with(&header)).map_or_else(String::new, |n| format!(", on line {n}"));
        let cure = format!("put the keys of both below one [{name}], and remove the other header");
        return Complaint::new(
            name,
            format!("[{}] stands in the file already{at}", line.trim().trim_matches(['[', ']'])),
            cure,
        );
    };
    let mut within = "";
    let mut found = None;
    for (i, other) in above.lines().enumerate() {
        let other = other.trim();
        if other.starts_with('[') && !other.contains('=') {
            within = other.trim_start_matches('[').split(']').next().unwrap_or("").trim();
        } else if within == table && Assignment::of(other).is_some_and(|other| other.key == assignment.key) {
            found = Some(i + 1);
        }
    }
    let at = found.map_or_else(String::new, |n| format!(", on line {n}"));
    let message = format!("{} stands in [{table}] already{at}", assignment.key);
    Complaint::new(format!("{table}.{}", assignment.key), message, "keep the line that is right, and remove the other")
}

/// A word for yes or no, as the file has it.
fn yes_or_no(value: &str) -> Option<&'static str> {
    match value.trim_matches(['"', '\'']).to_lowercase().as_str() {
        "yes" | "on" | "true" | "y" => Some("true"),
        "no" | "off" | "false" | "n" => Some("false"),
        _ => None,
    }
}

/// A line that states a key, or was meant to.
struct Assignment {
    key: String,
    sign: char,
    value: String,
}

impl Assignment {
    fn of(line: &str) -> Option<Self> {
        let line = line.trim();
        let end = line.find(|c: char| !(c.is_alphanumeric() || matches!(c, '_' | '-' | '.')))?;
        let (key, rest) = line.split_at_checked(end)?;
        let rest = rest.trim_start();
        let sign = rest.chars().next().filter(|c| matches!(c, '=' | ':'))?;
        if key.is_empty() {
            return None;
        }
        let value = rest.get(1..).unwrap_or("");
        let value = value.split_once(" #").map_or(value, |(value, _)| value).trim();
        Some(Self { key: key.to_owned(), sign, value: value.to_owned() })
    }

    /// What is wrong, and how the line is written.
    fn complaint(&self, table: &str) -> Option<Complaint> {
        let dotted = if table.is_empty() { self.key.clone() } else { format!("{table}.{}", self.key) };
        let kind = find_key(&dotted).map(|key| key.kind);
        // How a value is written is no help where the key is none.
        if let Some(complaint) = gone(&dotted).or_else(|| self.misplaced(&dotted, table)) {
            return Some(complaint);
        }
        let (message, value) = self.meant(kind)?;
        Some(Complaint::new(dotted, message, format!("write {} = {value}", self.key)))
    }

    /// A key that its table does not have, where what stands behind it is yes or no.
    fn misplaced(&self, dotted: &str, table: &str) -> Option<Complaint> {
        let is_known = find_key(dotted).is_some() || !TABLES.iter().any(|(name, _)| *name == table);
        let yes_or_no = yes_or_no(&self.value).is_some();
        (!is_known && yes_or_no && table != "group").then(|| unknown(table, &self.key, &|_| false).0)
    }

    fn meant(&self, kind: Option<Kind>) -> Option<(String, String)> {
        let value = self.value.as_str();
        if value.is_empty() {
            let name = &self.key;
            return Some((
                format!("nothing stands behind {name} {}", self.sign),
                "and the value, or remove the line".to_owned(),
            ));
        }
        if self.sign == ':' {
            return Some(("a key and its value are joined by an equals sign".to_owned(), value.to_owned()));
        }
        if let Some(text) = straight(value) {
            return Some(("these are the quotes of a word processor, which are not read".to_owned(), quoted(&text)));
        }
        let bare = value.trim_matches(['"', '\'']).trim();
        if let Some(length) = feet_and_inches(value) {
            return Some(("the marks of feet and inches end the text early".to_owned(), quoted(&length)));
        }
        if let Some(yes) = yes_or_no(value) {
            return Some((format!("{value} is neither true nor false"), yes.to_owned()));
        }
        let opens = value.chars().next().filter(|c| matches!(c, '"' | '\''));
        if let Some(mark) = opens
            && value.matches(mark).count() % 2 == 1
        {
            return Some(("the quotes are not closed".to_owned(), quoted(bare)));
        }
        if opens.is_some() || value.starts_with(['[', '{']) {
            return None;
        }
        let plain = matches!(kind, Some(Kind::Number | Kind::Count));
        if let Some(number) = decimal(bare) {
            let as_written =
                if matches!(kind, Some(Kind::Quantity(_))) { quoted(&format!("{number} …")) } else { number };
            let message = if bare.contains(',') {
                "a comma is no decimal point"
            } else {
                "a number begins with a digit, and not with a needless 0"
            };
            let unit = if matches!(kind, Some(Kind::Quantity(_))) { " and it needs its unit" } else { "" };
            return Some((format!("{message}{unit}"), as_written));
        }
        if bare.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '+' | '.')) {
            let point = match bare.split_once(',') {
                Some((whole, part)) if part.starts_with(|c: char| c.is_ascii_digit()) => format!("{whole}.{part}"),
                _ => bare.to_owned(),
            };
            if plain {
                let number = point.split_whitespace().next().unwrap_or("").to_owned();
                return Some((format!("{bare} is not a plain number"), number));
            }
            return Some((format!("{bare} needs double quotes round number and unit"), quoted(&point)));
        }
        match kind {
            Some(Kind::Text | Kind::Choice(_) | Kind::Quantity(_)) | None => {
                Some(("a text stands in double quotes".to_owned(), quoted(bare)))
            }
            _ => None,
        }
    }
}

fn quoted(text: &str) -> String {
    format!("\"{text}\"")
}

/// A text between curly or angled quotes.
fn straight(value: &str) -> Option<String> {
    const CURLY: [char; 8] = ['“', '”', '„', '«', '»', '‘', '’', '‚'];
    if !value.starts_with(CURLY) {
        return None;
    }
    let inside = value.trim_matches(CURLY).trim_matches('"').trim();
    Some(feet_and_inches(inside).unwrap_or_else(|| inside.to_owned()))
}

/// `8' 6"`, with any quotes round it, as `8 ft 6 in`; the inches' own mark may have been taken for the closing quote.
fn feet_and_inches(value: &str) -> Option<String> {
    let value = value.trim().replace(['′', '’'], "'").replace(['″', '”'], "\"");
    let inside = value.strip_prefix('"').or_else(|| value.strip_prefix('\'')).unwrap_or(&value).trim();
    let (feet, rest) = inside.split_once('\'')?;
    let inches = rest.trim().trim_end_matches(['"', '\'']).trim();
    let words =
        if inches.is_empty() { format!("{} ft", feet.trim()) } else { format!("{} ft {inches} in", feet.trim()) };
    parse_quantity(&words, Dimension::Length).ok().map(|_| words)
}

/// A number with a decimal comma, without its first digit, or with a needless zero, as it is written here.
fn decimal(text: &str) -> Option<String> {
    let (sign, digits) = match text.strip_prefix('-') {
        Some(digits) => ("-", digits),
        None => ("", text.strip_prefix('+').unwrap_or(text)),
    };
    let digits = digits.replace(',', ".");
    let is_number = digits.chars().all(|c| c.is_ascii_digit() || c == '.')
        && digits.matches('.').count() <= 1
        && digits.chars().any(|c| c.is_ascii_digit());
    if !is_number {
        return None;
    }
    let stripped = digits.trim_start_matches('0');
    let whole =
        if stripped.is_empty() || stripped.starts_with('.') { format!("0{stripped}") } else { stripped.to_owned() };
    Some(format!("{sign}{}", whole.trim_end_matches('.')))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(table: &str, line: &str) -> String {
        let assignment = Assignment::of(line).unwrap_or_else(|| panic!("{line}"));
        assignment.complaint(table).map_or_else(String::new, |complaint| complaint.cure)
    }

    #[test]
    fn what_was_meant_is_written_out() {
        for (table, line, cure) in [
            ("rider", "lands_with_bike = yes", "write lands_with_bike = true"),
            ("blower", "closing_flap = No  # none", "write closing_flap = false"),
            ("rider", "mass = 78 kg", "write mass = \"78 kg\""),
            ("rider", "mass = 78,5 kg", "write mass = \"78.5 kg\""),
            ("rider", "mass: \"78 kg\"", "write mass = \"78 kg\""),
            ("rider", "mass = “78 kg”", "write mass = \"78 kg\""),
            ("rider", "mass = \"78 kg", "write mass = \"78 kg\""),
            ("rider", "carry = 0,5", "write carry = 0.5"),
            ("rider", "carry = .5", "write carry = 0.5"),
            ("blower", "count = 02", "write count = 2"),
            ("takeoff", "height = 8' 6\"", "write height = \"8 ft 6 in\""),
            ("takeoff", "height = \"8' 6\"\"", "write height = \"8 ft 6 in\""),
            ("takeoff", "height = '8' 6\"'", "write height = \"8 ft 6 in\""),
            ("takeoff", "height = “8′ 6″”", "write height = \"8 ft 6 in\""),
            ("takeoff", "height = 8'", "write height = \"8 ft\""),
            ("site", "name = Our hill", "write name = \"Our hill\""),
            ("site", "units = imperial", "write units = \"imperial\""),
            ("rider", "mass =", "write mass = and the value, or remove the line"),
        ] {
            assert_eq!(said(table, line), cure, "{line}");
        }
    }

    #[test]
    fn all_faults_of_syntax_come_at_once() {
        let text = "[site]\nname = Our hill\n[rider]\nmass = 78 kg\nmass = \"79 kg\"\n[rider]\nlightest = \"60 kg\"\n[watch]\nsupply_sense = yes\n";
        let parsed = parse(text);
        assert!(parsed.document.is_some());
        let keys: Vec<&str> = parsed.faults.iter().map(|(complaint, _)| complaint.key.as_str()).collect();
        assert_eq!(keys, ["site.name", "rider.mass", "rider", "watch.supply_sense"]);
        // What stands below a second header is not also missing.
        assert_eq!(parsed.lost, ["site.name", "rider.mass", "rider.lightest", "watch.supply_sense"]);
    }

    #[test]
    fn a_list_that_breaks_off_is_told_once() {
        let parsed = parse(
            "[blower]\ncurve = [[\"1 m3/s\" \"0 Pa\"],\n  [\"0.5 m3/s\", \"1 kPa\"],\n  [\"0 m3/s\", \"2 kPa\"],\n]\n",
        );
        assert_eq!(parsed.faults.len(), 1, "{}", parsed.faults.len());
    }

    #[test]
    fn another_kind_of_file_is_named() {
        for (text, what) in [
            ("run,lip_speed_mps\n1,8.2\n", "a table of measurements"),
            ("# day 1\nrun;lip speed (km/h)\n", "a table of measurements"),
            ("{\"ride\": {}}", "JSON"),
            ("<!doctype html>", "a page"),
        ] {
            let parsed = parse(text);
            assert!(parsed.faults[0].0.message.contains(what), "{text}");
        }
        assert!(parse("[site]\nname = \"a, b\"\n").faults.is_empty());
        assert!(parse("").faults.is_empty());
    }
}
