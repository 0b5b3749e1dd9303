//! Entries listed, shown and exported; every table as rows of JSON.

use super::{Logbook, LogbookError, json_of, plan_id};
use rusqlite::types::ValueRef;
use serde_json::{Map, Value, json};

/// What can be exported.
pub const TABLES: [&str; 6] = ["plans", "checklist", "checks", "entries", "runs", "box"];

/// The columns of a table of [`TABLES`] that has no rows yet; rows of `runs` and `box` have those of their texts besides.
#[must_use]
pub fn columns(table: &str) -> &'static [&'static str] {
    match table {
        "plans" => &["plan", "added_at", "name", "program", "site_file", "site_sha256", "site_text", "results"],
        "checklist" => &["plan", "number", "what", "low", "high", "dimension", "unit"],
        "checks" => {
            &["check", "plan", "number", "what", "low", "high", "unit", "at", "who", "seen", "value", "within", "note"]
        }
        "entries" => &["entry", "added_at", "source", "plan", "file", "sha256", "note", "rows", "text"],
        "runs" | "box" => &["entry", "row"],
        _ => &[],
    }
}

/// Columns that hold JSON.
const JSON: [&str; 2] = ["results", "fields"];

impl Logbook {
    fn query(&self, sql: &str, values: &[&dyn rusqlite::ToSql]) -> Result<Vec<Map<String, Value>>, LogbookError> {
        let mut statement = self.connection.prepare(sql)?;
        let names: Vec<String> = statement.column_names().map(str::to_owned).collect();
        let mut rows = statement.query(values)?;
        let mut list = Vec::new();
        while let Some(row) = rows.next()? {
            let mut map = Map::new();
            for (i, name) in names.iter().enumerate() {
                let value = match row.get_ref(i)? {
                    ValueRef::Null | ValueRef::Blob(_) => Value::Null,
                    ValueRef::Integer(n) if name == "within" => Value::from(n != 0),
                    ValueRef::Integer(n) => Value::from(n),
                    ValueRef::Real(f) => Value::from(f),
                    ValueRef::Text(bytes) => {
                        let text = String::from_utf8_lossy(bytes);
                        if JSON.contains(&name.as_str()) { json_of(&text) } else { Value::from(text.into_owned()) }
                    }
                };
                map.insert(name.clone(), value);
            }
            list.push(map);
        }
        Ok(list)
    }

    /// A table of [`TABLES`] as rows; `None` for another name. The rows of `runs` and `box` are those of the texts that
    /// were brought in, with the number of their entry.
    ///
    /// # Errors
    /// [`LogbookError`].
    pub fn table(&self, name: &str) -> Result<Option<Vec<Map<String, Value>>>, LogbookError> {
        let rows = match name {
            "plans" => self.query(
                "SELECT id AS plan, added_at, name, program, site_file, site_sha256, site_text, results FROM plan ORDER BY id",
                &[],
            )?,
            "checklist" => self.query(
                "SELECT plan_id AS plan, number, what, low, high, dimension, unit FROM item ORDER BY plan_id, number",
                &[],
            )?,
            "checks" => self.query(
                "SELECT checked.id AS \"check\", plan_id AS plan, number, what, low, high, unit, at, who, seen, value, within, note \
                 FROM checked JOIN item ON item.id = item_id ORDER BY checked.id",
                &[],
            )?,
            "entries" => self.query(
                "SELECT id AS entry, added_at, source, plan_id AS plan, file, sha256, note, \
                 (SELECT count(*) FROM entry_row WHERE entry_id = entry.id) AS \"rows\", text FROM entry ORDER BY id",
                &[],
            )?,
            "runs" | "box" => {
                let rows = self.query(
                    "SELECT entry_id AS entry, number AS \"row\", fields FROM entry_row JOIN entry ON entry.id = entry_id \
                     WHERE source = ?1 ORDER BY entry_id, number",
                    &[&name],
                )?;
                rows.into_iter().map(flat).collect()
            }
            _ => return Ok(None),
        };
        Ok(Some(rows))
    }

    /// The checklist of a plan (by default the latest) with the last check of every item.
    ///
    /// # Errors
    /// [`LogbookError::NoEntry`] without the plan.
    pub fn checklist_of(&self, plan: Option<i64>) -> Result<(i64, Vec<Map<String, Value>>), LogbookError> {
        let plan = plan_id(&self.connection, plan)?;
        let rows = self.query(
            "SELECT number, what, low, high, dimension, unit, at, who, seen, value, within, note FROM item \
             LEFT JOIN checked ON checked.id = (SELECT max(id) FROM checked WHERE item_id = item.id) \
             WHERE plan_id = ?1 ORDER BY number",
            &[&plan],
        )?;
        Ok((plan, rows))
    }

    /// Everything as one JSON object.
    ///
    /// # Errors
    /// [`LogbookError`].
    pub fn everything(&self) -> Result<Value, LogbookError> {
        let mut all = Map::new();
        all.insert("version".to_owned(), json!(super::VERSION));
        for name in TABLES {
            all.insert(name.to_owned(), json!(self.table(name)?.unwrap_or_default()));
        }
        Ok(Value::Object(all))
    }

    /// One plan or entry, whole.
    ///
    /// # Errors
    /// [`LogbookError::NoEntry`] where there is none.
    pub fn show(&self, table: &str, id: i64) -> Result<Map<String, Value>, LogbookError> {
        let (list, key) = if table == "plan" { ("plans", "plan") } else { ("entries", "entry") };
        let rows = self.table(list)?.unwrap_or_default();
        rows.into_iter()
            .find(|row| row.get(key).and_then(Value::as_i64) == Some(id))
            .ok_or_else(|| LogbookError::NoEntry(format!("{key} {id}")))
    }
}

/// A row with the fields of its text beside its numbers.
fn flat(mut row: Map<String, Value>) -> Map<String, Value> {
    match row.remove("fields") {
        Some(Value::Object(fields)) => {
            for (name, value) in fields {
                // A column of the text may be named like one of the numbers.
                let name = if row.contains_key(&name) { format!("{name}_in_text") } else { name };
                row.insert(name, value);
            }
        }
        Some(other) => {
            row.insert("value".to_owned(), other);
        }
        None => {}
    }
    row
}

/// Rows of JSON as rows of cells under the names of all columns: those that the table always has, and then in the order
/// in which they first come.
#[must_use]
pub fn cells(table: &str, rows: &[Map<String, Value>]) -> Vec<Vec<String>> {
    let mut names: Vec<String> = columns(table).iter().map(|name| (*name).to_owned()).collect();
    for row in rows {
        for name in row.keys() {
            if !names.contains(name) {
                names.push(name.clone());
            }
        }
    }
    let cell = |value: Option<&Value>| match value {
        None | Some(Value::Null) => String::new(),
        Some(Value::String(text)) => text.clone(),
        Some(other) => other.to_string(),
    };
    let body: Vec<Vec<String>> =
        rows.iter().map(|row| names.iter().map(|name| cell(row.get(name))).collect()).collect();
    std::iter::once(names).chain(body).collect()
}
