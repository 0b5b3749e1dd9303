//! Loads, depths, pressures and chances on a bag of which not everything is known: computed for the bag as it is stated
//! and the possible ones about it, and again as if it were measured to what is stated.

use super::demand::{Demand, Lander};
use super::model::Supply;
use super::results::{Chance, Demanded, OneBag, OneBlowerLost, OrWhy, Pressures, Why};
use crate::site::{ForceAreaStated, Site};
use landfall_core::InputError;
use landfall_core::bag::Bag;
use landfall_core::bag_gas::Chamber;
use landfall_core::force_area::{ForceArea, Knot};
use landfall_core::ground_chance::{GroundChance, LandingRider, ground_chance};
use landfall_core::landing_limits::Limit;
use landfall_core::levels::{LevelsBag, LevelsInput, LevelsRiders, Sensing, SensorError};
use landfall_core::possible_bags::{PossibleBag, PossibleBags, StatedArea, Unknown};
use landfall_core::ride_limits::{BagLimits, RideLimits, ride_limits};
use landfall_core::supply::one_blower_lost;
use landfall_core::touchdown::Options;
use rayon::prelude::*;

/// The force area that a site states.
///
/// # Errors
/// [`InputError`] for knots that make no curve.
pub fn stated_area(site: &Site) -> Result<StatedArea, InputError> {
    Ok(match &site.bag.force_area {
        ForceAreaStated::Assumed { body_m2, growth_m, limit_m2 } => {
            StatedArea::Assumed { body_m2: *body_m2 as f32, growth_m: *growth_m as f32, limit_m2: *limit_m2 as f32 }
        }
        ForceAreaStated::Measured(list) => {
            let knots: Vec<Knot> =
                list.iter().map(|(depth, area)| Knot { depth_m: *depth as f32, area_m2: *area as f32 }).collect();
            StatedArea::Measured(ForceArea::measured(&knots)?)
        }
    })
}

/// The bags that fit what a site says.
///
/// # Errors
/// [`InputError`] for what is out of range.
pub fn possible_bags(site: &Site) -> Result<PossibleBags, InputError> {
    let unknown = &site.unknown;
    PossibleBags::new(
        stated_area(site)?,
        site.bag.skin_stretch_per_pa as f32,
        Unknown {
            area_body: unknown.area_body as f32,
            area_growth: unknown.area_growth as f32,
            area_limit: unknown.area_limit as f32,
            skin_stretch: unknown.skin_stretch as f32,
            area: unknown.area as f32,
        },
    )
}

/// A site's bag as the levels take it, with the thickness where landings fall.
pub fn levels_bag(site: &Site, thickness_m: f64, slope_rad: f32) -> LevelsBag {
    let bag = &site.bag;
    LevelsBag {
        volume_m3: bag.volume_m3 as f32,
        skin_kgpm2: bag.skin_weight_kgpm2 as f32,
        skin_loss: bag.skin_loss as f32,
        pressure_min_pa: bag.pressure_min_pa as f32,
        pressure_max_pa: bag.pressure_max_pa as f32,
        depth_limit: bag.depth_limit as f32,
        load_stop_g: bag.load_stop as f32,
        stop_floor: bag.stop_floor as f32,
        thickness_m: thickness_m as f32,
        slope_rad,
    }
}

/// A site's bag and supply under a demand, as the core takes them.
pub fn levels_input<'a>(site: &Site, supply: &'a Supply, bag: &Bag, demand: &Demand) -> LevelsInput<'a> {
    let sensor = site.watch.sensor;
    LevelsInput {
        air: &supply.air,
        openings: &supply.openings,
        blowers: &supply.blowers,
        operating_pa: supply.operating.pressure_pa,
        bag: levels_bag(site, demand.thickness_m, bag.slope_rad()),
        load_limit_g: site.bag.load_limit as f32,
        riders: LevelsRiders {
            heaviest_kg: demand.heaviest_kg as f32,
            lightest_kg: demand.lightest_kg as f32,
            hard_speed_mps: demand.hard_speed_mps as f32,
            mean_landing: demand.mean,
            commitment_s: demand.commitment_s.get().map(|seconds| seconds as f32),
            reaction_s: site.rider.reaction_s as f32,
        },
        sensing: Sensing {
            supply_sense: site.watch.supply_sense,
            sensor: SensorError { error_pa: sensor.error_pa() as f32, noise_pa: sensor.noise_pa() as f32 },
        },
        options: Options::default(),
    }
}

