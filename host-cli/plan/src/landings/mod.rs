//! The same jump onto other landings: slopes, loose fill, and the surface on which every run falls alike.
//!
//! # Settled here
//! - **Other landings**: planes pass through the mean landing's place on the bag's top and go on both ways. The
//!   surface of one fall height is that of runs which differ in lip speed alone, and is kept from rising.

pub mod text;

use crate::plan::PlanError;
use crate::plan::cautions::CAUTIONS;
use crate::plan::dirt::{FILL_FACTOR, LOOSE_FILL};
use crate::plan::model::Model;
use crate::shown::Shown;
use crate::site::Site;
use landfall_core::Status;
use landfall_core::air::STANDARD_GRAVITY_MPS2;
use landfall_core::inputs::{Inputs, Uncertain};
use landfall_core::landing_plane::LandingPlane;
use landfall_core::landing_shape::{ShapePoint, Throw, Wanted, landing_shape};
use landfall_core::ride::Steps;
use landfall_core::run::Setup;
use landfall_core::spread::mixture;
use serde::Serialize;

/// Share of the landings below the far end of the field of plausible ones, and above its near end: 998 of 1,000 lie
/// between. Of the speed as well.
const MOST: f32 = 0.999;
/// A row of the table for every so many steps of the surface.
const EVERY: usize = 8;

/// What holds for every landing that is no bag.
pub const NOT_A_BAG: [&str; 4] = [
    "Dirt does not forgive the tries that fail: these figures are for a rider who comes down on the wheels. A try that \
     goes wrong onto a bag is a try; onto dirt it is a fall on the ground.",
    "The table of loose fill (US CPSC Publication 325, table 2) is about children who fall from playground equipment. \
     It is a comparison, not a limit for riders, and it names no depth of packed dirt.",
    "The surface is computed for runs that differ in their lip speed alone, each with the mean rider's direction and \
     carry; the hard falls of the slopes count everything that scatters.",
    "The fall height says how hard the ground is met, not whether a rider rides it out: that takes the right angle of \
     the bike, grip and room to roll out.",
];

/// What is looked at.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Question {
    /// Slopes of landings, down positive.
    pub slopes_deg: Vec<f64>,
    /// Equivalent fall height that the surface keeps.
    pub limit_m: f64,
    /// Steepest surface that can be built and ridden, down positive.
    pub steepest_deg: f64,
}

/// One material against the falls on a slope.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Fill {
    /// Loose fill.
    pub material: &'static str,
    /// Compressed depth of the table.
    pub depth_m: f64,
    /// Depth to fill in, before it is compressed.
    pub filled_m: f64,
    /// Fall height of the table.
    pub table_fall_height_m: f64,
    /// The mean run is within it.
    pub mean_within: bool,
    /// The hard run is within it; null where it is not known.
    pub hard_within: Option<bool>,
}

/// A plane landing through the place where the mean run comes down on the bag; it goes on both ways.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Slope {
    /// Down positive.
    pub slope_deg: f64,
    /// Mean run's contact point from the lip.
    pub distance_from_lip_m: Option<f64>,
    /// Its speed into the ground.
    pub normal_mps: Option<f64>,
    /// Its equivalent fall height.
    pub mean_fall_m: Option<f64>,
    /// That of the mean plus 3.09 standard deviations of the speed into the ground, the largest of the three riders';
    /// null where a slow run never rises over so steep a plane.
    pub hard_fall_m: Option<f64>,
    /// Against the table of loose fill.
    pub loose_fill: Vec<Fill>,
}

/// A place of the surface on which every run falls alike.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// Contact point from the lip.
    pub distance_m: f64,
    /// Height of the surface above the take-off's foot.
    pub height_m: f64,
    /// Slope of the surface, down positive.
    pub slope_deg: f64,
    /// Equivalent fall height on it.
    pub fall_m: f64,
    /// Speed at the release of the run that comes down here.
    pub lip_speed_mps: f64,
    /// Slope of its path here, down positive.
    pub path_deg: f64,
    /// Its equivalent fall height onto ground of each of the asked slopes at this place.
    pub fall_on_slopes_m: Vec<f64>,
}

/// The surface.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Surface {
    /// It could be followed over the whole field.
    pub whole: bool,
    /// From its first to its last place.
    pub rows: Vec<Row>,
    /// How much lower it ends than it begins.
    pub drop_m: f64,
    /// Steepest place, down positive.
    pub steepest_deg: f64,
    /// From here on it is steeper than what can be built; null: nowhere.
    pub too_steep_from_m: Option<f64>,
}

