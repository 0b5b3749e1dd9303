//! The readers, and what must hold of whatever they make of an input.

use landfall::serve::guard::Guard;
use landfall::serve::http::{Request, body_length, parsed_head};
use landfall_box::{file, port, record, replay};
use landfall_core::watch::WatchSettings;
use landfall_firmware::frame::{Receiver, encode};
use landfall_firmware::link::{FromBox, ToBox};
use landfall_firmware::store::{Book, Record, SETTINGS, Step, Store};
use landfall_learn::{demo, drops, loaded, runs};
use landfall_logbook::rows;
use landfall_plan::outside;
use landfall_plan::page::answer_until;
use landfall_plan::site::{KEYS, SiteFile, demo_text, read_site, starter};
use landfall_sampling::Stop;
use std::sync::atomic::Ordering;

use super::Target;

/// All of them.
pub const TARGETS: [Target; 11] = [
    Target { name: "site", share: 160, made: sites, words: SITE_WORDS, look: site },
    Target { name: "runs", share: 150, made: run_tables, words: TABLE_WORDS, look: run_table },
    Target { name: "drops", share: 120, made: drop_tables, words: TABLE_WORDS, look: drop_table },
    Target { name: "loaded", share: 60, made: loaded_tables, words: TABLE_WORDS, look: loaded_table },
    Target { name: "recording", share: 70, made: recordings, words: TABLE_WORDS, look: recording },
    Target { name: "logbook", share: 110, made: run_tables, words: TABLE_WORDS, look: logbook_rows },
    Target { name: "settings", share: 100, made: settings_files, words: &[], look: settings },
    Target { name: "link", share: 100, made: frames, words: &[], look: link },
    Target { name: "log", share: 30, made: images, words: &[], look: log_image },
    Target { name: "http", share: 97, made: Vec::new, words: HTTP_WORDS, look: http },
    Target { name: "page", share: 3, made: Vec::new, words: SITE_WORDS, look: page },
];

const SITE_WORDS: &[&str] = &[
    "[rider]",
    "[bag]",
    "[spread]",
    "[[groups]]",
    "mass = ",
    "gap = ",
    "\"78 kg\"",
    "\"1 m\"",
    "\"12 inH2O\"",
    "m/s",
    "sections = [",
    "{straight = \"4 m\"}",
    "curve = [",
    "\"\"\"",
    "'''",
    "samples = 1000",
    "spread.samples",
    "\"set\": {",
    "\"want\": [\"controls\"]",
    "\\u001b",
    "infinity",
];
const TABLE_WORDS: &[&str] = &[
    "run",
    "lip_speed_mps",
    "lip_speed_kmh",
    "Lip speed (km/h)",
    "air_frames",
    "split_time_s",
    "start_height_m",
    "time_s",
    "gauge_pa",
    "gauge_kpa",
    "fault",
    "supply",
    "start",
    "power_on",
    "excluded",
    "reason",
    "yes",
    "27 km/h",
    "sep=;\n",
    "8,1",
    "crc",
    "drop_mass_kg",
    "depth_cm",
    "peak_pressure_pa",
];
const HTTP_WORDS: &[&str] = &[
    "GET ",
    "POST ",
    "/answer",
    "/box",
    "/?token=",
    " HTTP/1.1\r\n",
    "\r\n\r\n",
    "Host: 127.0.0.1:8123\r\n",
    "Content-Length: 2\r\n",
    "Transfer-Encoding: chunked\r\n",
    "Origin: null\r\n",
    "X-Landfall-Token: ",
    "..%2f",
];

fn text_of(bytes: &[u8]) -> std::borrow::Cow<'_, str> {
    String::from_utf8_lossy(bytes)
}

/// What is shown acts on no terminal.
fn plain(shown: &str) -> Result<(), String> {
    match shown.chars().find(|c| outside::acts(*c) && !matches!(c, '\n' | '\t')) {
        Some(c) => Err(format!("{c:?} is shown in {:?}", outside::short(shown, 300))),
        None => Ok(()),
    }
}

fn finite(what: &str, value: f64) -> Result<(), String> {
    if value.is_finite() { Ok(()) } else { Err(format!("{what} is {value}")) }
}

fn sites() -> Vec<Vec<u8>> {
    vec![demo_text().into(), starter().into()]
}

fn site(bytes: &[u8]) -> Result<(), String> {
    let text = text_of(bytes);
    match read_site(&text, "x.toml") {
        Ok(site) => {
            for key in KEYS {
                if let Some(value) = key.get(&site) {
                    finite(key.dotted, value)?;
                }
            }
            plain(&site.site.name)?;
        }
        Err(faults) => {
            if faults.faults.is_empty() {
                return Err("refused without a fault".to_owned());
            }
            for fault in &faults.faults {
                if fault.line == 0 || fault.column == 0 || fault.width == 0 || fault.message.is_empty() {
                    return Err(format!("a fault without a place or words: {fault:?}"));
                }
            }
            plain(&faults.to_string())?;
        }
    }
    if let Ok(mut file) = SiteFile::parse(&text, "x.toml")
        && file.set("rider.mass", "78 kg").is_ok()
        && file.value("rider.mass").is_none()
    {
        return Err("a value that was set is not there".to_owned());
    }
    Ok(())
}

