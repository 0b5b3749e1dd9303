//! Landings: a spike, then a dip that recovers.

use heapless::Deque;

/// One landing, complete.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Landing {
    /// Which one since the start, from 1.
    pub count: u32,
    /// How long ago its spike began, when this was reported, s.
    pub ago_s: f32,
    /// Highest filtered (median of three) gauge pressure.
    pub peak_pa: f32,
    /// Deepest dip under the resting pressure before it; 0 if there was none.
    pub dip_pa: f32,
    /// From the end of the spike to the end of the dip; none if it did not recover in the computed time
    /// and half as much again.
    pub recovery_s: Option<f32>,
}

/// Longest spike that is still a landing. *Assumed*: a body is out of, or at rest in, the bag by then.
pub const SPIKE_MAX_MS: u32 = 2000;
/// A second spike this soon after the first one's end is the same rider bouncing. *Assumed*.
pub const BOUNCE_MS: u32 = 1500;
/// Time that the pressure must stay near its resting value before the dip counts as over. *Assumed*.
pub const STEADY_MS: u32 = 400;
/// Steps within which a landing lifts the pressure, 0.25 s: a gust takes longer. *Assumed*.
pub const STEEP_STEPS: usize = 13;
/// Share of the least spike that it lifts in this time. A gust of 150 Pa that lasts 3 s lifts half of that. *Assumed*.
pub const STEEP_SHARE: f32 = 0.75;
/// How much longer than computed a dip may last before it is called slow. *Assumed*.
pub const SLOW_FACTOR: f32 = 1.5;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Phase {
    /// No landing; the resting pressure is followed.
    Rest,
    /// Above the resting pressure by more than the limit.
    Spike,
    /// The spike is over; waiting for the dip to end.
    Dip,
}

/// Finds landings in the filtered pressure, one step at a time.
#[derive(Clone, Debug)]
pub struct LandingDetector {
    phase: Phase,
    rest_pa: Option<f32>,
    spike_pa: f32,
    near_pa: f32,
    slow_ms: u32,
    since_start_ms: u32,
    in_phase_ms: u32,
    steady_ms: u32,
    peak_pa: f32,
    lowest_pa: f32,
    slow: bool,
    count: u32,
    /// The last steps' medians of three.
    recent: Deque<f32, STEEP_STEPS>,
}

impl LandingDetector {
    /// For a landing that lifts the pressure by `spike_pa`, dips to within `near_pa` of rest when over,
    /// and recovers in `recovery_s`.
    #[must_use]
    pub fn new(spike_pa: f32, near_pa: f32, recovery_s: f32) -> Self {
        Self {
            phase: Phase::Rest,
            rest_pa: None,
            spike_pa,
            near_pa,
            slow_ms: (recovery_s * SLOW_FACTOR * 1000.0) as u32,
            since_start_ms: 0,
            in_phase_ms: 0,
            steady_ms: 0,
            peak_pa: 0.0,
            lowest_pa: 0.0,
            slow: false,
            count: 0,
            recent: Deque::new(),
        }
    }

    /// Other landings to expect, as in [`LandingDetector::new`]; one under way goes on.
    pub fn expect(&mut self, spike_pa: f32, near_pa: f32, recovery_s: f32) {
        (self.spike_pa, self.near_pa) = (spike_pa, near_pa);
        self.slow_ms = (recovery_s * SLOW_FACTOR * 1000.0) as u32;
    }

    /// Forgets the resting pressure and any landing under way, but not the count.
    pub fn forget(&mut self) {
        self.phase = Phase::Rest;
        self.rest_pa = None;
        self.slow = false;
    }

    /// A landing is under way, and not for longer than computed.
    #[must_use]
    pub fn active(&self) -> bool {
        self.phase != Phase::Rest
    }

    /// The last landing's dip lasted too long, and the pressure has neither come back nor settled since.
    #[must_use]
    pub fn slow(&self) -> bool {
        self.slow
    }

    /// How many landings have ended.
    #[must_use]
    pub fn count(&self) -> u32 {
        self.count
    }

    /// The resting pressure, if known.
    #[must_use]
    pub fn rest_pa(&self) -> Option<f32> {
        self.rest_pa
    }

