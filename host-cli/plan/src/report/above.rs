//! Plan view, to scale: bag, landing field, landing points and their regions, present and best place.

use super::chart::{Anchor, Axis, Chart, px};
use super::html::miss;
use super::markup::el;
use super::sheet::Sheet;
use super::words::{fixed, long, maybe_in, number_in, titled};
use super::{Picture, Table};
use crate::plan::words::chance;
use crate::shown::{Shown, Toward};
use crate::site::Dimension;
use landfall_core::bag::Outcome;

const TITLE: &str = "Plan view, to scale";
const WIDTH: f64 = 720.0;
/// Landing points that are drawn.
const DOTS: usize = 700;

/// Radius, in standard deviations, of the ellipse that holds a share of a normal distribution in the plane: √(−2 ln(1 − share)).
fn radius(share: f64) -> f64 {
    (-2.0 * (1.0 - share).ln()).sqrt()
}

/// The ellipse of landings: its middle along and across and the matrix that turns a circle into it.
struct Ellipse {
    middle: (f64, f64),
    sd: (f64, f64),
    correlation: f64,
}

impl Ellipse {
    fn of(sheet: &Sheet<'_>) -> Option<Self> {
        let s = sheet.results.spread.sampling.as_ref()?;
        Some(Self {
            middle: (s.mean_along_m.get()?, s.mean_across_m.get()?),
            sd: (s.sd_along_m.get()?, s.sd_across_m.get()?),
            correlation: s.correlation.get().unwrap_or(0.0).clamp(-0.999, 0.999),
        })
    }

    fn places(&self, size: f64) -> Vec<(f64, f64)> {
        let free = (1.0 - self.correlation * self.correlation).sqrt();
        (0..=96)
            .map(|i| {
                let (sin, cos) = (f64::from(i) / 96.0 * std::f64::consts::TAU).sin_cos();
                let along = self.middle.0 + size * self.sd.0 * cos;
                let across = self.middle.1 + size * self.sd.1 * (self.correlation * cos + free * sin);
                (along, across)
            })
            .collect()
    }

    fn inside(&self, size: f64, (along, across): (f64, f64)) -> bool {
        let u = (along - self.middle.0) / self.sd.0;
        let v = (across - self.middle.1) / self.sd.1;
        let r = self.correlation;
        (u * u - 2.0 * r * u * v + v * v) / (1.0 - r * r) <= size * size
    }
}

