//! Varying a resolved site: one value set, everything that follows from it found anew and checked.
//!
//! # Settled here
//! - **Settled pressure** in sweeps: where blowers, openings or the air are set, the leak that it told takes its
//!   place; in a file that somebody edits it stands as read.

use toml_edit::Item;

use super::chain;
use super::convert::{Given, convert};
use super::draft::Draft;
use super::fault::{Complaint, Fault, Faults};
use super::group::{group_key, no_group};
use super::keys::{ASSUMED_AREA, KEYS, Key, find_key, nearest};
use super::model::{RollInKind, Site};
use super::parts::leak_read;
use super::ranges::range;
use super::resolve::resolve;

/// A value to set: a number in SI, or a text as it would stand in the site file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Setting<'a> {
    /// In SI; a flag as 0 or 1.
    Si(f64),
    /// With its unit, such as `2.4 m`; quotes may be left out.
    Text(&'a str),
}

impl From<f64> for Setting<'_> {
    fn from(si: f64) -> Self {
        Self::Si(si)
    }
}

impl<'a> From<&'a str> for Setting<'a> {
    fn from(text: &'a str) -> Self {
        Self::Text(text)
    }
}

impl Site {
    /// A copy with one value set; see [`Site::set_si`] for what follows from it.
    ///
    /// # Errors
    /// An unknown key (with the nearest known one), an unreadable text, a value out of range, a combination
    /// that does not fit.
    ///
    /// ```
    /// let site = landfall_plan::site::demo();
    /// let heavier = site.with_value("rider.mass", "190 lb")?;
    /// assert!((heavier.rider.mass_kg - 86.183).abs() < 1e-3);
    /// # Ok::<(), landfall_plan::site::Faults>(())
    /// ```
    pub fn with_value<'a>(&self, key: &str, value: impl Into<Setting<'a>>) -> Result<Self, Faults> {
        if let Some((at, of_group)) = group_key(key) {
            let given = match value.into() {
                Setting::Si(si) => Given::Number(checked(of_group, si)?),
                Setting::Text(text) => parse_setting(of_group, text)?,
            };
            return self.with_group_value(key, at, of_group, given);
        }
        let key = known(key)?;
        match value.into() {
            Setting::Si(si) => self.with(key, &Given::Number(checked(key, si)?)),
            Setting::Text(text) => self.with(key, &parse_setting(key, text)?),
        }
    }

    /// Sets one numeric value (or a flag, as 0 or 1), in SI.
    ///
    /// Defaults and derived values that hang on it follow. Of the take-off's three measures the one that was
    /// not set and stays stated is kept and the third follows: height keeps the radius where both others are
    /// stated, radius and lip angle keep the height. The start height of a list of sections lengthens or shortens
    /// its first sloping straight. A volume that is stated stays as it is when the bag's size is set. Of a leak and a
    /// settled pressure the one that is set stands, and measured areas take the place of assumed ones. Where blowers or
    /// openings are set, the leak that a settled pressure told takes its place: the bag then settles elsewhere.
    ///
    /// # Errors
    /// As [`Site::with_value`]; the site is then left as it was.
    pub fn set_si(&mut self, key: &str, si: f64) -> Result<(), Faults> {
        *self = self.with_value(key, si)?;
        Ok(())
    }

    /// A numeric value (or a flag, as 0 or 1) in SI; `None` for a key that is unknown, not numeric or without a value.
    #[must_use]
    pub fn get_si(&self, key: &str) -> Option<f64> {
        find_key(key).and_then(|key| key.get(self))
    }

    /// The keys whose values are neither stated nor derived from stated ones: assumed until somebody measures them.
    pub fn assumed(&self) -> impl Iterator<Item = &'static Key> {
        KEYS.iter().filter(|key| {
            matches!(key.preset, super::keys::Preset::Is(_)) && !self.given.contains(key.dotted) && key.applies(self)
        })
    }

    /// One value of a group set.
    fn with_group_value(&self, dotted: &str, at: usize, key: &'static Key, given: Given) -> Result<Self, Faults> {
        let mut draft = Draft::of(self);
        let count = draft.groups.len();
        let Some(group) = draft.groups.get_mut(at) else {
            return Err(Faults::one(no_group(dotted, count).without_place()));
        };
        match given {
            Given::Text(name) => group.name = Some(name),
            Given::Number(si) => match group.values.iter_mut().find(|(name, _)| *name == key.name()) {
                Some((_, value)) => *value = si,
                None => group.values.push((key.name(), si)),
            },
            _ => {}
        }
        resolve(draft).map_err(|complaints| Faults {
            file: String::new(),
            faults: complaints.into_iter().map(Complaint::without_place).collect(),
        })
    }

    fn with(&self, key: &'static Key, value: &Given) -> Result<Self, Faults> {
        let mut draft = Draft::of(self);
        // A pressure that was read holds for the blowers and openings of that day: what is known of the bag is its leak.
        if AIR_SUPPLY.contains(&key.dotted)
            && let Some(leak) = leak_read(&draft.clone().filled())
        {
            draft.forget("bag.settled_pressure");
            draft.state("bag.leak_coefficient", leak);
        }
        match value {
            Given::Number(si) if key.dotted == "roll_in.start_height" && draft.sections.is_some() => {
                let change = si - self.roll_in.start_height_m;
                if let Some(list) = draft.sections.as_mut()
                    && change != 0.0
                    && !chain::deepen(list, change)
                {
                    let message =
                        format!("no sloping straight of the sections can be changed to make {}", key.show(*si));
                    let cure = "change a section in the site file";
                    return Err(Faults::one(Complaint::new(key.dotted, message, cure).without_place()));
                }
                draft.state(key.dotted, *si);
            }
            Given::Number(si) => {
                for loser in losers(key.dotted, |other| draft.is_given(other)) {
                    draft.forget(loser);
                }
                if key.get(self).is_none() && matches!(self.roll_in.kind, RollInKind::Sections(_)) {
                    // The draft's own check says that the simple form has no meaning here.
                    draft.given.insert(key.dotted);
                }
                draft.state(key.dotted, *si);
            }
            Given::Text(text) => draft.name = Some(text.clone()),
            Given::Curve(points) => draft.curve = Some(points.clone()),
            Given::Sections(list) => draft.sections = Some(list.clone()),
            Given::Knots(list) => {
                for loser in losers(key.dotted, |other| draft.is_given(other)) {
                    draft.forget(loser);
                }
                draft.knots = Some(list.clone());
            }
            Given::Profile(list) => draft.profile = Some(list.clone()),
            Given::Obstacles(list) => draft.obstacles = Some(list.clone()),
        }
        draft.given.insert(key.dotted);
        resolve(draft).map_err(|complaints| Faults {
            file: String::new(),
            faults: complaints.into_iter().map(Complaint::without_place).collect(),
        })
    }
}

