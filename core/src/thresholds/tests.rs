//! The rule for planned and today's thresholds, and the thresholds against the functions that they come from.

use super::*;
use crate::force_area::{ForceArea, Knot};
use crate::landing_limits::Limit;
use crate::levels::levels;
use crate::levels::{MeanLanding, SensorError};
use crate::possible_bags::{PossibleBags, Unknown};
use crate::ride_limits::ride_limits;
use crate::test_sites::changed;
use crate::watch::box_pressures::room_pa;
use crate::watch::{WatchSettings, in_force};

pub(crate) fn site() -> WatchedSite {
    WatchedSite {
        version: WATCHED_SITE_VERSION,
        air_pressure_pa: 98_000.0,
        air_temperature_k: 288.15,
        openings: OpeningsInput { vent_area_m2: 0.02, leak_coefficient: 0.0005, ..OpeningsInput::default() },
        blowers: BlowersInput::default(),
        bag: LevelsBag {
            volume_m3: 180.0,
            skin_kgpm2: 0.65,
            skin_loss: 0.65,
            pressure_min_pa: 700.0,
            pressure_max_pa: 2_400.0,
            depth_limit: 0.8,
            load_stop_g: 25.0,
            stop_floor: 0.6,
            thickness_m: 2.2,
            slope_rad: 0.1,
        },
        riders: LevelsRiders {
            heaviest_kg: 110.0,
            lightest_kg: 60.0,
            hard_speed_mps: 8.0,
            mean_landing: Some(MeanLanding { mass_kg: 80.0, normal_speed_mps: 6.0, thickness_m: 2.3 }),
            commitment_s: Some(2.0),
            reaction_s: 1.0,
        },
        soft_speed_mps: 4.0,
        sensing: Sensing { supply_sense: true, sensor: SensorError { error_pa: 12.0, noise_pa: 20.0 } },
    }
}

fn possible() -> PossibleBags {
    let area = StatedArea::Assumed { body_m2: 0.5, growth_m: 6.0, limit_m2: 4.0 };
    PossibleBags::new(area, 3e-5, Unknown::default()).unwrap()
}

fn bags() -> WatchedBags {
    let possible = possible();
    WatchedBags {
        area: *possible.area(),
        stretch_per_pa: 3e-5,
        soft: possible.factors(112),
        firm: possible.factors(247),
    }
}

fn curve() -> FanCurve {
    let points = [(1.9, 0.0), (1.6, 700.0), (1.1, 1_400.0), (0.0, 2_000.0)]
        .map(|(flow_m3ps, pressure_pa)| CurvePoint { flow_m3ps, pressure_pa });
    FanCurve::new(&points).unwrap()
}

fn parts(site: &WatchedSite, air: &Air) -> (Openings, Blowers) {
    let curve = curve().curve().unwrap();
    (Openings::new(site.openings, air).unwrap(), Blowers::new(&curve, &site.blowers, air).unwrap())
}

fn found(site: &WatchedSite, air: &Air) -> Thresholds {
    thresholds(&WatchedForm { site: *site, bags: bags(), curve: curve() }, air).unwrap()
}

/// A planner finds the three bags among the possible ones, and a box with those three comes to the same bits.
#[test]
fn a_box_comes_to_the_planners_own_levels() {
    let site = site();
    let air = site.planned_air().unwrap();
    let (openings, blowers) = parts(&site, &air);
    let operating_pa = operating_point(&blowers, &openings).pressure_pa;
    let input = site.levels_input(&air, &openings, &blowers, operating_pa);
    for possible in [possible(), possible().if_measured()] {
        let planned = ride_limits(&input, &possible, 60.0).unwrap();
        let bags = WatchedBags {
            area: *possible.area(),
            stretch_per_pa: 3e-5,
            soft: planned.soft.factors,
            firm: planned.firm.factors,
        };
        assert_eq!(bags.three().unwrap(), planned.three_bags());
        let found = thresholds(&WatchedForm { site, bags, curve: curve() }, &air).unwrap();
        let levels = planned.levels;
        assert_eq!(found.operating_pa, operating_pa);
        assert_eq!((found.stop_pa, found.wait_pa), (levels.stop_pa, levels.pressures.acting_wait_pa));
        assert_eq!((found.high_pa, found.landing_dip_pa), (levels.band_high_pa, levels.dip_pa));
        assert_eq!(Some(found.needed_s), levels.needed_s);
        let settings = found.put_into(&WatchSettings { sensor_error_pa: 12.0, ..WatchSettings::EXAMPLE });
        assert_eq!(settings.pressures(), levels.pressures);
    }
}

