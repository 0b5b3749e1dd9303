//! Side view, to scale: roll-in, take-off, flights, bag, and where landings fall.

use super::chart::{Anchor, Axis, Chart};
use super::sheet::{PieceKind, Sheet};
use super::words::{fixed, maybe};
use super::{Picture, Table, surface};
use crate::plan::results::Sampling;

const TITLE: &str = "Side view, to scale";
const WIDTH: f64 = 1000.0;
/// Height of the hump that shows the density of landings, in metres of the drawing.
const HUMP_M: f64 = 1.1;
/// Strips with less than this part of the fullest one are left out.
const LEAST: f64 = 0.002;
/// Strips that there are at most, nearly.
const STRIPS: usize = 26;

/// The picture.
pub fn draw(sheet: &Sheet<'_>) -> Picture {
    let setup = &sheet.model.setups[0];
    let bag = &setup.bag;
    let (gap, length, base) = (f64::from(bag.gap_m), f64::from(bag.length_m), f64::from(bag.base_level_m));
    let front_z = f64::from(bag.front_z_m());
    let climb = f64::from(bag.climb());
    let top = |x: f64| front_z + climb * (x - gap);
    let contact = sheet.site.rider.contact_height_m;
    let start = sheet.surface.first().map(|piece| piece.first()).unwrap_or_default();
    let lip_z = f64::from(setup.takeoff.height_m);

    let apex = sheet.results.flight.apex_above_lip_m.map_or(lip_z, |apex| lip_z + apex);
    let band_top = sheet.band.iter().map(|row| row[3]).fold(apex, f64::max);
    let sampling = sheet.results.spread.sampling.as_ref();
    let far = sampling.and_then(|s| s.along_p999_m).map_or(0.0, |along| gap + along);
    let x = Axis::new(start.0 - 1.6, (gap + length).max(far) + 2.3, "");
    let y = Axis::new(base.min(0.0) - 0.4, start.1.max(band_top).max(top(gap + length) + HUMP_M) + 0.7, "height, m");
    let (mut chart, bottom) = Chart::to_scale(34.0, 30.0, WIDTH - 12.0, x.clone(), y.clone());

    // Ground, take-off and roll-in.
    chart.rect("ground", "ground", (x.low, y.low), (gap - 0.001, 0.0));
    chart.rect("ground", "ground under the bag", (gap, y.low), (x.high, base));
    let ride: Vec<(f64, f64)> = sheet.surface.iter().flat_map(|piece| piece.places.clone()).collect();
    let mut body = ride.clone();
    body.extend([(0.0, 0.0), (start.0, 0.0)]);
    chart.area("built", "roll-in and take-off", &body);
    chart.line("surface", "surface", &ride);

    // Bag, its field, the density of landings.
    let ends = [(gap, base), (gap, top(gap)), (gap + length, top(gap + length)), (gap + length, base)];
    chart.area("bag", "bag", &ends);
    let field = [gap + f64::from(bag.edge_front_m), gap + length - f64::from(bag.edge_back_m)];
    chart.line("field", "landing field", &[(field[0], top(field[0])), (field[1], top(field[1]))]);
    let strips = sampling.map(strips).unwrap_or_default();
    let most = strips.iter().map(|(_, share)| *share).fold(0.0, f64::max);
    let mut hump: Vec<(f64, f64)> =
        strips.iter().map(|(along, share)| (gap + along, top(gap + along) - HUMP_M * share / most)).collect();
    if let (Some(first), Some(last)) = (hump.first().copied(), hump.last().copied()) {
        hump.push((last.0, top(last.0)));
        hump.push((first.0, top(first.0)));
        chart.area("hump", "landing density", &hump);
    }

    // Flights.
    let floor = |x: f64| top(x) + contact;
    let low: Vec<(f64, f64)> = sheet
        .band
        .iter()
        .filter(|row| row[3] >= floor(row[0]) || row[0] < gap)
        .map(|row| (row[0], if row[0] < gap { row[1] } else { row[1].max(floor(row[0])) }))
        .collect();
    let high = sheet.band.iter().take(low.len()).map(|row| (row[0], row[3]));
    let mut outline = low.clone();
    outline.extend(high.rev());
    if outline.len() > 4 {
        chart.area("band", "flights, 999 in 1,000", &outline);
    }
    let median: Vec<(f64, f64)> =
        sheet.band.iter().filter(|row| row[2] >= floor(row[0]) || row[0] < gap).map(|row| (row[0], row[2])).collect();
    if median.len() > 2 {
        chart.line("median", "flights, median", &median);
    } else {
        chart.line("median", "flight at the site's values", &sheet.flight);
    }

    // Measures below the ground, one above the other where they are narrow.
    let row = bottom + 44.0;
    let mut spans: Vec<(f64, f64, f64, f64)> = Vec::new();
    for piece in &sheet.surface {
        spans.push((piece.first().0, piece.last().0, 0.0, 0.0));
    }
    spans.push((0.0, gap, 0.0, base));
    spans.push((gap, gap + length, base, base));
    for (x0, x1, z0, z1) in spans.iter().copied().filter(|(x0, x1, ..)| x1 - x0 > 1.0e-3) {
        let narrow = (x1 - x0) * chart.per_x() < 46.0;
        let text = if narrow { fixed(x1 - x0, 2) } else { format!("{} m", fixed(x1 - x0, 2)) };
        chart.measure_x([x0, x1], [z0, z1], row, &text, if narrow { 18.0 } else { -5.0 });
    }
    let second = row + 46.0;
    chart.measure_x([start.0, 0.0], [0.0, 0.0], second, &format!("{} m", fixed(-start.0, 2)), -5.0);
    if let Some(distance) = sheet.results.flight.distance_from_lip_m {
        chart.measure_x(
            [0.0, distance],
            [0.0, top(distance)],
            second,
            &format!("contact {} m", fixed(distance, 2)),
            -5.0,
        );
    }
    // Heights.
    let high = |chart: &mut Chart, x: f64, z: [f64; 2], (anchor, share): (Anchor, f64)| {
        let at = chart.x_px(x);
        chart.measure_y(z, at, anchor, share, &format!("{} m", fixed(z[1] - z[0], 2)));
    };
    high(&mut chart, start.0 - 0.35, [0.0, start.1], (Anchor::Start, 0.5));
    high(&mut chart, 0.0, [0.0, lip_z], (Anchor::End, 0.17));
    high(&mut chart, gap + length + 0.35, [base, top(gap + length)], (Anchor::Start, 0.5));
    if climb != 0.0 || gap > 2.0 {
        high(&mut chart, gap + 0.4, [base, front_z], (Anchor::Start, 0.2));
    }
    if let Some(apex_m) = sheet.results.flight.apex_above_lip_m
        && let Some(peak) = sheet.flight.iter().max_by(|a, b| a.1.total_cmp(&b.1))
    {
        chart.line("thin", "height of the lip", &[(0.0, lip_z), (peak.0 + 0.4, lip_z)]);
        let at = chart.x_px(peak.0);
        chart.measure_y([lip_z, lip_z + apex_m], at, Anchor::End, 0.5, &format!("{} m", fixed(apex_m, 2)));
    }
    for piece in &sheet.surface {
        let middle = piece.places.get(piece.places.len() / 2).copied().unwrap_or_default();
        let (text, place, anchor) = match piece.kind {
            PieceKind::Straight { slope_rad, .. } if slope_rad.abs() > 1.0e-3 => {
                let (a, b) = (piece.first(), piece.last());
                (
                    format!("{}° down", fixed(slope_rad.to_degrees(), 0)),
                    (0.5 * (a.0 + b.0), 0.5 * (a.1 + b.1)),
                    Anchor::Start,
                )
            }
            PieceKind::Straight { .. } => continue,
            PieceKind::Arc { radius_m, .. } => (format!("R {} m", fixed(radius_m, 2)), middle, Anchor::Start),
            PieceKind::TakeOff { radius_m, turn_rad } => {
                (format!("R {} m, lip {}°", fixed(radius_m, 2), fixed(turn_rad.to_degrees(), 1)), middle, Anchor::End)
            }
        };
        let shift = if anchor == Anchor::End { (-8.0, -10.0) } else { (8.0, -10.0) };
        chart.name(place, shift, anchor, text);
    }
    chart.name(start, (0.0, -9.0), Anchor::Middle, "start");
    if let Some(line_m) = sheet.results.placement.last_stop_before_foot_m
        && let Some(at) = along_surface(sheet, line_m)
    {
        chart.dot("stop-mark", "last stop line", at, 5.0);
        chart.name(at, (9.0, -8.0), Anchor::Start, format!("last stop line, {} m before the foot", fixed(line_m, 1)));
    }

    let mut picture = Picture::new("side", TITLE);
    picture.wide = true;
    picture.words = words(sheet);
    picture.legend = vec![
        ("band", "999 of 1,000 flights of the centre of mass, mean rider".to_owned()),
        ("median", "median flight".to_owned()),
        ("hump", "how many landings fall where (hanging from the bag's top, mean rider)".to_owned()),
        ("field", "landing field: the bag's top less its margins".to_owned()),
    ];
    picture.tables = vec![surface::bag(sheet), surface::pieces(sheet), surface::face(sheet), flights(sheet)];
    picture.tables.extend(sampling.map(|sampling| density(sampling, &strips)));
    picture.drawn(WIDTH, second + 12.0, [chart.done()])
}

