//! `landfall logbook`.

use std::path::Path;
use std::time::SystemTime;

use anyhow::bail;
use landfall_logbook::export::cells;
use landfall_logbook::{Logbook, LogbookError, NewCheck, NewPlan, NewText, Source, text};
use landfall_plan::plan::Parts;
use landfall_plan::site::{demo, demo_text, read_site};
use landfall_tables::{chain, torn};
use serde_json::json;

use super::args_logbook::{Act, Check, Checklist, CsvOrJson, Export, KeepPlan, KeepText, Logbook as Args, Show, Shown};
use super::args_shared::TextOrJson;
use super::plan::computed;
use super::{End, input, note, output, table};

/// Opens a logbook, which is then no output of this run.
fn open(path: &Path, begin: bool) -> Result<Logbook, LogbookError> {
    let book = Logbook::open(path, begin)?;
    input::noted(path);
    Ok(book)
}

pub(crate) fn run(args: &Args) -> anyhow::Result<End> {
    match &args.act {
        Act::Plan(args) => plan(args),
        Act::Runs(args) => keep(args, Source::Runs),
        Act::Box(args) => keep(args, Source::Box),
        Act::Checklist(args) => checklist(args),
        Act::Check(args) => check(args),
        Act::List(args) => {
            output::stdout(&text::list(&open(&args.book.book, false)?)?)?;
            Ok(End::Inside)
        }
        Act::Show(args) => show(args),
        Act::Export(args) => export(args),
    }
}

fn plan(args: &KeepPlan) -> anyhow::Result<End> {
    let (site, words, name) = match &args.site.site {
        None => (demo(), demo_text().to_owned(), "demo".to_owned()),
        Some(path) => {
            let (words, name) = input::text(path)?;
            (read_site(&words, &name)?, words, name)
        }
    };
    // A file that cannot be written to is told before the work.
    let mut book = open(&args.book.book, true)?;
    let site = input::with_sampling(site, &args.sampling)?;
    let results = computed(&site, Parts::ALL, &args.sampling.threads)?;
    let new = NewPlan { site: &site, site_text: &words, site_file: &name, results: &results };
    let id = book.add_plan(SystemTime::now(), &new)?;
    note(&format!("kept as plan {id}"));
    output::stdout(&text::checklist(id, &book.checklist_of(Some(id))?.1).0)?;
    Ok(super::plan::end(&results))
}

fn keep(args: &KeepText, source: Source) -> anyhow::Result<End> {
    let (words, name) = input::table(&args.file)?;
    let session = chain::is_one(words.as_bytes());
    if let (false, Some(told)) = (session, torn::mended(&words).note) {
        note(&format!("{name}: {told}"));
    }
    let mut book = open(&args.book.book, false)?;
    let new = NewText { source, plan: args.plan, file: &name, text: &words, note: &args.note };
    let (id, rows) = book.add_text(SystemTime::now(), &new)?;
    note(&format!("kept as entry {id} with {rows} rows"));
    if let (true, Ok(whole)) = (session, chain::verify(words.as_bytes())) {
        note(&format!(
            "its lines hold together; last hash: {}. Whether that is the one on the paper sheet is for you to compare",
            chain::short(&whole.last)
        ));
    }
    Ok(End::Inside)
}

fn checklist(args: &Checklist) -> anyhow::Result<End> {
    let book = open(&args.book.book, false)?;
    let (plan, rows) = book.checklist_of(args.plan)?;
    let (words, open, outside) = text::checklist(plan, &rows);
    match args.format {
        TextOrJson::Text => output::stdout(&words)?,
        TextOrJson::Json => {
            output::stdout(&output::json(&json!({"plan": plan, "open": open, "outside": outside, "items": rows}))?)?;
        }
    }
    Ok(if open + outside == 0 { End::Inside } else { End::Outside })
}

fn check(args: &Check) -> anyhow::Result<End> {
    let mut book = open(&args.book.book, false)?;
    let new = NewCheck { plan: args.plan, number: args.number, who: &args.who, seen: &args.seen, note: &args.note };
    let done = book.add_check(SystemTime::now(), &new)?;
    let state = match done.within {
        Some(true) => "inside",
        Some(false) => "OUTSIDE",
        None => "no limit computed",
    };
    note(&format!("kept as check {}: {}: {} ({state})", done.id, done.item.what, args.seen));
    Ok(if done.within == Some(false) { End::Outside } else { End::Inside })
}

fn show(args: &Show) -> anyhow::Result<End> {
    let book = open(&args.book.book, false)?;
    let what = match args.what {
        Shown::Plan => "plan",
        Shown::Entry => "entry",
    };
    args.output.put(&output::json(&book.show(what, args.number)?)?)?;
    Ok(End::Inside)
}

fn export(args: &Export) -> anyhow::Result<End> {
    let book = open(&args.book.book, false)?;
    let rows = match &args.table {
        Some(name) => book.table(name)?,
        None => None,
    };
    let name = args.table.as_deref().unwrap_or_default();
    let words = match (args.format, rows) {
        (CsvOrJson::Csv, Some(rows)) => table::csv(&cells(name, &rows))?,
        (CsvOrJson::Csv, None) => bail!("a CSV holds one table; name it, such as `checks`"),
        (CsvOrJson::Json, Some(rows)) => output::json(&rows)?,
        (CsvOrJson::Json, None) => output::json(&book.everything()?)?,
    };
    args.output.put(&words)?;
    Ok(End::Inside)
}
