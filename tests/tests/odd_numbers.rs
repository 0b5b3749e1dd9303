//! Odd numbers of every kind through curves, landings and levels: no panic, and no answer that is no number.

use landfall_core::Status;
use landfall_core::air::Air;
use landfall_core::bag_gas::{Adiabat, Chamber, QUICK_EXPONENT};
use landfall_core::blower::{BlowerCurve, Blowers, BlowersInput, CurvePoint};
use landfall_core::force_area::ForceArea;
use landfall_core::landing_limits::Limit;
use landfall_core::levels::{
    LevelsBag, LevelsInput, LevelsRiders, MeanLanding, Sensing, SensorError, ThreeBags, levels,
};
use landfall_core::openings::{Openings, OpeningsInput};
use landfall_core::possible_bags::{BagFactors, StatedArea};
use landfall_core::ride_limits::holds_for_s;
use landfall_core::slow_gas::SlowGas;
use landfall_core::supply::{Feed, Flows, operating_point};
use landfall_core::touchdown::{Landing, LandingInput, Options, touch_down};
use proptest::prelude::*;

fn sea_level() -> Air {
    Air::new(0.0, 288.15, None).unwrap()
}

/// Any number at all, odd ones included.
fn any_number() -> impl Strategy<Value = f32> {
    prop_oneof![
        4 => 0.0f32..1.0,
        4 => 0.0f32..2_000.0,
        1 => -10.0f32..0.0,
        1 => proptest::num::f32::ANY,
    ]
}

