//! Rides, flights, their spread, stop lines, the short zone and sizing of whole sites.

use crate::site::{Site, ends_early, sites};
use landfall_core::bag::Outcome;
use landfall_core::flight::fly_to_apex;
use landfall_core::inputs::{Inputs, Uncertain};
use landfall_core::ride::Steps;
use landfall_core::run::Setup;
use landfall_core::short_zone::{Hit, clearing_speed_mps, front_from_mps, short_run};
use landfall_core::sizing::{Goal, shape, start_height};
use landfall_core::spread::{Differences, Mixture, differences, mixture};
use landfall_core::stop_line::last_stop_line;
use landfall_core::takeoff::TakeOff;
use serde_json::Value;

/// Compares with a number of the second solution.
pub fn near(at: &str, key: &str, got: f32, expected: &Value, tolerance: f64) {
    let expected = expected[key].as_f64().unwrap_or_else(|| panic!("{at} {key}: {}", expected[key]));
    assert!((f64::from(got) - expected).abs() <= tolerance, "{at} {key}: {got} for {expected}");
}

/// From the foot of the take-off to the release, and to the lip in all.
fn times_s(setup: &Setup, inputs: &Inputs<f32>) -> (f32, f32) {
    let mut foot_s = 0.0;
    let end = setup.ride::<f32, true>(inputs, &Steps::FINE, |point| {
        if point.before_foot_m > -1e-6 {
            foot_s = point.time_s;
        }
    });
    (end.time_s - foot_s, end.time_s)
}

#[test]
fn rides_and_flights() {
    for site in sites() {
        let (name, want) = (site.name, &site.expected);
        let (setup, inputs) = (site.setup(0), site.uncertainty().at_mean());
        let run = setup.run(&inputs, &Steps::FINE);
        let ride = &want["ride"];
        near(name, "lip_speed_mps", run.ride_speed_mps, ride, 1e-4);
        near(name, "lip_angle_deg", setup.takeoff().lip_rad().to_degrees(), ride, 1e-4);
        near(name, "surface_to_foot_m", setup.path().length_m(), ride, 1e-4);
        let release = setup.takeoff().release(inputs.get(Uncertain::Carry));
        near(name, "release_angle_deg", release.sin.atan2(release.cos).to_degrees(), ride, 1e-4);
        near(name, "time_to_lip_s", times_s(&setup, &inputs).1, ride, 2e-4);
        let flight = &want["flight"];
        near(name, "airtime_s", run.airtime_s, flight, 1e-4);
        near(name, "along_m", run.along_m, flight, 2e-4);
        near(name, "across_m", run.across_m, flight, 1e-5);
        near(name, "impact_normal_mps", run.normal_mps, flight, 1e-4);
        let speed2: f32 = run.contact.velocity_mps.iter().map(|v| v * v).sum();
        near(name, "impact_speed_mps", speed2.sqrt(), flight, 1e-4);
        assert_eq!(run.outcome(setup.bag(), 0).name(), flight["outcome"], "{name}");
        let shape = shape(&setup, &inputs).unwrap();
        near(name, "distance_from_lip_m", shape.distance_from_lip_m, flight, 2e-4);
        near(name, "apex_above_lip_m", shape.apex_above_lip_m, flight, 1e-4);
        near(name, "equivalent_fall_height_m", shape.equivalent_fall_height_m, flight, 1e-4);
        // Found at the ends of the steps alone.
        near(name, "peak_load_g", shape.peak_load_g, ride, 1e-3);
        let start = setup.release(run.ride_speed_mps, &inputs);
        let (rise_s, _) = fly_to_apex(&start, &setup.drag(&inputs), Steps::FINE.flight);
        assert!(rise_s > 0.3 && rise_s < run.airtime_s, "{name}: {rise_s}");
        for (rider, key) in [(1, "lightest"), (2, "heaviest")] {
            let run = site.setup(rider).run(&inputs, &Steps::FINE);
            let want = &want["riders"][key];
            near(name, "along_m", run.along_m, want, 2e-4);
            near(name, "airtime_s", run.airtime_s, want, 1e-4);
            near(name, "impact_normal_mps", run.normal_mps, want, 1e-4);
            near(name, "lip_speed_mps", run.ride_speed_mps, want, 1e-4);
        }
    }
}

