//! A recording run through the watch: what it does, or with other settings would have done.

use landfall_core::InputError;
use landfall_core::watch::{
    Beside, GaugePa, Input, Output, Parts, ResetCause, SensorFault, Start, State, TimeUs, Watch, WatchSettings,
};
use serde::Serialize;

use super::record::{Recording, Row};

/// Time between two steps of the box, s.
const STEP_S: f64 = 0.02;
/// Rows this close or closer to the box's own pace are fed as they are, s.
const AS_IT_IS: (f64, f64) = (0.012, 0.03);
/// Rows further apart than this, s, or than four usual distances, leave a gap in which the sensor counts as silent.
const GAP_S: f64 = 0.1;
/// A recording with rows further apart than this is not a recording of a watch, s.
const COARSEST_S: f64 = 1.0;

/// A change of what the watch shows.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Change {
    /// When, in the recording's time.
    pub time_s: f64,
    /// State from then on.
    pub state: &'static str,
    /// Riding may go on.
    pub permit: bool,
    /// The siren is called for.
    pub siren: bool,
    /// Why.
    pub reason: &'static str,
    /// The sensor's fault, if any.
    pub fault: Option<&'static str>,
    /// Filtered pressure, Pa.
    pub gauge_pa: Option<f32>,
}

/// A landing that the watch counted.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Landed {
    /// When its spike began, in the recording's time.
    pub time_s: f64,
    /// Highest filtered pressure.
    pub peak_pa: f32,
    /// Until the dip was over; null: not in time.
    pub recovery_s: Option<f32>,
    /// Deepest dip under the resting pressure.
    pub dip_pa: f32,
}

/// What the watch did.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Replayed {
    /// Every change of state, permit, siren or reason; the first is the beginning.
    pub changes: Vec<Change>,
    /// Every landing.
    pub landings: Vec<Landed>,
    /// Time with the permit, s.
    pub permit_s: f64,
    /// Time with the siren called for, s.
    pub siren_s: f64,
    /// Lowest filtered pressure with the permit on, Pa; none: it was never on.
    pub least_pa: Option<f32>,
    /// Time replayed, s.
    pub length_s: f64,
    /// To know.
    pub notes: Vec<String>,
}

/// Why nothing was replayed.
#[derive(Debug)]
#[non_exhaustive]
pub enum ReplayError {
    /// The watch refuses the settings.
    Settings(InputError),
    /// The rows are too far apart.
    Coarse(f64),
    /// Nothing says what the box went by.
    NoSettings,
}

impl std::fmt::Display for ReplayError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Settings(error) => write!(f, "the watch refuses these settings: {error}"),
            Self::NoSettings => write!(
                f,
                "the recording does not say what the box went by; name it with --site SITE or --settings FILE"
            ),
            Self::Coarse(s) => write!(
                f,
                "column time_s: rows are {s:.2} s apart; the watch needs 50 a second, and fewer than one a second tell it nothing"
            ),
        }
    }
}

impl std::error::Error for ReplayError {}

/// What one step is fed with, at which time.
struct Feed {
    time_s: f64,
    reading: Result<GaugePa, SensorFault>,
    supply: Option<bool>,
    button: bool,
    start: Option<ResetCause>,
}

impl Feed {
    const fn of(row: &Row) -> Self {
        Self { time_s: row.time_s, reading: row.reading, supply: row.supply, button: row.button, start: row.start }
    }
}

