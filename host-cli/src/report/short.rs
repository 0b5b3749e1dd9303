//! The short zone, to scale: what a rider meets who leaves the lip too slowly.

use super::chart::{Anchor, Axis, Chart};
use super::sheet::{Sheet, face_z};
use super::words::{fixed, kmh, maybe};
use super::{Picture, Table};

const TITLE: &str = "The short zone, to scale";

/// The picture.
pub fn draw(sheet: &Sheet<'_>) -> Picture {
    let placement = &sheet.results.placement;
    if placement.short_zone.is_empty() {
        return Picture::none("short", TITLE, "Nothing to draw: no lip speed up to 40 m/s clears the gap.");
    }
    let setup = &sheet.model.setups[0];
    let bag = &setup.bag;
    let (gap, base, front) = (f64::from(bag.gap_m), f64::from(bag.base_level_m), f64::from(bag.front_z_m()));
    let (lip, climb) = (f64::from(setup.takeoff.height_m), f64::from(bag.climb()));
    let high = sheet.short.iter().flatten().map(|place| place.1).fold(lip.max(front), f64::max);
    let low = base.min(0.0);
    let up = high - low + 1.0;
    let back = gap + (1.2_f64).max(0.75 * up - gap - 2.0).min(f64::from(bag.length_m));
    let x = Axis::new(-1.6, back, "m from the lip edge");
    let (mut chart, bottom) =
        Chart::to_scale(50.0, 30.0, 426.0, x.clone(), Axis::new(low - 0.3, high + 0.4, "height, m"));
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
        let class = match row.hit {
            "ground" => "hit-ground",
            "bag_front" => "hit-front",
            _ => "hit-top",
        };
        chart.line(class, row.hit, &inside);
        if let Some(end) = inside.last() {
            chart.dot(class, row.hit, *end, 3.0);
        }
    }
    let label = |chart: &mut Chart, row: usize, text: String| {
        if let Some(peak) = sheet.short.get(row).and_then(|path| path.iter().max_by(|a, b| a.1.total_cmp(&b.1))) {
            chart.name(*peak, (0.0, -6.0), Anchor::Middle, text);
        }
    };
    let last = placement.short_zone.len() - 1;
    label(&mut chart, last, format!("{} m/s", fixed(placement.short_zone[last].lip_speed_mps, 1)));

    let mut picture = Picture::new("short", TITLE);
    picture.words = format!(
        "{} m/s at the lip clear the gap (mean rider at the site's values, who leaves at {} m/s). {} The lines show the lowest point of rider and bike; what they meet is found without regard to the take-off, so one that ends on it comes down there first.",
        maybe(placement.clearing_lip_speed_mps, 2),
        maybe(sheet.results.ride.lip_speed_mps, 2),
        match placement.front_from_lip_speed_mps {
            Some(from) if from <= 1.45 => "Slower than that, from walking pace on, the bag's front is met.".to_owned(),
            Some(from) => format!(
                "From {} m/s on the bag's front is met, slower the ground or the take-off before it.",
                fixed(from, 2)
            ),
            None => "Slower, the ground or the take-off before the bag is met.".to_owned(),
        }
    );
    picture.legend = vec![
        ("hit-ground", "comes down on the take-off or on the ground".to_owned()),
        ("hit-front", "meets the bag's front".to_owned()),
        ("hit-top", "clears the gap".to_owned()),
    ];
    picture.tables = vec![table(sheet)];
    picture.drawn(440.0, bottom + 44.0, [chart.done()])
}

fn table(sheet: &Sheet<'_>) -> Table {
    let mut table = Table::new(
        "What a lip speed meets first",
        &["lip speed m/s", "lip speed km/h", "meets", "lowest point over the ground at the bag's front edge m"],
    );
    for row in &sheet.results.placement.short_zone {
        let meets = match row.hit {
            "ground" => "take-off or ground",
            "bag_front" => "the bag's front",
            _ => "the bag's top",
        };
        table.row([
            fixed(row.lip_speed_mps, 2),
            fixed(kmh(row.lip_speed_mps), 1),
            meets.to_owned(),
            // Far below the ground nothing passes the edge.
            maybe(row.height_at_gap_m.filter(|height| *height >= 0.0), 2),
        ]);
    }
    table
}
