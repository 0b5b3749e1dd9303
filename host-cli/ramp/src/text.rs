//! The build sheet to read, in millimetres or in feet and inches.

use super::parts::{Kind, Part};
use super::stock::{Cut, Placed};
use super::{BuildSheet, CutList};
use landfall_plan::shown::{Shown, Toward};
use std::fmt::Write as _;
use textwrap::{Options, WordSplitter, wrap};

/// Widest line.
const WIDTH: usize = 100;

/// The whole sheet.
#[must_use]
pub fn text(sheet: &BuildSheet) -> String {
    let mut out = String::new();
    let (t, s) = (&sheet.takeoff, sheet.shown);
    let unit = if s.is_imperial() {
        "in feet and inches, to the nearest 1/16 in; the templates are in millimetres"
    } else {
        "in millimetres"
    };
    let _ = writeln!(out, "{}: build sheet, {unit}\n", sheet.site);
    let _ = writeln!(
        out,
        "Take-off  height {}, radius {}, lip {:.2} degrees, base {}, face {}, width {}",
        mm(s, t.height_m),
        mm(s, t.radius_m),
        t.lip_angle_deg,
        mm(s, t.base_m),
        mm(s, t.face_m),
        mm(s, t.width_m)
    );
    let c = &sheet.choices;
    paragraph(
        &mut out,
        &format!(
            "Deck {} ({} layers of {}), joists {} x {} at most {} apart, panels {} thick at most {} apart, ribs {} deep, \
             sheets {} x {}, saw {}, timber {}.",
            mm(s, c.deck_m()),
            c.layers,
            mm(s, c.layer_thickness_m),
            mm(s, c.joist_width_m),
            mm(s, c.joist_depth_m),
            mm(s, c.joist_spacing_m),
            mm(s, c.panel_thickness_m),
            mm(s, c.panel_spacing_m),
            mm(s, c.rib_depth_m),
            mm(s, c.sheet_length_m),
            mm(s, c.sheet_width_m),
            mm(s, c.kerf_m),
            mm(s, c.timber_length_m)
        ),
    );
    if !sheet.assumed.is_empty() {
        paragraph(&mut out, &format!("Assumed, since not stated: {}.", sheet.assumed.join(", ")));
    }
    surfaces(&mut out, sheet);
    for part in &sheet.parts {
        part_text(&mut out, s, part, c.joist_spacing_m);
    }
    cuts(&mut out, s, "Panels and ribs", &sheet.panels);
    cuts(&mut out, s, "Riding sheets", &sheet.riding);
    joists(&mut out, sheet);
    legs(&mut out, sheet);
    tolerances(&mut out, sheet);
    out.push_str("\nNot checked, not listed\n");
    for note in &sheet.not_checked {
        bullet(&mut out, note);
    }
    out.push_str("\nCautions\n");
    for caution in &sheet.cautions {
        bullet(&mut out, caution);
    }
    out
}

