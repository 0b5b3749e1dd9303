//! `landfall sweep`: one or two keys of the site varied, any results tabulated, row by row.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::atomic::Ordering;

use landfall_core::bag::Outcome;
use landfall_core::inputs::Uncertain;
use landfall_plan::plan::results::Results;
use landfall_plan::plan::{Parts, PlanError, compute, mean_run};
use landfall_plan::shown::Shown;
use landfall_plan::site::{Dimension, Site, nearest};
use landfall_sampling::Stop;
use rayon::prelude::*;
use serde::Serialize;
use serde_json::{Map, Value, json};

use super::args_plan::Sweep;
use super::args_shared::Format;
use super::bar::{Progress, stop_on_ctrl_c, with_threads};
use super::output::Stream;
use super::plan::level_top;
use super::range::Vary;
use super::table::{cell, csv, exact, line, short};
use super::{End, input, note};

/// Most rows of one sweep.
const MOST_ROWS: usize = 1_000_000;

pub(crate) fn run(args: &Sweep) -> anyhow::Result<End> {
    let [first, rest @ ..] = args.vary.as_slice() else { anyhow::bail!("--vary is missing") };
    let second = match rest {
        [] => None,
        [second] if second.key.dotted != first.key.dotted => Some(second),
        [_] => anyhow::bail!("--vary names {} twice", first.key.dotted),
        _ => anyhow::bail!("--vary can be given twice at most"),
    };
    let rows = first.range.points.len() * second.map_or(1, |s| s.range.points.len());
    anyhow::ensure!(rows <= MOST_ROWS, "{rows} rows are too many; at most {MOST_ROWS}");
    let known = result_keys();
    let mut shown = Vec::new();
    for name in &args.show {
        shown.extend(keys_named(name.trim(), &known)?);
    }
    let site = input::sampled_site(&args.site, &args.sampling)?;
    let stop = stop_on_ctrl_c()?;
    let mut parts = parts_for(&shown);
    // On a sloped top the sampled landings say how thin the bag is under the hardest of them.
    parts.sampling |=
        parts.pressures && (!level_top(&site) || args.vary.iter().any(|v| v.key.name().ends_with("_height")));
    let mean_only = shown.iter().all(|key| key.starts_with("ride.") || key.starts_with("flight."));
    let job = Job { site, first, second, parts, mean_only, shown };
    let bar = Progress::of_points(rows as u64);
    let mut stream = Stream::new(&args.output);
    let whole = with_threads(&args.sampling.threads, || job.run(args.format, rows, &stop, &bar, &mut stream))??;
    drop(bar);
    stream.finish()?;
    if whole < rows {
        note(&format!("{} of {rows} points could not be computed", rows - whole));
    }
    Ok(if whole == 0 { End::Failed } else { End::Inside })
}

/// A column of results in the text: what it measures, if its key says so, and how it is headed.
struct Column {
    dimension: Option<Dimension>,
    heading: String,
}

impl Column {
    /// Of a key of the results, whose last part ends in its SI unit. Pressures go by the site's gauge where it states one,
    /// all else by imperial units where it asks for them; what stays in SI keeps its key.
    fn of(key: &str, site: &Site) -> Self {
        const ENDS: [(&str, Dimension); 8] = [
            ("_mps", Dimension::Speed),
            ("_m3ps", Dimension::Flow),
            ("_m3", Dimension::Volume),
            ("_m2", Dimension::Area),
            ("_pa", Dimension::Pressure),
            ("_kg", Dimension::Mass),
            ("_n", Dimension::Force),
            ("_m", Dimension::Length),
        ];
        let shown = Shown::of(site);
        let found = ENDS.iter().find_map(|(end, dimension)| Some((key.strip_suffix(end)?, *dimension)));
        let found = found.filter(|(_, dimension)| match dimension {
            Dimension::Pressure => site.given.contains("site.gauge"),
            _ => shown.is_imperial(),
        });
        match found {
            Some((name, dimension)) => {
                Self { dimension: Some(dimension), heading: format!("{name} [{}]", shown.unit(dimension)) }
            }
            None => Self { dimension: None, heading: key.to_owned() },
        }
    }
}

