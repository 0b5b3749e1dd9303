//! The plan as a screen of text, and the narrower texts of place and air.

mod details;
mod whole;

pub use whole::text;

use super::results::{About, Finding, Level, Results};
use super::words::{chance, flow, metres, number, percent, pressure, seconds, speed, wind};
use crate::shown::{Shown, Toward};
use crate::site::Site;
use anstyle::{AnsiColor, Style as Paint};
use landfall_core::short_zone::Hit;
use landfall_core::supply::RangeStatus;
use textwrap::{Options, WordSplitter, wrap};

/// How the text looks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Style {
    /// Whether words that carry a level are also coloured.
    pub colour: bool,
    /// Longest line; taken as at least 60.
    pub width: usize,
    /// Everything, not only what has to be known before riding.
    pub full: bool,
}

impl Default for Style {
    fn default() -> Self {
        Self { colour: false, width: 100, full: false }
    }
}

/// A text in the making.
pub struct Page {
    style: Style,
    /// What was written so far.
    pub out: String,
}

/// Units that stay on the line of their number.
const UNITS: [&str; 27] = [
    "m", "s", "g", "kg", "kPa", "Pa", "%", "m/s", "km/h", "N", "m³/s", "min", "cm", "degrees", "ft", "in", "lb", "mph",
    "lbf", "cfm", "ft³", "ft²", "in²", "mbar", "inH2O", "mmH2O", "psi",
];

/// The text with blanks between numbers and units that no line breaks at.
fn glued(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut before = "";
    for word in text.split(' ') {
        if !out.is_empty() {
            let unit = word.trim_end_matches(|c: char| ",.;:()".contains(c));
            let number = before.ends_with(|c: char| c.is_ascii_digit());
            out.push(if number && UNITS.contains(&unit) { '\u{a0}' } else { ' ' });
        }
        out.push_str(word);
        before = word;
    }
    out
}

/// Lines as long as the page is wide; no word is broken at a hyphen.
fn lines_of(style: Style) -> Options<'static> {
    Options::new(style.width).word_splitter(WordSplitter::NoHyphenation)
}

/// Where the second column begins.
const INDENT: usize = 11;
/// Where the sentences of the first screen begin.
const LABEL: usize = 12;

impl Page {
    /// An empty one; at least 60 characters wide.
    pub fn new(style: Style) -> Self {
        Self { style: Style { width: style.width.max(60), ..style }, out: String::new() }
    }

    /// A text in a colour, where colours are wanted.
    pub fn painted(&self, text: &str, paint: Paint) -> String {
        if self.style.colour { format!("{paint}{text}{paint:#}") } else { text.to_owned() }
    }

    /// A line as it stands.
    pub fn line(&mut self, text: &str) {
        self.out.push_str(&text.trim_end().replace('\u{a0}', " "));
        self.out.push('\n');
    }

    /// A paragraph without indent.
    pub fn paragraph(&mut self, text: &str) {
        for line in wrap(&glued(text), lines_of(self.style)) {
            self.line(&line);
        }
    }

    /// A heading, with a blank line before it.
    pub fn heading(&mut self, text: &str) {
        if !self.out.is_empty() {
            self.out.push('\n');
        }
        let text = self.painted(text, Paint::new().bold());
        self.line(&text);
    }

    /// A word in the first column and a text beside it.
    pub fn entry(&mut self, word: &str, paint: Paint, text: &str) {
        let hang = " ".repeat(INDENT);
        let text = glued(text);
        let lines = wrap(&text, lines_of(self.style).initial_indent(&hang).subsequent_indent(&hang));
        for (i, line) in lines.iter().enumerate() {
            if i == 0 {
                let word_width = INDENT - 3;
                let word = self.painted(&format!("{word:<word_width$}"), paint);
                let rest = line.get(INDENT..).unwrap_or_default().to_owned();
                self.line(&format!("  {word} {rest}"));
            } else {
                self.line(line);
            }
        }
    }

