//! The parts of a plan about air: supply, touch-down, the pressures to ride between.

use super::model::Supply;
use super::results::{AfterCut, Air, Pressures, StopRule, Touchdown, WorstEnd};
use crate::site::Site;
use landfall_core::InputError;
use landfall_core::bag::{Bag, Outcome};
use landfall_core::bag_gas::{Adiabat, Chamber, QUICK_EXPONENT};
use landfall_core::displacement::Displacement;
use landfall_core::landing_limits::{Limit, Trial};
use landfall_core::ride_pressures::{BandEnd, RideInput, RidePressures, StopRule as CoreStopRule, ride_report};
use landfall_core::run::Run;
use landfall_core::slow_gas::SlowGas;
use landfall_core::supply::{Feed, RangeStatus};
use landfall_core::touchdown::{Landing, Options, TracePoint, Until, touch_down};

/// Time between two points of a drawn touch-down; the steps themselves do not depend on it.
const TRACE_S: f32 = 0.005;
/// Moments of the table after a power cut.
const MOMENTS: u16 = 24;

/// The hard landing, as far as the flight and its spread give it.
#[derive(Clone, Copy, Debug)]
pub struct Hard {
    /// Speed into the top.
    pub speed_mps: f64,
    /// Thickness at the thinnest place where landings fall.
    pub thickness_m: f64,
}

/// The mass that lands for a rider's mass.
pub fn landing_kg(site: &Site, rider_kg: f64) -> f64 {
    rider_kg + if site.rider.lands_with_bike { site.rider.bike_mass_kg } else { 0.0 }
}

fn landing(site: &Site, bag: &Bag, rider_kg: f64, speed_mps: f64, thickness_m: f64) -> Result<Landing, InputError> {
    Landing {
        mass_kg: landing_kg(site, rider_kg) as f32,
        normal_speed_mps: speed_mps as f32,
        slope_rad: bag.slope_rad(),
        skin_loss: site.bag.skin_loss as f32,
        displacement: Displacement::dish(site.bag.dish_radius_m as f32)?,
        thickness_m: Some(thickness_m as f32),
    }
    .checked()
}

/// The air supply; with a hard landing, also how deep it would go after a power cut.
pub fn air(site: &Site, supply: &Supply, hard: Option<(Hard, Bag)>, needed_s: Option<f64>) -> Air {
    let chamber = supply.chamber.as_ref().ok();
    let slow = chamber.map(|chamber| SlowGas { chamber, flows: supply.flows(Feed::Running) });
    Air {
        density_kgpm3: f64::from(supply.air.density_kgpm3),
        outside_pressure_pa: f64::from(supply.air.pressure_pa),
        operating_pressure_pa: f64::from(supply.operating.pressure_pa),
        operating_flow_m3ps: f64::from(supply.operating.flow_m3ps),
        at_shut_off: supply.operating.at_shut_off,
        status: match supply.check.status {
            RangeStatus::Low => "low",
            RangeStatus::InRange => "in range",
            RangeStatus::High => "high",
        },
        above_min_pa: f64::from(supply.check.above_min_pa),
        below_max_pa: f64::from(supply.check.below_max_pa),
        needed_pressure_pa: f64::from(supply.check.needed_pressure_pa),
        needed_flow_m3ps: f64::from(supply.check.needed_flow_m3ps),
        fill_time_s: slow.and_then(|slow| slow.fill_time_s()).map(f64::from),
        after_cut: chamber.map_or_else(Vec::new, |chamber| after_cut(site, supply, chamber, hard, needed_s)),
    }
}

