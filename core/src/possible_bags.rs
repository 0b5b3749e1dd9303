//! The bags that fit what is known: 256 fixed draws of force area and skin stretch.
//!
//! Nobody knows A(x) and β of a bag that was not measured. Each number is log-normal about its stated value; the draws
//! are points of an additive recurrence (a generalised golden ratio in each number of dimensions), fixed and without a
//! seed, so that everybody gets the same bags:
//!
//! u_jk = frac(½ + j f^−k), j = 1..256, factor = exp(sd · Φ⁻¹(u_jk)).

use crate::error::{InputError, within};
use crate::force_area::ForceArea;

/// How many possible bags there are.
pub const POSSIBLE_BAGS: u16 = 256;
/// Place of the bag that only 5 in 100 are worse than, counted from the better end (244th of 256).
pub const PLACE_95: u16 = 244;
/// The same place counted from the worse end (13th of 256).
pub const PLACE_05: u16 = 13;

/// Standard deviation of ln of a measured bag's force area, and the most of its stretch's, that a measurement leaves
/// (*assumed*: who lands is not the board).
pub const MEASURED_SD: f32 = 0.15;

/// f^−k for k = 1..4 with f = 1.1673039782614187 (f⁵ = f + 1), as parts of 2⁶⁴: exact in whole numbers, so that no
/// rounding grows with j.
const STEPS_ASSUMED: [u64; 4] =
    [0xdb4f_0b91_75ae_2090, 0xbbe0_5633_03a4_5ff2, 0xa0f2_ec75_a1fe_13a1, 0x89e1_8285_7d9e_d471];
/// The same for k = 1, 2 with f = 1.324717957244746 (f³ = f + 1).
const STEPS_MEASURED: [u64; 2] = [0xc13f_a9a9_02a6_33a0, 0x91e1_0da5_c79e_7cb9];

/// How little is known of a bag: standard deviations of ln. All *assumed* but for what a measurement leaves.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Unknown {
    /// Of A_b (0.30).
    pub area_body: f32,
    /// Of c (0.40).
    pub area_growth: f32,
    /// Of A_m (0.35).
    pub area_limit: f32,
    /// Of the skin's stretch (0.42).
    pub skin_stretch: f32,
    /// Of one common factor on all measured areas (0.15); not used where the three numbers are assumed.
    pub area: f32,
}

impl Default for Unknown {
    /// A bag that nobody measured.
    fn default() -> Self {
        Self { area_body: 0.30, area_growth: 0.40, area_limit: 0.35, skin_stretch: 0.42, area: MEASURED_SD }
    }
}

/// The force area as the site states it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum StatedArea {
    /// From three numbers, see [`ForceArea::assumed`].
    Assumed {
        /// A_b, m².
        body_m2: f32,
        /// c, m.
        growth_m: f32,
        /// A_m, m².
        limit_m2: f32,
    },
    /// Knots that were measured.
    Measured(ForceArea),
}

impl StatedArea {
    /// Its force area.
    ///
    /// # Errors
    /// As [`ForceArea::assumed`].
    pub fn area(&self) -> Result<ForceArea, InputError> {
        match *self {
            Self::Assumed { body_m2, growth_m, limit_m2 } => ForceArea::assumed(body_m2, growth_m, limit_m2),
            Self::Measured(area) => area.checked(),
        }
    }

    /// The force area of a bag that fits it. The numbers were checked before.
    fn with(&self, factors: &BagFactors) -> ForceArea {
        let [body, growth, limit] = factors.area;
        match *self {
            Self::Assumed { body_m2, growth_m, limit_m2 } => {
                ForceArea::from_three(body_m2 * body, growth_m * growth, limit_m2 * limit)
            }
            Self::Measured(area) => area.scaled(body),
        }
    }
}

/// What a possible bag's numbers are over the stated ones.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BagFactors {
    /// Over A_b, c and A_m; of measured knots the first is over all areas, the others are 1.
    pub area: [f32; 3],
    /// Over the skin's stretch.
    pub stretch: f32,
}

impl BagFactors {
    /// The bag as stated.
    pub const STATED: Self = Self { area: [1.0; 3], stretch: 1.0 };

