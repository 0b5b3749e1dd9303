//! A drawing as DXF of release 12 (AC1009), in millimetres.
//!
//! Written by hand: three kinds of entity need a page of code, and the crate that writes DXF brings an image library,
//! a calendar and big numbers along. Release 12 is what every saw and router reads; `$INSUNITS` is of a later release,
//! readers of release 12 pass over it.

use super::drawing::{Drawing, Layer, Shape};
use std::fmt::Write as _;

/// The file.
#[must_use]
pub fn dxf(drawing: &Drawing) -> String {
    let mut out = String::new();
    let (low, high) = drawing.bounds(0.0, |_| true);
    let mut put = |code: u16, value: &str| {
        // Writing to a text cannot fail.
        let _ = writeln!(out, "{code:>3}\n{value}");
    };
    put(999, "full size, millimetres");
    put(0, "SECTION");
    put(2, "HEADER");
    put(9, "$ACADVER");
    put(1, "AC1009");
    put(9, "$INSUNITS");
    put(70, "4");
    put(9, "$MEASUREMENT");
    put(70, "1");
    for (name, corner) in [("$EXTMIN", low), ("$EXTMAX", high)] {
        put(9, name);
        put(10, &number(corner[0]));
        put(20, &number(corner[1]));
        put(30, "0.0");
    }
    put(0, "ENDSEC");
    put(0, "SECTION");
    put(2, "TABLES");
    put(0, "TABLE");
    put(2, "LTYPE");
    put(70, "2");
    for (name, words, dashes) in [("CONTINUOUS", "Solid line", &[][..]), ("DASHED", "Dashes", &[12.0, -6.0][..])] {
        put(0, "LTYPE");
        put(2, name);
        put(70, "0");
        put(3, words);
        put(72, "65");
        put(73, &dashes.len().to_string());
        put(40, &number(dashes.iter().copied().map(f64::abs).sum()));
        for dash in dashes {
            put(49, &number(*dash));
        }
    }
    put(0, "ENDTAB");
    put(0, "TABLE");
    put(2, "LAYER");
    put(70, &Layer::ALL.len().to_string());
    for layer in Layer::ALL {
        let (colour, line) = match layer {
            Layer::Cut => ("7", "CONTINUOUS"),
            Layer::Joint => ("1", "DASHED"),
            Layer::Mark => ("5", "CONTINUOUS"),
            Layer::Note => ("3", "CONTINUOUS"),
            Layer::Title => ("8", "CONTINUOUS"),
        };
        put(0, "LAYER");
        put(2, layer.name());
        put(70, "0");
        put(62, colour);
        put(6, line);
    }
    put(0, "ENDTAB");
    put(0, "ENDSEC");
    put(0, "SECTION");
    put(2, "ENTITIES");
    for (layer, shape) in &drawing.shapes {
        match shape {
            Shape::Line(a, b) => {
                put(0, "LINE");
                put(8, layer.name());
                for (codes, point) in [((10, 20, 30), a), ((11, 21, 31), b)] {
                    put(codes.0, &number(point[0]));
                    put(codes.1, &number(point[1]));
                    put(codes.2, "0.0");
                }
            }
            Shape::Arc { centre, radius, from_rad, to_rad } => {
                put(0, "ARC");
                put(8, layer.name());
                put(10, &number(centre[0]));
                put(20, &number(centre[1]));
                put(30, "0.0");
                put(40, &number(*radius));
                put(50, &number(from_rad.to_degrees()));
                put(51, &number(to_rad.to_degrees()));
            }
            Shape::Words { at, height, text } => {
                put(0, "TEXT");
                put(8, layer.name());
                put(10, &number(at[0]));
                put(20, &number(at[1]));
                put(30, "0.0");
                put(40, &number(*height));
                put(1, &plain(text));
            }
        }
    }
    put(0, "ENDSEC");
    put(0, "EOF");
    out
}

/// A number with a point, to a millionth.
fn number(value: f64) -> String {
    let text = format!("{value:.6}");
    if text == "-0.000000" { "0.000000".to_owned() } else { text }
}

/// Letters beyond ASCII as the format writes them; no line breaks.
fn plain(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            ' '..='~' => out.push(c),
            c if c.is_control() => out.push(' '),
            c => {
                let _ = write!(out, "\\U+{:04X}", c as u32);
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_come_in_pairs_and_words_are_kept_apart() {
        let drawing = Drawing {
            title: String::new(),
            shapes: vec![
                (Layer::Cut, Shape::Line([0.0, -0.0], [1.5, 2.0])),
                (Layer::Note, Shape::Words { at: [0.0; 2], height: 5.0, text: "a\n0\nLINE é".to_owned() }),
            ],
        };
        let text = dxf(&drawing);
        let lines: Vec<&str> = text.lines().collect();
        assert!(lines.len().is_multiple_of(2) && lines.chunks(2).all(|pair| pair[0].trim().parse::<u16>().is_ok()));
        assert_eq!(lines.chunks(2).filter(|pair| pair == &["  0", "LINE"]).count(), 1);
        assert!(text.contains("a 0 LINE \\U+00E9") && !text.contains("-0.000000"));
        assert!(text.contains("$INSUNITS\n 70\n4\n"));
    }
}
