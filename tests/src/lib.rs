//! Helpers shared by the acceptance tests.
#![forbid(unsafe_code)]
