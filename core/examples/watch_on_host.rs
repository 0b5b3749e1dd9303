//! The watch on a host: a bag at its pressure, then the air goes. Time is an argument, so a minute takes no time.
//!
//! `cargo run --package landfall-core --example watch_on_host`
#![allow(clippy::print_stdout)] // what an example is for

use landfall_core::InputError;
use landfall_core::watch::{Input, Start, State, TimeUs, Watch, WatchSettings};

/// Runs it.
pub fn main() -> Result<(), InputError> {
    let settings = WatchSettings::EXAMPLE;
    let mut watch = Watch::new(settings, Start::default())?;
    let (mut before, mut siren_at_pa) = (State::Check, None);
    for step in 0..50 * 90_u64 {
        let seconds = step as f32 / 50.0;
        // Flat while lamps and zero are tried, then filled in 20 s; from 60 s on it loses 40 Pa a second.
        let bag_pa = ((seconds - 5.0) * 50.0).clamp(0.0, settings.operating_pa) - (seconds - 60.0).max(0.0) * 40.0;
        // What a live bag's pressure does by itself.
        let ripple_pa = 2.0 * (seconds * 9.0).sin() + 1.5 * (seconds * 31.0).sin();
        let out = watch.step(&Input::reading(TimeUs(step * 20_000), bag_pa.max(0.0) + ripple_pa));
        if out.state != before {
            println!("{seconds:6.2} s  {bag_pa:6.0} Pa  {:?}, permit {}", out.state, out.permit);
            before = out.state;
        }
        if out.state == State::Stop && siren_at_pa.is_none() {
            siren_at_pa = Some(bag_pa);
        }
    }
    let siren_at_pa = siren_at_pa.unwrap_or_default();
    assert!(siren_at_pa >= settings.stop_pa, "the siren came at {siren_at_pa} Pa, under the stop pressure");
    Ok(())
}
