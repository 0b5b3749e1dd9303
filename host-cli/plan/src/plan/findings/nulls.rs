//! Why values are null.

use crate::plan::results::{About, Finding, Level, Results, Why, nulls};
use crate::plan::words::chance;

/// Says why values are null, one note a reason, behind everything else that is said of the plan and before what it
/// assumes. What was not asked for is passed over. Whatever else the results hold has to be there: nothing is null but
/// what is null now.
pub fn say_nulls(results: &mut Results) {
    let notes = reasons(results);
    let list = &mut results.findings;
    let last =
        |finding: &Finding| finding.level == Level::Note && matches!(finding.topic, About::Assumed | About::Land);
    let at = list.iter().position(last).unwrap_or(list.len());
    list.splice(at..at, notes);
}

/// A note for each reason, in the order of the first key that it is told of.
fn reasons(results: &Results) -> Vec<Finding> {
    let mut told: Vec<(Why, Vec<String>)> = Vec::new();
    for null in nulls(results) {
        let Some(why) = null.why.filter(|why| *why != Why::NotAsked) else { continue };
        match told.iter_mut().find(|(reason, _)| *reason == why) {
            Some((_, keys)) => keys.push(null.key),
            None => told.push((why, vec![null.key])),
        }
    }
    told.into_iter()
        .map(|(why, keys)| {
            let why = why.words().replace("{target}", &chance(results.placement.target_miss));
            let text = format!("No value, because {why}: {}.", keys.join(", "));
            Finding::new("no_value", Level::Note, About::NoValue, text)
        })
        .collect()
}