fn run_tables() -> Vec<Vec<u8>> {
    vec![demo::RUNS.into(), demo::TODAY.into()]
}

fn run_table(bytes: &[u8]) -> Result<(), String> {
    match runs::read_runs(&text_of(bytes), "x.csv", Some(60.0)) {
        Ok(rows) => rows.iter().try_for_each(|run| {
            let all = [
                run.push_off,
                run.split.map(|s| s.time),
                run.lip_speed.map(|s| s.0),
                run.air_time,
                run.along,
                run.across,
            ];
            for seen in all.iter().flatten() {
                finite("a measured value", seen.value)?;
                finite("its deviation", seen.sd)?;
            }
            plain(&run.label)?;
            plain(run.rider.as_deref().unwrap_or_default())?;
            plain(run.excluded.as_deref().unwrap_or_default())
        }),
        Err(faults) => plain(&faults.to_string()),
    }
}

fn drop_tables() -> Vec<Vec<u8>> {
    vec!["drop,drop_mass_kg,drop_height_m,depth_m\n1,60,0.8,0.48\n2,60,1.6,0.68\n3,70,1.6,0.71\n".into()]
}

fn drop_table(bytes: &[u8]) -> Result<(), String> {
    match drops::read_drops(&text_of(bytes), "x.csv", None) {
        Ok(all) => all.iter().try_for_each(|drop| {
            finite("a mass", drop.mass_kg)?;
            finite("a height", drop.height_m)?;
            plain(&drop.label)
        }),
        Err(faults) => plain(&faults.to_string()),
    }
}

fn loaded_tables() -> Vec<Vec<u8>> {
    // The beginnings of the demo's, so that a change is seldom among many good lines.
    [demo::DEFLATION, demo::LOADED[0], demo::LOADED[1]]
        .map(|text| text.lines().take(40).map(|line| format!("{line}\n")).collect::<String>().into())
        .into()
}

fn loaded_table(bytes: &[u8]) -> Result<(), String> {
    let text = text_of(bytes);
    for (gauge, depth) in [(true, false), (true, true), (false, true)] {
        match loaded::read(&text, "x.csv", gauge, depth) {
            Ok(table) => {
                for (time, value) in
                    table.gauge.iter().map(|(t, p)| (*t, *p)).chain(table.depth.iter().map(|d| (d.0, d.1)))
                {
                    finite("a time", time)?;
                    finite("a reading", value)?;
                }
            }
            Err(faults) => plain(&faults.to_string())?,
        }
    }
    Ok(())
}

fn recordings() -> Vec<Vec<u8>> {
    vec![demo::DEFLATION.lines().take(40).map(|line| format!("{line}\n")).collect::<String>().into()]
}

fn recording(bytes: &[u8]) -> Result<(), String> {
    match record::parse(&text_of(bytes), "x.csv") {
        Ok(recording) => {
            recording.notes.iter().try_for_each(|note| plain(note))?;
            if recording.rows.windows(2).any(|two| !(two[0].time_s < two[1].time_s)) {
                return Err("times do not rise".to_owned());
            }
            let span_s = match (recording.rows.first(), recording.rows.last()) {
                (Some(first), Some(last)) => last.time_s - first.time_s,
                _ => 0.0,
            };
            // A replay steps through all of the time between; a minute of it is enough here.
            if span_s < 60.0 {
                match replay::replay(&recording, &WatchSettings::EXAMPLE, 0.0) {
                    Ok(done) => plain(&replay::text(&done))?,
                    Err(error) => plain(&error.to_string())?,
                }
            }
            Ok(())
        }
        Err(bad) => plain(&bad.to_string()),
    }
}

fn logbook_rows(bytes: &[u8]) -> Result<(), String> {
    match rows::parse(&text_of(bytes)) {
        Ok(list) if list.is_empty() => Err("no rows and no fault".to_owned()),
        Ok(list) => list.iter().try_for_each(|row| plain(&row.to_string())),
        Err(_) => Ok(()),
    }
}

fn settings_files() -> Vec<Vec<u8>> {
    vec![file::to_bytes(&WatchSettings::EXAMPLE).unwrap_or_default()]
}

fn settings(bytes: &[u8]) -> Result<(), String> {
    match file::with_form(bytes) {
        Ok((settings, form)) => {
            let again = file::to_bytes_with(&settings, form.as_ref()).map_err(|error| error.to_string())?;
            match file::with_form(&again) {
                Ok(same) if same == (settings, form) => Ok(()),
                other => Err(format!("taken, but not the same again: {other:?}")),
            }
        }
        Err(error) => plain(&error.to_string()),
    }
}

fn frames() -> Vec<Vec<u8>> {
    let said = [ToBox::Offer(WatchSettings::EXAMPLE)];
    said.iter().filter_map(|message| encode(message).ok()).map(|frame| frame.bytes().to_vec()).collect()
}

