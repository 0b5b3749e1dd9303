//! A bag test on one screen: how the bag pushes back, how sure that is, and what it changes for riding.

use anstyle::{AnsiColor, Style as Paint};

use super::bag_test::BagTest;
use landfall_plan::plan::results::{Results, Standing};
use landfall_plan::plan::text::{Page, Style};
use landfall_plan::shown::{Shown, Toward};

/// One line of what the plan says before and now.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanLine {
    /// What it is.
    pub what: &'static str,
    /// Before.
    pub before: String,
    /// Now.
    pub now: String,
}

fn verdict(results: &Results) -> String {
    match results.verdict.standing {
        Standing::Inside => "every limit kept".to_owned(),
        Standing::Provisional => "kept below the first-day mark".to_owned(),
        Standing::Outside => match results.verdict.limits_broken {
            0 | 1 => "DO NOT RIDE".to_owned(),
            many => format!("DO NOT RIDE: {many} limits broken"),
        },
    }
}

impl PlanLine {
    /// All lines of two plans of the same site; a plan that there is none of says so.
    #[must_use]
    pub fn all(before: Option<&Results>, now: Option<&Results>, here: Shown) -> Vec<Self> {
        let (Some(before), Some(now)) = (before, now) else {
            let none = |plan: Option<&Results>| if plan.is_some() { "a plan" } else { "no plan" }.to_owned();
            return vec![Self { what: "plan", before: none(before), now: none(now) }];
        };
        let line = |what, of: &dyn Fn(&Results) -> String| Self { what, before: of(before), now: of(now) };
        let none = || "none".to_owned();
        let by = |results: &Results, of: &dyn Fn(&landfall_plan::plan::results::RideBy) -> String| {
            let all: Vec<String> = results.ride_by.iter().map(of).collect();
            if all.is_empty() { none() } else { all.join(", ") }
        };
        let up = |pa: Option<f64>| pa.map_or_else(none, |pa| here.pressure(pa, Toward::Up));
        vec![
            line("verdict", &verdict),
            line("start", &|results| {
                by(results, &|by| {
                    let low = by.start_low_m.get().map(|m| here.length(m, Toward::Up));
                    match (low, by.start_high_m.get().map(|m| here.start_mark(m))) {
                        (Some(low), Some(high)) => format!("{low} to {high}"),
                        (None, Some(high)) => format!("up to {high}"),
                        _ => none(),
                    }
                })
            }),
            line("next rider", &|results| by(results, &|by| up(by.next_rider_from_pa.get()))),
            line("all stop", &|results| by(results, &|by| up(by.everybody_off_under_pa.get()))),
            line("power cut", &|results| {
                by(results, &|by| by.holds_for_s.get().map_or_else(none, |s| format!("holds {:.0} s", s.floor())))
            }),
            line("hard landing", &|results| {
                let depth = results.pressures.stated.as_ref().and_then(|bag| bag.hard_depth_m.get());
                depth.map_or_else(none, |m| format!("{} deep", here.length(m, Toward::Up)))
            }),
        ]
    }
}

/// Depths of the picture, m.
const STEP_M: f64 = 0.2;
/// Widest bar.
const BAR: f64 = 30.0;

fn picture(page: &mut Page, test: &BagTest, here: Shown) {
    page.heading("How the bag pushes back");
    let wanted = test.wanted_m;
    let steps = (wanted / STEP_M).ceil() as usize + 1;
    let deepest = STEP_M * steps as f64;
    let most = test.after.area_m2(deepest).max(test.before.area_m2(deepest)).max(0.1);
    page.line(&format!("  {:<14} {:<12} {:<12}", "depth", "area before", "now"));
    // Where a load lay on the ground there is nothing deeper to measure.
    let reach = test.area.as_ref().map_or(0.0, |area| if area.to_the_ground { f64::INFINITY } else { area.reach_m });
    for step in 1..=steps {
        let depth = STEP_M * step as f64;
        let (before, now) = (test.before.area_m2(depth), test.after.area_m2(depth));
        let bar = "█".repeat((BAR * now / most).round() as usize);
        let note = if test.area.is_some() && depth > reach { " (not measured so deep)" } else { "" };
        page.line(&format!(
            "  {:<14} {:<12} {:<12} {bar}{note}",
            here.length(depth, Toward::Nearest),
            here.area(before, Toward::Nearest),
            here.area(now, Toward::Nearest)
        ));
    }
}

fn percent(sd: f64) -> String {
    format!("{:.0} %", 100.0 * sd)
}