/// What is known of the bag with one set of possible bags.
#[derive(Clone, Debug)]
pub struct Known {
    /// Pressures, times, depths and loads.
    pub limits: RideLimits,
    /// Chances of the ground of each lander, as [`Demand::landers`].
    pub ground: Vec<GroundChance>,
    /// One blower of several fails.
    pub one_blower: Option<landfall_core::supply::OneBlowerLost>,
}

/// As the bag is stated, and as if it were measured to that.
#[derive(Clone, Debug)]
pub struct Twice {
    /// With what is not known now.
    pub now: Known,
    /// With what a measurement would leave.
    pub measured: Known,
}

/// Computes pressures, times, depths and loads of both, without the chances of the ground. The threads are those of
/// rayon's current pool; the result does not depend on their number.
///
/// # Errors
/// [`InputError`] for what is out of range.
pub fn limits_twice(
    site: &Site,
    supply: &Supply,
    chamber: &Chamber,
    input: &LevelsInput<'_>,
) -> Result<Twice, InputError> {
    let bags = possible_bags(site)?;
    let interval_s = site.session.interval_s as f32;
    let known = |bags: &PossibleBags| -> Result<Known, InputError> {
        let limits = ride_limits(input, bags, interval_s)?;
        let one_blower = one_blower_lost(chamber, &supply.blowers, &supply.openings, limits.levels.stop_pa);
        Ok(Known { limits, ground: Vec::new(), one_blower })
    };
    let (now, measured) = rayon::join(|| known(&bags), || known(&bags.if_measured()));
    Ok(Twice { now: now?, measured: measured? })
}

impl Twice {
    /// Adds the chances of the ground.
    ///
    /// # Errors
    /// [`InputError`] for what is out of range.
    pub fn with_ground(mut self, site: &Site, input: &LevelsInput<'_>, demand: &Demand) -> Result<Self, InputError> {
        let bags = possible_bags(site)?;
        let measured = bags.if_measured();
        let target = site.bag.target_ground as f32;
        // Riders who land alike have the same chances.
        let alike: Vec<usize> = (0..demand.landers.len())
            .map(|i| {
                let same = |other: &Lander| {
                    other.landing_kg == demand.landers[i].landing_kg && other.speeds.same(&demand.landers[i].speeds)
                };
                demand.landers.iter().position(same).unwrap_or(i)
            })
            .collect();
        let jobs: Vec<(usize, bool)> =
            (0..alike.len()).filter(|i| alike[*i] == *i).flat_map(|i| [(i, false), (i, true)]).collect();
        let done: Vec<GroundChance> = jobs
            .par_iter()
            .map(|&(i, as_measured)| {
                let lander = &demand.landers[i];
                let rider = LandingRider { mass_kg: lander.landing_kg as f32, speeds: &lander.speeds };
                let (bags, known) = if as_measured { (&measured, &self.measured) } else { (&bags, &self.now) };
                ground_chance(input, bags, &rider, known.limits.levels.needed_s, target)
            })
            .collect::<Result<_, _>>()?;
        let chances = |as_measured: bool| -> Vec<GroundChance> {
            let of = |i: &usize| jobs.iter().position(|job| *job == (*i, as_measured)).and_then(|at| done.get(at));
            alike.iter().filter_map(of).copied().collect()
        };
        self.now.ground = chances(false);
        self.measured.ground = chances(true);
        Ok(self)
    }
}

impl Known {
    /// The largest chance of meeting the ground in a landing.
    pub fn ground(&self) -> f64 {
        self.ground.iter().fold(0.0, |most, chance| most.max(f64::from(chance.ground)))
    }

    /// The largest after a power cut; none without a commitment.
    pub fn ground_cut(&self) -> Option<f64> {
        self.ground
            .iter()
            .map(|chance| chance.ground_cut.map(f64::from))
            .try_fold(0.0, |most: f64, cut| Some(most.max(cut?)))
    }

    /// The largest share of possible bags in which the chance is over the target.
    pub fn ground_share(&self) -> f64 {
        self.ground.iter().fold(0.0, |most, chance| most.max(f64::from(chance.ground_share)))
    }
}

/// The chances by rider, the worst of all crews.
fn by_rider(demand: &Demand, known: &Known, of: impl Fn(&GroundChance) -> f64, if_measured: OrWhy<f64>) -> Chance {
    let worst = |which: Option<usize>| {
        let of_these = demand.landers.iter().zip(&known.ground).filter(|(l, _)| which.is_none_or(|w| w == l.which));
        of_these.fold(0.0, |most: f64, (_, chance)| most.max(of(chance)))
    };
    Chance { lightest: worst(Some(1)), mean: worst(Some(0)), heaviest: worst(Some(2)), worst: worst(None), if_measured }
}

/// A value as the results print it, or why there is none.
fn wide(value: Option<f32>, why: Why) -> OrWhy<f64> {
    value.map(f64::from).ok_or(why).into()
}

