//! A quiet plan, written by hand, for the tests of findings and texts: everything has a value, nothing is outside a limit.

use super::cautions::CAUTIONS;
use super::dirt::compare;
use super::results::*;
use crate::site::{Site, demo};
use std::collections::BTreeMap;

/// The embedded demo site with a measured bag.
pub fn site() -> Site {
    let mut site = demo();
    site.bag.fitted = true;
    site
}

/// An end of the assumed numbers.
pub fn end(stop_pa: f64) -> WorstEnd {
    WorstEnd {
        stop_pa: Some(stop_pa),
        power_loss_to_stop_s: Some(20.0),
        holds_for_s: Some(25.0),
        seconds_missing: Some(0.0),
        wait_pa: Some(700.0),
        band_high_pa: Some(1_300.0),
        alarm_delay_s: Some(0.1),
        skin_stretch: 1.5e-5,
        dish_radius_m: 0.9,
    }
}

/// One of the possible bags.
pub fn one_bag(stop_pa: f64) -> OneBag {
    OneBag {
        knots: vec![[0.1, 1.1], [0.58, 4.0]],
        skin_stretch: 3.0e-5,
        stop_by_depth_pa: Some(stop_pa),
        power_loss_to_stop_s: Some(21.0),
        hard_depth_m: Some(1.2),
        light_load_g: Some(9.0),
    }
}

/// The same chance for all.
pub fn chance(chance: f64) -> Chance {
    Chance { lightest: chance, mean: chance, heaviest: chance, worst: chance, if_measured: Some(chance) }
}

