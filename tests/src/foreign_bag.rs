//! Bags whose skin gives way by laws that no fit of Landfall contains, and what would be measured on them.
//!
//! Nothing of Landfall's physics is used here: double precision, fixed steps, own gas, own load with its inertia. The
//! laws: a film of constant tension over pressure round the body (solved from its equilibrium), an area that saturates
//! exponentially, a straight one, the mirror image of a dome, and the cap of a ball. No measured bag stands behind any.

use rand::RngExt;
use rand::rngs::SmallRng;

use super::learn_sim::normal;

const PI: f64 = std::f64::consts::PI;
/// Standard gravity, m/s².
pub const GRAVITY: f64 = 9.80665;
/// Radius of the board and of a body, m.
const BODY_M: f64 = 0.3;

/// How the area inside the crest grows with depth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Law {
    /// A film whose tension over pressure is this length, m: level at the crest, upright round the body at the end.
    Film(f64),
    /// Saturating exponentially at this area, m².
    Saturating(f64),
    /// Straight, without an end.
    Straight,
    /// The mirror image of a dome's cap, of this crown radius, m.
    MirrorDome(f64),
    /// The cap of a ball of this radius, m, and its section beyond.
    BallCap(f64),
}

impl Law {
    /// The eight of the proof.
    pub const EIGHT: [Self; 8] = [
        Self::Film(0.9),
        Self::Film(2.2),
        Self::Saturating(2.5),
        Self::Saturating(3.0),
        Self::Saturating(3.4),
        Self::Straight,
        Self::MirrorDome(1.9),
        Self::BallCap(1.1),
    ];

    /// Pairs of depth and area along the law.
    fn pairs(self) -> Vec<(f64, f64)> {
        match self {
            // sin t(r) = (r_a² − r²)/(2 l r) from the balance of forces between r and the crest; depth ∫ tan t dr, with
            // r = b + s² since tan t is not finite at b where the film stands upright.
            Self::Film(l) => {
                let crest_m = (BODY_M * BODY_M + 2.0 * l * BODY_M).sqrt();
                (0..=400)
                    .map(|i| {
                        let crest = BODY_M + (crest_m - BODY_M) * f64::from(i) / 400.0;
                        let n = 400;
                        let top = (crest - BODY_M).sqrt();
                        let depth: f64 = (0..n)
                            .map(|j| {
                                let s = top * (f64::from(j) + 0.5) / f64::from(n);
                                let r = BODY_M + s * s;
                                let sine = ((crest * crest - r * r) / (2.0 * l * r)).min(1.0);
                                sine / (1.0 - sine * sine).max(1e-12).sqrt() * 2.0 * s * top / f64::from(n)
                            })
                            .sum();
                        (depth, PI * crest * crest)
                    })
                    .collect()
            }
            _ => (0..=800).map(|i| f64::from(i) * 0.005).map(|x| (x, self.closed(x))).collect(),
        }
    }

    fn closed(self, x: f64) -> f64 {
        match self {
            Self::Film(_) => f64::NAN,
            Self::Saturating(limit) => 0.3 + (limit - 0.3) * (1.0 - (-x / 0.45).exp()),
            Self::Straight => 0.35 + 2.6 * x,
            Self::MirrorDome(radius) => PI * (radius * x - 0.25 * x * x),
            Self::BallCap(radius) => {
                let x = x.min(radius);
                PI * (2.0 * radius * x - x * x)
            }
        }
    }
}

/// Area and volume over depth, tabulated every 5 mm.
#[derive(Clone, Debug)]
pub struct Dent {
    area: Vec<f64>,
    volume: Vec<f64>,
}

const STEP_M: f64 = 0.005;

impl Dent {
    /// Tabulates a law, all areas times a factor.
    pub fn new(law: Law, factor: f64) -> Self {
        let pairs = law.pairs();
        let area: Vec<f64> = (0..=900)
            .map(|i| {
                let x = f64::from(i) * STEP_M;
                let after = pairs.partition_point(|p| p.0 < x);
                let value = match (after.checked_sub(1).and_then(|i| pairs.get(i)), pairs.get(after)) {
                    (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0),
                    (None, Some(b)) => b.1,
                    (Some(a), None) => a.1,
                    (None, None) => 0.0,
                };
                factor * value
            })
            .collect();
        let mut volume = vec![0.0];
        for two in area.windows(2) {
            volume.push(volume.last().unwrap() + 0.5 * (two[0] + two[1]) * STEP_M);
        }
        Self { area, volume }
    }

    /// Area at a depth, m².
    pub fn area_m2(&self, x: f64) -> f64 {
        Self::at(&self.area, x)
    }

