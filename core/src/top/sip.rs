//! SipHash-2-4: a keyed hash of short messages to 64 bits.
//!
//! Aumasson & Bernstein, "SipHash: a fast short-input PRF" (INDOCRYPT 2012), from its pseudocode.

/// The hash of `message` under the key `k0`, `k1` (its bytes 0 to 7 and 8 to 15, lowest first).
#[must_use]
pub fn sip24(k0: u64, k1: u64, message: &[u8]) -> u64 {
    let mut v = [
        k0 ^ 0x736f_6d65_7073_6575,
        k1 ^ 0x646f_7261_6e64_6f6d,
        k0 ^ 0x6c79_6765_6e65_7261,
        k1 ^ 0x7465_6462_7974_6573,
    ];
    let (words, rest) = message.as_chunks::<8>();
    for word in words {
        take(&mut v, u64::from_le_bytes(*word));
    }
    // What is left, and the length's lowest byte at the end.
    let last = rest.iter().rev().fold(0, |word: u64, byte| word << 8 | u64::from(*byte));
    take(&mut v, last | (message.len() as u64) << 56);
    v[2] ^= 0xff;
    rounds(&mut v, 4);
    v[0] ^ v[1] ^ v[2] ^ v[3]
}

fn take(v: &mut [u64; 4], word: u64) {
    v[3] ^= word;
    rounds(v, 2);
    v[0] ^= word;
}

// One copy of the round: 64 bits are many instructions on a small chip.
#[inline(never)]
fn rounds(v: &mut [u64; 4], count: u8) {
    let [mut a, mut b, mut c, mut d] = *v;
    for _ in 0..count {
        a = a.wrapping_add(b);
        b = b.rotate_left(13) ^ a;
        a = a.rotate_left(32);
        c = c.wrapping_add(d);
        d = d.rotate_left(16) ^ c;
        a = a.wrapping_add(d);
        d = d.rotate_left(21) ^ a;
        c = c.wrapping_add(b);
        b = b.rotate_left(17) ^ c;
        c = c.rotate_left(32);
    }
    *v = [a, b, c, d];
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    const KEY: (u64, u64) = (0x0706_0504_0302_0100, 0x0f0e_0d0c_0b0a_0908);

    /// `vectors_sip64` of the authors' reference code (github.com/veorq/SipHash, vectors.h): key 00 to 0f, message of n bytes
    /// 00, 01, 02 and so on; the hash's bytes, lowest first. Lengths round the block of eight, and the longest.
    #[test]
    fn the_authors_vectors() {
        let published: [(u8, [u8; 8]); 14] = [
            (0, [0x31, 0x0e, 0x0e, 0xdd, 0x47, 0xdb, 0x6f, 0x72]),
            (1, [0xfd, 0x67, 0xdc, 0x93, 0xc5, 0x39, 0xf8, 0x74]),
            (2, [0x5a, 0x4f, 0xa9, 0xd9, 0x09, 0x80, 0x6c, 0x0d]),
            (3, [0x2d, 0x7e, 0xfb, 0xd7, 0x96, 0x66, 0x67, 0x85]),
            (6, [0xce, 0xe3, 0xfe, 0x58, 0x6e, 0x46, 0xc9, 0xcb]),
            (7, [0x37, 0xd1, 0x01, 0x8b, 0xf5, 0x00, 0x02, 0xab]),
            (8, [0x62, 0x24, 0x93, 0x9a, 0x79, 0xf5, 0xf5, 0x93]),
            (9, [0xb0, 0xe4, 0xa9, 0x0b, 0xdf, 0x82, 0x00, 0x9e]),
            // Also the worked example in the paper's appendix.
            (15, [0xe5, 0x45, 0xbe, 0x49, 0x61, 0xca, 0x29, 0xa1]),
            (16, [0xdb, 0x9b, 0xc2, 0x57, 0x7f, 0xcc, 0x2a, 0x3f]),
            (21, [0xc7, 0x67, 0x3b, 0x2e, 0xb0, 0xcb, 0xf2, 0xd0]),
            (31, [0x42, 0xc3, 0x41, 0xd8, 0xfa, 0x92, 0xd8, 0x32]),
            (32, [0xce, 0x7c, 0xf2, 0x72, 0x2f, 0x51, 0x27, 0x71]),
            (63, [0x72, 0x45, 0x06, 0xeb, 0x4c, 0x32, 0x8a, 0x95]),
        ];
        for (length, expected) in published {
            let message: Vec<u8> = (0..length).collect();
            assert_eq!(sip24(KEY.0, KEY.1, &message).to_le_bytes(), expected, "{length} bytes");
        }
    }

    #[test]
    #[allow(deprecated)]
    fn as_the_standard_library_has_it() {
        use std::hash::Hasher;
        let mut word = 1_u64;
        for length in 0..200 {
            let mut next = || {
                word = word.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                word
            };
            let (k0, k1) = (next(), next());
            let message: Vec<u8> = (0..length).map(|_| (next() >> 56) as u8).collect();
            let mut theirs = std::hash::SipHasher::new_with_keys(k0, k1);
            theirs.write(&message);
            assert_eq!(sip24(k0, k1, &message), theirs.finish(), "{length} bytes");
        }
    }
}
