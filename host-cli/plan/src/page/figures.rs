//! The figures that two variants are compared by, in the site's own units.

use serde_json::{Value, json};

use crate::plan::results::{Results, Standing};
use crate::plan::words::{chance, fewer_than};
use crate::report::{fixed, places, unit};
use crate::shown::{Shown, Toward};
use crate::site::Dimension;

/// What a figure is a number of.
#[derive(Clone, Copy, Debug)]
enum Of {
    /// A quantity, rounded to a side.
    A(Dimension, Toward),
    /// Loads, in gravities.
    Gravities,
    /// Seconds, with so many places.
    Seconds(usize),
    /// A chance.
    Chance,
}

/// Name, title, place in the results, what it is.
type Figure = (&'static str, &'static str, &'static str, Of);

const LENGTH: Of = Of::A(Dimension::Length, Toward::Nearest);

/// What comes before the marks, and what after them.
const BEFORE: [Figure; 11] = [
    ("lip_speed", "Speed at the lip", "/ride/lip_speed_mps", Of::A(Dimension::Speed, Toward::Nearest)),
    ("load", "Highest load on the ride down", "/ride/peak_load_g", Of::Gravities),
    ("airtime", "Time in the air", "/flight/airtime_s", Of::Seconds(2)),
    ("apex", "Highest above the lip", "/flight/apex_above_lip_m", LENGTH),
    ("along", "Lands behind the bag's front edge", "/flight/along_m", LENGTH),
    ("fall", "Falls onto the bag like from", "/flight/equivalent_fall_height_m", LENGTH),
    ("sd_along", "Two in three tries land within, either way", "/spread/sampling/sd_along_m", LENGTH),
    ("miss", "Chance of a miss, worst rider", "/placement/miss_now", Of::Chance),
    ("best_gap", "Best gap", "/placement/best_gap_m", LENGTH),
    ("gap_low", "Gap from", "/placement/gap_low_m", Of::A(Dimension::Length, Toward::Up)),
    ("gap_high", "Gap to", "/placement/gap_high_m", Of::A(Dimension::Length, Toward::Down)),
];
const AFTER: [Figure; 6] = [
    (
        "settled",
        "Pressure that the blowers hold",
        "/air/operating_pressure_pa",
        Of::A(Dimension::Pressure, Toward::Nearest),
    ),
    ("depth", "Depth of the mean landing", "/touchdown/depth_m", LENGTH),
    ("clearance", "Left above the ground", "/touchdown/clearance_m", LENGTH),
    ("felt", "Felt load in the bag", "/touchdown/felt_load_g", Of::Gravities),
    ("recovery", "Pressure back after a landing", "/touchdown/recovery_s", Of::Seconds(1)),
    ("missing", "Seconds missing after a power cut", "/pressures/seconds_missing", Of::Seconds(1)),
];

/// What one rider does: where the file has groups it is the rider whom it states for itself, in no group.
const OF_A_RIDER: [&str; 12] = [
    "lip_speed",
    "load",
    "airtime",
    "apex",
    "along",
    "fall",
    "sd_along",
    "best_gap",
    "depth",
    "clearance",
    "felt",
    "recovery",
];

/// The figures of a plan, from its results and the same as they are printed.
pub(super) fn figures(shown: Shown, results: &Results, printed: &Value) -> Value {
    let found = |(id, title, pointer, of): &Figure| {
        // Of several groups the one that misses most.
        let misses = |of: &Results| of.placement.miss_now.unwrap_or(0.0);
        let most = results.groups.iter().max_by(|a, b| misses(&a.1).total_cmp(&misses(&b.1)));
        let title = match (*id, most) {
            ("miss", None) => format!("Chance of a miss, {} rider", results.riders.worst),
            ("miss", Some((group, own))) => format!("Chance of a miss, {} rider of {group}", own.riders.worst),
            (id, Some(_)) if OF_A_RIDER.contains(&id) => format!("{title}, the file's own rider"),
            _ => (*title).to_owned(),
        };
        // Of several groups, the gaps that suit them all.
        let value = match *id {
            "gap_low" => results.gap_band_m().map(|band| band.0),
            "miss" if most.is_some() => most.and_then(|(_, own)| own.placement.miss_now),
            "gap_high" => results.gap_band_m().map(|band| band.1),
            _ => printed.pointer(pointer).and_then(Value::as_f64),
        };
        figure(shown, results, id, title, value, *of)
    };
    BEFORE.iter().map(found).chain(marks(shown, results)).chain(AFTER.iter().map(found)).collect()
}

/// What people ride by; where the plan is a stop there is nothing to ride by.
fn marks(shown: Shown, results: &Results) -> Vec<Value> {
    let rides = results.verdict.standing != Standing::Outside;
    let several = results.ride_by.len() > 1;
    let mut list = Vec::new();
    for by in &results.ride_by {
        let (of, own) = if several {
            (format!(", {}", by.group), format!("-{}", by.group))
        } else {
            (String::new(), String::new())
        };
        for (id, title, value, toward) in [
            ("highest", "Start mark, at most", by.start_high_m.get(), Toward::Down),
            ("lowest", "Start mark, at least", by.start_low_m.get(), Toward::Up),
        ] {
            let value = value.filter(|_| rides);
            let length = Of::A(Dimension::Length, toward);
            list.push(figure(shown, results, &format!("{id}{own}"), format!("{title}{of}"), value, length));
        }
    }
    if let Some(by) = results.for_everybody() {
        for (id, title, value) in [
            ("next", "Next rider from", by.next_rider_from_pa.get()),
            ("stop", "Everybody off at", by.everybody_off_under_pa.get()),
        ] {
            let value = value.filter(|_| rides);
            list.push(figure(shown, results, id, title.to_owned(), value, Of::A(Dimension::Pressure, Toward::Up)));
        }
    }
    list
}

/// One of them: its words, and the number that a difference is taken of, in the unit that it is shown in.
fn figure(shown: Shown, results: &Results, id: &str, title: String, value: Option<f64>, of: Of) -> Value {
    let (factor, unit, places) = scale(shown, of);
    let text = value.map_or_else(|| "–".to_owned(), |value| words(shown, results, value, of));
    json!({
        "id": id, "title": title, "unit": unit, "places": places, "text": text,
        "value": value.map(|value| value * factor),
    })
}

/// The unit of a difference: how many of it an SI unit is, what it is called, how many places it has.
fn scale(shown: Shown, of: Of) -> (f64, &'static str, usize) {
    match of {
        Of::A(Dimension::Length, _) if shown.is_imperial() => (1.0 / 0.0254, "in", 1),
        Of::A(dimension, _) => (shown.value(dimension, 1.0), unit(shown, dimension), places(shown, dimension)),
        Of::Gravities => (1.0, "g", 1),
        Of::Seconds(places) => (1.0, "s", places),
        Of::Chance => (100.0, "%", 3),
    }
}

fn words(shown: Shown, results: &Results, value: f64, of: Of) -> String {
    match of {
        Of::A(Dimension::Speed, toward) => shown.fine_speed(value, toward),
        Of::A(dimension, toward) => shown.quantity(dimension, value, toward).replace('-', "−"),
        Of::Gravities => format!("{} g", fixed(value, 1)),
        Of::Seconds(places) => format!("{} s", fixed(value, places)),
        Of::Chance => {
            // Without a miss in N runs the chance is only known to be below 3/N.
            let bound = results.spread.sampling.as_ref().map(|sampling| 3.0 / sampling.samples as f64);
            let is_bound = bound.is_some_and(|bound| (value / bound - 1.0).abs() < 1.0e-6);
            if is_bound { fewer_than(value) } else { chance(value) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{Parts, compute, json};
    use crate::site::{Site, demo};
    use landfall_sampling::Stop;

    fn listed(site: &Site) -> (Vec<Value>, Results) {
        let results = compute(site, Parts::ALL, &Stop::default()).unwrap();
        let list = figures(Shown::of(site), &results, &json::value(&results).unwrap());
        (list.as_array().unwrap().clone(), results)
    }

    fn of<'a>(list: &'a [Value], id: &str) -> &'a Value {
        list.iter().find(|figure| figure["id"] == id).unwrap_or_else(|| panic!("no {id}: {list:?}"))
    }

    #[test]
    fn every_figure_is_found_in_the_results() {
        let (list, _) = listed(&demo().with_value("spread.samples", 20000.0).unwrap());
        for figure in &list {
            assert!(figure["value"].is_f64(), "{figure}");
        }
    }

    /// Feet, inches and the gauge's own unit, in the words and in what a difference is taken of.
    #[test]
    fn figures_are_in_the_sites_units() {
        let site = demo().with_value("spread.samples", 20000.0).unwrap().with_value("site.units", "imperial").unwrap();
        let (list, results) = listed(&site.with_value("site.gauge", "inH2O").unwrap());
        for figure in &list {
            let text = figure["text"].as_str().unwrap();
            let metric = [" m", " km/h", " kPa"].iter().any(|unit| text.ends_with(unit));
            assert!(!metric && !["m", "km/h", "kPa"].contains(&figure["unit"].as_str().unwrap()), "{figure}");
        }
        let by = &results.ride_by[0];
        let mark = of(&list, "highest");
        assert!(mark["text"].as_str().unwrap().contains(" ft ") && mark["unit"] == "in", "{mark}");
        assert!((mark["value"].as_f64().unwrap() * 0.0254 - by.start_high_m.get().unwrap()).abs() < 1e-9, "{mark}");
        let off = of(&list, "stop");
        assert!(off["text"].as_str().unwrap().ends_with(" inH2O") && off["unit"] == "inH2O", "{off}");
        assert!(
            (off["value"].as_f64().unwrap() * 249.089 - by.everybody_off_under_pa.get().unwrap()).abs() < 0.1,
            "{off}"
        );
    }

    /// A chance that no run showed is a bound, in the words of the plan's text.
    #[test]
    fn a_chance_without_a_miss_is_said_as_in_the_text() {
        let site = demo().with_value("spread.samples", 20000.0).unwrap();
        let site = site.with_value("spread.pop", "0.1 m/s").unwrap().with_value("spread.botched", 0.0).unwrap();
        let (list, results) = listed(&site);
        assert_eq!(results.spread.sampling.as_ref().unwrap().misses, 0);
        let said = of(&list, "miss")["text"].as_str().unwrap().to_owned();
        assert_eq!(said, "fewer than 1 in 6,600");
        let finding = results.findings.iter().find(|finding| finding.id == "miss").unwrap();
        assert!(finding.text.contains(&format!("missed the landing field: {said}, ")), "{}", finding.text);
    }

    /// Of several groups each figure says whose it is; the chance of a miss is everybody's worst.
    #[test]
    fn figures_of_several_groups_say_whose_they_are() {
        let text = format!(
            "{}\n[[group]]\nname = \"Adults\"\n[[group]]\nname = \"Wild\"\npop_sd = \"1.5 m/s\"\n",
            crate::site::demo_text()
        );
        let site = crate::site::read_site(&text, "a").unwrap().with_value("spread.samples", 20000.0).unwrap();
        let (list, results) = listed(&site);
        let wild = results.groups[1].1.placement.miss_now.unwrap();
        assert!(wild > results.placement.miss_now.unwrap());
        let miss = of(&list, "miss");
        assert!(miss["title"].as_str().unwrap().ends_with(" rider of Wild"), "{miss}");
        assert!((miss["value"].as_f64().unwrap() - 100.0 * wild).abs() < 1e-9, "{miss}");
        assert_eq!(of(&list, "along")["title"], "Lands behind the bag's front edge, the file's own rider");
        assert_eq!(of(&list, "gap_low")["title"], "Gap from");
    }

    /// Nothing to ride by where the plan is a stop.
    #[test]
    fn a_stop_has_no_marks_among_the_figures() {
        let site =
            demo().with_value("spread.samples", 20000.0).unwrap().with_value("bag.vent_area", "3000 cm2").unwrap();
        let (list, results) = listed(&site);
        assert_eq!(results.verdict.standing, Standing::Outside);
        for id in ["highest", "lowest", "next", "stop"] {
            assert_eq!(of(&list, id)["text"], "–");
        }
    }
}
