//! The parts with a template: a panel that stands on the ground under an arc, or a rib of one depth along it.
//!
//! # Settled here
//! - **Deck**: the ridden surface keeps the take-off's radius; a panel's edge is cut to that radius and the deck's
//!   thickness, and its back stands plumb under the lip. A millimetre at the lip is tried as ±5 mm.

use super::arc::Arc;
use super::choices::{BuildError, Choices};
use super::stock::Cut;
use landfall_core::path::Path;
use landfall_core::takeoff::TakeOff;
use serde::Serialize;

/// How high above the ground a panel ends that is taken to stand on it.
const GROUND_M: f64 = 2e-3;

/// A row of the offsets table.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Offset {
    /// Horizontal, from the part's start in the direction of travel.
    pub x_m: f64,
    /// Height of the ridden surface above the take-off's foot.
    pub surface_m: f64,
    /// Height of the panel's or rib's upper edge, under the deck; null where there is none.
    pub edge_m: Option<f64>,
    /// Length along the surface from the part's start.
    pub along_m: f64,
    /// Slope of the surface, up positive.
    pub slope_deg: f64,
}

/// A joist under the deck.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Joist {
    /// From the part's higher end.
    pub number: usize,
    /// Of its middle, along the surface from the part's start.
    pub along_m: f64,
    /// Of its upper edge's middle, horizontal from the part's start.
    pub x_m: f64,
    /// Height of the same.
    pub z_m: f64,
    /// It stands upright against the panel's back, its upper edge bevelled; all others stand square to the surface.
    pub upright: bool,
    /// There is no room for its full depth above the ground: a tapered packing takes its place.
    pub packing: bool,
}

/// What stands under an arc.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A panel from the ground to the deck.
    Panel,
    /// A strip of one depth along the arc.
    Rib,
}

/// A part with a template.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Part {
    /// `take-off`, `transition-1` and so on from the start.
    pub name: String,
    /// Panel or rib.
    pub kind: Kind,
    /// The arc of the ridden surface.
    pub arc: Arc,
    /// Radius of the upper edge, under the deck.
    pub edge_radius_m: f64,
    /// How many are alike, side by side.
    pub count: usize,
    /// Horizontal length of the panel's foot, or of the surface over a rib.
    pub from_x_m: f64,
    /// Where it ends.
    pub to_x_m: f64,
    /// Height of its highest point above its lowest.
    pub height_m: f64,
    /// Upright joints between the pieces of a panel: places; across the arc of a rib: lengths along the surface.
    pub joints_m: Vec<f64>,
    /// Level joints of a panel: heights.
    pub level_joints_m: Vec<f64>,
    /// The pieces of one, as rectangles to cut them from.
    pub pieces: Vec<Cut>,
    /// The table to set it out by.
    pub offsets: Vec<Offset>,
    /// Joists.
    pub joists: Vec<Joist>,
}

/// The take-off and every arc of the roll-in, from the start.
///
/// # Errors
/// [`BuildError::Tight`] where deck and rib leave nothing of a radius that turns downward.
pub fn parts(path: &Path, takeoff: &TakeOff, takeoff_width_m: f64, choices: &Choices) -> Result<Vec<Part>, BuildError> {
    let roll_in_width_m = choices.roll_in_width_m.unwrap_or(takeoff_width_m);
    let mut list = Vec::new();
    for arc in path.segments().iter().filter_map(Arc::of_segment) {
        let name = format!("transition-{}", list.len() + 1);
        list.push(part(name, arc, roll_in_width_m, choices)?);
    }
    list.push(part("take-off".to_owned(), Arc::of_takeoff(takeoff), takeoff_width_m, choices)?);
    Ok(list)
}

