//! Filling, emptying and recovery: how long slow changes of pressure take.
//!
//! With x = 0 and isothermal gas, dt = (dG/dp) dp / Q(p): a time is an integral over pressure. It is taken piece by
//! piece with five Gauss points, a piece ending wherever the flow is not smooth (a blower's curve point, a flap's
//! limits) and wherever the distance to the pressure at which Q vanishes has halved.

use crate::bag_gas::{Chamber, GasState};
use crate::error::Status;
use crate::flows::{Feed, Flows};

/// Five-point Gauss–Legendre on 0..1: place and weight (tabulated constants).
const GAUSS: [(f32, f32); 5] = [
    (0.046_910_077, 0.118_463_44),
    (0.230_765_34, 0.239_314_34),
    (0.5, 0.284_444_45),
    (0.769_234_66, 0.239_314_34),
    (0.953_089_9, 0.118_463_44),
];

/// Most pieces of one integral: 16 curve points, two flap limits, and halvings to single precision.
const MAX_PIECES: u8 = 90;

/// Relative widths below which a piece is not cut further.
const NARROW: f32 = 1e-6;

/// A bag at rest with what enters and leaves it.
#[derive(Clone, Copy, Debug)]
pub struct SlowGas<'a> {
    /// The chamber.
    pub chamber: &'a Chamber,
    /// What enters and leaves.
    pub flows: Flows<'a>,
}

/// One piece of an integral over pressure.
struct Piece {
    end_pa: f32,
    seconds: f32,
}

