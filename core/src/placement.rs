//! Placement: for one run, the gaps at which it would come down on the landing field.
//!
//! Moving the bag moves its top with it, so relative to the front edge the heights at the two ends of
//! the landing field stay what they are. A run passes each of these heights at a place of its
//! own, and these two places bound the gap; a run that starts below the contact height of the front
//! edge must also have risen to it by the time it passes that edge.
//!
//! A landing is met falling *relative to the top*. On a rising top (climb c > 0) that can be on the way up, where
//! v_z < c v_x; the farther back the bag stands, the later a run lands, and the distance from the front edge first grows up
//! to the apex and then shrinks. So:
//! - a run whose apex does not clear the height of the back margin is never long: it has no far end;
//! - one that clears it is long between two gaps, those of its passing this height on the way up and on the way down.
//!   The gaps below the first are a window of their own, for landings on the way up.
//!
//! The front edge counts as met where the centre of mass passes it too low. With a margin at the front shorter than the
//! contact point's lead on a steep rising top (contact height times the sine of its slope) a run may touch the top before
//! that; such gaps are left out, which errs to the careful side.
//!
//! On a falling top (c < 0) a larger gap means an earlier landing, down to the moment at which the path is parallel to
//! the top: v_z = c v_x. Beyond that gap the run never rises to the plane. Nor may it have sunk under the contact height
//! of the front edge by the time it passes that edge.
//!
//! # Settled here
//! - **Gap windows**: a run counts at a gap if its contact point lies between the margins there; the side margins are
//!   taken at the present gap. On a rising top a run whose apex does not clear the height of the back margin has no
//!   far end, and one that does may have two windows; on a falling top the largest gap is the one at which its path
//!   touches the plane.

use crate::air::STANDARD_GRAVITY_MPS2 as G;
use crate::flight::{Arrival, Motion, Plane, carry_on, fly_to_falling, fly_to_rising};
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

impl<L: Lane> GapWindow<L> {
    /// The window, or none where the mask holds.
    #[inline(always)]
    fn unless(none: L::Mask, low_m: L, high_m: L) -> Self {
        Self { low_m: L::select(none, L::splat(1.0), low_m), high_m: L::select(none, L::splat(-1.0), high_m) }
    }
}

/// `then` where the mask holds, else `otherwise`.
#[inline(always)]
fn either<L: Lane>(mask: L::Mask, then: &Arrival<L>, otherwise: &Arrival<L>) -> Arrival<L> {
    let pick = |a: &[L; 3], b: &[L; 3]| {
        [L::select(mask, a[0], b[0]), L::select(mask, a[1], b[1]), L::select(mask, a[2], b[2])]
    };
    Arrival {
        motion: Motion {
            place_m: pick(&then.motion.place_m, &otherwise.motion.place_m),
            velocity_mps: pick(&then.motion.velocity_mps, &otherwise.motion.velocity_mps),
        },
        time_s: L::select(mask, then.time_s, otherwise.time_s),
        met: mask.and(then.met).or(mask.not().and(otherwise.met)),
    }
}

