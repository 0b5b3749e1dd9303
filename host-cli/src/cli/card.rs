//! `landfall card`.

use landfall_plan::plan::Parts;
use landfall_plan::report::card;

use super::args_plan::Card;
use super::plan::{computed, end};
use super::{End, input};

pub(crate) fn run(args: &Card) -> anyhow::Result<End> {
    let site = input::sampled_site(&args.site, &args.sampling)?;
    let results = computed(&site, Parts::ALL, &args.sampling.threads)?;
    args.output.put(&card::page(&site, &results))?;
    Ok(end(&results))
}
