//! A drawing area with axes: turns places into marks that carry their scale with them.

use super::markup::{Element, el};
use super::words::fixed;

/// One axis.
#[derive(Clone, Debug)]
pub struct Axis {
    /// Value at its left or lower end.
    pub low: f64,
    /// Value at its right or upper end.
    pub high: f64,
    /// What it shows, with its unit.
    pub label: String,
}

impl Axis {
    /// An axis over given bounds.
    #[must_use]
    pub fn new(low: f64, high: f64, label: impl Into<String>) -> Self {
        let high = if high > low { high } else { low + 1.0 };
        Self { low, high, label: label.into() }
    }

    /// From 0 to a little more than a value.
    #[must_use]
    pub fn from_zero(high: f64, label: impl Into<String>) -> Self {
        Self::new(0.0, 1.06 * high, label)
    }

    /// Round places on it, about `count` of them, with the places behind the point that they need.
    fn ticks(&self, count: f64) -> (Vec<f64>, usize) {
        let rough = (self.high - self.low) / count.max(1.0);
        let power = 10.0_f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].iter().map(|m| m * power).find(|step| *step >= rough).unwrap_or(10.0 * power);
        let places = (-step.log10().floor()).max(0.0) as usize;
        let (first, last) = ((self.low / step - 1e-9).ceil() as i64, (self.high / step + 1e-9).floor() as i64);
        ((first..=last).take(60).map(|i| i as f64 * step).collect(), places)
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

/// A drawing area.
#[derive(Clone, Debug)]
pub struct Chart {
    frame: Frame,
    x: Axis,
    y: Axis,
    group: Element,
}

/// A coordinate with two places.
#[must_use]
pub fn px(value: f64) -> String {
    format!("{value:.2}")
}

/// A text at a place in user units.
#[must_use]
pub fn label(x: f64, y: f64, anchor: Anchor, text: impl Into<String>) -> Element {
    el("text").with("x", px(x)).with("y", px(y)).with("text-anchor", anchor.name()).text(text)
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
            .with("data-x", format!("{} {}", x.low, x.high))
            .with("data-y", format!("{} {}", y.low, y.high))
            .with("data-frame", [frame.left, frame.top, frame.right, frame.bottom].map(px).join(" "));
        Self { frame, x, y, group }
    }

    /// Puts a ruler under it.
    pub fn ruler_x(&mut self, name: &str) {
        let Frame { left, top, right, bottom } = self.frame;
        let (xs, places) = self.x.ticks((right - left) / 80.0);
        for x in xs {
            let at = self.x_px(x);
            self.line_px("grid", [at, top, at, bottom]);
            self.push(label(at, bottom + 17.0, Anchor::Middle, fixed(x, places)).class("tick"));
        }
        self.line_px("axis", [left, bottom, right, bottom]);
        if !name.is_empty() {
            self.push(label(right, bottom + 35.0, Anchor::End, name).class("name"));
        }
    }