struct Job<'a> {
    site: Site,
    first: &'a Vary,
    second: Option<&'a Vary>,
    parts: Parts,
    /// Whether only the mean run is shown, so that nothing else is computed.
    mean_only: bool,
    shown: Vec<String>,
}

/// The site with one value set, or why it cannot be; and the value as it is shown.
type Varied = (Option<f64>, Result<Site, String>);

fn varied(site: &Site, vary: &Vary, si: f64) -> Result<Site, String> {
    site.with_value(vary.key.dotted, si).map_err(|faults| {
        let words: Vec<String> = faults.faults.iter().map(|f| format!("{} {}", f.key, f.message)).collect();
        words.join("; ")
    })
}

/// A row: what was varied, and the results or why there are none.
struct Row {
    at: Vec<f64>,
    results: Result<Vec<Value>, String>,
}

impl Job<'_> {
    /// Computes and writes all rows in order; gives how many were computed.
    fn run(
        &self,
        format: Format,
        rows: usize,
        stop: &Arc<Stop>,
        bar: &Progress,
        stream: &mut Stream,
    ) -> anyhow::Result<usize> {
        let head = self.head();
        let columns: Vec<Column> = self.shown.iter().map(|key| Column::of(key, &self.site)).collect();
        let read = match format {
            Format::Text => {
                let varied = head.len() - columns.len();
                head.iter().take(varied).chain(columns.iter().map(|column| &column.heading)).cloned().collect()
            }
            _ => head.clone(),
        };
        let widths: Vec<usize> = read.iter().map(|head| head.chars().count().max(10)).collect();
        let mut wanted = match format {
            Format::Text => stream.add(&line(&read, &widths))?,
            Format::Csv => stream.add(&csv(std::slice::from_ref(&head))?)?,
            Format::Json => stream.add("[")?,
        };
        // Few points at a time, so that rows come while the work goes on; enough to keep every thread busy.
        let each = match (self.parts.sampling || self.parts.pressures, self.mean_only) {
            (true, _) => 2,
            (false, false) => 32,
            (false, true) => 1024,
        };
        let batch = rayon::current_num_threads() * each;
        let inner = self.second.map_or(1, |second| second.range.points.len());
        let (mut whole, mut done) = (0, 0);
        while done < rows && wanted {
            let until = rows.min(done + batch);
            // The first key's value is set once for all values of the second.
            let outer: Vec<Varied> =
                (done / inner..=(until - 1) / inner).into_par_iter().map(|i| self.outer(i)).collect();
            let computed: Vec<Row> = (done..until)
                .into_par_iter()
                .map(|index| {
                    let row = self.row(&outer[index / inner - done / inner], index % inner, stop);
                    bar.points_done(1);
                    row
                })
                .collect();
            if stop.asked.load(Ordering::SeqCst) {
                let stopped = anyhow::Error::from(PlanError::Stopped);
                // Whole rows only: those of the batch that was interrupted are not.
                let kept = done > 0 && stream.is_at_once();
                return Err(if kept {
                    stopped.context(format!("stopped after {done} of {rows} points"))
                } else {
                    stopped
                });
            }
            let mut text = String::new();
            for (index, row) in (done..until).zip(&computed) {
                match &row.results {
                    Ok(_) => whole += 1,
                    Err(why) => bar.aside(|| note(&format!("{}: {why}", self.place(row)))),
                }
                text.push_str(&match format {
                    Format::Text => line(&self.cells(row, &columns, short), &widths),
                    // For programs and spreadsheets: SI, as the keys say.
                    Format::Csv => csv(&[self.cells(row, &[], |value| exact(value).to_string())])?,
                    Format::Json => {
                        let comma = if index == 0 { "\n  " } else { ",\n  " };
                        format!("{comma}{}", self.object(&head, row))
                    }
                });
            }
            wanted = bar.aside(|| stream.add(&text))?;
            done = until;
        }
        if format == Format::Json && wanted {
            stream.add("\n]\n")?;
        }
        // What nobody reads any more is not reported as missing.
        Ok(if wanted { whole } else { rows })
    }

    fn head(&self) -> Vec<String> {
        let varied = [Some(self.first), self.second].into_iter().flatten().map(Vary::heading);
        varied.chain(self.shown.iter().cloned()).collect()
    }

    /// The site with the first key's value set.
    fn outer(&self, i: usize) -> Varied {
        match self.first.range.points.get(i) {
            Some(point) => (Some(point.shown), varied(&self.site, self.first, point.si)),
            None => (None, Ok(self.site.clone())),
        }
    }

    fn row(&self, outer: &Varied, j: usize, stop: &Stop) -> Row {
        let mut at: Vec<f64> = outer.0.into_iter().collect();
        let point = self.second.and_then(|second| Some((second, second.range.points.get(j)?)));
        let both;
        let site = match (&outer.1, point) {
            (Ok(site), Some((second, point))) => {
                both = varied(site, second, point.si);
                &both
            }
            (site, _) => site,
        };
        at.extend(point.map(|(_, point)| point.shown));
        let results = site.as_ref().map_err(Clone::clone).and_then(|site| {
            if self.mean_only {
                let (ride, flight) = mean_run(site).map_err(|error| error.to_string())?;
                return self.values(&json!({ "ride": ride, "flight": flight }));
            }
            let results = compute(site, self.parts, stop).map_err(|error| error.to_string())?;
            self.values(&results)
        });
        Row { at, results }
    }

    /// The shown results; null for those that a point does not have.
    fn values(&self, results: &impl Serialize) -> Result<Vec<Value>, String> {
        let all = serde_json::to_value(results).map_err(|error| error.to_string())?;
        let find = |key: &String| {
            let found = key.split('.').try_fold(&all, |value, part| match value {
                Value::Array(list) => part.parse::<usize>().ok().and_then(|i| list.get(i)),
                _ => value.get(part),
            });
            found.cloned().unwrap_or(Value::Null)
        };
        Ok(self.shown.iter().map(find).collect())
    }

    /// The cells of a row; a value goes to the unit of its column, where there is one.
    fn cells(&self, row: &Row, columns: &[Column], number: impl Fn(f64) -> String + Copy) -> Vec<String> {
        let shown = Shown::of(&self.site);
        let at = row.at.iter().map(|value| number(*value));
        let of = |i: usize| columns.get(i).and_then(|column| column.dimension);
        match &row.results {
            Ok(values) => {
                let cells = values.iter().enumerate().map(|(i, value)| match of(i) {
                    Some(dimension) => cell(value, |si| number(shown.value(dimension, si))),
                    None => cell(value, number),
                });
                at.chain(cells).collect()
            }
            Err(_) => at.chain(self.shown.iter().map(|_| String::new())).collect(),
        }
    }

    fn object(&self, head: &[String], row: &Row) -> Value {
        let number = |value: &Value| match value.as_f64() {
            Some(f) if value.is_f64() => Value::from(exact(f)),
            _ => value.clone(),
        };
        let at = row.at.iter().map(|value| Value::from(*value));
        let none = vec![Value::Null; self.shown.len()];
        let values = row.results.as_ref().unwrap_or(&none).iter().map(number);
        let pairs: Map<String, Value> = head.iter().cloned().zip(at.chain(values)).collect();
        Value::Object(pairs)
    }

    /// Where a row is, in words.
    fn place(&self, row: &Row) -> String {
        let varied = [Some(self.first), self.second].into_iter().flatten();
        let words: Vec<String> = varied
            .zip(&row.at)
            .map(|(vary, at)| format!("{} = {} {}", vary.key.dotted, short(*at), vary.range.unit).trim_end().to_owned())
            .collect();
        words.join(", ")
    }
}

