//! Air, supply, touch-downs, pressures, chances and wind of whole sites.

use crate::site::{Site, sites};
use crate::site_runs::near;
use landfall_core::air::STANDARD_GRAVITY_MPS2;
use landfall_core::along_top::{AlongTopInput, along_top};
use landfall_core::bag_gas::{Adiabat, QUICK_EXPONENT};
use landfall_core::blower::BlowerCurve;
use landfall_core::ground_chance::{LandingRider, TwoNormals, ground_chance};
use landfall_core::landing_limits::Limit;
use landfall_core::levels::{LevelsBag, LevelsInput, LevelsRiders, MeanLanding, Sensing, SensorError, StopRule};
use landfall_core::ride::Steps;
use landfall_core::ride_limits::{BagLimits, ride_limits};
use landfall_core::slow_gas::SlowGas;
use landfall_core::supply::{Feed, check_supply, one_blower_lost};
use landfall_core::touchdown::{Landing, LandingInput, Options, Touchdown, TracePoint, touch_down};
use landfall_core::wind::WindLoad;
use serde_json::Value;

/// The same as a share of what is expected.
fn share(at: &str, key: &str, got: f32, expected: &Value, tolerance: f64) {
    near(at, key, got, expected, tolerance * expected[key].as_f64().unwrap_or(0.0).abs());
}

/// A value, or none on both sides.
fn maybe(at: &str, key: &str, got: Option<f32>, expected: &Value, tolerance: f64) {
    match got {
        Some(got) => near(at, key, got, expected, tolerance),
        None => assert!(expected[key].is_null(), "{at} {key}: none for {}", expected[key]),
    }
}

#[test]
fn air_and_supply() {
    for site in sites() {
        let (at, want) = (site.name, &site.expected["air"]);
        let supply = site.supply();
        share(at, "outside_pressure_pa", supply.air.pressure_pa, want, 1e-6);
        share(at, "density_kgpm3", supply.air.density_kgpm3, want, 1e-6);
        share(at, "operating_pressure_pa", supply.operating.pressure_pa, want, 1e-5);
        share(at, "operating_flow_m3ps", supply.operating.flow_m3ps, want, 1e-5);
        share(at, "shut_off_pressure_pa", supply.blowers.shut_off_pa(), want, 1e-5);
        assert_eq!(supply.operating.at_shut_off, want["no_opening"], "{at}");
        let check = check_supply(&supply.operating, &supply.openings, site.range_pa.0, site.range_pa.1).unwrap();
        share(at, "needed_pressure_pa", check.needed_pressure_pa, want, 1e-6);
        share(at, "needed_flow_m3ps", check.needed_flow_m3ps, want, 1e-5);
        near(at, "margin_low_pa", check.above_min_pa, want, 0.02);
        near(at, "margin_high_pa", check.below_max_pa, want, 0.02);
        let slow = SlowGas { chamber: &supply.chamber, flows: supply.flows(Feed::Running) };
        near(at, "fill_time_s", slow.fill_time_s().unwrap(), want, 1e-3);
        let low = format!("{:?}", check.status).to_lowercase();
        assert_eq!(low, want["status"].as_str().unwrap().replace(' ', ""), "{at}");
    }
    // Fewer points than two make no curve.
    assert!(BlowerCurve::new(&[]).is_err());
}

