//! A few thousand mutated inputs for every reader of what comes from outside; `tests/fuzz/README.md` says how to try
//! millions.

use std::time::Duration;

use landfall_tests::mutated::{Dice, TARGETS, good, mutated, try_all};

#[test]
fn mutated_inputs_bring_no_panic_no_hang_and_nothing_that_acts() {
    let mut wrong = Vec::new();
    for target in &TARGETS {
        let (count, found) = try_all(target, 7, 0, 3 * target.share.max(20), Duration::from_secs(20));
        assert!(count > 50, "{}: {count}", target.name);
        wrong.extend(found);
    }
    let told: Vec<String> = wrong
        .iter()
        .take(10)
        .map(|one| format!("{} {:?}: {}\n{:?}", one.target, one.index, one.what, String::from_utf8_lossy(&one.input)))
        .collect();
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), told.join("\n"));
}

/// The good ones are read, so that what is tried comes behind the first line.
#[test]
fn the_same_seed_gives_the_same_inputs_and_they_differ() {
    for target in &TARGETS {
        let good = good(target);
        assert!(!good.is_empty(), "{}", target.name);
        let all: Vec<Vec<u8>> = (0..50).map(|index| mutated(target, &good, 3, index)).collect();
        let again: Vec<Vec<u8>> = (0..50).map(|index| mutated(target, &good, 3, index)).collect();
        assert_eq!(all, again);
        let changed = all.iter().filter(|one| !good.contains(one)).count();
        assert!(changed > 30, "{}: {changed}", target.name);
    }
    let mut dice = Dice::new(1);
    let mean = (0..1000).map(|_| dice.share()).sum::<f64>() / 1000.0;
    // Twelve standard deviations of such a mean.
    assert!((mean - 0.5).abs() < 0.11, "{mean}");
}
