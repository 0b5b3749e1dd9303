//! A ring of sectors with records.

use super::{ATTEMPTS, Book, RECORD, Record, StoreError};
use embedded_storage::nor_flash::NorFlash;

/// Records a sector takes, besides its header.
pub(super) const fn slots<F: NorFlash>() -> u32 {
    (F::ERASE_SIZE / RECORD) as u32 - 1
}

/// A place: sector (counted from the ring's first) and slot (0 is the header).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Place {
    sector: u32,
    slot: u32,
}

/// Where a reader of the log stands.
#[derive(Clone, Copy, Debug)]
pub struct Cursor {
    book: Book,
    place: Place,
    /// Sectors that follow this one.
    left: u32,
    from: u32,
}

impl Cursor {
    /// The first record that is wanted.
    pub const fn from(&self) -> u32 {
        self.from
    }

    /// The ring that it reads.
    pub const fn book(&self) -> Book {
        self.book
    }
}

/// What a step of reading gave.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// A record.
    Record(Record),
    /// None here that is wanted: go on.
    Gap,
    /// The ring ends here.
    End,
}

/// What is known of a ring; the flash is lent to each call.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ring {
    first: u32,
    sectors: u32,
    /// Where the next record goes; `None` if no sector is ready.
    head: Option<Place>,
    /// The count in the header of the head's sector.
    turn: u32,
    /// Sectors in a row up to and with the head's whose headers count up.
    used: u32,
    /// Erased sectors with a good header that follow the head's.
    ready: u32,
}

impl Ring {
    pub(super) const fn none() -> Self {
        Self { first: 0, sectors: 0, head: None, turn: 0, used: 0, ready: 0 }
    }

    pub(super) const fn sectors(&self) -> u32 {
        self.sectors
    }

    pub(super) const fn ready(&self) -> u32 {
        self.ready
    }

    pub(super) const fn has_head(&self) -> bool {
        self.head.is_some()
    }

    pub(super) fn room<F: NorFlash>(&self) -> u32 {
        self.head.map_or(0, |head| (slots::<F>() + 1).saturating_sub(head.slot) + self.ready * slots::<F>())
    }

    pub(super) fn opens_sector<F: NorFlash>(&self) -> bool {
        self.head.is_some_and(|head| head.slot == 1 || (head.slot > slots::<F>() && self.ready > 0))
    }

    fn address<F: NorFlash>(&self, place: Place) -> u32 {
        (self.first + place.sector) * F::ERASE_SIZE as u32 + place.slot * RECORD as u32
    }

    // One copy of each in the program: they are called from everywhere.

    #[inline(never)]
    fn read_record<F: NorFlash>(&self, flash: &mut F, place: Place) -> Option<[u8; RECORD]> {
        let mut bytes = [0; RECORD];
        flash.read(self.address::<F>(place), &mut bytes).ok()?;
        Some(bytes)
    }

    #[inline(never)]
    fn record<F: NorFlash>(&self, flash: &mut F, place: Place) -> Option<Record> {
        Record::decode(&self.read_record(flash, place)?)
    }

    /// Something was written to the place, or it cannot be read.
    #[inline(never)]
    fn written<F: NorFlash>(&self, flash: &mut F, place: Place) -> bool {
        self.read_record(flash, place).is_none_or(|bytes| bytes.iter().any(|byte| *byte != 0xFF))
    }

    /// The sector's count, if its header is good.
    #[inline(never)]
    fn header<F: NorFlash>(&self, flash: &mut F, sector: u32) -> Option<u32> {
        Record::decode_head(&self.read_record(flash, Place { sector, slot: 0 })?)
    }

    /// Something was written to the sector: looks at as many slots as one record may have tried.
    fn begun<F: NorFlash>(&self, flash: &mut F, sector: u32) -> bool {
        (1..=u32::from(ATTEMPTS)).any(|slot| self.written(flash, Place { sector, slot }))
    }

    /// The last slot of a sector that something was written to; 0 for none.
    #[inline(never)]
    fn last_written<F: NorFlash>(&self, flash: &mut F, sector: u32) -> u32 {
        let mut slot = slots::<F>();
        while slot > 0 && !self.written(flash, Place { sector, slot }) {
            slot -= 1;
        }
        slot
    }

    fn at(&self, sector: u32, on: u32) -> u32 {
        (sector + on).checked_rem(self.sectors).unwrap_or(0)
    }

    fn back(&self, sector: u32, by: u32) -> u32 {
        (sector + self.sectors).saturating_sub(by).checked_rem(self.sectors).unwrap_or(0)
    }

    /// Finds the newest sector and those before and after it.
    #[inline(never)]
    pub(super) fn read<F: NorFlash>(flash: &mut F, first: u32, sectors: u32) -> Self {
        let mut ring = Self { first, sectors, ..Self::none() };
        let mut newest: Option<(u32, u32)> = None;
        let mut blank: Option<(u32, u32)> = None;
        for sector in 0..sectors {
            let Some(turn) = ring.header(flash, sector) else { continue };
            if ring.begun(flash, sector) {
                newest = newest.max(Some((turn, sector)));
            } else if blank.is_none_or(|(best, _)| turn < best) {
                blank = Some((turn, sector));
            }
        }
        let Some((mut turn, mut sector)) = newest.or(blank) else { return ring };
        let mut slot = ring.last_written(flash, sector) + 1;
        // Should the first places of the next sector have taken nothing, it does not look begun.
        let next = ring.at(sector, 1);
        if newest.is_some() && sectors > 1 && ring.header(flash, next) == Some(turn.wrapping_add(1)) {
            let written = ring.last_written(flash, next);
            if written > 0 {
                (turn, sector, slot) = (turn.wrapping_add(1), next, written + 1);
            }
        }
        ring.head = Some(Place { sector, slot });
        ring.turn = turn;
        ring.used = 1;
        while ring.used < sectors
            && ring.header(flash, ring.back(sector, ring.used)) == Some(turn.wrapping_sub(ring.used))
        {
            ring.used += 1;
        }
        while ring.used + ring.ready < sectors {
            let on = ring.ready + 1;
            let after = ring.at(sector, on);
            if ring.header(flash, after) != Some(turn.wrapping_add(on)) || ring.begun(flash, after) {
                break;
            }
            ring.ready = on;
        }
        ring
    }

