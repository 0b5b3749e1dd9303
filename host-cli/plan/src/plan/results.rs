//! What a plan comes to, as it is printed: keys carry their unit; what cannot be computed is null, with the reason in the
//! null itself ([`OrWhy`]), and a finding says why. A plain option is null only where its part was not asked for.

use landfall_core::bag::Outcome;
use landfall_core::levels::MeanLanding;
use landfall_core::possible_bags::BagFactors;
use landfall_core::short_zone::Hit;
use landfall_core::supply::RangeStatus;
use schemars::JsonSchema;
use serde::{Serialize, Serializer};
use std::collections::BTreeMap;

mod bag;
mod finding;
mod nulls;
mod or_why;
mod spread;
mod states;
mod why;

pub use bag::{
    BandEnd, BoxLevels, Chance, Cure, Judged, Judgement, OneBag, OneBlowerLost, Provisional, RideBy, Standing,
    StopRule, Topic, Verdict,
};
pub use finding::{About, Finding, Level};
pub use nulls::{Null, nulls};
pub use or_why::OrWhy;
pub use spread::{Differences, Sampling, Spread, Tail, Tails};
pub use states::Who;
pub use why::Why;

/// The whole plan.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Results {
    /// Name of the site.
    pub site: String,
    /// Version of the program that computed it.
    pub version: String,
    /// The start height of it all; for texts and limits, not printed.
    #[serde(skip)]
    pub start_m: f64,
    /// The same for each group of riders, where the site has any; not printed.
    #[serde(skip)]
    pub groups: Vec<(String, Self)>,
    /// The ride down, mean rider, all inputs at their site values.
    pub ride: Ride,
    /// The lightest and the heaviest rider.
    pub riders: Riders,
    /// The flight of the mean rider, all inputs at their site values.
    pub flight: Flight,
    /// Where landings fall.
    pub spread: Spread,
    /// Where the bag should stand.
    pub placement: Placement,
    /// The air supply.
    pub air: Air,
    /// The mean landing at the operating pressure.
    pub touchdown: OrWhy<Touchdown>,
    /// The pressures to ride between.
    pub pressures: Pressures,
    /// Wind on the bag and on the rider.
    pub wind: Wind,
    /// The same jump onto other landings.
    pub dirt: OrWhy<Dirt>,
    /// How it all stands.
    pub verdict: Verdict,
    /// The marks and pressures to ride by, of each group of riders.
    #[serde(serialize_with = "by_group")]
    #[schemars(with = "BTreeMap<String, RideBy>")]
    pub ride_by: Vec<RideBy>,
    /// Changes that were computed for the stops.
    pub cures: Vec<Cure>,
    /// What to know and to change, the gravest first.
    pub findings: Vec<Finding>,
    /// Keys of the site file whose values are assumed, not stated.
    pub assumed: Vec<String>,
    /// The cautions that go with every report.
    pub cautions: Vec<String>,
}

/// One entry a group, under its name, in the order of the site file.
fn by_group<S: Serializer>(list: &[RideBy], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_map(list.iter().map(|by| (&by.group, by)))
}

/// A place on the ride.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
pub struct RidePlace {
    /// Arc length before the take-off's foot; negative on the take-off.
    pub before_foot_m: f64,
    /// Speed there.
    pub speed_mps: f64,
}

/// The ride down.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Ride {
    /// Speed of the centre of mass at the release.
    pub lip_speed_mps: OrWhy<f64>,
    /// Angle of the surface at the lip.
    pub lip_angle_deg: f64,
    /// Angle of the centre of mass's path at the release, before pop.
    pub release_angle_deg: f64,
    /// From the start to the release.
    pub time_to_lip_s: OrWhy<f64>,
    /// Highest load on the ride down and in the take-off's arc, as far as the ride goes.
    #[schemars(with = "Option<f64>")]
    pub peak_load_g: f64,
    /// Where the load is highest.
    #[schemars(with = "Option<f64>")]
    pub peak_load_before_foot_m: f64,
    /// Where the ride comes to rest before the lip.
    pub stall: OrWhy<RidePlace>,
    /// Where the bike leaves the surface on the ride down.
    pub leaves_surface: OrWhy<RidePlace>,
    /// Arc length from the start to the take-off's foot.
    pub length_m: f64,
    /// Radius of the take-off.
    pub takeoff_radius_m: f64,
    /// Height of the take-off.
    pub takeoff_height_m: f64,
}

