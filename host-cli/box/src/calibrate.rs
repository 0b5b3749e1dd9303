//! Holding the box's sensor against a reference: two points, zero and span, their errors, and what they are told by.
//!
//! The sensor reads r₀ with both ports open and r₁ at the reference's pressure P. The span is k = P / (r₁ − r₀), and the box
//! measures k (r − r₀), r₀ taken anew each day on the vented bag. Its relative error is
//! √((ΔP/P)² + (s₀² + s₁²)/(r₁ − r₀)²), s the error of a point's mean. A span that lies nearer to 1 than its own error is not
//! told from 1, and 1 is stored. The zero that is kept with it is compared and never subtracted. The laptop's date counts, since
//! the box has none.
//!
//! A column of water: P = ρ(T) g h, h between the two levels. ρ after Kell's formula in the short form of Tanaka and others
//! (998.2 kg/m³ at 20 °C), g = 9.80665 m/s². Errors, taken together by the root of their squares: the levels are read to 1 mm
//! (*assumed*), g differs by up to 0.3 % from place to place, and the water's temperature and purity by 0.1 % (*assumed*).

use landfall_firmware::calibration::{Calibration, NAME, Reference, SPAN_OFF};
use landfall_plan::shown::Toward;

use super::record::utc;
use std::time::{Duration, SystemTime};

/// Readings of a point: 5 s.
pub const READINGS: usize = 250;
/// A year, s: older than that is a caution.
const YEAR_S: u64 = 365 * 86_400;
/// Most that the first and the last quarter of a point's readings may lie apart, Pa, or this share of them: it still moves.
const STILL: (f64, f64) = (2.0, 0.004);
/// A span's error above this is no calibration.
const WORST: f64 = 0.02;
/// How well two levels are read, m (*assumed*).
const LEVELS_M: f64 = 0.001;
/// g from place to place, and the water.
const OF_WATER: [f64; 2] = [0.003, 0.001];

/// The mean of a point's readings, Pa, and its error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Mean.
    pub mean_pa: f64,
    /// Error of the mean.
    pub error_pa: f64,
}

/// A reference's pressure, Pa, and how far off it may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Held {
    /// What it is.
    pub reference: Reference,
    /// Its pressure.
    pub pa: f64,
    /// Its error.
    pub error_pa: f64,
}

/// What the two points say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitted {
    /// What was found, before it is compared with its error.
    pub found: f64,
    /// How far off that may be.
    pub error: f64,
    /// What is stored.
    pub span: f64,
}

/// Why there is no calibration.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum No {
    /// Fewer readings than are needed.
    Few(usize),
    /// The readings still move: from, to.
    Moves(f64, f64),
    /// The reference's pressure is known too badly.
    Coarse(f64),
    /// The pressure lies beyond what the sensor reaches.
    Beyond(f64),
    /// The sensor did not see the reference.
    Nothing(f64),
    /// Further from 1 than a sound sensor is.
    Far(f64),
}

impl std::fmt::Display for No {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Few(n) => write!(
                f,
                "the sensor gave {n} readings where {READINGS} are needed: look whether it is believed (`landfall watch`)"
            ),
            Self::Moves(from, to) => write!(
                f,
                "the pressure still moves, from {from:.1} Pa to {to:.1} Pa within 5 s: wait until it stands still. If it goes on \
                 sinking the tube or a joint leaks"
            ),
            Self::Coarse(share) => write!(
                f,
                "this reference tells the span to {:.1} % only, and {:.0} % is the most that is taken: take a higher pressure, \
                 such as a column of 300 mm",
                100.0 * share,
                100.0 * WORST
            ),
            Self::Beyond(range) => {
                write!(f, "the reference is above {range:.0} Pa, where this sensor ends: take a lower pressure")
            }
            Self::Nothing(pa) => write!(
                f,
                "the sensor moved by {pa:.1} Pa only: look whether the reference's tube is on the sensor's own port, open and dry"
            ),
            Self::Far(span) => write!(
                f,
                "the sensor reads too {}: its readings would have to be multiplied by {:.4}, more than {:.0} % off 1, which no sound sensor \
                 of these kinds needs, so no factor may mend it. {}",
                if *span > 1.0 { "little" } else { "much" },
                span,
                100.0 * SPAN_OFF,
                likely(*span)
            ),
        }
    }
}

impl std::error::Error for No {}