    /// The bag with these factors. Valid: each 1e-3 to 1e3, the stated values as [`PossibleBags::new`] takes them.
    ///
    /// # Errors
    /// [`InputError::OutOfRange`].
    pub fn bag(&self, area: &StatedArea, stretch_per_pa: f32) -> Result<PossibleBag, InputError> {
        for factor in self.area {
            within("possible bag's area factor", factor, 1e-3, 1e3)?;
        }
        within("possible bag's stretch factor", self.stretch, 1e-3, 1e3)?;
        within("bag.skin_stretch_per_pa", stretch_per_pa, 0.0, 4e-4)?;
        area.area()?;
        Ok(PossibleBag { area: area.with(self), stretch_per_pa: stretch_per_pa * self.stretch })
    }
}

/// One bag that fits what is known.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PossibleBag {
    /// Its force area.
    pub area: ForceArea,
    /// Its skin stretch, 1/Pa.
    pub stretch_per_pa: f32,
}

/// The possible bags of a site.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PossibleBags {
    area: StatedArea,
    stretch_per_pa: f32,
    unknown: Unknown,
    stated: PossibleBag,
}

impl PossibleBags {
    /// The bags about a stated one. Valid: each standard deviation 0 to 2, the areas as [`ForceArea`] takes them,
    /// stretch 0 to 4e-4 /Pa. A stretch of 0 is 0 in all bags.
    ///
    /// # Errors
    /// [`InputError::OutOfRange`].
    pub fn new(area: StatedArea, stretch_per_pa: f32, unknown: Unknown) -> Result<Self, InputError> {
        within("unknown.area_body", unknown.area_body, 0.0, 2.0)?;
        within("unknown.area_growth", unknown.area_growth, 0.0, 2.0)?;
        within("unknown.area_limit", unknown.area_limit, 0.0, 2.0)?;
        within("unknown.skin_stretch", unknown.skin_stretch, 0.0, 2.0)?;
        within("unknown.area", unknown.area, 0.0, 2.0)?;
        within("bag.skin_stretch_per_pa", stretch_per_pa, 0.0, 4e-4)?;
        let stated = PossibleBag { area: area.area()?, stretch_per_pa };
        Ok(Self { area, stretch_per_pa, unknown, stated })
    }

    /// The bag as stated.
    #[must_use]
    pub const fn stated(&self) -> &PossibleBag {
        &self.stated
    }

    /// The same bag once it has been measured to what is stated now: its knots as they are, one common factor on them,
    /// and both standard deviations at most [`MEASURED_SD`].
    #[must_use]
    pub const fn if_measured(&self) -> Self {
        let unknown = Unknown {
            area: self.unknown.area.min(MEASURED_SD),
            skin_stretch: self.unknown.skin_stretch.min(MEASURED_SD),
            ..self.unknown
        };
        Self { area: StatedArea::Measured(self.stated.area), unknown, ..*self }
    }

    /// How many numbers are varied: 4, or 2 where the force area was measured.
    #[must_use]
    pub const fn dimensions(&self) -> usize {
        match self.area {
            StatedArea::Assumed { .. } => STEPS_ASSUMED.len(),
            StatedArea::Measured(_) => STEPS_MEASURED.len(),
        }
    }

    /// The stated force area.
    #[must_use]
    pub const fn area(&self) -> &StatedArea {
        &self.area
    }

    /// What possible bag `number`, 1..=256, is over the stated one.
    #[must_use]
    pub fn factors(&self, number: u16) -> BagFactors {
        let factor = |step: u64, sd: f32| libm::expf(sd * normal_quantile(draw(step, number)));
        let sd = &self.unknown;
        match self.area {
            StatedArea::Assumed { .. } => {
                let [a, b, c, d] = STEPS_ASSUMED;
                BagFactors {
                    area: [factor(a, sd.area_body), factor(b, sd.area_growth), factor(c, sd.area_limit)],
                    stretch: factor(d, sd.skin_stretch),
                }
            }
            StatedArea::Measured(_) => {
                let [a, b] = STEPS_MEASURED;
                BagFactors { area: [factor(a, sd.area), 1.0, 1.0], stretch: factor(b, sd.skin_stretch) }
            }
        }
    }

    /// Possible bag `number`, 1..=256.
    #[must_use]
    pub fn bag(&self, number: u16) -> PossibleBag {
        let factors = self.factors(number);
        PossibleBag { area: self.area.with(&factors), stretch_per_pa: self.stretch_per_pa * factors.stretch }
    }

