//! `ground`, `ready` and `line` as they are used.

#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::Path;
use std::process::{Command, Output, Stdio};

use landfall_plan::site::demo_text;
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

const GROUND: &str = r#"
[ground]
profile = [["-26 m", "1.6 m"], ["-14 m", "0.5 m"], ["-8 m", "0 m"], ["0 m", "-0.1 m"], ["6 m", "-0.5 m"], ["12 m", "-0.2 m"], ["25 m", "0.1 m"]]
width = "16 m"
middle = "1 m"
edge = "14 m"
edge_behind = "-22 m"
obstacle = [
  {name = "oak", along = "4 m", across = "-6.5 m", radius = "1 m", height = "9 m"},
  {name = "phone line", along = "-12 m", across = "-20 m", to_along = "2 m", to_across = "20 m", radius = "2 cm", height = "7 m", hangs = true},
]
"#;

/// A folder with the demo's site on a ground, some of its text replaced.
fn site(edits: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let mut text = format!("{}{GROUND}", demo_text());
    for (from, to) in edits {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    std::fs::write(folder.path().join("hill.toml"), text).unwrap();
    folder
}

#[test]
fn a_ground_that_fits_is_told_with_what_is_spare() {
    let folder = site(&[]);
    let done = run(folder.path(), &["ground", "hill.toml", "--report", "g.html"]);
    assert_eq!(done.status.code(), Some(0), "{}{}", out(&done), err(&done));
    let text = out(&done);
    for part in ["It fits. To spare:", "Least digging", "phone line stays", "Peg A:", "bag front left", "No heights"] {
        assert_eq!(text.contains(part), part != "No heights", "{part} in\n{text}");
    }
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
    assert!(!text.to_lowercase().contains("safe"));
    let page = std::fs::read_to_string(folder.path().join("g.html")).unwrap();
    assert_eq!(page.matches("<svg").count(), 2);
    let json: Value =
        serde_json::from_slice(&run(folder.path(), &["ground", "hill.toml", "--format", "json"]).stdout).unwrap();
    let fit = &json["ground"]["fit"];
    // The platform's back: the take-off's base 4.04 m, the flat run 4 m, the arc 3.44 m, the straight (6 − 1.085)/tan 35° =
    // 7.02 m and 2.4 m of platform.
    assert!((fit["from_m"].as_f64().unwrap() + 20.904).abs() < 0.01, "{fit}");
    assert!((fit["missing_behind_m"].as_f64().unwrap() + 1.096).abs() < 0.01, "{fit}");
    assert_eq!(json["tried"].as_array().unwrap().len(), 0);
    // Every tape leads back to its corner.
    let pegs = &json["ground"]["pegs_m"];
    for tape in json["ground"]["tapes"].as_array().unwrap() {
        for (peg, from) in [(&pegs[0], "a_m"), (&pegs[1], "b_m")] {
            let d = |i: usize| peg[i].as_f64().unwrap() - tape["place_m"][i].as_f64().unwrap();
            // Places are written with seven digits.
            assert!((d(0).hypot(d(1)) - tape[from].as_f64().unwrap()).abs() < 1e-5, "{tape}");
        }
    }
    for table in landfall_plan::ground::text::TABLES {
        let csv = out(&run(folder.path(), &["ground", "hill.toml", "--format", "csv", "--table", table]));
        assert!(csv.lines().count() > 3, "{table}: {csv}");
    }
    let pegs = ["ground", "hill.toml", "--peg-a", "-4 m, 12 m", "--peg-b", "8 m,12 m"];
    assert!(out(&run(folder.path(), &pegs)).contains("Peg A: 4.00 m behind the lip, 12.00 m to the left"));
}

#[test]
fn where_length_is_missing_changes_are_tried_through_the_planner() {
    let folder = site(&[("edge_behind = \"-22 m\"", "edge_behind = \"-16.5 m\"")]);
    let done = run(folder.path(), &["ground", "hill.toml", "--format", "json"]);
    assert_eq!(done.status.code(), Some(1), "{}", err(&done));
    let json: Value = serde_json::from_slice(&done.stdout).unwrap();
    let tried = json["tried"].as_array().unwrap();
    let keys: Vec<&str> = tried.iter().map(|one| one["keys"][0][0].as_str().unwrap()).collect();
    for key in ["roll_in.flat_run", "roll_in.slope", "roll_in.bottom_radius", "roll_in.start_height"] {
        assert!(keys.contains(&key), "{keys:?}");
    }
    for one in tried {
        // Each has a plan: its load and its air time are known.
        assert!(one["peak_load_g"].is_number() && one["airtime_lost_s"].is_number(), "{one}");
        if one["still_missing_m"].as_f64().unwrap() > 0.0 {
            continue;
        }
        // Written into the file, it is what was said.
        let mut text = std::fs::read_to_string(folder.path().join("hill.toml")).unwrap();
        for key in one["keys"].as_array().unwrap() {
            let (name, to) = (key[0].as_str().unwrap(), key[2].as_f64().unwrap());
            let (name, value) = match name {
                "roll_in.slope" => ("slope", format!("{} deg", to.to_degrees())),
                other => (other.split_once('.').unwrap().1, format!("{to} m")),
            };
            let line = text.lines().find(|line| line.starts_with(&format!("{name} = "))).unwrap().to_owned();
            text = text.replacen(&line, &format!("{name} = \"{value}\""), 1);
        }
        std::fs::write(folder.path().join("changed.toml"), &text).unwrap();
        let again: Value =
            serde_json::from_slice(&run(folder.path(), &["ground", "changed.toml", "--format", "json"]).stdout)
                .unwrap();
        let fit = &again["ground"]["fit"];
        let missing = fit["missing_behind_m"].as_f64().unwrap() + fit["missing_ahead_m"].as_f64().unwrap();
        assert!(missing <= 0.01, "{one} {fit}");
    }
    let text = out(&run(folder.path(), &["ground", "hill.toml"]));
    assert!(text.contains("are missing behind the platform") && text.contains("of air time are lost"), "{text}");
    // The plan says it too, as a caution, and stays what it was else.
    let plan = out(&run(folder.path(), &["plan", "hill.toml"]));
    assert!(plan.contains("behind the platform"), "{plan}");
}

#[test]
fn a_wire_through_the_flights_is_a_stop() {
    // It crosses 2 m ahead of the lip, 4 m over the ground there.
    let folder = site(&[
        ("along = \"-12 m\", across = \"-20 m\"", "along = \"2 m\", across = \"-20 m\""),
        ("radius = \"2 cm\", height = \"7 m\"", "radius = \"2 cm\", height = \"4 m\""),
    ]);
    let plan = run(folder.path(), &["plan", "hill.toml"]);
    assert_eq!(plan.status.code(), Some(1));
    assert!(out(&plan).contains("DO NOT RIDE: phone line is in the way of the flights"), "{}", out(&plan));
    assert_eq!(run(folder.path(), &["ground", "hill.toml"]).status.code(), Some(1));
}

#[test]
fn bad_ground_is_told_with_key_line_and_cure() {
    let folder = site(&[
        ("[\"6 m\", \"-0.5 m\"]", "[\"-3 m\", \"-0.5 m\"]"),
        ("along = \"4 m\", across = \"-6.5 m\"", "along = \"-5 m\", across = \"0.4 m\""),
        ("width = \"16 m\"", "width = \"1.5 m\""),
        ("name = \"phone line\", along", "name = \"phone line\", alogn"),
    ]);
    let done = run(folder.path(), &["check", "hill.toml"]);
    assert_eq!(done.status.code(), Some(2));
    let said = err(&done);
    for words in [
        "ground.profile[5]: the profile folds back: after 0 m comes -3 m",
        "give the points from behind the start forwards",
        "ground.obstacle[2].alogn: is unknown; \"along\" was perhaps meant",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    let folder = site(&[
        ("along = \"4 m\", across = \"-6.5 m\"", "along = \"-5 m\", across = \"0.4 m\""),
        ("middle = \"1 m\"", "middle = \"9 m\""),
    ]);
    let said = err(&run(folder.path(), &["check", "hill.toml"]));
    assert!(said.contains("ground.obstacle[1]: \"oak\" stands in the roll-in"), "{said}");
    assert!(said.contains("hangs = true; else the jump must be placed elsewhere"), "{said}");
    assert!(said.contains("ground.middle: 9 m puts the take-off's centre line off the land"), "{said}");
}

const RUNS: &str = "run,trick,ending,landing_along_m,landing_across_m,lip_speed_kmh,excluded,reason\n\
    1,tailwhip,clean,3.1,0.1,,,\n2,tailwhip,clean,3.6,0.2,,,\n3,tailwhip,crash,1.6,-0.3,,,\n\
    4,Tailwhip,clean,4.2,0.0,,,\n5,tailwhip,hands or feet down,4.9,0.5,,,\n6,tailwhip,clean,3.3,0.2,,,\n\
    7,tailwhip,clean,,,28,,\n8,barspin,clean,3.3,0.2,,,\n9,tailwhip,,2.0,0.1,,yes,wind\n";

#[test]
fn runs_of_a_trick_are_counted_without_a_verdict() {
    let folder = site(&[]);
    std::fs::write(folder.path().join("runs.csv"), RUNS).unwrap();
    let done = run(folder.path(), &["ready", "hill.toml", "runs.csv", "--trick", "tailwhip"]);
    assert_eq!(done.status.code(), Some(0), "{}", err(&done));
    let text = out(&done);
    // scipy.stats.beta: 5 of 7 at 95 %: 0.2904 to 0.9633.
    assert!(text.contains("Clean: 5 of 7: between 29 and 97 in 100."), "{text}");
    assert!(text.contains("takes 59 clean runs in a row"), "{text}");
    assert!(text.contains("Run 9 is left out: wind."), "{text}");
    assert!(text.contains("This is no verdict") && !text.to_lowercase().contains("safe"), "{text}");
    let args =
        ["ready", "hill.toml", "runs.csv", "--trick", "tailwhip", "--format", "json", "--landing-slope", "15 deg"];
    let json: Value = serde_json::from_slice(&run(folder.path(), &args).stdout).unwrap();
    assert_eq!(json["runs"]["landing"]["known"], 7);
    assert!((json["landing"]["asked"]["slope_rad"].as_f64().unwrap().to_degrees() - 15.0).abs() < 1e-9);
    for (args, words) in [
        (&["--trick", "tailwip"][..], "\"tailwhip\" was perhaps meant"),
        (&["--trick", "tailwhip", "--chance", "1.5"], "is not between 0 and 1"),
        (&["--trick", "tailwhip", "--landing-slope", "80 deg"], ""),
    ] {
        let done = run(folder.path(), &[&["ready", "hill.toml", "runs.csv"], args].concat());
        let said = format!("{}{}", out(&done), err(&done));
        let words = if words.is_empty() { "a landing's slope is taken from 5 to 60 degrees" } else { words };
        assert!(said.contains(words), "{words}: {said}");
    }
    std::fs::write(folder.path().join("bad.csv"), "run,trick,ending,landing_along_m\n1,flip,nearly,3\n2,flip,,3\n")
        .unwrap();
    let said = err(&run(folder.path(), &["ready", "hill.toml", "bad.csv", "--trick", "flip"]));
    assert!(said.contains("bad.csv:2") && said.contains("is none of clean"), "{said}");
    assert!(said.contains("bad.csv:3") && said.contains("how the run ended is not stated"), "{said}");
}

#[test]
fn a_landing_that_is_built_stands_beside_the_others() {
    let folder = site(&[]);
    let text = out(&run(folder.path(), &["progress", "hill.toml", "--report", "l.html"]));
    assert!(text.contains("A landing that is built for these runs") && text.contains("Dirt is no bag"), "{text}");
    let csv = out(&run(folder.path(), &["progress", "hill.toml", "--format", "csv", "--table", "built"]));
    assert!(csv.starts_with("distance_m,height_m,slope_deg,what") && csv.contains("knuckle"), "{csv}");
    let page = std::fs::read_to_string(folder.path().join("l.html")).unwrap();
    assert!(page.contains("The landing that is built, beside the bag") && page.contains("knuckle"), "{page}");
    let json: Value =
        serde_json::from_slice(&run(folder.path(), &["progress", "hill.toml", "--format", "json"]).stdout).unwrap();
    let drawn = &json["built"]["drawn"];
    let count = |key: &str| drawn[key].as_u64().unwrap();
    assert_eq!(count("runs"), 3000);
    assert_eq!(count("on_slope") + count("short") + count("long") + count("no_flight"), 3000);
    // Too steep a slope is refused with the steepest that works.
    let said = out(&run(folder.path(), &["progress", "hill.toml", "--landing-slope", "55 deg"]));
    assert!(said.contains("tried:") && said.contains("degrees works"), "{said}");
}

#[test]
fn a_line_says_where_it_dies_and_what_was_tried() {
    let folder = site(&[]);
    let write = |name: &str, edits: &[(&str, &str)]| {
        let mut text = demo_text().to_owned();
        for (from, to) in edits {
            assert!(text.contains(from), "{from}");
            text = text.replace(from, to);
        }
        std::fs::write(folder.path().join(name), text).unwrap();
    };
    let low = [("height = \"8 ft\"", "height = \"1.8 m\""), ("radius = \"15 ft\"", "radius = \"5.5 m\"")];
    write("a.toml", &[&low[..], &[("Larch Hollow (invented demo)", "First")]].concat());
    let flat = [("start_height = \"6.0 m\"", "start_height = \"1.2 m\""), ("slope = \"35 deg\"", "slope = \"15 deg\"")];
    let second = [("height = \"8 ft\"", "height = \"1.2 m\""), ("radius = \"15 ft\"", "radius = \"6 m\"")];
    write("b.toml", &[&flat[..], &second, &[("Larch Hollow (invented demo)", "Second")]].concat());
    let high = [("height = \"8 ft\"", "height = \"4.5 m\""), ("radius = \"15 ft\"", "radius = \"8 m\"")];
    let long = [("flat_run = \"4 m\"", "flat_run = \"60 m\""), ("Larch Hollow (invented demo)", "Third")];
    write("c.toml", &[&flat[..], &high, &long].concat());
    let done = run(folder.path(), &["line", "a.toml", "b.toml", "--runs", "400", "--roll-out", "6 m"]);
    assert_eq!(done.status.code(), Some(0), "{}{}", out(&done), err(&done));
    assert!(out(&done).contains("2. Second") && !out(&done).contains("HERE THE LINE DIES"), "{}", out(&done));
    let done = run(folder.path(), &["line", "a.toml", "b.toml", "c.toml", "--runs", "400", "--roll-out", "6 m"]);
    let text = out(&done);
    assert_eq!(done.status.code(), Some(1), "{text}{}", err(&done));
    assert!(
        text.contains("3. Third") && text.contains("HERE THE LINE DIES: the mean run comes to rest before the lip"),
        "{text}"
    );
    assert!(text.contains("Tried") && text.contains("Third: take-off"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
}

#[test]
fn the_ramps_legs_stand_on_the_ground() {
    let folder = site(&[]);
    let json: Value =
        serde_json::from_slice(&run(folder.path(), &["ramp", "hill.toml", "--format", "json"]).stdout).unwrap();
    // 6 m of platform over ground that is 1.13 m up 20.9 m behind the lip, less 18 mm of deck and 95 mm of joist.
    let first = &json["legs"][0];
    assert!((first["length_m"].as_f64().unwrap() - (6.0 - 1.133 - 0.113)).abs() < 2e-3, "{first}");
    assert!(out(&run(folder.path(), &["ramp", "hill.toml"])).contains("The ground is that of ground.profile."));
}
