//! Hands the chosen chip's memory map to the linker.
use std::{env, fs, path::PathBuf};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let has = |feature: &str| env::var_os(format!("CARGO_FEATURE_{feature}")).is_some();
    let (flash, ram) = if has("M0") {
        ("0x00000000, LENGTH = 256K", "16K")
    } else if has("M4F") {
        ("0x00000000, LENGTH = 4M", "4M")
    } else {
        ("0x10000000, LENGTH = 2M", "256K")
    };
    let out = PathBuf::from(env::var("OUT_DIR")?);
    let map = format!("MEMORY {{ FLASH : ORIGIN = {flash}\n RAM : ORIGIN = 0x20000000, LENGTH = {ram} }}\n");
    fs::write(out.join("memory.x"), map)?;
    println!("cargo:rustc-link-search={}", out.display());
    for argument in ["--nmagic", "-Tlink.x"] {
        println!("cargo:rustc-link-arg-bins={argument}");
    }
    Ok(())
}
