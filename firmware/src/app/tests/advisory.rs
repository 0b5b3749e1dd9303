//! The advisory: what a box with a site goes by in today's air.

use super::*;
use crate::link::{Today, Verdict, check_with_form};
use crate::sensor::Outside;
use landfall_core::blower::BlowersInput;
use landfall_core::blower::CurvePoint;
use landfall_core::force_area::{ForceArea, KNOTS, Knot};
use landfall_core::levels::{LevelsBag, LevelsRiders, MeanLanding, Sensing};
use landfall_core::openings::{Discharge, OpeningsInput};
use landfall_core::possible_bags::{BagFactors, StatedArea};
use landfall_core::thresholds::{
    FanCurve, WATCHED_SITE_VERSION, WatchedBags, WatchedForm, WatchedSite, thresholds, todays_air,
};
use landfall_core::watch::box_pressures::SensorError;
use landfall_core::watch::{Thresholds, in_force};

/// An invented site: 180 m³ behind one blower.
pub(crate) fn form() -> WatchedForm {
    let site = WatchedSite {
        version: WATCHED_SITE_VERSION,
        air_pressure_pa: 98_000.0,
        air_temperature_k: 288.15,
        openings: OpeningsInput {
            vent_area_m2: 0.02,
            discharge: Discharge::LowPressure { coefficient: 0.6 },
            relief_area_m2: 0.1,
            relief_opens_pa: 3_000.0,
            relief_full_pa: 3_500.0,
            leak_coefficient: 0.0005,
            leak_exponent: 0.6,
        },
        blowers: BlowersInput {
            count: 1,
            speed: 1.0,
            duct_loss: 0.5,
            duct_diameter_m: 0.5,
            closing_flap: false,
            backflow_area_m2: Some(0.001),
        },
        bag: LevelsBag {
            volume_m3: 180.0,
            skin_kgpm2: 0.65,
            skin_loss: 0.65,
            pressure_min_pa: 1_400.0,
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
            hard_speed_mps: 6.0,
            mean_landing: Some(MeanLanding { mass_kg: 80.0, normal_speed_mps: 5.0, thickness_m: 2.2 }),
            commitment_s: Some(2.0),
            reaction_s: 1.0,
        },
        soft_speed_mps: 4.0,
        sensing: Sensing { supply_sense: true, sensor: SensorError { error_pa: 12.0, noise_pa: 20.0 } },
    };
    let bags = WatchedBags {
        area: StatedArea::Assumed { body_m2: 0.5, growth_m: 6.0, limit_m2: 4.0 },
        stretch_per_pa: 3e-5,
        soft: BagFactors { area: [0.8, 0.9, 0.6], stretch: 1.4 },
        firm: BagFactors { area: [1.2, 1.1, 1.6], stretch: 0.7 },
    };
    let points = [(1.9, 0.0), (1.6, 700.0), (1.1, 1_400.0), (0.0, 2_000.0)]
        .map(|(flow_m3ps, pressure_pa)| CurvePoint { flow_m3ps, pressure_pa });
    WatchedForm { site, bags, curve: FanCurve::new(&points).unwrap() }
}

/// As many measured knots as there can be.
pub(crate) fn most_knots() -> WatchedBags {
    let knots: [Knot; KNOTS] = core::array::from_fn(|i| {
        let depth_m = 0.1 * (i as f32 + 1.0);
        Knot { depth_m, area_m2: 1.0 + depth_m }
    });
    WatchedBags { area: StatedArea::Measured(ForceArea::measured(&knots).unwrap()), ..form().bags }
}

fn planned() -> WatchSettings {
    let form = form();
    let found = thresholds(&form, &form.site.planned_air().unwrap()).unwrap();
    let base = WatchSettings { pressure_max_pa: 2_400.0, interval_s: 60.0, revision: 3, ..WatchSettings::EXAMPLE };
    let settings = found.put_into(&base);
    settings.validate().unwrap();
    settings
}

const THIN: Outside = Outside { pressure_pa: 91_000.0, temperature_c: 24.0 };

impl Bench {
    fn arm_with_form(&mut self) -> Vec<FromBox> {
        let form = form();
        self.run(0.1);
        self.world.button.set(true);
        self.run(1.5);
        self.send(&ToBox::Offer(planned()));
        let mut said = self.run(0.1);
        self.send(&ToBox::OfferSite(form.site));
        said.extend(self.run(0.1));
        self.send(&ToBox::OfferBags(form.bags));
        said.extend(self.run(0.1));
        self.send(&ToBox::OfferCurve(form.curve));
        said.extend(self.run(0.1));
        self.send(&ToBox::Confirm { check: check_with_form(&planned(), &form).unwrap() });
        said.extend(self.run(0.1));
        self.world.button.set(false);
        said
    }

