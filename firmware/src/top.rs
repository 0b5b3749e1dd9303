//! The board at the top of the roll-in: its line, lamps, relay, buzzer, button, and the site that it keeps in flash.
//!
//! What it shows and answers is decided in [`landfall_core::top`]. [`Top::beat`] is called every 2 ms; it waits for nothing but
//! the flash, and that only while somebody pairs the board with a box. It starts red: outputs are put to rest first, and green
//! is not tried with the other lamps.

use crate::app::line::next_byte;
use crate::app::top::Outbox;
use crate::board::Watchdog;
use crate::pitch::pitch_hz;
use embedded_hal::digital::{InputPin, OutputPin};
use embedded_io::{Read, ReadReady, Write, WriteReady};
use embedded_storage::nor_flash::NorFlash;
use landfall_core::top::sip::sip24;
use landfall_core::top::{Collector, Lamp, Pairing, Shown, Why, lamp};
use landfall_core::watch::{Pins, TimeUs};

/// Between two beats, µs: the line's queue holds 32 bytes, 5.6 ms at [`BAUD`].
pub const BEAT_US: u32 = 2_000;
/// Speed of the line, baud.
pub const BAUD: u32 = 57_600;
/// Time within which the next beat must be complete, ms.
pub const WATCHDOG_MS: u32 = 100;
/// The same while the flash is away.
const WATCHDOG_ERASE_MS: u32 = 2_000;
/// The button must be down for so long from the start on to pair, µs.
const PAIR_US: u64 = 3_000_000;
/// The pitch moves in steps of this length, µs.
const PITCH_US: u64 = 20_000;
/// Bytes of what is kept: the site, its mark, and zeros.
const KEPT: usize = 16;
/// Keys of the mark.
const MARK: (u64, u64) = (0x4c61_6e64_6661_6c6c, 0x546f_7020_7369_7465);

/// The buzzer.
pub trait Tone {
    /// Sounds at `hz`, or is silent.
    fn sound(&mut self, hz: Option<u16>);
}

/// Lamps and relay, all active high.
pub struct Lamps<P> {
    /// Red.
    pub red: P,
    /// Amber.
    pub amber: P,
    /// Green.
    pub green: P,
    /// The relay whose resting contact feeds the large red lamp, and whose other one feeds the green.
    pub relay: P,
}

/// Everything that the board brings.
pub struct Hardware<P, I, F, L, W, T> {
    /// Lamps and relay.
    pub lamps: Lamps<P>,
    /// The button, low while it is down.
    pub button: I,
    /// Flash; its first sector keeps the site.
    pub flash: F,
    /// The line to the box.
    pub line: L,
    /// Watchdog.
    pub watchdog: W,
    /// Buzzer.
    pub tone: T,
}

/// The board.
pub struct Top<P, I, F, L, W, T> {
    hardware: Hardware<P, I, F, L, W, T>,
    lamp: Lamp,
    chance: u32,
    collector: Collector,
    outbox: Outbox,
    /// Since when the button has been down, from the start on; none: nobody pairs.
    pairing: Option<(Pairing, TimeUs)>,
    /// Since when the buzzer sounds, and for which of its steps the pitch was computed.
    sounding: Option<(TimeUs, u32)>,
}

