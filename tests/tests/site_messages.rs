//! What the site file's reader says about faults: each message in full, as a rider reads it.
#![allow(clippy::panic, clippy::expect_used)] // helpers of tests

use landfall_plan::site::{demo_text, read_site};
use landfall_tests::site_text::{edited, says};

fn messages(text: &str) -> String {
    match read_site(text, "site.toml") {
        Ok(_) => panic!("read without a fault"),
        Err(faults) => faults.to_string(),
    }
}

#[test]
fn the_whole_form_of_a_message() {
    let text = "[site]\nname = \"Hill\"\n\n[rider]\nmass = 78 # with gear\n";
    let all = messages(text);
    let first = "\
site.toml:5:8: rider.mass: a mass needs its unit, and 78 has none; \"78 kg\" or \"78 lb\" was perhaps meant
    5 | mass = 78 # with gear
      |        ^^
      = write mass = \"78 kg\", or in whichever unit it was measured: kg, lb, g";
    assert!(all.contains(first), "{all}");
}

#[test]
fn missing() {
    says("rider", "mass", "", "rider.mass: is missing: mean rider with gear\n= add it under [rider]: mass = \"78 kg\"");
    says(
        "takeoff",
        "radius",
        "",
        "takeoff: two of height, radius and lip_angle are needed to know the take-off\n\
         = add, for example, height = \"8 ft\" and radius = \"15 ft\"",
    );
    says(
        "roll_in",
        "flat_run",
        "",
        "roll_in.flat_run: is missing; a roll-in without a list of sections needs it\n\
         = add it under [roll_in]: flat_run = \"4 m\"",
    );
    says(
        "bag",
        "relief_opens",
        "",
        "bag.relief_opens: is missing; a relief_area needs relief_opens and relief_full\n\
         = add it under [bag]: relief_opens = \"1.5 kPa\"",
    );
    says(
        "blower",
        "closing_flap",
        "closing_flap = false",
        "blower.backflow_area: is missing; without a closing flap the air flows back through a stopped blower\n\
         = add it under [blower]: backflow_area = \"0.05 m2\"",
    );
    says(
        "blower",
        "closing_flap",
        "duct_loss = 1.5",
        "blower.duct_diameter: is missing; a duct_loss needs the duct's diameter\n\
         = add it under [blower]: duct_diameter = \"0.4 m\"",
    );
}

#[test]
fn missing_in_an_empty_file_is_all_that_is_required() {
    let faults = read_site("", "site.toml").expect_err("read without a fault");
    let keys: Vec<&str> = faults.faults.iter().map(|f| f.key.as_str()).collect();
    assert_eq!(
        keys,
        [
            "site.name",
            "rider.mass",
            "roll_in.start_height",
            "bag.length",
            "bag.width",
            "bag.front_height",
            "bag.back_height",
            "bag.pressure_min",
            "bag.pressure_max",
            "blower.curve",
            "roll_in",
            "takeoff",
        ]
    );
}

#[test]
fn extra() {
    says(
        "wind",
        "gust",
        "temperature = \"3 degC\"",
        "wind.temperature: is unknown\n= remove it; the keys of [wind] are along, across, gust",
    );
    says("rider", "bike_mass", "gap = \"1 m\"", "rider.gap: is unknown; gap is a key of [bag]\n= move it below [bag]");
    says(
        "takeoff",
        "width",
        "lip_angle = \"50 deg\"",
        "takeoff.lip_angle: height 2.4384 m, radius 4.572 m and lip_angle 50 deg do not agree: that radius and angle \
         make a height of 1.63318 m\n\
         = leave out the one that was measured worst; it follows from the other two",
    );
    says(
        "bag",
        "vent_area",
        "volume = \"17 m3\"",
        "bag.volume: 17 m3 does not fit the bag: footprint times mean height is 176 m3; 17.6 m3 to 528 m3 is taken\n\
         = check the volume and its unit, or leave it out",
    );
    says(
        "blower",
        "closing_flap",
        "duct_diameter = \"30 cm\"",
        "blower.duct_diameter: has no meaning without a duct_loss\n\
         = add the duct's loss factor, such as duct_loss = 1.5 (0 for none), or remove this key",
    );
    // A shape stated both ways.
    says(
        "roll_in",
        "flat_run",
        "section = [{straight = \"4 m\", slope = \"30 deg\"}, {arc = \"6 m\", turn = \"30 deg\"}]",
        "roll_in.start_height: the sections make a drop of 2.80385 m, not 6 m\n\
         = write start_height = \"2.804 m\", or correct a section\n\
         roll_in.slope: roll_in.section already describes the ride down, so this key has no meaning\n\
         = remove it, or remove roll_in.section and give slope, bottom_radius and flat_run\n\
         roll_in.bottom_radius: roll_in.section already describes the ride down, so this key has no meaning\n\
         = remove it, or remove roll_in.section and give slope, bottom_radius and flat_run",
    );
}

