//! The rule for planned and today's thresholds, and the thresholds against the functions that they come from.

use super::*;
use crate::ride_pressures::ride_report;

pub(crate) fn site() -> WatchedSite {
    WatchedSite {
        version: WATCHED_SITE_VERSION,
        air_pressure_pa: 98_000.0,
        air_temperature_k: 288.15,
        vent_area_m2: 0.02,
        vent_coefficient: 0.6,
        relief_area_m2: 0.0,
        relief_opens_pa: 0.0,
        relief_full_pa: 0.0,
        leak_coefficient: 0.0005,
        leak_exponent: 0.6,
        blowers: 1,
        speed: 1.0,
        duct_loss: 0.0,
        duct_diameter_m: 0.0,
        backflow_area_m2: None,
        volume_m3: 180.0,
        stretch_per_pa: 3e-5,
        skin_kgpm2: 0.65,
        dish_radius_m: 1.2,
        skin_loss: 0.65,
        fitted: false,
        pressure_min_pa: 700.0,
        pressure_max_pa: 2_400.0,
        depth_limit: 0.8,
        load_limit_g: 25.0,
        stop_floor: 0.6,
        thickness_m: 2.2,
        slope_rad: 0.1,
        heaviest_kg: 110.0,
        lightest_kg: 60.0,
        hard_speed_mps: 8.0,
        soft_speed_mps: 4.0,
        commitment_s: 2.0,
        reaction_s: 1.0,
        interval_s: 60.0,
        supply_sense: true,
    }
}

fn curve() -> FanCurve {
    let points = [(1.9, 0.0), (1.6, 700.0), (1.1, 1_400.0), (0.0, 2_000.0)]
        .map(|(flow_m3ps, pressure_pa)| CurvePoint { flow_m3ps, pressure_pa });
    FanCurve::new(&points).unwrap()
}

fn found(site: &WatchedSite, air: &Air) -> Thresholds {
    thresholds(site, &curve(), air).unwrap()
}

#[test]
fn the_worst_of_the_planners_own_report() {
    let site = site();
    let air = site.planned_air().unwrap();
    let (openings, blowers) = (site.openings(&air).unwrap(), site.blowers(&curve(), &air).unwrap());
    let operating_pa = operating_point(&blowers, &openings).pressure_pa;
    let report = ride_report(&RideInput {
        air: &air,
        openings: &openings,
        blowers: &blowers,
        operating_pa,
        volume_m3: site.volume_m3,
        stretch_per_pa: site.stretch_per_pa,
        skin_kgpm2: site.skin_kgpm2,
        dish_radius_m: site.dish_radius_m,
        skin_loss: site.skin_loss,
        pressure_min_pa: site.pressure_min_pa,
        pressure_max_pa: site.pressure_max_pa,
        depth_limit: site.depth_limit,
        load_limit_g: site.load_limit_g,
        stop_floor: site.stop_floor,
        thickness_m: site.thickness_m,
        slope_rad: site.slope_rad,
        heaviest_kg: site.heaviest_kg,
        lightest_kg: site.lightest_kg,
        hard_speed_mps: site.hard_speed_mps,
        commitment_s: site.commitment_s,
        reaction_s: site.reaction_s,
        supply_sense: site.supply_sense,
        interval_s: site.interval_s,
        options: Options::default(),
    })
    .unwrap();
    let all = || core::iter::once(&report.stated).chain(&report.ends);
    let found = found(&site, &air);
    assert_eq!(found.operating_pa, operating_pa);
    assert_eq!(found.stop_pa, all().map(|p| p.stop_pa.unwrap()).fold(0.0, f32::max));
    assert_eq!(found.wait_pa, all().map(|p| p.wait_pa.unwrap()).fold(0.0, f32::max));
    assert_eq!(found.high_pa, all().map(|p| p.band_high_pa.unwrap()).fold(f32::MAX, f32::min));
    assert_eq!(found.needed_s, 2.0 + crate::ride_pressures::SENSED_DELAY_S + 1.0);
    // Measured: only the stated ones count, which lie inside.
    let measured = thresholds(&WatchedSite { fitted: true, ..site }, &curve(), &air).unwrap();
    assert_eq!(measured.stop_pa, report.stated.stop_pa.unwrap());
    assert!(measured.stop_pa < found.stop_pa && measured.landing_peak_pa < found.landing_peak_pa);
}

#[test]
fn thin_air_lowers_the_resting_pressure_by_the_fan_law() {
    let site = WatchedSite { hard_speed_mps: 6.0, ..site() };
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
    let of = |site: WatchedSite| thresholds(&site, &curve(), &air).unwrap_err();
    assert_eq!(of(WatchedSite { depth_limit: 0.1, thickness_m: 0.5, ..site() }), NoThresholds::NoStop);
    assert_eq!(of(WatchedSite { load_limit_g: 1.1, ..site() }), NoThresholds::NoHigh);
    assert_eq!(of(WatchedSite { commitment_s: 500.0, ..site() }), NoThresholds::NoWait);
    assert!(matches!(of(WatchedSite { version: 2, ..site() }), NoThresholds::Input(_)));
    assert!(matches!(of(WatchedSite { volume_m3: f32::NAN, ..site() }), NoThresholds::Input(_)));
    assert!(matches!(of(WatchedSite { dish_radius_m: 0.35, ..site() }), NoThresholds::Input(_)));
    let short = FanCurve { count: 2, ..curve() };
    assert!(matches!(thresholds(&site(), &short, &air), Err(NoThresholds::Input(InputError::Count { .. }))));
    let long = FanCurve { count: 200, ..curve() };
    assert!(matches!(thresholds(&site(), &long, &air), Err(NoThresholds::Input(InputError::Count { .. }))));
    assert!(FanCurve::new(&[CurvePoint { flow_m3ps: 0.0, pressure_pa: 0.0 }; 17]).is_err());
}
