//! A site in the making: the values that are stated, then the defaults, then what is derived from both.
//!
//! The reader fills a draft from a file, a sweep from a resolved site; both go through the same
//! [`resolve`](super::resolve::resolve), so that a swept site is checked and completed just as a file is.

use std::collections::BTreeSet;

use super::chain::Stated;
use super::keys::{KEYS, Kind, Preset, index_of, presets};
use super::land::Obstacle;
use super::model::{ForceAreaStated, Group, RollInKind, Section, Site};

/// How well height, radius and lip angle must agree when all three are stated.
pub(super) const CIRCLE_TOLERANCE_M: f64 = 1e-3;

/// A group as it is stated: values by the name in the group's table, in SI; a flag as 0 or 1.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct GroupDraft {
    pub name: Option<String>,
    pub values: Vec<(&'static str, f64)>,
    /// Stated, but not readable: the combinations are then not looked at.
    pub faulty: bool,
}

impl GroupDraft {
    /// What a resolved group states.
    pub fn of(group: &Group) -> Self {
        let value = |name: &&'static str| value(group, name).map(|si| (*name, si));
        Self { name: Some(group.name.clone()), values: group.given.iter().filter_map(value).collect(), faulty: false }
    }
}

/// A value of a group, in SI, by its name in the group's table.
fn value(group: &Group, name: &str) -> Option<f64> {
    Some(match name {
        "mass" => group.mass_kg,
        "lightest" => group.lightest_kg,
        "heaviest" => group.heaviest_kg,
        "lands_with_bike" => f64::from(u8::from(group.lands_with_bike)),
        "start_height" => group.start_height_m,
        "pop" => group.pop_mps,
        "lip_speed_sd" => group.lip_speed_sd_mps,
        "pop_sd" => group.pop_sd_mps,
        "botched" => group.botched,
        _ => return None,
    })
}

/// Values by key, in SI; what is missing or faulty is `None`.
#[derive(Clone, Debug)]
pub(super) struct Draft {
    number: Vec<Option<f64>>,
    pub name: Option<String>,
    pub curve: Option<Vec<(f64, f64)>>,
    pub sections: Option<Vec<Stated>>,
    pub knots: Option<Vec<(f64, f64)>>,
    pub profile: Option<Vec<(f64, f64)>>,
    pub obstacles: Option<Vec<Obstacle>>,
    pub groups: Vec<GroupDraft>,
    pub given: BTreeSet<&'static str>,
    /// Stated, but not readable: neither missing nor to be replaced by a default.
    pub faulty: BTreeSet<&'static str>,
}

impl Draft {
    pub fn empty() -> Self {
        Self {
            number: vec![None; KEYS.len()],
            name: None,
            curve: None,
            sections: None,
            knots: None,
            profile: None,
            obstacles: None,
            groups: Vec::new(),
            given: BTreeSet::new(),
            faulty: BTreeSet::new(),
        }
    }

    /// The stated values of a resolved site; defaults and derived values are left to be found anew.
    pub fn of(site: &Site) -> Self {
        let mut draft = Self::empty();
        for (slot, key) in draft.number.iter_mut().zip(KEYS) {
            if site.given.contains(key.dotted) {
                *slot = key.get(site);
            }
        }
        draft.name = Some(site.site.name.clone());
        draft.curve = Some(site.blower.curve.clone());
        if let RollInKind::Sections(sections) = &site.roll_in.kind {
            let stated = |section: &Section| match *section {
                Section::Straight { length_m, slope_rad } => Stated::Straight { length_m, slope_rad: Some(slope_rad) },
                Section::Arc { radius_m, turn_rad } => Stated::Arc { radius_m, turn_rad },
            };
            draft.sections = Some(sections.iter().map(stated).collect());
        }
        if let ForceAreaStated::Measured(knots) = &site.bag.force_area {
            draft.knots = Some(knots.clone());
        }
        if site.given.contains("ground.profile") {
            draft.profile = Some(site.ground.profile.clone());
        }
        if site.given.contains("ground.obstacle") {
            draft.obstacles = Some(site.ground.obstacles.clone());
        }
        draft.groups = site.groups.iter().map(GroupDraft::of).collect();
        draft.given.clone_from(&site.given);
        draft
    }

