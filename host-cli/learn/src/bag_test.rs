//! An afternoon's measurements of a bag, put together: what they narrow, whether they can be believed, and what the
//! site file says afterwards.
//!
//! All parts are optional. The result is always what is known before, narrowed: never a switch that is on or off.

use landfall_core::air::STANDARD_GRAVITY_MPS2;

use super::bag_area::{Area, area};
use super::drops::Drop;
use super::empty::{Stretch, fall, stretch};
use super::heard::{Corner, Falling, Heard, offset_s};
use super::knots::Curve;
use super::landed::{ByLandings, Speed, Touch, by_landings, possible_bags, slope_rad, thickness_m, touch};
use super::loaded::{Errors, Load, Table, break_away, comes_to_rest, joined, points, sinking_s};
use super::write_site::{Edit, edit};
use landfall_plan::plan::PlanError;
use landfall_plan::plan::model::Supply;
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Dimension, Faults, ForceAreaStated, Site, Unit, plain};

/// A loaded deflation that somebody filmed.
#[derive(Clone, Debug)]
pub struct Loaded {
    /// Its table.
    pub table: Table,
    /// The load, kg.
    pub mass_kg: f64,
}

/// What was measured.
#[derive(Clone, Debug, Default)]
pub struct Tests {
    /// Loaded deflations.
    pub loaded: Vec<Loaded>,
    /// An empty deflation: times and pressures, and the name of its file.
    pub deflation: Option<(String, Vec<(f64, f64)>)>,
    /// Settled pressure as read, Pa.
    pub settled_pa: Option<f64>,
    /// Loads that were dropped: they are held against the result and not fitted.
    pub drops: Vec<Drop>,
    /// What a recording of the box holds.
    pub heard: Option<Heard>,
    /// By how much the box's clock is ahead of the film's, s; found from the breaking away where it is not stated.
    pub offset_s: Option<f64>,
    /// Mass of the riders whose landings the recording holds, as it lands, kg; none: the landings are not used.
    pub rider_kg: Option<f64>,
    /// At what speed they came down, from the plan.
    pub speed: Option<Speed>,
    /// Errors of what was filmed.
    pub filmed: Option<Errors>,
    /// Errors of what the box recorded.
    pub boxed: Option<Errors>,
}

/// A dropped load beside what the result expects of it.
#[derive(Clone, Debug, serde::Serialize)]
pub struct HeldOut {
    /// Which drop.
    pub label: String,
    /// Measured depth, m.
    pub depth_m: f64,
    /// The 95 % band, its measurement's error in it, m.
    pub low_m: f64,
    /// Its upper end.
    pub high_m: f64,
}

/// What a test comes to.
#[derive(Clone, Debug, Default, serde::Serialize)]
pub struct BagTest {
    /// The site's name.
    pub site: String,
    /// Settled pressure, Pa.
    pub settled_pa: Option<f64>,
    /// The loads.
    pub loads: Vec<Load>,
    /// What they say.
    pub area: Option<Area>,
    /// Stretch and leak by the empty deflation.
    pub stretch: Option<Stretch>,
    /// What recorded landings say.
    pub landings: Option<ByLandings>,
    /// Landings that the recording holds.
    pub landings_heard: usize,
    /// Offsets of the box's clock that were found, s.
    pub offsets_s: Vec<f64>,
    /// Drops that were held against it.
    pub held_out: Vec<HeldOut>,
    /// Depth that riding asks to be measured down to, m.
    pub wanted_m: f64,
    /// The force area before, for comparison.
    pub before: Curve,
    /// The force area now.
    pub after: Curve,
    /// Why it is not sure; empty: it is.
    pub doubts: Vec<String>,
    /// What would make it better.
    pub advice: Vec<String>,
    /// What would be written.
    pub edits: Vec<Edit>,
    /// Keys that go out of the file, since what is written takes their place.
    pub removed: Vec<&'static str>,
    /// The site with all that in it.
    #[serde(skip)]
    pub site_after: Site,
}

/// Why there is no result.
#[derive(Debug)]
#[non_exhaustive]
pub enum TestError {
    /// A table is not what it should be.
    Faults(Faults),
    /// The models refuse the site.
    Plan(PlanError),
    /// What is wrong, and what to do.
    Words(String),
}

impl std::fmt::Display for TestError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Faults(faults) => faults.fmt(f),
            Self::Plan(error) => error.fmt(f),
            Self::Words(words) => f.write_str(words),
        }
    }
}

