//! Random deviations from a counter: run number and seed in, thirteen standard normals out.
//!
//! The generator is Philox 4×32 with ten rounds (Salmon, Moraes, Dror & Shaw, "Parallel random numbers: as
//! easy as 1, 2, 3", SC 2011). Run i of a seed has the same numbers whichever thread draws them. Pairs of
//! uniforms become pairs of normals by the method of Box and Muller (1958); the largest deviation
//! that 32 bits can give is 6.66. Thirteen normals leave two of the sixteen words of a run over: one of them says
//! whether the run is a botched try.

use landfall_core::inputs::{BOTCHED, COUNT, Uncertainty};

const MULTIPLIER: [u32; 2] = [0xD251_1F53, 0xCD9E_8D57];
const WEYL: [u32; 2] = [0x9E37_79B9, 0xBB67_AE85];

/// Runs that are drawn at a time.
pub const DRAWN: usize = 256;

/// The deviations of [`DRAWN`] runs, input by input.
pub type Deviations = [[f32; DRAWN]; COUNT];

/// Philox 4×32-10 of one counter.
///
/// Each word stands in the low half of a `u64`, and what a product leaves in the high half stays there until the next one
/// masks it off: vector registers multiply just such halves, so that no round moves anything between places.
#[inline(always)]
pub fn philox(counter: [u32; 4], key: [u32; 2]) -> [u32; 4] {
    const LOW: u64 = 0xFFFF_FFFF;
    let [mut c0, mut c1, mut c2, mut c3] = counter.map(u64::from);
    let mut key = key;
    for _ in 0..10 {
        let p0 = (c0 & LOW) * u64::from(MULTIPLIER[0]);
        let p1 = (c2 & LOW) * u64::from(MULTIPLIER[1]);
        (c0, c1, c2, c3) = ((p1 >> 32) ^ c1 ^ u64::from(key[0]), p1, (p0 >> 32) ^ c3 ^ u64::from(key[1]), p0);
        key = [key[0].wrapping_add(WEYL[0]), key[1].wrapping_add(WEYL[1])];
    }
    [c0 as u32, c1 as u32, c2 as u32, c3 as u32]
}

/// Natural logarithm of a positive normal number.
///
/// x = 2^e m with m in √½..√2; ln m by its series in (m − 1)/(m + 1).
#[inline(always)]
fn ln(x: f32) -> f32 {
    // Splits at √½ so that the mantissa lies on both sides of 1.
    let bits = x.to_bits().wrapping_sub(0x3F35_04F3);
    let exponent = ((bits as i32) >> 23) as f32;
    let m = f32::from_bits((bits & 0x007F_FFFF).wrapping_add(0x3F35_04F3));
    let t = (m - 1.0) / (m + 1.0);
    let q = t * t;
    let series = ((q * 0.222_221_98 + 0.285_714_3) * q + 0.4) * q + 0.666_666_7;
    exponent * std::f32::consts::LN_2 + (t * q * series + t * 2.0)
}

/// Sine and cosine of an angle that a word spreads over a whole turn, by quadrants.
#[inline(always)]
fn sin_cos_of_word(word: u32) -> (f32, f32) {
    // The top two bits name the quadrant, the rest the angle about its middle: −π/4..π/4.
    let quadrant = word >> 30;
    let rest = (word << 2) as i32 ^ i32::MIN;
    let x = rest as f32 * (std::f32::consts::FRAC_PI_4 / 2_147_483_648.0);
    let q = x * x;
    let sin = x + x * (q * (q * (q * -1.951_529_6e-4 + 8.332_161e-3) - 0.166_666_55));
    let cos = q * (q * (q * (q * 2.443_315_7e-5 - 1.388_731_6e-3) + 4.166_664_6e-2) - 0.5) + 1.0;
    // In odd quadrants sine and cosine change places. By bits: where only one of the two is wanted, a choice between
    // numbers becomes a branch, and the loop over runs is not vectorised.
    let swap = (sin.to_bits() ^ cos.to_bits()) & (quadrant & 1).wrapping_neg();
    // The middles of the quadrants are a quarter turn apart; the sign goes in by its bit.
    let a_sign = (quadrant & 2) << 30;
    let b_sign = ((quadrant + 1) & 2) << 30;
    (f32::from_bits(sin.to_bits() ^ swap ^ a_sign), f32::from_bits(cos.to_bits() ^ swap ^ b_sign))
}

