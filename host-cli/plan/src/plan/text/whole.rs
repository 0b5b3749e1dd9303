//! The plan as a coach reads it: the first screen, the limits by how close each is, what to look at, the verdict again.

use super::details::what_happens;
use super::{Page, Style, cautions, paint};
use crate::plan::first_screen::first_screen;
use crate::plan::limits::{Limit, by_closeness, limits};
use crate::plan::results::{About, Finding, Level, Results, Standing};
use crate::site::Site;
use anstyle::{AnsiColor, Style as Paint};

/// Rows of the limits that are shown besides the broken ones, unless all are asked for.
const CLOSEST: usize = 6;

/// The plan on the screen; [`Style::full`] adds the figures, the notes and all cautions.
#[must_use]
pub fn text(site: &Site, results: &Results, style: Style) -> String {
    let mut page = Page::new(style);
    let screen = first_screen(site, results);
    let level = match screen.standing {
        Standing::Inside => Paint::new().bold(),
        Standing::Provisional => Paint::new().bold().fg_color(Some(AnsiColor::Yellow.into())),
        Standing::Outside => paint(Level::Stop),
    };
    let name = page.painted(&results.site, Paint::new().bold());
    page.line(&name);
    page.verdict(&screen.verdict, level);
    if !screen.remark.is_empty() {
        page.paragraph(&screen.remark);
    }
    page.line("");
    for line in &screen.lines {
        page.said(line.label, &line.text);
    }
    table(&mut page, by_closeness(limits(site, results)), style.full);
    let grave: Vec<&Finding> = results.findings.iter().filter(|finding| finding.level != Level::Note).collect();
    if !grave.is_empty() {
        page.heading("Look at before anybody rides");
        grave.iter().for_each(|finding| page.finding(finding));
    }
    if style.full {
        what_happens(&mut page, site, results);
        page.heading("Good to know");
        // What has no value, and what is assumed, is for programs to read key by key.
        let told = |finding: &&Finding| {
            finding.level == Level::Note && ![About::NoValue, About::Assumed].contains(&finding.topic)
        };
        results.findings.iter().filter(told).for_each(|note| page.finding(note));
        if !results.assumed.is_empty() {
            let list = results.assumed.join(", ");
            page.plain(
                "assumed",
                &format!(
                    "{} values are not stated in the site file, so taken as commonly assumed; measure or state what you can \
                     (landfall check says how): {list}.",
                    results.assumed.len()
                ),
            );
        }
        cautions(&mut page, results);
    } else {
        page.heading("Cautions");
        page.paragraph(&format!(
            "These are computed figures from the inputs stated and {} assumed ones; they judge nothing else. No bag makes \
             a head-first landing harmless. The bag maker's instructions come first, then local codes and qualified \
             people. The box is a supplementary alarm, not a certified device.",
            results.assumed.len()
        ));
        page.paragraph("All figures, notes and cautions: --full. Pictures and measures to print: --report plan.html");
    }
    page.line("");
    page.verdict(&screen.verdict, level);
    page.out
}

fn table(page: &mut Page, rows: Vec<Limit>, full: bool) {
    if rows.is_empty() {
        return;
    }
    page.heading("Limits, the closest first");
    let broken = rows.iter().filter(|row| !row.inside).count();
    let shown = if full { rows.len() } else { rows.len().min(broken + CLOSEST) };
    let what = |row: &Limit| match &row.group {
        Some(group) => format!("{} ({group})", row.what),
        None => row.what.to_owned(),
    };
    let wide = |of: &dyn Fn(&Limit) -> usize| rows.iter().take(shown).map(of).max().unwrap_or(0);
    // A sentence in the place of a number does not widen the column for all.
    let (first, second) = (
        wide(&|row| what(row).chars().count()),
        wide(&|row| Some(row.now.chars().count()).filter(|n| *n < 24).unwrap_or(0)),
    );
    for row in rows.iter().take(shown) {
        let (word, level) = match (row.inside, row.level) {
            (true, _) => ("kept", Level::Note),
            (false, Level::Stop) => ("BROKEN", Level::Stop),
            (false, level) => ("look at", level),
        };
        let what = what(row);
        page.entry(word, paint(level), &format!("{what:<first$}  {:<second$}  {}", row.now, row.limit));
    }
    if shown < rows.len() {
        page.plain("", &format!("and {} more that are kept, each further from its limit", rows.len() - shown));
    }
}
