//! Findings in plain words.

use super::results::{Finding, Results};
use crate::site::Site;

/// The findings of a plan.
pub fn findings(_site: &Site, _results: &Results) -> Vec<Finding> {
    Vec::new()
}