/// Every key of the results with one value, dotted; a list stands with `0` for its first element.
fn result_keys() -> BTreeSet<String> {
    let schema = schemars::schema_for!(Results).to_value();
    let mut keys = BTreeSet::new();
    walk(&schema, &schema, String::new(), &mut keys, 0);
    keys
}

fn walk(root: &Value, at: &Value, path: String, keys: &mut BTreeSet<String>, depth: usize) {
    // The results are nested a few deep; a schema that refers to itself would never end.
    if depth > 12 {
        return;
    }
    let below = |part: &str| if path.is_empty() { part.to_owned() } else { format!("{path}.{part}") };
    if let Some(target) = at.get("$ref").and_then(Value::as_str).and_then(|r| r.strip_prefix('#')) {
        if let Some(target) = root.pointer(target) {
            walk(root, target, path, keys, depth + 1);
        }
    } else if let Some(either) = at.get("anyOf").or_else(|| at.get("oneOf")).and_then(Value::as_array)
        && either.iter().any(|e| e.get("$ref").is_some())
    {
        for one in either.iter().filter(|e| e.get("type").and_then(Value::as_str) != Some("null")) {
            walk(root, one, path.clone(), keys, depth + 1);
        }
    } else if let Some(properties) = at.get("properties").and_then(Value::as_object) {
        for (name, property) in properties {
            walk(root, property, below(name), keys, depth + 1);
        }
    } else if at.get("additionalProperties").is_some_and(Value::is_object) {
        let names: Vec<&str> = match path.rsplit('.').next() {
            Some("outcomes") => Outcome::ALL.iter().map(|outcome| outcome.name()).collect(),
            _ => Uncertain::ALL.iter().map(|input| input.name()).collect(),
        };
        keys.extend(names.into_iter().map(below));
    } else if let Some(items) = at.get("items") {
        walk(root, items, below("0"), keys, depth + 1);
    } else {
        keys.insert(path);
    }
}

