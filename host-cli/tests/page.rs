//! `landfall page` as a person runs it, with and without the module in the command.
#![allow(clippy::unwrap_used)]

use std::process::{Command, Output};

fn page(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_landfall")).arg("page").args(args).output().unwrap()
}

#[test]
fn the_page_is_one_file_or_the_command_says_what_is_missing() {
    let made = page(&["--demo"]);
    let (page, said) = (String::from_utf8(made.stdout).unwrap(), String::from_utf8(made.stderr).unwrap());
    match made.status.code() {
        Some(0) => {
            assert!(page.starts_with("<!DOCTYPE html>") && page.trim_end().ends_with("</html>"));
            assert!(page.contains("Larch Hollow") && page.contains("default-src 'none'"));
            // The name of the drawing language is no address that anything is loaded from.
            let page = page.replace("xmlns=\"http://www.w3.org/2000/svg\"", "");
            assert!(!page.contains("://") && !page.contains(" src="), "the page loads something");
        }
        Some(2) => {
            assert!(page.is_empty() && said.contains("bash host-cli/page-wasm/build.sh"), "{said}");
        }
        other => panic!("{other:?}: {said}"),
    }
}

#[test]
fn a_site_with_a_fault_makes_no_page() {
    let folder = tempfile::tempdir().unwrap();
    let (site, out) = (folder.path().join("hill.toml"), folder.path().join("hill.html"));
    std::fs::write(&site, "[rider]\nmass = 78\n").unwrap();
    let made = page(&[site.to_str().unwrap(), "--output", out.to_str().unwrap()]);
    assert_eq!(made.status.code(), Some(2));
    assert!(!out.exists());
}
