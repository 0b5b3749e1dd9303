//! The ground to read, and as tables of comma-separated values.

use super::Look;
use super::cures::{Tried, moved_m};
use super::said::place;
use crate::lines::{paragraph, table};
use crate::plan::words::{list, load, number, seconds};
use crate::shown::{Shown, Toward};
use crate::site::Dimension;
use landfall_ground::area::polygon_m2;
use landfall_ground::earth::Pad;
use landfall_ground::set_out::WEAK_RAD;

/// Clearances that are told at the most.
const MOST_TOLD: usize = 12;

/// The tables that there are.
pub const TABLES: [&str; 3] = ["set-out", "supports", "clearances"];

fn near(u: Shown, m: f64) -> String {
    u.length(m, Toward::Nearest)
}

/// A place along the line in words.
fn along(u: Shown, x_m: f64) -> String {
    if x_m < 0.0 { format!("{} behind the lip", near(u, -x_m)) } else { format!("{} ahead of the lip", near(u, x_m)) }
}

/// A height over the foot in words.
fn level(u: Shown, z_m: f64) -> String {
    let said = near(u, z_m.abs());
    match z_m {
        z if z.abs() < 0.005 => "level with the take-off's foot".to_owned(),
        z if z > 0.0 => format!("{said} above the take-off's foot"),
        _ => format!("{said} below the take-off's foot"),
    }
}

/// The whole answer.
#[must_use]
pub fn text(look: &Look, tried: &[Tried]) -> String {
    let mut out = format!("{}: the ground it stands on\n", look.site);
    if look.ground.profile.is_none() {
        out.push('\n');
        paragraph(
            &mut out,
            "  ",
            "No heights of the ground are stated, so it is taken as level. A tape and a hose of water measure them: \
             ground.profile.",
        );
    }
    room(&mut out, look);
    cures(&mut out, look, tried);
    built(&mut out, look);
    earth(&mut out, look);
    clearances(&mut out, look);
    tapes(&mut out, look);
    out.push_str("\nAssumed\n");
    for words in &look.assumed {
        paragraph(&mut out, "  ", &format!("- {words}"));
    }
    paragraph(
        &mut out,
        "  ",
        "- what was measured along the line holds all across; nothing is known of the soil, of roots and of cables in it. Ask \
         before digging.",
    );
    out
}

fn room(out: &mut String, look: &Look) {
    let (u, fit) = (look.shown, &look.fit);
    out.push_str("\nRoom\n");
    paragraph(
        out,
        "  ",
        &format!(
            "Along it takes {}: from the platform's back, {}, to the end of the run-out, {}.",
            near(u, fit.length_m),
            along(u, fit.from_m),
            along(u, fit.to_m)
        ),
    );
    paragraph(
        out,
        "  ",
        &format!(
            "Across it takes {}: {} to the right of the take-off's middle and {} to the left, the ground kept free round the \
             bag among it.",
            near(u, fit.across_m.1 - fit.across_m.0),
            near(u, -fit.across_m.0),
            near(u, fit.across_m.1)
        ),
    );
    let missing = fit.missing();
    if missing.is_empty() {
        let known: Vec<String> = [
            (fit.missing_behind_m, "behind the platform"),
            (fit.missing_ahead_m, "at the end of the run-out"),
            (fit.missing_right_m, "on the right"),
            (fit.missing_left_m, "on the left"),
        ]
        .iter()
        .filter_map(|(m, place)| Some(format!("{} {place}", u.length(-(*m)?, Toward::Down))))
        .collect();
        if !known.is_empty() {
            paragraph(out, "  ", &format!("It fits. To spare: {}.", list(&known)));
        }
    }
    for (side, missing_m) in &missing {
        paragraph(out, "  ", &format!("{} are missing {}.", u.length(*missing_m, Toward::Up), place(*side)));
    }
    let unknown: Vec<&str> = [
        (fit.missing_behind_m.is_none(), "ground.edge_behind"),
        (fit.missing_ahead_m.is_none(), "ground.edge"),
        (fit.missing_left_m.is_none(), "ground.width"),
    ]
    .iter()
    .filter_map(|(unknown, key)| unknown.then_some(*key))
    .collect();
    if !unknown.is_empty() {
        paragraph(out, "  ", &format!("Not looked at, since not stated: {}.", unknown.join(", ")));
    }
    if look.run_out_m > 0.0 {
        paragraph(
            out,
            "  ",
            &format!(
                "Whoever comes off the bag's back fastest comes to rest {} behind it.",
                u.length(look.run_out_m, Toward::Up)
            ),
        );
    }
    if let Some(past_m) = fit.run_out_past_edge_m.filter(|m| *m > 0.0) {
        paragraph(out, "  ", &format!("That is {} past the edge of the land.", u.length(past_m, Toward::Up)));
    }
    for (from, to) in &fit.unmeasured_m {
        paragraph(
            out,
            "  ",
            &format!(
                "Nobody measured the ground from {} to {}; it is taken to go on level.",
                along(u, *from),
                along(u, *to)
            ),
        );
    }
}

