//! The landing that the spread of a site's runs wants.
//!
//! # Settled here
//! - **A landing that is built**: the field holds 999 of 1,000 tries of all riders by the divided differences on its
//!   slope's plane, half of the rest at each end; knuckle and transition lie a margin outside it, the radius is the
//!   smallest (up to the next decimetre) that keeps the load for the short, the mean and the long try, which differ
//!   in lip speed. The deck begins where all but 1 in 2,000 drawn runs are over it. 1,000 drawn runs of each rider
//!   are counted on it: that count, not the field, says what it catches. What goes into the surface at contact is
//!   lost.

use crate::after::{After, ride_on};
use crate::landing::{Landing, Offset, Part};
use crate::meet::{Meet, meet};
use crate::tries::drawn_tries;
use landfall_core::flight::step;
use landfall_core::inputs::{Inputs, Uncertain, Uncertainty};
use landfall_core::landing_plane::LandingPlane;
use landfall_core::landing_shape::Throw;
use landfall_core::ride::Steps;
use landfall_core::run::Setup;
use landfall_core::spread::mixture;
use landfall_core::{InputError, Status};
use landfall_ground::Profile;
use landfall_ground::earth::{Earth, Strip, earth};
use serde::Serialize;

/// Share of all tries that the field holds: 99.9 %, the rest half before and half behind it.
pub const FIELD: f32 = 0.999;
/// Largest radius that is looked at.
const WIDEST_M: f64 = 120.0;

/// What is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Asked {
    /// Slope of the landing, down positive.
    pub slope_rad: f64,
    /// Level deck before the knuckle.
    pub deck_m: f64,
    /// Slope kept before and behind the field of landings.
    pub margin_m: f64,
    /// Kept to both sides of it.
    pub side_margin_m: f64,
    /// Highest load in the transition, in g, standing still being 1.
    pub load_limit_g: f64,
    /// Length of the level roll-out.
    pub run_out_m: f64,
    /// Run of the earth's banks for each metre of height.
    pub bank: f64,
    /// Between two rows of the offsets.
    pub offset_step_m: f64,
    /// Of the tries that are drawn: the site's.
    pub seed: u64,
}

/// A loose fill of a published table.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Fill {
    /// What it is.
    pub material: &'static str,
    /// Depth once it is compressed.
    pub depth_m: f64,
    /// Depth to fill in.
    pub filled_m: f64,
    /// Fall height that the table gives for it.
    pub fall_m: f64,
}

/// A try, and how it goes on.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Try {
    /// `short`, `mean` or `long`.
    pub which: &'static str,
    /// Speed at the release.
    pub lip_speed_mps: f64,
    /// How it comes down.
    pub meet: Meet,
    /// How it rolls on.
    pub after: Option<After>,
}

/// A place of the slope, the run that comes down there, and the depth of fill that its fall asks for.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Bed {
    /// From the lip.
    pub x_m: f64,
    /// Equivalent fall height of the run that comes down here; it differs from the mean run in speed alone.
    pub fall_m: f64,
    /// Depth to fill in; none where the table names none for such a fall.
    pub filled_m: Option<f64>,
}

/// Counts of drawn runs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Drawn {
    /// How many.
    pub runs: usize,
    /// On the slope.
    pub on_slope: usize,
    /// On deck or knuckle, or against the front.
    pub short: usize,
    /// In the transition or past it.
    pub long: usize,
    /// Off the sides.
    pub off_side: usize,
    /// Did not come to the lip.
    pub no_flight: usize,
}

impl Drawn {
    /// Runs that do not come down on the slope.
    #[must_use]
    pub const fn beside(&self) -> usize {
        self.runs - self.on_slope
    }

    /// Whether no more than 2 in 1,000 do not: the 1 in 1,000 that the field is laid out for, and what so few drawn runs
    /// scatter by.
    #[must_use]
    pub const fn catches(&self) -> bool {
        self.beside() * 500 <= self.runs
    }
}

