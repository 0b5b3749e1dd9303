//! A site as the core's models take it: converted to single precision once, here.

use super::PlanError;
use crate::site::{RollInKind, Section as SiteSection, Site};
use landfall_core::InputError;
use landfall_core::air::Air;
use landfall_core::bag::{Bag, BagInput};
use landfall_core::bag_gas::Chamber;
use landfall_core::blower::{BlowerCurve, Blowers, BlowersInput, CurvePoint};
use landfall_core::inputs::{BOTCHED, COUNT, Inputs, Uncertain, Uncertainty};
use landfall_core::openings::{Discharge, Openings, OpeningsInput};
use landfall_core::path::{Path, Section};
use landfall_core::ride::Steps;
use landfall_core::run::{Probe, Setup};
use landfall_core::supply::{Feed, Flows, OperatingPoint, SupplyCheck, check_supply, operating_point, settled};
use landfall_core::takeoff::TakeOff;
use landfall_core::wind::{WindForces, WindLoad};

/// Largest part of a millimetre by which a sampled run may differ from one with fine steps: a tenth.
const STEP_TOLERANCE_M: f32 = 1.0e-4;

/// The ride and the flight of a site.
#[derive(Clone, Debug)]
pub struct Model {
    /// The set-up for the mean, the lightest and the heaviest rider.
    pub setups: [Setup; 3],
    /// Mass of each rider without the bike.
    pub masses_kg: [f64; 3],
    /// What varies.
    pub uncertainty: Uncertainty,
    /// Outside air.
    pub air: Air,
}

/// The air supply of a site.
#[derive(Clone, Debug)]
pub struct Supply {
    /// Outside air.
    pub air: Air,
    /// Vents, flaps, leak.
    pub openings: Openings,
    /// Blowers.
    pub blowers: Blowers,
    /// What is stated of them besides their curve.
    pub stated: BlowersInput,
    /// Where they balance.
    pub operating: OperatingPoint,
    /// Against the maker's range.
    pub check: SupplyCheck,
    /// By how much more than any leak gives the settled pressure was read, share; none where none was read.
    pub read_over: Option<f64>,
    /// The bag's gas; refused where the blowers do not lift the skin.
    pub chamber: Result<Chamber, InputError>,
}

fn outside_air(site: &Site) -> Result<Air, InputError> {
    let place = &site.site;
    Air::new(place.altitude_m as f32, place.air_temperature_k as f32, place.air_pressure_pa.map(|pa| pa as f32))
}

/// The roll-in's surface.
fn path(site: &Site) -> Result<Path, InputError> {
    let start_m = site.roll_in.start_height_m as f32;
    let mass_height_m = site.rider.mass_height_m as f32;
    match &site.roll_in.kind {
        RollInKind::Simple { slope_rad, bottom_radius_m, flat_run_m } => {
            Path::simple(start_m, *slope_rad as f32, *bottom_radius_m as f32, *flat_run_m as f32, mass_height_m)
        }
        RollInKind::Sections(list) => {
            let sections: Vec<Section> = list
                .iter()
                .map(|section| match *section {
                    SiteSection::Straight { length_m, slope_rad } => {
                        Section::Straight { length_m: length_m as f32, slope_rad: Some(slope_rad as f32) }
                    }
                    SiteSection::Arc { radius_m, turn_rad } => {
                        Section::Arc { radius_m: radius_m as f32, turn_rad: turn_rad as f32 }
                    }
                })
                .collect();
            Path::from_sections(&sections, start_m, mass_height_m)
        }
    }
}

