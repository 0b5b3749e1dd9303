//! Whether two sensors, each with a tube of its own, agree.
//!
//! The watch goes by the first alone; the second only contradicts. They disagree where they differ by more than
//!
//! allowed = error₁ + error₂ + 4 (noise₁ + noise₂) + motion,
//!
//! with the errors and the noise that the settings state, for [`APART_SLOTS`] readings of both in a row. *Motion* is the
//! larger of the two sensors' spans over their last five readings: 80 ms, more than two tubes' delays and the 20 ms between two
//! readings can differ by (*assumed*), so that a landing is no disagreement. A tube that is shut shows as soon as the other one's
//! pressure has moved on by the allowed difference.
//!
//! The second one's zero is taken from the first: the mean of [`ZERO_SLOTS`] differences in quiet air, at the trial and after a
//! start. On the vented bag of a morning that is its zero. More than its limit is a disagreement. After a start while people ride an
//! older difference is taken into the zero, up to that limit: only a new day finds it again.

use super::event::{Fault, GaugePa, SensorFault};
use super::parts::SecondSensor;

/// So many readings in a row must be apart: 0.2 s.
pub const APART_SLOTS: u8 = 10;
/// So many slots in a row without a reading of the second are one that is lost: 0.2 s.
pub const LOST_SLOTS: u8 = 10;
/// Slots after a start in which it may be silent: 1 s, as a barometer starts up in a third of that.
pub const GRACE_SLOTS: u8 = 50;
/// Differences of which its zero is the mean: 0.5 s.
pub const ZERO_SLOTS: u8 = 25;
/// Slots in which both read and the second still has no zero: 10 s of a sensor that never comes to rest.
const ZEROLESS_SLOTS: u16 = 500;
/// So many slots more apart than not, though motion excuses each: 5 s, longer than any landing (*assumed*).
const EXCUSED_SLOTS: u8 = 250;
/// Readings over which motion is judged.
const MOTION: usize = 5;

/// The last few readings of one sensor.
#[derive(Clone, Copy, Debug)]
struct Last {
    pa: [f32; MOTION],
    count: u8,
}

impl Last {
    const NONE: Self = Self { pa: [0.0; MOTION], count: 0 };

    fn push(&mut self, pa: f32) {
        self.pa.rotate_right(1);
        if let Some(first) = self.pa.first_mut() {
            *first = pa;
        }
        self.count = self.count.saturating_add(1).min(MOTION as u8);
    }

    fn span_pa(&self) -> f32 {
        let seen = self.pa.iter().take(usize::from(self.count));
        let (low, high) = seen.fold((f32::MAX, f32::MIN), |(low, high), pa| (low.min(*pa), high.max(*pa)));
        (high - low).max(0.0)
    }
}

/// Follows the second sensor beside the first.
#[derive(Clone, Debug)]
pub struct Second {
    part: SecondSensor,
    allowed_pa: f32,
    first: Last,
    other: Last,
    zero_sum_pa: f32,
    zero_count: u8,
    zero_pa: Option<f32>,
    zero_refused: bool,
    gauge_pa: Option<f32>,
    grace: u8,
    silent: u8,
    apart: u8,
    zeroless: u16,
    excused: u8,
}

impl Second {
    /// Nothing known yet; `error_pa` and `noise_pa` are the first sensor's.
    #[must_use]
    pub fn new(part: SecondSensor, error_pa: f32, noise_pa: f32) -> Self {
        Self {
            allowed_pa: error_pa + part.error_pa + 4.0 * (noise_pa + part.noise_pa),
            part,
            first: Last::NONE,
            other: Last::NONE,
            zero_sum_pa: 0.0,
            zero_count: 0,
            zero_pa: None,
            zero_refused: false,
            gauge_pa: None,
            grace: 0,
            silent: 0,
            apart: 0,
            zeroless: 0,
            excused: 0,
        }
    }

    /// Takes its zero anew.
    pub fn again(&mut self) {
        (self.zero_sum_pa, self.zero_count, self.zero_pa, self.zero_refused) = (0.0, 0, None, false);
        (self.apart, self.zeroless, self.excused) = (0, 0, 0);
    }

    /// Its gauge pressure, Pa.
    #[must_use]
    pub const fn gauge_pa(&self) -> Option<f32> {
        self.gauge_pa
    }

