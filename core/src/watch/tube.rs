//! Whether the tube from the bag to the sensor is open.
//!
//! A blocked or pinched tube keeps its pressure, and what the sensor still shows is its own noise. A live tube brings what
//! the bag does: blowers and wind move the air, landings and whoever sits down lift it. So
//!
//! - *swing*: means of 0.1 s differ by [`SWING_PA`] within a second (or by [`SWING_SIGMAS`] of the sensor's own noise, if
//!   that is more). A landing, somebody who sits down, a gust, and the filling do this; a shut tube in the sun does
//!   not, warming by less than 0.05 K/s (the air in it gains 340 Pa/K).
//! - *ripple*: second differences of those means, which a steady drift leaves at 0. For white noise of standard deviation
//!   σ in the readings their mean square is 6 σ²/5. More than [`STRONG`] times that over 2 s, or [`WEAK`] times over 20 s,
//!   is the bag.
//!
//! 20 s without either is a *dead* tube where the quietest live bag is seen over the sensor's noise
//! ([`Tube::sees_ripple`]). Where it is not, a quiet bag and a dead tube look alike: then only *unproven* is known, after
//! [`UNPROVEN_MS`] without a swing.
//!
//! Chances, for independent Gaussian noise: 200 second differences hold about 103 degrees of freedom (their
//! neighbours' correlations are -2/3 and 1/6), so a dead tube passes for live in 20 s once in 10,000, and a live bag of
//! 1.5 times the sensor's noise with the correlation of 0.15 s for dead less than once in 10⁸. All bounds are *assumed*: no
//! recordings of a real bag stand behind them.

/// Readings in a mean: 0.1 s.
const MEAN: u8 = 5;
/// Means in a block in which a swing is looked for: 1 s.
const BLOCK: u8 = 10;
/// Second differences in the short look: 2 s.
const SHORT: u16 = 20;
/// Second differences in half of the long look: 10 s.
const HALF: u16 = 100;
/// Least swing within a second, Pa.
pub const SWING_PA: f32 = 20.0;
/// The same in standard deviations of the sensor's own noise.
pub const SWING_SIGMAS: f32 = 10.0;
/// Mean square over 2 s, in those of the sensor's own noise, from which it is the bag.
pub const STRONG: f32 = 5.0;
/// The same over 20 s.
pub const WEAK: f32 = 1.6;
/// Least ratio of the quietest bag's standard deviation to the sensor's noise at which 20 s tell them apart.
pub const SEEN_RATIO: f32 = 1.5;
/// So long without a sign of life, the tube is unproven.
pub const UNPROVEN_MS: u32 = 600_000;

/// Follows the readings of one tube.
#[derive(Clone, Debug)]
pub struct Tube {
    noise_pa: f32,
    sum_pa: f32,
    count: u8,
    before: [Option<f32>; 2],
    low_pa: f32,
    high_pa: f32,
    in_block: u8,
    short: (f32, u16),
    half: (f32, u16),
    half_before: Option<f32>,
    since_ms: u32,
    dead: bool,
}

impl Tube {
    /// For a sensor whose own noise has at most the standard deviation `noise_pa`; `proven`: the tube was open a moment
    /// ago, in the program's run before this one.
    #[must_use]
    pub const fn new(noise_pa: f32, proven: bool) -> Self {
        Self {
            noise_pa,
            sum_pa: 0.0,
            count: 0,
            before: [None; 2],
            low_pa: f32::MAX,
            high_pa: f32::MIN,
            in_block: 0,
            short: (0.0, 0),
            half: (0.0, 0),
            half_before: None,
            since_ms: if proven { 0 } else { UNPROVEN_MS },
            dead: false,
        }
    }

    /// The quietest live bag, of standard deviation `bag_pa`, is told from a dead tube by its ripple.
    #[must_use]
    pub fn sees_ripple(&self, bag_pa: f32) -> bool {
        bag_pa >= SEEN_RATIO * self.noise_pa
    }

    /// The last 20 s showed nothing but the sensor's own noise.
    #[must_use]
    pub const fn dead(&self) -> bool {
        self.dead
    }

    /// There has been no sign of life for long, or not yet.
    #[must_use]
    pub const fn unproven(&self) -> bool {
        self.since_ms >= UNPROVEN_MS
    }

    /// Takes one slot, `dt_ms` after the last; none: without a reading.
    pub fn push(&mut self, reading_pa: Option<f32>, dt_ms: u16) {
        self.since_ms = self.since_ms.saturating_add(u32::from(dt_ms)).min(UNPROVEN_MS);
        let Some(reading_pa) = reading_pa else {
            (self.sum_pa, self.count, self.before) = (0.0, 0, [None; 2]);
            return;
        };
        self.sum_pa += reading_pa;
        self.count = self.count.saturating_add(1);
        if self.count >= MEAN {
            let mean_pa = self.sum_pa * (1.0 / MEAN as f32);
            (self.sum_pa, self.count) = (0.0, 0);
            self.take(mean_pa);
        }
    }

    fn live(&mut self) {
        self.since_ms = 0;
        self.dead = false;
    }

