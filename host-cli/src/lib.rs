//! The planner's side of Landfall: the site file, the sampling, the reports.
#![deny(unsafe_code)]

#[cfg(feature = "full")]
pub mod dirt;
pub mod keep;
pub mod new_site;
pub mod page;
#[cfg(feature = "full")]
pub mod serve;
