//! The site as the models take it: every value in SI, every default filled in, every combination checked.
//!
//! A field is named as its key in the site file, with its unit behind. Which values the file states
//! and which are assumed is in [`Site::given`].

use std::collections::BTreeSet;

use serde::Serialize;

/// A whole site: place, rider, roll-in, take-off, bag, air supply and what is uncertain about them.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Site {
    /// The place and its air.
    pub site: Place,
    /// Who rides, and on what.
    pub rider: Rider,
    /// The ride down.
    pub roll_in: RollIn,
    /// The take-off.
    pub takeoff: Takeoff,
    /// The landing bag.
    pub bag: Bag,
    /// How little is known of the bag.
    pub unknown: Unknown,
    /// Riders who differ, each with every value; empty where the file names none.
    pub groups: Vec<Group>,
    /// The blowers.
    pub blower: Blower,
    /// The pressure-watching box.
    pub watch: Watch,
    /// How riders follow each other.
    pub session: Session,
    /// The wind to plan for.
    pub wind: Wind,
    /// Standard deviations, and how the sampling is done.
    pub spread: Spread,
    /// How the bag is held down.
    pub anchors: Anchors,
    /// The ground it all stands on.
    pub ground: super::Ground,
    /// The dotted keys that the file (or a later setting) states; all others are defaults or derived.
    pub given: BTreeSet<&'static str>,
}

/// The place and its air.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Place {
    /// Shown on every output.
    pub name: String,
    /// Above sea level.
    pub altitude_m: f64,
    /// Of the outside air.
    pub air_temperature_k: f64,
    /// Measured station pressure; `None`: from the altitude.
    pub air_pressure_pa: Option<f64>,
    /// What lengths, masses and speeds are shown in.
    pub units: Units,
    /// What pressures are shown in: what the gauge on the hill reads.
    pub gauge: Gauge,
}

/// A value that is one of a few words.
macro_rules! choice {
    ($(#[$doc:meta])* $name:ident { $($(#[$each:meta])* $variant:ident = $word:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
        #[serde(rename_all = "snake_case")]
        pub enum $name { $($(#[$each])* $variant),+ }

        impl $name {
            /// All of them, in the order of [`Self::WORDS`].
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];
            /// As the site file writes them.
            pub const WORDS: &'static [&'static str] = &[$($word),+];

            /// As the site file writes it.
            #[must_use]
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word),+ }
            }

            /// Its place in [`Self::ALL`].
            pub(super) fn index(self) -> f64 {
                Self::ALL.iter().position(|one| *one == self).unwrap_or(0) as f64
            }

            /// The one at a place in [`Self::ALL`]; the first one beyond them.
            pub(super) fn at(index: f64) -> Self {
                Self::ALL.get(index as usize).copied().unwrap_or_default()
            }
        }
    };
}

choice! {
    /// What lengths, masses and speeds are shown in.
    Units {
        /// Metres, kilograms, km/h.
        #[default]
        Metric = "metric",
        /// Feet and inches, pounds, mph.
        Imperial = "imperial",
    }
}

choice! {
    /// The unit of a pressure gauge.
    Gauge {
        /// Kilopascals.
        #[default]
        KPa = "kPa",
        /// Pascals.
        Pa = "Pa",
        /// Millibars.
        MBar = "mbar",
        /// Conventional inches of water.
        InH2O = "inH2O",
        /// Conventional millimetres of water.
        MmH2O = "mmH2O",
        /// Pounds-force per square inch.
        Psi = "psi",
    }
}

choice! {
    /// The pressure sensor of the box.
    Sensor {
        /// A bridge of ±20 inches of water.
        #[default]
        Bridge20 = "bridge20",
        /// A bridge of ±10 inches of water.
        Bridge10 = "bridge10",
        /// A bridge of ±30 inches of water.
        Bridge30 = "bridge30",
        /// A thermal part of ±500 Pa.
        Thermal500 = "thermal500",
        /// Two barometers.
        Barometers = "barometers",
    }
}

choice! {
    /// A second pressure sensor of the box.
    Second {
        /// There is none.
        #[default]
        None = "none",
        /// A bridge of the same range as the first, at another address.
        Bridge = "bridge",
        /// Two barometers.
        Barometers = "barometers",
    }
}

