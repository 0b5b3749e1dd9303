//! The lowest pressure that stops the hardest landing in time, and the highest that keeps the lightest one soft.

use crate::bag_gas::{Adiabat, Chamber, GasState, QUICK_EXPONENT};
use crate::bracket::close_in;
use crate::energy_balance;
use crate::error::Status;
use crate::flows::{Feed, Flows};
use crate::touchdown::{Landing, Options, Touchdown, Until, touch_down};

/// Highest starting pressure that is searched, Pa.
pub const SEARCH_TOP_PA: f32 = 20_000.0;

/// Steps of the search for the firm pressure, each to about half of the pressure before.
const SCAN_STEPS: u8 = 12;

/// Relative width to which a pressure is searched.
const RELATIVE_WIDTH: f32 = 5e-6;

/// First step away from the closed form's pressure, on a logarithmic scale; each further one is twice as long.
const FIRST_STRIDE: f32 = 0.1;
/// Steps that lead from any pressure to either end of the search: 0.1 (2⁸ − 1) = 25 is more than ln 20,000.
const OUTWARD_STEPS: u8 = 8;

/// A pressure that a search found, or why there is none.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Limit {
    /// The pressure, Pa.
    At(f32),
    /// Even the just taut bag keeps the limit (for a depth): its pressure, Pa.
    JustTaut(f32),
    /// Not even the end of the search keeps the limit.
    NotKept,
    /// The limit is kept at the highest pressure searched, so it does not bound.
    NotReached,
}

impl Limit {
    /// The pressure, where there is one.
    #[must_use]
    pub const fn pressure_pa(&self) -> Option<f32> {
        match *self {
            Self::At(pa) | Self::JustTaut(pa) => Some(pa),
            Self::NotKept | Self::NotReached => None,
        }
    }
}

/// One landing from many starting pressures on one bag, ground left out.
#[derive(Clone, Copy, Debug)]
pub struct Trial<'a> {
    /// The bag.
    pub chamber: &'a Chamber,
    /// What enters and leaves.
    pub flows: Flows<'a>,
    /// The landing; its thickness is not used.
    pub landing: Landing,
    /// Accuracy.
    pub options: Options,
}

