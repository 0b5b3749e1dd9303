//! The planner of Landfall: the site file, the sampling, the plan, its pictures, the answers of its page.
#![deny(unsafe_code)]

pub mod checked;
pub mod ground;
pub mod landings;
pub mod lines;
pub mod outside;
pub mod page;
pub mod plan;
pub mod report;
pub mod shown;
pub mod site;
