//! The chain of sections of a roll-in: slopes filled in, joints, end and drop checked.

use super::fault::Complaint;
use super::keys::find_key;
use super::model::Section;
use super::ranges::show;

/// Most sections of a roll-in, as the core takes them.
pub const MAX_SECTIONS: usize = landfall_core::path::MAX_SECTIONS;
/// Shortest straight of a roll-in, as the core takes it.
pub(super) const SHORTEST_STRAIGHT_M: f64 = 0.0101;
/// Longest straight of a roll-in (assumed: nobody builds a longer one).
pub(super) const LONGEST_STRAIGHT_M: f64 = 500.0;
/// Largest kink between two sections, and at the end against level, in degrees.
const KINK_DEG: f64 = 0.1;
/// How well the sections must make the stated start height.
const DROP_TOLERANCE_M: f64 = 0.01;
/// Steepest path, up or down, in degrees.
const STEEPEST_DEG: f64 = 80.0;

/// A section as it is stated: a straight may leave its slope open.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Stated {
    Straight { length_m: f64, slope_rad: Option<f64> },
    Arc { radius_m: f64, turn_rad: f64 },
}

/// The sections with their slopes, and complaints about the chain.
pub(super) fn resolve(
    list: &[Stated],
    start_height: Option<f64>,
    mass_height: Option<f64>,
    out: &mut Vec<Complaint>,
) -> Vec<Section> {
    let before = out.len();
    let mut angle: Option<f64> = None;
    let mut drop = 0.0;
    let mut sections = Vec::with_capacity(list.len());
    for (i, stated) in list.iter().enumerate() {
        let name = format!("roll_in.section[{}]", i + 1);
        let section = match *stated {
            Stated::Straight { length_m, slope_rad } => {
                // Level until something else is stated; a joint within the tolerance keeps the angle before it.
                let slope = slope_rad.unwrap_or(-angle.unwrap_or(0.0));
                if let Some(path) = angle
                    && (path + slope).abs().to_degrees() > KINK_DEG
                {
                    out.push(kink(&name, path, slope));
                }
                Section::Straight { length_m, slope_rad: angle.map_or(slope, |path| -path) }
            }
            Stated::Arc { radius_m, turn_rad } => {
                if let Some(height) = mass_height
                    && turn_rad > 0.0
                    && radius_m <= height
                {
                    out.push(Complaint::new(
                        &name,
                        format!(
                            "the arc's radius {} is not above rider.mass_height ({})",
                            length(radius_m),
                            show("rider.mass_height", height)
                        ),
                        "check the radius and its unit: a rider's centre of mass must fit inside the arc",
                    ));
                }
                Section::Arc { radius_m, turn_rad }
            }
        };
        let path = angle.unwrap_or(0.0);
        drop += section.drop_m(path);
        let after = section.angle_after_rad(path);
        if after.abs().to_degrees() > STEEPEST_DEG + 1e-9 {
            out.push(Complaint::new(
                &name,
                format!("the path comes to {}; up to {STEEPEST_DEG} deg is taken", degrees(after)),
                "check the turn, its sign (upward positive) and its unit",
            ));
        }
        angle = Some(after);
        sections.push(section);
    }
    if out.len() == before {
        ends(&sections, angle.unwrap_or(0.0), drop, start_height, out);
    }
    sections
}

fn kink(name: &str, path: f64, slope: f64) -> Complaint {
    Complaint::new(
        name,
        format!("a kink: the section before ends {}, this straight is {}", towards(path), towards(-slope)),
        "turn the arc between them by the difference, or leave the slope out to keep the angle",
    )
}

fn ends(sections: &[Section], angle: f64, drop: f64, start_height: Option<f64>, out: &mut Vec<Complaint>) {
    let last = format!("roll_in.section[{}]", sections.len());
    if angle.abs().to_degrees() > KINK_DEG {
        out.push(Complaint::new(
            last,
            format!("the ride down ends {}; it must end level, as the take-off begins", towards(angle)),
            "add an arc, or correct the turn of the last one",
        ));
    }
    if let Some(start) = start_height
        && (start - drop).abs() > DROP_TOLERANCE_M
    {
        out.push(Complaint::new(
            "roll_in.start_height",
            format!("the sections make a drop of {}, not {}", length(drop), show("roll_in.start_height", start)),
            format!("write start_height = \"{}\", or correct a section", length(round(drop))),
        ));
    }
}

/// Lengthens or shortens the first sloping straight so that the chain drops by `change` more; says whether there
/// is such a straight and its length stays in range.
pub(super) fn deepen(list: &mut [Stated], change_m: f64) -> bool {
    let mut angle = 0.0;
    for stated in list {
        match stated {
            Stated::Straight { length_m, slope_rad } => {
                let slope = slope_rad.unwrap_or(-angle);
                if slope.abs().to_degrees() > KINK_DEG {
                    *length_m += change_m / slope.sin();
                    return (SHORTEST_STRAIGHT_M..=LONGEST_STRAIGHT_M).contains(length_m);
                }
                angle = -slope;
            }
            Stated::Arc { turn_rad, .. } => angle += *turn_rad,
        }
    }
    false
}

fn length(si: f64) -> String {
    show("roll_in.start_height", si)
}

fn degrees(si: f64) -> String {
    find_key("roll_in.slope").map_or_else(String::new, |key| key.show((si * 1e6).round() / 1e6))
}

fn towards(path: f64) -> String {
    if path.abs() < 1e-9 {
        "level".to_owned()
    } else if path < 0.0 {
        format!("{} down", degrees(-path))
    } else {
        format!("{} up", degrees(path))
    }
}

fn round(si: f64) -> f64 {
    (si * 1000.0).round() / 1000.0
}