/// What is drawn of a landing: every 5 ms, and each point as the gas and the body's own motion have it.
fn trace_fits(at: &str, points: &[TracePoint], input: &LandingInput, done: &Touchdown) {
    let first = points[0];
    assert_eq!((first.time_s, first.depth_m, first.speed_mps), (0.0, 0.0, input.normal_speed_mps), "{at}");
    assert_eq!((first.load_g, first.gas_lost_m3), (0.0, 0.0), "{at}");
    let last = points[points.len() - 1];
    assert!(last.time_s < done.end_s && last.time_s + 0.005_1 > done.end_s, "{at}: {last:?} {}", done.end_s);
    let weight_n = input.mass_kg * STANDARD_GRAVITY_MPS2;
    for pair in points.windows(2) {
        let step_s = pair[1].time_s - pair[0].time_s;
        assert!((step_s - 0.005).abs() < 2e-5, "{at}: {pair:?}");
        // Trapezia: at most some hundred m/s³ over 5 ms.
        let way_m = 0.5 * (pair[0].speed_mps + pair[1].speed_mps) * step_s;
        // Where it turns the skin keeps its share to itself from one moment to the next.
        let turns = (pair[0].time_s..=pair[1].time_s).contains(&done.time_to_deepest_s);
        assert!(turns || (pair[1].depth_m - pair[0].depth_m - way_m).abs() < 2e-5, "{at}: {pair:?}");
        let push_g = pair[1].pressure_pa * input.area.area_m2(pair[1].depth_m) / weight_n;
        let kept = if pair[1].time_s > done.time_to_deepest_s { 1.0 - input.skin_loss } else { 1.0 };
        assert!((pair[1].load_g - kept * push_g).abs() < 1e-4 * push_g.max(0.1), "{at}: {pair:?} {push_g}");
        assert!(pair[1].load_g <= done.felt_load_g && pair[1].depth_m <= done.depth_m + 1e-6, "{at}: {pair:?}");
    }
    let deepest = points.iter().map(|point| point.depth_m).fold(0.0, f32::max);
    let most_pa = points.iter().map(|point| point.pressure_pa).fold(0.0, f32::max);
    assert!((deepest - done.depth_m).abs() < 1e-3 && (most_pa / done.peak_pressure_pa - 1.0).abs() < 1e-3, "{at}");
}

#[test]
fn mean_landings() {
    for site in sites() {
        let (at, want) = (site.name, &site.expected["touchdown"]);
        let (setup, supply) = (site.setup(0), site.supply());
        let run = setup.run(&site.uncertainty().at_mean(), &Steps::FINE);
        let bag = setup.bag();
        let thickness_m = bag.thickness_m(run.along_m);
        near(at, "thickness_m", thickness_m, want, 1e-4);
        let input = LandingInput {
            mass_kg: site.landing_kg(0),
            normal_speed_mps: run.normal_mps,
            slope_rad: bag.slope_rad(),
            skin_loss: 0.65,
            area: site.stated().area().unwrap(),
            thickness_m: Some(thickness_m),
        };
        let chamber = &supply.chamber;
        let gas = Adiabat::new(chamber, chamber.at_pressure(chamber.operating_pa()), QUICK_EXPONENT).unwrap();
        let flows = supply.flows(Feed::Running);
        let options = Options { tolerance: 5e-6, trace_interval_s: 0.005, ..Options::default() };
        let mut points = Vec::new();
        let done = touch_down(&gas, &flows, &Landing::new(input).unwrap(), &options, |point| points.push(point));
        trace_fits(at, &points, &input, &done);
        near(at, "depth_m", done.depth_m, want, 2e-4);
        near(at, "clearance_m", done.clearance_m.unwrap(), want, 2e-4);
        share(at, "felt_load_g", done.felt_load_g, want, 2e-4);
        share(at, "peak_pressure_pa", done.peak_pressure_pa, want, 2e-4);
        near(at, "time_to_deepest_s", done.time_to_deepest_s, want, 2e-4);
        share(at, "gas_lost_m3", done.gas_lost_m3, want, 1e-3);
        near(at, "rebound_mps", done.rebound_mps.unwrap(), want, 1e-3);
        near(at, "back_at_s", done.end_s, want, 1e-3);
        share(at, "gas_lost_back_m3", done.gas_lost_in_all_m3, want, 1e-3);
        for (key, skin_loss) in [("rebound_low_mps", 0.8), ("rebound_high_mps", 0.3)] {
            let landing = Landing::new(LandingInput { skin_loss, ..input }).unwrap();
            let done = touch_down(&gas, &flows, &landing, &options, |_| {});
            near(at, key, done.rebound_mps.unwrap(), want, 1e-3);
        }
        let slow = SlowGas { chamber, flows };
        near(at, "recovery_s", slow.recovery_s(done.gas_lost_in_all_m3).unwrap(), want, 1e-3);
        let speed2: f32 = run.contact.velocity_mps.iter().map(|v| v * v).sum();
        let along = along_top(&AlongTopInput {
            normal_mps: run.normal_mps,
            along_mps: (speed2 - run.normal_mps * run.normal_mps).sqrt(),
            slope_rad: bag.slope_rad(),
            time_to_deepest_s: done.time_to_deepest_s,
            rebound_mps: done.rebound_mps.unwrap(),
            friction: 0.4,
            rolling_resistance: site.mean[2],
            length_m: bag.length_m(),
            at_m: run.along_m,
        })
        .unwrap();
        near(at, "along_left_mps", along.left_mps, want, 5e-4);
        maybe(at, "run_out_m", along.run_out_m, want, 1e-3);
        maybe(at, "ride_out_mps", along.ride_out_mps, want, 5e-4);
    }
}

