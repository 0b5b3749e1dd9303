//! What a coach needs first, in whole sentences: may we ride, from where, what must the gauge show, when does everybody
//! stop, what if the power goes, what is closest to going wrong.
//!
//! The sentences are put together here once; the text, the report, the card and the page show them. Every number comes
//! from [`RideBy`] or stands beside one, in the site's own units.

use super::limits::{by_closeness, limits};
use super::results::{Finding, Judged, Level, Results, RideBy, Standing, Topic};
use super::words::{chance, first_sentence, list, number};
use crate::shown::{Shown, Toward};
use crate::site::{ForceAreaStated, Site};

/// One line: a word to find it by, and what it says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// The word in front.
    pub label: &'static str,
    /// The sentence.
    pub text: String,
}

/// The first screen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FirstScreen {
    /// Whether the plan is inside, provisional or outside.
    pub standing: Standing,
    /// The verdict in one sentence: the first and the last line.
    pub verdict: String,
    /// What the verdict does not say: what was not looked at. Empty where the verdict is to change something.
    pub remark: String,
    /// The lines between.
    pub lines: Vec<Line>,
}

/// Shortest time that a bag is said to hold after a power cut: under a second nobody gets anywhere.
const LEAST_HOLD_S: f64 = 1.0;
/// Least load of a measuring afternoon.
const LEAST_LOAD_KG: f64 = 80.0;
/// Most findings that are named behind the first cause.
const MOST_FOLLOWING: usize = 3;
/// Most cures, and most changes that are no cure, that are named.
const MOST_TRIED: usize = 3;

/// Puts the first screen together.
#[must_use]
pub fn first_screen(site: &Site, r: &Results) -> FirstScreen {
    let shown = Shown::of(site);
    let mut lines = Vec::new();
    let (verdict, remark) = match r.verdict.standing {
        Standing::Inside => {
            let kept = r.verdict.limits_kept;
            let remark = "Nothing was looked at beyond what the site file says.".to_owned();
            (format!("All {kept} limits that were computed are kept."), remark)
        }
        Standing::Provisional => {
            why_provisional(site, shown, r, &mut lines);
            let verdict = match r.first_day_mark_m() {
                Some(mark_m) => {
                    format!("Start no higher than the {} mark until this bag is measured.", shown.start_mark(mark_m))
                }
                None => "No limit is broken, but this bag is not measured.".to_owned(),
            };
            (verdict, String::new())
        }
        Standing::Outside => {
            let cause = first_cause(r);
            lines_of_stop(r, cause, &mut lines);
            let why = cause.map_or("a limit is broken", |finding| first_sentence(&finding.text));
            // Of several groups, whose finding it is.
            let whose =
                cause.and_then(|finding| finding.group.as_ref()).map_or_else(String::new, |name| format!("{name}: "));
            (format!("DO NOT RIDE: {whose}{}.", uncapitalised(why.trim_end_matches('.'))), String::new())
        }
    };
    if r.verdict.standing != Standing::Outside {
        to_ride_by(site, shown, r, &mut lines);
    }
    FirstScreen { standing: r.verdict.standing, verdict, remark, lines }
}

fn push(lines: &mut Vec<Line>, label: &'static str, text: impl Into<String>) {
    let text = text.into();
    if !text.is_empty() {
        lines.push(Line { label, text });
    }
}

/// The finding that is mended first.
fn first_cause(r: &Results) -> Option<&Finding> {
    let stops = || r.findings.iter().filter(|finding| finding.level == Level::Stop);
    stops()
        .find(|finding| Some(finding.id) == r.verdict.first_cause.get())
        .or_else(|| stops().find(|finding| finding.follows_from.is_none()))
        .or_else(|| stops().next())
}

fn lines_of_stop(r: &Results, cause: Option<&Finding>, lines: &mut Vec<Line>) {
    let Some(cause) = cause else { return };
    push(lines, "Why", rest(&cause.text));
    let others: Vec<&Finding> =
        r.findings.iter().filter(|finding| finding.level == Level::Stop && finding.id != cause.id).collect();
    let (following, apart): (Vec<&Finding>, Vec<&Finding>) =
        others.into_iter().partition(|finding| finding.follows_from.is_some());
    for (label, group) in [("So", following), ("Also", apart)] {
        let more = group.len().saturating_sub(MOST_FOLLOWING);
        let mut said: Vec<&str> =
            group.iter().take(MOST_FOLLOWING).map(|finding| first_sentence(&finding.text)).collect();
        let rest = if more == 1 {
            "One more stop is listed below.".to_owned()
        } else {
            format!("{more} more stops are listed below.")
        };
        if more > 0 {
            said.push(&rest);
        }
        push(lines, label, said.join(" "));
    }
    push(lines, "Tried", tried(r));
}