/// The rows at the pace of the box, silent where there are none.
fn feeds(recording: &Recording, notes: &mut Vec<String>) -> Result<Vec<Feed>, ReplayError> {
    let rows = &recording.rows;
    let mut apart: Vec<f64> = rows.windows(2).map(|pair| pair[1].time_s - pair[0].time_s).collect();
    apart.sort_by(f64::total_cmp);
    let usual_s = apart.get(apart.len() / 2).copied().unwrap_or(STEP_S);
    if usual_s > COARSEST_S {
        return Err(ReplayError::Coarse(usual_s));
    }
    let as_it_is = usual_s >= AS_IT_IS.0 && usual_s <= AS_IT_IS.1;
    if !as_it_is {
        let how = if usual_s < STEP_S { "the latest row counts" } else { "values between two rows lie on a line" };
        notes.push(format!("rows are {:.0} ms apart and the watch steps every 20 ms: {how}", usual_s * 1e3));
    }
    let gap_s = GAP_S.max(4.0 * usual_s);
    let (mut out, mut gaps) = (Vec::new(), 0_u32);
    let silent = |time_s: f64, last: &Row| Feed {
        time_s,
        reading: Err(SensorFault::NotReady),
        supply: last.supply,
        button: false,
        start: None,
    };
    let mut next_s = rows.first().map_or(0.0, |row| row.time_s);
    for (index, row) in rows.iter().enumerate() {
        let before = index.checked_sub(1).and_then(|i| rows.get(i));
        if let Some(last) = before.filter(|last| row.time_s - last.time_s > gap_s && row.start.is_none()) {
            gaps += 1;
            // A recording may be hours with days between: a minute of silence says all there is to say.
            let steps = ((row.time_s - last.time_s) / STEP_S - 0.5).min(3000.0) as u32;
            let from_s = (row.time_s - f64::from(steps) * STEP_S).max(last.time_s);
            out.extend(
                (0..steps)
                    .map(|n| silent(from_s + f64::from(n) * STEP_S, last))
                    .filter(|f| f.time_s > last.time_s + 0.5 * STEP_S),
            );
            next_s = row.time_s;
        }
        if as_it_is {
            out.push(Feed::of(row));
            continue;
        }
        if row.start.is_some() {
            next_s = row.time_s;
        }
        // Ticks up to and with this row.
        while next_s <= row.time_s + 1e-9 {
            let mut feed = Feed::of(row);
            if let (Some(last), true) = (before, usual_s > STEP_S) {
                let share = ((next_s - last.time_s) / (row.time_s - last.time_s)).clamp(0.0, 1.0);
                if let (Ok(a), Ok(b)) = (last.reading, row.reading) {
                    feed.reading = Ok(GaugePa(a.0 + (b.0 - a.0) * share as f32));
                } else if share < 1.0 {
                    feed.reading = last.reading;
                }
                if share < 1.0 {
                    (feed.supply, feed.button) = (last.supply, last.button);
                }
            }
            feed.time_s = next_s;
            out.push(feed);
            next_s += STEP_S;
        }
    }
    if gaps > 0 {
        notes.push(format!("{gaps} gap(s) of more than {:.0} ms: replayed as a silent sensor", gap_s * 1e3));
    }
    Ok(out)
}

/// Runs a recording through the watch. `stored_zero_pa` is used where the recording does not begin on a vented bag.
///
/// # Errors
/// [`ReplayError`].
pub fn replay(recording: &Recording, settings: &WatchSettings, stored_zero_pa: f32) -> Result<Replayed, ReplayError> {
    replay_with(recording, &[(0.0, *settings)], stored_zero_pa)
}

