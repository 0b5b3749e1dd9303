//! The plan as rows: dotted key, value, unit.

use super::results::Results;
use crate::outside;
use serde_json::Value;

/// Every single value of the results under its dotted key, in their order; a list's entries are counted from 0.
/// Null stays null; an empty list or table has no entry.
#[must_use]
pub fn flatten(results: &Results) -> Vec<(String, Value)> {
    let mut rows = Vec::new();
    // Plain structs with text keys always serialise; were it ever otherwise, there would be no rows.
    walk(String::new(), serde_json::to_value(results).unwrap_or_default(), &mut rows);
    rows
}

fn walk(key: String, value: Value, rows: &mut Vec<(String, Value)>) {
    let below = |name: &str| if key.is_empty() { name.to_owned() } else { format!("{key}.{name}") };
    match value {
        Value::Object(table) => table.into_iter().for_each(|(name, value)| walk(below(&name), value, rows)),
        Value::Array(list) => {
            list.into_iter().enumerate().for_each(|(i, value)| walk(below(&i.to_string()), value, rows));
        }
        single => rows.push((key, single)),
    }
}

/// The endings of keys and the units that they stand for; longer ones before those that they end in.
const UNITS: [(&str, &str); 12] = [
    ("_kgpm3", "kg/m3"),
    ("_m3ps", "m3/s"),
    ("_mps", "m/s"),
    ("_deg", "deg"),
    ("_kg", "kg"),
    ("_pa", "Pa"),
    ("_m3", "m3"),
    ("_m", "m"),
    ("_s", "s"),
    ("_g", "g"),
    ("_n", "N"),
    ("skin_stretch", "1/Pa"),
];

/// The unit of a dotted key, from its last part or else from the table that it stands in; empty for a pure number or a text.
#[must_use]
pub fn unit_of(dotted_key: &str) -> &'static str {
    let ending = |part: &str| UNITS.iter().find(|(end, _)| part.ends_with(end)).map(|(_, unit)| *unit);
    dotted_key.rsplit('.').take(2).find_map(ending).unwrap_or_default()
}

/// As few digits as tell a number from its neighbours; in single precision where it came from there.
fn shortest(value: f64) -> String {
    let single = value as f32;
    if f64::from(single) == value { single.to_string() } else { value.to_string() }
}

/// The results as CSV (RFC 4180 fields, lines ended by a line feed): `key,value,unit`, one value a row; null is an empty value.
#[must_use]
pub fn csv(results: &Results) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory does not fail.
    let _ = writer.write_record(["key", "value", "unit"]);
    for (key, value) in flatten(results) {
        let unit = if value.is_string() || value.is_boolean() { "" } else { unit_of(&key) };
        let value = match value {
            Value::Null => String::new(),
            Value::String(text) => outside::cell(&text).into_owned(),
            Value::Number(number) => number.as_f64().map_or_else(|| number.to_string(), shortest),
            other => other.to_string(),
        };
        let _ = writer.write_record([key.as_str(), &value, unit]);
    }
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::super::test_plan;
    use super::*;

    #[test]
    fn keys_are_dotted_and_lists_counted() {
        let rows = flatten(&test_plan::results());
        let value = |key: &str| rows.iter().find(|(k, _)| k == key).map(|(_, v)| v.clone());
        assert_eq!(value("ride.lip_speed_mps"), Some(Value::from(8.4)));
        assert_eq!(value("ride.stall"), Some(Value::Null));
        assert_eq!(value("placement.stop_lines.1.braking"), Some(Value::from(0.4)));
        assert_eq!(value("spread.sampling.outcomes.on"), Some(Value::from(1.0)));
        assert_eq!(value("findings"), None);
    }

    #[test]
    fn units_follow_from_the_keys() {
        for (key, unit) in [
            ("ride.lip_speed_mps", "m/s"),
            ("air.density_kgpm3", "kg/m3"),
            ("air.operating_flow_m3ps", "m3/s"),
            ("touchdown.gas_lost_m3", "m3"),
            ("pressures.soft.skin_stretch", "1/Pa"),
            ("spread.differences.one_sd_along_m.pop", "m"),
            ("spread.differences.shares_along.pop", ""),
            ("placement.short_zone.0.height_at_gap_m", "m"),
            ("spread.sampling.misses", ""),
            ("placement.target_miss", ""),
            ("ride.peak_load_g", "g"),
            ("wind.lift_n", "N"),
        ] {
            assert_eq!(unit_of(key), unit, "{key}");
        }
    }

    #[test]
    fn rows_read_back_as_they_were() {
        let mut results = test_plan::results();
        results.ride.lip_angle_deg = f64::from(62.2_f32);
        results.site = "=Larch, \"the\" Hollow".into();
        let text = csv(&results);
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let rows: Vec<csv::StringRecord> = reader.records().map(|r| r.unwrap()).collect();
        assert_eq!(rows.len(), flatten(&results).len());
        // A spreadsheet shows it as a text.
        assert_eq!(&rows[0][1], "'=Larch, \"the\" Hollow");
        let stall = rows.iter().find(|r| &r[0] == "ride.stall").unwrap();
        assert_eq!(&stall[1], "");
        assert!(text.contains("ride.lip_speed_mps,8.4,m/s\nride.lip_angle_deg,62.2,deg\n"), "{text}");
        assert!(text.contains("spread.sampling.samples,100000,\n"), "{text}");
    }
}
