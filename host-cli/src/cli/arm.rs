//! `landfall arm`.

use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use anyhow::Context as _;
use landfall_box::arm::{ArmError, Armed, NEEDED, arm, json, text};
use landfall_box::file;
use landfall_box::port::Port;
use landfall_box::today;
use landfall_box::upload::{self, greet};
use landfall_core::thresholds::WatchedForm;
use landfall_core::watch::WatchSettings;
use landfall_firmware::link::Verdict;

use super::args_box::Arm;
use super::args_shared::{SiteArg, TextOrJson};
use super::plan::computed;
use super::{End, complain, input, note, output};

/// How long to wait for a box that computes its thresholds.
const COMPUTING: Duration = Duration::from_secs(5);

/// Counts up by itself: seconds since 1970.
fn now() -> u32 {
    SystemTime::now().duration_since(UNIX_EPOCH).map_or(1, |t| u32::try_from(t.as_secs()).unwrap_or(u32::MAX))
}

pub(crate) fn run(args: &Arm) -> anyhow::Result<End> {
    let (settings, form) = match &args.file {
        Some(path) => file::read_with_form(path).with_context(|| output::shown(path))?,
        None => match settings(args)? {
            Some(armed) => (armed.settings, Some(armed.form)),
            None => return Ok(End::Outside),
        },
    };
    if let Some(path) = &args.output {
        let bytes = file::to_replace(path, &settings, form.as_ref(), args.force)
            .with_context(|| format!("{} was not written", output::shown(path)))?;
        output::file(path, &bytes, args.force)?;
        note(&format!(
            "{} written: site {:08x}, revision {}",
            output::shown(path),
            settings.site_id,
            settings.revision
        ));
    }
    match &args.port {
        Some(name) => send(name, &settings, form.as_ref(), args),
        None => Ok(End::Inside),
    }
}

/// Computes and shows them; none where the plan says stop.
fn settings(args: &Arm) -> anyhow::Result<Option<Armed>> {
    let from = SiteArg { site: args.site.clone(), demo: args.demo };
    let site = input::sampled_site(&from, &args.sampling)?;
    // The plan's pressures are those that this sensor can tell.
    let site = match args.sensor {
        Some(part) => site.with_value("watch.sensor", part.word())?,
        None => site,
    };
    let results = computed(&site, NEEDED, &args.sampling.threads)?;
    let armed = match arm(&site, &results, site.watch.sensor, args.revision.unwrap_or_else(now)) {
        Ok(armed) => armed,
        Err(error @ ArmError::Stop(_)) => {
            complain(&error.to_string());
            return Ok(None);
        }
        Err(error) => return Err(error.into()),
    };
    let asked = args.today_pressure.is_some() || args.today_temperature.is_some();
    let narrow = |value: Option<f64>| value.map(|value| value as f32);
    let today = asked.then(|| today::of(&armed, narrow(args.today_pressure), narrow(args.today_temperature)));
    let today = today.transpose().context("no air that a box believes")?;
    let shown = match args.format {
        TextOrJson::Text => text(&armed) + &today.map_or(String::new(), |day| today::text(&armed, &day)),
        TextOrJson::Json => {
            let mut all = json(&armed);
            if let Some(day) = &today {
                all["today"] = today::json(day);
            }
            output::json(&all)?
        }
    };
    output::stdout(&shown)?;
    Ok(Some(armed))
}

fn send(name: &str, settings: &WatchSettings, form: Option<&WatchedForm>, args: &Arm) -> anyhow::Result<End> {
    let mut port = Port::open(name).with_context(|| format!("{name} could not be opened"))?;
    let patience = Duration::from_secs_f64(args.wait.clamp(0.0, 600.0));
    let hello = greet(&mut port)?;
    if let Some((site_id, revision)) = hello.settings {
        note(&format!("the box at {name} has site {site_id:08x}, revision {revision}"));
    }
    // A box that does not compute is not sent what it would compute with.
    let computes = upload::today(&mut port)?.is_some();
    upload::upload(&mut port, settings, form.filter(|_| computes), patience, note)?;
    note(&format!(
        "stored and read back: the box at {name} goes by revision {} now; try its lamps and siren",
        settings.revision
    ));
    let stated = (args.today_pressure, args.today_temperature);
    if let (Some(WatchedForm { site, .. }), true) = (form, computes && stated != (None, None)) {
        let pressure_pa = stated.0.map_or(site.air_pressure_pa, |value| value as f32);
        let temperature_k = stated.1.map_or(site.air_temperature_k, |value| value as f32);
        upload::state_air(&mut port, pressure_pa, temperature_k, patience, note)?;
        note("the box has taken today's air; `landfall watch` shows when its thresholds hold");
    }
    // A small processor computes for a second or two, once the air is known.
    let until = Instant::now() + COMPUTING;
    while let Some(told) = upload::today(&mut port).ok().flatten() {
        if told.verdict != Verdict::Computing || Instant::now() > until {
            note(today::told(&told).trim_end());
            break;
        }
        std::thread::sleep(Duration::from_millis(200));
    }
    Ok(End::Inside)
}
