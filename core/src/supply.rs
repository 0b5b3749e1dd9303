//! Air supply: what enters and leaves the bag, and the pressure at which the two balance.

use crate::blower::Blowers;
use crate::bracket::close_in;
use crate::error::{InputError, Status, within};
use crate::openings::Openings;

/// Whether the blowers run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Feed {
    /// They run.
    Running,
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
            _ => 0.0,
        }
    }

    /// Gauge pressures at which the flow has a corner: where the flaps begin and end to open, and the blowers' shut-off.
    #[must_use]
    pub fn corners_pa(&self) -> [Option<f32>; 3] {
        let openings = self.openings.input();
        let relief = |gauge_pa| if openings.relief_area_m2 > 0.0 { Some(gauge_pa) } else { None };
        let shut_off = match (self.feed, self.blowers) {
            (Feed::Running, Some(blowers)) => Some(blowers.shut_off_pa()),
            _ => None,
        };
        [relief(openings.relief_opens_pa), relief(openings.relief_full_pa), shut_off]
    }

    /// What leaves less what enters at a gauge pressure, m³/s of outside air.
    #[must_use]
    pub fn net_outflow_m3ps(&self, gauge_pa: f32) -> f32 {
        let inflow_m3ps = match (self.feed, self.blowers) {
            (Feed::Running, Some(blowers)) => blowers.flow_m3ps(gauge_pa),
            _ => 0.0,
        };
        self.openings.outflow_m3ps(gauge_pa, self.backflow_area_m2()) - inflow_m3ps
    }
}

/// Where the blowers' flow equals what leaves.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct OperatingPoint {
    /// Gauge pressure p_op in the bag, Pa.
    pub pressure_pa: f32,
    /// Flow of all blowers, m³/s.
    pub flow_m3ps: f32,
    /// Nothing is open, so the pressure is the blowers' shut-off pressure.
    pub at_shut_off: bool,
    /// How the search ended.
    pub status: Status,
}

/// The pressure between 0 and shut-off at which a falling `inflow_m3ps` equals a rising `outflow_m3ps`.
///
/// Units: Pa, m³/s. Both are taken at the gauge pressure in the bag. The root is bracketed from the start and closed
/// in on to 2e-7 of the shut-off pressure. Where nothing leaves even at shut-off, that pressure is the answer.
pub fn balance(
    inflow_m3ps: impl Fn(f32) -> f32,
    outflow_m3ps: impl Fn(f32) -> f32,
    shut_off_pa: f32,
) -> OperatingPoint {
    let leaving_m3ps = outflow_m3ps(shut_off_pa);
    if leaving_m3ps <= 0.0 {
        return OperatingPoint {
            pressure_pa: shut_off_pa,
            flow_m3ps: 0.0,
            at_shut_off: true,
            status: Status::Converged,
        };
    }
    let excess = |gauge_pa: f32| outflow_m3ps(gauge_pa) - inflow_m3ps(gauge_pa);
    let low = (0.0, -inflow_m3ps(0.0));
    let high = (shut_off_pa, leaving_m3ps - inflow_m3ps(shut_off_pa));
    let found = close_in(excess, low, high, 2e-7 * shut_off_pa);
    // The flow that leaves is the better-conditioned of the two near shut-off, where the fan's curve is steep.
    let flow_m3ps = outflow_m3ps(found.below);
    OperatingPoint { pressure_pa: found.below, flow_m3ps, at_shut_off: false, status: found.status }
}

/// The operating point of blowers on a bag.
#[must_use]
pub fn operating_point(blowers: &Blowers, openings: &Openings) -> OperatingPoint {
    balance(
        |gauge_pa| blowers.flow_m3ps(gauge_pa),
        |gauge_pa| openings.outflow_m3ps(gauge_pa, 0.0),
        blowers.shut_off_pa(),
    )
}

/// Where the operating pressure lies in the maker's range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum RangeStatus {
    /// Below it.
    Low,
    /// Inside, its ends included.
    InRange,
    /// Above it.
    High,
}

/// The operating point against the bag maker's range.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SupplyCheck {
    /// Where it lies.
    pub status: RangeStatus,
    /// Operating pressure less the lower limit, Pa (below 0: too low).
    pub above_min_pa: f32,
    /// Upper limit less operating pressure, Pa (below 0: too high).
    pub below_max_pa: f32,
    /// Middle of the range, Pa: the pressure in the bag to aim at.
    pub needed_pressure_pa: f32,
    /// Flow that all blowers together must deliver into the bag to sit there, m³/s.
    pub needed_flow_m3ps: f32,
}

