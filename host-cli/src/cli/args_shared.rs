//! Arguments that several commands share.

use std::path::PathBuf;

use clap::{ValueEnum, ValueHint};
use landfall_plan::site::{Dimension, parse_quantity};

/// Where the site comes from.
#[derive(Debug, clap::Args)]
pub(crate) struct SiteArg {
    /// Site file; `-` reads stdin.
    #[arg(value_hint = ValueHint::FilePath, required_unless_present = "demo")]
    pub site: Option<PathBuf>,
    /// The embedded invented site instead of a file.
    #[arg(long, conflicts_with = "site")]
    pub demo: bool,
}

/// Where the data goes.
#[derive(Debug, clap::Args)]
pub(crate) struct Output {
    /// Write here instead of to stdout, all at once or not at all; an older output is replaced.
    #[arg(long, short, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub output: Option<PathBuf>,
    /// Write also over what is read, and over site files, measurements and logbooks.
    #[arg(long)]
    pub force: bool,
}

/// How the sampling is done.
#[derive(Debug, clap::Args)]
pub(crate) struct Sampling {
    /// Sampled runs of each rider, instead of the site's spread.samples.
    #[arg(long, value_name = "N")]
    pub samples: Option<u64>,
    /// Seed, instead of the site's spread.seed; the same seed gives the same result.
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    #[command(flatten)]
    pub threads: Threads,
}

/// How many threads compute.
#[derive(Debug, clap::Args)]
pub(crate) struct Threads {
    /// Threads to compute with; 0 takes every core. The result does not depend on it.
    #[arg(long, value_name = "N", default_value_t = 0, value_parser = clap::value_parser!(u16).range(0..=1024))]
    pub threads: u16,
}

/// The form of a report.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// To read.
    Text,
    /// For programs; `landfall schema results` describes the plan's.
    Json,
    /// Comma-separated values, for spreadsheets.
    Csv,
}

/// Text or JSON.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum TextOrJson {
    /// To read.
    Text,
    /// For programs.
    Json,
}

pub(super) fn length(text: &str) -> Result<f64, String> {
    parse_quantity(text, Dimension::Length)
        .map(|q| q.si)
        .map_err(|e| format!("{e}; write it as \"2 m\" or \"6 ft 6 in\""))
}

pub(super) fn time(text: &str) -> Result<f64, String> {
    parse_quantity(text, Dimension::Time).map(|q| q.si).map_err(|e| format!("{e}; write it as \"1.2 s\""))
}

pub(super) fn angle(text: &str) -> Result<f64, String> {
    parse_quantity(text.trim(), Dimension::Angle).map(|q| q.si).map_err(|e| format!("{e}; write it as \"30 deg\""))
}
