//! The short way to the chances against stepping down from 15 m/s in every bag.

use super::*;
use crate::possible_bags::PLACE_05;
use crate::test_sites::sites;
use crate::touchdown::landings_made;

fn speeds(hard_mps: f32) -> TwoNormals {
    TwoNormals {
        good_mps: (0.75 * hard_mps, 0.06 * hard_mps),
        botched_mps: (0.76 * hard_mps, 0.11 * hard_mps),
        botched: 0.05,
    }
}

/// By the words of the definition.
fn plainly(landings: &Landings<'_>, bags: &PossibleBags, speeds: &dyn NormalSpeeds, target: f32) -> (f32, f32, f32) {
    let (mut order, mut over, mut sum) = ([0.0_f32; 256], 0, 0.0);
    for (slot, bag) in order.iter_mut().zip(bags.iter()) {
        let (chamber, from) = landings.at_contact(&bag).unwrap();
        let fall = Fall::new(landings.input, &bag, &chamber, from, landings.feed(), landings.mass_kg).unwrap();
        let critical = match fall.land(FASTEST_MPS) {
            Met::Rests { .. } => CriticalSpeed::NoneNeeded,
            _ => fall.by_steps(FASTEST_MPS, 0.0),
        };
        *slot = critical.order_mps();
        over += u16::from(critical.chance(speeds) > target);
        sum += critical.chance(speeds);
    }
    order.sort_unstable_by(f32::total_cmp);
    let at_place = order[usize::from(PLACE_05) - 1];
    let ground = if at_place.is_finite() { speeds.survival(at_place) } else { 0.0 };
    (ground, f32::from(over) / 256.0, sum / 256.0)
}

#[test]
fn the_short_way_comes_to_the_chances_of_the_plain_one() {
    let mut in_all = 0;
    let near = |got: f32, want: f32| (got - want).abs() <= 2e-3 * want + 3e-7;
    for site in sites() {
        let input = site.input();
        let speeds = speeds(site.hard_speed_mps);
        for bags in [site.bags(), site.bags().if_measured()] {
            for needed_s in [0.5, 5.0] {
                let rider = LandingRider { mass_kg: 110.0, speeds: &speeds };
                let before = landings_made();
                let short = ground_chance(&input, &bags, &rider, Some(needed_s), 1e-3).unwrap();
                let count = landings_made() - before;
                // A bag in between costs most: every possible bag has a critical speed within the rider's speeds.
                assert!(count < 1_400, "{} {needed_s}: {count}", site.name);
                in_all += count;
                let lost = Landings {
                    input: &input,
                    mass_kg: 110.0,
                    lost_s: Some(needed_s),
                    slowest_mps: 0.0,
                    fastest_mps: FASTEST_MPS,
                };
                let (ground, share, _) = plainly(&Landings { lost_s: None, ..lost }, &bags, &speeds, 1e-3);
                let (_, _, cut) = plainly(&lost, &bags, &speeds, 1e-3);
                assert!(near(short.ground, ground), "{} {needed_s}: {short:?} {ground}", site.name);
                assert_eq!(short.ground_share, share, "{} {needed_s}", site.name);
                assert!(near(short.ground_cut.unwrap(), cut), "{} {needed_s}: {short:?} {cut}", site.name);
            }
        }
    }
    // A closed form that puts the bags in a worse order, or a worse first guess of a speed, costs more landings.
    assert!(in_all <= 15_500, "{in_all}");
}

#[test]
fn two_normals_are_mixed_by_their_shares() {
    let both = TwoNormals { good_mps: (5.0, 0.5), botched_mps: (5.0, 1.0), botched: 0.2 };
    // 0.8 · 0.0227501 + 0.2 · 0.1586553, from a table of the normal.
    assert!((both.survival(6.0) - 0.049_931_1).abs() < 1e-6);
    assert!((passed_with_mps(&both, 0.5) - 5.0).abs() < 1e-5);
    let surely = TwoNormals { good_mps: (20.0, 0.5), ..both };
    assert_eq!(passed_with_mps(&surely, 0.5), FASTEST_MPS);
}

#[test]
fn a_critical_speed_rests_and_a_little_more_does_not() {
    for site in sites() {
        let input = site.input();
        let landings =
            Landings { input: &input, mass_kg: 80.0, lost_s: Some(1.0), slowest_mps: 0.5, fastest_mps: FASTEST_MPS };
        let bag = *site.bags().stated();
        let (chamber, from) = landings.at_contact(&bag).unwrap();
        let fall = Fall::new(&input, &bag, &chamber, from, Feed::Lost, 80.0).unwrap();
        match landings.critical(&bag).unwrap() {
            CriticalSpeed::At(mps) => {
                let ends = (fall.land(mps - 1e-3), fall.land(mps + 1e-3));
                assert!(matches!(ends, (Met::Rests { .. }, Met::Ground { .. })), "{} {mps}: {ends:?}", site.name);
            }
            CriticalSpeed::NoneNeeded => assert!(matches!(fall.land(FASTEST_MPS), Met::Rests { .. }), "{}", site.name),
            CriticalSpeed::NoneRests => assert!(!matches!(fall.land(0.5), Met::Rests { .. }), "{}", site.name),
        }
    }
}