    /// One slot: the first sensor's zeroed reading, once its zero is known, and the second's as it comes.
    pub fn push(&mut self, first_pa: Option<f32>, second: Option<Result<GaugePa, SensorFault>>) {
        self.grace = self.grace.saturating_add(1);
        let raw_pa = match second {
            Some(Ok(GaugePa(raw_pa))) if raw_pa.is_finite() => raw_pa,
            _ => {
                self.silent = self.silent.saturating_add(1);
                if self.silent >= LOST_SLOTS {
                    self.gauge_pa = None;
                }
                return;
            }
        };
        self.silent = 0;
        self.other.push(raw_pa);
        let Some(first_pa) = first_pa else { return };
        self.first.push(first_pa);
        let motion_pa = self.first.span_pa().max(self.other.span_pa());
        let Some(zero_pa) = self.zero_pa else {
            self.zeroless = self.zeroless.saturating_add(1);
            self.take_zero(raw_pa - first_pa, motion_pa);
            return;
        };
        let gauge_pa = raw_pa - zero_pa;
        self.gauge_pa = Some(gauge_pa);
        let off_pa = (gauge_pa - first_pa).abs();
        let apart = off_pa > self.allowed_pa + motion_pa;
        // Motion excuses a moment, not a sensor that is never at rest.
        self.excused =
            if off_pa > self.allowed_pa { self.excused.saturating_add(1) } else { self.excused.saturating_sub(1) };
        self.apart = if apart { self.apart.saturating_add(1) } else { 0 };
    }

    fn take_zero(&mut self, difference_pa: f32, motion_pa: f32) {
        if motion_pa > self.part.zero_limit_pa.max(self.allowed_pa) {
            return;
        }
        self.zero_sum_pa += difference_pa;
        self.zero_count = self.zero_count.saturating_add(1);
        if self.zero_count >= ZERO_SLOTS {
            let zero_pa = self.zero_sum_pa / f32::from(self.zero_count);
            self.zero_refused = zero_pa.abs() > self.part.zero_limit_pa;
            self.zero_pa = (!self.zero_refused).then_some(zero_pa);
            self.zeroless = 0;
            (self.zero_sum_pa, self.zero_count) = (0.0, 0);
        }
    }

