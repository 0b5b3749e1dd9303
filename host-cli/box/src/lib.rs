//! The computer's side of the pressure box: settings, link, recordings, and a box that is only numbers.
//!
//! [`arm`] computes the settings from the plan, [`today`] those of the day's air, [`mod@file`] and [`upload`] carry them to a box, [`sources`] and [`live`] follow boxes,
//! [`together`] takes several as one, [`replay`] runs a recording through the same watch, [`sim`] is a box on a computed bag, [`calibrate`] holds its
//! sensor against a reference, [`session`] puts down what a box's log says of a session. All of them use
//! the box's own code for frames and decisions. The box is a supplementary alarm, not a certified device.

pub mod arm;
pub mod bag;
pub mod beside;
pub mod calibrate;
pub mod draw;
pub mod events;
pub mod file;
pub mod line;
pub mod live;
pub mod noise;
pub mod port;
pub mod record;
pub mod replay;
pub mod script;
pub mod session;
pub mod sim;
mod sim_top;
pub mod sources;
pub mod today;
pub mod together;
pub mod upload;
pub mod words;

/// What closes everything that these commands print.
pub const CAUTION: &str = "The box is a supplementary alarm, not a certified device: somebody watches the bag and can stop \
the session without it.";
