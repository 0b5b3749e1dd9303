//! The command line as it is used: exit code, stdout and stderr together.

#![allow(clippy::unwrap_used, clippy::panic)]

use std::io::Write as _;
use std::process::{Output, Stdio};

use crate::common::{FEW, code, code_of, command, demo_code, err, few, json, out, run};
use landfall_plan::site::demo_text;
use serde_json::Value;

fn run_with_input(args: &[&str], input: &str) -> Output {
    let folder = tempfile::tempdir().unwrap();
    let mut child = command(folder.path(), args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
    child.wait_with_output().unwrap()
}

/// All three, as one text.
fn told(output: &Output) -> String {
    format!("exit code {}\n--- stdout\n{}--- stderr\n{}", code(output), out(output), err(output))
}

/// The demo site with one line replaced.
fn demo_with(line: &str, by: &str) -> String {
    assert!(demo_text().contains(line), "{line}");
    demo_text().replace(line, by)
}

/// The demo site without a key, which stands only once.
fn demo_without(key: &str) -> String {
    let start = format!("{key} = ");
    let text: String = demo_text().lines().filter(|l| !l.starts_with(&start)).map(|l| format!("{l}\n")).collect();
    assert!(text.lines().count() < demo_text().lines().count(), "{key}");
    text
}

#[test]
fn alone_it_prints_its_help() {
    let alone = run(&[]);
    assert_eq!(alone.stdout, run(&["--help"]).stdout);
    insta::assert_snapshot!("alone", told(&alone));
}

#[test]
fn every_command_explains_itself_with_an_example() {
    let commands = [
        "new",
        "check",
        "plan",
        "card",
        "size",
        "place",
        "air",
        "sweep",
        "ramp",
        "progress",
        "ground",
        "ready",
        "line",
        "logbook",
        "schema",
        "completions",
        "man",
    ];
    let all: String = commands.iter().map(|name| format!("{}\n", told(&run(&[name, "--help"])))).collect();
    assert_eq!(all.matches("exit code 0").count(), commands.len());
    assert_eq!(all.matches("\nExamples:\n").count(), commands.len());
    insta::assert_snapshot!("help", all);
}

#[test]
fn usage_errors_exit_with_2() {
    for args in [
        &["plan"][..],
        &["plan", "--demo", "--format", "yaml"],
        &["plan", "--demo", "x.toml"],
        &["plan", "--demo", "--samples", "many"],
        &["plan", "--demo", "--samples", "0"],
        &["plan", "no-such-file.toml"],
        &["size", "--demo"],
        &["size", "--demo", "--air-time", "1.2"],
        &["size", "--demo", "--air-time", "1 s", "--apex", "1 m"],
        &["size", "--demo", "--apex", "1 m", "--lowest", "5 m", "--highest", "3 m"],
        &["size", "--demo", "--apex", "1 m", "--radius", "3 m..4 m"],
        &["sweep", "--demo", "--vary", "bag.gap=1 m..2 m/3"],
        &["sweep", "--demo", "--show", "flight.along_m"],
        &["frobnicate"],
        &["man", "frobnicate"],
        &["completions", "frobnicate"],
        &["check", "no-such-file.toml"],
        &["check", "."],
    ] {
        let output = run(args);
        assert_eq!((code(&output), out(&output).as_str()), (2, ""), "{args:?}");
        assert!(
            err(&output).starts_with("error: ") || err(&output).contains("nothing was computed"),
            "{args:?} {output:?}"
        );
    }
}

#[test]
fn a_faulty_file_is_told_all_its_faults() {
    let folder = tempfile::tempdir().unwrap();
    let text = demo_with("mass = \"78 kg\"", "mass = 78")
        .replace("radius = \"15 ft\"", "raduis = \"15 ft\"")
        .replace("pressure_max = \"1.5 kPa\"", "pressure_max = \"0.5 kPa\"");
    std::fs::write(folder.path().join("hill.toml"), text).unwrap();
    let checked = command(folder.path(), &["check", "hill.toml"]).output().unwrap();
    insta::assert_snapshot!("faulty", told(&checked));
    // Whatever reads the file says the same.
    for args in [&["plan", "hill.toml"][..], &["air", "hill.toml"], &["size", "hill.toml", "--apex", "1 m"]] {
        let output = command(folder.path(), args).output().unwrap();
        assert_eq!(told(&output), told(&checked), "{args:?}");
    }
    let checked = command(folder.path(), &["check", "hill.toml", "--format", "json"]).output().unwrap();
    let faults = json(&checked);
    assert_eq!((code(&checked), err(&checked).as_str(), &faults["usable"]), (2, "", &Value::Bool(false)));
    let keys: Vec<&str> = faults["faults"].as_array().unwrap().iter().map(|f| f["key"].as_str().unwrap()).collect();
    assert!(keys.contains(&"rider.mass") && keys.contains(&"takeoff.raduis"), "{keys:?}");
}

#[test]
fn a_good_file_is_told_what_it_assumes() {
    let checked = run_with_input(&["check", "--all", "-"], demo_text());
    assert_eq!((code(&checked), err(&checked).as_str()), (0, ""));
    assert!(out(&checked).contains("bag.skin_loss = 0.65"), "{}", out(&checked));
    // Folded: how many, and the few that matter.
    let folded = run_with_input(&["check", "-"], demo_text());
    let listed = out(&checked).lines().filter(|line| line.starts_with("  ") && line.contains(" = ")).count();
    assert!(out(&folded).contains(&format!("{listed} are assumed")), "{}", out(&folded));
    assert!(!out(&folded).contains("skin_loss") && out(&folded).lines().count() < 12, "{}", out(&folded));
}

#[test]
fn what_looks_like_another_unit_is_asked_about_and_computed_with() {
    let text = demo_with("start_height = \"6.0 m\"", "start_height = \"19.7 m\"");
    let checked = run_with_input(&["check", "-"], &text);
    assert_eq!(code(&checked), 0);
    assert!(out(&checked).contains("\"19.7 m\" is unusual; \"19.7 ft\" (6 m) was perhaps meant"), "{}", out(&checked));
    let sized = run_with_input(&["size", "-", "--apex", "1 m"], &text);
    assert!(err(&sized).contains("note: stdin:") && err(&sized).contains("\"19.7 ft\""), "{}", err(&sized));
    assert!(!out(&sized).is_empty());
}

#[test]
fn a_file_name_that_is_not_there_is_answered_with_the_nearest() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("hill.toml"), demo_text()).unwrap();
    std::fs::write(folder.path().join("runs.csv"), "run,lip_speed_mps\n1,8.2\n").unwrap();
    let said = |args: &[&str]| {
        let output = command(folder.path(), args).output().unwrap();
        assert_eq!((code(&output), out(&output).as_str()), (2, ""), "{args:?}");
        err(&output)
    };
    assert!(said(&["check", "hil.toml"]).contains("it is not there; hill.toml was perhaps meant"));
    assert!(said(&["plan", "valley.toml"]).contains("`landfall new --output valley.toml` writes a site file"));
    assert!(said(&["check", "."]).contains("it is a folder"));
    assert!(said(&["check", "runs.csv"]).contains("this is a table of measurements, not a site file"));
}

