//! `landfall progress`.

use anyhow::Context as _;
use landfall::dirt::built::{self, picture};
use landfall::dirt::{Wishes, assumed as assumed_of, landing, none_of};
use landfall_dirt::built::BuildError;
use landfall_plan::landings::text::{csv, text};
use landfall_plan::landings::{Question, progress};
use landfall_plan::plan::model::{Model, with_gap};
use landfall_plan::report::landing::page_with;

use super::args_build::Progress;
use super::args_shared::Format;
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
    let model = Model::new(&site)?;
    let wishes: Wishes = (&args.landing).into();
    let made = landing(&site, &model, &wishes);
    if let Some(path) = &args.report {
        args.output.put_at(
            Some(path),
            &page_with(&answer, &model, &made.iter().map(|built| picture(built, &site, &model)).collect::<Vec<_>>()),
        )?;
    }
    let printed = match args.format {
        Format::Text => match &made {
            Ok(built) => with_built(&text(&answer), &built::text(built, &site, &assumed_of(&site, &wishes))),
            Err(error) => with_built(&text(&answer), &no_landing(error)),
        },
        Format::Json => {
            let mut whole = serde_json::to_value(&answer)?;
            if let Some(map) = whole.as_object_mut() {
                map.insert("built".to_owned(), serde_json::to_value(made.as_ref().ok())?);
                map.insert("no_landing".to_owned(), serde_json::to_value(made.as_ref().err().map(none_of))?);
            }
            output::json(&whole)?
        }
        Format::Csv if args.table == "built" => match &made {
            Ok(built) => table::csv(&built::csv(built))?,
            Err(error) => anyhow::bail!("no landing can be made: {}", none_of(error)),
        },
        Format::Csv => table::csv(&csv(&answer, &args.table).context("no such table")?)?,
    };
    args.output.put(&printed)?;
    Ok(if answer.can_be_built() { End::Inside } else { End::Outside })
}

/// Before what holds for all landings that are no bag.
fn with_built(text: &str, built: &str) -> String {
    match text.split_once("\nDirt is no bag\n") {
        Some((before, after)) => format!("{before}{built}\nDirt is no bag\n{after}"),
        None => format!("{text}{built}"),
    }
}

fn no_landing(error: &(BuildError, Option<f64>)) -> String {
    format!("\nA landing that is built for these runs\n  None: {}.\n", none_of(error))
}
