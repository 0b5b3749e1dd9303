//! Air supply: what enters and leaves the bag, and the pressure at which the two balance.

use crate::air::Air;
use crate::bag_gas::Chamber;
use crate::blower::Blowers;
use crate::bracket::close_in;
use crate::error::{InputError, Status, within};
pub use crate::flows::{Feed, Flows};
use crate::openings::{Openings, OpeningsInput};
use crate::slow_gas::SlowGas;

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

/// How far over the pressure that no leak would give a settled pressure may be read, share of it.
pub const SETTLED_OVER: f32 = 0.05;

/// What a settled pressure says about the leak.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Settled {
    /// The leak that makes the blowers settle there, m³/s at 1 Pa to the power of the exponent.
    pub leak_coefficient: f32,
    /// Operating pressure, Pa: what was read, or what no leak gives where more was read.
    pub operating_pa: f32,
    /// By how much more was read than no leak gives, share of it; 0 where a leak explains the reading.
    pub read_over: f32,
}

/// The leak from a pressure read with the blowers on and nobody on the bag.
///
/// C_l = (Q_in(p) − Q_vents(p)) / p^e. `openings` are those without the leak, with its exponent. Up to 5 % more than no
/// leak would give is taken as no leak.
///
/// Valid: 1 Pa to 20 kPa.
///
/// # Errors
/// [`InputError::OutOfRange`]; [`InputError::Order`] where more was read than the blowers can hold even without a leak.
pub fn settled(blowers: &Blowers, openings: &OpeningsInput, air: &Air, settled_pa: f32) -> Result<Settled, InputError> {
    let settled_pa = within("bag.settled_pressure_pa", settled_pa, 1.0, 20_000.0)?;
    let tight = Openings::new(OpeningsInput { leak_coefficient: 0.0, ..*openings }, air)?;
    let leak_m3ps = blowers.flow_m3ps(settled_pa) - tight.outflow_m3ps(settled_pa, 0.0);
    if leak_m3ps > 0.0 {
        let leak_coefficient = leak_m3ps * libm::expf(-openings.leak_exponent * libm::logf(settled_pa));
        Openings::new(OpeningsInput { leak_coefficient, ..*openings }, air)?;
        return Ok(Settled { leak_coefficient, operating_pa: settled_pa, read_over: 0.0 });
    }
    let most_pa = operating_point(blowers, &tight).pressure_pa;
    let read_over = settled_pa / most_pa - 1.0;
    if read_over <= SETTLED_OVER {
        return Ok(Settled { leak_coefficient: 0.0, operating_pa: most_pa, read_over: read_over.max(0.0) });
    }
    Err(InputError::Order {
        smaller: "bag.settled_pressure_pa",
        smaller_got: settled_pa,
        larger: "what the blowers hold without any leak, and 5 % more",
        larger_got: (1.0 + SETTLED_OVER) * most_pa,
    })
}

/// What one of several blowers failing comes to.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct OneBlowerLost {
    /// Where the bag settles, Pa; the skin's own pressure where it empties.
    pub settles_pa: f32,
    /// From the failure to the stop pressure, s; 0 if already below, none if it never comes to it.
    pub to_stop_s: Option<f32>,
}

/// Most pieces of the fall to where the others hold the bag: to a part in 10⁶ of the way.
const HALVINGS: u8 = 20;

