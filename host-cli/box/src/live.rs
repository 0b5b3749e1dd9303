//! Following boxes: one thread a line that opens it, asks who is there, and opens it again when it goes away; and what is
//! known of each box, for showing.

use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Gauge, Units};
use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::SyncSender;
use std::time::{Duration, Instant, SystemTime};

use landfall_core::watch::{BesideSeen, Landing, WatchSettings, What};
use landfall_firmware::calibration::Calibration;
use landfall_firmware::link::{FromBox, Hello, Noted, Status, ToBox, Today, Verdict};

use super::beside;
use super::calibrate::{caution, told as told_calibration, zero_moved};
use super::events::describe;
use super::port::Port;
use super::today::verdict_text;
use super::words::{Level, Told, not_this_jump, other_jump, told};

/// A box that says nothing for this long is silent: it sends ten times a second.
pub const SILENT: Duration = Duration::from_millis(500);
/// Between two tries to open a line.
const REOPEN: Duration = Duration::from_millis(300);
/// How much of the pressure is kept for the trace, s of the box's time.
pub const TRACE_S: f64 = 120.0;

/// What a line brought.
#[derive(Debug)]
pub enum Brought {
    /// It was opened.
    Opened,
    /// A message.
    Message(Box<FromBox>),
    /// A frame that was broken or not understood.
    Broken,
    /// It could not be opened or went away.
    Lost(String),
}

/// Follows one line until `stop`; with `once` only until it goes away. Everything goes to `to` with `index`.
pub fn follow(name: &str, index: usize, once: bool, stop: &Arc<AtomicBool>, to: &SyncSender<(usize, Brought)>) {
    let mut said = String::new();
    while !stop.load(Ordering::Relaxed) {
        let mut opened = false;
        let lost = match Port::open(name) {
            Ok(mut port) => {
                opened = true;
                said.clear();
                if to.send((index, Brought::Opened)).is_err() {
                    return;
                }
                listen(&mut port, index, stop, to)
            }
            Err(error) => error.to_string(),
        };
        if stop.load(Ordering::Relaxed) {
            return;
        }
        if lost != said {
            said.clone_from(&lost);
            if to.send((index, Brought::Lost(lost))).is_err() {
                return;
            }
        }
        if once && opened {
            return;
        }
        std::thread::sleep(REOPEN);
    }
}

/// Messages until the line goes away; says why it did.
fn listen(port: &mut Port, index: usize, stop: &AtomicBool, to: &SyncSender<(usize, Brought)>) -> String {
    // A box of an older program or without the advisory does not know the last of them, and the refusal means nothing.
    let ask = |port: &mut Port| {
        [ToBox::Identify, ToBox::ReadSettings, ToBox::ReadCalibration, ToBox::ReadToday]
            .iter()
            .try_for_each(|request| port.send(request))
    };
    let mut asked: Option<Instant> = None;
    let (mut known, mut settings) = (false, false);
    while !stop.load(Ordering::Relaxed) {
        if !(known && settings) && asked.is_none_or(|at| at.elapsed() > Duration::from_secs(1)) {
            if let Err(error) = ask(port) {
                return error.to_string();
            }
            asked = Some(Instant::now());
        }
        let brought = match port.receive() {
            Ok(None) => continue,
            Ok(Some(Ok(message))) => {
                match &message {
                    FromBox::Hello(_) => known = true,
                    FromBox::Settings(_) => settings = true,
                    // New settings, or another start: ask again.
                    FromBox::Event(entry) if matches!(entry.what, Noted::Booted(_) | Noted::Settings { .. }) => {
                        settings = false;
                        asked = asked.filter(|_| !known);
                    }
                    _ => {}
                }
                Brought::Message(Box::new(message))
            }
            Ok(Some(Err(_))) => Brought::Broken,
            Err(error) => return error.to_string(),
        };
        if to.send((index, brought)).is_err() {
            break;
        }
    }
    "stopped".to_owned()
}

