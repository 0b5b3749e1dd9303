//! Pictures as text: places in metres onto a sheet of paper with one scale for both directions.

use crate::labels::{Labels, Placed, SIZE};
use std::fmt::Write as _;

/// One picture and where its labels stand on it.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    /// The whole `svg` element.
    pub svg: String,
    /// Labels with their boxes, for those who look whether one lies over another.
    pub labels: Vec<Placed>,
    /// Width and height of the sheet.
    pub size: (f64, f64),
}

/// A scale for both directions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Units of the sheet for a metre.
    pub per_m: f64,
    /// Where the left edge of what is shown is.
    pub left_m: f64,
    /// Where its upper edge is.
    pub top_m: f64,
    /// Blank on the left and above.
    pub margin: (f64, f64),
}

impl Scale {
    /// A place on the sheet.
    #[must_use]
    pub fn at(&self, (x, up): (f64, f64)) -> (f64, f64) {
        (self.margin.0 + (x - self.left_m) * self.per_m, self.margin.1 + (self.top_m - up) * self.per_m)
    }
}

/// A text as it stands in markup.
#[must_use]
pub fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// Colours and widths of what is drawn; they hold by themselves, so that a picture can stand alone.
const STYLE: &str = "\
.g-earth{fill:#e9dfd0;stroke:#7a6248;stroke-width:1.5}\
.g-bag{fill:#dbe7f5;stroke:#1f4e8c;stroke-width:1.5}\
.g-ghost{fill:#dbe7f5;fill-opacity:.35;stroke:#1f4e8c;stroke-width:1.5;stroke-dasharray:7 3}\
.g-ride{fill:none;stroke:#222;stroke-width:2.5}\
.g-wood{fill:#f3ead8;stroke:#222;stroke-width:1.2}\
.g-leg{stroke:#8a7a5a;stroke-width:1.2}\
.g-band{fill:#f6d9b8;fill-opacity:.6;stroke:none}\
.g-path{fill:none;stroke:#b35900;stroke-width:1.5}\
.g-zone{fill:none;stroke:#1f4e8c;stroke-dasharray:5 4;stroke-width:1}\
.g-edge{stroke:#a3162a;stroke-width:2;stroke-dasharray:9 4}\
.g-thing{fill:#b9cdb2;fill-opacity:.6;stroke:#34552b;stroke-width:1.2}\
.g-wire{stroke:#34552b;stroke-width:2}\
.g-cable{fill:#34552b;stroke:none}\
.g-cut{fill:#c9a46f;stroke:none}\
.g-fill{fill:#d8c9ae;stroke:none}\
.g-chips{fill:#c98f4e;fill-opacity:.8;stroke:none}\
.g-lead{stroke:#555;stroke-width:.7}\
.g-mark{fill:#222}\
.g-peg{fill:#fff;stroke:#a3162a;stroke-width:2}\
.g-tape{stroke:#a3162a;stroke-width:.6;stroke-opacity:.5}\
.g-text{font:12px sans-serif;fill:#111;paint-order:stroke;stroke:#fff;stroke-width:3px;stroke-linejoin:round}";

/// A picture in the making.
pub struct Sheet {
    scale: Scale,
    size: (f64, f64),
    body: String,
    labels: Labels,
}

/// How wide a sheet is.
const WIDTH: f64 = 1000.0;
/// Blank on both sides.
const SIDE: f64 = 24.0;
/// Blank above and below, where labels find room.
const OVER: f64 = 64.0;

impl Sheet {
    /// A sheet that shows a range along and one across (or up), both to one scale.
    #[must_use]
    pub fn new((from_m, to_m): (f64, f64), (low_m, high_m): (f64, f64)) -> Self {
        let per_m = (WIDTH - 2.0 * SIDE) / (to_m - from_m).max(1.0);
        let scale = Scale { per_m, left_m: from_m, top_m: high_m, margin: (SIDE, OVER) };
        let size = (WIDTH, (high_m - low_m) * per_m + 2.0 * OVER);
        Self { scale, size, body: String::new(), labels: Labels::new(size) }
    }

    fn path(&self, points: &[(f64, f64)], closed: bool) -> String {
        let mut d = String::new();
        for (i, point) in points.iter().enumerate() {
            let (x, y) = self.scale.at(*point);
            let _ = write!(d, "{}{x:.1} {y:.1}", if i == 0 { "M" } else { "L" });
        }
        if closed {
            d.push('Z');
        }
        d
    }

