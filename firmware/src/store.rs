//! Settings and a log in NOR flash that survive a power cut at any byte.
//!
//! The first two sectors hold the settings in turn: a change erases and writes the older slot only, and
//! counts once its checksum is there. All other sectors are a ring of 64-byte records, each with a
//! sequence number and a checksum, so that wear is spread and a torn record is not believed.
//!
//! Erasing can take 0.4 s, during which nothing else may run from the same flash. So
//! [`Store::append`] never erases: it fails when no erased room is left, and [`Store::prepare`] makes
//! room, one sector a call, when nobody rides.
//!
//! A sector that was being erased when the power went can look erased and not be. Therefore a sector's
//! first record is a header that is overwritten before an erase and written after it; without a good
//! header a sector is erased again before use.

use crc::{CRC_32_ISO_HDLC, Crc, NoTable};
use embedded_storage::nor_flash::NorFlash;

/// Size of a record in flash, bytes.
const RECORD: usize = 64;
/// Bytes of a record that its writer may use.
pub const PAYLOAD: usize = RECORD - 9;
/// Most bytes of settings. With the site beside them they take two pages; a program without the advisory does not read
/// such a slot, and so has no settings.
pub const SETTINGS: usize = if cfg!(feature = "advisory") { 512 } else { 256 } - SETTINGS_FRAME;
const SETTINGS_FRAME: usize = 16;
/// A write does not cross the boundary of so many bytes.
const PAGE: usize = 256;
const SETTINGS_MAGIC: u32 = 0x5345_5431;
const HEADER_MAGIC: u32 = 0x4C4F_4731;
/// Sectors before the log.
const LOG_FIRST: u32 = 2;
/// Write attempts, each at a fresh place, before the flash counts as worn out.
const ATTEMPTS: u8 = 3;

const CHECK: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISO_HDLC);

/// CRC-32 (ISO-HDLC, as in Ethernet and zip) of `bytes`.
pub fn crc32(bytes: &[u8]) -> u32 {
    CHECK.checksum(bytes)
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
        let mut bytes = [0; RECORD];
        let (head, rest) = bytes.split_first_chunk_mut::<4>()?;
        let (length, rest) = rest.split_first_mut()?;
        *head = sequence.to_le_bytes();
        *length = u8::try_from(payload.len()).ok()?;
        rest.get_mut(..PAYLOAD)?.get_mut(..payload.len())?.copy_from_slice(payload);
        let (body, crc) = bytes.split_last_chunk_mut::<4>()?;
        *crc = crc32(body).to_le_bytes();
        Some(bytes)
    }

    fn decode(bytes: &[u8; RECORD]) -> Option<Self> {
        let (body, crc) = bytes.split_last_chunk::<4>()?;
        let (sequence, rest) = body.split_first_chunk::<4>()?;
        let (length, rest) = rest.split_first()?;
        let payload = *rest.first_chunk::<PAYLOAD>()?;
        let good = crc32(body) == u32::from_le_bytes(*crc) && usize::from(*length) <= PAYLOAD;
        good.then_some(Self { sequence: u32::from_le_bytes(*sequence), payload, length: *length })
    }
}

/// A place in the log: sector (counted from the log's first) and slot (0 is the header).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Place {
    sector: u32,
    slot: u32,
}

/// Where a reader of the log stands.
#[derive(Clone, Copy, Debug)]
pub struct Cursor {
    place: Place,
    slots_left: u32,
}

/// What a step of reading gave.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// A record.
    Record(Record),
    /// None here: go on.
    Gap,
    /// The log ends here.
    End,
}

/// Settings and log on `F`.
pub struct Store<F> {
    flash: F,
    settings: Option<(u32, u32)>,
    /// Where the next record goes; `None` if no sector is ready.
    head: Option<Place>,
    /// Erased sectors with a good header that follow the head's.
    ready: u32,
    next_sequence: u32,
}

#[derive(Clone, Copy)]
struct Sector {
    usable: bool,
    last_record: Option<(u32, u32)>,
    last_written: u32,
}

impl<F: NorFlash> Store<F> {
    /// Records a sector takes, besides its header.
    pub const SLOTS: u32 = (F::ERASE_SIZE / RECORD) as u32 - 1;

    /// Opens what is on the flash, whatever state a power cut left it in. Writes nothing.
    pub fn open(flash: F) -> Self {
        let mut store = Self::unread(flash);
        store.read_all();
        store
    }

    /// A store that does not know yet what is on the flash: [`Store::read_all`] comes next.
    pub const fn unread(flash: F) -> Self {
        Self { flash, settings: None, head: None, ready: 0, next_sequence: 1 }
    }

