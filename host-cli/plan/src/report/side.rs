//! Side view, to scale: roll-in, take-off, flights, bag, the dent of a landing and how many come down where.

use super::chart::{Anchor, Axis, Chart, px};
use super::markup::{Element, el};
use super::sheet::{PieceKind, Sheet};
use super::words::{fixed, long, number_in, titled};
use super::{Picture, Table};
use crate::plan::results::Sampling;
use crate::shown::{Shown, Toward};
use crate::site::Dimension;

const TITLE: &str = "Side view, to scale";
const WIDTH: f64 = 1000.0;
/// Of the drawing for a narrow screen.
const NARROW: f64 = 400.0;
/// Of it, what the drawing is high at the most for its width.
const HIGHEST: f64 = 0.62;
/// Height of the hump that shows how many landings fall where, in metres of the drawing.
const HUMP_M: f64 = 1.1;
/// Strips with less than this part of the fullest one are left out.
const LEAST: f64 = 0.002;
/// Strips that there are at most, nearly.
const STRIPS: usize = 26;
/// A drawn wheel, and how far apart the two of a bike are.
const WHEEL_M: f64 = 0.33;
const WHEELBASE_M: f64 = 1.15;
/// Steps of a drawn dent.
const DENT_STEPS: u32 = 32;

/// The bag's place and shape, in metres of the drawing.
struct Bag {
    gap: f64,
    length: f64,
    base: f64,
    front: f64,
    climb: f64,
}

impl Bag {
    fn of(sheet: &Sheet<'_>) -> Self {
        let bag = &sheet.model.setups[0].bag();
        Self {
            gap: f64::from(bag.gap_m()),
            length: f64::from(bag.length_m()),
            base: f64::from(bag.base_level_m()),
            front: f64::from(bag.front_z_m()),
            climb: f64::from(bag.climb()),
        }
    }

    fn end(&self) -> f64 {
        self.gap + self.length
    }

    fn top(&self, x: f64) -> f64 {
        self.front + self.climb * (x - self.gap)
    }

    /// What is under a flight at a place beyond the lip: the ground, the bag's top, the ground behind the bag.
    fn under(&self, x: f64) -> f64 {
        if x < self.gap {
            0.0
        } else if x <= self.end() {
            self.top(x)
        } else {
            self.base
        }
    }

    /// The top with a dent of a share of the bag's thickness about a place.
    fn dent(&self, at: f64, share: f64, half: f64) -> Vec<(f64, f64)> {
        let share = share.clamp(0.0, 1.0);
        let place = |i: u32| {
            let turn = std::f64::consts::PI * (2.0 * f64::from(i) / f64::from(DENT_STEPS) - 1.0);
            let x = at + half * turn / std::f64::consts::PI;
            let down = share * 0.5 * (1.0 + turn.cos()) * (self.top(x) - self.base);
            (x, self.top(x) - down)
        };
        (0..=DENT_STEPS).map(place).filter(|(x, _)| *x >= self.gap && *x <= self.end()).collect()
    }
}

/// The dents of the mean and of the hard landing: where, half as wide as they are drawn, and how deep of how thick.
struct Dents {
    at: f64,
    half: f64,
    mean: (f64, f64),
    hard: Option<(f64, f64)>,
}

impl Dents {
    fn of(sheet: &Sheet<'_>) -> Option<Self> {
        let r = sheet.results;
        let mean = r.touchdown.as_ref()?;
        let at = r.flight.distance_from_lip_m.get()?;
        let pressures = &r.pressures;
        let hard = pressures
            .stated
            .as_ref()
            .and_then(|stated| stated.hard_depth_m.get())
            .zip(pressures.hard_thickness_m.get());
        let deepest = hard.map_or(mean.depth_m, |hard| hard.0.max(mean.depth_m));
        Some(Self { at, half: 0.7 + 0.7 * deepest, mean: (mean.depth_m, mean.thickness_m), hard })
    }
}

/// Which of the two drawings.
#[derive(Clone, Copy, PartialEq, Eq)]
enum View {
    /// From the start to behind the bag, with the measures.
    Whole,
    /// Take-off, flight and bag, for a narrow screen.
    Near,
}

