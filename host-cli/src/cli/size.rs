//! `landfall size`: how high the roll-in must be, and slacker take-offs against steeper ones.

use landfall_core::Status;
use landfall_core::air::STANDARD_GRAVITY_MPS2;
use landfall_core::inputs::{Inputs, Uncertain};
use landfall_core::ride::Steps;
use landfall_core::run::Setup;
use landfall_core::sizing::{Goal, Shape, shape, start_height};
use landfall_core::takeoff::TakeOff;
use landfall_plan::plan::PlanError;
use landfall_plan::plan::cautions::CAUTIONS;
use landfall_plan::plan::model::{Model, with_gap};
use landfall_plan::plan::results::Who;
use landfall_plan::shown::{Shown, Toward};
use landfall_plan::site::{Dimension, Site, plain};
use serde::Serialize;

use super::args_plan::Size;
use super::args_shared::Format;
use super::place::gap_taken;
use super::range::Range;
use super::table::{csv, exact, line, short};
use super::{End, input, note, output};

/// What is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
enum Wanted {
    AirtimeS(f64),
    ApexAboveLipM(f64),
    DistanceFromLipM(f64),
}

/// The answer, as it is printed in JSON.
#[derive(Debug, Serialize)]
struct Report {
    site: String,
    wanted: Wanted,
    lowest_m: f64,
    highest_m: f64,
    /// Of the mean rider; null: no start height between the limits gives what is wanted.
    start_height_m: Option<f64>,
    riders: Vec<Rider>,
    /// Start height of the runs in `takeoffs`: the mean rider's, or the nearer limit where there is none.
    compared_at_m: f64,
    takeoff_height_m: f64,
    arc_load_limit_g: f64,
    takeoffs: Vec<Row>,
    cautions: Vec<&'static str>,
    /// In which units the text stands; all figures here are SI in any.
    #[serde(skip)]
    shown: Shown,
}

/// One of the three riders: each wants another start, since mass changes the drag.
#[derive(Debug, Serialize)]
struct Rider {
    rider: &'static str,
    mass_kg: f64,
    start_height_m: Option<f64>,
    /// The run from there, or from the nearer limit.
    run: Option<Run>,
}

/// One take-off of the comparison.
#[derive(Debug, Serialize)]
struct Row {
    radius_m: f64,
    /// Whether it is the site's own.
    own: bool,
    lip_angle_deg: Option<f64>,
    /// The start that gives what is wanted with this take-off.
    start_for_wanted_m: Option<f64>,
    /// The run from `compared_at_m`.
    run: Option<Run>,
    /// Why there is no such take-off.
    refused: Option<String>,
}

/// A run.
#[derive(Clone, Copy, Debug, Serialize)]
struct Run {
    lip_speed_mps: f64,
    airtime_s: f64,
    apex_above_lip_m: f64,
    distance_from_lip_m: f64,
    impact_normal_mps: f64,
    equivalent_fall_height_m: f64,
    /// In the take-off's arc.
    arc_load_g: f64,
    /// On the whole ride down.
    peak_load_g: f64,
}

pub(crate) fn run(args: &Size) -> anyhow::Result<End> {
    let (site, stated) = with_gap(&input::site(&args.site)?)?;
    if !stated {
        note(&gap_taken(&site));
    }
    let wanted = match (args.air_time, args.apex, args.landing) {
        (Some(s), ..) => Wanted::AirtimeS(s),
        (_, Some(m), _) => Wanted::ApexAboveLipM(m),
        (.., m) => Wanted::DistanceFromLipM(m.unwrap_or_default()),
    };
    let radii = match &args.radius {
        None => None,
        Some(text) => {
            let range = Range::of_lengths(text).map_err(|error| anyhow::anyhow!("--radius: {error}"))?;
            Some(range.points.into_iter().map(|point| point.si).collect())
        }
    };
    let report = size(&site, wanted, (args.lowest, args.highest), radii)?;
    let text = match args.format {
        Format::Text => text(&report),
        Format::Json => output::json(&report)?,
        Format::Csv => table(&report)?,
    };
    args.output.put(&text)?;
    Ok(if report.start_height_m.is_some() { End::Inside } else { End::Outside })
}

