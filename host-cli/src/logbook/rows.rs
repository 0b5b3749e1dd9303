//! A text as rows: comma-separated values with a first line of names, or JSON.

use serde_json::{Map, Value};

/// Every row as a JSON object; the values of a CSV stay texts, as they were written.
///
/// JSON is a list (each element a row), or one object (one row). Lines of a CSV that begin with `#` are passed over.
///
/// # Errors
/// What is wrong, with its line.
pub fn parse(text: &str) -> Result<Vec<Value>, String> {
    let text = text.trim_start_matches('\u{feff}');
    let rows = match text.trim_start().chars().next() {
        None => return Err("is empty".to_owned()),
        Some('[' | '{') => match serde_json::from_str(text).map_err(|error| error.to_string())? {
            Value::Array(list) => list,
            other => vec![other],
        },
        Some(_) => of_csv(text)?,
    };
    if rows.is_empty() { Err("has no rows".to_owned()) } else { Ok(rows) }
}

fn of_csv(text: &str) -> Result<Vec<Value>, String> {
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).comment(Some(b'#')).from_reader(text.as_bytes());
    let names = reader.headers().map_err(|error| error.to_string())?.clone();
    for (i, name) in names.iter().enumerate() {
        if name.is_empty() {
            return Err(format!("column {} has no name in the first line", i + 1));
        }
        if names.iter().skip(i + 1).any(|other| other == name) {
            return Err(format!("two columns are named {name:?}"));
        }
    }
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| error.to_string())?;
        let fields: Map<String, Value> =
            names.iter().zip(&record).map(|(name, value)| (name.to_owned(), Value::from(value))).collect();
        rows.push(Value::Object(fields));
    }
    Ok(rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_forms_are_rows_and_faults_are_told() {
        let rows = parse("\u{feff}# a day\nrun, lip_mps\n1, 7.9\n2,\"8,0\"\n").unwrap();
        assert_eq!(rows[1].to_string(), r#"{"run":"2","lip_mps":"8,0"}"#);
        assert_eq!(parse(r#"[{"record": 1}, {"record": 2}]"#).unwrap().len(), 2);
        assert_eq!(parse(r#"{"a": 1}"#).unwrap().len(), 1);
        for (text, words) in [
            ("", "empty"),
            ("a,b\n", "no rows"),
            ("a,a\n1,2\n", "two columns"),
            ("a,\n1,2\n", "no name"),
            ("a,b\n1,2,3\n", "line: 2"),
            ("[1,", "EOF"),
            ("[]", "no rows"),
        ] {
            let fault = parse(text).unwrap_err();
            assert!(fault.contains(words), "{text:?}: {fault}");
        }
    }
}
