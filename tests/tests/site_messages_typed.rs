//! What the site file's reader says to people who type as they would anywhere: words for yes, marks of feet, commas.
#![allow(clippy::panic, clippy::expect_used)] // helpers of tests

use landfall_plan::site::{read_site, starter};

/// The starter with one line put in place of the one that starts so, within its table.
fn typed(table: &str, start: &str, line: &str) -> String {
    let mut within = "";
    let mut found = false;
    let mut out = String::new();
    for old in starter().lines() {
        if old.starts_with('[') {
            within = old.trim_matches(['[', ']']);
        }
        if within == table && old.trim_start_matches("# ").starts_with(start) && !found {
            found = true;
            out.push_str(line);
        } else {
            out.push_str(old);
        }
        out.push('\n');
    }
    assert!(found, "no line of [{table}] starts with {start:?}");
    out
}

/// Every message and cure, each at the line that was typed.
#[track_caller]
fn says(table: &str, start: &str, line: &str, expected: &str) {
    let text = typed(table, start, line);
    let faults = read_site(&text, "site.toml").expect_err("read without a fault");
    let at = text.lines().position(|other| other == line.lines().next().unwrap_or("")).map(|i| i + 1);
    for fault in &faults.faults {
        assert!(fault.line >= at.unwrap_or(0) && fault.line < at.unwrap_or(0) + line.lines().count(), "{fault:?}");
    }
    let got: Vec<String> = faults.faults.iter().map(|f| format!("{}: {}\n= {}", f.key, f.message, f.cure)).collect();
    assert_eq!(got.join("\n"), expected);
}

#[test]
fn words_for_yes_and_no() {
    says(
        "blower",
        "closing_flap",
        "closing_flap = yes",
        "blower.closing_flap: yes is neither true nor false\n= write closing_flap = true",
    );
    says(
        "blower",
        "closing_flap",
        "closing_flap = \"yes\"",
        "blower.closing_flap: true or false is wanted, not the text \"yes\"\n= write closing_flap = true, without quotes",
    );
    says(
        "watch",
        "supply_sense",
        "supply_sense = 1",
        "watch.supply_sense: true or false is wanted, not the number 1\n= write supply_sense = true, without quotes",
    );
    says(
        "rider",
        "lands_with_bike",
        "lands_with_bike = True",
        "rider.lands_with_bike: True is neither true nor false\n= write lands_with_bike = true",
    );
}

#[test]
fn feet_and_inches_by_their_marks() {
    for line in ["height = 8' 6\"", "height = \"8' 6\"\"", "height = '8' 6\"'"] {
        says(
            "takeoff",
            "height",
            line,
            "takeoff.height: the marks of feet and inches end the text early\n= write height = \"8 ft 6 in\"",
        );
    }
    // Where TOML takes them, they are read.
    let site = read_site(&typed("takeoff", "height", "height = '''8' 6\"'''"), "site.toml");
    let site = site.unwrap_or_else(|faults| panic!("{faults}"));
    // 8 ft 6 in = 2.5908 m.
    assert!((site.takeoff.height_m - 2.5908).abs() < 1e-12);
}

#[test]
fn quotes_commas_and_colons() {
    says(
        "rider",
        "mass",
        "mass = 78 kg",
        "rider.mass: 78 kg needs double quotes round number and unit\n= write mass = \"78 kg\"",
    );
    says(
        "rider",
        "mass",
        "mass = “78 kg”",
        "rider.mass: these are the quotes of a word processor, which are not read\n= write mass = \"78 kg\"",
    );
    says("rider", "mass", "mass = \"78 kg", "rider.mass: the quotes are not closed\n= write mass = \"78 kg\"");
    says(
        "rider",
        "mass",
        "mass: \"78 kg\"",
        "rider.mass: a key and its value are joined by an equals sign\n= write mass = \"78 kg\"",
    );
    says("rider", "carry", "carry = 0,5", "rider.carry: a comma is no decimal point\n= write carry = 0.5");
    says(
        "site",
        "name",
        "name = Our training ground",
        "site.name: a text stands in double quotes\n= write name = \"Our training ground\"",
    );
}

