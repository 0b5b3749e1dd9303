//! A drawing area with axes: turns places into marks that carry their scale with them, and finds room for their names.

use super::markup::{Element, el};
use super::words::{fixed, titled};
use crate::shown::Shown;
use crate::site::Dimension;

/// One axis. Its bounds are SI; what it says is in the unit that it is shown in.
#[derive(Clone, Debug)]
pub struct Axis {
    /// Value at its left or lower end.
    pub low: f64,
    /// Value at its right or upper end.
    pub high: f64,
    /// What it shows, with its unit.
    pub label: String,
    /// SI units per unit shown.
    pub per: f64,
}

impl Axis {
    /// An axis over given bounds.
    #[must_use]
    pub fn new(low: f64, high: f64, label: impl Into<String>) -> Self {
        let high = if high > low { high } else { low + 1.0 };
        Self { low, high, label: label.into(), per: 1.0 }
    }

    /// The same of a dimension, in the unit that the site's people use; `what` is named with that unit behind it.
    #[must_use]
    pub fn of(u: Shown, dimension: Dimension, low: f64, high: f64, what: &str) -> Self {
        let label = if what.is_empty() { String::new() } else { titled(u, dimension, what) };
        Self { per: 1.0 / u.value(dimension, 1.0), ..Self::new(low, high, label) }
    }

    /// From 0 to a little more than a value.
    #[must_use]
    pub fn from_zero(high: f64, label: impl Into<String>) -> Self {
        Self::new(0.0, 1.06 * high, label)
    }

    /// Round places on it, about `count` of them, and what stands there.
    fn ticks(&self, count: f64) -> Vec<(f64, String)> {
        let (low, high) = (self.low / self.per, self.high / self.per);
        let rough = (high - low) / count.max(1.0);
        let power = 10.0_f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].iter().map(|m| m * power).find(|step| *step >= rough).unwrap_or(10.0 * power);
        let places = (-step.log10().floor()).max(0.0) as usize;
        let (first, last) = ((low / step - 1e-9).ceil() as i64, (high / step + 1e-9).floor() as i64);
        let values = (first..=last).take(60).map(|i| i as f64 * step);
        values.map(|value| (value * self.per, fixed(value, places))).collect()
    }
}

/// Where a text hangs on its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// It begins there.
    Start,
    /// Its middle is there.
    Middle,
    /// It ends there.
    End,
}

impl Anchor {
    const fn name(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Middle => "middle",
            Self::End => "end",
        }
    }
}

/// Left, top, right and bottom of a drawing area in user units, y downwards.
#[derive(Clone, Copy, Debug)]
pub struct Frame {
    /// Left side.
    pub left: f64,
    /// Upper side.
    pub top: f64,
    /// Right side.
    pub right: f64,
    /// Lower side.
    pub bottom: f64,
}

/// Left, top, right and bottom.
type Bounds = [f64; 4];

/// A text that waits for a free place.
#[derive(Clone, Debug)]
struct Wanted {
    class: &'static str,
    text: String,
    /// Places in user units that it would have, the best first.
    spots: Vec<(f64, f64, Anchor)>,
    /// What it names, as a box.
    aim: Bounds,
}

/// A drawing area.
#[derive(Clone, Debug)]
pub struct Chart {
    frame: Frame,
    x: Axis,
    y: Axis,
    group: Element,
    /// Where texts may stand.
    room: Bounds,
    taken: Vec<Bounds>,
    strokes: Vec<Bounds>,
    wanted: Vec<Wanted>,
    texts: Vec<Element>,
}

/// A coordinate with two places.
#[must_use]
pub fn px(value: f64) -> String {
    format!("{value:.2}")
}

/// A text at a place in user units.
fn label(x: f64, y: f64, anchor: Anchor, text: impl Into<String>) -> Element {
    el("text").with("x", px(x)).with("y", px(y)).with("text-anchor", anchor.name()).text(text)
}

/// Room between two texts.
const APART: f64 = 1.5;
/// A name further than this from what it names has a line to it.
const FAR: f64 = 26.0;

