//! The arguments of `logbook`.

use std::path::PathBuf;

use clap::{Subcommand, ValueHint};
use landfall_logbook::export::TABLES;

use super::args_shared::{Output, Sampling, SiteArg, TextOrJson};

/// Keep plans, runs, box logs, and who checked what before a session
///
/// One SQLite file. Every act is whole or not there, also after a power cut; nothing in it is changed or deleted, a
/// correction is another entry with a note.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall logbook plan hill.logbook hill.toml
  landfall logbook checklist hill.logbook
  landfall logbook check hill.logbook 4 --who Ines --seen \"1.15 kPa\"
  landfall logbook runs hill.logbook saturday.csv --note \"dry, new tyres\"
  landfall logbook box hill.logbook day.csv
  landfall logbook box hill.logbook saturday.session
  landfall logbook export hill.logbook checks --format csv --output checks.csv")]
pub(crate) struct Logbook {
    #[command(subcommand)]
    pub act: Act,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Act {
    /// Compute a site's plan and keep it with the site's text and a checklist of its limits; begins the file if needed.
    Plan(KeepPlan),
    /// Keep measured runs: comma-separated values with a first line of names, or JSON.
    Runs(KeepText),
    /// Keep a box's log, recording or session: what `log`, `watch --record` and `log --session` write. A session's record is
    /// checked first, and one that was changed is not kept.
    Box(KeepText),
    /// Print the checklist of a plan with what was seen last. Exit code 1: an item is open or outside.
    Checklist(Checklist),
    /// Take down that somebody looked. Exit code 1: what was seen is outside the plan's limit.
    Check(Check),
    /// List what is in a logbook.
    List(List),
    /// Print one plan or entry, whole, as JSON.
    Show(Show),
    /// Write a table as CSV or JSON, or everything as JSON.
    Export(Export),
}

/// The logbook's file.
#[derive(Debug, clap::Args)]
pub(crate) struct Book {
    /// The logbook.
    #[arg(value_name = "LOGBOOK", value_hint = ValueHint::FilePath)]
    pub book: PathBuf,
}

#[derive(Debug, clap::Args)]
pub(crate) struct KeepPlan {
    #[command(flatten)]
    pub book: Book,
    #[command(flatten)]
    pub site: SiteArg,
    #[command(flatten)]
    pub sampling: Sampling,
}

#[derive(Debug, clap::Args)]
pub(crate) struct KeepText {
    #[command(flatten)]
    pub book: Book,
    /// File to keep; `-` reads stdin.
    #[arg(value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub file: PathBuf,
    /// Plan that it belongs to; by default the latest.
    #[arg(long, value_name = "N")]
    pub plan: Option<i64>,
    /// Anything to remember.
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    pub note: String,
}

#[derive(Debug, clap::Args)]
pub(crate) struct Checklist {
    #[command(flatten)]
    pub book: Book,
    /// Plan; by default the latest.
    #[arg(long, value_name = "N")]
    pub plan: Option<i64>,
    /// Form of the checklist.
    #[arg(long, value_enum, default_value_t = TextOrJson::Text)]
    pub format: TextOrJson,
}

#[derive(Debug, clap::Args)]
pub(crate) struct Check {
    #[command(flatten)]
    pub book: Book,
    /// Number on the checklist.
    pub number: i64,
    /// Who looked.
    #[arg(long, value_name = "NAME")]
    pub who: String,
    /// What was seen: a value with its unit, a count, or yes or no.
    #[arg(long, value_name = "VALUE")]
    pub seen: String,
    /// Anything to remember.
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    pub note: String,
    /// Plan whose checklist it is of; by default the latest.
    #[arg(long, value_name = "N")]
    pub plan: Option<i64>,
}

#[derive(Debug, clap::Args)]
pub(crate) struct List {
    #[command(flatten)]
    pub book: Book,
}

/// What to print whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Shown {
    /// A plan: site text and results.
    Plan,
    /// Runs or a box's log, as they were brought in.
    Entry,
}

#[derive(Debug, clap::Args)]
pub(crate) struct Show {
    #[command(flatten)]
    pub book: Book,
    /// Plan or entry.
    #[arg(value_enum)]
    pub what: Shown,
    /// Its number, as `list` says.
    pub number: i64,
    #[command(flatten)]
    pub output: Output,
}

/// CSV or JSON.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum CsvOrJson {
    /// Comma-separated values, for spreadsheets.
    Csv,
    /// For programs.
    Json,
}

#[derive(Debug, clap::Args)]
pub(crate) struct Export {
    #[command(flatten)]
    pub book: Book,
    /// Table; by default all of them, which only JSON holds.
    #[arg(value_parser = TABLES)]
    pub table: Option<String>,
    /// Form of the export.
    #[arg(long, value_enum, default_value_t = CsvOrJson::Json)]
    pub format: CsvOrJson,
    #[command(flatten)]
    pub output: Output,
}
