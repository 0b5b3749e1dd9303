use super::*;

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

fn put(path: &Path, text: &str) -> Result<Option<FileId>, WriteError> {
    write(path, text.as_bytes(), &How::default())
}

#[test]
fn a_text_is_replaced_and_what_was_made_by_hand_is_not() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    put(&at("a.txt"), "one\n").unwrap();
    put(&at("a.txt"), "two\n").unwrap();
    assert_eq!(fs::read_to_string(at("a.txt")).unwrap(), "two\n");
    let made = [
        ("h.logbook", "SQLite format 3\0..."),
        ("s.toml", "[rider]\nmass = \"78 kg\"\n"),
        ("day.csv", "time_s,gauge_pa\n0,1\n"),
        ("runs.csv", "run,lip_speed_mps\n1,8\n"),
    ];
    for (name, text) in made {
        fs::write(at(name), text).unwrap();
        // Neither by something else nor by one of its own kind.
        for new in ["report\n", text] {
            let refused = put(&at(name), new).unwrap_err();
            assert!(matches!(refused, WriteError::Kind(..)), "{refused:?}");
        }
        assert_eq!(fs::read_to_string(at(name)).unwrap(), text);
        write(&at(name), b"report\n", &How { force: true, ..How::default() }).unwrap();
        assert_eq!(fs::read_to_string(at(name)).unwrap(), "report\n");
    }
    // What is computed again is replaced by its own kind only.
    put(&at("card.html"), "<!DOCTYPE html>\nold").unwrap();
    put(&at("card.html"), "<!DOCTYPE html>\nnew").unwrap();
    assert!(matches!(put(&at("card.html"), "{}").unwrap_err(), WriteError::Kind(_, Kind::Page)));
    assert_eq!(fs::read_to_string(at("card.html")).unwrap(), "<!DOCTYPE html>\nnew");
    assert_eq!(names(folder.path()).len(), 6, "{:?}", names(folder.path()));
}

#[test]
fn what_the_command_reads_or_has_written_stays() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    fs::write(at("in"), "mine\n").unwrap();
    let read = [FileId::of(&File::open(at("in")).unwrap(), &at("in")).unwrap()];
    let how = How { read: &read, ..How::default() };
    assert!(matches!(write(&at("in"), b"x", &how).unwrap_err(), WriteError::Input(_)));
    #[cfg(unix)]
    {
        // By another name it is the same file.
        std::os::unix::fs::symlink(at("in"), at("link")).unwrap();
        fs::hard_link(at("in"), at("hard")).unwrap();
        for name in ["link", "hard"] {
            assert!(matches!(write(&at(name), b"x", &how).unwrap_err(), WriteError::Input(_)), "{name}");
        }
    }
    assert_eq!(fs::read_to_string(at("in")).unwrap(), "mine\n");
    write(&at("in"), b"x", &How { force: true, ..how }).unwrap();
    let written = [put(&at("out"), "first").unwrap().unwrap()];
    let refused = write(&at("out"), b"second", &How { force: true, written: &written, ..How::default() }).unwrap_err();
    assert!(matches!(refused, WriteError::Twice(_)), "{refused:?}");
    assert_eq!(fs::read_to_string(at("out")).unwrap(), "first");
}

#[test]
fn only_new_and_folders() {
    let folder = tempfile::tempdir().unwrap();
    let new = How { only_new: true, ..How::default() };
    let at = folder.path().join("a");
    write(&at, b"1", &new).unwrap();
    assert!(matches!(write(&at, b"2", &new).unwrap_err(), WriteError::Exists(_)));
    assert!(matches!(put(folder.path(), "x").unwrap_err(), WriteError::Folder(_)));
    let missing = put(&folder.path().join("no/a"), "x").unwrap_err();
    assert!(matches!(missing, WriteError::Io(..)), "{missing:?}");
    // The message says what it is about once, and the cause is told by its source.
    let (said, cause) = (missing.to_string(), std::error::Error::source(&missing).unwrap().to_string());
    assert!(said.ends_with("no/a could not be written") && cause.contains("No such file"), "{said}: {cause}");
    assert!(matches!(begin(&at).unwrap_err(), WriteError::Exists(_)));
    begin(&folder.path().join("b")).unwrap().write_all(b"row\n").unwrap();
    assert_eq!(names(folder.path()), ["a", "b"]);
}

#[test]
fn an_edit_keeps_what_was_and_notices_a_change() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path().join("s.toml");
    fs::write(&at, "one").unwrap();
    let copy = edit(&at, b"one", b"two").unwrap();
    assert_eq!((fs::read(&at).unwrap(), fs::read(&copy).unwrap()), (b"two".to_vec(), b"one".to_vec()));
    assert!(matches!(edit(&at, b"one", b"three").unwrap_err(), WriteError::Changed(_)));
    assert_eq!(fs::read(&at).unwrap(), b"two");
    // One older copy, and not more.
    edit(&at, b"two", b"three").unwrap();
    assert_eq!((fs::read(&at).unwrap(), fs::read(&copy).unwrap()), (b"three".to_vec(), b"two".to_vec()));
    assert_eq!(names(folder.path()), ["s.toml", "s.toml.older"]);
    // Where no copy can be kept nothing is changed.
    fs::remove_file(&copy).unwrap();
    fs::create_dir(&copy).unwrap();
    assert!(matches!(edit(&at, b"three", b"four").unwrap_err(), WriteError::Folder(_)));
    assert_eq!(fs::read(&at).unwrap(), b"three");
    fs::remove_file(&at).unwrap();
    assert!(matches!(edit(&at, b"three", b"four").unwrap_err(), WriteError::Changed(_)));
}

