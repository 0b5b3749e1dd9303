//! The parts of a plan about air: supply, touch-down, the pressures to ride between.

use super::demand::{Demand, landing_kg};
use super::known::stated_area;
use super::model::Supply;
use super::results::{AfterCut, Air, OrWhy, Touchdown, Why};
use crate::site::Site;
use landfall_core::InputError;
use landfall_core::along_top::{AlongTopInput, along_top};
use landfall_core::bag::{Bag, Outcome};
use landfall_core::bag_gas::{Adiabat, Chamber, QUICK_EXPONENT};
use landfall_core::landing_limits::Trial;
use landfall_core::run::Run;
use landfall_core::slow_gas::SlowGas;
use landfall_core::supply::Feed;
use landfall_core::touchdown::{Landing, LandingInput, Options, TracePoint, Until, touch_down};

/// Time between two points of a drawn touch-down; the steps themselves do not depend on it.
const TRACE_S: f32 = 0.005;
/// Shares of the force that the skin may keep to itself on the way back: published rebounds lie between (*assumed*).
const MOST_LOST: f32 = 0.8;
const LEAST_LOST: f32 = 0.3;
/// Moments of the table after a power cut.
const MOMENTS: u16 = 24;

/// A landing on the bag as it is stated; ground at `thickness_m`.
fn landing(site: &Site, bag: &Bag, mass_kg: f64, speed_mps: f32, thickness_m: f32) -> Result<Landing, InputError> {
    Landing::new(LandingInput {
        mass_kg: mass_kg as f32,
        normal_speed_mps: speed_mps,
        slope_rad: bag.slope_rad(),
        skin_loss: site.bag.skin_loss as f32,
        area: stated_area(site)?.area()?,
        thickness_m: Some(thickness_m),
    })
}

/// The air supply; with a hard landing, also how deep it would go after a power cut. Without one, why there is none.
pub fn air(site: &Site, supply: &Supply, hard: Result<(&Demand, &Bag), Why>, needed_s: Option<f64>) -> Air {
    let chamber = supply.chamber.as_ref().ok();
    let fill_time_s = chamber.ok_or(Why::NoLift).and_then(|chamber| {
        let slow = SlowGas { chamber, flows: supply.flows(Feed::Running) };
        slow.fill_time_s().map(f64::from).ok_or(Why::NotFilled)
    });
    Air {
        density_kgpm3: f64::from(supply.air.density_kgpm3),
        outside_pressure_pa: f64::from(supply.air.pressure_pa),
        operating_pressure_pa: f64::from(supply.operating.pressure_pa),
        operating_flow_m3ps: f64::from(supply.operating.flow_m3ps),
        at_shut_off: supply.operating.at_shut_off,
        status: supply.check.status,
        above_min_pa: f64::from(supply.check.above_min_pa),
        below_max_pa: f64::from(supply.check.below_max_pa),
        needed_pressure_pa: f64::from(supply.check.needed_pressure_pa),
        needed_flow_m3ps: f64::from(supply.check.needed_flow_m3ps),
        fill_time_s: fill_time_s.into(),
        after_cut: chamber.map_or_else(Vec::new, |chamber| after_cut(site, supply, chamber, hard, needed_s)),
    }
}

/// Pressure over time after a power cut, until the bag is slack or for two minutes.
fn after_cut(
    site: &Site,
    supply: &Supply,
    chamber: &Chamber,
    hard: Result<(&Demand, &Bag), Why>,
    needed_s: Option<f64>,
) -> Vec<AfterCut> {
    let flows = supply.flows(Feed::Lost);
    let slow = SlowGas { chamber, flows };
    let start = chamber.at_pressure(chamber.operating_pa());
    let slack_s = slow.fall_time_s(chamber.operating_pa(), chamber.skin_pa());
    let end_s = slack_s.unwrap_or(120.0).min(120.0).max(2.0 * needed_s.unwrap_or(5.0) as f32);
    let trial = hard.and_then(|(hard, bag)| {
        let landing = landing(site, bag, hard.heaviest_kg, hard.hard_speed_mps as f32, hard.thickness_m as f32)
            .map_err(|_| Why::HardRefused)?;
        Ok(Trial { chamber, flows, landing, options: Options::default() })
    });
    (0..=MOMENTS)
        .map(|moment| {
            let time_s = end_s * f32::from(moment) / f32::from(MOMENTS);
            let (state, _) = slow.after_loss(&start, time_s);
            let depth_m = trial.and_then(|trial| {
                let done = trial.land(state, Feed::Lost, Until::Deepest).ok_or(Why::NoGas)?;
                Ok(f64::from(done.depth_m))
            });
            AfterCut {
                time_s: f64::from(time_s),
                pressure_pa: f64::from(state.pressure_pa),
                hard_depth_m: depth_m.into(),
            }
        })
        .collect()
}