/// A landing with what is known of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Built {
    /// What was asked.
    pub asked: Asked,
    /// Its shape.
    pub landing: Landing,
    /// Between these, from the lip, 999 of 1,000 tries of all riders come down on the slope's plane.
    pub field_m: (f64, f64),
    /// Between these across, right to left.
    pub across_m: (f64, f64),
    /// The short, the mean and the long try.
    pub tries: Vec<Try>,
    /// Highest load in the transition of the three.
    pub peak_load_g: f64,
    /// Earth to bring in and to dig away.
    pub earth: Earth,
    /// Where drawn runs of all riders, with all that scatters, come down: what the field's straight reckoning is held against.
    pub drawn: Drawn,
    /// What the fill is.
    pub fill: Fill,
    /// Places along the slope.
    pub bed: Vec<Bed>,
    /// Fill to bring, before it is compressed, where the table names a depth.
    pub fill_m3: f64,
    /// Offsets to set it out by.
    pub offsets: Vec<Offset>,
}

/// Why there is none.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum BuildError {
    /// What is asked is out of range.
    Asked(&'static str),
    /// Some run does not come down on a slope so steep: it never rises over it.
    NoField,
    /// The mean run does not come to the lip.
    NoFlight,
    /// A try meets deck or knuckle instead of the slope: they stand in its way.
    InTheWay {
        /// Which try.
        which: &'static str,
        /// The knuckle, as the spread wants it.
        knuckle_m: (f64, f64),
    },
    /// No transition keeps the load.
    TooFast {
        /// Speed at which the fastest try would come into it, without regard to what it loses.
        along_mps: f64,
    },
    /// The core refuses a number.
    Input(InputError),
}

