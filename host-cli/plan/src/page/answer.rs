//! One request answered.
//!
//! # Settled here
//! - **Coarse answers** of the page leave out the searches for start heights and hold winds, and with them the
//!   findings; too few runs to tell a chance of a miss from the target are called that, not a limit passed.
//! - **Edits on the page** are written into the site file's text even where they cannot be read: the text is all that
//!   there is, so that nothing typed is lost, and its faults are those of `check`.

use serde::Deserialize;
use serde_json::{Map, Value, json};

use super::{controls, figures, first};
use crate::plan::results::Results;
use crate::plan::{Parts, PlanError, compute};
use crate::plan::{json as numbers, limits, text as words};
use crate::report::{Picture, Played, RUNS, Sheet, page_pictures, some_pictures};
use crate::shown::Shown;
use crate::site::{Faults, Site, SiteFile, demo_text, read_site};
use landfall_sampling::Stop;

/// What a page asks.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Request {
    site: Option<String>,
    file: Option<String>,
    #[serde(default)]
    set: Map<String, Value>,
    #[serde(default)]
    unset: Vec<String>,
    samples: Option<u64>,
    #[serde(default)]
    coarse: bool,
    pictures: Option<Vec<String>>,
    want: Option<Vec<Want>>,
}

/// Parts of an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Want {
    Controls,
    Results,
    Pictures,
    Text,
}

/// Runs behind the pictures of a coarse answer: enough to see where a change moves the flights.
const COARSE_RUNS: usize = 256;

/// Answers one request; see [the module](super) for both forms.
#[must_use]
pub fn answer(request: &str) -> String {
    answer_until(request, &Stop::default())
}

/// The same, ended early where `stop` asks for it; then `refused` says so.
#[must_use]
pub fn answer_until(request: &str, stop: &Stop) -> String {
    match serde_json::from_str::<Request>(request) {
        Ok(request) => respond(request, stop).to_string(),
        Err(error) => json!({"error": format!("the request cannot be read: {error}")}).to_string(),
    }
}

fn respond(request: Request, stop: &Stop) -> Value {
    let file = request.file.as_deref().unwrap_or("site.toml");
    let given = request.site.as_deref().unwrap_or_else(|| demo_text());
    let (text, read) = edited(given, file, &request);
    let (site, faults) = match read {
        Ok(site) => (Some(site), Faults::default()),
        Err(faults) => (None, faults),
    };
    let mut out = Map::new();
    if request.wants(Want::Controls) {
        out.insert("controls".into(), controls::controls(&text, site.as_ref()));
        out.insert("tables".into(), controls::tables());
    }
    out.insert("site".into(), text.into());
    out.insert("name".into(), site.as_ref().map(|site| site.site.name.clone()).into());
    out.insert("faults".into(), serde_json::to_value(&faults.faults).unwrap_or_default());
    let computes = [Want::Results, Want::Pictures, Want::Text].iter().any(|want| request.wants(*want));
    let mut refused = None;
    if let Some(site) = site.filter(|_| computes) {
        match computed(site, &request, stop) {
            Ok(parts) => out.extend(parts),
            Err(error) => refused = Some(error),
        }
    }
    out.insert("refused".into(), refused.into());
    Value::Object(out)
}

impl Request {
    fn wants(&self, what: Want) -> bool {
        self.want.as_ref().map_or(what != Want::Text, |want| want.contains(&what))
    }
}

/// The text after the edits, and what it reads as.
fn edited(given: &str, file: &str, request: &Request) -> (String, Result<Site, Faults>) {
    if request.set.is_empty() && request.unset.is_empty() {
        return (given.to_owned(), read_site(given, file));
    }
    let mut edited = match SiteFile::parse(given, file) {
        Ok(edited) => edited,
        Err(faults) => return (given.to_owned(), Err(faults)),
    };
    let mut refused = Vec::new();
    for (key, value) in &request.set {
        let value = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
        refused.extend(edited.write(key, &value).err());
    }
    for key in &request.unset {
        edited.remove(key);
    }
    let text = edited.to_string();
    let read = match read_site(&text, file) {
        Ok(site) if refused.is_empty() => Ok(site),
        Ok(_) => Err(Faults { file: file.to_owned(), faults: refused }),
        Err(mut found) => {
            found.faults.extend(refused);
            Err(found)
        }
    };
    (text, read)
}

