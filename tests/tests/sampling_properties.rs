//! The sampling: the same bits at any number of threads and lanes, agreement with many more runs, with fine steps and
//! with the divided differences, and fixed memory.
#![allow(clippy::panic)]

use landfall_core::bag::{Bag, BagInput, Outcome};
use landfall_core::inputs::{COUNT, Uncertainty};
use landfall_core::ride::Steps;
use landfall_core::run::Setup;
use landfall_core::spread::mixture;
use landfall_plan::plan::interval::clopper_pearson;
use landfall_plan::plan::model::Model;
use landfall_plan::plan::parts::DETAIL;
use landfall_plan::plan::sampled::kind_agrees;
use landfall_plan::site::{demo, read_site};
use landfall_sampling::random::{DRAWN, draw_tries};
use landfall_sampling::{Job, Sampled, Stop, sample, sample_over};
use landfall_tests::checks::{Check, Scale};
use rayon::prelude::*;
use std::path::Path;

/// The models of the reference sites and of the demo.
fn models() -> Vec<(String, Model)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/sites");
    let mut paths: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    let mut list = vec![("demo".to_owned(), Model::new(&demo()).unwrap())];
    for path in paths {
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let site = read_site(&std::fs::read_to_string(&path).unwrap(), &name);
        let site = site.unwrap_or_else(|faults| panic!("{name}: {faults}"));
        list.push((name, Model::new(&site).unwrap()));
    }
    assert!(list.len() > 32);
    list
}

fn job<'a>(setup: &'a Setup, uncertainty: &'a Uncertainty, steps: Steps, samples: u64, seed: u64) -> Job<'a> {
    let bounds = Some([[-30.0, 30.0], [-10.0, 10.0], [0.0, 15.0]]);
    Job { setup, uncertainty, steps, samples, first: 0, seed, bounds, gaps_to_m: Some(20.0) }
}

fn whole(sampled: &Sampled) -> String {
    // Floating-point numbers print so that they read back to the same bits.
    format!("{sampled:?}")
}

#[test]
fn threads_and_lanes_change_no_bit() {
    // Not a multiple of a block, of what is drawn at once, or of any number of lanes.
    let samples = 30_011;
    for (name, model) in models().into_iter().filter(|(name, _)| {
        ["demo", "02", "06", "11", "18", "29", "30", "32"].iter().any(|start| name.starts_with(start))
    }) {
        let steps = model.steps(&[&model.uncertainty]);
        let job = job(&model.setups[2], &model.uncertainty, steps, samples, 11);
        let first = whole(&sample(&job, &Stop::default()).unwrap());
        for threads in [1, 2, 8] {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            for lanes in [16, 8, 4, 1] {
                let again = pool.install(|| sample_over(&job, &Stop::default(), lanes)).unwrap();
                assert!(whole(&again) == first, "{name}: {threads} threads, {lanes} lanes");
            }
        }
        // A part of the runs is the same part.
        let seen = sample(&Job { samples: 8_192, ..job.clone() }, &Stop::default()).unwrap();
        let rest = sample(&Job { first: 8_192, samples: samples - 8_192, ..job.clone() }, &Stop::default()).unwrap();
        let both: Vec<u64> = seen.outcomes.iter().zip(rest.outcomes).map(|(a, b)| a + b).collect();
        assert_eq!(both, sample(&job, &Stop::default()).unwrap().outcomes, "{name}");
        let other = whole(&sample(&Job { seed: 12, ..job.clone() }, &Stop::default()).unwrap());
        assert!(other != first || name.starts_with("30"), "{name}: another seed changes nothing");
    }
}

#[test]
fn a_million_other_runs_agree() {
    let mut check = Check::new("million", Scale::StandardErrors, 5.0);
    for (name, model) in models()
        .iter()
        .filter(|(name, _)| ["demo", "05", "10", "12", "18", "31"].iter().any(|start| name.starts_with(start)))
    {
        let steps = model.steps(&[&model.uncertainty]);
        let few = sample(&job(&model.setups[0], &model.uncertainty, steps, 100_000, 1), &Stop::default()).unwrap();
        let many = sample(&job(&model.setups[0], &model.uncertainty, steps, 1_000_000, 2), &Stop::default()).unwrap();
        let (n, m) = (1e5, 1e6);
        for (i, quantity) in ["along", "across", "normal"].iter().enumerate() {
            let se = many.sd[i] * (1.0f64 / n + 1.0 / m).sqrt();
            check.deviation(format!("{name} mean {quantity}"), (few.mean[i] - many.mean[i]).abs() / se);
            let se = many.sd[i] * (0.5f64 / n + 0.5 / m).sqrt();
            check.deviation(format!("{name} sd {quantity}"), (few.sd[i] - many.sd[i]).abs() / se);
        }
        for outcome in Outcome::ALL {
            let (a, b) = (few.count(outcome) as f64 / n, many.count(outcome) as f64 / m);
            let p = (few.count(outcome) + many.count(outcome)) as f64 / (n + m);
            if p > 0.0 {
                let se = (p * (1.0 - p)).max(1.0 / n) * (1.0 / n + 1.0 / m);
                check.deviation(format!("{name} {}", outcome.name()), (a - b).abs() / se.sqrt());
            }
        }
    }
    check.finish();
}

