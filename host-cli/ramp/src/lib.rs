//! The build sheet: the take-off and the roll-in's transitions as things to cut and to set out.
//!
//! The geometry is the core's: the take-off's circle and the arcs of the path. Loads are not checked.

pub mod arc;
pub mod choices;
pub mod drawing;
pub mod dxf;
pub mod legs;
pub mod parts;
pub mod pdf;
pub mod stock;
pub mod svg;
mod table;
pub mod text;
pub mod tiles;
pub mod tolerance;

use arc::Arc;
use choices::{BuildError, Choices};
use landfall_core::path::Shape;
use landfall_plan::plan::PlanError;
use landfall_plan::plan::cautions::CAUTIONS;
use landfall_plan::plan::model::Model;
use landfall_plan::shown::Shown;
use landfall_plan::site::Site;
use parts::{Part, parts};
use serde::Serialize;
use stock::{Cut, Placed, Sheet, Timbers, lay, saw};
pub use table::{TABLES, csv};
use tolerance::{Tolerance, tolerances};

/// What the sheet does not say.
pub const NOT_CHECKED: [&str; 4] = [
    "Loads are not checked. A qualified builder decides what carries the ramp, the platform and the people on them.",
    "How thick legs are, bracing, footings, guard rails, ladders, fixings and the plates behind joints are not listed.",
    "The foot of the deck tapers to nothing: where a panel has no height for a joist, a packing or a plate takes its \
     place.",
    "Pieces of a panel are counted as rectangles; nesting them by hand can save sheets.",
];

/// Why there is no sheet.
#[derive(Debug)]
#[non_exhaustive]
pub enum SheetError {
    /// A choice or a shape that cannot be built.
    Build(BuildError),
    /// The site's models refuse a value.
    Plan(PlanError),
}

impl std::fmt::Display for SheetError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Build(error) => error.fmt(f),
            Self::Plan(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for SheetError {}

impl From<BuildError> for SheetError {
    fn from(error: BuildError) -> Self {
        Self::Build(error)
    }
}

impl From<PlanError> for SheetError {
    fn from(error: PlanError) -> Self {
        Self::Plan(error)
    }
}

/// The take-off in figures.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Figures {
    /// Height of the lip above the foot.
    pub height_m: f64,
    /// Radius of the ridden surface.
    pub radius_m: f64,
    /// Slope at the lip.
    pub lip_angle_deg: f64,
    /// Horizontal length.
    pub base_m: f64,
    /// Length along the surface.
    pub face_m: f64,
    /// Across.
    pub width_m: f64,
}

/// A stretch of the ridden surface with its deck.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Surface {
    /// `platform`, `straight-1`, `transition-1`, `take-off` and so on.
    pub name: String,
    /// Along the ridden surface.
    pub length_m: f64,
    /// Across.
    pub width_m: f64,
    /// Slope where it begins, up positive.
    pub from_slope_deg: f64,
    /// Slope where it ends.
    pub to_slope_deg: f64,
    /// Length of each layer of riding sheets along its own middle, the lowest first.
    pub layer_lengths_m: Vec<f64>,
    /// Joists across it, each in as many lengths as there are bays.
    pub joists: usize,
    /// Bays between panels or ribs.
    pub bays: usize,
    /// Clear length of a joist in one bay.
    pub joist_length_m: f64,
}

/// Rectangles of one thickness and their places on stock sheets.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CutList {
    /// Thickness of the sheets.
    pub thickness_m: f64,
    /// What to cut.
    pub cuts: Vec<Cut>,
    /// Stock sheets needed; null where a piece fits none.
    pub sheets: Option<usize>,
    /// Share of the sheets' area that is used.
    pub used: Option<f64>,
    /// Where each piece lies.
    pub layout: Vec<Placed>,
}

