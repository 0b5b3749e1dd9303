//! Whether a reading, and the run of readings, is to be believed.

use super::event::Fault;

/// Slots in a block over which span and noise are judged: 1 s.
pub const BLOCK_SLOTS: u8 = 50;
/// This many rough steps in a block are noise. See [`Plausibility`].
pub const ROUGH_LIMIT: u8 = 20;
/// Sensor temperatures that are believed, degrees Celsius: the usual range of the parts. *Assumed*.
pub const TEMPERATURE_DEGC: (f32, f32) = (-40.0, 85.0);

/// Bounds that readings are held against.
#[derive(Clone, Copy, Debug)]
pub struct Bounds {
    /// Lowest reading.
    pub low_pa: f32,
    /// Highest reading.
    pub high_pa: f32,
    /// Fastest change, Pa/s.
    pub rate_paps: f32,
    /// Two blocks whose whole span is at most this are frozen.
    pub frozen_span_pa: f32,
    /// Usual largest standard deviation of the noise.
    pub noise_high_pa: f32,
}

/// Judges readings one by one (range, rate) and in blocks of one second (frozen, noisy).
///
/// *Frozen*: the span (highest less lowest) over two complete blocks is at most `frozen_span_pa`. A
/// blocked tube holds its pressure and the sensor's own noise is all that is left; the bound therefore
/// lies above the sensor's noise and under the bag's. With the bound at the bag's standard deviation, 100
/// independent Gaussian readings all fall within it with a chance of at most 100 · 0.383^99 (1e-39); noise that
/// changes slowly leaves fewer independent readings (30 of them: 1e-11), and coarse readings count as equal, so
/// the sensor's step may not be more than the bound.
///
/// *Noisy*: a step is rough when the second difference of three neighbouring readings is more than four times
/// `noise_high_pa`, and a block is noisy with [`ROUGH_LIMIT`] rough steps of 50. The second difference of
/// independent noise has √6 times its standard deviation, so 10 % of the steps are rough at `noise_high_pa`
/// itself (5 of 50), 41 % (21 of 50) at twice that and 58 % (29 of 50) at three times. A landing bends
/// the pressure sharply for a few readings only and stays under the limit.
#[derive(Clone, Debug)]
pub struct Plausibility {
    last_pa: Option<f32>,
    since_last_us: u64,
    before_pa: Option<f32>,
    low_pa: f32,
    high_pa: f32,
    previous: Option<(f32, f32)>,
    filled: u8,
    rough: u8,
    frozen: bool,
    noisy: bool,
}

impl Plausibility {
    /// No reading yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            last_pa: None,
            since_last_us: 0,
            before_pa: None,
            low_pa: f32::MAX,
            high_pa: f32::MIN,
            previous: None,
            filled: 0,
            rough: 0,
            frozen: false,
            noisy: false,
        }
    }

    /// Judges one reading that came `dt_us` after the last call.
    ///
    /// # Errors
    /// [`Fault::OutOfRange`] or [`Fault::Rate`]: the reading is not to be used.
    pub fn take(&mut self, reading_pa: f32, dt_us: u64, bounds: &Bounds) -> Result<f32, Fault> {
        self.since_last_us = self.since_last_us.saturating_add(dt_us);
        if !(reading_pa >= bounds.low_pa && reading_pa <= bounds.high_pa) {
            self.before_pa = None;
            return Err(Fault::OutOfRange);
        }
        if let Some(last_pa) = self.last_pa {
            let allowed_pa = bounds.rate_paps * (self.since_last_us.min(1_000_000) as u32 as f32) * 1e-6;
            if (reading_pa - last_pa).abs() > allowed_pa {
                self.before_pa = None;
                return Err(Fault::Rate);
            }
            if let Some(before_pa) = self.before_pa {
                let bend_pa = (reading_pa - last_pa) - (last_pa - before_pa);
                self.rough = self.rough.saturating_add(u8::from(bend_pa.abs() > 4.0 * bounds.noise_high_pa));
            }
        }
        self.before_pa = self.last_pa;
        self.last_pa = Some(reading_pa);
        self.since_last_us = 0;
        self.block(reading_pa, bounds);
        Ok(reading_pa)
    }

    /// A slot without reading.
    pub fn skip(&mut self, dt_us: u64) {
        self.since_last_us = self.since_last_us.saturating_add(dt_us);
        self.before_pa = None;
    }

    fn block(&mut self, reading_pa: f32, bounds: &Bounds) {
        self.low_pa = self.low_pa.min(reading_pa);
        self.high_pa = self.high_pa.max(reading_pa);
        self.filled = self.filled.saturating_add(1);
        if self.filled < BLOCK_SLOTS {
            // Movement ends a freeze as soon as it is seen.
            if self.high_pa - self.low_pa > bounds.frozen_span_pa {
                self.frozen = false;
            }
            return;
        }
        self.noisy = self.rough >= ROUGH_LIMIT;
        self.frozen = self.previous.is_some_and(|(low_pa, high_pa)| {
            high_pa.max(self.high_pa) - low_pa.min(self.low_pa) <= bounds.frozen_span_pa
        });
        self.previous = Some((self.low_pa, self.high_pa));
        self.low_pa = f32::MAX;
        self.high_pa = f32::MIN;
        self.filled = 0;
        self.rough = 0;
    }

    /// The last two complete blocks did not move as a live bag does.
    #[must_use]
    pub fn frozen(&self) -> bool {
        self.frozen
    }

    /// The last complete block was noisy.
    #[must_use]
    pub fn noisy(&self) -> bool {
        self.noisy
    }
}

