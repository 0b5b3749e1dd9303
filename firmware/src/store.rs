//! Settings and a log in NOR flash that survive a power cut at any byte.
//!
//! The first two sectors hold the settings in turn, with the sensor's calibration at the sector's end: a change erases and
//! writes the older slot only, and counts once its checksum is there. All other sectors are two rings ([`Book`]) of 64-byte records, each with a
//! sequence number and a checksum, so that wear is spread and a torn record is not believed. The numbers run through
//! both rings.
//!
//! Erasing can take 0.4 s, during which nothing else may run from the same flash. So
//! [`Store::append`] never erases: it fails when no erased room is left, and [`Store::prepare`] makes
//! room, one sector a call, when nobody rides.
//!
//! A sector that was being erased when the power went can look erased and not be. Therefore a sector's
//! first record is a header that is overwritten before an erase and written after it; without a good
//! header a sector is erased again before use. The header counts up from sector to sector, so that the oldest and the
//! newest are found by the headers alone. Its checksum is another one than a record's: neither is read as the other. Sectors
//! of the older layout, in which it was the same, are read on until their turn to be erased comes.

mod beside;
mod ring;

use beside::Beside;
use crc::{CRC_32_ISO_HDLC, Crc, Digest, Table};
use embedded_storage::nor_flash::NorFlash;
use ring::Ring;
pub use ring::{Cursor, Step};

/// Size of a record in flash, bytes.
const RECORD: usize = 64;
/// Bytes of a record that its writer may use.
pub const PAYLOAD: usize = RECORD - 9;
/// Most bytes of settings. With the site, its bags and the blower's curve beside them they take up to three pages; a
/// program without the advisory does not read such a slot, and so has no settings.
pub const SETTINGS: usize = if cfg!(feature = "advisory") { 768 } else { 256 } - SETTINGS_FRAME;
const SETTINGS_FRAME: usize = SETTINGS_HEAD + 4;
/// Bytes before the settings: magic, sequence number, length.
const SETTINGS_HEAD: usize = 12;
/// Bytes of settings that are read back at a time.
const READ_BACK: usize = 32;
/// A write does not cross the boundary of so many bytes.
const PAGE: usize = 256;
const SETTINGS_MAGIC: u32 = 0x5345_5431;
/// Number that a sector's head has in the place of a record's.
const HEADER_MAGIC: u32 = 0x4C4F_4733;
/// The same of the older layout, whose heads have the sum of a record: such sectors are read and not written.
const OLDER_MAGIC: u32 = 0x4C4F_4732;
/// What a head's checksum differs in from a record's, so that one is never read as the other.
const HEADER_SUM: u32 = 0x4845_4144;
/// Sectors before the log.
const LOG_FIRST: u32 = 2;
/// Most sectors of the events that are erased ahead: 1,008 records on a box with 4 KiB sectors.
const EVENTS_AHEAD: u32 = 16;
/// Write attempts, each at a fresh place, before the flash counts as worn out.
const ATTEMPTS: u8 = 3;

const CHECK: Crc<u32, Table<1>> = Crc::<u32, Table<1>>::new(&CRC_32_ISO_HDLC);

/// CRC-32 (ISO-HDLC, as in Ethernet and zip) of `bytes`.
#[inline(never)]
pub fn crc32(bytes: &[u8]) -> u32 {
    CHECK.checksum(bytes)
}

/// The same of bytes that come one after the other.
pub(crate) struct RunningCrc(Digest<'static, u32, Table<1>>);

impl RunningCrc {
    pub(crate) const fn new() -> Self {
        Self(CHECK.digest())
    }

    pub(crate) fn take(&mut self, bytes: &[u8]) {
        self.0.update(bytes);
    }

    pub(crate) const fn value(self) -> u32 {
        self.0.finalize()
    }

    /// The sum so far, with more to come.
    pub(crate) fn so_far(&self) -> u32 {
        self.0.clone().finalize()
    }
}

/// Why nothing was stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum StoreError {
    /// The flash reported an error or read back something else than was written.
    Flash,
    /// More bytes than there is room for in a record.
    TooLong,
    /// No erased room: [`Store::prepare`] first.
    Full,
}

/// A record as read from the log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Record {
    /// Its place in the sequence of everything ever logged.
    pub sequence: u32,
    payload: [u8; PAYLOAD],
    length: u8,
}

