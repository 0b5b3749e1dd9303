//! Why a value is null, and what is still assumed.

use super::Said;
use crate::plan::csv::flatten;
use crate::plan::results::{About, Results, SpeedsBy};
use crate::plan::words::{chance, number};
use serde_json::Value;

pub fn say(said: &mut Said<'_>) {
    nulls(said);
    assumed(said);
}

/// Every null with its reason, one finding a reason.
fn nulls(said: &mut Said<'_>) {
    let mut reasons: Vec<(String, Vec<String>)> = Vec::new();
    for (key, value) in flatten(said.r) {
        if value != Value::Null {
            continue;
        }
        let Some(why) = why_null(said.r, &key) else {
            continue;
        };
        match reasons.iter_mut().find(|(reason, _)| *reason == why) {
            Some((_, keys)) => keys.push(key),
            None => reasons.push((why, vec![key])),
        }
    }
    for (why, keys) in reasons {
        said.note(About::NoValue, "no_value", format!("No value, because {why}: {}.", keys.join(", ")));
    }
}

fn assumed(said: &mut Said<'_>) {
    let keys = &said.r.assumed;
    if !keys.is_empty() {
        said.note(
            About::Assumed,
            "assumed",
            format!(
                "{} values of the site are assumed, not stated: measure them or state them. They are {}.",
                number(keys.len() as f64, 0),
                keys.join(", ")
            ),
        );
    }
}

/// Why no flight follows the ride, or no landing the flight.
fn no_landing(r: &Results) -> Option<String> {
    if r.ride.stall.is_some() {
        return Some("the rider comes to rest before the lip".to_owned());
    }
    if r.ride.leaves_surface.is_some() {
        return Some("the bike leaves the surface on the ride down".to_owned());
    }
    if r.ride.lip_speed_mps.is_none() {
        return Some("the ride does not come to the lip".to_owned());
    }
    r.flight.along_m.is_none().then(|| "the mean rider does not come down on the bag's plane".to_owned())
}

/// Why there are no pressures to ride between; none: they were not asked for.
pub(super) fn no_pressures(r: &Results) -> Option<String> {
    if let Some(why) = no_landing(r) {
        return Some(why);
    }
    if r.air.after_cut.is_empty() {
        return Some("the blowers do not lift the bag's skin".to_owned());
    }
    if r.pressures.hard_speed_mps.is_none() {
        return Some(NO_SPEEDS.to_owned());
    }
    None
}

const NO_DIFFERENCES: &str = "with a little more or less of one input a run has no landing";
/// Why there is no speed of the hard landing either way.
const NO_SPEEDS: &str = "with a little more or less of one input a run has no landing, and fewer than 100 of the sampled \
                         runs have one";

/// Why the value under a dotted key is null; `None` where its part was not asked for.
#[must_use]
pub fn why_null(r: &Results, key: &str) -> Option<String> {
    let text = |text: &str| Some(text.to_owned());
    let (table, rest) = key.split_once('.').unwrap_or((key, ""));
    let name = key.rsplit('.').next().unwrap_or(key);
    match table {
        "ride" => match name {
            "stall" if r.ride.leaves_surface.is_none() => text("the rider does not come to rest before the lip"),
            "leaves_surface" if r.ride.stall.is_none() => text("the bike stays on the surface"),
            "stall" | "leaves_surface" => text("the ride ends at the first of the two, stall or leaving the surface"),
            _ => Some(no_landing(r).unwrap_or_else(|| "the ride does not come to the lip".to_owned())),
        },
        "touchdown" if rest.is_empty() => Some(no_landing(r).unwrap_or_else(|| {
            if r.air.after_cut.is_empty() {
                "the blowers do not lift the bag's skin".to_owned()
            } else {
                "the mean rider does not come down on the bag".to_owned()
            }
        })),
        "flight" => {
            Some(no_landing(r).unwrap_or_else(|| "the mean rider does not come down on the bag's plane".to_owned()))
        }
        "riders" => rider(r, name),
        "spread" => spread(r, rest, name),
        "placement" => placement(r, rest, name),
        "air" => match name {
            "fill_time_s" => text("95 % of the operating pressure is not reached within the time looked at"),
            _ => Some(no_landing(r).unwrap_or_else(|| "there is no hard landing to try: ".to_owned() + NO_SPEEDS)),
        },
        "touchdown" => touchdown(r, name),
        "pressures" => pressures(r, rest, name),
        "ride_by" => ride_by(name),
        "verdict" => text("no limit is broken"),
        "wind" => match r.placement.miss_now {
            Some(miss) if miss > r.placement.target_miss => Some(format!(
                "the chance of a miss passes {} already in the wind of the site",
                chance(r.placement.target_miss)
            )),
            _ => None,
        },
        "dirt" if name == "hard_fall_height_m" => text(NO_SPEEDS),
        "dirt" => Some(no_landing(r).unwrap_or_else(|| "there is no landing to compare".to_owned())),
        _ => text("it was not computed"),
    }
}

