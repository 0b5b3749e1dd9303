//! Reading between the two ends of a step: cubic and quintic Hermite polynomials, and where they cross zero.

/// A quintic through value, slope and curvature at both ends of a step; the argument runs from 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Quintic {
    c: [f32; 6],
}

impl Quintic {
    /// Each end as (value, slope, curvature), in units of the step.
    pub(crate) fn new((y0, d0, c0): (f32, f32, f32), (y1, d1, c1): (f32, f32, f32)) -> Self {
        let rise = y1 - y0 - d0 - 0.5 * c0;
        let slope = d1 - d0 - c0;
        let curve = c1 - c0;
        Self {
            c: [
                y0,
                d0,
                0.5 * c0,
                10.0 * rise - 4.0 * slope + 0.5 * curve,
                -15.0 * rise + 7.0 * slope - curve,
                6.0 * rise - 3.0 * slope + 0.5 * curve,
            ],
        }
    }

    /// Value at `t`.
    pub(crate) fn value(&self, t: f32) -> f32 {
        let [c0, c1, c2, c3, c4, c5] = self.c;
        c0 + t * (c1 + t * (c2 + t * (c3 + t * (c4 + t * c5))))
    }

    /// Slope at `t`.
    pub(crate) fn slope(&self, t: f32) -> f32 {
        let [_, c1, c2, c3, c4, c5] = self.c;
        c1 + t * (2.0 * c2 + t * (3.0 * c3 + t * (4.0 * c4 + t * (5.0 * c5))))
    }
}

/// Cubic Hermite between (y0, slope d0) at 0 and (y1, slope d1) at 1.
pub(crate) fn cubic(y0: f32, d0: f32, y1: f32, d1: f32, t: f32) -> f32 {
    let rise = y1 - y0;
    let c2 = 3.0 * rise - 2.0 * d0 - d1;
    let c3 = d0 + d1 - 2.0 * rise;
    y0 + t * (d0 + t * (c2 + t * c3))
}

/// Where that cubic has its maximum strictly within 0..1, if it rises at 0 and falls at 1.
pub(crate) fn cubic_peak(y0: f32, d0: f32, y1: f32, d1: f32) -> Option<f32> {
    if !(d0 > 0.0 && d1 < 0.0) {
        return None;
    }
    let rise = y1 - y0;
    let (a, b) = (3.0 * (d0 + d1 - 2.0 * rise), 2.0 * (3.0 * rise - 2.0 * d0 - d1));
    // a t² + b t + d0 = 0, the form that does not cancel; the root wanted is the first beyond 0.
    let root = libm::sqrtf((b * b - 4.0 * a * d0).max(0.0));
    let t = 2.0 * d0 / (root - b);
    if t > 0.0 && t < 1.0 { Some(t) } else { None }
}

