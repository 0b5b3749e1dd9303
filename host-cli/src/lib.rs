//! The planner's side of Landfall: the site file, the sampling, the reports.
#![forbid(unsafe_code)]
pub mod commands_site;
pub mod site;
