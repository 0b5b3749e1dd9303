//! `ramp`, `progress` and `logbook` as they are used.

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
    for table in landfall_ramp::TABLES {
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

#[test]
fn other_landings_are_compared() {
    let folder = tempfile::tempdir().unwrap();
    let done = run(folder.path(), &["progress", "--demo"]);
    assert_eq!(done.status.code(), Some(0), "{}", err(&done));
    let text = out(&done);
    for part in
        ["Dirt does not forgive", "inside 40.0 degrees", "wood chips", "Assumed, since not stated: --limit 1.5 m"]
    {
        assert!(text.contains(part), "{part} not in\n{text}");
    }
    assert!(text.lines().all(|line| line.chars().count() <= 100));
    // A lower fall needs a steeper surface, which is outside.
    let done = run(folder.path(), &["progress", "--demo", "--limit", "2 ft", "--slope", "20 deg, 35 deg"]);
    assert_eq!(done.status.code(), Some(1));
    assert!(out(&done).contains("OUTSIDE: from") && out(&done).contains("on 35.0"), "{}", out(&done));
    let csv = out(&run(folder.path(), &["progress", "--demo", "--format", "csv"]));
    assert!(csv.starts_with("distance_m,height_m,slope_deg,fall_m,") && csv.lines().count() > 10, "{csv}");
    let json: Value =
        serde_json::from_slice(&run(folder.path(), &["progress", "--demo", "--format", "json"]).stdout).unwrap();
    assert_eq!(json["slopes"].as_array().unwrap().len(), 5);
    for (args, words) in [
        (&["--limit", "9 m"][..], "--limit: 9 m is outside"),
        (&["--slope", "30"], "write it as"),
        (&["--slope", "80 deg"], "outside -20 to 70 degrees"),
    ] {
        let done = run(folder.path(), &[&["progress", "--demo"], args].concat());
        assert_eq!(done.status.code(), Some(2), "{args:?}");
        assert!(err(&done).contains(words), "{args:?}: {}", err(&done));
    }
}

#[test]
fn a_logbook_keeps_a_day() {
    let folder = tempfile::tempdir().unwrap();
    let book = |args: &[&str]| run(folder.path(), &[&["logbook"], args].concat());
    let missing = book(&["list", "day.book"]);
    assert_eq!(missing.status.code(), Some(2));
    assert!(err(&missing).contains("there is no logbook"));
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    let kept = book(&["plan", "day.book", "--demo", "--samples", "5000"]);
    assert!(out(&kept).contains("Checklist of plan 1") && err(&kept).contains("kept as plan 1"), "{}", err(&kept));
    std::fs::write(folder.path().join("day.csv"), "run,lip_mps\n1,7.9\n2,8.1\n").unwrap();
    assert!(err(&book(&["runs", "day.book", "day.csv", "--note", "dry"])).contains("entry 1 with 2 rows"));
    let inside = book(&["check", "day.book", "9", "--who", "Ines", "--seen", "150 lb"]);
    assert_eq!(inside.status.code(), Some(0), "{}", err(&inside));
    let outside = book(&["check", "day.book", "10", "--who", "Ines", "--seen", "120 kg"]);
    assert_eq!(outside.status.code(), Some(1));
    assert_eq!(book(&["check", "day.book", "10", "--who", "Ines", "--seen", "120"]).status.code(), Some(2));
    let list = out(&book(&["checklist", "day.book"]));
    assert!(list.contains("OUTSIDE  Heaviest rider") && list.contains("1 outside"), "{list}");
    let csv = out(&book(&["export", "day.book", "checks", "--format", "csv"]));
    assert_eq!(csv.lines().count(), 3, "{csv}");
    let json: Value = serde_json::from_slice(&book(&["export", "day.book"]).stdout).unwrap();
    assert_eq!(
        (&json["runs"][1]["lip_mps"], &json["plans"][0]["site_text"]),
        (&Value::from("8.1"), &Value::from(landfall_plan::site::demo_text()))
    );
    assert!(out(&book(&["show", "day.book", "entry", "1"])).contains("\"note\": \"dry\""));
    assert_eq!(book(&["list", "day.csv"]).status.code(), Some(2));
}
