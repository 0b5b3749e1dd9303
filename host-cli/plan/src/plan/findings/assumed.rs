//! What is still assumed.

use super::Said;
use crate::plan::results::About;
use crate::plan::words::number;

pub fn say(said: &mut Said<'_>) {
    let keys = &said.r.assumed;
    if !keys.is_empty() {
        said.note(
            About::Assumed,
            "assumed",
            format!(
                "{} values of the site are assumed, not stated: measure them or state them. They are {}.",
                number(keys.len() as f64, 0),
                keys.join(", ")
            ),
        );
    }
}