#[test]
fn keys_and_tables_that_stand_twice() {
    let text = typed("rider", "mass", "mass = \"78 kg\"\nmass = \"79 kg\"");
    let faults = read_site(&text, "site.toml").expect_err("read without a fault");
    let first = text.lines().position(|line| line == "mass = \"78 kg\"").expect("it was put in") + 1;
    assert_eq!(faults.faults.len(), 1, "{faults}");
    assert_eq!(faults.faults[0].line, first + 1);
    assert_eq!(faults.faults[0].message, format!("mass stands in [rider] already, on line {first}"));
    assert_eq!(faults.faults[0].cure, "keep the line that is right, and remove the other");

    let text = format!("{}\n[bag]\nvent_area = \"100 cm2\"\n", starter());
    let faults = read_site(&text, "site.toml").expect_err("read without a fault");
    assert_eq!(faults.faults.len(), 1, "{faults}");
    assert_eq!(faults.faults[0].key, "bag");
    assert!(faults.faults[0].message.starts_with("[bag] stands in the file already, on line "), "{faults}");
    assert_eq!(faults.faults[0].cure, "put the keys of both below one [bag], and remove the other header");
}

/// A file with faults of syntax and of sense shows all of them at once.
#[test]
fn faults_of_syntax_hide_no_others() {
    let text = starter()
        .replace("mass = \"78 kg\"", "mass = 78 kg")
        .replace("height = \"8 ft\"", "height = 8' 0\"")
        .replace("gap = \"0.8 m\"", "gap = 0.8")
        .replace("pressure_min = \"0.7 kPa\"", "pressure_min = \"1.7 kPa\"");
    let faults = read_site(&text, "site.toml").expect_err("read without a fault");
    let keys: Vec<&str> = faults.faults.iter().map(|f| f.key.as_str()).collect();
    assert_eq!(keys, ["rider.mass", "takeoff.height", "bag.gap", "bag.pressure_min"], "{faults}");
    assert!(faults.faults.is_sorted_by_key(|fault| fault.line));
}

#[test]
fn other_words_for_tables_and_keys() {
    let tables = "the tables are site, rider, roll_in, takeoff, bag, unknown, blower, watch, session, wind, spread, \
                  anchors, ground, group";
    for (typed, table) in [("airbag", "bag"), ("kicker", "takeoff"), ("fans", "blower"), ("groups", "group")] {
        let text = match table {
            "group" => format!("{}\n[[groups]]\nname = \"kids\"\n", starter()),
            _ => starter().replace(&format!("\n[{table}]\n"), &format!("\n[{typed}]\n")),
        };
        let faults = read_site(&text, "site.toml").expect_err("read without a fault");
        assert_eq!(faults.faults.len(), 1, "{faults}");
        let shown = if table == "group" { "[[group]]".to_owned() } else { format!("[{table}]") };
        assert_eq!(faults.faults[0].message, format!("is unknown; {shown} was perhaps meant"));
        assert_eq!(faults.faults[0].cure, format!("rename it to {table}, or remove it; {tables}"));
    }
    for (table, key, line, meant) in [
        ("bag", "settled_pressure", "pressure = \"1.1 kPa\"", "settled_pressure"),
        ("rider", "# carry", "weight = \"80 kg\"", "mass"),
        ("roll_in", "slope", "angle = \"35 deg\"", "slope"),
        ("takeoff", "# lip_angle", "angle = \"50 deg\"", "lip_angle"),
    ] {
        let text = typed(table, key.trim_start_matches("# "), line);
        // A key that the file states already was not meant.
        let stated = |row: &&str| meant != "mass" || !row.starts_with("mass = ");
        let text: String = text.lines().filter(stated).map(|row| format!("{row}\n")).collect();
        let faults = read_site(&text, "site.toml").expect_err("read without a fault");
        assert_eq!(faults.faults.len(), 1, "{faults}");
        assert_eq!(faults.faults[0].message, format!("is unknown; {meant:?} was perhaps meant"));
    }
}