pub(super) fn words(sheet: &Sheet<'_>) -> String {
    let r = sheet.results;
    let flight = &r.flight;
    let mut text = format!(
        "Start {} m above the take-off's foot, lip {} m high at {}°, gap {} m, bag {} m long and {} m high at its front. ",
        fixed(sheet.surface.first().map_or(0.0, |piece| piece.first().1), 2),
        fixed(r.ride.takeoff_height_m, 2),
        fixed(r.ride.lip_angle_deg, 1),
        fixed(r.placement.gap_m, 2),
        fixed(sheet.site.bag.length_m, 2),
        fixed(sheet.site.bag.front_height_m, 2),
    );
    match (flight.airtime_s, flight.along_m) {
        (Some(time), Some(along)) => text.push_str(&format!(
            "At the site's values the mean rider leaves at {} m/s, is {} s in the air, {} m above the lip at the highest, and touches {} m behind the bag's front edge. ",
            maybe(r.ride.lip_speed_mps, 2),
            fixed(time, 2),
            maybe(flight.apex_above_lip_m, 2),
            fixed(along, 2),
        )),
        _ => text.push_str(&format!("At the site's values the run does not land on the bag's plane: {}. ", flight.outcome)),
    }
    if let Some(s) = &r.spread.sampling {
        text.push_str(&format!(
            "Of the landings that reach its plane, 998 in 1,000 fall between {} m and {} m behind the front edge.",
            maybe(s.along_p001_m, 2),
            maybe(s.along_p999_m, 2),
        ));
    }
    text
}

