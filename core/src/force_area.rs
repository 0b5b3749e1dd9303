//! The area with which the bag pushes back on a body that has sunk in: the force is p A(x).
//!
//! Cut the skin along the crest round the body, where it is level: its tension has no part across the top there, so the
//! force is the pressure times the area inside the crest, whatever the cloth. A(x) belongs to the shape of the bag and
//! of the body; it is measured with a dead load, or *assumed* from three numbers.

use crate::error::{InputError, within};

/// Most knots of a force area.
pub const KNOTS: usize = 12;

/// Depth of the first knot of an assumed force area, m.
pub const FIRST_DEPTH_M: f32 = 0.1;

/// By how much the limit of an assumed force area lies at least over the area of its first knot, m².
pub const LEAST_RISE_M2: f32 = 0.01;

/// One point of a force area.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Knot {
    /// Depth x of the body below the untouched top, normal to it, m.
    pub depth_m: f32,
    /// Area A inside the crest at that depth, m².
    pub area_m2: f32,
}

/// Force area A over depth x: from (0, 0) straight from knot to knot, constant beyond the last.
///
/// The displaced volume is its integral, V_d(x) = ∫₀ˣ A, piecewise quadratic.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ForceArea {
    /// Area at x = 0: 0 but for [`ForceArea::constant`].
    start_m2: f32,
    count: u8,
    knots: [Knot; KNOTS],
}

const NO_KNOT: Knot = Knot { depth_m: 0.0, area_m2: 0.0 };

impl ForceArea {
    /// A measured force area.
    ///
    /// Valid: 1 to 12 knots, depths rising within 0.01 to 30 m, areas not falling within 0.01 to 1,000 m²; (0, 0) is
    /// not stated.
    ///
    /// # Errors
    /// [`InputError::Count`], [`InputError::OutOfRange`], or [`InputError::Order`] with the two values.
    pub fn measured(knots: &[Knot]) -> Result<Self, InputError> {
        let count = u8::try_from(knots.len()).ok().filter(|count| (1..=KNOTS).contains(&usize::from(*count)));
        let Some(count) = count else {
            return Err(InputError::Count { quantity: "bag.area", got: knots.len(), low: 1, high: KNOTS });
        };
        let mut area = Self { start_m2: 0.0, count, knots: [NO_KNOT; KNOTS] };
        let mut before = NO_KNOT;
        for (slot, knot) in area.knots.iter_mut().zip(knots) {
            within("bag.area depth_m", knot.depth_m, 0.01, 30.0)?;
            within("bag.area area_m2", knot.area_m2, 0.01, 1_000.0)?;
            if !(knot.depth_m > before.depth_m) {
                return Err(InputError::Order {
                    smaller: "bag.area depth_m",
                    smaller_got: before.depth_m,
                    larger: "bag.area depth_m of the next knot",
                    larger_got: knot.depth_m,
                });
            }
            if !(knot.area_m2 >= before.area_m2) {
                return Err(InputError::Order {
                    smaller: "bag.area area_m2",
                    smaller_got: before.area_m2,
                    larger: "bag.area area_m2 of the next knot",
                    larger_got: knot.area_m2,
                });
            }
            *slot = *knot;
            before = *knot;
        }
        Ok(area)
    }

    /// A force area from three numbers: the knots (0.1 m, A_b + 0.1 m c) and (x_m, A_m), with A_b + c x_m = A_m.
    ///
    /// A_b (*assumed* 0.5 m²) is what a body covers at once, c (*assumed* 6 m) how fast the crest widens, A_m
    /// (*assumed* 4 m²) where the skin stands upright round the body and the crest widens no more. A_m is taken as at
    /// least A_b + 0.1 m c + 0.01 m². A dome of crown radius R that does not stretch has c = π R (mirror dent; Vella,
    /// Ajdari, Vaziri & Boudaoud 2012 for the two regimes); a membrane of tension T round a body of radius b has
    /// A_m = π (b² + 2 b T/p).
    ///
    /// Valid: 0.01 to 50 m², 0.01 to 1,000 m, 0.01 to 1,000 m².
    ///
    /// # Errors
    /// [`InputError::OutOfRange`].
    ///
    /// ```
    /// # use landfall_core::force_area::ForceArea;
    /// let area = ForceArea::assumed(0.5, 6.0, 4.0)?;
    /// assert!((area.area_m2(0.3) - (0.5 + 6.0 * 0.3)).abs() < 1e-6);
    /// assert_eq!(area.area_m2(2.0), 4.0);
    /// # Ok::<(), landfall_core::InputError>(())
    /// ```
    pub fn assumed(body_m2: f32, growth_m: f32, limit_m2: f32) -> Result<Self, InputError> {
        let body_m2 = within("bag.area_body_m2", body_m2, 0.01, 50.0)?;
        let growth_m = within("bag.area_growth_m", growth_m, 0.01, 1_000.0)?;
        let limit_m2 = within("bag.area_limit_m2", limit_m2, 0.01, 1_000.0)?;
        Ok(Self::from_three(body_m2, growth_m, limit_m2))
    }