/// Compares an operating point with the range `pressure_min_pa..pressure_max_pa` of the bag's maker.
///
/// Valid: 1 Pa to 20 kPa.
///
/// # Errors
/// [`InputError::OutOfRange`], or [`InputError::Order`] where the limits are not in order.
pub fn check_supply(
    point: &OperatingPoint,
    openings: &Openings,
    pressure_min_pa: f32,
    pressure_max_pa: f32,
) -> Result<SupplyCheck, InputError> {
    let low_pa = within("bag.pressure_min_pa", pressure_min_pa, 1.0, 20_000.0)?;
    let high_pa = within("bag.pressure_max_pa", pressure_max_pa, 1.0, 20_000.0)?;
    if low_pa >= high_pa {
        return Err(InputError::Order {
            smaller: "bag.pressure_min_pa",
            smaller_got: low_pa,
            larger: "bag.pressure_max_pa",
            larger_got: high_pa,
        });
    }
    let needed_pressure_pa = 0.5 * (low_pa + high_pa);
    Ok(SupplyCheck {
        status: if point.pressure_pa < low_pa {
            RangeStatus::Low
        } else if point.pressure_pa > high_pa {
            RangeStatus::High
        } else {
            RangeStatus::InRange
        },
        above_min_pa: point.pressure_pa - low_pa,
        below_max_pa: high_pa - point.pressure_pa,
        needed_pressure_pa,
        needed_flow_m3ps: openings.outflow_m3ps(needed_pressure_pa, 0.0),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::air::Air;
    use crate::blower::{BlowerCurve, BlowersInput, CurvePoint};
    use crate::openings::OpeningsInput;

    fn blowers(air: &Air, input: &BlowersInput) -> Blowers {
        let points = [(1.9, 0.0), (1.6, 700.0), (1.1, 1_400.0), (0.0, 2_000.0)]
            .map(|(flow_m3ps, pressure_pa)| CurvePoint { flow_m3ps, pressure_pa });
        Blowers::new(&BlowerCurve::new(&points).unwrap(), input, air).unwrap()
    }

    #[test]
    fn flows_balance_at_the_operating_point() {
        let air = Air::new(0.0, 288.15, None).unwrap();
        let blowers = blowers(&air, &BlowersInput { count: 2, ..BlowersInput::default() });
        let input = OpeningsInput { vent_area_m2: 0.05, leak_coefficient: 0.004, ..OpeningsInput::default() };
        let openings = Openings::new(input, &air).unwrap();
        let point = operating_point(&blowers, &openings);
        assert_eq!((point.status, point.at_shut_off), (Status::Converged, false));
        assert!((blowers.flow_m3ps(point.pressure_pa) - point.flow_m3ps).abs() < 1e-5, "{point:?}");
        let check = check_supply(&point, &openings, 400.0, 900.0).unwrap();
        assert_eq!(check.status, RangeStatus::High);
        assert_eq!(check.needed_pressure_pa, 650.0);
        assert!((check.needed_flow_m3ps - openings.outflow_m3ps(650.0, 0.0)).abs() < 1e-9);
        assert!(check_supply(&point, &openings, 900.0, 900.0).is_err());
    }

    #[test]
    fn a_bag_without_openings_sits_at_shut_off_and_says_so() {
        let air = Air::new(0.0, 288.15, None).unwrap();
        let blowers = blowers(&air, &BlowersInput::default());
        let openings = Openings::new(OpeningsInput::default(), &air).unwrap();
        let point = operating_point(&blowers, &openings);
        assert!(point.at_shut_off);
        assert_eq!((point.pressure_pa, point.flow_m3ps), (blowers.shut_off_pa(), 0.0));
    }

    #[test]
    fn only_blowers_at_a_stop_without_flaps_let_gas_back() {
        let air = Air::new(0.0, 288.15, None).unwrap();
        let open = BlowersInput { closing_flap: false, backflow_area_m2: Some(0.03), ..BlowersInput::default() };
        let blowers = blowers(&air, &open);
        let openings = Openings::new(OpeningsInput::default(), &air).unwrap();
        let flows = Flows { openings: &openings, blowers: Some(&blowers), feed: Feed::Running };
        assert!(flows.net_outflow_m3ps(1_000.0) < 0.0);
        let lost = flows.with(Feed::Lost).net_outflow_m3ps(1_000.0);
        assert!((lost - 0.03 * openings.flow_per_area_mps(1_000.0)).abs() < 1e-6);
    }
}
