//! The highest start to ride from until the bag is measured.

use super::PlanError;
use super::demand::{Crew, Demand};
use super::known::{levels_input, twice};
use super::model::Supply;
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
        match tables(site, supply, chamber, crews, start_m)? {
            None => return Ok(None),
            Some(tables) if tables.clear() => return Ok(Some(start_m)),
            Some(_) => step -= 1.0,
        }
    }
    Ok(None)
}

/// The tables with nobody starting above `start_m`; `None` where a run of the divided differences does not land.
fn tables(
    site: &Site,
    supply: &Supply,
    chamber: &Chamber,
    crews: &[Crew],
    start_m: f64,
) -> Result<Option<Tables>, PlanError> {
    let (Some(demand), Some(first)) = (Demand::new(crews, start_m, &[]), crews.first()) else {
        return Ok(None);
    };
    let input = levels_input(site, supply, &first.model.setups[0].bag, &demand);
    let twice = twice(site, supply, chamber, &input, &demand)?;
    Ok(Some(Tables::judge(site, supply, &demand, &twice)))
}
