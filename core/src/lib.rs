//! The physics and the alarm logic of Landfall.
//!
//! Single precision throughout, every elementary function through `libm`, so that a device and a
//! planner compute the same bits. No allocation, no panic, every loop bounded. SI inside: metre,
//! kilogram, second, pascal, radian.
#![no_std]
#![forbid(unsafe_code)]

pub mod error;

pub use error::{InputError, Status};
