//! The runs of one trick: from the table of runs to words. There is no verdict in it.

use super::{Wishes, assumed, landing, none_of};
use landfall_core::ride::Steps;
use landfall_core::spread::mixture;
use landfall_dirt::built::Built;
use landfall_dirt::chance::Share;
use landfall_dirt::ready::{Beside, Ending, Flown, Planned, Ready, Wanted, ready};
use landfall_learn::runs::read_runs;
use landfall_plan::lines::{paragraph, table};
use landfall_plan::plan::PlanError;
use landfall_plan::plan::cautions::CAUTIONS;
use landfall_plan::plan::model::Model;
use landfall_plan::plan::words::{list, number};
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Faults, Site, nearest};
use serde::Serialize;

/// The answer.
#[derive(Clone, Debug, Serialize)]
pub struct Answer {
    /// Name of the site.
    pub site: String,
    /// What the runs say.
    pub runs: Ready,
    /// The landing that they are laid onto; null where none can be built.
    pub landing: Option<Built>,
    /// Why there is none.
    pub no_landing: Option<String>,
    /// Runs of the trick that the table leaves out, with the reasons.
    pub left_out: Vec<(String, String)>,
    /// Parts of the question that were not stated.
    pub assumed: Vec<String>,
    /// The cautions that go with every report.
    pub cautions: Vec<&'static str>,
    /// In which units its text stands.
    #[serde(skip)]
    pub shown: Shown,
}

/// Why there is none.
#[derive(Debug)]
pub enum ReadyError {
    /// The table has faults.
    Table(Faults),
    /// No run of that name.
    NoTrick(String),
    /// The models refuse a value.
    Plan(PlanError),
}

