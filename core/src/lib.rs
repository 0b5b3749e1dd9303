//! The physics and the alarm logic of Landfall.
//!
//! Single precision throughout, every elementary function through `libm`, so that a device and a
//! planner compute the same bits. No allocation, no panic, every loop bounded. SI inside: metre,
//! kilogram, second, pascal, radian.
//!
//! Five jobs, each with a program among the examples:
//!
//! | job | begin with |
//! | --- | --- |
//! | one run | [`Setup::run`] |
//! | a spread | [`differences`], [`mixture`](spread::mixture) |
//! | a touch-down | [`touch_down`] |
//! | a watch step, simulated or replayed on a host | [`Watch::step`] |
//! | the same on a board | [`Watch::step`] |
//!
//! What stands at the top here is enough for them; the modules hold the rest.
//!
//! A tour, in the order in which a run meets them:
//! - [`air`], [`path`], [`takeoff`], [`bag`]: the site as numbers, checked at construction;
//! - [`ride`], [`flight`], [`run`]: one run from the start to contact, over [`lane`]s;
//! - [`inputs`], [`spread`]: what varies from run to run, and where landings then fall;
//! - [`blower`], [`openings`], [`supply`], [`slow_gas`]: what enters and leaves the bag, and how long that takes;
//! - [`bag_gas`], [`force_area`], [`touchdown`], [`along_top`]: the gas spring that stops a body, and where it goes on to;
//! - [`possible_bags`], [`levels`], [`ride_limits`], [`ground_chance`]: what is not known of a bag, and the pressures and
//!   chances that follow;
//! - [`placement`], [`short_zone`], [`stop_line`], [`sizing`], [`landing_shape`], [`landing_plane`], [`wind`]: what a builder and a coach ask;
//! - [`watch`]: the alarm on the bag; [`thresholds`]: what it uses, for any air; [`top`]: the lamp at the top of the roll-in.
//!
//! Frame: x forward from the lip along the take-off's centre line, y to the left, z up from the
//! take-off's foot; the lip edge is at x = 0, z = height of the take-off.
#![no_std]
#![forbid(unsafe_code)]
#![warn(clippy::must_use_candidate)]

#[cfg(test)]
extern crate std;

pub mod air;
pub mod along_top;
pub mod bag;
pub mod bag_gas;
pub mod blower;
pub mod bracket;
pub mod critical_speed;
mod dormand_prince;
mod energy_balance;
pub mod error;
pub mod flight;
pub mod flows;
pub mod force_area;
pub mod ground_chance;
mod hermite;
pub mod inputs;
pub mod landing_limits;
pub mod landing_plane;
pub mod landing_shape;
pub mod lane;
pub mod levels;
mod mixture;
mod normal;
pub mod normal_speeds;
pub mod openings;
pub mod path;
pub mod placement;
pub mod possible_bags;
pub mod ride;
pub mod ride_limits;
pub mod run;
pub mod short_zone;
mod sinking;
pub mod sizing;
pub mod slow_gas;
pub mod spread;
pub mod stop_line;
pub mod supply;
pub mod takeoff;
#[cfg(test)]
mod test_sites;
pub mod thresholds;
pub mod top;
pub mod touchdown;
pub mod watch;
pub mod wind;
mod worst_bags;

pub use air::Air;
pub use bag::{Bag, Outcome};
pub use error::{InputError, Status};
pub use force_area::ForceArea;
pub use inputs::{COUNT, Inputs, Uncertain, Uncertainty};
pub use path::Path;
pub use ride::Steps;
pub use run::{Run, Setup};
pub use spread::{Differences, differences};
pub use takeoff::TakeOff;
pub use touchdown::{Landing, Touchdown, touch_down};
pub use watch::{Watch, WatchSettings};
