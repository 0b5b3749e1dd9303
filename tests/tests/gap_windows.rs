//! The gaps at which a run comes down on the landing field, on level, rising and falling tops: against the run flown anew
//! at each gap.
#![allow(clippy::panic)]

use landfall_core::inputs::{COUNT, Inputs, Uncertain};
use landfall_core::lane::Lane;
use landfall_core::ride::Steps;
use landfall_core::run::Setup;
use landfall_plan::plan::model::Model;
use landfall_plan::plan::sampled::Landings;
use landfall_plan::plan::search::{Draws, MissOverGap};
use landfall_plan::plan::{Parts, compute};
use landfall_plan::site::{Site, demo};
use landfall_sampling::Stop;
use landfall_sampling::random::{DRAWN, draw_tries};

/// Whether a run with the bag as it stands is between the front and the back margin.
fn between(setup: &Setup, inputs: &Inputs<f32>) -> bool {
    let run = setup.run(inputs, &Steps::FINE);
    let bag = &setup.bag();
    run.landed() && run.along_m >= bag.edge_front_m() && run.along_m <= bag.length_m() - bag.edge_back_m()
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
                    let there = setup.with_bag(setup.bag().at_gap(at_m));
                    let run = there.run(&inputs, &Steps::FINE);
                    was_long |= run.landed() && run.along_m > there.bag().length_m() - there.bag().edge_back_m();
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

/// A parabola over a straight top, in double precision: where the contact point lies behind the front edge at a gap; none
/// where the path does not come down on the top, or meets the front.
///
/// Over the top's line through the front edge, raised by the contact height, the centre of mass is
/// f(t) = f0 + w t - g t^2/2 high, w the speed away from the line. It comes down where f falls through 0: at the later
/// root. It meets the front where f is below 0 as it passes the edge.
struct Parabola {
    x_m: f64,
    z_m: f64,
    forward_mps: f64,
    up_mps: f64,
    front_z_m: f64,
    climb: f64,
    contact_m: f64,
}

impl Parabola {
    fn along_m(&self, gap_m: f64) -> Option<f64> {
        let g = 9.80665;
        let cos = 1.0 / self.climb.hypot(1.0);
        let f0 = self.z_m - self.front_z_m - self.climb * (self.x_m - gap_m) - self.contact_m / cos;
        let w = self.up_mps - self.climb * self.forward_mps;
        let down_s = (w + (w * w + 2.0 * g * f0).sqrt()) / g;
        if !(down_s > 0.0) {
            return None;
        }
        let edge_s = (gap_m - self.x_m) / self.forward_mps;
        if edge_s > 0.0 && f0 + w * edge_s - 0.5 * g * edge_s * edge_s < 0.0 {
            return None;
        }
        Some(self.x_m + self.forward_mps * down_s + self.contact_m * self.climb * cos - gap_m)
    }
}

/// Fast runs, which go on rising while they are over the top.
fn from_high_up(site: Site) -> Site {
    site.with_value("roll_in.start_height", 8.5).unwrap_or_else(|faults| panic!("{faults}"))
}

/// On steep tops a run that can be long lands on the field at gaps of two pieces, on the way up and on the way down, with
/// gaps between them at which it is long. Without air the gaps are those of a parabola and a straight line.
#[test]
fn windows_in_two_pieces_are_those_of_a_parabola() {
    let (mut trials, mut in_two, mut widest_m, mut second_m) = (0_u32, 0_u32, 0.0_f64, 0.0_f64);
    for (front_m, back_m, length_m) in
        [(2.4, 6.2, 4.0), (3.0, 6.2, 4.0), (2.6, 6.0, 3.6), (1.2, 5.2, 4.0), (2.0, 6.5, 6.0), (2.2, 4.2, 5.0)]
    {
        for gap_m in [0.3, 3.0] {
            let model = Model::new(&from_high_up(site(front_m, back_m, gap_m, length_m))).unwrap();
            let setup = &model.setups[0];
            let mut drawn = [[0.0; DRAWN]; COUNT];
            draw_tries(1, 5, &model.uncertainty, &mut drawn);
            for i in 0..DRAWN {
                let inputs = model.uncertainty.at(&drawn.map(|list| 1.5 * list[i]));
                let inputs = inputs.with(Uncertain::DragAreaFlying, 0.0);
                let end = setup.ride::<f32, false>(&inputs, &Steps::FINE, |_| {});
                let start = setup.release(end.speed_mps, &inputs);
                let path = Parabola {
                    x_m: f64::from(start.place_m[0]),
                    z_m: f64::from(start.place_m[2]),
                    forward_mps: f64::from(start.velocity_mps[0]),
                    up_mps: f64::from(start.velocity_mps[2]),
                    front_z_m: front_m,
                    climb: (back_m - front_m) / length_m,
                    contact_m: f64::from(inputs.get(Uncertain::ContactHeight)),
                };
                let found = windows(setup, &inputs);
                // Pieces of the gaps on the field, told from each other by a gap at which the run is long.
                let (mut pieces, mut was_on) = (0, false);
                for step in 0..=1_000_u16 {
                    let at_m = 0.012 * f64::from(step);
                    let truth = path.along_m(at_m).is_some_and(|along_m| (1.0..=length_m - 1.0).contains(&along_m));
                    pieces += u32::from(truth && !was_on);
                    was_on = truth;
                    let told = found.iter().any(|(low, high)| (f64::from(*low)..=f64::from(*high)).contains(&at_m));
                    trials += 1;
                    if truth != told {
                        let off_m = found
                            .iter()
                            .flat_map(|(low, high)| [f64::from(*low), f64::from(*high)])
                            .map(|end| (end - at_m).abs())
                            .fold(f64::INFINITY, f64::min);
                        widest_m = widest_m.max(off_m);
                        // A millimetre of single precision and fine steps.
                        assert!(
                            off_m < 1e-3,
                            "top {front_m} to {back_m} m over {length_m} m seen from {gap_m} m, run {i}: at {at_m} m {truth}, \
                             windows {found:?}"
                        );
                    }
                }
                if pieces == 2 {
                    in_two += 1;
                    second_m = second_m.max(f64::from(found[1].1 - found[1].0));
                }
                assert!(pieces <= 2, "{pieces} pieces: {found:?}");
            }
        }
    }
    println!("{trials} gaps, {in_two} runs in two pieces, the second up to {second_m} m, widest off {widest_m} m");
    assert!(in_two > 100 && second_m > 0.2, "{in_two} {second_m}");
}

/// With windows in two pieces the share of misses over the gap, counted from the windows alone, is that of the same runs
/// flown anew with the bag there.
#[test]
fn misses_over_the_gap_count_both_pieces() {
    let stop = Stop::default();
    let (front_m, back_m, length_m) = (2.4, 6.2, 4.0);
    let drawn = |gap_m: f64| {
        let mut there = from_high_up(site(front_m, back_m, gap_m, length_m));
        there.spread.samples = 20_000;
        let model = Model::new(&there).unwrap();
        let draws = Draws { samples: there.spread.samples, seed: there.spread.seed, stop: &stop };
        Landings::draw(&model, &[None, None, None], &draws, true).unwrap()
    };
    let here = drawn(0.3);
    let curve = MissOverGap::new(&[here.mean()]).unwrap();
    let mut least = 1.0_f64;
    for gap_m in [0.3, 1.0, 1.7, 2.4, 3.1, 3.8, 4.5, 5.2, 5.9, 6.6, 7.3, 8.0] {
        let anew = drawn(gap_m);
        let share = anew.mean().misses() as f64 / anew.mean().runs as f64;
        println!("{gap_m}: {} anew {share}", curve.at(gap_m));
        // Side margins are taken at the present gap, and ends of windows counted in bins: 1 run in 1,000.
        assert!((curve.at(gap_m) - share).abs() < 1e-3, "at {gap_m} m {} anew {share}", curve.at(gap_m));
        least = least.min(share);
    }
    assert!(least < 0.6, "{least}");
}

/// A rising top whose back margin hardly any path clears: once every run was a miss at every gap.
#[test]
fn a_bag_that_rises_over_the_paths_has_a_band() {
    let parts = Parts { sampling: true, placement: true, ..Parts::QUICK };
    let mut site = site(2.0, 5.6, 0.8, 14.0);
    (site.spread.botched, site.spread.samples) = (0.0, 20_000);
    let found = compute(&site, parts, &Stop::default()).unwrap();
    let (p, sampling) = (&found.placement, found.spread.sampling.as_ref().unwrap());
    println!(
        "{:?} least {:?}, {} misses",
        (p.gap_low_m.get(), p.gap_high_m.get()),
        p.least_miss.get(),
        sampling.misses
    );
    assert!(sampling.outcomes["long"] == 0.0 && sampling.misses < 20, "{:?}", sampling.outcomes);
    assert!(p.gap_low_m.get().unwrap() < 0.8 && p.gap_high_m.get().unwrap() > 0.8);
}
