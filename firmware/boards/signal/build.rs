//! Hands the memory map to the linker: that of the box's board, whose drivers this one shares.
use std::{env, fs, path::PathBuf};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let out = PathBuf::from(env::var("OUT_DIR")?);
    fs::copy("../rp2040/memory.x", out.join("memory.x"))?;
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rerun-if-changed=../rp2040/memory.x");
    for argument in ["--nmagic", "-Tlink.x"] {
        println!("cargo:rustc-link-arg-bins={argument}");
    }
    Ok(())
}