#[test]
fn a_starter_is_not_overwritten_without_force() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("hill.toml");
    let new = |args: &[&str]| command(folder.path(), args).output().unwrap();
    let first = new(&["new", "--output", "hill.toml"]);
    assert_eq!((code(&first), out(&first).as_str()), (0, ""));
    // One line that says how the example stands, whatever the models come to.
    let stands: Vec<String> =
        err(&first).lines().filter(|line| line.contains("hill.toml is written")).map(str::to_owned).collect();
    assert!(stands.len() == 1 && stands[0].contains("as it stands"), "{stands:?}");
    assert!(err(&first).contains("next: landfall check hill.toml"), "{}", err(&first));
    for like in ["small", "big", "hill"] {
        let to = format!("like-{like}.toml");
        let written = new(&["new", "--like", like, "--output", &to]);
        assert_eq!(code(&written), 0, "{like}: {}", err(&written));
        let checked = new(&["check", &to]);
        assert_eq!(code(&checked), 0, "{like}: {}", err(&checked));
    }
    assert_eq!(std::fs::read_to_string(&file).unwrap(), out(&new(&["new"])));
    std::fs::write(&file, "mine").unwrap();
    insta::assert_snapshot!("new_refused", told(&new(&["new", "--output", "hill.toml"])));
    assert_eq!(std::fs::read_to_string(&file).unwrap(), "mine");
    assert_eq!(code(&new(&["new", "--output", "hill.toml", "--force"])), 0);
    // The starter is a site file that can be planned with as it is.
    let checked = new(&["check", "hill.toml"]);
    assert_eq!(code(&checked), 0, "{}", err(&checked));
}

