//! The arguments of the commands for the box.

use std::path::PathBuf;

use clap::ValueHint;
use landfall_box::sources::Typed;
use landfall_plan::site::{Dimension, Gauge, Sensor, parse_quantity};

use super::args_shared::{Format, Output, Sampling, SiteArg, TextOrJson, time};

/// A part that a box measures with.
fn sensor(name: &str) -> Result<Sensor, String> {
    Sensor::ALL
        .iter()
        .copied()
        .find(|part| part.word() == name)
        .ok_or_else(|| format!("one of {}", Sensor::WORDS.join(", ")))
}

/// The unit of a gauge.
fn gauge(name: &str) -> Result<Gauge, String> {
    let found = Gauge::ALL.iter().find(|gauge| gauge.word().eq_ignore_ascii_case(name.trim()));
    found.copied().ok_or_else(|| format!("one of {}", Gauge::WORDS.join(", ")))
}

/// A site as the box tells it: eight hexadecimal digits.
fn site_id(text: &str) -> Result<u32, String> {
    u32::from_str_radix(text, 16).map_err(|_| "write it as the box tells it, such as 1a2b3c4d".to_owned())
}

fn air_pressure(text: &str) -> Result<f64, String> {
    parse_quantity(text, Dimension::Pressure).map(|q| q.si).map_err(|e| format!("{e}; write it as \"845 hPa\""))
}

fn height(text: &str) -> Result<f64, String> {
    match parse_quantity(text, Dimension::Length) {
        Ok(height) if (0.01..=2.0).contains(&height.si) => Ok(height.si),
        Ok(_) => Err("a column between 1 cm and 2 m is meant; write it as \"300 mm\"".to_owned()),
        Err(error) => Err(format!("{error}; write it as \"300 mm\"")),
    }
}

fn air_temperature(text: &str) -> Result<f64, String> {
    parse_quantity(text, Dimension::Temperature).map(|q| q.si).map_err(|e| format!("{e}; write it as \"32 degC\""))
}

/// Compute the box's settings for a site
///
/// Shows every threshold in plain words with its reason, and writes a settings file or sends it to a box. A box takes
/// settings only while its button is held down. Exit code 1: the plan says stop, and nothing is written.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall arm hill.toml                         show what the box would go by
  landfall arm hill.toml --output hill.watch     and write the settings file
  landfall arm hill.toml --port /dev/ttyACM0     and send it to the box; hold its button down
  landfall arm --file hill.watch --port /dev/ttyACM0
  landfall arm hill.toml --today-pressure '845 hPa' --today-temperature '32 degC'
                                                 what a box would go by in this air

The box is a supplementary alarm, not a certified device.")]
pub(crate) struct Arm {
    /// Site file; `-` reads stdin.
    #[arg(value_hint = ValueHint::FilePath, required_unless_present_any = ["demo", "file"])]
    pub site: Option<PathBuf>,
    /// The embedded invented site instead of a file.
    #[arg(long, conflicts_with = "site")]
    pub demo: bool,
    /// Send this settings file instead of computing one.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath, conflicts_with_all = ["site", "demo", "output"], requires = "port")]
    pub file: Option<PathBuf>,
    /// Write the settings file here; one for another site or a newer one is not replaced.
    #[arg(long, short, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub output: Option<PathBuf>,
    /// Replace any file.
    #[arg(long, requires = "output")]
    pub force: bool,
    /// Serial port of the box.
    #[arg(long, value_name = "PORT", value_hint = ValueHint::AnyPath)]
    pub port: Option<String>,
    /// How long to wait for the button.
    #[arg(long, value_name = "TIME", default_value = "55 s", value_parser = time)]
    pub wait: f64,
    /// Sensor of the box: bridge10, bridge20, bridge30, thermal500 or barometers.
    #[arg(long, value_name = "PART", value_parser = sensor)]
    pub sensor: Option<Sensor>,
    /// Revision of the settings; a box takes none lower than its own. By default the seconds since 1970.
    #[arg(long, value_name = "N")]
    pub revision: Option<u32>,
    /// Air pressure on the spot today, not reduced to sea level: shows the thresholds as planned and today.
    #[arg(long, value_name = "PRESSURE", value_parser = air_pressure, conflicts_with = "file")]
    pub today_pressure: Option<f64>,
    /// Air temperature today, likewise.
    #[arg(long, value_name = "TEMPERATURE", value_parser = air_temperature, conflicts_with = "file", allow_negative_numbers = true)]
    pub today_temperature: Option<f64>,
    /// Form of the answer.
    #[arg(long, value_enum, default_value_t = TextOrJson::Text)]
    pub format: TextOrJson,
    #[command(flatten)]
    pub sampling: Sampling,
}

