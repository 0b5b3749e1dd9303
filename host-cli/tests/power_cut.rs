//! A power cut while the logbook is written: nothing that was acknowledged is lost, and the file stays sound.
//!
//! The logbook runs on a file system in memory that notes every write, truncation, sync and deletion. The power is then
//! cut after each of them: what was not synced is kept, dropped or torn at random, in any order, and the files are put
//! on a real disk and opened again. The same harness with `synchronous = OFF` must lose something, or it shows nothing.

#![allow(unsafe_code, clippy::unwrap_used, clippy::panic, clippy::expect_used)]

use std::collections::BTreeMap;
use std::ffi::{CStr, c_char, c_int, c_void};
use std::path::Path;
use std::process::{Command, Stdio};
use std::ptr;
use std::sync::{Mutex, MutexGuard};
use std::time::{Duration, SystemTime};

use landfall_logbook::{Logbook, NewText, Source};
use rusqlite::{Connection, OpenFlags, ffi};

/// Smallest part of a write that a disk makes whole.
const SECTOR: usize = 512;

#[derive(Clone, Debug)]
enum Event {
    Create(String),
    Write(String, usize, Vec<u8>),
    Truncate(String, usize),
    Sync(String),
    /// Whether the folder was synced with it.
    Delete(String, bool),
    /// So many acts have been acknowledged.
    Acknowledged(usize),
}

#[derive(Default)]
struct Disk {
    files: BTreeMap<String, Vec<u8>>,
    events: Vec<Event>,
}

static DISK: Mutex<Disk> = Mutex::new(Disk { files: BTreeMap::new(), events: Vec::new() });

fn disk() -> MutexGuard<'static, Disk> {
    DISK.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
}

// --- The file system that SQLite is given.

#[repr(C)]
struct File {
    base: ffi::sqlite3_file,
    name: *mut String,
}

unsafe fn name_of(file: *mut ffi::sqlite3_file) -> String {
    // SAFETY: SQLite hands back the file that `open` filled in.
    unsafe { (*(*file.cast::<File>()).name).clone() }
}

unsafe extern "C" fn close(file: *mut ffi::sqlite3_file) -> c_int {
    // SAFETY: as in `name_of`; the name is dropped once, here.
    unsafe { drop(Box::from_raw((*file.cast::<File>()).name)) };
    ffi::SQLITE_OK
}

unsafe extern "C" fn read(file: *mut ffi::sqlite3_file, to: *mut c_void, count: c_int, at: i64) -> c_int {
    // SAFETY: SQLite gives room for `count` bytes.
    let (name, to) = unsafe { (name_of(file), std::slice::from_raw_parts_mut(to.cast::<u8>(), count as usize)) };
    let disk = disk();
    let bytes = disk.files.get(&name).map_or(&[][..], |bytes| bytes.get(at as usize..).unwrap_or_default());
    let have = bytes.len().min(to.len());
    to[..have].copy_from_slice(&bytes[..have]);
    to[have..].fill(0);
    if have == to.len() { ffi::SQLITE_OK } else { ffi::SQLITE_IOERR_SHORT_READ }
}

fn put(file: &mut Vec<u8>, at: usize, bytes: &[u8]) {
    if file.len() < at + bytes.len() {
        file.resize(at + bytes.len(), 0);
    }
    file[at..at + bytes.len()].copy_from_slice(bytes);
}

unsafe extern "C" fn write(file: *mut ffi::sqlite3_file, from: *const c_void, count: c_int, at: i64) -> c_int {
    // SAFETY: SQLite gives `count` bytes.
    let (name, bytes) = unsafe { (name_of(file), std::slice::from_raw_parts(from.cast::<u8>(), count as usize)) };
    let mut disk = disk();
    put(disk.files.entry(name.clone()).or_default(), at as usize, bytes);
    disk.events.push(Event::Write(name, at as usize, bytes.to_vec()));
    ffi::SQLITE_OK
}

