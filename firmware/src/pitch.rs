//! The pitch of a buzzer that has none of its own.
//!
//! Each pulse of the alarm rises from 600 Hz to 2400 Hz, evenly to the ear: two octaves in half a second, within the 500 to
//! 2500 Hz that a siren should have. Nobody hears a thousandth of pitch, and nothing is decided by it, so the power is
//! `micromath`'s and not `libm`'s. Figures are in the README.

use micromath::F32Ext;

/// Where a pulse begins, Hz.
pub const LOWEST_HZ: f32 = 600.0;
/// Octaves in a pulse.
const OCTAVES: f32 = 2.0;
/// Length of a pulse, ms.
const PULSE_MS: u32 = 500;

/// Pitch `elapsed_ms` after the sound began.
#[must_use]
pub fn pitch_hz(elapsed_ms: u32) -> u16 {
    let share = (elapsed_ms % PULSE_MS) as f32 * (1.0 / PULSE_MS as f32);
    (LOWEST_HZ * power_of_two(OCTAVES * share)) as u16
}

/// 2 to the `x`, roughly.
fn power_of_two(x: f32) -> f32 {
    // By its full name: where the standard library is linked, `.exp()` would be that one's.
    F32Ext::exp(core::f32::consts::LN_2 * x)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pulse_rises_from_600_to_2400_hz_and_begins_anew() {
        assert_eq!(pitch_hz(0), 600);
        assert!((1199..=1201).contains(&pitch_hz(250)) && (2390..=2400).contains(&pitch_hz(499)));
        assert!((1..500).all(|ms| pitch_hz(ms) >= pitch_hz(ms - 1)));
        assert_eq!(pitch_hz(1500), 600);
        assert!((500..=2500).contains(&pitch_hz(u32::MAX)));
    }

    #[test]
    fn within_a_thousandth_of_the_true_power() {
        let mut worst = 0.0_f32;
        for step in 0..=20_000 {
            let x = 2.0 * step as f32 / 20_000.0;
            worst = worst.max((power_of_two(x) / libm::exp2f(x) - 1.0).abs());
        }
        // Seen: 0.075 %, an eightieth of a semitone.
        assert!(worst < 0.001, "{worst}");
        assert!(worst > 1e-5, "this is the exact one: {worst}");
    }
}