/// The same with settings that change: each from a time of the recording on, s, the first from the beginning.
///
/// # Errors
/// [`ReplayError`].
pub fn replay_with(
    recording: &Recording,
    in_force: &[(f64, WatchSettings)],
    stored_zero_pa: f32,
) -> Result<Replayed, ReplayError> {
    let Some(((_, first), mut later)) = in_force.split_first() else { return Err(ReplayError::NoSettings) };
    let mut settings = *first;
    let mut done = Replayed { notes: recording.notes.clone(), ..Replayed::default() };
    if settings.parts != Parts::NONE {
        done.notes.push(
            "the box had parts beside its sensor; a recording does not hold what they said, and this is without them"
                .into(),
        );
    }
    settings = settings.with_parts(Parts::NONE);
    let feeds = feeds(recording, &mut done.notes)?;
    if settings.supply_sense && !recording.has_supply {
        done.notes.push("no supply column: the supply is taken to be on throughout".into());
    }
    if !settings.supply_sense && recording.has_supply {
        done.notes.push("these settings do not sense the supply: its column is not used".into());
    }
    let first_s = feeds.first().map_or(0.0, |feed| feed.time_s);
    if let Some(Ok(first)) = feeds.first().map(|feed| feed.reading)
        && first.0.abs() > settings.zero_limit_pa
    {
        done.notes.push(format!(
            "the recording begins at {:.0} Pa, not on a vented bag: zero taken as {stored_zero_pa} Pa, and trial and settling \
             come first, whatever the box did then",
            first.0
        ));
    }
    let begin = |settings: &WatchSettings, start: Start| Watch::new(*settings, start).map_err(ReplayError::Settings);
    let cause = feeds.first().and_then(|feed| feed.start).unwrap_or(ResetCause::PowerOn);
    let mut watch =
        begin(&settings, Start { cause, stored_zero_pa: Some(stored_zero_pa), unacknowledged: false, duty: false })?;
    let mut last: Option<(Output, f64)> = None;
    for (index, feed) in feeds.iter().enumerate() {
        let mut cause = feed.start.filter(|_| index > 0);
        while let Some(((_, next), rest)) = later.split_first().filter(|((at_s, _), _)| *at_s < feed.time_s) {
            later = rest;
            let next = next.with_parts(Parts::NONE);
            // Thresholds of the day's air are taken over under way; other settings make the watch begin anew.
            if !watch.adopt(&next) && next != settings {
                cause = cause.or(Some(ResetCause::Software));
            }
            settings = next;
        }
        if let Some(cause) = cause {
            let before = last.as_ref().map(|(output, _)| output);
            watch = begin(
                &settings,
                Start {
                    cause,
                    stored_zero_pa: before.and_then(|output| output.zero_pa).or(Some(stored_zero_pa)),
                    unacknowledged: before.is_some_and(|output| output.unacknowledged),
                    duty: before.is_some_and(|output| output.duty),
                },
            )?;
        }
        let input = Input {
            now: TimeUs(((feed.time_s - first_s) * 1e6).round() as u64),
            reading: feed.reading,
            supply: settings.supply_sense.then_some(feed.supply.unwrap_or(true)),
            button: feed.button,
            test: false,
            temperature_degc: None,
            beside: Beside::NOTHING,
        };
        let output = watch.step(&input);
        if let Some((before, at_s)) = &last {
            let dt_s = (feed.time_s - at_s).min(1.0);
            done.permit_s += if before.permit { dt_s } else { 0.0 };
            done.siren_s += if before.siren { dt_s } else { 0.0 };
        }
        if let (true, Some(gauge_pa)) = (output.permit, output.gauge_pa) {
            done.least_pa = Some(done.least_pa.map_or(gauge_pa, |pa| pa.min(gauge_pa)));
        }
        let shown = |output: &Output| (output.state, output.permit, output.siren, output.reason);
        if last.as_ref().is_none_or(|(before, _)| shown(before) != shown(&output)) {
            done.changes.push(Change {
                time_s: feed.time_s,
                state: output.state.word(),
                permit: output.permit,
                siren: output.siren,
                reason: output.reason.word(),
                fault: output.fault.map(|fault| fault.word()),
                gauge_pa: output.gauge_pa,
            });
        }
        if let Some(landing) = output.landing {
            done.landings.push(Landed {
                time_s: ((feed.time_s - f64::from(landing.ago_s)) * 1e3).round() * 1e-3,
                peak_pa: landing.peak_pa,
                recovery_s: landing.recovery_s,
                dip_pa: landing.dip_pa,
            });
        }
        last = Some((output, feed.time_s));
    }
    done.length_s = last.map_or(0.0, |(_, at_s)| at_s - first_s);
    Ok(done)
}

