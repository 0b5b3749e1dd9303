//! Findings about the ride, the flight and where landings fall.

use super::Said;
use crate::plan::results::Who;
use crate::plan::results::{About, Level};
use crate::plan::words::{chance, fewer_than, list, load, metres, number, percent, plain_name, speed};
use crate::shown::Toward;
use landfall_core::bag::Outcome;
use std::collections::BTreeMap;

/// A share of the spread from which an input is named as worth steadying (assumed).
const LARGE_SHARE: f64 = 0.15;

pub fn say(said: &mut Said<'_>) {
    reach(said);
    arc_load(said);
    riders(said);
    chance_of_a_miss(said);
    far_tail(said);
    short_and_long(said);
    steadying(said);
    methods(said);
}

fn reach(said: &mut Said<'_>) {
    let u = said.shown();
    let (r, site) = (said.r, said.site);
    let place = |before_foot_m: f64| {
        if before_foot_m >= 0.0 {
            format!("{} before the take-off's foot", metres(u, before_foot_m))
        } else {
            format!("on the take-off, {} past its foot", metres(u, -before_foot_m))
        }
    };
    if let Some(stall) = r.ride.stall.get() {
        said.stop(
            About::Reach, "reach.stall",
            format!(
                "The rider comes to rest {} and never leaves the lip. More start height ({} now) or push-off, less rolling \
                 resistance or a shorter flat run would change it.",
                place(stall.before_foot_m),
                u.start_mark(site.roll_in.start_height_m)
            ),
        );
    }
    if let Some(leaves) = r.ride.leaves_surface.get() {
        said.stop(
            About::Reach, "reach.leaves_surface",
            format!(
                "The bike leaves the surface {} at {}. A larger radius where the ground falls away, or less speed there, \
                 would keep it down; no flight was computed after it.",
                place(leaves.before_foot_m),
                speed(u, leaves.speed_mps)
            ),
        );
    }
    let flight = &r.flight;
    let lip = r.ride.lip_speed_mps.get().map_or_else(|| "an unknown speed".to_owned(), |x| speed(u, x));
    let along = flight.along_m.get().unwrap_or(0.0);
    let field = (site.bag.edge_front_m, site.bag.length_m - site.bag.edge_back_m);
    let above_lip = site.bag.base_level_m + site.bag.front_height_m - r.ride.takeoff_height_m;
    if flight.outcome == Outcome::Front && above_lip > 0.0 {
        said.say(
            Level::Stop,
            About::Reach,
            "reach.front_above_lip",
            format!(
                "The bag's front stands {} above the lip, and riders run into it. A lower front or ground \
                 under the bag that lies lower would change it.",
                metres(u, above_lip)
            ),
        )
        .with("bag.front_height", site.bag.front_height_m)
        .with("ride.takeoff_height_m", r.ride.takeoff_height_m);
    }
    match flight.outcome {
        Outcome::Front => said.stop(
            About::Reach, "reach.front",
            format!(
                "The mean rider meets the bag's front or never rises above its top: {lip} at the lip, apex {} above the lip. \
                 More start height, a bag farther from the lip's face or a lower front would change it.",
                flight.apex_above_lip_m.get().map_or_else(|| "unknown".to_owned(), |x| metres(u, x))
            ),
        ),
        Outcome::Short => said.stop(
            About::Reach, "reach.short",
            format!(
                "The mean rider comes down {} short of the bag's front edge, with {lip} at the lip. A smaller gap ({} now), \
                 more start height or a take-off that throws farther would change it.",
                metres(u, -along),
                metres(u, r.placement.gap_m)
            ),
        ),
        Outcome::Long => said.stop(
            About::Reach, "reach.long",
            format!(
                "The mean rider comes down {} beyond the bag's back edge, with {lip} at the lip. Less start height or a \
                 larger gap ({} now) would change it.",
                metres(u, along - site.bag.length_m),
                metres(u, r.placement.gap_m)
            ),
        ),
        Outcome::Left | Outcome::Right => said.stop(
            About::Reach, "reach.side",
            format!(
                "The mean rider comes down off the bag's {} side, {} from its centre line. The bag's offset ({} now) or the \
                 cross wind planned for would change it.",
                flight.outcome.name(),
                metres(u, flight.across_m.get().unwrap_or(0.0).abs()),
                metres(u, r.placement.offset_m)
            ),
        ),
        Outcome::Edge => {
            let (what, cure) = if along < field.0 {
                ("front", "a smaller gap or more start height")
            } else if along > field.1 {
                ("back", "a larger gap or less start height")
            } else {
                ("side", "the bag's offset")
            };
            said.stop(
                About::Reach, "reach.margin",
                format!(
                    "The mean rider comes down in the bag's {what} margin, {} from its front edge; the landing field runs \
                     from {} to {}. What would change it: {cure}.",
                    metres(u, along),
                    metres(u, field.0),
                    metres(u, field.1)
                ),
            );
        }
        _ => {}
    }
}

