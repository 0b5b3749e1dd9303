//! Which finding is the cause of which: what gets mended first is said first, and what follows from it under it.

use crate::plan::results::{Finding, Level};

/// A cause and what follows from it. The first cause that is there takes what follows from it.
const CAUSES: [(&str, &[&str]); 14] = [
    ("reach.front_above_lip", REACH),
    ("reach.stall", REACH),
    ("reach.leaves_surface", REACH),
    ("blower.skin", &["pressure.low", "blower.weak", "band.none", "filling"]),
    ("reach.front", LANDS_ELSEWHERE),
    ("reach.short", LANDS_ELSEWHERE),
    ("reach.long", LANDS_ELSEWHERE),
    ("reach.side", LANDS_ELSEWHERE),
    (
        "pressure.low",
        &[
            "blower.weak",
            "band",
            "depth",
            "depth.ground",
            "depth.sinks",
            "hard",
            "ground",
            "ground_cut",
            "stop",
            "wait",
            "recovery.interval",
            "recovery.never",
            "one_blower",
            "provisional",
        ],
    ),
    ("pressure.high", &["band", "light", "felt"]),
    ("field", &["gap.none", "miss", "short", "long"]),
    ("gap.outside", &["miss", "short", "long", "reach.margin", "start.low"]),
    ("gap.none", &["miss", "short", "long", "start.low"]),
    ("miss", &["short", "long"]),
];

/// What follows where nobody gets to the bag's top.
const REACH: &[&str] = &[
    "reach.front",
    "reach.short",
    "reach.rider",
    "reach.stall",
    "miss",
    "short",
    "long",
    "field",
    "gap.none",
    "gap.outside",
    "start.low",
    "start.none_in_gust",
    "short_zone.none",
    "band.none",
    "wind.none",
    "miss.too_few",
];

/// What follows where the mean rider does not come down on the landing field.
const LANDS_ELSEWHERE: &[&str] = &[
    "reach.rider",
    "miss",
    "short",
    "long",
    "gap.none",
    "gap.outside",
    "field",
    "start.low",
    "start.none_in_gust",
    "wind.none",
];

/// What follows where a bag gives way too far, whatever the cause.
const TOO_SOFT: [&str; 2] = ["hard", "ground"];
const TOO_SOFT_FOLLOWS: [&str; 9] = [
    "ground",
    "ground_cut",
    "stop",
    "wait",
    "depth",
    "depth.ground",
    "depth.sinks",
    "provisional",
    "provisional.no_mark",
];

/// Links each finding that follows from another to it: stops and cautions only, and none to one milder than itself.
pub fn link(list: &mut [Finding]) {
    let there = |list: &[Finding], id: &str| {
        list.iter()
            .find(|finding| finding.id == id && finding.level != Level::Note)
            .map(|finding| (finding.id, finding.level))
    };
    let too_soft = TOO_SOFT.map(|cause| (cause, &TOO_SOFT_FOLLOWS[..]));
    for (cause, follows) in CAUSES.iter().copied().chain(too_soft) {
        let Some((id, level)) = there(list, cause) else { continue };
        if list.iter().any(|finding| finding.id == id && finding.follows_from.is_some()) {
            // What this one follows from takes the rest as well.
            continue;
        }
        for finding in list.iter_mut() {
            let grave = finding.level != Level::Note && finding.level >= level;
            if grave && finding.id != id && finding.follows_from.is_none() && follows.contains(&finding.id) {
                finding.follows_from = Some(id);
            }
        }
    }
}

/// The gravest first, and what follows from a finding right behind it.
pub fn in_order(list: Vec<Finding>) -> Vec<Finding> {
    let (roots, mut rest): (Vec<Finding>, Vec<Finding>) =
        list.into_iter().partition(|finding| finding.follows_from.is_none());
    let mut ordered = Vec::with_capacity(roots.len() + rest.len());
    for root in roots {
        let (own, others): (Vec<Finding>, Vec<Finding>) =
            rest.into_iter().partition(|finding| finding.follows_from == Some(root.id) && finding.level == root.level);
        rest = others;
        ordered.push(root);
        ordered.extend(own);
    }
    // Milder than their causes: with those of their own level.
    ordered.extend(rest);
    ordered.sort_by_key(|finding| finding.level);
    ordered
}