/// The picture.
pub fn draw(sheet: &Sheet<'_>) -> Picture {
    let u = Shown::of(sheet.site);
    let bag = &sheet.model.setups[0].bag();
    let placement = &sheet.results.placement;
    let (gap, offset) = (f64::from(bag.gap_m()), f64::from(bag.offset_m()));
    let (length, width) = (f64::from(bag.length_m()), f64::from(bag.width_m()));
    let (left, right) = (offset + 0.5 * width, offset - 0.5 * width);
    let best = placement.best_gap_m.get().zip(placement.best_offset_m.get());
    let ellipse = Ellipse::of(sheet);
    let rim: Vec<(f64, f64)> = ellipse
        .iter()
        .flat_map(|e| e.places(radius(0.999)))
        .map(|(along, across)| (gap + along, offset + across))
        .collect();
    let far = |value: f64, of: fn(&(f64, f64)) -> f64| rim.iter().map(of).fold(value, f64::max);
    let (best_gap, best_offset) = best.unwrap_or((gap, offset));
    let end = far((gap.max(best_gap) + length) + 0.6, |p| p.0 + 0.5);
    let x = Axis::of(u, Dimension::Length, -2.2, end, "from the lip edge");
    let y = Axis::of(
        u,
        Dimension::Length,
        -far(-right.min(best_offset - 0.5 * width) + 0.6, |p| 0.5 - p.1),
        far(left.max(best_offset + 0.5 * width) + 1.2, |p| p.1 + 0.5),
        "left of the take-off's centre line",
    );
    let (mut chart, bottom) = Chart::to_scale(52.0, 34.0, WIDTH - 14.0, x.clone(), y);
    chart.give_room([56.0, 34.0, WIDTH - 4.0, bottom]);

    let half = 0.5 * sheet.site.takeoff.width_m;
    chart.rect("built", "take-off", (x.low, half), (0.0, -half));
    chart.line("thin", "centre line", &[(x.low, 0.0), (x.high, 0.0)]);
    chart.rect("bag", "bag", (gap, left), (gap + length, right));
    let edges = [f64::from(bag.edge_front_m()), f64::from(bag.edge_back_m()), f64::from(bag.edge_side_m())];
    chart.rect(
        "field-area",
        "landing field",
        (gap + edges[0], left - edges[2]),
        (gap + length - edges[1], right + edges[2]),
    );
    for (along, across, outcome) in sheet.points.iter().take(DOTS) {
        let place = (gap + along, offset + across);
        match outcome {
            Outcome::On => chart.dot("landing", "landing on the field", place, 1.7),
            Outcome::Stall | Outcome::LeavesSurface | Outcome::Front => {}
            _ => {
                let (cx, cy) = (chart.x_px(place.0), chart.y_px(place.1));
                let d = [(-3.5, -3.5, 3.5, 3.5), (-3.5, 3.5, 3.5, -3.5)]
                    .map(|(a, b, c, d)| format!("M{} {}L{} {}", px(cx + a), px(cy + b), px(cx + c), px(cy + d)))
                    .join("");
                chart.push(el("path").class("missed").with("data-series", "landing off the field").with("d", d));
            }
        }
    }
    if let Some(ellipse) = &ellipse {
        let at = |size: f64| -> Vec<(f64, f64)> {
            ellipse.places(size).iter().map(|(along, across)| (gap + along, offset + across)).collect()
        };
        let (inner, outer) = (at(radius(0.95)), at(radius(0.999)));
        chart.line("ellipse-inner", "95 % ellipse", &inner);
        chart.line("ellipse-outer", "99.9 % ellipse", &outer);
        chart.name(inner[24], (0.0, -6.0), Anchor::Middle, "95 %");
        chart.name(outer[24], (0.0, -6.0), Anchor::Middle, "99.9 %");
        let middle = (gap + ellipse.middle.0, offset + ellipse.middle.1);
        chart.dot("middle", "middle of the landings", middle, 4.5);
    }
    if let Some((best_gap, best_offset)) = best {
        let (b_left, b_right) = (best_offset + 0.5 * width, best_offset - 0.5 * width);
        chart.rect("best", "best place", (best_gap, b_left), (best_gap + length, b_right));
        chart.name(
            (best_gap + 0.97 * length, b_right),
            (0.0, -8.0),
            Anchor::End,
            format!("best place: gap {}, offset {}", long(u, best_gap), long(u, best_offset)),
        );
    }
    chart.name((gap + 0.02 * length, left), (0.0, 17.0), Anchor::Start, "bag as it stands");
    chart.name((x.low, half), (4.0, 16.0), Anchor::Start, "take-off");
    let top = chart.y_px(left) - 14.0;
    if gap > 1.0e-3 {
        chart.measure_x([0.0, gap], [half, left], top, &format!("gap {}", long(u, gap)));
    }
    if offset.abs() > 0.01 {
        let at = chart.x_px(gap + length) - 12.0;
        chart.line("thin", "bag's centre line", &[(gap, offset), (gap + length, offset)]);
        chart.measure_y([0.0, offset], at, Anchor::End, 0.5, &format!("offset {}", long(u, offset)));
    }

    let mut picture = Picture::new("above", TITLE);
    picture.wide = true;
    picture.words = words(sheet, ellipse.as_ref());
    picture.legend = vec![
        ("landing", format!("landing on the field (the first {DOTS} computed tries, mean rider)")),
        ("missed", "landing off the field".to_owned()),
        ("ellipse-inner", "ellipse of 95 % of the landings".to_owned()),
        ("ellipse-outer", "ellipse of 99.9 %".to_owned()),
        ("field-area", "landing field".to_owned()),
        ("best", "the bag at the best place".to_owned()),
    ];
    picture.tables = vec![places(sheet), outcomes(sheet)];
    if let Some(ellipse) = &ellipse {
        picture.tables.push(regions(sheet, ellipse));
    }
    picture.drawn(WIDTH, bottom + 44.0, [chart.done()])
}

fn words(sheet: &Sheet<'_>, ellipse: Option<&Ellipse>) -> String {
    let u = Shown::of(sheet.site);
    let p = &sheet.results.placement;
    let worst = sheet.results.riders.worst;
    let mut text = format!(
        "The bag stands {} from the lip, {}. ",
        long(u, p.gap_m),
        match p.offset_m {
            m if m.abs() < 5.0e-4 => "in line with the take-off".to_owned(),
            m if m > 0.0 => format!("its middle {} to the left of the take-off's", long(u, m)),
            m => format!("its middle {} to the right of the take-off's", long(u, -m)),
        }
    );
    if p.miss_now.is_some() {
        text.push_str(&format!(
            "Chance of missing the landing field as it stands ({worst} rider): {}. ",
            miss(sheet.results, p.miss_now)
        ));
    }
    if let (Some(gap), Some(offset)) = (p.best_gap_m.get(), p.best_offset_m.get()) {
        text.push_str(&format!(
            "Best place: gap {}, offset {}, with a chance of {}. ",
            long(u, gap),
            long(u, offset),
            miss(sheet.results, p.miss_at_best.get()),
        ));
    }
    match (p.gap_low_m.get(), p.gap_high_m.get()) {
        (Some(low), Some(high)) => text.push_str(&format!(
            "Gaps from {} to {} keep to {}. ",
            u.length(low, Toward::Up),
            u.length(high, Toward::Down),
            chance(p.target_miss)
        )),
        _ => text.push_str(&format!("No gap keeps to {}. ", chance(p.target_miss))),
    }
    if ellipse.is_none() {
        text.push_str("No landings were sampled.");
    }
    text
}

