//! `landfall compare`.

use std::io::BufRead as _;

use landfall_learn::compare::{Options, Session, Standing};
use landfall_learn::compare_text::{run_line, session_text, warning};
use landfall_learn::demo::TODAY;
use landfall_learn::forward::Base;
use landfall_learn::runs::{RunRow, read_runs, run_of};
use landfall_plan::shown::Shown;
use landfall_plan::site::{Fault, Faults, Site};
use landfall_tables::torn;
use landfall_tables::{Heading, columns, is_remark};
use serde_json::json;

use super::args_learn::Compare;
use super::args_shared::TextOrJson;
use super::{End, complain, input, note, output};

pub(crate) fn run(args: &Compare) -> anyhow::Result<End> {
    let (site, _) = super::fit::site(args.site.as_deref())?;
    let options =
        Options { speed_mps: args.speed_shift, landing_m: args.landing_shift, alpha: args.alpha, beta: args.beta };
    let mut session = Session::new(Base::new(&site)?, options);
    let streamed = args.runs.as_ref().is_some_and(|path| path.as_os_str() == "-");
    let lines = if streamed { stream(args, &site, &mut session)? } else { whole(args, &site, &mut session)? };
    anyhow::ensure!(session.count() > 0, "no run to compare");
    let standings = session.standings();
    let text = match args.format {
        TextOrJson::Text => session_text(&site.site.name, &session, &lines, Shown::of(&site), output::style()),
        TextOrJson::Json => output::json(&json!({
            "site": site.site.name,
            "runs": session.count(),
            "options": session.options(),
            "changes": standings,
        }))?,
    };
    args.output.put(&text)?;
    Ok(if session.warned() { End::Outside } else { End::Inside })
}

/// Takes one run of the table; the line that shows it.
fn take(site: &Site, session: &mut Session, run: &RunRow, faults: &mut Vec<Fault>) -> Option<String> {
    if let Some(reason) = &run.excluded {
        return Some(format!("run {}: left out, {reason}\n", run.label));
    }
    let trial = session.base().clone().trial(site, run, faults)?;
    let beside = session.add(&trial)?;
    Some(run_line(&run.label, &beside, Shown::of(site)))
}

/// A whole table.
fn whole(args: &Compare, site: &Site, session: &mut Session) -> anyhow::Result<Vec<String>> {
    let (text, name) = match &args.runs {
        Some(path) => input::told_table(path)?,
        None => (TODAY.to_owned(), "demo runs".to_owned()),
    };
    let mut faults = Vec::new();
    let runs = read_runs(&text, &name, args.fps)?;
    let lines = runs.iter().filter_map(|run| take(site, session, run, &mut faults)).collect();
    if faults.is_empty() { Ok(lines) } else { Err(Faults { file: name, faults }.into()) }
}

/// Row by row from stdin, each answered at once. A row with a fault is told and passed over.
fn stream(args: &Compare, site: &Site, session: &mut Session) -> anyhow::Result<Vec<String>> {
    let mut heading: Option<Heading> = None;
    let mut lines = Vec::new();
    let mut number = 0;
    let mut heads = String::new();
    let mut stdin = std::io::stdin().lock();
    for index in 0.. {
        let mut line = String::new();
        if stdin.read_line(&mut line)? == 0 {
            break;
        }
        if !line.ends_with('\n') {
            // The last one: whoever wrote it may have been cut off.
            let both = format!("{heads}{line}");
            let mended = torn::mended(&both);
            mended.note.iter().for_each(|told| note(told));
            if mended.text.len() < both.len() {
                break;
            }
        }
        let line = line.trim_end_matches(['\n', '\r']).to_owned();
        let mut faults = Vec::new();
        let Some(heading) = &heading else {
            if !is_remark(&line) {
                heading = Some(Heading::read(columns::RUNS, &line, index + 1, &mut faults));
                heads = format!("{line}\n");
                if !faults.is_empty() {
                    return Err(Faults { file: "stdin".to_owned(), faults }.into());
                }
            }
            continue;
        };
        let told: Vec<bool> = session.standings().iter().map(|s| s.warned_after.is_some()).collect();
        if let Some(row) = heading.row(&line, index + 1, &mut faults) {
            number += 1;
            let shown =
                run_of(row, number, args.fps, &mut faults).and_then(|run| take(site, session, &run, &mut faults));
            if let Some(shown) = shown {
                if args.format == TextOrJson::Text {
                    output::stdout(&shown)?;
                    for words in fresh(session, &told, Shown::of(site)) {
                        output::stdout(&format!("{words}\n"))?;
                    }
                }
                lines.push(shown);
            }
        }
        if !faults.is_empty() {
            complain(&format!("{}\nthis row is passed over", Faults { file: "stdin".to_owned(), faults }));
        }
    }
    Ok(lines)
}

/// Warnings that were not there before the run.
fn fresh(session: &Session, told: &[bool], here: Shown) -> Vec<String> {
    let standings: Vec<Standing> = session.standings();
    let new = standings.iter().zip(told).filter(|(_, told)| !**told);
    new.filter_map(|(standing, _)| warning(standing, session, here)).collect()
}