/// What is known of one box.
#[derive(Debug)]
pub struct Seen {
    /// The line's name.
    pub name: String,
    /// Who it is.
    pub hello: Option<Hello>,
    /// The settings that it was armed with.
    pub settings: Option<WatchSettings>,
    /// Planned and today's thresholds, from a box that computes them.
    pub today: Option<Today>,
    /// The sensor's calibration, once the box has told it.
    pub calibration: Option<Option<Calibration>>,
    /// How things are.
    pub status: Option<Status>,
    /// What it tells of its parts beside, if it has any.
    pub beside: Option<BesideSeen>,
    /// Pressure over the box's time, s and Pa.
    pub trace: VecDeque<(f64, f64)>,
    /// The last landings, newest last, with the box's time at which they were reported, s.
    pub landings: VecDeque<(f64, Landing)>,
    /// The last events in plain words, newest last.
    pub events: VecDeque<String>,
    /// What the site that is ridden here would set the box for, where it was named.
    pub plan: Option<WatchSettings>,
    /// Frames that were broken.
    pub broken: u64,
    /// Why the line is gone, if it is.
    pub lost: Option<String>,
    /// Unit and digits that pressures are shown in; whole pascals without one.
    pub gauge: Option<Gauge>,
    heard: Option<Instant>,
    since: Instant,
}

impl Seen {
    /// Nothing known yet.
    pub fn new(name: &str) -> Self {
        Self {
            name: name.to_owned(),
            hello: None,
            settings: None,
            today: None,
            calibration: None,
            status: None,
            beside: None,
            trace: VecDeque::new(),
            landings: VecDeque::new(),
            events: VecDeque::new(),
            plan: None,
            broken: 0,
            lost: None,
            gauge: None,
            heard: None,
            since: Instant::now(),
        }
    }

    /// The same with pressures shown as a gauge beside it shows them.
    #[must_use]
    pub fn beside(self, gauge: Option<Gauge>) -> Self {
        Self { gauge, ..self }
    }

    /// Takes what the line brought; gives what is worth a line of text.
    pub fn take(&mut self, brought: &Brought) -> Vec<String> {
        let mut lines = Vec::new();
        match brought {
            Brought::Opened => {
                // Another box may be at the other end, or this one begun anew: what the last one said holds no more.
                (self.lost, self.heard, self.status, self.settings) = (None, None, None, None);
                (self.today, self.beside) = (None, None);
                self.since = Instant::now();
                lines.push(format!("{}: line open", self.name));
            }
            Brought::Lost(why) => {
                self.lost = Some(why.clone());
                lines.push(format!("{}: NO LINK to the box ({why}); trying again", self.name));
            }
            Brought::Broken => self.broken += 1,
            Brought::Message(message) => {
                self.heard = Some(Instant::now());
                self.message(message, &mut lines);
            }
        }
        lines
    }

    fn message(&mut self, message: &FromBox, lines: &mut Vec<String>) {
        match message {
            FromBox::Hello(hello) => self.hello = Some(*hello),
            FromBox::Today(today) => self.today = Some(*today),
            FromBox::Beside(seen) => self.beside = Some(*seen),
            FromBox::Settings(settings) => self.settings = *settings,
            FromBox::Calibration(held) => {
                let held = held.unpacked();
                if self.calibration.replace(held) != Some(held) {
                    self.calibration_words().into_iter().for_each(|line| self.say(line, lines));
                }
            }
            FromBox::Stored(settings) => self.settings = Some(*settings),
            FromBox::Status(status) => {
                if let Some(pa) = status.gauge_pa {
                    let at_s = status.at.seconds();
                    if self.trace.back().is_some_and(|(last_s, _)| *last_s > at_s) {
                        self.trace.clear();
                    }
                    self.trace.push_back((at_s, f64::from(pa)));
                    while self.trace.front().is_some_and(|(first_s, _)| at_s - first_s > TRACE_S) {
                        self.trace.pop_front();
                    }
                }
                self.status = Some(*status);
            }
            FromBox::Event(entry) => {
                if let Noted::Watch(What::Landed(landing)) = entry.what {
                    self.landings.push_back((entry.at.seconds(), landing));
                    if self.landings.len() > 20 {
                        self.landings.pop_front();
                    }
                }
                if !matches!(entry.what, Noted::Kept(_)) {
                    self.say(format!("{:>9.2} s  {}", entry.at.seconds(), describe(entry).1), lines);
                }
                if let (Noted::Watch(What::Zeroed { offset_pa, stored: false }), Some(Some(held))) =
                    (entry.what, self.calibration)
                {
                    let before_pa = f64::from(held.span * held.zero_pa);
                    let allowed_pa = self.settings.map(|settings| f64::from(settings.sensor_error_pa));
                    let words =
                        zero_moved(f64::from(offset_pa), before_pa, "since it was calibrated", allowed_pa, |pa, to| {
                            self.pressure(pa, to)
                        });
                    self.say(words, lines);
                }
            }
            _ => {}
        }
    }