fn arc_load(said: &mut Said<'_>) {
    let limit = said.site.rider.arc_load_limit;
    let (peak, at) = (said.r.ride.peak_load_g, said.r.ride.peak_load_before_foot_m);
    if peak > limit {
        let stop = said.site.rider.arc_load_stop;
        let (level, limit, key) = if peak > stop {
            (Level::Stop, stop, "rider.arc_load_stop")
        } else {
            (Level::Caution, limit, "rider.arc_load_limit")
        };
        let (place, cure) = if at > 0.0 {
            ("on the ride down", "a larger bottom radius")
        } else {
            ("in the take-off", "a larger take-off radius")
        };
        let text = format!(
            "The load reaches {} {place}, over the {} that the site file allows: arms and legs may fold. What would \
             change it: {cure}, or less start height.",
            load(peak),
            load(limit)
        );
        said.say(level, About::Load, "load", text).with("ride.peak_load_g", peak).with(key, limit);
    }
}

fn riders(said: &mut Said<'_>) {
    let u = said.shown();
    if said.r.ride.lip_speed_mps.get().is_none() {
        return;
    }
    let r = said.r;
    for (who, rider) in [("lightest", &r.riders.lightest), ("heaviest", &r.riders.heaviest)] {
        if rider.along_m.get().is_none() {
            said.stop(
                About::Reach,
                "reach.rider",
                format!(
                    "The {who} rider ({}) has no landing: with every input at its site value the run ends on the ride \
                     down or against the bag's front. More start height would change it, or other riders.",
                    u.mass(rider.mass_kg, Toward::Nearest)
                ),
            );
        }
    }
}

fn chance_of_a_miss(said: &mut Said<'_>) {
    let r = said.r;
    let Some(sampling) = &r.spread.sampling else {
        return;
    };
    let (miss, target) = (r.placement.miss_now.unwrap_or(sampling.miss), r.placement.target_miss);
    let bound = 3.0 / sampling.samples as f64;
    let runs = number(sampling.samples as f64, 0);
    let who = format!("{} rider", r.riders.worst);
    let none_missed = sampling.misses == 0 && r.riders.worst == Who::Mean;
    if none_missed && bound > target {
        said.stop(
            About::Miss, "miss.too_few",
            format!(
                "No run of {runs} missed, which is too few to show the chance of {} that is planned for. At least {} runs \
                 (--samples) would show it.",
                chance(target),
                number((3.0 / target).ceil(), 0)
            ),
        );
    } else if miss > target {
        let worst_way = worst_outcome(&sampling.outcomes);
        said.stop(
            About::Miss, "miss",
            format!(
                "The {who} misses the landing field in {} tries, more than the {} planned for. {}What would change it: gap \
                 and offset, start height, a longer or wider bag, or a steadier run.",
                chance(miss),
                chance(target),
                worst_way.map_or_else(String::new, |way| format!("Most of the mean rider's misses: {way}. "))
            ),
        );
    } else {
        let few = if none_missed {
            format!(
                "No run of {runs} missed the landing field: {}, against the {} planned for.",
                fewer_than(bound),
                chance(target)
            )
        } else {
            format!(
                "The {who} misses the landing field in no more than about {} of {runs} \
                        runs, against the {} planned for.",
                chance(miss),
                chance(target)
            )
        };
        said.note(
            About::Miss,
            "miss",
            format!("{few} The chance is that of the stated spreads; whatever they leave out is not in it."),
        );
        if sampling.miss_high > target && sampling.misses > 0 {
            said.caution(
                About::Miss, "miss.not_resolved",
                format!(
                    "The chance of a miss is not resolved: its 95 % interval runs from {} to {}, across the {} planned for. \
                     More runs (--samples) would settle it.",
                    chance(sampling.miss_low),
                    chance(sampling.miss_high),
                    chance(target)
                ),
            );
        }
    }
}

