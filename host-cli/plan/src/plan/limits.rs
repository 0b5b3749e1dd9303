//! The limits of a plan, each with the value now: what is kept, what is broken, and how close each is.

use super::results::{Judged, Level, Results, RideBy, Topic};
use super::table::CAUTION_CUT;
use super::words::{chance, highest_looked_at, load, metres, pressure, seconds};
use crate::shown::{Shown, Toward};
use crate::site::Site;
use landfall_core::bag::Outcome;
use landfall_core::supply::RangeStatus;

/// One limit and the value held against it.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// What is limited.
    pub what: &'static str,
    /// Group of riders that it is about; none: all.
    pub group: Option<String>,
    /// The value now, with its unit.
    pub now: String,
    /// The limit in words.
    pub limit: String,
    /// Whether the value is inside.
    pub inside: bool,
    /// How grave it is to be outside.
    pub level: Level,
    /// How much of the way to the limit is used up: 1 at it, more beyond; none where the two cannot be divided.
    pub used: Option<f64>,
    /// Identities of the findings that say the same.
    pub findings: &'static [&'static str],
}

impl Limit {
    /// Whether the limit is broken: outside it, and that is a stop.
    #[must_use]
    pub fn broken(&self) -> bool {
        !self.inside && self.level == Level::Stop
    }
}

/// A row as it is put together.
struct Row {
    what: &'static str,
    now: String,
    limit: String,
    inside: bool,
    used: Option<f64>,
    level: Level,
    findings: &'static [&'static str],
}

/// The share of a limit from above that is used up.
fn of(now: f64, limit: f64) -> Option<f64> {
    (limit > 0.0).then(|| now / limit)
}

/// The limits that have a value, in the order of the ride.
#[must_use]
pub fn limits(site: &Site, r: &Results) -> Vec<Limit> {
    let mut list = Vec::new();
    if r.groups.is_empty() {
        put(&mut list, None, jump(site, r, r.ride_by.first()));
    }
    for (name, of_group) in &r.groups {
        let by = r.ride_by.iter().find(|by| by.group == *name);
        put(&mut list, Some(name), jump(site, of_group, by));
    }
    put(&mut list, None, bag(site, r));
    // A stop that no row shows has one of its own.
    for finding in r.findings.iter().filter(|finding| finding.level == Level::Stop) {
        if !list.iter().any(|limit| !limit.inside && limit.findings.contains(&finding.id)) {
            list.push(Limit {
                what: finding.topic.name(),
                group: finding.group.clone(),
                now: super::words::first_sentence(&finding.text).to_owned(),
                limit: String::new(),
                inside: false,
                level: Level::Stop,
                used: None,
                findings: &[],
            });
        }
    }
    list
}

/// The same, the closest to its limit first: those outside before those inside.
#[must_use]
pub fn by_closeness(mut list: Vec<Limit>) -> Vec<Limit> {
    let key = |limit: &Limit| (limit.inside, limit.level, -limit.used.unwrap_or(if limit.inside { 0.0 } else { 1.0 }));
    list.sort_by(|a, b| {
        let (a, b) = (key(a), key(b));
        a.0.cmp(&b.0).then(if a.0 { std::cmp::Ordering::Equal } else { a.1.cmp(&b.1) }).then(a.2.total_cmp(&b.2))
    });
    list
}

fn put(list: &mut Vec<Limit>, group: Option<&String>, rows: Vec<Row>) {
    list.extend(rows.into_iter().map(|row| Limit {
        what: row.what,
        group: group.cloned(),
        now: row.now,
        limit: row.limit,
        inside: row.inside,
        level: row.level,
        used: row.used,
        findings: row.findings,
    }));
}