impl Sensor {
    /// Largest error of a filtered, zeroed reading. *Assumed*: 0.25 % of a bridge's range (20 inches of water are
    /// 4.98 kPa), 3 % of a thermal part's, 20 Pa between two barometers.
    #[must_use]
    pub const fn error_pa(self) -> f64 {
        match self {
            Self::Bridge10 => 6.25,
            Self::Bridge20 => 12.5,
            Self::Bridge30 => 18.75,
            Self::Thermal500 => 15.0,
            Self::Barometers => 20.0,
        }
    }

    /// Usual largest standard deviation of a reading's noise, the blowers running. *Assumed*: it is the bag's and the
    /// tube's, not the part's.
    #[must_use]
    pub const fn noise_pa(self) -> f64 {
        20.0
    }
}

/// Who rides, and on what.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Rider {
    /// Mean rider with gear.
    pub mass_kg: f64,
    /// Lightest who rides.
    pub lightest_kg: f64,
    /// Heaviest who rides.
    pub heaviest_kg: f64,
    /// The bike alone.
    pub bike_mass_kg: f64,
    /// Whether the mass that lands includes the bike.
    pub lands_with_bike: bool,
    /// Centre of mass above the surface, along its normal.
    pub mass_height_m: f64,
    /// Between the axles.
    pub wheelbase_m: f64,
    /// Rims and tyres of both wheels, taken at the rim.
    pub rotating_mass_kg: f64,
    /// Drag area on the ride down.
    pub drag_area_rolling_m2: f64,
    /// Drag area in the air.
    pub drag_area_flying_m2: f64,
    /// Speed added normal to the surface at the lip.
    pub pop_mps: f64,
    /// Share of the wheelbase's lag that the rider makes up, 0 to 1.
    pub carry: f64,
    /// Centre of mass above whatever touches the bag first.
    pub contact_height_m: f64,
    /// Braking force over the load on the ground.
    pub braking: f64,
    /// From an alarm to the brakes.
    pub reaction_s: f64,
    /// Felt load on the ride down above which a caution is given, in g.
    pub arc_load_limit: f64,
    /// Felt load on the ride down above which nobody rides, in g.
    pub arc_load_stop: f64,
}

/// Riders who differ from the site's: every value is there, what the file leaves out is the site's.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Group {
    /// What they are called.
    pub name: String,
    /// Mean rider with gear.
    pub mass_kg: f64,
    /// Lightest of them.
    pub lightest_kg: f64,
    /// Heaviest of them.
    pub heaviest_kg: f64,
    /// Whether the mass that lands includes the bike.
    pub lands_with_bike: bool,
    /// Of their start above the take-off's foot.
    pub start_height_m: f64,
    /// Speed added normal to the surface at the lip.
    pub pop_mps: f64,
    /// Standard deviation of the lip speed.
    pub lip_speed_sd_mps: f64,
    /// Standard deviation of the pop.
    pub pop_sd_mps: f64,
    /// Share of their tries that goes wrong at the take-off.
    pub botched: f64,
    /// The names that the file states, in the order of [`super::GROUP_KEYS`].
    pub given: Vec<&'static str>,
}

/// The ride down to the foot of the take-off.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct RollIn {
    /// Of the start above the take-off's foot.
    pub start_height_m: f64,
    /// Speed at the start.
    pub push_off_mps: f64,
    /// Rolling resistance over load.
    pub rolling_resistance: f64,
    /// Its shape.
    pub kind: RollInKind,
}

/// The shape of a roll-in.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum RollInKind {
    /// A straight, an arc to level, a level straight.
    Simple {
        /// Of the straight, down positive.
        slope_rad: f64,
        /// Of the arc at its bottom.
        bottom_radius_m: f64,
        /// Level straight before the take-off.
        flat_run_m: f64,
    },
    /// A chain of sections from the start to the take-off's foot.
    Sections(Vec<Section>),
}

impl Default for RollInKind {
    fn default() -> Self {
        Self::Simple { slope_rad: 0.0, bottom_radius_m: 0.0, flat_run_m: 0.0 }
    }
}

/// One section of a roll-in.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Section {
    /// A straight.
    Straight {
        /// Along the surface.
        length_m: f64,
        /// Down positive; taken from the section before where the file states none.
        slope_rad: f64,
    },
    /// A circular arc, tangent to what comes before it.
    Arc {
        /// Of the surface.
        radius_m: f64,
        /// Upward (concave) positive, downward (convex) negative.
        turn_rad: f64,
    },
}

