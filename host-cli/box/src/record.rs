//! Recordings: comma-separated values, one row a step of the box.
//!
//! `time_s` and `gauge_pa` (before zeroing) are needed. `fault` (empty, or a word for the kind), `supply` (0 or 1),
//! `button` (0 or 1) and `start` (a word for why the box started, on the first row after it) are used where they are
//! there; `wall` is the laptop's clock (UTC) when the row came, where it was stated; `box` is the box's name, where it has
//! one, and rows of two boxes are no recording; the rest is for reading. What the
//! box went by stands in lines of their own between the rows, `# in force from TIME s: {…}`, at the beginning and at each
//! change. [`replay`](super::replay) takes what [`Recorder`] writes, and any other table with
//! the first two columns.

use std::io::{self, Write};
use std::time::{Duration, SystemTime};

use landfall_core::watch::Thresholds;
use landfall_core::watch::{Fault, GaugePa, Reason, ResetCause, SensorFault, State, WatchSettings, What};
use landfall_firmware::link::{Entry, Fed, FromBox, Noted, Status};

use landfall_plan::outside;
use landfall_tables::{Kind, torn};

/// The columns of a recording.
pub const COLUMNS: &str =
    "time_s,gauge_pa,fault,supply,button,start,state,reason,permit,siren,landings,forecast_s,wall";
/// What begins a line with what the box goes by.
const IN_FORCE: &str = "# in force from ";

/// One row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// Time, s.
    pub time_s: f64,
    /// Reading before zeroing, or why there is none.
    pub reading: Result<GaugePa, SensorFault>,
    /// Supply, where stated.
    pub supply: Option<bool>,
    /// The button is down.
    pub button: bool,
    /// The box started with this row.
    pub start: Option<ResetCause>,
}

/// A whole recording.
#[derive(Clone, Debug, Default)]
pub struct Recording {
    /// In the order of time.
    pub rows: Vec<Row>,
    /// There is a supply column with a value in it.
    pub has_supply: bool,
    /// What the box went by, from which time on, s.
    pub in_force: Vec<(f64, WatchSettings)>,
    /// To know.
    pub notes: Vec<String>,
}

/// Everything that is wrong with a recording.
#[derive(Debug)]
pub struct BadRecording {
    /// Name of the file.
    pub file: String,
    /// Each with line and column.
    pub faults: Vec<String>,
}

impl std::fmt::Display for BadRecording {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let file = outside::plain(&self.file);
        self.faults
            .iter()
            .try_for_each(|fault| writeln!(f, "{file}: {}", outside::short(&outside::lines(fault), 400)))?;
        let faults =
            if self.faults.len() == 1 { "1 fault".to_owned() } else { format!("{} faults", self.faults.len()) };
        write!(f, "{faults} in the recording; nothing was computed")
    }
}

impl std::error::Error for BadRecording {}

/// The word of a reset cause.
pub const fn cause_word(cause: ResetCause) -> &'static str {
    match cause {
        ResetCause::PowerOn => "power_on",
        ResetCause::BrownOut => "brown_out",
        ResetCause::Watchdog => "watchdog",
        ResetCause::Software => "software",
        ResetCause::Unknown => "unknown",
    }
}

fn cause_of(word: &str) -> Option<ResetCause> {
    [ResetCause::PowerOn, ResetCause::BrownOut, ResetCause::Watchdog, ResetCause::Software, ResetCause::Unknown]
        .into_iter()
        .find(|cause| cause_word(*cause) == word)
}

/// The kind that a word of the fault column stands for; another word is a sensor that gives nothing.
fn fault_of(word: &str) -> (SensorFault, bool) {
    let word = word.to_ascii_lowercase().replace([' ', '-'], "_");
    if let Some(fault) = SensorFault::from_word(&word) {
        return (fault, true);
    }
    match word.as_str() {
        "no_answer" | "silent" | "silence" => (SensorFault::Nack, true),
        "bus" | "stuck" | "timeout" => (SensorFault::BusStuck, true),
        "corrupt" | "checksum" => (SensorFault::Crc, true),
        "range" => (SensorFault::OutOfRange, true),
        "wrong_part" | "broken" => (SensorFault::Identity, true),
        "frozen" | "old" => (SensorFault::Stale, true),
        _ => (SensorFault::NotReady, false),
    }
}

