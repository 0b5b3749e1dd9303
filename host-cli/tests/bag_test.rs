//! `bag-test` as it is used: what it writes, when it does not, and what it says of tables that are none.

use std::path::Path;

use crate::common::{code, command, err, json, out};
use landfall_learn::demo::{DEFLATION, LOADED, LOADED_KG};
use landfall_plan::site::{ForceAreaStated, SiteFile, demo_text, read_site};

/// The demo as nobody measured it.
fn unmeasured() -> String {
    let mut file = SiteFile::parse(demo_text(), "demo.toml").unwrap();
    for key in ["bag.area", "unknown.area", "unknown.skin_stretch", "bag.settled_pressure", "bag.leak_coefficient"] {
        file.remove(key);
    }
    file.set("bag.leak_coefficient", "0.0063").unwrap();
    file.set("spread.samples", "5000").unwrap();
    file.to_string()
}

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let put = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    put("hill.toml", &unmeasured());
    put("water.csv", LOADED[0]);
    put("sand.csv", LOADED[1]);
    put("empty.csv", DEFLATION);
    folder
}

fn bag_test(at: &Path, args: &[&str]) -> std::process::Output {
    command(at, &[&["bag-test"], args].concat()).output().unwrap()
}

#[test]
fn the_demo_goes_together_and_fits_the_screen() {
    let done = bag_test(Path::new("."), &["--demo"]);
    let text = out(&done);
    assert_eq!(code(&done), 0, "{text}{}", err(&done));
    for part in
        ["The measurements go together.", "How the bag pushes back", "What it changes for riding", "bag.area = "]
    {
        assert!(text.contains(part), "{part} not in\n{text}");
    }
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
}

#[test]
fn what_was_measured_stands_in_the_file_with_its_origin_and_a_second_test_merges() {
    let folder = folder();
    let at = folder.path();
    let hill = at.join("hill.toml");
    let water = ["hill.toml", "--loaded", "water.csv", "--mass", "84 kg", "--date", "2026-05-02", "--write"];
    let done = bag_test(at, &[&water[..], &["--deflation", "empty.csv", "--settled", "1.29 kPa"]].concat());
    assert_eq!(code(&done), 0, "{}{}", out(&done), err(&done));
    let text = std::fs::read_to_string(&hill).unwrap();
    for part in ["bag tested 2026-05-02:", "water.csv, loaded with 84 kg, SHA-256 ", "empty.csv, empty, SHA-256 "] {
        assert!(text.contains(part), "{part} not in\n{text}");
    }
    let first = read_site(&text, "hill.toml").unwrap();
    assert!(matches!(&first.bag.force_area, ForceAreaStated::Measured(knots) if knots.len() >= 3));
    assert!(first.unknown.area > 0.15 && first.unknown.area < 0.2);
    assert!(first.bag.settled_pressure_pa.is_some() && !text.contains("\nleak_coefficient"));
    // The same file would count twice.
    let again = bag_test(at, &water);
    assert_eq!(code(&again), 2);
    assert!(err(&again).contains("would count twice"), "{}", err(&again));
    assert_eq!(std::fs::read_to_string(&hill).unwrap(), text);
    // Another load goes together with what is there.
    let sand = ["hill.toml", "--loaded", "sand.csv", "--mass", "196 kg"];
    let told = json(&bag_test(at, &[&sand[..], &["--format", "json"]].concat()));
    assert_eq!(told["bag_test"]["area"]["merged"], true);
    let done = bag_test(at, &[&sand[..], &["--write", "--date", "2026-05-03"]].concat());
    assert_eq!(code(&done), 0, "{}{}", out(&done), err(&done));
    let second = read_site(&std::fs::read_to_string(&hill).unwrap(), "hill.toml").unwrap();
    assert!(second.unknown.area < first.unknown.area && second.unknown.area > 0.15, "{}", second.unknown.area);
}

