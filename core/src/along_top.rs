//! What is left of the speed along the top after a landing, and how far it carries.

use crate::air::STANDARD_GRAVITY_MPS2;
use crate::error::{InputError, within};

/// Length of a body, added to the run-out, m (*assumed*).
pub const BODY_M: f32 = 1.0;

/// A landing, as far as the way along the top needs it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AlongTopInput {
    /// Speed into the top at contact, m/s.
    pub normal_mps: f32,
    /// Speed along the top at contact, m/s.
    pub along_mps: f32,
    /// Slope of the top, the back higher positive, rad.
    pub slope_rad: f32,
    /// Time from contact to the deepest point, s.
    pub time_to_deepest_s: f32,
    /// Speed at which the body leaves the bag, m/s.
    pub rebound_mps: f32,
    /// Friction along the top (*assumed* 0.4).
    pub friction: f32,
    /// Rolling resistance, for riding out over the back edge.
    pub rolling_resistance: f32,
    /// Length of the bag, horizontal, m.
    pub length_m: f32,
    /// Where it lands, from the front edge, m.
    pub at_m: f32,
}

/// Where a landing goes on to.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct AlongTop {
    /// Speed along the top that is left at the deepest point, m/s.
    pub left_mps: f32,
    /// Room wanted behind the farthest landing, m; none on a top that slopes down in the direction of travel.
    pub run_out_m: Option<f32>,
    /// Speed of riding out at the back edge of a top that slopes down, m/s; none on others.
    pub ride_out_mps: Option<f32>,
}

/// The way along the top: friction takes μ (v_n + g cos φ t_d), the impulse over the mass, of the speed along the top while the body
/// goes down; what is left, v_s, carries it v_s²/(2 μ g) sliding and 2 v_s v_r/g in the hop, and a body needs 1 m.
///
/// On a top that slopes down in the direction of travel a bike rolls: v² = v_t² + 2 g (−sin φ − Crr cos φ) L at the back
/// edge, at least 0.
///
/// Valid: friction 0.05 to 2.
///
/// # Errors
/// [`InputError::OutOfRange`].
pub fn along_top(input: &AlongTopInput) -> Result<AlongTop, InputError> {
    let friction = within("bag.skin_friction", input.friction, 0.05, 2.0)?;
    let g = STANDARD_GRAVITY_MPS2;
    let (sin, cos) = (libm::sinf(input.slope_rad), libm::cosf(input.slope_rad));
    let impulse_mps = input.normal_mps + g * cos * input.time_to_deepest_s;
    let left_mps = (input.along_mps - friction * impulse_mps).max(0.0);
    if input.slope_rad < 0.0 {
        let way_m = (input.length_m - input.at_m) / cos;
        let square = input.along_mps * input.along_mps + 2.0 * g * (-sin - input.rolling_resistance * cos) * way_m;
        return Ok(AlongTop { left_mps, run_out_m: None, ride_out_mps: Some(libm::sqrtf(square.max(0.0))) });
    }
    let run_out_m = left_mps * left_mps / (2.0 * friction * g) + 2.0 * left_mps * input.rebound_mps / g + BODY_M;
    Ok(AlongTop { left_mps, run_out_m: Some(run_out_m), ride_out_mps: None })
}

#[cfg(test)]
mod tests {
    use super::*;

    const INPUT: AlongTopInput = AlongTopInput {
        normal_mps: 6.0,
        along_mps: 7.0,
        slope_rad: 0.0,
        time_to_deepest_s: 0.25,
        rebound_mps: 2.0,
        friction: 0.4,
        rolling_resistance: 0.02,
        length_m: 14.0,
        at_m: 6.0,
    };

    #[test]
    fn a_level_top_by_hand() {
        // 7 − 0.4 (6 + 9.80665 · 0.25) = 3.619335; 3.619335²/(0.8 · 9.80665) + 4 · 3.619335/9.80665 + 1.
        let done = along_top(&INPUT).unwrap();
        assert!((done.left_mps - 3.619_335).abs() < 1e-5);
        assert!((done.run_out_m.unwrap() - 4.146).abs() < 1e-3, "{done:?}");
        assert_eq!(done.ride_out_mps, None);
    }

    #[test]
    fn no_speed_left_needs_a_body_and_a_sloping_top_is_ridden_out() {
        let steep = AlongTopInput { along_mps: 2.0, ..INPUT };
        assert_eq!(along_top(&steep).unwrap().run_out_m, Some(BODY_M));
        // 20° down: v² = 49 + 2 g (sin 20° − 0.02 cos 20°) 8/cos 20°.
        let slope_rad = -20.0_f32.to_radians();
        let done = along_top(&AlongTopInput { slope_rad, ..INPUT }).unwrap();
        let square = 49.0 + 2.0 * 9.806_65 * (0.342_020_14 - 0.02 * 0.939_692_6) * 8.0 / 0.939_692_6;
        assert!((done.ride_out_mps.unwrap() - f32::sqrt(square)).abs() < 1e-4, "{done:?}");
        assert_eq!(done.run_out_m, None);
        let stuck = AlongTopInput { slope_rad: -0.001, along_mps: 0.1, rolling_resistance: 0.5, ..INPUT };
        assert_eq!(along_top(&stuck).unwrap().ride_out_mps, Some(0.0));
        assert!(along_top(&AlongTopInput { friction: 0.0, ..INPUT }).is_err());
    }
}
