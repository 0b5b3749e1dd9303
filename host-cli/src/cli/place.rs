//! `landfall place`.

use landfall_plan::plan::Parts;
use landfall_plan::plan::model::with_gap;
use landfall_plan::plan::text::{PLACE_TOPICS, place_text};
use landfall_plan::site::{Site, plain};

use serde_json::json;

use super::args_plan::Place;
use super::args_shared::TextOrJson;
use super::plan::{computed, end, keep_findings};
use super::{End, input, note, output};

pub(crate) fn run(args: &Place) -> anyhow::Result<End> {
    let (site, stated) = with_gap(&input::sampled_site(&args.site, &args.sampling)?)?;
    if !stated {
        note(&gap_taken(&site));
    }
    let parts = Parts { sampling: true, tails: true, placement: true, starts: true, ..Parts::QUICK };
    let mut results = computed(&site, parts, &args.sampling.threads)?;
    keep_findings(&mut results, &PLACE_TOPICS);
    let text = match args.format {
        TextOrJson::Text => place_text(&site, &results, output::style()),
        // The keys are those of the plan.
        TextOrJson::Json => output::json(&json!({
            "site": results.site,
            "placement": results.placement,
            "tails": results.spread.tails,
            "findings": results.findings,
            "cautions": results.cautions,
        }))?,
    };
    args.output.put(&text)?;
    Ok(end(&results))
}

/// What is said where a gap is taken that nobody stated.
pub(crate) fn gap_taken(site: &Site) -> String {
    let gap_m = site.bag.gap_m.unwrap_or_default();
    format!(
        "bag.gap is not stated: {} m is taken, with which the mean run comes down in the middle of the landing field",
        plain(gap_m)
    )
}