#[test]
fn rides_that_end_early() {
    let close = Steps { start: 64, straight: 64, arc: 64, takeoff: 64, ..Steps::FINE };
    let [crest, grass] = ends_early();
    let (setup, inputs) = (crest.setup(0), crest.uncertainty().at_mean());
    let mut left = None;
    let end = setup.ride::<f32, false>(&inputs, &close, |point| {
        if point.load_mps2 < 0.0 && left.is_none() {
            left = Some((point.before_foot_m, point.energy_m2ps2.sqrt()));
        }
    });
    assert!(end.left && !end.stalled);
    let (before_foot_m, speed_mps) = left.unwrap();
    // Within one of 64 steps on an arc of 1.8 m.
    near("crest", "before_foot_m", before_foot_m, &crest.expected["ride"]["leaves_surface"], 0.03);
    near("crest", "speed_mps", speed_mps, &crest.expected["ride"]["leaves_surface"], 0.03);
    let run = setup.run(&inputs, &Steps::FINE);
    assert_eq!(run.outcome(setup.bag(), 0), Outcome::LeavesSurface);
    assert!(shape(&setup, &inputs).is_none() && last_stop_line(&setup, &inputs, 0.4).is_none());

    let (setup, inputs) = (grass.setup(0), grass.uncertainty().at_mean());
    let mut rest_m = f32::NAN;
    let end = setup.ride::<f32, false>(&inputs, &close, |point| {
        if point.energy_m2ps2 > 0.0 {
            rest_m = point.before_foot_m;
        }
    });
    assert!(end.stalled && !end.left);
    near("grass", "before_foot_m", rest_m, &grass.expected["ride"]["stall"], 0.09);
    let run = setup.run(&inputs, &Steps::FINE);
    assert_eq!(run.outcome(setup.bag(), 0), Outcome::Stall);
    assert!(shape(&setup, &inputs).is_none() && last_stop_line(&setup, &inputs, 0.4).is_none());
}

fn kind(at: &str, got: &Differences, want: &Value) {
    near(at, "mean_along_m", got.mean_along_m, want, 2e-4);
    near(at, "sd_along_m", got.sd_along_m, want, 1e-4);
    near(at, "mean_across_m", got.mean_across_m, want, 2e-5);
    near(at, "sd_across_m", got.sd_across_m, want, 2e-5);
    near(at, "mean_normal_mps", got.mean_normal_mps, want, 1e-4);
    near(at, "sd_normal_mps", got.sd_normal_mps, want, 1e-4);
}

fn both(at: &str, got: &Mixture, want: &Value) {
    kind(&format!("{at} good"), &got.good, &want["good"]);
    kind(&format!("{at} botched"), &got.botched, &want["botched"]);
    near(at, "mean_along_m", got.mean_along_m(), want, 2e-4);
    near(at, "sd_along_m", got.sd_along_m(), want, 1e-4);
    near(at, "mean_across_m", got.mean_across_m(), want, 2e-5);
    near(at, "sd_across_m", got.sd_across_m(), want, 2e-5);
    near(at, "mean_normal_mps", got.mean_normal_mps(), want, 1e-4);
    near(at, "sd_normal_mps", got.sd_normal_mps(), want, 1e-4);
    near(at, "along_p001_m", got.along_quantile_m(0.001), want, 5e-4);
    near(at, "along_p999_m", got.along_quantile_m(0.999), want, 5e-4);
    near(at, "normal_p999_mps", got.normal_passed_mps(0.001), want, 5e-4);
    let shares = [("shares_along", got.shares_along()), ("shares_across", got.shares_across())];
    for (key, shares) in shares {
        for which in Uncertain::ALL {
            near(&format!("{at} {key}"), which.name(), shares[which as usize], &want[key], 1e-4);
        }
    }
}

