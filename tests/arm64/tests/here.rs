//! The same on this machine: registers of every width give the same bits. With a file named in `LANDFALL_HERE` the lines are
//! written there, for the emulator's to be compared with.
#![allow(clippy::unwrap_used)]

#[test]
fn registers_of_every_width_give_the_same_bits() {
    let lines = landfall_arm64::lines().unwrap();
    assert_eq!(lines.len(), landfall_agree::SITES.len() + 1);
    if let Some(file) = std::env::var_os("LANDFALL_HERE") {
        std::fs::write(file, lines.join("\n") + "\n").unwrap();
    }
}
