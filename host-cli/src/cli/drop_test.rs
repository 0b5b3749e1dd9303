//! `landfall drop-test`.

use std::path::Path;

use landfall::box_side::record::{Recording, parse};
use landfall::learn::bag_fit::{Tests, fit_bag};
use landfall::learn::bag_text::{bag_edits, bag_text};
use landfall::learn::demo::{DEFLATION, DROPS};
use landfall::learn::drops::{deflation, read_drops};
use landfall::learn::write_site::sha256;
use serde_json::json;

use super::args::TextOrJson;
use super::args_learn::DropTest;
use super::fit::{name_only, plain_error, site, write};
use super::{End, input, output};

pub(crate) fn run(args: &DropTest) -> anyhow::Result<End> {
    // With a deflation and one more file, that file is the site.
    let alone = args.deflation.is_some() && args.site.is_none() && !args.demo;
    let (drops_path, site_path) =
        if alone { (None, args.drops.as_deref()) } else { (args.drops.as_deref(), args.site.as_deref()) };
    let embedded = args.demo && args.drops.is_none() && args.deflation.is_none();
    let (site, site_text) = site(site_path)?;
    let mut bytes = String::new();
    let log = args.log.as_deref().map(|path| recording(path, &mut bytes)).transpose()?;
    let mut names = Vec::new();
    let (drops_text, drops_name) = match drops_path {
        Some(path) => input::told_table(path)?,
        None if embedded => (DROPS.to_owned(), "demo drops".to_owned()),
        None => (String::new(), String::new()),
    };
    let drops = if drops_text.is_empty() { Vec::new() } else { read_drops(&drops_text, &drops_name, log.as_ref())? };
    if !drops_name.is_empty() {
        names.push(name_only(&drops_name).to_owned());
    }
    bytes.push_str(&drops_text);
    let fall = match &args.deflation {
        Some(path) => {
            names.push(name_only(&output::shown(path)).to_owned());
            Some(recording(path, &mut bytes)?)
        }
        None if embedded => Some(parse(DEFLATION, "demo deflation")?),
        None => None,
    };
    let fall = fall.map(|fall| deflation(&fall).map_err(|why| anyhow::anyhow!("deflation: {why}"))).transpose()?;
    let settled_pa = args.settled.or(embedded.then_some(1_079.0));
    if let Some(settled_pa) = settled_pa {
        bytes.push_str(&format!("settled {settled_pa} Pa\n"));
        names.push("the settled pressure".to_owned());
    }
    let tests = Tests { drops, deflation: fall, settled_pa };
    let found = fit_bag(&site, &tests, &drops_name).map_err(plain_error)?;
    let edits = bag_edits(&found);
    let text = match args.format {
        TextOrJson::Text => bag_text(&found, output::style()),
        TextOrJson::Json => output::json(&json!({"drop_test": found, "edits": edits}))?,
    };
    args.output.put(&text)?;
    if args.change.write {
        let what =
            format!("{} drops and {} deflation points of {}", found.drops, found.deflation_points, names.join(" and "));
        write(site_path, &site_text, &edits, (&what, &sha256(bytes.as_bytes())), args.change.date.as_deref())?;
    }
    Ok(if found.doubts.is_empty() { End::Inside } else { End::Outside })
}

/// A recording; its text goes to what is hashed.
fn recording(path: &Path, bytes: &mut String) -> anyhow::Result<Recording> {
    let (text, name) = input::told_table(path)?;
    bytes.push_str(&text);
    Ok(parse(&text, &name)?)
}
