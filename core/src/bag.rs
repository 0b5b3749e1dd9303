//! The landing bag as a place: its top plane, its landing field, and what a landing is called.

use crate::error::{InputError, within};
use crate::flight::Plane;
use crate::lane::Lane;

/// What a bag is made from: plain numbers, checked by [`Bag::new`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BagInput {
    /// Length along the flight.
    pub length_m: f32,
    /// Width across it.
    pub width_m: f32,
    /// Height of the front edge above the ground under the bag.
    pub front_height_m: f32,
    /// Height of the back edge above the ground under the bag.
    pub back_height_m: f32,
    /// From the lip edge to the bag's front edge, horizontal.
    pub gap_m: f32,
    /// The bag's centre line from the take-off's, left positive.
    pub offset_m: f32,
    /// The ground under the bag above the take-off's foot.
    pub base_level_m: f32,
    /// Margin at the front that does not count as landing field.
    pub edge_front_m: f32,
    /// Margin at the back.
    pub edge_back_m: f32,
    /// Margin at either side.
    pub edge_side_m: f32,
}

/// Where the bag stands and how large it is.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Bag {
    input: BagInput,
}

/// What a run came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Outcome {
    /// On the landing field.
    On,
    /// On the bag, inside a margin.
    Edge,
    /// Before the bag's front edge.
    Short,
    /// Beyond the bag's back edge.
    Long,
    /// Off its left side.
    Left,
    /// Off its right side.
    Right,
    /// Against the bag's front.
    Front,
    /// Came to rest before the lip.
    Stall,
    /// Left the surface on the ride down.
    LeavesSurface,
}

impl Outcome {
    /// All of them, in the order in which they are reported.
    pub const ALL: [Self; 9] = [
        Self::On,
        Self::Edge,
        Self::Short,
        Self::Long,
        Self::Left,
        Self::Right,
        Self::Front,
        Self::Stall,
        Self::LeavesSurface,
    ];

    /// Its name as results print it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::On => "on",
            Self::Edge => "edge",
            Self::Short => "short",
            Self::Long => "long",
            Self::Left => "left",
            Self::Right => "right",
            Self::Front => "front",
            Self::Stall => "stall",
            Self::LeavesSurface => "leaves_surface",
        }
    }
}

impl Bag {
    /// Checks a bag.
    ///
    /// # Errors
    /// [`InputError`] where a size is out of range, or the margins leave no landing field.
    pub fn new(bag: BagInput) -> Result<Self, InputError> {
        within("bag.length_m", bag.length_m, 0.5, 100.0)?;
        within("bag.width_m", bag.width_m, 0.5, 100.0)?;
        within("bag.front_height_m", bag.front_height_m, 0.05, 20.0)?;
        within("bag.back_height_m", bag.back_height_m, 0.05, 20.0)?;
        within("bag.gap_m", bag.gap_m, 0.0, 200.0)?;
        within("bag.offset_m", bag.offset_m, -100.0, 100.0)?;
        within("bag.base_level_m", bag.base_level_m, -100.0, 100.0)?;
        within("bag.edge_front_m", bag.edge_front_m, 0.0, 100.0)?;
        within("bag.edge_back_m", bag.edge_back_m, 0.0, 100.0)?;
        within("bag.edge_side_m", bag.edge_side_m, 0.0, 100.0)?;
        if !(bag.edge_front_m + bag.edge_back_m < bag.length_m) {
            return Err(InputError::Order {
                smaller: "bag.edge_front_m + bag.edge_back_m",
                smaller_got: bag.edge_front_m + bag.edge_back_m,
                larger: "bag.length_m",
                larger_got: bag.length_m,
            });
        }
        if !(2.0 * bag.edge_side_m < bag.width_m) {
            return Err(InputError::Order {
                smaller: "2 × bag.edge_side_m",
                smaller_got: 2.0 * bag.edge_side_m,
                larger: "bag.width_m",
                larger_got: bag.width_m,
            });
        }
        Ok(Self { input: bag })
    }

