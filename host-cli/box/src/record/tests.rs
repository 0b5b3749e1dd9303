//! Recordings there and back, whole and torn.

use super::*;

#[test]
fn two_columns_are_enough_and_the_rest_is_used() {
    let r = parse("time_s,gauge_pa\n0,1\n0.02,2.5\n", "a").unwrap();
    assert_eq!(r.rows[1].reading, Ok(GaugePa(2.5)));
    assert!(!r.has_supply && !r.rows[1].button);
    let r = parse("note,fault,gauge_pa,supply,time_s\nx,,1,1,0\n,crc,,0,0.02\n,odd,,0,0.04\n", "a").unwrap();
    assert_eq!(r.rows[1].reading, Err(SensorFault::Crc));
    assert_eq!((r.rows[1].supply, r.rows[2].reading), (Some(false), Err(SensorFault::NotReady)));
    assert!(r.notes[0].contains("odd"));
}

#[test]
fn a_torn_recording_is_read_up_to_where_it_was_torn() {
    let text = "time_s,gauge_pa,fault\n0,1,\n0.02,2.5,\n0.04,3.5,\n";
    let whole = parse(text, "a").unwrap();
    assert!(whole.rows.len() == 3 && whole.notes.is_empty());
    let last = text.len() - "0.04,3.5,\n".len();
    for cut in last + 1..text.len() {
        let torn = parse(&text[..cut], "a").unwrap();
        assert_eq!(torn.rows, whole.rows[..2], "{:?}", &text[..cut]);
        assert!(torn.notes[0].starts_with("line 4 ends in the middle and is left out"), "{:?}", torn.notes);
    }
    assert_eq!(parse(&format!("{text}\0\0\0"), "a").unwrap().rows, whole.rows);
    assert!(parse("time_s,gauge_pa\n0,1\n0.02,2", "a").unwrap_err().to_string().contains("line 3 ends"));
}

#[test]
fn a_long_faulty_line_is_not_echoed_whole() {
    let long = "x".repeat(110_000);
    let said = parse(&format!("time_s,gauge_pa\n0,{long}\n0.02,\u{1b}[2J\n"), "a").unwrap_err().to_string();
    assert!(said.len() < 1200 && !said.contains('\u{1b}'), "{}", said.len());
}

#[test]
fn the_laptops_clock_is_told_as_a_date() {
    let at = |s: u64| utc(SystemTime::UNIX_EPOCH + Duration::from_millis(s));
    // By `date -u -d @N`.
    assert_eq!(at(0), "1970-01-01T00:00:00.000Z");
    assert_eq!(at(951_782_399_999), "2000-02-28T23:59:59.999Z");
    assert_eq!(at(951_782_400_000), "2000-02-29T00:00:00.000Z");
    assert_eq!(at(1_767_225_599_500), "2025-12-31T23:59:59.500Z");
}

/// Takes note of each write.
#[derive(Default)]
struct Pieces(Vec<Vec<u8>>);
impl Write for Pieces {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.push(bytes.to_vec());
        Ok(bytes.len())
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[test]
fn lines_are_written_whole_with_both_clocks_and_what_the_box_goes_by() {
    let held = WatchSettings::EXAMPLE;
    let later = WatchSettings { revision: 2, stop_pa: 650.0, half_way_pa: 825.0, ..held };
    let step = |after_us| landfall_firmware::link::FedStep {
        after_us,
        reading: Ok(GaugePa(1000.0)),
        supply: Some(true),
        button: false,
    };
    let fed = |at_us| {
        FromBox::Fed(Fed {
            at: landfall_core::watch::TimeUs(at_us),
            steps: [0, 20_000, 40_000, 60_000, 80_000].map(step),
        })
    };
    let mut recorder = Recorder::new(Pieces::default()).unwrap();
    recorder.at(SystemTime::UNIX_EPOCH + Duration::from_secs(1_000_000));
    for message in [
        FromBox::Settings(Some(held)),
        FromBox::Settings(Some(held)),
        fed(20_000),
        FromBox::Stored(later),
        fed(120_000),
    ] {
        recorder.take(&message).unwrap();
    }
    let pieces = recorder.into_inner().0;
    assert!(pieces.iter().all(|piece| piece.ends_with(b"\n")), "a line came in pieces");
    let text = String::from_utf8(pieces.concat()).unwrap();
    let read = parse(&text, "a").unwrap();
    assert_eq!(read.rows.len(), 10);
    assert_eq!(read.in_force, [(0.0, held), (0.1, later)]);
    assert!(text.contains("0.020000,1000,,1,0,,,,0,0,0,,1970-01-12T13:46:39.920Z"), "{text}");
    assert!(parse(&text.replace("stop_pa", "stop"), "a").unwrap_err().to_string().contains("--settings"));
}

#[test]
fn each_row_says_which_box_and_two_are_no_recording() {
    let step =
        landfall_firmware::link::FedStep { after_us: 0, reading: Ok(GaugePa(1000.0)), supply: None, button: false };
    let steps =
        [0, 20_000, 40_000, 60_000, 80_000].map(|after_us| landfall_firmware::link::FedStep { after_us, ..step });
    let written = |name| {
        let mut recorder = Recorder::of(Vec::new(), name).unwrap();
        recorder.take(&FromBox::Fed(Fed { at: landfall_core::watch::TimeUs(20_000), steps })).unwrap();
        String::from_utf8(recorder.into_inner()).unwrap()
    };
    let (left, alone) = (written(Some("left, \"near\"")), written(None));
    assert!(left.lines().next().unwrap().ends_with(",wall,box"), "{left}");
    assert!(left.lines().skip(1).all(|row| row.ends_with(",left_ _near_")), "{left}");
    assert_eq!(parse(&left, "a").unwrap().rows, parse(&alone, "a").unwrap().rows);
    let right = written(Some("right"));
    let both = left + right.split_once('\n').unwrap().1;
    let told = parse(&both, "a").unwrap_err().to_string();
    assert!(told.contains("line 7, column box: \"right\" after \"left_ _near_\""), "{told}");
}

#[test]
fn every_fault_comes_at_once_with_line_and_column() {
    let text = "time_s,gauge_pa,fault,supply\n0,1000,,1\n0.02,abc,,1\n0.02,1000,,1\nx,1000,,2\n0.08,1000,17,1\n0.1,nan,,1\n0.12,3\n";
    let bad = parse(text, "day.csv").unwrap_err();
    let all = bad.to_string();
    for part in [
        "day.csv: line 3, column gauge_pa",
        "line 4, column time_s",
        "line 5, column time_s",
        "line 5, column supply",
        "line 6, column fault",
        "line 7, column gauge_pa",
        "line 8, column fault",
    ] {
        assert!(all.contains(part), "{part} not in\n{all}");
    }
    assert_eq!(bad.faults.len(), 7, "{all}");
    let bad = parse("t,p\n1,2\n", "b").unwrap_err().to_string();
    assert!(bad.contains("column time_s: is missing") && bad.contains("column gauge_pa: is missing"));
    assert!(parse("", "c").is_err());
}
