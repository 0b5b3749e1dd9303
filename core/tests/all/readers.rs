//! What is read back from a value is what it was made from, and every name is told.

use crate::site::mill_creek;
use landfall_core::air::Air;
use landfall_core::bag::{Bag, BagInput, Outcome};
use landfall_core::bag_gas::{Adiabat, Chamber, QUICK_EXPONENT};
use landfall_core::blower::{BlowerCurve, Blowers, BlowersInput, CurvePoint};
use landfall_core::error::{InputError, within};
use landfall_core::force_area::ForceArea;
use landfall_core::inputs::Uncertain;
use landfall_core::landing_limits::Limit;
use landfall_core::landing_plane::LandingPlane;
use landfall_core::openings::{Openings, OpeningsInput};
use landfall_core::possible_bags::{PossibleBags, StatedArea, Unknown};
use landfall_core::supply::{Feed, Flows};
use landfall_core::takeoff::TakeOff;
use landfall_core::touchdown::{Landing, LandingInput};

const BAG: BagInput = BagInput {
    length_m: 11.0,
    width_m: 8.5,
    front_height_m: 2.1,
    back_height_m: 2.9,
    gap_m: 3.25,
    offset_m: 0.4,
    base_level_m: -0.3,
    edge_front_m: 1.25,
    edge_back_m: 0.75,
    edge_side_m: 0.6,
};

#[test]
fn a_bag() {
    let bag = Bag::new(BAG).unwrap();
    assert_eq!(bag.input(), BAG);
    let read = BagInput {
        length_m: bag.length_m(),
        width_m: bag.width_m(),
        front_height_m: bag.front_height_m(),
        back_height_m: bag.back_height_m(),
        gap_m: bag.gap_m(),
        offset_m: bag.offset_m(),
        base_level_m: bag.base_level_m(),
        edge_front_m: bag.edge_front_m(),
        edge_back_m: bag.edge_back_m(),
        edge_side_m: bag.edge_side_m(),
    };
    assert_eq!(read, BAG);
    assert_eq!(bag.at_gap(5.0).input(), BagInput { gap_m: 5.0, ..BAG });
    assert_eq!((bag.at_gap(-1.0).gap_m(), bag.at_gap(300.0).gap_m()), (0.0, 200.0));
    assert_eq!(bag.mirrored().input(), BagInput { offset_m: -0.4, ..BAG });
    assert!((bag.front_z_m() - 1.8).abs() < 1e-6 && (bag.field_middle_m() - 5.75).abs() < 1e-6);
    assert!((bag.climb() - 0.8 / 11.0).abs() < 1e-7);
    assert!((bag.slope_rad() - (0.8_f32 / 11.0).atan()).abs() < 1e-6);
    assert!((bag.slope_cos() - 11.0 / 121.64_f32.sqrt()).abs() < 1e-6);
    // At 2.75 m the top is a quarter of its climb up.
    assert!((bag.thickness_m(2.75) - 2.3 * bag.slope_cos()).abs() < 1e-6);
    assert!((bag.thinnest_m(2.75, 5.5) - 2.3 * bag.slope_cos()).abs() < 1e-6);
}

#[test]
fn a_take_off() {
    // 3-4-5: 1 − cos θ = 0.4 where cos θ = 0.6.
    let takeoff = TakeOff::new(2.0, 5.0, 1.1, 0.9).unwrap();
    assert_eq!((takeoff.height_m(), takeoff.radius_m(), takeoff.mass_height_m()), (2.0, 5.0, 0.9));
    assert!((takeoff.lip_sin() - 0.8).abs() < 1e-6 && (takeoff.lip_cos() - 0.6).abs() < 1e-6);
    assert!((takeoff.lip_rad() - 0.6_f32.acos()).abs() < 1e-6 && (takeoff.lag_rad() - 0.11_f32.asin()).abs() < 1e-7);
    assert!((takeoff.base_m() - 4.0).abs() < 1e-5 && (takeoff.face_m() - 5.0 * takeoff.lip_rad()).abs() < 1e-6);
    let bent = takeoff.with_lip_rad(0.5).unwrap();
    assert_eq!((bent.lip_rad(), bent.height_m(), bent.radius_m(), bent.lag_rad()), (0.5, 2.0, 5.0, takeoff.lag_rad()));
    assert!((bent.lip_sin() - 0.5_f32.sin()).abs() < 1e-7 && (bent.lip_cos() - 0.5_f32.cos()).abs() < 1e-7);
    assert!(takeoff.with_lip_rad(0.1).is_err() && takeoff.with_lip_rad(1.5).is_err());
}