fn part(name: String, arc: Arc, width_m: f64, choices: &Choices) -> Result<Part, BuildError> {
    let deck_m = choices.deck_m();
    let needed_m = deck_m + choices.rib_depth_m;
    if arc.radius_below_m(needed_m) < 0.05 {
        return Err(BuildError::Tight { part: name, radius_m: arc.radius_m, needed_m });
    }
    let (end_rad, run_m) = (arc.start_rad + arc.turn_rad, arc.run_m());
    let level_end = |angle_rad: f64, z_m: f64| angle_rad.abs() < 2e-3 && z_m.abs() < GROUND_M;
    let end_z_m = arc.at_angle_m(end_rad, 0.0)[1];
    // It stands on the ground where it turns upward and one of its ends is level at the height of the take-off's foot.
    let rises = level_end(arc.start_rad, arc.start_z_m);
    let kind = if arc.bend() > 0.0 && (rises || level_end(end_rad, end_z_m)) { Kind::Panel } else { Kind::Rib };
    let (from_x_m, to_x_m) = match kind {
        Kind::Rib => (0.0, run_m),
        Kind::Panel => {
            let foot_m = arc.x_at_height_m(0.0, deck_m, rises).unwrap_or(if rises { 0.0 } else { run_m });
            if rises { (foot_m, run_m) } else { (0.0, foot_m) }
        }
    };
    let mut part = Part {
        name,
        kind,
        arc,
        edge_radius_m: arc.radius_below_m(deck_m),
        count: choices.panels(width_m).0,
        from_x_m,
        to_x_m,
        height_m: 0.0,
        joints_m: Vec::new(),
        level_joints_m: Vec::new(),
        pieces: Vec::new(),
        offsets: offsets(&arc, (from_x_m, to_x_m), choices),
        joists: joists(&arc, kind, (from_x_m, to_x_m), choices),
    };
    match kind {
        Kind::Panel => cut_panel(&mut part, choices),
        Kind::Rib => cut_rib(&mut part, choices),
    }
    Ok(part)
}

fn offsets(arc: &Arc, (from_x_m, to_x_m): (f64, f64), choices: &Choices) -> Vec<Offset> {
    let (run_m, step_m) = (arc.run_m(), choices.offset_spacing_m);
    let whole = (run_m / step_m - 1e-9).ceil().max(1.0) as usize;
    let mut places: Vec<f64> = (0..whole).map(|i| i as f64 * step_m).collect();
    places.push(run_m);
    // The panel's foot is a place to mark.
    for end in [from_x_m, to_x_m] {
        if places.iter().all(|x| (x - end).abs() > 1e-6) {
            places.push(end);
        }
    }
    places.sort_by(f64::total_cmp);
    places
        .into_iter()
        .filter_map(|x_m| {
            let (surface_m, angle_rad) = arc.at_x_m(x_m, 0.0)?;
            let inside = x_m >= from_x_m - 1e-9 && x_m <= to_x_m + 1e-9;
            let edge_m = arc.at_x_m(x_m, choices.deck_m()).map(|(z_m, _)| z_m).filter(|_| inside);
            Some(Offset {
                x_m,
                surface_m,
                edge_m,
                along_m: arc.bend() * (angle_rad - arc.start_rad) * arc.radius_m,
                slope_deg: angle_rad.to_degrees(),
            })
        })
        .collect()
}

/// From the higher end at the spacing, the last one half a joist from the other end.
///
/// A panel's first joist stands upright against its back. Under a steep lip the panel is thin there: the next joist is
/// moved down until it clears the first.
fn joists(arc: &Arc, kind: Kind, (from_x_m, to_x_m): (f64, f64), choices: &Choices) -> Vec<Joist> {
    let length_m = arc.length_m(0.0);
    let (width_m, depth_m, deck_m) = (choices.joist_width_m, choices.joist_depth_m, choices.deck_m());
    let half_m = 0.5 * width_m;
    let from_end = arc.at_m(length_m, 0.0)[1] > arc.start_z_m;
    let along = |step_m: f64| if from_end { length_m - step_m } else { step_m };
    let mut list: Vec<Joist> = Vec::new();
    let mut next_m = half_m;
    if kind == Kind::Panel {
        let x_m = if from_end { to_x_m - half_m } else { from_x_m + half_m };
        let (z_m, angle_rad) = arc.at_x_m(x_m, deck_m).unwrap_or((0.0, 0.0));
        let along_m = arc.bend() * (angle_rad - arc.start_rad) * arc.radius_m;
        list.push(Joist { number: 1, along_m, x_m, z_m, upright: true, packing: z_m < depth_m });
        next_m = if from_end { length_m - along_m } else { along_m } + choices.joist_spacing_m;
        // How far a joist square to the surface reaches towards the back.
        let clear = |step_m: f64| {
            let angle_rad = arc.angle_rad(along(step_m));
            let [x_m, _] = arc.at_m(along(step_m), deck_m + depth_m);
            let aside_m = half_m * angle_rad.cos();
            if from_end { x_m + aside_m <= to_x_m - width_m } else { x_m - aside_m >= from_x_m + width_m }
        };
        while !clear(next_m) && next_m < length_m {
            next_m += 1e-3;
        }
    }
    let mut steps = Vec::new();
    while next_m < length_m - width_m {
        steps.push(next_m);
        next_m += choices.joist_spacing_m;
    }
    if list.is_empty() || !steps.is_empty() {
        steps.push((length_m - half_m).max(half_m));
    }
    for step_m in steps {
        let along_m = along(step_m);
        let [x_m, z_m] = arc.at_m(along_m, deck_m);
        let under_m = arc.at_m(along_m, deck_m + depth_m)[1];
        let packing = kind == Kind::Panel && under_m < 0.0;
        list.push(Joist { number: list.len() + 1, along_m, x_m, z_m, upright: false, packing });
    }
    list
}