/// The changes that were computed, those that leave no stop first.
fn tried(r: &Results) -> String {
    let mut said: Vec<String> = Vec::new();
    for cure in r.cures.iter().filter(|cure| cure.leaves_stops == 0).take(MOST_TRIED) {
        said.push(format!("{}: no limit broken.", capitalised(&cure.change)));
    }
    let not: Vec<String> =
        r.cures.iter().filter(|cure| cure.leaves_stops > 0).take(MOST_TRIED).map(|cure| cure.change.clone()).collect();
    if !not.is_empty() {
        let alone = if said.is_empty() { "" } else { "; not by itself" };
        let sentence = format!("{}: still broken{alone}.", list(&not));
        said.push(capitalised(&sentence));
    }
    said.join(" ")
}

/// Why a plan waits for the bag to be measured, and what measuring it would change.
fn why_provisional(site: &Site, shown: Shown, r: &Results, lines: &mut Vec<Line>) {
    let start = shown.start_mark(site.roll_in.start_height_m);
    let lifted = || r.pressures.judged.iter().filter(|judged| judged.if_measured < judged.now);
    // The gravest; of those the first in the order of the topics.
    let gravest = lifted().max_by_key(|judged| (judged.now, std::cmp::Reverse(judged.topic)));
    let many = "of 100 bags like this one 5 or more would";
    let fear = gravest.map(|judged| match judged.topic {
        Topic::Ground => {
            let count = if judged.now == Judged::Stop { 5 } else { 1 };
            let target = chance(site.bag.target_ground);
            format!(
                "of 100 bags like this one more than {count} would let a rider from the {start} mark meet the ground in \
                 over {target} landings."
            )
        }
        Topic::GroundCut => {
            let worst = r.pressures.ground_cut.get().map_or_else(String::new, |cut| chance(cut.worst));
            format!(
                "if the power went at the wrong moment, a landing from the {start} mark would meet the ground with a chance \
                 of {worst}, as far as is known."
            )
        }
        Topic::Hard => format!("{many} let a hard landing from the {start} mark go too deep just after a power cut."),
        Topic::Light => format!("{many} be too hard for the lightest rider from the {start} mark."),
        Topic::Stop => format!("{many} be too soft for a hard landing from the {start} mark before the box can tell."),
        Topic::Wait => format!("{many} go soft after a power cut sooner than a rider from the {start} mark is off."),
        Topic::OneBlower => format!("{many} be too soft for the {start} mark with one blower less."),
        Topic::Load | Topic::Band => format!("from the {start} mark a limit would be broken."),
    });
    let fear = fear.unwrap_or_else(|| format!("from the {start} mark a limit may be broken."));
    push(lines, "Why", format!("how deep a bag gives way cannot be seen from outside: {fear}"));
    push(
        lines,
        "Measured",
        format!(
            "as stated, the {start} mark would keep every limit. It takes an afternoon, a board, {} of water and a phone: \
             landfall bag-test --sheet sheet.html",
            shown.mass(LEAST_LOAD_KG, Toward::Up)
        ),
    );
}

