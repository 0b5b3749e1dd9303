//! From the bag to dirt: how a trick stands by its runs, the landing that is built for it, and jumps in a line.
//!
//! The flights are the core's; what is built and counted here takes them as they are.
//!
//! - [`chance`]: shares with their intervals, and how many clean runs a chance and a confidence want.
//! - [`landing`]: a deck, a knuckle, a slope, a transition, a roll-out; [`meet`]: where and how a run comes down on it.
//! - [`after`]: the ride from there to the roll-out's end.
//! - [`built`]: the landing that the spread of a site's runs wants.
//! - [`ready`]: the runs of one trick. [`mod@line`]: sites behind each other.
//! - [`picture`]: the landing beside the bag, to scale.
//!
//! Frame: x forward from the lip, y to the left, z up from the take-off's foot. Units: m, m/s, radians; slopes down positive.
//!
//! # Settled here
//! - **Runs of a trick** on a landing: the mean run with the lip speed that leads to where it came down on the bag,
//!   moved across.

pub mod after;
pub mod built;
pub mod chance;
pub mod landing;
pub mod line;
pub mod meet;
pub mod picture;
pub mod ready;
mod tries;