fn link(bytes: &[u8]) -> Result<(), String> {
    let mut receiver = Receiver::new();
    for byte in bytes {
        if let Some(Ok(message)) = receiver.push::<ToBox>(*byte) {
            encode(&message).map_err(|error| format!("{message:?} came and cannot be sent: {error:?}"))?;
        }
    }
    let mut seen = landfall_box::live::Seen::new("x");
    for message in port::Decoder::default().take(bytes).into_iter().flatten() {
        encode::<FromBox>(&message).map_err(|error| format!("{message:?} came and cannot be sent: {error:?}"))?;
        let lines = seen.take(&landfall_box::live::Brought::Message(Box::new(message)));
        lines.iter().try_for_each(|line| plain(line))?;
    }
    plain(&seen.line())
}

const SECTOR: usize = 512;
const SECTORS: usize = 8;

/// Flash in memory.
struct Flash(Vec<u8>);

impl embedded_storage::nor_flash::ErrorType for Flash {
    type Error = core::convert::Infallible;
}

impl embedded_storage::nor_flash::ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;
    fn read(&mut self, offset: u32, into: &mut [u8]) -> Result<(), Self::Error> {
        let offset = offset as usize;
        into.copy_from_slice(&self.0[offset..offset + into.len()]);
        Ok(())
    }
    fn capacity(&self) -> usize {
        self.0.len()
    }
}

impl embedded_storage::nor_flash::NorFlash for Flash {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR;
    fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        self.0[from as usize..to as usize].fill(0xff);
        Ok(())
    }
    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        for (old, new) in self.0[offset as usize..].iter_mut().zip(bytes) {
            *old &= new;
        }
        Ok(())
    }
}

fn image() -> Vec<u8> {
    vec![0xff; SECTOR * SECTORS]
}

/// Makes room and appends, as a box does.
fn append(store: &mut Store<Flash>, book: Book, payload: &[u8]) -> bool {
    for _ in 0..3 * SECTORS {
        if store.append(book, payload).is_ok() {
            return true;
        }
        let _ = store.prepare(book);
    }
    false
}

/// The records of a book from its first on; none where it has no end.
fn read(store: &mut Store<Flash>, book: Book) -> Option<Vec<Record>> {
    let mut cursor = store.reader(book, 0);
    let mut all = Vec::new();
    for _ in 0..8 * SECTORS * SECTOR / 64 {
        match store.next(&mut cursor) {
            Step::Record(record) => all.push(record),
            Step::Gap => {}
            Step::End => return Some(all),
        }
    }
    None
}

fn images() -> Vec<Vec<u8>> {
    let mut store = Store::open(Flash(image()));
    let _ = store.save_settings(b"some settings");
    for i in 0..60_u8 {
        append(&mut store, if i % 3 == 0 { Book::Landings } else { Book::Events }, &[i; 20]);
    }
    vec![store.into_flash().0, image()]
}

fn log_image(bytes: &[u8]) -> Result<(), String> {
    let mut flash = image();
    for (to, from) in flash.iter_mut().zip(bytes) {
        *to = *from;
    }
    let mut store = Store::open(Flash(flash));
    let _ = store.settings(&mut [0; SETTINGS]);
    for book in [Book::Events, Book::Landings] {
        if read(&mut store, book).is_none() {
            return Err(format!("the log of {book:?} has no end"));
        }
    }
    // Whatever was there, what is appended now is there after a start, and is the newest.
    if append(&mut store, Book::Events, b"the last word") {
        let mut store = Store::open(store.into_flash());
        let newest =
            read(&mut store, Book::Events).and_then(|all| all.into_iter().max_by_key(|record| record.sequence));
        if newest.as_ref().map(Record::payload) != Some(b"the last word".as_slice()) {
            return Err(format!("what was appended is not the newest: {newest:?}"));
        }
    }
    Ok(())
}

fn http(bytes: &[u8]) -> Result<(), String> {
    let guard = Guard {
        address: std::net::Ipv4Addr::LOCALHOST.into(),
        port: 8123,
        token: "0123456789abcdef".to_owned(),
        page_needs_token: true,
    };
    let inside = |request: &Request| guard.route(request).is_ok();
    match parsed_head(bytes) {
        Ok(Some((request, end))) => {
            if end > bytes.len() {
                return Err("the head ends behind the bytes".to_owned());
            }
            let _ = (body_length(&request), Guard::lane(&request));
            // Nobody is let through who does not show the token.
            if inside(&request) && !text_of(bytes).contains("0123456789abcdef") {
                return Err("let in without the token".to_owned());
            }
            if inside(&request) && !guard.bears_token(&request) {
                return Err("let in, and not known as the token's bearer".to_owned());
            }
            Ok(())
        }
        Ok(None) => Ok(()),
        Err(refusal) => plain(&refusal.why),
    }
}

fn page(bytes: &[u8]) -> Result<(), String> {
    let text = text_of(bytes);
    // Stopped from the start: everything is read, edited and shown, and nothing sampled, of which there may be much.
    let stop = Stop::default();
    stop.asked.store(true, Ordering::SeqCst);
    let answer = answer_until(&text, &stop);
    serde_json::from_str::<serde_json::Value>(&answer).map_err(|error| format!("the answer is no JSON: {error}"))?;
    Ok(())
}