impl Trial<'_> {
    /// The landing from a state of the gas; none where the bag holds no gas to speak of.
    #[must_use]
    pub fn land(&self, from: GasState, feed: Feed, until: Until) -> Option<Touchdown> {
        let gas = Adiabat::new(self.chamber, from, QUICK_EXPONENT).ok()?;
        let landing = self.landing.without_ground();
        let options = Options { until, ..self.options };
        Some(touch_down(&gas, &self.flows.with(feed), &landing, &options, |_| {}))
    }

    /// 1 − depth/limit from a state, supply lost: below 0 where the landing goes deeper than `depth_m`.
    #[must_use]
    pub fn depth_margin(&self, from: GasState, depth_m: f32) -> f32 {
        match self.land(from, Feed::Lost, Until::Depth) {
            Some(done) if done.status == Status::Converged => 1.0 - done.depth_m / depth_m,
            _ => -1.0,
        }
    }

    /// The lowest starting pressure from which the landing, with the supply lost, goes no deeper than `depth_m`.
    ///
    /// `JustTaut` where the bag that is only just taut is enough, `NotKept` where 20 kPa is not. Searched on a
    /// logarithmic scale to 5e-6; the pressure given is one that keeps the limit. Depth falls as pressure rises, but
    /// for a body set down slowly on a bag that empties within tenths of a second, which first stops higher up on a
    /// softer bag; of several changes one is found from above.
    #[must_use]
    pub fn lowest_for_depth(&self, depth_m: f32) -> (Limit, Status) {
        let margin = |log_pa: f32| self.depth_margin(self.chamber.at_pressure(libm::expf(log_pa)), depth_m);
        let low = libm::logf(self.chamber.skin_pa().max(1.0));
        let high = libm::logf(SEARCH_TOP_PA);
        // From where the gas would take up the landing if it were sealed, outward in growing steps until the limit is kept
        // on one side and not on the other.
        let sealed_pa = energy_balance::stop_pa(&self.landing, self.chamber, depth_m);
        let at = libm::logf(sealed_pa.max(1.0)).max(low).min(high);
        let mut here = (at, margin(at));
        let up = here.1 < 0.0;
        let mut stride = FIRST_STRIDE;
        for _ in 0..OUTWARD_STEPS {
            let next = if up { (here.0 + stride).min(high) } else { (here.0 - stride).max(low) };
            if next == here.0 {
                break;
            }
            let there = (next, margin(next));
            if (there.1 < 0.0) != up {
                let (below, above) = if up { (here, there) } else { (there, here) };
                let found = close_in(margin, below, above, RELATIVE_WIDTH);
                return (Limit::At(libm::expf(found.above)), found.status);
            }
            here = there;
            stride *= 2.0;
        }
        if up {
            (Limit::NotKept, Status::NoAnswer)
        } else {
            (Limit::JustTaut(self.chamber.skin_pa()), Status::Converged)
        }
    }

    /// 1 − felt load/limit from a starting pressure, blowers running.
    fn load_margin(&self, log_pa: f32, load_g: f32) -> f32 {
        match self.land(self.chamber.at_pressure(libm::expf(log_pa)), Feed::Running, Until::Deepest) {
            Some(done) if done.status == Status::Converged => 1.0 - done.felt_load_g / load_g,
            _ => -1.0,
        }
    }

    /// The highest starting pressure at which the felt load, blowers running, stays within `load_g`.
    ///
    /// The load is not monotone in the pressure (a soft bag is gone through and gets hard at the end), so the search
    /// goes down from 20 kPa, each step to about half of the last, until the limit is kept, and closes in on that
    /// change to 5e-6. Where no step keeps it, the softest place between steps is looked for before giving up.
    /// `NotReached` where 20 kPa keeps it, `NotKept` where nothing down to just taut does.
    #[must_use]
    pub fn highest_for_load(&self, load_g: f32) -> (Limit, Status) {
        let margin = |log_pa: f32| self.load_margin(log_pa, load_g);
        let (top, bottom) = (libm::logf(SEARCH_TOP_PA), libm::logf(self.chamber.skin_pa().max(1.0)));
        let stride = (top - bottom) / f32::from(SCAN_STEPS);
        let mut above = (top, margin(top));
        if above.1 >= 0.0 {
            return (Limit::NotReached, Status::Converged);
        }
        // The best step with the margins of the one before it and the one after it.
        let (mut before, mut best, mut after) = (above.1, above, None);
        for step in 1..=SCAN_STEPS {
            let log_pa = top - stride * f32::from(step);
            let here = (log_pa, margin(log_pa));
            if here.1 >= 0.0 {
                let found = close_in(margin, above, here, RELATIVE_WIDTH);
                return (Limit::At(libm::expf(found.above)), found.status);
            }
            if here.1 > best.1 {
                (before, best, after) = (above.1, here, None);
            } else if after.is_none() {
                after = Some(here.1);
            }
            above = here;
        }
        self.softest_between(best, [after.unwrap_or(best.1), before], stride, margin)
    }

    /// Golden-section search for a place that keeps the limit, within a stride of the best seen, whose neighbours'
    /// margins are `ends`. It gives up early where even twice the rise over what was seen that a concave margin allows
    /// does not reach the limit.
    fn softest_between(
        &self,
        best: (f32, f32),
        mut ends: [f32; 2],
        stride: f32,
        margin: impl Fn(f32) -> f32,
    ) -> (Limit, Status) {
        const GOLDEN: f32 = 0.618_034;
        let (mut low, mut high) = (best.0 - stride, best.0 + stride);
        let lowest = libm::logf(self.chamber.skin_pa().max(1.0));
        low = low.max(lowest);
        let mut left = (high - GOLDEN * (high - low), 0.0);
        let mut right = (low + GOLDEN * (high - low), 0.0);
        left.1 = margin(left.0);
        right.1 = margin(right.0);
        for _ in 0..14u8 {
            let seen = left.1.max(right.1).max(best.1);
            let most = highest_of_concave([(low, ends[0]), left, right, (high, ends[1])]);
            if seen + 2.0 * (most - seen).max(0.0) < 0.0 {
                break;
            }
            let better = if left.1 > right.1 { left } else { right };
            if better.1 >= 0.0 {
                // The change lies between here and the next failing place above, which is at most `high`.
                let end = best.0 + stride;
                let found = close_in(&margin, (end, margin(end)), better, RELATIVE_WIDTH);
                return (Limit::At(libm::expf(found.above)), found.status);
            }
            if left.1 > right.1 {
                (high, ends[1]) = right;
                right = left;
                let at = high - GOLDEN * (high - low);
                left = (at, margin(at));
            } else {
                (low, ends[0]) = left;
                left = right;
                let at = low + GOLDEN * (high - low);
                right = (at, margin(at));
            }
        }
        (Limit::NotKept, Status::NoAnswer)
    }
}