/// Size of a class's letters, and how much wider they are than plain ones.
fn size(class: &str) -> (f64, f64) {
    match class.split(' ').next() {
        Some("tick") => (13.5, 1.0),
        Some("name") => (14.0, 1.0),
        Some("small") => (12.5, 1.0),
        Some("measure") => (14.5, 1.12),
        _ => (14.5, 1.0),
    }
}

/// The box round a text: as wide as the widest of the usual fonts makes it.
fn around(x: f64, y: f64, anchor: Anchor, class: &str, text: &str) -> Bounds {
    let (size, wider) = size(class);
    let letters: f64 = text
        .chars()
        .map(|c| match c {
            ' ' | '.' | ',' | ':' | ';' | '/' | '(' | ')' => 0.4,
            'i' | 'l' | 'j' | '\'' | '’' => 0.29,
            'f' | 't' | 'r' => 0.42,
            'm' | 'w' | '%' | 'M' | 'W' | '−' | '+' => 0.97,
            c if c.is_uppercase() => 0.72,
            _ => 0.64,
        })
        .sum();
    let width = letters * size * wider;
    let left = match anchor {
        Anchor::Start => x,
        Anchor::Middle => x - 0.5 * width,
        Anchor::End => x - width,
    };
    [left, y - 0.94 * size, left + width, y + 0.25 * size]
}

fn overlap(a: &Bounds, b: &Bounds) -> bool {
    a[0] < b[2] + APART && b[0] < a[2] + APART && a[1] < b[3] + APART && b[1] < a[3] + APART
}

/// Whether a stroke passes through a box.
fn crosses([x0, y0, x1, y1]: &Bounds, [left, top, right, bottom]: &Bounds) -> bool {
    let (mut from, mut to) = (0.0_f64, 1.0_f64);
    for (start, step, low, high) in [(x0, x1 - x0, left, right), (y0, y1 - y0, top, bottom)] {
        if step == 0.0 {
            if start < low || start > high {
                return false;
            }
            continue;
        }
        let (a, b) = ((low - start) / step, (high - start) / step);
        from = from.max(a.min(b));
        to = to.min(a.max(b));
    }
    from <= to
}

impl Chart {
    /// An area with axes, ticks and labels.
    #[must_use]
    pub fn new(frame: Frame, x: Axis, y: Axis) -> Self {
        let mut chart = Self::bare(frame, x, y);
        chart.rulers();
        chart
    }

    /// An area of a given left, top and right whose height makes a metre as long both ways; and that height's end.
    #[must_use]
    pub fn to_scale(left: f64, top: f64, right: f64, x: Axis, y: Axis) -> (Self, f64) {
        let per_m = (right - left) / (x.high - x.low);
        let bottom = top + per_m * (y.high - y.low);
        (Self::new(Frame { left, top, right, bottom }, x, y), bottom)
    }

    /// An area without rulers.
    #[must_use]
    pub fn bare(frame: Frame, x: Axis, y: Axis) -> Self {
        let group = el("g")
            .class("plot")
            .with("data-x", format!("{} {}", x.low / x.per, x.high / x.per))
            .with("data-y", format!("{} {}", y.low / y.per, y.high / y.per))
            .with("data-per", format!("{} {}", x.per, y.per))
            .with("data-frame", [frame.left, frame.top, frame.right, frame.bottom].map(px).join(" "));
        let room = [2.0, frame.top, frame.right + 12.0, frame.bottom];
        let (taken, strokes, wanted, texts) = Default::default();
        Self { frame, x, y, group, room, taken, strokes, wanted, texts }
    }

    /// Where names may stand, in user units: left, top, right, bottom.
    pub fn give_room(&mut self, room: Bounds) {
        self.room = room;
    }

    /// A text that has its own place.
    pub fn text(&mut self, x: f64, y: f64, anchor: Anchor, class: &'static str, text: impl Into<String>) {
        let text = text.into();
        self.taken.push(around(x, y, anchor, class, &text));
        self.texts.push(label(x, y, anchor, text).class(class));
    }

