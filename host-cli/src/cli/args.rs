//! The arguments of every command; help, completions and man pages are made from these definitions.

#[cfg(not(feature = "full"))]
use std::ffi::OsString;
use std::path::PathBuf;

use clap::{Parser, Subcommand, ValueEnum, ValueHint};
#[cfg(feature = "full")]
use clap_complete::Shell;
use landfall_plan::site::{Dimension, Like, parse_quantity};

use super::range::Vary;

const AFTER: &str = "\
Begin with:
  landfall plan --demo                 the whole report of an invented site
  landfall new --output hill.toml      a commented site file to fill in
  landfall check hill.toml             every fault of it at once, with its line
  landfall plan hill.toml              what was computed, inside and outside which limits

Data goes to stdout, messages go to stderr.
Exit code: 0 inside all limits, 1 outside a limit, 2 nothing could be computed, 130 stopped.
NO_COLOR in the environment turns colours off.

What is printed is computed from the inputs stated and the assumptions listed.
The bag maker's instructions, local codes and qualified people come first.";

/// Plan, place and check a roll-in, a take-off and a landing bag before anyone rides
#[derive(Debug, Parser)]
#[cfg_attr(
    not(feature = "full"),
    command(before_help = "This build plans only. Without --no-default-features it has all commands, \
                           from cutting the ramp to the box on the bag.")
)]
#[command(name = "landfall", version, about, after_help = AFTER, max_term_width = 100)]
pub(crate) struct Args {
    /// When to colour: on a terminal unless NO_COLOR is set, even into a pipe, or not at all.
    #[arg(
        long, global = true, value_enum, default_value_t = Color::Auto, value_name = "auto|always|never",
        hide_possible_values = true
    )]
    pub color: Color,
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// When to colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Color {
    /// On a terminal, unless NO_COLOR is set.
    Auto,
    /// Even into a file.
    Always,
    /// Not at all.
    Never,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    New(New),
    Check(Check),
    Plan(Plan),
    Card(Card),
    Page(super::args_page::Page),
    Size(Size),
    Place(Place),
    Air(Air),
    Sweep(Sweep),
    #[cfg(feature = "full")]
    Ramp(super::args_build::Ramp),
    #[cfg(feature = "full")]
    Progress(super::args_build::Progress),
    #[cfg(feature = "full")]
    Ground(super::args_ground::Ground),
    #[cfg(feature = "full")]
    Ready(super::args_ground::Ready),
    #[cfg(feature = "full")]
    Line(super::args_ground::Line),
    #[cfg(feature = "full")]
    Fit(super::args_learn::Fit),
    #[cfg(feature = "full")]
    BagTest(super::args_learn::BagTest),
    #[cfg(feature = "full")]
    Compare(super::args_learn::Compare),
    #[cfg(feature = "full")]
    Arm(super::args_box::Arm),
    #[cfg(feature = "full")]
    Watch(super::args_box::Watch),
    #[cfg(feature = "full")]
    Replay(super::args_box::Replay),
    #[cfg(feature = "full")]
    Log(super::args_box::Log),
    #[cfg(feature = "full")]
    Verify(super::args_box::Verify),
    #[cfg(feature = "full")]
    Calibrate(super::args_box::Calibrate),
    #[cfg(feature = "full")]
    Simulate(super::args_box::Simulate),
    #[cfg(feature = "full")]
    Serve(super::args_serve::Serve),
    #[cfg(feature = "full")]
    Logbook(super::args_logbook::Logbook),
    Schema(Schema),
    #[cfg(feature = "full")]
    Completions(Completions),
    #[cfg(feature = "full")]
    Man(Man),
    /// One that is not in this build.
    #[cfg(not(feature = "full"))]
    #[command(external_subcommand)]
    NotBuilt(Vec<OsString>),
}

/// The commands that a build without the feature `full` leaves out.
#[cfg(not(feature = "full"))]
pub(crate) const LEFT_OUT: [&str; 19] = [
    "ramp",
    "progress",
    "ground",
    "ready",
    "line",
    "fit",
    "bag-test",
    "compare",
    "arm",
    "watch",
    "replay",
    "log",
    "verify",
    "calibrate",
    "simulate",
    "serve",
    "logbook",
    "completions",
    "man",
];

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

/// What an example is like.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum LikeWhat {
    /// A low practice kicker with a thick bag.
    Small,
    /// A high kicker from a platform.
    Big,
    /// A ride down on a hill's own slope, and a long bag.
    Hill,
}

impl From<LikeWhat> for Like {
    fn from(like: LikeWhat) -> Self {
        match like {
            LikeWhat::Small => Self::Small,
            LikeWhat::Big => Self::Big,
            LikeWhat::Hill => Self::Hill,
        }
    }
}

/// Text or JSON.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum TextOrJson {
    /// To read.
    Text,
    /// For programs.
    Json,
}

