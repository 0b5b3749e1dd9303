//! The `landfall` command.
#![forbid(unsafe_code)]
// What the other commands share is there all the same.
#![cfg_attr(not(feature = "full"), allow(dead_code))]

mod cli;

fn main() -> std::process::ExitCode {
    cli::run()
}
