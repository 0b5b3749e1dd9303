//! `landfall air`.

use landfall_plan::plan::Parts;
use landfall_plan::plan::model::with_gap;
use landfall_plan::plan::results::{About, OrWhy, Pressures};
use landfall_plan::plan::text::{AIR_TOPICS, air_text};
use serde_json::json;

use super::args_plan::Air;
use super::args_shared::{TextOrJson, Threads};
use super::plan::{computed, end, keep_findings, level_top};
use super::{End, input, note, output};

pub(crate) fn run(args: &Air) -> anyhow::Result<End> {
    let (site, with_landing) = with_gap(&input::site(&args.site)?)?;
    if !with_landing {
        note("bag.gap is not stated: what hangs on where a rider lands is left out");
    }
    // On a sloped top the sampled landings say how thin the bag is under the hardest of them.
    let sampling = with_landing && !level_top(&site);
    let parts = Parts { pressures: with_landing, sampling, ..Parts::QUICK };
    let mut results = computed(&site, parts, &Threads { threads: 0 })?;
    keep_findings(&mut results, &AIR_TOPICS);
    if !with_landing {
        // Computed from a gap that nobody stated.
        keep_findings(&mut results, &[About::Pressure, About::Blower, About::Openings, About::Filling, About::Anchors]);
        results.air.after_cut.iter_mut().for_each(|moment| moment.hard_depth_m = OrWhy::default());
        results.touchdown = OrWhy::default();
        results.pressures = Pressures::default();
    }
    let text = match args.format {
        TextOrJson::Text => air_text(&site, &results, output::style()),
        // The keys are those of the plan.
        TextOrJson::Json => output::json(&json!({
            "site": results.site,
            "air": results.air,
            "touchdown": results.touchdown,
            "pressures": results.pressures,
            "findings": results.findings,
            "cautions": results.cautions,
        }))?,
    };
    args.output.put(&text)?;
    let inside = results.air.above_min_pa >= 0.0 && results.air.below_max_pa >= 0.0;
    Ok(if inside && end(&results) == End::Inside { End::Inside } else { End::Outside })
}
