//! `landfall log`.

use anyhow::Context as _;
use landfall_box::events::{csv, download, json, text};
use landfall_box::port::Port;
use landfall_box::upload::{forget, greet};

use super::args::Format;
use super::args_box::Log;
use super::{End, output};

/// How long the button is waited for.
const FORGET_WAIT: std::time::Duration = std::time::Duration::from_secs(55);

pub(crate) fn run(args: &Log) -> anyhow::Result<End> {
    let mut port = Port::open(&args.port).with_context(|| format!("{} could not be opened", args.port))?;
    greet(&mut port)?;
    if let Some(site_id) = args.forget {
        let floor = forget(&mut port, site_id, FORGET_WAIT, super::note)?;
        super::note(&format!("the box has forgotten its site; it takes no revision up to {floor} again"));
        return Ok(End::Inside);
    }
    let all = download(&mut port, args.from).with_context(|| format!("the log of the box at {}", args.port))?;
    let shown = match args.format {
        Format::Text => text(&all),
        Format::Json => output::json(&json(&all))?,
        Format::Csv => csv(&all),
    };
    args.output.put(&shown)?;
    Ok(End::Inside)
}
