//! What is noted, and which book it goes to.
//!
//! Landings go to a book of their own, as long as it has room; their hourly figures, and all that must be known later, go to
//! the other. Of what may come by the hundred (short waits, repeated faults) so many an hour are noted one by one, the
//! others are counted.

use super::App;
use crate::board::Watchdog;
use crate::link::{Entry, EntryHead, FromBox, Hour, Kept, Noted};
use crate::sensor::GaugeSensor;
use crate::store::{Book, PAYLOAD, Store};
use crate::wire;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::NorFlash;
use landfall_core::watch::{Output, Reason, State, TimeUs, What};

/// Steps in an hour.
const HOUR_STEPS: u32 = 180_000;
/// Waits, and faults, noted one by one in an hour.
pub(super) const SINGLE: u8 = 60;
/// Records for which room is kept for what must be known after a start.
pub(super) const RESERVE: u32 = 16;

impl<S, B, P, I, F, L, W> App<S, B, P, I, F, L, W>
where
    S: GaugeSensor<B>,
    P: OutputPin,
    I: InputPin,
    F: NorFlash,
    L: Read + ReadReady + Write + WriteReady,
    W: Watchdog,
{
    /// Takes what the watch gave into status and log.
    #[inline(never)]
    pub(super) fn take(&mut self, output: &Output) {
        self.status.state = Some((output.state, output.reason));
        self.status.permit = output.permit;
        self.status.siren = output.siren;
        self.status.fault = output.fault;
        self.status.gauge_pa = output.gauge_pa;
        self.status.landings = output.landings;
        self.status.since_landing_s = output.since_landing_s;
        self.status.forecast_s = output.forecast_s;
        self.count_hour(output);
        for event in &output.events {
            self.note_at(event.at, Noted::Watch(event.what));
        }
        let kept = Kept {
            zero_pa: output.zero_pa.or(self.kept.zero_pa),
            unacknowledged: output.unacknowledged,
            duty: output.duty,
        };
        if kept != self.kept {
            self.kept = kept;
            // Before what else waits: it must be known after a reset that comes now.
            let entry = Entry { boot: self.boot, at: self.now, what: Noted::Kept(kept) };
            self.say(&FromBox::Event(entry));
            if self.notes.push_front(entry).is_err() {
                self.notes.pop_back();
                let _ = self.notes.push_front(entry);
                self.lost = self.lost.saturating_add(1);
            }
        }
    }

    /// The hour's figures; they are noted when it is over, and before a stop.
    pub(super) fn count_hour(&mut self, output: &Output) {
        let hour = &mut self.hour;
        if let Some(landing) = &output.landing {
            hour.landings = hour.landings.saturating_add(1);
            hour.peak_pa = hour.peak_pa.max(landing.peak_pa);
            hour.dip_pa = hour.dip_pa.max(landing.dip_pa);
            hour.slow = hour.slow.saturating_add(u16::from(landing.recovery_s.is_none()));
            hour.recovery_s = hour.recovery_s.max(landing.recovery_s.unwrap_or(0.0));
        }
        if output.permit {
            hour.permit_steps = hour.permit_steps.saturating_add(1);
            if let Some(gauge_pa) = output.gauge_pa {
                hour.least_pa = hour.least_pa.min(gauge_pa);
            }
        }
        self.hour_steps = self.hour_steps.saturating_add(1);
        let ends = |what: &What| matches!(what, What::Changed { to: State::Stop | State::Fault | State::Ended, .. });
        let over = self.hour_steps >= HOUR_STEPS;
        if over || output.events.iter().any(|event| ends(&event.what)) {
            if self.hour != Hour::EMPTY {
                let hour = core::mem::replace(&mut self.hour, Hour::EMPTY);
                self.note(Noted::Hour(hour));
            }
            if over {
                self.hour_steps = 0;
                self.single = (SINGLE, SINGLE, SINGLE);
            }
        }
    }

    /// Where a record goes; none: it is counted in the hour's figures only.
    pub(super) fn book_of(&mut self, what: &Noted) -> Option<Book> {
        let take = |left: &mut u8| {
            let one = *left > 0;
            *left = left.saturating_sub(1);
            one
        };
        match what {
            Noted::Watch(What::Landed(_)) => Some(Book::Landings),
            // A landing's wait is told by the landing.
            Noted::Watch(What::Changed { from: State::Ride, to: State::Wait, reason, .. }) => {
                self.wait_noted = *reason != Reason::Landing && take(&mut self.single.0);
                if *reason != Reason::Landing {
                    self.hour.waits = self.hour.waits.saturating_add(1);
                }
                self.wait_noted.then_some(Book::Events)
            }
            Noted::Watch(What::Changed { from: State::Wait, to: State::Ride, .. }) => {
                let noted = core::mem::replace(&mut self.wait_noted, true);
                noted.then_some(Book::Events)
            }
            Noted::Watch(What::Faulted(_)) => take(&mut self.single.1).then_some(Book::Events),
            // A sense that chatters must not take the room of a stop.
            Noted::Watch(What::Blower { .. } | What::Battery { .. }) => {
                take(&mut self.single.2).then_some(Book::Events)
            }
            _ => Some(Book::Events),
        }
    }

    pub(super) fn note(&mut self, what: Noted) {
        self.note_at(self.now, what);
    }

    pub(super) fn note_at(&mut self, at: TimeUs, what: Noted) {
        let entry = Entry { boot: self.boot, at, what };
        #[cfg(feature = "defmt")]
        defmt::info!("{}", entry);
        self.say(&FromBox::Event(entry));
        if self.book_of(&what).is_some() && self.notes.push_back(entry).is_err() {
            self.lost = self.lost.saturating_add(1);
        }
    }

    /// Writes one waiting record. The last room is left for what must be known after a start, and a quarter of it for
    /// what is graver than starts and waits.
    #[inline(never)]
    pub(super) fn write_note(&mut self) {
        let Some(entry) = self.notes.front().copied() else { return };
        let landed = matches!(entry.what, Noted::Watch(What::Landed(_)));
        // Before anybody rides, records wait until there is room; on duty they cannot, nor where they get too many.
        let room_comes = !self.kept.duty && !self.erase_failed && self.store.wants_room(Book::Events);
        let short = self.store.room(Book::Events) <= self.reserve(&entry.what);
        if !landed && short && room_comes && !self.notes.is_full() {
            return;
        }
        self.notes.pop_front();
        if let Noted::Watch(What::Landed(_)) = entry.what {
            // Without room it is in the hour's figures only.
            let _ = log(&mut self.store, Book::Landings, &entry);
            return;
        }
        let kept = matches!(entry.what, Noted::Kept(_));
        if !kept && self.store.opens_sector(Book::Events) {
            let known = Entry { boot: self.boot, at: self.now, what: Noted::Kept(self.kept) };
            // There was room for one: it has just been taken out.
            let _ = self.notes.push_front(entry);
            if !log(&mut self.store, Book::Events, &known) {
                self.notes.pop_front();
                self.lost = self.lost.saturating_add(1);
            }
            return;
        }
        if short || !log(&mut self.store, Book::Events, &entry) {
            self.lost = self.lost.saturating_add(1);
        }
    }

    /// Records for which room is left beside one of this kind.
    pub(super) fn reserve(&self, what: &Noted) -> u32 {
        match what {
            Noted::Kept(_) => 0,
            Noted::Booted(_)
            | Noted::Watch(
                What::Started { .. }
                | What::Zeroed { .. }
                | What::Faulted(_)
                | What::Blower { .. }
                | What::Battery { .. }
                | What::Changed { to: State::Ride | State::Wait | State::Check | State::Fill, .. },
            ) => RESERVE.max(self.store.room_made() / 4),
            _ => RESERVE,
        }
    }
}

/// Appends a record. False if the log did not take it.
fn log<F: NorFlash>(store: &mut Store<F>, book: Book, entry: &Entry) -> bool {
    let mut bytes = [0; PAYLOAD];
    let written = wire::write(entry, &mut bytes).ok().and_then(|length| bytes.get(..length));
    written.is_some_and(|bytes| store.append(book, bytes).is_ok())
}

/// The newest of what must be known, and the number of the last start. It is written at the beginning of each sector.
pub(super) fn newest_kept<F: NorFlash>(store: &mut Store<F>) -> (Kept, u16) {
    let (mut kept, mut boot): (Option<Kept>, Option<u16>) = (None, None);
    let (mut latest, mut any) = (0, false);
    store.look_back(|record| {
        any = true;
        let Some(head) = EntryHead::of(record.payload()) else { return false };
        if record.sequence > latest {
            latest = record.sequence;
            boot = Some(head.boot);
        }
        kept = head.kept.or(kept);
        head.kept.is_some()
    });
    // Records without it: the flash has lost it, so somebody may be riding.
    let unknown = Kept { duty: any, ..Kept::default() };
    (kept.unwrap_or(unknown), boot.unwrap_or(0))
}
