//! What can be wrong with an input, and how a solver ended.

/// A value that was refused at construction.
///
/// Values are in the unit that the quantity's name ends in; the site file reader turns them back
/// into the words of the file.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum InputError {
    /// The value is outside `low..=high`, or is not a number.
    OutOfRange {
        /// Name of the quantity, ending in its unit, such as `bag.front_height_m`.
        quantity: &'static str,
        /// The value that came.
        got: f32,
        /// Lowest value taken.
        low: f32,
        /// Highest value taken.
        high: f32,
    },
    /// Two values that must stand in order do not.
    Order {
        /// Name of the one that must be smaller.
        smaller: &'static str,
        /// Its value.
        smaller_got: f32,
        /// Name of the one that must be larger.
        larger: &'static str,
        /// Its value.
        larger_got: f32,
    },
    /// A list has too few or too many entries.
    Count {
        /// Name of the list.
        quantity: &'static str,
        /// How many came.
        got: usize,
        /// Fewest taken.
        low: usize,
        /// Most taken.
        high: usize,
    },
    /// Values that are each in range do not fit together; the text says how.
    Inconsistent {
        /// Name of the quantity.
        quantity: &'static str,
        /// What does not fit, in a few words.
        why: &'static str,
        /// By how much, in the quantity's unit.
        off_by: f32,
    },
}

impl core::fmt::Display for InputError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::OutOfRange { quantity, got, low, high } => {
                write!(f, "{quantity} is {got}; it must lie in {low} to {high}")
            }
            Self::Order { smaller, smaller_got, larger, larger_got } => {
                write!(f, "{smaller} ({smaller_got}) must be less than {larger} ({larger_got})")
            }
            Self::Count { quantity, got, low, high } => {
                write!(f, "{quantity} has {got} entries; it takes {low} to {high}")
            }
            Self::Inconsistent { quantity, why, off_by } => write!(f, "{quantity}: {why} (off by {off_by})"),
        }
    }
}

impl core::error::Error for InputError {}

/// Takes `value` if it lies in `low..=high`; NaN and infinities fall out because the good range is tested.
///
/// # Errors
/// [`InputError::OutOfRange`] with the value and the bounds.
pub fn within(quantity: &'static str, value: f32, low: f32, high: f32) -> Result<f32, InputError> {
    if value >= low && value <= high {
        Ok(value)
    } else {
        Err(InputError::OutOfRange { quantity, got: value, low, high })
    }
}

/// How an iterative solver ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Status {
    /// Within its tolerance.
    Converged,
    /// Stopped at its bound of steps; the value is the best so far.
    OutOfSteps,
    /// There is no answer in the range searched.
    NoAnswer,
}
