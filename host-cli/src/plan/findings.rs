//! Findings in plain words: each with its level, the number behind it and what would change it.

mod air;
mod blank;
mod jump;
mod placing;
mod pressures;

use super::results::{Finding, Level, Results};
use crate::site::Site;

pub use blank::why_null;

/// The findings of a plan: stop before caution before note, and in the order of the ride within a level. They depend on
/// nothing but the site and the results (whose own `findings` are not looked at). Every null of the results has one that
/// says why, but for those of parts that were not asked for.
#[must_use]
pub fn findings(site: &Site, results: &Results) -> Vec<Finding> {
    let mut said = Said { site, r: results, list: Vec::new() };
    jump::say(&mut said);
    placing::say(&mut said);
    air::say(&mut said);
    pressures::say(&mut said);
    blank::say(&mut said);
    let mut list = said.list;
    list.sort_by_key(|finding| finding.level);
    list
}

/// Whether no finding says stop: nothing that was computed is outside a limit.
#[must_use]
pub fn inside_all_limits(findings: &[Finding]) -> bool {
    findings.iter().all(|finding| finding.level != Level::Stop)
}

/// What is said so far, and what about.
struct Said<'a> {
    site: &'a Site,
    r: &'a Results,
    list: Vec<Finding>,
}

impl Said<'_> {
    fn say(&mut self, level: Level, topic: &'static str, text: impl Into<String>) {
        self.list.push(Finding::new(topic, level, topic, text));
    }

    fn stop(&mut self, topic: &'static str, text: impl Into<String>) {
        self.say(Level::Stop, topic, text);
    }

    fn caution(&mut self, topic: &'static str, text: impl Into<String>) {
        self.say(Level::Caution, topic, text);
    }

    fn note(&mut self, topic: &'static str, text: impl Into<String>) {
        self.say(Level::Note, topic, text);
    }
}

#[cfg(test)]
mod tests;