/// What the importance sampling adds where plain runs see few misses or none.
fn far_tail(said: &mut Said<'_>) {
    let r = said.r;
    let (Some(tails), Some(sampling)) = (&r.spread.tails, &r.spread.sampling) else {
        return;
    };
    let tail = match tails.worst {
        Who::Mean => &tails.mean,
        Who::Lightest => &tails.lightest,
        Who::Heaviest => &tails.heaviest,
    };
    if tail.miss * sampling.samples as f64 > 100.0 {
        // Plain runs resolve it.
        return;
    }
    let text = if tail.miss_low > 0.0 {
        let ways = worst_outcome(&share_of(&tail.outcomes)).map_or_else(String::new, |way| format!(" Mostly {way}."));
        format!(
            "Counted with more runs where misses are, the chance of a miss is {} for the {} rider, the worst (between {} and \
             {}).{ways}",
            chance(tail.miss),
            tails.worst,
            chance(tail.miss_low),
            chance(tail.miss_high)
        )
    } else {
        format!(
            "Counted with more runs where misses are, the chance of a miss is under {} for every rider.",
            chance(tail.miss)
        )
    };
    said.note(
        About::Miss,
        "miss.far_tail",
        format!("{text} It holds as far as riders scatter as assumed, which nobody has measured for tries so rare."),
    );
}

