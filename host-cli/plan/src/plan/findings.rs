//! Findings in plain words: each with its level, the number behind it and what would change it.

mod air;
mod assumed;
mod causes;
mod jump;
mod nulls;
mod placing;
mod pressures;

use super::results::{About, Finding, Level, Results, RideBy};
use crate::shown::Shown;
use crate::site::Site;

pub use nulls::say_nulls;

/// The findings of a plan: stop before caution before note, and in the order of the ride within a level. They depend on
/// nothing but the site and the results (whose own `findings` are not looked at). Why values are null is said by
/// [`say_nulls`], when everything is there that can be null.
#[must_use]
pub fn findings(site: &Site, results: &Results) -> Vec<Finding> {
    let mut said = Said { site, r: results, by: results.ride_by.first(), list: Vec::new() };
    if results.groups.is_empty() {
        of_riders(&mut said);
    }
    for (name, of_group) in &results.groups {
        // The group's own values are the site's wherever it states none.
        let own = site.groups.iter().find(|group| group.name == *name).and_then(|group| site.for_group(group).ok());
        let by = results.ride_by.iter().find(|by| by.group == *name);
        let mut about = Said { site: own.as_ref().unwrap_or(site), r: of_group, by, list: Vec::new() };
        of_riders(&mut about);
        said.list.extend(about.list.into_iter().map(|finding| Finding { group: Some(name.clone()), ..finding }));
    }
    placing::of_all(&mut said);
    air::say(&mut said);
    pressures::say(&mut said);
    assumed::say(&mut said);
    let mut list = said.list;
    causes::link(&mut list);
    list.sort_by_key(|finding| finding.level);
    causes::in_order(list)
}

/// What is said of one set of riders.
fn of_riders(said: &mut Said<'_>) {
    jump::say(said);
    placing::say(said);
    air::landing(said);
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
    /// What these riders go by: shown wherever one of its numbers is told.
    by: Option<&'a RideBy>,
    list: Vec<Finding>,
}

impl Said<'_> {
    /// The units that its words stand in.
    fn shown(&self) -> Shown {
        Shown::of(self.site)
    }

    fn say(&mut self, level: Level, topic: About, id: &'static str, text: impl Into<String>) -> &mut Finding {
        self.list.push(Finding::new(id, level, topic, text));
        let last = self.list.len() - 1;
        &mut self.list[last]
    }

    fn stop(&mut self, topic: About, id: &'static str, text: impl Into<String>) {
        self.say(Level::Stop, topic, id, text);
    }

    fn caution(&mut self, topic: About, id: &'static str, text: impl Into<String>) {
        self.say(Level::Caution, topic, id, text);
    }

    fn note(&mut self, topic: About, id: &'static str, text: impl Into<String>) {
        self.say(Level::Note, topic, id, text);
    }
}

#[cfg(test)]
mod tests;
