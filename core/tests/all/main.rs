//! Core alone against what nobody here wrote (closed forms, published figures, SciPy) and against the project's own
//! second solution of the model, written independently in double precision (`tests/reference`).
//!
//! The planner is compared with the whole of the second solution by the acceptance tests; here are the pieces and a few
//! sites, computed with core's functions alone, so that a fault in core fails a test of core.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a failure here is a report

mod air_supply;
mod bag_case;
mod bag_pieces;
/// The tables of checks, which all crates' tests write to.
#[allow(dead_code)] // the table itself is made elsewhere
#[path = "../../../tests/src/checks.rs"]
mod checks;
mod closed_forms;
mod drop_tests;
mod gaps;
mod landing_shape;
mod landings;
mod readers;
mod reference_pieces;
mod site;
mod site_bag;
mod site_runs;
mod touchdown_reference;
