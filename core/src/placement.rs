//! Placement: for one run, the gaps at which it would come down on the landing field.
//!
//! Moving the bag moves its top with it, so relative to the front edge the heights at the two ends of
//! the landing field stay what they are. A run falls through each of these heights at a place of its
//! own, and these two places bound the gap; a run that starts below the contact height of the front
//! edge must also have risen to it by the time it passes that edge.

use crate::flight::{Arrival, Motion, Plane, carry_on, fly_to_rising};
use crate::inputs::{Inputs, Uncertain};
use crate::lane::{Lane, Mask};
use crate::run::Setup;

/// The gaps from `low_m` to `high_m` at which one run is between the front and the back margin; none
/// where `low_m` is above `high_m`. The side margins are not looked at.
#[derive(Clone, Copy, Debug)]
pub struct GapWindow<L> {
    /// Smallest gap.
    pub low_m: L,
    /// Largest gap.
    pub high_m: L,
}

impl Setup {
    /// The window of one run, from its release and its arrival on the top at the present gap.
    #[inline(always)]
    pub fn gap_window<L: Lane>(
        &self,
        start: &Motion<L>,
        arrival: &Arrival<L>,
        inputs: &Inputs<L>,
        front_steps: u16,
    ) -> GapWindow<L> {
        let (climb, cos) = (self.bag.climb(), self.bag.slope_cos());
        let contact = inputs.get(Uncertain::ContactHeight);
        let drag = self.drag(inputs);
        let front_z_m = self.bag.front_z_m();
        // Where the centre of mass is, along x, less the contact point.
        let lead = contact * (-climb * cos);
        let front_m = self.bag.edge_front_m;
        let height = Plane { normal_x: 0.0, normal_z: 1.0, offset_m: contact * cos + (front_z_m + climb * front_m) };
        let there = carry_on(arrival, &height, &drag);
        let (high_m, high_met) = (there.motion.place_m[0] - lead - front_m, there.met);
        let back_m = self.bag.length_m - self.bag.edge_back_m;
        let (low_m, met) = if climb == 0.0 {
            (high_m + (front_m - back_m), high_met)
        } else {
            let height = Plane { normal_x: 0.0, normal_z: 1.0, offset_m: contact * cos + (front_z_m + climb * back_m) };
            let there = carry_on(arrival, &height, &drag);
            (there.motion.place_m[0] - lead - back_m, there.met.and(high_met))
        };
        let edge = Plane { normal_x: 0.0, normal_z: 1.0, offset_m: contact * (1.0 / cos) + front_z_m };
        let zero = L::splat(0.0);
        let below = edge.distance(start).lt(zero);
        let mut low_m = low_m.max(zero);
        let mut none = met.not();
        if below.any() {
            let rise = fly_to_rising(start, &edge, &drag, front_steps);
            low_m = L::select(below, low_m.max(rise.motion.place_m[0]), low_m);
            none = none.or(below.and(rise.met.not()));
        }
        GapWindow { low_m: L::select(none, L::splat(1.0), low_m), high_m: L::select(none, L::splat(-1.0), high_m) }
    }
}
