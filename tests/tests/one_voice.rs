//! What is acted on, read back out of every output: text, JSON, CSV, report, card, checklist and what the page shows. `ride_by`
//! calls it for each of its sites; the box's own settings are compared there. What a browser makes of the page's answer is
//! read off its screen by `tests/browser/voice.mjs`.
#![allow(clippy::panic)] // helpers of tests

use landfall_logbook::{Logbook, NewPlan};
use landfall_plan::plan::results::{Results, Standing};
use landfall_plan::plan::text::{Style, text};
use landfall_plan::plan::{csv, json};
use landfall_plan::report::{Sheet, card, html};
use landfall_plan::site::{Dimension, Site, parse_quantity};
use serde_json::Value;
use std::time::SystemTime;

/// Words alone, one blank between two: without tags, styles and line ends.
fn words(markup: &str) -> String {
    let mut out = String::new();
    let mut rest = markup;
    while let Some(start) = rest.find('<') {
        out.push_str(&rest[..start]);
        let skipped = ["style", "script"].iter().find(|tag| rest[start + 1..].starts_with(**tag));
        let end = skipped.map_or(">".to_owned(), |tag| format!("</{tag}>"));
        let Some(length) = rest[start..].find(&end) else { break };
        rest = &rest[start + length + end.len()..];
        out.push(' ');
    }
    out.push_str(rest);
    let plain = out.replace("&amp;", "&").replace("&#39;", "'").replace("&quot;", "\"").replace("&lt;", "<");
    plain.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What stands between two texts, the first time.
fn between<'a>(all: &'a str, before: &str, after: &str) -> Option<&'a str> {
    let start = all.find(before)? + before.len();
    let length = all[start..].find(after)?;
    Some(&all[start..start + length])
}

fn si(quantity: &str, dimension: Dimension) -> f64 {
    parse_quantity(quantity, dimension).map_or(f64::NAN, |quantity| quantity.si)
}

/// The outputs of one plan, each as words.
struct Outputs {
    text: String,
    report: String,
    card: String,
    checklist: String,
    json: Value,
    csv: String,
    page: Value,
}

impl Outputs {
    fn of(site: &Site, results: &Results) -> Self {
        let sheet = Sheet::gather_runs(site, results, 64).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let mut book = Logbook::open(&folder.path().join("book.sqlite"), true).unwrap();
        let plan = NewPlan { site, site_text: "", site_file: "site.toml", results };
        book.add_plan(SystemTime::UNIX_EPOCH, &plan).unwrap();
        let list = landfall_logbook::text::checklist(1, &book.checklist_of(None).unwrap().1).0;
        Self {
            text: words(&text(site, results, Style { full: true, ..Style::default() })),
            report: words(&html::page(&sheet)),
            card: words(&card::page(site, results)),
            checklist: words(&list),
            json: serde_json::from_str(&json::text(results).unwrap()).unwrap(),
            csv: csv::csv(results),
            page: Value::Object(landfall_plan::page::shown(site, results, false).unwrap()),
        }
    }

    /// A mark of the page's bar.
    fn mark(&self, name: &str, label: &str) -> &str {
        let marks = self.page["first"]["marks"].as_array().unwrap();
        let found = marks.iter().find(|mark| mark[0] == label);
        found.and_then(|mark| mark[1].as_str()).unwrap_or_else(|| panic!("{name}: no {label:?} in {marks:?}"))
    }

    /// A line of the page's first screen; empty where there is none.
    fn line(&self, label: &str) -> &str {
        let lines = self.page["first"]["lines"].as_array().unwrap();
        lines.iter().find(|line| line[0] == label).and_then(|line| line[1].as_str()).unwrap_or_default()
    }

    /// A figure of the page's table.
    fn figure(&self, name: &str, id: &str) -> &str {
        let figures = self.page["figures"].as_array().unwrap();
        let found = figures.iter().find(|figure| figure["id"] == id);
        found
            .and_then(|figure| figure["text"].as_str())
            .unwrap_or_else(|| panic!("{name}: no figure {id}: {figures:?}"))
    }