#[test]
fn a_set_up() {
    let site = &mill_creek();
    let setup = site.setup(0);
    assert_eq!(setup.mass_kg(), site.riders_kg[0] + site.bike_kg);
    assert_eq!((setup.rotating_kg(), setup.density_kgpm3()), (site.rotating_kg, site.air().density_kgpm3));
    assert_eq!(setup.bag().input(), site.bag);
    assert_eq!((setup.slope().mass_kg, setup.slope().rotating_kg), (setup.mass_kg(), setup.rotating_kg()));
    assert!((setup.path().start_height_m() - site.mean[0]).abs() < 1e-5);
    assert_eq!(setup.takeoff().height_m(), site.takeoff_m.0);
    assert!(setup.path().lowest_start_m() < site.mean[0]);
    // The straight ends where the arc of 34° begins: 26 ft (1 − cos 34°) up.
    let lowest_m = site.mean[0].min(26.0 * 0.3048 * (1.0 - 34_f32.to_radians().cos()));
    assert!((setup.path().lowest_start_m() - lowest_m).abs() < 2e-3, "{}", setup.path().lowest_start_m());
    let heavier = setup.with_mass_kg(120.0).unwrap();
    assert_eq!((heavier.mass_kg(), heavier.rotating_kg()), (120.0, setup.rotating_kg()));
    assert!(setup.with_mass_kg(2.0).is_err());
    assert_eq!(setup.with_bag(setup.bag().at_gap(2.0)).bag().gap_m(), 2.0);
    let other = TakeOff::new(1.8, 4.0, 1.0, 1.0).unwrap();
    assert_eq!(setup.with_takeoff(other).takeoff().radius_m(), 4.0);
    assert_eq!(LandingPlane::new(5.5, 1.0, 0.2).unwrap().x_m(), 5.5);
}

#[test]
fn a_landing_and_its_gas() {
    let area = ForceArea::assumed(0.5, 6.0, 4.0).unwrap();
    let input = LandingInput {
        mass_kg: 91.0,
        normal_speed_mps: 6.5,
        slope_rad: 0.2,
        skin_loss: 0.6,
        area,
        thickness_m: Some(2.4),
    };
    let landing = Landing::new(input).unwrap();
    assert_eq!(landing.input(), input);
    assert_eq!((landing.mass_kg(), landing.normal_speed_mps(), landing.slope_rad()), (91.0, 6.5, 0.2));
    assert_eq!((landing.skin_loss(), landing.area(), landing.thickness_m()), (0.6, area, Some(2.4)));
    assert_eq!(landing.without_ground().input(), LandingInput { thickness_m: None, ..input });
    assert_eq!(landing.over_ground(1.5).unwrap().input(), LandingInput { thickness_m: Some(1.5), ..input });
    assert_eq!(landing.at_speed(7.0).input(), LandingInput { normal_speed_mps: 7.0, ..input });
    assert_eq!((landing.at_speed(-1.0).normal_speed_mps(), landing.at_speed(99.0).normal_speed_mps()), (0.0, 60.0));
    assert!(landing.over_ground(0.01).is_err());

    let air = Air::new(0.0, 288.15, None).unwrap();
    let chamber = Chamber::new(&air, 200.0, 1_200.0, 3e-5, 0.7).unwrap();
    assert_eq!((chamber.outside_pa(), chamber.operating_pa(), chamber.stretch_per_pa()), (101_325.0, 1_200.0, 3e-5));
    assert!((chamber.skin_pa() - 0.7 * 9.806_65).abs() < 1e-5);
    // The volume grows with the pressure by the stretch of that at the operating pressure; the content is P V/P_a.
    let unstretched = 200.0 / (1.0 + 3e-5 * 1_200.0);
    assert!((chamber.volume_at_m3(1_200.0) - 200.0).abs() < 1e-4, "{}", chamber.volume_at_m3(1_200.0));
    let half = chamber.volume_at_m3(600.0);
    assert!((half - (200.0 - 600.0 * chamber.stretch_m3_per_pa())).abs() < 1e-4, "{half}");
    assert!((chamber.stretch_m3_per_pa() / (3e-5 * unstretched) - 1.0).abs() < 0.04);
    let content = |pa: f32| f64::from(chamber.volume_at_m3(pa)) * f64::from(101_325.0 + pa) / 101_325.0;
    assert!((f64::from(chamber.operating_content_m3()) - content(1_200.0)).abs() < 1e-4);
    assert!((f64::from(chamber.just_taut_content_m3()) - content(chamber.skin_pa())).abs() < 1e-4);
    let per_pa = (content(901.0) - content(899.0)) / 2.0;
    assert!((f64::from(chamber.content_per_pa_m3(900.0)) / per_pa - 1.0).abs() < 5e-3);
    let start = chamber.at_pressure(700.0);
    assert!(start.is_taut() && (f64::from(start.content_m3) - content(700.0)).abs() < 1e-4);
    let again = chamber.at_content(start.content_m3);
    assert!((again.pressure_pa - 700.0).abs() < 0.1 && again.slack_m3 == 0.0);
    let slack = chamber.at_content(0.5 * chamber.just_taut_content_m3());
    assert!(!slack.is_taut() && slack.slack_m3 > 90.0 && (slack.pressure_pa - chamber.skin_pa()).abs() < 1e-4);
    let gas = Adiabat::new(&chamber, start, QUICK_EXPONENT).unwrap();
    assert_eq!(gas.start(), &start);
    assert!((gas.skin_rise_pa() - (chamber.skin_pa() - 700.0)).abs() < 1e-3, "{}", gas.skin_rise_pa());
}

