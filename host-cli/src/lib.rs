//! The planner's side of Landfall: the site file, the sampling, the reports.
#![deny(unsafe_code)]

#[cfg(not(target_family = "wasm"))]
pub mod box_side;
#[cfg(not(target_family = "wasm"))]
pub mod build;
#[cfg(not(target_family = "wasm"))]
pub mod commands_site;
#[cfg(not(target_family = "wasm"))]
pub mod dirt;
#[cfg(not(target_family = "wasm"))]
pub mod keep;
#[cfg(not(target_family = "wasm"))]
pub mod learn;
#[cfg(not(target_family = "wasm"))]
pub mod logbook;
pub mod outside;
pub mod page;
pub mod plan;
pub mod report;
pub mod sampling;
#[cfg(not(target_family = "wasm"))]
pub mod serve;
pub mod shown;
pub mod site;