/// Sets one of the watch's own values by its name; half-way follows stop and operating pressure. False for a name
/// that is none of them.
///
/// # Errors
/// What is wrong with the value.
pub fn set(settings: &mut WatchSettings, key: &str, value: &str) -> Result<bool, String> {
    let name = key.strip_prefix("watch.").unwrap_or(key);
    if name == "supply_sense" {
        settings.supply_sense = match value {
            "true" | "1" => true,
            "false" | "0" => false,
            _ => return Err(format!("{key}: {value:?} is neither true nor false")),
        };
        return Ok(true);
    }
    let place = match name {
        "stop_pa" => &mut settings.stop_pa,
        "wait_pa" => &mut settings.wait_pa,
        "operating_pa" => &mut settings.operating_pa,
        "high_pa" => &mut settings.high_pa,
        "pressure_max_pa" => &mut settings.pressure_max_pa,
        "needed_s" => &mut settings.needed_s,
        "recovery_s" => &mut settings.recovery_s,
        "landing_dip_pa" => &mut settings.landing_dip_pa,
        "landing_spike_pa" => &mut settings.landing_spike_pa,
        "landing_peak_pa" => &mut settings.landing_peak_pa,
        "interval_s" => &mut settings.interval_s,
        "sensor_low_pa" => &mut settings.sensor_low_pa,
        "sensor_high_pa" => &mut settings.sensor_high_pa,
        "sensor_step_pa" => &mut settings.sensor_step_pa,
        "sensor_error_pa" => &mut settings.sensor_error_pa,
        "noise_low_pa" => &mut settings.noise_low_pa,
        "noise_high_pa" => &mut settings.noise_high_pa,
        "rate_limit_paps" => &mut settings.rate_limit_paps,
        "zero_limit_pa" => &mut settings.zero_limit_pa,
        "sensor_noise_pa" => &mut settings.sensor_noise_pa,
        "half_way_pa" => return Err(format!("{key} follows from stop_pa and operating_pa")),
        _ => return Ok(false),
    };
    let unit = if name.ends_with("_s") {
        "s"
    } else if name.ends_with("_paps") {
        "Pa/s"
    } else {
        "Pa"
    };
    let number = value.trim().strip_suffix(unit).unwrap_or(value).trim();
    *place = number.parse().map_err(|_| format!("{key}: {value:?} is not a number in {unit}"))?;
    settings.half_way_pa = 0.5 * (settings.stop_pa + settings.operating_pa);
    settings.wait_pa = settings.wait_pa.max(settings.stop_pa);
    Ok(true)
}

/// What was replayed, to read.
pub fn text(done: &Replayed) -> String {
    let mut out = format!(
        "{:.1} s replayed: {} landing(s), permit for {:.1} s, siren for {:.1} s\n\n{:>10}  {:<6} {:<7} {:<6} why\n",
        done.length_s,
        done.landings.len(),
        done.permit_s,
        done.siren_s,
        "time, s",
        "state",
        "permit",
        "siren"
    );
    for change in &done.changes {
        let fault = change.fault.map_or(String::new(), |fault| format!(" ({fault})"));
        let gauge = change.gauge_pa.map_or(String::new(), |pa| format!(", {pa:.0} Pa"));
        out += &format!(
            "{:>10.2}  {:<6} {:<7} {:<6} {}{fault}{gauge}\n",
            change.time_s,
            change.state,
            if change.permit { "on" } else { "off" },
            if change.siren { "SIREN" } else { "off" },
            change.reason.replace('_', " "),
        );
    }
    out += &format!("\n{:>10}  landing\n", "time, s");
    for landing in &done.landings {
        let back = landing.recovery_s.map_or("not back in time".into(), |s| format!("back after {s:.1} s"));
        out +=
            &format!("{:>10.2}  to {:.0} Pa, dip {:.0} Pa, {back}\n", landing.time_s, landing.peak_pa, landing.dip_pa);
    }
    if let Some(pa) = done.least_pa {
        out += &format!("\nleast pressure with the permit on: {:.0} Pa\n", pa.floor());
    }
    out += "\n";
    done.notes.iter().for_each(|note| out += &format!("note: {note}\n"));
    out += &format!("note: {}\n", super::CAUTION);
    out
}