/// What happens when one of several blowers stands still: the others go on, and gas flows back through it where it has
/// no closing flap. None where there is only one.
///
/// `chamber` is the stated bag's: volume and operating pressure stay those of all blowers.
#[must_use]
pub fn one_blower_lost(
    chamber: &Chamber,
    blowers: &Blowers,
    openings: &Openings,
    stop_pa: f32,
) -> Option<OneBlowerLost> {
    if blowers.count() < 2.0 {
        return None;
    }
    let flows = Flows { openings, blowers: Some(blowers), feed: Feed::OneLost };
    let point = balance(
        |gauge_pa| flows.inflow_m3ps(gauge_pa),
        |gauge_pa| openings.outflow_m3ps(gauge_pa, flows.backflow_area_m2()),
        blowers.shut_off_pa(),
    );
    let settles_pa = point.pressure_pa.max(chamber.skin_pa());
    let to_stop_s = if stop_pa >= chamber.operating_pa() {
        Some(0.0)
    } else if stop_pa <= settles_pa {
        None
    } else {
        // The time grows without bound towards where it settles: piece by piece, half of the way that is left each.
        let slow = SlowGas { chamber, flows };
        let (mut at_pa, mut seconds) = (chamber.operating_pa(), Some(0.0));
        for _ in 0..HALVINGS {
            let next_pa = stop_pa.max(0.5 * (at_pa + settles_pa));
            seconds = seconds.and_then(|so_far| Some(so_far + slow.taut_time_s(at_pa, next_pa)?));
            at_pa = next_pa;
        }
        seconds.filter(|_| at_pa <= stop_pa)
    };
    Some(OneBlowerLost { settles_pa, to_stop_s })
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
    use crate::blower::{BlowerCurve, BlowersInput, CurvePoint};

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

    #[test]
    fn the_leak_of_a_settled_pressure_settles_there() {
        let air = Air::new(300.0, 288.15, None).unwrap();
        let blowers = blowers(&air, &BlowersInput { count: 2, ..BlowersInput::default() });
        let tight = OpeningsInput { vent_area_m2: 0.05, leak_exponent: 0.65, ..OpeningsInput::default() };
        let most_pa = operating_point(&blowers, &Openings::new(tight, &air).unwrap()).pressure_pa;
        for share in [0.3f32, 0.7, 0.99] {
            let found = settled(&blowers, &tight, &air, share * most_pa).unwrap();
            let leaky = OpeningsInput { leak_coefficient: found.leak_coefficient, ..tight };
            let point = operating_point(&blowers, &Openings::new(leaky, &air).unwrap());
            assert!((point.pressure_pa - share * most_pa).abs() < 0.02, "{share} {found:?} {point:?}");
        }
        // A gauge may read up to 5 % too much.
        let over = settled(&blowers, &tight, &air, 1.04 * most_pa).unwrap();
        assert_eq!((over.leak_coefficient, over.operating_pa), (0.0, most_pa));
        assert!((over.read_over - 0.04).abs() < 1e-5);
        assert!(matches!(settled(&blowers, &tight, &air, 1.06 * most_pa), Err(InputError::Order { .. })));
        assert!(settled(&blowers, &tight, &air, f32::NAN).is_err());
    }

    #[test]
    fn one_blower_of_two_settles_where_the_other_holds_it() {
        let air = Air::new(0.0, 288.15, None).unwrap();
        let input = OpeningsInput { vent_area_m2: 0.06, leak_coefficient: 0.004, ..OpeningsInput::default() };
        let openings = Openings::new(input, &air).unwrap();
        let with = |input: BlowersInput| {
            let both = blowers(&air, &input);
            let operating_pa = operating_point(&both, &openings).pressure_pa;
            let chamber = Chamber::new(&air, 150.0, operating_pa, 3e-5, 0.65).unwrap();
            let alone = blowers(&air, &BlowersInput { count: 1, ..input });
            (both, alone, chamber)
        };
        let (both, alone, chamber) = with(BlowersInput { count: 2, ..BlowersInput::default() });
        // With a flap the other blower alone holds what it would hold alone.
        let alone_pa = operating_point(&alone, &openings).pressure_pa;
        let found = one_blower_lost(&chamber, &both, &openings, 0.9 * chamber.operating_pa()).unwrap();
        assert!((found.settles_pa - alone_pa).abs() < 0.01, "{found:?} {alone_pa}");
        assert!(one_blower_lost(&chamber, &alone, &openings, 500.0).is_none());
        assert_eq!(one_blower_lost(&chamber, &both, &openings, alone_pa - 1.0).unwrap().to_stop_s, None);
        assert_eq!(one_blower_lost(&chamber, &both, &openings, 1e4).unwrap().to_stop_s, Some(0.0));
        // Explicit steps of the balance of flows, 1 ms.
        let seconds = found.to_stop_s.unwrap();
        let mut pressure_pa = f64::from(chamber.operating_pa());
        let mut time_s = 0.0;
        while pressure_pa > 0.9 * f64::from(chamber.operating_pa()) {
            let gauge_pa = pressure_pa as f32;
            let out = f64::from(openings.outflow_m3ps(gauge_pa, 0.0) - alone.flow_m3ps(gauge_pa));
            pressure_pa -= 1e-3 * out / f64::from(chamber.content_per_pa_m3(gauge_pa));
            time_s += 1e-3;
        }
        assert!((f64::from(seconds) - time_s).abs() < 3e-3, "{seconds} {time_s}");
        let near = |pa: f32| one_blower_lost(&chamber, &both, &openings, alone_pa + pa).unwrap().to_stop_s.unwrap();
        // Close to where it settles the fall is exponential: each halving of the way left takes as long.
        let (a, b, c) = (near(4.0), near(2.0), near(1.0));
        assert!(((c - b) / (b - a) - 1.0).abs() < 0.02, "{a} {b} {c}");
        // Without flaps the failed one lets gas back; with nothing delivered the bag empties to its skin's weight.
        let open =
            BlowersInput { count: 2, closing_flap: false, backflow_area_m2: Some(0.1), ..BlowersInput::default() };
        let (both, _, chamber) = with(open);
        let lower = one_blower_lost(&chamber, &both, &openings, 10.0).unwrap();
        assert!(lower.settles_pa < alone_pa - 10.0, "{lower:?}");
    }
}