fn what_was_measured(page: &mut Page, test: &BagTest, here: Shown) {
    for load in &test.loads {
        let away = match (&load.break_away, load.on_the_ground) {
            (Some(away), true) => {
                format!("; it broke away at {} and went to the ground", here.length(away.depth_m, Toward::Nearest))
            }
            (Some(away), false) => format!("; it broke away at {}", here.length(away.depth_m, Toward::Nearest)),
            (None, true) => "; it came to the ground".to_owned(),
            (None, false) => String::new(),
        };
        page.plain(
            "load",
            &format!(
                "{} of {}: {} of {} readings count, down to {}{away}.",
                load.file,
                here.mass(load.mass_kg, Toward::Nearest),
                load.counted,
                load.readings,
                here.length(load.sank_to_m, Toward::Nearest)
            ),
        );
    }
    if let Some(area) = &test.area {
        let ground = if area.to_the_ground { ", and a load went to the ground: nothing is deeper" } else { "" };
        page.plain(
            "measured",
            &format!(
                "down to {}{ground}; riding asks for {}.",
                here.length(area.reach_m, Toward::Down),
                here.length(test.wanted_m, Toward::Up)
            ),
        );
        let merged = if area.merged { " What the site file had measured before is in it." } else { "" };
        let unknown = test.site_after.unknown.area;
        // Less than the board alone brings was stated by whoever wrote the file.
        let why = if unknown >= 0.15 { "; most of that is that who lands is not a board" } else { "" };
        page.plain(
            "not known",
            &format!("the areas may be {} off either way, one time in three more{why}.{merged}", percent(unknown)),
        );
    }
    if let Some(pa) = test.settled_pa {
        page.plain(
            "settled",
            &format!("{} with the blowers on and nobody on the bag.", here.pressure(pa, Toward::Nearest)),
        );
    }
    if let Some(stretch) = &test.stretch {
        let leak = stretch.leak.map_or_else(String::new, |leak| format!(" Its leak is {leak:.4} m³/s at 1 Pa."));
        page.plain(
            "stretch",
            &format!(
                "the bag grows by {:.1} % a kPa (before: {:.1} %), known to {}.{leak}",
                1e5 * stretch.value,
                1e5 * stretch.site_value,
                percent(stretch.sd)
            ),
        );
    }
    for offset in &test.offsets_s {
        page.plain("clock", &format!("the box's clock is {offset:.2} s ahead of the film's, found or as stated."));
    }
    if let Some(landings) = &test.landings {
        let said: Vec<String> = landings
            .factors
            .iter()
            .map(|(key, factor, before, now)| {
                format!("{key} times {factor:.2}, known to {} (before: {})", percent(*now), percent(*before))
            })
            .collect();
        page.plain("landings", &format!("{} in the recording: {}.", landings.landings, said.join("; ")));
    }
    for drop in &test.held_out {
        page.plain(
            "held out",
            &format!(
                "drop {} went {} deep; the result expects {} to {}.",
                drop.label,
                here.length(drop.depth_m, Toward::Nearest),
                here.length(drop.low_m, Toward::Nearest),
                here.length(drop.high_m, Toward::Nearest)
            ),
        );
    }
}

/// Most points that contradict which are listed.
const LISTED: usize = 6;

/// The whole report.
#[must_use]
pub fn bag_text(test: &BagTest, plan: &[PlanLine], here: Shown, style: Style) -> String {
    let mut page = Page::new(style);
    page.line(&format!("{}: how this bag gives way", test.site));
    if test.doubts.is_empty() {
        page.paragraph("The measurements go together.");
    } else {
        page.paragraph(
            "NOT SURE: read why before using any of it. Nothing is written unless --although-not-sure says so.",
        );
        for doubt in &test.doubts {
            page.entry("not sure", Paint::new().fg_color(Some(AnsiColor::Yellow.into())), &format!("{doubt}."));
        }
        let contradicts = test.area.as_ref().map_or(&[][..], |area| &area.contradicts);
        for point in contradicts.iter().take(LISTED) {
            page.plain(
                "point",
                &format!(
                    "{}, line {}: {} at a depth of {}, where the curve has {}",
                    point.file,
                    point.line,
                    here.area(point.area_m2, Toward::Nearest),
                    here.length(point.depth_m, Toward::Nearest),
                    here.area(point.curve_m2, Toward::Nearest)
                ),
            );
        }
        if contradicts.len() > LISTED {
            page.plain("", &format!("and {} more", contradicts.len() - LISTED));
        }
    }
    page.line("");
    what_was_measured(&mut page, test, here);
    if test.area.is_some() || test.landings.is_some() {
        picture(&mut page, test, here);
    }
    if !plan.is_empty() {
        page.heading("What it changes for riding");
        let wide = plan.iter().map(|line| line.before.chars().count()).max().unwrap_or(0).clamp(8, 40) + 2;
        page.line(&format!("  {:<14} {:<wide$} {}", "", "before", "now"));
        for line in plan {
            page.line(&format!("  {:<14} {:<wide$} {}", line.what, line.before, line.now));
        }
    }
    if !test.advice.is_empty() {
        page.heading("What would tell more");
        test.advice.iter().for_each(|advice| page.plain("", advice));
    }
    page.heading("For the site file (--write)");
    if test.edits.is_empty() {
        page.plain("nothing", "these measurements tell nothing that the site file does not have");
    }
    for edit in &test.edits {
        // A number stays with its unit.
        page.paragraph(&format!("  {} = {}", edit.key, edit.text.replace(" m", "\u{a0}m")));
    }
    if !test.removed.is_empty() {
        page.paragraph(&format!("  taken out, since these stand in their place: {}", test.removed.join(", ")));
    }
    page.line("");
    page.plain("note", "A load is a test of the bag, not of a body: it says nothing about how a person lands.");
    page.out
}