/// How many of the first runs get another outcome with these steps than with fine ones, and how many meet the front.
fn changed(setup: &Setup, uncertainty: &Uncertainty, steps: &Steps, runs: u64) -> (u64, u64) {
    let blocks = runs / DRAWN as u64;
    (0..blocks)
        .into_par_iter()
        .map(|block| {
            let mut drawn = [[0.0f32; DRAWN]; COUNT];
            draw_tries(block * DRAWN as u64, 3, uncertainty, &mut drawn);
            let (mut changed, mut front) = (0, 0);
            for i in 0..DRAWN {
                let inputs = uncertainty.at(&drawn.map(|list| list[i]));
                let fine = setup.run(&inputs, &Steps::FINE).outcome(setup.bag(), 0);
                let taken = setup.run(&inputs, steps).outcome(setup.bag(), 0);
                changed += u64::from(fine != taken);
                front += u64::from(fine == Outcome::Front);
            }
            (changed, front)
        })
        .reduce(|| (0, 0), |a, b| (a.0 + b.0, a.1 + b.1))
}

#[test]
fn steps_change_at_most_one_outcome_in_ten_thousand() {
    let runs = 20_480;
    let mut most = (0, String::new());
    let mut with_front = 0;
    for (name, model) in models() {
        let mut setups = vec![(name.clone(), model.clone())];
        // The bag's front near the path: a top above the body at the release, and a short gap.
        if ["demo", "01", "12", "14"].iter().any(|start| name.starts_with(start)) {
            for above_m in [0.6f32, 1.0, 1.4] {
                for gap_m in [0.2f32, 0.6, 1.2, 2.4] {
                    let mut near = model.clone();
                    for setup in &mut near.setups {
                        let top_m = setup.takeoff().height_m() + above_m - setup.bag().base_level_m();
                        let bag =
                            BagInput { front_height_m: top_m, back_height_m: top_m, gap_m, ..setup.bag().input() };
                        *setup = setup.with_bag(Bag::new(bag).unwrap());
                    }
                    setups.push((format!("{name}, top {above_m} m above the lip, gap {gap_m} m"), near));
                }
            }
        }
        for (name, model) in setups {
            let steps = model.steps(&[&model.uncertainty]);
            let (changed, front) = changed(&model.setups[1], &model.uncertainty, &steps, runs);
            with_front += u64::from(front > runs / 100 && front < runs - runs / 100);
            if changed > most.0 {
                most = (changed, name.clone());
            }
            assert!(changed * 10_000 <= runs, "{name}: {changed} of {runs} with {steps:?}");
        }
    }
    println!("at most {} of {runs} changed: {}; {with_front} with many runs against the front", most.0, most.1);
    assert!(with_front >= 5, "{with_front} set-ups with the front near the path");
}

/// Good and botched tries apart: within four standard errors and 2 % of the standard deviation for good ones, 5 % for
/// botched ones, whose clips bend them; or the report says so.
#[test]
fn divided_differences_agree_with_the_sampling_or_are_said_not_to() {
    let (mut agreeing, mut not) = (0, Vec::new());
    for (name, mut model) in models() {
        // Enough botched tries to tell.
        model.uncertainty = model.uncertainty.with_botched(0.2, 2.0).unwrap();
        let Some(spread) = mixture(&model.setups[0], &model.uncertainty, &DETAIL) else { continue };
        let steps = model.steps(&[&model.uncertainty]);
        let job = job(&model.setups[0], &model.uncertainty, steps, 100_000, 5);
        let drawn = sample(&job, &Stop::default()).unwrap();
        let [good, botched] = &drawn.kinds;
        let n = drawn.landed() as f64;
        assert_eq!(good.landed + botched.landed, drawn.landed(), "{name}");
        assert!((botched.landed as f64 / n - 0.2).abs() < 0.05, "{name}: {} of {n}", botched.landed);
        let both = kind_agrees(&spread.good, good, 0.02) && kind_agrees(&spread.botched, botched, 0.05);
        if both {
            agreeing += 1;
            // Then the mixture's mean and standard deviation are those of all the runs. A mixture's fourth moment is
            // larger than a normal's: 8 standard errors of a normal's standard deviation.
            for (mean, sd, i) in [
                (spread.mean_along_m(), spread.sd_along_m(), 0),
                (spread.mean_across_m(), spread.sd_across_m(), 1),
                (spread.mean_normal_mps(), spread.sd_normal_mps(), 2),
            ] {
                let off = (f64::from(mean) - drawn.mean[i]).abs() / drawn.sd[i];
                assert!(off < 4.0 / n.sqrt() + 0.03, "{name}: mean {i} {mean}, {off} standard deviations off");
                let off = (f64::from(sd) / drawn.sd[i] - 1.0).abs();
                assert!(off < 8.0 / (2.0 * n).sqrt() + 0.05, "{name}: sd {i} {sd} for {}", drawn.sd[i]);
            }
        } else {
            not.push(name.clone());
        }
        if name == "demo" {
            assert!(both, "the demo's response is close to linear: {spread:?} {:?}", drawn.kinds);
        }
    }
    println!("{agreeing} agree; not {not:?}");
    assert!(agreeing >= 20, "{agreeing}");
}