fn size(site: &Site, wanted: Wanted, limits: (f64, f64), radii: Option<Vec<f64>>) -> Result<Report, PlanError> {
    let model = Model::new(site)?;
    let inputs = model.uncertainty.at_mean();
    let find = |setup: &Setup| -> Result<(f32, Option<f64>), PlanError> {
        let sized = start_height(setup, &inputs, wanted.goal(), limits.0 as f32, limits.1 as f32)?;
        let met = sized.status == Status::Converged;
        Ok((sized.start_height_m, met.then(|| exact(sized.start_height_m.into()))))
    };
    let mut riders = Vec::new();
    let mut start_m = 0.0;
    for (i, setup) in model.setups.iter().enumerate() {
        let (height_m, start_height_m) = find(setup)?;
        if i == 0 {
            start_m = height_m;
        }
        let run = run_from(setup, &inputs, height_m);
        let rider = Who::ALL.get(i).map_or("", |who| who.name());
        let mass_kg = model.masses_kg.get(i).copied().unwrap_or_default();
        riders.push(Rider { rider, mass_kg, start_height_m, run });
    }
    let own = &model.setups[0];
    let own_m = exact(own.takeoff().radius_m().into());
    let mut takeoffs = Vec::new();
    for radius_m in with_own(radii.unwrap_or_else(|| about(own_m)), own_m) {
        let is_own = radius_m == own_m;
        let rider = &site.rider;
        let made = TakeOff::new(
            own.takeoff().height_m(),
            radius_m as f32,
            rider.wheelbase_m as f32,
            rider.mass_height_m as f32,
        );
        takeoffs.push(match made {
            Err(error) => Row {
                radius_m,
                own: is_own,
                lip_angle_deg: None,
                start_for_wanted_m: None,
                run: None,
                refused: Some(error.to_string()),
            },
            Ok(takeoff) => {
                let setup = own.with_takeoff(takeoff);
                Row {
                    radius_m,
                    own: is_own,
                    lip_angle_deg: Some(f64::from(takeoff.lip_rad()).to_degrees()),
                    start_for_wanted_m: find(&setup)?.1,
                    run: run_from(&setup, &inputs, start_m),
                    refused: None,
                }
            }
        });
    }
    Ok(Report {
        site: site.site.name.clone(),
        wanted,
        lowest_m: limits.0,
        highest_m: limits.1,
        start_height_m: riders.first().and_then(|mean| mean.start_height_m),
        riders,
        compared_at_m: exact(start_m.into()),
        takeoff_height_m: exact(own.takeoff().height_m().into()),
        arc_load_limit_g: site.rider.arc_load_limit,
        takeoffs,
        cautions: CAUTIONS.to_vec(),
        shown: Shown::of(site),
    })
}

impl Wanted {
    fn goal(self) -> Goal {
        match self {
            Self::AirtimeS(s) => Goal::AirTime { airtime_s: s as f32 },
            Self::ApexAboveLipM(m) => Goal::Apex { above_lip_m: m as f32 },
            Self::DistanceFromLipM(m) => Goal::Landing { from_lip_m: m as f32 },
        }
    }

    fn words(self, shown: Shown) -> String {
        match self {
            Self::AirtimeS(s) => format!("{} s in the air", plain(s)),
            Self::ApexAboveLipM(m) => format!("an apex {} above the lip", length(shown, m)),
            Self::DistanceFromLipM(m) => format!("a landing {} from the lip", length(shown, m)),
        }
    }
}

/// Radii about the site's own, from much steeper to much slacker.
fn about(own_m: f64) -> Vec<f64> {
    [0.6, 0.7, 0.8, 0.9, 1.0, 1.2, 1.4, 1.7, 2.0].map(|factor| (own_m * factor * 100.0).round() / 100.0).to_vec()
}

/// The site's own among them, in place of one that differs by less than a centimetre.
fn with_own(mut radii: Vec<f64>, own_m: f64) -> Vec<f64> {
    radii.retain(|radius_m| (radius_m - own_m).abs() >= 0.01);
    radii.push(own_m);
    radii.sort_by(f64::total_cmp);
    radii.dedup();
    radii
}

fn run_from(setup: &Setup, inputs: &Inputs<f32>, height_m: f32) -> Option<Run> {
    let inputs = inputs.with(Uncertain::StartHeight, height_m);
    let Shape {
        lip_speed_mps,
        airtime_s,
        apex_above_lip_m,
        distance_from_lip_m,
        normal_mps,
        equivalent_fall_height_m,
        peak_load_g,
    } = shape(setup, &inputs)?;
    let mut arc_mps2 = 0.0_f32;
    setup.ride::<f32, false>(&inputs, &Steps::FINE, |point| {
        // The last point at the foot is the arc's own first.
        let at_foot = point.before_foot_m > -1.0e-6;
        arc_mps2 = if at_foot { point.load_mps2 } else { arc_mps2.max(point.load_mps2) };
    });
    let out = |value: f32| exact(value.into());
    Some(Run {
        lip_speed_mps: out(lip_speed_mps),
        airtime_s: out(airtime_s),
        apex_above_lip_m: out(apex_above_lip_m),
        distance_from_lip_m: out(distance_from_lip_m),
        impact_normal_mps: out(normal_mps),
        equivalent_fall_height_m: out(equivalent_fall_height_m),
        arc_load_g: out(arc_mps2 / STANDARD_GRAVITY_MPS2),
        peak_load_g: out(peak_load_g),
    })
}

