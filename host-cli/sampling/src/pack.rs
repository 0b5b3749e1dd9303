//! Packs of `f32`s in one vector register.
//!
//! Every operation is the same correctly rounded one that a single `f32` takes, so each run of a pack
//! has the bits that the device computes for it.

use landfall_core::lane::{Lane, Mask};
use std::ops::{Add, Div, Mul, Neg, Sub};

/// A lane type that is read from and written to lists.
pub trait Pack: Lane {
    /// Runs in a pack.
    const WIDTH: usize;
    /// From the first numbers of a list (0 where it is too short).
    fn load(from: &[f32]) -> Self;
    /// Into the first places of a list (nothing where it is too short).
    fn store(self, to: &mut [f32]);
}

impl Pack for f32 {
    const WIDTH: usize = 1;
    #[inline(always)]
    fn load(from: &[f32]) -> Self {
        from.first().copied().unwrap_or(0.0)
    }
    #[inline(always)]
    fn store(self, to: &mut [f32]) {
        if let Some(first) = to.first_mut() {
            *first = self;
        }
    }
}

/// Two packs side by side.
///
/// A run is one long chain of operations, each waiting for the one before; with two chains at a time the
/// processor has something to do while it waits.
#[cfg_attr(not(any(target_arch = "x86_64", target_arch = "aarch64")), allow(dead_code))]
#[derive(Clone, Copy)]
pub(super) struct Two<T>(T, T);

impl<M: Mask> Mask for Two<M> {
    #[inline(always)]
    fn splat(value: bool) -> Self {
        Self(M::splat(value), M::splat(value))
    }
    #[inline(always)]
    fn and(self, other: Self) -> Self {
        Self(self.0.and(other.0), self.1.and(other.1))
    }
    #[inline(always)]
    fn or(self, other: Self) -> Self {
        Self(self.0.or(other.0), self.1.or(other.1))
    }
    #[inline(always)]
    fn not(self) -> Self {
        Self(self.0.not(), self.1.not())
    }
    #[inline(always)]
    fn any(self) -> bool {
        self.0.any() | self.1.any()
    }
}

macro_rules! both {
    ($trait:ident, $name:ident) => {
        impl<L: Lane> $trait for Two<L> {
            type Output = Self;
            #[inline(always)]
            fn $name(self, other: Self) -> Self {
                Self($trait::$name(self.0, other.0), $trait::$name(self.1, other.1))
            }
        }
    };
    ($trait:ident, $name:ident, f32) => {
        impl<L: Lane> $trait<f32> for Two<L> {
            type Output = Self;
            #[inline(always)]
            fn $name(self, other: f32) -> Self {
                Self($trait::$name(self.0, other), $trait::$name(self.1, other))
            }
        }
    };
}
both!(Add, add);
both!(Sub, sub);
both!(Mul, mul);
both!(Div, div);
both!(Add, add, f32);
both!(Sub, sub, f32);
both!(Mul, mul, f32);

impl<L: Lane> Neg for Two<L> {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        Self(-self.0, -self.1)
    }
}

impl<P: Pack> Lane for Two<P> {
    type Mask = Two<P::Mask>;
    #[inline(always)]
    fn splat(value: f32) -> Self {
        Self(P::splat(value), P::splat(value))
    }
    #[inline(always)]
    fn sqrt(self) -> Self {
        Self(self.0.sqrt(), self.1.sqrt())
    }
    #[inline(always)]
    fn abs(self) -> Self {
        Self(self.0.abs(), self.1.abs())
    }
    #[inline(always)]
    fn min(self, other: Self) -> Self {
        Self(self.0.min(other.0), self.1.min(other.1))
    }
    #[inline(always)]
    fn max(self, other: Self) -> Self {
        Self(self.0.max(other.0), self.1.max(other.1))
    }
    #[inline(always)]
    fn lt(self, other: Self) -> Self::Mask {
        Two(self.0.lt(other.0), self.1.lt(other.1))
    }
    #[inline(always)]
    fn select(mask: Self::Mask, then: Self, otherwise: Self) -> Self {
        Self(P::select(mask.0, then.0, otherwise.0), P::select(mask.1, then.1, otherwise.1))
    }
    #[inline(always)]
    fn lane(self, index: usize) -> f32 {
        if index / P::WIDTH == 1 { self.1.lane(index - P::WIDTH) } else { self.0.lane(index) }
    }
    #[inline(always)]
    fn mask_lane(mask: Self::Mask, index: usize) -> bool {
        if index / P::WIDTH == 1 { P::mask_lane(mask.1, index - P::WIDTH) } else { P::mask_lane(mask.0, index) }
    }
}

