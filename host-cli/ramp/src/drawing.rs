//! A drawing at full size in millimetres, y up: lines, arcs and words on layers; and the template of a part as one.

use super::arc::Arc;
use super::choices::Choices;
use super::parts::{Kind, Part};

/// What a line is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Layer {
    /// Saw here.
    Cut,
    /// Two pieces meet here.
    Joint,
    /// A joist stands here, or a row of the offsets table.
    Mark,
    /// Words beside a mark.
    Note,
    /// The title and the bar to check the scale with; not on tiles, which have their own.
    Title,
}

impl Layer {
    /// Every layer.
    pub const ALL: [Self; 5] = [Self::Cut, Self::Joint, Self::Mark, Self::Note, Self::Title];

    /// Its name in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Cut => "CUT",
            Self::Joint => "JOINT",
            Self::Mark => "MARK",
            Self::Note => "NOTE",
            Self::Title => "TITLE",
        }
    }
}

/// A point, mm.
pub type Point = [f64; 2];

/// One thing drawn.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// A straight line.
    Line(Point, Point),
    /// A circular arc, counter-clockwise; angles from the x axis.
    Arc {
        /// Centre.
        centre: Point,
        /// Radius, mm.
        radius: f64,
        /// Where it begins.
        from_rad: f64,
        /// Where it ends, greater than `from_rad`.
        to_rad: f64,
    },
    /// Words, from the left end of their base line.
    Words {
        /// Where they begin.
        at: Point,
        /// Height of a capital, mm.
        height: f64,
        /// The words.
        text: String,
    },
}

/// A drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    /// What it is of.
    pub title: String,
    /// What is on it.
    pub shapes: Vec<(Layer, Shape)>,
}

impl Shape {
    /// Points on it, no farther apart than `step` mm; the box of words at its corners.
    #[must_use]
    pub fn points(&self, step: f64) -> Vec<Point> {
        let parts = |length: f64| (length / step).ceil().clamp(1.0, 1e5) as usize;
        match self {
            Self::Line(a, b) => {
                let n = parts((b[0] - a[0]).hypot(b[1] - a[1]));
                let at = |i: usize| i as f64 / n as f64;
                (0..=n).map(|i| [a[0] + (b[0] - a[0]) * at(i), a[1] + (b[1] - a[1]) * at(i)]).collect()
            }
            Self::Arc { centre, radius, from_rad, to_rad } => {
                let n = parts(radius * (to_rad - from_rad));
                (0..=n)
                    .map(|i| {
                        let angle = from_rad + (to_rad - from_rad) * i as f64 / n as f64;
                        [centre[0] + radius * angle.cos(), centre[1] + radius * angle.sin()]
                    })
                    .collect()
            }
            Self::Words { at, height, text } => {
                let width = 0.8 * height * text.chars().count() as f64;
                vec![*at, [at[0] + width, at[1] + height]]
            }
        }
    }
}

impl Drawing {
    /// Lower left and upper right corner of what is on some layers, with a margin in mm.
    #[must_use]
    pub fn bounds(&self, margin: f64, wanted: impl Fn(Layer) -> bool) -> (Point, Point) {
        let mut low = [f64::INFINITY; 2];
        let mut high = [f64::NEG_INFINITY; 2];
        for (_, shape) in self.shapes.iter().filter(|(layer, _)| wanted(*layer)) {
            for point in shape.points(50.0) {
                for axis in 0..2 {
                    low[axis] = low[axis].min(point[axis]);
                    high[axis] = high[axis].max(point[axis]);
                }
            }
        }
        if low[0] > high[0] {
            return ([0.0; 2], [1.0; 2]);
        }
        (low.map(|x| x - margin), high.map(|x| x + margin))
    }

    fn line(&mut self, layer: Layer, a: Point, b: Point) {
        self.shapes.push((layer, Shape::Line(a, b)));
    }

    fn words(&mut self, layer: Layer, at: Point, height: f64, text: impl Into<String>) {
        self.shapes.push((layer, Shape::Words { at, height, text: text.into() }));
    }

    /// The curve below an arc between two slope angles.
    fn arc(&mut self, layer: Layer, arc: &Arc, depth_m: f64, angles_rad: (f64, f64)) {
        // A point at slope θ lies at θ − 90° as seen from the centre where the arc turns upward, else at θ + 90°.
        let turned = -arc.bend() * std::f64::consts::FRAC_PI_2;
        let (from, to) = (angles_rad.0.min(angles_rad.1), angles_rad.0.max(angles_rad.1));
        self.shapes.push((
            layer,
            Shape::Arc {
                centre: arc.centre_m().map(mm),
                radius: mm(arc.radius_below_m(depth_m)),
                from_rad: from + turned,
                to_rad: to + turned,
            },
        ));
    }
}

fn mm(m: f64) -> f64 {
    1e3 * m
}

fn tenth(value: f64) -> String {
    let text = format!("{value:.1}");
    if text == "-0.0" { "0.0".to_owned() } else { text }
}

/// The template of a part at full size.
#[must_use]
pub fn template(site: &str, part: &Part, choices: &Choices) -> Drawing {
    let mut drawing = Drawing { title: format!("{site}: {}", part.name), shapes: Vec::new() };
    match part.kind {
        Kind::Panel => panel(&mut drawing, part, choices),
        Kind::Rib => rib(&mut drawing, part, choices),
    }
    joists(&mut drawing, part, choices);
    offsets(&mut drawing, part, choices);
    let (low, _) = drawing.bounds(0.0, |_| true);
    let y = low[1] - 30.0;
    drawing.words(Layer::Title, [low[0], y - 15.0], 15.0, drawing.title.clone());
    let facts = format!(
        "{} alike; ridden surface R {}; edge R {}; deck {} mm; loads are not checked",
        part.count,
        tenth(mm(part.arc.radius_m)),
        tenth(mm(part.edge_radius_m)),
        tenth(mm(choices.deck_m()))
    );
    drawing.words(Layer::Title, [low[0], y - 35.0], 8.0, facts);
    let bar = y - 55.0;
    drawing.line(Layer::Title, [low[0], bar], [low[0] + 100.0, bar]);
    for x in [0.0, 100.0] {
        drawing.line(Layer::Title, [low[0] + x, bar - 4.0], [low[0] + x, bar + 4.0]);
    }
    drawing.words(Layer::Title, [low[0] + 108.0, bar - 3.0], 6.0, "100 mm: measure it before anything is cut");
    drawing
}

