//! What a box's log says of a session, with what was stated beside it, as lines that hold together.
//!
//! A session goes from the end of the day before it to its own; without an end it goes to the newest record. The box knows
//! no date: its clock counts from its start, and is set against the laptop's when the log is fetched. Records of an earlier
//! start in the same session have their own clock and no time of day. A stop before the first landing is part of the trial. The
//! least pressure is the box's own figure, which an hour, a stop and the day's end close.
//!
//! Lines of the file ([`landfall_tables::chain`] tells how they hold together), by their `what`: `session` (program, moment),
//! `stated` (who coached, who rode, what was seen of the trial: as stated by whoever ran the command), `box` (who it is, its
//! settings with site, revision and plan), `clock`, `calibration` (of the sensor, and how its zero moved), `recording` (where one belongs to it: its SHA-256), `record` (each record
//! of the log), `figures` (what follows from the records), `end`.

use std::time::{Duration, SystemTime};

use landfall_core::watch::{Landing, Reason, State, TimeUs, WatchSettings, What};
use landfall_firmware::calibration::Calibration;
use landfall_firmware::link::{Hello, Noted};
use landfall_plan::lines::paragraph;
use landfall_plan::shown::Toward;
use landfall_tables::chain::Writer;
use serde_json::{Value, json};

use super::calibrate::{caution, date_of, name_of, told, zero_moved};
use super::events::{Logged, describe};
use super::record::{cause_word, utc};
use super::words::plan_id;

/// Layout of the file.
const LAYOUT: u32 = 1;
/// What the clock's setting is never better than, s: the box tells its time ten times a second.
const CLOCK_S: f64 = 0.1;

/// What people say of a session; the box knows nobody.
#[derive(Clone, Debug, Default)]
pub struct Stated {
    /// Who coached.
    pub coach: Option<String>,
    /// Who rode.
    pub riders: Vec<String>,
    /// What was seen and heard of the trial of lamps and siren.
    pub trial: Option<String>,
    /// Anything else.
    pub note: Option<String>,
    /// Name of the site, where a site file was named.
    pub site: Option<String>,
}

/// A recording that belongs to it.
#[derive(Clone, Debug)]
pub struct Recorded {
    /// Its file's name.
    pub file: String,
    /// Its length.
    pub bytes: usize,
    /// Its SHA-256.
    pub sha256: String,
}

/// The box's clock against the laptop's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clock {
    /// What the laptop's clock showed when the box's was zero.
    pub zero: SystemTime,
    /// How far off that may be, s; the laptop's own error is not in it.
    pub within_s: f64,
}

/// Sets the box's clock against the laptop's: from when messages came and what the box's clock said in them. A message can
/// be late and never early, so the earliest counts.
#[must_use]
pub fn clock(heard: &[(SystemTime, TimeUs)]) -> Option<Clock> {
    let zeros = || heard.iter().filter_map(|(came, at)| came.checked_sub(Duration::from_micros(at.0)));
    let (first, last) = (zeros().min()?, zeros().max()?);
    let spread_s = last.duration_since(first).unwrap_or_default().as_secs_f64();
    Some(Clock { zero: first, within_s: spread_s.max(CLOCK_S) })
}

/// What a session is put down from.
#[derive(Clone, Debug)]
pub struct Given<'a> {
    /// Who the box is.
    pub hello: &'a Hello,
    /// Its settings.
    pub settings: Option<WatchSettings>,
    /// What was stated.
    pub stated: &'a Stated,
    /// Its clock.
    pub clock: Option<Clock>,
    /// The sensor's calibration; the outer none where the box's program knows of none.
    pub calibration: Option<Option<Calibration>>,
    /// The zero of the session before, Pa.
    pub zero_before_pa: Option<f64>,
    /// A recording.
    pub recording: Option<&'a Recorded>,
    /// The laptop's clock now.
    pub written: SystemTime,
    /// Version of this program.
    pub program: &'a str,
}

