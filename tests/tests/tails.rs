//! Far tails: importance sampling against thousand million plain runs, against chances known exactly, its interval's
//! coverage, and the same bits at any number of threads and lanes.
//!
//! `cargo test --release -p landfall-tests --test all -- --ignored tails::thousand_million` writes the plain runs' counts anew.
#![allow(clippy::panic)]

use landfall_core::bag::Outcome;
use landfall_core::inputs::{COUNT, Uncertain, Uncertainty};
use landfall_core::ride::Steps;
use landfall_core::run::Setup;
use landfall_plan::plan::model::Model;
use landfall_plan::site::{Site, demo, read_site};
use landfall_sampling::tails::{Effort, Tail, tail, tail_over};
use landfall_sampling::{Job, Stop, sample};
use landfall_tests::checks::{Check, Scale};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("reference")
}

fn site(name: &str) -> Site {
    if name == "demo" {
        return demo();
    }
    let path = folder().join("sites").join(name).with_extension("toml");
    read_site(&std::fs::read_to_string(path).unwrap(), name).unwrap_or_else(|faults| panic!("{name}: {faults}"))
}

fn job<'a>(setup: &'a Setup, uncertainty: &'a Uncertainty, steps: Steps, samples: u64, seed: u64) -> Job<'a> {
    Job { setup, uncertainty, steps, samples, first: 0, seed, bounds: None, gaps_to_m: None }
}

/// A site, what is changed in it (in SI units), and a rider.
#[derive(Clone, Copy)]
struct Case {
    site: &'static str,
    changes: &'static [(&'static str, f64)],
    rider: usize,
    /// Counted with good tries alone, with this pop's standard deviation and 0.15 m/s of the lip speed's.
    counted_with_pop_mps: Option<f64>,
}