/// Each part over their sum.
fn share_of(parts: &BTreeMap<&'static str, f64>) -> BTreeMap<&'static str, f64> {
    let sum: f64 = parts.values().sum();
    parts.iter().map(|(name, part)| (*name, part / sum)).collect()
}

fn worst_outcome(outcomes: &BTreeMap<&'static str, f64>) -> Option<String> {
    outcomes.iter().filter(|(name, share)| **name != "on" && **share > 0.0).max_by(|a, b| a.1.total_cmp(b.1)).map(
        |(name, share)| {
            let words = match *name {
                "edge" => "in a margin of the bag",
                "short" => "short of the bag",
                "long" => "beyond the bag",
                "left" => "off the left side",
                "right" => "off the right side",
                "front" => "against the bag's front",
                "stall" => "at rest before the lip",
                _ => "off the surface on the ride down",
            };
            format!("{words} ({})", percent(*share))
        },
    )
}

/// The short and the long end of the landings.
fn short_and_long(said: &mut Said<'_>) {
    let u = said.shown();
    let (r, site) = (said.r, said.site);
    let Some(sampling) = &r.spread.sampling else {
        return;
    };
    let target = r.placement.target_miss;
    let share = |names: &[&str]| names.iter().filter_map(|name| sampling.outcomes.get(name)).sum::<f64>();
    let field = (site.bag.edge_front_m, site.bag.length_m - site.bag.edge_back_m);
    let short = share(&["short", "front", "stall"]);
    let before = sampling.along_p001_m.get().filter(|along| *along < field.0);
    if short > target || before.is_some() {
        let reach = sampling.along_p001_m.get().map_or_else(String::new, |along| {
            let side = if along < 0.0 { "before" } else { "behind" };
            format!(
                " One landing in a thousand is less than {} {side} the front edge; the field starts at {}.",
                metres(u, along.abs()),
                metres(u, field.0)
            )
        });
        let clearing = r.placement.clearing_lip_speed_mps.get().map_or_else(String::new, |clearing| {
            format!(" The gap is cleared from {} at the lip.", speed(u, clearing))
        });
        let text = format!(
            "Landings come up short: {} of the mean rider's runs end before the bag or against its front.{reach}{clearing} A \
             smaller gap, more start height or a steadier lip speed would change it.",
            percent(short)
        );
        if short > target {
            said.stop(About::Short, "short", text)
        } else {
            said.caution(About::Short, "short", text)
        };
    }
    let long = share(&["long"]);
    let beyond = sampling.along_p999_m.get().filter(|along| *along > field.1);
    if long > target || beyond.is_some() {
        let reach = sampling.along_p999_m.get().map_or_else(String::new, |along| {
            format!(
                " One landing in a thousand is beyond {} from the front edge; the field ends at {}.",
                metres(u, along),
                metres(u, field.1)
            )
        });
        let text = format!(
            "Landings go long: {} of the mean rider's runs end beyond the bag.{reach} A larger gap, less start height or a \
             steadier lip speed would change it.",
            percent(long)
        );
        if long > target {
            said.stop(About::Long, "long", text)
        } else {
            said.caution(About::Long, "long", text)
        };
    }
    landing_field(said, field);
}

/// Whether the landings fit on the field at all.
fn landing_field(said: &mut Said<'_>, field: (f64, f64)) {
    let u = said.shown();
    let site = said.site;
    let Some(sampling) = &said.r.spread.sampling else {
        return;
    };
    let width = site.bag.width_m - 2.0 * site.bag.edge_side_m;
    let length = field.1 - field.0;
    let take = |low: Option<f64>, high: Option<f64>| low.zip(high).map(|(low, high)| high - low);
    let needs = (
        take(sampling.along_p001_m.get(), sampling.along_p999_m.get()),
        take(sampling.across_p001_m.get(), sampling.across_p999_m.get()),
    );
    let too_small: Vec<String> = [("long", needs.0, length), ("wide", needs.1, width)]
        .iter()
        .filter_map(|(way, need, has)| {
            need.filter(|need| need > has)
                .map(|need| format!("{} {way} where landings take {}", metres(u, *has), metres(u, need)))
        })
        .collect();
    // A wide spread that the target allows is none too wide.
    let missed = said.r.placement.miss_now.is_none_or(|miss| miss > said.r.placement.target_miss);
    if !too_small.is_empty() {
        said.say(
            if missed { Level::Stop } else { Level::Caution },
            About::Field,
            "field",
            format!(
                "The landing field is too small wherever the bag stands: {}. A bigger \
                        bag or a steadier run would change it.",
                list(&too_small)
            ),
        );
    } else if let (Some(along), Some(across)) = needs {
        said.note(
            About::Field,
            "field",
            format!(
                "998 landings in 1,000 of the mean rider take {} by {} of a landing field of {} by {}.",
                metres(u, along),
                metres(u, across),
                metres(u, length),
                metres(u, width)
            ),
        );
    }
}

/// What is worth steadying first.
fn steadying(said: &mut Said<'_>) {
    let u = said.shown();
    let Some(differences) = said.r.spread.differences.as_ref() else {
        return;
    };
    let largest = |shares: &BTreeMap<&'static str, f64>, moved: &BTreeMap<&'static str, f64>| {
        let mut sorted: Vec<_> = shares.iter().filter(|(_, share)| **share > 0.0).collect();
        sorted.sort_by(|a, b| b.1.total_cmp(a.1).then(a.0.cmp(b.0)));
        let words: Vec<String> = sorted
            .iter()
            .enumerate()
            .filter(|(i, (_, share))| *i == 0 || (*i < 3 && **share >= LARGE_SHARE))
            .map(|(_, (name, _))| {
                let by =
                    moved.get(*name).map_or_else(String::new, |by| format!(" ({} either way)", metres(u, by.abs())));
                format!("{}{by}", plain_name(name))
            })
            .collect();
        (!words.is_empty()).then(|| list(&words))
    };
    let along = largest(&differences.shares_along, &differences.one_sd_along_m);
    let across = largest(&differences.shares_across, &differences.one_sd_across_m);
    let text = match (along, across) {
        (Some(along), Some(across)) => {
            format!("What moves the landing most, short or long: {along}. To the side: {across}. Steady these first.")
        }
        (Some(along), None) => format!("What moves the landing most, short or long: {along}. Steady it first."),
        (None, Some(across)) => format!("What moves the landing most, to the side: {across}. Steady it first."),
        (None, None) => "Nothing is stated to vary: every spread is zero, so that every run is the same.".to_owned(),
    };
    said.note(About::Steady, "steady", text);
}

fn methods(said: &mut Said<'_>) {
    let u = said.shown();
    if said.r.spread.methods_agree.get() == Some(false) {
        let sd = |value: Option<f64>| value.map_or_else(|| "none".to_owned(), |x| metres(u, x));
        let differences = said.r.spread.differences.as_ref().map(|d| d.sd_along_m);
        let sampling = said.r.spread.sampling.as_ref().and_then(|s| s.sd_along_m.get());
        said.caution(
            About::Methods, "methods",
            format!(
                "Two ways to compute how far landings scatter disagree ({} and {} along): twice the error does not move the \
                 landing twice as far here. The runs are trusted for where landings fall; the hardest speed rests on the \
                 other way. More margin to every edge, or steadier runs, would change it.",
                sd(differences),
                sd(sampling)
            ),
        );
    }
}