/// What a settled pressure hangs on besides the leak.
const AIR_SUPPLY: [&str; 12] = [
    "bag.vent_area",
    "bag.vent_coefficient",
    "bag.relief_area",
    "bag.relief_opens",
    "bag.relief_full",
    "blower.count",
    "blower.curve",
    "blower.speed",
    "blower.duct_loss",
    "blower.duct_diameter",
    "site.altitude",
    "site.air_temperature",
];

/// What gives way when a key is set: the take-off's third measure where both others are stated, the leak before the
/// settled pressure and the other way round, the assumed force area before a measured one.
pub(super) fn losers(key: &str, is_given: impl Fn(&str) -> bool) -> Vec<&'static str> {
    let (kept, lost) = match key {
        "takeoff.height" => ("takeoff.radius", "takeoff.lip_angle"),
        "takeoff.radius" => ("takeoff.height", "takeoff.lip_angle"),
        "takeoff.lip_angle" => ("takeoff.height", "takeoff.radius"),
        "bag.settled_pressure" => return vec!["bag.leak_coefficient"],
        "bag.leak_coefficient" => return vec!["bag.settled_pressure"],
        "bag.area" => return ASSUMED_AREA.to_vec(),
        _ => return Vec::new(),
    };
    if is_given(kept) && is_given(lost) { vec![lost] } else { Vec::new() }
}

/// The key of a dotted name, or a fault that names the nearest.
pub(super) fn known(dotted: &str) -> Result<&'static Key, Faults> {
    find_key(dotted).ok_or_else(|| {
        let same_name = KEYS.iter().find(|k| k.name() == dotted).map(|k| k.dotted);
        let near = same_name.or_else(|| nearest(dotted, KEYS.iter().map(|k| k.dotted)));
        let meant = near.map_or_else(String::new, |near| format!("; {near:?} was perhaps meant"));
        let cure = "give a key of the site file as table.key";
        Faults::one(Complaint::new(dotted, format!("is unknown{meant}"), cure).without_place())
    })
}

fn checked(key: &'static Key, si: f64) -> Result<f64, Faults> {
    if !key.is_numeric() && key.kind != super::keys::Kind::Flag {
        let complaint =
            Complaint::new(key.dotted, "is not one number, and cannot be set to one", "choose a numeric key");
        return Err(Faults::one(complaint.without_place()));
    }
    range(key, si, &key.show(si), None).map_err(|complaint| Faults::one(complaint.without_place()))?;
    Ok(si)
}

/// A text as it would stand in the file, with or without its quotes, as a TOML item.
pub(super) fn item_of(key: &Key, text: &str) -> Item {
    use super::keys::Kind;
    let quoted = matches!(key.kind, Kind::Text | Kind::Quantity(_) | Kind::Choice(_));
    if quoted && !text.trim_start().starts_with(['"', '\'']) {
        return toml_edit::value(text);
    }
    match text.parse::<toml_edit::Value>() {
        Ok(value) => Item::Value(value.decorated("", "")),
        Err(_) => toml_edit::value(text),
    }
}

pub(super) fn parse_setting(key: &'static Key, text: &str) -> Result<Given, Faults> {
    let mut complaints = Vec::new();
    let given = convert(key, &item_of(key, text), &mut complaints, &mut Vec::new());
    let faults: Vec<Fault> = complaints.into_iter().map(|(complaint, _)| complaint.without_place()).collect();
    match given {
        Some(given) if faults.is_empty() => Ok(given),
        _ => Err(Faults { file: String::new(), faults }),
    }
}
