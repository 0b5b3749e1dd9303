use super::*;
use crate::plan::results::{BandEnd, Judged, OrWhy, Provisional, Results, RidePlace, Topic, Why};
use crate::plan::test_plan;
use crate::site::Site;
use landfall_core::bag::Outcome;
use landfall_core::supply::RangeStatus;

/// Findings after a change to the quiet plan.
fn after(change: impl FnOnce(&mut Site, &mut Results)) -> Vec<Finding> {
    let (mut site, mut results) = (test_plan::site(), test_plan::results());
    change(&mut site, &mut results);
    findings(&site, &results)
}

/// Level and text of the first finding on a topic that holds some words.
fn level(list: &[Finding], topic: &str, words: &str) -> Option<Level> {
    list.iter()
        .find(|finding| finding.topic.name() == topic && finding.text.contains(words))
        .map(|finding| finding.level)
}

/// A change must bring a finding of this level and these words, which the quiet plan has not.
#[track_caller]
fn triggers(topic: &str, wanted: Level, words: &str, change: impl FnOnce(&mut Site, &mut Results)) {
    assert_eq!(level(&after(|_, _| {}), topic, words), None, "said without a cause");
    let list = after(change);
    assert_eq!(level(&list, topic, words), Some(wanted), "{list:#?}");
    assert_eq!(inside_all_limits(&list), !list.iter().any(|f| f.level == Level::Stop));
}

#[test]
fn a_quiet_plan_has_notes_alone() {
    let list = after(|_, _| {});
    assert!(list.iter().all(|finding| finding.level == Level::Note), "{list:#?}");
    assert!(inside_all_limits(&list));
    for (topic, words) in [
        ("miss", "fewer than 1 in 33,000"),
        ("gap", "0.80 m inside the band of 0.00 m to 2.60 m"),
        ("steady", "lip speed (0.27 m either way) and carry (0.22 m either way)"),
        ("depth", "0.95 m of 2.20 m deep"),
        ("felt", "5.2 g, limit 15.0 g"),
        ("pressure", "0.48 kPa above the low end"),
        ("stopping", "9.40 m before the take-off's foot"),
        ("wind", "23 km/h from behind"),
        ("wind", "1.66 times the mean"),
        ("anchors", "12 anchors of 1,600 N, 8 needed"),
        ("dirt", "over the 1.50 m"),
        ("assumed", "rider.carry, rider.contact_height"),
        ("power", "needs 4.20 s"),
    ] {
        assert!(level(&list, topic, words).is_some(), "{topic}: {words}\n{list:#?}");
    }
}

#[test]
fn the_gravest_come_first() {
    let list = after(|site, r| {
        site.anchors.count = 6;
        r.wind.anchors_stated = 6;
        r.ride.peak_load_g = 4.5;
    });
    assert!(list.is_sorted_by_key(|finding| finding.level));
    assert_eq!(list.first().map(|f| (f.level, f.topic)), Some((Level::Stop, About::Anchors)));
    assert!(level(&list, "load", "4.5 g").is_some_and(|level| level == Level::Caution));
    assert_eq!(list.last().map(|f| f.level), Some(Level::Note));
}

#[test]
fn only_a_stop_is_outside_a_limit() {
    let finding = |level| Finding::new("gap", level, About::Gap, "");
    assert!(inside_all_limits(&[]));
    assert!(inside_all_limits(&[finding(Level::Note), finding(Level::Caution)]));
    assert!(!inside_all_limits(&[finding(Level::Note), finding(Level::Stop)]));
}

fn no_flight(r: &mut Results) {
    r.ride.lip_speed_mps = Why::Stalls.into();
    r.ride.time_to_lip_s = Why::Stalls.into();
    r.flight.along_m = Why::Stalls.into();
    r.flight.apex_above_lip_m = Why::Stalls.into();
    r.touchdown = Why::Stalls.into();
    r.dirt = Why::Stalls.into();
    r.pressures = crate::plan::results::Pressures::none(Why::Stalls);
}