    /// Runs a job that is wanted, as a board does beside the steps.
    fn compute(&mut self) -> bool {
        let Some(job) = self.app.job() else { return false };
        let found = job.run();
        self.run(0.5);
        self.app.found(&found);
        true
    }

    fn today(&mut self) -> Today {
        self.send(&ToBox::ReadToday);
        let said = self.run(0.1);
        said.iter().rev().find_map(|m| if let FromBox::Today(t) = m { Some(*t) } else { None }).unwrap()
    }
}

fn expected(air: Outside) -> (Thresholds, WatchSettings) {
    let air = todays_air(air.pressure_pa, air.temperature_c + 273.15).unwrap();
    let found = thresholds(&form(), &air).unwrap();
    (found, in_force(&planned(), &found).unwrap())
}

#[test]
fn a_site_is_staged_stored_and_read_back_after_a_reset() {
    let mut bench = Bench::new();
    let said = bench.arm_with_form();
    let form = form();
    for wanted in [
        FromBox::Staged(planned()),
        FromBox::StagedSite(form.site),
        FromBox::StagedBags(form.bags),
        FromBox::StagedCurve(form.curve),
        FromBox::Stored(planned()),
    ] {
        assert!(said.contains(&wanted), "{wanted:?} {:?}", refusals(&said));
    }
    bench.restart(ResetCause::PowerOn);
    assert_eq!(bench.app.settings, Some(planned()));
    assert_eq!(bench.app.form(), Some(form));
    assert_eq!(bench.today().verdict, Verdict::NoAir);
    // Settings alone replace all of it.
    let newer = WatchSettings { revision: 4, ..planned() };
    assert!(bench.arm(newer).contains(&FromBox::Stored(newer)));
    assert_eq!((bench.app.form(), bench.today().verdict), (None, Verdict::NoSite));
}

#[test]
fn a_form_needs_settings_and_the_checksum_of_all_parts() {
    let form = form();
    let WatchedForm { site, bags, curve } = form;
    let mut bench = Bench::new();
    bench.send(&ToBox::OfferSite(site));
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::NotStaged]);
    bench.world.button.set(true);
    bench.run(1.5);
    bench.send(&ToBox::Offer(planned()));
    bench.run(0.1);
    bench.send(&ToBox::OfferSite(WatchedSite { air_pressure_pa: f32::NAN, ..site }));
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Impossible]);
    bench.send(&ToBox::OfferBags(WatchedBags { soft: BagFactors { stretch: f32::NAN, ..bags.soft }, ..bags }));
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Impossible]);
    bench.send(&ToBox::OfferCurve(FanCurve { count: 2, ..curve }));
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Impossible]);
    bench.send(&ToBox::OfferSite(site));
    bench.run(0.1);
    bench.send(&ToBox::OfferBags(bags));
    bench.run(0.1);
    // The curve is missing: the checksum of all is not what is staged.
    bench.send(&ToBox::Confirm { check: check_with_form(&planned(), &form).unwrap() });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::NotStaged]);
    bench.send(&ToBox::OfferCurve(curve));
    bench.run(0.1);
    bench.send(&ToBox::Confirm { check: check_of(&planned()).unwrap() });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::NotStaged]);
    assert_eq!(bench.app.settings, None);
}

