//! `landfall serve`.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use anyhow::{Context as _, anyhow};
use landfall::serve::http::Bounds;
use landfall::serve::live::{Live, Source};
use landfall::serve::{Options, Server};
use landfall_box::arm::{ArmError, NEEDED, SensorPart, look};
use landfall_box::script::parse_line;
use landfall_box::sim::{Plan, Riders};
use landfall_plan::plan::compute;
use landfall_plan::site::{Gauge, Site, demo_text, read_site};
use landfall_sampling::Stop;

use super::args_serve::Serve;
use super::{End, input, note, output};

/// Runs of each rider behind the simulated box: they only set how its riders come.
const SIMULATED_SAMPLES: u64 = 20_000;

pub(crate) fn run(args: &Serve) -> anyhow::Result<End> {
    let (text, file) = match &args.site.site {
        Some(path) => {
            let (text, name) = input::text(path)?;
            // What the page saves gets the name without its folder.
            (
                text,
                path.file_name().filter(|file| *file != "-").map_or(name, |file| file.to_string_lossy().into_owned()),
            )
        }
        None => (demo_text().to_owned(), "demo.toml".to_owned()),
    };
    let source = match (&args.port[..], read_site(&text, &file)) {
        // A computed bag needs a site without faults; the page alone can mend one.
        (_, site) if args.simulated_box => Some(simulated(args, &site?)?),
        (ports, site) => {
            if let Err(faults) = site {
                note(&format!("{file} has faults ({}); the page shows them", faults.faults.len()));
            }
            (!ports.is_empty()).then(|| Source::Ports(ports.to_vec()))
        }
    };
    let stop = Arc::new(AtomicBool::new(false));
    let gauge = read_site(&text, &file).map_or(Gauge::default(), |site| site.site.gauge);
    let live = source.map(|source| Live::start(source, gauge, &stop));
    if let (Some(live), Ok(site), false) = (&live, read_site(&text, &file), args.simulated_box) {
        expect(live, site);
    }
    let options =
        Options { address: args.listen, port: args.http_port, site: text, file, live, bounds: Bounds::default() };
    let server = Server::bind(options).with_context(|| match args.http_port {
        0 => format!("{} could not be listened at", args.listen),
        port => format!("port {port} of {} could not be listened at", args.listen),
    })?;
    let asked = Arc::clone(&stop);
    ctrlc::set_handler(move || {
        if asked.swap(true, Ordering::SeqCst) {
            std::process::exit(130);
        }
    })
    .context("Ctrl-C could not be taken over")?;
    if let Some(url) = server.url_with_token() {
        note(&format!("open {url}\nwhoever has this address, or reads along on that network, can use the page"));
    }
    if server.is_everywhere() && server.outward().is_none() {
        note("this machine is in no network at present; until it is, only this machine can open the page");
    }
    output::stdout(&format!("{}\n", server.url()))?;
    server.run(&stop);
    Ok(End::Inside)
}

/// Works out beside the page what the site would set a box for, so that one that is set for another jump is told.
fn expect(live: &Arc<Live>, site: Site) {
    let live = Arc::clone(live);
    std::thread::spawn(move || {
        // A site that lets no box be armed says so by its own findings.
        if let Ok(results) = compute(&site, NEEDED, &Stop::default())
            && let Ok(armed) = look(&site, &results, None, 1)
        {
            live.expect(&armed.settings);
        }
    });
}

/// A box on the site's bag; where the plan lets none be armed, one without settings, which shows red.
fn simulated(args: &Serve, site: &Site) -> anyhow::Result<Source> {
    let mut script = Vec::new();
    for line in &args.happenings {
        script.push(parse_line(line).map_err(|fault| anyhow!("--do {line:?}: {fault}"))?);
    }
    let samples = site.spread.samples.min(SIMULATED_SAMPLES);
    let site = site.with_value("spread.samples", samples.to_string().as_str())?;
    let results = compute(&site, NEEDED, &Stop::default())?;
    let settings = match look(&site, &results, None, 1) {
        Ok(armed) => Some(armed.settings),
        Err(error @ ArmError::Stop(_)) => {
            note(&format!("{error}\nthe simulated box has no settings"));
            None
        }
        Err(error) => return Err(error.into()),
    };
    let range_pa = settings.map_or(SensorPart::default().range_pa(), |settings| settings.sensor_high_pa);
    let riders = Riders::of(&site, &results);
    let plan = Plan { settings, range_pa, riders, script, seed: site.spread.seed, full: args.full };
    Ok(Source::Simulated(Box::new((site, plan))))
}
