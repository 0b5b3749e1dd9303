//! Some of the sites of `tests/reference/sites`, in SI units, as core takes them.

use landfall_core::air::Air;
use landfall_core::bag::{Bag, BagInput};
use landfall_core::bag_gas::Chamber;
use landfall_core::blower::{BlowerCurve, Blowers, BlowersInput, CurvePoint};
use landfall_core::force_area::{ForceArea, Knot};
use landfall_core::inputs::{COUNT, Uncertainty};
use landfall_core::openings::{Discharge, Openings, OpeningsInput};
use landfall_core::path::{Path, Section};
use landfall_core::possible_bags::{PossibleBags, StatedArea, Unknown};
use landfall_core::run::Setup;
use landfall_core::supply::{Feed, Flows, OperatingPoint, operating_point};
use landfall_core::takeoff::TakeOff;
use serde_json::Value;

const FT: f32 = 0.3048;
const LB: f32 = 0.453_592_37;
const MPH: f32 = 0.447_04;
const CFM: f32 = FT * FT * FT / 60.0;
const IN_H2O: f32 = 249.088_91;
const PSI: f32 = 6_894.757_3;
const LBF: f32 = 4.448_221_6;

/// A roll-in: one slope, or sections.
pub enum RollIn {
    /// Slope in degrees, radius at the bottom, flat run.
    Simple(f32, f32, f32),
    /// Straights (m, degrees down) and arcs (m, degrees).
    Sections(Vec<Section>),
}

/// A site in SI units.
pub struct Site {
    pub name: &'static str,
    pub altitude_m: f32,
    pub temperature_k: f32,
    /// The mean, the lightest and the heaviest rider.
    pub riders_kg: [f32; 3],
    pub bike_kg: f32,
    pub lands_with_bike: bool,
    pub mass_height_m: f32,
    pub wheelbase_m: f32,
    pub rotating_kg: f32,
    pub roll_in: RollIn,
    /// Height and radius of the take-off.
    pub takeoff_m: (f32, f32),
    pub bag: BagInput,
    pub mean: [f32; COUNT],
    /// Standard deviations; of the drag areas as shares of them.
    pub sd: [f32; COUNT],
    pub volume_m3: f32,
    pub openings: OpeningsInput,
    pub curve: Vec<(f32, f32)>,
    pub blowers: BlowersInput,
    pub range_pa: (f32, f32),
    pub knots: Vec<(f32, f32)>,
    pub unknown: Unknown,
    pub stretch_per_pa: f32,
    pub supply_sense: bool,
    pub interval_s: f32,
    /// Gust, capacity of an anchor.
    pub anchors: (f32, f32),
    pub expected: Value,
}

fn usual(name: &'static str, expected: &str, start_height_m: f32, bag: [f32; 4]) -> Site {
    let [length_m, front_height_m, back_height_m, gap_m] = bag;
    Site {
        name,
        altitude_m: 0.0,
        temperature_k: 288.15,
        riders_kg: [78.0, 62.0, 95.0],
        bike_kg: 14.0,
        lands_with_bike: true,
        mass_height_m: 1.0,
        wheelbase_m: 1.05,
        rotating_kg: 2.2,
        roll_in: RollIn::Simple(32.0, 8.0, 4.0),
        takeoff_m: (2.4, 5.0),
        bag: BagInput {
            length_m,
            width_m: 9.0,
            front_height_m,
            back_height_m,
            gap_m,
            offset_m: 0.0,
            base_level_m: 0.0,
            edge_front_m: 1.0,
            edge_back_m: 1.0,
            edge_side_m: 1.0,
        },
        mean: [start_height_m, 0.0, 0.012, 0.45, 0.60, 0.0, 0.5, 0.0, 0.0, 0.0, 0.0, 0.0, 0.7],
        sd: [0.03, 0.1, 0.002, 0.08, 0.15, 0.2, 0.15, 0.5, 2.0_f32.to_radians(), 0.2, 0.5, 0.5, 0.15],
        volume_m3: length_m * 9.0 * 0.5 * (front_height_m + back_height_m),
        openings: OpeningsInput {
            vent_area_m2: 0.16,
            leak_coefficient: 0.002,
            leak_exponent: 0.6,
            discharge: Discharge::LowPressure { coefficient: 0.6 },
            ..OpeningsInput::default()
        },
        curve: vec![(3.2, 0.0), (2.6, 600.0), (1.9, 1_100.0), (1.0, 1_600.0), (0.0, 2_000.0)],
        blowers: BlowersInput { count: 2, ..BlowersInput::default() },
        range_pa: (600.0, 1_400.0),
        knots: Vec::new(),
        unknown: Unknown::default(),
        stretch_per_pa: 3e-5,
        supply_sense: true,
        interval_s: 20.0,
        anchors: (38.0 / 3.6, 1_600.0),
        expected: serde_json::from_str(expected).unwrap(),
    }
}

