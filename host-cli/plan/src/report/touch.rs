//! The touch-down over time: depth, load, pressure.

use super::chart::{Anchor, Axis, Chart, Frame};
use super::sheet::Sheet;
use super::words::{fixed, gauge, long, maybe, number_in, titled};
use super::{Picture, Table};
use crate::shown::{Shown, Toward};
use crate::site::Dimension;

const TITLE: &str = "Touch-down";

/// The picture.
pub fn draw(sheet: &Sheet<'_>) -> Picture {
    let (Some(done), Some(last)) = (sheet.results.touchdown.as_ref(), sheet.touchdown.last()) else {
        return Picture::none(
            "touch",
            TITLE,
            "Nothing to draw: the mean landing is not on the bag, or the blowers do not lift its skin.",
        );
    };
    let u = Shown::of(sheet.site);
    let across = || Axis::new(0.0, last[0], "");
    let series = |which: usize| -> Vec<(f64, f64)> { sheet.touchdown.iter().map(|p| (p[0], p[which])).collect() };
    let most = |which: usize| sheet.touchdown.iter().map(|p| p[which]).fold(0.0, f64::max);
    let frame = Frame { left: 58.0, top: 30.0, right: 426.0, bottom: 150.0 };
    // Depth is drawn downwards: 0 is the skin as it lies.
    let mut depth =
        Chart::new(frame, across(), Axis::of(u, Dimension::Length, -1.04 * done.thickness_m, 0.0, "skin at 0, depth"));
    let down: Vec<(f64, f64)> = series(1).iter().map(|(t, x)| (*t, -x)).collect();
    depth.line("depth", "depth", &down);
    let thick = format!("ground, {} down", long(u, done.thickness_m));
    depth.level("ground-line", "ground", -done.thickness_m, Anchor::End, &thick);
    let limit = sheet.site.bag.depth_limit * done.thickness_m;
    depth.level("limit", "depth limit", -limit, Anchor::End, &format!("depth limit {}", u.length(limit, Toward::Down)));
    let frame = Frame { top: 202.0, bottom: 292.0, ..frame };
    let mut load = Chart::new(frame, across(), Axis::from_zero(most(2), "load, g"));
    load.line("load", "load", &series(2));
    let frame = Frame { top: 344.0, bottom: 434.0, ..frame };
    let mut axis = across();
    axis.label = "s after contact".to_owned();
    let mut pressure = Chart::new(frame, axis, Axis::of(u, Dimension::Pressure, 0.0, 1.06 * most(3), "pressure"));
    pressure.line("given", "pressure", &series(3));

    let mut picture = Picture::new("touch", TITLE);
    picture.words = format!(
        "The mean landing at the operating pressure goes {} deep of {} ({} are left), with at most {} g and {}, and is deepest after {} s. ",
        u.length(done.depth_m, Toward::Up),
        long(u, done.thickness_m),
        u.length(done.clearance_m, Toward::Down),
        fixed(done.felt_load_g, 1),
        gauge(u, done.peak_pressure_pa),
        fixed(done.time_to_deepest_s, 2),
    );
    match (done.ground_speed_mps.get(), done.rebound_mps.get()) {
        (Some(speed), _) => {
            picture.words.push_str(&format!("It meets the ground at {}.", u.fine_speed(speed, Toward::Up)))
        }
        (None, _) if done.sinks_on_mps.get().is_some() => {
            let speed = done.sinks_on_mps.get().map_or_else(String::new, |speed| u.fine_speed(speed, Toward::Up));
            picture.words.push_str(&format!("Then it sinks on to the ground, at {speed}."));
        }
        (None, Some(rebound)) => picture.words.push_str(&format!(
            "It leaves the skin again at {}, and the pressure is back after {} s.",
            u.fine_speed(rebound, Toward::Nearest),
            maybe(done.recovery_s.get(), 1)
        )),
        _ => {}
    }
    let (depth_head, pressure_head) =
        (titled(u, Dimension::Length, "depth"), titled(u, Dimension::Pressure, "pressure"));
    let head = ["time, s", &depth_head, "load, g", &pressure_head];
    let mut table = Table::new("The mean landing over time", &head);
    let every = (sheet.touchdown.len() / 14).max(1);
    let end = sheet.touchdown.len() - 1;
    for (i, [t, x, g, p]) in sheet.touchdown.iter().enumerate() {
        if i % every == 0 || i == end {
            table.row([
                fixed(*t, 3),
                number_in(u, Dimension::Length, *x, 1),
                fixed(*g, 2),
                number_in(u, Dimension::Pressure, *p, 1),
            ]);
        }
    }
    let mut lines = Table::new("Lines across", &["line", &depth_head]);
    lines.row(["depth limit".to_owned(), number_in(u, Dimension::Length, limit, 1)]);
    lines.row(["ground (the bag's thickness there)".to_owned(), number_in(u, Dimension::Length, done.thickness_m, 1)]);
    picture.tables = vec![table, lines];
    picture.drawn(440.0, 478.0, [depth.done(), load.done(), pressure.done()])
}
