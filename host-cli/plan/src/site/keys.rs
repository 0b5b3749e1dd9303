//! The one table of the site file's keys: what each measures, its default, its range, its meaning, and the
//! field of [`Site`] it ends up in. The reader, the checks, the starter file, the sweeps and the schema all
//! read this table.

use std::collections::HashMap;
use std::sync::LazyLock;

use super::model::{ForceAreaStated, Gauge, RollInKind, Second, Sensor, Site, Units};
use super::quantity::parse_quantity;
use super::units::Dimension;

/// How a key's value is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Kind {
    /// A text.
    Text,
    /// `true` or `false`.
    Flag,
    /// A whole number.
    Count,
    /// A number without a dimension.
    Number,
    /// A text with a unit.
    Quantity(Dimension),
    /// The blower's list of flow and pressure.
    Curve,
    /// The roll-in's list of sections.
    Sections,
    /// The bag's list of depth and area.
    Knots,
    /// The ground's list of distance and height.
    Profile,
    /// The ground's list of what is in the way.
    Obstacles,
    /// One of these words.
    Choice(&'static [&'static str]),
}

/// What stands for a key that the file leaves out.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Preset {
    /// The file must state it.
    Required,
    /// This value, written as in a file but without quotes.
    Is(&'static str),
    /// The value of another key.
    Of(&'static str),
    /// Computed from others; says how.
    From(&'static str),
    /// Nothing; says when it is needed.
    Absent(&'static str),
}

/// One key of the site file.
#[derive(Clone, Copy, Debug)]
pub struct Key {
    /// `table.key`.
    pub dotted: &'static str,
    /// How its value is written.
    pub kind: Kind,
    /// What stands for it where the file leaves it out.
    pub preset: Preset,
    /// Lowest value taken, in SI.
    pub low: f64,
    /// Highest value taken, in SI.
    pub high: f64,
    /// Its meaning, in one line.
    pub help: &'static str,
    get: fn(&Site) -> Option<f64>,
    set: fn(&mut Site, f64),
}

impl Key {
    /// The table's name.
    #[must_use]
    pub fn table(&self) -> &'static str {
        self.dotted.split_once('.').map_or("", |(table, _)| table)
    }

    /// The name inside the table.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.dotted.split_once('.').map_or(self.dotted, |(_, name)| name)
    }

    /// Whether its value is one number (a quantity, a plain or a whole number), so that it can be swept.
    #[must_use]
    pub fn is_numeric(&self) -> bool {
        matches!(self.kind, Kind::Count | Kind::Number | Kind::Quantity(_))
    }

    /// A value of this key, in SI, as it is shown in messages.
    #[must_use]
    pub fn show(&self, si: f64) -> String {
        match self.kind {
            Kind::Quantity(dimension) => dimension.show(si),
            Kind::Flag => (si != 0.0).to_string(),
            Kind::Choice(words) => words.get(si as usize).copied().unwrap_or("").to_owned(),
            _ => super::units::plain(si),
        }
    }

    /// Whether the key has a meaning for a site: the assumed force area has none beside a measured one, nor the other
    /// way round.
    #[must_use]
    pub fn applies(&self, site: &Site) -> bool {
        let measured = site.bag.force_area.is_measured();
        if ASSUMED_AREA.contains(&self.dotted) {
            !measured
        } else if self.dotted == "unknown.area" {
            measured
        } else if self.dotted == "bag.leak_coefficient" {
            site.bag.settled_pressure_pa.is_none()
        } else if PARTS_BESIDE.contains(&self.dotted) {
            // A part that nobody fitted is no assumption.
            false
        } else if self.dotted == "watch.relay_time" {
            site.watch.permit_readback
        } else if self.dotted == "session.length" {
            site.watch.battery_full_v.is_some()
        } else {
            true
        }
    }

    /// Its value in a site, in SI (a flag as 0 or 1, a word by its place); `None` where the site has none, and for
    /// texts and lists.
    #[must_use]
    pub fn get(&self, site: &Site) -> Option<f64> {
        (self.get)(site)
    }

    /// The key that stands where this one is left out.
    pub(super) fn stands_for(&self) -> Option<&'static str> {
        if let Preset::Of(other) = self.preset { Some(other) } else { None }
    }

    /// A nameless key, to check an element of a list with.
    pub(super) fn element(dimension: Dimension, low: f64, high: f64) -> Self {
        key("", Kind::Quantity(dimension), Preset::Required, (low, high), "", NONE)
    }

    pub(super) fn put(&self, site: &mut Site, si: f64) {
        (self.set)(site, si);
    }
}