    fn volume_m3(&self, x: f64) -> f64 {
        let at = (x.max(0.0) / STEP_M).min(899.0);
        let i = at.floor();
        let (a, b) = (self.area[i as usize], self.area[i as usize + 1]);
        let d = x.max(0.0) - i * STEP_M;
        self.volume[i as usize] + d * (a + 0.5 * (b - a) * d / STEP_M)
    }

    fn at(table: &[f64], x: f64) -> f64 {
        let at = (x.max(0.0) / STEP_M).min(899.99);
        let i = at.floor() as usize;
        table[i] + (table[i + 1] - table[i]) * (at - i as f64)
    }
}

/// Air, openings and size of a bag.
#[derive(Clone, Copy, Debug)]
pub struct Gas {
    /// Outside pressure, Pa.
    pub outside_pa: f64,
    /// Density of the air, kg/m³.
    pub density_kgpm3: f64,
    /// Volume at the operating pressure, m³.
    pub volume_m3: f64,
    /// Operating pressure, Pa.
    pub operating_pa: f64,
    /// Pressure that the skin's own weight holds, Pa.
    pub skin_pa: f64,
    /// Stretch, 1/Pa.
    pub stretch_per_pa: f64,
    /// Vents always open, m², with their coefficient.
    pub vent_m2: (f64, f64),
    /// Relief flaps: m², opens at, full at, Pa.
    pub relief: (f64, f64, f64),
    /// Leak in m³/s at 1 Pa, and its exponent.
    pub leak: (f64, f64),
}

impl Gas {
    /// What leaves at a pressure, m³/s.
    pub fn out_m3ps(&self, pa: f64) -> f64 {
        let pa = pa.max(0.0);
        let (area, opens, full) = self.relief;
        let open = if area > 0.0 { area * ((pa - opens) / (full - opens)).clamp(0.0, 1.0) } else { 0.0 };
        self.vent_m2.1 * (self.vent_m2.0 + open) * (2.0 * pa / self.density_kgpm3).sqrt()
            + self.leak.0 * pa.powf(self.leak.1)
    }

    /// Volume for the gas at a pressure, the dent taken off.
    fn volume(&self, pa: f64, dent_m3: f64) -> f64 {
        self.volume_m3 * (1.0 + self.stretch_per_pa * (pa - self.operating_pa)) - dent_m3
    }

    /// Content at a pressure with a dent in it, m³ of outside air.
    fn content(&self, pa: f64, dent_m3: f64) -> f64 {
        (self.outside_pa + pa) * self.volume(pa, dent_m3) / self.outside_pa
    }

    /// Pressure of a content at rest: (P_a + p)(a + b p) = P_a G, a quadratic.
    fn slow_pa(&self, content: f64, dent_m3: f64) -> f64 {
        let b = self.volume_m3 * self.stretch_per_pa;
        let a = self.volume_m3 * (1.0 - self.stretch_per_pa * self.operating_pa) - dent_m3;
        let (q, c) = (a + b * self.outside_pa, self.outside_pa * (a - content));
        let pa = if b > 1e-9 { (-q + (q * q - 4.0 * b * c).sqrt()) / (2.0 * b) } else { -c / q };
        pa.max(self.skin_pa)
    }

    /// Pressure of a quick change: (P_a + p) V(p)^1.4 = held.
    fn quick_pa(&self, held: f64, dent_m3: f64, guess_pa: f64) -> f64 {
        let mut pa = guess_pa;
        for _ in 0..20 {
            let volume = self.volume(pa, dent_m3).max(1e-3);
            let value = (self.outside_pa + pa).ln() + 1.4 * volume.ln() - held;
            let slope = 1.0 / (self.outside_pa + pa) + 1.4 * self.volume_m3 * self.stretch_per_pa / volume;
            let step = value / slope;
            pa -= step;
            if step.abs() < 1e-6 {
                break;
            }
        }
        pa.max(self.skin_pa)
    }

    /// Pressure `seconds` after the blowers stopped with nobody on the bag, every `step_s`.
    pub fn emptying(&self, seconds: f64, step_s: f64) -> Vec<f64> {
        let mut content = self.content(self.operating_pa, 0.0);
        let inner = (step_s / 0.01).ceil();
        let h = step_s / inner;
        let mut out = vec![self.operating_pa];
        for _ in 0..(seconds / step_s) as usize {
            for _ in 0..inner as usize {
                let mid = content - 0.5 * h * self.out_m3ps(self.slow_pa(content, 0.0));
                content -= h * self.out_m3ps(self.slow_pa(mid, 0.0));
            }
            out.push(self.slow_pa(content, 0.0));
        }
        out
    }

