//! Every command that writes, killed at random instants, on a disk that is full at random bytes, and two at once: what
//! was there or the whole new thing, and nothing that was acknowledged is lost.
//!
//! `LANDFALL_INSTANTS=500 cargo test -p landfall --test all killed::` tries 500 instants of each kind; the usual is fewer.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use crate::common::command;
use landfall_learn::demo;
use landfall_logbook::Logbook;
use landfall_plan::site::demo_text;

/// How many instants of each kind.
fn instants() -> usize {
    std::env::var("LANDFALL_INSTANTS").ok().and_then(|text| text.parse().ok()).unwrap_or(40)
}

/// xorshift64*.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: u64) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) % sides.max(1)
    }
}

type Files = BTreeMap<String, Vec<u8>>;

/// The files of a folder, those under work apart.
fn files(folder: &Path) -> Files {
    let mut all = Files::new();
    for entry in fs::read_dir(folder).unwrap() {
        let entry = entry.unwrap();
        let name = entry.file_name().into_string().unwrap();
        if !(name.starts_with(".landfall-") && name.ends_with(".part")) {
            all.insert(name, fs::read(entry.path()).unwrap());
        }
    }
    all
}

/// What there is before a command.
fn before() -> (tempfile::TempDir, Files) {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    fs::write(at("s.toml"), demo_text()).unwrap();
    fs::write(at("runs.csv"), demo::RUNS).unwrap();
    for name in ["out.txt", "fit.txt", "rec.txt", "sweep.txt", "t.svg", "t.pdf", "r.html", "n.toml"] {
        fs::write(at(name), "yesterday's\n").unwrap();
    }
    let files = files(folder.path());
    (folder, files)
}

/// Every command that replaces files, or begins them.
fn writers() -> Vec<Vec<&'static str>> {
    vec![
        vec!["ramp", "s.toml", "-o", "out.txt", "--template", "t.svg", "--template", "t.pdf"],
        vec!["new", "-o", "n.toml", "--force"],
        vec!["fit", "runs.csv", "s.toml", "--write", "--date", "2026-05-02", "-o", "fit.txt"],
        vec![
            "sweep",
            "s.toml",
            "--vary",
            "bag.gap=0m..2m/60",
            "--show",
            "flight",
            "--format",
            "csv",
            "-o",
            "sweep.txt",
        ],
        vec!["simulate", "s.toml", "--samples", "1000", "--fast", "--for", "20 s", "-o", "rec.txt"],
        vec!["plan", "s.toml", "--samples", "1000", "-o", "out.txt", "--report", "r.html"],
        vec!["card", "s.toml", "--samples", "1000", "-o", "r.html"],
    ]
}

/// What a command makes, and how long it takes.
struct Whole {
    args: Vec<&'static str>,
    after: Files,
    /// What it makes of that when it is run once more, as one does that began late enough to read it.
    again: Files,
    takes: Duration,
}

fn whole() -> Vec<Whole> {
    let all = writers().into_iter().map(|args| {
        let (folder, old) = before();
        let begun = Instant::now();
        let done = command(folder.path(), &args).output().unwrap();
        assert!(done.status.code().is_some_and(|code| code < 2), "{args:?}: {}", String::from_utf8_lossy(&done.stderr));
        let (after, takes) = (files(folder.path()), begun.elapsed());
        assert!(after != old, "{args:?} writes nothing");
        command(folder.path(), &args).output().unwrap();
        Whole { args, after, again: files(folder.path()), takes }
    });
    all.collect()
}

/// Each file is as it was, or as the whole command makes it; the older copy of a site is what the site was.
fn sound(one: &Whole, old: &Files, now: &Files) -> Result<(), String> {
    for (name, bytes) in now {
        let is_one = old.get(name) == Some(bytes) || one.after.get(name) == Some(bytes);
        if !is_one {
            return Err(format!(
                "{:?}: {name} is neither what it was nor the whole new one ({} bytes)",
                one.args,
                bytes.len()
            ));
        }
    }
    match old.keys().find(|name| !now.contains_key(*name)) {
        Some(name) => Err(format!("{:?}: {name} is gone", one.args)),
        None => Ok(()),
    }
}