fn places(sheet: &Sheet<'_>) -> Table {
    let (p, u) = (&sheet.results.placement, Shown::of(sheet.site));
    let [gap, offset] = ["gap", "offset"].map(|what| titled(u, Dimension::Length, what));
    let head = ["place", &gap, &offset, "chance of a miss"];
    let mut table = Table::new("Present and best place of the bag", &head);
    let fixed = |m: f64, _| number_in(u, Dimension::Length, m, 0);
    let maybe = |m: Option<f64>, _| maybe_in(u, Dimension::Length, m, 0);
    let miss = |value: Option<f64>| miss(sheet.results, value);
    table.row(["as it stands".to_owned(), fixed(p.gap_m, 2), fixed(p.offset_m, 2), miss(p.miss_now)]);
    table.row([
        "best".to_owned(),
        maybe(p.best_gap_m.get(), 2),
        maybe(p.best_offset_m.get(), 2),
        miss(p.miss_at_best.get()),
    ]);
    let target = format!("≤ {}", chance(p.target_miss));
    table.row(["nearest of the band".to_owned(), maybe(p.gap_low_m.get(), 2), fixed(p.offset_m, 2), target.clone()]);
    table.row(["farthest of the band".to_owned(), maybe(p.gap_high_m.get(), 2), fixed(p.offset_m, 2), target]);
    table
}

fn outcomes(sheet: &Sheet<'_>) -> Table {
    let runs = sheet.results.spread.sampling.as_ref().map_or(0, |s| s.samples);
    let mut table =
        Table::new(format!("What the {runs} sampled runs of the mean rider come to"), &["outcome", "share"]);
    if let Some(sampling) = &sheet.results.spread.sampling {
        for outcome in Outcome::ALL {
            let share = sampling.outcomes.get(outcome.name()).copied().unwrap_or(0.0);
            table.row([outcome.name().replace('_', " "), chance(share)]);
        }
    }
    table
}

/// How many of the drawn landings the ellipses really hold: they are those of a normal distribution.
fn regions(sheet: &Sheet<'_>, ellipse: &Ellipse) -> Table {
    let u = Shown::of(sheet.site);
    let head = ["along from", "to", "across from", "to"].map(|what| titled(u, Dimension::Length, what));
    let mut table = Table::new(
        format!("The ellipses, and what they hold of the {} runs drawn for them", sheet.points.len()),
        &["ellipse", &head[0], &head[1], &head[2], &head[3], "holds, %"],
    );
    let landed: Vec<(f64, f64)> = sheet
        .points
        .iter()
        .filter(|(_, _, outcome)| !matches!(outcome, Outcome::Stall | Outcome::LeavesSurface | Outcome::Front))
        .map(|(along, across, _)| (*along, *across))
        .collect();
    for share in [0.95, 0.999] {
        let size = radius(share);
        let held = landed.iter().filter(|place| ellipse.inside(size, **place)).count();
        table.row([
            format!("{} %", fixed(100.0 * share, 1)),
            number_in(u, Dimension::Length, ellipse.middle.0 - size * ellipse.sd.0, 0),
            number_in(u, Dimension::Length, ellipse.middle.0 + size * ellipse.sd.0, 0),
            number_in(u, Dimension::Length, ellipse.middle.1 - size * ellipse.sd.1, 0),
            number_in(u, Dimension::Length, ellipse.middle.1 + size * ellipse.sd.1, 0),
            fixed(100.0 * held as f64 / landed.len().max(1) as f64, 2),
        ]);
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Square roots of scipy.stats.chi2.ppf(p, 2): 5.991465 and 13.815511.
    #[test]
    fn radii_of_the_normal_distribution_in_the_plane() {
        assert!((radius(0.95).powi(2) - 5.991_465).abs() < 1e-5);
        assert!((radius(0.999).powi(2) - 13.815_511).abs() < 1e-5);
    }

    #[test]
    fn the_rim_lies_on_the_border_of_the_inside() {
        let e = Ellipse { middle: (4.0, 0.2), sd: (0.8, 0.3), correlation: 0.6 };
        for (along, across) in e.places(2.0) {
            assert!(e.inside(2.000_1, (along, across)) && !e.inside(1.999_9, (along, across)));
        }
    }
}