/// The firm bag makes the highest peak, the soft one the smallest rise.
#[test]
fn all_three_bags_count_for_what_a_landing_looks_like() {
    let air = site().planned_air().unwrap();
    let with = |soft: BagFactors, firm: BagFactors| {
        thresholds(&WatchedForm { site: site(), bags: WatchedBags { soft, firm, ..bags() }, curve: curve() }, &air)
            .unwrap()
    };
    let stated = with(BagFactors::STATED, BagFactors::STATED);
    let firm = with(BagFactors::STATED, BagFactors { area: [1.0; 3], stretch: 0.5 });
    assert!(firm.landing_peak_pa > stated.landing_peak_pa && firm.landing_spike_pa == stated.landing_spike_pa);
    assert_eq!(firm.stop_pa, stated.stop_pa);
    let soft = with(BagFactors { area: [0.9; 3], stretch: 2.0 }, BagFactors::STATED);
    assert!(soft.landing_spike_pa < stated.landing_spike_pa && soft.stop_pa > stated.stop_pa);
    assert_eq!((soft.high_pa, soft.landing_dip_pa), (stated.high_pa, stated.landing_dip_pa));
}

#[test]
fn thin_air_lowers_the_resting_pressure_by_the_fan_law() {
    let site = changed(site(), |i| {
        i.riders.hard_speed_mps = 7.0;
        i.bag.stop_floor = 0.0;
    });
    let planned = site.planned_air().unwrap();
    let thin = todays_air(78_000.0, 308.15).unwrap();
    let (a, b) = (found(&site, &planned), found(&site, &thin));
    // Pressure over density is the same for a vent and for a fan; only the leak's law bends it a little.
    let share = (b.operating_pa / a.operating_pa) / (thin.density_kgpm3 / planned.density_kgpm3);
    assert!((share - 1.0).abs() < 0.01, "{share}");
    assert_ne!(a.stop_pa, b.stop_pa);
}

fn planned_settings() -> WatchSettings {
    let air = site().planned_air().unwrap();
    let base = WatchSettings {
        pressure_max_pa: 2_400.0,
        interval_s: 60.0,
        sensor_high_pa: 20_000.0,
        sensor_error_pa: 12.0,
        ..WatchSettings::EXAMPLE
    };
    let planned = found(&site(), &air).put_into(&base);
    planned.validate().unwrap();
    planned
}

#[test]
fn in_the_planned_air_nothing_changes() {
    let planned = planned_settings();
    let today = found(&site(), &site().planned_air().unwrap());
    assert_eq!(in_force(&planned, &today).unwrap(), planned);
    assert_eq!(Thresholds::of(&planned), today);
}

#[test]
fn limits_are_the_stricter_and_the_bag_is_todays() {
    let planned = planned_settings();
    let was = Thresholds::of(&planned);
    let laxer = Thresholds {
        operating_pa: was.operating_pa - 10.0,
        stop_pa: was.stop_pa - 50.0,
        wait_pa: was.wait_pa - 20.0,
        high_pa: was.high_pa + 10.0,
        needed_s: was.needed_s - 1.0,
        recovery_s: was.recovery_s + 0.5,
        landing_dip_pa: was.landing_dip_pa + 1.0,
        landing_spike_pa: was.landing_spike_pa - 1.0,
        landing_peak_pa: was.landing_peak_pa + 1.0,
    };
    let held = in_force(&planned, &laxer).unwrap();
    assert_eq!((held.stop_pa, held.wait_pa, held.high_pa), (planned.stop_pa, planned.wait_pa, planned.high_pa));
    assert_eq!(held.needed_s, planned.needed_s);
    assert_eq!(held.operating_pa, laxer.operating_pa);
    assert_eq!(held.half_way_pa, 0.5 * (planned.stop_pa + laxer.operating_pa));
    assert_eq!((held.recovery_s, held.landing_dip_pa), (laxer.recovery_s, laxer.landing_dip_pa));
    assert_eq!((held.landing_spike_pa, held.landing_peak_pa), (laxer.landing_spike_pa, laxer.landing_peak_pa));

    let stricter = Thresholds {
        stop_pa: was.stop_pa + 30.0,
        wait_pa: was.wait_pa + 20.0,
        high_pa: was.high_pa - 10.0,
        needed_s: was.needed_s + 1.0,
        ..was
    };
    let held = in_force(&planned, &stricter).unwrap();
    assert_eq!(Thresholds::of(&held), stricter);
    // What a site and a sensor are stays as it was armed.
    assert_eq!((held.site_id, held.revision, held.interval_s), (planned.site_id, planned.revision, planned.interval_s));
    assert_eq!((held.sensor_error_pa, held.pressure_max_pa), (planned.sensor_error_pa, planned.pressure_max_pa));
}