impl<P, I, F, L, W, T> Top<P, I, F, L, W, T>
where
    P: OutputPin,
    I: InputPin,
    F: NorFlash,
    L: Read + ReadReady + Write + WriteReady,
    W: Watchdog,
    T: Tone,
{
    /// Puts the lamps to red and reads the site. `chance` is another number at each start.
    pub fn start(mut hardware: Hardware<P, I, F, L, W, T>, now: TimeUs, chance: u32) -> Self {
        show(&mut hardware.lamps, lamp::pins(Why::Starting, 0));
        hardware.tone.sound(None);
        let lamp = Lamp::new(site_in(&mut hardware.flash), chance);
        let pairing = hardware.button.is_low().unwrap_or(false).then(|| (Pairing::default(), now));
        hardware.watchdog.feed(WATCHDOG_MS);
        Self { hardware, lamp, chance, collector: Collector::new(), outbox: Outbox::new(), pairing, sounding: None }
    }

    /// Hears, shows, answers.
    pub fn beat(&mut self, now: TimeUs) {
        let button = self.hardware.button.is_low().unwrap_or(true);
        if !button {
            self.pairing = None;
        }
        for _ in 0..64 {
            let Some(byte) = next_byte(&mut self.hardware.line) else { break };
            let Some(message) = self.collector.push(byte) else { continue };
            let Some((pairing, since)) = self.pairing.as_mut() else {
                self.lamp.hear(now, &message);
                continue;
            };
            if let Some(site) = pairing.hear(&message)
                && now.0.saturating_sub(since.0) >= PAIR_US
            {
                self.pairing = None;
                self.keep(site);
            }
        }
        let Shown { mut pins, .. } = self.lamp.look(now, button);
        if self.pairing.is_some() {
            pins = Pins { amber: now.0 % 500_000 < 250_000, ..lamp::pins(Why::Held, 0) };
        }
        let driven = show(&mut self.hardware.lamps, pins);
        self.sound(now, pins.siren);
        if self.pairing.is_none()
            && let Some(frame) = self.lamp.answer(now)
        {
            self.outbox.put(frame);
        }
        self.outbox.pump(&mut self.hardware.line);
        // An output that does not move is for the watchdog to end: its reset lets the relay go.
        if driven {
            self.hardware.watchdog.feed(WATCHDOG_MS);
        }
    }

    fn sound(&mut self, now: TimeUs, on: bool) {
        if !on {
            self.sounding = None;
            self.hardware.tone.sound(None);
            return;
        }
        let (since, before) = self.sounding.map_or((now, None), |(since, step)| (since, Some(step)));
        let step = (now.0.saturating_sub(since.0) / PITCH_US) as u32;
        if before != Some(step) {
            self.sounding = Some((since, step));
            self.hardware.tone.sound(Some(pitch_hz(step.saturating_mul((PITCH_US / 1000) as u32))));
        }
    }

    /// Keeps the site, and goes by what the flash says afterwards.
    fn keep(&mut self, site: u32) {
        self.hardware.watchdog.feed(WATCHDOG_ERASE_MS);
        let bytes = bytes_of(site);
        let flash = &mut self.hardware.flash;
        let _ = flash.erase(0, F::ERASE_SIZE as u32).and_then(|()| flash.write(0, &bytes));
        self.lamp = Lamp::new(site_in(flash), self.chance);
        self.hardware.watchdog.feed(WATCHDOG_MS);
    }
}

/// Puts `pins` on the lamps: what ends green first. False if one of them did not take it.
fn show<P: OutputPin>(lamps: &mut Lamps<P>, pins: Pins) -> bool {
    let mut done = lamps.relay.set_state(pins.permit.into()).is_ok();
    done &= lamps.green.set_state(pins.green.into()).is_ok();
    done &= lamps.red.set_state(pins.red.into()).is_ok();
    done &= lamps.amber.set_state(pins.amber.into()).is_ok();
    done
}

fn bytes_of(site: u32) -> [u8; KEPT] {
    let mut bytes = [0; KEPT];
    let mark = sip24(MARK.0, MARK.1, &site.to_le_bytes());
    if let Some((to, rest)) = bytes.split_first_chunk_mut::<4>() {
        *to = site.to_le_bytes();
        if let Some(to) = rest.first_chunk_mut::<8>() {
            *to = mark.to_le_bytes();
        }
    }
    bytes
}

fn site_in(flash: &mut impl NorFlash) -> Option<u32> {
    let mut bytes = [0; KEPT];
    flash.read(0, &mut bytes).ok()?;
    let site = u32::from_le_bytes(*bytes.first_chunk::<4>()?);
    (site != 0 && bytes == bytes_of(site)).then_some(site)
}
