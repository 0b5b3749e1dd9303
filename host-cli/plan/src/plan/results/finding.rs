//! Findings: how grave, what about, the words, the numbers behind them and what would change them.

use std::collections::BTreeMap;
use std::fmt;

use schemars::JsonSchema;
use serde::Serialize;

use super::Cure;

/// How grave a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    /// Outside a limit: do not ride until it is changed.
    Stop,
    /// Look at it before riding.
    Caution,
    /// To know.
    Note,
}

impl Level {
    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Stop => "stop",
            Self::Caution => "caution",
            Self::Note => "note",
        }
    }
}

/// What a finding is about: the word that its identity begins with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum About {
    /// The anchors that hold the bag in the wind.
    Anchors,
    /// What is assumed, not stated.
    Assumed,
    /// The pressures to ride between.
    Band,
    /// The blowers' pressure and flow.
    Blower,
    /// What keeps a box from being armed.
    Box,
    /// How deep the mean landing goes.
    Depth,
    /// The same jump onto dirt.
    Dirt,
    /// What a rider feels of the mean landing.
    Felt,
    /// The landing field's size.
    Field,
    /// How long the bag takes to fill.
    Filling,
    /// Where the bag stands along the run.
    Gap,
    /// The chance of meeting the ground with air in the bag.
    Ground,
    /// The same after a power cut.
    GroundCut,
    /// The hard landing's depth.
    Hard,
    /// What stands and lies around the jump.
    Land,
    /// The light landing's load.
    Light,
    /// The load on the ride down.
    Load,
    /// Landings beyond the field.
    Long,
    /// Whether two methods agree.
    Methods,
    /// The chance of a miss.
    Miss,
    /// Why a value is null.
    NoValue,
    /// Where the bag stands across.
    Offset,
    /// One of several blowers lost.
    OneBlower,
    /// Vents, flaps and leaks.
    Openings,
    /// What a power cut brings.
    Power,
    /// The operating pressure in the maker's range.
    Pressure,
    /// What stands only because the bag is not measured.
    Provisional,
    /// What a rider reaches, and what ends the run before.
    Reach,
    /// How long the bag takes after a landing.
    Recovery,
    /// Landings before the field.
    Short,
    /// What is met at lower lip speeds.
    ShortZone,
    /// By what the landings' speeds are known.
    Speeds,
    /// The start's height.
    Start,
    /// What a steadier run would bring.
    Steady,
    /// The stop pressure.
    Stop,
    /// The last stop line.
    Stopping,
    /// The wait pressure.
    Wait,
    /// The winds to hold at.
    Wind,
}

impl About {
    /// Its name, as it is printed.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Anchors => "anchors",
            Self::Assumed => "assumed",
            Self::Band => "band",
            Self::Blower => "blower",
            Self::Box => "box",
            Self::Depth => "depth",
            Self::Dirt => "dirt",
            Self::Felt => "felt",
            Self::Field => "field",
            Self::Filling => "filling",
            Self::Gap => "gap",
            Self::Ground => "ground",
            Self::GroundCut => "ground_cut",
            Self::Hard => "hard",
            Self::Land => "land",
            Self::Light => "light",
            Self::Load => "load",
            Self::Long => "long",
            Self::Methods => "methods",
            Self::Miss => "miss",
            Self::NoValue => "no_value",
            Self::Offset => "offset",
            Self::OneBlower => "one_blower",
            Self::Openings => "openings",
            Self::Power => "power",
            Self::Pressure => "pressure",
            Self::Provisional => "provisional",
            Self::Reach => "reach",
            Self::Recovery => "recovery",
            Self::Short => "short",
            Self::ShortZone => "short_zone",
            Self::Speeds => "speeds",
            Self::Start => "start",
            Self::Steady => "steady",
            Self::Stop => "stop",
            Self::Stopping => "stopping",
            Self::Wait => "wait",
            Self::Wind => "wind",
        }
    }
}

impl fmt::Display for About {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// One finding, with the number behind it and what would change it.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Finding {
    /// Its identity, which stays from one version to the next.
    pub id: &'static str,
    /// How grave.
    pub level: Level,
    /// What it is about.
    pub topic: About,
    /// In plain words.
    pub text: String,
    /// The numbers that decided, under the keys of the results and of the site file.
    pub numbers: BTreeMap<&'static str, Option<f64>>,
    /// Identity of the finding that is its cause.
    pub follows_from: Option<&'static str>,
    /// Group of riders that it is about; null: all.
    pub group: Option<String>,
    /// Changes that were computed for it.
    pub cures: Vec<Cure>,
}

impl Finding {
    /// A finding without numbers, cause or cures.
    #[must_use]
    pub fn new(id: &'static str, level: Level, topic: About, text: impl Into<String>) -> Self {
        debug_assert!(id.split('.').next() == Some(topic.name()), "{id} is not about {topic:?}");
        Self {
            id,
            level,
            topic,
            text: text.into(),
            numbers: BTreeMap::new(),
            follows_from: None,
            group: None,
            cures: Vec::new(),
        }
    }

    /// With a number that decided, under its key; one that is not finite is null.
    pub fn with(&mut self, key: &'static str, value: impl Into<Option<f64>>) -> &mut Self {
        self.numbers.insert(key, value.into().filter(|value| value.is_finite()));
        self
    }
}
