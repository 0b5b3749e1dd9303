//! The command as tests run it.

// Each test takes a part of it.
#![allow(clippy::unwrap_used, clippy::panic, dead_code)]

use std::path::Path;
use std::process::{Command, Output, Stdio};

use landfall_learn::demo;
use landfall_plan::site::demo_text;
use serde_json::Value;

/// Few runs: what is looked at here is the command line, not the figures.
pub const FEW: [&str; 2] = ["--samples", "5000"];

/// The command in a folder, without what a terminal sets.
pub fn command(folder: &Path, args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_landfall"));
    command.args(args).current_dir(folder).stdin(Stdio::null());
    for name in ["NO_COLOR", "CLICOLOR", "CLICOLOR_FORCE", "FORCE_COLOR", "COLUMNS"] {
        command.env_remove(name);
    }
    command
}

/// A folder with one of each file that a user cannot make again.
pub fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("s.toml"), demo_text()).unwrap();
    std::fs::write(folder.path().join("runs.csv"), demo::RUNS).unwrap();
    std::fs::write(folder.path().join("day.csv"), demo::DEFLATION).unwrap();
    folder
}

/// Runs in a folder that is there.
pub fn run_in(folder: &Path, args: &[&str]) -> Output {
    command(folder, args).output().unwrap()
}

/// Runs in a folder of its own.
pub fn run(args: &[&str]) -> Output {
    let folder = tempfile::tempdir().unwrap();
    command(folder.path(), args).output().unwrap()
}

/// With few runs.
pub fn few(args: &[&'static str]) -> Output {
    run(&[args, &FEW].concat())
}

/// Exit code.
pub fn code(output: &Output) -> i32 {
    output.status.code().unwrap()
}

/// Stdout.
pub fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

/// Stderr.
pub fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// Stdout as JSON.
pub fn json(output: &Output) -> Value {
    serde_json::from_str(&out(output)).unwrap_or_else(|error| panic!("{error}: {} {}", out(output), err(output)))
}

/// What a report's exit code must be: 1 where it has a finding of level stop.
pub fn code_of(report: &Value) -> i32 {
    let findings = report["findings"].as_array().unwrap();
    i32::from(findings.iter().any(|finding| finding["level"] == "stop"))
}

/// The exit code of the demo's plan, in any form.
pub fn demo_code() -> i32 {
    code_of(&json(&few(&["plan", "--demo", "--format", "json"])))
}
