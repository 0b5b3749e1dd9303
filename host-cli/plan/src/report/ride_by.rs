//! The marks and pressures to ride by, as a table with a column for each group of riders.

use super::Table;
use crate::plan::results::{Results, RideBy};
use crate::shown::{Shown, Toward};

/// Shortest time that a bag is said to hold.
const LEAST_HOLD_S: f64 = 1.0;

/// The table: what is the same for all groups stands in each column.
pub fn table(u: Shown, r: &Results) -> Table {
    let mut head = vec!["what".to_owned()];
    if r.ride_by.len() > 1 {
        head.extend(r.ride_by.iter().map(|by| by.group.clone()));
    } else {
        head.push("everybody".to_owned());
    }
    let mut table = Table::new("To ride by, each rounded to the careful side", &head);
    for (what, value) in rows(u, r) {
        table.row(std::iter::once(what.to_owned()).chain(r.ride_by.iter().map(value)));
    }
    table
}

/// A row: what it is, and what it says of a group.
type Row<'a> = (&'static str, Box<dyn Fn(&RideBy) -> String + 'a>);

fn rows<'a>(u: Shown, r: &'a Results) -> Vec<Row<'a>> {
    let or_none = |words: Option<String>| words.unwrap_or_else(|| "none".to_owned());
    let wind = move |mps: Option<f64>| {
        mps.map_or_else(|| "hold now".to_owned(), |mps| format!("over {}", u.speed(mps, Toward::Down)))
    };
    vec![
        (
            "start not above, over the take-off's foot",
            Box::new(move |by| or_none(by.start_high_m.get().map(|m| u.start_mark(m)))),
        ),
        ("start not below", Box::new(move |by| or_none(by.start_low_m.get().map(|m| u.length(m, Toward::Up))))),
        (
            "riders, with gear, without the bike",
            Box::new(move |by| {
                let (low, high) = (u.mass(by.lightest_kg, Toward::Up), u.mass(by.heaviest_kg, Toward::Down));
                if low == high { low } else { format!("{low} to {high}") }
            }),
        ),
        (
            "next rider: the gauge shows at least",
            Box::new(move |by| or_none(by.next_rider_from_pa.get().map(|pa| u.pressure(pa, Toward::Up)))),
        ),
        ("and since the last one are over", Box::new(|by| format!("{} s", by.seconds_between.ceil()))),
        (
            "everybody off: the gauge falls to",
            Box::new(move |by| or_none(by.everybody_off_under_pa.get().map(|pa| u.pressure(pa, Toward::Up)))),
        ),
        (
            "after a power cut the bag holds",
            Box::new(|by| match by.holds_for_s.get() {
                Some(s) if s < LEAST_HOLD_S => "count on none".to_owned(),
                Some(s) => format!("{} s", s.floor()),
                None if r.pressures.stop_pa.get().is_some() => "two minutes or more".to_owned(),
                None => "not known".to_owned(),
            }),
        ),
        (
            "a rider past the stop line needs",
            Box::new(|_| {
                r.pressures
                    .needed_s
                    .get()
                    .map_or_else(|| "not known".to_owned(), |s| format!("{:.1} s", (s * 10.0 - 1e-3).ceil() / 10.0))
            }),
        ),
        (
            "stop line before the take-off's foot",
            Box::new(move |by| or_none(by.stop_line_before_foot_m.get().map(|m| u.length(m, Toward::Up)))),
        ),
        ("hold in gusts from behind", Box::new(move |by| wind(by.hold_along_tail_mps.get()))),
        ("hold in gusts from the front", Box::new(move |by| wind(by.hold_along_head_mps.get()))),
        ("hold in gusts from the side", Box::new(move |by| wind(by.hold_across_mps.get()))),
    ]
}
