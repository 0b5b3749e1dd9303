//! Blowers: the maker's curve, the fan laws, several in parallel, and the loss of their ducts.

use heapless::Vec;

use crate::air::{Air, FAN_STANDARD_DENSITY_KGPM3};
use crate::error::{InputError, within};

/// Most points a blower curve takes.
pub const MAX_CURVE_POINTS: usize = 16;
/// Fewest points a blower curve takes.
pub const MIN_CURVE_POINTS: usize = 3;

/// One point of a maker's blower curve, at full speed and 1.2 kg/m³.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CurvePoint {
    /// Flow of one blower, m³/s.
    pub flow_m3ps: f32,
    /// Static pressure, Pa.
    pub pressure_pa: f32,
}

/// A point of the curve with its slope.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Knot {
    pressure_pa: f32,
    flow_m3ps: f32,
    /// dQ/dp, m³/(s Pa).
    slope: f32,
    /// Of the piece that begins here: quadratic and cubic coefficient over its width, m³/(s Pa).
    bend: (f32, f32),
}

/// Flow over pressure of one blower: a monotone cubic through the maker's points, zero above shut-off.
///
/// Between two points a cubic Hermite; the slope at an inner point is the harmonic mean of the two secants
/// weighted with (2h₁ + h₀) and (h₁ + 2h₀), 0 where a secant is 0; at the ends the three-point formula, set to 0
/// where its sign is not the end secant's.
///
/// Source: Fritsch & Butland 1984, as SciPy's `PchipInterpolator` computes it.
#[derive(Clone, Debug, PartialEq)]
pub struct BlowerCurve {
    knots: Vec<Knot, MAX_CURVE_POINTS>,
}

/// Slope at an end from the two nearest intervals and secants.
fn end_slope(h0: f32, h1: f32, m0: f32, m1: f32) -> f32 {
    let slope = ((2.0 * h0 + h1) * m0 - h0 * m1) / (h0 + h1);
    if slope * m0 <= 0.0 {
        0.0
    } else if m0 * m1 < 0.0 && slope.abs() > 3.0 * m0.abs() {
        3.0 * m0
    } else {
        slope
    }
}

impl BlowerCurve {
    /// Takes the maker's points in order of rising pressure.
    ///
    /// Valid: 3 to 16 points, the first at 0 Pa, the last at zero flow, pressure strictly rising and flow strictly
    /// falling, up to 20 kPa and 100 m³/s.
    ///
    /// # Errors
    /// [`InputError::Count`], [`InputError::OutOfRange`], [`InputError::Order`] (two points in the wrong order) or
    /// [`InputError::Inconsistent`] (an end that is not on its axis).
    pub fn new(points: &[CurvePoint]) -> Result<Self, InputError> {
        let count_error = InputError::Count {
            quantity: "blower.curve",
            got: points.len(),
            low: MIN_CURVE_POINTS,
            high: MAX_CURVE_POINTS,
        };
        let (Some(first), Some(last)) = (points.first(), points.last()) else { return Err(count_error) };
        if points.len() < MIN_CURVE_POINTS {
            return Err(count_error);
        }
        let mut knots: Vec<Knot, MAX_CURVE_POINTS> = Vec::new();
        for point in points {
            let pressure_pa = within("blower.curve.pressure_pa", point.pressure_pa, 0.0, 20_000.0)?;
            let flow_m3ps = within("blower.curve.flow_m3ps", point.flow_m3ps, 0.0, 100.0)?;
            knots.push(Knot { pressure_pa, flow_m3ps, slope: 0.0, bend: (0.0, 0.0) }).map_err(|_| count_error)?;
        }
        if first.pressure_pa != 0.0 {
            return Err(InputError::Inconsistent {
                quantity: "blower.curve.pressure_pa",
                why: "the first point must be at 0 Pa",
                off_by: first.pressure_pa,
            });
        }
        if last.flow_m3ps != 0.0 {
            return Err(InputError::Inconsistent {
                quantity: "blower.curve.flow_m3ps",
                why: "the last point must be at zero flow",
                off_by: last.flow_m3ps,
            });
        }
        for (a, b) in points.iter().zip(points.iter().skip(1)) {
            // A step too small to see in single precision would make the secants meaningless.
            if b.pressure_pa - a.pressure_pa < 1e-3 {
                return Err(InputError::Order {
                    smaller: "blower.curve.pressure_pa",
                    smaller_got: a.pressure_pa,
                    larger: "blower.curve.pressure_pa of the next point",
                    larger_got: b.pressure_pa,
                });
            }
            if a.flow_m3ps - b.flow_m3ps < 1e-6 {
                return Err(InputError::Order {
                    smaller: "blower.curve.flow_m3ps of the next point",
                    smaller_got: b.flow_m3ps,
                    larger: "blower.curve.flow_m3ps",
                    larger_got: a.flow_m3ps,
                });
            }
        }
        Self::set_slopes(&mut knots);
        Self::set_bends(&mut knots);
        Ok(Self { knots })
    }