/// Pressure over time after a power cut, until the bag is slack or for two minutes.
fn after_cut(
    site: &Site,
    supply: &Supply,
    chamber: &Chamber,
    hard: Option<(Hard, Bag)>,
    needed_s: Option<f64>,
) -> Vec<AfterCut> {
    let flows = supply.flows(Feed::Lost);
    let slow = SlowGas { chamber, flows };
    let start = chamber.at_pressure(chamber.operating_pa());
    let slack_s = slow.fall_time_s(chamber.operating_pa(), chamber.skin_pa());
    let end_s = slack_s.unwrap_or(120.0).min(120.0).max(2.0 * needed_s.unwrap_or(5.0) as f32);
    let trial = hard.and_then(|(hard, bag)| {
        let landing = landing(site, &bag, site.rider.heaviest_kg, hard.speed_mps, hard.thickness_m).ok()?;
        Some(Trial { chamber, flows, landing, options: Options::default() })
    });
    (0..=MOMENTS)
        .map(|moment| {
            let time_s = end_s * f32::from(moment) / f32::from(MOMENTS);
            let (state, _) = slow.after_loss(&start, time_s);
            let depth = trial.and_then(|trial| trial.land(state, Feed::Lost, Until::Deepest));
            AfterCut {
                time_s: f64::from(time_s),
                pressure_pa: f64::from(state.pressure_pa),
                hard_depth_m: depth.map(|done| f64::from(done.depth_m)),
            }
        })
        .collect()
}

/// The mean landing at the operating pressure; none off the bag.
pub fn touchdown(site: &Site, supply: &Supply, bag: &Bag, run: &Run<f32>) -> Result<Option<Touchdown>, InputError> {
    touchdown_traced(site, supply, bag, run, |_| {})
}

/// The same, each step shown to `trace`.
///
/// # Errors
/// [`InputError`] for what the models refuse.
pub fn touchdown_traced(
    site: &Site,
    supply: &Supply,
    bag: &Bag,
    run: &Run<f32>,
    trace: impl FnMut(TracePoint),
) -> Result<Option<Touchdown>, InputError> {
    let on_bag = matches!(run.outcome(bag, 0), Outcome::On | Outcome::Edge);
    let (true, Ok(chamber)) = (on_bag, &supply.chamber) else {
        return Ok(None);
    };
    let thickness_m = bag.thickness_m(run.along_m);
    let landing = landing(site, bag, site.rider.mass_kg, f64::from(run.normal_mps), f64::from(thickness_m))?;
    let gas = Adiabat::new(chamber, chamber.at_pressure(chamber.operating_pa()), QUICK_EXPONENT)?;
    let flows = supply.flows(Feed::Running);
    let options = Options { trace_interval_s: TRACE_S, ..Options::default() };
    let done = touch_down(&gas, &flows, &landing, &options, trace);
    let slow = SlowGas { chamber, flows };
    let after = chamber.at_content(chamber.operating_content_m3() - done.gas_lost_in_all_m3);
    // On the ground the bag is not left by itself: what it loses meanwhile is not known.
    let met_no_ground = done.ground.is_none();
    Ok(Some(Touchdown {
        depth_m: f64::from(done.depth_m),
        thickness_m: f64::from(thickness_m),
        clearance_m: f64::from(done.clearance_m.unwrap_or(thickness_m - done.depth_m)),
        felt_load_g: f64::from(done.felt_load_g),
        peak_pressure_pa: f64::from(done.peak_pressure_pa),
        time_to_deepest_s: f64::from(done.time_to_deepest_s),
        gas_lost_m3: f64::from(done.gas_lost_m3),
        rebound_mps: done.rebound_mps.map(f64::from),
        rebound_low_mps: None,
        rebound_high_mps: None,
        along_left_mps: None,
        run_out_m: None,
        ride_out_mps: None,
        push_n: None,
        recovery_s: met_no_ground.then(|| slow.recovery_s(done.gas_lost_in_all_m3)).flatten().map(f64::from),
        ground_speed_mps: done.ground.map(|ground| f64::from(ground.speed_mps)),
        ground_fall_height_m: done.ground.map(|ground| f64::from(ground.fall_height_m)),
        dip_pa: met_no_ground.then_some(f64::from(after.pressure_pa)),
    }))
}

/// What the pressures need besides the site.
#[derive(Clone, Copy, Debug)]
pub struct Committed {
    /// The hard landing.
    pub hard: Hard,
    /// From the last stop line, or the start, to touch-down.
    pub commitment_s: f64,
    /// Whether there is no last stop line.
    pub from_start: bool,
}

