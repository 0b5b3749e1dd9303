//! Prints the bits; run in the emulator.

fn main() -> Result<(), String> {
    landfall_arm64::lines()?.iter().for_each(|line| println!("{line}"));
    Ok(())
}
