//! Tries mutated inputs by the million: `cargo run --release -p landfall-tests --bin mutated -- 10000000`, then a seed
//! (1 by default) and the name of a target (all by default). Prints what was tried, and every input that was wrong.

use std::process::ExitCode;
use std::time::{Duration, Instant};

use landfall_tests::mutated::{Found, TARGETS, Target, try_all};
use rayon::prelude::*;

/// Inputs of one piece of the work.
const PIECE: u64 = 2000;

fn main() -> ExitCode {
    let mut args = std::env::args().skip(1);
    let number = |text: Option<String>, usual: u64| text.and_then(|text| text.parse().ok()).unwrap_or(usual);
    let (count, seed) = (number(args.next(), 1_000_000), number(args.next(), 1));
    let only = args.next();
    let targets: Vec<&Target> =
        TARGETS.iter().filter(|target| only.as_deref().is_none_or(|name| name == target.name)).collect();
    let shares: u64 = targets.iter().map(|target| target.share).sum();
    // A panic is told below, with its input.
    std::panic::set_hook(Box::new(|_| {}));
    let (mut total, mut wrong) = (0, 0);
    for target in targets {
        let begun = Instant::now();
        let inputs = count * target.share / shares.max(1);
        let pieces = inputs.div_ceil(PIECE);
        let done: Vec<(u64, Vec<Found>)> = (0..pieces)
            .into_par_iter()
            .map(|piece| {
                let first = piece * PIECE;
                try_all(target, seed, first, PIECE.min(inputs - first), Duration::from_secs(5))
            })
            .collect();
        // The good ones are tried with every piece and counted once.
        let good = done.first().map_or(0, |(tried, _)| tried - PIECE.min(inputs));
        let found: Vec<&Found> = done.iter().flat_map(|(_, found)| found).collect();
        println!("{}: {} inputs, {} wrong, {:.1?}", target.name, inputs + good, found.len(), begun.elapsed());
        for one in found.iter().take(10) {
            println!(
                "  input {:?} of seed {seed}: {}\n    {:?}",
                one.index,
                one.what,
                String::from_utf8_lossy(&one.input)
            );
        }
        total += inputs + good;
        wrong += found.len();
    }
    println!("{total} inputs, {wrong} wrong");
    if wrong == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
