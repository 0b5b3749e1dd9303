//! `landfall bag-test`.

use std::path::Path;

use landfall_box::record::parse;
use landfall_learn::bag_sheet::bag_sheet;
use landfall_learn::bag_test::{BagTest as Found, Loaded, TestError, Tests, test};
use landfall_learn::bag_text::{PlanLine, bag_text};
use landfall_learn::demo::{DEFLATION, LOADED, LOADED_KG, SETTLED_PA};
use landfall_learn::drops::read_drops;
use landfall_learn::empty;
use landfall_learn::heard::listen;
use landfall_learn::landed::Speed;
use landfall_learn::loaded::{Errors, Table, read};
use landfall_learn::write_site::{Remark, changed, sha256};
use landfall_plan::plan::results::Results;
use landfall_plan::plan::{Parts, PlanError, compute};
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Site, demo};
use landfall_sampling::Stop;
use serde_json::json;

use super::args_learn::BagTest;
use super::args_shared::TextOrJson;
use super::fit::{name_only, site, today};
use super::{End, input, note, output};

pub(crate) fn run(args: &BagTest) -> anyhow::Result<End> {
    if let Some(path) = &args.sheet {
        let site = match &args.site {
            Some(path) => site(Some(path))?.0,
            None => demo(),
        };
        let own = args.site.is_some();
        args.output.put_at(Some(path), &bag_sheet(own.then_some(&site)))?;
        return Ok(End::Inside);
    }
    let (site, site_text) = site(args.site.as_deref())?;
    let mut files = Files::default();
    let tests = tests(args, &site, &mut files)?;
    let nothing =
        tests.loaded.is_empty() && tests.deflation.is_none() && tests.settled_pa.is_none() && tests.heard.is_none();
    if nothing && !tests.drops.is_empty() {
        anyhow::bail!(
            "--drops are only held against what the other measurements say: name a --loaded deflation with its --mass, a --deflation, a --settled pressure or a --recording beside it"
        );
    }
    if nothing {
        anyhow::bail!(
            "nothing was measured: name a --loaded deflation with its --mass, a --deflation, a --settled pressure or a --recording; landfall bag-test --sheet sheet.html prints how to measure"
        );
    }
    let found = test(&site, &tests).map_err(plain)?;
    let (before, after) = (plan(&site), plan(&found.site_after));
    let text = match args.format {
        TextOrJson::Text => {
            let here = Shown::of(&site);
            let lines = PlanLine::all(before.as_ref().ok(), after.as_ref().ok(), here);
            bag_text(&found, &lines, here, output::style())
        }
        TextOrJson::Json => output::json(&json!({
            "bag_test": found,
            "plan_before": before.as_ref().ok().map(short),
            "plan_after": after.as_ref().ok().map(short),
        }))?,
    };
    args.output.put(&text)?;
    let sure = found.doubts.is_empty();
    if args.change.write {
        if sure || args.although_not_sure {
            write(args, &site_text, &found, &files)?;
        } else {
            note("nothing was written: the test is not sure. Measure again, or say --although-not-sure");
        }
    }
    Ok(if sure { End::Inside } else { End::Outside })
}

/// The plan, for what changes; a site that cannot be planned has none. Far tails change with no bag.
fn plan(site: &Site) -> Result<Results, PlanError> {
    compute(site, Parts { tails: false, ..Parts::ALL }, &Stop::default())
}

/// What of a plan a bag changes.
fn short(results: &Results) -> serde_json::Value {
    json!({ "verdict": results.verdict, "pressures": results.pressures, "ride_by": results.ride_by })
}

/// The files that were measured: name, hash and what they are.
#[derive(Debug, Default)]
struct Files {
    list: Vec<(String, String, String)>,
}

impl Files {
    fn take(&mut self, path: &Path, what: &str) -> anyhow::Result<(String, String)> {
        let (text, name) = input::told_table(path)?;
        self.list.push((name_only(&name).to_owned(), sha256(text.as_bytes()), what.to_owned()));
        Ok((text, name))
    }
}

fn plain(error: TestError) -> anyhow::Error {
    match error {
        TestError::Faults(faults) => faults.into(),
        TestError::Plan(error) => error.into(),
        TestError::Words(words) => anyhow::anyhow!(words),
        other => other.into(),
    }
}