/// What the pressures follow from; hard speed, thickness and commitment as the second solution has them.
fn pressures(site: &Site, check: impl FnOnce(&LevelsInput<'_>)) {
    let (setup, supply, want) = (site.setup(0), site.supply(), &site.expected["pressures"]);
    let number = |key: &str| want[key].as_f64().unwrap() as f32;
    let run = setup.run(&site.uncertainty().at_mean(), &Steps::FINE);
    check(&LevelsInput {
        air: &supply.air,
        openings: &supply.openings,
        blowers: &supply.blowers,
        operating_pa: supply.operating.pressure_pa,
        bag: LevelsBag {
            volume_m3: site.volume_m3,
            skin_kgpm2: 0.65,
            skin_loss: 0.65,
            pressure_min_pa: site.range_pa.0,
            pressure_max_pa: site.range_pa.1,
            depth_limit: 0.8,
            load_stop_g: 20.0,
            stop_floor: 0.6,
            thickness_m: number("hard_thickness_m"),
            slope_rad: setup.bag().slope_rad(),
        },
        load_limit_g: 15.0,
        riders: LevelsRiders {
            heaviest_kg: site.landing_kg(2),
            lightest_kg: site.riders_kg[1],
            hard_speed_mps: number("hard_speed_mps"),
            mean_landing: Some(MeanLanding {
                mass_kg: site.landing_kg(0),
                normal_speed_mps: run.normal_mps,
                thickness_m: setup.bag().thickness_m(run.along_m),
            }),
            commitment_s: Some(number("commitment_s")),
            reaction_s: 1.0,
        },
        sensing: Sensing { supply_sense: site.supply_sense, sensor: SensorError { error_pa: 12.5, noise_pa: 20.0 } },
        options: Options::default(),
    });
}

fn one_bag(at: &str, got: &BagLimits, want: &Value) {
    share(at, "skin_stretch", got.bag.stretch_per_pa, want, 1e-5);
    share(at, "stop_by_depth_pa", got.by_depth.pressure_pa().unwrap(), want, 5e-4);
    maybe(at, "power_loss_to_stop_s", got.power_loss_to_stop_s, want, 1e-3);
    near(at, "hard_depth_m", got.hard_depth_m, want, 5e-4);
    share(at, "light_load_g", got.light_load_g, want, 5e-4);
    let knots = want["knots"].as_array().unwrap();
    assert_eq!(knots.len(), got.bag.area.knots().len(), "{at}");
    for (knot, expected) in got.bag.area.knots().iter().zip(knots) {
        assert!((f64::from(knot.depth_m) - expected[0].as_f64().unwrap()).abs() < 1e-5, "{at}");
        assert!((f64::from(knot.area_m2) - expected[1].as_f64().unwrap()).abs() < 5e-5, "{at}");
    }
}

#[test]
fn pressures_of_a_ride() {
    for site in sites() {
        let (at, want) = (site.name, &site.expected["pressures"]);
        pressures(&site, |input| {
            let bags = site.bags();
            let got = ride_limits(input, &bags, site.interval_s).unwrap();
            let levels = &got.levels;
            share(at, "stop_pa", levels.stop_pa, want, 5e-4);
            let rule = match levels.stop_rule {
                StopRule::Depth => "depth",
                StopRule::Floor => "floor",
                StopRule::Room => "room",
            };
            assert_eq!(rule, want["stop_rule"], "{at}");
            share(at, "room_pa", levels.room_pa, want, 5e-4);
            share(at, "floor_pa", levels.floor_pa, want, 1e-5);
            share(at, "dip_pa", levels.dip_pa, want, 1e-3);
            match levels.firm {
                Limit::NotReached => assert!(want["firm_pa"].is_null(), "{at}"),
                limit => share(at, "firm_pa", limit.pressure_pa().unwrap(), want, 5e-4),
            }
            match got.comfort {
                Limit::NotReached => assert!(want["comfort_pa"].is_null(), "{at}"),
                limit => share(at, "comfort_pa", limit.pressure_pa().unwrap(), want, 5e-4),
            }
            share(at, "band_low_pa", levels.band_low_pa, want, 5e-4);
            share(at, "band_high_pa", levels.band_high_pa, want, 5e-4);
            assert_eq!(levels.band_is_empty, want["band_empty"], "{at}");
            maybe(at, "wait_pa", levels.wait_pa, want, 0.5);
            near(at, "alarm_delay_s", levels.alarm_delay_s.unwrap(), want, 1e-3);
            near(at, "needed_s", levels.needed_s.unwrap(), want, 1e-3);
            maybe(at, "holds_for_s", got.holds_for_s, want, 1e-3);
            maybe(at, "holds_for_p05_s", got.holds_for_p05_s, want, 1e-3);
            near(at, "seconds_missing", got.seconds_missing.unwrap(), want, 1e-3);
            assert_eq!(got.landings_without_supply, want["landings_without_supply"], "{at}");
            one_bag(&format!("{at} stated"), &got.stated, &want["stated"]);
            one_bag(&format!("{at} soft"), &got.soft, &want["soft"]);
            one_bag(&format!("{at} firm"), &got.firm, &want["firm"]);
            let push_n = 0.4 * got.hard_force_n;
            share(at, "push_n", push_n, &site.expected["touchdown"], 5e-4);

            let supply = site.supply();
            let lost = one_blower_lost(&supply.chamber, &supply.blowers, &supply.openings, levels.stop_pa);
            assert_eq!(lost.is_some(), want["one_blower_lost"].is_object(), "{at}");
            if let Some(lost) = lost {
                share(at, "settles_pa", lost.settles_pa, &want["one_blower_lost"], 5e-5);
                maybe(at, "to_stop_s", lost.to_stop_s, &want["one_blower_lost"], 1e-3);
            }

            let boxes = &site.expected["ride_by"]["all"]["box"];
            share(at, "siren_at_pa", levels.pressures.siren_pa, boxes, 5e-4);
            share(at, "permit_off_under_pa", levels.pressures.permit_off_pa, boxes, 5e-4);
            share(at, "permit_back_from_pa", levels.pressures.permit_back_pa, boxes, 5e-4);

            let load = WindLoad {
                wind_mps: site.anchors.0,
                density_kgpm3: input.air.density_kgpm3,
                longer_side_m: site.bag.length_m.max(site.bag.width_m),
                height_m: site.bag.front_height_m.max(site.bag.back_height_m),
                plan_m2: site.bag.length_m * site.bag.width_m,
                side_coefficient: 1.2,
                lift_coefficient: 0.5,
                push_n,
                capacity_n: site.anchors.1,
            };
            let forces = load.forces().unwrap();
            let wind = &site.expected["wind"];
            share(at, "side_force_n", forces.side_n, wind, 5e-4);
            share(at, "lift_n", forces.lift_n, wind, 1e-5);
            assert_eq!(forces.anchors, wind["anchors_needed"], "{at}");
        });
    }
}

#[test]
fn chances_of_the_ground() {
    for site in sites() {
        let want = &site.expected["pressures"];
        pressures(&site, |input| {
            let needed_s = want["needed_s"].as_f64().map(|seconds| seconds as f32);
            let mut share_over = 0.0_f32;
            for (rider, key) in ["mean", "lightest", "heaviest"].into_iter().enumerate() {
                let at = format!("{} {key}", site.name);
                let kinds = &want["normal_speeds"][key][0]["mixture"];
                let part = |kind: usize, i: usize| kinds[kind][i].as_f64().unwrap() as f32;
                let speeds = TwoNormals {
                    good_mps: (part(0, 1), part(0, 2)),
                    botched_mps: (part(1, 1), part(1, 2)),
                    botched: part(1, 0),
                };
                let rider = LandingRider { mass_kg: site.landing_kg(rider), speeds: &speeds };
                let got = ground_chance(input, &site.bags(), &rider, needed_s, 0.001).unwrap();
                near(&at, key, got.ground, &want["ground"], 1e-6 + 0.02 * want["ground"][key].as_f64().unwrap());
                near(&at, key, got.ground_cut.unwrap(), &want["ground_cut"], 2e-4);
                share_over = share_over.max(got.ground_share);
            }
            near(site.name, "ground_share", share_over, want, 1e-6);
        });
    }
}
