//! `landfall ground`.

use anyhow::Context as _;
use landfall_plan::ground::cures::cures;
use landfall_plan::ground::look;
use landfall_plan::ground::text::{csv, text};
use landfall_plan::plan::Parts;
use landfall_plan::plan::model::with_gap;
use landfall_plan::report::ground::page;
use landfall_sampling::Stop;
use serde_json::json;

use super::args_ground::{Ground, PlaceArg};
use super::args_shared::Format;
use super::bar::with_threads;
use super::place::gap_taken;
use super::plan::computed;
use super::{End, input, note, output, table};

pub(crate) fn run(args: &Ground) -> anyhow::Result<End> {
    let (site, stated) = with_gap(&input::sampled_site(&args.site, &args.sampling)?)?;
    if !stated {
        note(&gap_taken(&site));
    }
    let parts = Parts { tails: false, starts: false, hold_winds: false, cures: false, ..Parts::ALL };
    let results = computed(&site, parts, &args.sampling.threads)?;
    let pegs = match (args.peg_a, args.peg_b) {
        (Some(PlaceArg(ax, ay)), Some(PlaceArg(bx, by))) => Some([(ax, ay), (bx, by)]),
        _ => None,
    };
    let looked = look(&site, Some(&results), pegs)?;
    let tried = with_threads(&args.sampling.threads, || cures(&site, &results, &Stop::default()))??;
    if let Some(path) = &args.report {
        args.output.put_at(Some(path), &page(&looked, &tried))?;
    }
    let printed = match args.format {
        Format::Text => text(&looked, &tried),
        Format::Json => output::json(&json!({"ground": looked, "tried": tried}))?,
        Format::Csv => table::csv(&csv(&looked, &args.table).context("no such table")?)?,
    };
    args.output.put(&printed)?;
    let missing = !looked.fit.missing().is_empty() || looked.clearances.iter().any(|c| c.missing_m > 1e-6);
    Ok(if missing { End::Outside } else { End::Inside })
}
