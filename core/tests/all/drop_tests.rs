//! The touch-down integrator that plans, run as the published drop tests of vented gas bags: a flat load on a bag of
//! constant section that starts at outside pressure, with a weightless skin that does not stretch.
//!
//! Sources:
//! - J. Browning, ARC Current Paper 751 (1963/64), tables 1 and 2, theoretical and measured columns;
//! - E. W. Ross, NATICK/TR-88/021 (1988), closed and fixed vents.

// A measured load of 3.14 g is no circle constant.
#![allow(clippy::approx_constant)]

use crate::checks::{Check, Scale};
use landfall_core::Status;
use landfall_core::air::{Air, DRY_AIR_J_PER_KG_K, STANDARD_GRAVITY_MPS2 as G};
use landfall_core::bag_gas::{Adiabat, Chamber};
use landfall_core::force_area::ForceArea;
use landfall_core::openings::{Discharge, Openings, OpeningsInput};
use landfall_core::supply::{Feed, Flows};
use landfall_core::touchdown::{Landing, LandingInput, Options, Touchdown, TracePoint, touch_down};

/// A bag and a load in the reports' dimensionless numbers.
struct Drop {
    /// a c / (B u0 √γ), with c the speed of sound outside.
    q: f64,
    /// g h0 / u0².
    r: f64,
    /// B p_a / (M g).
    s: f64,
    discharge: Discharge,
    /// Height at which the report stops, over h0.
    end: f64,
}

impl Drop {
    /// Any bag with these numbers will do: one of 1 m height and 1 m² section.
    fn run(&self, mut trace: impl FnMut(TracePoint)) -> (Touchdown, f64) {
        let air = Air::new(0.0, 288.15, None).unwrap();
        let sound = (f64::from(landfall_core::air::GAMMA) * f64::from(DRY_AIR_J_PER_KG_K) * 288.15).sqrt();
        let g = f64::from(G);
        let u0 = (g / self.r).sqrt();
        let vent = self.q * u0 * f64::from(landfall_core::air::GAMMA).sqrt() / sound;
        let mass = f64::from(air.pressure_pa) / (self.s * g);
        let openings =
            OpeningsInput { vent_area_m2: vent as f32, discharge: self.discharge, ..OpeningsInput::default() };
        let openings = Openings::new(openings, &air).unwrap();
        let chamber = Chamber::new(&air, 1.0, 0.0, 0.0, 0.0).unwrap();
        let gas = Adiabat::new(&chamber, chamber.at_pressure(0.0), landfall_core::air::GAMMA).unwrap();
        let landing = Landing::new(LandingInput {
            mass_kg: mass as f32,
            normal_speed_mps: u0 as f32,
            slope_rad: 0.0,
            skin_loss: 0.0,
            area: ForceArea::constant(1.0).unwrap(),
            thickness_m: Some((1.0 - self.end) as f32),
        })
        .unwrap();
        let flows = Flows { openings: &openings, blowers: None, feed: Feed::Running };
        let done = touch_down(&gas, &flows, &landing, &Options::default(), &mut trace);
        assert_ne!(done.status, Status::OutOfSteps);
        (done, u0)
    }
}

/// ARC C.P. 751: N = S (P − 1) − 1 net of weight, σ and T1 where the height is down to 0.15.
fn browning(q: f64, r: f64, s: f64) -> (f64, f64, f64) {
    let drop = Drop { q, r, s, discharge: Discharge::IsentropicRising, end: 0.15 };
    let (done, u0) = drop.run(|_| {});
    let ground = done.ground.unwrap_or_else(|| panic!("{q} {r} {s}: {done:?}"));
    (f64::from(done.felt_load_g) - 1.0, f64::from(ground.speed_mps) / u0, f64::from(ground.time_s) * u0)
}

/// Table rows: name, Q, R, S, N, σ, T1 (theoretical columns).
const BROWNING: [(&str, f64, f64, f64, f64, f64, f64); 23] = [
    ("1-1", 1.38, 0.179, 22.2, 7.53, 0.233, 2.10),
    ("1-2", 1.38, 0.179, 17.8, 6.61, 0.261, 1.67),
    ("1-3", 1.41, 0.189, 14.8, 5.64, 0.308, 1.40),
    ("1-5", 1.41, 0.187, 14.8, 5.71, 0.305, 1.42),
    ("1-6", 1.27, 0.153, 13.3, 5.66, 0.303, 1.30),
    ("1-7", 1.43, 0.195, 13.3, 5.14, 0.341, 1.30),
    ("1-8", 2.06, 0.179, 13.3, 2.94, 0.663, 0.97),
    ("1-9", 2.45, 0.179, 13.3, 1.99, 0.778, 0.92),
    ("1-10", 1.41, 0.234, 13.3, 4.88, 0.302, 1.50),
    ("1-11", 1.23, 0.179, 13.3, 6.46, 0.252, 1.55),
    ("1-12", 1.18, 0.165, 13.3, 7.02, 0.238, 1.55),
    ("1-13", 1.38, 0.179, 14.8, 5.96, 0.298, 1.42),
    ("1-14", 1.38, 0.179, 13.3, 5.61, 0.328, 1.30),
    ("1-16", 1.38, 0.179, 11.1, 5.07, 0.395, 1.15),
    ("1-17", 1.50, 0.213, 8.9, 3.65, 0.521, 1.03),
    ("2-1", 1.40, 0.329, 24.0, 6.02, 0.238, 2.84),
    ("2-2", 1.40, 0.329, 14.5, 4.48, 0.291, 1.96),
    ("2-3", 1.22, 0.251, 14.5, 5.80, 0.241, 2.16),
    ("2-4", 1.40, 0.329, 11.6, 3.93, 0.312, 1.63),
    ("2-5", 1.22, 0.251, 11.6, 5.17, 0.260, 1.75),
    ("2-6", 1.40, 0.329, 10.4, 3.69, 0.325, 1.48),
    ("2-7", 1.22, 0.251, 10.4, 4.90, 0.268, 1.57),
    ("2-8", 1.40, 0.329, 9.6, 3.54, 0.337, 1.39),
];

