//! Invented settings for testing the watch.

use landfall_core::watch::{Input, Reason, ResetCause, Start, State, TimeUs, Watch, WatchSettings};

use crate::bag_air::{Noise, NoiseSource};

/// A bag at 1 kPa with room between operating and stop pressure.
pub fn roomy() -> WatchSettings {
    WatchSettings { landing_peak_pa: 3800.0, sensor_high_pa: 5000.0, ..WatchSettings::EXAMPLE }
}

/// A soft bag with little room: the deepest expected dip ends 130 Pa above the stop pressure.
pub fn tight() -> WatchSettings {
    WatchSettings {
        stop_pa: 450.0,
        wait_pa: 520.0,
        half_way_pa: 575.0,
        operating_pa: 700.0,
        high_pa: 900.0,
        pressure_max_pa: 1000.0,
        landing_dip_pa: 120.0,
        ..roomy()
    }
}

/// A watch that has been started on a vented bag, has seen it filled, and is in ride at the operating pressure.
/// Also the time of its next step. The noise is the usual one.
///
/// # Errors
/// Says why it was refused or does not get to ride.
pub fn riding(settings: WatchSettings, seed: u64) -> Result<(Watch, u64), String> {
    let mut noise = NoiseSource::new(Noise::usual(), seed, 0.02);
    let start = Start { cause: ResetCause::PowerOn, stored_zero_pa: None, unacknowledged: false, duty: false };
    let mut watch = Watch::new(settings, start).map_err(|refused| refused.to_string())?;
    let mut now_us = 1_000_000;
    for i in 0..4000u16 {
        let t_s = f32::from(i) * 0.02;
        let resting_pa =
            if t_s < 3.0 { 0.0 } else { (settings.operating_pa * (t_s - 3.0) / 20.0).min(settings.operating_pa) };
        // The blower's noise comes with the air.
        let air_pa = noise.air_pa() * resting_pa / settings.operating_pa;
        let reading_pa = noise.reading_pa(resting_pa + air_pa).unwrap_or(resting_pa);
        let out = watch.step(&Input::reading(TimeUs(now_us), reading_pa));
        now_us += 20_000;
        if out.state == State::Ride && out.reason == Reason::Normal && t_s > 40.0 {
            return Ok((watch, now_us));
        }
    }
    Err(format!("does not get to ride: {:?} {:?}", watch.decider().state(), watch.decider().reason()))
}
