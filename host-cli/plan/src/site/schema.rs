//! The site file as a JSON Schema (draft 2020-12), made from the table of keys.

use serde_json::{Map, Value, json};

use super::chain::MAX_SECTIONS;
use super::convert::{CURVE_POINTS, KNOTS};
use super::ground;
use super::keys::{GROUP_KEYS, KEYS, Key, Kind, MOST_GROUPS, Preset, TABLES};
use super::units::Dimension;
use super::write::preset_words;

/// The JSON Schema of the site file, for editors and for other programs that write one. It knows the shape, the
/// units and the ranges of plain numbers; ranges of quantities and combinations are checked by the reader.
#[must_use]
pub fn site_schema() -> Value {
    let mut tables = Map::new();
    for (name, meaning) in TABLES {
        tables.insert((*name).to_owned(), table(name, meaning));
    }
    tables.insert("group".to_owned(), groups());
    let required: Vec<&str> =
        TABLES.iter().map(|(name, _)| *name).filter(|name| *name == "takeoff" || keys(name).any(is_required)).collect();
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Landfall site file",
        "description": "TOML; a quantity with a dimension is a text with its unit.",
        "type": "object",
        "properties": tables,
        "required": required,
        "additionalProperties": false,
        "$defs": definitions(),
    })
}

fn keys(table: &str) -> impl Iterator<Item = &'static Key> {
    KEYS.iter().filter(move |k| k.table() == table)
}

fn is_required(key: &Key) -> bool {
    key.preset == Preset::Required
}

/// The list of riders who differ.
fn groups() -> Value {
    let properties: Map<String, Value> = GROUP_KEYS.iter().map(|key| (key.name().to_owned(), property(key))).collect();
    json!({
        "type": "array",
        "description": "riders who differ; what a group leaves out is the site's",
        "maxItems": MOST_GROUPS,
        "items": {
            "type": "object",
            "properties": properties,
            "required": ["name"],
            "additionalProperties": false,
        },
    })
}

fn table(name: &str, meaning: &str) -> Value {
    let mut properties = Map::new();
    for key in keys(name) {
        properties.insert(key.name().to_owned(), property(key));
    }
    let required: Vec<&str> = keys(name).filter(|k| is_required(k)).map(Key::name).collect();
    let mut schema = json!({
        "type": "object",
        "description": meaning,
        "properties": properties,
        "required": required,
        "additionalProperties": false,
    });
    match name {
        "takeoff" => {
            schema["anyOf"] = json!([
                {"required": ["height", "radius"]},
                {"required": ["height", "lip_angle"]},
                {"required": ["radius", "lip_angle"]},
            ]);
        }
        "roll_in" => {
            let simple = ["slope", "bottom_radius", "flat_run"];
            let none: Vec<Value> = simple.iter().map(|key| json!({"required": [key]})).collect();
            schema["oneOf"] = json!([
                {"required": simple, "not": {"required": ["section"]}},
                {"required": ["section"], "not": {"anyOf": none}},
            ]);
        }
        "bag" => {
            schema["dependentRequired"] =
                json!({"relief_opens": ["relief_area", "relief_full"], "relief_full": ["relief_area", "relief_opens"]});
            let assumed = ["area_body", "area_growth", "area_limit"].map(|key| json!({"required": [key]}));
            schema["not"] = json!({"anyOf": [
                {"required": ["area"], "anyOf": assumed},
                {"required": ["settled_pressure", "leak_coefficient"]},
            ]});
        }
        "blower" => {
            schema["dependentRequired"] = json!({"duct_diameter": ["duct_loss"]});
            schema["if"] = json!({"properties": {"closing_flap": {"const": false}}, "required": ["closing_flap"]});
            schema["then"] = json!({"required": ["backflow_area"]});
        }
        _ => {}
    }
    schema
}