    /// A text that finds its place when all is drawn: the first of these that is free, else near them with a line to
    /// what it names.
    pub fn place(
        &mut self,
        class: &'static str,
        text: impl Into<String>,
        aim: Bounds,
        spots: impl IntoIterator<Item = (f64, f64, Anchor)>,
    ) {
        self.wanted.push(Wanted { class, text: text.into(), spots: spots.into_iter().collect(), aim });
    }

    /// The number of a tick, unless another text stands there.
    fn tick(&mut self, x: f64, y: f64, anchor: Anchor, text: String) {
        let own = around(x, y, anchor, "tick", &text);
        if !self.taken.iter().any(|other| overlap(&own, other)) {
            self.text(x, y, anchor, "tick", text);
        }
    }

    /// Puts a ruler under it.
    pub fn ruler_x(&mut self, name: &str) {
        let Frame { left, top, right, bottom } = self.frame;
        for (x, text) in self.x.ticks((right - left) / 80.0) {
            let at = self.x_px(x);
            self.line_px("grid", [at, top, at, bottom]);
            self.tick(at, bottom + 19.0, Anchor::Middle, text);
        }
        self.line_px("axis", [left, bottom, right, bottom]);
        if !name.is_empty() {
            self.text(right, bottom + 38.0, Anchor::End, "name", name);
        }
    }

    fn rulers(&mut self) {
        let Frame { left, top, right, bottom } = self.frame;
        let name = self.x.label.clone();
        if !self.y.label.is_empty() {
            self.text((left - 42.0).max(2.0), top - 12.0, Anchor::Start, "name", self.y.label.clone());
        }
        for (y, text) in self.y.ticks((bottom - top) / 42.0) {
            let at = self.y_px(y);
            self.line_px("grid", [left, at, right, at]);
            self.tick(left - 6.0, at + 4.5, Anchor::End, text);
        }
        self.ruler_x(&name);
        self.line_px("axis", [left, top, left, bottom]);
    }

    /// Place of a value across.
    #[must_use]
    pub fn x_px(&self, x: f64) -> f64 {
        self.frame.left + (self.frame.right - self.frame.left) * (x - self.x.low) / (self.x.high - self.x.low)
    }

    /// Place of a value up.
    #[must_use]
    pub fn y_px(&self, y: f64) -> f64 {
        self.frame.bottom - (self.frame.bottom - self.frame.top) * (y - self.y.low) / (self.y.high - self.y.low)
    }

    /// User units for one unit across.
    #[must_use]
    pub fn per_x(&self) -> f64 {
        (self.frame.right - self.frame.left) / (self.x.high - self.x.low)
    }

    /// Adds an element as it stands.
    pub fn push(&mut self, element: Element) {
        self.group.push(element);
    }

    /// A line in user units.
    pub fn line_px(&mut self, class: &str, [x1, y1, x2, y2]: [f64; 4]) {
        self.push(el("line").class(class).with("x1", px(x1)).with("y1", px(y1)).with("x2", px(x2)).with("y2", px(y2)));
    }

    fn points(&self, places: &[(f64, f64)]) -> String {
        let list: Vec<String> =
            places.iter().map(|(x, y)| format!("{},{}", px(self.x_px(*x)), px(self.y_px(*y)))).collect();
        list.join(" ")
    }

    /// Names keep off a line through places.
    fn keep_off(&mut self, places: &[(f64, f64)]) {
        for pair in places.windows(2) {
            let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
            self.strokes.push([self.x_px(x0), self.y_px(y0), self.x_px(x1), self.y_px(y1)]);
        }
    }

    /// A line through places; `series` names what it shows.
    pub fn line(&mut self, class: &str, series: &str, places: &[(f64, f64)]) {
        let points = self.points(places);
        self.keep_off(places);
        self.push(el("polyline").class(format!("line {class}")).with("data-series", series).with("points", points));
    }

    /// An area inside places.
    pub fn area(&mut self, class: &str, series: &str, places: &[(f64, f64)]) {
        let points = self.points(places);
        self.push(el("polygon").class(class).with("data-series", series).with("points", points));
    }

