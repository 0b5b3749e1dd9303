//! What comes over the line and what goes out.

use super::{App, HELD_STEPS, QUEUE, Request};
use crate::board::Watchdog;
use crate::frame::{Frame, encode};
use crate::link::{FromBox, Hello, LoggedBytes, PROTOCOL, Refusal, STATUS_STEPS, ToBox};
use crate::sensor::GaugeSensor;
use crate::store::{Book, Step};
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::NorFlash;

/// Version of this program.
const PROGRAM: [u8; 3] = [
    number(env!("CARGO_PKG_VERSION_MAJOR")),
    number(env!("CARGO_PKG_VERSION_MINOR")),
    number(env!("CARGO_PKG_VERSION_PATCH")),
];
/// Slots of the log that a step looks at during a download.
const DOWNLOAD_SLOTS: u32 = 8;

/// The next byte that `line` has, without waiting.
pub(crate) fn next_byte(line: &mut (impl Read + ReadReady)) -> Option<u8> {
    let mut byte = [0];
    let ready = matches!(line.read_ready(), Ok(true));
    (ready && matches!(line.read(&mut byte), Ok(1))).then_some(byte[0])
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
    /// Moves bytes, and makes an edge of the permit's pulses where it is driven so: call it at least every 2 ms at 115 200 baud with queues of 32 bytes.
    pub fn pump(&mut self) {
        for _ in 0..64 {
            let Some(byte) = next_byte(&mut self.link) else { break };
            match self.receiver.push(byte) {
                Some(Ok(message)) => self.hear(&message),
                Some(Err(_error)) => {
                    #[cfg(feature = "defmt")]
                    defmt::warn!("line: {}", _error);
                    self.reply(&FromBox::Refused(Refusal::Frame));
                }
                None => {}
            }
        }
        for _ in 0..64 {
            let Some(byte) = self.queue.front().copied() else { break };
            if !matches!(self.link.write_ready(), Ok(true)) || !matches!(self.link.write(&[byte]), Ok(1)) {
                break;
            }
            self.queue.pop_front();
        }
        self.permit.beat(&mut self.outputs.permit);
        #[cfg(feature = "top")]
        self.pump_top();
    }

    /// Answers a request, if half of the queue is free: the other half is for what the box says by itself, however much
    /// is asked.
    pub(super) fn reply(&mut self, message: &FromBox) {
        if self.queue.len() <= QUEUE / 2 {
            self.say(message);
        }
    }

    /// Queues a message whole, or not at all if the line is behind.
    pub(super) fn say(&mut self, message: &FromBox) {
        if let Ok(frame) = encode(message) {
            self.queue_frame(&frame);
        }
    }

    #[inline(never)]
    pub(super) fn queue_frame(&mut self, frame: &Frame) {
        if QUEUE - self.queue.len() < frame.bytes().len() {
            return;
        }
        for byte in frame.bytes() {
            // There is room: just looked.
            let _ = self.queue.push_back(*byte);
        }
    }

    #[inline(never)]
    pub(super) fn hear(&mut self, message: &ToBox) {
        match message {
            ToBox::Identify => self.greet = true,
            ToBox::ReadSettings => {
                let settings = self.settings;
                self.reply(&FromBox::Settings(settings));
            }
            ToBox::ReadLog { from } => self.download = Some((self.store.reader(Book::Events, *from), 0)),
            ToBox::Offer(settings) => {
                self.staged = None;
                #[cfg(feature = "advisory")]
                self.advisory.unstage();
                let answer = self.stage(*settings);
                self.reply(&answer);
            }
            ToBox::Confirm { check } => match self.confirm(*check) {
                Ok(settings) => self.request = Some(Request::Commit(settings)),
                Err(refusal) => self.reply(&FromBox::Refused(refusal)),
            },
            ToBox::Forget { site_id } => match self.may_forget(*site_id) {
                Ok(()) => self.request = Some(Request::Forget),
                Err(refusal) => self.reply(&FromBox::Refused(refusal)),
            },
            ToBox::ReadCalibration => {
                let held = self.held_calibration();
                self.reply(&FromBox::Calibration(held));
            }
            ToBox::Calibrate(wanted) => self.hear_calibration(wanted),
            #[cfg(feature = "advisory")]
            other => self.hear_advisory(other),
            #[cfg(not(feature = "advisory"))]
            _ => self.reply(&FromBox::Refused(Refusal::Frame)),
        }
    }

    /// Hello when it is due, status ten times a second, and the log as the line takes it.
    #[inline(never)]
    pub(super) fn tell(&mut self) {
        // The first hello waits for the sensor to be known, for a second at most.
        if self.greet && (self.sensor.range_pa() > 0.0 || self.steps > HELD_STEPS) {
            self.greet = false;
            let hello = Hello {
                protocol: PROTOCOL,
                program: PROGRAM,
                boot: self.boot,
                cause: self.cause,
                sensor: self.sensor.kind(),
                range_pa: self.sensor.range_pa(),
                settings: self.settings.map(|s| (s.site_id, s.revision)),
            };
            self.reply(&FromBox::Hello(hello));
        }
        if self.steps.is_multiple_of(STATUS_STEPS) {
            self.status.step_us = core::mem::take(&mut self.step_us);
            self.status.lost = self.lost;
            let status = self.status;
            self.say(&FromBox::Status(status));
        }
        if u32::from(self.fed_steps) >= STATUS_STEPS {
            self.fed_steps = 0;
            let fed = self.fed;
            self.say(&FromBox::Fed(fed));
        }
        let Some((mut cursor, mut sent)) = self.download else { return };
        if self.steps.is_multiple_of(STATUS_STEPS) {
            self.say(&FromBox::Reading { sent });
        }
        for _ in 0..DOWNLOAD_SLOTS {
            // Half of the queue stays free for status and events.
            if self.queue.len() > QUEUE / 2 {
                break;
            }
            match self.store.next(&mut cursor) {
                Step::Record(record) => {
                    if let Ok(frame) = encode(&LoggedBytes { sequence: record.sequence, entry: record.payload() }) {
                        self.queue_frame(&frame);
                        sent = sent.saturating_add(1);
                    }
                }
                Step::Gap => {}
                Step::End if cursor.book() == Book::Events => {
                    cursor = self.store.reader(Book::Landings, cursor.from());
                }
                Step::End => {
                    let next = self.store.next_sequence();
                    self.say(&FromBox::LogEnd { next, sent });
                    self.download = None;
                    return;
                }
            }
        }
        self.download = Some((cursor, sent));
    }
}

/// A number in decimal digits.
const fn number(digits: &str) -> u8 {
    let bytes = digits.as_bytes();
    let (mut value, mut index) = (0_u8, 0);
    while index < bytes.len() {
        value = value.wrapping_mul(10).wrapping_add(bytes[index].wrapping_sub(b'0'));
        index += 1;
    }
    value
}
