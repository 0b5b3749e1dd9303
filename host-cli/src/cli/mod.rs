//! The command line: parse, read, compute, render, write.

mod air;
mod args;
mod args_about;
#[cfg(feature = "full")]
mod args_box;
#[cfg(feature = "full")]
mod args_build;
#[cfg(feature = "full")]
mod args_ground;
#[cfg(feature = "full")]
mod args_learn;
#[cfg(feature = "full")]
mod args_logbook;
mod args_page;
mod args_plan;
#[cfg(feature = "full")]
mod args_serve;
mod args_shared;
#[cfg(feature = "full")]
mod arm;
#[cfg(feature = "full")]
mod bag_test;
mod bar;
#[cfg(feature = "full")]
mod calibrate;
mod card;
mod check;
#[cfg(feature = "full")]
mod compare;
#[cfg(feature = "full")]
mod complete;
#[cfg(feature = "full")]
mod fit;
#[cfg(feature = "full")]
mod ground;
mod input;
#[cfg(feature = "full")]
mod line;
#[cfg(feature = "full")]
mod log;
#[cfg(feature = "full")]
mod logbook;
mod new;
mod output;
mod page;
mod place;
mod plan;
#[cfg(feature = "full")]
mod progress;
#[cfg(feature = "full")]
mod ramp;
mod range;
#[cfg(feature = "full")]
mod ready;
#[cfg(feature = "full")]
mod replay;
mod schema;
#[cfg(feature = "full")]
mod serve;
#[cfg(feature = "full")]
mod simulate;
mod size;
#[cfg(feature = "full")]
mod sources;
mod sweep;
mod table;
#[cfg(feature = "full")]
mod verify;
#[cfg(feature = "full")]
mod watch;

use std::ffi::OsString;
use std::process::ExitCode;

use anstream::ColorChoice;
use anstyle::{AnsiColor, Style};
use clap::{CommandFactory as _, Parser as _};

use args::{Args, Color, Command};
use landfall_plan::outside;
use landfall_plan::plan::PlanError;
use landfall_plan::site::Faults;

/// How a command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum End {
    /// Inside all limits.
    Inside,
    /// Outside a limit.
    Outside,
    /// Nothing could be computed.
    Failed,
    /// It was asked to stop.
    Stopped,
}

impl End {
    fn code(self) -> u8 {
        match self {
            Self::Inside => 0,
            Self::Outside => 1,
            Self::Failed => 2,
            Self::Stopped => 130,
        }
    }
}

/// Runs the command that the arguments name.
pub(crate) fn run() -> ExitCode {
    // The help is coloured before its own arguments are parsed.
    colour(colour_asked(std::env::args_os()));
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(told) => return ExitCode::from(explain(&told).code()),
    };
    colour(args.color);
    let end = match dispatch(args.command) {
        Ok(end) => end,
        Err(error) => report(&error),
    };
    ExitCode::from(end.code())
}

/// Help, the version, or what is wrong with the arguments.
fn explain(told: &clap::Error) -> End {
    if !told.use_stderr() {
        return match output::stdout(&told.render().ansi().to_string()) {
            Ok(()) => End::Inside,
            Err(error) => report(&anyhow::Error::from(error).context("stdout could not be written")),
        };
    }
    // An argument is echoed: what acts on a terminal is written out before it is parsed once more.
    let plain = std::env::args_os().map(|arg| OsString::from(outside::plain(&arg.to_string_lossy()).into_owned()));
    let again = Args::try_parse_from(plain).err();
    let text = again.as_ref().unwrap_or(told).render().ansi().to_string();
    anstream::eprint!("{}", outside::screen(&text));
    End::Failed
}

fn dispatch(command: Option<Command>) -> anyhow::Result<End> {
    match command {
        None => {
            if let Err(help) = Args::command().try_get_matches_from(["landfall", "--help"]) {
                output::stdout(&help.render().ansi().to_string())?;
            }
            Ok(End::Inside)
        }
        Some(Command::New(args)) => new::run(&args),
        Some(Command::Check(args)) => check::run(&args),
        Some(Command::Plan(args)) => plan::run(&args),
        Some(Command::Card(args)) => card::run(&args),
        Some(Command::Page(args)) => page::run(&args),
        Some(Command::Size(args)) => size::run(&args),
        Some(Command::Place(args)) => place::run(&args),
        Some(Command::Air(args)) => air::run(&args),
        Some(Command::Sweep(args)) => sweep::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Ramp(args)) => ramp::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Progress(args)) => progress::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Ground(args)) => ground::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Ready(args)) => ready::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Line(args)) => line::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Fit(args)) => fit::run(&args),
        #[cfg(feature = "full")]
        Some(Command::BagTest(args)) => bag_test::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Compare(args)) => compare::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Arm(args)) => arm::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Watch(args)) => watch::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Replay(args)) => replay::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Log(args)) => log::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Verify(args)) => verify::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Calibrate(args)) => calibrate::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Simulate(args)) => simulate::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Serve(args)) => serve::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Logbook(args)) => logbook::run(&args),
        Some(Command::Schema(args)) => schema::run(&args),
        #[cfg(feature = "full")]
        Some(Command::Completions(args)) => complete::completions(&args),
        #[cfg(feature = "full")]
        Some(Command::Man(args)) => complete::man(&args),
        #[cfg(not(feature = "full"))]
        Some(Command::NotBuilt(words)) => not_built(&words),
    }
}

