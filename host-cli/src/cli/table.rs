//! Tables and numbers as they are printed.

use landfall_plan::outside;
pub(crate) use landfall_plan::plan::json::exact;
use serde_json::Value;

/// Up to six significant digits, for people.
pub(crate) fn short(value: f64) -> String {
    if value.is_finite() { landfall_plan::site::plain(value) } else { String::new() }
}

/// A result as a cell: numbers through `number`, nothing for null.
pub(crate) fn cell(value: &Value, number: impl Fn(f64) -> String) -> String {
    match value {
        Value::Null => String::new(),
        Value::Bool(yes) => yes.to_string(),
        Value::String(text) => text.clone(),
        Value::Number(n) => match n.as_f64() {
            Some(f) if n.is_f64() => number(f),
            _ => n.to_string(),
        },
        Value::Array(_) | Value::Object(_) => value.to_string(),
    }
}

/// A line of right-aligned cells; an empty one is a dash.
pub(crate) fn line<S: AsRef<str>>(cells: &[S], widths: &[usize]) -> String {
    let mut out = String::new();
    for (i, (cell, width)) in cells.iter().zip(widths).enumerate() {
        let cell = if cell.as_ref().is_empty() { "-" } else { cell.as_ref() };
        let gap = if i == 0 { "" } else { "  " };
        out.push_str(&format!("{gap}{cell:>width$}"));
    }
    out.push('\n');
    out
}

/// Lines of comma-separated values; a text that a spreadsheet would compute is marked as a text.
pub(crate) fn csv<S: AsRef<str>>(rows: &[Vec<S>]) -> anyhow::Result<String> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    for row in rows {
        writer.write_record(row.iter().map(|cell| outside::cell(cell.as_ref()).into_owned()))?;
    }
    let bytes = writer.into_inner().map_err(|error| anyhow::anyhow!("{error}"))?;
    Ok(String::from_utf8(bytes)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short() {
        assert_eq!(short(2.0 / 3.0), "0.666667");
    }

    #[test]
    fn cells_are_aligned_and_quoted() {
        assert_eq!(line(&["a", ""], &[3, 4]), "  a     -\n");
        assert_eq!(csv(&[vec!["a,b", "c"], vec!["", "\"d\""]]).unwrap(), "\"a,b\",c\n,\"\"\"d\"\"\"\n");
        assert_eq!(csv(&[vec!["=1+1", "-2.5", "-x"]]).unwrap(), "'=1+1,-2.5,'-x\n");
    }
}
