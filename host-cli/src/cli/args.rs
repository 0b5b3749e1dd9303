//! The arguments of every command; help, completions and man pages are made from these definitions.

#[cfg(not(feature = "full"))]
use std::ffi::OsString;

use clap::{Parser, Subcommand, ValueEnum};
const AFTER: &str = "\
Begin with:
  landfall plan --demo                 the whole report of an invented site
  landfall new --output hill.toml      a commented site file to fill in
  landfall check hill.toml             every fault of it at once, with its line
  landfall plan hill.toml              what was computed, inside and outside which limits

Data goes to stdout, messages go to stderr.
Exit code: 0 inside all limits, 1 outside a limit, 2 nothing could be computed, 130 stopped.
NO_COLOR in the environment turns colours off.

What is printed is computed from the inputs stated and the assumptions listed.
The bag maker's instructions, local codes and qualified people come first.";

/// Plan, place and check a roll-in, a take-off and a landing bag before anyone rides
#[derive(Debug, Parser)]
#[cfg_attr(
    not(feature = "full"),
    command(before_help = "This build plans only. Without --no-default-features it has all commands, \
                           from cutting the ramp to the box on the bag.")
)]
#[command(name = "landfall", version, about, after_help = AFTER, max_term_width = 100)]
pub(crate) struct Args {
    /// When to colour: on a terminal unless NO_COLOR is set, even into a pipe, or not at all.
    #[arg(
        long, global = true, value_enum, default_value_t = Color::Auto, value_name = "auto|always|never",
        hide_possible_values = true
    )]
    pub color: Color,
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// When to colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Color {
    /// On a terminal, unless NO_COLOR is set.
    Auto,
    /// Even into a file.
    Always,
    /// Not at all.
    Never,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    New(super::args_plan::New),
    Check(super::args_plan::Check),
    Plan(super::args_plan::Plan),
    Card(super::args_plan::Card),
    Page(super::args_page::Page),
    Size(super::args_plan::Size),
    Place(super::args_plan::Place),
    Air(super::args_plan::Air),
    Sweep(super::args_plan::Sweep),
    #[cfg(feature = "full")]
    Ramp(super::args_build::Ramp),
    #[cfg(feature = "full")]
    Progress(super::args_build::Progress),
    #[cfg(feature = "full")]
    Ground(super::args_ground::Ground),
    #[cfg(feature = "full")]
    Ready(super::args_ground::Ready),
    #[cfg(feature = "full")]
    Line(super::args_ground::Line),
    #[cfg(feature = "full")]
    Fit(super::args_learn::Fit),
    #[cfg(feature = "full")]
    BagTest(super::args_learn::BagTest),
    #[cfg(feature = "full")]
    Compare(super::args_learn::Compare),
    #[cfg(feature = "full")]
    Arm(super::args_box::Arm),
    #[cfg(feature = "full")]
    Watch(super::args_box::Watch),
    #[cfg(feature = "full")]
    Replay(super::args_box::Replay),
    #[cfg(feature = "full")]
    Log(super::args_box::Log),
    #[cfg(feature = "full")]
    Verify(super::args_box::Verify),
    #[cfg(feature = "full")]
    Calibrate(super::args_box::Calibrate),
    #[cfg(feature = "full")]
    Simulate(super::args_box::Simulate),
    #[cfg(feature = "full")]
    Serve(super::args_serve::Serve),
    #[cfg(feature = "full")]
    Logbook(super::args_logbook::Logbook),
    Schema(super::args_about::Schema),
    #[cfg(feature = "full")]
    Completions(super::args_about::Completions),
    #[cfg(feature = "full")]
    Man(super::args_about::Man),
    /// One that is not in this build.
    #[cfg(not(feature = "full"))]
    #[command(external_subcommand)]
    NotBuilt(Vec<OsString>),
}

/// The commands that a build without the feature `full` leaves out.
#[cfg(not(feature = "full"))]
pub(crate) const LEFT_OUT: [&str; 19] = [
    "ramp",
    "progress",
    "ground",
    "ready",
    "line",
    "fit",
    "bag-test",
    "compare",
    "arm",
    "watch",
    "replay",
    "log",
    "verify",
    "calibrate",
    "simulate",
    "serve",
    "logbook",
    "completions",
    "man",
];
