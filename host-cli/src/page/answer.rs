//! One request answered.

use serde::Deserialize;
use serde_json::{Map, Value, json};

use super::{controls, figures};
use crate::plan::{Parts, PlanError, compute};
use crate::plan::{json as numbers, limits, text as words};
use crate::report::{Picture, RUNS, Sheet, pictures, some_pictures};
use crate::sampling::Stop;
use crate::site::{Faults, Site, SiteFile, demo_text, read_site};

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

/// Runs behind the pictures of a coarse answer.
const COARSE_RUNS: usize = 1024;

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
    let parts = if request.coarse { Parts { starts: false, hold_winds: false, ..Parts::ALL } } else { Parts::ALL };
    let mut results = compute(&site, parts, stop).map_err(say)?;
    if request.coarse {
        results.findings.clear();
    }
    let printed = numbers::value(&results).map_err(|error| error.to_string())?;
    let mut out = Map::new();
    if request.wants(Want::Results) {
        out.insert("figures".into(), figures::figures(&results, &printed));
        let list = limits::limits(&site, &results).into_iter().map(|limit| {
            json!({
                "what": limit.what, "now": limit.now, "limit": limit.limit, "inside": limit.inside,
                "level": limit.level.name(),
            })
        });
        out.insert("limits".into(), list.collect());
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
            None => pictures(&sheet),
        };
        out.insert("pictures".into(), drawn.iter().map(picture).collect());
    }
    if request.wants(Want::Text) {
        out.insert("text".into(), words::text(&site, &results, words::Style::default()).into());
    }
    if request.wants(Want::Results) {
        out.insert("results".into(), printed);
    }
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