impl Setup {
    /// The windows of one run, from its release and its arrival on the top at the present gap: that of landings on the
    /// way down (on a rising top, of all landings where the run has no far end), and on a rising top the one of landings
    /// on the way up by runs that can also be long. They do not overlap.
    #[inline(always)]
    pub fn gap_windows<L: Lane>(
        &self,
        start: &Motion<L>,
        arrival: &Arrival<L>,
        inputs: &Inputs<L>,
        front_steps: u16,
    ) -> [GapWindow<L>; 2] {
        let (climb, cos) = (self.bag().climb(), self.bag().slope_cos());
        let contact = inputs.get(Uncertain::ContactHeight);
        let drag = self.drag(inputs);
        let front_z_m = self.bag().front_z_m();
        let zero = L::splat(0.0);
        // Where the centre of mass is, along x, less the contact point.
        let lead = contact * (-climb * cos);
        let height_at = |along_m: f32| Plane {
            normal_x: 0.0,
            normal_z: 1.0,
            offset_m: contact * cos + (front_z_m + climb * along_m),
        };
        let gap_at = |motion: &Motion<L>, along_m: f32| motion.place_m[0] - lead - along_m;
        // How fast a run falls relative to the top: a landing only where this is above zero.
        let falling = |motion: &Motion<L>| motion.velocity_mps[0] * climb - motion.velocity_mps[2];
        let (front_m, back_m) = (self.bag().edge_front_m(), self.bag().length_m() - self.bag().edge_back_m());
        // From the arrival on the top as it stands, or where there is none anew from the start.
        let fall_to = |height: &Plane<L>| {
            let near = carry_on(arrival, height, &drag);
            if arrival.met.not().any() {
                either(arrival.met, &near, &fly_to_falling(start, height, &drag, front_steps))
            } else {
                near
            }
        };
        let at_front = fall_to(&height_at(front_m));
        let mut high_m = gap_at(&at_front.motion, front_m);
        // A height that was passed before the release only.
        let never = |there: &Arrival<L>| there.met.not().or(there.time_s.lt(zero));
        let mut none = never(&at_front);
        // The lowest gap at which a run that is past the front edge's height is not long.
        let (mut low_m, mut long) = (high_m + (front_m - back_m), L::Mask::splat(true));
        if climb < 0.0 {
            low_m = gap_at(&fall_to(&height_at(back_m)).motion, back_m);
            // Up to the moment at which the path is parallel to the top, as in a vacuum.
            let early = (-falling(&at_front.motion)).max(zero);
            high_m = high_m + early * early * (0.5 / (G * -climb));
        } else if climb > 0.0 {
            let at_back = fall_to(&height_at(back_m));
            (low_m, long) = (gap_at(&at_back.motion, back_m), never(&at_back).not());
        }
        // From here on the run is over the front edge as it passes it.
        let edge = Plane { normal_x: 0.0, normal_z: 1.0, offset_m: contact * (1.0 / cos) + front_z_m };
        if climb < 0.0 {
            // A flat path may sink under the edge's height again before the top falls away under it.
            let down = fall_to(&edge);
            high_m = L::select(down.met, high_m.min(down.motion.place_m[0]), high_m);
        }
        let below = edge.distance(start).lt(zero);
        let mut over_m = zero;
        if below.any() {
            let rise = fly_to_rising(start, &edge, &drag, front_steps);
            let mut passed_m = rise.motion.place_m[0];
            if climb > 0.0 {
                // A rising top may also lie so low at the release that the run is over it from the start.
                let above_m = start.place_m[0] - edge.distance(start) * (1.0 / climb);
                passed_m = L::select(rise.met, passed_m.min(above_m), above_m);
            } else {
                none = none.or(below.and(rise.met.not()));
            }
            over_m = L::select(below, passed_m.max(zero), over_m);
        }
        if !(climb > 0.0) {
            return [
                GapWindow::unless(none, low_m.max(over_m), high_m),
                GapWindow::unless(L::Mask::splat(true), zero, zero),
            ];
        }
        // On the way up a run may pass the height of the front margin already falling relative to the top: at smaller
        // gaps it comes down inside the margin.
        let margin = height_at(front_m);
        let under = margin.distance(start).lt(zero);
        if under.any() {
            let rise = fly_to_rising(start, &margin, &drag, front_steps);
            let inside = under.and(rise.met).and(zero.lt(falling(&rise.motion)));
            over_m = L::select(inside, over_m.max(gap_at(&rise.motion, front_m)), over_m);
        }
        let top = height_at(back_m);
        let up = fly_to_rising(start, &top, &drag, front_steps);
        let up_m = gap_at(&up.motion, back_m);
        let on_the_way_up = long.and(top.distance(start).lt(zero)).and(up.met).and(zero.lt(falling(&up.motion)));
        [
            GapWindow::unless(none, L::select(long, low_m.max(over_m), over_m), high_m),
            GapWindow::unless(none.or(on_the_way_up.not()), over_m, up_m),
        ]
    }
}
