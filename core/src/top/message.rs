//! A message on the line to the top: its bytes, and the stuffing that keeps frames apart.
//!
//! A frame is a zero, the 30 bytes stuffed with COBS to 31, and a zero: no other byte of it is zero, and the first zero ends
//! what noise has begun. Numbers have their lowest byte first.
//!
//! | bytes | what |
//! | --- | --- |
//! | 0 | from: 0xB0 the box, 0x70 the top; added to it what it says: 0 wait, 1 ride, 2 danger, 3 held |
//! | 1 to 4 | site |
//! | 5 to 8, 9 to 12 | the sender's session and counter |
//! | 13 to 16, 17 to 20 | session and counter that it echoes, both 0 if it has heard nothing |
//! | 21 | a spare byte, 0 |
//! | 22 to 29 | SipHash-2-4 of the bytes before, key "Landfallthe  top" (two blanks) |

use super::sip::sip24;

/// Bytes of a message.
pub const BODY: usize = 30;
/// Bytes of a frame.
pub const FRAME: usize = BODY + 3;
/// Bytes under the tag.
const SIGNED: usize = 22;
/// The key. It is no secret.
const KEY: (u64, u64) = (u64::from_le_bytes(*b"Landfall"), u64::from_le_bytes(*b"the  top"));

/// Who sent it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum From {
    /// The box.
    Box,
    /// The board at the top.
    Top,
}

/// What it says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Says {
    /// The box: no permit. The top: red.
    Wait,
    /// The box: riding may go on. The top: green.
    Ride,
    /// The box: all stop, the siren is called for. The top: red, because the line is not as it should be.
    Danger,
    /// Somebody holds riders back at the top.
    Held,
}

impl Says {
    const fn number(self) -> u8 {
        match self {
            Self::Wait => 0,
            Self::Ride => 1,
            Self::Danger => 2,
            Self::Held => 3,
        }
    }

    const fn of(number: u8) -> Option<Self> {
        match number {
            0 => Some(Self::Wait),
            1 => Some(Self::Ride),
            2 => Some(Self::Danger),
            3 => Some(Self::Held),
            _ => None,
        }
    }
}

/// A message.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Message {
    /// Who sent it.
    pub from: From,
    /// For which site.
    pub site: u32,
    /// The sender's session: another number after each start.
    pub session: u32,
    /// Goes up with each message of a session.
    pub counter: u32,
    /// Session and counter of the newest message heard from the other side.
    pub echo: (u32, u32),
    /// What it says.
    pub says: Says,
}

impl Message {
    /// The frame, ready to send.
    #[must_use]
    pub fn frame(&self) -> [u8; FRAME] {
        let mut body = [0; BODY];
        let from = match self.from {
            From::Box => 0xB0,
            From::Top => 0x70,
        };
        let words = [self.site, self.session, self.counter, self.echo.0, self.echo.1];
        let (signed, tag) = body.split_at_mut(SIGNED);
        if let Some((first, rest)) = signed.split_first_mut() {
            *first = from | self.says.number();
            for (place, word) in rest.chunks_exact_mut(4).zip(words) {
                place.copy_from_slice(&word.to_le_bytes());
            }
        }
        tag.copy_from_slice(&sip24(KEY.0, KEY.1, signed).to_le_bytes());
        stuff(&body)
    }

    /// The message in a body, if its tag and all its values are right.
    #[must_use]
    pub fn of(body: &[u8; BODY]) -> Option<Self> {
        let (signed, tag) = body.split_first_chunk::<SIGNED>()?;
        if sip24(KEY.0, KEY.1, signed).to_le_bytes() != *tag {
            return None;
        }
        let (first, rest) = signed.split_first()?;
        let (words, spare) = rest.as_chunks::<4>();
        let [site, session, counter, heard, heard_counter] = words else { return None };
        if spare != [0] {
            return None;
        }
        let word = |bytes: &[u8; 4]| u32::from_le_bytes(*bytes);
        Some(Self {
            from: match first & 0xF0 {
                0xB0 => From::Box,
                0x70 => From::Top,
                _ => return None,
            },
            site: word(site),
            session: word(session),
            counter: word(counter),
            echo: (word(heard), word(heard_counter)),
            says: Says::of(first & 0x0F)?,
        })
    }
}

/// COBS: each zero becomes the distance to the next one.
fn stuff(body: &[u8; BODY]) -> [u8; FRAME] {
    let mut frame = [0; FRAME];
    // Places in the frame: 0 the first zero, 1 the first distance, 2 to 31 the body, 32 the last zero.
    let mut next = FRAME - 1;
    for (place, (to, byte)) in frame.iter_mut().skip(2).zip(body).enumerate().rev() {
        let place = place + 2;
        if *byte == 0 {
            *to = (next - place) as u8;
            next = place;
        } else {
            *to = *byte;
        }
    }
    if let Some(first) = frame.get_mut(1) {
        *first = (next - 1) as u8;
    }
    frame
}

