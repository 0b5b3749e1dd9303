//! The arguments of the commands that write a site down and plan it.

use std::path::PathBuf;

use clap::{ValueEnum, ValueHint};
use landfall_plan::site::Like;

use super::args_shared::{Format, Output, Sampling, SiteArg, TextOrJson, length, time};
use super::range::Vary;

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
