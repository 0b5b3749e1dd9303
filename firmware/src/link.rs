//! What box and host say to each other; `LINK.md` tells the protocol as a whole.
//!
//! Each message is one [`crate::frame`]. New messages are added at the end of the enums, so that an old
//! program reads all it knows; [`PROTOCOL`] changes when an old message changes.

use crate::calibration::Packed;
use crate::frame::{FrameError, MAX_BODY};
use crate::sensor::Kind;
#[cfg(feature = "advisory")]
use crate::store::RunningCrc;
use crate::store::crc32;
use crate::wire;
#[cfg(feature = "advisory")]
use landfall_core::thresholds::{FanCurve, NoThresholds, WatchedBags, WatchedForm, WatchedSite};
#[cfg(feature = "advisory")]
use landfall_core::watch::Thresholds;
use landfall_core::watch::{
    BesideSeen, Fault, GaugePa, Reason, ResetCause, SensorFault, State, TimeUs, WatchSettings, What,
};
use serde::ser::SerializeTuple as _;
use serde::{Deserialize, Serialize};

/// Version of the messages.
pub const PROTOCOL: u8 = 3;
/// Speed of the serial line, baud.
pub const BAUD: u32 = 115_200;
/// Steps between two status messages: 10 a second.
pub const STATUS_STEPS: u32 = 5;

/// Most bytes that are stored for settings, with or without their site: beside them stands the floor of revisions.
#[cfg(feature = "advisory")]
const STORED: usize = crate::store::SETTINGS - 4;

/// From the box.
// The sizes differ, but one message at a time is held.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum FromBox {
    /// Who it is: after a start and when asked.
    Hello(Hello),
    /// How things are: ten times a second.
    Status(Status),
    /// Something happened. Also sent where the log had no room for it.
    Event(Entry),
    /// A record of the log, when asked for.
    Logged {
        /// Its place in the sequence of all records.
        sequence: u32,
        /// The record.
        entry: Entry,
    },
    /// The log ends here.
    LogEnd {
        /// Sequence number that the next record will get.
        next: u32,
        /// Records sent since it was asked.
        sent: u32,
    },
    /// The settings in flash, when asked for.
    Settings(Option<WatchSettings>),
    /// The offered settings as they were understood; nothing is stored yet.
    Staged(WatchSettings),
    /// The settings as read back from flash: from now on these hold.
    Stored(WatchSettings),
    /// The last request was not done.
    Refused(Refusal),
    /// What the last five steps were fed with: ten times a second.
    Fed(Fed),
    /// The log is being read: ten times a second until its end.
    Reading {
        /// Records sent so far.
        sent: u32,
    },
    /// Site and settings are forgotten.
    Forgot {
        /// No revision up to this one is taken again, of any site.
        floor: u32,
    },
    /// The offered site as it was understood; nothing is stored yet.
    #[cfg(feature = "advisory")]
    StagedSite(WatchedSite),
    /// The offered bags as they were understood.
    #[cfg(feature = "advisory")]
    StagedBags(WatchedBags),
    /// The offered blower's curve as it was understood.
    #[cfg(feature = "advisory")]
    StagedCurve(FanCurve),
    /// Planned and today's thresholds: when they change, and when asked.
    #[cfg(feature = "advisory")]
    Today(Today),
    // The numbers of those four, so that what follows has the same one with and without the advisory.
    #[cfg(not(feature = "advisory"))]
    #[doc(hidden)]
    None12,
    #[cfg(not(feature = "advisory"))]
    #[doc(hidden)]
    None13,
    #[cfg(not(feature = "advisory"))]
    #[doc(hidden)]
    None14,
    #[cfg(not(feature = "advisory"))]
    #[doc(hidden)]
    None15,
    /// What is known of the parts beside: once a second where the settings name any.
    Beside(BesideSeen),
    /// The sensor's calibration as it lies in flash: when asked, and when it has been stored.
    Calibration(Packed),
}