/// A place on the surface by its arc length before the foot.
fn along_surface(sheet: &Sheet<'_>, before_foot_m: f64) -> Option<(f64, f64)> {
    let mut left = before_foot_m;
    let pieces = sheet.surface.iter().rev().filter(|piece| !matches!(piece.kind, PieceKind::TakeOff { .. }));
    for pair in pieces.flat_map(|piece| piece.places.windows(2).rev()) {
        let (a, b) = (pair[0], pair[1]);
        let part = (a.0 - b.0).hypot(a.1 - b.1);
        if left <= part {
            let share = if part > 0.0 { left / part } else { 0.0 };
            return Some((b.0 + (a.0 - b.0) * share, b.1 + (a.1 - b.1) * share));
        }
        left -= part;
    }
    None
}

fn flights(sheet: &Sheet<'_>) -> Table {
    let mut table = Table::new(
        format!("Height of the centre of mass in flight ({} runs of the mean rider)", sheet.points.len()),
        &["from the lip m", "1 in 2,000 lower m", "median m", "1 in 2,000 higher m"],
    );
    for row in sheet.band.iter().step_by(6) {
        table.row(row.iter().map(|value| fixed(*value, 2)));
    }
    table
}

/// Middle of a strip behind the front edge, and the share of the landings in it; strips with hardly any are left out.
/// As many neighbours are taken together as make the strips few enough for a table.
fn strips(sampling: &Sampling) -> Vec<(f64, f64)> {
    let shape = &sampling.along_shape;
    let most = shape.iter().map(|(_, share)| *share).fold(0.0, f64::max);
    let wanted = shape.iter().filter(|(_, share)| *share > LEAST * most).count();
    let together = wanted.div_ceil(STRIPS).max(1);
    let merged: Vec<(f64, f64)> = shape
        .chunks(together)
        .map(|part| {
            let ends = (part.first().map_or(0.0, |end| end.0), part.last().map_or(0.0, |end| end.0));
            (0.5 * (ends.0 + ends.1), part.iter().map(|(_, share)| share).sum())
        })
        .collect();
    let most = merged.iter().map(|(_, share)| *share).fold(0.0, f64::max);
    merged.into_iter().filter(|(_, share)| *share > LEAST * most).collect()
}

/// How the landings are spread along the bag; the last row sums up what is far out.
fn density(sampling: &Sampling, strips: &[(f64, f64)]) -> Table {
    let mut table = Table::new(
        format!("How many of the landings fall where ({} sampled runs of the mean rider)", sampling.samples),
        &["behind the front edge, middle of a strip m", "share of the landings %"],
    );
    for (along, share) in strips {
        table.row([fixed(*along, 2), fixed(100.0 * share, 2)]);
    }
    let whole: f64 = sampling.along_shape.iter().map(|(_, share)| *share).sum();
    let here: f64 = strips.iter().map(|(_, share)| *share).sum();
    table.row(["elsewhere".to_owned(), fixed(100.0 * (whole - here), 2)]);
    table
}