    /// Says something once, and keeps it among the events.
    fn say(&mut self, line: String, lines: &mut Vec<String>) {
        lines.push(format!("{}: {line}", self.name));
        self.events.push_back(line);
        if self.events.len() > 50 {
            self.events.pop_front();
        }
    }

    /// The calibration in words, and what to mind about it today.
    pub fn calibration_words(&self) -> Vec<String> {
        let Some(held) = &self.calibration else { return Vec::new() };
        let caution = caution(held.as_ref(), SystemTime::now());
        // That there is none is the caution.
        held.iter().map(|held| told_calibration(Some(held))).chain(caution).collect()
    }

    /// A pressure as the gauge beside it shows it.
    pub fn pressure(&self, pa: f64, toward: Toward) -> String {
        match self.gauge {
            Some(gauge) => Shown::new(Units::Metric, gauge).pressure(pa, toward),
            None => format!("{pa:.0} Pa"),
        }
    }

    /// What the box goes by now: the settings, with the thresholds of today's air where those hold.
    pub fn in_force(&self) -> Option<WatchSettings> {
        let settings = self.settings?;
        let held = self.today.as_ref().and_then(|today| today.in_force);
        Some(held.map_or(settings, |held| held.put_into(&settings)))
    }

    /// That it is set for another jump than the one that was named, with both.
    pub fn other_jump(&self) -> Option<String> {
        other_jump(self.settings.as_ref()?, self.plan.as_ref()?)
    }

    /// What people see first, a silent link being the gravest; a box that is set for another jump is no better.
    pub fn first(&self) -> Told {
        let told = told(self.status.as_ref().filter(|_| self.silent().is_none()));
        self.of_this_jump(told)
    }

    /// The same as it was last heard, however long ago: for a line that has ended as it was to.
    pub fn at_last(&self) -> Told {
        self.of_this_jump(told(self.status.as_ref()))
    }

    fn of_this_jump(&self, told: Told) -> Told {
        if told.level == Level::Stop || self.other_jump().is_none() { told } else { not_this_jump() }
    }

    /// The pressure that is known now, as the gauge shows it.
    pub fn pressure_now(&self) -> Option<String> {
        let status = self.status.as_ref().filter(|_| self.silent().is_none())?;
        status.gauge_pa.map(|pa| self.pressure(pa.into(), Toward::Nearest))
    }

    /// What it tells of its parts beside, the gravest first.
    pub fn beside_words(&self) -> Vec<String> {
        self.beside.map_or_else(Vec::new, |seen| beside::told(&seen, |pa| self.pressure(pa, Toward::Nearest)))
    }

    fn today_words(&self) -> Option<String> {
        let today = self.today.as_ref()?;
        match (today.verdict, today.planned, today.in_force) {
            (Verdict::NoSettings | Verdict::NoSite | Verdict::NoAir, ..) => None,
            (Verdict::Today, Some(planned), Some(held)) => Some(format!(
                "today's air: stop {} (planned {}), wait {} (planned {})",
                self.pressure(held.stop_pa.into(), Toward::Up),
                self.pressure(planned.stop_pa.into(), Toward::Up),
                self.pressure(held.wait_pa.into(), Toward::Up),
                self.pressure(planned.wait_pa.into(), Toward::Up)
            )),
            (verdict, ..) => Some(verdict_text(verdict).to_owned()),
        }
    }

