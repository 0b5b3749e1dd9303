//! What the core computes for the reference sites, as bits.
//!
//! The same program runs on the host, on a Cortex-M0+ and on a Cortex-M4F, and each prints one line per
//! site; the lines must be equal. The sites stand in `sites.in`, written from `tests/reference/sites`
//! by this package's test.
#![no_std]
#![forbid(unsafe_code)]

use landfall_core::air::Air;
use landfall_core::bag::{Bag, BagInput};
use landfall_core::bag_gas::{Adiabat, Chamber};
use landfall_core::blower::{BlowerCurve, Blowers, BlowersInput, CurvePoint};
use landfall_core::error::{InputError, Status};
use landfall_core::force_area::{ForceArea, KNOTS, Knot};
use landfall_core::inputs::Uncertainty;
use landfall_core::landing_limits::Limit;
use landfall_core::levels::{
    Levels, LevelsBag, LevelsInput, LevelsRiders, MeanLanding, Sensing, ThreeBags, levels_with_mean,
};
use landfall_core::openings::{Discharge, Openings, OpeningsInput};
use landfall_core::path::{Path, Section};
use landfall_core::possible_bags::{PossibleBags, StatedArea, Unknown};
use landfall_core::ride::Steps;
use landfall_core::run::Setup;
use landfall_core::slow_gas::SlowGas;
use landfall_core::spread::differences;
use landfall_core::supply::{Feed, Flows, operating_point};
use landfall_core::takeoff::TakeOff;
use landfall_core::touchdown::{Landing, LandingInput, Options, Until, touch_down};
use landfall_core::watch::box_pressures::SensorError;

/// The sites; a slope of 30° is written as the site file's reader computed it.
#[allow(clippy::approx_constant)]
pub const SITES: &[Site] = &include!("sites.in");

/// Most sections and blower curve points of a site.
pub const LIST: usize = 16;

/// Steps of every ride and flight: what a device takes for results within a millimetre or so.
const STEPS: Steps = Steps { start: 3, straight: 3, arc: 4, takeoff: 4, lip: 1, flight: 3, front: 1 };

/// One site in the core's units and precision. Its `Debug` form is how `sites.in` is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Site {
    /// Its file.
    pub name: &'static str,
    /// Altitude, m; temperature, K; station pressure, Pa.
    pub air: (f32, f32, Option<f32>),
    /// Rider and bike, mean, lightest, heaviest, kg; and the masses that land, likewise.
    pub masses_kg: [f32; 3],
    /// Landing masses, mean, lightest, heaviest, kg.
    pub landing_kg: [f32; 3],
    /// Both wheels' rim-and-tyre mass, kg.
    pub rotating_kg: f32,
    /// Height of the centre of mass, wheelbase, m.
    pub rider_m: [f32; 2],
    /// Start height, m.
    pub start_m: f32,
    /// Slope, rad, bottom radius, m, flat run, m; or the sections.
    pub simple: Option<[f32; 3]>,
    /// Sections: straight (0, length m, slope rad) or arc (1, radius m, turn rad).
    pub sections: [(u8, f32, f32); LIST],
    /// How many of them.
    pub section_count: usize,
    /// Height and radius of the take-off, m.
    pub takeoff_m: [f32; 2],
    /// Length, width, front and back height, gap, offset, base level, front, back and side margin, m.
    pub bag_m: [f32; 10],
    /// Means of the uncertain inputs.
    pub mean: [f32; 13],
    /// Their standard deviations.
    pub sd: [f32; 13],
    /// Vent area and coefficient, relief area, opens, full, leak coefficient and exponent.
    pub openings: [f32; 7],
    /// Curve of one blower: flow m³/s, pressure Pa.
    pub curve: [(f32, f32); LIST],
    /// How many points.
    pub curve_count: usize,
    /// How many blowers.
    pub blowers: u8,
    /// Speed, duct loss, duct diameter m.
    pub duct: [f32; 3],
    /// Backflow area m² where there is no flap.
    pub backflow_m2: Option<f32>,
    /// Volume m³, stretch 1/Pa, skin kg/m², skin loss.
    pub chamber: [f32; 4],
    /// Force area from three numbers: m², m, m².
    pub area: [f32; 3],
    /// Measured instead: depth m, area m².
    pub knots: [(f32, f32); KNOTS],
    /// How many; none: not measured.
    pub knot_count: usize,
    /// Pressure min and max Pa, depth limit, load stop g, stop floor.
    pub limits: [f32; 5],
    /// Lightest rider without the bike, kg.
    pub light_kg: f32,
    /// Reaction, s.
    pub reaction_s: f32,
    /// The box senses the supply.
    pub supply_sense: bool,
    /// Error and noise of its sensor, Pa.
    pub sensor_pa: [f32; 2],
}

