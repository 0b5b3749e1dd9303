//! The gas in the bag: its content, slow (isothermal) and quick (adiabatic) changes, slack and taut.

use crate::air::{Air, STANDARD_GRAVITY_MPS2};
use crate::error::{InputError, within};

/// Exponent of a quick change, the ratio of specific heats of air.
pub const QUICK_EXPONENT: f32 = crate::air::GAMMA;

/// One chamber of a bag. Volume without a body: V(p) = V0 [1 + β (p − p_op)].
///
/// Content G is the volume that the gas would fill at outside pressure P_a and temperature.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Chamber {
    outside_pa: f32,
    volume_m3: f32,
    operating_pa: f32,
    stretch_per_pa: f32,
    skin_pa: f32,
}

/// The gas at rest in a bag that nobody is in.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct GasState {
    /// Gauge pressure, Pa; the skin's own where the bag is slack.
    pub pressure_pa: f32,
    /// Content G, m³ at outside pressure.
    pub content_m3: f32,
    /// Volume that the gas fills, m³: less than the skin would enclose where the bag is slack.
    pub volume_m3: f32,
    /// How much more the skin would enclose, m³; 0 where the bag is taut.
    pub slack_m3: f32,
}

impl GasState {
    /// Whether the skin is under tension.
    #[must_use]
    pub fn is_taut(&self) -> bool {
        self.slack_m3 <= 0.0
    }
}

impl Chamber {
    /// A chamber of `volume_m3` at its operating pressure.
    ///
    /// `stretch_per_pa` is the skin's relative growth in volume per pascal (*assumed* 3e-5 until a drop test fits it),
    /// `skin_kgpm2` the top skin's weight (*assumed* 0.65 kg/m²), whose pressure is p_s = skin_weight · g.
    ///
    /// Valid: 0.01 to 100,000 m³, operating pressure 0 to 20 kPa, stretch 0 to 4e-4 /Pa, skin 0 to 10 kg/m².
    ///
    /// # Errors
    /// [`InputError::OutOfRange`]; [`InputError::Order`] where the operating pressure does not lift the skin's own
    /// weight (the bag never stands); [`InputError::Inconsistent`] where the stretch is so large that the bag would
    /// have less than a tenth of its volume when just taut.
    pub fn new(
        air: &Air,
        volume_m3: f32,
        operating_pa: f32,
        stretch_per_pa: f32,
        skin_kgpm2: f32,
    ) -> Result<Self, InputError> {
        let volume_m3 = within("bag.volume_m3", volume_m3, 0.01, 100_000.0)?;
        let operating_pa = within("air.operating_pressure_pa", operating_pa, 0.0, 20_000.0)?;
        let stretch_per_pa = within("bag.skin_stretch_per_pa", stretch_per_pa, 0.0, 4e-4)?;
        // Less than this is no stretch: it would change no pressure, and its inverse leaves single precision.
        let stretch_per_pa = if stretch_per_pa < 1e-9 { 0.0 } else { stretch_per_pa };
        let skin_pa = within("bag.skin_weight_kgpm2", skin_kgpm2, 0.0, 10.0)? * STANDARD_GRAVITY_MPS2;
        let outside_pa = within("air.pressure_pa", air.pressure_pa, 10_000.0, 200_000.0)?;
        if skin_pa > operating_pa {
            return Err(InputError::Order {
                smaller: "bag.skin_pressure_pa",
                smaller_got: skin_pa,
                larger: "air.operating_pressure_pa",
                larger_got: operating_pa,
            });
        }
        let just_taut_share = 1.0 + stretch_per_pa * (skin_pa - operating_pa);
        if just_taut_share < 0.1 {
            return Err(InputError::Inconsistent {
                quantity: "bag.skin_stretch_per_pa",
                why: "the bag would have less than a tenth of its volume when just taut",
                off_by: 0.1 - just_taut_share,
            });
        }
        Ok(Self { outside_pa, volume_m3, operating_pa, stretch_per_pa, skin_pa })
    }

    /// Outside pressure P_a, Pa.
    #[must_use]
    pub const fn outside_pa(&self) -> f32 {
        self.outside_pa
    }

    /// Operating pressure p_op, Pa.
    #[must_use]
    pub const fn operating_pa(&self) -> f32 {
        self.operating_pa
    }

    /// Lowest pressure, the skin's own weight p_s, Pa.
    #[must_use]
    pub const fn skin_pa(&self) -> f32 {
        self.skin_pa
    }

    /// The skin's stretch β, 1/Pa.
    #[must_use]
    pub const fn stretch_per_pa(&self) -> f32 {
        self.stretch_per_pa
    }