impl Case {
    const fn new(site: &'static str, changes: &'static [(&'static str, f64)], rider: usize) -> Self {
        Self { site, changes, rider, counted_with_pop_mps: None }
    }

    const fn good(site: &'static str, changes: &'static [(&'static str, f64)], rider: usize, pop_mps: f64) -> Self {
        Self { site, changes, rider, counted_with_pop_mps: Some(pop_mps) }
    }

    fn name(&self) -> String {
        let changes: Vec<String> = self.changes.iter().map(|(key, value)| format!(", {key} {value}")).collect();
        format!("{}{} {}", self.site, changes.concat(), self.rider)
    }

    fn model(&self) -> Model {
        let counted = self
            .counted_with_pop_mps
            .map(|pop_mps| [("spread.botched", 0.0), ("spread.lip_speed", 0.15), ("spread.pop", pop_mps)]);
        let changes = counted.iter().flatten().chain(self.changes);
        let site = changes.fold(site(self.site), |site, (key, value)| {
            site.with_value(key, *value).unwrap_or_else(|faults| panic!("{key}: {faults}"))
        });
        Model::new(&site).unwrap()
    }

    fn plain(&self, samples: u64, seed: u64) -> [u64; 9] {
        let model = self.model();
        let steps = model.steps(&[&model.uncertainty]);
        let job = job(&model.setups[self.rider], &model.uncertainty, steps, samples, seed);
        sample(&job, &Stop::default()).unwrap().outcomes
    }

    fn tail(&self, seed: u64) -> Tail {
        let model = self.model();
        let steps = model.steps(&[&model.uncertainty]);
        let job = job(&model.setups[self.rider], &model.uncertainty, steps, 0, seed);
        tail(&job, &Effort::USUAL, &Stop::default()).unwrap()
    }
}

/// Good tries alone. Chances from 1 in 3,000 to 1 in 8 million: front, edge, stall; and beyond each of the bag's four
/// sides.
const CASES: [Case; 8] = [
    Case::good("14_chalk_notch", &[], 0, 0.35),
    Case::good("16_spring_hollow", &[], 1, 0.25),
    Case::good("02_birch_deck", &[], 0, 0.35),
    Case::good("27_loose_sheet", &[], 0, 0.35),
    Case::good("15_long_meadow", &[], 2, 0.35),
    Case::good("demo", &[("bag.edge_side", 0.0), ("bag.width", 2.7), ("bag.offset", 0.03)], 0, 0.35),
    Case::good("demo", &[("bag.edge_front", 0.0), ("bag.gap", 2.5)], 0, 0.35),
    Case::good("demo", &[("bag.edge_back", 0.0), ("bag.length", 5.2)], 0, 0.35),
];
/// Good and botched tries: botched ones bring nearly all of the misses, or both kinds some.
const MIXED: [Case; 3] = [
    Case::new("demo", &[], 0),
    Case::new("demo", &[("spread.botched", 0.2), ("bag.gap", 2.0)], 1),
    Case::new("demo", &[("spread.botched", 0.02), ("spread.botched_factor", 3.0)], 2),
];
const PLAIN: u64 = 1_000_000_000;
const PLAIN_SEED: u64 = 20_261_125;

#[test]
#[ignore = "some minutes; its counts are committed"]
fn thousand_million_plain_runs() {
    let path = folder().join("plain_runs.json");
    // What is there already is kept: delete the file to count all anew.
    let text = std::fs::read_to_string(&path).unwrap_or_else(|_| "[]".to_owned());
    let mut list: Vec<Value> = serde_json::from_str(&text).unwrap();
    for case in CASES.iter().skip(list.len()) {
        let begin = std::time::Instant::now();
        let outcomes = case.plain(PLAIN, PLAIN_SEED);
        println!("{} {outcomes:?} in {:.1} s", case.name(), begin.elapsed().as_secs_f64());
        let counts: serde_json::Map<String, Value> = Outcome::ALL
            .iter()
            .zip(outcomes)
            .map(|(outcome, count)| (outcome.name().to_owned(), Value::from(count)))
            .collect();
        let changes: serde_json::Map<String, Value> =
            case.changes.iter().map(|(key, value)| ((*key).to_owned(), Value::from(*value))).collect();
        list.push(json!({
            "site": case.site, "changes": changes, "rider": case.rider, "runs": PLAIN, "seed": PLAIN_SEED,
            "outcomes": counts,
        }));
        std::fs::write(&path, serde_json::to_string_pretty(&list).unwrap() + "\n").unwrap();
    }
}

/// Standard error that an interval stands for.
fn error_of(tail: &Tail) -> f64 {
    tail.miss * (tail.high / tail.miss).ln() / 1.96
}

#[test]
fn thousand_million_plain_runs_agree() {
    let mut check = Check::new("tails", Scale::StandardErrors, 4.0);
    let list: Value =
        serde_json::from_str(&std::fs::read_to_string(folder().join("plain_runs.json")).unwrap()).unwrap();
    let list = list.as_array().unwrap();
    assert_eq!(list.len(), CASES.len());
    let mut smallest = 1.0_f64;
    let mut beyond_a_side = [false; 9];
    for (entry, case) in list.iter().zip(&CASES) {
        assert_eq!((entry["site"].as_str(), entry["rider"].as_u64()), (Some(case.site), Some(case.rider as u64)));
        let changed = entry["changes"].as_object().map_or(0, serde_json::Map::len);
        assert!(changed == case.changes.len() && case.changes.iter().all(|(key, to)| entry["changes"][*key] == *to));
        let name = case.name();
        let runs = entry["runs"].as_u64().unwrap() as f64;
        let count = |outcome: Outcome| entry["outcomes"][outcome.name()].as_u64().unwrap() as f64;
        let misses = runs - count(Outcome::On);
        let begin = std::time::Instant::now();
        let found = case.tail(1);
        println!("{name}: {:.0} ms", begin.elapsed().as_secs_f64() * 1e3);
        println!("{name}: {misses} of {runs}; {:.4e} in {:.4e}..{:.4e}", found.miss, found.low, found.high);
        let apart =
            |a: f64, error: f64, count: f64| (a - count / runs).abs() / error.hypot(count.max(1.0).sqrt() / runs);
        check.deviation(format!("{name} miss"), apart(found.miss, error_of(&found), misses));
        // An outcome's part: its own error is not told; that of the whole, by its share, is close.
        for outcome in Outcome::ALL.into_iter().skip(1) {
            let (part, count) = (found.outcomes[outcome as usize], count(outcome));
            if count >= 20.0 {
                let error = error_of(&found) * (part / found.miss).sqrt();
                check.deviation(format!("{name} {}", outcome.name()), apart(part, error, count));
                beyond_a_side[outcome as usize] |= (1e-7..1e-4).contains(&part);
            }
        }
        // Narrow enough to be of use, and far below what 100,000 plain runs can tell.
        assert!(found.high / found.low < 1.15, "{name}: {found:?}");
        smallest = smallest.min(found.miss);
    }
    assert!(smallest < 1.4e-7, "{smallest}");
    for outcome in [Outcome::Short, Outcome::Long, Outcome::Left, Outcome::Right] {
        assert!(beyond_a_side[outcome as usize], "no chance of {} between 1e-7 and 1e-4", outcome.name());
    }
    check.finish();
}

#[test]
fn fewer_plain_runs_drawn_now_agree() {
    let few = CASES[..2].iter().map(|case| (case, 20_000_000));
    for (case, runs) in few.chain(MIXED.iter().map(|case| (case, 4_000_000))) {
        let name = case.name();
        let outcomes = case.plain(runs, 77);
        let misses = (runs - outcomes[0]) as f64;
        let found = case.tail(2);
        let off = (found.miss - misses / runs as f64).abs() / error_of(&found).hypot(misses.sqrt() / runs as f64);
        assert!(off < 4.0 && misses > 100.0, "{name}: {misses} of {runs} against {found:?}");
    }
}

/// Chance that a standard normal is beyond z (Abramowitz & Stegun 7.1.14: the continued fraction of erfc), z ≥ 2.
fn beyond(z: f64) -> f64 {
    let fraction = (1..=200).rev().fold(0.0, |below, n| f64::from(n) / (z + below));
    (-0.5 * z * z).exp() / ((z + fraction) * (2.0 * std::f64::consts::PI).sqrt())
}

/// The demo with only some inputs varying, and no botched tries.
fn only(varying: &[(Uncertain, f32)]) -> (Model, Uncertainty) {
    let model = Model::new(&demo()).unwrap();
    let mut uncertainty = model.uncertainty.good_tries();
    uncertainty.sd = [0.0; COUNT];
    uncertainty.mean[Uncertain::WindAcross as usize] = 0.0;
    for (which, sd) in varying {
        uncertainty.sd[*which as usize] = *sd;
    }
    (model, uncertainty)
}

/// Deviation of one input at which the run first misses, outward on one side.
fn border(setup: &Setup, uncertainty: &Uncertainty, which: Uncertain, side: f64) -> f64 {
    let misses = |z: f64| {
        let mut deviations = [0.0_f32; COUNT];
        deviations[which as usize] = (side * z) as f32;
        setup.run(&uncertainty.at(&deviations), &Steps::FINE).outcome(setup.bag(), 0) != Outcome::On
    };
    let (mut low, mut high) = (0.0, 12.0);
    assert!(!misses(low));
    if !misses(high) {
        // No miss on this side within twelve standard deviations: a chance below 1e-32.
        return high;
    }
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if misses(middle) { high = middle } else { low = middle }
    }
    low
}

/// Of several hundred estimates with seeds of their own, about 95 in 100 hold the chance that is known exactly: one input
/// alone crosses the field's border where bisection finds it, and independent inputs that move along and across apart
/// multiply.
#[test]
fn the_interval_holds_the_exact_chance_as_often_as_it_says() {
    assert!((beyond(3.0) - 1.349_898_0e-3).abs() < 1e-9 && (beyond(5.0) - 2.866_516e-7).abs() < 1e-12);
    const TRIALS: u64 = 400;
    let cases: [(&str, &[(Uncertain, f32)]); 4] = [
        ("line alone", &[(Uncertain::Line, 0.60)]),
        ("pop alone", &[(Uncertain::Pop, 0.50)]),
        ("lip speed alone", &[(Uncertain::LipSpeed, 0.36)]),
        ("line and pop", &[(Uncertain::Line, 0.52), (Uncertain::Pop, 0.50)]),
    ];
    for (name, varying) in cases {
        let (model, uncertainty) = only(varying);
        let setup = &model.setups[0];
        let kept: f64 = varying
            .iter()
            .map(|(which, _)| {
                let ends = [-1.0, 1.0].map(|side| beyond(border(setup, &uncertainty, *which, side)));
                1.0 - ends[0] - ends[1]
            })
            .product();
        let exact = 1.0 - kept;
        // Fewer runs than usual: intervals are harder to keep with few.
        let effort = Effort { look: 4_096, round: 2_048, estimate: 16_384 };
        let (mut held, mut sum, mut width) = (0, 0.0, 0.0);
        for seed in 0..TRIALS {
            let job = job(setup, &uncertainty, Steps::FINE, 0, 1_000 + seed);
            let found = tail(&job, &effort, &Stop::default()).unwrap();
            held += u64::from(found.low <= exact && exact <= found.high);
            sum += found.miss;
            width += (found.high / found.low).ln() / (2.0 * 1.96);
        }
        let (mean, width) = (sum / TRIALS as f64 / exact, width / TRIALS as f64);
        println!("{name}: {exact:.3e}, {held} of {TRIALS} hold it, mean {mean:.4} of it, error {width:.4}");
        assert!(exact > 1e-12 && exact < 1e-3, "{name}: {exact}");
        // 95 % of 400 is 380, standard error 4.4: four of them to either side.
        assert!((363..=397).contains(&held), "{name}: {held} of {TRIALS}");
        // No bias: the mean of the estimates within four of its standard errors.
        assert!((mean - 1.0).abs() < 4.0 * width / (TRIALS as f64).sqrt(), "{name}: {mean} ± {width}/20");
    }
}

#[test]
fn threads_and_lanes_change_no_bit() {
    for (name, rider) in [("demo", 0), ("14_chalk_notch", 2), ("30_kicker_crest", 0)] {
        let model = Model::new(&site(name)).unwrap();
        let steps = model.steps(&[&model.uncertainty]);
        let job = job(&model.setups[rider], &model.uncertainty, steps, 0, 5);
        let effort = Effort { look: 2_048, round: 1_024, estimate: 16_384 };
        let first = tail(&job, &effort, &Stop::default()).unwrap();
        for threads in [1, 2, 8] {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            for lanes in [16, 8, 4, 1] {
                let again = pool.install(|| tail_over(&job, &effort, &Stop::default(), lanes)).unwrap();
                assert!(again == first, "{name}: {threads} threads, {lanes} lanes: {again:?} {first:?}");
            }
        }
    }
}

#[test]
fn a_stop_is_obeyed() {
    let model = Model::new(&demo()).unwrap();
    let stop = Stop::default();
    stop.asked.store(true, std::sync::atomic::Ordering::SeqCst);
    assert!(tail(&job(&model.setups[0], &model.uncertainty, Steps::FINE, 0, 1), &Effort::USUAL, &stop).is_none());
}