    /// A text that the named outputs all have to hold.
    fn same(&self, name: &str, told: &str, outputs: &[(&str, &str)]) {
        for (output, all) in outputs {
            assert!(all.contains(told), "{name}: {told:?} is not in the {output}, which begins {:.600}", all);
        }
    }
}

/// Reads one plan out of all its outputs.
pub fn hear(name: &str, site: &Site, results: &Results) {
    let first = text(site, results, Style::default());
    let told = first.lines().skip(1).take_while(|line| !line.starts_with("Limits"));
    assert!(told.filter(|line| !line.is_empty()).count() <= 16, "{name}: the first screen is long\n{first}");
    let all = Outputs::of(site, results);
    let verdict = &all.json["verdict"];
    let broken = verdict["limits_broken"].as_u64().unwrap();
    let kept = verdict["limits_kept"].as_u64().unwrap();
    // The table's rows are as many as the verdict counts.
    let table = between(&all.text, "Limits, the closest first ", " What happens").unwrap();
    assert_eq!(table.matches("BROKEN ").count() as u64, broken, "{name}: {table}");
    let csv_of = |key: &str| {
        let begins = format!("{key},");
        let line = all.csv.lines().find(|line| line.starts_with(&begins)).unwrap_or_else(|| panic!("{name}: no {key}"));
        line[begins.len()..].split(',').next().unwrap().to_owned()
    };
    // The page counts what it lists, by these two fields of each row.
    let rows = all.page["limits"].as_array().unwrap();
    let out = rows.iter().filter(|row| row["inside"] == false && row["level"] == "stop").count() as u64;
    assert_eq!((out, rows.len() as u64 - out), (broken, kept), "{name}: {rows:?}");
    assert_eq!(all.page["results"], all.json, "{name}");
    let said = all.page["first"]["verdict"].as_str().unwrap();
    assert_eq!(all.page["first"]["standing"], verdict["standing"], "{name}");
    all.same(name, &words(said), &[("text", &all.text)]);
    assert_eq!(csv_of("verdict.limits_broken"), broken.to_string(), "{name}");
    assert_eq!(csv_of("verdict.standing"), verdict["standing"].as_str().unwrap(), "{name}");
    let everywhere = [("text", &*all.text), ("report", &*all.report), ("card", &*all.card), ("page", said)];
    if results.verdict.standing == Standing::Outside {
        for (output, said) in everywhere {
            assert!(said.contains("DO NOT RIDE"), "{name}: the {output} does not say stop: {said}");
            assert!(!said.contains("that were computed are kept"), "{name}: {output}");
            for permission in ["gauge shows", "starts from", "starts when"] {
                let first = said.split("Limits").next().unwrap();
                assert!(!first.contains(permission), "{name}: {permission:?} in the {output} of a stop: {first}");
            }
        }
        // Nothing to ride by on the page either: neither in its bar, nor in its lines, nor among its figures.
        assert_eq!(all.page["first"]["marks"].as_array().map(Vec::len), Some(0), "{name}");
        for label in ["Start", "Next rider", "All stop"] {
            assert_eq!(all.line(label), "", "{name}");
        }
        for id in ["next", "stop"].iter().filter(|_| !results.ride_by.is_empty()) {
            assert_eq!(all.figure(name, id), "–", "{name}");
        }
        return;
    }
    for (output, said) in everywhere {
        assert!(!said.contains("DO NOT RIDE"), "{name}: {output}");
    }
    if results.verdict.standing == Standing::Inside {
        all.same(name, &format!("All {kept} limits that were computed are kept."), &everywhere);
    }
    let close = |a: f64, b: f64, step: f64, what: &str| {
        assert!((a - b).abs() <= step, "{name}: {what} is {a} in one and {b} in another");
    };
    let several = results.ride_by.len() > 1;
    let listed = [("report", &*all.report), ("card", &*all.card), ("checklist", &*all.checklist)];
    for by in &results.ride_by {
        let of = |key: &str| &all.json["ride_by"][&by.group][key];
        for key in ["start_high_m", "start_low_m", "next_rider_from_pa", "everybody_off_under_pa", "holds_for_s"] {
            let csv: f64 = csv_of(&format!("ride_by.{}.{key}", by.group)).parse().unwrap_or(f64::NAN);
            let json = of(key).as_f64().unwrap_or(f64::NAN);
            assert!(csv == json || (csv.is_nan() && json.is_nan()), "{name}: {key} {csv} {json}");
        }
        // The marks: the text's own words are those of all others, and its number that of the results.
        let whose = if several { format!("{}: from the ", by.group) } else { "Start from the ".to_owned() };
        let said =
            &all.text[all.text.find(&whose).unwrap_or_else(|| panic!("{name}: no {whose:?} in {:.600}", all.text))..];
        let high = between(said, "from the ", " mark").unwrap();
        close(si(high, Dimension::Length), of("start_high_m").as_f64().unwrap(), 2e-3, "the highest mark");
        all.same(name, high, &listed);
        let (label, own) = if several {
            (format!("Start, {}", by.group), format!("-{}", by.group))
        } else {
            ("Start".into(), String::new())
        };
        let on_page = all.mark(name, &label);
        assert!(on_page.starts_with(high), "{name}: {on_page} {high}");
        assert_eq!(all.figure(name, &format!("highest{own}")), high, "{name}");
        if by.start_low_m.get().zip(by.start_high_m.get()).is_some_and(|(low, high)| low < high - 1.0e-3) {
            let low = between(said, "Not below the ", " mark").unwrap();
            close(si(low, Dimension::Length), of("start_low_m").as_f64().unwrap(), 2e-3, "the lowest mark");
            all.same(name, low, &listed);
            all.same(name, &format!("{low} to {high}"), &[("checklist", &all.checklist)]);
            assert_eq!(on_page, format!("{high}, not below {low}"), "{name}");
            assert_eq!(all.figure(name, &format!("lowest{own}")), low, "{name}");
        }
    }
    // The gauge.
    let by = &all.json["ride_by"][&results.ride_by[0].group];
    let from = between(&all.text, "when the gauge shows ", " or more").unwrap();
    close(si(from, Dimension::Pressure), by["next_rider_from_pa"].as_f64().unwrap(), 0.6, "next rider");
    all.same(name, &format!("at least {from}"), &[("checklist", &all.checklist)]);
    all.same(name, &format!("starts from {from}"), &[("card", &all.card)]);
    all.same(name, &format!("starts when the gauge shows {from} or more"), &[("text", &all.text)]);
    all.same(name, from, &listed);
    assert_eq!((all.mark(name, "Next rider from"), all.figure(name, "next")), (from, from), "{name}");
    let off = between(&all.text, "everybody off when the gauge falls to ", ", or the siren").unwrap();
    close(si(off, Dimension::Pressure), by["everybody_off_under_pa"].as_f64().unwrap(), 0.6, "everybody off");
    all.same(name, &format!("when the siren sounds {off}"), &[("card", &all.card)]);
    all.same(name, &format!("Everybody is off when the gauge falls to {off}"), &[("text", &all.text)]);
    all.same(name, off, &[("report", &all.report)]);
    assert_eq!((all.mark(name, "All stop at"), all.figure(name, "stop")), (off, off), "{name}");
    // Seconds, the line, the wind, the power cut.
    let seconds = between(&all.text, " or more and ", " s are over").unwrap();
    all.same(name, &format!("Between riders {seconds} s"), &[("card", &all.card)]);
    // Every line of the page's first screen stands in the text, word for word; those that are acted on are there.
    for label in ["Start", "Bag", "Next rider", "All stop", "Power cut", "Stop line"] {
        assert!(!all.line(label).is_empty(), "{name}: the page has no line {label:?}");
    }
    for line in all.page["first"]["lines"].as_array().unwrap() {
        all.same(name, &words(line[1].as_str().unwrap()), &[("text", &all.text)]);
    }
    assert!(all.line("Next rider").contains(&format!("{from} or more and {seconds} s")), "{name}");
    assert!(all.line("All stop").contains(off), "{name}");
    // Of several groups the strictest line and winds: none where a group has none.
    let of_all = |key: &str| -> Option<Vec<f64>> {
        results.ride_by.iter().map(|by| all.json["ride_by"][&by.group][key].as_f64()).collect()
    };
    if let Some(lines) = of_all("stop_line_before_foot_m") {
        let line = between(&all.text, "Stop line ", " before the take-off's foot").unwrap();
        let farthest = lines.into_iter().fold(0.0, f64::max);
        close(si(line, Dimension::Length), farthest, 2e-3, "the last stop line");
        let marked = [("card", &*all.card), ("report", &*all.report), ("checklist", &*all.checklist)];
        all.same(name, &format!("{line} before the take-off's foot"), &marked);
        assert!(all.line("Stop line").starts_with(line), "{name}: {}", all.line("Stop line"));
    }
    for (key, from) in [("tail", "behind"), ("head", "the front")] {
        let Some(winds) = of_all(&format!("hold_along_{key}_mps")) else { continue };
        let least = winds.into_iter().fold(f64::INFINITY, f64::min);
        let wind = all.line("Wind");
        let before = wind.split(&format!(" from {from}")).next().unwrap();
        let at = before.rfind(", ").map(|at| at + 2).max(before.rfind("over ").map(|at| at + 5)).unwrap();
        let said = &before[at..];
        let mps = si(said, Dimension::Speed);
        assert!(mps <= least + 1e-6 && mps > least - 0.5, "{name}: {said} from {from}, {least} m/s: {wind}");
        all.same(name, wind, &[("text", &all.text)]);
        all.same(name, &format!("{from} {said}"), &[("card", &all.card)]);
        all.same(name, said, &[("report", &all.report)]);
    }
    if let Some(holds) = between(&all.text, "The bag holds ", " s more") {
        assert_eq!(holds.parse::<f64>().ok(), by["holds_for_s"].as_f64(), "{name}");
        all.same(name, &format!("hard landing for {holds} s"), &[("card", &all.card)]);
        assert!(all.line("Power cut").contains(&format!("The bag holds {holds} s more")), "{name}");
    }
}

