//! The ride pressures against hand-worked sites and their own rules.

use super::*;
use crate::blower::{BlowerCurve, BlowersInput, CurvePoint};
use crate::openings::OpeningsInput;
use crate::supply::operating_point;

struct Site {
    air: Air,
    openings: Openings,
    blowers: Blowers,
}

fn site(openings: OpeningsInput, blowers: BlowersInput) -> Site {
    let air = Air::new(200.0, 288.15, None).unwrap();
    let points = [(1.9, 0.0), (1.6, 700.0), (1.1, 1_400.0), (0.0, 2_000.0)]
        .map(|(flow_m3ps, pressure_pa)| CurvePoint { flow_m3ps, pressure_pa });
    let curve = BlowerCurve::new(&points).unwrap();
    Site {
        openings: Openings::new(openings, &air).unwrap(),
        blowers: Blowers::new(&curve, &blowers, &air).unwrap(),
        air,
    }
}

fn leaky() -> Site {
    site(
        OpeningsInput { vent_area_m2: 0.02, leak_coefficient: 0.002, ..OpeningsInput::default() },
        BlowersInput::default(),
    )
}

fn input(site: &Site) -> RideInput<'_> {
    RideInput {
        air: &site.air,
        openings: &site.openings,
        blowers: &site.blowers,
        operating_pa: operating_point(&site.blowers, &site.openings).pressure_pa,
        volume_m3: 180.0,
        stretch_per_pa: 3e-5,
        skin_kgpm2: 0.65,
        dish_radius_m: 1.2,
        skin_loss: 0.65,
        pressure_min_pa: 700.0,
        pressure_max_pa: 2_000.0,
        depth_limit: 0.8,
        load_limit_g: 10.0,
        stop_floor: 0.6,
        thickness_m: 1.6,
        slope_rad: 0.1,
        heaviest_kg: 110.0,
        lightest_kg: 70.0,
        hard_speed_mps: 8.0,
        commitment_s: 4.0,
        reaction_s: 1.0,
        supply_sense: true,
        interval_s: 20.0,
        options: Options::default(),
    }
}

#[test]
fn the_stop_and_firm_pressures_keep_their_limits_and_a_little_less_or_more_does_not() {
    let site = leaky();
    let input = input(&site);
    let found = ride_pressures(&input).unwrap();
    let chamber = Chamber::new(&site.air, 180.0, input.operating_pa, 3e-5, 0.65).unwrap();
    let flows = Flows { openings: &site.openings, blowers: Some(&site.blowers), feed: Feed::Lost };
    let trial =
        |mass_kg| Trial { chamber: &chamber, flows, landing: input.landing(mass_kg).unwrap(), options: input.options };
    let depth = |pa: f32| trial(110.0).land(chamber.at_pressure(pa), Feed::Lost, Until::Deepest).unwrap().depth_m;
    let stop_pa = found.stop_by_depth_pa.unwrap();
    assert!(depth(stop_pa) <= 0.8 * 1.6 && depth(0.998 * stop_pa) > 0.8 * 1.6, "{found:?}");
    let load = |pa: f32| trial(70.0).land(chamber.at_pressure(pa), Feed::Running, Until::Deepest).unwrap().felt_load_g;
    let firm_pa = found.firm_pa.unwrap();
    assert!(load(firm_pa) <= 10.0 && load(1.002 * firm_pa) > 10.0, "{found:?}");
    assert!(!found.band_is_empty && found.status == Status::Converged);
}

#[test]
fn at_the_end_of_the_hold_the_hard_landing_is_at_its_limit() {
    let site = leaky();
    for (thickness_m, hard_speed_mps) in [(1.6, 8.0), (3.0, 8.0), (3.0, 6.0)] {
        let input = RideInput { thickness_m, hard_speed_mps, ..input(&site) };
        let found = ride_pressures(&input).unwrap();
        let chamber = Chamber::new(&site.air, 180.0, input.operating_pa, 3e-5, 0.65).unwrap();
        let flows = Flows { openings: &site.openings, blowers: Some(&site.blowers), feed: Feed::Lost };
        let slow = SlowGas { chamber: &chamber, flows };
        let hard = Trial { chamber: &chamber, flows, landing: input.landing(110.0).unwrap(), options: input.options };
        let hold_s = found.holds_for_s.unwrap();
        let margin = |seconds: f32| {
            let (state, _) = slow.after_loss(&chamber.at_pressure(input.operating_pa), seconds);
            hard.depth_margin(state, 0.8 * thickness_m)
        };
        assert!(margin(hold_s - 0.01) > 0.0 && margin(hold_s + 0.01) < 0.0, "{thickness_m}: {found:?}");
        let missing_s = found.seconds_missing.unwrap();
        assert!((missing_s - (5.1 - hold_s).max(0.0)).abs() < 1e-6);
    }
}

#[test]
fn the_wait_pressure_is_one_commitment_above_the_stop_pressure() {
    let site = leaky();
    let input = RideInput { pressure_min_pa: 300.0, commitment_s: 0.3, reaction_s: 0.2, ..input(&site) };
    let found = ride_pressures(&input).unwrap();
    let chamber = Chamber::new(&site.air, 180.0, input.operating_pa, 3e-5, 0.65).unwrap();
    let flows = Flows { openings: &site.openings, blowers: Some(&site.blowers), feed: Feed::Lost };
    let slow = SlowGas { chamber: &chamber, flows };
    let fall_s = slow.fall_time_s(found.wait_pa.unwrap(), found.stop_pa.unwrap()).unwrap();
    assert!((fall_s - 0.6).abs() < 1e-3, "{fall_s} {found:?}");
    let long = ride_pressures(&RideInput { commitment_s: 300.0, ..input }).unwrap();
    assert_eq!(long.wait_pa, None);
    assert!(long.seconds_missing.unwrap() > 0.0);
}