/// One of the riders.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Rider {
    /// Rider without bike.
    pub mass_kg: f64,
    /// Contact point from the bag's front edge.
    pub along_m: OrWhy<f64>,
    /// From release to contact.
    pub airtime_s: OrWhy<f64>,
    /// Speed into the top.
    pub impact_normal_mps: OrWhy<f64>,
    /// Standard deviation of `along`, from the sampling.
    pub sd_along_m: OrWhy<f64>,
    /// Chance of missing the landing field; with no miss in N runs the bound 3/N.
    pub miss: Option<f64>,
    /// Runs that missed it.
    pub misses: Option<u64>,
}

/// The lightest and the heaviest rider, and which of the three is the worst.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Riders {
    /// The lightest.
    pub lightest: Rider,
    /// The heaviest.
    pub heaviest: Rider,
    /// The one with the largest chance of a miss: mean, lightest or heaviest.
    pub worst: Who,
}

/// The flight.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Flight {
    /// From release to contact.
    pub airtime_s: OrWhy<f64>,
    /// Highest centre of mass above the lip.
    pub apex_above_lip_m: OrWhy<f64>,
    /// Contact point from the bag's front edge.
    pub along_m: OrWhy<f64>,
    /// Contact point from the bag's centre line, left positive.
    pub across_m: OrWhy<f64>,
    /// Contact point from the lip.
    pub distance_from_lip_m: OrWhy<f64>,
    /// Speed at contact.
    pub impact_speed_mps: OrWhy<f64>,
    /// Speed into the top.
    pub impact_normal_mps: OrWhy<f64>,
    /// Speed along the top.
    pub impact_along_mps: OrWhy<f64>,
    /// v_n²/2g.
    pub equivalent_fall_height_m: OrWhy<f64>,
    /// What the run is called.
    #[schemars(with = "String")]
    pub outcome: Outcome,
}

/// One lip speed of the short zone.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
pub struct ShortRun {
    /// Speed at the release.
    pub lip_speed_mps: f64,
    /// What is met first: ground, bag_front or bag_top.
    #[schemars(with = "String")]
    pub hit: Hit,
    /// Height of the lowest point of rider and bike above the ground under the bag where it passes the front edge; null
    /// where it meets the ground before.
    pub height_at_gap_m: OrWhy<f64>,
}

/// A last stop line for one braking coefficient.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
pub struct StopLine {
    /// Braking force over load.
    pub braking: f64,
    /// Arc length before the take-off's foot; null: committed from the start.
    pub before_foot_m: OrWhy<f64>,
    /// From there to touch-down without braking; from the start where there is no line.
    pub to_touchdown_s: OrWhy<f64>,
}

