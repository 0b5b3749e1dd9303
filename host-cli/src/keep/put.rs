//! Writing: whole, in one step, and over nothing that was not to be replaced.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use super::place::{FileId, Kept, Place, folder_of, kept};
use super::temporary;
use landfall_plan::outside;
use landfall_tables::Kind;

/// How often it is tried again where another program puts a file at the same place.
const TRIES: usize = 5;

/// Why nothing was written; what stands there is as it was.
#[derive(Debug)]
#[non_exhaustive]
pub enum WriteError {
    /// A file is there, and none was to be replaced.
    Exists(PathBuf),
    /// The same command reads it.
    Input(PathBuf),
    /// The same command has written it already.
    Twice(PathBuf),
    /// It is of a kind that is not replaced by what was to be written.
    Kind(PathBuf, Kind),
    /// A folder.
    Folder(PathBuf),
    /// It may not be written.
    ReadOnly(PathBuf),
    /// Another user owns it.
    Foreign(PathBuf),
    /// It is not what was read any more.
    Changed(PathBuf),
    /// The system refused.
    Io(PathBuf, io::Error),
}

impl std::fmt::Display for WriteError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let name = |path: &Path| outside::plain(&path.to_string_lossy()).into_owned();
        match self {
            Self::Exists(path) => write!(f, "{} is there already; it is left as it is", name(path)),
            Self::Input(path) => write!(
                f,
                "{} is read by this very command; it is left as it is. Name another file, or say --force",
                name(path)
            ),
            Self::Twice(path) => write!(f, "{} is named for two outputs; it holds the first", name(path)),
            Self::Kind(path, kind) => {
                write!(f, "{} is {}; it is left as it is. Name another file, or say --force", name(path), kind.words())
            }
            Self::Folder(path) => write!(f, "{} is a folder; name a file", name(path)),
            Self::ReadOnly(path) => write!(f, "{} may not be written; it is left as it is", name(path)),
            Self::Foreign(path) => write!(f, "{} belongs to another user; it is left as it is", name(path)),
            Self::Changed(path) => {
                write!(f, "{} has changed since it was read; nothing was written. Run the command again", name(path))
            }
            Self::Io(path, _) => write!(f, "{} could not be written", name(path)),
        }
    }
}

impl std::error::Error for WriteError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Io(_, error) => Some(error),
            _ => None,
        }
    }
}

/// What may be replaced.
#[derive(Clone, Copy, Debug, Default)]
pub struct How<'a> {
    /// Whatever the user may replace, also what the command reads.
    pub force: bool,
    /// Nothing at all.
    pub only_new: bool,
    /// What this command has read.
    pub read: &'a [FileId],
    /// What this command has written.
    pub written: &'a [FileId],
}

/// Writes a whole output. Gives what it stands in now, where that is a file of its own; none for what was written to
/// and not replaced.
///
/// # Errors
/// [`WriteError`].
pub fn write(path: &Path, bytes: &[u8], how: &How<'_>) -> Result<Option<FileId>, WriteError> {
    let failed = |error| WriteError::Io(path.to_owned(), error);
    for _ in 0..TRIES {
        let place = Place::of(path).map_err(failed)?;
        let (target, old) = match place {
            Place::Folder => return Err(WriteError::Folder(path.to_owned())),
            Place::New(target) => (target, None),
            Place::Regular(target, metadata) => {
                may_replace(path, &target, &metadata, bytes, how)?;
                (target, Some(metadata))
            }
            other => {
                let mut to = open(&other).map_err(failed)?;
                return match to.write_all(bytes).and_then(|()| to.flush()) {
                    // A reader that has enough ends it quietly.
                    Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(failed(error)),
                    _ => Ok(None),
                };
            }
        };
        match replace(&target, bytes, old.as_ref(), old.as_ref()) {
            Ok(id) => return Ok(Some(id)),
            // Another program has put something there since: it is looked at anew.
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(failed(error)),
        }
    }
    Err(failed(io::Error::other("another program writes it again and again")))
}