/// The picture.
pub fn draw(sheet: &Sheet<'_>) -> Picture {
    let mut picture = Picture::new("side", TITLE);
    picture.wide = true;
    picture.words = words(sheet);
    picture.legend = legend(sheet);
    let strips = sheet.results.spread.sampling.as_ref().map(strips).unwrap_or_default();
    picture.tables = vec![flights(sheet)];
    picture.tables.extend(sheet.results.spread.sampling.as_ref().map(|sampling| density(sheet, sampling, &strips)));
    let (near, high) = drawing(sheet, &strips, View::Near);
    let picture = picture.drawn_near(NARROW, high, [near]);
    let (whole, high) = drawing(sheet, &strips, View::Whole);
    picture.drawn(WIDTH, high, [whole])
}

fn legend(sheet: &Sheet<'_>) -> Vec<(&'static str, String)> {
    let mut legend = vec![
        ("band", "the wheels of 999 of 1,000 flights, mean rider".to_owned()),
        ("median", "as high as the middle one of them".to_owned()),
        ("hump", "how many landings fall where".to_owned()),
        ("field", "landing field: the bag's top less its margins".to_owned()),
    ];
    if let Some(dents) = Dents::of(sheet) {
        legend.push(("dent-mean", "how deep the mean landing goes; drawn round".to_owned()));
        if dents.hard.is_some() {
            legend.push(("dent-hard", "how deep a hard landing goes".to_owned()));
        }
    }
    legend
}

/// The drawing for a narrow screen, as a picture of its own.
pub(super) fn draw_near(sheet: &Sheet<'_>, mut picture: Picture) -> Picture {
    picture.words = words(sheet);
    picture.legend = legend(sheet);
    let strips = sheet.results.spread.sampling.as_ref().map(strips).unwrap_or_default();
    let (near, high) = drawing(sheet, &strips, View::Near);
    picture.drawn(NARROW, high, [near])
}

/// One of the drawings, and how high it is.
fn drawing(sheet: &Sheet<'_>, strips: &[(f64, f64)], view: View) -> (Element, f64) {
    let u = Shown::of(sheet.site);
    let bag = Bag::of(sheet);
    let setup = &sheet.model.setups[0];
    let lip_z = f64::from(setup.takeoff().height_m());
    let start = sheet.surface.first().map(|piece| piece.first()).unwrap_or_default();
    let foot = sheet.surface.last().map(|piece| piece.first()).unwrap_or_default();
    let whole = view == View::Whole;

    let apex = sheet.apex.map_or(lip_z, |apex| apex.1);
    let band_top = sheet.band.iter().map(|row| row[3]).fold(apex, f64::max);
    let sampling = sheet.results.spread.sampling.as_ref();
    let far = sampling.and_then(|s| s.along_p999_m.get()).map_or(0.0, |along| bag.gap + along);
    let end = bag.end().max(far.min(bag.end() + 12.0));
    let tall = band_top.max(bag.top(bag.end()).max(bag.front) + HUMP_M);
    let low = bag.base.min(0.0) - 0.4;
    let (x, y) = if whole {
        // A length in feet and inches takes more room than one in metres.
        let (before, behind) = if u.is_imperial() { (1.6, 4.2) } else { (1.6, 2.6) };
        (
            Axis::of(u, Dimension::Length, start.0 - before, end + behind, ""),
            Axis::of(u, Dimension::Length, low, start.1.max(tall) + 0.9, "height"),
        )
    } else {
        let (mut first, mut last, high) = (foot.0.max(-6.0) - 0.6, end + 0.7, tall + 0.9);
        // What is higher than wide gets air at its sides, so that the words have room below.
        let air = ((high - low) / HIGHEST - (last - first)).max(0.0);
        (first, last) = (first - 0.5 * air, last + 0.5 * air);
        (
            Axis::of(u, Dimension::Length, first, last, "from the lip"),
            Axis::of(u, Dimension::Length, low, high, "height"),
        )
    };
    let (width, left) = if whole { (WIDTH, 34.0) } else { (NARROW, 34.0) };
    let (mut chart, bottom) = Chart::to_scale(left, 30.0, width - 12.0, x.clone(), y.clone());
    let ends = |first: f64| (first.max(x.low), y.low);

    // Ground, take-off and roll-in.
    chart.rect("ground", "ground", ends(x.low), (bag.gap - 0.001, 0.0));
    chart.rect("ground", "ground under the bag", ends(bag.gap), (x.high, bag.base));
    let ride: Vec<(f64, f64)> =
        sheet.surface.iter().flat_map(|piece| piece.places.clone()).filter(|at| at.0 >= x.low).collect();
    let mut body = ride.clone();
    body.extend([(0.0, 0.0), (ride.first().map_or(0.0, |at| at.0), 0.0)]);
    chart.area("built", "roll-in and take-off", &body);

    let median = flown(sheet, &mut chart, &bag);

    // How many landings fall where, standing on the bag's top.
    let most = strips.iter().map(|(_, share)| *share).fold(0.0, f64::max);
    let mut hump: Vec<(f64, f64)> = strips
        .iter()
        .map(|(along, share)| (bag.gap + along, bag.top(bag.gap + along) + HUMP_M * share / most))
        .filter(|place| place.0 <= x.high)
        .collect();
    if let (Some(first), Some(last)) = (hump.first().copied(), hump.last().copied()) {
        hump.push((last.0, bag.top(last.0)));
        hump.push((first.0, bag.top(first.0)));
        chart.area("hump", "landing density", &hump);
    }
    the_bag(sheet, &mut chart, &bag);
    chart.line("surface", "surface", &ride);
    let series = if sheet.band.is_empty() { "flight at the site's values" } else { "flights, median" };
    chart.line("median", series, &median);
    riders(sheet, &mut chart);

    let height = if whole { measured(sheet, &mut chart, &bag, bottom) } else { bottom + 46.0 };
    heights(sheet, &mut chart, &bag, view);
    if whole {
        names(sheet, &mut chart);
    } else {
        chart.give_room([2.0, 4.0, NARROW - 2.0, bottom]);
    }
    (chart.done(), height)
}