/// Where the bag should stand. Chances are those of the worst rider.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Placement {
    /// Gap of the site file.
    pub gap_m: f64,
    /// Offset of the site file.
    pub offset_m: f64,
    /// Chance of a miss as the bag stands; with no miss in N runs the bound 3/N.
    pub miss_now: Option<f64>,
    /// Best gap.
    pub best_gap_m: OrWhy<f64>,
    /// Smallest gap of the band; null: there is no band.
    pub gap_low_m: OrWhy<f64>,
    /// Largest gap of the band.
    pub gap_high_m: OrWhy<f64>,
    /// How far inside the band the bag stands now; negative outside.
    pub inside_band_m: OrWhy<f64>,
    /// Smallest chance of a miss at any gap.
    pub least_miss: OrWhy<f64>,
    /// Gap of that.
    pub least_miss_gap_m: OrWhy<f64>,
    /// Best offset.
    pub best_offset_m: OrWhy<f64>,
    /// Runs that gaps are judged by; null where they were not asked for.
    pub gap_runs: Option<u64>,
    /// Whether the chance at the best gap is lower than at the present one beyond the sampling.
    pub best_is_better: OrWhy<bool>,
    /// Chance of a miss at the best gap, at the site's offset.
    pub miss_at_best: OrWhy<f64>,
    /// Last stop line before the take-off's foot; null: committed from the start.
    pub last_stop_before_foot_m: OrWhy<f64>,
    /// Speed there.
    pub last_stop_speed_mps: OrWhy<f64>,
    /// From there to touch-down for a rider who does not brake.
    pub last_stop_to_touchdown_s: OrWhy<f64>,
    /// The line at the stated braking and at 0.1 less and more.
    pub stop_lines: Vec<StopLine>,
    /// Lip speed that just clears the gap.
    pub clearing_lip_speed_mps: OrWhy<f64>,
    /// Lip speed from which the bag's front rather than the ground is met.
    pub front_from_lip_speed_mps: OrWhy<f64>,
    /// Lip speeds from walking pace to the one that clears the gap.
    pub short_zone: Vec<ShortRun>,
    /// Lowest start height at which at most `target_miss` of the runs come down short or do not land.
    pub lowest_clearing_start_m: OrWhy<f64>,
    /// Highest start height that keeps to `target_miss` with the gust as added tail wind.
    pub highest_start_in_gust_m: OrWhy<f64>,
    /// Chance of a miss to plan for.
    pub target_miss: f64,
}

/// One moment after a power cut.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
pub struct AfterCut {
    /// Since the cut.
    pub time_s: f64,
    /// Gauge pressure.
    pub pressure_pa: f64,
    /// Depth that the hard landing would reach; above the thickness it would meet the ground.
    pub hard_depth_m: OrWhy<f64>,
}

/// The air supply.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Air {
    /// Outside air.
    pub density_kgpm3: f64,
    /// Outside pressure.
    pub outside_pressure_pa: f64,
    /// Gauge pressure at which blowers and openings balance.
    pub operating_pressure_pa: f64,
    /// Flow there.
    pub operating_flow_m3ps: f64,
    /// Nothing is open, so that this is the shut-off pressure.
    pub at_shut_off: bool,
    /// `low`, `in range` or `high` against the maker's range.
    #[serde(serialize_with = "states::range")]
    #[schemars(with = "String")]
    pub status: RangeStatus,
    /// Above the maker's lowest; negative below it.
    pub above_min_pa: f64,
    /// Below the maker's highest; negative above it.
    pub below_max_pa: f64,
    /// Mid-range pressure.
    pub needed_pressure_pa: f64,
    /// Flow of all blowers together that keeps it.
    pub needed_flow_m3ps: f64,
    /// From empty to 95 % of the operating pressure.
    pub fill_time_s: OrWhy<f64>,
    /// Pressure after a power cut.
    pub after_cut: Vec<AfterCut>,
}

/// A touch-down.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Touchdown {
    /// Deepest point.
    pub depth_m: f64,
    /// Thickness where it lands.
    pub thickness_m: f64,
    /// Thickness less depth.
    pub clearance_m: f64,
    /// Highest load over the landing mass's weight.
    pub felt_load_g: f64,
    /// Highest gauge pressure.
    pub peak_pressure_pa: f64,
    /// Contact to the deepest point.
    pub time_to_deepest_s: f64,
    /// Gas lost to the deepest point.
    pub gas_lost_m3: f64,
    /// Speed when the body is back at the skin; null where it met the ground.
    pub rebound_mps: OrWhy<f64>,
    /// The same with more of the force lost on the way back (0.8).
    pub rebound_low_mps: OrWhy<f64>,
    /// The same with less lost (0.3).
    pub rebound_high_mps: OrWhy<f64>,
    /// Speed along the top that is left.
    pub along_left_mps: OrWhy<f64>,
    /// Length wanted behind the 99.9 % landing; null on a top that slopes down.
    pub run_out_m: OrWhy<f64>,
    /// Speed of riding out at the back edge; null on a top that does not slope down.
    pub ride_out_mps: OrWhy<f64>,
    /// Push of the hard landing along the top.
    pub push_n: OrWhy<f64>,
    /// To 99 % of the operating pressure.
    pub recovery_s: OrWhy<f64>,
    /// Speed left where it meets the ground; null where it does not.
    pub ground_speed_mps: OrWhy<f64>,
    /// Equivalent fall height of that speed.
    pub ground_fall_height_m: OrWhy<f64>,
    /// Speed at which a body that has come to rest sinks on to the ground while the blowers run; null where it does not.
    pub sinks_on_mps: OrWhy<f64>,
    /// Lowest gauge pressure after the landing.
    pub dip_pa: OrWhy<f64>,
}