impl Record {
    /// The bytes that were appended.
    pub fn payload(&self) -> &[u8] {
        self.payload.get(..usize::from(self.length)).unwrap_or(&[])
    }

    fn encode(sequence: u32, payload: &[u8]) -> Option<[u8; RECORD]> {
        Self::framed(sequence, payload, 0)
    }

    #[inline(never)]
    fn framed(sequence: u32, payload: &[u8], sum: u32) -> Option<[u8; RECORD]> {
        let mut bytes = [0; RECORD];
        let (head, rest) = bytes.split_first_chunk_mut::<4>()?;
        let (length, rest) = rest.split_first_mut()?;
        *head = sequence.to_le_bytes();
        *length = u8::try_from(payload.len()).ok()?;
        rest.get_mut(..PAYLOAD)?.get_mut(..payload.len())?.copy_from_slice(payload);
        let (body, crc) = bytes.split_last_chunk_mut::<4>()?;
        *crc = (crc32(body) ^ sum).to_le_bytes();
        Some(bytes)
    }

    /// A record; a head is none, of whichever layout it is.
    fn decode(bytes: &[u8; RECORD]) -> Option<Self> {
        Self::unframed(bytes, 0).filter(|record| record.sequence != OLDER_MAGIC)
    }

    /// A sector's head with its count.
    fn encode_head(turn: u32) -> Option<[u8; RECORD]> {
        Self::framed(HEADER_MAGIC, &turn.to_le_bytes(), HEADER_SUM)
    }

    /// The count of a sector's head.
    fn decode_head(bytes: &[u8; RECORD]) -> Option<u32> {
        let head = Self::unframed(bytes, HEADER_SUM)
            .filter(|head| head.sequence == HEADER_MAGIC)
            .or_else(|| Self::unframed(bytes, 0).filter(|head| head.sequence == OLDER_MAGIC))?;
        head.payload().first_chunk().map(|turn| u32::from_le_bytes(*turn))
    }

    #[inline(never)]
    fn unframed(bytes: &[u8; RECORD], sum: u32) -> Option<Self> {
        let (body, crc) = bytes.split_last_chunk::<4>()?;
        let (sequence, rest) = body.split_first_chunk::<4>()?;
        let (length, rest) = rest.split_first()?;
        let payload = *rest.first_chunk::<PAYLOAD>()?;
        let good = crc32(body) ^ sum == u32::from_le_bytes(*crc) && usize::from(*length) <= PAYLOAD;
        good.then_some(Self { sequence: u32::from_le_bytes(*sequence), payload, length: *length })
    }
}

/// The two rings of the log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Book {
    /// What must not be lost for landings: starts, stops, faults, acknowledgements, settings, and hourly figures.
    Events,
    /// Landings one by one, as long as there is room.
    Landings,
}

/// Settings and log on `F`.
pub struct Store<F> {
    flash: F,
    settings: Option<(u32, u32)>,
    events: Ring,
    landings: Ring,
    next_sequence: u32,
}

impl<F: NorFlash> Store<F> {
    /// Records a sector takes, besides its header.
    pub const SLOTS: u32 = ring::slots::<F>();

    /// Opens what is on the flash, whatever state a power cut left it in. Writes nothing.
    pub fn open(flash: F) -> Self {
        let mut store = Self::unread(flash);
        store.read_all();
        store
    }

    /// A store that does not know yet what is on the flash: [`Store::read_all`] comes next.
    pub const fn unread(flash: F) -> Self {
        Self { flash, settings: None, events: Ring::none(), landings: Ring::none(), next_sequence: 1 }
    }

    /// Reads what is on the flash; the second half of [`Store::open`]. Of the log it looks at the headers of all sectors
    /// and at three of them in full, so that the time is bounded whatever is on it.
    pub fn read_all(&mut self) {
        self.settings = (0..LOG_FIRST)
            .filter_map(|slot| self.read_settings(slot, &mut [0; SETTINGS]).map(|(sequence, _)| (sequence, slot)))
            .max();
        let all = self.flash.capacity().checked_div(F::ERASE_SIZE).and_then(|n| u32::try_from(n).ok()).unwrap_or(0);
        let log = all.saturating_sub(LOG_FIRST);
        // A third for the landings, if that is a ring at all.
        let landings = if log / 3 >= 2 { log / 3 } else { 0 };
        let events = log - landings;
        self.events = Ring::read(&mut self.flash, LOG_FIRST, events);
        self.landings = Ring::read(&mut self.flash, LOG_FIRST + events, landings);
        let newest = self.events.newest(&mut self.flash).max(self.landings.newest(&mut self.flash));
        self.next_sequence = newest.map_or(1, |sequence| sequence.saturating_add(1));
    }