/// Mostly a number in range, now and then anything.
fn odd_or(range: std::ops::Range<f32>) -> impl Strategy<Value = f32> {
    prop_oneof![40 => range.clone(), 1 => Just(range.start), 1 => Just(range.end), 1 => proptest::num::f32::ANY]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_curve_of_any_numbers_panics_or_gives_no_number(
        list in prop::collection::vec((any_number(), any_number()), 0..20),
        sorted in any::<bool>(),
        at in any_number(),
        count in any::<u8>(),
        speed in any_number(),
        duct_loss in any_number(),
        duct_diameter_m in any_number(),
        backflow in prop::option::of(any_number()),
    ) {
        let mut points: Vec<CurvePoint> =
            list.into_iter().map(|(flow_m3ps, pressure_pa)| CurvePoint { flow_m3ps, pressure_pa }).collect();
        if sorted && points.len() > 2 {
            // A likely curve, so that what follows is reached.
            let mut flows: Vec<f32> = points.iter().map(|p| p.flow_m3ps.abs().min(99.0)).collect();
            let mut pressures: Vec<f32> = points.iter().map(|p| p.pressure_pa.abs().min(19e3)).collect();
            flows.sort_by(|a, b| b.total_cmp(a));
            pressures.sort_by(f32::total_cmp);
            *flows.last_mut().unwrap() = 0.0;
            pressures[0] = 0.0;
            points = flows
                .into_iter()
                .zip(pressures)
                .map(|(flow_m3ps, pressure_pa)| CurvePoint { flow_m3ps, pressure_pa })
                .collect();
        }
        let Ok(curve) = BlowerCurve::new(&points) else { return Ok(()) };
        let at = if at.is_nan() { 0.0 } else { at };
        let (flow, slope) = curve.flow_and_slope(at);
        prop_assert!(flow.is_finite() && flow >= -1e-4 && slope.is_finite());
        let input = BlowersInput { count, speed, duct_loss, duct_diameter_m, closing_flap: backflow.is_none(), backflow_area_m2: backflow };
        if let Ok(blowers) = Blowers::new(&curve, &input, &sea_level()) {
            prop_assert!(blowers.flow_m3ps(at).is_finite());
        }
    }

    #[test]
    fn no_landing_of_any_numbers_panics_or_gives_no_number(
        volume in prop_oneof![odd_or(0.01..2.0), odd_or(2.0..1e3), odd_or(1e3..1e5)],
        operating in odd_or(0.0..20e3),
        stretch in odd_or(0.0..1e-4),
        skin in odd_or(0.0..2.0),
        vent in prop_oneof![Just(0.0), odd_or(0.0..50.0), odd_or(0.0..0.5)],
        leak in odd_or(0.0..0.2),
        exponent in odd_or(0.5..1.0),
        content_share in 0.0f32..2.0,
        mass in odd_or(1.0..300.0),
        speed in odd_or(0.0..60.0),
        slope in odd_or(-1.4..1.4),
        loss in odd_or(0.0..1.0),
        area in (odd_or(0.05..2.0), odd_or(0.5..20.0), odd_or(0.1..12.0)),
        thickness in prop::option::of(odd_or(0.05..30.0)),
    ) {
        let air = sea_level();
        let Ok(chamber) = Chamber::new(&air, volume, operating, stretch, skin) else { return Ok(()) };
        let input = OpeningsInput {
            vent_area_m2: vent, leak_coefficient: leak, leak_exponent: exponent, ..OpeningsInput::default()
        };
        let Ok(openings) = Openings::new(input, &air) else { return Ok(()) };
        let Ok(area) = ForceArea::assumed(area.0, area.1, area.2) else { return Ok(()) };
        let landing = Landing::new(LandingInput {
            mass_kg: mass, normal_speed_mps: speed, slope_rad: slope, skin_loss: loss, area, thickness_m: thickness,
        });
        let Ok(landing) = landing else { return Ok(()) };
        let start = chamber.at_content(content_share * chamber.operating_content_m3());
        let Ok(gas) = Adiabat::new(&chamber, start, QUICK_EXPONENT) else { return Ok(()) };
        let flows = Flows { openings: &openings, blowers: None, feed: Feed::Lost };
        let done = touch_down(&gas, &flows, &landing, &Options::default(), |_| {});
        for value in [
            done.depth_m, done.felt_load_g, done.peak_pressure_pa, done.time_to_deepest_s, done.gas_lost_m3,
            done.gas_lost_in_all_m3, done.end_s, done.rebound_mps.unwrap_or(0.0), done.clearance_m.unwrap_or(0.0),
        ] {
            prop_assert!(value.is_finite(), "{landing:?} {chamber:?} {input:?} {done:?}");
        }
        let slow = SlowGas { chamber: &chamber, flows };
        let (after, _) = slow.after_loss(&start, 10.0);
        prop_assert!(after.pressure_pa.is_finite() && after.content_m3.is_finite());
        prop_assert!(slow.fall_time_s(start.pressure_pa, 0.5 * start.pressure_pa).is_none_or(f32::is_finite));
    }

    #[test]
    fn no_levels_of_any_numbers_panic_or_give_no_number(
        volume in prop_oneof![odd_or(20.0..800.0), odd_or(0.5..20.0)],
        stretch in odd_or(0.0..6e-5),
        vent in prop_oneof![Just(0.0), odd_or(0.0..0.3)],
        relief in prop_oneof![Just(0.0), odd_or(0.0..2.0)],
        leak in odd_or(0.0..0.02),
        exponent in odd_or(0.5..1.0),
        area in (odd_or(0.05..2.0), odd_or(0.5..20.0), odd_or(0.1..12.0)),
        over in (odd_or(0.4..1.0), odd_or(1.0..3.0)),
        limits in (odd_or(0.3..1.0), odd_or(2.0..30.0), odd_or(0.0..1.0)),
        thickness in odd_or(0.3..4.0),
        masses in (odd_or(40.0..90.0), odd_or(90.0..140.0)),
        speed in odd_or(1.0..16.0),
        times in (odd_or(0.0..20.0), odd_or(0.0..5.0)),
        supply_sense in any::<bool>(),
        backflow in prop::option::of(odd_or(0.0..0.1)),
    ) {
        let air = sea_level();
        let points = [(1.9, 0.0), (1.6, 700.0), (1.1, 1_400.0), (0.0, 2_000.0)]
            .map(|(flow_m3ps, pressure_pa)| CurvePoint { flow_m3ps, pressure_pa });
        let fan = BlowersInput {
            count: 2, closing_flap: backflow.is_none(), backflow_area_m2: backflow, ..BlowersInput::default()
        };
        let Ok(blowers) = Blowers::new(&BlowerCurve::new(&points).unwrap(), &fan, &air) else { return Ok(()) };
        let input = OpeningsInput {
            vent_area_m2: vent, relief_area_m2: relief, relief_opens_pa: 1_600.0, relief_full_pa: 2_400.0,
            leak_coefficient: leak, leak_exponent: exponent, ..OpeningsInput::default()
        };
        let Ok(openings) = Openings::new(input, &air) else { return Ok(()) };
        let area = StatedArea::Assumed { body_m2: area.0, growth_m: area.1, limit_m2: area.2 };
        let of = |factor: f32| BagFactors { area: [factor; 3], stretch: factor }.bag(&area, stretch);
        let (Ok(stated), Ok(soft), Ok(firm)) = (of(1.0), of(over.0), of(over.1)) else { return Ok(()) };
        let input = LevelsInput { air: &air, openings: &openings, blowers: &blowers, operating_pa: operating_point(&blowers, &openings).pressure_pa, bag: LevelsBag { volume_m3: volume, skin_kgpm2: 0.65, skin_loss: 0.65, pressure_min_pa: 700.0, pressure_max_pa: 2_000.0, depth_limit: limits.0, load_stop_g: limits.1, stop_floor: limits.2, thickness_m: thickness, slope_rad: 0.1 }, load_limit_g: limits.1, riders: LevelsRiders { heaviest_kg: masses.1, lightest_kg: masses.0, hard_speed_mps: speed, mean_landing: Some(MeanLanding { mass_kg: masses.0, normal_speed_mps: 0.8 * speed, thickness_m: thickness }), commitment_s: Some(times.0), reaction_s: times.1 }, sensing: Sensing { supply_sense, sensor: SensorError { error_pa: 12.5, noise_pa: 20.0 } }, options: Options::default() };
        let Ok(found) = levels(&input, &ThreeBags { stated, soft, firm }) else { return Ok(()) };
        let limit = |limit: Limit| limit.pressure_pa();
        let [stated_s, soft_s] = found.power_loss_to_stop_s;
        for value in [
            limit(found.stated_by_depth), limit(found.soft_by_depth), limit(found.firm), found.wait_pa, stated_s, soft_s,
            found.alarm_delay_s, found.needed_s, Some(found.band_low_pa), Some(found.band_high_pa), Some(found.dip_pa),
        ] {
            prop_assert!(value.is_none_or(|v| v.is_finite() && v >= 0.0), "{input:?} {found:?}");
        }
        prop_assert!(found.status == Status::Converged, "{input:?} {found:?}");
        // The stop pressure is never over the room, nor the wait pressure under the stop pressure.
        prop_assert!(found.stop_pa <= found.room_pa && found.room_pa < input.operating_pa);
        prop_assert!(found.wait_pa.is_none_or(|wait_pa| wait_pa >= found.stop_pa));
        // How long the stated bag holds is when it falls to what it asks for by depth.
        let chamber = input.chamber(&stated).unwrap();
        let hold_s = holds_for_s(&input, &stated, &chamber, found.stated_by_depth, 120.0).unwrap();
        prop_assert!(hold_s.is_none_or(|hold_s| (0.0..=120.0).contains(&hold_s)), "{input:?} {hold_s:?}");
    }
}