/// The tables, in the order of the file, with their meaning.
pub const TABLES: &[(&str, &str)] = &[
    ("site", "the place and its air"),
    ("rider", "who rides, and on what"),
    ("roll_in", "the ride down to the foot of the take-off"),
    ("takeoff", "the take-off: a circular arc, level at its foot"),
    ("bag", "the landing bag"),
    ("unknown", "how little is known of the bag: standard deviations of the natural logarithm, assumed"),
    ("blower", "the air supply"),
    ("watch", "the pressure-watching box"),
    ("session", "how riders follow each other"),
    ("wind", "the wind to plan for"),
    ("spread", "standard deviations, assumed until they are fitted, and the sampling"),
    ("anchors", "how the bag is held down"),
    ("ground", "the ground it all stands on, as it is: measured with a tape, and a level or a hose of water"),
];

/// The key of a dotted name.
#[must_use]
pub fn find_key(dotted: &str) -> Option<&'static Key> {
    index_of(dotted).and_then(|i| KEYS.get(i))
}

pub(super) fn index_of(dotted: &str) -> Option<usize> {
    static INDEX: LazyLock<HashMap<&str, usize>> =
        LazyLock::new(|| KEYS.iter().enumerate().map(|(i, k)| (k.dotted, i)).collect());
    INDEX.get(dotted).copied()
}

/// What may be fitted to a box, and is not unless it is stated.
const PARTS_BESIDE: [&str; 4] =
    ["watch.second_sensor", "watch.permit_pulses", "watch.permit_readback", "watch.blower_sense"];

/// The defaults that are one number, in SI, in the order of [`KEYS`].
pub(super) fn presets() -> &'static [Option<f64>] {
    static PRESETS: LazyLock<Vec<Option<f64>>> = LazyLock::new(|| KEYS.iter().map(preset_value).collect());
    &PRESETS
}

fn preset_value(key: &Key) -> Option<f64> {
    let Preset::Is(text) = key.preset else { return None };
    match key.kind {
        Kind::Choice(words) => words.iter().position(|word| *word == text).map(|place| place as f64),
        Kind::Quantity(dimension) => parse_quantity(text, dimension).ok().map(|q| q.si),
        Kind::Flag => text.parse().ok().map(|yes: bool| f64::from(u8::from(yes))),
        _ => text.parse().ok(),
    }
}

/// The nearest of some names to a mistyped one, if any is near enough to have been meant.
#[must_use]
pub fn nearest<'a>(typed: &str, names: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let plain = |text: &str| text.to_lowercase().replace(['-', ' '], "_");
    let typed = plain(typed);
    names
        .into_iter()
        .map(|name| (strsim::jaro_winkler(&typed, &plain(name)), strsim::osa_distance(&typed, &plain(name)), name))
        .filter(|(likeness, distance, name)| *likeness > 0.86 || *distance <= 1 + name.len() / 4)
        .min_by(|a, b| a.1.cmp(&b.1).then(b.0.total_cmp(&a.0)))
        .map(|(_, _, name)| name)
}

type Access = (fn(&Site) -> Option<f64>, fn(&mut Site, f64));

const fn key(
    dotted: &'static str,
    kind: Kind,
    preset: Preset,
    range: (f64, f64),
    help: &'static str,
    access: Access,
) -> Key {
    Key { dotted, kind, preset, low: range.0, high: range.1, help, get: access.0, set: access.1 }
}

/// A field that is always there.
macro_rules! num {
    ($table:ident . $field:ident) => {
        (|s| Some(s.$table.$field), |s, v| s.$table.$field = v)
    };
}
/// A field that may be missing.
macro_rules! opt {
    ($table:ident . $field:ident) => {
        (|s| s.$table.$field, |s, v| s.$table.$field = Some(v))
    };
}
/// A whole number; its range keeps the conversions exact.
macro_rules! int {
    ($table:ident . $field:ident, $of:ty) => {
        (|s| Some(s.$table.$field as f64), |s, v| s.$table.$field = v as $of)
    };
}
/// A flag, as 0 or 1.
macro_rules! flag {
    ($table:ident . $field:ident) => {
        (|s| Some(f64::from(u8::from(s.$table.$field))), |s, v| s.$table.$field = v != 0.0)
    };
}
/// A field of the simple form of a roll-in.
macro_rules! simple {
    ($field:ident) => {
        (
            |s| if let RollInKind::Simple { $field, .. } = s.roll_in.kind { Some($field) } else { None },
            |s, v| {
                if let RollInKind::Simple { $field, .. } = &mut s.roll_in.kind {
                    *$field = v;
                }
            },
        )
    };
}