/// What is no regular file, to be written to.
fn open(place: &Place) -> io::Result<File> {
    match place {
        #[cfg(unix)]
        Place::Descriptor(path, number) => match number {
            // A file that the shell has opened keeps its place and what is in it.
            1 => Ok(File::from(rustix::stdio::stdout().try_clone_to_owned()?)),
            2 => Ok(File::from(rustix::stdio::stderr().try_clone_to_owned()?)),
            _ => OpenOptions::new().append(true).open(path),
        },
        Place::Other(path) => OpenOptions::new().write(true).open(path),
        _ => Err(io::Error::from(io::ErrorKind::InvalidInput)),
    }
}

/// Whether a regular file may be replaced by what is to be written.
fn may_replace(
    path: &Path,
    target: &Path,
    metadata: &fs::Metadata,
    bytes: &[u8],
    how: &How<'_>,
) -> Result<(), WriteError> {
    let path = || path.to_owned();
    if how.only_new {
        return Err(WriteError::Exists(path()));
    }
    match kept(target, metadata) {
        Some(Kept::ReadOnly) => return Err(WriteError::ReadOnly(path())),
        Some(Kept::Foreign) => return Err(WriteError::Foreign(path())),
        None => {}
    }
    let id = FileId::at(target);
    if id.as_ref().is_some_and(|id| how.written.contains(id)) {
        return Err(WriteError::Twice(path()));
    }
    if how.force {
        return Ok(());
    }
    if id.is_some_and(|id| how.read.contains(&id)) {
        return Err(WriteError::Input(path()));
    }
    match Kind::of_file(target).map_err(|error| WriteError::Io(path(), error))? {
        Some(kind) if kind.is_made_by_hand() || Kind::of(bytes) != Some(kind) => Err(WriteError::Kind(path(), kind)),
        _ => Ok(()),
    }
}

/// Puts a file in its place in one step, with owner and permissions of `like`; `AlreadyExists` where another stands there
/// than `old`.
fn replace(target: &Path, bytes: &[u8], old: Option<&fs::Metadata>, like: Option<&fs::Metadata>) -> io::Result<FileId> {
    let folder = folder_of(target);
    let mut file = temporary::begin(folder, like.is_none())?;
    file.write_all(bytes)?;
    if let Some(like) = like {
        as_before(file.as_file(), like)?;
    }
    file.as_file().sync_all()?;
    let file = match old {
        None => file.persist_noclobber(target).or_else(|error| match error.error.kind() {
            io::ErrorKind::AlreadyExists => Err(error),
            // Some file systems cannot put a file only where none is: then it was looked at a moment ago.
            _ if target.symlink_metadata().is_err() => error.file.persist(target),
            _ => Err(error),
        }),
        Some(old) if is_still(target, old) => file.persist(target),
        Some(_) => return Err(io::Error::from(io::ErrorKind::AlreadyExists)),
    }
    .map_err(|error| error.error)?;
    sync_folder(folder);
    FileId::of(&file, target)
}

/// Owner, group and permissions of the file that is replaced.
#[cfg(unix)]
fn as_before(file: &File, old: &fs::Metadata) -> io::Result<()> {
    use std::os::unix::fs::MetadataExt as _;
    let new = file.metadata()?;
    if (new.uid(), new.gid()) != (old.uid(), old.gid()) {
        std::os::unix::fs::fchown(file, Some(old.uid()), Some(old.gid()))?;
    }
    file.set_permissions(old.permissions())
}

#[cfg(not(unix))]
fn as_before(_file: &File, _old: &fs::Metadata) -> io::Result<()> {
    Ok(())
}

#[cfg(unix)]
fn is_still(target: &Path, old: &fs::Metadata) -> bool {
    use std::os::unix::fs::MetadataExt as _;
    target.symlink_metadata().is_ok_and(|now| (now.dev(), now.ino()) == (old.dev(), old.ino()))
}

