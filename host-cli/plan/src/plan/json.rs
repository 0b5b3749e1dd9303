//! Results as JSON: what every command and the page print.

use serde::Serialize;
use serde_json::Value;

/// The shortest number that is the same single-precision one where it is one, else the same double, for programs.
#[must_use]
pub fn exact(value: f64) -> f64 {
    let single = value as f32;
    if f64::from(single) == value { single.to_string().parse().unwrap_or(value) } else { value }
}

/// A value whose numbers are as short as they can be without being others.
///
/// # Errors
/// What serde says of a value that JSON has no form for.
pub fn value(value: &impl Serialize) -> serde_json::Result<Value> {
    let mut value = serde_json::to_value(value)?;
    shorten(&mut value);
    Ok(value)
}

/// The same as it is printed.
///
/// # Errors
/// As [`value`].
pub fn text(of: &impl Serialize) -> serde_json::Result<String> {
    Ok(serde_json::to_string_pretty(&value(of)?)? + "\n")
}

fn shorten(value: &mut Value) {
    match value {
        Value::Number(number) if number.is_f64() => {
            if let Some(f) = number.as_f64() {
                *value = Value::from(exact(f));
            }
        }
        Value::Array(list) => list.iter_mut().for_each(shorten),
        Value::Object(map) => map.values_mut().for_each(shorten),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_keep_what_they_are() {
        assert_eq!(exact(f64::from(0.1_f32)), 0.1);
        assert_eq!(exact(0.1), 0.1);
        assert_eq!(exact(1.0 / 3.0), 1.0 / 3.0);
    }
}