#[test]
fn the_ride_ends_before_the_lip() {
    let place = |before_foot_m| OrWhy::Value(RidePlace { before_foot_m, speed_mps: 3.0 });
    triggers("reach", Level::Stop, "rest 2.00 m before", |_, r| {
        no_flight(r);
        r.ride.stall = place(2.0);
    });
    triggers("reach", Level::Stop, "on the take-off, 0.50 m past", |_, r| {
        no_flight(r);
        r.ride.stall = place(-0.5);
    });
    triggers("reach", Level::Stop, "leaves the surface 2.00 m", |_, r| {
        no_flight(r);
        r.ride.leaves_surface = place(2.0);
    });
    triggers("band", Level::Stop, "no pressures to ride between: the rider comes to rest", |_, r| {
        no_flight(r);
        r.ride.stall = place(2.0);
    });
}

#[test]
fn the_mean_flight_misses_the_field() {
    for (outcome, along, topic, words) in [
        (Outcome::Front, None, "reach", "meets the bag's front"),
        (Outcome::Short, Some(-0.4), "reach", "0.40 m short"),
        (Outcome::Long, Some(10.5), "reach", "0.50 m beyond the bag's back edge"),
        (Outcome::Left, Some(4.3), "reach", "left side"),
        (Outcome::Right, Some(4.3), "reach", "right side"),
        (Outcome::Edge, Some(0.5), "reach", "front margin"),
        (Outcome::Edge, Some(9.5), "reach", "back margin"),
        (Outcome::Edge, Some(4.3), "reach", "side margin"),
    ] {
        let along = OrWhy::from(along.ok_or(Why::OffPlane));
        triggers(topic, Level::Stop, words, |_, r| (r.flight.outcome, r.flight.along_m) = (outcome, along));
    }
    triggers("reach", Level::Stop, "heaviest rider (95 kg) has no landing", |_, r| {
        r.riders.heaviest.along_m = Why::RiderEnds.into()
    });
    triggers("reach", Level::Stop, "lightest rider (62 kg) has no landing", |_, r| {
        r.riders.lightest.along_m = Why::RiderEnds.into()
    });
}

#[test]
fn the_load_in_the_arc() {
    triggers("load", Level::Caution, "4.1 g on the ride down", |_, r| r.ride.peak_load_g = 4.1);
    triggers("load", Level::Caution, "in the take-off", |_, r| {
        (r.ride.peak_load_g, r.ride.peak_load_before_foot_m) = (4.1, -1.0);
    });
    assert_eq!(level(&after(|_, r| r.ride.peak_load_g = 4.0), "load", ""), None);
}

#[test]
fn misses_short_and_long() {
    fn sampling(r: &mut Results) -> &mut crate::plan::results::Sampling {
        r.spread.sampling.as_mut().unwrap()
    }
    triggers("miss", Level::Stop, "short of the bag (under 1 %)", |_, r| {
        r.placement.miss_now = Some(0.0042);
        sampling(r).outcomes.insert("short", 0.004);
    });
    triggers("miss", Level::Stop, "At least 3,000 runs", |_, r| {
        sampling(r).samples = 1_000;
        r.placement.miss_now = Some(0.003);
    });
    triggers("miss", Level::Caution, "1 in 2,000 to 1 in 760", |_, r| {
        r.placement.miss_now = Some(0.0009);
        let s = sampling(r);
        (s.misses, s.miss_low, s.miss_high) = (9, 0.0005, 0.0013);
    });
    triggers("short", Level::Stop, "short: under 1 %", |_, r| {
        sampling(r).outcomes.insert("front", 0.002);
    });
    triggers("short", Level::Caution, "less than 0.90 m behind the front edge", |_, r| {
        sampling(r).along_p001_m = OrWhy::Value(0.9)
    });
    triggers("long", Level::Stop, "long: 2 %", |_, r| {
        sampling(r).outcomes.insert("long", 0.02);
    });
    triggers("long", Level::Caution, "beyond 9.20 m", |_, r| sampling(r).along_p999_m = OrWhy::Value(9.2));
    triggers("field", Level::Stop, "8.00 m long where landings take 8.50 m", |_, r| {
        r.placement.miss_now = Some(0.002);
        let s = sampling(r);
        (s.along_p001_m, s.along_p999_m) = (OrWhy::Value(0.8), OrWhy::Value(9.3));
    });
    triggers("field", Level::Stop, "6.00 m wide where landings take 6.50 m", |_, r| {
        r.placement.miss_now = Some(0.002);
        let s = sampling(r);
        (s.across_p001_m, s.across_p999_m) = (OrWhy::Value(-3.25), OrWhy::Value(3.25));
    });
    triggers("methods", Level::Caution, "disagree", |_, r| r.spread.methods_agree = OrWhy::Value(false));
    triggers("steady", Level::Note, "every spread is zero", |_, r| {
        let d = r.spread.differences.as_mut().unwrap();
        d.shares_along.values_mut().chain(d.shares_across.values_mut()).for_each(|share| *share = 0.0);
    });
}