    fn take(&mut self, mean_pa: f32) {
        self.low_pa = self.low_pa.min(mean_pa);
        self.high_pa = self.high_pa.max(mean_pa);
        if self.high_pa - self.low_pa >= SWING_PA.max(SWING_SIGMAS * self.noise_pa) {
            self.live();
        }
        self.in_block = self.in_block.saturating_add(1);
        if self.in_block >= BLOCK {
            (self.low_pa, self.high_pa, self.in_block) = (mean_pa, mean_pa, 0);
        }
        if let [Some(one_pa), Some(two_pa)] = self.before {
            let bend_pa = (mean_pa - one_pa) - (one_pa - two_pa);
            self.ripple(bend_pa * bend_pa);
        }
        self.before = [Some(mean_pa), self.before[0]];
    }

    fn ripple(&mut self, square_pa2: f32) {
        let own_pa2 = 1.2 * self.noise_pa * self.noise_pa;
        self.short = (self.short.0 + square_pa2, self.short.1.saturating_add(1));
        if self.short.1 >= SHORT {
            if self.short.0 > STRONG * own_pa2 * f32::from(SHORT) {
                self.live();
            }
            self.short = (0.0, 0);
        }
        self.half = (self.half.0 + square_pa2, self.half.1.saturating_add(1));
        if self.half.1 >= HALF {
            if let Some(before_pa2) = self.half_before {
                if before_pa2 + self.half.0 > WEAK * own_pa2 * f32::from(2 * HALF) {
                    self.live();
                } else {
                    self.dead = true;
                }
            }
            self.half_before = Some(self.half.0);
            self.half = (0.0, 0);
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;

    /// Uniform numbers between -1 and 1.
    struct Dice(u64);
    impl Dice {
        fn roll(&mut self) -> f32 {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            ((self.0 >> 40) as f32) / 8_388_608.0 - 1.0
        }
        /// About normal, sd 1: twelve uniforms.
        fn normal(&mut self) -> f32 {
            (0..12).map(|_| self.roll()).sum::<f32>() * 0.5
        }
    }

    /// Steps until it is dead, up to ten minutes; the air's standard deviation and its correlation over 0.15 s.
    fn run(noise_pa: f32, stated_pa: f32, air_pa: f32, drift_paps: f32, seed: u64) -> (Option<u32>, Tube) {
        let (mut tube, mut dice, mut air) = (Tube::new(stated_pa, true), Dice(seed), 0.0_f32);
        let keep = libm::expf(-0.02 / 0.15);
        let drive = air_pa * libm::sqrtf(1.0 - keep * keep);
        for step in 0..30_000_u32 {
            air = keep * air + drive * dice.normal();
            tube.push(Some(1000.0 + air + drift_paps * 0.02 * step as f32 + noise_pa * dice.normal()), 20);
            if tube.dead() {
                return (Some(step), tube);
            }
        }
        (None, tube)
    }

    #[test]
    fn a_shut_tube_is_dead_within_half_a_minute_whatever_the_noise_and_the_sun() {
        for noise_pa in [0.1, 0.15, 0.33, 0.5, 1.0] {
            for seed in 1..13 {
                for drift_paps in [0.0, 3.0, -3.0] {
                    let (dead, _) = run(noise_pa, noise_pa, 0.0, drift_paps, seed);
                    assert!(dead.is_some_and(|step| step <= 1600), "{noise_pa} Pa, seed {seed}: {dead:?}");
                }
            }
        }
    }

    #[test]
    fn the_quietest_live_bag_that_is_promised_is_never_dead() {
        for noise_pa in [0.1, 0.33, 1.0] {
            for seed in 1..21 {
                let (dead, tube) = run(noise_pa, noise_pa, SEEN_RATIO * noise_pa, 0.0, seed);
                assert!(dead.is_none() && !tube.unproven(), "{noise_pa} Pa, seed {seed}: {dead:?}");
            }
        }
    }

    #[test]
    fn only_a_swing_proves_where_the_ripple_is_lost_in_the_noise() {
        let mut dice = Dice(5);
        let mut tube = Tube::new(1.0, false);
        assert!(!tube.sees_ripple(0.5) && tube.unproven());
        for _ in 0..3000 {
            tube.push(Some(1000.0 + dice.normal()), 20);
        }
        assert!(tube.unproven(), "its own noise proves nothing");
        // Somebody sits down: 30 Pa within half a second.
        for step in 0..25 {
            tube.push(Some(1000.0 + 1.2 * step as f32 + dice.normal()), 20);
        }
        assert!(!tube.unproven() && !tube.dead());
        for step in 0..29_900 {
            assert!(!tube.unproven(), "{step}");
            tube.push(Some(1030.0 + dice.normal()), 20);
        }
        for _ in 0..200 {
            tube.push(Some(1030.0 + dice.normal()), 20);
        }
        assert!(tube.unproven(), "ten minutes later");
    }

    #[test]
    fn missing_readings_are_no_ripple() {
        let mut tube = Tube::new(0.1, false);
        for step in 0..5000 {
            // A reading lost now and then on a tube that drifts.
            tube.push((step % 7 != 0).then_some(1000.0 + 0.05 * step as f32), 20);
        }
        assert!(tube.unproven());
    }
}
