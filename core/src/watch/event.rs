//! The words of the watch: time, readings, states, reasons, faults, and the events for the log.

use super::landing::Landing;
use super::selftest::SelfTest;

/// Microseconds since the box started.
///
/// 64 bits, since a microsecond count of that width runs for half a million years: it never wraps, so
/// that a time which steps back is known to be wrong. (32 bits of milliseconds wrap after 50 days, and a
/// wrap and a fault would look alike.)
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TimeUs(pub u64);

impl TimeUs {
    /// From milliseconds.
    #[must_use]
    pub const fn from_ms(ms: u64) -> Self {
        Self(ms.saturating_mul(1000))
    }

    /// In seconds, for display.
    #[must_use]
    pub fn seconds(self) -> f64 {
        self.0 as f64 * 1e-6
    }
}

/// Pressure above the outside air, in pascal.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct GaugePa(pub f32);

/// What the sensor's driver says when it has no reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum SensorFault {
    /// The sensor did not answer on the bus.
    Nack,
    /// A checksum did not match.
    Crc,
    /// The bus is held or a transfer ran out of time.
    BusStuck,
    /// The sensor reports a value outside its range.
    OutOfRange,
    /// No new reading is ready yet.
    NotReady,
    /// The reading is an old one.
    Stale,
    /// Not the part that was expected, or it gave up its mode.
    Identity,
    /// Two sensors that should agree do not.
    Disagree,
}

impl SensorFault {
    /// All kinds.
    pub const ALL: [Self; 8] = [
        Self::Nack,
        Self::Crc,
        Self::BusStuck,
        Self::OutOfRange,
        Self::NotReady,
        Self::Stale,
        Self::Identity,
        Self::Disagree,
    ];

    /// The kind in one lower-case word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        Fault::from_sensor(self).word()
    }

    /// The kind that a word stands for.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|f| f.word() == word)
    }
}

/// Why the sensor, or what the box needs to judge by, is not believed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Fault {
    /// [`SensorFault::Nack`].
    Nack,
    /// [`SensorFault::Crc`].
    Crc,
    /// [`SensorFault::BusStuck`].
    BusStuck,
    /// Outside the range that is believed, or not a number.
    OutOfRange,
    /// [`SensorFault::NotReady`].
    NotReady,
    /// [`SensorFault::Stale`].
    Stale,
    /// [`SensorFault::Identity`].
    Identity,
    /// [`SensorFault::Disagree`].
    Disagree,
    /// Changed faster than air in a bag can.
    Rate,
    /// Does not move as a live bag does.
    Frozen,
    /// Moves far more than a bag does.
    Noisy,
    /// The sensor's temperature is outside -40 to 85 degrees Celsius.
    Temperature,
    /// The watch was not stepped in time: readings are missing.
    Late,
    /// Time stood still or went back.
    Clock,
    /// No believable zero.
    ZeroRefused,
    /// The settings count on a supply sense that is not there.
    SenseMissing,
    /// The button has been down for longer than anybody holds it.
    ButtonStuck,
    /// The permit's loop stays closed though the permit is off: a relay that is welded, or a driver that is shorted.
    PermitStuck,
    /// The permit's loop stays open though the permit is on.
    PermitOpen,
    /// The second sensor gives nothing.
    SecondLost,
}

impl Fault {
    /// The sensor's own word as a fault.
    #[must_use]
    pub const fn from_sensor(fault: SensorFault) -> Self {
        match fault {
            SensorFault::Nack => Self::Nack,
            SensorFault::Crc => Self::Crc,
            SensorFault::BusStuck => Self::BusStuck,
            SensorFault::OutOfRange => Self::OutOfRange,
            SensorFault::NotReady => Self::NotReady,
            SensorFault::Stale => Self::Stale,
            SensorFault::Identity => Self::Identity,
            SensorFault::Disagree => Self::Disagree,
        }
    }

    /// The kind in lower case, words joined by underscores.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Nack => "nack",
            Self::Crc => "crc",
            Self::BusStuck => "bus_stuck",
            Self::OutOfRange => "out_of_range",
            Self::NotReady => "not_ready",
            Self::Stale => "stale",
            Self::Identity => "identity",
            Self::Disagree => "disagree",
            Self::Rate => "rate",
            Self::Frozen => "frozen",
            Self::Noisy => "noisy",
            Self::Temperature => "temperature",
            Self::Late => "late",
            Self::Clock => "clock",
            Self::ZeroRefused => "zero_refused",
            Self::SenseMissing => "sense_missing",
            Self::ButtonStuck => "button_stuck",
            Self::PermitStuck => "permit_stuck",
            Self::PermitOpen => "permit_open",
            Self::SecondLost => "second_lost",
        }
    }
}

/// What the watch is doing. The table in the [module text](super) says how they follow each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum State {
    /// Start: lamps and siren are tried, the zero is taken.
    Check,
    /// The bag is not up yet.
    Fill,
    /// Riding may go on. The only state with the permit.
    Ride,
    /// No new rider. Goes back to ride by itself.
    Wait,
    /// Danger: the air is going. Held until a person acknowledges with the air back.
    Stop,
    /// Danger: the sensor is not believed. Held until a person acknowledges.
    Fault,
    /// The day is over: nobody rides, and the bag may go down. A new one begins with the check.
    Ended,
}