/// The build sheet. Units: m; angles in degrees.
#[derive(Clone, Debug, Serialize)]
pub struct BuildSheet {
    /// Name of the site.
    pub site: String,
    /// Version of the program.
    pub version: String,
    /// The take-off.
    pub takeoff: Figures,
    /// Every stretch of the ridden surface, from the start.
    pub surfaces: Vec<Surface>,
    /// The parts with a template, from the start.
    pub parts: Vec<Part>,
    /// Panels and ribs.
    pub panels: CutList,
    /// Riding sheets.
    pub riding: CutList,
    /// Joists; null where one is longer than the stock.
    pub joists: Option<Timbers>,
    /// Rows of legs under platform and roll-in.
    pub legs: Vec<legs::Leg>,
    /// How the legs are sawn; null where one is longer than the stock.
    pub leg_timbers: Option<Timbers>,
    /// The ground under them was measured; else it is taken as level.
    pub ground_measured: bool,
    /// What an error at the lip does.
    pub tolerances: Vec<Tolerance>,
    /// What was chosen.
    pub choices: Choices,
    /// Options that were not stated: their values are assumed.
    pub assumed: Vec<String>,
    /// What the sheet does not say.
    pub not_checked: Vec<&'static str>,
    /// The cautions that go with every report.
    pub cautions: Vec<&'static str>,
    /// In which units its text stands; the figures here are SI in any.
    #[serde(skip)]
    pub shown: Shown,
}