/// Reads a recording; every fault at once, with its line and column.
///
/// # Errors
/// [`BadRecording`].
pub fn parse(text: &str, file: &str) -> Result<Recording, BadRecording> {
    let mut faults = Vec::new();
    let bad = |faults| BadRecording { file: file.to_owned(), faults };
    let torn::Mended { text, note } = torn::mended(text.trim_start_matches('\u{feff}'));
    let mut reader =
        csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).comment(Some(b'#')).from_reader(text.as_bytes());
    let headers = match reader.headers() {
        Ok(headers) => headers.clone(),
        Err(error) => return Err(bad(vec![format!("line 1: {error}")])),
    };
    let swapped = match Kind::of(text.as_bytes()) {
        Some(Kind::Site) => Some("a site file"),
        Some(Kind::Measured) => Some("a table of runs or drops"),
        Some(Kind::Settings) => Some("the settings of a box"),
        Some(Kind::Json) => Some("JSON, such as the results of a plan"),
        _ => None,
    };
    if let Some(what) = swapped {
        return Err(bad(vec![format!(
            "line 1: this is {what}, not a recording; give what watch --record wrote, or a table with the headings time_s and gauge_pa; perhaps two file names are swapped"
        )]));
    }
    let column = |name: &str| headers.iter().position(|header| header == name);
    for name in ["time_s", "gauge_pa"] {
        match headers.iter().filter(|header| *header == name).count() {
            1 => {}
            0 => faults.push(format!(
                "line 1, column {name}: is missing; the first line names the columns, such as time_s,gauge_pa"
            )),
            _ => faults.push(format!("line 1, column {name}: is there more than once")),
        }
    }
    let (Some(time), Some(gauge), true) = (column("time_s"), column("gauge_pa"), faults.is_empty()) else {
        return Err(bad(faults));
    };
    let others = ["fault", "supply", "button", "start"].map(column);
    let mut recording =
        Recording { notes: note.into_iter().collect(), in_force: in_force(text, &mut faults), ..Recording::default() };
    let mut strange: Vec<String> = Vec::new();
    let mut last_s: Option<f64> = None;
    let (box_column, mut of_box): (_, Option<String>) = (column("box"), None);
    for record in reader.records() {
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                faults.push(format!("{error}"));
                continue;
            }
        };
        let line = record.position().map_or(0, csv::Position::line);
        let cell = |column: Option<usize>| column.and_then(|column| record.get(column)).unwrap_or("");
        if let Some(column) = box_column {
            let name = cell(Some(column));
            if let Some(first) = of_box.as_deref().filter(|first| *first != name) {
                let told = format!("{name:?} after {first:?}: a recording is of one box; take the rows of one of them");
                faults.push(format!("line {line}, column box: {told}"));
                break;
            }
            of_box.get_or_insert_with(|| name.to_owned());
        }
        let mut fault = |name: &str, text: String| faults.push(format!("line {line}, column {name}: {text}"));
        if record.len() != headers.len() {
            let text = format!("the row has {} values and the first line names {}", record.len(), headers.len());
            fault(headers.get(record.len().min(headers.len().saturating_sub(1))).unwrap_or("time_s"), text);
            continue;
        }
        let time_s = match cell(Some(time)).parse::<f64>() {
            Ok(t) if t.is_finite() && t.abs() < 1e10 => Some(t),
            _ => {
                fault("time_s", format!("{:?} is not a number of seconds", cell(Some(time))));
                None
            }
        };
        if let (Some(t), Some(last)) = (time_s, last_s)
            && t <= last
        {
            fault("time_s", format!("{t} s does not come after {last} s"));
        }
        last_s = time_s.or(last_s);
        let word = cell(others[0]);
        let reading = if word.is_empty() {
            match cell(Some(gauge)).parse::<f32>() {
                Ok(pa) if pa.is_finite() => Some(Ok(GaugePa(pa))),
                _ => {
                    fault(
                        "gauge_pa",
                        format!("{:?} is not a pressure in Pa, and no fault is stated", cell(Some(gauge))),
                    );
                    None
                }
            }
        } else if word.parse::<f64>().is_ok() {
            fault("fault", format!("{word:?} is a number; leave it empty or write a word, such as crc"));
            None
        } else {
            let (kind, known) = fault_of(word);
            if !known && strange.len() < 8 && !strange.iter().any(|other| *other == outside::plain(word)) {
                strange.push(outside::plain(word).into_owned());
            }
            Some(Err(kind))
        };
        let mut flag = |name: &str, text: &str| match text.to_ascii_lowercase().as_str() {
            "" => Some(None),
            "1" | "true" => Some(Some(true)),
            "0" | "false" => Some(Some(false)),
            _ => {
                fault(name, format!("{text:?} is neither 0 nor 1"));
                None
            }
        };
        let supply = flag("supply", cell(others[1]));
        let button = flag("button", cell(others[2]));
        let start = match cell(others[3]) {
            "" => Some(None),
            word => match cause_of(word) {
                Some(cause) => Some(Some(cause)),
                None => {
                    fault("start", format!("{word:?} is none of power_on, brown_out, watchdog, software, unknown"));
                    None
                }
            },
        };
        if let (Some(time_s), Some(reading), Some(supply), Some(button), Some(start)) =
            (time_s, reading, supply, button, start)
        {
            recording.has_supply |= supply.is_some();
            recording.rows.push(Row { time_s, reading, supply, button: button.unwrap_or(false), start });
        }
    }
    if faults.is_empty() && recording.rows.len() < 2 {
        faults.extend(recording.notes.clone());
        faults.push("line 2, column time_s: at least two rows are needed".to_owned());
    }
    if !faults.is_empty() {
        return Err(bad(faults));
    }
    if !strange.is_empty() {
        recording.notes.push(format!(
            "column fault: {} is no word that the box uses; replayed as a sensor that gives nothing",
            strange.join(", ")
        ));
    }
    Ok(recording)
}