/// The records of the last session: from behind the end of the day before. A session in which nobody could ride is
/// passed over where an earlier one is there.
#[must_use]
pub fn last_session(all: &[Logged]) -> &[Logged] {
    let ends = |one: &Logged| matches!(one.entry.what, Noted::Watch(What::Changed { to: State::Ended, .. }));
    let rides = |one: &Logged| matches!(one.entry.what, Noted::Watch(What::Changed { to: State::Ride, .. }));
    let days: Vec<&[Logged]> = all.split_inclusive(ends).collect();
    days.iter().rev().find(|day| day.iter().any(rides)).or(days.last()).copied().unwrap_or(&[])
}

/// The last zero that was taken on a vented bag before these records, Pa.
#[must_use]
pub fn zero_before(all: &[Logged], records: &[Logged]) -> Option<f64> {
    let first = records.first()?.sequence;
    let before = all.iter().filter(|one| one.sequence < first);
    before.filter_map(zero_of).next_back()
}

/// The zero that a record tells, where it was taken on a vented bag.
fn zero_of(one: &Logged) -> Option<f64> {
    match one.entry.what {
        Noted::Watch(What::Zeroed { offset_pa, stored: false }) => Some(f64::from(offset_pa)),
        _ => None,
    }
}

/// By how much the session's first zero has moved since the session before, and since the calibration, Pa.
fn zero_moved_pa(given: &Given<'_>, figures: &Figures) -> (Option<f64>, Option<f64>) {
    let now_pa = figures.zeros.iter().find(|(_, stored)| !stored).map(|(pa, _)| f64::from(*pa));
    let held = given.calibration.flatten().map(|held| f64::from(held.span * held.zero_pa));
    let since = |before: Option<f64>| Some(now_pa? - before?);
    (since(given.zero_before_pa), since(held))
}

/// The calibration, and how the zero has moved, in whole sentences.
#[must_use]
pub fn sensor_words(given: &Given<'_>, figures: &Figures, shown: impl Fn(f64, Toward) -> String) -> String {
    let mut words: Vec<String> = Vec::new();
    match &given.calibration {
        None => words.push("The box's program keeps no calibration.".to_owned()),
        Some(held) => {
            words.extend(held.iter().map(|held| told(Some(held))));
            words.extend(caution(held.as_ref(), given.written));
        }
    }
    if let Some(now_pa) = figures.zeros.iter().find(|(_, stored)| !stored).map(|(pa, _)| f64::from(*pa)) {
        let allowed_pa = given.settings.map(|settings| f64::from(settings.sensor_error_pa));
        let (last, calibrated) = zero_moved_pa(given, figures);
        for (moved, since) in [(last, "since the last session"), (calibrated, "since it was calibrated")] {
            words.extend(moved.map(|moved| zero_moved(now_pa, now_pa - moved, since, allowed_pa, &shown)));
        }
    }
    words.join(" ")
}

/// A stop of a session.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stop {
    /// Number of the record that tells it.
    pub record: u32,
    /// Which start of the box.
    pub boot: u16,
    /// The box's clock.
    pub at: TimeUs,
    /// Stop or fault.
    pub state: State,
    /// Why, in a word.
    pub reason: &'static str,
    /// The filtered pressure, Pa.
    pub gauge_pa: Option<f32>,
    /// The record and the time of the next acknowledgement at the button.
    pub acknowledged: Option<(u32, TimeUs)>,
    /// Nobody had landed yet: part of the trial before the session.
    pub before_landing: bool,
}

/// What follows from the records of a session.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Figures {
    /// First and last record.
    pub records: Option<(u32, u32)>,
    /// Lamps and siren were driven one after the other at a start.
    pub trial_driven: bool,
    /// Before the first landing the box stopped for its pressure or its sensor, as when the tube is pulled off.
    pub tube_tried: bool,
    /// The same for the blowers' supply.
    pub supply_tried: bool,
    /// Stops, oldest first.
    pub stops: Vec<Stop>,
    /// Landings, oldest first.
    pub landings: Vec<Landing>,
    /// Landings that the hours' figures count; more than are there one by one where the log had no room.
    pub landings_counted: u32,
    /// Lowest filtered pressure with the permit on, Pa.
    pub least_pa: Option<f32>,
    /// There was riding that is in no hour's figures yet, so that the least pressure may have been lower.
    pub least_open: bool,
    /// There was riding whose figures went with a start of the box under way: they are in none.
    pub least_lost: bool,
    /// The zeros, with whether each came from storage.
    pub zeros: Vec<(f32, bool)>,
    /// The day was ended at the button.
    pub ended: bool,
}

