//! The pressure-watching box: sensors, link and storage, generic over `embedded-hal`.
//!
//! Drivers decode, the watch of `landfall-core` decides, the board acts. Every wait is bounded, every
//! bus error has a path, and no data is a state that alarms. Nothing here knows a chip: `firmware/boards`
//! holds the binaries. The [`link`] types are the host's as well.
#![no_std]
#![forbid(unsafe_code)]

#[cfg(test)]
#[macro_use]
extern crate std;

pub mod app;
pub mod baro;
pub mod board;
pub mod bridge;
pub mod calibration;
pub mod float;
pub mod frame;
pub mod gauge;
pub mod link;
#[cfg(feature = "top")]
pub mod pitch;
pub mod selftest;
pub mod sensor;
pub mod store;
pub mod thermal;
#[cfg(feature = "top")]
pub mod top;
pub mod wire;

#[cfg(test)]
#[allow(clippy::expect_used)]
mod mock;
