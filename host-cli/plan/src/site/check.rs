//! The sense of values in combination.
//!
//! Every check looks only at values that are there and readable, so that one fault never hides another.

use super::chain::{self, LONGEST_STRAIGHT_M, SHORTEST_STRAIGHT_M};
use super::draft::Draft;
use super::fault::Complaint;
use super::ground;
use landfall_core::air::standard_pressure_pa;

use super::example::example;
use super::model::{Section, Site};
use super::order::{above_mass_height, ordered};
use super::parts;
use super::ranges::{names, show};
use super::watched;

/// How far a station pressure may lie from the standard one of the altitude; weather moves it by up to 6 %.
const STATION_TOLERANCE: f64 = 0.08;

/// The site without its groups, where it has no fault, and what is wrong with it.
pub(super) fn finish(mut draft: Draft) -> (Option<Site>, Vec<Complaint>) {
    draft.fill();
    let mut complaints = Vec::new();
    let sections = combinations(&draft, &mut complaints);
    let usable = complaints.is_empty() && draft.faulty.is_empty();
    (usable.then(|| draft.build(sections)), complaints)
}

/// All checks of values against each other; returns the roll-in's sections with their slopes filled in.
fn combinations(draft: &Draft, out: &mut Vec<Complaint>) -> Vec<Section> {
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
                format!("add it under [roll_in]: {}", example(dotted)),
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