/// Follow one or more boxes
///
/// Pressure, state, what to do now, landings, time since the last landing, forecast to the stop pressure. A link that is
/// silent is said loudly. Without a terminal, one line a happening. Several boxes have one permit: it is on only with all of
/// theirs, the worst of them rules, and one that is lost or set for another jump counts as a stop.
/// Recordings hold what each step of the box was fed with and what it went by, for `landfall replay`.
/// Exit code 1: when it ended a box called stop, was lost or silent, had no settings or was set for another jump; with
/// --once a line that has ended counts as it was last heard.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall watch /dev/ttyACM0
  landfall watch /dev/ttyACM0 --record day.csv
  landfall watch /dev/ttyACM0 --site hill.toml   says so if the box is set for another jump
  landfall watch /dev/ttyACM0 --large --bell     to be read from afar, and heard
  landfall watch left=/dev/ttyACM0 right=/dev/ttyACM1 --site hill.toml --bell --record day.csv
  landfall watch left=simulated right=simulated --site hill.toml --full --do \"right: 30 s: cut for 20 s\"
                                                 two boxes on computed bags, to try it

The box is a supplementary alarm, not a certified device.")]
pub(crate) struct Watch {
    /// Serial ports, each with the box's name before it where it has one: NAME=PORT. `simulated` in the place of a port is a
    /// box on the computed bag of --site or --demo.
    #[arg(required = true, value_name = "[NAME=]PORT", value_parser = Typed::parse, value_hint = ValueHint::AnyPath)]
    pub ports: Vec<Typed>,
    /// Record to this file, or where it is taken to the next of its numbers (day.csv, day.2.csv, …); with several boxes one
    /// file each, with the box's name or -1, -2 … before its ending, and the name in each row. An older file stays.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub record: Option<PathBuf>,
    /// Show pressures as this gauge does: kPa, Pa, mbar, inH2O, mmH2O or psi. Without it in whole pascals.
    #[arg(long, value_name = "UNIT", value_parser = gauge)]
    pub gauge: Option<Gauge>,
    /// Site file of the jump that is ridden: a box that is set for another is told loudly.
    #[arg(long, value_name = "SITE", value_hint = ValueHint::FilePath)]
    pub site: Option<PathBuf>,
    /// The embedded invented site instead of a file.
    #[arg(long, conflicts_with = "site")]
    pub demo: bool,
    /// Simulated bags are at pressure at the start.
    #[arg(long)]
    pub full: bool,
    /// What happens on a simulated bag, as for `landfall simulate`: [NAME:] TIME: WHAT, for one or for all of them. May be
    /// given more than once.
    #[arg(long = "do", value_name = "HAPPENING", num_args = 1)]
    pub happenings: Vec<String>,
    /// Letters to be read from ten metres, without the trace.
    #[arg(long, conflicts_with = "plain")]
    pub large: bool,
    /// Ring the terminal's bell once a second while a siren sounds or a link is silent.
    #[arg(long)]
    pub bell: bool,
    /// Lines of text even on a terminal.
    #[arg(long)]
    pub plain: bool,
    /// A line on how things are this often, in text.
    #[arg(long, value_name = "TIME", default_value = "10 s", value_parser = time)]
    pub every: f64,
    /// End when a line goes away instead of waiting for it to come back.
    #[arg(long)]
    pub once: bool,
    /// End after this time.
    #[arg(long = "for", value_name = "TIME", value_parser = time)]
    pub length: Option<f64>,
}

/// Run a recording through the watch
///
/// Shows what the watch does with recorded pressures, or with other settings would have done. Columns: time_s, gauge_pa
/// (Pa), and where there are any fault (empty, or a word for the kind) and supply (0 or 1).
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall replay day.csv                        by what the box went by then
  landfall replay day.csv --set stop_pa=700
  landfall replay day.csv --site hill.toml
  landfall replay day.csv --site hill.toml --set bag.stop_floor=0.7 --format json
  landfall replay day.csv --settings hill.watch

