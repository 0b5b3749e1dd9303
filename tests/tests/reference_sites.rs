//! Every site of `tests/reference/sites` planned, and compared with the results of a second solution of the model, written
//! independently in double precision with NumPy and SciPy (`tests/reference/make_reference.py`).
//!
//! Tolerances: 1 mm, 1 mm/s, 1 ms, 0.1 % of a pressure, 0.001 of a share, 0.001° (an angle is a matter of one closed
//! formula); sampled quantities within 5 combined standard errors of two runs of 100,000; places that a search on a
//! sampled chance finds within the brackets that the reference gives for its own and this side's noise.
//!
//! On a sloped top the thickness of the hard landing hangs on sampled quantiles, and where a run of the divided differences
//! does not come down its speed does: there the pressures are computed again with the reference's own quantiles put in.
#![allow(clippy::panic)]

use landfall_core::inputs::Uncertain;
use landfall_core::short_zone::{Hit, short_run};
use landfall_core::sizing::{Goal, shape, start_height};
use landfall_core::takeoff::TakeOff;
use landfall_plan::plan::demand::{Demand, Drawn, crews};
use landfall_plan::plan::known::{self, levels_input, limits_twice};
use landfall_plan::plan::model::{Model, Supply};
use landfall_plan::plan::results::{OrWhy, Pressures, Provisional, SpeedsBy, Why};
use landfall_plan::plan::search::{Draws, Failure, Question, SEARCH_RUNS, moved};
use landfall_plan::plan::table::Tables;
use landfall_plan::plan::{Parts, compute, first_day};
use landfall_plan::site::{Site, read_site};
use landfall_sampling::Stop;
use landfall_tests::checks::{Check, Scale};
use rayon::prelude::*;
use serde_json::Value;
use std::path::Path;
use std::sync::LazyLock;

/// Sites, parts of their results that are not compared, and why.
const LEFT_OUT: &[(&str, &[&str], &str)] = &[];

/// A site with both results.
struct Case {
    name: String,
    site: Site,
    model: Model,
    /// Everything that the reference has.
    all: Value,
    /// The pressures; where they take something from the sampling, with the reference's in its place.
    pressures: Value,
    /// Whether the normal speeds are those of the sampling.
    drawn_speeds: bool,
    expected: Value,
}

static CASES: LazyLock<Vec<Case>> = LazyLock::new(|| {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference");
    let mut paths: Vec<_> =
        std::fs::read_dir(folder.join("sites")).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    paths
        .par_iter()
        .map(|path| {
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            let text = std::fs::read_to_string(path).unwrap();
            let site = read_site(&text, &name).unwrap_or_else(|faults| panic!("{name}: {faults}"));
            let expected = std::fs::read_to_string(folder.join("expected").join(format!("{name}.json"))).unwrap();
            let expected: Value = serde_json::from_str(&expected).unwrap();
            let parts = Parts { tails: false, cures: false, ..Parts::ALL };
            let all = compute(&site, parts, &Stop::default()).unwrap_or_else(|error| panic!("{name}: {error}"));
            let all = serde_json::to_value(all).unwrap();
            let level = site.bag.front_height_m == site.bag.back_height_m;
            let drawn_speeds = all["pressures"]["speeds_by"] == "sampling";
            let own = level && !drawn_speeds;
            let pressures = if own { all["pressures"].clone() } else { pressures_over(&site, &expected) };
            let model = Model::new(&site).unwrap();
            Case { name, site, model, all, pressures, drawn_speeds, expected }
        })
        .collect()
});

