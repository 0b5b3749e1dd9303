//! Side view for a narrow screen: take-off, flight and bag alone, with the few figures that are asked for first.

use super::sheet::Sheet;
use super::{Picture, side};

const TITLE: &str = "Take-off, flight and bag, to scale";

/// The picture.
pub fn draw(sheet: &Sheet<'_>) -> Picture {
    side::draw_near(sheet, Picture::new("near", TITLE))
}
