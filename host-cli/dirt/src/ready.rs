//! The runs of one trick: counts, scatter, and where these very runs would come down on a landing that is built.

use crate::after::{After, ride_on};
use crate::built::{speed_to, thrown};
use crate::chance::{Scatter, Share, needed_in_a_row, never_seen, rule_of_three, scatter, share};
use crate::landing::{Landing, Part};
use crate::meet::Meet;
use landfall_core::InputError;
use landfall_core::inputs::{Inputs, Uncertain};
use landfall_core::run::Setup;
use serde::Serialize;

/// How a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Ending {
    /// On the wheels, and out.
    Clean,
    /// Hands or feet came down.
    HandsOrFeet,
    /// A fall.
    Crash,
}

impl Ending {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Clean, Self::HandsOrFeet, Self::Crash];

    /// As a table of runs has it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Clean => "clean",
            Self::HandsOrFeet => "hands or feet down",
            Self::Crash => "crash",
        }
    }

    /// Reads it, whatever its capitals, blanks and underscores; also its parts.
    #[must_use]
    pub fn read(text: &str) -> Option<Self> {
        let text = text.trim().to_lowercase().replace(['_', '-'], " ");
        match text.as_str() {
            "clean" => Some(Self::Clean),
            "hands or feet down" | "hands or feet" | "hands down" | "feet down" | "hands" | "feet" => {
                Some(Self::HandsOrFeet)
            }
            "crash" | "crashed" => Some(Self::Crash),
            _ => None,
        }
    }
}

/// A run of the trick as it was measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Flown {
    /// What it is called.
    pub label: String,
    /// How it ended.
    pub ending: Ending,
    /// Where it came down, from the bag's front edge.
    pub along_m: Option<f64>,
    /// Where it came down, from the bag's centre line, left positive.
    pub across_m: Option<f64>,
    /// Speed of the rider at the lip.
    pub lip_speed_mps: Option<f64>,
}

/// Where one of the runs would come down.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct There {
    /// The run.
    pub run: String,
    /// Its lip speed: what leads to its landing on the bag, else what was measured; none where neither is known.
    pub lip_speed_mps: Option<f64>,
    /// The contact; none where it cannot be told or nothing is met.
    pub meet: Option<Meet>,
    /// How it rolls on.
    pub after: Option<After>,
}

/// A measured scatter beside the plan's.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Beside {
    /// Of these runs.
    pub measured: Scatter,
    /// The plan's mean.
    pub planned_mean_m: f64,
    /// The plan's standard deviation.
    pub planned_sd_m: f64,
}

/// How the runs would do on the landing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OnLanding {
    /// Every run.
    pub runs: Vec<There>,
    /// Runs whose place is known.
    pub known: usize,
    /// On the slope.
    pub on_slope: Share,
    /// Too short: on deck or knuckle, or against the front.
    pub short: Share,
    /// Too long: in the transition or past it.
    pub long: Share,
    /// Off the sides: farther across than the landing is wide.
    pub off_side: Share,
    /// Largest equivalent fall height.
    pub hardest_fall_m: Option<f64>,
}

/// What is asked.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Wanted {
    /// Chance of a clean run that is to be shown.
    pub chance: f64,
    /// How sure one wants to be of what is said.
    pub confidence: f64,
}

/// What the runs say. There is no verdict in it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Ready {
    /// The trick.
    pub trick: String,
    /// What was asked.
    pub wanted: Wanted,
    /// Runs of it.
    pub runs: usize,
    /// How they ended, in the order of [`Ending::ALL`].
    pub endings: Vec<(&'static str, Share)>,
    /// Clean runs in a row up to the last one.
    pub clean_in_a_row: usize,
    /// Where every run was clean: the chance of another ending is below this, by the rule of three (95 %).
    pub rule_of_three: Option<f64>,
    /// The same exactly, at the confidence that was asked.
    pub never_seen: Option<f64>,
    /// Clean runs in a row, none before them failed, that would show the chance; none where no number can be told.
    pub needed_in_a_row: Option<u64>,
    /// How much of it is done: the last clean runs in a row are not enough by so many.
    pub still_needed: Option<u64>,
    /// Along, beside the plan's.
    pub along: Option<Beside>,
    /// Across, beside the plan's.
    pub across: Option<Beside>,
    /// On the landing that was asked for.
    pub landing: Option<OnLanding>,
}