fn cures(out: &mut String, look: &Look, tried: &[Tried]) {
    let u = look.shown;
    let moved = moved_m(&look.fit);
    if tried.is_empty() && moved.is_none() {
        return;
    }
    out.push_str("\nTried\n");
    if let Some(m) = moved {
        let way = if m > 0.0 { "forward" } else { "back" };
        paragraph(
            out,
            "  ",
            &format!("Everything {} {way}: it fits. Nothing else changes.", u.length(m.abs(), Toward::Up)),
        );
    }
    for one in tried {
        let fits = if one.still_missing_m > 1e-6 {
            format!("{} are still missing", u.length(one.still_missing_m, Toward::Up))
        } else {
            match one.moved_m {
                Some(m) if m > 0.0 => format!("it fits, all of it moved {} forward", u.length(m, Toward::Up)),
                Some(m) => format!("it fits, all of it moved {} back", u.length(-m, Toward::Up)),
                None => "it fits".to_owned(),
            }
        };
        let mut more = Vec::new();
        more.extend(one.peak_load_g.map(|g| format!("the ride loads up to {}", load(g))));
        more.extend(one.airtime_lost_s.filter(|s| s.abs() >= 0.005).map(|s| {
            if s > 0.0 {
                format!("{} of air time are lost", seconds(s))
            } else {
                format!("{} of air time are won", seconds(-s))
            }
        }));
        more.push(match one.stops {
            None => "there is no plan of it".to_owned(),
            Some(0) => "every limit of its plan is kept".to_owned(),
            Some(n) => {
                let noun = if n == 1 { "stop" } else { "stops" };
                format!("its plan has {n} {noun}, the site's own {}", one.stops_before)
            }
        });
        paragraph(out, "  ", &format!("{}: {fits}; {}.", capital(&one.change), list(&more)));
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + letters.as_str())
}

fn built(out: &mut String, look: &Look) {
    let u = look.shown;
    out.push_str("\nPlatform and roll-in over the ground\n");
    let back = look.layout.back_x_m();
    match &look.steps {
        Some(steps) => paragraph(
            out,
            "  ",
            &format!(
                "The platform lies {} over the ground behind it, {}: {} steps of {}.",
                near(u, steps.climb_m),
                along(u, back),
                steps.count,
                u.small(steps.rise_m, Toward::Nearest)
            ),
        ),
        None => paragraph(out, "  ", "The platform lies no higher than the ground behind it: no steps are needed."),
    }
    let unit = u.unit(Dimension::Length);
    let mut rows = vec![vec!["from the lip".to_owned(), "surface".to_owned(), "ground".to_owned(), "legs".to_owned()]];
    let cell = |m: f64| number(u.value(Dimension::Length, m), 2);
    for s in &look.supports {
        let legs = if s.height_m < -0.005 { format!("dig {}", cell(-s.height_m)) } else { cell(s.height_m) };
        rows.push(vec![cell(s.x_m), cell(s.surface_m), cell(s.ground_m), legs]);
    }
    table(out, 1, &rows);
    paragraph(
        out,
        "  ",
        &format!(
            "In {unit}; heights over the take-off's foot, legs from the ground to the ridden surface. What the deck and its \
             joists take off is in landfall ramp."
        ),
    );
}

fn moved(u: Shown, pad: &Pad) -> String {
    format!(
        "{} to dig away and {} to bring in",
        u.volume(pad.earth.cut_m3, Toward::Up),
        u.volume(pad.earth.fill_m3, Toward::Up)
    )
}

fn earth(out: &mut String, look: &Look) {
    let u = look.shown;
    out.push_str("\nEarth\n");
    if look.ground.profile.is_some() {
        paragraph(out, "  ", &format!("Take-off, level at its foot: {}.", moved(u, &look.takeoff_earth)));
        paragraph(
            out,
            "  ",
            &format!("Bag, {}, as stated: {}.", level(u, look.bag_earth.level_m), moved(u, &look.bag_earth)),
        );
        paragraph(
            out,
            "  ",
            &format!("Least digging, {}: {}.", level(u, look.bag_least.level_m), moved(u, &look.bag_least)),
        );
        paragraph(
            out,
            "  ",
            &format!("Nothing to cart, {}: {}.", level(u, look.bag_balanced.level_m), moved(u, &look.bag_balanced)),
        );
        paragraph(
            out,
            "  ",
            "Volumes are of earth in place, by the prismoidal rule; dug earth takes up about a quarter more. Another level is \
             bag.base_level, and the flight then ends elsewhere: plan it again.",
        );
    }
    let water = &look.water;
    if water.depth_m > 0.005 {
        let way = if water.leaves_forward { "ahead of" } else { "behind" };
        paragraph(
            out,
            "  ",
            &format!(
                "Water stands {} deep under the bag before it runs off {way} it; a ditch that deep leads it off.",
                u.small(water.depth_m, Toward::Up)
            ),
        );
    } else {
        paragraph(out, "  ", "Water runs off from under the bag by itself, as far as the ground along the line tells.");
    }
    if look.ground.profile.is_some() {
        paragraph(
            out,
            "  ",
            &format!(
                "The lowest place of the ground under it is {}, {}.",
                along(u, water.low_x_m),
                level(u, water.low_z_m)
            ),
        );
    }
    let bag = look.layout.outlines().into_iter().find(|(name, _)| *name == "bag");
    if let Some((_, corners)) = bag {
        paragraph(out, "  ", &format!("The bag covers {}.", u.area(polygon_m2(&corners), Toward::Nearest)));
    }
}