fn ride_by(name: &str) -> Option<String> {
    Some(
        match name {
            "start_high_m" => {
                "until the bag is measured there is no start, or from so low riders do not reach the field"
            }
            "next_rider_from_pa" | "everybody_off_under_pa" => "the box cannot be armed",
            "holds_for_s" => "after a power cut the bag holds for longer than 120 s, or there are no pressures",
            "stop_line_before_foot_m" => "a rider who brakes does not stop before the take-off's foot from anywhere",
            // As of the placement and the wind, which say why.
            _ => return None,
        }
        .to_owned(),
    )
}

fn rider(r: &Results, name: &str) -> Option<String> {
    match name {
        "sd_along_m" | "miss" | "misses" => {
            r.spread.sampling.as_ref().map(|_| "too few runs of that rider come down on the bag's plane".to_owned())
        }
        _ => Some("that rider's run ends on the ride down or against the bag's front".to_owned()),
    }
}

fn spread(r: &Results, rest: &str, name: &str) -> Option<String> {
    match rest {
        "differences" => Some(no_landing(r).unwrap_or_else(|| NO_DIFFERENCES.to_owned())),
        "sampling" => None,
        "methods_agree" => r.spread.sampling.as_ref().map(|_| {
            if r.spread.differences.is_none() {
                NO_DIFFERENCES.to_owned()
            } else {
                "too few sampled runs come down on the bag's plane".to_owned()
            }
        }),
        _ if name == "correlation" => {
            Some("landings do not vary both along and across, or too few come down on the bag's plane".to_owned())
        }
        _ => Some("too few sampled runs come down on the bag's plane".to_owned()),
    }
}

fn placement(r: &Results, rest: &str, name: &str) -> Option<String> {
    let p = &r.placement;
    let searched = p.gap_runs.is_some();
    let when_searched = |why: &str| searched.then(|| why.to_owned());
    if rest.starts_with("short_zone") {
        return Some("at that lip speed the bike does not come as far as the bag's front edge".to_owned());
    }
    match name {
        "before_foot_m" | "last_stop_before_foot_m" | "last_stop_speed_mps" => Some(
            "a rider who brakes that hard does not stop before the take-off's foot \
                    from anywhere: committed from the start"
                .to_owned(),
        ),
        "to_touchdown_s" | "last_stop_to_touchdown_s" => {
            Some(no_landing(r).unwrap_or_else(|| "there is no last stop line to count from".to_owned()))
        }
        "clearing_lip_speed_mps" => Some("no lip speed looked at clears the gap".to_owned()),
        "front_from_lip_speed_mps" if p.clearing_lip_speed_mps.is_none() => {
            Some("no lip speed looked at clears the gap".to_owned())
        }
        "front_from_lip_speed_mps" => {
            Some("below the clearing speed no lip speed meets the bag's front first".to_owned())
        }
        "miss_now" => {
            r.spread.sampling.as_ref().map(|_| "the sampling gives no chance for one of the riders".to_owned())
        }
        "gap_low_m" | "gap_high_m" | "inside_band_m" => {
            when_searched("no gap keeps the chance of a miss at the target for every rider")
        }
        "best_gap_m" | "miss_at_best" | "best_offset_m" | "best_is_better" | "least_miss" | "least_miss_gap_m" => {
            when_searched("fewer than 100 of the sampled runs come down on the bag's plane, or all miss at every gap")
        }
        "gap_runs" => None,
        "lowest_clearing_start_m" => when_searched(
            "no start height up to 40 m, or none that the roll-in's sections can \
                make, keeps runs from coming down short at the target",
        ),
        "highest_start_in_gust_m" => when_searched(
            "no start height keeps to the target with the gust as added tail wind, \
                or the roll-in's sections cannot make others",
        ),
        _ => Some("it was not computed".to_owned()),
    }
}