    /// [`Page::entry`] without a colour.
    pub fn plain(&mut self, word: &str, text: &str) {
        self.entry(word, Paint::new(), text);
    }

    /// The verdict, in the colour of how it stands.
    fn verdict(&mut self, text: &str, colour: Paint) {
        for line in wrap(&glued(text), lines_of(self.style)) {
            let line = self.painted(&line, colour);
            self.line(&line);
        }
    }

    /// A line of the first screen: a word to find it by and a sentence that hangs behind it.
    fn said(&mut self, label: &str, text: &str) {
        let hang = " ".repeat(LABEL);
        let text = glued(text);
        let lines = wrap(&text, lines_of(self.style).initial_indent(&hang).subsequent_indent(&hang));
        for (i, line) in lines.iter().enumerate() {
            if i == 0 {
                let blank = " ".repeat(LABEL.saturating_sub(label.chars().count()));
                let label = self.painted(label, Paint::new().bold());
                let rest = line.get(LABEL..).unwrap_or_default().to_owned();
                self.line(&format!("{label}{blank}{rest}"));
            } else {
                self.line(line);
            }
        }
    }

    /// A finding in whole sentences; what follows from another stands under it.
    fn finding(&mut self, finding: &Finding) {
        let word = match finding.level {
            Level::Stop => "STOP",
            Level::Caution => "look at",
            Level::Note => "note",
        };
        let text = match (&finding.group, finding.follows_from) {
            (_, Some(_)) => format!("so: {}", finding.text),
            (Some(group), None) => format!("{group}: {}", finding.text),
            (None, None) => finding.text.clone(),
        };
        self.entry(word, paint(finding.level), &text);
    }
}

fn paint(level: Level) -> Paint {
    match level {
        Level::Stop => Paint::new().bold().fg_color(Some(AnsiColor::Red.into())),
        Level::Caution => Paint::new().fg_color(Some(AnsiColor::Yellow.into())),
        Level::Note => Paint::new(),
    }
}

fn cautions(page: &mut Page, results: &Results) {
    page.heading("Cautions");
    for caution in &results.cautions {
        for line in wrap(&glued(caution), lines_of(page.style).initial_indent("  - ").subsequent_indent("    ")) {
            page.line(&line);
        }
    }
}

/// What the findings of [`place_text`] are about.
pub const PLACE_TOPICS: [About; 10] = [
    About::Gap,
    About::Offset,
    About::Start,
    About::Stopping,
    About::ShortZone,
    About::Field,
    About::Short,
    About::Long,
    About::Miss,
    About::Reach,
];

/// What the findings of [`air_text`] are about.
pub const AIR_TOPICS: [About; 18] = [
    About::Pressure,
    About::Blower,
    About::Openings,
    About::Filling,
    About::Recovery,
    About::Power,
    About::Wait,
    About::Band,
    About::Stop,
    About::Light,
    About::Felt,
    About::Hard,
    About::Depth,
    About::Ground,
    About::GroundCut,
    About::OneBlower,
    About::Provisional,
    About::Anchors,
];

/// Findings on some topics: stop and caution in full, notes in full too where the text is about them alone.
fn findings_on(page: &mut Page, results: &Results, topics: &[About]) {
    let about: Vec<&Finding> = results.findings.iter().filter(|finding| topics.contains(&finding.topic)).collect();
    if !about.is_empty() {
        page.heading("Findings");
        about.iter().for_each(|finding| page.finding(finding));
    }
}

fn or_none(value: Option<f64>, words: impl Fn(f64) -> String) -> String {
    value.map_or_else(|| "none".to_owned(), words)
}

