//! What of loads, depths, pressures and chances is a stop and what a caution: one table, one row a topic.

use super::demand::Demand;
use super::known::{Known, Twice};
use super::model::Supply;
use super::results::{Judged, Judgement, Topic};
use crate::site::Site;
use landfall_core::levels::StopRule;

/// Everything that the table looks at.
#[derive(Clone, Copy, Debug)]
pub struct Facts<'a> {
    /// Limits and targets.
    pub site: &'a Site,
    /// Load on the ride down, g.
    pub peak_load_g: f64,
    /// Thickness of the hard landing.
    pub thickness_m: f64,
    /// Settled pressure.
    pub operating_pa: f64,
    /// The rest.
    pub known: &'a Known,
}

/// One row.
struct Row {
    topic: Topic,
    stop: fn(&Facts<'_>) -> bool,
    caution: fn(&Facts<'_>) -> bool,
}

/// Share of the possible bags over the target from which a chance is worth a caution.
pub const CAUTION_SHARE: f64 = 0.01;
/// Part of the target of a power cut from which its chance is worth a caution.
pub const CAUTION_CUT: f64 = 0.1;

const ROWS: [Row; 9] = [
    Row {
        topic: Topic::Load,
        stop: |f| f.peak_load_g > f.site.rider.arc_load_stop,
        caution: |f| f.peak_load_g > f.site.rider.arc_load_limit,
    },
    Row {
        topic: Topic::Ground,
        stop: |f| f.known.ground() > f.site.bag.target_ground,
        caution: |f| f.known.ground_share() > CAUTION_SHARE,
    },
    Row {
        topic: Topic::GroundCut,
        stop: |f| f.known.ground_cut().is_some_and(|chance| chance > f.site.bag.target_cut),
        caution: |f| f.known.ground_cut().is_some_and(|chance| chance > CAUTION_CUT * f.site.bag.target_cut),
    },
    Row {
        topic: Topic::Hard,
        stop: |f| f.too_deep(f.known.limits.stated.hard_depth_m),
        caution: |f| f.too_deep(f.known.limits.soft.hard_depth_m),
    },
    Row {
        topic: Topic::Light,
        stop: |f| f64::from(f.known.limits.stated.light_load_g) > f.site.bag.load_stop,
        caution: |f| {
            f64::from(f.known.limits.stated.light_load_g) > f.site.bag.load_limit
                || f64::from(f.known.limits.firm.light_load_g) > f.site.bag.load_stop
        },
    },
    Row {
        topic: Topic::Band,
        stop: |f| {
            let levels = &f.known.limits.levels;
            levels.band_is_empty
                || f.operating_pa < f64::from(levels.band_low_pa)
                || f.operating_pa > f64::from(levels.band_high_pa)
        },
        caution: |_| false,
    },
    Row {
        topic: Topic::Stop,
        stop: |f| f.known.limits.levels.stop_over_room,
        caution: |f| f.known.limits.levels.stop_rule == StopRule::Room,
    },
    Row {
        topic: Topic::Wait,
        stop: |f| {
            // Where it is not known how many are missing, some are.
            f.known.limits.levels.wait_pa.is_none() && f.known.limits.seconds_missing.is_none_or(|s| s > 0.0)
        },
        caution: |f| f.known.limits.levels.wait_pa.is_none() && !f.site.watch.supply_sense,
    },
    Row {
        topic: Topic::OneBlower,
        stop: |_| false,
        caution: |f| {
            let levels = &f.known.limits.levels;
            let wanted_pa = levels.stated_by_depth.pressure_pa().unwrap_or(f32::INFINITY).max(levels.floor_pa);
            f.known.one_blower.is_some_and(|lost| lost.settles_pa < wanted_pa)
        },
    },
];

impl Facts<'_> {
    fn too_deep(&self, depth_m: f32) -> bool {
        // Depth and limit in the same digits.
        !(depth_m <= self.site.bag.depth_limit as f32 * self.thickness_m as f32)
    }
}

/// How each topic comes out, in their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Table(pub [(Topic, Judged); 9]);

impl Table {
    /// Judges the facts.
    pub fn of(facts: &Facts<'_>) -> Self {
        Self(ROWS.map(|row| {
            let judged = if (row.stop)(facts) {
                Judged::Stop
            } else if (row.caution)(facts) {
                Judged::Caution
            } else {
                Judged::Kept
            };
            (row.topic, judged)
        }))
    }

    /// How a topic comes out.
    pub fn judged(&self, topic: Topic) -> Judged {
        self.0.iter().find(|(other, _)| *other == topic).map_or(Judged::Kept, |(_, judged)| *judged)
    }

    /// Whether any topic is a stop.
    pub fn stops(&self) -> bool {
        self.0.iter().any(|(_, judged)| *judged == Judged::Stop)
    }
}

/// Both tables: now, and if the bag were measured as stated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tables {
    /// As the bag is known now.
    pub now: Table,
    /// As it would be known.
    pub measured: Table,
}

impl Tables {
    /// Judges both.
    pub fn judge(site: &Site, supply: &Supply, demand: &Demand, twice: &Twice) -> Self {
        let facts = |known| Facts {
            site,
            peak_load_g: demand.peak_load_g,
            thickness_m: demand.thickness_m,
            operating_pa: f64::from(supply.operating.pressure_pa),
            known,
        };
        Self { now: Table::of(&facts(&twice.now)), measured: Table::of(&facts(&twice.measured)) }
    }

    /// What measuring would make milder or lift.
    pub fn lifted(&self) -> Vec<Topic> {
        self.now.0.iter().zip(&self.measured.0).filter(|(now, then)| then.1 < now.1).map(|(now, _)| now.0).collect()
    }

    /// Both, topic by topic.
    pub fn judgements(&self) -> Vec<Judgement> {
        let both = self.now.0.iter().zip(&self.measured.0);
        both.map(|(now, then)| Judgement { topic: now.0, now: now.1, if_measured: then.1 }).collect()
    }

    /// Whether a stop stands that measuring would not lift.
    pub fn stays_a_stop(&self) -> bool {
        let lifted = self.lifted();
        self.now.0.iter().any(|(topic, judged)| *judged == Judged::Stop && !lifted.contains(topic))
    }

    /// Whether something stands only because the bag is not measured, and every stop does.
    pub fn provisional(&self) -> bool {
        !self.lifted().is_empty() && !self.stays_a_stop()
    }

    /// Whether neither a stop stands nor anything that measuring would lift.
    pub fn clear(&self) -> bool {
        !self.now.stops() && self.lifted().is_empty()
    }
}