    /// A rectangle between two corners.
    pub fn rect(&mut self, class: &str, series: &str, (x0, y0): (f64, f64), (x1, y1): (f64, f64)) {
        let (left, right) = (self.x_px(x0.min(x1)), self.x_px(x0.max(x1)));
        let (top, bottom) = (self.y_px(y0.max(y1)), self.y_px(y0.min(y1)));
        self.push(
            el("rect")
                .class(class)
                .with("data-series", series)
                .with("x", px(left))
                .with("y", px(top))
                .with("width", px(right - left))
                .with("height", px(bottom - top)),
        );
    }

    /// Names keep off a box in user units.
    pub fn shun(&mut self, [left, top, right, bottom]: Bounds) {
        self.strokes.extend([[left, top, right, bottom], [left, bottom, right, top]]);
    }

    /// A dot.
    pub fn dot(&mut self, class: &str, series: &str, (x, y): (f64, f64), radius: f64) {
        let (at_x, at_y) = (self.x_px(x), self.y_px(y));
        if radius > 2.0 {
            self.shun([at_x - radius, at_y - radius, at_x + radius, at_y + radius]);
        }
        let circle = el("circle").class(class).with("data-series", series);
        self.push(circle.with("cx", px(at_x)).with("cy", px(at_y)).with("r", radius));
    }

    /// A line across at a height, with its name above or below it, at the right or left end first.
    pub fn level(&mut self, class: &str, series: &str, y: f64, anchor: Anchor, text: &str) {
        let (low, high) = (self.x.low, self.x.high);
        self.line(class, series, &[(low, y), (high, y)]);
        let (left, right) = (self.frame.left + 5.0, self.frame.right - 5.0);
        let at = self.y_px(y);
        let mut ends = [(left, Anchor::Start), (right, Anchor::End), (0.5 * (left + right), Anchor::Middle)];
        if anchor == Anchor::End {
            ends.swap(0, 1);
        }
        let spots = ends.iter().flat_map(|(x, anchor)| [(*x, at - 5.0, *anchor), (*x, at + 16.0, *anchor)]);
        self.place("note halo", text, [left, at, right, at], spots);
    }

    /// A line up at a place, with its name beside it, `down` user units below its upper end.
    pub fn upright(&mut self, class: &str, series: &str, x: f64, down: f64, text: &str) {
        let (low, high) = (self.y.low, self.y.high);
        self.line(class, series, &[(x, low), (x, high)]);
        let at = self.x_px(x);
        let late = at > 0.5 * (self.frame.left + self.frame.right);
        let mut sides = [(at + 5.0, Anchor::Start), (at - 5.0, Anchor::End)];
        if late {
            sides.swap(0, 1);
        }
        let top = self.frame.top + 14.0;
        let spots = sides.iter().flat_map(|(x, anchor)| {
            [down, down + 20.0, down - 20.0, 0.0, 40.0].map(|down| (*x, top + down.max(0.0), *anchor))
        });
        self.place("note halo", text, [at, self.frame.top, at, self.frame.bottom], spots);
    }

    /// A name at a place, moved by user units, or to the other side of it.
    pub fn name(&mut self, (x, y): (f64, f64), (right, down): (f64, f64), anchor: Anchor, text: impl Into<String>) {
        let (x, y) = (self.x_px(x), self.y_px(y));
        let other = match anchor {
            Anchor::Start => Anchor::End,
            Anchor::Middle => Anchor::Middle,
            Anchor::End => Anchor::Start,
        };
        let below = if down < 0.0 { 14.0 - down } else { 6.0 - down };
        let spots = [
            (x + right, y + down, anchor),
            (x + right, y + below, anchor),
            (x - right, y + down, other),
            (x - right, y + below, other),
        ];
        self.place("note halo", text, [x, y, x, y], spots);
    }

