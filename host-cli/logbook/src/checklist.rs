//! What to look at before a session, written from the plan's own limits.

use landfall_core::wind::GUST_FACTOR;
use landfall_plan::plan::results::{Results, RideBy};
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Dimension, Site, parse_quantity};
use serde::Serialize;

/// One thing to look at.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Item {
    /// On the checklist, from 1.
    pub number: i64,
    /// What to look at.
    pub what: String,
    /// Lowest value that is inside, in SI; null: none.
    pub low: Option<f64>,
    /// Highest value that is inside, in SI; null: none.
    pub high: Option<f64>,
    /// Name of what is measured, `Number` for a count; null: answered with yes or no.
    pub dimension: Option<String>,
    /// Unit in which it is shown.
    pub unit: String,
}

/// The list of a plan.
#[must_use]
pub fn checklist(site: &Site, results: &Results) -> Vec<Item> {
    let mut items: Vec<Item> = Vec::new();
    let mut add = |what: String, limits: (Option<f64>, Option<f64>), measured: Option<(&str, &str)>| {
        items.push(Item {
            number: items.len() as i64 + 1,
            what,
            low: limits.0,
            high: limits.1,
            dimension: measured.map(|(dimension, _)| dimension.to_owned()),
            unit: measured.map_or_else(String::new, |(_, unit)| unit.to_owned()),
        });
    };
    let (gap, wind) = (results.gap_band_m(), &results.wind);
    let shown = Shown::of(site);
    // What is judged by is what is shown, to the last digit, and on the careful side.
    let told = |dimension: Dimension, si: f64, toward: Toward| {
        parse_quantity(&shown.quantity(dimension, si, toward), dimension).map_or(si, |quantity| quantity.si)
    };
    let between = |dimension: Dimension, (low, high): (Option<f64>, Option<f64>)| {
        (low.map(|si| told(dimension, si, Toward::Up)), high.map(|si| told(dimension, si, Toward::Down)))
    };
    let length = Some(("Length", shown.unit(Dimension::Length)));
    let pressure = Some(("Pressure", shown.unit(Dimension::Pressure)));
    let several = results.ride_by.len() > 1;
    let of = |by: &RideBy| if several { format!(", {}", by.group) } else { String::new() };
    for by in &results.ride_by {
        let marks = between(Dimension::Length, (by.start_low_m.get(), by.start_high_m.get()));
        add(format!("Start height above the take-off's foot{}", of(by)), marks, length);
    }
    add(
        "Gap from the lip to the bag's front edge".to_owned(),
        between(Dimension::Length, (gap.map(|gap| gap.0), gap.map(|gap| gap.1))),
        length,
    );
    let needed = f64::from(wind.anchors_needed);
    add("Anchors set and tight, all round".to_owned(), (Some(needed), None), Some(("Number", "")));
    let pressures = &results.pressures;
    let band = between(Dimension::Pressure, (pressures.band_low_pa.get(), pressures.band_high_pa.get()));
    add("Pressure in the bag, blowers on, nobody on it".to_owned(), band, pressure);
    let everybody = results.for_everybody();
    if let Some(from_pa) = everybody.as_ref().and_then(|by| by.next_rider_from_pa.get()) {
        let from = between(Dimension::Pressure, (Some(from_pa), None));
        add("Pressure in the bag when the next rider starts".to_owned(), from, pressure);
    }
    let speed = Some(("Speed", shown.unit(Dimension::Speed)));
    let mean =
        |hold: fn(&RideBy) -> Option<f64>| everybody.as_ref().and_then(hold).map(|gust| gust / f64::from(GUST_FACTOR));
    for (name, hold) in [
        ("wind from behind", mean(|by| by.hold_along_tail_mps.get())),
        ("wind from the front", mean(|by| by.hold_along_head_mps.get())),
        ("wind from the side", mean(|by| by.hold_across_mps.get())),
    ] {
        add(format!("Mean {name}, read on the spot"), between(Dimension::Speed, (None, hold)), speed);
    }
    let mass = Some(("Mass", shown.unit(Dimension::Mass)));
    for by in &results.ride_by {
        let (low, high) = between(Dimension::Mass, (Some(by.lightest_kg), Some(by.heaviest_kg)));
        add(format!("Lightest rider with gear{}", of(by)), (low, None), mass);
        add(format!("Heaviest rider with gear{}", of(by)), (None, high), mass);
    }
    let interval_s = everybody.as_ref().map_or(site.session.interval_s, |by| by.seconds_between);
    add("Time between two riders".to_owned(), (Some(interval_s), None), Some(("Time", "s")));
    let yes_or_no = (None, None);
    match everybody.and_then(|by| by.stop_line_before_foot_m.get()) {
        Some(m) => {
            add(
                format!("Last stop line marked {} before the take-off's foot", shown.length(m, Toward::Up)),
                yes_or_no,
                None,
            );
        }
        None => add("Every rider knows that the ride is committed from the start".to_owned(), yes_or_no, None),
    }
    if site.blower.closing_flap {
        add("Closing flaps close when the blowers are switched off".to_owned(), yes_or_no, None);
    }
    if site.watch.supply_sense {
        add("The box's siren comes when the blowers' supply is pulled".to_owned(), yes_or_no, None);
    }
    if site.watch.top_signal {
        add("The lamp at the top turns red when its cable is pulled, and the box says so".to_owned(), yes_or_no, None);
    }
    for what in [
        "Line walked; bag, anchors, blowers and take-off looked at by hand",
        "Landing and its surroundings are clear, and somebody watches the bag",
        "Somebody trained in first aid is here, with a way to call help",
    ] {
        add(what.to_owned(), yes_or_no, None);
    }
    items
}