    /// V0 β: how much volume the skin's stretch gives for one pascal, m³/Pa.
    #[must_use]
    pub fn stretch_m3_per_pa(&self) -> f32 {
        self.volume_m3 * self.stretch_per_pa
    }

    /// Volume enclosed by the taut skin at a gauge pressure, m³.
    #[must_use]
    pub fn volume_at_m3(&self, gauge_pa: f32) -> f32 {
        self.volume_m3 * (1.0 + self.stretch_per_pa * (gauge_pa - self.operating_pa))
    }

    /// Content at the operating pressure, m³.
    #[must_use]
    pub fn operating_content_m3(&self) -> f32 {
        (self.outside_pa + self.operating_pa) / self.outside_pa * self.volume_m3
    }

    /// Content when just taut, m³.
    #[must_use]
    pub fn just_taut_content_m3(&self) -> f32 {
        (self.outside_pa + self.skin_pa) / self.outside_pa * self.volume_at_m3(self.skin_pa)
    }

    /// dG/dp of the taut bag at a gauge pressure, m³/Pa: how much gas one pascal takes, stretch included.
    #[must_use]
    pub fn content_per_pa_m3(&self, gauge_pa: f32) -> f32 {
        let stretch = self.volume_m3 * self.stretch_per_pa * (self.outside_pa + gauge_pa);
        (self.volume_at_m3(gauge_pa) + stretch) / self.outside_pa
    }

    /// The taut bag at a gauge pressure (at least the skin's own).
    #[must_use]
    pub fn at_pressure(&self, gauge_pa: f32) -> GasState {
        let pressure_pa = gauge_pa.max(self.skin_pa);
        let volume_m3 = self.volume_at_m3(pressure_pa);
        let content_m3 = (self.outside_pa + pressure_pa) / self.outside_pa * volume_m3;
        GasState { pressure_pa, content_m3, volume_m3, slack_m3: 0.0 }
    }

    /// The bag with a content, at rest: (P_a + p) V(p) = P_a G, or slack at p = p_s.
    ///
    /// The taut pressure is the root of a quadratic, taken from the operating point so that nothing cancels.
    #[must_use]
    pub fn at_content(&self, content_m3: f32) -> GasState {
        let content_m3 = content_m3.max(0.0);
        let surplus_pa = self.outside_pa * ((content_m3 - self.operating_content_m3()) / self.volume_m3);
        let linear = 1.0 + self.stretch_per_pa * (self.outside_pa + self.operating_pa);
        let under_root = (linear * linear + 4.0 * self.stretch_per_pa * surplus_pa).max(0.0);
        let gauge_pa = self.operating_pa + 2.0 * surplus_pa / (linear + libm::sqrtf(under_root));
        if gauge_pa >= self.skin_pa {
            let volume_m3 = self.volume_at_m3(gauge_pa);
            return GasState { pressure_pa: gauge_pa, content_m3, volume_m3, slack_m3: 0.0 };
        }
        let volume_m3 = content_m3 * (self.outside_pa / (self.outside_pa + self.skin_pa));
        let slack_m3 = (self.volume_at_m3(self.skin_pa) - volume_m3).max(f32::MIN_POSITIVE);
        GasState { pressure_pa: self.skin_pa, content_m3, volume_m3, slack_m3 }
    }
}

/// A quick change from a state: (P_a + p) V(p, x)^n = (P_a + p_i) (V_i G/G_i)^n, with everything that stays the same
/// worked out once.
///
/// As logarithms, with y = p − p_i, L = G_i − G the gas lost and s the slack at the start:
///
/// ln(1 + y/P_i) + n ln(1 + (s + V0 β y − V_d)/V_i) − n ln(1 − L/G_i) = 0
///
/// The sum rises with y and is close to a straight line, so Newton's method with a second-order correction needs
/// one or two rounds from a near guess.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Adiabat {
    exponent: f32,
    start: GasState,
    skin_rise_pa: f32,
    absolute_pa: f32,
    per_absolute: f32,
    per_volume: f32,
    per_content: f32,
    /// V0 β, m³/Pa.
    stretch_m3_per_pa: f32,
    /// n ln(1 + ...) is never taken at less than this share of V_i.
    limit_share: f32,
    /// ln((P_a + p_s)/P_i).
    skin_log: f32,
}

/// Most Newton rounds for one pressure.
const PRESSURE_ROUNDS: u8 = 20;

