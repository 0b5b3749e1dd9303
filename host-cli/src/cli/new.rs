//! `landfall new`.

use landfall::commands_site::write_starter;
use landfall::keep::WriteError;
use landfall::site::starter;

use super::args::New;
use super::{End, note, output};

pub(crate) fn run(args: &New) -> anyhow::Result<End> {
    let Some(path) = args.output.as_deref().filter(|path| path.as_os_str() != "-") else {
        output::stdout(starter())?;
        return Ok(End::Inside);
    };
    match write_starter(path, args.force) {
        Ok(()) => {
            let name = output::shown(path);
            note(&format!("{name} is written; measure, fill it in, then run: landfall check {name}"));
            Ok(End::Inside)
        }
        Err(error @ WriteError::Exists(_)) => anyhow::bail!("{error}; --force replaces it"),
        Err(error) => Err(error.into()),
    }
}
