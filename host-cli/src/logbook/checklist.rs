//! What to look at before a session, written from the plan's own limits.

use crate::plan::results::Results;
use crate::shown::{Shown, Toward};
use crate::site::{Dimension, Site};
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
    let (p, wind) = (&results.placement, &results.wind);
    let shown = Shown::of(site);
    let length = Some(("Length", shown.unit(Dimension::Length)));
    let pressure = Some(("Pressure", shown.unit(Dimension::Pressure)));
    add(
        "Start height above the take-off's foot".to_owned(),
        (p.lowest_clearing_start_m, p.highest_start_in_gust_m),
        length,
    );
    add("Gap from the lip to the bag's front edge".to_owned(), (p.gap_low_m, p.gap_high_m), length);
    let needed = f64::from(wind.anchors_needed);
    add("Anchors set and tight, all round".to_owned(), (Some(needed), None), Some(("Number", "")));
    let pressures = &results.pressures;
    let band = (pressures.band_low_pa, pressures.band_high_pa);
    add("Pressure in the bag, blowers on, nobody on it".to_owned(), band, pressure);
    let wait_pa = pressures.wait_pa;
    if wait_pa.is_some() {
        let wait = (wait_pa, None);
        add("Pressure in the bag when the next rider starts".to_owned(), wait, pressure);
    }
    let speed = Some(("Speed", shown.unit(Dimension::Speed)));
    for (name, hold) in [
        ("tail wind", wind.mean_reading_tail_mps),
        ("head wind", wind.mean_reading_head_mps),
        ("cross wind", wind.mean_reading_across_mps),
    ] {
        add(format!("Mean {name}, read on the spot"), (None, hold), speed);
    }
    let mass = Some(("Mass", shown.unit(Dimension::Mass)));
    add("Lightest rider with gear".to_owned(), (Some(site.rider.lightest_kg), None), mass);
    add("Heaviest rider with gear".to_owned(), (None, Some(site.rider.heaviest_kg)), mass);
    let interval_s = site.session.interval_s.max(results.touchdown.as_ref().and_then(|t| t.recovery_s).unwrap_or(0.0));
    add("Time between two riders".to_owned(), (Some(interval_s), None), Some(("Time", "s")));
    let yes_or_no = (None, None);
    match p.last_stop_before_foot_m {
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
    for what in [
        "Line walked; bag, anchors, blowers and take-off looked at by hand",
        "Landing and its surroundings are clear, and somebody watches the bag",
        "Somebody trained in first aid is here, with a way to call help",
    ] {
        add(what.to_owned(), yes_or_no, None);
    }
    items
}
