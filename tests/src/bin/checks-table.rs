//! Writes the tables of checks into the README, from what the tests left in `target/checks`.
//!
//!     cargo test -p landfall-tests
//!     cargo run -p landfall-tests --bin checks-table            # writes
//!     cargo run -p landfall-tests --bin checks-table -- --check # exit code 1 where the README says something else

use landfall_tests::checks::{put_between_marks, tables};
use std::path::Path;
use std::process::ExitCode;

fn run(only_check: bool) -> Result<(), String> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../README.md");
    let old = std::fs::read_to_string(&path).map_err(|error| format!("README.md: {error}"))?;
    let new = put_between_marks(&old, &tables()?)?;
    if new == old {
        return Ok(());
    }
    if only_check {
        let differing = new.lines().zip(old.lines()).filter(|(new, old)| new != old);
        let list: Vec<String> = differing.map(|(new, old)| format!("  is:     {old}\n  should: {new}")).collect();
        return Err(format!("the tables of checks in README.md is not what the tests say\n{}", list.join("\n")));
    }
    std::fs::write(&path, new).map_err(|error| format!("README.md: {error}"))
}

fn main() -> ExitCode {
    match run(std::env::args().any(|argument| argument == "--check")) {
        Ok(()) => ExitCode::SUCCESS,
        Err(message) => {
            eprintln!("{message}");
            ExitCode::FAILURE
        }
    }
}
