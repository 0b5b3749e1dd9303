//! Closing in on the place where a search quantity changes sign.

use crate::error::Status;

/// The two ends that a search closed in to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bracket {
    /// End at which the function is below zero.
    pub below: f32,
    /// End at which it is zero or above.
    pub above: f32,
    /// How the search ended.
    pub status: Status,
}

/// Closes in on a sign change of `f` between `below` (f < 0) and `above` (f ≥ 0), in either order, until the ends are
/// within `width` of each other.
///
/// Each round takes the line through both ends; an end that stays has its value scaled down by how much the other end's
/// fell (Anderson & Björck, BIT 13, 1973), and after three rounds that did not halve the bracket comes a bisection. At
/// most 120 rounds, which thirty halvings at a jump take. A value that is no number counts as zero or above. Both ends come with their values.
pub fn close_in(
    mut f: impl FnMut(f32) -> f32,
    (mut below, mut f_below): (f32, f32),
    (mut above, mut f_above): (f32, f32),
    width: f32,
) -> Bracket {
    let mut side = 0i8;
    let mut slow = 0u8;
    // How far an end's value is scaled down when it stays.
    let scale = |new: f32, old: f32| {
        let share = 1.0 - new / old;
        if share > 0.0 { share } else { 0.5 }
    };
    for _ in 0..120u8 {
        let span = above - below;
        if span.abs() <= width {
            return Bracket { below, above, status: Status::Converged };
        }
        // Stays off the ends by at least 0.45 of the width wanted, so that the far end comes in too.
        let margin = (0.45 * width / span.abs()).min(0.5);
        let share = if slow >= 3 { 0.5 } else { -f_below / (f_above - f_below) };
        // A share that is no number becomes the middle.
        let share = if share >= 0.0 { share.max(margin).min(1.0 - margin) } else { 0.5 };
        let at = below + share * span;
        if at == below || at == above {
            return Bracket { below, above, status: Status::Converged };
        }
        let value = f(at);
        if value < 0.0 {
            if side < 0 {
                f_above *= scale(value, f_below);
            }
            (below, f_below) = (at, value);
            side = -1;
        } else {
            if side > 0 {
                f_below *= scale(value, f_above);
            }
            (above, f_above) = (at, value);
            side = 1;
        }
        slow = if (above - below).abs() > 0.5 * span.abs() && slow < 3 { slow + 1 } else { 0 };
    }
    Bracket { below, above, status: Status::OutOfSteps }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ends_close_in_on_the_root() {
        for (low, high) in [(0.0f32, 2.0f32), (-50.0, 1.5)] {
            let mut rounds = 0;
            let f = |x: f32| x * x * x - 1.0;
            let found = close_in(
                |x| {
                    rounds += 1;
                    f(x)
                },
                (low, f(low)),
                (high, f(high)),
                1e-4,
            );
            assert_eq!(found.status, Status::Converged);
            assert!(f(found.below) < 0.0 && f(found.above) >= 0.0 && (found.above - found.below).abs() <= 1e-4);
            assert!(rounds < 25, "{rounds}");
        }
    }

    #[test]
    fn a_jump_is_found_by_bisection_and_no_number_ends_it() {
        let found = close_in(|x| if x < 0.3 { -1.0 } else { 1e6 }, (0.0, -1.0), (1.0, 1e6), 1e-5);
        assert!((found.above - 0.3).abs() < 2e-5);
        let found = close_in(|_| f32::NAN, (0.0, -1.0), (1.0, f32::NAN), 1e-5);
        assert!(found.above <= 1e-4);
    }

    #[test]
    fn a_smooth_search_takes_few_rounds_and_ends_within_its_width() {
        type Search = fn(f32) -> f32;
        let cases: [(Search, f32, f32, f32, usize); 6] = [
            // Met to the bit at the first try: that end is the one at or over zero.
            (|x| x - 0.5, 0.0, 1.0, 0.5, 4),
            (|x| x - 0.3, 0.0, 1.0, 0.3, 3),
            (|x| libm::expf(x) - 2.0, -3.0, 3.0, core::f32::consts::LN_2, 10),
            (|x| 1.0 - x * x, 0.5, 40.0, 1.0, 14),
            (|x| x * x * x - 0.001, -2.0, 2.0, 0.1, 24),
            (|x| libm::sqrtf(x) - 1.0, 0.0, 50.0, 1.0, 12),
        ];
        for (f, low, high, at, most) in cases {
            let (below, above) = if f(low) < 0.0 { (low, high) } else { (high, low) };
            let mut rounds = 0;
            let counted = |x: f32| {
                rounds += 1;
                f(x)
            };
            let found = close_in(counted, (below, f(below)), (above, f(above)), 1e-4);
            assert_eq!(found.status, Status::Converged);
            assert!((found.below - found.above).abs() <= 1e-4, "{found:?}");
            assert!((found.below - at).abs() < 1.1e-4 && (found.above - at).abs() < 1.1e-4, "{found:?} {at}");
            assert!(f(found.below) < 0.0 && f(found.above) >= 0.0);
            assert!(rounds <= most, "{at}: {rounds}");
        }
        // Nothing to do.
        let there = close_in(|_| panic!("asked"), (1.0, -1.0), (1.000_05, 1.0), 1e-4);
        assert_eq!((there.below, there.above, there.status), (1.0, 1.000_05, Status::Converged));
    }
}