/// A length that somebody stated, with the digits that it has.
fn length(shown: Shown, m: f64) -> String {
    if shown.is_imperial() { shown.length(m, Toward::Nearest) } else { format!("{} m", plain(m)) }
}

/// The columns of the riders; `{m}`, `{kg}` and `{v}` stand for the units.
const RIDER_HEAD: [&str; 10] = [
    "rider",
    "mass {kg}",
    "start {m}",
    "lip {v}",
    "air s",
    "apex {m}",
    "from lip {m}",
    "arc g",
    "peak g",
    "falls like {m}",
];
const ROW_HEAD: [&str; 10] = [
    "radius {m}",
    "lip deg",
    "lip {v}",
    "air s",
    "apex {m}",
    "from lip {m}",
    "arc g",
    "peak g",
    "falls like {m}",
    "start for it {m}",
];

/// Column heads with their units. Speeds of a metric site are in m/s, as the model has them.
fn heads(shown: Shown, heads: [&str; 10]) -> [String; 10] {
    let speed = if shown.is_imperial() { shown.unit(Dimension::Speed) } else { "m/s" };
    heads.map(|head| {
        head.replace("{m}", shown.unit(Dimension::Length))
            .replace("{kg}", shown.unit(Dimension::Mass))
            .replace("{v}", speed)
    })
}

fn text(report: &Report) -> String {
    let shown = report.shown;
    let place = |value: f64, places: usize| format!("{value:.places$}");
    let metres = |m: f64| place(shown.value(Dimension::Length, m), 2);
    let speed = |mps: f64| match shown.is_imperial() {
        true => place(shown.value(Dimension::Speed, mps), 1),
        false => place(mps, 2),
    };
    let figures = |run: &Option<Run>| -> Vec<String> {
        match run {
            None => vec![String::new(); 7],
            Some(r) => vec![
                speed(r.lip_speed_mps),
                place(r.airtime_s, 2),
                metres(r.apex_above_lip_m),
                metres(r.distance_from_lip_m),
                place(r.arc_load_g, 1),
                place(r.peak_load_g, 1),
                metres(r.equivalent_fall_height_m),
            ],
        }
    };
    let between = format!("{} and {}", length(shown, report.lowest_m), length(shown, report.highest_m));
    let mut out = format!("{}\n\n", report.site);
    match report.start_height_m {
        Some(m) => out.push_str(&format!(
            "For {}, the mean rider starts {} above the take-off's foot.\n",
            report.wanted.words(shown),
            shown.length(m, Toward::Nearest)
        )),
        None => out.push_str(&format!(
            "No start height between {between} gives the mean rider {}; the nearer limit is shown.\n",
            report.wanted.words(shown)
        )),
    }
    out.push_str(&format!("Looked at between {between} (--lowest, --highest).\n\n"));
    let head = heads(shown, RIDER_HEAD);
    let widths = head.each_ref().map(|head| head.len().max(8));
    out.push_str(&line(&head, &widths));
    for rider in &report.riders {
        let start = rider.start_height_m.map_or_else(String::new, metres);
        let mass = match shown.is_imperial() {
            true => place(shown.value(Dimension::Mass, rider.mass_kg), 0),
            false => short(rider.mass_kg),
        };
        let mut cells = vec![rider.rider.to_owned(), mass, start];
        cells.extend(figures(&rider.run));
        out.push_str(&line(&cells, &widths));
    }
    out.push_str(&format!(
        "\nTake-offs {} high, slacker with a larger radius, the mean rider starting at {}:\n\n",
        length(shown, report.takeoff_height_m),
        shown.length(report.compared_at_m, Toward::Nearest)
    ));
    let head = heads(shown, ROW_HEAD);
    let widths = head.each_ref().map(|head| head.len().max(7));
    out.push_str(&line(&head, &widths));
    for row in &report.takeoffs {
        if let Some(refused) = &row.refused {
            out.push_str(&format!(
                "{:>width$}  no such take-off: {refused}\n",
                metres(row.radius_m),
                width = widths[0]
            ));
            continue;
        }
        let mut cells = vec![metres(row.radius_m), row.lip_angle_deg.map_or_else(String::new, |deg| place(deg, 1))];
        cells.extend(figures(&row.run));
        cells.push(row.start_for_wanted_m.map_or_else(String::new, metres));
        let mut marks = if row.own { "  the site's own".to_owned() } else { String::new() };
        if row.run.is_some_and(|run| run.peak_load_g > report.arc_load_limit_g) {
            marks.push_str(&format!("  over {} g", plain(report.arc_load_limit_g)));
        }
        out.push_str(&format!("{}{marks}\n", line(&cells, &widths).trim_end_matches('\n')));
    }
    out.push_str(
        "\nair: release to contact. apex: highest centre of mass above the lip. from lip: contact point, horizontally.\n\
         arc: highest load in the take-off's arc; peak: on the whole ride down. falls like: equivalent fall height.\n\
         start for it: the start that gives what is wanted with that take-off. -: none, or no landing on the bag's plane.\n",
    );
    out.push_str(&output::cautions());
    out
}