impl Site {
    fn path(&self) -> Result<Path, InputError> {
        let [mass_height_m, _] = self.rider_m;
        if let Some([slope_rad, radius_m, flat_m]) = self.simple {
            return Path::simple(self.start_m, slope_rad, radius_m, flat_m, mass_height_m);
        }
        let sections = self.sections.map(|(kind, a, b)| match kind {
            0 => Section::Straight { length_m: a, slope_rad: Some(b) },
            _ => Section::Arc { radius_m: a, turn_rad: b },
        });
        Path::from_sections(sections.get(..self.section_count).unwrap_or(&[]), self.start_m, mass_height_m)
    }

    fn bag(&self) -> Result<Bag, InputError> {
        let [length_m, width_m, front_height_m, back_height_m, gap_m, offset_m, base_level_m, front, back, side] =
            self.bag_m;
        Bag::new(BagInput {
            length_m,
            width_m,
            front_height_m,
            back_height_m,
            gap_m,
            offset_m,
            base_level_m,
            edge_front_m: front,
            edge_back_m: back,
            edge_side_m: side,
        })
    }

    fn blowers(&self, air: &Air) -> Result<Blowers, InputError> {
        let points = self.curve.map(|(flow_m3ps, pressure_pa)| CurvePoint { flow_m3ps, pressure_pa });
        let curve = BlowerCurve::new(points.get(..self.curve_count).unwrap_or(&[]))?;
        let [speed, duct_loss, duct_diameter_m] = self.duct;
        let input = BlowersInput {
            count: self.blowers,
            speed,
            duct_loss,
            duct_diameter_m,
            closing_flap: self.backflow_m2.is_none(),
            backflow_area_m2: self.backflow_m2,
        };
        Blowers::new(&curve, &input, air)
    }

    fn area(&self) -> Result<StatedArea, InputError> {
        if self.knot_count == 0 {
            let [body_m2, growth_m, limit_m2] = self.area;
            return Ok(StatedArea::Assumed { body_m2, growth_m, limit_m2 });
        }
        let knots = self.knots.map(|(depth_m, area_m2)| Knot { depth_m, area_m2 });
        Ok(StatedArea::Measured(ForceArea::measured(knots.get(..self.knot_count).unwrap_or(&[]))?))
    }

    fn openings(&self, air: &Air) -> Result<Openings, InputError> {
        let [vent, coefficient, relief, opens, full, leak, exponent] = self.openings;
        let input = OpeningsInput {
            vent_area_m2: vent,
            relief_area_m2: relief,
            relief_opens_pa: opens,
            relief_full_pa: full,
            leak_coefficient: leak,
            leak_exponent: exponent,
            discharge: Discharge::LowPressure { coefficient },
        };
        Openings::new(input, air)
    }
}

/// Gathers results: count, running checksum, and the values shown by name.
pub struct Gathered {
    /// How many numbers.
    pub count: u32,
    /// FNV-1a over all their bits.
    pub hash: u64,
    /// Distance along the bag of the mean rider's mean landing, m; NaN where there is none.
    pub along_m: f32,
    /// Its standard deviation, m.
    pub sd_along_m: f32,
    /// Operating pressure, Pa.
    pub operating_pa: f32,
    /// Stop pressure, Pa; NaN where there is none.
    pub stop_pa: f32,
    /// An input was refused: nothing but `hash` of the refusal's kind is there.
    pub refused: bool,
}

impl Gathered {
    fn take(&mut self, value: f32) {
        // Which of the many bit patterns of "not a number" comes out is the processor's choice.
        self.word(if value.is_nan() { f32::NAN.to_bits() } else { value.to_bits() });
    }

    fn word(&mut self, bits: u32) {
        self.count += 1;
        for byte in bits.to_le_bytes() {
            self.hash = (self.hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3);
        }
    }

    fn option(&mut self, value: Option<f32>) {
        self.word(u32::from(value.is_some()));
        self.take(value.unwrap_or(0.0));
    }

    fn all(&mut self, values: &[f32]) {
        for value in values {
            self.take(*value);
        }
    }
}

/// The runs of one rider of a site, and what scatters.
///
/// # Errors
/// What the core refuses of the site's values.
pub fn runs(site: &Site, mass_kg: f32) -> Result<(Setup, Uncertainty), InputError> {
    let air = Air::new(site.air.0, site.air.1, site.air.2)?;
    let [mass_height_m, wheelbase_m] = site.rider_m;
    let [height_m, radius_m] = site.takeoff_m;
    let takeoff = TakeOff::new(height_m, radius_m, wheelbase_m, mass_height_m)?;
    let path = site.path()?;
    let uncertainty = Uncertainty::new(site.mean, site.sd, path.lowest_start_m(), mass_height_m)?;
    Ok((Setup::new(path, takeoff, site.bag()?, air.density_kgpm3, mass_kg, site.rotating_kg)?, uncertainty))
}

