//! What a board gives the box besides the traits of `embedded-hal`.

use landfall_core::watch::parts::BLOWERS;

/// A watchdog that resets the board unless it is fed in time.
pub trait Watchdog {
    /// All is well for the next `next_ms`.
    fn feed(&mut self, next_ms: u32);
}

/// The outputs, all active high.
pub struct Outputs<P> {
    /// Red lamp.
    pub red: P,
    /// Amber lamp.
    pub amber: P,
    /// Green lamp.
    pub green: P,
    /// Siren.
    pub siren: P,
    /// Permit.
    pub permit: P,
}

/// The inputs.
pub struct Inputs<I> {
    /// Button, low while it is down.
    pub button: I,
    /// The blowers' supply, high while it is on; none if it is not sensed.
    pub supply: Option<I>,
    /// The permit's loop read back, high while it is closed; none if it cannot be.
    pub contact: Option<I>,
    /// Blowers one by one, high while one runs.
    pub blowers: [Option<I>; BLOWERS as usize],
}

impl<I> Inputs<I> {
    /// Without parts beside.
    pub fn plain(button: I, supply: Option<I>) -> Self {
        Self { button, supply, contact: None, blowers: [const { None }; BLOWERS as usize] }
    }
}
