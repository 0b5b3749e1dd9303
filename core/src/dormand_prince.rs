//! One step of the 5(4) pair of Dormand & Prince (J. Comput. Appl. Math. 6, 1980) on the state of a touch-down.

/// Depth, m, speed, m/s, gas lost, m³, rise of pressure, Pa; or their rates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct State {
    pub(crate) x: f32,
    pub(crate) u: f32,
    pub(crate) lost: f32,
    pub(crate) rise: f32,
}

impl State {
    pub(crate) const ZERO: Self = Self { x: 0.0, u: 0.0, lost: 0.0, rise: 0.0 };

    /// This state plus h times a weighted sum of rates.
    fn plus(&self, h: f32, terms: &[(f32, &Self)]) -> Self {
        let Some(((c, k), terms)) = terms.split_first() else { return *self };
        let mut sum = Self { x: c * k.x, u: c * k.u, lost: c * k.lost, rise: c * k.rise };
        for (c, k) in terms {
            sum.x += c * k.x;
            sum.u += c * k.u;
            sum.lost += c * k.lost;
            sum.rise += c * k.rise;
        }
        Self {
            x: self.x + h * sum.x,
            u: self.u + h * sum.u,
            lost: self.lost + h * sum.lost,
            rise: self.rise + h * sum.rise,
        }
    }
}

/// What a step comes to.
pub(crate) struct Step {
    /// State at its end, put back on the gas law.
    pub(crate) to: State,
    /// Rates there.
    pub(crate) to_rate: State,
    /// Estimate of its error: the fifth-order less the fourth-order result.
    pub(crate) off: State,
}

/// Steps from `from`, with rates `k1` there, by `h`; `settle` puts a state back on the gas law.
pub(crate) fn step(
    from: &State,
    k1: &State,
    h: f32,
    rates: impl Fn(&State) -> State,
    settle: impl Fn(&mut State),
) -> Step {
    let k2 = rates(&from.plus(h, &[(0.2, k1)]));
    let k3 = rates(&from.plus(h, &[(0.075, k1), (0.225, &k2)]));
    let k4 = rates(&from.plus(h, &[(44.0 / 45.0, k1), (-56.0 / 15.0, &k2), (32.0 / 9.0, &k3)]));
    let fifth =
        [(19_372.0 / 6_561.0, k1), (-25_360.0 / 2_187.0, &k2), (64_448.0 / 6_561.0, &k3), (-212.0 / 729.0, &k4)];
    let k5 = rates(&from.plus(h, &fifth));
    let sixth = [
        (9_017.0 / 3_168.0, k1),
        (-355.0 / 33.0, &k2),
        (46_732.0 / 5_247.0, &k3),
        (49.0 / 176.0, &k4),
        (-5_103.0 / 18_656.0, &k5),
    ];
    let k6 = rates(&from.plus(h, &sixth));
    let last = [
        (35.0 / 384.0, k1),
        (500.0 / 1_113.0, &k3),
        (125.0 / 192.0, &k4),
        (-2_187.0 / 6_784.0, &k5),
        (11.0 / 84.0, &k6),
    ];
    let mut to = from.plus(h, &last);
    settle(&mut to);
    let to_rate = rates(&to);
    let difference = [
        (71.0 / 57_600.0, k1),
        (-71.0 / 16_695.0, &k3),
        (71.0 / 1_920.0, &k4),
        (-17_253.0 / 339_200.0, &k5),
        (22.0 / 525.0, &k6),
        (-1.0 / 40.0, &to_rate),
    ];
    Step { to, to_rate, off: State::ZERO.plus(h, &difference) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn halving_the_step_divides_the_error_by_thirty_two_or_more() {
        // u' = −u with u(0) = 1, and lost' = t through rise as time; over 2 s.
        let rates = |s: &State| State { x: s.u, u: -s.u, lost: s.rise, rise: 1.0 };
        let run = |steps: u8| {
            let h = 2.0 / f32::from(steps);
            let mut s = State { x: 0.0, u: 1.0, lost: 0.0, rise: 0.0 };
            let mut k = rates(&s);
            for _ in 0..steps {
                let done = step(&s, &k, h, rates, |_| {});
                (s, k) = (done.to, done.to_rate);
            }
            s
        };
        let exact = (-2.0f64).exp();
        let off = |steps: u8| f64::from(run(steps).u) - exact;
        // Steps this long show more than the fifth order of the limit; shorter ones drown in rounding.
        let order = (off(1) / off(2)).abs().log2();
        assert!((4.5..7.5).contains(&order), "{order}");
        assert!((run(2).lost - 2.0).abs() < 1e-6);
    }
}