/// Limits of one set of riders.
fn jump(site: &Site, r: &Results, by: Option<&RideBy>) -> Vec<Row> {
    let u = Shown::of(site);
    let mut rows = Vec::new();
    let peak = r.ride.peak_load_g;
    let (caution, stop) = (site.rider.arc_load_limit, site.rider.arc_load_stop);
    let (limit, level) = if peak > stop { (stop, Level::Stop) } else { (caution, Level::Caution) };
    rows.push(Row {
        what: "load on the ride down",
        now: load(peak),
        limit: format!("at most {}", load(limit)),
        inside: peak <= caution,
        used: of(peak, limit),
        level,
        findings: &["load"],
    });
    let riders = [&r.riders.lightest, &r.riders.heaviest];
    rows.push(Row {
        what: "where the riders land",
        now: if r.flight.outcome == Outcome::On && riders.iter().any(|rider| rider.along_m.get().is_none()) {
            "a rider does not".to_owned()
        } else {
            format!("{} (mean rider)", r.flight.outcome.name().replace('_', " "))
        },
        limit: "on the landing field".to_owned(),
        inside: r.flight.outcome == Outcome::On && riders.iter().all(|rider| rider.along_m.get().is_some()),
        used: None,
        level: Level::Stop,
        findings: &[
            "reach.stall",
            "reach.leaves_surface",
            "reach.front_above_lip",
            "reach.front",
            "reach.short",
            "reach.long",
            "reach.side",
            "reach.margin",
            "reach.rider",
        ],
    });
    if let Some(miss) = r.placement.miss_now {
        let target = r.placement.target_miss;
        rows.push(Row {
            what: "chance of a miss",
            now: chance(miss),
            limit: format!("at most {}", chance(target)),
            inside: miss <= target,
            used: of(miss, target),
            level: Level::Stop,
            findings: &["miss", "miss.too_few", "short", "long", "field"],
        });
    }
    let p = &r.placement;
    match (p.gap_low_m.get(), p.gap_high_m.get(), p.inside_band_m.get()) {
        (Some(low), Some(high), Some(inside)) => rows.push(Row {
            what: "gap",
            now: metres(u, p.gap_m),
            limit: format!("{} to {}", u.length(low, Toward::Up), u.length(high, Toward::Down)),
            inside: inside >= 0.0,
            used: (high > low).then(|| 1.0 - 2.0 * inside / (high - low)),
            level: Level::Stop,
            findings: &["gap.outside"],
        }),
        _ if p.least_miss.get().is_some() => rows.push(Row {
            what: "gap",
            now: metres(u, p.gap_m),
            limit: "no gap is right".to_owned(),
            inside: false,
            used: None,
            level: Level::Stop,
            findings: &["gap.none", "field"],
        }),
        _ => {}
    }
    if let Some(clearing) = p.lowest_clearing_start_m.get() {
        let start = r.start_m;
        // The mark, where one was looked for: other limits may ask for more than clearing the gap does.
        let lowest = by.and_then(|by| by.start_low_m.get()).filter(|_| start >= clearing).unwrap_or(clearing);
        rows.push(Row {
            what: "start height",
            now: u.start_mark(start),
            // One mark is one length, rounded to one side.
            limit: if (lowest - start).abs() < 1.0e-3 {
                format!("at least {}", u.start_mark(start))
            } else {
                format!("at least {}", u.length(lowest, Toward::Up))
            },
            inside: start >= clearing || p.miss_now.is_some_and(|miss| miss <= p.target_miss),
            used: of(lowest, start),
            level: Level::Stop,
            findings: &["start.low"],
        });
    }
    if let Some(landing) = r.touchdown.as_ref() {
        let deepest = site.bag.depth_limit * landing.thickness_m;
        rows.push(Row {
            what: "depth, mean landing",
            now: metres(u, landing.depth_m),
            limit: format!("at most {} of {}", metres(u, deepest), metres(u, landing.thickness_m)),
            inside: landing.depth_m <= deepest
                && landing.ground_speed_mps.get().or(landing.sinks_on_mps.get()).is_none(),
            used: of(landing.depth_m, deepest),
            level: Level::Stop,
            findings: &["depth", "depth.ground", "depth.sinks"],
        });
        let felt = landing.felt_load_g;
        let (caution, stop) = (site.bag.load_limit, site.bag.load_stop);
        let (limit, level) = if felt > stop { (stop, Level::Stop) } else { (caution, Level::Caution) };
        rows.push(Row {
            what: "load, mean landing",
            now: load(felt),
            limit: format!("at most {}", load(limit)),
            inside: felt <= caution,
            used: of(felt, limit),
            level,
            findings: &["felt"],
        });
        let interval = site.session.interval_s;
        rows.push(Row {
            what: "pressure back after a landing",
            now: landing.recovery_s.get().map_or_else(|| "not reached".to_owned(), seconds),
            limit: format!("at most {}", seconds(interval)),
            inside: landing.recovery_s.get().is_some_and(|s| s <= interval),
            used: landing.recovery_s.get().and_then(|s| of(s, interval)),
            level: Level::Stop,
            findings: &["recovery", "recovery.interval", "recovery.never", "depth.ground"],
        });
    }
    rows
}

