//! Learning from measured runs and drops: what replaces the site's assumed numbers, and whether today is as planned.
//!
//! - [`table`] reads a table of measurements, [`runs`] one of runs, [`frames`] turns video frames into times;
//! - [`forward`] is what the model says of a measured run, through the core functions that plan;
//! - [`compare`] sets a day's runs beside the plan;
//! - [`drops`] and [`bag_fit`] do for the bag what the fit does for runs, [`along`] its intervals;
//! - [`linear`] and [`solve`] fit the parameters common to all runs and the scatter between them.

pub mod along;
pub mod bag_area;
pub mod bag_fit;
mod bag_path;
pub mod bag_text;
pub mod compare;
pub mod compare_text;
pub mod demo;
pub mod empty;
pub mod drops;
pub mod fit;
pub mod fit_text;
pub mod forward;
pub mod frames;
pub mod isotonic;
pub mod knots;
pub mod linear;
pub mod loaded;
pub mod next;
pub mod outliers;
pub mod runs;
pub mod small_fit;
pub mod solve;
pub mod table;
pub mod write_site;