impl std::fmt::Display for BuildError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Asked(what) => f.write_str(what),
            Self::NoField => f.write_str(
                "some tries do not come to the lip or never rise over a landing so steep, so that no knuckle can be placed; more \
                 speed, less scatter or a flatter slope would change it",
            ),
            Self::NoFlight => f.write_str("the mean run comes to rest or leaves the surface before the lip"),
            Self::InTheWay { which, knuckle_m } => write!(
                f,
                "the knuckle would stand {:.1} m from the lip and {:.1} m over the foot, in the way of the {which} try; a flatter \
                 slope or less scatter would change it",
                knuckle_m.0, knuckle_m.1
            ),
            Self::TooFast { along_mps } => write!(
                f,
                "no transition with a radius up to {WIDEST_M:.0} m keeps the load: the fastest try comes into it at {along_mps:.1} m/s; \
                 a higher load, a flatter slope or a lower start would change it"
            ),
            Self::Input(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for BuildError {}

impl From<InputError> for BuildError {
    fn from(error: InputError) -> Self {
        Self::Input(error)
    }
}

/// Runs that differ in their lip speed alone.
fn throw(setup: &Setup, inputs: &Inputs<f32>) -> Result<Throw, InputError> {
    let release = setup.takeoff().release(inputs.get(Uncertain::Carry));
    let angle_rad = release.sin.atan2(release.cos);
    Throw::new(release.x_m, release.z_m, angle_rad, inputs.get(Uncertain::Pop), setup.drag(inputs))
}

/// The lip speed with which a run's contact comes to a place on a surface of a slope.
pub(crate) fn speed_to(
    setup: &Setup,
    inputs: &Inputs<f32>,
    (x_m, z_m): (f64, f64),
    slope_rad: f64,
) -> Result<Option<f64>, InputError> {
    let contact_m = f64::from(inputs.get(Uncertain::ContactHeight));
    let mass = (x_m + contact_m * slope_rad.sin(), z_m + contact_m * slope_rad.cos());
    let (passing, status) = throw(setup, inputs)?.through(mass.0 as f32, mass.1 as f32);
    Ok((status == Status::Converged).then(|| f64::from(passing.lip_speed_mps)))
}

/// A run of a lip speed onto a landing.
pub(crate) fn thrown(setup: &Setup, inputs: &Inputs<f32>, lip_speed_mps: f64, landing: &Landing) -> Option<Meet> {
    let inputs = inputs.with(Uncertain::LipSpeed, 0.0);
    let release = setup.release(lip_speed_mps as f32, &inputs);
    meet(landing, &release, &setup.drag(&inputs), inputs.get(Uncertain::ContactHeight).into())
}

impl Asked {
    fn check(&self) -> Result<(), BuildError> {
        let inside = |value: f64, low: f64, high: f64| value >= low && value <= high;
        let rules = [
            (inside(self.slope_rad.to_degrees(), 5.0, 60.0), "a landing's slope is taken from 5 to 60 degrees"),
            (inside(self.load_limit_g, 1.2, 10.0), "a transition's load is taken from 1.2 g to 10 g"),
            (inside(self.run_out_m, 0.5, 200.0), "a roll-out is taken from 0.5 m to 200 m"),
            (inside(self.deck_m, 0.0, 50.0), "a deck is taken from 0 m to 50 m"),
            (inside(self.margin_m, 0.0, 10.0), "a margin is taken from 0 m to 10 m"),
            (inside(self.side_margin_m, 0.0, 10.0), "a margin to the sides is taken from 0 m to 10 m"),
            (inside(self.bank, 0.0, 5.0), "banks are taken from 0 to 5 m out for each metre up"),
            (inside(self.offset_step_m, 0.05, 10.0), "offsets are taken every 0.05 m to 10 m"),
        ];
        rules.iter().find(|(good, _)| !good).map_or(Ok(()), |(_, what)| Err(BuildError::Asked(what)))
    }
}

/// Makes the landing whose slope passes through a place: where the mean run comes down now.
///
/// The knuckle lies a margin before the field of landings, the transition begins a margin behind it, its radius is the
/// smallest that keeps the load for the short, the mean and the long try.
///
/// # Errors
/// [`BuildError`].
pub fn build(
    setups: &[Setup],
    uncertainty: &Uncertainty,
    place_m: (f64, f64),
    asked: &Asked,
    fill: &Fill,
    ground: &Profile,
) -> Result<Built, BuildError> {
    shape(setups, uncertainty, place_m, asked, fill, ground).map(|built| finished(built, setups, uncertainty, ground))
}

/// Runs that are drawn of each rider.
const RUNS: usize = 1000;

/// The deck cut back to where drawn runs are over it, and these runs counted.
///
/// A deck that begins close to the lip stands in the way of runs that still rise over its height there: of 2,000 runs it
/// may be met by one.
fn finished(mut built: Built, setups: &[Setup], uncertainty: &Uncertainty, ground: &Profile) -> Built {
    let bare = Landing { deck_from_m: built.landing.knuckle_m.0, ..built.landing };
    let mut clear_m: Vec<f64> = Vec::new();
    each_drawn(setups, uncertainty, built.asked.seed, |setup, inputs| {
        clear_m.extend(over_deck_from(setup, inputs, &bare));
    });
    clear_m.sort_by(f64::total_cmp);
    let allowed = clear_m.len() / 2000;
    let clear = clear_m.len().checked_sub(allowed + 1).and_then(|at| clear_m.get(at)).copied().unwrap_or(0.0);
    let knuckle_x = built.landing.knuckle_m.0;
    built.landing.deck_from_m = built.landing.deck_from_m.max(clear + 0.05).min(knuckle_x);
    let mut drawn = Drawn::default();
    each_drawn(setups, uncertainty, built.asked.seed, |setup, inputs| {
        drawn.runs += 1;
        let end = setup.ride::<f32, false>(inputs, &Steps::FINE, |_| {});
        if end.stalled || end.left {
            drawn.no_flight += 1;
            return;
        }
        let release = setup.release(end.speed_mps, inputs);
        let contact_m = f64::from(inputs.get(Uncertain::ContactHeight));
        match meet(&built.landing, &release, &setup.drag(inputs), contact_m) {
            None => drawn.short += 1,
            Some(met) => {
                // The landing lies in the middle of where runs come down across.
                let middle_m = 0.5 * (built.across_m.0 + built.across_m.1);
                drawn.off_side += usize::from((met.across_m - middle_m).abs() > built.landing.width_m / 2.0);
                match met.part {
                    Part::Slope => drawn.on_slope += 1,
                    Part::Front | Part::Deck => drawn.short += 1,
                    Part::Transition | Part::RollOut | Part::Beyond => drawn.long += 1,
                }
            }
        }
    });
    built.drawn = drawn;
    built.offsets = built.landing.offsets(built.asked.offset_step_m);
    let strip = Strip { width_m: built.landing.width_m, bank: built.asked.bank };
    built.earth = earth(&built.landing.outline_m(), ground, &strip);
    built
}

fn each_drawn(setups: &[Setup], uncertainty: &Uncertainty, seed: u64, mut visit: impl FnMut(&Setup, &Inputs<f32>)) {
    // The same draws for every rider and every landing.
    let (drawn, kind) = (drawn_tries(RUNS, seed, uncertainty), uncertainty.good_tries());
    for setup in setups {
        for one in &drawn {
            visit(setup, &kind.at(&one.deviations));
        }
    }
}

/// The last place before the knuckle at which a run is still lower than a deck would let it; none for a run that is
/// over it from the lip on, and for one that never comes over it.
fn over_deck_from(setup: &Setup, inputs: &Inputs<f32>, landing: &Landing) -> Option<f64> {
    let end = setup.ride::<f32, false>(inputs, &Steps::FINE, |_| {});
    if end.stalled || end.left {
        return None;
    }
    let wanted_m = landing.knuckle_m.1 + f64::from(inputs.get(Uncertain::ContactHeight));
    let drag = setup.drag(inputs);
    let mut motion = setup.release(end.speed_mps, inputs);
    let mut last = None;
    for _ in 0..400 {
        let (x, z) = (f64::from(motion.place_m[0]), f64::from(motion.place_m[2]));
        // From its highest place on a run only sinks: what it then meets is no deck's doing.
        if x >= landing.knuckle_m.0 || motion.velocity_mps[2] <= 0.0 {
            return if z >= wanted_m { last } else { None };
        }
        if z < wanted_m {
            last = Some(x.max(0.0));
        }
        motion = step(&motion, 0.01, &drag);
    }
    None
}

/// The mean rider, who comes to the lip, of what can be asked for.
fn mean_that_flies<'a>(setups: &'a [Setup], uncertainty: &Uncertainty, asked: &Asked) -> Result<&'a Setup, BuildError> {
    asked.check()?;
    let mean = setups.first().ok_or(BuildError::NoField)?;
    let ridden = mean.ride::<f32, false>(&uncertainty.at_mean(), &Steps::FINE, |_| {});
    if ridden.stalled || ridden.left { Err(BuildError::NoFlight) } else { Ok(mean) }
}