/// Everything that needs the plan.
fn computed(site: Site, request: &Request, stop: &Stop) -> Result<Map<String, Value>, String> {
    let site = match request.samples {
        Some(samples) => {
            site.with_value("spread.samples", samples.to_string().as_str()).map_err(|faults| faults.to_string())?
        }
        None => site,
    };
    let say = |error: PlanError| error.to_string();
    // The searches for start heights and winds take most of the time, and hang on rare runs that few do not show.
    let parts = if request.coarse {
        Parts { tails: false, starts: false, hold_winds: false, cures: false, ..Parts::ALL }
    } else {
        Parts::ALL
    };
    let mut results = compute(&site, parts, stop).map_err(say)?;
    if request.coarse {
        results.findings.clear();
    }
    let mut out = Map::new();
    if request.wants(Want::Results) {
        out.extend(shown(&site, &results, request.coarse).map_err(|error| error.to_string())?);
    }
    if request.wants(Want::Pictures) {
        // Two pictures are drawn from runs, and these take most of the time.
        let of_runs = |name: &String| name == "side" || name == "above";
        let runs = match &request.pictures {
            Some(wanted) if !wanted.iter().any(of_runs) => 0,
            _ if request.coarse => COARSE_RUNS,
            _ => RUNS,
        };
        let sheet = Sheet::gather_runs(&site, &results, runs).map_err(say)?;
        let drawn = match &request.pictures {
            Some(wanted) => some_pictures(&sheet, wanted),
            None => page_pictures(&sheet),
        };
        out.insert("pictures".into(), drawn.iter().map(picture).collect());
        out.insert("run".into(), Played::of(&sheet).json(&sheet));
    }
    if request.wants(Want::Text) {
        out.insert("text".into(), words::text(&site, &results, words::Style::default()).into());
    }
    Ok(out)
}

/// What the page shows of a plan besides its pictures: the first screen and its marks, the figures, the limits, and the
/// results as they are printed.
///
/// # Errors
/// Where the results cannot be put into JSON.
pub fn shown(site: &Site, results: &Results, coarse: bool) -> Result<Map<String, Value>, serde_json::Error> {
    let printed = numbers::value(results)?;
    let limits = limits::limits(site, results).into_iter().map(|limit| {
        json!({
            "what": limit.group.map_or_else(|| limit.what.to_owned(), |group| format!("{group}: {}", limit.what)),
            "now": limit.now, "limit": limit.limit, "inside": limit.inside,
            "level": limit.level.name(),
        })
    });
    let mut out = Map::new();
    // What a coarse answer leaves out may be what decides: it has no verdict.
    out.insert("first".into(), if coarse { Value::Null } else { first::first(site, results) });
    out.insert("figures".into(), figures::figures(Shown::of(site), results, &printed));
    out.insert("limits".into(), limits.collect());
    out.insert("results".into(), printed);
    Ok(out)
}