impl std::error::Error for TestError {}

impl From<Faults> for TestError {
    fn from(faults: Faults) -> Self {
        Self::Faults(faults)
    }
}

impl From<PlanError> for TestError {
    fn from(error: PlanError) -> Self {
        Self::Plan(error)
    }
}

/// The force area of a site as a curve.
///
/// # Errors
/// What the core refuses.
pub fn curve_of(site: &Site) -> Result<Curve, PlanError> {
    let area = super::landed::stated_area(site)?.area()?;
    let knots: Vec<(f64, f64)> =
        area.knots().iter().map(|knot| (f64::from(knot.depth_m), f64::from(knot.area_m2))).collect();
    Ok(Curve::new(&knots))
}

/// The film's readings beside their pressures: its own, or those of the fall in the recording that has the same corner.
fn paired(
    load: &Loaded,
    tests: &Tests,
    used: &mut Vec<usize>,
) -> Result<(Vec<super::loaded::Reading>, Option<f64>), TestError> {
    let table = &load.table;
    if !table.gauge.is_empty() {
        return Ok((joined(&table.depth, &table.gauge, 0.0), None));
    }
    let Some(heard) = &tests.heard else {
        return Err(TestError::Words(format!(
            "{}: the table has no gauge. Write the gauge beside the depth, or name the box's recording with --recording",
            table.file
        )));
    };
    let film: Vec<(f64, f64)> = table.depth.iter().map(|d| (d.0, d.1)).collect();
    let spans = |fall: &Falling, offset: f64| {
        let (first, last) = (film.first()?.0 + offset, film.last()?.0 + offset);
        let (from, to) = (fall.points.first()?.0, fall.points.last()?.0);
        Some(first.max(from) < last.min(to))
    };
    let free = || heard.falls.iter().enumerate().filter(|(i, _)| !used.contains(i));
    // Where it comes to rest the pressure has its sharpest corner; else where it breaks away.
    let depth_sd_m = tests.filmed.unwrap_or(Errors::FILMED).depth_m;
    let corner = comes_to_rest(&film, depth_sd_m)
        .map(|at_s| (at_s, true))
        .or_else(|| break_away(&film).map(|away| (away.time_s, false)))
        .map(|(at_s, at_rest)| Corner { at_s, at_rest, sinking_s: sinking_s(&film, at_s) });
    let found = match (tests.offset_s, corner) {
        (Some(offset), _) => free().find(|(_, fall)| spans(fall, offset) == Some(true)).map(|(i, _)| (i, offset)),
        (None, Some(corner)) => free()
            .filter_map(|(i, fall)| Some((i, offset_s(fall, &corner)?)))
            .max_by(|a, b| a.1.1.total_cmp(&b.1.1))
            .map(|(i, (offset, _))| (i, offset)),
        (None, None) => {
            return Err(TestError::Words(format!(
                "{}: the film shows the load neither break away nor come to rest, so that it cannot be set beside the recording. State with --offset by how many seconds the box's clock is ahead of the film's",
                table.file
            )));
        }
    };
    let Some((at, offset)) = found else {
        return Err(TestError::Words(format!(
            "{}: the recording holds no fall of the pressure that goes with this film. Record from before the blowers are switched off until the load is down, or state --offset",
            table.file
        )));
    };
    used.push(at);
    let fall = heard.falls.get(at).map_or(&[][..], |fall| &fall.points);
    Ok((joined(&table.depth, fall, offset), Some(offset)))
}