/// Where `f`, negative (or zero) at 0 and positive (or zero) at 1, crosses zero: Illinois rounds, at most 24.
pub(crate) fn first_crossing(f: impl Fn(f32) -> f32) -> f32 {
    let (mut low, mut high) = (0.0f32, 1.0f32);
    let (mut f_low, mut f_high) = (f(0.0).min(-1e-30), f(1.0).max(1e-30));
    let mut side = 0i8;
    for _ in 0..24u8 {
        let width = high - low;
        if width < 2e-6 {
            break;
        }
        let guess = low - f_low * (width / (f_high - f_low));
        // A guess hard on an end is moved in a little, so that both ends close.
        let mid = guess.max(low + 1e-3 * width).min(high - 1e-3 * width);
        let value = f(mid);
        if value < 0.0 {
            (low, f_low) = (mid, value);
            if side < 0 {
                f_high *= 0.5;
            }
            side = -1;
        } else {
            (high, f_high) = (mid, value);
            if side > 0 {
                f_low *= 0.5;
            }
            side = 1;
            if value == 0.0 {
                break;
            }
        }
    }
    high
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quintic_is_met_exactly() {
        let y = |t: f32| 1.0 + t - 2.0 * t * t + 0.5 * t.powi(3) + t.powi(4) - 0.25 * t.powi(5);
        let d = |t: f32| 1.0 - 4.0 * t + 1.5 * t * t + 4.0 * t.powi(3) - 1.25 * t.powi(4);
        let c = |t: f32| -4.0 + 3.0 * t + 12.0 * t * t - 5.0 * t.powi(3);
        let quintic = Quintic::new((y(0.0), d(0.0), c(0.0)), (y(1.0), d(1.0), c(1.0)));
        for t in [0.0, 0.3, 0.55, 1.0] {
            assert!((quintic.value(t) - y(t)).abs() < 1e-5 && (quintic.slope(t) - d(t)).abs() < 1e-5);
        }
    }

    #[test]
    fn peaks_and_crossings() {
        // t (1 − t): peak in the middle.
        let at = cubic_peak(0.0, 1.0, 0.0, -1.0).unwrap();
        assert!((at - 0.5).abs() < 1e-6 && (cubic(0.0, 1.0, 0.0, -1.0, at) - 0.25).abs() < 1e-6);
        assert_eq!(cubic_peak(0.0, 1.0, 1.0, 0.5), None);
        assert!((first_crossing(|t| t * t * t - 0.2) - 0.2f32.cbrt()).abs() < 2e-6);
        assert!((first_crossing(|t| t - 1.0) - 1.0).abs() < 2e-6);
    }

    #[test]
    fn a_cubic_is_met_exactly_and_its_peak_is_where_its_slope_vanishes() {
        let y = |t: f32| 0.5 + 1.5 * t - 1.25 * t * t - 0.75 * t * t * t;
        let slope = |t: f32| 1.5 - 2.5 * t - 2.25 * t * t;
        for t in [0.0, 0.2, 0.45, 0.8, 1.0] {
            assert!((cubic(y(0.0), slope(0.0), y(1.0), slope(1.0), t) - y(t)).abs() < 1e-6, "{t}");
        }
        // 2.25 t² + 2.5 t − 1.5 = 0.
        let at = cubic_peak(y(0.0), slope(0.0), y(1.0), slope(1.0)).unwrap();
        assert!((at - (-2.5 + 19.75_f32.sqrt()) / 4.5).abs() < 1e-6, "{at}");
        // Two peaks' worth of rise before the end: the first one counts, and a fall at the start has none.
        assert_eq!(cubic_peak(0.0, -1.0, 1.0, -1.0), None);
        assert_eq!((cubic_peak(0.0, 0.0, 1.0, -1.0), cubic_peak(0.0, 1.0, 1.0, 0.0)), (None, None));
    }

    #[test]
    fn a_quintic_of_its_own_ends_and_its_slope() {
        // Value, slope and curvature at either end are those that it was made of, and inside the slope is the change.
        let quintic = Quintic::new((1.0, -2.0, 3.0), (0.5, 1.5, -4.0));
        let ends = [quintic.value(0.0), quintic.slope(0.0), quintic.value(1.0), quintic.slope(1.0)];
        for (got, expected) in ends.into_iter().zip([1.0, -2.0, 0.5, 1.5]) {
            assert!((got - expected).abs() < 1e-5, "{ends:?}");
        }
        for (end, curvature, inward) in [(0.0, 3.0, 1.0), (1.0, -4.0, -1.0)] {
            // The slope's own change, to second order from inside.
            let (near, far) = (quintic.slope(end + inward * 0.01), quintic.slope(end + inward * 0.02));
            let got = (4.0 * near - far - 3.0 * quintic.slope(end)) / (inward * 0.02);
            assert!((got - curvature).abs() < 0.05, "{end}: {got}");
        }
        for t in [0.15_f32, 0.5, 0.85] {
            let change = (quintic.value(t + 0.01) - quintic.value(t - 0.01)) / 0.02;
            assert!((change - quintic.slope(t)).abs() < 3e-3, "{t}: {change}");
        }
    }

    #[test]
    fn crossings_are_closed_in_on_from_both_ends_in_few_rounds() {
        type Rising = fn(f32) -> f32;
        let cases: [(Rising, f32); 5] = [
            (|t| t - 0.3, 0.3),
            (|t| t.powi(7) - 0.01, 0.01_f32.powf(1.0 / 7.0)),
            (|t| 1.0 - 1.9 * (1.0 - t).powi(5), 1.0 - (1.0_f32 / 1.9).powf(0.2)),
            (|t| if t < 0.625 { -1.0 } else { 5.0 }, 0.625),
            (|t| if t < 0.625 { -5.0 } else { 1.0 }, 0.625),
        ];
        for (f, at) in cases {
            let rounds = core::cell::Cell::new(0);
            let found = first_crossing(|t| {
                rounds.set(rounds.get() + 1);
                f(t)
            });
            assert!((found - at).abs() < 4e-6 && f(found) >= 0.0, "{found} {at}");
            assert!(rounds.get() <= 26, "{}", rounds.get());
        }
        let rounds = core::cell::Cell::new(0);
        first_crossing(|t| {
            rounds.set(rounds.get() + 1);
            t * t - 0.2
        });
        assert!(rounds.get() <= 13, "{}", rounds.get());
    }
}