    /// A measure between two places across, drawn at a height in user units: witness lines from the heights given.
    pub fn measure_x(&mut self, [x0, x1]: [f64; 2], from_y: [f64; 2], at_px: f64, text: &str) {
        let (a, b) = (self.x_px(x0), self.x_px(x1));
        for (x, y) in [(a, from_y[0]), (b, from_y[1])] {
            let from = self.y_px(y);
            self.line_px("witness", [x, from, x, at_px + 4.0]);
        }
        self.arrow([a, at_px, b, at_px]);
        let middle = 0.5 * (a + b);
        let spots = [
            (middle, at_px - 5.0, Anchor::Middle),
            (middle, at_px + 18.0, Anchor::Middle),
            (b + 5.0, at_px + 18.0, Anchor::Start),
            (a - 5.0, at_px + 18.0, Anchor::End),
            (middle, at_px + 35.0, Anchor::Middle),
        ];
        self.place("measure halo", text, [a, at_px, b, at_px], spots);
    }

    /// A measure between two heights, drawn at a place across in user units, its text beside a share of it from below.
    pub fn measure_y(&mut self, [y0, y1]: [f64; 2], at_px: f64, anchor: Anchor, share: f64, text: &str) {
        let (a, b) = (self.y_px(y0), self.y_px(y1));
        self.arrow([at_px, a, at_px, b]);
        let mut sides = [(at_px + 6.0, Anchor::Start), (at_px - 6.0, Anchor::End)];
        if anchor == Anchor::End {
            sides.swap(0, 1);
        }
        let shares = [share, 0.5, 0.75, 0.25, 0.9, 0.1];
        let spots = sides.iter().flat_map(|(x, anchor)| shares.map(|share| (*x, a + share * (b - a) + 5.0, *anchor)));
        self.place("measure halo", text, [at_px, a.min(b), at_px, a.max(b)], spots);
    }

    /// A line with a short slanting stroke at either end, as on a builder's drawing.
    fn arrow(&mut self, [x1, y1, x2, y2]: [f64; 4]) {
        self.line_px("measure-line", [x1, y1, x2, y2]);
        self.strokes.push([x1, y1, x2, y2]);
        for (x, y) in [(x1, y1), (x2, y2)] {
            self.line_px("measure-line", [x - 4.0, y + 4.0, x + 4.0, y - 4.0]);
        }
    }

    /// The first free place of a text, and whether it is far from what it names.
    fn free(&self, wanted: &Wanted) -> Option<(f64, f64, Anchor)> {
        let [left, top, right, bottom] = self.room;
        let inside = |own: &Bounds| own[0] >= left && own[1] >= top && own[2] <= right && own[3] <= bottom;
        let clear = |own: &Bounds| !self.taken.iter().any(|other| overlap(own, other));
        let unstruck = |own: &Bounds| !self.strokes.iter().any(|stroke| crosses(stroke, own));
        let bounds = |(x, y, anchor): (f64, f64, Anchor)| around(x, y, anchor, wanted.class, &wanted.text);
        let first = wanted.spots.first().copied().unwrap_or((wanted.aim[0], wanted.aim[1], Anchor::Middle));
        // Pushed into the room, then in rings round it.
        let near = |reach: u32| {
            let own = bounds(first);
            let into = |low: f64, high: f64, from: f64, to: f64| {
                if low < from {
                    from - low
                } else if high > to {
                    to - high
                } else {
                    0.0
                }
            };
            let home = (first.0 + into(own[0], own[2], left, right), first.1 + into(own[1], own[3], top, bottom));
            (0..=reach).flat_map(move |ring| {
                (0..16).map(move |i| {
                    let (sin, cos) = (f64::from(i) * std::f64::consts::TAU / 16.0).sin_cos();
                    let far = f64::from(ring) * 7.0;
                    (home.0 + 1.6 * far * cos, home.1 - far * sin, first.2)
                })
            })
        };
        let good = |spot: &(f64, f64, Anchor)| {
            let own = bounds(*spot);
            inside(&own) && clear(&own) && unstruck(&own)
        };
        let fair = |spot: &(f64, f64, Anchor)| {
            let own = bounds(*spot);
            inside(&own) && clear(&own)
        };
        let spots = || wanted.spots.iter().copied();
        spots().find(good).or_else(|| near(6).find(good)).or_else(|| spots().find(fair)).or_else(|| near(70).find(fair))
    }

