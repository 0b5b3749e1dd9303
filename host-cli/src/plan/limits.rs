//! The limits of a plan, each with the value now: what is inside, what is outside.

use super::results::{Level, Results};
use super::words::{chance, load, metres, pressure, seconds};
use crate::site::Site;

/// One limit and the value held against it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limit {
    /// What is limited.
    pub what: &'static str,
    /// The value now, with its unit.
    pub now: String,
    /// The limit in words.
    pub limit: String,
    /// Whether the value is inside.
    pub inside: bool,
    /// How grave it is to be outside.
    pub level: Level,
}

const LOAD: &str = "load on the ride down";

/// The limits that have a value, in the order of the ride.
#[must_use]
pub fn limits(site: &Site, r: &Results) -> Vec<Limit> {
    let mut list = Vec::new();
    let mut add = |what, now: String, limit: String, inside| {
        // The load on the ride down is a matter for the rider's arms and legs, and a caution.
        let level = if what == LOAD { Level::Caution } else { Level::Stop };
        list.push(Limit { what, now, limit, inside, level });
    };
    let (bag, p, air) = (&site.bag, &r.pressures, &r.air);
    if let Some(peak) = r.ride.peak_load_g {
        let limit = site.rider.arc_load_limit;
        add(LOAD, load(peak), format!("at most {}", load(limit)), peak <= limit);
    }
    if let Some(miss) = r.placement.miss_now {
        let target = r.placement.target_miss;
        add("chance of a miss", chance(miss), format!("at most {}", chance(target)), miss <= target);
    }
    if let (Some(low), Some(high), Some(inside)) =
        (r.placement.gap_low_m, r.placement.gap_high_m, r.placement.inside_band_m)
    {
        add("gap", metres(r.placement.gap_m), format!("{} to {}", metres(low), metres(high)), inside >= 0.0);
    }
    let settled = air.operating_pressure_pa;
    add(
        "pressure, maker's range",
        pressure(settled),
        format!("{} to {}", pressure(bag.pressure_min_pa), pressure(bag.pressure_max_pa)),
        air.status != "low" && air.status != "high",
    );
    if p.stop_rule.is_some() {
        match (p.band_low_pa, p.band_high_pa) {
            (Some(low), Some(high)) => add(
                "pressure, ride band",
                pressure(settled),
                format!("{} to {}", pressure(low), pressure(high)),
                (low..=high).contains(&settled),
            ),
            _ => add("pressure, ride band", pressure(settled), "the band is empty".to_owned(), false),
        }
    }
    if let Some(landing) = &r.touchdown {
        let deepest = bag.depth_limit * landing.thickness_m;
        add(
            "depth, mean landing",
            metres(landing.depth_m),
            format!("at most {} of {}", metres(deepest), metres(landing.thickness_m)),
            landing.depth_m <= deepest && landing.ground_speed_mps.is_none(),
        );
    }
    if let (Some(depth), Some(thickness)) =
        (air.after_cut.first().and_then(|moment| moment.hard_depth_m), p.hard_thickness_m)
    {
        let deepest = bag.depth_limit * thickness;
        add(
            "depth, hard landing",
            metres(depth),
            format!("at most {} of {}", metres(deepest), metres(thickness)),
            depth <= deepest,
        );
    }
    if let Some(landing) = &r.touchdown {
        let felt = landing.felt_load_g;
        add("load, mean landing", load(felt), format!("at most {}", load(bag.load_limit)), felt <= bag.load_limit);
    }
    if let Some(landing) = &r.touchdown {
        let interval = site.session.interval_s;
        let now = landing.recovery_s.map_or_else(|| "not reached".to_owned(), seconds);
        let inside = landing.recovery_s.is_some_and(|s| s <= interval);
        add("pressure back after a landing", now, format!("at most {}", seconds(interval)), inside);
    }
    if p.stop_rule.is_some() {
        let worst = p.worst.as_ref().filter(|_| !p.fitted);
        let missing = match worst {
            Some(end) => p.seconds_missing.zip(end.seconds_missing).map(|(own, end)| own.max(end)),
            None => p.seconds_missing,
        };
        let now = missing.map_or_else(|| "no value".to_owned(), seconds);
        add("time missing after a power cut", now, "none missing".to_owned(), missing.is_some_and(|s| s <= 0.0));
    }
    let wind = &r.wind;
    add(
        "anchors",
        wind.anchors_stated.to_string(),
        format!("at least {}", wind.anchors_needed),
        wind.anchors_stated >= wind.anchors_needed,
    );
    list
}

#[cfg(test)]
mod tests {
    use super::super::sample;
    use super::*;

    #[test]
    fn a_quiet_plan_is_inside_every_limit() {
        let list = limits(&sample::site(), &sample::results());
        assert_eq!(list.len(), 11);
        assert!(list.iter().all(|limit| limit.inside), "{list:#?}");
    }

    #[test]
    fn each_limit_can_be_left() {
        let site = sample::site();
        let outside = |change: fn(&mut Results)| {
            let mut results = sample::results();
            change(&mut results);
            limits(&site, &results)
                .into_iter()
                .filter(|limit| !limit.inside)
                .map(|limit| limit.what)
                .collect::<Vec<_>>()
        };
        assert_eq!(outside(|r| r.ride.peak_load_g = Some(4.1)), ["load on the ride down"]);
        assert_eq!(outside(|r| r.placement.miss_now = Some(0.002)), ["chance of a miss"]);
        assert_eq!(outside(|r| r.placement.inside_band_m = Some(-0.1)), ["gap"]);
        assert_eq!(outside(|r| r.air.status = "low"), ["pressure, maker's range"]);
        assert_eq!(outside(|r| r.pressures.band_low_pa = None), ["pressure, ride band"]);
        assert_eq!(outside(|r| r.touchdown.as_mut().unwrap().depth_m = 2.0), ["depth, mean landing"]);
        assert_eq!(outside(|r| r.air.after_cut[0].hard_depth_m = Some(2.0)), ["depth, hard landing"]);
        assert_eq!(outside(|r| r.touchdown.as_mut().unwrap().felt_load_g = 10.1), ["load, mean landing"]);
        assert_eq!(outside(|r| r.touchdown.as_mut().unwrap().recovery_s = None), ["pressure back after a landing"]);
        assert_eq!(outside(|r| r.pressures.seconds_missing = Some(0.5)), ["time missing after a power cut"]);
        assert_eq!(outside(|r| r.wind.anchors_stated = 6), ["anchors"]);
    }
}