/// Blowers that hardly lift the skin leave no stop pressure that a box could tell: no output shows one below zero.
#[test]
fn no_output_shows_a_pressure_below_zero() {
    let below_zero = |all: &str| {
        all.split(['-', '−']).skip(1).find_map(|after| {
            let digits =
                after.trim_start_matches(|c: char| c.is_ascii_digit() || ['.', ',', ' ', '\u{a0}'].contains(&c));
            let is_number = after.starts_with(|c: char| c.is_ascii_digit()) && digits.len() < after.len();
            (is_number && ["Pa", "kPa", "inH2O", "psi"].iter().any(|unit| digits.starts_with(unit)))
                .then(|| after.chars().take(20).collect::<String>())
        })
    };
    assert_eq!(below_zero("at most -43 Pa"), Some("43 Pa".to_owned()));
    for speed in [0.15, 0.2] {
        let site = landfall_plan::site::demo().with_value("blower.speed", speed).unwrap();
        let site = site.with_value("spread.samples", 1_000.0).unwrap();
        let parts = landfall_plan::plan::Parts::ALL;
        let results = landfall_plan::plan::compute(&site, parts, &landfall_sampling::Stop::default()).unwrap();
        assert!(results.pressures.room_pa.get().is_some_and(|room| room < 0.0), "{speed}");
        let out = Outputs::of(&site, &results);
        for (what, all) in
            [("text", &out.text), ("report", &out.report), ("card", &out.card), ("checklist", &out.checklist)]
        {
            assert_eq!(below_zero(all), None, "{what} at {speed}");
        }
    }
}