/// The marks, the gauge, the stop, the power cut, the line, the wind, what is closest, what is not known.
fn to_ride_by(site: &Site, shown: Shown, r: &Results, lines: &mut Vec<Line>) {
    let several = r.ride_by.len() > 1;
    for by in &r.ride_by {
        push(lines, "Start", start(shown, by, several));
    }
    // A plan that waits for the bag to be measured has more to say first; what is left out stands below it.
    let brief = r.verdict.standing == Standing::Provisional;
    // Of several groups each flies and lands in its own way: those stand below, by group.
    if !brief && !several {
        push(lines, "In the air", in_the_air(shown, r));
        push(lines, "Landing", landing(shown, r));
    }
    push(lines, "Bag", if brief { gauge(shown, r) } else { bag(site, shown, r) });
    let Some(by) = &r.for_everybody() else { return };
    if let Some(from_pa) = by.next_rider_from_pa.get() {
        push(
            lines,
            "Next rider",
            format!(
                "when the gauge shows {} or more and {} s are over.",
                shown.pressure(from_pa, Toward::Up),
                number(by.seconds_between.ceil(), 0)
            ),
        );
    }
    if let Some(under_pa) = by.everybody_off_under_pa.get() {
        push(
            lines,
            "All stop",
            format!(
                "everybody off when the gauge falls to {}, or the siren sounds.",
                shown.pressure(under_pa, Toward::Up)
            ),
        );
    }
    push(lines, "Power cut", power_cut(r, by));
    push(lines, "Stop line", stop_line(shown, by));
    // Where nothing is missed too often and there is no hold wind, none was looked for.
    let missed = r.placement.miss_now.is_none_or(|miss| miss > r.placement.target_miss);
    let found = |by: &RideBy| by.hold_across_mps.or(by.hold_along_head_mps).or(by.hold_along_tail_mps).get().is_some();
    // One group that may not ride in the planned wind leaves everybody no hold wind: that is said, too.
    if missed || r.ride_by.iter().any(found) {
        push(lines, "Wind", wind(shown, by));
    }
    if brief {
        return;
    }
    if let Some(closest) = by_closeness(limits(site, r)).first() {
        let whose = closest.group.as_ref().map_or_else(String::new, |name| format!(" ({name})"));
        push(lines, "Closest", format!("{}{whose}: {}, {}.", closest.what, closest.now, closest.limit));
    }
    push(lines, "Not known", not_known(site, r));
}

/// From where a group of riders starts, and who they are.
pub(super) fn start(shown: Shown, by: &RideBy, several: bool) -> String {
    let who = if several { format!("{}: ", by.group) } else { String::new() };
    let riders = if by.lightest_kg < by.heaviest_kg {
        format!(
            " Riders of {} to {}.",
            shown.mass(by.lightest_kg, Toward::Up),
            shown.mass(by.heaviest_kg, Toward::Down)
        )
    } else {
        format!(" Riders of {}.", shown.mass(by.heaviest_kg, Toward::Nearest))
    };
    match (by.start_high_m.get(), by.start_low_m.get()) {
        (Some(high_m), Some(low_m)) if low_m < high_m - 1.0e-3 => format!(
            "{who}from the {} mark. Not below the {} mark: from lower down a limit is broken.{riders}",
            shown.start_mark(high_m),
            shown.length(low_m, Toward::Up)
        ),
        (Some(high_m), Some(_)) => {
            format!("{who}from the {} mark only, no lower and no higher.{riders}", shown.start_mark(high_m))
        }
        _ => format!("{who}no start was found that keeps every limit.{riders}"),
    }
}

fn in_the_air(shown: Shown, r: &Results) -> String {
    match (r.ride.lip_speed_mps.get(), r.flight.airtime_s.get(), r.flight.apex_above_lip_m.get()) {
        (Some(lip_mps), Some(air_s), Some(apex_m)) => format!(
            "{} at the lip, {} s in the air, at the highest {} above the lip.",
            shown.speed(lip_mps, Toward::Nearest),
            number(air_s, 1),
            shown.about(apex_m, Toward::Nearest)
        ),
        _ => String::new(),
    }
}

fn landing(shown: Shown, r: &Results) -> String {
    let Some(along_m) = r.flight.along_m.get() else { return String::new() };
    let behind = format!("{} behind the bag's front edge", shown.about(along_m, Toward::Nearest));
    match r.spread.sampling.as_ref().map(|sampling| (sampling.along_p001_m.get(), sampling.along_p999_m.get())) {
        Some((Some(short_m), Some(long_m))) => format!(
            "{behind}; all but 2 tries in 1,000 between {} and {}.",
            shown.about(short_m, Toward::Down),
            shown.about(long_m, Toward::Up)
        ),
        _ => format!("{behind}."),
    }
}

fn gauge(shown: Shown, r: &Results) -> String {
    format!("the gauge should read {}, nobody on it.", shown.pressure(r.air.operating_pressure_pa, Toward::Nearest))
}

