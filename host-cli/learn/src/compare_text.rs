//! A session beside its plan, in plain words.

use anstyle::{AnsiColor, Style as Paint};

use super::compare::{Beside, Change, Session, Standing};
use super::fit_text::dimension_in;
use landfall_plan::plan::text::{Page, Style};
use landfall_plan::plan::words::{chance, number};
use landfall_plan::shown::Shown;

fn red() -> Paint {
    Paint::new().bold().fg_color(Some(AnsiColor::Red.into()))
}

/// One run on one line.
#[must_use]
pub fn run_line(label: &str, beside: &[Beside], here: Shown) -> String {
    let cells: Vec<String> = beside
        .iter()
        .map(|b| {
            let off = (b.measured - b.planned) / b.sd;
            let mark = if off.abs() > 2.0 { "!" } else { "" };
            let unit = here.beside(dimension_in(b.unit));
            format!("{} {} for {}{mark}", b.quantity, unit.words(b.measured), unit.number(b.planned))
        })
        .collect();
    format!("run {label}: {}\n", cells.join(", "))
}

/// A warning in words; nothing where there is none.
#[must_use]
pub fn warning(standing: &Standing, session: &Session, here: Shown) -> Option<String> {
    let after = standing.warned_after.as_ref()?;
    let shift = match (standing.shift, standing.shift_sd) {
        (Some(shift), Some(sd)) => {
            let unit = here.beside(standing.change.dimension());
            format!(": {}{}", unit.with_error(shift, sd), standing.change.at())
        }
        _ => String::new(),
    };
    let hangs = standing
        .hangs_on
        .as_ref()
        .map_or_else(String::new, |run| format!(" It hangs on run {run} alone: look at that one first."));
    let look = match standing.change {
        Change::Slower => " Wet ground, low tyres, a dragging brake or head wind do this; lips come up short.",
        Change::Faster => " Dry or packed ground, harder tyres, tail wind or a push do this; landings go long.",
        Change::Shorter | Change::Longer => " Look at lip speed, pop, wind and the bag's place.",
        Change::Left | Change::Right => " Look at the line, cross wind and the bag's place.",
    };
    Some(format!(
        "WARNING since run {after}: {}{shift} ({}; without a change a session warns with a chance of at most {}).{look} Find out why before the next run.{hangs}",
        standing.change.words(),
        evidence(standing.evidence),
        chance(session.options().alpha),
    ))
}

/// How the runs so far speak for a change: a likelihood ratio in words.
fn evidence(value: f64) -> String {
    let times = match value {
        v if v > 1e6 => "over a million times as well".to_owned(),
        v if v >= 1.5 => format!("{} times as well", number(v, if v < 10.0 { 1 } else { 0 })),
        v if v > 0.67 => "no better and no worse".to_owned(),
        _ => return "no change fits the runs better".to_owned(),
    };
    match value {
        v if v >= 1.5 => format!("it fits the runs {times} as no change"),
        _ => format!("it fits the runs {times} than no change"),
    }
}

/// The whole session.
#[must_use]
pub fn session_text(name: &str, session: &Session, lines: &[String], here: Shown, style: Style) -> String {
    let mut page = Page::new(style);
    let count = session.count();
    let runs = if count == 1 { "1 run".to_owned() } else { format!("{count} runs") };
    page.line(&format!("{name}: {runs} today beside the plan"));
    let standings = session.standings();
    let mut warnings: Vec<&Standing> = standings.iter().filter(|s| s.warned_after.is_some()).collect();
    warnings.sort_by(|a, b| b.evidence.total_cmp(&a.evidence));
    for standing in &warnings {
        if let Some(words) = warning(standing, session, here) {
            page.entry("change", red(), &words);
        }
    }
    if warnings.is_empty() {
        page.paragraph("No warning. That is no proof that all is as planned: see below what can be told so far.");
    }
    page.heading("Looked for");
    for standing in &standings {
        let so_far = match (&standing.warned_after, &standing.absent_after, standing.shift) {
            (Some(after), _, _) => format!("warned after run {after}"),
            (None, Some(after), _) => {
                format!("called absent after run {after}")
            }
            (None, None, None) => "not measured".to_owned(),
            (None, None, Some(_)) => "undecided".to_owned(),
        };
        let size = match standing.change {
            Change::Slower | Change::Faster => session.options().speed_mps,
            _ => session.options().landing_m,
        };
        let size = here.beside(standing.change.dimension()).words(size);
        let what = format!("{} by {size}{}", standing.change.words(), standing.change.at());
        page.plain("", &format!("{what:<50} {so_far}; {}", evidence(standing.evidence)));
    }
    page.plain(
        "rates",
        &format!(
            "a warning comes where a change fits the runs {} times as well as no change; any warning without a change: at most {} a session; a shift that is there from the first run on and is called absent: at most {}",
            number(session.needed(), 0),
            chance(session.options().alpha),
            chance(session.options().beta)
        ),
    );
    page.heading("Runs, measured for planned (! more than two standard deviations off)");
    for line in lines {
        page.plain("", line.trim_end());
    }
    page.out
}

#[cfg(test)]
mod tests {
    use super::*;
    use landfall_plan::site::{Gauge, Units};

    #[test]
    fn a_run_is_shown_in_the_sites_units() {
        let speed = Beside { quantity: "lip speed", unit: "m/s", measured: 7.5, planned: 7.85, sd: 0.1 };
        let along = Beside { quantity: "landing along", unit: "m", measured: 3.62, planned: 3.55, sd: 0.2 };
        let time = Beside { quantity: "air time", unit: "s", measured: 1.28, planned: 1.33, sd: 0.1 };
        let all = [speed, along, time];
        assert_eq!(
            run_line("9", &all, Shown::default()),
            "run 9: lip speed 7.50 m/s for 7.85!, landing along 3.62 m for 3.55, air time 1.28 s for 1.33\n"
        );
        // 7.5 m/s are 16.78 mph, 3.62 m are 11.88 ft.
        assert_eq!(
            run_line("9", &all, Shown::new(Units::Imperial, Gauge::InH2O)),
            "run 9: lip speed 16.78 mph for 17.56!, landing along 11.88 ft for 11.65, air time 1.28 s for 1.33\n"
        );
    }

    #[test]
    fn evidence_is_said_in_words() {
        for (value, words) in [
            (0.2, "no change fits the runs better"),
            (1.0, "it fits the runs no better and no worse than no change"),
            (3.44, "it fits the runs 3.4 times as well as no change"),
            (118.7, "it fits the runs 119 times as well as no change"),
            (3e60, "it fits the runs over a million times as well as no change"),
        ] {
            assert_eq!(evidence(value), words);
        }
    }
}
