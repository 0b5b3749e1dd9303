//! Lamps and siren as functions of state and time.
//!
//! | state | lamps | siren |
//! | --- | --- | --- |
//! | check, and trial on request | red, amber, green, 0.5 s each, then siren for 0.5 s | in the trial |
//! | fill | amber steady; with a stop left to be acknowledged red as well | off |
//! | ride | green steady; with a slow leak also amber at 0.5 Hz | off |
//! | wait | amber at 0.5 Hz | off |
//! | stop | red at 2 Hz | evacuation pattern |
//! | fault | red at 2 Hz and amber steady | evacuation pattern |
//! | ended | red steady | off |
//!
//! Colours: red danger, yellow (amber) abnormal, green normal (IEC 60073, from memory). Rates: danger 1.4 to 2.8 Hz,
//! abnormal 0.4 to 0.8 Hz (IEC 60073:2002 as quoted in IEEE P1621 draft, section 4.4), on for 20 to 60 % of the
//! time (IEC 60601-1-8). Siren: three pulses of 0.5 s on, 0.5 s off, then a pause that makes the third off phase
//! 1.5 s, 4.0 s in all (ISO 8201 evacuation signal, as quoted in Canadian code text; tolerances ± 0.05 s and
//! ± 0.15 s). It was chosen over the medical burst of IEC 60601-1-8 because it tells everybody in earshot to clear the
//! place, with no need to know the equipment. Both patterns start on: the first pulse comes with the state.

use super::event::{Reason, State};

/// What the outputs carry, now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pins {
    /// Red lamp.
    pub red: bool,
    /// Amber lamp.
    pub amber: bool,
    /// Green lamp.
    pub green: bool,
    /// Siren.
    pub siren: bool,
    /// Permit, energised only while riding may go on.
    pub permit: bool,
}

/// Period of the red flash: 2 Hz, half on.
pub const RED_PERIOD_MS: u32 = 500;
/// Period of the amber flash: 0.5 Hz, half on.
pub const AMBER_PERIOD_MS: u32 = 2000;
/// Period of the evacuation signal.
pub const SIREN_PERIOD_MS: u32 = 4000;
/// Length of the trial: three lamps and the siren, 0.5 s each, and 0.5 s of dark.
pub const TRIAL_MS: u32 = 2500;

/// First half of each period.
pub(crate) fn flash(elapsed_ms: u32, period_ms: u32) -> bool {
    elapsed_ms % period_ms.max(1) < period_ms / 2
}

/// The evacuation signal at `elapsed_ms` after its start.
#[must_use]
pub fn siren_on(elapsed_ms: u32) -> bool {
    let phase_ms = elapsed_ms % SIREN_PERIOD_MS;
    phase_ms < 3000 && phase_ms % 1000 < 500
}

/// Lamps and siren of the trial, `elapsed_ms` after its start.
#[must_use]
pub fn trial(elapsed_ms: u32) -> Pins {
    Pins {
        red: elapsed_ms < 500,
        amber: (500..1000).contains(&elapsed_ms),
        green: (1000..1500).contains(&elapsed_ms),
        siren: (1500..2000).contains(&elapsed_ms),
        permit: false,
    }
}

/// All outputs in `state`, `elapsed_ms` after it was entered.
#[must_use]
pub fn pins(state: State, reason: Reason, elapsed_ms: u32) -> Pins {
    let dark = Pins::default();
    match state {
        State::Check => trial(elapsed_ms),
        State::Fill => Pins { amber: true, red: reason == Reason::Unacknowledged, ..dark },
        State::Ride => Pins {
            green: true,
            amber: reason == Reason::SlowLeak && flash(elapsed_ms, AMBER_PERIOD_MS),
            permit: true,
            ..dark
        },
        State::Wait => Pins { amber: flash(elapsed_ms, AMBER_PERIOD_MS), ..dark },
        State::Stop => Pins { red: flash(elapsed_ms, RED_PERIOD_MS), siren: siren_on(elapsed_ms), ..dark },
        State::Fault => {
            Pins { red: flash(elapsed_ms, RED_PERIOD_MS), amber: true, siren: siren_on(elapsed_ms), ..dark }
        }
        State::Ended => Pins { red: true, ..dark },
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    /// On and off times of a pattern over a minute, ms, sampled each millisecond.
    fn phases(on: impl Fn(u32) -> bool) -> Vec<(bool, u32)> {
        let mut out: Vec<(bool, u32)> = Vec::new();
        for t in 0..60_000 {
            match out.last_mut() {
                Some((level, length)) if *level == on(t) => *length += 1,
                _ => out.push((on(t), 1)),
            }
        }
        out.pop();
        out
    }

    /// Rate and duty within the bounds of IEC 60073 and IEC 60601-1-8.
    fn within_bounds(on: impl Fn(u32) -> bool, low_hz: f64, high_hz: f64) {
        let p = phases(on);
        assert!(p[0].0, "starts on");
        for pair in p.chunks_exact(2) {
            let (on_ms, off_ms) = (f64::from(pair[0].1), f64::from(pair[1].1));
            let rate_hz = 1000.0 / (on_ms + off_ms);
            assert!((low_hz..=high_hz).contains(&rate_hz), "{rate_hz} Hz");
            assert!((0.2..=0.6).contains(&(on_ms / (on_ms + off_ms))));
        }
    }

    #[test]
    fn flash_rates_and_duties_of_iec_60073_and_60601_1_8() {
        for state in [State::Stop, State::Fault] {
            within_bounds(|t| pins(state, Reason::AirLost, t).red, 1.4, 2.8);
        }
        within_bounds(|t| pins(State::Wait, Reason::LowAir, t).amber, 0.4, 0.8);
        within_bounds(|t| pins(State::Ride, Reason::SlowLeak, t).amber, 0.4, 0.8);
    }

    #[test]
    fn siren_is_the_iso_8201_pattern() {
        // Published: 3 × (0.5 ± 0.05 s on, 0.5 ± 0.05 s off), the third off 1.5 ± 0.15 s.
        let p = phases(siren_on);
        for cycle in p.chunks_exact(6) {
            for (i, (level, ms)) in cycle.iter().enumerate() {
                assert_eq!(*level, i % 2 == 0);
                let (mid, tol) = if i == 5 { (1500, 150) } else { (500, 50) };
                assert!(ms.abs_diff(mid) <= tol, "phase {i}: {ms} ms");
            }
        }
        assert!(siren_on(0));
    }

    #[test]
    fn permit_is_carried_in_ride_only_and_green_means_it() {
        for state in State::ALL {
            for t in 0..5000 {
                let p = pins(state, Reason::Normal, t);
                assert_eq!(p.permit, state == State::Ride);
                if state != State::Check {
                    assert_eq!(p.green, state == State::Ride);
                    assert!(!p.siren || matches!(state, State::Stop | State::Fault));
                }
            }
        }
    }

    #[test]
    fn trial_shows_each_lamp_and_the_siren_alone_and_ends_dark() {
        let lit = |t| {
            let p = trial(t);
            (p.red, p.amber, p.green, p.siren)
        };
        assert_eq!(lit(0), (true, false, false, false));
        assert_eq!(lit(700), (false, true, false, false));
        assert_eq!(lit(1499), (false, false, true, false));
        assert_eq!(lit(1500), (false, false, false, true));
        assert_eq!(lit(TRIAL_MS - 1), (false, false, false, false));
    }
}
