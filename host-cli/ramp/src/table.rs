//! The build sheet's tables as comma-separated values.

use super::BuildSheet;
use super::stock::Cut;

/// The tables that there are.
pub const TABLES: [&str; 7] = ["offsets", "joists", "surfaces", "cuts", "layout", "legs", "tolerances"];

/// One table as rows of cells, the first with the names; `None` for a name that is none of [`TABLES`].
#[must_use]
pub fn csv(sheet: &BuildSheet, table: &str) -> Option<Vec<Vec<String>>> {
    let head = |names: &[&str]| vec![names.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>()];
    let six = |m: f64| format!("{m:.6}");
    let lists = [("panel", &sheet.panels), ("riding", &sheet.riding)];
    Some(match table {
        "offsets" => {
            let mut rows = head(&["part", "x_m", "surface_m", "edge_m", "along_m", "slope_deg"]);
            for part in &sheet.parts {
                rows.extend(part.offsets.iter().map(|o| {
                    let edge = o.edge_m.map_or_else(String::new, six);
                    vec![part.name.clone(), six(o.x_m), six(o.surface_m), edge, six(o.along_m), six(o.slope_deg)]
                }));
            }
            rows
        }
        "joists" => {
            let mut rows = head(&["part", "number", "along_m", "x_m", "z_m", "upright", "packing"]);
            for part in &sheet.parts {
                rows.extend(part.joists.iter().map(|j| {
                    vec![
                        part.name.clone(),
                        j.number.to_string(),
                        six(j.along_m),
                        six(j.x_m),
                        six(j.z_m),
                        j.upright.to_string(),
                        j.packing.to_string(),
                    ]
                }));
            }
            rows
        }
        "surfaces" => {
            let mut rows = head(&[
                "surface",
                "length_m",
                "width_m",
                "from_slope_deg",
                "to_slope_deg",
                "joists",
                "bays",
                "joist_length_m",
            ]);
            rows.extend(sheet.surfaces.iter().map(|s| {
                vec![
                    s.name.clone(),
                    six(s.length_m),
                    six(s.width_m),
                    six(s.from_slope_deg),
                    six(s.to_slope_deg),
                    s.joists.to_string(),
                    s.bays.to_string(),
                    six(s.joist_length_m),
                ]
            }));
            rows
        }
        "cuts" => {
            let mut rows = head(&["list", "thickness_m", "piece", "length_m", "width_m", "count"]);
            for (name, list) in lists {
                rows.extend(list.cuts.iter().map(|Cut { name: piece, length_m, width_m, count }| {
                    vec![
                        name.to_owned(),
                        six(list.thickness_m),
                        piece.clone(),
                        six(*length_m),
                        six(*width_m),
                        count.to_string(),
                    ]
                }));
            }
            rows
        }
        "layout" => {
            let mut rows = head(&["list", "sheet", "piece", "x_m", "y_m", "length_m", "width_m"]);
            for (name, list) in lists {
                rows.extend(list.layout.iter().map(|p| {
                    vec![
                        name.to_owned(),
                        p.sheet.to_string(),
                        p.name.clone(),
                        six(p.x_m),
                        six(p.y_m),
                        six(p.length_m),
                        six(p.width_m),
                    ]
                }));
            }
            rows
        }
        "legs" => {
            let mut rows = head(&["along_m", "height_m", "length_m", "count"]);
            rows.extend(
                sheet.legs.iter().map(|l| vec![six(l.along_m), six(l.height_m), six(l.length_m), l.count.to_string()]),
            );
            rows
        }
        "tolerances" => {
            let mut rows = head(&["error", "lip_angle_deg_per_mm", "radius_mm_per_mm", "landing_mm_per_mm"]);
            rows.extend(sheet.tolerances.iter().map(|t| {
                vec![
                    t.error.to_owned(),
                    six(t.lip_angle_deg_per_mm),
                    six(t.radius_mm_per_mm),
                    t.landing_mm_per_mm.map_or_else(String::new, six),
                ]
            }));
            rows
        }
        _ => return None,
    })
}
