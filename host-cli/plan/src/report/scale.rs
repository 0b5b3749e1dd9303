//! The pressures to ride between, on one scale.

use super::chart::{Anchor, Axis, Chart, Frame};
use super::sheet::Sheet;
use super::words::{fixed, gauge, titled, unit};
use super::{Picture, Table};
use crate::plan::results::{BandEnd, StopRule};
use crate::shown::{Shown, Toward};
use crate::site::Dimension;

const TITLE: &str = "Pressures to ride between";
const ROW: f64 = 38.0;

struct Row {
    name: &'static str,
    class: &'static str,
    from: f64,
    to: Option<f64>,
    why: String,
}

/// The picture.
pub fn draw(sheet: &Sheet<'_>) -> Picture {
    let (p, bag) = (&sheet.results.pressures, &sheet.site.bag);
    let u = Shown::of(sheet.site);
    let operating = sheet.results.air.operating_pressure_pa;
    let rows = rows(sheet);
    let most = rows.iter().map(|row| row.to.unwrap_or(row.from)).fold(bag.pressure_max_pa.max(operating), f64::max);
    let bottom = 40.0 + ROW * rows.len() as f64;
    let frame = Frame { left: 14.0, top: 24.0, right: 426.0, bottom };
    let mut chart = Chart::bare(
        frame,
        Axis::of(u, Dimension::Pressure, 0.0, 1.06 * most, ""),
        Axis::new(0.0, rows.len() as f64, ""),
    );
    chart.ruler_x(&titled(u, Dimension::Pressure, "on the gauge"));
    for (i, row) in rows.iter().enumerate() {
        let y = rows.len() as f64 - i as f64 - 0.72;
        let at = chart.y_px(y);
        chart.line_px("grid", [frame.left, at, frame.right, at]);
        let end = row.to.unwrap_or(row.from);
        match row.to {
            Some(to) => chart.rect(row.class, row.name, (row.from, y - 0.13), (to, y + 0.13)),
            None => chart.dot(row.class, row.name, (row.from, y), 6.5),
        }
        let figures = match row.to {
            Some(to) => format!("{}: {} to {}", row.name, gauge(u, row.from), gauge(u, to)),
            None => format!("{}: {}", row.name, gauge(u, row.from)),
        };
        let middle = chart.x_px(0.5 * (row.from + end));
        // Above its mark, kept inside the frame.
        let half = 4.7 * figures.chars().count() as f64;
        let x = middle.clamp(frame.left + half, frame.right - half);
        chart.text(x, at - 11.0, Anchor::Middle, "note", figures);
    }
    let mut picture = Picture::new("scale", TITLE);
    picture.words = match (p.band_low_pa.get(), p.band_high_pa.get(), p.band_is_empty.get()) {
        (Some(low), Some(high), _) => format!(
            "As stated, ride between {} and {}. The blowers hold {} with nobody on the bag.",
            u.pressure(low, Toward::Up),
            u.pressure(high, Toward::Down),
            gauge(u, operating)
        ),
        (_, _, Some(true)) => format!(
            "No pressure to ride at: the lower end ({}) is above the upper end ({}).",
            end(p.band_low_rule.get()),
            end(p.band_high_rule.get())
        ),
        _ => "The band is not known: a figure that it hangs on could not be computed.".to_owned(),
    };
    if !sheet.site.bag.force_area.is_measured() {
        picture.words.push_str(
            " The bag is not measured: the stop pressure holds in all but 5 of 100 bags that fit what is known.",
        );
    }
    let [from, to] = ["from", "to"].map(|what| titled(u, Dimension::Pressure, what));
    let mut table = Table::new("Pressures on the gauge", &["pressure", &from, &to, "what sets it"]);
    let behind = format!(" {}", unit(u, Dimension::Pressure));
    let number = |pa: f64| gauge(u, pa).trim_end_matches(&behind).to_owned();
    for row in &rows {
        let to = row.to.map_or_else(|| "–".to_owned(), number);
        table.row([row.name.to_owned(), number(row.from), to, row.why.clone()]);
    }
    picture.tables = vec![table];
    picture.drawn(440.0, bottom + 44.0, [chart.done()])
}

/// What sets an end of the band.
const fn end(rule: Option<BandEnd>) -> &'static str {
    match rule {
        Some(BandEnd::Stop) => "the stop pressure",
        Some(BandEnd::PressureMin) => "the maker's lowest",
        Some(BandEnd::Firm) => "the firm pressure",
        Some(BandEnd::PressureMax) => "the maker's highest",
        None => "–",
    }
}

fn rows(sheet: &Sheet<'_>) -> Vec<Row> {
    let (p, bag) = (&sheet.results.pressures, &sheet.site.bag);
    let u = Shown::of(sheet.site);
    // Each as it is shown: a limit below which nobody rides up, one above which nobody rides down.
    let shown = |pa: f64, toward| u.rounded_pressure_pa(pa, toward);
    let nearest = |pa: f64| shown(pa, Toward::Nearest);
    let mut rows = vec![Row {
        name: "maker's range",
        class: "maker-bar",
        from: nearest(bag.pressure_min_pa),
        to: Some(nearest(bag.pressure_max_pa)),
        why: "the bag's maker".to_owned(),
    }];
    if let (Some(low), Some(high)) = (p.band_low_pa.get(), p.band_high_pa.get()) {
        let why = format!("{} and {}", end(p.band_low_rule.get()), end(p.band_high_rule.get()));
        rows.push(Row {
            name: "ride band",
            class: "ride-bar",
            from: shown(low, Toward::Up),
            to: Some(shown(high, Toward::Down)),
            why,
        });
    }
    let mut single = |name, class, value: Option<f64>, toward, why: String| {
        if let Some(pa) = value {
            rows.push(Row { name, class, from: shown(pa, toward), to: None, why });
        }
    };
    // What people ride by, where there is something.
    let by = sheet.results.ride_by.first();
    let off = by.and_then(|by| by.everybody_off_under_pa.get());
    let next = by.and_then(|by| by.next_rider_from_pa.get());
    let rule = match p.stop_rule.get() {
        Some(StopRule::Depth) => format!("the hard landing reaches {} of the thickness", fixed(bag.depth_limit, 2)),
        Some(StopRule::Room) => "the highest that the box can tell".to_owned(),
        _ => format!("{} of the maker's lowest (assumed)", fixed(bag.stop_floor, 2)),
    };
    let name = if off.is_some() { "everybody off" } else { "stop" };
    single(name, "mark-stop", off.or(p.stop_pa.get()).filter(|stop| *stop > 0.0), Toward::Up, rule);
    let name = if next.is_some() { "next rider from" } else { "wait" };
    single(name, "mark-wait", next.or(p.wait_pa.get()), Toward::Up, "no new rider starts below this".to_owned());
    let operating = sheet.results.air.operating_pressure_pa;
    single("settles at", "mark-operating", Some(operating), Toward::Nearest, "blowers and openings balance".to_owned());
    let firm = format!("the light landing's load reaches {} g", fixed(bag.load_stop, 1));
    single("firm", "mark-firm", p.firm_pa.get(), Toward::Down, firm);
    rows
}