fn panel(drawing: &mut Drawing, part: &Part, choices: &Choices) {
    let (arc, deck_m) = (&part.arc, choices.deck_m());
    let edge = |x_m: f64| arc.at_x_m(x_m, deck_m).unwrap_or((0.0, 0.0));
    let (from, to) = (edge(part.from_x_m), edge(part.to_x_m));
    drawing.line(Layer::Cut, [mm(part.from_x_m), 0.0], [mm(part.to_x_m), 0.0]);
    for (x_m, (z_m, _)) in [(part.from_x_m, from), (part.to_x_m, to)] {
        if z_m > 1e-6 {
            drawing.line(Layer::Cut, [mm(x_m), 0.0], [mm(x_m), mm(z_m)]);
        }
    }
    drawing.arc(Layer::Cut, arc, deck_m, (from.1, to.1));
    for x_m in &part.joints_m {
        drawing.line(Layer::Joint, [mm(*x_m), 0.0], [mm(*x_m), mm(edge(*x_m).0)]);
    }
    for z_m in &part.level_joints_m {
        let rising = to.0 > from.0;
        if let Some(x_m) = arc.x_at_height_m(*z_m, deck_m, rising) {
            let end_m = if rising { part.to_x_m } else { part.from_x_m };
            drawing.line(Layer::Joint, [mm(x_m), mm(*z_m)], [mm(end_m), mm(*z_m)]);
        }
    }
}

fn rib(drawing: &mut Drawing, part: &Part, choices: &Choices) {
    let arc = &part.arc;
    let depths_m = [choices.deck_m(), choices.deck_m() + choices.rib_depth_m];
    let ends_rad = (arc.start_rad, arc.start_rad + arc.turn_rad);
    for depth_m in depths_m {
        drawing.arc(Layer::Cut, arc, depth_m, ends_rad);
    }
    let length_m = arc.length_m(0.0);
    let across = |along_m: f64| depths_m.map(|depth_m| arc.at_m(along_m, depth_m).map(mm));
    for along_m in [0.0, length_m] {
        let [a, b] = across(along_m);
        drawing.line(Layer::Cut, a, b);
    }
    for along_m in &part.joints_m {
        let [a, b] = across(*along_m);
        drawing.line(Layer::Joint, a, b);
    }
}

fn joists(drawing: &mut Drawing, part: &Part, choices: &Choices) {
    let half = mm(0.5 * choices.joist_width_m);
    let depth = mm(choices.joist_depth_m);
    for joist in part.joists.iter().filter(|joist| !joist.packing) {
        let angle_rad = if joist.upright { 0.0 } else { part.arc.angle_rad(joist.along_m) };
        let (sin, cos) = angle_rad.sin_cos();
        let at = |along: f64, down: f64| {
            [mm(joist.x_m) + along * cos + down * sin, mm(joist.z_m) + along * sin - down * cos]
        };
        let mut corners = [at(-half, 0.0), at(half, 0.0), at(half, depth), at(-half, depth)];
        if joist.upright {
            // Bevelled to the deck.
            for corner in &mut corners[..2] {
                if let Some((z_m, _)) = part.arc.at_x_m(1e-3 * corner[0], choices.deck_m()) {
                    corner[1] = mm(z_m);
                }
            }
        }
        for (i, corner) in corners.iter().enumerate() {
            drawing.line(Layer::Mark, *corner, corners[(i + 1) % 4]);
        }
        let number = joist.number.to_string();
        let [x, y] = at(0.0, 0.5 * depth);
        drawing.words(Layer::Note, [x - 4.5 * number.len() as f64, y - 6.0], 12.0, number);
    }
}

fn offsets(drawing: &mut Drawing, part: &Part, choices: &Choices) {
    // Words of 7 mm are about 60 mm long: fewer of them where the rows stand closer.
    let every = (65.0 / mm(choices.offset_spacing_m)).ceil().max(1.0) as usize;
    for (i, row) in part.offsets.iter().enumerate() {
        let Some(edge_m) = row.edge_m else { continue };
        let (x, z) = (mm(row.x_m), mm(edge_m));
        let down = if part.kind == Kind::Panel { (z - 12.0).max(0.0) } else { z - 12.0 };
        drawing.line(Layer::Mark, [x, z], [x, down]);
        let regular = (row.x_m / choices.offset_spacing_m).round() as usize;
        let is_regular = (regular as f64 * choices.offset_spacing_m - row.x_m).abs() < 1e-9;
        let last = i + 1 == part.offsets.len();
        if !(is_regular && regular.is_multiple_of(every)) || last {
            continue;
        }
        let words = format!("{}: {}", tenth(x), tenth(z));
        match part.kind {
            Kind::Panel => {
                drawing.line(Layer::Mark, [x, 0.0], [x, -10.0]);
                drawing.words(Layer::Note, [x + 2.0, -10.0], 7.0, words);
            }
            Kind::Rib => drawing.words(Layer::Note, [x + 4.0, z + 4.0], 7.0, words),
        }
    }
}