/// Equal parts of a length, none longer than `most_m`.
fn equal_parts(length_m: f64, most_m: f64) -> usize {
    (length_m / most_m - 1e-9).ceil().max(1.0) as usize
}

/// Upright strips, and level joints where a strip is higher than a sheet; whichever way of laying the sheet takes
/// fewer pieces.
fn cut_panel(part: &mut Part, choices: &Choices) {
    let (from_m, to_m, arc) = (part.from_x_m, part.to_x_m, part.arc);
    let deck_m = choices.deck_m();
    let edge_m = |x_m: f64| arc.at_x_m(x_m, deck_m).map_or(0.0, |(z_m, _)| z_m.max(0.0));
    // The edge rises to one end: the highest of a strip is at one of its sides.
    part.height_m = edge_m(from_m).max(edge_m(to_m));
    let (long_m, short_m) = (choices.sheet_length_m, choices.sheet_width_m);
    let mut best: Option<(Vec<Cut>, Vec<f64>, Vec<f64>)> = None;
    for (across_m, up_m) in [(short_m, long_m), (long_m, short_m)] {
        let columns = equal_parts(to_m - from_m, across_m);
        let rows = equal_parts(part.height_m, up_m);
        let column_m = |i: usize| from_m + (to_m - from_m) * i as f64 / columns as f64;
        let row_m = |i: usize| part.height_m * i as f64 / rows as f64;
        let mut pieces = Vec::new();
        for column in 0..columns {
            let top_m = edge_m(column_m(column)).max(edge_m(column_m(column + 1)));
            for row in 0..rows {
                let height_m = row_m(row + 1).min(top_m) - row_m(row);
                if height_m > 1e-6 {
                    pieces.push(Cut {
                        name: format!("{} {}{}", part.name, letter(row), column + 1),
                        length_m: column_m(column + 1) - column_m(column),
                        width_m: height_m,
                        count: part.count,
                    });
                }
            }
        }
        if best.as_ref().is_none_or(|(before, ..)| pieces.len() < before.len()) {
            best = Some((pieces, (1..columns).map(column_m).collect(), (1..rows).map(row_m).collect()));
        }
    }
    (part.pieces, part.joints_m, part.level_joints_m) = best.unwrap_or_default();
}

/// Equal angles, each within a sheet when its chord is laid along the sheet.
fn cut_rib(part: &mut Part, choices: &Choices) {
    let arc = part.arc;
    let (a, b) = (arc.radius_below_m(choices.deck_m()), arc.radius_below_m(choices.deck_m() + choices.rib_depth_m));
    let (inner_m, outer_m) = (a.min(b), a.max(b));
    let turn_rad = arc.turn_rad.abs();
    let size = |pieces: usize| {
        let half_rad = 0.5 * turn_rad / pieces as f64;
        (2.0 * outer_m * half_rad.sin(), outer_m - inner_m * half_rad.cos())
    };
    let mut count = 1;
    // A piece of a hundredth of the arc is smaller than any sheet that is taken, unless the rib is deeper than it.
    while count < 100 {
        let (length_m, width_m) = size(count);
        if length_m <= choices.sheet_length_m && width_m <= choices.sheet_width_m {
            break;
        }
        count += 1;
    }
    let (length_m, width_m) = size(count);
    part.pieces = (1..=count)
        .map(|i| Cut { name: format!("{} {}{i}", part.name, letter(0)), length_m, width_m, count: part.count })
        .collect();
    part.joints_m = (1..count).map(|i| arc.length_m(0.0) * i as f64 / count as f64).collect();
    let ends = [arc.at_m(0.0, 0.0)[1], arc.at_m(arc.length_m(0.0), 0.0)[1]];
    part.height_m = (ends[0] - ends[1]).abs() + choices.rib_depth_m;
}

fn letter(row: usize) -> char {
    char::from_u32('A' as u32 + row.min(25) as u32).unwrap_or('A')
}

#[cfg(test)]
mod tests {
    use super::*;
    use landfall_core::path::Section;

    fn usual() -> Vec<Part> {
        let takeoff = TakeOff::new(8.0 * 0.3048, 15.0 * 0.3048, 1.05, 1.0).unwrap();
        let path = Path::simple(6.0, 35.0_f32.to_radians(), 6.0, 4.0, 1.0).unwrap();
        parts(&path, &takeoff, 2.4384, &Choices::default()).unwrap()
    }