/// Error of a step of the landings that are shown, relative: with that of the searches a rebound, at the end of some
/// thirty steps, is off by up to 1.5 mm/s.
const SHOWN_TOLERANCE: f32 = 5.0e-6;

/// The mean landing at the operating pressure; none off the bag.
pub fn touchdown(site: &Site, supply: &Supply, bag: &Bag, run: &Run<f32>) -> Result<OrWhy<Touchdown>, InputError> {
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
) -> Result<OrWhy<Touchdown>, InputError> {
    let Ok(chamber) = &supply.chamber else { return Ok(Why::NoLift.into()) };
    if !matches!(run.outcome(bag, 0), Outcome::On | Outcome::Edge) {
        return Ok(Why::OffBag.into());
    }
    let thickness_m = bag.thickness_m(run.along_m);
    let landing = landing(site, bag, landing_kg(site, site.rider.mass_kg), run.normal_mps, thickness_m)?;
    let gas = Adiabat::new(chamber, chamber.at_pressure(chamber.operating_pa()), QUICK_EXPONENT)?;
    let flows = supply.flows(Feed::Running);
    let options = Options { tolerance: SHOWN_TOLERANCE, trace_interval_s: TRACE_S, ..Options::default() };
    let done = touch_down(&gas, &flows, &landing, &options, trace);
    let rebound = |skin_loss: f32| -> Result<OrWhy<f64>, InputError> {
        let landing = Landing::new(LandingInput { skin_loss, ..landing.input() })?;
        let done = touch_down(&gas, &flows, &landing, &options, |_| {});
        Ok(done.rebound_mps.map(f64::from).ok_or(no_rebound(&done)).into())
    };
    let speed2: f32 = run.contact.velocity_mps.iter().map(|v| v * v).sum();
    let rebound_mps = done.rebound_mps.ok_or(no_rebound(&done));
    let along = rebound_mps.map(|rebound_mps| AlongTopInput {
        normal_mps: run.normal_mps,
        along_mps: (speed2 - run.normal_mps * run.normal_mps).max(0.0).sqrt(),
        slope_rad: bag.slope_rad(),
        time_to_deepest_s: done.time_to_deepest_s,
        rebound_mps,
        friction: site.bag.skin_friction as f32,
        rolling_resistance: site.roll_in.rolling_resistance as f32,
        length_m: bag.length_m(),
        at_m: run.along_m,
    });
    let along: OrWhy<_> = match along {
        Ok(input) => OrWhy::Value(along_top(&input)?),
        Err(why) => why.into(),
    };
    let slow = SlowGas { chamber, flows };
    let after = chamber.at_content(chamber.operating_content_m3() - done.gas_lost_in_all_m3);
    // On the ground the bag is not left by itself: what it loses meanwhile is not known.
    let left_alone = if done.ground.is_none() { Ok(()) } else { Err(Why::MeetsGround) };
    let ground = OrWhy::from(done.ground.ok_or(Why::NoGround));
    Ok(OrWhy::Value(Touchdown {
        depth_m: f64::from(done.depth_m),
        thickness_m: f64::from(thickness_m),
        clearance_m: f64::from(done.clearance_m.unwrap_or(thickness_m - done.depth_m)),
        felt_load_g: f64::from(done.felt_load_g),
        peak_pressure_pa: f64::from(done.peak_pressure_pa),
        time_to_deepest_s: f64::from(done.time_to_deepest_s),
        gas_lost_m3: f64::from(done.gas_lost_m3),
        rebound_mps: rebound_mps.map(f64::from).into(),
        rebound_low_mps: rebound(MOST_LOST)?,
        rebound_high_mps: rebound(LEAST_LOST)?,
        along_left_mps: along.map(|along| f64::from(along.left_mps)),
        run_out_m: along.and_then(|along| along.run_out_m.map(f64::from).ok_or(Why::SlopesDown).into()),
        ride_out_mps: along.and_then(|along| along.ride_out_mps.map(f64::from).ok_or(Why::NoSlopeDown).into()),
        push_n: Why::NotAsked.into(),
        recovery_s: left_alone
            .and_then(|()| slow.recovery_s(done.gas_lost_in_all_m3).map(f64::from).ok_or(Why::NotRecovered))
            .into(),
        ground_speed_mps: ground.map(|ground| f64::from(ground.speed_mps)),
        ground_fall_height_m: ground.map(|ground| f64::from(ground.fall_height_m)),
        sinks_on_mps: done.sank_on.map(|ground| f64::from(ground.speed_mps)).ok_or(Why::DoesNotSink).into(),
        dip_pa: left_alone.map(|()| f64::from(after.pressure_pa)).into(),
    }))
}

/// Why a body does not come back to the skin, where it does not.
const fn no_rebound(done: &landfall_core::touchdown::Touchdown) -> Why {
    if done.ground.is_some() { Why::MeetsGround } else { Why::NoEnd }
}
