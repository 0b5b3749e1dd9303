//! `landfall ramp`.

use std::path::Path;

use anyhow::{Context as _, bail};
use landfall_plan::plan::model::with_gap;
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Dimension, Site};
use landfall_ramp::choices::Choices;
use landfall_ramp::drawing::Drawing;
use landfall_ramp::dxf::dxf;
use landfall_ramp::pdf::{tiled, whole};
use landfall_ramp::svg::svg;
use landfall_ramp::tiles::Tiling;
use landfall_ramp::{BuildSheet, build_sheet, csv, text};

use super::args_build::{Ramp, Tiles};
use super::args_shared::Format;
use super::{End, input, note, output, table};

pub(crate) fn run(args: &Ramp) -> anyhow::Result<End> {
    // The endings are looked at before anything is written.
    for file in &args.template {
        let ending = ending(file)?;
        if args.tiles.is_some() && ending != "pdf" {
            bail!("--tiles cuts a PDF into sheets of paper; {} is none", output::shown(file));
        }
    }
    let (site, stated) = with_gap(&input::site(&args.site)?)?;
    if !stated {
        note("bag.gap is not stated: how far the landing moves is told for a bag in the middle of the landings");
    }
    let (choices, assumed) = chosen(args, &site);
    let sheet = build_sheet(&site, &choices, assumed)?;
    if !args.template.is_empty() {
        let drawing = sheet.template(&args.part)?;
        for file in &args.template {
            write(&drawing, file, args.tiles, args.output.force)?;
        }
    }
    args.output.put(&rendered(&sheet, args)?)?;
    Ok(End::Inside)
}

fn rendered(sheet: &BuildSheet, args: &Ramp) -> anyhow::Result<String> {
    Ok(match args.format {
        Format::Text => text::text(sheet),
        Format::Json => output::json(sheet)?,
        Format::Csv => table::csv(&csv(sheet, &args.table).context("no such table")?)?,
    })
}

/// What was stated, and the names of what was not.
fn chosen(args: &Ramp, site: &Site) -> (Choices, Vec<String>) {
    let (usual, shown) = (Choices::default(), Shown::of(site));
    let mut assumed = Vec::new();
    let mut take = |option: &str, stated: Option<f64>, usual_m: f64| {
        if stated.is_none() {
            let usual = match (shown.is_imperial(), usual_m < 0.5) {
                (true, _) => shown.cut(usual_m, Toward::Nearest),
                (false, true) => Dimension::Length.show_in(usual_m, "mm"),
                (false, false) => Dimension::Length.show_in(usual_m, "m"),
            };
            assumed.push(format!("--{option} {usual}"));
        }
        stated.unwrap_or(usual_m)
    };
    let mut choices = Choices {
        offset_spacing_m: args.offsets.unwrap_or(usual.offset_spacing_m),
        joist_spacing_m: take("joists", args.joists, usual.joist_spacing_m),
        joist_width_m: take("joist-width", args.joist_width, usual.joist_width_m),
        joist_depth_m: take("joist-depth", args.joist_depth, usual.joist_depth_m),
        panel_spacing_m: take("panels", args.panels, usual.panel_spacing_m),
        panel_thickness_m: take("panel-thickness", args.panel_thickness, usual.panel_thickness_m),
        rib_depth_m: take("rib-depth", args.rib_depth, usual.rib_depth_m),
        layer_thickness_m: take("layer", args.layer, usual.layer_thickness_m),
        sheet_length_m: take("sheet-length", args.sheet_length, usual.sheet_length_m),
        sheet_width_m: take("sheet-width", args.sheet_width, usual.sheet_width_m),
        kerf_m: take("kerf", args.kerf, usual.kerf_m),
        timber_length_m: take("timber", args.timber, usual.timber_length_m),
        platform_m: take("platform", args.platform.or(site.ground.platform_m), usual.platform_m),
        roll_in_width_m: args.roll_in_width,
        layers: args.layers.unwrap_or(usual.layers),
    };
    if args.layers.is_none() {
        assumed.push(format!("--layers {}", usual.layers));
    }
    if args.roll_in_width.is_none() {
        choices.roll_in_width_m = None;
        assumed.push("--roll-in-width as the take-off's".to_owned());
    }
    (choices, assumed)
}

fn ending(file: &Path) -> anyhow::Result<&'static str> {
    let ending = file.extension().map(|ending| ending.to_string_lossy().to_lowercase()).unwrap_or_default();
    ["svg", "dxf", "pdf"]
        .into_iter()
        .find(|known| *known == ending)
        .with_context(|| format!("{}: a template ends in .svg, .dxf or .pdf", output::shown(file)))
}

fn write(drawing: &Drawing, file: &Path, tiles: Option<Tiles>, force: bool) -> anyhow::Result<()> {
    let bytes = match (ending(file)?, tiles) {
        ("svg", _) => svg(drawing).into_bytes(),
        ("dxf", _) => dxf(drawing).into_bytes(),
        (_, None) => whole(drawing)?,
        (_, Some(tiles)) => {
            let tiling = Tiling::new(drawing, tiles.into());
            note(&format!(
                "{}: a plan and {} sheets of {}",
                output::shown(file),
                tiling.tiles.len(),
                tiling.paper.name()
            ));
            tiled(drawing, &tiling)
        }
    };
    Ok(output::file(file, &bytes, force)?)
}
