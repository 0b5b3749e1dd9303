//! A text as rows: comma-separated values with a first line of names, or JSON.

use serde_json::{Map, Value};

use landfall_plan::outside;
use landfall_tables::{chain, torn};

/// Every row as a JSON object; the values of a CSV stay texts, as they were written.
///
/// A last line that was torn is left out ([`torn::mended`] says so). Characters that act on a terminal are refused.
/// JSON is a list (each element a row), or one object (one row). Lines of a CSV that begin with `#` are passed over. The
/// record of a session must hold together; each of its lines is a row.
///
/// # Errors
/// What is wrong, with its line.
pub fn parse(text: &str) -> Result<Vec<Value>, String> {
    let text = text.trim_start_matches('\u{feff}');
    let rows = match text.trim_start().chars().next() {
        _ if chain::is_one(text.as_bytes()) => match chain::verify(text.as_bytes()) {
            Ok(whole) => whole.said,
            Err(broken) => return Err(format!("{broken}. It is not as it was written, and is not kept")),
        },
        None => return Err("is empty".to_owned()),
        Some('[' | '{') => match serde_json::from_str(text).map_err(|error| error.to_string())? {
            Value::Array(list) => list,
            other => vec![other],
        },
        Some(_) => of_csv(torn::mended(text).text)?,
    };
    for (number, row) in (1..).zip(&rows) {
        if let Some(c) = acting(row) {
            return Err(format!("row {number} holds the control character {}; take it out", c.escape_unicode()));
        }
    }
    if rows.is_empty() { Err("has no rows".to_owned()) } else { Ok(rows) }
}

/// A character in the row's texts that acts on a terminal; line breaks and tabs within a text are none.
fn acting(value: &Value) -> Option<char> {
    let in_text = |text: &str| text.chars().find(|c| outside::acts(*c) && !matches!(c, '\n' | '\r' | '\t'));
    match value {
        Value::String(text) => in_text(text),
        Value::Array(list) => list.iter().find_map(acting),
        Value::Object(fields) => fields.iter().find_map(|(name, value)| in_text(name).or_else(|| acting(value))),
        _ => None,
    }
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
        // Torn by a power cut: the row that is not whole is left out.
        assert_eq!(parse("time_s,gauge_pa\n0,1\n0.02,2\n0.04").unwrap().len(), 2);
        assert_eq!(parse("run,lip_mps\n1,7\n2,\"8").unwrap().len(), 1);
        for (text, words) in [
            ("", "empty"),
            ("a,b\n", "no rows"),
            ("a,a\n1,2\n", "two columns"),
            ("a,\n1,2\n", "no name"),
            ("a,b\n1,2,3\n", "line: 2"),
            ("[1,", "EOF"),
            ("[]", "no rows"),
            ("a,b\n1,x\u{1b}[2J\n", "row 1 holds the control character \\u{1b}"),
            (r#"[{"a": 1}, {"a": ["x\u202ey"]}]"#, "row 2 holds the control character \\u{202e}"),
        ] {
            let fault = parse(text).unwrap_err();
            assert!(fault.contains(words), "{text:?}: {fault}");
        }
    }
}