    /// A value in SI, or `None` where there is none (yet).
    pub fn n(&self, dotted: &str) -> Option<f64> {
        index_of(dotted).and_then(|i| self.number.get(i)).copied().flatten()
    }

    pub fn is_given(&self, dotted: &str) -> bool {
        self.given.contains(dotted)
    }

    /// States a value.
    pub fn state(&mut self, dotted: &'static str, si: f64) {
        self.derive(dotted, Some(si));
        self.given.insert(dotted);
    }

    /// Takes a statement back.
    pub fn forget(&mut self, dotted: &'static str) {
        self.derive(dotted, None);
        self.given.remove(dotted);
    }

    fn derive(&mut self, dotted: &'static str, si: Option<f64>) {
        if let Some(slot) = index_of(dotted).and_then(|i| self.number.get_mut(i)) {
            *slot = si;
        }
    }

    /// The same with the defaults and the derived values in their places.
    pub fn filled(mut self) -> Self {
        self.fill();
        self
    }

    pub fn fill(&mut self) {
        for ((slot, key), preset) in self.number.iter_mut().zip(KEYS).zip(presets()) {
            if slot.is_none() && !self.faulty.contains(key.dotted) {
                *slot = *preset;
            }
        }
        for key in KEYS {
            if let Preset::Of(other) = key.preset
                && !self.given.contains(key.dotted)
            {
                self.derive(key.dotted, self.n(other));
            }
        }
        if !self.is_given("bag.volume")
            && let (Some(length), Some(width), Some(front), Some(back)) =
                (self.n("bag.length"), self.n("bag.width"), self.n("bag.front_height"), self.n("bag.back_height"))
        {
            self.derive("bag.volume", Some(length * width * (front + back) / 2.0));
        }
        self.close_circle();
    }

    /// The third of height, radius and lip angle from two: `height = radius (1 − cos angle)`.
    fn close_circle(&mut self) {
        let one = |draft: &Self, dotted: &str| draft.is_given(dotted).then(|| draft.n(dotted)).flatten();
        let height = one(self, "takeoff.height");
        let radius = one(self, "takeoff.radius");
        let angle = one(self, "takeoff.lip_angle");
        match (height, radius, angle) {
            (Some(h), Some(r), Some(a)) if (h - r * (1.0 - a.cos())).abs() > CIRCLE_TOLERANCE_M => {}
            (Some(h), Some(r), _) if h < 2.0 * r => self.derive("takeoff.lip_angle", Some((1.0 - h / r).acos())),
            (Some(h), None, Some(a)) => self.derive("takeoff.radius", Some(h / (1.0 - a.cos()))),
            (None, Some(r), Some(a)) => self.derive("takeoff.height", Some(r * (1.0 - a.cos()))),
            _ => {}
        }
    }

    pub fn build(self, sections: Vec<Section>) -> Site {
        let mut site = Site::default();
        if self.sections.is_some() {
            site.roll_in.kind = RollInKind::Sections(sections);
        }
        if let Some(knots) = self.knots {
            site.bag.force_area = ForceAreaStated::Measured(knots);
        }
        for (key, value) in KEYS.iter().zip(&self.number) {
            if let Some(si) = value {
                key.put(&mut site, *si);
            }
        }
        site.ground.profile = self.profile.unwrap_or_default();
        site.ground.obstacles = self.obstacles.unwrap_or_default();
        site.site.name = self.name.unwrap_or_default();
        site.blower.curve = self.curve.unwrap_or_default();
        site.given = self.given;
        site
    }

    /// The keys that must be stated and are not.
    pub fn missing(&self) -> impl Iterator<Item = &'static super::keys::Key> {
        KEYS.iter().filter(|key| {
            key.preset == Preset::Required
                && !self.faulty.contains(key.dotted)
                && match key.kind {
                    Kind::Text => self.name.is_none(),
                    Kind::Curve => self.curve.is_none(),
                    _ => !self.is_given(key.dotted),
                }
        })
    }
}