    /// The numbers that it was made from, to make another.
    #[must_use]
    pub const fn input(&self) -> BagInput {
        self.input
    }

    /// The same bag at another gap, kept within 0 to 200 m.
    #[must_use]
    pub fn at_gap(&self, gap_m: f32) -> Self {
        let gap_m = libm::fminf(libm::fmaxf(gap_m, 0.0), 200.0);
        Self { input: BagInput { gap_m, ..self.input } }
    }

    /// The same bag on the other side of the centre line.
    #[must_use]
    pub const fn mirrored(&self) -> Self {
        Self { input: BagInput { offset_m: -self.input.offset_m, ..self.input } }
    }

    /// Length along the flight.
    #[inline(always)]
    #[must_use]
    pub const fn length_m(&self) -> f32 {
        self.input.length_m
    }

    /// Width across it.
    #[inline(always)]
    #[must_use]
    pub const fn width_m(&self) -> f32 {
        self.input.width_m
    }

    /// Height of the front edge above the ground under the bag.
    #[inline(always)]
    #[must_use]
    pub const fn front_height_m(&self) -> f32 {
        self.input.front_height_m
    }

    /// Height of the back edge above the ground under the bag.
    #[inline(always)]
    #[must_use]
    pub const fn back_height_m(&self) -> f32 {
        self.input.back_height_m
    }

    /// From the lip edge to the bag's front edge, horizontal.
    #[inline(always)]
    #[must_use]
    pub const fn gap_m(&self) -> f32 {
        self.input.gap_m
    }

    /// The bag's centre line from the take-off's, left positive.
    #[inline(always)]
    #[must_use]
    pub const fn offset_m(&self) -> f32 {
        self.input.offset_m
    }

    /// The ground under the bag above the take-off's foot.
    #[inline(always)]
    #[must_use]
    pub const fn base_level_m(&self) -> f32 {
        self.input.base_level_m
    }

    /// Margin at the front that does not count as landing field.
    #[inline(always)]
    #[must_use]
    pub const fn edge_front_m(&self) -> f32 {
        self.input.edge_front_m
    }

    /// Margin at the back.
    #[inline(always)]
    #[must_use]
    pub const fn edge_back_m(&self) -> f32 {
        self.input.edge_back_m
    }

    /// Margin at either side.
    #[inline(always)]
    #[must_use]
    pub const fn edge_side_m(&self) -> f32 {
        self.input.edge_side_m
    }

    /// Climb of the top per metre, back positive: tan φ.
    #[inline(always)]
    #[must_use]
    pub fn climb(&self) -> f32 {
        (self.input.back_height_m - self.input.front_height_m) / self.input.length_m
    }

    /// Cosine of the top's slope angle φ.
    #[inline(always)]
    #[must_use]
    pub fn slope_cos(&self) -> f32 {
        let climb = self.climb();
        1.0 / libm::sqrtf(1.0 + climb * climb)
    }

    /// Slope angle φ of the top, the back higher positive.
    #[must_use]
    pub fn slope_rad(&self) -> f32 {
        libm::atanf(self.climb())
    }

    /// Height of the front edge above the take-off's foot.
    #[must_use]
    pub fn front_z_m(&self) -> f32 {
        self.input.base_level_m + self.input.front_height_m
    }

    /// The plane on which the centre of mass is at contact: the top, moved by the contact height along its normal.
    #[inline(always)]
    pub fn contact_plane<L: Lane>(&self, contact_height_m: L) -> Plane<L> {
        let (climb, cos) = (self.climb(), self.slope_cos());
        let offset_m = contact_height_m + cos * (self.front_z_m() - self.input.gap_m * climb);
        Plane { normal_x: -climb * cos, normal_z: cos, offset_m }
    }