#[test]
fn where_the_bag_stands() {
    triggers("gap", Level::Stop, "0.30 m outside the band", |_, r| {
        (r.placement.inside_band_m, r.placement.miss_now) = (OrWhy::Value(-0.3), Some(0.002));
    });
    triggers("gap", Level::Caution, "only 0.05 m inside", |_, r| r.placement.inside_band_m = OrWhy::Value(0.05));
    triggers("gap", Level::Stop, "The smallest chance is 1 in 120, at a gap of 0.60 m", |_, r| {
        let p = &mut r.placement;
        (p.gap_low_m, p.gap_high_m, p.inside_band_m, p.least_miss) =
            (Why::NoGap.into(), Why::NoGap.into(), Why::NoGap.into(), OrWhy::Value(1.0 / 120.0));
    });
    triggers("offset", Level::Note, "0.40 m farther left", |_, r| r.placement.best_offset_m = OrWhy::Value(0.4));
    triggers("start", Level::Stop, "below the lowest of 6.20 m", |_, r| {
        (r.placement.lowest_clearing_start_m, r.placement.miss_now) = (OrWhy::Value(6.2), Some(0.002));
    });
    triggers("start", Level::Caution, "is 5.50 m, below the 6.00 m", |_, r| {
        r.placement.highest_start_in_gust_m = OrWhy::Value(5.5);
    });
    triggers("start", Level::Caution, "No start height keeps", |_, r| {
        r.placement.highest_start_in_gust_m = Why::NoStartInGust.into()
    });
    triggers("short_zone", Level::Caution, "No lip speed", |_, r| {
        r.placement.clearing_lip_speed_mps = Why::NothingClears.into()
    });
    triggers("stopping", Level::Caution, "committed from the start. A longer", |_, r| {
        r.placement.last_stop_before_foot_m = Why::Committed.into();
    });
    triggers("stopping", Level::Caution, "no line at 0.30", |_, r| {
        r.placement.stop_lines[0].before_foot_m = Why::Committed.into()
    });
}

#[test]
fn wind_and_anchors() {
    triggers("wind", Level::Stop, "nobody rides", |site, _| site.wind.across_mps = 11.0);
    triggers("wind", Level::Caution, "26 km/h of tail wind", |site, _| site.wind.along_mps = 4.0);
    triggers("wind", Level::Caution, "no wind to hold at", |_, r| {
        r.placement.miss_now = Some(0.01);
        r.wind.hold_along_tail_mps = Why::MissInWind.into();
    });
    triggers("anchors", Level::Stop, "7 anchors are too few", |_, r| r.wind.anchors_stated = 7);
    assert_eq!(level(&after(|_, r| r.wind.anchors_stated = 8), "anchors", "8 anchors of"), Some(Level::Note));
}

/// Fall heights of US CPSC Publication 325, Table 2: 9 in of sand 4 ft, pea gravel 5 ft, mulch 7 ft, chips 10 ft.
#[test]
fn dirt_is_compared_with_the_table() {
    let words = |fall: f64, hard: f64| {
        let list = after(|_, r| r.dirt = OrWhy::Value(crate::plan::dirt::compare(fall, OrWhy::Value(hard))));
        list.into_iter().find(|finding| finding.topic == About::Dirt).unwrap().text
    };
    let low = words(1.0, 1.2);
    assert!(
        low.contains("under the 1.50 m") && !low.to_lowercase().contains("outside") && !low.contains("not at"),
        "{low}"
    );
    let high = words(2.2, 3.1);
    let (inside, outside) = high.split_once("Outside it").unwrap();
    assert!(inside.contains("23 cm of wood chips (to 3.05 m, not at the hard speed)"), "{inside}");
    assert!(["sand", "pea gravel", "wood mulch"].iter().all(|fill| outside.contains(fill)), "{outside}");
    assert!(!words(4.0, 5.0).contains("within the table"));
    assert!(high.starts_with("Onto dirt of the bag's slope the same jump falls like 2.20 m, within the table for 23 cm of wood chips, outside the table for 23 cm of sand."), "{high}");
}

