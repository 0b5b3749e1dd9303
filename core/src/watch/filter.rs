//! Medians and trends over fixed windows.

use heapless::Deque;

/// Time between readings, µs: 50 Hz.
pub const SLOT_US: u64 = 20_000;
/// The same in seconds.
pub const SLOT_S: f32 = 0.02;
/// Slots in the longer median: at most three of them, 60 ms in a row, can be bridged when they are empty.
pub const SLOTS: usize = 7;
/// This many slots of seven at or under the stop pressure, empty ones counted with them if at least one holds a
/// reading, are a stop: a stay of 60 ms.
pub const STOP_SLOTS: usize = 3;

/// Key of an empty slot: lower than that of any reading.
const EMPTY: i32 = i32::MIN;

/// The last [`SLOTS`] slots, each with a reading or empty. An empty slot counts as a reading lower than
/// any: what is not known is taken as danger.
///
/// Kept as integers that order like the floats, in order of time and in order of size: each new slot takes the
/// oldest one's place among the sorted and moves to where it belongs.
#[derive(Clone, Debug)]
pub struct Slots {
    window: Deque<i32, SLOTS>,
    sorted: [i32; SLOTS],
    empty: u8,
}

impl Default for Slots {
    fn default() -> Self {
        Self::new()
    }
}

impl Slots {
    /// No slot yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { window: Deque::new(), sorted: [EMPTY; SLOTS], empty: 0 }
    }

    /// Enters one slot.
    pub fn push(&mut self, reading_pa: Option<f32>) {
        let new = reading_pa.map_or(EMPTY, key);
        // Places not used yet hold the key of an empty slot, but are not counted as one.
        let old = if self.window.is_full() { self.window.pop_front() } else { None };
        self.empty = self.empty.saturating_sub(u8::from(old == Some(EMPTY))) + u8::from(new == EMPTY);
        let _ = self.window.push_back(new);
        if let Some(place) = self.sorted.iter_mut().find(|k| **k == old.unwrap_or(EMPTY)) {
            *place = new;
        }
        let [a, b, c, d, e, f, g] = &mut self.sorted;
        // One place is out of order: up if it is too large, then down if it is too small.
        order(a, b);
        order(b, c);
        order(c, d);
        order(d, e);
        order(e, f);
        order(f, g);
        order(e, f);
        order(d, e);
        order(c, d);
        order(b, c);
        order(a, b);
    }

    /// All slots have been entered at least once.
    #[must_use]
    pub fn is_full(&self) -> bool {
        self.window.is_full()
    }

    /// How many of the last seven slots are empty.
    #[must_use]
    pub fn empty(&self) -> usize {
        usize::from(self.empty)
    }

    /// At least four of the last seven slots are empty.
    #[must_use]
    pub fn is_silent(&self) -> bool {
        self.empty() > SLOTS / 2
    }

    /// How many of the last seven slots hold a reading at or under `level_pa`.
    #[must_use]
    pub fn at_or_under(&self, level_pa: f32) -> usize {
        let level = key(level_pa);
        self.sorted.iter().filter(|k| **k <= level && **k != EMPTY).count()
    }

    /// Median. None before the window is full or when the median falls on an empty slot.
    #[must_use]
    pub fn median_pa(&self) -> Option<f32> {
        let [_, _, _, middle, _, _, _] = self.sorted;
        (self.is_full() && middle != EMPTY).then(|| value(middle))
    }
}

fn order(low: &mut i32, high: &mut i32) {
    if *low > *high {
        core::mem::swap(low, high);
    }
}

/// Order-preserving integer of a float (IEEE 754 total order).
fn key(value: f32) -> i32 {
    let bits = value.to_bits() as i32;
    bits ^ (((bits >> 31) as u32) >> 1) as i32
}

/// The float of a key: the same exchange of bits once more.
fn value(key: i32) -> f32 {
    f32::from_bits((key ^ (((key >> 31) as u32) >> 1) as i32) as u32)
}

/// Median of three of the last readings, now and four readings ago.
#[derive(Clone, Debug, Default)]
pub struct Quick {
    raw: [f32; 3],
    medians: [f32; 5],
    len: u8,
}