/// The landing by the field's straight reckoning, without draws.
fn shape(
    setups: &[Setup],
    uncertainty: &Uncertainty,
    place_m: (f64, f64),
    asked: &Asked,
    fill: &Fill,
    ground: &Profile,
) -> Result<Built, BuildError> {
    let mean = mean_that_flies(setups, uncertainty, asked)?;
    let tail = (1.0 - FIELD) / 2.0;
    let (mut field_m, mut across_m) = ((f64::INFINITY, f64::NEG_INFINITY), (f64::INFINITY, f64::NEG_INFINITY));
    let plane = LandingPlane::new(place_m.0 as f32, place_m.1 as f32, asked.slope_rad as f32)?;
    let from_lip_m = f64::from(plane.x_m());
    for setup in setups {
        let moved = setup.onto(plane);
        let spread = mixture(&moved, uncertainty, &Steps::FINE).ok_or(BuildError::NoField)?;
        let offset_m = f64::from(moved.bag().offset_m());
        field_m.0 = field_m.0.min(from_lip_m + f64::from(spread.along_quantile_m(tail)));
        field_m.1 = field_m.1.max(from_lip_m + f64::from(spread.along_quantile_m(1.0 - tail)));
        across_m.0 = across_m.0.min(offset_m + f64::from(spread.across_quantile_m(tail)));
        across_m.1 = across_m.1.max(offset_m + f64::from(spread.across_quantile_m(1.0 - tail)));
    }
    if !(field_m.0.is_finite() && field_m.1 > field_m.0) {
        return Err(BuildError::NoField);
    }
    let plane_z = |x: f64| place_m.1 - (x - place_m.0) * asked.slope_rad.tan();
    // A knuckle behind the lip is none.
    let knuckle_x = (field_m.0 - asked.margin_m).max(0.0);
    let mut landing = Landing {
        deck_from_m: (knuckle_x - asked.deck_m).max(0.0),
        knuckle_m: (knuckle_x, plane_z(knuckle_x)),
        slope_rad: asked.slope_rad,
        slope_m: (field_m.1 + asked.margin_m - knuckle_x) / asked.slope_rad.cos(),
        radius_m: WIDEST_M,
        run_out_m: asked.run_out_m,
        width_m: across_m.1 - across_m.0 + 2.0 * asked.side_margin_m,
    };
    let inputs = uncertainty.at_mean();
    let runs = tries(mean, &inputs, &landing, field_m, place_m)?;
    let peak = |radius_m: f64| {
        let landing = Landing { radius_m, ..landing };
        let loads = runs.iter().map(|one| ride_on(&landing, &one.meet, mean, &inputs).and_then(|a| a.peak_load_g));
        loads.map(|load| load.unwrap_or(f64::INFINITY)).fold(0.0, f64::max)
    };
    if !(peak(WIDEST_M) <= asked.load_limit_g) {
        let along_mps = runs.iter().map(|one| one.meet.along_mps).fold(0.0, f64::max);
        return Err(BuildError::TooFast { along_mps });
    }
    let (mut low, mut high) = (f64::from(mean.takeoff().mass_height_m()) + 0.05, WIDEST_M);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if peak(middle) <= asked.load_limit_g { high = middle } else { low = middle }
    }
    // A builder's radius: up to the next decimetre, so that the load is kept.
    landing.radius_m = (high * 10.0).ceil() / 10.0;
    let mut runs = runs;
    for one in &mut runs {
        one.after = ride_on(&landing, &one.meet, mean, &inputs);
    }
    let loads = runs.iter().filter_map(|one| one.after.and_then(|a| a.peak_load_g));
    let bed = bed(mean, &inputs, &landing, fill)?;
    let fill_m3 = bed_m3(&bed, landing.width_m);
    Ok(Built {
        asked: *asked,
        field_m,
        across_m,
        peak_load_g: loads.fold(0.0, f64::max),
        earth: earth(&landing.outline_m(), ground, &Strip { width_m: landing.width_m, bank: asked.bank }),
        drawn: Drawn::default(),
        fill: *fill,
        bed,
        fill_m3,
        offsets: landing.offsets(asked.offset_step_m),
        tries: runs,
        landing,
    })
}