#[test]
fn todays_thresholds_are_the_planners_to_the_bit_and_hold_before_riding() {
    let mut bench = Bench::new();
    bench.arm_with_form();
    bench.world.outside.set(Some(THIN));
    bench.run(1.5);
    assert!(bench.app.job().is_none(), "before the mean of 2 s is there");
    bench.run(0.6);
    assert_eq!(bench.app.advisory.today.verdict, Verdict::Computing);
    assert!(bench.compute());
    bench.run(0.1);
    let (computed, held) = expected(THIN);
    let today = bench.today();
    assert_eq!((today.verdict, today.air), (Verdict::Today, Some((91_000.0, 297.15))));
    assert_eq!(today.planned, Some(Thresholds::of(&planned())));
    assert_eq!(today.computed, Some(computed));
    assert_eq!(today.in_force, Some(Thresholds::of(&held)));
    assert_eq!(bench.app.watch.as_ref().map(|w| *w.settings()), Some(held));
    assert!(held.stop_pa >= planned().stop_pa && held.operating_pa < planned().operating_pa);
    assert!(bench.app.job().is_none(), "the same air asks for nothing");
    // The stored settings are the planned ones.
    assert_eq!(bench.app.settings, Some(planned()));
    // It rides by them, and the log tells.
    bench.run(3.0);
    bench.world.reading.set(Ok(held.operating_pa));
    bench.run(15.0);
    assert!(bench.permit(), "{:?}", bench.app.status);
    bench.send(&ToBox::ReadLog { from: 0 });
    let said = bench.run(20.0);
    assert!(said.iter().any(|m| matches!(m, FromBox::Logged { entry: Entry { what: Noted::Today { verdict: Verdict::Today, stop_pa, .. }, .. }, .. } if *stop_pa == held.stop_pa)));
}

#[test]
fn while_the_permit_is_on_nothing_is_asked_for_or_taken_over() {
    let mut bench = Bench::new();
    bench.world.outside.set(Some(THIN));
    bench.arm_with_form();
    bench.run(3.0);
    let job = bench.app.job().unwrap();
    // The computation takes so long that riding has begun.
    bench.run(3.0);
    bench.world.reading.set(Ok(planned().operating_pa));
    bench.run(15.0);
    assert!(bench.permit());
    bench.app.found(&job.run());
    bench.run(5.0);
    assert!(bench.permit());
    assert_eq!(bench.app.watch.as_ref().map(|w| *w.settings()), Some(planned()));
    assert_eq!(bench.today().verdict, Verdict::Waiting);
    bench.world.outside.set(Some(Outside { pressure_pa: 80_000.0, temperature_c: 40.0 }));
    bench.run(5.0);
    assert!(bench.app.job().is_none());
    // A landing opens the permit: then it is taken over.
    bench.world.reading.set(Ok(planned().operating_pa + 800.0));
    bench.run(0.3);
    bench.world.reading.set(Ok(planned().operating_pa - 40.0));
    bench.run(0.5);
    assert!(!bench.permit());
    assert_eq!(bench.app.watch.as_ref().map(|w| *w.settings()), Some(expected(THIN).1));
}

#[test]
fn a_stop_is_acknowledged_before_anything_is_taken_over() {
    let mut bench = Bench::new();
    bench.arm_with_form();
    bench.run(4.0);
    bench.world.reading.set(Ok(planned().operating_pa));
    bench.run(15.0);
    bench.world.reading.set(Ok(300.0));
    bench.run(1.0);
    bench.world.outside.set(Some(THIN));
    bench.run(5.0);
    assert!(bench.app.job().is_none() && bench.app.status.siren);
}

#[test]
fn air_that_is_none_and_thresholds_out_of_order_leave_the_planned_ones() {
    let mut bench = Bench::new();
    bench.arm_with_form();
    for (air, verdict) in [
        (Outside { pressure_pa: 59_000.0, temperature_c: 20.0 }, Verdict::AirNotBelieved),
        (Outside { pressure_pa: 95_000.0, temperature_c: -31.0 }, Verdict::AirNotBelieved),
        (Outside { pressure_pa: 65_000.0, temperature_c: 45.0 }, Verdict::NoHigh),
        (Outside { pressure_pa: 86_000.0, temperature_c: 24.0 }, Verdict::OutOfOrder),
        (Outside { pressure_pa: f32::NAN, temperature_c: 20.0 }, Verdict::AirNotBelieved),
    ] {
        bench.world.outside.set(Some(air));
        // The first mean may still hold some of the air before.
        for _ in 0..2 {
            bench.run(2.1);
            bench.compute();
        }
        bench.run(0.1);
        let today = bench.today();
        assert_eq!(today.verdict, verdict, "{air:?} {today:?}");
        // A bag at its planned pressure is ridden where today's could not be computed, and only there.
        bench.world.reading.set(Ok(planned().operating_pa));
        bench.run(15.0);
        let ridden = !matches!(verdict, Verdict::NoHigh | Verdict::OutOfOrder);
        assert_eq!(bench.app.status.permit, ridden, "{air:?} {:?}", bench.app.status.state);
        if !ridden {
            assert!(matches!(bench.app.status.state, Some((State::Fill | State::Wait, Reason::NoBand))));
        }
        bench.world.reading.set(Ok(planned().wait_pa - 5.0));
        bench.run(3.0);
        assert!(!bench.app.status.permit && !bench.app.status.siren, "{:?}", bench.app.status.state);
        assert_eq!(today.in_force, Some(Thresholds::of(&planned())));
        assert_eq!(bench.app.watch.as_ref().map(|w| *w.settings()), Some(planned()));
    }
    // And back: thinner air holds, then air that is none puts the planned ones back.
    bench.world.outside.set(Some(THIN));
    for _ in 0..2 {
        bench.run(2.1);
        bench.compute();
    }
    bench.run(0.1);
    assert_eq!(bench.today().verdict, Verdict::Today);
    bench.world.outside.set(Some(Outside { pressure_pa: 30_000.0, temperature_c: 20.0 }));
    for _ in 0..2 {
        bench.run(2.1);
        bench.compute();
    }
    bench.run(0.1);
    assert_eq!(bench.app.watch.as_ref().map(|w| *w.settings()), Some(planned()));
}

