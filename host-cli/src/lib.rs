//! The planner's side of Landfall: the site file, the sampling, the reports.
#![deny(unsafe_code)]

pub mod dirt;
pub mod keep;
pub mod new_site;
pub mod page;
pub mod serve;
