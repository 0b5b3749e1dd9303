//! Where the data goes: stdout, or a file that is written whole or not at all.

use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use landfall::commands_site::write_whole;
use landfall::plan::text::Style;
use serde::Serialize;

/// Writes to stdout, stripped of colours where none are wanted. A reader that has gone away ends it quietly.
pub(crate) fn stdout(text: &str) -> io::Result<()> {
    let mut out = anstream::stdout().lock();
    quietly(out.write_all(text.as_bytes()).and_then(|()| out.flush())).map(|_| ())
}

/// Writes a whole text to a file, or to stdout where there is none (or `-`).
pub(crate) fn put(output: Option<&Path>, text: &str) -> anyhow::Result<()> {
    match output {
        Some(path) if path.as_os_str() != "-" => Ok(write_whole(path, plain(text), true)?),
        _ => Ok(stdout(text)?),
    }
}

/// How a report looks: coloured, since whatever writes it strips that where none is wanted, and as wide as the
/// terminal, but no wider than is easily read.
pub(crate) fn style() -> Style {
    let usual = Style::default();
    let terminal = terminal_size::terminal_size_of(io::stdout()).map(|(width, _)| usize::from(width.0));
    Style { colour: true, width: terminal.map_or(usual.width, |width| width.min(usual.width)) }
}

/// A file never gets colours.
fn plain(text: &str) -> String {
    anstream::adapter::strip_str(text).to_string()
}

/// One JSON value as it is printed.
pub(crate) fn json(value: &impl Serialize) -> anyhow::Result<String> {
    Ok(landfall::plan::json::text(value)?)
}

/// False where the reader has gone away.
fn quietly(written: io::Result<()>) -> io::Result<bool> {
    match written {
        Ok(()) => Ok(true),
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(false),
        Err(error) => Err(error),
    }
}

/// Takes lines one by one: to stdout at once, to a file at the end.
#[derive(Debug)]
pub(crate) struct Stream {
    file: Option<(PathBuf, String)>,
}

impl Stream {
    pub(crate) fn new(output: Option<&Path>) -> Self {
        Self { file: output.filter(|p| p.as_os_str() != "-").map(|p| (p.to_owned(), String::new())) }
    }

    /// Whether what was added is out already.
    pub(crate) fn is_at_once(&self) -> bool {
        self.file.is_none()
    }

    /// False where the reader has gone away and nothing more is wanted.
    pub(crate) fn add(&mut self, text: &str) -> anyhow::Result<bool> {
        match &mut self.file {
            Some((_, all)) => {
                all.push_str(text);
                Ok(true)
            }
            None => {
                let mut out = anstream::stdout().lock();
                Ok(quietly(out.write_all(text.as_bytes()).and_then(|()| out.flush()))?)
            }
        }
    }

    /// The file is put in its place.
    pub(crate) fn finish(self) -> anyhow::Result<()> {
        match self.file {
            Some((path, all)) => Ok(write_whole(&path, &all, true)?),
            None => Ok(()),
        }
    }
}

/// The cautions, as they close every report.
pub(crate) fn cautions() -> String {
    let lines: String = landfall::plan::cautions::CAUTIONS.iter().map(|caution| format!("- {caution}\n")).collect();
    format!("\nCautions\n{lines}")
}