/// Two standard normals from two random words.
#[inline(always)]
fn normals(radius: u32, angle: u32) -> (f32, f32) {
    // (k + ½)/2³², never 0; 1 at the most, where the radius is 0.
    let u = (radius as f32 + 0.5) * (1.0 / 4_294_967_296.0);
    let square = -2.0 * ln(u);
    let r = (if square > 0.0 { square } else { 0.0 }).sqrt();
    let (s, c) = sin_cos_of_word(angle);
    (r * c, r * s)
}

/// Draws the deviations of runs `first..first + DRAWN`. `stream` tells apart the draws that one seed is used for.
#[inline(always)]
pub fn draw(first: u64, seed: u64, stream: u32, out: &mut Deviations) {
    draw_with_left_over(first, seed, stream, out);
}

/// The same, and which of the runs are botched: in those the deviations of the inputs that scatter more are stretched by
/// the factor. The normals are those of [`draw`], so that a share of 0 changes no bit.
#[inline(always)]
pub fn draw_tries(first: u64, seed: u64, uncertainty: &Uncertainty, out: &mut Deviations) -> [bool; DRAWN] {
    let words = draw_with_left_over(first, seed, 0, out);
    let mut botched = [false; DRAWN];
    if let Some(last) = last_botched(uncertainty.botched) {
        for (botched, word) in botched.iter_mut().zip(&words) {
            *botched = *word <= last;
        }
        for which in BOTCHED {
            for (value, word) in out[which as usize].iter_mut().zip(&words) {
                *value *= if *word <= last { uncertainty.botched_factor } else { 1.0 };
            }
        }
    }
    botched
}

/// The largest word of a botched try: as many words as the share of 2³² come up to it; `None` where none is botched.
fn last_botched(share: f32) -> Option<u32> {
    let words = (f64::from(share) * 4_294_967_296.0).round();
    // A cast saturates: a share of 1 takes every word.
    (words >= 1.0).then_some((words - 1.0) as u32)
}

