//! A drawing as PDF at full size: on one page, or over sheets of paper that are laid edge to edge.
//!
//! 1 pt = 25.4/72 mm. What is drawn is in millimetres under one matrix; an arc is drawn in pieces of at most 15°, whose
//! cubics leave the circle by less than 1e-8 of its radius.

use super::choices::BuildError;
use super::drawing::{Drawing, Layer, Point, Shape};
use super::svg::CAPITAL;
use super::tiles::{Tile, Tiling};
use pdf_writer::types::LineCapStyle;
use pdf_writer::{Content, Finish as _, Name, Pdf, Rect, Ref, Str, TextStr};

/// Points in a millimetre.
const PT: f64 = 72.0 / 25.4;
/// Longest side of a page that readers take: 200 in.
const LONGEST_MM: f64 = 14_400.0 / PT;
const MARGIN: f64 = 15.0;
const FONT: Name<'static> = Name(b"F1");

/// All on one page.
///
/// # Errors
/// [`BuildError::TooLarge`] where no page holds it.
pub fn whole(drawing: &Drawing) -> Result<Vec<u8>, BuildError> {
    let (low, high) = drawing.bounds(MARGIN, |_| true);
    let size = [high[0] - low[0], high[1] - low[1]];
    let longest_mm = size[0].max(size[1]);
    if longest_mm > LONGEST_MM {
        return Err(BuildError::TooLarge { longest_mm, most_mm: LONGEST_MM });
    }
    let mut page = Page::new();
    page.place(low, [0.0, 0.0], 1.0);
    page.shapes(drawing.shapes.iter());
    page.content.restore_state();
    Ok(document(&drawing.title, &[(size, page.content.finish().into_vec())]))
}

/// A plan of the sheets, then every sheet that something is drawn on.
#[must_use]
pub fn tiled(drawing: &Drawing, tiling: &Tiling) -> Vec<u8> {
    let paper = tiling.paper.size_mm();
    let mut pages = vec![(paper, plan(drawing, tiling))];
    for tile in &tiling.tiles {
        pages.push((paper, sheet(drawing, tiling, tile)));
    }
    document(&drawing.title, &pages)
}

/// One sheet: its window of the drawing, crosses where four sheets meet, its name, the bar.
fn sheet(drawing: &Drawing, tiling: &Tiling, tile: &Tile) -> Vec<u8> {
    let mut page = Page::new();
    let (low, high) = tiling.window(tile);
    let [left, bottom] = tiling.corner_mm();
    page.content.save_state();
    page.content.transform([PT as f32, 0.0, 0.0, PT as f32, 0.0, 0.0]);
    page.rect([left, bottom], [high[0] - low[0], high[1] - low[1]]);
    page.content.clip_nonzero().end_path();
    page.place_mm(low, [left, bottom], 1.0);
    let near =
        |shape: &Shape| shape.points(5.0).iter().any(|p| (0..2).all(|i| p[i] > low[i] - 10.0 && p[i] < high[i] + 10.0));
    page.shapes(drawing.shapes.iter().filter(|(layer, shape)| *layer != Layer::Title && near(shape)));
    page.width(0.15);
    page.content.set_stroke_gray(0.0);
    for [x, y] in tiling.crosses(tile) {
        page.line([x - 4.0, y], [x + 4.0, y]);
        page.line([x, y - 4.0], [x, y + 4.0]);
    }
    page.content.restore_state();
    page.content.restore_state();
    page.millimetres();
    page.width(0.15);
    page.content.set_stroke_gray(0.6);
    page.rect([left, bottom], [high[0] - low[0], high[1] - low[1]]);
    page.content.stroke();
    let y = tiling.footer_mm();
    page.bar([left, y], false);
    page.words([left + 106.0, y + 1.0], 4.5, &tile.name());
    page.words([left + 122.0, y + 4.0], 2.0, &drawing.title);
    page.words([left + 122.0, y], 2.0, "Print at 100 %. Lay cross on cross.");
    page.content.restore_state();
    page.content.finish().into_vec()
}