#[test]
fn all_theoretical_rows_of_arc_cp_751() {
    // The report prints three figures; its own integration was by hand or early machine.
    let mut peak = Check::new("browning_peak", Scale::Relative, 0.01);
    let mut speed = Check::new("browning_speed", Scale::Plain, 0.01);
    let mut time = Check::new("browning_time", Scale::Plain, 0.035);
    for (row, q, r, s, n, sigma, t1) in BROWNING {
        let got = browning(q, r, s);
        // The peak of row 1-6 is a misprint: at 26 ft/s it would lie below the same load's at 24 ft/s (1-14).
        if row != "1-6" {
            peak.note(row, got.0, n);
        }
        speed.note(row, got.1, sigma);
        time.note(row, got.2, t1);
    }
    peak.finish();
    speed.finish();
    time.finish();
}

#[test]
fn measured_rows_of_arc_cp_751_no_worse_than_its_own_theory() {
    // The tests scatter by a third, and theory is usually a little high. The report's own theory is the measure: what is
    // computed here may lie no further from the drops than that does, and the hundredth that the two may differ by. Left
    // out: rows whose orifice was obscured (1-8, 1-9), whose patch is thought not to have burst (2-7, 2-8), and those
    // without a measured peak (1-1, 1-2, 1-7).
    let measured = [
        ("1-3", 5.21),
        ("1-5", 5.86),
        ("1-6", 6.0),
        ("1-10", 3.6),
        ("1-11", 5.1),
        ("1-12", 6.25),
        ("1-13", 5.9),
        ("1-14", 5.8),
        // Drop 1-15 repeats 1-14.
        ("1-14", 5.0),
        ("1-16", 4.2),
        ("1-17", 3.14),
        ("2-1", 5.6),
        ("2-2", 5.3),
        ("2-3", 5.8),
        ("2-4", 3.0),
        ("2-5", 4.1),
        ("2-6", 3.1),
    ];
    let of = |row: &str| *BROWNING.iter().find(|line| line.0 == row).unwrap();
    let theory = measured.iter().map(|&(row, n)| (of(row).4 / n - 1.0).powi(2)).sum::<f64>() / measured.len() as f64;
    let mut check = Check::new("browning_measured", Scale::Scatter, theory.sqrt() + 0.01);
    for (row, n) in measured {
        let (_, q, r, s, ..) = of(row);
        check.note(row, browning(q, r, s).0, n);
    }
    check.finish();
}

#[test]
fn chart_examples_of_arc_cp_751() {
    // Read from charts, so 3 % in peak and 0.03 in speed ratio: S, Q, R, N, σ.
    let examples = [
        (10.0, 0.93, 0.118, 10.0, Some(0.2)),
        (10.0, 0.887, 0.1288, 10.0, None),
        // A heavy load: the flow is choked at the peak.
        (3.75, 0.604, 0.188, 10.0, None),
        (10.0, 1.02, 0.1024, 10.0, Some(0.4)),
        (10.0, 0.98, 0.1098, 10.0, Some(0.3)),
        (8.13, 0.82, 0.100, 13.0, Some(0.285)),
        (1.86, 0.31, 0.283, 11.0, Some(0.208)),
        (3.75, 0.58, 0.178, 11.0, Some(0.208)),
        (6.0, 0.74, 0.137, 11.0, Some(0.208)),
        (10.0, 0.91, 0.109, 11.0, Some(0.208)),
        (15.0, 1.04, 0.104, 11.0, Some(0.208)),
        (30.0, 1.36, 0.117, 11.0, Some(0.208)),
    ];
    for (s, q, r, n, sigma) in examples {
        let got = browning(q, r, s);
        assert!((got.0 / n - 1.0).abs() <= 0.03, "S {s} Q {q}: {} for {n}", got.0);
        if let Some(sigma) = sigma {
            assert!((got.1 - sigma).abs() <= 0.03, "S {s} Q {q}: {} for {sigma}", got.1);
        }
    }
}

/// Weight ratio p_a A_B/W and gravity ratio g H/V0² as the report prints them.
const ALPHA1: f64 = 21.17;
const ALPHA2: f64 = 0.1073;

