//! Frames on a byte link: postcard, a CRC-32 behind it, COBS round both, a zero byte at the end.
//!
//! A zero byte appears nowhere else, so a receiver that joins late or loses bytes finds the next frame.

use crate::store::crc32;
use crate::wire;
use serde::Serialize;
use serde::de::DeserializeOwned;

/// Most bytes of a message with its checksum.
pub const MAX_BODY: usize = 160;
/// Most bytes of a frame: the body, one COBS byte per 254 and one more, and the zero.
pub const MAX_FRAME: usize = MAX_BODY + 3;

/// Why a frame gave no message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum FrameError {
    /// More than [`MAX_FRAME`] bytes without a zero.
    TooLong,
    /// The stuffing does not work out.
    Stuffing,
    /// Too short for a checksum, or the checksum does not agree.
    Checksum,
    /// The checksum agrees, but this program does not know the message: another version.
    Unknown,
}

/// One frame, ready to send.
#[derive(Clone, Copy, Debug)]
pub struct Frame {
    bytes: [u8; MAX_FRAME],
    length: usize,
}

impl Frame {
    /// The bytes to send, the zero at the end included.
    pub fn bytes(&self) -> &[u8] {
        self.bytes.get(..self.length).unwrap_or(&[])
    }
}

/// Puts `message` into a frame.
///
/// # Errors
/// [`FrameError::TooLong`] if it does not fit.
///
/// ```
/// use landfall_firmware::frame::encode;
/// let frame = encode(&(1_u8, 0_u8)).unwrap();
/// // Message 01 00 and its CRC-32 0x58C223BE, stuffed.
/// assert_eq!(frame.bytes(), [0x02, 0x01, 0x05, 0xBE, 0x23, 0xC2, 0x58, 0x00]);
/// ```
pub fn encode<T: Serialize>(message: &T) -> Result<Frame, FrameError> {
    let mut body = [0; MAX_BODY];
    let room = body.get_mut(..MAX_BODY - 4).ok_or(FrameError::TooLong)?;
    let length = wire::write(message, room).map_err(|_| FrameError::TooLong)?;
    let crc = crc32(body.get(..length).ok_or(FrameError::TooLong)?).to_le_bytes();
    let end = length.checked_add(4).ok_or(FrameError::TooLong)?;
    body.get_mut(length..end).and_then(|to| to.first_chunk_mut()).map(|to| *to = crc).ok_or(FrameError::TooLong)?;
    let mut frame = Frame { bytes: [0; MAX_FRAME], length: 0 };
    let body = body.get(..end).ok_or(FrameError::TooLong)?;
    let stuffed = cobs::try_encode(body, &mut frame.bytes).map_err(|_| FrameError::TooLong)?;
    // The byte behind the stuffed ones is still the zero that ends the frame.
    frame.length = stuffed.checked_add(1).filter(|length| *length <= MAX_FRAME).ok_or(FrameError::TooLong)?;
    Ok(frame)
}

/// Collects bytes until a frame is whole.
#[derive(Clone, Debug)]
pub struct Receiver {
    bytes: [u8; MAX_FRAME],
    length: usize,
    overrun: bool,
}

impl Default for Receiver {
    fn default() -> Self {
        Self::new()
    }
}

impl Receiver {
    /// Nothing received yet.
    pub const fn new() -> Self {
        Self { bytes: [0; MAX_FRAME], length: 0, overrun: false }
    }

    /// Takes one byte; gives a message or an error when it ended a frame.
    pub fn push<T: DeserializeOwned>(&mut self, byte: u8) -> Option<Result<T, FrameError>> {
        if byte != 0 {
            match self.bytes.get_mut(self.length) {
                Some(place) => {
                    *place = byte;
                    self.length += 1;
                }
                None => self.overrun = true,
            }
            return None;
        }
        let (length, overrun) = (self.length, self.overrun);
        (self.length, self.overrun) = (0, false);
        match (overrun, length) {
            (true, _) => Some(Err(FrameError::TooLong)),
            (false, 0) => None, // two zeros in a row
            (false, _) => Some(decode(self.bytes.get(..length).unwrap_or(&[]))),
        }
    }
}

