//! Sense of the take-off, the bag, its openings and the air supply: values against each other.

use landfall_core::InputError;
use landfall_core::air::Air;
use landfall_core::blower::{BlowerCurve, Blowers, BlowersInput, CurvePoint};
use landfall_core::openings::{Discharge, OpeningsInput};
use landfall_core::supply::{self, Settled};

use super::draft::{CIRCLE_TOLERANCE_M, Draft};
use super::example::example;
use super::fault::Complaint;
use super::keys::{ASSUMED_AREA, find_key};
use super::order::{above_mass_height, ordered};
use super::ranges::{range, show, single};
use super::units::plain;

/// Steepest lip, in degrees: beyond it a take-off throws back.
const STEEPEST_LIP_DEG: f64 = 85.0;
/// A stated volume over footprint times mean height: what is taken (assumed; it catches a slipped digit).
const VOLUME_RATIO: (f64, f64) = (0.1, 3.0);
/// Least between the pressures where the flaps begin to open and where they are all open, as the core takes it.
const FLAPS_APART_PA: f32 = 1.0;
/// Least depth and area of a knot, m and m², as the core takes them.
const LEAST_KNOT: f32 = 0.01;

const CIRCLE_KEYS: [&str; 3] = ["takeoff.height", "takeoff.radius", "takeoff.lip_angle"];

pub(super) fn takeoff(draft: &Draft, out: &mut Vec<Complaint>) {
    let stated = CIRCLE_KEYS.iter().filter(|d| draft.is_given(d) || draft.faulty.contains(**d)).count();
    if stated < 2 {
        out.push(Complaint::new(
            "takeoff",
            "two of height, radius and lip_angle are needed to know the take-off",
            "add, for example, height = \"8 ft\" and radius = \"15 ft\"",
        ));
        return;
    }
    above_mass_height("takeoff.radius", draft, out);
    let (height, radius, lip) = (draft.n("takeoff.height"), draft.n("takeoff.radius"), draft.n("takeoff.lip_angle"));
    if let (Some(h), Some(r)) = (height, radius)
        && !(circle_closes(draft, h, r, lip, out) && derived_in_range(draft, out))
    {
        return;
    }
    if let (Some(r), Some(wheelbase), Some(lip)) = (radius, draft.n("rider.wheelbase"), lip) {
        bike_on_arc(r, wheelbase, lip, out);
    }
}

/// Height below that of the steepest lip; all three measures, where stated, agree.
fn circle_closes(draft: &Draft, h: f64, r: f64, lip: Option<f64>, out: &mut Vec<Complaint>) -> bool {
    if let (true, Some(lip)) = (CIRCLE_KEYS.iter().all(|d| draft.is_given(d)), lip) {
        let made = r * (1.0 - lip.cos());
        if (made - h).abs() > CIRCLE_TOLERANCE_M {
            out.push(Complaint::new(
                "takeoff.lip_angle",
                format!(
                    "height {}, radius {} and lip_angle {} do not agree: that radius and angle make a height of {}",
                    show("takeoff.height", h),
                    show("takeoff.radius", r),
                    show("takeoff.lip_angle", lip),
                    show("takeoff.height", made)
                ),
                "leave out the one that was measured worst; it follows from the other two",
            ));
            return false;
        }
    }
    let highest = r * (1.0 - STEEPEST_LIP_DEG.to_radians().cos());
    if single(h) < single(highest) {
        return true;
    }
    out.push(Complaint::new(
        "takeoff.height",
        format!(
            "{} on a radius of {} makes a lip of {STEEPEST_LIP_DEG} deg or more; less than {} is taken",
            show("takeoff.height", h),
            show("takeoff.radius", r),
            show("takeoff.height", highest)
        ),
        "lower the height or enlarge the radius; perhaps the two are swapped",
    ));
    false
}

/// The measure that follows from the other two must itself be in range.
fn derived_in_range(draft: &Draft, out: &mut Vec<Complaint>) -> bool {
    let before = out.len();
    for key in CIRCLE_KEYS.iter().filter(|d| !draft.is_given(d)).filter_map(|d| find_key(d)) {
        if let Some(si) = draft.n(key.dotted)
            && let Err(complaint) = range(key, si, &format!("{} (from the other two)", key.show(si)), None)
        {
            out.push(complaint);
        }
    }
    out.len() == before
}