#[test]
fn a_tight_bag_holds() {
    let site = site(OpeningsInput::default(), BlowersInput::default());
    let found = ride_pressures(&RideInput { supply_sense: false, ..input(&site) }).unwrap();
    assert_eq!((found.holds_for_s, found.power_loss_to_stop_s, found.alarm_delay_s), (None, None, None));
    assert_eq!((found.seconds_missing, found.landings_without_supply), (Some(0.0), MAX_LANDINGS));
    assert_eq!(found.wait_pa, Some(found.stop_pa.unwrap().max(700.0)));
}

#[test]
fn no_pressure_is_enough_on_a_thin_bag_and_none_soft_enough_for_a_tight_limit() {
    let site = leaky();
    let thin = ride_pressures(&RideInput { thickness_m: 0.2, ..input(&site) }).unwrap();
    assert_eq!((thin.stop_pa, thin.stop_rule, thin.holds_for_s), (None, StopRule::Depth, Some(0.0)));
    assert!(thin.band_is_empty && thin.wait_pa.is_none() && thin.landings_without_supply == 0);
    let tight = ride_pressures(&RideInput { load_limit_g: 1.5, ..input(&site) }).unwrap();
    assert_eq!((tight.firm_pa, tight.firm_limit), (None, Limit::NotKept));
    assert!(tight.band_is_empty && tight.band_high_end == BandEnd::Firm);
    let loose = ride_pressures(&RideInput { load_limit_g: 60.0, ..input(&site) }).unwrap();
    assert_eq!((loose.firm_pa, loose.firm_limit), (None, Limit::NotReached));
    assert_eq!(loose.band_high_pa, Some(2_000.0));
}

#[test]
fn the_worst_end_is_no_better_than_the_site() {
    let site = leaky();
    let report = ride_report(&RideInput { thickness_m: 1.3, ..input(&site) }).unwrap();
    let worst = report.worst();
    for one in report.ends.iter().chain([&report.stated]) {
        assert!(one.stop_pa.is_none() == worst.stop_pa.is_none() || worst.stop_pa.is_none());
        if worst.stop_pa.is_some() {
            assert!(one.seconds_missing <= worst.seconds_missing);
        }
    }
}

#[test]
fn values_out_of_order_are_refused() {
    let site = leaky();
    assert!(ride_pressures(&RideInput { lightest_kg: 120.0, ..input(&site) }).is_err());
    assert!(ride_pressures(&RideInput { pressure_min_pa: 2_000.0, ..input(&site) }).is_err());
    assert!(ride_pressures(&RideInput { hard_speed_mps: f32::NAN, ..input(&site) }).is_err());
    assert!(ride_pressures(&RideInput { interval_s: 0.0, ..input(&site) }).is_err());
}

/// The search that gives up early finds a firm pressure where a fine scan of all pressures does, and none where it
/// does not: limits down to 1 in 1,000 about the softest landing that there is.
#[test]
fn a_softest_pressure_between_the_steps_is_found_and_only_where_there_is_one() {
    let mut kept = 0;
    for (vent_m2, dish_m, speed_mps, mass_kg) in [
        (0.02, 1.2, 8.0, 70.0),
        (0.3, 1.2, 8.0, 70.0),
        (1.5, 0.8, 6.0, 70.0),
        (0.6, 0.6, 9.0, 95.0),
        (3.0, 1.0, 5.0, 60.0),
        (0.05, 2.0, 4.0, 110.0),
    ] {
        let openings = OpeningsInput { vent_area_m2: vent_m2, leak_coefficient: 0.002, ..OpeningsInput::default() };
        let site = site(openings, BlowersInput { count: 8, ..BlowersInput::default() });
        let input =
            RideInput { dish_radius_m: dish_m, hard_speed_mps: speed_mps, lightest_kg: mass_kg, ..input(&site) };
        let chamber = Chamber::new(&site.air, 180.0, input.operating_pa, 3e-5, 0.65).unwrap();
        let flows = Flows { openings: &site.openings, blowers: Some(&site.blowers), feed: Feed::Running };
        let landing = input.landing(input.lightest_kg).unwrap();
        let trial = Trial { chamber: &chamber, flows, landing, options: input.options };
        let (low, high) = (libm::logf(chamber.skin_pa().max(1.0)), libm::logf(crate::landing_limits::SEARCH_TOP_PA));
        // The least load over places between two logarithms, and where.
        let least = |from: f32, to: f32| {
            (0..=2_000_u16).fold((f32::INFINITY, from), |best, i| {
                let log_pa = from + (to - from) * f32::from(i) / 2_000.0;
                match trial.land(chamber.at_pressure(libm::expf(log_pa)), Feed::Running, Until::Deepest) {
                    Some(done) if done.status == Status::Converged && done.felt_load_g < best.0 => {
                        (done.felt_load_g, log_pa)
                    }
                    _ => best,
                }
            })
        };
        let near = least(low, high).1;
        let softest_g = least(near - 0.005, near + 0.005).0;
        for (by, there) in [(0.7, false), (0.95, false), (0.99, false), (0.999, false), (1.001, true), (1.01, true)] {
            let (limit, _) = trial.highest_for_load(by * softest_g);
            let found = limit.pressure_pa().is_some() || limit == Limit::NotReached;
            assert_eq!(found, there, "{by} of {softest_g} g with {vent_m2} m²: {limit:?}");
            kept += u32::from(matches!(limit, Limit::At(_)));
        }
    }
    assert!(kept > 6, "{kept}");
}
