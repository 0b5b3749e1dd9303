//! Loaded deflations of bags whose skin gives way by foreign laws: the area that comes out.

use landfall::learn::bag_area::{Area, area};
use landfall::learn::loaded::{Errors, Load, joined, points, read};
use landfall_tests::foreign_bag::{Dent, GRAVITY, Gas, Law, Means, loaded_table};
use rand::SeedableRng;
use rand::rngs::SmallRng;

const THICKNESS_M: f64 = 2.2;

fn gas(stretch_per_pa: f64, vent_m2: f64) -> Gas {
    Gas {
        outside_pa: 96_400.0,
        density_kgpm3: 1.16,
        volume_m3: 176.0,
        operating_pa: 1_080.0,
        skin_pa: 6.4,
        stretch_per_pa,
        vent_m2: (vent_m2, 0.6),
        relief: (0.06, 1_500.0, 2_200.0),
        leak: (0.010, 0.6),
    }
}

fn load(text: &str, name: &str, mass_kg: f64, errors: &Errors) -> Load {
    let table = read(text, name, true, true).unwrap();
    let readings = joined(&table.depth, &table.gauge, 0.0);
    points(&table, &readings, (mass_kg, mass_kg * GRAVITY), THICKNESS_M, errors).unwrap()
}

fn measured(rng: &mut SmallRng, gas: &Gas, dent: &Dent, masses: &[f64], means: Means) -> Area {
    let errors =
        if means == Means::Box { Errors { gauge: 0.0, noise_pa: 20.0, ..Errors::FILMED } } else { Errors::FILMED };
    let loads: Vec<Load> = masses
        .iter()
        .map(|mass_kg| {
            let text = loaded_table(rng, gas, dent, *mass_kg, THICKNESS_M - 0.1, means);
            load(&text, "load.csv", *mass_kg, &errors)
        })
        .collect();
    area(&loads, &errors, None, GRAVITY).unwrap()
}

#[test]
fn areas_of_foreign_laws() {
    for law in Law::EIGHT {
        for (vent, means) in [(0.01, Means::Box), (0.01, Means::Film), (0.04, Means::Film)] {
            let dent = Dent::new(law, 1.0);
            let gas = gas(3e-5, vent);
            let mut worst: (f64, f64) = (0.0, 0.0);
            let mut last = None;
            for seed in 0..20 {
                let mut rng = SmallRng::seed_from_u64(seed);
                let found = measured(&mut rng, &gas, &dent, &[90.0], means);
                for i in 2..18 {
                    let x = f64::from(i) * 0.1;
                    let off = (found.knots.area_m2(x) / dent.area_m2(x)).ln();
                    worst = (worst.0.min(off), worst.1.max(off));
                }
                last = Some(found);
            }
            let last = last.unwrap();
            println!(
                "{law:?} {vent} {means:?}: {worst:.2?}; n {} rms {:.2} sd {:.3} reach {:.2} ground {} {:?}",
                last.points, last.rms, last.sd, last.reach_m, last.to_the_ground, last.doubts
            );
            println!(
                "   {:.2?}  true {:.2?}",
                last.knots.knots(),
                last.knots.knots().iter().map(|k| dent.area_m2(k.0)).collect::<Vec<_>>()
            );
        }
    }
}
