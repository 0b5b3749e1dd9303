//! The surface of the ride down: a chain of straights and arcs that ends level at the take-off's foot.

use crate::error::{InputError, within};
use heapless::Vec;

/// Most sections that a roll-in may have.
pub const MAX_SECTIONS: usize = 16;
/// Most segments of a path: an arc that passes level is split there.
pub const MAX_SEGMENTS: usize = 2 * MAX_SECTIONS;
/// Steepest slope taken on the ride down: 80°.
pub const MAX_SLOPE_RAD: f32 = 1.396_263_4;
/// How far two sections may disagree in angle, and the end be out of level: 0.1°.
pub const KINK_RAD: f32 = 1.745_329_3e-3;
/// How far the drop that the sections make may lie from the stated start height.
pub const DROP_TOLERANCE_M: f32 = 0.01;

/// One section of a roll-in, as a builder states it, from the start towards the take-off.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Section {
    /// A straight; `slope_rad` is positive downwards, and the angle is kept where none is stated.
    Straight {
        /// Length along the surface.
        length_m: f32,
        /// Slope, positive downwards.
        slope_rad: Option<f32>,
    },
    /// A circular arc; a positive turn bends the path upwards (concave), a negative one downwards.
    Arc {
        /// Radius of the surface.
        radius_m: f32,
        /// Angle turned through.
        turn_rad: f32,
    },
}

/// The shape of one segment.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Shape {
    /// Straight: sine and cosine of the slope angle, up positive.
    Straight {
        /// Sine of the slope angle.
        sin_up: f32,
        /// Cosine of the slope angle.
        cos: f32,
    },
    /// Arc from a slope angle θ0 (up positive) turning by `turn_rad`.
    Arc {
        /// Radius of the surface.
        radius_m: f32,
        /// Sine of the slope angle at its start.
        sin0: f32,
        /// Cosine of the slope angle at its start.
        cos0: f32,
        /// Angle turned through, positive upwards.
        turn_rad: f32,
    },
}

/// One segment with its place on the path.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Segment {
    /// Straight or arc.
    pub shape: Shape,
    /// Length along the surface.
    pub length_m: f32,
    /// Arc length from its start to the take-off's foot.
    pub before_foot_m: f32,
    /// Height of the surface at its start above the take-off's foot.
    pub z_start_m: f32,
    /// Height of the surface at its end above the take-off's foot.
    pub z_end_m: f32,
    /// Whether a change of the start height lengthens or shortens this one.
    pub adjusts: bool,
}

/// The chain of segments from the start to the take-off's foot, which is z = 0.
#[derive(Clone, Debug, PartialEq)]
pub struct Path {
    segments: Vec<Segment, MAX_SEGMENTS>,
    start_height_m: f32,
    length_m: f32,
}

impl Path {
    /// The simple roll-in: a straight at `slope_rad` from `start_height_m`, an arc of
    /// `bottom_radius_m` to level, and a level straight of `flat_run_m` (may be 0).
    ///
    /// Drop of the straight: start_height − bottom_radius (1 − cos slope), which must be positive.
    ///
    /// # Errors
    /// [`InputError`] where a value is out of range, the arc is not larger than `mass_height_m`, or
    /// no drop is left for the straight.
    pub fn simple(
        start_height_m: f32,
        slope_rad: f32,
        bottom_radius_m: f32,
        flat_run_m: f32,
        mass_height_m: f32,
    ) -> Result<Self, InputError> {
        within("roll_in.start_height_m", start_height_m, 0.0, 100.0)?;
        within("roll_in.slope_rad", slope_rad, 0.01, MAX_SLOPE_RAD)?;
        within("roll_in.bottom_radius_m", bottom_radius_m, 0.0, 1000.0)?;
        within("roll_in.flat_run_m", flat_run_m, 0.0, 1000.0)?;
        let straight_drop_m = start_height_m - bottom_radius_m * (1.0 - libm::cosf(slope_rad));
        if !(straight_drop_m > 0.0) {
            return Err(InputError::Inconsistent {
                quantity: "roll_in.start_height_m",
                why: "the bottom arc alone makes this drop; no straight is left",
                off_by: -straight_drop_m,
            });
        }
        let mut sections: Vec<Section, 3> = Vec::new();
        let all = [
            Section::Straight { length_m: straight_drop_m / libm::sinf(slope_rad), slope_rad: Some(slope_rad) },
            Section::Arc { radius_m: bottom_radius_m, turn_rad: slope_rad },
            Section::Straight { length_m: flat_run_m, slope_rad: None },
        ];
        for section in all {
            if !matches!(section, Section::Straight { length_m, .. } if length_m == 0.0) {
                let _ = sections.push(section);
            }
        }
        Self::from_sections(&sections, start_height_m, mass_height_m)
    }

