use super::*;
use crate::plan::findings::findings;
use crate::plan::first_screen::first_screen;
use crate::plan::results::{OrWhy, RideBy, Why};
use crate::plan::test_plan;
use landfall_strip::strip;

mod landfall_strip {
    /// The text without escape sequences.
    pub fn strip(text: &str) -> String {
        let mut out = String::new();
        let mut rest = text;
        while let Some((before, after)) = rest.split_once('\u{1b}') {
            out.push_str(before);
            rest = after.split_once('m').map_or("", |(_, after)| after);
        }
        out + rest
    }
}

/// The quiet plan and a plan with much outside a limit.
fn plans() -> [(Site, Results); 2] {
    let site = test_plan::site();
    let mut quiet = test_plan::results();
    quiet.findings = findings(&site, &quiet);
    let mut bad = test_plan::results();
    bad.wind.anchors_stated = 6;
    bad.ride.peak_load_g = 4.4;
    bad.pressures.seconds_missing = OrWhy::Value(2.0);
    bad.air.status = landfall_core::supply::RangeStatus::Low;
    bad.air.above_min_pa = -100.0;
    bad.placement.last_stop_before_foot_m = Why::Committed.into();
    bad.placement.stop_lines[0].before_foot_m = Why::Committed.into();
    if let Some(landing) = bad.touchdown.as_mut() {
        landing.ground_speed_mps = OrWhy::Value(2.0);
    }
    bad.findings = findings(&site, &bad);
    [(site.clone(), quiet), (site, bad)]
}

fn all_texts(site: &Site, results: &Results, style: Style) -> [String; 3] {
    [
        text(site, results, Style { full: true, ..style }),
        place_text(site, results, style),
        air_text(site, results, style),
    ]
}

#[test]
fn no_line_is_longer_than_the_width() {
    for (site, results) in plans() {
        for width in [60, 80, 100, 140] {
            for text in all_texts(&site, &results, Style { colour: true, width, full: true }) {
                for line in strip(&text).lines() {
                    assert!(line.chars().count() <= width, "{width}: {line}");
                    assert_eq!(line, line.trim_end());
                }
            }
        }
    }
}

#[test]
fn colour_carries_nothing_alone() {
    for (site, results) in plans() {
        let plain = all_texts(&site, &results, Style::default());
        let coloured = all_texts(&site, &results, Style { colour: true, ..Style::default() });
        for (plain, coloured) in plain.iter().zip(&coloured) {
            assert!(!plain.contains('\u{1b}') && coloured.contains('\u{1b}'));
            // Trailing blanks inside a coloured word are the only difference.
            let squeezed = |text: &str| text.lines().map(|l| l.trim_end().to_owned()).collect::<Vec<_>>();
            assert_eq!(squeezed(plain), squeezed(&strip(coloured)));
        }
    }
}

#[test]
fn the_first_screen_is_short_and_the_verdict_stands_at_both_ends() {
    for (site, results) in plans() {
        let said = text(&site, &results, Style::default());
        let screen = first_screen(&site, &results);
        let lines: Vec<&str> = said.lines().collect();
        let end = lines.iter().position(|line| line.starts_with("Limits")).unwrap();
        // Below the site's name: the verdict, the marks and what to do.
        let told = lines[1..end].iter().filter(|line| !line.is_empty()).count();
        assert!(told <= 16, "{told} lines\n{said}");
        let flat = said.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.ends_with(&screen.verdict) && flat.matches(&screen.verdict).count() >= 2, "{said}");
        for jargon in ["sd ", "differences", "weighted runs", "_pa", "spread."] {
            let first = lines[..end].join(" ");
            assert!(!first.contains(jargon), "{jargon}: {first}");
        }
    }
}

/// What the first screen says of the wind for everybody.
fn wind_of(site: &Site, results: &Results) -> Option<String> {
    let lines = first_screen(site, results).lines;
    lines.into_iter().find(|line| line.label == "Wind").map(|line| line.text)
}