/// The pressures of a site whose landings fall where the reference's sampling has them, and whose hard landing is as fast
/// as the reference's where the speeds are sampled.
fn pressures_over(site: &Site, expected: &Value) -> Value {
    let crews = crews(site).unwrap();
    let samples = [&expected["spread"], &expected["riders"]["lightest"], &expected["riders"]["heaviest"]];
    let along_m = samples.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), of| {
        let quantile = |key: &str| of["sampling"][key].as_f64().unwrap();
        (low.min(quantile("along_p001_m")), high.max(quantile("along_p999_m")))
    });
    assert_eq!(crews.len(), 1, "groups on a sloped top, or with sampled speeds");
    let stop = Stop::default();
    let draws = Draws { samples: site.spread.samples, seed: site.spread.seed, stop: &stop };
    let mut drawn = Drawn::draw(&crews, f64::INFINITY, &draws).unwrap();
    drawn[0].along_m = Some(along_m);
    let supply = Supply::new(site).unwrap();
    let Some(mut demand) = Demand::new(&crews, f64::INFINITY, &drawn) else {
        return serde_json::to_value(Pressures::default()).unwrap();
    };
    if demand.speeds_by == SpeedsBy::Sampling {
        demand.hard_speed_mps = expected["pressures"]["hard_speed_mps"].as_f64().unwrap();
    }
    let chamber = supply.chamber.as_ref().unwrap();
    let input = levels_input(site, &supply, crews[0].model.setups[0].bag(), &demand);
    let twice = limits_twice(site, &supply, chamber, &input).unwrap().with_ground(site, &input, &demand).unwrap();
    let tables = Tables::judge(site, &supply, &demand, &twice);
    let mut pressures = known::pressures(&demand, &twice);
    if tables.provisional() {
        let first_day_start_m = first_day::start_m(site, &supply, chamber, &crews).unwrap();
        let first_day_start_m = first_day_start_m.ok_or(Why::NoFirstDay).into();
        pressures.provisional = OrWhy::Value(Provisional { lifted: tables.lifted(), first_day_start_m });
    }
    pressures.judged = tables.judgements();
    let mut pressures = serde_json::to_value(pressures).unwrap();
    pressures["push_n"] = (site.bag.skin_friction * f64::from(twice.now.limits.hard_force_n)).into();
    pressures
}

/// Lines of the table, and what differs between words and nulls.
struct Compared {
    lengths: Check,
    speeds: Check,
    times: Check,
    pressures: Check,
    loads: Check,
    shares: Check,
    words: Vec<String>,
}

impl Compared {
    fn new() -> Self {
        Self {
            lengths: Check::new("site_lengths", Scale::Metres, 1e-3),
            speeds: Check::new("site_speeds", Scale::MetresPerSecond, 1e-3),
            times: Check::new("site_times", Scale::Seconds, 1e-3),
            pressures: Check::new("site_pressures", Scale::Relative, 1e-3),
            loads: Check::new("site_loads", Scale::Relative, 1e-3),
            shares: Check::new("site_shares", Scale::Plain, 1e-3),
            words: Vec::new(),
        }
    }

    /// Two values of one key: the ending of the key says what it is.
    fn value(&mut self, at: &str, key: &str, got: &Value, expected: &Value) {
        if at.split_once(' ').is_some_and(|(site, part)| left_out(site, &format!("{part}.{key}")).is_some()) {
            return;
        }
        let (Some(a), Some(b)) = (got.as_f64(), expected.as_f64()) else {
            if got != expected {
                self.words.push(format!("{at}.{key}: {got} for {expected}"));
            }
            return;
        };
        let at = format!("{at}.{key}");
        match key {
            _ if key.ends_with("_mps") => self.speeds.note(at, a, b),
            _ if key.ends_with("_pa") => self.pressures.note(at, a, b),
            _ if key.ends_with("_deg") => self.shares.note(at, a, b),
            _ if key.ends_with("_s") => self.times.note(at, a, b),
            _ if key.ends_with("_m") => self.lengths.note(at, a, b),
            "landings_without_supply" | "anchors_needed" => {
                if got != expected {
                    self.words.push(format!("{at}: {got} for {expected}"));
                }
            }
            _ if ["_g", "_m2", "_m3", "_m3ps", "_n", "_kgpm3", "skin_stretch"]
                .iter()
                .any(|unit| key.ends_with(unit)) =>
            {
                self.loads.note(at, a, b);
            }
            _ => self.shares.note(at, a, b),
        }
    }

    /// The keys of an object of the results.
    fn object(&mut self, at: &str, keys: &[&str], got: &Value, expected: &Value) {
        if got.is_null() || expected.is_null() {
            if got != expected {
                self.words.push(format!("{at}: {got} for {expected}"));
            }
            return;
        }
        for key in keys {
            assert!(got.get(key).is_some() && expected.get(key).is_some(), "{at}.{key} is on one side only");
            self.value(at, key, &got[key], &expected[key]);
        }
    }

