//! The arguments of the commands that learn from measurements.

use std::path::PathBuf;

use clap::ValueHint;
use landfall::site::{Dimension, parse_quantity};

use super::args::{Output, TextOrJson};

macro_rules! columns_of_runs {
    () => {
        "\
Columns, each with its unit behind the name (_m _cm _ft _in, _mps _kmh _mph, _s _ms, _kg _lb); any
may be missing and any cell blank:
  run rider note date         texts                 rider_mass
  start_height                above the take-off's foot, or
  start_before_foot           along the surface     push_off
  split_time, split_frames    from mark_1_before_foot (blank: the start) to mark_2_before_foot
                              (0: the take-off's foot), along the surface
  lip_speed                   of the rider's middle; lip_speed_method radar, video or gps
  air_time, air_frames        from the lip to the touch-down; frame_rate, or --fps
  landing_along, landing_across   from the bag's front edge; from its centre line, left positive
  wind_along, wind_across     tail wind and wind from the right positive
  excluded, reason            yes, and why
A standard deviation goes into push_off_sd, split_time_sd, lip_speed_sd, air_time_sd,
landing_along_sd, landing_across_sd; where none stands one is assumed, and frames have their own."
    };
}

/// Fit rolling resistance, drag, carry, pop and scatter to measured runs
///
/// The site's values and standard deviations are where it begins; the runs move them as far as they tell. What is the
/// same in all runs is told apart from what scatters between them, runs that do not go with the others are named, and
/// what to measure next is said.
#[derive(Debug, clap::Args)]
#[command(after_help = AFTER_FIT)]
pub(crate) struct Fit {
    /// Table of runs (CSV); `-` reads stdin.
    #[arg(value_hint = ValueHint::FilePath, required_unless_present_any = ["demo", "frames"])]
    pub runs: Option<PathBuf>,
    /// Site file.
    #[arg(value_hint = ValueHint::FilePath, required_unless_present_any = ["demo", "frames"])]
    pub site: Option<PathBuf>,
    /// The embedded invented site, and its runs where no table is named.
    #[arg(long, conflicts_with = "site")]
    pub demo: bool,
    /// Only the runs of this rider.
    #[arg(long, value_name = "NAME")]
    pub rider: Option<String>,
    /// Frames a second of the video, for columns that count frames.
    #[arg(long, value_name = "RATE", value_parser = rate)]
    pub fps: Option<f64>,
    /// Only turn counted frames into times with their uncertainty; needs --fps.
    #[arg(long, value_name = "N,…", value_delimiter = ',', num_args = 1, requires = "fps", conflicts_with_all = ["runs", "site", "demo", "write"])]
    pub frames: Vec<u32>,
    #[command(flatten)]
    pub change: Change,
    /// Form of the answer.
    #[arg(long, value_enum, default_value_t = TextOrJson::Text)]
    pub format: TextOrJson,
    #[command(flatten)]
    pub output: Output,
}

/// Whether the site file is changed, and the day that is noted in it.
#[derive(Debug, clap::Args)]
pub(crate) struct Change {
    /// Put what was learnt into the site file; its comments and order stay.
    #[arg(long, conflicts_with = "demo")]
    pub write: bool,
    /// Day to note in the site file; by default today's by the clock (UTC).
    #[arg(long, value_name = "YYYY-MM-DD", requires = "write", value_parser = day)]
    pub date: Option<String>,
}

const AFTER_FIT: &str = concat!(
    "Examples:
  landfall fit --demo
  landfall fit day.csv hill.toml --fps 59.94
  landfall fit day.csv hill.toml --rider Ana --write --date 2026-05-02
  landfall fit --frames 74,75,81 --fps 60

",
    columns_of_runs!(),
    "

Exit code 1: the runs do not make it sure (too few, an outlier, far from the site's values); why is
said first. --write writes only what the runs told, and the same runs only once.",
);

/// Compare today's runs with the plan, run by run
///
/// Is the roll-in slower or faster, do landings move along or across? A sequential test that may be looked at after
/// every run: with nothing changed the chance of any warning in a whole session is at most --alpha, and where a shift of
/// the stated size is there from the first run on, the chance of being told that it is not is at most --beta.
#[derive(Debug, clap::Args)]
#[command(after_help = AFTER_COMPARE)]
pub(crate) struct Compare {
    /// Table of runs (CSV), as for `fit`; `-` reads stdin row by row and answers after each.
    #[arg(value_hint = ValueHint::FilePath, required_unless_present = "demo")]
    pub runs: Option<PathBuf>,
    /// Site file.
    #[arg(value_hint = ValueHint::FilePath, required_unless_present = "demo")]
    pub site: Option<PathBuf>,
    /// The embedded invented site, and a wet day where no table is named.
    #[arg(long, conflicts_with = "site")]
    pub demo: bool,
    /// Frames a second of the video, for columns that count frames.
    #[arg(long, value_name = "RATE", value_parser = rate)]
    pub fps: Option<f64>,
    /// Change of the speed at the lip to look for.
    #[arg(long, value_name = "SPEED", default_value = "0.4 m/s", value_parser = speed)]
    pub speed_shift: f64,
    /// Move of the landing to look for, along and across.
    #[arg(long, value_name = "LENGTH", default_value = "0.6 m", value_parser = length)]
    pub landing_shift: f64,
    /// Chance of a false warning in a session, at most.
    #[arg(long, value_name = "CHANCE", default_value_t = 0.02, value_parser = chance)]
    pub alpha: f64,
    /// Chance of calling a shift of that size absent, at most.
    #[arg(long, value_name = "CHANCE", default_value_t = 0.1, value_parser = chance)]
    pub beta: f64,
    /// Form of the answer.
    #[arg(long, value_enum, default_value_t = TextOrJson::Text)]
    pub format: TextOrJson,
    #[command(flatten)]
    pub output: Output,
}

const AFTER_COMPARE: &str = concat!(
    "Examples:
  landfall compare --demo
  landfall compare today.csv hill.toml
  tail -n +1 -f today.csv | landfall compare - hill.toml

",
    columns_of_runs!(),
    "

Fit first: the less the plan's own values are known, the more runs it takes to see a change.
Exit code 1: a warning.",
);

/// Fit dish radius, vent, leak and stretch to drops and a deflation
///
/// A known mass dropped from known heights onto the bag, with the depth or the peak pressure, tells the dish radius; a
/// timed fall of the pressure with the blower off tells leak and stretch.
#[derive(Debug, clap::Args)]
#[command(after_help = AFTER_DROP)]
pub(crate) struct DropTest {
    /// Table of drops (CSV).
    #[arg(value_hint = ValueHint::FilePath, required_unless_present_any = ["demo", "deflation"])]
    pub drops: Option<PathBuf>,
    /// Site file.
    #[arg(value_hint = ValueHint::FilePath, required_unless_present = "demo")]
    pub site: Option<PathBuf>,
    /// The embedded invented site, and its drops and deflation where no table is named.
    #[arg(long, conflicts_with = "site")]
    pub demo: bool,
    /// Recording of a deflation with the blower off (CSV with time_s and gauge_pa).
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub deflation: Option<PathBuf>,
    /// Recording of the box during the drops; peaks are taken at each drop's log_time.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub log: Option<PathBuf>,
    /// Pressure measured with the blowers running and nobody on the bag.
    #[arg(long, value_name = "PRESSURE", value_parser = pressure)]
    pub settled: Option<f64>,
    #[command(flatten)]
    pub change: Change,
    /// Form of the answer.
    #[arg(long, value_enum, default_value_t = TextOrJson::Text)]
    pub format: TextOrJson,
    #[command(flatten)]
    pub output: Output,
}

const AFTER_DROP: &str = "\
Examples:
  landfall drop-test --demo
  landfall drop-test drops.csv hill.toml --deflation off.csv --settled \"1.18 kPa\"
  landfall drop-test drops.csv hill.toml --log box.csv --write

Columns of the drops, each with its unit behind the name:
  drop            a text            excluded, reason    yes, and why
  drop_mass       what is dropped   drop_height         its underside above the bag's top
  start_pressure  before the drop; blank: the site's operating pressure
  blower          yes: running (blank), no: off and its supply lost
  depth, depth_sd                  how far it sank
  peak_pressure, peak_pressure_sd  highest pressure
  landing_along   from the front edge; blank: the middle
  log_time        when it met the bag in the recording of --log
A person is no drop mass.
Exit code 1: the tests do not make it sure; why is said first.";

fn rate(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(rate) if (5.0..=20e3).contains(&rate) => Ok(rate),
        _ => Err("a number of frames a second from 5 to 20000".to_owned()),
    }
}

fn chance(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(chance) if (1e-6..=0.5).contains(&chance) => Ok(chance),
        _ => Err("a chance from 0.000001 to 0.5".to_owned()),
    }
}