impl Section {
    /// Path angle (up positive) at its end, for the path angle at its start.
    #[must_use]
    pub fn angle_after_rad(&self, angle_rad: f64) -> f64 {
        match *self {
            Self::Straight { slope_rad, .. } => -slope_rad,
            Self::Arc { turn_rad, .. } => angle_rad + turn_rad,
        }
    }

    /// How far it leads down, for the path angle (up positive) at its start: `length sin slope` of a straight,
    /// `R (cos after − cos before)` of an arc that turns upward and its negative of one that turns downward.
    #[must_use]
    pub fn drop_m(&self, angle_rad: f64) -> f64 {
        match *self {
            Self::Straight { length_m, slope_rad } => length_m * slope_rad.sin(),
            Self::Arc { radius_m, turn_rad } => {
                radius_m * turn_rad.signum() * ((angle_rad + turn_rad).cos() - angle_rad.cos())
            }
        }
    }
}

/// The take-off: a circular arc, level at its foot; all three of its measures, which agree.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Takeoff {
    /// Of the lip above the foot.
    pub height_m: f64,
    /// Of the arc.
    pub radius_m: f64,
    /// Of the surface at the lip.
    pub lip_angle_rad: f64,
    /// Across.
    pub width_m: f64,
}

/// The landing bag.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Bag {
    /// Along the flight.
    pub length_m: f64,
    /// Across the flight.
    pub width_m: f64,
    /// Of the top's front edge above the ground under the bag.
    pub front_height_m: f64,
    /// Of the top's back edge above the ground under the bag.
    pub back_height_m: f64,
    /// From the lip edge to the front edge, horizontal; a plan needs it.
    pub gap_m: Option<f64>,
    /// Of the bag's centre line from the take-off's, left positive.
    pub offset_m: f64,
    /// Of the ground under the bag, from the take-off's foot.
    pub base_level_m: f64,
    /// Front margin that is no landing field.
    pub edge_front_m: f64,
    /// Back margin that is no landing field.
    pub edge_back_m: f64,
    /// Margin on each side that is no landing field.
    pub edge_side_m: f64,
    /// At the operating pressure.
    pub volume_m3: f64,
    /// How the area that pushes back grows with the depth.
    pub force_area: ForceAreaStated,
    /// Read with the blowers on and nobody on the bag; the leak then follows.
    pub settled_pressure_pa: Option<f64>,
    /// Relative volume per pressure.
    pub skin_stretch_per_pa: f64,
    /// Of the top skin.
    pub skin_weight_kgpm2: f64,
    /// Openings that are always open.
    pub vent_area_m2: f64,
    /// Discharge coefficient of every opening.
    pub vent_coefficient: f64,
    /// Relief flaps, all open.
    pub relief_area_m2: f64,
    /// Where the relief flaps begin to open; stated where there are any.
    pub relief_opens_pa: Option<f64>,
    /// Where the relief flaps are all open; stated where there are any.
    pub relief_full_pa: Option<f64>,
    /// Leak in m³/s at 1 Pa.
    pub leak_coefficient: f64,
    /// Leak's power of the pressure.
    pub leak_exponent: f64,
    /// The maker's lowest.
    pub pressure_min_pa: f64,
    /// The maker's highest.
    pub pressure_max_pa: f64,
    /// Share of the force that the skin does not give back.
    pub skin_loss: f64,
    /// Share of the thickness that a landing may use.
    pub depth_limit: f64,
    /// Felt load of a landing above which a caution is given, in g.
    pub load_limit: f64,
    /// Felt load of a landing above which nobody rides, in g.
    pub load_stop: f64,
    /// Share of the maker's lowest pressure below which nobody rides.
    pub stop_floor: f64,
    /// Friction of rider and bike along the top.
    pub skin_friction: f64,
    /// Chance of meeting the ground in a landing to plan for.
    pub target_ground: f64,
    /// The same after a power cut.
    pub target_cut: f64,
}

/// The area inside the crest round a body, over the depth: assumed by three numbers, or measured.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ForceAreaStated {
    /// Nobody measured it.
    Assumed {
        /// What a body covers at once.
        body_m2: f64,
        /// How fast the area grows with the depth, m² per m.
        growth_m: f64,
        /// The largest it becomes.
        limit_m2: f64,
    },
    /// Measured: (depth in m, area in m²), depth rising, (0, 0) not among them.
    Measured(Vec<(f64, f64)>),
}

