//! `landfall card`.

use landfall::plan::Parts;
use landfall::report::card;

use super::args::Card;
use super::plan::{computed, end};
use super::{End, input, output};

pub(crate) fn run(args: &Card) -> anyhow::Result<End> {
    let site = input::sampled_site(&args.site, &args.sampling)?;
    let results = computed(&site, Parts::ALL, &args.sampling.threads)?;
    output::put(args.output.output.as_deref(), &card::page(&site, &results))?;
    Ok(end(&results))
}
