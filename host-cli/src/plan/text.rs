//! The plan as a screen of text, and the narrower texts of place and air.

use super::findings::inside_all_limits;
use super::limits::limits;
use super::results::{Finding, Level, Results};
use super::words::{chance, first_sentence, flow, list, load, metres, number, percent, pressure, seconds, speed, wind};
use crate::site::Site;
use anstyle::{AnsiColor, Style as Paint};
use textwrap::{Options, WordSplitter, wrap};

/// How the text looks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Style {
    /// Whether words that carry a level are also coloured.
    pub colour: bool,
    /// Longest line; taken as at least 60.
    pub width: usize,
}

impl Default for Style {
    fn default() -> Self {
        Self { colour: false, width: 100 }
    }
}

/// A text in the making.
pub(crate) struct Page {
    style: Style,
    pub(crate) out: String,
}

/// Units that stay on the line of their number.
const UNITS: [&str; 14] = ["m", "s", "g", "kg", "kPa", "Pa", "%", "m/s", "km/h", "N", "m³/s", "min", "cm", "degrees"];

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

impl Page {
    pub(crate) fn new(style: Style) -> Self {
        Self { style: Style { width: style.width.max(60), ..style }, out: String::new() }
    }

    pub(crate) fn painted(&self, text: &str, paint: Paint) -> String {
        if self.style.colour { format!("{paint}{text}{paint:#}") } else { text.to_owned() }
    }

    pub(crate) fn line(&mut self, text: &str) {
        self.out.push_str(&text.trim_end().replace('\u{a0}', " "));
        self.out.push('\n');
    }

    /// A paragraph without indent.
    pub(crate) fn paragraph(&mut self, text: &str) {
        for line in wrap(&glued(text), lines_of(self.style)) {
            self.line(&line);
        }
    }

    pub(crate) fn heading(&mut self, text: &str) {
        if !self.out.is_empty() {
            self.out.push('\n');
        }
        let text = self.painted(text, Paint::new().bold());
        self.line(&text);
    }

