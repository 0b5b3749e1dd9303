//! `landfall log`.

use std::path::Path;
use std::time::{Duration, Instant, SystemTime};

use anyhow::{Context as _, bail};
use landfall_box::arm::site_id;
use landfall_box::events::{Logged, csv, download, json, text};
use landfall_box::port::Port;
use landfall_box::session::{self, Figures, Given, Recorded, Stated};
use landfall_box::upload::{calibration, forget, greet, held};
use landfall_firmware::link::{FromBox, Hello};
use landfall_plan::outside;
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Units, read_site};
use landfall_tables::chain;

use super::args_box::Log;
use super::args_shared::Format;
use super::{End, input, output};

/// How long the button is waited for.
const FORGET_WAIT: Duration = Duration::from_secs(55);
/// How long the box is listened to, to set its clock against the laptop's.
const LISTEN: Duration = Duration::from_secs(1);

pub(crate) fn run(args: &Log) -> anyhow::Result<End> {
    // What cannot be put down is told before the box is asked.
    let stated = args.session.as_deref().map(|path| stated(args, path)).transpose()?;
    let mut port = Port::open(&args.port).with_context(|| format!("{} could not be opened", args.port))?;
    let hello = greet(&mut port)?;
    if let Some(site_id) = args.forget {
        let floor = forget(&mut port, site_id, FORGET_WAIT, super::note)?;
        super::note(&format!("the box has forgotten its site; it takes no revision up to {floor} again"));
        return Ok(End::Inside);
    }
    let fetched =
        |port: &mut Port| download(port, args.from).with_context(|| format!("the log of the box at {}", args.port));
    if let (Some(path), Some(stated)) = (&args.session, &stated) {
        let clock = session::clock(&heard(&mut port)?);
        let all = fetched(&mut port)?;
        return put_down(args, path, stated, (&mut port, &hello), clock, &all);
    }
    let all = fetched(&mut port)?;
    let shown = match args.format {
        Format::Text => format!("{}\n{}\n", text(&all), sensor(&mut port, &hello, &all)?),
        Format::Json => output::json(&json(&all))?,
        Format::Csv => csv(&all),
    };
    args.output.put(&shown)?;
    Ok(End::Inside)
}

/// What was stated, and the site that was named with its number.
fn stated(args: &Log, path: &Path) -> anyhow::Result<(Stated, Option<Named>)> {
    if path.symlink_metadata().is_ok() && !args.output.force {
        bail!("{} is there already; it is left as it is. Name another file, or say --force", output::shown(path));
    }
    let riders = args.rider.iter().map(String::as_str);
    let words = [&args.coach, &args.trial, &args.note].into_iter().flatten().map(String::as_str);
    for text in riders.chain(words) {
        if let Some(c) = outside::acting(text) {
            bail!("{:?} holds the control character {}; take it out", outside::plain(text), c.escape_unicode());
        }
    }
    let named = args.site.as_deref().map(|path| -> anyhow::Result<Named> {
        let (text, name) = input::text(path)?;
        let site = read_site(&text, &name)?;
        Ok(Named { id: site_id(&site), shown: Shown::new(Units::Metric, site.site.gauge), name: site.site.name })
    });
    let named = named.transpose()?;
    let stated = Stated {
        coach: args.coach.clone(),
        riders: args.rider.clone(),
        trial: args.trial.clone(),
        note: args.note.clone(),
        site: named.as_ref().map(|named| named.name.clone()),
    };
    Ok((stated, named))
}

/// A site file that was named.
struct Named {
    id: u32,
    name: String,
    shown: Shown,
}

/// When the box's messages came, with its clock in them.
fn heard(port: &mut Port) -> anyhow::Result<Vec<(SystemTime, landfall_core::watch::TimeUs)>> {
    let until = Instant::now() + LISTEN;
    let mut all = Vec::new();
    while Instant::now() < until {
        if let Some(Ok(FromBox::Status(status))) = port.receive()? {
            all.push((SystemTime::now(), status.at));
        }
    }
    Ok(all)
}

/// What there is to say of the sensor, below a log.
fn sensor(port: &mut Port, hello: &Hello, all: &[Logged]) -> anyhow::Result<String> {
    let records = session::last_session(all);
    let given = Given {
        hello,
        settings: held(port)?,
        stated: &Stated::default(),
        clock: None,
        calibration: calibration(port)?,
        zero_before_pa: session::zero_before(all, records),
        recording: None,
        written: SystemTime::now(),
        program: env!("CARGO_PKG_VERSION"),
    };
    Ok(session::sensor_words(&given, &Figures::of(records), |pa, _| format!("{pa:.0} Pa")))
}

/// Writes the session's file and says it in words.
fn put_down(
    args: &Log,
    path: &Path,
    (stated, named): &(Stated, Option<Named>),
    (port, hello): (&mut Port, &Hello),
    clock: Option<session::Clock>,
    all: &[Logged],
) -> anyhow::Result<End> {
    let held = held(port)?;
    if let Some(named) = named {
        match held {
            Some(held) if held.site_id == named.id => {}
            Some(held) => bail!(
                "the box is set for site {:08x} and {} is site {:08x}: this is another jump's box, or another site file. \
                 Nothing was written",
                held.site_id,
                named.name,
                named.id
            ),
            None => super::note("the box has no settings now, so nothing tells that it was set for this site"),
        }
    }
    let recording = args.recording.as_deref().map(|path| -> anyhow::Result<Recorded> {
        let (bytes, _) = input::bytes(path)?;
        let file = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy();
        let file = outside::plain(&file).into_owned();
        Ok(Recorded { file, bytes: bytes.len(), sha256: chain::sha256(&bytes) })
    });
    let recording = recording.transpose()?;
    let records = if args.from > 0 { all } else { session::last_session(all) };
    if records.is_empty() {
        bail!("the box's log has no records from {} on; nothing was written", args.from);
    }
    let given = Given {
        hello,
        settings: held,
        stated,
        clock,
        calibration: calibration(port)?,
        zero_before_pa: session::zero_before(all, records),
        recording: recording.as_ref(),
        written: SystemTime::now(),
        program: env!("CARGO_PKG_VERSION"),
    };
    let figures = Figures::of(records);
    let (text, last) = session::written(&given, records, &figures);
    output::new_file(path, text.as_bytes(), args.output.force)?;
    let pressure = |pa: f64, toward: Toward| match named {
        Some(named) => named.shown.pressure(pa, toward),
        None => match toward {
            Toward::Up => format!("{:.0} Pa", pa.ceil()),
            Toward::Down => format!("{:.0} Pa", pa.floor()),
            Toward::Nearest => format!("{pa:.0} Pa"),
        },
    };
    output::stdout(&format!(
        "{}\n{} lines in {}.\n{}",
        session::text(&given, &figures, pressure),
        text.lines().count(),
        output::shown(path),
        session::proof(&chain::short(&last))
    ))?;
    Ok(End::Inside)
}
