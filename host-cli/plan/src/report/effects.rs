//! How far the usual scatter of each input moves the landing.

use super::chart::{Anchor, Axis, Chart, Frame};
use super::sheet::Sheet;
use super::words::{input, long, number_in, titled, usual};
use super::{Picture, Table};
use crate::shown::{Shown, Toward};
use crate::site::Dimension;
use landfall_core::inputs::Uncertain;

const TITLE: &str = "What moves the landing";
const ROW: f64 = 36.0;

/// The picture.
pub fn draw(sheet: &Sheet<'_>) -> Picture {
    let Some(spread) = sheet.results.spread.differences.as_ref() else {
        return Picture::none(
            "effects",
            TITLE,
            "Nothing to draw: a run about the site's values does not reach the bag's plane.",
        );
    };
    let u = Shown::of(sheet.site);
    let uncertainty = &sheet.model.uncertainty;
    let of = |list: &std::collections::BTreeMap<&'static str, f64>, which: Uncertain| {
        list.get(which.name()).copied().unwrap_or(0.0)
    };
    let mut rows: Vec<(Uncertain, f64, f64)> = Uncertain::ALL
        .iter()
        .map(|which| (*which, of(&spread.one_sd_along_m, *which), of(&spread.one_sd_across_m, *which)))
        .collect();
    rows.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
    let most = rows.iter().map(|row| row.1.abs().max(row.2.abs())).fold(0.1, f64::max);
    let bottom = 30.0 + ROW * rows.len() as f64;
    let frame = Frame { left: 140.0, top: 26.0, right: 426.0, bottom };
    // Room for the figures beyond the bars.
    let reach = 1.7 * most;
    let mut chart = Chart::bare(frame, Axis::new(-reach, reach, ""), Axis::new(0.0, rows.len() as f64, ""));
    let zero = chart.x_px(0.0);
    chart.line_px("axis", [zero, frame.top, zero, frame.bottom]);
    for (i, (which, along, across)) in rows.iter().enumerate() {
        let y = rows.len() as f64 - i as f64 - 0.5;
        let at = chart.y_px(y);
        let sd =
            usual(u, *which, f64::from(uncertainty.sd[*which as usize]), f64::from(uncertainty.mean[*which as usize]));
        chart.text(frame.left - 8.0, at - 2.0, Anchor::End, "tick", input(*which));
        chart.text(frame.left - 8.0, at + 15.0, Anchor::End, "small", format!("+{sd}"));
        for (name, class, value, low) in [("along", "bar-along", along, 0.02), ("across", "bar-across", across, -0.38)]
        {
            chart.rect(class, &format!("{name} {}", which.name()), (0.0, y + low), (*value, y + low + 0.36));
            if value.abs() >= if u.is_imperial() { 0.013 } else { 0.005 } {
                let down = chart.y_px(y + low + 0.18) + 4.0;
                let (x, anchor) = if *value < 0.0 {
                    (chart.x_px(*value) - 4.0, Anchor::End)
                } else {
                    (chart.x_px(*value) + 4.0, Anchor::Start)
                };
                // In feet a whole inch is as much as a centimetre means here.
                let text = if u.is_imperial() {
                    u.small((value / 0.0254).round() * 0.0254, Toward::Nearest)
                } else {
                    long(u, *value)
                };
                chart.text(x, down, anchor, "small", text.replace('-', "−"));
            }
        }
    }
    let mut picture = Picture::new("effects", TITLE);
    let first = rows.first().copied().unwrap_or((Uncertain::LipSpeed, 0.0, 0.0));
    picture.words = format!(
        "How far the landing moves when one thing alone is more by its usual scatter, within which two tries in three stay. {} moves it most along the bag: {} either way.",
        capital(input(first.0)),
        long(u, first.1.abs()),
    );
    picture.legend = vec![
        ("bar-along", "along: farther is positive".to_owned()),
        ("bar-across", "across: to the left is positive".to_owned()),
    ];
    let [along, across] = ["along", "across"].map(|what| titled(u, Dimension::Length, what));
    let mut table = Table::new("With the usual scatter more of one", &["what", "usual scatter", &along, &across]);
    for (which, along, across) in &rows {
        let sd =
            usual(u, *which, f64::from(uncertainty.sd[*which as usize]), f64::from(uncertainty.mean[*which as usize]));
        let moved = |m: f64| number_in(u, Dimension::Length, m, 1);
        table.row([input(*which).to_owned(), sd, moved(*along), moved(*across)]);
    }
    picture.tables = vec![table];
    picture.drawn(440.0, bottom + 10.0, [chart.done()])
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}