impl Quick {
    /// No reading yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { raw: [0.0; 3], medians: [0.0; 5], len: 0 }
    }

    /// Enters a reading.
    pub fn push(&mut self, reading_pa: f32) {
        let [_, b, c] = self.raw;
        self.raw = if self.len == 0 { [reading_pa; 3] } else { [b, c, reading_pa] };
        let [x, y, z] = self.raw;
        let median = x.min(y).max(x.max(y).min(z));
        let [_, m1, m2, m3, m4] = self.medians;
        self.medians = if self.len == 0 { [median; 5] } else { [m1, m2, m3, m4, median] };
        self.len = self.len.saturating_add(1).min(8);
    }

    /// Median of the last three readings.
    #[must_use]
    pub fn median_pa(&self) -> f32 {
        let [.., last] = self.medians;
        last
    }

    /// Where the pressure will be in three readings' time if it goes on falling as over the last four; the
    /// median itself if it does not fall.
    #[must_use]
    pub fn ahead_pa(&self) -> f32 {
        let [first, .., last] = self.medians;
        let fall = last - first;
        if fall < 0.0 { last + 0.75 * fall } else { last }
    }
}

/// A falling straight line through a window of means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fall {
    /// Fall per bin, Pa, positive.
    pub per_bin_pa: f32,
    /// The line's value at the newest bin.
    pub now_pa: f32,
}

/// Means over bins of equal length, the last `N` kept, with a straight line through those that are valid.
#[derive(Clone, Debug)]
pub struct Trend<const N: usize> {
    bins: Deque<f32, N>,
    sum_pa: f32,
    count: u16,
    seen: u16,
    per_bin: u16,
}

impl<const N: usize> Trend<N> {
    /// With bins of `per_bin` slots.
    #[must_use]
    pub const fn new(per_bin: u16) -> Self {
        Self { bins: Deque::new(), sum_pa: 0.0, count: 0, seen: 0, per_bin }
    }

    /// Forgets everything.
    pub fn clear(&mut self) {
        *self = Self::new(self.per_bin);
    }

    /// Enters one slot, empty where the bag is not at rest. True when a bin has been completed.
    pub fn push(&mut self, value_pa: Option<f32>) -> bool {
        if let Some(v) = value_pa {
            self.sum_pa += v;
            self.count = self.count.saturating_add(1);
        }
        self.seen = self.seen.saturating_add(1);
        if self.seen < self.per_bin {
            return false;
        }
        // A bin counts only if it was at rest throughout.
        if self.bins.is_full() {
            self.bins.pop_front();
        }
        // There is room: one has just made way.
        let _ =
            self.bins.push_back(if self.count == self.seen { self.sum_pa / f32::from(self.count) } else { f32::NAN });
        self.sum_pa = 0.0;
        self.count = 0;
        self.seen = 0;
        true
    }