#[test]
fn misspelt() {
    says(
        "rider",
        "mass",
        "mas = \"78 kg\"",
        "rider.mas: is unknown; \"mass\" was perhaps meant\n= rename it to mass, or remove it",
    );
    says(
        "bag",
        "skin_stretch",
        "skin_strech = \"3e-5 /Pa\"",
        "bag.skin_strech: is unknown; \"skin_stretch\" was perhaps meant\n= rename it to skin_stretch, or remove it",
    );
    says(
        "takeoff",
        "width",
        "Width = \"3 m\"",
        "takeoff.Width: is unknown; \"width\" was perhaps meant\n= rename it to width, or remove it",
    );
    says(
        "rider",
        "[rider]",
        "[riders]",
        "riders: is unknown; [rider] was perhaps meant\n\
         = rename it to rider, or remove it; the tables are site, rider, roll_in, takeoff, bag, unknown, blower, \
         watch, session, wind, spread, anchors, ground, group",
    );
    says(
        "rider",
        "mass",
        "mass = \"78 kilos\"",
        "rider.mass: in \"78 kilos\" the unit \"kilos\" is unknown; \"kg\" is the nearest known one\n= use one of kg, lb, g",
    );
    says(
        "rider",
        "mass",
        "mass = \"78 stone\"",
        "rider.mass: in \"78 stone\" the unit \"stone\" is unknown\n= use one of kg, lb, g",
    );
}

#[test]
fn without_a_unit() {
    says(
        "takeoff",
        "height",
        "height = 2.4",
        "takeoff.height: a length needs its unit, and 2.4 has none; \"2.4 m\" or \"2.4 ft\" was perhaps meant\n\
         = write height = \"2.4 m\", or in whichever unit it was measured: m, cm, ft, in",
    );
    says(
        "rider",
        "mass",
        "mass = \"172\"",
        "rider.mass: a mass needs its unit, and \"172\" has none; \"172 kg\" or \"172 lb\" was perhaps meant\n\
         = write mass = \"172 kg\", or in whichever unit it was measured: kg, lb, g",
    );
    says(
        "site",
        "air_temperature",
        "air_temperature = 64",
        "site.air_temperature: a temperature needs its unit, and 64 has none; \"64 degF\" was perhaps meant\n\
         = write air_temperature = \"64 degF\", or in whichever unit it was measured: degC, degF, K",
    );
    says(
        "blower",
        "  [\"0.95",
        "  [\"0.95 m3/s\", 400],",
        "blower.curve[2]: a pressure needs its unit, and 400 has none; \"400 Pa\" or \"400 mmH2O\" was \
         perhaps meant\n\
         = write \"400 Pa\", or in whichever unit it was measured: kPa, Pa, mbar, inH2O, mmH2O, psi",
    );
    // The other way round: a unit where none belongs.
    says(
        "rider",
        "bike_mass",
        "carry = \"50 %\"",
        "rider.carry: a plain number is wanted, without quotes and unit; \"50 %\" is a text\n= write carry = 0.5",
    );
}

#[test]
fn another_dimension_or_kind() {
    says(
        "bag",
        "length",
        "length = \"10 kg\"",
        "bag.length: a length is wanted, but \"10 kg\" is a mass\n= use one of m, cm, ft, in",
    );
    says(
        "bag",
        "vent_area",
        "vent_area = \"100 cm\"",
        "bag.vent_area: an area is wanted, but \"100 cm\" is a length\n= use one of m2, cm2, ft2, in2",
    );
    says("rider", "mass", "mass = true", "rider.mass: a mass is wanted, not true\n= write mass = \"78 kg\"");
    says("rider", "mass", "mass = [78]", "rider.mass: a mass is wanted, not a list\n= write mass = \"78 kg\"");
    says(
        "blower",
        "closing_flap",
        "closing_flap = \"yes\"",
        "blower.closing_flap: true or false is wanted, not the text \"yes\"\n= write closing_flap = true, without quotes",
    );
    says(
        "blower",
        "count",
        "count = 2.5",
        "blower.count: 2.5 is not a whole number; 1 to 20 is taken\n= give a whole number",
    );
    says(
        "blower",
        "  [\"0.95",
        "  [\"0.4 kPa\", \"0.95 m3/s\"],",
        "blower.curve[2]: flow and pressure are swapped: a point is the flow, then the pressure\n\
         = write it as [[\"1.9 m3/s\", \"0 Pa\"], [\"1.2 m3/s\", \"1.2 kPa\"], [\"0 m3/s\", \"2.0 kPa\"]]",
    );
}

