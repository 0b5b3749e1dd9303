//! The planner's side of Landfall: the site file, the sampling, the reports.
#![deny(unsafe_code)]

pub mod box_side;
pub mod build;
pub mod commands_site;
pub mod page;
pub mod plan;
pub mod report;
pub mod sampling;
pub mod site;