#[cfg(not(unix))]
fn is_still(_target: &Path, _old: &fs::Metadata) -> bool {
    true
}

/// A new name is on the disk once its folder is.
fn sync_folder(folder: &Path) {
    #[cfg(unix)]
    // A file system that cannot do it does it in its own time.
    let _ = File::open(folder).and_then(|folder| folder.sync_all());
    #[cfg(not(unix))]
    let _ = folder;
}

/// The name under which [`edit`] keeps what it changes.
fn older(target: &Path) -> PathBuf {
    let mut name = target.as_os_str().to_owned();
    name.push(".older");
    PathBuf::from(name)
}

/// Changes a file that was read: `before` is what was read, `after` what it is to be. What it was is kept beside it,
/// under its name with `.older` behind; gives that file.
///
/// # Errors
/// [`WriteError::Changed`] where it is not what was read any more, and the rest of [`WriteError`].
pub fn edit(path: &Path, before: &[u8], after: &[u8]) -> Result<PathBuf, WriteError> {
    let failed = |error| WriteError::Io(path.to_owned(), error);
    let (target, metadata) = match Place::of(path).map_err(failed)? {
        Place::Regular(target, metadata) => (target, metadata),
        Place::Folder => return Err(WriteError::Folder(path.to_owned())),
        Place::New(_) => return Err(WriteError::Changed(path.to_owned())),
        _ => return Err(failed(io::Error::other("it is no regular file"))),
    };
    match kept(&target, &metadata) {
        Some(Kept::ReadOnly) => return Err(WriteError::ReadOnly(path.to_owned())),
        Some(Kept::Foreign) => return Err(WriteError::Foreign(path.to_owned())),
        None => {}
    }
    // Of two that change it at once the second waits, and sees that it has changed. Where there are no locks, it sees
    // so unless both came within a moment.
    let lock = File::open(&target).map_err(failed)?;
    let _ = lock.lock();
    let changed = || WriteError::Changed(path.to_owned());
    if !is_still(&target, &metadata) || fs::read(&target).map_err(failed)? != before {
        return Err(changed());
    }
    let copy = older(&target);
    let kept_copy = |error| WriteError::Io(copy.clone(), error);
    let old_copy = match Place::of(&copy).map_err(kept_copy)? {
        Place::New(_) => None,
        Place::Regular(_, metadata) => match kept(&copy, &metadata) {
            Some(Kept::ReadOnly) => return Err(WriteError::ReadOnly(copy)),
            Some(Kept::Foreign) => return Err(WriteError::Foreign(copy)),
            None => Some(metadata),
        },
        Place::Folder => return Err(WriteError::Folder(copy)),
        _ => return Err(kept_copy(io::Error::other("it is no regular file"))),
    };
    replace(&copy, before, old_copy.as_ref(), Some(&metadata)).map_err(kept_copy)?;
    match replace(&target, after, Some(&metadata), Some(&metadata)) {
        Ok(_) => Ok(copy),
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Err(changed()),
        Err(error) => Err(failed(error)),
    }
}

/// Begins a file that grows while the command runs, such as a recording: a new one, or what exists and is no regular
/// file. No file is replaced.
///
/// # Errors
/// [`WriteError::Exists`] where a file stands there, and the rest of [`WriteError`].
pub fn begin(path: &Path) -> Result<File, WriteError> {
    let failed = |error: io::Error| match error.kind() {
        io::ErrorKind::AlreadyExists => WriteError::Exists(path.to_owned()),
        _ => WriteError::Io(path.to_owned(), error),
    };
    match Place::of(path).map_err(failed)? {
        Place::Folder => Err(WriteError::Folder(path.to_owned())),
        Place::Regular(..) => Err(WriteError::Exists(path.to_owned())),
        Place::New(target) => {
            let file = OpenOptions::new().write(true).create_new(true).open(&target).map_err(failed)?;
            sync_folder(folder_of(&target));
            Ok(file)
        }
        other => open(&other).map_err(failed),
    }
}

#[cfg(test)]
mod tests;
