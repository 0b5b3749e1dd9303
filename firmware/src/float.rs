//! Sum and product of two floats in whole-number arithmetic, for processors without a floating-point unit.
//!
//! IEEE 754 binary32, rounded to the nearest, ties to even, subnormals kept: the bits are those of any conforming
//! processor. The compiler's own routines do the same for every width in one text and multiply 32 by 32 bits to 64
//! on the way; these keep to 32 bits where both numbers are normal, which on a Cortex-M0+ takes about a third of the
//! time. What is left (subnormals, infinity, not a number) takes the slow way.
//!
//! Which bit pattern of "not a number" comes out is not promised, as on real processors.

const SIGN: u32 = 1 << 31;
const ONE: u32 = 1 << 23;
const MANTISSA: u32 = ONE - 1;
const INFINITE: u32 = 0xFF << 23;
const NOT_A_NUMBER: u32 = 0x7FC0_0000;

/// `a` + `b`, all as bits.
#[inline(always)]
pub const fn add(a: u32, b: u32) -> u32 {
    // The larger one first.
    let (a, b) = if a << 1 >= b << 1 { (a, b) } else { (b, a) };
    let (ea, eb) = ((a << 1) >> 24, (b << 1) >> 24);
    if ea == 0xFF || eb == 0 {
        // Something plus nothing is common.
        if ea.wrapping_sub(1) < 0xFE && b << 1 == 0 {
            return a;
        }
        return add_slowly(a, b);
    }
    let apart = ea - eb;
    if apart > 25 {
        return a;
    }
    let sign = a & SIGN;
    // Seven bits below the last, the lowest of which stands for all that were shifted out.
    let ma = ((a & MANTISSA) | ONE) << 7;
    let mb = ((b & MANTISSA) | ONE) << 7;
    let mut shifted = mb >> apart;
    if shifted << apart != mb {
        shifted |= 1;
    }
    let mut e = ea;
    let mut s;
    if (a ^ b) & SIGN == 0 {
        s = ma + shifted;
        if s & SIGN != 0 {
            s = (s >> 1) | (s & 1);
            e += 1;
            if e == 0xFF {
                return sign | INFINITE;
            }
        }
    } else {
        s = ma - shifted;
        if s == 0 {
            return 0;
        }
        if s & (1 << 30) == 0 {
            let up = s.leading_zeros() - 1;
            if up >= e {
                return add_slowly(a, b);
            }
            s <<= up;
            e -= up;
        }
    }
    let m = s >> 7;
    // An overflow of the mantissa goes into the exponent, where it belongs.
    sign | (((e - 1) << 23) + m + (((s & 0x7F) + 0x3F + (m & 1)) >> 7))
}

/// `a` - `b`.
#[inline(always)]
pub const fn sub(a: u32, b: u32) -> u32 {
    add(a, b ^ SIGN)
}

/// `a` · `b`.
#[inline(always)]
pub const fn mul(a: u32, b: u32) -> u32 {
    let sign = (a ^ b) & SIGN;
    let (ea, eb) = ((a << 1) >> 24, (b << 1) >> 24);
    if ea.wrapping_sub(1) >= 0xFE || eb.wrapping_sub(1) >= 0xFE {
        // Something times nothing is common.
        if (a << 1 == 0 && eb != 0xFF) || (b << 1 == 0 && ea != 0xFF) {
            return sign;
        }
        return mul_slowly(a, b);
    }
    let (ma, mb) = ((a & MANTISSA) | ONE, (b & MANTISSA) | ONE);
    // Twelve bits times twelve, four times.
    let (ah, al, bh, bl) = (ma >> 12, ma & 0xFFF, mb >> 12, mb & 0xFFF);
    let low = al * bl;
    let middle = ah * bl + al * bh + (low >> 12);
    let mut m = ah * bh + (middle >> 12);
    // The 24 bits under it.
    let mut rest = ((middle & 0xFFF) << 12) | (low & 0xFFF);
    let mut e = ea + eb;
    if m & ONE == 0 {
        m = (m << 1) | (rest >> 23);
        rest = (rest << 1) & 0xFF_FFFF;
    } else {
        e += 1;
    }
    // The biased exponent is `e` - 127.
    if e <= 127 {
        return mul_slowly(a, b);
    }
    if e >= 127 + 0xFF {
        return sign | INFINITE;
    }
    sign | (((e - 128) << 23) + m + ((rest + 0x7F_FFFF + (m & 1)) >> 24))
}

/// Exponent, at least 1, and mantissa of a finite number.
const fn parts(a: u32) -> (i32, u64) {
    let e = (a << 1) >> 24;
    let m = (a & MANTISSA) | if e > 0 { ONE } else { 0 };
    (if e > 0 { e as i32 } else { 1 }, m as u64)
}

