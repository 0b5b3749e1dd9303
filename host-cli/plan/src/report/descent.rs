//! Speed and load along the ride down.

use super::chart::{Anchor, Axis, Chart, Frame};
use super::sheet::Sheet;
use super::words::{fixed, long, maybe, number_in, titled};
use super::{Picture, Table};
use crate::shown::{Shown, Toward};
use crate::site::Dimension;

const TITLE: &str = "Speed and load on the ride down";

/// The picture.
pub fn draw(sheet: &Sheet<'_>) -> Picture {
    let (Some(first), Some(last)) = (sheet.ride.first(), sheet.ride.last()) else {
        return Picture::none("descent", TITLE, "Nothing to draw: there is no ride.");
    };
    let (r, u) = (sheet.results, Shown::of(sheet.site));
    let across = |what: &str| Axis::of(u, Dimension::Length, -first.before_foot_m, -last.before_foot_m, what);
    let most = |of: fn(&super::sheet::RideMark) -> f64| sheet.ride.iter().map(of).fold(0.0, f64::max);
    let limit = sheet.site.rider.arc_load_limit;
    let frame = Frame { left: 50.0, top: 30.0, right: 426.0, bottom: 170.0 };
    let mut speed =
        Chart::new(frame, across(""), Axis::of(u, Dimension::Speed, 0.0, 1.06 * most(|m| m.speed_mps), "speed"));
    let frame = Frame { top: 224.0, bottom: 364.0, ..frame };
    let axis = across("along the surface from the take-off's foot");
    let mut load = Chart::new(frame, axis, Axis::from_zero(most(|m| m.load_g).max(limit), "load, g"));

    let series = |of: fn(&super::sheet::RideMark) -> f64| -> Vec<(f64, f64)> {
        sheet.ride.iter().map(|m| (-m.before_foot_m, of(m))).collect()
    };
    speed.line("speed", "speed", &series(|m| m.speed_mps));
    load.line("load", "load", &series(|m| m.load_g));
    load.level("limit", "caution above", limit, Anchor::Start, &format!("caution above {} g", fixed(limit, 1)));
    speed.upright("thin", "foot", 0.0, 110.0, "foot");
    load.line("thin", "foot", &[(0.0, 0.0), (0.0, 1.06 * most(|m| m.load_g).max(limit))]);
    if let Some(line_m) = r.placement.last_stop_before_foot_m.get() {
        speed.upright("stop-line", "last stop line", -line_m, 110.0, "last stop line");
    }

    let mut picture = Picture::new("descent", TITLE);
    picture.words = match (r.ride.lip_speed_mps.get(), r.ride.stall.get(), r.ride.leaves_surface.get()) {
        (Some(v), ..) => format!(
            "The mean rider leaves the take-off at {} after {} s. Highest load {} g, {}.",
            u.fine_speed(v, Toward::Nearest),
            maybe(r.ride.time_to_lip_s.get(), 2),
            maybe(Some(r.ride.peak_load_g), 2),
            match r.ride.peak_load_before_foot_m {
                m if m.abs() < 0.005 => "at the take-off's foot".to_owned(),
                m if m > 0.0 => format!("{} before the take-off's foot", long(u, m)),
                m => format!("on the take-off, {} past its foot", long(u, -m)),
            },
        ),
        (_, Some(at), _) => {
            format!(
                "The ride comes to rest {} before the take-off's foot and does not reach the lip.",
                long(u, at.before_foot_m)
            )
        }
        (.., Some(at)) => format!(
            "The bike leaves the surface {} before the take-off's foot at {}; no flight follows.",
            long(u, at.before_foot_m),
            u.fine_speed(at.speed_mps, Toward::Nearest)
        ),
        _ => "The ride does not reach the lip.".to_owned(),
    };
    picture.tables = vec![table(sheet), lines(sheet)];
    picture.drawn(440.0, 408.0, [speed.done(), load.done()])
}

fn table(sheet: &Sheet<'_>) -> Table {
    let u = Shown::of(sheet.site);
    let [from, high] = ["from the foot", "centre of mass"].map(|what| titled(u, Dimension::Length, what));
    let speed = titled(u, Dimension::Speed, "speed");
    let mut table = Table::new("The mean rider on the ride down", &[&from, &high, &speed, "load, g", "time, s"]);
    let every = (sheet.ride.len() / 14).max(1);
    let last = sheet.ride.len() - 1;
    for (i, mark) in sheet.ride.iter().enumerate() {
        if i % every == 0 || i == last {
            table.row([
                number_in(u, Dimension::Length, -mark.before_foot_m, 0),
                number_in(u, Dimension::Length, mark.mass_z_m, 0),
                number_in(u, Dimension::Speed, mark.speed_mps, 0),
                fixed(mark.load_g, 2),
                fixed(mark.time_s, 2),
            ]);
        }
    }
    table
}

fn lines(sheet: &Sheet<'_>) -> Table {
    let u = Shown::of(sheet.site);
    let before = titled(u, Dimension::Length, "before the foot");
    let mut table = Table::new(
        "Last stop line, by braking force over load (assumed, and ruling the answer)",
        &["braking", &before, "from there to touch-down, s"],
    );
    for line in &sheet.results.placement.stop_lines {
        let before =
            line.before_foot_m.get().map_or_else(|| "none".to_owned(), |m| number_in(u, Dimension::Length, m, 0));
        table.row([fixed(line.braking, 2), before, maybe(line.to_touchdown_s.get(), 2)]);
    }
    table
}