fn tests(args: &BagTest, site: &Site, files: &mut Files) -> anyhow::Result<Tests> {
    let sensor = site.watch.sensor;
    let film = Errors::FILMED;
    let filmed = Errors {
        gauge: args.gauge_error.unwrap_or(film.gauge),
        zero_pa: args.zero_error.unwrap_or(film.zero_pa),
        depth_m: args.depth_error.unwrap_or(film.depth_m),
        mass: args.mass_error.unwrap_or(film.mass),
        ..film
    };
    let boxed =
        Errors { zero_pa: args.zero_error.unwrap_or_else(|| sensor.error_pa()), noise_pa: sensor.noise_pa(), ..filmed };
    let mut tests = Tests {
        settled_pa: args.settled,
        offset_s: args.offset,
        rider_kg: args.rider_mass,
        filmed: Some(filmed),
        boxed: Some(boxed),
        ..Tests::default()
    };
    if args.rider_mass.is_some()
        && let Some(spread) = compute(site, Parts::QUICK, &Stop::default())?.spread.differences.as_ref()
    {
        tests.speed = Some(Speed { mean_mps: spread.mean_normal_mps, sd_mps: spread.sd_normal_mps });
    }
    if args.mass.len() != args.loaded.len() {
        anyhow::bail!(
            "{} --loaded and {} --mass: give each load its mass with the board, in the same order, such as --loaded {} --mass \"82 kg\"",
            args.loaded.len(),
            args.mass.len(),
            args.loaded.first().map_or_else(|| "water.csv".to_owned(), |path| output::shown(path))
        );
    }
    let recording = match &args.recording {
        Some(path) => {
            let (text, name) = files.take(path, "a recording")?;
            if heading(&text).any(|cell| cell.starts_with("depth")) {
                anyhow::bail!(
                    "{name} has depths: it is the table of a load, and not what `watch --record` wrote. Name it with --loaded, and its load with --mass"
                );
            }
            Some(parse(&text, &name)?)
        }
        None => None,
    };
    for (path, mass_kg) in args.loaded.iter().zip(&args.mass) {
        let what = format!("loaded with {}", Shown::of(site).mass(*mass_kg, Toward::Nearest));
        let (text, name) = files.take(path, &what)?;
        let mut table = read(&text, &name, recording.is_none(), true)?;
        table.file = name_only(&table.file).to_owned();
        tests.loaded.push(Loaded { table, mass_kg: *mass_kg });
    }
    if args.offset.is_some() && (recording.is_none() || tests.loaded.iter().all(|load| !load.table.gauge.is_empty())) {
        anyhow::bail!(
            "--offset sets the clock of a film beside that of a --recording, for a --loaded table without a gauge of its own; there is none here. Leave --offset out"
        );
    }
    if let Some(path) = &args.deflation {
        let (text, name) = files.take(path, "empty")?;
        tests.deflation = Some((name_only(&name).to_owned(), gauge_of(&text, &name, Shown::of(site))?));
    }
    if let Some(path) = &args.drops {
        let (text, name) = files.take(path, "dropped loads, held against it")?;
        tests.drops = read_drops(&text, &name, recording.as_ref())?;
    }
    tests.heard = recording.map(|recording| listen(&recording, boxed.noise_pa));
    if args.demo && args.loaded.is_empty() && args.recording.is_none() && args.deflation.is_none() {
        let table = |text, name| -> anyhow::Result<Table> { Ok(read(text, name, true, true)?) };
        tests.loaded.push(Loaded { table: table(LOADED[0], "demo water")?, mass_kg: LOADED_KG[0] });
        tests.loaded.push(Loaded { table: table(LOADED[1], "demo sand")?, mass_kg: LOADED_KG[1] });
        tests.deflation = Some(("demo deflation".to_owned(), read(DEFLATION, "demo deflation", true, false)?.gauge));
        tests.settled_pa = tests.settled_pa.or(Some(SETTLED_PA));
    }
    Ok(tests)
}

/// Times and pressures of an empty deflation: a table that somebody wrote, or a recording of the box.
fn gauge_of(text: &str, name: &str, here: Shown) -> anyhow::Result<Vec<(f64, f64)>> {
    if heading(text).any(|cell| cell == "fault") {
        let rows = parse(text, name)?.rows;
        return Ok(rows
            .iter()
            .filter_map(|row| row.reading.as_ref().ok().map(|pressure| (row.time_s, f64::from(pressure.0))))
            .collect());
    }
    Ok(empty::gauge_of(&read(text, name, true, false)?, here)?.to_vec())
}

/// The cells of a table's heading.
fn heading(text: &str) -> impl Iterator<Item = &str> {
    let line = text.lines().find(|line| !line.trim().is_empty() && !line.starts_with('#')).unwrap_or("");
    line.split(',').map(str::trim)
}

fn write(args: &BagTest, site_text: &str, found: &Found, files: &Files) -> anyhow::Result<()> {
    let Some(path) = args.site.as_deref().filter(|path| path.as_os_str() != "-") else {
        anyhow::bail!("--write needs a site file by its name");
    };
    let name = output::shown(path);
    let date = args.change.date.clone().unwrap_or_else(today);
    let sure = if found.doubts.is_empty() { "" } else { ", NOT SURE" };
    let mut lines = vec![format!("bag tested {date}{sure}:")];
    for (file, hash, what) in &files.list {
        lines.push(format!("  {file}, {what}, SHA-256 {hash}"));
    }
    if let Some(pa) = args.settled {
        lines.push(format!("  settled pressure read: {pa:.0} Pa"));
    }
    let hashes: Vec<String> = files.list.iter().map(|file| file.1.clone()).collect();
    let remark = Remark { lines: &lines, hashes: &hashes };
    let new = changed(site_text, &name, &found.edits, &found.removed, &remark)?;
    output::edited(path, site_text, &new)?;
    note(&format!("{name}: {} values written", found.edits.len()));
    Ok(())
}
