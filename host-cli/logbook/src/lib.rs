//! The logbook: one SQLite file with plans, runs, the box's logs, and who checked what before a session.
//!
//! Every act is one transaction. With a rollback journal and `synchronous = EXTRA` an act that was acknowledged is on
//! the disk, its journal is gone from the folder, and a power cut at any moment leaves the file as it was before or
//! after an act. Nothing is ever changed or deleted: what was wrong is added again, with a note.
//!
//! Time is an argument: moments come from the caller.

pub mod checklist;
pub mod export;
pub mod rows;
mod schema;
pub mod text;

use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use checklist::{Item, checklist};
use rusqlite::{Connection, OpenFlags, OptionalExtension as _, Transaction, TransactionBehavior, params};
use serde::Serialize;
use serde_json::Value;
use sha2::{Digest as _, Sha256};

use landfall_plan::outside;
use landfall_plan::plan::results::Results;
use landfall_plan::site::{Dimension, Site, parse_quantity};
use landfall_tables::chain;
pub use schema::VERSION;

/// How long an act waits while another program writes.
const BUSY: Duration = Duration::from_secs(60);

/// Why an act did not happen; the file is as it was.
#[derive(Debug)]
#[non_exhaustive]
pub enum LogbookError {
    /// The file is something else.
    NotALogbook(PathBuf),
    /// A later program wrote the file.
    Newer {
        /// Version of the file.
        found: i64,
        /// Newest that this program knows.
        known: i64,
    },
    /// There is no such file, and none was to be begun.
    Missing(PathBuf),
    /// There is no such entry.
    NoEntry(String),
    /// The text that came cannot be taken.
    Text(String),
    /// SQLite, or the system under it.
    Sqlite(rusqlite::Error),
}

impl std::fmt::Display for LogbookError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NotALogbook(path) => write!(
                f,
                "{} is no logbook, and is left as it is; name the logbook first, and look whether two file names are swapped",
                shown(path)
            ),
            Self::Newer { found, known } => write!(
                f,
                "the logbook is of version {found} and this program knows up to {known}; a later program wrote it"
            ),
            Self::Missing(path) => {
                write!(f, "{}: there is no logbook; `logbook plan` begins one", shown(path))
            }
            Self::NoEntry(what) => write!(f, "the logbook has no {what}"),
            Self::Text(text) => f.write_str(&outside::short(&outside::lines(text), 600)),
            Self::Sqlite(error) => write!(f, "the logbook: {error}"),
        }
    }
}

/// A path in a message.
fn shown(path: &Path) -> String {
    outside::plain(&path.to_string_lossy()).into_owned()
}

impl std::error::Error for LogbookError {}

impl From<rusqlite::Error> for LogbookError {
    fn from(error: rusqlite::Error) -> Self {
        Self::Sqlite(error)
    }
}

/// What a text that was brought in is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// Measured runs.
    Runs,
    /// A box's log or recording.
    Box,
}

impl Source {
    /// Its word in the file.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Runs => "runs",
            Self::Box => "box",
        }
    }
}

/// A plan to keep.
#[derive(Clone, Copy, Debug)]
pub struct NewPlan<'a> {
    /// The site.
    pub site: &'a Site,
    /// Its file's text.
    pub site_text: &'a str,
    /// Its file's name.
    pub site_file: &'a str,
    /// What was computed.
    pub results: &'a Results,
}

/// A text to bring in.
#[derive(Clone, Copy, Debug)]
pub struct NewText<'a> {
    /// What it is.
    pub source: Source,
    /// Plan that it belongs to; `None`: the latest.
    pub plan: Option<i64>,
    /// Name of its file.
    pub file: &'a str,
    /// The text itself: comma-separated values with a first line of names, or JSON.
    pub text: &'a str,
    /// Anything to remember.
    pub note: &'a str,
}

/// A check that somebody did.
#[derive(Clone, Copy, Debug)]
pub struct NewCheck<'a> {
    /// Plan whose checklist it is of; `None`: the latest.
    pub plan: Option<i64>,
    /// Number on the checklist.
    pub number: i64,
    /// Who looked.
    pub who: &'a str,
    /// What was seen: a value with its unit where the item has one, else yes or no.
    pub seen: &'a str,
    /// Anything to remember.
    pub note: &'a str,
}

/// A check as it was taken down.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Check {
    /// Its number in the logbook.
    pub id: i64,
    /// What was to be looked at.
    pub item: Item,
    /// Whether what was seen is inside the item's limits; null where it has none.
    pub within: Option<bool>,
}

/// An open logbook.
#[derive(Debug)]
pub struct Logbook {
    connection: Connection,
}

impl Logbook {
    /// Opens a logbook; begins one where there is no file and `begin` is set.
    ///
    /// # Errors
    /// [`LogbookError`]: another kind of file, a later version, what SQLite says.
    pub fn open(path: &Path, begin: bool) -> Result<Self, LogbookError> {
        let mut flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        match path.metadata() {
            Ok(metadata) if metadata.is_file() => {}
            // A pipe would be waited for, and a terminal written to.
            Ok(_) => return Err(LogbookError::NotALogbook(path.to_owned())),
            Err(_) if begin => flags |= OpenFlags::SQLITE_OPEN_CREATE,
            Err(_) => return Err(LogbookError::Missing(path.to_owned())),
        }
        Self::on(Connection::open_with_flags(path, flags)?, path)
    }

