//! The power is cut at every byte of every write and in every stage of every erase.

use super::*;
use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash};
use std::vec::Vec;

const SECTOR: usize = 512;
const SECTORS: usize = 2 + 5;

/// NOR flash: programming clears bits, erasing sets them; the power can go at any work unit.
#[derive(Clone)]
struct Nor {
    bytes: Vec<u8>,
    /// Work units left: one per programmed byte, [`ERASE_UNITS`] per erase.
    power: usize,
    noise: u32,
    erases: Vec<u32>,
    /// Sectors whose erase was cut short: they may look erased, but do not hold what is written.
    weak: Vec<bool>,
}

const ERASE_UNITS: usize = 6;

#[derive(Debug)]
struct Failed;
impl NorFlashError for Failed {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::Other
    }
}

impl Nor {
    fn new(noise: u32) -> Self {
        Self {
            bytes: vec![0xFF; SECTOR * SECTORS],
            power: usize::MAX,
            noise,
            erases: vec![0; SECTORS],
            weak: vec![false; SECTORS],
        }
    }

    fn random(&mut self) -> u8 {
        self.noise = self.noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (self.noise >> 24) as u8
    }

    fn spend(&mut self) -> bool {
        if self.power == usize::MAX {
            return true;
        }
        self.power = self.power.saturating_sub(1);
        self.power > 0
    }
}

impl ErrorType for Nor {
    type Error = Failed;
}