    /// [`ForceArea::assumed`] of numbers that were checked, or drawn about such.
    pub(crate) fn from_three(body_m2: f32, growth_m: f32, limit_m2: f32) -> Self {
        let first_m2 = body_m2 + FIRST_DEPTH_M * growth_m;
        let limit_m2 = limit_m2.max(first_m2 + LEAST_RISE_M2);
        let mut knots = [NO_KNOT; KNOTS];
        knots[0] = Knot { depth_m: FIRST_DEPTH_M, area_m2: first_m2 };
        knots[1] = Knot { depth_m: (limit_m2 - body_m2) / growth_m, area_m2: limit_m2 };
        Self { start_m2: 0.0, count: 2, knots }
    }

    /// The same area at every depth from x = 0 on, as in published drop tests of vented gas bags. Not for a site.
    ///
    /// Valid: 0.01 to 1,000 m².
    ///
    /// # Errors
    /// [`InputError::OutOfRange`].
    pub fn constant(area_m2: f32) -> Result<Self, InputError> {
        let start_m2 = within("area_m2", area_m2, 0.01, 1_000.0)?;
        Ok(Self { start_m2, count: 0, knots: [NO_KNOT; KNOTS] })
    }

    /// The same, checked again: one that was read from elsewhere may be anything.
    ///
    /// # Errors
    /// As [`ForceArea::measured`] and [`ForceArea::constant`].
    pub fn checked(&self) -> Result<Self, InputError> {
        if self.count == 0 && self.start_m2 != 0.0 {
            return Self::constant(self.start_m2);
        }
        within("bag.area area_m2 at 0 m", self.start_m2, 0.0, 0.0)?;
        let knots = self.knots.get(..usize::from(self.count)).unwrap_or(&[]);
        Self::measured(knots)
    }

    /// All areas times one factor, depths as they are.
    #[must_use]
    pub fn scaled(&self, factor: f32) -> Self {
        let mut scaled = *self;
        scaled.start_m2 *= factor;
        for knot in &mut scaled.knots {
            knot.area_m2 *= factor;
        }
        scaled
    }

    /// The knots, without (0, 0).
    #[must_use]
    pub fn knots(&self) -> &[Knot] {
        self.knots.get(..usize::from(self.count)).unwrap_or(&[])
    }

    /// The straight piece at a depth: where it begins, its area there, the slope, and the volume displaced down to
    /// there. A depth at a knot belongs to the piece beyond.
    fn piece(&self, depth_m: f32) -> (Knot, f32, f32) {
        let mut from = Knot { depth_m: 0.0, area_m2: self.start_m2 };
        let mut volume_m3 = 0.0;
        for to in self.knots() {
            let width_m = to.depth_m - from.depth_m;
            if depth_m < to.depth_m {
                return (from, (to.area_m2 - from.area_m2) / width_m, volume_m3);
            }
            volume_m3 += 0.5 * (from.area_m2 + to.area_m2) * width_m;
            from = *to;
        }
        (from, 0.0, volume_m3)
    }

    /// Area A, m², at `depth_m` (as at 0 above the skin).
    #[must_use]
    pub fn area_m2(&self, depth_m: f32) -> f32 {
        let depth_m = depth_m.max(0.0);
        let (from, growth_m, _) = self.piece(depth_m);
        from.area_m2 + growth_m * (depth_m - from.depth_m)
    }

    /// Displaced volume V_d, m³, at `depth_m` (0 above the skin).
    #[must_use]
    pub fn volume_m3(&self, depth_m: f32) -> f32 {
        let depth_m = depth_m.max(0.0);
        let (from, growth_m, volume_m3) = self.piece(depth_m);
        let beyond_m = depth_m - from.depth_m;
        volume_m3 + beyond_m * (from.area_m2 + 0.5 * growth_m * beyond_m)
    }

    /// Area A, m², and displaced volume V_d, m³: both of one look for the piece.
    #[must_use]
    pub(crate) fn area_and_volume(&self, depth_m: f32) -> (f32, f32) {
        let depth_m = depth_m.max(0.0);
        let (from, growth_m, volume_m3) = self.piece(depth_m);
        let beyond_m = depth_m - from.depth_m;
        (from.area_m2 + growth_m * beyond_m, volume_m3 + beyond_m * (from.area_m2 + 0.5 * growth_m * beyond_m))
    }