impl std::fmt::Display for ReadyError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Table(faults) => faults.fmt(f),
            Self::NoTrick(text) => f.write_str(text),
            Self::Plan(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for ReadyError {}

impl<E: Into<PlanError>> From<E> for ReadyError {
    fn from(error: E) -> Self {
        Self::Plan(error.into())
    }
}

/// Looks at the runs of a trick in a table, for a site whose gap is known.
///
/// # Errors
/// [`ReadyError`].
pub fn answer(
    site: &Site,
    table: &str,
    file: &str,
    trick: &str,
    wanted: Wanted,
    wishes: &Wishes,
) -> Result<Answer, ReadyError> {
    let rows = read_runs(table, file, None).map_err(ReadyError::Table)?;
    let same = |text: &str| text.trim().to_lowercase() == trick.trim().to_lowercase();
    let mut faults = Vec::new();
    let (mut flown, mut left_out, mut names) = (Vec::new(), Vec::new(), Vec::new());
    for run in &rows {
        let Some(name) = run.row.text("trick") else { continue };
        if !names.iter().any(|known| known == name) {
            names.push(name.to_owned());
        }
        if !same(name) {
            continue;
        }
        if let Some(reason) = &run.excluded {
            left_out.push((run.label.clone(), reason.clone()));
            continue;
        }
        let cure = "write clean, hands or feet down, or crash; or set excluded with a reason";
        match run.row.text("ending").map(|text| (text, Ending::read(text))) {
            None => faults.push(run.row.fault("ending", "how the run ended is not stated", cure)),
            Some((text, None)) => {
                let message = format!(
                    "{:?} is none of clean, hands or feet down, and crash",
                    landfall_plan::outside::plain(text)
                );
                faults.push(run.row.fault("ending", message, cure));
            }
            Some((_, Some(ending))) => flown.push(Flown {
                label: run.label.clone(),
                ending,
                along_m: run.along.map(|m| m.value),
                across_m: run.across.map(|m| m.value),
                lip_speed_mps: run.lip_speed.map(|(m, _)| m.value),
            }),
        }
    }
    if !faults.is_empty() {
        return Err(ReadyError::Table(Faults { file: file.to_owned(), faults }));
    }
    if flown.is_empty() && left_out.is_empty() {
        return Err(ReadyError::NoTrick(no_trick(file, trick, &names)));
    }
    let model = Model::new(site)?;
    let setup = &model.setups[0];
    let spread = mixture(setup, &model.uncertainty, &Steps::FINE);
    let planned =
        spread.map_or(Planned { along_m: (f64::NAN, f64::NAN), across_m: (f64::NAN, f64::NAN) }, |s| Planned {
            along_m: (s.mean_along_m().into(), s.sd_along_m().into()),
            across_m: (s.mean_across_m().into(), s.sd_across_m().into()),
        });
    let made = landing(site, &model, wishes);
    let inputs = model.uncertainty.at_mean();
    let onto = made.as_ref().ok().map(|built| &built.landing);
    Ok(Answer {
        site: site.site.name.clone(),
        runs: ready(trick.trim(), &flown, &planned, setup, &inputs, onto, wanted)?,
        no_landing: made.as_ref().err().map(none_of),
        landing: made.ok(),
        left_out,
        assumed: assumed(site, wishes),
        cautions: CAUTIONS.to_vec(),
        shown: Shown::of(site),
    })
}

fn no_trick(file: &str, trick: &str, names: &[String]) -> String {
    let file = landfall_plan::outside::plain(file);
    let asked = landfall_plan::outside::plain(trick);
    if names.is_empty() {
        return format!(
            "{file}: no run has a trick: add a column trick, and a column ending (clean, hands or feet down, crash)"
        );
    }
    let near = nearest(trick, names.iter().map(String::as_str))
        .map_or_else(String::new, |near| format!("; {:?} was perhaps meant", landfall_plan::outside::plain(near)));
    let shown: Vec<String> =
        names.iter().take(20).map(|name| landfall_plan::outside::plain(name).into_owned()).collect();
    format!("{file}: no run of {asked:?}{near}; the tricks in it are {}", list(&shown))
}

/// Of a hundred, rounded away from the middle so that the interval is never too narrow.
fn between(share: &Share) -> String {
    let (low, high) = ((share.low * 100.0 + 1e-9).floor(), (share.high * 100.0 - 1e-9).ceil());
    format!("between {low:.0} and {high:.0} in 100")
}

fn counted(share: &Share) -> String {
    format!("{} of {}: {}", share.count, share.of, between(share))
}

/// In words.
#[must_use]
pub fn text(answer: &Answer) -> String {
    let (u, r) = (answer.shown, &answer.runs);
    let mut out = format!("{}: the runs of {:?}\n\n", answer.site, landfall_plan::outside::plain(&r.trick));
    let sure = number(r.wanted.confidence * 100.0, 1).trim_end_matches(".0").to_owned();
    for (ending, share) in &r.endings {
        paragraph(&mut out, "  ", &format!("{}: {}.", capital(ending), counted(share)));
    }
    paragraph(
        &mut out,
        "  ",
        &format!(
            "Between these, at {sure} %, lies the share of many more such runs: of these riders, here, in such weather. (Clopper and \
             Pearson's interval.)"
        ),
    );
    if let (Some(rule), Some(exact)) = (r.rule_of_three, r.never_seen) {
        paragraph(
            &mut out,
            "  ",
            &format!(
                "Every run was clean. By the rule of three fewer than {} in 100 would end otherwise; exactly, fewer than {} in 100 \
                 at {sure} %.",
                number((rule * 100.0).ceil(), 0),
                number((exact * 100.0).ceil(), 0)
            ),
        );
    }
    if let Some(needed) = r.needed_in_a_row {
        let chance = number(r.wanted.chance * 100.0, 1).trim_end_matches(".0").to_owned();
        let row = match (r.clean_in_a_row, r.still_needed) {
            (_, Some(0)) => format!("the last {} were clean", r.clean_in_a_row),
            (0, _) => "the last one was not clean".to_owned(),
            (n, Some(still)) => format!("the last {n} were clean, {still} more would be needed"),
            (n, None) => format!("the last {n} were clean"),
        };
        paragraph(
            &mut out,
            "  ",
            &format!(
                "To show, at {sure} %, that more than {chance} in 100 are clean takes {needed} clean runs in a row: {row}. Rows \
                 that are begun anew after each fall show less."
            ),
        );
    }
    for (run, reason) in &answer.left_out {
        paragraph(
            &mut out,
            "  ",
            &format!(
                "Run {} is left out: {}.",
                landfall_plan::outside::plain(run),
                landfall_plan::outside::plain(reason)
            ),
        );
    }
    out.push_str("\nWhere it lands on the bag, beside the plan\n");
    match (&r.along, &r.across) {
        (None, None) => paragraph(&mut out, "  ", "No run says where it came down: landing_along and landing_across."),
        _ => {
            for (what, beside) in [("Along, from the bag's front edge", &r.along), ("Across, left positive", &r.across)]
            {
                if let Some(beside) = beside {
                    paragraph(&mut out, "  ", &scatter(u, what, beside));
                }
            }
        }
    }
    on_landing(&mut out, answer);
    out.push_str("\nThis is no verdict\n");
    paragraph(
        &mut out,
        "  ",
        "It says what these runs did and where they would have gone. A bag forgives what dirt does not; whether somebody is ready is \
         for the rider and the coach to say, and step by step.",
    );
    if !answer.assumed.is_empty() {
        paragraph(&mut out, "  ", &format!("Assumed, since not stated: {}.", answer.assumed.join(", ")));
    }
    out.push_str("\nCautions\n");
    for caution in &answer.cautions {
        paragraph(&mut out, "  ", &format!("- {caution}"));
    }
    out
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + letters.as_str())
}