unsafe extern "C" fn truncate(file: *mut ffi::sqlite3_file, size: i64) -> c_int {
    // SAFETY: as in `name_of`.
    let name = unsafe { name_of(file) };
    let mut disk = disk();
    disk.files.entry(name.clone()).or_default().truncate(size as usize);
    disk.events.push(Event::Truncate(name, size as usize));
    ffi::SQLITE_OK
}

unsafe extern "C" fn sync(file: *mut ffi::sqlite3_file, _flags: c_int) -> c_int {
    // SAFETY: as in `name_of`.
    let name = unsafe { name_of(file) };
    disk().events.push(Event::Sync(name));
    ffi::SQLITE_OK
}

unsafe extern "C" fn file_size(file: *mut ffi::sqlite3_file, size: *mut i64) -> c_int {
    // SAFETY: as in `name_of`; SQLite gives room for the size.
    unsafe { *size = disk().files.get(&name_of(file)).map_or(0, Vec::len) as i64 };
    ffi::SQLITE_OK
}

unsafe extern "C" fn lock(_file: *mut ffi::sqlite3_file, _level: c_int) -> c_int {
    ffi::SQLITE_OK
}

unsafe extern "C" fn reserved(_file: *mut ffi::sqlite3_file, out: *mut c_int) -> c_int {
    // SAFETY: SQLite gives room for the answer.
    unsafe { *out = 0 };
    ffi::SQLITE_OK
}

unsafe extern "C" fn control(_file: *mut ffi::sqlite3_file, _op: c_int, _arg: *mut c_void) -> c_int {
    ffi::SQLITE_NOTFOUND
}

unsafe extern "C" fn sector(_file: *mut ffi::sqlite3_file) -> c_int {
    SECTOR as c_int
}

unsafe extern "C" fn characteristics(_file: *mut ffi::sqlite3_file) -> c_int {
    // A disk that promises nothing.
    0
}

static METHODS: ffi::sqlite3_io_methods = ffi::sqlite3_io_methods {
    iVersion: 1,
    xClose: Some(close),
    xRead: Some(read),
    xWrite: Some(write),
    xTruncate: Some(truncate),
    xSync: Some(sync),
    xFileSize: Some(file_size),
    xLock: Some(lock),
    xUnlock: Some(lock),
    xCheckReservedLock: Some(reserved),
    xFileControl: Some(control),
    xSectorSize: Some(sector),
    xDeviceCharacteristics: Some(characteristics),
    xShmMap: None,
    xShmLock: None,
    xShmBarrier: None,
    xShmUnmap: None,
    xFetch: None,
    xUnfetch: None,
};

unsafe fn text(name: *const c_char) -> String {
    // SAFETY: SQLite's names end with a zero.
    unsafe { CStr::from_ptr(name) }.to_str().unwrap().to_owned()
}

unsafe extern "C" fn open(
    _vfs: *mut ffi::sqlite3_vfs,
    name: *const c_char,
    file: *mut ffi::sqlite3_file,
    flags: c_int,
    out: *mut c_int,
) -> c_int {
    // SAFETY: SQLite gives room of `szOsFile`, and a name but for temporary files, which stay out of the noted ones.
    unsafe {
        let name = if name.is_null() { "temporary".to_owned() } else { text(name) };
        let mut disk = disk();
        if !disk.files.contains_key(&name) {
            disk.files.insert(name.clone(), Vec::new());
            disk.events.push(Event::Create(name.clone()));
        }
        let file = file.cast::<File>();
        (*file).base.pMethods = &raw const METHODS;
        (*file).name = Box::into_raw(Box::new(name));
        if !out.is_null() {
            *out = flags;
        }
    }
    ffi::SQLITE_OK
}

