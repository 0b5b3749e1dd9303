//! What comes from outside: torn tables, words that would act on a terminal or in a spreadsheet, other programs.

use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::{Output, Stdio};

use crate::common::{FEW, code, command, err, folder, json, out, run_in as run};
use landfall_learn::demo;
use landfall_plan::site::demo_text;

fn with_input(folder: &Path, args: &[&str], input: &[u8]) -> Output {
    let mut child =
        command(folder, args).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(input).unwrap();
    child.wait_with_output().unwrap()
}

/// A text cut off in the middle of its last line, and the number of that line.
fn torn(text: &str) -> (String, usize) {
    let whole = text.trim_end();
    let last = whole.rfind('\n').unwrap() + 1;
    (whole[..last + (whole.len() - last) / 2].to_owned(), whole.lines().count())
}

#[test]
fn a_torn_table_is_read_up_to_where_it_was_torn() {
    let folder = folder();
    let at = folder.path();
    assert!(code(&run(at, &[&["logbook", "plan", "h.logbook", "s.toml"][..], &FEW].concat())) < 2);
    let tables = [
        ("runs.csv", demo::RUNS, &["fit", "torn.csv", "s.toml"][..]),
        ("runs.csv", demo::RUNS, &["compare", "torn.csv", "s.toml"]),
        ("runs.csv", demo::RUNS, &["logbook", "runs", "h.logbook", "torn.csv"]),
        ("day.csv", demo::DEFLATION, &["logbook", "box", "h.logbook", "torn.csv"]),
        ("day.csv", demo::DEFLATION, &["replay", "torn.csv", "--site", "s.toml", "--samples", "5000"]),
    ];
    for (name, text, args) in tables {
        let (torn, line) = torn(text);
        fs::write(at.join("torn.csv"), &torn).unwrap();
        let done = run(at, args);
        let said = err(&done) + &out(&done);
        assert!(code(&done) < 2, "{args:?}: {said}");
        assert!(said.contains(&format!("line {line} ends in the middle and is left out")), "{args:?}: {said}");
        // The rest is what it would be without that line.
        let whole: String = text.lines().take(line - 1).map(|one| format!("{one}\n")).collect();
        fs::write(at.join("torn.csv"), whole).unwrap();
        let rest = run(at, args);
        let plain =
            |output: &Output| out(output).lines().filter(|one| !one.contains(" is left out")).collect::<String>();
        assert_eq!((code(&rest), plain(&rest)), (code(&done), plain(&done)), "{args:?} {name}");
    }
    // From a pipe whose writer was killed, and in the middle of a character.
    let mut text = torn(demo::RUNS).0.into_bytes();
    text.extend([0xc3]);
    let done = with_input(at, &["compare", "-", "s.toml"], &torn(demo::RUNS).0.into_bytes());
    assert!(code(&done) < 2 && err(&done).contains("is left out"), "{}", err(&done));
    let done = with_input(at, &["fit", "-", "s.toml"], &text);
    assert!(code(&done) < 2 && err(&done).contains("is left out"), "{}", err(&done));
    // A faulty line is not echoed whole.
    fs::write(at.join("long.csv"), format!("time_s,gauge_pa\n0,{}\n0.02,1\n", "9x".repeat(55_000))).unwrap();
    fs::write(at.join("runs2.csv"), format!("run,lip_speed_mps\n1,{}\n", "9x".repeat(55_000))).unwrap();
    fs::write(
        at.join("s2.toml"),
        format!("[rider]\nmass = \"{}\"\n{} = 1\n", "9x".repeat(55_000), "k".repeat(110_000)),
    )
    .unwrap();
    for args in [
        &["replay", "long.csv", "--site", "s.toml"][..],
        &["fit", "runs2.csv", "s.toml"],
        &["logbook", "runs", "h.logbook", "long.csv"],
    ] {
        let refused = run(at, args);
        assert!(err(&refused).len() < 2000, "{args:?}: {}", err(&refused).len());
    }
    let refused = run(at, &["check", "s2.toml"]);
    assert!(code(&refused) == 2 && err(&refused).lines().all(|line| line.len() < 2000), "{}", err(&refused).len());
}

