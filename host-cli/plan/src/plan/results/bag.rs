//! The pressures to ride between, what is not known of the bag, and what follows for riding.

use super::OrWhy;
use landfall_core::levels;
use schemars::JsonSchema;
use serde::Serialize;

/// What of the pressures, the loads and the chances of the ground can be a stop or a caution, in the order in which it
/// is judged and said.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Topic {
    /// Load on the ride down.
    Load,
    /// Chance of meeting the ground in a landing.
    Ground,
    /// The same after a power cut.
    GroundCut,
    /// Depth of the hard landing from the operating pressure, supply just lost.
    Hard,
    /// Load of the light landing from the operating pressure.
    Light,
    /// Pressures to ride between.
    Band,
    /// Stop pressure against what the box can tell from the operating pressure.
    Stop,
    /// Pressure at which no new rider starts.
    Wait,
    /// One blower of several fails.
    OneBlower,
}

impl Topic {
    /// All, in their order.
    pub const ALL: [Self; 9] = [
        Self::Load,
        Self::Ground,
        Self::GroundCut,
        Self::Hard,
        Self::Light,
        Self::Band,
        Self::Stop,
        Self::Wait,
        Self::OneBlower,
    ];

    /// Its name, as in the results.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Load => "load",
            Self::Ground => "ground",
            Self::GroundCut => "ground_cut",
            Self::Hard => "hard",
            Self::Light => "light",
            Self::Band => "band",
            Self::Stop => "stop",
            Self::Wait => "wait",
            Self::OneBlower => "one_blower",
        }
    }
}

/// How a topic comes out, the mildest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Judged {
    /// Kept.
    Kept,
    /// Look at it before riding.
    Caution,
    /// Do not ride.
    Stop,
}

/// How one topic comes out, now and if the bag were measured as it is stated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Judgement {
    /// The topic.
    pub topic: Topic,
    /// As the bag is known now.
    pub now: Judged,
    /// If it were measured.
    pub if_measured: Judged,
}

/// Which rule set the stop pressure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum StopRule {
    /// The depth of the hard landing on the soft bag.
    Depth,
    /// The floor under it.
    Floor,
    /// The highest that the box can tell from the operating pressure.
    Room,
}

/// What ends the ride band below or above: the input to change where the band is empty.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum BandEnd {
    /// The stop pressure.
    Stop,
    /// The maker's lowest.
    PressureMin,
    /// The firm pressure.
    Firm,
    /// The maker's highest.
    PressureMax,
}

impl From<levels::BandEnd> for BandEnd {
    fn from(end: levels::BandEnd) -> Self {
        match end {
            levels::BandEnd::Stop => Self::Stop,
            levels::BandEnd::PressureMin => Self::PressureMin,
            levels::BandEnd::Firm => Self::Firm,
            levels::BandEnd::PressureMax => Self::PressureMax,
        }
    }
}

impl From<levels::StopRule> for StopRule {
    fn from(rule: levels::StopRule) -> Self {
        match rule {
            levels::StopRule::Depth => Self::Depth,
            levels::StopRule::Floor => Self::Floor,
            levels::StopRule::Room => Self::Room,
        }
    }
}

impl From<levels::BoxPressures> for BoxLevels {
    fn from(of: levels::BoxPressures) -> Self {
        Self {
            siren_pa: of.siren_pa.into(),
            permit_off_pa: of.permit_off_pa.into(),
            permit_back_pa: of.permit_back_pa.into(),
            acting_wait_pa: of.acting_wait_pa.into(),
        }
    }
}

/// One bag of those that fit the description.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct OneBag {
    /// Depth and area of its knots, without (0, 0).
    pub knots: Vec<[f64; 2]>,
    /// Skin stretch, 1/Pa.
    pub skin_stretch: f64,
    /// Stop pressure by the depth of the hard landing; null: no pressure up to 20 kPa keeps the depth limit.
    pub stop_by_depth_pa: OrWhy<f64>,
    /// From a power cut to the stop pressure.
    pub power_loss_to_stop_s: OrWhy<f64>,
    /// Depth of the hard landing from the operating pressure, supply just lost; may be more than the thickness.
    pub hard_depth_m: OrWhy<f64>,
    /// Felt load of the light landing from the operating pressure, blowers running.
    pub light_load_g: OrWhy<f64>,
}