/// The message in the stuffed bytes of one frame, without the zero at the end.
///
/// # Errors
/// See [`FrameError`].
pub fn decode<T: DeserializeOwned>(stuffed: &[u8]) -> Result<T, FrameError> {
    let mut body = [0; MAX_FRAME];
    let report = cobs::decode(stuffed, &mut body).map_err(|_| FrameError::Stuffing)?;
    let body = body.get(..report.frame_size()).ok_or(FrameError::Stuffing)?;
    let (message, crc) = body.split_last_chunk::<4>().ok_or(FrameError::Checksum)?;
    if crc32(message) != u32::from_le_bytes(*crc) {
        return Err(FrameError::Checksum);
    }
    match postcard::take_from_bytes(message) {
        Ok((value, [])) => Ok(value),
        _ => Err(FrameError::Unknown),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    type Message = (u32, bool, Option<f32>);

    fn receive<T: DeserializeOwned>(receiver: &mut Receiver, bytes: &[u8]) -> Vec<Result<T, FrameError>> {
        bytes.iter().filter_map(|byte| receiver.push(*byte)).collect()
    }

    #[test]
    fn a_frame_byte_for_byte() {
        // postcard of (300, true, Some(1.0)): varint AC 02, 01, 01 00 00 80 3F; CRC-32 by Python's zlib
        // 0x748673E0; then COBS by hand.
        let frame = encode(&(300_u32, true, Some(1.0_f32))).unwrap();
        let body = [0xAC, 0x02, 0x01, 0x01, 0x00, 0x00, 0x80, 0x3F];
        let mut expected = vec![0x05, 0xAC, 0x02, 0x01, 0x01, 0x01, 0x07, 0x80, 0x3F];
        expected.extend_from_slice(&[0xE0, 0x73, 0x86, 0x74, 0x00]);
        assert_eq!(crc32(&body), 0x7486_73E0);
        assert_eq!(frame.bytes(), expected);
    }

    #[test]
    fn any_flipped_bit_is_noticed_and_the_next_frame_comes_through() {
        let frame = encode(&(300_u32, true, Some(1.0_f32))).unwrap();
        for bit in 0..(frame.bytes().len() - 1) * 8 {
            let mut bytes = frame.bytes().to_vec();
            bytes[bit / 8] ^= 1 << (bit % 8);
            bytes.extend_from_slice(encode(&(7_u32, false, None::<f32>)).unwrap().bytes());
            let got = receive::<Message>(&mut Receiver::new(), &bytes);
            assert_eq!(got.last(), Some(&Ok((7, false, None))), "bit {bit}");
            assert!(got[..got.len() - 1].iter().all(Result::is_err), "bit {bit}: {got:?}");
        }
    }

    #[test]
    fn cut_at_any_byte() {
        let frame = encode(&(300_u32, true, Some(1.0_f32))).unwrap();
        for cut in 0..frame.bytes().len() - 1 {
            let mut receiver = Receiver::new();
            assert!(receive::<Message>(&mut receiver, &frame.bytes()[..cut]).is_empty());
            let bytes = [&[0][..], frame.bytes()].concat();
            assert_eq!(receive::<Message>(&mut receiver, &bytes).last(), Some(&Ok((300, true, Some(1.0)))));
        }
    }

    #[test]
    fn endless_noise_is_bounded() {
        let mut receiver = Receiver::new();
        for _ in 0..10_000 {
            assert!(receiver.push::<Message>(0x55).is_none());
        }
        assert_eq!(receiver.push::<Message>(0), Some(Err(FrameError::TooLong)));
        let frame = encode(&(1_u32, true, None::<f32>)).unwrap();
        assert_eq!(receive::<Message>(&mut receiver, frame.bytes()), [Ok((1, true, None))]);
    }

    #[test]
    fn bytes_left_over_are_another_version() {
        let frame = encode(&(1_u32, true, None::<f32>, 9_u8)).unwrap();
        assert_eq!(receive::<Message>(&mut Receiver::new(), frame.bytes()), [Err(FrameError::Unknown)]);
    }

    #[test]
    fn the_longest_fits_and_one_more_does_not() {
        assert!(encode(&[0xFF_u8; 32]).is_ok());
        let long = |n: usize| encode(&core::str::from_utf8(&vec![b'x'; n]).unwrap()).map(|f| f.bytes().len());
        assert_eq!(long(MAX_BODY - 4 - 2), Ok(MAX_BODY + 2));
        assert_eq!(long(MAX_BODY - 4 - 1), Err(FrameError::TooLong));
    }
}