#[test]
fn the_air_supply() {
    triggers("pressure", Level::Stop, "0.20 kPa below the maker's range", |_, r| {
        (r.air.status, r.air.above_min_pa) = (RangeStatus::Low, -200.0);
    });
    triggers("blower", Level::Stop, "0.93 m³/s at 1.10 kPa", |_, r| r.air.status = RangeStatus::Low);
    triggers("pressure", Level::Stop, "0.15 kPa above the maker's range", |_, r| {
        (r.air.status, r.air.below_max_pa) = (RangeStatus::High, -150.0);
    });
    triggers("blower", Level::Stop, "do not lift", |_, r| r.air.after_cut.clear());
    triggers("openings", Level::Caution, "shut-off pressure of 1.18 kPa", |_, r| r.air.at_shut_off = true);
    triggers("filling", Level::Caution, "no value", |_, r| r.air.fill_time_s = Why::NotFilled.into());
    triggers("recovery", Level::Stop, "30.0 s to 99 %", |_, r| {
        r.touchdown.as_mut().unwrap().recovery_s = OrWhy::Value(30.0)
    });
    triggers("recovery", Level::Stop, "does not come back", |_, r| {
        r.touchdown.as_mut().unwrap().recovery_s = Why::NotRecovered.into()
    });
}

#[test]
fn the_mean_landing() {
    triggers("depth", Level::Stop, "The mean rider meets the ground", |_, r| {
        let landing = r.touchdown.as_mut().unwrap();
        (landing.ground_speed_mps, landing.recovery_s) = (OrWhy::Value(2.0), Why::MeetsGround.into());
    });
    triggers("depth", Level::Stop, "past the depth limit of 1.76 m", |_, r| {
        r.touchdown.as_mut().unwrap().depth_m = 1.8;
    });
    triggers("felt", Level::Caution, "felt as 15.4 g", |_, r| r.touchdown.as_mut().unwrap().felt_load_g = 15.4);
    triggers("felt", Level::Stop, "felt as 20.4 g", |_, r| r.touchdown.as_mut().unwrap().felt_load_g = 20.4);
}

/// Makes a topic come out in a way, now and if the bag were measured.
fn judge(r: &mut Results, topic: Topic, now: Judged, if_measured: Judged) {
    let judged = r.pressures.judged.iter_mut().find(|judged| judged.topic == topic).unwrap();
    (judged.now, judged.if_measured) = (now, if_measured);
}