    /// How deep a body sinks that lands with the supply lost at `start_pa`.
    pub fn lands_m(&self, dent: &Dent, start_pa: f64, mass_kg: f64, speed_mps: f64) -> f64 {
        let start_content = self.content(start_pa, 0.0);
        let h = 0.002;
        let (mut x, mut u, mut lost) = (0.0, speed_mps, 0.0);
        let mut pa = start_pa;
        for _ in 0..4_000 {
            let pressure = |x: f64, lost: f64, guess: f64| {
                let held = (self.outside_pa + start_pa).ln()
                    + 1.4 * (self.volume(start_pa, 0.0) * (1.0 - lost / start_content)).ln();
                self.quick_pa(held, dent.volume_m3(x), guess)
            };
            let pull = |x: f64, pa: f64| GRAVITY - pa * dent.area_m2(x) / mass_kg;
            // Midpoint rule.
            pa = pressure(x, lost, pa);
            let (xm, um) = (x + 0.5 * h * u, u + 0.5 * h * pull(x, pa));
            let lm = lost + 0.5 * h * self.out_m3ps(pa);
            let pm = pressure(xm, lm, pa);
            let (xn, un) = (x + h * um, u + h * pull(xm, pm));
            if un <= 0.0 {
                // The rest of a parabola.
                return x + 0.5 * u * h * u / (u - un);
            }
            x = xn;
            u = un;
            lost += h * self.out_m3ps(pm);
        }
        x
    }

    /// Pressure every 20 ms while a body lands with the blowers running: down, back in 1.2 times the time, and a dip that
    /// dies away in some seconds.
    pub fn landing(&self, dent: &Dent, mass_kg: f64, speed_mps: f64) -> Vec<f64> {
        let start_pa = self.operating_pa;
        let start_content = self.content(start_pa, 0.0);
        let feed = self.out_m3ps(start_pa);
        let h = 0.001;
        let (mut x, mut u, mut lost, mut pa) = (0.0, speed_mps, 0.0, start_pa);
        let mut down = Vec::new();
        for step in 0..4_000 {
            let held = (self.outside_pa + start_pa).ln()
                + 1.4 * (self.volume(start_pa, 0.0) * (1.0 - lost / start_content)).ln();
            pa = self.quick_pa(held, dent.volume_m3(x), pa);
            if step % 20 == 0 {
                down.push(pa);
            }
            u += h * (GRAVITY - pa * dent.area_m2(x) / mass_kg);
            x += h * u;
            lost += h * (self.out_m3ps(pa) - feed);
            if u <= 0.0 {
                break;
            }
        }
        let back = (0..down.len() * 6 / 5).map(|i| {
            let at = down.len().saturating_sub(1 + i * 5 / 6);
            start_pa + 0.9 * (down[at] - start_pa) - 60.0 * i as f64 / (1.2 * down.len() as f64)
        });
        let mut out: Vec<f64> = down.iter().copied().chain(back).collect();
        out.extend((0..400).map(|i| start_pa - 60.0 * (-f64::from(i) * 0.02 / 1.5).exp()));
        out
    }

    /// The lowest pressure from which a landing stays above a depth.
    pub fn stop_pa(&self, dent: &Dent, mass_kg: f64, speed_mps: f64, depth_m: f64) -> f64 {
        let (mut low, mut high) = (self.skin_pa, 20_000.0);
        if self.lands_m(dent, low, mass_kg, speed_mps) <= depth_m {
            return low;
        }
        while high - low > 0.5 {
            let mid = (low * high).sqrt();
            if self.lands_m(dent, mid, mass_kg, speed_mps) <= depth_m { high = mid } else { low = mid }
        }
        high
    }

    /// A load of `mass_kg` on the bag from the moment at which the blowers stop: (time, pressure, depth) every 20 ms,
    /// until a few seconds after it lies on the ground.
    pub fn sinks(&self, dent: &Dent, mass_kg: f64, ground_m: f64) -> Vec<(f64, f64, f64)> {
        // Where it lies with the blowers on.
        let (mut low, mut high) = (0.0, 4.0);
        while high - low > 1e-6 {
            let mid = 0.5 * (low + high);
            if self.operating_pa * dent.area_m2(mid) < mass_kg * GRAVITY { low = mid } else { high = mid }
        }
        let (mut x, mut u) = (high.min(ground_m), 0.0_f64);
        let mut content = self.content(self.operating_pa, dent.volume_m3(x));
        let mut out = Vec::new();
        let h = 0.004;
        let mut down_s = 0.0;
        for step in 0..60_000_u32 {
            let time_s = f64::from(step) * h;
            let pa = self.slow_pa(content, dent.volume_m3(x));
            if step % 5 == 0 {
                out.push((time_s, pa, x));
            }
            let pull = |x: f64, pa: f64, u: f64| {
                // A little friction of cloth and air, so that it does not swing for ever.
                GRAVITY - pa * dent.area_m2(x) / mass_kg - 1.0 * u
            };
            let (xm, um) = (x + 0.5 * h * u, u + 0.5 * h * pull(x, pa, u));
            let cm = content - 0.5 * h * self.out_m3ps(pa);
            let pm = self.slow_pa(cm, dent.volume_m3(xm));
            x += h * um;
            u += h * pull(xm, pm, um);
            content -= h * self.out_m3ps(pm);
            if x >= ground_m {
                (x, u) = (ground_m, 0.0);
                down_s += h;
            }
            if down_s > 4.0 || (pa < 15.0 && down_s > 0.0) {
                break;
            }
        }
        out
    }
}