/// With a share of botched tries the runs are those of the good sampling and of the botched one, each in its share.
#[test]
fn tries_are_a_mixture_of_both_kinds() {
    let mut check = Check::new("mixed_tries", Scale::StandardErrors, 5.0);
    for (name, model) in models().iter().filter(|(name, _)| ["demo", "05", "12"].iter().any(|s| name.starts_with(s))) {
        let steps = model.steps(&[&model.uncertainty.with_botched(0.2, 2.0).unwrap()]);
        let draw = |uncertainty: &Uncertainty, seed: u64| {
            sample(&job(&model.setups[0], uncertainty, steps, 400_000, seed), &Stop::default()).unwrap()
        };
        let tries = model.uncertainty.with_botched(0.2, 2.0).unwrap();
        let (all, good, botched) = (draw(&tries, 1), draw(&tries.good_tries(), 2), draw(&tries.botched_tries(), 3));
        for outcome in Outcome::ALL {
            let n = 400_000.0;
            let share = |sampled: &Sampled| sampled.count(outcome) as f64 / n;
            let (p, g, b) = (share(&all), share(&good), share(&botched));
            let expected = 0.8 * g + 0.2 * b;
            if expected > 1.0e-4 {
                let error = (expected + 0.64 * g + 0.04 * b).sqrt() / n.sqrt();
                check.deviation(format!("{name} {}", outcome.name()), (p - expected).abs() / error);
            }
        }
        // A share of 0 changes no bit.
        let none = draw(&Uncertainty { botched: 0.0, ..tries }, 2);
        assert_eq!(whole(&none), whole(&good), "{name}");
    }
    check.finish();
}

#[test]
fn the_exact_interval_holds_what_it_should() {
    // Of many samplings of 4,096 runs, about 95 % of the intervals hold the chance that a million runs give.
    let (_, model) = models().into_iter().find(|(name, _)| name.starts_with("12")).unwrap();
    let steps = model.steps(&[&model.uncertainty]);
    let all = sample(&job(&model.setups[0], &model.uncertainty, steps, 1_000_000, 9), &Stop::default()).unwrap();
    let chance = all.misses() as f64 / 1e6;
    assert!(chance > 0.01 && chance < 0.2, "{chance}");
    let trials = 300u64;
    let held = (0..trials)
        .filter(|trial| {
            let job =
                Job { first: 2_000_000 + trial * 4_096, ..job(&model.setups[0], &model.uncertainty, steps, 4_096, 9) };
            let (low, high) = clopper_pearson(sample(&job, &Stop::default()).unwrap().misses(), 4_096);
            (low..=high).contains(&chance)
        })
        .count();
    // 95 % of 300 is 285, standard error 3.8; the exact interval holds at least that.
    assert!(held >= 270, "{held} of {trials}");
}

/// Highest resident memory of this process, kB.
#[cfg(target_os = "linux")]
fn peak_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmHWM")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

/// Run by the next test in a process of its own, since the peak is that of a whole process.
#[cfg(target_os = "linux")]
#[test]
#[ignore = "run by ten_million_runs_take_fixed_memory"]
fn ten_million_runs() {
    let model = Model::new(&demo()).unwrap();
    let steps = model.steps(&[&model.uncertainty]);
    let job = job(&model.setups[0], &model.uncertainty, steps, 10_000_000, 1);
    let drawn = sample(&job, &Stop::default()).unwrap();
    assert_eq!(drawn.outcomes.iter().sum::<u64>(), 10_000_000);
    println!("peak {} kB", peak_kb());
}

#[cfg(target_os = "linux")]
#[test]
fn ten_million_runs_take_fixed_memory() {
    let output = std::process::Command::new(std::env::current_exe().unwrap())
        .args(["sampling_properties::ten_million_runs", "--exact", "--ignored", "--nocapture"])
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{text}");
    let peak = text.split("peak ").nth(1).and_then(|rest| rest.split(' ').next()).unwrap();
    let peak_kb: u64 = peak.parse().unwrap();
    println!("10 million runs: {peak_kb} kB at the most");
    assert!(peak_kb < 200_000, "{peak_kb} kB");
}