A key to set is one of the site file's, or one of the settings that `landfall arm` shows in brackets.")]
pub(crate) struct Replay {
    /// Recording; `-` reads stdin.
    #[arg(value_hint = ValueHint::FilePath)]
    pub log: PathBuf,
    /// Site file that the settings are computed from. By default the recording's own are used.
    #[arg(long, value_name = "SITE", value_hint = ValueHint::FilePath)]
    pub site: Option<PathBuf>,
    /// The embedded invented site.
    #[arg(long, conflicts_with = "site")]
    pub demo: bool,
    /// Settings file instead of a site.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath, conflicts_with_all = ["site", "demo"])]
    pub settings: Option<PathBuf>,
    /// Another value: of the site file, or of the settings. May be given more than once.
    #[arg(long, value_name = "KEY=VALUE", num_args = 1)]
    pub set: Vec<String>,
    /// Sensor of the box: bridge10, bridge20, bridge30, thermal500 or barometers. By default one that reaches far enough.
    #[arg(long, value_name = "PART", value_parser = sensor)]
    pub sensor: Option<Sensor>,
    /// Zero to use where the recording does not begin on a vented bag, Pa.
    #[arg(long, value_name = "PA", default_value_t = 0.0, allow_negative_numbers = true)]
    pub zero: f32,
    /// Form of the answer.
    #[arg(long, value_enum, default_value_t = TextOrJson::Text)]
    pub format: TextOrJson,
    #[command(flatten)]
    pub sampling: Sampling,
    #[command(flatten)]
    pub output: Output,
}

/// Download and show a box's events, or put a session down as evidence
///
/// With --session a file is written that holds the last session of the box's log, its settings, both clocks, and what is
/// stated of who coached and rode. Its lines hold together by hashes: `landfall verify` names the first that was changed.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall log /dev/ttyACM0
  landfall log /dev/ttyACM0 --session saturday.session --coach Ines --rider Tom --rider Ada \\
      --trial \"red, amber, green, siren, lamp at the top\" --recording day.csv --site hill.toml
  landfall log /dev/ttyACM0 --from 120 --format csv --output box.csv
  landfall log /dev/ttyACM0 --forget 1a2b3c4d    before the box moves to another site; hold its button down")]
pub(crate) struct Log {
    /// Serial port.
    #[arg(value_hint = ValueHint::AnyPath)]
    pub port: String,
    /// First record wanted.
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub from: u32,
    /// Make the box forget this site and its settings. The log stays, and so does the highest revision that it has had.
    #[arg(long, value_name = "SITE ID", value_parser = site_id)]
    pub forget: Option<u32>,
    /// Write the last session to this file, from the end of the day before it on (or from --from), and say it in words.
    /// A file that is there stays, unless --force says so.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath, conflicts_with_all = ["forget", "format", "output"])]
    pub session: Option<PathBuf>,
    /// Who coached, as stated.
    #[arg(long, value_name = "NAME", requires = "session")]
    pub coach: Option<String>,
    /// Who rode, as stated. Once for each.
    #[arg(long, value_name = "NAME", num_args = 1, requires = "session")]
    pub rider: Vec<String>,
    /// What was seen and heard of the trial of lamps and siren before the session.
    #[arg(long, value_name = "TEXT", requires = "session")]
    pub trial: Option<String>,
    /// Anything to remember with the session.
    #[arg(long, value_name = "TEXT", requires = "session")]
    pub note: Option<String>,
    /// A recording of the session: its SHA-256 is put down with it.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath, requires = "session")]
    pub recording: Option<PathBuf>,
    /// Site file of the jump that was ridden: its name is put down, and a box that is set for another is refused.
    #[arg(long, value_name = "SITE", value_hint = ValueHint::FilePath, requires = "session")]
    pub site: Option<PathBuf>,
    /// Form of the answer.
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    #[command(flatten)]
    pub output: Output,
}

/// Hold the box's sensor against a reference, step by step
///
/// Two points: both ports open, and a column of water or another gauge. The box keeps the zero, the span, the date and the
/// reference, and multiplies every reading by the span; its button is held for that. Refused is a span further than 3 % from 1,
/// with what to look for. Exit code 1: it was refused, and nothing was stored.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall calibrate /dev/ttyACM0                          what the box keeps, and how old it is
  landfall calibrate /dev/ttyACM0 --water \"300 mm\" --temperature \"16 degC\" --name \"U-tube\"
  landfall calibrate /dev/ttyACM0 --gauge \"1.20 kPa\" --gauge-error \"5 Pa\" --name \"lent, 2026\"

The water: a clear tube bent to a U, half full; one end on the sensor's tube, the other open and lifted until the levels differ
by the height. With the blowers off and nobody near the bag: the box takes the column for a bag, and sounds the siren when
it comes off. End the day at the box afterwards (hold the button until red is steady).

  span = pressure / (reading with it - reading with open ports)
  pressure of the water = density x 9.80665 m/s2 x height between the levels")]