impl Figures {
    /// Of a session's records.
    #[must_use]
    pub fn of(records: &[Logged]) -> Self {
        let mut all = Self {
            records: records.first().zip(records.last()).map(|(a, b)| (a.sequence, b.sequence)),
            ..Self::default()
        };
        // Whether somebody may have ridden since the last figures of an hour.
        let (mut riding, mut fault) = (false, None);
        for one in records {
            let (record, at) = (one.sequence, one.entry.at);
            match one.entry.what {
                Noted::Watch(What::Changed { from, to, reason, gauge_pa }) => {
                    all.trial_driven |= from == State::Check;
                    if matches!(to, State::Stop | State::Fault) {
                        let reason = if to == State::Fault { fault.unwrap_or(reason.word()) } else { reason.word() };
                        let before_landing = all.landings.is_empty();
                        let of_supply = reason == Reason::SupplyCut.word();
                        all.tube_tried |= before_landing && !of_supply;
                        all.supply_tried |= before_landing && of_supply;
                        let boot = one.entry.boot;
                        let stop =
                            Stop { record, boot, at, state: to, reason, gauge_pa, acknowledged: None, before_landing };
                        all.stops.push(stop);
                    }
                    all.ended = to == State::Ended;
                    riding = to == State::Ride;
                    all.least_open |= riding;
                }
                Noted::Watch(What::Faulted(why)) => fault = Some(why.word()),
                Noted::Watch(What::Acknowledged) => {
                    all.stops.iter_mut().filter(|stop| stop.acknowledged.is_none()).for_each(|stop| {
                        stop.acknowledged = Some((record, at));
                    });
                }
                Noted::Watch(What::Landed(landing)) => all.landings.push(landing),
                Noted::Watch(What::Zeroed { offset_pa, stored }) => all.zeros.push((offset_pa, stored)),
                Noted::Hour(hour) => {
                    all.landings_counted += u32::from(hour.landings);
                    if hour.least_pa.is_finite() {
                        all.least_pa = Some(all.least_pa.map_or(hour.least_pa, |pa| pa.min(hour.least_pa)));
                    }
                    all.least_open = false;
                }
                // What was not summed up before a start is in no figures any more.
                Noted::Booted(_) => {
                    all.least_lost |= riding || all.least_open;
                    (riding, all.least_open) = (false, false);
                }
                _ => {}
            }
        }
        // An hour's figures come before the change that ends it.
        all.least_open |= riding;
        all
    }

    /// Highest landing, deepest dip and longest recovery.
    fn landed(&self) -> (Option<f32>, Option<f32>, Option<f32>) {
        let most = |of: fn(&Landing) -> Option<f32>| self.landings.iter().filter_map(of).reduce(f32::max);
        (most(|one| Some(one.peak_pa)), most(|one| Some(one.dip_pa)), most(|one| one.recovery_s))
    }
}

/// The laptop's clock at a record; none for a start whose clock was never set.
fn wall(given: &Given<'_>, boot: u16, at: TimeUs) -> Option<String> {
    let clock = given.clock.filter(|_| boot == given.hello.boot)?;
    clock.zero.checked_add(Duration::from_micros(at.0)).map(utc)
}

fn stop_json(given: &Given<'_>, stop: &Stop) -> Value {
    json!({
        "record": stop.record, "start": stop.boot, "time_s": stop.at.seconds(), "wall": wall(given, stop.boot, stop.at),
        "state": stop.state.word(), "reason": stop.reason, "gauge_pa": stop.gauge_pa,
        "acknowledged": stop.acknowledged.map(|(record, at)| json!({"record": record, "time_s": at.seconds()})),
        "before_the_first_landing": stop.before_landing,
    })
}