#[test]
fn openings_blowers_and_flows() {
    let air = Air::new(0.0, 288.15, None).unwrap();
    let input = OpeningsInput {
        vent_area_m2: 0.03,
        relief_area_m2: 0.4,
        relief_opens_pa: 900.0,
        relief_full_pa: 1_300.0,
        leak_coefficient: 0.002,
        ..OpeningsInput::default()
    };
    let openings = Openings::new(input, &air).unwrap();
    assert_eq!(openings.input(), &input);
    assert!(!openings.none_open());
    for (pa, m2) in [(0.0, 0.03), (900.0, 0.03), (1_000.0, 0.13), (1_200.0, 0.33), (1_300.0, 0.43), (5_000.0, 0.43)] {
        assert!((openings.open_area_m2(pa) - m2).abs() < 1e-6, "{pa}");
    }
    let none = OpeningsInput { vent_area_m2: 0.0, relief_area_m2: 0.0, leak_coefficient: 0.0, ..input };
    assert!(Openings::new(none, &air).unwrap().none_open());
    for one in [
        OpeningsInput { vent_area_m2: 0.01, ..none },
        OpeningsInput { relief_area_m2: 0.01, ..none },
        OpeningsInput { leak_coefficient: 0.01, ..none },
    ] {
        assert!(!Openings::new(one, &air).unwrap().none_open());
    }
    let points = [(1.9, 0.0), (1.6, 700.0), (1.1, 1_400.0), (0.0, 2_000.0)]
        .map(|(flow_m3ps, pressure_pa)| CurvePoint { flow_m3ps, pressure_pa });
    let curve = BlowerCurve::new(&points).unwrap();
    let knots: Vec<f32> = curve.knot_pressures_pa().collect();
    assert_eq!(knots, [0.0, 700.0, 1_400.0, 2_000.0]);
    let fan = BlowersInput { count: 3, closing_flap: false, backflow_area_m2: Some(0.02), ..BlowersInput::default() };
    let blowers = Blowers::new(&curve, &fan, &air).unwrap();
    assert_eq!(blowers.count(), 3.0);
    let flows = Flows { openings: &openings, blowers: Some(&blowers), feed: Feed::Running };
    let all = blowers.flow_m3ps(500.0);
    for (feed, inflow, backflow) in
        [(Feed::Running, all, 0.0), (Feed::OneLost, all * 2.0 / 3.0, 0.02), (Feed::Lost, 0.0, 0.06)]
    {
        let flows = flows.with(feed);
        assert_eq!(flows.feed, feed);
        assert!((flows.inflow_m3ps(500.0) - inflow).abs() < 1e-6, "{feed:?}");
        assert!((flows.backflow_area_m2() - backflow).abs() < 1e-7, "{feed:?}");
        let net = openings.outflow_m3ps(500.0, backflow) - inflow;
        assert!((flows.net_outflow_m3ps(500.0) - net).abs() < 1e-5, "{feed:?}");
    }
    let shut_off = blowers.shut_off_pa();
    assert_eq!(flows.corners_pa(), [Some(900.0), Some(1_300.0), Some(shut_off)]);
    assert_eq!(flows.with(Feed::Lost).corners_pa(), [Some(900.0), Some(1_300.0), None]);
    // A duct's loss is taken off each point's pressure.
    let duct = BlowersInput { duct_loss: 1.5, duct_diameter_m: 0.35, ..fan };
    let ducted = Blowers::new(&curve, &duct, &air).unwrap();
    let area_m2 = core::f32::consts::PI * 0.35 * 0.35 / 4.0;
    let pairs = ducted.knot_bag_pressures_pa().zip(blowers.knot_bag_pressures_pa()).zip(points);
    for ((with, without), point) in pairs {
        let loss_pa = 1.5 * 0.5 * air.density_kgpm3 * (point.flow_m3ps / area_m2).powi(2);
        assert!((with - (without - loss_pa)).abs() < 1e-3 * loss_pa.max(1.0), "{with} {without} {loss_pa}");
    }
}