/// Everything for one site. `pressures`: also the levels of its three bags, which take most of the time.
pub fn results(site: &Site, pressures: bool) -> Gathered {
    let mut out = Gathered {
        count: 0,
        hash: 0xCBF2_9CE4_8422_2325,
        along_m: f32::NAN,
        sd_along_m: f32::NAN,
        operating_pa: f32::NAN,
        stop_pa: f32::NAN,
        refused: false,
    };
    if gather(site, pressures, &mut out).is_err() {
        out.refused = true;
    }
    out
}

fn gather(site: &Site, pressures: bool, out: &mut Gathered) -> Result<(), InputError> {
    let air = Air::new(site.air.0, site.air.1, site.air.2)?;
    out.all(&[air.pressure_pa, air.density_kgpm3]);
    let [mass_height_m, wheelbase_m] = site.rider_m;
    let [height_m, radius_m] = site.takeoff_m;
    let takeoff = TakeOff::new(height_m, radius_m, wheelbase_m, mass_height_m)?;
    let (path, bag) = (site.path()?, site.bag()?);
    let uncertainty = Uncertainty::new(site.mean, site.sd, path.lowest_start_m(), mass_height_m)?;
    let mut hard_speed_mps = 0.0_f32;
    let (mut mean_speed_mps, mut soft_speed_mps) = (5.0_f32, 4.0_f32);
    for (index, mass_kg) in site.masses_kg.iter().enumerate() {
        let setup = Setup::new(path.clone(), takeoff, bag, air.density_kgpm3, *mass_kg, site.rotating_kg)?;
        let run = setup.run(&uncertainty.at_mean(), &STEPS);
        out.all(&[run.ride_speed_mps, run.along_m, run.across_m, run.airtime_s, run.normal_mps]);
        out.word(u32::from(run.landed()));
        let Some(spread) = differences(&setup, &uncertainty, &STEPS) else {
            out.word(0);
            continue;
        };
        out.all(&[spread.mean_along_m, spread.sd_along_m, spread.mean_across_m, spread.sd_across_m]);
        out.all(&[spread.covariance_m2, spread.mean_normal_mps, spread.sd_normal_mps]);
        out.all(&spread.shares_along);
        out.all(&spread.shares_across);
        out.all(spread.one_sd_m.as_flattened());
        // Where the bag stands: the landings from the lowest to the highest thousandth, on the field or off it.
        for sigmas in [-3.09, 0.0, 3.09] {
            let along_m = spread.mean_along_m + sigmas * spread.sd_along_m;
            out.word(bag.landing(along_m, spread.mean_across_m) as u32);
        }
        hard_speed_mps = hard_speed_mps.max(spread.mean_normal_mps + 3.09 * spread.sd_normal_mps);
        if index == 0 {
            (out.along_m, out.sd_along_m) = (spread.mean_along_m, spread.sd_along_m);
            mean_speed_mps = spread.mean_normal_mps;
            soft_speed_mps = (spread.mean_normal_mps - 3.09 * spread.sd_normal_mps).max(0.5);
        }
    }

    let (openings, blowers) = (site.openings(&air)?, site.blowers(&air)?);
    let point = operating_point(&blowers, &openings);
    out.all(&[point.pressure_pa, point.flow_m3ps]);
    out.operating_pa = point.pressure_pa;
    let [volume_m3, stretch_per_pa, skin_kgpm2, skin_loss] = site.chamber;
    let stated = site.area()?;
    let chamber = Chamber::new(&air, volume_m3, point.pressure_pa, stretch_per_pa, skin_kgpm2)?;
    let thickness_m = bag.thickness_m(bag.field_middle_m());
    let landing = Landing::new(LandingInput {
        mass_kg: site.landing_kg[0],
        normal_speed_mps: mean_speed_mps,
        slope_rad: bag.slope_rad(),
        skin_loss,
        area: stated.area()?,
        thickness_m: Some(thickness_m),
    })?;
    let gas = Adiabat::new(&chamber, chamber.at_pressure(point.pressure_pa), 1.4)?;
    let flows = Flows { openings: &openings, blowers: Some(&blowers), feed: Feed::Running };
    let down = touch_down(&gas, &flows, &landing, &Options::default(), |_| {});
    out.all(&[down.depth_m, down.felt_load_g, down.peak_pressure_pa, down.time_to_deepest_s, down.gas_lost_m3]);
    out.option(down.rebound_mps);
    if !pressures {
        return Ok(());
    }
    let [pressure_min_pa, pressure_max_pa, depth_limit, load_stop_g, stop_floor] = site.limits;
    let [error_pa, noise_pa] = site.sensor_pa;
    let hard_speed_mps = if hard_speed_mps > 0.0 { hard_speed_mps } else { mean_speed_mps };
    let input = LevelsInput {
        air: &air,
        openings: &openings,
        blowers: &blowers,
        operating_pa: point.pressure_pa,
        bag: LevelsBag {
            volume_m3,
            skin_kgpm2,
            skin_loss,
            pressure_min_pa,
            pressure_max_pa,
            depth_limit,
            load_stop_g,
            stop_floor,
            thickness_m,
            slope_rad: bag.slope_rad(),
        },
        load_limit_g: load_stop_g,
        riders: LevelsRiders {
            heaviest_kg: site.landing_kg[2],
            lightest_kg: site.light_kg,
            hard_speed_mps,
            mean_landing: Some(MeanLanding {
                mass_kg: site.landing_kg[0],
                normal_speed_mps: mean_speed_mps,
                thickness_m,
            }),
            commitment_s: Some(3.0),
            reaction_s: site.reaction_s,
        },
        sensing: Sensing { supply_sense: site.supply_sense, sensor: SensorError { error_pa, noise_pa } },
        options: Options::default(),
    };
    // A planner finds soft and firm bag; here two possible bags that are often near to them.
    let bags = PossibleBags::new(stated, stretch_per_pa, Unknown::default())?;
    let three = ThreeBags { stated: *bags.stated(), soft: bags.bag(112), firm: bags.bag(247) };
    for knot in three.soft.area.knots().iter().chain(three.firm.area.knots()) {
        out.all(&[knot.depth_m, knot.area_m2]);
    }
    out.all(&[three.soft.stretch_per_pa, three.firm.stretch_per_pa]);
    let mean = input.mean_touchdown(&three.stated);
    take_levels(&levels_with_mean(&input, &three, mean.as_ref())?, out);

    // What the watch goes by besides: the hard and the softest landing in each, and how the mean one recovers.
    for bag in [&three.stated, &three.soft, &three.firm] {
        let chamber = input.chamber(bag)?;
        let gas = Adiabat::new(&chamber, chamber.at_pressure(point.pressure_pa), 1.4)?;
        for (mass_kg, speed_mps) in [(site.landing_kg[2], hard_speed_mps), (site.light_kg, soft_speed_mps)] {
            let options = Options { until: Until::Deepest, ..Options::default() };
            let done = touch_down(&gas, &flows, &input.landing(bag, mass_kg, speed_mps)?, &options, |_| {});
            out.take(done.peak_pressure_pa);
        }
    }
    if let Some(done) = mean {
        out.take(done.gas_lost_in_all_m3);
        out.option(SlowGas { chamber: &chamber, flows }.recovery_s(done.gas_lost_in_all_m3));
    }
    Ok(())
}