/// A chance of meeting the ground.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Chance {
    /// Of the lightest rider.
    pub lightest: f64,
    /// Of the mean rider.
    pub mean: f64,
    /// Of the heaviest rider.
    pub heaviest: f64,
    /// The largest of the three.
    pub worst: f64,
    /// The largest of the three if the bag were measured as stated.
    pub if_measured: OrWhy<f64>,
}

/// What is left when one blower of several fails.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct OneBlowerLost {
    /// Where the bag settles then.
    pub settles_pa: f64,
    /// How long it takes to the stop pressure; null: it never comes to it.
    pub to_stop_s: OrWhy<f64>,
}

/// What stands only because the bag is not measured.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Provisional {
    /// What measuring the bag as stated would make milder or lift.
    pub lifted: Vec<Topic>,
    /// Highest start until then; null: none was found.
    pub first_day_start_m: OrWhy<f64>,
}

/// The pressures at which the box acts, not rounded.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct BoxLevels {
    /// The siren sounds at or under it.
    pub siren_pa: f64,
    /// The permit goes off under it.
    pub permit_off_pa: f64,
    /// And comes back from it.
    pub permit_back_pa: f64,
    /// The wait pressure, or what stands in its place.
    pub acting_wait_pa: f64,
}

/// The marks and pressures that one group of riders rides by, each rounded to the careful side.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct RideBy {
    /// Name of the group; `all` where none is stated.
    #[serde(skip)]
    pub group: String,
    /// Highest start mark: the stated start, or the first-day mark until the bag is measured; null: there is none to
    /// start from.
    pub start_high_m: OrWhy<f64>,
    /// Lowest start mark: from it up to the highest no finding is a stop for any of the group; null: none was found.
    pub start_low_m: OrWhy<f64>,
    /// The box permits a new rider again from this pressure.
    pub next_rider_from_pa: OrWhy<f64>,
    /// At or under this the box's siren sounds and everybody is off.
    pub everybody_off_under_pa: OrWhy<f64>,
    /// Between two riders, s.
    pub seconds_between: f64,
    /// How long the bag holds after a power cut; null: longer than 120 s or not known.
    pub holds_for_s: OrWhy<f64>,
    /// Last stop line before the take-off's foot; null: there is none.
    pub stop_line_before_foot_m: OrWhy<f64>,
    /// Nobody rides in tail gusts over this; null: not in any.
    pub hold_along_tail_mps: OrWhy<f64>,
    /// Nor in head gusts.
    pub hold_along_head_mps: OrWhy<f64>,
    /// Nor in cross gusts.
    pub hold_across_mps: OrWhy<f64>,
    /// Lightest rider, without bike.
    pub lightest_kg: f64,
    /// Heaviest rider.
    pub heaviest_kg: f64,
}

/// A change that was computed for a stop, and what it leaves.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Cure {
    /// Identity of the finding that it was tried for.
    pub finding: &'static str,
    /// The change in words.
    pub change: String,
    /// Key of the site file.
    pub key: &'static str,
    /// Its value now, as the site file takes it.
    pub from: String,
    /// The value that was tried: where it leaves no stop, the smallest change that does.
    pub to: String,
    /// How many stops are left with it: 0 is a cure.
    pub leaves_stops: usize,
}

/// How a plan stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// No limit that was computed is broken.
    #[default]
    Inside,
    /// None is, as long as nobody starts above the first-day mark, until the bag is measured.
    Provisional,
    /// At least one is.
    Outside,
}

/// The verdict, counted once for every output.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Verdict {
    /// How the plan stands.
    pub standing: Standing,
    /// Limits that are kept.
    pub limits_kept: usize,
    /// Limits that are broken.
    pub limits_broken: usize,
    /// Findings that are stops.
    pub stops: usize,
    /// Findings that are cautions.
    pub cautions: usize,
    /// Identity of the finding that is mended first: the cause of the others.
    pub first_cause: OrWhy<&'static str>,
}