#[test]
fn possible_bags() {
    let area = StatedArea::Assumed { body_m2: 0.5, growth_m: 6.0, limit_m2: 4.0 };
    let bags = PossibleBags::new(area, 3e-5, Unknown::default()).unwrap();
    assert_eq!((bags.area(), bags.dimensions()), (&area, 4));
    assert_eq!((bags.stated().area, bags.stated().stretch_per_pa), (area.area().unwrap(), 3e-5));
    let all: Vec<_> = bags.iter().collect();
    assert_eq!(all.len(), 256);
    for number in [1_u16, 17, 256] {
        assert_eq!(all[usize::from(number) - 1], bags.bag(number));
        assert_eq!(bags.factors(number).bag(&area, 3e-5).unwrap(), bags.bag(number));
    }
    assert_ne!(bags.bag(1), bags.bag(2));
    assert_ne!(bags.if_measured().bag(1), bags.bag(1));
    let measured = StatedArea::Measured(area.area().unwrap());
    assert_eq!(PossibleBags::new(measured, 3e-5, Unknown::default()).unwrap().dimensions(), 2);
}

#[test]
fn names_and_words() {
    let outcomes = ["on", "edge", "short", "long", "left", "right", "front", "stall", "leaves_surface"];
    assert_eq!(Outcome::ALL.map(Outcome::name), outcomes);
    let inputs = [
        "start_height",
        "push_off",
        "rolling_resistance",
        "drag_area_rolling",
        "drag_area_flying",
        "lip_speed",
        "carry",
        "pop",
        "yaw",
        "line",
        "wind_along",
        "wind_across",
        "contact_height",
    ];
    assert_eq!(Uncertain::ALL.map(Uncertain::name), inputs);
    assert_eq!(Limit::At(5.0).pressure_pa(), Some(5.0));
    assert_eq!(Limit::JustTaut(6.0).pressure_pa(), Some(6.0));
    assert_eq!((Limit::NotKept.pressure_pa(), Limit::NotReached.pressure_pa()), (None, None));
    let refused = within("bag.length_m", 7.5, 1.0, 4.0).unwrap_err();
    assert_eq!(refused.to_string(), "bag.length_m is 7.5; it must lie in 1 to 4");
    assert_eq!((within("x", 1.0, 1.0, 4.0), within("x", 4.0, 1.0, 4.0)), (Ok(1.0), Ok(4.0)));
    let order = InputError::Order { smaller: "a", smaller_got: 2.0, larger: "b", larger_got: 1.0 };
    assert_eq!(order.to_string(), "a (2) must be less than b (1)");
    let count = InputError::Count { quantity: "list", got: 1, low: 3, high: 16 };
    assert_eq!(count.to_string(), "list has 1 entries; it takes 3 to 16");
    let odd = InputError::Inconsistent { quantity: "a", why: "does not fit", off_by: 0.5 };
    assert_eq!(odd.to_string(), "a: does not fit (off by 0.5)");
}