fn property(key: &Key) -> Value {
    let mut schema = match key.kind {
        Kind::Text => json!({"type": "string", "minLength": 1}),
        Kind::Flag => json!({"type": "boolean"}),
        Kind::Count => json!({"type": "integer", "minimum": key.low, "maximum": key.high}),
        Kind::Number => json!({"type": "number", "minimum": key.low, "maximum": key.high}),
        Kind::Quantity(dimension) => json!({"$ref": reference(dimension)}),
        Kind::Curve => json!({
            "type": "array",
            "minItems": CURVE_POINTS.0,
            "maxItems": CURVE_POINTS.1,
            "items": {
                "type": "array",
                "prefixItems": [{"$ref": reference(Dimension::Flow)}, {"$ref": reference(Dimension::Pressure)}],
                "minItems": 2,
                "maxItems": 2,
            },
        }),
        Kind::Knots => json!({
            "type": "array",
            "minItems": KNOTS.0,
            "maxItems": KNOTS.1,
            "items": {
                "type": "array",
                "prefixItems": [{"$ref": reference(Dimension::Length)}, {"$ref": reference(Dimension::Area)}],
                "minItems": 2,
                "maxItems": 2,
            },
        }),
        Kind::Profile => ground::profile_schema(&reference(Dimension::Length)),
        Kind::Obstacles => ground::obstacle_schema(&reference(Dimension::Length)),
        Kind::Choice(words) => json!({"type": "string", "enum": words}),
        Kind::Sections => {
            json!({"type": "array", "minItems": 1, "maxItems": MAX_SECTIONS, "items": {"$ref": "#/$defs/section"}})
        }
    };
    let mut description = format!("{} ({})", key.help, preset_words(key.preset, key.kind));
    if let Kind::Quantity(_) = key.kind {
        description.push_str(&format!("; {} to {}", key.show(key.low), key.show(key.high)));
    }
    schema["description"] = json!(description);
    if let Preset::Is(text) = key.preset {
        schema["default"] = match key.kind {
            Kind::Quantity(_) | Kind::Choice(_) => json!(text),
            _ => serde_json::from_str(text).unwrap_or(Value::Null),
        };
    }
    schema
}

fn reference(dimension: Dimension) -> String {
    format!("#/$defs/{}", name(dimension))
}

fn name(dimension: Dimension) -> String {
    let words = dimension.article().split_once(' ').map_or("", |(_, words)| words);
    words.replace(' ', "_")
}

fn definitions() -> Value {
    let mut definitions = Map::new();
    for dimension in Dimension::ALL {
        definitions.insert(name(dimension), quantity(dimension));
    }
    let (length, angle) = (reference(Dimension::Length), reference(Dimension::Angle));
    definitions.insert(
        "section".to_owned(),
        json!({
            "type": "object",
            "description": "A straight (slope down positive; without slope it keeps the angle) or an arc (turn upward positive).",
            "oneOf": [
                {"properties": {"straight": {"$ref": length}, "slope": {"$ref": angle}}, "required": ["straight"], "additionalProperties": false},
                {"properties": {"arc": {"$ref": length}, "turn": {"$ref": angle}}, "required": ["arc", "turn"], "additionalProperties": false},
            ],
        }),
    );
    Value::Object(definitions)
}

/// A number, a space or none, and one of the dimension's units; feet may be followed by inches.
fn quantity(dimension: Dimension) -> Value {
    const NUMBER: &str = r"[-+−]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?( ?\d+/\d+|/\d+)?";
    let mut words: Vec<String> = dimension.units().map(|u| escape(u.name)).collect();
    // Longer names first, so that none is cut short by the start of another.
    words.sort_by_key(|word| std::cmp::Reverse(word.len()));
    let mut pattern = format!("^ *{NUMBER} *({})", words.join("|"));
    if dimension == Dimension::Length {
        pattern.push_str(&format!("( *{NUMBER} *(in|inch|inches|\"))?"));
    }
    pattern.push_str(" *$");
    let examples: Vec<String> = dimension.usual().iter().map(|unit| format!("1.5 {unit}")).collect();
    json!({
        "type": "string",
        "description": format!("{} with its unit", dimension.article()),
        "pattern": pattern,
        "examples": examples,
    })
}

/// A unit's name for the pattern; a power may be raised or not.
fn escape(unit: &str) -> String {
    let mut out = String::new();
    let mut before = ' ';
    for c in unit.chars() {
        match c {
            '2' if before != 'H' => out.push_str("[2²]"),
            '2' => out.push_str("[2₂]"),
            '3' => out.push_str("[3³]"),
            '\'' => out.push_str("['’′]"),
            '"' => out.push_str("[\"”″]"),
            '/' => out.push_str("\\/"),
            c => out.push(c),
        }
        before = c;
    }
    out
}
