//! `landfall plan`.

use landfall_plan::plan::csv::csv;
use landfall_plan::plan::results::{About, Level, Results};
use landfall_plan::plan::text::{Style, text};
use landfall_plan::plan::{Parts, compute};
use landfall_plan::report::{Sheet, html};
use landfall_plan::site::Site;

use super::args_plan::Plan;
use super::args_shared::{Format, Threads};
use super::bar::{Progress, stop_on_ctrl_c, with_threads};
use super::{End, input, output};

pub(crate) fn run(args: &Plan) -> anyhow::Result<End> {
    let site = input::sampled_site(&args.site, &args.sampling)?;
    let results = computed(&site, Parts::ALL, &args.sampling.threads)?;
    let text = match args.format {
        Format::Text => text(&site, &results, Style { full: args.full, ..output::style() }),
        Format::Csv => csv(&results),
        Format::Json => output::json(&results)?,
    };
    if let Some(file) = &args.report {
        let sheet = with_threads(&args.sampling.threads, || Sheet::gather(&site, &results))??;
        args.output.put_at(Some(file), &html::page(&sheet))?;
    }
    args.output.put(&text)?;
    Ok(end(&results))
}

/// Computes with Ctrl-C and progress looked after.
pub(crate) fn computed(site: &Site, parts: Parts, threads: &Threads) -> anyhow::Result<Results> {
    let stop = stop_on_ctrl_c()?;
    // What the searches need on top depends on the site: about this much for the demo's.
    let rounds = match (parts.sampling, parts.placement, parts.hold_winds) {
        (_, _, true) => 24,
        (_, true, _) => 16,
        (true, ..) => 3,
        _ => 0,
    };
    let runs = rounds * site.spread.samples;
    let bar = Progress::of_runs(&stop, runs);
    let results = with_threads(threads, || compute(site, parts, &stop))?;
    drop(bar);
    Ok(results?)
}

/// Outside a limit is what a finding of level stop says.
pub(crate) fn end(results: &Results) -> End {
    if results.findings.iter().any(|finding| finding.level == Level::Stop) { End::Outside } else { End::Inside }
}

/// Keeps the findings about some topics.
pub(crate) fn keep_findings(results: &mut Results, topics: &[About]) {
    results.findings.retain(|finding| topics.contains(&finding.topic));
}

/// Whether the bag is equally thick everywhere.
pub(crate) fn level_top(site: &Site) -> bool {
    site.bag.front_height_m == site.bag.back_height_m
}