    /// Sequence number of the newest record.
    #[inline(never)]
    pub(super) fn newest<F: NorFlash>(&self, flash: &mut F) -> Option<u32> {
        let mut newest = None;
        self.look_back(flash, &mut |record| {
            newest = newest.max(Some(record.sequence));
            true
        });
        newest
    }

    /// See [`super::Store::look_back`].
    pub(super) fn look_back<F: NorFlash>(&self, flash: &mut F, take: &mut impl FnMut(&Record) -> bool) {
        let Some(head) = self.head else { return };
        for by in 0..self.used.min(4) {
            let sector = self.back(head.sector, by);
            let mut done = false;
            for slot in 1..=slots::<F>() {
                let record = self.record(flash, Place { sector, slot });
                done |= record.is_some_and(|record| take(&record));
            }
            if done {
                return;
            }
        }
    }

    pub(super) fn append<F: NorFlash>(&mut self, flash: &mut F, bytes: &[u8; RECORD]) -> Result<(), StoreError> {
        for _ in 0..ATTEMPTS {
            let place = self.take_place(flash).ok_or(StoreError::Full)?;
            let written = flash.write(self.address::<F>(place), bytes).is_ok();
            if written && self.read_record(flash, place) == Some(*bytes) {
                return Ok(());
            }
        }
        Err(StoreError::Flash)
    }

    /// The head's place, and moves the head on.
    fn take_place<F: NorFlash>(&mut self, flash: &mut F) -> Option<Place> {
        let head = self.head?;
        let place = if head.slot <= slots::<F>() {
            head
        } else if self.ready > 0 {
            self.ready -= 1;
            self.used += 1;
            self.turn = self.turn.wrapping_add(1);
            let sector = self.at(head.sector, 1);
            // A cut may have left torn records at its start.
            Place { sector, slot: self.last_written(flash, sector) + 1 }
        } else {
            return None;
        };
        self.head = Some(Place { sector: place.sector, slot: place.slot + 1 });
        (place.slot <= slots::<F>()).then_some(place)
    }

    /// Erases the sector that follows the last one ready.
    #[inline(never)]
    pub(super) fn prepare<F: NorFlash>(&mut self, flash: &mut F) -> Result<(), StoreError> {
        let (sector, turn) = match self.head {
            None => (0, 1),
            Some(head) => (self.at(head.sector, 1 + self.ready), self.turn.wrapping_add(self.ready + 1)),
        };
        if self.sectors == 0 || (self.head.is_some() && self.ready + 1 >= self.sectors) {
            return Err(StoreError::Full);
        }
        // What is not free is the oldest.
        if self.head.is_some() && self.used + self.ready >= self.sectors {
            self.used = self.used.saturating_sub(1);
        }
        let start = self.address::<F>(Place { sector, slot: 0 });
        let header = Record::encode_head(turn).ok_or(StoreError::TooLong)?;
        let failed = |_| StoreError::Flash;
        flash.write(start, &[0; RECORD]).map_err(failed)?;
        flash.erase(start, start + F::ERASE_SIZE as u32).map_err(failed)?;
        if self.last_written(flash, sector) != 0 {
            return Err(StoreError::Flash);
        }
        flash.write(start, &header).map_err(failed)?;
        if self.header(flash, sector) != Some(turn) {
            return Err(StoreError::Flash);
        }
        match self.head {
            None => (self.head, self.turn, self.used) = (Some(Place { sector, slot: 1 }), turn, 1),
            Some(_) => self.ready += 1,
        }
        Ok(())
    }

    pub(super) fn reader(&self, book: Book, from: u32) -> Cursor {
        let left = self.used.saturating_sub(1);
        let sector = self.head.map_or(0, |head| self.back(head.sector, left));
        Cursor { book, place: Place { sector, slot: 1 }, left, from }
    }

    pub(super) fn next<F: NorFlash>(&self, flash: &mut F, cursor: &mut Cursor) -> Step {
        let place = cursor.place;
        match self.head {
            None => return Step::End,
            Some(head) if head.sector == place.sector && place.slot >= head.slot => return Step::End,
            _ => {}
        }
        let after = Place { sector: self.at(place.sector, 1), slot: 1 };
        if place.slot > slots::<F>() || (place.slot == 1 && self.begins_before(flash, after, cursor)) {
            if cursor.left == 0 {
                return Step::End;
            }
            (cursor.left, cursor.place) = (cursor.left - 1, after);
            return Step::Gap;
        }
        cursor.place.slot += 1;
        let record = self.record(flash, place);
        record.filter(|record| record.sequence >= cursor.from).map_or(Step::Gap, Step::Record)
    }

    /// The sector at `after` begins with a record that is not yet wanted, so nothing before it is.
    fn begins_before<F: NorFlash>(&self, flash: &mut F, after: Place, cursor: &Cursor) -> bool {
        cursor.left > 0 && self.record(flash, after).is_some_and(|record| record.sequence <= cursor.from)
    }
}