    /// A list of sections. It starts level if the first is an arc (or a straight without a slope),
    /// must meet without a kink and end level within [`KINK_RAD`], and must make `start_height_m`
    /// within [`DROP_TOLERANCE_M`].
    ///
    /// # Errors
    /// [`InputError`] naming the rule that is broken and by how much.
    pub fn from_sections(sections: &[Section], start_height_m: f32, mass_height_m: f32) -> Result<Self, InputError> {
        within("rider.mass_height_m", mass_height_m, 0.1, 3.0)?;
        within("roll_in.start_height_m", start_height_m, 0.0, 100.0)?;
        if sections.is_empty() || sections.len() > MAX_SECTIONS {
            return Err(InputError::Count {
                quantity: "roll_in.section",
                got: sections.len(),
                low: 1,
                high: MAX_SECTIONS,
            });
        }
        let mut segments: Vec<Segment, MAX_SEGMENTS> = Vec::new();
        let mut theta_rad = match sections.first() {
            Some(Section::Straight { slope_rad: Some(slope_rad), .. }) => -*slope_rad,
            _ => 0.0,
        };
        for section in sections {
            match *section {
                Section::Straight { length_m, slope_rad } => {
                    within("roll_in.section.straight_m", length_m, 0.01, 1000.0)?;
                    if let Some(slope_rad) = slope_rad {
                        within("roll_in.section.slope_rad", slope_rad, -MAX_SLOPE_RAD, MAX_SLOPE_RAD)?;
                        let kink_rad = libm::fabsf(theta_rad + slope_rad);
                        if !(kink_rad <= KINK_RAD) {
                            return Err(InputError::Inconsistent {
                                quantity: "roll_in.section.slope_rad",
                                why: "the sections meet with a kink",
                                off_by: kink_rad,
                            });
                        }
                    }
                    let shape = Shape::Straight { sin_up: libm::sinf(theta_rad), cos: libm::cosf(theta_rad) };
                    push(&mut segments, shape, length_m);
                }
                Section::Arc { radius_m, turn_rad } => {
                    within("roll_in.section.turn_rad", turn_rad, -3.0, 3.0)?;
                    let low_m = if turn_rad > 0.0 { mass_height_m } else { 0.0 };
                    within("roll_in.section.arc_m", radius_m, low_m, 1000.0)?;
                    if !(radius_m > low_m) {
                        return Err(InputError::Order {
                            smaller: "rider.mass_height_m",
                            smaller_got: mass_height_m,
                            larger: "roll_in.section.arc_m",
                            larger_got: radius_m,
                        });
                    }
                    let end_rad = theta_rad + turn_rad;
                    within("roll_in.section.slope_rad", end_rad, -MAX_SLOPE_RAD, MAX_SLOPE_RAD)?;
                    // Split where the arc passes level: the extremes of height, speed and load are there.
                    let passes_level = theta_rad * end_rad < 0.0 && libm::fabsf(end_rad) > KINK_RAD;
                    let first_rad = if passes_level { -theta_rad } else { turn_rad };
                    push(&mut segments, arc_from(theta_rad, radius_m, first_rad), radius_m * libm::fabsf(first_rad));
                    if passes_level {
                        push(&mut segments, arc_from(0.0, radius_m, end_rad), radius_m * libm::fabsf(end_rad));
                    }
                    theta_rad = end_rad;
                }
            }
        }
        if !(libm::fabsf(theta_rad) <= KINK_RAD) {
            return Err(InputError::Inconsistent {
                quantity: "roll_in.section",
                why: "the last section does not end level at the take-off's foot",
                off_by: libm::fabsf(theta_rad),
            });
        }
        if segments.is_empty() {
            return Err(InputError::Inconsistent {
                quantity: "roll_in.section",
                why: "no section has a length",
                off_by: 0.0,
            });
        }
        let mut before_foot_m = 0.0;
        let mut z_m = 0.0;
        for segment in segments.iter_mut().rev() {
            before_foot_m += segment.length_m;
            segment.before_foot_m = before_foot_m;
            segment.z_end_m = z_m;
            z_m -= rise_m(segment);
            segment.z_start_m = z_m;
        }
        if !(libm::fabsf(z_m - start_height_m) <= DROP_TOLERANCE_M) {
            return Err(InputError::Inconsistent {
                quantity: "roll_in.start_height_m",
                why: "the sections make another drop than the stated start height",
                off_by: z_m - start_height_m,
            });
        }
        let sloping = segments.iter_mut().find(|s| match s.shape {
            Shape::Straight { sin_up, .. } => libm::fabsf(sin_up) > 0.01,
            Shape::Arc { .. } => false,
        });
        if let Some(segment) = sloping {
            segment.adjusts = true;
        }
        Ok(Self { segments, start_height_m: z_m, length_m: before_foot_m })
    }

    /// The segments, from the start to the foot.
    #[must_use]
    pub fn segments(&self) -> &[Segment] {
        &self.segments
    }

    /// Height of the start above the take-off's foot, as the sections make it.
    #[must_use]
    pub fn start_height_m(&self) -> f32 {
        self.start_height_m
    }

    /// Arc length from the start to the foot.
    #[must_use]
    pub fn length_m(&self) -> f32 {
        self.length_m
    }

