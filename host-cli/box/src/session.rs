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

use landfall_core::watch::{Fault, Landing, Reason, State, TimeUs, WatchSettings, What};
use landfall_firmware::calibration::Calibration;
use landfall_firmware::link::{Hello, Noted};
use landfall_plan::lines::paragraph;
use landfall_plan::shown::Toward;
use landfall_tables::chain::Writer;
use serde_json::{Value, json};

use super::beside::fault_text;
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
    /// The fault, where it is one.
    pub fault: Option<Fault>,
    /// The filtered pressure, Pa.
    pub gauge_pa: Option<f32>,
    /// The record, the start and the time of the next acknowledgement at the button.
    pub acknowledged: Option<(u32, u16, TimeUs)>,
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
                    // A trial that a fault broke off was none.
                    all.trial_driven |= from == State::Check && to == State::Fill;
                    if matches!(to, State::Stop | State::Fault) {
                        let fault = if to == State::Fault { fault.take() } else { None };
                        let reason = fault.map_or(reason.word(), Fault::word);
                        // Landings without a record of their own are in the figures, which come before the change.
                        let before_landing = all.landings.is_empty() && all.landings_counted == 0;
                        let of_supply = [Reason::SupplyCut, Reason::BlowerStill].map(Reason::word).contains(&reason);
                        all.tube_tried |= before_landing && !of_supply && fault.is_none_or(of_a_tube);
                        all.supply_tried |= before_landing && of_supply;
                        let boot = one.entry.boot;
                        let stop = Stop {
                            record,
                            boot,
                            at,
                            state: to,
                            reason,
                            fault,
                            gauge_pa,
                            acknowledged: None,
                            before_landing,
                        };
                        all.stops.push(stop);
                    }
                    all.ended = to == State::Ended;
                    riding = to == State::Ride;
                    all.least_open |= riding || (from == State::Ride && to == State::Wait);
                }
                Noted::Watch(What::Faulted(why)) => fault = Some(why),
                Noted::Watch(What::Acknowledged) => {
                    all.stops.iter_mut().filter(|stop| stop.acknowledged.is_none()).for_each(|stop| {
                        stop.acknowledged = Some((record, one.entry.boot, at));
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
                    (riding, all.least_open, fault) = (false, false, None);
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

/// Whether a tube that is pulled off, shut or wet may have brought a fault about.
const fn of_a_tube(fault: Fault) -> bool {
    !matches!(
        fault,
        Fault::ButtonStuck
            | Fault::SenseMissing
            | Fault::Late
            | Fault::Clock
            | Fault::PermitStuck
            | Fault::PermitOpen
            | Fault::SecondLost
    )
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
        "acknowledged": stop.acknowledged.map(|(record, start, at)| {
            json!({"record": record, "start": start, "time_s": at.seconds()})
        }),
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
            _ if figures.landings_counted > 0 => {
                format!("{}, of which the log has the hours' figures alone.", figures.landings_counted)
            }
            _ => "none.".to_owned(),
        },
    );
    if !figures.landings.is_empty() && figures.landings_counted as usize > figures.landings.len() {
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
                stop.fault.map_or_else(|| stop.reason.replace('_', " "), fault_text),
                stop.gauge_pa.map_or_else(String::new, |pa| format!(" at {}", of(pa, Toward::Down))),
                if stop.before_landing { ", before anybody had landed" } else { "" },
                match stop.acknowledged {
                    Some((_, boot, at)) if boot == stop.boot => {
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
         the box measured right, that the laptop's clock was right, or who wrote the file. The 16 digits keep others from changing it; \
         whoever writes it could have two ready that share them, which all 64 digits would not let pass.",
    );
    out
}

#[cfg(test)]
mod tests;
