//! Learning from measured runs and bags: what replaces the site's assumed numbers, and whether today is as planned.
//!
//! - [`runs`] reads a table of runs, [`frames`] turns video frames into times;
//! - [`forward`] is what the model says of a measured run, through the core functions that plan;
//! - [`compare`] sets a day's runs beside the plan;
//! - [`loaded`], [`empty`], [`heard`] and [`drops`] take the measurements of a bag apart, [`knots`], [`bag_area`] and
//!   [`landed`] make a force area of them, [`bag_test`] puts all together and [`bag_sheet`] prints how it is done;
//! - [`linear`] and [`solve`] fit the parameters common to all runs and the scatter between them.

pub mod bag_area;
pub mod bag_sheet;
pub mod bag_test;
pub mod bag_text;
pub mod compare;
pub mod compare_text;
pub mod demo;
pub mod drops;
pub mod empty;
pub mod fit;
pub mod fit_text;
pub mod forward;
pub mod frames;
pub mod heard;
pub mod isotonic;
pub mod knots;
pub mod landed;
pub mod linear;
pub mod loaded;
pub mod next;
pub mod outliers;
pub mod runs;
pub mod small_fit;
pub mod solve;
pub mod write_site;
