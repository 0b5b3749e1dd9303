//! What a watch is begun with, what a step is fed with, and what it gives.

use super::event::{Event, Fault, GaugePa, Reason, ResetCause, SensorFault, State, TimeUs};
use super::landing::Landing;
use super::parts::{Beside, BesideSeen};
use super::signal::Pins;

/// Most events that one step can report.
pub const EVENTS: usize = 12;

/// What one step is fed with.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Input {
    /// Now. Steps are 20 ms apart; early and late ones are dealt with.
    pub now: TimeUs,
    /// The sensor's reading before zeroing, or why there is none.
    pub reading: Result<GaugePa, SensorFault>,
    /// Whether the blowers' supply is there; none where it is not sensed. A broken sense wire must read as
    /// `Some(false)`.
    pub supply: Option<bool>,
    /// The button is down.
    pub button: bool,
    /// A trial of lamps and siren is asked for; heeded in fill and wait.
    pub test: bool,
    /// The sensor's temperature, if it gives one.
    pub temperature_degc: Option<f32>,
    /// What the parts beside tell, where the settings name them.
    pub beside: Beside,
}

impl Input {
    /// A plain reading: supply on, button up.
    #[must_use]
    pub const fn reading(now: TimeUs, gauge_pa: f32) -> Self {
        Self {
            now,
            reading: Ok(GaugePa(gauge_pa)),
            supply: Some(true),
            button: false,
            test: false,
            temperature_degc: None,
            beside: Beside::NOTHING,
        }
    }
}

/// What the box knows when the watch begins.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Start {
    /// Why the box started, for the log.
    pub cause: ResetCause,
    /// [`Output::zero_pa`] as last stored.
    pub stored_zero_pa: Option<f32>,
    /// [`Output::unacknowledged`] as last stored. While on duty the watch then begins in stop; else a person must
    /// acknowledge before the first ride.
    pub unacknowledged: bool,
    /// [`Output::duty`] as last stored: people may be riding. The watch then begins in wait, without the trial, with
    /// the stored zero, and a bag at or under the stop pressure sounds the siren.
    pub duty: bool,
}

/// What one step gives.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Output {
    /// What lamps, siren and permit carry now: write these to the pins.
    pub pins: Pins,
    /// The state.
    pub state: State,
    /// Why.
    pub reason: Reason,
    /// Riding may go on; same as `pins.permit`.
    pub permit: bool,
    /// The siren is called for. `pins.siren` follows the signal's on and off phases.
    pub siren: bool,
    /// Filtered gauge pressure; none while readings are missing.
    pub gauge_pa: Option<f32>,
    /// Time until the stop pressure if the resting pressure goes on sinking; none if it does not sink.
    pub forecast_s: Option<f32>,
    /// The landing that has just ended.
    pub landing: Option<Landing>,
    /// Landings since the start.
    pub landings: u32,
    /// Time since the last spike began.
    pub since_landing_s: Option<f32>,
    /// The fault that is not over yet.
    pub fault: Option<Fault>,
    /// Zero in use, once known. Store it when it changes.
    pub zero_pa: Option<f32>,
    /// A person must acknowledge, also after a reset: store it when it changes.
    pub unacknowledged: bool,
    /// Somebody may be riding, also after a reset: store it when it changes.
    pub duty: bool,
    /// What is known of the parts beside.
    pub beside: BesideSeen,
    /// For the log, in order.
    pub events: heapless::Vec<Event, EVENTS>,
}