/// The bag with the dent of the mean landing in its top, its top at rest, the dent of a hard one.
fn the_bag(sheet: &Sheet<'_>, chart: &mut Chart, bag: &Bag) {
    let dents = Dents::of(sheet);
    let mut outline = vec![(bag.gap, bag.base), (bag.gap, bag.top(bag.gap))];
    if let Some(dents) = &dents {
        outline.extend(bag.dent(dents.at, dents.mean.0 / dents.mean.1, dents.half));
    }
    outline.extend([(bag.end(), bag.top(bag.end())), (bag.end(), bag.base)]);
    chart.area("bag", "bag", &outline);
    chart.line("rest", "the bag's top", &[(bag.gap, bag.top(bag.gap)), (bag.end(), bag.top(bag.end()))]);
    let placed = &sheet.model.setups[0].bag();
    let field = [bag.gap + f64::from(placed.edge_front_m()), bag.end() - f64::from(placed.edge_back_m())];
    chart.line("field", "landing field", &field.map(|x| (x, bag.top(x))));
    if let Some(dents) = &dents {
        chart.line("dent-mean", "dent, mean landing", &bag.dent(dents.at, dents.mean.0 / dents.mean.1, dents.half));
        if let Some(hard) = dents.hard {
            chart.line("dent-hard", "dent, hard landing", &bag.dent(dents.at, hard.0 / hard.1, dents.half));
        }
    }
}

/// The band of the wheels' flights, down to what they meet, and the middle one of them.
fn flown(sheet: &Sheet<'_>, chart: &mut Chart, bag: &Bag) -> Vec<(f64, f64)> {
    let down_to =
        |which: usize| -> Vec<(f64, f64)> { cut(sheet.band.iter().map(|row| (row[0], row[which])), |x| bag.under(x)) };
    let high = down_to(3);
    let last = high.last().map_or(0.0, |at| at.0);
    let mut outline: Vec<(f64, f64)> = sheet
        .band
        .iter()
        .take_while(|row| row[0] <= last)
        .map(|row| (row[0], row[1].max(bag.under(row[0])).min(row[3])))
        .collect();
    outline.extend(high.into_iter().rev());
    if outline.len() > 4 {
        chart.area("band", "flights, 999 in 1,000", &outline);
    }
    if sheet.band.is_empty() { cut(sheet.flight.iter().copied(), |x| bag.under(x)) } else { down_to(2) }
}

