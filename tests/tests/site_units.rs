//! Units of the site file against the factors of NIST Special Publication 811 (2008), appendix B.8, as printed there:
//! seven digits, so that half a unit of the last one (at most 5e-7 relative) is the tolerance.

#![allow(clippy::panic)] // helpers of tests
use landfall_plan::site::{Dimension, QuantityError, UNITS, parse_quantity};

/// Printed factors have seven significant digits.
const PRINTED: f64 = 5.1e-7;

fn si(text: &str, dimension: Dimension) -> f64 {
    parse_quantity(text, dimension).unwrap_or_else(|error| panic!("{text:?}: {error}")).si
}

#[test]
fn factors_are_those_of_sp_811() {
    use Dimension as D;
    let printed = [
        ("1 ft", D::Length, 3.048e-1),
        ("1 in", D::Length, 2.54e-2),
        ("1 yd", D::Length, 9.144e-1),
        ("1 ft2", D::Area, 9.290_304e-2),
        ("1 in2", D::Area, 6.4516e-4),
        ("1 ft3", D::Volume, 2.831_685e-2),
        ("1 L", D::Volume, 1e-3),
        ("1 cfm", D::Flow, 4.719_474e-4),
        ("1 mph", D::Speed, 4.4704e-1),
        ("1 km/h", D::Speed, 2.777_778e-1),
        ("1 kn", D::Speed, 5.144_444e-1),
        ("1 ft/s", D::Speed, 3.048e-1),
        ("1 lb", D::Mass, 4.535_924e-1),
        ("1 lbf", D::Force, 4.448_222),
        ("1 kgf", D::Force, 9.806_65),
        ("1 deg", D::Angle, 1.745_329e-2),
        ("1 psi", D::Pressure, 6.894_757e3),
        ("1 inH2O", D::Pressure, 2.490_889e2),
        ("1 mmH2O", D::Pressure, 9.806_65),
        ("1 cmH2O", D::Pressure, 9.806_65e1),
        ("1 mmHg", D::Pressure, 1.333_224e2),
        ("1 inHg", D::Pressure, 3.386_389e3),
        ("1 mbar", D::Pressure, 1e2),
        ("1 bar", D::Pressure, 1e5),
        ("1 min", D::Time, 60.0),
        ("1 lb/ft2", D::AreaMass, 4.882_428),
        ("1 oz/yd2", D::AreaMass, 3.390_575e-2),
    ];
    for (text, dimension, factor) in printed {
        let got = si(text, dimension);
        assert!((got / factor - 1.0).abs() < PRINTED, "{text} is {got}, printed {factor}");
    }
    // The conventional inch of water with all its digits.
    assert_eq!(si("1 inH2O", Dimension::Pressure), 249.088_91);
}

/// Prefixes are exact by the definition of the SI.
#[test]
fn prefixes_and_derived_units_are_exact() {
    use Dimension as D;
    let exact = [
        ("1 cm", D::Length, 0.01),
        ("1 mm", D::Length, 0.001),
        ("1 km", D::Length, 1000.0),
        ("1 cm2", D::Area, 1e-4),
        ("1 mm2", D::Area, 1e-6),
        ("3600 m3/h", D::Flow, 1.0),
        ("60 m3/min", D::Flow, 1.0),
        ("1000 L/s", D::Flow, 1.0),
        ("60000 L/min", D::Flow, 1.0),
        ("1 kN", D::Force, 1000.0),
        ("1 hPa", D::Pressure, 100.0),
        ("1 kPa", D::Pressure, 1000.0),
        ("1 g", D::Mass, 1e-3),
        ("1 ms", D::Time, 1e-3),
        ("1 /kPa", D::Compliance, 1e-3),
        ("1 /hPa", D::Compliance, 1e-2),
        ("3e-5 /Pa", D::Compliance, 3e-5),
        ("650 g/m2", D::AreaMass, 0.65),
    ];
    for (text, dimension, value) in exact {
        assert!((si(text, dimension) / value - 1.0).abs() < 1e-12, "{text}");
    }
}

/// Fixed points of the temperature scales: NIST SP 811 gives T/K = t/°C + 273.15 and T/K = (t/°F + 459.67)/1.8.
#[test]
fn temperatures_have_their_fixed_points() {
    let kelvin = |text| si(text, Dimension::Temperature);
    for (text, expected) in [
        ("0 degC", 273.15),
        ("32 degF", 273.15),
        ("212 degF", 373.15),
        ("-40 degF", 233.15),
        ("-40 °C", 233.15),
        ("59 °F", 288.15),
        ("15 C", 288.15),
        ("288.15 K", 288.15),
    ] {
        assert!((kelvin(text) - expected).abs() < 1e-9, "{text}: {}", kelvin(text));
    }
}