    fn finish(mut self) {
        let mut faults = std::mem::take(&mut self.words);
        for check in [&self.lengths, &self.speeds, &self.times, &self.pressures, &self.loads, &self.shares] {
            faults.extend(check.faults().iter().cloned());
        }
        assert!(faults.is_empty(), "{} differ\n{}", faults.len(), faults.join("\n"));
        for check in [self.lengths, self.speeds, self.times, self.pressures, self.loads, self.shares] {
            check.finish();
        }
    }
}

const RIDE: &[&str] = &["lip_speed_mps", "lip_angle_deg", "release_angle_deg", "time_to_lip_s", "peak_load_g"];
const PLACE: &[&str] = &["before_foot_m", "speed_mps"];
const FLIGHT: &[&str] = &[
    "airtime_s",
    "apex_above_lip_m",
    "along_m",
    "across_m",
    "distance_from_lip_m",
    "impact_speed_mps",
    "impact_normal_mps",
    "impact_along_mps",
    "equivalent_fall_height_m",
    "outcome",
];
const DIFFERENCES: &[&str] =
    &["mean_along_m", "sd_along_m", "mean_across_m", "sd_across_m", "mean_normal_mps", "sd_normal_mps"];
const AIR: &[&str] = &[
    "outside_pressure_pa",
    "density_kgpm3",
    "operating_pressure_pa",
    "operating_flow_m3ps",
    "needed_pressure_pa",
    "needed_flow_m3ps",
    "fill_time_s",
];
const TOUCHDOWN: &[&str] = &[
    "depth_m",
    "thickness_m",
    "clearance_m",
    "felt_load_g",
    "peak_pressure_pa",
    "time_to_deepest_s",
    "gas_lost_m3",
    "rebound_mps",
    "rebound_low_mps",
    "rebound_high_mps",
    "recovery_s",
    "ground_speed_mps",
    "ground_fall_height_m",
    "sinks_on_mps",
    "along_left_mps",
    "run_out_m",
    "ride_out_mps",
];
const PRESSURES: &[&str] = &[
    "stop_pa",
    "stop_rule",
    "room_pa",
    "firm_pa",
    "comfort_pa",
    "band_low_pa",
    "band_high_pa",
    "wait_pa",
    "commitment_s",
    "alarm_delay_s",
    "needed_s",
    "hard_speed_mps",
    "hard_thickness_m",
    "landings_without_supply",
    "holds_for_s",
    "holds_for_p05_s",
    "seconds_missing",
    "ground_share",
];
const ONE_BAG: &[&str] = &["skin_stretch", "stop_by_depth_pa", "power_loss_to_stop_s", "hard_depth_m", "light_load_g"];
const CHANCE: &[&str] = &["lightest", "mean", "heaviest", "worst", "if_measured"];

#[test]
fn results_of_a_single_run_agree() {
    let mut all = Compared::new();
    for case in CASES.iter() {
        let (name, got, want) = (&case.name, &case.all, &case.expected);
        let at = |part: &str| format!("{name} {part}");
        all.object(&at("ride"), RIDE, &got["ride"], &want["ride"]);
        all.value(&at("ride"), "length_m", &got["ride"]["length_m"], &want["ride"]["surface_to_foot_m"]);
        for end in ["stall", "leaves_surface"] {
            all.object(&at(end), PLACE, &got["ride"][end], &want["ride"][end]);
        }
        all.object(&at("flight"), FLIGHT, &got["flight"], &want["flight"]);
        for rider in ["lightest", "heaviest"] {
            let keys = ["along_m", "airtime_s", "impact_normal_mps"];
            all.object(&at(rider), &keys, &got["riders"][rider], &want["riders"][rider]);
        }
        let (a, b) = (&got["spread"]["differences"], &want["spread"]["differences"]);
        all.object(&at("differences"), DIFFERENCES, a, b);
        for shares in ["shares_along", "shares_across"] {
            let inputs: Vec<&str> = Uncertain::ALL.iter().map(|input| input.name()).collect();
            all.object(&at(shares), &inputs, &a[shares], &b[shares]);
        }
        all.object(&at("air"), AIR, &got["air"], &want["air"]);
        let status = got["air"]["status"].as_str().unwrap().replace('_', " ");
        all.value(&at("air"), "status", &Value::from(status), &want["air"]["status"]);
        all.value(&at("air"), "at_shut_off", &got["air"]["at_shut_off"], &want["air"]["no_opening"]);
        all.object(&at("touchdown"), TOUCHDOWN, &got["touchdown"], &want["touchdown"]);
        // What the hard landing pushes goes by its speed.
        if case.drawn_speeds {
            all.value(&at("touchdown"), "push_n", &case.pressures["push_n"], &want["touchdown"]["push_n"]);
        } else {
            all.object(&at("wind"), &["side_force_n", "anchors_needed"], &got["wind"], &want["wind"]);
            all.object(&at("touchdown"), &["push_n"], &got["touchdown"], &want["touchdown"]);
        }
        all.object(&at("wind"), &["lift_n"], &got["wind"], &want["wind"]);
        stop_lines_and_short_zone(case, &mut all);
        pressures(case, &mut all);
    }
    all.finish();
    assert!(CASES.len() >= 43, "sites are missing");
}

