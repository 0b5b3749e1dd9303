//! All acceptance tests in one binary: one link instead of one for each file.

mod alike;
mod bag_foreign;
mod bag_session;
mod core_properties;
mod gap_windows;
mod key_literals;
mod learn_compare;
mod learn_fit;
mod learn_reference;
mod loose_fill;
mod mutated;
mod nulls;
mod odd_numbers;
mod one_voice;
mod plausible_bags;
mod reference_chances;
mod reference_sites;
mod ride_by;
mod sampling_properties;
mod searches;
mod site_messages;
mod site_messages_bag;
mod site_messages_lists;
mod site_messages_typed;
mod site_properties;
mod site_schema;
mod site_units;
mod tails;
mod watch_explored;
mod watch_false_stops;
mod watch_latency;
mod watch_walked;

/// A file of this folder that is not named above would never be compiled.
#[test]
fn every_file_is_among_the_tests() {
    let here = include_str!("all.rs");
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|ending| ending == "rs") {
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            assert!(name == "all" || here.contains(&format!("mod {name};\n")), "{name} is not named in all.rs");
        }
    }
}
