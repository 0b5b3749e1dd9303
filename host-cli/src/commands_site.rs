//! The work of `new` and `check`, without the command line: what they write, and what they say.

use std::fmt::Write as _;
use std::fs;
use std::io;
use std::path::Path;

use serde_json::{Value, json};

use crate::keep::{How, WriteError, write};
use crate::site::{Faults, KEYS, Preset, Site, read_site, starter};

/// Writes the starter site file. An existing file is overwritten only with `force`.
///
/// # Errors
/// [`WriteError::Exists`], or what else stands against it.
pub fn write_starter(path: &Path, force: bool) -> Result<(), WriteError> {
    write(path, starter().as_bytes(), &How { force, only_new: !force, ..How::default() }).map(|_| ())
}

/// What a check of a site file found.
#[derive(Clone, Debug, PartialEq)]
pub struct Checked {
    /// The file's name, as it was given.
    pub file: String,
    /// The site, or everything that is wrong with the file.
    pub outcome: Result<Site, Faults>,
}

/// Checks a site file's text.
#[must_use]
pub fn check_text(text: &str, file_name: &str) -> Checked {
    Checked { file: file_name.to_owned(), outcome: read_site(text, file_name) }
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

    /// The result in words: the faults, or what was read, what is still assumed, and what a plan lacks.
    #[must_use]
    pub fn text(&self) -> String {
        let mut out = String::new();
        // Writing to a text cannot fail.
        let _ = match &self.outcome {
            Err(faults) => {
                let count = faults.faults.len();
                let noun = if count == 1 { "fault" } else { "faults" };
                writeln!(out, "{faults}\n\n{}: {count} {noun}; nothing was computed", self.file)
            }
            Ok(site) => self.usable_text(site, &mut out),
        };
        out
    }

    fn usable_text(&self, site: &Site, out: &mut String) -> std::fmt::Result {
        writeln!(out, "{}: {} can be read; {} values are stated", self.file, site.site.name, site.given.len())?;
        if site.bag.gap_m.is_none() {
            writeln!(out, "bag.gap is not stated: a plan needs it")?;
        }
        let assumed: Vec<_> = assumed(site).collect();
        if !assumed.is_empty() {
            writeln!(out, "Assumed, since the file does not state them:")?;
        }
        for (key, value, help) in assumed {
            writeln!(out, "  {key} = {value}  {help}")?;
        }
        Ok(())
    }

    /// The result for programs: `usable`, `name`, `faults`, `assumed` and `lacks`.
    #[must_use]
    pub fn json(&self) -> Value {
        match &self.outcome {
            Err(faults) => json!({
                "file": self.file, "usable": false, "name": null, "faults": faults.faults, "assumed": [], "lacks": [],
            }),
            Ok(site) => {
                let assumed: Vec<Value> =
                    assumed(site).map(|(key, value, _)| json!({"key": key, "value": value})).collect();
                let lacks: &[&str] = if site.bag.gap_m.is_none() { &["bag.gap"] } else { &[] };
                json!({
                    "file": self.file, "usable": true, "name": site.site.name, "faults": [], "assumed": assumed, "lacks": lacks,
                })
            }
        }
    }
}

/// Key, value as text and meaning of everything that has a default and is not stated.
fn assumed(site: &Site) -> impl Iterator<Item = (&'static str, &'static str, &'static str)> {
    KEYS.iter().filter(|key| !site.given.contains(key.dotted)).filter_map(|key| match key.preset {
        Preset::Is(text) => Some((key.dotted, text, key.help)),
        _ => None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_starter_is_written_once_and_then_only_by_force() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("hill.toml");
        write_starter(&path, false).unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), starter());
        fs::write(&path, "mine").unwrap();
        let refused = write_starter(&path, false).unwrap_err();
        assert!(matches!(refused, WriteError::Exists(_)), "{refused}");
        assert_eq!(fs::read_to_string(&path).unwrap(), "mine");
        write_starter(&path, true).unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), starter());
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "a temporary file was left");
    }

    #[test]
    fn a_missing_folder_is_reported() {
        let folder = tempfile::tempdir().unwrap();
        let refused = write_starter(&folder.path().join("no/hill.toml"), false).unwrap_err();
        assert!(matches!(refused, WriteError::Io(..)), "{refused}");
    }

    #[test]
    fn a_check_says_what_is_assumed_or_wrong_in_both_forms() {
        let good = check_text(starter(), "hill.toml");
        assert!(good.is_usable() && good.text().contains("bag.skin_stretch = 3e-5 /Pa"));
        assert_eq!(good.json()["usable"], true);
        let without_gap: String =
            starter().lines().filter(|l| !l.starts_with("gap")).map(|l| format!("{l}\n")).collect();
        assert_eq!(check_text(&without_gap, "x").json()["lacks"][0], "bag.gap");
        let bad = check_text("[rider]\nmass = 78\n", "hill.toml");
        assert!(!bad.is_usable() && bad.text().contains("faults; nothing was computed"));
        assert_eq!(bad.json()["faults"][0]["key"], bad.outcome.unwrap_err().faults[0].key);
    }
}