impl State {
    /// All states.
    pub const ALL: [Self; 7] = [Self::Check, Self::Fill, Self::Ride, Self::Wait, Self::Stop, Self::Fault, Self::Ended];

    /// The state in one lower-case word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Check => "check",
            Self::Fill => "fill",
            Self::Ride => "ride",
            Self::Wait => "wait",
            Self::Stop => "stop",
            Self::Fault => "fault",
            Self::Ended => "ended",
        }
    }
}

/// Why the watch is in its state.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Reason {
    /// Nothing to report.
    Normal,
    /// Trying lamps and siren, taking the zero.
    Starting,
    /// Not up to pressure yet.
    Filling,
    /// Up to pressure, waiting for it to stay there.
    Settling,
    /// Lamps and siren are being tried.
    Testing,
    /// Under the wait pressure.
    LowAir,
    /// Somebody has just landed; the bag has not recovered yet.
    Landing,
    /// A landing's dip lasts longer than computed.
    SlowRecovery,
    /// The resting pressure sinks; see the forecast.
    SlowLeak,
    /// Held above the firm pressure.
    TooFirm,
    /// Held above the bag maker's range.
    OverPressure,
    /// At or under the stop pressure.
    AirLost,
    /// Past half-way and falling to the stop pressure sooner than a rider needs, with no landing to explain it.
    AirFalling,
    /// The blowers' supply is off.
    SupplyCut,
    /// A stop or fault from before the box was reset has not been acknowledged.
    Unacknowledged,
    /// The sensor is not believed; the fault says why.
    NotBelieved,
    /// In today's air there is no pressure to ride at.
    NoBand,
    /// The button is being held to end the day, or has ended it.
    Ending,
    /// After a stop the blowers stayed off, by their supply or by each one's sense, and the bag flat: the day ended by itself.
    LeftOff,
    /// Nothing shows that the tube to the sensor is open: somebody must sit down on the bag, or a rider land.
    TubeUnproven,
    /// The board at the top of the roll-in does not answer.
    TopSilent,
    /// On the line to the top is something that should not be there: another box or board, or frames from before.
    TopStrange,
    /// Somebody holds riders back at the top.
    TopHeld,
    /// Blowers stand still while their supply is on: one of several, or, in stop, all of them.
    BlowerStill,
    /// The box's battery does not last the session, or next to nothing of it is left.
    BatteryLow,
    /// A test of the box's own program, memory or clock has failed.
    SelfTestFailed,
}

impl Reason {
    /// The reason in lower case, words joined by underscores.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Starting => "starting",
            Self::Filling => "filling",
            Self::Settling => "settling",
            Self::Testing => "testing",
            Self::LowAir => "low_air",
            Self::Landing => "landing",
            Self::SlowRecovery => "slow_recovery",
            Self::SlowLeak => "slow_leak",
            Self::TooFirm => "too_firm",
            Self::OverPressure => "over_pressure",
            Self::AirLost => "air_lost",
            Self::AirFalling => "air_falling",
            Self::SupplyCut => "supply_cut",
            Self::Unacknowledged => "unacknowledged",
            Self::NotBelieved => "not_believed",
            Self::NoBand => "no_band",
            Self::Ending => "ending",
            Self::LeftOff => "left_off",
            Self::TubeUnproven => "tube_unproven",
            Self::TopSilent => "top_silent",
            Self::TopStrange => "top_strange",
            Self::TopHeld => "top_held",
            Self::BlowerStill => "blower_still",
            Self::BatteryLow => "battery_low",
            Self::SelfTestFailed => "self_test_failed",
        }
    }
}

/// Why the box started, as far as its hardware can tell.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ResetCause {
    /// Switched on.
    PowerOn,
    /// The supply sagged.
    BrownOut,
    /// The program stopped stepping.
    Watchdog,
    /// Asked for, such as after new settings.
    Software,
    /// Not known.
    #[default]
    Unknown,
}

/// An entry for the log.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Event {
    /// The time that the step came with.
    pub at: TimeUs,
    /// What happened.
    pub what: What,
}

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum What {
    /// The watch began, with these settings.
    Started {
        /// Why the box started.
        cause: ResetCause,
        /// The settings' site.
        site_id: u32,
        /// The settings' revision.
        revision: u32,
    },
    /// The zero was taken from the vented bag (`stored` false) or from the last time (`stored` true).
    Zeroed {
        /// Offset taken off every reading.
        offset_pa: f32,
        /// It came from storage.
        stored: bool,
    },
    /// The state changed.
    Changed {
        /// State before.
        from: State,
        /// State now.
        to: State,
        /// Why.
        reason: Reason,
        /// Filtered pressure, if there was one.
        gauge_pa: Option<f32>,
    },
    /// A fault began (in any state).
    Faulted(Fault),
    /// A person acknowledged.
    Acknowledged,
    /// A landing is over.
    Landed(Landing),
    /// The tests at the start are over, or one has failed.
    SelfTested(SelfTest),
    /// A blower that is sensed stands still, or runs again.
    Blower {
        /// Which, from 0.
        which: u8,
        /// It runs.
        runs: bool,
    },
    /// The battery: when it is first known, and when it withholds the permit.
    Battery {
        /// Voltage, V.
        voltage_v: f32,
        /// How long it lasts at least, an estimate, s.
        left_s: f32,
    },
}
