//! Findings about the bag's place, starts, stopping, wind, anchors and dirt.

use super::Said;
use crate::plan::dirt::FILL_FACTOR;
use crate::plan::results::{About, Level, Why};
use crate::plan::words::{chance, force, list, metres, number, seconds, speed, wind};
use crate::shown::{Shown, Toward};
use landfall_core::wind::GUST_FACTOR;

/// Nearer to the end of the band than this a bag that creeps, or a tape that slips, leaves it (assumed).
const NEAR_END_M: f64 = 0.10;
/// Ceiling of the equivalent fall height that papers on snow-sport jumps recommend for hard landings (McNeil, Hubbard &
/// Swedberg 2012, Sports Engineering 15; figure from memory).
const HARD_LANDING_CEILING_M: f64 = 1.5;

pub fn say(said: &mut Said<'_>) {
    gap(said);
    offset(said);
    starts(said);
    short_zone(said);
    stopping(said);
    winds(said);
    dirt(said);
}

/// What is the same for all riders.
pub fn of_all(said: &mut Said<'_>) {
    wind_now(said);
    anchors(said);
}

fn gap(said: &mut Said<'_>) {
    let u = said.shown();
    let p = &said.r.placement;
    let (gap, target) = (metres(u, p.gap_m), chance(p.target_miss));
    match (p.gap_low_m.get(), p.gap_high_m.get(), p.inside_band_m.get()) {
        (Some(low), Some(high), Some(inside)) => {
            let band = format!("{} to {}", u.length(low, Toward::Up), u.length(high, Toward::Down));
            let best = p
                .best_gap_m
                .get()
                .filter(|_| p.best_is_better.get() == Some(true))
                .map_or_else(String::new, |best| format!(" Fewest would miss at a gap of {}.", metres(u, best)));
            if inside < 0.0 {
                said.stop(
                    About::Gap,
                    "gap.outside",
                    format!(
                        "The gap of {gap} is {} outside the band of {band} that keeps the chance \
                        of a miss at {target} for every rider.{best} Moving the bag would \
                        change it.",
                        metres(u, -inside)
                    ),
                );
            } else if inside < NEAR_END_M {
                said.caution(
                    About::Gap,
                    "gap.near_end",
                    format!(
                        "The gap of {gap} is only {} inside the band of {band} that keeps the \
                        chance of a miss at {target}.{best} Moving the bag would change it; \
                        measure again before each session.",
                        metres(u, inside)
                    ),
                );
            } else {
                said.note(
                    About::Gap,
                    "gap",
                    format!(
                        "The gap of {gap} is {} inside the band of {band} that keeps the chance \
                        of a miss at {target} for every rider.{best}",
                        metres(u, inside)
                    ),
                );
            }
        }
        _ => {
            if let (Some(least), Some(at)) = (p.least_miss.get(), p.least_miss_gap_m.get()) {
                said.stop(
                    About::Gap, "gap.none",
                    format!(
                        "There is no band: no gap keeps the chance of a miss at {target} for every rider. The smallest chance \
                         is {}, at a gap of {} ({gap} now). A longer or wider bag, another start height or a steadier run \
                         would change it.",
                        chance(least),
                        metres(u, at)
                    ),
                );
            }
        }
    }
}

fn offset(said: &mut Said<'_>) {
    let u = said.shown();
    let p = &said.r.placement;
    if let Some(best) = p.best_offset_m.get()
        && (best - p.offset_m).abs() >= NEAR_END_M
    {
        let side = if best > p.offset_m { "left" } else { "right" };
        said.note(
            About::Offset,
            "offset",
            format!(
                "Landings would be centred with the bag {} farther {side}, at an offset of {}.",
                metres(u, (best - p.offset_m).abs()),
                metres(u, best)
            ),
        );
    }
}

fn starts(said: &mut Said<'_>) {
    let u = said.shown();
    let (p, site) = (&said.r.placement, said.site);
    let start = site.roll_in.start_height_m;
    let target = chance(p.target_miss);
    if let Some(lowest) = p.lowest_clearing_start_m.get() {
        if start < lowest && p.miss_now.is_none_or(|miss| miss > p.target_miss) {
            said.stop(
                About::Start,
                "start.low",
                format!(
                    "The start of {} is below the lowest of {} from which at most {target} \
                    of the runs come down short or do not land. A higher start or a smaller \
                    gap would change it.",
                    u.start_mark(start),
                    metres(u, lowest)
                ),
            );
        } else {
            let text = match said.by.and_then(|by| by.start_low_m.get()) {
                Some(low) if low < start => format!(
                    "Nobody starts below the {} mark ({} now): from lower down a limit is broken.",
                    u.length(low, Toward::Up),
                    u.start_mark(start)
                ),
                Some(_) => format!("Nobody starts below {}: from lower down a limit is broken.", u.start_mark(start)),
                // The marks were not asked for.
                None => format!(
                    "From {} upwards at most {target} of the runs come down short or do not land ({} now). Other limits \
                     may ask for more: the plan's marks have them all.",
                    u.length(lowest, Toward::Up),
                    u.start_mark(start)
                ),
            };
            said.say(Level::Note, About::Start, "start", text).with("placement.lowest_clearing_start_m", lowest);
        }
    }
    if let Some(highest) = p.highest_start_in_gust_m.get() {
        let gust = wind(u, site.wind.gust_mps);
        if start > highest {
            said.caution(
                About::Start,
                "start.gust",
                format!(
                    "With a gust of {gust} as added tail wind the highest start that keeps \
                    to {target} is {}, below the {} of the site. Riding only in less wind, \
                    a lower start or a larger gap would change it.",
                    metres(u, highest),
                    u.start_mark(start)
                ),
            );
        } else {
            said.say(
                Level::Note,
                About::Start, "start.in_gust",
                format!(
                    "A gust of {gust} from behind, on top of the wind planned with, still leaves the chance of a miss from \
                     the {} mark at {target} or less.",
                    u.start_mark(start)
                ),
            )
            .with("placement.highest_start_in_gust_m", highest);
        }
    } else if p.highest_start_in_gust_m.why() == Some(Why::NoStartInGust) && p.least_miss.get().is_some() {
        said.caution(
            About::Start,
            "start.none_in_gust",
            format!(
                "No start height keeps to {target} with a gust of {} as added tail wind. \
                Riding only in less wind, a longer bag or another gap would change it.",
                wind(u, site.wind.gust_mps)
            ),
        );
    }
}

