//! The watch on a board: what its main loop does 50 times a second, over traits that any board fills in.
//!
//! [`beat`] needs no heap and no standard library: on a board it is called from the timer with the real parts; here the
//! parts are counters. `cargo run --package landfall-core --example watch_on_board`
#![allow(clippy::print_stdout)] // what an example is for

use landfall_core::InputError;
use landfall_core::watch::{Beside, GaugePa, Input, Pins, SensorFault, Start, TimeUs, Watch, WatchSettings};

/// What a board has.
trait Board {
    /// Time since it started.
    fn now(&mut self) -> TimeUs;
    /// The bag's pressure, or why there is none.
    fn pressure(&mut self) -> Result<GaugePa, SensorFault>;
    /// The blowers' supply, where it is sensed.
    fn supply(&mut self) -> Option<bool>;
    /// Whether the button is down.
    fn button(&mut self) -> bool;
    /// Lamps, siren and permit.
    fn write(&mut self, pins: Pins);
    /// The step is done: without this the board's watchdog drops every output.
    fn feed_watchdog(&mut self);
}

/// One step: drivers decode, the watch decides, the board acts.
fn beat(watch: &mut Watch, board: &mut impl Board) {
    let input = Input {
        now: board.now(),
        reading: board.pressure(),
        supply: board.supply(),
        button: board.button(),
        test: false,
        temperature_degc: None,
        beside: Beside::NOTHING,
    };
    board.write(watch.step(&input).pins);
    board.feed_watchdog();
}

/// Parts that count.
#[derive(Default)]
struct Counted {
    steps: u64,
    with_permit: u32,
    fed: u64,
}

impl Board for Counted {
    fn now(&mut self) -> TimeUs {
        self.steps += 1;
        TimeUs(self.steps * 20_000)
    }

    fn pressure(&mut self) -> Result<GaugePa, SensorFault> {
        let seconds = self.steps as f32 / 50.0;
        Ok(GaugePa(((seconds - 5.0) * 50.0).clamp(0.0, 1_000.0) + 2.0 * (seconds * 9.0).sin()))
    }

    fn supply(&mut self) -> Option<bool> {
        Some(true)
    }

    fn button(&mut self) -> bool {
        false
    }

    fn write(&mut self, pins: Pins) {
        self.with_permit += u32::from(pins.permit);
    }

    fn feed_watchdog(&mut self) {
        self.fed += 1;
    }
}

/// Runs it.
pub fn main() -> Result<(), InputError> {
    let mut watch = Watch::new(WatchSettings::EXAMPLE, Start::default())?;
    let mut board = Counted::default();
    for _ in 0..50 * 60 {
        beat(&mut watch, &mut board);
    }
    println!("{} steps, {} of them with the permit on", board.steps, board.with_permit);
    assert!(board.with_permit > 0 && board.fed == board.steps, "filled and at rest, the bag has the permit");
    Ok(())
}
