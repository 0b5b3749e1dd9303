//! The work of `check`, without the command line: what is wrong with a site file, what is asked about, what is assumed.

use std::fmt::Write as _;
use std::path::Path;
use std::{fs, io};

use serde_json::{Value, json};

use crate::site::{Fault, Faults, Preset, Site, questions, read_site};

/// What a check of a site file found.
#[derive(Clone, Debug, PartialEq)]
pub struct Checked {
    /// The file's name, as it was given.
    pub file: String,
    /// The site, or everything that is wrong with the file.
    pub outcome: Result<Site, Faults>,
    /// Values that can be right and look like another unit.
    pub asked: Vec<Fault>,
}

/// Checks a site file's text.
#[must_use]
pub fn check_text(text: &str, file_name: &str) -> Checked {
    let outcome = read_site(text, file_name);
    // Faults come first: what is asked about a faulty file only hides them.
    let asked = if outcome.is_ok() { questions(text) } else { Vec::new() };
    Checked { file: file_name.to_owned(), outcome, asked }
}

/// Reads and checks a site file.
///
/// # Errors
/// What the system says where the file cannot be read, or is not text in UTF-8.
pub fn check_file(path: &Path) -> io::Result<Checked> {
    let text = fs::read_to_string(path)?;
    Ok(check_text(&text, &path.display().to_string()))
}

impl Checked {
    /// Whether the file can be used.
    #[must_use]
    pub fn is_usable(&self) -> bool {
        self.outcome.is_ok()
    }

    /// The result in words: the faults, or what was read, what is asked about, what a plan lacks, and what is worth
    /// measuring first; with `all` every value that is assumed.
    #[must_use]
    pub fn text(&self, all: bool) -> String {
        let mut out = String::new();
        // Writing to a text cannot fail.
        let _ = match &self.outcome {
            Err(faults) => {
                let count = faults.faults.len();
                let noun = if count == 1 { "fault" } else { "faults" };
                writeln!(out, "{faults}\n\n{}: {count} {noun}; nothing was computed", self.file)
            }
            Ok(site) => self.usable_text(site, all, &mut out),
        };
        out
    }

    fn usable_text(&self, site: &Site, all: bool, out: &mut String) -> std::fmt::Result {
        let count = assumed(site).count();
        writeln!(
            out,
            "{}: {} can be read; {} values are stated, {count} are assumed",
            self.file,
            site.site.name,
            site.given.len()
        )?;
        for question in &self.asked {
            writeln!(out, "Line {}: {}: {}; {}", question.line, question.key, question.message, question.cure)?;
        }
        if site.bag.gap_m.is_none() {
            writeln!(out, "bag.gap is not stated: a plan needs it")?;
        }
        let first: Vec<_> = worth_measuring(site).collect();
        if !first.is_empty() {
            writeln!(out, "Worth measuring first:")?;
        }
        for (key, how) in first {
            writeln!(out, "  {key:<21}  {how}")?;
        }
        if all {
            writeln!(out, "Assumed, since the file does not state them:")?;
            for (key, value, help) in assumed(site) {
                writeln!(out, "  {key} = {value}  {help}")?;
            }
        } else if count > 0 {
            writeln!(out, "All that is assumed: landfall check --all {}", self.file)?;
        }
        Ok(())
    }

    /// The result for programs: `usable`, `name`, `faults`, `asked`, `assumed`, `measure_first` and `lacks`.
    #[must_use]
    pub fn json(&self) -> Value {
        match &self.outcome {
            Err(faults) => json!({
                "file": self.file, "usable": false, "name": null, "faults": faults.faults, "asked": [], "assumed": [],
                "measure_first": [], "lacks": [],
            }),
            Ok(site) => {
                let assumed: Vec<Value> =
                    assumed(site).map(|(key, value, _)| json!({"key": key, "value": value})).collect();
                let lacks: &[&str] = if site.bag.gap_m.is_none() { &["bag.gap"] } else { &[] };
                let first: Vec<&str> = worth_measuring(site).map(|(key, _)| key).collect();
                json!({
                    "file": self.file, "usable": true, "name": site.site.name, "faults": [], "asked": self.asked,
                    "assumed": assumed, "measure_first": first, "lacks": lacks,
                })
            }
        }
    }
}

/// Key, value as text and meaning of everything that has a default and is not stated.
fn assumed(site: &Site) -> impl Iterator<Item = (&'static str, &'static str, &'static str)> {
    site.assumed().filter_map(|key| match key.preset {
        Preset::Is(text) => Some((key.dotted, text, key.help)),
        _ => None,
    })
}

/// The few values that a plan hangs on most and that anybody can measure, with how; those that the file states are left
/// out.
const FIRST: &[(&str, &str)] = &[
    ("bag.settled_pressure", "what a gauge reads with the blowers on and nobody on the bag"),
    (
        "bag.area",
        "how deep the bag gives way: an afternoon with a board, water and a gauge; see landfall bag-test --help",
    ),
    ("rider.lightest", "weigh the lightest who rides, with gear"),
    ("rider.heaviest", "weigh the heaviest who rides, with gear"),
    ("bag.vent_area", "what stays open all the time: width times length of each opening, with a tape"),
    ("spread.lip_speed", "how far your own riders scatter: ten timed runs; see landfall fit --help"),
];

fn worth_measuring(site: &Site) -> impl Iterator<Item = (&'static str, &'static str)> {
    FIRST.iter().copied().filter(|(key, _)| {
        let leak_is_known = *key == "bag.settled_pressure" && site.given.contains("bag.leak_coefficient");
        !site.given.contains(key) && !leak_is_known
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::starter;

    #[test]
    fn a_check_says_what_is_assumed_or_wrong_in_both_forms() {
        let good = check_text(starter(), "hill.toml");
        assert!(good.is_usable() && good.text(true).contains("bag.skin_stretch = 3e-5 /Pa"));
        // Without --all the few that matter stand there, and how many there are.
        let folded = good.text(false);
        assert!(!folded.contains("skin_stretch") && folded.contains("bag.area ") && folded.lines().count() < 12);
        let count = good.outcome.as_ref().unwrap().assumed().count();
        assert!(folded.contains(&format!("{count} are assumed")) && folded.contains("landfall check --all hill.toml"));
        assert_eq!(good.json()["assumed"].as_array().unwrap().len(), count);
        let asked = check_text(&starter().replace("start_height = \"6 m\"", "start_height = \"19.7 m\""), "hill.toml");
        assert!(asked.is_usable() && asked.text(false).contains("\"19.7 ft\""));
        assert_eq!(asked.json()["asked"][0]["key"], "roll_in.start_height");
        assert_eq!(good.json()["usable"], true);
        let without_gap: String =
            starter().lines().filter(|l| !l.starts_with("gap")).map(|l| format!("{l}\n")).collect();
        assert_eq!(check_text(&without_gap, "x").json()["lacks"][0], "bag.gap");
        let bad = check_text("[rider]\nmass = 78\n", "hill.toml");
        assert!(!bad.is_usable() && bad.text(false).contains("faults; nothing was computed"));
        assert_eq!(bad.json()["faults"][0]["key"], bad.outcome.unwrap_err().faults[0].key);
    }
}
