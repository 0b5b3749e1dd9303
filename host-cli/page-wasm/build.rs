//! Marks the module with a digest of the sources that it is compiled from.

include!("../digest.rs");

fn main() {
    for watched in
        ["build.rs".to_owned(), "../digest.rs".to_owned()].into_iter().chain(PARTS.map(|part| format!("../{part}")))
    {
        println!("cargo:rerun-if-changed={watched}");
    }
    let digest = digest_of_sources(std::path::Path::new(".."));
    println!("cargo:rustc-env=LANDFALL_SOURCES=landfall-sources:{digest:016x}");
}