#[test]
fn the_ground_the_loads_and_the_band() {
    let stop = |r: &mut Results, topic| judge(r, topic, Judged::Stop, Judged::Stop);
    let caution = |r: &mut Results, topic| judge(r, topic, Judged::Caution, Judged::Caution);
    triggers("ground", Level::Stop, "up to 1 in 250", |_, r| {
        stop(r, Topic::Ground);
        r.pressures.ground.as_mut().unwrap().worst = 0.004;
    });
    triggers("ground", Level::Caution, "In 3 % of the bags", |_, r| {
        caution(r, Topic::Ground);
        r.pressures.ground_share = OrWhy::Value(0.03);
    });
    triggers("ground_cut", Level::Stop, "a chance of 20 %, over 10 %", |_, r| {
        stop(r, Topic::GroundCut);
        r.pressures.ground_cut.as_mut().unwrap().worst = 0.2;
    });
    triggers("ground_cut", Level::Caution, "closing flaps on the blowers, a second supply", |site, r| {
        caution(r, Topic::GroundCut);
        site.blower.closing_flap = false;
        r.pressures.ground_cut.as_mut().unwrap().worst = 0.02;
    });
    triggers("hard", Level::Stop, "goes through to the ground", |_, r| {
        stop(r, Topic::Hard);
        r.pressures.stated.as_mut().unwrap().hard_depth_m = OrWhy::Value(2.3);
    });
    triggers("hard", Level::Caution, "in 5 of 100 bags that fit what is known it goes 1.90 m deep", |_, r| {
        caution(r, Topic::Hard);
        r.pressures.soft.as_mut().unwrap().hard_depth_m = OrWhy::Value(1.9);
    });
    triggers("light", Level::Stop, "21.0 g by the lightest rider (62 kg), over 20.0 g", |_, r| {
        stop(r, Topic::Light);
        r.pressures.stated.as_mut().unwrap().light_load_g = OrWhy::Value(21.0);
    });
    triggers("light", Level::Caution, "as 22.0 g, over 20.0 g", |_, r| {
        caution(r, Topic::Light);
        r.pressures.firm.as_mut().unwrap().light_load_g = OrWhy::Value(22.0);
    });
    triggers("stop", Level::Stop, "no pressure up to 20 kPa", |_, r| {
        stop(r, Topic::Stop);
        r.pressures.stated.as_mut().unwrap().stop_by_depth_pa = Why::NotKept.into();
    });
    triggers("stop", Level::Caution, "needs 1.30 kPa", |_, r| {
        caution(r, Topic::Stop);
        r.pressures.soft.as_mut().unwrap().stop_by_depth_pa = OrWhy::Value(1_300.0);
    });
    triggers("band", Level::Stop, "below the pressures to ride between, 1.20 kPa (the stop pressure)", |_, r| {
        stop(r, Topic::Band);
        (r.pressures.band_low_pa, r.pressures.band_low_rule) = (OrWhy::Value(1_200.0), OrWhy::Value(BandEnd::Stop));
    });
    triggers("band", Level::Stop, "above the pressures to ride between", |_, r| {
        stop(r, Topic::Band);
        r.pressures.band_high_pa = OrWhy::Value(1_100.0);
    });
    triggers("one_blower", Level::Caution, "settles at 0.64 kPa, too little", |_, r| caution(r, Topic::OneBlower));
}

#[test]
fn an_empty_band_says_what_has_to_change() {
    let empty = |low: BandEnd, high: BandEnd, firm: f64| {
        let list = after(|_, r| {
            judge(r, Topic::Band, Judged::Stop, Judged::Stop);
            let p = &mut r.pressures;
            (p.band_is_empty, p.band_low_pa, p.band_high_pa) =
                (OrWhy::Value(true), Why::BandEmpty.into(), Why::BandEmpty.into());
            (p.band_low_rule, p.band_high_rule, p.firm_pa) =
                (OrWhy::Value(low), OrWhy::Value(high), OrWhy::Value(firm));
        });
        let text = list.into_iter().find(|f| f.topic == About::Band && f.level == Level::Stop).unwrap().text;
        assert!(text.starts_with("There is no pressure to ride at"), "{text}");
        text
    };
    let high_stop = empty(BandEnd::Stop, BandEnd::PressureMax, 1_900.0);
    assert!(high_stop.contains("thicker bag") && high_stop.contains("allows more pressure"), "{high_stop}");
    assert!(!high_stop.contains("more vent area"), "{high_stop}");
    let low_firm = empty(BandEnd::PressureMin, BandEnd::Firm, 600.0);
    assert!(low_firm.contains("more vent area") && low_firm.contains("allows less pressure"), "{low_firm}");
    assert!(!low_firm.contains("thicker bag"), "{low_firm}");
}

#[test]
fn power_lost() {
    let stop = |r: &mut Results, topic| judge(r, topic, Judged::Stop, Judged::Stop);
    triggers("wait", Level::Stop, "1.50 s are missing", |_, r| {
        stop(r, Topic::Wait);
        (r.pressures.wait_pa, r.pressures.seconds_missing) = (Why::NoWait.into(), OrWhy::Value(1.5));
    });
    triggers("wait", Level::Stop, "a box that senses the supply", |site, r| {
        stop(r, Topic::Wait);
        site.watch.supply_sense = false;
        (r.pressures.wait_pa, r.pressures.seconds_missing, r.pressures.alarm_delay_s) =
            (Why::NoAlarmTime.into(), Why::NoAlarmTime.into(), Why::NoAlarmTime.into());
    });
    triggers("wait", Level::Note, "stops new riders at once", |_, r| r.pressures.wait_pa = Why::NoWait.into());
    triggers("power", Level::Note, "count on no second", |_, r| r.pressures.holds_for_p05_s = OrWhy::Value(0.8));
}

