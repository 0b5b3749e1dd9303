//! The site in the compact form that a box computes with, and what it would go by in today's air.

use landfall_core::InputError;
use landfall_core::air::Air;
use landfall_core::thresholds::{WatchedForm, thresholds, todays_air};
use landfall_core::watch::WatchSettings;
use landfall_core::watch::{Thresholds, in_force};
use landfall_firmware::link::Verdict;
use serde_json::{Value, json};

use super::arm::Armed;
use landfall_plan::plan::box_settings::why_none;

/// Which thresholds a box goes by and why, in plain words.
pub const fn verdict_text(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Today => "the thresholds of today's air hold",
        Verdict::NoSettings => "no settings",
        Verdict::NoSite => "the planned thresholds hold: the box has no site to compute with",
        Verdict::NoAir => "the planned thresholds hold: no barometer, and nobody stated the air",
        Verdict::AirNotBelieved => "the planned thresholds hold: the measured air is not believed",
        Verdict::Computing => "today's thresholds are being computed",
        Verdict::Waiting => "new thresholds wait until the permit is off",
        Verdict::Refused => "the planned thresholds hold: in today's air the models refuse a value",
        Verdict::NotConverged => "the planned thresholds hold: a search did not close",
        Verdict::NoStop => "no permit: in today's air the stop pressure lies too near to where the bag rests",
        Verdict::NoWait => "no permit: in today's air the bag rests too near to the stop pressure",
        Verdict::NoHigh => "no permit: in today's air the bag rests outside the pressures to ride between",
        Verdict::NeverBack => "no permit: in today's air the blowers never bring the bag back",
        Verdict::OutOfOrder => "no permit: the stricter of planned and today's thresholds leave no pressure to ride at",
    }
}

/// What a box tells, as a table.
pub fn told(today: &landfall_firmware::link::Today) -> String {
    let air = today.air.and_then(|(pa, k)| todays_air(pa, k).ok());
    let mut out = format!(
        "{}{}\n",
        verdict_text(today.verdict),
        air.map_or(String::new(), |air| format!(" ({})", air_words(&air)))
    );
    if let Some(planned) = &today.planned {
        out += &table(planned, today.computed.as_ref(), today.in_force.as_ref());
    }
    out
}

/// What a box would go by on a day.
#[derive(Clone, Debug)]
pub struct Today {
    /// The air of the day; as planned where it is not believed.
    pub air: Air,
    /// What the air gives by itself.
    pub computed: Option<Thresholds>,
    /// What the box goes by.
    pub in_force: WatchSettings,
    /// Why the planned thresholds hold, where they do.
    pub refused: Option<String>,
    /// The box gives no permit in this air: computed, and there is no pressure to ride at.
    pub withheld: bool,
}

/// What a box with `settings` and `form` goes by in an air: the box's own functions and rule.
///
/// # Errors
/// [`InputError`] where the air is none that a box believes.
pub fn today(
    settings: &WatchSettings,
    form: &WatchedForm,
    pressure_pa: f32,
    temperature_k: f32,
) -> Result<Today, InputError> {
    let air = todays_air(pressure_pa, temperature_k)?;
    let held =
        |computed, why: String, withheld| Today { air, computed, in_force: *settings, refused: Some(why), withheld };
    Ok(match thresholds(form, &air) {
        Err(error) => held(None, why_none(&error), Verdict::from(error).withholds()),
        Ok(computed) => match in_force(settings, &computed) {
            Ok(in_force) => Today { air, computed: Some(computed), in_force, refused: None, withheld: false },
            Err(error) => held(Some(computed), error.to_string(), Verdict::OutOfOrder.withholds()),
        },
    })
}

/// The same for an armed site.
///
/// # Errors
/// As [`today`].
pub fn of(armed: &Armed, pressure_pa: Option<f32>, temperature_k: Option<f32>) -> Result<Today, InputError> {
    let planned = &armed.form.site;
    today(
        &armed.settings,
        &armed.form,
        pressure_pa.unwrap_or(planned.air_pressure_pa),
        temperature_k.unwrap_or(planned.air_temperature_k),
    )
}

