//! Groups of riders who differ: each is the site with some of its values replaced, and is checked as the site is.
//!
//! # Settled here
//! - **Groups**: each is the site with its values put in place of the site's, and is checked as the site is; a start
//!   height of a group on a list of sections lengthens or shortens the first sloping straight.

use super::chain;
use super::check::finish;
use super::draft::{Draft, GroupDraft};
use super::fault::{Complaint, Faults};
use super::keys::{GROUP_KEYS, Key};
use super::model::{Group, Site};
use super::ranges::names;

/// The key of the site that a name in a group's table stands in place of.
fn site_key(name: &str) -> Option<&'static str> {
    GROUP_KEYS.iter().find(|key| key.name() == name).and_then(Key::stands_for)
}

/// The group (from 0) and the key that `group[1].mass` names; nothing for the key of a table.
pub(super) fn group_key(dotted: &str) -> Option<(usize, &'static Key)> {
    let (number, name) = dotted.strip_prefix("group[")?.split_once("].")?;
    let key = GROUP_KEYS.iter().find(|key| key.name() == name)?;
    Some((number.parse::<usize>().ok()?.checked_sub(1)?, key))
}

/// The fault of naming a group that the file does not have.
pub(super) fn no_group(dotted: &str, count: usize) -> Complaint {
    let there = match count {
        0 => "the file has no groups".to_owned(),
        1 => "the file has one group, group[1]".to_owned(),
        n => format!("the file has the groups group[1] to group[{n}]"),
    };
    Complaint::new(dotted, there, "add [[group]] and its name to the file first")
}

/// The site's draft with a group's values in their places.
fn put_in(draft: &mut Draft, group: &GroupDraft) -> Result<(), Complaint> {
    draft.groups.clear();
    for &(name, si) in &group.values {
        let Some(key) = site_key(name) else { continue };
        if key == "roll_in.start_height"
            && let (Some(list), Some(start)) = (draft.sections.clone(), draft.n(key))
        {
            let mut list = list;
            if si != start && !chain::deepen(&mut list, si - start) {
                let message = "no sloping straight of the sections can be changed to make this start height";
                return Err(Complaint::new(key, message, "change a section, or leave start_height out of the group"));
            }
            draft.sections = Some(list);
        }
        draft.state(key, si);
    }
    Ok(())
}

/// The groups with every value, and complaints that the site itself does not already have.
pub(super) fn resolve(stated: &Draft, groups: &[GroupDraft], out: &mut Vec<Complaint>) -> Vec<Group> {
    let of_site = out.clone();
    let mut resolved: Vec<Group> = Vec::new();
    for (i, group) in groups.iter().enumerate() {
        let place = format!("group[{}]", i + 1);
        let name = group.name.clone().unwrap_or_default();
        if groups.iter().take(i).any(|other| other.name.is_some() && other.name == group.name) {
            let message = format!("another group is called {name:?} already");
            out.push(Complaint::new(format!("{place}.name"), message, "give each group a name of its own"));
        }
        if group.faulty {
            continue;
        }
        let mut draft = stated.clone();
        let complaints = match put_in(&mut draft, group) {
            Err(complaint) => vec![complaint],
            Ok(()) => {
                let (site, complaints) = finish(draft);
                resolved.extend(site.map(|site| of_site_values(name, &site, group)));
                complaints
            }
        };
        out.extend(complaints.into_iter().filter(|c| !of_site.contains(c)).map(|c| blamed(c, &place, group)));
    }
    resolved
}

/// The group whose values a site with them in place has.
fn of_site_values(name: String, site: &Site, group: &GroupDraft) -> Group {
    Group {
        name,
        mass_kg: site.rider.mass_kg,
        lightest_kg: site.rider.lightest_kg,
        heaviest_kg: site.rider.heaviest_kg,
        lands_with_bike: site.rider.lands_with_bike,
        start_height_m: site.roll_in.start_height_m,
        pop_mps: site.rider.pop_mps,
        lip_speed_sd_mps: site.spread.lip_speed_mps,
        pop_sd_mps: site.spread.pop_mps,
        botched: site.spread.botched,
        given: group.values.iter().map(|(name, _)| *name).collect(),
    }
}

/// A complaint about the site's key, laid at the group that brings it about.
fn blamed(complaint: Complaint, place: &str, group: &GroupDraft) -> Complaint {
    let stated = group.values.iter().find(|(name, _)| site_key(name) == Some(complaint.key.as_str()));
    let key = match stated {
        Some((name, _)) => format!("{place}.{name}"),
        None => place.to_owned(),
    };
    let said: Vec<&str> = group.values.iter().map(|(name, _)| *name).collect();
    let said = if said.is_empty() { "nothing but its name".to_owned() } else { names(&said) };
    let cure = format!("{}; the group states {said}, and the rest is the site's", complaint.cure);
    Complaint { key, cure, ..complaint }
}

impl Site {
    /// The site as a group of its riders has it: the group's values in place of the site's, and no groups.
    ///
    /// # Errors
    /// As [`Site::with_value`]; none for a group of this very site, whose combinations the reader has checked.
    pub fn for_group(&self, group: &Group) -> Result<Self, Faults> {
        let mut draft = Draft::of(self);
        put_in(&mut draft, &GroupDraft::of(group))
            .map_err(|complaint| vec![complaint])
            .and_then(|()| {
                let (site, complaints) = finish(draft);
                site.ok_or(complaints)
            })
            .map_err(|complaints| Faults {
                file: String::new(),
                faults: complaints.into_iter().map(Complaint::without_place).collect(),
            })
    }
}