fn day(text: &str) -> Result<String, String> {
    let parts: Vec<&str> = text.split('-').collect();
    let wanted = [4, 2, 2];
    let digits = parts.len() == 3
        && parts.iter().zip(wanted).all(|(part, n)| part.len() == n && part.bytes().all(|b| b.is_ascii_digit()));
    let number = |i: usize| parts.get(i).and_then(|part| part.parse::<u32>().ok()).unwrap_or(0);
    if digits && (1..=12).contains(&number(1)) && (1..=31).contains(&number(2)) {
        Ok(text.to_owned())
    } else {
        Err("write it as 2026-05-02".to_owned())
    }
}

fn positive(text: &str, dimension: Dimension, example: &str) -> Result<f64, String> {
    match parse_quantity(text, dimension) {
        Ok(quantity) if quantity.si > 0.0 => Ok(quantity.si),
        Ok(_) => Err(format!("it must be above 0; write it as \"{example}\"")),
        Err(error) => Err(format!("{error}; write it as \"{example}\"")),
    }
}

fn speed(text: &str) -> Result<f64, String> {
    positive(text, Dimension::Speed, "0.3 m/s")
}

fn length(text: &str) -> Result<f64, String> {
    positive(text, Dimension::Length, "0.5 m")
}

fn pressure(text: &str) -> Result<f64, String> {
    positive(text, Dimension::Pressure, "1.1 kPa")
}