    /// Takes a connection; `path` is for messages.
    ///
    /// # Errors
    /// As [`Logbook::open`].
    pub fn on(mut connection: Connection, path: &Path) -> Result<Self, LogbookError> {
        connection.busy_timeout(BUSY)?;
        let other = |error: rusqlite::Error| match error.sqlite_error_code() {
            Some(rusqlite::ErrorCode::NotADatabase) => LogbookError::NotALogbook(path.to_owned()),
            _ => LogbookError::Sqlite(error),
        };
        // The first read of the file: what is no database is told here. A journal left by a power cut is played back.
        // In one transaction: another program may be beginning the same file.
        let look = connection.transaction().map_err(other)?;
        let id: i64 = look.pragma_query_value(None, "application_id", |row| row.get(0)).map_err(other)?;
        let tables: i64 = look.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0)).map_err(other)?;
        look.commit().map_err(other)?;
        if id != schema::APPLICATION_ID && (id != 0 || tables != 0) {
            return Err(LogbookError::NotALogbook(path.to_owned()));
        }
        connection.pragma_update(None, "journal_mode", "DELETE")?;
        connection.pragma_update(None, "synchronous", "EXTRA")?;
        connection.pragma_update(None, "foreign_keys", true)?;
        connection.pragma_update(None, "trusted_schema", false)?;
        schema::migrate(&mut connection)?;
        Ok(Self { connection })
    }

    /// One act: all of it or nothing.
    fn act<T>(&mut self, work: impl FnOnce(&Transaction<'_>) -> Result<T, LogbookError>) -> Result<T, LogbookError> {
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let done = work(&transaction)?;
        transaction.commit()?;
        Ok(done)
    }

    /// Keeps a plan with its site's text and the checklist of its limits; the plan's number.
    ///
    /// # Errors
    /// [`LogbookError`].
    pub fn add_plan(&mut self, at: SystemTime, plan: &NewPlan<'_>) -> Result<i64, LogbookError> {
        plain_words([("the site file's name", plan.site_file), ("the site's name", &plan.results.site)])?;
        let results = serde_json::to_string(plan.results).map_err(|error| LogbookError::Text(error.to_string()))?;
        let items = checklist(plan.site, plan.results);
        self.act(|act| {
            act.execute(
                "INSERT INTO plan (added_at, name, program, site_file, site_text, site_sha256, results) \
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                params![
                    moment(at),
                    plan.results.site,
                    plan.results.version,
                    plan.site_file,
                    plan.site_text,
                    sha256(plan.site_text),
                    results
                ],
            )?;
            let id = act.last_insert_rowid();
            for item in &items {
                act.execute(
                    "INSERT INTO item (plan_id, number, what, low, high, dimension, unit) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                    params![id, item.number, item.what, item.low, item.high, item.dimension, item.unit],
                )?;
            }
            Ok(id)
        })
    }

    /// Brings in a text with its rows; the number of the entry, and of rows.
    ///
    /// # Errors
    /// [`LogbookError::Text`] where the text cannot be read, [`LogbookError::NoEntry`] without the plan.
    pub fn add_text(&mut self, at: SystemTime, new: &NewText<'_>) -> Result<(i64, usize), LogbookError> {
        plain_words([("the note", new.note), ("the file's name", new.file)])?;
        if new.source == Source::Runs && chain::is_one(new.text.as_bytes()) {
            return Err(LogbookError::Text(format!("{}: is a record of a session; `logbook box` keeps it", new.file)));
        }
        let rows = rows::parse(new.text).map_err(|fault| LogbookError::Text(format!("{}: {fault}", new.file)))?;
        self.act(|act| {
            let plan = match new.plan {
                Some(_) => Some(plan_id(act, new.plan)?),
                None => latest_plan(act)?,
            };
            act.execute(
                "INSERT INTO entry (added_at, source, plan_id, file, text, sha256, note) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                params![moment(at), new.source.word(), plan, new.file, new.text, sha256(new.text), new.note],
            )?;
            let id = act.last_insert_rowid();
            let mut insert = act.prepare("INSERT INTO entry_row (entry_id, number, fields) VALUES (?1, ?2, ?3)")?;
            for (number, row) in (1_i64..).zip(&rows) {
                insert.execute(params![id, number, row.to_string()])?;
            }
            Ok((id, rows.len()))
        })
    }

    /// Takes down a check.
    ///
    /// # Errors
    /// [`LogbookError::Text`] for a value that cannot be read, [`LogbookError::NoEntry`] without the item.
    pub fn add_check(&mut self, at: SystemTime, new: &NewCheck<'_>) -> Result<Check, LogbookError> {
        plain_words([("--who", new.who), ("--seen", new.seen), ("the note", new.note)])?;
        let who = new.who.trim();
        if who.is_empty() {
            return Err(LogbookError::Text("a check needs the name of who looked".to_owned()));
        }
        self.act(|act| {
            let plan = plan_id(act, new.plan)?;
            let found = act
                .query_row(
                    "SELECT id, number, what, low, high, dimension, unit FROM item WHERE plan_id = ?1 AND number = ?2",
                    params![plan, new.number],
                    |row| Ok((row.get::<_, i64>(0)?, item(row)?)),
                )
                .optional()?;
            let (item_id, item) = found
                .ok_or_else(|| LogbookError::NoEntry(format!("item {} on the checklist of plan {plan}", new.number)))?;
            let (value, within) = judged(&item, new.seen)?;
            act.execute(
                "INSERT INTO checked (item_id, at, who, seen, value, within, note) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                params![item_id, moment(at), who, new.seen, value, within, new.note],
            )?;
            Ok(Check { id: act.last_insert_rowid(), item, within })
        })
    }

    /// Sets how far a write goes before it counts: for tests that show what the usual level is worth.
    ///
    /// # Errors
    /// [`LogbookError`].
    #[doc(hidden)]
    pub fn set_synchronous(&mut self, level: &str) -> Result<(), LogbookError> {
        Ok(self.connection.pragma_update(None, "synchronous", level)?)
    }

    /// Whether SQLite finds the file sound; its words where it does not.
    ///
    /// # Errors
    /// [`LogbookError`].
    pub fn integrity(&self) -> Result<(), LogbookError> {
        let words: String = self.connection.query_row("PRAGMA integrity_check", [], |row| row.get(0))?;
        let mut broken = self.connection.prepare("PRAGMA foreign_key_check")?;
        let dangling = broken.query([])?.next()?.is_some();
        match (words.as_str(), dangling) {
            ("ok", false) => Ok(()),
            ("ok", true) => Err(LogbookError::Text("an entry points at one that is not there".to_owned())),
            _ => Err(LogbookError::Text(format!("the file is damaged: {words}"))),
        }
    }
}