#[test]
fn the_demo_is_planned_in_three_formats() {
    let plan = |format| {
        let output = few(&["plan", "--demo", "--format", format]);
        assert_eq!((code(&output), err(&output).as_str()), (demo_code(), ""), "{format}");
        out(&output)
    };
    let text = plan("text");
    assert!(text.contains("Larch Hollow (invented demo)") && !text.starts_with('{'), "{text}");
    let csv = plan("csv");
    let rows: Vec<csv::StringRecord> = csv::Reader::from_reader(csv.as_bytes()).records().map(Result::unwrap).collect();
    assert!(rows.len() > 50, "{csv}");
    let object: Value = serde_json::from_str(&plan("json")).unwrap();
    assert!(object["flight"]["airtime_s"].as_f64().unwrap() > 0.5);
    assert_eq!(object["spread"]["sampling"]["samples"], 5000);
}

#[test]
fn a_file_and_stdin_give_what_the_demo_gives() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("hill.toml"), demo_text()).unwrap();
    let demo = few(&["plan", "--demo", "--format", "json"]);
    let args = [&["plan", "hill.toml", "--format", "json"][..], &FEW].concat();
    assert_eq!(command(folder.path(), &args).output().unwrap(), demo);
    let args = [&["plan", "-", "--format", "json"][..], &FEW].concat();
    assert_eq!(run_with_input(&args, demo_text()), demo);
}

#[test]
fn output_files_are_whole_and_replace_older_ones() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("plan.json");
    std::fs::write(&file, "older").unwrap();
    let args = [&["plan", "--demo", "--format", "json", "--output", "plan.json"][..], &FEW].concat();
    let output = command(folder.path(), &args).output().unwrap();
    assert_eq!((code(&output), out(&output).as_str()), (demo_code(), ""));
    let expected = few(&["plan", "--demo", "--format", "json"]);
    assert_eq!(std::fs::read_to_string(&file).unwrap(), out(&expected));
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "a temporary file was left");
    // A folder that is not there: nothing is written, and that is said.
    let args = [&["plan", "--demo", "--output", "no/plan.json"][..], &FEW].concat();
    let output = command(folder.path(), &args).output().unwrap();
    assert_eq!((code(&output), out(&output).as_str()), (2, ""));
}

#[test]
fn the_same_seed_gives_the_same_bytes_at_any_number_of_threads() {
    let plan = |threads: &'static str, seed: &'static str| {
        let output = few(&["plan", "--demo", "--format", "json", "--threads", threads, "--seed", seed]);
        assert_eq!((code(&output), err(&output)), (demo_code(), String::new()));
        output.stdout
    };
    let one = plan("1", "7");
    assert!(one == plan("2", "7") && one == plan("8", "7"));
    assert_ne!(one, plan("2", "8"));
    let sweep = |threads: &'static str| {
        let args =
            ["sweep", "--demo", "--vary", "bag.gap=0.5 m..2 m/4", "--show", "spread.sampling", "--format", "csv"];
        few(&[&args[..], &["--threads", threads]].concat()).stdout
    };
    let one = sweep("1");
    assert!(!one.is_empty() && one == sweep("2") && one == sweep("8"));
    // A map over two keys, which computes the mean run alone: more points than go into a batch.
    let map = |threads: &'static str| {
        let args =
            ["sweep", "--demo", "--vary", "roll_in.start_height=5 m..6 m/64", "--vary", "bag.gap=0.5 m..2 m/150"];
        let rest = ["--show", "flight.along_m,ride.lip_speed_mps", "--format", "csv", "--threads", threads];
        String::from_utf8(run(&[&args[..], &rest[..]].concat()).stdout).unwrap()
    };
    let one = map("1");
    assert!(one == map("2") && one == map("8"));
    let rows: Vec<Vec<f64>> =
        one.lines().skip(1).map(|row| row.split(',').map(|cell| cell.parse().unwrap()).collect()).collect();
    assert_eq!(rows.len(), 64 * 150);
    assert!(rows.windows(2).all(|pair| (pair[0][0], pair[0][1]) < (pair[1][0], pair[1][1])), "out of order");
    // The same figures as where everything is computed.
    let args = ["sweep", "--demo", "--vary", "roll_in.start_height=5 m..6 m/64", "--format", "csv", "--show"];
    let alone = run(&[&args[..], &["flight.along_m"]].concat());
    let with_air = run(&[&args[..], &["flight.along_m,air.density_kgpm3"]].concat());
    let along = |output: &Output| -> Vec<String> {
        let text = String::from_utf8(output.stdout.clone()).unwrap();
        text.lines().map(|row| row.split(',').nth(1).unwrap().to_owned()).collect()
    };
    assert_eq!(along(&alone), along(&with_air));
}

