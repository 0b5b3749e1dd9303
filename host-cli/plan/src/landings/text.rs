//! The other landings to read, and as tables of comma-separated values.

use super::Progress;
use crate::lines::{paragraph, table};
use crate::plan::words::{metres, number};
use crate::shown::Toward;
use crate::site::Dimension;
use std::fmt::Write as _;

/// The tables that there are.
pub const TABLES: [&str; 2] = ["surface", "slopes"];
/// The same, and the rows to set out the landing by that is built.
pub const TABLES_AND_BUILT: [&str; 3] = ["surface", "slopes", "built"];

fn degrees(value: f64) -> String {
    number(value, 1)
}

/// A length of a column, in the unit that the heading names.
fn column(p: &Progress, m: f64) -> String {
    number(p.shown.value(Dimension::Length, m), 2)
}

fn or_dash(p: &Progress, value: Option<f64>) -> String {
    value.map_or_else(|| "-".to_owned(), |m| column(p, m))
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
            metres(p.shown, p.mean_distance_m),
            metres(p.shown, p.mean_height_m),
            metres(p.shown, p.field_m.0),
            metres(p.shown, p.field_m.1)
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
    let unit = p.shown.unit(Dimension::Length);
    let _ = writeln!(out, "\nPlane landings through the place of the mean landing (equivalent fall height, {unit})");
    let mut head: Vec<String> = ["slope", "from lip", "mean", "hard"].map(str::to_owned).to_vec();
    let fills = p.slopes.iter().map(|slope| &slope.loose_fill).find(|fills| !fills.is_empty());
    head.extend(fills.into_iter().flatten().map(|fill| fill.material.to_owned()));
    let mut rows = vec![head];
    for slope in &p.slopes {
        let mut row = vec![
            degrees(slope.slope_deg),
            or_dash(p, slope.distance_from_lip_m),
            or_dash(p, slope.mean_fall_m),
            or_dash(p, slope.hard_fall_m),
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
    table(out, 0, &rows);
    if let Some(fills) = fills {
        let words: Vec<String> = fills
            .iter()
            .map(|fill| {
                format!(
                    "{} {} ({} filled in) {}",
                    fill.material,
                    p.shown.small(fill.depth_m, Toward::Nearest),
                    p.shown.small(fill.filled_m, Toward::Up),
                    metres(p.shown, fill.table_fall_height_m)
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
    let limit = metres(p.shown, p.question.limit_m);
    let _ =
        writeln!(out, "\nThe surface on which no run of the mean rider falls more than {limit}, whatever its speed");
    let Some(surface) = &p.surface else {
        paragraph(out, "  ", "None: no run passes the place where it would begin.");
        return;
    };
    let unit = p.shown.unit(Dimension::Length);
    // Speeds of a metric site are in m/s, as the model has them.
    let (speed_unit, places) = if p.shown.is_imperial() { (p.shown.unit(Dimension::Speed), 1) } else { ("m/s", 2) };
    let lip = format!("lip {speed_unit}");
    let mut head: Vec<String> = ["from lip", "height", "slope", "falls", &lip, "path"].map(str::to_owned).to_vec();
    head.extend(p.question.slopes_deg.iter().map(|deg| format!("on {}", degrees(*deg))));
    let mut rows = vec![head];
    for row in &surface.rows {
        let mut cells = vec![
            column(p, row.distance_m),
            column(p, row.height_m),
            degrees(row.slope_deg),
            column(p, row.fall_m),
            number(
                if p.shown.is_imperial() {
                    p.shown.value(Dimension::Speed, row.lip_speed_mps)
                } else {
                    row.lip_speed_mps
                },
                places,
            ),
            degrees(row.path_deg),
        ];
        cells.extend(row.fall_on_slopes_m.iter().map(|m| column(p, *m)));
        rows.push(cells);
    }
    table(out, 0, &rows);
    paragraph(
        out,
        "  ",
        &format!(
            "Heights above the take-off's foot, {unit}; slopes in degrees, down positive; falls in {unit}. The last columns \
             are the fall of the same run onto ground of those slopes at that place."
        ),
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
            metres(p.shown, from_m),
            degrees(surface.steepest_deg)
        ),
        (true, None) if surface.drop_m < 1e-3 => "It may be level: no run of the field falls as much.".to_owned(),
        (true, None) => format!(
            "At most {} degrees steep, {} lower at its end; inside {steepest} degrees.",
            degrees(surface.steepest_deg),
            metres(p.shown, surface.drop_m)
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