/// The reason why a part of a site's results is left out.
fn left_out(site: &str, part: &str) -> Option<&'static str> {
    LEFT_OUT.iter().find(|(of, parts, _)| *of == site && parts.contains(&part)).map(|(_, _, reason)| *reason)
}

fn stop_lines_and_short_zone(case: &Case, all: &mut Compared) {
    let at = format!("{} placement", case.name);
    let (got, want) = (&case.all["placement"], &case.expected["placement"]);
    if case.expected["flight"]["airtime_s"].is_number() {
        for (i, suffix) in ["", "_braking_less", "_braking_more"].iter().enumerate() {
            let line = &got["stop_lines"][i];
            let place = &want[format!("last_stop_before_foot{suffix}_m")];
            all.value(&at, &format!("stop_lines[{i}].before_foot_m"), &line["before_foot_m"], place);
            if place.is_number() {
                let time = &want[format!("last_stop_to_touchdown{suffix}_s")];
                all.value(&at, &format!("stop_lines[{i}].to_touchdown_s"), &line["to_touchdown_s"], time);
            }
        }
        let keys = ["last_stop_before_foot_m", "last_stop_to_touchdown_s"];
        all.object(&at, &keys, got, want);
    }
    let zone = &want["short_zone"];
    if zone.is_null() {
        return;
    }
    all.value(&at, "clearing_lip_speed_mps", &got["clearing_lip_speed_mps"], &zone["clearing_speed_mps"]);
    let inputs = case.model.uncertainty.at_mean().with(Uncertain::LipSpeed, 0.0);
    let setup = &case.model.setups[0];
    for row in zone["rows"].as_array().into_iter().flatten() {
        let speed = row["lip_speed_mps"].as_f64().unwrap();
        // The last row is the clearing speed itself, where either answer is right.
        if zone["clearing_speed_mps"].as_f64().is_some_and(|clearing| clearing - speed < 1e-3) {
            continue;
        }
        let run = short_run(setup, &inputs, speed as f32);
        let hit = match run.hit {
            Hit::Ground => "ground",
            Hit::BagFront => "bag front",
            Hit::BagTop => "bag top",
        };
        all.value(&format!("{at} at {speed} m/s"), "hits", &Value::from(hit), &row["hits"]);
        // Deep below the ground the height is of no use; it grows with the square of a long time.
        if let Some(height) = row["com_height_at_gap_m"].as_f64().filter(|height| *height > -5.0) {
            let low = f64::from(run.height_at_gap_m) + case.site.rider.contact_height_m + case.site.bag.base_level_m;
            all.value(&format!("{at} at {speed} m/s"), "com_height_at_gap_m", &low.into(), &height.into());
        }
    }
}

