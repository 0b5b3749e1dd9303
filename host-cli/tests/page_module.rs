//! The page's WebAssembly module that is kept in the repository: that it is made from these sources, and of what.
#![allow(clippy::unwrap_used)]

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;

include!("../digest.rs");

const RENEW: &str = "bash host-cli/page-wasm/build.sh --keep";

fn here() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn kept() -> Vec<u8> {
    let file = here().join("page-wasm/landfall-page.wasm");
    std::fs::read(&file).unwrap_or_else(|error| panic!("{}: {error}; make it by: {RENEW}", file.display()))
}

#[test]
fn the_kept_module_carries_the_digest_of_these_sources() {
    let mark = format!("landfall-sources:{:016x}", digest_of_sources(&here()));
    let module = kept();
    let carries = module.windows(mark.len()).any(|window| window == mark.as_bytes());
    assert!(carries, "the kept module is older than the sources that the page computes by; renew it by: {RENEW}");
    let text = String::from_utf8_lossy(&module).into_owned();
    let home = std::env::var("HOME").ok().filter(|home| home.len() > 1);
    let folders = [here().parent().unwrap().to_str().map(str::to_owned), home, Some("registry/src/".to_owned())];
    for folder in folders.into_iter().flatten() {
        assert!(!text.contains(&folder), "{folder} stands in the module");
    }
}

/// The packages that it is linked from are those of the command, in the same versions.
#[test]
fn the_kept_module_has_the_packages_of_the_command() {
    let made = std::fs::read_to_string(here().join("page-wasm/landfall-page.txt")).unwrap();
    let lock = std::fs::read_to_string(here().join("../Cargo.lock")).unwrap();
    let mut count = 0;
    for line in made.lines().skip(1) {
        let (name, version) = line.split_once(' ').unwrap();
        let entry = format!("name = \"{name}\"\nversion = \"{version}\"\n");
        assert!(name == "landfall-page" || lock.contains(&entry), "{line} is not in Cargo.lock; renew it by: {RENEW}");
        count += 1;
    }
    assert!(count > 12, "{count} packages");
}

/// Builds it anew where the compiler that it was built by is at hand: the same bytes must come out, and the compiler
/// must have read just the files that the digest is taken of.
#[test]
fn the_kept_module_can_be_built_again() {
    let script = here().join("page-wasm/build.sh");
    let asked = Command::new("bash").arg(&script).arg("--compiler").output().unwrap();
    let compiler = String::from_utf8(asked.stdout).unwrap();
    let made = std::fs::read_to_string(here().join("page-wasm/landfall-page.txt")).unwrap();
    let by = made.lines().next().unwrap();
    if compiler.trim() != by {
        eprintln!("not compared: the module was built by {by}, here is {:?}", compiler.trim());
        return;
    }
    let built = Command::new("bash").arg(&script).output().unwrap();
    let (out, said) = (String::from_utf8_lossy(&built.stdout), String::from_utf8_lossy(&built.stderr));
    assert!(built.status.success(), "{out}{said}");
    let file = PathBuf::from(out.rsplit_once(": ").unwrap().0);
    assert!(std::fs::read(&file).unwrap() == kept(), "other bytes than those kept; renew them by: {RENEW}");

    let list = file.with_file_name("wasm32-unknown-unknown/page/landfall_page.d");
    let list = std::fs::read_to_string(list).unwrap();
    let root = here().parent().unwrap().canonicalize().unwrap();
    let of_list = |path: &Path| path.strip_prefix(&root).unwrap().to_string_lossy().into_owned();
    let is_source = |name: &String| {
        name.contains("/src/") && (name.ends_with(".rs") || name.ends_with(".toml"))
            || name.ends_with("page-wasm/Cargo.toml")
    };
    let read: BTreeSet<String> = list
        .split_whitespace()
        .skip(1)
        .filter_map(|path| Path::new(path).canonicalize().ok())
        .map(|path| of_list(&path))
        .chain(["host-cli/page-wasm/Cargo.toml".to_owned()])
        .filter(is_source)
        .collect();
    let taken: BTreeSet<String> =
        sources(&here()).iter().map(|(_, path)| of_list(&path.canonicalize().unwrap())).collect();
    let apart: Vec<&String> = read.symmetric_difference(&taken).collect();
    assert!(apart.is_empty() && read.len() > 50, "host-cli/digest.rs takes other files than are compiled: {apart:?}");
}