/// A run that comes to its end in the folder leaves nothing of the one that was killed.
fn swept(folder: &Path) -> Result<(), String> {
    let done = command(folder, &["ramp", "s.toml", "-o", "out.txt", "--force"]).output().unwrap();
    if !done.status.success() {
        return Err(String::from_utf8_lossy(&done.stderr).into_owned());
    }
    let left = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
    match left.into_iter().find(|name| name.ends_with(".part")) {
        Some(name) => Err(format!("{name} is left")),
        None => Ok(()),
    }
}

#[test]
fn a_killed_command_leaves_the_old_or_the_whole_new() {
    let all = whole();
    let mut dice = Dice(11);
    let (mut killed, mut came) = (0, 0);
    for instant in 0..instants() {
        let one = &all[instant % all.len()];
        let (folder, old) = before();
        let mut child = command(folder.path(), &one.args).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        std::thread::sleep(Duration::from_micros(dice.roll(one.takes.as_micros() as u64 * 6 / 5)));
        // SIGKILL; one that has ended already is none to kill.
        let _ = child.kill();
        let ended = child.wait().unwrap().code().is_some();
        if ended {
            came += 1
        } else {
            killed += 1
        }
        sound(one, &old, &files(folder.path())).unwrap();
        swept(folder.path()).unwrap();
    }
    println!("{killed} killed, {came} came to their end");
    assert!(killed > instants() / 4, "{killed} killed, {came} came to their end");
}

/// Runs with a limit to every file's length, in KiB. With `told` a write beyond it fails as on a full disk, else it ends
/// the program at that very byte.
fn limited(folder: &Path, args: &[&str], kib: u64, told: bool) -> Output {
    let trap = if told { "trap '' XFSZ; " } else { "" };
    let line = format!("{trap}ulimit -c 0; ulimit -f {kib}; exec \"$0\" \"$@\"");
    let mut shell = Command::new("bash");
    shell.args(["-c", &line, env!("CARGO_BIN_EXE_landfall")]).args(args).current_dir(folder).stdin(Stdio::null());
    shell.output().unwrap()
}

#[test]
fn a_full_disk_leaves_the_old_or_the_whole_new_and_is_told() {
    let all = whole();
    let mut dice = Dice(5);
    let (mut refused, mut ended) = (0, 0);
    for instant in 0..instants() {
        let one = &all[instant % all.len()];
        let (folder, old) = before();
        let longest = one.after.values().map(Vec::len).max().unwrap_or(0) as u64 / 1024 + 1;
        let told = dice.roll(2) == 0;
        let done = limited(folder.path(), &one.args, dice.roll(longest + 1), told);
        let now = files(folder.path());
        sound(one, &old, &now).unwrap();
        match done.status.code() {
            // What was acknowledged is there.
            Some(0 | 1) => assert!(now == one.after, "{:?} said that it was done", one.args),
            Some(2) => {
                refused += 1;
                let said = String::from_utf8_lossy(&done.stderr).to_lowercase();
                assert!(said.contains("could not be written"), "{:?}: {said}", one.args);
            }
            code => {
                assert!(!told && code.is_none(), "{:?}: {code:?}", one.args);
                ended += 1;
            }
        }
        swept(folder.path()).unwrap();
    }
    println!("{refused} refused, {ended} ended at a byte");
    assert!(refused + ended > instants() / 4, "{refused} refused, {ended} ended");
}

