//! Against conversions from outside: NIST SP 811 (2008) appendix B.8 (1 ft = 0.3048 m, 1 lb = 0.453 592 37 kg, 1 mile an
//! hour = 0.447 04 m/s, 1 conventional inH2O = 249.0889 Pa, 1 mmH2O = 9.806 65 Pa, 1 psi = 6894.757 Pa, 1 ft³/min =
//! 4.719 474e-4 m³/s), worked out by hand.

use super::*;

const METRIC: Shown = Shown::new(Units::Metric, Gauge::KPa);
const IMPERIAL: Shown = Shown::new(Units::Imperial, Gauge::InH2O);
use Toward::{Down, Nearest, Up};

fn gauge(gauge: Gauge) -> Shown {
    Shown::new(Units::Metric, gauge)
}

#[test]
fn lengths_in_metres() {
    for (m, toward, words) in [
        (4.4, Nearest, "4.40 m"),
        (4.404, Up, "4.41 m"),
        (4.404, Down, "4.40 m"),
        (4.406, Down, "4.40 m"),
        (-0.3, Nearest, "-0.30 m"),
        (-0.304, Up, "-0.30 m"),
        (-0.304, Down, "-0.31 m"),
        (0.0, Nearest, "0.00 m"),
        (-0.001, Nearest, "0.00 m"),
        (1234.5, Nearest, "1234.50 m"),
        (12_345.678, Nearest, "12,345.68 m"),
    ] {
        assert_eq!(METRIC.length(m, toward), words, "{m} {toward:?}");
    }
    assert_eq!(METRIC.about(3.649, Nearest), "3.6 m");
    assert_eq!(METRIC.about(15.01, Up), "15.1 m");
    assert_eq!(METRIC.cut(2.4384, Nearest), "2438 mm");
    assert_eq!(METRIC.cut(2.4384, Up), "2439 mm");
    assert_eq!(METRIC.cut(-0.0002, Nearest), "0 mm");
    assert_eq!(METRIC.small(0.26, Nearest), "26 cm");
}

/// 1 in = 25.4 mm: 2.44 m are 96.063 in, 8 ft and a sixteenth (96.0625 in = 2.43999 m).
#[test]
fn lengths_in_feet_and_inches() {
    for (m, toward, words) in [
        (2.4384, Nearest, "8 ft"),
        (2.44, Nearest, "8 ft 1/16 in"),
        (2.5908, Nearest, "8 ft 6 in"),
        (2.59715, Nearest, "8 ft 6 1/4 in"),
        (2.6, Nearest, "8 ft 6 3/8 in"),
        (2.6, Down, "8 ft 6 5/16 in"),
        (2.6, Up, "8 ft 6 3/8 in"),
        (0.0254, Nearest, "1 in"),
        (0.0127, Nearest, "1/2 in"),
        (0.0111125, Nearest, "7/16 in"),
        (0.3048, Nearest, "1 ft"),
        (0.3047, Nearest, "1 ft"),
        (0.3047, Down, "11 15/16 in"),
        (0.0, Nearest, "0 in"),
        (0.0002, Down, "0 in"),
        (0.0002, Up, "1/16 in"),
        (-2.5908, Nearest, "-8 ft 6 in"),
        (6.0, Nearest, "19 ft 8 1/4 in"),
        (6.0, Down, "19 ft 8 3/16 in"),
    ] {
        assert_eq!(IMPERIAL.length(m, toward), words, "{m} {toward:?}");
    }
    // 3.6 m = 141.73 in = 11 ft 9.73 in.
    assert_eq!(IMPERIAL.about(3.6, Nearest), "11 ft 10 in");
    assert_eq!(IMPERIAL.about(3.6, Down), "11 ft 9 in");
    assert_eq!(IMPERIAL.about(0.3, Nearest), "1 ft");
    assert_eq!(IMPERIAL.cut(2.4384, Nearest), "8 ft");
    // 26 cm = 10.236 in = 10 in and 3.78 sixteenths.
    assert_eq!(IMPERIAL.small(0.26, Nearest), "10 1/4 in");
    assert_eq!(IMPERIAL.small(0.4, Nearest), "15 3/4 in");
}