/// The first page: which sheet lies where.
fn plan(drawing: &Drawing, tiling: &Tiling) -> Vec<u8> {
    let mut page = Page::new();
    let [paper_w, paper_h] = tiling.paper.size_mm();
    page.millimetres();
    let left = 15.0;
    page.words([left, paper_h - 22.0], 5.0, &drawing.title);
    let words = [
        format!(
            "{} sheets of {} and this plan. Print at 100 % (no fitting to the page).",
            tiling.tiles.len(),
            tiling.paper.name()
        ),
        "Measure both bars below and the bar on every sheet: each is 100 mm.".to_owned(),
        format!("Sheets overlap by {} mm. Lay the crosses of neighbours on each other.", super::tiles::OVERLAP),
        "Sheets on which nothing is drawn are left out.".to_owned(),
        "Loads are not checked: a qualified builder decides what carries the ramp.".to_owned(),
    ];
    for (i, line) in words.iter().enumerate() {
        page.words([left, paper_h - 32.0 - 6.0 * i as f64], 2.5, line);
    }
    page.bar([left, 20.0], false);
    page.bar([left, 28.0], true);
    let (low, high) = tiling.extent();
    let room = [paper_w - 2.0 * left, paper_h - 70.0 - 140.0];
    let scale = (room[0] / (high[0] - low[0])).min(room[1] / (high[1] - low[1]));
    page.place_mm(low, [left, 138.0], scale);
    page.shapes_only_lines(drawing);
    let mm = 1.0 / scale;
    for tile in &tiling.tiles {
        let (low, high) = tiling.cell(tile);
        page.width(0.15 * mm);
        page.content.set_stroke_gray(0.6);
        page.rect(low, [high[0] - low[0], high[1] - low[1]]);
        page.content.stroke();
        let name = tile.name();
        let height = (0.22 * (high[0] - low[0])).min(4.0 * mm);
        page.words([low[0] + 0.08 * (high[0] - low[0]), low[1] + 0.08 * (high[1] - low[1])], height, &name);
    }
    page.content.restore_state();
    page.content.restore_state();
    page.content.finish().into_vec()
}

struct Page {
    content: Content,
}

impl Page {
    fn new() -> Self {
        Self { content: Content::new() }
    }

    /// Millimetres of the page from its lower left corner.
    fn millimetres(&mut self) {
        self.content.save_state();
        self.content.transform([PT as f32, 0.0, 0.0, PT as f32, 0.0, 0.0]);
    }

    /// Millimetres of the drawing, with its `low` at a place of the page, inside points.
    fn place(&mut self, low: Point, at: Point, scale: f64) {
        self.content.save_state();
        let [x, y] = [0, 1].map(|i| (PT * (at[i] - scale * low[i])) as f32);
        self.content.transform([(PT * scale) as f32, 0.0, 0.0, (PT * scale) as f32, x, y]);
    }

    /// The same inside millimetres.
    fn place_mm(&mut self, low: Point, at: Point, scale: f64) {
        self.content.save_state();
        let [x, y] = [0, 1].map(|i| (at[i] - scale * low[i]) as f32);
        self.content.transform([scale as f32, 0.0, 0.0, scale as f32, x, y]);
    }

    fn width(&mut self, mm: f64) {
        self.content.set_line_width(mm as f32);
    }

    fn rect(&mut self, at: Point, size: Point) {
        self.content.rect(at[0] as f32, at[1] as f32, size[0] as f32, size[1] as f32);
    }

    fn line(&mut self, a: Point, b: Point) {
        self.content.move_to(a[0] as f32, a[1] as f32).line_to(b[0] as f32, b[1] as f32).stroke();
    }

    fn words(&mut self, at: Point, height: f64, text: &str) {
        self.content.begin_text().set_font(FONT, (height / CAPITAL) as f32);
        self.content.set_text_matrix([1.0, 0.0, 0.0, 1.0, at[0] as f32, at[1] as f32]);
        self.content.show(Str(&latin(text))).end_text();
    }

    /// A bar of 100 mm with its ends marked.
    fn bar(&mut self, at: Point, upright: bool) {
        self.width(0.25);
        self.content.set_stroke_gray(0.0);
        let turn = |x: f64, y: f64| if upright { [at[0] - y, at[1] + x] } else { [at[0] + x, at[1] + y] };
        self.line(turn(0.0, 0.0), turn(100.0, 0.0));
        for x in [0.0, 50.0, 100.0] {
            self.line(turn(x, -2.0), turn(x, 2.0));
        }
        let [x, y] = turn(40.0, 3.0);
        self.words(if upright { [at[0] + 3.0, y] } else { [x, y] }, 2.0, "100 mm");
    }

