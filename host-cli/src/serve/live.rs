//! What the boxes say, for the page: lines that are followed, or boxes on computed bags.
//!
//! `GET /box` answers with one object (asked for five to ten times a second):
//!
//! ```json
//! {
//!   "source": "/dev/ttyACM0",
//!   "simulated": false,
//!   "gauge": {"unit": "kPa", "per_pa": 0.001, "places": 2},
//!   "silent": false,
//!   "quiet_s": 0.06,
//!   "level": "note",
//!   "sign": "●",
//!   "head": "RIDE",
//!   "next": "next rider: go",
//!   "todo": "Look that the bag is clear before each rider.",
//!   "other_jump": null,
//!   "all": null,
//!   "boxes": [{"source": "left", "head": "RIDE", "next": "next rider: go", "todo": "…", "shown": "1.17 kPa", …}],
//!   "state": "ride: normal",
//!   "word": "ride",
//!   "permit": true,
//!   "siren": false,
//!   "supply": true,
//!   "button": false,
//!   "fault": null,
//!   "at_s": 83.4,
//!   "pressure_pa": 1174.0,
//!   "landings": 3,
//!   "since_landing_s": 12.4,
//!   "forecast_s": null,
//!   "limits": [{"name": "siren at or under", "pa": 730.0, "shown": "0.73 kPa"}],
//!   "trace": [[-59.9, 1180.0], [-59.8, 1181.0]],
//!   "last_landings": [{"count": 3, "at_s": 71.0, "peak_pa": 1502.0, "dip_pa": 88.0, "recovery_s": 2.9}],
//!   "lines": ["Riding may go on: the permit is on.", "Landings: 3, the last 12 s ago."],
//!   "events": ["    71.02 s  landing 3 …"],
//!   "caution": "The box is a supplementary alarm …"
//! }
//! ```
//! - `silent`: nothing was heard for half a second, or the line is gone. Then `state` says so and everything else about
//!   the bag is null: an old figure is not shown as if it were new. The page must say that loudly.
//! - `state`: how things are, in words; `level`: `note` (normal), `caution` (no new rider) or `stop` (danger, a silent
//!   link, or a box without settings), with its `sign`, so that colour is not alone; `lines`: the rest in words.
//! - `head`, `next`, `todo`: what people see first: one word, whether the next rider may go, and what to do now. Of
//!   several boxes the worst rules these, `level`, `sign`, `permit` and `siren`, and is named in `todo`; the rest is of the
//!   first; `boxes` has each in full, with the pressure as the gauge shows it (`shown`), or null where it is not known.
//! - `all`: with several boxes the one permit of all of them in words, else null. A box that is lost or of another jump
//!   counts as a stop.
//! - `other_jump`: null, or that the box is set for another jump than the site file's, with both.
//! - `trace`: seconds before now (negative) and gauge pressure, the last minute, oldest first.
//! - `forecast_s`: seconds until the stop pressure if the bag goes on losing air.
//! - `limits`: what the box uses; empty until it has said so.
//! - `gauge`: the unit that pressures are shown in, as the site's gauge shows them.

use std::sync::atomic::AtomicBool;
use std::sync::mpsc::sync_channel;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::SystemTime;

use landfall_core::watch::{State, WatchSettings};
use landfall_firmware::link::Status;
use serde_json::{Value, json};

use landfall_box::CAUTION;
use landfall_box::calibrate::caution;
use landfall_box::live::{Brought, Seen};
use landfall_box::sources::{Place, Source, run};
use landfall_box::together::together;
use landfall_plan::report::{places, unit};
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Dimension, Gauge, Units};

/// How much of the pressure the page gets, s.
const TRACE_S: f64 = 60.0;
/// Landings and events that it gets.
const LAST: usize = 8;

/// A box that is followed.
#[derive(Debug)]
pub struct Live {
    simulated: bool,
    gauge: Gauge,
    /// One at least.
    seen: Mutex<Vec<Seen>>,
}

