//! What decides, as enums: results carry the states of core and print their names.

use std::fmt;

use landfall_core::supply::RangeStatus;
use schemars::JsonSchema;
use serde::{Serialize, Serializer};

/// One of the three riders that a plan is computed for, in the order of [`super::super::model::Model::setups`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Who {
    /// The site's mean rider.
    Mean,
    /// The lightest who rides.
    Lightest,
    /// The heaviest who rides.
    Heaviest,
}

impl Who {
    /// All three.
    pub const ALL: [Self; 3] = [Self::Mean, Self::Lightest, Self::Heaviest];

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Mean => "mean",
            Self::Lightest => "lightest",
            Self::Heaviest => "heaviest",
        }
    }
}

impl fmt::Display for Who {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// Where a pressure lies in the maker's range, in the words that results print.
pub(super) fn range<S: Serializer>(status: &RangeStatus, out: S) -> Result<S::Ok, S::Error> {
    out.serialize_str(match status {
        RangeStatus::Low => "low",
        RangeStatus::InRange => "in range",
        RangeStatus::High => "high",
    })
}
