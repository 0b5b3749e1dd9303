//! A day of the computed box, put down as evidence, against the recording of the same day.

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

    // Where the log had no room for landings one by one, the hours' figures tell that people had landed.
    let without: Vec<Logged> =
        records.iter().filter(|one| !matches!(one.entry.what, Noted::Watch(What::Landed(_)))).cloned().collect();
    let counted = Figures::of(&without);
    assert!(counted.landings.is_empty() && counted.landings_counted as usize == figures.landings.len());
    let first = |figures: &Figures| figures.stops.iter().map(|stop| stop.before_landing).collect::<Vec<_>>();
    assert_eq!(first(&counted), first(&figures));

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
    assert!(words.contains("sensor not believed: nack, before anybody had landed"), "{words}");
    assert!(words.contains("Ines (as stated).") && words.contains("Tom (as stated)."), "{words}");
    assert!(words.contains("(tube pulled off) the box stopped; for the blowers' supply the box stopped."), "{words}");
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
fn a_stuck_button_is_no_tried_tube_and_no_fault_of_the_sensor() {
    let of = |fault: Fault| {
        let faulted = Noted::Watch(What::Faulted(fault));
        let list = [change(State::Check, State::Fill), faulted, change(State::Fill, State::Fault)];
        Figures::of(&list.into_iter().zip(1..).map(|(what, n)| entry(n, 1, what)).collect::<Vec<_>>())
    };
    let (button, nack) = (of(Fault::ButtonStuck), of(Fault::Nack));
    assert!(!button.tube_tried && nack.tube_tried);
    assert_eq!(button.stops[0].fault.map(fault_text).unwrap(), "the button was down for longer than anybody holds it");
    assert_eq!(nack.stops[0].reason, "nack");
}

#[test]
fn the_clock_is_set_by_the_message_that_came_earliest() {
    let at = |ms: u64| SystemTime::UNIX_EPOCH + Duration::from_millis(ms);
    let heard = [(at(100_030), TimeUs(5_000_000)), (at(100_110), TimeUs(5_100_000)), (at(100_450), TimeUs(5_200_000))];
    let clock = clock(&heard).unwrap();
    assert_eq!(clock.zero, at(95_010));
    assert!((clock.within_s - 0.24).abs() < 1e-9);
    assert_eq!(super::clock(&heard[..1]).unwrap().within_s, CLOCK_S);
    assert_eq!(super::clock(&[]), None);
}