/// Of several that change a file at once each either sees what it had read or is told; none is lost.
#[test]
fn of_two_that_edit_at_once_one_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path().join("s.toml");
    for round in 0..50 {
        fs::write(&at, "old").unwrap();
        let told: Vec<bool> = std::thread::scope(|scope| {
            let at = &at;
            let all: Vec<_> =
                ["a", "b", "c"].map(|new| scope.spawn(move || edit(at, b"old", new.as_bytes()).is_ok())).into();
            all.into_iter().map(|one| one.join().unwrap()).collect()
        });
        let now = fs::read_to_string(&at).unwrap();
        let done: Vec<&str> =
            ["a", "b", "c"].into_iter().zip(&told).filter(|(_, ok)| **ok).map(|(new, _)| new).collect();
        assert_eq!(done, [now.as_str()], "round {round}");
    }
}

#[cfg(unix)]
mod unix {
    use super::*;
    use std::io::Read as _;
    use std::os::unix::fs::{FileTypeExt as _, MetadataExt as _, PermissionsExt as _, symlink};

    fn mode(path: &Path) -> u32 {
        path.metadata().unwrap().permissions().mode() & 0o7777
    }

    #[test]
    fn permissions_stay_and_a_link_leads_on() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::write(at("a"), "old").unwrap();
        fs::set_permissions(at("a"), fs::Permissions::from_mode(0o640)).unwrap();
        symlink("a", at("b")).unwrap();
        symlink(at("b"), at("c")).unwrap();
        put(&at("c"), "new").unwrap();
        assert!(at("b").symlink_metadata().unwrap().is_symlink() && at("c").symlink_metadata().unwrap().is_symlink());
        assert_eq!((fs::read_to_string(at("a")).unwrap().as_str(), mode(&at("a"))), ("new", 0o640));
        // A link to nothing yet makes what it names.
        symlink("d", at("to d")).unwrap();
        put(&at("to d"), "made").unwrap();
        assert_eq!(fs::read_to_string(at("d")).unwrap(), "made");
        assert!(at("to d").symlink_metadata().unwrap().is_symlink());
        symlink("round", at("round")).unwrap();
        assert!(matches!(put(&at("round"), "x").unwrap_err(), WriteError::Io(..)));
    }

    #[test]
    fn a_group_is_kept() {
        // Only root may give a file to any group.
        if !rustix::process::geteuid().is_root() {
            return;
        }
        let folder = tempfile::tempdir().unwrap();
        let at = folder.path().join("a");
        fs::write(&at, "old").unwrap();
        std::os::unix::fs::chown(&at, None, Some(12_345)).unwrap();
        put(&at, "new").unwrap();
        assert_eq!((at.metadata().unwrap().gid(), fs::read_to_string(&at).unwrap().as_str()), (12_345, "new"));
        // One of another owner stays, also for root and by force.
        std::os::unix::fs::chown(&at, Some(12_345), None).unwrap();
        let forced = How { force: true, ..How::default() };
        assert!(matches!(write(&at, b"x", &forced).unwrap_err(), WriteError::Foreign(_)));
        assert!(matches!(edit(&at, b"new", b"x").unwrap_err(), WriteError::Foreign(_)));
        assert_eq!(fs::read_to_string(&at).unwrap(), "new");
    }

    #[test]
    fn a_read_only_file_stays() {
        let folder = tempfile::tempdir().unwrap();
        let at = folder.path().join("a");
        fs::write(&at, "old").unwrap();
        fs::set_permissions(&at, fs::Permissions::from_mode(0o444)).unwrap();
        for force in [false, true] {
            let refused = write(&at, b"new", &How { force, ..How::default() }).unwrap_err();
            assert!(matches!(refused, WriteError::ReadOnly(_)), "{refused:?}");
        }
        assert!(matches!(edit(&at, b"old", b"new").unwrap_err(), WriteError::ReadOnly(_)));
        assert_eq!(fs::read_to_string(&at).unwrap(), "old");
        assert_eq!(names(folder.path()), ["a"]);
    }

    fn pipe(at: &Path) {
        use rustix::fs::{CWD, FileType, Mode, mknodat};
        mknodat(CWD, at, FileType::Fifo, Mode::RUSR | Mode::WUSR, 0).unwrap();
    }

    #[test]
    fn a_pipe_is_written_to_and_stays_a_pipe() {
        let folder = tempfile::tempdir().unwrap();
        let at = folder.path().join("pipe");
        pipe(&at);
        symlink("pipe", folder.path().join("link")).unwrap();
        for (name, force) in [("pipe", false), ("pipe", true), ("link", false)] {
            let from = at.clone();
            let reader = std::thread::spawn(move || {
                let mut text = String::new();
                File::open(from).unwrap().read_to_string(&mut text).unwrap();
                text
            });
            let how = How { force, ..How::default() };
            assert_eq!(write(&folder.path().join(name), b"through\n", &how).unwrap(), None);
            assert_eq!(reader.join().unwrap(), "through\n");
            assert!(at.symlink_metadata().unwrap().file_type().is_fifo());
        }
        assert_eq!(names(folder.path()), ["link", "pipe"]);
    }

    #[test]
    fn a_terminal_is_written_to() {
        use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
        grantpt(&master).unwrap();
        unlockpt(&master).unwrap();
        let name = ptsname(&master, Vec::new()).unwrap().into_string().unwrap();
        // Held open, so that what was written stays to be read.
        let _held = OpenOptions::new().read(true).write(true).open(&name).unwrap();
        assert_eq!(put(Path::new(&name), "shown\n").unwrap(), None);
        let mut bytes = [0; 64];
        let mut master = File::from(master);
        let n = master.read(&mut bytes).unwrap();
        assert_eq!(&bytes[..n], b"shown\r\n");
        assert!(Path::new(&name).symlink_metadata().unwrap().file_type().is_char_device());
    }
}
