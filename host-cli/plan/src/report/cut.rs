//! Pressure after a power cut, against the time that a rider needs.

use super::chart::{Anchor, Axis, Chart, Frame};
use super::sheet::Sheet;
use super::words::{fixed, long, maybe, maybe_in, number_in, titled};
use super::{Picture, Table};
use crate::shown::{Shown, Toward};
use crate::site::Dimension;

const TITLE: &str = "After a power cut";

/// The picture.
pub fn draw(sheet: &Sheet<'_>) -> Picture {
    let (air, p, bag) = (&sheet.results.air, &sheet.results.pressures, &sheet.site.bag);
    let Some(last) = air.after_cut.last() else {
        return Picture::none("cut", TITLE, "Nothing to draw: the blowers do not lift the bag's skin.");
    };
    let u = Shown::of(sheet.site);
    let across = || Axis::new(0.0, last.time_s, "");
    let frame = Frame { left: 58.0, top: 30.0, right: 426.0, bottom: 170.0 };
    let full = air.after_cut.iter().map(|m| m.pressure_pa).fold(0.0, f64::max);
    // A stop pressure above what the blowers hold is shown too, unless it is out of all proportion.
    let high = 1.06 * full;
    let mut pressure = Chart::new(frame, across(), Axis::of(u, Dimension::Pressure, 0.0, high, "pressure"));
    let series: Vec<(f64, f64)> = air.after_cut.iter().map(|m| (m.time_s, m.pressure_pa)).collect();
    let needed = needed_s(sheet);
    if let Some(needed) = needed.filter(|needed| *needed < last.time_s) {
        pressure.rect("needed-area", "time needed", (0.0, 0.0), (needed, high));
        pressure.upright("needed-line", "time needed", needed, 0.0, &format!("needed: {} s", fixed(needed, 1)));
    }
    pressure.line("given", "pressure", &series);
    let off = sheet.results.ride_by.first().and_then(|by| by.everybody_off_under_pa.get());
    if let Some(stop) = off.or(p.stop_pa.get()).filter(|stop| (0.0..=high).contains(stop)) {
        let what = if off.is_some() { "everybody off" } else { "stop" };
        let text = format!("{what} {}", u.pressure(stop, Toward::Up));
        pressure.level("limit", "stop", stop, Anchor::End, &text);
    }

    let depths: Vec<(f64, f64)> =
        air.after_cut.iter().filter_map(|m| Some((m.time_s, m.hard_depth_m.get()?))).collect();
    let mut parts = vec![];
    let mut height = 214.0;
    if let Some(thickness) = p.hard_thickness_m.get().filter(|_| !depths.is_empty()) {
        let frame = Frame { top: 224.0, bottom: 354.0, ..frame };
        let deepest = depths.iter().map(|d| d.1).fold(thickness, f64::max).min(2.0 * thickness);
        let mut axis = across();
        axis.label = "s after the cut".to_owned();
        let mut depth =
            Chart::new(frame, axis, Axis::of(u, Dimension::Length, 0.0, 1.06 * deepest, "depth of a hard landing"));
        let inside: Vec<(f64, f64)> = depths.iter().copied().filter(|d| d.1 <= 1.06 * deepest).collect();
        if let Some(needed) = needed.filter(|needed| *needed < last.time_s) {
            depth.rect("needed-area", "time needed", (0.0, 0.0), (needed, 1.06 * deepest));
        }
        depth.line("load", "depth", &inside);
        depth.level("ground-line", "thickness", thickness, Anchor::Start, &format!("ground, {}", long(u, thickness)));
        let limit = bag.depth_limit * thickness;
        depth.level(
            "limit",
            "depth limit",
            limit,
            Anchor::End,
            &format!("depth limit {}", u.length(limit, Toward::Down)),
        );
        parts.push(depth.done());
        height = 398.0;
    }
    parts.insert(0, pressure.done());

    let mut picture = Picture::new("cut", TITLE);
    picture.words = words(sheet, needed);
    let pressure_head = titled(u, Dimension::Pressure, "pressure");
    let depth_head = titled(u, Dimension::Length, "depth of a hard landing");
    let mut table = Table::new("After the cut", &["time, s", &pressure_head, &depth_head]);
    for moment in air.after_cut.iter().step_by(2) {
        table.row([
            fixed(moment.time_s, 2),
            number_in(u, Dimension::Pressure, moment.pressure_pa, 1),
            maybe_in(u, Dimension::Length, moment.hard_depth_m.get(), 0),
        ]);
    }
    let mut times = Table::new("Times", &["time", "s"]);
    for (name, value) in [
        ("from the cut to the stop pressure", p.stated.as_ref().and_then(|stated| stated.power_loss_to_stop_s.get())),
        ("until a hard landing passes the depth limit (–: not within 120 s)", p.holds_for_s.get()),
        ("the same in all but 5 of 100 bags that fit what is known", p.holds_for_p05_s.get()),
        ("commitment: last stop line, or start, to touch-down", p.commitment_s.get()),
        ("alarm delay", p.alarm_delay_s.get()),
        ("rider's reaction (assumed unless stated)", Some(sheet.site.rider.reaction_s)),
        ("needed in all", needed),
        ("missing", p.seconds_missing.get()),
    ] {
        times.row([name.to_owned(), maybe(value, 2)]);
    }
    let mut lines = Table::new("Lines across", &["line", "value"]);
    lines.row([
        titled(u, Dimension::Pressure, if off.is_some() { "everybody off" } else { "stop pressure" }),
        maybe_in(u, Dimension::Pressure, off.or(p.stop_pa.get()).filter(|stop| *stop > 0.0), 1),
    ]);
    for (what, depth_m) in [
        ("depth limit of the hard landing", p.hard_thickness_m.get().map(|t| bag.depth_limit * t)),
        ("ground", p.hard_thickness_m.get()),
    ] {
        lines.row([titled(u, Dimension::Length, what), maybe_in(u, Dimension::Length, depth_m, 0)]);
    }
    picture.tables = vec![times, table, lines];
    picture.drawn(440.0, height, parts)
}

/// Commitment, alarm delay and reaction together.
pub fn needed_s(sheet: &Sheet<'_>) -> Option<f64> {
    let p = &sheet.results.pressures;
    p.needed_s.get()
}

fn words(sheet: &Sheet<'_>, needed: Option<f64>) -> String {
    let p = &sheet.results.pressures;
    let mut text = String::new();
    if let Some(needed) = needed {
        text.push_str(&format!(
            "A rider past the last stop line needs {} s (commitment, alarm, reaction). ",
            fixed(needed, 1)
        ));
    }
    match (p.holds_for_s.get(), p.seconds_missing.get()) {
        (holds, Some(missing)) if missing > 0.0 => text.push_str(&format!(
            "The bag holds a hard landing for {} s: {} s are missing, and no alarm can make them up.",
            maybe(holds, 1),
            fixed(missing, 1)
        )),
        (Some(holds), Some(_)) => {
            text.push_str(&format!("The bag holds a hard landing for {} s: longer than needed.", fixed(holds, 1)));
        }
        (None, Some(_)) => text.push_str("The bag holds a hard landing for the two minutes looked at."),
        _ => text.push_str("What a rider needs, or how long the bag holds, is not known."),
    }
    if let Some(count) = p.landings_without_supply.get() {
        let many = if count >= 200 { "200 or more".to_owned() } else { count.to_string() };
        text.push_str(&format!(" Hard landings without supply until one passes the depth limit: {many}."));
    }
    text
}