fn picture(picture: &Picture) -> Value {
    json!({
        "id": picture.id, "title": picture.title, "words": picture.words, "svg": picture.svg, "wide": picture.wide,
        "legend": picture.legend.iter().map(|(class, words)| json!([class, words])).collect::<Vec<_>>(),
        "tables": picture.tables.iter().map(|table| {
            json!({"caption": table.caption, "head": table.head, "rows": table.rows})
        }).collect::<Vec<_>>(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::checked::check_text;
    use crate::site::KEYS;

    fn ask(request: &Value) -> Value {
        serde_json::from_str(&answer(&request.to_string())).unwrap()
    }

    /// The page says what `plan --format json` prints, to the last digit.
    #[test]
    fn results_are_those_of_the_plan() {
        let site = read_site(demo_text(), "x").unwrap().with_value("spread.samples", "4096").unwrap();
        let printed = numbers::text(&compute(&site, Parts::ALL, &Stop::default()).unwrap()).unwrap();
        let answered = ask(&json!({"site": demo_text(), "samples": 4096, "want": ["results", "text"]}));
        assert_eq!(serde_json::to_string_pretty(&answered["results"]).unwrap() + "\n", printed);
        assert!(answered["text"].as_str().unwrap().contains("Larch Hollow") && answered["pictures"].is_null());
    }

    #[test]
    fn a_coarse_answer_differs_only_in_what_it_leaves_out() {
        let full = ask(&json!({"samples": 2000, "want": ["results"]}))["results"].clone();
        let coarse = ask(&json!({"samples": 2000, "coarse": true, "want": ["results"]}))["results"].clone();
        let mut expected = full;
        for key in ["lowest_clearing_start_m", "highest_start_in_gust_m"] {
            assert!(expected["placement"][key].is_f64());
            expected["placement"][key] = Value::Null;
        }
        for key in [
            "hold_along_tail",
            "hold_along_head",
            "hold_across",
            "mean_reading_tail",
            "mean_reading_head",
            "mean_reading_across",
            "hold_error_tail",
            "hold_error_head",
            "hold_error_across",
        ] {
            expected["wind"][format!("{key}_mps")] = Value::Null;
        }
        assert!(expected["spread"]["tails"].is_object(), "{}", expected["spread"]["tails"]);
        expected["spread"]["tails"] = Value::Null;
        expected["findings"] = json!([]);
        expected["cures"] = json!([]);
        for key in ["start_low_m", "hold_along_tail_mps", "hold_along_head_mps", "hold_across_mps"] {
            expected["ride_by"]["all"][key] = Value::Null;
        }
        // What is left out has no row among the limits and no finding, and so counts in neither.
        assert_eq!(coarse["verdict"]["standing"], expected["verdict"]["standing"]);
        expected["verdict"] = coarse["verdict"].clone();
        assert_eq!(coarse, expected);
    }

    #[test]
    fn edits_keep_comments_and_what_is_left_out_is_gone() {
        let set = json!({"roll_in.start_height": "5.5 m", "blower.count": "3", "bag.volume": "180 m3", "rider.lands_with_bike": "false"});
        let answered = ask(&json!({"set": set, "want": []}));
        let text = answered["site"].as_str().unwrap();
        assert!(text.contains("start_height = \"5.5 m\"  # platform deck"), "{text}");
        assert!(
            text.contains("count = 3\n")
                && text.contains("\nlands_with_bike = false\n")
                && text.contains("volume = \"180 m3\"")
        );
        let back = ask(&json!({"site": text, "unset": ["bag.volume"], "want": []}));
        assert!(!back["site"].as_str().unwrap().contains("volume ="), "{back}");
        assert_eq!(answered["faults"], json!([]));
    }

    /// What cannot be read stands in the text as it was typed, and is reported as `check` reports it.
    #[test]
    fn faults_are_those_of_check_and_nothing_typed_is_lost() {
        let typed = [
            ("rider.mass", "78"),
            ("rider.mass", "heavy \"man\""),
            ("rider.carry", "1.5"),
            ("rider.carry", "half"),
            ("roll_in.start_height", ""),
            ("bag.gap", "3 furlong"),
            ("blower.count", "2.5"),
            ("blower.closing_flap", "perhaps"),
            ("bag.relief_opens", "3 kPa"),
            ("blower.curve", "[[\"1 m3/s\", \"0 Pa\"]]"),
            ("takeoff.lip_angle", "99 deg"),
        ];
        for (key, value) in typed {
            let answered = ask(&json!({"set": {key: value}, "file": "hill.toml"}));
            let text = answered["site"].as_str().unwrap();
            let checked = check_text(text, "hill.toml").json();
            assert_eq!(answered["faults"], checked["faults"], "{key} {value}");
            assert!(
                !answered["faults"].as_array().unwrap().is_empty() && answered["results"].is_null(),
                "{key} {value}"
            );
            let control = answered["controls"].as_array().unwrap().iter().find(|c| c["key"] == key).unwrap().clone();
            let expected = if key == "blower.curve" { control["shown"].clone() } else { value.into() };
            assert_eq!(control["shown"], expected, "{text}");
            assert_eq!(
                ask(&json!({"site": text, "set": {key: "0"}, "want": []}))["site"].as_str().unwrap().lines().count(),
                text.lines().count()
            );
        }
    }

    #[test]
    fn every_value_can_be_set_to_what_its_control_shows() {
        let first = ask(&json!({"want": ["controls"]}));
        for control in first["controls"].as_array().unwrap() {
            let (key, shown) = (control["key"].as_str().unwrap(), control["shown"].as_str().unwrap());
            let is_third = matches!(key, "takeoff.lip_angle");
            if shown.is_empty() || is_third {
                continue;
            }
            let again = ask(&json!({"set": {key: shown}, "want": ["controls"]}));
            assert_eq!(again["faults"], json!([]), "{key} = {shown}");
            let other = again["controls"].as_array().unwrap().iter().find(|c| c["key"] == key).unwrap().clone();
            assert_eq!(other["shown"], shown, "{key}");
        }
        assert_eq!(first["controls"].as_array().unwrap().len(), KEYS.len() - 1);
    }

    #[test]
    fn odd_requests_are_answered() {
        for odd in ["", "[]", "{\"site\": 3}", "{\"sites\": \"\"}", "nonsense"] {
            let answered: Value = serde_json::from_str(&answer(odd)).unwrap();
            assert!(answered["error"].as_str().unwrap().starts_with("the request cannot be read"), "{odd}");
        }
        let broken = ask(&json!({"site": "[site\n"}));
        assert!(broken["faults"][0]["line"].as_u64() == Some(1) && broken["controls"].is_null());
        let unknown = ask(&json!({"set": {"bag.gapp": "1 m"}}));
        assert!(unknown["faults"][0]["message"].as_str().unwrap().contains("bag.gap"), "{unknown}");
        let without = demo_text()
            .lines()
            .filter(|line| !line.starts_with("gap"))
            .map(|line| format!("{line}\n"))
            .collect::<String>();
        assert!(ask(&json!({"site": without}))["refused"].as_str().unwrap().starts_with("bag.gap"));
        assert!(ask(&json!({"samples": 0}))["refused"].is_string());
        let stop = Stop::default();
        stop.asked.store(true, std::sync::atomic::Ordering::Relaxed);
        let stopped: Value = serde_json::from_str(&answer_until("{}", &stop)).unwrap();
        assert!(stopped["refused"].as_str().unwrap().starts_with("stopped"));
    }
}