/// The results to go with [`site`].
pub fn results() -> Results {
    let map = |pairs: &[(&'static str, f64)]| pairs.iter().copied().collect::<BTreeMap<_, _>>();
    let rider = |mass_kg, along_m| Rider {
        mass_kg,
        along_m: Some(along_m),
        airtime_s: Some(1.38),
        impact_normal_mps: Some(6.6),
        sd_along_m: Some(0.4),
        miss: Some(3.0e-5),
    };
    let after = |time_s, pressure_pa, hard| AfterCut { time_s, pressure_pa, hard_depth_m: Some(hard) };
    Results {
        site: "Larch Hollow (invented demo)".into(),
        version: "0.1.0".into(),
        ride: Ride {
            lip_speed_mps: Some(8.4),
            lip_angle_deg: 62.2,
            release_angle_deg: 58.9,
            time_to_lip_s: Some(3.18),
            peak_load_g: Some(3.8),
            peak_load_before_foot_m: Some(5.5),
            stall: None,
            leaves_surface: None,
            length_m: 16.0,
            takeoff_radius_m: 4.57,
            takeoff_height_m: 2.44,
        },
        riders: Riders { lightest: rider(62.0, 4.2), heaviest: rider(95.0, 4.5), worst: "mean" },
        flight: Flight {
            airtime_s: Some(1.38),
            apex_above_lip_m: Some(2.77),
            along_m: Some(4.3),
            across_m: Some(0.0),
            distance_from_lip_m: Some(5.1),
            impact_speed_mps: Some(8.1),
            impact_normal_mps: Some(6.6),
            impact_along_mps: Some(4.6),
            equivalent_fall_height_m: Some(2.22),
            outcome: "on",
        },
        spread: Spread {
            differences: Some(Differences {
                mean_along_m: 4.3,
                sd_along_m: 0.4,
                mean_across_m: 0.0,
                sd_across_m: 0.3,
                shares_along: map(&[("lip_speed", 0.46), ("carry", 0.3), ("pop", 0.14), ("start_height", 0.1)]),
                shares_across: map(&[("line", 0.5), ("yaw", 0.4), ("wind_across", 0.1)]),
                one_sd_along_m: map(&[("lip_speed", 0.27), ("carry", -0.22), ("pop", 0.15), ("start_height", 0.1)]),
                one_sd_across_m: map(&[("line", 0.2), ("yaw", 0.18), ("wind_across", 0.1)]),
                mean_normal_mps: 6.6,
                sd_normal_mps: 0.35,
            }),
            sampling: Some(Sampling {
                mean_along_m: Some(4.3),
                sd_along_m: Some(0.4),
                mean_across_m: Some(0.0),
                sd_across_m: Some(0.3),
                correlation: Some(0.01),
                mean_normal_mps: Some(6.6),
                sd_normal_mps: Some(0.35),
                along_p001_m: Some(3.05),
                along_p50_m: Some(4.3),
                along_p999_m: Some(5.5),
                across_p001_m: Some(-0.95),
                across_p999_m: Some(0.94),
                normal_p999_mps: Some(7.6),
                outcomes: map(&[
                    ("on", 1.0),
                    ("edge", 0.0),
                    ("short", 0.0),
                    ("long", 0.0),
                    ("left", 0.0),
                    ("right", 0.0),
                    ("front", 0.0),
                    ("stall", 0.0),
                    ("leaves_surface", 0.0),
                ]),
                miss: 3.0e-5,
                miss_low: 0.0,
                miss_high: 3.7e-5,
                misses: 0,
                samples: 100_000,
                seed: 1,
                along_shape: Vec::new(),
            }),
            methods_agree: Some(true),
            tails: None,
        },
        placement: Placement {
            gap_m: 0.8,
            offset_m: 0.0,
            miss_now: Some(3.0e-5),
            best_gap_m: Some(0.6),
            gap_low_m: Some(0.0),
            gap_high_m: Some(2.6),
            inside_band_m: Some(0.8),
            least_miss: Some(3.0e-5),
            least_miss_gap_m: Some(0.6),
            best_offset_m: Some(0.01),
            miss_at_best: Some(3.0e-5),
            last_stop_before_foot_m: Some(9.4),
            last_stop_speed_mps: Some(4.1),
            last_stop_to_touchdown_s: Some(3.1),
            stop_lines: vec![
                StopLine { braking: 0.3, before_foot_m: Some(11.0), to_touchdown_s: Some(3.5) },
                StopLine { braking: 0.4, before_foot_m: Some(9.4), to_touchdown_s: Some(3.1) },
                StopLine { braking: 0.5, before_foot_m: Some(8.0), to_touchdown_s: Some(2.9) },
            ],
            clearing_lip_speed_mps: Some(4.9),
            front_from_lip_speed_mps: Some(2.2),
            short_zone: vec![
                ShortRun { lip_speed_mps: 1.4, hit: "ground", height_at_gap_m: Some(-0.4) },
                ShortRun { lip_speed_mps: 3.2, hit: "bag_front", height_at_gap_m: Some(1.2) },
                ShortRun { lip_speed_mps: 4.9, hit: "bag_top", height_at_gap_m: Some(2.6) },
            ],
            lowest_clearing_start_m: Some(4.6),
            highest_start_in_gust_m: Some(8.2),
            target_miss: 0.001,
        },
        air: Air {
            density_kgpm3: 1.16,
            outside_pressure_pa: 96_400.0,
            operating_pressure_pa: 1_180.0,
            operating_flow_m3ps: 1.0,
            at_shut_off: false,
            status: "in range",
            above_min_pa: 480.0,
            below_max_pa: 320.0,
            needed_pressure_pa: 1_100.0,
            needed_flow_m3ps: 0.93,
            fill_time_s: Some(140.0),
            after_cut: vec![after(0.0, 1_180.0, 1.2), after(5.0, 950.0, 1.4), after(10.0, 760.0, 1.7)],
        },
        touchdown: Some(Touchdown {
            depth_m: 0.95,
            thickness_m: 2.2,
            clearance_m: 1.25,
            felt_load_g: 5.2,
            peak_pressure_pa: 2_900.0,
            time_to_deepest_s: 0.26,
            gas_lost_m3: 0.4,
            rebound_mps: Some(2.1),
            rebound_low_mps: Some(1.4),
            rebound_high_mps: Some(3.0),
            along_left_mps: Some(1.9),
            run_out_m: Some(2.4),
            ride_out_mps: None,
            push_n: Some(3_200.0),
            recovery_s: Some(6.0),
            ground_speed_mps: None,
            ground_fall_height_m: None,
            dip_pa: Some(900.0),
        }),
        pressures: Pressures {
            stop_pa: Some(420.0),
            stop_rule: Some(StopRule::Floor),
            stop_by_depth_pa: Some(310.0),
            just_taut_is_enough: Some(false),
            firm_pa: Some(1_900.0),
            firm_limit: Some("reached"),
            band_low_pa: Some(700.0),
            band_high_pa: Some(1_500.0),
            band_low_rule: Some("pressure_min"),
            band_high_rule: Some("pressure_max"),
            band_is_empty: Some(false),
            wait_pa: Some(700.0),
            power_loss_to_stop_s: Some(21.0),
            holds_for_s: Some(28.0),
            commitment_s: Some(3.1),
            committed_from_start: Some(false),
            seconds_missing: Some(0.0),
            landings_without_supply: Some(1),
            alarm_delay_s: Some(0.1),
            hard_speed_mps: Some(7.7),
            hard_thickness_m: Some(2.2),
            worst: Some(end(440.0)),
            ends: vec![end(440.0), end(400.0)],
            fitted: true,
            room_pa: Some(1_000.0),
            comfort_pa: Some(1_600.0),
            needed_s: Some(4.2),
            stated: Some(one_bag(310.0)),
            soft: Some(one_bag(410.0)),
            firm: Some(one_bag(240.0)),
            holds_for_p05_s: Some(18.0),
            ground: Some(chance(1.0e-9)),
            ground_cut: Some(chance(1.0e-5)),
            ground_share: Some(0.0),
            one_blower_lost: Some(OneBlowerLost { settles_pa: 640.0, to_stop_s: None }),
            provisional: None,
            levels: Some(BoxLevels { siren_pa: 433.0, permit_off_pa: 850.0, permit_back_pa: 874.0 }),
        },
        wind: Wind {
            hold_along_tail_mps: Some(6.5),
            hold_along_head_mps: Some(7.2),
            hold_across_mps: Some(5.8),
            mean_reading_tail_mps: Some(3.9),
            mean_reading_head_mps: Some(4.3),
            mean_reading_across_mps: Some(3.5),
            limit_mps: 38.0 / 3.6,
            side_force_n: 1_700.0,
            lift_n: 2_600.0,
            anchors_needed: 8,
            anchors_stated: 12,
        },
        dirt: Some(compare(2.22, Some(3.02))),
        verdict: Verdict { limits_kept: 11, ..Verdict::default() },
        ride_by: vec![RideBy {
            group: "all".into(),
            start_high_m: Some(6.0),
            start_low_m: Some(4.65),
            next_rider_from_pa: Some(880.0),
            everybody_off_under_pa: Some(440.0),
            seconds_between: 20.0,
            holds_for_s: Some(18.0),
            stop_line_before_foot_m: Some(9.4),
            hold_along_tail_mps: Some(23.0 / 3.6),
            hold_along_head_mps: Some(25.0 / 3.6),
            hold_across_mps: Some(20.0 / 3.6),
            lightest_kg: 62.0,
            heaviest_kg: 95.0,
        }],
        cures: Vec::new(),
        findings: Vec::new(),
        assumed: vec!["rider.carry".into(), "rider.contact_height".into()],
        cautions: CAUTIONS.iter().map(|text| (*text).to_owned()).collect(),
    }
}