/// NATICK/TR-88/021's example: H 3 ft, 30 ft/s, 10 ft², 1000 lb, p_a 2117 lbf/ft², ρ 0.002 slug/ft³; C_v 1.
///
/// `phi` is vent over section. α1 = S, α2 = g H/V0² = R.
fn ross(phi: f64, end: f64, trace: impl FnMut(TracePoint)) -> (Touchdown, f64) {
    let (alpha1, alpha2) = (ALPHA1, ALPHA2);
    // Q = φ √(p_a/ρ)/V0; the report's α3 = 7 p_a/(ρ V0²) = 8233 says the same.
    let q = phi * (2117.0f64 / 0.002).sqrt() / 30.0;
    Drop { q, r: alpha2, s: alpha1, discharge: Discharge::Isentropic { coefficient: 1.0 }, end }.run(trace)
}

#[test]
fn the_closed_vent_of_natick_tr_88_021_is_exact() {
    let (done, _) = ross(0.0, 0.05, |_| {});
    // Root of 1 + 2α2 (1 + α1)(1 − x) + (2α1α2/(γ − 1))(1 − x^(1−γ)), and the load that goes with it; the load is α1 P
    // less α1 and the weight: 28.294 = α1 (P − 1) − 1 at P = 2.38375.
    let mut check = Check::new("ross_closed", Scale::Relative, 1e-4);
    let height = f64::from(1.0 - done.depth_m);
    assert!((height - 0.537_685).abs() < 1e-5, "{done:?}");
    check.note("height", height, 0.537_685);
    check.note("peak", f64::from(done.felt_load_g) - 1.0, 28.294);
    let ratio = 1.0 + f64::from(done.peak_pressure_pa) / 101_325.0;
    assert!((ratio / 2.383_75 - 1.0).abs() < 1e-5, "{ratio}");
    check.note("pressure ratio", ratio, 2.383_75);
    check.finish();
    // Nothing is lost on the way back, so it leaves as it came.
    let u0 = (f64::from(G) / ALPHA2).sqrt();
    assert!((f64::from(done.rebound_mps.unwrap()) / u0 - 1.0).abs() < 1e-4, "{done:?}");
}

#[test]
fn fixed_vents_of_natick_tr_88_021() {
    // Vent share 0.019: all but pauses at height 0.36, ends at T = 4.1 with speed 0.18; peak about 14 g.
    let mut slowest = (f32::INFINITY, 0.0);
    let (done, u0) = ross(0.019, 0.0, |point| {
        if point.speed_mps < slowest.0 {
            slowest = (point.speed_mps, 1.0 - f64::from(point.depth_m));
        }
    });
    let ground = done.ground.unwrap();
    println!("slowest {slowest:?}, {done:?}, u0 {u0}");
    assert!(f64::from(slowest.0) < 0.05 * u0 && (slowest.1 - 0.36).abs() < 0.01, "{slowest:?}");
    let mut check = Check::new("ross_vents", Scale::Relative, 0.02);
    check.note("0.019 time", f64::from(ground.time_s) * u0, 4.1);
    check.note("0.019 speed", f64::from(ground.speed_mps) / u0, 0.18);
    assert!((f64::from(done.felt_load_g) - 1.0 - 14.0).abs() < 0.05 * 14.0, "{}", done.felt_load_g);
    // 0.025: T = 2.17 and speed 0.25 at the end (its peak is given too loosely to check).
    let (done, u0) = ross(0.025, 0.0, |_| {});
    let ground = done.ground.unwrap();
    check.note("0.025 time", f64::from(ground.time_s) * u0, 2.17);
    check.note("0.025 speed", f64::from(ground.speed_mps) / u0, 0.25);
    check.finish();
    // 0.015: peak about 16 g.
    let (done, _) = ross(0.015, 0.0, |_| {});
    assert!((f64::from(done.felt_load_g) - 1.0 - 16.0).abs() < 0.05 * 16.0, "{}", done.felt_load_g);
}

#[test]
fn no_bag_does_better_than_constant_deceleration() {
    // NATICK/TR-88/021: the ideal is V0²/(2 g H) = 1/(2α2) = 4.660 g.
    let ideal = 1.0 / (2.0 * ALPHA2);
    assert!((ideal - 4.660f64).abs() < 1e-3);
    for phi in [0.0, 0.015, 0.019, 0.022] {
        let (done, _) = ross(phi, 0.0, |_| {});
        assert!(f64::from(done.felt_load_g) - 1.0 > ideal, "{phi}");
    }
}

#[test]
fn the_trace_is_the_same_landing() {
    let mut last = None;
    let mut points = 0;
    let mut peak_g = 0.0f32;
    let (done, _) = ross(0.019, 0.15, |point| {
        assert!(last.is_none_or(|before: TracePoint| point.time_s > before.time_s));
        peak_g = peak_g.max(point.load_g);
        points += 1;
        last = Some(point);
    });
    let last = last.unwrap();
    assert_eq!((last.time_s, last.depth_m), (done.end_s, last.depth_m));
    assert!(points > 5 && peak_g <= done.felt_load_g * 1.000_1, "{points} {peak_g} {done:?}");
}
