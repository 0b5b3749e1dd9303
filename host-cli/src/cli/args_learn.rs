//! The arguments of the commands that learn from measurements.

use std::path::PathBuf;

use clap::ValueHint;
use landfall_plan::site::{Dimension, parse_quantity};

use super::args_shared::{Output, TextOrJson};

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

/// Measure how a bag gives way: an afternoon, a board, two loads and a phone
///
/// A dead load sinks into the bag while its blowers are off; gauge and depth tell how hard the bag pushes back at each
/// depth. All parts are optional, and each narrows what is not known. `--sheet` prints the recipe.
#[derive(Debug, clap::Args)]
#[command(after_help = AFTER_BAG)]
pub(crate) struct BagTest {
    /// Site file.
    #[arg(value_hint = ValueHint::FilePath, required_unless_present_any = ["demo", "sheet"])]
    pub site: Option<PathBuf>,
    /// The embedded invented site, and its measurements where no table is named.
    #[arg(long, conflicts_with = "site")]
    pub demo: bool,
    /// Loaded deflation (CSV: time, gauge, depth); may be given several times, each with its --mass.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub loaded: Vec<PathBuf>,
    /// Mass of the load with its board, in the order of the --loaded.
    #[arg(long, value_name = "MASS", value_parser = mass)]
    pub mass: Vec<f64>,
    /// Empty deflation (CSV: time, gauge), or a recording of one.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub deflation: Option<PathBuf>,
    /// What the gauge shows with the blowers on and nobody on the bag.
    #[arg(long, value_name = "PRESSURE", value_parser = pressure)]
    pub settled: Option<f64>,
    /// Dropped loads (CSV) to hold against the result.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub drops: Option<PathBuf>,
    /// What `watch --record` wrote: the falls and the landings in it are found.
    #[arg(long, value_name = "SESSION", value_hint = ValueHint::FilePath)]
    pub recording: Option<PathBuf>,
    /// By how much the box's clock is ahead of the film's; else found from the load breaking away.
    #[arg(long, value_name = "TIME", value_parser = seconds, allow_hyphen_values = true, requires = "recording")]
    pub offset: Option<f64>,
    /// Mass of the rider whose landings the recording holds, as it lands (with the bike where that lands too).
    #[arg(long, value_name = "MASS", value_parser = mass, requires = "recording")]
    pub rider_mass: Option<f64>,
    /// Error of a filmed gauge's readings, in % of a reading [default: 2]
    #[arg(long, value_name = "PERCENT", value_parser = percent)]
    pub gauge_error: Option<f64>,
    /// Error of the gauge's zero [default: 12.5 Pa, or the box's sensor's]
    #[arg(long, value_name = "PRESSURE", value_parser = pressure)]
    pub zero_error: Option<f64>,
    /// Error of a filmed depth [default: 2.5 cm]
    #[arg(long, value_name = "LENGTH", value_parser = length)]
    pub depth_error: Option<f64>,
    /// Error of the load's mass, in % [default: 1]
    #[arg(long, value_name = "PERCENT", value_parser = percent)]
    pub mass_error: Option<f64>,
    /// Write the recipe for the afternoon, two pages to print (HTML), and nothing else.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath, conflicts_with_all = ["loaded", "deflation", "drops", "recording", "write"])]
    pub sheet: Option<PathBuf>,
    #[command(flatten)]
    pub change: Change,
    /// Write it although the test is not sure.
    #[arg(long, requires = "write")]
    pub although_not_sure: bool,
    /// Form of the answer.
    #[arg(long, value_enum, default_value_t = TextOrJson::Text)]
    pub format: TextOrJson,
    #[command(flatten)]
    pub output: Output,
}

const AFTER_BAG: &str = "\
Examples:
  landfall bag-test --sheet sheet.html
  landfall bag-test --demo
  landfall bag-test hill.toml --loaded water.csv --mass \"82 kg\" --settled \"1.18 kPa\"
  landfall bag-test hill.toml --loaded a.csv --mass \"82 kg\" --loaded b.csv --mass \"200 kg\" --deflation off.csv --write
  landfall bag-test hill.toml --recording session.csv --loaded film.csv --mass \"180 lb\"

Columns, each with its unit behind the name:
  --loaded     time_s   gauge_pa, gauge_kpa, gauge_mbar, gauge_inh2o or gauge_psi   depth_m, depth_cm
               or depth_in (below a straight lath that lies on the crest). The gauge may be left out where
               --recording has it; gauge and depth may stand on different lines.
  --deflation  time_s and the gauge
  --drops      drop, drop_mass, drop_height (its underside above the top), depth; start_pressure,
               blower (yes or no), landing_along, log_time (in the recording), excluded and reason

A person is no load for a soft bag.
Exit code 1: not sure; why is said first, and --write then writes nothing without --although-not-sure.";

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

fn mass(text: &str) -> Result<f64, String> {
    positive(text, Dimension::Mass, "80 kg")
}

fn seconds(text: &str) -> Result<f64, String> {
    let (sign, size) = text.strip_prefix('-').map_or((1.0, text), |size| (-1.0, size));
    match parse_quantity(size, Dimension::Time) {
        Ok(quantity) => Ok(sign * quantity.si),
        Err(error) => Err(format!("{error}; write it as \"12.4 s\"")),
    }
}

fn percent(text: &str) -> Result<f64, String> {
    match text.trim_end_matches(['%', ' ']).parse::<f64>() {
        Ok(percent) if (0.0..=30.0).contains(&percent) => Ok(0.01 * percent),
        _ => Err("a number of percent from 0 to 30, such as 2".to_owned()),
    }
}
