//! Time of one run, one spread by divided differences, one touch-down, the ride pressures, the sampler per thread and a
//! whole plan, on the demo site: `cargo bench -p landfall-tests`.
#![allow(missing_docs, clippy::unwrap_used)] // divan's macros make public items

use divan::{Bencher, black_box};
use landfall_core::bag_gas::{Adiabat, QUICK_EXPONENT};
use landfall_core::force_area::ForceArea;
use landfall_core::ride::Steps;
use landfall_core::spread::differences;
use landfall_core::supply::Feed;
use landfall_core::touchdown::{Landing, LandingInput, Options, touch_down};
use landfall_plan::plan::model::{Model, Supply};
use landfall_plan::plan::{Parts, compute};
use landfall_plan::site::demo;
use landfall_sampling::{Job, Stop, sample};

fn main() {
    divan::main();
}

#[divan::bench]
fn one_run_with_fine_steps(bencher: Bencher<'_, '_>) {
    let model = Model::new(&demo()).unwrap();
    let inputs = model.uncertainty.at_mean();
    bencher.bench_local(|| black_box(&model.setups[0]).run(black_box(&inputs), &Steps::FINE));
}

#[divan::bench]
fn one_spread_by_divided_differences(bencher: Bencher<'_, '_>) {
    let model = Model::new(&demo()).unwrap();
    bencher.bench_local(|| differences(black_box(&model.setups[0]), &model.uncertainty, &Steps::FINE));
}

#[divan::bench]
fn one_touch_down(bencher: Bencher<'_, '_>) {
    let supply = Supply::new(&demo()).unwrap();
    let chamber = supply.chamber.unwrap();
    let gas = Adiabat::new(&chamber, chamber.at_pressure(chamber.operating_pa()), QUICK_EXPONENT).unwrap();
    let landing = Landing::new(LandingInput {
        mass_kg: 92.0,
        normal_speed_mps: 7.0,
        slope_rad: 0.0,
        skin_loss: 0.65,
        area: ForceArea::assumed(0.5, 6.0, 4.0).unwrap(),
        thickness_m: Some(2.2),
    })
    .unwrap();
    let flows = supply.flows(Feed::Running);
    bencher.bench_local(|| touch_down(&gas, &flows, black_box(&landing), &Options::default(), |_| {}));
}

/// Pressures, holds, landings and chances over the possible bags, and as if measured; with the single runs.
#[divan::bench]
fn pressures_of_the_possible_bags(bencher: Bencher<'_, '_>) {
    let site = demo();
    let parts = Parts { pressures: true, ..Parts::QUICK };
    bencher.bench_local(|| compute(black_box(&site), parts, &Stop::default()).unwrap());
}

/// Runs a second are the items a second.
#[divan::bench(args = [1, 2])]
fn sampler_on_threads(bencher: Bencher<'_, '_>, threads: usize) {
    const SAMPLES: u64 = 100_000;
    let model = Model::new(&demo()).unwrap();
    let steps = model.steps(&[&model.uncertainty]);
    let job = Job {
        setup: &model.setups[0],
        uncertainty: &model.uncertainty,
        steps,
        samples: SAMPLES,
        first: 0,
        seed: 1,
        bounds: Some([[-30.0, 30.0], [-10.0, 10.0], [0.0, 15.0]]),
        gaps_to_m: Some(20.0),
    };
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
    bencher
        .counter(divan::counter::ItemsCount::new(SAMPLES))
        .bench_local(|| pool.install(|| sample(black_box(&job), &Stop::default())));
}

#[divan::bench(sample_count = 10)]
fn whole_plan(bencher: Bencher<'_, '_>) {
    let site = demo();
    bencher.bench_local(|| compute(black_box(&site), Parts::ALL, &Stop::default()).unwrap());
}