impl Adiabat {
    /// A quick change of `chamber` from `start` with exponent n (1.4 for air).
    ///
    /// Valid: 1 ≤ n ≤ 1.67, and a start that holds gas.
    ///
    /// # Errors
    /// [`InputError::OutOfRange`].
    pub fn new(chamber: &Chamber, start: GasState, exponent: f32) -> Result<Self, InputError> {
        let exponent = within("gas.exponent", exponent, 1.0, 1.67)?;
        within("gas.pressure_pa", start.pressure_pa, 0.0, 50_000.0)?;
        within("gas.content_m3", start.content_m3, 1e-6, 1e6)?;
        within("gas.volume_m3", start.volume_m3, 1e-6, 1e6)?;
        within("gas.slack_m3", start.slack_m3, 0.0, 1e6)?;
        let absolute_pa = chamber.outside_pa + start.pressure_pa;
        let skin_rise_pa = chamber.skin_pa - start.pressure_pa;
        let per_absolute = 1.0 / absolute_pa;
        Ok(Self {
            exponent,
            start,
            skin_rise_pa,
            absolute_pa,
            per_absolute,
            per_volume: 1.0 / start.volume_m3,
            per_content: 1.0 / start.content_m3,
            stretch_m3_per_pa: chamber.volume_m3 * chamber.stretch_per_pa,
            limit_share: -0.999,
            skin_log: libm::log1pf(skin_rise_pa * per_absolute),
        })
    }

    /// The state that the change starts from.
    #[must_use]
    pub const fn start(&self) -> &GasState {
        &self.start
    }

    /// How far the skin's own pressure lies above the start, Pa (0 or below).
    #[must_use]
    pub const fn skin_rise_pa(&self) -> f32 {
        self.skin_rise_pa
    }

    /// How much gas one pascal takes at the start, quickly, m³/Pa.
    #[must_use]
    pub fn content_per_pa_m3(&self) -> f32 {
        let per_pa = self.per_absolute + self.exponent * self.stretch_m3_per_pa * self.per_volume;
        self.start.content_m3 * per_pa / self.exponent
    }

    /// (V(p, x) − V_i)/V_i at a rise of pressure.
    fn share(&self, rise_pa: f32, displaced_m3: f32) -> f32 {
        let change_m3 = self.start.slack_m3 + self.stretch_m3_per_pa * rise_pa - displaced_m3;
        (change_m3 * self.per_volume).max(self.limit_share)
    }

    /// n ln(G/G_i).
    fn content_log(&self, lost_m3: f32) -> f32 {
        self.exponent * libm::log1pf((-lost_m3 * self.per_content).max(self.limit_share))
    }

    /// Above 0 while the bag is slack (the root lies below the skin's own pressure), below 0 while it is taut.
    #[must_use]
    pub fn slack_excess(&self, displaced_m3: f32, lost_m3: f32) -> f32 {
        self.skin_log + self.exponent * libm::log1pf(self.share(self.skin_rise_pa, displaced_m3))
            - self.content_log(lost_m3)
    }

    /// Rise of pressure over the start of a taut bag, Pa, from a near guess; it may lie below the skin's own.
    #[must_use]
    pub fn rise_pa(&self, displaced_m3: f32, lost_m3: f32, guess_pa: f32) -> f32 {
        let goal = self.content_log(lost_m3);
        if self.stretch_m3_per_pa == 0.0 {
            let log_ratio = goal - self.exponent * libm::log1pf(self.share(0.0, displaced_m3));
            return self.absolute_pa * libm::expm1f(log_ratio);
        }
        // Below this rise the skin would enclose nothing.
        let empty = displaced_m3 - self.start.slack_m3 + self.limit_share * self.start.volume_m3;
        let lowest = (empty / self.stretch_m3_per_pa).max(-0.999 * self.absolute_pa);
        let mut rise = guess_pa.max(lowest);
        for _ in 0..PRESSURE_ROUNDS {
            let share = self.share(rise, displaced_m3);
            let compression = rise * self.per_absolute;
            let sum = libm::log1pf(compression) + self.exponent * libm::log1pf(share) - goal;
            let from_pressure = self.per_absolute / (1.0 + compression);
            let from_volume = self.stretch_m3_per_pa * self.per_volume / (1.0 + share);
            let slope = from_pressure + self.exponent * from_volume;
            let bend = (from_pressure * from_pressure + self.exponent * from_volume * from_volume) / slope;
            let step = -sum / slope;
            // A Newton step from far off may leave the domain; it comes back from the left without overshoot.
            let corrected = step * (1.0 + (0.5 * bend * step).clamp(-0.5, 0.5));
            let next = (rise + corrected).max(0.5 * (rise + lowest));
            let moved = next - rise;
            rise = next;
            // What the correction leaves is of third order; below a hundredth of a pascal it is rounding.
            if moved.abs() * (bend * moved) * (bend * moved) < 1e-5 * (1.0 + rise.abs() * 1e-3) {
                break;
            }
        }
        rise
    }

