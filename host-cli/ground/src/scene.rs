//! What stands on the ground, and the ground's own borders.

use crate::profile::{Profile, height_on};
use serde::Serialize;

/// Something that is in the way: a tree, a pole, a fence, a building, a wire.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Obstacle {
    /// What it is called.
    pub name: String,
    /// Where it stands (x, y), or where a fence or wire begins.
    pub from_m: (f64, f64),
    /// Where a fence or wire ends.
    pub to_m: Option<(f64, f64)>,
    /// How far it reaches to every side.
    pub radius_m: f64,
    /// Its top over the ground where it stands; of what hangs, how high it hangs where it is lowest.
    pub height_m: f64,
    /// It hangs: free below, as a wire.
    pub hangs: bool,
}

impl Obstacle {
    /// Its middle line in plan.
    #[must_use]
    pub fn line_m(&self) -> [(f64, f64); 2] {
        [self.from_m, self.to_m.unwrap_or(self.from_m)]
    }

    /// Its lowest and highest place over the take-off's foot: what stands goes down without end, what hangs reaches its
    /// radius up and down. Along a fence the highest ground counts, along a wire the lowest.
    #[must_use]
    pub fn reach_z_m(&self, ground: &Ground) -> (f64, f64) {
        let [a, b] = self.line_m();
        let under = ground.points_between(a.0.min(b.0), a.0.max(b.0));
        if self.hangs {
            let lowest = under.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
            (lowest + self.height_m - self.radius_m, lowest + self.height_m + self.radius_m)
        } else {
            let highest = under.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
            (f64::NEG_INFINITY, highest + self.height_m)
        }
    }
}

/// The ground as it is; what is not known is not there.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Ground {
    /// Heights along the line; level at the take-off's foot where none were measured.
    pub profile: Option<Profile>,
    /// Across.
    pub width_m: Option<f64>,
    /// Of its middle from the take-off's centre line, left positive.
    pub middle_m: f64,
    /// Where the land ends ahead.
    pub edge_ahead_m: Option<f64>,
    /// Where the land ends behind the start.
    pub edge_behind_m: Option<f64>,
    /// What is in the way.
    pub obstacles: Vec<Obstacle>,
}

impl Ground {
    /// Height of the ground.
    #[must_use]
    pub fn height_m(&self, x_m: f64) -> f64 {
        self.profile.as_ref().map_or(0.0, |profile| profile.height_m(x_m))
    }

    /// Every place between two where the ground bends, with both ends.
    #[must_use]
    pub fn points_between(&self, from_m: f64, to_m: f64) -> Vec<(f64, f64)> {
        match &self.profile {
            Some(profile) => profile.between(from_m, to_m),
            None => vec![(from_m, 0.0), (to_m, 0.0)],
        }
    }
}

/// The bag, where it stands.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct BagBox {
    /// From the lip to its front edge.
    pub gap_m: f64,
    /// Along.
    pub length_m: f64,
    /// Across.
    pub width_m: f64,
    /// Of its centre line, left positive.
    pub offset_m: f64,
    /// Of what it stands on.
    pub base_level_m: f64,
    /// Of its top's front edge over that.
    pub front_height_m: f64,
    /// Of its top's back edge over that.
    pub back_height_m: f64,
}

impl BagBox {
    /// From where to where it lies along the line.
    #[must_use]
    pub fn along_m(&self) -> (f64, f64) {
        (self.gap_m, self.gap_m + self.length_m)
    }

    /// From where to where it lies across.
    #[must_use]
    pub fn across_m(&self) -> (f64, f64) {
        (self.offset_m - self.width_m / 2.0, self.offset_m + self.width_m / 2.0)
    }

    /// Height of its top.
    #[must_use]
    pub fn top_m(&self, x_m: f64) -> f64 {
        let share = ((x_m - self.gap_m) / self.length_m).clamp(0.0, 1.0);
        self.base_level_m + self.front_height_m + share * (self.back_height_m - self.front_height_m)
    }
}

/// What is built, and what room it wants.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Layout {
    /// The ridden surface from the start to the lip, x rising; the lip is at x = 0.
    pub surface: Vec<(f64, f64)>,
    /// Where the take-off's foot is; negative.
    pub foot_x_m: f64,
    /// Length of the platform behind the start.
    pub platform_m: f64,
    /// Width of platform and roll-in.
    pub roll_in_width_m: f64,
    /// Width of the take-off.
    pub takeoff_width_m: f64,
    /// The bag.
    pub bag: BagBox,
    /// Free of everything round the bag.
    pub fall_zone_m: f64,
    /// Level length behind the bag in which a rider comes to rest, where that is more than the fall zone.
    pub run_out_m: f64,
}

impl Layout {
    /// Where the start is.
    #[must_use]
    pub fn start(&self) -> (f64, f64) {
        self.surface.first().copied().unwrap_or((self.foot_x_m, 0.0))
    }

    /// Where the platform's back is.
    #[must_use]
    pub fn back_x_m(&self) -> f64 {
        self.start().0 - self.platform_m
    }

    /// Height of the ridden surface, the platform among it; none ahead of the lip and behind the platform.
    #[must_use]
    pub fn surface_m(&self, x_m: f64) -> Option<f64> {
        (x_m >= self.back_x_m() - 1e-9 && x_m <= 1e-9).then(|| height_on(&self.surface, x_m))
    }

    /// Where the run-out ends.
    #[must_use]
    pub fn end_x_m(&self) -> f64 {
        self.bag.along_m().1 + self.run_out_m.max(self.fall_zone_m)
    }

    /// How far it all reaches across: right and left.
    #[must_use]
    pub fn across_m(&self) -> (f64, f64) {
        let (right, left) = self.bag.across_m();
        let half_m = self.roll_in_width_m.max(self.takeoff_width_m) / 2.0;
        ((right - self.fall_zone_m).min(-half_m), (left + self.fall_zone_m).max(half_m))
    }

    /// The outlines in plan, each by its four corners in order: back right, front right, front left, back left.
    #[must_use]
    pub fn outlines(&self) -> Vec<(&'static str, [(f64, f64); 4])> {
        let rect = |(x0, x1): (f64, f64), (y0, y1): (f64, f64)| [(x0, y0), (x1, y0), (x1, y1), (x0, y1)];
        let half = |width_m: f64| (-width_m / 2.0, width_m / 2.0);
        let mut list = Vec::new();
        if self.platform_m > 0.0 {
            list.push(("platform", rect((self.back_x_m(), self.start().0), half(self.roll_in_width_m))));
        }
        list.push(("roll-in", rect((self.start().0, self.foot_x_m), half(self.roll_in_width_m))));
        list.push(("take-off", rect((self.foot_x_m, 0.0), half(self.takeoff_width_m))));
        list.push(("bag", rect(self.bag.along_m(), self.bag.across_m())));
        list
    }
}
