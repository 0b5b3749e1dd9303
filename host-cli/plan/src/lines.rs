//! Lines of the texts that are longer than a screen: paragraphs and tables, set under a heading.

use std::fmt::Write as _;
use textwrap::{Options, WordSplitter, wrap};

const WIDTH: usize = 100;

/// A paragraph that begins with `first` and hangs as far in; no word is broken at a hyphen.
pub fn paragraph(out: &mut String, first: &str, text: &str) {
    let rest = " ".repeat(first.len());
    let options = Options::new(WIDTH).word_splitter(WordSplitter::NoHyphenation);
    for line in wrap(text, options.initial_indent(first).subsequent_indent(&rest)) {
        // Writing to a text cannot fail.
        let _ = writeln!(out, "{line}");
    }
}

/// Rows of a table, the first `names` columns to the left and the others to the right.
pub fn table(out: &mut String, names: usize, rows: &[Vec<String>]) {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let cell = |row: &Vec<String>, i: usize| row.get(i).map_or(0, |cell| cell.chars().count());
    let widths: Vec<usize> = (0..columns).map(|i| rows.iter().map(|row| cell(row, i)).max().unwrap_or(0)).collect();
    for row in rows {
        let cells: Vec<String> = row
            .iter()
            .zip(&widths)
            .enumerate()
            .map(|(i, (cell, width))| if i < names { format!("{cell:<width$}") } else { format!("{cell:>width$}") })
            .collect();
        let _ = writeln!(out, "  {}", cells.join("  ").trim_end());
    }
}