/// The keys that a name stands for: itself, or all below it (elements of lists only by their number).
fn keys_named(name: &str, known: &BTreeSet<String>) -> anyhow::Result<Vec<String>> {
    let first_elements: Vec<&str> =
        name.split('.').map(|part| if part.parse::<usize>().is_ok() { "0" } else { part }).collect();
    let plain = first_elements.join(".");
    if known.contains(&plain) {
        return Ok(vec![name.to_owned()]);
    }
    let start = format!("{plain}.");
    let below: Vec<String> = known
        .iter()
        .filter_map(|key| key.strip_prefix(&start))
        .filter(|rest| !rest.split('.').any(|part| part == "0"))
        .map(|rest| format!("{name}.{rest}"))
        .collect();
    if !below.is_empty() {
        return Ok(below);
    }
    // What was typed may be the last part alone, whole or nearly so.
    let tail = name.rsplit('.').next().unwrap_or(name);
    let ends = known.iter().map(|key| key.rsplit('.').next().unwrap_or(key));
    let by_tail = || {
        let near = nearest(tail, ends)?;
        known.iter().map(String::as_str).find(|key| key.rsplit('.').next() == Some(near))
    };
    match nearest(name, known.iter().map(String::as_str)).or_else(by_tail) {
        Some(near) => anyhow::bail!("--show: {name:?} is no key of the results; {near:?} was perhaps meant"),
        None => anyhow::bail!("--show: {name:?} is no key of the results; `landfall schema results` lists them"),
    }
}