    /// dp/dt of the taut bag, Pa/s: n (A u / V + Ġ/G) / (1/P + n V0 β/V) with A u the swept volume and −Ġ the loss per
    /// second.
    #[must_use]
    pub fn pressure_rate_paps(
        &self,
        rise_pa: f32,
        displaced_m3: f32,
        lost_m3: f32,
        swept_m3ps: f32,
        loss_m3ps: f32,
    ) -> f32 {
        let volume_m3 = self.start.volume_m3 * (1.0 + self.share(rise_pa, displaced_m3));
        let content_m3 = (self.start.content_m3 - lost_m3).max(1e-3 * self.start.content_m3);
        let absolute_pa = self.absolute_pa + rise_pa;
        self.exponent * absolute_pa * (swept_m3ps * content_m3 - loss_m3ps * volume_m3)
            / (content_m3 * (volume_m3 + self.exponent * self.stretch_m3_per_pa * absolute_pa))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chamber(stretch_per_pa: f32) -> Chamber {
        let air = Air::new(0.0, 288.15, None).unwrap();
        Chamber::new(&air, 180.0, 1_500.0, stretch_per_pa, 0.65).unwrap()
    }

    #[test]
    fn content_and_pressure_are_inverse() {
        for stretch_per_pa in [0.0, 3e-5, 2e-4] {
            let chamber = chamber(stretch_per_pa);
            for gauge_pa in [6.4f32, 50.0, 900.0, 1_500.0, 4_000.0, 20_000.0] {
                let state = chamber.at_pressure(gauge_pa);
                let back = chamber.at_content(state.content_m3);
                // 180 m³ in single precision resolve about 0.01 Pa of an unstretching bag.
                assert!((back.pressure_pa - state.pressure_pa).abs() < 0.03, "{stretch_per_pa} {gauge_pa} {back:?}");
            }
        }
    }

    #[test]
    fn a_slack_bag_keeps_the_skins_own_pressure() {
        let chamber = chamber(3e-5);
        let state = chamber.at_content(100.0);
        assert!(!state.is_taut());
        assert_eq!(state.pressure_pa, chamber.skin_pa());
        assert!((state.volume_m3 + state.slack_m3 - chamber.volume_at_m3(chamber.skin_pa())).abs() < 1e-3);
        let empty = chamber.at_content(0.0);
        assert_eq!((empty.volume_m3, empty.content_m3), (0.0, 0.0));
    }

    #[test]
    fn the_quick_law_holds_at_its_root() {
        for stretch_per_pa in [0.0f32, 3e-5, 1e-4] {
            let chamber = chamber(stretch_per_pa);
            let start = chamber.at_pressure(900.0);
            let gas = Adiabat::new(&chamber, start, QUICK_EXPONENT).unwrap();
            for (displaced_m3, lost_m3, guess_pa) in
                [(0.0, 0.0, 0.0), (3.0, 0.4, 0.0), (60.0, 1.0, 0.0), (5.0, 0.1, 30_000.0), (120.0, 30.0, -800.0)]
            {
                let rise = f64::from(gas.rise_pa(displaced_m3, lost_m3, guess_pa));
                let volume =
                    f64::from(start.volume_m3) + 180.0 * f64::from(stretch_per_pa) * rise - f64::from(displaced_m3);
                let left = (102_225.0 + rise) * (volume / f64::from(start.volume_m3)).powf(1.4);
                let right = 102_225.0 * (1.0 - f64::from(lost_m3) / f64::from(start.content_m3)).powf(1.4);
                assert!((left / right - 1.0).abs() < 4e-7, "{stretch_per_pa} {displaced_m3}: {left} {right}");
            }
        }
    }

    #[test]
    fn the_rate_is_the_slope_of_the_law() {
        let chamber = chamber(3e-5);
        let gas = Adiabat::new(&chamber, chamber.at_pressure(1_200.0), QUICK_EXPONENT).unwrap();
        let at = |t: f32| gas.rise_pa(2.0 + 8.0 * t, 0.2 + 3.0 * t, 0.0);
        let slope = (at(0.05) - at(-0.05)) / 0.1;
        let rate = gas.pressure_rate_paps(at(0.0), 2.0, 0.2, 8.0, 3.0);
        assert!((slope / rate - 1.0).abs() < 1e-3, "{slope} {rate}");
    }

    #[test]
    fn chambers_that_cannot_stand_are_refused() {
        let air = Air::new(0.0, 288.15, None).unwrap();
        assert!(Chamber::new(&air, 180.0, 3.0, 3e-5, 0.65).is_err());
        assert!(Chamber::new(&air, 180.0, 8_000.0, 2e-4, 0.65).is_err());
        assert!(Chamber::new(&air, f32::NAN, 800.0, 2e-5, 0.65).is_err());
    }
}