/// The pressures to ride between.
///
/// # Errors
/// [`InputError`] for what the models refuse.
pub fn pressures(site: &Site, supply: &Supply, bag: &Bag, committed: &Committed) -> Result<Pressures, InputError> {
    let input = RideInput {
        air: &supply.air,
        openings: &supply.openings,
        blowers: &supply.blowers,
        operating_pa: supply.operating.pressure_pa,
        volume_m3: site.bag.volume_m3 as f32,
        stretch_per_pa: site.bag.skin_stretch_per_pa as f32,
        skin_kgpm2: site.bag.skin_weight_kgpm2 as f32,
        dish_radius_m: site.bag.dish_radius_m as f32,
        skin_loss: site.bag.skin_loss as f32,
        pressure_min_pa: site.bag.pressure_min_pa as f32,
        pressure_max_pa: site.bag.pressure_max_pa as f32,
        depth_limit: site.bag.depth_limit as f32,
        load_limit_g: site.bag.load_limit as f32,
        stop_floor: site.bag.stop_floor as f32,
        thickness_m: committed.hard.thickness_m as f32,
        slope_rad: bag.slope_rad(),
        heaviest_kg: landing_kg(site, site.rider.heaviest_kg) as f32,
        lightest_kg: landing_kg(site, site.rider.lightest_kg) as f32,
        hard_speed_mps: committed.hard.speed_mps as f32,
        commitment_s: committed.commitment_s as f32,
        reaction_s: site.rider.reaction_s as f32,
        supply_sense: site.watch.supply_sense,
        interval_s: site.session.interval_s as f32,
        options: Options::default(),
    };
    let report = ride_report(&input)?;
    let stated = &report.stated;
    let wide = |value: Option<f32>| value.map(f64::from);
    Ok(Pressures {
        stop_pa: wide(stated.stop_pa),
        stop_rule: Some(match stated.stop_rule {
            CoreStopRule::Depth => StopRule::Depth,
            CoreStopRule::Floor => StopRule::Floor,
        }),
        stop_by_depth_pa: wide(stated.stop_by_depth_pa),
        just_taut_is_enough: Some(stated.just_taut_is_enough),
        firm_pa: wide(stated.firm_pa),
        firm_limit: Some(match stated.firm_limit {
            Limit::NotReached => "not_reached",
            Limit::NotKept => "not_kept",
            _ => "reached",
        }),
        band_low_pa: if stated.band_is_empty { None } else { wide(stated.band_low_pa) },
        band_high_pa: if stated.band_is_empty { None } else { wide(stated.band_high_pa) },
        band_low_rule: Some(band_end(stated.band_low_end)),
        band_high_rule: Some(band_end(stated.band_high_end)),
        band_is_empty: Some(stated.band_is_empty),
        wait_pa: wide(stated.wait_pa),
        power_loss_to_stop_s: wide(stated.power_loss_to_stop_s),
        holds_for_s: wide(stated.holds_for_s),
        commitment_s: Some(committed.commitment_s),
        committed_from_start: Some(committed.from_start),
        seconds_missing: wide(stated.seconds_missing),
        landings_without_supply: Some(stated.landings_without_supply),
        alarm_delay_s: wide(stated.alarm_delay_s),
        hard_speed_mps: Some(committed.hard.speed_mps),
        hard_thickness_m: Some(committed.hard.thickness_m),
        worst: Some(end(report.worst())),
        ends: report.ends.iter().map(end).collect(),
        fitted: site.bag.fitted,
        ..Pressures::default()
    })
}

fn end(pressures: &RidePressures) -> WorstEnd {
    let wide = |value: Option<f32>| value.map(f64::from);
    WorstEnd {
        stop_pa: wide(pressures.stop_pa),
        power_loss_to_stop_s: wide(pressures.power_loss_to_stop_s),
        holds_for_s: wide(pressures.holds_for_s),
        seconds_missing: wide(pressures.seconds_missing),
        wait_pa: wide(pressures.wait_pa),
        band_high_pa: wide(pressures.band_high_pa),
        alarm_delay_s: wide(pressures.alarm_delay_s),
        skin_stretch: f64::from(pressures.skin_stretch_per_pa),
        dish_radius_m: f64::from(pressures.dish_radius_m),
    }
}

const fn band_end(end: BandEnd) -> &'static str {
    match end {
        BandEnd::Stop => "stop",
        BandEnd::PressureMin => "pressure_min",
        BandEnd::Firm => "firm",
        BandEnd::PressureMax => "pressure_max",
    }
}
