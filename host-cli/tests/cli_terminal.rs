//! The command line among terminals, pipes, signals, shells and manual pages.

#![allow(clippy::unwrap_used, clippy::panic)]

use std::process::{Command, Output, Stdio};

use crate::common::{FEW, code, command, demo_code, err, few, out, run};

#[test]
fn colours_and_progress_stay_out_of_pipes() {
    let escape = |output: &Output| output.stdout.contains(&0x1b) || output.stderr.contains(&0x1b);
    let plain = few(&["plan", "--demo"]);
    assert!(!escape(&plain) && plain.stderr.is_empty());
    assert!(!escape(&run(&["--help"])) && !escape(&run(&["plan"])));
    // Asked for, they come even into a pipe.
    assert!(escape(&run(&["--color", "always", "--help"])));
    assert!(escape(&run(&["--color", "always", "plan", "no-such-file.toml"])));
    assert!(!escape(&run(&["--color", "never", "plan", "no-such-file.toml"])));
    // A file gets none in any case.
    let folder = tempfile::tempdir().unwrap();
    let args = [&["--color", "always", "plan", "--demo", "--output", "plan.txt"][..], &FEW].concat();
    assert_eq!(code(&command(folder.path(), &args).output().unwrap()), code(&plain));
    assert_eq!(std::fs::read_to_string(folder.path().join("plan.txt")).unwrap(), out(&plain));
}

/// `script` of util-linux runs a command on a terminal of its own.
#[cfg(target_os = "linux")]
fn on_a_terminal(args: &str, no_color: bool) -> Option<String> {
    let line = format!("{} {args}", env!("CARGO_BIN_EXE_landfall"));
    let mut script = Command::new("script");
    script.args(["-qec", &line, "/dev/null"]).env("TERM", "xterm-256color").stdin(Stdio::null());
    script.env_remove("NO_COLOR");
    if no_color {
        script.env("NO_COLOR", "1");
    }
    let output = script.output().ok()?;
    Some(String::from_utf8_lossy(&output.stdout).into_owned())
}

#[cfg(target_os = "linux")]
#[test]
fn a_terminal_gets_colours_unless_no_color_is_set() {
    let Some(coloured) = on_a_terminal("plan no-such-file.toml", false) else {
        eprintln!("`script` is not installed: not tried");
        return;
    };
    assert!(coloured.contains('\u{1b}'), "{coloured:?}");
    for args in ["plan no-such-file.toml", "--help", "plan --demo --samples 5000"] {
        let plain = on_a_terminal(args, true).unwrap();
        // A progress bar moves the cursor; colours and weights end in an m.
        let coloured = plain
            .split("\u{1b}[")
            .skip(1)
            .any(|rest| rest.trim_start_matches(|c: char| c.is_ascii_digit() || c == ';').starts_with('m'));
        assert!(!coloured && !plain.is_empty(), "{plain:?}");
    }
}

#[cfg(unix)]
#[test]
fn a_reader_that_goes_away_ends_it_quietly() {
    let folder = tempfile::tempdir().unwrap();
    for args in [
        &["plan", "--demo", "--format", "json", "--samples", "5000"][..],
        &["sweep", "--demo", "--vary", "bag.gap=0 m..2 m/2000", "--show", "ride,flight"],
        &["schema", "results"],
        &["--help"],
    ] {
        let mut child = command(folder.path(), args).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        drop(child.stdout.take());
        let output = child.wait_with_output().unwrap();
        let expected = if args[0] == "plan" { demo_code() } else { 0 };
        assert_eq!((code(&output), err(&output).as_str()), (expected, ""), "{args:?}");
    }
}

#[cfg(unix)]
#[test]
fn ctrl_c_ends_it_without_a_partial_file() {
    let folder = tempfile::tempdir().unwrap();
    for args in [
        &["plan", "--demo", "--samples", "1000000000", "--output", "out"][..],
        &["sweep", "--demo", "--vary", "bag.gap=0 m..2 m/900000", "--show", "flight", "--output", "out"],
    ] {
        let child = command(folder.path(), args).stderr(Stdio::piped()).spawn().unwrap();
        std::thread::sleep(std::time::Duration::from_millis(1500));
        let kill = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
        assert!(kill.success(), "{args:?} ended by itself");
        let output = child.wait_with_output().unwrap();
        assert_eq!((code(&output), err(&output).as_str()), (130, "note: stopped; nothing was written\n"), "{args:?}");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0, "a partial file was left");
    }
}

#[cfg(unix)]
#[test]
fn ctrl_c_keeps_the_rows_that_are_out() {
    let folder = tempfile::tempdir().unwrap();
    let args = ["sweep", "--demo", "--vary", "bag.gap=0 m..2 m/900000", "--show", "flight.along_m", "--format", "csv"];
    let child = command(folder.path(), &args).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    std::thread::sleep(std::time::Duration::from_millis(1500));
    assert!(Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap().success());
    let output = child.wait_with_output().unwrap();
    let rows = out(&output).lines().count() - 1;
    assert_eq!((code(&output), err(&output)), (130, format!("note: stopped after {rows} of 900000 points\n")));
    assert!(rows > 0 && out(&output).ends_with('\n'), "{rows}");
}

#[test]
fn completions_parse_in_their_shells() {
    for (shell, check) in [("bash", &["-n"][..]), ("zsh", &["-n"]), ("fish", &["--no-execute"])] {
        let output = run(&["completions", shell]);
        assert_eq!((code(&output), err(&output).as_str()), (0, ""));
        for word in ["sweep", "air-time", "completions"] {
            assert!(out(&output).contains(word), "{shell}: {word}");
        }
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), out(&output)).unwrap();
        match Command::new(shell).args(check).arg(file.path()).output() {
            Ok(parsed) => assert!(parsed.status.success(), "{shell}: {}", String::from_utf8_lossy(&parsed.stderr)),
            Err(error) => eprintln!("{shell}: not tried: {error}"),
        }
    }
}

#[test]
fn manual_pages_render() {
    let page = out(&run(&["man", "plan"]));
    assert!(page.contains(".TH landfall-plan 1") && page.contains(".SH NAME"), "{page}");
    let folder = tempfile::tempdir().unwrap();
    let output = command(folder.path(), &["man", "--folder", "pages"]).output().unwrap();
    assert_eq!((code(&output), out(&output).as_str()), (0, ""));
    let mut names: Vec<String> = std::fs::read_dir(folder.path().join("pages"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert!(names.contains(&"landfall.1".to_owned()) && names.contains(&"landfall-sweep.1".to_owned()), "{names:?}");
    for name in names {
        let file = folder.path().join("pages").join(&name);
        let text = std::fs::read_to_string(&file).unwrap();
        assert!(text.contains(".SH NAME") && text.contains(".SH OPTIONS"), "{name}");
        match Command::new("man").args(["--warnings", "-l"]).arg(&file).stdin(Stdio::null()).output() {
            Ok(shown) => {
                assert!(shown.status.success() && shown.stdout.len() > 200, "{name}");
                assert_eq!(String::from_utf8_lossy(&shown.stderr), "", "{name}");
            }
            Err(error) => eprintln!("{name}: not tried: {error}"),
        }
    }
}
