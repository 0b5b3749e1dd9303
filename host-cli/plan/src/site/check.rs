//! Ranges of single values, and the sense of their combinations.
//!
//! Every check looks only at values that are there and readable, so that one fault never hides another.

use super::chain;
use super::draft::Draft;
use super::fault::Complaint;
use super::ground;
use landfall_core::air::standard_pressure_pa;

use super::keys::{Key, Kind, find_key};
use super::model::Section;
use super::parts;
use super::units::{Dimension, plain};
use super::watched;

/// How far a station pressure may lie from the standard one of the altitude; weather moves it by up to 6 %.
const STATION_TOLERANCE: f64 = 0.08;

/// Checks one value against its key's range; `unit` is the one it was written in.
pub(super) fn range(key: &Key, si: f64, written: &str, unit: Option<&'static str>) -> Result<(), Complaint> {
    let whole = !matches!(key.kind, Kind::Count | Kind::Flag) || si.fract() == 0.0;
    if (key.low..=key.high).contains(&si) && whole {
        return Ok(());
    }
    if !si.is_finite() {
        return Err(Complaint::new(key.dotted, format!("{written} is not a number to compute with"), taken(key, unit)));
    }
    if !whole {
        let message = format!("{written} is not a whole number; {}", taken(key, unit));
        return Err(Complaint::new(key.dotted, message, "give a whole number"));
    }
    let what = if si < 0.0 && key.low >= 0.0 { "is negative" } else { "is out of range" };
    let cure = match (key.kind, unit) {
        (Kind::Quantity(dimension), Some(unit)) => match other_units(key, dimension, si, unit) {
            Some(fits) => format!("check the number and its unit: {fits} would be in range"),
            None => "check the number and its unit".to_owned(),
        },
        // A flow is what people have of a leak.
        _ if key.dotted == "bag.leak_coefficient" && si > 0.0 => format!(
            "it is the flow at 1 Pa: of a leak of {0} l/s at 1 kPa write leak_coefficient = {1} (the flow in m3/s over the pressure in Pa \
             to the power of leak_exponent, here 0.6); or state bag.settled_pressure, which a gauge reads",
            plain(si),
            plain(si * 1e-3 / 1000.0_f64.powf(0.6))
        ),
        _ => "check the number".to_owned(),
    };
    Err(Complaint::new(key.dotted, format!("{written} {what}; {}", taken(key, unit)), cure))
}

/// The range in words, also in the unit that the value was written in.
fn taken(key: &Key, unit: Option<&'static str>) -> String {
    let base = format!("{} to {} is taken", key.show(key.low), key.show(key.high));
    match (key.kind, unit) {
        (Kind::Quantity(d), Some(u)) if u != d.shown_in() && !matches!(u, "°" | "°C" | "/Pa") => {
            format!("{base} ({} to {})", d.show_in(key.low, u), d.show_in(key.high, u))
        }
        _ => base,
    }
}

/// The same number in other units of the dimension that bring it into range.
fn other_units(key: &Key, dimension: Dimension, si: f64, unit: &'static str) -> Option<String> {
    let written = dimension.units().find(|u| u.name == unit)?.from_si(si);
    let mut fits: Vec<String> = Vec::new();
    let mut factors = Vec::new();
    for u in dimension.units() {
        if u.name != unit && (key.low..=key.high).contains(&u.to_si(written)) && !factors.contains(&u.factor) {
            factors.push(u.factor);
            fits.push(format!("\"{} {}\"", plain(written), u.name));
        }
    }
    fits.truncate(2);
    (!fits.is_empty()).then(|| fits.join(" or "))
}

/// All checks of values against each other; returns the roll-in's sections with their slopes filled in.
pub(super) fn combinations(draft: &Draft, out: &mut Vec<Complaint>) -> Vec<Section> {
    place(draft, out);
    rider(draft, out);
    let sections = roll_in(draft, out);
    parts::takeoff(draft, out);
    parts::bag(draft, out);
    parts::force_area(draft, out);
    parts::openings(draft, out);
    parts::blower(draft, out);
    parts::settled(draft, out);
    watched::check(draft, out);
    ground::check(draft, out);
    sections
}

/// A value as the core takes it: what differs less than that is equal to it.
pub(super) fn single(si: f64) -> f32 {
    si as f32
}

/// A value as the messages show it.
pub(super) fn show(dotted: &str, si: f64) -> String {
    find_key(dotted).map_or_else(|| plain(si), |key| key.show(si))
}

/// Complains unless `smaller < larger` (or `<=` where they may be equal).
pub(super) fn ordered(draft: &Draft, smaller: &str, larger: &str, equal: bool, blame: &str, out: &mut Vec<Complaint>) {
    let (Some(a), Some(b)) = (draft.n(smaller), draft.n(larger)) else { return };
    if single(a) < single(b) || (equal && a == b) {
        return;
    }
    let must = if equal { "must not be more than" } else { "must be less than" };
    let (less, more) = (names(&[smaller]), names(&[larger]));
    out.push(Complaint::new(
        blame,
        format!("{less} ({}) {must} {more} ({})", show(smaller, a), show(larger, b)),
        format!("correct {less} or {more}; perhaps they are swapped"),
    ));
}

fn place(draft: &Draft, out: &mut Vec<Complaint>) {
    if !draft.is_given("site.altitude") {
        return;
    }
    let (Some(altitude), Some(pressure)) = (draft.n("site.altitude"), draft.n("site.air_pressure")) else { return };
    let standard = f64::from(standard_pressure_pa(altitude as f32));
    if (pressure / standard - 1.0).abs() > STATION_TOLERANCE {
        out.push(Complaint::new(
            "site.air_pressure",
            format!(
                "{} is too far from the standard {} of the altitude {}; was it reduced to sea level?",
                show("site.air_pressure", pressure),
                show("site.air_pressure", standard),
                show("site.altitude", altitude)
            ),
            "give the station pressure as measured at the site, or leave air_pressure out",
        ));
    }
}