impl Model {
    /// Resolves a site.
    ///
    /// # Errors
    /// [`PlanError::NoGap`] without `bag.gap`; [`PlanError::Input`] for what the models refuse.
    pub fn new(site: &Site) -> Result<Self, PlanError> {
        let air = outside_air(site)?;
        let (rider, bag) = (&site.rider, &site.bag);
        let gap_m = bag.gap_m.ok_or(PlanError::NoGap)?;
        let path = path(site)?;
        let takeoff = TakeOff::new(
            site.takeoff.height_m as f32,
            site.takeoff.radius_m as f32,
            rider.wheelbase_m as f32,
            rider.mass_height_m as f32,
        )?;
        let bag = Bag::new(BagInput {
            length_m: bag.length_m as f32,
            width_m: bag.width_m as f32,
            front_height_m: bag.front_height_m as f32,
            back_height_m: bag.back_height_m as f32,
            gap_m: gap_m as f32,
            offset_m: bag.offset_m as f32,
            base_level_m: bag.base_level_m as f32,
            edge_front_m: bag.edge_front_m as f32,
            edge_back_m: bag.edge_back_m as f32,
            edge_side_m: bag.edge_side_m as f32,
        })?;
        let masses_kg = [rider.mass_kg, rider.lightest_kg, rider.heaviest_kg];
        let setup = |mass_kg: f64| {
            Setup::new(
                path.clone(),
                takeoff,
                bag,
                air.density_kgpm3,
                (mass_kg + rider.bike_mass_kg) as f32,
                rider.rotating_mass_kg as f32,
            )
        };
        let setups = [setup(masses_kg[0])?, setup(masses_kg[1])?, setup(masses_kg[2])?];
        let spread = &site.spread;
        let mean: [f64; COUNT] = [
            f64::from(path.start_height_m()),
            site.roll_in.push_off_mps,
            site.roll_in.rolling_resistance,
            rider.drag_area_rolling_m2,
            rider.drag_area_flying_m2,
            0.0,
            rider.carry,
            rider.pop_mps,
            0.0,
            0.0,
            site.wind.along_mps,
            site.wind.across_mps,
            rider.contact_height_m,
        ];
        let sd: [f64; COUNT] = [
            spread.start_height_m,
            spread.push_off_mps,
            spread.rolling_resistance,
            spread.drag_area_rolling * rider.drag_area_rolling_m2,
            spread.drag_area_flying * rider.drag_area_flying_m2,
            spread.lip_speed_mps,
            spread.carry,
            spread.pop_mps,
            spread.yaw_rad,
            spread.line_m,
            spread.wind_along_mps,
            spread.wind_across_mps,
            spread.contact_height_m,
        ];
        let uncertainty = Uncertainty::new(
            mean.map(|x| x as f32),
            sd.map(|x| x as f32),
            path.lowest_start_m(),
            rider.mass_height_m as f32,
        )?
        .with_botched(spread.botched as f32, spread.botched_factor as f32)?;
        Ok(Self { setups, masses_kg, uncertainty, air })
    }

    /// Steps with which a sampled run stays within a tenth of a millimetre of a fine one, for these
    /// uncertainties: looked for at four standard deviations of each input to either side, and where tries are botched
    /// at three of their larger ones, which are about as rare.
    pub fn steps(&self, uncertainties: &[&Uncertainty]) -> Steps {
        let mut probes: Vec<Inputs<f32>> = Vec::new();
        let mut add = |uncertainty: &Uncertainty, which: Uncertain, reach: f32| {
            for side in [-reach, reach] {
                let mut deviations = [0.0; COUNT];
                deviations[which as usize] = side;
                probes.push(uncertainty.at(&deviations));
            }
        };
        for uncertainty in uncertainties {
            Uncertain::ALL.into_iter().for_each(|which| add(uncertainty, which, 4.0));
            if uncertainty.botched > 0.0 {
                let botched = uncertainty.botched_tries();
                BOTCHED.into_iter().for_each(|which| add(&botched, which, 3.0));
            }
        }
        let probes: Vec<Probe> = probes.iter().map(|inputs| self.setups[1].probe(inputs)).collect();
        self.setups[1].choose_steps(&probes, STEP_TOLERANCE_M)
    }

    /// The riders that differ from those before them: sampling one twice tells nothing.
    pub fn distinct(&self) -> Vec<usize> {
        let mut list = vec![0];
        for rider in 1..3 {
            if !list.iter().any(|other| self.masses_kg[*other] == self.masses_kg[rider]) {
                list.push(rider);
            }
        }
        list
    }

    /// The rider of [`Model::distinct`] that stands for a rider.
    pub fn stands_for(&self, rider: usize) -> usize {
        (0..3).find(|other| self.masses_kg[*other] == self.masses_kg[rider]).unwrap_or(rider)
    }

    /// The same seen in a mirror: left is right.
    #[must_use]
    pub fn mirrored(&self) -> Self {
        let mut model = self.clone();
        for setup in &mut model.setups {
            *setup = setup.with_bag(setup.bag().mirrored());
        }
        for which in [Uncertain::Yaw, Uncertain::Line, Uncertain::WindAcross] {
            let mean = &mut model.uncertainty.mean[which as usize];
            *mean = -*mean;
        }
        model
    }

    /// The model and its mirror image, the same one of the two first for either of them; no second where both are the
    /// same.
    #[must_use]
    pub fn one_side_first(&self) -> (Self, Option<Self>) {
        let sides = |model: &Self| {
            let mean = |which: Uncertain| model.uncertainty.mean[which as usize];
            [model.setups[0].bag().offset_m(), mean(Uncertain::WindAcross), mean(Uncertain::Line), mean(Uncertain::Yaw)]
        };
        let mirrored = self.mirrored();
        match sides(self).partial_cmp(&sides(&mirrored)) {
            Some(std::cmp::Ordering::Less) => (mirrored, Some(self.clone())),
            Some(std::cmp::Ordering::Greater) => (self.clone(), Some(mirrored)),
            _ => (self.clone(), None),
        }
    }

    /// The same with the bag at another gap.
    #[must_use]
    pub fn at_gap(&self, gap_m: f32) -> Self {
        let mut model = self.clone();
        for setup in &mut model.setups {
            *setup = setup.with_bag(setup.bag().at_gap(gap_m));
        }
        model
    }
}

