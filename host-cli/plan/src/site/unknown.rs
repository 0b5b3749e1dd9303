//! Names that no table and no key has, and what was perhaps meant.

use toml_edit::{Item, TableLike};

use super::fault::Complaint;
use super::keys::{KEYS, Key, TABLES, find_key, nearest};

/// The list of riders who differ.
pub(super) const GROUP: &str = "group";

/// What an unknown name was perhaps meant for.
pub(super) enum Meant {
    Table(&'static str),
    Key(&'static str),
    Groups,
}

/// The complaint about a name above every table that is no table, and what was perhaps meant.
pub(super) fn unknown_at_root(name: &str, item: &Item) -> (Complaint, Option<Meant>) {
    if let Some(key) = KEYS.iter().find(|k| k.name() == name && !item.is_table_like()) {
        let message = format!("is a key of [{}], and stands above every table here", key.table());
        let complaint = Complaint::new(name, message, format!("move it below [{}]", key.table()));
        return (complaint, Some(Meant::Key(key.dotted)));
    }
    let known = TABLES.iter().map(|(table, _)| *table).chain([GROUP]);
    let all = known.clone().collect::<Vec<_>>().join(", ");
    match table_called(name).or_else(|| nearest(name, known)) {
        Some(GROUP) => {
            let message = "is unknown; [[group]] was perhaps meant";
            let cure = format!("rename it to group, or remove it; the tables are {all}");
            (Complaint::new(name, message, cure), Some(Meant::Groups))
        }
        Some(near) => {
            let message = format!("is unknown; [{near}] was perhaps meant");
            let complaint =
                Complaint::new(name, message, format!("rename it to {near}, or remove it; the tables are {all}"));
            (complaint, Some(Meant::Table(near)))
        }
        None => (Complaint::new(name, "is unknown", format!("remove it; the tables are {all}")), None),
    }
}

/// The table that people call by another word.
fn table_called(name: &str) -> Option<&'static str> {
    const WORDS: &[(&str, &[&str])] = &[
        ("site", &["place", "location", "venue"]),
        ("rider", &["person", "athlete", "jumper"]),
        ("roll_in", &["in_run", "inrun", "run_up", "runup", "run_in", "start", "approach", "slope"]),
        ("takeoff", &["take_off", "kicker", "ramp", "jump", "lip"]),
        ("bag", &["airbag", "air_bag", "landing_bag", "landing", "mat", "cushion"]),
        ("blower", &["fan", "fans", "blowers", "air_supply", "pump", "pumps"]),
        ("watch", &["box", "alarm", "sensor", "watcher"]),
        ("anchors", &["stakes", "pegs", "straps", "ballast"]),
        ("spread", &["scatter", "sd", "uncertainty"]),
        ("ground", &["land", "terrain", "plot", "field"]),
        (GROUP, &["groups", "riders_groups", "class", "classes"]),
    ];
    let name = name.to_lowercase().replace(['-', ' '], "_");
    WORDS.iter().find(|(_, words)| words.contains(&name.as_str())).map(|(table, _)| *table)
}

/// The key that people call by another word, in the table that they wrote it in.
fn key_called(dotted: &str) -> Option<&'static str> {
    const WORDS: &[(&str, &[&str])] = &[
        ("takeoff.lip_angle", &["takeoff.angle", "takeoff.lip", "takeoff.slope"]),
        ("takeoff.height", &["takeoff.lip_height"]),
        ("rider.mass", &["rider.weight", "rider.mean_mass", "rider.average"]),
        ("rider.bike_mass", &["rider.bike", "rider.bike_weight"]),
        ("roll_in.start_height", &["roll_in.height", "roll_in.drop", "roll_in.platform"]),
        ("roll_in.slope", &["roll_in.angle", "roll_in.steepness"]),
        ("roll_in.bottom_radius", &["roll_in.radius"]),
        ("roll_in.flat_run", &["roll_in.flat", "roll_in.run"]),
        ("bag.front_height", &["bag.height", "bag.thickness"]),
        ("bag.gap", &["bag.distance"]),
        ("bag.settled_pressure", &["bag.pressure", "bag.operating_pressure", "bag.gauge"]),
        ("bag.vent_area", &["bag.vent", "bag.vents"]),
        ("bag.leak_coefficient", &["bag.leak", "bag.leakage"]),
        ("blower.count", &["blower.number", "blower.fans", "blower.blowers"]),
        ("site.air_temperature", &["site.temperature"]),
        ("site.gauge", &["site.pressure_unit", "site.pressure_units"]),
        ("anchors.count", &["anchors.number"]),
    ];
    WORDS.iter().find(|(_, words)| words.contains(&dotted)).map(|(key, _)| *key)
}

/// A key that site files had before, with what is wrong and what stands in its place.
pub(super) fn gone(dotted: &str) -> Option<Complaint> {
    let (message, cure) = match dotted {
        "bag.dish_radius" => (
            "is gone: how deep a bag gives way is no radius, but an area that grows with the depth",
            "remove it; bag.area takes measured depths and areas, and without it bag.area_body, bag.area_growth and \
             bag.area_limit are assumed",
        ),
        "bag.fitted" => (
            "is gone: a bag counts as measured where bag.area stands in the file",
            "remove it, and measure the bag: landfall bag-test writes bag.area",
        ),
        _ => return None,
    };
    Some(Complaint::new(dotted, message, cure))
}

/// The complaint, and the dotted key that was perhaps meant.
pub(super) fn unknown_in_table(table_name: &str, name: &str, table: &dyn TableLike) -> (Complaint, Option<String>) {
    unknown(table_name, name, &|key| table.contains_key(key))
}

/// The same where only is known which other keys are stated.
pub(super) fn unknown(table_name: &str, name: &str, stated: &dyn Fn(&str) -> bool) -> (Complaint, Option<String>) {
    let dotted = format!("{table_name}.{name}");
    if let Some(complaint) = gone(&dotted) {
        return (complaint, None);
    }
    let keys = || KEYS.iter().filter(|k| k.table() == table_name);
    // A key that the file already states was not meant.
    let open = keys().map(Key::name).filter(|known| !stated(known));
    if let Some(key) = KEYS.iter().find(|k| k.name() == name) {
        let message = format!("is unknown; {name} is a key of [{}]", key.table());
        let complaint = Complaint::new(dotted, message, format!("move it below [{}]", key.table()));
        return (complaint, Some(key.dotted.to_owned()));
    }
    let called = key_called(&dotted).and_then(find_key).map(Key::name);
    let called = called.filter(|known| !stated(known));
    if let Some(near) = called.or_else(|| nearest(name, open)) {
        let message = format!("is unknown; {near:?} was perhaps meant");
        return (
            Complaint::new(dotted, message, format!("rename it to {near}, or remove it")),
            Some(format!("{table_name}.{near}")),
        );
    }
    let all = keys().map(Key::name).collect::<Vec<_>>().join(", ");
    (Complaint::new(dotted, "is unknown", format!("remove it; the keys of [{table_name}] are {all}")), None)
}
