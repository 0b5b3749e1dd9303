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

    /// One step of the decay u' = −u: the method's own polynomial, 1 + z + … + z⁵/120 + z⁶/600 (Dormand & Prince 1980;
    /// Hairer, Nørsett & Wanner, Solving Ordinary Differential Equations I, table 5.2).
    #[test]
    fn a_step_of_decay_is_the_methods_polynomial() {
        let decay = |s: &State| State { x: -s.x, u: -s.u, lost: -s.lost, rise: -s.rise };
        let from = State { x: 1.0, u: 2.0, lost: -1.0, rise: 4.0 };
        for h in [0.5_f32, 1.0, 2.0] {
            let z = -f64::from(h);
            let series = 1.0 + z + z.powi(2) / 2.0 + z.powi(3) / 6.0 + z.powi(4) / 24.0 + z.powi(5) / 120.0;
            let expected = series + z.powi(6) / 600.0;
            let done = step(&from, &decay(&from), h, decay, |_| {});
            let got = [done.to.x, done.to.u / 2.0, -done.to.lost, done.to.rise / 4.0];
            for value in got {
                assert!((f64::from(value) - expected).abs() < 2e-6, "{h}: {value} {expected}");
            }
            assert_eq!(done.to_rate.x, -done.to.x);
            // The fourth-order result has 1097 z⁵/120000, 161 z⁶/120000 and z⁷/24000 of its own from z⁵ on.
            let fourth = 1.0
                + z
                + z.powi(2) / 2.0
                + z.powi(3) / 6.0
                + z.powi(4) / 24.0
                + 1_097.0 * z.powi(5) / 120_000.0
                + 161.0 * z.powi(6) / 120_000.0
                + z.powi(7) / 24_000.0;
            let off = [done.off.x, done.off.u / 2.0, -done.off.lost, done.off.rise / 4.0];
            for value in off {
                assert!((f64::from(value) - (expected - fourth)).abs() < 2e-6, "{h}: {value} {}", expected - fourth);
            }
        }
    }

    /// Polynomials of time up to the fourth degree are summed exactly, and up to the third without an error told.
    #[test]
    fn powers_of_time_are_summed_exactly() {
        for power in 0..=4 {
            let rates = |s: &State| State { x: s.rise.powi(power), u: 0.0, lost: s.rise.powi(power), rise: 1.0 };
            let done = step(&State::ZERO, &rates(&State::ZERO), 1.5, rates, |_| {});
            let exact = 1.5_f32.powi(power + 1) / (power + 1) as f32;
            assert!((done.to.x - exact).abs() < 2e-6 && (done.to.lost - exact).abs() < 2e-6, "{power}");
            assert!((done.to.rise - 1.5).abs() < 1e-6);
            assert_eq!(done.off.x.abs() < 1e-6, power < 4, "{power}: {}", done.off.x);
        }
    }

    /// With a rate that is the square of time, stage by stage: 7 places at which the rates are asked for.
    #[test]
    fn rates_are_asked_for_at_the_seven_places_of_the_method() {
        let asked = core::cell::RefCell::new(std::vec::Vec::new());
        let rates = |s: &State| {
            asked.borrow_mut().push(s.rise);
            State { x: 0.0, u: 0.0, lost: 0.0, rise: 1.0 }
        };
        let done = step(&State::ZERO, &rates(&State::ZERO), 1.0, rates, |s| s.x = 0.5);
        let places = [0.0, 0.2, 0.3, 0.8, 8.0 / 9.0, 1.0, 1.0];
        assert_eq!(asked.borrow().len(), places.len());
        for (got, place) in asked.borrow().iter().zip(places) {
            assert!((got - place).abs() < 1e-6, "{:?}", asked.borrow());
        }
        assert_eq!(done.to.x, 0.5, "the end is put back on the law");
    }
}