/// What the recording says the box went by.
fn in_force(text: &str, faults: &mut Vec<String>) -> Vec<(f64, WatchSettings)> {
    let mut all = Vec::new();
    for (index, line) in text.lines().enumerate() {
        let Some(rest) = line.strip_prefix(IN_FORCE) else { continue };
        let read = rest.split_once(" s: ").and_then(|(at, settings)| {
            Some((at.parse::<f64>().ok()?, serde_json::from_str::<WatchSettings>(settings).ok()?))
        });
        match read {
            Some(one) => all.push(one),
            None => faults.push(format!(
                "line {}: what the box went by cannot be read; take the line out and name --site or --settings",
                index + 1
            )),
        }
    }
    all
}

/// The laptop's clock as text, UTC, to the millisecond.
pub fn utc(at: SystemTime) -> String {
    let since = at.duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
    let (days, left_s) = (since.as_secs() / 86_400, since.as_secs() % 86_400);
    // Days since 0000-03-01, by years of 365.2425 days that begin in March (H. Hinnant's method).
    let z = days + 719_468;
    let (era, of_era) = (z / 146_097, z % 146_097);
    let year_of_era = (of_era - of_era / 1460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let shifted = (5 * of_year + 2) / 153;
    let (day, month) = (of_year - (153 * shifted + 2) / 5 + 1, if shifted < 10 { shifted + 3 } else { shifted - 9 });
    let year = year_of_era + 400 * era + u64::from(month <= 2);
    let (hour, minute, second) = (left_s / 3600, left_s / 60 % 60, left_s % 60);
    format!("{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}.{:03}Z", since.subsec_millis())
}

/// A change of state.
#[derive(Clone, Copy, Debug)]
struct Came {
    at_us: u64,
    from: State,
    to: State,
    reason: Reason,
}

/// Turns what a box says into the rows of a recording.
///
/// Time goes on over a restart of the box: its clock begins again, the recording's does not.
#[derive(Debug)]
pub struct Recorder<W> {
    out: W,
    /// The box's name, as it ends each row.
    name: Option<String>,
    offset_s: f64,
    last_s: f64,
    boot: Option<u16>,
    start: Option<ResetCause>,
    status: Status,
    states: Vec<Came>,
    shown: Option<(&'static str, &'static str)>,
    rows: u64,
    /// The laptop's clock at the message that comes next.
    wall: Option<SystemTime>,
    settings: Option<WatchSettings>,
    today: Option<Thresholds>,
    /// As last written.
    in_force: Option<WatchSettings>,
}

impl<W: Write> Recorder<W> {
    /// Writes the first line.
    ///
    /// # Errors
    /// What the writer gives.
    pub fn new(out: W) -> io::Result<Self> {
        Self::of(out, None)
    }

    /// The same for a box with a name, which stands in each row.
    ///
    /// # Errors
    /// What the writer gives.
    pub fn of(mut out: W, name: Option<&str>) -> io::Result<Self> {
        let last = if name.is_some() { ",box" } else { "" };
        out.write_all(format!("{COLUMNS}{last}\n").as_bytes())?;
        Ok(Self {
            out,
            // A port's name may have what parts the columns.
            name: name.map(|name| format!(",{}", outside::cell(&name.replace([',', '"', '\n', '\r'], "_")))),
            offset_s: 0.0,
            last_s: 0.0,
            boot: None,
            start: None,
            status: Status::default(),
            states: Vec::new(),
            shown: None,
            rows: 0,
            wall: None,
            settings: None,
            today: None,
            in_force: None,
        })
    }

    /// States the laptop's clock for the rows to come.
    pub const fn at(&mut self, wall: SystemTime) {
        self.wall = Some(wall);
    }

    /// Rows written.
    pub const fn rows(&self) -> u64 {
        self.rows
    }

    /// Takes one message.
    ///
    /// # Errors
    /// What the writer gives.
    pub fn take(&mut self, message: &FromBox) -> io::Result<()> {
        match message {
            FromBox::Event(entry) => self.event(entry),
            FromBox::Status(status) => self.status = *status,
            FromBox::Fed(fed) => self.fed(fed)?,
            FromBox::Settings(settings) => self.goes_by(*settings, self.today)?,
            FromBox::Stored(settings) => self.goes_by(Some(*settings), None)?,
            FromBox::Today(today) => self.goes_by(self.settings, today.in_force)?,
            _ => {}
        }
        Ok(())
    }

    /// Writes what the box goes by from now on, if that is news.
    fn goes_by(&mut self, settings: Option<WatchSettings>, today: Option<Thresholds>) -> io::Result<()> {
        (self.settings, self.today) = (settings, today);
        let Some(settings) = settings else { return Ok(()) };
        let held = today.map_or(settings, |today| today.put_into(&settings));
        if self.in_force == Some(held) {
            return Ok(());
        }
        self.in_force = Some(held);
        let at_s = if self.rows > 0 { self.last_s } else { 0.0 };
        let told = serde_json::to_string(&held).map_err(io::Error::other)?;
        self.out.write_all(format!("{IN_FORCE}{at_s:.6} s: {told}\n").as_bytes())
    }

    fn event(&mut self, entry: &Entry) {
        if self.boot != Some(entry.boot) && matches!(entry.what, Noted::Booted(_)) {
            self.boot = Some(entry.boot);
            self.offset_s = if self.rows > 0 { self.last_s + 0.02 } else { 0.0 };
            self.states.clear();
            self.shown = None;
            if let Noted::Booted(cause) = entry.what {
                self.start = Some(cause);
            }
        }
        if let Noted::Watch(What::Changed { from, to, reason, .. }) = entry.what {
            self.states.push(Came { at_us: entry.at.0, from, to, reason });
        }
    }

    fn fed(&mut self, fed: &Fed) -> io::Result<()> {
        if self.rows > 0 && fed.at.seconds() + self.offset_s <= self.last_s && self.start.is_none() {
            // The box started anew and the message that said so was lost.
            self.offset_s = self.last_s + 0.02 - fed.at.seconds();
            self.start = Some(ResetCause::Unknown);
        }
        let last_us = fed.steps.last().map_or(0, |step| step.after_us);
        for step in &fed.steps {
            let at_us = fed.at.0 + u64::from(step.after_us);
            while self.states.len() > 1 && self.states[1].at_us <= at_us {
                self.states.remove(0);
            }
            let now = self.status.state.map_or(("", ""), |(state, reason)| (state.word(), reason.word()));
            let (state, reason) = match self.states.first() {
                // The reason may change within a state; the status says so ten times a second.
                Some(came) if came.at_us <= at_us && now.0 == came.to.word() => now,
                Some(came) if came.at_us <= at_us => (came.to.word(), came.reason.word()),
                // Not yet.
                Some(came) => self.shown.unwrap_or((came.from.word(), Reason::Starting.word())),
                None => now,
            };
            self.shown = Some((state, reason));
            let time_s = at_us as f64 * 1e-6 + self.offset_s;
            let (gauge, fault) = match step.reading {
                Ok(pa) => (pa.0.to_string(), ""),
                Err(fault) => (String::new(), Fault::from_sensor(fault).word()),
            };
            let supply = step.supply.map_or("", |on| if on { "1" } else { "0" });
            let start = self.start.take().map_or("", cause_word);
            let forecast = self.status.forecast_s.map_or(String::new(), |s| format!("{s:.1}"));
            // The message came with its last step.
            let wall = self.wall.map_or_else(String::new, |at| {
                let ago = Duration::from_micros(u64::from(last_us.saturating_sub(step.after_us)));
                utc(at.checked_sub(ago).unwrap_or(at))
            });
            let row = format!(
                "{time_s:.6},{gauge},{fault},{supply},{},{start},{state},{reason},{},{},{},{forecast},{wall}{}\n",
                u8::from(step.button),
                u8::from(state == "ride"),
                u8::from(state == "stop" || state == "fault"),
                self.status.landings,
                self.name.as_deref().unwrap_or(""),
            );
            // In one piece, so that what is written out is always whole lines.
            self.out.write_all(row.as_bytes())?;
            self.last_s = time_s;
            self.rows += 1;
        }
        Ok(())
    }

    /// Writes out what is buffered.
    ///
    /// # Errors
    /// What the writer gives.
    pub fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }

    /// The writer, for one who is done.
    pub fn into_inner(self) -> W {
        self.out
    }
}

#[cfg(test)]
mod tests;
