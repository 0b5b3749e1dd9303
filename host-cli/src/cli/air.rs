//! `landfall air`.

use landfall::plan::Parts;
use landfall::plan::model::with_gap;

use super::args::{Air, TextOrJson, Threads};
use super::plan::{computed, level_top};
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
    if !with_landing {
        // Computed from a gap that nobody stated.
        results.air.after_cut.iter_mut().for_each(|moment| moment.hard_depth_m = None);
    }
    let text = match args.format {
        TextOrJson::Text | TextOrJson::Json => output::json(&results.air)?,
    };
    output::put(args.output.output.as_deref(), &text)?;
    Ok(if results.air.above_min_pa >= 0.0 && results.air.below_max_pa >= 0.0 { End::Inside } else { End::Outside })
}