/// A word of a few.
macro_rules! word {
    ($table:ident . $field:ident, $of:ident) => {
        (|s| Some(s.$table.$field.index()), |s, v| s.$table.$field = $of::at(v))
    };
}
/// A number of the assumed force area.
macro_rules! assumed {
    ($field:ident) => {
        (
            |s| if let ForceAreaStated::Assumed { $field, .. } = s.bag.force_area { Some($field) } else { None },
            |s, v| {
                if let ForceAreaStated::Assumed { $field, .. } = &mut s.bag.force_area {
                    *$field = v;
                }
            },
        )
    };
}

/// The keys that have no meaning beside measured knots.
pub const ASSUMED_AREA: [&str; 6] = [
    "bag.area_body",
    "bag.area_growth",
    "bag.area_limit",
    "unknown.area_body",
    "unknown.area_growth",
    "unknown.area_limit",
];

/// Texts and lists are no numbers: the reader places them itself.
const NONE: Access = (|_| None, |_, _| {});
const ANY: (f64, f64) = (f64::MIN, f64::MAX);
const YES_NO: (f64, f64) = (0.0, 1.0);
/// With an sd of 1.5 one bag in twenty is nineteen times the other way or more: then nothing is known.
const UNKNOWN: (f64, f64) = (0.0, 1.5);
const DEG: f64 = std::f64::consts::PI / 180.0;
/// The largest whole number up to which `f64` has them all.
const EXACT: f64 = 9_007_199_254_740_992.0;

const LENGTH: Kind = Kind::Quantity(Dimension::Length);
const AREA: Kind = Kind::Quantity(Dimension::Area);
const VOLUME: Kind = Kind::Quantity(Dimension::Volume);
const SPEED: Kind = Kind::Quantity(Dimension::Speed);
const MASS: Kind = Kind::Quantity(Dimension::Mass);
const FORCE: Kind = Kind::Quantity(Dimension::Force);
const ANGLE: Kind = Kind::Quantity(Dimension::Angle);
const TEMPERATURE: Kind = Kind::Quantity(Dimension::Temperature);
const PRESSURE: Kind = Kind::Quantity(Dimension::Pressure);
const TIME: Kind = Kind::Quantity(Dimension::Time);
const VOLTAGE: Kind = Kind::Quantity(Dimension::Voltage);

use Kind::{Choice, Count, Curve, Flag, Knots, Number, Obstacles, Sections, Text};
use Preset::{Absent, From, Is, Of, Required};

const SIMPLE: Preset = Absent("needed unless roll_in.section is given");
const TWO_OF_THREE: Preset = Absent("two of height, radius and lip_angle are needed");

