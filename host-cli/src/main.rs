//! The `landfall` command.
fn main() {}
