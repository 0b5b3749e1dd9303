//! The whole watch, filters and timers included, led through every combination of a set of situations until no new
//! kind of state turns up. The promises are checked against the raw inputs, not against the watch's own view.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::collections::{HashSet, VecDeque};

use landfall_core::watch::{GaugePa, Input, Output, ResetCause, SensorFault, Start, State, TimeUs, Watch};
use landfall_tests::watch_site::roomy;

const START_US: u64 = 60_000_000;

/// One situation, lasting a number of steps.
#[derive(Clone, Copy, Debug)]
struct Scene {
    steps: u16,
    reading: Reading,
    supply: bool,
    button: bool,
    test: bool,
    /// Time between steps, ms; negative steps back once.
    step_ms: i64,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Reading {
    /// Steady with noise.
    Live(f32),
    /// Exactly the same each time.
    Dead(f32),
    Bad(SensorFault),
    /// A landing's spike on 1000 Pa.
    Spike,
}

fn scenes() -> Vec<Scene> {
    let plain =
        Scene { steps: 1, reading: Reading::Live(1000.0), supply: true, button: false, test: false, step_ms: 20 };
    let mut out = Vec::new();
    for pa in [0.0, 500.0, 610.0, 700.0, 845.0, 1000.0, 1340.0] {
        for steps in [1, 4, 60, 310] {
            out.push(Scene { steps, reading: Reading::Live(pa), ..plain });
        }
    }
    for (steps, pa) in [(4, 500.0), (110, 500.0), (10, 1000.0), (60, 1000.0), (110, 1000.0), (110, 0.0)] {
        out.push(Scene { steps, reading: Reading::Live(pa), button: true, ..plain });
    }
    for steps in [1, 3, 4, 60] {
        out.push(Scene { steps, reading: Reading::Bad(SensorFault::Crc), ..plain });
    }
    out.push(Scene { steps: 110, reading: Reading::Bad(SensorFault::Nack), button: true, ..plain });
    // Long enough to end the day, with the air and without it.
    for pa in [0.0, 1000.0] {
        out.push(Scene { steps: 410, reading: Reading::Live(pa), button: true, ..plain });
    }
    for (steps, button) in [(1, false), (3, false), (110, true)] {
        out.push(Scene { steps, supply: false, button, ..plain });
    }
    for pa in [0.0, 1000.0] {
        out.push(Scene { steps: 160, reading: Reading::Dead(pa), ..plain });
    }
    out.push(Scene { steps: 20, reading: Reading::Spike, ..plain });
    out.push(Scene { steps: 20, reading: Reading::Spike, button: true, ..plain });
    out.push(Scene { step_ms: 60, ..plain });
    out.push(Scene { step_ms: 200, button: true, ..plain });
    out.push(Scene { step_ms: -40, ..plain });
    out.push(Scene { steps: 30, step_ms: 0, ..plain });
    out.push(Scene { test: true, ..plain });
    out
}

/// What the inputs alone say.
#[derive(Clone, Copy, Debug)]
struct Record {
    /// Steps in a row without a reading, and since four in a row.
    bad_run: u32,
    since_bad: u32,
    /// Good readings in a row at or under the stop pressure.
    low_run: u32,
    /// Good readings since three in a row were at or under the stop pressure.
    since_low: u32,
    /// Steps in a row with the supply off.
    off_run: u32,
    /// Steps in a row, 20 to 40 ms apart, with the button down.
    down_run: u32,
    noise: u32,
    now_us: u64,
}

impl Record {
    fn follow(&mut self, input: &Input, step_ms: i64) {
        let good = matches!(input.reading, Ok(GaugePa(pa)) if pa > -60.0);
        let low = matches!(input.reading, Ok(GaugePa(pa)) if pa <= 600.0);
        self.bad_run = if good { 0 } else { self.bad_run + 1 };
        self.since_bad = if self.bad_run >= 4 || !(0..=60).contains(&step_ms) { 0 } else { self.since_bad + 1 };
        if good && step_ms > 0 {
            self.low_run = if low { self.low_run + 1 } else { 0 };
            self.since_low = if self.low_run >= 3 { 0 } else { self.since_low + 1 };
        }
        self.off_run = if input.supply == Some(false) { self.off_run + 1 } else { 0 };
        self.down_run = if input.button && (0..=40).contains(&step_ms) { self.down_run + 1 } else { 0 };
    }