impl Default for Plausibility {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BOUNDS: Bounds =
        Bounds { low_pa: -60.0, high_pa: 5000.0, rate_paps: 50_000.0, frozen_span_pa: 0.5, noise_high_pa: 20.0 };
    const DT_US: u64 = 20_000;

    fn feed(p: &mut Plausibility, count: u32, reading: impl Fn(u32) -> f32) {
        for i in 0..count {
            p.take(reading(i), DT_US, &BOUNDS).unwrap();
        }
    }

    #[test]
    fn range_and_not_a_number() {
        let mut p = Plausibility::new();
        for bad in [-60.1, 5000.1, f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            assert_eq!(p.take(bad, DT_US, &BOUNDS), Err(Fault::OutOfRange));
        }
        assert_eq!(p.take(-60.0, DT_US, &BOUNDS), Ok(-60.0));
    }

    #[test]
    fn rate_counts_the_time_since_the_last_good_reading() {
        // 50 kPa/s: 1000 Pa in 20 ms.
        let mut p = Plausibility::new();
        p.take(0.0, DT_US, &BOUNDS).unwrap();
        assert_eq!(p.take(1000.0, DT_US, &BOUNDS), Ok(1000.0));
        assert_eq!(p.take(2001.0, DT_US, &BOUNDS), Err(Fault::Rate));
        p.skip(DT_US);
        assert_eq!(p.take(4000.0, DT_US, &BOUNDS), Ok(4000.0), "60 ms after the last good one");
    }

    #[test]
    fn frozen_after_two_whole_blocks_at_the_bound_and_not_above_it() {
        let mut p = Plausibility::new();
        feed(&mut p, 50, |i| 1000.0 + 0.5 * (i % 2) as f32);
        assert!(!p.frozen());
        feed(&mut p, 50, |i| 1000.0 + 0.5 * (i % 2) as f32);
        assert!(p.frozen());
        // The first movement ends it.
        feed(&mut p, 2, |i| 1000.0 + 2.0 * i as f32);
        assert!(!p.frozen());
        let mut p = Plausibility::new();
        feed(&mut p, 200, |i| 1000.0 + 0.6 * (i % 2) as f32);
        assert!(!p.frozen());
        // A slow drift with nothing on it moves little per second, but is seen over two.
        let mut p = Plausibility::new();
        feed(&mut p, 200, |i| 1000.0 - 0.006 * i as f32);
        assert!(!p.frozen());
    }

    #[test]
    fn zigzag_is_noise_and_a_landing_is_not() {
        let mut p = Plausibility::new();
        // Second differences of ± 4a: rough above 80 Pa, so from a = 20 on.
        feed(&mut p, 50, |i| 1000.0 + if i % 2 == 0 { 19.0 } else { -19.0 });
        assert!(!p.noisy());
        feed(&mut p, 50, |i| 1000.0 + if i % 2 == 0 { 21.0 } else { -21.0 });
        assert!(p.noisy());
        feed(&mut p, 50, |_| 1000.0);
        assert!(!p.noisy());
        // A hard, short landing: 2500 Pa in 0.25 s, and its bounce.
        let mut p = Plausibility::new();
        feed(&mut p, 50, |i| {
            let t = i as f32 * 0.02;
            let half = |t: f32, length: f32, rise: f32| {
                if t > 0.0 && t < length { rise * libm::sinf(core::f32::consts::PI * t / length) } else { 0.0 }
            };
            1000.0 + half(t - 0.1, 0.25, 2500.0) + half(t - 0.5, 0.15, 800.0)
        });
        assert!(!p.noisy());
    }
}
