//! The site file: what a rider or builder writes down about the place, the riders, the roll-in, the take-off,
//! the bag and the blowers.
//!
//! - [`read_site`] turns the text into a [`Site`] in SI, or into all its [`Faults`] at once.
//! - [`Site::with_value`] and [`Site::set_si`] vary a resolved site, for sweeps.
//! - [`SiteFile`] edits a text and keeps its comments and order; [`starter`] is the text to begin with.
//! - [`KEYS`] is the table of all keys; [`site_schema`] is the same as a JSON Schema.

mod ask;
mod chain;
mod check;
mod convert;
mod draft;
mod element;
mod example;
mod fault;
mod ground;
mod group;
mod keys;
mod land;
mod like;
mod model;
mod order;
mod parts;
mod quantity;
mod ranges;
mod read;
mod resolve;
mod schema;
mod sweep;
mod syntax;
#[cfg(test)]
mod tests;
mod units;
mod unknown;
mod watched;
mod write;

pub use ask::questions;
pub use chain::MAX_SECTIONS;
pub use example::starter;
pub use fault::{Fault, Faults};
pub use keys::{ASSUMED_AREA, GROUP_KEYS, KEYS, Key, Kind, MOST_GROUPS, Preset, TABLES, find_key, nearest};
pub use land::{Ground, Obstacle};
pub use like::{Like, starter_like};
pub use model::{
    Anchors, Bag, Blower, ForceAreaStated, Gauge, Group, Place, Rider, RollIn, RollInKind, Second, Section, Sensor,
    Session, Site, Spread, Takeoff, Units, Unknown, Watch, Wind,
};
pub use quantity::{Quantity, QuantityError, parse_quantity};
pub use read::read_site;
pub use schema::site_schema;
pub use sweep::Setting;
pub use units::{Dimension, UNITS, Unit, plain};
pub use write::{SiteFile, demo, demo_text};
