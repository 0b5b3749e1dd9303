//! Thermal differential pressure sensor of the SDP8xx kind: 16-bit words with a checksum each.
//!
//! Its ranges end at 125 or 500 Pa, so it serves low-pressure bags only; [`crate::bridge`] reaches
//! further. Commands, frame, checksum (polynomial 0x31, begun with 0xFF), scale factors and product numbers are as several
//! public drivers for the SDP8xx have them alike (read); the maker's data sheet was not: compare before a part is trusted.

use crate::sensor::{Fault, GaugeSensor, Kind, RESTART_AFTER, Reading, fault_of, read};
use embedded_hal::i2c::I2c;

/// Address of the parts whose last digit is 0; those with a 1 answer at 0x26.
pub const ADDRESS: u8 = 0x25;

const STOP: [u8; 2] = [0x3F, 0xF9];
/// Differential pressure, averaged until the next read.
const START: [u8; 2] = [0x36, 0x15];
const IDENTIFY: [[u8; 2]; 2] = [[0x36, 0x7C], [0xE1, 0x02]];

/// What a part of this family is, read from its product number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Part {
    /// ±500 Pa, scale factor 60 per Pa.
    Pa500,
    /// ±125 Pa, scale factor 240 per Pa.
    Pa125,
}

impl Part {
    /// The part with this product number; its lowest byte is the revision and is left out.
    pub const fn from_product_number(number: u32) -> Option<Self> {
        match number >> 8 {
            0x03_02_01 | 0x03_02_04 | 0x03_02_0A | 0x03_02_0D => Some(Self::Pa500),
            0x03_02_02 | 0x03_02_0B => Some(Self::Pa125),
            _ => None,
        }
    }

    /// Counts per pascal.
    pub const fn scale_per_pa(self) -> i16 {
        match self {
            Self::Pa500 => 60,
            Self::Pa125 => 240,
        }
    }

    /// Highest pressure that the part is made for, Pa.
    pub const fn range_pa(self) -> f32 {
        match self {
            Self::Pa500 => 500.0,
            Self::Pa125 => 125.0,
        }
    }
}

/// Checksum of one 16-bit word: CRC-8, polynomial 0x31, start 0xFF, no reflection, no final xor.
pub fn crc8(word: [u8; 2]) -> u8 {
    word.iter().fold(0xFF, |crc, byte| {
        (0..8).fold(crc ^ byte, |crc, _| if crc & 0x80 == 0 { crc << 1 } else { (crc << 1) ^ 0x31 })
    })
}

/// The word in three bytes, if its checksum agrees.
fn word(bytes: [u8; 3]) -> Result<u16, Fault> {
    let [high, low, crc] = bytes;
    if crc8([high, low]) == crc { Ok(u16::from_be_bytes([high, low])) } else { Err(Fault::Corrupt) }
}

/// Pressure, Pa, of one measurement frame: pressure, temperature, scale factor, each with its checksum.
///
/// # Errors
/// [`Fault::Corrupt`] for a checksum, [`Fault::WrongPart`] for another scale factor than `part`'s,
/// [`Fault::OutOfRange`] more than 5 % beyond the part's range (*assumed*: it saturates there).
///
/// ```
/// use landfall_firmware::thermal::{Part, decode};
/// let frame = [0x3A, 0x98, 0x5D, 0x13, 0x88, 0x01, 0x00, 0x3C, 0x39];
/// assert_eq!(decode(Part::Pa500, frame), Ok(250.0)); // 0x3A98 = 15 000 counts at 60 per Pa
/// ```
pub fn decode(part: Part, frame: [u8; 9]) -> Result<f32, Fault> {
    let [p0, p1, p2, t0, t1, t2, s0, s1, s2] = frame;
    let counts = word([p0, p1, p2])? as i16;
    word([t0, t1, t2])?;
    if word([s0, s1, s2])? as i16 != part.scale_per_pa() {
        return Err(Fault::WrongPart);
    }
    let pressure_pa = f32::from(counts) / f32::from(part.scale_per_pa());
    if pressure_pa.abs() <= 1.05 * part.range_pa() { Ok(pressure_pa) } else { Err(Fault::OutOfRange) }
}

/// The part that answered to the identity commands: product number (two words) and serial (four).
///
/// # Errors
/// [`Fault::Corrupt`] for a checksum, [`Fault::WrongPart`] for an unknown product number.
pub fn identify(frame: [u8; 18]) -> Result<Part, Fault> {
    let mut number = 0_u32;
    for (index, bytes) in frame.chunks_exact(3).enumerate() {
        let Ok(bytes) = <[u8; 3]>::try_from(bytes) else { return Err(Fault::Corrupt) };
        let value = word(bytes)?;
        if index < 2 {
            number = (number << 16) | u32::from(value);
        }
    }
    Part::from_product_number(number).ok_or(Fault::WrongPart)
}

#[derive(Clone, Copy, PartialEq)]
enum Stage {
    /// Tell it to stop: after a reset of this processor alone it still measures, and answers nothing else.
    Stop,
    Identify,
    Run(Part),
}

/// Driver of one such part.
pub struct Thermal {
    address: u8,
    stage: Stage,
    part: Option<Part>,
    faults: u8,
}