/// How a test is taken down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Means {
    /// The box records 50 times a second; the film is read off ten times a second.
    Box,
    /// Gauge and depth are read off a film four times a second.
    Film,
}

/// A table as somebody would have written it, with the errors of gauge, film and scales.
///
/// Depth: 2 cm each reading and 1.5 cm in all of a film. A box: 12.5 Pa of zero, 15 Pa of noise; a filmed gauge: 10 Pa
/// of zero and 2 % each reading. Mass: 1 %.
pub fn loaded_table(rng: &mut SmallRng, gas: &Gas, dent: &Dent, mass_kg: f64, ground_m: f64, means: Means) -> String {
    let true_kg = mass_kg * (1.0 + 0.01 * normal(rng));
    let zero_pa = normal(rng) * if means == Means::Box { 12.5 } else { 10.0 };
    let lath_m = 0.015 * normal(rng);
    let mut out = String::from("time_s,gauge_pa,depth_m\n");
    let every = if means == Means::Box { 5 } else { 12 };
    let from = rng.random_range(0..every);
    for (i, (time_s, pa, x)) in gas.sinks(dent, true_kg, ground_m).iter().enumerate() {
        let share = if means == Means::Box { 0.0 } else { 0.02 };
        let noise = if means == Means::Box { 15.0 } else { 0.0 };
        let read_pa = pa * (1.0 + share * normal(rng)) + noise * normal(rng) + zero_pa;
        let film = i % every == from;
        let depth = x + lath_m + 0.02 * normal(rng);
        match (means, film) {
            (Means::Box, true) => out.push_str(&format!("{time_s:.2},{read_pa:.1},{depth:.3}\n")),
            (Means::Box, false) => out.push_str(&format!("{time_s:.2},{read_pa:.1},\n")),
            (Means::Film, true) => out.push_str(&format!("{time_s:.1},{read_pa:.0},{depth:.2}\n")),
            (Means::Film, false) => {}
        }
    }
    out
}

/// An empty deflation as a gauge shows it, read off twice a second.
pub fn empty_table(rng: &mut SmallRng, gas: &Gas) -> String {
    let zero_pa = 10.0 * normal(rng);
    let mut out = String::from("time_s,gauge_pa\n");
    for (i, pa) in gas.emptying(60.0, 0.5).iter().enumerate() {
        let read = pa * (1.0 + 0.02 * normal(rng)) + zero_pa;
        if *pa < 0.05 * gas.operating_pa {
            break;
        }
        out.push_str(&format!("{:.1},{:.0}\n", i as f64 * 0.5, read));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Upright round the body the film's crest is at r_a² = b² + 2 l b. The places before it by SciPy's quad (1.17.1), crest
    /// and depth.
    #[test]
    fn a_film_ends_upright() {
        let dent = Dent::new(Law::Film(2.0), 1.0);
        let limit = PI * (0.09 + 2.0 * 2.0 * 0.3);
        assert!((dent.area_m2(3.9) / limit - 1.0).abs() < 1e-6);
        for (depth_m, share) in
            [(0.0, 0.069_767), (0.036_816, 0.311_901), (0.189_851, 0.727_314), (0.320_412, 0.927_767)]
        {
            let found = dent.area_m2(depth_m) / limit;
            assert!((found - share).abs() < 2e-3, "{depth_m} m: {found} for {share}");
        }
    }

    /// In a huge bag without openings the pressure stays: ½ m v² + m g x = p V.
    #[test]
    fn a_landing_in_a_huge_bag_keeps_its_energy() {
        let gas = Gas {
            outside_pa: 1e5,
            density_kgpm3: 1.2,
            volume_m3: 1e6,
            operating_pa: 1_000.0,
            skin_pa: 6.0,
            stretch_per_pa: 0.0,
            vent_m2: (0.0, 0.6),
            relief: (0.0, 0.0, 1.0),
            leak: (0.0, 0.6),
        };
        let dent = Dent::new(Law::Saturating(3.0), 1.0);
        let x = gas.lands_m(&dent, 1_000.0, 90.0, 8.0);
        let energy = 45.0 * 64.0 + 90.0 * GRAVITY * x;
        assert!((1_000.0 * dent.volume_m3(x) / energy - 1.0).abs() < 2e-3, "{x}");
    }
}
