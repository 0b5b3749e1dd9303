//! The sense of what is said to be fitted to the box.

use landfall_core::watch::parts::BLOWERS;

use super::draft::Draft;
use super::fault::Complaint;
use super::model::{Second, Sensor};
use super::order::ordered;
use super::ranges::show;

/// Of the battery, what is needed with each other.
const BATTERY: [&str; 3] = ["watch.battery_full", "watch.battery_empty", "watch.battery_lasts"];
/// An empty battery's voltage over a full one's, at most.
const EMPTY_SHARE: f64 = 0.98;

pub(super) fn check(draft: &Draft, out: &mut Vec<Complaint>) {
    let is = |key: &str, value: f64| draft.n(key) == Some(value);
    if is("watch.second_sensor", Second::Barometers.index()) && is("watch.sensor", Sensor::Barometers.index()) {
        out.push(Complaint::new(
            "watch.second_sensor",
            "the barometers are the first sensor already; read twice they would always agree",
            "give second_sensor = \"bridge\" with sensor = \"bridge20\", or leave it out",
        ));
    }
    if is("watch.blower_sense", 1.0)
        && let Some(count) = draft.n("blower.count").filter(|count| *count > f64::from(BLOWERS))
    {
        out.push(Complaint::new(
            "watch.blower_sense",
            format!(
                "the box senses {BLOWERS} blowers at most, and there are {} (blower.count)",
                show("blower.count", count)
            ),
            "leave blower_sense out; supply_sense still tells when the mains go",
        ));
    }
    let given: Vec<&str> = BATTERY.into_iter().filter(|key| draft.n(key).is_some()).collect();
    if !given.is_empty() && given.len() < BATTERY.len() {
        for missing in BATTERY.into_iter().filter(|key| !given.contains(key)) {
            out.push(Complaint::new(
                missing,
                "is missing: the box's battery is watched with battery_full, battery_empty and battery_lasts together",
                "give it, or leave all three out",
            ));
        }
        return;
    }
    let (Some(full_v), Some(empty_v)) = (draft.n("watch.battery_full"), draft.n("watch.battery_empty")) else { return };
    if empty_v > EMPTY_SHARE * full_v {
        out.push(Complaint::new(
            "watch.battery_empty",
            format!(
                "{} is not less than {} of a full battery by 2 in 100",
                show("watch.battery_empty", empty_v),
                show("watch.battery_full", full_v)
            ),
            "give the voltage at which the box may go down; perhaps the two are swapped",
        ));
    }
    ordered(draft, "session.length", "watch.battery_lasts", true, "watch.battery_lasts", out);
}