/// The file's text, and its last hash.
#[must_use]
pub fn written(given: &Given<'_>, records: &[Logged], figures: &Figures) -> (String, String) {
    let mut lines = Writer::default();
    lines.add(&json!({"what": "session", "layout": LAYOUT, "program": given.program, "written": utc(given.written)}));
    let stated = given.stated;
    lines.add(&json!({
        "what": "stated", "coach": stated.coach, "riders": stated.riders, "trial": stated.trial, "note": stated.note,
        "site": stated.site,
    }));
    let hello = given.hello;
    let program = hello.program.map(|part| part.to_string()).join(".");
    lines.add(&json!({
        "what": "box", "program": program, "sensor": hello.sensor, "range_pa": hello.range_pa, "start": hello.boot,
        "cause": cause_word(hello.cause), "site": given.settings.map(|s| format!("{:08x}", s.site_id)),
        "revision": given.settings.map(|s| s.revision),
        "plan": given.settings.map(|s| format!("{:08x}", plan_id(&s))), "settings": given.settings,
    }));
    lines.add(&json!({
        "what": "clock", "start": hello.boot, "zero_at": given.clock.map(|clock| utc(clock.zero)),
        "within_s": given.clock.map(|clock| clock.within_s),
    }));
    let held = given.calibration.flatten();
    let (since_session_pa, since_calibration_pa) = zero_moved_pa(given, figures);
    lines.add(&json!({
        "what": "calibration", "known": given.calibration.is_some(), "date": held.map(|held| date_of(&held)),
        "at_s": held.map(|held| held.at_s), "reference": held.map(|held| held.reference),
        "name": held.map(|held| name_of(&held)), "reference_pa": held.map(|held| held.reference_pa),
        "reference_error_pa": held.map(|held| held.reference_error_pa), "zero_pa": held.map(|held| held.zero_pa),
        "span": held.map(|held| held.span), "span_error": held.map(|held| held.span_error),
        "zero_moved_since_session_pa": since_session_pa, "zero_moved_since_calibration_pa": since_calibration_pa,
        "caution": given.calibration.and_then(|held| caution(held.as_ref(), given.written)),
    }));
    if let Some(one) = given.recording {
        lines.add(&json!({"what": "recording", "file": one.file, "bytes": one.bytes, "sha256": one.sha256}));
    }
    for one in records {
        let (kind, words) = describe(&one.entry);
        lines.add(&json!({
            "what": "record", "record": one.sequence, "start": one.entry.boot, "time_s": one.entry.at.seconds(),
            "wall": wall(given, one.entry.boot, one.entry.at), "event": kind, "text": words, "detail": one.entry.what,
        }));
    }
    let (peak_pa, dip_pa, recovery_s) = figures.landed();
    lines.add(&json!({
        "what": "figures", "first_record": figures.records.map(|(first, _)| first),
        "last_record": figures.records.map(|(_, last)| last), "trial_driven": figures.trial_driven,
        "tube_tried": figures.tube_tried, "supply_tried": figures.supply_tried,
        "stops": figures.stops.iter().map(|stop| stop_json(given, stop)).collect::<Vec<_>>(),
        "landings": figures.landings.len(), "landings_counted": figures.landings_counted,
        "highest_pa": peak_pa, "deepest_dip_pa": dip_pa, "longest_recovery_s": recovery_s,
        "least_pa": figures.least_pa, "least_open": figures.least_open, "least_lost": figures.least_lost,
        "zeros_pa": figures.zeros.iter().map(|(pa, _)| *pa).collect::<Vec<_>>(), "ended": figures.ended,
    }));
    lines.finish()
}

