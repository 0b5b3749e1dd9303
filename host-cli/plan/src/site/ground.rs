//! The lists of the table `ground`, and what makes no sense of them.

use landfall_ground::clearance::stands_in;
use landfall_ground::profile::{FEWEST, MOST};
use landfall_ground::{Profile, ProfileError};
use serde_json::{Value as Json, json};
use std::ops::Range;
use toml_edit::{Item, TableLike, Value};

use super::chain::Stated;
use super::draft::Draft;
use super::element::{Placed, Places, described, element, wrong_kind};
use super::fault::Complaint;
use super::keys::{Key, nearest};
use super::land::Obstacle;
use super::ranges::show;
use super::units::Dimension;

/// Most obstacles that a file may have.
pub(super) const MOST_OBSTACLES: usize = 40;
const PROFILE_ALONG: (f64, f64) = (-500.0, 500.0);
const PROFILE_HEIGHT: (f64, f64) = (-100.0, 100.0);
const ACROSS: (f64, f64) = (-200.0, 200.0);
const RADIUS: (f64, f64) = (0.0, 50.0);
const HEIGHT: (f64, f64) = (0.05, 200.0);
const PROFILE_CURE: &str = "write profile = [[\"-20 m\", \"1.2 m\"], [\"0 m\", \"0 m\"], [\"20 m\", \"-0.5 m\"]]: each distance from the lip \
                            (behind it negative), then the ground's height over the take-off's foot";
const OBSTACLE_CURE: &str = "write {name = \"oak\", along = \"8 m\", across = \"-6 m\", radius = \"1 m\", height = \"9 m\"}, or [[ground.obstacle]] \
                             and these keys below it";
const NAMES: [&str; 8] = ["name", "along", "across", "to_along", "to_across", "radius", "height", "hangs"];

/// Reads the profile.
pub(super) fn profile(key: &Key, value: &Value, out: &mut Vec<Placed>, places: &mut Places) -> Option<Vec<(f64, f64)>> {
    let before = out.len();
    let Some(list) = value.as_array() else {
        out.push((Complaint { cure: PROFILE_CURE.to_owned(), ..wrong_kind(key, &described(value)) }, None));
        return None;
    };
    if !(FEWEST..=MOST).contains(&list.len()) {
        let message = format!("{FEWEST} to {MOST} points are taken, not {}", list.len());
        out.push((Complaint::new(key.dotted, message, PROFILE_CURE), None));
    }
    let mut points = Vec::new();
    for (i, point) in list.iter().enumerate().take(2 * MOST) {
        let name = format!("{}[{}]", key.dotted, i + 1);
        places.push((name.clone(), point.span()));
        let pair = point.as_array().filter(|pair| pair.len() == 2).map(|pair| (pair.get(0), pair.get(1)));
        let Some((Some(along), Some(height))) = pair else {
            let message = "a pair is wanted: the distance from the lip, then the ground's height there";
            out.push((Complaint::new(name, message, PROFILE_CURE), point.span()));
            continue;
        };
        let along = element(&name, Dimension::Length, PROFILE_ALONG, along, out);
        let height = element(&name, Dimension::Length, PROFILE_HEIGHT, height, out);
        points.extend(along.zip(height));
    }
    (out.len() == before).then_some(points)
}

/// Reads the list of obstacles.
pub(super) fn obstacles(key: &Key, item: &Item, out: &mut Vec<Placed>, places: &mut Places) -> Option<Vec<Obstacle>> {
    type Listed<'a> = (Option<&'a dyn TableLike>, Option<Range<usize>>);
    let before = out.len();
    let list: Vec<Listed<'_>> = if let Some(tables) = item.as_array_of_tables() {
        tables.iter().map(|t| (Some(t as &dyn TableLike), t.span())).collect()
    } else if let Some(array) = item.as_array() {
        array.iter().map(|v| (v.as_inline_table().map(|t| t as &dyn TableLike), v.span())).collect()
    } else {
        let got = item.as_value().map_or_else(|| "a table".to_owned(), described);
        out.push((Complaint { cure: OBSTACLE_CURE.to_owned(), ..wrong_kind(key, &got) }, None));
        return None;
    };
    if list.len() > MOST_OBSTACLES {
        let message = format!("up to {MOST_OBSTACLES} obstacles are taken, not {}", list.len());
        out.push((Complaint::new(key.dotted, message, "leave out those that are far off, or join neighbours"), None));
    }
    let mut read = Vec::new();
    for (i, (table, span)) in list.into_iter().enumerate().take(MOST_OBSTACLES) {
        let name = format!("{}[{}]", key.dotted, i + 1);
        places.push((name.clone(), span.clone()));
        match table {
            Some(table) => read.extend(obstacle(&name, table, span, out)),
            None => out.push((Complaint::new(name, "an obstacle is a table", OBSTACLE_CURE), span)),
        }
    }
    (out.len() == before).then_some(read)
}