#[test]
fn a_leak_that_is_no_leak_gets_its_conversion_too() {
    let text = typed("bag", "leak_coefficient", "leak_coefficient = 5");
    let faults = read_site(&text, "site.toml").unwrap_err();
    // 0.005 m³/s ÷ (1000 Pa)^0.6 = 7.92447e-5.
    assert!(faults.to_string().contains("of a leak of 5 l/s at 1 kPa write leak_coefficient = 7.92447e-5"), "{faults}");
}

#[test]
fn a_flow_for_the_leak_gets_its_conversion() {
    // 5 l/s at 1 kPa: 0.005 / 1000^0.6 = 0.005 / 63.0957 = 7.92447e-5.
    let text = typed("bag", "leak_coefficient", "leak_coefficient = \"5 l/s\"");
    let text: String = text.lines().filter(|l| !l.starts_with("settled_pressure")).map(|l| format!("{l}\n")).collect();
    let faults = read_site(&text, "site.toml").expect_err("read without a fault");
    assert_eq!(faults.faults.len(), 1, "{faults}");
    let fault = &faults.faults[0];
    assert_eq!(fault.key, "bag.leak_coefficient");
    assert_eq!(
        fault.message,
        "\"5 l/s\" is a flow at some pressure; the leak is stated as m3/s at 1 Pa, without quotes and unit"
    );
    assert_eq!(
        fault.cure,
        "divide the flow in m3/s by the pressure in Pa, at which it leaks so much, to the power of leak_exponent: at 1 kPa and \
         0.6 write leak_coefficient = 7.92447e-5; or leave it out and state bag.settled_pressure, which a gauge reads"
    );
}

#[test]
fn words_of_a_few() {
    let all = "\"kPa\", \"Pa\", \"mbar\", \"inH2O\", \"mmH2O\", \"psi\"";
    says("site", "gauge", "gauge = \"inwater\"", &format!("site.gauge: \"inwater\" is unknown\n= write one of {all}"));
    says(
        "site",
        "gauge",
        "gauge = \"mmH20\"",
        &format!("site.gauge: \"mmH20\" is unknown; \"mmH2O\" was perhaps meant\n= write one of {all}"),
    );
    says(
        "site",
        "units",
        "units = true",
        "site.units: a text is wanted, not true\n= write units = one of \"metric\", \"imperial\"",
    );
}

#[test]
fn another_file_in_place_of_the_site() {
    for (text, what) in [
        ("run,lip_speed_mps,air_time_s\n1,8.2,1.31\n", "a table of measurements"),
        ("# day 1\nrun;lip speed (km/h)\n1;29,5\n", "a table of measurements"),
        ("{\"ride\": {\"lip_speed_mps\": 8.1}}\n", "JSON, such as the results of a plan"),
        ("<!doctype html>\n<html>\n", "a page or a picture"),
    ] {
        let faults = read_site(text, "runs.csv").expect_err("read without a fault");
        assert_eq!(faults.faults.len(), 1, "{faults}");
        assert_eq!(faults.faults[0].message, format!("this is {what}, not a site file"));
        assert!(faults.faults[0].cure.contains("perhaps two file names are swapped"), "{faults}");
    }
}

/// Where the key itself is none, how its value is written is no help.
#[test]
fn a_key_that_is_gone_or_unknown_is_told_before_its_value() {
    says(
        "bag",
        "gap =",
        "gap = \"1 m\"\nfitted = yes",
        "bag.fitted: is gone: a bag counts as measured where bag.area stands in the file\n\
         = remove it, and measure the bag: landfall bag-test writes bag.area",
    );
    let text = typed("anchors", "count =", "count = 12\nfitted = yes");
    let faults = read_site(&text, "site.toml").expect_err("read without a fault");
    assert_eq!((faults.faults.len(), faults.faults[0].message.as_str()), (1, "is unknown"));
    assert!(faults.faults[0].cure.starts_with("remove it; the keys of [anchors] are "), "{faults}");
}