impl Supply {
    /// Resolves a site's air supply; `bag.gap` is not needed.
    ///
    /// # Errors
    /// [`PlanError::Input`] for what the models refuse.
    pub fn new(site: &Site) -> Result<Self, PlanError> {
        let air = outside_air(site)?;
        let (bag, blower) = (&site.bag, &site.blower);
        let points: Vec<CurvePoint> = blower
            .curve
            .iter()
            .map(|(flow, pressure)| CurvePoint { flow_m3ps: *flow as f32, pressure_pa: *pressure as f32 })
            .collect();
        let curve = BlowerCurve::new(&points)?;
        let input = BlowersInput {
            count: u8::try_from(blower.count).unwrap_or(u8::MAX),
            speed: blower.speed as f32,
            duct_loss: blower.duct_loss as f32,
            duct_diameter_m: blower.duct_diameter_m.unwrap_or(0.0) as f32,
            closing_flap: blower.closing_flap,
            backflow_area_m2: blower.backflow_area_m2.map(|area| area as f32),
        };
        let blowers = Blowers::new(&curve, &input, &air)?;
        let stated = OpeningsInput {
            vent_area_m2: bag.vent_area_m2 as f32,
            relief_area_m2: bag.relief_area_m2 as f32,
            relief_opens_pa: bag.relief_opens_pa.unwrap_or(0.0) as f32,
            relief_full_pa: bag.relief_full_pa.unwrap_or(0.0) as f32,
            leak_coefficient: bag.leak_coefficient as f32,
            leak_exponent: bag.leak_exponent as f32,
            discharge: Discharge::LowPressure { coefficient: bag.vent_coefficient as f32 },
        };
        let (openings, operating, read_over) = match bag.settled_pressure_pa {
            None => {
                let openings = Openings::new(stated, &air)?;
                (openings, operating_point(&blowers, &openings), None)
            }
            Some(read_pa) => {
                let found = settled(&blowers, &stated, &air, read_pa as f32)?;
                let openings =
                    Openings::new(OpeningsInput { leak_coefficient: found.leak_coefficient, ..stated }, &air)?;
                // What was read is the operating pressure, to the bit.
                let balanced = operating_point(&blowers, &openings);
                let flow_m3ps = blowers.flow_m3ps(found.operating_pa);
                let operating = OperatingPoint { pressure_pa: found.operating_pa, flow_m3ps, ..balanced };
                (openings, operating, Some(f64::from(found.read_over)))
            }
        };
        let check = check_supply(&operating, &openings, bag.pressure_min_pa as f32, bag.pressure_max_pa as f32)?;
        let chamber = Chamber::new(
            &air,
            bag.volume_m3 as f32,
            operating.pressure_pa,
            bag.skin_stretch_per_pa as f32,
            bag.skin_weight_kgpm2 as f32,
        );
        Ok(Self { air, openings, blowers, stated: input, operating, check, read_over, chamber })
    }

    /// What enters and leaves the bag.
    pub fn flows(&self, feed: Feed) -> Flows<'_> {
        Flows { openings: &self.openings, blowers: Some(&self.blowers), feed }
    }
}

/// The same site with a gap: the stated one, or where none is stated the one at which the mean run comes down in the
/// middle of the landing field, from which a search for the best can begin. The second part says whether it was stated.
///
/// # Errors
/// [`PlanError::Input`] for what the models refuse.
pub fn with_gap(site: &Site) -> Result<(Site, bool), PlanError> {
    let mut other = site.clone();
    if site.bag.gap_m.is_some() {
        return Ok((other, true));
    }
    // On a sloped top the landing moves with the gap, less than the gap does: a few rounds settle it.
    let mut gap_m = 0.0;
    for _ in 0..4 {
        other.bag.gap_m = Some(gap_m);
        let model = Model::new(&other)?;
        let setup = &model.setups[0];
        let run = setup.run(&model.uncertainty.at_mean(), &Steps::FINE);
        if run.stalled || run.left_surface {
            break;
        }
        gap_m = (gap_m + f64::from(run.along_m - setup.bag().field_middle_m())).clamp(0.0, 100.0);
    }
    other.bag.gap_m = Some(gap_m);
    Ok((other, false))
}

/// Forces on the bag of the wind, and of a landing that pushes it along.
///
/// # Errors
/// [`PlanError::Input`] for what the models refuse.
pub fn wind_forces(site: &Site, air: &Air, push_n: f64) -> Result<WindForces, PlanError> {
    let (bag, anchors) = (&site.bag, &site.anchors);
    let load = WindLoad {
        wind_mps: anchors.wind_mps as f32,
        density_kgpm3: air.density_kgpm3,
        longer_side_m: bag.length_m.max(bag.width_m) as f32,
        height_m: bag.front_height_m.max(bag.back_height_m) as f32,
        plan_m2: (bag.length_m * bag.width_m) as f32,
        side_coefficient: anchors.side_coefficient as f32,
        lift_coefficient: anchors.lift_coefficient as f32,
        push_n: push_n as f32,
        capacity_n: anchors.capacity_n as f32,
    };
    Ok(load.forces()?)
}
