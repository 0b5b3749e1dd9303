//! The runs of one trick onto a landing.

#![allow(clippy::unwrap_used, clippy::panic)]

mod common;

use common::{kicker, setup, uncertainty};
use landfall_core::inputs::Uncertain;
use landfall_core::ride::Steps;
use landfall_dirt::landing::{Landing, Part};
use landfall_dirt::ready::{Ending, Flown, Planned, Wanted, ready};

const WANTED: Wanted = Wanted { chance: 0.95, confidence: 0.95 };

fn landing() -> Landing {
    Landing {
        deck_from_m: 2.0,
        knuckle_m: (3.2, 2.6),
        slope_rad: 0.6,
        slope_m: 4.2,
        radius_m: 9.0,
        run_out_m: 8.0,
        width_m: 3.0,
    }
}

fn run(label: usize, ending: Ending, along_m: f64, across_m: f64) -> Flown {
    Flown { label: label.to_string(), ending, along_m: Some(along_m), across_m: Some(across_m), lip_speed_mps: None }
}

#[test]
fn eighteen_of_twenty_are_counted_and_nothing_is_judged() {
    let numbers = kicker();
    let (setup, inputs) = (setup(&numbers), uncertainty(&numbers, 1.0).at_mean());
    let planned = Planned { along_m: (4.0, 0.5), across_m: (0.0, 0.4) };
    let flown: Vec<Flown> = (0..20)
        .map(|i| {
            let ending = match i {
                3 => Ending::Crash,
                11 => Ending::HandsOrFeet,
                _ => Ending::Clean,
            };
            run(i, ending, 1.5 + 0.25 * i as f64, if i == 19 { 1.8 } else { 0.1 })
        })
        .collect();
    let said = ready("tailwhip", &flown, &planned, &setup, &inputs, Some(&landing()), WANTED).unwrap();
    // scipy.stats.beta: 18 of 20 lie between 0.68302 and 0.98765.
    let clean = said.endings[0].1;
    assert_eq!((clean.count, clean.of), (18, 20));
    assert!((clean.low - 0.68302).abs() < 5e-6 && (clean.high - 0.98765).abs() < 5e-6, "{clean:?}");
    assert_eq!((said.clean_in_a_row, said.needed_in_a_row, said.still_needed), (8, Some(59), Some(51)));
    assert!(said.rule_of_three.is_none());
    let there = said.landing.unwrap();
    assert_eq!(there.known, 20);
    assert_eq!(there.short.count + there.on_slope.count + there.long.count, 20);
    assert!(there.short.count > 0 && there.on_slope.count > 5, "{there:?}");
    assert_eq!(there.off_side.count, 1);
    // Who comes down farther on the bag flew faster, and comes down farther on the landing.
    let places: Vec<f64> = there.runs.iter().map(|r| r.meet.unwrap().x_m).collect();
    assert!(places.windows(2).all(|w| w[1] >= w[0] - 1e-6), "{places:?}");
}

#[test]
fn a_runs_own_speed_leads_to_its_place_on_the_bag() {
    let numbers = kicker();
    let (setup, inputs) = (setup(&numbers), uncertainty(&numbers, 1.0).at_mean());
    let mean = setup.run(&inputs, &Steps::FINE);
    let planned = Planned { along_m: (4.0, 0.5), across_m: (0.0, 0.4) };
    let one = [run(1, Ending::Clean, f64::from(mean.along_m), 0.0)];
    let said = ready("jump", &one, &planned, &setup, &inputs, Some(&landing()), WANTED).unwrap();
    let there = &said.landing.unwrap().runs[0];
    // The mean run's own lip speed, to the digits of a float.
    let lip = f64::from(mean.ride_speed_mps + inputs.get(Uncertain::LipSpeed));
    assert!((there.lip_speed_mps.unwrap() - lip).abs() < 2e-3, "{there:?} {lip}");
    assert!(there.meet.is_some_and(|m| m.part == Part::Slope || m.part == Part::Deck));
    // One clean run: anything between 2.5 and 100 in 100, and the rule of three says nothing.
    assert!((said.endings[0].1.low - 0.025).abs() < 1e-9);
    assert_eq!(said.rule_of_three, Some(1.0));
}

#[test]
fn without_runs_nothing_is_known() {
    let numbers = kicker();
    let (setup, inputs) = (setup(&numbers), uncertainty(&numbers, 1.0).at_mean());
    let planned = Planned { along_m: (4.0, 0.5), across_m: (0.0, 0.4) };
    let said = ready("flip", &[], &planned, &setup, &inputs, Some(&landing()), WANTED).unwrap();
    assert_eq!((said.endings[0].1.low, said.endings[0].1.high), (0.0, 1.0));
    assert!(said.along.is_none() && said.landing.unwrap().hardest_fall_m.is_none());
}

#[test]
fn endings_are_read_as_people_write_them() {
    for (text, ending) in [
        ("clean", Some(Ending::Clean)),
        (" Hands or feet down", Some(Ending::HandsOrFeet)),
        ("hands_or_feet_down", Some(Ending::HandsOrFeet)),
        ("CRASH", Some(Ending::Crash)),
        ("nearly", None),
    ] {
        assert_eq!(Ending::read(text), ending, "{text}");
    }
}
