//! The arguments of `ground`, `ready` and `line`.

use std::path::PathBuf;

use clap::ValueHint;
use landfall_plan::ground::text::TABLES;
use landfall_plan::site::{Dimension, parse_quantity};

use super::args_shared::{Format, Output, Sampling, SiteArg, TextOrJson, angle, length};

/// A place by two lengths: along and across.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct PlaceArg(pub f64, pub f64);

fn place(text: &str) -> Result<PlaceArg, String> {
    let both = text.split_once(',').ok_or("two lengths with a comma are wanted, along and across: \"-5 m, 8 m\"")?;
    let one = |text: &str| {
        parse_quantity(text.trim(), Dimension::Length)
            .map(|read| read.si)
            .map_err(|error| format!("{text:?} is not a length: {error}"))
    };
    Ok(PlaceArg(one(both.0)?, one(both.1)?))
}

fn share(text: &str) -> Result<f64, String> {
    let number = text.trim().trim_end_matches('%').trim();
    let value: f64 = number.parse().map_err(|_| format!("{text:?} is not a share such as 0.95 or 95%"))?;
    let value = if text.trim().ends_with('%') { value / 100.0 } else { value };
    if value > 0.0 && value < 1.0 { Ok(value) } else { Err(format!("{text:?} is not between 0 and 1")) }
}

/// Look whether the site fits its ground, what to dig, what is near, and how to set it out
///
/// Room along and across; heights of platform and roll-in over the ground; earth under take-off and bag; obstacles and
/// wires against the band of flights; every corner by two tapes. Where length is missing, changes are tried: each is made,
/// measured again and planned.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall ground hill.toml
  landfall ground hill.toml --report ground.html
  landfall ground hill.toml --format csv --table set-out --peg-a \"-6 m, 12 m\" --peg-b \"8 m, 12 m\"

The ground is the table [ground] of the site file; what it leaves out is not looked at.
Exit code 1: something is missing.")]
pub(crate) struct Ground {
    #[command(flatten)]
    pub site: SiteArg,
    /// First peg of the tapes: along from the lip (behind it negative) and across (left positive).
    #[arg(long, value_name = "ALONG,ACROSS", value_parser = place, allow_hyphen_values = true, requires = "peg_b")]
    pub peg_a: Option<PlaceArg>,
    /// Second peg.
    #[arg(long, value_name = "ALONG,ACROSS", value_parser = place, allow_hyphen_values = true, requires = "peg_a")]
    pub peg_b: Option<PlaceArg>,
    /// Write a page with both pictures as well: one HTML file, to read and to print. An older file is replaced.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub report: Option<PathBuf>,
    /// Form of the answer.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Table of a CSV.
    #[arg(long, value_name = "TABLE", default_value = TABLES[0], value_parser = TABLES)]
    pub table: String,
    #[command(flatten)]
    pub sampling: Sampling,
    #[command(flatten)]
    pub output: Output,
}

/// The landing that is built in place of the bag.
#[derive(Debug, clap::Args)]
pub(crate) struct LandingArgs {
    /// Slope of the landing that is built, down positive; by default the steepest up to 35 deg that works.
    #[arg(long, value_name = "ANGLE", value_parser = angle)]
    pub landing_slope: Option<f64>,
    /// Level deck before its knuckle; by default 3 m.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub deck: Option<f64>,
    /// Highest load in its transition, in g, standing still being 1; by default 3.
    #[arg(long, value_name = "G")]
    pub transition_load: Option<f64>,
    /// Length of its level roll-out; by default 10 m.
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub roll_out: Option<f64>,
    /// Height of the roll-out over the take-off's foot; by default the bag's base level.
    #[arg(long, value_name = "HEIGHT", value_parser = length, allow_hyphen_values = true)]
    pub roll_out_level: Option<f64>,
}

/// Count the runs of a trick, and see where they would come down on a landing that is built
///
/// Shares with their intervals, the scatter beside the plan's, these very runs onto the landing: too short, on the slope,
/// too long, and how hard. No verdict: who rides what is for people to decide.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall ready hill.toml runs.csv --trick tailwhip
  landfall ready hill.toml runs.csv --trick tailwhip --landing-slope \"25 deg\"
  landfall ready hill.toml runs.csv --trick tailwhip --chance 0.99

The table of runs is that of landfall fit, with two columns more: trick, and ending (clean, hands or
feet down, crash).")]
pub(crate) struct Ready {
    /// Site file; `-` reads stdin.
    #[arg(value_hint = ValueHint::FilePath)]
    pub site: PathBuf,
    /// Table of runs.
    #[arg(value_hint = ValueHint::FilePath)]
    pub runs: PathBuf,
    /// Name of the trick.
    #[arg(long, value_name = "NAME")]
    pub trick: String,
    /// Chance of a clean run to be shown.
    #[arg(long, value_name = "SHARE", value_parser = share, default_value = "0.95")]
    pub chance: f64,
    /// Confidence of what is said.
    #[arg(long, value_name = "SHARE", value_parser = share, default_value = "0.95")]
    pub confidence: f64,
    #[command(flatten)]
    pub landing: LandingArgs,
    /// Form of the answer.
    #[arg(long, value_enum, default_value_t = TextOrJson::Text)]
    pub format: TextOrJson,
    #[command(flatten)]
    pub output: Output,
}

/// Chain sites: the speed out of each landing is the push-off of the next
///
/// Every site gets the landing that landfall progress builds for it. With which speed each lip is reached, how many runs
/// come so far, and where the line dies.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall line first.toml second.toml third.toml
  landfall line first.toml second.toml --runs 4000 --format json

The first site begins from its own start. At every other the start's height is that of its roll-in, and a
rider comes to it with the speed that the landing before it left.
Exit code 1: the mean run does not reach the last lip.")]
pub(crate) struct Line {
    /// Site files, in the order of the ride.
    #[arg(value_hint = ValueHint::FilePath, required = true, num_args = 2..=12)]
    pub sites: Vec<PathBuf>,
    /// Drawn runs.
    #[arg(long, value_name = "N", default_value_t = 2000, value_parser = clap::value_parser!(u32).range(100..=100_000))]
    pub runs: u32,
    #[command(flatten)]
    pub landing: LandingArgs,
    /// Form of the answer.
    #[arg(long, value_enum, default_value_t = TextOrJson::Text)]
    pub format: TextOrJson,
    #[command(flatten)]
    pub output: Output,
}