/// Makes the sheet of a site whose `bag.gap` is stated.
///
/// # Errors
/// [`SheetError`].
pub fn build_sheet(site: &Site, choices: &Choices, assumed: Vec<String>) -> Result<BuildSheet, SheetError> {
    choices.check()?;
    let model = Model::new(site)?;
    let setup = &model.setups[0];
    let parts = parts(setup.path(), setup.takeoff(), site.takeoff.width_m, choices)?;
    let face = Arc::of_takeoff(setup.takeoff());
    let surfaces = surfaces(&model, &parts, site.takeoff.width_m, choices);
    let panels =
        cut_list(choices.panel_thickness_m, parts.iter().flat_map(|part| part.pieces.clone()).collect(), choices);
    let riding =
        cut_list(choices.layer_thickness_m, surfaces.iter().flat_map(|s| riding_cuts(s, choices)).collect(), choices);
    let (rows, leg_timbers) = legs::legs(site, setup, choices);
    let lengths: Vec<(f64, usize)> = surfaces.iter().map(|s| (s.joist_length_m, s.joists * s.bays)).collect();
    Ok(BuildSheet {
        site: site.site.name.clone(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        takeoff: Figures {
            height_m: setup.takeoff().height_m().into(),
            radius_m: face.radius_m,
            lip_angle_deg: face.turn_rad.to_degrees(),
            base_m: face.run_m(),
            face_m: face.length_m(0.0),
            width_m: site.takeoff.width_m,
        },
        surfaces,
        parts,
        panels,
        riding,
        joists: saw(&lengths, choices.timber_length_m, choices.kerf_m),
        legs: rows,
        leg_timbers,
        ground_measured: !site.ground.profile.is_empty(),
        tolerances: tolerances(site, &model)?,
        choices: *choices,
        assumed,
        not_checked: NOT_CHECKED.to_vec(),
        cautions: CAUTIONS.to_vec(),
        shown: Shown::of(site),
    })
}

impl BuildSheet {
    /// The drawing of a part's template.
    ///
    /// # Errors
    /// [`BuildError::NoPart`] naming the parts that there are.
    pub fn template(&self, name: &str) -> Result<drawing::Drawing, BuildError> {
        let part = self.parts.iter().find(|part| part.name == name).ok_or_else(|| BuildError::NoPart {
            asked: name.to_owned(),
            parts: self.parts.iter().map(|part| part.name.clone()).collect(),
        })?;
        Ok(drawing::template(&self.site, part, &self.choices))
    }
}

fn surfaces(model: &Model, parts: &[Part], takeoff_width_m: f64, choices: &Choices) -> Vec<Surface> {
    let width_m = choices.roll_in_width_m.unwrap_or(takeoff_width_m);
    let straight = |name: String, length_m: f64, slope_deg: f64| {
        let joists = (length_m / choices.joist_spacing_m - 1e-9).ceil().max(1.0) as usize + 1;
        surface(name, length_m, width_m, (slope_deg, slope_deg), vec![length_m; choices.layers.into()], joists, choices)
    };
    let mut list = Vec::new();
    if choices.platform_m > 0.0 {
        list.push(straight("platform".to_owned(), choices.platform_m, 0.0));
    }
    let mut arcs = parts.iter();
    let mut straights = 0;
    for segment in model.setups[0].path().segments() {
        match segment.shape {
            Shape::Straight { sin_up, cos } => {
                straights += 1;
                let slope_deg = f64::from(sin_up).atan2(cos.into()).to_degrees();
                list.push(straight(format!("straight-{straights}"), segment.length_m.into(), slope_deg));
            }
            Shape::Arc { .. } => list.extend(arcs.next().map(|part| curved(part, width_m, choices))),
        }
    }
    list.extend(arcs.next().map(|part| curved(part, takeoff_width_m, choices)));
    list
}

fn curved(part: &Part, width_m: f64, choices: &Choices) -> Surface {
    let arc = &part.arc;
    let layers = (0..choices.layers)
        .map(|layer| arc.length_m(choices.deck_m() - (f64::from(layer) + 0.5) * choices.layer_thickness_m))
        .collect();
    let slopes_deg = (arc.start_rad.to_degrees(), (arc.start_rad + arc.turn_rad).to_degrees());
    let joists = part.joists.iter().filter(|joist| !joist.packing).count();
    surface(part.name.clone(), arc.length_m(0.0), width_m, slopes_deg, layers, joists, choices)
}

fn surface(
    name: String,
    length_m: f64,
    width_m: f64,
    (from_slope_deg, to_slope_deg): (f64, f64),
    layer_lengths_m: Vec<f64>,
    joists: usize,
    choices: &Choices,
) -> Surface {
    let (panels, joist_length_m) = choices.panels(width_m);
    // A level straight has no signed zero.
    let clean = |deg: f64| if deg.abs() < 1e-4 { 0.0 } else { deg };
    Surface {
        name,
        length_m,
        width_m,
        from_slope_deg: clean(from_slope_deg),
        to_slope_deg: clean(to_slope_deg),
        layer_lengths_m,
        joists,
        bays: panels - 1,
        joist_length_m,
    }
}

/// Riding sheets of a stretch: courses across it, each as long as a sheet is wide where the stretch is wider than that;
/// the joints of every second layer lie half a course on.
fn riding_cuts(surface: &Surface, choices: &Choices) -> Vec<Cut> {
    let (long_m, short_m) = (choices.sheet_length_m, choices.sheet_width_m);
    let (course_m, across) = if surface.width_m <= short_m {
        (long_m, 1)
    } else {
        (short_m, (surface.width_m / long_m - 1e-9).ceil().max(1.0) as usize)
    };
    let across_m = surface.width_m / across as f64;
    let mut cuts: Vec<Cut> = Vec::new();
    for (layer, length_m) in surface.layer_lengths_m.iter().enumerate() {
        let mut left_m = *length_m;
        let mut first = layer % 2 == 1;
        while left_m > 1e-4 {
            let take_m = match left_m {
                _ if first => (0.5 * (course_m - choices.kerf_m)).min(left_m),
                m if m <= course_m => m,
                // No sliver at the end: the last two courses are alike.
                m if m < 1.3 * course_m => 0.5 * m,
                _ => course_m,
            };
            first = false;
            left_m -= take_m;
            match cuts.iter_mut().find(|cut| (cut.length_m - take_m).abs() < 5e-4) {
                Some(cut) => cut.count += across,
                None => {
                    cuts.push(Cut { name: surface.name.clone(), length_m: take_m, width_m: across_m, count: across })
                }
            }
        }
    }
    cuts
}

fn cut_list(thickness_m: f64, cuts: Vec<Cut>, choices: &Choices) -> CutList {
    let sheet = Sheet { length_m: choices.sheet_length_m, width_m: choices.sheet_width_m, kerf_m: choices.kerf_m };
    let laid = lay(&cuts, &sheet);
    let area_m2: f64 = cuts.iter().map(|cut| cut.length_m * cut.width_m * cut.count as f64).sum();
    let sheets = laid.as_ref().map(|(count, _)| *count);
    CutList {
        thickness_m,
        sheets,
        used: sheets.filter(|count| *count > 0).map(|count| area_m2 / (count as f64 * sheet.length_m * sheet.width_m)),
        layout: laid.map(|(_, layout)| layout).unwrap_or_default(),
        cuts,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn demo_sheet(choices: &Choices) -> BuildSheet {
        build_sheet(&landfall_plan::site::demo(), choices, Vec::new()).unwrap()
    }

    #[test]
    fn the_surfaces_are_the_ride_and_the_layers_cover_them() {
        let sheet = demo_sheet(&Choices::default());
        let names: Vec<&str> = sheet.surfaces.iter().map(|s| s.name.as_str()).collect();
        assert_eq!(names, ["platform", "straight-1", "transition-1", "straight-2", "take-off"]);
        let model = Model::new(&landfall_plan::site::demo()).unwrap();
        let ride_m: f64 = sheet.surfaces.iter().skip(1).map(|s| s.length_m).sum();
        let core_m = f64::from(model.setups[0].path().length_m() + model.setups[0].takeoff().face_m());
        assert!((ride_m - core_m).abs() < 1e-5, "{ride_m} {core_m}");
        for surface in &sheet.surfaces {
            let area_m2: f64 =
                riding_cuts(surface, &sheet.choices).iter().map(|c| c.length_m * c.width_m * c.count as f64).sum();
            let wanted_m2: f64 = surface.layer_lengths_m.iter().map(|m| m * surface.width_m).sum();
            // Courses that differ by less than half a millimetre are cut alike.
            assert!((area_m2 - wanted_m2).abs() < 0.01, "{area_m2} {wanted_m2}");
        }
        let face = sheet.surfaces.last().unwrap();
        // Two layers of 9 mm under R = 4.572 m: their middles are 13.5 mm and 4.5 mm below the surface.
        let turn_rad = (1.0_f64 - 8.0 / 15.0).acos();
        assert!((face.layer_lengths_m[0] - 4.5855 * turn_rad).abs() < 1e-6);
        assert!((face.layer_lengths_m[1] - 4.5765 * turn_rad).abs() < 1e-6);
        assert_eq!(face.bays, 2);
    }

    #[test]
    fn templates_are_found_by_name() {
        let sheet = demo_sheet(&Choices::default());
        assert!(sheet.template("take-off").is_ok() && sheet.template("transition-1").is_ok());
        let refused = sheet.template("lip").unwrap_err().to_string();
        assert!(refused.contains("transition-1, take-off"), "{refused}");
    }

    #[test]
    fn too_large_for_a_page_is_said() {
        let mut site = landfall_plan::site::demo();
        site.takeoff.height_m = 3.0;
        site.takeoff.radius_m = 12.0;
        let sheet = build_sheet(&site, &Choices::default(), Vec::new()).unwrap();
        let drawing = sheet.template("take-off").unwrap();
        assert!(matches!(pdf::whole(&drawing), Err(BuildError::TooLarge { .. })));
        assert!(tiles::Tiling::new(&drawing, tiles::Paper::A4).tiles.len() > 40);
    }
}