#[test]
fn spreads_by_divided_differences() {
    for site in sites() {
        let uncertainty = site.uncertainty();
        let got = mixture(&site.setup(0), &uncertainty, &Steps::FINE).unwrap();
        both(site.name, &got, &site.expected["spread"]["differences"]);
        for (rider, key) in [(1, "lightest"), (2, "heaviest")] {
            let got = mixture(&site.setup(rider), &uncertainty, &Steps::FINE).unwrap();
            both(&format!("{} {key}", site.name), &got, &site.expected["riders"][key]["differences"]);
        }
        // One standard deviation of each input, ridden anew.
        let (setup, good) = (site.setup(0), uncertainty.good_tries());
        let found = differences(&setup, &good, &Steps::FINE).unwrap();
        let mean = setup.run(&good.at_mean(), &Steps::FINE);
        for which in Uncertain::ALL {
            let value = good.mean[which as usize] + good.sd[which as usize];
            let run = setup.run(&good.at_mean().with(which, value), &Steps::FINE);
            let one = found.one_sd_m[which as usize];
            assert!((one[0] - (run.along_m - mean.along_m)).abs() < 1e-5, "{} {which:?} {one:?}", site.name);
            assert!((one[1] - (run.across_m - mean.across_m)).abs() < 1e-5, "{} {which:?} {one:?}", site.name);
        }
    }
}

/// Speed of the free ride at a place before the foot, between two close points.
fn free_speed_mps(setup: &Setup, inputs: &Inputs<f32>, before_foot_m: f32) -> f32 {
    let close = Steps { start: 200, straight: 200, arc: 200, ..Steps::FINE };
    let (mut last, mut energy) = ((f32::INFINITY, 0.0), f32::NAN);
    setup.ride::<f32, false>(inputs, &close, |point| {
        let here = (point.before_foot_m, point.energy_m2ps2);
        if here.0 <= before_foot_m && last.0 > before_foot_m && last.0.is_finite() {
            energy = last.1 + (here.1 - last.1) * (last.0 - before_foot_m) / (last.0 - here.0);
        }
        last = here;
    });
    energy.sqrt()
}

#[test]
fn stop_lines() {
    let mut lines = 0;
    for site in sites() {
        let (setup, inputs) = (site.setup(0), site.uncertainty().at_mean());
        let want = &site.expected["placement"];
        let (foot_to_lip_s, to_lip_s) = times_s(&setup, &inputs);
        let airtime_s = setup.run(&inputs, &Steps::FINE).airtime_s;
        for (suffix, braking) in [("", 0.4), ("_braking_less", 0.3), ("_braking_more", 0.5)] {
            let line = last_stop_line(&setup, &inputs, braking);
            let key = format!("last_stop_before_foot{suffix}_m");
            assert_eq!(line.is_some(), want[&key].is_number(), "{} {key}", site.name);
            let to_foot_s = match line {
                Some(line) => {
                    lines += 1;
                    near(site.name, &key, line.before_foot_m, want, 1e-3);
                    // The free ride passes the line at the speed of the line.
                    let passes_mps = free_speed_mps(&setup, &inputs, line.before_foot_m);
                    assert!((passes_mps - line.speed_mps).abs() < 2e-3, "{} {passes_mps} {line:?}", site.name);
                    line.to_foot_s + foot_to_lip_s
                }
                None => to_lip_s,
            };
            let key = format!("last_stop_to_touchdown{suffix}_s");
            if want[&key].is_number() {
                near(site.name, &key, to_foot_s + airtime_s, want, 1e-3);
            }
        }
    }
    assert!(lines >= 10, "{lines}");
}