    /// Least-squares line through the valid ones of the `newest` bins, if there are at least `least` of them, it
    /// falls, it falls by `fall_pa` or more over their span, and it explains at least half of their variance.
    #[must_use]
    pub fn fall(&self, newest: usize, least: u16, fall_pa: f32) -> Option<Fall> {
        let skip = self.bins.len().saturating_sub(newest);
        // The sums over positions are integers: on a core without floating point they cost next to nothing.
        let (mut n, mut sx, mut sxx, mut first, mut last, mut place) = (0u32, 0u32, 0u32, None, 0u32, 0u32);
        let (mut x, mut sp, mut sxp, mut spp) = (0.0f32, 0.0f32, 0.0f32, 0.0f32);
        let mut reference = None;
        for (i, bin) in self.bins.iter().enumerate() {
            if i < skip {
                continue;
            }
            if bin.is_finite() {
                // The first serves as the origin, so that the sums stay small.
                let p = *bin - *reference.get_or_insert(*bin);
                n += 1;
                sx += place;
                sxx += place * place;
                sp += p;
                sxp += x * p;
                spp += p * p;
                first = first.or(Some(place));
                last = place;
            }
            x += 1.0;
            place += 1;
        }
        if n < u32::from(least) {
            return None;
        }
        let reference = reference?;
        let span = (last - first.unwrap_or(last)) as f32;
        let (n, sx, sxx) = (n as f32, sx as f32, sxx as f32);
        let (cxx, cxp, cpp) = (n * sxx - sx * sx, n * sxp - sx * sp, n * spp - sp * sp);
        let falls = cxx > 0.0 && cxp < 0.0 && cxp * cxp >= 0.5 * cxx * cpp;
        if !falls {
            return None;
        }
        let slope = cxp / cxx;
        let end = x - 1.0;
        (-slope * span >= fall_pa)
            .then_some(Fall { per_bin_pa: -slope, now_pa: reference + (sp + slope * (n * end - sx)) / n })
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;

    #[test]
    fn median_of_seven_by_hand() {
        let mut s = Slots::new();
        for v in [5.0, 1.0, 9.0, 3.0, 7.0, -2.0] {
            s.push(Some(v));
            assert_eq!(s.median_pa(), None, "not full yet");
        }
        s.push(Some(4.0));
        assert_eq!(s.median_pa(), Some(4.0));
        s.push(Some(-8.0)); // drops the 5
        assert_eq!(s.median_pa(), Some(3.0));
    }

    #[test]
    fn empty_slots_pull_the_median_down_and_four_are_silence() {
        let mut s = Slots::new();
        for v in [10.0, 11.0, 12.0, 13.0, 14.0, 15.0, 16.0] {
            s.push(Some(v));
        }
        s.push(None);
        assert_eq!(s.median_pa(), Some(13.0)); // −inf, 11..16
        s.push(None);
        s.push(None);
        assert_eq!(s.median_pa(), Some(13.0)); // −inf ×3, 13..16
        assert!(!s.is_silent());
        s.push(None);
        assert!(s.is_silent());
        assert_eq!(s.median_pa(), None);
    }

    #[test]
    fn median_agrees_with_sorting_for_any_mixture() {
        let mut s = Slots::new();
        let mut all = std::vec::Vec::new();
        let mut x = 12345u32;
        for i in 0..20_000 {
            x = x.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let reading = (x >> 28 != 0).then(|| ((x >> 16) as f32 - 30_000.0) / ((x & 7) + 1) as f32);
            s.push(reading);
            all.push(reading.unwrap_or(f32::NEG_INFINITY));
            if i >= 6 {
                let mut last = all[i - 6..=i].to_vec();
                last.sort_by(f32::total_cmp);
                assert_eq!(s.median_pa(), last[3].is_finite().then_some(last[3]));
                assert_eq!(s.empty(), last.iter().filter(|v| v.is_infinite()).count());
            }
        }
    }

    #[test]
    fn equal_readings_have_a_median() {
        let mut s = Slots::new();
        for v in [2.0, 2.0, 2.0, 2.0, 2.0, -0.0, 0.0] {
            s.push(Some(v));
        }
        assert_eq!(s.median_pa(), Some(2.0));
    }

    #[test]
    fn quick_median_ignores_one_outlier_and_looks_ahead_only_downward() {
        let mut q = Quick::new();
        for v in [100.0, 100.0, -500.0, 100.0] {
            q.push(v);
        }
        assert_eq!(q.median_pa(), 100.0);
        for v in [90.0, 80.0, 70.0, 60.0, 50.0, 40.0] {
            q.push(v);
        }
        // Medians lag one reading: 90, 80, 70, 60, 50; ahead: 50 − 0.75·40.
        assert_eq!(q.median_pa(), 50.0);
        assert_eq!(q.ahead_pa(), 20.0);
        for v in [60.0, 70.0, 80.0, 90.0, 100.0, 110.0] {
            q.push(v);
        }
        assert_eq!(q.ahead_pa(), q.median_pa());
    }

    #[test]
    fn trend_finds_a_straight_fall_around_a_gap() {
        let mut t: Trend<20> = Trend::new(2);
        for i in 0..40u8 {
            let p = 1000.0 - f32::from(i / 2) * 3.0;
            t.push((!(10..14).contains(&i)).then_some(p));
        }
        let fall = t.fall(20, 10, 20.0).unwrap();
        assert!((fall.per_bin_pa - 3.0).abs() < 1e-3, "{fall:?}");
        assert!((fall.now_pa - 943.0).abs() < 0.05, "{fall:?}");
        assert!(t.fall(20, 19, 20.0).is_none(), "only 18 bins are valid");
        assert!(t.fall(20, 10, 58.0).is_none(), "it fell by 57 Pa only");
    }

    #[test]
    fn trend_does_not_take_a_rise_or_a_bump_for_a_fall() {
        let mut t: Trend<20> = Trend::new(1);
        for i in 0..20u8 {
            t.push(Some(1000.0 + f32::from(i)));
        }
        assert!(t.fall(20, 10, 1.0).is_none());
        t.clear();
        for i in 0..20u8 {
            t.push(Some(if (8..10).contains(&i) { 1100.0 } else { 1000.0 }));
        }
        assert!(t.fall(20, 10, 1.0).is_none());
    }
}