#[test]
fn negative() {
    says(
        "rider",
        "mass",
        "mass = \"-78 kg\"",
        "rider.mass: \"-78 kg\" is negative; 15 kg to 250 kg is taken\n= check the number and its unit",
    );
    says(
        "bag",
        "gap",
        "gap = \"-2 ft\"",
        "bag.gap: \"-2 ft\" is negative; 0 m to 50 m is taken (0 ft to 164.042 ft)\n= check the number and its unit",
    );
    says("blower", "count", "count = -1", "blower.count: -1 is negative; 1 to 20 is taken\n= check the number");
}

#[test]
fn absurd_by_itself() {
    says(
        "rider",
        "mass",
        "mass = \"78 g\"",
        "rider.mass: \"78 g\" is out of range; 15 kg to 250 kg is taken (15000 g to 250000 g)\n\
         = check the number and its unit: \"78 kg\" or \"78 lb\" would be in range",
    );
    says(
        "bag",
        "length",
        "length = \"0 m\"",
        "bag.length: \"0 m\" is out of range; 1 m to 80 m is taken\n= check the number and its unit",
    );
    says(
        "rider",
        "mass",
        "mass = nan",
        "rider.mass: nan is not a number to compute with\n= write a number and its unit: kg, lb, g",
    );
    says("rider", "bike_mass", "carry = inf", "rider.carry: inf is not a number to compute with\n= 0 to 1 is taken");
    says(
        "rider",
        "mass",
        "mass = \"nan kg\"",
        "rider.mass: \"nan kg\" is not a mass: \"nan kg\" does not begin with a number\n= write a number and its unit, as in \"1.5 kg\"",
    );
    says(
        "rider",
        "mass",
        "mass = \"1e999 kg\"",
        "rider.mass: \"1e999 kg\" is not a mass: the number is too large to be computed with\n= write a number and its unit, as in \"1.5 kg\"",
    );
    says(
        "takeoff",
        "height",
        "height = \"8 ft 14 in\"",
        "takeoff.height: \"8 ft 14 in\" is not a length: the inches after feet must be from 0 to less than 12\n\
         = write one number with its unit, or feet and inches as in \"8 ft 6 in\"",
    );
    says(
        "takeoff",
        "height",
        "height = \"2,4 m\"",
        "takeoff.height: \"2,4 m\" is not a length: a comma is no decimal point; \"2.4 m\" was perhaps meant\n= write \"2.4 m\"",
    );
    says(
        "takeoff",
        "radius",
        "lip_angle = \"88 deg\"",
        "takeoff.lip_angle: \"88 deg\" is out of range; 1 deg to 85 deg is taken\n= check the number and its unit",
    );
}