    /// A line through places.
    pub fn line(&mut self, class: &str, points: &[(f64, f64)]) {
        let d = self.path(points, false);
        let _ = write!(self.body, "<path class=\"{class}\" fill=\"none\" d=\"{d}\"/>");
    }

    /// A closed shape.
    pub fn shape(&mut self, class: &str, points: &[(f64, f64)]) {
        let d = self.path(points, true);
        let _ = write!(self.body, "<path class=\"{class}\" d=\"{d}\"/>");
    }

    /// A strip with round ends, as thick as twice its radius and never too thin to see.
    pub fn strip(&mut self, class: &str, [a, b]: [(f64, f64); 2], radius_m: f64) {
        let r = (radius_m * self.scale.per_m).max(1.2);
        let (p, q) = (self.scale.at(a), self.scale.at(b));
        let (dx, dy) = (q.0 - p.0, q.1 - p.1);
        let long = dx.hypot(dy);
        if long < 1e-6 {
            let _ = write!(self.body, "<circle class=\"{class}\" cx=\"{:.1}\" cy=\"{:.1}\" r=\"{r:.1}\"/>", p.0, p.1);
            return;
        }
        let (nx, ny) = (-dy / long * r, dx / long * r);
        let _ = write!(
            self.body,
            "<path class=\"{class}\" d=\"M{:.1} {:.1}L{:.1} {:.1}A{r:.1} {r:.1} 0 0 0 {:.1} {:.1}L{:.1} {:.1}A{r:.1} {r:.1} 0 0 0 {:.1} {:.1}Z\"/>",
            p.0 + nx,
            p.1 + ny,
            q.0 + nx,
            q.1 + ny,
            q.0 - nx,
            q.1 - ny,
            p.0 - nx,
            p.1 - ny,
            p.0 + nx,
            p.1 + ny
        );
    }

    /// A dot that no label may lie over.
    pub fn dot(&mut self, class: &str, at: (f64, f64), r: f64) {
        let (x, y) = self.scale.at(at);
        let _ = write!(self.body, "<circle class=\"{class}\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{r:.1}\"/>");
        self.labels.block((x - r, y - r, x + r, y + r));
    }

    /// A text near a place; it is put when all are known.
    pub fn label(&mut self, at: (f64, f64), text: impl Into<String>) {
        let at = self.scale.at(at);
        self.labels.want(at, text.into(), false);
    }

    /// The same for what had better stand below its place.
    pub fn label_under(&mut self, at: (f64, f64), text: impl Into<String>) {
        let at = self.scale.at(at);
        self.labels.want(at, text.into(), true);
    }

    /// A bar of round length, at the lower left.
    pub fn bar(&mut self, words: &str, metres: f64) {
        let y = self.size.1 - 14.0;
        let long = metres * self.scale.per_m;
        let _ = write!(
            self.body,
            "<path class=\"g-ride\" d=\"M{SIDE:.1} {:.1}V{y:.1}H{:.1}V{:.1}\"/>",
            y - 5.0,
            SIDE + long,
            y - 5.0
        );
        self.labels.fixed((SIDE + long + 6.0, y), words.to_owned());
    }

    /// The picture, with its title and words for those who do not see it.
    #[must_use]
    pub fn finish(mut self, title: &str, words: &str) -> Drawing {
        let (placed, height) = self.labels.place();
        self.size.1 = self.size.1.max(height);
        for label in &placed {
            if let Some((from, to)) = label.lead {
                let _ = write!(
                    self.body,
                    "<path class=\"g-lead\" d=\"M{:.1} {:.1}L{:.1} {:.1}\"/>",
                    from.0, from.1, to.0, to.1
                );
            }
        }
        for label in &placed {
            let (left, _, _, bottom) = label.frame;
            let _ = write!(
                self.body,
                "<text class=\"g-text\" x=\"{left:.1}\" y=\"{:.1}\">{}</text>",
                bottom - SIZE * 0.3,
                escaped(&label.text)
            );
        }
        let (w, h) = self.size;
        let svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {w:.0} {h:.0}\" role=\"img\"><title>{}</title><desc>{}</desc><style>{STYLE}</style>{}</svg>",
            escaped(title),
            escaped(words),
            self.body
        );
        Drawing { svg, labels: placed, size: self.size }
    }
}