/// Every key of the site file, in the order of the file. The ranges are judgements (*assumed*): wide enough for
/// any set-up that is built, narrow enough to refuse a slipped digit or a wrong unit, and inside what the core takes.
#[rustfmt::skip]
pub static KEYS: &[Key] = &[
    key("site.name", Text, Required, ANY, "shown on every output", NONE),
    key("site.altitude", LENGTH, Is("0 m"), (-450.0, 5500.0), "above sea level", num!(site.altitude_m)),
    key("site.air_temperature", TEMPERATURE, Is("15 degC"), (233.15, 328.15), "of the outside air", num!(site.air_temperature_k)),
    key("site.air_pressure", PRESSURE, From("from the altitude"), (45e3, 110e3), "station pressure, if measured at the site (not reduced to sea level)", opt!(site.air_pressure_pa)),
    key("site.units", Choice(Units::WORDS), Is("metric"), ANY, "what texts, tables and drawings show: metric or imperial", word!(site.units, Units)),
    key("site.gauge", Choice(Gauge::WORDS), Is("kPa"), ANY, "unit that pressures are shown in, as the gauge on the hill reads: kPa, Pa, mbar, inH2O, mmH2O or psi", word!(site.gauge, Gauge)),

    key("rider.mass", MASS, Required, (15.0, 250.0), "mean rider with gear", num!(rider.mass_kg)),
    key("rider.lightest", MASS, Of("rider.mass"), (15.0, 250.0), "lightest who rides, with gear", num!(rider.lightest_kg)),
    key("rider.heaviest", MASS, Of("rider.mass"), (15.0, 250.0), "heaviest who rides, with gear", num!(rider.heaviest_kg)),
    key("rider.bike_mass", MASS, Is("14 kg"), (4.0, 80.0), "the bike alone", num!(rider.bike_mass_kg)),
    key("rider.lands_with_bike", Flag, Is("true"), YES_NO, "whether the mass that lands includes the bike", flag!(rider.lands_with_bike)),
    key("rider.mass_height", LENGTH, Is("1.0 m"), (0.3, 2.0), "centre of mass above the surface", num!(rider.mass_height_m)),
    key("rider.wheelbase", LENGTH, Is("1.05 m"), (0.5, 2.0), "between the axles", num!(rider.wheelbase_m)),
    key("rider.rotating_mass", MASS, Is("2.2 kg"), (0.0, 20.0), "rims and tyres of both wheels", num!(rider.rotating_mass_kg)),
    key("rider.drag_area_rolling", AREA, Is("0.45 m2"), (0.1, 2.0), "drag area CdA on the ride down", num!(rider.drag_area_rolling_m2)),
    key("rider.drag_area_flying", AREA, Is("0.60 m2"), (0.1, 2.0), "drag area CdA in the air", num!(rider.drag_area_flying_m2)),
    key("rider.pop", SPEED, Is("0 m/s"), (-3.0, 5.0), "speed added normal to the surface at the lip", num!(rider.pop_mps)),
    key("rider.carry", Number, Is("0.5"), (0.0, 1.0), "share of the wheelbase's lag that the rider makes up at the lip", num!(rider.carry)),
    key("rider.contact_height", LENGTH, Is("0.7 m"), (0.2, 2.0), "centre of mass above whatever touches the bag first", num!(rider.contact_height_m)),
    key("rider.braking", Number, Is("0.4"), (0.05, 1.5), "braking force over the load on the ground", num!(rider.braking)),
    key("rider.reaction", TIME, Is("1 s"), (0.0, 10.0), "from an alarm to the brakes", num!(rider.reaction_s)),
    key("rider.arc_load_limit", Number, Is("4"), (1.0, 20.0), "felt load in g on the ride down above which a caution is given", num!(rider.arc_load_limit)),
    key("rider.arc_load_stop", Number, Is("6"), (1.0, 20.0), "felt load in g on the ride down above which nobody rides", num!(rider.arc_load_stop)),

    key("roll_in.start_height", LENGTH, Required, (0.1, 60.0), "of the start above the take-off's foot", num!(roll_in.start_height_m)),
    key("roll_in.slope", ANGLE, SIMPLE, (DEG, 80.0 * DEG), "of the straight, down positive", simple!(slope_rad)),
    key("roll_in.bottom_radius", LENGTH, SIMPLE, (0.3, 200.0), "of the arc at the bottom of the straight", simple!(bottom_radius_m)),
    key("roll_in.flat_run", LENGTH, SIMPLE, (0.0, 200.0), "level straight before the take-off", simple!(flat_run_m)),
    key("roll_in.section", Sections, Absent("instead of slope, bottom_radius and flat_run"), ANY, "straights and arcs from the start to the take-off's foot", NONE),
    key("roll_in.push_off", SPEED, Is("0 m/s"), (0.0, 15.0), "speed at the start", num!(roll_in.push_off_mps)),
    key("roll_in.rolling_resistance", Number, Is("0.012"), (0.0, 0.2), "rolling resistance over load, Crr", num!(roll_in.rolling_resistance)),

    key("takeoff.height", LENGTH, TWO_OF_THREE, (0.1, 15.0), "of the lip above the foot", num!(takeoff.height_m)),
    key("takeoff.radius", LENGTH, TWO_OF_THREE, (0.3, 100.0), "of the arc", num!(takeoff.radius_m)),
    key("takeoff.lip_angle", ANGLE, TWO_OF_THREE, (DEG, 85.0 * DEG), "of the surface at the lip", num!(takeoff.lip_angle_rad)),
    key("takeoff.width", LENGTH, Is("2.4 m"), (0.2, 30.0), "across", num!(takeoff.width_m)),

    key("bag.length", LENGTH, Required, (1.0, 80.0), "along the flight", num!(bag.length_m)),
    key("bag.width", LENGTH, Required, (1.0, 80.0), "across the flight", num!(bag.width_m)),
    key("bag.front_height", LENGTH, Required, (0.2, 10.0), "of the top's front edge above the ground under the bag", num!(bag.front_height_m)),
    key("bag.back_height", LENGTH, Required, (0.2, 10.0), "of the top's back edge above the ground under the bag", num!(bag.back_height_m)),
    key("bag.gap", LENGTH, Absent("a plan needs it"), (0.0, 50.0), "from the lip edge to the bag's front edge, horizontal", opt!(bag.gap_m)),
    key("bag.offset", LENGTH, Is("0 m"), (-30.0, 30.0), "of the bag's centre line from the take-off's, left positive", num!(bag.offset_m)),
    key("bag.base_level", LENGTH, Is("0 m"), (-30.0, 30.0), "of the ground under the bag, from the take-off's foot", num!(bag.base_level_m)),
    key("bag.edge_front", LENGTH, Is("1 m"), (0.0, 20.0), "front margin that is no landing field", num!(bag.edge_front_m)),
    key("bag.edge_back", LENGTH, Is("1 m"), (0.0, 20.0), "back margin that is no landing field", num!(bag.edge_back_m)),
    key("bag.edge_side", LENGTH, Is("1 m"), (0.0, 20.0), "margin on each side that is no landing field", num!(bag.edge_side_m)),
    key("bag.volume", VOLUME, From("footprint times mean height"), (0.5, 20e3), "at the operating pressure", num!(bag.volume_m3)),
    key("bag.area_body", AREA, Is("0.5 m2"), (0.05, 3.0), "what a body covers of the top at once", assumed!(body_m2)),
    key("bag.area_growth", LENGTH, Is("6 m"), (0.01, 60.0), "how much wider the area that pushes back grows for each metre of depth, m2 per m", assumed!(growth_m)),
    key("bag.area_limit", AREA, Is("4 m2"), (0.1, 30.0), "the area at which it grows no more, the skin standing upright round the body", assumed!(limit_m2)),
    key("bag.area", Knots, Absent("instead of area_body, area_growth and area_limit, once it is measured"), ANY, "measured: depths and the area that pushes back at each", NONE),
    key("bag.settled_pressure", PRESSURE, Absent("instead of leak_coefficient, once it is read"), (20.0, 20e3), "what the gauge reads with the blowers on and nobody on the bag", opt!(bag.settled_pressure_pa)),
    key("bag.skin_stretch", Kind::Quantity(Dimension::Compliance), Is("3e-5 /Pa"), (0.0, 2e-4), "relative volume per pressure", num!(bag.skin_stretch_per_pa)),
    key("bag.skin_weight", Kind::Quantity(Dimension::AreaMass), Is("0.65 kg/m2"), (0.0, 10.0), "of the top skin", num!(bag.skin_weight_kgpm2)),
    key("bag.vent_area", AREA, Is("0 m2"), (0.0, 20.0), "openings that are always open", num!(bag.vent_area_m2)),
    key("bag.vent_coefficient", Number, Is("0.6"), (0.1, 1.0), "discharge coefficient of the openings", num!(bag.vent_coefficient)),
    key("bag.relief_area", AREA, Is("0 m2"), (0.0, 20.0), "relief flaps, all open", num!(bag.relief_area_m2)),
    key("bag.relief_opens", PRESSURE, Absent("needed with a relief area"), (0.0, 20e3), "where the relief flaps begin to open", opt!(bag.relief_opens_pa)),
    key("bag.relief_full", PRESSURE, Absent("needed with a relief area"), (0.0, 20e3), "where the relief flaps are all open", opt!(bag.relief_full_pa)),
    key("bag.leak_coefficient", Number, Is("0"), (0.0, 1.0), "leak in m3/s at 1 Pa", num!(bag.leak_coefficient)),
    key("bag.leak_exponent", Number, Is("0.6"), (0.5, 1.0), "leak's power of the pressure", num!(bag.leak_exponent)),
    key("bag.pressure_min", PRESSURE, Required, (20.0, 20e3), "the maker's lowest pressure", num!(bag.pressure_min_pa)),
    key("bag.pressure_max", PRESSURE, Required, (20.0, 20e3), "the maker's highest pressure", num!(bag.pressure_max_pa)),
    key("bag.skin_loss", Number, Is("0.65"), (0.0, 1.0), "share of the force that the skin does not give back", num!(bag.skin_loss)),
    key("bag.depth_limit", Number, Is("0.8"), (0.1, 1.0), "share of the thickness that a landing may use", num!(bag.depth_limit)),
    key("bag.load_limit", Number, Is("15"), (1.0, 100.0), "felt load in g of a landing above which a caution is given", num!(bag.load_limit)),
    key("bag.load_stop", Number, Is("20"), (1.0, 100.0), "felt load in g of a landing above which nobody rides", num!(bag.load_stop)),
    key("bag.stop_floor", Number, Is("0.6"), (0.0, 1.0), "share of pressure_min below which nobody rides", num!(bag.stop_floor)),
    key("bag.skin_friction", Number, Is("0.4"), (0.0, 1.5), "friction of rider and bike along the top", num!(bag.skin_friction)),
    key("bag.target_ground", Number, Is("0.001"), (1e-7, 0.5), "chance of meeting the ground in a landing to plan for", num!(bag.target_ground)),
    key("bag.target_cut", Number, Is("0.1"), (1e-7, 1.0), "the same in a landing that a power cut catches past the stop line", num!(bag.target_cut)),

    key("unknown.area_body", Number, Is("0.30"), UNKNOWN, "of bag.area_body", num!(unknown.area_body)),
    key("unknown.area_growth", Number, Is("0.40"), UNKNOWN, "of bag.area_growth", num!(unknown.area_growth)),
    key("unknown.area_limit", Number, Is("0.35"), UNKNOWN, "of bag.area_limit", num!(unknown.area_limit)),
    key("unknown.skin_stretch", Number, Is("0.42"), UNKNOWN, "of bag.skin_stretch", num!(unknown.skin_stretch)),
    key("unknown.area", Number, Is("0.15"), UNKNOWN, "of all measured areas of bag.area together", num!(unknown.area)),

    key("blower.count", Count, Is("1"), (1.0, 20.0), "equal blowers side by side", int!(blower.count, u32)),
    key("blower.curve", Curve, Required, ANY, "of one blower at full speed and 1.2 kg/m3: flow and pressure, from 0 Pa to zero flow", NONE),
    key("blower.speed", Number, Is("1.0"), (0.1, 1.5), "over full speed", num!(blower.speed)),
    key("blower.duct_loss", Number, Is("0"), (0.0, 50.0), "loss factor K of one blower's duct", num!(blower.duct_loss)),
    key("blower.duct_diameter", LENGTH, Absent("needed with a duct loss"), (0.05, 3.0), "of one blower's duct", opt!(blower.duct_diameter_m)),
    key("blower.closing_flap", Flag, Is("true"), YES_NO, "a flap closes when the blower stops", flag!(blower.closing_flap)),
    key("blower.backflow_area", AREA, Absent("needed when there is no closing flap"), (0.0, 3.0), "what one stopped blower without a flap lets back out", opt!(blower.backflow_area_m2)),

    key("watch.supply_sense", Flag, Is("true"), YES_NO, "the box senses the blowers' supply", flag!(watch.supply_sense)),
    key("watch.sensor", Choice(Sensor::WORDS), Is("bridge20"), ANY, "the box's pressure sensor: bridge10, bridge20, bridge30, thermal500 or barometers", word!(watch.sensor, Sensor)),
    key("watch.top_signal", Flag, Absent("no such board"), YES_NO, "a board with lamps at the top of the roll-in must answer the box", flag!(watch.top_signal)),
    key("watch.second_sensor", Choice(Second::WORDS), Is("none"), ANY, "a second sensor on a tube of its own: none, bridge or barometers", word!(watch.second, Second)),
    key("watch.permit_pulses", Flag, Is("false"), YES_NO, "the permit's relay hangs on a charge pump or a monostable, which the box drives by pulses", flag!(watch.permit_pulses)),
    key("watch.permit_readback", Flag, Is("false"), YES_NO, "the box reads the permit's loop back", flag!(watch.permit_readback)),
    key("watch.relay_time", TIME, Is("150 ms"), (0.05, 1.0), "in which the loop must follow the permit", num!(watch.relay_s)),
    key("watch.blower_sense", Flag, Is("false"), YES_NO, "the box senses each blower by itself, four at most", flag!(watch.blower_sense)),
    key("watch.battery_full", VOLTAGE, Absent("with it the box watches its battery"), (2.0, 18.0), "of the box's battery when it is full, on the box", opt!(watch.battery_full_v)),
    key("watch.battery_empty", VOLTAGE, Absent("needed with battery_full"), (1.0, 17.6), "at which the box may go down", opt!(watch.battery_empty_v)),
    key("watch.battery_lasts", TIME, Absent("needed with battery_full"), (1800.0, 3.6e6), "of a full battery, the box alone", opt!(watch.battery_lasts_s)),

    key("session.interval", TIME, Is("20 s"), (1.0, 3600.0), "between two riders", num!(session.interval_s)),
    key("session.length", TIME, Is("3 h"), (900.0, 172_800.0), "of a day's riding: no permit in the morning on a battery that lasts less", num!(session.length_s)),

    key("wind.along", SPEED, Is("0 m/s"), (-30.0, 30.0), "tail wind positive", num!(wind.along_mps)),
    key("wind.across", SPEED, Is("0 m/s"), (-30.0, 30.0), "from the right positive", num!(wind.across_mps)),
    key("wind.gust", SPEED, Is("3 m/s"), (0.0, 30.0), "added as tail wind for the highest start", num!(wind.gust_mps)),

    key("spread.start_height", LENGTH, Is("0.03 m"), (0.0, 5.0), "sd of the start height", num!(spread.start_height_m)),
    key("spread.push_off", SPEED, Is("0.10 m/s"), (0.0, 5.0), "sd of the push-off", num!(spread.push_off_mps)),
    key("spread.rolling_resistance", Number, Is("0.002"), (0.0, 0.1), "sd of the rolling resistance", num!(spread.rolling_resistance)),
    key("spread.drag_area_rolling", Number, Is("0.08"), (0.0, 1.0), "sd of the rolling drag area, relative", num!(spread.drag_area_rolling)),
    key("spread.drag_area_flying", Number, Is("0.15"), (0.0, 1.0), "sd of the flying drag area, relative", num!(spread.drag_area_flying)),
    key("spread.lip_speed", SPEED, Is("0.20 m/s"), (0.0, 5.0), "sd of the speed at the lip", num!(spread.lip_speed_mps)),
    key("spread.carry", Number, Is("0.15"), (0.0, 1.0), "sd of the carry", num!(spread.carry)),
    key("spread.pop", SPEED, Is("0.5 m/s"), (0.0, 5.0), "sd of the pop", num!(spread.pop_mps)),
    key("spread.yaw", ANGLE, Is("2 deg"), (0.0, 14.0 * DEG), "sd of the direction at the lip", num!(spread.yaw_rad)),
    key("spread.line", LENGTH, Is("0.20 m"), (0.0, 5.0), "sd of the line on the take-off", num!(spread.line_m)),
    key("spread.wind_along", SPEED, Is("0.5 m/s"), (0.0, 10.0), "sd of the tail wind", num!(spread.wind_along_mps)),
    key("spread.wind_across", SPEED, Is("0.5 m/s"), (0.0, 10.0), "sd of the cross wind", num!(spread.wind_across_mps)),
    key("spread.contact_height", LENGTH, Is("0.15 m"), (0.0, 1.0), "sd of the contact height", num!(spread.contact_height_m)),
    key("spread.botched", Number, Is("0.05"), (0.0, 1.0), "share of the tries that goes wrong at the take-off", num!(spread.botched)),
    key("spread.botched_factor", Number, Is("2"), (1.0, 5.0), "how many times as far carry, pop, yaw and contact height scatter in those", num!(spread.botched_factor)),
    key("spread.samples", Count, Is("100000"), (1.0, 1e9), "runs of the sampling", int!(spread.samples, u64)),
    key("spread.seed", Count, Is("1"), (0.0, EXACT), "the same seed gives the same runs", int!(spread.seed, u64)),
    key("spread.target_miss", Number, Is("0.001"), (1e-7, 0.5), "chance of missing the landing field to plan for", num!(spread.target_miss)),

    key("anchors.count", Count, Is("6"), (0.0, 1000.0), "how many there are", int!(anchors.count, u32)),
    key("anchors.capacity", FORCE, Is("1600 N"), (10.0, 1e6), "what one holds", num!(anchors.capacity_n)),
    key("anchors.side_coefficient", Number, Is("1.2"), (0.0, 5.0), "side force over dynamic pressure and side area", num!(anchors.side_coefficient)),
    key("anchors.lift_coefficient", Number, Is("0.5"), (0.0, 5.0), "lift over dynamic pressure and plan area", num!(anchors.lift_coefficient)),
    key("anchors.wind", SPEED, Is("38 km/h"), (1.0, 60.0), "highest wind to hold in", num!(anchors.wind_mps)),

    key("ground.profile", Kind::Profile, Absent("not measured: taken as level"), ANY, "distances along the line from the lip, behind it negative, and the ground's height over the take-off's foot at each", NONE),
    key("ground.width", LENGTH, Absent("not measured"), (1.0, 500.0), "of the land, across", opt!(ground.width_m)),
    key("ground.middle", LENGTH, Absent("in the middle"), (-200.0, 200.0), "of the land from the take-off's centre line, left positive", opt!(ground.middle_m)),
    key("ground.edge", LENGTH, Absent("not measured"), (0.5, 1000.0), "where the land ends ahead, from the lip", opt!(ground.edge_m)),
    key("ground.edge_behind", LENGTH, Absent("not measured"), (-1000.0, -0.5), "where the land ends behind the start, from the lip: negative", opt!(ground.edge_behind_m)),
    key("ground.obstacle", Obstacles, Absent("nothing is in the way"), ANY, "trees, poles, fences, buildings, wires: what stands or hangs near", NONE),
    key("ground.fall_zone", LENGTH, Absent("2 m is assumed"), (0.0, 30.0), "kept free of everything round the bag", opt!(ground.fall_zone_m)),
    key("ground.platform", LENGTH, Absent("2.4 m is assumed"), (0.0, 30.0), "length of the platform behind the start", opt!(ground.platform_m)),
    key("ground.clearance", LENGTH, Absent("1.5 m is assumed"), (0.0, 30.0), "wanted between riders or bag and what stands near", opt!(ground.clearance_m)),
    key("ground.wire_clearance", LENGTH, Absent("3 m is assumed; of a power line its owner says how much"), (0.0, 60.0), "wanted to what hangs", opt!(ground.wire_clearance_m)),
];

