//! Intervals of chances and drawn deviations against the quantiles of SciPy.

use landfall_core::inputs::COUNT;
use landfall_plan::plan::interval::clopper_pearson;
use landfall_sampling::random::{DRAWN, draw};
use landfall_tests::checks::{Check, Scale};
use serde_json::Value;

fn pieces(key: &str) -> Vec<Value> {
    let all: Value = serde_json::from_str(include_str!("../reference/expected/pieces.json")).unwrap();
    all[key].as_array().unwrap_or_else(|| panic!("{key}")).clone()
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or_else(|| panic!("{key} in {value}"))
}

#[test]
fn exact_intervals_of_a_chance() {
    let mut check = Check::new("clopper_pearson", Scale::Relative, 1e-6);
    for row in pieces("clopper_pearson_95") {
        let (k, n) = (row["k"].as_u64().unwrap(), row["n"].as_u64().unwrap());
        let (low, high) = clopper_pearson(k, n);
        check.note(format!("{k} of {n} low"), low, number(&row, "low"));
        check.note(format!("{k} of {n} high"), high, number(&row, "high"));
    }
    check.finish();
}

#[test]
fn drawn_deviations_have_the_normal_distribution() {
    // The share of the deviations below a z is a binomial count.
    let mut check = Check::new("normal_quantile", Scale::StandardErrors, 5.0);
    let mut all = Vec::new();
    let mut drawn = [[0.0f32; DRAWN]; COUNT];
    for block in 0..1_000u64 {
        draw(block * DRAWN as u64, 7, 0, &mut drawn);
        all.extend(drawn.iter().flatten().copied());
    }
    all.sort_unstable_by(f32::total_cmp);
    let n = all.len() as f64;
    let mut rows: Vec<(f64, f64)> =
        pieces("normal_quantiles").iter().map(|row| (number(row, "z"), number(row, "p"))).collect();
    rows.extend(pieces("normal_cdf").iter().map(|row| (number(row, "z"), number(row, "p"))));
    for (z, p) in rows {
        let below = all.partition_point(|value| f64::from(*value) < z) as f64;
        if p * n < 5.0 || (1.0 - p) * n < 5.0 {
            // Too rare for a standard error: a handful at the most.
            assert!(below.min(n - below) <= 20.0, "{below} below {z}");
            continue;
        }
        check.deviation(format!("z {z}: {below} of {n}"), (below - p * n).abs() / (p * (1.0 - p) * n).sqrt());
    }
    check.finish();
}
