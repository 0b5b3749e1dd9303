//! The ground's two pictures and their tables.

use super::Look;
use crate::shown::Toward;
use landfall_ground::Drawing;
use landfall_ground::above::{self, PlanView};
use landfall_ground::side::{self, SideView};

/// What the side view shows, in words.
#[must_use]
pub fn side_words(look: &Look) -> String {
    let u = look.shown;
    format!(
        "Side view to scale: {} from the platform's back to the end of the run-out; the ground as it was measured, what is dug \
         away and brought in under the bag, and the band of drawn flights with what riders and bikes reach.",
        u.length(look.fit.length_m, Toward::Nearest)
    )
}

/// What the plan view shows, in words.
#[must_use]
pub fn plan_words(look: &Look) -> String {
    let u = look.shown;
    let peg = |(along, across): (f64, f64)| {
        format!(
            "{} {} the lip, {} to the {}",
            u.length(along.abs(), Toward::Nearest),
            if along < 0.0 { "behind" } else { "ahead of" },
            u.length(across.abs(), Toward::Nearest),
            if across < 0.0 { "right" } else { "left" }
        )
    };
    format!(
        "Plan view to scale, left is up. Peg A stands {}; peg B {}. Every numbered corner is where two tapes, held level, meet: \
         the distances are in the table.",
        peg(look.pegs_m[0]),
        peg(look.pegs_m[1])
    )
}

/// The side view.
#[must_use]
pub fn side(look: &Look) -> Drawing {
    let length = |m: f64| look.shown.length(m, Toward::Nearest);
    let view = SideView {
        layout: &look.layout,
        ground: &look.ground,
        supports: &look.supports,
        band: &look.band,
        flight: &look.flight,
        length: &length,
    };
    side::draw(&view, "The ground from the side", &side_words(look))
}

/// The plan view.
#[must_use]
pub fn plan(look: &Look) -> Drawing {
    let length = |m: f64| look.shown.length(m, Toward::Nearest);
    let view = PlanView {
        layout: &look.layout,
        ground: &look.ground,
        band: &look.band,
        tapes: &look.tapes,
        pegs: look.pegs_m,
        length: &length,
    };
    above::draw(&view, "The ground from above", &plan_words(look))
}
