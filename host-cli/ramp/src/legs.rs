//! The legs of platform and roll-in: the ground's heights under the ridden surface, less what lies on them.

use crate::choices::Choices;
use crate::stock::{Timbers, saw};
use landfall_core::run::Setup;
use landfall_ground::supports::supports;
use landfall_plan::ground::{ground_of, layout_of};
use landfall_plan::site::Site;
use serde::Serialize;

/// Shorter than this a leg is a packing.
const SHORTEST_M: f64 = 0.05;

/// A row of legs of one length.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Leg {
    /// From the lip, behind it negative.
    pub along_m: f64,
    /// Of the ridden surface over the ground there.
    pub height_m: f64,
    /// To cut: the height less deck and joist, measured plumb.
    pub length_m: f64,
    /// Side by side.
    pub count: usize,
}

/// The legs, from the platform's back on, and how they are sawn; no sawing where one is longer than the stock. Of a site
/// that states no profile the ground is level at the take-off's foot.
#[must_use]
pub fn legs(site: &Site, setup: &Setup, choices: &Choices) -> (Vec<Leg>, Option<Timbers>) {
    let mut layout = layout_of(site, setup);
    layout.platform_m = choices.platform_m;
    layout.roll_in_width_m = choices.roll_in_width_m.unwrap_or(site.takeoff.width_m);
    let (count, _) = choices.panels(layout.roll_in_width_m);
    let under_m = choices.deck_m() + choices.joist_depth_m;
    let list: Vec<Leg> = supports(&layout, &ground_of(site), choices.panel_spacing_m)
        .iter()
        .map(|s| Leg { along_m: s.x_m, height_m: s.height_m, length_m: s.height_m - under_m, count })
        .filter(|leg| leg.length_m >= SHORTEST_M)
        .collect();
    let lengths: Vec<(f64, usize)> = list.iter().map(|leg| (leg.length_m, leg.count)).collect();
    let sawn = saw(&lengths, choices.timber_length_m, choices.kerf_m);
    (list, sawn)
}

#[cfg(test)]
mod tests {
    use super::*;
    use landfall_plan::plan::model::Model;
    use landfall_plan::site::demo;

    #[test]
    fn legs_are_the_platforms_height_less_what_lies_on_them() {
        let site = demo();
        let model = Model::new(&site).unwrap();
        let choices = Choices::default();
        let (list, sawn) = legs(&site, &model.setups[0], &choices);
        // The platform is 6 m over level ground; two layers of 9 mm and a joist of 95 mm lie on the leg.
        assert!((list[0].length_m - (6.0 - 0.018 - 0.095)).abs() < 1e-5, "{:?}", list[0]);
        assert!(list.windows(2).all(|pair| pair[1].length_m <= pair[0].length_m + 1e-9));
        // 6 m are longer than a timber of 4.8 m.
        assert!(sawn.is_none());
        let mut hill = site.clone();
        hill.ground.profile = vec![(-40.0, 3.0), (-12.0, 3.0), (-9.0, 0.0), (30.0, 0.0)];
        let (on_hill, sawn) = legs(&hill, &model.setups[0], &choices);
        assert!((on_hill[0].length_m - (3.0 - 0.018 - 0.095)).abs() < 1e-5, "{:?}", on_hill[0]);
        assert!(sawn.unwrap().sawn_m < list.iter().map(|leg| leg.length_m * leg.count as f64).sum::<f64>());
    }
}