fn bag(site: &Site, shown: Shown, r: &Results) -> String {
    let gauge = gauge(shown, r);
    let depth = r.pressures.stated.as_ref().and_then(|stated| stated.hard_depth_m.get());
    match (depth, r.pressures.hard_thickness_m.get()) {
        (Some(depth_m), Some(thickness_m)) => {
            let as_stated = if is_measured(site) { "" } else { ", if it is as stated," };
            format!(
                "{gauge} A hard landing{as_stated} goes {} deep of {}.",
                shown.about(depth_m, Toward::Up),
                shown.about(thickness_m, Toward::Down)
            )
        }
        _ => gauge,
    }
}

fn power_cut(r: &Results, by: &RideBy) -> String {
    let needed = r.pressures.needed_s.get().map(|s| format!("whoever is past the stop line needs {} s", tenths_up(s)));
    let needed = needed.unwrap_or_else(|| "how long a rider past the stop line needs is not known".to_owned());
    match by.holds_for_s.get() {
        Some(s) if s < LEAST_HOLD_S => {
            format!(
                "shout “stop”. Count on no seconds: how long the bag holds is not known until it is measured; {needed}."
            )
        }
        Some(s) => format!("shout “stop”. The bag holds {} s more; {needed}.", number(s.floor(), 0)),
        None if r.pressures.stop_pa.get().is_some() => {
            format!("shout “stop”. The bag holds for two minutes or more; {needed}.")
        }
        None => String::new(),
    }
}

fn stop_line(shown: Shown, by: &RideBy) -> String {
    match by.stop_line_before_foot_m.get() {
        Some(before_m) => format!(
            "{} before the take-off's foot. Past it ride on: braking comes too late.",
            shown.length(before_m, Toward::Up)
        ),
        None => "there is none: whoever has started cannot brake to a stop before the take-off.".to_owned(),
    }
}

fn wind(shown: Shown, by: &RideBy) -> String {
    let winds = [
        (by.hold_along_tail_mps.get(), "from behind"),
        (by.hold_along_head_mps.get(), "from the front"),
        (by.hold_across_mps.get(), "from the side"),
    ];
    let over =
        |(limit, from): &(Option<f64>, &str)| limit.map(|mps| format!("{} {from}", shown.speed(mps, Toward::Down)));
    let said: Vec<String> = winds.iter().filter_map(over).collect();
    // A direction without a number is one in which somebody may not ride at all.
    let never: Vec<String> =
        winds.iter().filter(|(limit, _)| limit.is_none()).map(|(_, from)| (*from).to_owned()).collect();
    match (said.len(), never.len()) {
        (0, _) => "not in any gust: the wind that was planned with is already too much.".to_owned(),
        (_, 0) => format!("hold in gusts over {}.", list(&said)),
        _ => format!("hold in gusts over {}, and in any gust {}.", list(&said), list(&never)),
    }
}

fn not_known(site: &Site, r: &Results) -> String {
    let bag = !is_measured(site) && r.verdict.standing != Standing::Provisional;
    let riders = !["spread.pop", "spread.lip_speed"].iter().any(|key| site.given.contains(key));
    match (bag, riders) {
        (true, true) => {
            "how deep this bag gives way (landfall bag-test --sheet sheet.html) and how far your own riders \
                         scatter (ten timed runs: landfall fit --help)."
                .to_owned()
        }
        (true, false) => "how deep this bag gives way: landfall bag-test --sheet sheet.html".to_owned(),
        (false, true) => "how far your own riders scatter. Ten timed runs tell it: landfall fit --help".to_owned(),
        (false, false) => String::new(),
    }
}

/// Whether the site file holds measured knots.
fn is_measured(site: &Site) -> bool {
    matches!(site.bag.force_area, ForceAreaStated::Measured(_))
}

/// Tenths, up: a time that somebody needs.
fn tenths_up(s: f64) -> String {
    number((s * 10.0 - 1e-3).ceil() / 10.0, 1)
}

/// What a text says after its first sentence.
fn rest(text: &str) -> &str {
    text.strip_prefix(first_sentence(text)).unwrap_or_default().trim_start()
}

fn capitalised(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// With a small letter in front, unless the word is one that keeps its capitals.
fn uncapitalised(text: &str) -> String {
    let mut chars = text.chars();
    match (chars.next(), text.chars().nth(1)) {
        (Some(first), Some(second)) if second.is_lowercase() || second == ' ' => {
            first.to_lowercase().chain(chars).collect()
        }
        _ => text.to_owned(),
    }
}