impl Live {
    /// Follows boxes until `stop`, in threads of their own; pressures are shown as the site's gauge shows them.
    #[must_use]
    pub fn start(boxes: Vec<Source>, gauge: Gauge, stop: &Arc<AtomicBool>) -> Arc<Self> {
        let simulated = boxes.iter().any(|source| matches!(source.place, Place::Simulated(_)));
        let seen = boxes.iter().map(|source| Seen::new(&source.name).beside(Some(gauge))).collect();
        let live = Arc::new(Self { seen: Mutex::new(seen), simulated, gauge });
        let taker = Arc::clone(&live);
        let (to, from) = sync_channel(10_000);
        for (index, source) in boxes.into_iter().enumerate() {
            let (stop, to) = (Arc::clone(stop), to.clone());
            thread::spawn(move || run(&source, index, false, &stop, &to));
        }
        thread::spawn(move || from.iter().for_each(|(index, brought)| taker.take(index, &brought)));
        live
    }

    fn seen(&self) -> MutexGuard<'_, Vec<Seen>> {
        self.seen.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn take(&self, index: usize, brought: &Brought) {
        if let Some(seen) = self.seen().get_mut(index) {
            // What is worth a line of text is among the events.
            let _ = seen.take(brought);
        }
    }

    /// What the site that is ridden would set a box for: one that is set for another is told.
    pub fn expect(&self, plan: &WatchSettings) {
        self.seen().iter_mut().for_each(|seen| seen.plan = Some(*plan));
    }

    /// The object described [above](self).
    #[must_use]
    pub fn json(&self) -> Value {
        let mut value = all_told(&self.seen());
        if let Some(map) = value.as_object_mut() {
            map.insert("simulated".to_owned(), json!(self.simulated));
            map.insert("gauge".to_owned(), told_gauge(self.gauge));
            map.insert("caution".to_owned(), json!(CAUTION));
        }
        value
    }
}

/// The unit that the gauge shows: its name, how many of it a pascal is, and the places it has.
fn told_gauge(gauge: Gauge) -> Value {
    let shown = Shown::new(Units::Metric, gauge);
    let per_pa = shown.value(Dimension::Pressure, 1.0);
    json!({"unit": unit(shown, Dimension::Pressure), "per_pa": per_pa, "places": places(shown, Dimension::Pressure)})
}

/// What the box uses, in words as the gauge shows it, rounded to the careful side.
fn limits(seen: &Seen, settings: &WatchSettings) -> Vec<Value> {
    let named = [
        ("siren at or under", settings.trip_pa(), Toward::Up),
        ("no new rider under", settings.hold_pa(), Toward::Up),
        ("blowers hold", settings.operating_pa, Toward::Nearest),
        ("too firm above", settings.high_pa, Toward::Down),
    ];
    named.map(|(name, pa, to)| json!({"name": name, "pa": pa, "shown": seen.pressure(f64::from(pa), to)})).to_vec()
}

/// How grave a state is, and its sign.
const fn level(state: Option<State>) -> (&'static str, &'static str) {
    match state {
        Some(State::Ride) => ("note", "●"),
        Some(State::Stop | State::Fault) | None => ("stop", "■"),
        Some(State::Check | State::Fill | State::Wait | State::Ended) => ("caution", "▲"),
    }
}

/// What a box says with its permit on, alone and as one of several.
const PERMIT_ON: &str = "The permit is on.";
const OWN_PERMIT_ON: &str = "This box's own permit is on; that of all of them counts.";