/// The answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Progress {
    /// Name of the site.
    pub site: String,
    /// Version of the program.
    pub version: String,
    /// What was asked.
    pub question: Question,
    /// Parts of the question that were not stated.
    pub assumed: Vec<String>,
    /// From the lip to where the mean run comes down on the bag.
    pub mean_distance_m: f64,
    /// Height of that place above the take-off's foot.
    pub mean_height_m: f64,
    /// The field of plausible landings of all three riders, from the lip.
    pub field_m: (f64, f64),
    /// Plane landings.
    pub slopes: Vec<Slope>,
    /// The surface that keeps the limit; null where it cannot begin.
    pub surface: Option<Surface>,
    /// What holds for all of it.
    pub not_a_bag: Vec<&'static str>,
    /// The cautions that go with every report.
    pub cautions: Vec<&'static str>,
    /// In which units its text stands; all figures here are SI in any.
    #[serde(skip)]
    pub shown: Shown,
}

/// Why there is no answer.
#[derive(Debug)]
#[non_exhaustive]
pub enum ProgressError {
    /// The models refuse a value.
    Plan(PlanError),
    /// The mean run does not come down on the bag's plane, so that there is no jump to take elsewhere.
    NoLanding,
    /// A part of the question is out of range.
    Question(String),
}

impl std::fmt::Display for ProgressError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Plan(error) => error.fmt(f),
            Self::NoLanding => {
                write!(
                    f,
                    "the mean run does not come down on the bag, so there is no jump to take onto another landing"
                )
            }
            Self::Question(text) => f.write_str(text),
        }
    }
}

impl std::error::Error for ProgressError {}

impl<E: Into<PlanError>> From<E> for ProgressError {
    fn from(error: E) -> Self {
        Self::Plan(error.into())
    }
}

impl Progress {
    /// The surface keeps the limit over the whole field and can be built.
    #[must_use]
    pub fn can_be_built(&self) -> bool {
        self.surface.as_ref().is_some_and(|surface| surface.whole && surface.too_steep_from_m.is_none())
    }
}