    /// Reads what is on the flash; the second half of [`Store::open`].
    pub fn read_all(&mut self) {
        self.settings = (0..LOG_FIRST)
            .filter_map(|slot| self.read_settings(slot, &mut [0; SETTINGS]).map(|(sequence, _)| (sequence, slot)))
            .max();
        let mut newest: Option<(u32, Place)> = None;
        let mut first_usable = None;
        for sector in 0..self.log_sectors() {
            let state = self.inspect(sector);
            let next = Place { sector, slot: state.last_written + 1 };
            match state.last_record {
                Some((sequence, _)) if newest.is_none_or(|(best, _)| sequence > best) => {
                    newest = Some((sequence, next))
                }
                None if state.usable && first_usable.is_none() => first_usable = Some(next),
                _ => {}
            }
        }
        self.next_sequence = newest.map_or(1, |(sequence, _)| sequence.saturating_add(1));
        self.head = newest.map(|(_, next)| next).or(first_usable);
        self.ready = 0;
        let Some(head) = self.head else { return };
        while self.ready + 1 < self.log_sectors() {
            let state = self.inspect((head.sector + self.ready + 1) % self.log_sectors());
            if !state.usable || state.last_record.is_some() || state.last_written >= Self::SLOTS {
                break;
            }
            self.ready += 1;
        }
    }

    /// Sectors of the log.
    pub fn sectors(&self) -> u32 {
        self.log_sectors()
    }

    /// Sequence number that the next record will get.
    pub const fn next_sequence(&self) -> u32 {
        self.next_sequence
    }

    fn log_sectors(&self) -> u32 {
        let sectors = self.flash.capacity().checked_div(F::ERASE_SIZE).unwrap_or(0);
        u32::try_from(sectors).unwrap_or(0).saturating_sub(LOG_FIRST).max(1)
    }

    fn address(place: Place) -> u32 {
        (LOG_FIRST + place.sector) * F::ERASE_SIZE as u32 + place.slot * RECORD as u32
    }

    fn read_record(&mut self, place: Place) -> Option<[u8; RECORD]> {
        let mut bytes = [0; RECORD];
        self.flash.read(Self::address(place), &mut bytes).ok()?;
        Some(bytes)
    }

    fn header_good(bytes: &[u8; RECORD]) -> bool {
        Record::decode(bytes).is_some_and(|r| r.sequence == HEADER_MAGIC && r.payload() == b"erased")
    }

    /// One look through a sector.
    fn inspect(&mut self, sector: u32) -> Sector {
        let usable = self.read_record(Place { sector, slot: 0 }).is_some_and(|bytes| Self::header_good(&bytes));
        let mut state = Sector { usable, last_record: None, last_written: 0 };
        for slot in 1..=Self::SLOTS {
            let Some(bytes) = self.read_record(Place { sector, slot }) else {
                state.usable = false;
                continue;
            };
            if bytes.iter().all(|byte| *byte == 0xFF) {
                continue;
            }
            state.last_written = slot;
            if let Some(record) = Record::decode(&bytes)
                && state.last_record.is_none_or(|(best, _)| record.sequence >= best)
            {
                state.last_record = Some((record.sequence, slot));
            }
        }
        state
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
        let mut digest = CHECK.digest();
        digest.update(&head);
        digest.update(body);
        (digest.finalize() == u32::from_le_bytes(crc)).then_some((u32::from_le_bytes(*sequence), length))
    }

    /// Stores `bytes` as the settings: all of them or, if the power goes, what was there before.
    ///
    /// Erases one sector, so nobody may ride meanwhile.
    ///
    /// # Errors
    /// [`StoreError::TooLong`], or [`StoreError::Flash`] if it does not read back; the former settings
    /// still hold then.
    pub fn save_settings(&mut self, bytes: &[u8]) -> Result<(), StoreError> {
        let (sequence, slot) = match self.settings {
            Some((sequence, slot)) => (sequence.saturating_add(1), 1 - slot.min(1)),
            None => (1, 0),
        };
        let mut page = [0xFF; SETTINGS + SETTINGS_FRAME];
        let length = u32::try_from(bytes.len()).map_err(|_| StoreError::TooLong)?;
        let end = bytes.len().checked_add(12).ok_or(StoreError::TooLong)?;
        let head = page.get_mut(..end).filter(|_| bytes.len() <= SETTINGS).ok_or(StoreError::TooLong)?;
        let parts = [&SETTINGS_MAGIC.to_le_bytes()[..], &sequence.to_le_bytes(), &length.to_le_bytes(), bytes];
        for (to, from) in head.iter_mut().zip(parts.into_iter().flatten()) {
            *to = *from;
        }
        let crc = crc32(head).to_le_bytes();
        for (to, from) in page.iter_mut().skip(end).zip(crc) {
            *to = from;
        }
        let start = slot * F::ERASE_SIZE as u32;
        self.flash.erase(start, start + F::ERASE_SIZE as u32).map_err(|_| StoreError::Flash)?;
        for (at, part) in (start..).step_by(PAGE).zip(page.chunks(PAGE)) {
            self.flash.write(at, part).map_err(|_| StoreError::Flash)?;
        }
        let mut back = [0; SETTINGS];
        let (stored, back_length) = self.read_settings(slot, &mut back).ok_or(StoreError::Flash)?;
        if stored != sequence || back.get(..back_length) != Some(bytes) {
            return Err(StoreError::Flash);
        }
        self.settings = Some((sequence, slot));
        Ok(())
    }