#[test]
fn a_logbook_keeps_what_it_acknowledged_killed_full_or_at_once() {
    let (folder, _) = before();
    let at = folder.path();
    let began = command(at, &["logbook", "plan", "h.logbook", "s.toml", "--samples", "1000"]).output().unwrap();
    assert!(began.status.code().is_some_and(|code| code < 2));
    let acts: [&[&str]; 4] = [
        &["logbook", "runs", "h.logbook", "runs.csv", "--note", "dry"],
        &["logbook", "check", "h.logbook", "1", "--who", "Ines", "--seen", "6 m"],
        &["logbook", "plan", "h.logbook", "s.toml", "--samples", "1000"],
        &["logbook", "check", "h.logbook", "2", "--who", "Ines", "--seen", "1 m"],
    ];
    let takes: Vec<Duration> = acts
        .iter()
        .map(|act| {
            let begun = Instant::now();
            assert!(command(at, act).output().unwrap().status.code().is_some_and(|code| code < 2), "{act:?}");
            begun.elapsed()
        })
        .collect();
    let count = || {
        let book = Logbook::open(&at.join("h.logbook"), false).unwrap();
        book.integrity().unwrap();
        ["entries", "checks", "plans"].map(|table| book.table(table).unwrap().unwrap().len())
    };
    // Which table an act adds to.
    let table = [0, 1, 2, 1];
    let mut known = count();
    let mut dice = Dice(3);
    for instant in 0..instants() {
        let i = instant % acts.len();
        let acknowledged = match dice.roll(3) {
            0 => {
                let mut child = command(at, acts[i]).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
                std::thread::sleep(Duration::from_micros(dice.roll(takes[i].as_micros() as u64 * 6 / 5)));
                let _ = child.kill();
                u64::from(child.wait().unwrap().code().is_some_and(|code| code < 2))
            }
            1 => {
                let size = fs::metadata(at.join("h.logbook")).unwrap().len() / 1024;
                // About the length that it has: the file itself or its journal stops there.
                let kib = if dice.roll(2) == 0 { dice.roll(40) } else { size.saturating_sub(8) + dice.roll(24) };
                let told = dice.roll(2) == 0;
                u64::from(limited(at, acts[i], kib, told).status.code().is_some_and(|code| code < 2))
            }
            _ => {
                // Two at once, one of them killed.
                let spawn = || command(at, acts[i]).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
                let (mut one, mut other) = (spawn(), spawn());
                std::thread::sleep(Duration::from_micros(dice.roll(takes[i].as_micros() as u64 * 6 / 5)));
                let _ = one.kill();
                let ok = |status: std::process::ExitStatus| status.code().is_some_and(|code| code < 2);
                let (one, other) = (ok(one.wait().unwrap()), ok(other.wait().unwrap()));
                assert!(other, "the one that was not killed");
                u64::from(one) + 1
            }
        };
        let now = count();
        let added = now[table[i]] - known[table[i]];
        assert!(
            added as u64 >= acknowledged && added <= 2,
            "{:?}: {added} added, {acknowledged} acknowledged",
            acts[i]
        );
        assert!((0..3).all(|t| t == table[i] || now[t] == known[t]), "{now:?} after {known:?}");
        known = now;
    }
    println!("{known:?} entries, checks and plans after {} instants", instants());
}

#[test]
fn of_two_writers_at_once_each_output_is_one_of_theirs() {
    let all = whole();
    let mut dice = Dice(9);
    for round in 0..instants() / 4 {
        let one = &all[round % all.len()];
        let (folder, old) = before();
        let spawn = || command(folder.path(), &one.args).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap();
        let first = spawn();
        std::thread::sleep(Duration::from_micros(dice.roll(one.takes.as_micros() as u64 / 2)));
        let second = spawn();
        let both = [first.wait_with_output().unwrap(), second.wait_with_output().unwrap()];
        let codes = both.each_ref().map(|output| output.status.code());
        let said = both.each_ref().map(|output| String::from_utf8_lossy(&output.stderr).into_owned());
        let now = files(folder.path());
        // On a busy machine the second may begin so late that it reads the site that the first has fitted, and says of it
        // what there is to say.
        let is_whole = now == one.after || now == one.again;
        assert!(is_whole, "{:?}: {codes:?} {said:?} {:?}", one.args, sound(one, &old, &now));
        // Of two that change a site one is told that it has changed, and over a recording that the first has made the
        // second does not write; all else both do.
        let done = codes.iter().filter(|code| code.is_some_and(|code| code < 2)).count();
        let one_is_told = ["fit", "simulate"].contains(&one.args[0]);
        assert!(done == 2 || (done == 1 && one_is_told), "{:?}: {codes:?} {said:?}", one.args);
    }
}
