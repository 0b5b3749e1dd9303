//! What enters and leaves a bag, with its blowers running, one of them lost, or all.

use crate::blower::Blowers;
use crate::openings::Openings;

/// Whether the blowers run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Feed {
    /// They run.
    Running,
    /// One of them stands still, the others run: gas flows back through it where it has no closing flap.
    OneLost,
    /// They stand still: nothing enters, and gas flows back through those without a closing flap.
    Lost,
}

/// Everything that enters and leaves a bag.
#[derive(Clone, Copy, Debug)]
pub struct Flows<'a> {
    /// Vents, flaps and leak.
    pub openings: &'a Openings,
    /// The blowers; none for a closed bag.
    pub blowers: Option<&'a Blowers>,
    /// Whether they run.
    pub feed: Feed,
}

impl<'a> Flows<'a> {
    /// The same bag with its blowers running or not.
    #[must_use]
    pub const fn with(self, feed: Feed) -> Flows<'a> {
        Flows { feed, ..self }
    }

    /// Area that blowers at a stop leave open, m².
    #[must_use]
    pub fn backflow_area_m2(&self) -> f32 {
        match (self.feed, self.blowers) {
            (Feed::Lost, Some(blowers)) => blowers.backflow_area_m2(),
            (Feed::OneLost, Some(blowers)) => blowers.backflow_area_m2() / blowers.count(),
            _ => 0.0,
        }
    }

    /// Gauge pressures at which the flow has a corner: where the flaps begin and end to open, and the blowers' shut-off.
    #[must_use]
    pub fn corners_pa(&self) -> [Option<f32>; 3] {
        let openings = self.openings.input();
        let relief = |gauge_pa| if openings.relief_area_m2 > 0.0 { Some(gauge_pa) } else { None };
        let shut_off = match (self.feed, self.blowers) {
            (Feed::Running | Feed::OneLost, Some(blowers)) => Some(blowers.shut_off_pa()),
            _ => None,
        };
        [relief(openings.relief_opens_pa), relief(openings.relief_full_pa), shut_off]
    }

    /// What the blowers that run deliver at a gauge pressure, m³/s.
    #[must_use]
    pub fn inflow_m3ps(&self, gauge_pa: f32) -> f32 {
        match (self.feed, self.blowers) {
            (Feed::Running, Some(blowers)) => blowers.flow_m3ps(gauge_pa),
            (Feed::OneLost, Some(blowers)) => blowers.flow_m3ps(gauge_pa) * ((blowers.count() - 1.0) / blowers.count()),
            _ => 0.0,
        }
    }

    /// What leaves less what enters at a gauge pressure, m³/s of outside air.
    #[must_use]
    pub fn net_outflow_m3ps(&self, gauge_pa: f32) -> f32 {
        self.openings.outflow_m3ps(gauge_pa, self.backflow_area_m2()) - self.inflow_m3ps(gauge_pa)
    }
}