/// A group that may not ride in the planned wind has no hold winds: everybody's are not the others', and are said.
#[test]
fn hold_winds_for_everybody_are_the_strictest_and_none_is_left_out() {
    let [(site, mut results), _] = plans();
    assert!(wind_of(&site, &results).unwrap().starts_with("hold in gusts over 23 km/h from behind"));
    let own = results.ride_by[0].clone();
    let lighter = |hold_along_head_mps| RideBy {
        group: "kids".into(),
        hold_along_tail_mps: OrWhy::Value(20.0 / 3.6),
        hold_along_head_mps,
        ..own.clone()
    };
    results.ride_by = vec![own.clone(), lighter(OrWhy::Value(10.0))];
    assert_eq!(
        wind_of(&site, &results).unwrap(),
        "hold in gusts over 20 km/h from behind, 25 km/h from the front and 20 km/h from the side."
    );
    let none = Why::MissInWind.into();
    for ride_by in [vec![own.clone(), lighter(none)], vec![lighter(none), own.clone()]] {
        results.ride_by = ride_by;
        assert_eq!(
            wind_of(&site, &results).unwrap(),
            "hold in gusts over 20 km/h from behind and 20 km/h from the side, and in any gust from the front."
        );
    }
    let never = RideBy {
        group: "kids".into(),
        hold_along_tail_mps: Why::MissInWind.into(),
        hold_along_head_mps: Why::MissInWind.into(),
        hold_across_mps: Why::MissInWind.into(),
        ..own.clone()
    };
    results.ride_by = vec![own, never];
    assert!(wind_of(&site, &results).unwrap().starts_with("not in any gust"));
}

#[test]
fn the_screen_says_it_in_order() {
    let [(site, quiet), (_, bad)] = plans();
    let full = Style { full: true, ..Style::default() };
    let said = text(&site, &quiet, full);
    let headings = ["Limits", "What happens", "Good to know", "Cautions"];
    let places: Vec<usize> = headings.iter().filter_map(|heading| said.find(&format!("\n{heading}"))).collect();
    assert!(places.len() == 4 && places.is_sorted(), "{said}");
    for part in ["8.40 m/s (30 km/h) at the lip", "1.38 s in the air", "4.30 m behind the bag's front edge"] {
        assert!(said.contains(part), "{part}\n{said}");
    }
    let said = text(&site, &bad, full);
    let flat = said.split_whitespace().collect::<Vec<_>>().join(" ");
    let grave = bad.findings.iter().filter(|finding| finding.level != Level::Note);
    for finding in grave {
        assert!(flat.contains(&finding.text), "in full: {}", finding.text);
    }
}

#[test]
fn every_text_ends_with_the_cautions_and_never_has_the_word() {
    let word = ["sa", "fe"].concat();
    for (site, results) in plans() {
        for text in all_texts(&site, &results, Style::default()) {
            let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(results.cautions.iter().all(|caution| flat.contains(caution.as_str())), "{text}");
            let without_titles = flat.to_lowercase().replace(&format!("{word}ty handbook"), "");
            assert!(!without_titles.contains(&word), "{text}");
        }
    }
}

#[test]
fn place_and_air_have_their_numbers() {
    let [(site, quiet), (_, bad)] = plans();
    let place = place_text(&site, &quiet, Style::default());
    for part in ["gap 0.80 m", "gap 0.00 m to 2.60 m", "bag's front", "9.40 m before the take-off's foot", "3.10 s"] {
        assert!(place.contains(part), "{part}\n{place}");
    }
    assert!(place_text(&site, &bad, Style::default()).contains("none: committed from the start"));
    let air = air_text(&site, &quiet, Style::default());
    for part in ["1.18 kPa at 1.00 m³/s", "0.93 m³/s at 1.10 kPa", "95 % in 140 s", "99 % in 6.00 s", "0.76 kPa"] {
        assert!(air.contains(part), "{part}\n{air}");
    }
    let mut cut = quiet.clone();
    cut.air.after_cut[2].hard_depth_m = OrWhy::Value(2.4);
    cut.air.after_cut[1].hard_depth_m = OrWhy::Value(1.9);
    let air = air_text(&site, &cut, Style::default());
    assert!(air.contains("MEETS THE GROUND") && air.contains("past the depth limit"), "{air}");
}