    /// How long the box has said nothing.
    pub fn quiet(&self) -> Duration {
        self.heard.unwrap_or(self.since).elapsed()
    }

    /// The same, if that is too long.
    pub fn silent(&self) -> Option<Duration> {
        let quiet = self.quiet();
        (self.lost.is_some() || quiet > SILENT).then_some(quiet)
    }

    /// The state of things in one line.
    pub fn line(&self) -> String {
        let (state, rest) = self.told();
        let gap = if rest.is_empty() { "" } else { "   " };
        let other = self.other_jump().map_or_else(String::new, |other| format!("   {other}"));
        format!("{}: {state}{gap}{rest}{other}", self.name)
    }

    /// The state of things: what matters first, and the rest.
    pub fn told(&self) -> (String, String) {
        if let Some(quiet) = self.silent() {
            return (
                format!("LINK SILENT for {:.1} s: nothing of the bag is known here;", quiet.as_secs_f64()),
                "look at the box's own lamp".to_owned(),
            );
        }
        let Some(s) = &self.status else { return ("waiting for the first status".to_owned(), String::new()) };
        let Some((state, reason)) = s.state else {
            return (
                "NO SETTINGS: the box watches nothing".to_owned(),
                "`landfall arm` computes them and sends them".to_owned(),
            );
        };
        let or = |value: Option<String>, none: &str| value.unwrap_or_else(|| none.to_owned());
        (
            format!(
                "{}  {}   permit {}   siren {}   {}",
                state.word().to_uppercase(),
                reason.word().replace('_', " "),
                if s.permit { "on" } else { "off" },
                if s.siren { "ON" } else { "off" },
                or(s.gauge_pa.map(|pa| self.pressure(pa.into(), Toward::Nearest)), "no pressure"),
            ),
            format!(
                "{:.1} s  landings {}{}{}{}{}{}{}{}",
                s.at.seconds(),
                s.landings,
                or(s.since_landing_s.map(|t| format!(", last {t:.0} s ago")), ""),
                or(s.forecast_s.map(|t| format!(", STOP PRESSURE IN {t:.0} s")), ""),
                or(s.fault.map(|fault| format!(", fault: {}", fault.word().replace('_', " "))), ""),
                if s.supply == Some(false) { ", SUPPLY OFF" } else { "" },
                or(s.temperature_degc.map(|t| format!(", air {t:.0} °C")), ""),
                self.beside_words().iter().map(|words| format!(", {words}")).collect::<String>(),
                or(self.today_words().map(|words| format!(", {words}")), ""),
            ),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use landfall_core::watch::{Reason, State, TimeUs};

    fn seen(name: &str, state: State, reason: Reason) -> Seen {
        let mut seen = Seen::new(name);
        let status =
            Status { at: TimeUs(1), state: Some((state, reason)), permit: state == State::Ride, ..Status::default() };
        seen.take(&Brought::Message(Box::new(FromBox::Status(status))));
        seen
    }

    #[test]
    fn a_box_for_another_jump_is_told_with_every_line() {
        let mut one = seen("box", State::Ride, Reason::Normal);
        one.take(&Brought::Message(Box::new(FromBox::Settings(Some(WatchSettings::EXAMPLE)))));
        one.plan = Some(WatchSettings::EXAMPLE);
        assert!(!one.line().contains("ANOTHER"));
        one.plan = Some(WatchSettings { site_id: 99, ..WatchSettings::EXAMPLE });
        assert!(one.line().contains("ANOTHER JUMP"), "{}", one.line());
        // It rides by its own numbers, which are not those of the jump: nobody goes.
        assert_eq!((one.first().level, one.first().head), (Level::Stop, "OTHER JUMP"));
    }
}
