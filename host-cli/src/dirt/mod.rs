//! From the bag to dirt, for sites: the landing that is built, the runs of a trick, sites in a line.

pub mod built;
pub mod line;
pub mod ready;

use landfall_dirt::built::{Asked, BuildError, Built, Fill, build_on_level, steepest_on_level};
use landfall_ground::Profile;
use landfall_plan::plan::dirt::{FILL_FACTOR, LOOSE_FILL};
use landfall_plan::plan::model::Model;
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::Site;

/// Steepest landing that is tried where none is stated, in degrees (*assumed*: what shovels and rain leave standing).
pub const STEEPEST_DEG: f64 = 35.0;
/// Level deck before the knuckle (*assumed*).
pub const DECK_M: f64 = 3.0;
/// Highest load in the transition, in g (*assumed*).
pub const LOAD_G: f64 = 3.0;
/// Length of the roll-out (*assumed*).
pub const ROLL_OUT_M: f64 = 10.0;
/// Slope kept before and behind the field, and to its sides (*assumed*).
pub const MARGIN_M: f64 = 0.5;
/// Banks of the earth: so much out for each 1 up (*assumed*).
pub const BANK: f64 = 1.5;
/// Between two rows of the offsets.
pub const OFFSET_M: f64 = 0.5;
/// What lies on the landing: the fill of the published table that most parks have.
const FILL: &str = "wood chips";

/// What somebody wants of a landing; what is not stated is assumed.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Wishes {
    /// Slope, down positive; the steepest that works where none is stated.
    pub slope_rad: Option<f64>,
    /// Level deck before the knuckle.
    pub deck_m: Option<f64>,
    /// Highest load in the transition, in g.
    pub load_g: Option<f64>,
    /// Length of the roll-out.
    pub roll_out_m: Option<f64>,
    /// Height of the roll-out; the bag's base level where none is stated.
    pub level_m: Option<f64>,
}

/// What is not stated, in words.
#[must_use]
pub fn assumed(site: &Site, wishes: &Wishes) -> Vec<String> {
    let u = Shown::of(site);
    let length = |m: f64| u.length(m, Toward::Nearest);
    let mut list = Vec::new();
    if wishes.slope_rad.is_none() {
        list.push(format!("--landing-slope the steepest up to {STEEPEST_DEG:.0} deg that works"));
    }
    if wishes.deck_m.is_none() {
        list.push(format!("--deck {}", length(DECK_M)));
    }
    if wishes.load_g.is_none() {
        list.push(format!("--transition-load {LOAD_G:.0}"));
    }
    if wishes.roll_out_m.is_none() {
        list.push(format!("--roll-out {}", length(ROLL_OUT_M)));
    }
    if wishes.level_m.is_none() {
        list.push(format!("--roll-out-level {} (bag.base_level)", length(site.bag.base_level_m)));
    }
    list.push(format!("margins of {} round the field of landings, banks {BANK} out for each 1 up", length(MARGIN_M)));
    list
}

/// The fill of the table.
fn fill() -> Fill {
    let row = LOOSE_FILL.iter().find(|(material, ..)| *material == FILL);
    let (material, depth_m, fall_m) = row.copied().unwrap_or((FILL, 0.0, 0.0));
    Fill { material, depth_m, filled_m: depth_m * FILL_FACTOR, fall_m }
}

/// The ground that it stands on: as measured, else level at the bag's base.
#[must_use]
pub fn ground_under(site: &Site) -> Profile {
    Profile::new(site.ground.profile.clone()).unwrap_or_else(|_| Profile::level(-500.0, 500.0, site.bag.base_level_m))
}

/// The landing of a site whose gap is known.
///
/// # Errors
/// [`BuildError`]; with a stated slope, the steepest that works instead, where one does.
pub fn landing(site: &Site, model: &Model, wishes: &Wishes) -> Result<Built, (BuildError, Option<f64>)> {
    let asked = Asked {
        slope_rad: wishes.slope_rad.unwrap_or(STEEPEST_DEG.to_radians()),
        deck_m: wishes.deck_m.unwrap_or(DECK_M),
        margin_m: MARGIN_M,
        side_margin_m: MARGIN_M,
        load_limit_g: wishes.load_g.unwrap_or(LOAD_G),
        run_out_m: wishes.roll_out_m.unwrap_or(ROLL_OUT_M),
        bank: BANK,
        offset_step_m: OFFSET_M,
        seed: site.spread.seed,
    };
    let level_m = wishes.level_m.unwrap_or(site.bag.base_level_m);
    let setups: Vec<_> = model.distinct().iter().map(|rider| model.setups[*rider].clone()).collect();
    let (ground, fill) = (ground_under(site), fill());
    let steepest = || steepest_on_level(&setups, &model.uncertainty, level_m, &asked, &fill, &ground);
    match wishes.slope_rad {
        None => steepest().map_err(|error| (error, None)),
        Some(_) => build_on_level(&setups, &model.uncertainty, level_m, &asked, &fill, &ground)
            .map_err(|error| (error, steepest().ok().map(|built| built.asked.slope_rad))),
    }
}

/// Why there is no landing, and what there would be.
#[must_use]
pub fn none_of(error: &(BuildError, Option<f64>)) -> String {
    match error.1 {
        Some(works) => format!("{}; tried: {:.0} degrees works", error.0, works.to_degrees()),
        None => error.0.to_string(),
    }
}