/// What comes out of single precision is not a new mark.
#[test]
fn single_precision_does_not_move_a_mark() {
    for i in 0..800u16 {
        let m = f64::from(i) * 0.05;
        let single = f64::from(m as f32);
        for toward in [Nearest, Up, Down] {
            assert_eq!(METRIC.length(single, toward), format!("{m:.2} m"), "{single}");
        }
    }
    for tens in 0..300u16 {
        let pa = f64::from(f32::from(tens) * 10.0 * 1.000_000_1);
        assert_eq!(gauge(Gauge::Pa).pressure(pa, Up), gauge(Gauge::Pa).pressure(pa, Down));
    }
}

#[test]
fn speeds_masses_and_forces() {
    // 10.6 m/s = 38.16 km/h = 23.71 mph; 17.87 km/h is not 18 where it is a limit.
    assert_eq!(METRIC.speed(10.6, Nearest), "38 km/h");
    assert_eq!(IMPERIAL.speed(10.6, Nearest), "24 mph");
    assert_eq!(IMPERIAL.speed(10.6, Down), "23 mph");
    assert_eq!(METRIC.speed(17.87 / 3.6, Down), "17 km/h");
    assert_eq!(METRIC.fine_speed(17.87 / 3.6, Down), "17.8 km/h");
    // 38 km/h = 23.612 mph.
    assert_eq!(IMPERIAL.fine_speed(38.0 / 3.6, Nearest), "23.6 mph");
    // 78 kg = 171.96 lb; 62 kg = 136.69 lb.
    assert_eq!(METRIC.mass(78.0, Nearest), "78 kg");
    assert_eq!(IMPERIAL.mass(78.0, Nearest), "172 lb");
    assert_eq!(IMPERIAL.mass(78.0, Down), "171 lb");
    assert_eq!(IMPERIAL.mass(62.0, Up), "137 lb");
    // 1600 N = 359.69 lbf.
    assert_eq!(METRIC.force(1604.0, Nearest), "1600 N");
    assert_eq!(METRIC.force(16_040.0, Nearest), "16,040 N");
    assert_eq!(IMPERIAL.force(1600.0, Nearest), "360 lbf");
    // 16 °C = 60.8 °F.
    assert_eq!(METRIC.temperature(289.15, Nearest), "16 °C");
    assert_eq!(IMPERIAL.temperature(289.15, Nearest), "61 °F");
}

#[test]
fn areas_volumes_and_flows() {
    // 300 cm² = 46.5 in²; 1 m² = 10.764 ft².
    assert_eq!(METRIC.area(0.03, Nearest), "300 cm²");
    assert_eq!(METRIC.area(2.5, Nearest), "2.50 m²");
    assert_eq!(IMPERIAL.area(0.03, Nearest), "47 in²");
    assert_eq!(IMPERIAL.area(0.03, Down), "46 in²");
    assert_eq!(IMPERIAL.area(1.0, Nearest), "10.8 ft²");
    // 176 m³ = 6215.4 ft³.
    assert_eq!(METRIC.volume(176.2, Nearest), "176 m³");
    assert_eq!(METRIC.volume(1.25, Up), "1.3 m³");
    assert_eq!(IMPERIAL.volume(176.0, Nearest), "6220 ft³");
    // 1.9 m³/s = 4025.9 cfm; 0.02 m³/s = 42.4 cfm.
    assert_eq!(METRIC.flow(1.9, Nearest), "1.90 m³/s");
    assert_eq!(METRIC.flow(0.0123, Nearest), "0.012 m³/s");
    assert_eq!(IMPERIAL.flow(1.9, Nearest), "4030 cfm");
    assert_eq!(IMPERIAL.flow(0.02, Nearest), "42 cfm");
}

