//! The site file's JSON Schema, held to the draft 2020-12 rules by a validator, and to the reader by site files.
#![allow(clippy::panic)] // helpers of tests

use std::path::Path;

use jsonschema::Validator;
use landfall_plan::site::{KEYS, Kind, TABLES, demo_text, read_site, site_schema, starter};
use serde_json::{Map, Value, json};

fn validator() -> Validator {
    let schema = site_schema();
    assert!(jsonschema::meta::is_valid(&schema), "no JSON Schema");
    jsonschema::draft202012::new(&schema).unwrap_or_else(|error| panic!("{error}"))
}

/// A TOML text as JSON.
fn json_of(text: &str) -> Value {
    fn item(node: &toml_edit::Item) -> Value {
        match node {
            toml_edit::Item::Table(table) => {
                table.iter().map(|(k, v)| (k.to_owned(), item(v))).collect::<Map<_, _>>().into()
            }
            toml_edit::Item::ArrayOfTables(list) => {
                list.iter().map(|t| item(&toml_edit::Item::Table(t.clone()))).collect::<Vec<_>>().into()
            }
            toml_edit::Item::Value(v) => value(v),
            toml_edit::Item::None => Value::Null,
        }
    }
    fn value(v: &toml_edit::Value) -> Value {
        match v {
            toml_edit::Value::String(s) => json!(s.value()),
            toml_edit::Value::Integer(i) => json!(i.value()),
            toml_edit::Value::Float(f) => json!(f.value()),
            toml_edit::Value::Boolean(b) => json!(b.value()),
            toml_edit::Value::Datetime(d) => json!(d.to_string()),
            toml_edit::Value::Array(a) => a.iter().map(value).collect::<Vec<_>>().into(),
            toml_edit::Value::InlineTable(t) => {
                t.iter().map(|(k, v)| (k.to_owned(), value(v))).collect::<Map<_, _>>().into()
            }
        }
    }
    let document = text.parse::<toml_edit::DocumentMut>().unwrap_or_else(|error| panic!("{error}"));
    item(document.as_item())
}

#[test]
fn the_schema_knows_every_table_and_key() {
    let schema = site_schema();
    for (table, _) in TABLES {
        let known = schema["properties"][table]["properties"].as_object().map_or(0, Map::len);
        assert_eq!(known, KEYS.iter().filter(|k| k.table() == *table).count(), "[{table}]");
    }
    for key in KEYS {
        let property = &schema["properties"][key.table()]["properties"][key.name()];
        let description = property["description"].as_str().unwrap_or("");
        assert!(description.starts_with(key.help), "{}: {description}", key.dotted);
    }
}

/// Site files that the reader takes are valid; the reference sites were written for other tests.
#[test]
fn good_files_are_valid() {
    let validator = validator();
    let mut texts = vec![("demo".to_owned(), demo_text().to_owned()), ("starter".to_owned(), starter().to_owned())];
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/sites");
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        texts.push((path.display().to_string(), std::fs::read_to_string(&path).unwrap()));
    }
    assert!(texts.len() > 30, "only {} files", texts.len());
    for (name, text) in texts {
        if let Err(faults) = read_site(&text, &name) {
            panic!("{faults}");
        }
        let errors: Vec<String> =
            validator.iter_errors(&json_of(&text)).map(|e| format!("{}: {e}", e.instance_path())).collect();
        assert!(errors.is_empty(), "{name}: {errors:#?}");
    }
}

/// Faults of shape, unit and plain range are found by the schema alone, as an editor would show them.
#[test]
fn faulty_files_are_not_valid() {
    let validator = validator();
    let cases = [
        ("mass = \"78 kg\"", "mass = 78"),
        ("mass = \"78 kg\"", "mass = \"78\""),
        ("mass = \"78 kg\"", "mass = \"78 m\""),
        ("mass = \"78 kg\"", "mas = \"78 kg\""),
        ("mass = \"78 kg\"", ""),
        ("count = 2", "count = 0"),
        ("count = 2", "count = 2.5"),
        ("closing_flap = true", "closing_flap = false"),
        ("closing_flap = true", "closing_flap = \"yes\""),
        ("radius = \"15 ft\"", ""),
        ("flat_run = \"4 m\"", ""),
        ("flat_run = \"4 m\"", "flat_run = \"4 m\"\nsection = [{straight = \"1 m\"}]"),
        ("relief_opens = \"1.5 kPa\"", ""),
        ("[\"0 m3/s\", \"1.7 kPa\"]", "[\"0 m3/s\"]"),
        ("[\"0 m3/s\", \"1.7 kPa\"]", "[\"1.7 kPa\", \"0 m3/s\"]"),
        ("[wind]", "[winds]"),
    ];
    for (good, bad) in cases {
        let text = demo_text().replacen(&format!("\n{good}"), &format!("\n{bad}"), 1);
        let text = if text == demo_text() { demo_text().replacen(good, bad, 1) } else { text };
        assert_ne!(text, demo_text(), "{good} is not in the demo");
        assert!(!validator.is_valid(&json_of(&text)), "{good} -> {bad} is valid");
        assert!(read_site(&text, "x").is_err(), "{good} -> {bad} is read");
    }
}

/// The spellings that the reader takes, the pattern takes too.
#[test]
fn spellings_are_valid() {
    let validator = validator();
    let spellings = [
        "8 ft 6 in",
        "8' 6\"",
        "8ft",
        "2.4 m",
        "2.4m",
        " 2.4 m ",
        "1/2 in",
        "8 1/2 ft",
        "240 cm",
        "+2.4 m",
        "2.4e0 m",
        "7 feet 3 inches",
    ];
    for text in spellings {
        let json = json_of(&demo_text().replacen("height = \"8 ft\"", &format!("height = '''{text}'''"), 1));
        assert!(validator.is_valid(&json), "{text}");
    }
    for (key, text) in
        [("vent_area", "100 cm²"), ("vent_area", "0.1 ft2"), ("pressure_min", "2.5 inH2O"), ("pressure_min", "0.1 psi")]
    {
        let mut json = json_of(demo_text());
        json["bag"][key] = json!(text);
        assert!(validator.is_valid(&json), "{text}");
    }
    assert!(KEYS.iter().any(|k| matches!(k.kind, Kind::Quantity(_))));
}
