//! What `tests/bench/run.sh` needs of the sampler: a site's numbers, runs with their inputs, and how long runs take.
//!
//! `bench-sampler describe SITE`, `bench-sampler land SITE TOLERANCE_M RUNS`,
//! `bench-sampler rate SITE TOLERANCE_M RUNS THREADS`, `bench-sampler count SITE WHAT TIMES` (the work that
//! `counts.sh` counts the instructions of); SITE is `demo` or a file, TOLERANCE_M the landing's.
#![allow(clippy::panic, clippy::unwrap_used)]

use landfall_core::bag_gas::{Adiabat, QUICK_EXPONENT};
use landfall_core::force_area::ForceArea;
use landfall_core::inputs::{COUNT, Uncertain};
use landfall_core::path::{Path, Section, Shape};
use landfall_core::ride::Steps;
use landfall_core::run::{Probe, Setup};
use landfall_core::spread::differences;
use landfall_core::supply::Feed;
use landfall_core::touchdown::{Landing, LandingInput, Options, touch_down};
use landfall_plan::plan::model::{Model, Supply};
use landfall_plan::plan::{Parts, compute};
use landfall_plan::site::{demo, read_site};
use landfall_sampling::random::{DRAWN, draw};
use landfall_sampling::{Job, Stop, sample};
use serde_json::{Value, json};
use std::hint::black_box;
use std::time::Instant;

fn model(site: &str) -> Model {
    let split = site.strip_prefix("sections:").and_then(|count| count.parse::<usize>().ok());
    if let Some(count) = split {
        return of_sections(count);
    }
    let site = match site {
        "demo" => demo(),
        path => read_site(&std::fs::read_to_string(path).unwrap(), path).unwrap_or_else(|faults| panic!("{faults}")),
    };
    Model::new(&site).unwrap()
}

/// The demo with a ride down of so many sections: a steep straight, an arc to level and level straights.
fn of_sections(count: usize) -> Model {
    let mut model = Model::new(&demo()).unwrap();
    let height_m = model.setups[0].path().start_height_m();
    let slope_rad = 0.6_f32;
    let fall_m = height_m - 4.0 * (1.0 - slope_rad.cos());
    let mut list = vec![
        Section::Straight { length_m: fall_m / slope_rad.sin(), slope_rad: Some(slope_rad) },
        Section::Arc { radius_m: 4.0, turn_rad: slope_rad },
    ];
    let flats = count.saturating_sub(2).max(1);
    list.extend((0..flats).map(|_| Section::Straight { length_m: 6.0 / flats as f32, slope_rad: None }));
    let path = Path::from_sections(&list, height_m, 1.0).unwrap();
    for setup in &mut model.setups {
        let (density, mass, rotating) = (setup.density_kgpm3(), setup.mass_kg(), setup.rotating_kg());
        *setup = Setup::new(path.clone(), *setup.takeoff(), *setup.bag(), density, mass, rotating).unwrap();
    }
    model
}

fn steps(model: &Model, tolerance_m: f32) -> Steps {
    let mut probes: Vec<Probe> = Vec::new();
    for which in Uncertain::ALL {
        for side in [-4.0_f32, 4.0] {
            let mut deviations = [0.0; COUNT];
            deviations[which as usize] = side;
            probes.push(model.setups[1].probe(&model.uncertainty.at(&deviations)));
        }
    }
    model.setups[1].choose_steps(&probes, tolerance_m)
}

fn describe(model: &Model) -> Value {
    let setup = &model.setups[0];
    let segments: Vec<Value> = setup
        .path()
        .segments()
        .iter()
        .map(|s| match s.shape {
            Shape::Straight { sin_up, cos } => {
                json!([0.0, s.length_m, sin_up, cos, f32::from(u8::from(s.adjusts)), s.z_start_m, s.z_end_m])
            }
            Shape::Arc { radius_m, sin0, cos0, turn_rad } => {
                json!([1.0, radius_m, sin0, cos0, turn_rad, s.z_start_m, s.z_end_m])
            }
        })
        .collect();
    let (takeoff, bag, u) = (&setup.takeoff(), &setup.bag(), &model.uncertainty);
    json!({
        "segments": segments, "start_height": setup.path().start_height_m(),
        "height": takeoff.height_m(), "radius": takeoff.radius_m(), "lip": takeoff.lip_rad(), "lag": takeoff.lag_rad(),
        "h": takeoff.mass_height_m(), "gap": bag.gap_m(), "offset": bag.offset_m(), "climb": bag.climb(),
        "front_z": bag.front_z_m(), "length": bag.length_m(), "width": bag.width_m(),
        "edges": [bag.edge_front_m(), bag.edge_back_m(), bag.edge_side_m()],
        "density": setup.density_kgpm3(), "mass": setup.mass_kg(), "rotating": setup.rotating_kg(),
        "mean": u.mean, "sd": u.sd, "lowest_start": u.lowest_start_m,
        "steps": [format!("{:?}", steps(model, 1.0e-3)), format!("{:?}", steps(model, 1.0e-4))],
    })
}