fn table(report: &Report) -> anyhow::Result<String> {
    let head = [
        "radius_m",
        "own",
        "lip_angle_deg",
        "start_height_m",
        "start_for_wanted_m",
        "lip_speed_mps",
        "airtime_s",
        "apex_above_lip_m",
        "distance_from_lip_m",
        "impact_normal_mps",
        "equivalent_fall_height_m",
        "arc_load_g",
        "peak_load_g",
        "refused",
    ];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    let number = |value: Option<f64>| value.map_or_else(String::new, |v| v.to_string());
    for row in &report.takeoffs {
        let mut cells = vec![
            row.radius_m.to_string(),
            row.own.to_string(),
            number(row.lip_angle_deg),
            report.compared_at_m.to_string(),
            number(row.start_for_wanted_m),
        ];
        let of = |figure: fn(&Run) -> f64| number(row.run.as_ref().map(figure));
        cells.extend([
            of(|r| r.lip_speed_mps),
            of(|r| r.airtime_s),
            of(|r| r.apex_above_lip_m),
            of(|r| r.distance_from_lip_m),
            of(|r| r.impact_normal_mps),
            of(|r| r.equivalent_fall_height_m),
            of(|r| r.arc_load_g),
            of(|r| r.peak_load_g),
        ]);
        cells.push(row.refused.clone().unwrap_or_default());
        rows.push(cells);
    }
    csv(&rows)
}

#[cfg(test)]
mod tests {
    use super::*;
    use landfall_plan::site::{Gauge, Units};

    #[test]
    fn the_own_radius_is_always_among_the_radii() {
        assert_eq!(with_own(vec![3.0, 5.0, 4.0], 4.004), [3.0, 4.004, 5.0]);
        assert_eq!(with_own(vec![3.0, 5.0], 4.5), [3.0, 4.5, 5.0]);
        assert!(about(4.572).len() == 9);
    }

    #[test]
    fn the_found_start_gives_what_is_wanted() {
        let site = landfall_plan::site::demo();
        for (wanted, get) in [
            (Wanted::AirtimeS(1.0), (|r: &Run| r.airtime_s) as fn(&Run) -> f64),
            (Wanted::ApexAboveLipM(2.5), |r| r.apex_above_lip_m),
            (Wanted::DistanceFromLipM(6.0), |r| r.distance_from_lip_m),
        ] {
            let report = size(&site, wanted, (0.5, 12.0), None).unwrap();
            let (Wanted::AirtimeS(want) | Wanted::ApexAboveLipM(want) | Wanted::DistanceFromLipM(want)) = wanted;
            for rider in &report.riders {
                let got = get(rider.run.as_ref().unwrap());
                assert!(rider.start_height_m.is_some() && (got - want).abs() < 1e-3, "{wanted:?} {rider:?}");
            }
            let own = report.takeoffs.iter().find(|row| row.own).unwrap();
            assert!((own.start_for_wanted_m.unwrap() - report.compared_at_m).abs() < 1e-6);
            // A steeper lip (a smaller radius at the same height) loads the arc more.
            let loads: Vec<f64> = report.takeoffs.iter().filter_map(|r| Some(r.run?.arc_load_g)).collect();
            assert!(loads.len() > 5 && loads.windows(2).all(|w| w[0] > w[1]), "{loads:?}");
        }
    }

    #[test]
    fn what_no_start_gives_is_no_answer() {
        let report = size(&landfall_plan::site::demo(), Wanted::AirtimeS(9.0), (1.0, 8.0), None).unwrap();
        assert_eq!(report.start_height_m, None);
        assert_eq!(report.compared_at_m, 8.0);
        assert!(text(&report).contains("No start height between 1 m and 8 m"));
        let imperial = Report { shown: Shown::new(Units::Imperial, Gauge::Psi), ..report };
        let said = text(&imperial);
        // 1 m = 3 ft 3 3/8 in; 8 m = 26 ft 2 15/16 in; 8 ft on a radius of 15 ft.
        assert!(said.contains("between 3 ft 3 3/8 in and 26 ft 2 15/16 in"), "{said}");
        assert!(said.contains("Take-offs 8 ft high") && said.contains("radius ft") && said.contains("15.00"), "{said}");
        assert!(said.contains("mass lb") && !said.contains(" m\n"), "{said}");
    }
}