    /// Every promise, at one step.
    fn check(&self, before: State, duty: bool, out: &Output) -> Result<(), &'static str> {
        let say = |good: bool, what| if good { Ok(()) } else { Err(what) };
        say(out.permit == (out.state == State::Ride) && out.pins.permit == out.permit, "permit in ride only")?;
        say(out.siren == matches!(out.state, State::Stop | State::Fault), "siren in stop and fault")?;
        say(!(out.permit && out.siren), "permit and siren")?;
        say(!out.pins.siren || out.siren || matches!(out.state, State::Check | State::Fill | State::Wait), "pin")?;
        say(!out.permit || self.bad_run < 4, "rides without readings")?;
        say(!out.permit || self.since_bad >= 4 + 145, "rides soon after a fault")?;
        say(!out.permit || self.low_run < 3, "rides at the stop pressure")?;
        say(!out.permit || self.off_run < 2, "rides with the supply off")?;
        say(!duty || self.low_run < 3 || out.siren, "no siren at the stop pressure")?;
        // For half a second from its first step, which is at most 200 ms after the start, the watch lets the sensor be
        // silent.
        let awake = self.now_us > START_US + 700_000;
        say(!duty || self.bad_run < 4 || out.siren || !awake, "no siren without readings")?;
        if before == State::Stop {
            say(matches!(out.state, State::Stop | State::Wait | State::Ended), "stop left for another state")?;
        }
        if out.state == State::Ended && before != State::Ended {
            say(self.down_run >= 399, "the day ended without the button")?;
            return say(!out.duty && !out.unacknowledged, "ended, and somebody may ride");
        }
        if matches!(before, State::Stop | State::Fault) && !matches!(out.state, State::Stop | State::Fault) {
            say(self.down_run >= 99, "left without the button")?;
            say(out.state == State::Check || self.since_low >= 140, "left without the air")?;
            say(self.since_bad >= 140, "left with a fault")?;
        }
        Ok(())
    }
}

/// Plays a scene; the last output.
fn play(watch: &mut Watch, record: &mut Record, scene: &Scene) -> Output {
    let mut last = None;
    for i in 0..scene.steps {
        record.now_us = record.now_us.saturating_add_signed(scene.step_ms * 1000);
        record.noise = record.noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let noise_pa = (record.noise >> 16) as f32 / 65_536.0 * 8.0 - 4.0;
        let reading = match scene.reading {
            Reading::Live(pa) => Ok(GaugePa(pa + noise_pa)),
            Reading::Dead(pa) => Ok(GaugePa(pa)),
            Reading::Bad(fault) => Err(fault),
            Reading::Spike => {
                Ok(GaugePa(1000.0 + 1500.0 * (f32::from(i) / 20.0 * std::f32::consts::PI).sin() + noise_pa))
            }
        };
        let input = Input {
            reading,
            supply: Some(scene.supply),
            button: scene.button,
            test: scene.test,
            ..Input::reading(TimeUs(record.now_us), 0.0)
        };
        let before = watch.decider().state();
        let duty = watch.decider().duty();
        let out = watch.step(&input);
        let duty = duty && out.duty;
        record.follow(&input, scene.step_ms);
        if let Err(what) = record.check(before, duty, &out) {
            panic!("{what}: step {i} of {scene:?}: {record:?} {out:?} from {before:?}");
        }
        last = Some(out);
    }
    last.unwrap()
}

/// What makes two states of the same kind.
fn kind(out: &Output, watch: &Watch, record: &Record, last: usize) -> String {
    let band =
        out.gauge_pa.map(|p| [0.0, 612.0, 812.0, 832.0, 852.0, 1300.0, 1400.0].iter().filter(|l| p > **l).count());
    format!(
        "{:?} {:?} {:?} {band:?} {} {:?} {} {} {} {} {} {}",
        out.state,
        out.reason,
        out.fault,
        watch.decider().testing(),
        (watch.decider().duty(), out.unacknowledged),
        out.zero_pa.is_some(),
        out.forecast_s.is_some(),
        record.down_run.min(1),
        record.bad_run.min(4),
        record.off_run.min(2),
        // The scene before, so that kinds differ by what the filters and timers still hold.
        last
    )
}

#[test]
fn every_path_through_the_situations_keeps_every_promise() {
    let scenes = scenes();
    let mut seen = HashSet::new();
    let mut queue = VecDeque::new();
    for (unacknowledged, duty, cause) in [
        (false, false, ResetCause::PowerOn),
        (true, false, ResetCause::PowerOn),
        (true, true, ResetCause::PowerOn),
        (false, true, ResetCause::PowerOn),
        (false, true, ResetCause::Watchdog),
    ] {
        for stored_zero_pa in [None, Some(0.0)] {
            let start = Start { unacknowledged, stored_zero_pa, cause, duty };
            let record = Record {
                bad_run: 0,
                since_bad: 1000,
                low_run: 0,
                since_low: 1000,
                off_run: 0,
                down_run: 0,
                noise: 1,
                now_us: START_US,
            };
            queue.push_back((Watch::new(roomy(), start).unwrap(), record, 0));
        }
    }
    let (mut steps, mut paths, mut deepest) = (0u64, 0u64, 0u32);
    let mut states = HashSet::new();
    while let Some((watch, record, depth)) = queue.pop_front() {
        deepest = deepest.max(depth);
        for (i, scene) in scenes.iter().enumerate() {
            let (mut watch, mut record) = (watch.clone(), record);
            let out = play(&mut watch, &mut record, scene);
            steps += u64::from(scene.steps);
            paths += 1;
            states.insert((format!("{:?}", out.state), format!("{:?}", out.reason)));
            if seen.insert(kind(&out, &watch, &record, i)) {
                queue.push_back((watch, record, depth + 1));
            }
        }
    }
    println!(
        "walked: {} kinds of state, {} situations after each, {paths} paths, {steps} steps, {deepest} situations deep, \
         {} pairs of state and reason",
        seen.len(),
        scenes.len(),
        states.len()
    );
    for state in State::ALL {
        assert!(states.iter().any(|(s, _)| *s == format!("{state:?}")), "{state:?} never reached");
    }
}