/// A bike stands on the arc with both wheels, and its lag is less than the lip's angle.
fn bike_on_arc(radius: f64, wheelbase: f64, lip: f64, out: &mut Vec<Complaint>) {
    if single(wheelbase) >= single(radius) {
        out.push(Complaint::new(
            "takeoff.radius",
            format!(
                "{} is not above rider.wheelbase ({})",
                show("takeoff.radius", radius),
                show("rider.wheelbase", wheelbase)
            ),
            "check the radius and its unit: a bike must fit into the arc",
        ));
        return;
    }
    let lag = (wheelbase / (2.0 * radius)).asin();
    if lip <= lag {
        out.push(Complaint::new(
            "takeoff.lip_angle",
            format!(
                "{} is not above {}, by which a wheelbase of {} lags on a radius of {}",
                show("takeoff.lip_angle", lip),
                show("takeoff.lip_angle", lag),
                show("rider.wheelbase", wheelbase),
                show("takeoff.radius", radius)
            ),
            "make the take-off higher or its lip steeper",
        ));
    }
}

pub(super) fn bag(draft: &Draft, out: &mut Vec<Complaint>) {
    let n = |dotted| draft.n(dotted);
    if let (Some(length), Some(front), Some(back)) = (n("bag.length"), n("bag.edge_front"), n("bag.edge_back"))
        && single(front) + single(back) >= single(length)
    {
        out.push(Complaint::new(
            "bag.length",
            format!(
                "the margins edge_front ({}) and edge_back ({}) leave no landing field on a length of {}",
                show("bag.edge_front", front),
                show("bag.edge_back", back),
                show("bag.length", length)
            ),
            "lessen the margins, or check the length and its unit",
        ));
    }
    if let (Some(width), Some(side)) = (n("bag.width"), n("bag.edge_side"))
        && 2.0 * single(side) >= single(width)
    {
        out.push(Complaint::new(
            "bag.width",
            format!(
                "the margin edge_side ({}) on both sides leaves no landing field on a width of {}",
                show("bag.edge_side", side),
                show("bag.width", width)
            ),
            "lessen the margin, or check the width and its unit",
        ));
    }
    if let (Some(length), Some(front), Some(back)) = (n("bag.length"), n("bag.front_height"), n("bag.back_height"))
        && (back - front).abs() > length
    {
        out.push(Complaint::new(
            "bag.back_height",
            format!(
                "from {} to {} on a length of {} the top slopes more than 45 deg",
                show("bag.front_height", front),
                show("bag.back_height", back),
                show("bag.length", length)
            ),
            "check the heights and the length, and their units",
        ));
    }
    ordered(draft, "bag.pressure_min", "bag.pressure_max", false, "bag.pressure_min", out);
    ordered(draft, "bag.load_limit", "bag.load_stop", true, "bag.load_limit", out);
    volume(draft, out);
}

fn volume(draft: &Draft, out: &mut Vec<Complaint>) {
    let n = |dotted| draft.n(dotted);
    let (Some(volume), Some(length), Some(width), Some(front), Some(back)) =
        (n("bag.volume"), n("bag.length"), n("bag.width"), n("bag.front_height"), n("bag.back_height"))
    else {
        return;
    };
    let block = length * width * (front + back) / 2.0;
    let (low, high) = (VOLUME_RATIO.0 * block, VOLUME_RATIO.1 * block);
    if draft.is_given("bag.volume") && !(low..=high).contains(&volume) {
        out.push(Complaint::new(
            "bag.volume",
            format!(
                "{} does not fit the bag: footprint times mean height is {}; {} to {} is taken",
                show("bag.volume", volume),
                show("bag.volume", block),
                show("bag.volume", low),
                show("bag.volume", high)
            ),
            "check the volume and its unit, or leave it out",
        ));
    }
}

/// The force area: measured or assumed, not both; measured knots fall nowhere and lie within the bag.
pub(super) fn force_area(draft: &Draft, out: &mut Vec<Complaint>) {
    let stated = |d: &str| draft.is_given(d) || draft.faulty.contains(d);
    if stated("bag.area") {
        for dotted in ASSUMED_AREA.iter().filter(|d| stated(d)) {
            out.push(Complaint::new(
                *dotted,
                "bag.area gives the measured areas already, so this key has no meaning",
                "remove it; how well the measured areas are known is unknown.area",
            ));
        }
    } else if stated("unknown.area") {
        out.push(Complaint::new(
            "unknown.area",
            "has no meaning without measured areas in bag.area",
            "remove it; unknown.area_body, unknown.area_growth and unknown.area_limit say how little is known of an assumed bag",
        ));
    }
    if let Some(knots) = &draft.knots {
        rising(knots, draft, out);
    }
    if stated("bag.settled_pressure") && stated("bag.leak_coefficient") {
        out.push(Complaint::new(
            "bag.leak_coefficient",
            "bag.settled_pressure says already how much the bag leaks, so this key has no meaning",
            "remove it, or remove bag.settled_pressure where the leak itself was measured",
        ));
    }
}