    /// Takes the median of three (`quick_pa`) and the longer median (`steady_pa`) after `dt_ms`; gives a
    /// landing when one ends.
    pub fn step(&mut self, quick_pa: f32, steady_pa: f32, dt_ms: u32) -> Option<Landing> {
        if self.recent.is_full() {
            self.recent.pop_front();
        }
        // There is room: one has just made way.
        let _ = self.recent.push_back(quick_pa);
        let Some(rest_pa) = self.rest_pa else {
            self.rest_pa = Some(steady_pa);
            return None;
        };
        self.since_start_ms = self.since_start_ms.saturating_add(dt_ms);
        self.in_phase_ms = self.in_phase_ms.saturating_add(dt_ms);
        match self.phase {
            Phase::Rest => {
                if self.struck(quick_pa, rest_pa) {
                    self.begin(quick_pa);
                } else {
                    // First-order follower, time constant 2.56 s at 50 Hz.
                    self.rest_pa = Some(rest_pa + (steady_pa - rest_pa) * (1.0 / 128.0));
                    if self.slow && steady_pa >= rest_pa - self.near_pa {
                        self.slow = false;
                    }
                }
                None
            }
            Phase::Spike => {
                self.peak_pa = self.peak_pa.max(quick_pa);
                if quick_pa <= rest_pa + 0.25 * self.spike_pa {
                    self.enter(Phase::Dip);
                    self.lowest_pa = self.lowest_pa.min(quick_pa);
                } else if self.in_phase_ms > SPIKE_MAX_MS {
                    // Not a landing: the bag is simply at another pressure now.
                    self.phase = Phase::Rest;
                    self.rest_pa = Some(steady_pa);
                }
                None
            }
            Phase::Dip => self.dip(quick_pa, rest_pa, dt_ms),
        }
    }

    fn dip(&mut self, quick_pa: f32, rest_pa: f32, dt_ms: u32) -> Option<Landing> {
        if self.struck(quick_pa, rest_pa) {
            if self.in_phase_ms <= BOUNCE_MS {
                self.enter(Phase::Spike);
                self.peak_pa = self.peak_pa.max(quick_pa);
                return None;
            }
            let landing = self.finish(rest_pa, None);
            self.begin(quick_pa);
            return Some(landing);
        }
        self.lowest_pa = self.lowest_pa.min(quick_pa);
        let dip_pa = rest_pa - self.lowest_pa;
        if quick_pa < rest_pa - self.near_pa.max(0.25 * dip_pa) {
            self.steady_ms = 0;
        } else {
            self.steady_ms = self.steady_ms.saturating_add(dt_ms);
        }
        if self.steady_ms >= STEADY_MS {
            let recovery_ms = self.in_phase_ms.saturating_sub(self.steady_ms);
            self.phase = Phase::Rest;
            return Some(self.finish(rest_pa, Some(recovery_ms as f32 * 1e-3)));
        }
        if self.in_phase_ms > self.slow_ms {
            self.phase = Phase::Rest;
            self.slow = true;
            return Some(self.finish(rest_pa, None));
        }
        None
    }

    /// High above rest, and it came up steeply.
    fn struck(&self, quick_pa: f32, rest_pa: f32) -> bool {
        quick_pa >= rest_pa + self.spike_pa && {
            let from_pa = self.recent.iter().fold(quick_pa, |low, pa| low.min(*pa));
            quick_pa - from_pa >= STEEP_SHARE * self.spike_pa
        }
    }

    fn begin(&mut self, quick_pa: f32) {
        self.enter(Phase::Spike);
        self.since_start_ms = 0;
        self.peak_pa = quick_pa;
        self.lowest_pa = f32::MAX;
        self.slow = false;
    }

    fn enter(&mut self, phase: Phase) {
        self.phase = phase;
        self.in_phase_ms = 0;
        self.steady_ms = 0;
    }