    /// It is lost, or the two do not agree.
    #[must_use]
    pub const fn fault(&self) -> Option<Fault> {
        if self.silent >= LOST_SLOTS && self.grace > GRACE_SLOTS {
            Some(Fault::SecondLost)
        } else if self.zero_refused
            || self.apart >= APART_SLOTS
            || self.zeroless >= ZEROLESS_SLOTS
            || self.excused >= EXCUSED_SLOTS
        {
            Some(Fault::Disagree)
        } else {
            None
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use crate::watch::parts::SecondKind;
    use std::vec::Vec;

    const PART: SecondSensor =
        SecondSensor { kind: SecondKind::Bridge, error_pa: 12.5, noise_pa: 0.15, zero_limit_pa: 30.0 };

    fn pair() -> Second {
        Second::new(PART, 12.5, 0.15)
    }

    fn run(second: &mut Second, slots: u32, pair: impl Fn(u32) -> (f32, f32)) -> Option<u32> {
        (0..slots).find(|slot| {
            let (first, other) = pair(*slot);
            second.push(Some(first), Some(Ok(GaugePa(other))));
            second.fault().is_some()
        })
    }

    #[test]
    fn a_steady_difference_beyond_the_errors_is_a_fault_and_one_within_is_none() {
        // Allowed: 12.5 + 12.5 + 4 · 0.3 = 26.2 Pa.
        let mut second = pair();
        assert_eq!(run(&mut second, 100, |_| (0.0, 8.0)), None);
        assert_eq!(second.gauge_pa(), Some(0.0), "zeroed against the first");
        assert_eq!(run(&mut second, 500, |_| (1000.0, 1008.0 + 26.0)), None);
        // The step of 1 Pa is motion for four readings.
        assert_eq!(run(&mut second, 500, |_| (1000.0, 1008.0 + 27.0)), Some(u32::from(APART_SLOTS) + 3));
        assert_eq!(second.fault(), Some(Fault::Disagree));
        assert_eq!(run(&mut second, 1, |_| (1000.0, 1008.0)), None, "no fault once they agree");
    }

    #[test]
    fn a_drift_is_found_where_it_passes_the_bound() {
        let mut second = pair();
        run(&mut second, 50, |_| (0.0, 0.0));
        // 0.1 Pa a slot; its own motion over 80 ms is 0.4 Pa.
        let found = run(&mut second, 500, |slot| (1000.0, 1000.0 + 0.1 * slot as f32)).unwrap();
        assert!((266..280).contains(&found), "{found}");
    }

    #[test]
    fn a_sensor_that_is_never_at_rest_is_a_fault_with_and_without_a_zero() {
        // From the start on: no 0.5 s of quiet in 10 s.
        let mut second = pair();
        let wild = |slot: u32| if slot.is_multiple_of(2) { 400.0 } else { -400.0 };
        assert_eq!(run(&mut second, 2_000, |slot| (0.0, wild(slot))), Some(u32::from(ZEROLESS_SLOTS) - 1));
        assert_eq!(second.fault(), Some(Fault::Disagree));
        // And once it has one: its own swing widens what is allowed, but not for ever.
        let mut second = pair();
        run(&mut second, 50, |_| (0.0, 0.0));
        let found = run(&mut second, 2_000, |slot| (1_000.0, 1_000.0 + wild(slot))).unwrap();
        assert!((240..270).contains(&found), "{found}");
    }

    #[test]
    fn landings_through_tubes_of_different_delay_do_not_disagree() {
        let pressure = |t: f32| {
            let spike = if (0.2..0.45).contains(&t) {
                2500.0 * libm::sinf((t - 0.2) / 0.25 * core::f32::consts::PI)
            } else {
                0.0
            };
            let dip = if t > 0.45 { -120.0 * libm::expf(-(t - 0.45) / 1.5) } else { 0.0 };
            1000.0 + spike + dip
        };
        for delay_s in [-0.05_f32, -0.02, 0.0, 0.02, 0.05] {
            for phase in 0..10 {
                let mut second = pair();
                run(&mut second, 50, |_| (0.0, 0.0));
                let at = |slot: u32| slot as f32 * 0.02 + phase as f32 * 0.002;
                let found = run(&mut second, 300, |slot| (pressure(at(slot)), pressure(at(slot) - delay_s)));
                assert_eq!(found, None, "delay {delay_s} s");
            }
        }
    }

    #[test]
    fn a_shut_tube_is_found_soon_after_the_bag_begins_to_fall() {
        for fall_paps in [20.0_f32, 100.0, 1000.0, 4000.0] {
            let mut second = pair();
            run(&mut second, 50, |_| (0.0, 0.0));
            run(&mut second, 50, |_| (1000.0, 1000.0));
            // The first stays where it was.
            let found = run(&mut second, 500, |slot| (1000.0, (1000.0 - fall_paps * 0.02 * slot as f32).max(0.0)));
            let found_s = found.map(|slot| slot as f32 * 0.02).unwrap();
            // The bound over the fall, the motion's 80 ms, 0.2 s of hold and a slot.
            assert!(found_s <= 26.2 / fall_paps + 0.08 + 0.2 + 0.04, "{fall_paps} Pa/s: {found_s} s");
        }
    }

    #[test]
    fn one_that_is_silent_is_lost_and_a_short_gap_is_not() {
        let mut second = pair();
        run(&mut second, 100, |_| (0.0, 0.0));
        let lost: Vec<Option<Fault>> = (0..12)
            .map(|_| {
                second.push(Some(0.0), Some(Err(SensorFault::Nack)));
                second.fault()
            })
            .collect();
        assert_eq!(lost.iter().position(Option::is_some), Some(usize::from(LOST_SLOTS) - 1));
        assert_eq!((lost.last(), second.gauge_pa()), (Some(&Some(Fault::SecondLost)), None));
        second.push(Some(0.0), Some(Ok(GaugePa(0.0))));
        assert_eq!(second.fault(), None);
        // Never there: lost after the grace.
        let mut absent = pair();
        let lost = (0..100).position(|_| {
            absent.push(Some(0.0), None);
            absent.fault().is_some()
        });
        assert_eq!(lost, Some(usize::from(GRACE_SLOTS)));
    }

    #[test]
    fn a_zero_beyond_the_limit_is_a_disagreement_until_it_is_taken_again() {
        let mut second = pair();
        assert!(run(&mut second, 100, |_| (0.0, 31.0)).is_some());
        second.again();
        assert_eq!(run(&mut second, 100, |_| (0.0, 29.0)), None);
        second.push(Some(0.0), Some(Ok(GaugePa(f32::NAN))));
        assert_eq!(second.fault(), None, "not a number is no reading");
    }
}
