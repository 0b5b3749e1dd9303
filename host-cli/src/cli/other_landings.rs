//! `landfall progress`.

use anyhow::Context as _;
use landfall_plan::landings::text::{csv, text};
use landfall_plan::landings::{Question, progress};
use landfall_plan::plan::model::{Model, with_gap};

use super::args::Format;
use super::args_build::Progress;
use super::place::gap_taken;
use super::{End, input, note, output, table};

pub(crate) fn run(args: &Progress) -> anyhow::Result<End> {
    let (site, stated) = with_gap(&input::site(&args.site)?)?;
    if !stated {
        note(&gap_taken(&site));
    }
    let mut assumed = Vec::new();
    let mut take = |option: &str, stated: Option<f64>, usual: f64, why: &str| {
        if stated.is_none() {
            assumed.push(format!("--{option} {why}"));
        }
        stated.unwrap_or(usual)
    };
    let question = Question {
        slopes_deg: args.slope.iter().map(|rad| rad.to_degrees()).collect(),
        limit_m: take(
            "limit",
            args.limit,
            1.5,
            "1.5 m (a ceiling recommended for snow parks, quoted by McNeil et al. 2012, from memory)",
        ),
        steepest_deg: take("steepest", args.steepest.map(f64::to_degrees), 40.0, "40 deg"),
    };
    let answer = progress(&site, &question, assumed)?;
    if let Some(path) = &args.report {
        args.output.put_at(Some(path), &landfall_plan::report::landing::page(&answer, &Model::new(&site)?))?;
    }
    let printed = match args.format {
        Format::Text => text(&answer),
        Format::Json => output::json(&answer)?,
        Format::Csv => table::csv(&csv(&answer, &args.table).context("no such table")?)?,
    };
    args.output.put(&printed)?;
    Ok(if answer.can_be_built() { End::Inside } else { End::Outside })
}