    fn set_slopes(knots: &mut Vec<Knot, MAX_CURVE_POINTS>) {
        // Interval widths and secants, one per neighbouring pair.
        let mut pairs: Vec<(f32, f32), MAX_CURVE_POINTS> = Vec::new();
        for (a, b) in knots.iter().zip(knots.iter().skip(1)) {
            let width = b.pressure_pa - a.pressure_pa;
            let _ = pairs.push((width, (b.flow_m3ps - a.flow_m3ps) / width));
        }
        let mut before: Option<(f32, f32)> = None;
        for (i, knot) in knots.iter_mut().enumerate() {
            let after = pairs.get(i).copied();
            knot.slope = match (before, after) {
                (None, Some((h0, m0))) => match pairs.get(1) {
                    Some(&(h1, m1)) => end_slope(h0, h1, m0, m1),
                    None => m0,
                },
                (Some((h0, m0)), None) => match i.checked_sub(2).and_then(|k| pairs.get(k)) {
                    Some(&(h1, m1)) => end_slope(h0, h1, m0, m1),
                    None => m0,
                },
                (Some((h0, m0)), Some((h1, m1))) => {
                    if m0 * m1 <= 0.0 {
                        0.0
                    } else {
                        let (w0, w1) = (2.0 * h1 + h0, h1 + 2.0 * h0);
                        (w0 + w1) / (w0 / m0 + w1 / m1)
                    }
                }
                (None, None) => 0.0,
            };
            before = after;
        }
    }

    /// What a piece's cubic needs besides its ends, worked out once: a landing reads the flow by the thousand.
    fn set_bends(knots: &mut Vec<Knot, MAX_CURVE_POINTS>) {
        let mut upper: Option<Knot> = None;
        for knot in knots.iter_mut().rev() {
            if let Some(upper) = upper {
                let secant = (upper.flow_m3ps - knot.flow_m3ps) / (upper.pressure_pa - knot.pressure_pa);
                knot.bend = (3.0 * secant - 2.0 * knot.slope - upper.slope, knot.slope + upper.slope - 2.0 * secant);
            }
            upper = Some(*knot);
        }
    }

    /// The curve at a share of full speed and another density: flow ∝ speed, pressure ∝ speed² · density.
    ///
    /// Valid: 0.05 to 1.5 of full speed, density 0.3 to 2 kg/m³.
    ///
    /// # Errors
    /// [`InputError::OutOfRange`].
    ///
    /// Source: the fan laws (AMCA, ISO 5801).
    pub fn at_speed(&self, speed: f32, density_kgpm3: f32) -> Result<Self, InputError> {
        let speed = within("blower.speed", speed, 0.05, 1.5)?;
        let density_kgpm3 = within("air.density_kgpm3", density_kgpm3, 0.3, 2.0)?;
        let pressure_factor = speed * speed * density_kgpm3 / FAN_STANDARD_DENSITY_KGPM3;
        let mut scaled = self.clone();
        for knot in &mut scaled.knots {
            knot.pressure_pa *= pressure_factor;
            knot.flow_m3ps *= speed;
            knot.slope *= speed / pressure_factor;
        }
        Self::set_bends(&mut scaled.knots);
        Ok(scaled)
    }

