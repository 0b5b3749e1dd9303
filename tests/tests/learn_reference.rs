//! The fit of measured runs against a second one in Python: SciPy's least squares and emcee's sampler, on shared tables.

use landfall_learn::fit::prepare;
use landfall_learn::forward::{Base, Trial};
use landfall_learn::runs::read_runs;
use landfall_learn::solve::{FITTED, solve};
use landfall_plan::site::read_site;
use landfall_tests::checks::{Check, Scale};
use serde_json::Value;

fn reference() -> Value {
    serde_json::from_str(include_str!("../reference/expected/fit.json")).unwrap()
}

/// The shared data set as the fit takes it.
fn shared(key: &str) -> (Base, Vec<Trial>) {
    let site = if key.starts_with("saddle") { "05_larch_saddle" } else { "03_roller_lane" };
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/reference");
    let text = std::fs::read_to_string(format!("{folder}/sites/{site}.toml")).unwrap();
    let site = read_site(&text, "site.toml").unwrap();
    let table = std::fs::read_to_string(format!("{folder}/fit/{key}.csv")).unwrap();
    let prepared = prepare(&site, &read_runs(&table, "runs.csv", None).unwrap(), "runs.csv", None).unwrap();
    (prepared.base, prepared.trials)
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|number| number.as_f64().unwrap()).collect()
}

/// With the scatter as the site says, against least squares over the solution in double precision. Single precision and
/// the search's end leave about 0.01 standard deviations.
#[test]
fn least_squares_agree_with_scipy() {
    let mut off = Check::new("fit_least_squares", Scale::Plain, 0.03);
    for (key, expected) in reference().as_object().unwrap() {
        let (base, trials) = shared(key);
        let solved = solve(&base, &trials, Some(&[1.0, 1.0, 1.0])).unwrap();
        let (shifts, sds) = (numbers(&expected["least_squares"]["shift"]), numbers(&expected["least_squares"]["sd"]));
        for ((which, shift), sd) in FITTED.iter().zip(shifts).zip(sds) {
            let got = solved.estimate(*which).unwrap();
            off.deviation(format_args!("{key} {} {} for {shift}", which.name(), got.0), ((got.0 - shift) / sd).abs());
            off.deviation(format_args!("{key} sd {} {} for {sd}", which.name(), got.1), (got.1 / sd - 1.0).abs());
        }
    }
    off.finish();
}

/// With the scatter unknown, against a sampler that assumes no normal posterior. Its some 1,000 independent draws have
/// a noise of 0.03 standard deviations in a mean and 2 % in a standard deviation; four times that is allowed.
#[test]
fn the_posterior_agrees_with_emcee() {
    let mut off = Check::new("fit_emcee", Scale::Plain, 0.12);
    for (key, expected) in reference().as_object().unwrap() {
        let Some(expected) = expected.get("emcee") else { continue };
        assert!(expected["independent_draws"].as_f64().unwrap() > 900.0);
        let (base, trials) = shared(key);
        let solved = solve(&base, &trials, None).unwrap();
        let (shifts, sds) = (numbers(&expected["shift"]), numbers(&expected["sd"]));
        for ((which, shift), sd) in FITTED.iter().zip(shifts).zip(sds) {
            let got = solved.estimate(*which).unwrap();
            off.deviation(format_args!("{key} {} {} for {shift}", which.name(), got.0), ((got.0 - shift) / sd).abs());
            off.deviation(format_args!("{key} sd {} {} for {sd}", which.name(), got.1), (got.1 / sd - 1.0).abs());
        }
        let (logs, sds) = (numbers(&expected["log_scale"]), numbers(&expected["log_scale_sd"]));
        for (group, (log, sd)) in logs.iter().zip(sds).enumerate() {
            let got = (solved.posterior.log_scale[group], solved.posterior.log_scale_sd[group]);
            off.deviation(format_args!("{key} scale {group} {} for {log}", got.0), ((got.0 - log) / sd).abs());
            off.deviation(format_args!("{key} scale sd {group} {} for {sd}", got.1), (got.1 / sd - 1.0).abs());
        }
    }
    off.finish();
}
