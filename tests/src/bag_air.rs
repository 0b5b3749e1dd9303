//! A simple bag for testing the watch: pressure over time with landings, leaks, power cuts, gusts and noise.
//!
//! It shares no code with the planner's physics, on purpose. Every number here is *assumed*: no recording of a
//! real bag's pressure stands behind it. [`Noise::usual`] states the noise of a usual day.

use rand::rngs::SmallRng;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};

/// How the resting pressure behaves from some moment on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Decay {
    /// Falls at a constant rate.
    Linear,
    /// Falls as e^(−t/τ).
    Exponential,
    /// Falls as (1 − t/τ)², which an orifice gives on an elastic bag.
    Orifice,
}

impl Decay {
    /// All kinds.
    pub const ALL: [Self; 3] = [Self::Linear, Self::Exponential, Self::Orifice];

    /// Share of the operating pressure left `t_s` after the start, if it is `share` after `to_share_s`.
    pub fn left(self, t_s: f64, share: f64, to_share_s: f64) -> f64 {
        let x = (t_s / to_share_s).max(0.0);
        match self {
            Self::Linear => (1.0 - (1.0 - share) * x).max(0.0),
            Self::Exponential => share.powf(x),
            Self::Orifice => (1.0 - (1.0 - share.sqrt()) * x).max(0.0).powi(2),
        }
    }
}

/// One landing: half-sine spike, a smaller bounce, then a dip that dies away.
#[derive(Clone, Copy, Debug)]
pub struct Bump {
    /// Start, s.
    pub at_s: f64,
    /// Rise of the spike over rest.
    pub rise_pa: f64,
    /// Its length.
    pub spike_s: f64,
    /// Rise of the bounce, half the spike's length and after a pause of half; 0 for none.
    pub bounce_pa: f64,
    /// Deepest dip, from the end of the spike on.
    pub dip_pa: f64,
    /// Time constant with which the dip dies away.
    pub dip_tau_s: f64,
}

impl Bump {
    /// What it adds to the resting pressure at `t_s`.
    pub fn adds_pa(&self, t_s: f64) -> f64 {
        let t = t_s - self.at_s;
        if t < 0.0 {
            return 0.0;
        }
        let half_sine = |t: f64, length: f64, rise: f64| {
            if (0.0..length).contains(&t) { rise * (std::f64::consts::PI * t / length).sin() } else { 0.0 }
        };
        let after = t - self.spike_s;
        let dip = if after > 0.0 { -self.dip_pa * (-after / self.dip_tau_s).exp() } else { 0.0 };
        half_sine(t, self.spike_s, self.rise_pa)
            + half_sine(t - 1.5 * self.spike_s, 0.5 * self.spike_s, self.bounce_pa)
            + dip
    }

    /// A random landing on a bag at `rest_pa`: spike 0.25 to 0.6 s long, dip down to `dip_pa`.
    pub fn random(rng: &mut SmallRng, at_s: f64, dip_pa: f64, tau_s: f64) -> Self {
        let rise_pa = rng.random_range(300.0..2200.0);
        Self {
            at_s,
            rise_pa,
            spike_s: rng.random_range(0.25..0.6),
            bounce_pa: rise_pa * rng.random_range(0.0..0.3),
            dip_pa: dip_pa * rng.random_range(0.2..1.0),
            dip_tau_s: tau_s,
        }
    }
}

/// The noise of a usual day.
#[derive(Clone, Copy, Debug)]
pub struct Noise {
    /// White noise of sensor and tube, standard deviation per reading.
    pub white_pa: f32,
    /// Turbulence at the blower, standard deviation, correlated over `turbulence_s`.
    pub turbulence_pa: f32,
    /// Correlation time of the turbulence.
    pub turbulence_s: f32,
    /// Amplitude of the blower's beat.
    pub beat_pa: f32,
    /// Its frequency.
    pub beat_hz: f32,
    /// Slow wander of the blower (mains, temperature), standard deviation.
    pub wander_pa: f32,
    /// Its correlation time.
    pub wander_s: f32,
    /// Gusts per second.
    pub gust_rate_hz: f32,
    /// Mean of the gusts' (exponential) height; either sign.
    pub gust_pa: f32,
    /// No gust is higher: nobody rides in more wind.
    pub gust_limit_pa: f32,
    /// Share of readings lost to the bus, one by one.
    pub lost: f32,
    /// One count of the sensor.
    pub step_pa: f32,
}

impl Noise {
    /// White 2 Pa, turbulence 4 Pa over 0.15 s, beat 2 Pa at 6 Hz, wander 6 Pa over 40 s, a gust every 20 s of
    /// 15 Pa on average either way (the wind pressure at 5 m/s) and at most 67 Pa (at 38 km/h, above which nobody
    /// rides), felt in full inside the bag, 1 reading in 10,000 lost, steps of 0.2 Pa. All *assumed*.
    pub const fn usual() -> Self {
        Self {
            white_pa: 2.0,
            turbulence_pa: 4.0,
            turbulence_s: 0.15,
            beat_pa: 2.0,
            beat_hz: 6.0,
            wander_pa: 6.0,
            wander_s: 40.0,
            gust_rate_hz: 0.05,
            gust_pa: 15.0,
            gust_limit_pa: 67.0,
            lost: 1e-4,
            step_pa: 0.2,
        }
    }
}