    fn ring(&self, book: Book) -> &Ring {
        match book {
            Book::Events => &self.events,
            Book::Landings => &self.landings,
        }
    }

    /// Sequence number that the next record will get, in either ring.
    pub const fn next_sequence(&self) -> u32 {
        self.next_sequence
    }

    /// Reads the settings into `into` and gives their length, if there are any.
    pub fn settings(&mut self, into: &mut [u8; SETTINGS]) -> Option<usize> {
        let (_, slot) = self.settings?;
        self.read_settings(slot, into).map(|(_, length)| length)
    }

    fn read_settings(&mut self, slot: u32, into: &mut [u8; SETTINGS]) -> Option<(u32, usize)> {
        let mut head = [0; 12];
        let start = slot * F::ERASE_SIZE as u32;
        self.flash.read(start, &mut head).ok()?;
        let (magic, rest) = head.split_first_chunk::<4>()?;
        let (sequence, length) = rest.split_first_chunk::<4>()?;
        let length = u32::from_le_bytes(*length.first_chunk::<4>()?) as usize;
        if u32::from_le_bytes(*magic) != SETTINGS_MAGIC || length > SETTINGS {
            return None;
        }
        let body = into.get_mut(..length)?;
        self.flash.read(start + 12, body).ok()?;
        let mut crc = [0; 4];
        self.flash.read(start + 12 + length as u32, &mut crc).ok()?;
        let mut check = RunningCrc::new();
        check.take(&head);
        check.take(body);
        (check.value() == u32::from_le_bytes(crc)).then_some((u32::from_le_bytes(*sequence), length))
    }

    /// Stores `bytes` as the settings: all of them or, if the power goes, what was there before.
    ///
    /// Erases one sector, so nobody may ride meanwhile.
    ///
    /// # Errors
    /// [`StoreError::TooLong`], or [`StoreError::Flash`] if it does not read back; the former settings
    /// still hold then.
    pub fn save_settings(&mut self, bytes: &[u8]) -> Result<(), StoreError> {
        self.save_settings_with(|room| {
            room.get_mut(..bytes.len())?.copy_from_slice(bytes);
            Some(bytes.len())
        })
    }

    /// The same for settings that `put` writes into the room it is given, [`SETTINGS`] bytes of `0xFF`, and tells the length
    /// of; none if they do not fit. They are written once, on their way to the flash.
    ///
    /// # Errors
    /// As [`Store::save_settings`].
    pub fn save_settings_with(&mut self, put: impl FnOnce(&mut [u8]) -> Option<usize>) -> Result<(), StoreError> {
        let mut page = [0xFF; SETTINGS + SETTINGS_FRAME];
        let room =
            page.get_mut(SETTINGS_HEAD..).and_then(|room| room.get_mut(..SETTINGS)).ok_or(StoreError::TooLong)?;
        let length = put(room).ok_or(StoreError::TooLong)?;
        self.save(&mut page, length, &Beside::Carried)
    }

    /// Writes a page whose settings stand in their place, and what goes beside them.
    #[inline(never)]
    fn save(
        &mut self,
        page: &mut [u8; SETTINGS + SETTINGS_FRAME],
        length: usize,
        beside: &Beside,
    ) -> Result<(), StoreError> {
        let (sequence, slot) = match self.settings {
            Some((sequence, slot)) => (sequence.saturating_add(1), 1 - slot.min(1)),
            None => (1, 0),
        };
        let told = u32::try_from(length).map_err(|_| StoreError::TooLong)?;
        let parts = [SETTINGS_MAGIC, sequence, told].map(u32::to_le_bytes);
        for (to, from) in page.iter_mut().zip(parts.as_flattened()) {
            *to = *from;
        }
        let end = length.checked_add(SETTINGS_HEAD).ok_or(StoreError::TooLong)?;
        let crc = crc32(page.get(..end).ok_or(StoreError::TooLong)?).to_le_bytes();
        for (to, from) in page.iter_mut().skip(end).zip(crc) {
            *to = from;
        }
        let start = slot * F::ERASE_SIZE as u32;
        self.flash.erase(start, start + F::ERASE_SIZE as u32).map_err(|_| StoreError::Flash)?;
        // First: with the settings' checksum the slot counts.
        self.put_beside(start, beside)?;
        self.put(start, page, end.saturating_add(4))?;
        self.settings = Some((sequence, slot));
        Ok(())
    }