/// Where the bag should stand: gap, offset, band, short zone, last stop line.
#[must_use]
pub fn place_text(site: &Site, results: &Results, style: Style) -> String {
    let u = Shown::of(site);
    let p = &results.placement;
    let mut page = Page::new(style);
    page.heading(&format!("{}: where the bag should stand", results.site));
    page.paragraph(&format!(
        "Chances are those of the {} rider; the chance to plan for is {}.",
        results.riders.worst,
        chance(p.target_miss)
    ));
    page.heading("Gap and offset");
    page.plain(
        "now",
        &format!(
            "gap {}, offset {}; chance of a miss {}",
            metres(u, p.gap_m),
            metres(u, p.offset_m),
            or_none(p.miss_now, chance)
        ),
    );
    if p.best_is_better.get() == Some(true) {
        page.plain(
            "best",
            &format!(
                "gap {}, offset {}; chance of a miss {}",
                or_none(p.best_gap_m.get(), |x| metres(u, x)),
                or_none(p.best_offset_m.get(), |x| metres(u, x)),
                or_none(p.miss_at_best.get(), chance)
            ),
        );
    } else {
        page.plain("best", "no other gap is better by more than the runs can tell");
    }
    let band = p.gap_low_m.get().zip(p.gap_high_m.get()).map_or_else(
        || {
            format!(
                "none; the smallest chance is {} at a gap of {}",
                or_none(p.least_miss.get(), chance),
                or_none(p.least_miss_gap_m.get(), |x| metres(u, x))
            )
        },
        |(low, high)| format!("gap {} to {}", metres(u, low), metres(u, high)),
    );
    page.plain("band", &band);
    for by in &results.ride_by {
        page.plain("start", &super::first_screen::start(u, by, results.ride_by.len() > 1));
    }
    page.heading("Short zone: what a slow roll-in meets first");
    page.line(&format!("  {:<20} {:<12} {}", "speed at the lip", "meets", "height at front edge"));
    for run in &p.short_zone {
        let hit = match run.hit {
            Hit::Ground => "ground",
            Hit::BagFront => "bag's front",
            Hit::BagTop => "bag's top",
        };
        page.line(&format!(
            "  {:<20} {hit:<12} {}",
            speed(u, run.lip_speed_mps),
            run.height_at_gap_m.get().map_or_else(|| "does not come so far".to_owned(), |x| metres(u, x))
        ));
    }
    page.plain(
        "clears",
        &format!(
            "from {}; meets the front rather than the ground from {}",
            or_none(p.clearing_lip_speed_mps.get(), |x| speed(u, x)),
            or_none(p.front_from_lip_speed_mps.get(), |x| speed(u, x))
        ),
    );
    page.heading("Last stop line");
    for line in &p.stop_lines {
        let place = line.before_foot_m.get().map_or_else(
            || "none: committed from the start".to_owned(),
            |m| format!("{} before the take-off's foot", metres(u, m)),
        );
        page.plain(
            "braking",
            &format!(
                "{} of the load: {place}; {} from there to touch-down",
                number(line.braking, 2),
                or_none(line.to_touchdown_s.get(), seconds)
            ),
        );
    }
    findings_on(&mut page, results, &PLACE_TOPICS);
    cautions(&mut page, results);
    page.out
}