#[test]
fn exit_codes_tell_inside_outside_and_not_computed() {
    let plan = |text: &str| {
        let output = run_with_input(&[&["plan", "-", "--format", "json"][..], &FEW].concat(), text);
        (code(&output), output)
    };
    let (measured, output) = plan(demo_text());
    assert_eq!(
        (measured, &json(&output)["verdict"]["standing"]),
        (0, &Value::from("inside")),
        "{}",
        json(&output)["findings"]
    );
    // The same bag, not measured: it may be ridden from a lower start until it is.
    let (assumed, output) = plan(&demo_without("area"));
    let object = json(&output);
    assert_eq!((assumed, &object["verdict"]["standing"]), (0, &Value::from("provisional")), "{}", object["findings"]);
    assert!(object["pressures"]["provisional"]["first_day_start_m"].as_f64().is_some_and(|m| m < 6.0));
    // A bag that most riders fly over.
    let (far, output) = plan(&demo_with("start_height = \"6.0 m\"", "start_height = \"16 m\""));
    assert_eq!(far, 1, "{}", err(&output));
    assert_eq!(code_of(&json(&output)), 1);
    let (none, output) = plan(&demo_without("gap"));
    assert_eq!((none, out(&output).as_str()), (2, ""));
    assert!(err(&output).starts_with("error: bag.gap: "), "{}", err(&output));
}

#[test]
fn size_answers_and_compares() {
    let object = json(&run(&["size", "--demo", "--landing", "4 m", "--format", "json"]));
    let start_m = object["start_height_m"].as_f64().unwrap();
    assert!((object["riders"][0]["run"]["distance_from_lip_m"].as_f64().unwrap() - 4.0).abs() < 1e-3);
    // The plan of a site with that start lands there.
    let text = demo_with("start_height = \"6.0 m\"", &format!("start_height = \"{start_m} m\""));
    let output = run_with_input(&[&["plan", "-", "--format", "json"][..], &FEW].concat(), &text);
    let lands_m = json(&output)["flight"]["distance_from_lip_m"].as_f64().unwrap();
    assert!((lands_m - 4.0).abs() < 2e-3, "{lands_m}");

    let text = run(&["size", "--demo", "--air-time", "1.2 s", "--radius", "10 ft..24 ft/8"]);
    assert_eq!((code(&text), err(&text).as_str()), (0, ""));
    assert!(out(&text).contains("the site's own") && out(&text).contains("Cautions"), "{}", out(&text));
    let csv = out(&run(&["size", "--demo", "--apex", "2 m", "--radius", "2 m..7 m/0.5 m", "--format", "csv"]));
    let rows: Vec<csv::StringRecord> = csv::Reader::from_reader(csv.as_bytes()).records().map(Result::unwrap).collect();
    // Eleven radii and the site's own; 2 m and 2.5 m make lips past 85°.
    assert_eq!(rows.len(), 12);
    assert_eq!(rows.iter().filter(|row| !row[13].is_empty()).count(), 2, "{csv}");
    let degrees: Vec<f64> = rows.iter().filter_map(|row| row[2].parse().ok()).collect();
    assert!(degrees.len() == 10 && degrees.windows(2).all(|w| w[0] > w[1]), "{degrees:?}");
}

#[test]
fn size_without_an_answer_exits_with_1() {
    let output = run(&["size", "--demo", "--air-time", "3 s", "--lowest", "1 m", "--highest", "8 m"]);
    assert_eq!(code(&output), 1);
    assert!(out(&output).contains("No start height between 1 m and 8 m"), "{}", out(&output));
}