    /// Records that [`Store::append`] can still take without [`Store::prepare`].
    pub fn room(&self) -> u32 {
        self.head.map_or(0, |head| (Self::SLOTS + 1).saturating_sub(head.slot) + self.ready * Self::SLOTS)
    }

    /// Appends a record and gives its sequence number. Never erases: at most `ATTEMPTS` writes.
    ///
    /// # Errors
    /// [`StoreError::TooLong`], [`StoreError::Full`], or [`StoreError::Flash`] if it cannot be read back.
    pub fn append(&mut self, payload: &[u8]) -> Result<u32, StoreError> {
        let sequence = self.next_sequence;
        let bytes = Record::encode(sequence, payload).ok_or(StoreError::TooLong)?;
        for _ in 0..ATTEMPTS {
            let place = self.take_place().ok_or(StoreError::Full)?;
            let written = self.flash.write(Self::address(place), &bytes).is_ok();
            if written && self.read_record(place) == Some(bytes) {
                self.next_sequence = sequence.saturating_add(1);
                return Ok(sequence);
            }
        }
        Err(StoreError::Flash)
    }

    /// The head's place, and moves the head on.
    fn take_place(&mut self) -> Option<Place> {
        let head = self.head?;
        let place = if head.slot <= Self::SLOTS {
            head
        } else if self.ready > 0 {
            self.ready -= 1;
            let sector = (head.sector + 1) % self.log_sectors();
            // A cut may have left torn records at its start.
            Place { sector, slot: self.inspect(sector).last_written + 1 }
        } else {
            return None;
        };
        self.head = Some(Place { sector: place.sector, slot: place.slot + 1 });
        (place.slot <= Self::SLOTS).then_some(place)
    }

    /// Erases at most one sector so that half of the log is room and half is history. True if it
    /// erased one: call again.
    ///
    /// # Errors
    /// [`StoreError::Flash`].
    pub fn prepare(&mut self) -> Result<bool, StoreError> {
        let sectors = self.log_sectors();
        let sector = match self.head {
            None => 0,
            Some(_) if self.ready >= (sectors - 1).div_ceil(2) => return Ok(false),
            Some(head) => (head.sector + 1 + self.ready) % sectors,
        };
        let start = Self::address(Place { sector, slot: 0 });
        let header = Record::encode(HEADER_MAGIC, b"erased").ok_or(StoreError::TooLong)?;
        let flash = |_| StoreError::Flash;
        self.flash.write(start, &[0; RECORD]).map_err(flash)?;
        self.flash.erase(start, start + F::ERASE_SIZE as u32).map_err(flash)?;
        if self.inspect(sector).last_written != 0 {
            return Err(StoreError::Flash);
        }
        self.flash.write(start, &header).map_err(flash)?;
        match self.head {
            None => self.head = Some(Place { sector, slot: 1 }),
            Some(_) => self.ready += 1,
        }
        Ok(true)
    }

    /// A reader at the oldest record.
    pub fn oldest(&self) -> Cursor {
        let sectors = self.log_sectors();
        match self.head {
            None => Cursor { place: Place { sector: 0, slot: 1 }, slots_left: 0 },
            Some(head) => Cursor {
                place: Place { sector: (head.sector + 1 + self.ready) % sectors, slot: 1 },
                slots_left: (sectors - 1 - self.ready.min(sectors - 1)) * Self::SLOTS + head.slot.saturating_sub(1),
            },
        }
    }

    /// Reads the slot at `cursor` and moves it on.
    pub fn next(&mut self, cursor: &mut Cursor) -> Step {
        if cursor.slots_left == 0 {
            return Step::End;
        }
        cursor.slots_left -= 1;
        let place = cursor.place;
        cursor.place = if place.slot < Self::SLOTS {
            Place { slot: place.slot + 1, ..place }
        } else {
            Place { sector: (place.sector + 1) % self.log_sectors(), slot: 1 }
        };
        self.read_record(place).and_then(|bytes| Record::decode(&bytes)).map_or(Step::Gap, Step::Record)
    }

    /// The flash, for one who is done with the store.
    pub fn into_flash(self) -> F {
        self.flash
    }
}

#[cfg(test)]
mod tests;