    /// The lowest start height that the adjusting straight can make (its length then is 0).
    /// Where no straight slopes, the start height cannot change and this is the start height itself.
    #[must_use]
    pub fn lowest_start_m(&self) -> f32 {
        self.segments
            .iter()
            .find(|s| s.adjusts)
            .map_or(self.start_height_m, |s| self.start_height_m - libm::fmaxf(-rise_m(s), 0.0))
    }
}

fn arc_from(theta0_rad: f32, radius_m: f32, turn_rad: f32) -> Shape {
    Shape::Arc { radius_m, sin0: libm::sinf(theta0_rad), cos0: libm::cosf(theta0_rad), turn_rad }
}

fn push(segments: &mut Vec<Segment, MAX_SEGMENTS>, shape: Shape, length_m: f32) {
    // An arc that does not turn is no segment: a place along it would be a share of nothing.
    if !(length_m > 0.0) {
        return;
    }
    let segment = Segment { shape, length_m, before_foot_m: 0.0, z_start_m: 0.0, z_end_m: 0.0, adjusts: false };
    // Cannot overflow: at most two segments for each of MAX_SECTIONS sections.
    let _ = segments.push(segment);
}

/// How far a segment climbs from its start to its end.
fn rise_m(segment: &Segment) -> f32 {
    match segment.shape {
        Shape::Straight { sin_up, .. } => segment.length_m * sin_up,
        Shape::Arc { radius_m, sin0, cos0, turn_rad } => {
            // Concave: R (cos θ0 − cos θ1); convex: R (cos θ1 − cos θ0).
            let change = cos0 * (1.0 - libm::cosf(turn_rad)) + sin0 * libm::sinf(turn_rad);
            if turn_rad > 0.0 { radius_m * change } else { -radius_m * change }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DEG: f32 = core::f32::consts::PI / 180.0;

    #[test]
    fn the_simple_form_is_three_sections_that_make_its_height() {
        let path = Path::simple(4.0, 30.0 * DEG, 5.0, 3.0, 1.0).unwrap();
        assert_eq!(path.segments().len(), 3);
        assert!((path.start_height_m() - 4.0).abs() < 1e-5);
        // Straight (4 − 5 (1 − cos 30°))/sin 30° = 6.660254, arc 5 · π/6 = 2.617994, flat 3.
        assert!((path.length_m() - 12.278_248).abs() < 1e-5, "{}", path.length_m());
        assert!((path.lowest_start_m() - 0.669_873).abs() < 1e-5);
    }

    #[test]
    fn an_arc_through_level_is_split_there() {
        let sections = [
            Section::Arc { radius_m: 4.0, turn_rad: -20.0 * DEG },
            Section::Arc { radius_m: 4.0, turn_rad: 35.0 * DEG },
            Section::Arc { radius_m: 4.0, turn_rad: -15.0 * DEG },
        ];
        // Drops 4 (1 − cos 20°) twice, climbs 4 (1 − cos 15°) twice.
        let drop_m = 8.0 * (1.0 - libm::cosf(20.0 * DEG)) - 8.0 * (1.0 - libm::cosf(15.0 * DEG));
        let path = Path::from_sections(&sections, drop_m, 1.0).unwrap();
        assert_eq!(path.segments().len(), 4);
        assert!((path.segments()[1].z_end_m - path.segments()[2].z_start_m).abs() < 1e-6);
        assert_eq!(path.lowest_start_m(), path.start_height_m());
    }

    #[test]
    fn faults_are_named() {
        let kink = [
            Section::Straight { length_m: 3.0, slope_rad: Some(0.3) },
            Section::Straight { length_m: 3.0, slope_rad: Some(0.2) },
        ];
        assert!(matches!(
            Path::from_sections(&kink, 1.0, 1.0),
            Err(InputError::Inconsistent { why: "the sections meet with a kink", .. })
        ));
        let tilted = [Section::Straight { length_m: 3.0, slope_rad: Some(0.3) }];
        assert!(matches!(Path::from_sections(&tilted, 0.886, 1.0), Err(InputError::Inconsistent { .. })));
        let tight =
            [Section::Straight { length_m: 3.0, slope_rad: Some(0.3) }, Section::Arc { radius_m: 1.0, turn_rad: 0.3 }];
        assert!(matches!(Path::from_sections(&tight, 1.0, 1.0), Err(InputError::Order { .. })));
        assert!(Path::simple(f32::NAN, 0.5, 5.0, 3.0, 1.0).is_err());
        let unbent = Section::Arc { radius_m: 5.0, turn_rad: 0.0 };
        assert!(matches!(Path::from_sections(&[unbent], 0.0, 1.0), Err(InputError::Inconsistent { .. })));
        let level = Section::Straight { length_m: 3.0, slope_rad: None };
        assert_eq!(Path::from_sections(&[unbent, level], 0.0, 1.0).unwrap().segments().len(), 1);
        assert!(Path::simple(0.5, 30.0 * DEG, 5.0, 3.0, 1.0).is_err());
        assert!(matches!(Path::from_sections(&[], 1.0, 1.0), Err(InputError::Count { .. })));
    }
}