/// What measuring would lift is a caution that names the mark where there is one, and a stop where there is none.
#[test]
fn a_bag_that_is_not_measured_is_provisional() {
    let plan = |first_day_start_m: Option<f64>, if_measured: Judged| {
        after(|_, r| {
            let first_day_start_m = OrWhy::from(first_day_start_m.ok_or(Why::NoFirstDay));
            judge(r, Topic::Ground, Judged::Stop, if_measured);
            r.pressures.ground.as_mut().unwrap().worst = 0.004;
            if if_measured < Judged::Stop {
                r.pressures.provisional = OrWhy::Value(Provisional { lifted: vec![Topic::Ground], first_day_start_m });
                r.ride_by[0].start_high_m = first_day_start_m;
            }
        })
    };
    let marked = plan(Some(4.4), Judged::Kept);
    assert!(inside_all_limits(&marked), "{marked:#?}");
    assert_eq!(level(&marked, "ground", "Until then start no higher than 4.40 m"), Some(Level::Caution));
    let words = "A stop only because the bag is not measured: measured as stated it would be inside. Until then start no higher \
                 than 4.40 m.";
    assert_eq!(level(&marked, "provisional", words), Some(Level::Caution));
    let unmarked = plan(None, Judged::Kept);
    assert_eq!(level(&unmarked, "ground", "only because the bag is not measured"), Some(Level::Stop));
    assert_eq!(level(&unmarked, "provisional", "no start to ride from"), Some(Level::Stop));
    let for_good = plan(None, Judged::Stop);
    assert_eq!(level(&for_good, "ground", "up to 1 in 250"), Some(Level::Stop));
    assert_eq!(level(&for_good, "provisional", ""), None);
    let said = |finding: &&Finding| finding.topic != About::NoValue && finding.text.contains("not measured");
    assert!(for_good.iter().find(said).is_none(), "{:?}", for_good.iter().find(said));
}

/// What follows from a stop stands right behind it.
#[test]
fn a_cause_comes_first_and_what_follows_under_it() {
    let list = after(|_, r| {
        (r.air.status, r.air.above_min_pa) = (RangeStatus::Low, -200.0);
        for topic in [Topic::Ground, Topic::Hard, Topic::Stop, Topic::Band] {
            judge(r, topic, Judged::Stop, Judged::Stop);
        }
        r.wind.anchors_stated = 1;
    });
    let stops: Vec<_> = list.iter().filter(|f| f.level == Level::Stop).map(|f| (f.id, f.follows_from)).collect();
    let low = Some("pressure.low");
    let under = stops.iter().position(|(id, _)| *id == "pressure.low").unwrap() + 1;
    assert_eq!(stops.iter().filter(|(_, from)| *from == low).count(), 5, "{stops:?}");
    assert!(stops[under..under + 5].iter().all(|(_, from)| *from == low), "{stops:?}");
    assert!(stops.contains(&("anchors", None)));
    // Without that cause the softness itself is one.
    let soft = after(|_, r| {
        for topic in [Topic::Hard, Topic::Stop, Topic::Wait] {
            judge(r, topic, Judged::Stop, Judged::Stop);
        }
        r.pressures.wait_pa = Why::NoWait.into();
    });
    let from = |id: &str| soft.iter().find(|f| f.id == id).unwrap().follows_from;
    assert_eq!((from("hard"), from("stop"), from("wait")), (None, Some("hard"), Some("hard")));
}