/// A settled pressure is no more than what the blowers hold against a bag that does not leak.
pub(super) fn settled(draft: &Draft, out: &mut Vec<Complaint>) {
    let Some((most, read)) = most_and_read(draft) else { return };
    let shown = |pa: f64| show("bag.settled_pressure", (pa / 10.0).round() * 10.0);
    out.push(Complaint::new(
        "bag.settled_pressure",
        format!(
            "{} is more than the blowers can hold: without any leak this bag would settle at {}",
            show("bag.settled_pressure", read),
            shown(most)
        ),
        "zero the gauge with its hose off and read again with nobody on the bag, or check blower.curve, blower.count, \
         blower.speed and the openings",
    ));
}

/// The pressure without a leak and the one that was read, where that is too high; nothing where another fault keeps it from
/// being told.
fn most_and_read(draft: &Draft) -> Option<(f64, f64)> {
    let (read, found) = reading(draft)?;
    match found {
        Err(InputError::Order { larger_got, .. }) => Some((f64::from(larger_got / (1.0 + supply::SETTLED_OVER)), read)),
        _ => None,
    }
}

/// The leak that the settled pressure of a filled draft tells, m3/s at 1 Pa.
pub(super) fn leak_read(draft: &Draft) -> Option<f64> {
    reading(draft)?.1.ok().map(|found| f64::from(found.leak_coefficient))
}

/// The settled pressure, and what the core makes of it with these blowers and openings.
fn reading(draft: &Draft) -> Option<(f64, Result<Settled, InputError>)> {
    let n = |dotted| draft.n(dotted).map(single);
    let read = draft.n("bag.settled_pressure")?;
    let air = Air::new(n("site.altitude")?, n("site.air_temperature")?, n("site.air_pressure")).ok()?;
    let points: Vec<CurvePoint> = draft
        .curve
        .as_ref()?
        .iter()
        .map(|&(flow, pressure)| CurvePoint { flow_m3ps: single(flow), pressure_pa: single(pressure) })
        .collect();
    let input = BlowersInput {
        count: draft.n("blower.count").map(|count| count as u8)?,
        speed: n("blower.speed")?,
        duct_loss: n("blower.duct_loss")?,
        duct_diameter_m: n("blower.duct_diameter").unwrap_or(0.0),
        closing_flap: draft.n("blower.closing_flap")? != 0.0,
        backflow_area_m2: n("blower.backflow_area"),
    };
    let blowers = Blowers::new(&BlowerCurve::new(&points).ok()?, &input, &air).ok()?;
    let openings = OpeningsInput {
        vent_area_m2: n("bag.vent_area")?,
        relief_area_m2: n("bag.relief_area")?,
        relief_opens_pa: n("bag.relief_opens").unwrap_or(0.0),
        relief_full_pa: n("bag.relief_full").unwrap_or(0.0),
        leak_coefficient: 0.0,
        leak_exponent: n("bag.leak_exponent")?,
        discharge: Discharge::LowPressure { coefficient: n("bag.vent_coefficient")? },
    };
    Some((read, supply::settled(&blowers, &openings, &air, single(read))))
}

fn rising(knots: &[(f64, f64)], draft: &Draft, out: &mut Vec<Complaint>) {
    let knot = |i: usize| format!("bag.area[{}]", i + 1);
    let depth = |m: f64| show("bag.length", m);
    let area = |m2: f64| show("bag.area_body", m2);
    let high = match (draft.n("bag.front_height"), draft.n("bag.back_height")) {
        (Some(front), Some(back)) => Some(front.max(back)),
        _ => None,
    };
    let mut before = (0.0, 0.0);
    for (i, &(d, a)) in knots.iter().enumerate() {
        if single(d) < LEAST_KNOT || single(a) < LEAST_KNOT {
            out.push(Complaint::new(
                knot(i),
                format!(
                    "{} at a depth of {} says nothing: where nothing is pressed in, nothing pushes back",
                    area(a),
                    depth(d)
                ),
                "leave it out; the list begins at the first depth that was measured",
            ));
        } else if single(d) <= single(before.0) {
            out.push(Complaint::new(
                knot(i),
                format!("the depths must rise: after {} comes {}", depth(before.0), depth(d)),
                "give the knots in the order of rising depth, each depth once",
            ));
        } else if single(a) < single(before.1) {
            out.push(Complaint::new(
                knot(i),
                format!(
                    "the areas must not fall: {} at {} comes after {} at {}",
                    area(a),
                    depth(d),
                    area(before.1),
                    depth(before.0)
                ),
                "a deeper body is held by a wider crest: measure again, or give both the mean of the two",
            ));
        } else if let Some(high) = high
            && d > high
        {
            out.push(Complaint::new(
                knot(i),
                format!("a depth of {} is more than the bag is high ({})", depth(d), depth(high)),
                "check the depth and its unit; it is measured from the top down",
            ));
        }
        before = (d, a);
    }
}