fn take_levels(found: &Levels, out: &mut Gathered) {
    out.stop_pa = found.stop_pa;
    for limit in [found.stated_by_depth, found.soft_by_depth, found.firm] {
        out.word(match limit {
            Limit::At(_) => 0,
            Limit::JustTaut(_) => 1,
            Limit::NotKept => 2,
            Limit::NotReached => 3,
        });
        out.option(limit.pressure_pa());
    }
    let [stated_s, soft_s] = found.power_loss_to_stop_s;
    for value in [found.wait_pa, stated_s, soft_s, found.alarm_delay_s, found.needed_s] {
        out.option(value);
    }
    let pressures = &found.pressures;
    out.all(&[found.room_pa, found.stop_pa, found.band_low_pa, found.band_high_pa, found.dip_pa]);
    out.all(&[pressures.siren_pa, pressures.permit_off_pa, pressures.permit_back_pa, pressures.acting_wait_pa]);
    out.word(u32::from(found.stop_over_room));
    out.word(u32::from(found.band_is_empty));
    out.word(u32::from(found.status == Status::Converged));
}

/// One line for a site, the same on every machine.
///
/// # Errors
/// What `to` reports.
pub fn line(to: &mut impl core::fmt::Write, site: &Site, found: &Gathered) -> core::fmt::Result {
    writeln!(
        to,
        "{} {} {:016x} along {:08x} sd {:08x} operating {:08x} stop {:08x}{}",
        site.name,
        found.count,
        found.hash,
        found.along_m.to_bits(),
        found.sd_along_m.to_bits(),
        found.operating_pa.to_bits(),
        found.stop_pa.to_bits(),
        if found.refused { " refused" } else { "" },
    )
}
