//! The work of `new`, without the command line: what it writes, and what it says of it.

use std::path::Path;

use crate::keep::{How, WriteError, write};
use landfall_plan::plan::results::{Level, Results, Standing};
use landfall_plan::plan::words::first_sentence;
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Site, starter};

/// Writes the starter site file. An existing file is overwritten only with `force`.
///
/// # Errors
/// [`WriteError::Exists`], or what else stands against it.
pub fn write_starter(path: &Path, force: bool) -> Result<(), WriteError> {
    write_new(path, starter(), force)
}

/// Writes the text of a new site file, as [`write_starter`] does the starter's.
///
/// # Errors
/// As [`write_starter`].
pub fn write_new(path: &Path, text: &str, force: bool) -> Result<(), WriteError> {
    write(path, text.as_bytes(), &How { force, only_new: !force, ..How::default() }).map(|_| ())
}

/// How a plan stands, in one line: that its limits are kept, how high to start until the bag is measured, or what is wrong
/// first.
#[must_use]
pub fn standing_line(site: &Site, results: &Results) -> String {
    let first_day = results.first_day_mark_m();
    match (results.verdict.standing, first_day) {
        (Standing::Inside, _) => "as it stands, every limit that was computed is kept".to_owned(),
        (Standing::Provisional, Some(m)) => format!(
            "as it stands, start no higher than {} until the bag is measured: landfall bag-test --sheet sheet.html",
            Shown::of(site).length(m, Toward::Down)
        ),
        _ => {
            let cause = results.verdict.first_cause.get();
            let stops = || results.findings.iter().filter(|finding| finding.level == Level::Stop);
            let first = stops().find(|finding| Some(finding.id) == cause).or_else(|| stops().next());
            match first {
                Some(finding) => format!("as it stands it is outside a limit: {}", first_sentence(&finding.text)),
                None => {
                    "as it stands, it waits for the bag to be measured: landfall bag-test --sheet sheet.html".to_owned()
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

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
}
