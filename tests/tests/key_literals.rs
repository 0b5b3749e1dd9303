//! Every key of the site file that a source names is one: a mistyped one would look nothing up and switch a check off.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use landfall_plan::plan::csv::flatten;
use landfall_plan::plan::{Parts, compute};
use landfall_plan::site::{KEYS, TABLES, demo, find_key};
use landfall_sampling::Stop;

/// Sources of a folder and of those in it, without what is built, tried or measured.
fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if path.is_dir() && !["target", "tests", "benches", "node_modules"].contains(&name.as_str()) {
            sources(&path, found);
        } else if name.ends_with(".rs") && !name.ends_with("tests.rs") {
            found.push(path);
        }
    }
}

/// The literals of a text that look like a key of one of the site file's tables.
fn literals(text: &str) -> impl Iterator<Item = (&str, &str)> {
    let word = |part: &str| !part.is_empty() && part.chars().all(|c| c.is_ascii_lowercase() || c == '_');
    text.match_indices('"').filter_map(move |(at, _)| {
        let (before, after) = (&text[..at], &text[at + 1..]);
        let literal = after.split('"').next()?;
        let (table, name) = literal.split_once('.')?;
        (word(name) && TABLES.iter().any(|(known, _)| *known == table)).then_some((before, literal))
    })
}

#[test]
fn every_key_that_a_source_names_is_a_key_of_the_site_file() {
    let mut files = Vec::new();
    sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../host-cli"), &mut files);
    // The results have tables of the same names as the site file's; some sources name a row of them by its beginning.
    let results = compute(&demo(), Parts::ALL, &Stop::default()).unwrap();
    let of_results: BTreeSet<String> = flatten(&results).into_iter().map(|(key, _)| key).collect();
    let begins_result = |literal: &str| of_results.iter().any(|key| key.starts_with(literal));
    let (mut named, mut unknown) = (0, BTreeMap::new());
    for file in &files {
        // The table of what people write for a key, and the table of the keys themselves.
        if file.ends_with("site/unknown.rs") || file.ends_with("site/keys.rs") {
            continue;
        }
        let text = fs::read_to_string(file).unwrap();
        let text = text.split("#[cfg(test)]\nmod ").next().unwrap();
        // The identities of findings and of their causes begin with the same words.
        if file.ends_with("findings/causes.rs") || file.ends_with("plan/limits.rs") {
            continue;
        }
        for (before, literal) in literals(text) {
            let is_identity = before
                .trim_end()
                .trim_end_matches(',')
                .rsplit("About::")
                .next()
                .is_some_and(|word| word.len() < before.len() && word.chars().all(|c| c.is_ascii_alphabetic()));
            let is_file = literal.ends_with(".toml");
            if is_identity || is_file || begins_result(literal) {
                continue;
            }
            named += 1;
            if find_key(literal).is_none() {
                unknown.insert(literal.to_owned(), file.clone());
            }
        }
    }
    assert!(unknown.is_empty(), "{unknown:#?}");
    assert!(named > 2 * KEYS.len(), "only {named} keys were found in {} files", files.len());
}