/// What a span far from 1 comes of most often.
fn likely(span: f64) -> String {
    let near = |factor: f64| (span / factor - 1.0).abs() < 0.06;
    let first = if near(2.0) {
        "It is about a half: is the height the one between the two levels, and is the sensor the part that the program was \
         built for (`fitted.rs`)? "
    } else if near(0.5) {
        "It is about double: was the height read on one arm only? It is the one between the two levels. "
    } else if near(2.54) || near(1.0 / 2.54) {
        "It is about 2.54: are the units inches or centimetres? "
    } else {
        ""
    };
    format!(
        "{first}Look for a leak, a drop of water in the tube, a height that was read wrongly, another sensor than the one that \
         the program was built for; then do it again. If it stays so the sensor is to be replaced"
    )
}

/// Density of water, kg/m³, between 0 and 40 °C.
pub fn water_kgpm3(temperature_degc: f64) -> f64 {
    let t = temperature_degc;
    999.975 * (1.0 - (t - 3.983_035).powi(2) * (t + 301.797) / (522_528.9 * (t + 69.348_81)))
}

/// A column of water of this height between its levels, m.
pub fn water(height_m: f64, temperature_degc: f64) -> Held {
    let pa = water_kgpm3(temperature_degc) * 9.806_65 * height_m;
    let share = OF_WATER.iter().fold((LEVELS_M / height_m).powi(2), |sum, part| sum + part * part).sqrt();
    Held { reference: Reference::Water, pa, error_pa: share * pa }
}

/// The mean of readings that stand still.
///
/// # Errors
/// [`No::Few`], [`No::Moves`].
pub fn point(readings_pa: &[f64]) -> Result<Point, No> {
    if readings_pa.len() < READINGS {
        return Err(No::Few(readings_pa.len()));
    }
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    let quarter = readings_pa.len() / 4;
    let (begin, end) = (&readings_pa[..quarter], &readings_pa[readings_pa.len() - quarter..]);
    let (begin, end, mean_pa) = (mean(begin), mean(end), mean(readings_pa));
    if !((end - begin).abs() <= STILL.0.max(STILL.1 * mean_pa.abs())) {
        return Err(No::Moves(begin, end));
    }
    let variance = readings_pa.iter().map(|pa| (pa - mean_pa).powi(2)).sum::<f64>() / (readings_pa.len() - 1) as f64;
    // What the mean still moved by is an error as well.
    let error_pa = (variance / readings_pa.len() as f64 + ((end - begin) / 2.0).powi(2)).sqrt();
    Ok(Point { mean_pa, error_pa })
}

/// The span of two points, `range_pa` being as far as the sensor reaches.
///
/// # Errors
/// [`No`].
pub fn fit(zero: &Point, up: &Point, held: &Held, range_pa: f64) -> Result<Fitted, No> {
    if range_pa > 0.0 && held.pa > range_pa {
        return Err(No::Beyond(range_pa));
    }
    let moved_pa = up.mean_pa - zero.mean_pa;
    if !(moved_pa > 0.1 * held.pa) {
        return Err(No::Nothing(moved_pa));
    }
    let found = held.pa / moved_pa;
    let error = found
        * ((held.error_pa / held.pa).powi(2) + (zero.error_pa.powi(2) + up.error_pa.powi(2)) / moved_pa.powi(2)).sqrt();
    let far = (found - 1.0).abs() > f64::from(SPAN_OFF);
    // A factor of two is a mistake whatever the reference's error.
    if far && (found - 1.0).abs() > 5.0 * error {
        return Err(No::Far(found));
    }
    if !(error <= WORST) {
        return Err(No::Coarse(error));
    }
    if far {
        return Err(No::Far(found));
    }
    Ok(Fitted { found, error, span: if (found - 1.0).abs() <= error { 1.0 } else { found } })
}

/// What a box stores.
pub fn calibration(at: SystemTime, name: &str, zero: &Point, held: &Held, fitted: &Fitted) -> Calibration {
    let mut bytes = [0; NAME];
    let mut end = name.len().min(NAME);
    while !name.is_char_boundary(end) {
        end -= 1;
    }
    bytes.iter_mut().zip(name.as_bytes().iter().take(end)).for_each(|(to, from)| *to = *from);
    let since = at.duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default().as_secs();
    Calibration {
        at_s: u32::try_from(since).unwrap_or(u32::MAX),
        reference: held.reference,
        name: bytes,
        reference_pa: held.pa as f32,
        reference_error_pa: held.error_pa as f32,
        zero_pa: zero.mean_pa as f32,
        span: fitted.span as f32,
        span_error: fitted.error as f32,
    }
}