/// To the box.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
// As above.
#[allow(clippy::large_enum_variant)]
pub enum ToBox {
    /// Say who you are.
    Identify,
    /// Send the settings that hold.
    ReadSettings,
    /// Send the log.
    ReadLog {
        /// From this sequence number on.
        from: u32,
    },
    /// First half of a change of settings: here they are.
    Offer(WatchSettings),
    /// Second half: store what was staged. The button must be held down.
    Confirm {
        /// [`check_of`] of the staged settings; with a staged site, bags and curve [`check_with_form`].
        check: u32,
    },
    /// Forget site and settings. The button must be held down, and nobody may be riding.
    Forget {
        /// The site that it has, so that it is not another box.
        site_id: u32,
    },
    /// After an offer of settings: their site in compact form.
    #[cfg(feature = "advisory")]
    OfferSite(WatchedSite),
    /// And its three bags.
    #[cfg(feature = "advisory")]
    OfferBags(WatchedBags),
    /// After an offer of settings: the blower's curve.
    #[cfg(feature = "advisory")]
    OfferCurve(FanCurve),
    /// Send planned and today's thresholds.
    #[cfg(feature = "advisory")]
    ReadToday,
    /// Today's air, for a box without a barometer, until it is switched off. The button must be held down.
    #[cfg(feature = "advisory")]
    Air {
        /// Pressure, Pa.
        pressure_pa: f32,
        /// Temperature, K.
        temperature_k: f32,
    },
    // The numbers of those five.
    #[cfg(not(feature = "advisory"))]
    #[doc(hidden)]
    None6,
    #[cfg(not(feature = "advisory"))]
    #[doc(hidden)]
    None7,
    #[cfg(not(feature = "advisory"))]
    #[doc(hidden)]
    None8,
    #[cfg(not(feature = "advisory"))]
    #[doc(hidden)]
    None9,
    #[cfg(not(feature = "advisory"))]
    #[doc(hidden)]
    None10,
    /// Send the sensor's calibration.
    ReadCalibration,
    /// Store this calibration, or none. The button must be held down.
    Calibrate(Packed),
}

/// Who the box is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Hello {
    /// [`PROTOCOL`].
    pub protocol: u8,
    /// Version of the program: major, minor, patch.
    pub program: [u8; 3],
    /// Starts counted so far.
    pub boot: u16,
    /// Why it started.
    pub cause: ResetCause,
    /// Sensor that was found.
    pub sensor: Option<Kind>,
    /// Highest pressure that it can tell, Pa.
    pub range_pa: f32,
    /// Site and revision of the settings that hold.
    pub settings: Option<(u32, u32)>,
}

/// How things are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Status {
    /// Time since the start.
    pub at: TimeUs,
    /// State and reason; none without settings, when nothing is watched.
    pub state: Option<(State, Reason)>,
    /// Riding may go on.
    pub permit: bool,
    /// The siren is called for.
    pub siren: bool,
    /// The sensor fault, if any.
    pub fault: Option<Fault>,
    /// Filtered gauge pressure, Pa.
    pub gauge_pa: Option<f32>,
    /// Blowers' supply, where sensed.
    pub supply: Option<bool>,
    /// The button is down.
    pub button: bool,
    /// Landings since the start.
    pub landings: u32,
    /// Since the last landing, s.
    pub since_landing_s: Option<f32>,
    /// Until the stop pressure, if the bag goes on losing air, s.
    pub forecast_s: Option<f32>,
    /// Density of the outside air, where sensed, kg/m³.
    pub density_kgpm3: Option<f32>,
    /// Temperature at the outside sensor, where there is one, °C.
    pub temperature_degc: Option<f32>,
    /// Longest step since the last status, µs.
    pub step_us: u32,
    /// Records for which the log had no room.
    pub lost: u32,
}

/// What [`STATUS_STEPS`] steps in a row were fed with: enough to run the watch again on a recording of them and to
/// come to the same decisions.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Fed {
    /// Time of the first of them since the start.
    pub at: TimeUs,
    /// The steps, oldest first.
    pub steps: [FedStep; STATUS_STEPS as usize],
}

/// What one step was fed with.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FedStep {
    /// Since the first step of the message, µs.
    pub after_us: u32,
    /// The sensor's reading before zeroing, or why there is none.
    pub reading: Result<GaugePa, SensorFault>,
    /// Blowers' supply, where sensed.
    pub supply: Option<bool>,
    /// The button is down.
    pub button: bool,
}

/// A record of the log.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Entry {
    /// Which start of the box.
    pub boot: u16,
    /// Time since that start.
    pub at: TimeUs,
    /// What happened.
    pub what: Noted,
}

/// [`FromBox::Logged`] with the entry as it stands in flash: a box need not understand it to send it.
#[derive(Clone, Copy, Debug)]
pub struct LoggedBytes<'a> {
    /// Its place in the sequence of all records.
    pub sequence: u32,
    /// The entry's bytes.
    pub entry: &'a [u8],
}

impl Serialize for LoggedBytes<'_> {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        // The message's number, one byte, and the rest without lengths, as the enum would be written.
        let mut tuple = to.serialize_tuple(2 + self.entry.len())?;
        tuple.serialize_element(&LOGGED)?;
        tuple.serialize_element(&self.sequence)?;
        self.entry.iter().try_for_each(|byte| tuple.serialize_element(byte))?;
        tuple.end()
    }
}

