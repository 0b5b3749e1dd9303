//! Findings about the air supply and the mean landing.

use super::Said;
use crate::plan::results::{About, Level};
use crate::plan::words::{flow, load, metres, percent, pressure, seconds, speed};
use crate::shown::Toward;
use landfall_core::supply::RangeStatus;

pub fn say(said: &mut Said<'_>) {
    range(said);
    openings(said);
    filling(said);
}

/// What is said of the mean landing.
pub fn landing(said: &mut Said<'_>) {
    mean_landing(said);
    recovery(said);
}

/// The operating pressure against the maker's range.
fn range(said: &mut Said<'_>) {
    let u = said.shown();
    let (air, bag) = (&said.r.air, &said.site.bag);
    let now = pressure(u, air.operating_pressure_pa);
    let maker =
        format!("the maker's range of {} to {}", pressure(u, bag.pressure_min_pa), pressure(u, bag.pressure_max_pa));
    let need = format!(
        "the blowers together must deliver {} at {} in the bag to sit mid-range ({} at {now} now)",
        flow(u, air.needed_flow_m3ps),
        pressure(u, air.needed_pressure_pa),
        flow(u, air.operating_flow_m3ps)
    );
    match air.status {
        RangeStatus::Low => {
            said.stop(
                About::Pressure,
                "pressure.low",
                format!(
                    "The bag settles at {now}, {} below {maker}. More blower or less open \
                    area would change it.",
                    pressure(u, -air.above_min_pa)
                ),
            );
            said.stop(
                About::Blower,
                "blower.weak",
                format!(
                    "The air supply is too weak: {need}. A stronger or another blower, a \
                    shorter or wider duct, or less vent and leak would change it."
                ),
            );
        }
        RangeStatus::High => said.stop(
            About::Pressure,
            "pressure.high",
            format!(
                "The bag settles at {now}, {} above {maker}. Slower blowers, or vents \
                and relief flaps that open more, would change it; {need}.",
                pressure(u, -air.below_max_pa)
            ),
        ),
        _ => said.note(
            About::Pressure,
            "pressure",
            format!(
                "The bag settles at {now}, inside {maker}: {} above the low end and {} \
                        under the high end. Mid-range takes {} at {}.",
                pressure(u, air.above_min_pa),
                pressure(u, air.below_max_pa),
                flow(u, air.needed_flow_m3ps),
                pressure(u, air.needed_pressure_pa)
            ),
        ),
    }
    if air.after_cut.is_empty() {
        said.stop(
            About::Blower,
            "blower.skin",
            format!(
                "The blowers do not lift the bag's own skin: {now} in the bag. No \
                landing on it can be computed; a stronger blower or less open area \
                would change it."
            ),
        );
    }
}

fn openings(said: &mut Said<'_>) {
    let u = said.shown();
    let air = &said.r.air;
    if air.at_shut_off {
        said.caution(
            About::Openings,
            "openings.none",
            format!(
                "Nothing is open: no vent, flap or leak is stated, so that the bag \
                settles at the blowers' shut-off pressure of {}. Every bag leaks: state \
                bag.leak_coefficient (a timed deflation gives it), or the vents.",
                pressure(u, air.operating_pressure_pa)
            ),
        );
    }
}

fn filling(said: &mut Said<'_>) {
    let air = &said.r.air;
    match air.fill_time_s.get() {
        Some(time) => said.note(
            About::Filling,
            "filling",
            format!("From empty to 95 % of the operating pressure takes {}.", seconds(time)),
        ),
        None => said.caution(
            About::Filling,
            "filling",
            "The time to fill has no value: 95 % of the operating pressure is not \
                reached within the time looked at. A stronger blower or less open area \
                would change it.",
        ),
    }
}