/// A flight up to where it meets what is under it, its last place being there.
fn cut(flight: impl Iterator<Item = (f64, f64)>, under: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
    let mut list: Vec<(f64, f64)> = Vec::new();
    for at in flight {
        let floor = under(at.0);
        // A bag that stands higher than the lip is met on the way down, not at once.
        let falls = list.last().is_some_and(|before| at.1 < before.1);
        if falls && at.0 > 0.05 && at.1 <= floor {
            if let Some(before) = list.last().copied() {
                let (over, below) = (before.1 - under(before.0), floor - at.1);
                let share = if over + below > 0.0 { (over / (over + below)).clamp(0.0, 1.0) } else { 1.0 };
                let x = before.0 + share * (at.0 - before.0);
                // At a step the floor is the higher one: there it is met from the side.
                list.push((x, (before.1 + share * (at.1 - before.1)).max(under(x))));
            }
            break;
        }
        list.push(at);
    }
    list
}

/// The rider at the lip and at the highest place: two wheels, and the centre of mass above them.
fn riders(sheet: &Sheet<'_>, chart: &mut Chart) {
    let places = [Some(sheet.wheels.release), sheet.apex];
    for centre in places.into_iter().flatten().filter(|_| !sheet.flight.is_empty()) {
        let at = sheet.wheels.under(centre);
        let (up, over) = (centre.0 - at.0, centre.1 - at.1);
        let long = up.hypot(over).max(1e-6);
        let (up, over) = (up / long, over / long);
        let wheels = [-0.5, 0.5].map(|side| {
            let along = side * WHEELBASE_M;
            (at.0 + along * over + WHEEL_M * up, at.1 - along * up + WHEEL_M * over)
        });
        let radius = WHEEL_M * chart.per_x();
        for (x, z) in wheels {
            chart.shun([
                chart.x_px(x) - radius,
                chart.y_px(z) - radius,
                chart.x_px(x) + radius,
                chart.y_px(z) + radius,
            ]);
            let (x, z) = (px(chart.x_px(x)), px(chart.y_px(z)));
            chart.push(el("circle").class("bike-wheel").with("cx", x).with("cy", z).with("r", px(radius)));
        }
        for (from, to) in [(wheels[0], wheels[1]), (wheels[0], centre), (wheels[1], centre)] {
            let ends = [chart.x_px(from.0), chart.y_px(from.1), chart.x_px(to.0), chart.y_px(to.1)];
            chart.line_px("bike", ends);
        }
        chart.dot("bike-mass", "centre of mass", centre, 3.5);
    }
}

/// Measures below the ground, and the height of it all.
fn measured(sheet: &Sheet<'_>, chart: &mut Chart, bag: &Bag, bottom: f64) -> f64 {
    let u = Shown::of(sheet.site);
    let start = sheet.surface.first().map(|piece| piece.first()).unwrap_or_default();
    let row = bottom + 46.0;
    let mut spans: Vec<(f64, f64, f64, f64)> = Vec::new();
    for piece in &sheet.surface {
        spans.push((piece.first().0, piece.last().0, 0.0, 0.0));
    }
    spans.push((0.0, bag.gap, 0.0, bag.base));
    spans.push((bag.gap, bag.end(), bag.base, bag.base));
    for (x0, x1, z0, z1) in spans.iter().copied().filter(|(x0, x1, ..)| x1 - x0 > 1.0e-3) {
        chart.measure_x([x0, x1], [z0, z1], row, &long(u, x1 - x0));
    }
    // Feet and inches may need a line of their own below.
    let second = row + if u.is_imperial() { 64.0 } else { 48.0 };
    chart.measure_x([start.0, 0.0], [0.0, 0.0], second, &long(u, -start.0));
    if let Some(distance) = sheet.results.flight.distance_from_lip_m.get().filter(|distance| *distance > 0.0) {
        chart.measure_x([0.0, distance], [0.0, bag.under(distance)], second, &format!("lands {}", long(u, distance)));
    }
    let height = second + 24.0;
    chart.give_room([2.0, 4.0, WIDTH - 2.0, height]);
    height
}