fn scatter(u: Shown, what: &str, beside: &Beside) -> String {
    let near = |m: f64| u.length(m, Toward::Nearest);
    let m = &beside.measured;
    let mean = match m.mean_between {
        Some((low, high)) => format!("{} (the mean lies between {} and {})", near(m.mean), near(low), near(high)),
        None => near(m.mean),
    };
    let sd = match (m.sd, m.sd_between) {
        (Some(sd), Some((low, high))) => format!(
            "; they scatter by {} either way (between {} and {})",
            near(sd),
            u.length(low, Toward::Down),
            u.length(high, Toward::Up)
        ),
        _ => "; of one run there is no scatter".to_owned(),
    };
    let planned = if beside.planned_sd_m.is_finite() {
        format!(" The plan has {} and {}.", near(beside.planned_mean_m), near(beside.planned_sd_m))
    } else {
        String::new()
    };
    format!("{what}: {} runs come down at {mean}{sd}.{planned}", m.count)
}

fn on_landing(out: &mut String, answer: &Answer) {
    let (u, r) = (answer.shown, &answer.runs);
    out.push_str("\nThese very runs onto a landing that is built\n");
    let (Some(built), Some(on)) = (&answer.landing, &r.landing) else {
        let why = answer.no_landing.as_deref().unwrap_or("there is none");
        paragraph(out, "  ", &format!("None: {why}."));
        return;
    };
    let l = &built.landing;
    paragraph(
        out,
        "  ",
        &format!(
            "Slope {} degrees from {} to {} from the lip, {} wide: landfall progress says how it is made.",
            number(l.slope_rad.to_degrees(), 0),
            u.length(l.knuckle_m.0, Toward::Nearest),
            u.length(l.slope_end_m().0, Toward::Nearest),
            u.length(l.width_m, Toward::Nearest)
        ),
    );
    if on.known == 0 {
        paragraph(out, "  ", "Of no run it is known where it came down or how fast it was at the lip.");
        return;
    }
    for (what, share) in [
        ("On the slope", &on.on_slope),
        ("Too short, on deck or knuckle", &on.short),
        ("Too long, in the transition or past it", &on.long),
        ("Off its sides", &on.off_side),
    ] {
        paragraph(out, "  ", &format!("{what}: {}.", counted(share)));
    }
    let unknown = r.runs - on.known;
    if unknown > 0 {
        paragraph(out, "  ", &format!("Of {unknown} runs it cannot be told."));
    }
    let cell = |m: f64| u.length(m, Toward::Nearest);
    let mut list = vec![["run", "from lip", "part", "falls", "to slope"].map(str::to_owned).to_vec()];
    for run in &on.runs {
        let Some(m) = &run.meet else { continue };
        let part = match m.part {
            landfall_dirt::landing::Part::Front => "front",
            landfall_dirt::landing::Part::Deck => "short",
            landfall_dirt::landing::Part::Slope => "slope",
            landfall_dirt::landing::Part::Transition => "transition",
            landfall_dirt::landing::Part::RollOut => "roll-out",
            landfall_dirt::landing::Part::Beyond => "beyond",
        };
        list.push(vec![
            landfall_plan::outside::plain(&run.run).into_owned(),
            cell(m.x_m),
            part.to_owned(),
            cell(m.fall_m),
            format!("{}°", number(m.angle_rad.to_degrees(), 0)),
        ]);
    }
    table(out, 1, &list);
    paragraph(
        out,
        "  ",
        "Falls: the equivalent fall height. Each run is taken as the mean one with the lip speed that leads to where it came down; pop \
         and direction of the single run are not known.",
    );
}