fn pressures(case: &Case, all: &mut Compared) {
    let at = format!("{} pressures", case.name);
    let (got, want) = (&case.pressures, &case.expected["pressures"]);
    if want.is_null() {
        all.value(&at, "stop_pa", &got["stop_pa"], &Value::Null);
        return;
    }
    all.object(&at, PRESSURES, got, want);
    all.value(&at, "band_is_empty", &got["band_is_empty"], &want["band_empty"]);
    for bag in ["stated", "soft", "firm"] {
        let (a, b, at) = (&got[bag], &want[bag], format!("{at} {bag} bag"));
        all.object(&at, ONE_BAG, a, b);
        let (a, b) = (a["knots"].as_array().unwrap(), b["knots"].as_array().unwrap());
        all.value(&at, "knots", &a.len().into(), &b.len().into());
        for (a, b) in a.iter().zip(b) {
            all.value(&at, "knot_m", &a[0], &b[0]);
            all.value(&at, "knot_m2", &a[1], &b[1]);
        }
    }
    for chance in ["ground", "ground_cut"] {
        let at = format!("{at} {chance}");
        if case.drawn_speeds {
            for key in CHANCE {
                sampled_chance(case, all, &format!("{at}.{key}"), &got[chance][key], &want[chance][key]);
            }
        } else {
            all.object(&at, CHANCE, &got[chance], &want[chance]);
        }
    }
    if case.drawn_speeds {
        let p999 = |of: &Value| of["sampling"]["normal_p999_bracket"].clone();
        let riders =
            [&case.expected["spread"], &case.expected["riders"]["lightest"], &case.expected["riders"]["heaviest"]];
        let most = |end: usize| riders.iter().filter_map(|of| p999(of)[end].as_f64()).fold(0.0, f64::max);
        let bracket = Value::from(vec![most(0), most(1)]);
        within(
            &mut all.words,
            &format!("{at} hard_speed_mps"),
            &case.all["pressures"]["hard_speed_mps"],
            &bracket,
            0.0,
        );
    }
    let (a, b) = (&got["one_blower_lost"], &want["one_blower_lost"]);
    all.object(&format!("{at} one blower lost"), &["settles_pa", "to_stop_s"], a, b);
    let judged = got["judged"].as_array().unwrap();
    assert_eq!(judged.len(), want["table"].as_object().unwrap().len());
    for row in judged {
        let topic = row["topic"].as_str().unwrap();
        let expected = &want["table"][topic];
        for (key, other) in [("now", "stated"), ("if_measured", "if_measured")] {
            let word = Value::from(expected[other].as_str().unwrap_or("kept"));
            all.value(&format!("{at} judged {topic}"), key, &row[key], &word);
        }
    }
    let (a, b) = (&got["provisional"], &want["provisional"]);
    all.object(&format!("{at} provisional"), &["lifted", "first_day_start_m"], a, b);
    let mut boxes = case.expected["ride_by"].as_object().unwrap().values().map(|group| &group["box"]);
    let expected = boxes.next().unwrap();
    for (key, other) in [
        ("siren_pa", "siren_at_pa"),
        ("permit_off_pa", "permit_off_under_pa"),
        ("permit_back_pa", "permit_back_from_pa"),
    ] {
        all.value(&format!("{at} levels"), key, &got["levels"][key], &expected[other]);
    }
}

/// A chance by sampled speeds, within 5 standard errors of two samples: it is a mean of indicators of one sample, whose
/// variance is at most that of a count.
fn sampled_chance(case: &Case, all: &mut Compared, at: &str, got: &Value, want: &Value) {
    let counts = &case.expected["spread"]["sampling"]["outcome_counts"];
    let landed: f64 =
        ["on", "edge", "short", "long", "left", "right"].iter().map(|outcome| counts[outcome].as_f64().unwrap()).sum();
    let (Some(a), Some(b)) = (got.as_f64(), want.as_f64()) else {
        all.words.push(format!("{at}: {got} for {want}"));
        return;
    };
    let error = (2.0 * (b * (1.0 - b)).max(1.0 / landed) / landed).sqrt();
    if !((a - b).abs() <= 5.0 * error) {
        all.words.push(format!("{at}: {a} for {b} within {error}"));
    }
}