/// A length to build by: millimetres without the unit, which the title names, or feet and inches.
fn mm(s: Shown, m: f64) -> String {
    if s.is_imperial() {
        return s.cut(m, Toward::Nearest);
    }
    let text = format!("{:.1}", 1e3 * m);
    let text = text.strip_suffix(".0").unwrap_or(&text);
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// The same with one decimal of a millimetre always, for columns.
fn tenth(s: Shown, m: f64) -> String {
    if s.is_imperial() {
        return s.cut(m, Toward::Nearest);
    }
    let text = format!("{:.1}", 1e3 * m);
    if text == "-0.0" { "0.0".to_owned() } else { text }
}

fn hundredth(value: f64) -> String {
    let text = format!("{value:.2}");
    if text == "-0.00" { "0.00".to_owned() } else { text }
}

fn paragraph(out: &mut String, text: &str) {
    let indent = if text.starts_with("  ") { "  " } else { "" };
    let options = Options::new(WIDTH).word_splitter(WordSplitter::NoHyphenation).subsequent_indent(indent);
    for line in wrap(text, options) {
        let _ = writeln!(out, "{line}");
    }
}

fn bullet(out: &mut String, text: &str) {
    for line in wrap(
        text,
        Options::new(WIDTH).word_splitter(WordSplitter::NoHyphenation).initial_indent("  - ").subsequent_indent("    "),
    ) {
        let _ = writeln!(out, "{line}");
    }
}

/// Columns as wide as their widest cell, the first to the left, the others to the right.
fn table(out: &mut String, rows: &[Vec<String>]) {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let widths: Vec<usize> = (0..columns)
        .map(|i| rows.iter().filter_map(|row| row.get(i)).map(|cell| cell.chars().count()).max().unwrap_or(0))
        .collect();
    for row in rows {
        let mut line = String::from("  ");
        for (i, (cell, width)) in row.iter().zip(&widths).enumerate() {
            let cell = if cell.is_empty() { "-" } else { cell };
            let _ = if i == 0 { write!(line, "{cell:<width$}") } else { write!(line, "  {cell:>width$}") };
        }
        let _ = writeln!(out, "{}", line.trim_end());
    }
}

fn head(names: &[&str]) -> Vec<String> {
    names.iter().map(|name| (*name).to_owned()).collect()
}

/// The legs, over the ground that was measured or is taken as level.
fn legs(out: &mut String, sheet: &BuildSheet) {
    let s = sheet.shown;
    out.push_str("\nLegs of platform and roll-in, cut plumb\n");
    if sheet.legs.is_empty() {
        out.push_str("  None: the ridden surface lies on the ground.\n");
        return;
    }
    let mut rows = vec![head(&["behind the lip", "over the ground", "leg", "side by side"])];
    rows.extend(
        sheet
            .legs
            .iter()
            .map(|leg| vec![mm(s, -leg.along_m), mm(s, leg.height_m), mm(s, leg.length_m), leg.count.to_string()]),
    );
    table(out, &rows);
    let ground = if sheet.ground_measured {
        "The ground is that of ground.profile."
    } else {
        "The ground is taken as level at the take-off's foot: where it is not, state ground.profile."
    };
    let stock = mm(s, sheet.choices.timber_length_m);
    let sawn = match &sheet.leg_timbers {
        Some(timbers) => format!(" {} timbers of {stock} give them.", timbers.count),
        None => format!(" Some are longer than a timber of {stock}: join them, or take longer ones."),
    };
    paragraph(out, &format!("  {ground}{sawn}"));
}

fn surfaces(out: &mut String, sheet: &BuildSheet) {
    let s = sheet.shown;
    out.push_str(
        "\nRidden surface, from the start (lengths along it; layers from the lowest, along their own middle)\n",
    );
    let mut names = head(&["stretch", "length", "width", "slope from", "to", "joists", "bays", "joist length"]);
    names.extend((1..=sheet.choices.layers).map(|layer| format!("layer {layer}")));
    let mut rows = vec![names];
    for surface in &sheet.surfaces {
        let mut row = vec![
            surface.name.clone(),
            tenth(s, surface.length_m),
            tenth(s, surface.width_m),
            hundredth(surface.from_slope_deg),
            hundredth(surface.to_slope_deg),
            surface.joists.to_string(),
            surface.bays.to_string(),
            tenth(s, surface.joist_length_m),
        ];
        row.extend(surface.layer_lengths_m.iter().map(|m| tenth(s, *m)));
        rows.push(row);
    }
    table(out, &rows);
}

fn part_text(out: &mut String, s: Shown, part: &Part, spacing_m: f64) {
    let what = match part.kind {
        Kind::Panel => "panel on the ground",
        Kind::Rib => "rib",
    };
    out.push('\n');
    paragraph(
        out,
        &format!(
            "{}: {what}, {} alike; surface R {}, edge under the deck R {}; {} long, {} high",
            part.name,
            part.count,
            mm(s, part.arc.radius_m),
            mm(s, part.edge_radius_m),
            mm(s, part.to_x_m - part.from_x_m),
            mm(s, part.height_m)
        ),
    );
    match part.kind {
        Kind::Panel => paragraph(
            out,
            "  x is level from the part's start in the direction of travel, heights are above the take-off's foot, z \
             edge is the panel's upper edge.",
        ),
        Kind::Rib => paragraph(
            out,
            "  x is level from the part's start in the direction of travel, heights are above the take-off's foot, z \
             edge is the rib's upper edge; its ends stand square to the surface.",
        ),
    }
    let joints = |list: &[f64]| list.iter().map(|m| mm(s, *m)).collect::<Vec<_>>().join(", ");
    if !part.joints_m.is_empty() {
        let across = if part.kind == Kind::Panel { "at x" } else { "across it, along the surface at" };
        let _ = writeln!(out, "  Joints {across} {}", joints(&part.joints_m));
    }
    if !part.level_joints_m.is_empty() {
        let _ = writeln!(out, "  Level joints at height {}", joints(&part.level_joints_m));
    }
    let mut rows = vec![head(&["x", "z edge", "z surface", "along", "slope"])];
    rows.extend(part.offsets.iter().map(|o| {
        vec![
            tenth(s, o.x_m),
            o.edge_m.map_or_else(String::new, |m| tenth(s, m)),
            tenth(s, o.surface_m),
            tenth(s, o.along_m),
            hundredth(o.slope_deg),
        ]
    }));
    table(out, &rows);
    let packings = part.joists.iter().filter(|joist| joist.packing).count();
    let rest =
        if packings > 0 { format!("; {packings} at the foot have no room and become packings") } else { String::new() };
    paragraph(out, &format!("  Joists, middles of their upper edge, from the higher end{rest}"));
    let mut rows = vec![head(&["joist", "along", "x", "z", "stands"])];
    rows.extend(part.joists.iter().filter(|joist| !joist.packing).map(|j| {
        let stands = if j.upright { "upright" } else { "square" };
        vec![j.number.to_string(), tenth(s, j.along_m), tenth(s, j.x_m), tenth(s, j.z_m), stands.to_owned()]
    }));
    table(out, &rows);
    if let [first, second, ..] = part.joists.as_slice() {
        let apart_m = (first.along_m - second.along_m).abs();
        if !second.packing && apart_m > spacing_m + 1e-6 {
            paragraph(
                out,
                &format!(
                    "  Joists 1 and 2 are {} apart: behind so steep a face the panel is too thin for one square to it. A \
                     qualified builder decides what carries the deck there.",
                    mm(s, apart_m)
                ),
            );
        }
    }
}

fn cuts(out: &mut String, s: Shown, title: &str, list: &CutList) {
    let used = list.used.map_or_else(String::new, |used| format!(", {:.0} % of them used", 100.0 * used));
    let count = match list.sheets {
        Some(1) => format!("1 sheet{used}"),
        Some(count) => format!("{count} sheets{used}"),
        None => "a piece fits no sheet: take larger ones (--sheet) or another depth (--rib-depth)".to_owned(),
    };
    let _ = writeln!(out, "\n{title}, {} thick: {count}", mm(s, list.thickness_m));
    let mut rows = vec![head(&["piece", "length", "width", "count"])];
    rows.extend(list.cuts.iter().map(|Cut { name, length_m, width_m, count }| {
        vec![name.clone(), tenth(s, *length_m), tenth(s, *width_m), count.to_string()]
    }));
    table(out, &rows);
    // Sheets that are cut alike follow each other.
    let mut sheets: Vec<(usize, usize, String)> = Vec::new();
    for on in 1..=list.sheets.unwrap_or(0) {
        let pieces = list.layout.iter().filter(|piece| piece.sheet == on);
        let words = pieces.map(|Placed { name, x_m, y_m, length_m, width_m, .. }| {
            format!("{name} {} x {} at {}, {}", mm(s, *length_m), mm(s, *width_m), mm(s, *x_m), mm(s, *y_m))
        });
        let words = words.collect::<Vec<_>>().join("; ");
        match sheets.last_mut() {
            Some((_, last, same)) if *same == words => *last = on,
            _ => sheets.push((on, on, words)),
        }
    }
    for (first, last, words) in sheets {
        let which = if first == last { format!("sheet {first}") } else { format!("sheets {first} to {last}") };
        let options = Options::new(WIDTH).word_splitter(WordSplitter::NoHyphenation);
        let options = options.initial_indent("  ").subsequent_indent("      ");
        for line in wrap(&format!("{which}: {words}"), options) {
            let _ = writeln!(out, "{line}");
        }
    }
}

fn joists(out: &mut String, sheet: &BuildSheet) {
    let s = sheet.shown;
    let Some(timber) = &sheet.joists else {
        out.push_str(
            "\nJoists: one is longer than the stock timber; take longer stock (--timber) or closer panels (--panels)\n",
        );
        return;
    };
    let _ = writeln!(
        out,
        "\nJoists: {} timbers of {}; {} sawn in all",
        timber.count,
        mm(s, timber.stock_m),
        s.about(timber.sawn_m, Toward::Nearest)
    );
    let mut rows = vec![head(&["timbers", "sawn into"])];
    let mut sawing: Vec<(String, usize)> = Vec::new();
    for list in &timber.sawing {
        let mut parts: Vec<(String, usize)> = Vec::new();
        for m in list {
            let length = mm(s, *m);
            match parts.iter_mut().find(|(other, _)| *other == length) {
                Some((_, count)) => *count += 1,
                None => parts.push((length, 1)),
            }
        }
        let words = parts.iter().map(|(length, count)| format!("{count} x {length}")).collect::<Vec<_>>().join(", ");
        match sawing.iter_mut().find(|(other, _)| *other == words) {
            Some((_, count)) => *count += 1,
            None => sawing.push((words, 1)),
        }
    }
    rows.extend(sawing.into_iter().map(|(words, count)| vec![count.to_string(), words]));
    table(out, &rows);
}

fn tolerances(out: &mut String, sheet: &BuildSheet) {
    // The figures are for a millimetre; a sixteenth of an inch is 1.5875 of them, and the effects are straight.
    let (error, of_error, unit, in_unit) =
        if sheet.shown.is_imperial() { ("1/16 in", 25.4 / 16.0, "in", 1.0 / 25.4) } else { ("1 mm", 1.0, "mm", 1.0) };
    let places = if sheet.shown.is_imperial() { 2 } else { 1 };
    let _ = writeln!(out, "\nWhat {error} at the lip does (mean rider)");
    for t in &sheet.tolerances {
        let landing = t.landing_mm_per_mm.map_or_else(
            || "no landing on the bag".to_owned(),
            |mm| {
                let way = if mm < 0.0 { "shorter" } else { "longer" };
                format!("the landing {:.places$} {unit} {way}", mm.abs() * of_error * in_unit)
            },
        );
        let radius = if t.radius_mm_per_mm.abs() < 5e-4 {
            String::new()
        } else {
            format!(", the radius {:+.2} {unit}", t.radius_mm_per_mm * of_error * in_unit)
        };
        let lip = t.lip_angle_deg_per_mm * of_error;
        let what = t.what.replace("1 mm", error);
        bullet(out, &format!("{what}: the lip angle {lip:+.4} degrees{radius}, {landing}"));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::build_sheet;
    use crate::choices::Choices;
    use landfall_plan::site::demo;

    /// The same take-off in both: 8 ft on a radius of 15 ft.
    #[test]
    fn the_sheet_stands_in_the_sites_units() {
        let metric = text(&build_sheet(&demo(), &Choices::default(), Vec::new()).unwrap());
        assert!(
            metric.contains("build sheet, in millimetres") && metric.contains("height 2438.4, radius 4572"),
            "{metric}"
        );
        assert!(metric.contains("What 1 mm at the lip does"));
        let site = demo().with_value("site.units", "imperial").unwrap();
        let imperial = text(&build_sheet(&site, &Choices::default(), Vec::new()).unwrap());
        assert!(
            imperial.contains("in feet and inches") && imperial.contains("height 8 ft, radius 15 ft"),
            "{imperial}"
        );
        assert!(imperial.contains("What 1/16 in at the lip does") && !imperial.contains(" mm "), "{imperial}");
        assert_eq!(metric.matches("panel on the ground").count(), imperial.matches("panel on the ground").count());
    }
}