impl<P: Pack> Pack for Two<P> {
    const WIDTH: usize = 2 * P::WIDTH;
    #[inline(always)]
    fn load(from: &[f32]) -> Self {
        Self(P::load(from), P::load(from.get(P::WIDTH..).unwrap_or_default()))
    }
    #[inline(always)]
    fn store(self, to: &mut [f32]) {
        self.0.store(to);
        self.1.store(to.get_mut(P::WIDTH..).unwrap_or_default());
    }
}

/// A pack over one kind of register, from the names of its instructions.
#[cfg(any(target_arch = "x86_64", target_arch = "aarch64", all(target_family = "wasm", target_feature = "simd128")))]
macro_rules! pack {
    ($name:ident, $mask_name:ident, $width:literal, $raw:ty, $mask_raw:ty, $doc:literal,
     splat $splat:ident, add $add:ident, sub $sub:ident, mul $mul:ident, div $div:ident, sqrt $sqrt:ident,
     min $min:ident, max $max:ident, load $load:ident, store $store:ident,
     abs |$abs_s:ident| $abs:expr, neg |$neg_s:ident| $neg:expr, lt |$lt_s:ident, $lt_o:ident| $lt:expr,
     select |$m:ident, $t:ident, $e:ident| $select:expr,
     mask splat |$v:ident| $msplat:expr, and |$and_s:ident, $and_o:ident| $mand:expr, or |$or_s:ident, $or_o:ident| $mor:expr,
     not |$not_s:ident| $mnot:expr, any |$any_s:ident| $many:expr, lane |$ml:ident, $index:ident| $mlane:expr) => {
        #[doc = $doc]
        #[derive(Clone, Copy)]
        pub(in super::super) struct $name($raw);

        #[doc = "Its truth values."]
        #[derive(Clone, Copy)]
        pub(in super::super) struct $mask_name($mask_raw);

        // SAFETY of every block below: the processor has the feature (see the module's head).
        impl Mask for $mask_name {
            #[inline(always)]
            fn splat($v: bool) -> Self {
                Self(unsafe { $msplat })
            }
            #[inline(always)]
            fn and(self, other: Self) -> Self {
                let ($and_s, $and_o) = (self.0, other.0);
                Self(unsafe { $mand })
            }
            #[inline(always)]
            fn or(self, other: Self) -> Self {
                let ($or_s, $or_o) = (self.0, other.0);
                Self(unsafe { $mor })
            }
            #[inline(always)]
            fn not(self) -> Self {
                let $not_s = self.0;
                Self(unsafe { $mnot })
            }
            #[inline(always)]
            fn any(self) -> bool {
                let $any_s = self.0;
                unsafe { $many }
            }
        }

        pack!(@operator $name, Add, add, $add, $splat);
        pack!(@operator $name, Sub, sub, $sub, $splat);
        pack!(@operator $name, Mul, mul, $mul, $splat);
        pack!(@operator $name, Div, div, $div, $splat);

        impl Neg for $name {
            type Output = Self;
            #[inline(always)]
            fn neg(self) -> Self {
                let $neg_s = self.0;
                Self(unsafe { $neg })
            }
        }

        impl Lane for $name {
            type Mask = $mask_name;
            #[inline(always)]
            fn splat(value: f32) -> Self {
                Self(unsafe { $splat(value) })
            }
            #[inline(always)]
            fn sqrt(self) -> Self {
                Self(unsafe { $sqrt(self.0) })
            }
            #[inline(always)]
            fn abs(self) -> Self {
                let $abs_s = self.0;
                Self(unsafe { $abs })
            }
            #[inline(always)]
            fn min(self, other: Self) -> Self {
                Self(unsafe { $min(self.0, other.0) })
            }
            #[inline(always)]
            fn max(self, other: Self) -> Self {
                Self(unsafe { $max(self.0, other.0) })
            }
            #[inline(always)]
            fn lt(self, other: Self) -> $mask_name {
                let ($lt_s, $lt_o) = (self.0, other.0);
                $mask_name(unsafe { $lt })
            }
            #[inline(always)]
            fn select(mask: $mask_name, then: Self, otherwise: Self) -> Self {
                let ($m, $t, $e) = (mask.0, then.0, otherwise.0);
                Self(unsafe { $select })
            }
            #[inline(always)]
            fn lane(self, index: usize) -> f32 {
                let mut all = [0.0; $width];
                self.store(&mut all);
                all[index % $width]
            }
            #[inline(always)]
            fn mask_lane(mask: $mask_name, $index: usize) -> bool {
                let $ml = mask.0;
                unsafe { $mlane }
            }
        }

        impl Pack for $name {
            const WIDTH: usize = $width;
            #[inline(always)]
            fn load(from: &[f32]) -> Self {
                match from.first_chunk::<$width>() {
                    Some(chunk) => Self(unsafe { $load(chunk.as_ptr()) }),
                    None => Self::splat(0.0),
                }
            }
            #[inline(always)]
            fn store(self, to: &mut [f32]) {
                if let Some(chunk) = to.first_chunk_mut::<$width>() {
                    unsafe { $store(chunk.as_mut_ptr(), self.0) }
                }
            }
        }
    };
    (@operator $name:ident, $trait:ident, $method:ident, $instruction:ident, $splat:ident) => {
        impl $trait for $name {
            type Output = Self;
            #[inline(always)]
            fn $method(self, other: Self) -> Self {
                Self(unsafe { $instruction(self.0, other.0) })
            }
        }
        impl $trait<f32> for $name {
            type Output = Self;
            #[inline(always)]
            fn $method(self, other: f32) -> Self {
                Self(unsafe { $instruction(self.0, $splat(other)) })
            }
        }
    };
}

