//! `landfall fit`.

use std::path::Path;
use std::time::{SystemTime, UNIX_EPOCH};

use landfall_learn::demo::RUNS;
use landfall_learn::fit::{ASKED_OF_EACH, FitError, fit_until, prepare};
use landfall_learn::fit_text::fit_text;
use landfall_learn::frames::FrameTime;
use landfall_learn::runs::read_runs;
use landfall_learn::solve::NoFit;
use landfall_learn::write_site::{Edit, From, edits, sha256, written};
use landfall_plan::plan::PlanError;
use landfall_plan::shown::Shown;
use landfall_plan::site::{Site, demo, read_site};
use serde_json::json;

use super::args_learn::Fit;
use super::args_shared::TextOrJson;
use super::bar::{Progress, stop_on_ctrl_c};
use super::{End, input, note, output};

pub(crate) fn run(args: &Fit) -> anyhow::Result<End> {
    if !args.frames.is_empty() {
        return frames(args);
    }
    let (runs_text, runs_name) = match &args.runs {
        Some(path) => input::told_table(path)?,
        None => (RUNS.to_owned(), "demo runs".to_owned()),
    };
    let (site, site_text) = site(args.site.as_deref())?;
    let runs = read_runs(&runs_text, &runs_name, args.fps)?;
    let prepared = prepare(&site, &runs, &runs_name, args.rider.as_deref()).map_err(plain_error)?;
    let stop = stop_on_ctrl_c()?;
    let bar = Progress::of_runs(&stop, prepared.trials.len() as u64 * ASKED_OF_EACH);
    let found = fit_until(&site, &prepared, &stop).map_err(plain_error)?;
    drop(bar);
    let edits = edits(&found, &prepared);
    let text = match args.format {
        TextOrJson::Text => fit_text(&found, &edits, Shown::of(&site), output::style()),
        TextOrJson::Json => output::json(&json!({"fit": found, "edits": edits}))?,
    };
    args.output.put(&text)?;
    if args.change.write {
        let what = format!("{} runs of {}", found.runs, name_only(&runs_name));
        write(
            args.site.as_deref(),
            &site_text,
            &edits,
            (&what, &sha256(runs_text.as_bytes())),
            args.change.date.as_deref(),
        )?;
    }
    Ok(if found.doubts.is_empty() { End::Inside } else { End::Outside })
}

/// The site and its text; the embedded one where no file is named.
pub(super) fn site(path: Option<&Path>) -> anyhow::Result<(Site, String)> {
    match path {
        None => Ok((demo(), String::new())),
        Some(path) => {
            let (text, name) = input::text(path)?;
            Ok((read_site(&text, &name)?, text))
        }
    }
}

/// Faults of a table are shown as those of a site file.
pub(super) fn plain_error(error: FitError) -> anyhow::Error {
    match error {
        FitError::Faults(faults) => faults.into(),
        FitError::Plan(error) => error.into(),
        FitError::NoFit(NoFit::Stopped) => PlanError::Stopped.into(),
        other => other.into(),
    }
}

/// The last part of a file's name: folders are nobody's business in a site file.
pub(super) fn name_only(name: &str) -> &str {
    name.rsplit(['/', '\\']).next().unwrap_or(name)
}

/// Puts edits into a site file.
pub(super) fn write(
    path: Option<&Path>,
    text: &str,
    edits: &[Edit],
    (what, hash): (&str, &str),
    date: Option<&str>,
) -> anyhow::Result<()> {
    let Some(path) = path.filter(|path| path.as_os_str() != "-") else {
        anyhow::bail!("--write needs a site file by its name");
    };
    let today = today();
    let from = From { date: date.unwrap_or(&today), what, hash };
    let name = output::shown(path);
    let new = written(text, &name, edits, from)?;
    output::edited(path, text, &new)?;
    note(&format!("{name}: {} values written", edits.len()));
    Ok(())
}

/// Today by the system's clock, in UTC.
pub(super) fn today() -> String {
    let seconds = SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_secs());
    date_of(i64::try_from(seconds / 86_400).unwrap_or(0))
}

/// The date of a day since 1970-01-01, in the Gregorian calendar (Howard Hinnant's algorithm, with years that begin in
/// March).
fn date_of(days: i64) -> String {
    let days = days + 719_468;
    let era = days.div_euclid(146_097);
    let day_of_era = days.rem_euclid(146_097);
    let year_of_era = (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let shifted = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * shifted + 2) / 5 + 1;
    let month = if shifted < 10 { shifted + 3 } else { shifted - 9 };
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    format!("{year:04}-{month:02}-{day:02}")
}

/// Counted frames as times.
fn frames(args: &Fit) -> anyhow::Result<End> {
    let times: Vec<FrameTime> =
        args.frames.iter().map(|n| FrameTime::new(f64::from(*n), args.fps.unwrap_or(f64::NAN))).collect();
    let text = match args.format {
        TextOrJson::Text => times
            .iter()
            .map(|t| format!("{} frames at {} a second: {:.4} s ± {:.4} s\n", t.frames, t.rate_hz, t.time_s, t.sd_s))
            .collect(),
        TextOrJson::Json => output::json(&times)?,
    };
    args.output.put(&text)?;
    Ok(End::Inside)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates() {
        let cases = [
            (0, "1970-01-01"),
            (59, "1970-03-01"),
            (10_957, "2000-01-01"),
            (11_016, "2000-02-29"),
            (20_454, "2026-01-01"),
        ];
        for (days, date) in cases {
            assert_eq!(date_of(days), date);
        }
    }

    #[test]
    fn folders_are_left_out() {
        assert_eq!(name_only("/home/x/day.csv"), "day.csv");
        assert_eq!(name_only("day.csv"), "day.csv");
    }
}
