//! `landfall new`.

use landfall::keep::WriteError;
use landfall::new_site::{standing_line, write_new};
use landfall_plan::plan::{Parts, compute};
use landfall_plan::site::{read_site, starter_like};
use landfall_sampling::Stop;

use super::args_plan::New;
use super::{End, note, output};

pub(crate) fn run(args: &New) -> anyhow::Result<End> {
    let text = starter_like(args.like.into());
    let Some(path) = args.output.as_deref().filter(|path| path.as_os_str() != "-") else {
        output::stdout(&text)?;
        return Ok(End::Inside);
    };
    match write_new(path, &text, args.force) {
        Ok(()) => {
            let name = output::shown(path);
            let stands = match read_site(&text, &name) {
                Ok(site) => standing_line(&site, &compute(&site, Parts::ALL, &Stop::default())?),
                Err(faults) => return Err(faults.into()),
            };
            note(&format!("{name} is written: an example to replace by what you measure; {stands}"));
            note(&format!("next: landfall check {name}"));
            Ok(End::Inside)
        }
        Err(error @ WriteError::Exists(_)) => anyhow::bail!("{error}; --force replaces it"),
        Err(error) => Err(error.into()),
    }
}