unsafe extern "C" fn delete(_vfs: *mut ffi::sqlite3_vfs, name: *const c_char, folder: c_int) -> c_int {
    // SAFETY: as in `text`.
    let name = unsafe { text(name) };
    let mut disk = disk();
    disk.files.remove(&name);
    disk.events.push(Event::Delete(name, folder != 0));
    ffi::SQLITE_OK
}

unsafe extern "C" fn access(_vfs: *mut ffi::sqlite3_vfs, name: *const c_char, _flags: c_int, out: *mut c_int) -> c_int {
    // SAFETY: as in `text`; SQLite gives room for the answer.
    unsafe { *out = c_int::from(disk().files.contains_key(&text(name))) };
    ffi::SQLITE_OK
}

unsafe extern "C" fn full_path(
    _vfs: *mut ffi::sqlite3_vfs,
    name: *const c_char,
    room: c_int,
    out: *mut c_char,
) -> c_int {
    // SAFETY: SQLite gives `room` bytes, and the names of this test are short.
    unsafe {
        let bytes = CStr::from_ptr(name).to_bytes_with_nul();
        assert!(bytes.len() <= room as usize);
        ptr::copy_nonoverlapping(bytes.as_ptr().cast(), out, bytes.len());
    }
    ffi::SQLITE_OK
}

unsafe extern "C" fn randomness(_vfs: *mut ffi::sqlite3_vfs, count: c_int, out: *mut c_char) -> c_int {
    // SAFETY: SQLite gives `count` bytes.
    unsafe { ptr::write_bytes(out, 0x5a, count as usize) };
    count
}

unsafe extern "C" fn sleep(_vfs: *mut ffi::sqlite3_vfs, us: c_int) -> c_int {
    us
}

unsafe extern "C" fn current_time(_vfs: *mut ffi::sqlite3_vfs, out: *mut f64) -> c_int {
    // SAFETY: SQLite gives room for the day.
    unsafe { *out = 2_460_000.5 };
    ffi::SQLITE_OK
}

unsafe extern "C" fn last_error(_vfs: *mut ffi::sqlite3_vfs, _room: c_int, _out: *mut c_char) -> c_int {
    0
}

fn register() {
    let vfs = ffi::sqlite3_vfs {
        iVersion: 1,
        szOsFile: size_of::<File>() as c_int,
        mxPathname: 256,
        pNext: ptr::null_mut(),
        zName: c"power_cut".as_ptr(),
        pAppData: ptr::null_mut(),
        xOpen: Some(open),
        xDelete: Some(delete),
        xAccess: Some(access),
        xFullPathname: Some(full_path),
        xDlOpen: None,
        xDlError: None,
        xDlSym: None,
        xDlClose: None,
        xRandomness: Some(randomness),
        xSleep: Some(sleep),
        xCurrentTime: Some(current_time),
        xGetLastError: Some(last_error),
        xCurrentTimeInt64: None,
        xSetSystemCall: None,
        xGetSystemCall: None,
        xNextSystemCall: None,
    };
    // SAFETY: the structure lives as long as the process, and so do its functions and its name.
    let done = unsafe { ffi::sqlite3_vfs_register(Box::leak(Box::new(vfs)), 0) };
    assert_eq!(done, ffi::SQLITE_OK);
}

// --- The power cut.

/// xorshift64*.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: u64) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) % sides
    }
}

/// How the disk treats what was not synced.
#[derive(Clone, Copy, PartialEq)]
enum Fate {
    /// All of it is there.
    Kept,
    /// None of it is.
    Dropped,
    /// Each part as it falls, in any order, writes torn between sectors.
    Random,
}

/// A file as the disk has it, and what it has not promised yet.
#[derive(Default)]
struct Held {
    synced: Vec<u8>,
    pending: Vec<Event>,
    /// Its name is in the folder for good.
    named: bool,
}