    /// What was drawn, the names over it.
    #[must_use]
    pub fn done(mut self) -> Element {
        for wanted in std::mem::take(&mut self.wanted) {
            // Where there is no room at all, the words and the table say it.
            let Some((x, y, anchor)) = self.free(&wanted) else { continue };
            let own = around(x, y, anchor, wanted.class, &wanted.text);
            // From the text's nearest place to the nearest of what it names; one inside the other has none.
            let between = |i: usize| {
                let (low, high) = (wanted.aim[i].max(own[i]), wanted.aim[i + 2].min(own[i + 2]));
                if low <= high {
                    (0.5 * (low + high), 0.5 * (low + high))
                } else if own[i] > wanted.aim[i + 2] {
                    (own[i], wanted.aim[i + 2])
                } else {
                    (own[i + 2], wanted.aim[i])
                }
            };
            let ((x0, x1), (y0, y1)) = (between(0), between(1));
            if (x1 - x0).hypot(y1 - y0) > FAR {
                self.line_px("leader", [x0, y0, x1, y1]);
            }
            self.text(x, y, anchor, wanted.class, wanted.text);
        }
        self.group.all(self.texts)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let said = |axis: Axis, count| axis.ticks(count).into_iter().map(|(_, text)| text).collect::<Vec<_>>();
        assert_eq!(said(Axis::new(-0.3, 2.1, ""), 5.0), ["0.0", "0.5", "1.0", "1.5", "2.0"]);
        assert_eq!(said(Axis::new(0.0, 1750.0, ""), 4.0), ["0", "500", "1000", "1500"]);
        // 0 to 6 m is 0 to 19.7 ft.
        let feet = Shown::new(crate::site::Units::Imperial, crate::site::Gauge::InH2O);
        let axis = Axis::of(feet, Dimension::Length, 0.0, 6.0, "height");
        assert_eq!(axis.label, "height, ft");
        assert!((axis.ticks(4.0)[1].0 - 5.0 * 0.3048).abs() < 1e-9);
        assert_eq!(said(axis, 4.0), ["0", "5", "10", "15"]);
    }

    #[test]
    fn a_metre_is_as_long_both_ways() {
        let (chart, bottom) = Chart::to_scale(50.0, 20.0, 950.0, Axis::new(-18.0, 12.0, ""), Axis::new(-1.0, 8.0, ""));
        assert!((bottom - 290.0).abs() < 1e-9);
        assert!((chart.x_px(1.0) - chart.x_px(0.0) - (chart.y_px(0.0) - chart.y_px(1.0))).abs() < 1e-9);
    }

    /// Ten names for one place: none stands over another, and none outside.
    #[test]
    fn names_make_room_for_each_other() {
        let frame = Frame { left: 40.0, top: 30.0, right: 420.0, bottom: 300.0 };
        let mut chart = Chart::new(frame, Axis::new(0.0, 1.0, "x"), Axis::new(0.0, 1.0, "y"));
        chart.line("given", "a line", &[(0.0, 0.0), (1.0, 1.0)]);
        for i in 0..10 {
            chart.name((0.5, 0.5), (5.0, -5.0), Anchor::Start, format!("a name of some length {i}"));
        }
        let before = chart.taken.len();
        let wanted = std::mem::take(&mut chart.wanted);
        for one in &wanted {
            let (x, y, anchor) = chart.free(one).unwrap();
            chart.text(x, y, anchor, one.class, one.text.clone());
        }
        let placed = &chart.taken[before..];
        assert_eq!(placed.len(), 10);
        for (i, a) in chart.taken.iter().enumerate() {
            assert!(chart.taken.iter().skip(i + 1).all(|b| !overlap(a, b)), "{a:?}");
        }
        assert!(placed.iter().all(|own| own[0] >= 2.0 && own[2] <= 432.0 && own[1] >= 30.0 && own[3] <= 300.0));
    }
}
