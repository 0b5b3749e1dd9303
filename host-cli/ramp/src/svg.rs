//! A drawing as SVG whose size is in millimetres, so that it prints at full size.

use super::drawing::{Drawing, Layer, Shape};
use std::fmt::Write as _;

const MARGIN: f64 = 15.0;

/// The file.
#[must_use]
pub fn svg(drawing: &Drawing) -> String {
    let (low, high) = drawing.bounds(MARGIN, |_| true);
    let (width, height) = (high[0] - low[0], high[1] - low[1]);
    let mut out = String::new();
    // Writing to a text cannot fail. y is turned: up in the drawing, down in the file.
    let _ = write!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}mm\" height=\"{}mm\" viewBox=\"{} {} {} {}\">\n\
         <title>{}</title>\n<style>\n\
         line, path {{ fill: none; stroke: #000; stroke-width: 0.5px }}\n\
         .joint {{ stroke: #b00020; stroke-dasharray: 12 6 }}\n\
         .mark {{ stroke: #1a4f8a; stroke-width: 0.3px }}\n\
         text {{ font-family: Helvetica, Arial, sans-serif; fill: #333 }}\n</style>\n",
        number(width),
        number(height),
        number(low[0]),
        number(-high[1]),
        number(width),
        number(height),
        escaped(&drawing.title)
    );
    for layer in Layer::ALL {
        let _ = writeln!(out, "<g id=\"{}\">", layer.name().to_lowercase());
        for (_, shape) in drawing.shapes.iter().filter(|(on, _)| *on == layer) {
            let class = layer.name().to_lowercase();
            let _ = match shape {
                Shape::Line(a, b) => writeln!(
                    out,
                    "<line class=\"{class}\" x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\"/>",
                    number(a[0]),
                    number(-a[1]),
                    number(b[0]),
                    number(-b[1])
                ),
                Shape::Arc { radius, from_rad, to_rad, centre } => {
                    let at = |angle: f64| [centre[0] + radius * angle.cos(), -centre[1] - radius * angle.sin()];
                    let (a, b) = (at(*from_rad), at(*to_rad));
                    let large = u8::from(to_rad - from_rad > std::f64::consts::PI);
                    let r = number(*radius);
                    // Counter-clockwise with y up is the negative sweep with y down.
                    writeln!(
                        out,
                        "<path class=\"{class}\" d=\"M {} {} A {r} {r} 0 {large} 0 {} {}\"/>",
                        number(a[0]),
                        number(a[1]),
                        number(b[0]),
                        number(b[1])
                    )
                }
                Shape::Words { at, height, text } => writeln!(
                    out,
                    "<text x=\"{}\" y=\"{}\" font-size=\"{}\">{}</text>",
                    number(at[0]),
                    number(-at[1]),
                    number(height / CAPITAL),
                    escaped(text)
                ),
            };
        }
        out.push_str("</g>\n");
    }
    out.push_str("</svg>\n");
    out
}

/// Height of a capital over the size of the font (Helvetica).
pub(super) const CAPITAL: f64 = 0.718;

fn number(value: f64) -> String {
    let text = format!("{value:.4}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}