/// Write a commented site file to begin with
///
/// It states every required key with an example and shows all others with their default, commented out, and says of each
/// how to measure it, or to leave it.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall new                         to stdout
  landfall new --output hill.toml      to a file that is not there yet
  landfall new --like small --output yard.toml
  landfall new --output hill.toml --force")]
pub(crate) struct New {
    /// What the example is like.
    #[arg(long, value_enum, default_value_t = LikeWhat::Big)]
    pub like: LikeWhat,
    /// Write here instead of to stdout.
    #[arg(long, short, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub output: Option<PathBuf>,
    /// Replace a file that is there already.
    #[arg(long, requires = "output")]
    pub force: bool,
}

/// Say everything that is wrong with a site file
///
/// Every fault comes at once, with its line, its key, what was meant and a cure. A file without faults is answered
/// with what is worth measuring first, and how many values are assumed. Exit code 2 where there is a fault.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall check hill.toml
  landfall check --all hill.toml
  landfall check --format json hill.toml
  cat hill.toml | landfall check -")]
pub(crate) struct Check {
    /// Site file; `-` reads stdin.
    #[arg(value_hint = ValueHint::FilePath)]
    pub site: PathBuf,
    /// List every value that is assumed.
    #[arg(long)]
    pub all: bool,
    /// Form of the answer.
    #[arg(long, value_enum, default_value_t = TextOrJson::Text)]
    pub format: TextOrJson,
}

/// Compute the whole report of a site
///
/// The ride down, the flight, where landings fall, where the bag should stand, the air supply, the touch-down, the
/// pressures to ride between, the winds to hold in, and what to change first.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall plan --demo
  landfall plan hill.toml --format json --output hill.json
  landfall plan hill.toml --report hill.html
  landfall plan hill.toml --samples 10000000 --seed 7

Exit code 1: a finding of level stop. It says which limit is broken and what was tried to mend it.")]
pub(crate) struct Plan {
    #[command(flatten)]
    pub site: SiteArg,
    /// Form of the report.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Write the report with its pictures here as well: one HTML file that needs nothing else, to read on a screen
    /// or a phone and to print on A4 or Letter.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub report: Option<PathBuf>,
    /// Say everything on the screen: all figures, notes, assumed values and cautions.
    #[arg(long)]
    pub full: bool,
    #[command(flatten)]
    pub sampling: Sampling,
    #[command(flatten)]
    pub output: Output,
}

/// Make the card for the fence
///
/// One page to print in black and white: start marks, pressures, seconds between riders, who rides, winds to hold in,
/// what a power cut leaves, who to tell, the cautions. As HTML on stdout, or into a file.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall card hill.toml --output card.html
  landfall card --demo > card.html

Exit code 1: a finding of level stop, which then stands on the card before all limits.")]
pub(crate) struct Card {
    #[command(flatten)]
    pub site: SiteArg,
    #[command(flatten)]
    pub sampling: Sampling,
    #[command(flatten)]
    pub output: Output,
}

/// Find how high the roll-in must be, and compare take-offs
///
/// Give a wanted air time, apex or landing point. Take-offs of the same height are compared over their radius: a
/// larger radius makes a slacker lip.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall size hill.toml --air-time \"1.2 s\"
  landfall size hill.toml --apex \"2 m\" --lowest \"1 m\" --highest \"8 m\"
  landfall size hill.toml --landing \"9 m\" --radius \"3 m..7 m/0.5 m\"
  landfall size hill.toml --landing \"30 ft\" --radius \"10 ft..24 ft/8\" --format csv

A range is FROM..TO/COUNT, FROM..TO/STEP with the step's unit, or a list of values with commas.
Air time runs from the release to the contact; the apex is the highest centre of mass above the
lip; the landing point is measured from the lip, horizontally.
Exit code 1: no start height between the limits gives the mean rider what is wanted.")]
#[group(id = "goal", required = true, multiple = false, args = ["air_time", "apex", "landing"])]
pub(crate) struct Size {
    #[command(flatten)]
    pub site: SiteArg,
    /// Wanted time in the air, such as "1.2 s".
    #[arg(long, value_name = "TIME", value_parser = time)]
    pub air_time: Option<f64>,
    /// Wanted height of the centre of mass above the lip, such as "2 m".
    #[arg(long, value_name = "HEIGHT", value_parser = length)]
    pub apex: Option<f64>,
    /// Wanted landing point from the lip, such as "9 m".
    #[arg(long, value_name = "DISTANCE", value_parser = length)]
    pub landing: Option<f64>,
    /// Lowest start height to look at: the platform's lower limit.
    #[arg(long, value_name = "HEIGHT", default_value = "0.5 m", value_parser = length)]
    pub lowest: f64,
    /// Highest start height to look at: the platform's upper limit.
    #[arg(long, value_name = "HEIGHT", default_value = "12 m", value_parser = length)]
    pub highest: f64,
    /// Radii of the take-offs to compare; by default nine about the site's own.
    #[arg(long, value_name = "RANGE")]
    pub radius: Option<String>,
    /// Form of the answer.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    #[command(flatten)]
    pub output: Output,
}