/// Nothing but line breaks and tabs acts on a terminal.
fn is_plain(text: &str) -> bool {
    text.chars().all(|c| matches!(c, '\n' | '\t') || !landfall_plan::outside::acts(c))
}

#[test]
fn words_from_outside_act_on_no_terminal() {
    const CLEAR: &str = "\u{1b}[2J";
    let folder = folder();
    let at = folder.path();
    assert!(code(&run(at, &[&["logbook", "plan", "h.logbook", "s.toml"][..], &FEW].concat())) < 2);
    let seen = std::cell::Cell::new(0);
    let look = |args: &[&str], wanted: i32| {
        let done = run(at, args);
        let all = out(&done) + &err(&done);
        assert!(is_plain(&all), "{args:?}: {all:?}");
        assert_eq!(code(&done), wanted, "{args:?}: {all}");
        seen.set(seen.get() + usize::from(all.contains("\\u{")));
        all
    };
    // Unknown keys, values, names of a site file.
    fs::write(
        at.join("keys.toml"),
        "[rider]\n\"\\u001b[2Jmass\" = 1\nmass = \"\\u001b[2J8 kg\"\n# \u{202e}gk 8\nx = \u{202e}1\n",
    )
    .unwrap();
    look(&["check", "keys.toml"], 2);
    look(&["check", "keys.toml", "--format", "json"], 2);
    fs::write(at.join("name.toml"), demo_text().replacen("name = \"", "name = \"\\u202e\\u001b[2J", 1)).unwrap();
    look(&["check", "name.toml"], 2);
    // File names.
    for name in ["a\u{1b}[2Jb", "a\nnote: all limits are kept", "a\u{202e}b"] {
        look(&["plan", name], 2);
        look(&["fit", name, "s.toml"], 2);
        look(&["replay", name, "--site", "s.toml"], 2);
        look(&["logbook", "list", name], 2);
        look(&["logbook", "box", "h.logbook", name], 2);
        look(&["arm", "--demo", "-o", &format!("no/{name}"), "--samples", "5000"], 2);
        look(&["ramp", "s.toml", "-o", &format!("no/{name}")], 2);
        let said = look(&["ramp", "s.toml", "-o", name], 0);
        assert!(!said.contains("\nnote:"), "{said}");
        look(&["ramp", "s.toml", "--template", name], 2);
        let watched = run(at, &["watch", name, "--for", "0.3 s"]);
        assert!(is_plain(&(out(&watched) + &err(&watched))), "{watched:?}");
        look(&["plan", "s.toml", &format!("--{name}")], 2);
        look(&[name], 2);
        look(&["sweep", "s.toml", "--vary", name, "--show", name], 2);
        look(&["logbook", "check", "h.logbook", "1", "--who", name, "--seen", "6 m"], 2);
        look(&["logbook", "check", "h.logbook", "1", "--who", "Ines", "--seen", name], 2);
        look(&["logbook", "check", "h.logbook", "1", "--who", "Ines", "--seen", "6 m", "--note", name], 2);
        look(&["logbook", "runs", "h.logbook", "runs.csv", "--note", name], 2);
    }
    // Riders and reasons of a table.
    let row =
        format!("{CLEAR}x,\"Ana{CLEAR}\",8.1 m/s,,\ny,Ana,8.2 m/s,,\nz{CLEAR},Ana,,yes,\"fell\u{202e}{CLEAR}\"\n");
    let table = format!("run,rider,lip_speed_mps,excluded,reason\n{row}");
    fs::write(at.join("rows.csv"), &table).unwrap();
    let said = look(&["fit", "rows.csv", "s.toml"], 1);
    assert!(said.contains("fell\\u{202e}\\u{1b}[2J"), "{said}");
    look(&["compare", "rows.csv", "s.toml"], 0);
    look(&["fit", "rows.csv", "s.toml", "--rider", CLEAR], 2);
    let refused = look(&["logbook", "runs", "h.logbook", "rows.csv"], 2);
    assert!(refused.contains("control character"), "{refused}");
    fs::write(at.join("faults.csv"), table.replace("8.1", CLEAR)).unwrap();
    look(&["fit", "faults.csv", "s.toml"], 2);
    fs::write(at.join("rec.csv"), format!("time_s,gauge_pa,fault\n0,1000,\n0.02,,odd{CLEAR}\n0.04,1000,\n")).unwrap();
    look(&["replay", "rec.csv", "--site", "s.toml", "--samples", "5000"], 0);
    fs::write(at.join("script.txt"), format!("1 s: {CLEAR}\n")).unwrap();
    look(&["simulate", "s.toml", "--fast", "--script", "script.txt"], 2);
    assert!(seen.get() > 50, "{}", seen.get());
    // What another program put into a logbook.
    let book = landfall_logbook::Logbook::open(&at.join("h.logbook"), false).unwrap();
    drop(book);
    let said = look(&["logbook", "list", "h.logbook"], 0);
    assert!(said.contains("none"), "{said}");
}

