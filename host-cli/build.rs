//! Finds the page's WebAssembly module, if it was built, for the command to put into pages.

use std::path::{Path, PathBuf};
use std::{env, fs};

include!("digest.rs");

fn main() {
    // The module itself is compiled from this package too.
    if env::var("CARGO_CFG_TARGET_FAMILY").is_ok_and(|family| family == "wasm") {
        println!("cargo:rerun-if-changed=build.rs");
        return;
    }
    println!("cargo:rerun-if-env-changed=LANDFALL_PAGE_WASM");
    for watched in ["build.rs", "digest.rs"].into_iter().chain(PARTS) {
        println!("cargo:rerun-if-changed={watched}");
    }
    let out = PathBuf::from(env::var_os("OUT_DIR").unwrap_or_default());
    let here = PathBuf::from(env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default());
    let mark = format!("landfall-sources:{:016x}", digest_of_sources(&here));
    let fits = |bytes: &[u8]| bytes.windows(mark.len()).any(|window| window == mark.as_bytes());
    // One that was built here goes before the one that is kept beside the sources.
    let modules = match env::var_os("LANDFALL_PAGE_WASM") {
        Some(path) => vec![PathBuf::from(path)],
        None => beside(&out).into_iter().chain([here.join("page-wasm").join("landfall-page.wasm")]).collect(),
    };
    let found: Vec<Vec<u8>> = modules
        .iter()
        .map(|module| {
            println!("cargo:rerun-if-changed={}", module.display());
            fs::read(module).unwrap_or_default()
        })
        .filter(|bytes| !bytes.is_empty())
        .collect();
    let (state, bytes) = match (found.iter().find(|bytes| fits(bytes)), found.first()) {
        (Some(bytes), _) => ("ready", bytes.as_slice()),
        (None, Some(bytes)) => ("old", bytes.as_slice()),
        (None, None) => ("absent", [].as_slice()),
    };
    println!("cargo:rustc-env=LANDFALL_PAGE_STATE={state}");
    // Without its folder the command cannot be compiled either, and the compiler says so.
    let _ = fs::write(out.join("page.wasm"), bytes);
}

/// `page-wasm/landfall-page.wasm` in the target folder. An empty file is put there where there is none, since a file
/// that is missing would run this script at every build.
fn beside(out: &Path) -> Option<PathBuf> {
    // TARGET/PROFILE/build/PACKAGE/out, with the platform's name after TARGET where one was asked for.
    let profile = out.ancestors().nth(3)?;
    let target = profile
        .ancestors()
        .skip(1)
        .take(2)
        .find(|folder| folder.join("page-wasm").exists() || folder.join("CACHEDIR.TAG").exists())?;
    let module = target.join("page-wasm").join("landfall-page.wasm");
    if !module.exists() {
        let _ = fs::create_dir_all(target.join("page-wasm"));
        let _ = fs::write(&module, []);
    }
    Some(module)
}
