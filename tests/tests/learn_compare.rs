//! A session beside its plan: how often it warns wrongly, how often it misses a change, how soon it sees one.

use landfall_core::inputs::{COUNT, Uncertain};
use landfall_learn::compare::{Change, Options, Session};
use landfall_learn::forward::{Base, Quantity, Trial};
use landfall_learn::runs::Method;
use landfall_plan::site::demo;
use landfall_tests::learn_sim::{normal, trial};
use rand::SeedableRng;
use rand::rngs::SmallRng;
use rayon::prelude::*;

const OPTIONS: Options = Options { speed_mps: 0.4, landing_m: 0.6, alpha: 0.02, beta: 0.1 };
const SESSIONS: u64 = 2_000;
const RUNS: usize = 20;

fn measured() -> Vec<(Quantity, f64, Option<f64>)> {
    let frame_sd_s = 1.0 / (60.0 * 6f64.sqrt());
    vec![
        (Quantity::LipSpeed(Method::Radar), 0.2, None),
        (Quantity::AirTime, frame_sd_s, Some(60.0)),
        (Quantity::Along, 0.1, None),
        (Quantity::Across, 0.1, None),
    ]
}

/// What is changed from the first run on.
#[derive(Clone, Copy)]
enum Made {
    Nothing,
    Slower,
    Shorter,
}

/// Whole sessions of the model itself: warned for the change after so many runs; called absent; warned for anything.
fn sessions(base: &Base, made: Made) -> Vec<(Option<usize>, bool, bool)> {
    let plain = Trial {
        label: String::new(),
        rider: None,
        setup: base.model.setups[0].clone(),
        inputs: base.mean,
        seen: Vec::new(),
    };
    let lip = [Quantity::LipSpeed(Method::Unstated)];
    let (_, slopes) = plain.derivatives_of(&lip, base, &[0.0; COUNT], |_| true).unwrap();
    let slower = -OPTIONS.speed_mps / slopes[(0, Uncertain::RollingResistance as usize)];
    (0..SESSIONS)
        .into_par_iter()
        .map(|seed| {
            let mut rng = SmallRng::seed_from_u64(seed);
            let mut day = [0.0; COUNT];
            for which in [Uncertain::RollingResistance, Uncertain::DragAreaRolling, Uncertain::DragAreaFlying] {
                day[which as usize] = base.of(which).1 * normal(&mut rng);
            }
            if matches!(made, Made::Slower) {
                day[Uncertain::RollingResistance as usize] += slower;
            }
            let looked = if matches!(made, Made::Shorter) { Change::Shorter } else { Change::Slower };
            let mut session = Session::new(base.clone(), OPTIONS);
            let (mut warned, mut absent) = (None, false);
            for number in 0..RUNS {
                let Some(mut run) = trial(&mut rng, base, number, 6.0, &day, &[1.0; 3], &measured()) else { continue };
                if matches!(made, Made::Shorter) {
                    run.seen[2].value -= OPTIONS.landing_m;
                }
                session.add(&run).unwrap();
                let standings = session.standings();
                let standing = standings.iter().find(|standing| standing.change == looked).unwrap();
                if standing.warned_after.is_some() && warned.is_none() {
                    warned = Some(number + 1);
                }
                absent |= standing.absent_after.is_some();
                if warned.is_some() && !matches!(made, Made::Nothing) {
                    break;
                }
            }
            (warned, absent, session.warned())
        })
        .collect()
}

/// The stated rates are upper bounds: what is counted may pass them by three standard deviations of the count.
#[test]
fn rates_are_as_stated() {
    let base = Base::new(&demo()).unwrap();
    let n = SESSIONS as f64;
    let at_most = |what: &str, count: usize, stated: f64| {
        let share = count as f64 / n;
        println!("{what}: {share:.4}, stated {stated}");
        let allowed = stated + 3.0 * (stated * (1.0 - stated) / n).sqrt();
        assert!(share <= allowed, "{what}: {share} for {stated}");
    };
    let quiet = sessions(&base, Made::Nothing);
    at_most("warned without a change", quiet.iter().filter(|s| s.2).count(), OPTIONS.alpha);
    for (made, name, least) in [(Made::Slower, "slower", 0.7), (Made::Shorter, "shorter", 0.7)] {
        let all = sessions(&base, made);
        at_most(name, all.iter().filter(|s| s.1 && s.0.is_none()).count(), OPTIONS.beta);
        let seen = all.iter().filter(|s| s.0.is_some()).count() as f64 / n;
        let mut after: Vec<usize> = all.iter().filter_map(|s| s.0).collect();
        after.sort_unstable();
        println!("{name}: seen {seen:.3} within {RUNS} runs, half of them after {}", after[after.len() / 2]);
        // No promise of the test: what is not known of the day (rolling resistance, drag) hides a part for good.
        assert!(seen >= least, "{name}: {seen}");
    }
}