#[test]
fn a_person_states_the_air_with_the_button_held() {
    let mut bench = Bench::new();
    bench.arm_with_form();
    bench.run(0.1);
    let air = ToBox::Air { pressure_pa: 91_000.0, temperature_k: 297.15 };
    bench.send(&air);
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Button]);
    bench.world.button.set(true);
    bench.run(1.2);
    bench.send(&ToBox::Air { pressure_pa: 910.0, temperature_k: 297.15 });
    assert_eq!(refusals(&bench.run(0.1)), [Refusal::Impossible]);
    bench.send(&air);
    assert!(refusals(&bench.run(0.1)).is_empty());
    bench.world.button.set(false);
    assert!(bench.compute());
    bench.run(0.1);
    assert_eq!(bench.today().in_force, Some(Thresholds::of(&expected(THIN).1)));
    // Only until it is switched off.
    bench.restart(ResetCause::PowerOn);
    bench.run(5.0);
    assert_eq!(bench.today().verdict, Verdict::NoAir);
}

#[test]
fn a_job_made_before_new_settings_is_dropped() {
    let mut bench = Bench::new();
    bench.world.outside.set(Some(THIN));
    bench.arm_with_form();
    bench.run(3.0);
    let job = bench.app.job().unwrap();
    let newer = WatchSettings { revision: 4, ..planned() };
    assert!(bench.arm(newer).contains(&FromBox::Stored(newer)));
    bench.app.found(&job.run());
    bench.run(1.0);
    assert_eq!(bench.app.watch.as_ref().map(|w| *w.settings()), Some(newer));
    assert_eq!(bench.today().verdict, Verdict::NoSite);
}

#[test]
fn a_power_cut_at_any_byte_leaves_the_old_site_or_the_new_one() {
    let WatchedForm { site, bags, curve } = form();
    let mut armed = Bench::new();
    armed.arm_with_form();
    let image = armed.world.flash.borrow().clone();
    let settings = WatchSettings { revision: 4, ..planned() };
    let other = WatchedForm {
        site: WatchedSite { riders: LevelsRiders { heaviest_kg: 111.0, ..site.riders }, ..site },
        bags,
        curve,
    };
    let (mut old, mut new) = (0, 0);
    for cut in (1..1_000).step_by(3) {
        let mut bench = Bench::new();
        bench.world.flash.borrow_mut().clone_from(&image);
        bench.restart(ResetCause::PowerOn);
        bench.run(0.1);
        bench.world.button.set(true);
        bench.run(1.2);
        for message in
            [ToBox::Offer(settings), ToBox::OfferSite(other.site), ToBox::OfferBags(bags), ToBox::OfferCurve(curve)]
        {
            bench.send(&message);
            bench.run(0.06);
        }
        bench.world.power.set(cut);
        bench.send(&ToBox::Confirm { check: check_with_form(&settings, &other).unwrap() });
        let confirmed = bench.run(0.1).contains(&FromBox::Stored(settings));
        bench.world.button.set(false);
        bench.restart(ResetCause::PowerOn);
        match (bench.app.settings, bench.app.form()) {
            (Some(s), Some(at)) if s == settings && at == other => new += 1,
            (Some(s), Some(at)) if s == planned() && at == form() && !confirmed => old += 1,
            (settings, form) => panic!("cut {cut}: {settings:?} {form:?}, confirmed {confirmed}"),
        }
    }
    assert!(old > 100 && new > 100, "{old} {new}");
}
