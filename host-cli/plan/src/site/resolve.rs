//! From a draft to a site: defaults and derived values, every combination, and the groups of riders.

use super::check;
use super::draft::Draft;
use super::fault::Complaint;
use super::group;
use super::model::Site;

/// Fills in the defaults and the derived values, and checks every combination.
pub(super) fn resolve(mut draft: Draft) -> Result<Site, Vec<Complaint>> {
    let groups = std::mem::take(&mut draft.groups);
    let stated = if groups.is_empty() { None } else { Some(draft.clone()) };
    let (site, mut complaints) = check::finish(draft);
    let resolved = stated.map_or_else(Vec::new, |stated| group::resolve(&stated, &groups, &mut complaints));
    match site {
        Some(site) if complaints.is_empty() => Ok(Site { groups: resolved, ..site }),
        _ => Err(complaints),
    }
}
