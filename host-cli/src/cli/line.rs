//! `landfall line`.

use landfall::dirt::line::{answer, text};
use landfall_plan::plan::model::with_gap;

use super::args_ground::Line;
use super::args_shared::{SiteArg, TextOrJson};
use super::{End, input, output};

pub(crate) fn run(args: &Line) -> anyhow::Result<End> {
    let mut sites = Vec::with_capacity(args.sites.len());
    for path in &args.sites {
        let (site, _) = with_gap(&input::site(&SiteArg { site: Some(path.clone()), demo: false })?)?;
        sites.push(site);
    }
    let said = answer(&sites, &(&args.landing).into(), args.runs as usize)?;
    args.output.put(&match args.format {
        TextOrJson::Text => text(&said),
        TextOrJson::Json => output::json(&said)?,
    })?;
    Ok(if said.reaches_last_lip { End::Inside } else { End::Outside })
}