/// The session in words, for whoever keeps it; `pressure` shows a pressure as the gauge does.
#[must_use]
pub fn text(given: &Given<'_>, figures: &Figures, pressure: impl Fn(f64, Toward) -> String) -> String {
    let mut out = String::new();
    let mut line = |name: &str, words: String| paragraph(&mut out, &format!("{name:<11} "), &words);
    let stated = given.stated;
    let says = |words: &Option<String>, none: &str| {
        words.as_ref().map_or_else(|| none.to_owned(), |words| format!("{words} (as stated)."))
    };
    match &given.settings {
        Some(s) => line(
            "Box",
            format!(
                "set for site {:08x}{}, revision {}, plan {:08x}.",
                s.site_id,
                stated.site.as_ref().map_or_else(String::new, |name| format!(" ({name})")),
                s.revision,
                plan_id(s)
            ),
        ),
        None => line("Box", "has no settings now.".to_owned()),
    }
    line("Coach", says(&stated.coach, "not stated; --coach NAME says who."));
    let riders = (!stated.riders.is_empty()).then(|| stated.riders.join(", "));
    line("Rode", says(&riders, "not stated; --rider NAME says who, once for each."));
    match given.clock {
        Some(clock) => line(
            "Clock",
            format!(
                "the box's clock was zero at {} by this laptop's, within {:.1} s. The box knows no date, and nobody has \
                 checked the laptop's clock.",
                utc(clock.zero),
                clock.within_s
            ),
        ),
        None => line("Clock", "the box told no time, so the records have none of the day.".to_owned()),
    }
    line("Sensor", sensor_words(given, figures, &pressure));
    let driven = if figures.trial_driven {
        "lamps and siren were driven one after the other at the start"
    } else {
        "the log shows no trial of lamps and siren"
    };
    line("Trial", format!("{driven}; seen and heard: {}", says(&stated.trial, "not stated; --trial says what.")));
    let tried = |yes: bool| if yes { "the box stopped" } else { "the box did NOT stop, or it was not tried" };
    line(
        "",
        format!(
            "Before the first landing: for its pressure or sensor (tube pulled off) {}; for the blowers' supply {}.",
            tried(figures.tube_tried),
            tried(figures.supply_tried)
        ),
    );
    let (peak_pa, dip_pa, recovery_s) = figures.landed();
    let slow = figures.landings.iter().filter(|one| one.recovery_s.is_none()).count();
    let of = |pa: f32, toward| pressure(f64::from(pa), toward);
    line(
        "Landings",
        match (peak_pa, dip_pa) {
            (Some(peak), Some(dip)) => format!(
                "{}; the highest to {}, the deepest dip {}, {}{}.",
                figures.landings.len(),
                of(peak, Toward::Up),
                of(dip, Toward::Up),
                recovery_s.map_or_else(|| "none back in time".to_owned(), |s| format!("back after {s:.1} s at most")),
                if slow > 0 && recovery_s.is_some() { format!(", {slow} not back in time") } else { String::new() }
            ),
            _ => "none.".to_owned(),
        },
    );
    if figures.landings_counted as usize > figures.landings.len() {
        line("", format!("The box counted {}; its log had no room for the others.", figures.landings_counted));
    }
    line(
        "Least",
        match (figures.least_pa, figures.least_open) {
            (Some(pa), open) => format!(
                "{} with the permit on{}",
                of(pa, Toward::Down),
                if open {
                    ", but the time since the box last summed up is not in it. End the day at the box and write it again."
                } else {
                    "."
                }
            ),
            (None, true) => {
                "not known yet: the box sums up each hour, at a stop and at the day's end. End the day first."
                    .to_owned()
            }
            (None, false) => "there was no time with the permit on.".to_owned(),
        },
    );
    if figures.least_lost {
        line("", "The box started anew under way, and what it had not yet summed up is not in that.".to_owned());
    }
    if figures.stops.is_empty() {
        line("Stops", "none.".to_owned());
    }
    for (n, stop) in figures.stops.iter().enumerate() {
        let when = wall(given, stop.boot, stop.at)
            .unwrap_or_else(|| format!("{:.1} s after start {} of the box", stop.at.seconds(), stop.boot));
        line(
            if n == 0 { "Stops" } else { "" },
            format!(
                "{when}: {}{}{}, {}.",
                match stop.state {
                    State::Fault => format!("the sensor was not believed ({})", stop.reason.replace('_', " ")),
                    _ => stop.reason.replace('_', " "),
                },
                stop.gauge_pa.map_or_else(String::new, |pa| format!(" at {}", of(pa, Toward::Down))),
                if stop.before_landing { ", before anybody had landed" } else { "" },
                match stop.acknowledged {
                    Some((_, at)) if at >= stop.at => {
                        format!("acknowledged {:.0} s later", at.seconds() - stop.at.seconds())
                    }
                    Some(_) => "acknowledged after another start".to_owned(),
                    None => "NOT ACKNOWLEDGED".to_owned(),
                }
            ),
        );
    }
    if !figures.ended {
        line("End", "nobody has ended the day at the box: what comes later is not in this record.".to_owned());
    }
    out
}

