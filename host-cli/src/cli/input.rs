//! Where the site and the tables come from.

use std::fs::{self, File};
use std::io::Read as _;
use std::path::Path;

use anyhow::{Context as _, anyhow};
use landfall::keep::FileId;
use landfall_plan::site::{Site, demo, nearest, questions, read_site};
use landfall_tables::torn;

use super::args_shared::{Sampling, SiteArg};
use super::{note, output};

/// A file's bytes and the name that messages call it by; `-` is stdin. It is no output of this run any more.
pub(crate) fn bytes(path: &Path) -> anyhow::Result<(Vec<u8>, String)> {
    let mut bytes = Vec::new();
    if path.as_os_str() == "-" {
        #[cfg(unix)]
        if let Ok(stdin) = rustix::stdio::stdin().try_clone_to_owned()
            && let Ok(id) = FileId::of(&File::from(stdin), path)
        {
            output::was_read(id);
        }
        std::io::stdin().read_to_end(&mut bytes).context("stdin could not be read")?;
        return Ok((bytes, "stdin".to_owned()));
    }
    let name = output::shown(path);
    let mut read = || {
        let mut file = File::open(path)?;
        output::was_read(FileId::of(&file, path)?);
        file.read_to_end(&mut bytes)
    };
    read().map_err(|error| anyhow::Error::new(error).context(unreadable(path, &name)))?;
    Ok((bytes, name))
}

/// Why a file cannot be read, and what to do.
fn unreadable(path: &Path, name: &str) -> String {
    if path.is_dir() {
        return format!("{name} could not be read: it is a folder; give a file in it");
    }
    if path.exists() {
        return format!("{name} could not be read");
    }
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let Ok(entries) = fs::read_dir(folder) else {
        return format!("{name} could not be read: there is no folder {}", output::shown(folder));
    };
    let names: Vec<String> = entries.flatten().filter_map(|entry| entry.file_name().into_string().ok()).collect();
    let wanted = path.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    match nearest(&wanted, names.iter().map(String::as_str)) {
        Some(near) => {
            format!("{name} could not be read: it is not there; {} was perhaps meant", output::shown(Path::new(near)))
        }
        None if name.ends_with(".toml") => {
            format!(
                "{name} could not be read: it is not there; `landfall new --output {name}` writes a site file to begin with"
            )
        }
        None => format!("{name} could not be read: it is not there, and no file beside it is called nearly so"),
    }
}

/// Values that can be right and look like another unit, on stderr.
pub(crate) fn ask(text: &str, name: &str) {
    for question in questions(text) {
        note(&format!("{name}:{}: {}: {}; {}", question.line, question.key, question.message, question.cure));
    }
}

/// What something else reads at a path is no output of this run any more.
pub(crate) fn noted(path: &Path) {
    FileId::at(path).into_iter().for_each(output::was_read);
}

/// A site file's text and the name that messages call it by; `-` is stdin.
pub(crate) fn text(path: &Path) -> anyhow::Result<(String, String)> {
    let (bytes, name) = bytes(path)?;
    let text = String::from_utf8(bytes).map_err(|error| {
        let line = 1 + error.as_bytes().iter().take(error.utf8_error().valid_up_to()).filter(|b| **b == b'\n').count();
        anyhow!("{name} could not be read: line {line} is no text in UTF-8")
    })?;
    Ok((text, name))
}

/// The same of a table, whose last line may have been cut off in the middle of a character.
pub(crate) fn table(path: &Path) -> anyhow::Result<(String, String)> {
    let (bytes, name) = bytes(path)?;
    let text =
        torn::text_of(bytes).map_err(|line| anyhow!("{name} could not be read: line {line} is no text in UTF-8"))?;
    Ok((text, name))
}

/// The same, and it is said where a last line is left out or taken without its end.
pub(crate) fn told_table(path: &Path) -> anyhow::Result<(String, String)> {
    let (text, name) = table(path)?;
    if let Some(told) = torn::mended(&text).note {
        note(&format!("{name}: {told}"));
    }
    Ok((text, name))
}

/// The site, or all its faults.
pub(crate) fn site(arg: &SiteArg) -> anyhow::Result<Site> {
    match &arg.site {
        None => Ok(demo()),
        Some(path) => {
            let (text, name) = text(path)?;
            let site = read_site(&text, &name)?;
            ask(&text, &name);
            Ok(site)
        }
    }
}

/// The site with the sampling that the arguments ask for.
pub(crate) fn sampled_site(arg: &SiteArg, sampling: &Sampling) -> anyhow::Result<Site> {
    with_sampling(site(arg)?, sampling)
}

/// A site with the sampling that the arguments ask for.
pub(crate) fn with_sampling(mut site: Site, sampling: &Sampling) -> anyhow::Result<Site> {
    for (key, value) in [("spread.samples", sampling.samples), ("spread.seed", sampling.seed)] {
        if let Some(value) = value {
            site = site.with_value(key, value.to_string().as_str())?;
        }
    }
    Ok(site)
}