/// Find where the bag should stand and where a rider can still stop
///
/// The best gap and offset, the band of gaps that keep to the wanted chance of a miss, what a ride that comes up short
/// hits, and the last place from which a rider still stops before the take-off. Exit code 1: the bag stands outside
/// the band, or there is none.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall place hill.toml
  landfall place --demo --format json")]
pub(crate) struct Place {
    #[command(flatten)]
    pub site: SiteArg,
    /// Form of the answer.
    #[arg(long, value_enum, default_value_t = TextOrJson::Text)]
    pub format: TextOrJson,
    #[command(flatten)]
    pub sampling: Sampling,
    #[command(flatten)]
    pub output: Output,
}

/// Compute the air supply alone
///
/// Where blowers and openings balance, what the blowers must deliver to sit in the middle of the maker's range, how
/// long filling takes, how the pressure falls without power. `bag.gap` may be left out; what hangs on where a rider
/// lands is then left out too. Exit code 1: the operating pressure is outside the maker's range.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall air hill.toml
  landfall air --demo --format json")]
pub(crate) struct Air {
    #[command(flatten)]
    pub site: SiteArg,
    /// Form of the answer.
    #[arg(long, value_enum, default_value_t = TextOrJson::Text)]
    pub format: TextOrJson,
    #[command(flatten)]
    pub output: Output,
}

/// Vary one or two keys of the site file and tabulate results
///
/// One row a point, in order, as soon as it is computed.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall sweep --demo --vary \"bag.gap=0 m..3 m/7\" --show placement.miss_now
  landfall sweep hill.toml --vary \"roll_in.start_height=4..7 m/0.5 m\" --show flight.along_m
  landfall sweep hill.toml --vary \"takeoff.radius=4 m..8 m/5\" --vary \"wind.along=-3 m/s..3 m/s/3\" \\
      --show ride.peak_load_g,flight.outcome --format csv

RANGE is FROM..TO/COUNT, FROM..TO/STEP with the step's unit, or values with commas.
The keys to show are those of `landfall plan --format json` with dots between; a whole part such
as `flight` shows all its keys, `placement.stop_lines.0.before_foot_m` one element of a list.
Only what the shown keys need is computed: without a sampled key a point takes milliseconds.
With two keys the second varies fastest. A point that cannot be computed gives empty cells and a
message. Exit code 2: no point could be computed. Limits are not judged; show findings to see them.")]
pub(crate) struct Sweep {
    #[command(flatten)]
    pub site: SiteArg,
    /// Key of the site file and its range; give it twice to vary two.
    #[arg(long, value_name = "KEY=RANGE", required = true, num_args = 1)]
    pub vary: Vec<Vary>,
    /// Keys of the results, with commas.
    #[arg(long, value_name = "KEY,…", required = true, value_delimiter = ',', num_args = 1)]
    pub show: Vec<String>,
    /// Form of the table.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    #[command(flatten)]
    pub sampling: Sampling,
    #[command(flatten)]
    pub output: Output,
}

/// Print the JSON Schema of the site file or of the results
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall schema site > site.schema.json
  landfall schema results")]
pub(crate) struct Schema {
    /// Of what.
    #[arg(value_enum)]
    pub of: SchemaOf,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum SchemaOf {
    /// The site file, taken from TOML to JSON as it stands.
    Site,
    /// What `landfall plan --format json` prints.
    Results,
}

/// Print a shell's completions
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall completions bash > ~/.local/share/bash-completion/completions/landfall
  landfall completions zsh > ~/.zfunc/_landfall
  landfall completions fish > ~/.config/fish/completions/landfall.fish")]
#[cfg(feature = "full")]
pub(crate) struct Completions {
    /// The shell.
    #[arg(value_enum)]
    pub shell: Shell,
}

/// Print a manual page, or write all of them
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall man | man -l -
  landfall man plan
  landfall man --folder ~/.local/share/man/man1")]
#[cfg(feature = "full")]
pub(crate) struct Man {
    /// The command; without it the page of landfall itself.
    #[arg(conflicts_with = "folder")]
    pub of: Option<String>,
    /// Write the pages of all commands into this folder.
    #[arg(long, value_hint = ValueHint::DirPath)]
    pub folder: Option<PathBuf>,
}

pub(super) fn length(text: &str) -> Result<f64, String> {
    parse_quantity(text, Dimension::Length)
        .map(|q| q.si)
        .map_err(|e| format!("{e}; write it as \"2 m\" or \"6 ft 6 in\""))
}

pub(super) fn time(text: &str) -> Result<f64, String> {
    parse_quantity(text, Dimension::Time).map(|q| q.si).map_err(|e| format!("{e}; write it as \"1.2 s\""))
}
