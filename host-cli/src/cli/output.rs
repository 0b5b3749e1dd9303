//! Where the data goes: stdout, or a file that is written whole or not at all.

use std::io::{self, IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use landfall::keep::{FileId, How, WriteError, edit, write};
use landfall_plan::outside;
use landfall_plan::plan::text::Style;
use serde::Serialize;

use super::args_shared::Output;
use super::note;

/// What this run of the program has read and written, so that no output goes over an input or over another output.
#[derive(Debug)]
struct Files {
    read: Vec<FileId>,
    written: Vec<FileId>,
}

static FILES: Mutex<Files> = Mutex::new(Files { read: Vec::new(), written: Vec::new() });

fn files() -> MutexGuard<'static, Files> {
    FILES.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A file was read: it is no output of this run.
pub(crate) fn was_read(id: FileId) {
    files().read.push(id);
}

/// Writes a whole file; `force` over whatever may be replaced.
pub(crate) fn file(path: &Path, bytes: &[u8], force: bool) -> Result<(), WriteError> {
    let mut files = files();
    let how = How { force, only_new: false, read: &files.read, written: &files.written };
    let id = write(path, bytes, &how)?;
    files.written.extend(id);
    Ok(())
}

/// Writes a whole file where none is; over one that is there only with `force`.
pub(crate) fn new_file(path: &Path, bytes: &[u8], force: bool) -> Result<(), WriteError> {
    let mut files = files();
    let how = How { force, only_new: !force, read: &files.read, written: &files.written };
    let id = write(path, bytes, &how)?;
    files.written.extend(id);
    Ok(())
}

/// Puts a changed text in the place of a file that was read, and says where what it was is kept.
pub(crate) fn edited(path: &Path, before: &str, after: &str) -> anyhow::Result<()> {
    let older = edit(path, before.as_bytes(), after.as_bytes())?;
    note(&format!("what {} was before is kept as {}", shown(path), shown(&older)));
    Ok(())
}

/// A path in a message.
pub(crate) fn shown(path: &Path) -> String {
    outside::plain(&path.to_string_lossy()).into_owned()
}

impl Output {
    /// Writes a whole text where it is to go.
    pub(crate) fn put(&self, text: &str) -> anyhow::Result<()> {
        self.put_at(self.output.as_deref(), text)
    }

    /// Writes a whole text to another file of the same command, or to stdout where there is none (or `-`).
    pub(crate) fn put_at(&self, path: Option<&Path>, text: &str) -> anyhow::Result<()> {
        match path {
            Some(path) if path.as_os_str() != "-" => Ok(file(path, plain(text).as_bytes(), self.force)?),
            _ => Ok(stdout(text)?),
        }
    }
}

/// Writes to stdout, stripped of colours where none are wanted. A reader that has gone away ends it quietly.
pub(crate) fn stdout(text: &str) -> io::Result<()> {
    said(text).map(|_| ())
}

/// The same; false where the reader has gone away.
pub(crate) fn said(text: &str) -> io::Result<bool> {
    let is_terminal = io::stdout().is_terminal();
    let mut out = anstream::stdout().lock();
    let text = if is_terminal { outside::screen(text) } else { text.into() };
    quietly(out.write_all(text.as_bytes()).and_then(|()| out.flush()))
}

/// Whether the reader of stdout has gone away, without writing anything.
#[cfg(unix)]
pub(crate) fn reader_is_gone() -> bool {
    use rustix::event::{PollFd, PollFlags, Timespec, poll};
    let stdout = io::stdout();
    let mut asked = [PollFd::new(&stdout, PollFlags::empty())];
    let at_once = Timespec { tv_sec: 0, tv_nsec: 0 };
    poll(&mut asked, Some(&at_once)).is_ok() && asked.iter().any(|one| one.revents().contains(PollFlags::ERR))
}

#[cfg(not(unix))]
pub(crate) fn reader_is_gone() -> bool {
    false
}

/// How a report looks: coloured, since whatever writes it strips that where none is wanted, and as wide as the
/// terminal, but no wider than is easily read.
pub(crate) fn style() -> Style {
    let usual = Style::default();
    let terminal = terminal_size::terminal_size_of(io::stdout()).map(|(width, _)| usize::from(width.0));
    Style { colour: true, full: false, width: terminal.map_or(usual.width, |width| width.min(usual.width)) }
}

/// A file never gets colours.
fn plain(text: &str) -> String {
    anstream::adapter::strip_str(text).to_string()
}

/// One JSON value as it is printed.
pub(crate) fn json(value: &impl Serialize) -> anyhow::Result<String> {
    Ok(outside::json(&landfall_plan::plan::json::text(value)?).into_owned())
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
    force: bool,
}

impl Stream {
    pub(crate) fn new(output: &Output) -> Self {
        let path = output.output.as_deref().filter(|path| path.as_os_str() != "-");
        Self { file: path.map(|path| (path.to_owned(), String::new())), force: output.force }
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
            None => Ok(said(text)?),
        }
    }

    /// The file is put in its place.
    pub(crate) fn finish(self) -> anyhow::Result<()> {
        match self.file {
            Some((path, all)) => Ok(file(&path, all.as_bytes(), self.force)?),
            None => Ok(()),
        }
    }
}

/// The cautions, as they close every report.
pub(crate) fn cautions() -> String {
    let lines: String =
        landfall_plan::plan::cautions::CAUTIONS.iter().map(|caution| format!("- {caution}\n")).collect();
    format!("\nCautions\n{lines}")
}