/// What lines that hold together prove and do not, for whoever reads the last hash.
#[must_use]
pub fn proof(short: &str) -> String {
    let mut out = format!("Last hash: {short}\n");
    paragraph(
        &mut out,
        "",
        "Write it on the session's paper sheet, with the date. Each line carries the hash of the line before it, so whoever has \
         this hash can tell that no line was changed, taken out or added after it was written. Without the hash on paper \
         somebody could write the whole file anew, and it proves nothing. It never proves that what was stated is true, that \
         the box measured right, that the laptop's clock was right, or who wrote the file.",
    );
    out
}

#[cfg(test)]
mod tests {
    use super::super::events::Logged;
    use super::super::port::Decoder;
    use super::super::record::{Recorder, parse};
    use super::super::replay::replay_with;
    use super::super::script;
    use super::super::sim::{Plan, Riders, Sim};
    use super::*;
    use landfall_firmware::frame::encode;
    use landfall_firmware::link::{Entry, FromBox, ToBox};
    use landfall_plan::plan::compute;
    use landfall_plan::site::demo;
    use landfall_sampling::Stop as Asked;
    use landfall_tables::chain::verify;

    /// A simulated morning with a trial, riding, a leak and the day's end; its log, hello, recording, and settings.
    fn day() -> (Vec<Logged>, Hello, String, WatchSettings) {
        let site = demo().with_value("spread.samples", "5000").unwrap();
        let results = compute(&site, super::super::arm::NEEDED, &Asked::default()).unwrap();
        let settings = super::super::arm::look(&site, &results, None, 1).unwrap().settings;
        // Tube off and blowers off before anybody lands, a hole later, and the long hold that ends the day.
        let script = script::parse(
            "0 s: pause for 150 s\n60 s: sensor no_answer for 3 s\n80 s: hold for 3 s\n100 s: cut for 3 s\n\
             130 s: hold for 3 s\n400 s: leak 900 cm2 for 8 s\n440 s: hold for 3 s\n500 s: hold for 20 s",
        )
        .unwrap();
        let range_pa = settings.sensor_high_pa;
        let riders = Riders::of(&site, &results);
        let plan = Plan { settings: Some(settings), range_pa, riders, script, seed: 5, full: false };
        let mut sim = Sim::new(&site, plan).unwrap();
        let (mut decoder, mut recorder) = (Decoder::default(), Recorder::new(Vec::new()).unwrap());
        let ask = |sim: &mut Sim, message: ToBox| sim.hear(encode(&message).unwrap().bytes());
        ask(&mut sim, ToBox::Identify);
        ask(&mut sim, ToBox::ReadSettings);
        let (mut log, mut hello) = (Vec::new(), None);
        let mut step = |sim: &mut Sim, log: &mut Vec<Logged>, hello: &mut Option<Hello>| {
            sim.step();
            let mut over = false;
            for message in decoder.take(&sim.said()).into_iter().flatten() {
                recorder.take(&message).unwrap();
                match message {
                    FromBox::Hello(one) => *hello = Some(one),
                    FromBox::Logged { sequence, entry } => log.push(Logged { sequence, entry }),
                    FromBox::LogEnd { .. } => over = true,
                    _ => {}
                }
            }
            over
        };
        while sim.time_s() < 530.0 {
            step(&mut sim, &mut log, &mut hello);
        }
        ask(&mut sim, ToBox::ReadLog { from: 0 });
        while !step(&mut sim, &mut log, &mut hello) {}
        log.sort_by_key(|one| one.sequence);
        (log, hello.unwrap(), String::from_utf8(recorder.into_inner()).unwrap(), settings)
    }