/// Armed with the highest stop pressure that the box could tell; in thinner air the bag rests lower.
#[test]
fn a_stop_pressure_at_the_end_of_its_room_goes_with_where_the_bag_rests() {
    let planned = planned_settings();
    let sensor = SensorError { error_pa: planned.sensor_error_pa, noise_pa: planned.noise_high_pa };
    let was = Thresholds::of(&planned);
    let room = |of: &Thresholds| room_pa(of.operating_pa, of.landing_dip_pa, &sensor).0;
    let at_room = |of: Thresholds| Thresholds { stop_pa: room(&of), wait_pa: of.wait_pa.max(room(&of)), ..of };
    let planned = at_room(was).put_into(&planned);
    planned.validate().unwrap();
    let thinner = at_room(Thresholds { operating_pa: 0.9 * was.operating_pa, ..was });
    let held = in_force(&planned, &thinner).unwrap();
    assert!(held.stop_pa < planned.stop_pa && (held.stop_pa - room(&thinner)).abs() < 0.1, "{held:?}");
    // Asked for by depth, the planned one holds, and then nothing is left to ride at.
    let lower = Thresholds { stop_pa: planned.stop_pa - 0.2, ..Thresholds::of(&planned) }.put_into(&planned);
    assert!(in_force(&lower, &thinner).is_err());
}

#[test]
fn a_stop_pressure_above_the_planned_wait_lifts_it() {
    let planned = planned_settings();
    let was = Thresholds::of(&planned);
    let today = Thresholds { stop_pa: was.wait_pa + 5.0, wait_pa: was.wait_pa - 5.0, ..was };
    let held = today.stricter_than(&was);
    assert_eq!((held.stop_pa, held.wait_pa), (was.wait_pa + 5.0, was.wait_pa + 5.0));
}

#[test]
fn what_is_out_of_order_is_refused() {
    let planned = planned_settings();
    let was = Thresholds::of(&planned);
    type Spoil = fn(&mut Thresholds);
    let wrong: [(&str, Spoil); 8] = [
        ("at rest under the planned stop pressure", |t| t.operating_pa = 400.0),
        ("stop at the resting pressure", |t| t.stop_pa = t.operating_pa),
        ("upper end under the resting pressure", |t| t.high_pa = t.operating_pa - 1.0),
        ("dip down to the siren", |t| t.landing_dip_pa = t.operating_pa - t.stop_pa),
        ("recovery longer than riders wait", |t| t.recovery_s = 59.0),
        ("peak beyond the sensor", |t| t.landing_peak_pa = 20_001.0),
        ("not a number", |t| t.operating_pa = f32::NAN),
        ("no spike", |t| t.landing_spike_pa = 0.0),
    ];
    for (name, spoil) in wrong {
        let mut today = was;
        spoil(&mut today);
        assert!(in_force(&planned, &today).is_err(), "{name}");
    }
}

#[test]
fn air_that_is_none_is_refused() {
    assert!(todays_air(59_999.0, 290.0).is_err() && todays_air(110_001.0, 290.0).is_err());
    assert!(todays_air(95_000.0, 243.0).is_err() && todays_air(95_000.0, 333.2).is_err());
    assert!(todays_air(f32::NAN, 290.0).is_err() && todays_air(95_000.0, f32::INFINITY).is_err());
    assert!(todays_air(60_000.0, 243.15).is_ok() && todays_air(110_000.0, 330.0).is_ok());
}

