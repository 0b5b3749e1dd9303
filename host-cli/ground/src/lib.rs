//! The ground that a jump stands on.
//!
//! Plain numbers in, plain numbers and pictures out; nothing here reads a file or knows a site's units.
//!
//! - [`profile`]: heights measured along the line, and what is wrong with a list of them.
//! - [`scene`]: what stands on the ground: the ridden surface, the platform, the bag, and the ground's own borders.
//! - [`fit`]: whether there is room along and across, and by how much it is missed.
//! - [`supports`]: how high the ridden surface is over the ground at every bay, and the steps up to the platform.
//! - [`earth`]: cut and fill by the prismoidal rule, and the level that takes the least digging.
//! - [`water`]: where it stands.
//! - [`clearance`]: how near an obstacle comes to riders, to their flights and to the bag.
//! - [`set_out`]: every corner by two tapes from two pegs; [`area`]: what polygons enclose.
//! - [`side`] and [`above`]: pictures to scale, whose labels [`labels`] keeps off each other.
//!
//! Frame: x forward from the lip, y to the left, z up from the take-off's foot. Units: m, m², m³, radians.

pub mod above;
pub mod area;
pub mod clearance;
pub mod earth;
pub mod fit;
pub mod labels;
pub mod profile;
pub mod scene;
pub mod set_out;
pub mod side;
pub mod supports;
mod svg;
pub mod water;

pub use profile::{Profile, ProfileError};
pub use scene::{BagBox, Ground, Layout, Obstacle};
pub use svg::{Drawing, Scale, Sheet, escaped};
