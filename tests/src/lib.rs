//! Helpers shared by the acceptance tests.
#![forbid(unsafe_code)]

pub mod bag_air;
pub mod checks;
pub mod foreign_bag;
pub mod learn_sim;
pub mod mutated;
pub mod site_text;
pub mod watch_site;