/// The name of a calibration's reference.
pub fn name_of(held: &Calibration) -> String {
    let bytes: Vec<u8> = held.name.iter().copied().take_while(|byte| *byte != 0).collect();
    landfall_plan::outside::plain(&String::from_utf8_lossy(&bytes)).into_owned()
}

/// Its date, UTC.
pub fn date_of(held: &Calibration) -> String {
    let at = SystemTime::UNIX_EPOCH + Duration::from_secs(u64::from(held.at_s));
    utc(at).get(..10).unwrap_or_default().to_owned()
}

/// A calibration in a sentence.
pub fn told(held: Option<&Calibration>) -> String {
    let Some(one) = held else { return "The sensor was never held against a reference.".to_owned() };
    let name = name_of(one);
    format!(
        "The sensor was held against {}{} of {:.0} Pa (to {:.0} Pa) on {}: span {:.4}, known to {:.1} %; zero {:.1} Pa.",
        match one.reference {
            Reference::Water => "a column of water",
            Reference::Gauge => "another gauge",
        },
        if name.is_empty() { String::new() } else { format!(" ({name})") },
        one.reference_pa,
        one.reference_error_pa,
        date_of(one),
        one.span,
        100.0 * one.span_error,
        one.zero_pa
    )
}

/// What to mind about a calibration today; none: nothing. The laptop knows the date, the box does not.
pub fn caution(held: Option<&Calibration>, now: SystemTime) -> Option<String> {
    let Some(one) = held else {
        return Some(
            "CAUTION: the sensor was never held against a reference, so nothing tells that its pressures are right; \
             `landfall calibrate` does it with a tube of water."
                .to_owned(),
        );
    };
    let now_s = now.duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default().as_secs();
    let at_s = u64::from(one.at_s);
    if now_s < at_s {
        return Some(format!(
            "CAUTION: the sensor was calibrated on {}, which is later than this laptop's clock says that it is: one of the two \
             dates is wrong. Set the clock, or calibrate again.",
            date_of(one)
        ));
    }
    (now_s - at_s > YEAR_S).then(|| {
        format!(
            "CAUTION: calibration older than a year: {} days, since {}. `landfall calibrate` does it again, in a quarter of an \
             hour.",
            (now_s - at_s) / 86_400,
            date_of(one)
        )
    })
}

