//! `landfall simulate`.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use anyhow::{Context as _, anyhow, bail};
use landfall_box::arm::{ArmError, NEEDED, look};
use landfall_box::bag::STEP_S;
use landfall_box::port::Decoder;
use landfall_box::record::Recorder;
use landfall_box::script::{Scripted, parse, parse_line};
use landfall_box::sim::{Plan, Riders, Sim};
use landfall_firmware::frame::encode;
use landfall_firmware::link::ToBox;
use landfall_plan::plan::box_settings::BoxSensor;
use landfall_plan::plan::compute;
use landfall_plan::site::Sensor;
use landfall_sampling::Stop;

use super::args_box::Simulate;
use super::bar::{stop_on_ctrl_c, with_threads};
use super::{End, input, note, output};

/// Length of a fast simulation that states none, s.
const FAST_S: f64 = 1800.0;

pub(crate) fn run(args: &Simulate) -> anyhow::Result<End> {
    let script = script(args)?;
    let site = input::sampled_site(&args.site, &args.sampling)?;
    let stop = stop_on_ctrl_c()?;
    let results = with_threads(&args.sampling.threads, || compute(&site, NEEDED, &stop))??;
    let settings = if args.bare {
        None
    } else {
        match look(&site, &results, args.sensor, 1) {
            Ok(armed) => {
                armed.notes.iter().filter(|text| text.starts_with("no box")).for_each(|text| note(text));
                Some(armed.settings)
            }
            Err(error @ ArmError::Stop(_)) => bail!("{error}\n--bare runs a box without settings"),
            Err(error) => return Err(error.into()),
        }
    };
    let range_pa = match (args.sensor, settings) {
        (Some(part), _) => BoxSensor::of(part).range_pa,
        (None, Some(settings)) => settings.sensor_high_pa,
        (None, None) => BoxSensor::of(Sensor::default()).range_pa,
    };
    let riders = if args.empty { None } else { Riders::of(&site, &results) };
    let plan = Plan { settings, range_pa, riders, script, seed: site.spread.seed, full: args.full };
    let sim = Sim::new(&site, plan)?;
    if args.fast { fast(args, sim, &stop) } else { terminal(args, sim, &stop) }
}

fn script(args: &Simulate) -> anyhow::Result<Vec<Scripted>> {
    let mut all = Vec::new();
    if let Some(path) = &args.script {
        let (text, name) = input::text(path)?;
        all = parse(&text).map_err(|faults| anyhow!("{name}: {}", faults.join(&format!("\n{name}: "))))?;
    }
    for line in &args.happenings {
        all.push(parse_line(line).map_err(|fault| anyhow!("--do {line:?}: {fault}"))?);
    }
    Ok(all)
}

fn fast(args: &Simulate, mut sim: Sim, stop: &Stop) -> anyhow::Result<End> {
    let steps = (args.length.unwrap_or(FAST_S).clamp(0.0, 1e7) / STEP_S).round() as u64;
    let mut recorder = Recorder::new(Vec::new())?;
    let mut decoder = Decoder::default();
    // As whoever records a box asks it what it uses.
    if let Ok(question) = encode(&ToBox::ReadSettings) {
        sim.hear(question.bytes());
    }
    for _ in 0..steps {
        if stop.asked.load(Ordering::Relaxed) {
            return Ok(End::Stopped);
        }
        sim.step();
        for message in decoder.take(&sim.said()).iter().flatten() {
            recorder.take(message)?;
        }
    }
    let text = String::from_utf8(recorder.into_inner()).context("the recording is no text")?;
    args.output.put(&text)?;
    note(&format!("{:.0} s simulated, {} landings", sim.time_s(), sim.landings()));
    Ok(End::Inside)
}

#[cfg(not(unix))]
fn terminal(_args: &Simulate, _sim: Sim, _stop: &Arc<Stop>) -> anyhow::Result<End> {
    bail!("this system has no pseudo-terminals: use --fast")
}

/// Happenings that are typed, each ended with Enter.
#[cfg(unix)]
fn typed() -> std::sync::mpsc::Receiver<String> {
    let (to, from) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        for line in std::io::stdin().lines().map_while(Result::ok) {
            if to.send(line).is_err() {
                return;
            }
        }
    });
    from
}

#[cfg(unix)]
fn terminal(args: &Simulate, mut sim: Sim, stop: &Arc<Stop>) -> anyhow::Result<End> {
    use landfall_box::port::Terminal;
    let line = Terminal::new().context("no pseudo-terminal")?;
    output::stdout(&format!("{}\n", line.path()))?;
    note(&format!("a box on the bag of the site; in another terminal: landfall watch {}", line.path()));
    let typed = typed();
    let at_readers_pace = args.speed <= 0.0;
    let asked = || stop.asked.load(Ordering::Relaxed);
    while at_readers_pace && !asked() {
        let heard = line.read()?;
        if !heard.is_empty() {
            sim.hear(&heard);
            break;
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    let began = Instant::now();
    let end_s = args.length.unwrap_or(f64::INFINITY);
    while sim.time_s() < end_s && !asked() {
        let heard = line.read()?;
        sim.hear(&heard);
        while let Ok(text) = typed.try_recv() {
            happen(&mut sim, text.trim());
        }
        sim.step();
        let said = sim.said();
        if at_readers_pace {
            if !line.write_whole(&said, Duration::from_secs(60))? {
                note("the reader takes nothing any more");
                return Ok(End::Failed);
            }
            continue;
        }
        line.write_or_drop(&said)?;
        let due = began + Duration::from_secs_f64(sim.time_s() / args.speed);
        std::thread::sleep(due.saturating_duration_since(Instant::now()));
    }
    line.drain(Duration::from_secs(10))?;
    note(&format!("{:.0} s simulated, {} landings", sim.time_s(), sim.landings()));
    Ok(if asked() { End::Stopped } else { End::Inside })
}

/// What was typed, from now on.
#[cfg(unix)]
fn happen(sim: &mut Sim, text: &str) {
    if text.is_empty() {
        return;
    }
    match parse_line(&format!("0 s: {text}")) {
        Ok(one) => {
            let now_s = sim.time_s();
            sim.add(Scripted { at_s: now_s, until_s: now_s + one.until_s, ..one });
            note(&format!("{now_s:.1} s: {text}"));
        }
        Err(fault) => note(&fault),
    }
}