/// A row of the table: what it is, its value in each column, decimals.
type Row = (&'static str, fn(&Thresholds) -> f32, usize);

const ROWS: [Row; 9] = [
    ("at rest, Pa", |t| t.operating_pa, 0),
    ("stop, Pa", |t| t.stop_pa, 0),
    ("wait, Pa", |t| t.wait_pa, 0),
    ("upper end, Pa", |t| t.high_pa, 0),
    ("must hold for, s", |t| t.needed_s, 1),
    ("recovery, s", |t| t.recovery_s, 1),
    ("dip of a landing, Pa", |t| t.landing_dip_pa, 0),
    ("rise of a landing, Pa", |t| t.landing_spike_pa, 0),
    ("peak of a landing, Pa", |t| t.landing_peak_pa, 0),
];

/// Planned and today's thresholds side by side, and what holds.
pub fn table(planned: &Thresholds, computed: Option<&Thresholds>, in_force: Option<&Thresholds>) -> String {
    let mut out = format!("{:<24}{:>12}{:>12}{:>16}\n", "", "as planned", "today", "the box holds");
    for (what, value, decimals) in ROWS {
        let cell = |of: Option<&Thresholds>| of.map_or("-".into(), |t| format!("{:.decimals$}", value(t)));
        out += &format!("{what:<24}{:>12}{:>12}{:>16}\n", cell(Some(planned)), cell(computed), cell(in_force));
    }
    out
}

fn air_words(air: &Air) -> String {
    format!("{:.0} hPa, {:.1} °C, {:.3} kg/m³", air.pressure_pa / 100.0, air.temperature_k - 273.15, air.density_kgpm3)
}

/// In plain words.
pub fn text(armed: &Armed, today: &Today) -> String {
    let planned = armed.form.site.planned_air().map(|air| air_words(&air)).unwrap_or_default();
    let mut out = format!("\nToday: {} (planned with {planned})\n\n", air_words(&today.air));
    out += &table(&Thresholds::of(&armed.settings), today.computed.as_ref(), Some(&Thresholds::of(&today.in_force)));
    out += &match &today.refused {
        Some(why) if today.withheld => {
            format!("\nNo permit in this air, for there is no pressure to ride at: {why}.\n")
        }
        Some(why) => format!("\nThe planned ones hold: {why}\n"),
        None => {
            "\nOf stop, wait, upper end and the time to hold the stricter of the two; the rest as the bag is today.\n"
                .to_owned()
        }
    };
    out += "A box without a barometer, or without the program for it, goes by the planned ones.\n";
    out
}

/// As JSON.
pub fn json(today: &Today) -> Value {
    json!({
        "air_pressure_pa": today.air.pressure_pa,
        "air_temperature_k": today.air.temperature_k,
        "computed": today.computed,
        "in_force": today.in_force,
        "refused": today.refused,
        "withheld": today.withheld,
    })
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::arm::{NEEDED, arm, form};
    use landfall_core::thresholds::NoThresholds;
    use landfall_plan::plan::box_settings::Bags;
    use landfall_plan::plan::compute;
    use landfall_plan::plan::model::Supply;
    use landfall_plan::site::{Sensor, demo, read_site};
    use landfall_sampling::Stop;

    /// The form of the demo site.
    pub(crate) fn example() -> WatchedForm {
        let site = demo().with_value("spread.samples", "5000").unwrap();
        let results = compute(&site, NEEDED, &Stop::default()).unwrap();
        form(&site, &results, &Supply::new(&site).unwrap(), Sensor::Bridge20, Bags::Three).unwrap()
    }

    #[test]
    fn in_the_planned_air_today_is_the_plan_to_the_bit() {
        let site = demo().with_value("spread.samples", "5000").unwrap();
        let results = compute(&site, NEEDED, &Stop::default()).unwrap();
        let armed = arm(&site, &results, Sensor::Barometers, 1).unwrap();
        let day = of(&armed, None, None).unwrap();
        assert_eq!((day.in_force, day.refused.is_none()), (armed.settings, true));
        // A little thinner: the bag stands lower, and a limit may only get stricter.
        let day = of(&armed, Some(0.98 * armed.form.site.air_pressure_pa), None).unwrap();
        let (was, computed) = (armed.settings, day.computed.unwrap());
        assert!(computed.operating_pa < was.operating_pa && computed.stop_pa != was.stop_pa, "{computed:?}");
        assert!(day.refused.is_none(), "{:?}", day.refused);
        assert_eq!(day.in_force.operating_pa, computed.operating_pa);
        assert!(day.in_force.stop_pa >= computed.stop_pa && day.in_force.wait_pa >= computed.wait_pa);
        // So thin that the bag would not stand above what was planned: no permit, and it is said.
        let day = of(&armed, Some(65_000.0), Some(313.15)).unwrap();
        assert_eq!(day.in_force, was);
        assert!(text(&armed, &day).contains("No permit in this air,"));
        // No air.
        assert!(of(&armed, Some(59_000.0), None).is_err() && of(&armed, None, Some(340.0)).is_err());
    }

    #[test]
    fn the_form_gives_the_plans_own_pressures_for_every_reference_site() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/sites");
        let (mut compared, mut none) = (0, 0);
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let text = std::fs::read_to_string(&path).unwrap();
            let site = read_site(&text, &path.display().to_string()).unwrap();
            let site = site.with_value("spread.samples", "1000").unwrap();
            let results = compute(&site, NEEDED, &Stop::default()).unwrap();
            let supply = Supply::new(&site).unwrap();
            let Ok(form) = form(&site, &results, &supply, Sensor::Bridge20, Bags::Three) else { continue };
            let (air, p) = (form.site.planned_air().unwrap(), &results.pressures);
            assert_eq!(air, supply.air);
            match thresholds(&form, &air) {
                Ok(found) => {
                    assert_eq!(Some(f64::from(found.stop_pa)), p.stop_pa.get(), "{}", path.display());
                    let wait_pa = p.levels.get().map(|levels| levels.acting_wait_pa);
                    assert_eq!(Some(f64::from(found.wait_pa)), wait_pa, "{}", path.display());
                    assert_eq!(Some(f64::from(found.high_pa)), p.band_high_pa.get(), "{}", path.display());
                    assert_eq!(found.operating_pa, supply.operating.pressure_pa);
                    compared += 1;
                }
                Err(NoThresholds::NoStop) => {
                    let by_depth_pa = p.stated.as_ref().unwrap().stop_by_depth_pa.get().unwrap_or(f64::MAX);
                    let floor_pa = site.bag.stop_floor * site.bag.pressure_min_pa;
                    assert!(by_depth_pa.max(floor_pa) > p.room_pa.get().unwrap() - 1e-3, "{}", path.display());
                }
                Err(NoThresholds::NoWait) => {
                    assert!(p.wait_pa.get().is_none() && p.seconds_missing.get().unwrap() > 0.0, "{}", path.display());
                }
                Err(NoThresholds::NoHigh) => {
                    let operating_pa = f64::from(supply.operating.pressure_pa);
                    let inside = |low: f64, high: f64| low <= operating_pa && operating_pa <= high;
                    let band = p.band_low_pa.get().zip(p.band_high_pa.get());
                    assert!(!band.is_some_and(|(low, high)| inside(low, high)), "{}", path.display());
                }
                Err(error) => panic!("{}: {error:?}", path.display()),
            }
            none += usize::from(thresholds(&form, &air).is_err());
        }
        // Most of these sites are made to be hard on the models, and few have all thresholds.
        assert!(compared >= 1 && compared + none >= 20, "{compared} with thresholds, {none} without");
    }
}
