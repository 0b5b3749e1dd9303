//! The zero: what the sensor reads on a vented bag.

use super::decide::ZeroState;

/// Readings that the zero is the mean of: 1 s.
pub const ZERO_READINGS: u16 = 50;
/// Span of those readings, as a multiple of the usual noise's standard deviation, that is still at rest:
/// 50 Gaussian readings span 4.5 standard deviations on average. *Assumed*.
pub const ZERO_SPAN_SIGMAS: f32 = 8.0;

/// Takes the zero from the first second of readings if they are near zero and at rest; else falls back on the
/// stored one; else refuses.
///
/// A bag that is not quite empty makes the zero too high by its pressure, and every later reading too low by
/// as much: the alarms come early. A zero that is too low is bounded by the limit.
#[derive(Clone, Debug)]
pub struct Zero {
    stored_pa: Option<f32>,
    limit_pa: f32,
    span_limit_pa: f32,
    sum_pa: f32,
    low_pa: f32,
    high_pa: f32,
    count: u16,
    offset_pa: f32,
    from_store: bool,
    state: ZeroState,
}

impl Zero {
    /// `stored_pa`: the zero of the last time, if there is one; one outside the limit is ignored.
    #[must_use]
    pub fn new(stored_pa: Option<f32>, limit_pa: f32, noise_high_pa: f32) -> Self {
        Self {
            stored_pa: stored_pa.filter(|z| z.abs() <= limit_pa),
            limit_pa,
            span_limit_pa: ZERO_SPAN_SIGMAS * noise_high_pa,
            sum_pa: 0.0,
            low_pa: f32::MAX,
            high_pa: f32::MIN,
            count: 0,
            offset_pa: 0.0,
            from_store: false,
            state: ZeroState::Pending,
        }
    }

    /// Takes the stored zero at once, if there is one: while somebody may be riding the bag is not vented.
    pub fn resume(&mut self) -> bool {
        let Some(stored_pa) = self.stored_pa else { return false };
        (self.offset_pa, self.from_store, self.state) = (stored_pa, true, ZeroState::Known);
        true
    }

    /// Starts over, with the zero so far as the stored one.
    pub fn again(&mut self) {
        let stored_pa = if self.state == ZeroState::Known { Some(self.offset_pa) } else { self.stored_pa };
        *self = Self { span_limit_pa: self.span_limit_pa, ..Self::new(stored_pa, self.limit_pa, 0.0) };
    }

    /// Whether the zero is known.
    #[must_use]
    pub fn state(&self) -> ZeroState {
        self.state
    }

    /// What to take off a reading; 0 until known.
    #[must_use]
    pub fn offset_pa(&self) -> f32 {
        self.offset_pa
    }

    /// The zero came from storage.
    #[must_use]
    pub fn from_store(&self) -> bool {
        self.from_store
    }

    /// Takes one good raw reading while pending; true when the zero has just become known.
    pub fn push(&mut self, reading_pa: f32) -> bool {
        if self.state != ZeroState::Pending {
            return false;
        }
        self.sum_pa += reading_pa;
        self.low_pa = self.low_pa.min(reading_pa);
        self.high_pa = self.high_pa.max(reading_pa);
        self.count = self.count.saturating_add(1);
        if self.count < ZERO_READINGS {
            return false;
        }
        let mean_pa = self.sum_pa / f32::from(self.count);
        if mean_pa.abs() <= self.limit_pa && self.high_pa - self.low_pa <= self.span_limit_pa {
            self.offset_pa = mean_pa;
        } else if let Some(stored_pa) = self.stored_pa {
            self.offset_pa = stored_pa;
            self.from_store = true;
        } else {
            self.state = ZeroState::Refused;
            return false;
        }
        self.state = ZeroState::Known;
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(stored: Option<f32>, reading: impl Fn(u16) -> f32) -> Zero {
        let mut z = Zero::new(stored, 30.0, 20.0);
        for i in 0..ZERO_READINGS {
            assert_eq!(z.state(), ZeroState::Pending);
            assert_eq!(z.push(reading(i)), i + 1 == ZERO_READINGS && z.state() == ZeroState::Known);
        }
        z
    }

    #[test]
    fn vented_bag_gives_the_mean() {
        let z = run(None, |i| if i % 2 == 0 { 4.0 } else { 6.0 });
        assert_eq!((z.state(), z.offset_pa(), z.from_store()), (ZeroState::Known, 5.0, false));
    }

    #[test]
    fn bag_under_air_uses_the_stored_zero_or_refuses() {
        let z = run(Some(3.0), |_| 900.0);
        assert_eq!((z.state(), z.offset_pa(), z.from_store()), (ZeroState::Known, 3.0, true));
        assert_eq!(run(None, |_| 900.0).state(), ZeroState::Refused);
        assert_eq!(run(Some(31.0), |_| 900.0).state(), ZeroState::Refused);
        assert_eq!(run(Some(f32::NAN), |_| 900.0).state(), ZeroState::Refused);
    }

    #[test]
    fn limits_are_inclusive_and_unrest_is_refused() {
        assert_eq!(run(None, |_| 30.0).state(), ZeroState::Known);
        assert_eq!(run(None, |_| -30.0).state(), ZeroState::Known);
        assert_eq!(run(None, |_| 30.1).state(), ZeroState::Refused);
        assert_eq!(run(None, |i| if i % 2 == 0 { -81.0 } else { 81.0 }).state(), ZeroState::Refused);
    }

    #[test]
    fn again_keeps_what_was_known() {
        let mut z = run(None, |_| 7.0);
        z.again();
        assert_eq!(z.state(), ZeroState::Pending);
        for _ in 0..ZERO_READINGS {
            z.push(900.0);
        }
        assert_eq!((z.offset_pa(), z.from_store()), (7.0, true));
    }
}