fn rider(draft: &Draft, out: &mut Vec<Complaint>) {
    ordered(draft, "rider.lightest", "rider.mass", true, "rider.lightest", out);
    ordered(draft, "rider.mass", "rider.heaviest", true, "rider.heaviest", out);
    ordered(draft, "rider.arc_load_limit", "rider.arc_load_stop", true, "rider.arc_load_limit", out);
    ordered(draft, "rider.rotating_mass", "rider.bike_mass", false, "rider.rotating_mass", out);
    if let (Some(contact), Some(height)) = (draft.n("rider.contact_height"), draft.n("rider.mass_height"))
        && contact > height
    {
        out.push(Complaint::new(
            "rider.contact_height",
            format!(
                "{} is more than rider.mass_height ({}): on the wheels the centre of mass is no higher than that",
                show("rider.contact_height", contact),
                show("rider.mass_height", height)
            ),
            format!("lower contact_height to {} at most, or raise mass_height", show("rider.mass_height", height)),
        ));
    }
}

/// Shortest straight of a roll-in, as the core takes it.
pub(super) const SHORTEST_STRAIGHT_M: f64 = 0.0101;
/// Longest straight of a roll-in (assumed: nobody builds a longer one).
pub(super) const LONGEST_STRAIGHT_M: f64 = 500.0;

const SIMPLE_KEYS: [&str; 3] = ["roll_in.slope", "roll_in.bottom_radius", "roll_in.flat_run"];

fn roll_in(draft: &Draft, out: &mut Vec<Complaint>) -> Vec<Section> {
    let height = draft.n("rider.mass_height");
    let start = draft.n("roll_in.start_height");
    let stated = |dotted: &&str| draft.is_given(dotted) || draft.faulty.contains(*dotted);
    let with_sections = draft.sections.is_some() || draft.faulty.contains("roll_in.section");
    if with_sections {
        for dotted in SIMPLE_KEYS.iter().filter(|d| stated(d)) {
            out.push(Complaint::new(
                *dotted,
                "roll_in.section already describes the ride down, so this key has no meaning",
                format!("remove it, or remove roll_in.section and give {}", names(&SIMPLE_KEYS)),
            ));
        }
        return draft.sections.as_ref().map_or_else(Vec::new, |list| chain::resolve(list, start, height, out));
    }
    let missing: Vec<&str> = SIMPLE_KEYS.iter().filter(|d| !stated(d)).copied().collect();
    if missing.len() == SIMPLE_KEYS.len() {
        out.push(Complaint::new(
            "roll_in",
            "the shape of the ride down is missing",
            format!(
                "give {}, or a list of sections: section = [{{straight = \"6 m\", slope = \"30 deg\"}}, …]",
                names(&SIMPLE_KEYS)
            ),
        ));
    } else {
        for dotted in missing {
            out.push(Complaint::new(
                dotted,
                "is missing; a roll-in without a list of sections needs it",
                format!("add it under [roll_in]: {}", super::write::example(dotted)),
            ));
        }
    }
    above_mass_height("roll_in.bottom_radius", draft, out);
    if let Some(run) = draft.n("roll_in.flat_run")
        && run > 0.0
        && run < SHORTEST_STRAIGHT_M
    {
        out.push(Complaint::new(
            "roll_in.flat_run",
            format!("{} is shorter than a section can be", show("roll_in.flat_run", run)),
            "write \"0 m\" for none, or check the unit",
        ));
    }
    if let (Some(start), Some(slope), Some(radius)) =
        (start, draft.n("roll_in.slope"), draft.n("roll_in.bottom_radius"))
    {
        let arc_drop = radius * (1.0 - slope.cos());
        let straight = (start - arc_drop) / slope.sin();
        if straight < SHORTEST_STRAIGHT_M {
            out.push(Complaint::new(
                "roll_in.start_height",
                format!(
                    "{} leaves no straight: the arc of {} through {} already drops {}",
                    show("roll_in.start_height", start),
                    show("roll_in.bottom_radius", radius),
                    show("roll_in.slope", slope),
                    show("roll_in.start_height", arc_drop)
                ),
                "raise start_height, or lessen bottom_radius or slope",
            ));
        } else if straight > LONGEST_STRAIGHT_M {
            out.push(Complaint::new(
                "roll_in.slope",
                format!(
                    "{} from {} makes a straight of {}; up to {} is taken",
                    show("roll_in.slope", slope),
                    show("roll_in.start_height", start),
                    show("roll_in.start_height", straight),
                    show("roll_in.start_height", LONGEST_STRAIGHT_M)
                ),
                "check slope and start_height, and their units",
            ));
        }
    }
    Vec::new()
}

/// A concave radius must be larger than the height of the centre of mass, or the model has no answer.
pub(super) fn above_mass_height(dotted: &str, draft: &Draft, out: &mut Vec<Complaint>) {
    if let (Some(radius), Some(height)) = (draft.n(dotted), draft.n("rider.mass_height"))
        && single(radius) <= single(height)
    {
        out.push(Complaint::new(
            dotted,
            format!("{} is not above rider.mass_height ({})", show(dotted, radius), show("rider.mass_height", height)),
            "check the radius and its unit: a rider's centre of mass must fit inside the arc",
        ));
    }
}

/// The keys of a list, in words.
pub(super) fn names(dotted: &[&str]) -> String {
    let bare: Vec<&str> = dotted.iter().map(|d| d.split_once('.').map_or(*d, |(_, name)| name)).collect();
    match bare.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => bare.concat(),
    }
}
