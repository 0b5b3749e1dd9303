//! Lanes: the same arithmetic for one run on the device and for many at once on the host.
//!
//! A [`Lane`] is one `f32` or a pack of them. Every operation is one correctly rounded IEEE 754
//! operation per element, so a pack gives each of its runs the bits that a single `f32` would.

use core::ops::{Add, Div, Mul, Neg, Sub};

/// A truth value per lane.
pub trait Mask: Copy {
    /// The same value in each lane.
    fn splat(value: bool) -> Self;
    /// Both.
    fn and(self, other: Self) -> Self;
    /// Either.
    fn or(self, other: Self) -> Self;
    /// The opposite.
    fn not(self) -> Self;
    /// Whether it holds in at least one lane.
    fn any(self) -> bool;
}

/// One `f32` or a pack of them.
pub trait Lane:
    Copy
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
    + Add<f32, Output = Self>
    + Sub<f32, Output = Self>
    + Mul<f32, Output = Self>
{
    /// Its truth value.
    type Mask: Mask;
    /// The same number in each lane.
    fn splat(value: f32) -> Self;
    /// Square root, correctly rounded.
    fn sqrt(self) -> Self;
    /// Absolute value.
    fn abs(self) -> Self;
    /// The smaller one; `other` where `self` is not a number.
    fn min(self, other: Self) -> Self;
    /// The larger one; `other` where `self` is not a number.
    fn max(self, other: Self) -> Self;
    /// `self < other`.
    fn lt(self, other: Self) -> Self::Mask;
    /// `then` where the mask holds, else `otherwise`.
    fn select(mask: Self::Mask, then: Self, otherwise: Self) -> Self;
    /// The value in lane `index`; lane 0 for an index that does not exist.
    fn lane(self, index: usize) -> f32;
    /// The mask in lane `index`.
    fn mask_lane(mask: Self::Mask, index: usize) -> bool;
}

impl Mask for bool {
    #[inline(always)]
    fn splat(value: bool) -> Self {
        value
    }
    #[inline(always)]
    fn and(self, other: Self) -> Self {
        self & other
    }
    #[inline(always)]
    fn or(self, other: Self) -> Self {
        self | other
    }
    #[inline(always)]
    fn not(self) -> Self {
        !self
    }
    #[inline(always)]
    fn any(self) -> bool {
        self
    }
}

impl Lane for f32 {
    type Mask = bool;
    #[inline(always)]
    fn splat(value: f32) -> Self {
        value
    }
    #[inline(always)]
    fn sqrt(self) -> Self {
        libm::sqrtf(self)
    }
    #[inline(always)]
    fn abs(self) -> Self {
        libm::fabsf(self)
    }
    #[inline(always)]
    fn min(self, other: Self) -> Self {
        if self < other { self } else { other }
    }
    #[inline(always)]
    fn max(self, other: Self) -> Self {
        if self > other { self } else { other }
    }
    #[inline(always)]
    fn lt(self, other: Self) -> bool {
        self < other
    }
    #[inline(always)]
    fn select(mask: bool, then: Self, otherwise: Self) -> Self {
        if mask { then } else { otherwise }
    }
    #[inline(always)]
    fn lane(self, _index: usize) -> f32 {
        self
    }
    #[inline(always)]
    fn mask_lane(mask: bool, _index: usize) -> bool {
        mask
    }
}

/// Sine and cosine by their Taylor polynomials of degree 11 and 12.
///
/// Plain multiplications and additions, so that every lane width gives the same bits.
/// Units: radian. Valid for |x| ≤ π/2, where each is within 3e-7 of the true value (tested
/// against `libm`); the truncation is below 6e-8.
#[inline(always)]
pub fn sin_cos<L: Lane>(x: L) -> (L, L) {
    let q = x * x;
    let s = q * -2.505_210_8e-8 + 2.755_731_9e-6;
    let s = q * s - 1.984_127e-4;
    let s = q * s + 8.333_334e-3;
    let s = q * s - 0.166_666_67;
    let sin = x + x * (q * s);
    let c = q * 2.087_675_7e-9 - 2.755_732e-7;
    let c = q * c + 2.480_158_7e-5;
    let c = q * c - 1.388_888_9e-3;
    let c = q * c + 4.166_666_8e-2;
    let c = q * c - 0.5;
    let cos = q * c + 1.0;
    (sin, cos)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn polynomials_follow_libm_over_a_quarter_turn() {
        let mut worst = 0.0_f32;
        for i in -1000..=1000 {
            let x = core::f32::consts::FRAC_PI_2 * i as f32 / 1000.0;
            let (s, c) = sin_cos(x);
            worst = worst.max((s - libm::sinf(x)).abs()).max((c - libm::cosf(x)).abs());
        }
        // Truncation 6e-8 and a few roundings of 6e-8 each.
        assert!(worst < 3.0e-7, "worst deviation {worst}");
    }

    #[test]
    fn min_and_max_drop_a_nan_on_the_left() {
        assert_eq!(Lane::min(f32::NAN, 1.0), 1.0);
        assert_eq!(Lane::max(f32::NAN, 1.0), 1.0);
    }
}