    /// Pressure at which the flow is zero, Pa.
    #[must_use]
    pub fn shut_off_pa(&self) -> f32 {
        self.knots.last().map_or(0.0, |knot| knot.pressure_pa)
    }

    /// Flow of one blower against a pressure, m³/s, and its slope, m³/(s Pa); zero above shut-off. Below 0 Pa
    /// the flow at 0 Pa is taken.
    #[must_use]
    pub fn flow_and_slope(&self, pressure_pa: f32) -> (f32, f32) {
        let p = pressure_pa.max(0.0);
        let mut lower: Option<&Knot> = None;
        for upper in &self.knots {
            if p < upper.pressure_pa {
                let Some(a) = lower else { return (upper.flow_m3ps, 0.0) };
                // Newton form of the cubic Hermite, from the nearer-to-exact side a.
                let (c2, c3) = a.bend;
                let dp = p - a.pressure_pa;
                let t = dp / (upper.pressure_pa - a.pressure_pa);
                return (a.flow_m3ps + dp * (a.slope + t * (c2 + t * c3)), a.slope + t * (2.0 * c2 + 3.0 * t * c3));
            }
            lower = Some(upper);
        }
        (0.0, 0.0)
    }

    /// Pressures of the points, Pa, rising: where the third derivative of the flow jumps.
    pub fn knot_pressures_pa(&self) -> impl Iterator<Item = f32> + '_ {
        self.knots.iter().map(|knot| knot.pressure_pa)
    }
}

/// What is stated about the blowers besides their curve.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BlowersInput {
    /// How many equal blowers stand in parallel.
    pub count: u8,
    /// Share of full speed.
    pub speed: f32,
    /// Loss coefficient K of each blower's duct.
    pub duct_loss: f32,
    /// Duct diameter, m; not used where there is no loss.
    pub duct_diameter_m: f32,
    /// Whether each blower has a flap that closes when it stands still.
    pub closing_flap: bool,
    /// Area through which gas flows back through each blower without a flap, m².
    pub backflow_area_m2: Option<f32>,
}

impl Default for BlowersInput {
    /// One blower at full speed without duct loss, with a closing flap.
    fn default() -> Self {
        Self { count: 1, speed: 1.0, duct_loss: 0.0, duct_diameter_m: 0.0, closing_flap: true, backflow_area_m2: None }
    }
}

/// Equal blowers in parallel, each behind its own duct, at their speed and in the air they draw.
///
/// At bag pressure p each blower works against p + K ½ρ (Q/A)²; all their flows add.
#[derive(Clone, Debug, PartialEq)]
pub struct Blowers {
    curve: BlowerCurve,
    count: f32,
    /// K ½ρ/A², Pa/(m³/s)².
    duct_pa_per_flow2: f32,
    backflow_area_m2: f32,
}

/// Most rounds of the search for the flow through a duct; a bisection alone would need 24.
const DUCT_ROUNDS: u8 = 40;