pub(crate) struct Calibrate {
    /// Serial port.
    #[arg(value_hint = ValueHint::AnyPath)]
    pub port: String,
    /// A column of water of this height between its two levels.
    #[arg(long, value_name = "HEIGHT", value_parser = height, conflicts_with = "gauge")]
    pub water: Option<f64>,
    /// The water's temperature.
    #[arg(long, value_name = "TEMPERATURE", default_value = "20 degC", value_parser = air_temperature)]
    pub temperature: f64,
    /// Another gauge on the same tube, and what it shows.
    #[arg(long, value_name = "PRESSURE", value_parser = air_pressure, requires = "gauge_error")]
    pub gauge: Option<f64>,
    /// How far off that gauge may be, as its certificate says.
    #[arg(long, value_name = "PRESSURE", value_parser = air_pressure, requires = "gauge")]
    pub gauge_error: Option<f64>,
    /// What the reference is called; the box keeps 16 bytes of it.
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    pub name: String,
    /// Take the calibration out: span 1.
    #[arg(long, conflicts_with_all = ["water", "gauge"])]
    pub clear: bool,
    /// How long to wait for the button.
    #[arg(long, value_name = "TIME", default_value = "55 s", value_parser = time)]
    pub wait: f64,
}

/// Check that a session's record is as it was written
///
/// Names the first line that is broken, changed, missing or added. The hash on the paper sheet tells whether it is the same
/// file at all: without it the whole file may have been written anew. Exit code 1: the file is not as it was written.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall verify saturday.session
  landfall verify saturday.session --hash \"7f3a 09bc 12de 4455\"")]
pub(crate) struct Verify {
    /// Record of a session, as `landfall log --session` writes it; `-` reads stdin.
    #[arg(value_hint = ValueHint::FilePath)]
    pub file: PathBuf,
    /// The last hash as it was noted on paper.
    #[arg(long, value_name = "HASH")]
    pub hash: Option<String>,
}

/// Run a box on a computed bag
///
/// The box's own program on the site's bag: filling, a landing every session.interval while the permit is on, noise, and
/// what a script has go wrong. In real time on a pseudo-terminal that `landfall watch` and `landfall arm` may open, or
/// with --fast to a recording. Noise and gusts are assumed.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall simulate --demo                       prints the pseudo-terminal's name; then type what is to happen
  landfall simulate --demo --fast --for \"60 min\" --output day.csv
  landfall simulate --demo --fast --do \"5 min: cut for 20 s\" --do \"8 min: sensor frozen for 5 s\"
  landfall simulate --demo --bare                a box without settings, to try `landfall arm --port` on

A happening is TIME: WHAT [VALUE] [for TIME]; a script has one a line, with # before remarks:
  cut            blowers' supply off              stall          blowers stand, supply on
  leak 40 cm2    a hole in the bag                hold           the box's button is down
  sensor WORD    no_answer, bus, corrupt, wrong_part, broken, out_of_range, not_ready, frozen, noisy,
                 jumps, beyond
  hang           the box's program stands         reset WORD     power, brown_out, watchdog
  land           a landing whatever the lamp says pause          nobody rides
  top_away       the line to the board at the top is cut, where the site has one
Where the site file names such a part of the box:
  welded         the permit's relay               apart 60 Pa    the second sensor reads so much more
  still 2        a blower, the others hold        battery 11.8 V
In real time a happening without its TIME, typed and ended with Enter, begins at once.")]
pub(crate) struct Simulate {
    #[command(flatten)]
    pub site: SiteArg,
    /// As fast as it goes, to a recording instead of a pseudo-terminal.
    #[arg(long)]
    pub fast: bool,
    /// Times real time on the pseudo-terminal; 0 as fast as the reader takes it, beginning when it asks.
    #[arg(long, value_name = "N", default_value_t = 1.0, conflicts_with = "fast")]
    pub speed: f64,
    /// End after this time of the box. By default 30 min with --fast, else never.
    #[arg(long = "for", value_name = "TIME", value_parser = time)]
    pub length: Option<f64>,
    /// A happening.
    #[arg(long = "do", value_name = "HAPPENING", num_args = 1)]
    pub happenings: Vec<String>,
    /// File of happenings.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub script: Option<PathBuf>,
    /// The bag is at pressure at the start, and the box has its zero from an earlier day.
    #[arg(long)]
    pub full: bool,
    /// Nobody rides.
    #[arg(long)]
    pub empty: bool,
    /// The box has no settings.
    #[arg(long)]
    pub bare: bool,
    /// Sensor of the box: bridge10, bridge20, bridge30, thermal500 or barometers. By default one that reaches far enough.
    #[arg(long, value_name = "PART", value_parser = sensor)]
    pub sensor: Option<Sensor>,
    #[command(flatten)]
    pub sampling: Sampling,
    #[command(flatten)]
    pub output: Output,
}
