//! Pictures of a plan, the report to print and the card for the fence.
//!
//! Every picture is a pure function from a [`Sheet`] to a [`Picture`]: drawing, words for those who do not see it, and a
//! table of the numbers behind it. [`html::page`] puts them into one file that needs nothing else, [`card::page`] makes
//! the page for the fence.

mod above;
mod blower;
pub mod card;
mod chart;
mod cut;
mod descent;
mod effects;
pub mod ground;
pub mod html;
pub mod landing;
mod markup;
mod near;
mod played;
mod ride_by;
mod scale;
mod shares;
mod sheet;
mod short;
mod side;
mod surface;
#[cfg(test)]
mod tests;
mod touch;
mod words;

pub use html::STYLE;
pub use played::Played;
pub use sheet::{RUNS, Sheet};
pub use words::{fixed, places, unit};

use markup::{Element, el};

/// A table of the numbers behind a picture.
#[derive(Clone, Debug, Default)]
pub struct Table {
    /// What it lists.
    pub caption: String,
    /// Heads of the columns.
    pub head: Vec<String>,
    /// Rows; the first cell names the row.
    pub rows: Vec<Vec<String>>,
}

impl Table {
    fn new(caption: impl Into<String>, head: &[impl AsRef<str>]) -> Self {
        let head = head.iter().map(|text| text.as_ref().to_owned()).collect();
        Self { caption: caption.into(), head, rows: Vec::new() }
    }

    fn row(&mut self, cells: impl IntoIterator<Item = impl Into<String>>) {
        self.rows.push(cells.into_iter().map(Into::into).collect());
    }
}

/// One picture.
#[derive(Clone, Debug)]
pub struct Picture {
    /// Name within the page.
    pub id: &'static str,
    /// Heading.
    pub title: &'static str,
    /// What it shows, in words, with the figures that matter.
    pub words: String,
    /// The drawing as SVG; `None` where there is nothing to draw, and `words` says why.
    pub svg: Option<String>,
    /// Another drawing of the same for a narrow screen.
    pub near: Option<String>,
    /// What its marks mean: class of a sample, and words.
    pub legend: Vec<(&'static str, String)>,
    /// The numbers behind it.
    pub tables: Vec<Table>,
    /// Wants the whole width of the page.
    pub wide: bool,
}

impl Picture {
    fn new(id: &'static str, title: &'static str) -> Self {
        Self {
            id,
            title,
            words: String::new(),
            svg: None,
            near: None,
            legend: Vec::new(),
            tables: Vec::new(),
            wide: false,
        }
    }

    /// Nothing to draw, and why.
    fn none(id: &'static str, title: &'static str, why: impl Into<String>) -> Self {
        Self { words: why.into(), ..Self::new(id, title) }
    }

    /// Puts the drawing in, with its title and words for those who do not see it.
    fn drawn(mut self, width: f64, height: f64, parts: impl IntoIterator<Item = Element>) -> Self {
        self.svg = Some(self.drawing("", width, height, parts));
        self
    }

    /// The same for the drawing on a narrow screen.
    fn drawn_near(mut self, width: f64, height: f64, parts: impl IntoIterator<Item = Element>) -> Self {
        self.near = Some(self.drawing("near-", width, height, parts));
        self
    }

    fn drawing(&self, which: &str, width: f64, height: f64, parts: impl IntoIterator<Item = Element>) -> String {
        let (title, words) = (format!("{}-{which}title", self.id), format!("{}-{which}words", self.id));
        let svg = el("svg")
            .with("viewBox", format!("0 0 {width:.0} {height:.0}"))
            .with("role", "img")
            .with("aria-labelledby", format!("{title} {words}"))
            .add(el("title").with("id", title).text(self.title))
            .add(el("desc").with("id", words).text(self.words.clone()))
            .all(parts);
        svg.render()
    }
}

/// The pictures of some names, in the order of the ride.
#[must_use]
pub fn some_pictures(sheet: &Sheet<'_>, wanted: &[String]) -> Vec<Picture> {
    let of_pages = PAGES.iter().chain(&DRAW);
    let mut list: Vec<Picture> =
        of_pages.filter(|(id, _)| wanted.iter().any(|name| name == id)).map(|(_, draw)| draw(sheet)).collect();
    if wanted.iter().any(|name| name.starts_with("ground-")) {
        list.extend(ground::of_sheet(sheet).into_iter().filter(|one| wanted.iter().any(|name| name == one.id)));
    }
    list
}

/// All pictures of a page: of those for narrow screens first.
#[must_use]
pub fn page_pictures(sheet: &Sheet<'_>) -> Vec<Picture> {
    PAGES.iter().map(|(_, draw)| draw(sheet)).chain(pictures(sheet)).collect()
}

/// All pictures, in the order of the ride.
#[must_use]
pub fn pictures(sheet: &Sheet<'_>) -> Vec<Picture> {
    DRAW.iter().map(|(_, draw)| draw(sheet)).chain(ground::of_sheet(sheet)).collect()
}

/// How a picture is drawn.
type Draw = fn(&Sheet<'_>) -> Picture;

/// Pictures for the page on a narrow screen alone; on paper and on wide screens the others show more.
const PAGES: [(&str, Draw); 1] = [("near", near::draw)];

/// Each picture's name and how it is drawn.
const DRAW: [(&str, Draw); 10] = [
    ("side", side::draw),
    ("above", above::draw),
    ("descent", descent::draw),
    ("short", short::draw),
    ("touch", touch::draw),
    ("scale", scale::draw),
    ("cut", cut::draw),
    ("blower", blower::draw),
    ("shares", shares::draw),
    ("effects", effects::draw),
];