    #[test]
    fn a_panel_is_its_circle_and_its_pieces_cover_it() {
        let list = usual();
        assert_eq!(list.iter().map(|p| p.name.as_str()).collect::<Vec<_>>(), ["transition-1", "take-off"]);
        for part in &list {
            assert_eq!(part.kind, Kind::Panel);
            let pieces = part.joints_m.len() + 1;
            assert_eq!(part.pieces.len(), pieces);
            let width_m: f64 = part.pieces.iter().map(|p| p.length_m).sum();
            assert!((width_m - (part.to_x_m - part.from_x_m)).abs() < 1e-9);
            assert!(part.pieces.iter().all(|p| p.count == 3 && p.length_m.max(p.width_m) <= 2.44));
        }
        // Under a take-off of 2.438 m the panel reaches 2.404 m: the deck takes 18 mm along the lip's normal, 38 mm upright.
        let takeoff = &list[1];
        let expected_m = 4.572 - (4.59_f64 * 4.59 - takeoff.to_x_m.powi(2)).sqrt();
        assert!(
            (takeoff.height_m - expected_m).abs() < 1e-6 && (takeoff.height_m - 2.3998).abs() < 1e-3,
            "{takeoff:?}"
        );
        let first = &takeoff.offsets[0];
        assert_eq!((first.x_m, first.edge_m), (0.0, None));
        let last = takeoff.offsets.last().unwrap();
        assert!((last.along_m - takeoff.arc.length_m(0.0)).abs() < 1e-9 && (last.slope_deg - 62.1819).abs() < 1e-3);
        // Every joist is on the circle under the deck; the ones at the foot have no room.
        for joist in &takeoff.joists {
            assert!((joist.x_m.hypot(4.572 - joist.z_m) - 4.59).abs() < 1e-6);
        }
        assert!(!takeoff.joists[0].packing && takeoff.joists.last().unwrap().packing);
        let gaps: Vec<f64> = takeoff.joists.windows(2).map(|w| w[0].along_m - w[1].along_m).collect();
        // The second clears the first: here 0.27 m on.
        assert!(gaps[0] > 0.2 && gaps[0] < 0.35, "{}", gaps[0]);
        assert!(gaps[1..gaps.len() - 1].iter().all(|gap| (gap - 0.2).abs() < 1e-9));
        assert!(gaps[gaps.len() - 1] <= 0.2 + 1e-9);
        // No joist reaches past the panel's back or into the first.
        for joist in takeoff.joists.iter().skip(1) {
            let (sin, cos) = takeoff.arc.angle_rad(joist.along_m).sin_cos();
            assert!(joist.x_m + 0.095 * sin + 0.0225 * cos <= takeoff.to_x_m - 0.045 + 1e-9, "{joist:?}");
        }
        assert!(takeoff.joists[0].upright && (takeoff.joists[0].x_m - (takeoff.to_x_m - 0.0225)).abs() < 1e-12);
    }

    #[test]
    fn a_crest_gets_ribs_and_a_tight_one_is_refused() {
        let deg = std::f32::consts::PI / 180.0;
        let takeoff = TakeOff::new(2.0, 5.0, 1.05, 1.0).unwrap();
        let sections = |radius_m: f32| {
            [
                Section::Arc { radius_m, turn_rad: -40.0 * deg },
                Section::Straight { length_m: 2.0, slope_rad: None },
                Section::Arc { radius_m: 6.0, turn_rad: 40.0 * deg },
            ]
        };
        let path = |radius_m: f32| {
            let drop_m = (6.0 + radius_m) * (1.0 - (40.0 * deg).cos()) + 2.0 * (40.0 * deg).sin();
            Path::from_sections(&sections(radius_m), drop_m, 1.0).unwrap()
        };
        let list = parts(&path(5.0), &takeoff, 2.4, &Choices::default()).unwrap();
        assert_eq!(list.iter().map(|p| p.kind).collect::<Vec<_>>(), [Kind::Rib, Kind::Panel, Kind::Panel]);
        assert_eq!(list[0].pieces.len(), 2);
        assert!(list[0].pieces[0].length_m <= 2.44 && list[0].pieces[0].width_m <= 1.22);
        assert!(matches!(parts(&path(0.3), &takeoff, 2.4, &Choices::default()), Err(BuildError::Tight { .. })));
        // A low sheet makes level joints.
        let low = Choices { sheet_length_m: 1.0, sheet_width_m: 1.0, ..Choices::default() };
        let list = parts(&path(5.0), &takeoff, 2.4, &low).unwrap();
        let takeoff = list.last().unwrap();
        assert_eq!(takeoff.level_joints_m.len(), 1);
        assert!(takeoff.pieces.iter().all(|p| p.length_m <= 1.0 && p.width_m <= 1.0));
    }
}