    fn style(&mut self, layer: Layer, hairline: f64) {
        let (width, grey) = match layer {
            Layer::Cut => (0.4, 0.0),
            Layer::Joint => (0.3, 0.2),
            Layer::Mark => (0.2, 0.4),
            Layer::Note | Layer::Title => (0.25, 0.0),
        };
        self.width(width * hairline);
        self.content.set_stroke_gray(grey);
        let dashes: &[f32] = if layer == Layer::Joint { &[12.0, 6.0] } else { &[] };
        self.content.set_dash_pattern(dashes.iter().map(|dash| dash * hairline as f32), 0.0);
        self.content.set_line_cap(LineCapStyle::ButtCap);
    }

    fn shapes<'a>(&mut self, shapes: impl Iterator<Item = &'a (Layer, Shape)>) {
        for (layer, shape) in shapes {
            self.style(*layer, 1.0);
            match shape {
                Shape::Line(a, b) => self.line(*a, *b),
                Shape::Arc { centre, radius, from_rad, to_rad } => self.arc(*centre, *radius, *from_rad, *to_rad),
                Shape::Words { at, height, text } => self.words(*at, *height, text),
            }
        }
        self.content.set_dash_pattern([], 0.0);
    }

    /// What is sawn and where it joins, with lines as thin as on a page at full size.
    fn shapes_only_lines(&mut self, drawing: &Drawing) {
        let wanted = drawing.shapes.iter().filter(|(layer, _)| matches!(layer, Layer::Cut | Layer::Joint));
        let hairline = drawing.bounds(0.0, |layer| layer != Layer::Title);
        let hairline = ((hairline.1[0] - hairline.0[0]) / 180.0).max(1.0);
        for (layer, shape) in wanted {
            self.style(*layer, hairline);
            match shape {
                Shape::Line(a, b) => self.line(*a, *b),
                Shape::Arc { centre, radius, from_rad, to_rad } => self.arc(*centre, *radius, *from_rad, *to_rad),
                Shape::Words { .. } => {}
            }
        }
        self.content.set_dash_pattern([], 0.0);
    }

    /// A cubic for each piece of at most 15°: handles of 4/3 tan(angle/4) of the radius along the tangents.
    fn arc(&mut self, centre: Point, radius: f64, from_rad: f64, to_rad: f64) {
        let count = ((to_rad - from_rad) / 15.0_f64.to_radians()).ceil().max(1.0) as usize;
        let step = (to_rad - from_rad) / count as f64;
        let handle = 4.0 / 3.0 * (0.25 * step).tan();
        let at = |angle: f64, ahead: f64| {
            let (sin, cos) = angle.sin_cos();
            [(centre[0] + radius * (cos - ahead * sin)) as f32, (centre[1] + radius * (sin + ahead * cos)) as f32]
        };
        let [x, y] = at(from_rad, 0.0);
        self.content.move_to(x, y);
        for i in 0..count {
            let a = from_rad + step * i as f64;
            let (p1, p2, p3) = (at(a, handle), at(a + step, -handle), at(a + step, 0.0));
            self.content.cubic_to(p1[0], p1[1], p2[0], p2[1], p3[0], p3[1]);
        }
        self.content.stroke();
    }
}

/// Letters as the standard fonts have them; `?` for all others.
fn latin(text: &str) -> Vec<u8> {
    text.chars()
        .map(|c| u8::try_from(u32::from(c)).ok().filter(|b| (32..127).contains(b) || *b > 160).unwrap_or(b'?'))
        .collect()
}

fn document(title: &str, pages: &[(Point, Vec<u8>)]) -> Vec<u8> {
    let mut pdf = Pdf::new();
    let mut next = Ref::new(1);
    let (catalogue, tree, font, info) = (next.bump(), next.bump(), next.bump(), next.bump());
    let ids: Vec<(Ref, Ref)> = pages.iter().map(|_| (next.bump(), next.bump())).collect();
    pdf.catalog(catalogue).pages(tree);
    let count = i32::try_from(pages.len()).unwrap_or(i32::MAX);
    pdf.pages(tree).kids(ids.iter().map(|(page, _)| *page)).count(count);
    for ((size, content), (page_id, content_id)) in pages.iter().zip(&ids) {
        let mut page = pdf.page(*page_id);
        page.parent(tree).media_box(Rect::new(0.0, 0.0, (size[0] * PT) as f32, (size[1] * PT) as f32));
        page.contents(*content_id);
        page.resources().fonts().pair(FONT, font);
        page.finish();
        pdf.stream(*content_id, content);
    }
    let mut helvetica = pdf.type1_font(font);
    helvetica.base_font(Name(b"Helvetica"));
    helvetica.encoding_predefined(Name(b"WinAnsiEncoding"));
    helvetica.finish();
    pdf.document_info(info).title(TextStr(title));
    pdf.finish()
}
