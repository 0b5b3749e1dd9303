//! What lies beside the settings: one record at the end of their sector. It takes turns with them, so that a power cut
//! leaves both as they were or both new.

use super::{RECORD, Record, SETTINGS, SETTINGS_FRAME, SETTINGS_HEAD, Store, StoreError};
use embedded_storage::nor_flash::NorFlash;

/// Number in the place of a record's.
const BESIDE_MAGIC: u32 = 0x4245_5344;

/// What goes beside settings that are written.
pub(super) enum Beside {
    /// What lies beside the former ones.
    Carried,
    /// This record.
    New([u8; RECORD]),
}

impl<F: NorFlash> Store<F> {
    const BESIDE_AT: u32 = (F::ERASE_SIZE - RECORD) as u32;

    /// None: there are no settings, so that nothing lies beside them.
    fn beside_bytes(&mut self) -> Result<Option<[u8; RECORD]>, StoreError> {
        let Some((_, slot)) = self.settings else { return Ok(None) };
        let mut bytes = [0; RECORD];
        self.flash.read(slot * F::ERASE_SIZE as u32 + Self::BESIDE_AT, &mut bytes).map_err(|_| StoreError::Flash)?;
        Ok(Some(bytes))
    }

    /// The record beside the settings, if there is one.
    pub fn beside(&mut self) -> Option<Record> {
        let bytes = self.beside_bytes().ok()??;
        Record::unframed(&bytes, 0).filter(|record| record.sequence == BESIDE_MAGIC)
    }

    /// Puts a record beside the settings, which stay as they are: both or, if the power goes, what was there before.
    ///
    /// Erases one sector, as [`Store::save_settings`] does.
    ///
    /// # Errors
    /// As [`Store::save_settings`].
    #[inline(never)]
    pub fn save_beside(&mut self, payload: &[u8]) -> Result<(), StoreError> {
        let record = Record::framed(BESIDE_MAGIC, payload, 0).ok_or(StoreError::TooLong)?;
        let mut page = [0xFF; SETTINGS + SETTINGS_FRAME];
        let room = page.get_mut(SETTINGS_HEAD..).and_then(<[u8]>::first_chunk_mut).ok_or(StoreError::TooLong)?;
        let length = match (self.settings, self.settings(room)) {
            (_, Some(length)) => length,
            (None, None) => 0,
            // There are some and they cannot be read: they are not written over with none.
            (Some(_), None) => return Err(StoreError::Flash),
        };
        self.save(&mut page, length, &Beside::New(record))
    }

    /// Writes what goes beside into a slot that has just been erased and holds no settings yet.
    pub(super) fn put_beside(&mut self, start: u32, what: &Beside) -> Result<(), StoreError> {
        let bytes = match what {
            Beside::New(record) => Some(*record),
            Beside::Carried => self.beside_bytes()?,
        };
        bytes.map_or(Ok(()), |bytes| self.put(start + Self::BESIDE_AT, &bytes, RECORD))
    }
}