    /// All 256, in the order of their numbers.
    pub fn iter(&self) -> impl Iterator<Item = PossibleBag> + '_ {
        (1..=POSSIBLE_BAGS).map(|number| self.bag(number))
    }
}

/// frac(½ + j a), with a as parts of 2⁶⁴.
fn draw(step: u64, number: u16) -> f32 {
    let parts = (1_u64 << 63).wrapping_add(step.wrapping_mul(u64::from(number)));
    // 24 bits fill single precision; half a part keeps the draw off 0 and 1.
    ((parts >> 40) as f32 + 0.5) * (1.0 / 16_777_216.0)
}

/// The standard normal's quantile, Φ⁻¹(p), to about 3e-7 relative of the larger of 1 and itself; 0 < p < 1, else an
/// infinity of the nearer end.
///
/// Source: Wichura, Algorithm AS 241 (PPND7), Applied Statistics 37, 1988.
#[must_use]
pub fn normal_quantile(p: f32) -> f32 {
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180_625 - q * q;
        let top = ((59.109_375 * r + 159.291_13) * r + 50.434_27) * r + 3.387_132_7;
        let bottom = ((67.187_56 * r + 78.757_76) * r + 17.895_17) * r + 1.0;
        return q * top / bottom;
    }
    let tail = p.min(1.0 - p);
    if !(tail > 0.0) {
        return if q < 0.0 { f32::NEG_INFINITY } else { f32::INFINITY };
    }
    let r = libm::sqrtf(-libm::logf(tail));
    let size = if r <= 5.0 {
        let r = r - 1.6;
        (((0.170_238_21 * r + 1.306_728_5) * r + 2.756_815_4) * r + 1.423_437_3)
            / ((0.120_211_33 * r + 0.737_001_64) * r + 1.0)
    } else {
        let r = r - 5.0;
        (((0.017_337_204 * r + 0.428_682_94) * r + 3.081_226_4) * r + 6.657_905)
            / ((0.012_258_203 * r + 0.241_978_94) * r + 1.0)
    };
    if q < 0.0 { -size } else { size }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_quantile_is_the_published_one() {
        // From mpmath's inverse error function, 50 digits.
        let values = [
            (0.6, 0.253_347_1),
            (0.9, 1.281_551_6),
            (0.925, 1.439_531_5),
            (0.975, 1.959_964),
            (0.01, -2.326_347_9),
            (0.001, -3.090_232_3),
            (0.000_1, -3.719_016_5),
            (1e-7, -5.199_337_6),
            (1e-12, -7.034_484),
        ];
        for (p, expected) in values {
            let got = normal_quantile(p);
            // Two units of the last place of p near 1 move the quantile by up to 1e-6 at 0.975.
            assert!((got - expected).abs() < 2e-6, "{p}: {got} {expected}");
        }
        assert_eq!((normal_quantile(0.5), normal_quantile(0.0)), (0.0, f32::NEG_INFINITY));
        assert!((normal_quantile(0.075) + normal_quantile(0.925)).abs() < 1e-6);
    }

    /// Values from 60 digits of f^-k and of the inverse error function.
    #[test]
    fn the_draws_are_the_fixed_ones() {
        let stated = StatedArea::Assumed { body_m2: 0.5, growth_m: 6.0, limit_m2: 4.0 };
        let bags = PossibleBags::new(stated, 3e-5, Unknown::default()).unwrap();
        assert_eq!(bags.dimensions(), 4);
        let expected = [
            (1, [0.447_823_8, 4.487_624_7, 2.690_993_2, 1.428_161_2e-5]),
            (2, [0.393_921_82, 12.571_463, 5.106_920_8, 3.255_661e-5]),
            (13, [0.555_329_9, 2.986_871_2, 4.680_245, 3.005_577_6e-5]),
            (100, [0.374_415_7, 9.782_968_8, 3.563_590_3, 2.579_902_6e-5]),
            (255, [0.824_076_9, 6.943_022, 5.512_165, 4.573_481_3e-5]),
            (256, [0.649_771_1, 5.289_324, 3.824_234_2, 2.641_377e-5]),
        ];
        for (number, [body, growth, limit, stretch]) in expected {
            let bag = bags.bag(number);
            let near = |got: f32, want: f32| (got / want - 1.0).abs() < 3e-6;
            let limit = f32::max(limit, body + 0.1 * growth + 0.01);
            assert!(near(bag.area.area_m2(50.0), limit) && near(bag.stretch_per_pa, stretch), "{number} {bag:?}");
            assert!(near(bag.area.knots()[0].area_m2, body + 0.1 * growth), "{number} {bag:?}");
            assert!(near(bag.area.knots()[1].depth_m, (limit - body) / growth), "{number} {bag:?}");
        }
    }

    #[test]
    fn a_measured_bag_has_one_factor_on_all_knots() {
        let stated = StatedArea::Assumed { body_m2: 0.5, growth_m: 6.0, limit_m2: 4.0 };
        let unknown = Unknown { skin_stretch: 0.42, area: 0.5, ..Unknown::default() };
        let bags = PossibleBags::new(stated, 3e-5, unknown).unwrap().if_measured();
        assert_eq!(bags.dimensions(), 2);
        let near = |got: f32, want: f32| (got / want - 1.0).abs() < 3e-6;
        for (number, factor) in [(1, 0.905_848_86), (2, 0.704_445_6), (13, 0.929_664_7), (255, 1.455_172_9)] {
            let area = bags.bag(number).area;
            assert!(
                near(area.area_m2(50.0), 4.0 * factor) && near(area.area_m2(0.1), 1.1 * factor),
                "{number} {area:?}"
            );
        }
        // Both standard deviations are taken to 0.15 at most; a smaller one stays.
        let wide = PossibleBags::new(stated, 3e-5, Unknown { skin_stretch: 0.15, ..unknown }).unwrap().if_measured();
        assert_eq!(wide.bag(7), bags.bag(7));
        let known = Unknown { skin_stretch: 0.0, area: 0.05, ..unknown };
        let narrow = PossibleBags::new(stated, 3e-5, known).unwrap().if_measured();
        assert_eq!(narrow.bag(7).stretch_per_pa, 3e-5);
        assert!((narrow.bag(2).area.area_m2(9.0) / 4.0 - 1.0).abs() < 0.12);
    }

    #[test]
    fn factors_give_the_same_bag_to_the_bit() {
        let stated = StatedArea::Assumed { body_m2: 0.5, growth_m: 6.0, limit_m2: 4.0 };
        let bags = PossibleBags::new(stated, 3e-5, Unknown::default()).unwrap();
        for bags in [bags, bags.if_measured()] {
            for number in [1, 77, 256] {
                assert_eq!(bags.factors(number).bag(bags.area(), 3e-5), Ok(bags.bag(number)));
            }
            assert_eq!(BagFactors::STATED.bag(bags.area(), 3e-5), Ok(*bags.stated()));
        }
        let wrong = BagFactors { stretch: f32::NAN, ..BagFactors::STATED };
        assert!(wrong.bag(&stated, 3e-5).is_err());
        assert!(
            BagFactors::STATED.bag(&StatedArea::Assumed { body_m2: 0.5, growth_m: -6.0, limit_m2: 4.0 }, 3e-5).is_err()
        );
    }

    #[test]
    fn medians_and_bounds() {
        let stated = StatedArea::Assumed { body_m2: 0.5, growth_m: 6.0, limit_m2: 0.6 };
        let bags = PossibleBags::new(stated, 0.0, Unknown::default()).unwrap();
        for bag in bags.iter() {
            // No bag's limit lies under its first knot, and a skin that does not stretch does not in any.
            let [first, last] = [bag.area.knots()[0], bag.area.knots()[1]];
            assert!(last.area_m2 >= first.area_m2 + 0.009 && last.depth_m > first.depth_m, "{bag:?}");
            assert_eq!(bag.stretch_per_pa, 0.0);
        }
        let stated = StatedArea::Assumed { body_m2: 0.5, growth_m: 6.0, limit_m2: 4.0 };
        let bags = PossibleBags::new(stated, 3e-5, Unknown::default()).unwrap();
        let stretchier = bags.iter().filter(|bag| bag.stretch_per_pa > 3e-5).count();
        // Counted in double precision.
        assert_eq!(stretchier, 137);
        assert!(PossibleBags::new(stated, 3e-5, Unknown { area_limit: f32::NAN, ..Unknown::default() }).is_err());
    }
}