/// Draws the deviations; gives a word of each run that no normal is made of.
#[inline(always)]
fn draw_with_left_over(first: u64, seed: u64, stream: u32, out: &mut Deviations) -> [u32; DRAWN] {
    // The last block makes one pair of normals from its first two words; its third is left.
    const { assert!(COUNT % 4 == 1 || COUNT % 4 == 2, "no word is left over") };
    let key = [seed as u32, (seed >> 32) as u32];
    let mut words = [[0_u32; DRAWN]; 4];
    let mut left_over = [0.0; DRAWN];
    for (block, inputs) in out.chunks_mut(4).enumerate() {
        let [w0, w1, w2, w3] = &mut words;
        for i in 0..DRAWN {
            let run = first + i as u64;
            [w0[i], w1[i], w2[i], w3[i]] = philox([run as u32, (run >> 32) as u32, block as u32, stream], key);
        }
        let mut pairs = inputs.chunks_mut(2);
        for (radius, angle) in [(&*w0, &*w1), (&*w2, &*w3)] {
            let Some([a, rest @ ..]) = pairs.next() else { break };
            // An odd number of inputs leaves one normal over. It is stored too, so that the loop is the same one.
            let b = rest.first_mut().unwrap_or(&mut left_over);
            for i in 0..DRAWN {
                (a[i], b[i]) = normals(radius[i], angle[i]);
            }
        }
    }
    words[2]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The known-answer vectors of the authors' Random123 distribution (kat_vectors, philox4x32 10).
    #[test]
    fn philox_gives_its_published_vectors() {
        let run = |c: [u32; 4], k: [u32; 2]| philox(c, k);
        assert_eq!(run([0; 4], [0; 2]), [0x6627_e8d5, 0xe169_c58d, 0xbc57_ac4c, 0x9b00_dbd8]);
        assert_eq!(run([u32::MAX; 4], [u32::MAX; 2]), [0x408f_276d, 0x41c8_3b0e, 0xa20b_c7c6, 0x6d54_51fd]);
        assert_eq!(
            run([0x243f_6a88, 0x85a3_08d3, 0x1319_8a2e, 0x0370_7344], [0xa409_3822, 0x299f_31d0]),
            [0xd16c_fe09, 0x94fd_cceb, 0x5001_e420, 0x2412_6ea1]
        );
    }

    #[test]
    fn botched_tries_are_as_many_as_said_and_no_others_change() {
        let uncertainty =
            |share| Uncertainty::new([0.5; COUNT], [0.1; COUNT], 0.0, 1.0).unwrap().with_botched(share, 2.0).unwrap();
        let (mut plain, mut tries) = ([[0.0; DRAWN]; COUNT], [[0.0; DRAWN]; COUNT]);
        for (share, blocks) in [(0.0, 40), (0.05, 4_000), (0.2, 1_000), (1.0, 40)] {
            let uncertainty = uncertainty(share);
            let mut botched = 0_u32;
            // Sums of a normal in botched runs, and of its square.
            let (mut sum, mut square) = (0.0_f64, 0.0_f64);
            for block in 0..blocks {
                let first = block * DRAWN as u64;
                draw(first, 9, 0, &mut plain);
                let marks = draw_tries(first, 9, &uncertainty, &mut tries);
                for i in 0..DRAWN {
                    let stretched = tries[BOTCHED[0] as usize][i] != plain[BOTCHED[0] as usize][i];
                    assert_eq!(stretched, marks[i]);
                    for (which, (list, before)) in tries.iter().zip(&plain).enumerate() {
                        let more = BOTCHED.iter().any(|other| *other as usize == which) && stretched;
                        assert_eq!(list[i], if more { 2.0 * before[i] } else { before[i] });
                    }
                    if stretched {
                        botched += 1;
                        sum += f64::from(plain[0][i]);
                        square += f64::from(plain[0][i]).powi(2);
                    }
                }
            }
            let runs = blocks as f64 * DRAWN as f64;
            let expected = f64::from(share) * runs;
            let error = (expected * (1.0 - f64::from(share))).sqrt();
            assert!((f64::from(botched) - expected).abs() <= 4.0 * error, "{botched} of {runs} at {share}");
            // Being botched tells nothing about the normals.
            let n = f64::from(botched);
            assert!(sum.abs() <= 4.0 * n.sqrt() && (square - n).abs() <= 4.0 * (2.0 * n).sqrt(), "{sum} {square} {n}");
        }
    }

    #[test]
    fn logarithm_and_angle_follow_the_double_ones() {
        let mut worst = 0.0_f64;
        for i in 1..40_000_u32 {
            let x = f32::from_bits(i.wrapping_mul(26_843) % 0x3F80_0000 + 0x0080_0000).min(1.0);
            let exact = f64::from(x).ln();
            worst = worst.max((f64::from(ln(x)) - exact).abs() / exact.abs().max(1.0e-3));
        }
        // Relative where |ln x| > 0.001; the seventh-order series leaves 2e-7 at √2.
        assert!(worst < 5.0e-7, "ln off by {worst}");
        let mut worst = 0.0_f64;
        for i in 0..40_000_u32 {
            let word = i.wrapping_mul(107_374);
            let (s, c) = sin_cos_of_word(word);
            let turn = std::f64::consts::TAU * (f64::from(word) / 4_294_967_296.0) - std::f64::consts::FRAC_PI_4;
            worst = worst.max((f64::from(s) - turn.sin()).abs()).max((f64::from(c) - turn.cos()).abs());
        }
        assert!(worst < 3.0e-7, "sine or cosine off by {worst}");
    }

    /// Moments of the standard normal: 0, 1, 0, 3, over 12 × 2¹⁷ draws, five standard errors.
    #[test]
    fn deviations_are_standard_normals() {
        let mut sums = [0.0_f64; 5];
        let mut beyond_3 = 0_u32;
        let mut products = 0.0_f64;
        let mut drawn = [[0.0; DRAWN]; COUNT];
        for block in 0..512_u64 {
            draw(block * DRAWN as u64, 42, 0, &mut drawn);
            for (list, next) in drawn.iter().zip(drawn.iter().skip(1)) {
                for (x, y) in list.iter().zip(next) {
                    let x = f64::from(*x);
                    products += x * f64::from(*y);
                    sums[0] += 1.0;
                    for (power, sum) in sums.iter_mut().enumerate().skip(1) {
                        *sum += x.powi(power as i32);
                    }
                    beyond_3 += u32::from(x.abs() > 3.0);
                }
            }
        }
        let n = sums[0];
        let error = n.sqrt();
        assert!((sums[1] / error).abs() < 5.0, "mean {}", sums[1] / n);
        assert!(((sums[2] - n) / (error * 2.0_f64.sqrt())).abs() < 5.0, "variance {}", sums[2] / n);
        assert!((sums[3] / (error * 15.0_f64.sqrt())).abs() < 5.0);
        assert!(((sums[4] - 3.0 * n) / (error * 96.0_f64.sqrt())).abs() < 5.0);
        assert!((products / error).abs() < 5.0);
        // P(|z| > 3) = 0.002699796 (tables of the normal distribution).
        let expected = n * 0.002_699_796;
        assert!((f64::from(beyond_3) - expected).abs() < 5.0 * expected.sqrt());
    }
}