fn mean_landing(said: &mut Said<'_>) {
    let u = said.shown();
    let (r, bag) = (said.r, &said.site.bag);
    let Some(landing) = r.touchdown.as_ref() else {
        return;
    };
    let allowed = bag.depth_limit * landing.thickness_m;
    let uses = format!("{} of {}", metres(u, landing.depth_m), metres(u, landing.thickness_m));
    if let Some(left) = landing.ground_speed_mps.get() {
        let fall = landing.ground_fall_height_m.get().unwrap_or(left * left / (2.0 * 9.80665));
        said.stop(
            About::Depth,
            "depth.ground",
            format!(
                "The mean rider meets the ground through the bag with {} left, like a \
                fall of {} onto it. More pressure (with the blower for it), a thicker \
                bag, smaller vents or a lower start would change it.",
                speed(u, left),
                metres(u, fall)
            ),
        );
    } else if let Some(sinks) = landing.sinks_on_mps.get() {
        said.stop(
            About::Depth, "depth.sinks",
            format!(
                "The mean landing comes to rest {uses} deep, but the bag does not carry the rider: who stays in it sinks on \
                 to the ground, at {}. More pressure (with the blower for it) would change it.",
                speed(u, sinks)
            ),
        );
    } else if landing.depth_m > allowed {
        said.stop(
            About::Depth,
            "depth",
            format!(
                "The mean landing goes {uses} deep, past the depth limit of {} ({}); {} \
                are left. More pressure, a thicker bag or a lower start would change it.",
                metres(u, allowed),
                percent(bag.depth_limit),
                metres(u, landing.clearance_m)
            ),
        );
    } else {
        said.note(
            About::Depth,
            "depth",
            format!(
                "The mean landing goes {uses} deep: {} left above the ground, depth limit {}.",
                metres(u, landing.clearance_m),
                metres(u, allowed)
            ),
        );
    }
    if landing.felt_load_g > bag.load_limit {
        let (level, limit, key) = if landing.felt_load_g > bag.load_stop {
            (Level::Stop, bag.load_stop, "bag.load_stop")
        } else {
            (Level::Caution, bag.load_limit, "bag.load_limit")
        };
        let text = format!(
            "The mean landing is felt as {}, over the limit of {} ({key}). Less pressure, more vent area or a lower start \
             would change it.",
            load(landing.felt_load_g),
            load(limit)
        );
        said.say(level, About::Felt, "felt", text).with("touchdown.felt_load_g", landing.felt_load_g).with(key, limit);
    } else {
        said.note(
            About::Felt,
            "felt",
            format!("The mean landing is felt as {}, limit {}.", load(landing.felt_load_g), load(bag.load_limit)),
        );
    }
}

fn recovery(said: &mut Said<'_>) {
    let u = said.shown();
    let (r, interval) = (said.r, said.site.session.interval_s);
    let Some(landing) = r.touchdown.as_ref() else {
        return;
    };
    let was = pressure(u, r.air.operating_pressure_pa);
    match landing.recovery_s.get() {
        Some(time) if time > interval => said.stop(
            About::Recovery,
            "recovery.interval",
            format!(
                "After a landing the bag needs {} to 99 % of {was}, which it was at before, \
                longer than the {} between riders. A longer session.interval or smaller \
                vents would change it; more blower too, though the bag is then firmer, and \
                has further to go.",
                seconds(time),
                seconds(interval)
            ),
        ),
        Some(time) => said.note(
            About::Recovery,
            "recovery",
            format!(
                "After a landing the bag needs {} to 99 % of {was}, which it was at before; \
                riders start {} apart.",
                seconds(time),
                seconds(interval)
            ),
        ),
        // What a bag with a body on the ground does is not known; that the ground is met is said already.
        None if landing.ground_speed_mps.get().is_some() => {}
        None => said.stop(
            About::Recovery,
            "recovery.never",
            format!(
                "After a landing the bag does not come back to 99 % of {was}, which it was \
                at before, in the time looked at (riders start {} apart, and {} are lost). A \
                stronger blower or less open area would change it.",
                seconds(interval),
                u.volume(landing.gas_lost_m3, Toward::Nearest)
            ),
        ),
    }
}
