//! Where a path leads, and what stands there.

use std::fs::{self, File, Metadata};
use std::io;
use std::path::{Path, PathBuf};

/// Links that are followed one after another.
const LINKS: usize = 40;

/// The same file has the same one, by whatever path it is reached.
#[derive(Clone, Debug)]
pub struct FileId {
    file: Inner,
    /// Of an open file: as long as it is held its inode is given to no other, also where another program has removed it.
    #[cfg(unix)]
    _held: Option<std::sync::Arc<File>>,
}

#[cfg(unix)]
type Inner = (u64, u64);
#[cfg(not(unix))]
type Inner = PathBuf;

impl PartialEq for FileId {
    fn eq(&self, other: &Self) -> bool {
        self.file == other.file
    }
}

impl FileId {
    /// Of an open file: device and inode.
    ///
    /// # Errors
    /// What the system says.
    #[cfg(unix)]
    pub fn of(file: &File, _path: &Path) -> io::Result<Self> {
        let held = file.try_clone().ok().map(std::sync::Arc::new);
        Ok(Self { _held: held, ..Self::in_metadata(&file.metadata()?) })
    }

    /// Of an open file: its full path.
    ///
    /// # Errors
    /// What the system says.
    #[cfg(not(unix))]
    pub fn of(_file: &File, path: &Path) -> io::Result<Self> {
        Ok(Self { file: fs::canonicalize(path)? })
    }

    /// Of what stands at a path, where something does.
    #[must_use]
    pub fn at(path: &Path) -> Option<Self> {
        #[cfg(unix)]
        return fs::metadata(path).ok().map(|metadata| Self::in_metadata(&metadata));
        #[cfg(not(unix))]
        fs::canonicalize(path).ok().map(|file| Self { file })
    }

    #[cfg(unix)]
    fn in_metadata(metadata: &Metadata) -> Self {
        use std::os::unix::fs::MetadataExt as _;
        Self { file: (metadata.dev(), metadata.ino()), _held: None }
    }
}

/// What stands where a path leads to.
#[derive(Debug)]
pub(super) enum Place {
    /// Nothing yet; the links that were there are followed.
    New(PathBuf),
    /// A regular file.
    Regular(PathBuf, Metadata),
    /// A folder.
    Folder,
    /// Something that is written to and never replaced.
    Other(PathBuf),
    /// A file that this program has open already, under this number.
    #[cfg(unix)]
    Descriptor(PathBuf, u32),
}

impl Place {
    /// Follows the links of a path.
    ///
    /// # Errors
    /// What the system says.
    pub(super) fn of(path: &Path) -> io::Result<Self> {
        let mut at = path.to_owned();
        for _ in 0..LINKS {
            #[cfg(unix)]
            if let Some(number) = descriptor(&at) {
                return Ok(Self::Descriptor(at, number));
            }
            let metadata = match at.symlink_metadata() {
                Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Self::New(at)),
                other => other?,
            };
            if !metadata.is_symlink() {
                return Ok(match () {
                    () if metadata.is_dir() => Self::Folder,
                    () if metadata.is_file() => Self::Regular(at, metadata),
                    () => Self::Other(at),
                });
            }
            let to = fs::read_link(&at)?;
            at = folder_of(&at).join(to);
        }
        Err(io::Error::other("too many links, each to the next"))
    }
}

/// `/dev/fd/1`, `/proc/self/fd/1` and what leads there: a link that cannot be followed by its text.
#[cfg(unix)]
fn descriptor(path: &Path) -> Option<u32> {
    let number = path.file_name()?.to_str()?.parse().ok()?;
    let folder = fs::canonicalize(path.parent()?).ok()?;
    let own = format!("/proc/{}/fd", std::process::id());
    (folder == Path::new(&own) || folder == Path::new("/dev/fd")).then_some(number)
}

/// The folder that a path's last part stands in.
pub(super) fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Why a regular file may not be replaced, whoever asks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kept {
    /// Nobody may write it, or this user may not.
    ReadOnly,
    /// Another user owns it.
    Foreign,
}

#[cfg(unix)]
pub(super) fn kept(path: &Path, metadata: &Metadata) -> Option<Kept> {
    use std::os::unix::fs::MetadataExt as _;
    if metadata.uid() != rustix::process::geteuid().as_raw() {
        return Some(Kept::Foreign);
    }
    // Who may write anything is held to the permissions all the same: they are what somebody set.
    let writable = metadata.mode() & 0o222 != 0 && rustix::fs::access(path, rustix::fs::Access::WRITE_OK).is_ok();
    (!writable).then_some(Kept::ReadOnly)
}

#[cfg(not(unix))]
pub(super) fn kept(_path: &Path, metadata: &Metadata) -> Option<Kept> {
    metadata.permissions().readonly().then_some(Kept::ReadOnly)
}