/// The plan's spread on the bag: mean and standard deviation along and across.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Planned {
    /// From the bag's front edge.
    pub along_m: (f64, f64),
    /// From the bag's centre line.
    pub across_m: (f64, f64),
}

/// Looks at the runs of a trick.
///
/// # Errors
/// [`InputError`] for numbers that the core refuses.
pub fn ready(
    trick: &str,
    flown: &[Flown],
    planned: &Planned,
    setup: &Setup,
    inputs: &Inputs<f32>,
    landing: Option<&Landing>,
    wanted: Wanted,
) -> Result<Ready, InputError> {
    let n = flown.len();
    let count = |ending: Ending| flown.iter().filter(|run| run.ending == ending).count();
    let clean = count(Ending::Clean);
    let clean_in_a_row = flown.iter().rev().take_while(|run| run.ending == Ending::Clean).count();
    let all_clean = n > 0 && clean == n;
    let needed = needed_in_a_row(wanted.chance, wanted.confidence);
    let beside = |values: Vec<f64>, (mean, sd): (f64, f64)| {
        scatter(&values, wanted.confidence).map(|measured| Beside { measured, planned_mean_m: mean, planned_sd_m: sd })
    };
    Ok(Ready {
        trick: trick.to_owned(),
        wanted,
        runs: n,
        endings: Ending::ALL.iter().map(|e| (e.word(), share(count(*e), n, wanted.confidence))).collect(),
        clean_in_a_row,
        rule_of_three: if all_clean { rule_of_three(n) } else { None },
        never_seen: if all_clean { never_seen(n, wanted.confidence) } else { None },
        needed_in_a_row: needed,
        still_needed: needed.map(|needed| needed.saturating_sub(clean_in_a_row as u64)),
        along: beside(flown.iter().filter_map(|run| run.along_m).collect(), planned.along_m),
        across: beside(flown.iter().filter_map(|run| run.across_m).collect(), planned.across_m),
        landing: landing.map(|landing| on_landing(flown, setup, inputs, landing, wanted.confidence)).transpose()?,
    })
}

fn on_landing(
    flown: &[Flown],
    setup: &Setup,
    inputs: &Inputs<f32>,
    landing: &Landing,
    confidence: f64,
) -> Result<OnLanding, InputError> {
    let runs = flown.iter().map(|run| there(run, setup, inputs, landing)).collect::<Result<Vec<There>, _>>()?;
    let met: Vec<&Meet> = runs.iter().filter_map(|run| run.meet.as_ref()).collect();
    let of = met.len();
    let part = |parts: &[Part]| share(met.iter().filter(|m| parts.contains(&m.part)).count(), of, confidence);
    let wide = |m: &&&Meet| m.across_m.abs() > landing.width_m / 2.0;
    Ok(OnLanding {
        known: of,
        on_slope: part(&[Part::Slope]),
        short: part(&[Part::Front, Part::Deck]),
        long: part(&[Part::Transition, Part::RollOut, Part::Beyond]),
        off_side: share(met.iter().filter(wide).count(), of, confidence),
        hardest_fall_m: met.iter().map(|m| m.fall_m).reduce(f64::max),
        runs,
    })
}

/// A run is taken as the mean one with another lip speed: the one that leads to where it came down on the bag.
fn there(run: &Flown, setup: &Setup, inputs: &Inputs<f32>, landing: &Landing) -> Result<There, InputError> {
    let bag = &setup.bag();
    let on_bag = match run.along_m {
        None => None,
        Some(along_m) => {
            let place =
                (f64::from(bag.gap_m()) + along_m, f64::from(bag.front_z_m()) + along_m * f64::from(bag.climb()));
            speed_to(setup, inputs, place, -f64::from(bag.climb()).atan())?
        }
    };
    let lip_speed_mps = on_bag.or(run.lip_speed_mps);
    let mut inputs = *inputs;
    if let Some(across_m) = run.across_m {
        // How far across it came down; how it came there is not known, so it is taken to have left the lip so far off.
        inputs = inputs.with(Uncertain::Line, (across_m + f64::from(bag.offset_m())) as f32).with(Uncertain::Yaw, 0.0);
        inputs = inputs.with(Uncertain::WindAcross, 0.0);
    }
    let meet = lip_speed_mps.and_then(|speed| thrown(setup, &inputs, speed, landing));
    let after = meet.and_then(|meet| ride_on(landing, &meet, setup, &inputs));
    Ok(There { run: run.label.clone(), lip_speed_mps, meet, after })
}