impl SlowGas<'_> {
    /// dt/dp at a pressure, s/Pa, for a flow counted in the direction of the change.
    fn seconds_per_pa(&self, gauge_pa: f32, rising: bool) -> f32 {
        let net = self.flows.net_outflow_m3ps(gauge_pa);
        let towards = if rising { -net } else { net };
        // Infinite where the flow has stopped.
        self.chamber.content_per_pa_m3(gauge_pa) / towards.max(0.0)
    }

    fn integrate(&self, from_pa: f32, to_pa: f32, rising: bool) -> f32 {
        let width = to_pa - from_pa;
        let sum: f32 =
            GAUSS.iter().map(|(at, weight)| weight * self.seconds_per_pa(from_pa + at * width, rising)).sum();
        sum * width.abs()
    }

    /// The next piece from a pressure towards another.
    fn piece(&self, from_pa: f32, to_pa: f32) -> Piece {
        let rising = to_pa > from_pa;
        // Where the flow vanishes: the operating point above; below, outside pressure, or where the flaps close.
        let openings = self.flows.openings.input();
        let only_relief = openings.vent_area_m2 + openings.leak_coefficient + self.flows.backflow_area_m2() <= 0.0;
        let stagnant_pa = match (rising, only_relief) {
            (true, _) => self.chamber.operating_pa(),
            (false, true) => openings.relief_opens_pa.min(from_pa),
            (false, false) => 0.0,
        };
        let mut end_pa = to_pa;
        let halfway_pa = 0.5 * (from_pa + stagnant_pa);
        let narrow = NARROW * self.chamber.operating_pa().max(1.0);
        let mut cut = |at_pa: f32| {
            let inside = if rising {
                at_pa > from_pa + narrow && at_pa < end_pa
            } else {
                at_pa < from_pa - narrow && at_pa > end_pa
            };
            if inside {
                end_pa = at_pa;
            }
        };
        cut(halfway_pa);
        if openings.relief_area_m2 > 0.0 {
            cut(openings.relief_opens_pa);
            cut(openings.relief_full_pa);
        }
        if let (Feed::Running | Feed::OneLost, Some(blowers)) = (self.flows.feed, self.flows.blowers) {
            blowers.knot_bag_pressures_pa().for_each(&mut cut);
        }
        Piece { end_pa, seconds: self.integrate(from_pa, end_pa, rising) }
    }

    /// Time for the taut bag's pressure to go from one value to another, s; none where it never gets there.
    ///
    /// Both are gauge pressures, taken to at least the skin's own.
    #[must_use]
    pub fn taut_time_s(&self, from_pa: f32, to_pa: f32) -> Option<f32> {
        let to_pa = to_pa.max(self.chamber.skin_pa());
        let mut at_pa = from_pa.max(self.chamber.skin_pa());
        let mut seconds = 0.0;
        for _ in 0..MAX_PIECES {
            if at_pa == to_pa {
                break;
            }
            let piece = self.piece(at_pa, to_pa);
            seconds += piece.seconds;
            if !seconds.is_finite() {
                return None;
            }
            at_pa = piece.end_pa;
        }
        Some(seconds)
    }

    /// Time for a slack bag to gain or lose `change_m3` (gain: above 0) at the skin's own pressure, s; none where it
    /// never does.
    #[must_use]
    pub fn slack_time_s(&self, change_m3: f32) -> Option<f32> {
        if change_m3 == 0.0 {
            return Some(0.0);
        }
        let seconds = change_m3 / -self.flows.net_outflow_m3ps(self.chamber.skin_pa());
        if seconds >= 0.0 && seconds.is_finite() { Some(seconds) } else { None }
    }

    /// Time from an empty bag to 95 % of the operating pressure with the blowers running, s.
    ///
    /// None where the blowers do not even lift the skin.
    #[must_use]
    pub fn fill_time_s(&self) -> Option<f32> {
        let running = SlowGas { flows: self.flows.with(Feed::Running), ..*self };
        let slack_s = running.slack_time_s(self.chamber.just_taut_content_m3())?;
        let goal_pa = (0.95 * self.chamber.operating_pa()).max(self.chamber.skin_pa());
        Some(slack_s + running.taut_time_s(self.chamber.skin_pa(), goal_pa)?)
    }

    /// Time from the operating content less `lost_m3` to 99 % of the operating pressure with the blowers running, s;
    /// 0 if it never falls below.
    #[must_use]
    pub fn recovery_s(&self, lost_m3: f32) -> Option<f32> {
        let running = SlowGas { flows: self.flows.with(Feed::Running), ..*self };
        let goal_pa = (0.99 * self.chamber.operating_pa()).max(self.chamber.skin_pa());
        let state = self.chamber.at_content(self.chamber.operating_content_m3() - lost_m3);
        if state.pressure_pa >= goal_pa {
            return Some(0.0);
        }
        let slack_s = if state.is_taut() {
            0.0
        } else {
            running.slack_time_s(self.chamber.just_taut_content_m3() - state.content_m3)?
        };
        Some(slack_s + running.taut_time_s(state.pressure_pa, goal_pa)?)
    }

    /// Time after a loss of supply in which the pressure falls from one value to another, s; 0 if it is already
    /// there, none if it never falls so far (below the skin's own it never falls).
    #[must_use]
    pub fn fall_time_s(&self, from_pa: f32, to_pa: f32) -> Option<f32> {
        let lost = SlowGas { flows: self.flows.with(Feed::Lost), ..*self };
        if from_pa <= to_pa {
            Some(0.0)
        } else if to_pa < self.chamber.skin_pa() {
            None
        } else {
            lost.taut_time_s(from_pa, to_pa)
        }
    }

    /// The bag `seconds` after its supply was lost in a state, nobody in it.
    ///
    /// The status says whether the search for the pressure closed.
    #[must_use]
    pub fn after_loss(&self, from: &GasState, seconds: f32) -> (GasState, Status) {
        let lost = SlowGas { flows: self.flows.with(Feed::Lost), ..*self };
        let mut left_s = seconds.max(0.0);
        let mut state = *from;
        if state.is_taut() {
            let skin_pa = self.chamber.skin_pa();
            for _ in 0..MAX_PIECES {
                if state.pressure_pa <= skin_pa {
                    break;
                }
                let piece = lost.piece(state.pressure_pa, skin_pa);
                if piece.seconds > left_s {
                    let (pressure_pa, status) = lost.within_piece(state.pressure_pa, piece.end_pa, left_s);
                    return (self.chamber.at_pressure(pressure_pa), status);
                }
                left_s -= piece.seconds;
                state = self.chamber.at_pressure(piece.end_pa);
            }
        }
        // Slack: the pressure stays, the gas runs out at a constant rate.
        let content_m3 = state.content_m3 - left_s * lost.flows.net_outflow_m3ps(state.pressure_pa).max(0.0);
        (self.chamber.at_content(content_m3), Status::Converged)
    }

    /// Pressure `left_s` after `from_pa`, known to lie above `end_pa`: Newton on the integral, kept in its bracket.
    fn within_piece(&self, from_pa: f32, end_pa: f32, left_s: f32) -> (f32, Status) {
        let (mut low, mut high) = (end_pa, from_pa);
        let first = self.seconds_per_pa(from_pa, false);
        if first.is_infinite() {
            // Nothing leaves.
            return (from_pa, Status::Converged);
        }
        let mut at_pa = from_pa - left_s / first;
        let mut status = Status::OutOfSteps;
        for _ in 0..30u8 {
            if !(at_pa > low && at_pa < high) {
                at_pa = 0.5 * (low + high);
            }
            let over_s = self.integrate(from_pa, at_pa, false) - left_s;
            if over_s > 0.0 {
                low = at_pa;
            } else {
                high = at_pa;
            }
            let step = over_s / self.seconds_per_pa(at_pa, false);
            at_pa += step;
            if step.abs() <= 5e-7 * from_pa {
                status = Status::Converged;
                break;
            }
        }
        (at_pa.max(end_pa).min(from_pa), status)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::air::Air;
    use crate::openings::{Openings, OpeningsInput};

    #[test]
    fn an_unstretching_bag_empties_like_its_closed_form() {
        // No stretch, exponent 1: dp/dt = −(P_a/V0) C p, so p falls exponentially.
        let air = Air::new(0.0, 288.15, None).unwrap();
        let chamber = Chamber::new(&air, 100.0, 2_000.0, 0.0, 0.65).unwrap();
        let leak = OpeningsInput { leak_coefficient: 1e-4, leak_exponent: 1.0, ..OpeningsInput::default() };
        let openings = Openings::new(leak, &air).unwrap();
        let gas = SlowGas { chamber: &chamber, flows: Flows { openings: &openings, blowers: None, feed: Feed::Lost } };
        let rate = 101_325.0 / 100.0 * 1e-4f64;
        for to_pa in [1_900.0f32, 1_000.0, 100.0, 7.0] {
            let expected = (2_000.0 / f64::from(to_pa)).ln() / rate;
            let got = f64::from(gas.fall_time_s(2_000.0, to_pa).unwrap());
            assert!((got / expected - 1.0).abs() < 2e-6, "{to_pa}: {got} {expected}");
            let (state, status) = gas.after_loss(&chamber.at_pressure(2_000.0), got as f32);
            assert_eq!(status, Status::Converged);
            assert!((state.pressure_pa / to_pa - 1.0).abs() < 1e-5, "{to_pa} {state:?}");
        }
        assert_eq!(gas.fall_time_s(1_000.0, 1_500.0), Some(0.0));
        assert_eq!(gas.fall_time_s(1_000.0, 1.0), None);
    }

    #[test]
    fn a_tight_bag_never_falls_and_a_slack_one_runs_out_evenly() {
        let air = Air::new(0.0, 288.15, None).unwrap();
        let chamber = Chamber::new(&air, 100.0, 2_000.0, 3e-5, 0.65).unwrap();
        let tight = Openings::new(OpeningsInput::default(), &air).unwrap();
        let flows = Flows { openings: &tight, blowers: None, feed: Feed::Lost };
        let gas = SlowGas { chamber: &chamber, flows };
        assert_eq!(gas.fall_time_s(2_000.0, 1_000.0), None);
        let (same, _) = gas.after_loss(&chamber.at_pressure(2_000.0), 100.0);
        assert_eq!(same.pressure_pa, 2_000.0);
        let vent = Openings::new(OpeningsInput { vent_area_m2: 0.1, ..OpeningsInput::default() }, &air).unwrap();
        let gas = SlowGas { flows: Flows { openings: &vent, ..flows }, ..gas };
        let slack = chamber.at_content(60.0);
        let out = vent.outflow_m3ps(chamber.skin_pa(), 0.0);
        let (later, _) = gas.after_loss(&slack, 10.0);
        assert!((later.content_m3 - (60.0 - 10.0 * out)).abs() < 1e-4);
        let (gone, _) = gas.after_loss(&slack, 1e6);
        assert_eq!(gone.content_m3, 0.0);
    }
}