macro_rules! expected {
    ($name:literal) => {
        include_str!(concat!("../../../tests/reference/expected/", $name, ".json"))
    };
}

const fn straight(length_m: f32, down_deg: Option<f32>) -> Section {
    let slope_rad = match down_deg {
        Some(deg) => Some(deg.to_radians()),
        None => None,
    };
    Section::Straight { length_m, slope_rad }
}

const fn arc(radius_m: f32, turn_deg: f32) -> Section {
    Section::Arc { radius_m, turn_rad: turn_deg.to_radians() }
}

/// The sites, each for what it has that the others have not.
pub fn sites() -> Vec<Site> {
    let mut roller = usual("Roller Lane", expected!("03_roller_lane"), 5.429, [13.0, 2.2, 2.2, 0.5]);
    roller.mean[1] = 2.0;
    roller.roll_in = RollIn::Sections(vec![
        straight(2.0, None),
        arc(8.0, -18.0),
        straight(3.0, Some(18.0)),
        arc(10.0, -14.0),
        straight(3.5, Some(32.0)),
        arc(8.0, 40.0),
        arc(10.0, -16.0),
        arc(9.0, 8.0),
        straight(3.0, None),
    ]);

    let mut flaps = usual("Flap Yard", expected!("21_flap_yard"), 5.6, [13.0, 2.2, 2.2, 0.9]);
    flaps.lands_with_bike = false;
    flaps.openings.vent_area_m2 = 0.05;
    flaps.openings.relief_area_m2 = 0.6;
    flaps.openings.relief_opens_pa = 1_000.0;
    flaps.openings.relief_full_pa = 1_500.0;

    let mut throat = usual("Open Throat", expected!("23_open_throat"), 5.6, [13.0, 2.2, 2.2, 0.9]);
    throat.openings.vent_area_m2 = 0.12;
    throat.blowers.closing_flap = false;
    throat.blowers.backflow_area_m2 = Some(0.06);
    throat.supply_sense = false;

    let mut mended = usual("Mended Mat", expected!("33_mended_mat"), 5.6, [10.0, 2.4, 2.4, 0.9]);
    mended.openings.vent_area_m2 = 0.04;
    mended.range_pa.1 = 1_900.0;
    mended.knots = vec![(0.08, 0.7), (0.2, 1.5), (0.45, 2.6), (0.9, 3.4), (1.5, 3.6)];
    mended.unknown = Unknown { area: 0.18, skin_stretch: 0.2, ..Unknown::default() };
    mended.stretch_per_pa = 2.2e-5;

    let mut terrace = usual("Terrace", expected!("13_terrace"), 5.6, [8.0, 2.4, 2.4, 1.5]);
    terrace.bag.base_level_m = -1.6;

    let mut hose = usual("Long Hose", expected!("22_long_hose"), 5.6, [13.0, 2.2, 2.2, 0.9]);
    hose.openings.vent_area_m2 = 0.14;
    hose.blowers = BlowersInput { count: 3, speed: 0.92, duct_loss: 1.8, duct_diameter_m: 0.45, ..hose.blowers };

    let mut leak = usual("Slow Leak", expected!("24_slow_leak"), 5.6, [13.0, 2.2, 2.2, 0.9]);
    leak.openings.vent_area_m2 = 0.0;
    (leak.openings.leak_coefficient, leak.openings.leak_exponent) = (0.004, 0.65);
    leak.blowers.count = 1;
    leak.stretch_per_pa = 6e-5;
    (leak.supply_sense, leak.interval_s) = (false, 12.0);

    let mut chute = usual("Steep Chute", expected!("31_steep_chute"), 6.0, [8.0, 2.2, 2.2, 1.2]);
    chute.roll_in = RollIn::Simple(52.0, 5.0, 0.5);

    let mut deck = usual("Birch Deck", expected!("02_birch_deck"), 5.376, [13.0, 2.2, 2.2, 0.6]);
    deck.mean[1] = 1.4;
    deck.roll_in = RollIn::Sections(vec![
        straight(3.0, Some(0.0)),
        arc(6.0, -30.0),
        straight(7.0, None),
        arc(8.0, 30.0),
        straight(3.5, None),
    ]);

    let mut crooked = usual("Crooked Lane", expected!("18_crooked_lane"), 6.0, [13.0, 2.2, 2.2, 1.6]);
    (crooked.bag.width_m, crooked.bag.offset_m) = (8.0, 0.6);
    crooked.volume_m3 = 13.0 * 8.0 * 2.2;
    crooked.stretch_per_pa = 1.8e-5;

    vec![
        hose,
        leak,
        chute,
        deck,
        crooked,
        roller,
        mill_creek(),
        flaps,
        throat,
        mended,
        terrace,
        usual("High Stern", expected!("41_high_stern"), 5.6, [13.0, 2.0, 3.2, 0.8]),
        usual("Down Slope", expected!("43_down_slope"), 5.6, [12.0, 2.5, 1.5, 0.7]),
    ]
}