/// The highest that a concave function through four places, from left to right, can be between the outer ones: on each
/// piece it lies under the straight lines through the pieces beside it.
fn highest_of_concave([a, b, c, d]: [(f32, f32); 4]) -> f32 {
    let rise = |from: (f32, f32), to: (f32, f32)| (to.1 - from.1) / (to.0 - from.0);
    let (first, middle, last) = (rise(a, b), rise(b, c), rise(c, d));
    let outer = (b.1 + middle * (a.0 - b.0)).max(c.1 + middle * (d.0 - c.0));
    // Where the lines through a and b, and through c and d, meet.
    let meet = (c.1 - b.1 + first * b.0 - last * c.0) / (first - last);
    let inner = if first > last && meet > b.0 && meet < c.0 { b.1 + first * (meet - b.0) } else { b.1.max(c.1) };
    outer.max(inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_concave_function_is_no_higher_than_the_lines_through_its_pieces() {
        // Up at 2 a step and down at 2: the lines meet at 1.5, 3 high.
        let tent = highest_of_concave([(0.0, 0.0), (1.0, 2.0), (2.0, 2.0), (3.0, 0.0)]);
        assert!((tent - 3.0).abs() < 1e-6, "{tent}");
        // A steep middle carried on to the left end: 1 + 2 × 3; and mirrored, to the right end.
        let left = highest_of_concave([(0.0, 0.0), (3.0, 1.0), (4.0, -1.0), (5.0, -4.0)]);
        let right = highest_of_concave([(0.0, -4.0), (1.0, -1.0), (2.0, 1.0), (5.0, 0.0)]);
        assert!((left - 7.0).abs() < 1e-6 && (right - 7.0).abs() < 1e-6, "{left} {right}");
        // Four places of 1 − (x − 1.7)², whose top is 1: over it, and by less than the pieces bend.
        let f = |x: f32| 1.0 - (x - 1.7) * (x - 1.7);
        let most = highest_of_concave([(0.5, f(0.5)), (1.4, f(1.4)), (2.2, f(2.2)), (3.1, f(3.1))]);
        // The lines through the outer pieces, up at 1.5 and down at 1.9, meet at 1.8.
        assert!((most - 1.51).abs() < 1e-5, "{most}");
    }

    /// A margin that is kept between two steps alone: a tenth to either side of 6.83, and 0.02 of 6.95.
    #[test]
    fn the_softest_place_between_steps_is_found_and_given_up_where_there_is_none() {
        let site = crate::test_sites::sites().next().unwrap();
        let (input, bags) = (site.input(), site.bags());
        let chamber = input.chamber(bags.stated()).unwrap();
        let trial = input.light(bags.stated(), &chamber).unwrap();
        for (centre, most, found) in [(6.83, 0.01_f32, true), (6.95, 0.000_4, true), (6.83, -0.01, false)] {
            let tries = core::cell::Cell::new(0);
            let margin = |log_pa: f32| most - (log_pa - centre) * (log_pa - centre);
            let counted = |log_pa: f32| {
                tries.set(tries.get() + 1);
                margin(log_pa)
            };
            let ends = [margin(6.5), margin(7.5)];
            let (limit, status) = trial.softest_between((7.0, margin(7.0)), ends, 0.5, counted);
            if found {
                let Limit::At(pa) = limit else { panic!("{limit:?}") };
                assert_eq!(status, Status::Converged);
                assert!((libm::logf(pa) - (centre + most.sqrt())).abs() < 1e-4, "{pa}");
            } else {
                assert_eq!((limit, status), (Limit::NotKept, Status::NoAnswer));
                assert!(tries.get() <= 10, "{}", tries.get());
            }
        }
    }
}