impl Blowers {
    /// Puts `input.count` blowers of one curve together.
    ///
    /// Valid: 1 to 20 blowers, K 0 to 50, duct diameter 0.05 to 3 m, backflow area 0 to 5 m² each.
    ///
    /// # Errors
    /// [`InputError::OutOfRange`]; [`InputError::Inconsistent`] where there is no closing flap and no backflow area
    /// is stated (it decides how long the bag holds, so it is not guessed).
    pub fn new(curve: &BlowerCurve, input: &BlowersInput, air: &Air) -> Result<Self, InputError> {
        let count = within("blower.count", f32::from(input.count), 1.0, 20.0)?;
        let duct_loss = within("blower.duct_loss", input.duct_loss, 0.0, 50.0)?;
        let mut duct_pa_per_flow2 = 0.0;
        if duct_loss > 0.0 {
            let diameter_m = within("blower.duct_diameter_m", input.duct_diameter_m, 0.05, 3.0)?;
            let area_m2 = core::f32::consts::FRAC_PI_4 * diameter_m * diameter_m;
            duct_pa_per_flow2 = duct_loss * 0.5 * air.density_kgpm3 / (area_m2 * area_m2);
        }
        let backflow_area_m2 = match (input.closing_flap, input.backflow_area_m2) {
            (true, _) => 0.0,
            (false, Some(area_m2)) => within("blower.backflow_area_m2", area_m2, 0.0, 5.0)? * count,
            (false, None) => {
                return Err(InputError::Inconsistent {
                    quantity: "blower.backflow_area_m2",
                    why: "a blower without a closing flap needs the area that gas flows back through",
                    off_by: 0.0,
                });
            }
        };
        let curve = curve.at_speed(input.speed, air.density_kgpm3)?;
        Ok(Self { curve, count, duct_pa_per_flow2, backflow_area_m2 })
    }

    /// How many there are.
    #[must_use]
    pub const fn count(&self) -> f32 {
        self.count
    }

    /// Pressure above which nothing is delivered, Pa.
    #[must_use]
    pub fn shut_off_pa(&self) -> f32 {
        self.curve.shut_off_pa()
    }

    /// Area through which gas flows back when all blowers stand still, m²; 0 with closing flaps.
    #[must_use]
    pub const fn backflow_area_m2(&self) -> f32 {
        self.backflow_area_m2
    }

    /// Flow of all blowers into the bag at its gauge pressure, m³/s; 0 at or above shut-off.
    ///
    /// With a duct, the blower's own pressure y is the root of y − K½ρ(Q(y)/A)² = p between p and shut-off; Q falls
    /// with y, so there is one root. Found by Newton steps kept in a shrinking bracket, at most 40.
    #[must_use]
    pub fn flow_m3ps(&self, bag_pa: f32) -> f32 {
        let shut_off_pa = self.shut_off_pa();
        if bag_pa >= shut_off_pa {
            return 0.0;
        }
        let bag_pa = bag_pa.max(0.0);
        let (mut flow, mut slope) = self.curve.flow_and_slope(bag_pa);
        if self.duct_pa_per_flow2 > 0.0 {
            let (mut low, mut high) = (bag_pa, shut_off_pa);
            let mut blower_pa = bag_pa;
            for _ in 0..DUCT_ROUNDS {
                let excess_pa = blower_pa - bag_pa - self.duct_pa_per_flow2 * flow * flow;
                if excess_pa < 0.0 {
                    low = blower_pa;
                } else {
                    high = blower_pa;
                }
                let step = excess_pa / (1.0 - 2.0 * self.duct_pa_per_flow2 * flow * slope);
                let newton = blower_pa - step;
                let next = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
                let done = (next - blower_pa).abs() <= 2e-7 * shut_off_pa;
                blower_pa = next;
                (flow, slope) = self.curve.flow_and_slope(blower_pa);
                if done {
                    break;
                }
            }
        }
        self.count * flow
    }

    /// Gauge pressures in the bag at which a blower passes a point of its curve, Pa, rising: where the flow is
    /// not smooth.
    pub fn knot_bag_pressures_pa(&self) -> impl Iterator<Item = f32> + '_ {
        self.curve.knots.iter().map(|k| k.pressure_pa - self.duct_pa_per_flow2 * k.flow_m3ps * k.flow_m3ps)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(list: &[(f32, f32)]) -> Vec<CurvePoint, 20> {
        list.iter().map(|&(flow_m3ps, pressure_pa)| CurvePoint { flow_m3ps, pressure_pa }).collect()
    }

