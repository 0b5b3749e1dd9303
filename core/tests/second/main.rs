//! Core alone against the project's own second solution of the model, written independently in double precision with
//! NumPy and SciPy (`tests/reference`): it checks the arithmetic, not the model.
//!
//! The planner is compared with the whole of it by the acceptance tests; here are the pieces and a few sites, computed
//! with core's functions alone, so that a fault in core fails a test of core.
#![allow(clippy::unwrap_used, clippy::panic)] // a failure here is a report

mod bag_case;
mod bag_pieces;
mod landings;
mod site;
mod site_bag;
mod site_runs;