fn touchdown(r: &Results, name: &str) -> Option<String> {
    let grounded = r.touchdown.as_ref().is_some_and(|landing| landing.ground_speed_mps.is_some());
    Some(
        match name {
            "ground_speed_mps" | "ground_fall_height_m" => "the body does not meet the ground",
            "sinks_on_mps" => "the body does not sink on to the ground after it has come to rest",
            _ if grounded => "the body meets the ground",
            "run_out_m" => "the top slopes down in the direction of travel",
            "ride_out_mps" => "the top does not slope down in the direction of travel",
            "recovery_s" => "99 % of the operating pressure is not reached again within the time looked at",
            _ => "the landing has no end within the time looked at",
        }
        .to_owned(),
    )
}

fn pressures(r: &Results, rest: &str, name: &str) -> Option<String> {
    let p = &r.pressures;
    if p.stop_rule.is_none() {
        return if rest == "provisional" { None } else { no_pressures(r) };
    }
    Some(
        match name {
            "stop_by_depth_pa" => "no pressure up to 20 kPa keeps the hard landing within the depth limit",
            "firm_pa" | "comfort_pa" => "the load limit is kept up to 20 kPa: it does not bound the pressure",
            "band_low_pa" | "band_high_pa" => "the ride band is empty",
            "wait_pa" => {
                "even from the operating pressure the stop pressure is nearer than a committed rider's touch-down, or the \
                 time that such a rider needs has no value"
            }
            "power_loss_to_stop_s" => "after a power cut the stop pressure is not reached within the time looked at",
            "holds_for_s" | "holds_for_p05_s" => {
                "after a power cut the hard landing keeps the depth limit for longer than 120 s"
            }
            "to_stop_s" => "with one blower lost the bag never comes to the stop pressure",
            "one_blower_lost" => "there is one blower",
            "first_day_start_m" if p.speeds_by == Some(SpeedsBy::Sampling) => {
                "from no lower start do all runs come down that would have to, or none is clear of what the unmeasured bag brings about"
            }
            "first_day_start_m" => "no lower start is clear of what the unmeasured bag brings about",
            "provisional" => "measuring the bag would lift nothing",
            "seconds_missing" | "alarm_delay_s" | "needed_s" | "ground_cut" | "if_measured" => {
                "without supply sense the time to the alarm has no value: the pressure does not fall half-way to a stop \
                 pressure, or no rider comes down on the bag"
            }
            "hard_depth_m" | "light_load_g" => "the landing has no end within the time looked at",
            "hard_speed_mps" | "speeds_by" | "hard_thickness_m" => NO_SPEEDS,
            "commitment_s" | "committed_from_start" => {
                return Some(no_landing(r).unwrap_or_else(|| "the time from the line to touch-down has no value".to_owned()));
            }
            _ => "it was not computed",
        }
        .to_owned(),
    )
}
