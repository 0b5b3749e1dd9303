//! Why there is no plan.

use landfall_core::InputError;

/// Why there is no plan.
#[derive(Debug)]
#[non_exhaustive]
pub enum PlanError {
    /// A value that the models refuse although the site file's reader took it.
    Input(InputError),
    /// `bag.gap` is not stated.
    NoGap,
    /// A group of riders whose values make no site.
    Group(String),
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
            Self::Group(name) => write!(f, "group {name:?}: with its values the site makes no sense"),
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
