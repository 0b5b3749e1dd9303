//! Findings about the pressures to ride between and the loss of power.

use super::Said;
use crate::plan::results::{StopRule, WorstEnd};
use crate::plan::words::{list, load, metres, number, percent, pressure, seconds, speed};

pub fn say(said: &mut Said<'_>) {
    if !computed(said) {
        return;
    }
    hard_landing(said);
    stop_pressure(said);
    firm_pressure(said);
    band(said);
    power_loss(said);
    wait(said);
    ends(said);
}

/// Whether there are pressures; where there are none although they could be, they were not asked for.
fn computed(said: &mut Said<'_>) -> bool {
    let p = &said.r.pressures;
    if p.stop_rule.is_some() {
        return true;
    }
    if let Some(why) = super::blank::no_pressures(said.r) {
        said.stop(
            "band",
            format!(
                "There are no pressures to ride between: {why}. What is said about reach \
                and blowers has to change first."
            ),
        );
    }
    false
}

/// The end of the assumed numbers that the findings act on; none where they were measured.
fn worst<'a>(said: &Said<'a>) -> Option<&'a WorstEnd> {
    if said.r.pressures.fitted { None } else { said.r.pressures.worst.as_ref() }
}

fn end_words(end: &WorstEnd) -> String {
    format!(
        "at the worst end of the assumed skin stretch ({} % a kPa) and dish radius ({})",
        number(end.skin_stretch * 1.0e5, 1),
        metres(end.dish_radius_m)
    )
}

fn hard_landing(said: &mut Said<'_>) {
    let (r, bag) = (said.r, &said.site.bag);
    let (Some(depth), Some(thickness), Some(hard)) = (
        r.air.after_cut.first().and_then(|moment| moment.hard_depth_m),
        r.pressures.hard_thickness_m,
        r.pressures.hard_speed_mps,
    ) else {
        return;
    };
    let allowed = bag.depth_limit * thickness;
    let what = format!(
        "The hard landing ({} kg, {} into the top, supply just lost)",
        number(said.site.rider.heaviest_kg, 0),
        speed(hard)
    );
    let cure = "More pressure (with the blower for it), a thicker bag, smaller vents, \
            lighter riders or a lower start would change it.";
    if depth >= thickness {
        said.stop(
            "bottoming",
            format!(
                "{what} goes through to the ground: it needs {} of a bag that is {} thick there. {cure}",
                metres(depth),
                metres(thickness)
            ),
        );
    } else if depth > allowed {
        said.stop(
            "bottoming",
            format!(
                "{what} goes {} deep, past the depth limit of {}, of a bag that is {} thick there. {cure}",
                metres(depth),
                metres(allowed),
                metres(thickness)
            ),
        );
    } else {
        said.note(
            "bottoming",
            format!(
                "{what} goes {} deep, {} inside the depth limit of {}.",
                metres(depth),
                metres(allowed - depth),
                metres(allowed)
            ),
        );
    }
}

fn stop_pressure(said: &mut Said<'_>) {
    let (r, bag) = (said.r, &said.site.bag);
    let p = &r.pressures;
    let operating = r.air.operating_pressure_pa;
    let Some(stop) = p.stop_pa else {
        said.stop(
            "stop pressure",
            format!(
                "No pressure up to 20 kPa keeps the hard landing within {} of the bag's \
                thickness. A thicker bag, less vent area, lighter riders or a lower \
                start would change it.",
                percent(bag.depth_limit)
            ),
        );
        return;
    };
    let rule = if p.stop_rule == Some(StopRule::Floor) {
        let alone = match (p.just_taut_is_enough, p.stop_by_depth_pa) {
            (Some(true), _) => " (by depth alone a bag that is just taut would do)".to_owned(),
            (_, Some(depth)) => format!(" ({} by depth alone)", pressure(depth)),
            _ => String::new(),
        };
        format!("set by {} of the maker's lowest pressure{alone}", percent(bag.stop_floor))
    } else {
        "set by how deep the hard landing goes".to_owned()
    };
    match worst(said) {
        Some(end) if end.stop_pa.is_none() => said.stop(
            "stop pressure",
            format!(
                "Stop pressure {} as stated, but {} no pressure up to 20 kPa keeps the \
                hard landing within the depth limit. A drop test that measures both, a \
                thicker bag or a lower start would change it.",
                pressure(stop),
                end_words(end)
            ),
        ),
        Some(end) if end.stop_pa.is_some_and(|worst| worst > operating && stop <= operating) => said.stop(
            "stop pressure",
            format!(
                "The bag settles at {}, under the stop pressure of {} {} ({} as stated, \
                {rule}). A drop test that measures both, more pressure, a thicker bag \
                or a lower start would change it.",
                pressure(operating),
                pressure(end.stop_pa.unwrap_or(stop)),
                end_words(end),
                pressure(stop)
            ),
        ),
        _ if stop > operating => said.stop(
            "stop pressure",
            format!(
                "The bag settles at {}, under the stop pressure of {}, {rule}. More \
                pressure, a thicker bag or a lower start would change it.",
                pressure(operating),
                pressure(stop)
            ),
        ),
        end => {
            let at_worst =
                end.and_then(|end| end.stop_pa).filter(|worst| *worst > stop).map_or_else(String::new, |worst| {
                    format!(" At the worst end of the assumed numbers: {}.", pressure(worst))
                });
            said.note("stop pressure", format!("Nobody rides at or under {}. It is {rule}.{at_worst}", pressure(stop)));
        }
    }
}