fn settle(file: &mut Held, fate: Fate, dice: &mut Dice) {
    let mut pending = std::mem::take(&mut file.pending);
    if fate == Fate::Random {
        // Truncations and growth stay in order with nothing: any order at all.
        for i in (1..pending.len()).rev() {
            let j = dice.roll(i as u64 + 1) as usize;
            pending.swap(i, j);
        }
    }
    for event in pending {
        match event {
            _ if fate == Fate::Dropped => {}
            Event::Write(_, at, bytes) if fate == Fate::Random => {
                for (i, part) in bytes.chunks(SECTOR).enumerate() {
                    if dice.roll(2) == 0 {
                        put(&mut file.synced, at + i * SECTOR, part);
                    }
                }
            }
            Event::Write(_, at, bytes) => put(&mut file.synced, at, &bytes),
            Event::Truncate(_, size) if fate == Fate::Kept || dice.roll(2) == 0 => file.synced.truncate(size),
            _ => {}
        }
    }
}

/// The files after a power cut behind so many events, and how many acts were acknowledged before it.
fn cut(events: &[Event], fate: Fate, dice: &mut Dice) -> (BTreeMap<String, Vec<u8>>, usize) {
    let mut files: BTreeMap<String, Held> = BTreeMap::new();
    // Deleted, but the folder was not synced: the name may come back.
    let mut ghosts: BTreeMap<String, Held> = BTreeMap::new();
    let mut acknowledged = 0;
    for event in events {
        match event {
            Event::Create(name) => {
                files.insert(name.clone(), Held::default());
            }
            Event::Write(name, ..) | Event::Truncate(name, _) => {
                files.entry(name.clone()).or_default().pending.push(event.clone());
            }
            Event::Sync(name) => {
                let file = files.entry(name.clone()).or_default();
                settle(file, Fate::Kept, dice);
                // SQLite's own file systems sync the folder with the first sync of a new file.
                file.named = true;
                ghosts.remove(name);
            }
            Event::Delete(name, folder) => {
                if let Some(file) = files.remove(name)
                    && !folder
                {
                    ghosts.insert(name.clone(), file);
                }
            }
            Event::Acknowledged(count) => acknowledged = *count,
        }
    }
    for (name, ghost) in ghosts {
        if (fate == Fate::Dropped || (fate == Fate::Random && dice.roll(2) == 0)) && !files.contains_key(&name) {
            files.insert(name, ghost);
        }
    }
    let mut left = BTreeMap::new();
    for (name, mut file) in files {
        let named = file.named
            || match fate {
                Fate::Kept => true,
                Fate::Dropped => false,
                Fate::Random => dice.roll(2) == 0,
            };
        settle(&mut file, fate, dice);
        if named {
            left.insert(name, file.synced);
        }
    }
    (left, acknowledged)
}

/// Acts on the file system in memory: several of different sizes, each acknowledged when it comes back.
fn acts(synchronous: Option<&str>) -> Vec<Event> {
    *disk() = Disk::default();
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags_and_vfs("book", flags, c"power_cut").unwrap();
    let mut book = Logbook::on(connection, Path::new("book")).unwrap();
    if let Some(level) = synchronous {
        book.set_synchronous(level).unwrap();
    }
    disk().events.push(Event::Acknowledged(0));
    for act in 0..9_usize {
        // From a page to many, so that pages are split, added and overwritten.
        let rows: String = (0..[1, 60, 2, 300, 1, 5, 120, 1, 30][act]).map(|row| format!("{act},{row}\n")).collect();
        let text = format!("act,row\n{rows}");
        let new = NewText { source: Source::Runs, plan: None, file: "day.csv", text: &text, note: "" };
        let at = SystemTime::UNIX_EPOCH + Duration::from_secs(act as u64);
        book.add_text(at, &new).unwrap();
        disk().events.push(Event::Acknowledged(act + 1));
    }
    drop(book);
    std::mem::take(&mut disk().events)
}