#[test]
fn absurd_together() {
    says(
        "roll_in",
        "bottom_radius",
        "bottom_radius = \"0.8 m\"",
        "roll_in.bottom_radius: 0.8 m is not above rider.mass_height (1 m)\n\
         = check the radius and its unit: a rider's centre of mass must fit inside the arc",
    );
    says(
        "roll_in",
        "start_height",
        "start_height = \"1 m\"",
        "roll_in.start_height: 1 m leaves no straight: the arc of 6 m through 35 deg already drops 1.08509 m\n\
         = raise start_height, or lessen bottom_radius or slope",
    );
    // (12 m − 6 m (1 − cos 0.02)) / sin 0.02 = 599.98 m: a slope in the wrong unit.
    let long = edited("roll_in", "slope", "slope = \"0.02 rad\"").replace("\"6.0 m\"", "\"12 m\"");
    let all = messages(&long);
    let straight = "roll_in.slope: 1.14592 deg from 12 m makes a straight of 599.98 m; up to 500 m is taken\n";
    assert!(all.contains(straight), "{all}");
    // 8 ft on 8 ft is a quarter circle: a vertical lip. 2.4384 m × (1 − cos 85°) = 2.22588 m.
    says(
        "takeoff",
        "radius",
        "radius = \"8 ft\"",
        "takeoff.height: 2.4384 m on a radius of 2.4384 m makes a lip of 85 deg or more; less than 2.22588 m is taken\n\
         = lower the height or enlarge the radius; perhaps the two are swapped",
    );
    // Below the lag asin(1.05/2.4) = 25.9445° of the wheelbase: acos(1 − 0.11/1.2) = 24.724°.
    let low = edited("takeoff", "height", "height = \"0.11 m\"").replace("radius = \"15 ft\"", "radius = \"1.2 m\"");
    let all = messages(&low);
    let lag = "takeoff.lip_angle: 24.724 deg is not above 25.9445 deg, by which a wheelbase of 1.05 m lags on a radius of 1.2 m\n";
    assert!(all.contains(lag), "{all}");
    says(
        "takeoff",
        "height",
        "lip_angle = \"2 deg\"",
        "takeoff.height: 0.00278514 m (from the other two) is out of range; 0.1 m to 15 m is taken\n= check the number",
    );
    let tight = edited("takeoff", "height", "height = \"0.5 m\"").replace("radius = \"15 ft\"", "radius = \"1.02 m\"");
    let all = messages(&tight);
    assert!(all.contains("takeoff.radius: 1.02 m is not above rider.wheelbase (1.05 m)\n"), "{all}");
    says(
        "bag",
        "length",
        "length = \"1.5 m\"",
        "bag.length: the margins edge_front (1 m) and edge_back (1 m) leave no landing field on a length of 1.5 m\n\
         = lessen the margins, or check the length and its unit",
    );
    says(
        "bag",
        "width",
        "width = \"1.8 m\"",
        "bag.width: the margin edge_side (1 m) on both sides leaves no landing field on a width of 1.8 m\n\
         = lessen the margin, or check the width and its unit",
    );
    says(
        "bag",
        "pressure_min",
        "pressure_min = \"1.6 kPa\"",
        "bag.pressure_min: pressure_min (1.6 kPa) must be less than pressure_max (1.5 kPa)\n\
         = correct pressure_min or pressure_max; perhaps they are swapped",
    );
    says(
        "bag",
        "relief_opens",
        "relief_opens = \"2.5 kPa\"",
        "bag.relief_opens: relief_opens (2.5 kPa) must be less than relief_full (2.2 kPa)\n\
         = correct relief_opens or relief_full; perhaps they are swapped",
    );
    says(
        "rider",
        "lightest",
        "lightest = \"80 kg\"",
        "rider.lightest: lightest (80 kg) must not be more than mass (78 kg)\n= correct lightest or mass; perhaps they are swapped",
    );
    says(
        "rider",
        "heaviest",
        "heaviest = \"70 kg\"",
        "rider.heaviest: mass (78 kg) must not be more than heaviest (70 kg)\n= correct mass or heaviest; perhaps they are swapped",
    );
    says(
        "rider",
        "bike_mass",
        "contact_height = \"1.2 m\"",
        "rider.contact_height: 1.2 m is more than rider.mass_height (1 m): on the wheels the centre of mass is no higher than that\n\
         = lower contact_height to 1 m at most, or raise mass_height",
    );
    // ISO 2533: 96.380 kPa at 420 m.
    says(
        "site",
        "air_temperature",
        "air_pressure = \"850 hPa\"",
        "site.air_pressure: 85 kPa is too far from the standard 96.3802 kPa of the altitude 420 m; was it reduced to sea level?\n\
         = give the station pressure as measured at the site, or leave air_pressure out",
    );
}

#[test]
fn the_syntax_of_toml() {
    says(
        "rider",
        "mass",
        "mass = 78 kg",
        "rider.mass: 78 kg needs double quotes round number and unit\n= write mass = \"78 kg\"",
    );
    // What is no line of a key at all, in the parser's own words.
    let all = messages("[site\nname = \"A\"\n");
    assert!(all.contains("= correct the line; texts and quantities stand in double quotes"), "{all}");
    let all = messages("mass = \"78 kg\"\n");
    assert!(all.contains("site.toml:1:1: mass: is a key of [rider], and stands above every table here"), "{all}");
    assert!(!all.contains("rider.mass"), "also reported as missing: {all}");
    let all = messages("rider = 3\n[[bag]]\nlength = \"10 m\"\n");
    assert!(
        all.contains("rider: is a table, not a value") && all.contains("bag: is a single table, not a list of tables"),
        "{all}"
    );
}

#[test]
fn faults_come_all_at_once_in_the_order_of_the_lines() {
    let text = demo_text()
        .replace("altitude = \"420 m\"", "altitude = 420")
        .replace("mass = \"78 kg\"", "mas = \"78 kg\"")
        .replace("height = \"8 ft\"", "height = \"8 kg\"")
        .replace("length = \"10 m\"", "length = \"-10 m\"")
        .replace("count = 2\n", "count = 0\n")
        .replace("pressure_min = \"0.7 kPa\"", "pressure_min = \"1.7 kPa\"");
    let faults = read_site(&text, "site.toml").expect_err("read without a fault");
    let keys: Vec<&str> = faults.faults.iter().map(|f| f.key.as_str()).collect();
    assert_eq!(
        keys,
        ["site.altitude", "rider.mas", "takeoff.height", "bag.length", "bag.pressure_min", "blower.count"]
    );
    assert!(faults.faults.is_sorted_by_key(|f| f.line));
    let json = serde_json::to_value(&faults).expect("faults are plain data");
    assert_eq!(json["file"], "site.toml");
    assert_eq!(json["faults"][0]["line"], 6);
}