/// A command that was left out of this build, or none at all.
#[cfg(not(feature = "full"))]
fn not_built(words: &[OsString]) -> anyhow::Result<End> {
    let name = words.first().map(|word| word.to_string_lossy()).unwrap_or_default();
    anyhow::ensure!(
        args::LEFT_OUT.contains(&name.as_ref()),
        "there is no command {name:?}; landfall --help lists them all"
    );
    anyhow::bail!(
        "{name} is not in this build, which plans only; from the sources, `cargo run --release --bin landfall -- {name}` \
         builds and runs it, and `cargo install --path host-cli` installs all commands"
    )
}

/// What went wrong, on stderr.
fn report(error: &anyhow::Error) -> End {
    if let Some(faults) = error.downcast_ref::<Faults>() {
        say_faults(faults);
        return End::Failed;
    }
    if matches!(error.downcast_ref::<PlanError>(), Some(PlanError::Stopped)) {
        // What is out already is told by a context.
        note(&if error.chain().len() > 1 { error.to_string() } else { "stopped; nothing was written".to_owned() });
        return End::Stopped;
    }
    complain(&words(error));
    End::Failed
}

/// An error and what it came from; what was said already is not said again.
fn words(error: &anyhow::Error) -> String {
    let mut said = String::new();
    for cause in error.chain() {
        let cause = cause.to_string();
        if said.is_empty() {
            said = cause;
        } else if !said.ends_with(&cause) {
            said = format!("{said}: {cause}");
        }
    }
    said
}

/// All faults of a site, as the reader words them.
fn say_faults(faults: &Faults) {
    let count = faults.faults.len();
    let noun = if count == 1 { "fault" } else { "faults" };
    let place = if faults.file.is_empty() { String::new() } else { format!("{}: ", outside::plain(&faults.file)) };
    let text = format!("{faults}\n\n{place}{count} {noun}; nothing was computed");
    anstream::eprintln!("{}", outside::lines(&text));
}

/// An error, on stderr.
pub(crate) fn complain(text: &str) {
    let red: Style = AnsiColor::Red.on_default().bold();
    anstream::eprintln!("{red}error:{red:#} {}", outside::lines(text));
}

/// Something to know, on stderr.
pub(crate) fn note(text: &str) {
    let bold = Style::new().bold();
    anstream::eprintln!("{bold}note:{bold:#} {}", outside::lines(text));
}

fn colour(choice: Color) {
    match choice {
        Color::Auto => ColorChoice::Auto,
        Color::Always => ColorChoice::Always,
        Color::Never => ColorChoice::Never,
    }
    .write_global();
}

/// The `--color` among raw arguments; what is wrong with it is said by the parser later.
fn colour_asked(args: impl Iterator<Item = OsString>) -> Color {
    let mut args = args.map(|arg| arg.to_string_lossy().into_owned()).take_while(|arg| arg != "--");
    while let Some(arg) = args.next() {
        let value = match arg.strip_prefix("--color") {
            Some("") => args.next(),
            Some(rest) => rest.strip_prefix('=').map(str::to_owned),
            None => continue,
        };
        match value.as_deref() {
            Some("always") => return Color::Always,
            Some("never") => return Color::Never,
            _ => {}
        }
    }
    Color::Auto
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_definitions_hold_together() {
        Args::command().debug_assert();
    }

    #[test]
    fn an_error_says_everything_once() {
        let error = anyhow::anyhow!("no such file").context("a could not be read").context("the runs");
        assert_eq!(words(&error), "the runs: a could not be read: no such file");
        let error = anyhow::anyhow!("no such file").context("a could not be read: no such file");
        assert_eq!(words(&error), "a could not be read: no such file");
    }

    #[test]
    fn colour_is_found_before_parsing() {
        let asked = |line: &str| colour_asked(line.split(' ').map(OsString::from));
        assert_eq!(asked("landfall plan --color never x"), Color::Never);
        assert_eq!(asked("landfall plan --color=always x"), Color::Always);
        assert_eq!(asked("landfall plan x -- --color=always"), Color::Auto);
        assert_eq!(asked("landfall --colors always"), Color::Auto);
    }
}
