//! The short way to the three bags against trying all, and the limits against their own rules.

use super::*;
use crate::test_sites::sites;
use crate::touchdown::landings_made;
use crate::worst_bags::at_place_of_all;

#[test]
fn the_short_way_finds_the_bags_that_trying_all_finds() {
    let mut in_all = 0;
    for site in sites() {
        let input = site.input();
        for bags in [site.bags(), site.bags().if_measured()] {
            let before = landings_made();
            let soft = at_place(&bags, &StopPressure { input: &input }).unwrap();
            let firm = at_place(&bags, &LightLoad { input: &input }).unwrap();
            let hold = at_place(&bags, &Hold { input: &input }).unwrap();
            let short = landings_made() - before;
            // Most of it where many bags lie at an end of the search.
            assert!(short < 800, "{}: {short}", site.name);
            in_all += short;
            let all = [
                at_place_of_all(&bags, &StopPressure { input: &input }).unwrap(),
                at_place_of_all(&bags, &LightLoad { input: &input }).unwrap(),
                at_place_of_all(&bags, &Hold { input: &input }).unwrap(),
            ];
            assert_eq!([soft, firm], [all[0], all[1]], "{}", site.name);
            assert_eq!(hold.value, all[2].value, "{}", site.name);
        }
    }
    // A closed form that puts the bags in a worse order costs more landings.
    assert!(in_all <= 5_600, "{in_all}");
}

#[test]
fn the_soft_bag_asks_for_more_and_the_firm_bag_loads_more_than_the_stated_one() {
    for site in sites() {
        let input = site.input();
        let limits = ride_limits(&input, &site.bags(), 20.0).unwrap();
        let measured = ride_limits(&input, &site.bags().if_measured(), 20.0).unwrap();
        let order = |limit: Limit| limit.pressure_pa().unwrap_or(f32::INFINITY);
        // Less is not known of a measured bag: both decide less far off.
        assert!(order(limits.soft.by_depth) >= order(measured.soft.by_depth), "{}", site.name);
        assert!(order(measured.soft.by_depth) >= order(limits.stated.by_depth), "{}", site.name);
        assert!(limits.firm.light_load_g >= measured.firm.light_load_g, "{}", site.name);
        assert!(measured.firm.light_load_g >= limits.stated.light_load_g, "{}", site.name);
        assert_eq!(
            limits.stated,
            BagLimits { power_loss_to_stop_s: limits.stated.power_loss_to_stop_s, ..measured.stated }
        );
        // Of two bags that give way the one that only 5 in 100 are worse than holds no longer than the stated one.
        if let (Some(p05_s), Some(hold_s)) = (limits.holds_for_p05_s, limits.holds_for_s) {
            assert!(p05_s <= hold_s, "{}", site.name);
        }
        assert_eq!(limits.levels.soft_by_depth, limits.soft.by_depth);
        assert_eq!(
            limits.levels.power_loss_to_stop_s,
            [limits.stated, limits.soft].map(|bag| bag.power_loss_to_stop_s)
        );
        assert_eq!(limits.status, Status::Converged, "{}", site.name);
        assert!(limits.hard_force_n > 110.0 * STANDARD_GRAVITY_MPS2, "{}", site.name);
    }
}

#[test]
fn at_the_end_of_the_hold_the_hard_landing_is_at_its_limit() {
    let mut checked = 0;
    for site in sites() {
        let input = site.input();
        let limits = ride_limits(&input, &site.bags(), 20.0).unwrap();
        let Some(hold_s) = limits.holds_for_s.filter(|&seconds| seconds > 0.0) else { continue };
        let chamber = input.chamber(&limits.stated.bag).unwrap();
        let slow = SlowGas { chamber: &chamber, flows: input.flows(Feed::Lost) };
        let hard = input.hard(&limits.stated.bag, &chamber).unwrap();
        let margin = |seconds: f32| {
            let left = slow.after_loss(&chamber.at_pressure(input.operating_pa), seconds).0;
            hard.depth_margin(left, input.depth_limit_m())
        };
        assert!(margin((hold_s - 0.02).max(0.0)) > 0.0 && margin(hold_s + 0.02) < 0.0, "{}: {hold_s}", site.name);
        let missing_s = limits.seconds_missing.unwrap();
        assert!((missing_s - (limits.levels.needed_s.unwrap() - hold_s).max(0.0)).abs() < 1e-6);
        checked += 1;
    }
    assert!(checked >= 3, "{checked}");
}

#[test]
fn a_tight_bag_takes_as_many_landings_as_are_counted() {
    let site = sites().find(|site| site.name == "tight").unwrap();
    let limits = ride_limits(&site.input(), &site.bags(), 20.0).unwrap();
    assert_eq!((limits.holds_for_s, limits.holds_for_p05_s), (None, None));
    assert!(limits.landings_without_supply >= 5, "{}", limits.landings_without_supply);
    let site = sites().find(|site| site.name == "hopeless").unwrap();
    let limits = ride_limits(&site.input(), &site.bags(), 20.0).unwrap();
    assert_eq!((limits.holds_for_s, limits.landings_without_supply), (Some(0.0), 0));
    assert!(limits.levels.stop_over_room && limits.levels.stop_pa <= limits.levels.room_pa);
    assert!(ride_limits(&site.input(), &site.bags(), 0.0).is_err());
}
