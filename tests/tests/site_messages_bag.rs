//! What the site file's reader says about a measured bag and about groups of riders.
#![allow(clippy::panic, clippy::expect_used)] // helpers of tests

use landfall_plan::site::{ForceAreaStated, read_site, starter};

/// The starter with lines put under [bag]; its own settled pressure gives way to another.
fn bag(lines: &str) -> String {
    let own = |line: &&str| !(lines.contains("settled_pressure") && line.starts_with("settled_pressure"));
    let text: String = starter().lines().filter(own).map(|line| format!("{line}\n")).collect();
    text.replace("\n[bag]\n", &format!("\n[bag]\n{lines}\n"))
}

#[track_caller]
fn says(text: &str, expected: &str) {
    let faults = read_site(text, "site.toml").expect_err("read without a fault");
    for fault in &faults.faults {
        let line = text.lines().nth(fault.line - 1).unwrap_or("");
        assert_eq!(line.trim_end(), fault.excerpt, "the place of {}", fault.key);
    }
    let got: Vec<String> = faults.faults.iter().map(|f| format!("{}: {}\n= {}", f.key, f.message, f.cure)).collect();
    assert_eq!(got.join("\n"), expected);
}

const AS_WRITTEN: &str =
    "write area = [[\"0.10 m\", \"0.9 m2\"], [\"0.60 m\", \"2.6 m2\"]]: each depth, then the area at it";

#[test]
fn knots_that_fall() {
    says(
        &bag("area = [[\"0.1 m\", \"0.9 m2\"], [\"0.6 m\", \"2.6 m2\"], [\"1.0 m\", \"2.2 m2\"]]"),
        "bag.area[3]: the areas must not fall: 2.2 m2 at 1 m comes after 2.6 m2 at 0.6 m\n\
         = a deeper body is held by a wider crest: measure again, or give both the mean of the two",
    );
    says(
        &bag("area = [[\"0.6 m\", \"2.6 m2\"], [\"10 cm\", \"0.9 m2\"]]"),
        "bag.area[2]: the depths must rise: after 0.6 m comes 0.1 m\n\
         = give the knots in the order of rising depth, each depth once",
    );
    says(
        &bag("area = [[\"0 m\", \"0 m2\"], [\"0.6 m\", \"2.6 m2\"]]"),
        "bag.area[1]: 0 m2 at a depth of 0 m says nothing: where nothing is pressed in, nothing pushes back\n\
         = leave it out; the list begins at the first depth that was measured",
    );
    says(
        &bag("area = [[\"0.6 m\", \"2.6 m2\"], [\"6 m\", \"2.8 m2\"]]"),
        "bag.area[2]: a depth of 6 m is more than the bag is high (2.2 m)\n\
         = check the depth and its unit; it is measured from the top down",
    );
}

#[test]
fn knots_without_depth() {
    let without = "the depth is missing: an area alone does not say where it was measured";
    says(
        &bag("area = [\"0.9 m2\", [\"2.6 m2\"]]"),
        &format!("bag.area[1]: {without}\n= {AS_WRITTEN}\nbag.area[2]: {without}\n= {AS_WRITTEN}"),
    );
    says(
        &bag("area = [[\"0.9 m2\", \"0.1 m\"]]"),
        &format!("bag.area[1]: depth and area are swapped: the depth comes first, then the area at it\n= {AS_WRITTEN}"),
    );
    says(
        &bag("area = \"2.6 m2\""),
        &format!("bag.area: a list of depths and areas is wanted, not the text \"2.6 m2\"\n= {AS_WRITTEN}"),
    );
    says(
        &bag("area = [[0.1, \"0.9 m2\"]]"),
        "bag.area[1]: a length needs its unit, and 0.1 has none; \"0.1 m\" or \"0.1 cm\" or \"0.1 ft\" was perhaps meant\n\
         = write \"0.1 m\", or in whichever unit it was measured: m, cm, ft, in",
    );
    says(
        &bag("area = []"),
        "bag.area: 1 to 12 depths are taken, not 0\n\
         = leave out those that lie on a straight line with their neighbours, or remove the key",
    );
}

#[test]
fn measured_and_assumed_areas_together() {
    says(
        &bag("area = [[\"0.6 m\", \"2.6 m2\"]]\narea_limit = \"4 m2\"")
            .replace("# area_limit = 0.35", "area_limit = 0.35"),
        "bag.area_limit: bag.area gives the measured areas already, so this key has no meaning\n\
         = remove it; how well the measured areas are known is unknown.area\n\
         unknown.area_limit: bag.area gives the measured areas already, so this key has no meaning\n\
         = remove it; how well the measured areas are known is unknown.area",
    );
    says(
        &starter().replace("# area = 0.15", "area = 0.15"),
        "unknown.area: has no meaning without measured areas in bag.area\n\
         = remove it; unknown.area_body, unknown.area_growth and unknown.area_limit say how little is known of an assumed bag",
    );
    let measured = bag("area = [[\"0.6 m\", \"2.6 m2\"]]").replace("# area = 0.15", "area = 0.2");
    let site = read_site(&measured, "site.toml").unwrap_or_else(|faults| panic!("{faults}"));
    assert_eq!(site.bag.force_area, ForceAreaStated::Measured(vec![(0.6, 2.6)]));
    assert_eq!(site.unknown.area, 0.2);
}