/// What a group of riders may state, as `name` and the key that it stands in place of.
#[rustfmt::skip]
pub static GROUP_KEYS: &[Key] = &[
    key("group.name", Text, Required, ANY, "what the riders are called, such as kids", NONE),
    key("group.mass", MASS, Of("rider.mass"), (15.0, 250.0), "mean rider of the group, with gear", NONE),
    key("group.lightest", MASS, Of("rider.lightest"), (15.0, 250.0), "lightest of the group, with gear", NONE),
    key("group.heaviest", MASS, Of("rider.heaviest"), (15.0, 250.0), "heaviest of the group, with gear", NONE),
    key("group.lands_with_bike", Flag, Of("rider.lands_with_bike"), YES_NO, "whether the mass that lands includes the bike", NONE),
    key("group.start_height", LENGTH, Of("roll_in.start_height"), (0.1, 60.0), "of the group's start above the take-off's foot", NONE),
    key("group.pop", SPEED, Of("rider.pop"), (-3.0, 5.0), "speed added normal to the surface at the lip", NONE),
    key("group.lip_speed_sd", SPEED, Of("spread.lip_speed"), (0.0, 5.0), "sd of the speed at the lip", NONE),
    key("group.pop_sd", SPEED, Of("spread.pop"), (0.0, 5.0), "sd of the pop", NONE),
    key("group.botched", Number, Of("spread.botched"), (0.0, 1.0), "share of the tries that goes wrong at the take-off", NONE),
];

/// Most groups that a file may have: one card has room for them.
pub const MOST_GROUPS: usize = 8;
