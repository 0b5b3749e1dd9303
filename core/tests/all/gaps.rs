//! The windows of gaps of one run against the same run flown anew at each gap.

use crate::site::{Site, mill_creek, sites};
use landfall_core::flight::Motion;
use landfall_core::inputs::{COUNT, Inputs};
use landfall_core::ride::{RideEnd, Steps};
use landfall_core::run::Setup;

/// Deviations of a standard deviation and a half at the most, the same at each call.
fn deviations(seed: &mut u32) -> [f32; COUNT] {
    [0.0; COUNT].map(|_: f32| {
        *seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        ((*seed >> 8) as f32 / 8_388_608.0 - 1.0) * 2.5
    })
}

/// Where a flight comes down with the bag at a gap: none off the plane or against the front.
fn comes_down_m(
    setup: &Setup,
    end: &RideEnd<f32>,
    start: &Motion<f32>,
    inputs: &Inputs<f32>,
    gap_m: f32,
) -> Option<f32> {
    let there = setup.with_bag(setup.bag().at_gap(gap_m));
    let (arrival, front) = there.fly(start, inputs, &Steps::FINE);
    let run = there.landing(end, &arrival, front, inputs);
    run.landed().then_some(run.along_m)
}

fn with_top(front_m: f32, back_m: f32, length_m: f32, gap_m: f32) -> Site {
    // The site with wind.
    let mut site = mill_creek();
    (site.bag.front_height_m, site.bag.back_height_m, site.bag.length_m) = (front_m, back_m, length_m);
    (site.bag.gap_m, site.bag.edge_front_m, site.bag.edge_back_m) = (gap_m, 1.0, 0.8);
    site
}

#[test]
fn a_window_is_where_the_run_flown_anew_comes_down_on_the_field() {
    // Front and back height, length; the lip is 2.44 m high.
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
        (1.4, 4.8, 4.0),
        (2.0, 5.4, 4.2),
        (2.0, 4.8, 4.0),
    ];
    let (mut seed, mut trials, mut ends, mut nowhere, mut two) = (7_u32, 0, 0, 0, 0);
    for (front_m, back_m, length_m) in tops {
        for seen_from_m in [0.3, 4.0] {
            let site = with_top(front_m, back_m, length_m, seen_from_m);
            let (setup, uncertainty) = (site.setup(0), site.uncertainty());
            let end = setup.ride::<f32, false>(&uncertainty.at_mean(), &Steps::FINE, |_| {});
            // Forward and up: slow, fast, steep, flat.
            for (forward_mps, up_mps) in
                [(3.0, 6.5), (4.0, 6.5), (5.0, 4.0), (8.0, 5.0), (12.0, 5.5), (11.0, 5.0), (4.5, 2.0)]
            {
                let inputs = uncertainty.at(&deviations(&mut seed));
                let velocity_mps = [forward_mps, 0.1, up_mps];
                let start = Motion { place_m: [-0.8, 0.0, 3.2], velocity_mps };
                let (arrival, _) = setup.fly(&start, &inputs, &Steps::FINE);
                let found = setup.gap_windows(&start, &arrival, &inputs, Steps::FINE.front);
                let open = found.map(|window| window.low_m <= window.high_m);
                nowhere += u32::from(!open[0] && !open[1]);
                two += u32::from(open[0] && open[1]);
                for step in 0..120_u16 {
                    let at_m = 0.1 * f32::from(step) + 0.013;
                    let on_field = |along_m: f32| along_m >= 1.0 && along_m <= length_m - 0.8;
                    let truth = comes_down_m(&setup, &end, &start, &inputs, at_m).is_some_and(on_field);
                    let told = found.iter().any(|window| (window.low_m..=window.high_m).contains(&at_m));
                    trials += 1;
                    if truth != told {
                        // Then the gap is close to an end of a window.
                        let off_m = found
                            .iter()
                            .flat_map(|window| [window.low_m, window.high_m])
                            .map(|end_m| (end_m - at_m).abs())
                            .fold(f32::INFINITY, f32::min);
                        assert!(
                            off_m < 0.01,
                            "top {front_m} to {back_m} over {length_m} m from {seen_from_m} m, {velocity_mps:?}: \
                             at {at_m} m {truth}, windows {found:?}"
                        );
                    }
                }
                for (window, open) in found.iter().zip(open) {
                    // At an end that a margin sets the run comes down on that margin.
                    for end_m in [window.low_m, window.high_m] {
                        let Some(along_m) =
                            comes_down_m(&setup, &end, &start, &inputs, end_m).filter(|_| open && end_m > 0.0)
                        else {
                            continue;
                        };
                        if (along_m - 1.0).abs() < 2e-3 || (along_m - (length_m - 0.8)).abs() < 2e-3 {
                            ends += 1;
                        }
                    }
                }
            }
        }
    }
    assert!(trials > 10_000 && nowhere > 10 && two > 2 && ends > 80, "{trials} {nowhere} {two} {ends}");
}

#[test]
fn few_steps_keep_their_tolerance_on_other_runs() {
    let mut seed = 3_u32;
    for site in sites() {
        let (setup, uncertainty) = (site.setup(0), site.uncertainty());
        let probes: Vec<_> = (0..COUNT)
            .flat_map(|which| [-4.0, 4.0].map(|far| (which, far)))
            .map(|(which, far)| {
                let mut deviations = [0.0; COUNT];
                deviations[which] = far;
                setup.probe(&uncertainty.at(&deviations))
            })
            .collect();
        let steps = setup.choose_steps(&probes, 1e-4);
        let coarse = setup.choose_steps(&probes, 1e-2);
        let cost = |steps: &Steps| steps.start + steps.straight + steps.arc + steps.takeoff + steps.flight;
        // Cheaper than the fine ones, and the cheaper the less is asked.
        assert!(cost(&steps) < cost(&Steps::FINE) && cost(&coarse) < cost(&steps), "{}: {steps:?}", site.name);
        assert_eq!(steps.lip, 1);
        for _ in 0..20 {
            let inputs = uncertainty.at(&deviations(&mut seed));
            let (fine, few) = (setup.run(&inputs, &Steps::FINE), setup.run(&inputs, &steps));
            if fine.landed() {
                assert!((fine.along_m - few.along_m).abs() < 2e-4, "{}: {fine:?} {few:?}", site.name);
                let off_m = (fine.along_m - setup.run(&inputs, &coarse).along_m).abs();
                assert!(off_m < 2e-2, "{}: {off_m}", site.name);
            }
        }
    }
}