fn obstacle(place: &str, table: &dyn TableLike, span: Option<Range<usize>>, out: &mut Vec<Placed>) -> Option<Obstacle> {
    let before = out.len();
    for (word, _) in table.iter().filter(|(word, _)| !NAMES.contains(word)) {
        let open = NAMES.into_iter().filter(|name| !table.contains_key(name));
        let near = nearest(word, open).map_or_else(String::new, |near| format!("; {near:?} was perhaps meant"));
        let at = table.get_key_value(word).and_then(|(k, _)| k.span()).or_else(|| span.clone());
        let cure = format!("an obstacle may state {}", NAMES.join(", "));
        out.push((Complaint::new(format!("{place}.{word}"), format!("is unknown{near}"), cure), at));
    }
    let mut length = |word: &str, limits| {
        let value = table.get(word)?.as_value()?;
        element(&format!("{place}.{word}"), Dimension::Length, limits, value, out)
    };
    let along = length("along", PROFILE_ALONG);
    let across = length("across", ACROSS);
    let to_along = length("to_along", PROFILE_ALONG);
    let to_across = length("to_across", ACROSS);
    let radius = length("radius", RADIUS);
    let height = length("height", HEIGHT);
    let at = |word: &str| table.get(word).and_then(Item::span).or_else(|| span.clone());
    let name = match table.get("name") {
        Some(item) => match item.as_str().map(str::trim) {
            Some(name) if !name.is_empty() && name.chars().count() <= 60 && crate::outside::acting(name).is_none() => {
                Some(name.to_owned())
            }
            _ => {
                let message = "a short name on one line is wanted";
                out.push((Complaint::new(format!("{place}.name"), message, OBSTACLE_CURE), at("name")));
                None
            }
        },
        None => None,
    };
    let hangs = match table.get("hangs") {
        Some(item) => item.as_bool().or_else(|| {
            let message = "true or false is wanted";
            out.push((
                Complaint::new(format!("{place}.hangs"), message, "write hangs = true, without quotes"),
                at("hangs"),
            ));
            None
        }),
        None => Some(false),
    };
    let missing: Vec<&str> =
        ["name", "along", "across", "height"].into_iter().filter(|word| !table.contains_key(word)).collect();
    // What an unknown key was meant for is not also reported as missing.
    if !missing.is_empty() && out.len() == before {
        let message = format!(
            "{} missing",
            if missing.len() == 1 { format!("{} is", missing[0]) } else { format!("{} are", missing.join(", ")) }
        );
        out.push((Complaint::new(place, message, OBSTACLE_CURE), span.clone()));
    }
    if table.contains_key("to_along") != table.contains_key("to_across") && out.len() == before {
        let message = "to_along and to_across go together: they say where a fence or a wire ends";
        out.push((Complaint::new(place, message, "state both, or neither for what stands at one place"), span));
    }
    if out.len() > before {
        return None;
    }
    Some(Obstacle {
        name: name?,
        along_m: along?,
        across_m: across?,
        to_m: to_along.zip(to_across),
        radius_m: radius.unwrap_or(0.0),
        height_m: height?,
        hangs: hangs?,
    })
}