/// How near the roll-out comes to the level that is wanted: what earth and rake even out.
pub const LEVEL_M: f64 = 0.02;

/// Where the mean run would come down on level ground of a height.
fn place_at(setup: &Setup, uncertainty: &Uncertainty, z_m: f64) -> Option<(f64, f64)> {
    let level = LandingPlane::new(0.0, z_m as f32, 0.0).ok()?;
    let run = setup.onto(level).run(&uncertainty.at_mean(), &Steps::FINE);
    run.landed().then(|| (f64::from(run.along_m), z_m))
}

/// Makes the landing whose roll-out lies at a level, within [`LEVEL_M`].
///
/// # Errors
/// [`BuildError`].
pub fn build_on_level(
    setups: &[Setup],
    uncertainty: &Uncertainty,
    level_m: f64,
    asked: &Asked,
    fill: &Fill,
    ground: &Profile,
) -> Result<Built, BuildError> {
    let mean = mean_that_flies(setups, uncertainty, asked)?;
    // How far the roll-out lies under the mean landing hangs little on how high that is: a few rounds settle it.
    let mut z_m = level_m + 0.8;
    for _ in 0..16 {
        let place_m = place_at(mean, uncertainty, z_m).ok_or(BuildError::NoField)?;
        let built = shape(setups, uncertainty, place_m, asked, fill, ground)?;
        let off_m = built.landing.floor_m() - level_m;
        if off_m.abs() <= LEVEL_M {
            return Ok(finished(built, setups, uncertainty, ground));
        }
        z_m -= off_m;
    }
    Err(BuildError::NoField)
}

