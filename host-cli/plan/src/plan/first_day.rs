//! The highest start to ride from until the bag is measured.

use super::PlanError;
use super::demand::{Crew, Demand, Drawn};
use super::known::{levels_input, limits_twice};
use super::model::Supply;
use super::search::{Draws, SEARCH_RUNS};
use super::table::Tables;
use crate::site::Site;
use landfall_core::bag_gas::Chamber;

/// Marks are whole multiples of this.
pub const MARK_STEP_M: f64 = 0.05;

/// The first start height, going down from the stated one in whole steps of 5 cm, at which no stop of the table stands
/// and nothing that measuring would lift; `None` where there is none down to the lowest at which all divided differences
/// of all riders land.
///
/// # Errors
/// [`PlanError`] for what the models refuse.
pub fn start_m(site: &Site, supply: &Supply, chamber: &Chamber, crews: &[Crew]) -> Result<Option<f64>, PlanError> {
    let stated_m = crews.iter().map(Crew::start_m).fold(0.0, f64::max);
    let mut step = ((stated_m / MARK_STEP_M - 1.0e-3).ceil() - 1.0).max(0.0);
    while step > 0.0 {
        let start_m = step * MARK_STEP_M;
        match is_clear(site, supply, chamber, crews, start_m)? {
            None => return Ok(None),
            Some(true) => return Ok(Some(start_m)),
            Some(false) => step -= 1.0,
        }
    }
    Ok(None)
}

/// Whether with nobody starting above `start_m` a stop of the table stands; also where too few come down to tell. Where a
/// run of the divided differences does not come down, landings are drawn.
///
/// # Errors
/// [`PlanError`] for what the models refuse.
pub fn is_a_stop(
    site: &Site,
    supply: &Supply,
    chamber: &Chamber,
    crews: &[Crew],
    start_m: f64,
    draws: &Draws<'_>,
) -> Result<bool, PlanError> {
    let demand = match Demand::new(crews, start_m, &[]) {
        Some(demand) => Some(demand),
        None => {
            let draws = Draws { samples: draws.samples.min(SEARCH_RUNS), ..*draws };
            Demand::new(crews, start_m, &Drawn::draw(crews, start_m, &draws)?)
        }
    };
    let (Some(demand), Some(first)) = (demand, crews.first()) else { return Ok(true) };
    let input = levels_input(site, supply, first.model.setups[0].bag(), &demand);
    let known = limits_twice(site, supply, chamber, &input)?.with_ground(site, &input, &demand)?;
    Ok(Tables::judge(site, supply, &demand, &known).now.stops())
}

/// Whether with nobody starting above `start_m` the table is clear; `None` where a run of the divided differences does
/// not land.
///
/// The chances of the ground take most of the time and are asked for only where nothing else decides.
fn is_clear(
    site: &Site,
    supply: &Supply,
    chamber: &Chamber,
    crews: &[Crew],
    start_m: f64,
) -> Result<Option<bool>, PlanError> {
    let (Some(demand), Some(first)) = (Demand::new(crews, start_m, &[]), crews.first()) else {
        return Ok(None);
    };
    let input = levels_input(site, supply, first.model.setups[0].bag(), &demand);
    let known = limits_twice(site, supply, chamber, &input)?;
    if !Tables::judge(site, supply, &demand, &known).clear() {
        return Ok(Some(false));
    }
    let known = known.with_ground(site, &input, &demand)?;
    Ok(Some(Tables::judge(site, supply, &demand, &known).clear()))
}
