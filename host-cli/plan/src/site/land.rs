//! The ground as it is: the land, and what stands and hangs on it.

use serde::Serialize;

/// The ground as it is; what the file leaves out is not known.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Ground {
    /// Distance along the line from the lip, forward positive, and height over the take-off's foot; empty where nobody
    /// measured it.
    pub profile: Vec<(f64, f64)>,
    /// Across.
    pub width_m: Option<f64>,
    /// Of the land's middle from the take-off's centre line, left positive.
    pub middle_m: Option<f64>,
    /// Where the land ends ahead, from the lip.
    pub edge_m: Option<f64>,
    /// Where the land ends behind the start, from the lip: negative.
    pub edge_behind_m: Option<f64>,
    /// What is in the way.
    pub obstacles: Vec<Obstacle>,
    /// Kept free round the bag.
    pub fall_zone_m: Option<f64>,
    /// Length of the platform behind the start.
    pub platform_m: Option<f64>,
    /// Wanted to everything that stands.
    pub clearance_m: Option<f64>,
    /// Wanted to everything that hangs.
    pub wire_clearance_m: Option<f64>,
}

/// Something that is in the way.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Obstacle {
    /// What it is called.
    pub name: String,
    /// Distance along the line from the lip.
    pub along_m: f64,
    /// From the take-off's centre line, left positive.
    pub across_m: f64,
    /// Where a fence or a wire ends, as along and across.
    pub to_m: Option<(f64, f64)>,
    /// How far it reaches to every side.
    pub radius_m: f64,
    /// Its top over the ground there; of what hangs, how high it hangs at its lowest.
    pub height_m: f64,
    /// It hangs, and is free below.
    pub hangs: bool,
}

impl From<&Obstacle> for landfall_ground::Obstacle {
    fn from(o: &Obstacle) -> Self {
        Self {
            name: o.name.clone(),
            from_m: (o.along_m, o.across_m),
            to_m: o.to_m,
            radius_m: o.radius_m,
            height_m: o.height_m,
            hangs: o.hangs,
        }
    }
}

impl Ground {
    /// Whether anything of it is known.
    #[must_use]
    pub fn is_stated(&self) -> bool {
        *self != Self::default()
    }
}