    /// Writes into a slot that was erased, and reads the first `used` bytes back.
    #[inline(never)]
    fn put(&mut self, start: u32, bytes: &[u8], used: usize) -> Result<(), StoreError> {
        for (at, part) in (start..).step_by(PAGE).zip(bytes.chunks(PAGE)) {
            self.flash.write(at, part).map_err(|_| StoreError::Flash)?;
        }
        let used = bytes.get(..used).ok_or(StoreError::TooLong)?;
        for (at, part) in (start..).step_by(READ_BACK).zip(used.chunks(READ_BACK)) {
            let mut back = [0; READ_BACK];
            let back = back.get_mut(..part.len()).ok_or(StoreError::Flash)?;
            self.flash.read(at, back).map_err(|_| StoreError::Flash)?;
            if back != part {
                return Err(StoreError::Flash);
            }
        }
        Ok(())
    }

    /// Records that [`Store::append`] can still take without [`Store::prepare`].
    pub fn room(&self, book: Book) -> u32 {
        self.ring(book).room::<F>()
    }

    /// Room that [`Store::prepare`] makes in the ring of events, in records.
    pub fn room_made(&self) -> u32 {
        self.wanted(Book::Events) * Self::SLOTS
    }

    /// The next record opens a sector: what must be known goes there first, so that it is found without a search.
    pub fn opens_sector(&self, book: Book) -> bool {
        self.ring(book).opens_sector::<F>()
    }

    /// Appends a record and gives its sequence number. Never erases: at most `ATTEMPTS` writes.
    ///
    /// # Errors
    /// [`StoreError::TooLong`], [`StoreError::Full`], or [`StoreError::Flash`] if it cannot be read back.
    pub fn append(&mut self, book: Book, payload: &[u8]) -> Result<u32, StoreError> {
        let sequence = self.next_sequence;
        let bytes = Record::encode(sequence, payload).ok_or(StoreError::TooLong)?;
        let ring = match book {
            Book::Events => &mut self.events,
            Book::Landings => &mut self.landings,
        };
        ring.append(&mut self.flash, &bytes)?;
        self.next_sequence = sequence.saturating_add(1);
        Ok(sequence)
    }

    /// Erased sectors that are kept ahead: of the events enough for a session of a thousand records, of the landings
    /// half of all.
    fn wanted(&self, book: Book) -> u32 {
        let half = self.ring(book).sectors().saturating_sub(1).div_ceil(2);
        match book {
            Book::Events => half.min(EVENTS_AHEAD),
            Book::Landings => half,
        }
    }

    /// [`Store::prepare`] has something to do.
    pub fn wants_room(&self, book: Book) -> bool {
        self.ring(book).ready() < self.wanted(book) || (self.ring(book).sectors() > 0 && !self.ring(book).has_head())
    }

    /// Erases at most one sector, the oldest if none is free. True if it erased one: call again.
    ///
    /// # Errors
    /// [`StoreError::Flash`].
    pub fn prepare(&mut self, book: Book) -> Result<bool, StoreError> {
        if !self.wants_room(book) {
            return Ok(false);
        }
        let ring = match book {
            Book::Events => &mut self.events,
            Book::Landings => &mut self.landings,
        };
        ring.prepare(&mut self.flash)?;
        Ok(true)
    }

    /// A reader of the records from `from` on, at the oldest. Slots that hold nothing are not looked at.
    pub fn reader(&self, book: Book, from: u32) -> Cursor {
        self.ring(book).reader(book, from)
    }

    /// Reads the slot at `cursor` and moves it on.
    pub fn next(&mut self, cursor: &mut Cursor) -> Step {
        match cursor.book() {
            Book::Events => self.events.next(&mut self.flash, cursor),
            Book::Landings => self.landings.next(&mut self.flash, cursor),
        }
    }

    /// The newest records of the events, sector by sector backwards, each sector in order, until `take` says that it has
    /// what it wants after a sector; at most four sectors.
    pub fn look_back(&mut self, mut take: impl FnMut(&Record) -> bool) {
        self.events.look_back(&mut self.flash, &mut take);
    }

    /// The flash, for one who is done with the store.
    pub fn into_flash(self) -> F {
        self.flash
    }
}

#[cfg(test)]
mod tests;
