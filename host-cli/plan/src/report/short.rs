//! The short zone, to scale: what a rider meets who leaves the lip too slowly.

use super::chart::{Anchor, Axis, Chart};
use super::sheet::{Sheet, face_z};
use super::words::{maybe_in, number_in, titled};
use super::{Picture, Table};
use crate::shown::{Shown, Toward};
use crate::site::Dimension;
use landfall_core::short_zone::Hit;

const TITLE: &str = "The short zone, to scale";

/// The picture.
pub fn draw(sheet: &Sheet<'_>) -> Picture {
    let placement = &sheet.results.placement;
    if placement.short_zone.is_empty() {
        return Picture::none("short", TITLE, "Nothing to draw: no speed at the lip clears the gap.");
    }
    let u = Shown::of(sheet.site);
    let setup = &sheet.model.setups[0];
    let bag = &setup.bag();
    let (gap, base, front) = (f64::from(bag.gap_m()), f64::from(bag.base_level_m()), f64::from(bag.front_z_m()));
    let (lip, climb) = (f64::from(setup.takeoff().height_m()), f64::from(bag.climb()));
    let high = sheet.short.iter().flatten().map(|place| place.1).fold(lip.max(front), f64::max);
    let low = base.min(0.0);
    let up = high - low + 1.0;
    let back = gap + (1.2_f64).max(0.75 * up - gap - 2.0).min(f64::from(bag.length_m()));
    let x = Axis::of(u, Dimension::Length, -1.6, back, "from the lip edge");
    let y = Axis::of(u, Dimension::Length, low - 0.3, high + 0.6, "height");
    let (mut chart, bottom) = Chart::to_scale(50.0, 30.0, 426.0, x.clone(), y);
    chart.rect("ground", "ground", (x.low, low - 0.3), (gap, 0.0));
    chart.rect("ground", "ground under the bag", (gap, low - 0.3), (x.high, base));
    let face: Vec<(f64, f64)> =
        (0..=32).map(|i| x.low * (1.0 - f64::from(i) / 32.0)).map(|x| (x, face_z(setup, x))).collect();
    let mut body = face.clone();
    body.extend([(0.0, 0.0), (x.low, 0.0)]);
    chart.area("built", "take-off", &body);
    chart.line("surface", "take-off's face", &face);
    let top = front + climb * (x.high - gap);
    chart.area("bag", "bag", &[(gap, base), (gap, front), (x.high, top), (x.high, base)]);
    for (row, path) in placement.short_zone.iter().zip(&sheet.short) {
        let inside: Vec<(f64, f64)> = path.iter().copied().filter(|place| place.0 <= x.high).collect();
        let (class, name) = match row.hit {
            Hit::Ground => ("hit-ground", "ground"),
            Hit::BagFront => ("hit-front", "bag_front"),
            Hit::BagTop => ("hit-top", "bag_top"),
        };
        chart.line(class, name, &inside);
        if let Some(end) = inside.last() {
            chart.dot(class, name, *end, 3.0);
        }
    }
    let label = |chart: &mut Chart, row: usize, text: String| {
        if let Some(peak) = sheet.short.get(row).and_then(|path| path.iter().max_by(|a, b| a.1.total_cmp(&b.1))) {
            chart.name(*peak, (0.0, -6.0), Anchor::Middle, text);
        }
    };
    let last = placement.short_zone.len() - 1;
    label(&mut chart, last, u.fine_speed(placement.short_zone[last].lip_speed_mps, Toward::Nearest));

    let mut picture = Picture::new("short", TITLE);
    let speed = |mps: f64, toward| u.fine_speed(mps, toward);
    let clears = placement.clearing_lip_speed_mps.get().map_or_else(
        || "No speed at the lip clears the gap. ".to_owned(),
        |mps| format!("{} at the lip clear the gap. ", speed(mps, Toward::Up)),
    );
    let leaves = sheet
        .results
        .ride
        .lip_speed_mps
        .get()
        .map_or_else(String::new, |mps| format!("The mean rider leaves at {}. ", speed(mps, Toward::Nearest)));
    let slower = match placement.front_from_lip_speed_mps.get() {
        Some(from) if from <= 1.45 => "Slower than that, from walking pace on, the bag's front is met.".to_owned(),
        Some(from) => format!(
            "From {} on the bag's front is met, slower the ground or the take-off before it.",
            speed(from, Toward::Nearest)
        ),
        None => "Slower, the ground or the take-off before the bag is met.".to_owned(),
    };
    picture.words = format!("{clears}{leaves}{slower} The lines are the lowest point of rider and bike.");
    picture.legend = vec![
        ("hit-ground", "comes down on the take-off or on the ground".to_owned()),
        ("hit-front", "meets the bag's front".to_owned()),
        ("hit-top", "clears the gap".to_owned()),
    ];
    picture.tables = vec![table(sheet)];
    picture.drawn(440.0, bottom + 44.0, [chart.done()])
}

fn table(sheet: &Sheet<'_>) -> Table {
    let u = Shown::of(sheet.site);
    let speed = titled(u, Dimension::Speed, "speed at the lip");
    let height = titled(u, Dimension::Length, "lowest point over the ground at the bag's front edge");
    let mut table = Table::new("What a rider of some speed meets first", &[speed.as_str(), "meets", &height]);
    for row in &sheet.results.placement.short_zone {
        let meets = match row.hit {
            Hit::Ground => "take-off or ground",
            Hit::BagFront => "the bag's front",
            Hit::BagTop => "the bag's top",
        };
        table.row([
            number_in(u, Dimension::Speed, row.lip_speed_mps, 1),
            meets.to_owned(),
            // Far below the ground nothing passes the edge.
            maybe_in(u, Dimension::Length, row.height_at_gap_m.get().filter(|height| *height >= 0.0), 0),
        ]);
    }
    table
}