#[test]
fn size_works_without_a_gap() {
    let output = run_with_input(&["size", "-", "--apex", "2 m", "--format", "json"], &demo_without("gap"));
    assert_eq!(code(&output), 0);
    assert!(err(&output).starts_with("note: bag.gap is not stated"), "{}", err(&output));
    let with_gap = json(&run(&["size", "--demo", "--apex", "2 m", "--format", "json"]));
    assert_eq!(json(&output)["start_height_m"], with_gap["start_height_m"]);
}

#[test]
fn place_and_plan_agree() {
    let output = few(&["place", "--demo", "--format", "json"]);
    assert_eq!((code(&output), err(&output).as_str()), (0, ""));
    assert_eq!(code_of(&json(&output)), 0);
    assert_eq!(json(&output)["placement"], json(&few(&["plan", "--demo", "--format", "json"]))["placement"]);
    let text = few(&["place", "--demo"]);
    assert!(out(&text).contains("gap") && !out(&text).starts_with('{'), "{}", out(&text));
    // The chance at the best gap is the chance of a bag that stands there.
    let placed = json(&output)["placement"].clone();
    let there = demo_with("gap = \"0.8 m\"", &format!("gap = \"{} m\"", placed["best_gap_m"]));
    let there = json(&run_with_input(&[&["place", "-", "--format", "json"][..], &FEW].concat(), &there));
    let (said, found) = (placed["miss_at_best"].as_f64().unwrap(), there["placement"]["miss_now"].as_f64().unwrap());
    assert!((said - found).abs() <= 1e-3, "{said} {found}");
    // A bag a long way off is outside the band.
    // Where no gap is stated, one is found.
    let none = run_with_input(&[&["place", "-", "--format", "json"][..], &FEW].concat(), &demo_without("gap"));
    assert_eq!(code(&none), 0);
    assert!(err(&none).starts_with("note: bag.gap is not stated: "), "{}", err(&none));
    let best = [json(&none), json(&output)].map(|o| o["placement"]["best_gap_m"].as_f64().unwrap());
    assert!((best[0] - best[1]).abs() < 0.05, "{best:?}");
    let far = run_with_input(&[&["place", "-"][..], &FEW].concat(), &demo_with("gap = \"0.8 m\"", "gap = \"9 m\""));
    assert_eq!(code(&far), 1);
}

#[test]
fn air_and_plan_agree_and_no_gap_is_needed() {
    let output = run(&["air", "--demo", "--format", "json"]);
    assert_eq!((code(&output), err(&output).as_str()), (code_of(&json(&output)), ""));
    let (air, planned) = (json(&output), json(&few(&["plan", "--demo", "--format", "json"])));
    for part in ["air", "touchdown", "pressures"] {
        assert_eq!(air[part], planned[part], "{part}");
    }
    let text = run(&["air", "--demo"]);
    assert!(out(&text).contains("Pa") && !out(&text).starts_with('{'), "{}", out(&text));
    let without = run_with_input(&["air", "-", "--format", "json"], &demo_without("gap"));
    assert!(err(&without).starts_with("note: bag.gap is not stated"), "{}", err(&without));
    assert_eq!(code(&without), 0, "{}", out(&without));
    let without = json(&without);
    assert_eq!(without["air"]["operating_pressure_pa"], air["air"]["operating_pressure_pa"]);
    assert_eq!(without["air"]["after_cut"][0]["hard_depth_m"], Value::Null);
    assert_eq!(without["touchdown"], Value::Null);
    let about = |report: &Value, topic| report["findings"].as_array().unwrap().iter().any(|f| f["topic"] == topic);
    assert!(about(&without, "filling") && about(&air, "hard") && !about(&without, "hard"));
    assert_eq!(code(&run_with_input(&["air", "-"], &demo_without("gap"))), 0);
    // A maker's range that the blowers cannot reach.
    let high = demo_with("pressure_min = \"0.7 kPa\"", "pressure_min = \"1.4 kPa\"");
    assert_eq!(code(&run_with_input(&["air", "-"], &high)), 1);
}

