//! The plan's first screen for the page, and the few marks of it that stay in view.

use serde_json::{Value, json};

use crate::plan::first_screen::first_screen;
use crate::plan::results::{Results, Standing};
use crate::shown::{Shown, Toward};
use crate::site::Site;

/// Verdict, sentences and marks: the words of the plan's text, and its rounding.
pub(super) fn first(site: &Site, results: &Results) -> Value {
    let screen = first_screen(site, results);
    let standing = match screen.standing {
        Standing::Inside => "inside",
        Standing::Provisional => "provisional",
        Standing::Outside => "outside",
    };
    json!({
        "standing": standing,
        "verdict": screen.verdict,
        "remark": screen.remark,
        "lines": screen.lines.iter().map(|line| json!([line.label, line.text])).collect::<Value>(),
        "marks": if screen.standing == Standing::Outside { json!([]) } else { marks(site, results) },
    })
}

fn marks(site: &Site, results: &Results) -> Value {
    let shown = Shown::of(site);
    let several = results.ride_by.len() > 1;
    let mut list: Vec<(String, String)> = Vec::new();
    for by in &results.ride_by {
        let label = if several { format!("Start, {}", by.group) } else { "Start".to_owned() };
        let text = match (by.start_high_m.get(), by.start_low_m.get()) {
            (Some(high_m), Some(low_m)) if low_m < high_m - 1.0e-3 => {
                format!("{}, not below {}", shown.start_mark(high_m), shown.length(low_m, Toward::Up))
            }
            (Some(high_m), Some(_)) => format!("{} only", shown.start_mark(high_m)),
            _ => "none was found".to_owned(),
        };
        list.push((label, text));
    }
    if let Some(by) = results.for_everybody() {
        let pressure = |pa: f64| shown.pressure(pa, Toward::Up);
        list.extend(by.next_rider_from_pa.get().map(|pa| ("Next rider from".to_owned(), pressure(pa))));
        list.extend(by.everybody_off_under_pa.get().map(|pa| ("All stop at".to_owned(), pressure(pa))));
    }
    list.into_iter().map(|(label, text)| json!([label, text])).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{Parts, compute, text as words};
    use crate::site::demo;
    use landfall_sampling::Stop;

    /// What stays in view on the page stands in the plan's text, word for word.
    #[test]
    fn verdict_and_marks_are_those_of_the_text() {
        let soft = demo().with_value("bag.vent_area", "3000 cm2").unwrap();
        for (site, expected) in [(demo(), ["inside", "provisional"].as_slice()), (soft, ["outside"].as_slice())] {
            let results = compute(&site, Parts::ALL, &Stop::default()).unwrap();
            let text = words::text(&site, &results, words::Style::default());
            let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
            let shown = first(&site, &results);
            assert!(expected.contains(&shown["standing"].as_str().unwrap()), "{shown}");
            assert!(flat.contains(shown["verdict"].as_str().unwrap()), "{shown} {text}");
            for line in shown["lines"].as_array().unwrap() {
                let text = line[1].as_str().unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
                assert!(flat.contains(&text), "{line} {flat}");
            }
            let marks = shown["marks"].as_array().unwrap();
            assert_eq!(marks.is_empty(), expected == ["outside"], "{shown}");
            for part in marks.iter().flat_map(|mark| mark[1].as_str().unwrap().split(", not below ")) {
                assert!(flat.contains(part.trim_end_matches(" only")), "{part} {flat}");
            }
        }
    }
}
