//! A drawing cut into sheets of paper that overlap.

use super::drawing::{Drawing, Layer, Point};
use serde::Serialize;

/// How much neighbours share, mm.
pub const OVERLAP: f64 = 10.0;
/// Round every sheet, mm: printers leave about this much white.
const MARGIN: f64 = 10.0;
/// Under the window, for the name and the bar, mm.
const FOOTER: f64 = 12.0;

/// A size of paper, upright.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Paper {
    /// ISO 216 A4.
    A4,
    /// ANSI A (Letter).
    Letter,
}

impl Paper {
    /// Width and height.
    #[must_use]
    pub const fn size_mm(self) -> Point {
        match self {
            Self::A4 => [210.0, 297.0],
            Self::Letter => [215.9, 279.4],
        }
    }

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "Letter",
        }
    }
}

/// One sheet: column from the left and row from below, both from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Tile {
    /// From below.
    pub row: usize,
    /// From the left.
    pub column: usize,
}

impl Tile {
    /// Letters for the row, a number for the column.
    #[must_use]
    pub fn name(&self) -> String {
        let letter = |i: usize| char::from_u32('A' as u32 + (i % 26) as u32).unwrap_or('?');
        let row = match self.row {
            r if r < 26 => letter(r).to_string(),
            r => format!("{}{}", letter(r / 26 - 1), letter(r)),
        };
        format!("{row}{}", self.column + 1)
    }
}

/// How a drawing is cut.
#[derive(Clone, Debug, PartialEq)]
pub struct Tiling {
    /// The paper.
    pub paper: Paper,
    /// The sheets on which something is drawn, row by row from below.
    pub tiles: Vec<Tile>,
    low: Point,
    step: Point,
    columns: usize,
    rows: usize,
}

impl Tiling {
    /// Cuts a drawing; its title is left out.
    #[must_use]
    pub fn new(drawing: &Drawing, paper: Paper) -> Self {
        let size = paper.size_mm();
        let step = [size[0] - 2.0 * MARGIN - OVERLAP, size[1] - 2.0 * MARGIN - FOOTER - OVERLAP];
        let (low, high) = drawing.bounds(2.0, |layer| layer != Layer::Title);
        let many = |i: usize| ((high[i] - low[i]) / step[i]).ceil().max(1.0) as usize;
        let (columns, rows) = (many(0), many(1));
        let mut used = vec![false; columns * rows];
        for (_, shape) in drawing.shapes.iter().filter(|(layer, _)| *layer != Layer::Title) {
            for point in shape.points(2.0) {
                // A line near an edge is wanted on both sheets.
                for near in [[-2.0, -2.0], [2.0, -2.0], [-2.0, 2.0], [2.0, 2.0]] {
                    let cell = |i: usize, count: usize| {
                        (((point[i] + near[i] - low[i]) / step[i]).floor().max(0.0) as usize).min(count - 1)
                    };
                    used[cell(1, rows) * columns + cell(0, columns)] = true;
                }
            }
        }
        let tiles = used
            .iter()
            .enumerate()
            .filter(|(_, used)| **used)
            .map(|(i, _)| Tile { row: i / columns, column: i % columns })
            .collect();
        Self { paper, tiles, low, step, columns, rows }
    }

    /// Corners of a sheet's own part of the drawing, without the overlap.
    #[must_use]
    pub fn cell(&self, tile: &Tile) -> (Point, Point) {
        let low = [self.low[0] + self.step[0] * tile.column as f64, self.low[1] + self.step[1] * tile.row as f64];
        (low, [low[0] + self.step[0], low[1] + self.step[1]])
    }

    /// Corners of what is on a sheet.
    #[must_use]
    pub fn window(&self, tile: &Tile) -> (Point, Point) {
        let (low, high) = self.cell(tile);
        (low.map(|x| x - 0.5 * OVERLAP), high.map(|x| x + 0.5 * OVERLAP))
    }

    /// Corners of all sheets together.
    #[must_use]
    pub fn extent(&self) -> (Point, Point) {
        let high = [self.low[0] + self.step[0] * self.columns as f64, self.low[1] + self.step[1] * self.rows as f64];
        (self.low, high)
    }

    /// Where four sheets meet, in the drawing: the corners of the sheet's own part.
    #[must_use]
    pub fn crosses(&self, tile: &Tile) -> [Point; 4] {
        let (low, high) = self.cell(tile);
        [low, [high[0], low[1]], [low[0], high[1]], high]
    }

    /// Lower left corner of the window on the paper.
    #[must_use]
    pub fn corner_mm(&self) -> Point {
        [MARGIN, MARGIN + FOOTER]
    }

    /// Where the footer's bar stands on the paper.
    #[must_use]
    pub fn footer_mm(&self) -> f64 {
        MARGIN + 3.0
    }
}

#[cfg(test)]
mod tests {
    use super::super::drawing::Shape;
    use super::*;

    #[test]
    fn every_point_of_a_line_is_on_a_sheet() {
        let shape = Shape::Line([-100.0, 0.0], [1500.0, 900.0]);
        let drawing = Drawing { title: String::new(), shapes: vec![(Layer::Cut, shape.clone())] };
        for paper in [Paper::A4, Paper::Letter] {
            let tiling = Tiling::new(&drawing, paper);
            assert!(tiling.tiles.len() < tiling.columns * tiling.rows);
            for point in shape.points(0.5) {
                let on = |tile: &&Tile| {
                    let (low, high) = tiling.cell(tile);
                    (0..2).all(|i| point[i] >= low[i] && point[i] <= high[i])
                };
                assert!(tiling.tiles.iter().any(|tile| on(&tile)), "{point:?} {paper:?}");
            }
            // Neighbours share the overlap, and the window is inside the paper's margins.
            let (low, high) = tiling.window(&tiling.tiles[0]);
            let size = paper.size_mm();
            assert!((high[0] - low[0] + 2.0 * MARGIN - size[0]).abs() < 1e-9);
            assert!((high[1] - low[1] + 2.0 * MARGIN + FOOTER - size[1]).abs() < 1e-9);
        }
        assert_eq!(Tile { row: 27, column: 3 }.name(), "AB4");
    }
}