/// Puts the measurements together.
///
/// # Errors
/// [`TestError`].
pub fn test(site: &Site, tests: &Tests) -> Result<BagTest, TestError> {
    let here = Shown::of(site);
    let filmed = tests.filmed.unwrap_or(Errors::FILMED);
    let boxed = tests.boxed.unwrap_or(Errors::FILMED);
    let mut out = BagTest {
        site: site.site.name.clone(),
        before: curve_of(site)?,
        wanted_m: site.bag.depth_limit * thickness_m(site, 0.5 * site.bag.length_m),
        landings_heard: tests.heard.as_ref().map_or(0, |heard| heard.landings.len()),
        ..BagTest::default()
    };
    let mut after = site.clone();
    settled(&mut out, &mut after, tests, here);
    let mut used = Vec::new();
    let weight = f64::from(STANDARD_GRAVITY_MPS2) * slope_rad(site).cos();
    let middle_m = thickness_m(site, 0.5 * site.bag.length_m);
    let mut errors = filmed;
    for load in &tests.loaded {
        let (readings, offset) = paired(load, tests, &mut used)?;
        if offset.is_some() {
            errors = Errors { depth_m: filmed.depth_m, mass: filmed.mass, ..boxed };
        }
        out.offsets_s.extend(offset);
        let weight_n = load.mass_kg * weight;
        out.loads.push(points(&load.table, &readings, (load.mass_kg, weight_n), middle_m, &errors, here)?);
    }
    if !out.loads.is_empty() {
        let known = match &site.bag.force_area {
            ForceAreaStated::Measured(knots) => Some((Curve::new(knots), site.unknown.area)),
            ForceAreaStated::Assumed { .. } => None,
        };
        let known = known.as_ref().map(|(curve, sd)| (curve, *sd));
        match area(&out.loads, &errors, known, weight, here) {
            Some(found) => take_area(&mut out, &mut after, found, here),
            None => out.doubts.push(
                "no reading of the load counts: it sank faster than 0.2 m/s from the first moment on, or lay on the ground already. Close the vents for this test as far as they will go, and film from the moment at which the blowers are switched off".to_owned(),
            ),
        }
    }
    take_stretch(&mut out, &mut after, tests, &used, (&filmed, &boxed))?;
    take_landings(&mut out, &mut after, tests, boxed.noise_pa);
    hold_out(&mut out, &after, tests)?;
    out.after = curve_of(&after)?;
    edits(&mut out, site, &after);
    out.site_after = after;
    Ok(out)
}

fn settled(out: &mut BagTest, after: &mut Site, tests: &Tests, here: Shown) {
    let shown = |pa: f64| here.pressure(pa, Toward::Nearest);
    let by_box = tests.heard.as_ref().and_then(|heard| heard.settled_pa);
    out.settled_pa = tests.settled_pa.or(by_box);
    if let Some(pa) = out.settled_pa {
        after.bag.settled_pressure_pa = Some(pa);
        if Supply::new(after).is_err() {
            out.doubts.push(format!(
                "a settled pressure of {} is more than these blowers can hold: look at the gauge's unit and at the blowers' curve",
                shown(pa)
            ));
            after.bag.settled_pressure_pa = None;
        }
    }
    if let (Some(read), Some(heard)) = (tests.settled_pa, by_box)
        && (read / heard - 1.0).abs() > 0.05
    {
        out.doubts.push(format!(
            "the gauge read {} with the blowers on and the box recorded {}: zero both with their hoses off",
            shown(read),
            shown(heard)
        ));
    }
}

/// The unit in which a knot's depth or area is written, and the parts of it that are kept: about a millimetre and ten
/// square centimetres.
fn knot_unit(here: Shown, dimension: Dimension) -> (Option<&'static Unit>, f64) {
    let (name, places) = match (here.is_imperial(), dimension) {
        (false, Dimension::Length) => ("m", 1e3),
        (false, _) => ("m2", 1e3),
        (true, Dimension::Length) => ("ft", 1e3),
        (true, _) => ("ft2", 1e2),
    };
    (dimension.units().find(|unit| unit.name == name), places)
}

/// A value of a knot as the file will have it.
fn as_written(here: Shown, dimension: Dimension, si: f64) -> f64 {
    let (unit, places) = knot_unit(here, dimension);
    unit.map_or(si, |unit| unit.to_si((unit.from_si(si) * places).round() / places))
}

fn take_area(out: &mut BagTest, after: &mut Site, found: Area, here: Shown) {
    out.doubts.extend(found.doubts.iter().cloned());
    out.advice.extend(found.advice.iter().cloned());
    let reached = found.to_the_ground || found.reach_m >= out.wanted_m;
    if !reached {
        out.advice.push(format!(
            "Measured down to {}; riding asks for {}. Deeper down the area is taken to grow no more, which is the careful side. Two or three times the load reaches further.",
            here.length(found.reach_m, Toward::Down),
            here.length(out.wanted_m, Toward::Up)
        ));
    }
    let knots: Vec<(f64, f64)> = found
        .knots
        .knots()
        .iter()
        .map(|knot| (as_written(here, Dimension::Length, knot.0), as_written(here, Dimension::Area, knot.1)))
        .collect();
    after.bag.force_area = ForceAreaStated::Measured(knots);
    after.unknown.area = (found.sd * 1e3).ceil() / 1e3;
    out.area = Some(found);
}