fn short_zone(said: &mut Said<'_>) {
    let u = said.shown();
    let p = &said.r.placement;
    let Some(clearing) = p.clearing_lip_speed_mps.get() else {
        said.caution(
            About::ShortZone,
            "short_zone.none",
            "No lip speed within the range looked at clears the gap and comes down \
                on the bag's top. A lower front, a smaller gap or a steeper take-off \
                would change it.",
        );
        return;
    };
    let hits = match p.front_from_lip_speed_mps.get() {
        Some(front) if front < clearing => {
            format!("from {} the bag's front is hit, below that the ground", speed(u, front))
        }
        _ => "the table of the short zone says what is hit first".to_owned(),
    };
    said.note(
        About::ShortZone,
        "short_zone",
        format!(
            "Slower than {} at the lip comes up short. There {hits}. Whoever rolls \
                    in slowly must stop before the take-off.",
            speed(u, clearing)
        ),
    );
}

fn stopping(said: &mut Said<'_>) {
    let u = said.shown();
    let p = &said.r.placement;
    let braking = said.site.rider.braking;
    let Some(before) = p.last_stop_before_foot_m.get() else {
        said.caution(
            About::Stopping,
            "stopping.none",
            format!(
                "No stopping place: with braking at {} of the load the rider is \
                committed from the start. A longer flat run, a lower start or better \
                brakes and ground would change it.",
                number(braking, 2)
            ),
        );
        return;
    };
    let at = p.last_stop_speed_mps.get().map_or_else(String::new, |v| format!(" at {}", speed(u, v)));
    let then = p
        .last_stop_to_touchdown_s
        .get()
        .map_or_else(String::new, |s| format!("; from there to touch-down {}", seconds(s)));
    let others: Vec<String> = p
        .stop_lines
        .iter()
        .filter(|line| (line.braking - braking).abs() > 1.0e-6)
        .map(|line| {
            let place = line.before_foot_m.get().map_or_else(|| "no line".to_owned(), |x| metres(u, x));
            format!("{place} at {}", number(line.braking, 2))
        })
        .collect();
    let also = if others.is_empty() { String::new() } else { format!(" Other braking: {}.", list(&others)) };
    let line = said.by.and_then(|by| by.stop_line_before_foot_m.get()).unwrap_or(before);
    let text = format!(
        "Last stop line {} before the take-off's foot{at}. Braking is {} of the load{then}.{also}",
        u.length(line, Toward::Up),
        number(braking, 2)
    );
    if p.stop_lines.iter().any(|line| line.before_foot_m.get().is_none()) {
        said.caution(
            About::Stopping,
            "stopping.none_at_less",
            format!(
                "{text} With a little less braking there is none: wet ground or worn \
                brakes commit the rider from the start. A longer flat run or a lower \
                start would change it."
            ),
        );
    } else {
        said.note(About::Stopping, "stopping", text);
    }
}

fn wind_now(said: &mut Said<'_>) {
    let u = said.shown();
    let (w, site) = (&said.r.wind, said.site);
    let now = site.wind.along_mps.hypot(site.wind.across_mps);
    if now > w.limit_mps {
        said.stop(
            About::Wind,
            "wind.now",
            format!(
                "The wind of the site, {}, is over {}, at which nobody \
                        rides. Waiting would change it.",
                wind(u, now),
                wind(u, w.limit_mps)
            ),
        );
    }
}