/// The air supply alone: operating point, needed blower, fill, recovery, power loss.
#[must_use]
pub fn air_text(site: &Site, results: &Results, style: Style) -> String {
    let u = Shown::of(site);
    let (air, bag) = (&results.air, &site.bag);
    let mut page = Page::new(style);
    page.heading(&format!("{}: the air supply", results.site));
    page.plain(
        "outside",
        &if u.is_imperial() {
            // 1 inHg is 3386.389 Pa, 1 lb/ft³ 16.018463 kg/m³ (NIST SP 811, appendix B).
            let (inches, pounds) = (air.outside_pressure_pa / 3386.389, air.density_kgpm3 / 16.018_463);
            format!("{} inHg, {} lb/ft³", number(inches, 2), number(pounds, 4))
        } else {
            format!("{} kPa, {} kg/m³", number(air.outside_pressure_pa / 1000.0, 1), number(air.density_kgpm3, 3))
        },
    );
    let shut = if air.at_shut_off { "; nothing is open: this is the shut-off pressure" } else { "" };
    page.plain(
        "settles",
        &format!("{} at {}{shut}", pressure(u, air.operating_pressure_pa), flow(u, air.operating_flow_m3ps)),
    );
    let range = match air.status {
        RangeStatus::Low => format!("{} too low", pressure(u, -air.above_min_pa)),
        RangeStatus::High => format!("{} too high", pressure(u, -air.below_max_pa)),
        RangeStatus::InRange => {
            format!("inside by {} and {}", pressure(u, air.above_min_pa), pressure(u, air.below_max_pa))
        }
    };
    page.plain(
        "range",
        &format!("maker's {} to {}: {range}", pressure(u, bag.pressure_min_pa), pressure(u, bag.pressure_max_pa)),
    );
    page.plain(
        "needs",
        &format!(
            "{} at {} from all blowers together, to sit mid-range",
            flow(u, air.needed_flow_m3ps),
            pressure(u, air.needed_pressure_pa)
        ),
    );
    page.plain(
        "fills",
        &air.fill_time_s
            .get()
            .map_or_else(|| "does not reach 95 % of that".to_owned(), |s| format!("to 95 % in {}", seconds(s))),
    );
    if let Some(landing) = results.touchdown.as_ref() {
        page.plain(
            "recovers",
            &landing.recovery_s.get().map_or_else(
                || "not to 99 % after a landing".to_owned(),
                |s| format!("to 99 % in {} after the mean landing", seconds(s)),
            ),
        );
    }
    if !air.after_cut.is_empty() {
        page.heading("After a power cut");
        page.line(&format!("  {:>8}  {:>9}  depth of the hard landing", "time", "pressure"));
        let thickness = results.pressures.hard_thickness_m.get();
        for moment in &air.after_cut {
            let depth = moment.hard_depth_m.get().map_or_else(
                || "-".to_owned(),
                |depth| {
                    let mark = match thickness {
                        Some(thickness) if depth >= thickness => "  MEETS THE GROUND",
                        Some(thickness) if depth > bag.depth_limit * thickness => "  past the depth limit",
                        _ => "",
                    };
                    format!("{}{mark}", metres(u, depth))
                },
            );
            page.line(&format!("  {:>8}  {:>9}  {depth}", seconds(moment.time_s), pressure(u, moment.pressure_pa)));
        }
    }
    let p = &results.pressures;
    if let (Some(thickness), Some(hard)) = (p.hard_thickness_m.get(), p.hard_speed_mps.get()) {
        page.plain(
            "hard",
            &format!(
                "{} into the top; the bag is {} thick there, depth limit {}",
                speed(u, hard),
                metres(u, thickness),
                percent(bag.depth_limit)
            ),
        );
    }
    if p.stop_rule.get().is_some() {
        // As everybody goes by them, where they were computed.
        let by = results.ride_by.first();
        let off_pa = by.and_then(|by| by.everybody_off_under_pa.get()).or(p.stop_pa.get());
        let next_pa = by.and_then(|by| by.next_rider_from_pa.get()).or(p.wait_pa.get());
        page.plain(
            "all stop",
            &format!(
                "at {}; the bag is too soft for a hard landing {} after a power cut",
                or_none(off_pa, |pa| u.pressure(pa, Toward::Up)),
                p.stated
                    .as_ref()
                    .as_ref()
                    .and_then(|stated| stated.power_loss_to_stop_s.get())
                    .map_or_else(|| "at no time looked at".to_owned(), seconds)
            ),
        );
        page.plain("next", &format!("rider from {}", or_none(next_pa, |pa| u.pressure(pa, Toward::Up))));
    }
    page.plain(
        "wind",
        &format!(
            "in {}: {} anchors needed, {} stated",
            wind(u, results.wind.limit_mps),
            results.wind.anchors_needed,
            results.wind.anchors_stated
        ),
    );
    findings_on(&mut page, results, &AIR_TOPICS);
    cautions(&mut page, results);
    page.out
}

#[cfg(test)]
mod tests;
