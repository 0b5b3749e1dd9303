//! What a box is told, one setting a line.

/// One setting in plain words.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Field of the settings.
    pub key: &'static str,
    /// What it is and its value.
    pub what: String,
    /// Where it comes from.
    pub why: String,
}