fn firm_pressure(said: &mut Said<'_>) {
    let (r, site) = (said.r, said.site);
    let operating = r.air.operating_pressure_pa;
    let limit = load(site.bag.load_limit);
    let light = format!("the lightest rider ({} kg)", number(site.rider.lightest_kg, 0));
    match (r.pressures.firm_limit, r.pressures.firm_pa) {
        (Some("not_kept"), _) => said.stop(
            "firm",
            format!(
                "Too firm at any pressure: even from just taut {light} feels more than \
                {limit} in the hard landing. A lower start, more vent area, or a bag \
                that takes longer to stop a body would change it."
            ),
        ),
        (_, Some(firm)) if operating > firm => said.stop(
            "firm",
            format!(
                "Too firm: the bag settles at {}, over the {} at which {light} still \
                keeps {limit} in the hard landing. Less pressure, more vent area or a \
                lower start would change it.",
                pressure(operating),
                pressure(firm)
            ),
        ),
        (_, Some(firm)) => {
            said.note("firm", format!("Up to {} {light} keeps {limit} in the hard landing.", pressure(firm)))
        }
        _ => said.note(
            "firm",
            format!(
                "The load limit of {limit} does not bound the pressure: {light} keeps it \
                up to 20 kPa, the highest looked at."
            ),
        ),
    }
}

fn band(said: &mut Said<'_>) {
    let (r, bag) = (said.r, &said.site.bag);
    let p = &r.pressures;
    let operating = r.air.operating_pressure_pa;
    let name = |rule: Option<&str>| match rule {
        Some("stop") => "the stop pressure",
        Some("firm") => "the firm pressure",
        Some("pressure_min") => "the maker's lowest",
        Some("pressure_max") => "the maker's highest",
        _ => "no pressure that was found",
    };
    if p.band_is_empty == Some(true) {
        let mut changes: Vec<String> = Vec::new();
        let mut add = |text: &str| changes.push(text.to_owned());
        if p.stop_pa.is_none_or(|stop| stop > bag.pressure_min_pa) {
            add("a thicker bag, a lower start or lighter heaviest riders (they bring the stop pressure down)");
        }
        if p.firm_limit == Some("not_kept") || p.firm_pa.is_some_and(|firm| firm < bag.pressure_max_pa) {
            add("more vent area, a lower start or heavier lightest riders (they bring the firm pressure up)");
        }
        if p.firm_limit != Some("not_kept") && p.stop_pa.is_some_and(|stop| stop > bag.pressure_max_pa) {
            add("a bag whose maker allows more pressure (bag.pressure_max)");
        }
        if p.firm_pa.is_some_and(|firm| firm < bag.pressure_min_pa) {
            add("a bag whose maker allows less pressure (bag.pressure_min)");
        }
        let ends = match (p.stop_pa, p.firm_pa) {
            (Some(stop), Some(firm)) => format!("stop pressure {}, firm pressure {}", pressure(stop), pressure(firm)),
            (Some(stop), None) => format!("stop pressure {}, no firm pressure", pressure(stop)),
            (None, Some(firm)) => format!("no stop pressure, firm pressure {}", pressure(firm)),
            (None, None) => "neither a stop nor a firm pressure".to_owned(),
        };
        said.stop(
            "band",
            format!(
                "The ride band is empty: there is no pressure to ride at ({ends}, \
                maker's range {} to {}). What would have to change: {}.",
                pressure(bag.pressure_min_pa),
                pressure(bag.pressure_max_pa),
                if changes.is_empty() { "the maker's range or the limits stated".to_owned() } else { list(&changes) }
            ),
        );
        return;
    }
    if let (Some(low), Some(high)) = (p.band_low_pa, p.band_high_pa) {
        let band =
            format!("{} ({}) to {} ({})", pressure(low), name(p.band_low_rule), pressure(high), name(p.band_high_rule));
        if operating < low || operating > high {
            let way = if operating < low { "below" } else { "above" };
            said.stop(
                "band",
                format!(
                    "The bag settles at {}, {way} the ride band of {band}. Blowers and \
                    openings that settle it inside would change it.",
                    pressure(operating)
                ),
            );
        } else {
            said.note("band", format!("Ride band: {band}; the bag settles at {}.", pressure(operating)));
        }
    }
}