    fn finish(&mut self, rest_pa: f32, recovery_s: Option<f32>) -> Landing {
        self.count = self.count.saturating_add(1);
        Landing {
            count: self.count,
            ago_s: self.since_start_ms as f32 * 1e-3,
            peak_pa: self.peak_pa,
            dip_pa: (rest_pa - self.lowest_pa).max(0.0),
            recovery_s,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(d: &mut LandingDetector, pa: f32, steps: u32) -> Option<Landing> {
        let mut out = None;
        for _ in 0..steps {
            out = d.step(pa, pa, 20).or(out);
        }
        out
    }

    fn at_rest() -> LandingDetector {
        let mut d = LandingDetector::new(150.0, 20.0, 3.0);
        assert_eq!(run(&mut d, 1000.0, 100), None);
        d
    }

    #[test]
    fn a_spike_at_the_limit_counts_and_under_it_does_not() {
        let mut d = at_rest();
        run(&mut d, 1149.0, 5);
        assert!(!d.active());
        let mut d = at_rest();
        run(&mut d, 1150.0, 1);
        assert!(d.active());
    }

    #[test]
    fn times_and_heights_are_those_fed_in() {
        let mut d = at_rest();
        run(&mut d, 2000.0, 15);
        run(&mut d, 900.0, 50);
        // The step to 900 ends the spike; 49 more in the dip, and the first at 1000 ends it: 50 · 20 ms.
        let landing = run(&mut d, 1000.0, 30).unwrap();
        assert_eq!((landing.count, landing.peak_pa), (1, 2000.0));
        assert!((landing.dip_pa - 100.0).abs() < 0.5);
        assert!((landing.recovery_s.unwrap() - 1.0).abs() < 0.041, "{landing:?}");
        assert!(!d.active() && !d.slow());
    }

    #[test]
    fn rest_follows_slowly_up_and_down() {
        for (pa, sign) in [(1_050.0, 1.0), (950.0, -1.0)] {
            let mut d = at_rest();
            assert!((d.rest_pa().unwrap() - 1_000.0).abs() < 1e-3);
            run(&mut d, pa, 128);
            // All but (127/128)^128 of the way.
            let expected = pa - sign * 50.0 * (127.0_f32 / 128.0).powi(128);
            assert!((d.rest_pa().unwrap() - expected).abs() < 0.01, "{:?} {expected}", d.rest_pa());
        }
    }

    #[test]
    fn a_spike_ends_a_quarter_of_the_least_one_over_rest() {
        // 150 Pa: at 1038 Pa it is still the spike, at 1037 Pa the dip, in which a second spike is a bounce.
        let mut d = at_rest();
        run(&mut d, 2000.0, 5);
        run(&mut d, 1_038.0, 5);
        assert_eq!(d.phase, Phase::Spike);
        run(&mut d, 1_037.0, 1);
        assert_eq!(d.phase, Phase::Dip);
        run(&mut d, 1_800.0, 5);
        assert_eq!((d.phase, d.peak_pa), (Phase::Spike, 2000.0));
        let landing = run(&mut d, 1_000.0, 60).unwrap();
        assert_eq!((landing.count, landing.peak_pa), (1, 2000.0));
    }

    #[test]
    fn no_dip_recovers_at_once() {
        let mut d = at_rest();
        run(&mut d, 2000.0, 15);
        let landing = run(&mut d, 1000.0, 30).unwrap();
        assert!(landing.dip_pa < 0.5 && landing.recovery_s.unwrap() < 0.05, "{landing:?}");
    }

    #[test]
    fn a_dip_that_stays_is_slow_after_half_as_much_again() {
        let mut d = at_rest();
        run(&mut d, 2000.0, 15);
        assert_eq!(run(&mut d, 900.0, 225), None);
        let landing = run(&mut d, 900.0, 2).unwrap();
        assert_eq!(landing.recovery_s, None);
        assert!(d.slow());
        run(&mut d, 900.0, 2);
        run(&mut d, 970.0, 2);
        assert!(d.slow(), "20 Pa under rest are near enough, 30 are not");
        // It ends when the pressure is back, or has settled where it is.
        run(&mut d, 1000.0, 2);
        assert!(!d.slow());
    }

    #[test]
    fn gusts_of_three_seconds_are_no_landings() {
        let mut d = at_rest();
        for step in 0..12_000_u32 {
            // Every 6 s one, up and down in turn, 150 Pa.
            let (t_s, sign) = ((step % 300) as f32 * 0.02, if step / 300 % 2 == 0 { 1.0 } else { -1.0 });
            let gust_pa =
                if t_s < 3.0 { 75.0 * (1.0 - libm::cosf(2.0 * core::f32::consts::PI * t_s / 3.0)) } else { 0.0 };
            let pa = 1000.0 + sign * gust_pa + if step % 2 == 0 { 6.0 } else { -6.0 };
            assert_eq!(d.step(pa, pa, 20), None, "at {step}");
        }
        assert_eq!(d.count(), 0);
        // The softest landing that counts, at its slowest: half a sine of 0.6 s.
        for step in 0..30_u32 {
            let pa = 1000.0 + 300.0 * libm::sinf(core::f32::consts::PI * step as f32 / 30.0);
            d.step(pa, pa, 20);
        }
        assert!(run(&mut d, 1000.0, 40).is_some());
    }

    #[test]
    fn a_rise_that_stays_is_no_landing() {
        let mut d = at_rest();
        assert_eq!(run(&mut d, 1300.0, 200), None);
        assert!(!d.active());
        assert_eq!(d.count(), 0);
    }
}
