//! The figures that two variants are compared by.

use serde_json::{Value, json};

use crate::plan::results::Results;
use crate::plan::words::chance;
use crate::report::fixed;

/// Name, title, place in the results, factor to the shown unit, unit, decimal places.
type Figure = (&'static str, &'static str, &'static str, f64, &'static str, usize);

const FIGURES: [Figure; 20] = [
    ("lip_speed", "Speed at the lip", "/ride/lip_speed_mps", 3.6, "km/h", 1),
    ("load", "Highest load on the ride down", "/ride/peak_load_g", 1.0, "g", 1),
    ("airtime", "Time in the air", "/flight/airtime_s", 1.0, "s", 2),
    ("apex", "Highest above the lip", "/flight/apex_above_lip_m", 1.0, "m", 2),
    ("along", "Lands behind the bag's front edge", "/flight/along_m", 1.0, "m", 2),
    ("fall", "Falls onto the bag like from", "/flight/equivalent_fall_height_m", 1.0, "m", 2),
    ("sd_along", "Two in three tries land within, either way", "/spread/sampling/sd_along_m", 1.0, "m", 2),
    ("miss", "Chance of a miss, worst rider", "/placement/miss_now", 100.0, "%", 3),
    ("best_gap", "Best gap", "/placement/best_gap_m", 1.0, "m", 2),
    ("gap_low", "Gap from", "/placement/gap_low_m", 1.0, "m", 2),
    ("gap_high", "Gap to", "/placement/gap_high_m", 1.0, "m", 2),
    ("highest", "Start mark, at most", "/ride_by/all/start_high_m", 1.0, "m", 2),
    ("lowest", "Start mark, at least", "/ride_by/all/start_low_m", 1.0, "m", 2),
    ("settled", "Pressure that the blowers hold", "/air/operating_pressure_pa", 0.001, "kPa", 2),
    ("stop", "Stop pressure", "/pressures/stop_pa", 0.001, "kPa", 2),
    ("depth", "Depth of the mean landing", "/touchdown/depth_m", 1.0, "m", 2),
    ("clearance", "Left above the ground", "/touchdown/clearance_m", 1.0, "m", 2),
    ("felt", "Felt load in the bag", "/touchdown/felt_load_g", 1.0, "g", 1),
    ("recovery", "Pressure back after a landing", "/touchdown/recovery_s", 1.0, "s", 1),
    ("missing", "Seconds missing after a power cut", "/pressures/seconds_missing", 1.0, "s", 1),
];

/// The figures of a plan, from its printed results.
pub(super) fn figures(results: &Results, printed: &Value) -> Value {
    let bound = results.spread.sampling.as_ref().map(|sampling| 3.0 / sampling.samples as f64);
    FIGURES
        .iter()
        .map(|(id, title, pointer, factor, unit, places)| {
            let value = printed.pointer(pointer).and_then(Value::as_f64);
            // Without a miss in N runs the chance is only known to be below 3/N.
            let is_bound =
                *id == "miss" && value.zip(bound).is_some_and(|(value, bound)| (value / bound - 1.0).abs() < 1.0e-6);
            let title = if *id == "miss" {
                format!("Chance of a miss, {} rider", results.riders.worst)
            } else {
                (*title).to_owned()
            };
            let text = match (value, *id) {
                (None, _) => "–".to_owned(),
                (Some(value), "miss") if is_bound => format!("at most {}", chance(value)),
                (Some(value), "miss") => chance(value),
                (Some(value), _) => format!("{} {unit}", fixed(value * factor, *places)),
            };
            json!({
                "id": id, "title": title, "unit": unit, "places": places, "text": text,
                "value": value.map(|value| value * factor),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{Parts, compute, json};
    use crate::sampling::Stop;
    use crate::site::demo;

    #[test]
    fn every_figure_is_found_in_the_results() {
        let site = demo().with_value("spread.samples", 4096.0).unwrap();
        let results = compute(&site, Parts::ALL, &Stop::default()).unwrap();
        let list = figures(&results, &json::value(&results).unwrap());
        for figure in list.as_array().unwrap() {
            assert!(figure["value"].is_f64(), "{figure}");
        }
    }
}
