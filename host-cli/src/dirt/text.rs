//! The other landings to read, and as tables of comma-separated values.

use super::Progress;
use crate::plan::words::{metres, number};
use crate::shown::Shown;
use std::fmt::Write as _;
use textwrap::{Options, WordSplitter, wrap};

const WIDTH: usize = 100;

/// The tables that there are.
pub const TABLES: [&str; 2] = ["surface", "slopes"];

fn degrees(value: f64) -> String {
    number(value, 1)
}

fn or_dash(value: Option<f64>) -> String {
    value.map_or_else(|| "-".to_owned(), |m| number(m, 2))
}

fn paragraph(out: &mut String, first: &str, text: &str) {
    let rest = " ".repeat(first.len());
    let options = Options::new(WIDTH).word_splitter(WordSplitter::NoHyphenation);
    for line in wrap(text, options.initial_indent(first).subsequent_indent(&rest)) {
        let _ = writeln!(out, "{line}");
    }
}

fn table(out: &mut String, rows: &[Vec<String>]) {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let cell = |row: &Vec<String>, i: usize| row.get(i).map_or(0, |cell| cell.chars().count());
    let widths: Vec<usize> = (0..columns).map(|i| rows.iter().map(|row| cell(row, i)).max().unwrap_or(0)).collect();
    for row in rows {
        let cells: Vec<String> = row.iter().zip(&widths).map(|(cell, width)| format!("{cell:>width$}")).collect();
        let _ = writeln!(out, "  {}", cells.join("  ").trim_end());
    }
}

/// The whole answer.
#[must_use]
pub fn text(p: &Progress) -> String {
    let mut out = format!("{}: the same jump onto other landings\n\n", p.site);
    paragraph(
        &mut out,
        "",
        &format!(
            "The mean run comes down {} from the lip, {} above the take-off's foot; 998 of 1,000 of all three riders \
             come down {} to {} from the lip.",
            metres(Shown::default(), p.mean_distance_m),
            metres(Shown::default(), p.mean_height_m),
            metres(Shown::default(), p.field_m.0),
            metres(Shown::default(), p.field_m.1)
        ),
    );
    if !p.assumed.is_empty() {
        paragraph(&mut out, "", &format!("Assumed, since not stated: {}.", p.assumed.join(", ")));
    }
    slopes(&mut out, p);
    surface(&mut out, p);
    out.push_str("\nDirt is no bag\n");
    for note in &p.not_a_bag {
        paragraph(&mut out, "  - ", note);
    }
    out.push_str("\nCautions\n");
    for caution in &p.cautions {
        paragraph(&mut out, "  - ", caution);
    }
    out
}

fn slopes(out: &mut String, p: &Progress) {
    out.push_str("\nPlane landings through the place of the mean landing (equivalent fall height, m)\n");
    let mut head: Vec<String> = ["slope", "from lip", "mean", "hard"].map(str::to_owned).to_vec();
    let fills = p.slopes.iter().map(|slope| &slope.loose_fill).find(|fills| !fills.is_empty());
    head.extend(fills.into_iter().flatten().map(|fill| fill.material.to_owned()));
    let mut rows = vec![head];
    for slope in &p.slopes {
        let mut row = vec![
            degrees(slope.slope_deg),
            or_dash(slope.distance_from_lip_m),
            or_dash(slope.mean_fall_m),
            or_dash(slope.hard_fall_m),
        ];
        row.extend(slope.loose_fill.iter().map(|fill| {
            match (fill.mean_within, fill.hard_within) {
                (true, Some(true)) => "within",
                (true, Some(false)) => "mean only",
                (true, None) => "mean",
                (false, _) => "outside",
            }
            .to_owned()
        }));
        rows.push(row);
    }
    table(out, &rows);
    if let Some(fills) = fills {
        let words: Vec<String> = fills
            .iter()
            .map(|fill| {
                format!(
                    "{} {} cm ({} cm filled in) {}",
                    fill.material,
                    number(100.0 * fill.depth_m, 0),
                    number(100.0 * fill.filled_m, 0),
                    metres(Shown::default(), fill.table_fall_height_m)
                )
            })
            .collect();
        paragraph(
            out,
            "  ",
            &format!(
                "Slope in degrees, down positive; each plane goes on both ways, and -: a slow run never rises over it. \
                 Mean only: the hard fall is outside the table. The table: {}.",
                words.join(", ")
            ),
        );
    }
}