/// Every null of the quiet plan and of one in which much is null: those that say why, the others passed over.
#[test]
fn a_null_is_told_with_its_reason_and_what_was_not_asked_for_is_not() {
    let told = |change: fn(&mut Results)| {
        let (site, mut results) = (test_plan::site(), test_plan::results());
        change(&mut results);
        results.findings = findings(&site, &results);
        let before: Vec<&str> = results.findings.iter().map(|finding| finding.id).collect();
        assert!(!before.contains(&"no_value"));
        say_nulls(&mut results);
        results
    };
    let texts = |results: &Results| -> Vec<String> {
        let told = results.findings.iter().filter(|finding| finding.topic == About::NoValue);
        told.map(|finding| finding.text.clone()).collect()
    };
    let quiet = told(|r| r.verdict.first_cause = Why::NoLimitBroken.into());
    assert_eq!(
        texts(&quiet),
        [
            "No value, because the rider does not come to rest before the lip: ride.stall.",
            "No value, because the bike stays on the surface: ride.leaves_surface.",
            "No value, because the top does not slope down in the direction of travel: touchdown.ride_out_mps.",
            "No value, because the body does not meet the ground: touchdown.ground_speed_mps, \
             touchdown.ground_fall_height_m.",
            "No value, because the body does not sink on to the ground after it has come to rest: \
             touchdown.sinks_on_mps.",
            "No value, because with one blower lost the bag never comes to the stop pressure: \
             pressures.one_blower_lost.to_stop_s.",
            "No value, because measuring the bag would lift nothing: pressures.provisional.",
            "No value, because no limit is broken: verdict.first_cause.",
        ]
    );
    // What is assumed stands last.
    assert_eq!(quiet.findings.last().map(|finding| finding.id), Some("assumed"));
    let stopped = told(|r| {
        no_flight(r);
        r.placement.target_miss = 0.002;
        (r.wind.hold_along_tail_mps, r.wind.hold_across_mps) = (Why::MissInWind.into(), Why::MissInWind.into());
        r.placement.best_gap_m = OrWhy::default();
        r.spread.sampling = None;
    });
    let texts = texts(&stopped);
    let stalls = "No value, because the rider comes to rest before the lip: ride.lip_speed_mps, ride.time_to_lip_s, \
                  flight.apex_above_lip_m, flight.along_m, touchdown, pressures.stop_pa, pressures.stop_rule, ";
    assert!(texts.iter().any(|text| text.starts_with(stalls) && text.ends_with(", dirt.")), "{texts:#?}");
    let wind = "No value, because the chance of a miss passes 1 in 500 already in the wind of the site: \
                wind.hold_along_tail_mps, wind.hold_across_mps.";
    assert!(texts.iter().any(|text| text == wind), "{texts:#?}");
    for passed_over in ["best_gap_m", "sampling", "tails", "first_cause", "{"] {
        assert!(!texts.iter().any(|text| text.contains(passed_over)), "{passed_over}: {texts:#?}");
    }
}

/// What was not asked for is no stop either.
#[test]
fn parts_that_were_not_asked_for_are_passed_over() {
    let list = after(|_, r| {
        r.spread.sampling = None;
        r.spread.methods_agree = OrWhy::default();
        r.pressures = crate::plan::results::Pressures { hard_speed_mps: OrWhy::Value(7.7), ..Default::default() };
        let p = &mut r.placement;
        (p.miss_now, p.gap_runs) = (None, None);
        for value in [
            &mut p.best_gap_m,
            &mut p.gap_low_m,
            &mut p.gap_high_m,
            &mut p.inside_band_m,
            &mut p.least_miss,
            &mut p.least_miss_gap_m,
            &mut p.best_offset_m,
            &mut p.miss_at_best,
            &mut p.lowest_clearing_start_m,
            &mut p.highest_start_in_gust_m,
            &mut r.wind.hold_along_tail_mps,
        ] {
            *value = OrWhy::default();
        }
        p.best_is_better = OrWhy::default();
    });
    assert!(inside_all_limits(&list), "{list:#?}");
    for absent in ["placement.best_gap_m", "pressures.stop_pa", "wind.hold", "sampling", "miss_now"] {
        assert!(!list.iter().any(|finding| finding.text.contains(absent)), "{absent}");
    }
}

#[test]
fn never_the_word() {
    let word = ["sa", "fe"].concat();
    let mut all = after(|_, _| {});
    all.extend(after(|_, r| {
        for topic in Topic::ALL {
            judge(r, topic, Judged::Stop, Judged::Caution);
        }
        r.pressures.provisional =
            OrWhy::Value(Provisional { lifted: Topic::ALL.to_vec(), first_day_start_m: OrWhy::Value(4.0) });
        (r.pressures.seconds_missing, r.pressures.wait_pa) = (OrWhy::Value(3.0), Why::NoWait.into());
        r.wind.anchors_stated = 1;
    }));
    for finding in all {
        assert!(!finding.text.to_lowercase().contains(&word), "{}", finding.text);
        assert!(finding.text.ends_with('.') && !finding.text.contains("  "), "{}", finding.text);
    }
}
