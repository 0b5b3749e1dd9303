//! How long the box's battery lasts at least: an estimate, to the careful side.
//!
//! Two figures, of which the smaller counts. *By its voltage*: with the share s = (v − empty) / (full − empty), the time that a full
//! one lasts times s²; the voltage is taken [`ERROR_SHARE`] lower than it was measured. The square lies under the charge that
//! cells of lead and lithium have left at a voltage between the two (*assumed*; their curves are flat first and steep at the end).
//! *By its fall*: what is left above empty over how fast the voltage has fallen in the last quarter to half hour.
//!
//! Readings while the siren sounds are left out, since the siren draws the voltage down.
//!
//! Before the first ride of a day less than the stated session withholds the permit. Later a session that has begun goes on
//! until [`LAST_S`] are left: then nobody new starts, and it comes back at twice that; too short for the session, at a twentieth
//! more than it takes.

use super::parts::BatteryPart;

/// Share by which a measured voltage may be too high: divider and reference. *Assumed*.
pub const ERROR_SHARE: f32 = 0.01;
/// Less than this left, s: no new rider.
pub const LAST_S: f32 = 900.0;
/// Readings in the first mean: 1 s.
const FIRST: u16 = 50;
/// Share of a new reading in the mean: 20 s at 50 readings a second.
const NEW_SHARE: f32 = 0.001;
/// Between two marks of the voltage, ms: a quarter of an hour.
const MARK_MS: u32 = 900_000;
/// A fall between two marks of less than this share of the way from full to empty is none.
const LEAST_FALL: f32 = 0.005;
/// So long without a reading it counts as empty, ms.
const SILENT_MS: u32 = 2_000;

/// Follows one battery.
#[derive(Clone, Debug)]
pub struct Battery {
    part: BatteryPart,
    mean_v: f32,
    count: u16,
    silent_ms: u32,
    /// The voltage at the last mark and at the one before.
    marks: [Option<f32>; 2],
    since_ms: u32,
    last: bool,
    short: bool,
}

impl Battery {
    /// Nothing measured yet.
    #[must_use]
    pub const fn new(part: BatteryPart) -> Self {
        Self { part, mean_v: 0.0, count: 0, silent_ms: 0, marks: [None; 2], since_ms: 0, last: false, short: false }
    }

    /// One step, `dt_ms` after the last; `loaded`: the siren sounds.
    pub fn step(&mut self, dt_ms: u16, measured_v: Option<f32>, loaded: bool) {
        self.since_ms = self.since_ms.saturating_add(u32::from(dt_ms));
        match measured_v.filter(|v| v.is_finite()) {
            None => self.silent_ms = self.silent_ms.saturating_add(u32::from(dt_ms)),
            Some(v) => {
                self.silent_ms = 0;
                if !loaded {
                    self.take(v);
                }
            }
        }
        if self.since_ms >= MARK_MS && self.known() {
            self.since_ms = 0;
            self.marks = [Some(self.mean_v), self.marks[0]];
        }
        let left_s = self.left_s();
        let bound_s = if self.last { 2.0 * LAST_S } else { LAST_S };
        let session_s = if self.short { 1.05 * self.part.session_s } else { self.part.session_s };
        self.short = left_s.is_some_and(|left_s| left_s < session_s);
        self.last = self.is_silent() || left_s.is_some_and(|left_s| left_s < bound_s);
    }

    fn take(&mut self, v: f32) {
        if self.known() {
            self.mean_v += NEW_SHARE * (v - self.mean_v);
        } else {
            self.count = self.count.saturating_add(1);
            self.mean_v += (v - self.mean_v) / f32::from(self.count);
        }
    }

    const fn known(&self) -> bool {
        self.count >= FIRST
    }

    const fn is_silent(&self) -> bool {
        self.silent_ms >= SILENT_MS
    }

    /// The voltage, V, once it is known.
    #[must_use]
    pub fn voltage_v(&self) -> Option<f32> {
        (self.known() && !self.is_silent()).then_some(self.mean_v)
    }