impl Thermal {
    /// A driver for the part at `address`.
    pub const fn new(address: u8) -> Self {
        Self { address, stage: Stage::Stop, part: None, faults: 0 }
    }

    fn advance<B: I2c>(&mut self, bus: &mut B) -> Result<Reading, Fault> {
        match self.stage {
            Stage::Stop => {
                // An idle part refuses this command, so only a failed bus counts.
                match bus.write(self.address, &STOP).map_err(fault_of) {
                    Ok(()) | Err(Fault::NoAnswer) => self.stage = Stage::Identify,
                    Err(fault) => return Err(fault),
                }
                Err(Fault::NotReady)
            }
            Stage::Identify => {
                for command in IDENTIFY {
                    bus.write(self.address, &command).map_err(fault_of)?;
                }
                let part = identify(read(bus, self.address)?)?;
                if self.part.is_some_and(|before| before != part) {
                    return Err(Fault::WrongPart);
                }
                self.part = Some(part);
                bus.write(self.address, &START).map_err(fault_of)?;
                self.stage = Stage::Run(part);
                Err(Fault::NotReady)
            }
            Stage::Run(part) => {
                let gauge_pa = decode(part, read(bus, self.address)?)?;
                Ok(Reading { gauge_pa, outside: None })
            }
        }
    }
}

impl<B: I2c> GaugeSensor<B> for Thermal {
    fn step(&mut self, bus: &mut B) -> Result<Reading, Fault> {
        let result = self.advance(bus);
        match result {
            Ok(_) | Err(Fault::NotReady | Fault::OutOfRange) => self.faults = 0,
            Err(_) if self.faults + 1 >= RESTART_AFTER || self.stage == Stage::Identify => {
                self.faults = 0;
                self.stage = Stage::Stop;
            }
            Err(_) => self.faults += 1,
        }
        result
    }

    fn kind(&self) -> Option<Kind> {
        Some(Kind::Thermal)
    }

    fn range_pa(&self) -> f32 {
        self.part.map_or(0.0, Part::range_pa)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mock::{Act, Script};

    #[test]
    fn checksum_of_the_usual_example() {
        // The maker's usual example, CRC(0xBEEF) = 0x92; and the check value of this CRC for zeros.
        assert_eq!(crc8([0xBE, 0xEF]), 0x92);
        assert_eq!(crc8([0x00, 0x00]), 0x81);
    }

    #[test]
    fn product_numbers() {
        assert_eq!(Part::from_product_number(0x0302_0A01), Some(Part::Pa500));
        assert_eq!(Part::from_product_number(0x0302_0B01), Some(Part::Pa125));
        assert_eq!(Part::from_product_number(0x0301_0188), None); // another family (SDP31)
    }

    const ID_500: [u8; 18] =
        [0x03, 0x02, 0xCE, 0x0A, 0x01, 0x5E, 0x00, 0x00, 0x81, 0x00, 0x01, 0xB0, 0x23, 0x45, 0xB8, 0x67, 0x89, 0x88];
    const FRAME_250: [u8; 9] = [0x3A, 0x98, 0x5D, 0x13, 0x88, 0x01, 0x00, 0x3C, 0x39];

    #[test]
    fn literal_frames() {
        // 0xC568 = −15 000 counts.
        assert_eq!(decode(Part::Pa500, [0xC5, 0x68, 0x5E, 0x13, 0x88, 0x01, 0x00, 0x3C, 0x39]), Ok(-250.0));
        assert_eq!(decode(Part::Pa125, FRAME_250), Err(Fault::WrongPart));
        for bit in 0..72 {
            let mut frame = FRAME_250;
            frame[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(decode(Part::Pa500, frame), Err(Fault::Corrupt), "bit {bit}");
        }
        // 0x7FFF = 32 767 counts = 546 Pa: saturated.
        assert_eq!(decode(Part::Pa500, [0x7F, 0xFF, 0x8F, 0x13, 0x88, 0x01, 0x00, 0x3C, 0x39]), Err(Fault::OutOfRange));
        assert_eq!(identify(ID_500), Ok(Part::Pa500));
    }

    #[test]
    fn starts_reads_and_starts_again() {
        let start = [
            Act::write(0x25, &[0x3F, 0xF9]).nack(), // an idle part refuses STOP
            Act::write(0x25, &[0x36, 0x7C]),
            Act::write(0x25, &[0xE1, 0x02]),
            Act::read(0x25, &ID_500),
            Act::write(0x25, &[0x36, 0x15]),
            Act::read(0x25, &FRAME_250),
        ];
        let lost = [(); 5].map(|()| Act::read(0x25, &[]).nack());
        let mut bus = Script::new(&[&start[..], &lost[..], &start[..]].concat());
        let mut sensor = Thermal::new(ADDRESS);
        let mut step = || sensor.step(&mut bus).map(|r| r.gauge_pa);
        assert_eq!([step(), step(), step()], [Err(Fault::NotReady), Err(Fault::NotReady), Ok(250.0)]);
        for _ in 0..5 {
            assert_eq!(step(), Err(Fault::NoAnswer));
        }
        assert_eq!([step(), step(), step()], [Err(Fault::NotReady), Err(Fault::NotReady), Ok(250.0)]);
        bus.done();
        assert_eq!(GaugeSensor::<Script>::range_pa(&sensor), 500.0);
    }
}