#[test]
fn sizing_agrees() {
    let mut faults = Vec::new();
    let mut compared = 0;
    for case in CASES.iter().filter(|case| !case.expected["sizing"].is_null()) {
        let (setup, inputs) = (&case.model.setups[0], case.model.uncertainty.at_mean());
        let sizing = &case.expected["sizing"];
        for key in ["airtime_s", "apex_above_lip_m", "along_m"] {
            let Some(height_m) = sizing[key]["start_height_m"].as_f64() else { continue };
            let wanted = sizing[key]["wanted"].as_f64().unwrap() as f32;
            let goal = match key {
                "airtime_s" => Goal::AirTime { airtime_s: wanted },
                "apex_above_lip_m" => Goal::Apex { above_lip_m: wanted },
                _ => Goal::Landing { from_lip_m: wanted + setup.bag().gap_m() },
            };
            let found = start_height(setup, &inputs, goal, 0.1, 40.0).unwrap();
            compared += 1;
            // The root of a quantity that is good to 1 mm or 1 ms is good to that over its slope; 1 mm is asked all
            // the same.
            if !((f64::from(found.start_height_m) - height_m).abs() < 1e-3) {
                faults.push(format!("{} {key}: start {} for {height_m}", case.name, found.start_height_m));
            }
        }
        for row in sizing["radius_table"].as_array().unwrap() {
            let number = |key: &str| row[key].as_f64().unwrap();
            let old = setup.takeoff();
            let wheelbase_m = case.site.rider.wheelbase_m as f32;
            let takeoff =
                TakeOff::new(old.height_m(), number("radius_m") as f32, wheelbase_m, old.mass_height_m()).unwrap();
            let other = setup.with_takeoff(takeoff);
            let run = shape(&other, &inputs).unwrap();
            for (key, got, tolerance) in [
                ("lip_angle_deg", takeoff.lip_rad().to_degrees(), 1e-3),
                ("lip_speed_mps", run.lip_speed_mps, 1e-3),
                ("airtime_s", run.airtime_s, 1e-3),
                ("apex_above_lip_m", run.apex_above_lip_m, 1e-3),
                ("distance_from_lip_m", run.distance_from_lip_m, 1e-3),
                ("equivalent_fall_height_m", run.equivalent_fall_height_m, 1e-3),
            ] {
                compared += 1;
                if !((f64::from(got) - number(key)).abs() < tolerance) {
                    faults.push(format!("{} R {} {key}: {got} for {}", case.name, number("radius_m"), number(key)));
                }
            }
        }
    }
    println!("{compared} values");
    assert!(compared > 500 && faults.is_empty(), "{compared}\n{}", faults.join("\n"));
}