/// Imperial units throughout, wind, air of a height.
pub fn mill_creek() -> Site {
    let (length_m, height_m) = (44.0 * FT, 7.5 * FT);
    let mut site = usual("Mill Creek", expected!("04_mill_creek"), 19.5 * FT, [length_m, height_m, height_m, 2.5 * FT]);
    site.altitude_m = 850.0 * FT;
    site.temperature_k = (64.0 - 32.0) * 5.0 / 9.0 + 273.15;
    site.riders_kg = [172.0 * LB, 140.0 * LB, 215.0 * LB];
    site.bike_kg = 31.0 * LB;
    site.mass_height_m = 3.25 * FT;
    site.wheelbase_m = 41.0 / 12.0 * FT;
    site.rotating_kg = 4.8 * LB;
    site.mean[3] = 4.9 * FT * FT;
    site.mean[4] = 6.4 * FT * FT;
    site.mean[10] = -2.0 * MPH;
    site.mean[11] = MPH;
    site.mean[12] = 2.25 * FT;
    site.sd[0] = FT / 12.0;
    site.sd[5] = 0.4 * MPH;
    site.sd[9] = 8.0 / 12.0 * FT;
    site.sd[10] = MPH;
    site.roll_in = RollIn::Simple(34.0, 26.0 * FT, 12.0 * FT);
    site.takeoff_m = (8.0 * FT, 15.0 * FT);
    site.bag.width_m = 30.0 * FT;
    (site.bag.edge_front_m, site.bag.edge_back_m, site.bag.edge_side_m) = (3.0 * FT, 3.0 * FT, 3.0 * FT);
    site.openings.vent_area_m2 = 1.6 * FT * FT;
    site.openings.leak_coefficient = 0.0;
    site.range_pa = (2.4 * IN_H2O, 0.2 * PSI);
    site.volume_m3 = 9_800.0 * FT * FT * FT;
    site.curve = vec![
        (6_800.0 * CFM, 0.0),
        (5_400.0 * CFM, 2.4 * IN_H2O),
        (3_900.0 * CFM, 4.4 * IN_H2O),
        (2_540.0 * CFM, 0.22 * PSI),
        (0.0, 8.0 * IN_H2O),
    ];
    site.anchors = (24.0 * MPH, 360.0 * LBF);
    site
}

