//! What the site file's reader says about its lists, the blower's curve and the roll-in's sections, and about too much.
#![allow(clippy::expect_used)] // helpers of tests

use landfall_plan::site::read_site;
use landfall_tests::site_text::{edited, says};

#[test]
fn a_blower_curve_that_does_not_fall() {
    says(
        "blower",
        "  [\"0.95",
        "  [\"1.2 m3/s\", \"0.4 kPa\"],",
        "blower.curve[2]: the curve must fall: after 1.1 m3/s at 0 Pa comes 1.2 m3/s at 400 Pa\n\
         = give the points in the order of rising pressure, each with less flow than the one before",
    );
    says(
        "blower",
        "  [\"1.10",
        "  [\"1.2 m3/s\", \"0.1 kPa\"],",
        "blower.curve[1]: the first point must be at 0 Pa, the free flow; it is 1.2 m3/s at 100 Pa\n\
         = begin the list with the flow at 0 Pa",
    );
    says(
        "blower",
        "  [\"0 m3/s",
        "  [\"0.1 m3/s\", \"1.7 kPa\"],",
        "blower.curve[6]: the last point must have zero flow, the shut-off pressure; it is 0.1 m3/s at 1700 Pa\n\
         = end the list with the pressure at zero flow",
    );
}

/// The demo with a list of sections for its shape.
fn sections(list: &str, start_height: &str) -> String {
    let text = edited("roll_in", "slope", "").replace("bottom_radius = \"6 m\"\n", "");
    text.replace("flat_run = \"4 m\"", &format!("section = {list}"))
        .replace("start_height = \"6.0 m\"", &format!("start_height = \"{start_height}\""))
}

#[track_caller]
fn sections_say(list: &str, expected: &str) {
    let faults = read_site(&sections(list, "2.8 m"), "site.toml").expect_err("read without a fault");
    let got: Vec<String> = faults.faults.iter().map(|f| format!("{}: {}", f.key, f.message)).collect();
    assert_eq!(got.join("\n"), expected);
}

#[test]
fn a_chain_of_sections_that_does_not_join() {
    // 4 m sin 30° + 6 m (1 − cos 30°) = 2.8038 m: within 1 cm of 2.8 m.
    let good = "[{straight = \"4 m\", slope = \"30 deg\"}, {arc = \"6 m\", turn = \"30 deg\"}]";
    assert!(read_site(&sections(good, "2.8 m"), "site.toml").is_ok());
    assert!(read_site(&sections(good, "2.82 m"), "site.toml").is_err());
    // Within 0.1° at the joint and at the end.
    let near = "[{straight = \"2 m\", slope = \"30 deg\"}, {straight = \"2 m\", slope = \"30.05 deg\"}, {arc = \"6 m\", turn = \"29.95 deg\"}]";
    assert!(read_site(&sections(near, "2.8 m"), "site.toml").is_ok());
    sections_say(
        "[{straight = \"4 m\", slope = \"30 deg\"}, {arc = \"6 m\", turn = \"29 deg\"}]",
        "roll_in.section[2]: the ride down ends 0.999983 deg down; it must end level, as the take-off begins",
    );
    sections_say(
        "[{straight = \"4 m\", slope = \"30 deg\"}, {straight = \"4 m\", slope = \"20 deg\"}, {arc = \"6 m\", turn = \"20 deg\"}]",
        "roll_in.section[2]: a kink: the section before ends 30 deg down, this straight is 20 deg down",
    );
    sections_say(
        "[{straight = \"4 m\", slope = \"30 deg\"}, {arc = \"0.5 m\", turn = \"30 deg\"}]",
        "roll_in.section[2]: the arc's radius 0.5 m is not above rider.mass_height (1 m)",
    );
    // A list that begins with an arc begins level: it turns down first.
    sections_say(
        "[{arc = \"6 m\", turn = \"30 deg\"}]",
        "roll_in.start_height: the sections make a drop of -0.803848 m, not 2.8 m\n\
         roll_in.section[1]: the ride down ends 30 deg up; it must end level, as the take-off begins",
    );
    sections_say(
        "[{straight = \"4 m\", slop = \"30 deg\"}, {arc = \"6 m\"}, {turn = \"3 deg\"}, {slope = \"3 deg\"}, {}, 3, {straight = \"2 m\", turn = \"3 deg\"}]",
        "roll_in.section[1]: the key \"slop\" is unknown in a section; \"slope\" was perhaps meant\n\
         roll_in.section[2]: an arc needs its turn\n\
         roll_in.section[3]: a turn needs the radius of its arc\n\
         roll_in.section[4]: a slope needs the length of its straight\n\
         roll_in.section[5]: a section needs straight, or arc and turn\n\
         roll_in.section[6]: a section is a table in braces\n\
         roll_in.section[7]: a section is either a straight (with slope) or an arc (with turn), not both",
    );
    sections_say("[]", "roll_in.section: 1 to 16 sections are taken, not 0");
}

/// A text that is TOML but no site file is refused in reasonable time and at reasonable length.
#[test]
fn a_long_list_of_faults_ends() {
    let many: String = (0..8000).map(|i| format!("key_{i} = 1\n")).collect();
    for text in
        [many.clone(), format!("[rider]\n{many}"), format!("rider = {{{}}}", many.trim_end().replace('\n', ", "))]
    {
        let start = std::time::Instant::now();
        let faults = read_site(&text, "site.toml").expect_err("read without a fault");
        assert_eq!(faults.faults.len(), 201);
        assert_eq!(faults.faults[200].message, "more than 200 faults; the rest of the file was not looked at");
        // Some hundredths of a second; a machine under load may take longer.
        assert!(start.elapsed().as_secs() < 5, "{:?}", start.elapsed());
    }
    let faults = read_site(&"# long\n".repeat(20_000), "site.toml").expect_err("read without a fault");
    assert_eq!(faults.faults[0].message, "the file is longer than 128 KiB; it is no site file");
}