/// Limits of the bag, its air and its anchors.
fn bag(site: &Site, r: &Results) -> Vec<Row> {
    let u = Shown::of(site);
    let mut rows = Vec::new();
    let (bag, p, air) = (&site.bag, &r.pressures, &r.air);
    let settled = air.operating_pressure_pa;
    let within = |low: f64, high: f64| (high > low).then(|| ((2.0 * settled - low - high) / (high - low)).abs());
    rows.push(Row {
        what: "pressure, maker's range",
        now: pressure(u, settled),
        limit: format!("{} to {}", pressure(u, bag.pressure_min_pa), pressure(u, bag.pressure_max_pa)),
        inside: air.status == RangeStatus::InRange,
        used: within(bag.pressure_min_pa, bag.pressure_max_pa),
        level: Level::Stop,
        findings: &["pressure.low", "pressure.high", "blower.weak", "blower.skin"],
    });
    if p.stop_rule.get().is_some() {
        rows.extend(Topic::ALL.into_iter().filter_map(|topic| of_table(site, r, topic)));
    }
    let wind = &r.wind;
    rows.push(Row {
        what: "anchors",
        now: wind.anchors_stated.to_string(),
        limit: format!("at least {}", wind.anchors_needed),
        inside: wind.anchors_stated >= wind.anchors_needed,
        used: of(f64::from(wind.anchors_needed), f64::from(wind.anchors_stated)),
        level: Level::Stop,
        findings: &["anchors"],
    });
    rows
}

