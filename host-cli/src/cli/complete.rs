//! `landfall completions` and `landfall man`.

use std::fs;

use anyhow::Context as _;
use clap::{Command, CommandFactory as _};
use clap_mangen::Man as Page;

use super::args::Args;
use super::args_about::{Completions, Man};
use super::{End, note, output};

pub(crate) fn completions(args: &Completions) -> anyhow::Result<End> {
    let mut text = Vec::new();
    clap_complete::generate(args.shell, &mut Args::command(), "landfall", &mut text);
    output::stdout(&String::from_utf8(text)?)?;
    Ok(End::Inside)
}

pub(crate) fn man(args: &Man) -> anyhow::Result<End> {
    let mut whole = Args::command().disable_help_subcommand(true);
    whole.build();
    let Some(folder) = &args.folder else {
        let command = match &args.of {
            None => &whole,
            Some(name) => whole.find_subcommand(name).with_context(|| {
                let known: Vec<_> = whole.get_subcommands().map(Command::get_name).collect();
                format!("there is no command {name:?}; the commands are {}", known.join(", "))
            })?,
        };
        output::stdout(&page(command)?)?;
        return Ok(End::Inside);
    };
    fs::create_dir_all(folder).with_context(|| format!("{} could not be made", output::shown(folder)))?;
    let commands: Vec<&Command> = std::iter::once(&whole).chain(whole.get_subcommands()).collect();
    for command in &commands {
        output::file(&folder.join(format!("{}.1", file_name(command))), page(command)?.as_bytes(), false)?;
    }
    note(&format!("{} pages are in {}", commands.len(), output::shown(folder)));
    Ok(End::Inside)
}

/// `landfall` or `landfall-plan`.
fn file_name(command: &Command) -> String {
    command.get_display_name().unwrap_or_else(|| command.get_name()).to_owned()
}

fn page(command: &Command) -> anyhow::Result<String> {
    let mut text = Vec::new();
    Page::new(command.clone()).render(&mut text)?;
    Ok(String::from_utf8(text)?)
}
