//! `ramp` as it is used.

#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::Path;
use std::process::{Command, Output, Stdio};

use serde_json::Value;

fn run(folder: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_landfall")).args(args).current_dir(folder).stdin(Stdio::null()).output().unwrap()
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

#[test]
fn a_ramp_is_a_sheet_and_templates() {
    let folder = tempfile::tempdir().unwrap();
    let templates = ["--template", "t.svg", "--template", "t.DXF", "--template", "t.pdf"];
    let done = run(folder.path(), &[&["ramp", "--demo"][..], &templates].concat());
    assert_eq!(done.status.code(), Some(0), "{}", err(&done));
    let text = out(&done);
    for part in ["lip 62.18 degrees", "Loads are not checked", "Assumed, since not stated: --joists 200 mm", "upright"]
    {
        assert!(text.contains(part), "{part} not in\n{text}");
    }
    assert!(text.lines().all(|line| line.chars().count() <= 100));
    for (file, start) in [("t.svg", "<svg "), ("t.DXF", "999\n"), ("t.pdf", "%PDF-")] {
        let bytes = std::fs::read(folder.path().join(file)).unwrap();
        assert!(bytes.starts_with(start.as_bytes()), "{file}");
    }
    let json: Value =
        serde_json::from_slice(&run(folder.path(), &["ramp", "--demo", "--format", "json"]).stdout).unwrap();
    assert_eq!(json["parts"][1]["name"], "take-off");
    // Stated values are no longer assumed.
    let stated = ["ramp", "--demo", "--joists", "16 in", "--sheet-length", "2.5 m", "--sheet-width", "1.25 m"];
    let text = out(&run(folder.path(), &stated));
    assert!(text.contains("at most 406.4 apart") && text.contains("sheets 2500 x 1250"), "{text}");
    assert!(!text.contains("--joists 200 mm"));
    for table in landfall::build::TABLES {
        let csv = out(&run(folder.path(), &["ramp", "--demo", "--format", "csv", "--table", table]));
        let columns = csv.lines().next().unwrap().split(',').count();
        assert!(columns > 3 && csv.lines().count() > 3, "{table}: {csv}");
    }
}

#[test]
fn a_ramp_that_cannot_be_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    for (args, words) in [
        (&["--template", "t.doc"][..], "ends in .svg, .dxf or .pdf"),
        (&["--template", "t.svg", "--tiles", "a4"], "--tiles cuts a PDF"),
        (&["--template", "t.svg", "--part", "lip"], "transition-1, take-off"),
        (&["--joists", "0 m"], "--joists: 0 m is outside"),
        (&["--offsets", "100"], "write it as"),
        (&["--sheet-length", "1 m"], "--sheet (shorter side)"),
    ] {
        let done = run(folder.path(), &[&["ramp", "--demo"], args].concat());
        assert_eq!(done.status.code(), Some(2), "{args:?}");
        assert!(err(&done).contains(words), "{args:?}: {}", err(&done));
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0, "a refused command wrote a file");
}
