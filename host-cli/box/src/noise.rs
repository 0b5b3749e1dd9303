//! The noise that a computed bag and its sensor make, from a seed. Every figure is *assumed*: no recording of a real
//! bag stands behind them.

use landfall_sampling::random::philox;

/// White noise of sensor and tube, standard deviation of one reading, Pa.
const WHITE_PA: f64 = 2.0;
/// Turbulence at the blower, standard deviation, Pa, and its correlation time, s.
const TURBULENCE: (f64, f64) = (4.0, 0.15);
/// Gusts a second, their mean (exponential) height and the highest, Pa.
const GUSTS: (f64, f64, f64) = (0.05, 15.0, 67.0);
/// One count of the sensor, Pa.
const COUNT_PA: f64 = 0.2;
/// Time between two steps, s.
const STEP_S: f64 = 0.02;

/// Numbers of a seed, one after the other.
#[derive(Clone, Debug)]
pub struct Numbers {
    key: [u32; 2],
    counter: u64,
    stream: u32,
}

impl Numbers {
    /// The `stream`th sequence of a seed.
    pub const fn new(seed: u64, stream: u32) -> Self {
        Self { key: [seed as u32, (seed >> 32) as u32], counter: 0, stream }
    }

    /// Uniform between 0 and 1, neither included.
    pub fn uniform(&mut self) -> f64 {
        let words = philox([self.counter as u32, (self.counter >> 32) as u32, 0x0B0C, self.stream], self.key);
        self.counter += 1;
        (f64::from(words[0]) + 0.5) / 4_294_967_296.0
    }

    /// Standard normal, by the method of Box and Muller (1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// Fluctuation of the bag and of the sensor, stepped 50 times a second.
#[derive(Clone, Debug)]
pub struct Noise {
    numbers: Numbers,
    turbulence_pa: f64,
    gust: Option<(f64, f64, f64)>,
}

impl Noise {
    /// At rest.
    pub const fn new(seed: u64) -> Self {
        Self { numbers: Numbers::new(seed, 1), turbulence_pa: 0.0, gust: None }
    }

    /// The bag's own fluctuation in the next step at `share` of the operating pressure, Pa.
    pub fn air_pa(&mut self, share: f64) -> f64 {
        let keep = (-STEP_S / TURBULENCE.1).exp();
        self.turbulence_pa =
            keep * self.turbulence_pa + TURBULENCE.0 * (1.0 - keep * keep).sqrt() * self.numbers.normal();
        self.gust = match self.gust {
            Some((height, length_s, t_s)) if t_s < length_s => Some((height, length_s, t_s + STEP_S)),
            _ if self.numbers.uniform() < GUSTS.0 * STEP_S => {
                let height = (-GUSTS.1 * self.numbers.uniform().ln()).min(GUSTS.2);
                let sign = if self.numbers.uniform() < 0.5 { -1.0 } else { 1.0 };
                Some((sign * height, 1.0 + 4.0 * self.numbers.uniform(), 0.0))
            }
            _ => None,
        };
        let gust_pa = self.gust.map_or(0.0, |(height, length_s, t_s)| {
            height * 0.5 * (1.0 - (std::f64::consts::TAU * (t_s / length_s).min(1.0)).cos())
        });
        share.clamp(0.0, 1.0) * (self.turbulence_pa + gust_pa)
    }

    /// What the sensor reads of a pressure, with `extra_pa` more standard deviation.
    pub fn reading_pa(&mut self, true_pa: f64, extra_pa: f64) -> f32 {
        let sd_pa = WHITE_PA.hypot(extra_pa);
        (((true_pa + sd_pa * self.numbers.normal()) / COUNT_PA).round() * COUNT_PA) as f32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normals_have_the_moments_of_normals() {
        let mut numbers = Numbers::new(7, 0);
        let n = 200_000;
        let all: Vec<f64> = (0..n).map(|_| numbers.normal()).collect();
        let mean = all.iter().sum::<f64>() / f64::from(n);
        let moment = |k: i32| all.iter().map(|x| x.powi(k)).sum::<f64>() / f64::from(n);
        // Four standard errors: 1/√n, √2/√n and √96/√n.
        let se = 4.0 / f64::from(n).sqrt();
        assert!(mean.abs() < se && (moment(2) - 1.0).abs() < 1.42 * se && (moment(4) - 3.0).abs() < 9.8 * se);
    }

    #[test]
    fn a_seed_repeats_and_another_differs() {
        let run = |seed| {
            let mut noise = Noise::new(seed);
            (0..500)
                .map(|_| {
                    let p = noise.air_pa(1.0);
                    noise.reading_pa(p, 0.0)
                })
                .collect::<Vec<f32>>()
        };
        assert_eq!(run(3), run(3));
        assert_ne!(run(3), run(4));
    }
}
