//! `landfall replay`.

use anyhow::{Context as _, anyhow, bail};
use landfall_box::arm::{NEEDED, look};
use landfall_box::file;
use landfall_box::record::Recording;
use landfall_box::record::parse;
use landfall_box::replay::{replay_with, set, text};
use landfall_core::watch::WatchSettings;
use landfall_plan::site::find_key;

use super::args_box::Replay;
use super::args_shared::{SiteArg, TextOrJson};
use super::plan::computed;
use super::{End, input, output};

pub(crate) fn run(args: &Replay) -> anyhow::Result<End> {
    // The recording first: a plan takes a second or two, and the faults of both are wanted soon.
    let (log, name) = input::table(&args.log)?;
    let recording = parse(&log, &name)?;
    let (in_force, notes) = settings(args, &recording)?;
    let mut done = replay_with(&recording, &in_force, args.zero)?;
    done.notes.extend(notes);
    let shown = match args.format {
        TextOrJson::Text => text(&done),
        TextOrJson::Json => output::json(&done)?,
    };
    args.output.put(&shown)?;
    Ok(End::Inside)
}

/// What a box went by from each time on.
type InForce = Vec<(f64, WatchSettings)>;

/// The settings to replay with, and what to know about them.
fn settings(args: &Replay, recording: &Recording) -> anyhow::Result<(InForce, Vec<String>)> {
    let carried = args.settings.is_none() && args.site.is_none() && !args.demo;
    let mut own = Vec::new();
    let mut of_site = Vec::new();
    for pair in &args.set {
        let (key, value) = pair.split_once('=').ok_or_else(|| anyhow!("--set {pair}: write it as KEY=VALUE"))?;
        let (key, value) = (key.trim(), value.trim());
        let known = find_key(key).is_some();
        if known && carried {
            bail!("--set {key}: is a key of the site file; name it with --site SITE");
        }
        if known && args.settings.is_none() { of_site.push((key, value)) } else { own.push((key, value)) }
    }
    let (mut all, notes) = match &args.settings {
        None if carried => {
            let note =
                format!("what the box went by is taken from the recording ({} set(s))", recording.in_force.len());
            (recording.in_force.clone(), vec![note])
        }
        Some(path) => {
            input::noted(path);
            (vec![(0.0, file::read(path).with_context(|| output::shown(path))?)], Vec::new())
        }
        None => {
            let from = SiteArg { site: args.site.clone(), demo: args.demo };
            let mut site = input::sampled_site(&from, &args.sampling)?;
            for (key, value) in of_site {
                site = site.with_value(key, value)?;
            }
            let results = computed(&site, NEEDED, &args.sampling.threads)?;
            let armed = look(&site, &results, args.sensor, 1)?;
            (vec![(0.0, armed.settings)], armed.notes.into_iter().filter(|note| note.starts_with("no box")).collect())
        }
    };
    for (key, value) in own {
        for (_, settings) in &mut all {
            if !set(settings, key, value).map_err(|fault| anyhow!("--set {fault}"))? {
                bail!("--set {key}: no key of the site file or of the settings (stop_pa, wait_pa, needed_s …)");
            }
        }
    }
    Ok((all, notes))
}