/// Computes it, for a site whose `bag.gap` is stated.
///
/// # Errors
/// [`ProgressError`].
pub fn progress(site: &Site, question: &Question, assumed: Vec<String>) -> Result<Progress, ProgressError> {
    check(question)?;
    let model = Model::new(site)?;
    let setup = &model.setups[0];
    let inputs = model.uncertainty.at_mean();
    let run = setup.run(&inputs, &Steps::FINE);
    if !run.landed() {
        return Err(ProgressError::NoLanding);
    }
    let bag = &setup.bag();
    let (gap_m, along_m) = (f64::from(bag.gap_m()), f64::from(run.along_m));
    let top_m = |along_m: f64| f64::from(bag.front_z_m()) + along_m * f64::from(bag.climb());
    let mut field_m = (f64::INFINITY, f64::NEG_INFINITY);
    for setup in &model.setups {
        let spread = mixture(setup, &model.uncertainty, &Steps::FINE).ok_or(ProgressError::NoLanding)?;
        let (low_m, high_m) = (spread.along_quantile_m(1.0 - MOST), spread.along_quantile_m(MOST));
        field_m = (field_m.0.min(gap_m + f64::from(low_m)), field_m.1.max(gap_m + f64::from(high_m)));
    }
    // A landing behind the lip is none.
    field_m.0 = field_m.0.max(0.0);
    let slopes = question
        .slopes_deg
        .iter()
        .map(|slope_deg| slope(&model, (gap_m + along_m, top_m(along_m)), *slope_deg))
        .collect::<Result<_, _>>()?;
    let surface = surface(setup, &inputs, field_m, top_m(field_m.0 - gap_m), question)?;
    Ok(Progress {
        site: site.site.name.clone(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        question: question.clone(),
        assumed,
        mean_distance_m: gap_m + along_m,
        mean_height_m: top_m(along_m),
        field_m,
        slopes,
        surface,
        not_a_bag: NOT_A_BAG.to_vec(),
        cautions: CAUTIONS.to_vec(),
        shown: Shown::of(site),
    })
}

fn check(question: &Question) -> Result<(), ProgressError> {
    let say = |text: String| Err(ProgressError::Question(text));
    if question.slopes_deg.is_empty() || question.slopes_deg.len() > 6 {
        return say("--slope: one to six slopes".to_owned());
    }
    if let Some(wrong) = question.slopes_deg.iter().find(|deg| !(-20.0..=70.0).contains(*deg)) {
        return say(format!("--slope: {wrong} degrees is outside -20 to 70 degrees, down positive"));
    }
    if !(0.05..=5.0).contains(&question.limit_m) {
        return say(format!("--limit: {} m is outside 0.05 m to 5 m", question.limit_m));
    }
    if !(5.0..=75.0).contains(&question.steepest_deg) {
        return say(format!("--steepest: {} degrees is outside 5 to 75 degrees", question.steepest_deg));
    }
    Ok(())
}

fn fall_m(normal_mps: f64) -> f64 {
    normal_mps * normal_mps / (2.0 * f64::from(STANDARD_GRAVITY_MPS2))
}

/// The landings on a plane of a slope through a place of the bag's top.
fn slope(
    model: &Model,
    (distance_m, height_m): (f64, f64),
    slope_deg: f64,
) -> Result<Slope, landfall_core::InputError> {
    let plane = LandingPlane::new(distance_m as f32, height_m as f32, slope_deg.to_radians() as f32)?;
    let moved = |setup: &Setup| setup.onto(plane);
    let mean = moved(&model.setups[0]);
    let run = mean.run(&model.uncertainty.at_mean(), &Steps::FINE);
    let normal_mps = run.landed().then_some(f64::from(run.normal_mps));
    let mut hard_mps = Some(0.0_f64);
    for setup in &model.setups {
        let spread = mixture(&moved(setup), &model.uncertainty, &Steps::FINE);
        hard_mps = hard_mps.zip(spread).map(|(most, s)| most.max(f64::from(s.normal_quantile_mps(MOST))));
    }
    let (mean_fall_m, hard_fall_m) = (normal_mps.map(fall_m), hard_mps.map(fall_m));
    let loose_fill = mean_fall_m.map_or_else(Vec::new, |mean_m| {
        LOOSE_FILL
            .iter()
            .map(|(material, depth_m, table_m)| Fill {
                material,
                depth_m: *depth_m,
                filled_m: depth_m * FILL_FACTOR,
                table_fall_height_m: *table_m,
                mean_within: mean_m <= *table_m,
                hard_within: hard_fall_m.map(|hard_m| hard_m <= *table_m),
            })
            .collect()
    });
    Ok(Slope {
        slope_deg,
        distance_from_lip_m: run.landed().then(|| f64::from(run.along_m) + distance_m),
        normal_mps,
        mean_fall_m,
        hard_fall_m,
        loose_fill,
    })
}

/// The surface from the field's near end, where it begins at the height of the bag's top.
fn surface(
    setup: &Setup,
    inputs: &Inputs<f32>,
    field_m: (f64, f64),
    begin_m: f64,
    question: &Question,
) -> Result<Option<Surface>, ProgressError> {
    let release = setup.takeoff().release(inputs.get(Uncertain::Carry));
    let throw = Throw::new(
        release.x_m,
        release.z_m,
        release.sin.atan2(release.cos),
        inputs.get(Uncertain::Pop),
        setup.drag(inputs),
    )?;
    let contact_m = f64::from(inputs.get(Uncertain::ContactHeight));
    // The centre of mass is off the surface along a normal that is not known yet: a few rounds settle it.
    let mut slope_rad = 0.0_f64;
    let mut from_m = (field_m.0, begin_m + contact_m);
    for _ in 0..6 {
        from_m = (field_m.0 - contact_m * slope_rad.sin(), begin_m + contact_m * slope_rad.cos());
        let (passing, status) = throw.through(from_m.0 as f32, from_m.1 as f32);
        if status != Status::Converged {
            return Ok(None);
        }
        slope_rad = f64::from(passing.slope_rad(question.limit_m as f32)).min(0.0);
    }
    let wanted = Wanted {
        from_x_m: from_m.0 as f32,
        // On a slope the centre of mass is ahead of what touches.
        to_x_m: (field_m.1 + contact_m) as f32,
        from_z_m: from_m.1 as f32,
        limit_m: question.limit_m as f32,
    };
    let mut points: Vec<ShapePoint> = Vec::new();
    let status = landing_shape(&throw, &wanted, |point| points.push(*point))?;
    let rows: Vec<Row> = points.iter().map(|point| row(point, contact_m, question)).collect();
    let last = rows.iter().position(|row| row.distance_m >= field_m.1);
    let whole = status == Status::Converged || last.is_some();
    let inside = rows.get(..=last.unwrap_or(rows.len().saturating_sub(1))).unwrap_or_default();
    let (Some(first), Some(end)) = (inside.first(), inside.last()) else { return Ok(None) };
    let steepest_deg = inside.iter().map(|row| row.slope_deg).fold(f64::NEG_INFINITY, f64::max);
    let too_steep = inside.iter().find(|row| row.slope_deg > question.steepest_deg);
    Ok(Some(Surface {
        whole,
        drop_m: first.height_m - end.height_m,
        steepest_deg,
        too_steep_from_m: too_steep.map(|row| row.distance_m),
        rows: inside
            .iter()
            .enumerate()
            .filter(|(i, _)| i % EVERY == 0 || i + 1 == inside.len())
            .map(|(_, r)| r.clone())
            .collect(),
    }))
}

fn row(point: &ShapePoint, contact_m: f64, question: &Question) -> Row {
    let slope_rad = f64::from(point.slope_rad);
    let passing = &point.passing;
    Row {
        distance_m: f64::from(point.x_m) + contact_m * slope_rad.sin(),
        height_m: f64::from(point.z_m) - contact_m * slope_rad.cos(),
        slope_deg: -slope_rad.to_degrees(),
        fall_m: point.fall_m.into(),
        lip_speed_mps: passing.lip_speed_mps.into(),
        path_deg: -f64::from(passing.path_rad()).to_degrees(),
        fall_on_slopes_m: question
            .slopes_deg
            .iter()
            .map(|deg| passing.fall_m(-deg.to_radians() as f32).into())
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(limit_m: f64) -> Progress {
        let question = Question { slopes_deg: vec![0.0, 20.0, 40.0], limit_m, steepest_deg: 40.0 };
        progress(&crate::site::demo(), &question, Vec::new()).unwrap()
    }

    #[test]
    fn a_level_landing_is_the_level_bag() {
        let answer = asked(1.5);
        let site = crate::site::demo();
        let model = Model::new(&site).unwrap();
        let run = model.setups[0].run(&model.uncertainty.at_mean(), &Steps::FINE);
        let level = &answer.slopes[0];
        assert!((level.normal_mps.unwrap() - f64::from(run.normal_mps)).abs() < 1e-4);
        assert!((level.distance_from_lip_m.unwrap() - answer.mean_distance_m).abs() < 1e-4);
        // The planes share the mean landing's place, where the path is about 60° down: steeper ones are met softer.
        let falls: Vec<f64> = answer.slopes.iter().map(|s| s.mean_fall_m.unwrap()).collect();
        assert!(falls.windows(2).all(|w| w[0] > w[1]), "{falls:?}");
        assert!(level.hard_fall_m.is_some() && answer.slopes[1].hard_fall_m.is_some());
        for slope in &answer.slopes {
            assert!(slope.hard_fall_m.is_none_or(|hard_m| hard_m > slope.mean_fall_m.unwrap()));
            // The centre of mass is 0.7 m off along another normal: on 40° that moves what touches by up to a metre.
            assert!((slope.distance_from_lip_m.unwrap() - answer.mean_distance_m).abs() < 1.0);
            assert_eq!(slope.loose_fill.len(), LOOSE_FILL.len());
        }
    }

    #[test]
    fn the_surface_covers_the_field_and_keeps_the_limit() {
        for limit_m in [0.8, 1.5, 3.0] {
            let answer = asked(limit_m);
            let surface = answer.surface.as_ref().unwrap();
            let (first, last) = (surface.rows.first().unwrap(), surface.rows.last().unwrap());
            assert!((first.distance_m - answer.field_m.0).abs() < 1e-3, "{first:?}");
            assert!((first.height_m - 2.2).abs() < 1e-3, "{first:?}");
            assert!(!surface.whole || last.distance_m >= answer.field_m.1);
            assert!(surface.rows.iter().all(|row| row.fall_m <= limit_m * 1.0001));
            assert!(surface.rows.windows(2).all(|w| w[0].height_m >= w[1].height_m));
        }
        // A limit above every fall leaves the surface level; a low one makes it too steep.
        assert!(asked(3.0).surface.unwrap().drop_m < 1e-6 && asked(3.0).can_be_built());
        assert!(!asked(0.5).can_be_built());
    }

    #[test]
    fn questions_out_of_range_are_refused() {
        let site = crate::site::demo();
        for question in [
            Question { slopes_deg: vec![], limit_m: 1.0, steepest_deg: 40.0 },
            Question { slopes_deg: vec![80.0], limit_m: 1.0, steepest_deg: 40.0 },
            Question { slopes_deg: vec![10.0], limit_m: f64::NAN, steepest_deg: 40.0 },
            Question { slopes_deg: vec![10.0], limit_m: 1.0, steepest_deg: 90.0 },
        ] {
            assert!(matches!(progress(&site, &question, Vec::new()), Err(ProgressError::Question(_))), "{question:?}");
        }
    }
}