/// The costly parts that the shown keys hang on.
fn parts_for(shown: &[String]) -> Parts {
    let mut parts = Parts::QUICK;
    for key in shown {
        let starts = |list: &[&str]| list.iter().any(|start| key.starts_with(start));
        if starts(&["findings", "cautions"]) {
            return Parts::ALL;
        }
        let rider = key.starts_with("riders.") && ["sd_along_m", "miss", "worst"].iter().any(|end| key.ends_with(end));
        parts.tails |= starts(&["spread.tails"]);
        parts.sampling |= rider || starts(&["spread.sampling", "spread.methods_agree", "placement.miss_now"]);
        // Everything of the placement that the chances of a miss decide.
        let quick = [
            "gap_m",
            "offset_m",
            "last_stop",
            "stop_lines",
            "clearing_",
            "front_from",
            "short_zone",
            "target",
            "miss_now",
        ];
        parts.placement |=
            key.strip_prefix("placement.").is_some_and(|rest| !quick.iter().any(|start| rest.starts_with(start)));
        parts.hold_winds |= starts(&["wind.hold", "wind.mean_reading"]);
        parts.pressures |= starts(&["pressures", "air.after_cut", "dirt.hard"]);
    }
    parts.starts = parts.placement;
    parts.sampling |= parts.placement || parts.hold_winds;
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_go_by_the_sites_units_and_gauge() {
        let demo = landfall_plan::site::demo();
        let heading = |key: &str, site: &Site| Column::of(key, site).heading;
        for key in ["flight.along_m", "ride.lip_speed_mps", "spread.sampling.miss", "air.operating_flow_m3ps"] {
            assert_eq!(heading(key, &demo), key);
        }
        let imperial = demo.with_value("site.units", "imperial").unwrap().with_value("site.gauge", "inH2O").unwrap();
        assert_eq!(heading("flight.along_m", &imperial), "flight.along [ft]");
        assert_eq!(heading("ride.lip_speed_mps", &imperial), "ride.lip_speed [mph]");
        assert_eq!(heading("pressures.stop_pa", &imperial), "pressures.stop [inH2O]");
        assert_eq!(heading("air.operating_flow_m3ps", &imperial), "air.operating_flow [cfm]");
        assert_eq!(heading("spread.sampling.miss", &imperial), "spread.sampling.miss");
        assert_eq!(heading("ride.lip_angle_deg", &imperial), "ride.lip_angle_deg");
    }

    #[test]
    fn keys_of_the_results_are_known() {
        let known = result_keys();
        for key in [
            "ride.lip_speed_mps",
            "ride.stall.before_foot_m",
            "flight.airtime_s",
            "spread.differences.shares_along.pop",
            "spread.sampling.outcomes.short",
            "placement.stop_lines.0.braking",
            "riders.worst",
            "pressures.soft.stop_by_depth_pa",
            "touchdown.depth_m",
            "findings.0.level",
            "site",
        ] {
            assert!(known.contains(key), "{key} of {known:#?}");
        }
        assert!(known.iter().all(|key| !key.ends_with('.') && !key.starts_with('.')));
    }

    #[test]
    fn a_part_stands_for_all_its_keys() {
        let known = result_keys();
        let flight = keys_named("flight", &known).unwrap();
        assert!(flight.contains(&"flight.outcome".to_owned()) && flight.len() > 8, "{flight:?}");
        assert!(keys_named("placement", &known).unwrap().iter().all(|key| !key.contains(".0.")));
        assert_eq!(keys_named("placement.stop_lines.2.braking", &known).unwrap(), ["placement.stop_lines.2.braking"]);
        let said = |name| keys_named(name, &known).unwrap_err().to_string();
        assert!(said("flight.airtime").contains("\"flight.airtime_s\" was perhaps meant"));
        assert!(said("airtime_s").contains("airtime_s\" was perhaps meant"));
        assert!(said("xyzzy").contains("landfall schema results"));
    }

    #[test]
    fn only_the_parts_that_are_shown_are_computed() {
        let parts = |keys: &[&str]| parts_for(&keys.iter().map(|key| (*key).to_owned()).collect::<Vec<_>>());
        assert_eq!(parts(&["flight.airtime_s", "spread.differences.sd_along_m", "placement.gap_m"]), Parts::QUICK);
        assert_eq!(parts(&["spread.sampling.miss"]), Parts { sampling: true, ..Parts::QUICK });
        assert_eq!(parts(&["placement.miss_now"]), Parts { sampling: true, ..Parts::QUICK });
        assert_eq!(
            parts(&["placement.gap_low_m"]),
            Parts { sampling: true, placement: true, starts: true, ..Parts::QUICK }
        );
        assert_eq!(parts(&["wind.hold_across_mps"]), Parts { sampling: true, hold_winds: true, ..Parts::QUICK });
        assert_eq!(parts(&["pressures.stop_pa"]), Parts { pressures: true, ..Parts::QUICK });
        assert_eq!(parts(&["findings.0.text"]), Parts::ALL);
    }
}