/// By what the speeds of the landings are known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum SpeedsBy {
    /// Divided differences: two normals, of good and of botched tries.
    Differences,
    /// The sampled runs that come down, of a rider of whose divided differences one does not.
    Sampling,
}

/// The pressures to ride between.
#[derive(Clone, Debug, Default, Serialize, JsonSchema)]
pub struct Pressures {
    /// Lowest pressure to ride on; the box's siren sounds at it.
    pub stop_pa: OrWhy<f64>,
    /// What set it; null: nothing was computed.
    pub stop_rule: OrWhy<StopRule>,
    /// The highest stop pressure that the box can tell from the operating pressure.
    pub room_pa: OrWhy<f64>,
    /// Highest pressure at which the light landing keeps `load_stop`; null: it is kept up to 20 kPa; 0: it is passed
    /// even from just taut.
    pub firm_pa: OrWhy<f64>,
    /// The same for `load_limit`, which bounds nothing.
    pub comfort_pa: OrWhy<f64>,
    /// Lower end of the ride band; null: the band is empty.
    pub band_low_pa: OrWhy<f64>,
    /// Upper end of the ride band.
    pub band_high_pa: OrWhy<f64>,
    /// What sets the lower end.
    pub band_low_rule: OrWhy<BandEnd>,
    /// What sets the upper end.
    pub band_high_rule: OrWhy<BandEnd>,
    /// Whether there is no pressure to ride at.
    pub band_is_empty: OrWhy<bool>,
    /// No new rider starts below this; null: even the operating pressure is too near to the stop pressure.
    pub wait_pa: OrWhy<f64>,
    /// From the last stop line, or the start, to touch-down.
    pub commitment_s: OrWhy<f64>,
    /// Whether there is no last stop line.
    pub committed_from_start: OrWhy<bool>,
    /// From a cut to the alarm.
    pub alarm_delay_s: OrWhy<f64>,
    /// Commitment, alarm delay and reaction together.
    pub needed_s: OrWhy<f64>,
    /// Speed into the top that one landing in a thousand passes, the largest of the riders'.
    pub hard_speed_mps: OrWhy<f64>,
    /// By what the speeds are known that this and the chances of the ground go by.
    pub speeds_by: OrWhy<SpeedsBy>,
    /// Thickness of the hard landing.
    pub hard_thickness_m: OrWhy<f64>,
    /// Hard landings without supply until one passes the depth limit (at most 200).
    pub landings_without_supply: OrWhy<u16>,
    /// The bag as it is stated.
    pub stated: OrWhy<OneBag>,
    /// The soft one of the possible bags: only 5 in 100 ask for more stop pressure.
    pub soft: OrWhy<OneBag>,
    /// The firm one: only 5 in 100 load the light landing more.
    pub firm: OrWhy<OneBag>,
    /// From a power cut until the hard landing passes the depth limit, stated bag; null: longer than 120 s.
    pub holds_for_s: OrWhy<f64>,
    /// The same of the possible bag at the 5 % place; null: longer than 120 s.
    pub holds_for_p05_s: OrWhy<f64>,
    /// What is missing of `needed_s`.
    pub seconds_missing: OrWhy<f64>,
    /// Chance of meeting the ground in a landing: in 95 of 100 bags that fit the description it is at most this.
    pub ground: OrWhy<Chance>,
    /// Chance of meeting the ground after a power cut, over all bags that fit the description.
    pub ground_cut: OrWhy<Chance>,
    /// Share of the possible bags in which the chance of meeting the ground is over the target.
    pub ground_share: OrWhy<f64>,
    /// One blower of several fails; null for one blower.
    pub one_blower_lost: OrWhy<OneBlowerLost>,
    /// What stands only because the bag is not measured.
    pub provisional: OrWhy<Provisional>,
    /// At which pressures the box acts.
    pub levels: OrWhy<BoxLevels>,
    /// How each topic comes out.
    pub judged: Vec<Judgement>,
    /// What a box is told besides.
    #[serde(skip)]
    pub demanded: Option<Demanded>,
}

