//! What the spread comes from.

use super::chart::{Anchor, Axis, Chart, Frame};
use super::sheet::Sheet;
use super::words::{fixed, input};
use super::{Picture, Table};
use crate::shown::{Shown, Toward};
use landfall_core::inputs::Uncertain;

const TITLE: &str = "What the spread comes from";
const ROW: f64 = 36.0;

/// The picture.
pub fn draw(sheet: &Sheet<'_>) -> Picture {
    let Some(spread) = sheet.results.spread.differences.as_ref() else {
        return Picture::none(
            "shares",
            TITLE,
            "Nothing to draw: a run about the site's values does not reach the bag's plane.",
        );
    };
    let share = |of: &std::collections::BTreeMap<&'static str, f64>, which: Uncertain| {
        100.0 * of.get(which.name()).copied().unwrap_or(0.0)
    };
    let mut rows: Vec<(Uncertain, f64, f64)> = Uncertain::ALL
        .iter()
        .map(|which| (*which, share(&spread.shares_along, *which), share(&spread.shares_across, *which)))
        .collect();
    rows.sort_by(|a, b| b.1.total_cmp(&a.1));
    let bottom = 30.0 + ROW * rows.len() as f64;
    let frame = Frame { left: 140.0, top: 26.0, right: 398.0, bottom };
    let most = rows.iter().map(|row| row.1.max(row.2)).fold(10.0, f64::max);
    let mut chart = Chart::bare(frame, Axis::from_zero(most, ""), Axis::new(0.0, rows.len() as f64, ""));
    chart.line_px("axis", [frame.left, frame.top, frame.left, frame.bottom]);
    for (i, (which, along, across)) in rows.iter().enumerate() {
        let y = rows.len() as f64 - i as f64 - 0.5;
        let at = chart.y_px(y);
        chart.text(frame.left - 8.0, at + 5.0, Anchor::End, "tick", input(*which));
        for (name, class, value, low) in [("along", "bar-along", along, 0.02), ("across", "bar-across", across, -0.38)]
        {
            chart.rect(class, &format!("{name} {}", which.name()), (0.0, y + low), (*value, y + low + 0.36));
            if *value >= 0.5 {
                let down = chart.y_px(y + low + 0.18) + 4.0;
                let x = chart.x_px(*value) + 4.0;
                chart.text(x, down, Anchor::Start, "small", format!("{} %", fixed(*value, 0)));
            }
        }
    }
    let u = Shown::of(sheet.site);
    let mut picture = Picture::new("shares", TITLE);
    let named = |of: fn(&(Uncertain, f64, f64)) -> f64| {
        let mut list = rows.clone();
        list.sort_by(|a, b| of(b).total_cmp(&of(a)));
        let first: Vec<String> =
            list.iter().take(3).map(|row| format!("{} ({} %)", input(row.0), fixed(of(row), 0))).collect();
        first.join(", ")
    };
    picture.words = format!(
        "Two landings in three come down within {} of the middle along the bag, and within {} across. Along it comes mostly from {}; across from {}. What stands first is worth steadying first.",
        u.length(spread.sd_along_m, Toward::Up),
        u.length(spread.sd_across_m, Toward::Up),
        named(|row| row.1),
        named(|row| row.2),
    );
    picture.legend = vec![
        ("bar-along", "share of the scatter along".to_owned()),
        ("bar-across", "share of the scatter across".to_owned()),
    ];
    let mut table = Table::new("Shares of the scatter (of its square)", &["input", "along, %", "across, %"]);
    for (which, along, across) in &rows {
        table.row([input(*which).to_owned(), fixed(*along, 1), fixed(*across, 1)]);
    }
    picture.tables = vec![table];
    picture.drawn(440.0, bottom + 10.0, [chart.done()])
}
