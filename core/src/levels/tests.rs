//! The levels by hand, and against what a box asks of its settings.

use super::*;
use crate::test_sites::{changed, sites};
use crate::touchdown::Until;

const SENSOR: SensorError = SensorError { error_pa: 12.5, noise_pa: 20.0 };

fn three(site: &crate::test_sites::Site) -> ThreeBags {
    let stated = *site.bags().stated();
    ThreeBags {
        stated,
        soft: PossibleBag { area: stated.area.scaled(0.7), ..stated },
        firm: PossibleBag { area: stated.area.scaled(1.4), ..stated },
    }
}

#[test]
fn stop_and_firm_pressure_keep_their_limits_and_a_little_less_or_more_does_not() {
    let (mut depths, mut loads) = (0, 0);
    for site in sites() {
        let input = changed(site.input(), |i| i.bag.load_stop_g = 9.0);
        let three = three(&site);
        let found = levels(&input, &three).unwrap();
        if let Limit::At(pa) = found.soft_by_depth {
            let chamber = input.chamber(&three.soft).unwrap();
            let hard = input.hard(&three.soft, &chamber).unwrap();
            let depth_m = |pa: f32| {
                hard.land(chamber.at_pressure(pa), Feed::Lost, Until::Deepest).map_or(99.0, |done| done.depth_m)
            };
            let limit_m = input.depth_limit_m();
            assert!(
                depth_m(pa) <= 1.000_01 * limit_m && depth_m(0.997 * pa) > limit_m,
                "{}: {} {} {limit_m}",
                site.name,
                depth_m(pa),
                depth_m(0.997 * pa)
            );
            depths += 1;
        }
        if let Limit::At(pa) = found.firm {
            let chamber = input.chamber(&three.stated).unwrap();
            let light = input.light(&three.stated, &chamber).unwrap();
            let load_g =
                |pa: f32| light.land(chamber.at_pressure(pa), Feed::Running, Until::Deepest).unwrap().felt_load_g;
            assert!(load_g(pa) <= 9.000_1 && load_g(1.003 * pa) > 9.0, "{}", site.name);
            loads += 1;
        }
    }
    assert!(depths >= 6 && loads >= 4, "{depths} {loads}");
}

/// Search as the firm pressure is defined: down from 20 kPa in steps of 10 %.
#[test]
fn the_firm_pressure_is_the_one_that_small_steps_meet_first() {
    for site in sites() {
        for load_stop_g in [4.0f32, 6.0, 9.0, 14.0, 20.0, 40.0] {
            let input = changed(site.input(), |i| i.bag.load_stop_g = load_stop_g);
            let three = three(&site);
            let chamber = input.chamber(&three.stated).unwrap();
            let light = input.light(&three.stated, &chamber).unwrap();
            let load_g =
                |pa: f32| light.land(chamber.at_pressure(pa), Feed::Running, Until::Deepest).unwrap().felt_load_g;
            let mut pa = 20_000.0;
            while pa > chamber.skin_pa() && load_g(pa) > load_stop_g {
                pa *= 0.9;
            }
            let (found, _) = light.highest_for_load(load_stop_g);
            match found {
                Limit::At(firm_pa) => assert!(
                    firm_pa >= 0.999 * pa && firm_pa <= 1.001 * pa / 0.9,
                    "{} {load_stop_g}: {firm_pa} {pa}",
                    site.name
                ),
                Limit::NotReached => assert_eq!(pa, 20_000.0, "{} {load_stop_g}", site.name),
                _ => assert!(pa <= chamber.skin_pa(), "{} {load_stop_g}: {found:?} {pa}", site.name),
            }
        }
    }
}

#[test]
fn the_stop_pressure_is_by_depth_floor_or_room() {
    let site = sites().find(|site| site.name == "well fed").unwrap();
    let three = three(&site);
    let by_depth = levels(&changed(site.input(), |i| i.bag.stop_floor = 0.0), &three).unwrap();
    assert_eq!(by_depth.stop_rule, StopRule::Depth);
    assert_eq!(Some(by_depth.stop_pa), by_depth.soft_by_depth.pressure_pa());
    assert!(by_depth.stop_pa < by_depth.room_pa && !by_depth.stop_over_room);
    let floor = levels(
        &changed(site.input(), |i| {
            i.riders.hard_speed_mps = 4.0;
            i.bag.stop_floor = 0.9;
            i.bag.pressure_min_pa = 700.0;
        }),
        &three,
    )
    .unwrap();
    assert_eq!((floor.stop_rule, floor.stop_pa), (StopRule::Floor, 0.9 * 700.0));
    // The soft bag asks for more than the room, the stated one does not: armed with the room.
    let soft = ThreeBags { soft: PossibleBag { area: three.stated.area.scaled(0.3), ..three.stated }, ..three };
    let room = levels(&site.input(), &soft).unwrap();
    assert_eq!((room.stop_rule, room.stop_pa, room.stop_over_room), (StopRule::Room, room.room_pa, false));
    let neither = ThreeBags { stated: soft.soft, ..soft };
    assert!(levels(&site.input(), &neither).unwrap().stop_over_room);
}