/// The random part of the pressure, stepped at a fixed interval.
#[derive(Clone, Debug)]
pub struct NoiseSource {
    noise: Noise,
    rng: SmallRng,
    dt_s: f32,
    turbulence_pa: f32,
    keep: f32,
    drive: f32,
    wander_pa: f32,
    wander_keep: f32,
    wander_drive: f32,
    beat: (f32, f32),
    turn: (f32, f32),
    gust_pa: f32,
    gust_t_s: f32,
    gust_length_s: f32,
    till_wander: u8,
}

impl NoiseSource {
    /// Starts at rest with this seed, stepped every `dt_s`.
    pub fn new(noise: Noise, seed: u64, dt_s: f32) -> Self {
        let keep = (-dt_s / noise.turbulence_s).exp();
        let wander_keep = (-dt_s * 10.0 / noise.wander_s).exp();
        let angle = std::f32::consts::TAU * noise.beat_hz * dt_s;
        Self {
            noise,
            rng: SmallRng::seed_from_u64(seed),
            dt_s,
            turbulence_pa: 0.0,
            keep,
            drive: noise.turbulence_pa * (1.0 - keep * keep).sqrt(),
            wander_pa: 0.0,
            wander_keep,
            wander_drive: noise.wander_pa * (1.0 - wander_keep * wander_keep).sqrt(),
            beat: (1.0, 0.0),
            turn: (angle.cos(), angle.sin()),
            gust_pa: 0.0,
            gust_t_s: 0.0,
            gust_length_s: 0.0,
            till_wander: 0,
        }
    }

    fn normal(&mut self) -> f32 {
        StandardNormal.sample(&mut self.rng)
    }

    /// Real fluctuation of the bag's pressure over the next interval.
    pub fn air_pa(&mut self) -> f32 {
        self.turbulence_pa = self.keep * self.turbulence_pa + self.drive * self.normal();
        if self.till_wander == 0 {
            self.wander_pa = self.wander_keep * self.wander_pa + self.wander_drive * self.normal();
            self.till_wander = 10;
        }
        self.till_wander -= 1;
        let ((x, y), (c, s)) = (self.beat, self.turn);
        self.beat = (c * x - s * y, s * x + c * y);
        if self.gust_t_s >= self.gust_length_s {
            self.gust_pa = 0.0;
            if self.rng.random::<f32>() < self.noise.gust_rate_hz * self.dt_s {
                let sign = if self.rng.random::<bool>() { 1.0 } else { -1.0 };
                let height_pa = -self.noise.gust_pa * (1.0 - self.rng.random::<f32>()).ln();
                self.gust_pa = sign * height_pa.min(self.noise.gust_limit_pa);
                self.gust_length_s = self.rng.random_range(1.0..5.0);
                self.gust_t_s = 0.0;
            }
        }
        let mut gust_pa = 0.0;
        if self.gust_pa != 0.0 {
            self.gust_t_s += self.dt_s;
            gust_pa = self.gust_pa * 0.5 * (1.0 - (std::f32::consts::TAU * self.gust_t_s / self.gust_length_s).cos());
        }
        self.turbulence_pa + self.wander_pa + self.noise.beat_pa * self.beat.1 + gust_pa
    }

    /// What the sensor reads of `true_pa`; none when the reading is lost.
    pub fn reading_pa(&mut self, true_pa: f32) -> Option<f32> {
        let white_pa = self.noise.white_pa * self.normal();
        if self.noise.lost > 0.0 && self.rng.random::<f32>() < self.noise.lost {
            return None;
        }
        Some(((true_pa + white_pa) / self.noise.step_pa).round() * self.noise.step_pa)
    }

    /// The generator, for a test's own choices.
    pub fn rng(&mut self) -> &mut SmallRng {
        &mut self.rng
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decays_pass_the_share_at_its_time() {
        for decay in Decay::ALL {
            assert!((decay.left(7.0, 0.6, 7.0) - 0.6).abs() < 1e-12);
            assert!((decay.left(0.0, 0.6, 7.0) - 1.0).abs() < 1e-12);
            assert!(decay.left(3.0, 0.6, 7.0) > decay.left(3.1, 0.6, 7.0));
        }
    }

    #[test]
    fn noise_has_the_stated_spread() {
        let n = Noise { gust_rate_hz: 0.0, lost: 0.0, ..Noise::usual() };
        let mut source = NoiseSource::new(n, 3, 0.02);
        let (mut sum, mut square) = (0.0f64, 0.0f64);
        let count = 2_000_000;
        for _ in 0..count {
            let air = source.air_pa();
            let r = f64::from(source.reading_pa(air).unwrap());
            sum += r;
            square += r * r;
        }
        let mean = sum / f64::from(count);
        let sd = (square / f64::from(count) - mean * mean).sqrt();
        // 2² + 4² + 2²/2 + 6² + 0.2²/12
        assert!((sd - 58.0f64.sqrt()).abs() < 0.3, "{sd}");
    }
}