/// The steepest slope in whole degrees up to a largest, that a landing with its roll-out at a level can be made with: each
/// is tried.
///
/// # Errors
/// That of the flattest, where none works.
pub fn steepest_on_level(
    setups: &[Setup],
    uncertainty: &Uncertainty,
    level_m: f64,
    asked: &Asked,
    fill: &Fill,
    ground: &Profile,
) -> Result<Built, BuildError> {
    asked.check()?;
    let most = asked.slope_rad.to_degrees().round() as u32;
    let mut last = BuildError::NoField;
    let mut best: Option<Built> = None;
    for deg in (5..=most).rev() {
        let asked = Asked { slope_rad: f64::from(deg).to_radians(), ..*asked };
        match build_on_level(setups, uncertainty, level_m, &asked, fill, ground) {
            Ok(built) if built.drawn.catches() => return Ok(built),
            Ok(built) => {
                if best.as_ref().is_none_or(|best| built.drawn.beside() < best.drawn.beside()) {
                    best = Some(built);
                }
            }
            Err(error) => last = error,
        }
    }
    best.ok_or(last)
}

/// The tries at the field's ends and the mean one.
fn tries(
    setup: &Setup,
    inputs: &Inputs<f32>,
    landing: &Landing,
    field_m: (f64, f64),
    place_m: (f64, f64),
) -> Result<Vec<Try>, BuildError> {
    let z_m = |x: f64| place_m.1 - (x - place_m.0) * landing.slope_rad.tan();
    let mean_mps = setup.ride::<f32, false>(inputs, &Steps::FINE, |_| {}).speed_mps + inputs.get(Uncertain::LipSpeed);
    let mut list = Vec::new();
    for (which, x_m) in [("short", Some(field_m.0)), ("mean", None), ("long", Some(field_m.1))] {
        let speed = match x_m {
            None => Some(f64::from(mean_mps)),
            Some(x_m) => speed_to(setup, inputs, (x_m, z_m(x_m)), landing.slope_rad)?,
        };
        let lip_speed_mps = speed.ok_or(BuildError::NoField)?;
        let meet = thrown(setup, inputs, lip_speed_mps, landing).ok_or(BuildError::NoField)?;
        if meet.part != Part::Slope {
            return Err(BuildError::InTheWay { which, knuckle_m: landing.knuckle_m });
        }
        list.push(Try { which, lip_speed_mps, meet, after: None });
    }
    Ok(list)
}

fn bed(setup: &Setup, inputs: &Inputs<f32>, landing: &Landing, fill: &Fill) -> Result<Vec<Bed>, BuildError> {
    let (from_m, to_m) = (landing.knuckle_m.0, landing.slope_end_m().0);
    let steps = (to_m - from_m).ceil().max(1.0) as usize;
    let mut list = Vec::new();
    for i in 0..=steps {
        let x_m = from_m + (to_m - from_m) * i as f64 / steps as f64;
        let Some(speed) = speed_to(setup, inputs, (x_m, landing.height_m(x_m)), landing.slope_rad)? else { continue };
        let Some(met) = thrown(setup, inputs, speed, landing) else { continue };
        let slope = landing.slope_rad;
        // At the knuckle itself the slope's own direction counts, not the corner's.
        let into_mps = (met.path_rad - slope).sin() * met.normal_mps.hypot(met.along_mps);
        let fall_m = into_mps.max(0.0).powi(2) / (2.0 * f64::from(landfall_core::air::STANDARD_GRAVITY_MPS2));
        list.push(Bed { x_m, fall_m, filled_m: (fall_m <= fill.fall_m).then_some(fill.filled_m) });
    }
    Ok(list)
}

/// Fill between neighbouring places, as deep as the deeper of the two wants; measured along the level.
fn bed_m3(bed: &[Bed], width_m: f64) -> f64 {
    let deep = |pair: &[Bed]| pair.iter().filter_map(|b| b.filled_m).fold(0.0, f64::max);
    let long = |pair: &[Bed]| pair.last().map_or(0.0, |b| b.x_m) - pair.first().map_or(0.0, |b| b.x_m);
    bed.windows(2).map(|pair| deep(pair) * long(pair) * width_m).sum()
}