/// A site whose ride leaves the surface on a crest, and one whose ride comes to rest on the take-off.
pub fn ends_early() -> [Site; 2] {
    let mut crest = usual("Kicker Crest", expected!("30_kicker_crest"), 6.028, [13.0, 2.2, 2.2, 0.9]);
    crest.mean[1] = 1.0;
    crest.roll_in = RollIn::Sections(vec![
        straight(1.5, None),
        arc(5.0, -30.0),
        straight(6.0, None),
        arc(8.0, 40.0),
        arc(3.0, -35.0),
        straight(1.0, None),
        arc(8.0, 25.0),
        straight(2.0, None),
    ]);
    let mut grass = usual("Short Grass", expected!("29_short_grass"), 3.4, [13.0, 2.2, 2.2, 0.9]);
    grass.mean[2] = 0.05;
    grass.roll_in = RollIn::Simple(32.0, 8.0, 12.0);
    [crest, grass]
}

/// The air supply of a site.
pub struct Supply {
    pub air: Air,
    pub openings: Openings,
    pub blowers: Blowers,
    pub operating: OperatingPoint,
    pub chamber: Chamber,
}

impl Supply {
    pub fn flows(&self, feed: Feed) -> Flows<'_> {
        Flows { openings: &self.openings, blowers: Some(&self.blowers), feed }
    }
}

impl Site {
    pub fn air(&self) -> Air {
        Air::new(self.altitude_m, self.temperature_k, None).unwrap()
    }

    /// The set-up of one of the riders.
    pub fn setup(&self, rider: usize) -> Setup {
        let path = match &self.roll_in {
            RollIn::Simple(deg, radius_m, flat_m) => {
                Path::simple(self.mean[0], deg.to_radians(), *radius_m, *flat_m, self.mass_height_m)
            }
            RollIn::Sections(list) => Path::from_sections(list, self.mean[0], self.mass_height_m),
        };
        let takeoff = TakeOff::new(self.takeoff_m.0, self.takeoff_m.1, self.wheelbase_m, self.mass_height_m);
        let bag = Bag::new(self.bag).unwrap();
        let mass_kg = self.riders_kg[rider] + self.bike_kg;
        Setup::new(path.unwrap(), takeoff.unwrap(), bag, self.air().density_kgpm3, mass_kg, self.rotating_kg).unwrap()
    }

    pub fn uncertainty(&self) -> Uncertainty {
        let (mut mean, mut sd) = (self.mean, self.sd);
        let setup = self.setup(0);
        mean[0] = setup.path().start_height_m();
        sd[3] *= mean[3];
        sd[4] *= mean[4];
        let lowest_m = setup.path().lowest_start_m();
        Uncertainty::new(mean, sd, lowest_m, self.mass_height_m).unwrap().with_botched(0.05, 2.0).unwrap()
    }

    /// The mass that lands with one of the riders.
    pub fn landing_kg(&self, rider: usize) -> f32 {
        self.riders_kg[rider] + if self.lands_with_bike { self.bike_kg } else { 0.0 }
    }

    pub fn supply(&self) -> Supply {
        let air = self.air();
        let point = |&(flow_m3ps, pressure_pa): &(f32, f32)| CurvePoint { flow_m3ps, pressure_pa };
        let curve = BlowerCurve::new(&self.curve.iter().map(point).collect::<Vec<_>>()).unwrap();
        let blowers = Blowers::new(&curve, &self.blowers, &air).unwrap();
        let openings = Openings::new(self.openings, &air).unwrap();
        let operating = operating_point(&blowers, &openings);
        let chamber = Chamber::new(&air, self.volume_m3, operating.pressure_pa, self.stretch_per_pa, 0.65).unwrap();
        Supply { air, openings, blowers, operating, chamber }
    }

    /// The force area as stated.
    pub fn stated(&self) -> StatedArea {
        if self.knots.is_empty() {
            return StatedArea::Assumed { body_m2: 0.5, growth_m: 6.0, limit_m2: 4.0 };
        }
        let knot = |&(depth_m, area_m2): &(f32, f32)| Knot { depth_m, area_m2 };
        StatedArea::Measured(ForceArea::measured(&self.knots.iter().map(knot).collect::<Vec<_>>()).unwrap())
    }

    pub fn bags(&self) -> PossibleBags {
        PossibleBags::new(self.stated(), self.stretch_per_pa, self.unknown).unwrap()
    }
}