#[test]
fn what_is_no_measurement_is_told_with_place_and_cure() {
    let folder = folder();
    let at = folder.path();
    let put = |name: &str, text: &str| std::fs::write(at.join(name), text).unwrap();
    put("rising.csv", "time_s,gauge_kpa,depth_cm\n0,0.4,10\n1,0.5,20\n2,0.6,30\n3,0.7,40\n4,0.8,50\n");
    let rows = |n: usize, sinks: f64| -> String {
        (0..n)
            .map(|i| {
                let x = 0.15 + sinks * i as f64;
                format!("{i},{:.0},{:.1}\n", 784.0 / (0.5 + 2.0 * (0.15 + 0.1 * i as f64)), 100.0 * x)
            })
            .collect()
    };
    put("seven.csv", &format!("time_s,gauge_pa,depth_cm\n{}", rows(7, 0.1)));
    put("hangs.csv", &format!("time_s,gauge_pa,depth_cm\n{}", rows(15, 0.004)));
    put("off.csv", "time_s,gauge_kpa\n0,0.4\n1,0.5\n2,0.6\n3,0.7\n4,0.8\n");
    put("drops.csv", "drop,drop_mass_kg,drop_height_m,depth_m\n1,80,1.0,0.5\n");
    put("box.csv", "time_s,gauge_pa,fault\n0,1000,\n0.02,1001,\n");
    put("columns.csv", "seconds,pressure,depth_cm\n0,1,2\n");
    let loaded = |file: &'static str| ["hill.toml", "--loaded", file, "--mass", "80 kg"];
    let before = std::fs::read_to_string(at.join("hill.toml")).unwrap();
    let faults: [(&[&str], i32, &[&str]); 13] = [
        (&loaded("rising.csv"), 2, &["rising.csv:6", "rises from", "blowers are switched off"]),
        (&loaded("columns.csv"), 2, &["columns.csv:1", "time_s"]),
        (&["hill.toml", "--loaded", "water.csv"], 2, &["1 --loaded and 0 --mass", "--mass \"82 kg\""]),
        (&["hill.toml"], 2, &["nothing was measured", "--sheet"]),
        (&loaded("seven.csv"), 1, &["only 7 of 7 readings count", "once a second"]),
        (&loaded("hangs.csv"), 1, &["never past 30 cm", "hang on something"]),
        (&["hill.toml", "--settled", "1.9 kPa"], 1, &["more than these blowers can hold"]),
        (&["hill.toml", "--deflation", "rising.csv"], 2, &["rising.csv:2", "not of an empty bag", "--loaded"]),
        (&["hill.toml", "--recording", "water.csv"], 2, &["water.csv has depths", "--loaded"]),
        (&["hill.toml", "--recording", "hill.toml"], 2, &["this is a site file, not a recording", "swapped"]),
        (
            &["hill.toml", "--deflation", "off.csv"],
            2,
            &["off.csv:3:3", "rises here", "0.40 kPa at 0 s", "switched off"],
        ),
        (&["hill.toml", "--drops", "drops.csv"], 2, &["only held against", "--loaded"]),
        (
            &["hill.toml", "--recording", "box.csv", "--offset", "2 s", "--loaded", "water.csv", "--mass", "84 kg"],
            2,
            &["without a gauge of its own", "Leave --offset out"],
        ),
    ];
    for (args, wanted, parts) in faults {
        let done = bag_test(at, &[args, &["--write"]].concat());
        // Lines are broken where the screen ends.
        let said = format!("{}{}", out(&done), err(&done)).split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(code(&done), wanted, "{args:?}: {said}");
        for part in parts {
            assert!(said.contains(part), "{args:?}: {part} not in {said}");
        }
        assert_eq!(std::fs::read_to_string(at.join("hill.toml")).unwrap(), before, "{args:?}");
    }
    // Told to although not sure it is written, and the file says so.
    let done = bag_test(at, &[&loaded("seven.csv")[..], &["--write", "--although-not-sure"]].concat());
    assert_eq!(code(&done), 1);
    assert!(std::fs::read_to_string(at.join("hill.toml")).unwrap().contains(", NOT SURE:"));
}

#[test]
fn the_sheet_is_one_file_that_is_not_written_over_a_table() {
    let folder = folder();
    let at = folder.path();
    let done = bag_test(at, &["hill.toml", "--sheet", "sheet.html"]);
    assert_eq!(code(&done), 0, "{}", err(&done));
    let page = std::fs::read_to_string(at.join("sheet.html")).unwrap();
    assert!(page.contains("Larch Hollow") && !page.contains("http"), "a page that asks for nothing");
    let refused = bag_test(at, &["--sheet", "water.csv"]);
    assert_eq!(code(&refused), 2);
    assert_eq!(std::fs::read_to_string(at.join("water.csv")).unwrap(), LOADED[0]);
    assert!((LOADED_KG[0], LOADED_KG[1]) == (84.0, 196.0));
}
