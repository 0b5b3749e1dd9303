//! The gaps at which a run comes down on the landing field, on level, rising and falling tops: against the run flown anew
//! at each gap.
#![allow(clippy::panic)]

use landfall::plan::model::Model;
use landfall::plan::{Parts, compute};
use landfall::sampling::Stop;
use landfall::sampling::random::{DRAWN, draw_tries};
use landfall::site::{Site, demo};
use landfall_core::inputs::{COUNT, Inputs};
use landfall_core::lane::Lane;
use landfall_core::ride::Steps;
use landfall_core::run::Setup;

/// Whether a run with the bag as it stands is between the front and the back margin.
fn between(setup: &Setup, inputs: &Inputs<f32>) -> bool {
    let run = setup.run(inputs, &Steps::FINE);
    let bag = &setup.bag;
    run.landed() && run.along_m >= bag.edge_front_m && run.along_m <= bag.length_m - bag.edge_back_m
}

fn windows(setup: &Setup, inputs: &Inputs<f32>) -> [(f32, f32); 2] {
    let end = setup.ride::<f32, false>(inputs, &Steps::FINE, |_| {});
    let start = setup.release(end.speed_mps, inputs);
    let (arrival, _) = setup.fly(&start, inputs, &Steps::FINE);
    setup.gap_windows(&start, &arrival, inputs, Steps::FINE.front).map(|window| (window.low_m, window.high_m))
}

fn site(front_m: f64, back_m: f64, gap_m: f64, length_m: f64) -> Site {
    [
        ("bag.edge_front", 1.0),
        ("bag.edge_back", 1.0),
        ("bag.front_height", front_m),
        ("bag.back_height", back_m),
        ("bag.gap", gap_m),
        ("bag.length", length_m),
        ("spread.botched", 0.2),
    ]
    .iter()
    .fold(demo(), |site, (key, value)| site.with_value(key, *value).unwrap_or_else(|faults| panic!("{key}: {faults}")))
}

/// What the runs of the trials were like.
#[derive(Debug, Default)]
struct Seen {
    trials: u32,
    no_far_end: u32,
    nowhere: u32,
    widest_m: f32,
}

#[test]
fn a_window_is_where_the_run_flown_anew_comes_down_on_the_field() {
    // Front and back height, length; the lip of the demo is 2.44 m high.
    let tops = [
        (2.2, 2.2, 10.0),
        (2.0, 2.5, 10.0),
        (1.8, 3.4, 9.0),
        (2.0, 4.6, 9.0),
        (2.0, 5.5, 5.0),
        (1.2, 5.2, 6.0),
        (2.6, 1.8, 10.0),
        (3.6, 1.4, 8.0),
        (4.4, 2.2, 9.0),
        (3.4, 4.4, 10.0),
    ];
    let mut seen = Seen::default();
    for (front_m, back_m, length_m) in tops {
        for gap_m in [0.3, 4.0] {
            let model = Model::new(&site(front_m, back_m, gap_m, length_m)).unwrap();
            let setup = &model.setups[0];
            let mut drawn = [[0.0; DRAWN]; COUNT];
            draw_tries(0, 5, &model.uncertainty, &mut drawn);
            for i in 0..DRAWN {
                let inputs = model.uncertainty.at(&drawn.map(|list| 1.5 * list[i]));
                let found = windows(setup, &inputs);
                let open = found.map(|(low, high)| low <= high);
                seen.nowhere += u32::from(!open[0] && !open[1]);
                let mut was_long = false;
                for step in 0..=240_u16 {
                    let at_m = 0.05 * f32::from(step);
                    let mut there = setup.clone();
                    there.bag.gap_m = at_m;
                    let run = there.run(&inputs, &Steps::FINE);
                    was_long |= run.landed() && run.along_m > there.bag.length_m - there.bag.edge_back_m;
                    let truth = between(&there, &inputs);
                    let told = found.iter().any(|(low, high)| (*low..=*high).contains(&at_m));
                    seen.trials += 1;
                    if truth != told {
                        // Then the gap is close to an end of a window: how close?
                        let off_m = found
                            .iter()
                            .flat_map(|(low, high)| [*low, *high])
                            .map(|end| (end - at_m).abs())
                            .fold(f32::INFINITY, Lane::min);
                        seen.widest_m = seen.widest_m.max(off_m);
                        // One long step to the height of a margin, and a parabola at the parallel to a falling top.
                        assert!(
                            off_m < 0.01,
                            "top {front_m} to {back_m} m over {length_m} m seen from {gap_m} m, run {i}: \
                             at {at_m} m {truth}, windows {found:?}"
                        );
                    }
                }
                seen.no_far_end += u32::from(open[0] && !was_long && back_m > front_m);
            }
        }
    }
    println!("{seen:?}");
    assert!(seen.no_far_end > 500 && seen.nowhere > 100, "{seen:?}");
}

/// A rising top whose back margin hardly any path clears: once every run was a miss at every gap.
#[test]
fn a_bag_that_rises_over_the_paths_has_a_band() {
    let parts = Parts { sampling: true, placement: true, ..Parts::QUICK };
    let mut site = site(2.0, 5.6, 0.8, 14.0);
    (site.spread.botched, site.spread.samples) = (0.0, 20_000);
    let found = compute(&site, parts, &Stop::default()).unwrap();
    let (p, sampling) = (&found.placement, found.spread.sampling.as_ref().unwrap());
    println!("{:?} least {:?}, {} misses", (p.gap_low_m, p.gap_high_m), p.least_miss, sampling.misses);
    assert!(sampling.outcomes["long"] == 0.0 && sampling.misses < 20, "{:?}", sampling.outcomes);
    assert!(p.gap_low_m.unwrap() < 0.8 && p.gap_high_m.unwrap() > 0.8);
}