/// The profile goes forward, and nothing stands in the roll-in.
pub(super) fn check(draft: &Draft, out: &mut Vec<Complaint>) {
    if let Some(points) = &draft.profile {
        match Profile::new(points.clone()) {
            Err(ProfileError::FoldsBack { at, before_m, got_m }) => out.push(Complaint::new(
                format!("ground.profile[{}]", at + 1),
                format!(
                    "the profile folds back: after {} comes {}",
                    show("bag.base_level", before_m),
                    show("bag.base_level", got_m)
                ),
                "give the points from behind the start forwards, each farther than the one before; what lies behind the lip \
                 is negative, and a step in the ground is two points a centimetre apart",
            )),
            Err(error) => out.push(Complaint::new("ground.profile", error.to_string(), PROFILE_CURE)),
            Ok(_) => {}
        }
    }
    if let (Some(width), Some(middle)) = (draft.n("ground.width"), draft.n("ground.middle"))
        && middle.abs() >= width / 2.0
    {
        out.push(Complaint::new(
            "ground.middle",
            format!(
                "{} puts the take-off's centre line off the land, which is {} wide",
                show("ground.middle", middle),
                show("ground.width", width)
            ),
            "check both; the middle is that of the land from the take-off's centre line, left positive",
        ));
    }
    in_the_way(draft, out);
}

fn in_the_way(draft: &Draft, out: &mut Vec<Complaint>) {
    let Some(list) = draft.obstacles.as_ref().filter(|list| !list.is_empty()) else { return };
    let (Some(run), Some(width)) = (behind_lip_m(draft), draft.n("takeoff.width")) else { return };
    for (i, obstacle) in list.iter().enumerate() {
        if !stands_in(&obstacle.into(), (-run, 0.0), (-width / 2.0, width / 2.0)) {
            continue;
        }
        out.push(Complaint::new(
            format!("ground.obstacle[{}]", i + 1),
            format!(
                "{:?} stands in the roll-in: that lies from {} behind the lip up to the lip, {} to either side of its middle",
                obstacle.name,
                show("ground.width", (run * 100.0).round() / 100.0),
                show("ground.width", (width * 50.0).round() / 100.0)
            ),
            "check along (behind the lip negative) and across (left positive) and their units; what hangs over the roll-in \
             takes hangs = true; else the jump must be placed elsewhere",
        ));
    }
}

/// How far the start lies behind the lip, as far as the values that are there tell.
fn behind_lip_m(draft: &Draft) -> Option<f64> {
    let n = |dotted| draft.n(dotted);
    let base = n("takeoff.radius")? * n("takeoff.lip_angle")?.sin();
    let run = match &draft.sections {
        Some(list) => {
            let mut angle = match list.first() {
                Some(Stated::Straight { slope_rad: Some(slope), .. }) => -*slope,
                _ => 0.0,
            };
            let mut run = 0.0;
            for section in list {
                match *section {
                    Stated::Straight { length_m, slope_rad } => {
                        angle = slope_rad.map_or(angle, |slope| -slope);
                        run += length_m * angle.cos();
                    }
                    Stated::Arc { radius_m, turn_rad } => {
                        run += radius_m * ((angle + turn_rad).sin() - angle.sin()).abs();
                        angle += turn_rad;
                    }
                }
            }
            run
        }
        None => {
            let (slope, radius) = (n("roll_in.slope")?, n("roll_in.bottom_radius")?);
            let drop = n("roll_in.start_height")? - radius * (1.0 - slope.cos());
            n("roll_in.flat_run")? + radius * slope.sin() + drop.max(0.0) / slope.tan()
        }
    };
    let run = base + run;
    (run.is_finite() && run > 0.0).then_some(run)
}

/// The profile's shape for the schema.
pub(super) fn profile_schema(length: &str) -> Json {
    json!({
        "type": "array",
        "minItems": FEWEST,
        "maxItems": MOST,
        "items": {"type": "array", "prefixItems": [{"$ref": length}, {"$ref": length}], "minItems": 2, "maxItems": 2},
    })
}

/// The obstacles' shape for the schema.
pub(super) fn obstacle_schema(length: &str) -> Json {
    let metres = json!({"$ref": length});
    json!({
        "type": "array",
        "maxItems": MOST_OBSTACLES,
        "items": {
            "type": "object",
            "properties": {
                "name": {"type": "string", "minLength": 1, "description": "what it is called"},
                "along": metres, "across": metres, "to_along": metres, "to_across": metres,
                "radius": metres, "height": metres,
                "hangs": {"type": "boolean", "description": "it hangs, as a wire, and is free below (default false)"},
            },
            "required": ["name", "along", "across", "height"],
            "dependentRequired": {"to_along": ["to_across"], "to_across": ["to_along"]},
            "additionalProperties": false,
        },
    })
}