/// Number of [`FromBox::Logged`].
const LOGGED: u8 = 3;
/// Number of [`Noted::Kept`].
const KEPT: u8 = 1;

/// What a starting box looks for in an entry.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EntryHead {
    /// Which start of the box.
    pub boot: u16,
    /// What must be known, if that is what the entry holds.
    pub kept: Option<Kept>,
}

impl EntryHead {
    /// Of an entry's bytes.
    pub fn of(entry: &[u8]) -> Option<Self> {
        let ((boot, _, number), rest) = postcard::take_from_bytes::<(u16, TimeUs, u8)>(entry).ok()?;
        let kept = if number == KEPT { Some(postcard::from_bytes(rest).ok()?) } else { None };
        Some(Self { boot, kept })
    }
}

/// What is noted.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Noted {
    /// The watch's own events.
    Watch(What),
    /// What must be known after a start.
    Kept(Kept),
    /// The box started.
    Booted(ResetCause),
    /// Settings were stored.
    Settings {
        /// Their site.
        site_id: u32,
        /// Their revision.
        revision: u32,
    },
    /// The box was told to forget its site.
    Forgotten,
    /// Figures of an hour, or of what of it there was before a stop or the end of the day.
    Hour(Hour),
    /// Which thresholds hold has changed.
    #[cfg(feature = "advisory")]
    Today {
        /// Which, and why.
        verdict: Verdict,
        /// Pressure, Pa, and temperature, K, of the air.
        air: Option<(f32, f32)>,
        /// Stop pressure that holds, Pa.
        stop_pa: f32,
        /// Wait pressure that holds, Pa.
        wait_pa: f32,
        /// Upper end that holds, Pa.
        high_pa: f32,
    },
    /// The number of that one.
    #[cfg(not(feature = "advisory"))]
    #[doc(hidden)]
    None6,
    /// The sensor's calibration was stored, with this span; or taken out, with 1.
    Calibrated(f32),
}

/// Figures of an hour of riding.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Hour {
    /// Landings.
    pub landings: u16,
    /// Landings that were not back in time.
    pub slow: u16,
    /// Waits for something else than a landing.
    pub waits: u16,
    /// Steps with the permit, 50 a second.
    pub permit_steps: u32,
    /// Lowest filtered pressure with the permit, Pa; infinite if there was none.
    pub least_pa: f32,
    /// Highest landing, Pa.
    pub peak_pa: f32,
    /// Deepest dip, Pa.
    pub dip_pa: f32,
    /// Longest recovery that was in time, s.
    pub recovery_s: f32,
}

impl Hour {
    /// Nothing happened.
    pub const EMPTY: Self = Self {
        landings: 0,
        slow: 0,
        waits: 0,
        permit_steps: 0,
        least_pa: f32::INFINITY,
        peak_pa: 0.0,
        dip_pa: 0.0,
        recovery_s: 0.0,
    };
}

/// What a box must know from before it started.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Kept {
    /// The last zero, Pa.
    pub zero_pa: Option<f32>,
    /// A stop or a fault is not acknowledged yet.
    pub unacknowledged: bool,
    /// Somebody may be riding: the permit has been given, and the day has not been ended since.
    pub duty: bool,
}

/// Which thresholds hold, and why.
#[cfg(feature = "advisory")]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Verdict {
    /// Today's hold, by the rule of [`landfall_core::thresholds`].
    Today,
    /// There are no settings.
    #[default]
    NoSettings,
    /// Planned: no site came with the settings.
    NoSite,
    /// Planned: no barometer, and nobody stated the air.
    NoAir,
    /// Planned: the air is outside what is believed.
    AirNotBelieved,
    /// Those that held before: today's are being computed.
    Computing,
    /// Those that held before: new ones wait until the permit is off.
    Waiting,
    /// Planned: the models refuse a value.
    Refused,
    /// Planned: a search did not close.
    NotConverged,
    /// Planned, and no permit: the bag asks for a stop pressure that cannot be told from the resting pressure.
    NoStop,
    /// Planned, and no permit: even the resting pressure is too near to the stop pressure.
    NoWait,
    /// Planned, and no permit: the bag rests outside the pressures to ride between.
    NoHigh,
    /// Planned, and no permit: the blowers never bring the bag back after the mean landing.
    NeverBack,
    /// Planned, and no permit: the stricter of planned and today's leave no pressure to ride at.
    OutOfOrder,
}

#[cfg(feature = "advisory")]
impl Verdict {
    /// Today's were computed, and they leave no pressure to ride at: the planned ones hold, without a permit.
    #[must_use]
    pub const fn withholds(self) -> bool {
        matches!(self, Self::NoStop | Self::NoWait | Self::NoHigh | Self::NeverBack | Self::OutOfOrder)
    }
}

