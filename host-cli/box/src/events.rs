//! The box's log: downloaded, and shown as text, JSON or comma-separated values.

use std::collections::BTreeMap;
use std::io;
use std::time::{Duration, Instant};

use landfall_core::watch::What;
use landfall_firmware::link::{Entry, FromBox, Noted, ToBox};
use serde_json::{Value, json};

use super::beside;
use super::port::Port;
use super::record::cause_word;
use super::today::verdict_text;

/// One record of the log.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Logged {
    /// Its place in the sequence of all records.
    pub sequence: u32,
    /// The record.
    pub entry: Entry,
}

/// A box that is reading its log says so ten times a second; one that says nothing of it for this long has not heard the
/// question, or has gone.
const WORKING: Duration = Duration::from_secs(2);
/// Times that the log is asked for, should records be lost on the line.
const ASKED: u32 = 5;

/// Downloads the log from record `from` on, oldest first. Waits as long as the box says that it is reading. Records that
/// were lost on the line are asked for again.
///
/// # Errors
/// [`io::ErrorKind::TimedOut`] where the box says nothing, or the line is gone.
pub fn download(port: &mut Port, from: u32) -> io::Result<Vec<Logged>> {
    let mut all: BTreeMap<u32, Entry> = BTreeMap::new();
    for _ in 0..ASKED {
        port.send(&ToBox::ReadLog { from })?;
        let mut heard = Instant::now();
        let (mut end, mut got) = (None, 0);
        while end.is_none() && heard.elapsed() < WORKING {
            match port.receive()? {
                Some(Ok(FromBox::Logged { sequence, entry })) => {
                    heard = Instant::now();
                    got += 1;
                    all.insert(sequence, entry);
                }
                Some(Ok(FromBox::Reading { .. })) => heard = Instant::now(),
                Some(Ok(FromBox::LogEnd { sent, .. })) => end = Some(sent),
                _ => {}
            }
        }
        if end.is_some_and(|sent| got >= sent) {
            return Ok(all.into_iter().map(|(sequence, entry)| Logged { sequence, entry }).collect());
        }
    }
    Err(io::ErrorKind::TimedOut.into())
}

/// What a record says, in a word and in plain words.
pub fn describe(entry: &Entry) -> (&'static str, String) {
    match entry.what {
        Noted::Booted(cause) => ("booted", format!("the box started ({})", cause_word(cause).replace('_', " "))),
        Noted::Settings { site_id, revision } => {
            ("settings", format!("settings stored: site {site_id:08x}, revision {revision}"))
        }
        Noted::Forgotten => ("forgotten", "the box was told to forget its site".into()),
        Noted::Hour(hour) => (
            "hour",
            format!(
                "figures of the hour: {} landing(s), {} of them not back in time; permit for {:.1} min{}{}",
                hour.landings,
                hour.slow,
                f64::from(hour.permit_steps) / 3000.0,
                if hour.least_pa.is_finite() { format!(", at least {:.0} Pa", hour.least_pa) } else { String::new() },
                if hour.landings > 0 {
                    format!(
                        "; highest landing {:.0} Pa, deepest dip {:.0} Pa, back after {:.1} s at most; {} other wait(s)",
                        hour.peak_pa, hour.dip_pa, hour.recovery_s, hour.waits
                    )
                } else {
                    format!("; {} wait(s)", hour.waits)
                },
            ),
        ),
        Noted::Today { verdict, air, stop_pa, wait_pa, high_pa } => (
            "today",
            format!(
                "{}{}: stop {stop_pa:.0} Pa, wait {wait_pa:.0} Pa, upper end {high_pa:.0} Pa",
                verdict_text(verdict),
                air.map_or(String::new(), |(pa, k)| format!(" ({:.0} hPa, {:.1} °C)", pa / 100.0, k - 273.15)),
            ),
        ),
        Noted::Calibrated(span) => {
            ("calibrated", format!("a calibration of the sensor was stored or taken out: span {span:.4}"))
        }
        Noted::Kept(kept) => (
            "kept",
            format!(
                "kept for the next start: zero {}, {}, {}",
                kept.zero_pa.map_or("none".into(), |pa| format!("{pa:.1} Pa")),
                if kept.unacknowledged { "a stop not acknowledged" } else { "nothing to acknowledge" },
                if kept.duty { "people may be riding" } else { "nobody rides" }
            ),
        ),
        Noted::Watch(What::Started { cause, site_id, revision }) => (
            "started",
            format!(
                "the watch began ({}): site {site_id:08x}, revision {revision}",
                cause_word(cause).replace('_', " ")
            ),
        ),
        Noted::Watch(What::Zeroed { offset_pa, stored }) => (
            "zeroed",
            format!(
                "zero {offset_pa:.1} Pa, {}",
                if stored { "from the last time" } else { "taken on the vented bag" }
            ),
        ),
        Noted::Watch(What::Changed { from, to, reason, gauge_pa }) => (
            "changed",
            format!(
                "{} to {}: {}{}",
                from.word(),
                to.word(),
                reason.word().replace('_', " "),
                gauge_pa.map_or(String::new(), |pa| format!(", {pa:.0} Pa"))
            ),
        ),
        Noted::Watch(What::Faulted(fault)) => ("faulted", beside::fault_text(fault)),
        Noted::Watch(What::SelfTested(found)) => ("self_tested", beside::self_test_text(&found)),
        Noted::Watch(What::Blower { which, runs }) => ("blower", beside::blower_text(which, runs)),
        Noted::Watch(What::Battery { voltage_v, left_s }) => ("battery", beside::battery_text(voltage_v, left_s)),
        Noted::Watch(What::Acknowledged) => ("acknowledged", "acknowledged at the button".into()),
        Noted::Watch(What::Landed(landing)) => (
            "landed",
            format!(
                "landing {}: to {:.0} Pa, dip {:.0} Pa, {}",
                landing.count,
                landing.peak_pa,
                landing.dip_pa,
                landing.recovery_s.map_or("not back in time".into(), |s| format!("back after {s:.1} s"))
            ),
        ),
    }
}

/// The log to read.
pub fn text(all: &[Logged]) -> String {
    let mut out = format!("{:>7} {:>5} {:>10}  event\n", "record", "start", "time, s");
    for one in all {
        let (_, words) = describe(&one.entry);
        out += &format!("{:>7} {:>5} {:>10.2}  {words}\n", one.sequence, one.entry.boot, one.entry.at.seconds());
    }
    out
}

/// The log as JSON: an array of records.
pub fn json(all: &[Logged]) -> Value {
    let records = all.iter().map(|one| {
        let (kind, words) = describe(&one.entry);
        json!({"record": one.sequence, "start": one.entry.boot, "time_s": one.entry.at.seconds(), "event": kind,
               "text": words, "detail": one.entry.what})
    });
    Value::Array(records.collect())
}

/// The log as comma-separated values.
pub fn csv(all: &[Logged]) -> String {
    let mut out = String::from("record,start,time_s,event,text\n");
    for one in all {
        let (kind, words) = describe(&one.entry);
        out += &format!("{},{},{:.6},{kind},\"{words}\"\n", one.sequence, one.entry.boot, one.entry.at.seconds());
    }
    out
}