fn power_loss(said: &mut Said<'_>) {
    let (r, site) = (said.r, said.site);
    let p = &r.pressures;
    let worst = worst(said);
    let own = p.seconds_missing.unwrap_or(0.0);
    let at_worst = worst.and_then(|end| end.seconds_missing).unwrap_or(0.0);
    let acting = worst.filter(|_| at_worst > own);
    let (missing, holds, where_) = match acting {
        Some(end) => (at_worst, end.holds_for_s, format!(" {}", end_words(end))),
        None => (own, p.holds_for_s, String::new()),
    };
    let from = if p.committed_from_start == Some(true) { "start" } else { "last stop line" };
    let needs = p.commitment_s.zip(p.alarm_delay_s).map(|(commitment, alarm)| {
        format!(
            "{} is needed ({} from the {from} to touch-down, {} to the alarm, {} to react)",
            seconds(commitment + alarm + site.rider.reaction_s),
            seconds(commitment),
            seconds(alarm),
            seconds(site.rider.reaction_s)
        )
    });
    let holds_words = holds.map_or_else(|| "longer than 120 s".to_owned(), seconds);
    if p.seconds_missing.is_none() {
        said.stop(
            "power",
            "The time to the alarm after a power cut has no value: without supply \
                sense the alarm waits for the pressure to fall half-way to the stop \
                pressure, and that has no value or is not reached. A box that senses \
                the supply (watch.supply_sense) would change it.",
        );
    } else if missing > 0.0 {
        let stated = if acting.is_some() { format!(" As stated {} are missing.", seconds(own)) } else { String::new() };
        said.stop(
            "power",
            format!(
                "{} are missing after a power cut{where_}: the bag keeps the hard landing within the depth limit for {holds_words}, \
                 and {}. No alarm can protect a rider already past the line.{stated} What would help: {}.",
                seconds(missing),
                needs.unwrap_or_else(|| "more is needed".to_owned()),
                helps(said)
            ),
        );
    } else if needs.is_none() {
        said.note(
            "power",
            format!(
                "After a power cut the bag keeps the hard landing within the depth limit \
                for {holds_words}; the alarm has no time of its own, since the pressure \
                does not fall half-way to the stop pressure."
            ),
        );
    } else if let Some(needs) = needs {
        said.note(
            "power",
            format!(
                "After a power cut the bag keeps the hard landing within the depth limit \
                for {holds_words}{where_}. For a committed rider {needs}."
            ),
        );
    }
    if let Some(count) = p.landings_without_supply {
        let count = if count >= 200 { "At least 200".to_owned() } else { count.to_string() };
        said.note(
            "power",
            format!(
                "Hard landings without supply until one passes the depth limit: {count}. They come one every {}.",
                seconds(site.session.interval_s)
            ),
        );
    }
}

/// What would help a rider past the line.
fn helps(said: &Said<'_>) -> String {
    let (site, p) = (said.site, &said.r.pressures);
    let mut helps: Vec<String> = Vec::new();
    if !site.blower.closing_flap {
        helps.push("closing flaps on the blowers".to_owned());
    }
    helps.push("a second supply that takes over by itself".to_owned());
    helps.push("less leak and vent area".to_owned());
    if !site.watch.supply_sense {
        helps.push("a box that senses the supply".to_owned());
    }
    if p.committed_from_start == Some(true) {
        helps.push("a place to stop on the ride down".to_owned());
    }
    if !p.fitted {
        helps.push("measuring skin stretch and dish radius".to_owned());
    }
    list(&helps)
}

fn wait(said: &mut Said<'_>) {
    let r = said.r;
    let operating = r.air.operating_pressure_pa;
    match r.pressures.wait_pa {
        None => said.stop(
            "wait",
            format!(
                "There is no wait pressure: even from the {} at which the bag settles, a \
                power cut brings it to the stop pressure sooner than a committed rider \
                is down (or there is no stop pressure). What would help: {}.",
                pressure(operating),
                helps(said)
            ),
        ),
        Some(wait) if wait > operating => said.stop(
            "wait",
            format!(
                "No new rider could start: the wait pressure of {} is over the {} at \
                which the bag settles. More pressure or less leak would change it.",
                pressure(wait),
                pressure(operating)
            ),
        ),
        Some(wait) => {
            let loss = r.pressures.power_loss_to_stop_s.map_or_else(
                || "does not come to the stop pressure within the time looked at".to_owned(),
                |s| format!("comes to the stop pressure in {}", seconds(s)),
            );
            said.note(
                "wait",
                format!("No new rider starts below {}. With the power lost the bag {loss}.", pressure(wait)),
            );
        }
    }
}

fn ends(said: &mut Said<'_>) {
    let p = &said.r.pressures;
    if p.fitted {
        return;
    }
    let stops: Vec<f64> = p.ends.iter().filter_map(|end| end.stop_pa).chain(p.stop_pa).collect();
    let span = stops.iter().copied().reduce(f64::min).zip(stops.iter().copied().reduce(f64::max)).map_or_else(
        String::new,
        |(low, high)| {
            format!(
                " The stop pressure lies between {} and {} from one end to the other.",
                pressure(low),
                pressure(high)
            )
        },
    );
    said.caution(
        "assumed",
        format!(
            "Skin stretch and dish radius rule every pressure and time above and are \
            assumed, not measured on this bag, so that findings act on the worst \
            end.{span} A drop test and a timed deflation, then bag.fitted = true, \
            would change it."
        ),
    );
}