/// Rounds `m` · 2⁻³² with the exponent `e` of its bit 55; `e` is at least 1.
const fn rounded(sign: u32, e: i32, m: u64) -> u32 {
    if m == 0 {
        return sign;
    }
    let high = (m >> 32) as u32;
    let rest = m & 0xFFFF_FFFF;
    let up = rest > 1 << 31 || (rest == 1 << 31 && high & 1 == 1);
    let bits = ((e as u32 - 1) << 23).saturating_add(high + up as u32);
    if e >= 0xFF || bits >= INFINITE { sign | INFINITE } else { sign | bits }
}

/// `m` shifted right, with all that was shifted out in the last bit.
const fn down(m: u64, by: u32) -> u64 {
    if by > 63 {
        return (m != 0) as u64;
    }
    (m >> by) | ((m & ((1 << by) - 1) != 0) as u64)
}

#[cold]
#[inline(never)]
const fn add_slowly(a: u32, b: u32) -> u32 {
    // |a| ≥ |b|, so that only `a` can be what is no number.
    if a << 1 > INFINITE << 1 {
        return NOT_A_NUMBER;
    }
    let opposed = (a ^ b) & SIGN != 0;
    if a << 1 == INFINITE << 1 {
        return if opposed && b << 1 == INFINITE << 1 { NOT_A_NUMBER } else { a };
    }
    let ((mut e, ma), (eb, mb)) = (parts(a), parts(b));
    let shifted = down(mb << 32, (e - eb) as u32);
    let mut m = if opposed { (ma << 32) - shifted } else { (ma << 32) + shifted };
    if m == 0 {
        // Only two negative nothings make one.
        return a & b & SIGN;
    }
    if m >> 56 != 0 {
        m = down(m, 1);
        e += 1;
    }
    while m >> 55 == 0 && e > 1 {
        m <<= 1;
        e -= 1;
    }
    rounded(a & SIGN, e, m)
}

#[cold]
#[inline(never)]
const fn mul_slowly(a: u32, b: u32) -> u32 {
    let sign = (a ^ b) & SIGN;
    let (ua, ub) = (a & !SIGN, b & !SIGN);
    if ua > INFINITE || ub > INFINITE {
        return NOT_A_NUMBER;
    }
    if ua == INFINITE || ub == INFINITE {
        return if ua == 0 || ub == 0 { NOT_A_NUMBER } else { sign | INFINITE };
    }
    let ((ea, ma), (eb, mb)) = (parts(a), parts(b));
    let mut m = ma * mb;
    if m == 0 {
        return sign;
    }
    // Bit 46 of the product is 1.0; bring the highest one to bit 55.
    let up = m.leading_zeros() as i32 - 8;
    m <<= up;
    let mut e = ea + eb - 127 + 9 - up;
    if e < 1 {
        m = down(m, (1 - e) as u32);
        e = 1;
    }
    rounded(sign, e, m)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn same(what: &str, a: u32, b: u32, got: u32, want: f32) {
        let right = got == want.to_bits() || (f32::from_bits(got).is_nan() && want.is_nan());
        assert!(right, "{what} {a:08x} {b:08x}: {got:08x}, the processor says {:08x}", want.to_bits());
    }

    fn both(a: u32, b: u32) {
        let (x, y) = (f32::from_bits(a), f32::from_bits(b));
        same("add", a, b, add(a, b), x + y);
        same("sub", a, b, sub(a, b), x - y);
        same("mul", a, b, mul(a, b), x * y);
    }

    #[test]
    fn the_bits_of_the_processor_at_every_corner() {
        let corners = [0, 1, 2, MANTISSA - 1, MANTISSA, ONE, ONE + 1, ONE << 1, 0x3F7F_FFFF, 0x3F80_0000, 0x3F80_0001];
        let more =
            [0x3FFF_FFFF, 0x7EFF_FFFF, 0x7F00_0000, 0x7F7F_FFFE, 0x7F7F_FFFF, INFINITE, INFINITE + 1, 0x7FFF_FFFF];
        // One beside each power of two as well.
        let powers = (0..=254_u32).flat_map(|e| [e << 23, (e << 23) + 1, (e << 23) | MANTISSA, (e << 23) | 0x40_0000]);
        let all: std::vec::Vec<u32> =
            corners.into_iter().chain(more).chain(powers).flat_map(|a| [a, a | SIGN]).collect();
        for a in &all {
            for b in &all {
                both(*a, *b);
            }
        }
    }

    #[test]
    fn the_bits_of_the_processor_at_random() {
        let mut state = 0x9E37_79B9_7F4A_7C15_u64;
        let mut next = || {
            // xorshift64*
            state ^= state >> 12;
            state ^= state << 25;
            state ^= state >> 27;
            (state.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 32) as u32
        };
        for _ in 0..3_000_000 {
            let (a, b, c) = (next(), next(), next());
            both(a, b);
            // Exponents close to each other, where sums cancel and round.
            both(a, (a & !(MANTISSA | SIGN)).wrapping_add((c % 30) << 23) ^ (b & (MANTISSA | SIGN)));
            // Products about the smallest normal number.
            both((a & (SIGN | MANTISSA)) | (60 << 23), (b & (SIGN | MANTISSA)) | ((40 + c % 40) << 23));
        }
    }
}