#[test]
fn one_key_is_swept() {
    let args =
        ["sweep", "--demo", "--vary", "roll_in.start_height=4..7 m/1 m", "--show", "flight.along_m,flight.outcome"];
    let output = run(&[&args[..], &["--format", "csv"]].concat());
    assert_eq!((code(&output), err(&output).as_str()), (0, ""));
    let csv = out(&output);
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    assert_eq!(reader.headers().unwrap(), vec!["roll_in.start_height [m]", "flight.along_m", "flight.outcome"]);
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let column = |i: usize| rows.iter().map(|row| row[i].parse().unwrap()).collect::<Vec<f64>>();
    assert_eq!(column(0), [4.0, 5.0, 6.0, 7.0]);
    assert!(column(1).windows(2).all(|w| w[0] < w[1]), "{csv}");
    // The point that is the demo itself is the demo's plan.
    let planned = json(&few(&["plan", "--demo", "--format", "json"]));
    assert_eq!(Value::from(column(1)[2]), planned["flight"]["along_m"]);
    let text = out(&run(&args));
    assert_eq!(text.lines().count(), 5, "{text}");
}

#[test]
fn two_keys_are_swept_the_second_fastest() {
    let output = run(&[
        "sweep",
        "--demo",
        "--vary",
        "takeoff.radius=15 ft,18 ft",
        "--vary",
        "wind.along=-2 m/s..2 m/s/3",
        "--show",
        "ride,spread.differences.sd_along_m",
        "--format",
        "json",
    ]);
    assert_eq!((code(&output), err(&output).as_str()), (0, ""));
    let rows = json(&output);
    let rows = rows.as_array().unwrap();
    let at: Vec<(f64, f64)> = rows
        .iter()
        .map(|row| (row["takeoff.radius [ft]"].as_f64().unwrap(), row["wind.along [m/s]"].as_f64().unwrap()))
        .collect();
    assert_eq!(at, [(15.0, -2.0), (15.0, 0.0), (15.0, 2.0), (18.0, -2.0), (18.0, 0.0), (18.0, 2.0)]);
    // `ride` stands for all its keys.
    assert!(rows.iter().all(|row| row["ride.lip_speed_mps"].is_f64() && row["ride.takeoff_radius_m"].is_f64()));
    assert!(rows.iter().all(|row| row["spread.differences.sd_along_m"].as_f64().unwrap() > 0.0));
}

#[test]
fn a_point_that_cannot_be_computed_is_empty_and_said() {
    let output =
        run(&["sweep", "--demo", "--vary", "takeoff.radius=2 m,5 m", "--show", "flight.outcome", "--format", "csv"]);
    assert_eq!(code(&output), 0);
    assert_eq!(out(&output), "takeoff.radius [m],flight.outcome\n2,\n5,on\n");
    insta::assert_snapshot!("sweep_point_refused", err(&output));
    let none = run(&["sweep", "--demo", "--vary", "takeoff.radius=1 m,2 m", "--show", "flight.outcome"]);
    assert_eq!(code(&none), 2);
}

#[test]
fn unknown_keys_are_told_the_nearest() {
    let site = run(&["sweep", "--demo", "--vary", "bag.gab=1 m,2 m", "--show", "flight.outcome"]);
    assert_eq!(code(&site), 2);
    assert!(err(&site).contains("\"bag.gap\" was perhaps meant"), "{}", err(&site));
    let result = run(&["sweep", "--demo", "--vary", "bag.gap=1 m,2 m", "--show", "flight.airtime"]);
    assert_eq!(code(&result), 2);
    assert!(err(&result).contains("\"flight.airtime_s\" was perhaps meant"), "{}", err(&result));
}

/// The demo site from TOML to JSON as it stands.
fn demo_json() -> Value {
    let document: toml_edit::DocumentMut = demo_text().parse().unwrap();
    fn of(item: &toml_edit::Item) -> Value {
        match item {
            toml_edit::Item::Table(table) => table.iter().map(|(key, item)| (key.to_owned(), of(item))).collect(),
            toml_edit::Item::Value(value) => value_of(value),
            other => panic!("{other:?}"),
        }
    }
    fn value_of(value: &toml_edit::Value) -> Value {
        use toml_edit::Value as Toml;
        match value {
            Toml::String(text) => Value::from(text.value().as_str()),
            Toml::Integer(number) => Value::from(*number.value()),
            Toml::Float(number) => Value::from(*number.value()),
            Toml::Boolean(yes) => Value::from(*yes.value()),
            Toml::Array(list) => list.iter().map(value_of).collect(),
            other => panic!("{other:?}"),
        }
    }
    of(document.as_item())
}