    /// A word in the first column and a text beside it.
    pub(crate) fn entry(&mut self, word: &str, paint: Paint, text: &str) {
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

    pub(crate) fn plain(&mut self, word: &str, text: &str) {
        self.entry(word, Paint::new(), text);
    }

    fn finding(&mut self, finding: &Finding, short: bool) {
        let text = if short { first_sentence(&finding.text) } else { &finding.text };
        self.entry(finding.level.name(), paint(finding.level), &format!("{}: {text}", finding.topic));
    }
}

fn paint(level: Level) -> Paint {
    match level {
        Level::Stop => Paint::new().bold().fg_color(Some(AnsiColor::Red.into())),
        Level::Caution => Paint::new().fg_color(Some(AnsiColor::Yellow.into())),
        Level::Note => Paint::new(),
    }
}

/// The whole advisory: what happens, what is inside and outside which limit, what to change first, the cautions.
#[must_use]
pub fn text(site: &Site, results: &Results, style: Style) -> String {
    let mut page = Page::new(style);
    head(&mut page, results);
    what_happens(&mut page, site, results);
    page.heading("Limits");
    let limits = limits(site, results);
    // A chance can be long: the limits stay two spaces behind the longest of what is held against them.
    let now = limits.iter().map(|limit| limit.now.chars().count() + 1).fold(12, usize::max);
    for limit in limits {
        let (word, level) = match (limit.inside, limit.level) {
            (true, _) => ("inside", Level::Note),
            (false, Level::Stop) => ("OUTSIDE", Level::Stop),
            (false, level) => ("over", level),
        };
        page.entry(word, paint(level), &format!("{:<32} {:<now$} {}", limit.what, limit.now, limit.limit));
    }
    let grave: Vec<&Finding> = results.findings.iter().filter(|finding| finding.level != Level::Note).collect();
    if !grave.is_empty() {
        page.heading("What to change first");
        grave.iter().for_each(|finding| page.finding(finding, false));
    }
    page.heading("To know");
    for finding in results.findings.iter().filter(|finding| said_in_short(finding)) {
        page.finding(finding, true);
    }
    if !results.assumed.is_empty() {
        let count = results.assumed.len();
        page.plain(
            "assumed",
            &format!("{count} values of the site are assumed, not stated; the other formats list them."),
        );
    }
    cautions(&mut page, results);
    page.out
}

/// Notes that the screen shows: not those whose numbers stand above already, nor the list of values without a number.
fn said_in_short(finding: &Finding) -> bool {
    const ELSEWHERE: [&str; 14] = [
        "no_value", "assumed", "anchors", "field", "recovery", "pressure", "felt", "light", "miss", "gap", "depth",
        "hard", "band", "filling",
    ];
    finding.level == Level::Note && !ELSEWHERE.contains(&finding.topic)
}

fn head(page: &mut Page, results: &Results) {
    let name = page.painted(&results.site, Paint::new().bold());
    page.line(&format!("{name}: the plan"));
    let count = |level: Level| results.findings.iter().filter(|finding| finding.level == level).count();
    let (stops, cautions) = (count(Level::Stop), count(Level::Caution));
    let many = |n: usize, one: &str| if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") };
    let mut topics: Vec<String> = Vec::new();
    for finding in results.findings.iter().filter(|finding| finding.level == Level::Stop) {
        if !topics.iter().any(|topic| topic == finding.topic) {
            topics.push(finding.topic.to_owned());
        }
    }
    let verdict = if inside_all_limits(&results.findings) {
        format!("Inside every limit that was computed; {} to look at before riding.", many(cautions, "caution"))
    } else {
        format!(
            "OUTSIDE A LIMIT: {} ({}), {}. Do not ride until that is changed.",
            many(stops, "stop"),
            list(&topics),
            many(cautions, "caution")
        )
    };
    page.paragraph(&verdict);
}

fn what_happens(page: &mut Page, site: &Site, r: &Results) {
    page.heading(&format!(
        "What happens (mean rider, {} kg, and bike, {} kg)",
        number(site.rider.mass_kg, 0),
        number(site.rider.bike_mass_kg, 0)
    ));
    match (r.ride.lip_speed_mps, r.ride.time_to_lip_s) {
        (Some(v), Some(time)) => {
            let peak = r.ride.peak_load_g.map_or_else(String::new, |peak| format!("; load up to {}", load(peak)));
            page.plain(
                "lip",
                &format!(
                    "{} at the lip after {}, path {} degrees up{peak}",
                    speed(v),
                    seconds(time),
                    number(r.ride.release_angle_deg, 0)
                ),
            );
        }
        _ => page.plain("lip", "the ride does not come to the lip"),
    }
    let flight = &r.flight;
    if let Some(apex) = flight.apex_above_lip_m {
        let time = flight
            .airtime_s
            .map_or_else(|| "no landing on the bag's plane".to_owned(), |s| format!("{} in the air", seconds(s)));
        page.plain("air", &format!("{time}; highest {} above the lip", metres(apex)));
        if let (Some(along), Some(across), Some(out)) = (flight.along_m, flight.across_m, flight.distance_from_lip_m) {
            let side = if along < 0.0 { "before" } else { "behind" };
            page.plain(
                "landing",
                &format!(
                    "{} {side} the bag's front edge, {} off its centre line, {} from the lip",
                    metres(along.abs()),
                    metres(across.abs()),
                    metres(out)
                ),
            );
        }
        if let (Some(normal), Some(along), Some(fall)) =
            (flight.impact_normal_mps, flight.impact_along_mps, flight.equivalent_fall_height_m)
        {
            page.plain(
                "",
                &format!(
                    "{} into the top, like a fall of {}; {} m/s along it",
                    speed(normal),
                    metres(fall),
                    number(along, 2)
                ),
            );
        }
    }
    riders(page, r);
    if let Some(s) = &r.spread.sampling
        && let (Some(low), Some(high), Some(right), Some(left)) =
            (s.along_p001_m, s.along_p999_m, s.across_p001_m, s.across_p999_m)
    {
        page.plain(
            "spread",
            &format!(
                "998 of 1,000 land {} to {} behind the front edge, {} right to {} left",
                metres(low),
                metres(high),
                metres(-right),
                metres(left)
            ),
        );
    }
    if let Some(landing) = &r.touchdown {
        let end = landing.ground_speed_mps.map_or_else(
            || format!("{} left above the ground", metres(landing.clearance_m)),
            |v| format!("MEETS THE GROUND at {}", speed(v)),
        );
        page.plain(
            "bag",
            &format!(
                "sinks {} of {} in {}: {end}; felt as {}",
                metres(landing.depth_m),
                metres(landing.thickness_m),
                seconds(landing.time_to_deepest_s),
                load(landing.felt_load_g)
            ),
        );
    }
    page.plain(
        "supply",
        &format!(
            "{} in the bag at {}; {}",
            pressure(r.air.operating_pressure_pa),
            flow(r.air.operating_flow_m3ps),
            r.air.fill_time_s.map_or_else(|| "does not fill".to_owned(), |s| format!("fills in {}", seconds(s)))
        ),
    );
}

fn riders(page: &mut Page, r: &Results) {
    let rider = |rider: &super::results::Rider| {
        let place = rider.along_m.map_or_else(|| "no landing".to_owned(), metres);
        let miss = rider.miss.map_or_else(String::new, |miss| format!(" (misses at most {})", chance(miss)));
        format!("{} kg {place}{miss}", number(rider.mass_kg, 0))
    };
    let (lightest, heaviest) = (rider(&r.riders.lightest), rider(&r.riders.heaviest));
    page.plain("riders", &format!("from the front edge: {lightest}, {heaviest}"));
    if let Some(tails) = &r.spread.tails {
        let each = [("mean", &tails.mean), ("lightest", &tails.lightest), ("heaviest", &tails.heaviest)];
        let words = each.map(|(name, tail)| format!("{name} {}", tail_chance(tail)));
        page.plain("tails", &format!("chance of a miss by weighted runs: {}", words.join(", ")));
    }
}

/// A chance by importance sampling in words; where it is not resolved the bound.
fn tail_chance(tail: &super::results::Tail) -> String {
    let bound = if tail.miss_low > 0.0 { "" } else { "under " };
    format!("{bound}{}", chance(tail.miss))
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
pub const PLACE_TOPICS: [&str; 10] =
    ["gap", "offset", "start", "stopping", "short_zone", "field", "short", "long", "miss", "reach"];

/// What the findings of [`air_text`] are about.
pub const AIR_TOPICS: [&str; 18] = [
    "pressure",
    "blower",
    "openings",
    "filling",
    "recovery",
    "power",
    "wait",
    "band",
    "stop",
    "light",
    "felt",
    "hard",
    "depth",
    "ground",
    "ground_cut",
    "one_blower",
    "provisional",
    "anchors",
];

/// Findings on some topics: stop and caution in full, notes in full too where the text is about them alone.
fn findings_on(page: &mut Page, results: &Results, topics: &[&str]) {
    let about: Vec<&Finding> = results.findings.iter().filter(|finding| topics.contains(&finding.topic)).collect();
    if !about.is_empty() {
        page.heading("Findings");
        about.iter().for_each(|finding| page.finding(finding, false));
    }
}

fn or_none(value: Option<f64>, words: impl Fn(f64) -> String) -> String {
    value.map_or_else(|| "none".to_owned(), words)
}

/// Where the bag should stand: gap, offset, band, short zone, last stop line.
#[must_use]
pub fn place_text(_site: &Site, results: &Results, style: Style) -> String {
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
            metres(p.gap_m),
            metres(p.offset_m),
            or_none(p.miss_now, chance)
        ),
    );
    page.plain(
        "best",
        &format!(
            "gap {}, offset {}; chance of a miss {}",
            or_none(p.best_gap_m, metres),
            or_none(p.best_offset_m, metres),
            or_none(p.miss_at_best, chance)
        ),
    );
    let band = p.gap_low_m.zip(p.gap_high_m).map_or_else(
        || {
            format!(
                "none; the smallest chance is {} at a gap of {}",
                or_none(p.least_miss, chance),
                or_none(p.least_miss_gap_m, metres)
            )
        },
        |(low, high)| format!("gap {} to {}", metres(low), metres(high)),
    );
    page.plain("band", &band);
    page.plain(
        "start",
        &format!(
            "lowest that clears {}, highest in the gust {}",
            or_none(p.lowest_clearing_start_m, metres),
            or_none(p.highest_start_in_gust_m, metres)
        ),
    );
    page.heading("Short zone: what a slow roll-in meets first");
    page.line(&format!("  {:<20} {:<12} {}", "speed at the lip", "meets", "height at front edge"));
    for run in &p.short_zone {
        let hit = match run.hit {
            "bag_front" => "bag's front",
            "bag_top" => "bag's top",
            other => other,
        };
        page.line(&format!(
            "  {:<20} {hit:<12} {}",
            speed(run.lip_speed_mps),
            run.height_at_gap_m.map_or_else(|| "does not come so far".to_owned(), metres)
        ));
    }
    page.plain(
        "clears",
        &format!(
            "from {}; meets the front rather than the ground from {}",
            or_none(p.clearing_lip_speed_mps, speed),
            or_none(p.front_from_lip_speed_mps, speed)
        ),
    );
    page.heading("Last stop line");
    for line in &p.stop_lines {
        let place = line.before_foot_m.map_or_else(
            || "none: committed from the start".to_owned(),
            |m| format!("{} before the take-off's foot", metres(m)),
        );
        page.plain(
            "braking",
            &format!(
                "{} of the load: {place}; {} from there to touch-down",
                number(line.braking, 2),
                or_none(line.to_touchdown_s, seconds)
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
    let (air, bag) = (&results.air, &site.bag);
    let mut page = Page::new(style);
    page.heading(&format!("{}: the air supply", results.site));
    page.plain(
        "outside",
        &format!("{} kPa, {} kg/m³", number(air.outside_pressure_pa / 1000.0, 1), number(air.density_kgpm3, 3)),
    );
    let shut = if air.at_shut_off { "; nothing is open: this is the shut-off pressure" } else { "" };
    page.plain(
        "settles",
        &format!("{} at {}{shut}", pressure(air.operating_pressure_pa), flow(air.operating_flow_m3ps)),
    );
    let range = match air.status {
        "low" => format!("{} too low", pressure(-air.above_min_pa)),
        "high" => format!("{} too high", pressure(-air.below_max_pa)),
        _ => format!("inside by {} and {}", pressure(air.above_min_pa), pressure(air.below_max_pa)),
    };
    page.plain(
        "range",
        &format!("maker's {} to {}: {range}", pressure(bag.pressure_min_pa), pressure(bag.pressure_max_pa)),
    );
    page.plain(
        "needs",
        &format!(
            "{} at {} from all blowers together, to sit mid-range",
            flow(air.needed_flow_m3ps),
            pressure(air.needed_pressure_pa)
        ),
    );
    page.plain(
        "fills",
        &air.fill_time_s
            .map_or_else(|| "does not reach 95 % of that".to_owned(), |s| format!("to 95 % in {}", seconds(s))),
    );
    if let Some(landing) = &results.touchdown {
        page.plain(
            "recovers",
            &landing.recovery_s.map_or_else(
                || "not to 99 % after a landing".to_owned(),
                |s| format!("to 99 % in {} after the mean landing", seconds(s)),
            ),
        );
    }
    if !air.after_cut.is_empty() {
        page.heading("After a power cut");
        page.line(&format!("  {:>8}  {:>9}  depth of the hard landing", "time", "pressure"));
        let thickness = results.pressures.hard_thickness_m;
        for moment in &air.after_cut {
            let depth = moment.hard_depth_m.map_or_else(
                || "-".to_owned(),
                |depth| {
                    let mark = match thickness {
                        Some(thickness) if depth >= thickness => "  MEETS THE GROUND",
                        Some(thickness) if depth > bag.depth_limit * thickness => "  past the depth limit",
                        _ => "",
                    };
                    format!("{}{mark}", metres(depth))
                },
            );
            page.line(&format!("  {:>8}  {:>9}  {depth}", seconds(moment.time_s), pressure(moment.pressure_pa)));
        }
    }
    let p = &results.pressures;
    if let (Some(thickness), Some(hard)) = (p.hard_thickness_m, p.hard_speed_mps) {
        page.plain(
            "hard",
            &format!(
                "{} into the top; the bag is {} thick there, depth limit {}",
                speed(hard),
                metres(thickness),
                percent(bag.depth_limit)
            ),
        );
    }
    if p.stop_rule.is_some() {
        page.plain(
            "stop",
            &format!(
                "{}, reached {} after a power cut",
                or_none(p.stop_pa, pressure),
                p.stated
                    .as_ref()
                    .and_then(|stated| stated.power_loss_to_stop_s)
                    .map_or_else(|| "not in the time looked at".to_owned(), seconds)
            ),
        );
        page.plain("wait", &format!("{}; firm {}", or_none(p.wait_pa, pressure), or_none(p.firm_pa, pressure)));
    }
    page.plain(
        "wind",
        &format!(
            "in {}: {} anchors needed, {} stated",
            wind(results.wind.limit_mps),
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
