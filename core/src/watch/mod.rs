//! Watching the bag while people ride.
//!
//! [`Watch::step`] takes the time, a pressure reading or the sensor's fault, the supply sense and the
//! button, 50 times a second, and says what lamps, siren and permit carry. Time is an argument; nothing is
//! read from anywhere else, so a simulation, a recording and the box run the same code.
//!
//! # States
//!
//! | state | means | permit | siren | leaves to |
//! | --- | --- | --- | --- | --- |
//! | check | start: lamps and siren tried, zero taken | off | trial | fill when done; fault |
//! | fill | not up yet | off | off | ride when ready for the recovery time; fault |
//! | ride | riding may go on | **on** | off | wait, stop, fault |
//! | wait | no new rider: landing not recovered, low, too firm, leak; the board at the top, a blower, the battery or a test at the start withholds | off | off | ride by itself when ready for 1 s; stop, fault |
//! | stop | the air is going: at or under stop, supply cut, no blower running, or falling past half-way | off | on | wait, by a held button with the air back; ended, if the supply is off or no blower runs, and the bag is flat, for 5 min |
//! | fault | the sensor is not believed | off | on | wait (or check, if nobody ever had the permit) by a held button with the sensor believed and the air back (of the permit's loop: once the day is ended); stop if believed and the air is gone |
//! | ended | the day is over: nobody rides | off | off | check, by a short press or the supply coming on again |
//!
//! From the first ride until the day is ended people may be riding (*duty*), also over a reset of the box: it then begins in
//! wait, or in stop if one was pending. Every state but check leads to ended by a long hold of the button; the permit
//! goes 2 s into it, and it lasts longer than whoever rolls then needs. A stop that ended by itself stays to be
//! acknowledged, in fill, before the first ride.
//!
//! # Acknowledging
//! The button must be seen up, then go down while the air has been back for 1 s, and stay down for 2 s with no
//! step missed (one late by a whole step is let pass). A button that is stuck, or held since before the air came back, does nothing. In fill and wait
//! a short press tries lamps and siren.
//!
//! # How fast
//! At 50 Hz, three of the last seven readings at or under the stop pressure (raised by the sensor's error) sound the
//! siren: at most 60 ms after the crossing and 20 ms for the sampling, so any stay of 80 ms is noticed. An
//! empty slot (bus error, bad checksum, late step) counts with them. Up to three empty slots (60 ms) are bridged; the
//! fourth of any seven is a fault: permit off and siren, 80 ms after the last good reading. A single bad
//! checksum changes nothing.
//! The permit follows the median of the last three good readings, and goes as well if that will be at half-way in
//! three readings' time.
//!
//! # Decisions that were open
//! - A dip after a landing that goes to the stop pressure sounds the siren like any other loss: a rider who
//!   follows closely would meet the same soft bag. Settings under which an expected landing does this are refused.
//! - From the spike until the dip is over the permit is off (wait): the bag is occupied and has not recovered.
//! - With the supply sense, a cut is a stop with the siren, not only a missing permit: the air is known to be about
//!   to go, and a rider who is rolling does not see the lamp.
//! - Past half-way and falling, without a landing, to reach the stop pressure sooner than a rolling rider needs: siren, ahead of
//!   the stop pressure, for the same reason.
//! - For the first half second after a start the sensor may be silent.
//! - Wind may draw a flat bag's pressure to half of the stop pressure below the outside's; swapped ports go further.
//! - A landing lifts the pressure within a quarter of a second; a slower rise is wind, or a bag at another pressure.
//! - While a stop is pending, a fault does not end it; it must be over before a person can acknowledge.
//!
//! # Not covered
//! A shut tube shows after two to forty seconds where the bag's ripple is seen over the sensor's own noise, else by the
//! time since the last swing ([`tube`]). In those seconds the bag may fall unseen. A box that is not stepped at all says nothing: the board's watchdog
//! must drop the outputs. No recordings of a real bag stand behind the bounds on noise.
//!
//! # Example
//! ```
//! use landfall_core::watch::{Input, Start, State, TimeUs, Watch, WatchSettings};
//!
//! let mut watch = Watch::new(WatchSettings::EXAMPLE, Start::default())?;
//! let out = watch.step(&Input::reading(TimeUs(0), 0.0));
//! assert_eq!(out.state, State::Check);
//! assert!(!out.permit && out.pins.red);
//! # Ok::<(), landfall_core::InputError>(())
//! ```

pub mod battery;
pub mod beside;
pub mod blowers;
pub mod box_pressures;
mod clock;
pub mod decide;
pub mod event;
pub mod filter;
mod input;
pub mod landing;
pub mod machine;
pub mod parts;
pub mod permit;
pub mod plausibility;
pub mod second;
pub mod selftest;
pub mod settings;
#[cfg(feature = "serde")]
mod settings_wire;
pub mod signal;
pub mod thresholds;
pub mod tube;
pub mod zero;

pub use event::{Event, Fault, GaugePa, Reason, ResetCause, SensorFault, State, TimeUs, What};
pub use input::{EVENTS, Input, Output, Start};
pub use landing::Landing;
pub use machine::Watch;
pub use parts::{Beside, BesideSeen, Parts};
pub use selftest::{SelfTest, Tested};
pub use settings::{PARTS_VERSION, SETTINGS_VERSION, WITH_TOP, WatchSettings};
pub use signal::Pins;
pub use thresholds::{Thresholds, in_force};