/// By how much a zero that the box has taken differs from one before, in a sentence; `allowed_pa` is the error of the sensor
/// that the settings count with.
pub fn zero_moved(
    now_pa: f64,
    before_pa: f64,
    since: &str,
    allowed_pa: Option<f64>,
    shown: impl Fn(f64, Toward) -> String,
) -> String {
    let moved_pa = now_pa - before_pa;
    let words = format!("The zero moved by {moved_pa:.1} Pa {since} ({before_pa:.1} Pa to {now_pa:.1} Pa).");
    match allowed_pa {
        Some(allowed) if moved_pa.abs() > allowed => format!(
            "{words} CAUTION: that is more than the {} of error that the settings count for the sensor: let it warm up, blow the \
             tube through, and calibrate it.",
            shown(allowed, Toward::Down)
        ),
        _ => words,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn still(pa: f64) -> Vec<f64> {
        (0..READINGS).map(|n| pa + if n % 2 == 0 { 0.3 } else { -0.3 }).collect()
    }

    fn fitted(read_pa: (f64, f64), held: &Held) -> Result<Fitted, No> {
        fit(&point(&still(read_pa.0)).unwrap(), &point(&still(read_pa.1)).unwrap(), held, 4982.0)
    }

    #[test]
    fn a_column_of_water_has_the_pressure_of_the_tables() {
        // Density of water, CRC Handbook of Chemistry and Physics: 999.84 at 0, 998.21 at 20, 995.65 at 30 °C.
        for (t, table) in [(0.0, 999.84), (20.0, 998.21), (30.0, 995.65)] {
            assert!((water_kgpm3(t) - table).abs() < 0.03, "{t}: {}", water_kgpm3(t));
        }
        // 100 mm at 20 °C: 978.9 Pa; of its error the millimetre is most: √(1² + 0.3² + 0.1²) %.
        let held = water(0.1, 20.0);
        assert!((held.pa - 978.91).abs() < 0.05 && (held.error_pa / held.pa - 0.010_488).abs() < 1e-5, "{held:?}");
        assert!((water(0.3, 20.0).error_pa / water(0.3, 20.0).pa - 0.004_595).abs() < 1e-5);
    }

    #[test]
    fn two_points_give_back_the_span_and_the_zero_that_they_were_made_with() {
        // A sensor that reads 1.5 Pa at rest and 1.8 % too little.
        let held = water(0.3, 20.0);
        let one = fitted((1.5, 1.5 + held.pa / 1.018), &held).unwrap();
        assert!((one.found - 1.018).abs() < 1e-9 && one.span == one.found, "{one:?}");
        assert!((one.error / one.found - 0.004_595).abs() < 1e-4);
        let stored = calibration(
            SystemTime::UNIX_EPOCH + Duration::from_secs(1_777_716_000),
            "U-tube",
            &point(&still(1.5)).unwrap(),
            &held,
            &one,
        );
        assert!(stored.packed().is_good() && (stored.zero_pa - 1.5).abs() < 1e-5 && (stored.span - 1.018).abs() < 1e-6);
        assert_eq!((name_of(&stored).as_str(), date_of(&stored).as_str()), ("U-tube", "2026-05-02"));
        // What the reference cannot tell from 1 stays 1.
        let same = fitted((1.5, 1.5 + held.pa / 1.004), &held).unwrap();
        assert!(same.span == 1.0 && (same.found - 1.004).abs() < 1e-9);
        // A long name is cut between characters.
        let long = calibration(SystemTime::UNIX_EPOCH, "Säule aus Glas ü", &point(&still(0.0)).unwrap(), &held, &one);
        assert_eq!(name_of(&long), "Säule aus Glas ");
    }

    #[test]
    fn what_is_no_calibration_is_refused_with_what_to_do() {
        let held = water(0.3, 20.0);
        let says = |no: No, words: &str| assert!(no.to_string().contains(words), "{no}");
        says(
            fitted((0.0, held.pa / 1.05), &held).unwrap_err(),
            "too little: its readings would have to be multiplied by 1.0500, more than 3 %",
        );
        says(fitted((0.0, held.pa * 2.0), &held).unwrap_err(), "read on one arm only");
        says(fitted((0.0, held.pa / 2.0), &held).unwrap_err(), "fitted.rs");
        says(fitted((0.0, held.pa * 2.54), &held).unwrap_err(), "inches or centimetres");
        says(fitted((0.0, 3.0), &held).unwrap_err(), "moved by 3.0 Pa only");
        says(fitted((0.0, 490.0), &water(0.05, 20.0)).unwrap_err(), "to 2.0 % only");
        says(fitted((0.0, 5000.0), &water(0.6, 20.0)).unwrap_err(), "where this sensor ends");
        says(point(&still(1.0)[1..]).unwrap_err(), "249 readings");
        let sinking: Vec<f64> = (0..READINGS).map(|n| 2900.0 - 0.2 * n as f64).collect();
        says(point(&sinking).unwrap_err(), "leaks");
        assert!(point(&[f64::NAN; READINGS]).is_err());
        // The border is the box's own.
        assert!(fitted((0.0, held.pa / 1.0299), &held).is_ok() && fitted((0.0, held.pa / 1.0301), &held).is_err());
    }

    #[test]
    fn age_and_drift_are_told_by_the_laptops_date() {
        let held = water(0.3, 20.0);
        let at = SystemTime::UNIX_EPOCH + Duration::from_secs(1_777_716_000);
        let one = fitted((1.5, 1.5 + held.pa / 1.018), &held).unwrap();
        let stored = calibration(at, "", &point(&still(1.5)).unwrap(), &held, &one);
        let days = |n: u64| caution(Some(&stored), at + Duration::from_secs(n * 86_400));
        assert_eq!((days(0), days(365)), (None, None));
        let told_old = days(366).unwrap();
        assert!(told_old.contains("older than a year: 366 days, since 2026-05-02"), "{told_old}");
        assert!(caution(Some(&stored), at - Duration::from_secs(1)).unwrap().contains("one of the two dates is wrong"));
        assert!(caution(None, at).unwrap().contains("never held against a reference"));
        assert!(told(Some(&stored)).contains("a column of water of 2937 Pa (to 13 Pa) on 2026-05-02: span 1.0180"));
        let shown = |pa: f64, _| format!("{pa:.0} Pa");
        let small = zero_moved(2.7, 1.5, "since the last session", Some(12.0), shown);
        assert_eq!(small, "The zero moved by 1.2 Pa since the last session (1.5 Pa to 2.7 Pa).");
        assert!(
            zero_moved(-14.0, 1.5, "since the last session", Some(12.0), shown)
                .contains("more than the 12 Pa of error")
        );
    }
}
