//! How often the siren sounds for nothing: thousands of simulated hours of riding with the noise of a usual day,
//! gusts, lost readings and a landing every 20 s, on a bag that never loses its air.
//!
//! The noise is assumed (see `bag_air::Noise::usual`); the figure is one of the program, not of a bag.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::time::Instant;

use landfall_core::watch::{Input, SensorFault, State, TimeUs, WatchSettings};
use landfall_tests::bag_air::{Bump, Noise, NoiseSource};
use landfall_tests::watch_site::{riding, roomy, tight};
use rand::RngExt;

/// What happened in a number of hours.
#[derive(Clone, Copy, Debug, Default)]
struct Tally {
    hours: f64,
    stops: u32,
    faults: u32,
    landings: u32,
    counted: u32,
    permit_hours: f64,
    leak_hours: f64,
}

impl Tally {
    fn add(self, o: Self) -> Self {
        Self {
            hours: self.hours + o.hours,
            stops: self.stops + o.stops,
            faults: self.faults + o.faults,
            landings: self.landings + o.landings,
            counted: self.counted + o.counted,
            permit_hours: self.permit_hours + o.permit_hours,
            leak_hours: self.leak_hours + o.leak_hours,
        }
    }
}

/// Rides for `hours` with a landing every 18 to 22 s.
fn ride(settings: WatchSettings, noise: Noise, seed: u64, hours: f64) -> Tally {
    let mut source = NoiseSource::new(noise, seed, 0.02);
    let (fresh, fresh_us) = riding(settings, seed).unwrap();
    let (mut watch, mut now_us) = (fresh.clone(), fresh_us);
    let steps = (hours * 180_000.0) as u64;
    let mut tally = Tally { hours, ..Tally::default() };
    let (mut permit_steps, mut leak_steps) = (0u64, 0u64);
    let mut bump: Option<Bump> = None;
    let mut next_s = 10.0;
    for i in 0..steps {
        let t_s = i as f64 * 0.02;
        if t_s >= next_s {
            let tau_s = source.rng().random_range(0.5..1.5);
            bump = Some(Bump::random(source.rng(), t_s, f64::from(settings.landing_dip_pa), tau_s));
            tally.landings += 1;
            next_s = t_s + source.rng().random_range(18.0..22.0);
        }
        let bump_pa = match &bump {
            Some(b) if t_s - b.at_s < 12.0 => b.adds_pa(t_s) as f32,
            _ => 0.0,
        };
        let true_pa = settings.operating_pa + source.air_pa() + bump_pa;
        let mut input = Input::reading(TimeUs(now_us), 0.0);
        input.reading = match source.reading_pa(true_pa) {
            Some(pa) => Ok(landfall_core::watch::GaugePa(pa)),
            None => Err(SensorFault::Crc),
        };
        let out = watch.step(&input);
        now_us += 20_000;
        permit_steps += u64::from(out.permit);
        leak_steps += u64::from(out.forecast_s.is_some());
        match out.state {
            State::Stop => tally.stops += 1,
            State::Fault => tally.faults += 1,
            _ => continue,
        }
        tally.counted += out.landings;
        watch = fresh.clone();
        now_us = fresh_us;
    }
    tally.counted += watch.step(&Input::reading(TimeUs(now_us), settings.operating_pa)).landings;
    tally.permit_hours = permit_steps as f64 / 180_000.0;
    tally.leak_hours = leak_steps as f64 / 180_000.0;
    tally
}

/// The same over all cores.
fn ride_all(settings: WatchSettings, noise: Noise, seed: u64, hours: f64) -> Tally {
    let threads = std::thread::available_parallelism().map_or(1, usize::from) as u64;
    std::thread::scope(|scope| {
        let runs: Vec<_> = (0..threads)
            .map(|i| scope.spawn(move || ride(settings, noise, seed + i, hours / threads as f64)))
            .collect();
        runs.into_iter().map(|r| r.join().unwrap()).fold(Tally::default(), Tally::add)
    })
}

#[test]
fn at_most_one_false_stop_in_a_thousand_hours() {
    let hours = std::env::var("LANDFALL_RIDE_HOURS").ok().and_then(|h| h.parse().ok()).unwrap_or(3200.0);
    let began = Instant::now();
    let mut all = Tally::default();
    for (name, settings, seed) in [("roomy", roomy(), 100), ("tight", tight(), 200)] {
        let t = ride_all(settings, Noise::usual(), seed, hours / 2.0);
        println!(
            "{name}: {:.0} h, {} stops, {} faults; {} landings, {} counted; permit on for {:.1} % of the time, a leak \
             that is none shown for {:.2} %",
            t.hours,
            t.stops,
            t.faults,
            t.landings,
            t.counted,
            100.0 * t.permit_hours / t.hours,
            100.0 * t.leak_hours / t.hours
        );
        assert!(f64::from(t.counted) > 0.99 * f64::from(t.landings), "landings are not recognised");
        assert!(f64::from(t.counted) <= 1.002 * f64::from(t.landings), "landings are invented");
        assert!(t.permit_hours > 0.6 * t.hours, "hardly ever rides");
        all = all.add(t);
    }
    let alarms = all.stops + all.faults;
    // Poisson: the 95 % upper bound of the mean after none is −ln 0.05 = 2.996.
    let bound = if alarms == 0 { 2.996 / all.hours } else { f64::NAN };
    println!(
        "false stops: {alarms} in {:.0} simulated hours (assumed noise); 95 % upper bound {:.2} per 1000 h; {:.0} s",
        all.hours,
        1000.0 * bound,
        began.elapsed().as_secs_f64()
    );
    assert_eq!(alarms, 0);
    assert!(hours < 3000.0 || bound <= 1e-3);
}

#[test]
fn the_same_ride_does_alarm_when_the_noise_is_made_unusual() {
    let n = Noise::usual();
    let wild = Noise { gust_pa: 10.0 * n.gust_pa, gust_limit_pa: 500.0, ..n };
    let t = ride_all(tight(), wild, 300, 4.0);
    assert!(t.stops > 0, "the ride cannot fail: {t:?}");
    let lossy = Noise { lost: 0.08, ..n };
    let t = ride_all(tight(), lossy, 301, 4.0);
    assert!(t.faults > 0, "the ride cannot fail: {t:?}");
}