#[test]
fn sampled_means_outcomes_and_quantiles_agree() {
    let mut means = Check::new("site_means", Scale::StandardErrors, 5.0);
    let mut outcomes = Check::new("site_outcomes", Scale::StandardErrors, 5.0);
    let mut faults = Vec::new();
    for case in CASES.iter() {
        let (got, want) = (&case.all["spread"]["sampling"], &case.expected["spread"]["sampling"]);
        let n = want["samples"].as_f64().unwrap();
        assert_eq!(got["samples"].as_f64(), Some(n));
        // The standard error of a difference of two runs of the same size.
        let both = std::f64::consts::SQRT_2;
        for quantity in ["along", "across", "normal"] {
            let unit = if quantity == "normal" { "mps" } else { "m" };
            for (kind, error) in [("mean", "mean"), ("sd", "sd")] {
                let key = format!("{kind}_{quantity}_{unit}");
                let name = format!("{} {key}", case.name);
                let Some(expected) = want.get(&key).and_then(Value::as_f64) else {
                    // The reference gives no moments of fewer than 100 landings.
                    let landed: f64 = ["on", "edge", "short", "long", "left", "right"]
                        .iter()
                        .map(|outcome| got["outcomes"][outcome].as_f64().unwrap() * n)
                        .sum();
                    if landed > 200.0 {
                        faults.push(format!("{name}: {} of {landed} landings for null", got[&key]));
                    }
                    continue;
                };
                let se = want[format!("{error}_{quantity}_se")].as_f64().unwrap() * both;
                let off = (got[&key].as_f64().unwrap_or(f64::NAN) - expected).abs();
                // Where nothing varies (no line, no yaw) both are 0 but for rounding.
                means.deviation(&name, if off < 1e-6 { 0.0 } else { off / se });
            }
        }
        for key in ["along_p001", "along_p50", "along_p999", "normal_p999"] {
            let Some(bracket) = want.get(format!("{key}_bracket")) else { continue };
            let unit = if key.starts_with("normal") { "mps" } else { "m" };
            within(&mut faults, &format!("{} {key}", case.name), &got[format!("{key}_{unit}")], bracket, 0.0);
        }
        for (outcome, share) in want["outcomes"].as_object().unwrap() {
            let (a, b) = (share.as_f64().unwrap(), got["outcomes"][outcome].as_f64().unwrap());
            // The variance of a count that may be 0: at least that of one run.
            let variance = |p: f64| (p * (1.0 - p)).max(1.0 / n) / n;
            outcomes.deviation(
                format!("{} {outcome}: {b} for {a}", case.name),
                (a - b).abs() / (variance(a) + variance(b)).sqrt(),
            );
        }
        let (low, high) = (want["miss_low"].as_f64().unwrap(), want["miss_high"].as_f64().unwrap());
        // The interval of 95 % is widened to 5 standard errors: by 5/1.96.
        let middle = want["miss"].as_f64().unwrap();
        let wide = (middle + (low - middle) * 2.6, middle + (high - middle) * 2.6);
        let miss = got["misses"].as_f64().unwrap() / n;
        if !(miss >= wide.0 && miss <= wide.1) {
            faults.push(format!("{} miss: {miss} outside {wide:?}", case.name));
        }
        riders(case, &mut means, &mut faults);
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    means.finish();
    outcomes.finish();
}

/// The lightest and the heaviest rider's misses and spread, and which of the three is the worst.
fn riders(case: &Case, means: &mut Check, faults: &mut Vec<String>) {
    let n = case.expected["spread"]["sampling"]["samples"].as_f64().unwrap();
    let mut expected = vec![("mean", case.expected["spread"]["sampling"]["miss"].as_f64().unwrap())];
    for rider in ["lightest", "heaviest"] {
        let (got, want) = (&case.all["riders"][rider], &case.expected["riders"][rider]["sampling"]);
        let miss = want["miss"].as_f64().unwrap();
        expected.push((rider, miss));
        let variance = (miss * (1.0 - miss)).max(1.0 / n) / n;
        // No miss is given as the bound 3/N.
        let drawn = got["miss"].as_f64().unwrap();
        let off = if drawn <= 3.0 / n && miss <= 3.0 / n { 0.0 } else { (drawn - miss).abs() };
        means.deviation(format!("{} miss of the {rider}", case.name), off / (2.0 * variance).sqrt());
        if let Some(sd) = want.get("sd_along_m").and_then(Value::as_f64) {
            let se = want["sd_along_se"].as_f64().unwrap() * std::f64::consts::SQRT_2;
            let got = got["sd_along_m"].as_f64().unwrap_or(f64::NAN);
            means.deviation(format!("{} sd_along of the {rider}", case.name), (got - sd).abs() / se);
        }
    }
    let most = expected.iter().map(|rider| rider.1).fold(0.0, f64::max);
    let named = case.all["riders"]["worst"].as_str().unwrap();
    let share = expected.iter().find(|rider| rider.0 == named).map_or(0.0, |rider| rider.1);
    let noise = 5.0 * (2.0 * (most * (1.0 - most)).max(1.0 / n) / n).sqrt();
    if !(most - share <= noise) {
        faults.push(format!("{} worst: {named} of {expected:?}", case.name));
    }
}

/// Misses of the worst rider with the bag at another gap.
fn share_at_gap(case: &Case, gap_m: &Value) -> Option<f64> {
    let site = case.site.with_value("bag.gap", format!("{} m", gap_m.as_f64()?).as_str()).ok()?;
    let parts = Parts { sampling: true, ..Parts::QUICK };
    compute(&site, parts, &Stop::default()).ok()?.placement.miss_now
}

/// How far the chance of a miss from a start, with the gust as tail wind, is from the target, in standard errors of the
/// difference of the two searches: this side's and the reference's 32,768 runs.
fn off_target_in_gust(case: &Case, start_m: f64) -> f64 {
    let stop = Stop::default();
    let draws = Draws { samples: case.site.spread.samples, seed: case.site.spread.seed, stop: &stop };
    let base = &case.model.uncertainty;
    let along_mps = base.mean[Uncertain::WindAlong as usize] + case.site.wind.gust_mps as f32;
    let there = moved(&moved(base, Uncertain::StartHeight, start_m as f32), Uncertain::WindAlong, along_mps);
    let target = case.site.spread.target_miss;
    let steps = case.model.steps(&[&there]);
    let question = Question { model: &case.model, draws, steps, failure: Failure::Miss, target };
    let share = question.share(&there, SEARCH_RUNS).unwrap();
    (share - target) / (target * (1.0 - target) * (1.0 / SEARCH_RUNS as f64 + 1.0 / 32_768.0)).sqrt()
}

/// How far two shares that are to be the target are apart, in standard errors of their difference.
fn off_target(case: &Case, share: f64) -> f64 {
    let target = case.site.spread.target_miss;
    (share - target) / (2.0 * target * (1.0 - target) / case.site.spread.samples as f64).sqrt()
}

/// Whether a value lies in a bracket, with the width to which this side searches added at both ends.
fn within(faults: &mut Vec<String>, name: &str, got: &Value, bracket: &Value, width: f64) {
    let Some(value) = got.as_f64() else {
        faults.push(format!("{name}: {got}, bracket {bracket}"));
        return;
    };
    // An end that is null is open: the chance does not reach that level nearby.
    let low = bracket[0].as_f64().unwrap_or(f64::NEG_INFINITY) - width;
    let high = bracket[1].as_f64().unwrap_or(f64::INFINITY) + width;
    if !(low..=high).contains(&value) {
        faults.push(format!("{name}: {value} outside {low}..{high}"));
    }
}

#[test]
fn placement_and_hold_winds_lie_in_their_brackets() {
    let mut faults = Vec::new();
    let mut compared = 0;
    for case in CASES.iter() {
        let name = &case.name;
        let (got, want) = (&case.all["placement"], &case.expected["placement"]);
        let mut bracketed = |got: &Value, wants: &Value, key: &str, ours: &str, unit: &str, width: f64| {
            if left_out(name, key).is_some() {
                return;
            }
            let expected = wants.get(format!("{key}_{unit}")).unwrap_or(&Value::Null);
            compared += 1;
            if expected.is_null() != got[ours].is_null() && key == "highest_start_with_gust" {
                // One of the two has found a start whose misses are about the target, the other none: with the same
                // number of runs the chance there must not be told from the target.
                let start = if expected.is_null() { &got[ours] } else { expected };
                let off = off_target_in_gust(case, start.as_f64().unwrap());
                if !(off.abs() <= 5.0) {
                    faults.push(format!("{name} {key}: {} for {expected}, {off} standard errors off", got[ours]));
                }
                return;
            }
            if expected.is_null() {
                if !got[ours].is_null() {
                    faults.push(format!("{name} {key}: {} for null", got[ours]));
                }
                return;
            }
            let mut out = Vec::new();
            within(&mut out, &format!("{name} {key}"), &got[ours], &wants[format!("{key}_bracket")], width);
            // A bracket is drawn from the slope at the place found; where the share bends it is short. Then the shares
            // themselves decide, at the place that the second solution found.
            if !out.is_empty() && key.starts_with("gap") {
                compared += 1;
                let off = share_at_gap(case, expected).map(|share| off_target(case, share));
                out.retain(|_| off.is_none_or(|off| off.abs() > 5.0));
            }
            faults.extend(out);
        };
        // Gaps are counted in bins of 100 m/16,384 at most; starts are searched to 2 mm, winds to 1 cm/s.
        bracketed(got, want, "gap_low", "gap_low_m", "m", 7e-3);
        bracketed(got, want, "gap_high", "gap_high_m", "m", 7e-3);
        bracketed(got, want, "lowest_clearing_start", "lowest_clearing_start_m", "m", 3e-3);
        bracketed(got, want, "highest_start_with_gust", "highest_start_in_gust_m", "m", 3e-3);
        let (winds, expected) = (&case.all["wind"], &case.expected["wind"]);
        for hold in ["hold_along_tail", "hold_along_head", "hold_across"] {
            bracketed(winds, expected, hold, &format!("{hold}_mps"), "mps", 0.012);
        }
        match (got["best_gap_m"].as_f64(), want["best_gap_m"].as_f64()) {
            (Some(a), Some(b)) => {
                let tolerance = want["best_gap_tolerance"].as_f64().unwrap() + 1e-3;
                if !((a - b).abs() <= tolerance) {
                    faults.push(format!("{name} best_gap: {a} for {b} ± {tolerance}"));
                }
            }
            (a, b) => {
                if a.is_some() != b.is_some() {
                    faults.push(format!("{name} best_gap: {a:?} for {b:?}"));
                }
            }
        }
    }
    assert!(compared > 200 && faults.is_empty(), "{compared} compared\n{}", faults.join("\n"));
}