#[cfg(feature = "advisory")]
impl From<NoThresholds> for Verdict {
    fn from(why: NoThresholds) -> Self {
        match why {
            NoThresholds::NotConverged => Self::NotConverged,
            NoThresholds::NoStop => Self::NoStop,
            NoThresholds::NoWait => Self::NoWait,
            NoThresholds::NoHigh => Self::NoHigh,
            NoThresholds::NeverBack => Self::NeverBack,
            _ => Self::Refused,
        }
    }
}

/// Planned and today's thresholds side by side.
#[cfg(feature = "advisory")]
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Today {
    /// Which hold.
    pub verdict: Verdict,
    /// Pressure, Pa, and temperature, K, of the air that was computed with.
    pub air: Option<(f32, f32)>,
    /// As planned.
    pub planned: Option<Thresholds>,
    /// What today's air gives by itself.
    pub computed: Option<Thresholds>,
    /// What the watch goes by.
    pub in_force: Option<Thresholds>,
}

/// Why a request was not done.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Refusal {
    /// The settings contradict themselves, or are of another layout.
    Impossible,
    /// They are for another site than the one that the box has.
    Foreign {
        /// The box's site.
        site_id: u32,
    },
    /// They are older than the box's, or as old and different.
    Stale {
        /// The box's revision.
        revision: u32,
    },
    /// The fitted sensor does not reach as far as they need.
    SensorRange {
        /// How far it reaches, Pa.
        range_pa: f32,
    },
    /// Nothing is staged, it was something else, or it was too long ago.
    NotStaged,
    /// The button is not held down.
    Button,
    /// The flash did not take them; the former ones still hold.
    Flash,
    /// The frame was broken or not understood.
    Frame,
    /// Somebody may be riding: the day must be ended first.
    OnDuty,
}

/// Checksum that stands for `settings` in [`ToBox::Confirm`]: CRC-32 of their postcard bytes.
///
/// # Errors
/// [`FrameError::TooLong`] if they do not fit into a frame; the present layout does.
pub fn check_of(settings: &WatchSettings) -> Result<u32, FrameError> {
    let mut bytes = [0; MAX_BODY];
    let length = wire::write(settings, &mut bytes).map_err(|_| FrameError::TooLong)?;
    bytes.get(..length).map(crc32).ok_or(FrameError::TooLong)
}

/// The same for settings with their site, bags and blower's curve.
///
/// # Errors
/// [`FrameError::TooLong`] if they do not fit into the store; the present layouts do.
#[cfg(feature = "advisory")]
pub fn check_with_form(settings: &WatchSettings, form: &WatchedForm) -> Result<u32, FrameError> {
    check_of_stored(&(settings, form))
}

/// CRC-32 of what would be stored, without a buffer for it.
#[cfg(feature = "advisory")]
pub(crate) fn check_of_stored<T: Serialize>(stored: &T) -> Result<u32, FrameError> {
    let mut sum = Summed { check: RunningCrc::new(), room: STORED };
    wire::write_to(stored, &mut sum).map_err(|_| FrameError::TooLong)?;
    Ok(sum.check.value())
}

/// Takes a message's bytes into a checksum as they come.
#[cfg(feature = "advisory")]
struct Summed {
    check: RunningCrc,
    room: usize,
}

#[cfg(feature = "advisory")]
impl wire::Sink for Summed {
    fn put(&mut self, byte: u8) -> Result<(), wire::NotWritten> {
        self.room = self.room.checked_sub(1).ok_or(wire::NotWritten)?;
        self.check.take(&[byte]);
        Ok(())
    }
}

/// Whether a box that has `held`, and has had revisions up to `floor`, may take `offered`.
///
/// # Errors
/// [`Refusal::Impossible`], [`Refusal::Foreign`] or [`Refusal::Stale`].
pub fn may_replace(held: Option<&WatchSettings>, floor: u32, offered: &WatchSettings) -> Result<(), Refusal> {
    offered.validate().map_err(|_| Refusal::Impossible)?;
    let Some(held) = held else {
        return if offered.revision > floor { Ok(()) } else { Err(Refusal::Stale { revision: floor }) };
    };
    if held.site_id != offered.site_id {
        return Err(Refusal::Foreign { site_id: held.site_id });
    }
    if offered.revision > held.revision.max(floor) || offered == held {
        Ok(())
    } else {
        Err(Refusal::Stale { revision: held.revision.max(floor) })
    }
}

#[cfg(test)]
pub(crate) mod tests;