    fn rulers(&mut self) {
        let Frame { left, top, right, bottom } = self.frame;
        let name = self.x.label.clone();
        self.ruler_x(&name);
        let (ys, places) = self.y.ticks((bottom - top) / 42.0);
        for y in ys {
            let at = self.y_px(y);
            self.line_px("grid", [left, at, right, at]);
            self.push(label(left - 6.0, at + 4.5, Anchor::End, fixed(y, places)).class("tick"));
        }
        self.line_px("axis", [left, top, left, bottom]);
        if !self.y.label.is_empty() {
            self.push(label((left - 42.0).max(2.0), top - 9.0, Anchor::Start, self.y.label.clone()).class("name"));
        }
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

    /// A line through places; `series` names what it shows.
    pub fn line(&mut self, class: &str, series: &str, places: &[(f64, f64)]) {
        let points = self.points(places);
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

    /// A dot.
    pub fn dot(&mut self, class: &str, series: &str, (x, y): (f64, f64), radius: f64) {
        let (x, y) = (px(self.x_px(x)), px(self.y_px(y)));
        self.push(el("circle").class(class).with("data-series", series).with("cx", x).with("cy", y).with("r", radius));
    }

    /// A line across at a height, with its name above it at the right or left end.
    pub fn level(&mut self, class: &str, series: &str, y: f64, anchor: Anchor, text: &str) {
        let (low, high) = (self.x.low, self.x.high);
        self.line(class, series, &[(low, y), (high, y)]);
        let x = if anchor == Anchor::Start { self.frame.left + 5.0 } else { self.frame.right - 5.0 };
        let above = self.y_px(y) - 5.0;
        let at = if above < self.frame.top + 10.0 { self.y_px(y) + 15.0 } else { above };
        self.push(label(x, at, anchor, text).class("note halo"));
    }

    /// A line up at a place, with its name beside its upper end, `down` user units lower.
    pub fn upright(&mut self, class: &str, series: &str, x: f64, down: f64, text: &str) {
        let (low, high) = (self.y.low, self.y.high);
        self.line(class, series, &[(x, low), (x, high)]);
        let at = self.x_px(x);
        let late = at > 0.5 * (self.frame.left + self.frame.right);
        let (x, anchor) = if late { (at - 5.0, Anchor::End) } else { (at + 5.0, Anchor::Start) };
        self.push(label(x, self.frame.top + 12.0 + down, anchor, text).class("note halo"));
    }

    /// A name at a place, moved by user units.
    pub fn name(&mut self, (x, y): (f64, f64), (right, down): (f64, f64), anchor: Anchor, text: impl Into<String>) {
        let at = label(self.x_px(x) + right, self.y_px(y) + down, anchor, text).class("note halo");
        self.push(at);
    }

    /// A measure between two places across, drawn at a height in user units: witness lines from the heights given.
    pub fn measure_x(&mut self, [x0, x1]: [f64; 2], from_y: [f64; 2], at_px: f64, text: &str, text_down: f64) {
        let (a, b) = (self.x_px(x0), self.x_px(x1));
        for (x, y) in [(a, from_y[0]), (b, from_y[1])] {
            let from = self.y_px(y);
            self.line_px("witness", [x, from, x, at_px + 4.0]);
        }
        self.arrow([a, at_px, b, at_px]);
        self.push(label(0.5 * (a + b), at_px + text_down, Anchor::Middle, text).class("measure halo"));
    }

    /// A measure between two heights, drawn at a place across in user units, its text beside a share of it from below.
    pub fn measure_y(&mut self, [y0, y1]: [f64; 2], at_px: f64, anchor: Anchor, share: f64, text: &str) {
        let (a, b) = (self.y_px(y0), self.y_px(y1));
        self.arrow([at_px, a, at_px, b]);
        let x = if anchor == Anchor::End { at_px - 6.0 } else { at_px + 6.0 };
        self.push(label(x, a + share * (b - a) + 5.0, anchor, text).class("measure halo"));
    }

    /// A line with a short slanting stroke at either end, as on a builder's drawing.
    fn arrow(&mut self, [x1, y1, x2, y2]: [f64; 4]) {
        self.line_px("measure-line", [x1, y1, x2, y2]);
        for (x, y) in [(x1, y1), (x2, y2)] {
            self.line_px("measure-line", [x - 4.0, y + 4.0, x + 4.0, y - 4.0]);
        }
    }

    /// What was drawn.
    #[must_use]
    pub fn done(self) -> Element {
        self.group
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let (ticks, places) = Axis::new(-0.3, 2.1, "").ticks(5.0);
        assert_eq!((ticks, places), (vec![0.0, 0.5, 1.0, 1.5, 2.0], 1));
        let (ticks, places) = Axis::new(0.0, 1750.0, "").ticks(4.0);
        assert_eq!((ticks, places), (vec![0.0, 500.0, 1000.0, 1500.0], 0));
    }

    #[test]
    fn a_metre_is_as_long_both_ways() {
        let (chart, bottom) = Chart::to_scale(50.0, 20.0, 950.0, Axis::new(-18.0, 12.0, ""), Axis::new(-1.0, 8.0, ""));
        assert!((bottom - 290.0).abs() < 1e-9);
        assert!((chart.x_px(1.0) - chart.x_px(0.0) - (chart.y_px(0.0) - chart.y_px(1.0))).abs() < 1e-9);
    }
}
