//! What a plan says of the ground: findings, for sites that state anything of it.

use super::Look;
use crate::plan::results::{About, Finding, Level};
use crate::shown::Toward;
use landfall_ground::fit::Side;

/// Findings of the ground.
#[must_use]
pub fn findings(look: &Look) -> Vec<Finding> {
    let u = look.shown;
    let mut list = Vec::new();
    let met: Vec<_> = look.clearances.iter().filter(|c| c.distance_m <= 1e-6).collect();
    for c in &met {
        let text = format!(
            "{} is in the way of {}, {} from the lip. Take it away, or place the jump elsewhere: landfall ground shows where.",
            c.obstacle,
            c.body,
            u.length(c.at_x_m.abs(), Toward::Nearest)
        );
        let mut finding = Finding::new("land.meets", Level::Stop, About::Land, text);
        finding.with("missing_m", c.missing_m);
        list.push(finding);
    }
    for c in look.clearances.iter().filter(|c| c.distance_m > 1e-6 && c.missing_m > 1e-6) {
        let text = format!(
            "{} comes within {} of {}; {} are wanted, so {} are missing.",
            c.obstacle,
            u.length(c.distance_m, Toward::Down),
            c.body,
            u.length(c.wanted_m, Toward::Nearest),
            u.length(c.missing_m, Toward::Up)
        );
        let mut finding = Finding::new("land.near", Level::Caution, About::Land, text);
        finding.with("distance_m", c.distance_m).with("missing_m", c.missing_m);
        list.push(finding);
    }
    if let Some(past_m) = look.fit.run_out_past_edge_m.filter(|m| *m > 1e-6) {
        let text = format!(
            "whoever comes off the bag's back fastest comes to rest {} past the edge of the land. A lower start, more room \
             behind the bag, or a net or bank at the edge would change it.",
            u.length(past_m, Toward::Up)
        );
        let mut finding = Finding::new("land.run_out", Level::Stop, About::Land, text);
        finding.with("past_edge_m", past_m);
        list.push(finding);
    }
    for (side, missing_m) in look.fit.missing() {
        let text = format!(
            "{} {} missing {}. What would fit: landfall ground.",
            u.length(missing_m, Toward::Up),
            "of room are",
            place(side)
        );
        let mut finding = Finding::new("land.room", Level::Caution, About::Land, text);
        finding.with("missing_m", missing_m);
        list.push(finding);
    }
    if look.water.depth_m > 0.02 {
        let text = format!(
            "water can stand {} deep under the bag before it runs off: a ditch that deep, or a bag that stands higher, would \
             change it.",
            u.small(look.water.depth_m, Toward::Up)
        );
        let mut finding = Finding::new("land.water", Level::Note, About::Land, text);
        finding.with("depth_m", look.water.depth_m);
        list.push(finding);
    }
    list
}

/// Where something is missing, as a sentence has it.
#[must_use]
pub fn place(side: Side) -> &'static str {
    match side {
        Side::Behind => "behind the platform",
        Side::Ahead => "at the end of the run-out",
        Side::Right => "on the right",
        Side::Left => "on the left",
    }
}
