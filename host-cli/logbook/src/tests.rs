//! Acts, refusals, versions.

use super::*;
use landfall_plan::plan::{Parts, compute};
use landfall_plan::site::{demo, demo_text};
use landfall_sampling::Stop;

fn at(seconds: u64) -> SystemTime {
    SystemTime::UNIX_EPOCH + Duration::from_secs(1_700_000_000 + seconds)
}

fn kept(book: &mut Logbook) -> i64 {
    let site = demo().with_value("spread.samples", "2000").unwrap();
    let results = compute(&site, Parts::ALL, &Stop::default()).unwrap();
    let plan = NewPlan { site: &site, site_text: demo_text(), site_file: "demo.toml", results: &results };
    book.add_plan(at(0), &plan).unwrap()
}

#[test]
fn a_day_is_kept_and_comes_back() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("book.sqlite");
    assert!(matches!(Logbook::open(&path, false), Err(LogbookError::Missing(_))));
    let mut book = Logbook::open(&path, true).unwrap();
    assert_eq!(kept(&mut book), 1);
    let text = "run,lip_mps\n1,7.9\n2,8.1\n";
    let runs = NewText { source: Source::Runs, plan: None, file: "day.csv", text, note: "dry" };
    assert_eq!(book.add_text(at(1), &runs).unwrap(), (1, 2));
    let log = NewText { source: Source::Box, text: r#"[{"record": 7}]"#, plan: Some(1), ..runs };
    assert_eq!(book.add_text(at(2), &log).unwrap(), (2, 1));
    let check = NewCheck { plan: None, number: 4, who: "Ines", seen: "1.2 kPa", note: "" };
    assert_eq!(book.add_check(at(3), &check).unwrap().within, Some(true));
    assert_eq!(book.add_check(at(4), &NewCheck { seen: "12 inH2O", ..check }).unwrap().within, Some(false));
    drop(book);

    let book = Logbook::open(&path, false).unwrap();
    book.integrity().unwrap();
    let rows = book.table("runs").unwrap().unwrap();
    assert_eq!((rows.len(), rows[1]["lip_mps"].as_str()), (2, Some("8.1")));
    assert_eq!(book.table("box").unwrap().unwrap()[0]["record"], 7);
    let plan = book.show("plan", 1).unwrap();
    assert_eq!(plan["site_text"], demo_text());
    assert_eq!(plan["results"]["site"], plan["name"]);
    // SHA-256 by another hand: the empty text's is in FIPS 180-4's examples.
    assert_eq!(sha256(""), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    assert_eq!(book.show("entry", 1).unwrap()["text"], text);
    assert!(matches!(book.show("entry", 9), Err(LogbookError::NoEntry(_))));
    let checks = book.table("checks").unwrap().unwrap();
    assert_eq!((checks.len(), checks[1]["within"].clone()), (2, Value::from(false)));
    assert_eq!(checks[0]["at"], "2023-11-14T22:13:23Z");
    // The checklist shows the last check.
    let (words, open, outside) = text::checklist(1, &book.checklist_of(None).unwrap().1);
    assert!(words.contains("OUTSIDE") && words.contains("Ines: 12 inH2O") && outside == 1 && open > 8, "{words}");
    assert!(text::list(&book).unwrap().contains("runs, 2 rows from day.csv"));
    assert_eq!(book.everything().unwrap()["version"], VERSION);
    assert_eq!(book.table("others").unwrap(), None);
}

#[test]
fn what_cannot_be_is_refused_and_nothing_is_kept() {
    let folder = tempfile::tempdir().unwrap();
    let mut book = Logbook::open(&folder.path().join("book.sqlite"), true).unwrap();
    let check = NewCheck { plan: None, number: 4, who: "Ines", seen: "1.2 kPa", note: "" };
    assert!(matches!(book.add_check(at(0), &check), Err(LogbookError::NoEntry(_))));
    kept(&mut book);
    for wrong in [
        NewCheck { seen: "1.2", ..check },
        NewCheck { seen: "yes", ..check },
        NewCheck { who: "  ", ..check },
        NewCheck { number: 99, ..check },
        NewCheck { plan: Some(7), ..check },
        NewCheck { number: 3, seen: "many", ..check },
        NewCheck { number: 14, seen: "perhaps", ..check },
    ] {
        assert!(book.add_check(at(0), &wrong).is_err(), "{wrong:?}");
    }
    assert_eq!(book.add_check(at(0), &NewCheck { number: 14, seen: "No", ..check }).unwrap().within, Some(false));
    assert_eq!(book.add_check(at(0), &NewCheck { number: 3, seen: "12", ..check }).unwrap().within, Some(true));
    let text = NewText { source: Source::Runs, plan: None, file: "day.csv", text: "a,a\n1,2\n", note: "" };
    assert!(book.add_text(at(0), &text).is_err());
    assert!(book.add_text(at(0), &NewText { text: "a\n1\n", plan: Some(7), ..text }).is_err());
    assert_eq!(book.table("checks").unwrap().unwrap().len(), 2);
    assert!(book.table("entries").unwrap().unwrap().is_empty());
}

#[test]
fn the_record_of_a_session_is_kept_whole_and_a_changed_one_is_not() {
    let folder = tempfile::tempdir().unwrap();
    let mut book = Logbook::open(&folder.path().join("book.sqlite"), true).unwrap();
    let mut lines = chain::Writer::default();
    lines.add(&serde_json::json!({"what": "session", "layout": 1}));
    lines.add(&serde_json::json!({"what": "figures", "least_pa": 912.5}));
    let (text, _) = lines.finish();
    let new = NewText { source: Source::Box, plan: None, file: "day.session", text: &text, note: "" };
    assert_eq!(book.add_text(at(0), &new).unwrap(), (1, 3));
    assert_eq!(book.table("box").unwrap().unwrap()[1]["least_pa"].as_f64(), Some(912.5));
    assert_eq!(book.show("entry", 1).unwrap()["text"], text);
    let runs = book.add_text(at(0), &NewText { source: Source::Runs, ..new }).unwrap_err().to_string();
    assert!(runs.contains("logbook box"), "{runs}");
    // A digit of the pressure, a line left out, the end cut off: refused with the line, and nothing is kept.
    let changed = text.replace("912.5", "812.5");
    let second = text.find("{\"line\":2").unwrap();
    let without = format!("{}{}", &text[..second], &text[text.find("{\"line\":3").unwrap()..]);
    let cut = &text[..text.len() - 20];
    for (wrong, words) in
        [(changed.as_str(), "line 2 was changed"), (&without, "line 2 is missing"), (cut, "line 3 is")]
    {
        let told = book.add_text(at(0), &NewText { text: wrong, ..new }).unwrap_err().to_string();
        assert!(told.contains(words), "{told}");
    }
    assert_eq!(book.table("entries").unwrap().unwrap().len(), 1);
}

#[test]
fn other_files_and_later_versions_are_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x");
    std::fs::write(&path, "some words, long enough to be no database at all".repeat(40)).unwrap();
    assert!(matches!(Logbook::open(&path, true), Err(LogbookError::NotALogbook(_))));
    assert!(std::fs::read_to_string(&path).unwrap().starts_with("some words"));

    let path = folder.path().join("other.sqlite");
    Connection::open(&path).unwrap().execute_batch("CREATE TABLE mine (x)").unwrap();
    let before = std::fs::read(&path).unwrap();
    assert!(matches!(Logbook::open(&path, true), Err(LogbookError::NotALogbook(_))));
    assert_eq!(std::fs::read(&path).unwrap(), before);

    let path = folder.path().join("later.sqlite");
    drop(Logbook::open(&path, true).unwrap());
    Connection::open(&path).unwrap().pragma_update(None, "user_version", VERSION + 1).unwrap();
    let before = std::fs::read(&path).unwrap();
    assert!(matches!(Logbook::open(&path, true), Err(LogbookError::Newer { .. })));
    assert_eq!(std::fs::read(&path).unwrap(), before);
}

#[test]
fn an_older_file_becomes_a_newer_one_with_all_that_is_in_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("old.sqlite");
    let old = Connection::open(&path).unwrap();
    schema::begin_at(&old, 1).unwrap();
    old.execute_batch("INSERT INTO plan VALUES (5, '2024-01-01T00:00:00Z', 'Old', '0.0', 'f', 't', 'h', '{}')")
        .unwrap();
    drop(old);
    let mut book = Logbook::open(&path, false).unwrap();
    assert_eq!(book.table("plans").unwrap().unwrap()[0]["plan"], 5);
    let text = NewText { source: Source::Runs, plan: None, file: "day.csv", text: "a\n1\n", note: "" };
    book.add_text(at(0), &text).unwrap();
    assert_eq!(book.table("entries").unwrap().unwrap()[0]["plan"], 5);
    let version: i64 = book.connection.pragma_query_value(None, "user_version", |row| row.get(0)).unwrap();
    assert_eq!(version, VERSION);
}
