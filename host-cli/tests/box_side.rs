//! The box's side of the command: settings, link, recordings and simulation, through the program itself and the box's
//! own code.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::fs;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use landfall_box::file;
use landfall_core::watch::WatchSettings;
use serde_json::Value;

/// Few samples: the settings hang on mean and spread, not on the tails.
const QUICK: [&str; 2] = ["--samples", "5000"];

/// The invented demo site as a file.
fn site() -> &'static str {
    static PATH: OnceLock<String> = OnceLock::new();
    PATH.get_or_init(|| {
        let text = landfall_plan::site::demo_text();
        let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("hollow-{}.toml", std::process::id()));
        fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_owned()
    })
}

fn landfall(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_landfall")).args(args).stdin(Stdio::null()).output().unwrap()
}

fn start(args: &[&str]) -> Child {
    Command::new(env!("CARGO_BIN_EXE_landfall"))
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

fn out(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn err(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Ends the program that it holds.
struct Ends(Child);
impl Drop for Ends {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// A simulated box and the path of its pseudo-terminal.
fn boxed(args: &[&str]) -> (Ends, String) {
    let mut child = start(&[&["simulate", site()], &QUICK[..], args].concat());
    let mut path = String::new();
    BufReader::new(child.stdout.as_mut().unwrap()).read_line(&mut path).unwrap();
    assert!(path.starts_with("/dev/"), "{path}");
    (Ends(child), path.trim().to_owned())
}

fn replayed(log: &Path, more: &[&str]) -> Value {
    let log = log.to_str().unwrap();
    let output = landfall(&[&["replay", log, "--site", site(), "--format", "json"], &QUICK[..], more].concat());
    assert!(output.status.success(), "{}", err(&output));
    serde_json::from_str(&out(&output)).unwrap()
}

/// States of a replay with their times, repeats left out.
fn states(replayed: &Value) -> Vec<(f64, String)> {
    let mut list: Vec<(f64, String)> = Vec::new();
    for change in replayed["changes"].as_array().unwrap() {
        let state = change["state"].as_str().unwrap().to_owned();
        if list.last().is_none_or(|(_, last)| *last != state) {
            list.push((change["time_s"].as_f64().unwrap(), state));
        }
    }
    list
}

/// States in a recording's own column: what the box itself did.
fn recorded(log: &Path) -> Vec<(f64, String)> {
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(log).unwrap();
    let headers = reader.headers().unwrap().clone();
    let at = |name: &str| headers.iter().position(|h| h == name).unwrap();
    let (time, state) = (at("time_s"), at("state"));
    let mut list: Vec<(f64, String)> = Vec::new();
    for record in reader.records().map(Result::unwrap) {
        if list.last().is_none_or(|(_, last)| last != &record[state]) {
            list.push((record[time].parse().unwrap(), record[state].to_owned()));
        }
    }
    list
}

/// A folder of this test's own.
fn folder() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

/// A fast simulation's recording.
fn simulated(folder: &tempfile::TempDir, args: &[&str]) -> PathBuf {
    let path = folder.path().join("sim.csv");
    let to = path.to_str().unwrap();
    let output = landfall(&[&["simulate", site(), "--fast", "--force", "--output", to], &QUICK[..], args].concat());
    assert!(output.status.success(), "{}", err(&output));
    path
}

/// A simulated box's recording says what the box went by, and replays by that without the site.
#[test]
fn a_simulated_recording_carries_what_the_box_went_by() {
    let folder = folder();
    let log = simulated(&folder, &["--for", "60 s"]);
    let text = fs::read_to_string(&log).unwrap();
    assert!(text.lines().nth(1).unwrap().starts_with("# in force from 0.000000 s: {"), "{text}");
    let output = landfall(&["replay", log.to_str().unwrap(), "--format", "json"]);
    assert!(output.status.success(), "{}", err(&output));
    let alone: Value = serde_json::from_str(&out(&output)).unwrap();
    assert_eq!(alone["changes"], replayed(&log, &[])["changes"]);
    assert_eq!(recorded(&log), states(&alone));
    // A box without settings has none to tell.
    let bare = fs::read_to_string(simulated(&folder, &["--for", "10 s", "--bare"])).unwrap();
    assert!(!bare.contains("in force"), "{bare}");
}

#[test]
fn an_hour_of_riding_through_the_frames_replays_to_the_same_decisions() {
    let folder = folder();
    let log = folder.path().join("hour.csv");
    let began = Instant::now();
    let (_sim, path) = boxed(&[
        "--speed",
        "0",
        "--for",
        "60 min",
        "--do",
        "20 min: leak 20 cm2 for 5 min",
        "--do",
        "55 min: cut for 30 s",
    ]);
    let output = landfall(&["watch", &path, "--once", "--plain", "--every", "60 s", "--record", log.to_str().unwrap()]);
    // Nobody has acknowledged the stop of the 55th minute: it ended with it.
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    assert!(began.elapsed() < Duration::from_secs(240), "{:?}", began.elapsed());
    let box_did = recorded(&log);
    let rows = fs::read_to_string(&log).unwrap().lines().count();
    // 50 a second, but for the last message that was not complete.
    assert!(rows > 179_900, "{rows} rows");
    let done = replayed(&log, &[]);
    let replay_did = states(&done);
    let names: Vec<_> = replay_did.iter().map(|(_, state)| state.as_str()).collect();
    assert!(names.starts_with(&["check", "fill", "ride"]) && names.contains(&"stop"), "{names:?}");
    assert_eq!(box_did.len(), replay_did.len(), "{box_did:?}\n{replay_did:?}");
    for (a, b) in box_did.iter().zip(&replay_did) {
        assert!(a.1 == b.1 && (a.0 - b.0).abs() < 1e-6, "{a:?} {b:?}");
    }
    // Without a site the recording's own settings are used: the same again.
    let carried = landfall(&["replay", log.to_str().unwrap(), "--format", "json"]);
    assert!(carried.status.success(), "{}", err(&carried));
    assert_eq!(states(&serde_json::from_str(&out(&carried)).unwrap()), replay_did);
    // Both clocks are in every row, and the lines are whole.
    let text = fs::read_to_string(&log).unwrap();
    assert!(
        text.ends_with('\n') && text.lines().nth(2).is_some_and(|row| row.ends_with('Z')),
        "{:?}",
        text.lines().nth(2)
    );
    assert!(done["landings"].as_array().unwrap().len() > 80, "{}", done["landings"].as_array().unwrap().len());
    println!(
        "an hour through the pseudo-terminal and back: {:.1} s, {} changes of state, {} landings",
        began.elapsed().as_secs_f64(),
        names.len(),
        done["landings"].as_array().unwrap().len()
    );
}

#[test]
fn arm_writes_what_the_box_decodes_and_refuses_foreign_and_stale() {
    let folder = folder();
    let path = folder.path().join("demo.watch");
    let to = path.to_str().unwrap();
    let arm = |more: &[&str]| landfall(&[&["arm", site(), "--output", to], &QUICK[..], more].concat());
    let output = arm(&["--revision", "5"]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    let text = out(&output);
    assert!(
        text.contains("Siren at or under") && text.contains("stop pressure") && text.contains("supplementary alarm")
    );
    assert!(!text.to_lowercase().contains("safe"));
    // The device's own decoder, and its own checks.
    let settings = file::from_bytes(&fs::read(&path).unwrap()).unwrap();
    settings.validate().unwrap();
    assert_eq!(settings.revision, 5);
    let older = arm(&["--revision", "4"]);
    assert_eq!(older.status.code(), Some(2));
    assert!(err(&older).contains("stale"), "{}", err(&older));
    fs::write(&path, file::to_bytes(&WatchSettings { site_id: settings.site_id ^ 1, ..settings }).unwrap()).unwrap();
    let foreign = arm(&["--revision", "9"]);
    assert!(err(&foreign).contains("foreign"), "{}", err(&foreign));
}

#[test]
fn arm_refuses_where_the_plan_says_stop_and_says_why() {
    let folder = folder();
    let path = folder.path().join("poor.toml");
    let demo = landfall_plan::site::demo_text();
    // A bag of 0.5 m: the hard landing goes through it at any pressure.
    fs::write(
        &path,
        demo.replace("front_height = \"2.2 m\"", "front_height = \"0.5 m\"")
            .replace("back_height = \"2.2 m\"", "back_height = \"0.5 m\"")
            .replace(", [\"0.60 m\", \"3.6 m2\"], [\"1.00 m\", \"4.2 m2\"]]", "]"),
    )
    .unwrap();
    let to = folder.path().join("poor.watch");
    let output = landfall(&[&["arm", path.to_str().unwrap(), "--output", to.to_str().unwrap()], &QUICK[..]].concat());
    assert_eq!(output.status.code(), Some(1), "{}{}", out(&output), err(&output));
    assert!(err(&output).contains("the plan says stop"), "{}", err(&output));
    assert!(!to.exists());
}

#[test]
fn arm_over_the_line_needs_the_button_and_reads_back() {
    let (_sim, path) = boxed(&["--bare", "--speed", "5"]);
    let without =
        landfall(&[&["arm", site(), "--port", &path, "--wait", "1 s", "--revision", "3"], &QUICK[..]].concat());
    assert_eq!(without.status.code(), Some(2));
    assert!(err(&without).contains("button"), "{}", err(&without));
    drop(_sim);
    let (mut sim, path) = boxed(&["--bare", "--speed", "5"]);
    let mut button = sim.0.stdin.take().unwrap();
    // Somebody who presses for five seconds of the box's time and lets go for two, until the line ends.
    std::thread::spawn(move || {
        while button.write_all(b"hold for 5 s\n").is_ok() {
            std::thread::sleep(Duration::from_millis(1400));
        }
    });
    let with = landfall(&[&["arm", site(), "--port", &path, "--revision", "3"], &QUICK[..]].concat());
    assert_eq!(with.status.code(), Some(0), "{}", err(&with));
    assert!(err(&with).contains("stored and read back"), "{}", err(&with));
    // The site went along; without a barometer the planned thresholds hold until somebody states the air.
    assert!(err(&with).contains("the planned thresholds hold: no barometer"), "{}", err(&with));
    let air = ["--today-pressure", "920 hPa", "--today-temperature", "20 degC"];
    let stated = landfall(&[&["arm", site(), "--port", &path, "--revision", "4"], &air[..], &QUICK[..]].concat());
    assert_eq!(stated.status.code(), Some(0), "{}", err(&stated));
    assert!(
        out(&stated).contains("the box holds") && err(&stated).contains("has taken today's air"),
        "{}",
        err(&stated)
    );
    let told = out(&landfall(&["watch", &path, "--plain", "--for", "3 s", "--every", "1 s"]));
    assert!(told.contains("today's air: stop") && told.contains("(planned"), "{told}");
    let stale = landfall(&[&["arm", site(), "--port", &path, "--revision", "2"], &QUICK[..]].concat());
    assert!(err(&stale).contains("stale") && stale.status.code() == Some(2), "{}", err(&stale));
    let log = landfall(&["log", &path, "--format", "json"]);
    let log: Value = serde_json::from_str(&out(&log)).unwrap();
    let events: Vec<_> = log.as_array().unwrap().iter().map(|one| one["event"].as_str().unwrap()).collect();
    assert!(events.contains(&"booted") && events.contains(&"settings"), "{events:?}");
    let csv = out(&landfall(&["log", &path, "--format", "csv"]));
    assert!(csv.starts_with("record,start,time_s,event,text\n") && csv.contains("settings stored"), "{csv}");
    assert!(csv.contains("the thresholds of today's air hold (920 hPa, 20.0 °C): stop"), "{csv}");
}

/// Every kind of fault through the simulation: the box goes to `state` for `reason` within `within_s` of 300 s.
#[test]
fn each_fault_is_found_in_a_simulation() {
    let kinds: [(&str, &str, &[&str], f64); 14] = [
        ("sensor no_answer", "fault", &["nack"], 0.2),
        ("sensor bus", "fault", &["bus_stuck"], 0.2),
        ("sensor corrupt", "fault", &["crc"], 0.2),
        ("sensor wrong_part", "fault", &["identity"], 0.2),
        ("sensor broken", "fault", &["identity"], 0.2),
        ("sensor out_of_range", "fault", &["out_of_range"], 0.2),
        ("sensor not_ready", "fault", &["not_ready"], 0.2),
        ("sensor beyond", "fault", &["out_of_range"], 0.2),
        ("sensor frozen", "fault", &["frozen"], 3.1),
        ("sensor noisy", "fault", &["noisy"], 3.1),
        ("sensor jumps", "fault", &["rate", "noisy"], 3.1),
        ("cut", "stop", &[], 0.2),
        ("stall", "stop", &[], 60.0),
        ("leak 3000 cm2", "stop", &[], 30.0),
    ];
    for (what, state, faults, within_s) in kinds {
        let folder = folder();
        let happening = format!("300 s: {what}");
        let log = simulated(&folder, &["--for", "370 s", "--do", &happening, "--do", "285 s: pause"]);
        let done = replayed(&log, &[]);
        assert_eq!(recorded(&log), states(&done), "{what}");
        let alarm = done["changes"].as_array().unwrap().iter().find(|change| change["siren"] == true);
        let alarm = alarm.unwrap_or_else(|| panic!("{what}: no siren: {:?}", states(&done)));
        let after_s = alarm["time_s"].as_f64().unwrap() - 300.0;
        assert_eq!((alarm["state"].as_str(), alarm["permit"].as_bool()), (Some(state), Some(false)), "{what}: {alarm}");
        assert!((-0.001..within_s).contains(&after_s), "{what}: {after_s} s");
        if !faults.is_empty() {
            assert!(faults.contains(&alarm["fault"].as_str().unwrap()), "{what}: {alarm}");
        }
    }
}

#[test]
fn a_reset_goes_on_in_wait_and_the_replay_follows() {
    let folder = folder();
    let log = simulated(&folder, &["--for", "330 s", "--do", "300 s: reset watchdog"]);
    let box_did = recorded(&log);
    assert_eq!(box_did, states(&replayed(&log, &[])));
    let after = box_did.iter().find(|(at_s, _)| *at_s >= 299.9).unwrap();
    assert_eq!(after.1, "wait", "{box_did:?}");
}

#[test]
fn the_same_seed_gives_the_same_recording() {
    let (one, two, three) = (folder(), folder(), folder());
    let read =
        |folder: &tempfile::TempDir, seed| fs::read(simulated(folder, &["--for", "60 s", "--seed", seed])).unwrap();
    assert_eq!(read(&one, "4"), read(&two, "4"));
    assert_ne!(read(&one, "4"), read(&three, "5"));
}

#[test]
fn replay_says_every_fault_of_a_recording() {
    let folder = folder();
    let path = folder.path().join("bad.csv");
    fs::write(&path, "time_s,gauge_pa,supply\n0,1,1\n0.02,x,1\n0.01,1,7\n").unwrap();
    let output = landfall(&["replay", path.to_str().unwrap(), "--site", site()]);
    assert_eq!(output.status.code(), Some(2));
    for part in ["line 3, column gauge_pa", "line 4, column time_s", "line 4, column supply"] {
        assert!(err(&output).contains(part), "{part} not in {}", err(&output));
    }
}

#[test]
fn what_if_changes_the_outcome_and_the_shape_is_as_told() {
    let folder = folder();
    let log = simulated(&folder, &["--for", "8 min", "--do", "400 s: stall"]);
    let plain = replayed(&log, &[]);
    for change in plain["changes"].as_array().unwrap() {
        assert!(change["time_s"].is_number() && change["state"].is_string() && change["reason"].is_string());
        assert!(change["permit"].is_boolean() && change["siren"].is_boolean());
    }
    let landings = plain["landings"].as_array().unwrap();
    assert!(!landings.is_empty());
    for landing in landings {
        assert!(landing["time_s"].is_number() && landing["peak_pa"].is_number());
        assert!(landing["recovery_s"].is_number() || landing["recovery_s"].is_null());
    }
    let siren = |done: &Value| {
        let changes = done["changes"].as_array().unwrap();
        changes.iter().find(|change| change["siren"] == true).unwrap()["time_s"].as_f64().unwrap()
    };
    let stop_pa = {
        let path = folder.path().join("x.watch");
        let to = path.to_str().unwrap();
        assert!(landfall(&[&["arm", site(), "--output", to], &QUICK[..]].concat()).status.success());
        file::read(&path).unwrap().stop_pa
    };
    let higher = replayed(&log, &["--set", &format!("stop_pa={}", stop_pa + 60.0)]);
    assert!(siren(&higher) < siren(&plain), "{} {}", siren(&higher), siren(&plain));
    let shallow = replayed(&log, &["--set", "bag.depth_limit=0.6"]);
    assert_ne!(siren(&shallow), siren(&plain));
    let output = landfall(&["replay", log.to_str().unwrap(), "--site", site(), "--set", "stop_pressure=3"]);
    assert_eq!(output.status.code(), Some(2));
}

#[cfg(unix)]
#[test]
fn a_silent_link_is_said_loudly_and_a_box_that_comes_back_is_followed() {
    let folder = folder();
    let link = folder.path().join("box");
    let name = link.to_str().unwrap();
    let (first, path) = boxed(&["--full"]);
    std::os::unix::fs::symlink(&path, &link).unwrap();
    let mut watch = Ends(start(&["watch", name, "--plain", "--every", "1 s", "--for", "60 s"]));
    let mut lines = BufReader::new(watch.0.stdout.take().unwrap()).lines();
    let mut until = |wanted: &str| {
        let end = Instant::now() + Duration::from_secs(50);
        let mut all = String::new();
        while Instant::now() < end {
            let Some(Ok(line)) = lines.next() else { break };
            all += &line;
            all.push('\n');
            if line.contains(wanted) {
                return;
            }
        }
        panic!("{wanted} not in\n{all}");
    };
    until("permit");
    drop(first);
    fs::remove_file(&link).unwrap();
    until("NO LINK");
    until("LINK SILENT");
    let (_second, path) = boxed(&["--full", "--do", "3 s: hang"]);
    std::os::unix::fs::symlink(&path, &link).unwrap();
    until("line open");
    until("permit");
    // The line is there, but the box's program stands.
    until("LINK SILENT");
}

#[test]
fn a_recording_is_never_emptied_by_the_next() {
    let folder = folder();
    let log = folder.path().join("day.csv");
    let (_sim, path) = boxed(&["--full"]);
    for _ in 0..2 {
        let output = landfall(&["watch", &path, "--plain", "--for", "1.5 s", "--record", log.to_str().unwrap()]);
        assert!(output.status.success(), "{}", err(&output));
    }
    let rows = |name: &str| fs::read_to_string(folder.path().join(name)).unwrap().lines().count();
    assert!(rows("day.csv") > 30 && rows("day.2.csv") > 30, "{} {}", rows("day.csv"), rows("day.2.csv"));
}

#[test]
fn the_log_of_a_young_box_comes_at_once_and_a_box_forgets_with_its_button() {
    let (mut sim, path) = boxed(&["--empty", "--speed", "2"]);
    // A few seconds old: the trial is over, and the first room in its flash is made.
    std::thread::sleep(Duration::from_secs(3));
    let began = Instant::now();
    let log = landfall(&["log", &path, "--format", "json"]);
    assert!(log.status.success(), "{}", err(&log));
    assert!(began.elapsed() < Duration::from_secs(4), "{:?}", began.elapsed());
    let log: Value = serde_json::from_str(&out(&log)).unwrap();
    // What is kept for the next start comes before anything else, then the start itself.
    assert_eq!([&log[0]["event"], &log[1]["event"]], ["kept", "booted"]);
    // Another site is refused by name; the button alone does nothing, and the line alone neither.
    let foreign = landfall(&["log", &path, "--forget", "00000001"]);
    assert!(foreign.status.code() == Some(2) && err(&foreign).contains("foreign"), "{}", err(&foreign));
    let armed = landfall(&[&["arm", site(), "--format", "json"], &QUICK[..]].concat());
    let armed: Value = serde_json::from_str(&out(&armed)).unwrap();
    let id = format!("{:08x}", armed["settings"]["site_id"].as_u64().unwrap());
    sim.0.stdin.as_mut().unwrap().write_all(b"hold for 20 s\n").unwrap();
    let forgotten = landfall(&["log", &path, "--forget", &id]);
    assert!(forgotten.status.success(), "{}", err(&forgotten));
    let told = out(&landfall(&["watch", &path, "--plain", "--for", "2 s", "--every", "1 s"]));
    assert!(told.contains("NO SETTINGS"), "{told}");
}

#[test]
fn a_port_that_is_not_there_is_named() {
    let output = landfall(&["log", "/dev/no-such-port"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(err(&output).contains("/dev/no-such-port"));
    let output = landfall(&["watch", "/dev/no-such-port", "--plain", "--for", "1.5 s"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(err(&output).contains("/dev/no-such-port: there is no such port"), "{}", err(&output));
}

/// The hash that the command prints for the paper sheet.
fn last_hash(text: &str) -> String {
    text.lines().find_map(|line| line.split_once("Last hash: ")).unwrap().1.trim().to_owned()
}

/// A session as evidence: written once, checked, kept in the logbook; a changed one is named and not kept.
#[test]
fn a_session_is_put_down_checked_and_kept() {
    let folder = folder();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (session, recording, book) = (path("day.session"), path("day.csv"), path("hill.logbook"));
    fs::write(&recording, "time_s,gauge_pa\n0,1\n0.02,2\n").unwrap();
    let (_simulated, port) = boxed(&[
        "--speed",
        "30",
        "--do",
        "0 s: pause for 140 s",
        "--do",
        "105 s: cut for 3 s",
        "--do",
        "120 s: hold for 4 s",
    ]);
    std::thread::sleep(Duration::from_secs(6));
    let put = [
        "log",
        &port,
        "--session",
        &session,
        "--coach",
        "Ines",
        "--rider",
        "Tom",
        "--rider",
        "Ada Ö.",
        "--trial",
        "all came",
        "--recording",
        &recording,
        "--site",
        site(),
    ];
    let output = landfall(&put);
    assert!(output.status.success(), "{}", err(&output));
    let hash = last_hash(&out(&output));
    let told = out(&output).split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "Ines (as stated).",
        "Tom, Ada Ö. (as stated).",
        "all came (as stated).",
        "for the blowers' supply the box stopped",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
    let text = fs::read_to_string(&session).unwrap();
    assert!(text.contains("\"coach\":\"Ines\"") && text.contains("\"file\":\"day.csv\",\"bytes\":27"), "{text}");
    // Not over what is there, unless told to.
    let again = landfall(&put);
    assert!(again.status.code() == Some(2) && err(&again).contains("is there already"), "{}", err(&again));
    assert_eq!(fs::read_to_string(&session).unwrap(), text);
    let verified = landfall(&["verify", &session, "--hash", &hash]);
    assert!(verified.status.success() && last_hash(&out(&verified)) == hash, "{}", err(&verified));
    let other = landfall(&["verify", &session, "--hash", "0000 0000 0000 0000"]);
    assert!(other.status.code() == Some(1) && err(&other).contains("another file"), "{}", err(&other));
    let none = landfall(&["verify", &session, "--hash", "soon"]);
    assert_eq!(none.status.code(), Some(2), "{}", err(&none));

    // The logbook takes it, and not with another rider in it.
    let begun = landfall(&[&["logbook", "plan", &book, site()], &QUICK[..]].concat());
    assert!(begun.status.success(), "{}", err(&begun));
    let kept = landfall(&["logbook", "box", &book, &session]);
    assert!(kept.status.success() && err(&kept).contains(&hash), "{}", err(&kept));
    let forged = path("forged.session");
    fs::write(&forged, text.replacen("\"Tom\"", "\"Tim\"", 1)).unwrap();
    for args in [&["verify", &forged][..], &["logbook", "box", &book, &forged]] {
        let output = landfall(args);
        assert!(!output.status.success() && err(&output).contains("line 2 was changed"), "{}", err(&output));
    }
    let is_one = landfall(&["verify", site()]);
    assert!(is_one.status.code() == Some(2) && err(&is_one).contains("site file"), "{}", err(&is_one));
    // Nothing writes over it.
    let over = landfall(&["simulate", site(), "--fast", "--for", "1 s", "--output", &session]);
    assert!(!over.status.success() && err(&over).contains("a record of a session"), "{}", err(&over));
    assert_eq!(fs::read_to_string(&session).unwrap(), text);
    // A box for another jump's session is refused.
    let moved = path("moved.toml");
    let renamed = landfall_plan::site::demo_text().replace("Larch Hollow", "Rowan Bank");
    fs::write(&moved, renamed).unwrap();
    let foreign = landfall(&["log", &port, "--session", &path("b.session"), "--site", &moved]);
    assert!(!foreign.status.success() && err(&foreign).contains("another jump"), "{}", err(&foreign));
    assert!(!Path::new(&path("b.session")).exists());
}

/// Two boxes have one permit: on while both ride, off when one of them falls, which is named; each records by its name.
#[test]
fn two_boxes_have_one_permit_and_the_one_that_falls_is_named() {
    let folder = folder();
    let log = folder.path().join("day.csv");
    let watched = |more: &[&str]| {
        let boxes =
            ["watch", "left=simulated", "right=simulated", "--site", site(), "--full", "--plain", "--for", "11 s"];
        landfall(&[&boxes[..], more].concat())
    };
    let output = watched(&["--do", "right: 8 s: cut for 20 s", "--record", log.to_str().unwrap()]);
    let told = out(&output);
    let all: Vec<&str> = told.lines().filter(|line| line.starts_with("ALL OF THEM: ")).collect();
    let on = all.iter().position(|line| line.contains("permit ON, next rider: go")).unwrap();
    let off = all.iter().skip(on).find(|line| line.contains("permit OFF")).unwrap();
    assert!(all[on].contains("left RIDE, ") && all[on].contains("; right RIDE, "), "{}", all[on]);
    assert!(
        off.contains("next rider: NO") && off.contains("left RIDE, ") && off.contains("; right ALL STOP, "),
        "{off}"
    );
    assert!(off.contains("right: The blowers' supply is off.") && !off.contains("left: "), "{off}");
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    // Each recording says in each row which box, and replays to what that box did.
    for (name, stopped) in [("left", false), ("right", true)] {
        let path = folder.path().join(format!("day-{name}.csv"));
        let text = fs::read_to_string(&path).unwrap();
        let rows = || text.lines().filter(|line| !line.starts_with(['#', 't']));
        assert!(rows().count() > 400 && rows().all(|row| row.ends_with(&format!(",{name}"))), "{name}");
        let names: Vec<String> = states(&replayed(&path, &[])).into_iter().map(|(_, state)| state).collect();
        assert_eq!(names.iter().any(|state| state == "stop"), stopped, "{name}: {names:?}");
    }
    // With nothing wrong it ends well.
    let output = watched(&[]);
    assert!(output.status.success(), "{}", out(&output));
    let same = landfall(&["watch", "a=simulated", "a=simulated", "--demo"]);
    assert!(err(&same).contains("two boxes are called a"), "{}", err(&same));
    let bagless = landfall(&["watch", "simulated"]);
    assert!(err(&bagless).contains("needs a bag"), "{}", err(&bagless));
}

/// A box that falls silent under way takes the permit of all.
#[test]
fn a_box_that_is_lost_under_way_takes_the_permit_of_all() {
    let (held, port) = boxed(&["--full"]);
    let pair =
        ["watch", "left=simulated", &format!("right={port}"), "--site", site(), "--full", "--plain", "--for", "25 s"];
    let mut watch = Ends(start(&pair));
    let lines = BufReader::new(watch.0.stdout.take().unwrap()).lines().map_while(Result::ok);
    let (mut held, mut went, mut lost) = (Some(held), None, None);
    for line in lines.filter(|line| line.starts_with("ALL OF THEM: ")) {
        if went.is_none() && line.contains("permit ON") {
            went = Some(line);
            drop(held.take());
        } else if went.is_some() && line.contains("permit OFF") && line.contains("right NO LINK") {
            lost = Some(line);
            break;
        }
    }
    let lost = lost.unwrap();
    assert!(lost.contains("next rider: NO") && lost.contains("right: Nothing is known of the bag here."), "{lost}");
    assert!(lost.contains("left RIDE, ") && lost.contains("right NO LINK, no pressure known"), "{lost}");
}

/// The guided calibration on a computed bag: what it stores multiplies what the box shows, and what is too far off is refused.
#[test]
fn a_sensor_is_held_against_a_reference() {
    let (_simulated, port) =
        boxed(&["--speed", "20", "--empty", "--do", "0 s: stall for 160 s", "--do", "400 s: hold for 25 s"]);
    let never = landfall(&["calibrate", &port]);
    assert!(never.status.success() && out(&never).contains("CAUTION: the sensor was never held"), "{}", out(&never));
    // Enter on the vented bag; later twice on the full one, the first time against a pressure that cannot be.
    let guided = |gauge: &str, waits: [u64; 2]| {
        let args = ["calibrate", &port, "--gauge", gauge, "--gauge-error", "5 Pa", "--name", "lent gauge 7"];
        let mut child = start(&args);
        let mut typed = child.stdin.take().unwrap();
        for wait in waits {
            std::thread::sleep(Duration::from_secs(wait));
            let _ = typed.write_all(b"\n");
        }
        let done = child.wait_with_output().unwrap();
        drop(typed);
        done
    };
    let far = guided("300 Pa", [1, 2]);
    assert!(far.status.code() == Some(1) && err(&far).contains("moved by"), "{}", err(&far));
    let stored = guided("1.32 kPa", [1, 12]);
    assert!(stored.status.success(), "{}", err(&stored));
    let told = out(&stored);
    let span: f64 = told
        .split("multiplied by ")
        .nth(1)
        .unwrap()
        .split(['.', '\n'])
        .take(2)
        .collect::<Vec<_>>()
        .join(".")
        .parse()
        .unwrap();
    assert!(told.contains("another gauge (lent gauge 7) of 1320 Pa (to 5 Pa)") && span > 1.0 && span < 1.03, "{told}");
    let shown = out(&landfall(&["calibrate", &port]));
    assert!(shown.contains(&format!("span {span:.4}")) && !shown.contains("CAUTION"), "{shown}");
    let log = out(&landfall(&["log", &port]));
    assert!(log.contains(&format!("stored or taken out: span {span:.4}")), "{log}");
    assert!(log.contains("The zero moved by ") && log.contains("since it was calibrated"), "{log}");
    // The box's own pressure is the reference's now: its bag rests where the gauge said, to what its breath moves it.
    let watched = out(&landfall(&["watch", &port, "--plain", "--for", "2 s", "--every", "1 s"]));
    assert!(watched.contains("held against another gauge (lent gauge 7)"), "{watched}");
    let pa: f64 = watched
        .lines()
        .filter_map(|line| line.split(" Pa ").next()?.rsplit(' ').next()?.parse::<f64>().ok())
        .next_back()
        .unwrap();
    assert!((pa - 1320.0).abs() < 25.0, "{pa}: {watched}");
}