/// 481 Pa are 4.81 mbar, 1.9310 inH2O, 49.048 mmH2O, 0.069763 psi.
#[test]
fn pressures_in_the_digits_of_each_gauge() {
    for (unit, near, up, down) in [
        (Gauge::Pa, "480 Pa", "490 Pa", "480 Pa"),
        (Gauge::KPa, "0.48 kPa", "0.49 kPa", "0.48 kPa"),
        (Gauge::MBar, "4.8 mbar", "4.9 mbar", "4.8 mbar"),
        (Gauge::InH2O, "1.95 inH2O", "1.95 inH2O", "1.90 inH2O"),
        (Gauge::MmH2O, "49 mmH2O", "50 mmH2O", "49 mmH2O"),
        (Gauge::Psi, "0.070 psi", "0.070 psi", "0.068 psi"),
    ] {
        let here = gauge(unit);
        assert_eq!(here.pressure(481.0, Nearest), near);
        assert_eq!(here.pressure(481.0, Up), up);
        assert_eq!(here.pressure(481.0, Down), down);
    }
    assert_eq!(gauge(Gauge::Pa).pressure(5136.0, Nearest), "5140 Pa");
    assert_eq!(gauge(Gauge::KPa).pressure(-3.0, Nearest), "0.00 kPa");
}

/// What is shown as a limit lies on its careful side, by less than one step.
#[test]
fn a_rounded_limit_lies_on_its_careful_side() {
    for unit in Gauge::ALL {
        let here = gauge(*unit);
        for i in 1..2000u16 {
            let pa = f64::from(i) * 1.37;
            let (up, down) = (here.rounded_pressure_pa(pa, Up), here.rounded_pressure_pa(pa, Down));
            // A thousandth of the coarsest step, 14 Pa.
            let dust = 0.014;
            assert!(up >= pa - dust && down <= pa + dust, "{unit:?} {pa}: {down} to {up}");
            assert!(up - pa < 14.0 && pa - down < 14.0, "{unit:?} {pa}: {down} to {up}");
            assert_eq!(here.pressure(up, Nearest), here.pressure(pa, Up));
            assert_eq!(here.pressure(up, Up), here.pressure(pa, Up), "rounding twice moves it");
            assert_eq!(here.pressure(down, Down), here.pressure(pa, Down), "rounding twice moves it");
        }
    }
}

/// What is shown can be typed into a site file, and is the same within half a step.
#[test]
fn what_is_shown_can_be_typed() {
    use crate::site::parse_quantity;
    for here in [METRIC, IMPERIAL] {
        for i in 1..3000u16 {
            let si = f64::from(i) * 0.0137;
            for (dimension, half) in [
                (Dimension::Length, 0.005),
                (Dimension::Speed, 0.2236),
                (Dimension::Mass, 0.5),
                (Dimension::Area, 0.005),
                (Dimension::Volume, 0.5),
                (Dimension::Flow, 0.005),
            ] {
                let words = here.quantity(dimension, si, Nearest).replace(',', "");
                let read = parse_quantity(&words, dimension).unwrap_or_else(|error| panic!("{words}: {error}"));
                assert!((read.si - si).abs() <= half * 1.001, "{words} is {} and not {si}", read.si);
            }
        }
    }
}

#[test]
fn columns_have_one_unit_each() {
    for dimension in Dimension::ALL {
        for here in [METRIC, IMPERIAL] {
            let unit = here.unit(dimension);
            assert!(UNITS.iter().any(|u| u.dimension == dimension && u.name == unit), "{dimension:?} {unit}");
        }
    }
    assert_eq!(IMPERIAL.unit(Dimension::Length), "ft");
    assert!((IMPERIAL.value(Dimension::Length, 2.4384) - 8.0).abs() < 1e-12);
    assert!((IMPERIAL.value(Dimension::Pressure, 249.088_91) - 1.0).abs() < 1e-12);
    assert!((METRIC.value(Dimension::Speed, 10.0) - 36.0).abs() < 1e-12);
}

#[test]
fn what_is_no_number_is_a_dash() {
    for here in [METRIC, IMPERIAL] {
        for dimension in [Dimension::Length, Dimension::Mass, Dimension::Pressure] {
            assert!(here.quantity(dimension, f64::NAN, Up).starts_with('–'));
            assert!(here.quantity(dimension, f64::INFINITY, Nearest).starts_with('–'));
        }
    }
}