#[cfg(target_arch = "x86_64")]
#[allow(unsafe_code, unused_unsafe)]
pub(super) mod x86 {
    //! The x86-64 registers. A pack may only be made where its processor feature was found: the types
    //! are private to the sampling, which looks before it hands out a kernel over them.

    use super::Pack;
    use core::arch::x86_64::*;
    use landfall_core::lane::{Lane, Mask};
    use std::ops::{Add, Div, Mul, Neg, Sub};

    pack!(Pack16, Pack16Mask, 16, __m512, __mmask16, "16 numbers; needs AVX-512F.",
        splat _mm512_set1_ps, add _mm512_add_ps, sub _mm512_sub_ps, mul _mm512_mul_ps, div _mm512_div_ps, sqrt _mm512_sqrt_ps,
        min _mm512_min_ps, max _mm512_max_ps, load _mm512_loadu_ps, store _mm512_storeu_ps,
        abs |a| _mm512_abs_ps(a),
        neg |a| _mm512_castsi512_ps(_mm512_xor_si512(_mm512_castps_si512(a), _mm512_set1_epi32(i32::MIN))),
        lt |a, b| _mm512_cmp_ps_mask::<_CMP_LT_OQ>(a, b),
        select |m, t, e| _mm512_mask_blend_ps(m, e, t),
        mask splat |value| if value { u16::MAX } else { 0 },
        and |a, b| a & b,
        or |a, b| a | b,
        not |a| !a,
        any |a| a != 0,
        lane |m, index| (m >> (index % 16)) & 1 != 0);

    pack!(Pack8, Pack8Mask, 8, __m256, __m256, "8 numbers; needs AVX2.",
        splat _mm256_set1_ps, add _mm256_add_ps, sub _mm256_sub_ps, mul _mm256_mul_ps, div _mm256_div_ps, sqrt _mm256_sqrt_ps,
        min _mm256_min_ps, max _mm256_max_ps, load _mm256_loadu_ps, store _mm256_storeu_ps,
        abs |a| _mm256_andnot_ps(_mm256_set1_ps(-0.0), a),
        neg |a| _mm256_xor_ps(_mm256_set1_ps(-0.0), a),
        lt |a, b| _mm256_cmp_ps::<_CMP_LT_OQ>(a, b),
        select |m, t, e| _mm256_blendv_ps(e, t, m),
        mask splat |value| _mm256_castsi256_ps(_mm256_set1_epi32(if value { -1 } else { 0 })),
        and |a, b| _mm256_and_ps(a, b),
        or |a, b| _mm256_or_ps(a, b),
        not |a| _mm256_xor_ps(a, _mm256_castsi256_ps(_mm256_set1_epi32(-1))),
        any |a| _mm256_movemask_ps(a) != 0,
        lane |m, index| (_mm256_movemask_ps(m) >> (index % 8)) & 1 != 0);

    pack!(Pack4, Pack4Mask, 4, __m128, __m128, "4 numbers; needs SSE2, which every x86-64 processor has.",
        splat _mm_set1_ps, add _mm_add_ps, sub _mm_sub_ps, mul _mm_mul_ps, div _mm_div_ps, sqrt _mm_sqrt_ps,
        min _mm_min_ps, max _mm_max_ps, load _mm_loadu_ps, store _mm_storeu_ps,
        abs |a| _mm_andnot_ps(_mm_set1_ps(-0.0), a),
        neg |a| _mm_xor_ps(_mm_set1_ps(-0.0), a),
        lt |a, b| _mm_cmplt_ps(a, b),
        select |m, t, e| _mm_or_ps(_mm_and_ps(m, t), _mm_andnot_ps(m, e)),
        mask splat |value| _mm_castsi128_ps(_mm_set1_epi32(if value { -1 } else { 0 })),
        and |a, b| _mm_and_ps(a, b),
        or |a, b| _mm_or_ps(a, b),
        not |a| _mm_xor_ps(a, _mm_castsi128_ps(_mm_set1_epi32(-1))),
        any |a| _mm_movemask_ps(a) != 0,
        lane |m, index| (_mm_movemask_ps(m) >> (index % 4)) & 1 != 0);
}