/// What is known of all boxes: each in full, the first besides, the worst on top.
fn all_told(boxes: &[Seen]) -> Value {
    let Some(one) = boxes.first() else { return json!({}) };
    let mut value = told(one);
    let each = boxes.iter().map(|seen| {
        let (mut value, first) = (told(seen), seen.first());
        if boxes.len() > 1
            && let Some(lines) = value.get_mut("lines").and_then(Value::as_array_mut)
        {
            // What one of them says is not what all of them say.
            lines.iter_mut().filter(|line| **line == PERMIT_ON).for_each(|line| *line = json!(OWN_PERMIT_ON));
        }
        if let Some(map) = value.as_object_mut() {
            // The level and the sign of what is said first, not those of the state alone.
            map.insert("source".to_owned(), json!(seen.name));
            map.insert("head".to_owned(), json!(first.head));
            map.insert("next".to_owned(), json!(first.next));
            map.insert("todo".to_owned(), json!(first.todo));
            map.insert("level".to_owned(), json!(first.level.word()));
            map.insert("sign".to_owned(), json!(first.level.sign()));
            map.insert("shown".to_owned(), json!(seen.pressure_now()));
        }
        value
    });
    let (each, all) = (each.collect::<Vec<_>>(), together(boxes));
    let said: Vec<String> = boxes.iter().filter_map(Seen::other_jump).collect();
    let Some(map) = value.as_object_mut() else { return value };
    let first = all.as_ref().map_or_else(|| one.first(), |all| all.told.clone());
    map.insert("head".to_owned(), json!(first.head));
    map.insert("next".to_owned(), json!(first.next));
    map.insert("todo".to_owned(), json!(first.todo));
    map.insert("level".to_owned(), json!(first.level.word()));
    map.insert("sign".to_owned(), json!(first.level.sign()));
    map.insert("other_jump".to_owned(), if said.is_empty() { Value::Null } else { json!(said.join(" ")) });
    map.insert("all".to_owned(), Value::Null);
    if let Some(all) = all {
        map.insert("permit".to_owned(), json!(all.permit));
        map.insert("siren".to_owned(), json!(all.siren));
        map.insert("all".to_owned(), json!(format!("All of them: {}", all.permit_words())));
    }
    map.insert("source".to_owned(), json!(boxes.iter().map(|seen| seen.name.as_str()).collect::<Vec<_>>().join(", ")));
    map.insert("boxes".to_owned(), json!(each));
    value
}

/// What is known of a box.
fn told(seen: &Seen) -> Value {
    let limits = seen.in_force().map(|settings| limits(seen, &settings)).unwrap_or_default();
    let events: Vec<&String> = seen.events.iter().rev().take(LAST).collect();
    let (silent, quiet_s) = (seen.silent().is_some(), seen.quiet().as_secs_f64());
    let Some(s) = seen.status.filter(|_| !silent) else {
        let text = if silent {
            // Without the seconds, which would be read aloud each time.
            "LINK SILENT: nothing here shows the bag. Look at the box's own lamp.".to_owned()
        } else {
            "Waiting for the box's first status.".to_owned()
        };
        let why = seen.lost.as_ref().map_or_else(String::new, |why| format!(" ({why})"));
        let lines = if silent { vec![format!("Nothing heard for {quiet_s:.0} s{why}.")] } else { Vec::new() };
        return json!({
            "silent": silent, "quiet_s": quiet_s, "level": "stop", "sign": "■", "state": text, "word": null,
            "permit": null, "siren": null, "supply": null, "button": null, "fault": null, "at_s": null,
            "pressure_pa": null, "landings": null, "since_landing_s": null, "forecast_s": null, "limits": limits,
            "trace": [], "last_landings": [], "lines": lines, "events": events,
        });
    };
    let state = s.state.map(|(state, _)| state);
    let fault = s.fault.map(|fault| fault.word().replace('_', " "));
    let text = s.state.map_or_else(
        || "the box has no settings and watches nothing; landfall arm makes them".to_owned(),
        |(state, reason)| format!("{}: {}", state.word(), reason.word().replace('_', " ")),
    );
    let now_s = s.at.seconds();
    let trace: Vec<[f64; 2]> = seen
        .trace
        .iter()
        .filter(|(at_s, _)| now_s - at_s <= TRACE_S)
        .map(|(at_s, pa)| [(100.0 * (at_s - now_s)).round() / 100.0, (10.0 * pa).round() / 10.0])
        .collect();
    let landings: Vec<Value> = seen
        .landings
        .iter()
        .rev()
        .take(LAST)
        .map(|(at_s, one)| {
            json!({
                "count": one.count, "at_s": at_s - f64::from(one.ago_s), "peak_pa": one.peak_pa, "dip_pa": one.dip_pa,
                "recovery_s": one.recovery_s,
            })
        })
        .collect();
    let (level, sign) = level(state);
    json!({
        "silent": false, "quiet_s": quiet_s, "level": level, "sign": sign, "state": text, "word": state.map(State::word),
        "permit": s.permit, "siren": s.siren, "supply": s.supply, "button": s.button, "fault": fault, "at_s": now_s,
        "pressure_pa": s.gauge_pa, "landings": s.landings, "since_landing_s": s.since_landing_s,
        "forecast_s": s.forecast_s, "limits": limits, "trace": trace, "last_landings": landings,
        "lines": lines(seen, &s, fault.as_deref()), "events": events,
    })
}