fn winds(said: &mut Said<'_>) {
    let u = said.shown();
    let (r, site) = (said.r, said.site);
    let w = &r.wind;
    // As they are ridden by, where they were looked for.
    let by = |own: Option<f64>, hold: Option<f64>| own.map(|own| hold.unwrap_or(own));
    let holds = (
        by(w.hold_along_tail_mps.get(), said.by.and_then(|by| by.hold_along_tail_mps.get())),
        by(w.hold_along_head_mps.get(), said.by.and_then(|by| by.hold_along_head_mps.get())),
        by(w.hold_across_mps.get(), said.by.and_then(|by| by.hold_across_mps.get())),
    );
    if let (Some(tail), Some(head), Some(across)) = holds {
        let text = format!(
            "Hold in gusts over {} from behind, {} from the front and {} from the side. A meter that shows a mean over \
             minutes reads less than the gusts in it: hold there over {}, {} and {} (a gust is {} times the mean).",
            u.speed(tail, Toward::Down),
            u.speed(head, Toward::Down),
            u.speed(across, Toward::Down),
            u.speed(tail / f64::from(GUST_FACTOR), Toward::Down),
            u.speed(head / f64::from(GUST_FACTOR), Toward::Down),
            u.speed(across / f64::from(GUST_FACTOR), Toward::Down),
            number(f64::from(GUST_FACTOR), 2)
        );
        let gust = site.wind.along_mps + site.wind.gust_mps;
        if gust > tail {
            said.caution(
                About::Wind,
                "wind.gust",
                format!(
                    "{text} The gust planned for makes {} of tail wind, over the hold. Less \
                    wind, another gap or a lower start would change it.",
                    u.speed(gust, Toward::Up)
                ),
            );
        } else {
            said.note(About::Wind, "wind", text);
        }
    } else if r.placement.miss_now.is_some_and(|miss| miss > r.placement.target_miss) {
        said.caution(
            About::Wind,
            "wind.none",
            format!(
                "There is no wind to hold at: the chance of a miss passes {} already in \
                the wind of the site. What brings that chance down gives hold winds.",
                chance(r.placement.target_miss)
            ),
        );
    }
}

fn anchors(said: &mut Said<'_>) {
    let u = said.shown();
    let w = &said.r.wind;
    let forces = format!(
        "in {} the bag is pushed with {} and lifted with {}",
        wind(u, w.limit_mps),
        force(u, w.side_force_n),
        force(u, w.lift_n)
    );
    let capacity = force(u, said.site.anchors.capacity_n);
    if w.anchors_stated < w.anchors_needed {
        said.stop(
            About::Anchors,
            "anchors",
            format!(
                "{} anchors are too few: {forces}, which takes {} anchors of {capacity}. \
                More or stronger anchors would change it.",
                w.anchors_stated, w.anchors_needed
            ),
        );
    } else {
        said.note(
            About::Anchors,
            "anchors",
            format!("{} anchors of {capacity}, {} needed: {forces}.", w.anchors_stated, w.anchors_needed),
        );
    }
}

fn dirt(said: &mut Said<'_>) {
    let u = said.shown();
    let Some(dirt) = said.r.dirt.as_ref() else {
        return;
    };
    let fall = dirt.equivalent_fall_height_m;
    let hard = dirt.hard_fall_height_m.get().filter(|hard| hard.is_finite());
    let words = |within: bool| -> Vec<String> {
        dirt.loose_fill
            .iter()
            .filter(|fill| (fall <= fill.table_fall_height_m) == within)
            .map(|fill| {
                let past = if within && hard.is_some_and(|hard| hard > fill.table_fall_height_m) {
                    ", not at the hard speed"
                } else {
                    ""
                };
                format!(
                    "{} of {} (to {}{past})",
                    centimetres(u, fill.depth_m),
                    fill.material,
                    metres(u, fill.table_fall_height_m)
                )
            })
            .collect()
    };
    let (inside, outside) = (words(true), words(false));
    let side = |name: &str, fills: &[String]| {
        if fills.is_empty() { String::new() } else { format!(" {name}: {}.", list(fills)) }
    };
    let ceiling = if fall > HARD_LANDING_CEILING_M { "over" } else { "under" };
    let first = |material: &str| {
        dirt.loose_fill.iter().find(|fill| fill.material == material).map_or_else(String::new, |fill| {
            let side = if fall <= fill.table_fall_height_m { "within" } else { "outside" };
            format!(", {side} the table for {} of {material}", centimetres(u, fill.depth_m))
        })
    };
    let at_hard = hard.map_or_else(String::new, |hard| format!(" (at the hard speed {})", metres(u, hard)));
    said.note(
        About::Dirt, "dirt",
        format!(
            "Onto dirt of the bag's slope the same jump falls like {}{}{}. That is {ceiling} the {} recommended as a ceiling \
             for hard snow landings{at_hard}. Compressed loose fill after US CPSC Publication 325, Table 2, made for \
             playgrounds:{}{} Fill in a third more than the compressed depth (factor {}). A landing slope closer to the \
             path would change the fall height.",
            metres(u, fall),
            first("wood chips"),
            first("sand"),
            metres(u, HARD_LANDING_CEILING_M),
            side("within the table", &inside),
            side("Outside it", &outside),
            number(FILL_FACTOR, 2)
        ),
    );
}

fn centimetres(u: Shown, m: f64) -> String {
    if u.is_imperial() {
        return u.small(m, Toward::Nearest);
    }
    format!("{} cm", number(m * 100.0, 0))
}