/// The starter's one blower against the bag with no opening at all is shut off at 1.7 kPa in air of 1.2 kg/m3; the
/// standard air of 15 °C has 1.225 kg/m3, so that it is 1.7 × 1.225/1.2 = 1.735 kPa.
#[test]
fn a_settled_pressure_that_the_blowers_cannot_hold() {
    says(
        &bag("settled_pressure = \"1.9 kPa\""),
        "bag.settled_pressure: 1.9 kPa is more than the blowers can hold: without any leak this bag would settle at 1.74 kPa\n\
         = zero the gauge with its hose off and read again with nobody on the bag, or check blower.curve, blower.count, \
         blower.speed and the openings",
    );
    // Up to 5 % over it the reading counts as that pressure: 1.05 × 1.735 = 1.822 kPa.
    for (read, good) in [("1.3 kPa", true), ("1.81 kPa", true), ("1.84 kPa", false)] {
        let site = read_site(&bag(&format!("settled_pressure = \"{read}\"")), "site.toml");
        assert_eq!(site.is_ok(), good, "{read}");
    }
    says(
        &bag("settled_pressure = \"1.1 kPa\"\nleak_coefficient = 0.001"),
        "bag.leak_coefficient: bag.settled_pressure says already how much the bag leaks, so this key has no meaning\n\
         = remove it, or remove bag.settled_pressure where the leak itself was measured",
    );
}

#[test]
fn limits_above_their_stops() {
    says(
        &bag("load_limit = 25"),
        "bag.load_limit: load_limit (25) must not be more than load_stop (20)\n\
         = correct load_limit or load_stop; perhaps they are swapped",
    );
    says(
        &starter().replace("# arc_load_stop = 6", "arc_load_stop = 3"),
        "rider.arc_load_limit: arc_load_limit (4) must not be more than arc_load_stop (3)\n\
         = correct arc_load_limit or arc_load_stop; perhaps they are swapped",
    );
}

fn groups(lines: &str) -> String {
    format!("{}\n[[group]]\nname = \"kids\"\n{lines}\n", starter())
}

#[test]
fn numbers_of_groups_are_checked_as_the_riders() {
    says(
        &groups("mass = \"45 kg\"\nlightest = \"50 kg\""),
        "group[1].lightest: lightest (50 kg) must not be more than mass (45 kg)\n\
         = correct lightest or mass; perhaps they are swapped; the group states mass and lightest, and the rest is the site's",
    );
    says(
        &groups("mass = 45\nheaviest = \"55 kilos\"\nbotched = \"10 %\"\nstart_height = \"-1 m\""),
        "group[1].mass: a mass needs its unit, and 45 has none; \"45 kg\" or \"45 lb\" was perhaps meant\n\
         = write mass = \"45 kg\", or in whichever unit it was measured: kg, lb, g\n\
         group[1].heaviest: in \"55 kilos\" the unit \"kilos\" is unknown; \"kg\" is the nearest known one\n\
         = use one of kg, lb, g\n\
         group[1].botched: a plain number is wanted, without quotes and unit; \"10 %\" is a text\n= write botched = 0.1\n\
         group[1].start_height: \"-1 m\" is negative; 0.1 m to 60 m is taken\n= check the number and its unit",
    );
    says(
        &groups("start_height = \"1 m\""),
        "group[1].start_height: 1 m leaves no straight: the arc of 6 m through 35 deg already drops 1.08509 m\n\
         = raise start_height, or lessen bottom_radius or slope; the group states start_height, and the rest is the site's",
    );
}

#[test]
fn groups_without_a_name_and_with_unknown_keys() {
    let all = "name, mass, lightest, heaviest, lands_with_bike, start_height, pop, lip_speed_sd, pop_sd, botched";
    says(
        &groups("weight_of_bike = \"9 kg\"\nmas = \"45 kg\""),
        &format!(
            "group[1].weight_of_bike: is unknown\n= remove it; a group may state {all}\n\
             group[1].mas: is unknown; \"mass\" was perhaps meant\n= rename it to mass, or remove it"
        ),
    );
    says(
        &format!("{}\n[[group]]\nmass = \"45 kg\"\n", starter()),
        "group[1]: name is missing: what the riders of the group are called\n= add it under [[group]]: name = \"kids\"",
    );
    says(
        &format!("{}\n[[group]]\nname = \"kids\"\n[[group]]\nname = \"kids\"\n", starter()),
        "group[2].name: another group is called \"kids\" already\n= give each group a name of its own",
    );
    says(
        &format!("{}\n[group]\nname = \"kids\"\n", starter()),
        "group: is a list of groups, each with a header of its own\n\
         = write [[group]], in double brackets, above each group's keys",
    );
    let nine = "\n[[group]]\nname = \"NAME\"\n";
    let text: String = (0..9).map(|i| nine.replace("NAME", &i.to_string())).collect();
    let faults = read_site(&format!("{}{text}", starter()), "site.toml").expect_err("read without a fault");
    assert_eq!(faults.faults[0].message, "up to 8 groups are taken, not 9");
}

#[test]
fn keys_that_are_gone_say_what_stands_in_their_place() {
    says(
        &bag("dish_radius = \"1.2 m\"\nfitted = true"),
        "bag.dish_radius: is gone: how deep a bag gives way is no radius, but an area that grows with the depth\n\
         = remove it; bag.area takes measured depths and areas, and without it bag.area_body, bag.area_growth and \
         bag.area_limit are assumed\n\
         bag.fitted: is gone: a bag counts as measured where bag.area stands in the file\n\
         = remove it, and measure the bag: landfall bag-test writes bag.area",
    );
}