/// Heights of the start, the lip, the bag and the flight, and the depth of a landing.
fn heights(sheet: &Sheet<'_>, chart: &mut Chart, bag: &Bag, view: View) {
    let u = Shown::of(sheet.site);
    let lip_z = f64::from(sheet.model.setups[0].takeoff().height_m());
    let start = sheet.surface.first().map(|piece| piece.first()).unwrap_or_default();
    let high = |chart: &mut Chart, x: f64, z: [f64; 2], (anchor, share): (Anchor, f64)| {
        let at = chart.x_px(x);
        chart.measure_y(z, at, anchor, share, &long(u, z[1] - z[0]));
    };
    high(chart, 0.0, [0.0, lip_z], (Anchor::End, 0.17));
    if let Some(peak) = sheet.apex.filter(|peak| peak.1 > lip_z) {
        chart.line("thin", "height of the lip", &[(0.0, lip_z), (peak.0 + 0.4, lip_z)]);
        high(chart, peak.0, [lip_z, peak.1], (Anchor::End, 0.5));
    }
    if view == View::Whole {
        let at = chart.x_px(start.0 - 0.35);
        chart.measure_y([0.0, start.1], at, Anchor::Start, 0.5, &u.start_mark(sheet.site.roll_in.start_height_m));
        high(chart, bag.end() + 0.35, [bag.base, bag.top(bag.end())], (Anchor::Start, 0.5));
        if bag.climb != 0.0 {
            high(chart, bag.gap + 0.4, [bag.base, bag.front], (Anchor::Start, 0.2));
        }
    } else {
        if bag.gap > 0.005 {
            let (a, b, z) = (chart.x_px(0.0), chart.x_px(bag.gap), chart.y_px(0.0));
            let spots = [(a - 4.0, z - 6.0, Anchor::End), (a - 4.0, z + 17.0, Anchor::End)];
            chart.place("note halo", format!("gap {}", long(u, bag.gap)), [a, z, b, z], spots);
        }
    }
    if let Some(dents) = Dents::of(sheet) {
        let (depth, thick, what) =
            dents.hard.map_or((dents.mean.0, dents.mean.1, "mean"), |hard| (hard.0, hard.1, "hard"));
        let text = if depth < thick {
            format!("{what} landing {} deep", u.about(depth, Toward::Up))
        } else {
            format!("{what} landing: to the ground")
        };
        let share = (depth / thick).min(1.0);
        let bottom = bag.top(dents.at) - share * (bag.top(dents.at) - bag.base);
        let (x, z) = (chart.x_px(dents.at), chart.y_px(bottom));
        let side = chart.x_px(dents.at + dents.half) + 4.0;
        let other = chart.x_px(dents.at - dents.half) - 4.0;
        let spots = [
            (side, z + 5.0, Anchor::Start),
            (x, z + 18.0, Anchor::Middle),
            (other, z + 5.0, Anchor::End),
            (side, z - 12.0, Anchor::Start),
        ];
        chart.place("note halo", text, [x, z, x, z], spots);
    }
}

/// Names of the pieces, the start and the stop line.
fn names(sheet: &Sheet<'_>, chart: &mut Chart) {
    let u = Shown::of(sheet.site);
    let start = sheet.surface.first().map(|piece| piece.first()).unwrap_or_default();
    chart.name(start, (0.0, -9.0), Anchor::Middle, "start");
    // As the mark is said to be, which is rounded and the farthest of the groups'.
    let line_m = sheet.results.placement.last_stop_before_foot_m.get();
    let said_m = sheet.results.for_everybody().map_or(line_m, |by| by.stop_line_before_foot_m.get());
    if let Some(said_m) = said_m
        && let Some(at) = along_surface(sheet, said_m).or_else(|| along_surface(sheet, line_m?))
    {
        chart.dot("stop-mark", "last stop line", at, 5.0);
        let text = format!("last stop line, {} before the foot", u.length(said_m, Toward::Up));
        chart.name(at, (10.0, -8.0), Anchor::Start, text);
    }
    for piece in &sheet.surface {
        let middle = piece.places.get(piece.places.len() / 2).copied().unwrap_or_default();
        let (text, place, anchor) = match piece.kind {
            PieceKind::Straight { slope_rad, .. } if slope_rad.abs() > 1.0e-3 => {
                let (a, b) = (piece.first(), piece.last());
                let way = if slope_rad > 0.0 { "down" } else { "up" };
                (
                    format!("{}° {way}", fixed(slope_rad.abs().to_degrees(), 0)),
                    (0.5 * (a.0 + b.0), 0.5 * (a.1 + b.1)),
                    Anchor::Start,
                )
            }
            PieceKind::Straight { .. } => continue,
            PieceKind::Arc { radius_m, .. } => (format!("R {}", long(u, radius_m)), middle, Anchor::Start),
            PieceKind::TakeOff { radius_m, turn_rad } => {
                let lip = fixed(turn_rad.to_degrees(), 1);
                (format!("R {}, lip {lip}°", long(u, radius_m)), middle, Anchor::End)
            }
        };
        let shift = if anchor == Anchor::End { (-8.0, -10.0) } else { (8.0, -10.0) };
        chart.name(place, shift, anchor, text);
    }
}

