//! What a user made stays: outputs of every command, among pipes, links, permissions and full disks.

use std::fs;
use std::io::Read as _;
use std::os::unix::fs::{FileTypeExt as _, PermissionsExt as _, symlink};
use std::path::Path;
use std::process::{Command, Output, Stdio};

use crate::common::{FEW, code, command, err, folder, out, run_in as run};
use landfall_learn::demo;
use landfall_plan::site::{demo_text, starter};

/// By a shell, which makes pipes, limits and process substitutions. The command is `$0`.
fn shell(folder: &Path, line: &str) -> Output {
    let mut shell = Command::new("bash");
    shell.args(["-c", line, env!("CARGO_BIN_EXE_landfall")]).current_dir(folder).stdin(Stdio::null());
    shell.env_remove("NO_COLOR").output().unwrap()
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

fn read(folder: &Path, name: &str) -> String {
    fs::read_to_string(folder.join(name)).unwrap()
}

#[test]
fn no_output_is_an_input() {
    let folder = folder();
    let at = folder.path();
    let plan = run(at, &[&["logbook", "plan", "h.logbook", "s.toml"][..], &FEW].concat());
    assert!(code(&plan) < 2, "{}", err(&plan));
    let book = fs::read(at.join("h.logbook")).unwrap();
    let cases: [(&[&str], &str); 8] = [
        (&["plan", "s.toml", "-o", "s.toml"], "s.toml"),
        (&["plan", "s.toml", "--report", "./s.toml"], "s.toml"),
        (&["fit", "runs.csv", "s.toml", "-o", "runs.csv"], "runs.csv"),
        (&["fit", "runs.csv", "s.toml", "-o", "s.toml"], "s.toml"),
        (&["compare", "runs.csv", "s.toml", "-o", "runs.csv"], "runs.csv"),
        (&["replay", "day.csv", "--site", "s.toml", "-o", "day.csv"], "day.csv"),
        (&["logbook", "export", "h.logbook", "checks", "--format", "csv", "-o", "h.logbook"], "h.logbook"),
        (&["logbook", "show", "h.logbook", "plan", "1", "-o", "h.logbook"], "h.logbook"),
    ];
    for (args, name) in cases {
        let before = fs::read(at.join(name)).unwrap();
        let few = if ["plan", "replay"].contains(&args[0]) { FEW } else { ["--color", "never"] };
        let refused = run(at, &[args, &few].concat());
        assert_eq!(code(&refused), 2, "{args:?}: {}", out(&refused));
        let said = err(&refused);
        assert!(said.contains(&format!("{name} is")) && said.contains("--force"), "{args:?}: {said}");
        assert_eq!(fs::read(at.join(name)).unwrap(), before, "{args:?}");
    }
    assert_eq!(fs::read(at.join("h.logbook")).unwrap(), book);
    // What stdin is read from is an input too.
    let refused = shell(at, "\"$0\" check - < s.toml && \"$0\" fit - s.toml -o runs.csv < runs.csv");
    assert_eq!((code(&refused), read(at, "runs.csv").as_str()), (2, demo::RUNS), "{}", err(&refused));
    // Told to, it is done: what was read has been read.
    let forced = run(at, &["fit", "runs.csv", "s.toml", "-o", "runs.csv", "--force"]);
    assert!(code(&forced) < 2 && read(at, "runs.csv") != demo::RUNS, "{}", err(&forced));
    assert_eq!(names(at), ["day.csv", "h.logbook", "runs.csv", "s.toml"]);
}

#[test]
fn nothing_of_another_kind_is_replaced() {
    let folder = folder();
    let at = folder.path();
    let plan = |args: &[&str]| run(at, &[&["plan", "--demo"], args, &FEW].concat());
    for name in ["s.toml", "runs.csv", "day.csv"] {
        let before = read(at, name);
        for args in [&["-o", name][..], &["--report", name], &["--format", "json", "-o", name]] {
            let refused = plan(args);
            assert!(code(&refused) == 2 && err(&refused).contains("it is left as it is"), "{}", err(&refused));
            assert_eq!(read(at, name), before);
        }
    }
    // A report over a report is what -o is for; two of one command into one file are not.
    for _ in 0..2 {
        assert!(code(&plan(&["-o", "plan.txt", "--report", "plan.html"])) < 2);
    }
    let refused = plan(&["-o", "plan.html"]);
    assert!(code(&refused) == 2 && err(&refused).contains("plan.html is a page"), "{}", err(&refused));
    let refused = plan(&["-o", "both.txt", "--report", "both.txt"]);
    assert!(code(&refused) == 2 && err(&refused).contains("two outputs"), "{}", err(&refused));
    let refused = run(at, &["simulate", "--demo", "--fast", "--for", "1 s", "-o", "day.csv", FEW[0], FEW[1]]);
    assert!(code(&refused) == 2 && read(at, "day.csv") == demo::DEFLATION, "{}", err(&refused));
}

#[test]
fn what_is_no_regular_file_is_written_to_and_never_replaced() {
    let folder = folder();
    let at = folder.path();
    let expected = out(&run(at, &["ramp", "s.toml"]));
    assert!(expected.len() > 500);
    // The shell's own: stdout by its name, a number, a process that reads.
    for line in [
        "\"$0\" ramp s.toml -o /dev/stdout | cat",
        "\"$0\" ramp s.toml -o /dev/fd/3 3>&1 >/dev/null | cat",
        "\"$0\" ramp s.toml -o >(cat) | cat",
        "mkfifo p; cat p & \"$0\" ramp s.toml --output p; wait; test -p p && rm p",
    ] {
        let done = shell(at, line);
        assert_eq!(out(&done), expected, "{line}: {}", err(&done));
    }
    assert!(Path::new("/dev/stdout").symlink_metadata().unwrap().is_symlink());
    // Where the shell has opened a file, it keeps what is in it.
    let done = shell(at, "echo first > log; \"$0\" ramp s.toml -o /dev/stdout >> log; echo last >> log");
    assert_eq!((code(&done), read(at, "log")), (0, format!("first\n{expected}last\n")), "{}", err(&done));
    // A reader that has enough.
    let done = shell(at, "\"$0\" ramp s.toml -o >(head -1 >/dev/null); echo $?");
    assert_eq!((out(&done).as_str(), err(&done).as_str()), ("0\n", ""));
    // Every kind of output, through a pipe.
    for (args, begins) in [
        ("plan s.toml --samples 5000 --report PIPE -o /dev/null.txt", "<!DOCTYPE html>"),
        ("card s.toml --samples 5000 -o PIPE", "<!DOCTYPE html>"),
        ("ramp s.toml --template PIPE -o rest.txt", "<svg"),
        ("sweep s.toml --vary bag.gap=0m..1m/3 --show flight.airtime_s --format csv -o PIPE", "bag.gap"),
        ("new -o PIPE --force", "#"),
        ("simulate s.toml --samples 5000 --fast --for \"1 s\" -o PIPE", "time_s,"),
    ] {
        let args = args.replace("PIPE", "p.svg").replace("/dev/null.txt", "rest.txt");
        let done =
            shell(at, &format!("mkfifo p.svg; cat p.svg & \"$0\" {args} >/dev/null; wait; test -p p.svg && rm p.svg"));
        assert!(code(&done) == 0 && out(&done).starts_with(begins), "{args}: {} {}", out(&done), err(&done));
    }
    // A terminal, of this test's own.
    let done = Command::new("script")
        .args(["-qec", &format!("'{}' ramp s.toml -o \"$(tty)\"", env!("CARGO_BIN_EXE_landfall")), "log"])
        .current_dir(at)
        .env("NO_COLOR", "1")
        .stdin(Stdio::null())
        .output();
    if let Ok(done) = done {
        assert_eq!(out(&done).replace('\r', ""), expected);
    }
    let refused = run(at, &["ramp", "s.toml", "-o", "."]);
    assert!(code(&refused) == 2 && err(&refused).contains(". is a folder"), "{}", err(&refused));
}

#[test]
fn permissions_owners_and_links_are_kept() {
    let folder = folder();
    let at = folder.path();
    let mode = |name: &str| at.join(name).metadata().unwrap().permissions().mode() & 0o777;
    for (umask, wanted) in [("022", 0o644), ("077", 0o600), ("002", 0o664)] {
        let done = shell(at, &format!("umask {umask}; rm -f a; \"$0\" ramp s.toml -o a && \"$0\" new -o n{umask}"));
        assert_eq!((code(&done), mode("a"), mode(&format!("n{umask}"))), (0, wanted, wanted), "{}", err(&done));
    }
    fs::set_permissions(at.join("a"), fs::Permissions::from_mode(0o640)).unwrap();
    symlink("a", at.join("link")).unwrap();
    assert_eq!(code(&run(at, &["schema", "site"])), 0);
    let done = shell(at, "umask 077; \"$0\" ramp s.toml --format json -o link");
    assert_eq!((code(&done), mode("a")), (0, 0o640), "{}", err(&done));
    assert!(at.join("link").symlink_metadata().unwrap().is_symlink() && read(at, "a").starts_with('{'));
    // Read-only, also for one who may write anything.
    fs::set_permissions(at.join("a"), fs::Permissions::from_mode(0o444)).unwrap();
    for force in [&[][..], &["--force"]] {
        let refused = run(at, &[&["ramp", "s.toml", "-o", "a"], force].concat());
        assert!(code(&refused) == 2 && err(&refused).contains("a may not be written"), "{}", err(&refused));
    }
    assert!(read(at, "a").starts_with('{'));
}

#[test]
fn a_site_that_is_written_keeps_what_it_was() {
    let folder = folder();
    let at = folder.path();
    fs::set_permissions(at.join("s.toml"), fs::Permissions::from_mode(0o600)).unwrap();
    let done = run(at, &["fit", "runs.csv", "s.toml", "--write", "--date", "2026-05-02"]);
    assert!(code(&done) < 2 && err(&done).contains("s.toml.older"), "{}", err(&done));
    assert_eq!(read(at, "s.toml.older"), demo_text());
    assert!(read(at, "s.toml").contains("# fitted 2026-05-02"));
    for name in ["s.toml", "s.toml.older"] {
        assert_eq!(at.join(name).metadata().unwrap().permissions().mode() & 0o777, 0o600, "{name}");
    }
    // Not a regular file: nothing that could be put in its place.
    let refused =
        shell(at, "mkfifo p; cat s.toml.older > p & \"$0\" fit runs.csv p --write -o fit.txt; echo $?; test -p p");
    assert!(code(&refused) == 0 && out(&refused) == "2\n", "{} {}", out(&refused), err(&refused));
    assert!(err(&refused).contains("p could not be written"), "{}", err(&refused));
}

#[test]
fn a_full_disk_is_told_once_and_leaves_what_was() {
    let folder = folder();
    let at = folder.path();
    fs::write(at.join("plan.txt"), "yesterday's\n").unwrap();
    // No file may grow: what a full disk does to a writer.
    let full = "trap '' XFSZ; ulimit -f 0; ";
    let refused = shell(at, &format!("{full}\"$0\" ramp s.toml -o plan.txt"));
    let said = err(&refused);
    assert_eq!((code(&refused), said.matches("plan.txt").count()), (2, 1), "{said}");
    assert_eq!(said.to_lowercase().matches("file too large").count(), 1, "{said}");
    assert_eq!(read(at, "plan.txt"), "yesterday's\n");
    let refused = shell(at, &format!("{full}\"$0\" fit runs.csv s.toml --write >/dev/null"));
    assert!(code(&refused) == 2 && read(at, "s.toml") == demo_text(), "{}", err(&refused));
    for args in ["--help", "--version", "plan --help", "", "schema site", "ramp s.toml"] {
        let refused = shell(at, &format!("{full}\"$0\" {args} > out"));
        assert_eq!(code(&refused), 2, "{args}");
        assert_eq!(err(&refused).to_lowercase().matches("file too large").count(), 1, "{args}: {}", err(&refused));
    }
    assert_eq!(names(at), ["day.csv", "out", "plan.txt", "runs.csv", "s.toml"]);
}

#[test]
fn what_a_killed_run_left_is_cleaned_up_by_the_next() {
    let folder = folder();
    let at = folder.path();
    fs::write(at.join(".landfall-aB3dE6.part"), "half a pl").unwrap();
    fs::write(at.join(".landfall-notes.txt"), "mine").unwrap();
    assert_eq!(code(&run(at, &["ramp", "s.toml", "-o", "a"])), 0);
    assert_eq!(names(at), [".landfall-notes.txt", "a", "day.csv", "runs.csv", "s.toml"]);
}

#[test]
fn a_file_that_is_there_is_no_recording_to_begin() {
    let folder = folder();
    let at = folder.path();
    let refused = run(at, &["watch", "/nowhere/port", "--record", "day.csv", "--once", "--plain"]);
    assert_eq!(read(at, "day.csv"), demo::DEFLATION, "{}", err(&refused));
    // A starter over a site only by force, and a logbook over nothing else.
    let refused = run(at, &["new", "-o", "s.toml"]);
    assert!(code(&refused) == 2 && read(at, "s.toml") == demo_text());
    assert_eq!(code(&run(at, &["new", "-o", "s.toml", "--force"])), 0);
    assert_eq!(read(at, "s.toml"), starter());
    let refused = run(at, &[&["logbook", "plan", "runs.csv", "s.toml"][..], &FEW].concat());
    assert!(code(&refused) == 2 && read(at, "runs.csv") == demo::RUNS, "{}", err(&refused));
    let pipe = shell(at, "mkfifo p; \"$0\" logbook list p; echo $?; test -p p");
    assert!(out(&pipe) == "2\n" && code(&pipe) == 0, "{}", err(&pipe));
}

/// A box that is followed in lines ends when nobody reads them any more.
#[test]
fn a_watch_without_a_reader_ends() {
    let folder = folder();
    let at = folder.path();
    let mut simulated = command(at, &["simulate", "--demo", "--samples", "5000", "--full"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut port = String::new();
    let mut stdout = std::io::BufReader::new(simulated.stdout.take().unwrap());
    std::io::BufRead::read_line(&mut stdout, &mut port).unwrap();
    let mut watch = command(at, &["watch", port.trim(), "--plain", "--every", "1000 s"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut lines = watch.stdout.take().unwrap();
    let mut byte = [0];
    assert_eq!(lines.read(&mut byte).unwrap(), 1);
    drop(lines);
    let begun = std::time::Instant::now();
    let ended = loop {
        if let Some(status) = watch.try_wait().unwrap() {
            break Some(status);
        }
        if begun.elapsed().as_secs() > 20 {
            break None;
        }
        std::thread::sleep(std::time::Duration::from_millis(20));
    };
    // These two are this test's own.
    let _ = watch.kill();
    let _ = simulated.kill();
    let _ = (watch.wait(), simulated.wait());
    assert!(ended.is_some_and(|status| status.success()), "{ended:?}");
}

/// A pipe is no file of another kind: made here so that the helper above is known to see one.
#[test]
fn a_pipe_is_seen_as_one() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(code(&shell(folder.path(), "mkfifo p")), 0);
    assert!(folder.path().join("p").symlink_metadata().unwrap().file_type().is_fifo());
}