/// The row of a topic of the table: inside where it is kept.
fn of_table(site: &Site, r: &Results, topic: Topic) -> Option<Row> {
    let u = Shown::of(site);
    let (bag, p) = (&site.bag, &r.pressures);
    let judged = p.counts_as(topic);
    let settled = r.air.operating_pressure_pa;
    let level = if judged == Judged::Stop { Level::Stop } else { Level::Caution };
    let row = |what, now: String, limit: String, used, findings| {
        Some(Row { what, now, limit, inside: judged == Judged::Kept, used, level, findings })
    };
    match topic {
        // With the ride of its riders.
        Topic::Load => None,
        Topic::Ground => {
            let worst = p.ground.get()?.worst;
            let limit = format!("at most {}", chance(bag.target_ground));
            row("meeting the ground", some_chance(worst), limit, of(worst, bag.target_ground), &["ground"])
        }
        Topic::GroundCut => {
            let worst = p.ground_cut.get()?.worst;
            let target = if judged == Judged::Stop { bag.target_cut } else { CAUTION_CUT * bag.target_cut };
            let limit = format!("at most {}", chance(target));
            row("meeting the ground after a power cut", some_chance(worst), limit, of(worst, target), &["ground_cut"])
        }
        Topic::Hard => {
            let (stated, thickness) = (p.stated.as_ref()?, p.hard_thickness_m.get()?);
            let deepest = bag.depth_limit * thickness;
            let soft = p.soft.as_ref().and_then(|soft| soft.hard_depth_m.get());
            let depth = if judged == Judged::Caution { soft } else { stated.hard_depth_m.get() };
            row(
                "depth, hard landing",
                depth.map_or_else(|| "not held".to_owned(), |x| metres(u, x)),
                format!("at most {} of {}", metres(u, deepest), metres(u, thickness)),
                depth.and_then(|depth| of(depth, deepest)),
                &["hard"],
            )
        }
        Topic::Light => {
            let stated = p.stated.as_ref()?.light_load_g.get();
            let felt = match (judged, stated) {
                (Judged::Caution, Some(stated)) if stated <= bag.load_limit => p.firm.as_ref()?.light_load_g.get()?,
                (_, stated) => stated?,
            };
            let limit = if felt > bag.load_stop { bag.load_stop } else { bag.load_limit };
            row("load, hard landing", load(felt), format!("at most {}", load(limit)), of(felt, limit), &["light"])
        }
        Topic::Band => {
            let (limit, used) = match (p.band_low_pa.get(), p.band_high_pa.get()) {
                (Some(low), Some(high)) => (
                    format!("{} to {}", pressure(u, low), pressure(u, high)),
                    (high > low).then(|| ((2.0 * settled - low - high) / (high - low)).abs()),
                ),
                _ => ("there is none".to_owned(), None),
            };
            row("pressures to ride between", pressure(u, settled), limit, used, &["band"])
        }
        Topic::Stop => {
            let (room, floor) = (p.room_pa.get()?, bag.stop_floor * bag.pressure_min_pa);
            let bag_of = if judged == Judged::Stop { p.stated.as_ref() } else { p.soft.as_ref() };
            let asked = bag_of?.stop_by_depth_pa.get().map(|pa| pa.max(floor));
            row(
                "pressure for a hard landing",
                asked.map_or_else(|| format!("none up to {}", highest_looked_at(u)), |x| pressure(u, x)),
                if room > 0.0 {
                    format!("at most {}", pressure(u, room))
                } else {
                    "none that a box can tell".to_owned()
                },
                asked.and_then(|asked| of(asked, room)),
                &["stop"],
            )
        }
        Topic::Wait => {
            let now = match (p.wait_pa.get(), p.seconds_missing.get()) {
                (Some(_), _) => "nothing missing".to_owned(),
                (None, Some(s)) if s > 0.0 => format!("{} missing", seconds(s)),
                (None, Some(_)) => "no pressure to wait at".to_owned(),
                (None, None) => "not known".to_owned(),
            };
            row("time after a power cut", now, "nothing missing".to_owned(), None, &["wait"])
        }
        Topic::OneBlower => {
            let lost = p.one_blower_lost.get()?;
            let floor = bag.stop_floor * bag.pressure_min_pa;
            let wanted = p.stated.as_ref()?.stop_by_depth_pa.get().map(|pa| pa.max(floor));
            row(
                "pressure with one blower lost",
                pressure(u, lost.settles_pa),
                wanted.map_or_else(
                    || format!("none up to {}", highest_looked_at(u)),
                    |pa| format!("at least {}", pressure(u, pa)),
                ),
                wanted.and_then(|wanted| of(wanted, lost.settles_pa)),
                &["one_blower"],
            )
        }
    }
}

/// A chance, but none that nobody can measure.
fn some_chance(now: f64) -> String {
    if now < 1.0e-5 { "rarer than 1 in 100,000".to_owned() } else { chance(now) }
}

#[cfg(test)]
mod tests {
    use super::super::results::{OrWhy, Why};
    use super::super::test_plan;
    use super::*;

    #[test]
    fn a_quiet_plan_keeps_every_limit() {
        let list = limits(&test_plan::site(), &test_plan::results());
        assert_eq!(list.len(), 18);
        assert!(list.iter().all(|limit| limit.inside), "{list:#?}");
    }