#[test]
fn the_schemas_describe_what_is_read_and_printed() {
    let faults = |schema: &Value, value: &Value| -> Vec<String> {
        let validator = jsonschema::draft202012::new(schema).unwrap();
        validator.iter_errors(value).map(|error| format!("{}: {error}", error.instance_path())).collect()
    };
    let [site, results] = ["site", "results"].map(|of| json(&run(&["schema", of])));
    for schema in [&site, &results] {
        assert!(jsonschema::draft202012::meta::is_valid(schema));
    }
    let demo = demo_json();
    assert_eq!(faults(&site, &demo), Vec::<String>::new());
    let mut wrong = demo;
    wrong["rider"]["mass"] = Value::from(78);
    assert!(!faults(&site, &wrong).is_empty());

    let planned = json(&few(&["plan", "--demo", "--format", "json"]));
    assert_eq!(faults(&results, &planned), Vec::<String>::new());
    let mut wrong = planned;
    wrong["flight"]["airtime_s"] = Value::from("long");
    wrong["ride"].as_object_mut().unwrap().remove("lip_angle_deg");
    assert_eq!(faults(&results, &wrong).len(), 2);
    // A ride that never leaves the lip has nulls, and is still described.
    let stalled = demo_with("start_height = \"6.0 m\"", "start_height = \"2.2 m\"");
    let output = run_with_input(&[&["plan", "-", "--format", "json"][..], &FEW].concat(), &stalled);
    assert_eq!(faults(&results, &json(&output)), Vec::<String>::new());
    assert_eq!(json(&output)["flight"]["outcome"], "stall");
    assert_eq!(json(&output)["flight"]["airtime_s"], Value::Null);
}

/// Numbers with a metric unit behind them, or with a pressure's other than the gauge's.
fn metric_left(text: &str) -> Vec<String> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let is_unit = |word: &str| {
        let word = word.trim_matches(|c: char| ",.;:()".contains(c));
        ["m", "cm", "mm", "km/h", "m/s", "kPa", "Pa", "kg", "N", "m³", "m³/s", "m²", "cm²"].contains(&word)
    };
    let pairs = words.windows(2).filter(|pair| pair[0].ends_with(|c: char| c.is_ascii_digit()) && is_unit(pair[1]));
    // Published falls stand as they were published.
    pairs.map(|pair| pair.join(" ")).filter(|pair| !["8.2 m", "1.5 m"].contains(&pair.as_str())).collect()
}

#[test]
fn a_site_in_feet_and_inches_of_water_is_told_in_them() {
    let text = demo_with("altitude = \"420 m\"", "altitude = \"1378 ft\"\nunits = \"imperial\"\ngauge = \"inH2O\"");
    // Provisional, so that the marks of a bag that is not measured are told too.
    let unmeasured: String = text.lines().filter(|l| !l.starts_with("area = ")).map(|l| format!("{l}\n")).collect();
    for (site, what) in [(&text, "measured"), (&unmeasured, "not measured")] {
        for args in [
            &["plan", "-", "--full"][..],
            &["air", "-"],
            &["place", "-"],
            &["size", "-", "--apex", "8 ft"],
            &["ramp", "-"],
            &["progress", "-"],
        ] {
            let few: &[&str] = if matches!(args[0], "plan" | "place") { &FEW } else { &[] };
            let output = run_with_input(&[args, few].concat(), site);
            let said = out(&output);
            assert!(said.contains(" ft") || said.contains("inH2O"), "{args:?} {said}");
            let left = metric_left(&said);
            assert!(left.is_empty(), "{what} {args:?}: {left:?}\n{said}");
        }
    }
    // The same figures in JSON are SI whatever is shown.
    let json_of = |text: &str| json(&run_with_input(&[&["plan", "-", "--format", "json"][..], &FEW].concat(), text));
    let (metric, imperial) = (json_of(demo_text()), json_of(&text));
    let lip = |object: &Value| object["ride"]["lip_speed_mps"].as_f64().unwrap();
    // 1378 ft are 420.01 m.
    assert!((lip(&metric) - lip(&imperial)).abs() < 1e-4);
}