fn one_bag(limits: &BagLimits) -> OneBag {
    let PossibleBag { area, stretch_per_pa } = &limits.bag;
    let finite = |value: f32| wide(Some(value).filter(|value| value.is_finite()), Why::NoEnd);
    OneBag {
        knots: area.knots().iter().map(|knot| [f64::from(knot.depth_m), f64::from(knot.area_m2)]).collect(),
        skin_stretch: f64::from(*stretch_per_pa),
        stop_by_depth_pa: wide(limits.by_depth.pressure_pa(), Why::NotKept),
        power_loss_to_stop_s: wide(limits.power_loss_to_stop_s, Why::NoStopAfterCut),
        hard_depth_m: finite(limits.hard_depth_m),
        light_load_g: finite(limits.light_load_g),
    }
}

/// A pressure that bounds from above: null where nothing up to 20 kPa passes the limit, 0 where just taut does already.
fn upper(limit: Limit) -> OrWhy<f64> {
    match limit {
        Limit::NotKept => OrWhy::Value(0.0),
        other => wide(other.pressure_pa(), Why::NotBounded),
    }
}

/// What the results print of it; what was provisional is added by whoever found it.
pub fn pressures(demand: &Demand, twice: &Twice) -> Pressures {
    let known = &twice.now;
    let limits = &known.limits;
    let levels = &limits.levels;
    let cut = |chance: &GroundChance| chance.ground_cut.map_or(0.0, f64::from);
    let in_band = |pa: f32| wide(Some(pa).filter(|_| !levels.band_is_empty), Why::BandEmpty);
    let cut_if_measured = OrWhy::from(twice.measured.ground_cut().ok_or(Why::NoAlarmTime));
    let ground_cut = known.ground_cut().map(|_| by_rider(demand, known, cut, cut_if_measured));
    Pressures {
        stop_pa: OrWhy::Value(f64::from(levels.stop_pa)),
        stop_rule: OrWhy::Value(levels.stop_rule.into()),
        room_pa: OrWhy::Value(f64::from(levels.room_pa)),
        firm_pa: upper(levels.firm),
        comfort_pa: upper(limits.comfort),
        band_low_pa: in_band(levels.band_low_pa),
        band_high_pa: in_band(levels.band_high_pa),
        band_low_rule: OrWhy::Value(levels.band_low_end.into()),
        band_high_rule: OrWhy::Value(levels.band_high_end.into()),
        band_is_empty: OrWhy::Value(levels.band_is_empty),
        wait_pa: wide(levels.wait_pa, Why::NoWait),
        commitment_s: demand.commitment_s,
        committed_from_start: OrWhy::Value(demand.from_start),
        alarm_delay_s: wide(levels.alarm_delay_s, Why::NoAlarmTime),
        needed_s: wide(levels.needed_s, Why::NoAlarmTime),
        hard_speed_mps: OrWhy::Value(demand.hard_speed_mps),
        speeds_by: OrWhy::Value(demand.speeds_by),
        hard_thickness_m: OrWhy::Value(demand.thickness_m),
        landings_without_supply: OrWhy::Value(limits.landings_without_supply),
        stated: OrWhy::Value(one_bag(&limits.stated)),
        soft: OrWhy::Value(one_bag(&limits.soft)),
        firm: OrWhy::Value(one_bag(&limits.firm)),
        holds_for_s: wide(limits.holds_for_s, Why::HoldsLong),
        holds_for_p05_s: wide(limits.holds_for_p05_s, Why::HoldsLong),
        seconds_missing: wide(limits.seconds_missing, Why::NoAlarmTime),
        ground: OrWhy::Value(by_rider(
            demand,
            known,
            |chance| f64::from(chance.ground),
            OrWhy::Value(twice.measured.ground()),
        )),
        ground_cut: ground_cut.ok_or(Why::NoAlarmTime).into(),
        ground_share: OrWhy::Value(known.ground_share()),
        one_blower_lost: known
            .one_blower
            .map(|lost| OneBlowerLost {
                settles_pa: f64::from(lost.settles_pa),
                to_stop_s: wide(lost.to_stop_s, Why::NeverToStop),
            })
            .ok_or(Why::OneBlower)
            .into(),
        provisional: Why::NothingLifted.into(),
        levels: OrWhy::Value(levels.pressures.into()),
        judged: Vec::new(),
        demanded: Some(Demanded {
            heaviest_kg: demand.heaviest_kg as f32,
            lightest_kg: demand.lightest_kg as f32,
            mean: demand.mean,
            soft: limits.soft.factors,
            firm: limits.firm.factors,
        }),
    }
}