/// The body in the 31 bytes between two zeros.
fn unstuff(stuffed: &[u8; BODY + 1]) -> Option<[u8; BODY]> {
    let (first, rest) = stuffed.split_first()?;
    let mut body = [0; BODY];
    let mut next = usize::from(*first);
    for (index, (to, byte)) in body.iter_mut().zip(rest).enumerate() {
        let place = index + 1;
        if place == next {
            next = place + usize::from(*byte);
        } else {
            *to = *byte;
        }
    }
    (next == BODY + 1).then_some(body)
}

/// Collects bytes until a message is whole.
#[derive(Clone, Debug)]
pub struct Collector {
    bytes: [u8; BODY + 1],
    length: usize,
}

impl Default for Collector {
    fn default() -> Self {
        Self::new()
    }
}

impl Collector {
    /// Nothing received yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { bytes: [0; BODY + 1], length: 0 }
    }

    /// Takes one byte; gives a message when it ended a frame that is whole.
    pub fn push(&mut self, byte: u8) -> Option<Message> {
        if byte != 0 {
            if let Some(place) = self.bytes.get_mut(self.length) {
                *place = byte;
            }
            self.length = (self.length + 1).min(BODY + 2);
            return None;
        }
        let length = core::mem::take(&mut self.length);
        if length != BODY + 1 {
            return None;
        }
        Message::of(&unstuff(&self.bytes)?)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    pub(crate) const SAMPLE: Message = Message {
        from: From::Box,
        site: 0x0102_0007,
        session: 0xAB00_0000,
        counter: 300,
        echo: (0, 0x00FF_0000),
        says: Says::Ride,
    };

    fn collect(bytes: &[u8]) -> Vec<Message> {
        let mut collector = Collector::new();
        bytes.iter().filter_map(|byte| collector.push(*byte)).collect()
    }

    #[test]
    fn every_message_comes_through_and_holds_no_zero() {
        let mut count = 0;
        for from in [From::Box, From::Top] {
            for says in [Says::Wait, Says::Ride, Says::Danger, Says::Held] {
                for word in [0, 1, 0x0100_0000, 0x0001_0203, u32::MAX] {
                    for other in [0, 7, 0xFF00_FF00, u32::MAX] {
                        let message = Message {
                            from,
                            says,
                            site: word,
                            session: other,
                            counter: word ^ other,
                            echo: (other, word),
                        };
                        let frame = message.frame();
                        assert_eq!((frame[0], frame[FRAME - 1]), (0, 0));
                        assert!(frame[1..FRAME - 1].iter().all(|byte| *byte != 0));
                        assert_eq!(collect(&frame), [message]);
                        count += 1;
                    }
                }
            }
        }
        assert_eq!(count, 160);
    }

    /// The same bytes by another implementation, in Python: struct, the tag by SipHash written from the paper (it gives the
    /// paper's example), COBS by the rule of its definition.
    #[test]
    fn a_frame_byte_for_byte() {
        let hex: std::string::String = SAMPLE.frame().iter().map(|byte| std::format!("{byte:02x}")).collect();
        assert_eq!(hex, "0003b107030201010104ab2c010101010101010102ff0109b7a2a7f0b38c1a8300");
    }

    #[test]
    fn a_changed_bit_or_byte_is_never_taken() {
        let frame = SAMPLE.frame();
        for bit in 8..(FRAME - 1) * 8 {
            let mut bytes = frame;
            bytes[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(collect(&bytes), [], "bit {bit}");
        }
        for place in 1..FRAME - 1 {
            for byte in 0..=255 {
                let mut bytes = frame;
                bytes[place] = byte;
                assert_eq!(collect(&bytes).len(), usize::from(bytes == frame), "byte {place}");
            }
        }
    }

    #[test]
    fn lost_and_invented_bytes_cost_their_own_frame_only() {
        let frame = SAMPLE.frame();
        for place in 0..FRAME {
            let mut lost = frame.to_vec();
            lost.remove(place);
            let mut more = frame.to_vec();
            more.insert(place, 0x55);
            for bytes in [lost, more] {
                let both = [&bytes[..], &frame[..]].concat();
                let got = collect(&both);
                // The first and the last zero may go: the neighbours' do as well.
                assert!(got.len() <= 2 && got.iter().all(|message| *message == SAMPLE), "{place}");
                assert!(!got.is_empty(), "{place}");
            }
        }
        let mut collector = Collector::new();
        assert!((0..100_000).all(|_| collector.push(0x55).is_none()));
        assert_eq!(collector.push(0), None);
        assert_eq!(frame.iter().filter_map(|byte| collector.push(*byte)).count(), 1);
    }
}
