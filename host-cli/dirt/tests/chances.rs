//! Shares and intervals against SciPy's figures (tests/reference/line_reference.py) and against closed forms.

#![allow(clippy::unwrap_used, clippy::panic)]

use landfall_dirt::chance::{needed_in_a_row, never_seen, rule_of_three, scatter, share};
use serde_json::Value;

fn reference() -> Value {
    serde_json::from_str(include_str!("../../../tests/reference/line_reference.json")).unwrap()
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap()
}

#[test]
fn clopper_pearson_is_scipys() {
    for row in reference()["shares"].as_array().unwrap() {
        let (k, n) = (number(row, "k") as usize, number(row, "n") as usize);
        let got = share(k, n, number(row, "confidence"));
        // Both are double precision; statrs' incomplete beta function has some fourteen digits.
        assert!((got.low - number(row, "low")).abs() < 1e-10, "{row} {got:?}");
        assert!((got.high - number(row, "high")).abs() < 1e-10, "{row} {got:?}");
    }
}

#[test]
fn an_interval_covers_at_least_what_it_says() {
    // Exact: the chance, over all counts, that the interval of the count holds the true share.
    for n in [5_usize, 20] {
        for i in 1..40 {
            let p = f64::from(i) / 40.0;
            let mut covered = 0.0;
            let mut term = (1.0 - p).powi(n as i32);
            for k in 0..=n {
                let s = share(k, n, 0.95);
                if s.low <= p && p <= s.high {
                    covered += term;
                }
                term *= (n - k) as f64 / (k + 1) as f64 * p / (1.0 - p);
            }
            assert!(covered >= 0.95, "{n} {p} {covered}");
        }
    }
}

#[test]
fn scatter_is_students_and_chi_squared() {
    for row in reference()["scatter"].as_array().unwrap() {
        let n = number(row, "n") as usize;
        let values: Vec<f64> = (0..n).map(|i| 3.0 + (i as f64 * 1.7).sin()).collect();
        let got = scatter(&values, number(row, "confidence")).unwrap();
        let sd = got.sd.unwrap();
        let reach = number(row, "t") * sd / (n as f64).sqrt();
        let (low, high) = got.mean_between.unwrap();
        // The quantiles are found by a search that stops within 1e-8 or so of them, relative.
        assert!(
            (got.mean - low - reach).abs() < 1e-6 * reach && (high - got.mean - reach).abs() < 1e-6 * reach,
            "{row}"
        );
        let squares = sd * sd * (n as f64 - 1.0);
        let (low, high) = got.sd_between.unwrap();
        let wanted = ((squares / number(row, "chi_high")).sqrt(), (squares / number(row, "chi_low")).sqrt());
        assert!((low / wanted.0 - 1.0).abs() < 1e-6 && (high / wanted.1 - 1.0).abs() < 1e-6, "{row} {low} {high}");
    }
    assert!(scatter(&[], 0.95).is_none() && scatter(&[1.0], 0.95).unwrap().sd.is_none());
}

#[test]
fn needed_runs_are_the_closed_form() {
    // The least n with p^n ≤ 1 − c. 0.9: 29 (0.9^29 = 0.0471, 0.9^28 = 0.0523); 0.95: 59; 0.99: 299, the table that people
    // know; 0.5 and 0.875: three heads in a row, exactly.
    for (p, c, n) in [(0.9, 0.95, 29), (0.95, 0.95, 59), (0.99, 0.95, 299), (0.5, 0.875, 3), (0.8, 0.9, 11)] {
        assert_eq!(needed_in_a_row(p, c), Some(n), "{p} {c}");
    }
    for i in 1..100 {
        for c in [0.5, 0.8, 0.9, 0.95, 0.99] {
            let p = f64::from(i) / 100.0;
            let n = needed_in_a_row(p, c).unwrap() as i32;
            assert!(p.powi(n) <= (1.0 - c) * (1.0 + 1e-9), "{p} {c} {n}");
            assert!(n == 1 || p.powi(n - 1) > (1.0 - c) * (1.0 - 1e-9), "{p} {c} {n}");
        }
    }
    for (p, c) in [(0.0, 0.95), (1.0, 0.95), (0.9, 1.0), (0.9, f64::NAN)] {
        assert_eq!(needed_in_a_row(p, c), None);
    }
}

#[test]
fn the_rule_of_three_is_near_the_exact_bound() {
    assert_eq!((rule_of_three(0), rule_of_three(2), rule_of_three(20)), (None, Some(1.0), Some(0.15)));
    for n in 10..500 {
        let (rule, exact) = (rule_of_three(n).unwrap(), never_seen(n, 0.95).unwrap());
        // It is the first term of −ln(0.05)/n: larger, by less than 16 % from ten runs on.
        assert!(rule >= exact && rule < 1.16 * exact, "{n} {rule} {exact}");
        // One-sided: the upper end of a 90 % interval.
        assert!((exact - share(0, n, 0.90).high).abs() < 1e-10);
    }
}