/// The states alone, for comparing.
pub fn states(done: &Replayed) -> Vec<(f64, &'static str)> {
    let mut list: Vec<(f64, &'static str)> = Vec::new();
    for change in &done.changes {
        if list.last().is_none_or(|(_, state)| *state != change.state) {
            list.push((change.time_s, change.state));
        }
    }
    list
}

/// Whether the siren was called for at any time.
pub fn alarmed(done: &Replayed) -> bool {
    done.changes.iter().any(|change| change.siren || change.state == State::Stop.word())
}

#[cfg(test)]
mod tests {
    use super::super::noise::Noise;
    use super::super::record::parse;
    use super::*;

    /// A day: vented, filled, at rest, and from 60 s on the air goes in `fall_s`.
    fn day(every_s: f64, fall_s: f64) -> String {
        let mut noise = Noise::new(5);
        let mut text = String::from("time_s,gauge_pa\n");
        for n in 0..(90.0 / every_s) as u32 {
            let t = f64::from(n) * every_s;
            let rest = if t < 4.0 { 0.0 } else { (100.0 * (t - 4.0)).min(1000.0) };
            let pa = if t > 60.0 { rest * (1.0 - (t - 60.0) / fall_s).max(0.0) } else { rest };
            let air = noise.air_pa(pa / 1000.0);
            text += &format!("{t:.3},{}\n", noise.reading_pa(pa + air, 0.0));
        }
        text
    }

    #[test]
    fn a_loss_of_air_stops_whatever_the_pace_of_the_rows() {
        for every_s in [0.005, 0.02, 0.1] {
            let recording = parse(&day(every_s, 20.0), "x").unwrap();
            let done = replay(&recording, &WatchSettings::EXAMPLE, 0.0).unwrap();
            let found = states(&done);
            let ride = found.iter().find(|(_, state)| *state == "ride").unwrap().0;
            let stop = found.iter().find(|(_, state)| *state == "stop" || *state == "fault").unwrap();
            assert!(ride > 14.0 && ride < 25.0 && stop.1 == "stop", "{every_s}: {found:?}");
            // 612 Pa are crossed 7.76 s after the air begins to go; past half-way it falls too fast already.
            assert!(stop.0 > 62.0 && stop.0 < 67.9, "{every_s}: {stop:?}");
        }
    }

    #[test]
    fn what_the_recording_carries_is_what_is_replayed_with() {
        let recording = parse(&day(0.02, 20.0), "x").unwrap();
        let held = WatchSettings::EXAMPLE;
        let lax = WatchSettings { revision: 2, stop_pa: 300.0, wait_pa: 400.0, half_way_pa: 650.0, ..held };
        let siren = |in_force: &[(f64, WatchSettings)]| {
            replay_with(&recording, in_force, 0.0).unwrap().changes.iter().find(|c| c.siren).unwrap().time_s
        };
        assert!(siren(&[(0.0, held)]) < siren(&[(0.0, lax)]));
        // Changed while riding: the later ones hold from then on, and people are still riding.
        let changed = replay_with(&recording, &[(0.0, held), (50.0, lax)], 0.0).unwrap();
        assert_eq!(states(&changed).iter().filter(|(_, state)| *state == "check").count(), 1);
        assert!(siren(&[(0.0, held), (50.0, lax)]) > siren(&[(0.0, held)]));
        assert!(matches!(replay_with(&recording, &[], 0.0), Err(ReplayError::NoSettings)));
    }

    #[test]
    fn a_gap_is_a_silent_sensor() {
        let text: String = day(0.02, 20.0)
            .lines()
            .filter(|line| {
                !line.split(',').next().and_then(|t| t.parse::<f64>().ok()).is_some_and(|t| t > 40.0 && t < 41.0)
            })
            .map(|line| format!("{line}\n"))
            .collect();
        let done = replay(&parse(&text, "x").unwrap(), &WatchSettings::EXAMPLE, 0.0).unwrap();
        let fault = states(&done).into_iter().find(|(_, state)| *state == "fault").unwrap();
        assert!(fault.0 > 40.0 && fault.0 < 40.2, "{fault:?}");
    }

    #[test]
    fn a_higher_stop_pressure_stops_earlier() {
        let recording = parse(&day(0.02, 20.0), "x").unwrap();
        let at =
            |s: &WatchSettings| replay(&recording, s, 0.0).unwrap().changes.iter().find(|c| c.siren).unwrap().time_s;
        let mut other = WatchSettings::EXAMPLE;
        assert_eq!(set(&mut other, "stop_pa", "700 Pa"), Ok(true));
        assert!(at(&other) < at(&WatchSettings::EXAMPLE));
        assert_eq!(set(&mut other, "bag.gap", "1 m"), Ok(false));
        assert!(set(&mut other, "stop_pa", "much").is_err() && set(&mut other, "half_way_pa", "1").is_err());
        set(&mut other, "stop_pa", "5000").unwrap();
        assert!(matches!(replay(&recording, &other, 0.0), Err(ReplayError::Settings(_))));
    }
}
