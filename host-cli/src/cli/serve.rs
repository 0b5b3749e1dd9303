//! `landfall serve`.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use anyhow::Context as _;
use landfall::serve::http::Bounds;
use landfall::serve::live::Live;
use landfall::serve::{Options, Server};
use landfall_box::arm::{NEEDED, look};
use landfall_box::sources::{SIMULATED, Typed};
use landfall_plan::plan::compute;
use landfall_plan::site::{Gauge, Site, demo_text, read_site};
use landfall_sampling::Stop;

use super::args_serve::Serve;
use super::sources::{Bags, sources};
use super::{End, input, note, output};

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
    let simulated = !args.simulated_box.is_empty();
    let boxes = match (&args.port[..], read_site(&text, &file)) {
        // A computed bag needs a site without faults; the page alone can mend one.
        (_, site) if simulated => {
            let named = args.simulated_box.iter();
            let typed: Vec<Typed> =
                named.map(|name| Typed { name: Some(name.clone()), port: SIMULATED.to_owned() }).collect();
            sources(&typed, Some(&Bags { site: &site?, full: args.full, happenings: &args.happenings }))?
        }
        (ports, site) => {
            if let Err(faults) = site {
                note(&format!("{file} has faults ({}); the page shows them", faults.faults.len()));
            }
            sources(ports, None)?
        }
    };
    let stop = Arc::new(AtomicBool::new(false));
    let gauge = read_site(&text, &file).map_or(Gauge::default(), |site| site.site.gauge);
    let live = (!boxes.is_empty()).then(|| Live::start(boxes, gauge, &stop));
    if let (Some(live), Ok(site), false) = (&live, read_site(&text, &file), simulated) {
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
