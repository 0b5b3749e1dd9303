//! One request answered.

use serde::Deserialize;
use serde_json::{Map, Value, json};

use crate::plan::{Parts, PlanError, compute};
use crate::plan::{json as numbers, limits, text as words};
use crate::report::{Picture, Sheet, pictures};
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
    let want = request.want.clone().unwrap_or_else(|| vec![Want::Controls, Want::Results, Want::Pictures]);
    let wants = |what: Want| want.contains(&what);
    let given = request.site.as_deref().unwrap_or_else(|| demo_text());
    let (text, read) = edited(given, file, &request);
    let mut out = Map::new();
    out.insert("site".into(), text.clone().into());
    let (site, faults) = match read {
        Ok(site) => (Some(site), Faults::default()),
        Err(faults) => (None, faults),
    };
    out.insert("name".into(), site.as_ref().map(|site| site.site.name.clone()).into());
    out.insert("faults".into(), serde_json::to_value(&faults.faults).unwrap_or_default());
    let mut refused = None;
    let computes = wants(Want::Results) || wants(Want::Pictures) || wants(Want::Text);
    if let Some(site) = site.filter(|_| computes) {
        match computed(site, request.samples, wants(Want::Pictures), wants(Want::Text), stop) {
            Ok(parts) => out.extend(parts),
            Err(error) => refused = Some(error),
        }
    }
    out.insert("refused".into(), refused.into());
    Value::Object(out)
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
    let mut faults = Vec::new();
    for (key, value) in &request.set {
        let value = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
        if let Err(fault) = edited.set(key, &value) {
            faults.push(fault);
        }
    }
    let text = edited.to_string();
    match read_site(&text, file) {
        Ok(site) if faults.is_empty() => (text, Ok(site)),
        Ok(_) => (text, Err(Faults { file: file.to_owned(), faults })),
        Err(found) => (text, Err(found)),
    }
}

/// Everything that needs the plan.
fn computed(
    site: Site,
    samples: Option<u64>,
    with_pictures: bool,
    with_text: bool,
    stop: &Stop,
) -> Result<Map<String, Value>, String> {
    let site = match samples {
        Some(samples) => {
            site.with_value("spread.samples", samples.to_string().as_str()).map_err(|faults| faults.to_string())?
        }
        None => site,
    };
    let say = |error: PlanError| error.to_string();
    let results = compute(&site, Parts::ALL, stop).map_err(say)?;
    let mut out = Map::new();
    out.insert("results".into(), numbers::value(&results).map_err(|error| error.to_string())?);
    let list = limits::limits(&site, &results).into_iter().map(|limit| {
        json!({
            "what": limit.what, "now": limit.now, "limit": limit.limit, "inside": limit.inside,
            "level": limit.level.name(),
        })
    });
    out.insert("limits".into(), list.collect());
    if with_pictures {
        let sheet = Sheet::gather(&site, &results).map_err(say)?;
        out.insert("pictures".into(), pictures(&sheet).iter().map(picture).collect());
    }
    if with_text {
        let style = words::Style::default();
        out.insert("text".into(), words::text(&site, &results, style).into());
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
