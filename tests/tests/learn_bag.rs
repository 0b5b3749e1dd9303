//! Drops and a deflation of a simulated bag: what counts as measured, and what does not.

use landfall::box_side::record::parse;
use landfall::learn::bag_fit::{BagFit, Tests, fit_bag};
use landfall::learn::bag_text::bag_edits;
use landfall::learn::drops::{deflation, read_drops};
use landfall::plan::model::{Model, Supply};
use landfall::site::{Site, demo};
use landfall_core::bag_gas::{Adiabat, QUICK_EXPONENT};
use landfall_core::displacement::Displacement;
use landfall_core::slow_gas::SlowGas;
use landfall_core::supply::Feed;
use landfall_core::touchdown::{Landing, Options, touch_down};
use landfall_tests::learn_sim::normal;
use rand::SeedableRng;
use rand::rngs::SmallRng;

/// The measurements that a bag would give: drops as a table, a deflation as a recording, the settled pressure.
fn measure(
    rng: &mut SmallRng,
    site: &Site,
    heights_m: &[f64],
    (drop_errors, fall_errors): (f64, f64),
) -> (String, String, f64) {
    let supply = Supply::new(site).unwrap();
    let chamber = supply.chamber.as_ref().unwrap();
    let bag = Model::new(site).unwrap().setups[0].bag;
    let mut drops =
        String::from("drop,drop_mass_kg,drop_height_m,depth_m,depth_sd_m,peak_pressure_pa,peak_pressure_sd_pa\n");
    for (i, height) in heights_m.iter().enumerate() {
        let gas = Adiabat::new(chamber, chamber.at_pressure(chamber.operating_pa()), QUICK_EXPONENT).unwrap();
        let landing = Landing {
            mass_kg: 60.0,
            normal_speed_mps: (2.0 * 9.80665 * height).sqrt() as f32,
            slope_rad: 0.0,
            skin_loss: site.bag.skin_loss as f32,
            displacement: Displacement::dish(site.bag.dish_radius_m as f32).unwrap(),
            thickness_m: Some(bag.thickness_m(0.5 * bag.length_m)),
        };
        let done = touch_down(&gas, &supply.flows(Feed::Running), &landing, &Options::default(), |_| {});
        let depth = f64::from(done.depth_m) + 0.03 * drop_errors * normal(rng);
        let peak_sd = 0.02 * f64::from(done.peak_pressure_pa);
        let peak = f64::from(done.peak_pressure_pa) + peak_sd * drop_errors * normal(rng);
        drops.push_str(&format!("{},60,{height},{depth:.4},0.03,{peak:.2},{peak_sd:.2}\n", i + 1));
    }
    let slow = SlowGas { chamber, flows: supply.flows(Feed::Lost) };
    let start_pa = chamber.operating_pa();
    let start = chamber.at_pressure(start_pa);
    let end_s = slow.fall_time_s(start_pa, 0.08 * start_pa).unwrap();
    let mut fall = String::from("time_s,gauge_pa\n");
    for i in 0..24 {
        let time_s = end_s * i as f32 / 24.0;
        let exact = f64::from(slow.after_loss(&start, time_s).0.pressure_pa);
        // One reading each, with the error that the fit assumes of a point.
        let read = exact + 0.01 * f64::from(start_pa) * fall_errors * normal(rng);
        // Two equal readings close together stand for a point.
        fall.push_str(&format!("{:.4},{read:.3}\n{:.4},{read:.3}\n", time_s, time_s + 1e-3));
    }
    let settled = f64::from(start_pa) * (1.0 + 0.03 * fall_errors * normal(rng));
    (drops, fall, settled)
}

fn fitted(site: &Site, (drops, fall, settled): &(String, String, f64)) -> BagFit {
    let drops = read_drops(drops, "drops.csv", None).unwrap();
    let fall = deflation(&parse(fall, "fall.csv").unwrap()).unwrap();
    fit_bag(site, &Tests { drops, deflation: Some(fall), settled_pa: Some(*settled) }, "drops.csv").unwrap()
}

#[test]
fn without_a_deflation_the_stretch_is_not_called_measured() {
    let mut rng = SmallRng::seed_from_u64(1);
    let site = demo();
    let (drops, fall, settled) = measure(&mut rng, &site, &[0.8, 1.6, 2.4], (1.0, 1.0));
    let drops = read_drops(&drops, "drops.csv", None).unwrap();
    let only_drops = fit_bag(&site, &Tests { drops, deflation: None, settled_pa: None }, "drops.csv").unwrap();
    assert!(!only_drops.fitted && only_drops.doubts.iter().any(|doubt| doubt.contains("skin stretch")));
    assert!(bag_edits(&only_drops).iter().all(|edit| edit.key != "bag.fitted"));
    let all = fitted(&site, &(measure(&mut rng, &site, &[0.8, 1.6, 2.4], (1.0, 1.0)).0, fall, settled));
    assert!(all.fitted, "{:?}", all.values);
    assert!(bag_edits(&all).iter().any(|edit| edit.key == "bag.fitted" && edit.text == "true"));
}