    /// How fast the area grows with depth, A′, m; at a knot that of the piece beyond it.
    #[must_use]
    pub fn area_growth_m(&self, depth_m: f32) -> f32 {
        self.piece(depth_m.max(0.0)).1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn knot(depth_m: f32, area_m2: f32) -> Knot {
        Knot { depth_m, area_m2 }
    }

    #[test]
    fn three_numbers_give_two_knots() {
        let area = ForceArea::assumed(0.5, 6.0, 4.0).unwrap();
        assert_eq!(area.knots(), [knot(0.1, 1.1), knot(3.5 / 6.0, 4.0)]);
        // By hand: a triangle to 0.1 m, a trapezium to x_m, a rectangle to 1 m.
        let by_hand = 0.5 * 0.1 * 1.1 + 0.5 * (1.1 + 4.0) * (3.5 / 6.0 - 0.1) + 4.0 * (1.0 - 3.5 / 6.0);
        assert!((area.volume_m3(1.0) - by_hand).abs() < 1e-5);
        assert_eq!((area.area_m2(0.0), area.volume_m3(-1.0), area.area_growth_m(2.0)), (0.0, 0.0, 0.0));
        assert!((area.area_growth_m(0.05) - 11.0).abs() < 1e-5 && (area.area_growth_m(0.3) - 6.0).abs() < 1e-5);
        // A limit under the first knot is raised over it.
        let low = ForceArea::assumed(0.5, 6.0, 1.0).unwrap();
        assert!((low.area_m2(5.0) - 1.11).abs() < 1e-6);
        assert!(low.knots()[1].depth_m > low.knots()[0].depth_m);
    }

    #[test]
    fn the_area_is_the_slope_of_the_volume() {
        let area = ForceArea::measured(&[knot(0.2, 0.9), knot(0.5, 2.2), knot(0.6, 2.2), knot(1.3, 3.6)]).unwrap();
        for depth_m in [0.1f32, 0.35, 0.55, 1.0, 1.8] {
            let slope = (area.volume_m3(depth_m + 0.01) - area.volume_m3(depth_m - 0.01)) / 0.02;
            assert!((slope - area.area_m2(depth_m)).abs() < 2e-4, "{depth_m}");
            assert_eq!(area.area_and_volume(depth_m), (area.area_m2(depth_m), area.volume_m3(depth_m)));
        }
        // No jump at a knot.
        for knot in area.knots() {
            assert!((area.area_m2(knot.depth_m * 0.999_999) - knot.area_m2).abs() < 1e-4);
            assert_eq!(area.area_m2(knot.depth_m), knot.area_m2);
        }
    }

    #[test]
    fn one_factor_scales_area_and_volume() {
        let area = ForceArea::measured(&[knot(0.2, 0.9), knot(0.8, 2.5)]).unwrap();
        let scaled = area.scaled(1.3);
        for depth_m in [0.1f32, 0.5, 2.0] {
            assert!((scaled.area_m2(depth_m) / area.area_m2(depth_m) - 1.3).abs() < 1e-6);
            assert!((scaled.volume_m3(depth_m) / area.volume_m3(depth_m) - 1.3).abs() < 1e-6);
        }
        let piston = ForceArea::constant(2.5).unwrap();
        assert_eq!((piston.area_m2(0.0), piston.volume_m3(0.4), piston.area_growth_m(0.4)), (2.5, 1.0, 0.0));
        assert_eq!(piston.scaled(2.0).area_m2(0.1), 5.0);
        assert!(piston.knots().is_empty());
    }

    #[test]
    fn what_makes_no_curve_is_refused() {
        let falls = ForceArea::measured(&[knot(0.2, 1.0), knot(0.4, 0.9)]);
        assert!(matches!(falls, Err(InputError::Order { smaller_got: 1.0, larger_got: 0.9, .. })), "{falls:?}");
        let back = ForceArea::measured(&[knot(0.4, 1.0), knot(0.4, 1.9)]);
        assert!(matches!(back, Err(InputError::Order { .. })));
        assert!(matches!(ForceArea::measured(&[]), Err(InputError::Count { got: 0, .. })));
        assert!(matches!(ForceArea::measured(&[knot(1.0, 1.0); 13]), Err(InputError::Count { got: 13, .. })));
        assert!(ForceArea::measured(&[knot(0.0, 0.5)]).is_err());
        assert!(ForceArea::measured(&[knot(0.1, f32::NAN)]).is_err());
        assert!(ForceArea::assumed(0.5, 0.0, 4.0).is_err());
        assert!(ForceArea::assumed(f32::NAN, 6.0, 4.0).is_err());
        assert!(ForceArea::constant(0.0).is_err());
        let sound = ForceArea::assumed(0.5, 6.0, 4.0).unwrap();
        assert_eq!(sound.checked(), Ok(sound));
        assert!(ForceArea { count: 13, ..sound }.checked().is_err());
        assert!(ForceArea { start_m2: 1.0, ..sound }.checked().is_err());
        assert!(ForceArea { knots: [NO_KNOT; KNOTS], ..sound }.checked().is_err());
    }
}
