//! The tables, and how a file of an older version becomes one of the newest.
//!
//! # Settled here
//! - **Logbook**: nothing is changed or deleted. A rollback journal with `synchronous = EXTRA`, since with `FULL` a
//!   journal whose deletion was not synced comes back after a power cut and undoes what was acknowledged.

use super::LogbookError;
use rusqlite::{Connection, TransactionBehavior};

/// Marks the file as a logbook: "Lflb" in ASCII.
pub const APPLICATION_ID: i64 = 0x4C66_6C62;

/// What each version adds to the one before it; a file's `user_version` counts those that were done.
const STEPS: [&str; 2] = [
    "CREATE TABLE plan (
       id INTEGER PRIMARY KEY,
       added_at TEXT NOT NULL,
       name TEXT NOT NULL,
       program TEXT NOT NULL,
       site_file TEXT NOT NULL,
       site_text TEXT NOT NULL,
       site_sha256 TEXT NOT NULL,
       results TEXT NOT NULL CHECK (json_valid(results))
     ) STRICT;
     CREATE TABLE item (
       id INTEGER PRIMARY KEY,
       plan_id INTEGER NOT NULL REFERENCES plan (id),
       number INTEGER NOT NULL,
       what TEXT NOT NULL,
       low REAL,
       high REAL,
       dimension TEXT,
       unit TEXT NOT NULL,
       UNIQUE (plan_id, number)
     ) STRICT;
     CREATE TABLE checked (
       id INTEGER PRIMARY KEY,
       item_id INTEGER NOT NULL REFERENCES item (id),
       at TEXT NOT NULL,
       who TEXT NOT NULL CHECK (who <> ''),
       seen TEXT NOT NULL,
       value REAL,
       within INTEGER CHECK (within IN (0, 1)),
       note TEXT NOT NULL
     ) STRICT;
     CREATE INDEX checked_item ON checked (item_id);",
    "CREATE TABLE entry (
       id INTEGER PRIMARY KEY,
       added_at TEXT NOT NULL,
       source TEXT NOT NULL CHECK (source IN ('runs', 'box')),
       plan_id INTEGER REFERENCES plan (id),
       file TEXT NOT NULL,
       text TEXT NOT NULL,
       sha256 TEXT NOT NULL,
       note TEXT NOT NULL
     ) STRICT;
     CREATE TABLE entry_row (
       entry_id INTEGER NOT NULL REFERENCES entry (id),
       number INTEGER NOT NULL,
       fields TEXT NOT NULL CHECK (json_valid(fields)),
       PRIMARY KEY (entry_id, number)
     ) STRICT, WITHOUT ROWID;",
];

/// Newest version.
pub const VERSION: i64 = STEPS.len() as i64;

/// Brings a file to the newest version, in one transaction.
pub fn migrate(connection: &mut Connection) -> Result<(), LogbookError> {
    let version = |connection: &Connection| -> rusqlite::Result<i64> {
        connection.pragma_query_value(None, "user_version", |row| row.get(0))
    };
    let found = version(connection)?;
    if found > VERSION {
        return Err(LogbookError::Newer { found, known: VERSION });
    }
    if found == VERSION {
        return Ok(());
    }
    let act = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    // Another program may have done it since.
    let found = usize::try_from(version(&act)?).unwrap_or(0);
    act.pragma_update(None, "application_id", APPLICATION_ID)?;
    for step in STEPS.iter().skip(found) {
        act.execute_batch(step)?;
    }
    act.pragma_update(None, "user_version", VERSION.max(found as i64))?;
    act.commit()?;
    Ok(())
}

/// A file of an older version, for tests.
#[cfg(test)]
pub fn begin_at(connection: &Connection, version: usize) -> rusqlite::Result<()> {
    connection.pragma_update(None, "application_id", APPLICATION_ID)?;
    for step in STEPS.iter().take(version) {
        connection.execute_batch(step)?;
    }
    connection.pragma_update(None, "user_version", version as i64)
}