impl ReadNorFlash for Nor {
    const READ_SIZE: usize = 1;
    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Failed> {
        let offset = offset as usize;
        bytes.copy_from_slice(&self.bytes[offset..offset + bytes.len()]);
        Ok(())
    }
    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl NorFlash for Nor {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Failed> {
        assert!((from as usize).is_multiple_of(SECTOR) && to - from == SECTOR as u32);
        let range = from as usize..to as usize;
        self.erases[from as usize / SECTOR] += 1;
        for unit in 0..ERASE_UNITS {
            if self.power == 0 {
                return Err(Failed);
            }
            if !self.spend() {
                self.weak[from as usize / SECTOR] = true;
                // Cut: bits rise one by one, in any order; in the last units it looks quite erased.
                // In the last but one the header, as the worst case, has not moved at all.
                let range = if unit == 4 { from as usize + 64..to as usize } else { range };
                for index in range {
                    let risen = match unit {
                        0 => 0,
                        1 => self.random() & self.random(),
                        2 => self.random(),
                        3 => self.random() | self.random(),
                        _ => 0xFF,
                    };
                    self.bytes[index] |= risen;
                }
                return Err(Failed);
            }
        }
        self.bytes[range].fill(0xFF);
        self.weak[from as usize / SECTOR] = false;
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Failed> {
        let offset = offset as usize;
        assert_eq!(offset / 256, (offset + bytes.len() - 1) / 256, "a write crosses a page");
        let marks = bytes.iter().all(|b| *b == 0);
        assert!(marks || !self.weak[offset / SECTOR], "a record goes into a half-erased sector");
        for (index, byte) in bytes.iter().enumerate() {
            if self.power == 0 {
                return Err(Failed);
            }
            if !self.spend() {
                let held = self.random();
                self.bytes[offset + index] &= byte | held; // some of the bits fell
                return Err(Failed);
            }
            self.bytes[offset + index] &= byte;
        }
        Ok(())
    }
}

/// What a session knows to be committed.
#[derive(Default)]
struct Known {
    settings: Option<u32>,
    settings_tried: Option<u32>,
    records: Vec<(u32, u32)>,
    tried: Vec<u32>,
}

fn settings_of(store: &mut Store<Nor>) -> Option<u32> {
    let mut bytes = [0; SETTINGS];
    let length = store.settings(&mut bytes)?;
    assert_eq!(length, 40);
    let value = bytes[0];
    assert!(bytes[..40].iter().all(|b| *b == value), "settings are mixed");
    Some(u32::from(value))
}

fn records_of(store: &mut Store<Nor>) -> Vec<(u32, u32)> {
    let mut cursor = store.reader(Book::Events, 0);
    let mut records = Vec::new();
    for _ in 0..1000 {
        match store.next(&mut cursor) {
            Step::Record(r) => records.push((r.sequence, u32::from_le_bytes(r.payload()[..4].try_into().unwrap()))),
            Step::Gap => {}
            Step::End => return records,
        }
    }
    panic!("the log has no end");
}

/// Work until the power goes or the script ends.
fn work(store: &mut Store<Nor>, known: &mut Known, first: u32) -> bool {
    for n in first..first + 40 {
        if n % 9 == 0 {
            known.settings_tried = Some(n % 250);
            match store.save_settings(&[(n % 250) as u8; 40]) {
                Ok(()) => known.settings = known.settings_tried.take(),
                Err(_) => return false,
            }
        }
        while store.room(Book::Events) < 8 {
            if store.prepare(Book::Events).is_err() {
                return false;
            }
        }
        known.tried.push(n);
        match store.append(Book::Events, &n.to_le_bytes()) {
            Ok(sequence) => known.records.push((sequence, n)),
            Err(_) => return false,
        }
    }
    true
}

fn check(store: &mut Store<Nor>, known: &mut Known, at: usize) {
    let settings = settings_of(store);
    assert!(
        settings == known.settings || (known.settings_tried.is_some() && settings == known.settings_tried),
        "cut {at}: settings {settings:?}, committed {:?}",
        known.settings
    );
    known.settings = settings;
    known.settings_tried = None;
    let found = records_of(store);
    for pair in found.windows(2) {
        assert!(pair[0].0 < pair[1].0, "cut {at}: out of order {found:?}");
    }
    for record in &found {
        assert!(known.tried.contains(&record.1), "cut {at}: a record nobody wrote: {record:?}");
    }
    // Everything committed is there, back to the oldest that is left; at least a sector's worth is kept.
    let oldest = found.first().map_or(u32::MAX, |r| r.0);
    let committed: Vec<_> = known.records.iter().filter(|r| r.0 >= oldest).collect();
    for record in &committed {
        assert!(found.contains(record), "cut {at}: {record:?} is lost; found {found:?}");
    }
    assert!(committed.len() >= known.records.len().min(Store::<Nor>::SLOTS as usize), "cut {at}: too much recycled");
    // One that was being written and did get through counts from now on.
    if let Some(last) = found.last()
        && !known.records.contains(last)
    {
        known.records.push(*last);
    }
}

/// Cuts the power after every amount of work, again after `second` more, then works on undisturbed.
fn cut_everywhere(second: usize) -> usize {
    let mut at = 1;
    loop {
        let mut known = Known::default();
        let mut flash = Nor::new(at as u32);
        flash.power = at;
        let mut store = Store::open(flash);
        let whole = work(&mut store, &mut known, 1);
        let mut flash = store.into_flash();
        flash.power = second;
        let mut store = Store::open(flash);
        check(&mut store, &mut known, at);
        work(&mut store, &mut known, 100);
        let mut flash = store.into_flash();
        flash.power = usize::MAX;
        let mut store = Store::open(flash);
        check(&mut store, &mut known, at);
        assert!(work(&mut store, &mut known, 200), "cut {at}: does not work again");
        check(&mut store, &mut known, at);
        let mut store = Store::open(store.into_flash());
        check(&mut store, &mut known, at);
        if whole {
            return at;
        }
        at += 1;
    }
}

#[test]
fn the_power_may_go_at_any_byte() {
    // 40 records of 64 bytes, 4 settings pages, and the erases: about 3,000 places.
    assert!(cut_everywhere(usize::MAX) > 2_000);
}

#[test]
fn and_again_while_it_comes_back() {
    for second in [1, 33, 70, 301] {
        cut_everywhere(second);
    }
}

#[test]
fn wear_is_spread() {
    let mut known = Known::default();
    let mut store = Store::open(Nor::new(1));
    for round in 0..50 {
        assert!(work(&mut store, &mut known, round * 1000));
    }
    let erases = store.into_flash().erases;
    let log = &erases[2..];
    assert!(log.iter().max().unwrap() - log.iter().min().unwrap() <= 1, "{erases:?}");
    assert!(erases[0].abs_diff(erases[1]) <= 1, "{erases:?}");
}

#[test]
fn append_never_erases() {
    let mut store = Store::open(Nor::new(1));
    assert_eq!(store.append(Book::Events, b"x"), Err(StoreError::Full));
    while store.prepare(Book::Events).unwrap() {}
    let before = store.room(Book::Events);
    assert_eq!(before, 3 * Store::<Nor>::SLOTS);
    for _ in 0..before {
        store.append(Book::Events, b"x").unwrap();
    }
    assert_eq!((store.room(Book::Events), store.append(Book::Events, b"x")), (0, Err(StoreError::Full)));
    assert_eq!(store.into_flash().erases, [0, 0, 1, 1, 1, 0, 0]);
}

/// A larger flash, with both rings: 2 + 4 + 2 sectors.
fn two_books() -> Store<Nor> {
    let mut flash = Nor::new(1);
    flash.bytes.resize(SECTOR * 8, 0xFF);
    (flash.erases, flash.weak) = (vec![0; 8], vec![false; 8]);
    let mut store = Store::open(flash);
    for book in [Book::Events, Book::Landings] {
        while store.prepare(book).unwrap() {}
    }
    store
}

#[test]
fn landings_take_no_room_from_the_events() {
    let mut store = two_books();
    let room = store.room(Book::Events);
    let mut landings = 0;
    while store.append(Book::Landings, b"landing").is_ok() {
        landings += 1;
    }
    assert_eq!((landings, store.room(Book::Events)), (2 * Store::<Nor>::SLOTS, room));
    let sequence = store.append(Book::Events, b"stop").unwrap();
    assert_eq!(sequence, landings + 1, "the numbers run through both");
    let mut store = Store::open(store.into_flash());
    assert_eq!(store.next_sequence(), sequence + 1);
    let mut cursor = store.reader(Book::Events, 0);
    assert!(matches!(store.next(&mut cursor), Step::Record(r) if r.payload() == b"stop"));
}

#[test]
fn the_first_record_of_a_young_log_is_found_at_once() {
    let mut store = two_books();
    store.append(Book::Events, b"first").unwrap();
    let mut store = Store::open(store.into_flash());
    let mut cursor = store.reader(Book::Events, 0);
    assert!(matches!(store.next(&mut cursor), Step::Record(_)));
    assert_eq!(store.next(&mut cursor), Step::End);
}

#[test]
fn a_reader_from_late_skips_whole_sectors() {
    let mut store = two_books();
    let last = (0..20).map(|_| store.append(Book::Events, b"x").unwrap()).last().unwrap();
    let mut cursor = store.reader(Book::Events, last);
    let looks = (1..100).find(|_| matches!(store.next(&mut cursor), Step::Record(_))).unwrap();
    // Two sectors skipped, and the slots of the last one.
    assert!(looks <= 2 + Store::<Nor>::SLOTS, "{looks}");
    assert_eq!(store.next(&mut cursor), Step::End);
}

#[test]
fn too_long_is_refused_whole() {
    let mut store = Store::open(Nor::new(1));
    store.save_settings(&[7; 40]).unwrap();
    assert_eq!(store.save_settings(&[1; SETTINGS + 1]), Err(StoreError::TooLong));
    assert_eq!(settings_of(&mut store), Some(7));
    store.save_settings(&[9; SETTINGS]).unwrap();
    assert_eq!(store.settings(&mut [0; SETTINGS]), Some(SETTINGS));
    store.prepare(Book::Events).unwrap();
    assert_eq!(store.append(Book::Events, &[0; PAYLOAD + 1]), Err(StoreError::TooLong));
    assert!(store.append(Book::Events, &[0; PAYLOAD]).is_ok());
}

/// Writes `bytes` into the first free place of the events' only sector, whatever is written next.
fn into_a_records_place(store: Store<Nor>, bytes: &[u8]) -> Store<Nor> {
    let mut flash = store.into_flash();
    let first = 2 * SECTOR + RECORD;
    let free = (0..7).map(|slot| first + slot * RECORD).find(|at| flash.bytes[at + 4] == 0xFF).unwrap();
    flash.bytes[free..free + RECORD].copy_from_slice(bytes);
    Store::open(flash)
}

/// The events after a start, each as its number and payload.
fn events_of(store: Store<Nor>) -> (Vec<(u32, Vec<u8>)>, Store<Nor>) {
    let mut store = Store::open(store.into_flash());
    let mut cursor = store.reader(Book::Events, 0);
    let mut all = Vec::new();
    loop {
        match store.next(&mut cursor) {
            Step::Record(record) => all.push((record.sequence, record.payload().to_vec())),
            Step::Gap => {}
            Step::End => return (all, store),
        }
    }
}

fn one_sector_begun() -> Store<Nor> {
    let mut store = Store::open(Nor::new(1));
    store.prepare(Book::Events).unwrap();
    store.append(Book::Events, b"first").unwrap();
    store
}

#[test]
fn a_head_in_a_records_place_is_no_record() {
    let store = one_sector_begun();
    let flash = store.into_flash();
    let head = flash.bytes[2 * SECTOR..2 * SECTOR + RECORD].to_vec();
    let mut store = into_a_records_place(Store::open(flash), &head);
    assert_eq!(store.append(Book::Events, b"the last word"), Ok(2));
    let (all, _) = events_of(store);
    assert_eq!(all, [(1, b"first".to_vec()), (2, b"the last word".to_vec())]);
}

#[test]
fn a_record_in_a_heads_place_is_no_head() {
    for number in [1, HEADER_MAGIC] {
        assert_eq!(Record::decode_head(&Record::encode(number, &7_u32.to_le_bytes()).unwrap()), None);
    }
    assert_eq!(Record::decode_head(&Record::encode_head(7).unwrap()), Some(7));
}

#[test]
fn a_log_of_the_older_layout_is_read_and_carried_on() {
    let older = |turn: u32| Record::encode(OLDER_MAGIC, &turn.to_le_bytes()).unwrap();
    let mut store = Store::open(Nor::new(1));
    while store.prepare(Book::Events).unwrap() {}
    for n in 0..10_u8 {
        store.append(Book::Events, &[n]).unwrap();
    }
    let mut flash = store.into_flash();
    let mut heads = 0;
    for head in flash.bytes.chunks_mut(SECTOR).skip(2).map(|sector| &mut sector[..RECORD]) {
        if let Some(turn) = Record::decode_head((&*head).try_into().unwrap()) {
            head.copy_from_slice(&older(turn));
            heads += 1;
        }
    }
    assert_eq!(heads, 3);
    let (all, mut store) = events_of(Store::open(flash));
    let numbers: Vec<u8> = all.iter().map(|(_, payload)| payload[0]).collect();
    assert_eq!(numbers, [0, 1, 2, 3, 4, 5, 6, 7, 8, 9]);
    // Sectors with new heads follow those with older ones, and what is logged then is the newest.
    for n in 10..30 {
        while store.room(Book::Events) < 2 {
            store.prepare(Book::Events).unwrap();
        }
        assert_eq!(store.append(Book::Events, &[n]), Ok(u32::from(n) + 1));
    }
    let (all, _) = events_of(store);
    assert_eq!(all.last(), Some(&(30, std::vec![29])));
    assert!(all.windows(2).all(|pair| pair[0].0 + 1 == pair[1].0), "{all:?}");
    // Nor is an older head in a record's place a record.
    let mut store = into_a_records_place(one_sector_begun(), &older(1));
    assert_eq!(store.append(Book::Events, b"the last word"), Ok(2));
    assert_eq!(events_of(store).0.len(), 2);
}

#[test]
fn check_value_of_the_checksum() {
    // CRC catalogue: CRC-32/ISO-HDLC check value.
    assert_eq!(crc32(b"123456789"), 0xCBF4_3926);
}