/// One portion of a kind of work.
fn count(model: &Model, what: &str) {
    let setup = black_box(&model.setups[0]);
    let inputs = model.uncertainty.at_mean();
    match what {
        "run_with_fine_steps" => {
            black_box(setup.run(black_box(&inputs), &Steps::FINE));
        }
        "spread_by_divided_differences" => {
            black_box(differences(setup, &model.uncertainty, &Steps::FINE));
        }
        "touch_down" => {
            let supply = Supply::new(&demo()).unwrap();
            let chamber = supply.chamber.unwrap();
            let gas = Adiabat::new(&chamber, chamber.at_pressure(chamber.operating_pa()), QUICK_EXPONENT).unwrap();
            let area = ForceArea::assumed(0.5, 6.0, 4.0).unwrap();
            let (mass_kg, normal_speed_mps) = (92.0, 7.0);
            let thickness_m = Some(2.2);
            let landing = Landing::new(LandingInput {
                mass_kg,
                normal_speed_mps,
                slope_rad: 0.0,
                skin_loss: 0.65,
                area,
                thickness_m,
            })
            .unwrap();
            let flows = supply.flows(Feed::Running);
            black_box(touch_down(&gas, &flows, black_box(&landing), &Options::default(), |_| {}));
        }
        "sampler_16384_runs" => {
            let steps = Steps { start: 4, straight: 1, arc: 1, takeoff: 2, lip: 1, flight: 4, front: 2 };
            let uncertainty = &model.uncertainty;
            let bounds = Some([[-30.0, 30.0], [-10.0, 10.0], [0.0, 15.0]]);
            let gaps_to_m = Some(20.0);
            let job = Job { setup, uncertainty, steps, samples: 16_384, first: 0, seed: 1, bounds, gaps_to_m };
            black_box(sample(&job, &Stop::default()));
        }
        "plan_of_1000_samples" => {
            let mut site = demo();
            site.spread.samples = 1000;
            black_box(compute(&site, Parts::ALL, &Stop::default()).unwrap());
        }
        _ => panic!("{what} is not counted"),
    }
}

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [what, site, rest @ ..] = args.as_slice() else { panic!("describe, land or rate, and a site") };
    let model = model(site);
    let number = |i: usize| rest[i].parse::<f64>().unwrap();
    let setup = &model.setups[0];
    match what.as_str() {
        "describe" => println!("{}", describe(&model)),
        "land" => {
            let steps = steps(&model, number(0) as f32);
            let mut drawn = [[0.0f32; DRAWN]; COUNT];
            draw(0, 7, 0, &mut drawn);
            let runs: Vec<Value> = (0..(number(1) as usize).min(DRAWN))
                .map(|i| {
                    let inputs = model.uncertainty.at(&drawn.map(|list| list[i]));
                    let run = setup.run(&inputs, &steps);
                    json!({ "inputs": inputs.0, "along": run.along_m, "across": run.across_m, "landed": run.landed() })
                })
                .collect();
            println!("{}", Value::from(runs));
        }
        "rate" => {
            let (samples, threads) = (number(1) as u64, number(2) as usize);
            // The contenders know of no botched tries.
            let job = Job {
                setup,
                uncertainty: &model.uncertainty.good_tries(),
                steps: steps(&model, number(0) as f32),
                samples,
                first: 0,
                seed: 1,
                bounds: None,
                gaps_to_m: None,
            };
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            let begin = Instant::now();
            let drawn = pool.install(|| sample(&job, &Stop::default())).unwrap();
            println!("{} {}", begin.elapsed().as_secs_f64(), drawn.misses());
        }
        "count" => {
            for _ in 0..rest[1].parse::<u32>().unwrap() {
                count(&model, &rest[0]);
            }
        }
        _ => panic!("describe, land, rate or count"),
    }
}
