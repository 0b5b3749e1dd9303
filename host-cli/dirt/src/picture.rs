//! The landing that is built beside the bag, in one side view to scale.

use crate::built::Built;
use landfall_ground::{BagBox, Drawing, Profile, Sheet};

/// What is shown.
pub struct View<'a> {
    /// The landing.
    pub built: &'a Built,
    /// The bag.
    pub bag: &'a BagBox,
    /// The ridden surface from the foot to the lip.
    pub takeoff: &'a [(f64, f64)],
    /// Flights of the centre of mass: short, mean, long.
    pub flights: &'a [Vec<(f64, f64)>],
    /// The ground.
    pub ground: &'a Profile,
    /// A length in the site's units.
    pub length: &'a dyn Fn(f64) -> String,
}

/// Draws it.
#[must_use]
pub fn draw(view: &View<'_>, title: &str, words: &str) -> Drawing {
    let View { built, bag, length, .. } = view;
    let landing = &built.landing;
    let from = view.takeoff.first().map_or(-4.0, |p| p.0) - 1.0;
    let to = landing.end_x_m().max(bag.along_m().1) + 1.0;
    let ground = view.ground.between(from, to);
    let outline = landing.outline_m();
    let heights = || ground.iter().chain(&outline).map(|p| p.1);
    let lowest = heights().fold(bag.base_level_m, f64::min) - (to - from) * 0.045;
    let flown = view.flights.iter().flatten().map(|p| p.1);
    let highest = heights().chain(flown).fold(bag.top_m(bag.gap_m), f64::max) + 0.5;
    let mut sheet = Sheet::new((from, to), (lowest, highest));
    let mut earth = ground.clone();
    earth.extend([(to, lowest), (from, lowest)]);
    sheet.shape("g-earth", &earth);
    let mut body = outline.clone();
    let under = view.ground.between(landing.deck_from_m, landing.end_x_m());
    body.extend(under.iter().rev());
    sheet.shape("g-fill", &body);
    let chips: Vec<(f64, f64, f64)> =
        built.bed.iter().map(|b| (b.x_m, landing.height_m(b.x_m), b.filled_m.unwrap_or(0.0))).collect();
    if chips.iter().any(|c| c.2 > 0.0) {
        let mut bed: Vec<(f64, f64)> = chips.iter().map(|c| (c.0, c.1)).collect();
        bed.extend(chips.iter().rev().map(|c| (c.0, c.1 - c.2)));
        sheet.shape("g-chips", &bed);
    }
    let (a, b) = bag.along_m();
    sheet.shape("g-ghost", &[(a, bag.base_level_m), (b, bag.base_level_m), (b, bag.top_m(b)), (a, bag.top_m(a))]);
    for flight in view.flights {
        sheet.line("g-path", flight);
    }
    sheet.line("g-ride", view.takeoff);
    sheet.line("g-ride", &outline);
    sheet.dot("g-mark", landing.knuckle_m, 3.0);
    for one in &built.tries {
        sheet.dot("g-mark", (one.meet.x_m, one.meet.z_m), 2.5);
    }
    sheet.label(landing.knuckle_m, format!("knuckle {} from the lip", length(landing.knuckle_m.0)));
    let end = landing.slope_end_m();
    let middle = ((landing.knuckle_m.0 + end.0) / 2.0, (landing.knuckle_m.1 + end.1) / 2.0);
    sheet.label_under(middle, format!("slope {:.0}° {}", landing.slope_rad.to_degrees(), length(landing.slope_m)));
    let c = landing.centre_m();
    sheet.label_under((c.0, landing.floor_m()), format!("radius {}", length(landing.radius_m)));
    sheet.label_under(
        (landing.end_x_m() - landing.run_out_m / 2.0, landing.floor_m()),
        format!("roll-out {}", length(landing.run_out_m)),
    );
    for one in &built.tries {
        sheet.label((one.meet.x_m, one.meet.z_m), one.which);
    }
    sheet.label_under(((a + b) / 2.0, bag.base_level_m), "bag");
    sheet.bar(&length(2.0), 2.0);
    sheet.finish(title, words)
}