fn surface(out: &mut String, p: &Progress) {
    let limit = metres(Shown::default(), p.question.limit_m);
    let _ =
        writeln!(out, "\nThe surface on which no run of the mean rider falls more than {limit}, whatever its speed");
    let Some(surface) = &p.surface else {
        paragraph(out, "  ", "None: no run passes the place where it would begin.");
        return;
    };
    let mut head: Vec<String> = ["from lip", "height", "slope", "falls", "lip m/s", "path"].map(str::to_owned).to_vec();
    head.extend(p.question.slopes_deg.iter().map(|deg| format!("on {}", degrees(*deg))));
    let mut rows = vec![head];
    for row in &surface.rows {
        let mut cells = vec![
            number(row.distance_m, 2),
            number(row.height_m, 2),
            degrees(row.slope_deg),
            number(row.fall_m, 2),
            number(row.lip_speed_mps, 2),
            degrees(row.path_deg),
        ];
        cells.extend(row.fall_on_slopes_m.iter().map(|m| number(*m, 2)));
        rows.push(cells);
    }
    table(out, &rows);
    paragraph(
        out,
        "  ",
        "Heights above the take-off's foot, m; slopes in degrees, down positive; falls in m. The last columns are the fall \
         of the same run onto ground of those slopes at that place.",
    );
    let steepest = degrees(p.question.steepest_deg);
    let verdict = match (surface.whole, surface.too_steep_from_m) {
        (false, _) => {
            "It ends before the field does: beyond its last row it would be steeper than 80 degrees, or no run \
                       passes. A higher limit, a lower start or a slacker lip would change it."
                .to_owned()
        }
        (true, Some(from_m)) => format!(
            "OUTSIDE: from {} on it is steeper than {steepest} degrees, up to {}. A higher limit, a lower start or a \
             slacker lip would change it.",
            metres(Shown::default(), from_m),
            degrees(surface.steepest_deg)
        ),
        (true, None) if surface.drop_m < 1e-3 => "It may be level: no run of the field falls as much.".to_owned(),
        (true, None) => format!(
            "At most {} degrees steep, {} lower at its end; inside {steepest} degrees.",
            degrees(surface.steepest_deg),
            metres(Shown::default(), surface.drop_m)
        ),
    };
    paragraph(out, "  ", &verdict);
}

/// One table as rows of cells, the first with the names; `None` for a name that is none of [`TABLES`].
#[must_use]
pub fn csv(p: &Progress, table: &str) -> Option<Vec<Vec<String>>> {
    let cell = |value: Option<f64>| value.map_or_else(String::new, |v| format!("{v:.6}"));
    let names = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>();
    match table {
        "surface" => {
            let mut head = names(&["distance_m", "height_m", "slope_deg", "fall_m", "lip_speed_mps", "path_deg"]);
            head.extend(p.question.slopes_deg.iter().map(|deg| format!("fall_on_{}_deg_m", crate::site::plain(*deg))));
            let rows = p.surface.iter().flat_map(|surface| &surface.rows).map(|row| {
                let fixed = [row.distance_m, row.height_m, row.slope_deg, row.fall_m, row.lip_speed_mps, row.path_deg];
                fixed.iter().chain(&row.fall_on_slopes_m).map(|value| cell(Some(*value))).collect()
            });
            Some(std::iter::once(head).chain(rows).collect())
        }
        "slopes" => {
            let head = names(&[
                "slope_deg",
                "distance_from_lip_m",
                "normal_mps",
                "mean_fall_m",
                "hard_fall_m",
                "material",
                "depth_m",
                "filled_m",
                "table_fall_height_m",
                "mean_within",
                "hard_within",
            ]);
            let rows = p.slopes.iter().flat_map(|slope| {
                slope.loose_fill.iter().map(move |fill| {
                    vec![
                        cell(Some(slope.slope_deg)),
                        cell(slope.distance_from_lip_m),
                        cell(slope.normal_mps),
                        cell(slope.mean_fall_m),
                        cell(slope.hard_fall_m),
                        fill.material.to_owned(),
                        cell(Some(fill.depth_m)),
                        cell(Some(fill.filled_m)),
                        cell(Some(fill.table_fall_height_m)),
                        fill.mean_within.to_string(),
                        fill.hard_within.map_or_else(String::new, |within| within.to_string()),
                    ]
                })
            });
            Some(std::iter::once(head).chain(rows).collect())
        }
        _ => None,
    }
}