#[test]
fn feet_and_inches_in_every_spelling() {
    // 8 ft 6 in is 102 in of 0.0254 m.
    for text in [
        "8 ft 6 in",
        "8ft 6in",
        "8' 6\"",
        "8'6\"",
        "8’ 6”",
        "8′6″",
        "8'6''",
        "8 feet 6 inches",
        "8 FT 6 in",
        "102 in",
        "8.5 ft",
        "8 1/2 ft",
        "8½ ft",
        "  8 ft   6 in ",
    ] {
        assert!((si(text, Dimension::Length) - 2.5908).abs() < 1e-12, "{text}: {}", si(text, Dimension::Length));
    }
    assert!((si("5 ft 3 1/4 in", Dimension::Length) - 63.25 * 0.0254).abs() < 1e-12);
    assert!((si("-1 ft 6 in", Dimension::Length) + 0.4572).abs() < 1e-12);
    assert!((si("1/2 in", Dimension::Length) - 0.0127).abs() < 1e-12);
}

#[test]
fn powers_signs_and_spaces() {
    assert_eq!(si("2 m²", Dimension::Area), 2.0);
    assert_eq!(si("2 m^2", Dimension::Area), 2.0);
    assert_eq!(si("2m3/s", Dimension::Flow), 2.0);
    assert_eq!(si("2 m³/s", Dimension::Flow), 2.0);
    assert_eq!(si("−2 m", Dimension::Length), -2.0);
    assert_eq!(si("+2 m", Dimension::Length), 2.0);
    assert_eq!(si(".5 m", Dimension::Length), 0.5);
    assert_eq!(si("5. m", Dimension::Length), 5.0);
    assert_eq!(si("1.5e3 Pa", Dimension::Pressure), 1500.0);
    assert_eq!(si("2 inH₂O", Dimension::Pressure), 2.0 * 249.088_91);
    assert!((si("32°", Dimension::Angle) - 0.558_505_360_638_185_5).abs() < 1e-15);
    assert!((si("3 sq ft", Dimension::Area) - 0.278_709_12).abs() < 1e-12);
}

#[test]
fn what_is_no_quantity_is_refused() {
    let error = |text| parse_quantity(text, Dimension::Length).unwrap_err();
    assert_eq!(error(""), QuantityError::Empty);
    assert_eq!(error("nan m"), QuantityError::NotANumber("nan m".into()));
    assert_eq!(error("inf m"), QuantityError::NotANumber("inf m".into()));
    assert_eq!(error("-infinity m"), QuantityError::NotANumber("-infinity m".into()));
    assert_eq!(error("1e999 m"), QuantityError::TooLarge);
    assert_eq!(error("1.7e308 km"), QuantityError::TooLarge);
    assert_eq!(error("2.4"), QuantityError::NoUnit(2.4));
    assert_eq!(error("2,4 m"), QuantityError::Comma("2.4 m".into()));
    assert_eq!(error("2,400 m"), QuantityError::Comma("2400 m".into()));
    assert_eq!(error("2.4 mtr"), QuantityError::UnknownUnit { unit: "mtr".into(), nearest: Some("m") });
    assert_eq!(error("8 ft 14 in"), QuantityError::Inches);
    assert_eq!(error("8 ft -1 in"), QuantityError::Inches);
    assert_eq!(error("8 ft 6"), QuantityError::Trailing("6".into()));
    assert_eq!(error("8 m 6 in"), QuantityError::Trailing("6 in".into()));
    assert!(parse_quantity("1/0 m", Dimension::Length).is_err());
    assert_eq!(error("2.4 kg"), QuantityError::WrongDimension { unit: "kg", measures: Dimension::Mass });
    assert_eq!(error("5 kN"), QuantityError::WrongDimension { unit: "kN", measures: Dimension::Force });
}

/// No two units of one dimension may differ in case only, or a mistyped one would be taken for the other.
#[test]
fn no_unit_is_another_in_other_case() {
    for (i, a) in UNITS.iter().enumerate() {
        for b in UNITS.iter().skip(i + 1) {
            assert!(a.dimension != b.dimension || !a.name.eq_ignore_ascii_case(b.name), "{} and {}", a.name, b.name);
        }
    }
}