fn take_stretch(
    out: &mut BagTest,
    after: &mut Site,
    tests: &Tests,
    used: &[usize],
    (filmed, boxed): (&Errors, &Errors),
) -> Result<(), TestError> {
    // A fall of the recording that no film belongs to is the empty one; the last of them.
    let heard = tests.heard.as_ref().and_then(|heard| {
        heard.falls.iter().enumerate().rev().find(|(i, _)| !used.contains(i)).map(|(_, fall)| &fall.points)
    });
    let (points, errors, name) = match (&tests.deflation, heard) {
        (Some((name, points)), _) => (points, filmed, name.clone()),
        (None, Some(points)) => (points, boxed, "the recording".to_owned()),
        (None, None) => return Ok(()),
    };
    let fall = fall(points, Shown::of(after)).map_err(|why| TestError::Words(format!("deflation, {name}: {why}")))?;
    match stretch(after, &fall, errors) {
        Some(found) => {
            out.doubts.extend(found.doubts.iter().cloned());
            after.bag.skin_stretch_per_pa = found.value;
            after.unknown.skin_stretch = (found.sd * 1e3).ceil() / 1e3;
            if let Some(leak) = found.leak {
                after.bag.leak_coefficient = leak;
            }
            out.stretch = Some(found);
        }
        None => out.doubts.push(format!("deflation, {name}: no stretch and leak make the pressure fall so")),
    }
    Ok(())
}

fn take_landings(out: &mut BagTest, after: &mut Site, tests: &Tests, noise_pa: f64) {
    let Some(heard) = tests.heard.as_ref().filter(|heard| !heard.landings.is_empty()) else { return };
    let here = Shown::of(after);
    let (Some(mass_kg), Some(speed)) = (tests.rider_kg, tests.speed) else {
        out.advice.push(format!(
            "The recording holds {} landings. State who landed with --rider-mass, and they narrow the stretch and the area too.",
            heard.landings.len()
        ));
        return;
    };
    let Some(found) = by_landings(after, &heard.landings, mass_kg, speed, noise_pa) else {
        out.doubts
            .push("the recorded landings are none that this bag can have: look at the mass of the riders".to_owned());
        return;
    };
    out.doubts.extend(found.doubts.iter().cloned());
    for (key, factor, _, sd) in &found.factors {
        let sd = (sd * 1e3).ceil() / 1e3;
        match *key {
            "bag.skin_stretch" => {
                after.bag.skin_stretch_per_pa *= factor;
                after.unknown.skin_stretch = sd;
            }
            "bag.area" => {
                if let ForceAreaStated::Measured(knots) = &mut after.bag.force_area {
                    knots.iter_mut().for_each(|knot| knot.1 = as_written(here, Dimension::Area, knot.1 * factor));
                }
                after.unknown.area = sd;
            }
            "bag.area_body" | "bag.area_growth" | "bag.area_limit" => {
                if let ForceAreaStated::Assumed { body_m2, growth_m, limit_m2 } = &mut after.bag.force_area {
                    let (value, unknown) = match *key {
                        "bag.area_body" => (body_m2, &mut after.unknown.area_body),
                        "bag.area_growth" => (growth_m, &mut after.unknown.area_growth),
                        _ => (limit_m2, &mut after.unknown.area_limit),
                    };
                    *value *= factor;
                    *unknown = sd;
                }
            }
            _ => {}
        }
    }
    out.landings = Some(found);
}

/// Depths at the 2.5 % and the 97.5 % places of the possible bags.
///
/// # Errors
/// What the models refuse.
pub fn depth_band(site: &Site, start: &Touch) -> Result<Option<(f64, f64)>, PlanError> {
    let mut depths = Vec::new();
    for bag in possible_bags(site)?.iter() {
        let mut possible = site.clone();
        possible.bag.skin_stretch_per_pa = f64::from(bag.stretch_per_pa);
        let supply = Supply::new(&possible)?;
        match touch(&supply, &possible, &Touch { area: bag.area, ..*start }) {
            Some((depth_m, _, _)) => depths.push(depth_m),
            None => return Ok(None),
        }
    }
    depths.sort_by(f64::total_cmp);
    // The 7th and the 250th of 256: at least 95 % lie between them.
    Ok(depths.get(6).copied().zip(depths.get(249).copied()))
}