    #[test]
    fn a_sessions_figures_are_those_of_its_recording() {
        let (log, hello, recording, settings) = day();
        let records = last_session(&log);
        let figures = Figures::of(records);
        // The recording, run through the same watch, is the other way to the same numbers.
        let read = parse(&recording, "day.csv").unwrap();
        let replayed = replay_with(&read, &read.in_force, 0.0).unwrap();
        assert!(replayed.least_pa.is_some());
        assert_eq!(figures.least_pa, replayed.least_pa);
        assert!(!figures.least_open && figures.ended);
        let peaks = |list: &[f32]| list.iter().map(|pa| pa.to_bits()).collect::<Vec<_>>();
        assert_eq!(
            peaks(&figures.landings.iter().map(|one| one.peak_pa).collect::<Vec<_>>()),
            peaks(&replayed.landings.iter().map(|one| one.peak_pa).collect::<Vec<_>>())
        );
        assert!(figures.landings.len() > 5, "{}", figures.landings.len());
        // Stops of the replay: changes into stop or fault, with their times.
        let mut before = "";
        let mut stops: Vec<(u64, &str)> = Vec::new();
        for change in &replayed.changes {
            if matches!(change.state, "stop" | "fault") && change.state != before {
                stops.push(((change.time_s * 50.0).round() as u64, change.state));
            }
            before = change.state;
        }
        let of_log: Vec<(u64, &str)> =
            figures.stops.iter().map(|stop| ((stop.at.seconds() * 50.0).round() as u64, stop.state.word())).collect();
        assert_eq!(of_log, stops);
        assert_eq!(figures.stops.len(), 3, "{:?}", figures.stops);
        assert!(figures.trial_driven && figures.tube_tried && figures.supply_tried);
        assert!(figures.stops.iter().all(|stop| stop.acknowledged.is_some()));
        assert_eq!(figures.stops.iter().filter(|stop| stop.before_landing).count(), 2);

        // All of it stands in the file, and the file holds together.
        let stated = Stated { coach: Some("Ines".into()), riders: vec!["Tom".into()], ..Stated::default() };
        let clock = Clock { zero: SystemTime::UNIX_EPOCH + Duration::from_secs(1_700_000_000), within_s: 0.1 };
        let held = Calibration {
            at_s: 1_600_000_000,
            reference: landfall_firmware::calibration::Reference::Water,
            name: [0; 16],
            reference_pa: 2936.0,
            reference_error_pa: 13.0,
            zero_pa: 0.5,
            span: 1.01,
            span_error: 0.005,
        };
        let given = Given {
            hello: &hello,
            settings: Some(settings),
            stated: &stated,
            clock: Some(clock),
            calibration: Some(Some(held)),
            zero_before_pa: Some(-1.0),
            recording: None,
            written: clock.zero,
            program: "0.2.0",
        };
        let (file, last) = written(&given, records, &figures);
        let whole = verify(file.as_bytes()).unwrap();
        assert_eq!(whole.last, last);
        let last_but_one = &whole.said[whole.said.len() - 2];
        assert_eq!(last_but_one["least_pa"].as_f64().map(|pa| pa as f32), replayed.least_pa);
        assert_eq!(last_but_one["stops"].as_array().unwrap().len(), stops.len());
        assert_eq!(whole.said.iter().filter(|said| said["what"] == "record").count(), records.len());
        let landed = whole.said.iter().filter(|said| said["event"] == "landed").count();
        assert_eq!(landed, replayed.landings.len());
        // A time of day is the clock's zero and the box's time.
        let stop = &last_but_one["stops"][2];
        let at_s = stop["time_s"].as_f64().unwrap();
        assert_eq!(stop["wall"], utc(clock.zero + Duration::from_micros((at_s * 1e6).round() as u64)));
        let words = text(&given, &figures, |pa, _| format!("{pa:.0} Pa"));
        let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.contains("the sensor was not believed (nack), before anybody had landed"), "{words}");
        assert!(words.contains("Ines (as stated).") && words.contains("Tom (as stated)."), "{words}");
        assert!(
            words.contains("(tube pulled off) the box stopped; for the blowers' supply the box stopped."),
            "{words}"
        );
        assert!(!words.contains("NOT "), "{words}");
        // The first zero of the log itself, against the one before and the calibrated one.
        let zero_pa = records.iter().find_map(zero_of).unwrap();
        let moved = format!("The zero moved by {:.1} Pa since the last session (-1.0 Pa to", zero_pa + 1.0);
        assert!(words.contains(&moved) && words.contains("older than a year: 1157 days"), "{words}");
        let line = whole.said.iter().find(|said| said["what"] == "calibration").unwrap();
        let since_pa = line["zero_moved_since_calibration_pa"].as_f64().unwrap();
        assert!((since_pa - (zero_pa - f64::from(1.01_f32 * 0.5))).abs() < 1e-9, "{line}");
    }

    fn entry(sequence: u32, boot: u16, what: Noted) -> Logged {
        Logged { sequence, entry: Entry { boot, at: TimeUs(u64::from(sequence) * 1_000_000), what } }
    }

    fn change(from: State, to: State) -> Noted {
        let reason = landfall_core::watch::Reason::Normal;
        Noted::Watch(What::Changed { from, to, reason, gauge_pa: None })
    }

    #[test]
    fn a_session_goes_from_one_end_of_day_to_the_next() {
        let ride = change(State::Fill, State::Ride);
        let end = change(State::Ride, State::Ended);
        let booted = Noted::Booted(landfall_core::watch::ResetCause::PowerOn);
        let all: Vec<Logged> = [booted, ride, end, booted, ride, end, booted]
            .into_iter()
            .zip(1..)
            .map(|(what, n)| entry(n, 1, what))
            .collect();
        let of = |list: &[Logged]| last_session(list).iter().map(|one| one.sequence).collect::<Vec<_>>();
        // A start in which nobody could ride is not the last session; one that goes on is.
        assert_eq!(of(&all), [4, 5, 6]);
        assert_eq!(of(&all[..5]), [4, 5]);
        assert_eq!(of(&all[..1]), [1]);
        assert_eq!(of(&[]), [0_u32; 0]);
        let mut zeroed = all.clone();
        zeroed[0].entry.what = Noted::Watch(What::Zeroed { offset_pa: 2.0, stored: false });
        zeroed[3].entry.what = Noted::Watch(What::Zeroed { offset_pa: 3.5, stored: false });
        assert_eq!(zero_before(&zeroed, last_session(&zeroed)), Some(2.0));
        assert_eq!(zero_before(&zeroed, &zeroed), None);
        let going = Figures::of(last_session(&all[..5]));
        assert!(going.least_open && !going.ended && going.least_pa.is_none());
        // A start while somebody rides takes the figures with it: what comes after does not make up for that.
        let hour = landfall_firmware::link::Hour { least_pa: 900.0, ..landfall_firmware::link::Hour::EMPTY };
        let list = |whats: &[Noted]| whats.iter().zip(1..).map(|(what, n)| entry(n, 1, *what)).collect::<Vec<_>>();
        let lost = Figures::of(&list(&[booted, ride, booted, ride, Noted::Hour(hour), end]));
        assert_eq!((lost.least_pa, lost.least_lost, lost.least_open), (Some(900.0), true, false));
        let whole = Figures::of(&list(&[booted, ride, Noted::Hour(hour), end, booted]));
        assert_eq!((whole.least_pa, whole.least_lost, whole.least_open), (Some(900.0), false, false));
        // An hour that ends while it goes on leaves the rest open.
        assert!(Figures::of(&list(&[booted, ride, Noted::Hour(hour)])).least_open);
    }

    #[test]
    fn the_clock_is_set_by_the_message_that_came_earliest() {
        let at = |ms: u64| SystemTime::UNIX_EPOCH + Duration::from_millis(ms);
        let heard =
            [(at(100_030), TimeUs(5_000_000)), (at(100_110), TimeUs(5_100_000)), (at(100_450), TimeUs(5_200_000))];
        let clock = clock(&heard).unwrap();
        assert_eq!(clock.zero, at(95_010));
        assert!((clock.within_s - 0.24).abs() < 1e-9);
        assert_eq!(super::clock(&heard[..1]).unwrap().within_s, CLOCK_S);
        assert_eq!(super::clock(&[]), None);
    }
}
