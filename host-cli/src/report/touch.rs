//! The touch-down over time: depth, load, pressure.

use super::chart::{Anchor, Axis, Chart, Frame};
use super::sheet::Sheet;
use super::words::{fixed, maybe};
use super::{Picture, Table};

const TITLE: &str = "Touch-down";

/// The picture.
pub fn draw(sheet: &Sheet<'_>) -> Picture {
    let (Some(done), Some(last)) = (&sheet.results.touchdown, sheet.touchdown.last()) else {
        return Picture::none(
            "touch",
            TITLE,
            "Nothing to draw: the mean landing is not on the bag, or the blowers do not lift its skin.",
        );
    };
    let across = || Axis::new(0.0, last[0], "");
    let series = |which: usize| -> Vec<(f64, f64)> { sheet.touchdown.iter().map(|p| (p[0], p[which])).collect() };
    let most = |which: usize| sheet.touchdown.iter().map(|p| p[which]).fold(0.0, f64::max);
    let frame = Frame { left: 58.0, top: 30.0, right: 426.0, bottom: 170.0 };
    // Depth is drawn downwards: 0 is the skin as it lies.
    let mut depth = Chart::new(frame, across(), Axis::new(-1.04 * done.thickness_m, 0.0, "depth, m (skin at 0)"));
    let down: Vec<(f64, f64)> = series(1).iter().map(|(t, x)| (*t, -x)).collect();
    depth.line("depth", "depth", &down);
    let thick = format!("ground, {} m down", fixed(done.thickness_m, 2));
    depth.level("ground-line", "ground", -done.thickness_m, Anchor::End, &thick);
    let limit = sheet.site.bag.depth_limit * done.thickness_m;
    depth.level("limit", "depth limit", -limit, Anchor::End, &format!("depth limit {} m", fixed(limit, 2)));
    let frame = Frame { top: 222.0, bottom: 332.0, ..frame };
    let mut load = Chart::new(frame, across(), Axis::from_zero(most(2), "load, g"));
    load.line("load", "load", &series(2));
    let frame = Frame { top: 384.0, bottom: 494.0, ..frame };
    let mut axis = across();
    axis.label = "s after contact".to_owned();
    let mut pressure = Chart::new(frame, axis, Axis::from_zero(most(3), "pressure, Pa"));
    pressure.line("given", "pressure", &series(3));

    let mut picture = Picture::new("touch", TITLE);
    picture.words = format!(
        "The mean landing at the operating pressure goes {} m deep of {} m ({} m are left), with at most {} g and {} Pa, and is deepest after {} s. ",
        fixed(done.depth_m, 2),
        fixed(done.thickness_m, 2),
        fixed(done.clearance_m, 2),
        fixed(done.felt_load_g, 2),
        fixed(done.peak_pressure_pa, 0),
        fixed(done.time_to_deepest_s, 2),
    );
    match (done.ground_speed_mps, done.rebound_mps) {
        (Some(speed), _) => picture.words.push_str(&format!("It meets the ground at {} m/s.", fixed(speed, 2))),
        (None, Some(rebound)) => picture.words.push_str(&format!(
            "It leaves the skin again at {} m/s, and the pressure is back after {} s.",
            fixed(rebound, 2),
            maybe(done.recovery_s, 1)
        )),
        _ => {}
    }
    let mut table = Table::new("The mean landing over time", &["time s", "depth m", "load g", "pressure Pa"]);
    let every = (sheet.touchdown.len() / 14).max(1);
    let end = sheet.touchdown.len() - 1;
    for (i, [t, x, g, p]) in sheet.touchdown.iter().enumerate() {
        if i % every == 0 || i == end {
            table.row([fixed(*t, 3), fixed(*x, 3), fixed(*g, 2), fixed(*p, 0)]);
        }
    }
    let mut lines = Table::new("Lines across", &["line", "depth m"]);
    lines.row(["depth limit".to_owned(), fixed(limit, 3)]);
    lines.row(["ground (the bag's thickness there)".to_owned(), fixed(done.thickness_m, 3)]);
    picture.tables = vec![table, lines];
    picture.drawn(440.0, 538.0, [depth.done(), load.done(), pressure.done()])
}