/// What a box computes its thresholds from, as the core takes it.
#[derive(Clone, Copy, Debug)]
pub struct Demanded {
    /// Mass of the hard landing.
    pub heaviest_kg: f32,
    /// Mass of the light landing.
    pub lightest_kg: f32,
    /// The mean landing; none where none comes down on the bag.
    pub mean: Option<MeanLanding>,
    /// What the soft bag is over the stated one.
    pub soft: BagFactors,
    /// What the firm bag is.
    pub firm: BagFactors,
}

impl Results {
    /// What holds for everybody on the one bag: of the line, the winds and the times the strictest of the groups', none
    /// where a group has none. Start marks and masses are each group's own, and here the first one's.
    #[must_use]
    pub fn for_everybody(&self) -> Option<RideBy> {
        let (first, others) = self.ride_by.split_first()?;
        let least = |a: OrWhy<f64>, b: OrWhy<f64>| a.zip(b).map(|(a, b)| a.min(b));
        let most = |a: OrWhy<f64>, b: OrWhy<f64>| a.zip(b).map(|(a, b)| a.max(b));
        Some(others.iter().fold(first.clone(), |all, by| RideBy {
            next_rider_from_pa: most(all.next_rider_from_pa, by.next_rider_from_pa),
            everybody_off_under_pa: most(all.everybody_off_under_pa, by.everybody_off_under_pa),
            seconds_between: all.seconds_between.max(by.seconds_between),
            // None: longer than was looked at.
            holds_for_s: least(all.holds_for_s, by.holds_for_s).or(all.holds_for_s).or(by.holds_for_s),
            stop_line_before_foot_m: most(all.stop_line_before_foot_m, by.stop_line_before_foot_m),
            hold_along_tail_mps: least(all.hold_along_tail_mps, by.hold_along_tail_mps),
            hold_along_head_mps: least(all.hold_along_head_mps, by.hold_along_head_mps),
            hold_across_mps: least(all.hold_across_mps, by.hold_across_mps),
            ..all
        }))
    }

    /// The gaps at which the riders of every group keep the chance of a miss: from and to, none where a group has none.
    #[must_use]
    pub fn gap_band_m(&self) -> Option<(f64, f64)> {
        let of = |results: &Self| results.placement.gap_low_m.zip(results.placement.gap_high_m).get();
        let mut groups = self.groups.iter().map(|(_, own)| of(own));
        let first = groups.next().unwrap_or_else(|| of(self))?;
        let (low_m, high_m) = groups.try_fold(first, |all, own| own.map(|own| (all.0.max(own.0), all.1.min(own.1))))?;
        (low_m <= high_m).then_some((low_m, high_m))
    }

    /// The first-day mark, where somebody can start from it: not where riders from so low do not reach the landing field
    /// and only cautions stand, which forbid no start.
    #[must_use]
    pub fn first_day_mark_m(&self) -> Option<f64> {
        let mark_m = self.pressures.first_day_start_m()?;
        let at_most = |by: &RideBy| by.start_high_m.get().is_none_or(|high_m| high_m <= mark_m + 1.0e-6);
        self.ride_by.iter().all(at_most).then_some(mark_m)
    }
}