impl Default for ForceAreaStated {
    fn default() -> Self {
        Self::Assumed { body_m2: 0.0, growth_m: 0.0, limit_m2: 0.0 }
    }
}

impl ForceAreaStated {
    /// Whether it was measured.
    #[must_use]
    pub fn is_measured(&self) -> bool {
        matches!(self, Self::Measured(_))
    }
}

/// How little is known of the bag: standard deviations of the natural logarithm.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Unknown {
    /// Of [`ForceAreaStated::Assumed`]'s `body_m2`.
    pub area_body: f64,
    /// Of its `growth_m`.
    pub area_growth: f64,
    /// Of its `limit_m2`.
    pub area_limit: f64,
    /// Of the skin's stretch.
    pub skin_stretch: f64,
    /// Of all measured areas together; without meaning where they are not measured.
    pub area: f64,
}

/// The blowers.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Blower {
    /// Equal blowers side by side.
    pub count: u32,
    /// Of one blower at full speed and 1.2 kg/m³: (flow in m³/s, pressure in Pa), from 0 Pa to zero flow.
    pub curve: Vec<(f64, f64)>,
    /// Over full speed.
    pub speed: f64,
    /// Loss factor of the duct of one blower.
    pub duct_loss: f64,
    /// Of the duct; stated where it has a loss.
    pub duct_diameter_m: Option<f64>,
    /// A flap closes when the blower stops.
    pub closing_flap: bool,
    /// What one stopped blower without a flap lets back out; stated where there is no flap.
    pub backflow_area_m2: Option<f64>,
}

/// The pressure-watching box.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Watch {
    /// It senses the blowers' supply.
    pub supply_sense: bool,
    /// Its pressure sensor.
    pub sensor: Sensor,
    /// A board with lamps at the top of the roll-in must answer it.
    pub top_signal: bool,
    /// A second one.
    pub second: Second,
    /// The permit is driven by pulses.
    pub permit_pulses: bool,
    /// The permit's loop is read back.
    pub permit_readback: bool,
    /// In which it must follow.
    pub relay_s: f64,
    /// Each blower is sensed by itself.
    pub blower_sense: bool,
    /// Of the battery when it is full; stated where it is watched.
    pub battery_full_v: Option<f64>,
    /// At which the box may go down.
    pub battery_empty_v: Option<f64>,
    /// Of a full battery.
    pub battery_lasts_s: Option<f64>,
}

/// How riders follow each other.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Session {
    /// Between two riders.
    pub interval_s: f64,
    /// Of a day's riding.
    pub length_s: f64,
}

/// The wind to plan for.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Wind {
    /// Tail wind positive.
    pub along_mps: f64,
    /// From the right positive.
    pub across_mps: f64,
    /// Added as tail wind for the highest start.
    pub gust_mps: f64,
}

/// Standard deviations of the thirteen uncertain inputs, and how the sampling is done.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Spread {
    /// Of the start height.
    pub start_height_m: f64,
    /// Of the push-off.
    pub push_off_mps: f64,
    /// Of the rolling resistance.
    pub rolling_resistance: f64,
    /// Of the rolling drag area, relative.
    pub drag_area_rolling: f64,
    /// Of the flying drag area, relative.
    pub drag_area_flying: f64,
    /// Of the speed at the lip.
    pub lip_speed_mps: f64,
    /// Of the carry.
    pub carry: f64,
    /// Of the pop.
    pub pop_mps: f64,
    /// Of the direction.
    pub yaw_rad: f64,
    /// Of the line.
    pub line_m: f64,
    /// Of the tail wind.
    pub wind_along_mps: f64,
    /// Of the cross wind.
    pub wind_across_mps: f64,
    /// Of the contact height.
    pub contact_height_m: f64,
    /// Share of the tries that goes wrong at the take-off.
    pub botched: f64,
    /// How many times as far carry, pop, yaw and contact height scatter in those.
    pub botched_factor: f64,
    /// Runs of the sampling.
    pub samples: u64,
    /// The same seed gives the same runs.
    pub seed: u64,
    /// Chance of missing the landing field to plan for.
    pub target_miss: f64,
}

/// How the bag is held down.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Anchors {
    /// How many there are.
    pub count: u32,
    /// What one holds.
    pub capacity_n: f64,
    /// Side force over dynamic pressure and side area.
    pub side_coefficient: f64,
    /// Lift over dynamic pressure and plan area.
    pub lift_coefficient: f64,
    /// Highest wind to hold in.
    pub wind_mps: f64,
}
