//! Quantiles in fixed memory: a histogram of counts, which adds up the same in any order.

/// Bins of a histogram.
pub const BINS: usize = 1 << 14;

/// Counts of a quantity between two bounds, and beyond either.
#[derive(Clone, Debug)]
pub struct Histogram {
    low: f32,
    high: f32,
    per_unit: f32,
    /// Counts: below, the bins, above.
    counts: Vec<u64>,
}

impl Histogram {
    /// An empty histogram from `low` to `high`.
    pub fn new(low: f32, high: f32) -> Self {
        let high = if high > low { high } else { low + 1.0 };
        Self { low, high, per_unit: BINS as f32 / (high - low), counts: vec![0; BINS + 2] }
    }

    /// Counts one value.
    #[inline(always)]
    pub fn add(&mut self, value: f32) {
        // A cast saturates, so that values far out and NaN (bin 0) stay inside the list.
        let bin = ((value - self.low) * self.per_unit + 1.0).clamp(0.0, (BINS + 1) as f32) as usize;
        if let Some(count) = self.counts.get_mut(bin) {
            *count += 1;
        }
    }

    /// Adds another histogram over the same bounds.
    pub fn merge(&mut self, other: &Self) {
        for (a, b) in self.counts.iter_mut().zip(&other.counts) {
            *a += b;
        }
    }

    /// How many values were counted.
    pub fn total(&self) -> u64 {
        self.counts.iter().sum()
    }

    /// The value below which a share of the values lies, by linear interpolation in its bin; a bound
    /// where it lies beyond one. `None` if nothing was counted.
    pub fn quantile(&self, share: f64) -> Option<f64> {
        let total = self.total();
        if total == 0 {
            return None;
        }
        let wanted = share * total as f64;
        let mut below = 0.0;
        for (bin, count) in self.counts.iter().enumerate() {
            let count = *count as f64;
            if count > 0.0 && below + count >= wanted {
                let inside = ((wanted - below) / count).clamp(0.0, 1.0);
                let at = (bin as f64 - 1.0 + inside).clamp(0.0, BINS as f64);
                return Some(f64::from(self.low) + at / f64::from(self.per_unit));
            }
            below += count;
        }
        Some(f64::from(self.high))
    }

    /// Running count of the values at or below each bin's upper bound, with that bound.
    pub fn cumulative(&self) -> impl Iterator<Item = (f64, u64)> + '_ {
        let mut sum = 0;
        self.counts.iter().enumerate().map(move |(bin, count)| {
            sum += count;
            (f64::from(self.low) + bin as f64 / f64::from(self.per_unit), sum)
        })
    }

    /// Share of the values in each of `parts` equal parts between the bounds, with each part's middle.
    pub fn shape(&self, parts: usize) -> Vec<(f64, f64)> {
        let total = self.total().max(1) as f64;
        let parts = parts.clamp(1, BINS);
        let width = (f64::from(self.high) - f64::from(self.low)) / parts as f64;
        (0..parts)
            .map(|part| {
                let (first, last) = (1 + part * BINS / parts, 1 + (part + 1) * BINS / parts);
                let count: u64 = self.counts[first..last].iter().sum();
                (f64::from(self.low) + (part as f64 + 0.5) * width, count as f64 / total)
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_of_an_even_spread() {
        let mut h = Histogram::new(0.0, 1.0);
        for i in 0..100_000 {
            h.add((i as f32 + 0.5) / 100_000.0);
        }
        for share in [0.001, 0.5, 0.999] {
            assert!((h.quantile(share).unwrap() - share).abs() < 1.0 / BINS as f64);
        }
        assert!(Histogram::new(0.0, 1.0).quantile(0.5).is_none());
        h.add(f32::NAN);
        h.add(1.0e30);
        assert_eq!(h.total(), 100_002);
    }
}