/// How things are besides the state, gravest first.
fn lines(seen: &Seen, s: &Status, fault: Option<&str>) -> Vec<String> {
    let mut lines = Vec::new();
    if s.siren {
        lines.push("SIREN: everybody off the line and off the bag.".to_owned());
    }
    if let Some(forecast_s) = s.forecast_s {
        lines.push(format!("STOP PRESSURE IN {forecast_s:.0} s if it goes on like this."));
    }
    if s.supply == Some(false) {
        lines.push("The blowers' supply is off.".to_owned());
    }
    if let Some(fault) = fault {
        lines.push(format!("Fault: {fault}."));
    }
    lines.extend(seen.beside_words().into_iter().map(|words| format!("{words}.")));
    lines.push(if s.permit { PERMIT_ON } else { "The permit is off: no new rider." }.to_owned());
    let since = s.since_landing_s.map_or_else(String::new, |since_s| format!(", the last {since_s:.0} s ago"));
    lines.extend(seen.calibration.and_then(|held| caution(held.as_ref(), SystemTime::now())));
    lines.push(format!("Landings: {}{since}.", s.landings));
    if let Some((_, last)) = seen.landings.back() {
        let back = match last.recovery_s {
            Some(recovery_s) => format!("the air was back {recovery_s:.1} s later"),
            None => "the air was not back in the time computed".to_owned(),
        };
        let [peak, dip] = [last.peak_pa, last.dip_pa].map(|pa| seen.pressure(f64::from(pa), Toward::Nearest));
        lines.push(format!("Last landing: up to {peak}, then a dip of {dip}; {back}."));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use landfall_core::watch::{Reason, TimeUs};
    use landfall_firmware::link::FromBox;

    fn status(at_s: u64, gauge_pa: f32) -> Status {
        Status {
            at: TimeUs(at_s * 1_000_000),
            state: Some((State::Ride, Reason::Normal)),
            permit: true,
            gauge_pa: Some(gauge_pa),
            supply: Some(true),
            landings: 3,
            ..Status::default()
        }
    }

    /// The page at the bag reads what the gauge beside it reads; a limit to its careful side.
    #[test]
    fn pressures_are_shown_as_the_gauge_shows_them() {
        let told = told_gauge(Gauge::InH2O);
        assert!((told["per_pa"].as_f64().unwrap() * 249.089 - 1.0).abs() < 1e-5, "{told}");
        assert_eq!((told["unit"].as_str(), told["places"].as_u64()), (Some("inH2O"), Some(2)));
        let seen = Seen::new("box").beside(Some(Gauge::InH2O));
        let settings = WatchSettings::EXAMPLE;
        let shown = Shown::new(Units::Metric, Gauge::InH2O);
        let expected = [
            shown.pressure(f64::from(settings.trip_pa()), Toward::Up),
            shown.pressure(f64::from(settings.hold_pa()), Toward::Up),
        ];
        let limits = limits(&seen, &settings);
        for (limit, expected) in limits.iter().zip(&expected) {
            assert_eq!(limit["shown"].as_str(), Some(expected.as_str()), "{limit}");
        }
        assert!(limits.len() == 4 && expected[0].ends_with(" inH2O"), "{limits:?}");
    }

    fn taken(all: &[Status]) -> Seen {
        let mut seen = Seen::new("box");
        for status in all {
            seen.take(&Brought::Message(Box::new(FromBox::Status(*status))));
        }
        seen
    }

    #[test]
    fn the_last_minute_and_the_state_are_told() {
        let all: Vec<Status> = (0..100).map(|s| status(s, 1000.0 + s as f32)).collect();
        let told = told(&taken(&all));
        assert_eq!((told["state"].as_str(), told["level"].as_str()), (Some("ride: normal"), Some("note")));
        assert_eq!((told["pressure_pa"].as_f64(), told["landings"].as_u64()), (Some(1099.0), Some(3)));
        let trace = told["trace"].as_array().unwrap();
        assert_eq!((trace.len(), &trace[0], &trace[60]), (61, &json!([-60.0, 1039.0]), &json!([0.0, 1099.0])));
    }

    #[test]
    fn what_people_see_first_comes_first_and_of_several_the_worst() {
        let ride = taken(&[status(5, 1000.0)]);
        let alone = all_told(std::slice::from_ref(&ride));
        assert_eq!((alone["head"].as_str(), alone["next"].as_str()), (Some("RIDE"), Some("next rider: go")));
        assert_eq!((alone["other_jump"].is_null(), alone["boxes"].as_array().unwrap().len()), (true, 1));
        let stop =
            Status { state: Some((State::Stop, Reason::AirLost)), permit: false, siren: true, ..status(5, 300.0) };
        let mut other = taken(&[stop]);
        other.name = "other".to_owned();
        other.take(&Brought::Message(Box::new(FromBox::Settings(Some(WatchSettings::EXAMPLE)))));
        other.plan = Some(WatchSettings { site_id: 9, ..WatchSettings::EXAMPLE });
        let both = all_told(&[ride, other]);
        assert_eq!((both["head"].as_str(), both["level"].as_str()), (Some("ALL STOP"), Some("stop")));
        assert_eq!((both["permit"].as_bool(), both["siren"].as_bool()), (Some(false), Some(true)));
        assert!(
            both["todo"].as_str().unwrap().contains("other: The air is going. Nobody on the bag until the air is back")
        );
        assert!(both["other_jump"].as_str().unwrap().contains("ANOTHER JUMP"));
        assert_eq!((both["all"].as_str(), alone["all"].is_null()), (Some("All of them: permit OFF"), true));
        let each = both["boxes"].as_array().unwrap();
        assert_eq!((each[0]["source"].as_str(), each[0]["head"].as_str()), (Some("box"), Some("RIDE")));
        assert_eq!((each[1]["level"].as_str(), each[1]["shown"].as_str()), (Some("stop"), Some("300 Pa")));
        assert_eq!(each[0]["trace"].as_array().unwrap().len(), 1);
        assert!(alone["lines"].to_string().contains(PERMIT_ON));
        assert!(
            !each[0]["lines"].to_string().contains(PERMIT_ON)
                && each[0]["lines"].to_string().contains("of all of them")
        );
    }

    #[test]
    fn what_goes_wrong_is_in_the_words() {
        let low = Status {
            state: Some((State::Wait, Reason::Normal)),
            permit: false,
            supply: Some(false),
            forecast_s: Some(7.4),
            ..status(9, 700.0)
        };
        let told_low = told(&taken(&[low]));
        let text = told_low["lines"].to_string();
        assert!(text.contains("supply is off") && text.contains("STOP PRESSURE IN 7 s"), "{text}");
        assert!(text.contains("no new rider") && !text.contains("SIREN"), "{text}");
        assert_eq!((told_low["level"].as_str(), told_low["sign"].as_str()), (Some("caution"), Some("▲")));
        let bare = told(&taken(&[Status { state: None, ..status(1, 0.0) }]));
        assert_eq!((bare["level"].as_str(), bare["word"].is_null()), (Some("stop"), true));
    }

    #[test]
    fn a_silent_link_leaves_no_old_figure_standing() {
        let mut seen = taken(&[status(5, 1000.0)]);
        seen.take(&Brought::Lost("gone".to_owned()));
        let told = told(&seen);
        assert!(told["state"].as_str().unwrap().contains("LINK SILENT"), "{told}");
        assert_eq!((told["silent"].as_bool(), told["level"].as_str()), (Some(true), Some("stop")));
        for key in ["pressure_pa", "permit", "word", "landings", "forecast_s"] {
            assert!(told[key].is_null(), "{key}");
        }
        assert_eq!(told["trace"].as_array().unwrap().len(), 0);
    }
}