fn words(sheet: &Sheet<'_>) -> String {
    let (r, u) = (sheet.results, Shown::of(sheet.site));
    let flight = &r.flight;
    let mut text = format!(
        "Start {} above the take-off's foot, lip {} high at {}°, gap {}, bag {} long and {} high at its front. ",
        u.start_mark(sheet.site.roll_in.start_height_m),
        long(u, r.ride.takeoff_height_m),
        fixed(r.ride.lip_angle_deg, 1),
        long(u, r.placement.gap_m),
        long(u, sheet.site.bag.length_m),
        long(u, sheet.site.bag.front_height_m),
    );
    match (flight.airtime_s.get(), flight.along_m.get(), r.ride.lip_speed_mps.get(), flight.apex_above_lip_m.get()) {
        (Some(time), Some(along), Some(speed), Some(apex)) => text.push_str(&format!(
            "The mean rider leaves at {}, is {} s in the air, the body's centre at most {} above the lip, and touches {} behind the bag's front edge. ",
            u.fine_speed(speed, Toward::Nearest),
            fixed(time, 2),
            long(u, apex),
            long(u, along),
        )),
        _ => text.push_str(&format!(
            "The mean rider's run does not land on the bag: {}. ",
            flight.outcome.name().replace('_', " ")
        )),
    }
    if let Some((short, far)) = r.spread.sampling.as_ref().and_then(|s| s.along_p001_m.get().zip(s.along_p999_m.get()))
    {
        text.push_str(&format!(
            "Of the tries that come as high as the top, 998 in 1,000 come down between {} and {} behind the front edge.",
            long(u, short),
            long(u, far),
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
    let u = Shown::of(sheet.site);
    let mut table = Table::new(
        format!("Height of the wheels in flight ({} runs of the mean rider)", sheet.points.len()),
        &["from the lip", "1 in 2,000 lower", "half lower, half higher", "1 in 2,000 higher"]
            .map(|what| titled(u, Dimension::Length, what)),
    );
    // Down to the lowest ground that there is.
    let floor = f64::from(sheet.model.setups[0].bag().base_level_m()).min(0.0);
    for row in sheet.band.iter().step_by(3).filter(|row| row[3] >= floor) {
        let cell = |i: usize| {
            if i > 0 && row[i] < floor { "–".to_owned() } else { number_in(u, Dimension::Length, row[i], 0) }
        };
        table.row((0..4).map(cell));
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
fn density(sheet: &Sheet<'_>, sampling: &Sampling, strips: &[(f64, f64)]) -> Table {
    let u = Shown::of(sheet.site);
    let mut table = Table::new(
        format!("How many of the landings fall where ({} sampled runs of the mean rider)", sampling.samples),
        &[
            titled(u, Dimension::Length, "behind the front edge, middle of a strip"),
            "share of the landings, %".to_owned(),
        ],
    );
    for (along, share) in strips {
        table.row([number_in(u, Dimension::Length, *along, 0), fixed(100.0 * share, 2)]);
    }
    let whole: f64 = sampling.along_shape.iter().map(|(_, share)| *share).sum();
    let here: f64 = strips.iter().map(|(_, share)| *share).sum();
    table.row(["elsewhere".to_owned(), fixed(100.0 * (whole - here), 2)]);
    table
}