    /// How long it lasts at least, s; none until the voltage is known.
    #[must_use]
    pub fn left_s(&self) -> Option<f32> {
        let careful_v = (1.0 - ERROR_SHARE) * self.voltage_v()?;
        let above_v = (careful_v - self.part.empty_v).max(0.0);
        let way_v = self.part.full_v - self.part.empty_v;
        let share = (above_v / way_v).min(1.0);
        let by_voltage_s = self.part.lasts_s * share * share;
        let by_fall_s = self.marks[1].and_then(|mark_v| {
            let fell_v = mark_v - self.mean_v;
            let over_s = (MARK_MS.saturating_add(self.since_ms)) as f32 * 1e-3;
            (fell_v > LEAST_FALL * way_v).then(|| above_v * over_s / fell_v)
        });
        Some(by_fall_s.map_or(by_voltage_s, |by_fall_s| by_voltage_s.min(by_fall_s)))
    }

    /// No rider may start: before the first ride of the day where the session is longer than what is left, later where next
    /// to nothing is left. A battery of which nothing is measured has nothing left.
    #[must_use]
    pub fn withholds(&self, duty: bool) -> bool {
        self.last || (!duty && (self.short || !self.known()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LEAD: BatteryPart = BatteryPart { full_v: 12.8, empty_v: 11.6, lasts_s: 50_400.0, session_s: 14_400.0 };

    fn at(v: f32, seconds: u32) -> Battery {
        let mut battery = Battery::new(LEAD);
        for _ in 0..seconds * 50 {
            battery.step(20, Some(v), false);
        }
        battery
    }

    #[test]
    fn what_is_left_follows_the_square_of_the_share_from_a_voltage_taken_lower() {
        // By hand: 0.99 · 12.5 = 12.375, share 0.775 / 1.2 = 0.6458, squared 0.4171 of 14 h.
        let left_s = at(12.5, 2).left_s().unwrap();
        assert!((left_s - 0.41710 * 50_400.0).abs() < 10.0, "{left_s}");
        assert_eq!(at(13.5, 2).left_s(), Some(50_400.0));
        assert_eq!(at(11.7, 2).left_s(), Some(0.0), "empty, within the error");
        assert_eq!(Battery::new(LEAD).left_s(), None);
    }

    #[test]
    fn a_fall_that_ends_sooner_counts() {
        let mut battery = Battery::new(LEAD);
        // 0.2 V an hour, from 12.8 V: after one hour 12.6 V, 0.874 V above empty with the error: 4.4 h.
        for step in 0..3600_u32 * 50 {
            battery.step(20, Some(12.8 - 0.2 * step as f32 / 180_000.0), false);
        }
        let (left_s, by_fall_s) = (battery.left_s().unwrap(), (0.99 * 12.6 - 11.6) / 0.2 * 3600.0);
        assert!((left_s / by_fall_s - 1.0).abs() < 0.02, "{left_s} {by_fall_s}");
        // By the voltage alone it would be more.
        assert!(left_s < at(12.6, 2).left_s().unwrap());
    }

    #[test]
    fn a_session_needs_its_length_before_it_begins_and_a_quarter_of_an_hour_later() {
        // Four of fourteen hours: share √(4/14) = 0.5345, 12.2414 V, measured 12.365 V.
        assert!(at(12.36, 2).withholds(false) && !at(12.36, 2).withholds(true));
        assert!(!at(12.37, 2).withholds(false));
        // A quarter of an hour: share 0.1336, 11.7604 V, measured 11.8792 V.
        assert!(at(11.875, 2).withholds(true) && !at(11.885, 2).withholds(true));
        // And back at twice that: 11.8267 V, measured 11.9462 V.
        let mut battery = at(11.875, 2);
        for (v, withholds) in [(11.94, true), (11.96, false)] {
            for _ in 0..50 * 300 {
                battery.step(20, Some(v), false);
            }
            assert_eq!(battery.withholds(true), withholds, "{v}");
        }
    }

    #[test]
    fn nothing_measured_is_nothing_left_and_the_siren_does_not_count() {
        assert!(Battery::new(LEAD).withholds(false) && !Battery::new(LEAD).withholds(true));
        let mut battery = at(12.8, 2);
        for _ in 0..500 {
            battery.step(20, Some(10.0), true);
        }
        assert!(!battery.withholds(false), "{:?}", battery.voltage_v());
        for _ in 0..100 {
            battery.step(20, None, false);
        }
        assert!(battery.withholds(true) && battery.voltage_v().is_none());
        let mut cut = at(12.8, 2);
        for _ in 0..50 * 60 {
            cut.step(20, Some(0.0), false);
        }
        assert!(cut.withholds(true), "a cut wire reads 0 V");
        let mut odd = at(12.8, 2);
        odd.step(20, Some(f32::NAN), false);
        assert!(odd.left_s().is_some_and(f32::is_finite));
    }
}