#[test]
fn the_wait_pressure_is_as_long_above_the_stop_pressure_as_is_needed() {
    let site = sites().find(|site| site.name == "well fed").unwrap();
    let three = three(&site);
    let input = changed(site.input(), |i| {
        i.bag.pressure_min_pa = 300.0;
        i.riders.commitment_s = Some(1.0);
        i.riders.reaction_s = 0.5;
    });
    let found = levels(&input, &three).unwrap();
    let wait_pa = found.wait_pa.unwrap();
    assert_eq!(found.needed_s, Some(1.6));
    let falls = [three.stated, three.soft].map(|bag| {
        let chamber = input.chamber(&bag).unwrap();
        let slow = SlowGas { chamber: &chamber, flows: input.flows(Feed::Lost) };
        slow.fall_time_s(wait_pa, found.stop_pa).unwrap()
    });
    // Both bags stretch alike here: the same pressure for both.
    assert!(falls.iter().all(|fall_s| (fall_s - 1.6).abs() < 2e-3), "{falls:?}");
    assert_eq!(levels(&changed(input, |i| i.riders.commitment_s = Some(300.0)), &three).unwrap().wait_pa, None);
    let unknown = levels(&changed(input, |i| i.riders.commitment_s = None), &three).unwrap();
    assert_eq!((unknown.wait_pa, unknown.needed_s), (None, None));
    // Over 0.98 p_op − e − n the permit would not come back: no wait pressure.
    let high = levels(&changed(input, |i| i.bag.pressure_min_pa = 0.97 * input.operating_pa), &three).unwrap();
    assert_eq!(high.wait_pa, None);
    let unsensed = levels(&changed(input, |i| i.sensing.supply_sense = false), &three).unwrap();
    assert!(unsensed.alarm_delay_s.unwrap() > UNSENSED_DELAY_S);
}

#[test]
fn a_dip_is_counted_where_the_mean_landing_comes_to_rest() {
    let site = sites().find(|site| site.name == "stiff skin").unwrap();
    let three = three(&site);
    let with = levels(&site.input(), &three).unwrap().dip_pa;
    assert!(with > 20.0, "{with}");
    let none = changed(site.input(), |i| i.riders.mean_landing = None);
    assert_eq!(levels(&none, &three).unwrap().dip_pa, LEAST_DIP_PA);
    let input = site.input();
    let mean = MeanLanding { thickness_m: 0.3, ..input.riders.mean_landing.unwrap() };
    let ground = changed(input, |i| i.riders.mean_landing = Some(mean));
    assert_eq!(levels(&ground, &three).unwrap().dip_pa, LEAST_DIP_PA);
}

#[test]
fn what_is_out_of_range_is_refused() {
    let site = sites().next().unwrap();
    let three = three(&site);
    let input = site.input();
    let wrong = [
        changed(input, |i| i.bag.pressure_min_pa = 3_000.0),
        changed(input, |i| i.bag.depth_limit = 0.0),
        changed(input, |i| i.riders.lightest_kg = 120.0),
        changed(input, |i| i.riders.hard_speed_mps = f32::NAN),
        changed(input, |i| i.riders.commitment_s = Some(-1.0)),
        changed(input, |i| i.sensing.sensor = SensorError { error_pa: f32::NAN, ..SENSOR }),
        changed(input, |i| i.bag.thickness_m = 0.0),
        changed(input, |i| i.operating_pa = 3.0),
    ];
    for input in wrong {
        assert!(levels(&input, &three).is_err(), "{input:?}");
    }
}

/// Steps end at the knots of the force area, where the force has a corner: against twenty times as narrow a tolerance.
#[test]
fn touch_downs_are_as_close_as_their_steps_say() {
    for site in sites() {
        let input = site.input();
        let bag = *site.bags().stated();
        let chamber = input.chamber(&bag).unwrap();
        for feed in [Feed::Lost, Feed::Running] {
            for part in 1..=12u8 {
                let land = |tolerance: f32| {
                    let options = Options { tolerance, ..input.options };
                    let trial = Trial { options, ..input.hard(&bag, &chamber).unwrap() };
                    let from = chamber.at_pressure(input.operating_pa * 0.1 * f32::from(part));
                    trial.land(from, feed, Until::Back).unwrap()
                };
                let (usual, fine) = (land(2e-5), land(1e-6));
                let off = |usual: f32, fine: f32| (usual / fine - 1.0).abs();
                let said = (site.name, feed, part);
                assert!(off(usual.depth_m, fine.depth_m) < 1e-4, "{said:?}");
                assert!(off(usual.felt_load_g, fine.felt_load_g) < 1e-4, "{said:?}");
                assert!((usual.time_to_deepest_s - fine.time_to_deepest_s).abs() < 1e-4, "{said:?}");
                let rebound = [usual, fine].map(|done| done.rebound_mps.unwrap_or(0.0));
                assert!((rebound[0] - rebound[1]).abs() < 5e-3, "{said:?} {rebound:?}");
            }
        }
    }
}

#[test]
fn without_an_alarm_time_the_shortest_delay_stands_in() {
    for site in sites().take(2) {
        let with = |change: fn(&mut LevelsInput<'_>)| {
            let mut input = site.input();
            change(&mut input);
            (
                levels(&input, &three(&site)).unwrap().needed_s,
                levels(&input, &three(&site)).unwrap().needed_or_least_s(&input),
            )
        };
        // 4 s on the way, 0.1 s to the alarm with a sensed supply, 1 s to react.
        let (needed_s, least_s) = with(|_| {});
        assert!((needed_s.unwrap() - 5.1).abs() < 1e-6 && needed_s == Some(least_s));
        let (needed_s, least_s) = with(|input| input.riders.commitment_s = None);
        assert!(needed_s.is_none() && (least_s - 1.2).abs() < 1e-6, "{least_s}");
        let (needed_s, least_s) = with(|input| {
            input.riders.commitment_s = None;
            input.riders.reaction_s = 2.5;
        });
        assert!(needed_s.is_none() && (least_s - 2.7).abs() < 1e-6, "{least_s}");
    }
}
