//! The measured force area as a curve of at most twelve knots: fitted to points, held against them, and put together
//! with another.
//!
//! A knot is a depth and the area at it; the curve is straight from (0, 0) over the knots and constant beyond the last,
//! as the core's force area is.

use super::isotonic::{pools, thinned};

/// Most knots of a curve, as in the core.
pub const MOST: usize = landfall_core::force_area::KNOTS;

/// Depth and area, m and m².
pub type Knot = (f64, f64);

/// How far leaving out a knot may move the curve without being noticed: this share of the area.
const UNNOTICED: f64 = 0.02;

/// Knots nearer to each other than this are one, m.
const APART_M: f64 = 0.01;

/// A point that was measured: depth and area with their errors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// Depth, m.
    pub depth_m: f64,
    /// Area, m².
    pub area_m2: f64,
    /// Standard deviation of the depth, m.
    pub depth_sd_m: f64,
    /// Standard deviation of the area over the area.
    pub area_sd: f64,
    /// How many readings it stands for.
    pub readings: f64,
}

/// A curve of knots.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize)]
#[serde(transparent)]
pub struct Curve(Vec<Knot>);

impl Curve {
    /// The curve through knots; those that do not go on rising are left out.
    #[must_use]
    pub fn new(knots: &[Knot]) -> Self {
        let mut kept: Vec<Knot> = Vec::new();
        for (depth_m, area_m2) in knots {
            if *depth_m >= APART_M
                && *area_m2 > 0.0
                && kept.last().is_none_or(|last| *depth_m >= last.0 + APART_M && *area_m2 >= last.1)
            {
                kept.push((*depth_m, *area_m2));
            }
        }
        Self(kept)
    }

    /// The knots.
    #[must_use]
    pub fn knots(&self) -> &[Knot] {
        &self.0
    }

    /// Depth of the last knot, m.
    #[must_use]
    pub fn reach_m(&self) -> f64 {
        self.0.last().map_or(0.0, |knot| knot.0)
    }

    /// The largest area, m².
    #[must_use]
    pub fn limit_m2(&self) -> f64 {
        self.0.last().map_or(0.0, |knot| knot.1)
    }

    /// Area at a depth, m².
    #[must_use]
    pub fn area_m2(&self, depth_m: f64) -> f64 {
        let mut before = (0.0, 0.0);
        for knot in &self.0 {
            if depth_m <= knot.0 {
                return before.1 + (knot.1 - before.1) * ((depth_m - before.0) / (knot.0 - before.0)).max(0.0);
            }
            before = *knot;
        }
        before.1
    }

    /// The same with every area times a factor.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        Self(self.0.iter().map(|(depth_m, area_m2)| (*depth_m, area_m2 * factor)).collect())
    }

    /// Shortest distance of a point from the curve, in the point's own errors.
    #[must_use]
    pub fn distance(&self, point: &Seen) -> f64 {
        let (sx, sa) = (point.depth_sd_m.max(1e-6), (point.area_sd * point.area_m2).max(1e-9));
        let at = |knot: Knot| ((knot.0 - point.depth_m) / sx, (knot.1 - point.area_m2) / sa);
        let beyond = (self.reach_m() + 10.0, self.limit_m2());
        let mut from = at((0.0, 0.0));
        let mut least = from.0.hypot(from.1);
        for knot in self.0.iter().copied().chain([beyond]) {
            let to = at(knot);
            let way = (to.0 - from.0, to.1 - from.1);
            let length2 = way.0 * way.0 + way.1 * way.1;
            let share =
                if length2 > 0.0 { (-(from.0 * way.0 + from.1 * way.1) / length2).clamp(0.0, 1.0) } else { 0.0 };
            least = least.min((from.0 + share * way.0).hypot(from.1 + share * way.1));
            from = to;
        }
        least
    }

    /// How fast the area grows at a depth, m; never 0, so that it can be divided by.
    fn growth_m(&self, depth_m: f64) -> f64 {
        let half_m = 0.05;
        let (low_m, high_m) = ((depth_m - half_m).max(0.0), depth_m + half_m);
        ((self.area_m2(high_m) - self.area_m2(low_m)) / (high_m - low_m)).max(0.05)
    }
}

/// How far the curve moves where a knot is left out, over the area there.
fn moved(before: Knot, knot: Knot, after: Knot) -> f64 {
    let straight = before.1 + (after.1 - before.1) * (knot.0 - before.0) / (after.0 - before.0).max(1e-9);
    ((straight - knot.1) / knot.1.max(1e-6)).abs()
}

/// The rising curve nearest to measured points: weighted isotonic regression of depth over area, thinned to at most
/// twelve knots. Empty for no points.
///
/// A point's weight is that of its depth; the error of its area counts as what it makes in depth on the curve's own
/// slope, which a first round finds.
#[must_use]
pub fn fitted(points: &[Seen]) -> Curve {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.area_m2.total_cmp(&b.area_m2));
    let mut curve = Curve::default();
    for round in 0..2 {
        let weighted: Vec<(f64, f64)> = sorted
            .iter()
            .map(|point| {
                let by_area_m = match round {
                    0 => 0.0,
                    _ => point.area_sd * point.area_m2 / curve.growth_m(point.depth_m),
                };
                (point.depth_m, point.readings / (point.depth_sd_m.powi(2) + by_area_m.powi(2)))
            })
            .collect();
        let vertices: Vec<Knot> = pools(&weighted)
            .iter()
            .filter_map(|pool| {
                let inside = sorted.get(pool.first..pool.end)?;
                let readings: f64 = inside.iter().map(|point| point.readings).sum();
                let area_m2 = inside.iter().map(|point| point.area_m2 * point.readings).sum::<f64>() / readings;
                Some((pool.value, area_m2))
            })
            .collect();
        curve = Curve::new(&vertices);
    }
    thin(&curve)
}