#[test]
fn sites_without_thresholds_say_why() {
    let air = site().planned_air().unwrap();
    let of = |site: WatchedSite| thresholds(&WatchedForm { site, bags: bags(), curve: curve() }, &air).unwrap_err();
    assert_eq!(
        of(changed(site(), |i| {
            i.bag.depth_limit = 0.1;
            i.bag.thickness_m = 0.5;
        })),
        NoThresholds::NoStop
    );
    assert_eq!(
        of(changed(site(), |i| {
            i.bag.stop_floor = 1.0;
            i.bag.pressure_min_pa = 1_950.0;
        })),
        NoThresholds::NoStop
    );
    assert_eq!(of(changed(site(), |i| i.bag.load_stop_g = 1.1)), NoThresholds::NoHigh);
    // The bag rests higher.
    assert_eq!(of(changed(site(), |i| i.bag.pressure_max_pa = 1_500.0)), NoThresholds::NoHigh);
    assert_eq!(of(changed(site(), |i| i.riders.commitment_s = Some(500.0))), NoThresholds::NoWait);
    assert!(matches!(of(changed(site(), |i| i.version = 1)), NoThresholds::Input(_)));
    assert!(matches!(of(changed(site(), |i| i.bag.volume_m3 = f32::NAN)), NoThresholds::Input(_)));
    let short = FanCurve { count: 2, ..curve() };
    let with = |bags: WatchedBags, curve: FanCurve| thresholds(&WatchedForm { site: site(), bags, curve }, &air);
    assert!(matches!(with(bags(), short), Err(NoThresholds::Input(InputError::Count { .. }))));
    let long = FanCurve { count: 200, ..curve() };
    assert!(matches!(with(bags(), long), Err(NoThresholds::Input(InputError::Count { .. }))));
    let soft = BagFactors { stretch: f32::NAN, ..BagFactors::STATED };
    assert!(matches!(with(WatchedBags { soft, ..bags() }, curve()), Err(NoThresholds::Input(_))));
    assert!(FanCurve::new(&[CurvePoint { flow_m3ps: 0.0, pressure_pa: 0.0 }; 17]).is_err());
}

/// Without a wait pressure a box acts by another one, where the bag holds long enough.
#[test]
fn a_bag_that_holds_needs_no_wait_pressure() {
    let air = site().planned_air().unwrap();
    // The maker's lowest lies so near to the resting pressure that the permit would not come back from it.
    let pressure_min_pa = 0.985 * found(&site(), &air).operating_pa;
    let near = changed(site(), |i| {
        i.bag.pressure_min_pa = pressure_min_pa;
        i.bag.stop_floor = 0.0;
    });
    let found = thresholds(&WatchedForm { site: near, bags: bags(), curve: curve() }, &air).unwrap();
    assert_eq!(found.wait_pa, pressure_min_pa);
    let unsensed = self::found(&changed(near, |i| i.sensing.supply_sense = false), &air);
    assert!((unsensed.wait_pa - (0.98 * found.operating_pa - 32.0)).abs() < 1e-2, "{unsensed:?}");
}

/// Twelve knots go into one message of 160 bytes with the factors of soft and firm bag: 4 bytes a number.
#[test]
fn measured_bags_are_small() {
    let knots: [Knot; 12] = core::array::from_fn(|i| {
        let depth_m = 0.1 * (i as f32 + 1.0);
        Knot { depth_m, area_m2: 1.0 + depth_m }
    });
    let area = StatedArea::Measured(ForceArea::measured(&knots).unwrap());
    let measured = WatchedBags { area, ..bags() };
    let air = site().planned_air().unwrap();
    let found = thresholds(
        &WatchedForm { site: changed(site(), |i| i.riders.hard_speed_mps = 5.0), bags: measured, curve: curve() },
        &air,
    );
    assert!(found.is_ok(), "{found:?}");
    assert_eq!(measured.three().unwrap().stated.area.knots(), knots);
    assert!(matches!(levels_of(&measured), Limit::At(_)));
}

fn levels_of(bags: &WatchedBags) -> Limit {
    let site = site();
    let air = site.planned_air().unwrap();
    let (openings, blowers) = parts(&site, &air);
    let operating_pa = operating_point(&blowers, &openings).pressure_pa;
    levels(&site.levels_input(&air, &openings, &blowers, operating_pa), &bags.three().unwrap()).unwrap().soft_by_depth
}