fn hold_out(out: &mut BagTest, after: &Site, tests: &Tests) -> Result<(), TestError> {
    let here = Shown::of(after);
    let supply = Supply::new(after)?;
    for drop in tests.drops.iter().filter(|drop| drop.excluded.is_none()) {
        let Some(depth) = drop.depth else { continue };
        let thickness = thickness_m(after, drop.along_m.unwrap_or(0.5 * after.bag.length_m));
        let start = Touch {
            start_pa: drop.start_pa.unwrap_or_else(|| f64::from(supply.operating.pressure_pa)),
            mass_kg: drop.mass_kg,
            speed_mps: (2.0 * f64::from(STANDARD_GRAVITY_MPS2) * drop.height_m).sqrt() * slope_rad(after).cos(),
            area: super::landed::stated_area(after)?.area().map_err(PlanError::from)?,
            running: drop.running,
        };
        let Some((low, high)) = depth_band(after, &start)? else { continue };
        let held = HeldOut {
            label: drop.label.clone(),
            depth_m: depth.value,
            low_m: (low - 2.0 * depth.sd).max(0.0).min(thickness),
            high_m: (high + 2.0 * depth.sd).min(thickness),
        };
        if held.depth_m < held.low_m || held.depth_m > held.high_m {
            out.doubts.push(format!(
                "drop {} went {} deep, and the result expects {} to {}: one of the two is wrong",
                held.label,
                here.length(held.depth_m, Toward::Nearest),
                here.length(held.low_m, Toward::Nearest),
                here.length(held.high_m, Toward::Nearest)
            ));
        }
        out.held_out.push(held);
    }
    Ok(())
}

/// What is written: what differs from before.
fn edits(out: &mut BagTest, before: &Site, after: &Site) {
    let mut list: Vec<Option<Edit>> = Vec::new();
    let here = Shown::of(after);
    let sd = |key, value: f64| Some(Edit { key, text: plain(value) });
    if let Some(pa) = out.settled_pa.filter(|_| after.bag.settled_pressure_pa.is_some()) {
        list.push(edit(here, "bag.settled_pressure", pa));
        out.removed.push("bag.leak_coefficient");
    } else if out.stretch.as_ref().is_some_and(|stretch| stretch.leak.is_some()) {
        list.push(edit(here, "bag.leak_coefficient", after.bag.leak_coefficient));
    }
    if out.stretch.is_some() || out.landings.is_some() {
        list.push(edit(here, "bag.skin_stretch", after.bag.skin_stretch_per_pa));
        list.push(sd("unknown.skin_stretch", after.unknown.skin_stretch));
    }
    match &after.bag.force_area {
        ForceAreaStated::Measured(knots) if out.area.is_some() || out.landings.is_some() => {
            let cell = |dimension: Dimension, si: f64| {
                let (unit, places) = knot_unit(here, dimension);
                let value = unit.map_or(si, |unit| (unit.from_si(si) * places).round() / places);
                format!("\"{} {}\"", plain(value), unit.map_or("", |unit| unit.name))
            };
            let knots: Vec<String> = knots
                .iter()
                .map(|knot| format!("[{}, {}]", cell(Dimension::Length, knot.0), cell(Dimension::Area, knot.1)))
                .collect();
            list.push(Some(Edit { key: "bag.area", text: format!("[{}]", knots.join(", ")) }));
            list.push(sd("unknown.area", after.unknown.area));
            out.removed.extend([
                "bag.area_body",
                "bag.area_growth",
                "bag.area_limit",
                "unknown.area_body",
                "unknown.area_growth",
                "unknown.area_limit",
            ]);
        }
        ForceAreaStated::Assumed { body_m2, growth_m, limit_m2 } if out.landings.is_some() => {
            list.push(edit(here, "bag.area_body", *body_m2));
            list.push(edit(here, "bag.area_growth", *growth_m));
            list.push(edit(here, "bag.area_limit", *limit_m2));
            list.push(sd("unknown.area_body", after.unknown.area_body));
            list.push(sd("unknown.area_growth", after.unknown.area_growth));
            list.push(sd("unknown.area_limit", after.unknown.area_limit));
        }
        _ => {}
    }
    out.edits = list.into_iter().flatten().collect();
    let removed = |key: &&'static str| !before.given.contains(*key);
    out.removed.retain(|key| !removed(key));
}