/// Cuts the power behind every event with several fates; the cuts, and what was lost or damaged.
fn losses(events: &[Event], tries: usize) -> (usize, Vec<String>) {
    let folder = tempfile::tempdir().unwrap();
    let mut dice = Dice(0x9E37_79B9_7F4A_7C15);
    let mut lost = Vec::new();
    let mut cuts = 0;
    for behind in 0..=events.len() {
        for run in 0..tries {
            let fate = [Fate::Kept, Fate::Dropped, Fate::Random][run.min(2)];
            let (files, acknowledged) = cut(&events[..behind], fate, &mut dice);
            for old in ["book", "book-journal"] {
                let _ = std::fs::remove_file(folder.path().join(old));
            }
            for (name, bytes) in &files {
                std::fs::write(folder.path().join(name), bytes).unwrap();
            }
            cuts += 1;
            if let Err(what) = looked_at(&folder.path().join("book"), acknowledged) {
                lost.push(format!("cut {behind} of {}: {what}", events.len()));
            }
        }
    }
    (cuts, lost)
}

fn looked_at(path: &Path, acknowledged: usize) -> Result<(), String> {
    // Nothing was acknowledged before the first file was whole: it may still be missing.
    let book = Logbook::open(path, acknowledged == 0).map_err(|error| error.to_string())?;
    book.integrity().map_err(|error| error.to_string())?;
    let entries = book.table("entries").map_err(|error| error.to_string())?.unwrap();
    if entries.len() < acknowledged || entries.len() > acknowledged + 1 {
        return Err(format!("{} entries where {acknowledged} were acknowledged", entries.len()));
    }
    let rows = book.table("runs").map_err(|error| error.to_string())?.unwrap();
    for entry in &entries {
        let here = rows.iter().filter(|row| row["entry"] == entry["entry"]).count() as i64;
        let stated = entry["text"].as_str().unwrap().lines().count() as i64 - 1;
        if here != stated {
            return Err(format!("an entry has {here} of {stated} rows"));
        }
    }
    Ok(())
}

#[test]
fn a_power_cut_loses_nothing_that_was_acknowledged() {
    register();
    let events = acts(None);
    assert!(events.len() > 150, "{}", events.len());
    let (cuts, lost) = losses(&events, 8);
    println!("{cuts} power cuts behind {} events", events.len());
    assert!(lost.is_empty(), "{} of {cuts}:\n{}", lost.len(), lost.join("\n"));
    // Without syncs the same cuts must lose something: else the harness shows nothing.
    let (_, lost) = losses(&acts(Some("OFF")), 4);
    assert!(lost.len() > 20, "{} losses without syncs", lost.len());
}

#[test]
fn a_killed_writer_leaves_a_sound_file_with_all_that_it_acknowledged() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("book");
    drop(Logbook::open(&path, true).unwrap());
    let rows: String = (0..400).map(|row| format!("{row},x\n")).collect();
    std::fs::write(folder.path().join("day.csv"), format!("row,y\n{rows}")).unwrap();
    let mut dice = Dice(7);
    let (mut acknowledged, mut killed) = (0, 0);
    for _ in 0..60 {
        let mut child = Command::new(env!("CARGO_BIN_EXE_landfall"))
            .args(["logbook", "runs", "book", "day.csv"])
            .current_dir(folder.path())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_micros(500 + dice.roll(25_000)));
        // SIGKILL; a child that has ended already is none to kill.
        let _ = child.kill();
        if child.wait().unwrap().success() {
            acknowledged += 1
        } else {
            killed += 1
        }
        let book = Logbook::open(&path, false).unwrap();
        book.integrity().unwrap();
        let entries = book.table("entries").unwrap().unwrap();
        // One that was killed between its commit and its end is there without having been acknowledged.
        assert!(entries.len() >= acknowledged && entries.len() <= acknowledged + killed);
        assert!(entries.iter().all(|entry| entry["rows"] == 400));
    }
    println!("{killed} killed, {acknowledged} came to their end");
    assert!(killed > 5, "{killed} killed, {acknowledged} came to their end");
}