    #[test]
    fn each_limit_can_be_left() {
        let site = test_plan::site();
        let outside = |change: fn(&mut Results)| {
            let mut results = test_plan::results();
            change(&mut results);
            limits(&site, &results)
                .into_iter()
                .filter(|limit| !limit.inside)
                .map(|limit| (limit.what, limit.level))
                .collect::<Vec<_>>()
        };
        let load = "load on the ride down";
        assert_eq!(outside(|r| r.ride.peak_load_g = 4.1), [(load, Level::Caution)]);
        assert_eq!(outside(|r| r.ride.peak_load_g = 6.1), [(load, Level::Stop)]);
        assert_eq!(outside(|r| r.flight.outcome = Outcome::Short), [("where the riders land", Level::Stop)]);
        assert_eq!(outside(|r| r.placement.miss_now = Some(0.002)), [("chance of a miss", Level::Stop)]);
        assert_eq!(outside(|r| r.placement.inside_band_m = OrWhy::Value(-0.1)), [("gap", Level::Stop)]);
        let both = outside(|r| (r.placement.inside_band_m, r.placement.miss_now) = (OrWhy::Value(-0.1), Some(0.002)));
        assert_eq!(both, [("chance of a miss", Level::Stop), ("gap", Level::Stop)]);
        assert_eq!(outside(|r| r.air.status = RangeStatus::Low), [("pressure, maker's range", Level::Stop)]);
        assert_eq!(outside(|r| r.touchdown.as_mut().unwrap().depth_m = 2.0), [("depth, mean landing", Level::Stop)]);
        let felt = "load, mean landing";
        assert_eq!(outside(|r| r.touchdown.as_mut().unwrap().felt_load_g = 15.1), [(felt, Level::Caution)]);
        assert_eq!(outside(|r| r.touchdown.as_mut().unwrap().felt_load_g = 20.1), [(felt, Level::Stop)]);
        assert_eq!(
            outside(|r| r.touchdown.as_mut().unwrap().recovery_s = Why::NotRecovered.into()),
            [("pressure back after a landing", Level::Stop)]
        );
        assert_eq!(outside(|r| r.wind.anchors_stated = 6), [("anchors", Level::Stop)]);
        let rows = [
            "meeting the ground",
            "meeting the ground after a power cut",
            "depth, hard landing",
            "load, hard landing",
            "pressures to ride between",
            "pressure for a hard landing",
            "time after a power cut",
            "pressure with one blower lost",
        ];
        for (topic, what) in Topic::ALL.into_iter().skip(1).zip(rows) {
            for (judged, level) in [(Judged::Stop, Level::Stop), (Judged::Caution, Level::Caution)] {
                let mut results = test_plan::results();
                results.pressures.judged.iter_mut().find(|j| j.topic == topic).unwrap().now = judged;
                let out = limits(&site, &results).into_iter().filter(|limit| !limit.inside);
                assert_eq!(out.map(|limit| (limit.what, limit.level)).collect::<Vec<_>>(), [(what, level)]);
            }
        }
    }

    /// A stop that is about something no row shows makes a row of its own.
    #[test]
    fn every_stop_has_a_row_that_is_outside() {
        let mut results = test_plan::results();
        results.findings.push(super::super::results::Finding::new(
            "wind.now",
            Level::Stop,
            crate::plan::results::About::Wind,
            "Too windy. Wait.",
        ));
        let list = limits(&test_plan::site(), &results);
        let last = list.last().unwrap();
        assert!(last.broken() && last.now == "Too windy.", "{last:?}");
    }

    #[test]
    fn the_closest_come_first() {
        let mut results = test_plan::results();
        results.placement.miss_now = Some(0.002);
        results.ride.peak_load_g = 4.1;
        let list = by_closeness(limits(&test_plan::site(), &results));
        assert_eq!([list[0].what, list[1].what], ["chance of a miss", "load on the ride down"]);
        let used: Vec<f64> = list[2..].iter().filter_map(|limit| limit.used).collect();
        assert!(used.is_sorted_by(|a, b| a >= b), "{used:?}");
    }
}
