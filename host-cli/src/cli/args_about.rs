//! The arguments of the commands that tell of the command itself: schemas, completions, manual pages.

#[cfg(feature = "full")]
use std::path::PathBuf;

use clap::ValueEnum;
#[cfg(feature = "full")]
use clap::ValueHint;
#[cfg(feature = "full")]
use clap_complete::Shell;

/// Print the JSON Schema of the site file or of the results
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall schema site > site.schema.json
  landfall schema results")]
pub(crate) struct Schema {
    /// Of what.
    #[arg(value_enum)]
    pub of: SchemaOf,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum SchemaOf {
    /// The site file, taken from TOML to JSON as it stands.
    Site,
    /// What `landfall plan --format json` prints.
    Results,
}

/// Print a shell's completions
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall completions bash > ~/.local/share/bash-completion/completions/landfall
  landfall completions zsh > ~/.zfunc/_landfall
  landfall completions fish > ~/.config/fish/completions/landfall.fish")]
#[cfg(feature = "full")]
pub(crate) struct Completions {
    /// The shell.
    #[arg(value_enum)]
    pub shell: Shell,
}

/// Print a manual page, or write all of them
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  landfall man | man -l -
  landfall man plan
  landfall man --folder ~/.local/share/man/man1")]
#[cfg(feature = "full")]
pub(crate) struct Man {
    /// The command; without it the page of landfall itself.
    #[arg(conflicts_with = "folder")]
    pub of: Option<String>,
    /// Write the pages of all commands into this folder.
    #[arg(long, value_hint = ValueHint::DirPath)]
    pub folder: Option<PathBuf>,
}