#[test]
fn tables_for_spreadsheets_hold_no_formulas_and_have_their_headings() {
    let folder = folder();
    let at = folder.path();
    let site = demo_text().replacen("name = \"", "name = \"=HYPERLINK(1) ", 1);
    fs::write(at.join("f.toml"), &site).unwrap();
    let csv = out(&run(at, &["plan", "f.toml", "--format", "csv", FEW[0], FEW[1]]));
    assert!(csv.contains("\nsite,'=HYPERLINK(1) "), "{}", &csv[..300]);
    assert!(code(&run(at, &[&["logbook", "plan", "h.logbook", "f.toml"][..], &FEW].concat())) < 2);
    let export = |table: &str| {
        let done = run(at, &["logbook", "export", "h.logbook", table, "--format", "csv"]);
        assert_eq!(code(&done), 0, "{}", err(&done));
        out(&done)
    };
    // Nothing yet, but what there could be.
    assert_eq!(export("checks"), "check,plan,number,what,low,high,unit,at,who,seen,value,within,note\n");
    assert_eq!(export("entries"), "entry,added_at,source,plan,file,sha256,note,rows,text\n");
    assert_eq!((export("runs"), export("box")), ("entry,row\n".to_owned(), "entry,row\n".to_owned()));
    let check = |who: &str, note: &str| {
        let args = ["logbook", "check", "h.logbook", "1", "--who", who, "--seen", "6 m", &format!("--note={note}")];
        let done = run(at, &args);
        assert!(code(&done) < 2, "{}", err(&done));
    };
    check("=1+1", "-2 degrees");
    check("@Ines", "+ dry");
    let checks = export("checks");
    for cell in [",'=1+1,", ",'-2 degrees\n", ",'@Ines,", ",'+ dry\n"] {
        assert!(checks.contains(cell), "{cell}: {checks}");
    }
    // The header of an empty table is that of a full one.
    assert!(checks.starts_with("check,plan,number,what,low,high,unit,at,who,seen,value,within,note\n"), "{checks}");
    // JSON is what was said.
    let said = json(&run(at, &["logbook", "export", "h.logbook", "checks"]));
    assert_eq!((said[0]["who"].as_str(), said[0]["note"].as_str()), (Some("=1+1"), Some("-2 degrees")));
    // Numbers stay numbers, also negative ones.
    let swept = out(&run(
        at,
        &["sweep", "s.toml", "--vary", "bag.offset=-0.5m..0.5m/3", "--show", "flight.airtime_s", "--format", "csv"],
    ));
    assert!(swept.contains("\n-0.5,"), "{swept}");
}

#[test]
fn several_that_begin_one_logbook_at_once_all_come_to_their_end() {
    let folder = folder();
    let at = folder.path();
    for round in 0..8 {
        let book = format!("h{round}.logbook");
        let begin = |_: usize| {
            command(at, &["logbook", "plan", &book, "s.toml", "--samples", "1000", "--threads", "1"])
                .stdout(Stdio::piped())
                .stderr(Stdio::piped())
                .spawn()
                .unwrap()
        };
        let all: Vec<_> = (0..4).map(begin).collect();
        for one in all {
            let done = one.wait_with_output().unwrap();
            assert!(code(&done) < 2, "round {round}: {}", err(&done));
        }
        let plans = json(&run(at, &["logbook", "export", &book, "plans"]));
        assert_eq!(plans.as_array().unwrap().len(), 4, "round {round}");
    }
}
