//! The thresholds that a watch uses, and which hold when those of the plan and those of today's air differ.
//!
//! Comparisons only: what they follow from is computed outside ([`crate::thresholds`]).
//!
//! # What holds when planned and today's thresholds differ
//!
//! - A *limit* holds in the stricter of its two forms: stop and wait pressure in the higher, the upper end in the lower,
//!   the time that the bag must hold in the longer. A wrong barometer can make a box too careful, never too lax here.
//! - But where the planned stop pressure was the highest that the box could tell from the resting pressure, or the wait
//!   pressure the highest from which the permit comes back, their like of today takes their place: nothing higher works.
//! - What *describes the bag* is today's: resting pressure, the middle between it and the stop pressure, and how a
//!   landing looks. With yesterday's, a bag that stands lower in thin air would never be believed to be at rest.
//! - What then does not stand in the order that [`WatchSettings::validate`] asks for leaves no pressure to ride at, nor
//!   does air in which there are no thresholds: the planned ones stay, and the permit is withheld
//!   ([`Watch::withhold`](super::Watch::withhold)). What could not be computed leaves the planned ones as they
//!   are.

use super::WatchSettings;
use super::box_pressures::{SensorError, highest_wait_pa, room_pa};
use crate::error::InputError;

/// A watch's thresholds for one air.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Thresholds {
    /// Bag at rest with the blowers running, Pa.
    pub operating_pa: f32,
    /// Stop pressure, Pa.
    pub stop_pa: f32,
    /// Wait pressure, or what stands in its place, Pa.
    pub wait_pa: f32,
    /// Upper end: firm pressure or the maker's highest, Pa.
    pub high_pa: f32,
    /// Commitment, alarm delay and reaction, s.
    pub needed_s: f32,
    /// Recovery after the mean landing, at least 3 s.
    pub recovery_s: f32,
    /// Dip after the mean landing, at least 10 Pa.
    pub landing_dip_pa: f32,
    /// Rise that counts as a landing, Pa.
    pub landing_spike_pa: f32,
    /// Highest pressure in the hard landing, Pa.
    pub landing_peak_pa: f32,
}

impl Thresholds {
    /// The thresholds of settings.
    #[must_use]
    pub const fn of(settings: &WatchSettings) -> Self {
        Self {
            operating_pa: settings.operating_pa,
            stop_pa: settings.stop_pa,
            wait_pa: settings.wait_pa,
            high_pa: settings.high_pa,
            needed_s: settings.needed_s,
            recovery_s: settings.recovery_s,
            landing_dip_pa: settings.landing_dip_pa,
            landing_spike_pa: settings.landing_spike_pa,
            landing_peak_pa: settings.landing_peak_pa,
        }
    }

    /// `settings` with these thresholds; all else stays. Not validated.
    #[must_use]
    pub fn put_into(&self, settings: &WatchSettings) -> WatchSettings {
        WatchSettings {
            operating_pa: self.operating_pa,
            stop_pa: self.stop_pa,
            wait_pa: self.wait_pa,
            half_way_pa: 0.5 * (self.stop_pa + self.operating_pa),
            high_pa: self.high_pa,
            needed_s: self.needed_s.max(0.5),
            recovery_s: self.recovery_s,
            landing_dip_pa: self.landing_dip_pa,
            landing_spike_pa: self.landing_spike_pa,
            landing_peak_pa: self.landing_peak_pa,
            ..*settings
        }
    }

    /// Of the limits the stricter of `planned` and these; of what describes the bag these.
    #[must_use]
    pub fn stricter_than(&self, planned: &Self) -> Self {
        let stop_pa = self.stop_pa.max(planned.stop_pa);
        Self {
            stop_pa,
            wait_pa: self.wait_pa.max(planned.wait_pa).max(stop_pa),
            high_pa: self.high_pa.min(planned.high_pa),
            needed_s: self.needed_s.max(planned.needed_s),
            ..*self
        }
    }
}

/// What rounding may take of a pressure at the end of its room, Pa.
const ROUNDING_PA: f32 = 0.05;

/// Highest stop and wait pressure that a box can tell from where the bag rests.
fn ends_of_room(settings: &WatchSettings, of: &Thresholds) -> (f32, f32) {
    let sensor = SensorError { error_pa: settings.sensor_error_pa, noise_pa: settings.noise_high_pa };
    (room_pa(of.operating_pa, of.landing_dip_pa, &sensor).0, highest_wait_pa(of.operating_pa, &sensor))
}

/// The settings that a box uses today: by the rule at the head of this file.
///
/// # Errors
/// What [`WatchSettings::validate`] finds: then no permit.
pub fn in_force(planned: &WatchSettings, today: &Thresholds) -> Result<WatchSettings, InputError> {
    let mut limits = Thresholds::of(planned);
    // Where the planned one was as high as the box could tell, so is today's.
    let (planned_room_pa, planned_wait_pa) = ends_of_room(planned, &limits);
    let (room_pa, highest_wait_pa) = ends_of_room(planned, today);
    if limits.stop_pa >= planned_room_pa - ROUNDING_PA {
        limits.stop_pa = limits.stop_pa.min(room_pa);
    }
    if limits.wait_pa >= planned_wait_pa - ROUNDING_PA {
        limits.wait_pa = limits.wait_pa.min(highest_wait_pa);
    }
    let settings = today.stricter_than(&limits).put_into(planned);
    settings.validate()?;
    Ok(settings)
}
