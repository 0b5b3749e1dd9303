//! What a file is, by how it begins: so that none is taken for another and lost.

use std::io::Read as _;
use std::path::Path;
use std::{fs, io};

use crate::{columns, is_heading_of, is_remark, separator_of};
use landfall_firmware::frame::Receiver;
use landfall_firmware::link::ToBox;
use landfall_plan::site::KEYS;

/// How much of a file is looked at; a settings file is shorter.
const LOOK_BYTES: u64 = 64 << 10;

/// What the command's own files are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Kind {
    /// A database of SQLite or its journal: a logbook, or somebody else's.
    Database,
    /// A site file.
    Site,
    /// A recording of a box, or another table of times and pressures or depths.
    Recording,
    /// A table of measured runs or drops.
    Measured,
    /// A record of a session, whose lines hold together.
    Session,
    /// Settings of a box.
    Settings,
    /// A page: report, card, page to try values on.
    Page,
    /// A template to cut by.
    Drawing,
    /// JSON.
    Json,
}

impl Kind {
    /// What the first bytes of a file tell; none for a text or a table without a mark.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Option<Self> {
        // A database, and the journal that undoes what was not finished.
        if bytes.starts_with(b"SQLite format 3\0")
            || bytes.starts_with(&[0xd9, 0xd5, 0x05, 0xf9, 0x20, 0xa1, 0x63, 0xd7])
        {
            return Some(Self::Database);
        }
        if bytes.starts_with(b"%PDF-") {
            return Some(Self::Drawing);
        }
        if is_settings(bytes) {
            return Some(Self::Settings);
        }
        if super::chain::is_one(bytes) {
            return Some(Self::Session);
        }
        let text = String::from_utf8_lossy(bytes);
        let text = text.trim_start_matches('\u{feff}').trim_start();
        let starts = |start: &str| text.get(..start.len()).is_some_and(|begin| begin.eq_ignore_ascii_case(start));
        if starts("<!doctype html") || starts("<html") {
            return Some(Self::Page);
        }
        let is_svg = starts("<svg") || (starts("<?xml") && text.contains("<svg"));
        // A drawing in DXF begins with its first section.
        let mut lines = text.lines().map(str::trim);
        if is_svg || (lines.next() == Some("0") && lines.next() == Some("SECTION")) {
            return Some(Self::Drawing);
        }
        if text.lines().any(is_table_of_a_site) {
            return Some(Self::Site);
        }
        if text.starts_with(['{', '[']) {
            return Some(Self::Json);
        }
        let heading = text.lines().find(|line| !is_remark(line))?;
        let separator = char::from(separator_of(heading));
        let cells: Vec<&str> = heading.split(separator).map(|cell| cell.trim().trim_matches('"')).collect();
        // The logbook's own tables can be exported again.
        if cells.starts_with(&["entry", "row"]) {
            return None;
        }
        let has = |word: &str| cells.iter().any(|cell| cell.to_lowercase().starts_with(word));
        let is_recording = has("time") && (has("gauge") || has("depth"));
        if is_recording {
            return Some(Self::Recording);
        }
        let is_measured = is_heading_of(columns::RUNS, &cells) || is_heading_of(columns::DROPS, &cells);
        is_measured.then_some(Self::Measured)
    }

    /// What a file is.
    ///
    /// # Errors
    /// What the system says where it cannot be read.
    pub fn of_file(path: &Path) -> io::Result<Option<Self>> {
        let mut bytes = Vec::new();
        fs::File::open(path)?.take(LOOK_BYTES).read_to_end(&mut bytes)?;
        Ok(Self::of(&bytes))
    }

    /// Whether a file of this kind is never replaced by a newer one: it was measured or typed, and cannot be computed
    /// again.
    #[must_use]
    pub const fn is_made_by_hand(self) -> bool {
        matches!(self, Self::Database | Self::Site | Self::Recording | Self::Measured | Self::Session)
    }

    /// In words, with its article.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Database => "a logbook or another database",
            Self::Site => "a site file",
            Self::Recording => "a recording of pressures",
            Self::Measured => "a table of measurements",
            Self::Session => "a record of a session",
            Self::Settings => "settings of a box",
            Self::Page => "a page",
            Self::Drawing => "a drawing",
            Self::Json => "JSON",
        }
    }
}

/// Frames of the link and nothing else.
fn is_settings(bytes: &[u8]) -> bool {
    let mut receiver = Receiver::new();
    let mut messages = bytes.iter().filter_map(|byte| receiver.push::<ToBox>(*byte)).peekable();
    bytes.last() == Some(&0) && messages.peek().is_some() && messages.all(|message| message.is_ok())
}

/// `[rider]` and so on.
fn is_table_of_a_site(line: &str) -> bool {
    let line = line.split('#').next().unwrap_or_default().trim();
    let name = line.strip_prefix('[').and_then(|line| line.strip_suffix(']')).map(str::trim);
    name.is_some_and(|name| KEYS.iter().any(|key| key.table() == name))
}