#[test]
fn short_zones() {
    for site in sites() {
        let setup = site.setup(0);
        let inputs = site.uncertainty().at_mean().with(Uncertain::LipSpeed, 0.0);
        let zone = &site.expected["placement"]["short_zone"];
        if zone.is_null() {
            continue;
        }
        let Some(clearing_mps) = clearing_speed_mps(&setup, &inputs) else { panic!("{}", site.name) };
        near(site.name, "clearing_speed_mps", clearing_mps, zone, 1e-4);
        if let Some(expected) = zone["ground_up_to_mps"].as_f64() {
            let from_mps = front_from_mps(&setup, &inputs, clearing_mps).unwrap();
            assert!((f64::from(from_mps) - expected).abs() < 1e-3, "{}: {from_mps} {expected}", site.name);
        }
        for row in zone["rows"].as_array().unwrap() {
            let speed = row["lip_speed_mps"].as_f64().unwrap();
            // The last row is the clearing speed itself, where either answer is right.
            if f64::from(clearing_mps) - speed < 1e-3 {
                continue;
            }
            let run = short_run(&setup, &inputs, speed as f32);
            let hit = match run.hit {
                Hit::Ground => "ground",
                Hit::BagFront => "bag front",
                Hit::BagTop => "bag top",
            };
            assert_eq!(hit, row["hits"], "{} at {speed}", site.name);
            if row["com_height_at_gap_m"].as_f64().is_some_and(|height| height > -5.0) {
                let low_m = run.height_at_gap_m + inputs.get(Uncertain::ContactHeight) + site.bag.base_level_m;
                near(site.name, "com_height_at_gap_m", low_m, row, 5e-4);
            }
        }
    }
}

fn sized(site: &Site, goals: &mut u32) {
    let (setup, inputs, sizing) = (site.setup(0), site.uncertainty().at_mean(), &site.expected["sizing"]);
    for key in ["airtime_s", "apex_above_lip_m", "along_m"] {
        let Some(wanted) = sizing[key]["wanted"].as_f64().filter(|_| sizing[key]["start_height_m"].is_number()) else {
            continue;
        };
        let wanted = wanted as f32;
        let goal = match key {
            "airtime_s" => Goal::AirTime { airtime_s: wanted },
            "apex_above_lip_m" => Goal::Apex { above_lip_m: wanted },
            _ => Goal::Landing { from_lip_m: wanted + setup.bag().gap_m() },
        };
        let found = start_height(&setup, &inputs, goal, 0.1, 40.0).unwrap();
        near(&format!("{} {key}", site.name), "start_height_m", found.start_height_m, &sizing[key], 5e-4);
        *goals += 1;
    }
    for row in sizing["radius_table"].as_array().into_iter().flatten() {
        let radius_m = row["radius_m"].as_f64().unwrap() as f32;
        let takeoff = TakeOff::new(site.takeoff_m.0, radius_m, site.wheelbase_m, site.mass_height_m).unwrap();
        let run = shape(&setup.with_takeoff(takeoff), &inputs).unwrap();
        let at = format!("{} radius {radius_m}", site.name);
        near(&at, "lip_angle_deg", takeoff.lip_rad().to_degrees(), row, 1e-4);
        near(&at, "lip_speed_mps", run.lip_speed_mps, row, 1e-4);
        near(&at, "airtime_s", run.airtime_s, row, 1e-4);
        near(&at, "apex_above_lip_m", run.apex_above_lip_m, row, 1e-4);
        near(&at, "distance_from_lip_m", run.distance_from_lip_m, row, 2e-4);
        near(&at, "equivalent_fall_height_m", run.equivalent_fall_height_m, row, 1e-4);
    }
}

#[test]
fn sizing() {
    let mut goals = 0;
    sites().iter().for_each(|site| sized(site, &mut goals));
    assert!(goals >= 15, "{goals}");
}