impl Pressures {
    /// None at all, each for the same reason.
    #[must_use]
    pub fn none(why: Why) -> Self {
        Self {
            stop_pa: why.into(),
            stop_rule: why.into(),
            room_pa: why.into(),
            firm_pa: why.into(),
            comfort_pa: why.into(),
            band_low_pa: why.into(),
            band_high_pa: why.into(),
            band_low_rule: why.into(),
            band_high_rule: why.into(),
            band_is_empty: why.into(),
            wait_pa: why.into(),
            commitment_s: why.into(),
            committed_from_start: why.into(),
            alarm_delay_s: why.into(),
            needed_s: why.into(),
            hard_speed_mps: why.into(),
            speeds_by: why.into(),
            hard_thickness_m: why.into(),
            landings_without_supply: why.into(),
            stated: why.into(),
            soft: why.into(),
            firm: why.into(),
            holds_for_s: why.into(),
            holds_for_p05_s: why.into(),
            seconds_missing: why.into(),
            ground: why.into(),
            ground_cut: why.into(),
            ground_share: why.into(),
            one_blower_lost: why.into(),
            provisional: why.into(),
            levels: why.into(),
            judged: Vec::new(),
            demanded: None,
        }
    }

    /// How a topic counts: as it comes out, but that a stop that measuring the bag would lift is a caution where there
    /// is a start to ride from until then.
    #[must_use]
    pub fn counts_as(&self, topic: Topic) -> Judged {
        let found = self.judged.iter().find(|judged| judged.topic == topic);
        match found {
            Some(judged) if judged.now == Judged::Stop && self.first_day_start_m().is_some() => {
                if judged.if_measured < Judged::Stop { Judged::Caution } else { Judged::Stop }
            }
            Some(judged) => judged.now,
            None => Judged::Kept,
        }
    }

    /// Whether measuring the bag as stated would make a topic milder.
    #[must_use]
    pub fn is_lifted(&self, topic: Topic) -> bool {
        self.judged.iter().any(|judged| judged.topic == topic && judged.if_measured < judged.now)
    }

    /// The highest start until the bag is measured, where it is not and there is one.
    #[must_use]
    pub fn first_day_start_m(&self) -> Option<f64> {
        self.provisional.as_ref().and_then(|provisional| provisional.first_day_start_m.get())
    }
}

/// Wind.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Wind {
    /// Tail wind gust at which the chance of a miss passes the target, at most `anchors.wind`; null: passed already.
    pub hold_along_tail_mps: OrWhy<f64>,
    /// Head wind gust, given positive.
    pub hold_along_head_mps: OrWhy<f64>,
    /// Cross wind gust.
    pub hold_across_mps: OrWhy<f64>,
    /// Standard error of the tail wind gust, from the number of runs that it was searched with; 0 where it is the limit.
    pub hold_error_tail_mps: OrWhy<f64>,
    /// Of the head wind gust.
    pub hold_error_head_mps: OrWhy<f64>,
    /// Of the cross wind gust.
    pub hold_error_across_mps: OrWhy<f64>,
    /// The same as mean wind readings: gusts divided by 1.66.
    pub mean_reading_tail_mps: OrWhy<f64>,
    /// Head wind.
    pub mean_reading_head_mps: OrWhy<f64>,
    /// Cross wind.
    pub mean_reading_across_mps: OrWhy<f64>,
    /// Wind for the forces, at which nobody rides.
    pub limit_mps: f64,
    /// Side force at it.
    pub side_force_n: f64,
    /// Lift at it.
    pub lift_n: f64,
    /// Anchors needed.
    pub anchors_needed: u32,
    /// Anchors that there are.
    pub anchors_stated: u32,
}

/// One loose fill against the published table.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct LooseFill {
    /// What it is.
    pub material: &'static str,
    /// Compressed depth of the table.
    pub depth_m: f64,
    /// Fall height that the table gives for it.
    pub table_fall_height_m: f64,
    /// Whether the equivalent fall height is within it.
    pub within: bool,
}

/// The same jump onto a dirt landing of the bag's slope.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Dirt {
    /// v_n²/2g at the mean.
    pub equivalent_fall_height_m: f64,
    /// At the hard speed.
    pub hard_fall_height_m: OrWhy<f64>,
    /// Against US CPSC Publication 325, Table 2.
    pub loose_fill: Vec<LooseFill>,
}
