//! The ground along the line, as a tape and a level or a hose of water measure it.

use serde::Serialize;

/// Fewest points of a profile.
pub const FEWEST: usize = 2;
/// Most points of a profile.
pub const MOST: usize = 64;
/// Least between two points along the line: a step in the ground is two points this far apart.
pub const APART_M: f64 = 0.005;

/// Heights of the ground over the distance along the line, straight in between.
///
/// Distances count from the lip, forward positive; heights from the take-off's foot, up positive.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Profile {
    points: Vec<(f64, f64)>,
}

/// What is wrong with a list of points; `at` counts from 0.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum ProfileError {
    /// Fewer than [`FEWEST`] or more than [`MOST`].
    Count {
        /// How many there are.
        got: usize,
    },
    /// A number that is none.
    NotFinite {
        /// Which point.
        at: usize,
    },
    /// A point that does not lie ahead of the one before it: the profile folds back.
    FoldsBack {
        /// Which point.
        at: usize,
        /// Distance of the point before it.
        before_m: f64,
        /// Its own distance.
        got_m: f64,
    },
}

impl std::fmt::Display for ProfileError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Count { got } => write!(f, "{FEWEST} to {MOST} points are taken, not {got}"),
            Self::NotFinite { at } => write!(f, "point {} is no number", at + 1),
            Self::FoldsBack { at, before_m, got_m } => {
                write!(f, "the profile folds back at point {}: {got_m} m comes after {before_m} m", at + 1)
            }
        }
    }
}

impl std::error::Error for ProfileError {}

impl Profile {
    /// Takes points whose distances rise.
    ///
    /// # Errors
    /// [`ProfileError`], the first that is found.
    pub fn new(points: Vec<(f64, f64)>) -> Result<Self, ProfileError> {
        if !(FEWEST..=MOST).contains(&points.len()) {
            return Err(ProfileError::Count { got: points.len() });
        }
        let mut before_m = f64::NEG_INFINITY;
        for (at, &(x, z)) in points.iter().enumerate() {
            if !(x.is_finite() && z.is_finite()) {
                return Err(ProfileError::NotFinite { at });
            }
            if !(x >= before_m + APART_M) {
                return Err(ProfileError::FoldsBack { at, before_m, got_m: x });
            }
            before_m = x;
        }
        Ok(Self { points })
    }

    /// Level ground at a height, from one place to another.
    #[must_use]
    pub fn level(from_m: f64, to_m: f64, height_m: f64) -> Self {
        Self { points: vec![(from_m, height_m), (to_m.max(from_m + APART_M), height_m)] }
    }

    /// Its points.
    #[must_use]
    pub fn points(&self) -> &[(f64, f64)] {
        &self.points
    }

    /// Where it begins and ends.
    #[must_use]
    pub fn reach_m(&self) -> (f64, f64) {
        let at = |point: Option<&(f64, f64)>| point.map_or(0.0, |p| p.0);
        (at(self.points.first()), at(self.points.last()))
    }

    /// The ground's height; beyond both ends it is taken to go on level (*assumed*).
    #[must_use]
    pub fn height_m(&self, x_m: f64) -> f64 {
        height_on(&self.points, x_m)
    }

    /// Every place between two where the ground bends, with both ends.
    #[must_use]
    pub fn between(&self, from_m: f64, to_m: f64) -> Vec<(f64, f64)> {
        let inner = self.points.iter().copied().filter(|(x, _)| *x > from_m && *x < to_m);
        std::iter::once((from_m, self.height_m(from_m))).chain(inner).chain([(to_m, self.height_m(to_m))]).collect()
    }

    /// The parts of a stretch that were not measured.
    #[must_use]
    pub fn unmeasured(&self, from_m: f64, to_m: f64) -> Vec<(f64, f64)> {
        let (first, last) = self.reach_m();
        let mut parts = Vec::new();
        if from_m < first - APART_M {
            parts.push((from_m, first.min(to_m)));
        }
        if to_m > last + APART_M {
            parts.push((last.max(from_m), to_m));
        }
        parts
    }
}

/// Height on a line of points with rising x; level beyond its ends.
pub(crate) fn height_on(points: &[(f64, f64)], x_m: f64) -> f64 {
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return 0.0 };
    if x_m <= first.0 {
        return first.1;
    }
    if x_m >= last.0 {
        return last.1;
    }
    let next = points.partition_point(|(x, _)| *x < x_m).clamp(1, points.len() - 1);
    let (Some(a), Some(b)) = (points.get(next - 1), points.get(next)) else { return last.1 };
    let share = if b.0 > a.0 { (x_m - a.0) / (b.0 - a.0) } else { 1.0 };
    a.1 + share * (b.1 - a.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_height_lies_on_the_straight_between_its_neighbours() {
        let p = Profile::new(vec![(-10.0, 1.0), (0.0, 0.0), (4.0, -2.0)]).unwrap();
        assert_eq!((p.height_m(-5.0), p.height_m(1.0), p.height_m(-20.0), p.height_m(9.0)), (0.5, -0.5, 1.0, -2.0));
        assert_eq!(p.between(-5.0, 1.0), vec![(-5.0, 0.5), (0.0, 0.0), (1.0, -0.5)]);
        assert_eq!(p.unmeasured(-12.0, 6.0), vec![(-12.0, -10.0), (4.0, 6.0)]);
        assert!(p.unmeasured(-10.0, 4.0).is_empty());
    }

    #[test]
    fn a_profile_that_folds_back_is_refused_where_it_does() {
        let folded = Profile::new(vec![(0.0, 0.0), (5.0, 0.0), (3.0, 1.0)]).unwrap_err();
        assert_eq!(folded, ProfileError::FoldsBack { at: 2, before_m: 5.0, got_m: 3.0 });
        assert!(folded.to_string().contains("folds back at point 3"));
        assert_eq!(Profile::new(vec![(0.0, 0.0)]).unwrap_err(), ProfileError::Count { got: 1 });
        let twice = Profile::new(vec![(0.0, 0.0), (0.0, 1.0)]).unwrap_err();
        assert!(matches!(twice, ProfileError::FoldsBack { at: 1, .. }));
        assert_eq!(Profile::new(vec![(0.0, f64::NAN), (1.0, 0.0)]).unwrap_err(), ProfileError::NotFinite { at: 0 });
    }
}
