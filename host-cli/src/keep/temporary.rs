//! Files that are written beside their target, and what a killed run has left of them.
//!
//! A file under work is locked for as long as it is; one that nobody holds a lock on was left behind.

use std::fs::{self, File};
use std::io;
use std::path::Path;

use tempfile::{Builder, NamedTempFile};

const BEGINS: &str = ".landfall-";
const ENDS: &str = ".part";

/// A new file in the folder of `target`, locked. With `usual` its permissions are those of any new file (the umask
/// takes its share), else nobody else can read it.
pub(super) fn begin(folder: &Path, usual: bool) -> io::Result<NamedTempFile> {
    sweep(folder);
    let mut builder = Builder::new();
    builder.prefix(BEGINS).suffix(ENDS);
    #[cfg(unix)]
    if usual {
        use std::os::unix::fs::PermissionsExt as _;
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    #[cfg(not(unix))]
    let _ = usual;
    for _ in 0..8 {
        let file = builder.tempfile_in(folder)?;
        // A file system without locks has none that could be found free: then nothing is swept there either. Another
        // run that sweeps holds the lock for a moment, and takes the file away if it came first.
        let locked = file.as_file().lock().is_ok();
        if !locked || file.path().exists() {
            return Ok(file);
        }
    }
    Err(io::Error::other("a file to write to was taken away again and again"))
}

/// Removes what killed runs have left in a folder.
pub(super) fn sweep(folder: &Path) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let Some(middle) =
            name.to_str().and_then(|name| name.strip_prefix(BEGINS)).and_then(|name| name.strip_suffix(ENDS))
        else {
            continue;
        };
        let ours = middle.len() == 6 && middle.bytes().all(|b| b.is_ascii_alphanumeric());
        if ours && entry.file_type().is_ok_and(|kind| kind.is_file()) {
            // What cannot be removed is in nobody's way.
            let _ = left_behind(&entry.path()).map(|_lock| fs::remove_file(entry.path()));
        }
    }
}

/// The lock of a file that nobody works on.
fn left_behind(path: &Path) -> Option<File> {
    let file = File::open(path).ok()?;
    file.try_lock().ok()?;
    Some(file)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_left_is_swept_and_what_is_under_work_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let names = |folder: &Path| {
            let mut names: Vec<String> =
                fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
            names.sort();
            names
        };
        fs::write(folder.path().join(".landfall-aB3dE6.part"), "half").unwrap();
        fs::write(folder.path().join(".landfall-mine.part"), "somebody's").unwrap();
        let working = begin(folder.path(), true).unwrap();
        let other = begin(folder.path(), true).unwrap();
        assert!(working.path().exists() && other.path().exists());
        assert_eq!(names(folder.path()).len(), 3, "{:?}", names(folder.path()));
        drop((working, other));
        assert_eq!(names(folder.path()), [".landfall-mine.part"]);
    }
}