#[cfg(all(target_family = "wasm", target_feature = "simd128"))]
#[allow(unsafe_code, unused_unsafe)]
pub(super) mod wasm {
    //! WebAssembly's registers of 128 bits; the module is compiled for hosts that have them.

    use super::Pack;
    use core::arch::wasm32::*;
    use landfall_core::lane::{Lane, Mask};
    use std::ops::{Add, Div, Mul, Neg, Sub};

    /// `a` where it is smaller, else `b`, as x86-64 does it.
    #[inline(always)]
    fn min(a: v128, b: v128) -> v128 {
        f32x4_pmin(b, a)
    }

    #[inline(always)]
    fn max(a: v128, b: v128) -> v128 {
        f32x4_pmax(b, a)
    }

    #[inline(always)]
    unsafe fn load(from: *const f32) -> v128 {
        // SAFETY: the caller gives four numbers.
        unsafe { v128_load(from.cast()) }
    }

    #[inline(always)]
    unsafe fn store(to: *mut f32, value: v128) {
        // SAFETY: the caller gives room for four numbers.
        unsafe { v128_store(to.cast(), value) }
    }

    pack!(Pack4, Pack4Mask, 4, v128, v128, "4 numbers.",
        splat f32x4_splat, add f32x4_add, sub f32x4_sub, mul f32x4_mul, div f32x4_div, sqrt f32x4_sqrt,
        min min, max max, load load, store store,
        abs |a| f32x4_abs(a),
        neg |a| f32x4_neg(a),
        lt |a, b| f32x4_lt(a, b),
        select |m, t, e| v128_bitselect(t, e, m),
        mask splat |value| i32x4_splat(if value { -1 } else { 0 }),
        and |a, b| v128_and(a, b),
        or |a, b| v128_or(a, b),
        not |a| v128_not(a),
        any |a| v128_any_true(a),
        lane |m, index| (i32x4_bitmask(m) >> (index % 4)) & 1 != 0);
}

#[cfg(target_arch = "aarch64")]
#[allow(unsafe_code, unused_unsafe)]
pub(super) mod neon {
    //! The registers of 128 bits that every 64-bit Arm processor has.

    use super::Pack;
    use core::arch::aarch64::*;
    use landfall_core::lane::{Lane, Mask};
    use std::ops::{Add, Div, Mul, Neg, Sub};

    /// `a` where it is smaller, else `b`, as x86-64 does it: the instruction for it gives not-a-numbers on.
    #[inline(always)]
    unsafe fn min(a: float32x4_t, b: float32x4_t) -> float32x4_t {
        // SAFETY: see the macro's.
        unsafe { vbslq_f32(vcltq_f32(a, b), a, b) }
    }

    #[inline(always)]
    unsafe fn max(a: float32x4_t, b: float32x4_t) -> float32x4_t {
        // SAFETY: see the macro's.
        unsafe { vbslq_f32(vcgtq_f32(a, b), a, b) }
    }

    /// One word of a truth value: all its bits are the same.
    #[inline(always)]
    unsafe fn word(mask: uint32x4_t, index: usize) -> u32 {
        let mut all = [0_u32; 4];
        // SAFETY: there is room for four words.
        unsafe { vst1q_u32(all.as_mut_ptr(), mask) };
        all[index % 4]
    }

    pack!(Pack4, Pack4Mask, 4, float32x4_t, uint32x4_t, "4 numbers.",
        splat vdupq_n_f32, add vaddq_f32, sub vsubq_f32, mul vmulq_f32, div vdivq_f32, sqrt vsqrtq_f32,
        min min, max max, load vld1q_f32, store vst1q_f32,
        abs |a| vabsq_f32(a),
        neg |a| vnegq_f32(a),
        lt |a, b| vcltq_f32(a, b),
        select |m, t, e| vbslq_f32(m, t, e),
        mask splat |value| vdupq_n_u32(if value { u32::MAX } else { 0 }),
        and |a, b| vandq_u32(a, b),
        or |a, b| vorrq_u32(a, b),
        not |a| vmvnq_u32(a),
        any |a| vmaxvq_u32(a) != 0,
        lane |m, index| word(m, index) != 0);
}