pub(super) fn openings(draft: &Draft, out: &mut Vec<Complaint>) {
    let pressures = ["bag.relief_opens", "bag.relief_full"];
    let stated = |d: &str| draft.is_given(d) || draft.faulty.contains(d);
    if !stated("bag.relief_area") {
        for dotted in pressures.iter().filter(|d| stated(d)) {
            out.push(Complaint::new(
                *dotted,
                "has no meaning without a relief_area",
                "add the flaps' whole opening under [bag], such as relief_area = \"0.05 m2\", or remove this key",
            ));
        }
    } else if draft.n("bag.relief_area").is_some_and(|area| area > 0.0) {
        for dotted in pressures.iter().filter(|d| !stated(d)) {
            out.push(Complaint::new(
                *dotted,
                "is missing; a relief_area needs relief_opens and relief_full",
                format!("add it under [bag]: {}", example(dotted)),
            ));
        }
    }
    ordered(draft, "bag.relief_opens", "bag.relief_full", false, "bag.relief_opens", out);
    if let (Some(opens), Some(full)) = (draft.n("bag.relief_opens"), draft.n("bag.relief_full"))
        && opens < full
        && single(full) - single(opens) < FLAPS_APART_PA
    {
        out.push(Complaint::new(
            "bag.relief_full",
            format!(
                "{} is hardly above relief_opens ({}): at least {FLAPS_APART_PA} Pa must lie between",
                show("bag.relief_full", full),
                show("bag.relief_opens", opens)
            ),
            "give the pressure at which the flaps are all open",
        ));
    }
}

pub(super) fn blower(draft: &Draft, out: &mut Vec<Complaint>) {
    let stated = |d: &str| draft.is_given(d) || draft.faulty.contains(d);
    if draft.n("blower.duct_loss").is_some_and(|loss| loss > 0.0) && !stated("blower.duct_diameter") {
        out.push(Complaint::new(
            "blower.duct_diameter",
            "is missing; a duct_loss needs the duct's diameter",
            format!("add it under [blower]: {}", example("blower.duct_diameter")),
        ));
    }
    if stated("blower.duct_diameter") && !stated("blower.duct_loss") {
        out.push(Complaint::new(
            "blower.duct_diameter",
            "has no meaning without a duct_loss",
            "add the duct's loss factor, such as duct_loss = 1.5 (0 for none), or remove this key",
        ));
    }
    if draft.n("blower.closing_flap") == Some(0.0) && !stated("blower.backflow_area") {
        out.push(Complaint::new(
            "blower.backflow_area",
            "is missing; without a closing flap the air flows back through a stopped blower",
            format!("add it under [blower]: {}", example("blower.backflow_area")),
        ));
    }
    if let Some(curve) = &draft.curve {
        falling(curve, out);
    }
}

/// A curve begins at 0 Pa, ends at zero flow, and its flow falls strictly as the pressure rises.
fn falling(curve: &[(f64, f64)], out: &mut Vec<Complaint>) {
    let point = |i: usize| format!("blower.curve[{}]", i + 1);
    let shown = |(flow, pressure): (f64, f64)| format!("{} m3/s at {} Pa", plain(flow), plain(pressure));
    let backwards = curve.windows(2).all(|pair| match *pair {
        [a, b] => b.1 < a.1 && b.0 > a.0,
        _ => false,
    });
    let (Some(&first), Some(&last)) = (curve.first(), curve.last()) else { return };
    if backwards && curve.len() > 1 {
        out.push(Complaint::new(
            "blower.curve",
            "the points run from high to low pressure",
            "turn the list round: it begins at 0 Pa and ends at zero flow",
        ));
        return;
    }
    if first.1 != 0.0 {
        out.push(Complaint::new(
            point(0),
            format!("the first point must be at 0 Pa, the free flow; it is {}", shown(first)),
            "begin the list with the flow at 0 Pa",
        ));
    }
    if last.0 != 0.0 {
        out.push(Complaint::new(
            point(curve.len() - 1),
            format!("the last point must have zero flow, the shut-off pressure; it is {}", shown(last)),
            "end the list with the pressure at zero flow",
        ));
    }
    for (i, pair) in curve.windows(2).enumerate() {
        let &[a, b] = pair else { continue };
        if !(single(a.1) < single(b.1) && single(b.0) < single(a.0)) {
            out.push(Complaint::new(
                point(i + 1),
                format!("the curve must fall: after {} comes {}", shown(a), shown(b)),
                "give the points in the order of rising pressure, each with less flow than the one before",
            ));
        }
    }
}
