//! Weighted isotonic regression, and a rising curve of few points.
//!
//! The regression finds the values that never fall and lie nearest to the measured ones, in the sum of weighted
//! squares, by pooling neighbours that are in the wrong order (Barlow, Bartholomew, Bremner & Brunk 1972; the
//! algorithm's usual name is "pool adjacent violators").

/// Neighbours that share one value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pool {
    /// First of the points, by its place in the list.
    pub first: usize,
    /// One after the last.
    pub end: usize,
    /// Their value.
    pub value: f64,
    /// Sum of their weights.
    pub weight: f64,
}

/// The pools of the rising values nearest to `points`, each a value and a weight above 0, in their order.
#[must_use]
pub fn pools(points: &[(f64, f64)]) -> Vec<Pool> {
    let mut out: Vec<Pool> = Vec::new();
    for (i, (value, weight)) in points.iter().enumerate() {
        let mut pool = Pool { first: i, end: i + 1, value: *value, weight: *weight };
        while let Some(before) = out.pop_if(|before| before.value >= pool.value) {
            let weight = before.weight + pool.weight;
            pool.value = (before.value * before.weight + pool.value * pool.weight) / weight;
            pool.weight = weight;
            pool.first = before.first;
        }
        out.push(pool);
    }
    out
}

/// Leaves out points of a curve until at most `most` are there and none can go without moving the curve by more than
/// `free`. How far leaving one out moves the curve is its distance from the straight between its neighbours, by
/// `off(before, point, after)`; the first and the last stay.
#[must_use]
pub fn thinned<T: Copy>(points: &[T], most: usize, free: f64, off: impl Fn(T, T, T) -> f64) -> Vec<T> {
    let mut left = points.to_vec();
    while left.len() > 2 {
        let offs = left.windows(3).map(|three| match three {
            [before, point, after] => off(*before, *point, *after),
            _ => f64::INFINITY,
        });
        let Some((at, least)) = offs.enumerate().min_by(|a, b| a.1.total_cmp(&b.1)) else { break };
        if left.len() <= most && least > free {
            break;
        }
        left.remove(at + 1);
    }
    left
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example worked by hand: 1, (3, 2, 2), 5 with equal weights.
    #[test]
    fn neighbours_in_the_wrong_order_share_their_mean() {
        let got = pools(&[(1.0, 1.0), (3.0, 1.0), (2.0, 1.0), (2.0, 1.0), (5.0, 1.0)]);
        let values: Vec<f64> = got.iter().map(|pool| pool.value).collect();
        assert_eq!(values.len(), 3);
        assert!((values[1] - 7.0 / 3.0).abs() < 1e-12, "{values:?}");
        assert_eq!((got[1].first, got[1].end), (1, 4));
        let weighted = pools(&[(3.0, 3.0), (1.0, 1.0)]);
        assert!((weighted[0].value - 2.5).abs() < 1e-12 && weighted.len() == 1);
    }

    /// No rising list is nearer: small moves of the answer that keep it rising make the sum of squares larger.
    #[test]
    fn no_rising_list_is_nearer() {
        let points: Vec<(f64, f64)> = (0..40)
            .map(|i| {
                let x = f64::from(i);
                (0.2 * x + 3.0 * (7.3 * x).sin(), 1.0 + (x * 0.7).cos().abs())
            })
            .collect();
        let fitted: Vec<f64> =
            pools(&points).iter().flat_map(|pool| std::iter::repeat_n(pool.value, pool.end - pool.first)).collect();
        assert_eq!(fitted.len(), 40);
        assert!(fitted.windows(2).all(|two| two[0] <= two[1]));
        let sum = |values: &[f64]| points.iter().zip(values).map(|((y, w), v)| w * (y - v).powi(2)).sum::<f64>();
        for i in 0..40 {
            for step in [-0.01, 0.01] {
                let mut moved = fitted.clone();
                moved[i] += step;
                if moved.windows(2).all(|two| two[0] <= two[1]) {
                    assert!(sum(&moved) > sum(&fitted), "{i} {step}");
                }
            }
        }
    }

    #[test]
    fn points_on_a_straight_go_first() {
        let points: Vec<(f64, f64)> = [0.0, 1.0, 2.0, 3.0, 4.0].map(|x| (x, if x < 2.5 { x } else { 2.0 })).to_vec();
        let off =
            |a: (f64, f64), b: (f64, f64), c: (f64, f64)| (a.1 + (c.1 - a.1) * (b.0 - a.0) / (c.0 - a.0) - b.1).abs();
        let left = thinned(&points, 12, 1e-9, off);
        assert_eq!(
            left,
            [(0.0, 0.0), (2.0, 2.0), (3.0, 2.0), (4.0, 2.0)].into_iter().filter(|p| p.0 != 3.0).collect::<Vec<_>>()
        );
        assert_eq!(thinned(&points, 2, 0.0, off).len(), 2);
    }
}