fn item(row: &rusqlite::Row<'_>) -> rusqlite::Result<Item> {
    Ok(Item {
        number: row.get("number")?,
        what: row.get("what")?,
        low: row.get("low")?,
        high: row.get("high")?,
        dimension: row.get("dimension")?,
        unit: row.get("unit")?,
    })
}

fn latest_plan(act: &Connection) -> rusqlite::Result<Option<i64>> {
    act.query_row("SELECT max(id) FROM plan", [], |row| row.get(0))
}

/// The plan asked for, or the latest.
fn plan_id(act: &Connection, asked: Option<i64>) -> Result<i64, LogbookError> {
    match asked {
        None => latest_plan(act)?.ok_or_else(|| LogbookError::NoEntry("plan yet".to_owned())),
        Some(id) => act
            .query_row("SELECT id FROM plan WHERE id = ?1", [id], |row| row.get(0))
            .optional()?
            .ok_or_else(|| LogbookError::NoEntry(format!("plan {id}"))),
    }
}

/// Refuses words with characters that act on a terminal, or begin a line that looks like the logbook's own.
fn plain_words<const N: usize>(words: [(&str, &str); N]) -> Result<(), LogbookError> {
    for (what, text) in words {
        if let Some(c) = outside::acting(text) {
            let told = format!("{what} holds the control character {}; take it out", c.escape_unicode());
            return Err(LogbookError::Text(told));
        }
    }
    Ok(())
}

/// The value seen, in SI, and whether it is inside.
fn judged(item: &Item, seen: &str) -> Result<(Option<f64>, Option<bool>), LogbookError> {
    let Some(name) = &item.dimension else {
        return match seen.trim().to_lowercase().as_str() {
            "yes" | "y" => Ok((None, Some(true))),
            "no" | "n" => Ok((None, Some(false))),
            _ => Err(LogbookError::Text(format!("item {} is answered with yes or no, not {seen:?}", item.number))),
        };
    };
    let value = match Dimension::ALL.into_iter().find(|dimension| format!("{dimension:?}") == *name) {
        Some(dimension) => {
            parse_quantity(seen, dimension)
                .map_err(|error| LogbookError::Text(format!("item {}: {error}", item.number)))?
                .si
        }
        None => seen.trim().parse().ok().filter(|value: &f64| value.is_finite()).ok_or_else(|| {
            LogbookError::Text(format!("item {} is answered with a number, not {seen:?}", item.number))
        })?,
    };
    let within = (item.low.is_some() || item.high.is_some())
        .then(|| item.low.is_none_or(|low| value >= low) && item.high.is_none_or(|high| value <= high));
    Ok((Some(value), within))
}

/// A moment as the file has it: RFC 3339, UTC, to the second.
fn moment(at: SystemTime) -> String {
    humantime::format_rfc3339_seconds(at).to_string()
}

fn sha256(text: &str) -> String {
    Sha256::digest(text.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A text column as JSON, where it holds JSON.
fn json_of(text: &str) -> Value {
    serde_json::from_str(text).unwrap_or_else(|_| Value::String(text.to_owned()))
}

#[cfg(test)]
mod tests;
