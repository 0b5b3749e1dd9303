//! The box's end of the line to the board at the top: bytes in and out, once settings ask for it.
//!
//! What is sent and what counts is decided in [`landfall_core::top`]; without a line the board there is silent, and there is no
//! permit.

use super::App;
use super::line::next_byte;
use crate::board::Watchdog;
use crate::sensor::GaugeSensor;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::NorFlash;
use landfall_core::top::{Collector, Desk, FRAME};
use landfall_core::watch::Pins;

/// Bytes of one frame on their way out.
pub(crate) struct Outbox {
    frame: [u8; FRAME],
    sent: usize,
}

impl Outbox {
    pub(crate) const fn new() -> Self {
        Self { frame: [0; FRAME], sent: FRAME }
    }

    /// Takes a frame; one that is still on its way is given up.
    pub(crate) fn put(&mut self, frame: [u8; FRAME]) {
        *self = Self { frame, sent: 0 };
    }

    /// Hands on what `line` takes.
    pub(crate) fn pump(&mut self, line: &mut (impl Write + WriteReady)) {
        while let Some(byte) = self.frame.get(self.sent) {
            if !matches!(line.write_ready(), Ok(true)) || !matches!(line.write(&[*byte]), Ok(1)) {
                return;
            }
            self.sent += 1;
        }
    }
}

/// What the box needs for it.
pub(super) struct TopEnd<L> {
    line: Option<L>,
    desk: Option<Desk>,
    collector: Collector,
    outbox: Outbox,
}

impl<L> TopEnd<L> {
    pub(super) const fn new() -> Self {
        Self { line: None, desk: None, collector: Collector::new(), outbox: Outbox::new() }
    }
}

impl<S, B, P, I, F, L, W> App<S, B, P, I, F, L, W>
where
    S: GaugeSensor<B>,
    P: OutputPin,
    I: InputPin,
    F: NorFlash,
    L: Read + ReadReady + Write + WriteReady,
    W: Watchdog,
{
    /// Gives the box its line to the top.
    pub fn connect_top(&mut self, line: L) {
        self.top.line = Some(line);
    }

    /// With the settings that hold: afresh, so that answers to what was sent before do not count.
    pub(super) fn begin_top(&mut self) {
        let (boot, now, program) = (u64::from(self.boot), self.now.0, self.steps);
        self.top.desk = self.settings.filter(|settings| settings.with_top()).map(|settings| {
            let session = landfall_core::top::sip::sip24(boot, now, &program.to_le_bytes()) as u32;
            Desk::new(settings.site_id, session.max(1))
        });
    }

    /// Before the watch decides: whether the top is there.
    pub(super) fn hear_top(&mut self) {
        let loss = self.top.desk.as_mut().and_then(|desk| desk.loss(self.now));
        if let Some(watch) = self.watch.as_mut() {
            watch.hear_of_top(loss.map(|loss| loss.reason()));
        }
    }

    /// When the outputs stand: a heartbeat, if one is due.
    pub(super) fn tell_top(&mut self, pins: Pins) {
        let siren = self.status.siren;
        if let Some(frame) = self.top.desk.as_mut().and_then(|desk| desk.heartbeat(self.now, pins.permit, siren)) {
            self.top.outbox.put(frame);
        }
    }

    /// Moves bytes.
    pub(super) fn pump_top(&mut self) {
        let end = &mut self.top;
        let Some(line) = end.line.as_mut() else { return };
        for _ in 0..64 {
            let Some(byte) = next_byte(line) else { break };
            if let (Some(message), Some(desk)) = (end.collector.push(byte), end.desk.as_mut()) {
                desk.hear(self.now, &message);
            }
        }
        end.outbox.pump(line);
    }
}