    /// Thickness normal to the top at a distance from the front edge (kept within the bag).
    #[must_use]
    pub fn thickness_m(&self, along_m: f32) -> f32 {
        let along_m = libm::fminf(libm::fmaxf(along_m, 0.0), self.input.length_m);
        (self.input.front_height_m + along_m * self.climb()) * self.slope_cos()
    }

    /// Thinnest place between two distances from the front edge, each kept within the bag.
    #[must_use]
    pub fn thinnest_m(&self, low_m: f32, high_m: f32) -> f32 {
        libm::fminf(self.thickness_m(low_m), self.thickness_m(high_m))
    }

    /// Middle of the landing field, from the front edge.
    #[must_use]
    pub fn field_middle_m(&self) -> f32 {
        0.5 * (self.input.edge_front_m + self.input.length_m - self.input.edge_back_m)
    }

    /// What a landing at a place is called; short and long before left and right.
    #[inline]
    #[must_use]
    pub fn landing(&self, along_m: f32, across_m: f32) -> Outcome {
        let half_m = 0.5 * self.input.width_m;
        if along_m < 0.0 {
            Outcome::Short
        } else if along_m > self.input.length_m {
            Outcome::Long
        } else if across_m > half_m {
            Outcome::Left
        } else if across_m < -half_m {
            Outcome::Right
        } else if along_m >= self.input.edge_front_m
            && along_m <= self.input.length_m - self.input.edge_back_m
            && libm::fabsf(across_m) <= half_m - self.input.edge_side_m
        {
            Outcome::On
        } else {
            Outcome::Edge
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    pub(crate) const BAG: BagInput = BagInput {
        length_m: 10.0,
        width_m: 8.0,
        front_height_m: 2.0,
        back_height_m: 2.5,
        gap_m: 4.0,
        offset_m: 0.0,
        base_level_m: 0.0,
        edge_front_m: 1.0,
        edge_back_m: 1.0,
        edge_side_m: 1.0,
    };

    #[test]
    fn places_have_their_names() {
        let bag = Bag::new(BAG).unwrap();
        let cases = [
            (5.0, 0.0, Outcome::On),
            (1.0, 3.0, Outcome::On),
            (0.99, 0.0, Outcome::Edge),
            (9.5, 0.0, Outcome::Edge),
            (5.0, -3.5, Outcome::Edge),
            (-0.1, 9.0, Outcome::Short),
            (10.1, -9.0, Outcome::Long),
            (5.0, 4.1, Outcome::Left),
            (5.0, -4.1, Outcome::Right),
        ];
        for (along, across, name) in cases {
            assert_eq!(bag.landing(along, across), name, "{along} {across}");
        }
    }

    #[test]
    fn the_contact_plane_is_the_top_moved_along_its_normal() {
        let bag = Bag::new(BAG).unwrap();
        let plane = bag.contact_plane(0.7_f32);
        // On the top at 3 m from the front edge, then 0.7 m along the normal.
        let (x, z) = (7.0, 2.0 + 3.0 * 0.05);
        let at = |x: f32, z: f32| x * plane.normal_x + z * plane.normal_z - plane.offset_m;
        assert!((at(x, z) + 0.7).abs() < 1e-6);
        assert!(at(x + 0.7 * plane.normal_x, z + 0.7 * plane.normal_z).abs() < 1e-6);
        assert!((bag.thickness_m(10.0) - 2.5 * bag.slope_cos()).abs() < 1e-6);
        assert!((bag.thinnest_m(-5.0, 30.0) - 2.0 * bag.slope_cos()).abs() < 1e-6);
    }

    #[test]
    fn a_bag_without_a_field_is_refused() {
        assert!(Bag::new(BagInput { edge_front_m: 6.0, edge_back_m: 4.0, ..BAG }).is_err());
        assert!(Bag::new(BagInput { edge_side_m: 4.0, ..BAG }).is_err());
        assert!(Bag::new(BagInput { length_m: f32::NAN, ..BAG }).is_err());
    }
}