    fn curve() -> BlowerCurve {
        BlowerCurve::new(&points(&[(1.9, 0.0), (1.6, 700.0), (1.1, 1_400.0), (0.0, 2_000.0)])).unwrap()
    }

    #[test]
    fn the_curve_goes_through_its_points_and_falls() {
        let curve = curve();
        for (flow, pressure_pa) in [(1.9, 0.0), (1.6, 700.0), (1.1, 1_400.0), (0.0, 2_000.0), (0.0, 5_000.0)] {
            assert!((curve.flow_and_slope(pressure_pa).0 - flow).abs() < 1e-6);
        }
        let mut before = f32::INFINITY;
        for i in 0..200u8 {
            let flow = curve.flow_and_slope(f32::from(i) * 10.0).0;
            assert!(flow < before);
            before = flow;
        }
    }

    #[test]
    fn curves_that_do_not_fall_from_axis_to_axis_are_refused() {
        let bad: [&[(f32, f32)]; 7] = [
            &[],
            &[(1.0, 0.0), (0.0, 1_000.0)],
            &[(1.0, 10.0), (0.5, 500.0), (0.0, 1_000.0)],
            &[(1.0, 0.0), (0.5, 500.0), (0.1, 1_000.0)],
            &[(1.0, 0.0), (1.0, 500.0), (0.0, 1_000.0)],
            &[(1.0, 0.0), (0.5, 500.0), (0.2, 400.0), (0.0, 1_000.0)],
            &[(f32::NAN, 0.0), (0.5, 500.0), (0.0, 1_000.0)],
        ];
        for list in bad {
            assert!(BlowerCurve::new(&points(list)).is_err(), "{list:?}");
        }
        let many: [(f32, f32); 17] = core::array::from_fn(|i| (16.0 - i as f32, 10.0 * i as f32));
        assert!(matches!(BlowerCurve::new(&points(&many)), Err(InputError::Count { got: 17, .. })));
    }

    #[test]
    fn a_duct_takes_its_loss_from_the_pressure_in_the_bag() {
        let air = Air::new(0.0, 288.15, None).unwrap();
        let input = BlowersInput { count: 2, duct_loss: 1.5, duct_diameter_m: 0.35, ..BlowersInput::default() };
        let blowers = Blowers::new(&curve(), &input, &air).unwrap();
        let area_m2 = core::f32::consts::PI * 0.35 * 0.35 / 4.0;
        for bag_pa in [0.0f32, 300.0, 1_000.0, 1_900.0] {
            let one = blowers.flow_m3ps(bag_pa) / 2.0;
            let loss_pa = 1.5 * 0.5 * air.density_kgpm3 * (one / area_m2) * (one / area_m2);
            let scaled = curve().at_speed(1.0, air.density_kgpm3).unwrap();
            assert!((scaled.flow_and_slope(bag_pa + loss_pa).0 - one).abs() < 2e-6, "{bag_pa}");
        }
        assert_eq!(blowers.flow_m3ps(2_100.0), 0.0);
    }

    #[test]
    fn backflow_is_asked_for_where_there_is_no_flap() {
        let air = Air::new(0.0, 288.15, None).unwrap();
        let open = BlowersInput { closing_flap: false, ..BlowersInput::default() };
        assert!(Blowers::new(&curve(), &open, &air).is_err());
        let stated = BlowersInput { count: 3, backflow_area_m2: Some(0.02), ..open };
        assert!((Blowers::new(&curve(), &stated, &air).unwrap().backflow_area_m2() - 0.06).abs() < 1e-7);
        let flap = BlowersInput { closing_flap: true, ..stated };
        assert_eq!(Blowers::new(&curve(), &flap, &air).unwrap().backflow_area_m2(), 0.0);
    }
}
