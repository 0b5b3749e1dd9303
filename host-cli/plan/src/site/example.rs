//! The starter file, and how it writes each key.

use std::collections::HashMap;
use std::sync::LazyLock;

use super::keys::{GROUP_KEYS, find_key};

const STARTER: &str = include_str!("starter.toml");

/// A commented site file to begin with: the required keys with an example, all others with their default, commented out.
#[must_use]
pub fn starter() -> &'static str {
    STARTER
}

/// The lines of the starter file that state or show a key, by dotted key.
fn examples() -> &'static HashMap<String, String> {
    static EXAMPLES: LazyLock<HashMap<String, String>> = LazyLock::new(|| {
        let mut table = "";
        let mut found = HashMap::new();
        for line in STARTER.lines() {
            let header = line.trim_start_matches("# ");
            if let Some(name) = header.strip_prefix('[').and_then(|l| l.strip_suffix(']')) {
                table = name.trim_matches(['[', ']']);
            } else if let Some((name, value)) = line.trim_start_matches("# ").split_once(" = ") {
                let key = format!("{table}.{}", name.trim());
                if find_key(&key).is_some() || GROUP_KEYS.iter().any(|group| group.dotted == key) {
                    let value = value.split_once("  #").map_or(value, |(value, _)| value).trim();
                    found.entry(key).or_insert_with(|| format!("{} = {value}", name.trim()));
                }
            }
        }
        found
    });
    &EXAMPLES
}

/// How a key is written, such as `mass = "78 kg"`.
pub(super) fn example(dotted: &str) -> String {
    examples().get(dotted).cloned().unwrap_or_else(|| dotted.to_owned())
}

/// Whether every key of the table is stated or shown in the starter file; for its test.
#[cfg(test)]
pub(super) fn shown_in_starter() -> Vec<&'static str> {
    super::keys::KEYS.iter().map(|k| k.dotted).filter(|d| examples().contains_key(*d)).collect()
}
