//! `landfall ready`.

use landfall::dirt::Wishes;
use landfall::dirt::ready::{ReadyError, answer, text};
use landfall_dirt::ready::Wanted;
use landfall_plan::plan::model::with_gap;

use super::args_ground::{LandingArgs, Ready};
use super::args_shared::{SiteArg, TextOrJson};
use super::place::gap_taken;
use super::{End, input, note, output};

impl From<&LandingArgs> for Wishes {
    fn from(args: &LandingArgs) -> Self {
        Self {
            slope_rad: args.landing_slope,
            deck_m: args.deck,
            load_g: args.transition_load,
            roll_out_m: args.roll_out,
            level_m: args.roll_out_level,
        }
    }
}

pub(crate) fn run(args: &Ready) -> anyhow::Result<End> {
    let arg = SiteArg { site: Some(args.site.clone()), demo: false };
    let (site, stated) = with_gap(&input::site(&arg)?)?;
    if !stated {
        note(&gap_taken(&site));
    }
    let (table, name) = input::told_table(&args.runs)?;
    let wanted = Wanted { chance: args.chance, confidence: args.confidence };
    let said = match answer(&site, &table, &name, &args.trick, wanted, &(&args.landing).into()) {
        Err(ReadyError::Table(faults)) => return Err(faults.into()),
        other => other?,
    };
    args.output.put(&match args.format {
        TextOrJson::Text => text(&said),
        TextOrJson::Json => output::json(&said)?,
    })?;
    Ok(End::Inside)
}