/// At most twelve knots, those that can go without being noticed gone.
#[must_use]
pub fn thin(curve: &Curve) -> Curve {
    Curve(thinned(&curve.0, MOST, UNNOTICED, moved))
}

/// The depths that two curves have both measured, from the shallower first knot to the shallower last; none where they
/// do not overlap.
fn shared(a: &Curve, b: &Curve) -> Option<Vec<f64>> {
    let first = |curve: &Curve| curve.0.first().map(|knot| knot.0);
    let from_m = first(a)?.max(first(b)?);
    let to_m = a.reach_m().min(b.reach_m());
    (to_m > from_m).then(|| (0..=10).map(|i| from_m + (to_m - from_m) * f64::from(i) / 10.0).collect())
}

/// How far the areas of two curves are apart where both were measured: mean of the logarithm of b over a. None where
/// they share no depth.
#[must_use]
pub fn apart(a: &Curve, b: &Curve) -> Option<f64> {
    let depths = shared(a, b)?;
    let n = depths.len() as f64;
    Some(depths.iter().map(|depth_m| (b.area_m2(*depth_m) / a.area_m2(*depth_m)).ln()).sum::<f64>() / n)
}

/// A curve and the standard deviation of the logarithm of its areas, by the area.
pub type Known<'a> = (&'a Curve, &'a dyn Fn(f64) -> f64);

/// Two measurements of the same bag as one.
///
/// Where both have measured, the mean of the logarithms, weighted by 1/sd²; where only one has, that one.
#[must_use]
pub fn together(a: Known<'_>, b: Known<'_>) -> Curve {
    let mut depths: Vec<f64> = a.0.0.iter().chain(&b.0.0).map(|knot| knot.0).collect();
    depths.sort_by(f64::total_cmp);
    let first = |curve: &Curve| curve.0.first().map_or(0.0, |knot| knot.0);
    let mut top: f64 = 0.0;
    let knots: Vec<Knot> = depths
        .into_iter()
        .map(|depth_m| {
            let told = |curve: &Curve| depth_m >= first(curve) - 1e-9 && depth_m <= curve.reach_m() + 1e-9;
            let (area_a, area_b) = (a.0.area_m2(depth_m), b.0.area_m2(depth_m));
            let weight = |known: Known<'_>, area_m2: f64| 1.0 / (known.1)(area_m2).max(1e-3).powi(2);
            let (wa, wb) = (weight(a, area_a), weight(b, area_b));
            let area_m2 = match (told(a.0), told(b.0)) {
                (true, false) => area_a,
                (false, true) => area_b,
                _ => ((wa * area_a.ln() + wb * area_b.ln()) / (wa + wb)).exp(),
            };
            // Where one curve ends the other goes on: the areas must not fall there.
            top = top.max(area_m2);
            (depth_m, top)
        })
        .collect();
    thin(&Curve::new(&knots))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(depth_m: f64, area_m2: f64) -> Seen {
        Seen { depth_m, area_m2, depth_sd_m: 0.025, area_sd: 0.02, readings: 1.0 }
    }

    #[test]
    fn exact_points_of_a_law_come_back() {
        let law = |x: f64| 0.4 + 2.8 * (1.0 - (-x / 0.6).exp());
        let points: Vec<Seen> = (5..110).map(|i| f64::from(i) * 0.01).map(|x| seen(x, law(x))).collect();
        let curve = fitted(&points);
        assert!(curve.knots().len() <= MOST, "{curve:?}");
        for i in 6..109 {
            let x = f64::from(i) * 0.01;
            assert!((curve.area_m2(x) / law(x) - 1.0).abs() < 0.015, "{x}: {} {}", curve.area_m2(x), law(x));
        }
        assert!((curve.area_m2(3.0) - curve.limit_m2()).abs() < 1e-12);
        assert!(curve.area_m2(0.0) == 0.0 && Curve::default().area_m2(1.0) == 0.0);
    }

    #[test]
    fn distances_are_the_shortest_ones() {
        let curve = Curve::new(&[(0.5, 1.0), (1.0, 3.0)]);
        assert!(curve.distance(&seen(0.75, 2.0)) < 1e-9);
        // Beyond the last knot the curve is level: only the area is off.
        assert!((curve.distance(&seen(2.0, 3.3)) - 0.3 / (0.02 * 3.3)).abs() < 1e-9);
        // On a steep part the way in depth is the shorter one.
        let steep = Curve::new(&[(1.0, 100.0)]);
        assert!((steep.distance(&seen(0.55, 50.0)) - 0.05 / 0.025).abs() < 0.2);
    }

    #[test]
    fn two_measurements_weigh_by_their_errors_and_the_deeper_goes_on() {
        let a = Curve::new(&[(0.2, 1.0), (0.8, 2.0)]);
        let b = Curve::new(&[(0.2, 1.1), (0.8, 2.2), (1.4, 3.0)]);
        assert!((apart(&a, &b).unwrap() - 1.1f64.ln()).abs() < 1e-9);
        let both = together((&a, &|_| 0.05), (&b, &|_| 0.05));
        assert!((both.area_m2(0.8) - (2.0f64 * 2.2).sqrt()).abs() < 1e-6, "{both:?}");
        assert!((both.area_m2(1.4) - 3.0).abs() < 1e-6);
        let mostly_a = together((&a, &|_| 0.02), (&b, &|_| 0.2));
        assert!((mostly_a.area_m2(0.8) / 2.0 - 1.0).abs() < 0.002);
        assert_eq!(apart(&a, &Curve::new(&[(1.0, 2.0), (1.5, 3.0)])), None);
    }
}