fn clearances(out: &mut String, look: &Look) {
    let u = look.shown;
    if look.clearances.is_empty() {
        return;
    }
    out.push_str("\nWhat is near\n");
    for c in look.clearances.iter().take(MOST_TOLD) {
        let at = along(u, c.at_x_m);
        let said = if c.distance_m <= 1e-6 {
            format!("{} is in the way of {}, {at}.", c.obstacle, c.body)
        } else if c.missing_m > 1e-6 {
            format!(
                "{} comes within {} of {}, {at}: {} are missing of {}.",
                c.obstacle,
                u.length(c.distance_m, Toward::Down),
                c.body,
                u.length(c.missing_m, Toward::Up),
                near(u, c.wanted_m)
            )
        } else {
            format!("{} stays {} off {}, {at}.", c.obstacle, u.length(c.distance_m, Toward::Down), c.body)
        };
        paragraph(out, "  ", &said);
    }
    if look.clearances.len() > MOST_TOLD {
        paragraph(
            out,
            "  ",
            &format!("{} more, all farther off: --table clearances.", look.clearances.len() - MOST_TOLD),
        );
    }
}

fn tapes(out: &mut String, look: &Look) {
    let u = look.shown;
    out.push_str("\nTo set out with two tapes, held level\n");
    let peg = |name: &str, (x, y): (f64, f64)| {
        format!(
            "Peg {name}: {}, {} to the {} of the take-off's middle line.",
            along(u, x),
            near(u, y.abs()),
            if y < 0.0 { "right" } else { "left" }
        )
    };
    paragraph(out, "  ", &peg("A", look.pegs_m[0]));
    paragraph(out, "  ", &peg("B", look.pegs_m[1]));
    let mut rows = vec![["corner", "", "from A", "from B"].map(str::to_owned).to_vec()];
    for (i, tape) in look.tapes.iter().enumerate() {
        let weak = tape.angle_rad < WEAK_RAD || tape.angle_rad > std::f64::consts::PI - WEAK_RAD;
        let mut row =
            vec![format!("{} {}", tape.of, tape.corner), (i + 1).to_string(), near(u, tape.a_m), near(u, tape.b_m)];
        if weak {
            row.push(format!(
                "weak: a tape {} off moves it {}",
                u.small(0.01, Toward::Nearest),
                u.small(tape.error_m, Toward::Up)
            ));
        }
        rows.push(row);
    }
    table(out, 1, &rows);
    paragraph(
        out,
        "  ",
        "Numbers are those of the plan view: landfall ground --report. Check both diagonals of the bag before it is filled.",
    );
}

/// One table as rows of cells, the first with the names; `None` for a name that is none of [`TABLES`].
#[must_use]
pub fn csv(look: &Look, table: &str) -> Option<Vec<Vec<String>>> {
    let six = |m: f64| format!("{m:.6}");
    let head = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>();
    let mut rows = Vec::new();
    match table {
        "set-out" => {
            rows.push(head(&[
                "number",
                "of",
                "corner",
                "along_m",
                "across_m",
                "from_a_m",
                "from_b_m",
                "angle_deg",
                "error_m",
            ]));
            rows.extend(look.tapes.iter().enumerate().map(|(i, t)| {
                vec![
                    (i + 1).to_string(),
                    t.of.to_owned(),
                    t.corner.to_owned(),
                    six(t.place_m.0),
                    six(t.place_m.1),
                    six(t.a_m),
                    six(t.b_m),
                    six(t.angle_rad.to_degrees()),
                    six(t.error_m),
                ]
            }));
        }
        "supports" => {
            rows.push(head(&["along_m", "surface_m", "ground_m", "height_m"]));
            rows.extend(look.supports.iter().map(|s| [s.x_m, s.surface_m, s.ground_m, s.height_m].map(six).to_vec()));
        }
        "clearances" => {
            rows.push(head(&["obstacle", "hangs", "body", "distance_m", "along_m", "wanted_m", "missing_m"]));
            rows.extend(look.clearances.iter().map(|c| {
                vec![
                    c.obstacle.clone(),
                    c.hangs.to_string(),
                    c.body.to_owned(),
                    six(c.distance_m),
                    six(c.at_x_m),
                    six(c.wanted_m),
                    six(c.missing_m),
                ]
            }));
        }
        _ => return None,
    }
    Some(rows)
}
