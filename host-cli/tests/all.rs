//! All tests of the command in one binary: one link instead of one for each file.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

mod bag_test;
mod box_side;
mod building;
mod cli;
mod cli_terminal;
mod ground;
#[cfg(unix)]
mod keep;
#[cfg(unix)]
mod killed;
mod outside;
mod page;
mod page_module;
mod power_cut;
mod serve;

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
